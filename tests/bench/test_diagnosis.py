"""The verdict on a repair, and how often the true fault is found on boards broken at random."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nettrace.bench.chances import bin_of, chances
from nettrace.bench.diagnosis import Check, Suspicion, Verdict, check_job, next_probe
from nettrace.bench.faults import FaultKind
from nettrace.bench.job import Damage, JobState, Mark, MeterMode, Reading
from nettrace.bench.judging import KnownGood, KnownReading, ReadingState, judge_reading
from nettrace.bench.prediction import Outlook
from nettrace.bench.probes import Probe
from nettrace.circuit.circuit import Circuit
from nettrace.loading import load
from tests.bench.diagnosis_table import REAL, SEVEN, real_rows, wren_rows, wrong_rows
from tests.bench.simulator import FIRST_READING, HEADING, BrokenBoard, Trials, chance_of, share

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def board() -> Circuit:
    return load(ROOT / "samples" / "wren")


@pytest.fixture(scope="module")
def trials(board: Circuit) -> Trials:
    return Trials(board, SEVEN)


def reading(at: str, to: str, quantity: MeterMode, value: float | None, number: int = 0) -> Reading:
    return Reading(number=FIRST_READING + number, time="", at=at, to=to, quantity=quantity,
                   value=value)  # fmt: skip


def sound(probe: Probe, number: int) -> Reading:
    """What a sound board shows for a probe."""
    value = 0.55 if probe.quantity is MeterMode.DIODE else probe.nominal
    if value is not None and math.isinf(value):
        value = None
    return reading(probe.at, probe.to, probe.quantity, value, number)


def checked(
    board: Circuit,
    trials: Trials,
    change: Mapping[tuple[str, str], float | None] | None = None,
    edit: Callable[[JobState], JobState] = lambda state: state,
    good: KnownGood | None = None,
) -> Check:
    """The verdict where all planned readings are sound but those changed."""
    made = []
    for number, probe in enumerate(trials.blank.probes):
        one = sound(probe, number)
        if change and (probe.at, probe.to) in change and probe.quantity is not MeterMode.VOLTS:
            one = msgspec.structs.replace(one, value=change[probe.at, probe.to])
        made.append(one)
    return check_job(board, edit(replace(trials.state, readings=tuple(made))), good)


# -- verdicts ----------------------------------------------------------------------------------


def test_all_planned_probes_passed_is_restored(board: Circuit, trials: Trials) -> None:
    check = checked(board, trials)
    assert check.verdict is Verdict.RESTORED
    assert (check.still_to_probe, check.same) == ((), True)
    # what no meter can tell is said all the same: C7 lies beside C3 on VBAT
    assert any(what.startswith("C7 missing") for what in check.blind)


def test_one_probe_left_is_not_proven(board: Circuit, trials: Trials) -> None:
    check = checked(board, trials, edit=lambda s: replace(s, readings=s.readings[1:]))
    assert check.verdict is Verdict.NOT_PROVEN
    assert check.still_to_probe == trials.blank.probes[:1]


def test_an_open_joint_is_found_and_mended(board: Circuit, trials: Trials) -> None:
    check = checked(board, trials, {("R12.2", "TP7.1"): 0.0})
    assert check.verdict is Verdict.NOT_RESTORED
    assert check.suspects[0].what == "open joint at R12.2"
    assert check.suspects[0].score > 0.9
    (found,) = check.opens
    assert found.net == "GAUGE_SDA"
    assert [str(pin) for pin in found.groups[-1]] == ["R12.2"]
    # measured again and it beeps: the newest reading counts
    again = reading("R12.2", "TP7.1", MeterMode.BEEP, 1.0, 99)
    mended = checked(board, trials, {("R12.2", "TP7.1"): 0.0},
                     lambda s: replace(s, readings=(*s.readings, again)))  # fmt: skip
    assert mended.verdict is Verdict.RESTORED
    old = next(j for j in mended.readings if j.reading.at == "R12.2" and not j.counts)
    assert old.state is ReadingState.FAIL


def test_a_wrong_value_is_named(board: Circuit, trials: Trials) -> None:
    check = checked(board, trials, {("R16.1", "R16.2"): 2200.0})
    assert check.verdict is Verdict.NOT_RESTORED
    (wrong,) = check.wrong_values
    assert (wrong.refdes, wrong.found) == ("R16", "about 2.2 kΩ")


def test_a_shorted_rail_is_a_short(board: Circuit, trials: Trials) -> None:
    rail = next(p for p in trials.blank.probes if "VBAT" in p.why)
    check = checked(board, trials, {(rail.at, rail.to): 0.4})
    assert check.verdict is Verdict.NOT_RESTORED
    assert any(set(short.nets) == {"GND", "VBAT"} for short in check.shorts)


def test_open_positions_and_marked_bridges_are_not_restored(board: Circuit, trials: Trials) -> None:
    gone = Mark(number=1, time="", at="R13", damage=Damage.MISSING)
    check = checked(board, trials, edit=lambda s: replace(
        s, refitted={k: v for k, v in s.refitted.items() if k != "R13"},
        damaged={**s.damaged, "R13": gone}))  # fmt: skip
    assert check.verdict is Verdict.NOT_RESTORED
    assert check.missing_parts == ("R13",)
    bridged = checked(board, trials, edit=lambda s: replace(s, bridges=(("R14.1", "R14.2"),)))
    assert bridged.verdict is Verdict.NOT_RESTORED
    assert bridged.shorts[0].nets == ("TS", "VREF_1V8")


def test_readings_before_the_refit_judge_nothing(board: Circuit, trials: Trials) -> None:
    check = checked(board, trials, edit=lambda s: replace(s, readings=tuple(
        msgspec.structs.replace(r, number=1) for r in s.readings)))  # fmt: skip
    assert check.verdict is Verdict.NOT_PROVEN
    assert check.still_to_probe == trials.blank.probes
    assert check.suspects == ()


def test_good_boards_settle_an_open_question(board: Circuit, trials: Trials) -> None:
    # 6.1k for 10k: chips beside R14 may do that, or a wrong part
    low = {("R14.1", "R14.2"): 6100.0}
    assert checked(board, trials, low).verdict is Verdict.NOT_PROVEN
    like = KnownGood(tuple(KnownReading("R14.1", "R14.2", MeterMode.OHMS, v, str(v))
                           for v in (6000.0, 6150.0, 6200.0)))  # fmt: skip
    assert checked(board, trials, low, good=like).verdict is Verdict.RESTORED
    unlike = KnownGood(tuple(KnownReading("R14.1", "R14.2", MeterMode.OHMS, v, str(v))
                             for v in (9900.0, 9950.0, 9990.0)))  # fmt: skip
    assert checked(board, trials, low, good=unlike).verdict is Verdict.NOT_RESTORED


@pytest.mark.parametrize(
    ("at", "to", "quantity", "value", "state"),
    [
        # above the bound proves a fault, below proves nothing (parallel bound, any meter's manual)
        ("R14.1", "R14.2", MeterMode.OHMS, 10.5e3, ReadingState.FAIL),
        ("R14.1", "R14.2", MeterMode.OHMS, 10.1e3, ReadingState.PASS),
        ("R14.1", "R14.2", MeterMode.OHMS, 4000.0, ReadingState.OPEN),
        ("R14.1", "R14.2", MeterMode.OHMS, None, ReadingState.FAIL),
        ("R15.1", "R15.2", MeterMode.OHMS, 0.4, ReadingState.PASS),
        ("R15.1", "R15.2", MeterMode.OHMS, 12.0, ReadingState.FAIL),
        ("+1V8", "GND", MeterMode.OHMS, 0.8, ReadingState.FAIL),
        ("VBAT", "GND", MeterMode.OHMS, 20.0, ReadingState.OPEN),
        ("VBAT", "GND", MeterMode.OHMS, 40e3, ReadingState.PASS),
        ("BAT_NTC", "VBAT", MeterMode.BEEP, 1.0, ReadingState.FAIL),
        # diode mode: below 0.1 V is a short, 0.4 to 0.9 V a junction (reference values, meter)
        ("D4.1", "D4.2", MeterMode.DIODE, 0.02, ReadingState.FAIL),
        ("D4.1", "D4.2", MeterMode.DIODE, 0.6, ReadingState.PASS),
        ("+1V8", "GND", MeterMode.VOLTS, 1.8, ReadingState.PASS),
        ("+1V8", "GND", MeterMode.VOLTS, 1.2, ReadingState.FAIL),
        ("C7.1", "C7.2", MeterMode.FARADS, 50e-9, ReadingState.FAIL),
        ("NOSUCH", "GND", MeterMode.OHMS, 1.0, ReadingState.OPEN),
    ],
)
def test_one_reading(
    board: Circuit,
    trials: Trials,
    at: str,
    to: str,
    quantity: MeterMode,
    value: float | None,
    state: ReadingState,
) -> None:
    judged = judge_reading(board, trials.state, reading(at, to, quantity, value))
    assert judged.state is state, judged.because
    assert judged.because


def test_amperes_tell_the_charging_stage(board: Circuit, trials: Trials) -> None:
    volts = reading("supply", "GND", MeterMode.VOLTS, 5.1)
    state = replace(trials.state, readings=(volts,))
    judged = judge_reading(board, state, reading("supply", "GND", MeterMode.AMPERES, 0.05, 1))
    assert judged.state is ReadingState.OPEN
    assert "before configuration" in judged.because


# -- chances -----------------------------------------------------------------------------------

OHMS = st.one_of(st.just(0.0), st.floats(0.01, 1e8), st.just(math.inf))


@given(OHMS, st.booleans(), st.booleans(), st.sampled_from(MeterMode), st.floats(0, 1e-3))
def test_chances_of_a_reading_sum_to_one(
    ohms: float, exact: bool, supply: bool, quantity: MeterMode, farads: float
) -> None:
    most = ohms * 1.01
    found = chances(Outlook(ohms, most, 0.0, exact, supply, farads), quantity).bins
    assert float(found.sum()) == pytest.approx(1.0)
    assert float(found.min()) > 0 or quantity is MeterMode.AMPERES


@given(st.floats(1.0, 1e7))
def test_an_exact_figure_is_the_likeliest_reading(ohms: float) -> None:
    found = chances(Outlook(ohms, ohms * 1.01, ohms * 0.99, True, False), MeterMode.OHMS).bins
    assert abs(int(found.argmax()) - bin_of(ohms + 0.3, MeterMode.OHMS)) <= 1


@settings(max_examples=20)
@given(st.integers(0, 10_000), st.integers(0, 27), st.integers(1, 2))
def test_all_hypotheses_sum_to_one(trials: Trials, seed: int, count: int, faults: int) -> None:
    broken = BrokenBoard(trials.positions, seed, faults)
    made = [broken.measure(p, FIRST_READING + i) for i, p in enumerate(trials.blank.probes[:count])]
    suspicion = trials.after(made)
    assert sum(h.chance for h in suspicion.hypotheses) == pytest.approx(1.0)
    found = suspicion.next_probe()
    assert found is None or found.drop_bits > 0


def test_more_readings_of_the_truth_do_not_lower_it_in_expectation(trials: Trials) -> None:
    # the expected logarithm of the truth's chance grows with every reading (Gibbs' inequality)
    steps = (0, 8, 18, len(trials.blank.probes))
    sums = [0.0] * len(steps)
    for seed in range(40):
        broken = BrokenBoard(trials.positions, 5000 + seed)
        made = [broken.measure(p, FIRST_READING + i) for i, p in enumerate(trials.blank.probes)]
        for at, count in enumerate(steps):
            after = trials.after(made[:count])
            told = [f for f in after.faults if broken.truths[0].is_told_by(f)]
            sums[at] += math.log(max(sum(chance_of(after, f) for f in told), 1e-6))
    assert sums == sorted(sums)


# -- the next measurement ----------------------------------------------------------------------


def test_the_next_probe_tells_two_suspects_apart(board: Circuit, trials: Trials) -> None:
    # R12 reads open from point to point: a joint or the part itself
    through = next(p for p in trials.blank.through if p.why.startswith("R12 "))
    state = replace(trials.state, readings=(reading(through.at, through.to, MeterMode.OHMS, None),))
    found = next_probe(board, state)
    assert found is not None
    assert found.probe.at.startswith("R12.") or found.probe.to.startswith("R12.")


def test_nothing_is_left_to_tell_when_all_is_measured(board: Circuit, trials: Trials) -> None:
    lines = (*trials.blank.probes, *trials.blank.through)
    made = tuple(sound(probe, number) for number, probe in enumerate(lines))
    assert next_probe(board, replace(trials.state, readings=made)) is None


def test_a_job_with_nothing_refitted_has_no_next_probe(board: Circuit) -> None:
    assert next_probe(board, JobState()) is None
    assert check_job(board, JobState()).verdict is Verdict.NOT_PROVEN


def test_reused_work_gives_the_same_answer(board: Circuit, trials: Trials) -> None:
    broken = BrokenBoard(trials.positions, 7)
    made = tuple(broken.measure(p, FIRST_READING + i) for i, p in enumerate(trials.blank.probes))
    state = replace(trials.state, readings=made)
    fresh, again = Suspicion(board, state), trials.after(made)
    assert [h.what for h in fresh.hypotheses[:5]] == [h.what for h in again.hypotheses[:5]]
    assert fresh.health == pytest.approx(again.health)


@pytest.mark.timed
def test_wren_is_answered_in_a_second(board: Circuit, trials: Trials) -> None:
    broken = BrokenBoard(trials.positions, 11)
    made = tuple(broken.measure(p, FIRST_READING + i) for i, p in enumerate(trials.blank.probes))
    start = time.process_time()
    check = check_job(board, replace(trials.state, readings=made))
    assert time.process_time() - start < 1.0
    assert check.readings


# -- the table ---------------------------------------------------------------------------------


def test_wrens_single_faults_are_found(trials: Trials) -> None:
    # the goal of the repair job: first in 85 %, in the first three in 97 % of trials; these seeds
    # are not those of the table
    found = [trials.run(20_000 + seed) for seed in range(150)]
    assert share(found, 1) >= 0.85
    assert share(found, 3) >= 0.97


def test_a_simulated_open_joint_is_drawn_most(trials: Trials) -> None:
    kinds = [BrokenBoard(trials.positions, seed).truths[0].kind for seed in range(100)]
    assert kinds.count("open") > 30
    assert set(kinds) == {"open", "missing", "wrong", "bridge"}
    assert FaultKind.OPEN_JOINT in {fault.kind for fault in trials.blank.faults}


@pytest.mark.slow
def test_wrens_table_in_the_docs_is_what_is_measured() -> None:
    rows = wren_rows()
    print("\n".join([*HEADING, *rows]))
    assert wrong_rows(rows) == []


@pytest.mark.slow
@pytest.mark.parametrize("name", REAL)
def test_real_boards_table_in_the_docs_is_what_is_measured(name: str, boards: Path) -> None:
    rows = real_rows(boards, name)
    print("\n".join(rows))
    assert wrong_rows(rows) == []
