"""Wires that were soldered: what each does, and what the readings and the verdict make of it."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from nettrace.bench.diagnosis import Verdict, check_job
from nettrace.bench.job import Damage, JobState, Mark, MeterMode, Reading, Wire
from nettrace.bench.judging import ReadingState, judge_reading
from nettrace.bench.probes import plan_probes
from nettrace.bench.wire import Wired, WiredAs, net_groups, wires_of
from tests.circuit_language import circuit

CIRCUIT = circuit(
    """
    J1 VDD GND SDA SCL A : HDR
    R1 SDA VDD 10k 1%
    R2 SCL VDD 10k 1%
    R3 A B 0R
    R4 B GND 10k 1%
    F1 A IN 500mA
    U1 VDD=VDD GND=GND IO=SDA IO2=SCL NC=- : LM75
    """,
    rails={"VDD": 1.8},
)


def wire(start: str, end: str, confirmed: bool = False, number: int = 50) -> Wire:
    return Wire(number=number, time="", start=start, end=end, confirmed=confirmed)


def job(
    wires: Sequence[Wire], lifted: Sequence[str] = (), missing: Sequence[str] = (), **more: object
) -> JobState:
    damaged = {
        ref: Mark(number=at, time="", at=ref, damage=Damage.MISSING)
        for at, ref in enumerate(missing, 1)
    }
    return JobState(wires=tuple(wires), lifted=tuple(lifted), damaged=damaged, **more)  # type: ignore[arg-type]


def only(state: JobState) -> Wired:
    (found,) = wires_of(CIRCUIT, state)
    return found


def beep(at: str, to: str, value: float, number: int = 100) -> Reading:
    return Reading(number=number, time="", at=at, to=to, quantity=MeterMode.BEEP, value=value)


def proven(state: JobState) -> JobState:
    """The job with a passing reading for every planned probe."""
    made = []
    for number, probe in enumerate(plan_probes(CIRCUIT, state), 100):
        value = probe.nominal if probe.nominal != float("inf") else None
        made.append(
            Reading(
                number=number, time="", at=probe.at, to=probe.to, quantity=probe.quantity,
                value=value,
            )
        )  # fmt: skip
    return JobState(
        damaged=state.damaged, lifted=state.lifted, wires=state.wires, readings=tuple(made)
    )


def test_a_wire_from_a_lifted_pad_to_its_net_mends_it() -> None:
    found = only(job([wire("R1.1", "J1.3")], lifted=["R1.1"]))
    assert (found.as_, found.of, found.is_short) == (WiredAs.MENDS, ("R1.1",), False)


def test_a_wire_where_no_break_is_marked_is_said_to_be_so_and_its_ends_are_probed() -> None:
    state = job([wire("R1.1", "J1.3")])
    assert only(state).as_ is WiredAs.BESIDE
    assert {"R1.1", "J1.3"} <= {probe.at for probe in plan_probes(CIRCUIT, state)}


def test_a_wire_in_place_of_a_missing_link_is_no_short() -> None:
    found = only(job([wire("R3.1", "R3.2")], missing=["R3"]))
    assert (found.as_, found.of, found.replaced) == (WiredAs.INSTEAD, ("R3",), ("R3",))


def test_a_wire_in_place_of_a_fuse_leaves_the_fuse_to_be_fitted() -> None:
    state = job([wire("F1.1", "F1.2")], missing=["F1"])
    found = only(state)
    assert (found.as_, found.of, found.replaced) == (WiredAs.INSTEAD, ("F1",), ())
    check = check_job(CIRCUIT, proven(state))
    assert check.verdict is Verdict.NOT_RESTORED
    assert check.missing_parts == ("F1",)


@pytest.mark.parametrize(
    ("start", "end"), [("R1.1", "R2.1"), ("R1.1", "R1.2"), ("J1.2", "J1.1"), ("U1.NC", "J1.3")]
)
def test_a_wire_between_nets_that_are_not_one_is_a_short_to_confirm(start: str, end: str) -> None:
    check = check_job(CIRCUIT, job([wire(start, end)]))
    assert check.verdict is Verdict.NOT_RESTORED
    assert "to confirm or take off" in check.because[0]
    assert len(check.shorts) == 1
    assert not check.same


def test_a_confirmed_wire_is_no_short_but_has_to_be_measured() -> None:
    state = job([wire("R1.1", "R2.1", confirmed=True)])
    before = check_job(CIRCUIT, state)
    assert (before.verdict, before.shorts) == (Verdict.NOT_PROVEN, ())
    assert ("R1.1", "R2.1") in {(probe.at, probe.to) for probe in before.still_to_probe}
    after = check_job(CIRCUIT, proven(state))
    assert after.verdict is Verdict.RESTORED
    assert any("meant" in reason for reason in after.because)


def test_the_meter_reads_through_a_wire_between_two_nets() -> None:
    # 10 kΩ to VDD on each line: beside each other once the lines are joined (parallel resistors)
    state = job([wire("R1.1", "R2.1", confirmed=True)])
    alone = Reading(
        number=100, time="", at="SDA", to="VDD", quantity=MeterMode.OHMS, value=5000.0
    )  # fmt: skip
    assert judge_reading(CIRCUIT, state, alone).state is ReadingState.PASS
    assert judge_reading(CIRCUIT, job([]), alone).state is not ReadingState.PASS
    assert judge_reading(CIRCUIT, state, beep("SDA", "SCL", 1.0)).state is ReadingState.PASS
    assert judge_reading(CIRCUIT, state, beep("SDA", "SCL", 0.0)).state is ReadingState.FAIL


def test_a_link_that_a_wire_replaces_need_not_be_fitted() -> None:
    state = job([wire("R3.1", "R3.2")], missing=["R3"])
    assert check_job(CIRCUIT, job([], missing=["R3"])).missing_parts == ("R3",)
    check = check_job(CIRCUIT, proven(state))
    assert (check.verdict, check.missing_parts) == (Verdict.RESTORED, ())
    silent = JobState(
        damaged=state.damaged, wires=state.wires, readings=(beep("R3.1", "R3.2", 0.0),)
    )
    assert check_job(CIRCUIT, silent).verdict is Verdict.NOT_RESTORED


def test_readings_from_before_the_wire_do_not_count() -> None:
    early = beep("R1.1", "J1.3", 0.0, number=10)
    state = job([wire("R1.1", "J1.3")], lifted=["R1.1"], readings=(early,))
    check = check_job(CIRCUIT, state)
    assert [item.counts for item in check.readings] == [False]
    assert check.verdict is Verdict.NOT_PROVEN


def test_a_mended_pad_is_restored_when_its_joint_beeps() -> None:
    state = job([wire("R1.1", "J1.3")], lifted=["R1.1"])
    assert check_job(CIRCUIT, proven(state)).verdict is Verdict.RESTORED


def test_wires_make_one_net_of_two() -> None:
    state = job([wire("R1.1", "R2.1")])
    groups = net_groups(CIRCUIT, (), wires_of(CIRCUIT, state))
    assert groups["SDA"] == groups["SCL"] != groups["VDD"]
    assert net_groups(CIRCUIT)["SDA"] != net_groups(CIRCUIT)["SCL"]


def test_a_wire_whose_end_left_the_board_is_told_not_dropped() -> None:
    check = check_job(CIRCUIT, job([wire("R99.1", "R2.1")]))
    assert check.verdict is Verdict.NOT_PROVEN
    assert any("R99.1" in reason for reason in check.because)
