"""A bench that can be broken: a board with known faults, hidden paths in its chips, and a meter.

It shares the list of known resistors and capacitors with the package and nothing else: it solves
the whole network for each reading, draws its own faults, and knows nothing of priors or chances.
How often each kind of fault comes is common practice, no source.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from nettrace.bench.diagnosis import Hypothesis, Suspicion
from nettrace.bench.faults import Fault, FaultKind
from nettrace.bench.job import Damage, Fit, JobState, Mark, MeterMode, Reading
from nettrace.bench.probes import Probe, ProbeStep
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind
from nettrace.circuit.kinds import Kind
from nettrace.electrical.network import Network, Resistor
from nettrace.electrical.power_off import elements_of
from nettrace.model.board import Pad, Pin

#: How often each kind of fault is drawn.
KINDS = {"open": 50, "bridge": 20, "wrong": 12, "missing": 10, "shorted": 8}
#: Pads are bridged in the simulator up to this gap, mm.
GAP_MM = 0.45
#: After the last refit, entries have numbers from here on.
FIRST_READING = 1000


@dataclass(frozen=True)
class Truth:
    """A fault that is really there; `place` is a pad, a refdes, or two pads of a bridge."""

    kind: str
    place: str
    value: float = 0.0
    nets: tuple[str, ...] = ()

    def is_told_by(self, fault: Fault) -> bool:
        """Whether the package's fault names this one: the place, and for values the value."""
        if self.kind == "open":
            return fault.kind is FaultKind.OPEN_JOINT and fault.at == self.place
        if self.kind == "missing":
            return fault.kind is FaultKind.MISSING and fault.at == self.place
        if self.kind == "wrong":
            near = fault.value is not None and abs(fault.value - self.value) < 0.15 * self.value
            return near and fault.at == self.place
        places = {frozenset(place) for place in fault.places}
        return bool(fault.nets) and frozenset(self.place.split("|")) in places


def refitted(refs: Sequence[str]) -> JobState:
    """A job whose positions were all missing and have all been refitted."""
    damaged = {ref: Mark(number=i, time="", at=ref, damage=Damage.MISSING)
               for i, ref in enumerate(refs, 1)}  # fmt: skip
    fits = {ref: Fit(number=len(refs) + i, time="", at=ref) for i, ref in enumerate(refs, 1)}
    return JobState(damaged=damaged, refitted=fits)


class Positions:
    """The refitted positions of a board, worked out once: pins, elements, faults to draw from."""

    def __init__(self, circuit: Circuit, refs: Sequence[str]) -> None:
        self.circuit = circuit
        self.elements = elements_of(circuit)
        self.keys = [key for key, p in circuit.board.part_by_key.items() if p.refdes in set(refs)]
        self.pins = {f"{circuit.board.part_by_key[pin.part].refdes}.{pin.number}": pin
                     for part in circuit.board.parts for pin in part.pins}  # fmt: skip
        self.touched = {name: pin for name, pin in self.pins.items()
                        if pin.part in set(self.keys) and pin.net is not None}  # fmt: skip
        self._whole = self.elements.network()
        self.faults = {kind: list(self._all(kind)) for kind in KINDS}

    def _all(self, kind: str) -> Iterable[Truth]:
        if kind == "open":
            for name in self.touched:
                yield Truth("open", name)
        elif kind == "bridge":
            yield from self._bridges()
        for key in self.keys:
            part, what = self.circuit.board.part_by_key[key], self.circuit.kinds[key]
            if len(part.nets) != 2 or len(part.pins) != 2:
                continue
            if kind == "missing":
                yield Truth("missing", part.refdes)
            elif kind == "shorted" and what.kind in {Kind.CAPACITOR, Kind.ESD, Kind.DIODE}:
                yield Truth("bridge", part.refdes, nets=part.nets)
            elif kind == "wrong":
                value = what.ohms if what.kind is Kind.RESISTOR else what.farads
                others = {
                    v
                    for k in self.keys
                    if self.circuit.kinds[k].kind is what.kind
                    and (v := self.circuit.kinds[k].ohms or self.circuit.kinds[k].farads)
                }
                if value:
                    others |= {value * 10, value / 10}
                for other in sorted(others):
                    if value is not None and abs(other - value) > 0.15 * max(value, other):
                        yield Truth("wrong", part.refdes, other)

    def _bridges(self) -> Iterable[Truth]:
        pads = [pad for pad in self.circuit.board.pads() if pad.net is not None]
        for name, pin in self.touched.items():
            for mine in pin.pads:
                for pad in pads:
                    other = f"{self.circuit.board.part_by_key[pad.part].refdes}.{pad.number}"
                    if pad.net == pin.net or not pad.side.faces(mine.side) or not pad.number:
                        continue
                    if abs(pad.x - mine.x) + abs(pad.y - mine.y) > 8 or gap(mine, pad) > GAP_MM:
                        continue
                    nets = (pin.net or "", pad.net or "")
                    if pad.part == pin.part:
                        part = self.circuit.board.part_by_key[pad.part]
                        if len(part.nets) == 2 and self.circuit.kinds[pad.part].ohms != 0:
                            yield Truth("bridge", part.refdes, nets=nets)
                            continue
                    if self._whole.resistance(*nets) > 0.05:
                        yield Truth("bridge", f"{name}|{other}", nets=nets)


class Wiring:
    """Resistors between nodes, solved whole: no node is folded away. Links are a milliohm."""

    def __init__(self, resistors: Sequence[Resistor]) -> None:
        self.resistors = tuple(resistors)
        self.ways: dict[str, list[tuple[str, float]]] = {}
        for r in resistors:
            if r.a != r.b:
                siemens = 1 / max(r.ohms, 1e-3)
                self.ways.setdefault(r.a, []).append((r.b, siemens))
                self.ways.setdefault(r.b, []).append((r.a, siemens))
        self.solved: dict[str, tuple[dict[str, int], Any]] = {}

    def resistance(self, a: str, b: str) -> float:
        """Effective resistance, Ω."""
        if a == b:
            return 0.0
        if a not in self.ways or b not in self.ways:
            return math.inf
        index, inverse = self._piece(a)
        if b not in index:
            return math.inf
        i, j = index[a], index[b]
        return float(max(0.0, inverse[i, i] + inverse[j, j] - 2 * inverse[i, j]))

    def _piece(self, start: str) -> tuple[dict[str, int], Any]:
        if start not in self.solved:
            index, todo = {start: 0}, [start]
            while todo:
                for other, _ in self.ways[todo.pop()]:
                    if other not in index:
                        index[other] = len(index)
                        todo.append(other)
            inverse = self._inverse(index)
            self.solved.update(dict.fromkeys(index, (index, inverse)))
        return self.solved[start]

    def _inverse(self, index: Mapping[str, int]) -> Any:
        matrix = np.zeros((len(index), len(index)))
        for node, at in index.items():
            for other, siemens in self.ways[node]:
                matrix[at, at] += siemens
                matrix[at, index[other]] -= siemens
        work = matrix[1:, 1:]  # the first node is held at 0 V
        for k in range(len(work)):
            pivot, column = work[k, k], work[:, k].copy()
            row = work[k] / pivot
            work -= column[:, None] * row
            work[k], work[:, k], work[k, k] = row, -column / pivot, 1 / pivot
        matrix[0, :] = matrix[:, 0] = 0.0
        return matrix


class BrokenBoard:
    """A board with some refitted positions, faults, and a meter; one seed, one board."""

    def __init__(self, positions: Positions, seed: int, faults: int = 1) -> None:
        self.random = random.Random(seed)
        self.positions = positions
        self.circuit = positions.circuit
        self.keys, self.pins = positions.keys, positions.pins
        self.truths = self._draw(faults)
        self.gone = {t.place for t in self.truths if t.kind == "missing"}
        self.opened = {t.place for t in self.truths if t.kind == "open"}
        self.wrong = {t.place: t.value for t in self.truths if t.kind == "wrong"}
        self.beeper = 10 ** self.random.uniform(math.log10(20), math.log10(250))
        self.network = self._build()
        low = [Resistor(r.name, r.a, r.b, 0.0) for r in self.network.resistors if r.ohms < 1.0]
        self.soft = Network(tuple(low))
        self.capacitors = self._capacitors()

    def _draw(self, count: int) -> list[Truth]:
        found: list[Truth] = []
        used: set[str] = set()
        while len(found) < count:
            kind = self.random.choices(list(KINDS), list(KINDS.values()))[0]
            choices = self.positions.faults[kind]
            if not choices:
                continue
            truth = self.random.choice(choices)
            parts = {place.split(".")[0] for place in truth.place.split("|")}
            if used.isdisjoint(parts):
                used |= parts
                found.append(truth)
        return found

    # -- the board ---------------------------------------------------------------------------

    def _node(self, pin: Pin) -> str:
        name = f"{self.circuit.board.part_by_key[pin.part].refdes}.{pin.number}"
        return f"end {name}" if name in self.opened else pin.net or ""

    def place(self, words: str) -> str:
        """The node that a probe at these words touches: the end of the part as soldered."""
        return self._node(self.pins[words]) if words in self.pins else words

    def _end(self, part: str, net: str) -> str:
        if part not in self.keys:
            return net
        pins = self.circuit.board.part_by_key[part].pins
        return self._node(next(pin for pin in pins if pin.net == net))

    def _build(self) -> Wiring:
        elements = self.positions.elements
        rnd = self.random
        found: list[Resistor] = []
        for item in elements.resistances:
            ref = self.circuit.board.part_by_key[item.part].refdes
            if item.part in self.keys and ref in self.gone:
                continue
            ohms = rnd.uniform(item.at_least, item.at_most)
            if item.part in self.keys and ref in self.wrong:
                ohms = self.wrong[ref] * (1 + rnd.uniform(-0.01, 0.01))
            found.append(Resistor(ref, self._end(item.part, item.a), self._end(item.part, item.b),
                                  ohms))  # fmt: skip
        for part, nets in elements.unknown:
            found += self._hidden(part, nets)
        for truth in self.truths:
            if truth.kind == "bridge":
                if "|" in truth.place:
                    a, b = (self.pins[pad].net or "" for pad in truth.place.split("|"))
                else:
                    a, b = truth.nets
                found.append(Resistor("solder", a, b, rnd.uniform(0.0, 0.8)))
        return Wiring(found)

    def _hidden(self, part: str, nets: Sequence[str]) -> list[Resistor]:
        """Paths through a chip that nobody knows, as a meter of half a volt sees them."""
        rnd = self.random
        ref = self.circuit.board.part_by_key[part].refdes
        if part in self.keys and ref in self.gone:
            return []
        ends = [self._end(part, net) for net in nets]
        if len(nets) == 2:
            if rnd.random() < 0.3:
                return []
            return [Resistor(ref, ends[0], ends[1], 10 ** rnd.uniform(4.3, 6.8))]
        found = []
        for net, end in zip(nets, ends, strict=True):
            rail = self.circuit.rails.get(net)
            if rail is not None and rail.kind is NetKind.GROUND:
                ohms = 10 ** rnd.uniform(0.3, 1.5)
            elif rail is not None:
                ohms = 10 ** rnd.uniform(2.6, 5.0)
            elif rnd.random() < 0.35:
                continue
            else:
                ohms = 10 ** (rnd.uniform(2.7, 4.5) if rnd.random() < 0.05 else
                              rnd.uniform(4.5, 6.8))  # fmt: skip
            found.append(Resistor(ref, end, f"inside {part}", ohms))
        return found

    def _capacitors(self) -> list[tuple[str, str, float]]:
        found = []
        for item in self.positions.elements.capacitors:
            ref = self.circuit.board.part_by_key[item.part].refdes
            if item.part in self.keys and ref in self.gone:
                continue
            farads = self.wrong.get(ref, item.farads) if item.part in self.keys else item.farads
            reach = item.tolerance or 0.1
            farads *= 1 + self.random.uniform(-reach, reach)
            farads *= self.random.uniform(0.7, 1.0) if item.class_2 else 1.0
            found.append((self._end(item.part, item.a), self._end(item.part, item.b), farads))
        return found

    # -- the meter ---------------------------------------------------------------------------

    def measure(self, probe: Probe, number: int) -> Reading:
        """What the meter shows for a probe, with its noise and resolution."""
        value = self._value(probe)
        return Reading(number=number, time="", at=probe.at, to=probe.to, quantity=probe.quantity,
                       value=value)  # fmt: skip

    def _value(self, probe: Probe) -> float | None:
        rnd = self.random
        a, b = self.place(probe.at), self.place(probe.to)
        ohms = self.network.resistance(a, b)
        shown = (ohms + rnd.uniform(0.1, 0.5)) * (1 + rnd.gauss(0, 0.004))
        if probe.quantity is MeterMode.BEEP:
            return 1.0 if shown < self.beeper else 0.0
        if probe.quantity is MeterMode.OHMS:
            if shown > 4e7:
                return None
            step = 0.1
            while shown >= step * 6000:
                step *= 10
            return round(shown / step) * step
        if probe.quantity is MeterMode.FARADS:
            return self._farads(a, b, ohms)
        if probe.quantity is MeterMode.DIODE:
            return self._diode(a, b, ohms)
        net = self.pins[probe.at].net if probe.at in self.pins else probe.at
        nominal = probe.nominal or 0.0
        whole = self.network.resistance(net or "", b)
        return 0.02 if whole < 3 else nominal * (1 + rnd.gauss(0, 0.006))

    def _farads(self, a: str, b: str, ohms: float) -> float | None:
        if ohms < 100:
            return None
        total = 20e-12
        for one, other, farads in self.capacitors:
            near = [self.soft.same_node(x, y)
                    for x, y in ((a, one), (b, other), (a, other), (b, one))]  # fmt: skip
            if (near[0] and near[1]) or (near[2] and near[3]):
                total += farads
        return total * (1 + self.random.gauss(0, 0.02))

    def _diode(self, a: str, b: str, ohms: float) -> float | None:
        rnd = self.random
        across = any(
            self.circuit.kinds[key].kind in {Kind.DIODE, Kind.ESD, Kind.ZENER, Kind.LED}
            and self.circuit.board.part_by_key[key].refdes not in self.gone
            and {self._end(key, net) for net in self.circuit.board.part_by_key[key].nets} == {a, b}
            for key in self.keys
            if len(self.circuit.board.part_by_key[key].nets) == 2
        )
        chance = 0.75 if across else 0.45
        volts = rnd.uniform(0.35, 0.8) if rnd.random() < chance else 9.0
        volts = min(volts, ohms * 0.7e-3)
        return None if volts > 2 else volts


def gap(pad: Pad, other: Pad) -> float:
    """The least distance between the upright boxes of two pads, mm."""
    sizes = []
    for item in (pad, other):
        turned = round(item.angle) % 180 == 90
        w, h = item.width or 0.0, item.height or 0.0
        sizes.append((h, w) if turned else (w, h))
    dx = abs(pad.x - other.x) - (sizes[0][0] + sizes[1][0]) / 2
    dy = abs(pad.y - other.y) - (sizes[0][1] + sizes[1][1]) / 2
    return math.hypot(max(dx, 0.0), max(dy, 0.0))


@dataclass(frozen=True)
class Trial:
    """One broken board diagnosed: the rank of the truth (0 first; None not listed), probes."""

    truths: tuple[Truth, ...]
    rank: int | None
    guided: int | None = None  # probes until the truth leads with more than 0.9
    random: int | None = None
    planned: int = 0


def rank_of(truths: Sequence[Truth], hypotheses: Sequence[Hypothesis]) -> int | None:
    """The place of the hypothesis that names all the true faults and no more."""
    listed = [h for h in hypotheses if h.faults]
    for place, hypothesis in enumerate(listed):
        if same_faults(truths, hypothesis.faults):
            return place
    return None


def same_faults(truths: Sequence[Truth], faults: Sequence[Fault]) -> bool:
    """Whether each truth is named by a fault, and there are as many."""
    return len(truths) == len(faults) and all(
        any(truth.is_told_by(fault) for fault in faults) for truth in truths
    )


class Trials:
    """Broken boards of one circuit and one set of positions; what is worked out once is kept."""

    def __init__(self, circuit: Circuit, refs: Sequence[str]) -> None:
        self.circuit = circuit
        self.positions = Positions(circuit, refs)
        self.state = refitted(refs)
        self.blank = Suspicion(circuit, self.state)

    def run(self, seed: int, faults: int = 1, order: bool = False) -> Trial:
        """Break, measure all that is planned, rank; with `order` count the probes needed too."""
        board = BrokenBoard(self.positions, seed, faults)
        readings = {probe: board.measure(probe, FIRST_READING + at)
                    for at, probe in enumerate(self.blank.probes)}  # fmt: skip
        whole = self.after(list(readings.values()))
        rank = rank_of(board.truths, whole.hypotheses)
        if not order:
            return Trial(tuple(board.truths), rank, planned=len(readings))
        mixed = [*readings, *self.blank.through]
        readings |= {probe: board.measure(probe, FIRST_READING + len(readings) + at)
                     for at, probe in enumerate(self.blank.through)}  # fmt: skip
        # a random order still measures rails before power comes on
        board.random.shuffle(mixed)
        mixed.sort(key=lambda probe: probe.step is ProbeStep.POWER)
        return Trial(tuple(board.truths), rank, self._guided(board, readings),
                     self._in_order(board, readings, mixed), len(self.blank.probes))  # fmt: skip

    def after(self, readings: Sequence[Reading]) -> Suspicion:
        """What is suspected after these readings."""
        return self.blank.after(readings)

    def _guided(self, board: BrokenBoard, readings: dict[Probe, Reading]) -> int | None:
        made: list[Reading] = []
        suspicion = self.blank
        while (found := suspicion.next_probe()) is not None:
            made.append(readings[found.probe])
            suspicion = self.after(made)
            if leads(board.truths, suspicion):
                return len(made)
        return None

    def _in_order(
        self, board: BrokenBoard, readings: dict[Probe, Reading], order: Sequence[Probe]
    ) -> int | None:
        for count in range(1, len(order) + 1):
            if leads(board.truths, self.after([readings[probe] for probe in order[:count]])):
                return count
        return None


def chance_of(suspicion: Suspicion, fault: Fault) -> float:
    """The chance that a fault is there, alone or with another."""
    return sum(h.chance for h in suspicion.hypotheses if fault in h.faults)


def leads(truths: Sequence[Truth], suspicion: Suspicion) -> bool:
    """Whether each true fault is there with a chance above 0.9, alone or with another."""
    return all(
        any(truth.is_told_by(fault) and chance_of(suspicion, fault) > 0.9
            for fault in suspicion.faults)
        for truth in truths
    )  # fmt: skip


def share(trials: Sequence[Trial], within: int) -> float:
    """The share of trials with the truth among the first `within`."""
    return sum(t.rank is not None and t.rank < within for t in trials) / len(trials)


def median_of(values: Sequence[Any]) -> float:
    """The middle value; infinite for None."""
    ordered = sorted(math.inf if value is None else float(value) for value in values)
    middle = len(ordered) // 2
    if len(ordered) % 2:
        return ordered[middle]
    return (ordered[middle - 1] + ordered[middle]) / 2


# -- the table ---------------------------------------------------------------------------------

#: Trials of each kind in the table: single faults, pairs, counted probes.
SINGLES, PAIRS, COUNTED = 120, 40, 24
HEADING = (
    "| board | parts refitted | faults | trials | first | in first three | probes with `--next` "
    "| in random order |",
    "| --- | --- | --- | --- | --- | --- | --- | --- |",
)


def table_rows(title: str, trials: Trials, share_of: float = 1.0) -> tuple[str, ...]:
    """Two rows of the table in docs/diagnosis.md: single faults, then pairs."""
    singles, pairs, counted = (max(1, round(n * share_of)) for n in (SINGLES, PAIRS, COUNTED))
    ones = [trials.run(seed, order=seed < counted) for seed in range(singles)]
    twos = [trials.run(1000 + seed, faults=2) for seed in range(pairs)]
    guided = median_of([trial.guided for trial in ones[:counted]])
    unguided = median_of([trial.random for trial in ones[:counted]])
    count = len(trials.positions.keys)
    return (
        f"| {title} | {count} | one | {singles} | {share(ones, 1):.1%} | {share(ones, 3):.1%} "
        f"| {guided:g} of {ones[0].planned} | {unguided:g} |",
        f"| {title} | {count} | two | {pairs} | {share(twos, 1):.1%} | {share(twos, 3):.1%} | | |",
    )


def cluster(circuit: Circuit, count: int = 7) -> tuple[str, ...]:
    """The two-pin parts round the connector that has them closest: where boards get hurt."""
    small = [p for p in circuit.board.parts
             if len(p.pins) == 2 and len(p.nets) == 2 and p.pads
             and circuit.kinds[p.key].fitted and circuit.kinds[p.key].kind in _SMALL]  # fmt: skip
    found: list[tuple[float, tuple[str, ...]]] = []
    for part in circuit.board.parts:
        if circuit.kinds[part.key].kind is Kind.CONNECTOR and part.pads:
            x = sum(pad.x for pad in part.pads) / len(part.pads)
            y = sum(pad.y for pad in part.pads) / len(part.pads)
            near = sorted((math.hypot(p.pads[0].x - x, p.pads[0].y - y), p.refdes) for p in small)
            if len(near) >= count:
                found.append((near[count - 1][0], tuple(ref for _, ref in near[:count])))
    return min(found)[1]


_SMALL = {Kind.RESISTOR, Kind.CAPACITOR, Kind.FERRITE, Kind.DIODE, Kind.ESD, Kind.INDUCTOR}
