"""The verdict on a repair: restored, not restored, or not proven, with what speaks for it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from nettrace.bench.compare import Open, Short
from nettrace.bench.copper import Wired, find_pad, pad_name
from nettrace.bench.faults import Fault, FaultKind
from nettrace.bench.job import Quantity
from nettrace.bench.job_state import JobState
from nettrace.bench.judging import SHORT_OHMS, Judged, ReadingState, judge_with
from nettrace.bench.known_good import KnownGood
from nettrace.bench.probes import Probe
from nettrace.bench.suspicion import Hypothesis, Key, Suspicion, reading_key
from nettrace.circuit.circuit import Circuit
from nettrace.model.board import Pin
from nettrace.model.names import natural_key
from nettrace.values.quantity import engineering

__all__ = ["Check", "Suspect", "Verdict", "WrongValue", "check_job"]

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
