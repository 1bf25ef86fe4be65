"""The grid finds what a search over all pads finds, in the same order."""

from __future__ import annotations

from itertools import islice

from hypothesis import given
from hypothesis import strategies as st

from nettrace.model.board import Board, Pad, Part, Side
from nettrace.model.geometry import PadGrid, distance

PLACE = st.floats(-50, 50, allow_nan=False).map(lambda v: round(v, 2))
SIDES = st.sampled_from(list(Side))
PADS = st.lists(
    st.builds(lambda x, y, side: Pad("U1", "1", "N", x, y, side), PLACE, PLACE, SIDES), max_size=40
)
FACING = st.sampled_from([None, Side.TOP, Side.BOTTOM])


def board(pads: list[Pad]) -> Board:
    return Board("b", (Part("U1", "U1", pads=tuple(pads)), Part("U2", "U2")), ())


@given(PADS, st.floats(-3000, 3000), st.floats(-3000, 3000), FACING)
def test_near_is_the_order_of_all_pads_by_distance(
    pads: list[Pad], x: float, y: float, side: Side | None
) -> None:
    facing = [pad for pad in pads if pad.side.faces(side)]
    by_distance = sorted(facing, key=lambda pad: distance(pad.x, pad.y, x, y))
    found = list(PadGrid(board(pads)).near(x, y, side))
    assert found == [(distance(pad.x, pad.y, x, y), pad) for pad in by_distance]


@given(PADS, PLACE, PLACE, PLACE, PLACE)
def test_inside_misses_no_pad_of_the_box(
    pads: list[Pad], x1: float, y1: float, x2: float, y2: float
) -> None:
    box = (min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2))
    found = PadGrid(board(pads)).inside(box)
    inside = [pad for pad in pads if box[0] <= pad.x <= box[2] and box[1] <= pad.y <= box[3]]
    assert [pad for pad in found if pad in inside] == inside


def test_a_stray_pad_does_not_make_the_grid_large() -> None:
    pads = [Pad("U1", str(n), "N", x, 0.0, Side.TOP) for n, x in enumerate((0.0, 1.0, 1e9))]
    assert [pad.number for _, pad in PadGrid(board(pads)).near(0.9, 0)] == ["1", "0", "2"]
    assert (
        PadGrid(board([*pads, Pad("U1", "", None, float("nan"), 0.0, Side.TOP)])).inside(
            (0, 0, 2, 2)
        )[:2]
        == pads[:2]
    )


def test_a_point_far_off_and_an_empty_board_end_at_once() -> None:
    assert list(PadGrid(board([])).near(1e300, 0)) == []
    assert PadGrid(board([])).inside((-1e300, -1e300, 1e300, 1e300)) == []
    pads = [Pad("U1", "1", "N", 0.0, 0.0, Side.TOP)]
    assert [pad for _, pad in islice(PadGrid(board(pads)).near(1e300, -1e300), 1)] == pads
    assert PadGrid(board(pads)).inside((-1e300, -1e300, 1e300, 1e300)) == pads
