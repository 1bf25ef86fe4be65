"""What a deck's remarks say of the board that it was written from.

A deck cannot hold every refdes, pin number and net name: XF1 stands for F1, a diode's nodes are
anode and cathode whatever their pads are numbered. Our writer says so in remarks, and so may any
other:

    * part F1 is XF1, pins as ports
    * part Q3 is Q3, pins 3 1 2
    * net CHG STAT is written CHG_STAT
    * J4 is not fitted

Without such a remark names stay as they stand, and pins are positions counted from 1.
"""

from __future__ import annotations

import re
from typing import NamedTuple

__all__ = ["PartRemark", "Remarks", "read_remarks"]

_PART = re.compile(r"(?m)^\*[ \t]*part[ \t]+(\S+) is (\S+?)(?:, pins (as ports|\S[^\n]*?))?[ \t]*$")
_NET = re.compile(r"(?m)^\*[ \t]*net[ \t]+(\S(?:[^\n]*\S)?) is written (\S+)[ \t]*$")
_UNFITTED = re.compile(r"(?m)^\*[ \t]*(\S+) is not fitted[ \t]*$")
AS_PORTS = "as ports"


class PartRemark(NamedTuple):
    """What one element is on the board; `pins` are numbers in the order of the nodes."""

    refdes: str
    pins: tuple[str, ...]
    pins_as_ports: bool

    def numbers(self, count: int, ports: tuple[str | None, ...]) -> tuple[str, ...] | None:
        """Return the pin numbers of an element with `count` nodes; None where none fit."""
        numbers = self.pins
        if self.pins_as_ports:
            numbers = tuple(port for port in ports if port is not None)
        if len(numbers) != count or len(set(numbers)) != count:
            return None
        return numbers


class Remarks(NamedTuple):
    """Remarks by what they are about, in lower case: element name -> part, node -> net."""

    parts: dict[str, PartRemark]
    nets: dict[str, str]
    unfitted: frozenset[str] = frozenset()  # refdes as written


def read_remarks(text: str) -> Remarks:
    """Return what the remarks of a deck say; the first about a name counts."""
    parts: dict[str, PartRemark] = {}
    nets: dict[str, str] = {}
    if "* part " in text:
        for refdes, name, pins in _PART.findall(text):
            as_ports = pins == AS_PORTS
            numbers = () if as_ports else tuple(pins.split())
            parts.setdefault(name.lower(), PartRemark(refdes, numbers, as_ports))
    if "* net " in text:
        for net, node in _NET.findall(text):
            nets.setdefault(node.lower(), net)
    unfitted = frozenset(_UNFITTED.findall(text)) if " is not fitted" in text else frozenset()
    return Remarks(parts, nets, unfitted)
