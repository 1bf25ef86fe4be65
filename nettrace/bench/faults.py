"""What may be wrong after a refit: open joints, missing parts, wrong values, shorts and bridges.

Each fault has odds against health before any reading. They are common practice, no source: hand
soldering of small parts leaves more open joints than anything else, then bridges, then a part from
the wrong heap. What matters is their order; the readings outweigh them by far.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from nettrace.bench.job import Damage, JobState
from nettrace.bench.wire import (
    ONE_NET_OHMS,
    Wired,
    WiredAs,
    find_pad,
    net_groups,
    pad_name,
    wires_of,
)
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import PartKind
from nettrace.circuit.kinds import Kind
from nettrace.circuit.series import two_nets
from nettrace.model.board import Pad, Part, Pin
from nettrace.values.quantity import engineering, read_quantity

__all__ = [
    "BRIDGE_MM",
    "Fault",
    "FaultKind",
    "Touched",
    "close_pads",
    "find_pad",
    "list_faults",
    "net_groups",
    "pad_name",
    "touched",
]

#: Pads of different nets nearer than this, copper to copper, may be bridged, mm.
BRIDGE_MM: Final = 0.5
#: Odds of each fault before any reading (common practice, no source).
OPEN_ODDS: Final = 0.02
MENDED_ODDS: Final = 0.05  # a lifted pad or cut track that was wired
LOOSE_ODDS: Final = 0.10  # a part marked shifted or doubtful and left as it is
MISSING_ODDS: Final = 0.004
MIX_UP_ODDS: Final = 0.004
DECADE_ODDS: Final = 0.001
SHORTED_ODDS: Final = 0.005  # ceramic capacitors and diodes crack or melt into a short
STUCK_ODDS: Final = 0.001  # any other part
BRIDGE_ODDS: Final = 0.01  # at no distance; falls with the gap
BRIDGE_FALL_MM: Final = 0.25
#: Values closer than this are the same part to a meter in circuit, as a fraction.
SAME_VALUE: Final = 0.10

_SHORTING: Final = frozenset({Kind.CAPACITOR, Kind.ESD, Kind.DIODE, Kind.ZENER, Kind.VARISTOR})


class FaultKind(StrEnum):
    """What can be wrong at a refitted place."""

    OPEN_JOINT = "open joint"
    MISSING = "missing"  # or broken inside: a meter cannot tell
    WRONG_VALUE = "wrong value"
    SHORTED = "shorted part"
    BRIDGE = "bridge"
    OPEN_WIRE = "open wire"  # between two nets; on one net it is the torn pad's open joint


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault that a meter can tell from others.

    Attributes:
        kind: the likeliest of its forms.
        places: pads (open joint), refdes (missing, wrong value, shorted) or `PAD|PAD` (bridge,
            wire); several where no meter can tell them apart, likeliest first.
        nets: the two nets that a short joins.
        value: of a wrong part, Ω or F.
        odds: against health, before any reading.
    """

    kind: FaultKind
    places: tuple[str, ...]
    odds: float
    nets: tuple[str, ...] = ()
    value: float | None = None
    unit: str = ""

    @property
    def part(self) -> str:
        """The refdes that it is at (of a bridge, the first pad's)."""
        place = self.places[0].split("|")[0]
        return place.rsplit(".", 1)[0] if self._of_pad else place

    @property
    def _of_pad(self) -> bool:
        return self.kind is FaultKind.OPEN_JOINT or "|" in self.places[0]

    @property
    def what(self) -> str:
        """The fault in a technician's words."""
        at = self.places[0]
        if self.kind is FaultKind.OPEN_JOINT:
            return f"open joint at {at}"
        if self.kind is FaultKind.OPEN_WIRE:
            return f"open joint of the wire {at.replace('|', ' to ')}"
        if self.kind is FaultKind.MISSING:
            return f"{at} missing or open inside"
        if self.kind is FaultKind.WRONG_VALUE:
            return f"wrong value at {at}: like {engineering(self.value or 0.0, self.unit)}"
        first = _short_words(at)
        more = ", or ".join(_short_words(place) for place in self.places[1:3])
        left = len(self.places) - 3
        more += f" and {left} more places" if left > 0 else ""
        return f"{first}{', or ' + more if more else ''} ({' to '.join(self.nets)})"


def _short_words(place: str) -> str:
    return f"bridge {place.replace('|', ' to ')}" if "|" in place else f"{place} shorted"


@dataclass(frozen=True, slots=True)
class Touched:
    """What the repair has touched.

    Attributes:
        parts: part keys that are on the board and were refitted or damaged.
        absent: part keys that are gone or broken and not refitted.
        joints: pads (`R12.1`) whose joint may be open -> the pin; they have a terminal node.
        unknown: names in the job that are not on this board.
        wires: as soldered.
    """

    parts: tuple[str, ...]
    absent: frozenset[str]
    joints: Mapping[str, Pin]
    unknown: tuple[str, ...]
    wires: tuple[Wired, ...] = ()


def touched(circuit: Circuit, state: JobState) -> Touched:
    """Return what the job's entries touch, in their order."""
    names = dict.fromkeys((*state.damaged, *state.refitted))
    found = {name: _part(circuit, name) for name in names}
    unknown = [name for name, part in found.items() if part is None]
    gone = set(state.missing)
    absent = frozenset(p.key for name, p in found.items() if p is not None and name in gone)
    parts = tuple(p.key for p in found.values() if p is not None and p.key not in absent)
    joints: dict[str, Pin] = {}
    for key in parts:
        part = circuit.board.part_by_key[key]
        for pin in part.pins:
            if pin.net is not None:
                joints.setdefault(pad_name(circuit, pin), pin)
    wires = wires_of(circuit, state)
    # where no break is marked, a wire's own ends are what a measurement must prove
    beside = [end for w in wires if w.as_ is WiredAs.BESIDE for end in (w.wire.start, w.wire.end)]
    pads = [*state.lifted, *(pad for cut in state.cuts for pad in cut)]
    pads += [name for name in beside if find_pad(circuit, name) is not None]
    for name in dict.fromkeys(pads):
        at = find_pad(circuit, name)
        if at is None:
            unknown.append(name)
        elif at.net is not None and at.part not in absent:
            joints.setdefault(pad_name(circuit, at), at)
    known = {end for w in wires for end in (w.wire.start, w.wire.end)}
    unknown += [
        f"{wire.start} to {wire.end}"
        for wire in state.wires
        if wire.start not in known or wire.end not in known
    ]
    return Touched(parts, absent, joints, tuple(unknown), wires)


def _part(circuit: Circuit, name: str) -> Part | None:
    found = circuit.board.part_by_key.get(name)
    if found is not None:
        return found
    return next((p for p in circuit.board.parts if p.refdes.casefold() == name.casefold()), None)


def list_faults(circuit: Circuit, state: JobState) -> tuple[Fault, ...]:
    """Return every single fault that the repair may have, likeliest first."""
    what = touched(circuit, state)
    found: list[Fault] = [
        Fault(FaultKind.OPEN_JOINT, (pad,), _open_odds(circuit, state, pad, pin))
        for pad, pin in what.joints.items()
    ]
    found += [
        Fault(FaultKind.OPEN_WIRE, (wired.place,), MENDED_ODDS)
        for wired in what.wires
        if wired.across is not None and not wired.is_short
    ]
    shorts = _Shorts(net_groups(circuit, what.absent, what.wires))
    for key in what.parts:
        part, kind = circuit.board.part_by_key[key], circuit.kinds[key]
        nets = two_nets(part)
        if nets is None and kind.kind is not Kind.RESISTOR_ARRAY:
            continue
        if not kind.fitted or kind.kind in {Kind.CONNECTOR, Kind.TEST_POINT, Kind.SWITCH}:
            continue
        found.append(Fault(FaultKind.MISSING, (part.refdes,), MISSING_ODDS))
        if nets is not None:
            odds = SHORTED_ODDS if kind.kind in _SHORTING else STUCK_ODDS
            shorts.add(FaultKind.SHORTED, part.refdes, nets, odds)
            found.extend(_wrong_values(circuit, state, what, part, shorts))
    for first, second, gap in close_pads(circuit, what):
        odds = BRIDGE_ODDS * math.exp(-gap / BRIDGE_FALL_MM)
        place = f"{pad_name(circuit, first)}|{pad_name(circuit, second)}"
        shorts.add(FaultKind.BRIDGE, place, (first.net or "", second.net or ""), odds)
    found.extend(shorts.faults())
    return tuple(sorted(found, key=lambda fault: -fault.odds))


def _open_odds(circuit: Circuit, state: JobState, pad: str, pin: Pin) -> float:
    part = circuit.board.part_by_key[pin.part]
    mended = {*state.lifted, *(p for cut in state.cuts for p in cut)}
    mended |= {end for wire in state.wires for end in (wire.start, wire.end)}
    if pad in mended:
        return MENDED_ODDS
    mark = state.damaged.get(part.refdes)
    left = mark is not None and part.refdes not in state.refitted
    if left and mark is not None and mark.damage in {Damage.SHIFTED, Damage.DOUBTFUL}:
        return LOOSE_ODDS
    return OPEN_ODDS


def _wrong_values(
    circuit: Circuit, state: JobState, what: Touched, part: Part, shorts: _Shorts
) -> list[Fault]:
    kind = circuit.kinds[part.key]
    quantity, unit = {Kind.RESISTOR: ("ohms", "Ω"), Kind.CAPACITOR: ("farads", "F")}.get(
        kind.kind, ("", "")
    )
    nominal: float | None = getattr(kind, quantity) if quantity else None
    if nominal is None:
        return []
    candidates = _candidates(circuit, state, what, part, kind, quantity)
    found: list[Fault] = []
    taken = [nominal]
    for value, odds in candidates:
        if any(abs(value - other) <= SAME_VALUE * max(value, other) for other in taken):
            continue
        taken.append(value)
        nets = two_nets(part)
        if quantity == "ohms" and value <= ONE_NET_OHMS and nets is not None:
            shorts.add(FaultKind.SHORTED, part.refdes, nets, odds)
            continue
        found.append(Fault(FaultKind.WRONG_VALUE, (part.refdes,), odds, (), value, unit))
    return found


def _candidates(
    circuit: Circuit, state: JobState, what: Touched, part: Part, kind: PartKind, quantity: str
) -> list[tuple[float, float]]:
    """Return (value, odds): what was fitted by the job's own words, mix-ups, a decade off."""
    found: list[tuple[float, float]] = []
    fit = state.refitted.get(part.refdes)
    unit = "Ω" if quantity == "ohms" else "F"
    if fit is not None and fit.value:
        said = read_quantity(fit.value, unit)
        if said is not None and said.unit in {None, unit}:
            found.append((said.value, 1.0))
    for item in state.loose.values():
        value = getattr(item, quantity)
        if value is not None:
            mine = fit is not None and fit.with_part == item.name
            found.append((value, 1.0 if mine else MIX_UP_ODDS))
    for key in (*what.parts, *sorted(what.absent)):
        other = circuit.kinds[key]
        value = getattr(other, quantity)
        if value is not None and other.kind is kind.kind:
            found.append((value, MIX_UP_ODDS))
    nominal = getattr(kind, quantity)
    if nominal:
        found.extend((nominal * factor, DECADE_ODDS) for factor in (10.0, 0.1))
    return found


def close_pads(circuit: Circuit, what: Touched) -> list[tuple[Pin, Pin, float]]:
    """Return (touched pin, neighbour, gap in mm) for pads of two nets near enough to be bridged.

    The two ends of one two-net part are left out: a short across it is the part's own fault.
    """
    pins = {(pin.part, pin.number): pin for net in circuit.board.nets for pin in net.pins}
    found: dict[tuple[str, str], tuple[Pin, Pin, float]] = {}
    for pin in what.joints.values():
        for pad in pin.pads:
            x1, y1, x2, y2 = _box(pad)
            reach = BRIDGE_MM + 3.0  # pads are found by their middles
            for other in circuit.pad_grid.inside((x1 - reach, y1 - reach, x2 + reach, y2 + reach)):
                near = pins.get((other.part, other.number))
                if near is None or near.net == pin.net or not other.side.faces(pad.side):
                    continue
                same = other.part == pin.part
                if same and two_nets(circuit.board.part_by_key[pin.part]) is not None:
                    continue
                gap = _gap(pad, other)
                if gap >= BRIDGE_MM or near.net is None:
                    continue
                ends = sorted((str(pin), str(near)))
                key = ends[0], ends[1]
                if key not in found or gap < found[key][2]:
                    found[key] = (pin, near, gap)
    return sorted(found.values(), key=lambda item: item[2])


def _box(pad: Pad) -> tuple[float, float, float, float]:
    """Return the upright box around a pad, mm."""
    w, h = (pad.width or 0.0) / 2, (pad.height or 0.0) / 2
    cos, sin = abs(math.cos(math.radians(pad.angle))), abs(math.sin(math.radians(pad.angle)))
    wide, high = w * cos + h * sin, w * sin + h * cos
    return pad.x - wide, pad.y - high, pad.x + wide, pad.y + high


def _gap(pad: Pad, other: Pad) -> float:
    a, b = _box(pad), _box(other)
    return math.hypot(max(0.0, b[0] - a[2], a[0] - b[2]), max(0.0, b[1] - a[3], a[1] - b[3]))


class _Shorts:
    """Shorts by the pair of nets they join: no meter tells one place of a pair from another."""

    def __init__(self, groups: Mapping[str, str]) -> None:
        self._groups = groups
        self._found: dict[tuple[str, str], list[tuple[float, FaultKind, str, tuple[str, ...]]]] = {}

    def add(self, kind: FaultKind, place: str, nets: tuple[str, str], odds: float) -> None:
        first, second = (self._groups.get(net, net) for net in nets)
        if first == second:
            return  # joined by a link anyway: it harms nothing
        key = (first, second) if first < second else (second, first)
        self._found.setdefault(key, []).append((odds, kind, place, nets))

    def faults(self) -> list[Fault]:
        made = []
        for entries in self._found.values():
            ranked = sorted(entries, key=lambda entry: -entry[0])
            _, kind, _, nets = ranked[0]
            places = tuple(dict.fromkeys(entry[2] for entry in ranked))
            made.append(Fault(kind, places, sum(entry[0] for entry in ranked), nets))
        return made
