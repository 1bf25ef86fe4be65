"""RC and LC figures against exact values."""

from __future__ import annotations

import math

import pytest

from nettrace.electrical.formulas import (
    charged_fraction,
    corner_hertz,
    crystal_load_farads,
    parallel_farads,
    resonance_hertz,
    series_farads,
    time_constant,
)


def test_corner_and_time_constant() -> None:
    # exact: 1/(2πRC)
    assert time_constant(10e3, 100e-9) == pytest.approx(1e-3)
    assert corner_hertz(10e3, 100e-9) == pytest.approx(159.155, abs=5e-4)
    assert corner_hertz(4.7e3, 100e-12) == pytest.approx(338.628e3, abs=0.5)


def test_resonance() -> None:
    assert resonance_hertz(10e-6, 10e-6) == pytest.approx(15915, abs=0.6)  # exact: 1/(2π√LC)


def test_capacitors_together() -> None:
    assert parallel_farads([100e-9, 10e-6]) == pytest.approx(10.1e-6)
    assert series_farads([10e-6, 10e-6]) == pytest.approx(5e-6)
    assert parallel_farads([]) == 0
    assert series_farads([]) == math.inf


@pytest.mark.parametrize(("each", "load"), [(10e-12, 8e-12), (12e-12, 9e-12)])
def test_crystal_load(each: float, load: float) -> None:
    # CL = C1·C2/(C1+C2) + 3 pF stray, computed outside
    assert crystal_load_farads(each, each, 3e-12) == pytest.approx(load)


def test_charge_after_one_and_five_time_constants() -> None:
    # exact: 1 − e⁻¹ and 1 − e⁻⁵
    assert charged_fraction(1e-3, 10e3, 100e-9) == pytest.approx(0.632121, abs=1e-6)
    assert charged_fraction(5e-3, 10e3, 100e-9) == pytest.approx(0.993262, abs=1e-6)
    assert charged_fraction(0, 10e3, 100e-9) == 0


@pytest.mark.parametrize("bad", [0, -1, math.inf, math.nan])
def test_out_of_range_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="ohms"):
        corner_hertz(bad, 1e-9)
    with pytest.raises(ValueError, match="farads"):
        series_farads([bad])
    with pytest.raises(ValueError, match="henries"):
        resonance_hertz(bad, 1e-9)
