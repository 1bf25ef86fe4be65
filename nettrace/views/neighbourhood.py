"""What is drawn around a place, part, net or bus: parts, nets and rails, and what is left out.

The choice is bounded. Parts that are asked for come first, then what their signals lead to; what
found no room is counted and named. A rail or ground is drawn anew at each use, never as a knot of
lines.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from nettrace.bench.area import far_pins
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind
from nettrace.circuit.kinds import Kind
from nettrace.model.board import Part, Pin
from nettrace.model.names import natural_key

__all__ = [
    "MOST_NODES",
    "Neighbourhood",
    "NetNode",
    "PartNode",
    "PinRow",
    "RailMark",
    "Selection",
    "Wire",
    "gather",
]

#: Parts, nets and rail marks in one drawing: about what a sheet of A4 holds in readable type.
MOST_NODES = 60
#: Pins in one box; more are counted.
MOST_ROWS = 16
#: A part on so few nets is drawn whole, its far ends continued by one step.
SMALL_NETS = 3
#: Kinds that end a way: their other pins are another story.
_ENDS = frozenset({Kind.IC, Kind.MODULE, Kind.CONNECTOR, Kind.DISPLAY, Kind.BATTERY})
_NO_NUMBERS: Mapping[str, int] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Selection:
    """What a drawing is about.

    `parts` and `nets` are drawn first, in this order; `gone` are the keys of parts that are
    missing, `bare` those of positions that were never fitted; `focus` is the part the reader
    starts from; `numbers` are the numbers of positions; `reach` is how many parts each net leads
    on to.
    """

    title: str
    parts: tuple[str, ...] = ()
    nets: tuple[str, ...] = ()
    gone: frozenset[str] = frozenset()
    bare: frozenset[str] = frozenset()
    focus: str = ""
    numbers: Mapping[str, int] = field(default_factory=lambda: _NO_NUMBERS)
    reach: int = 3


@dataclass(frozen=True, slots=True)
class PinRow:
    """Pins of one part on one net: their numbers, and the function's name where it is one."""

    numbers: tuple[str, ...]
    name: str
    net: str | None


@dataclass(frozen=True, slots=True)
class PartNode:
    """A part, or several alike that stand side by side between the same two nets."""

    keys: tuple[str, ...]
    gone: bool
    rows: tuple[PinRow, ...]
    more_pins: int = 0

    @property
    def key(self) -> str:
        """The first part's key."""
        return self.keys[0]


@dataclass(frozen=True, slots=True)
class NetNode:
    """A net; `more_pins` of it are on parts that are not drawn, `goes_on` if it ends in "…"."""

    net: str
    more_pins: int = 0
    goes_on: bool = False


@dataclass(frozen=True, slots=True)
class RailMark:
    """One use of a rail or ground by one row of one part."""

    net: str


@dataclass(frozen=True, slots=True)
class Wire:
    """A line from row `row` of part node `part` to a net node or a rail mark (one is set)."""

    part: int
    row: int
    net: int | None = None
    mark: int | None = None


@dataclass(frozen=True, slots=True)
class Neighbourhood:
    """A bounded drawing: nodes by index, wires between them, and what found no room.

    `left_gone` and `left_parts` are keys of parts that were asked for and are not drawn.
    """

    selection: Selection
    parts: tuple[PartNode, ...]
    nets: tuple[NetNode, ...]
    marks: tuple[RailMark, ...]
    wires: tuple[Wire, ...]
    left_gone: tuple[str, ...]
    left_parts: tuple[str, ...]

    @property
    def size(self) -> int:
        """How many nodes there are."""
        return len(self.parts) + len(self.nets) + len(self.marks)


def gather(circuit: Circuit, selection: Selection, most: int = MOST_NODES) -> Neighbourhood:
    """Return what is drawn for a selection, `most` nodes at most."""
    work = _Gathering(circuit, selection, most)
    for net in selection.nets:
        work.take_net(net)
    for keys in _alike(circuit, selection):
        work.take_core(keys)
    work.take_far_parts()
    return work.result()


def _alike(circuit: Circuit, selection: Selection) -> list[tuple[str, ...]]:
    """Return the selected parts, those alike between the same rail and ground together."""
    groups: dict[object, list[str]] = {}
    for key in selection.parts:
        part = circuit.board.part_by_key[key]
        nets = part.nets
        rails = len(nets) == 2 and all(net in circuit.rails for net in nets)
        if rails and len(part.pins) == 2 and not set(nets) & set(selection.nets):
            kind = circuit.kinds[key].kind
            where = frozenset(nets)
            groups.setdefault((kind, where, key in selection.gone), []).append(key)
        else:
            groups[key] = [key]
    return [tuple(keys) for keys in groups.values()]


class _Gathering:
    """The choice as it grows."""

    def __init__(self, circuit: Circuit, selection: Selection, most: int) -> None:
        self.circuit = circuit
        self.selection = selection
        self.room = most
        self.groups: list[tuple[str, ...]] = []
        self.drawn: set[str] = set()
        self.chosen: dict[str, frozenset[str]] = {}  # part -> nets that get a mark or a line
        self.nets: dict[str, bool] = {}  # net -> whether it only goes on
        self.left: list[str] = []

    def is_mark(self, net: str) -> bool:
        """Return whether a net is drawn as a mark at each use."""
        return net in self.circuit.rails and net not in self.selection.nets

    def take_net(self, net: str) -> bool:
        if net in self.nets:
            self.nets[net] = False
            return True
        if self.room < 1:
            return False
        self.nets[net] = False
        self.room -= 1
        return True

    def take_core(self, keys: tuple[str, ...]) -> None:
        """Take a part that was asked for, with its nets; leave it out where it finds no room."""
        part = self.circuit.board.part_by_key[keys[0]]
        chosen = self._most_telling(part.nets)
        marks = sum(1 for net in chosen if self.is_mark(net))
        signals = [net for net in chosen if not self.is_mark(net) and net not in self.nets]
        few = len(part.nets) <= SMALL_NETS
        cost = 1 + marks + (len(signals) if few else min(len(signals), 1))
        if cost > self.room:
            self.left += keys
            return
        self.room -= 1 + marks
        self._draw(keys, chosen)
        for net in signals:
            self.take_net(net)

    def _draw(self, keys: tuple[str, ...], chosen: Iterable[str]) -> None:
        self.groups.append(keys)
        self.drawn.update(keys)
        self.chosen[keys[0]] = frozenset(chosen)

    def _most_telling(self, nets: tuple[str, ...]) -> list[str]:
        """Return the nets of a part that get a row: those drawn already, signals, rails."""
        shared = {net for key in self.selection.parts for net in self._signals(key)}
        if len(nets) > MOST_ROWS and self.selection.gone:
            # beside a damage, a big part counts for what the damage took from it
            nets = tuple(net for net in nets if net in shared and not self.is_mark(net)) or nets

        def rank(net: str) -> int:
            if net in self.nets:
                return 0
            if self.is_mark(net):
                return 2
            return 1 if net in shared or self.circuit.net_kind(net) != "unconnected" else 3

        keep = set(sorted(nets, key=rank)[:MOST_ROWS])
        return [net for net in nets if net in keep]

    def _signals(self, key: str) -> tuple[str, ...]:
        nets = self.circuit.board.part_by_key[key].nets
        return nets if len(nets) <= SMALL_NETS else ()

    def take_far_parts(self) -> None:
        """Add what the nets lead to: the most telling part of each net first, then the next."""
        nets = [net for net, goes_on in self.nets.items() if not goes_on]
        gone = self.selection.gone
        reach = self.selection.reach
        telling = {net: self._telling(net, gone, reach + len(self.drawn)) for net in nets}
        for step in range(reach):
            for net in nets:
                fresh = [pin for pin in telling[net] if pin.part not in self.drawn]
                if fresh and step < reach:
                    self._take_far(fresh[0])

    def _telling(self, net: str, gone: frozenset[str], most: int) -> tuple[Pin, ...]:
        """Return pins of a net, one of each part, the most telling first."""
        if self.circuit.net_kind(net) is not NetKind.GROUND:
            return far_pins(self.circuit, net, "", gone, most)
        # everything leads to ground: only who asks for it sees whom it serves, the largest first
        parts: dict[str, Pin] = {}
        for pin in self.circuit.board.net_by_name[net].pins:
            parts.setdefault(pin.part, pin)
        size = self.circuit.board.part_by_key
        return tuple(sorted(parts.values(), key=lambda pin: -len(size[pin.part].pins))[:most])

    def _take_far(self, pin: Pin) -> None:
        part = self.circuit.board.part_by_key[pin.part]
        cost = 1
        ends: list[str] = []
        if self.is_small(part):
            for net in part.nets:
                if self.is_mark(net):
                    cost += 1
                elif net not in self.nets:
                    cost += 1
                    ends.append(net)
        if cost > self.room:
            return
        self.room -= cost
        self._draw((part.key,), part.nets if self.is_small(part) else ())
        for net in ends:
            self.nets[net] = True

    def is_small(self, part: Part) -> bool:
        """Return whether a part is drawn with all its pins."""
        kind = self.circuit.kinds[part.key].kind
        return len(part.nets) <= SMALL_NETS and kind not in _ENDS

    def result(self) -> Neighbourhood:
        """Return the choice as a drawing: every drawn part's pins on drawn nets have a wire."""
        parts: list[PartNode] = []
        marks: list[RailMark] = []
        wires: list[Wire] = []
        index = {net: number for number, net in enumerate(self.nets)}
        for number, keys in enumerate(self.groups):
            rows: list[PinRow] = []
            for net, pins in self._pins_by_net(keys[0]).items():
                if net in index:
                    wires.append(Wire(number, len(rows), net=index[net]))
                elif net in self.chosen[keys[0]] and self.is_mark(net):
                    wires.append(Wire(number, len(rows), mark=len(marks)))
                    marks.append(RailMark(net))
                else:
                    continue
                rows.append(_row(pins))
            part = self.circuit.board.part_by_key[keys[0]]
            on_nets = {pin.number for pin in part.pins if pin.net is not None}
            shown = {number for row in rows for number in row.numbers}
            gone = keys[0] in self.selection.gone
            parts.append(PartNode(keys, gone, tuple(rows), len(on_nets - shown)))
        nets = tuple(
            NetNode(net, self._more_pins(net), goes_on) for net, goes_on in self.nets.items()
        )
        left = sorted(self.left, key=natural_key)
        return Neighbourhood(
            selection=self.selection,
            parts=tuple(parts),
            nets=nets,
            marks=tuple(marks),
            wires=tuple(wires),
            left_gone=tuple(key for key in left if key in self.selection.gone),
            left_parts=tuple(key for key in left if key not in self.selection.gone),
        )

    def _pins_by_net(self, key: str) -> dict[str, list[Pin]]:
        found: dict[str, list[Pin]] = {}
        for pin in self.circuit.board.part_by_key[key].pins:
            if pin.net is not None:
                found.setdefault(pin.net, []).append(pin)
        return found

    def _more_pins(self, net: str) -> int:
        known = self.circuit.board.net_by_name.get(net)
        if known is None:
            return 0
        return len({(pin.part, pin.number) for pin in known.pins if pin.part not in self.drawn})


def _row(pins: Iterable[Pin]) -> PinRow:
    pins = list(pins)
    numbers = tuple(dict.fromkeys(pin.number for pin in pins))
    names = {pin.name for pin in pins if pin.name and pin.name not in {pin.number, "~"}}
    return PinRow(numbers, next(iter(names)) if len(names) == 1 else "", pins[0].net)
