"""Where to solder a wire when a pad is lifted or a track is cut.

Points are the copper of the net that an iron reaches: test points first, then larger pads, the
same side before the other. Distances are straight; a wire is longer.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from nettrace.circuit.circuit import Circuit
from nettrace.circuit.kinds import Kind
from nettrace.errors import NothingMatches
from nettrace.model.board import Pad, Side
from nettrace.model.geometry import distance

__all__ = ["Point", "Span", "WirePlan", "plan_wires", "points_of"]

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
