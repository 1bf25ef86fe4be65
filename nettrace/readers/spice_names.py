"""What the nodes, elements and pins of a deck are called on the board."""

from __future__ import annotations

from nettrace.errors import Place
from nettrace.model.builder import BoardBuilder
from nettrace.readers.spice_remarks import Remarks

__all__ = ["GROUND", "NUMBERS", "OPEN", "BoardNames"]

#: Names of the node that all others are measured against, lower case.
GROUND = frozenset(("0", "gnd"))
#: Stands for the node of a pin that is on no net, in the decks of older schematic programs.
OPEN = "?"
#: The pin numbers of most elements: their nodes counted from 1.
NUMBERS = tuple(str(number) for number in range(1, 65))


class BoardNames:
    """Net names: without case, as first written. Refdes and pins: as remarks of the deck say."""

    def __init__(self, remarks: Remarks, builder: BoardBuilder) -> None:
        self.remarks = remarks
        self.builder = builder
        self.shown: dict[str, str] = {}  # node as written -> net as shown
        self.first: dict[str, str] = {}  # lower case -> net as shown
        self.has_open = False  # whether a node was met that is none
        self._used: set[str] = set()  # nets as shown

    def net(self, node: str) -> str | None:
        """Return the net of a node, and remember it in `shown`; None where it is open."""
        if node == OPEN:
            self.has_open = True
            return None
        lowered = node.lower()
        if lowered in GROUND:
            lowered = "0"
        net = self.first.get(lowered)
        if net is None:
            net, count = self.remarks.nets.get(lowered, node), 2
            while net in self._used:  # a remark must not make two nets one
                net, count = f"{node}~{count}", count + 1
            self._used.add(net)
            self.first[lowered] = net
        self.shown[node] = net
        return net

    def said(
        self, name: str, count: int, ports: tuple[str | None, ...], place: Place
    ) -> tuple[str, tuple[str, ...]]:
        """Return refdes and pin numbers of an element that a remark is about."""
        remark = self.remarks.parts[name.lower()]
        numbers = remark.numbers(count, ports)
        if numbers is None and (remark.pins or remark.pins_as_ports):
            self.builder.warn(
                "remark-does-not-fit",
                f"the remark about {name} names other pins than its {count} nodes have: counted",
                place,
            )
        return remark.refdes, numbers or NUMBERS
