"""What an EDIF design is expanded with: nets of the board in the making, and instances in place."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from nettrace.errors import Place
from nettrace.model.builder import PartDraft
from nettrace.readers.edif_design import Annotation, Cell, Instance, Port, View, flat_index
from nettrace.readers.edif_fields import Fields

__all__ = [
    "Annotated",
    "Bound",
    "Node",
    "PinFacts",
    "PinName",
    "PinNames",
    "Slot",
    "Use",
    "bits_of",
    "folded",
    "key_of",
    "member_text",
]

#: Pin number, pin name, electrical type.
PinName = tuple[str, str | None, str | None]
#: Pins of a part as the builder takes them: (number, net) -> (name, electrical type, place).
PinFacts = dict[tuple[str, str | None], tuple[str | None, str | None, Place | None]]


class Node:
    """A net of the board while sheets are expanded; `into` is the node it was joined to."""

    __slots__ = ("aliases", "into", "name", "offset", "pins", "rank")

    def __init__(self, name: str, offset: int, rank: int) -> None:
        self.rank = rank
        self.name = name
        self.offset = offset
        self.into: Node | None = None
        self.aliases: list[str] = []
        # the part's pins so far, what this one is called, offset of the net that says so
        self.pins: list[tuple[PinFacts, PinName, int]] = []

    def root(self) -> Node:
        """Return the node that this one is part of now."""
        node = self
        while node.into is not None:
            if node.into.into is not None:
                node.into = node.into.into
            node = node.into
        return node

    def join(self, other: Node) -> Node:
        """Make both one; the name of the one met first (the outer one) stands."""
        first, second = self.root(), other.root()
        if second.rank < first.rank:
            first, second = second, first
        if first is not second:
            second.into = first
            first.pins.extend(second.pins)
            second.pins = []
        return first


#: Ports of a sheet, bit by bit, with the nets that they are tied to.
Bound = dict[tuple[Port, int], Node]
#: Pins by port id, or by (port id, member) of an array.
PinNames = dict[str | tuple[str, str], PinName]


#: What view maps say of a sheet's instances, the outermost first: the path of the sheet whose cell
#: has the view map, and the annotation.
Annotated = tuple[tuple[str, Annotation], ...]


class Use(NamedTuple):
    """What instances of one cell have in common."""

    cell: Cell | None
    view: View | None
    library: str
    fields: Fields
    pins: PinNames


class Slot:
    """An instance in one place of the hierarchy: a part (draft) or a sheet (bound ports).

    `further` are the pins beside the one in `numbers` where several are one port of the symbol;
    `annotated` is what view maps say of what is in a sheet.
    """

    __slots__ = ("annotated", "bound", "draft", "facts", "further", "instance", "numbers", "use")

    def __init__(self, use: Use, instance: Instance, draft: PartDraft | None) -> None:
        self.use = use
        self.instance = instance
        self.draft = draft
        self.annotated: Annotated = ()
        self.further: dict[str | tuple[str, str], list[PinName]] = {}
        self.facts: PinFacts = draft.pin_facts if draft is not None else {}
        # pins as numbered here; shared with `use` where nothing is said here
        self.numbers = use.pins
        self.bound: Bound = {}


def key_of(port_id: str, member: str) -> str | tuple[str, str]:
    """Return the key of a pin in `PinNames`."""
    return (port_id, member) if member else port_id


def folded(identifier: str) -> str:
    """Return an id as the standard compares it: without case, and without `&`."""
    return identifier.casefold().removeprefix("&")


def bits_of(port: Port, member: str) -> Sequence[int]:
    """Return the wires of a port that are meant, counted from the left; () if out of range."""
    if not member:
        return range(port.size)
    flat = flat_index(member, port.sizes)
    return () if flat is None else (flat,)


def member_text(sizes: tuple[int, ...], flat: int) -> str:
    """Return the member text of a flat index, "" for a single port."""
    words: list[str] = []
    for size in reversed(sizes):
        flat, index = divmod(flat, size)
        words.append(str(index))
    return " ".join(reversed(words))
