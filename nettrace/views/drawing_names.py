"""Short names of nets for drawings: a sheet's path is left out where the name tells enough."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from nettrace.model.board import Board
from nettrace.views.text import printable, shorten_middle

__all__ = ["short_net_names"]

#: Names up to this length stand as they are.
SHORT_LETTERS = 14


def short_net_names(board: Board, letters: int) -> Mapping[str, str]:
    """Return net name -> what a drawing writes, `letters` at most.

    `/Power/Charger/VBAT` becomes `…/VBAT` if no other net ends so; else its middle is left out.
    The whole name belongs in a tooltip or a list.
    """
    last = Counter(net.name.rsplit("/", 1)[-1] for net in board.nets)
    found = {}
    for net in board.nets:
        name = printable(net.name)
        tail = name.rsplit("/", 1)[-1]
        if len(name) > SHORT_LETTERS and "/" in name.lstrip("/") and tail:
            alone = last[net.name.rsplit("/", 1)[-1]] == 1
            name = f"…/{tail}" if alone else name
        found[net.name] = shorten_middle(name, letters)
    return found
