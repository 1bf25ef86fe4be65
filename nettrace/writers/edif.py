"""A board written as EDIF 2 0 0 (ANSI/EIA-548), netlist view.

Every part is an instance of a cell that has the part's pins as ports, named by pin number; pin
names and electrical types are properties of the ports. The refdes is the instance's shown name and
its property Designator (not the form of that name, which some readers refuse there). Places, pads
and copper have no form here.
"""

from __future__ import annotations

import re
from collections import Counter

from nettrace.model.board import Board, Net, Part, Pin
from nettrace.version import __version__

_DIRECTIONS = {"input": "INPUT", "output": "OUTPUT", "inout": "INOUT"}
_ID_LETTERS = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ")
_ID_CHARACTERS = _ID_LETTERS | frozenset("0123456789_")
#: The standard allows 255; the rest is room for a count.
_ID_LENGTH = 240
#: An id that schematic writers would mean a character by: `A_32_B`.
_CODED = re.compile(r"_\d{2,3}_")
_UNSAFE = re.compile(r'(?:[^ -~]|["%])+')
#: Properties that are written from a field of the part, not from its properties.
_FIELDS = frozenset({"Value", "Package", "Description", "Fitted", "Designator", "cell"})


def write(board: Board) -> str:
    """Return the netlist as EDIF text.

    Kept: parts with refdes, value, package, description, whether fitted, and all properties; pins
    with numbers, names and types; nets with their aliases. Not kept: places, pads, outline.
    A refdes that several parts bear is written as the name of each, so they stay apart.
    """
    return _Writer(board).text()


class _Ids:
    """Gives each thing of one scope an id that differs from all others in more than case."""

    def __init__(self) -> None:
        self.taken: set[str] = set()
        self.counts: dict[str, int] = {}

    def new(self, name: str) -> str:
        plain = _identifier(name)
        one = plain
        while one.lower() in self.taken:
            count = self.counts[plain] = self.counts.get(plain, 1) + 1
            one = f"{plain}_{count}"
        self.taken.add(one.lower())
        return one


class _Writer:
    def __init__(self, board: Board) -> None:
        self.board = board
        self.lines: list[str] = []
        # signature of the pins -> (cell id, port id by pin number)
        self.cells: dict[tuple[object, ...], tuple[str, dict[str, str]]] = {}
        self.cell_ids = _Ids()
        self.instances: dict[str, str] = {}  # part key -> instance id
        self.ports: dict[str, dict[str, str]] = {}  # part key -> pin number -> port id
        self.cell_of: dict[str, str] = {}  # part key -> cell id

    def text(self) -> str:
        board = self.board
        title = board.name or "board"
        add = self.lines.append
        add(f"(edif {_definition(_Ids().new(title), title)}")
        add("  (edifVersion 2 0 0)")
        add("  (edifLevel 0)")
        add("  (keywordMap (keywordLevel 0))")
        add("  (status (written (timeStamp 1970 1 1 0 0 0)")
        add(f'    (program "nettrace" (version {_string(__version__)}))))')
        add("  (library PARTS")
        add("    (edifLevel 0)")
        add("    (technology (numberDefinition))")
        for part in board.parts:
            self.cell(part)
        add("  )")
        self.top(title)
        add(")")
        return "\n".join(self.lines) + "\n"

    def cell(self, part: Part) -> None:
        """Write the part's cell, if no part with the same name of cell and pins was there."""
        pins: dict[str, Pin] = {}
        for pin in part.pins:
            pins.setdefault(pin.number, pin)
        name = part.properties.get("cell", "")
        signature = (
            name,
            tuple((pin.number, pin.name, pin.electrical_type) for pin in pins.values()),
        )
        known = self.cells.get(signature)
        if known is None:
            one = self.cell_ids.new(name or "PART")
            port_ids = _Ids()
            known = self.cells[signature] = (one, {number: port_ids.new(number) for number in pins})
            self.lines.append(f"    (cell {_definition(one, name or one)} (cellType GENERIC)")
            self.lines.append("      (view NET (viewType NETLIST)")
            self.lines.append("        (interface")
            for number, pin in pins.items():
                self.lines.append(f"          {self.port(known[1][number], pin)}")
            self.lines.append("        )))")
        self.cell_of[part.key], self.ports[part.key] = known

    def port(self, one: str, pin: Pin) -> str:
        text = f"(port {_definition(one, pin.number)}"
        kind = pin.electrical_type
        direction = _DIRECTIONS.get(kind or "")
        if direction:
            text += f" (direction {direction})"
        elif kind:
            text += f" {_property('PIN_TYPE', kind)}"
        if pin.name is not None:
            text += f" {_property('PIN_NAME', pin.name)}"
        return text + ")"

    def top(self, title: str) -> None:
        add = self.lines.append
        add("  (library BOARD")
        add("    (edifLevel 0)")
        add("    (technology (numberDefinition))")
        add("    (cell TOP (cellType GENERIC)")
        add("      (view NET (viewType NETLIST)")
        add("        (interface)")
        add("        (contents")
        bearers = Counter(part.refdes for part in self.board.parts)
        ids = _Ids()
        for part in self.board.parts:
            self.instance(part, ids, alone=bool(part.refdes) and bearers[part.refdes] == 1)
        net_ids = _Ids()
        for net in self.board.nets:
            self.net(net, net_ids)
        add("        ))))")
        add(f"  (design {_definition(_Ids().new(title), title)}")
        add("    (cellRef TOP (libraryRef BOARD)))")

    def instance(self, part: Part, ids: _Ids, *, alone: bool) -> None:
        one = self.instances[part.key] = ids.new(part.key)
        items = [_property("Designator", part.refdes)] if alone else []
        items.append(_property("Value", part.value or ""))
        if part.package:
            items.append(_property("Package", part.package))
        if part.description:
            items.append(_property("Description", part.description))
        if part.fitted is not None:
            items.append(f"(property Fitted (boolean ({'true' if part.fitted else 'false'})))")
        items += [
            _property(name, text) for name, text in part.properties.items() if name not in _FIELDS
        ]
        self.lines.append(f"          (instance {_definition(one, part.refdes)}")
        self.lines.append(
            f"            (viewRef NET (cellRef {self.cell_of[part.key]} (libraryRef PARTS)))"
        )
        self.lines += [f"            {item}" for item in items]
        self.lines[-1] += ")"

    def net(self, net: Net, ids: _Ids) -> None:
        add = self.lines.append
        add(f"          (net {_definition(ids.new(net.name), net.name)} (joined")
        for pin in net.pins:
            port = self.ports[pin.part][pin.number]
            add(f"            (portRef {port} (instanceRef {self.instances[pin.part]}))")
        aliases = "".join(
            f" {_property(f'Alias{count}', alias)}" for count, alias in enumerate(net.aliases, 1)
        )
        add(f"          ){aliases})")


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
