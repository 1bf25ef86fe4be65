"""The technician's photo in the page: read, turned upright, kept small, and marked.

Pillow turns the photo, shrinks it and strips what the camera wrote into it (place, time, owner).
The marks are pads, their names, and the numbers of the positions. Every line is drawn twice, a
broad white one under a thin black one, so that it shows on any board and in black-and-white print.
Labels are put where they cover neither pads nor other labels.
"""

from __future__ import annotations

import base64
import math
import warnings
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple

from nettrace.bench.place import part_place
from nettrace.circuit.circuit import Circuit
from nettrace.errors import BadInput, Place, reason
from nettrace.views.drawing import (
    Box,
    Markup,
    Point,
    corners_box,
    el,
    points_text,
    text_width,
    void,
)
from nettrace.views.placed_map import Room, pad_corners
from nettrace.views.text_facts import refdes

if TYPE_CHECKING:
    from nettrace.bench.photo import PhotoMap

#: The longer side of an embedded photo, px: fills an A4 sheet across at 300 dots an inch.
LONGEST_PX: Final = 2400
#: Quality of a JPEG that is written anew (common practice, no source).
QUALITY: Final = 88
#: Height of letters as part of the shown width: 3 mm on a page 180 mm wide.
LETTER: Final = 1 / 62
#: Room for a name, in parts of its width: the viewer's face may be wider than the one measured.
SPARE: Final = 1.1
#: Where the marks take less of the photo than this, across and down, only their surroundings show.
CROP_BELOW: Final = 0.5
CROP_MARGIN: Final = 0.35
#: A pad without a stated size is shown so large, mm.
PAD_MM: Final = 0.3
_DIRECTIONS: Final = 16


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo as the page carries it; the size is that of the file, upright, px."""

    name: str
    media_type: str
    data: bytes
    width_px: int
    height_px: int

    @property
    def uri(self) -> str:
        """The photo as a `data:` address."""
        return f"data:{self.media_type};base64,{base64.b64encode(self.data).decode()}"


@dataclass(frozen=True, slots=True)
class PhotoPlate:
    """A photo with the map that says where the board lies in it."""

    photo: Photo
    map: PhotoMap


def read_photo(path: Path) -> Photo:
    """Read a JPEG or PNG for the page: upright, at most `LONGEST_PX` long, without notes.

    Raises:
        BadInput: not there, neither JPEG nor PNG, damaged, or too large; or no Pillow here.
    """
    try:
        from PIL import Image, ImageOps, UnidentifiedImageError
    except ModuleNotFoundError:
        raise BadInput(
            "a photo needs the package pillow, which is not installed",
            hint="Install it with: pip install 'nettrace[photo]'",
        ) from None
    try:
        data = path.read_bytes()
    except OSError as error:
        raise BadInput(f"cannot open {path} ({reason(error)})") from None
    place, out = Place(str(path)), BytesIO()
    try:
        with warnings.catch_warnings():
            # Pillow warns of large photos, and refuses what no camera makes
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            with Image.open(BytesIO(data), formats=("JPEG", "PNG")) as opened:
                kind = "png" if opened.format == "PNG" else "jpeg"
                picture = ImageOps.exif_transpose(opened)
        width, height = picture.size
        picture.thumbnail((LONGEST_PX, LONGEST_PX))
        picture.info.clear()
        if kind == "png":
            picture.save(out, "PNG", optimize=True)
        else:
            picture.convert("RGB").save(out, "JPEG", quality=QUALITY, optimize=True)
    except UnidentifiedImageError:
        raise BadInput(
            "a file of another kind",
            expected="a photo, JPEG or PNG",
            hint="Save the photo as JPEG.",
            place=place,
        ) from None
    except Image.DecompressionBombError as error:
        raise BadInput(
            f"too large a photo ({error})", hint="Save it smaller.", place=place
        ) from None
    except (OSError, SyntaxError, ValueError) as error:
        raise BadInput(
            f"a damaged photo ({error})", hint="Save it again as JPEG or PNG.", place=place
        ) from None
    return Photo(path.name, f"image/{kind}", out.getvalue(), width, height)


# -- the marks ------------------------------------------------------------------------------------


def photo_svg(plate: PhotoPlate, circuit: Circuit, numbers: Mapping[str, int]) -> Markup:
    """Return the photo with its marks.

    Args:
        plate: the photo and its map.
        circuit: the board.
        numbers: part key -> number, for the positions to show.
    """
    photo = plate.photo
    pads = [pad for key in numbers for pad in _pads(circuit, key, plate.map)]
    view = _view(photo, [corner for pad in pads for corner in pad.corners])
    marks = _Marks(view)
    for pad in pads:
        marks.room.take(corners_box(pad.corners))
    places = {key: part_place(circuit.board.part_by_key[key]) for key in numbers}
    middles = {
        key: middle
        for key, place in places.items()
        if place is not None and (middle := plate.map.to_px(*place)) is not None
    }
    body = [void("image", href=photo.uri, x=0, y=0, width=photo.width_px, height=photo.height_px)]
    body += [marks.pad(pad) for pad in pads]
    for known in plate.map.known:
        at = known.right_px, known.down_px
        body.append(marks.cross(at, known.name, bad=known.name in plate.map.bad))
    # names first: they belong close to their pads, a balloon has its line
    names = [marks.pad_name(pad, middles.get(pad.key)) for pad in pads if pad.name]
    for key, middle in middles.items():
        # away from the other positions
        x, y = (sum(along) / len(middles) for along in zip(*middles.values(), strict=True))
        outward = math.atan2(middle[1] - y, middle[0] - x)
        body.append(marks.balloon(middle, outward, key, numbers[key], refdes(circuit, key)))
    return el(
        "svg",
        *body,
        *names,
        viewBox=f"{view.x1:.1f} {view.y1:.1f} {view.x2 - view.x1:.1f} {view.y2 - view.y1:.1f}",
        role="group",
        aria_label=f"Photo {photo.name} with the positions marked",
        class_="photo",
    )


class _Pad(NamedTuple):
    """A pad in the photo, px."""

    key: str
    name: str
    net: str
    corners: tuple[Point, ...]
    middle: Point


def _pads(circuit: Circuit, key: str, at: PhotoMap) -> Iterator[_Pad]:
    for pad in circuit.board.part_by_key[key].pads:
        x1, y1, x2, y2 = Box(pad.x, pad.y, pad.x, pad.y).grown(PAD_MM / 2)
        outline = pad_corners(pad) or ((x2, y2), (x1, y2), (x1, y1), (x2, y1))
        corners = tuple(point for x, y in outline if (point := at.to_px(x, y)) is not None)
        middle = at.to_px(pad.x, pad.y)
        if middle is not None and len(corners) == len(outline):
            name = f"{refdes(circuit, key)}.{pad.number}" if pad.number else ""
            yield _Pad(key, name, pad.net or "no net", corners, middle)


def _view(photo: Photo, points: Sequence[Point]) -> Box:
    """Return what of the photo is shown, px."""
    wide, high = float(photo.width_px), float(photo.height_px)
    whole = Box(0.0, 0.0, wide, high)
    if not points:
        return whole
    x1, y1, x2, y2 = corners_box(points)
    x1, y1, x2, y2 = max(0.0, x1), max(0.0, y1), min(wide, x2), min(high, y2)
    if not 0 < x2 - x1 <= CROP_BELOW * wide or not 0 < y2 - y1 <= CROP_BELOW * high:
        return whole
    width = min(wide, max(x2 - x1, (y2 - y1) * wide / high) * (1 + 2 * CROP_MARGIN))
    height = width * high / wide
    left = min(max(0.0, (x1 + x2 - width) / 2), wide - width)
    top = min(max(0.0, (y1 + y2 - height) / 2), high - height)
    return Box(left, top, left + width, top + height)


class _Marks:
    """The marks of one photo: how high its letters are, px, and where labels still find room."""

    def __init__(self, view: Box) -> None:
        self.letter = (view.x2 - view.x1) * LETTER
        self.room = Room(view, gap=0.0, cell=8 * self.letter)

    def pad(self, pad: _Pad) -> Markup:
        """Return a pad's outline."""
        return el(
            "g",
            el("title", f"{pad.name or pad.key}: {pad.net}"),
            self._twice("polygon", 0.1, points=points_text(pad.corners)),
            class_="pad",
            data_part=pad.key,
            data_pad=pad.name or None,
            tabindex="-1",
        )

    def cross(self, at: Point, name: str, *, bad: bool) -> Markup:
        """Return the upright cross of a known pad, with a ring where it does not agree."""
        (x, y), arm = at, self.letter * 0.45
        lines = [self._line((x - arm, y), (x + arm, y)), self._line((x, y - arm), (x, y + arm))]
        if bad:
            lines.append(self._twice("circle", 0.1, cx=x, cy=y, r=self.letter * 0.8))
        what = "known pad, left out: it does not agree" if bad else "known pad"
        return el("g", el("title", f"{name}: {what}"), *lines, class_="known")

    def balloon(self, at: Point, outward: float, key: str, number: int, name: str) -> Markup:
        """Return a position's number with a line to its middle."""
        radius = self.letter * 1.05
        wanted = []
        for far in (2.2, 3.0, 4.0, 5.5, 7.0, 9.0):
            for step in range(_DIRECTIONS):
                swing = (step + 1) // 2 * (1 if step % 2 else -1)
                angle = outward + swing * 2 * math.pi / _DIRECTIONS
                reach = self.letter * far
                wanted.append((at[0] + reach * math.cos(angle), at[1] + reach * math.sin(angle)))
        x, y = self._free(wanted, 2 * radius, 2 * radius) or at
        length, lines = math.dist((x, y), at), []
        if length > radius:
            towards = (at[0] - x) / length, (at[1] - y) / length
            lines = [self._line((x + towards[0] * radius, y + towards[1] * radius), at)]
        return el(
            "a",
            el("title", f"{number}: {name}"),
            *lines,
            void("circle", class_="disc", stroke_width=self.letter * 0.12, cx=x, cy=y, r=radius),
            self._text(str(number), (x, y), self.letter, "number"),
            href=f"#position-{number}",
            class_="balloon",
            data_part=key,
            aria_label=f"Position {number}, {name}",
        )

    def pad_name(self, pad: _Pad, of_part: Point | None) -> Markup:
        """Return a pad's name beside it; nothing without room: its title and the table have it."""
        letter = self.letter * 0.8
        width = text_width(pad.name, letter) * SPARE
        x1, y1, x2, y2 = corners_box(pad.corners)
        half_x, half_y = (x2 - x1) / 2 + width / 2, (y2 - y1) / 2 + letter * 0.7
        x, y = pad.middle
        out_x, out_y = (x - of_part[0], y - of_part[1]) if of_part is not None else (0.0, 0.0)
        ways = [(0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (-1, 1), (1, -1), (-1, -1)]
        ways.sort(key=lambda way: -(way[0] * out_x + way[1] * out_y) / math.hypot(*way))
        wanted = (
            (x + dx * half_x * times, y + dy * half_y * times)
            for times in (1.02, 1.25, 1.6, 2.1)
            for dx, dy in ways
        )
        spot = self._free(wanted, width, letter * 1.15)
        if spot is None:
            return Markup("")
        off_x = abs(spot[0] - min(max(spot[0], x1), x2))
        off_y = abs(spot[1] - min(max(spot[1], y1), y2))
        is_far = off_y > letter * 1.2 or off_x > width / 2 + letter * 0.6
        lines = [self._line(pad.middle, spot)] if is_far else []
        text = self._text(pad.name, spot, letter, "name")
        return el("g", *lines, text, data_part=pad.key, data_pad=pad.name, class_="pad-name")

    def _free(self, wanted: Iterable[Point], width: float, height: float) -> Point | None:
        """Return the first of the wanted middles that is free, and take it; None if none is."""
        for x, y in wanted:
            box = Box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)
            if self.room.is_free(box):
                self.room.take(box)
                return x, y
        return None

    def _twice(self, tag: str, thin: float, **where: object) -> Markup:
        """Return a shape drawn broad in white and, above, thin in black."""
        under = void(tag, class_="under", stroke_width=self.letter * 0.3, **where)
        return Markup(under + void(tag, class_="over", stroke_width=self.letter * thin, **where))

    def _line(self, start: Point, end: Point) -> Markup:
        return self._twice("line", 0.08, x1=start[0], y1=start[1], x2=end[0], y2=end[1])

    def _text(self, words: str, at: Point, letter: float, class_: str) -> Markup:
        return el(
            "text", words, x=at[0], y=at[1] + letter * 0.35, class_=class_, text_anchor="middle",
            font_size=letter, stroke_width=letter * 0.25,
        )  # fmt: skip
