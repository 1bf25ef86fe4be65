"""Readings from good boards: robust against one bad board, honest where there are too few."""

from __future__ import annotations

import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.bench.job import MeterMode
from nettrace.bench.judging import KnownGood, KnownReading, read_known_good
from nettrace.errors import BadInput

HEAD = "place,to,quantity,value,board\n"


def good(*values: float | None, quantity: MeterMode = MeterMode.OHMS) -> KnownGood:
    return KnownGood(
        tuple(KnownReading("R1.1", "GND", quantity, v, f"b{i}") for i, v in enumerate(values))
    )


def alike(boards: KnownGood, value: float | None, quantity: MeterMode = MeterMode.OHMS) -> object:
    found = boards.compare({("R1.1", "GND")}, quantity, value)
    assert found is not None
    return found.alike


def test_one_bad_board_does_not_move_the_median() -> None:
    boards = good(10e3, 10.2e3, 9.9e3, 10.1e3, 3.0)
    assert alike(boards, 10.05e3) is True
    assert alike(boards, 6e3) is False


def test_fewer_than_three_boards_say_so() -> None:
    found = good(10e3, 10.1e3).compare({("R1.1", "GND")}, MeterMode.OHMS, 3.0)
    assert found is not None
    assert found.alike is None
    assert "too few" in found.because


def test_places_in_either_order_but_not_in_diode_mode() -> None:
    assert good(1.0, 1.0, 1.0).compare({("gnd", "r1.1")}, MeterMode.OHMS, 1.0) is not None
    diode = good(0.5, 0.5, 0.5, quantity=MeterMode.DIODE)
    assert diode.compare({("GND", "R1.1")}, MeterMode.DIODE, 0.5) is None


def test_overload_on_good_boards() -> None:
    assert alike(good(None, None, None), None) is True
    assert alike(good(None, None, None), 2200.0) is False
    assert alike(good(2200.0, 2200.0, 2210.0), None) is False


def test_the_newest_reading_of_a_board_counts() -> None:
    twice = KnownGood((*good(5.0, 5.0, 5.0).readings, *good(10.0, 10.0, 10.0).readings))
    found = twice.compare({("R1.1", "GND")}, MeterMode.OHMS, 10.0)
    assert found is not None
    assert (found.boards, found.alike) == (3, True)


@given(st.lists(st.floats(1.0, 1e6), min_size=3, max_size=9))
def test_the_middle_is_the_median_of_the_standard_library(values: list[float]) -> None:
    found = good(*values).compare({("R1.1", "GND")}, MeterMode.OHMS, values[0])
    assert found is not None
    if len(values) % 2:
        assert found.middle == pytest.approx(statistics.median(values), rel=1e-6)
    assert alike(good(*values), found.middle) is True


def test_a_csv_file_is_read() -> None:
    text = HEAD + "R1.1,GND,ohms,2k2,a\nR1.1,GND,diode,OL,a\nTP1,GND,beep,none,a\n\n"
    found = read_known_good(text, "good.csv").readings
    assert [item.value for item in found] == [2200.0, None, 0.0]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("place,to,quantity,value\n", "error: good.csv:1:1: no column 'board' where "
         "place,to,quantity,value,board was expected. The first line names the columns."),
        (HEAD + "R1.1,GND,watts,1,a\n", "error: good.csv:2: 'watts' where one of ohms, farads, "
         "diode, volts, amperes, beep was expected."),
        (HEAD + "R1.1,GND,ohms,much,a\n", "error: good.csv:2: 'much' where a value in Ω, or OL "
         "was expected. Write it like 2k2, 100n or 0.45."),
        (HEAD + "R1.1,GND,beep,loud,a\n", "error: good.csv:2: 'loud' where beep or none was "
         "expected."),
        (HEAD + "R1.1,GND\n", "error: good.csv:2: 2 cells where 5 was expected."),
    ],
)  # fmt: skip
def test_bad_files_are_told_with_their_line(text: str, message: str) -> None:
    with pytest.raises(BadInput) as caught:
        read_known_good(text, "good.csv")
    assert str(caught.value) == message
