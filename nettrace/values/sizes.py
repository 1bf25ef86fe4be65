"""Chip sizes: inch and metric codes, body, rated power and voltage, and which code is meant.

The digits 0201, 0402 and 0603 exist in both systems (0603 metric is 0201 inch), so a length in
millimetres, a body or a pad pitch, decides where one is known; never the digits alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from nettrace.knowledge import pattern, table


@dataclass(frozen=True, slots=True)
class ChipSize:
    """One case size; power at 70 °C, working voltage and jumper current are of chip resistors.

    Figures are the typical ones of general-purpose thick-film series; None where none was found.
    """

    inch: str
    metric: str
    length_mm: float
    width_mm: float
    watts: float | None = None
    volts: float | None = None
    link_amperes: float | None = None
    source: str = ""


#: Smallest first.
CHIP_SIZES: Final = tuple(
    ChipSize(inch, metric, length, width, watts or None, volts or None, link or None, source)
    for inch, metric, length, width, watts, volts, link, source in table("values")["sizes"]["rows"]
)
_BY_INCH: Final = {size.inch: size for size in CHIP_SIZES}
_BY_METRIC: Final[dict[str, ChipSize]] = {size.metric: size for size in CHIP_SIZES} | {
    metric: _BY_INCH[inch] for metric, inch in table("values")["sizes"]["other_metric"].items()
}

INCH_CODES: Final = frozenset(_BY_INCH)
METRIC_CODES: Final = frozenset(_BY_METRIC)

#: How far a body length or a pad pitch may be from the nominal body length (ratio).
#: Common practice, no source: pad pitch of a chip is 0.8 to 1.35 times its length.
LENGTH_RATIO: Final = 1.4


@dataclass(frozen=True, slots=True)
class SizeReading:
    """The size a text most likely means, why, and the other inch codes it could mean."""

    inch: str
    how: str
    others: tuple[str, ...] = ()


def chip_size(inch: str) -> ChipSize | None:
    """Return the row of an inch code, None if it is not in the table.

    >>> chip_size("0201").metric, chip_size("0201").length_mm
    ('0603', 0.6)
    """
    return _BY_INCH.get(inch)


#: How far a land pattern's body may be from the nominal one (fraction): 2013 is 2.0 x 1.25 mm.
_BODY_OFF: Final = 0.1


@lru_cache(maxsize=4096)
def land_pattern_size(name: str) -> ChipSize | None:
    """Return the chip size of a land pattern name, None where it is no such name or size.

    The digits are the body in millimetres, never an inch code.

    Source: IPC-7351, naming convention for chip components.

    >>> land_pattern_size("RESC0603X26N").inch, land_pattern_size("RESC0603")
    ('0201', None)
    """
    match = pattern("values", "land_pattern_name").search(name)
    if match is None:
        return None
    exact = _BY_METRIC.get(match[1] + match[2])
    if exact is not None:
        return exact
    length, width = int(match[1]) / 10, int(match[2]) / 10
    off = {
        size.inch: max(abs(length / size.length_mm - 1), abs(width / size.width_mm - 1))
        for size in CHIP_SIZES
    }
    nearest = min(off, key=off.__getitem__)
    return _BY_INCH[nearest] if off[nearest] <= _BODY_OFF else None


_BY_LAND_PATTERN: Final = "metric by the land pattern's naming"


@lru_cache(maxsize=8192)
def read_size(text: str, length_mm: float | None = None) -> SizeReading | None:
    """Return the chip size a footprint name, package or size text means.

    Args:
        text: `R_0201_0603Metric`, `RES0402`, `C0603`, `0402`, `RESC1005X40N`, `1608M`.
        length_mm: body length or distance of the two pads, mm, None if not known.

    Returns:
        The inch code with how it was decided; None where the text holds no chip size.

    >>> read_size("R_0201_0603Metric").inch, read_size("0603", length_mm=0.58).inch
    ('0201', '0201')
    >>> read_size("0603")
    SizeReading(inch='0603', how='inch code by custom; no length to confirm', others=('0201',))
    """
    pattern_size = land_pattern_size(text)
    if pattern_size is not None:
        return SizeReading(pattern_size.inch, _BY_LAND_PATTERN)
    for naming, how in (("said_metric", "named metric"), ("land_pattern", _BY_LAND_PATTERN)):
        for match in pattern("values", naming).finditer(text):
            if match[1] in _BY_METRIC:
                return SizeReading(_BY_METRIC[match[1]].inch, how)
    codes = [
        m[1]
        for m in pattern("values", "size_code").finditer(text)
        if m[1] in _BY_INCH or m[1] in _BY_METRIC
    ]
    if not codes:
        return None
    for code in codes:
        size = _BY_INCH.get(code)
        if size and any(size.metric == other for other in codes):
            return SizeReading(size.inch, "inch and metric code agree")
    code = codes[0]
    candidates = [s for s in (_BY_INCH.get(code), _BY_METRIC.get(code)) if s]
    first = candidates[0]
    how = "inch code" if first.inch == code else "metric code"
    if len(candidates) > 1:
        how = "inch code by custom; no length to confirm"
    if length_mm is not None and length_mm > 0:
        off = {size.inch: abs(math.log(length_mm / size.length_mm)) for size in candidates}
        candidates.sort(key=lambda size: off[size.inch])
        if off[candidates[0].inch] < math.log(LENGTH_RATIO):
            how = f"decided by {length_mm:g} mm"
        elif candidates[0] is not first:
            candidates.reverse()
    return SizeReading(candidates[0].inch, how, tuple(size.inch for size in candidates[1:]))


def inch_size(text: str, length_mm: float | None = None) -> str | None:
    """Return the inch code of a footprint or size text, None if it names no chip size.

    >>> inch_size("C_0603_1608Metric"), inch_size("RES0402"), inch_size("SOT-23-5")
    ('0603', '0402', None)
    """
    reading = read_size(text, length_mm)
    return reading.inch if reading else None
