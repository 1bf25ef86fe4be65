"""The meter's error and diode mode against manuals."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.electrical.meter import read_diode, resolution, uncertainty


# first row as published in a maker's manual (98.8 to 101.2 V); the others computed outside from
# the accuracy forms of Elenco M-1000D and, from memory, of mid-range true-RMS meters
@pytest.mark.parametrize(("reading", "fraction", "counts", "count", "error"), [
    (100.0, 0.01, 2, 0.1, 1.2), (2200, 0.008, 2, 10, 37.6), (4700, 0.008, 2, 10, 57.6),
    (2200, 0.009, 1, 1, 20.8), (1.0, 0.009, 2, 0.1, 0.209), (3.300, 0.005, 2, 0.001, 0.0185),
])  # fmt: skip
def test_error_of_a_reading(
    reading: float, fraction: float, counts: int, count: float, error: float
) -> None:
    assert uncertainty(reading, fraction, counts, count) == pytest.approx(error)


@pytest.mark.parametrize(("reading", "counts", "smallest", "count"), [
    (2200, 6000, 0.1, 1), (1.0, 6000, 0.1, 0.1), (2200, 2000, 0.1, 10), (3.3, 6000, 0.0001, 0.001),
    (599.9, 6000, 0.1, 0.1), (600, 6000, 0.1, 1),
])  # fmt: skip
def test_count_of_an_auto_ranging_meter(
    reading: float, counts: int, smallest: float, count: float
) -> None:
    assert resolution(reading, counts, smallest) == pytest.approx(count)


# Fluke 80 series: beeper at 0.100 V; junctions 0.5-0.8 V; Schottky 0.1-0.45 V;
# pins and "0.3 or 0.6 V is no short": common practice, no source
@pytest.mark.parametrize(("volts", "state"), [
    (0.0, "short or very low ohms"), (0.08, "short or very low ohms"),
    (0.2, "Schottky or a low path"), (0.3, "Schottky or a low path"), (0.5, "junction"),
    (0.6, "junction"), (0.8, "junction"), (1.7, "two junctions or LED"), (2.0, "open"),
    (None, "open"),
])  # fmt: skip
def test_diode_mode(volts: float | None, state: str) -> None:
    found = read_diode(volts)
    assert found.state == state
    assert "common practice" in found.basis


@given(st.floats(0.25, 0.75))
def test_a_pin_in_health_is_never_called_a_short(volts: float) -> None:
    assert not read_diode(volts).state.startswith("short")


def test_readings_out_of_range_are_refused() -> None:
    with pytest.raises(ValueError, match="volts"):
        read_diode(-0.1)
