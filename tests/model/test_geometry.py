"""Plane geometry on the board: distances to copper, turns, points in outlines."""

from __future__ import annotations

import math

import pytest

from nettrace.model.geometry import inside, turn


def test_turns_are_counter_clockwise_and_quarter_turns_exact() -> None:
    assert [turn(2.0, 1.0, at) for at in (0, 90, 180, 270, 450, -90)] == [
        (2.0, 1.0), (-1.0, 2.0), (-2.0, -1.0), (1.0, -2.0), (-1.0, 2.0), (1.0, -2.0),
    ]  # fmt: skip
    x, y = turn(1.0, 0.0, 60.0)
    assert x == pytest.approx(0.5)
    assert y == pytest.approx(math.sqrt(3) / 2)


L_SHAPE = ((0.0, 0.0), (4.0, 0.0), (4.0, 2.0), (2.0, 2.0), (2.0, 4.0), (0.0, 4.0))


@pytest.mark.parametrize(
    ("point", "expected"),
    [
        ((1.0, 1.0), True), ((3.0, 3.0), False), ((1.0, 3.0), True), ((5.0, 1.0), False),
        ((2.0, 3.0), True), ((4.0, 1.0), True), ((0.0, 0.0), True),  # edges and corners count
        ((4.0, 3.0), False),  # on the line of an edge, and beyond its end
        ((-1.0, 4.0), False),
    ],
)  # fmt: skip
def test_inside_an_outline_with_a_notch(point: tuple[float, float], expected: bool) -> None:
    assert inside(*point, L_SHAPE) is expected


def test_nothing_is_inside_no_outline() -> None:
    assert not inside(0.0, 0.0, ())
