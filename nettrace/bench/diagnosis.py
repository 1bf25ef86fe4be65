"""Which fault explains the readings: chances over health, single faults and pairs of faults.

Each reading multiplies the odds of every fault by how likely that reading is under it. Pairs are
tried among the best single faults. The next measurement is the one whose answer is expected to
settle most (Shannon's mutual information between reading and fault, in bits).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from nettrace.bench.chances import Outlook, bin_of, chances
from nettrace.bench.compare import Open, Short
from nettrace.bench.faults import Fault, FaultKind, list_faults
from nettrace.bench.job import JobState, Quantity, Reading
from nettrace.bench.judging import SHORT_OHMS, Judged, KnownGood, ReadingState, judge_with
from nettrace.bench.prediction import Pair, Predictor, Spot
from nettrace.bench.probes import Probe, make_model, plan_with, through_with
from nettrace.bench.wire import Wired, find_pad, pad_name
from nettrace.circuit.circuit import Circuit
from nettrace.model.board import Pin
from nettrace.model.names import natural_key
from nettrace.values.quantity import engineering

if TYPE_CHECKING:
    import numpy as np

    Vector = np.ndarray[tuple[int, ...], np.dtype[np.float64]]


#: Pairs of faults: so many of the best single faults, each with so many others.
BEST_SINGLES: Final = 8
SECONDS: Final = 30
#: Chances below this are left out when the next probe is weighed.
SMALL_CHANCE: Final = 1e-4
#: A measurement that is expected to settle less than this is not worth making, bits.
WORTH_BITS: Final = 0.002

#: A reading speaks for a fault if it is so much likelier with it (natural logarithm of 1.5).
TELLING: Final = 0.4

#: Two expectations that share this much of their chances are told apart by luck alone.
SAME_OVERLAP: Final = 0.75
#: Expectations kept at hand.
MOST_LOOKS: Final = 20_000

#: Two nodes and what is measured between them; two words for one place are one key.
Key = tuple[tuple[str, str], Quantity]


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
    """The measurement that tells most now: the probe, the uncertainty it is expected to take
    away, bits, and why."""  # noqa: D205, D209

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
        earlier: of the same job before its last readings; what it has worked out is used again.
    """

    def __init__(self, circuit: Circuit, state: JobState, earlier: Suspicion | None = None) -> None:
        self.circuit = circuit
        self.state = state
        known = None if earlier is None else latest_readings(earlier.model, state)
        if earlier is not None and known is not None and earlier._covers(state, known):
            self.model: Predictor = earlier.model
            self.probes: tuple[Probe, ...] = earlier.probes
            self.through: tuple[Probe, ...] = earlier.through
            self.faults: tuple[Fault, ...] = earlier.faults
            self.readings: Mapping[Key, Reading] = known
            self._pairs: dict[Key, Pair] = earlier._pairs
            self._seen: dict[tuple[int, ...], Mapping[Key, _Look]] = earlier._seen
            self._number: Mapping[Fault, int] = earlier._number
        else:
            self.model = make_model(circuit, state)
            self.probes = plan_with(self.model, state)
            self.through = through_with(self.model, state)
            self.faults = list_faults(circuit, state)
            self.readings = latest_readings(self.model, state)
            self._pairs = {}
            for reading in self.readings.values():
                self._remember(reading)
            for probe in (*self.probes, *self.through):
                self._remember(probe)
            self._seen = {}
            self._number = {fault: at for at, fault in enumerate(self.faults)}
        self.hypotheses: tuple[Hypothesis, ...] = self._weigh()

    def _covers(self, state: JobState, readings: Mapping[Key, Reading]) -> bool:
        mine = replace(self.state, readings=(), remarks=())
        return mine == replace(state, readings=(), remarks=()) and set(readings) <= set(self._pairs)

    def _remember(self, line: Reading | Probe) -> None:
        first, second = self.model.spot(line.at), self.model.spot(line.to)
        if first is not None and second is not None and line.quantity is not Quantity.AMPERES:
            self._pairs.setdefault(_key(first, second, line.quantity), (first, second))

    # -- chances -----------------------------------------------------------------------------

    def _weigh(self) -> tuple[Hypothesis, ...]:
        bins = [
            (key, bin_of(reading.value, reading.quantity))
            for key, reading in self.readings.items()
            if key in self._pairs
        ]
        likely = self._log_likelihood
        odds = [math.log(fault.odds) for fault in self.faults]
        # hypotheses by the numbers of their faults
        weights: dict[tuple[int, ...], float] = {(): likely((), bins)}
        for at, odd in enumerate(odds):
            weights[at,] = odd + likely((at,), bins)
        singles = sorted(range(len(odds)), key=lambda at: -weights[at,])
        if bins:
            for place, first in enumerate(singles[:BEST_SINGLES]):
                for second in singles[place + 1 : SECONDS]:
                    if _together(self.faults[first], self.faults[second]):
                        pair = (min(first, second), max(first, second))
                        weights[pair] = odds[first] + odds[second] + likely(pair, bins)
        top = max(weights.values())
        total = sum(math.exp(weight - top) for weight in weights.values())
        found = [
            Hypothesis(tuple(self.faults[at] for at in numbers), math.exp(weight - top) / total)
            for numbers, weight in weights.items()
        ]
        return tuple(sorted(found, key=lambda item: -item.chance))

    def _log_likelihood(self, numbers: tuple[int, ...], bins: Sequence[tuple[Key, int]]) -> float:
        if not bins:
            return 0.0
        looks = self._numbered(numbers)
        return sum(looks[key].logs[at] for key, at in bins)

    def looks(self, faults: tuple[Fault, ...]) -> Mapping[Key, _Look]:
        """Return what every pair of places would show with these faults."""
        return self._numbered(tuple(sorted(self._number[fault] for fault in faults)))

    def _numbered(self, numbers: tuple[int, ...]) -> Mapping[Key, _Look]:
        found = self._seen.get(numbers)
        if found is None:
            found = self._look(tuple(self.faults[at] for at in numbers))
            self._seen[numbers] = found
        return found

    def _look(self, faults: tuple[Fault, ...]) -> Mapping[Key, _Look]:
        pairs = list(self._pairs.values())
        found = dict(zip(self._pairs, self.model.outlooks(pairs, faults), strict=True))
        powered = [key for key in found if key[1] is Quantity.VOLTS]
        volts = self.model.volts([self._pairs[key] for key in powered], faults)
        for key, (said, sure) in zip(powered, volts, strict=True):
            found[key] = replace(found[key], volts=said, sure_volts=sure)
        return {key: _look_of(outlook, key[1]) for key, outlook in found.items()}

    @property
    def health(self) -> float:
        """The chance that nothing is wrong."""
        return next(h.chance for h in self.hypotheses if not h.faults)

    def chance_of(self, fault: Fault) -> float:
        """Return the chance that a fault is there, alone or with another."""
        return sum(h.chance for h in self.hypotheses if fault in h.faults)

    def speaking(self, faults: tuple[Fault, ...]) -> tuple[Reading, ...]:
        """Return the readings that are likelier with the faults than without, the best first."""
        healthy, broken = self.looks(()), self.looks(faults)
        gains = []
        for key, reading in self.readings.items():
            if key in self._pairs:
                at = bin_of(reading.value, reading.quantity)
                gain = broken[key].logs[at] - healthy[key].logs[at]
                if gain > TELLING:
                    gains.append((gain, reading))
        return tuple(reading for _, reading in sorted(gains, key=lambda item: -item[0]))

    def blind(self) -> tuple[Fault, ...]:
        """Return the faults that no planned measurement tells from health."""
        healthy = self.looks(())
        return tuple(
            fault
            for fault in self.faults
            if all(
                healthy[key].overlap(look) > SAME_OVERLAP
                for key, look in self.looks((fault,)).items()
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
        best: tuple[float, Probe] | None = None
        for probe in (*self.probes, *self.through):
            key = reading_key(self.model, probe)
            if key is None or key in self.readings or key not in self._pairs:
                continue
            bits = _information([look[key] for look in looks], shares)
            if best is None or bits > best[0] + 1e-12:
                best = bits, probe
        if best is None or best[0] < WORTH_BITS:
            return None
        return NextProbe(best[1], best[0], self._reasons(best[1], weighed))

    def _reasons(self, probe: Probe, weighed: Sequence[Hypothesis]) -> tuple[str, ...]:
        key = reading_key(self.model, probe)
        found = [probe.why]
        if key is not None:
            healthy = self.looks(())[key]
            told = [
                h.what
                for h in weighed
                if len(h.faults) == 1 and healthy.overlap(self.looks(h.faults)[key]) < 0.5
            ]
            if told:
                more = f" and {len(told) - 3} more" if len(told) > 3 else ""
                found.append(f"tells of {', '.join(told[:3])}{more}")
        return tuple(found)


def latest_readings(model: Predictor, state: JobState) -> Mapping[Key, Reading]:
    """Return the newest reading after the last refit for each pair of places and quantity."""
    found: dict[Key, Reading] = {}
    for reading in state.readings:
        if reading.number <= state.last_refit:
            continue
        first, second = model.spot(reading.at), model.spot(reading.to)
        if first is not None and second is not None:
            key = _key(first, second, reading.quantity)
            found.pop(key, None)
            found[key] = reading
    return found


def reading_key(model: Predictor, line: Probe | Reading) -> Key | None:
    """Return what a probe or reading is of: two nodes and a quantity; None: not on this board."""
    first, second = model.spot(line.at), model.spot(line.to)
    if first is None or second is None:
        return None
    return _key(first, second, line.quantity)


def _key(first: Spot, second: Spot, quantity: Quantity) -> Key:
    """Return the places in a fixed order, but where the way round matters."""
    if quantity in {Quantity.DIODE, Quantity.VOLTS} or first.node <= second.node:
        return (first.node, second.node), quantity
    return (second.node, first.node), quantity


def _together(first: Fault, second: Fault) -> bool:
    """Return whether two faults can be told as two: not two states of one part."""
    if first.nets and second.nets:
        return set(first.nets) != set(second.nets)
    kinds = {first.kind, second.kind}
    if first.part != second.part or kinds == {FaultKind.OPEN_JOINT}:
        return True
    return FaultKind.MISSING not in kinds and len(kinds) > 1


@dataclass(frozen=True, slots=True, eq=False)
class _Look:
    """What one pair of places shows under some faults: chances, their logarithms, entropy."""

    bins: Vector
    logs: tuple[float, ...]
    bits: float

    def overlap(self, other: _Look) -> float:
        """Return how much of the chances two looks share, 0 to 1."""
        import numpy as np

        return 1.0 if other is self else float(np.minimum(self.bins, other.bins).sum())


_looks: dict[int, tuple[Vector, _Look]] = {}


def _look_of(outlook: Outlook, quantity: Quantity) -> _Look:
    bins = chances(outlook, quantity)
    found = _looks.get(id(bins))
    if found is not None and found[0] is bins:
        return found[1]
    import numpy as np

    logs = np.log(bins)
    look = _Look(bins, tuple(logs.tolist()), float(-(bins @ logs)) / math.log(2))
    if len(_looks) >= MOST_LOOKS:
        _looks.clear()
    _looks[id(bins)] = (bins, look)
    return look


def _information(looks: Sequence[_Look], shares: Sequence[float]) -> float:
    """Return what a reading is expected to tell of the hypotheses, bits."""
    import numpy as np

    weights: dict[int, float] = {}
    by_id = {id(look): look for look in looks}
    for look, share in zip(looks, shares, strict=True):
        weights[id(look)] = weights.get(id(look), 0.0) + share
    if len(weights) == 1:
        return 0.0
    total = sum(weights.values())
    parts = [(by_id[key], weight / total) for key, weight in weights.items()]
    mixed = sum((weight * look.bins for look, weight in parts), np.zeros(len(looks[0].bins)))
    inner = sum(weight * look.bits for look, weight in parts)
    return float(-(mixed @ np.log2(mixed))) - inner


# -- The verdict on a repair: restored, not restored, or not proven, with what speaks for it.


#: Suspects below this chance are not shown, and at most so many are.
SHOWN_CHANCE: Final = 0.005
MOST_SUSPECTS: Final = 10
#: A suspect this likely is counted among what was found.
FOUND_CHANCE: Final = 0.9


class Verdict(StrEnum):
    """The contract's words for the whole repair."""

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
    judged = _judge_all(suspicion, state, known_good)
    counting = [item for item in judged if item.counts]
    states = {
        key: item.state for item in counting if (key := reading_key(suspicion.model, item.reading))
    }
    left = tuple(p for p in suspicion.probes if _standing(suspicion, states, p) is None)
    suspects = _suspects(suspicion, counting)
    found = _Found(suspicion, counting, suspects, state)
    verdict, because = _verdict(suspicion, state, counting, states, left)
    return Check(
        verdict=verdict,
        because=because,
        opens=found.opens(),
        shorts=found.shorts(),
        missing_parts=found.missing(),
        wrong_values=found.wrong_values(),
        readings=judged,
        suspects=suspects,
        health=suspicion.health,
        still_to_probe=left,
        blind=tuple(fault.what for fault in suspicion.blind()),
        wires=suspicion.model.touched.wires,
    )


def _judge_all(
    suspicion: Suspicion, state: JobState, known_good: KnownGood | None
) -> tuple[Judged, ...]:
    latest = {reading.number for reading in suspicion.readings.values()}
    found = []
    for reading in state.readings:
        judged = judge_with(suspicion.model, state, reading)
        known = reading_key(suspicion.model, reading) is not None
        if known and reading.number not in latest:
            judged = replace(judged, counts=False)
        found.append(_like_good_boards(suspicion, judged, known_good))
    return tuple(found)


def _like_good_boards(suspicion: Suspicion, judged: Judged, known_good: KnownGood | None) -> Judged:
    """Return the verdict with good boards heard: they settle what the figures leave open."""
    if known_good is None:
        return judged
    reading = judged.reading
    names = {(reading.at, reading.to)}
    a, b = suspicion.model.spot(reading.at), suspicion.model.spot(reading.to)
    if a is not None and b is not None:
        names |= {(a.name, b.name), (a.net, b.net), (a.name, b.net), (a.net, b.name)}
    likeness = known_good.compare(names, reading.quantity, reading.value)
    if likeness is None:
        return judged
    because = f"{judged.because}; {likeness.because}"
    state = judged.state
    if likeness.alike is True and state is ReadingState.OPEN:
        state = ReadingState.PASS
    elif likeness.alike is False and state is ReadingState.PASS:
        # the figure allows it, good boards do not: neither is the last word
        state = ReadingState.OPEN
    elif likeness.alike is False and state is ReadingState.OPEN:
        state = ReadingState.FAIL
    return replace(judged, state=state, because=because)


def _standing(
    suspicion: Suspicion, states: Mapping[Key, ReadingState], probe: Probe
) -> ReadingState | None:
    """Return how a planned probe stands; None: not measured. Ohms answer for a beep."""
    key = reading_key(suspicion.model, probe)
    if key is None:
        return None
    turned = (key[0][1], key[0][0])
    also = {Quantity.BEEP: (key[0], Quantity.OHMS), Quantity.DIODE: (turned, Quantity.DIODE)}
    return states.get(key) or states.get(also.get(probe.quantity, key))


def _verdict(
    suspicion: Suspicion,
    state: JobState,
    counting: list[Judged],
    states: Mapping[Key, ReadingState],
    left: tuple[Probe, ...],
) -> tuple[Verdict, tuple[str, ...]]:
    because: list[str] = []
    wires = suspicion.model.touched.wires
    replaced = {key for wired in wires for key in wired.replaced}
    missing = _without(state.missing, replaced)
    if missing:
        because.append(f"not refitted: {', '.join(missing)}")
    because += [f"bridge marked: {a} to {b}" for a, b in state.bridges]
    because += [
        f"wire {wired.wire.start} to {wired.wire.end} {wired.words}"
        for wired in wires
        if wired.is_short
    ]
    because += [
        f"{item.reading.at} to {item.reading.to}: {item.because}"
        for item in counting
        if item.state is ReadingState.FAIL
    ]
    if because:
        return Verdict.NOT_RESTORED, tuple(because)
    doubtful = _without(state.open_positions, {*state.missing, *replaced})
    if doubtful:
        because.append(f"marked and not refitted: {', '.join(doubtful)}")
    because += [
        f"{probe.at} to {probe.to}: an open question"
        for probe in suspicion.probes
        if _standing(suspicion, states, probe) is ReadingState.OPEN
    ]
    if left:
        first = left[0]
        more = f" and {len(left) - 1} more" if len(left) > 1 else ""
        because.append(f"still to probe: {first.at} to {first.to} ({first.quantity}){more}")
    because += [f"{name} is not on this board" for name in suspicion.model.touched.unknown]
    if not suspicion.probes and not because:
        because.append("nothing was refitted, so nothing can be proved")
    if because:
        return Verdict.NOT_PROVEN, tuple(because)
    passed = f"all {len(suspicion.probes)} planned measurements passed"
    meant = [f"wire {w.wire.start} to {w.wire.end} {w.words}" for w in wires if w.wire.confirmed]
    return Verdict.RESTORED, (passed, *meant)


def _without(names: Iterable[str], left_out: set[str]) -> list[str]:
    return sorted(set(names) - left_out, key=natural_key)


def _suspects(suspicion: Suspicion, counting: list[Judged]) -> tuple[Suspect, ...]:
    if not counting:
        return ()
    ranked = [h for h in suspicion.hypotheses if h.faults and h.chance >= SHOWN_CHANCE]
    return tuple(
        Suspect(h.what, h.chance, _reasons(suspicion, h, counting), h.faults)
        for h in ranked[:MOST_SUSPECTS]
    )


def _reasons(
    suspicion: Suspicion, hypothesis: Hypothesis, counting: list[Judged]
) -> tuple[str, ...]:
    """Return the readings that speak most for a suspect, and what no reading can tell."""
    ranked = suspicion.speaking(hypothesis.faults)
    by_number = {item.reading.number: item for item in counting}
    found = [
        f"{reading.at} to {reading.to}: {by_number[reading.number].because}"
        for reading in ranked[:3]
        if reading.number in by_number
    ]
    found += [
        f"no meter tells {len(fault.places)} places of it apart: look"
        for fault in hypothesis.faults
        if len(fault.places) > 1
    ]
    return tuple(found) or ("the readings so far do not exclude it",)


class _Found:
    """What is wrong for certain: failed readings, marks, and a suspect beyond doubt."""

    def __init__(
        self,
        suspicion: Suspicion,
        counting: list[Judged],
        suspects: tuple[Suspect, ...],
        state: JobState,
    ) -> None:
        self.model = suspicion.model
        self.circuit = suspicion.circuit
        self.state = state
        self.failed = [item for item in counting if item.state is ReadingState.FAIL]
        sure = suspects[0].faults if suspects and suspects[0].score >= FOUND_CHANCE else ()
        self.sure = sure

    def opens(self) -> tuple[Open, ...]:
        pads = {fault.places[0] for fault in self.sure if fault.kind is FaultKind.OPEN_JOINT}
        if not self.sure:
            for item in self.failed:
                a, b = self.model.spot(item.reading.at), self.model.spot(item.reading.to)
                if a is not None and b is not None and a.net == b.net:
                    pads |= {spot.pad for spot in (a, b) if spot.pad in self.model.touched.joints}
        nets: dict[str, list[Pin]] = {}
        for pad in sorted(pads, key=natural_key):
            pin = self.model.touched.joints[pad]
            nets.setdefault(pin.net or "", []).append(pin)
        return tuple(Open(net, self._groups(net, pins)) for net, pins in nets.items())

    def _groups(self, net: str, loose: list[Pin]) -> tuple[tuple[Pin, ...], ...]:
        rest = tuple(pin for pin in self.circuit.board.net_by_name[net].pins if pin not in loose)
        return (rest, *((pin,) for pin in loose)) if rest else tuple((pin,) for pin in loose)

    def shorts(self) -> tuple[Short, ...]:
        found: dict[frozenset[str], Short] = {}
        for first, second in self.model.bridges:
            self._short(found, [first, second])
        for wired in self.model.touched.wires:
            if wired.is_short:
                ends = [self._pin(end) for end in (wired.wire.start, wired.wire.end)]
                nets = tuple(net or "" for net in wired.nets)
                self._short(found, [pin for pin in ends if pin is not None], nets)
        for fault in self.sure:
            if fault.nets:
                self._short(found, self._pins_of(fault), fault.nets)
        if not self.sure:
            for item in self.failed:
                if item.reading.value is None:
                    continue
                a, b = self.model.spot(item.reading.at), self.model.spot(item.reading.to)
                low = item.reading.quantity in {Quantity.OHMS, Quantity.BEEP, Quantity.DIODE}
                if a is None or b is None or a.net == b.net or not low:
                    continue
                if item.reading.quantity is Quantity.OHMS and item.reading.value > SHORT_OHMS:
                    continue
                if item.reading.quantity is Quantity.BEEP and not item.reading.value:
                    continue  # a link of 0 Ω between two nets that should beep
                pins = [pin for spot in (a, b) if (pin := self._pin(spot.pad)) is not None]
                self._short(found, pins, (a.net, b.net))
        return tuple(found.values())

    def _short(
        self,
        found: dict[frozenset[str], Short],
        pins: Iterable[Pin],
        nets: tuple[str, ...] | None = None,
    ) -> None:
        pins = tuple(pins)
        names = nets or tuple(pin.net or "" for pin in pins)
        ordered = tuple(sorted(names, key=natural_key))
        found.setdefault(frozenset(ordered), Short(ordered, pins))

    def _pins_of(self, fault: Fault) -> list[Pin]:
        place = fault.places[0]
        if "|" in place:
            return [pin for pad in place.split("|") if (pin := self._pin(pad)) is not None]
        return [
            pin
            for pad, pin in self.model.touched.joints.items()
            if pad_name(self.circuit, pin).startswith(f"{place}.") and pin.net in fault.nets
        ]

    def _pin(self, pad: str) -> Pin | None:
        return find_pad(self.circuit, pad) if pad else None

    def missing(self) -> tuple[str, ...]:
        replaced = {key for wired in self.model.touched.wires for key in wired.replaced}
        gone = {*self.state.missing} - replaced
        gone |= {fault.places[0] for fault in self.sure if fault.kind is FaultKind.MISSING}
        return tuple(sorted(gone, key=natural_key))

    def wrong_values(self) -> tuple[WrongValue, ...]:
        found = []
        for fault in self.sure:
            if fault.kind is not FaultKind.WRONG_VALUE:
                continue
            part = next(p for p in self.circuit.board.parts if p.refdes == fault.part)
            said = engineering(fault.value or 0.0, fault.unit)
            found.append(WrongValue(fault.places[0], part.value or "", f"about {said}"))
        return tuple(found)
