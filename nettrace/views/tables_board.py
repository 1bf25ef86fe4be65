"""The sheet for `summary`: what was read, what it came to, what to be careful with."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePath

from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind
from nettrace.errors import Place, Warning
from nettrace.model.board import Conflict
from nettrace.readers.registry import FORMATS
from nettrace.views.tables import Column, Sheet
from nettrace.views.text import counted, listed
from nettrace.views.text_facts import basis_words, bus_words, refdes, volts_words

__all__ = ["show_summary"]

#: Warnings of one code that are shown before the rest is counted.
WARNINGS_SHOWN = 3
CONFLICTS_SHOWN = 12


def show_summary(circuit: Circuit) -> None:
    """Print the sheet."""
    board = circuit.board
    counts = board.counts()
    names = _file_names([source.path for source in board.sources])
    titles = {entry.name: entry.title for entry in FORMATS}
    with Sheet() as sheet:
        sheet.title(f"Board {board.name}" if board.name else "Board")
        sheet.line(
            ", ".join(
                (
                    counted(counts.parts, "part"),
                    counted(counts.nets, "net"),
                    f"{counted(counts.pins, 'pin')} on nets",
                    counted(counts.pads, "pad") if counts.pads else "no pads with places",
                )
            )
        )
        sheet.heading("Sources")
        sheet.table(
            (
                Column("file", cut=True),
                Column("format", cut=True),
                Column("parts", right=True),
                Column("nets", right=True),
                Column("pins", right=True),
                Column("pads", right=True),
            ),
            [
                (
                    names[source.path],
                    titles.get(source.format, source.format),
                    *(str(n) if n else "–" for n in
                      (source.parts, source.nets, source.pins, source.pads)),
                )
                for source in board.sources
            ],
        )  # fmt: skip
        _show_rails(sheet, circuit)
        _show_buses(sheet, circuit)
        if board.conflicts:
            sheet.heading("Conflicts between sources", counted(len(board.conflicts), "conflict"))
            sheet.bullets(_conflict(item) for item in board.conflicts[:CONFLICTS_SHOWN])
            if len(board.conflicts) > CONFLICTS_SHOWN:
                sheet.line(f"{len(board.conflicts) - CONFLICTS_SHOWN} more; --json has them all.",
                           indent=3)  # fmt: skip
        if board.warnings:
            sheet.heading("Read with care", counted(len(board.warnings), "warning"))
            _show_warnings(sheet, board.warnings)


def _show_rails(sheet: Sheet, circuit: Circuit) -> None:
    rails = [rail for rail in circuit.rails.values() if rail.kind is NetKind.RAIL]
    grounds = [rail.net for rail in circuit.rails.values() if rail.kind is NetKind.GROUND]
    sheet.heading("Rails", f"grounds: {listed(grounds, 4)}" if grounds else "no ground found")
    if not rails:
        sheet.line("No supply rail was found.", indent=1)
        return
    sheet.table(
        (
            Column("rail", "name", cut=True),
            Column("volts", right=True),
            Column("known by", clip=True),
            Column("from"),
            Column("loads", right=True),
        ),
        [
            (
                rail.net,
                volts_words(rail.volts, "?"),
                basis_words(rail.volts, rail.net),
                refdes(circuit, rail.source) if rail.source is not None else "–",
                str(len(rail.loads)),
            )
            for rail in rails
        ],
    )


def _show_buses(sheet: Sheet, circuit: Circuit) -> None:
    if not circuit.buses:
        return
    sheet.heading("Buses")
    sheet.table(
        (Column("bus", "name", cut=True), Column("lines", wrap=True), Column("devices", wrap=True)),
        [
            (
                bus_words(bus),
                " ".join(line.line for line in bus.lines),
                listed([refdes(circuit, key) for key in bus.devices], 5),
            )
            for bus in circuit.buses
        ],
    )


def _show_warnings(sheet: Sheet, warnings: tuple[Warning, ...]) -> None:
    by_code: dict[str, list[Warning]] = {}
    for warning in warnings:
        by_code.setdefault(warning.code, []).append(warning)
    for code, found in by_code.items():
        more = len(found) - WARNINGS_SHOWN
        sheet.bullets(
            f"{code}: {item.message}" + (f" ({_short(item.place)})" if item.place else "")
            for item in found[:WARNINGS_SHOWN]
        )
        if more > 0:
            sheet.line((f"{code}: {more} more", "quiet"), indent=3)


def _conflict(item: Conflict) -> str:
    said = " and ".join(f"{one.what} ({_short(one.place)})" for one in item.statements)
    return f"{item.code}: {item.subject} is {said}. Kept {item.kept}."


def _short(place: Place) -> str:
    """Return a place with the file's name alone: the folder stands under Sources or was typed."""
    return str(place._replace(path=PurePath(place.path).name or place.path))


def _file_names(paths: Sequence[str]) -> dict[str, str]:
    """Return path -> file name, or the path where two files have one name."""
    names = {path: PurePath(path).name for path in paths}
    if len(set(names.values())) < len(names):
        return {path: path for path in paths}
    return names
