"""The marks on the technician's photo: pads, their names, and the numbers of the positions.

Every line is drawn twice, a broad white one under a thin black one, so that it shows on any board
and in black-and-white print. Labels are put where they cover neither pads nor other labels.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from nettrace.bench.photo import PhotoMap
from nettrace.bench.place import part_place
from nettrace.circuit.circuit import Circuit
from nettrace.model.board import Pad
from nettrace.model.geometry import turn
from nettrace.views.sheet_html import Markup, el, void
from nettrace.views.sheet_photo import PhotoPlate
from nettrace.views.text_facts import refdes

__all__ = ["photo_svg"]

#: Height of letters as part of the shown width: 3 mm on a page 180 mm wide.
LETTER: Final = 1 / 62
#: Letters are so wide for their height (a sans, on average, and on the safe side).
LETTER_WIDTH: Final = 0.62
#: Where the marks take less of the photo than this, across and down, only their surroundings show.
CROP_BELOW: Final = 0.5
CROP_MARGIN: Final = 0.35
#: A pad without a stated size is shown so large, mm.
PAD_MM: Final = 0.3
_DIRECTIONS: Final = 16

Box = tuple[float, float, float, float]
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class _PadMark:
    key: str
    name: str
    net: str
    corners: tuple[Point, ...]
    middle: Point

    @property
    def box(self) -> Box:
        xs, ys = [x for x, _ in self.corners], [y for _, y in self.corners]
        return min(xs), min(ys), max(xs), max(ys)


def photo_svg(plate: PhotoPlate, circuit: Circuit, numbers: Mapping[str, int]) -> Markup:
    """Return the photo with its marks.

    Args:
        plate: the photo and its map.
        circuit: the board.
        numbers: part key -> number, for the positions to show.
    """
    marks = [mark for key in numbers for mark in _pad_marks(circuit, key, plate.map)]
    view = _view(plate, [mark.box for mark in marks])
    letter = view[2] * LETTER
    board = _Labels(letter, [mark.box for mark in marks], view)
    body: list[str] = [
        void(
            "image", href=plate.photo.uri, x="0", y="0",
            width=str(plate.photo.width_px), height=str(plate.photo.height_px),
        )
    ]  # fmt: skip
    body += [_pad(mark, letter) for mark in marks]
    for known in plate.map.known:
        bad = known.name in plate.map.bad
        body.append(_cross((known.right_px, known.down_px), known.name, letter, bad=bad))
    middles = {key: _middle(circuit, key, plate.map) for key in numbers}
    placed = [point for point in middles.values() if point is not None]
    # names first: they belong close to their pads, a balloon has its line
    names = [_pad_name(board, mark, middles[mark.key]) for mark in marks]
    for key, number in numbers.items():
        point = middles[key]
        if point is not None:
            body.append(_balloon(board, point, placed, key, number, refdes(circuit, key)))
    body += names
    return el(
        "svg",
        *body,
        viewBox=" ".join(f"{figure:.1f}" for figure in view),
        role="group",
        aria_label=f"Photo {plate.photo.name} with the positions marked",
        class_="photo",
    )


def _pad_marks(circuit: Circuit, key: str, at: PhotoMap) -> Iterator[_PadMark]:
    part = circuit.board.part_by_key[key]
    for pad in part.pads:
        corners = [at.to_px(x, y) for x, y in _outline(pad)]
        middle = at.to_px(pad.x, pad.y)
        if middle is not None and None not in corners:
            shown = tuple(point for point in corners if point is not None)
            name = f"{refdes(circuit, key)}.{pad.number}" if pad.number else ""
            yield _PadMark(key, name, pad.net or "no net", shown, middle)


def _outline(pad: Pad) -> list[Point]:
    width, height = pad.width or PAD_MM, pad.height or PAD_MM
    if pad.shape == "circle":
        steps = [2 * math.pi * step / 16 for step in range(16)]
        ring = [(math.cos(angle) * width / 2, math.sin(angle) * width / 2) for angle in steps]
    else:
        ring = [
            (sx * width / 2, sy * height / 2) for sx, sy in ((1, 1), (-1, 1), (-1, -1), (1, -1))
        ]
    turned = [turn(x, y, pad.angle) for x, y in ring]
    return [(pad.x + x, pad.y + y) for x, y in turned]


def _middle(circuit: Circuit, key: str, at: PhotoMap) -> Point | None:
    place = part_place(circuit.board.part_by_key[key])
    return at.to_px(*place) if place is not None else None


def _view(plate: PhotoPlate, boxes: Sequence[Box]) -> Box:
    """Return what of the photo is shown: x, y, width, height."""
    wide, high = float(plate.photo.width_px), float(plate.photo.height_px)
    if not boxes:
        return 0.0, 0.0, wide, high
    x1 = max(0.0, min(box[0] for box in boxes))
    y1 = max(0.0, min(box[1] for box in boxes))
    x2 = min(wide, max(box[2] for box in boxes))
    y2 = min(high, max(box[3] for box in boxes))
    if x2 <= x1 or y2 <= y1 or x2 - x1 > CROP_BELOW * wide or y2 - y1 > CROP_BELOW * high:
        return 0.0, 0.0, wide, high
    span = max(x2 - x1, (y2 - y1) * wide / high)
    width = min(wide, span * (1 + 2 * CROP_MARGIN))
    height = width * high / wide
    left = min(max(0.0, (x1 + x2 - width) / 2), wide - width)
    top = min(max(0.0, (y1 + y2 - height) / 2), high - height)
    return left, top, width, height


class _Labels:
    """Where labels stand already, so that the next one finds a free place."""

    def __init__(self, letter: float, taken: Sequence[Box], view: Box) -> None:
        self.letter = letter
        self.taken = list(taken)
        self.view = view

    def place(self, wanted: Iterator[Point], width: float, height: float) -> Point | None:
        """Return the first of the wanted middles that is free, None if none is."""
        for x, y in wanted:
            box = (x - width / 2, y - height / 2, x + width / 2, y + height / 2)
            if self._inside(box) and not any(_overlap(box, other) for other in self.taken):
                self.taken.append(box)
                return x, y
        return None

    def _inside(self, box: Box) -> bool:
        left, top, width, height = self.view
        return (
            box[0] >= left and box[1] >= top and box[2] <= left + width and box[3] <= top + height
        )


def _overlap(one: Box, other: Box) -> bool:
    return (
        one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
    )  # fmt: skip


def _around(middle: Point, towards: float, distances: Sequence[float]) -> Iterator[Point]:
    """Yield points around the middle, near before far, the wanted direction first."""
    for far in distances:
        for step in range(_DIRECTIONS):
            swing = (step + 1) // 2 * (1 if step % 2 else -1)
            angle = towards + swing * 2 * math.pi / _DIRECTIONS
            yield middle[0] + far * math.cos(angle), middle[1] + far * math.sin(angle)


def _points(corners: Sequence[Point]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in corners)


def _pad(mark: _PadMark, letter: float) -> Markup:
    points = _points(mark.corners)
    return el(
        "g",
        el("title", f"{mark.name or mark.key}: {mark.net}"),
        void("polygon", points=points, class_="under", stroke_width=f"{letter * 0.3:.2f}"),
        void("polygon", points=points, class_="over", stroke_width=f"{letter * 0.1:.2f}"),
        class_="pad",
        data_part=mark.key,
        data_pad=mark.name or None,
        tabindex="-1",
    )


def _line(start: Point, end: Point, letter: float) -> Markup:
    ends = {"x1": f"{start[0]:.1f}", "y1": f"{start[1]:.1f}",
            "x2": f"{end[0]:.1f}", "y2": f"{end[1]:.1f}"}  # fmt: skip
    return Markup(
        void("line", class_="under", stroke_width=f"{letter * 0.3:.2f}", **ends)
        + void("line", class_="over", stroke_width=f"{letter * 0.08:.2f}", **ends)
    )


def _cross(at: Point, name: str, letter: float, *, bad: bool) -> Markup:
    """Return the mark of a known pad: an upright cross, a ring round it where it does not agree."""
    x, y = at
    arm = letter * 0.45
    lines = [
        _line((x - arm, y), (x + arm, y), letter),
        _line((x, y - arm), (x, y + arm), letter),
    ]
    if bad:
        ring = {"cx": f"{x:.1f}", "cy": f"{y:.1f}", "r": f"{letter * 0.8:.1f}"}
        lines.append(void("circle", class_="under", stroke_width=f"{letter * 0.3:.2f}", **ring))
        lines.append(void("circle", class_="over", stroke_width=f"{letter * 0.1:.2f}", **ring))
    what = "known pad, left out: it does not agree" if bad else "known pad"
    return el("g", el("title", f"{name}: {what}"), *lines, class_="known")


def _text(words: str, at: Point, letter: float, class_: str) -> Markup:
    return el(
        "text", words, x=f"{at[0]:.1f}", y=f"{at[1] + letter * 0.35:.1f}", class_=class_,
        text_anchor="middle", font_size=f"{letter:.2f}", stroke_width=f"{letter * 0.25:.2f}",
    )  # fmt: skip


def _balloon(
    board: _Labels, at: Point, others: Sequence[Point], key: str, number: int, name: str
) -> Markup:
    letter = board.letter
    x0 = sum(x for x, _ in others) / len(others)
    y0 = sum(y for _, y in others) / len(others)
    outward = math.atan2(at[1] - y0, at[0] - x0)
    radius = letter * 1.05
    far = [letter * times for times in (2.2, 3.0, 4.0, 5.5, 7.0, 9.0)]
    spot = board.place(_around(at, outward, far), 2 * radius, 2 * radius) or at
    length = math.dist(spot, at)
    lines: list[str] = []
    if length > radius:
        towards = (at[0] - spot[0]) / length, (at[1] - spot[1]) / length
        edge = spot[0] + towards[0] * radius, spot[1] + towards[1] * radius
        lines.append(_line(edge, at, letter))
    ring = {"cx": f"{spot[0]:.1f}", "cy": f"{spot[1]:.1f}", "r": f"{radius:.1f}"}
    return el(
        "a",
        el("title", f"{number}: {name}"),
        *lines,
        void("circle", class_="disc", stroke_width=f"{letter * 0.12:.2f}", **ring),
        _text(str(number), spot, letter, "number"),
        href=f"#position-{number}",
        class_="balloon",
        data_part=key,
        aria_label=f"Position {number}, {name}",
    )


def _pad_name(board: _Labels, mark: _PadMark, of_part: Point | None) -> str:
    if not mark.name:
        return Markup("")
    letter = board.letter * 0.8
    width = len(mark.name) * letter * LETTER_WIDTH
    x1, y1, x2, y2 = mark.box
    half_x, half_y = (x2 - x1) / 2 + width / 2, (y2 - y1) / 2 + letter * 0.7
    x, y = mark.middle

    out_x, out_y = (x - of_part[0], y - of_part[1]) if of_part is not None else (0.0, 0.0)
    ways = [(0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (-1, 1), (1, -1), (-1, -1)]
    ways.sort(key=lambda way: -(way[0] * out_x + way[1] * out_y) / math.hypot(*way))

    def wanted() -> Iterator[Point]:
        for times in (1.02, 1.25, 1.6, 2.1):
            for dx, dy in ways:
                yield x + dx * half_x * times, y + dy * half_y * times

    spot = board.place(wanted(), width, letter * 1.15)
    if spot is None:
        return Markup("")  # no room: the name is in the pad's title and in the table
    lines: list[str] = []
    near = min(max(spot[0], x1), x2), min(max(spot[1], y1), y2)
    if abs(spot[1] - near[1]) > letter * 1.2 or abs(spot[0] - near[0]) > width / 2 + letter * 0.6:
        lines.append(_line(mark.middle, spot, letter))
    text = _text(mark.name, spot, letter, "name")
    return el("g", *lines, text, data_part=mark.key, data_pad=mark.name, class_="pad-name")
