"""nettrace: from a netlist or board file to the answer for a damaged area of a circuit board.

The names below are the public API; each is imported when it is first used, so that
`import nettrace` alone costs next to nothing.

>>> import nettrace
>>> sorted(name for name in dir(nettrace) if name.startswith("load"))
['load', 'load_board']
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from nettrace.version import __version__

if TYPE_CHECKING:
    from nettrace.bench.area import AreaReport, inspect_area
    from nettrace.bench.place import Box, Circle, Outline
    from nettrace.circuit.circuit import Circuit
    from nettrace.errors import BadInput, NettraceError, NothingMatches, WrongUsage
    from nettrace.loading import load, load_board
    from nettrace.model.board import Board, Net, Pad, Part, Pin
    from nettrace.model.notes import Notes

__all__ = [
    "AreaReport",
    "BadInput",
    "Board",
    "Box",
    "Circle",
    "Circuit",
    "Net",
    "NettraceError",
    "Notes",
    "NothingMatches",
    "Outline",
    "Pad",
    "Part",
    "Pin",
    "WrongUsage",
    "__version__",
    "inspect_area",
    "load",
    "load_board",
]

#: Public name -> the module it comes from.
_HOMES = {
    "AreaReport": "nettrace.bench.area",
    "BadInput": "nettrace.errors",
    "Board": "nettrace.model.board",
    "Box": "nettrace.bench.place",
    "Circle": "nettrace.bench.place",
    "Circuit": "nettrace.circuit.circuit",
    "Net": "nettrace.model.board",
    "NettraceError": "nettrace.errors",
    "Notes": "nettrace.model.notes",
    "NothingMatches": "nettrace.errors",
    "Outline": "nettrace.bench.place",
    "Pad": "nettrace.model.board",
    "Part": "nettrace.model.board",
    "Pin": "nettrace.model.board",
    "WrongUsage": "nettrace.errors",
    "inspect_area": "nettrace.bench.area",
    "load": "nettrace.loading",
    "load_board": "nettrace.loading",
}


def __getattr__(name: str) -> object:
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module 'nettrace' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(home), name)


def __dir__() -> list[str]:
    return list(__all__)
