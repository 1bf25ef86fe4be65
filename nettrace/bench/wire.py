"""Wires: where to solder one when a pad is lifted or a track is cut, and what a soldered one does.

Points are the copper of the net that an iron reaches: test points first, then larger pads, the
same side before the other. Distances are straight; a wire is longer.

A soldered wire between two points of one net mends a break. One between two nets that a link
joins, or joined before it came off, stands in for the link. Any other joins nets that the board
keeps apart: a short, until the user says that it is meant.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations
from typing import TYPE_CHECKING, Final

from nettrace.circuit.circuit import Circuit
from nettrace.circuit.kinds import Kind
from nettrace.circuit.links import two_nets
from nettrace.electrical.network import Groups
from nettrace.electrical.power_off import elements_of
from nettrace.errors import NothingMatches, WrongUsage
from nettrace.knowledge import table
from nettrace.model.board import Pad, Pin, Side, Via
from nettrace.model.find import find_pins
from nettrace.model.geometry import distance

if TYPE_CHECKING:
    from nettrace.bench.job import JobState, Wire

_RULES: Final = table("rework")["wires"]
#: Two nets joined by so little are one net to a meter, Ω.
ONE_NET_OHMS: Final = 0.05
#: Copper of other nets within so far of the straight line lies in the wire's way, mm.
CLEARANCE_MM: Final = 0.2

# -- places -------------------------------------------------------------------------------------


def pad_name(circuit: Circuit, pin: Pin) -> str:
    """Return the pin as a technician writes it."""
    return f"{circuit.board.part_by_key[pin.part].refdes}.{pin.number}"


def find_pad(circuit: Circuit, name: str) -> Pin | None:
    """Return the pin that `REFDES.PIN` means, None where there is none."""
    with suppress(NothingMatches, WrongUsage):
        return find_pins(circuit.board, name)[0] if "." in name else None
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
    reach = max(_RULES["via_reach_mm"], (near.diameter or 0.0) / 2)
    return near if distance(near.x, near.y, x, y) <= reach else None


# -- where to solder ----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Point:
    """A place where a wire can be soldered: a pad (`R12.1`) or a via (`via at x,y`)."""

    name: str
    net: str
    x: float
    y: float
    side: Side
    what: str  # test point, pad, small pad, plated hole, via
    smallest_mm: float | None

    def cost_from(self, place: Point | Pad, costs: Mapping[str, float]) -> float:
        """Return how awkward the point is from a place, mm: the way, and what it costs to hit it.

        `costs` are by what the point is (`small_pad`), and for the `other_side`.
        """
        cost = distance(self.x, self.y, place.x, place.y)
        if not self.side.faces(place.side):
            cost += costs["other_side"]
        return cost + costs.get(self.what.replace(" ", "_"), 0.0)


@dataclass(frozen=True, slots=True)
class WireSpan:
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
    choices: Mapping[str, tuple[WireSpan, ...]]
    wires: tuple[WireSpan, ...]


def points_of(circuit: Circuit, net: str) -> tuple[Point, ...]:
    """Return the points of a net where a wire can be soldered."""
    found = []
    for part in circuit.board.parts:
        for pad in part.pads:
            if pad.net != net or not pad.plated:
                continue
            smallest = min(pad.width, pad.height) if pad.width and pad.height else None
            what = "pad" if smallest is None or smallest >= _RULES["small_pad_mm"] else "small pad"
            if circuit.kinds[part.key].kind is Kind.TEST_POINT:
                what = "test point"
            elif pad.drill:
                what = "plated hole"
            name = f"{part.refdes}.{pad.number}"
            found.append(Point(name, net, pad.x, pad.y, pad.side, what, smallest))
    for via in circuit.board.vias:
        if via.net == net:
            name = f"via at {via.x:.2f},{via.y:.2f}"
            found.append(Point(name, net, via.x, via.y, Side.BOTH, "via", via.diameter))
    return tuple(found)


def plan_wires(
    circuit: Circuit,
    net: str,
    lifted: Sequence[str] = (),
    cuts: Sequence[tuple[str, str]] = (),
) -> WirePlan:
    """Plan the wires that join a net again.

    Method: Kruskal's minimum spanning tree; the rest of the net is one node, "".

    Args:
        circuit: the board.
        net: its name.
        lifted: pads (`R12.1`) that came off: the wire goes from the part's end to the net.
        cuts: pairs of pads whose track is cut; the first is taken to hang alone.

    Raises:
        NothingMatches: the board has no places, or the net has no other point.
    """
    points = {point.name: point for point in points_of(circuit, net)}
    if not points:
        raise NothingMatches(f"no pad of {net} has a place", hint="Add the board file with --with.")
    loose = dict.fromkeys([*lifted, *(pair[0] for pair in cuts)])
    ends = {name: points[name] for name in loose if name in points}
    rest = [point for name, point in points.items() if name not in ends]
    costs = _RULES["costs_mm"]
    ranked = {
        name: sorted(rest, key=lambda point: (point.cost_from(end, costs), point.name))
        for name, end in ends.items()
    }
    ways = [
        (near[0].cost_from(ends[name], costs), name, "", near[0])
        for name, near in ranked.items()
        if near
    ]
    ways += [(b.cost_from(a, costs), a.name, b.name, b) for a, b in combinations(ends.values(), 2)]
    joined: Groups[str] = Groups()
    wires = []
    for _, first, second, point in sorted(ways, key=lambda way: way[0]):
        if joined.root(first) != joined.root(second):
            joined.join(first, second)
            wires.append(_span(circuit, ends[first], point))
    return WirePlan(
        net,
        pieces=(*((name,) for name in ends), *([tuple(p.name for p in rest)] if rest else [])),
        choices={
            name: tuple(_span(circuit, ends[name], point) for point in near[: _RULES["choices"]])
            for name, near in ranked.items()
        },
        wires=tuple(sorted(wires, key=lambda span: span.start.name)),
    )


def _span(circuit: Circuit, start: Point, end: Point) -> WireSpan:
    because = [end.what]
    if end.what == "via":
        because.append("scrape the mask off first")
    if not end.side.faces(start.side):
        because.append("on the other side")
    if end.smallest_mm is not None:
        because.append(f"{end.smallest_mm:.2f} mm wide")
    # the pads of other nets that the straight line passes, nearest to the start first
    length = distance(start.x, start.y, end.x, end.y)
    x, y = ((end.x - start.x) / length, (end.y - start.y) / length) if length else (0.0, 0.0)
    passed = []
    for part in circuit.board.parts:
        for pad in part.pads:
            if pad.net == start.net or not pad.side.faces(start.side):
                continue
            along = (pad.x - start.x) * x + (pad.y - start.y) * y
            off = abs((pad.x - start.x) * y - (pad.y - start.y) * x)
            reach = min(pad.width or 0.0, pad.height or 0.0) / 2 + CLEARANCE_MM
            if 0 < along < length and off <= reach:
                passed.append((along, f"{part.refdes}.{pad.number}"))
    between = tuple(dict.fromkeys(name for _, name in sorted(passed)))
    return WireSpan(start, end, length, between, tuple(because))


# -- what a soldered wire does ------------------------------------------------------------------


class WiredAs(StrEnum):
    """What a wire does on the board."""

    MENDS = "mends a break"
    BESIDE = "beside a sound track"  # one net, and no break is marked there
    INSTEAD = "in place of a link"
    JOINS = "joins two nets"


@dataclass(frozen=True, slots=True)
class Wired:
    """A soldered wire, judged against the board.

    `of` are the lifted pads and cut tracks' pads that it is soldered to, or the keys of the missing
    parts that it stands in for; `replaced` those of them for which a wire is a whole replacement:
    links of 0 Ω.
    """

    wire: Wire  # the job's entry
    nets: tuple[str | None, str | None]  # of its two ends; None where the end is on no net
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
        return None if first is None or second is None or first == second else (first, second)

    @property
    def ends(self) -> tuple[str, str]:
        """Both its ends, as the job has them."""
        return self.wire.start, self.wire.end

    @property
    def words(self) -> str:
        """What it does, in a technician's words."""
        names = " and ".join(net or "a pin on no net" for net in self.nets)
        of = " and ".join(self.of)
        return {
            WiredAs.MENDS: f"mends {of} ({self.nets[0]})",
            WiredAs.BESIDE: f"both ends on {self.nets[0]}, and no break is marked there",
            WiredAs.INSTEAD: f"in place of {of}" if of else f"{names} are one anyway",
            WiredAs.JOINS: f"joins {names}: meant, as confirmed"
            if self.wire.confirmed
            else f"joins {names}, which the board keeps apart: a short, to confirm or take off",
        }[self.as_]


def net_groups(
    circuit: Circuit, absent: Iterable[str] = (), wires: Iterable[Wired] = ()
) -> Mapping[str, str]:
    """Return net -> one name for all nets that links of next to no resistance, or wires, join."""
    groups: Groups[str] = Groups()
    for element in elements_of(circuit, frozenset(absent)).resistances:
        if element.ohms <= ONE_NET_OHMS:
            groups.join(element.a, element.b)
    for wired in wires:
        if wired.across is not None:
            groups.join(*wired.across)
    return {net.name: groups.root(net.name) for net in circuit.board.nets}


def wires_of(circuit: Circuit, state: JobState) -> tuple[Wired, ...]:
    """Return the job's wires, each with what it does, in order of entry.

    A wire whose end is no longer on the board is left out.
    """
    if not state.wires:
        return ()
    parts, kinds = circuit.board.part_by_key, circuit.kinds
    torn = {*state.lifted, *(pad for cut in state.cuts for pad in cut)}
    absent = [key for key in state.missing if key in parts]
    pairs = {key: own for key in absent if (own := two_nets(parts[key])) is not None}
    whole, left = net_groups(circuit), net_groups(circuit, absent)
    found = []
    for wire in state.wires:
        start, end = (find_pad(circuit, w) or find_via(circuit, w) for w in (wire.start, wire.end))
        if start is None or end is None:
            continue
        nets = first, second = start.net, end.net
        as_ = WiredAs.JOINS
        of: tuple[str, ...] = ()
        links: tuple[str, ...] = ()
        if first is None or second is None:
            pass
        elif first == second:
            of = tuple(word for word in (wire.start, wire.end) if word in torn)
            as_ = WiredAs.MENDS if of else WiredAs.BESIDE
        elif whole[first] == whole[second]:
            as_, bared = WiredAs.INSTEAD, {left[first], left[second]}
            of = tuple(k for k, own in pairs.items() if {left[net] for net in own} == bared)
            links = tuple(
                key
                for key in of
                if kinds[key].kind is Kind.JUMPER
                or (kinds[key].kind is Kind.RESISTOR and kinds[key].ohms == 0)
            )
        found.append(Wired(wire, nets, as_, of, links))
    return tuple(found)


def replaced_parts(circuit: Circuit, state: JobState) -> frozenset[str]:
    """Return the keys of missing links whose place a soldered wire has taken."""
    return frozenset(key for wired in wires_of(circuit, state) for key in wired.replaced)
