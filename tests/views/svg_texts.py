"""Text of an SVG as boxes: where it stands, and which boxes lie on one another."""

from __future__ import annotations

import re
from itertools import combinations
from typing import NamedTuple
from xml.etree import ElementTree as ET

SVG = "{http://www.w3.org/2000/svg}"
#: Liberation Sans has the measures of Arial and Helvetica; where Pillow finds it, boxes are its.
FACES = ("LiberationSans-Regular.ttf", "Arial.ttf", "Helvetica.ttf")


class Label(NamedTuple):
    text: str
    x1: float
    y1: float
    x2: float
    y2: float


def parse(svg: str | bytes) -> ET.Element:
    """Read an SVG strictly: what is no XML fails."""
    return ET.fromstring(svg)  # noqa: S314 - made by the code under test


def measured(text: str, size: float, *, bold: bool = False) -> float:
    """Width by a font file, not by our own table; where there is no font, six tenths an em."""
    from PIL import ImageFont

    for face in FACES:
        name = face.replace("Regular", "Bold") if bold else face
        try:
            font = ImageFont.truetype(name, 200)
        except OSError:
            continue
        return font.getlength(text) * size / 200
    return 0.6 * size * len(text)


def labels(svg: str | bytes) -> list[Label]:
    """Every line of text with its box, in the SVG's own units; moves of groups do not matter."""
    root = parse(svg)
    found = []
    for element in root.iter(f"{SVG}text"):
        text = "".join(element.itertext())
        if not text.strip():
            continue
        size = float(element.get("font-size", "14"))
        bold = element.get("font-weight") == "bold"
        width = float(element.get("textLength", "0")) or measured(text.strip(), size, bold=bold)
        x, y = float(element.get("x", "0")), float(element.get("y", "0"))
        x -= {"middle": width / 2, "end": width}.get(element.get("text-anchor", "start"), 0.0)
        found.append(Label(text, x, y - 0.72 * size, x + width, y + 0.2 * size))
    return found


def overlaps(found: list[Label], slack: float = 0.0) -> list[tuple[str, str]]:
    """Pairs of labels whose boxes share more than `slack` in both directions."""
    return [
        (a.text, b.text)
        for a, b in combinations(found, 2)
        if min(a.x2, b.x2) - max(a.x1, b.x1) > slack and min(a.y2, b.y2) - max(a.y1, b.y1) > slack
    ]


def numbers(text: str) -> list[float]:
    return [float(word) for word in re.findall(r"-?\d+(?:\.\d+)?", text)]


def is_harmless(svg: str | bytes) -> bool:
    """No script, no handler, nothing that loads."""
    for element in parse(svg).iter():
        tag = element.tag.rsplit("}", 1)[-1].lower()
        if tag in {"script", "foreignobject", "image", "iframe", "use", "style"}:
            return False
        for name, value in element.attrib.items():
            plain = name.rsplit("}", 1)[-1].lower()
            if plain.startswith("on") or plain == "href" or "javascript:" in value.lower():
                return False
    return True
