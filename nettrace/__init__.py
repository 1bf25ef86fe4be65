"""nettrace: from a netlist or board file to the answer for a damaged area of a circuit board.

The names below are the public API (docs/python.md); each is imported when it is first used, so
that `import nettrace` alone costs next to nothing.

>>> import nettrace
>>> nettrace.value("4R7").meanings[0].value
4.7
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from nettrace.version import __version__

if TYPE_CHECKING:
    from nettrace import api, job
    from nettrace.answers import NetAnswer, PartAnswer, ReadingAnswer, Summary
    from nettrace.api import (
        area,
        bus,
        compare,
        convert,
        draw,
        formula,
        formulas,
        graph,
        net,
        nets,
        pad,
        pads,
        part,
        parts,
        path,
        power,
        rail,
        reading,
        summary,
        to_json,
        value,
    )
    from nettrace.bench.area import AreaReport, inspect_area
    from nettrace.bench.place import Box, Circle, Outline
    from nettrace.circuit.circuit import Circuit
    from nettrace.errors import BadInput, JobUnusable, NettraceError, NothingMatches, WrongUsage
    from nettrace.loading import load, load_board
    from nettrace.model.board import Board, Net, Pad, Part, Pin
    from nettrace.model.notes import Notes

__all__ = [
    "AreaReport", "BadInput", "Board", "Box", "Circle", "Circuit", "JobUnusable", "Net",
    "NetAnswer", "NettraceError", "Notes", "NothingMatches", "Outline", "Pad", "Part",
    "PartAnswer", "Pin", "ReadingAnswer", "Summary", "WrongUsage", "__version__", "api", "area",
    "bus", "compare", "convert", "draw", "formula", "formulas", "graph", "inspect_area", "job",
    "load", "load_board", "net", "nets", "pad", "pads", "part", "parts", "path", "power", "rail",
    "reading", "summary", "to_json", "value",
]  # fmt: skip

#: Module -> the public names that come from it; every other one comes from `nettrace.api`.
_HOMES = {
    "answers": "NetAnswer PartAnswer ReadingAnswer Summary",
    "bench.area": "AreaReport inspect_area",
    "bench.place": "Box Circle Outline",
    "circuit.circuit": "Circuit",
    "errors": "BadInput JobUnusable NettraceError NothingMatches WrongUsage",
    "loading": "load load_board",
    "model.board": "Board Net Pad Part Pin",
    "model.notes": "Notes",
}


def __getattr__(name: str) -> object:
    if name not in __all__:
        raise AttributeError(f"module 'nettrace' has no attribute {name!r}")
    from importlib import import_module

    if name in {"api", "job"}:
        return import_module(f"nettrace.{name}")
    home = next((home for home, names in _HOMES.items() if name in names.split()), "api")
    return getattr(import_module(f"nettrace.{home}"), name)


def __dir__() -> list[str]:
    return list(__all__)
