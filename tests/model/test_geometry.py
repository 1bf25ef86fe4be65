"""Plane geometry on the board: distances to copper, turns, points in outlines."""

from __future__ import annotations

import math

import pytest

from nettrace.model.board import Pad, Side
from nettrace.model.geometry import inside, pad_distance, turn


def pad(**facts: object) -> Pad:
    return Pad("R1", "1", "N", 10.0, 5.0, Side.TOP, **facts)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("facts", "point", "expected"),
    [
        # without a size the pad is a point: 3-4-5 triangle
        ({}, (13.0, 9.0), 5.0),
        ({"width": 2.0}, (13.0, 9.0), 5.0),
        # on the copper there is no way to go
        ({"shape": "rect", "width": 2.0, "height": 1.0}, (10.9, 5.4), 0.0),
        ({"shape": "circle", "width": 2.0, "height": 2.0}, (10.5, 5.5), 0.0),
        # beside an edge, and off a corner (3-4-5 again)
        ({"shape": "rect", "width": 2.0, "height": 1.0}, (12.5, 5.0), 1.5),
        ({"shape": "rect", "width": 2.0, "height": 2.0}, (14.0, 10.0), 5.0),
        ({"shape": "circle", "width": 2.0, "height": 2.0}, (13.0, 9.0), 4.0),
        # a quarter turn changes width for height
        ({"shape": "rect", "width": 2.0, "height": 1.0, "angle": 90.0}, (12.5, 5.0), 2.0),
    ],
)
def test_the_way_to_the_copper(
    facts: dict[str, object], point: tuple[float, float], expected: float
) -> None:
    assert pad_distance(pad(**facts), *point) == pytest.approx(expected)


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
