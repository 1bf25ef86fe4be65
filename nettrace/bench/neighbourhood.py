"""What is drawn around an area, pad, part, net or bus: parts, nets, rails, and what is left out.

The choice is bounded. Parts that are asked for come first, then what their signals lead to; what
found no room is counted and named. A rail or ground is drawn anew at each use, never as a knot of
lines.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from nettrace.bench.area import AreaReport, PadReport, far_pins
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Bus, NetKind
from nettrace.circuit.kinds import Kind
from nettrace.model.board import Net, Part, Pin
from nettrace.model.names import natural_key

#: Parts, nets and rail marks in one drawing: about what a sheet of A4 holds in readable type.
MOST_NODES = 60
#: Pins in one box; more are counted.
MOST_ROWS = 16
#: A part on so few nets is drawn whole, its far ends continued by one step.
SMALL_NETS = 3
#: How many parts each net leads on to. What one net or bus leads to is its whole story, so more
#: of it is drawn: as many parts in a column as a sheet of A4 is high.
USUAL_REACH, PART_REACH, PAD_REACH, BUS_REACH, NET_REACH = 3, 4, 8, 12, 18
#: Kinds that end a way: their other pins are another story.
_ENDS = frozenset({Kind.IC, Kind.MODULE, Kind.CONNECTOR, Kind.DISPLAY, Kind.BATTERY})
_NO_NUMBERS: Mapping[str, int] = MappingProxyType({})

#: What a drawing may be asked about.
Subject = (
    AreaReport
    | tuple[PadReport, ...]
    | tuple[Part, ...]
    | tuple[Net, ...]
    | tuple[Bus, ...]
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Selection:
    """What a drawing is about.

    `subject` is what was asked about, None where the page around says it. `parts` and `nets` are
    drawn first, in this order; `gone` are the keys of parts that are missing, `bare` those of
    positions that were never fitted; `focus` is the part the reader starts from; `numbers` are
    the numbers of positions; `reach` is how many parts each net leads on to.
    """

    subject: Subject | None = None
    parts: tuple[str, ...] = ()
    nets: tuple[str, ...] = ()
    gone: frozenset[str] = frozenset()
    bare: frozenset[str] = frozenset()
    focus: str = ""
    numbers: Mapping[str, int] = field(default_factory=lambda: _NO_NUMBERS)
    reach: int = USUAL_REACH


@dataclass(frozen=True, slots=True)
class Terminal:
    """Pins of one part on one net: their numbers, and the function's name where it is one."""

    numbers: tuple[str, ...]
    name: str
    net: str | None


@dataclass(frozen=True, slots=True)
class PartNode:
    """A part, or several alike that stand side by side between the same two nets."""

    keys: tuple[str, ...]
    gone: bool
    rows: tuple[Terminal, ...]
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
class Line:
    """A line from row `row` of part node `part` to a net node or a rail mark (one is set)."""

    part: int
    row: int
    net: int | None = None
    mark: int | None = None


@dataclass(frozen=True, slots=True)
class Neighbourhood:
    """A bounded drawing: nodes by index, lines between them, and what found no room.

    `marks` are nets: one use of a rail or ground by one row of one part each. `left_gone` and
    `left_parts` are keys of parts that were asked for and are not drawn.
    """

    selection: Selection
    parts: tuple[PartNode, ...]
    nets: tuple[NetNode, ...]
    marks: tuple[str, ...]
    lines: tuple[Line, ...]
    left_gone: tuple[str, ...]
    left_parts: tuple[str, ...]

    @property
    def size(self) -> int:
        """How many nodes there are."""
        return len(self.parts) + len(self.nets) + len(self.marks)


# -- what is asked for ----------------------------------------------------------------------------


def select_area(circuit: Circuit, report: AreaReport, without: Iterable[str] = ()) -> Selection:
    """Select a damaged area: its positions are gone, the parts that reach in are not."""
    positions = dict.fromkeys(item.part.key for item in report.positions)
    bare = {key for key in positions if not circuit.kinds[key].fitted}
    gone = dict.fromkeys([*(key for key in positions if key not in bare), *without])
    numbered = list(dict.fromkeys([*positions, *without]))
    reaching = [
        item.part.key for item in report.reaching_in if item.pins and item.part.key not in gone
    ]
    reaching.sort(key=lambda key: key != report.named)
    signals = [
        item.pad.net
        for item in report.pads
        if item.pad.net is not None
        and item.pad.net not in circuit.rails
        and circuit.net_kind(item.pad.net) != "unconnected"
    ]
    # a part that reaches in with some pads is drawn for these pads alone, when its net is drawn
    named = [report.named] if report.named in circuit.board.part_by_key else []
    parts = [*[key for key in named if key not in gone], *gone]
    parts += sorted(bare, key=natural_key)
    small = [key for key in reaching if len(circuit.board.part_by_key[key].nets) <= 2]
    parts += [key for key in small if key not in parts]
    return Selection(
        report,
        parts=tuple(parts),
        nets=() if len(parts) > 1 else tuple(dict.fromkeys(signals)),
        gone=frozenset(gone),
        bare=frozenset(bare.difference(gone)),
        focus=report.named,
        numbers={key: number for number, key in enumerate(numbered, start=1)},
    )


def select_parts(parts: Sequence[Part], without: Iterable[str] = ()) -> Selection:
    """Select parts and what their pins lead to."""
    keys = tuple(part.key for part in parts)
    return Selection(
        tuple(parts), parts=keys, gone=frozenset(without), focus=keys[0], reach=PART_REACH
    )


def select_pads(
    circuit: Circuit, reports: Sequence[PadReport], without: Iterable[str] = ()
) -> Selection:
    """Select pads: the part of each, its net, and the net at the part's other end."""
    nets = [report.net for report in reports if report.net is not None]
    nets += [pin.net for report in reports for pin in report.ends if pin.net is not None]
    parts = dict.fromkeys(report.part.key for report in reports)
    small = [key for key in parts if len(circuit.board.part_by_key[key].nets) <= SMALL_NETS]
    signals = [net for net in dict.fromkeys(nets) if net not in circuit.rails]
    return Selection(
        tuple(reports),
        # a part with many pins comes in by the pad's net alone; without one it stands for itself
        parts=tuple(small if signals else parts),
        nets=tuple(signals),
        gone=frozenset(without),
        focus=reports[0].part.key,
        reach=PAD_REACH,
    )


def select_nets(nets: Sequence[Net], without: Iterable[str] = ()) -> Selection:
    """Select nets with every part on them, as far as there is room."""
    missing = frozenset(without)
    on_them = {pin.part for net in nets for pin in net.pins}
    return Selection(
        tuple(nets),
        parts=tuple(sorted(missing & on_them, key=natural_key)),
        nets=tuple(net.name for net in nets),
        gone=missing,
        reach=NET_REACH,
    )


def select_buses(circuit: Circuit, buses: Sequence[Bus], without: Iterable[str] = ()) -> Selection:
    """Select buses: every line with its segments, pull-ups and devices."""
    nets = dict.fromkeys(net for bus in buses for line in bus.lines for net in line.nets)
    pulls = dict.fromkeys(p.part for bus in buses for line in bus.lines for p in line.pulls)
    through = dict.fromkeys(part for bus in buses for part in bus.through)
    few = {key: None for key in (*pulls, *through) if len(circuit.board.part_by_key[key].nets) <= 4}
    return Selection(
        tuple(buses),
        parts=tuple(few),
        nets=tuple(nets),
        gone=frozenset(without),
        reach=BUS_REACH,
    )


# -- what is drawn for it -------------------------------------------------------------------------


def find_neighbourhood(
    circuit: Circuit, selection: Selection, most: int = MOST_NODES
) -> Neighbourhood:
    """Return what is drawn for a selection, `most` nodes at most."""
    choice = _Choice(circuit, selection, most)
    for net in selection.nets:
        choice.take_net(net)
    for keys in _alike(circuit, selection):
        choice.take_core(keys)
    choice.take_far_parts()
    return choice.result()


def _alike(circuit: Circuit, selection: Selection) -> list[tuple[str, ...]]:
    """Return the selected parts, those alike between the same rail and ground together."""
    groups: dict[object, list[str]] = {}
    for key in selection.parts:
        part = circuit.board.part_by_key[key]
        nets = part.nets
        rails = len(nets) == 2 and all(net in circuit.rails for net in nets)
        if rails and len(part.pins) == 2 and not set(nets) & set(selection.nets):
            alike = circuit.kinds[key].kind, frozenset(nets), key in selection.gone
            groups.setdefault(alike, []).append(key)
        else:
            groups[key] = [key]
    return [tuple(keys) for keys in groups.values()]


class _Choice:
    """The choice as it grows."""

    def __init__(self, circuit: Circuit, selection: Selection, most: int) -> None:
        self.circuit = circuit
        self.part_by_key = circuit.board.part_by_key
        self.selection = selection
        self.room = most
        self.drawn: set[str] = set()
        self.chosen: dict[tuple[str, ...], frozenset[str]] = {}  # node -> nets with a mark or line
        self.nets: dict[str, bool] = {}  # net -> whether it only goes on
        self.left: list[str] = []

    def is_mark(self, net: str) -> bool:
        """Return whether a net is drawn as a mark at each use."""
        return net in self.circuit.rails and net not in self.selection.nets

    def take_net(self, net: str) -> None:
        """Take a net, as far as there is room."""
        if net not in self.nets:
            if self.room < 1:
                return
            self.room -= 1
        self.nets[net] = False

    def take_core(self, keys: tuple[str, ...]) -> None:
        """Take a part that was asked for, with its nets; leave it out where it finds no room."""
        nets = self.part_by_key[keys[0]].nets
        chosen = self._most_telling(nets)
        marks = sum(1 for net in chosen if self.is_mark(net))
        signals = [net for net in chosen if not self.is_mark(net) and net not in self.nets]
        needed = len(signals) if len(nets) <= SMALL_NETS else min(len(signals), 1)
        if 1 + marks + needed > self.room:
            self.left += keys
            return
        self.room -= 1 + marks
        self._draw(keys, chosen)
        for net in signals:
            self.take_net(net)

    def _draw(self, keys: tuple[str, ...], chosen: Iterable[str]) -> None:
        self.drawn.update(keys)
        self.chosen[keys] = frozenset(chosen)

    def _most_telling(self, nets: tuple[str, ...]) -> list[str]:
        """Return the nets of a part that get a row: those drawn already, signals, rails."""
        shared = {
            net
            for key in self.selection.parts
            if len(own := self.part_by_key[key].nets) <= SMALL_NETS
            for net in own
        }
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

    def take_far_parts(self) -> None:
        """Add what the nets lead to: the most telling part of each net first, then the next."""
        nets = [net for net, goes_on in self.nets.items() if not goes_on]
        reach = self.selection.reach
        telling = {net: self._telling(net, reach + len(self.drawn)) for net in nets}
        for _ in range(reach):
            for net in nets:
                fresh = next((pin for pin in telling[net] if pin.part not in self.drawn), None)
                if fresh is not None:
                    self._take_far(self.part_by_key[fresh.part])

    def _telling(self, net: str, most: int) -> tuple[Pin, ...]:
        """Return pins of a net, one of each part, the most telling first."""
        if self.circuit.net_kind(net) is not NetKind.GROUND:
            return far_pins(self.circuit, net, "", self.selection.gone, most)
        # everything leads to ground: only who asks for it sees whom it serves, the largest first
        parts: dict[str, Pin] = {}
        for pin in self.circuit.board.net_by_name[net].pins:
            parts.setdefault(pin.part, pin)
        ranked = sorted(parts.values(), key=lambda pin: -len(self.part_by_key[pin.part].pins))
        return tuple(ranked[:most])

    def _take_far(self, part: Part) -> None:
        small = len(part.nets) <= SMALL_NETS and self.circuit.kinds[part.key].kind not in _ENDS
        shown = part.nets if small else ()
        ends = [net for net in shown if not self.is_mark(net) and net not in self.nets]
        cost = 1 + len(ends) + sum(1 for net in shown if self.is_mark(net))
        if cost > self.room:
            return
        self.room -= cost
        self._draw((part.key,), shown)
        self.nets.update(dict.fromkeys(ends, True))

    def result(self) -> Neighbourhood:
        """Return the choice as a drawing: every drawn part's pins on drawn nets have a line."""
        parts: list[PartNode] = []
        marks: list[str] = []
        lines: list[Line] = []
        index = {net: number for number, net in enumerate(self.nets)}
        for number, (keys, chosen) in enumerate(self.chosen.items()):
            rows: list[Terminal] = []
            pins_by_net: dict[str, list[Pin]] = {}
            for pin in self.part_by_key[keys[0]].pins:
                if pin.net is not None:
                    pins_by_net.setdefault(pin.net, []).append(pin)
            for net, pins in pins_by_net.items():
                if net in index:
                    lines.append(Line(number, len(rows), net=index[net]))
                elif net in chosen and self.is_mark(net):
                    lines.append(Line(number, len(rows), mark=len(marks)))
                    marks.append(net)
                else:
                    continue
                rows.append(_terminal(pins))
            on_nets = {pin.number for pins in pins_by_net.values() for pin in pins}
            shown = {name for row in rows for name in row.numbers}
            gone = keys[0] in self.selection.gone
            parts.append(PartNode(keys, gone, tuple(rows), len(on_nets - shown)))
        left = sorted(self.left, key=natural_key)
        return Neighbourhood(
            selection=self.selection,
            parts=tuple(parts),
            nets=tuple(
                NetNode(net, self._more_pins(net), goes_on) for net, goes_on in self.nets.items()
            ),
            marks=tuple(marks),
            lines=tuple(lines),
            left_gone=tuple(key for key in left if key in self.selection.gone),
            left_parts=tuple(key for key in left if key not in self.selection.gone),
        )

    def _more_pins(self, net: str) -> int:
        known = self.circuit.board.net_by_name.get(net)
        pins = known.pins if known is not None else ()
        return len({(pin.part, pin.number) for pin in pins if pin.part not in self.drawn})


def _terminal(pins: Sequence[Pin]) -> Terminal:
    numbers = tuple(dict.fromkeys(pin.number for pin in pins))
    names = {pin.name for pin in pins if pin.name and pin.name not in {pin.number, "~"}}
    return Terminal(numbers, next(iter(names)) if len(names) == 1 else "", pins[0].net)
