"""What is drawn around an area, pad, part, net or bus: parts, nets, rails, and what is left out.

The choice is bounded. Parts that are asked for come first, then what their signals lead to; what
found no room is counted and named. A rail or ground is drawn anew at each use, never as a knot of
lines.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

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

#: What a drawing may be asked about.
Subject = AreaReport | tuple[PadReport | Part | Net | Bus, ...]


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
    numbers: Mapping[str, int] = field(default_factory=dict)
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


# -- what is asked for ----------------------------------------------------------------------------


def select_area(circuit: Circuit, report: AreaReport, without: Collection[str] = ()) -> Selection:
    """Select a damaged area: its positions are gone, the parts that reach in are not."""
    part_by_key = circuit.board.part_by_key
    positions = [item.part.key for item in report.positions]
    numbered = dict.fromkeys([*positions, *without])
    bare = {key for key in positions if not circuit.kinds[key].fitted and key not in without}
    gone = [key for key in numbered if key not in bare]
    # a part that reaches in with some pads is drawn for these pads alone, when its net is drawn
    reaching = [item.part for item in report.reaching_in if item.pins]
    small = [part.key for part in reaching if len(part.nets) <= 2]
    named = [report.named] if report.named in part_by_key and report.named not in gone else []
    parts = dict.fromkeys([*named, *gone, *sorted(bare, key=natural_key), *small])
    nets = dict.fromkeys(item.pad.net for item in report.pads if item.pad.net is not None)
    signals = [
        net
        for net in nets
        if net not in circuit.rails and circuit.net_kind(net) is not NetKind.UNCONNECTED
    ]
    return Selection(
        report,
        parts=tuple(parts),
        nets=() if len(parts) > 1 else tuple(signals),
        gone=frozenset(gone),
        bare=frozenset(bare),
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
    pulls = [pull.part for bus in buses for line in bus.lines for pull in line.pulls]
    through = [part for bus in buses for part in bus.through]
    keys = dict.fromkeys([*pulls, *through])
    few = [key for key in keys if len(circuit.board.part_by_key[key].nets) <= 4]
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
    # parts that are alike between the same rail and ground stand together
    groups: dict[object, list[str]] = {}
    for key in selection.parts:
        part = circuit.board.part_by_key[key]
        alike: object = key
        if len(part.pins) == len(part.nets) == 2 and all(map(choice.is_mark, part.nets)):
            alike = circuit.kinds[key].kind, frozenset(part.nets), key in selection.gone
        groups.setdefault(alike, []).append(key)
    for keys in groups.values():
        choice.take_core(tuple(keys))
    choice.take_far_parts()
    return choice.result()


class _Choice:
    """The choice as it grows."""

    def __init__(self, circuit: Circuit, selection: Selection, most: int) -> None:
        self.circuit, self.selection, self.room = circuit, selection, most
        self.part_by_key = circuit.board.part_by_key
        self.chosen: dict[tuple[str, ...], Collection[str]] = {}  # node -> nets with mark or line
        self.drawn: set[str] = set()
        self.nets: dict[str, bool] = {}  # net -> whether it only goes on
        self.left: list[str] = []

    def is_mark(self, net: str) -> bool:
        """Return whether a net is drawn as a mark at each use."""
        return net in self.circuit.rails and net not in self.selection.nets

    def take_net(self, net: str) -> None:
        """Take a net, as far as there is room."""
        cost = 0 if net in self.nets else 1
        if cost <= self.room:
            self.room -= cost
            self.nets[net] = False

    def take_core(self, keys: tuple[str, ...]) -> None:
        """Take a part that was asked for, with its nets; leave it out where it finds no room."""
        nets = self.part_by_key[keys[0]].nets
        chosen = self._most_telling(nets)
        cost = 1 + sum(map(self.is_mark, chosen))
        signals = [net for net in chosen if not self.is_mark(net) and net not in self.nets]
        needed = len(signals) if len(nets) <= SMALL_NETS else min(len(signals), 1)
        if cost + needed > self.room:
            self.left += keys
            return
        self.room -= cost
        self.chosen[keys] = chosen
        self.drawn.update(keys)
        for net in signals:
            self.take_net(net)

    def _most_telling(self, nets: tuple[str, ...]) -> list[str]:
        """Return the nets of a part that get a row: those drawn already, signals, rails."""
        own = (self.part_by_key[key].nets for key in self.selection.parts)
        shared = {net for each in own if len(each) <= SMALL_NETS for net in each}
        if len(nets) > MOST_ROWS and self.selection.gone:
            # beside a damage, a big part counts for what the damage took from it
            nets = tuple(net for net in nets if net in shared and not self.is_mark(net)) or nets

        def rank(net: str) -> int:
            if net in self.nets:
                return 0
            if self.is_mark(net):
                return 2
            is_signal = self.circuit.net_kind(net) is not NetKind.UNCONNECTED
            return 1 if net in shared or is_signal else 3

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
                if fresh is None:
                    continue
                part = self.part_by_key[fresh.part]
                is_end = self.circuit.kinds[part.key].kind in _ENDS
                shown = part.nets if len(part.nets) <= SMALL_NETS and not is_end else ()
                ends = [net for net in shown if not self.is_mark(net) and net not in self.nets]
                cost = 1 + len(ends) + sum(map(self.is_mark, shown))
                if cost <= self.room:
                    self.room -= cost
                    self.chosen[(part.key,)] = shown
                    self.drawn.add(part.key)
                    self.nets.update(dict.fromkeys(ends, True))

    def _telling(self, net: str, most: int) -> Sequence[Pin]:
        """Return pins of a net, one of each part, the most telling first."""
        if self.circuit.net_kind(net) is not NetKind.GROUND:
            return far_pins(self.circuit, net, "", self.selection.gone, most)
        # everything leads to ground: only who asks for it sees whom it serves, the largest first
        first: dict[str, Pin] = {}
        for pin in self.circuit.board.net_by_name[net].pins:
            first.setdefault(pin.part, pin)
        ranked = sorted(first.values(), key=lambda pin: -len(self.part_by_key[pin.part].pins))
        return ranked[:most]

    def result(self) -> Neighbourhood:
        """Return the choice as a drawing: every drawn part's pins on drawn nets have a line."""
        gone, board = self.selection.gone, self.circuit.board
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
                numbers = tuple(dict.fromkeys(pin.number for pin in pins))
                names = {pin.name for pin in pins if pin.name and pin.name not in {pin.number, "~"}}
                rows.append(Terminal(numbers, names.pop() if len(names) == 1 else "", net))
            on_nets = {pin.number for pins in pins_by_net.values() for pin in pins}
            shown = {name for row in rows for name in row.numbers}
            parts.append(PartNode(keys, keys[0] in gone, tuple(rows), len(on_nets - shown)))
        nets = []
        for net, goes_on in self.nets.items():
            known = board.net_by_name.get(net)
            on_it = known.pins if known is not None else ()
            others = {(pin.part, pin.number) for pin in on_it if pin.part not in self.drawn}
            nets.append(NetNode(net, len(others), goes_on))
        left = sorted(self.left, key=natural_key)
        return Neighbourhood(
            selection=self.selection,
            parts=tuple(parts),
            nets=tuple(nets),
            marks=tuple(marks),
            lines=tuple(lines),
            left_gone=tuple(key for key in left if key in gone),
            left_parts=tuple(key for key in left if key not in gone),
        )
