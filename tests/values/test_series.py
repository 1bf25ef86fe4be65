"""E series against IEC 60063."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.values.series import (
    SERIES,
    combinations,
    nearest,
    neighbours,
    series_containing,
    series_of_tolerance,
    series_values,
)

# E96 as printed in the qsl.net copy of IEC 60063
E96 = """
100 102 105 107 110 113 115 118 121 124 127 130 133 137 140 143 147 150 154 158 162 165 169 174 178
182 187 191 196 200 205 210 215 221 226 232 237 243 249 255 261 267 274 280 287 294 301 309 316 324
332 340 348 357 365 374 383 392 402 412 422 432 442 453 464 475 487 499 511 523 536 549 562 576 590
604 619 634 649 665 681 698 715 732 750 768 787 806 825 845 866 887 909 931 953 976
"""


def test_coarse_series_are_those_of_the_standard() -> None:
    # IEC 60063, tables
    assert [n // 10 for n in SERIES["E3"]] == [10, 22, 47]
    assert [n // 10 for n in SERIES["E6"]] == [10, 15, 22, 33, 47, 68]
    assert [n // 10 for n in SERIES["E12"]] == [10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82]


def test_e96_and_check_sums() -> None:
    assert list(SERIES["E96"]) == [int(word) for word in E96.split()]
    # check sums per decade, recomputed outside the project
    assert sum(SERIES["E24"]) == 9010
    assert (sum(SERIES["E48"]), sum(SERIES["E96"]), sum(SERIES["E192"])) == (18313, 37070, 74599)
    assert [len(SERIES[name]) for name in ("E24", "E48", "E96", "E192")] == [24, 48, 96, 192]
    assert len(set(SERIES["E192"])) == 192
    assert 920 in SERIES["E192"]
    assert 919 not in SERIES["E192"]


def test_eight_exceptions_of_e24() -> None:
    # IEC 60063: 27 to 47 and 82 differ from the rounded formula
    formula = [round(10 ** (1 + i / 24)) for i in range(24)]
    odd = [n // 10 for n, f in zip(SERIES["E24"], formula, strict=True) if n // 10 != f]
    assert odd == [27, 30, 33, 36, 39, 43, 47, 82]


def test_e24_members_in_e96() -> None:
    common = set(SERIES["E24"]) & set(SERIES["E96"])
    assert sorted(n // 10 for n in common) == [10, 11, 13, 15, 20, 75]
    assert "E96" not in series_containing(4700)
    assert "E96" in series_containing(4750)


@pytest.mark.parametrize(("tolerance", "first"), [
    (0.4, "E3"), (0.2, "E6"), (0.1, "E12"), (0.05, "E24"), (0.02, "E48"), (0.01, "E96"),
    (0.005, "E192"), (0.0025, "E192"), (0.001, "E192"),
])  # fmt: skip
def test_series_of_a_tolerance(tolerance: float, first: str) -> None:
    assert series_of_tolerance(tolerance)[0] == first


def test_one_percent_is_also_sold_in_e24() -> None:
    assert "E24" in series_of_tolerance(0.01)  # common practice, no source


names = st.sampled_from(list(SERIES))
values = st.floats(1e-12, 1e8)


@given(values, names)
def test_nearest_is_in_the_series_and_nothing_is_nearer(value: float, name: str) -> None:
    near = nearest(value, name)
    assert name in series_containing(near)
    low, high = neighbours(near, name)
    assert low < near < high
    off = abs(math.log(near / value))
    assert off <= min(abs(math.log(low / value)), abs(math.log(high / value))) + 1e-12


@given(values, names)
def test_neighbours_enclose_and_have_nothing_between(value: float, name: str) -> None:
    low, high = neighbours(value, name)
    assert low < value < high
    assert neighbours(low, name)[1] in (high, pytest.approx(value))


@given(st.floats(1, 1e7), st.sampled_from(["E6", "E12", "E24"]), st.booleans())
def test_combinations_are_right_and_sorted(target: float, name: str, capacitors: bool) -> None:
    found = combinations(target, name, None, limit=20, capacitors=capacitors)
    errors = [round(abs(c.error), 9) for c in found]
    assert errors == sorted(errors)
    for one in found:
        assert all(name in series_containing(part) for part in one.parts)
        adds = one.arrangement == ("parallel" if capacitors else "series")
        value = math.fsum(one.parts) if adds else 1 / math.fsum(1 / part for part in one.parts)
        if one.arrangement == "one":
            value = one.parts[0]
        assert one.value == pytest.approx(value, rel=1e-9)


def test_best_pair_is_found_as_by_trying_all() -> None:
    target = 3210.0
    every = [float(f"{n}e{d}") for n in SERIES["E12"] for d in range(-2, 5)]
    sums = [a + b for a in every for b in every] + [a * b / (a + b) for a in every for b in every]
    best = min(abs(value / target - 1) for value in sums + every)
    assert abs(combinations(target, "E12", None)[0].error) == pytest.approx(best, abs=1e-9)


def test_capacitors_in_parallel_add() -> None:
    # 100 nF beside 10 µF is 10.1 µF, 10 µF in series with 10 µF 5 µF (exact)
    assert any(
        c.arrangement == "parallel" and c.parts == (10e-6, 1e-7)
        for c in combinations(10.1e-6, "E6", 1e-6, capacitors=True)
    )
    assert any(
        c.arrangement == "series" and c.parts == (10e-6, 10e-6)
        for c in combinations(5e-6, "E6", 1e-6, capacitors=True)
    )


@pytest.mark.parametrize("value", [0, -1, math.inf])
def test_values_outside_are_refused(value: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        nearest(value)
    with pytest.raises(ValueError, match="above 0"):
        combinations(value)
    assert series_containing(value) == ()


def test_unknown_series_and_tolerance_are_refused() -> None:
    with pytest.raises(ValueError, match="no series 'E7'"):
        series_values("E7")
    with pytest.raises(ValueError, match="fraction"):
        series_of_tolerance(5)
