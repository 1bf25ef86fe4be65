"""The order of refitting: what first and why, what melts slowly, what near by minds the heat.

The order is common practice, no source, and says so; facts of heat and alloys, and the cautions
printed on every plan of work, stand with their sources in `knowledge/rework.toml`.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from nettrace.bench.place import part_place
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind
from nettrace.circuit.kinds import Kind
from nettrace.knowledge import section, table
from nettrace.model.board import Part, Side
from nettrace.model.geometry import distance
from nettrace.values.sizes import chip_size, inch_size

#: A hot-air nozzle heats about this far round the joint, mm (common practice, no source).
HOT_AIR_MM: Final = 5.0
#: Positions closer than this are fitted in one go, mm (common practice, no source).
TOGETHER_MM: Final = 1.5
#: At most so many parts in one go: more and the first has cooled (common practice, no source).
TOGETHER_MOST: Final = 3
#: So many parts within 2 mm make a position enclosed (common practice, no source).
ENCLOSED_PARTS: Final = 3
ENCLOSED_MM: Final = 2.0

_WORK: Final = table("rework")
#: What comes before everything on a plan of work; its usual cautions; what governs the work.
FIRST: Final[str] = _WORK["first"]
CAUTIONS: Final[tuple[str, ...]] = _WORK["cautions"]["lines"]
DOCUMENTS: Final[tuple[str, ...]] = _WORK["documents"]["lines"]
#: (alloy, where it melts).
ALLOYS: Final[tuple[tuple[str, str], ...]] = _WORK["alloys"]["lines"]
HEAT_FACTS: Final[tuple[str, ...]] = _WORK["heat"]["lines"]

_POLARISED: Final = frozenset({Kind.DIODE, Kind.ESD, Kind.LED, Kind.ZENER})


@dataclass(frozen=True, slots=True)
class Neighbour:
    """A part within reach of the heat that minds it."""

    refdes: str
    distance_mm: float
    why: str


@dataclass(frozen=True, slots=True)
class WorkStep:
    """One step of the work: the positions (none for a general step), what to do, and why."""

    title: str
    positions: tuple[str, ...]
    side: Side | None
    because: tuple[str, ...]
    slow_pads: tuple[str, ...] = ()
    neighbours: tuple[Neighbour, ...] = ()


@dataclass(frozen=True, slots=True)
class RefitPlan:
    """The steps in order; `unplaced` are positions without a place in any source."""

    steps: tuple[WorkStep, ...]
    unplaced: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Fitting:
    """A position to fit: its place and area, how many parts stand close, whether a connector."""

    part: Part
    x: float
    y: float
    area_mm2: float
    close: int
    connector: bool

    @property
    def enclosed(self) -> bool:
        return self.close >= ENCLOSED_PARTS

    @property
    def order(self) -> tuple[object, ...]:
        # connectors last: they hide pads and mind heat; enclosed before open; small before large
        return (self.connector, not self.enclosed, round(self.area_mm2, 3), self.x, self.y)


def plan_refit(circuit: Circuit, positions: Sequence[str], lifted: Sequence[str] = ()) -> RefitPlan:
    """Plan the order in which positions (part keys) are refitted.

    Args:
        circuit: the board.
        positions: parts to fit.
        lifted: pads (`R12.1`) to mend first.
    """
    parts = [circuit.board.part_by_key[key] for key in positions]
    places = [(part, part_place(part)) for part in parts]
    fittings = [_fitting(circuit, part, *at) for part, at in places if at is not None]
    steps = [
        WorkStep(
            "Battery and every supply off; discharge the rails",
            (),
            None,
            ("solder and ohms on a live board short it; a cell cannot be switched off",),
        )
    ]
    if parts:
        slow = _slow_pads(circuit, parts)
        because = ["old solder and burrs off with wick and flux; look for lifted pads and bridges"]
        if slow:
            because.append("pads on copper areas take the heat away: preheat, do not press")
        steps.append(WorkStep("Recover and clean the pads", (), None, tuple(because), slow))
    if lifted:
        why = "pads first: a part on a loose pad tears it off; see `job wire`"
        steps.append(WorkStep("Mend lifted pads and cut tracks", tuple(lifted), None, (why,)))
    to_fit = {fitting.part.key for fitting in fittings}
    groups = _groups(sorted(fittings, key=lambda fitting: fitting.order))
    steps += [_step(circuit, group, to_fit) for group in groups]
    why = "flux under small parts leaks and hides bridges"
    last = "Clean off the flux, look at every joint, then `job probe`"
    steps.append(WorkStep(last, (), None, (why,)))
    return RefitPlan(tuple(steps), tuple(part.refdes for part, at in places if at is None))


def _fitting(circuit: Circuit, part: Part, x: float, y: float) -> _Fitting:
    close = 0
    for other in circuit.board.parts:
        at = part_place(other) if other.key != part.key and _same_side(part, other) else None
        close += at is not None and distance(x, y, *at) <= ENCLOSED_MM
    size = inch_size(part.package) if part.package else None
    chip = chip_size(size) if size else None
    area = 1.0
    if chip is not None:
        area = chip.length_mm * chip.width_mm
    elif len(part.pads) > 1:
        xs, ys = [pad.x for pad in part.pads], [pad.y for pad in part.pads]
        area = max((max(xs) - min(xs)), 0.3) * max((max(ys) - min(ys)), 0.3)
    connector = circuit.kinds[part.key].kind is Kind.CONNECTOR
    return _Fitting(part, x, y, area, close, connector)


def _same_side(part: Part, other: Part) -> bool:
    return part.side is None or other.side is None or part.side is other.side


def _groups(fittings: Sequence[_Fitting]) -> list[list[_Fitting]]:
    """Return what is fitted in one go, in order."""
    groups: list[list[_Fitting]] = []
    for one in fittings:
        for group in groups:
            close = any(
                distance(one.x, one.y, other.x, other.y) <= TOGETHER_MM
                and _same_side(one.part, other.part)
                and one.connector == other.connector
                for other in group
            )
            if close and len(group) < TOGETHER_MOST:
                group.append(one)
                break
        else:
            groups.append([one])
    return groups


def _step(circuit: Circuit, group: Sequence[_Fitting], to_fit: Collection[str]) -> WorkStep:
    refs = tuple(fitting.part.refdes for fitting in group)
    because: list[str] = []
    first = group[0]
    if len(group) > 1:
        because.append(f"closer than {TOGETHER_MM:g} mm: in one go, or the second melts the first")
    if first.connector:
        because.append("last: it hides pads and minds heat")
    elif first.enclosed:
        because.append(f"enclosed by {first.close} parts: before they are in the way")
    else:
        because.append("small before large: large parts take the heat and block the tip")
    kinds = {circuit.kinds[fitting.part.key].kind for fitting in group}
    if Kind.CAPACITOR in kinds:
        because.append("a new ceramic capacitor, warmed slowly: shock cracks it (makers' notes)")
    if kinds & _POLARISED:
        because.append("mind the direction: compare with the drawing's pin 1 or cathode")
    slow = _slow_pads(circuit, [fitting.part for fitting in group])
    if slow:
        because.append("pads on copper areas melt late: preheat, larger tip")
    near = sorted(
        _neighbours(circuit, group, to_fit), key=lambda item: (item.distance_mm, item.refdes)
    )
    title = f"Fit {', '.join(refs)}"
    return WorkStep(title, refs, first.part.side, tuple(because), slow, tuple(near))


def _slow_pads(circuit: Circuit, parts: Sequence[Part]) -> tuple[str, ...]:
    """Return the pads that lie in a copper area of their own net, or on the ground net."""
    zones = [zone for zone in circuit.board.zones if zone.net is not None]
    grounds = {net for net, rail in circuit.rails.items() if rail.kind is NetKind.GROUND}
    found = []
    for part in parts:
        for pad in part.pads:
            in_zone = any(
                zone.net == pad.net
                and (
                    zone.box is None
                    or (zone.box[0] <= pad.x <= zone.box[2] and zone.box[1] <= pad.y <= zone.box[3])
                )
                for zone in zones
            )
            if in_zone or (not zones and pad.net in grounds):
                found.append(f"{part.refdes}.{pad.number}")
    return tuple(dict.fromkeys(found))


def _neighbours(
    circuit: Circuit, group: Sequence[_Fitting], to_fit: Collection[str]
) -> Iterator[Neighbour]:
    minds, balls = section("rework", "minds"), section("rework", "balls")
    for other in circuit.board.parts:
        if other.key in to_fit or not _same_side(group[0].part, other):
            continue
        kind = circuit.kinds[other.key].kind
        why = minds.get(kind)
        package = (other.package or "").upper()
        if kind is Kind.IC and any(word in package for word in balls["packages"]):
            why = balls["why"]
        if why is None or part_place(other) is None:
            continue
        # to the nearest pad or corner of the other part
        points = [(pad.x, pad.y) for pad in other.pads] + list(other.outline)
        gaps = (distance(one.x, one.y, *point) for one in group for point in points)
        gap = min(gaps, default=math.inf)
        if gap <= HOT_AIR_MM:
            yield Neighbour(other.refdes, gap, why)
