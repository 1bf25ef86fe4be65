"""What a net's name says about supply: ground, rail, and the volts that stand in the name.

The forms are those of the trade: 3V3, 1V05, +3.3V, P3V3, 3P3V, VCC3V3_S0, VDD_1V8 (common
practice, no source). Digits that are no volts stay digits: GPIO33, I2C1, VDD1, USB3V, R5V1. All
words stand in knowledge/supplies.toml.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache, lru_cache, partial
from typing import Final

from nettrace.knowledge import compiled, pattern, table, unbroken

_pattern = partial(pattern, "supplies")

#: Score of a voltage beside a word that is no supply word.
LEVEL_SCORE: Final = 0.5


@dataclass(frozen=True, slots=True)
class NameReading:
    """What a name says. `kind`: ground, rail (says so), supply (a supply word, weaker) or "".

    "level" is a voltage beside a word that is no supply word (SDA_1V8). `volts` is None where the
    name has no figure; `usual` is what such a name usually carries (VBUS: 5 V), with its range, V.
    """

    kind: str
    volts: float | None = None
    usual: tuple[float, float, float] | None = None
    word: str = ""
    score: float = 0.9


_NOTHING: Final = NameReading("")


@lru_cache(maxsize=65536)
def is_named(name: str) -> bool:
    """Return whether a person named the net: suites call the others Net-(R1-Pad2), N$12..."""
    return _pattern("automatic").search(name) is None


def leaf_of(name: str) -> str:
    """Return the last component of a net name, without sheet path and overbars.

    >>> leaf_of("/Project/Power/VSYS"), leaf_of("/~{RESET}"), leaf_of("/I/O1")
    ('VSYS', 'RESET', 'O1')
    """
    return without_overbars(name.rsplit("/", 1)[-1] if "/" in name else name)


def without_overbars(name: str) -> str:
    """Return a name of a net or pin without the marks of an overbar: `~{RESET}` gives RESET."""
    return (re.sub(r"[~_^]\{([^}]*)\}", r"\1", name) if "{" in name else name).strip()


def pin_function_of(name: str) -> str | None:
    """Return the pin function in an automatic name: `Net-(U1-VDD)` gives VDD; or None."""
    match = _pattern("automatic_pin").match(name) if name.endswith((")", "_")) else None
    if match is None:
        return None
    pin = without_overbars(match["pin"])
    return None if re.match(r"(?i)^Pad\w*$", pin) else pin


@lru_cache(maxsize=65536)
def read_rail_name(name: str) -> NameReading:
    """Return what the name of a net says about supply.

    >>> (
    ...     read_rail_name("+3V3").volts,
    ...     read_rail_name("VCC3V3_S0").volts,
    ...     read_rail_name("P1V8").volts,
    ... )
    (3.3, 3.3, 1.8)
    >>> [read_rail_name(n).volts for n in ("GPIO33", "I2C1", "VDD1", "USB3V", "R5V1", "AVDD")]
    [None, None, None, None, None, None]
    """
    leaf = leaf_of(name).upper()
    if not leaf or not is_named(name):
        return _NOTHING
    without = leaf.replace("GND", "", 1)
    if _pattern("ground").match(leaf) and not _pattern("no_ground").search(without):
        return NameReading("ground", 0.0, None, leaf, 0.97)
    about = _pattern("about_supply").search(leaf) is not None
    spelt = leaf
    if leaf.startswith(("V", "+V")):  # V12_0, V_1P8
        spelt = re.sub(r"^V(\d{1,2})_(\d)$", r"V\1V\2", leaf)
        spelt = re.sub(r"^(\+?)V[_-](?=\d)", r"\1V", spelt)
    volts = None if about else _volts_in(spelt)
    if volts is not None:
        # SDA_1V8: the level of a signal, or of a rail of that word; structure must say which
        kind = "rail" if volts[2] > LEVEL_SCORE else "level"
        return NameReading(kind, volts[0], None, volts[1], volts[2])
    if about or _any_supply_name().match(leaf) is None:
        return _NOTHING
    rows = table("supplies")["supply_names"]["rows"]
    score, usual = next(row[1:] for row in rows if compiled(row[0]).match(leaf))
    return NameReading("supply", None, usual or None, leaf, score)


@cache
def _any_supply_name() -> re.Pattern[str]:
    """Return one pattern for all supply names: most names are none."""
    rows = table("supplies")["supply_names"]["rows"]
    return compiled("|".join(unbroken(row[0]) for row in rows))


def _volts_in(leaf: str) -> tuple[float, str, float] | None:
    """Return volts, the word that holds them, and a score; None where no word is a voltage."""
    if re.search(r"\d", leaf) is None:
        return None
    whole = _volts_of_word(leaf)
    if whole is not None:
        return whole, leaf, 0.95
    match = _pattern("indexed").match(leaf)
    if match:
        return int(match["two"]) / 10, leaf, 0.6
    words = [word for word in re.split(r"[_\-]+(?=[A-Z+\d])|\s+", leaf) if word]
    found = [(word, volts) for word in words if (volts := _volts_of_word(word)) is not None]
    if len(words) < 2 or len(found) != 1:
        return None
    word, volts = found[0]
    words.remove(word)
    # "USB-5V", "1.1V_CPUX": at the front or the back of the name, beside a word
    known = all(_pattern("power_state").match(other) for other in words)
    return volts, word, 0.9 if known else LEVEL_SCORE


def _volts_of_word(word: str) -> float | None:
    match = _volts_forms().fullmatch(word)
    if match is None:
        return None
    sign, lead, whole, decimals = (group for group in match.groups() if group is not None)
    if whole == "3" and not decimals and _pattern("standby").search(word):
        return 3.3
    if lead == "USB" and whole in {"1", "2", "3"}:
        return None  # USB3V: the digit belongs to USB
    if not sign and not lead and "V" not in word:
        return None  # 2.4: a number, no voltage
    if whole.startswith("0") and whole != "0":
        return None
    figure = float(f"{whole}.{decimals or '0'}")
    if figure == 0 or figure > table("supplies")["volts_in_name"]["most_volts"]:
        return None
    return -figure if sign == "-" else figure


@cache
def _volts_forms() -> re.Pattern[str]:
    found = table("supplies")["volts_in_name"]
    forms = "|".join(found["forms"]).replace("{supply}", unbroken(found["supply"]))
    return compiled(forms.replace("{suffix}", unbroken(found["suffix"])))
