"""What the value text of a part says: `0.1uF/16V/X5R`, `2k2 1% 0201`, `NA(10K)`.

Most texts are settled by splitting them and matching each word; only what has operators or
multiplicities (`DCR<0.1R`, `600R@100MHz`, `+80/-20%`) goes to the grammar in `notation`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Final

from nettrace.knowledge import pattern, table
from nettrace.values.gathering import gather
from nettrace.values.tokens import read_items
from nettrace.values.words import family_of

__all__ = ["PartValue", "read_part_value"]


@dataclass(frozen=True, slots=True)
class PartValue:
    """What a value text says, in SI base units; None where it says nothing.

    `volts`, `watts` and `amperes` are ratings; `tolerance` is a fraction (0.01); `fitted` is
    False where the text says the position stays empty, None where it does not say; `count` is
    the number of elements of an array; `remainder` holds the words that were not understood.
    """

    ohms: float | None = None
    farads: float | None = None
    henries: float | None = None
    hertz: float | None = None
    volts: float | None = None
    watts: float | None = None
    amperes: float | None = None
    tolerance: float | None = None
    tolerance_minus: float | None = None
    dielectric: str | None = None
    size_inch: str | None = None
    fitted: bool | None = None
    impedance_ohms: float | None = None
    impedance_hertz: float | None = None
    dcr_ohms: float | None = None
    beta: float | None = None
    load_farads: float | None = None
    tempco_ppm: float | None = None
    count: int | None = None
    body_mm: tuple[float, float] | None = None
    remainder: str = ""
    notes: tuple[str, ...] = ()

    @property
    def nominal(self) -> float | None:
        """The main figure: ohms, farads, henries, bead impedance or hertz, whichever is there."""
        for value in (self.ohms, self.farads, self.henries, self.impedance_ohms, self.hertz):
            if value is not None:
                return value
        return None


_PLACEHOLDER: Final = re.compile(r"(?:val(?:ue)?\*+|~|\?+|\*+|-+|tbd|x+)", re.IGNORECASE)


@cache
def _not_fitted(form: str) -> re.Pattern[str]:
    """Return a pattern of words for "not fitted" (knowledge/fitted.toml) in a form of a value."""
    words = "".join(table("fitted")["whole"].split("\n"))
    return re.compile(form.replace("WORD", f"(?:{words})"), re.IGNORECASE)


@lru_cache(maxsize=65536)
def read_part_value(text: str, kind: str | None = None) -> PartValue:
    """Return what a value text of a parts list or netlist says.

    Args:
        text: the value as the source writes it.
        kind: the part's kind in the trade's words (`resistor`, `capacitor`, `inductor`,
            `ferrite bead`, `crystal`, `thermistor`, `fuse`...), None if not known; it decides
            what a bare `100`, `10u` or `12p` is. Kinds without a value (chips, connectors)
            give `fitted` alone.

    Returns:
        One `PartValue`; a part number that merely looks like a value gives no figure.

    >>> value = read_part_value("0.1uF/16V/X5R", "capacitor")
    >>> value.farads, value.volts, value.dielectric
    (1e-07, 16.0, 'X5R')
    >>> value = read_part_value("NA(10K)", "resistor")
    >>> value.ohms, value.fitted
    (10000.0, False)
    """
    family = family_of(kind)
    text = text.strip()
    fitted: bool | None = None
    if _not_fitted(r"\(?\s*WORD\s*\)?").fullmatch(text):
        # a switch or solder jumper drawn "Open" is fitted; NC on a connector is no connection
        if family == "valueless" and not re.match(r"\(?\s*d\.?n|\(?\s*na|\(?\s*not", text, re.I):
            return PartValue(remainder=text)
        return PartValue(fitted=False)
    for around in (r"WORD\s*[(\[](?P<inside>.*)[)\]]", r"[(\[]\s*WORD\s*[)\]]\s*(?P<inside>.+)"):
        match = _not_fitted(around).fullmatch(text)
        if match:
            fitted, text = False, match["inside"].strip()
            break
    else:
        # beside a value only words that cannot be anything else
        shorter = pattern("fitted", "word").sub(" ", text)
        if shorter != text:
            fitted, text = False, shorter.strip(" ,;/_-()[]")
    if not text or _PLACEHOLDER.fullmatch(text):
        return PartValue(fitted=fitted)
    if family == "valueless":
        return PartValue(fitted=fitted, remainder=text)
    items, rest = read_items(text, family)
    figures = gather(items, rest, text, family)
    return PartValue(fitted=fitted, **figures)
