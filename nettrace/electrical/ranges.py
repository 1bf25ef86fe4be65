"""Checks of arguments that every formula shares: a value outside its range is the caller's slip."""

from __future__ import annotations

import math


def above_zero(**values: float) -> None:
    """Raise ValueError naming the first argument that is not a finite number above 0.

    >>> above_zero(ohms=-1.0)
    Traceback (most recent call last):
    ValueError: ohms must be a number above 0, not -1.0
    """
    for name, value in values.items():
        if not 0 < value < math.inf:
            raise ValueError(f"{name} must be a number above 0, not {value!r}")


def not_negative(**values: float) -> None:
    """Raise ValueError naming the first argument that is below 0 or no number.

    >>> not_negative(ohms=0.0, farads=float("inf"))
    """
    for name, value in values.items():
        if not value >= 0:
            raise ValueError(f"{name} must be 0 or more, not {value!r}")
