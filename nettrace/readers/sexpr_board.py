"""Reader of s-expression board files, `(kicad_pcb ...)`."""

from __future__ import annotations

from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.sexpr_board_tree import read_board_tree
from nettrace.readers.sexpr_read import read_either_way

__all__ = ["read"]


def read(document: Document) -> Board:
    """Read the file into a Board: parts, pads with their places, pins, nets, vias, copper areas.

    Raises:
        BadInput: it is cut off, unbalanced, or says what cannot be.
    """
    return read_either_way(document, _by_forms, read_board_tree)


def _by_forms(document: Document) -> Board:
    from nettrace.readers.sexpr_board_forms import read_board_forms  # lark is heavy

    return read_board_forms(document)
