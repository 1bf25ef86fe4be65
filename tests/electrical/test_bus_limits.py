"""Pull-up limits against the worked values of NXP UM10204 and TI SLVA689."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.electrical.bus_limits import (
    MODES,
    RISE_FACTOR,
    BusMode,
    judge_pull_up,
    low_level,
    pull_up_limits,
    rise_time,
    series_limit_ohms,
)

FAST, STANDARD, FAST_PLUS = BusMode.FAST, BusMode.STANDARD, BusMode.FAST_PLUS

# supply V, capacitance F, mode, at least Ω, at most Ω. First row: TI SLVA689 section 4 (its paper
# rounds to 1.77 kΩ); the others from equations 1 and 2 of UM10204 section 7.1, computed outside
WINDOWS = [
    (3.3, 200e-12, FAST, 966.667, 1770.33),
    (3.3, 400e-12, STANDARD, 966.67, 2950.55),
    (5.0, 400e-12, FAST, 1533.33, 885.16),
    (3.3, 550e-12, FAST_PLUS, 145.00, 257.50),
    (1.8, 100e-12, FAST, 720.00, 3540.66),
    (5.0, 100e-12, STANDARD, 1533.33, 11802.20),
]


@pytest.mark.parametrize(("volts", "farads", "mode", "least", "most"), WINDOWS)
def test_window(volts: float, farads: float, mode: BusMode, least: float, most: float) -> None:
    limits = pull_up_limits(volts, farads, mode)
    assert limits.at_least == pytest.approx(least, rel=2e-5)
    assert limits.at_most == pytest.approx(most, rel=2e-5)
    assert limits.possible == (least <= most)


def test_rise_factor_is_that_of_30_to_70_percent() -> None:
    assert pytest.approx(0.8473, abs=5e-5) == RISE_FACTOR  # UM10204 section 7.1
    assert pytest.approx(1.203973 - 0.356675, abs=1e-6) == RISE_FACTOR


@pytest.mark.parametrize(("ohms", "farads", "nanoseconds"), [
    (4.7e3, 100e-12, 398.2), (2.2e3, 200e-12, 372.8), (10e3, 50e-12, 423.7), (1e3, 100e-12, 84.7),
])  # fmt: skip
def test_rise_time(ohms: float, farads: float, nanoseconds: float) -> None:
    # computed outside from UM10204 equation 1
    assert rise_time(ohms, farads) * 1e9 == pytest.approx(nanoseconds, abs=0.06)


def test_modes_are_those_of_the_standard() -> None:
    # UM10204 tables 9 to 11
    rows = {m: (MODES[m].hertz, MODES[m].rise_seconds, MODES[m].bus_farads) for m in MODES}
    assert rows[STANDARD] == (100e3, 1000e-9, 400e-12)
    assert rows[FAST] == (400e3, 300e-9, 400e-12)
    assert rows[FAST_PLUS] == (1e6, 120e-9, 550e-12)
    assert low_level(3.3, FAST) == (0.4, 3e-3)
    assert low_level(3.3, FAST_PLUS) == (0.4, 20e-3)
    assert low_level(1.8, FAST_PLUS) == pytest.approx((0.36, 2e-3))
    assert low_level(2.01, FAST) == (0.4, 3e-3)


def test_series_resistor_ceiling() -> None:
    # derived from the 0.1 VDD margin of UM10204 section 7.3
    assert series_limit_ohms(2.2e3) == pytest.approx(244, abs=0.5)
    assert series_limit_ohms(10e3) == pytest.approx(1111, abs=0.5)


# SMBus 2.0 table 2: (VDD − 0.4)/350 µA; high-power class 4 mA
@pytest.mark.parametrize(("volts", "mode", "least"), [
    (3.3, BusMode.SMBUS_LOW_POWER, 8285.7), (5.0, BusMode.SMBUS_LOW_POWER, 13142.9),
    (3.3, BusMode.SMBUS_HIGH_POWER, 725), (5.0, BusMode.SMBUS_HIGH_POWER, 1150),
])  # fmt: skip
def test_smbus_classes(volts: float, mode: BusMode, least: float) -> None:
    assert pull_up_limits(volts, 100e-12, mode).at_least == pytest.approx(least, rel=1e-5)


@pytest.mark.parametrize(
    ("ohms", "volts", "farads", "bus", "state", "words"),
    [
        (2200, 3.3, 100e-12, "I2C", "ok", "Fast mode"),
        (4700, 3.3, 100e-12, "I2C", "ok", "too weak for Fast"),
        (4700, 3.3, 100e-12, FAST, "too weak", "398.2 ns"),
        (330, 3.3, 100e-12, "I2C", "too strong", "at least 966.7 Ω"),
        (200, 3.3, 400e-12, "Fast-plus", "ok", "1 MHz"),
        (100e3, 3.3, 100e-12, "I2C", "too weak", "11.8 kΩ"),
        (1200, 5.0, 400e-12, FAST, "no legal value", "no pull-up is legal"),
        (None, 3.3, None, "I2C", "too weak", "no pull-up"),
        (math.inf, 3.3, None, "I2C", "too weak", "no pull-up"),
        (0, 3.3, None, "I2C", "too strong", "tied straight"),
        (2200, None, None, "I2C", "unknown", "voltage of its rail"),
        (2200, 3.3, None, "UART", "unknown", "no limits known"),
        (10e3, 3.3, 100e-12, "SMBus", "ok", "high-power"),
        (1000, 1.8, 40e-12, "I3C", "ok", "I3C"),
    ],
)
def test_verdict(
    ohms: float | None,
    volts: float | None,
    farads: float | None,
    bus: BusMode | str,
    state: str,
    words: str,
) -> None:
    verdict = judge_pull_up(ohms, volts, farads, bus)
    assert verdict.state == state
    assert words in verdict.text


def test_verdict_says_what_was_assumed_and_its_source() -> None:
    because = " ".join(judge_pull_up(2200, 3.3).because)
    assert "100 pF assumed" in because
    assert "UM10204" in because
    assert "3 V" in " ".join(judge_pull_up(2200, 1.8, None, "SMBus").because)


@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf])
def test_arguments_out_of_range_are_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="supply_volts"):
        pull_up_limits(bad, 100e-12)
    with pytest.raises(ValueError, match="bus_farads"):
        pull_up_limits(3.3, bad)


@given(st.floats(10, 1e6), st.floats(1.1, 5.5), st.floats(5e-12, 600e-12), st.sampled_from(BusMode))
def test_verdict_agrees_with_the_window(
    ohms: float, volts: float, farads: float, mode: BusMode
) -> None:
    limits = pull_up_limits(volts, farads, mode)
    inside = limits.at_least <= ohms <= limits.at_most
    assert (judge_pull_up(ohms, volts, farads, mode).state == "ok") == inside
