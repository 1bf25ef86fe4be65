"""LED resistors by Ohm's law."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.electrical.formulas import FORWARD_VOLTS, led_amperes, led_resistor


def test_resistor_and_power() -> None:
    # Ohm's law: (5 − 2)/10 mA and (5 − 2)·10 mA
    assert led_resistor(5, 2, 10e-3) == pytest.approx((300, 0.03))


def test_too_low_a_supply_is_refused_and_gives_no_light() -> None:
    with pytest.raises(ValueError, match="must be above the LED's 3 V"):
        led_resistor(2.8, 3, 1e-3)
    assert led_amperes(2.8, 3, 100) == 0


@given(st.floats(3.5, 24), st.sampled_from(sorted(FORWARD_VOLTS)), st.floats(1e-4, 0.05))
def test_resistor_gives_the_current_back(supply: float, colour: str, amperes: float) -> None:
    forward = FORWARD_VOLTS[colour][0]
    ohms, watts = led_resistor(supply, forward, amperes)
    assert led_amperes(supply, forward, ohms) == pytest.approx(amperes)
    assert watts == pytest.approx(amperes**2 * ohms)
