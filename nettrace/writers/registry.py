"""The formats that a board can be written in, what each leaves out, and which a file name means.

The table is knowledge/writers.toml.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from importlib import import_module
from pathlib import PurePath
from typing import NamedTuple

from nettrace.errors import WrongUsage
from nettrace.knowledge import section
from nettrace.model.board import Board, Part, Pin
from nettrace.model.find import find_format


class WriterFormat(NamedTuple):
    """A format that can be written: its name, its title, the module whose `write` writes it."""

    name: str
    title: str
    module: str
    endings: tuple[str, ...]  # of file names, lower case; the first is the usual one
    keeps: frozenset[str]  # facts of `ALL_FACTS` that a reader finds again in it


WRITERS: tuple[WriterFormat, ...] = tuple(
    WriterFormat(name, row["title"], row["module"], row["endings"], frozenset(row["keeps"]))
    for name, row in section("writers", "formats").items()
)
ALL_FACTS = frozenset(section("writers", "facts"))


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


def write_board(board: Board, format: str) -> str:  # noqa: A002 - the word of the command line
    """Return the board as text of a format.

    Raises:
        WrongUsage: no format of that name, or the format cannot hold this board.
    """
    text: str = import_module(writer_named(format).module).write(board)
    return text


def left_out(board: Board, name: str) -> tuple[str, ...]:
    """Return what of the board a format cannot carry, in words; () where it carries all.

    Raises:
        WrongUsage: no format of that name.
    """
    return losses(board, writer_named(name).keeps)


def losses(board: Board, keeps: Iterable[str]) -> tuple[str, ...]:
    """Return what is left out, such as `436 pads' places`, most missed first.

    Args:
        board: to be written.
        keeps: the facts (of `ALL_FACTS`) that the format carries.
    """
    kept = frozenset(keeps)
    return tuple(
        f"{count} {one if count == 1 else several}"
        for fact, (one, several) in section("writers", "facts").items()
        if fact not in kept and (count := _COUNTS[fact](board))
    )


def _parts(test: Callable[[Part], object]) -> Callable[[Board], int]:
    return lambda board: sum(1 for part in board.parts if test(part))


def _pins(test: Callable[[Pin], object]) -> Callable[[Board], int]:
    return lambda board: sum(1 for part in board.parts for pin in part.pins if test(pin))


#: Fact -> how many of it a board has.
_COUNTS: dict[str, Callable[[Board], int]] = {
    "nets": lambda board: sum(1 for net in board.nets if net.pins),
    "open pins": _pins(lambda pin: pin.net is None),
    "nameless parts": _parts(lambda part: not part.refdes.strip()),
    "bare parts": _parts(lambda part: part.refdes.strip() and not part.pins),
    "values": _parts(lambda part: part.value),
    "packages": _parts(lambda part: part.package),
    "descriptions": _parts(lambda part: part.description),
    "fitted": _parts(lambda part: part.fitted is False),
    "properties": _parts(lambda part: part.properties),
    "places": _parts(lambda part: part.x is not None),
    "pads": lambda board: sum(1 for _ in board.pads()),
    "shapes": lambda board: sum(1 for pad in board.pads() if pad.shape is not None),
    "pin names": _pins(lambda pin: pin.name),
    "pin types": _pins(lambda pin: pin.electrical_type),
    "aliases": lambda board: sum(1 for net in board.nets if net.pins and net.aliases),
    # ground is known by its name
    "volts": lambda board: sum(1 for net in board.nets if net.volts),
    "vias": lambda board: len(board.vias),
    "zones": lambda board: len(board.zones),
    "outline": lambda board: len(board.outline),
    "conflicts": lambda board: len(board.conflicts),
}
