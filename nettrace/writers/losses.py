"""What of a board a format cannot carry, in words for the person who converts it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final

from nettrace.model.board import Board

__all__ = ["ALL_FACTS", "losses"]


def _parts(test: Callable[..., object]) -> Callable[[Board], int]:
    return lambda board: sum(1 for part in board.parts if test(part))


def _pins(test: Callable[..., object]) -> Callable[[Board], int]:
    return lambda board: sum(1 for part in board.parts for pin in part.pins if test(pin))


#: Fact -> (one, several, how many a board has). In the order in which they are missed.
_FACTS: Final[dict[str, tuple[str, str, Callable[[Board], int]]]] = {
    "nets": ("net", "nets", lambda board: sum(1 for net in board.nets if net.pins)),
    "open pins": ("pin on no net", "pins on no net", _pins(lambda pin: pin.net is None)),
    "nameless parts": (
        "part without a reference",
        "parts without a reference",
        _parts(lambda part: not part.refdes.strip()),
    ),
    "bare parts": (
        "part without pins",
        "parts without pins",
        _parts(lambda part: part.refdes.strip() and not part.pins),
    ),
    "values": ("value", "values", _parts(lambda part: part.value)),
    "packages": ("package", "packages", _parts(lambda part: part.package)),
    "descriptions": ("description", "descriptions", _parts(lambda part: part.description)),
    "fitted": (
        "mark that a part is not fitted",
        "marks that parts are not fitted",
        _parts(lambda part: part.fitted is False),
    ),
    "properties": ("part's fields", "parts' fields", _parts(lambda part: part.properties)),
    "places": ("part's place", "parts' places", _parts(lambda part: part.x is not None)),
    "pads": ("pad's place", "pads' places", lambda board: sum(1 for _ in board.pads())),
    "shapes": (
        "pad's shape",
        "pads' shapes",
        lambda board: sum(1 for pad in board.pads() if pad.shape is not None),
    ),
    "pin names": ("pin's name", "pins' names", _pins(lambda pin: pin.name)),
    "pin types": (
        "pin's electrical type",
        "pins' electrical types",
        _pins(lambda pin: pin.electrical_type),
    ),
    "aliases": (
        "net's other name",
        "nets' other names",
        lambda board: sum(1 for net in board.nets if net.pins and net.aliases),
    ),
    "volts": (
        "net's voltage",
        "nets' voltages",
        lambda board: sum(1 for net in board.nets if net.volts),  # ground is known by its name
    ),
    "vias": ("via", "vias", lambda board: len(board.vias)),
    "zones": ("copper area", "copper areas", lambda board: len(board.zones)),
    "outline": ("outline of the board", "lines of the outline", lambda board: len(board.outline)),
    "conflicts": (
        "conflict between sources",
        "conflicts between sources",
        lambda board: len(board.conflicts),
    ),
}
ALL_FACTS = frozenset(_FACTS)


def losses(board: Board, keeps: Iterable[str]) -> tuple[str, ...]:
    """Return what is left out, such as `436 pads' places`, most missed first.

    Args:
        board: to be written.
        keeps: the facts (of `ALL_FACTS`) that the format carries.
    """
    kept = frozenset(keeps)
    found = []
    for fact, (one, several, count) in _FACTS.items():
        if fact not in kept and (number := count(board)):
            found.append(f"{number} {one if number == 1 else several}")
    return tuple(found)
