"""The list of writers: which formats a board can be written in, and which one a file name means."""

from __future__ import annotations

from importlib import import_module
from pathlib import PurePath
from typing import NamedTuple

from nettrace.errors import WrongUsage
from nettrace.model.board import Board
from nettrace.model.find import find_format
from nettrace.writers.losses import ALL_FACTS, losses

__all__ = [
    "WRITERS",
    "WriterFormat",
    "format_for_path",
    "left_out",
    "write_board",
    "writer_named",
]


class WriterFormat(NamedTuple):
    """A format that can be written: its name, its title, the module whose `write` writes it."""

    name: str
    title: str
    module: str
    endings: tuple[str, ...]  # of file names, lower case; the first is the usual one
    keeps: frozenset[str]  # facts of `losses.ALL_FACTS` that a reader finds again in it


#: What every format with nets says of parts and pins.
_NETLIST = frozenset({"nets", "bare parts", "values", "pin names"})
_PART_FACTS = frozenset({"packages", "descriptions", "fitted"})

WRITERS: tuple[WriterFormat, ...] = (
    WriterFormat("json", "nettrace JSON", "nettrace.writers.json_board", (".json",), ALL_FACTS),
    WriterFormat(
        "edif",
        "EDIF 2 0 0",
        "nettrace.writers.edif",
        (".edf", ".edif", ".edn"),
        _NETLIST
        | _PART_FACTS
        | {"nameless parts", "open pins", "properties", "pin types", "aliases"},
    ),
    WriterFormat(
        "ipc-d-356",
        "IPC-D-356A",
        "nettrace.writers.ipcd356",
        (".d356", ".ipc", ".356", ".ipc356"),
        frozenset({"nets", "pads", "shapes", "vias", "outline"}),
    ),
    WriterFormat(
        "spice",
        "SPICE deck",
        "nettrace.writers.spice",
        (".cir", ".sp", ".spice", ".ckt"),
        _NETLIST | {"fitted"},
    ),
    WriterFormat(
        "kicad_net",
        "s-expression netlist",
        "nettrace.writers.kicad_net",
        (".net",),
        _NETLIST | _PART_FACTS | {"properties", "pin types"},
    ),
    WriterFormat(
        "csv",
        "parts list",
        "nettrace.writers.csv_tables",
        (".csv",),
        _PART_FACTS | {"bare parts", "values", "properties", "places"},
    ),
    WriterFormat(
        "graphml",
        "GraphML",
        "nettrace.writers.graphml",
        (".graphml",),
        _NETLIST | _PART_FACTS | {"nameless parts", "places", "pin types", "aliases", "volts"},
    ),
    WriterFormat(
        "sheet",
        "typed sheet",
        "nettrace.writers.sheet",
        (".sheet", ".txt"),
        _NETLIST | _PART_FACTS | {"open pins", "places", "aliases", "volts"},
    ),
)


def left_out(board: Board, name: str) -> tuple[str, ...]:
    """Return what of the board a format cannot carry, in words; () where it carries all.

    Raises:
        WrongUsage: no format of that name.
    """
    return losses(board, writer_named(name).keeps)


def writer_named(name: str) -> WriterFormat:
    """Return the writer of that name; WrongUsage, with the nearest names, if there is none."""
    return find_format(name, WRITERS, " to write")


def format_for_path(path: str) -> str:
    """Return the name of the format that a file name's ending means.

    Raises:
        WrongUsage: the ending means none.

    >>> format_for_path("out/wren.cir")
    'spice'
    """
    ending = PurePath(path).suffix.lower()
    for entry in WRITERS:
        if ending in entry.endings:
            return entry.name
    known = ", ".join(f"{entry.name} ({entry.endings[0]})" for entry in WRITERS)
    what = f"the ending {ending!r} means no format" if ending else "no format is named"
    raise WrongUsage(what, hint=f"Say which with --to: {known}.")


def write_board(board: Board, format: str) -> str:  # noqa: A002 - the contract's word
    """Return the board as text of a format.

    Raises:
        WrongUsage: no format of that name, or the format cannot hold this board.
    """
    text: str = import_module(writer_named(format).module).write(board)
    return text
