"""The order of refitting: what first and why, what melts slowly, what near by minds the heat.

The order is common practice, no source, and says so; facts of heat and alloys, and the cautions
printed on every plan of work, stand with their sources in `knowledge/rework.toml`.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from nettrace.bench.place import box_of, part_place
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind
from nettrace.circuit.kinds import Kind
from nettrace.knowledge import section, table
from nettrace.model.board import Pad, Part, Side
from nettrace.model.geometry import distance
from nettrace.values.sizes import chip_size, inch_size

#: A hot-air nozzle heats about this far round the joint, mm (common practice, no source).
HOT_AIR_MM: Final = 5.0
_WORK: Final = table("rework")
_NEAR: Final = _WORK["near"]
#: What comes before everything on a plan of work; its usual cautions; what governs the work.
FIRST: Final[str] = _WORK["first"]
CAUTIONS: Final[tuple[str, ...]] = _WORK["cautions"]["lines"]
DOCUMENTS: Final[tuple[str, ...]] = _WORK["documents"]["lines"]
#: (alloy, where it melts).
ALLOYS: Final[tuple[tuple[str, str], ...]] = _WORK["alloys"]["lines"]
HEAT_FACTS: Final[tuple[str, ...]] = _WORK["heat"]["lines"]

_Pads = tuple[str, ...]
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
    def order(self) -> tuple[object, ...]:
        # connectors last: they hide pads and mind heat; enclosed before open; small before large
        is_open = self.close < _NEAR["enclosed_parts"]
        return (self.connector, is_open, round(self.area_mm2, 3), self.x, self.y)

    def goes_with(self, other: _Fitting) -> bool:
        """Return whether both are close enough to be fitted in one go."""
        near = distance(self.x, self.y, other.x, other.y) <= _NEAR["together_mm"]
        return near and self.connector == other.connector and _same_side(self.part, other.part)


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
    fittings.sort(key=lambda fitting: fitting.order)
    to_fit = {fitting.part.key for fitting in fittings}
    groups: list[list[_Fitting]] = []  # each fitted in one go
    for one in fittings:
        near = (g for g in groups if len(g) < _NEAR["together_most"] and any(map(one.goes_with, g)))
        group = next(near, None)
        if group is None:
            groups.append([one])
        else:
            group.append(one)

    def general(name: str, *more: str, positions: Sequence[str] = (), slow: _Pads = ()) -> WorkStep:
        words = _WORK["steps"][name]
        return WorkStep(words["title"], tuple(positions), None, (words["why"], *more), slow)

    slow = _slow_pads(circuit, parts)
    more = [_WORK["because"]["slow_to_clean"]] if slow else []
    steps = [
        general("power_off"),
        *([general("clean", *more, slow=slow)] if parts else []),
        *([general("mend", positions=lifted)] if lifted else []),
        *(_step(circuit, group, to_fit) for group in groups),
        general("look"),
    ]
    return RefitPlan(tuple(steps), tuple(part.refdes for part, at in places if at is None))


def _fitting(circuit: Circuit, part: Part, x: float, y: float) -> _Fitting:
    close = 0
    for other in circuit.board.parts:
        at = part_place(other) if other.key != part.key and _same_side(part, other) else None
        close += at is not None and distance(x, y, *at) <= _NEAR["enclosed_mm"]
    size = inch_size(part.package) if part.package else None
    chip = chip_size(size) if size else None
    area = 1.0
    if chip is not None:
        area = chip.length_mm * chip.width_mm
    elif len(part.pads) > 1:
        x1, y1, x2, y2 = box_of([(pad.x, pad.y) for pad in part.pads])
        area = max(x2 - x1, 0.3) * max(y2 - y1, 0.3)
    connector = circuit.kinds[part.key].kind is Kind.CONNECTOR
    return _Fitting(part, x, y, area, close, connector)


def _same_side(part: Part, other: Part) -> bool:
    return part.side is None or other.side is None or part.side is other.side


def _step(circuit: Circuit, group: Sequence[_Fitting], to_fit: Collection[str]) -> WorkStep:
    first, parts = group[0], [fitting.part for fitting in group]
    kinds = {circuit.kinds[part.key].kind for part in parts}
    slow = _slow_pads(circuit, parts)
    enclosed = not first.connector and first.close >= _NEAR["enclosed_parts"]
    reasons = {
        "together": len(group) > 1,
        "connector": first.connector,
        "enclosed": enclosed,
        "small_first": not first.connector and not enclosed,
        "capacitor": Kind.CAPACITOR in kinds,
        "polarised": not kinds.isdisjoint(_POLARISED),
        "slow": bool(slow),
    }
    figures = {"together": f"{_NEAR['together_mm']:g}", "enclosed": first.close}
    words = _WORK["because"]
    because = tuple(words[why].format(figures.get(why)) for why, so in reasons.items() if so)
    near = sorted(
        _neighbours(circuit, group, to_fit), key=lambda item: (item.distance_mm, item.refdes)
    )
    refs = tuple(part.refdes for part in parts)
    return WorkStep(f"Fit {', '.join(refs)}", refs, first.part.side, because, slow, tuple(near))


def _slow_pads(circuit: Circuit, parts: Sequence[Part]) -> _Pads:
    """Return the pads that lie in a copper area of their own net, or on the ground net."""
    zones = [zone for zone in circuit.board.zones if zone.net is not None]
    grounds = {net for net, rail in circuit.rails.items() if rail.kind is NetKind.GROUND}

    def is_slow(pad: Pad) -> bool:
        boxes = [zone.box for zone in zones if zone.net == pad.net]
        inside = any(
            box is None or (box[0] <= pad.x <= box[2] and box[1] <= pad.y <= box[3])
            for box in boxes
        )
        return inside or (not zones and pad.net in grounds)

    pads = (f"{part.refdes}.{pad.number}" for part in parts for pad in part.pads if is_slow(pad))
    return tuple(dict.fromkeys(pads))


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
