"""How the origin of one source lies against another's: the constant shift between their places."""

from __future__ import annotations

from collections.abc import Mapping
from statistics import median

from nettrace.model.board import Board

__all__ = ["shift_between"]

#: A shift is trusted when at least so many pins agree on it (three points fix a plane figure).
SHARED_PINS = 3
#: Places of the same pad in two files of one board differ by rounding alone, mm.
ROUNDING_MM = 0.05
#: Share of shared pins that must agree with the shift; of the middles of parts fewer do, since a
#: footprint's own middle may be its first pin.
AGREEMENT, AGREEMENT_OF_MIDDLES = 0.8, 0.5


def shift_between(
    placed_pins: Mapping[tuple[str, str], tuple[float, float]],
    placed_parts: Mapping[str, tuple[float, float]],
    board: Board,
    pins: Mapping[tuple[str, str, str | None], tuple[str, str]],
) -> tuple[float, float] | None:
    """Return (dx, dy) in mm to add to the places of `board`, or None where it cannot be told.

    Where nothing is placed yet, the source's own frame becomes the board's: (0, 0).

    Args:
        placed_pins: place of each pin of a single pad that is placed so far.
        placed_parts: centre of each part that is placed so far.
        board: the source to be added.
        pins: its pins that are known: (part, number, net) -> (part, number).
    """
    if not placed_pins and not placed_parts:
        return 0.0, 0.0
    gaps: list[tuple[float, float]] = []
    agreement = AGREEMENT
    if board.has_places():
        for part in board.parts:
            for pin in part.pins:
                here = pins.get((part.key, pin.number, pin.net))
                place = placed_pins.get(here) if here is not None else None
                if place is not None and len(pin.pads) == 1:
                    gaps.append((place[0] - pin.pads[0].x, place[1] - pin.pads[0].y))
    if len(gaps) < SHARED_PINS:  # one of the two has the middles of parts alone
        gaps.clear()
        agreement = AGREEMENT_OF_MIDDLES
        for part in board.parts:
            place = placed_parts.get(part.key)
            if place is not None and part.x is not None and part.y is not None:
                gaps.append((place[0] - part.x, place[1] - part.y))
    if len(gaps) < SHARED_PINS:
        return None
    dx, dy = median(gap[0] for gap in gaps), median(gap[1] for gap in gaps)
    agree = sum(abs(x - dx) <= ROUNDING_MM and abs(y - dy) <= ROUNDING_MM for x, y in gaps)
    return (dx, dy) if agree >= max(SHARED_PINS, agreement * len(gaps)) else None
