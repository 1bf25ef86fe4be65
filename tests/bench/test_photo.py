"""Registration of a photo against made ones whose map is known, with noise and with slips."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from nettrace.bench.photo import KnownPad, MapKind, PhotoMap, fit_photo, parse_known_pads
from nettrace.errors import NothingMatches, WrongUsage
from nettrace.model.board import Board, Side
from nettrace.model.builder import BoardBuilder

Rows = tuple[tuple[float, float, float], ...]
#: Places on a board, mm, well spread and none three on a line.
PLACES = [(0.0, 0.0), (10.0, 1.0), (9.0, 7.5), (1.0, 8.0), (5.5, 3.0), (3.0, 5.5), (7.0, 6.0)]


def camera(
    px_per_mm: float = 40.0,
    degrees: float = 0.0,
    *,
    mirrored: bool = False,
    tilt: tuple[float, float] = (0.0, 0.0),
    stretch: float = 1.0,
) -> Rows:
    """Return the map of a photo of the top side: turned, scaled, mirrored, seen at an angle."""
    angle = math.radians(degrees)
    flip = -1.0 if mirrored else 1.0
    a, b = px_per_mm * math.cos(angle) * flip * stretch, -px_per_mm * math.sin(angle)
    c, d = -px_per_mm * math.sin(angle) * flip * stretch, -px_per_mm * math.cos(angle)
    return (
        (a + 900 * tilt[0], b + 900 * tilt[1], 900.0),
        (c + 700 * tilt[0], d + 700 * tilt[1], 700.0),
        (tilt[0], tilt[1], 1.0),
    )


def shown(rows: Rows, x: float, y: float) -> tuple[float, float]:
    right, down, weight = (row[0] * x + row[1] * y + row[2] for row in rows)
    return right / weight, down / weight


def pads(
    rows: Rows, count: int, noise: list[tuple[float, float]] | None = None, side: Side = Side.TOP
) -> list[KnownPad]:
    found = []
    for index, (x, y) in enumerate(PLACES[:count]):
        right, down = shown(rows, x, y)
        off = noise[index] if noise else (0.0, 0.0)
        found.append(KnownPad(f"P{index}.1", x, y, right + off[0], down + off[1], side))
    return found


def furthest(found: PhotoMap, rows: Rows, places: list[tuple[float, float]] = PLACES) -> float:
    """Return the largest distance between where the map and the camera put the places, px."""
    gaps = []
    for x, y in places:
        at = found.to_px(x, y)
        assert at is not None
        gaps.append(math.dist(at, shown(rows, x, y)))
    return max(gaps)


TURNS = st.floats(-180, 180)
SCALES = st.floats(8, 120)
TILTS = st.tuples(st.floats(-0.012, 0.012), st.floats(-0.012, 0.012))
NOISE = st.lists(st.tuples(st.floats(-1, 1), st.floats(-1, 1)), min_size=7, max_size=7)


@given(SCALES, TURNS, st.booleans(), st.floats(0.8, 1.25), st.integers(3, 7))
def test_an_affine_photo_is_found_back_exactly(
    scale: float, degrees: float, mirrored: bool, stretch: float, count: int
) -> None:
    rows = camera(scale, degrees, mirrored=mirrored, stretch=stretch)
    found = fit_photo(pads(rows, count))
    assert found.kind is MapKind.AFFINE
    assert furthest(found, rows) < 1e-6
    assert found.mirrored is mirrored
    assert found.agrees
    assert not found.bad


@given(SCALES, TURNS, st.booleans(), TILTS, st.integers(4, 7))
def test_a_photo_at_an_angle_is_found_back_exactly(
    scale: float, degrees: float, mirrored: bool, tilt: tuple[float, float], count: int
) -> None:
    rows = camera(scale, degrees, mirrored=mirrored, tilt=tilt)
    found = fit_photo(pads(rows, count))
    assume(found.kind is MapKind.PROJECTIVE)  # a tilt that pointing would hide is none
    assert furthest(found, rows) < 1e-4
    assert found.mirrored is mirrored


@given(SCALES, TURNS, NOISE, st.integers(4, 7))
def test_noise_of_pointing_leaves_the_map_within_it(
    scale: float, degrees: float, noise: list[tuple[float, float]], count: int
) -> None:
    rows = camera(scale, degrees)
    found = fit_photo(pads(rows, count, noise))
    assert found.agrees
    # at the known pads a fit is a mean of the pointed places: no worse than twice the worst of
    # them (1.41 px)
    assert furthest(found, rows, PLACES[:count]) < 3.0
    assert found.spread_px is not None
    assert found.spread_px < 3.0


@given(st.floats(20, 120), TURNS, NOISE)
def test_residuals_are_what_the_map_leaves_over(
    scale: float, degrees: float, noise: list[tuple[float, float]]
) -> None:
    known = pads(camera(scale, degrees), 7, noise)
    found = fit_photo(known)
    for pad, left in zip(known, found.residuals, strict=True):
        at = found.to_px(pad.x_mm, pad.y_mm)
        assert at is not None
        assert left.off_px == pytest.approx(math.dist(at, (pad.right_px, pad.down_px)), abs=1e-6)
    # least squares: what is left over has no mean
    assert sum(item.right_px for item in found.residuals) == pytest.approx(0, abs=1e-6)


def test_the_affine_fit_is_that_of_numpy_and_the_projective_one_that_of_pillow() -> None:
    # outside reference: pillow documents Image.transform PERSPECTIVE as
    # (a x + b y + c) / (g x + h y + 1); its eight figures for a known quad, solved by numpy here
    import numpy as np

    rows = camera(50, 20, tilt=(0.01, -0.006))
    known = pads(rows, 4)
    found = fit_photo(known)
    assert found.kind is MapKind.PROJECTIVE
    lines, right = [], []
    for pad in known:
        x, y = pad.x_mm, pad.y_mm
        lines.append([x, y, 1, 0, 0, 0, -pad.right_px * x, -pad.right_px * y])
        lines.append([0, 0, 0, x, y, 1, -pad.down_px * x, -pad.down_px * y])
        right += [pad.right_px, pad.down_px]
    figures = np.linalg.solve(np.array(lines), np.array(right))
    ours = np.array(found.rows) / found.rows[2][2]
    assert np.allclose(np.append(figures, 1).reshape(3, 3), ours, rtol=1e-7, atol=1e-7)


@given(
    st.floats(20, 120), TURNS, NOISE, st.integers(0, 6), st.floats(0, 2 * math.pi), st.booleans()
)
def test_the_bad_pad_is_named_and_left_out(
    scale: float,
    degrees: float,
    noise: list[tuple[float, float]],
    which: int,
    direction: float,
    mirrored: bool,
) -> None:
    rows = camera(scale, degrees, mirrored=mirrored)
    known = pads(rows, 7, noise)
    slip = max(60.0, 1.5 * scale)  # one and a half millimetres: the pad beside the one meant
    wrong = known[which]
    known[which] = replace(
        wrong,
        right_px=wrong.right_px + slip * math.cos(direction),
        down_px=wrong.down_px + slip * math.sin(direction),
    )
    found = fit_photo(known)
    assert found.bad == (wrong.name,)
    assert furthest(found, rows) < 5
    assert any(wrong.name in text and "left out" in text for text in found.cautions)


def test_the_bad_pad_is_named_in_a_photo_at_an_angle() -> None:
    rows = camera(60, 30, tilt=(0.02, 0.01))
    known = pads(rows, 7)
    known[2] = replace(known[2], right_px=known[2].right_px + 80)
    found = fit_photo(known)
    assert (found.kind, found.bad) == (MapKind.PROJECTIVE, ("P2.1",))
    assert furthest(found, rows) < 1e-3


def test_two_exchanged_pads_are_told() -> None:
    rows = camera(40, 10)
    known = pads(rows, 7)
    first, second = known[0], known[4]
    known[0] = replace(first, right_px=second.right_px, down_px=second.down_px)
    known[4] = replace(second, right_px=first.right_px, down_px=first.down_px)
    found = fit_photo(known)
    assert not found.agrees
    assert any("P0.1 and P4.1 seem to be exchanged" in text for text in found.cautions)


def test_pads_that_agree_in_no_way_are_not_trusted() -> None:
    known = [
        KnownPad(f"P{i}.1", x, y, 900 + 137 * i**2 % 611, 300 + 211 * i**3 % 457)
        for i, (x, y) in enumerate(PLACES)
    ]
    found = fit_photo(known)
    assert not found.agrees
    assert any("do not trust" in text for text in found.cautions)


def test_three_pads_say_that_nothing_checks_them() -> None:
    found = fit_photo(pads(camera(), 3))
    assert found.spread_px is None
    assert any("nothing to check" in text for text in found.cautions)


def test_four_pads_that_need_an_angle_say_what_else_it_may_be() -> None:
    found = fit_photo(pads(camera(tilt=(0.03, 0.02)), 4))
    assert found.kind is MapKind.PROJECTIVE
    assert any("either the camera was held at an angle, or" in text for text in found.cautions)


@given(TURNS, st.booleans())
def test_the_bottom_side_is_seen_turned_over_and_is_no_mirror_image(
    degrees: float, mirrored: bool
) -> None:
    # seen from below, x runs the other way: the camera of the top, mirrored
    known = pads(camera(40, degrees, mirrored=not mirrored), 5, side=Side.BOTTOM)
    found = fit_photo(known)
    assert found.mirrored is mirrored
    assert found.side is Side.BOTTOM


@given(st.floats(-179, 179))
def test_the_turn_is_counted_counter_clockwise(degrees: float) -> None:
    assert fit_photo(pads(camera(40, degrees), 5)).degrees == pytest.approx(degrees, abs=1e-6)


@given(st.permutations(range(7)), NOISE)
def test_the_order_of_the_pads_does_not_matter(
    order: list[int], noise: list[tuple[float, float]]
) -> None:
    known = pads(camera(45, 12), 7, noise)
    one, other = fit_photo(known), fit_photo([known[index] for index in order])
    for x, y in PLACES:
        assert one.to_px(x, y) == pytest.approx(other.to_px(x, y), abs=1e-6)


@given(st.floats(-50, 50), st.floats(-50, 50))
def test_places_beyond_the_horizon_are_nowhere(x: float, y: float) -> None:
    rows = camera(60, 0, tilt=(0.05, 0.0))
    found = fit_photo(pads(rows, 7))
    weight = 0.05 * x + 1
    assume(abs(weight) > 0.05)
    assert (found.to_px(x, y) is None) is (weight < 0)


def test_a_slight_angle_is_seen_in_spite_of_the_noise() -> None:
    noise = [(1.2, -0.8), (-1.0, 1.4), (0.6, 0.9), (-0.7, -1.2), (1.1, 0.3), (-1.3, 0.5), (0.2, -1)]
    rows = camera(75, 24, tilt=(0.012, -0.01))
    found = fit_photo(pads(rows, 7, noise))
    assert found.kind is MapKind.PROJECTIVE
    assert furthest(found, rows) < 3


def test_noise_is_not_taken_for_an_angle_more_often_than_chance_allows() -> None:
    dice = random.Random(5)
    tilted = 0
    for _ in range(300):
        noise = [(dice.gauss(0, 1), dice.gauss(0, 1)) for _ in PLACES]
        tilted += fit_photo(pads(camera(60, 12), 7, noise)).kind is MapKind.PROJECTIVE
    # BY_CHANCE is 1 in 100: 3 of 300 expected, more than 9 has a chance of 1 in 1000 (Poisson)
    assert tilted <= 9


@pytest.mark.parametrize("tilt", [0.0, 0.004, 0.02])
def test_the_doubt_about_a_mark_covers_how_far_it_is_off(tilt: float) -> None:
    # known pads at the right end, the mark at the left; the angle shows in the pads, or hardly
    dice = random.Random(7)
    covered, large = 0, 0
    for _ in range(100):
        rows = camera(60, dice.uniform(-180, 180), tilt=(dice.gauss(0, tilt), 0.0))
        known = [
            KnownPad(f"P{i}.1", x, y, right + dice.gauss(0, 1.5), down + dice.gauss(0, 1.5))
            for i, (x, y) in enumerate([(8, 0), (11, 1), (10.5, 5), (8.4, 4), (9.5, 2.2), (10, 4)])
            for right, down in [shown(rows, x, y)]
        ]
        found = fit_photo(known)
        at = found.to_px(1.0, 3.0)
        assert at is not None
        off_mm = math.dist(at, shown(rows, 1.0, 3.0)) / 60
        covered += off_mm <= found.doubt_mm(1.0, 3.0)
        large += found.doubt_mm(1.0, 3.0) > 2 * found.doubt_mm(9.5, 2.4)
    assert covered >= 90  # 95 expected; fewer than 90 has a chance of 1 in 35 (binomial)
    assert large >= 95


@pytest.mark.parametrize(
    ("known", "words"),
    [
        ([], "0 known pads"),
        (pads(camera(), 2), "2 known pads"),
        ([*pads(camera(), 3), pads(camera(), 1)[0]], "P0.1 is given twice"),
        ([KnownPad(f"A.{i}", i, 2 * i, 10 * i, 20 * i + i % 2) for i in range(5)], "on one line"),
        ([KnownPad(f"A.{i}", x, y, 5, 5) for i, (x, y) in enumerate(PLACES)], "on one line"),
        (
            [*pads(camera(), 3), KnownPad("B.1", 4, 4, 1, 1, Side.BOTTOM)],
            "both sides",
        ),
    ],
)
def test_what_settles_no_map_is_refused(known: list[KnownPad], words: str) -> None:
    with pytest.raises(WrongUsage, match=words):
        fit_photo(known)


def board() -> Board:
    builder = BoardBuilder("a.kicad_pcb", "kicad_pcb")
    for refdes, numbers in (("U7", "123"), ("R3", "12"), ("TP1", "1"), ("J1", "S")):
        part = builder.part(refdes)
        for index, number in enumerate(numbers):
            part.pad(number, f"{refdes}{number}", 1.0 + index, 2.0, Side.TOP, width=0.3, height=0.3)
        if refdes == "J1":
            part.pad("S", "J1S", 9.0, 9.0, Side.TOP, width=0.3, height=0.3)
    builder.part("X1").pin("1", "A")
    return builder.build()


def test_known_pads_are_read_from_words() -> None:
    found = parse_known_pads(board(), ["U7.1=312,418 R3.2=590.5,402", "TP1=-4,12"])
    assert [(p.name, p.x_mm, p.y_mm, p.right_px, p.down_px) for p in found] == [
        ("U7.1", 1.0, 2.0, 312.0, 418.0),
        ("R3.2", 2.0, 2.0, 590.5, 402.0),
        ("TP1", 1.0, 2.0, -4.0, 12.0),
    ]


@pytest.mark.parametrize(
    "word", ["U7.1", "U7.1=", "U7.1=3", "U7.1=3,4,5", "U7.1=a,b", "=3,4", "U7.1=nan,1", "U7=1,2"]
)
def test_words_that_are_no_known_pad_are_refused(word: str) -> None:
    with pytest.raises(WrongUsage):
        parse_known_pads(board(), [word])


def test_a_pad_at_two_places_is_refused() -> None:
    with pytest.raises(WrongUsage, match="stands at 2 places"):
        parse_known_pads(board(), ["J1.S=1,2"])


@pytest.mark.parametrize("word", ["U9.1=1,2", "U7.9=1,2", "X1.1=1,2"])
def test_a_pad_that_is_not_there_or_nowhere_is_told(word: str) -> None:
    with pytest.raises(NothingMatches):
        parse_known_pads(board(), [word])
