"""Reader of s-expression netlists, `(export (version ...) ...)`, and of those before them."""

from __future__ import annotations

from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.sexpr_netlist_old import OLD_HEAD, read_old_netlist
from nettrace.readers.sexpr_netlist_tree import read_netlist_tree
from nettrace.readers.sexpr_read import read_either_way

__all__ = ["read"]


def read(document: Document) -> Board:
    """Read the file into a Board: parts, pins, nets; it has no places.

    Raises:
        BadInput: it is cut off, unbalanced, or says what cannot be.
    """
    if OLD_HEAD.match(document.text):
        return read_old_netlist(document)
    return read_either_way(document, _by_forms, read_netlist_tree)


def _by_forms(document: Document) -> Board:
    from nettrace.readers.sexpr_netlist_forms import read_netlist_forms  # lark is heavy

    return read_netlist_forms(document)
