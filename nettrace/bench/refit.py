"""The order of refitting: what first and why, what melts slowly, what near by minds the heat.

Facts of heat and alloys: reference-values.md section 8 (makers' notes, alloy tables); the order is
common practice, no source, and says so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from nettrace.bench.place import part_place
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind
from nettrace.circuit.kinds import Kind
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

#: Kinds that mind hot air, and why (common practice, no source).
MINDS_HEAT: Final = {
    Kind.CONNECTOR: "plastic body melts",
    Kind.SWITCH: "plastic body melts",
    Kind.BATTERY: "never heat a cell: take it off first",
    Kind.CRYSTAL: "shifts or cracks",
    Kind.OSCILLATOR: "shifts or cracks",
    Kind.MICROPHONE: "membrane: cover the port, keep air and flux away",
    Kind.SOUNDER: "membrane and plastic",
    Kind.MOTOR: "plastic and glue",
    Kind.DISPLAY: "film and glue",
    Kind.LED: "lens yellows",
    Kind.MODULE: "its own solder melts",
}
#: Filled packages: underfilled or large ball arrays near by (told by package name).
_BALLS: Final = ("BGA", "WLCSP", "CSP", "LGA")

#: Solidus and liquidus, °C (Indium Corp table, alasir.com table).
ALLOYS: Final[tuple[tuple[str, str], ...]] = (
    ("Sn63Pb37", "183 °C"),
    ("SAC305 (lead-free, usual)", "217 to 220 °C"),
    ("Sn42Bi58 (low melting)", "138 °C"),
)
HEAT_FACTS: Final[tuple[str, ...]] = (
    "Preheat the board to 150 °C (TDK FAQ 130, 131); ramp ceramic capacitors by 2 °C a second, "
    "4 at most.",
    "Iron or tweezers 200 to 300 °C; hot-air pencil 315 to 400 °C, 5 mm or more away at 45° "
    "(TDK, Murata).",
    "Do not mix alloys in a joint without wicking the old one: leaded and lead-free melt apart.",
)


@dataclass(frozen=True, slots=True)
class Neighbour:
    """A part within reach of the heat that minds it."""

    refdes: str
    distance_mm: float
    why: str


@dataclass(frozen=True, slots=True)
class Step:
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

    steps: tuple[Step, ...]
    unplaced: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Spot:
    part: Part
    x: float
    y: float
    area_mm2: float
    enclosed: int
    connector: bool


def plan_refit(circuit: Circuit, positions: Sequence[str], lifted: Sequence[str] = ()) -> RefitPlan:
    """Plan the order in which positions (part keys) are refitted.

    Args:
        circuit: the board.
        positions: parts to fit.
        lifted: pads (`R12.1`) to mend first.
    """
    spots, unplaced = [], []
    for key in positions:
        spot = _spot(circuit, circuit.board.part_by_key[key])
        if spot is None:
            unplaced.append(circuit.board.part_by_key[key].refdes)
        else:
            spots.append(spot)
    steps = [
        Step(
            "Battery and every supply off; discharge the rails",
            (),
            None,
            ("solder and ohms on a live board short it; a cell cannot be switched off",),
        )
    ]
    if positions:
        steps.append(_clean_step(circuit, positions))
    if lifted:
        steps.append(
            Step(
                "Mend lifted pads and cut tracks",
                tuple(lifted),
                None,
                ("pads first: a part on a loose pad tears it off; see `job wire`",),
            )
        )
    to_fit = [spot.part.key for spot in spots]
    steps += [_step(circuit, group, to_fit) for group in _groups(sorted(spots, key=_order))]
    steps.append(
        Step(
            "Clean off the flux, look at every joint, then `job probe`",
            (),
            None,
            ("flux under small parts leaks and hides bridges",),
        )
    )
    return RefitPlan(tuple(steps), tuple(unplaced))


def _spot(circuit: Circuit, part: Part) -> _Spot | None:
    place = part_place(part)
    if place is None:
        return None
    x, y = place
    near = 0
    for other in circuit.board.parts:
        there = part_place(other) if other.key != part.key else None
        if there is not None and distance(x, y, *there) <= ENCLOSED_MM and _same_side(part, other):
            near += 1
    kind = circuit.kinds[part.key].kind
    return _Spot(part, x, y, _area(part), near, kind is Kind.CONNECTOR)


def _area(part: Part) -> float:
    size = inch_size(part.package) if part.package else None
    chip = chip_size(size) if size else None
    if chip is not None:
        return chip.length_mm * chip.width_mm
    if len(part.pads) > 1:
        xs, ys = [pad.x for pad in part.pads], [pad.y for pad in part.pads]
        return max((max(xs) - min(xs)), 0.3) * max((max(ys) - min(ys)), 0.3)
    return 1.0


def _same_side(part: Part, other: Part) -> bool:
    return part.side is None or other.side is None or part.side is other.side


def _order(spot: _Spot) -> tuple[object, ...]:
    # connectors last: they hide pads and mind heat; enclosed before open; small before large
    enclosed = spot.enclosed >= ENCLOSED_PARTS
    return (spot.connector, not enclosed, round(spot.area_mm2, 3), spot.x, spot.y)


def _groups(spots: Sequence[_Spot]) -> list[list[_Spot]]:
    groups: list[list[_Spot]] = []
    for spot in spots:
        for group in groups:
            close = any(
                distance(spot.x, spot.y, other.x, other.y) <= TOGETHER_MM
                and _same_side(spot.part, other.part)
                and spot.connector == other.connector
                for other in group
            )
            if close and len(group) < TOGETHER_MOST:
                group.append(spot)
                break
        else:
            groups.append([spot])
    return groups


def _step(circuit: Circuit, group: Sequence[_Spot], to_fit: Sequence[str]) -> Step:
    refs = tuple(spot.part.refdes for spot in group)
    because: list[str] = []
    first = group[0]
    if len(group) > 1:
        because.append(f"closer than {TOGETHER_MM:g} mm: in one go, or the second melts the first")
    if first.connector:
        because.append("last: it hides pads and minds heat")
    elif first.enclosed >= ENCLOSED_PARTS:
        because.append(f"enclosed by {first.enclosed} parts: before they are in the way")
    else:
        because.append("small before large: large parts take the heat and block the tip")
    kinds = {circuit.kinds[spot.part.key].kind for spot in group}
    if Kind.CAPACITOR in kinds:
        because.append("a new ceramic capacitor, warmed slowly: shock cracks it (makers' notes)")
    if kinds & {Kind.DIODE, Kind.ESD, Kind.LED, Kind.ZENER}:
        because.append("mind the direction: compare with the drawing's pin 1 or cathode")
    slow = _slow_pads(circuit, [spot.part for spot in group])
    if slow:
        because.append("pads on copper areas melt late: preheat, larger tip")
    return Step(
        f"Fit {', '.join(refs)}",
        refs,
        first.part.side,
        tuple(because),
        slow,
        _neighbours(circuit, group, to_fit),
    )


def _slow_pads(circuit: Circuit, parts: Sequence[Part]) -> tuple[str, ...]:
    """Return the pads that lie in a copper area of their own net, or on the ground net."""
    zones = [zone for zone in circuit.board.zones if zone.net is not None]
    grounds = {net for net, rail in circuit.rails.items() if rail.kind is NetKind.GROUND}
    found = []
    for part in parts:
        for pad in part.pads:
            in_zone = any(
                zone.net == pad.net and (zone.box is None or _in_box(pad.x, pad.y, zone.box))
                for zone in zones
            )
            if in_zone or (not zones and pad.net in grounds):
                found.append(f"{part.refdes}.{pad.number}")
    return tuple(dict.fromkeys(found))


def _in_box(x: float, y: float, box: tuple[float, float, float, float]) -> bool:
    return box[0] <= x <= box[2] and box[1] <= y <= box[3]


def _neighbours(
    circuit: Circuit, group: Sequence[_Spot], to_fit: Sequence[str]
) -> tuple[Neighbour, ...]:
    found: list[Neighbour] = []
    for other in circuit.board.parts:
        if other.key in to_fit or not _same_side(group[0].part, other):
            continue
        why = _minds(circuit, other)
        there = part_place(other) if why else None
        if why is None or there is None:
            continue
        gap = min((_gap(spot, other) for spot in group), default=math.inf)
        if gap <= HOT_AIR_MM:
            found.append(Neighbour(other.refdes, gap, why))
    return tuple(sorted(found, key=lambda item: (item.distance_mm, item.refdes)))


def _gap(spot: _Spot, other: Part) -> float:
    """Distance to the nearest pad or corner of the other part, mm."""
    points = [(pad.x, pad.y) for pad in other.pads] + list(other.outline)
    return min((distance(spot.x, spot.y, *point) for point in points), default=math.inf)


def _minds(circuit: Circuit, part: Part) -> str | None:
    kind = circuit.kinds[part.key].kind
    if kind in MINDS_HEAT:
        return MINDS_HEAT[kind]
    package = (part.package or "").upper()
    if kind is Kind.IC and any(word in package for word in _BALLS):
        return "balls under the package move; filled ones swell"
    return None


def _clean_step(circuit: Circuit, positions: Sequence[str]) -> Step:
    parts = [circuit.board.part_by_key[key] for key in positions]
    slow = _slow_pads(circuit, parts)
    because = ["old solder and burrs off with wick and flux; look for lifted pads and bridges"]
    if slow:
        because.append("pads on copper areas take the heat away: preheat, do not press")
    return Step("Recover and clean the pads", (), None, tuple(because), slow)


# -- The usual cautions of the bench, and the documents that govern the work.


#: Printed on every plan of work, before anything else.
FIRST: Final = "Local rules and licensed practice come first; this plan does not replace them."

#: Sources: maker's handling note for Li-ion cells, lead and ESD practice (reference-values.md,
#: section 8); the rest is common practice, no source.
CAUTIONS: Final[tuple[str, ...]] = (
    "Unplug the battery and every supply before ohms, diode mode or solder; wait until the rails "
    "have discharged.",
    "Li-ion: never heat, solder to or short a cell; a swollen, punctured or hot pack stops the "
    "work: take it outside, away from anything that burns.",
    "Mains chargers stay closed: what is behind the plug is for licensed people.",
    "Hot air and irons burn; keep cells, flammables and plastics out of reach of the nozzle.",
    "Leaded solder and flux: extract the fumes, no food at the bench, wash hands.",
    "Wear a wrist strap with 1 MΩ; chips die of charges nobody feels.",
)

DOCUMENTS: Final[tuple[str, ...]] = (
    "IPC-7711/7721 rework, modification and repair",
    "IPC J-STD-001 soldering, IPC-A-610 acceptability",
    "IPC/JEDEC J-STD-033 moisture-sensitive parts",
    "ANSI/ESD S20.20, IEC 61340-5-1 protection from ESD",
)
