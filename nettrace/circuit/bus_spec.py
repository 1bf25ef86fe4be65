"""What tells a protocol: the words of its lines, and which lines make a bus of it."""

from __future__ import annotations

import re
from collections.abc import Callable, Set
from dataclasses import dataclass

__all__ = [
    "Spec",
    "Word",
    "all_of",
    "is_i2s",
    "is_memory",
    "is_rgb",
    "is_sdio",
    "is_spi",
    "line_word",
    "pairs",
]


@dataclass(frozen=True, slots=True)
class Word:
    """A line: what it is called, the words it goes by, and what may stand before and after."""

    line: str
    pattern: re.Pattern[str]
    after: re.Pattern[str] | None = None  # what must stand right before it


@dataclass(frozen=True, slots=True)
class Spec:
    """A protocol: its lines, which of them make a bus, and words that the group must have.

    `enough` is asked with the lines found. `context` must be found in the whole name of a line,
    `unless` must not. `open_drain` lines need a pull-up. `coupled` buses go through capacitors.
    """

    protocol: str
    words: tuple[Word, ...]
    enough: Callable[[Set[str]], bool]
    context: re.Pattern[str] | None = None
    unless: re.Pattern[str] | None = None
    open_drain: bool = False
    coupled: bool = False
    glued: bool = False  # the word may follow letters: HSDA, UART0TX
    pins: bool = False  # pin names alone may make it, where nets have no names


def line_word(line: str, pattern: str, after: str = "") -> Word:
    """Return the word of a line; `after` is what must stand right before it."""
    return Word(line, re.compile(pattern), re.compile(after) if after else None)


def all_of(*lines: str) -> Callable[[Set[str]], bool]:
    """All of these lines."""
    wanted = frozenset(lines)
    return lambda found: wanted <= found


def is_memory(found: Set[str]) -> bool:
    """A byte of data with its strobe or the row and column selects."""
    data = sum(line.startswith("DQ") and line[2:].isdecimal() for line in found)
    strobes = sum(line.startswith("DQS") for line in found)
    return data >= 8 and (strobes >= 1 or {"RAS", "CAS"} <= found)


def is_rgb(found: Set[str]) -> bool:
    """Four bits or more of each colour."""
    colours = [sum(line[0] == c and line[1:].isdecimal() for line in found) for c in "RGB"]
    return min(colours) >= 4


def pairs(count: int) -> Callable[[Set[str]], bool]:
    """At least so many complete pairs X_P and X_N."""

    def enough(found: Set[str]) -> bool:
        return sum(f"{line[:-2]}_N" in found for line in found if line.endswith("_P")) >= count

    return enough


def is_i2s(found: Set[str]) -> bool:
    """A word select, a clock and data."""
    data = {"SD", "DIN", "DOUT"} & found
    return "WS" in found and bool({"BCLK", "MCLK"} & found) and bool(data)


def is_sdio(found: Set[str]) -> bool:
    """Clock, command and the first data line."""
    return {"CLK", "CMD", "D0"} <= found


def is_spi(found: Set[str]) -> bool:
    """A clock and both data lines, or one of them and a select."""
    if not found & {"SCK"}:
        return False
    if {"MOSI", "MISO"} <= found:
        return True
    return bool(found & {"MOSI", "MISO"}) and "CS" in found
