"""The technician's photo in the page: read, turned upright, kept small, and marked.

With pillow the photo is turned, shrunk and stripped of what the camera wrote into it (place, time,
owner). Without it the file goes in as it is, up to a size; browsers turn it themselves. The marks
are pads, their names, and the numbers of the positions. Every line is drawn twice, a broad white
one under a thin black one, so that it shows on any board and in black-and-white print. Labels are
put where they cover neither pads nor other labels.
"""

from __future__ import annotations

import base64
import math
import struct
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Final

from nettrace.bench.place import part_place
from nettrace.circuit.circuit import Circuit
from nettrace.errors import BadInput, Place
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
from nettrace.views.placed_labels import Room
from nettrace.views.placed_map import pad_corners
from nettrace.views.text_facts import refdes

if TYPE_CHECKING:
    from nettrace.bench.photo import PhotoMap

#: The longer side of an embedded photo, px: fills an A4 sheet across at 300 dots an inch.
LONGEST_PX: Final = 2400
#: Photos above this are refused, px: a camera's largest, and no bomb.
MOST_PX: Final = 150_000_000
#: A file that cannot be shrunk may be this large, bytes.
MOST_BYTES: Final = 8_000_000
#: Quality of a JPEG that is written anew (common practice, no source).
QUALITY: Final = 88

_PNG: Final = b"\x89PNG\r\n\x1a\n"
_JPEG: Final = b"\xff\xd8\xff"
#: JPEG markers that carry the size (ITU-T T.81, table B.1: SOF0 to SOF15 without DHT, JPG, DAC).
_FRAMES: Final = frozenset({*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC})
#: Tag of the orientation in the first directory of Exif (Exif 2.3, table 4), and its turned values.
_ORIENTATION: Final = 0x0112
_ON_ITS_SIDE: Final = frozenset({5, 6, 7, 8})

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
    caution: str = ""

    @property
    def uri(self) -> str:
        """The photo as a `data:` address."""
        return f"data:{self.media_type};base64,{base64.b64encode(self.data).decode()}"


@dataclass(frozen=True, slots=True)
class PhotoPlate:
    """A photo with the map that says where the board lies in it."""

    photo: Photo
    map: PhotoMap


@dataclass(frozen=True, slots=True)
class PhotoHead:
    """What a photo file says of itself: kind, size as stored, orientation (Exif, 1 is upright)."""

    media_type: str
    width_px: int
    height_px: int
    orientation: int = 1

    @property
    def upright(self) -> tuple[int, int]:
        """Width and height as seen upright."""
        if self.orientation in _ON_ITS_SIDE:
            return self.height_px, self.width_px
        return self.width_px, self.height_px


def read_photo(path: Path) -> Photo:
    """Read a JPEG or PNG for the page.

    Raises:
        BadInput: not there, neither JPEG nor PNG, damaged, or too large.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise BadInput(f"cannot open {path} ({reason})") from None
    head = photo_head(data, str(path))
    width, height = head.upright
    try:
        import PIL  # noqa: F401 - asked for, not used here
    except ModuleNotFoundError:
        if len(data) > MOST_BYTES:
            raise BadInput(
                f"a photo of {len(data) / 1e6:.0f} MB",
                expected=f"{MOST_BYTES / 1e6:.0f} MB at most",
                hint="Save it smaller, or install pillow (extra `photo`): it is shrunk then.",
                place=Place(str(path)),
            ) from None
        caution = "the photo file is in this page as it is, with what the camera wrote into it"
        return Photo(path.name, head.media_type, data, width, height, caution)
    return Photo(path.name, head.media_type, _remade(data, head, str(path)), width, height)


def _remade(data: bytes, head: PhotoHead, path: str) -> bytes:
    """Return the photo upright, at most `LONGEST_PX` long, without the camera's notes."""
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with Image.open(BytesIO(data), formats=("JPEG", "PNG")) as opened:
            picture = ImageOps.exif_transpose(opened)
            picture.thumbnail((LONGEST_PX, LONGEST_PX))
            out = BytesIO()
            if head.media_type == "image/jpeg":
                picture.convert("RGB").save(out, "JPEG", quality=QUALITY, optimize=True)
            else:
                clean = picture.copy()
                clean.info.clear()
                clean.save(out, "PNG", optimize=True)
    except (OSError, UnidentifiedImageError, SyntaxError, ValueError) as error:
        raise BadInput(
            f"a damaged photo ({error})", hint="Save it again as JPEG or PNG.", place=Place(path)
        ) from None
    return out.getvalue()


def photo_head(data: bytes, path: str) -> PhotoHead:
    """Return kind, size and orientation from a photo's first bytes.

    Raises:
        BadInput: neither JPEG nor PNG, cut off, or of no or too many pixels.
    """
    place = Place(path)
    try:
        if data.startswith(_PNG):
            head = _png_head(data)
        elif data.startswith(_JPEG):
            head = _jpeg_head(data)
        else:
            expected = "a photo, JPEG or PNG"
            raise BadInput(
                "a file of another kind", expected=expected, hint="Save the photo as JPEG.",
                place=place,
            )  # fmt: skip
    except (struct.error, IndexError):
        raise BadInput("a photo that ends early", hint="Copy it again.", place=place) from None
    if not 0 < head.width_px * head.height_px <= MOST_PX:
        raise BadInput(
            f"a photo of {head.width_px} x {head.height_px} pixels",
            expected=f"{MOST_PX / 1e6:.0f} million at most",
            hint="Save it smaller.",
            place=place,
        )
    return head


def _png_head(data: bytes) -> PhotoHead:
    # PNG (third edition), 11.2.2: IHDR comes first and starts with width and height
    width, height = struct.unpack(">II", data[16:24])
    at, orientation = 8, 1
    while at + 8 <= len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        kind = data[at + 4 : at + 8]
        if kind == b"eXIf":
            orientation = _orientation(data[at + 8 : at + 8 + length])
        if kind in {b"IDAT", b"IEND"}:
            break
        at += 12 + length
    return PhotoHead("image/png", width, height, orientation)


def _jpeg_head(data: bytes) -> PhotoHead:
    at, orientation = 2, 1
    while True:
        while data[at] == 0xFF and data[at + 1] == 0xFF:
            at += 1  # fill bytes
        marker = data[at + 1]
        if data[at] != 0xFF or marker == 0xDA:
            raise IndexError  # no marker here, or picture data before any size
        (length,) = struct.unpack(">H", data[at + 2 : at + 4])
        body = data[at + 4 : at + 2 + length]
        if marker in _FRAMES:
            height, width = struct.unpack(">HH", body[1:5])
            return PhotoHead("image/jpeg", width, height, orientation)
        if marker == 0xE1 and body.startswith(b"Exif\0\0"):
            orientation = _orientation(body[6:])
        at += 2 + length


def _orientation(exif: bytes) -> int:
    """Return the orientation of an Exif block (a TIFF head and directory); 1 where it says none."""
    order = {b"II": "<", b"MM": ">"}.get(exif[:2])
    if order is None:
        return 1
    try:
        (at,) = struct.unpack(f"{order}I", exif[4:8])
        (count,) = struct.unpack(f"{order}H", exif[at : at + 2])
        for index in range(count):
            entry = exif[at + 2 + 12 * index : at + 12 + 12 * index]
            tag, _, _, value = struct.unpack(f"{order}HHIH", entry)
            if tag == _ORIENTATION:
                return value if 1 <= value <= 8 else 1
    except struct.error:
        return 1
    return 1


# -- the marks ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _PadMark:
    key: str
    name: str
    net: str
    corners: tuple[Point, ...]
    middle: Point

    @property
    def box(self) -> Box:
        return corners_box(self.corners)


def photo_svg(plate: PhotoPlate, circuit: Circuit, numbers: Mapping[str, int]) -> Markup:
    """Return the photo with its marks.

    Args:
        plate: the photo and its map.
        circuit: the board.
        numbers: part key -> number, for the positions to show.
    """
    marks = [mark for key in numbers for mark in _pad_marks(circuit, key, plate.map)]
    view = _view(plate, [mark.box for mark in marks])
    letter = (view.x2 - view.x1) * LETTER
    room = Room(view, gap=0.0, cell=8 * letter)
    for mark in marks:
        room.take(mark.box)
    photo = plate.photo
    image = void("image", href=photo.uri, x=0, y=0, width=photo.width_px, height=photo.height_px)
    body = [image, *(_pad(mark, letter) for mark in marks)]
    for known in plate.map.known:
        bad = known.name in plate.map.bad
        body.append(_cross((known.right_px, known.down_px), known.name, letter, bad=bad))
    middles: dict[str, Point | None] = {}
    for key in numbers:
        place = part_place(circuit.board.part_by_key[key])
        middles[key] = plate.map.to_px(*place) if place is not None else None
    # names first: they belong close to their pads, a balloon has its line
    names = [_pad_name(room, letter, mark, middles[mark.key]) for mark in marks if mark.name]
    placed = [point for point in middles.values() if point is not None]
    for key, number in numbers.items():
        point = middles[key]
        if point is not None:
            name = refdes(circuit, key)
            body.append(_balloon(room, letter, point, placed, key, number, name))
    return el(
        "svg",
        *body,
        *names,
        viewBox=f"{view.x1:.1f} {view.y1:.1f} {view.x2 - view.x1:.1f} {view.y2 - view.y1:.1f}",
        role="group",
        aria_label=f"Photo {photo.name} with the positions marked",
        class_="photo",
    )


def _pad_marks(circuit: Circuit, key: str, at: PhotoMap) -> Iterator[_PadMark]:
    for pad in circuit.board.part_by_key[key].pads:
        x1, y1, x2, y2 = Box(pad.x, pad.y, pad.x, pad.y).grown(PAD_MM / 2)
        outline = pad_corners(pad) or ((x2, y2), (x1, y2), (x1, y1), (x2, y1))
        corners = [at.to_px(x, y) for x, y in outline]
        middle = at.to_px(pad.x, pad.y)
        if middle is not None and None not in corners:
            shown = tuple(point for point in corners if point is not None)
            name = f"{refdes(circuit, key)}.{pad.number}" if pad.number else ""
            yield _PadMark(key, name, pad.net or "no net", shown, middle)


def _view(plate: PhotoPlate, boxes: Sequence[Box]) -> Box:
    """Return what of the photo is shown, px."""
    wide, high = float(plate.photo.width_px), float(plate.photo.height_px)
    whole = Box(0.0, 0.0, wide, high)
    if not boxes:
        return whole
    x1, y1 = max(0.0, min(box.x1 for box in boxes)), max(0.0, min(box.y1 for box in boxes))
    x2, y2 = min(wide, max(box.x2 for box in boxes)), min(high, max(box.y2 for box in boxes))
    if x2 <= x1 or y2 <= y1 or x2 - x1 > CROP_BELOW * wide or y2 - y1 > CROP_BELOW * high:
        return whole
    span = max(x2 - x1, (y2 - y1) * wide / high)
    width = min(wide, span * (1 + 2 * CROP_MARGIN))
    height = width * high / wide
    left = min(max(0.0, (x1 + x2 - width) / 2), wide - width)
    top = min(max(0.0, (y1 + y2 - height) / 2), high - height)
    return Box(left, top, left + width, top + height)


def _place(room: Room, wanted: Iterable[Point], width: float, height: float) -> Point | None:
    """Return the first of the wanted middles that is free, and take it; None if none is."""
    for x, y in wanted:
        box = Box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)
        if room.is_free(box):
            room.take(box)
            return x, y
    return None


def _around(middle: Point, towards: float, distances: Sequence[float]) -> Iterator[Point]:
    """Yield points around the middle, near before far, the wanted direction first."""
    for far in distances:
        for step in range(_DIRECTIONS):
            swing = (step + 1) // 2 * (1 if step % 2 else -1)
            angle = towards + swing * 2 * math.pi / _DIRECTIONS
            yield middle[0] + far * math.cos(angle), middle[1] + far * math.sin(angle)


def _twice(tag: str, letter: float, thin: float, **where: object) -> Markup:
    """Return a shape drawn broad in white and, above, thin in black."""
    under = void(tag, class_="under", stroke_width=letter * 0.3, **where)
    return Markup(under + void(tag, class_="over", stroke_width=letter * thin, **where))


def _line(start: Point, end: Point, letter: float) -> Markup:
    return _twice("line", letter, 0.08, x1=start[0], y1=start[1], x2=end[0], y2=end[1])


def _pad(mark: _PadMark, letter: float) -> Markup:
    return el(
        "g",
        el("title", f"{mark.name or mark.key}: {mark.net}"),
        _twice("polygon", letter, 0.1, points=points_text(mark.corners)),
        class_="pad",
        data_part=mark.key,
        data_pad=mark.name or None,
        tabindex="-1",
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
        lines.append(_twice("circle", letter, 0.1, cx=x, cy=y, r=letter * 0.8))
    what = "known pad, left out: it does not agree" if bad else "known pad"
    return el("g", el("title", f"{name}: {what}"), *lines, class_="known")


def _text(words: str, at: Point, letter: float, class_: str) -> Markup:
    return el(
        "text", words, x=at[0], y=at[1] + letter * 0.35, class_=class_, text_anchor="middle",
        font_size=letter, stroke_width=letter * 0.25,
    )  # fmt: skip


def _balloon(
    room: Room,
    letter: float,
    at: Point,
    others: Sequence[Point],
    key: str,
    number: int,
    name: str,
) -> Markup:
    """Return a position's number with a line to its middle, away from the other positions."""
    x0 = sum(x for x, _ in others) / len(others)
    y0 = sum(y for _, y in others) / len(others)
    outward = math.atan2(at[1] - y0, at[0] - x0)
    radius = letter * 1.05
    far = [letter * times for times in (2.2, 3.0, 4.0, 5.5, 7.0, 9.0)]
    spot = _place(room, _around(at, outward, far), 2 * radius, 2 * radius) or at
    length = math.dist(spot, at)
    lines: list[str] = []
    if length > radius:
        towards = (at[0] - spot[0]) / length, (at[1] - spot[1]) / length
        edge = spot[0] + towards[0] * radius, spot[1] + towards[1] * radius
        lines.append(_line(edge, at, letter))
    return el(
        "a",
        el("title", f"{number}: {name}"),
        *lines,
        void("circle", class_="disc", stroke_width=letter * 0.12, cx=spot[0], cy=spot[1], r=radius),
        _text(str(number), spot, letter, "number"),
        href=f"#position-{number}",
        class_="balloon",
        data_part=key,
        aria_label=f"Position {number}, {name}",
    )


def _pad_name(room: Room, letter: float, mark: _PadMark, of_part: Point | None) -> Markup:
    """Return a pad's name beside it; nothing without room: its title and the table have it."""
    letter *= 0.8
    width = text_width(mark.name, letter) * SPARE
    x1, y1, x2, y2 = mark.box
    half_x, half_y = (x2 - x1) / 2 + width / 2, (y2 - y1) / 2 + letter * 0.7
    x, y = mark.middle
    out_x, out_y = (x - of_part[0], y - of_part[1]) if of_part is not None else (0.0, 0.0)
    ways = [(0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (-1, 1), (1, -1), (-1, -1)]
    ways.sort(key=lambda way: -(way[0] * out_x + way[1] * out_y) / math.hypot(*way))
    wanted = (
        (x + dx * half_x * times, y + dy * half_y * times)
        for times in (1.02, 1.25, 1.6, 2.1)
        for dx, dy in ways
    )
    spot = _place(room, wanted, width, letter * 1.15)
    if spot is None:
        return Markup("")
    lines: list[str] = []
    near = min(max(spot[0], x1), x2), min(max(spot[1], y1), y2)
    if abs(spot[1] - near[1]) > letter * 1.2 or abs(spot[0] - near[0]) > width / 2 + letter * 0.6:
        lines.append(_line(mark.middle, spot, letter))
    text = _text(mark.name, spot, letter, "name")
    return el("g", *lines, text, data_part=mark.key, data_pad=mark.name, class_="pad-name")
