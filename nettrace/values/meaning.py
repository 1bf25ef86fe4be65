"""One meaning of a marking or value text."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["Meaning", "MeaningOf"]

MeaningOf = Literal[
    "ohms", "farads", "henries", "volts", "tolerance", "size", "dielectric", "not fitted",
    "hertz", "amperes", "watts",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a text may say, in SI base units.

    `value` is a number, the inch code of a size, the name of a dielectric, or None (not fitted);
    `tolerance` a fraction; `how` the code it was read by; `score` 0 to 1, for the order only:
    judgement from common practice, no source.
    """

    quantity: MeaningOf
    value: float | str | None
    tolerance: float | None
    how: str
    note: str = ""
    score: float = 0.5
