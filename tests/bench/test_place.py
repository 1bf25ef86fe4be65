"""Places: what is inside, and the words for them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.bench.place import (
    Box,
    Circle,
    Outline,
    circle_around,
    parse_box,
    parse_outline,
    parse_point,
)
from nettrace.errors import NothingMatches, WrongUsage
from nettrace.model.builder import BoardBuilder
from tests.views.made_circuit import made_board

COORDINATES = st.floats(-200, 200, allow_nan=False)


def test_the_rim_of_a_circle_counts() -> None:
    circle = Circle(1.0, 1.0, 0.3)
    assert circle.contains(1.3, 1.0)
    assert not circle.contains(1.3001, 1.0)


@given(COORDINATES, COORDINATES, COORDINATES, COORDINATES, COORDINATES, COORDINATES)
def test_a_box_and_the_outline_of_its_corners_hold_the_same_points(
    x1: float, y1: float, x2: float, y2: float, x: float, y: float
) -> None:
    box = Box(min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2))
    outline = Outline(((box.x1, box.y1), (box.x2, box.y1), (box.x2, box.y2), (box.x1, box.y2)))
    near_edge = any(
        math.isclose(a, b, abs_tol=1e-5)
        for a, b in ((x, box.x1), (x, box.x2), (y, box.y1), (y, box.y2))
    )
    if not near_edge:
        assert box.contains(x, y) == outline.contains(x, y)


@pytest.mark.parametrize(
    ("text", "point"),
    [("12.5,-3", (12.5, -3.0)), ("12.5 -3", (12.5, -3.0)), ("1mm,2mm", (1.0, 2.0))],
)
def test_points_as_people_write_them(text: str, point: tuple[float, float]) -> None:
    assert parse_point(text) == point


@pytest.mark.parametrize(
    ("parse", "text", "message"),
    [
        (parse_point, "1", "the point '1' where X,Y was expected"),
        (parse_point, "a,b", "'a' in the point 'a,b' where a number in mm was expected"),
        (parse_point, "nan,1", "'nan' in the point"),
        (parse_box, "1,2,3", "the box '1,2,3' where X1,Y1,X2,Y2 was expected"),
        (parse_outline, "0,0 1,1", "an outline of 2 corners where at least three"),
    ],
)
def test_what_is_no_place_is_wrong_usage(parse: object, text: str, message: str) -> None:
    assert callable(parse)
    with pytest.raises(WrongUsage) as caught:
        parse(text)
    assert message in str(caught.value)


def test_around_a_part_and_around_a_pad() -> None:
    board = made_board()
    assert circle_around(board, "u1", 2) == Circle(10.0, 10.0, 2, "U1")
    assert circle_around(board, "R1.2", 2) == Circle(1.3, 0.0, 2, "R1.2")


def test_around_a_part_without_a_place_says_what_is_missing() -> None:
    builder = BoardBuilder("n.net", "kicad_net")
    builder.part("R1").pin("1", "SDA")
    with pytest.raises(NothingMatches, match=r"R1 has no place in these sources.*--with"):
        circle_around(builder.build(), "R1", 2)


def test_a_refdes_at_two_places_is_not_guessed() -> None:
    builder = BoardBuilder("b", "kicad_pcb")
    for x in (1.0, 2.0):
        part = builder.part("H1")
        part.x, part.y = x, 0.0
    with pytest.raises(WrongUsage, match=r"means 2 places: H1\S* at \d,0, H1\S* at \d,0"):
        circle_around(builder.build(), "H1", 2)
