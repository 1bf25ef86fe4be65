"""The damaged area: every pad, part and net in it, what each part does, and what stops."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from nettrace.bench.area_search import pads_inside
from nettrace.bench.damage import describe_damage
from nettrace.bench.place import Circle, Shape, part_place
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Absence, NetKind, PartKind, Proposal, Role
from nettrace.circuit.kinds import Kind
from nettrace.errors import NothingMatches
from nettrace.model.board import Board, Pad, Part, Pin, Side
from nettrace.model.geometry import distance
from nettrace.model.names import natural_key

__all__ = [
    "AreaPad",
    "AreaPart",
    "AreaReport",
    "far_pins",
    "inspect_area",
    "lacks_value",
    "no_places",
    "reach_mm",
]

#: What a pad's net leads to is told by the parts that do something with it, best first.
_TELLING = {
    Kind.IC: 0,
    Kind.MODULE: 0,
    Kind.OSCILLATOR: 0,
    Kind.CONNECTOR: 1,
    Kind.BATTERY: 1,
    Kind.MICROPHONE: 1,
    Kind.DISPLAY: 1,
    Kind.ANTENNA: 1,
    Kind.MOTOR: 1,
    Kind.SOUNDER: 1,
    Kind.SWITCH: 2,
    Kind.MOSFET: 2,
    Kind.TRANSISTOR: 2,
    Kind.CRYSTAL: 2,
    Kind.LED: 2,
    Kind.TEST_POINT: 3,
}
_LEAST_TELLING = 4
#: Pins that are told of what a net leads to.
FAR_PINS = 4
#: Kinds whose value is a number that a missing part's position may be asked for.
_HAS_VALUE = frozenset({Kind.RESISTOR, Kind.CAPACITOR, Kind.INDUCTOR, Kind.UNKNOWN})
#: Kinds that cannot be torn off: copper and holes. They are shown, and never taken for lost.
_NOT_PARTS = frozenset({Kind.MECHANICAL, Kind.TEST_POINT})


@dataclass(frozen=True, slots=True)
class AreaPad:
    """A pad in the area: its pin (None for copper without a number), distance in mm.

    `far` are the pins that tell what its net leads to, the most telling first, none of its own
    part.
    """

    pad: Pad
    pin: Pin | None
    distance: float
    far: tuple[Pin, ...]


@dataclass(frozen=True, slots=True)
class AreaPart:
    """A part with copper (or, without any, its place) in the area.

    `inside` is true where the part is likely to be gone: all its pads are in the area, or it has
    two at most, and it is more than bare copper. `pins` are those with a pad in the area;
    `distance` is that of its nearest such pad, mm. `proposals` is filled where no source states
    a value.
    """

    part: Part
    distance: float
    inside: bool
    pins: tuple[Pin, ...]
    roles: tuple[Role, ...]
    absence: Absence
    proposals: tuple[Proposal, ...]


@dataclass(frozen=True, slots=True)
class AreaReport:
    """A damaged area: pads by distance; parts by severity, then distance; nets by name.

    `outlying` are the pads of positions that stand just outside: bare too when the part is gone;
    `named` is the key of the part the area was named by, "" if none; `damage` says in sentences
    what stops when every part that is inside (the named one excepted) is gone.
    """

    shape: Shape
    side: Side | None
    named: str
    pads: tuple[AreaPad, ...]
    outlying: tuple[AreaPad, ...]
    parts: tuple[AreaPart, ...]
    nets: tuple[str, ...]
    damage: tuple[str, ...]

    @property
    def positions(self) -> tuple[AreaPart, ...]:
        """The parts that are likely gone, in the report's order."""
        return tuple(item for item in self.parts if item.inside and item.part.key != self.named)

    @property
    def reaching_in(self) -> tuple[AreaPart, ...]:
        """The parts that have only some of their pads in the area, and the one it is named by."""
        return tuple(item for item in self.parts if not item.inside or item.part.key == self.named)


def inspect_area(circuit: Circuit, shape: Shape, side: Side | None = None) -> AreaReport:
    """Return what is in the area and what stops without it.

    A pad is in the area when its middle is, and it can be touched from `side` (None: either).

    Raises:
        NothingMatches: nothing is there; the nearest pad and the board's extent are named.
    """
    board = circuit.board
    named = _named_part(board, shape)
    inside = pads_inside(circuit, shape, side)
    x0, y0 = shape.middle
    parts: list[AreaPart] = []
    for key, found in inside.items():
        part = board.part_by_key[key]
        touched = {id(pad) for _, pad in found}
        pins = tuple(pin for pin in part.pins if any(id(pad) in touched for pad in pin.pads))
        whole = len(part.pins) <= 2 or len(pins) == len(part.pins)
        gap = min(gap for gap, _ in found)
        parts.append(_area_part(circuit, part, gap, whole=whole, pins=pins))
    for part in circuit.pad_grid.parts_without_pads:
        at = part_place(part)
        if at is None or not shape.contains(*at):
            continue
        if side is None or part.side is None or part.side.faces(side):
            parts.append(_area_part(circuit, part, distance(x0, y0, *at), whole=True, pins=()))
    if not parts:
        raise _nothing_there(circuit, shape, side)
    parts.sort(
        key=lambda item: (item.absence.severity.rank, item.distance, natural_key(item.part.key))
    )
    gone = {item.part.key for item in parts if item.inside and item.part.key != named}
    pads = _area_pads(circuit, inside, gone)
    touched_all = {id(pad) for found in inside.values() for _, pad in found}
    outside = {
        key: [
            (distance(x0, y0, pad.x, pad.y), pad)
            for pad in board.part_by_key[key].pads
            if id(pad) not in touched_all
        ]
        for key in gone
    }
    nets = {item.pad.net for item in pads if item.pad.net is not None}
    nets.update(net for item in parts if item.inside for net in item.part.nets)
    return AreaReport(
        shape=shape,
        side=side,
        named=named,
        pads=pads,
        outlying=_area_pads(circuit, outside, gone),
        parts=tuple(parts),
        nets=tuple(sorted(nets, key=natural_key)),
        damage=describe_damage(circuit, [item.part.key for item in parts if item.part.key in gone]),
    )


def reach_mm(part: Part, middle: tuple[float, float]) -> float:
    """Return how far a part's outermost pad is from a point, mm; 0 without pads."""
    return max((distance(*middle, pad.x, pad.y) for pad in part.pads), default=0.0)


def _named_part(board: Board, shape: Shape) -> str:
    if not isinstance(shape, Circle):
        return ""
    return shape.around if shape.around in board.part_by_key else ""


def _area_part(
    circuit: Circuit, part: Part, gap: float, *, whole: bool, pins: tuple[Pin, ...]
) -> AreaPart:
    kind = circuit.kinds[part.key]
    whole = whole and kind.kind not in _NOT_PARTS
    return AreaPart(
        part=part,
        distance=gap,
        inside=whole,
        pins=pins,
        roles=circuit.roles(part.key),
        absence=circuit.absence(part.key),
        proposals=circuit.proposals(part.key) if whole and lacks_value(kind) else (),
    )


def _area_pads(
    circuit: Circuit, inside: dict[str, list[tuple[float, Pad]]], gone: set[str]
) -> tuple[AreaPad, ...]:
    found: list[AreaPad] = []
    telling: dict[str, tuple[Pin, ...]] = {}
    for key, pads in inside.items():
        part = circuit.board.part_by_key[key]
        pin_of = {id(pad): pin for pin in part.pins for pad in pin.pads}
        for gap, pad in pads:
            if pad.net is not None and pad.net not in telling:
                telling[pad.net] = far_pins(circuit, pad.net, "", gone, FAR_PINS + 1)
            seen = telling.get(pad.net or "", ())
            far = tuple(far_pin for far_pin in seen if far_pin.part != key)[:FAR_PINS]
            found.append(AreaPad(pad, pin_of.get(id(pad)), gap, far))
    found.sort(
        key=lambda item: (
            item.distance,
            natural_key(item.pad.part),
            natural_key(item.pad.number),
        )
    )
    return tuple(found)


def lacks_value(kind: PartKind) -> bool:
    """Return whether a part of this kind should have a value, and no source states one."""
    known = (kind.ohms, kind.farads, kind.henries, kind.hertz)
    return kind.kind in _HAS_VALUE and all(value is None for value in known)


def far_pins(
    circuit: Circuit, net: str, own: str, gone: Iterable[str] = (), most: int = FAR_PINS
) -> tuple[Pin, ...]:
    """Return pins of a net that tell what it leads to, one of each part, most telling first.

    What feeds a rail comes first, then chips, connectors and batteries, transistors and switches,
    test points, the rest; parts in `gone` come last; none for a ground.
    """
    if circuit.net_kind(net) is NetKind.GROUND:
        return ()
    missing = set(gone)
    ranked = circuit.once("ranked pins", net, lambda: _ranked_pins(circuit, net))
    found: list[Pin] = []
    late: list[Pin] = []
    for pin in ranked:
        if pin.part != own:
            (late if pin.part in missing else found).append(pin)
            if len(found) == most:
                break
    return tuple([*found, *late][:most])


def _ranked_pins(circuit: Circuit, net: str) -> tuple[Pin, ...]:
    """Return the pins of a net, the first of each part, the most telling part first."""
    rail = circuit.rails.get(net)
    source = rail.source if rail is not None else None
    first: dict[str, Pin] = {}
    for pin in circuit.board.net_by_name[net].pins:
        first.setdefault(pin.part, pin)
    kinds = circuit.kinds
    return tuple(
        sorted(
            first.values(),
            key=lambda pin: (
                pin.part != source,
                _TELLING.get(kinds[pin.part].kind, _LEAST_TELLING),
            ),
        )
    )


def no_places(side: Side | None) -> NothingMatches:
    """Return the error for sources without any pad (on that side) to look for."""
    if side is not None:
        return NothingMatches(f"no pad on the {side} side in these sources")
    return NothingMatches(
        "no pad has a place in these sources",
        hint="A netlist alone has no places: add the board file or the test file with --with.",
    )


def _nothing_there(circuit: Circuit, shape: Shape, side: Side | None) -> NothingMatches:
    board = circuit.board
    nearest = next(circuit.pad_grid.near(*shape.middle, side), None)
    if nearest is None:
        return no_places(side)
    if isinstance(shape, Circle) and (part := board.part_by_key.get(shape.around)) is not None:
        far = reach_mm(part, shape.middle)
        return NothingMatches(
            f"nothing within {shape.radius_mm:g} mm of the middle of {part.refdes}",
            hint=f"Its own pads reach {far:.1f} mm from there: try --radius {far + 4:.0f}.",
        )
    gap, pad = nearest
    xs = [pad.x for pad in board.pads()]
    ys = [pad.y for pad in board.pads()]
    name = f"{pad.part}.{pad.number}" if pad.number else pad.part
    return NothingMatches(
        "nothing in this area",
        hint=f"The nearest pad is {name}, {gap:.1f} mm from its middle; pads span "
        f"{min(xs):.1f},{min(ys):.1f} to {max(xs):.1f},{max(ys):.1f} (mm, y up).",
    )
