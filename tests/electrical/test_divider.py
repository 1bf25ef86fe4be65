"""Dividers against exact values."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.electrical.formulas import (
    divider_volts,
    feedback_lower_ohms,
    feedback_output_volts,
    feedback_upper_ohms,
    loaded_divider_volts,
)

ohms = st.floats(1, 1e7)


def test_tap() -> None:
    assert divider_volts(3.3, 10e3, 10e3) == pytest.approx(1.65)  # exact
    assert divider_volts(5, 0, 10e3) == 5
    assert divider_volts(5, 10e3, 0) == 0


def test_missing_resistors() -> None:
    assert divider_volts(5, math.inf, 10e3) == 0
    assert divider_volts(5, 10e3, math.inf) == 5
    for both in (0.0, math.inf):
        with pytest.raises(ValueError, match="no voltage of its own"):
            divider_volts(5, both, both)


# exact: Vref·(1 + upper/lower)
@pytest.mark.parametrize(("reference", "upper", "lower", "output"), [
    (0.6, 45.3e3, 10e3, 3.318), (0.8, 31.6e3, 10e3, 3.328), (1.25, 720, 240, 5.00),
])  # fmt: skip
def test_feedback_output(reference: float, upper: float, lower: float, output: float) -> None:
    assert feedback_output_volts(reference, upper, lower) == pytest.approx(output)


@pytest.mark.parametrize(("each", "shown"), [(10e3, 2.49875), (1e6, 2.38095)])
def test_meter_of_ten_megohms_on_a_five_volt_tap(each: float, shown: float) -> None:
    # computed outside: the meter in parallel with the lower resistor
    assert loaded_divider_volts(5, each, each, 10e6) == pytest.approx(shown, abs=5e-6)


@given(st.floats(0.4, 1.3), st.floats(1.01, 20), ohms)
def test_feedback_resistors_give_the_output_back(reference: float, ratio: float, r: float) -> None:
    output = reference * ratio
    upper = feedback_upper_ohms(output, reference, r)
    assert feedback_output_volts(reference, upper, r) == pytest.approx(output)
    lower = feedback_lower_ohms(output, reference, r)
    assert feedback_output_volts(reference, r, lower) == pytest.approx(output)


@given(ohms, ohms, ohms)
def test_a_load_only_lowers_the_tap(upper: float, lower: float, load: float) -> None:
    assert loaded_divider_volts(5, upper, lower, load) < divider_volts(5, upper, lower)


def test_out_of_range_is_refused() -> None:
    assert feedback_lower_ohms(0.6, 0.6, 10e3) == math.inf
    with pytest.raises(ValueError, match="below the reference"):
        feedback_upper_ohms(0.5, 0.6, 10e3)
    with pytest.raises(ValueError, match="below the reference"):
        feedback_lower_ohms(0.5, 0.6, 10e3)
    with pytest.raises(ValueError, match="lower_ohms"):
        feedback_output_volts(0.6, 10e3, 0)
    with pytest.raises(ValueError, match="upper_ohms must be 0 or more"):
        divider_volts(5, -1, 1)
