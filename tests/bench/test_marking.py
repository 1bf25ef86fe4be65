"""What is typed at the bench becomes entries, or is refused with what to type instead."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from nettrace.bench.entries import fit_entries, loose_entries, mark_entries, reading_entries
from nettrace.bench.job import (
    BoardReference,
    Damage,
    Entry,
    Job,
    JobState,
    Loose,
    Mark,
    MeterMode,
    Reading,
    fold,
)
from nettrace.errors import NothingMatches, WrongUsage
from tests.circuit_language import circuit

BOARD = circuit("""
    U1 SDA=SDA SCL=SCL VDD=+3V3 GND=GND : MCU
    R1 SDA +3V3 2k2
    R2 SCL +3V3 2k2
    R10 A.B GND 10k
""")


def job(*entries: Entry) -> Job:
    return Job("Wren", "2026-01-01T00:00:00+00:00", BoardReference("b"), entries=tuple(entries))


def state(*entries: Entry) -> JobState:
    return fold(job(*entries))


def missing(at: str, number: int = 1) -> Mark:
    return Mark(number=number, time="", at=at, damage=Damage.MISSING)


def test_a_wildcard_marks_each_part_once() -> None:
    found = mark_entries(BOARD, job(), "missing", ["R*", "R1"])
    assert [entry.at for entry in found] == ["R1", "R2", "R10"]
    assert [entry.number for entry in found] == [1, 2, 3]


@pytest.mark.parametrize(
    ("damage", "words", "message"),
    [
        ("mising", ["R1"], "Did you mean missing"),
        ("xyzzy", ["R1"], "There are missing"),
        ("missing", ["R1.1"], "A pad is lifted, cut or bridged"),
        ("bridged", ["R1.1"], "two"),
        ("bridged", ["R1.*", "R2.1"], "Name one: R1.1, R1.2."),
    ],
)
def test_a_mark_that_cannot_be_meant_says_what_can(
    damage: str, words: list[str], message: str
) -> None:
    with pytest.raises(WrongUsage) as caught:
        mark_entries(BOARD, job(), damage, words)
    assert message in str(caught.value)


def test_a_pad_is_lifted_and_found_sound_again() -> None:
    lifted = mark_entries(BOARD, job(), "lifted", ["R1.1"])
    assert state(*lifted).lifted == ("R1.1",)
    sound = mark_entries(BOARD, job(*lifted), "sound", ["R1.1"])
    assert state(*lifted, *sound).lifted == ()


def test_a_bridge_between_two_pads_is_taken_back_by_either() -> None:
    bridge = mark_entries(BOARD, job(), "bridged", ["R2.1", "R1.1"])
    assert state(*bridge).bridges == (("R1.1", "R2.1"),)
    sound = mark_entries(BOARD, job(*bridge), "sound", ["R2.1"])
    assert state(*bridge, *sound).bridges == ()


def test_a_position_is_refitted_with_a_part_that_was_found() -> None:
    (loose,) = loose_entries(job(), {"ohms": "2k19", "size": "0201"})
    (fit,) = fit_entries(BOARD, job(missing("R1"), loose), ["R1"], "L1")
    assert state(missing("R1"), loose, fit).used == {"L1"}


#: Two positions marked, and one part found.
TWO_AND_A_PART: tuple[Entry, ...] = (
    missing("R1"),
    missing("R2", 2),
    Loose(number=3, time="", name="L1", ohms=2190.0),
)


@pytest.mark.parametrize(
    ("words", "part", "error", "message"),
    [
        (["R1"], "L9", NothingMatches, "Entered so far: L1"),
        (["R1", "R2"], "L1", WrongUsage, "Name one position"),
        (["R10"], "L1", NothingMatches, "job mark JOB missing R10"),
    ],
)
def test_a_refit_that_cannot_be(
    words: list[str], part: str, error: type[Exception], message: str
) -> None:
    entries: Sequence[Entry] = TWO_AND_A_PART
    with pytest.raises(error) as caught:
        fit_entries(BOARD, job(*entries), words, part)
    assert message in str(caught.value)


def test_a_loose_part_goes_to_one_position_only() -> None:
    entries: list[Entry] = [*TWO_AND_A_PART]
    entries += fit_entries(BOARD, job(*entries), ["R1"], "L1")
    with pytest.raises(WrongUsage, match="used already"):
        fit_entries(BOARD, job(*entries), ["R2"], "L1")


def test_a_loose_part_is_entered_as_it_was_measured() -> None:
    (found,) = loose_entries(
        job(),
        {"farads": "98n", "accuracy": "2%", "size": "0603M", "length": 0.6, "looks": "Capacitor",
         "marking": "104", "chipped": True},
    )  # fmt: skip
    assert found.farads == pytest.approx(98e-9)
    assert (found.name, found.accuracy) == ("L1", 0.02)
    assert (found.size, found.length_mm, found.width_mm) == ("0201", 0.6, None)  # 0603 metric
    assert (found.looks, found.marking, found.whole) == ("capacitor", "104", False)
    assert loose_entries(job(found), {"ohms": "1k"})[0].name == "L2"


@pytest.mark.parametrize(
    ("facts", "message"),
    [
        ({"name": "L7"}, "nothing said of it"),
        ({"ohms": "1k", "name": "L1"}, "L1 is there already"),
        ({"ohms": "1k", "length": -1.0}, "millimetres above 0"),
        ({"ohms": "1k", "width": "2"}, "millimetres above 0"),
        ({"ohms": "1k", "length": 0.0}, "--length 0 where millimetres above 0 was expected"),
        ({"width": 0.0}, "leave --width out"),
        ({"ohms": "1k", "accuracy": "half"}, "Write it like 1%"),
        ({"ohms": "1k", "accuracy": "0%"}, "Write it like 1%"),
        ({"ohms": "1k", "size": "9999"}, "Write 0201, or 0603M"),
        ({"looks": "resistr"}, "Did you mean resistor"),
        ({"looks": "xyzzy"}, "For instance resistor"),
    ],
)
def test_a_loose_part_that_cannot_be_read(facts: dict[str, object], message: str) -> None:
    there = job(Loose(number=1, time="", name="L1", ohms=1.0))
    with pytest.raises(WrongUsage) as caught:
        loose_entries(there, facts)
    assert message in str(caught.value)


def read(at: str, to: str, shown: str, **more: str) -> Reading:
    row = {"at": at, "to": to, "shown": shown, **more}
    return reading_entries(BOARD, job(), [row])[0]


@pytest.mark.parametrize(
    ("shown", "more", "quantity", "value"),
    [
        ("2.19k", {}, MeterMode.OHMS, 2190.0),
        ("2k2Ω", {}, MeterMode.OHMS, 2200.0),
        ("100nF", {}, MeterMode.FARADS, pytest.approx(1e-7)),
        ("5.02V", {}, MeterMode.VOLTS, 5.02),
        ("120mA", {}, MeterMode.AMPERES, pytest.approx(0.12)),
        ("0.52", {"quantity": "diode"}, MeterMode.DIODE, 0.52),
        ("OL", {}, MeterMode.OHMS, None),
        ("OL", {"quantity": "Diode"}, MeterMode.DIODE, None),
        ("beep", {}, MeterMode.BEEP, 1.0),
        ("none", {"quantity": "beep"}, MeterMode.BEEP, 0.0),
    ],
)
def test_a_reading_as_the_meter_shows_it(
    shown: str, more: dict[str, str], quantity: MeterMode, value: float | None
) -> None:
    found = read("R1.1", "R1.2", shown, **more)
    assert (found.quantity, found.value) == (quantity, value)


def test_places_are_pads_nets_or_the_supplys_display() -> None:
    found = read("r1.1", "gnd", "5V")
    assert (found.at, found.to) == ("R1.1", "GND")
    assert read("A.B", "GND", "1V").at == "A.B"  # a net's name may hold a dot
    assert read("Supply", "supply", "0.5A").at == "supply"


@pytest.mark.parametrize(
    ("at", "shown", "more", "message"),
    [
        ("R1.1", "2k2", {"quantity": "beep"}, "beep or none"),
        ("R1.1", "2k2", {"quantity": "ohm"}, "Did you mean ohms"),
        ("R1.1", "2k2", {"quantity": "xyzzy"}, "There are ohms"),
        ("S*", "2k2", {}, "means 2 nets"),
        ("R*.1", "2k2", {}, "means 3 pads"),
        ("R1.1", "two", {}, "two"),
    ],
)
def test_a_reading_that_cannot_be_meant(
    at: str, shown: str, more: dict[str, str], message: str
) -> None:
    with pytest.raises(WrongUsage) as caught:
        read(at, "GND", shown, **more)
    assert message in str(caught.value)


def test_a_stage_and_a_note_of_the_row_beat_those_of_the_command() -> None:
    row = {"at": "SDA", "to": "GND", "shown": "2k2", "stage": "intake", "note": "shaky"}
    (found,) = reading_entries(BOARD, job(), [row], stage="after refit", note="fine")
    assert (found.stage, found.note) == ("intake", "shaky")
    del row["stage"], row["note"]
    (found,) = reading_entries(BOARD, job(), [row], stage="after refit", note="fine")
    assert (found.stage, found.note) == ("after refit", "fine")
