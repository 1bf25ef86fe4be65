"""Which parts are on a net, and which nets a part is on: lists made once, for searches."""

from __future__ import annotations

from collections.abc import Mapping

from nettrace.model.board import Board

__all__ = ["MOST_CROSSED_PARTS", "Adjacency"]

#: A search goes on through nets of at most this many parts: supplies tie all to all (common
#: practice, no source).
MOST_CROSSED_PARTS = 50


class Adjacency:
    """The lists of a board, read only; each name stands once, in the board's order."""

    __slots__ = ("nets_of", "parts_of")

    def __init__(self, board: Board) -> None:
        """Make the lists: one walk over all pins."""
        self.parts_of: Mapping[str, tuple[str, ...]] = {
            net.name: tuple(dict.fromkeys([pin.part for pin in net.pins])) for net in board.nets
        }
        self.nets_of: Mapping[str, tuple[str, ...]] = {part.key: part.nets for part in board.parts}
