"""USB and Li-ion stages against the published ones, and the trade's own facts."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.electrical.charging import Trend, advertised_amperes, explain_supply


# typical thresholds of TI TPS65987DDK: 0.20, 0.66, 1.23 V; 2.04 V from memory
@pytest.mark.parametrize(("volts", "offered"), [
    (0.19, None), (0.21, 0.5), (0.65, 0.5), (0.67, 1.5), (1.22, 1.5), (1.24, 3.0), (2.1, None),
])  # fmt: skip
def test_cc_thresholds(volts: float, offered: float | None) -> None:
    assert advertised_amperes(volts) == offered


# stages: USB 2.0 unit load 100 mA, 500 mA at most, suspend 2.5 mA; Power Delivery 5, 9, 15, 20 V
@pytest.mark.parametrize(("volts", "amperes", "trend", "stage", "charging"), [
    (0.0, 0.0, "unknown", "no supply", False),
    (5.1, 0.001, "unknown", "attached, nothing drawn", False),
    (5.0, 0.08, "steady", "before configuration", False),
    (5.0, 0.48, "steady", "default current", None),
    (5.0, 1.8, "steady", "charging at 5 V", True),
    (9.0, 1.8, "steady", "negotiated, charging", True),
    (20.1, 0.2, "steady", "negotiated, light load", None),
    (12.0, 1.0, "steady", "no standard voltage", None),
    (48.0, 4.0, "steady", "negotiated, charging", True),
    # common practice, no source: half an ampere rising to nearly two is a healthy charge
    (5.0, 0.5, "rising", "charge ramping up", True),
    (9.0, 1.8, "rising", "negotiated, charging", True),
    (15.0, 0.5, "rising", "negotiated, charging", True),
    # common practice, no source: about 0.05 A falling to zero at a negotiated 15 V is no charge
    (15.0, 0.05, "falling", "negotiated, not charging", False),
    (15.0, 0.0, "falling", "negotiated, not charging", False),
])  # fmt: skip
def test_supply_reading(
    volts: float, amperes: float, trend: Trend, stage: str, charging: bool | None
) -> None:
    found = explain_supply(volts, amperes, trend)
    assert (found.stage, found.charging) == (stage, charging)
    assert found.basis


def test_not_charging_names_what_is_missing_and_that_it_is_practice() -> None:
    found = explain_supply(15, 0.05, "falling")
    assert any("thermistor" in what for what in found.missing)
    assert any("pull-ups" in what for what in found.missing)
    assert any("common practice, no source" in what for what in found.basis)
    assert any("Power Delivery" in what for what in found.basis)


@given(
    st.floats(0, 60), st.floats(0, 6), st.sampled_from(["steady", "rising", "falling", "unknown"])
)
def test_every_reading_has_an_answer(volts: float, amperes: float, trend: Trend) -> None:
    found = explain_supply(volts, amperes, trend)
    assert found.text
    assert (found.charging is False) <= bool(found.missing)


def test_negative_readings_are_refused() -> None:
    with pytest.raises(ValueError, match="volts"):
        explain_supply(-1, 0)
