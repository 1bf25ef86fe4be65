"""Shunts by Ohm's law."""

from __future__ import annotations

import pytest

from nettrace.electrical.formulas import kelvin_error, shunt_amperes, shunt_drop


# exact: I·R and I²·R
@pytest.mark.parametrize(("ohms", "amperes", "volts", "watts"), [
    (10e-3, 3, 30e-3, 90e-3), (5e-3, 2, 10e-3, 20e-3), (1e-3, 10, 10e-3, 100e-3),
])  # fmt: skip
def test_drop_and_power(ohms: float, amperes: float, volts: float, watts: float) -> None:
    assert shunt_drop(ohms, amperes) == pytest.approx((volts, watts))
    assert shunt_amperes(ohms, volts) == pytest.approx(amperes)


def test_current_the_other_way_keeps_its_sign() -> None:
    assert shunt_drop(0.01, -3) == pytest.approx((-0.03, 0.09))


def test_shared_track_reads_high() -> None:
    # 0.5 mΩ of shared track on 10 mΩ is 5 %, exact
    assert kelvin_error(10e-3, 0.5e-3) == pytest.approx(0.05)


def test_a_shunt_of_no_ohms_is_refused() -> None:
    with pytest.raises(ValueError, match="ohms"):
        shunt_drop(0, 1)
    with pytest.raises(ValueError, match="shared_ohms"):
        kelvin_error(0.01, -1)
