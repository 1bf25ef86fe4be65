"""The verdict on a repair, and what may be wrong: faults with their chances, the next measurement.

Each reading multiplies the odds of every fault by how likely that reading is under it. Pairs are
tried among the best single faults. The next measurement is the one whose answer is expected to
settle most (Shannon's mutual information between reading and fault, in bits). The verdict does not
rest on chances: restored is what every planned measurement has passed.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from nettrace.bench.compare import Open, Short
from nettrace.bench.faults import Fault, FaultKind, list_faults
from nettrace.bench.job import JobState, MeterMode, Reading
from nettrace.bench.judging import SHORT_OHMS, Judged, KnownGood, ReadingState, judge_with
from nettrace.bench.prediction import Pair, Predictor
from nettrace.bench.probes import Probe, ProbePlan
from nettrace.bench.wire import Wired, find_pad
from nettrace.circuit.circuit import Circuit
from nettrace.model.board import Pin
from nettrace.model.names import natural_key
from nettrace.values.quantity import engineering

if TYPE_CHECKING:
    from nettrace.bench.chances import Look

#: Pairs of faults: so many of the best single faults, each with so many others.
BEST_SINGLES: Final = 8
SECONDS: Final = 30
#: Chances below this are left out when the next probe is weighed.
SMALL_CHANCE: Final = 1e-4
#: A measurement that is expected to settle less than this is not worth making, bits.
WORTH_BITS: Final = 0.002
#: A reading speaks for a fault if it is so much likelier with it (natural logarithm of 1.5).
TELLING: Final = 0.4
#: Two expectations that share this much of their chances are told apart by luck alone; one that
#: shares less than the second figure with health is what the measurement tells of.
SAME_OVERLAP: Final = 0.75
TOLD_OVERLAP: Final = 0.5
#: Suspects below this chance are not shown, and at most so many are.
SHOWN_CHANCE: Final = 0.005
MOST_SUSPECTS: Final = 10
#: A suspect this likely is counted among what was found.
FOUND_CHANCE: Final = 0.9

#: Two nodes and what is measured between them; two words for one place are one key.
Key = tuple[tuple[str, str], MeterMode]


# -- chances ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """No fault, one or two, and how likely that is (all of them sum to 1)."""

    faults: tuple[Fault, ...]
    chance: float

    @property
    def what(self) -> str:
        """The faults in words."""
        return " and ".join(fault.what for fault in self.faults) or "no fault"


@dataclass(frozen=True, slots=True)
class NextProbe:
    """The measurement that tells most now, the uncertainty it should take away (bits), and why."""

    probe: Probe
    drop_bits: float
    because: tuple[str, ...]


def next_probe(circuit: Circuit, state: JobState) -> NextProbe | None:
    """Return the one measurement with the greatest expected drop in uncertainty, or None.

    None: every planned measurement that could tell anything has been made.
    """
    return Suspicion(circuit, state).next_probe()


class Suspicion:
    """The faults that a job's readings leave, with their chances.

    Args:
        circuit: the board.
        state: the job; readings after its last refit count, the newest of each pair of places.
    """

    def __init__(self, circuit: Circuit, state: JobState) -> None:
        self.circuit = circuit
        self.state = state
        self.predictor = Predictor(circuit, state)
        plan = ProbePlan(self.predictor, state)
        self.probes = plan.probes()
        self.through = plan.through()
        self.faults = list_faults(circuit, state)
        #: What is looked at under each fault: the places of every reading and planned measurement.
        self._pairs: dict[Key, Pair] = {}
        self.readings = self._latest(state.readings)
        lines: list[Probe | Reading] = [*self.readings.values(), *self.probes, *self.through]
        for line in lines:
            pair, key = self.predictor.pair(line.at, line.to), self.key(line)
            if pair is not None and key is not None and line.quantity is not MeterMode.AMPERES:
                self._pairs.setdefault(key, pair)
        #: Faults, in order -> what every pair of places shows with them.
        self._seen: dict[tuple[Fault, ...], Mapping[Key, Look]] = {}
        self.hypotheses = self._weigh()

    def after(self, readings: Sequence[Reading]) -> Suspicion:
        """Return the same job's suspicion with other readings; what was worked out is kept."""
        state = replace(self.state, readings=tuple(readings))
        latest = self._latest(readings)
        if not set(latest) <= set(self._pairs):
            return Suspicion(self.circuit, state)
        other = copy.copy(self)
        other.state, other.readings = state, latest
        other.hypotheses = other._weigh()
        return other

    def key(self, line: Probe | Reading) -> Key | None:
        """Return what a probe or reading is of; None: not on this board.

        The places stand in a fixed order, but where the way round matters.
        """
        pair = self.predictor.pair(line.at, line.to)
        if pair is None:
            return None
        first, second = pair[0].node, pair[1].node
        if line.quantity in {MeterMode.DIODE, MeterMode.VOLTS} or first <= second:
            return (first, second), line.quantity
        return (second, first), line.quantity

    def _latest(self, readings: Iterable[Reading]) -> Mapping[Key, Reading]:
        """Return the newest reading after the last refit for each pair of places and quantity."""
        found: dict[Key, Reading] = {}
        for reading in readings:
            key = self.key(reading) if reading.number > self.state.last_refit else None
            if key is not None:
                found.pop(key, None)
                found[key] = reading
        return found

    def _bins(self) -> list[tuple[Key, int]]:
        """Return the bin that each reading fell in."""
        from nettrace.bench.chances import bin_of

        return [
            (key, bin_of(reading.value, reading.quantity))
            for key, reading in self.readings.items()
            if key in self._pairs
        ]

    def _weigh(self) -> tuple[Hypothesis, ...]:
        """Return every hypothesis with its chance, the likeliest first."""
        bins = self._bins()

        def weight(*faults: Fault) -> float:
            likely = 0.0
            if bins:
                looks = self.looks(faults)
                likely = sum(looks[key].logs[at] for key, at in bins)
            return sum(math.log(fault.odds) for fault in faults) + likely

        weights = {faults: weight(*faults) for faults in ((), *((one,) for one in self.faults))}
        singles = sorted(range(len(self.faults)), key=lambda at: -weights[self.faults[at],])
        for place, first in enumerate(singles[:BEST_SINGLES] if bins else ()):
            for second in singles[place + 1 : SECONDS]:
                pair = tuple(self.faults[at] for at in sorted((first, second)))
                if _together(*pair):
                    weights[pair] = weight(*pair)
        top = max(weights.values())
        total = sum(math.exp(weight - top) for weight in weights.values())
        found = [Hypothesis(of, math.exp(one - top) / total) for of, one in weights.items()]
        return tuple(sorted(found, key=lambda item: -item.chance))

    def looks(self, faults: tuple[Fault, ...]) -> Mapping[Key, Look]:
        """Return what every pair of places would show with these faults."""
        if faults not in self._seen:
            from nettrace.bench.chances import chances

            outlooks = self.predictor.outlooks(list(self._pairs.values()), faults)
            found = dict(zip(self._pairs, outlooks, strict=True))
            powered = [key for key in found if key[1] is MeterMode.VOLTS]
            volts = self.predictor.volts([self._pairs[key] for key in powered], faults)
            for key, (said, sure) in zip(powered, volts, strict=True):
                found[key] = replace(found[key], volts=said, sure_volts=sure)
            self._seen[faults] = {key: chances(outlook, key[1]) for key, outlook in found.items()}
        return self._seen[faults]

    @property
    def health(self) -> float:
        """The chance that nothing is wrong."""
        return next(h.chance for h in self.hypotheses if not h.faults)

    def speaking(self, faults: tuple[Fault, ...]) -> tuple[Reading, ...]:
        """Return the readings that are likelier with the faults than without, the best first."""
        healthy, broken = self.looks(()), self.looks(faults)
        gains = [(broken[key].logs[at] - healthy[key].logs[at], key) for key, at in self._bins()]
        telling = sorted((gain for gain in gains if gain[0] > TELLING), key=lambda item: -item[0])
        return tuple(self.readings[key] for _, key in telling)

    def blind(self) -> tuple[Fault, ...]:
        """Return the faults that no planned measurement tells from health."""
        healthy = self.looks(())
        return tuple(
            fault
            for fault in self.faults
            if all(
                healthy[k].overlap(look) > SAME_OVERLAP for k, look in self.looks((fault,)).items()
            )
        )

    # -- the next measurement ----------------------------------------------------------------

    def next_probe(self) -> NextProbe | None:
        """Return the measurement, not made yet, that is expected to settle most.

        Candidates are the planned ones, and those through each part from sound points.
        """
        weighed = [h for h in self.hypotheses if h.chance >= SMALL_CHANCE]
        looks = [self.looks(h.faults) for h in weighed]
        shares = [h.chance for h in weighed]
        bits, best = 0.0, None
        for probe in (*self.probes, *self.through):
            key = self.key(probe)
            if key is None or key in self.readings or key not in self._pairs:
                continue
            tells = _information([look[key] for look in looks], shares)
            if best is None or tells > bits + 1e-12:
                bits, best = tells, (probe, key)
        if best is None or bits < WORTH_BITS:
            return None
        probe, key = best
        healthy = self.looks(())[key]
        told = [
            h.what
            for h, look in zip(weighed, looks, strict=True)
            if len(h.faults) == 1 and healthy.overlap(look[key]) < TOLD_OVERLAP
        ]
        because = [probe.why]
        if told:
            more = f" and {len(told) - 3} more" if len(told) > 3 else ""
            because.append(f"tells of {', '.join(told[:3])}{more}")
        return NextProbe(probe, bits, tuple(because))


def _together(first: Fault, second: Fault) -> bool:
    """Return whether two faults can be told as two: not two states of one part."""
    if first.nets and second.nets:
        return set(first.nets) != set(second.nets)
    kinds = {first.kind, second.kind}
    if first.part != second.part or kinds == {FaultKind.OPEN_JOINT}:
        return True
    return FaultKind.MISSING not in kinds and len(kinds) > 1


def _information(looks: Sequence[Look], shares: Sequence[float]) -> float:
    """Return what a reading is expected to tell of the hypotheses, bits."""
    import numpy as np

    weights: dict[Look, float] = {}
    for look, share in zip(looks, shares, strict=True):
        weights[look] = weights.get(look, 0.0) + share
    if len(weights) == 1:
        return 0.0
    total = sum(weights.values())
    parts = [(look, weight / total) for look, weight in weights.items()]
    mixed = sum((weight * look.bins for look, weight in parts), np.zeros(len(looks[0].bins)))
    inner = sum(weight * look.bits for look, weight in parts)
    return float(-(mixed @ np.log2(mixed))) - inner


# -- the verdict --------------------------------------------------------------------------------


class Verdict(StrEnum):
    """How the whole repair stands."""

    RESTORED = "restored"
    NOT_RESTORED = "not restored"
    NOT_PROVEN = "not proven"


@dataclass(frozen=True, slots=True)
class Suspect:
    """What may be wrong (one fault or two), how likely (0 to 1), and the readings that say so."""

    what: str
    score: float
    because: tuple[str, ...]
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True, slots=True)
class WrongValue:
    """A part that measures wrong: refdes, what belongs there and what was read, in words."""

    refdes: str
    expected: str
    found: str


@dataclass(frozen=True, slots=True)
class Check:
    """The state of a repair.

    Attributes:
        verdict: restored only where every planned probe passed, no position is open, no bridge is
            marked, no wire joins nets that nobody said are meant to be, and no reading fails.
        because: why, most important first.
        opens: nets in pieces, as `compare` gives them.
        shorts: nets joined.
        missing_parts: refdes, natural order.
        wrong_values: parts that measure wrong.
        readings: every reading with its verdict, in order of entry.
        suspects: by likelihood.
        health: the chance that nothing is wrong.
        still_to_probe: planned probes that have not passed and were not measured, in order.
        blind: faults that no planned measurement can tell: for the eye.
        wires: the wires soldered, each with what it does.
    """

    verdict: Verdict
    because: tuple[str, ...]
    opens: tuple[Open, ...]
    shorts: tuple[Short, ...]
    missing_parts: tuple[str, ...]
    wrong_values: tuple[WrongValue, ...]
    readings: tuple[Judged, ...]
    suspects: tuple[Suspect, ...]
    health: float
    still_to_probe: tuple[Probe, ...]
    blind: tuple[str, ...]
    extra_parts: tuple[str, ...] = ()
    wires: tuple[Wired, ...] = ()

    @property
    def same(self) -> bool:
        """Whether nothing was found that differs from the board as drawn."""
        return not (self.opens or self.shorts or self.missing_parts or self.wrong_values)


def check_job(circuit: Circuit, state: JobState, known_good: KnownGood | None = None) -> Check:
    """Judge a repair by its readings.

    Args:
        circuit: the board.
        state: the job as it stands.
        known_good: readings of good boards; they settle open questions.
    """
    suspicion = Suspicion(circuit, state)
    touched = suspicion.predictor.touched
    wires = touched.wires
    latest = {reading.number for reading in suspicion.readings.values()}
    judged = []
    for reading in state.readings:
        item = judge_with(suspicion.predictor, state, reading)
        if reading.number not in latest and suspicion.key(reading) is not None:
            item = replace(item, counts=False)
        if known_good is not None:
            item = _like_good_boards(suspicion.predictor, item, known_good)
        judged.append(item)
    counting = [item for item in judged if item.counts]
    states = {key: item.state for item in counting if (key := suspicion.key(item.reading))}
    standing = [(probe, _standing(suspicion, states, probe)) for probe in suspicion.probes]
    left = [probe for probe, stood in standing if stood is None]
    suspects = _suspects(suspicion, counting)
    sure = suspects[0].faults if suspects and suspects[0].score >= FOUND_CHANCE else ()
    failed = [item for item in counting if item.state is ReadingState.FAIL]
    replaced = {key for wired in wires for key in wired.replaced}
    missing = sorted(set(state.missing) - replaced, key=natural_key)
    because = [
        *([f"not refitted: {', '.join(missing)}"] if missing else []),
        *(f"bridge marked: {a} to {b}" for a, b in state.bridges),
        *(f"wire {' to '.join(wired.ends)} {wired.words}" for wired in wires if wired.is_short),
        *(f"{item.reading.at} to {item.reading.to}: {item.because}" for item in failed),
    ]
    verdict = Verdict.NOT_RESTORED
    if not because:
        verdict = Verdict.NOT_PROVEN
        doubtful = set(state.open_positions) - {*state.missing, *replaced}
        if doubtful:
            names = sorted(doubtful, key=natural_key)
            because.append(f"marked and not refitted: {', '.join(names)}")
        because += [
            f"{probe.at} to {probe.to}: an open question"
            for probe, stood in standing
            if stood is ReadingState.OPEN
        ]
        if left:
            more = f" and {len(left) - 1} more" if len(left) > 1 else ""
            first = left[0]
            because.append(f"still to probe: {first.at} to {first.to} ({first.quantity}){more}")
        because += [f"{name} is not on this board" for name in touched.unknown]
        if not suspicion.probes and not because:
            because = ["nothing was refitted, so nothing can be proved"]
    if not because:
        verdict = Verdict.RESTORED
        because = [f"all {len(suspicion.probes)} planned measurements passed"]
        meant = [wired for wired in wires if wired.wire.confirmed]
        because += [f"wire {' to '.join(wired.ends)} {wired.words}" for wired in meant]
    gone = {fault.at for fault in sure if fault.kind is FaultKind.MISSING}
    values = {part.refdes: part.value or "" for part in reversed(circuit.board.parts)}
    return Check(
        verdict=verdict,
        because=tuple(because),
        opens=_opens(suspicion, sure, failed),
        shorts=_shorts(suspicion, sure, failed),
        missing_parts=tuple(sorted({*missing, *gone}, key=natural_key)),
        wrong_values=tuple(
            WrongValue(f.at, values[f.part], f"about {engineering(f.value or 0, f.unit)}")
            for f in sure
            if f.kind is FaultKind.WRONG_VALUE
        ),
        readings=tuple(judged),
        suspects=suspects,
        health=suspicion.health,
        still_to_probe=tuple(left),
        blind=tuple(fault.what for fault in suspicion.blind()),
        wires=wires,
    )


def _like_good_boards(predictor: Predictor, judged: Judged, known_good: KnownGood) -> Judged:
    """Return the verdict with good boards heard: they settle what the figures leave open."""
    reading = judged.reading
    names = {(reading.at, reading.to)}
    pair = predictor.pair(reading.at, reading.to)
    if pair is not None:
        a, b = pair
        names |= {(a.name, b.name), (a.net, b.net), (a.name, b.net), (a.net, b.name)}
    likeness = known_good.compare(names, reading.quantity, reading.value)
    if likeness is None:
        return judged
    # a figure that is allowed, and that good boards do not show: neither is the last word
    settled: dict[tuple[bool | None, ReadingState], ReadingState] = {
        (True, ReadingState.OPEN): ReadingState.PASS,
        (False, ReadingState.PASS): ReadingState.OPEN,
        (False, ReadingState.OPEN): ReadingState.FAIL,
    }
    state = settled.get((likeness.alike, judged.state), judged.state)
    return replace(judged, state=state, because=f"{judged.because}; {likeness.because}")


def _standing(
    suspicion: Suspicion, states: Mapping[Key, ReadingState], probe: Probe
) -> ReadingState | None:
    """Return how a planned probe stands; None: not measured. Ohms answer for a beep."""
    key = suspicion.key(probe)
    if key is None:
        return None
    turned = (key[0][1], key[0][0])
    also = {MeterMode.BEEP: (key[0], MeterMode.OHMS), MeterMode.DIODE: (turned, MeterMode.DIODE)}
    return states.get(key) or states.get(also.get(probe.quantity, key))


def _suspects(suspicion: Suspicion, counting: list[Judged]) -> tuple[Suspect, ...]:
    if not counting:
        return ()
    by_number = {item.reading.number: item for item in counting}
    found = []
    ranked = [h for h in suspicion.hypotheses if h.faults and h.chance >= SHOWN_CHANCE]
    for hypothesis in ranked[:MOST_SUSPECTS]:
        because = [
            f"{reading.at} to {reading.to}: {by_number[reading.number].because}"
            for reading in suspicion.speaking(hypothesis.faults)[:3]
            if reading.number in by_number
        ]
        because += [
            f"no meter tells {len(fault.places)} places of it apart: look"
            for fault in hypothesis.faults
            if len(fault.places) > 1
        ]
        because = because or ["the readings so far do not exclude it"]
        found.append(Suspect(hypothesis.what, hypothesis.chance, tuple(because), hypothesis.faults))
    return tuple(found)


# -- what is wrong for certain: failed readings, marks, and a suspect beyond doubt --


def _opens(
    suspicion: Suspicion, sure: Sequence[Fault], failed: Sequence[Judged]
) -> tuple[Open, ...]:
    joints = suspicion.predictor.touched.joints
    pads = {fault.at for fault in sure if fault.kind is FaultKind.OPEN_JOINT}
    for item in () if sure else failed:
        pair = suspicion.predictor.pair(item.reading.at, item.reading.to)
        if pair is not None and pair[0].net == pair[1].net:
            pads |= {spot.pad for spot in pair if spot.pad in joints}
    nets: dict[str, list[Pin]] = {}
    for pad in sorted(pads, key=natural_key):
        nets.setdefault(joints[pad].net or "", []).append(joints[pad])
    found = []
    for net, loose in nets.items():
        pins = suspicion.circuit.board.net_by_name[net].pins
        rest = tuple(pin for pin in pins if pin not in loose)
        found.append(Open(net, (*((rest,) if rest else ()), *((pin,) for pin in loose))))
    return tuple(found)


def _shorts(
    suspicion: Suspicion, sure: Sequence[Fault], failed: Sequence[Judged]
) -> tuple[Short, ...]:
    predictor = suspicion.predictor

    def pins_at(pads: Iterable[str]) -> list[Pin]:
        found = (find_pad(suspicion.circuit, pad) for pad in pads)
        return [pin for pin in found if pin is not None]

    joined: list[tuple[Sequence[str], Sequence[Pin]]] = [
        ([pin.net or "" for pin in pins], pins) for pins in predictor.bridges
    ]
    joined += [
        ([net or "" for net in wired.nets], pins_at(wired.ends))
        for wired in predictor.touched.wires
        if wired.is_short
    ]
    parts = suspicion.circuit.board.part_by_key
    for fault in (fault for fault in sure if fault.nets):
        own = (
            pin
            for pin in predictor.touched.joints.values()
            if parts[pin.part].refdes == fault.at and pin.net in fault.nets
        )
        ends = fault.places[0]
        joined.append((fault.nets, pins_at(ends) if len(ends) == 2 else list(own)))
    for item in () if sure else failed:
        pair = predictor.pair(item.reading.at, item.reading.to)
        if pair is not None and pair[0].net != pair[1].net and _reads_short(item.reading):
            a, b = pair
            joined.append(((a.net, b.net), pins_at((a.pad, b.pad))))
    found: dict[frozenset[str], Short] = {}
    for names, pins in joined:
        nets = tuple(sorted(names, key=natural_key))
        found.setdefault(frozenset(nets), Short(nets, tuple(pins)))
    return tuple(found.values())


def _reads_short(reading: Reading) -> bool:
    """Return whether a failed reading between two nets tells of too little between them."""
    if reading.value is None:
        return False
    if reading.quantity is MeterMode.OHMS:
        return reading.value <= SHORT_OHMS
    if reading.quantity is MeterMode.BEEP:
        return bool(reading.value)  # silent: a link of 0 Ω between two nets that should beep
    return reading.quantity is MeterMode.DIODE
