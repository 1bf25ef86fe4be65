"""The technician's photo for the sheet: read, turned upright, kept small, and put into the page.

With pillow the photo is turned, shrunk and stripped of what the camera wrote into it (place, time,
owner). Without it the file goes in as it is, up to a size; browsers turn it themselves.
"""

from __future__ import annotations

import base64
import struct
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Final

from nettrace.bench.photo import PhotoMap
from nettrace.errors import BadInput, Place

__all__ = ["Photo", "PhotoPlate", "photo_head", "read_photo"]

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
class Head:
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


def _remade(data: bytes, head: Head, path: str) -> bytes:
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


def photo_head(data: bytes, path: str) -> Head:
    """Return kind, size and orientation from a photo's first bytes.

    Raises:
        BadInput: neither JPEG nor PNG, cut off, or of no or too many pixels.
    """
    try:
        head = _png_head(data) if data.startswith(_PNG) else _jpeg_head(data)
    except (struct.error, IndexError):
        head = None
        if data.startswith((_PNG, _JPEG)):
            raise BadInput(
                "a photo that ends early", hint="Copy it again.", place=Place(path)
            ) from None
    if head is None:
        raise BadInput(
            "a file of another kind",
            expected="a photo, JPEG or PNG",
            hint="Save the photo as JPEG.",
            place=Place(path),
        )
    if not 0 < head.width_px * head.height_px <= MOST_PX:
        raise BadInput(
            f"a photo of {head.width_px} x {head.height_px} pixels",
            expected=f"{MOST_PX / 1e6:.0f} million at most",
            hint="Save it smaller.",
            place=Place(path),
        )
    return head


def _png_head(data: bytes) -> Head:
    # PNG (third edition), 11.2.2: IHDR comes first and starts with width and height
    width, height = struct.unpack(">II", data[16:24])
    orientation = 1
    at = 8
    while at + 8 <= len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        kind = data[at + 4 : at + 8]
        if kind == b"eXIf":
            orientation = _orientation(data[at + 8 : at + 8 + length])
        if kind in {b"IDAT", b"IEND"}:
            break
        at += 12 + length
    return Head("image/png", width, height, orientation)


def _jpeg_head(data: bytes) -> Head | None:
    if not data.startswith(_JPEG):
        return None
    at, orientation = 2, 1
    while True:
        while data[at] == 0xFF and data[at + 1] == 0xFF:
            at += 1  # fill bytes
        if data[at] != 0xFF:
            raise IndexError
        marker = data[at + 1]
        (length,) = struct.unpack(">H", data[at + 2 : at + 4])
        body = data[at + 4 : at + 2 + length]
        if marker in _FRAMES:
            height, width = struct.unpack(">HH", body[1:5])
            return Head("image/jpeg", width, height, orientation)
        if marker == 0xE1 and body.startswith(b"Exif\0\0"):
            orientation = _orientation(body[6:])
        if marker == 0xDA:
            raise IndexError  # picture data before any size
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
            entry = exif[at + 2 + 12 * index : at + 14 + 12 * index]
            tag, _, _, value = struct.unpack(f"{order}HHIH", entry[:10])
            if tag == _ORIENTATION:
                return value if 1 <= value <= 8 else 1
    except struct.error:
        return 1
    return 1
