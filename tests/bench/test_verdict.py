"""The verdict on a repair: what each reason, mark and reading does to it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import pytest

from nettrace.bench.diagnosis import Check, Verdict, check_job
from nettrace.bench.faults import FaultKind
from nettrace.bench.job import Damage, Fit, JobState, Mark, MeterMode, Reading, Wire
from nettrace.bench.judging import KnownGood, KnownReading, ReadingState
from nettrace.bench.probes import plan_probes
from nettrace.circuit.circuit import Circuit
from nettrace.model.board import Side
from nettrace.model.builder import BoardBuilder
from nettrace.model.notes import Notes, RailNote
from tests.circuit_language import circuit

CIRCUIT = circuit(
    """
    J1 VDD GND SDA A CH : HDR
    R1 SDA VDD 10k 1%
    R2 SCL VDD 10k 1%
    R4 X A 33R 1%
    R5 A B 10k 1%
    R6 B GND 10k 1%
    R12 Y Z 1M 1%
    R20 T W 0R
    C1 VDD GND 10uF 10% X5R
    C2 VDD GND 100nF 10% X5R
    C3 CH GND 100nF 10% X5R
    D1 CH VDD BAT54
    U1 VDD=VDD GND=GND IO=SDA IO2=SCL IO3=X : LM75
    """,
    rails={"VDD": 1.8},
)

#: The pad that a planned probe is at, and what the meter is set to.
At = tuple[str, str]
NO_BEEP = "no beep on one and the same net: an open joint or a cut track"


def job(refs: Sequence[str], readings: Sequence[Reading] = (), **more: object) -> JobState:
    """A job in which these positions were missing and have been refitted."""
    damaged = {
        ref: Mark(number=at, time="", at=ref, damage=Damage.MISSING)
        for at, ref in enumerate(refs, 1)
    }
    refitted = {ref: Fit(number=at, time="", at=ref) for at, ref in enumerate(refs, 20)}
    return JobState(damaged=damaged, refitted=refitted, readings=tuple(readings), **more)  # type: ignore[arg-type]


def reading(at: str, to: str, quantity: str, value: float | None, number: int = 200) -> Reading:
    return Reading(
        number=number, time="", at=at, to=to, quantity=MeterMode(quantity), value=value
    )  # fmt: skip


def sound(refs: Sequence[str], other: Mapping[At, float | None] | None = None) -> list[Reading]:
    """Readings of a sound board for every planned probe, but for `other`."""
    found = []
    left = dict(other or {})
    for number, probe in enumerate(plan_probes(CIRCUIT, job(refs)), 100):
        value = probe.nominal
        if probe.quantity is MeterMode.DIODE:
            value = 0.3
        elif value is not None and math.isinf(value):
            value = 240e3
        value = left.pop((probe.at, str(probe.quantity)), value)
        found.append(reading(probe.at, probe.to, probe.quantity, value, number))
    assert not left, f"not planned: {left}"
    return found


def check(
    refs: Sequence[str],
    other: Mapping[At, float | None] | None = None,
    extra: Sequence[Reading] = (),
    known_good: KnownGood | None = None,
    **more: object,
) -> Check:
    return check_job(CIRCUIT, job(refs, [*sound(refs, other), *extra], **more), known_good)


# -- the three words ---------------------------------------------------------------------------


def test_restored_where_every_planned_probe_passed() -> None:
    found = check(["R1", "R2"])
    assert found.verdict is Verdict.RESTORED
    assert found.because == ("all 8 planned measurements passed",)
    assert found.same
    assert found.suspects == ()
    assert found.health > 0.99


def test_not_proven_without_readings_and_the_first_probe_is_named() -> None:
    found = check_job(CIRCUIT, job(["R1", "R2"]))
    assert found.verdict is Verdict.NOT_PROVEN
    (why,) = found.because
    first = found.still_to_probe[0]
    assert why == f"still to probe: {first.at} to {first.to} (ohms) and 7 more"
    assert found.suspects == ()


def test_one_probe_left_is_named_alone() -> None:
    refs = ["R1", "R2"]
    readings = sound(refs)[:-1]
    found = check_job(CIRCUIT, job(refs, readings))
    assert found.verdict is Verdict.NOT_PROVEN
    assert found.because == ("still to probe: C1.1 to C1.2 (volts)",)


def test_two_probes_left_are_one_and_one_more() -> None:
    refs = ["R1", "R2"]
    left = check_job(CIRCUIT, job(refs, sound(refs)[:-2])).because
    assert left == ("still to probe: R2.1 to R2.2 (ohms) and 1 more",)


def test_nothing_refitted_proves_nothing() -> None:
    found = check_job(CIRCUIT, job([]))
    assert found.verdict is Verdict.NOT_PROVEN
    assert found.because == ("nothing was refitted, so nothing can be proved",)


def test_a_name_that_is_not_on_the_board_is_said_instead() -> None:
    assert check_job(CIRCUIT, job(["R99"])).because == ("R99 is not on this board",)


def test_positions_not_refitted_stand_in_natural_order() -> None:
    damaged = {ref: Mark(number=at, time="", at=ref, damage=Damage.MISSING)
               for at, ref in enumerate(("R12", "R2"), 1)}  # fmt: skip
    found = check_job(CIRCUIT, JobState(damaged=damaged))
    assert found.verdict is Verdict.NOT_RESTORED
    assert found.because == ("not refitted: R2, R12",)
    assert found.missing_parts == ("R2", "R12")
    assert not found.same


def test_a_doubtful_position_left_as_it_is_is_no_proof() -> None:
    damaged = {ref: Mark(number=at, time="", at=ref, damage=Damage.SHIFTED)
               for at, ref in enumerate(("R12", "R2"), 1)}  # fmt: skip
    found = check_job(CIRCUIT, JobState(damaged=damaged))
    assert found.verdict is Verdict.NOT_PROVEN
    assert found.because[0] == "marked and not refitted: R2, R12"


def test_an_open_question_is_named_and_is_no_proof() -> None:
    found = check(["R1", "R2"], {("R1.1", "ohms"): 2200.0})
    assert found.verdict is Verdict.NOT_PROVEN
    assert found.because == ("R1.1 to R1.2: an open question",)
    assert found.still_to_probe == ()


def test_a_marked_bridge_is_a_short() -> None:
    found = check(["R1"], bridges=(("J1.3", "J1.4"),))
    assert found.verdict is Verdict.NOT_RESTORED
    assert found.because[0] == "bridge marked: J1.3 to J1.4"
    assert [short.nets for short in found.shorts] == [("A", "SDA")]


# -- which reading counts ------------------------------------------------------------------------


def test_a_later_reading_of_the_same_places_takes_the_place_of_an_earlier() -> None:
    again = reading("R1.2", "R1.1", "ohms", 10e3)  # the way round does not matter on ohms
    found = check(["R1", "R2"], {("R1.1", "ohms"): None}, [again])
    assert found.verdict is Verdict.RESTORED
    assert [item.reading.number for item in found.readings if not item.counts] == [105]


def test_ohms_answer_for_a_beep() -> None:
    refs = ["R1", "R2"]
    rest = [item for item in sound(refs) if (item.at, item.quantity) != ("R1.1", "beep")]
    assert check_job(CIRCUIT, job(refs, rest)).verdict is Verdict.NOT_PROVEN
    (beep,) = [item for item in sound(refs) if item not in rest]
    low = reading(beep.at, beep.to, "ohms", 0.3)
    assert check_job(CIRCUIT, job(refs, [*rest, low])).verdict is Verdict.RESTORED


def test_a_diode_may_be_probed_either_way_round() -> None:
    readings = [item if item.quantity is not MeterMode.DIODE
                else reading(item.to, item.at, "diode", 0.3) for item in sound(["D1"])]  # fmt: skip
    assert any(item.quantity is MeterMode.DIODE for item in readings)
    assert check_job(CIRCUIT, job(["D1"], readings)).verdict is Verdict.RESTORED


def test_a_supply_display_is_no_probe() -> None:
    amperes = reading("supply", "supply", "amperes", 0.5)
    assert check(["R1"], extra=[amperes]).verdict is Verdict.RESTORED


# -- what was found ------------------------------------------------------------------------------


def test_an_open_joint_stands_apart_from_the_rest_of_its_net() -> None:
    found = check(["R1", "R2"], {("R1.1", "beep"): 0.0})
    assert found.verdict is Verdict.NOT_RESTORED
    assert [why.split(": ", 1)[1] for why in found.because] == [NO_BEEP]
    (opened,) = found.opens
    groups = [[f"{pin.part}.{pin.number}" for pin in group] for group in opened.groups]
    assert (opened.net, groups) == ("SDA", [["J1.3", "U1.3"], ["R1.1"]])
    first = found.suspects[0]
    assert first.what == "open joint at R1.1"
    assert first.score > 0.9
    assert first.because[0] == found.because[0]
    assert not any("no meter tells" in why for why in first.because)
    assert not found.shorts
    assert not found.missing_parts
    assert not found.same


def test_more_opens_than_any_suspect_names_are_all_found() -> None:
    found = check(["R1", "R2", "R4"], {
        ("R1.1", "beep"): 0.0, ("R2.1", "beep"): 0.0, ("R4.1", "beep"): 0.0,
    })  # fmt: skip
    assert found.suspects[0].score < 0.9
    assert [opened.net for opened in found.opens] == ["SDA", "SCL", "X"]
    assert all(len(opened.groups[-1]) == 1 for opened in found.opens)


def test_a_part_that_reads_near_nothing_is_a_short_between_its_nets() -> None:
    found = check(["R1", "R2"], {("R1.1", "ohms"): 0.3})
    assert [short.nets for short in found.shorts] == [("SDA", "VDD")]
    assert [pin.part for pin in found.shorts[0].pins] == ["R1", "R1"]
    assert found.suspects[0].what == "R1 shorted (SDA to VDD)"
    assert not found.opens
    assert not found.same


def test_places_that_no_meter_tells_apart_are_for_the_eye() -> None:
    short = [reading("VDD", "GND", "ohms", 0.3, 201), reading("VDD", "GND", "volts", 0.02, 202)]
    found = check(["C1", "C2"], extra=short)
    first = found.suspects[0]
    assert first.what == "C1 shorted, or C2 shorted (VDD to GND)"
    assert first.because[-1] == "no meter tells 2 places of it apart: look"
    assert [short.nets for short in found.shorts] == [("GND", "VDD")]
    assert len(found.shorts[0].pins) == 2


def test_only_low_readings_between_two_nets_are_shorts() -> None:
    # more faults than any suspect explains, so the failed readings speak for themselves
    failed = [
        reading("R5.1", "R5.2", "ohms", None, 201),  # open
        reading("R20.1", "R20.2", "beep", 0.0, 202),  # a link that does not beep
        reading("R6.1", "R6.2", "ohms", 20e3, 203),  # too much
        reading("C1.1", "C1.2", "volts", 0.02, 204),  # a rail that is not up
        reading("SDA", "A", "ohms", 0.3, 205),
        reading("SCL", "X", "beep", 1.0, 206),
        reading("SCL", "CH", "diode", 0.01, 207),
    ]
    refs = ["R1", "R4", "R5", "R6", "R20"]
    found = check(refs, {("R1.1", "beep"): 0.0, ("R4.1", "beep"): 0.0}, failed)
    assert found.suspects[0].score < 0.9
    assert [short.nets for short in found.shorts] == [("A", "SDA"), ("SCL", "X"), ("CH", "SCL")]
    assert [short.pins for short in found.shorts] == [(), (), ()]  # nets were named, no pads
    assert [opened.net for opened in found.opens] == ["SDA", "X"]


def test_a_rail_that_reads_near_nothing_is_a_short_whoever_is_to_blame() -> None:
    # R1 and R2 lie between no two supplies: no suspect explains it
    found = check(["R1", "R2"], {("C1.1", "ohms"): 0.3})
    assert found.verdict is Verdict.NOT_RESTORED
    assert [short.nets for short in found.shorts] == [("GND", "VDD")]


def test_a_link_that_does_not_beep_is_no_short() -> None:
    silent = reading("T", "W", "beep", 0.0)
    found = check_job(CIRCUIT, job(["R20"], [silent]))
    assert found.verdict is Verdict.NOT_RESTORED
    assert found.shorts == ()


def test_overload_is_no_short() -> None:
    assert check(["R1", "R2"], {("R1.1", "ohms"): None}).shorts == ()


def test_a_resistance_above_a_few_ohms_is_wrong_and_no_short() -> None:
    found = check(["R5", "R6"], {("R6.1", "ohms"): 4000.0})
    assert found.shorts == ()


def test_a_wrong_part_is_named_with_what_belongs_and_what_was_read() -> None:
    # twice the same fact: R6 reads 1 kΩ, and with R5 (sound) to ground 11 kΩ
    readings = [reading("B", "GND", "ohms", 1e3, 201)]
    found = check(["R6"], {("R6.1", "ohms"): 1e3}, readings)
    assert found.verdict is Verdict.NOT_PROVEN  # a chip beside it might pull the reading down
    (wrong,) = found.wrong_values
    assert (wrong.refdes, wrong.expected, wrong.found) == ("R6", "10k 1%", "about 1 kΩ")


# -- good boards ---------------------------------------------------------------------------------


def good(value: float | None, boards: int = 3) -> KnownGood:
    """Readings of good boards at R1, given by its nets."""
    return KnownGood(
        tuple(KnownReading("SDA", "VDD", MeterMode.OHMS, value, f"b{n}") for n in range(boards))
    )


@pytest.mark.parametrize(
    ("read", "boards", "verdict"),
    [
        (10e3, good(10e3), Verdict.RESTORED),
        (2200.0, good(2200.0), Verdict.RESTORED),  # they settle an open question
        (2200.0, good(8000.0), Verdict.NOT_RESTORED),
        (10e3, good(2200.0), Verdict.NOT_PROVEN),  # the figure allows it, they do not
        (2200.0, good(2200.0, boards=1), Verdict.NOT_PROVEN),  # too few to say
        (0.3, good(0.3), Verdict.NOT_RESTORED),  # a proved short stays one
    ],
)
def test_good_boards_settle_what_figures_leave_open(
    read: float, boards: KnownGood, verdict: Verdict
) -> None:
    found = check(["R1", "R2"], {("R1.1", "ohms"): read}, known_good=boards)
    assert found.verdict is verdict, found.because


def test_a_place_that_is_not_there_is_heard_of_and_no_more() -> None:
    lost = [reading("R99.1", "GND", "ohms", 1.0), reading("GND", "R99.1", "ohms", 1.0)]
    found = check(["R1"], extra=lost, known_good=good(10e3))
    assert found.verdict is Verdict.RESTORED
    assert found.readings[-1].because == "R99.1 is no place on a net of this board"


def test_good_boards_elsewhere_say_nothing() -> None:
    elsewhere = KnownGood((KnownReading("X", "A", MeterMode.OHMS, 33.0, "b1"),))
    plain, heard = check(["R1"]), check(["R1"], known_good=elsewhere)
    assert plain == heard


# -- two faults at once, parts gone, pads side by side --------------------------------------------


def test_a_part_that_reads_open_between_sound_joints_is_missing_or_broken() -> None:
    # from pad to pad and from net to net nothing, though both joints beep
    found = check(["R5"], {("R5.1", "ohms"): None}, [reading("A", "B", "ohms", None, 201)])
    assert found.missing_parts == ("R5",)
    assert not found.opens
    assert not found.same


def test_a_wrong_part_is_named_beside_an_open_joint() -> None:
    wrong = [reading("B", "GND", "ohms", 1e3, 201)]
    found = check(["R1", "R6"], {("R1.1", "beep"): 0.0, ("R6.1", "ohms"): 1e3}, wrong)
    assert {fault.kind for fault in found.suspects[0].faults} == {
        FaultKind.OPEN_JOINT,
        FaultKind.WRONG_VALUE,
    }
    assert [item.refdes for item in found.wrong_values] == ["R6"]
    assert [opened.net for opened in found.opens] == ["SDA"]


def side_by_side() -> Circuit:
    """R1 and R2 in a row, R1.1 0.1 mm from R2.1; each pad 0.3 mm square."""
    builder = BoardBuilder("a.kicad_pcb", "kicad_pcb")
    for refdes, y, net in (("R1", 0.0, "SDA"), ("R2", 0.4, "SCL")):
        part = builder.part(refdes)
        part.value, part.package = "10k 1%", "R_0201"
        for number, x, name in (("1", 0.0, net), ("2", 3.0 * (1 + y), "VDD")):
            part.pad(number, name, x, y, Side.TOP, shape="rect", width=0.3, height=0.3)
    other = builder.part("U1")
    for at, name in enumerate(("SDA", "SCL", "VDD", "GND"), 1):
        other.pad(str(at), name, 20.0 + at, 9.0, Side.TOP, width=0.3, height=0.3)
    return Circuit(builder.build(), Notes(rails={"VDD": RailNote(1.8)}))


def test_pads_side_by_side_that_read_as_one_are_bridged() -> None:
    board, state = side_by_side(), job(["R1"])
    made = [reading("SDA", "SCL", "ohms", 0.2, 200), reading("R1.1", "R2.1", "ohms", 0.2, 201)]
    for number, probe in enumerate(plan_probes(board, state), 100):
        value = probe.nominal
        if {probe.at, probe.to} == {"R1.1", "R2.1"}:
            value = 1.0  # it beeps where it must not
        elif value == 10e3:
            value = 5e3  # R2 lies beside R1 now
        elif value is not None and math.isinf(value):
            value = 240e3
        made.append(reading(probe.at, probe.to, probe.quantity, value, number))
    found = check_job(board, job(["R1"], made))
    assert [fault.kind for fault in found.suspects[0].faults] == [FaultKind.BRIDGE]
    assert found.suspects[0].score > 0.9
    (short,) = found.shorts
    assert short.nets == ("SCL", "SDA")
    assert {str(pin) for pin in short.pins} == {"R1.1", "R2.1"}
    assert not found.missing_parts


def test_shorted_nets_stand_in_natural_order() -> None:
    found = check(["R1"], bridges=(("R4.2", "R1.1"), ("R6.1", "R5.1")))
    assert [short.nets for short in found.shorts] == [("A", "SDA"), ("A", "B")]


def test_faults_no_planned_measurement_tells_are_for_the_eye() -> None:
    found = check(["C1", "C2"])
    assert found.blind  # C2 lies beside C1, a hundred times as large
    assert any("C2" in what for what in found.blind)


def test_what_good_boards_say_is_quoted_behind_the_figure() -> None:
    (item,) = [
        item for item in check(["R1"], known_good=good(10e3)).readings
        if (item.reading.at, item.reading.quantity) == ("R1.1", MeterMode.OHMS)
    ]  # fmt: skip
    plain, _, heard = item.because.partition("; ")
    assert plain
    assert "good board" in heard


def test_pads_that_are_all_of_a_net_stand_each_alone() -> None:
    found = check(["R5", "R6"], {("R5.2", "beep"): 0.0})
    (opened,) = found.opens
    assert opened.net == "B"
    assert [[str(pin) for pin in group] for group in opened.groups] == [["R5.2"], ["R6.1"]]


def test_a_short_names_its_nets_as_people_count() -> None:
    board = circuit("J1 N10 N2 GND : HDR\nR1 N2 GND 1k")
    (short,) = check_job(board, JobState(bridges=(("J1.1", "J1.2"),))).shorts
    assert short.nets == ("N2", "N10")


def test_good_boards_against_a_figure_leave_that_reading_open() -> None:
    found = check(["R1", "R2"], {("R1.1", "ohms"): 10e3}, known_good=good(2200.0))
    states = [
        item.state for item in found.readings
        if (item.reading.at, item.reading.quantity) == ("R1.1", MeterMode.OHMS)
    ]  # fmt: skip
    assert states == [ReadingState.OPEN]


def test_a_wire_between_two_nets_is_a_short_of_the_pads_it_is_on() -> None:
    wire = Wire(number=50, time="", start="R1.1", end="J1.4")
    found = check(["R1", "R2"], wires=(wire,))
    assert [wired.wire for wired in found.wires] == [wire]
    (short,) = found.shorts
    assert short.nets == ("A", "SDA")
    assert {str(pin) for pin in short.pins} == {"R1.1", "J1.4"}


def test_pads_that_read_near_nothing_are_named_where_no_suspect_is_sure() -> None:
    failed = [
        reading("R5.1", "R5.2", "ohms", None, 201),
        reading("R6.1", "R6.2", "ohms", 20e3, 202),
        reading("J1.3", "J1.4", "ohms", 0.3, 203),
    ]
    found = check(["R1", "R4", "R5", "R6"], {("R1.1", "beep"): 0.0, ("R4.1", "beep"): 0.0}, failed)
    assert found.suspects[0].score < 0.9
    (short,) = found.shorts
    assert short.nets == ("A", "SDA")
    assert {str(pin) for pin in short.pins} == {"J1.3", "J1.4"}
