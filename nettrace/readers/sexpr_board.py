"""Reader of s-expression board files."""

from __future__ import annotations

from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.sexpr_board_tree import read_board_tree

__all__ = ["read"]


def read(document: Document) -> Board:
    """Read the file into a Board.

    Raises:
        BadInput: it is cut off, unbalanced, or says what cannot be.
    """
    return read_board_tree(document)
