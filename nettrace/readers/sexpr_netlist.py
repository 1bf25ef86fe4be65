"""Reader of s-expression netlist files."""

from __future__ import annotations

from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.sexpr_netlist_tree import read_netlist_tree

__all__ = ["read"]


def read(document: Document) -> Board:
    """Read the file into a Board.

    Raises:
        BadInput: it is cut off, unbalanced, or says what cannot be.
    """
    return read_netlist_tree(document)
