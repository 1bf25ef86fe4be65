"""Numbers as SPICE reads them: the letters after the digits are a scale, whatever the trade means.

`1M` is a thousandth here and a million on a drawing, so the reader states the number beside the
text. Where the text is the trade's own shape (2k2, 4R7) SPICE would drop the last digit, which no
drawer means: such a text has no SPICE number and is left to the trade's reading.
"""

from __future__ import annotations

import re
from functools import lru_cache
from math import isfinite

__all__ = ["is_numeric", "spice_number"]

#: Powers of ten of the suffixes. Source: ngspice user manual, table 2.1 (`mil` is a thousandth of
#: an inch in metres). `a` (1e-18) is left out: only some dialects know it, elsewhere it is amperes.
EXPONENTS: dict[str, int] = {
    "t": 12,
    "g": 9,
    "meg": 6,
    "k": 3,
    "m": -3,
    "u": -6,
    "µ": -6,  # micro sign
    "μ": -6,  # Greek mu
    "n": -9,
    "p": -12,
    "f": -15,
}
MIL_METRES = 25.4e-6
MOST_EXPONENT = 270  # beyond, with a suffix, a float runs over
_NUMBER = re.compile(
    r"([+-]?(?:[0-9]{1,300}+\.?[0-9]*+|\.[0-9]++))(e[+-]?[0-9]{1,4}+)?"
    r"(?:(meg|mil|[tgkmunpfµμ])[a-zµμΩ%]*+|([a-zµμΩ%]*+))",
    re.IGNORECASE,
)


def is_numeric(word: str) -> bool:
    """Return whether the word begins like a number (2k2 and 10uF/16V do, RMOD does not)."""
    return _NUMBER.match(word) is not None


@lru_cache(maxsize=4096)
def spice_number(text: str) -> float | None:
    """Return the number a SPICE simulator takes the text for; None if it is no number to SPICE.

    What follows the unit after a separator (`100uF;16V`, `10K,1%`) is no part of the number.

    >>> spice_number("1M"), spice_number("2.2Meg"), spice_number("10uF"), spice_number("2k2")
    (0.001, 2200000.0, 1e-05, None)
    """
    match = _NUMBER.match(text)
    if match is None:
        return None
    digits, exponent, suffix, bare_unit = match.groups()
    rest = text[match.end() : match.end() + 1]
    if rest and (rest.isalnum() or rest in "._+-*^<>=!&|?:("):
        return None  # 2k2, 0603X, 3.3.0, 1+2: a text that only begins like a number
    if bare_unit in ("a", "A"):
        return None  # 5A: amperes in most dialects, 5e-18 in some
    power = int(exponent[1:]) if exponent else 0
    if abs(power) > MOST_EXPONENT:
        return None
    if suffix is None or suffix.lower() == "mil":
        number = float(f"{digits}e{power}") * (MIL_METRES if suffix else 1.0)
    else:
        # scaled as text: 4.7u is 4.7e-06, not 4.699999999999999e-06
        number = float(f"{digits}e{power + EXPONENTS[suffix.lower()]}")
    return number if isfinite(number) else None
