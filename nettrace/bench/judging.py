"""One reading against what a sound board shows: pass, fail, or an open question, and why.

A reading above the bound proves a fault; one below proves nothing unless the figure is exact,
for chips lie beside it. A rail of a few ohms to ground is a short; a beep between neighbours that
nothing joins is a bridge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from nettrace.bench.chances import CLASS_2_DROP, Outlook
from nettrace.bench.job import Quantity, Reading
from nettrace.bench.job_state import JobState
from nettrace.bench.predict import Model, Spot
from nettrace.bench.probes import expect_words, make_model
from nettrace.circuit.circuit import Circuit
from nettrace.electrical.bounds import meter_error
from nettrace.electrical.charging import explain_supply
from nettrace.electrical.meter import BEEPER_RANGE_OHMS, LEAD_OHMS, read_diode
from nettrace.values.quantity import engineering

__all__ = ["Judged", "ReadingState", "judge_reading", "judge_with"]

#: To ground or to a neighbour less than this is a short, Ω (common practice, no source).
SHORT_OHMS: Final = 5.0
#: Below this it may be one: to be compared with a good board, Ω (common practice, no source).
LOW_OHMS: Final = 50.0
#: What chips beside a part take off its reading in health, as a fraction (common practice, no
#: source); a part of the next value of its series is not told by that.
CHIPS_SHARE: Final = 0.10
#: Farads: error of a meter and stray; other parts behind resistors may add, as fractions.
FARADS_ERROR: Final = 0.05
FARADS_TOLERANCE: Final = 0.20
#: Least share of the expected capacitance that may still be the right part, aged and biased.
FARADS_WRONG: Final = 0.5
#: A meter's own error on volts, V.
VOLTS_ERROR: Final = 0.02


class ReadingState(StrEnum):
    """The contract's words for a reading."""

    PASS = "pass"  # noqa: S105 - a verdict, not a secret
    FAIL = "fail"
    OPEN = "open question"


@dataclass(frozen=True, slots=True)
class Judged:
    """A reading with its verdict.

    Attributes:
        reading: the job's entry.
        state: pass, fail, open question.
        because: the reason, in a technician's words.
        expected: what a sound board shows, in words.
        counts: taken after the last refit, and not measured again since.
    """

    reading: Reading
    state: ReadingState
    because: str
    expected: str
    counts: bool


_Verdict = tuple[ReadingState, str]


def judge_reading(circuit: Circuit, state: JobState, reading: Reading) -> Judged:
    """Return what one reading proves about the board as the job has repaired it."""
    from dataclasses import replace

    model = make_model(circuit, replace(state, readings=(*state.readings, reading)))
    return judge_with(model, state, reading)


def judge_with(model: Model, state: JobState, reading: Reading) -> Judged:
    """Return the verdict on a reading with a model at hand."""
    counts = reading.number > state.last_refit
    if reading.quantity is Quantity.AMPERES:
        verdict, because = _amperes(state, reading)
        return Judged(reading, verdict, because, "see the charging stages", counts)
    first, second = model.spot(reading.at), model.spot(reading.to)
    if first is None or second is None:
        lost = reading.at if first is None else reading.to
        because = f"{lost} is no place on a net of this board"
        return Judged(reading, ReadingState.OPEN, because, "", counts)
    outlook = model.outlooks([(first, second)])[0]
    volts = _volts_expected(model, first, second)
    expected = expect_words(outlook, reading.quantity, volts)[0]
    verdict, because = _judge(model, reading, (first, second), outlook, volts)
    return Judged(reading, verdict, because, expected, counts)


def _judge(
    model: Model,
    reading: Reading,
    places: tuple[Spot, Spot],
    outlook: Outlook,
    volts: tuple[float, float, float] | None,
) -> _Verdict:
    value = reading.value
    if reading.quantity is Quantity.OHMS:
        return _ohms(outlook, math.inf if value is None else value)
    if reading.quantity is Quantity.BEEP:
        return _beep(outlook, bool(value))
    if reading.quantity is Quantity.FARADS:
        return _farads(outlook, value)
    if reading.quantity is Quantity.DIODE:
        return _diode(outlook, value)
    # a line may be driven to another level: only supplies have one voltage that belongs
    return _volts(all(model.is_supply(place.net) for place in places), value, volts)


def _ohms(o: Outlook, ohms: float) -> _Verdict:
    shown = engineering(ohms, "Ω") if math.isfinite(ohms) else "overload"
    lead = LEAD_OHMS[1]
    if math.isinf(o.ohms):
        return _ohms_apart(o, ohms, shown)
    most = o.at_most + meter_error(o.at_most) + lead
    nominal = engineering(o.ohms, "Ω")
    if ohms > most:
        return ReadingState.FAIL, (
            f"{shown} is above {engineering(most, 'Ω')}, the most a sound board can show: an open "
            "joint, a missing or a wrong part is proved"
        )
    least = o.at_least if o.exact else o.ohms * (2 - max(o.at_most / o.ohms, 1.0)) if o.ohms else 0
    error = meter_error(o.ohms)
    if ohms >= least - error:
        return ReadingState.PASS, f"{shown} for {nominal}"
    if o.exact:
        return ReadingState.FAIL, (
            f"{shown} is below {engineering(least, 'Ω')} and nothing unknown lies beside it: a "
            "wrong part or a short is proved"
        )
    if ohms >= (least - error) * (1 - CHIPS_SHARE):
        return ReadingState.PASS, f"{shown} for {nominal}: chips beside it take so much off"
    if ohms <= SHORT_OHMS and o.ohms > LOW_OHMS:
        return ReadingState.FAIL, f"{shown} where {nominal} belongs: a short"
    return ReadingState.OPEN, (
        f"{shown} is below {nominal}; chips beside it may do that, or a wrong part: compare with "
        "a like pad or a good board, or lift one end"
    )


def _ohms_apart(o: Outlook, ohms: float, shown: str) -> _Verdict:
    if ohms <= SHORT_OHMS:
        what = "a short: to find before power comes on" if o.supply else "a bridge or a short"
        return ReadingState.FAIL, f"{shown} where no known part joins the two: {what}"
    if ohms < LOW_OHMS:
        return ReadingState.OPEN, (
            f"{shown} is low for two nets that no known part joins: compare with a good board "
            "(processors' rails read so in health)"
        )
    if o.exact and math.isfinite(ohms):
        return ReadingState.OPEN, f"{shown} where nothing at all joins the two: flux or dirt?"
    return ReadingState.PASS, f"{shown}: no short"


def _beep(o: Outlook, beeps: bool) -> _Verdict:
    sure, never = BEEPER_RANGE_OHMS
    if o.at_most <= sure:
        if beeps:
            return ReadingState.PASS, "it beeps"
        return ReadingState.FAIL, "no beep on one and the same net: an open joint or a cut track"
    if not beeps:
        if o.at_most <= never:
            return ReadingState.OPEN, (
                f"no beep, but {engineering(o.ohms, 'Ω')} belongs there: some meters beep, some "
                "do not; measure ohms"
            )
        return ReadingState.PASS, "no beep"
    if math.isfinite(o.ohms) and o.ohms <= never:
        figure = engineering(o.ohms, "Ω")
        return ReadingState.OPEN, f"it beeps, and {figure} belongs there: measure ohms"
    if o.supply:
        return ReadingState.OPEN, "it beeps between supplies: a short, or a heavy load; on ohms"
    return ReadingState.FAIL, "it beeps between nets that nothing of so few ohms joins: a bridge"


def _farads(o: Outlook, farads: float | None) -> _Verdict:
    if farads is None:
        if o.ohms <= LOW_OHMS:
            return ReadingState.OPEN, "no figure: the resistance beside it is too low for the meter"
        return ReadingState.OPEN, "no figure: shorted, or a low resistance lies beside it; on ohms"
    shown, nominal = engineering(farads, "F", 3), engineering(o.farads, "F")
    if not o.farads:
        return ReadingState.OPEN, f"{shown}, and no known capacitor lies there"
    low = 1 - FARADS_TOLERANCE - FARADS_ERROR - (CLASS_2_DROP if o.class_2 else 0.0)
    if farads > o.farads * (1 + FARADS_TOLERANCE + FARADS_ERROR):
        return ReadingState.OPEN, f"{shown} is more than {nominal}: others add, or a wrong part"
    if farads >= o.farads * low:
        falls = o.class_2 and farads < o.farads * (1 - FARADS_TOLERANCE)
        aged = " (class 2 falls with age)" if falls else ""
        return ReadingState.PASS, f"{shown} for {nominal}{aged}"
    if farads < o.farads * min(low, FARADS_WRONG):
        return ReadingState.FAIL, f"{shown} where {nominal} belongs: missing or wrong"
    return ReadingState.OPEN, f"{shown} is low for {nominal}"


def _diode(o: Outlook, volts: float | None) -> _Verdict:
    found = read_diode(None if volts is None else abs(volts))
    if found.state == "short or very low ohms":
        if o.at_most <= BEEPER_RANGE_OHMS[1]:
            return ReadingState.PASS, f"a known path of {engineering(o.ohms, 'Ω')} lies beside it"
        return ReadingState.FAIL, f"{volts:g} V: {found.text}"
    shown = "OL" if volts is None else f"{volts:g} V"
    if found.state == "open" and not o.diode:
        return ReadingState.OPEN, f"{shown}: {found.text}"
    if found.state == "open":
        return ReadingState.PASS, (
            f"{shown}: not shorted; a two-way or reversed part shows so, a missing one too: look"
        )
    return ReadingState.PASS, f"{shown}: {found.state}"


def _volts(
    supply: bool, volts: float | None, expected: tuple[float, float, float] | None
) -> _Verdict:
    if volts is None:
        return ReadingState.OPEN, "no figure: measure again in a higher range"
    if expected is None:
        return ReadingState.OPEN, "what belongs there is not known: compare with a good board"
    nominal, low, high = expected
    error = VOLTS_ERROR + 0.005 * abs(nominal)
    if low - error <= volts <= high + error:
        return ReadingState.PASS, f"{volts:.3g} V for {nominal:.3g} V"
    if supply:
        return ReadingState.FAIL, f"{volts:.3g} V where {low:.3g} to {high:.3g} V belong"
    return ReadingState.OPEN, (
        f"{volts:.3g} V where {nominal:.3g} V belong while nothing drives the net"
    )


def _volts_expected(model: Model, first: Spot, second: Spot) -> tuple[float, float, float] | None:
    """Return what belongs between two places, V; both have to be known."""
    a, b = model.expected_volts(first), model.expected_volts(second)
    if a is None or b is None:
        return None
    return a[0] - b[0], a[1] - b[2], a[2] - b[1]


def _amperes(state: JobState, reading: Reading) -> _Verdict:
    """Return how far a charge has come by the supply's display: the newest volts belong to it."""
    volts = next(
        (r.value for r in reversed(state.readings)
         if r.quantity is Quantity.VOLTS and r.at == reading.at and r.value is not None),
        None,
    )  # fmt: skip
    if volts is None or reading.value is None or reading.value < 0 or volts < 0:
        return ReadingState.OPEN, f"enter the volts at {reading.at} too: the two tell the stage"
    meaning = explain_supply(volts, reading.value)
    missing = f"; usually missing: {meaning.missing[0]}" if meaning.missing else ""
    state_found = ReadingState.PASS if meaning.charging else ReadingState.OPEN
    return state_found, f"{meaning.stage}: {meaning.text}{missing}"
