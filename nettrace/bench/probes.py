"""Which measurements prove a repair: the shortest list, in an order that is safe.

Rails to ground first, power off; then neighbours for bridges, each touched joint to the rest of
its net, the value across each new part; with power on last. Every line has its expected figure
and its reason.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from nettrace.bench.faults import close_pads, list_faults
from nettrace.bench.job import JobState, MeterMode
from nettrace.bench.prediction import Outlook, Predictor, Spot, VoltsRange
from nettrace.bench.wire import Point, find_pad, net_groups, pad_name, points_of
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind, Rail
from nettrace.circuit.kinds import Kind
from nettrace.circuit.links import two_nets
from nettrace.electrical.meter import BEEPER_RANGE_OHMS, DIODE_PIN_VOLTS
from nettrace.electrical.power_off import CLASS_2_DROP
from nettrace.knowledge import table
from nettrace.model.board import Pad, Pin
from nettrace.values.quantity import engineering

#: A resistance above this is not 0 to a meter, Ω (leads and a bridge in it).
NO_OHMS: Final = 2.0
#: A capacitor that is less than this share of what lies beside it cannot be read in circuit.
READABLE_SHARE: Final = 0.35

_NO_VALUE: Final = frozenset(
    {Kind.CONNECTOR, Kind.TEST_POINT, Kind.SWITCH, Kind.CRYSTAL, Kind.IC, Kind.BATTERY,
     Kind.MECHANICAL, Kind.MODULE, Kind.OSCILLATOR, Kind.MICROPHONE, Kind.UNKNOWN}
)  # fmt: skip
_DIODE_LIKE: Final = frozenset({Kind.DIODE, Kind.ESD, Kind.ZENER, Kind.LED, Kind.VARISTOR})


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
    quantity: MeterMode
    step: ProbeStep
    expected: str
    why: str
    nominal: float | None = None
    at_least: float | None = None
    at_most: float | None = None


def plan_probes(circuit: Circuit, state: JobState) -> tuple[Probe, ...]:
    """Return the shortest list of measurements that would prove the repair, in order of work."""
    return ProbePlan(Predictor(circuit, state), state).probes()


class ProbePlan:
    """The measurements of a job that a predictor is made for.

    Args:
        predictor: what the board would show.
        state: the job.
    """

    def __init__(self, predictor: Predictor, state: JobState) -> None:
        self._predictor = predictor
        self._circuit = circuit = predictor.circuit
        touched = predictor.touched
        self._joints = touched.joints
        ends = [(wire.start, wire.end) for wire in state.wires]
        words = (word for pads in (*state.bridges, *state.cuts, *ends) for word in pads)
        nets = [pin.net for pin in self._joints.values() if pin.net is not None]
        nets += [spot.net for word in words if (spot := predictor.spot(word))]
        #: Touched nets, in order.
        self._nets = tuple(dict.fromkeys(nets))
        self._groups = net_groups(circuit, touched.absent, touched.wires)
        self._shorts = [fault for fault in list_faults(circuit, state) if fault.nets]
        self._points: dict[str, tuple[Point, ...]] = {}
        #: Across each touched part: the places, the quantity, what it tells, what belongs there.
        self._across = list(self._value_lines())

    def probes(self) -> tuple[Probe, ...]:
        """Return the list that proves, each two places once for a quantity."""
        rails = list(self._rails_to_ground())
        lines = [
            *(self._probe(a, b, MeterMode.OHMS, ProbeStep.RAILS,
                          f"{a.net} must not be shorted before power comes on")
              for _, a, b in rails),
            *self._bridges(),
            *self._joint_lines(),
            *(self._probe(a, b, quantity, ProbeStep.VALUES,
                          f"{what}: {belongs}" if belongs else what)
              for a, b, quantity, what, belongs in self._across),
        ]  # fmt: skip
        for rail, a, b in rails:
            if rail.kind is NetKind.RAIL and self._predictor.expected_volts(a) is not None:
                basis = rail.volts.basis if rail.volts is not None else ""
                why = f"{a.net} comes up" + (f" ({basis})" if basis else "")
                lines.append(self._probe(a, b, MeterMode.VOLTS, ProbeStep.POWER, why))
        once: dict[tuple[frozenset[str], MeterMode], Probe] = {}
        for line in lines:
            if line.at != line.to:
                once.setdefault((frozenset({line.at, line.to}), line.quantity), line)
        return tuple(once.values())

    def through(self) -> tuple[Probe, ...]:
        """Return measurements through a part from sound points: its value and both its joints.

        One reading tells whether anything is wrong there, but not what; so they are no part of
        the list that proves, but of what may be measured next.
        """
        found = []
        for a, b, quantity, what, _ in self._across:
            pins = [self._joints[spot.pad] for spot in (a, b) if spot.pad in self._joints]
            points = [spot for pin in pins if (spot := self._reachable(pin)) is not None]
            if len(points) == 2 and all(spot.pad not in self._joints for spot in points):
                why = f"{what} with both its joints in one reading"
                found.append(self._probe(points[0], points[1], quantity, ProbeStep.VALUES, why))
        return tuple(found)

    # -- the five steps ----------------------------------------------------------------------

    def _rails_to_ground(self) -> Iterator[tuple[Rail, Spot, Spot]]:
        """Yield the touched rails, each with a good place on it and the nearest one on ground."""
        ground = self._predictor.board.ground
        for net in self._nets if ground is not None else ():
            rail = self._circuit.rails.get(net)
            if rail is None or ground is None or rail.kind is NetKind.GROUND:
                continue
            ends = self._two_points(net, ground) if len(self._pair(net, ground)) == 2 else None
            if ends is not None:
                yield rail, *ends

    def _bridges(self) -> Iterator[Probe]:
        ground = self._predictor.board.ground
        is_supply = self._predictor.is_supply
        covered = {self._pair(net, ground) for net in self._nets if ground and is_supply(net)}
        # a short between the ends of a part shows where its value is measured
        across = (self._valued_nets(key) for key in self._predictor.touched.parts)
        covered |= {self._pair(*nets) for nets in across if nets is not None}
        marked = [(a, b, 0.0) for a, b in self._predictor.bridges]
        close = close_pads(self._circuit, self._predictor.touched)
        for first, second, gap in (*marked, *close):
            pair = self._pair(first.net or "", second.net or "")
            if pair in covered or len(pair) == 1:
                continue
            covered.add(pair)
            a, b = self._of_pin(first), self._of_pin(second)
            near = f"pads {gap:.2f} mm apart" if gap else "bridged by solder, as marked"
            why = f"{near}: no bridge between {first.net} and {second.net}"
            # a few ohms may show there in health, or for a short elsewhere
            each = [(), *((fault,) for fault in self._shorts)]
            ohms = [self._predictor.outlooks([(a, b)], faults)[0].ohms for faults in each]
            few = any(NO_OHMS < found <= 2 * BEEPER_RANGE_OHMS[1] for found in ohms)
            quantity = MeterMode.OHMS if few else MeterMode.BEEP
            yield self._probe(a, b, quantity, ProbeStep.BRIDGES, why)

    def _joint_lines(self) -> Iterator[Probe]:
        """Yield a line for each joint, then for each wire between two nets.

        Of a wire on one net the torn pad's line proves it; a short that nobody meant is taken off.
        """
        for name, pin in self._joints.items():
            other = self._reachable(pin)
            if other is not None:
                why = f"the joint of {name} to the rest of {pin.net or ''}"
                yield self._probe(self._of_pin(pin), other, MeterMode.BEEP, ProbeStep.JOINTS, why)
        for wired in self._predictor.touched.wires:
            if wired.across is None or wired.is_short:
                continue
            words = [
                end if find_pad(self._circuit, end) is not None else net
                for end, net in zip(wired.ends, wired.across, strict=True)
            ]
            pair = self._predictor.pair(*words)
            if pair is not None:
                why = f"the wire {' to '.join(wired.ends)}: {wired.words}"
                yield self._probe(*pair, MeterMode.BEEP, ProbeStep.JOINTS, why)

    def _value_lines(self) -> Iterator[tuple[Spot, Spot, MeterMode, str, str]]:
        is_supply = self._predictor.is_supply
        for key in self._predictor.touched.parts:
            part, kind = self._circuit.board.part_by_key[key], self._circuit.kinds[key]
            nets = self._valued_nets(key)
            if nets is None:
                continue
            a, b = (self._of_pin(next(p for p in part.pins if p.net == net)) for net in nets)
            what, belongs = f"{part.refdes} itself", part.value or str(kind.kind)
            quantity = MeterMode.DIODE if kind.kind in _DIODE_LIKE else MeterMode.OHMS
            if kind.kind is Kind.CAPACITOR:
                total = self._predictor.outlooks([(a, b)])[0].farads
                if kind.farads and total and kind.farads >= READABLE_SHARE * total:
                    quantity = MeterMode.FARADS
                elif is_supply(a.net) and is_supply(b.net):
                    continue
                else:
                    what = f"no short across {part.refdes}; its value hides behind others beside it"
                    belongs = ""
            yield a, b, quantity, what, belongs

    def _valued_nets(self, key: str) -> tuple[str, str] | None:
        """Return the two nets of a part whose value a meter tells, None for any other."""
        kind = self._circuit.kinds[key]
        if not kind.fitted or kind.kind in _NO_VALUE:
            return None
        return two_nets(self._circuit.board.part_by_key[key])

    # -- places ------------------------------------------------------------------------------

    def _of_pin(self, pin: Pin) -> Spot:
        spot = self._predictor.spot(pad_name(self._circuit, pin))
        if spot is None:  # the pin has a net, so the predictor knows it
            raise KeyError(str(pin))
        return spot

    def _reachable(self, pin: Pin) -> Spot | None:
        """Return the best place on the pin's net that is not itself in doubt, else another one."""
        name, net = pad_name(self._circuit, pin), pin.net or ""
        others = [point for point in self._net_points(net) if point.name != name]
        sound = [point for point in others if point.name not in self._joints] or others
        if pin.pads and sound:
            return self._predictor.spot(_nearest(sound, pin.pads[0]).name)
        return self._without_places(net, name)

    def _without_places(self, net: str, name: str = "") -> Spot | None:
        """Return a pin of the net where no pad has a place: a test point, else an untouched one."""
        parts, kinds = self._circuit.board.part_by_key, self._circuit.kinds
        pins = {pad_name(self._circuit, p): p for p in self._circuit.board.net_by_name[net].pins}

        def order(other: str) -> tuple[bool, bool, int]:
            part = pins[other].part
            no_point = kinds[part].kind is not Kind.TEST_POINT
            return other in self._joints, no_point, len(parts[part].pins)

        best = min((other for other in pins if other != name), key=order, default=None)
        return None if best is None else self._predictor.spot(best)

    def _two_points(self, net: str, ground: str) -> tuple[Spot, Spot] | None:
        """Return a place on the net and the nearest good one on ground."""
        points = self._net_points(net)
        starts = [point for point in points if point.name not in self._joints] or points
        if not starts:
            a, b = self._without_places(net), self._without_places(ground)
            return (a, b) if a is not None and b is not None else None
        pads = [pin.pads[0] for pin in self._joints.values() if pin.net == net and pin.pads]
        start = _nearest(starts, pads[0] if pads else starts[0])
        ends = [point for point in self._net_points(ground) if point.name not in self._joints]
        return self._predictor.pair(start.name, _nearest(ends, start).name) if ends else None

    def _net_points(self, net: str) -> tuple[Point, ...]:
        if net not in self._points:
            found = points_of(self._circuit, net)
            self._points[net] = tuple(point for point in found if point.what != "via")
        return self._points[net]

    def _pair(self, net: str, other: str | None) -> frozenset[str]:
        """Return two nets by what stands for all that are one with them: one, if they are one."""
        return frozenset({self._groups.get(net, net), self._groups.get(other or "", other or "")})

    def _probe(self, a: Spot, b: Spot, quantity: MeterMode, step: ProbeStep, why: str) -> Probe:
        outlook = self._predictor.outlooks([(a, b)])[0]
        volts = self._predictor.expected_volts(a) if quantity is MeterMode.VOLTS else None
        words, nominal, least, most = expect_words(outlook, quantity, volts)
        return Probe(a.name, b.name, quantity, step, words, why, nominal, least, most)


def _nearest(points: Sequence[Point], place: Point | Pad) -> Point:
    costs = table("rework")["probes"]["costs_mm"]
    return min(points, key=lambda point: (point.cost_from(place, costs), point.name))


def expect_words(
    outlook: Outlook, quantity: MeterMode, volts: VoltsRange | None = None
) -> tuple[str, float | None, float | None, float | None]:
    """Return what a meter must show, in words, and as nominal, least and most (see `Probe`)."""
    o = outlook
    match quantity:
        case MeterMode.BEEP if o.at_most <= BEEPER_RANGE_OHMS[0]:
            return "beeps", 1.0, 1.0, 1.0
        case MeterMode.BEEP:
            return "no beep", 0.0, 0.0, 0.0
        case MeterMode.FARADS:
            low = o.farads * (1 - (CLASS_2_DROP if o.class_2 else 0.2))
            words = f"{engineering(o.farads, 'F')}, down to {engineering(low, 'F', 2)} in health"
            return words, o.farads, low, o.farads * 1.2
        case MeterMode.DIODE:
            low, high = DIODE_PIN_VOLTS
            words = f"{low:g} to {high:g} V one way, more or overload the other; not near 0"
            return words, None, low, None
        case MeterMode.VOLTS:
            if volts is None:
                return "not known", None, None, None
            nominal, low, high = volts
            return f"{nominal:.3g} V ({low:.3g} to {high:.3g} V)", nominal, low, high
        case MeterMode.OHMS | MeterMode.AMPERES:
            if math.isinf(o.ohms):
                words = "overload" if o.exact else "no few ohms; rises while capacitors charge"
                return words, math.inf, o.at_least, math.inf
            if o.at_most <= 1.0:
                return "under 1 Ω (leads in it)", o.ohms, 0.0, o.at_most
            words = engineering(o.ohms, "Ω") + ("" if o.exact else " or somewhat less")
            return words, o.ohms, o.at_least, o.at_most
