"""The list of writers: which formats a board can be written in, and which one a file name means."""

from __future__ import annotations

from importlib import import_module
from pathlib import PurePath
from typing import NamedTuple

from nettrace.errors import WrongUsage
from nettrace.model.board import Board
from nettrace.model.names import nearest_names

__all__ = ["WRITERS", "WriterFormat", "format_for_path", "write_board", "writer_named"]


class WriterFormat(NamedTuple):
    """A format that can be written: its name, its title, the module whose `write` writes it."""

    name: str
    title: str
    module: str
    endings: tuple[str, ...]  # of file names, lower case; the first is the usual one


WRITERS: tuple[WriterFormat, ...] = (
    WriterFormat("json", "nettrace JSON", "nettrace.writers.json_board", (".json",)),
    WriterFormat("edif", "EDIF 2 0 0", "nettrace.writers.edif", (".edf", ".edif", ".edn")),
    WriterFormat(
        "ipc-d-356", "IPC-D-356A", "nettrace.writers.ipcd356", (".d356", ".ipc", ".356", ".ipc356")
    ),
    WriterFormat(
        "spice", "SPICE deck", "nettrace.writers.spice", (".cir", ".sp", ".spice", ".ckt")
    ),
    WriterFormat("kicad_net", "s-expression netlist", "nettrace.writers.kicad_net", (".net",)),
    WriterFormat("csv", "parts list", "nettrace.writers.csv_tables", (".csv",)),
    WriterFormat("graphml", "GraphML", "nettrace.writers.graphml", (".graphml",)),
    WriterFormat("sheet", "typed sheet", "nettrace.writers.sheet", (".sheet", ".txt")),
)


def writer_named(name: str) -> WriterFormat:
    """Return the writer of that name; WrongUsage, with the nearest names, if there is none."""
    for entry in WRITERS:
        if entry.name == name:
            return entry
    known = ", ".join(entry.name for entry in WRITERS)
    near = nearest_names(name, [entry.name for entry in WRITERS])
    hint = f"Did you mean {near[0]}? " if near else ""
    raise WrongUsage(f"no format named {name!r} to write", hint=f"{hint}Formats: {known}.")


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
