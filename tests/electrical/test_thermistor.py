"""Thermistors against makers' tables."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.electrical.thermistor import (
    EPCOS_8016,
    EPCOS_B57330V2103,
    beta_celsius,
    beta_from_points,
    beta_ohms,
    divider_celsius,
    divider_sweep,
    jeita_zone,
    table_celsius,
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


# makers' rows: B57330V2103 as quoted in the Linux kernel; curve 8016 of the B57861S sheet page 6
@pytest.mark.parametrize(("table", "row"), [
    (EPCOS_B57330V2103, (0, 27326)), (EPCOS_B57330V2103, (60, 3019)),
    (EPCOS_B57330V2103, (-20, 68104)),
    (EPCOS_8016, (0, 32650)), (EPCOS_8016, (45, 4369)), (EPCOS_8016, (100, 680)),
])  # fmt: skip
def test_table_rows_come_back_exactly(
    table: tuple[tuple[float, float], ...], row: tuple[float, float]
) -> None:
    assert table_ohms(row[0], table) == row[1]
    assert table_celsius(row[1], table) == row[0]


# betas derived outside from those tables; 3988 is also stated in the sheet of curve 8016
@pytest.mark.parametrize(("table", "celsius", "beta"), [
    (EPCOS_B57330V2103, 50, 3382), (EPCOS_B57330V2103, 85, 3435), (EPCOS_B57330V2103, 100, 3456),
    (EPCOS_8016, 50, 3934), (EPCOS_8016, 85, 3974), (EPCOS_8016, 100, 3988),
])  # fmt: skip
def test_one_part_has_several_betas(
    table: tuple[tuple[float, float], ...], celsius: float, beta: float
) -> None:
    found = beta_from_points(25, 10e3, celsius, table_ohms(celsius, table))
    assert found == pytest.approx(beta, abs=0.6)


def test_beta_alone_is_three_percent_off_at_zero() -> None:
    assert beta_ohms(0, 3380) / table_ohms(0, EPCOS_B57330V2103) == pytest.approx(1.033, abs=5e-4)


# V = Vref·R/(10 kΩ + R) over the B57330V2103 table, computed outside
@pytest.mark.parametrize(("supply", "volts"), [
    (1.0, [0.7321, 0.6425, 0.5000, 0.3294, 0.2319]),
    (1.8, [1.3178, 1.1565, 0.9000, 0.5928, 0.4174]),
    (3.3, [2.4159, 2.1203, 1.6500, 1.0869, 0.7652]),
])  # fmt: skip
def test_divider_over_temperature(supply: float, volts: list[float]) -> None:
    rows = divider_sweep(supply, 10e3)
    assert [row[0] for row in rows] == [0, 10, 25, 45, 60]
    assert [row[2] for row in rows] == pytest.approx(volts, abs=6e-5)


def test_divider_back_to_temperature() -> None:
    # 1.8 V, 0.600 V at the tap: 5000 Ω, 44.42 °C with B 3380, computed outside
    assert divider_celsius(0.6, 1.8, 10e3, 3380) == pytest.approx(44.42, abs=0.005)


@pytest.mark.parametrize(("volts", "what"), [(0.0, "shorted"), (1.8, "open"), (2.0, "open")])
def test_a_tap_at_a_rail_is_a_fault(volts: float, what: str) -> None:
    with pytest.raises(ValueError, match=what):
        divider_celsius(volts, 1.8, 10e3, 3380)


# JEITA guideline of 20 April 2007 as applied in TI chargers: 0, 10, 45, 60 °C
@pytest.mark.parametrize(("celsius", "zone"), [
    (-1, "cold"), (0, "cool"), (9.9, "cool"), (10, "normal"), (45, "normal"), (45.1, "warm"),
    (60, "warm"), (60.1, "hot"),
])  # fmt: skip
def test_charging_zones(celsius: float, zone: str) -> None:
    assert jeita_zone(celsius) == zone


@given(st.floats(-40, 125), st.floats(2500, 5000), st.floats(1e3, 1e6))
def test_temperature_to_ohms_and_back(celsius: float, beta: float, nominal: float) -> None:
    assert beta_celsius(beta_ohms(celsius, beta, nominal), beta, nominal) == pytest.approx(
        celsius, abs=1e-6
    )


@given(st.floats(-20, 100), st.sampled_from([EPCOS_8016, EPCOS_B57330V2103]))
def test_table_there_and_back(celsius: float, table: tuple[tuple[float, float], ...]) -> None:
    assert table_celsius(table_ohms(celsius, table), table) == pytest.approx(celsius, abs=1e-6)


def test_outside_the_table_is_refused() -> None:
    with pytest.raises(ValueError, match="outside the table"):
        table_ohms(120, EPCOS_8016)
    with pytest.raises(ValueError, match="outside the table"):
        table_celsius(1, EPCOS_8016)
    with pytest.raises(ValueError, match="absolute zero"):
        beta_ohms(-300, 3380)
    with pytest.raises(ValueError, match="two different"):
        beta_from_points(25, 10e3, 25, 10e3)


def test_sweep_by_beta_and_by_table() -> None:
    by_beta = divider_sweep(1.8, 10e3, (25, 50), beta=3950)
    assert [round(row[1], 1) for row in by_beta] == [10000.0, 3588.2]
    assert divider_sweep(1.8, 10e3, (50,), table=EPCOS_8016)[0][1] == 3603
