"""Where to solder a wire when a pad is lifted or a track is cut.

Points are the copper of the net that an iron reaches: test points first, then larger pads, the
same side before the other. Distances are straight; a wire is longer.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from nettrace.bench.job import JobState, Wire
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.kinds import Kind
from nettrace.circuit.series import two_nets
from nettrace.electrical.power_off import elements_of
from nettrace.errors import NothingMatches, WrongUsage
from nettrace.model.board import Pad, Pin, Side, Via
from nettrace.model.find import find_pins
from nettrace.model.geometry import distance

#: A point on the other side costs a hole or a way round the edge: as if so much farther, mm.
OTHER_SIDE_MM: Final = 10.0
#: A pad smaller than this in its lesser measure is hard to solder a wire to, mm (0201 land;
#: common practice, no source).
SMALL_PAD_MM: Final = 0.35
#: A small pad counts as so much farther than it is, mm; a test point as so much nearer.
SMALL_PAD_COST_MM: Final = 3.0
TEST_POINT_BONUS_MM: Final = 2.0
#: Copper of other nets within so far of the straight line lies in the wire's way, mm.
CLEARANCE_MM: Final = 0.2


@dataclass(frozen=True, slots=True)
class Point:
    """A place where a wire can be soldered: a pad (`R12.1`) or a via (`via at x,y`)."""

    name: str
    net: str
    x: float
    y: float
    side: Side
    what: str  # test point, large pad, small pad, plated hole, via
    smallest_mm: float | None


@dataclass(frozen=True, slots=True)
class Span:
    """A wire between two points: straight length in mm, and what lies between, nearest first."""

    start: Point
    end: Point
    length_mm: float
    between: tuple[str, ...]
    because: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WirePlan:
    """How to join one net again.

    `choices` are the points nearest to each loose end, best first; `wires` is the shortest set
    that joins all pieces (minimum spanning tree).
    """

    net: str
    pieces: tuple[tuple[str, ...], ...]
    choices: Mapping[str, tuple[Span, ...]]
    wires: tuple[Span, ...]


def points_of(circuit: Circuit, net: str, without: Collection[str] = ()) -> tuple[Point, ...]:
    """Return the points of a net where a wire can be soldered, but those named in `without`."""
    found = []
    for part in circuit.board.parts:
        kind = circuit.kinds[part.key].kind
        for pad in part.pads:
            name = f"{part.refdes}.{pad.number}"
            if pad.net == net and name not in without and pad.plated:
                found.append(_point(name, net, pad, kind))
    for via in circuit.board.vias:
        if via.net == net:
            name = f"via at {via.x:.2f},{via.y:.2f}"
            found.append(Point(name, net, via.x, via.y, Side.BOTH, "via", via.diameter))
    return tuple(found)


def _point(name: str, net: str, pad: Pad, kind: Kind) -> Point:
    smallest = min(pad.width, pad.height) if pad.width and pad.height else None
    if kind is Kind.TEST_POINT:
        what = "test point"
    elif pad.drill:
        what = "plated hole"
    elif smallest is not None and smallest < SMALL_PAD_MM:
        what = "small pad"
    else:
        what = "pad"
    return Point(name, net, pad.x, pad.y, pad.side, what, smallest)


def plan_wires(
    circuit: Circuit,
    net: str,
    lifted: Sequence[str] = (),
    cuts: Sequence[tuple[str, str]] = (),
    choices: int = 4,
) -> WirePlan:
    """Plan the wires that join a net again.

    Args:
        circuit: the board.
        net: its name.
        lifted: pads (`R12.1`) that came off: the wire goes from the part's end to the net.
        cuts: pairs of pads whose track is cut; the first is taken to hang alone.
        choices: points to offer for each loose end.

    Raises:
        NothingMatches: the board has no places, or the net has no other point.
    """
    loose = list(dict.fromkeys([*lifted, *(pair[0] for pair in cuts)]))
    all_points = {point.name: point for point in points_of(circuit, net)}
    if not all_points:
        raise NothingMatches(f"no pad of {net} has a place", hint="Add the board file with --with.")
    ends = {name: all_points[name] for name in loose if name in all_points}
    rest = [point for name, point in all_points.items() if name not in ends]
    offered = {name: tuple(_nearest(circuit, end, rest)[:choices]) for name, end in ends.items()}
    pieces = (*((name,) for name in ends), tuple(point.name for point in rest))
    return WirePlan(net, tuple(p for p in pieces if p), offered, _spanning(circuit, ends, rest))


def _nearest(circuit: Circuit, end: Point, rest: Sequence[Point]) -> list[Span]:
    ranked = sorted(rest, key=lambda point: (_cost(end, point), point.name))
    return [_span(circuit, end, point) for point in ranked[:8]]


def _cost(end: Point, point: Point) -> float:
    cost = distance(end.x, end.y, point.x, point.y)
    if not point.side.faces(end.side):
        cost += OTHER_SIDE_MM
    if point.what in {"small pad", "via"}:
        cost += SMALL_PAD_COST_MM
    if point.what == "test point":
        cost -= TEST_POINT_BONUS_MM
    return cost


def _spanning(
    circuit: Circuit, ends: Mapping[str, Point], rest: Sequence[Point]
) -> tuple[Span, ...]:
    """Return the cheapest wires that join every loose end with the rest of the net."""
    import networkx

    graph: networkx.Graph[str] = networkx.Graph()
    for name, end in ends.items():
        if rest:
            best = min(rest, key=lambda point: (_cost(end, point), point.name))
            graph.add_edge(name, "", weight=_cost(end, best) + OTHER_SIDE_MM, point=best)
    names = list(ends)
    for index, first in enumerate(names):
        for second in names[index + 1 :]:
            cost = _cost(ends[first], ends[second]) + OTHER_SIDE_MM
            graph.add_edge(first, second, weight=cost, point=ends[second])
    wires = []
    for first, second, facts in networkx.minimum_spanning_edges(graph, data=True):
        start = ends[first] if first in ends else ends[second]
        wires.append(_span(circuit, start, facts["point"]))
    return tuple(sorted(wires, key=lambda span: span.start.name))


def _span(circuit: Circuit, start: Point, end: Point) -> Span:
    because = [end.what]
    if end.what == "via":
        because.append("scrape the mask off first")
    if not end.side.faces(start.side):
        because.append("on the other side")
    if end.smallest_mm is not None:
        because.append(f"{end.smallest_mm:.2f} mm wide")
    return Span(
        start,
        end,
        distance(start.x, start.y, end.x, end.y),
        _between(circuit, start, end),
        tuple(because),
    )


def _between(circuit: Circuit, start: Point, end: Point) -> tuple[str, ...]:
    """Return the pads of other nets that the straight line passes, nearest to the start first."""
    found = []
    length = distance(start.x, start.y, end.x, end.y)
    if length == 0:
        return ()
    for part in circuit.board.parts:
        for pad in part.pads:
            if pad.net == start.net or not pad.side.faces(start.side):
                continue
            along = (
                (pad.x - start.x) * (end.x - start.x) + (pad.y - start.y) * (end.y - start.y)
            ) / length
            if not 0 < along < length:
                continue
            off = (
                abs((pad.x - start.x) * (end.y - start.y) - (pad.y - start.y) * (end.x - start.x))
                / length
            )
            reach = min(pad.width or 0.0, pad.height or 0.0) / 2 + CLEARANCE_MM
            if off <= reach:
                found.append((along, f"{part.refdes}.{pad.number}"))
    return tuple(dict.fromkeys(name for _, name in sorted(found)))


# -- Pads, and nets that are one to a meter: by links on the board, and by wires soldered since


#: Two nets joined by so little are one net to a meter, Ω.
ONE_NET_OHMS: Final = 0.05
#: A place this near to a via's middle is the via where its size is not known, mm.
VIA_REACH_MM: Final = 0.3


class WiredAs(StrEnum):
    """What a wire does on the board."""

    MENDS = "mends a break"
    BESIDE = "beside a sound track"  # one net, and no break is marked there
    INSTEAD = "in place of a link"
    JOINS = "joins two nets"


@dataclass(frozen=True, slots=True)
class Wired:
    """A soldered wire, judged against the board.

    Attributes:
        wire: the job's entry.
        nets: of its two ends; None where the end is on no net.
        as_: what it does.
        of: the lifted pads and cut tracks' pads that it is soldered to, or the keys of the missing
            parts that it stands in for.
        replaced: those of `of` for which a wire is a whole replacement: links of 0 Ω.
    """

    wire: Wire
    nets: tuple[str | None, str | None]
    as_: WiredAs
    of: tuple[str, ...] = ()
    replaced: tuple[str, ...] = ()

    @property
    def is_short(self) -> bool:
        """Whether it joins what the board keeps apart, and nobody said that it is meant."""
        return self.as_ is WiredAs.JOINS and not self.wire.confirmed

    @property
    def across(self) -> tuple[str, str] | None:
        """The two different nets that it joins; None for a wire on one net."""
        first, second = self.nets
        if first is None or second is None or first == second:
            return None
        return first, second

    @property
    def place(self) -> str:
        """Both ends, as a fault's place: `R12.1|TP4.1`."""
        return f"{self.wire.start}|{self.wire.end}"

    @property
    def words(self) -> str:
        """What it does, in a technician's words."""
        if self.as_ is WiredAs.MENDS:
            return f"mends {' and '.join(self.of)} ({self.nets[0]})"
        if self.as_ is WiredAs.BESIDE:
            return f"both ends on {self.nets[0]}, and no break is marked there"
        names = " and ".join(net or "a pin on no net" for net in self.nets)
        if self.as_ is WiredAs.INSTEAD:
            return f"in place of {' and '.join(self.of)}" if self.of else f"{names} are one anyway"
        if self.wire.confirmed:
            return f"joins {names}: meant, as confirmed"
        return f"joins {names}, which the board keeps apart: a short, to confirm or take off"


def pad_name(circuit: Circuit, pin: Pin) -> str:
    """Return the pin as a technician writes it."""
    return f"{circuit.board.part_by_key[pin.part].refdes}.{pin.number}"


def find_pad(circuit: Circuit, name: str) -> Pin | None:
    """Return the pin that `REFDES.PIN` means, None where there is none."""
    if "." not in name:
        return None
    try:
        return find_pins(circuit.board, name)[0]
    except (NothingMatches, WrongUsage):
        return None


def find_via(circuit: Circuit, place: str) -> Via | None:
    """Return the via at a place `12.5,-3.0` (mm), None where there is none."""
    try:
        x, y = (float(word) for word in place.split(","))
    except ValueError:
        return None
    near = min(circuit.board.vias, key=lambda via: distance(via.x, via.y, x, y), default=None)
    if near is None:
        return None
    reach = max(VIA_REACH_MM, (near.diameter or 0.0) / 2)
    return near if distance(near.x, near.y, x, y) <= reach else None


def net_groups(
    circuit: Circuit, absent: Iterable[str] = (), wires: Iterable[Wired] = ()
) -> Mapping[str, str]:
    """Return net -> one name for all nets that links of next to no resistance, or wires, join."""
    parent: dict[str, str] = {}

    def find(name: str) -> str:
        while (up := parent.setdefault(name, name)) != name:
            parent[name] = parent[up]
            name = up
        return name

    for element in elements_of(circuit, frozenset(absent)).resistances:
        if element.ohms <= ONE_NET_OHMS:
            parent[find(element.a)] = find(element.b)
    for wired in wires:
        if wired.across is not None:
            first, second = wired.across
            parent[find(first)] = find(second)
    return {net.name: find(net.name) for net in circuit.board.nets}


def wires_of(circuit: Circuit, state: JobState) -> tuple[Wired, ...]:
    """Return the job's wires, each with what it does, in order of entry.

    A wire whose end is no longer on the board is left out.
    """
    if not state.wires:
        return ()
    torn = dict.fromkeys([*state.lifted, *(pad for cut in state.cuts for pad in cut)])
    absent = _absent(circuit, state)
    whole = net_groups(circuit)
    left = net_groups(circuit, absent)
    found = []
    for wire in state.wires:
        ends = [_net_at(circuit, word) for word in (wire.start, wire.end)]
        if any(not there for there, _ in ends):
            continue
        first, second = ends[0][1], ends[1][1]
        nets = (first, second)
        if first is None or second is None:
            found.append(Wired(wire, nets, WiredAs.JOINS))
        elif first == second:
            of = tuple(end for end in (wire.start, wire.end) if end in torn)
            found.append(Wired(wire, nets, WiredAs.MENDS if of else WiredAs.BESIDE, of))
        elif whole[first] == whole[second]:
            pair = {left[first], left[second]}
            of = tuple(key for key in absent if _groups_of(circuit, key, left) == pair)
            replaced = tuple(key for key in of if _is_link(circuit, key))
            found.append(Wired(wire, nets, WiredAs.INSTEAD, of, replaced))
        else:
            found.append(Wired(wire, nets, WiredAs.JOINS))
    return tuple(found)


def replaced_parts(circuit: Circuit, state: JobState) -> frozenset[str]:
    """Return the keys of missing links whose place a soldered wire has taken."""
    return frozenset(key for wired in wires_of(circuit, state) for key in wired.replaced)


def _absent(circuit: Circuit, state: JobState) -> tuple[str, ...]:
    return tuple(key for key in state.missing if key in circuit.board.part_by_key)


def _net_at(circuit: Circuit, word: str) -> tuple[bool, str | None]:
    """Return whether the place is on the board, and its net."""
    pin = find_pad(circuit, word)
    if pin is not None:
        return True, pin.net
    via = find_via(circuit, word)
    return via is not None, via.net if via is not None else None


def _groups_of(circuit: Circuit, key: str, groups: Mapping[str, str]) -> set[str]:
    nets = two_nets(circuit.board.part_by_key[key])
    return {groups[net] for net in nets} if nets is not None else set()


def _is_link(circuit: Circuit, key: str) -> bool:
    kind = circuit.kinds[key]
    return kind.kind is Kind.JUMPER or (kind.kind is Kind.RESISTOR and kind.ohms == 0)
