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
from nettrace.bench.probes import Probe, make_model, plan_with
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

#: A place pair and what is measured there; two words for one place are one key.
Key = tuple[frozenset[str], Quantity]


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
    """

    def __init__(self, circuit: Circuit, state: JobState) -> None:
        self.circuit = circuit
        self.state = state
        self.model: Model = make_model(circuit, state)
        self.probes: tuple[Probe, ...] = plan_with(self.model, state)
        self.faults: tuple[Fault, ...] = list_faults(circuit, state)
        self.readings: Mapping[Key, Reading] = latest_readings(self.model, state)
        self._pairs: dict[Key, Pair] = {}
        for reading in self.readings.values():
            self._remember(reading.at, reading.to, reading.quantity)
        for probe in self.probes:
            self._remember(probe.at, probe.to, probe.quantity)
        self._outlooks: dict[tuple[Fault, ...], Mapping[Key, Outlook]] = {}
        self.hypotheses: tuple[Hypothesis, ...] = self._weigh()

    def _remember(self, at: str, to: str, quantity: Quantity) -> None:
        first, second = self.model.spot(at), self.model.spot(to)
        if first is not None and second is not None and quantity is not Quantity.AMPERES:
            self._pairs.setdefault(_key(first, second, quantity), (first, second))

    # -- chances -----------------------------------------------------------------------------

    def _weigh(self) -> tuple[Hypothesis, ...]:
        none: tuple[Fault, ...] = ()
        weights = {none: self._log_likelihood(none)}
        for fault in self.faults:
            weights[fault,] = math.log(fault.odds) + self._log_likelihood((fault,))
        singles = sorted((f for f in weights if f), key=lambda faults: -weights[faults])
        if self.readings:
            for at, (first,) in enumerate(singles[:BEST_SINGLES]):
                for (second,) in singles[at + 1 : SECONDS]:
                    if _together(first, second):
                        odds = math.log(first.odds) + math.log(second.odds)
                        pair = (first, second)
                        weights[pair] = odds + self._log_likelihood(pair)
        top = max(weights.values())
        total = sum(math.exp(weight - top) for weight in weights.values())
        found = [Hypothesis(f, math.exp(w - top) / total) for f, w in weights.items()]
        return tuple(sorted(found, key=lambda item: -item.chance))

    def _log_likelihood(self, faults: tuple[Fault, ...]) -> float:
        if not self.readings:
            return 0.0
        outlooks = self._seen(faults)
        total = 0.0
        for key, reading in self.readings.items():
            if key in outlooks:
                bins = chances(outlooks[key], reading.quantity)
                total += math.log(bins[bin_of(reading.value, reading.quantity)])
        return total

    def _seen(self, faults: tuple[Fault, ...]) -> Mapping[Key, Outlook]:
        """Return what every pair of places would show; for two faults only those with readings."""
        if faults not in self._outlooks:
            self._outlooks[faults] = self._look(faults, len(faults) < 2)
        return self._outlooks[faults]

    def _look(self, faults: tuple[Fault, ...], everywhere: bool) -> Mapping[Key, Outlook]:
        keys = [key for key in self._pairs if everywhere or key in self.readings]
        pairs = [self._pairs[key] for key in keys]
        found = dict(zip(keys, self.model.outlooks(pairs, faults), strict=True))
        powered = [key for key in keys if key[1] is Quantity.VOLTS]
        volts = self.model.volts([self._pairs[key] for key in powered], faults)
        for key, (said, sure) in zip(powered, volts, strict=True):
            found[key] = replace(found[key], volts=said, sure_volts=sure)
        return found

    def healthy(self, at: str, to: str, quantity: Quantity) -> Outlook | None:
        """Return what two places would show without any fault; None where one is not known."""
        first, second = self.model.spot(at), self.model.spot(to)
        if first is None or second is None:
            return None
        key = _key(first, second, quantity)
        seen = self._seen(())
        return seen[key] if key in seen else self.model.outlooks([(first, second)])[0]

    @property
    def health(self) -> float:
        """The chance that nothing is wrong."""
        return next(h.chance for h in self.hypotheses if not h.faults)

    def speaking(self, faults: tuple[Fault, ...]) -> tuple[Reading, ...]:
        """Return the readings that are likelier with the faults than without, the best first."""
        healthy, broken = self._seen(()), self._seen(faults)
        gains = []
        for key, reading in self.readings.items():
            if key in healthy and key in broken:
                at = bin_of(reading.value, reading.quantity)
                gain = math.log(
                    chances(broken[key], reading.quantity)[at]
                    / chances(healthy[key], reading.quantity)[at]
                )
                if gain > TELLING:
                    gains.append((gain, reading))
        return tuple(reading for _, reading in sorted(gains, key=lambda item: -item[0]))

    def blind(self) -> tuple[Fault, ...]:
        """Return the faults that no planned measurement tells from health."""
        healthy = self._seen(())
        return tuple(
            fault
            for fault in self.faults
            if all(_same(healthy[key], o, key[1]) for key, o in self._seen((fault,)).items())
        )

    # -- the next measurement ----------------------------------------------------------------

    def next_probe(self) -> NextProbe | None:
        """Return the planned measurement, not made yet, that is expected to settle most."""
        left = [p for p in self.probes if reading_key(self.model, p) not in self.readings]
        if not left:
            return None
        weighed = [h for h in self.hypotheses if h.chance >= SMALL_CHANCE]
        looks = [self._look(h.faults, True) if len(h.faults) > 1 else self._seen(h.faults)
                 for h in weighed]  # fmt: skip
        shares = [h.chance for h in weighed]
        best: tuple[float, Probe] | None = None
        for probe in left:
            key = reading_key(self.model, probe)
            if key is None or key not in self._pairs:
                continue
            bits = _information([chances(look[key], key[1]) for look in looks], shares)
            if best is None or bits > best[0] + 1e-12:
                best = bits, probe
        if best is None or best[0] < WORTH_BITS:
            return None
        return NextProbe(best[1], best[0], self._reasons(best[1], weighed))

    def _reasons(self, probe: Probe, weighed: Sequence[Hypothesis]) -> tuple[str, ...]:
        key = reading_key(self.model, probe)
        found = [probe.why]
        if key is not None:
            healthy = chances(self._seen(())[key], key[1])
            told = [
                h.what
                for h in weighed
                if len(h.faults) == 1
                and _overlap(healthy, chances(self._seen(h.faults)[key], key[1])) < 0.5
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
    return frozenset({first.node, second.node}), quantity


def _together(first: Fault, second: Fault) -> bool:
    """Return whether two faults can be told as two: not two states of one part."""
    ends = [f.places[0].split(".")[0] for f in (first, second)]
    kinds = {first.kind, second.kind}
    if first.nets and second.nets:
        return set(first.nets) != set(second.nets)
    if ends[0] != ends[1] or kinds == {FaultKind.OPEN_JOINT}:
        return True
    return FaultKind.MISSING not in kinds and len(kinds) > 1


def _information(given: Sequence[Vector], shares: Sequence[float]) -> float:
    import numpy as np

    stacked = np.array(given)
    weights = np.array(shares) / sum(shares)
    mixed = weights @ stacked

    def entropy(p: Vector) -> Vector:
        return np.asarray(-(p * np.log2(np.maximum(p, 1e-300))).sum(axis=-1))

    return float(entropy(mixed) - weights @ entropy(stacked))


def _overlap(one: Vector, other: Vector) -> float:
    import numpy as np

    return float(np.minimum(one, other).sum())


def _same(one: Outlook, other: Outlook, quantity: Quantity) -> bool:
    if one == other:
        return True
    return _overlap(chances(one, quantity), chances(other, quantity)) > SAME_OVERLAP


#: Two expectations that share this much of their chances are told apart by luck alone.
SAME_OVERLAP: Final = 0.75
