"""What one reading proves: each bound of the verdict, worked out by hand beside it."""

from __future__ import annotations

import pytest

from nettrace.bench.job import Damage, Fit, JobState, Mark, MeterMode, Reading
from nettrace.bench.judging import Judged, judge_reading
from nettrace.electrical.charging import explain_supply
from tests.circuit_language import circuit

CIRCUIT = circuit(
    """
    J1 VDD GND SDA : HDR
    R1 SDA VDD 10k 1%
    R2 A B 10k 1%
    R3 B C 0R
    R5 K L 33R 1%
    R6 C N 0R
    R7 E VDD 100R 1%
    C1 VDD GND 10uF 10% X5R
    C2 N GND 100pF 5% C0G
    D1 P VDD BAT54
    U1 VDD=VDD GND=GND IO=SDA E=E K=K L=L : LM75
    """,
    rails={"VDD": 1.8},
)


def judge(
    at: str, to: str, quantity: str, value: float | None, state: JobState | None = None
) -> Judged:
    reading = Reading(
        number=9, time="", at=at, to=to, quantity=MeterMode(quantity), value=value
    )  # fmt: skip
    return judge_reading(CIRCUIT, state or JobState(), reading)


# 10 kΩ 1 %: at most 10100 + meter (0.9 % of 10100 + 2 counts of 10 Ω) + leads 0.5 Ω = 10211.4 Ω;
# at least 9900 - (0.9 % of 10000 + 20) = 9790 Ω; a chip beside it takes a tenth more: 8811 Ω.
# Meter and leads as in nettrace/electrical/meter.py; the limits of a short, 5 and 50 Ω, and the
# tenth are common practice, no source.
OHMS = [
    ("A", "B", 10211.0, "pass", "for 10 kΩ"),
    ("A", "B", 10212.0, "fail", "an open joint, a missing or a wrong part"),
    ("A", "B", None, "fail", "overload is above 10.21 kΩ"),
    ("A", "B", 9790.0, "pass", "for 10 kΩ"),
    ("A", "B", 9789.0, "fail", "below 9.9 kΩ and nothing unknown lies beside it"),
    ("B", "C", 0.4, "pass", "for 0 Ω"),
    ("B", "C", 2.0, "fail", "the most a sound board can show"),
    # a chip on the line: a low reading proves nothing until it is a short
    ("SDA", "VDD", 10212.0, "fail", "is above"),
    ("SDA", "VDD", 9790.0, "pass", "9.79 kΩ for 10 kΩ"),
    ("SDA", "VDD", 9789.0, "pass", "chips beside it take so much off"),
    ("SDA", "VDD", 8811.0, "pass", "chips beside it"),
    ("SDA", "VDD", 8810.0, "open question", "compare with a like pad or a good board"),
    ("SDA", "VDD", 5.1, "open question", "lift one end"),
    ("SDA", "VDD", 5.0, "fail", "where 10 kΩ belongs: a short"),
    ("E", "VDD", 5.0, "fail", "where 100 Ω belongs: a short"),
    ("K", "L", 5.0, "open question", "below 33 Ω"),
    # nothing known joins the two
    ("A", "P", 5.0, "fail", "a bridge or a short"),
    ("A", "P", 5.1, "open question", "low for two nets"),
    ("A", "P", 49.9, "open question", "low for two nets"),
    ("A", "P", 50.0, "open question", "nothing at all joins the two: flux or dirt?"),
    ("A", "P", None, "pass", "overload: no short"),
    ("VDD", "GND", 5.0, "fail", "to find before power comes on"),
    ("VDD", "GND", 49.9, "open question", "processors' rails read so in health"),
    ("VDD", "GND", 50.0, "pass", "50 Ω: no short"),
]

# beepers stop somewhere from 20 to 250 Ω (nettrace/electrical/meter.py)
BEEPS = [
    ("B", "C", 1.0, "pass", "it beeps"),
    ("B", "C", 0.0, "fail", "an open joint or a cut track"),
    ("K", "L", 1.0, "open question", "33 Ω belongs there: measure ohms"),
    ("K", "L", 0.0, "open question", "some meters beep, some do not"),
    ("SDA", "VDD", 0.0, "pass", "no beep"),
    ("SDA", "VDD", 1.0, "fail", "a bridge"),
    ("A", "P", 1.0, "fail", "a bridge"),
    ("A", "P", 0.0, "pass", "no beep"),
    ("VDD", "GND", 1.0, "open question", "a short, or a heavy load"),
    ("SDA", "GND", 1.0, "fail", "a bridge"),
]

# 25 % each way (tolerance 20 %, meter 5 %), class 2 may have lost 30 % more; below half, or below
# the least that may be sound, it is the wrong part (common practice, no source)
FARADS = [
    ("VDD", "GND", 12.4e-6, "pass", "12.4 µF for 10 µF"),
    ("VDD", "GND", 12.6e-6, "open question", "others add, or a wrong part"),
    ("VDD", "GND", 8.1e-6, "pass", "8.1 µF for 10 µF"),
    ("VDD", "GND", 7.9e-6, "pass", "class 2 falls with age"),
    ("VDD", "GND", 4.6e-6, "pass", "class 2 falls with age"),
    ("VDD", "GND", 4.4e-6, "fail", "missing or wrong"),
    ("VDD", "GND", None, "open question", "shorted, or a low resistance lies beside it"),
    ("N", "GND", 126e-12, "open question", "more than 100 pF"),
    ("N", "GND", 76e-12, "pass", "76 pF for 100 pF"),
    ("N", "GND", 74e-12, "open question", "74 pF is low for 100 pF"),
    ("N", "GND", 51e-12, "open question", "low for 100 pF"),
    ("N", "GND", 49e-12, "fail", "missing or wrong"),
    ("A", "B", 1e-9, "open question", "no known capacitor lies there"),
    ("A", "B", None, "open question", "shorted, or a low resistance"),
    ("K", "L", None, "open question", "the resistance beside it is too low"),
]

# ranges of diode mode: nettrace/electrical/meter.py
DIODES = [
    ("SDA", "GND", 0.01, "fail", "0.01 V: a short"),
    ("B", "C", 0.01, "pass", "a known path of 0 Ω"),
    ("K", "L", 0.01, "pass", "a known path of 33 Ω"),
    ("SDA", "GND", 0.3, "pass", "Schottky"),
    ("SDA", "GND", 0.6, "pass", "0.6 V: junction"),
    ("SDA", "GND", -0.6, "pass", "junction"),
    ("SDA", "GND", 1.5, "pass", "two junctions"),
    ("SDA", "GND", None, "open question", "OL: open"),
]

# a rail of 1.8 V ±5 % where no file gives limits; a meter of 0.5 % and 20 mV: 1.681 to 1.919 V
VOLTS = [
    ("VDD", "GND", 1.8, "pass", "1.8 V for 1.8 V"),
    ("VDD", "GND", 1.918, "pass", "for 1.8 V"),
    ("VDD", "GND", 1.920, "fail", "1.92 V where 1.71 to 1.89 V belong"),
    ("VDD", "GND", 1.682, "pass", "for 1.8 V"),
    ("VDD", "GND", 1.680, "fail", "1.68 V where"),
    ("VDD", "GND", None, "open question", "a higher range"),
    ("GND", "VDD", -1.8, "pass", "-1.8 V for -1.8 V"),
    ("GND", "VDD", 1.8, "fail", "where -1.89 to -1.71 V belong"),
    ("SDA", "GND", 1.8, "pass", "for 1.8 V"),
    # a chip may hold the line low, whichever probe is on it
    ("SDA", "GND", 0.0, "open question", "while nothing drives the net"),
    ("VDD", "SDA", 1.8, "open question", "while nothing drives the net"),
    ("VDD", "SDA", 0.0, "pass", "0 V for 0 V"),
    ("A", "GND", 1.8, "open question", "not known: compare with a good board"),
    ("VDD", "A", 1.8, "open question", "not known"),
]

CASES = [
    (quantity, *row)
    for quantity, rows in (
        ("ohms", OHMS), ("beep", BEEPS), ("farads", FARADS), ("diode", DIODES), ("volts", VOLTS),
    )
    for row in rows
]  # fmt: skip


@pytest.mark.parametrize(("quantity", "at", "to", "value", "state", "reason"), CASES)
def test_the_verdict_and_its_reason(
    quantity: str, at: str, to: str, value: float | None, state: str, reason: str
) -> None:
    found = judge(at, to, quantity, value)
    assert (found.state.value, reason in found.because) == (state, True), found.because


def test_volts_that_hang_on_a_rail_of_unknown_voltage_prove_nothing() -> None:
    # SDA is pulled to VSYS, which is somewhere above 0 V, and to ground
    unknown = circuit(
        """
        R1 SDA VSYS 10k
        R2 SDA GND 10k
        C1 VSYS GND 10uF
        U1 VDD=VSYS GND=GND IO=SDA : LM75
        """
    )
    for at, reason in (("SDA", "SDA hangs on VSYS"), ("VSYS", "the voltage of VSYS is not known")):
        for value in (0.0, 1.65):
            reading = Reading(
                number=9, time="", at=at, to="GND", quantity=MeterMode.VOLTS, value=value
            )
            found = judge_reading(unknown, JobState(), reading)
            assert (found.state.value, found.expected) == ("open question", "not known")
            assert found.because.startswith(reason)


def test_age_is_the_reason_only_for_class_2_and_only_where_the_tolerance_does_not_reach() -> None:
    assert "age" not in judge("N", "GND", "farads", 76e-12).because
    assert "age" not in judge("VDD", "GND", "farads", 8.1e-6).because
    assert "age" in judge("VDD", "GND", "farads", 7.9e-6).because


def test_what_a_sound_board_shows_stands_beside_the_verdict() -> None:
    assert judge("A", "B", "ohms", 1.0).expected == "10 kΩ"
    assert judge("VDD", "GND", "volts", 0.0).expected == "1.8 V (1.71 to 1.89 V)"
    assert judge("B", "C", "beep", 1.0).expected == "beeps"


def refitted(ref: str, number: int) -> JobState:
    mark = Mark(number=1, time="", at=ref, damage=Damage.MISSING)
    return JobState(damaged={ref: mark}, refitted={ref: Fit(number=number, time="", at=ref)})


def test_overload_across_a_refitted_diode_is_no_short_and_no_proof() -> None:
    found = judge("P", "VDD", "diode", None, refitted("D1", 2))
    assert found.state.value == "pass"
    assert "a missing one too: look" in found.because


@pytest.mark.parametrize(("refit", "counts"), [(8, True), (9, False), (10, False)])
def test_a_reading_counts_if_it_came_after_the_last_refit(refit: int, counts: bool) -> None:
    assert judge("A", "B", "ohms", 10e3, refitted("R2", refit)).counts is counts
    supply = judge("supply", "supply", "amperes", 0.5, refitted("R2", refit))
    assert supply.counts is counts


def test_a_place_that_is_not_there_is_named() -> None:
    assert judge("R1.9", "GND", "ohms", 1.0).because.startswith("R1.9 is no place")
    lost = judge("GND", "NOWHERE", "ohms", 1.0)
    assert lost.because.startswith("NOWHERE is no place")
    assert lost.state.value == "open question"


def supply(volts: list[tuple[str, float | None]], amperes: float | None) -> Judged:
    """Judge amperes at `supply` after readings of (place, volts)."""
    readings = tuple(
        Reading(number=at, time="", at=place, to=place, quantity=MeterMode.VOLTS, value=value)
        for at, (place, value) in enumerate(volts, 1)
    )
    return judge("supply", "supply", "amperes", amperes, JobState(readings=readings))


def test_amperes_are_read_with_the_newest_volts_of_the_same_place() -> None:
    # stages as in nettrace/electrical/charging.py: at 15 V, 0.05 A is idle and 1.5 A a charge
    idle = supply([("supply", 5.0), ("supply", 15.0), ("other", 5.0), ("supply", None)], 0.05)
    assert idle.because.startswith("negotiated, not charging")
    assert "usually missing: " in idle.because
    assert idle.state.value == "open question"
    assert supply([("supply", 15.0)], 1.5).state.value == "pass"
    assert supply([("supply", 0.0)], 0.0).because.startswith("no supply")


@pytest.mark.parametrize(
    ("volts", "amperes"),
    [([], 0.5), ([("other", 5.0)], 0.5), ([("supply", 5.0)], None), ([("supply", 5.0)], -0.1),
     ([("supply", -5.0)], 0.1)],
)  # fmt: skip
def test_amperes_alone_tell_no_stage(
    volts: list[tuple[str, float | None]], amperes: float | None
) -> None:
    found = supply(volts, amperes)
    assert found.state.value == "open question"
    assert found.because == "enter the volts at supply too: the two tell the stage"


def test_what_is_usually_missing_at_a_stage_is_the_likeliest() -> None:
    meaning = explain_supply(5.0, 0.0)
    found = supply([("supply", 5.0)], 0.0)
    assert meaning.missing
    assert found.because.endswith(f"; usually missing: {meaning.missing[0]}")
    charging = explain_supply(5.0, 1.5)
    assert not charging.missing
    assert supply([("supply", 5.0)], 1.5).because == f"{charging.stage}: {charging.text}"


def test_a_beeper_that_may_or_may_not_sound_is_told_the_figure() -> None:
    assert "33 Ω belongs there" in judge("K", "L", "beep", 0.0).because
    assert judge("R3.1", "R3.2", "beep", 1.0).because == "it beeps"
    assert judge("A", "B", "beep", 0.0).because == "no beep"
