"""EDIF 2 0 0 (ANSI/EIA-548): netlist view and schematic view.

One way from text to board: the tree of its forms (`edif_tree`), what they say cell by cell
(`edif_cells`), and the sheets expanded (`edif_board`). `grammars/edif.lark` is the definition of
the netlist view for people, and for a test.
"""

from __future__ import annotations

from nettrace.collector import collector_off
from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.edif_board import BoardMaker, Hierarchy
from nettrace.readers.edif_cells import CellReader
from nettrace.readers.edif_tree import Tree


def read(document: Document) -> Board:
    """Return the board of an EDIF text, its sheets expanded if not said otherwise."""
    return read_with(document, "keep" if document.hierarchy == "keep" else "flatten")


def read_with(document: Document, hierarchy: Hierarchy = "flatten") -> Board:
    """Return the board of an EDIF text.

    Args:
        document: the text.
        hierarchy: "flatten" expands a cell with contents to SHEET/R1; "keep" leaves it one part.

    Raises:
        BadInput: not EDIF 2 0 0, or a reference that leads nowhere, with line and column.

    The counts of the board's source are of what stands directly in the top cell in both cases.
    """
    with collector_off():
        return _board(Tree(document), hierarchy)  # what the collector is to see is the board alone


def _board(tree: Tree, hierarchy: Hierarchy) -> Board:
    return BoardMaker(tree, CellReader(tree).read(), hierarchy).board()
