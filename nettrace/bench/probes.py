"""Which measurements prove a repair: the shortest list, in an order that is safe.

Rails to ground first, power off; then neighbours for bridges, each touched joint to the rest of
its net, the value across each new part; with power on last. Every line has its expected figure
and its reason.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from nettrace.bench.chances import CLASS_2_DROP, Outlook
from nettrace.bench.faults import Fault, close_pads, list_faults
from nettrace.bench.job import JobState, Quantity
from nettrace.bench.prediction import Predictor, Spot
from nettrace.bench.wire import Point, find_pad, net_groups, pad_name, points_of
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind
from nettrace.circuit.kinds import Kind
from nettrace.circuit.series import two_nets
from nettrace.electrical.meter import BEEPER_RANGE_OHMS, DIODE_PIN_VOLTS
from nettrace.model.board import Part, Pin, Side
from nettrace.model.geometry import distance
from nettrace.values.quantity import engineering

__all__ = [
    "Probe",
    "ProbeStep",
    "expect_words",
    "make_model",
    "plan_probes",
    "plan_with",
    "through_with",
]

#: A test point counts as so much nearer, the other side and a small pad as so much farther, mm
#: (a probe's lead is long: that the point is easy to hit matters more than the way to it).
TEST_POINT_MM: Final = -20.0
OTHER_SIDE_MM: Final = 15.0
SMALL_PAD_MM: Final = 10.0
#: A resistance above this is not 0 to a meter, Ω (leads and a bridge in it).
NO_OHMS: Final = 2.0
#: A capacitor that is less than this share of what lies beside it cannot be read in circuit.
READABLE_SHARE: Final = 0.35


class ProbeStep(StrEnum):
    """The part of the list that a line belongs to, in the order of work."""

    RAILS = "rails to ground, power off"
    BRIDGES = "neighbours, power off"
    JOINTS = "joints, power off"
    VALUES = "values, power off"
    POWER = "power on"


@dataclass(frozen=True, slots=True)
class Probe:
    """One measurement: from a place to another, what the meter is set to, what it must show.

    `expected` is in words; `nominal`, `at_least` and `at_most` in the quantity's unit (Ω, F, V;
    None where not known, infinite for overload; a beep 1, none 0).
    """

    at: str
    to: str
    quantity: Quantity
    step: ProbeStep
    expected: str
    why: str
    nominal: float | None = None
    at_least: float | None = None
    at_most: float | None = None


def plan_probes(circuit: Circuit, state: JobState) -> tuple[Probe, ...]:
    """Return the shortest list of measurements that would prove the repair, in order of work."""
    return plan_with(make_model(circuit, state), state)


def make_model(circuit: Circuit, state: JobState) -> Predictor:
    """Return the model of a job: all nets that its probes, bridges and readings name are in it."""
    bare = Predictor(circuit, state)
    nets = [pin.net for pin in bare.touched.joints.values()]
    nets += [near.net for _, near, _ in close_pads(circuit, bare.touched)]
    for reading in state.readings:
        nets += [spot.net for words in (reading.at, reading.to) if (spot := bare.spot(words))]
    for net in tuple(nets):
        if net is not None:
            nets += [pull.to for pull in circuit.pulls.get(net, ())]
    return Predictor(circuit, state, [net for net in dict.fromkeys(nets) if net is not None])


def plan_with(model: Predictor, state: JobState) -> tuple[Probe, ...]:
    """Return the list for a model that is at hand already."""
    return _Plan(model, state).probes()


def through_with(model: Predictor, state: JobState) -> tuple[Probe, ...]:
    """Return the measurements through each part from sound points, for a model at hand."""
    return _Plan(model, state).through()


class _Plan:
    def __init__(self, model: Predictor, state: JobState) -> None:
        self.model = model
        self.circuit = model.circuit
        self.state = state
        self.joints = model.touched.joints
        nets = [pin.net for pin in self.joints.values() if pin.net is not None]
        ends = [(wire.start, wire.end) for wire in state.wires]
        for pads in (*state.bridges, *state.cuts, *ends):
            nets += [spot.net for words in pads if (spot := model.spot(words))]
        self.nets = tuple(dict.fromkeys(nets))
        self.groups = net_groups(self.circuit, model.touched.absent, model.touched.wires)
        shorts = (fault for fault in list_faults(self.circuit, state) if fault.nets)
        self._shorts: tuple[tuple[Fault, ...], ...] = ((), *((fault,) for fault in shorts))
        self._points: dict[str, tuple[Point, ...]] = {}

    def probes(self) -> tuple[Probe, ...]:
        seen: set[tuple[frozenset[str], Quantity]] = set()
        found = []
        for probe in (*self._rails(), *self._bridges(), *self._joint_lines(), *self._wires(),
                      *self._values(), *self._powered()):  # fmt: skip
            key = frozenset({probe.at, probe.to}), probe.quantity
            if key not in seen and probe.at != probe.to:
                seen.add(key)
                found.append(probe)
        return tuple(found)

    def through(self) -> tuple[Probe, ...]:
        """Return measurements through a part from sound points: its value and both its joints.

        One reading tells whether anything is wrong there, but not what; so they are no part of
        the list that proves, but of what may be measured next.
        """
        found = []
        for probe in self._values():
            ends = [self.model.spot(words) for words in (probe.at, probe.to)]
            pins = [self.joints[spot.pad] for spot in ends if spot and spot.pad in self.joints]
            points = [spot for pin in pins if (spot := self._reachable(pin)) is not None]
            if len(points) == 2 and all(spot.pad not in self.joints for spot in points):
                why = f"{probe.why.split(':')[0]} with both its joints in one reading"
                a, b = points
                found.append(self._probe(a, b, probe.quantity, ProbeStep.VALUES, why))
        return tuple(found)

    # -- the five steps ----------------------------------------------------------------------

    def _rails(self) -> Iterable[Probe]:
        ground = self.model.bench.ground
        if ground is None:
            return
        for net in self.nets:
            rail = self.circuit.rails.get(net)
            if rail is None or rail.kind is NetKind.GROUND or self._one(net, ground):
                continue
            ends = self._two_points(net, ground)
            if ends is not None:
                why = f"{net} must not be shorted before power comes on"
                yield self._probe(*ends, Quantity.OHMS, ProbeStep.RAILS, why)

    def _bridges(self) -> Iterable[Probe]:
        ground = self.model.bench.ground
        seen = {self._pair(net, ground) for net in self.nets
                if ground is not None and self._is_rail(net)}  # fmt: skip
        seen |= {self._pair(*nets) for nets in self._across()}
        marked = [(a, b, 0.0) for a, b in self.model.bridges]
        for first, second, gap in (*marked, *close_pads(self.circuit, self.model.touched)):
            pair = self._pair(first.net or "", second.net or "")
            if pair in seen or len(pair) == 1:
                continue
            seen.add(pair)
            a, b = self._of_pin(first), self._of_pin(second)
            near = f"pads {gap:.2f} mm apart" if gap else "bridged by solder, as marked"
            why = f"{near}: no bridge between {first.net} and {second.net}"
            quantity = Quantity.OHMS if self._beeps_for_another(a, b) else Quantity.BEEP
            yield self._probe(a, b, quantity, ProbeStep.BRIDGES, why)

    def _beeps_for_another(self, a: Spot, b: Spot) -> bool:
        """Return whether a few ohms may show there in health, or for a short elsewhere."""
        ohms = [self.model.outlooks([(a, b)], faults)[0].ohms for faults in self._shorts]
        return any(NO_OHMS < found <= 2 * BEEPER_RANGE_OHMS[1] for found in ohms)

    def _joint_lines(self) -> Iterable[Probe]:
        for name, pin in self.joints.items():
            net = pin.net or ""
            other = self._reachable(pin)
            if other is not None:
                why = f"the joint of {name} to the rest of {net}"
                yield self._probe(self._of_pin(pin), other, Quantity.BEEP, ProbeStep.JOINTS, why)

    def _wires(self) -> Iterable[Probe]:
        """Yield a line for each wire between two nets; on one net, the torn pad's line proves it.

        A short that nobody meant is taken off, not proved.
        """
        for wired in self.model.touched.wires:
            if wired.across is None or wired.is_short:
                continue
            a, b = (
                self.model.spot(end if find_pad(self.circuit, end) is not None else net)
                for end, net in zip((wired.wire.start, wired.wire.end), wired.across, strict=True)
            )
            if a is not None and b is not None:
                why = f"the wire {wired.wire.start} to {wired.wire.end}: {wired.words}"
                yield self._probe(a, b, Quantity.BEEP, ProbeStep.JOINTS, why)

    def _values(self) -> Iterable[Probe]:
        for key in self.model.touched.parts:
            part, kind = self.circuit.board.part_by_key[key], self.circuit.kinds[key]
            nets = two_nets(part)
            if nets is None or not kind.fitted or kind.kind in _NO_VALUE:
                continue
            a, b = (self._of_pin(next(p for p in part.pins if p.net == net)) for net in nets)
            why = f"{part.refdes} itself: {part.value or kind.kind}"
            if kind.kind is Kind.CAPACITOR:
                yield from self._capacitor(part, kind.farads, a, b, why)
            elif kind.kind in _DIODE_LIKE:
                yield self._probe(a, b, Quantity.DIODE, ProbeStep.VALUES, why)
            else:
                yield self._probe(a, b, Quantity.OHMS, ProbeStep.VALUES, why)

    def _capacitor(
        self, part: Part, farads: float | None, a: Spot, b: Spot, why: str
    ) -> Iterable[Probe]:
        total = self.model.outlooks([(a, b)])[0].farads
        if farads and total and farads >= READABLE_SHARE * total:
            yield self._probe(a, b, Quantity.FARADS, ProbeStep.VALUES, why)
        elif not (self._is_rail(a.net) and self._is_rail(b.net)):
            why = f"no short across {part.refdes}; its value hides behind others beside it"
            yield self._probe(a, b, Quantity.OHMS, ProbeStep.VALUES, why)

    def _powered(self) -> Iterable[Probe]:
        ground = self.model.bench.ground
        if ground is None:
            return
        for net in self.nets:
            rail = self.circuit.rails.get(net)
            if rail is None or rail.kind is not NetKind.RAIL or self._one(net, ground):
                continue
            ends = self._two_points(net, ground)
            if ends is None or self.model.expected_volts(ends[0]) is None:
                continue
            basis = rail.volts.basis if rail.volts is not None else ""
            why = f"{net} comes up" + (f" ({basis})" if basis else "")
            yield self._probe(*ends, Quantity.VOLTS, ProbeStep.POWER, why)

    # -- places ------------------------------------------------------------------------------

    def _of_pin(self, pin: Pin) -> Spot:
        spot = self.model.spot(pad_name(self.circuit, pin))
        if spot is None:  # the pin has a net, so the model knows it
            raise KeyError(str(pin))
        return spot

    def _reachable(self, pin: Pin) -> Spot | None:
        """Return the best place on the pin's net that is not itself in doubt, else another one."""
        name = pad_name(self.circuit, pin)
        others = [p for p in self._net_points(pin.net or "") if p.name != name]
        sound = [p for p in others if p.name not in self.joints]
        if pin.pads and (sound or others):
            at = pin.pads[0]
            best = min(sound or others, key=lambda p: (_cost(p, at.x, at.y, at.side), p.name))
            return self.model.spot(best.name)
        return self._without_places(pin.net or "", name)

    def _without_places(self, net: str, name: str) -> Spot | None:
        """Return a pin of the net where no pad has a place: a test point, else an untouched one."""
        pins = [p for p in self.circuit.board.net_by_name[net].pins
                if pad_name(self.circuit, p) != name]  # fmt: skip
        if not pins:
            return None
        best = min(
            pins,
            key=lambda p: (
                pad_name(self.circuit, p) in self.joints,
                self.circuit.kinds[p.part].kind is not Kind.TEST_POINT,
                len(self.circuit.board.part_by_key[p.part].pins),
            ),
        )
        return self.model.spot(pad_name(self.circuit, best))

    def _two_points(self, net: str, ground: str) -> tuple[Spot, Spot] | None:
        """Return a place on the net and the nearest good one on ground."""
        touched = [pin for pin in self.joints.values() if pin.net == net and pin.pads]
        starts = [p for p in self._net_points(net) if p.name not in self.joints]
        starts = starts or list(self._net_points(net))
        if not starts:
            a = self._without_places(net, "")
            b = self._without_places(ground, "")
            return (a, b) if a is not None and b is not None else None
        x, y, side = (
            (touched[0].pads[0].x, touched[0].pads[0].y, touched[0].pads[0].side)
            if touched
            else (starts[0].x, starts[0].y, starts[0].side)
        )
        start = min(starts, key=lambda p: (_cost(p, x, y, side), p.name))
        ends = [p for p in self._net_points(ground) if p.name not in self.joints]
        if not ends:
            return None
        end = min(ends, key=lambda p: (_cost(p, start.x, start.y, start.side), p.name))
        a, b = self.model.spot(start.name), self.model.spot(end.name)
        return (a, b) if a is not None and b is not None else None

    def _net_points(self, net: str) -> tuple[Point, ...]:
        if net not in self._points:
            found = points_of(self.circuit, net)
            self._points[net] = tuple(point for point in found if point.what != "via")
        return self._points[net]

    # -- nets --------------------------------------------------------------------------------

    def _is_rail(self, net: str) -> bool:
        return self.model.is_supply(net)

    def _one(self, net: str, other: str) -> bool:
        return self.groups.get(net, net) == self.groups.get(other, other)

    def _pair(self, net: str, other: str | None) -> frozenset[str]:
        return frozenset({self.groups.get(net, net), self.groups.get(other or "", other or "")})

    def _across(self) -> Iterable[tuple[str, str]]:
        """Yield the net pairs that a value line covers: a short shows there."""
        for key in self.model.touched.parts:
            part, kind = self.circuit.board.part_by_key[key], self.circuit.kinds[key]
            nets = two_nets(part)
            if nets is not None and kind.fitted and kind.kind not in _NO_VALUE:
                yield nets

    # -- one line ----------------------------------------------------------------------------

    def _probe(self, a: Spot, b: Spot, quantity: Quantity, step: ProbeStep, why: str) -> Probe:
        outlook = self.model.outlooks([(a, b)])[0]
        volts = self.model.expected_volts(a) if quantity is Quantity.VOLTS else None
        words, nominal, least, most = expect_words(outlook, quantity, volts)
        return Probe(a.name, b.name, quantity, step, words, why, nominal, least, most)


_NO_VALUE: Final = frozenset(
    {Kind.CONNECTOR, Kind.TEST_POINT, Kind.SWITCH, Kind.CRYSTAL, Kind.IC, Kind.BATTERY,
     Kind.MECHANICAL, Kind.MODULE, Kind.OSCILLATOR, Kind.MICROPHONE, Kind.UNKNOWN}
)  # fmt: skip
_DIODE_LIKE: Final = frozenset({Kind.DIODE, Kind.ESD, Kind.ZENER, Kind.LED, Kind.VARISTOR})


def expect_words(
    outlook: Outlook, quantity: Quantity, volts: tuple[float, float, float] | None = None
) -> tuple[str, float | None, float | None, float | None]:
    """Return what a meter must show, in words, and as nominal, least and most (see `Probe`)."""
    o = outlook
    if quantity is Quantity.BEEP:
        if o.at_most <= BEEPER_RANGE_OHMS[0]:
            return "beeps", 1.0, 1.0, 1.0
        return "no beep", 0.0, 0.0, 0.0
    if quantity is Quantity.FARADS:
        low = o.farads * (1 - (CLASS_2_DROP if o.class_2 else 0.2))
        words = f"{engineering(o.farads, 'F')}, down to {engineering(low, 'F', 2)} in health"
        return words, o.farads, low, o.farads * 1.2
    if quantity is Quantity.DIODE:
        low, high = DIODE_PIN_VOLTS
        words = f"{low:g} to {high:g} V one way, more or overload the other; not near 0"
        return words, None, low, None
    if quantity is Quantity.VOLTS:
        if volts is None:
            return "not known", None, None, None
        nominal, low, high = volts
        return f"{nominal:.3g} V ({low:.3g} to {high:.3g} V)", nominal, low, high
    return _ohms_words(o)


def _ohms_words(o: Outlook) -> tuple[str, float | None, float | None, float | None]:
    if math.isinf(o.ohms):
        if o.exact:
            return "overload", math.inf, o.at_least, math.inf
        return "no few ohms; rises while capacitors charge", math.inf, o.at_least, math.inf
    if o.at_most <= 1.0:
        return "under 1 Ω (leads in it)", o.ohms, 0.0, o.at_most
    nominal = engineering(o.ohms, "Ω")
    if o.exact:
        return nominal, o.ohms, o.at_least, o.at_most
    return f"{nominal} or somewhat less", o.ohms, o.at_least, o.at_most


def _cost(point: Point, x: float, y: float, side: Side) -> float:
    """Return how awkward a probe on the point is from a place, mm."""
    cost = distance(point.x, point.y, x, y)
    if not point.side.faces(side):
        cost += OTHER_SIDE_MM
    if point.what == "test point":
        cost += TEST_POINT_MM
    elif point.what == "small pad":
        cost += SMALL_PAD_MM
    return cost
