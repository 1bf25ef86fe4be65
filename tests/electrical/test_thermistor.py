"""Thermistors against makers' tables."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.electrical.thermistor import (
    beta_celsius,
    beta_ohms,
    divider_celsius,
    jeita_zone,
    table_ohms,
)

# R0·exp(B·(1/T − 1/T0)) computed outside, T0 298.15 K, 10 kΩ
BETA_CURVES = {
    3380: {-20: 75021.7, 0: 28223.7, 10: 18231.4, 25: 10000, 45: 4903.4, 50: 4160.1, 60: 3039.2,
           85: 1496.9, 100: 1024.3},
    3435: {-20: 77522.5, 0: 28704.3, 10: 18410.4, 25: 10000, 45: 4846.9, 50: 4101.2, 60: 2980.9,
           85: 1451.3, 100: 987.0},
    3950: {-20: 105384.7, 0: 33620.6, 10: 20174.6, 25: 10000, 45: 4348.1, 50: 3588.2, 60: 2486.2,
           85: 1086.7, 100: 697.5},
}  # fmt: skip


@pytest.mark.parametrize(
    ("beta", "celsius", "ohms"),
    [(beta, celsius, ohms) for beta, row in BETA_CURVES.items() for celsius, ohms in row.items()],
)
def test_beta_curve(beta: float, celsius: float, ohms: float) -> None:
    assert beta_ohms(celsius, beta) == pytest.approx(ohms, abs=0.06)
    assert beta_celsius(ohms, beta) == pytest.approx(celsius, abs=0.01)


# rows of the B57330V2103 as quoted in the Linux kernel
@pytest.mark.parametrize(("celsius", "ohms"), [(0, 27326), (60, 3019), (-20, 68104), (100, 973)])
def test_table_rows_come_back_exactly(celsius: float, ohms: float) -> None:
    assert table_ohms(celsius) == ohms


def test_beta_alone_is_three_percent_off_at_zero() -> None:
    assert beta_ohms(0, 3380) / table_ohms(0) == pytest.approx(1.033, abs=5e-4)


def test_divider_back_to_temperature() -> None:
    # 1.8 V, 0.600 V at the tap: 5000 Ω, 44.42 °C with B 3380, computed outside
    assert divider_celsius(0.6, 1.8, 10e3, 3380, 10e3) == pytest.approx(44.42, abs=0.005)


@pytest.mark.parametrize(("volts", "what"), [(0.0, "shorted"), (1.8, "open"), (2.0, "open")])
def test_a_tap_at_a_rail_is_a_fault(volts: float, what: str) -> None:
    with pytest.raises(ValueError, match=what):
        divider_celsius(volts, 1.8, 10e3, 3380, 10e3)


# JEITA guideline of 20 April 2007 as applied in TI chargers: 0, 10, 45, 60 °C
@pytest.mark.parametrize(("celsius", "zone"), [
    (-1, "cold"), (0, "cool"), (9.9, "cool"), (10, "normal"), (45, "normal"), (45.1, "warm"),
    (60, "warm"), (60.1, "hot"),
])  # fmt: skip
def test_charging_zones(celsius: float, zone: str) -> None:
    assert jeita_zone(celsius)[0] == zone


@given(st.floats(-40, 125), st.floats(2500, 5000), st.floats(1e3, 1e6))
def test_temperature_to_ohms_and_back(celsius: float, beta: float, nominal: float) -> None:
    assert beta_celsius(beta_ohms(celsius, beta, nominal), beta, nominal) == pytest.approx(
        celsius, abs=1e-6
    )


@given(st.floats(-20, 100))
def test_the_table_falls_with_temperature(celsius: float) -> None:
    assert table_ohms(100) <= table_ohms(celsius) <= table_ohms(-20)


def test_outside_the_table_is_refused() -> None:
    with pytest.raises(ValueError, match="outside the table"):
        table_ohms(120)
    with pytest.raises(ValueError, match="absolute zero"):
        beta_ohms(-300, 3380)
