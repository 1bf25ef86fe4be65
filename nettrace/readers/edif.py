"""EDIF 2 0 0 (ANSI/EIA-548): netlist view and schematic view.

Two readers stand behind it: the whole-tree reader (`edif_tree`, `edif_cells`) and the grammar over
whole forms (`edif_forms`, `grammars/edif.lark`), which reads what netlist writers usually write,
several times as fast once it is loaded. They never differ in what they say of a text.
"""

from __future__ import annotations

from nettrace.collector import collector_off
from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.edif_board import Hierarchy, build_board
from nettrace.readers.edif_cells import read_design
from nettrace.readers.edif_design import Design

__all__ = ["read", "read_with"]

#: Characters that the whole-tree reader reads in the time that lark and the grammar take to load
#: (0.17 s here). Once so much was read without them in a process, they are loaded.
GRAMMAR_PAYS = 1_500_000


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
        return build_board(document, _design(document), hierarchy)


def _design(document: Document) -> Design:
    if not _grammar_pays(len(document.text)):
        return read_design(document)
    from nettrace.readers.edif_forms import Mismatch  # lark is imported when it is worth it
    from nettrace.readers.edif_forms import read_design as read_forms

    try:
        return read_forms(document)
    except Mismatch:
        return read_design(document)


class _Account:
    """What was read without the grammar in this process."""

    characters = 0


def _grammar_pays(length: int) -> bool:
    """Whether building the grammar costs less than reading this (and what came before) without."""
    if _Account.characters + length >= GRAMMAR_PAYS:
        return True
    _Account.characters += length
    return False
