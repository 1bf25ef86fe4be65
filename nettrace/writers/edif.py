"""A board written as EDIF 2 0 0 (ANSI/EIA-548), netlist view.

Every part is an instance of a cell that has the part's pins as ports, named by pin number; pin
names and electrical types are properties of the ports. The refdes is the instance's shown name and
its property Designator (not the form of that name, which some readers refuse there). Places, pads
and copper have no form here.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator

from nettrace.model.board import Board, Net, Part, Pin
from nettrace.version import __version__
from nettrace.writers.names import Names

_DIRECTIONS = frozenset(("input", "output", "inout"))
_ID_LETTERS = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ")
_ID_CHARACTERS = _ID_LETTERS | frozenset("0123456789_")
#: The standard allows 255; the rest is room for a count.
_ID_LENGTH = 240
#: An id that schematic writers would mean a character by: `A_32_B`.
_CODED = re.compile(r"_\d{2,3}_")
_UNSAFE = re.compile(r'(?:[^ -~]|["%])+')
#: Properties that are written from a field of the part, not from its properties.
_FIELDS = frozenset({"Value", "Package", "Description", "Fitted", "Designator", "cell"})

_HEAD = """\
(edif {title}
  (edifVersion 2 0 0)
  (edifLevel 0)
  (keywordMap (keywordLevel 0))
  (status (written (timeStamp 1970 1 1 0 0 0)
    (program "nettrace" (version {version}))))
  (library PARTS
    (edifLevel 0)
    (technology (numberDefinition))"""
_TOP = """\
  )
  (library BOARD
    (edifLevel 0)
    (technology (numberDefinition))
    (cell TOP (cellType GENERIC)
      (view NET (viewType NETLIST)
        (interface)
        (contents"""


def write(board: Board) -> str:
    """Return the netlist as EDIF text.

    Kept: parts with refdes, value, package, description, whether fitted, and all properties; pins
    with numbers, names and types; nets with their aliases. Not kept: places, pads, outline.
    A refdes that several parts bear is written as the name of each, so they stay apart.
    """
    return "\n".join(_Writer(board).lines())


class _Writer:
    def __init__(self, board: Board) -> None:
        self.board = board
        # name of the cell and its pins -> cell id, port id by pin number
        self.cells: dict[tuple[object, ...], tuple[str, dict[str, str]]] = {}
        self.cell_ids = Names()
        self.cell_of: dict[str, tuple[str, dict[str, str]]] = {}  # part key -> the same
        ids = Names()
        self.instances = {part.key: ids.new(_identifier(part.key)) for part in board.parts}

    def lines(self) -> Iterator[str]:
        board = self.board
        title = board.name or "board"
        title = _definition(_identifier(title), title)
        yield _HEAD.format(title=title, version=_string(__version__))
        for part in board.parts:
            yield from self.cell(part)
        yield _TOP
        bearers = Counter(part.refdes for part in board.parts)
        for part in board.parts:
            yield from self.instance(part, alone=bool(part.refdes) and bearers[part.refdes] == 1)
        ids = Names()
        for net in board.nets:
            yield from self.net(net, ids.new(_identifier(net.name)))
        yield f"        ))))\n  (design {title}\n    (cellRef TOP (libraryRef BOARD)))\n)\n"

    def cell(self, part: Part) -> Iterator[str]:
        """Write the part's cell, if no part with the same name of cell and pins was there."""
        pins: dict[str, Pin] = {}
        for pin in part.pins:
            pins.setdefault(pin.number, pin)
        name = part.properties.get("cell", "")
        signature = (name, *((pin.number, pin.name, pin.electrical_type) for pin in pins.values()))
        known = self.cells.get(signature)
        if known is None:
            one, ids = self.cell_ids.new(_identifier(name or "PART")), Names()
            ports = {number: ids.new(_identifier(number)) for number in pins}
            known = self.cells[signature] = (one, ports)
            yield f"    (cell {_definition(one, name or one)} (cellType GENERIC)"
            yield "      (view NET (viewType NETLIST)\n        (interface"
            for number, pin in pins.items():
                yield f"          (port {_definition(ports[number], number)}{_said(pin)})"
            yield "        )))"
        self.cell_of[part.key] = known

    def instance(self, part: Part, *, alone: bool) -> Iterator[str]:
        said: list[tuple[str, str]] = [("Designator", part.refdes)] if alone else []
        said.append(("Value", part.value or ""))
        said += [("Package", part.package)] if part.package else []
        said += [("Description", part.description)] if part.description else []
        items = [_property(name, text) for name, text in said]
        if part.fitted is not None:
            items.append(f"(property Fitted (boolean ({'true' if part.fitted else 'false'})))")
        items += [
            _property(name, text) for name, text in part.properties.items() if name not in _FIELDS
        ]
        yield f"          (instance {_definition(self.instances[part.key], part.refdes)}"
        yield f"            (viewRef NET (cellRef {self.cell_of[part.key][0]} (libraryRef PARTS)))"
        yield "\n".join(f"            {item}" for item in items) + ")"

    def net(self, net: Net, one: str) -> Iterator[str]:
        yield f"          (net {_definition(one, net.name)} (joined"
        for pin in net.pins:
            port = self.cell_of[pin.part][1][pin.number]
            yield f"            (portRef {port} (instanceRef {self.instances[pin.part]}))"
        aliases = [f" {_property(f'Alias{n}', alias)}" for n, alias in enumerate(net.aliases, 1)]
        yield f"          ){''.join(aliases)})"


def _said(pin: Pin) -> str:
    """Return what a port says of its pin beside the number."""
    kind, text = pin.electrical_type or "", ""
    if kind in _DIRECTIONS:
        text = f" (direction {kind.upper()})"
    elif kind:
        text = f" {_property('PIN_TYPE', kind)}"
    return text if pin.name is None else f"{text} {_property('PIN_NAME', pin.name)}"


def _identifier(name: str) -> str:
    """Return an id that is as like the name as the standard allows."""
    plain = "".join(c if c in _ID_CHARACTERS else "_" for c in name)[:_ID_LENGTH]
    if not plain or plain[0] not in _ID_LETTERS:
        return f"&{plain or '_'}"
    return plain


def _string(text: str) -> str:
    """Return a string token: what ASCII or a string cannot hold is written as %nn nn%.

    Neighbours share one pair of signs: others write the bytes of one character with a pair each.
    """
    return f'"{_UNSAFE.sub(_codes, text)}"'


def _codes(match: re.Match[str]) -> str:
    return f"%{' '.join(str(ord(character)) for character in match[0])}%"


def _definition(one: str, name: str) -> str:
    """Return the id, with the shown name where the id alone does not give it."""
    if one.removeprefix("&") == name and not _CODED.search(name):
        return one
    return f"(rename {one} {_string(name)})"


def _property(name: str, text: str) -> str:
    """Return a property with a string."""
    return f"(property {_definition(_identifier(name), name)} (string {_string(text)}))"
