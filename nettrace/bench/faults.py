"""What may be wrong after a refit: open joints, missing parts, wrong values, shorts and bridges.

Each fault has odds against health before any reading (`chances.toml`): hand soldering of small
parts leaves more open joints than anything else, then bridges, then a part from the wrong heap.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
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
from nettrace.circuit.kinds import Kind
from nettrace.circuit.links import two_nets
from nettrace.knowledge import table
from nettrace.model.board import Pad, Part, Pin
from nettrace.values.quantity import engineering, read_quantity

#: Pads of different nets nearer than this, copper to copper, may be bridged, mm.
BRIDGE_MM: Final = 0.5
#: Odds of each fault before any reading.
_ODDS: Final = table("chances")["faults"]
#: Values closer than this are the same part to a meter in circuit, as a fraction.
SAME_VALUE: Final = 0.10

_SHORTING: Final = frozenset({Kind.CAPACITOR, Kind.ESD, Kind.DIODE, Kind.ZENER, Kind.VARISTOR})
_NO_FAULTS: Final = frozenset({Kind.CONNECTOR, Kind.TEST_POINT, Kind.SWITCH})
#: Kinds whose value may be a wrong one: what it is called in the records, and its unit.
_VALUED: Final = {Kind.RESISTOR: ("ohms", "Ω"), Kind.CAPACITOR: ("farads", "F")}


class FaultKind(StrEnum):
    """What can be wrong at a refitted place."""

    OPEN_JOINT = "open joint"
    MISSING = "missing"  # or broken inside: a meter cannot tell
    WRONG_VALUE = "wrong value"
    SHORTED = "shorted part"
    BRIDGE = "bridge"
    OPEN_WIRE = "open wire"  # between two nets; on one net it is the torn pad's open joint


#: Where a fault is: a pad (open joint), a refdes (missing, wrong value, shorted), or the two ends
#: of a bridge or a wire.
FaultPlace = tuple[str] | tuple[str, str]


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault that a meter can tell from others.

    Attributes:
        kind: the likeliest of its forms.
        places: several where no meter can tell them apart, likeliest first.
        part: the refdes that it is at (of a bridge, the first pad's; of a wire, its first end).
        odds: against health, before any reading.
        nets: the two nets that a short joins.
        value: of a wrong part, Ω or F.
    """

    kind: FaultKind
    places: tuple[FaultPlace, ...]
    part: str
    odds: float
    nets: tuple[str, ...] = ()
    value: float | None = None
    unit: str = ""

    @property
    def at(self) -> str:
        """The pad or refdes of its likeliest place, or that place's first end."""
        return self.places[0][0]

    @property
    def what(self) -> str:
        """The fault in a technician's words."""
        if not self.nets:
            value = engineering(self.value or 0.0, self.unit)
            return {
                FaultKind.OPEN_JOINT: f"open joint at {self.at}",
                FaultKind.OPEN_WIRE: f"open joint of the wire {' to '.join(self.places[0])}",
                FaultKind.MISSING: f"{self.at} missing or open inside",
                FaultKind.WRONG_VALUE: f"wrong value at {self.at}: like {value}",
            }[self.kind]
        shorts = [
            f"bridge {' to '.join(place)}" if len(place) == 2 else f"{place[0]} shorted"
            for place in self.places[:3]
        ]
        left = len(self.places) - 3
        more = f" and {left} more places" if left > 0 else ""
        return f"{', or '.join(shorts)}{more} ({' to '.join(self.nets)})"


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
    board = circuit.board
    by_refdes = {part.refdes.casefold(): part for part in reversed(board.parts)}
    found = {
        name: board.part_by_key.get(name) or by_refdes.get(name.casefold())
        for name in (*state.damaged, *state.refitted)
    }
    unknown = [name for name, part in found.items() if part is None]
    gone = set(state.missing)
    absent = frozenset(part.key for name, part in found.items() if part and name in gone)
    parts = tuple(part.key for part in found.values() if part and part.key not in absent)
    joints: dict[str, Pin] = {}
    for key in parts:
        for pin in board.part_by_key[key].pins:
            if pin.net is not None:
                joints.setdefault(pad_name(circuit, pin), pin)
    wires = wires_of(circuit, state)
    # where no break is marked, a wire's own ends are what a measurement must prove
    beside = [end for wired in wires if wired.as_ is WiredAs.BESIDE for end in wired.ends]
    pads = [*state.lifted, *(pad for cut in state.cuts for pad in cut)]
    pads += [name for name in beside if find_pad(circuit, name) is not None]
    for name in dict.fromkeys(pads):
        at = find_pad(circuit, name)
        if at is None:
            unknown.append(name)
        elif at.net is not None and at.part not in absent:
            joints.setdefault(pad_name(circuit, at), at)
    known = {end for wired in wires for end in wired.ends}
    unknown += [f"{w.start} to {w.end}" for w in state.wires if not {w.start, w.end} <= known]
    return Touched(parts, absent, joints, tuple(unknown), wires)


def list_faults(circuit: Circuit, state: JobState) -> tuple[Fault, ...]:
    """Return every single fault that the repair may have, likeliest first."""
    what = touched(circuit, state)
    refdes = {key: part.refdes for key, part in circuit.board.part_by_key.items()}
    mended = {*state.lifted, *(pad for cut in state.cuts for pad in cut)}
    mended |= {end for wire in state.wires for end in (wire.start, wire.end)}
    loose = {
        name
        for name, mark in state.damaged.items()
        if name not in state.refitted and mark.damage in {Damage.SHIFTED, Damage.DOUBTFUL}
    }
    found = []
    for pad, pin in what.joints.items():
        part = refdes[pin.part]
        odds = (
            _ODDS["mended"] if pad in mended else _ODDS["loose"] if part in loose else _ODDS["open"]
        )
        found.append(Fault(FaultKind.OPEN_JOINT, ((pad,),), part, odds))
    found += [
        Fault(FaultKind.OPEN_WIRE, (wired.ends,), wired.ends[0].rsplit(".", 1)[0], _ODDS["mended"])
        for wired in what.wires
        if wired.across is not None and not wired.is_short
    ]
    groups = net_groups(circuit, what.absent, what.wires)
    shorts: dict[frozenset[str], list[Fault]] = {}

    def short(kind: FaultKind, at: FaultPlace, name: str, nets: Sequence[str], odds: float) -> None:
        pair = frozenset(groups.get(net, net) for net in nets)
        if len(pair) == 2:  # joined by a link anyway: it harms nothing
            shorts.setdefault(pair, []).append(Fault(kind, (at,), name, odds, tuple(nets)))

    for key in what.parts:
        own, kind = circuit.board.part_by_key[key], circuit.kinds[key]
        name, nets = own.refdes, two_nets(own)
        if not kind.fitted or kind.kind in _NO_FAULTS:
            continue
        if nets is not None or kind.kind is Kind.RESISTOR_ARRAY:
            found.append(Fault(FaultKind.MISSING, ((name,),), name, _ODDS["missing"]))
        if nets is None:
            continue
        odds = _ODDS["shorted"] if kind.kind in _SHORTING else _ODDS["stuck"]
        short(FaultKind.SHORTED, (name,), name, nets, odds)
        for value, unit, odds in _wrong_values(circuit, state, what, own):
            if unit == "Ω" and value <= ONE_NET_OHMS:
                short(FaultKind.SHORTED, (name,), name, nets, odds)
            else:
                found.append(Fault(FaultKind.WRONG_VALUE, ((name,),), name, odds, (), value, unit))
    for first, second, gap in close_pads(circuit, what):
        odds = _ODDS["bridge"] * math.exp(-gap / _ODDS["bridge_fall_mm"])
        ends = pad_name(circuit, first), pad_name(circuit, second)
        between = first.net or "", second.net or ""
        short(FaultKind.BRIDGE, ends, refdes[first.part], between, odds)
    for alike in shorts.values():  # no meter tells one place of a pair of nets from another
        ranked = sorted(alike, key=lambda fault: -fault.odds)
        places = tuple(dict.fromkeys(fault.places[0] for fault in ranked))
        found.append(replace(ranked[0], places=places, odds=sum(fault.odds for fault in ranked)))
    return tuple(sorted(found, key=lambda fault: -fault.odds))


def _wrong_values(
    circuit: Circuit, state: JobState, what: Touched, part: Part
) -> Iterator[tuple[float, str, float]]:
    """Yield (value, unit, odds): what was fitted by the job's words, mix-ups, a decade off.

    Each once, and none that is the right value to a meter in circuit.
    """
    kind = circuit.kinds[part.key]
    quantity, unit = _VALUED.get(kind.kind, ("", ""))
    nominal: float | None = getattr(kind, quantity) if quantity else None
    if nominal is None:
        return
    found: list[tuple[float, float]] = []
    fit = state.refitted.get(part.refdes)
    if fit is not None and fit.value:
        said = read_quantity(fit.value, unit)
        if said is not None and said.unit in {None, unit}:
            found.append((said.value, 1.0))
    for item in state.loose.values():
        value = getattr(item, quantity)
        if value is not None:
            mine = fit is not None and fit.with_part == item.name
            found.append((value, 1.0 if mine else _ODDS["mix_up"]))
    for key in (*what.parts, *sorted(what.absent)):
        other = circuit.kinds[key]
        value = getattr(other, quantity)
        if value is not None and other.kind is kind.kind:
            found.append((value, _ODDS["mix_up"]))
    if nominal:
        found += [(nominal * factor, _ODDS["decade"]) for factor in (10.0, 0.1)]
    taken = [nominal]
    for value, odds in found:
        if all(abs(value - other) > SAME_VALUE * max(value, other) for other in taken):
            taken.append(value)
            yield value, unit, odds


def close_pads(circuit: Circuit, what: Touched) -> list[tuple[Pin, Pin, float]]:
    """Return (touched pin, neighbour, gap in mm) for pads of two nets near enough to be bridged.

    The two ends of one two-net part are left out: a short across it is the part's own fault.
    """
    pins = {(pin.part, pin.number): pin for net in circuit.board.nets for pin in net.pins}
    found: dict[frozenset[str], tuple[Pin, Pin, float]] = {}
    for pin in what.joints.values():
        ends_of_one = two_nets(circuit.board.part_by_key[pin.part]) is not None
        for pad in pin.pads:
            x1, y1, x2, y2 = _box(pad)
            reach = BRIDGE_MM + 3.0  # pads are found by their middles
            for other in circuit.pad_grid.inside((x1 - reach, y1 - reach, x2 + reach, y2 + reach)):
                near = pins.get((other.part, other.number))
                if near is None or near.net in {None, pin.net} or not other.side.faces(pad.side):
                    continue
                if other.part == pin.part and ends_of_one:
                    continue
                u1, v1, u2, v2 = _box(other)
                gap = math.hypot(max(0.0, u1 - x2, x1 - u2), max(0.0, v1 - y2, y1 - v2))
                ends = frozenset({str(pin), str(near)})
                if gap < BRIDGE_MM and (ends not in found or gap < found[ends][2]):
                    found[ends] = (pin, near, gap)
    return sorted(found.values(), key=lambda item: item[2])


def _box(pad: Pad) -> tuple[float, float, float, float]:
    """Return the upright box around a pad, mm."""
    w, h = (pad.width or 0.0) / 2, (pad.height or 0.0) / 2
    cos, sin = abs(math.cos(math.radians(pad.angle))), abs(math.sin(math.radians(pad.angle)))
    wide, high = w * cos + h * sin, w * sin + h * cos
    return pad.x - wide, pad.y - high, pad.x + wide, pad.y + high
