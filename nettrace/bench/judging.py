"""One reading against what a sound board shows: pass, fail, or an open question, and why.

A reading above the bound proves a fault; one below proves nothing unless the figure is exact,
for chips lie beside it. A rail of a few ohms to ground is a short; a beep between neighbours that
nothing joins is a bridge. Readings of good boards are the last word where no figure can be
computed.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from statistics import median
from typing import Final

from nettrace.bench.job import JobState, MeterMode, Reading
from nettrace.bench.prediction import Outlook, Predictor, VoltsRange
from nettrace.bench.probes import expect_words
from nettrace.circuit.circuit import Circuit
from nettrace.electrical.charging import explain_supply
from nettrace.electrical.meter import BEEPER_RANGE_OHMS, LEAD_OHMS, meter_error, read_diode
from nettrace.electrical.power_off import CLASS_2_DROP
from nettrace.errors import BadInput, Place
from nettrace.values.quantity import engineering, read_quantity

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
#: A meter's own error on volts, V and as a fraction.
VOLTS_ERROR: Final = (0.02, 0.005)


class ReadingState(StrEnum):
    """How a reading stands."""

    PASS = "pass"  # noqa: S105 - a verdict, not a secret
    FAIL = "fail"
    OPEN = "open question"


_PASS, _FAIL, _OPEN = ReadingState.PASS, ReadingState.FAIL, ReadingState.OPEN


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
    predictor = Predictor(circuit, replace(state, readings=(*state.readings, reading)))
    return judge_with(predictor, state, reading)


def judge_with(predictor: Predictor, state: JobState, reading: Reading) -> Judged:
    """Return the verdict on a reading with a predictor at hand."""
    counts = reading.number > state.last_refit
    if reading.quantity is MeterMode.AMPERES:
        return Judged(reading, *_amperes(state, reading), "see the charging stages", counts)
    pair = predictor.pair(reading.at, reading.to)
    if pair is None:
        lost = reading.at if predictor.spot(reading.at) is None else reading.to
        because = f"{lost} is no place on a net of this board"
        return Judged(reading, _OPEN, because, "", counts)
    outlook = predictor.outlooks([pair])[0]
    a, b = (predictor.expected_volts(spot) for spot in pair)
    volts = None if a is None or b is None else (a[0] - b[0], a[1] - b[2], a[2] - b[1])
    value = reading.value
    match reading.quantity:
        case MeterMode.OHMS:
            verdict = _ohms(outlook, math.inf if value is None else value)
        case MeterMode.BEEP:
            verdict = _beep(outlook, bool(value))
        case MeterMode.FARADS:
            verdict = _farads(outlook, value)
        case MeterMode.DIODE:
            verdict = _diode(outlook, value)
        case _:
            # a line may be driven to another level: only supplies have one voltage that belongs
            supply = all(predictor.is_supply(spot.net) for spot in pair)
            unknown = [why for spot in pair if (why := predictor.board.why_unknown(spot.net))]
            verdict = _volts(supply, value, volts, unknown)
    expected = expect_words(outlook, reading.quantity, volts)[0]
    return Judged(reading, *verdict, expected, counts)


def _ohms(o: Outlook, ohms: float) -> _Verdict:
    shown = engineering(ohms, "Ω") if math.isfinite(ohms) else "overload"
    if math.isinf(o.ohms):
        return _ohms_apart(o, ohms, shown)
    most = o.at_most + meter_error(o.at_most) + LEAD_OHMS[1]
    nominal = engineering(o.ohms, "Ω")
    if ohms > most:
        return _FAIL, (
            f"{shown} is above {engineering(most, 'Ω')}, the most a sound board can show: an open "
            "joint, a missing or a wrong part is proved"
        )
    least = o.at_least if o.exact else o.ohms * (2 - max(o.at_most / o.ohms, 1.0)) if o.ohms else 0
    error = meter_error(o.ohms)
    if ohms >= least - error:
        return _PASS, f"{shown} for {nominal}"
    if o.exact:
        return _FAIL, (
            f"{shown} is below {engineering(least, 'Ω')} and nothing unknown lies beside it: a "
            "wrong part or a short is proved"
        )
    if ohms >= (least - error) * (1 - CHIPS_SHARE):
        return _PASS, f"{shown} for {nominal}: chips beside it take so much off"
    if ohms <= SHORT_OHMS and o.ohms > LOW_OHMS:
        return _FAIL, f"{shown} where {nominal} belongs: a short"
    return _OPEN, (
        f"{shown} is below {nominal}; chips beside it may do that, or a wrong part: compare with "
        "a like pad or a good board, or lift one end"
    )


def _ohms_apart(o: Outlook, ohms: float, shown: str) -> _Verdict:
    """Judge ohms between two nets that no known part joins."""
    if ohms <= SHORT_OHMS:
        what = "a short: to find before power comes on" if o.supply else "a bridge or a short"
        return _FAIL, f"{shown} where no known part joins the two: {what}"
    if ohms < LOW_OHMS:
        return _OPEN, (
            f"{shown} is low for two nets that no known part joins: compare with a good board "
            "(processors' rails read so in health)"
        )
    if o.exact and math.isfinite(ohms):
        return _OPEN, f"{shown} where nothing at all joins the two: flux or dirt?"
    return _PASS, f"{shown}: no short"


def _beep(o: Outlook, beeps: bool) -> _Verdict:
    sure, never = BEEPER_RANGE_OHMS
    figure = engineering(o.ohms, "Ω") if math.isfinite(o.ohms) else ""
    if o.at_most <= sure:
        if beeps:
            return _PASS, "it beeps"
        return _FAIL, "no beep on one and the same net: an open joint or a cut track"
    if not beeps:
        if o.at_most > never:
            return _PASS, "no beep"
        return _OPEN, (
            f"no beep, but {figure} belongs there: some meters beep, some do not; measure ohms"
        )
    if figure and o.ohms <= never:
        return _OPEN, f"it beeps, and {figure} belongs there: measure ohms"
    if o.supply:
        return _OPEN, "it beeps between supplies: a short, or a heavy load; on ohms"
    return _FAIL, "it beeps between nets that nothing of so few ohms joins: a bridge"


def _farads(o: Outlook, farads: float | None) -> _Verdict:
    if farads is None:
        if o.ohms <= LOW_OHMS:
            return _OPEN, "no figure: the resistance beside it is too low for the meter"
        return _OPEN, "no figure: shorted, or a low resistance lies beside it; on ohms"
    shown, nominal = engineering(farads, "F", 3), engineering(o.farads, "F")
    if not o.farads:
        return _OPEN, f"{shown}, and no known capacitor lies there"
    low = 1 - FARADS_TOLERANCE - FARADS_ERROR - (CLASS_2_DROP if o.class_2 else 0.0)
    if farads > o.farads * (1 + FARADS_TOLERANCE + FARADS_ERROR):
        return _OPEN, f"{shown} is more than {nominal}: others add, or a wrong part"
    if farads >= o.farads * low:
        falls = o.class_2 and farads < o.farads * (1 - FARADS_TOLERANCE)
        aged = " (class 2 falls with age)" if falls else ""
        return _PASS, f"{shown} for {nominal}{aged}"
    if farads < o.farads * min(low, FARADS_WRONG):
        return _FAIL, f"{shown} where {nominal} belongs: missing or wrong"
    return _OPEN, f"{shown} is low for {nominal}"


def _diode(o: Outlook, volts: float | None) -> _Verdict:
    found = read_diode(None if volts is None else abs(volts))
    shown = "OL" if volts is None else f"{volts:g} V"
    if found.state == "short or very low ohms":
        if o.at_most <= BEEPER_RANGE_OHMS[1]:
            return _PASS, f"a known path of {engineering(o.ohms, 'Ω')} lies beside it"
        return _FAIL, f"{shown}: {found.text}"
    if found.state != "open":
        return _PASS, f"{shown}: {found.state}"
    if not o.diode:
        return _OPEN, f"{shown}: {found.text}"
    return _PASS, (
        f"{shown}: not shorted; a two-way or reversed part shows so, a missing one too: look"
    )


def _volts(
    supply: bool, volts: float | None, expected: VoltsRange | None, unknown: Sequence[str]
) -> _Verdict:
    if volts is None:
        return _OPEN, "no figure: measure again in a higher range"
    if expected is None:
        why = "; ".join(unknown) or "what belongs there is not known"
        return _OPEN, f"{why}: compare with a good board"
    nominal, low, high = expected
    error = VOLTS_ERROR[0] + VOLTS_ERROR[1] * abs(nominal)
    if low - error <= volts <= high + error:
        return _PASS, f"{volts:.3g} V for {nominal:.3g} V"
    if supply:
        return _FAIL, f"{volts:.3g} V where {low:.3g} to {high:.3g} V belong"
    return _OPEN, f"{volts:.3g} V where {nominal:.3g} V belong while nothing drives the net"


def _amperes(state: JobState, reading: Reading) -> _Verdict:
    """Return how far a charge has come by the supply's display: the newest volts belong to it."""
    volts = next(
        (r.value for r in reversed(state.readings)
         if r.quantity is MeterMode.VOLTS and r.at == reading.at and r.value is not None),
        None,
    )  # fmt: skip
    if volts is None or reading.value is None or reading.value < 0 or volts < 0:
        return _OPEN, f"enter the volts at {reading.at} too: the two tell the stage"
    meaning = explain_supply(volts, reading.value)
    missing = f"; usually missing: {meaning.missing[0]}" if meaning.missing else ""
    return _PASS if meaning.charging else _OPEN, f"{meaning.stage}: {meaning.text}{missing}"


# -- good boards --------------------------------------------------------------------------------

#: Fewer good boards than this say nothing of the spread.
FEWEST: Final = 3
#: Scale of the median absolute deviation to a standard deviation (normal distribution, from
#: memory), and so many of them are allowed.
MAD_TO_SIGMA: Final = 1.4826
SIGMAS: Final = 4.0
#: Spread allowed at least, as a fraction: three boards of one batch may agree by chance.
LEAST_SPREAD: Final = 0.05
COLUMNS: Final = ("place", "to", "quantity", "value", "board")

_UNITS: Final = {
    MeterMode.OHMS: "Ω", MeterMode.FARADS: "F", MeterMode.DIODE: "V", MeterMode.VOLTS: "V",
    MeterMode.AMPERES: "A", MeterMode.BEEP: "",
}  # fmt: skip
#: Quantities compared by their logarithms, and what counts as 0 there: leads add up to half an
#: ohm, so figures near 0 are taken together.
_ZERO: Final = {MeterMode.OHMS: 0.5, MeterMode.FARADS: 5e-12}
_BEEPS: Final = {"beep": 1.0, "yes": 1.0, "1": 1.0, "none": 0.0, "no": 0.0, "0": 0.0}


@dataclass(frozen=True, slots=True)
class KnownReading:
    """One reading of a good board; `value` None is overload."""

    place: str
    to: str
    quantity: MeterMode
    value: float | None
    board: str


@dataclass(frozen=True, slots=True)
class Likeness:
    """A reading against good boards: `alike` None where there are too few."""

    alike: bool | None
    boards: int
    middle: float | None
    because: str


@dataclass(frozen=True)
class KnownGood:
    """The readings of good boards, by places (in either order) and quantity."""

    readings: tuple[KnownReading, ...]

    def compare(
        self, names: Iterable[tuple[str, str]], quantity: MeterMode, value: float | None
    ) -> Likeness | None:
        """Compare a reading robustly; None where no good board was measured there.

        Args:
            names: the pairs of words that mean these two places; the order of a pair counts only
                in diode mode and for volts.
            quantity: what the meter was set to.
            value: the reading, None for overload.

        Method: the newest reading of each board; median, and the median absolute deviation
        scaled to a standard deviation; on ohms and farads of the logarithms.
        """
        turns = quantity in {MeterMode.DIODE, MeterMode.VOLTS}

        def key(a: str, b: str) -> tuple[str, ...]:
            ends = (a.casefold(), b.casefold())
            return ends if turns else tuple(sorted(ends))

        wanted = {key(a, b) for a, b in names}
        newest = {
            item.board: item.value
            for item in self.readings
            if item.quantity is quantity and key(item.place, item.to) in wanted
        }
        if not newest:
            return None
        zero = _ZERO.get(quantity)

        def scale(item: float | None) -> float:
            if item is None:
                return math.inf
            return item if zero is None else math.log(max(item, 0.0) + zero)

        count = len(newest)
        scaled = [scale(found) for found in newest.values()]
        middle = median(scaled)
        typical: float | None = middle if zero is None else max(0.0, math.exp(middle) - zero)
        if math.isinf(middle):
            typical = None
        if typical is None:
            shown = "OL"
        elif quantity is MeterMode.BEEP:
            shown = "beeps" if typical >= 0.5 else "no beep"
        else:
            shown = engineering(typical, _UNITS[quantity], 3)
        if count < FEWEST:
            words = f"{count} good board{'s' if count > 1 else ''} ({shown}): too few to judge by"
            return Likeness(None, count, typical, words)
        # two overloads are alike, though no number
        spread = median(0.0 if item == middle else abs(item - middle) for item in scaled)
        allowed = LEAST_SPREAD * max(abs(middle), 0.2) if zero is None else math.log1p(LEAST_SPREAD)
        if math.isfinite(spread):
            allowed = max(SIGMAS * MAD_TO_SIGMA * spread, allowed)
        mine = scale(value)
        alike = mine == middle or abs(mine - middle) <= allowed
        verb = "as on" if alike else "unlike"
        return Likeness(alike, count, typical, f"{verb} {count} good boards (median {shown})")


def read_known_good(text: str, path: str) -> KnownGood:
    """Return the readings in a CSV text (`place,to,quantity,value,board`, in any order).

    One reading a line; value `OL` is overload.

    Raises:
        BadInput: a column is missing, a quantity or value is not one; with line and hint.
    """
    rows = csv.reader(io.StringIO(text.removeprefix("\ufeff")))
    heading = [cell.strip().casefold() for cell in next(rows, [])]
    lacking = [column for column in COLUMNS if column not in heading]
    if lacking:
        raise BadInput(
            f"no column {lacking[0]!r}",
            expected=",".join(COLUMNS),
            hint="The first line names the columns.",
            place=Place(path, 1, 1),
        )
    found: list[KnownReading] = []
    for row in rows:
        if not any(cell.strip() for cell in row):
            continue
        place = Place(path, rows.line_num, 0)
        if len(row) < len(heading):
            raise BadInput(f"{len(row)} cells", expected=f"{len(heading)}", place=place)
        at, to, said, figure, board = (row[heading.index(column)].strip() for column in COLUMNS)
        try:
            quantity = MeterMode(said.casefold())
        except ValueError:
            known = "one of " + ", ".join(MeterMode)
            raise BadInput(repr(said), expected=known, place=place) from None
        found.append(KnownReading(at, to, quantity, _value(figure, quantity, place), board))
    return KnownGood(tuple(found))


def _value(text: str, quantity: MeterMode, place: Place) -> float | None:
    if quantity is MeterMode.BEEP:
        if text.casefold() in _BEEPS:
            return _BEEPS[text.casefold()]
        raise BadInput(repr(text), expected="beep or none", place=place)
    if text.casefold() in {"ol", "open", "overload", "none"}:
        return None
    unit = _UNITS[quantity]
    found = read_quantity(text, unit)
    if found is None or found.unit not in {None, unit}:
        raise BadInput(
            repr(text), expected=f"a value in {unit}, or OL", place=place,
            hint="Write it like 2k2, 100n or 0.45.",
        )  # fmt: skip
    return found.value
