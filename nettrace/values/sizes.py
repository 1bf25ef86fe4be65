"""Chip sizes: inch and metric codes, body, rated power and voltage, and which code is meant.

The digits 0201, 0402 and 0603 exist in both systems (0603 metric is 0201 inch), so a length in
millimetres, a body or a pad pitch, decides where one is known; never the digits alone.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

__all__ = [
    "CHIP_SIZES",
    "ChipSize",
    "SizeReading",
    "chip_size",
    "inch_size",
    "land_pattern_size",
    "read_size",
    "working_volts",
]


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


_ROYAL: Final = "Royal Ohm chip resistor sheet"
_YAGEO: Final = "Royal Ohm and Yageo RC sheets"
_VISHAY: Final = "Royal Ohm, Yageo RC, Vishay D/CRCW e3 (20035) sheets"
_MEMORY: Final = "from memory"

#: Smallest first.
CHIP_SIZES: Final[tuple[ChipSize, ...]] = (
    ChipSize("008004", "0201", 0.25, 0.125, source="distributor's note on JEDEC sizes"),
    ChipSize("009005", "03015", 0.3, 0.15, 1 / 50, 10, source=f"power and voltage {_MEMORY}"),
    ChipSize("01005", "0402", 0.4, 0.2, 1 / 32, 15, 0.5, _ROYAL),
    ChipSize("0201", "0603", 0.6, 0.3, 1 / 20, 25, 0.5, _YAGEO),
    ChipSize("0402", "1005", 1.0, 0.5, 1 / 16, 50, 1.0, _VISHAY),
    ChipSize("0603", "1608", 1.6, 0.8, 1 / 10, 75, 1.0, _VISHAY),
    ChipSize("0805", "2012", 2.0, 1.25, 1 / 8, 150, 2.0, _VISHAY),
    ChipSize("1008", "2520", 2.5, 2.0, source=_MEMORY),
    ChipSize("1206", "3216", 3.2, 1.6, 1 / 4, 200, 2.0, _VISHAY),
    ChipSize("1210", "3225", 3.2, 2.5, 1 / 3, 200, 2.0, "Yageo; Vishay 1/2 W, others 1/4 W"),
    ChipSize("1411", "3528", 3.5, 2.8, source=_MEMORY),
    ChipSize("1806", "4516", 4.5, 1.6, source=_MEMORY),
    ChipSize("1808", "4520", 4.5, 2.0, source=_MEMORY),
    ChipSize("1812", "4532", 4.5, 3.2, source=_MEMORY),
    ChipSize("2010", "5025", 5.0, 2.5, 3 / 4, 200, 2.0, "Royal Ohm, Yageo; Vishay 400 V"),
    ChipSize("2220", "5750", 5.7, 5.0, source=_MEMORY),
    ChipSize("2512", "6432", 6.35, 3.2, 1.0, 200, 2.0, "Royal Ohm, Yageo; Vishay 500 V"),
)
_BY_INCH: Final = {size.inch: size for size in CHIP_SIZES}
_BY_METRIC: Final = {size.metric: size for size in CHIP_SIZES} | {"6332": _BY_INCH["2512"]}

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


#: A whole land pattern name: component class, body length and width in 0.1 mm, X, height in
#: 0.01 mm, density level. Source: IPC-7351, naming convention for chip components.
_LAND_PATTERN_NAME: Final = re.compile(
    r"(?<![A-Za-z0-9])(?:RES|CAP|IND|FUS|LED|DIO|BEAD|THRM|VAR)C(\d\d)(\d\d)X\d{2,3}[LMN]?"
    r"(?![A-Za-z0-9])",
    re.IGNORECASE,
)
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
    match = _LAND_PATTERN_NAME.search(name)
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


# R_0201_0603Metric, 1608M, (1608 metric)
_SAID_METRIC: Final = re.compile(r"(?<!\d)(\d{4,5})[ _-]?(?:[Mm]etric|METRIC|M)(?![A-Za-z])")
# IPC-7351 names give the metric code: RESC1005X40N, CAPC1608X90N; EIA-3216-18 is a metric case
_LAND_PATTERN: Final = re.compile(
    r"(?:RESC|CAPC|INDC|FUSC|LEDC|DIOC|BEADC|CAPMP|EIA[-_ ]?)(\d{4})", re.IGNORECASE
)
_BY_LAND_PATTERN: Final = "metric by the land pattern's naming"
_CODE: Final = re.compile(r"(?<![\d.,])(\d{4,6})(?![\d.,]*\d)")


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
    for pattern, how in (
        (_SAID_METRIC, "named metric"),
        (_LAND_PATTERN, _BY_LAND_PATTERN),
    ):
        for match in pattern.finditer(text):
            if match[1] in _BY_METRIC:
                return SizeReading(_BY_METRIC[match[1]].inch, how)
    codes = [m[1] for m in _CODE.finditer(text) if m[1] in _BY_INCH or m[1] in _BY_METRIC]
    if not codes:
        return None
    for code in codes:
        size = _BY_INCH.get(code)
        if size and any(size.metric == other for other in codes):
            return SizeReading(size.inch, "inch and metric code agree")
    code = codes[0]
    candidates = [s for s in (_BY_INCH.get(code), _BY_METRIC.get(code)) if s]
    if length_mm is not None and length_mm > 0:
        ranked = sorted(candidates, key=lambda s: abs(math.log(length_mm / s.length_mm)))
        near = [
            s for s in ranked if abs(math.log(length_mm / s.length_mm)) < math.log(LENGTH_RATIO)
        ]
        if near:
            others = tuple(s.inch for s in ranked[1:])
            return SizeReading(near[0].inch, f"decided by {length_mm:g} mm", others)
    first = candidates[0]
    if len(candidates) == 1:
        how = "inch code" if first.inch == code else "metric code"
        return SizeReading(first.inch, how)
    others = tuple(s.inch for s in candidates[1:])
    return SizeReading(first.inch, "inch code by custom; no length to confirm", others)


def inch_size(text: str, length_mm: float | None = None) -> str | None:
    """Return the inch code of a footprint or size text, None if it names no chip size.

    >>> inch_size("C_0603_1608Metric"), inch_size("RES0402"), inch_size("SOT-23-5")
    ('0603', '0402', None)
    """
    reading = read_size(text, length_mm)
    return reading.inch if reading else None


def working_volts(inch: str, ohms: float) -> float | None:
    """Return the highest continuous voltage across a chip resistor, V.

    The rule: the smaller of √(P·R) and the size's limiting voltage.

    Args:
        inch: inch code.
        ohms: nominal resistance, Ω, 0 or more.

    Returns:
        Volts, None where the size or its ratings are not known.

    Source: Yageo RC series data sheet; ratings as in `CHIP_SIZES`.

    >>> round(working_volts("0402", 10e3), 1), working_volts("0603", 100e3)
    (25.0, 75)
    """
    size = _BY_INCH.get(inch)
    if size is None or size.watts is None or size.volts is None:
        return None
    return min(math.sqrt(size.watts * ohms), size.volts)
