"""A pin that one file puts on two nets: noted as a conflict with both places, settled by nobody."""

from __future__ import annotations

from collections.abc import Iterable

from nettrace.errors import Place
from nettrace.model.board import Conflict, Statement
from nettrace.model.builder import BoardBuilder

__all__ = ["note_pin_conflicts"]


def note_pin_conflicts(
    builder: BoardBuilder, refdes: str, pins: Iterable[tuple[str, str, Place]]
) -> None:
    """Add a warning and a Conflict for every pin number that stands on more than one net.

    Args:
        builder: takes the warnings and conflicts.
        refdes: the part.
        pins: (number, net, place) in the order of the file; the same pair may repeat.
    """
    said: dict[str, dict[str, Place]] = {}
    for number, net, place in pins:
        said.setdefault(number, {}).setdefault(net, place)
    for number, nets in said.items():
        if len(nets) < 2:
            continue
        subject = f"{refdes}.{number}"
        conflict = Conflict(
            "pin-on-two-nets",
            subject,
            tuple(Statement(f"on {net}", place) for net, place in nets.items()),
            "both, as two pins of one number",
        )
        builder.conflicts.append(conflict)
        where = " and ".join(f"on {net} ({place})" for net, place in nets.items())
        last = list(nets.values())[-1]
        builder.warn("pin-on-two-nets", f"{subject} is {where}", last)
