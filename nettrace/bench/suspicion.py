"""Which fault explains the readings: chances over health, single faults and pairs of faults.

Each reading multiplies the odds of every fault by how likely that reading is under it. Pairs are
tried among the best single faults. The next measurement is the one whose answer is expected to
settle most (Shannon's mutual information between reading and fault, in bits).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from nettrace.bench.chances import Outlook, bin_of, chances
from nettrace.bench.faults import Fault, FaultKind, list_faults
from nettrace.bench.job import Quantity, Reading
from nettrace.bench.job_state import JobState
from nettrace.bench.predict import Model, Pair, Spot
from nettrace.bench.probes import Probe, make_model, plan_with, through_with
from nettrace.circuit.circuit import Circuit

if TYPE_CHECKING:
    import numpy as np

    Vector = np.ndarray[tuple[int, ...], np.dtype[np.float64]]

__all__ = ["Hypothesis", "NextProbe", "Suspicion", "latest_readings", "next_probe", "reading_key"]

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
            self.model: Model = earlier.model
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


def latest_readings(model: Model, state: JobState) -> Mapping[Key, Reading]:
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


def reading_key(model: Model, line: Probe | Reading) -> Key | None:
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
