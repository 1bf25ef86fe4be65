"""One reading against what a sound board shows: pass, fail, or an open question, and why.

A reading above the bound proves a fault; one below proves nothing unless the figure is exact,
for chips lie beside it. A rail of a few ohms to ground is a short; a beep between neighbours that
nothing joins is a bridge.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from statistics import median
from typing import Final

from nettrace.bench.chances import CLASS_2_DROP, Outlook
from nettrace.bench.job import JobState, Quantity, Reading
from nettrace.bench.prediction import Predictor, Spot
from nettrace.bench.probes import expect_words, make_model
from nettrace.circuit.circuit import Circuit
from nettrace.electrical.charging import explain_supply
from nettrace.electrical.meter import BEEPER_RANGE_OHMS, LEAD_OHMS, meter_error, read_diode
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


def judge_with(model: Predictor, state: JobState, reading: Reading) -> Judged:
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
    model: Predictor,
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


def _volts_expected(
    model: Predictor, first: Spot, second: Spot
) -> tuple[float, float, float] | None:
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


# -- Readings from good boards: the last word where no figure can be computed.


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
    Quantity.OHMS: "Ω", Quantity.FARADS: "F", Quantity.DIODE: "V", Quantity.VOLTS: "V",
    Quantity.AMPERES: "A", Quantity.BEEP: "",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class KnownReading:
    """One reading of a good board; `value` None is overload."""

    place: str
    to: str
    quantity: Quantity
    value: float | None
    board: str


@dataclass(frozen=True, slots=True)
class Likeness:
    """A reading against good boards: `alike` None where there are too few."""

    alike: bool | None
    boards: int
    middle: float | None
    spread: float
    because: str


@dataclass(frozen=True)
class KnownGood:
    """The readings of good boards, by places (in either order) and quantity."""

    readings: tuple[KnownReading, ...]

    def compare(
        self, names: Iterable[tuple[str, str]], quantity: Quantity, value: float | None
    ) -> Likeness | None:
        """Compare a reading robustly; None where no good board was measured there.

        Args:
            names: the pairs of words that mean these two places; the order of a pair counts only
                in diode mode.
            quantity: what the meter was set to.
            value: the reading, None for overload.

        Method: the newest reading of each board; median, and the median absolute deviation
        scaled to a standard deviation; on ohms and farads of the logarithms.
        """
        wanted = {_key(a, b, quantity) for a, b in names}
        newest: dict[str, float | None] = {}
        for item in self.readings:
            if item.quantity is quantity and _key(item.place, item.to, quantity) in wanted:
                newest[item.board] = item.value
        if not newest:
            return None
        return _compare(newest, quantity, value)


def _key(a: str, b: str, quantity: Quantity) -> tuple[str, ...]:
    ends = (a.casefold(), b.casefold())
    return ends if quantity in {Quantity.DIODE, Quantity.VOLTS} else tuple(sorted(ends))


def _compare(
    boards: Mapping[str, float | None], quantity: Quantity, value: float | None
) -> Likeness:
    count = len(boards)
    scaled = [_scale(found, quantity) for found in boards.values()]
    middle = median(scaled)
    shown = _words(_back(middle, quantity), quantity)
    # two overloads are alike, though no number
    spread = median(0.0 if item == middle else abs(item - middle) for item in scaled)
    spread *= MAD_TO_SIGMA
    logs = quantity in _LEAST
    floor = math.log1p(LEAST_SPREAD) if logs else LEAST_SPREAD * max(abs(middle), 0.2)
    allowed = max(SIGMAS * spread, floor) if math.isfinite(spread) else floor
    mine = _scale(value, quantity)
    alike = mine == middle or abs(mine - middle) <= allowed
    if count < FEWEST:
        words = f"{count} good board{'s' if count > 1 else ''} ({shown}): too few to judge by"
        return Likeness(None, count, _back(middle, quantity), spread, words)
    verb = "as on" if alike else "unlike"
    words = f"{verb} {count} good boards (median {shown})"
    return Likeness(alike, count, _back(middle, quantity), spread, words)


#: Quantities compared by their logarithms, and what counts as 0 there: a meter's last digit.
_LEAST: Final = {Quantity.OHMS: 0.1, Quantity.FARADS: 1e-12}


def _scale(value: float | None, quantity: Quantity) -> float:
    if value is None:
        return math.inf
    least = _LEAST.get(quantity)
    # leads add up to half an ohm, so figures near 0 are taken together
    return value if least is None else math.log(max(value, 0.0) + 5 * least)


def _back(value: float, quantity: Quantity) -> float | None:
    if math.isinf(value):
        return None
    least = _LEAST.get(quantity)
    return value if least is None else max(0.0, math.exp(value) - 5 * least)


def _words(value: float | None, quantity: Quantity) -> str:
    if value is None:
        return "OL"
    if quantity is Quantity.BEEP:
        return "beeps" if value >= 0.5 else "no beep"
    return engineering(value, _UNITS[quantity], 3)


def read_known_good(text: str, path: str) -> KnownGood:
    """Return the readings in a CSV text (`place,to,quantity,value,board`, in any order).

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
    at = {column: heading.index(column) for column in COLUMNS}
    found: list[KnownReading] = []
    for row in rows:
        if not any(cell.strip() for cell in row):
            continue
        place = Place(path, rows.line_num, 0)
        if len(row) < len(heading):
            raise BadInput(f"{len(row)} cells", expected=f"{len(heading)}", place=place)
        cells = {column: row[index].strip() for column, index in at.items()}
        quantity = _quantity(cells["quantity"], place)
        value = _value(cells["value"], quantity, place)
        found.append(KnownReading(cells["place"], cells["to"], quantity, value, cells["board"]))
    return KnownGood(tuple(found))


def _quantity(text: str, place: Place) -> Quantity:
    try:
        return Quantity(text.casefold())
    except ValueError:
        raise BadInput(repr(text), expected="one of " + ", ".join(Quantity), place=place) from None


def _value(text: str, quantity: Quantity, place: Place) -> float | None:
    if text.casefold() in {"ol", "open", "overload", "none"} and quantity is not Quantity.BEEP:
        return None
    if quantity is Quantity.BEEP:
        said = {"beep": 1.0, "yes": 1.0, "1": 1.0, "none": 0.0, "no": 0.0, "0": 0.0}
        if text.casefold() in said:
            return said[text.casefold()]
        raise BadInput(repr(text), expected="beep or none", place=place)
    found = read_quantity(text, _UNITS[quantity] or None)
    if found is None or found.unit not in {None, _UNITS[quantity]}:
        raise BadInput(
            repr(text), expected=f"a value in {_UNITS[quantity]}, or OL", place=place,
            hint="Write it like 2k2, 100n or 0.45.",
        )  # fmt: skip
    return found.value
