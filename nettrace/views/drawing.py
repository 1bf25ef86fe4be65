"""What every drawing and page is written with: elements, shapes on paper, type and its measures.

Nothing from a file can be markup. On paper, lines, shapes and text are in mm, x right, y down,
with plain attributes alone: no style sheet, script, image, link or id, so that an SVG can stand
inside any page, and prints anywhere.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import cache
from html import escape
from typing import TYPE_CHECKING, NamedTuple

from nettrace.knowledge import table
from nettrace.views.text import printable, shorten_middle

if TYPE_CHECKING:
    from nettrace.bench.place import Shape
    from nettrace.model.board import Board

#: Faces with the same measures, then whatever the viewer has.
FONTS = "Arial, Helvetica, 'Liberation Sans', sans-serif"
#: Line widths, mm: ISO 128 steps.
THIN, MIDDLE, THICK = 0.18, 0.35, 0.6
#: Stands between several names in one attribute; no name of a part holds it.
SEPARATOR = "\u241f"
#: Names of nets up to this length stand as they are.
SHORT_LETTERS = 14
Point = tuple[float, float]

#: Height of capitals, and depth of a g, in parts of the type size.
_RISE, _DEPTH = 0.74, 0.22


# -- elements -------------------------------------------------------------------------------------


class Markup(str):
    """Text that is HTML or SVG already; plain text is escaped wherever it is put."""

    __slots__ = ()


def safe_text(text: str) -> str:
    """Return text that XML may hold: printable, without the two code points XML forbids."""
    return printable(text).replace("\ufffe", "?").replace("\uffff", "?")


def el(tag: str, *children: str, **attributes: object) -> Markup:
    """Return an element; plain children are escaped, `Markup` is not.

    Attributes lose a trailing underscore and turn others into dashes; None and False are left
    out, True stands alone; numbers have two decimals at most.

    >>> el("td", "R1 <b>", class_="part", data_part='a"b', x=0.501)
    '<td class="part" data-part="a&quot;b" x="0.5">R1 &lt;b&gt;</td>'
    """
    return Markup(f"<{tag}{_attributes(attributes)}>{joined(children)}</{tag}>")


def void(tag: str, **attributes: object) -> Markup:
    """Return an element that has no content, such as `input`; closed, as SVG needs it."""
    return Markup(f"<{tag}{_attributes(attributes)}/>")


def joined(children: Iterable[str], between: str = "") -> Markup:
    """Return children one after the other, plain text escaped."""
    return Markup(
        between.join(
            child if isinstance(child, Markup) else escape(safe_text(child)) for child in children
        )
    )


def _attributes(attributes: Mapping[str, object]) -> str:
    words = ""
    for name, value in attributes.items():
        if value is not None and value is not False:
            text = _number(value) if isinstance(value, int | float) else safe_text(str(value))
            words += f" {name.rstrip('_').replace('_', '-')}"
            words += f'="{escape(text)}"' if value is not True else ""
    return words


def _number(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


def points_text(points: Iterable[Point]) -> str:
    """Return points as the attribute `points` of a polygon has them."""
    return " ".join(f"{_number(x)},{_number(y)}" for x, y in points)


def embed_svg(
    text: str,
    name: str,
    label: str,
    *,
    numbers: Mapping[str, int],
    parts: Mapping[str, str] | None = None,
    nets: Mapping[str, str] | None = None,
) -> Markup:
    """Return an SVG of ours or of Graphviz as an element of a page.

    What stands for a part, a pad or a net is marked (`data-part`, `data-pad`, `data-net`), so
    that the page can show the same thing everywhere.

    Args:
        text: the SVG as a file holds it.
        name: letters that its ids get in front; one drawing each.
        label: what it shows, for those who hear the page.
        numbers: part key -> number: what is marked with that part, once, links to its row.
        parts: Graphviz node name -> part key (several: `SEPARATOR` between).
        nets: Graphviz node name -> net name.
    """
    from xml.etree import ElementTree as ET

    root = ET.fromstring(text)  # noqa: S314 - made by us or by `dot`, from a file never
    for element in root.iter():  # HTML knows SVG by its tag, without namespaces
        element.tag = element.tag.rsplit("}", 1)[-1]
        given = {
            full.rsplit("}", 1)[-1]: value
            for full, value in element.attrib.items()
            if not full.startswith("{http://www.w3.org/XML")
        }
        if "id" in given:
            given["id"] = f"{name}-{given['id']}"
        element.attrib.clear()
        element.attrib.update(given)
    for group in root.iter("g"):
        title = group.find("title")
        if group.get("class", "").split()[:1] in (["node"], ["edge"]) and title is not None:
            group.remove(title)  # a name such as `p0` tells nobody anything
            for marked, names in (("data-part", parts or {}), ("data-net", nets or {})):
                if stands_for := names.get(title.text or ""):
                    group.set(marked, safe_text(stands_for))
    for link in list(root.iter("a")):  # Graphviz gives a tip as the title of a link to nowhere
        link.tag = "g"
        tip = ET.Element("title")
        tip.text = safe_text(link.attrib.pop("title", ""))
        link.insert(0, tip)
    # the keyboard reaches each position once: its balloon, else the first thing that is it
    shown = {safe_text(key): number for key, number in numbers.items()}
    found: dict[str, tuple[ET.Element, ET.Element]] = {}
    for parent in root.iter():
        for element in parent:
            if any(word in element.attrib for word in ("data-part", "data-pad", "data-net")):
                element.attrib.setdefault("tabindex", "-1")  # a tap gives it the focus
            key = element.get("data-part", "").split(SEPARATOR)[0]
            if key in shown and (key not in found or element.get("class") == "balloon"):
                found[key] = parent, element
    for key, (parent, element) in found.items():
        link = ET.Element("a", {"href": f"#position-{shown[key]}", "class": "balloon"})
        link.set("id", f"{name}-position-{shown[key]}")
        link.set("data-part", key)
        link.set("aria-label", f"Position {shown[key]}, {key}")
        link.tail, element.tail = element.tail, None
        parent[list(parent).index(element)] = link
        link.append(element)
    for size in ("width", "height"):
        root.attrib.pop(size, None)
    root.attrib.update({"id": name, "role": "group", "aria-label": safe_text(label)})
    return Markup(ET.tostring(root, encoding="unicode"))


# -- paper ----------------------------------------------------------------------------------------


class Paper:
    """An SVG as it is drawn; where text stands is not kept, whoever writes it knows."""

    def __init__(self, width: float, height: float, title: str) -> None:
        self._lines = [
            '<?xml version="1.0" encoding="UTF-8"?>',
            f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{_number(width)}mm" '
            f'height="{_number(height)}mm" viewBox="0 0 {_number(width)} {_number(height)}" '
            f'font-family="{escape(FONTS)}">',
            el("title", title),
        ]
        self.rect(Box(0, 0, width, height), fill="white")

    def finish(self) -> str:
        """Return the whole SVG."""
        return "\n".join([*self._lines, "</svg>", ""])

    @contextmanager
    def group(self, tip: str = "", **values: object) -> Iterator[None]:
        """Draw what follows as one group; `tip` is shown when it is pointed at."""
        self._lines.append(f"<g{_attributes(values)}>")
        if tip:
            self._lines.append(el("title", tip))
        yield
        self._lines.append("</g>")

    def rect(self, box: Box, **values: object) -> None:
        """Draw a box."""
        self._draw("rect", x=box.x1, y=box.y1, width=box.wide, height=box.high, **values)

    def circle(self, x: float, y: float, radius: float, **values: object) -> None:
        """Draw a circle."""
        self._draw("circle", cx=x, cy=y, r=radius, **values)

    def line(self, start: Point, end: Point, **values: object) -> None:
        """Draw a straight line."""
        ends = {"x1": start[0], "y1": start[1], "x2": end[0], "y2": end[1]}
        self._draw("line", **ends, **_inked(values))

    def polygon(self, points: Iterable[Point], **values: object) -> None:
        """Draw a closed shape."""
        self._draw("polygon", points=points_text(points), **values)

    def polyline(self, points: Iterable[Point], **values: object) -> None:
        """Draw an open line through points."""
        look = {**values, "fill": "none", "stroke": "black"}
        self._draw("polyline", points=points_text(points), **look)

    def segments(self, lines: Iterable[tuple[Point, Point]], **values: object) -> None:
        """Draw many straight lines as one."""
        ways = "".join(map(_way, lines))
        if ways:
            self._draw("path", d=ways, **_inked(values))

    def symbol(self, x: float, y: float, svg: str) -> None:
        """Draw a piece of SVG of ours, its upper left corner at x, y."""
        self._lines.append(el("g", Markup(svg), transform=f"translate({_number(x)} {_number(y)})"))

    def cover(self, outer: Box, window: Box) -> None:
        """Paint white what is outside the window, so that a map ends at its frame."""
        ways = f"{_way(outer.corners)}Z{_way(window.corners)}Z"
        self._draw("path", d=ways, fill="white", fill_rule="evenodd")

    def text(
        self,
        x: float,
        y: float,
        words: str,
        size: float,
        *,
        anchor: str = "start",
        bold: bool = False,
        halo: bool = False,
        **values: object,
    ) -> None:
        """Write a line, its baseline at x, y; it is as wide as it was measured in any viewer."""
        words = safe_text(words)
        if not words.strip():
            return
        if halo:
            values.update(stroke="white", stroke_width=size / 3, paint_order="stroke")
        fixed = len(words) > 1
        self._lines.append(
            el(
                "text",
                words,
                x=x,
                y=y,
                font_size=size,
                text_anchor=None if anchor == "start" else anchor,
                font_weight="bold" if bold else None,
                textLength=text_width(words, size, bold=bold) if fixed else None,
                lengthAdjust="spacingAndGlyphs" if fixed else None,
                **values,
            )
        )

    def _draw(self, name: str, **values: object) -> None:
        self._lines.append(void(name, **values))


def _way(points: Iterable[Point]) -> str:
    """Return lines from point to point, as a path has them."""
    return "M" + "L".join(f"{_number(x)} {_number(y)}" for x, y in points)


def _inked(values: dict[str, object]) -> dict[str, object]:
    """Return the look of a line: thin and black where nothing else is said."""
    return values | {"stroke": "black", "stroke_width": THIN} | values


def hatch_lines(corners: Sequence[Point], step: float) -> list[tuple[Point, Point]]:
    """Return the lines at 45 degrees, `step` mm apart, that fill a polygon."""
    # along a line x + y is the same, and x - y tells where on it a point is
    turned = [(x + y, x - y) for x, y in corners]
    edges = list(zip(turned, [*turned[1:], turned[0]], strict=True))
    lines: list[tuple[Point, Point]] = []
    apart = step * 2**0.5
    at = (min(u for u, _ in turned) // apart + 1) * apart
    while at < max(u for u, _ in turned):
        cuts = sorted(
            v1 + (at - u1) * (v2 - v1) / (u2 - u1)
            for (u1, v1), (u2, v2) in edges
            if (u1 <= at) != (u2 <= at)
        )
        ends = [((at + cut) / 2, (at - cut) / 2) for cut in cuts]
        lines += zip(ends[::2], ends[1::2], strict=False)
        at += apart
    return lines


# -- type and boxes -------------------------------------------------------------------------------


class Box(NamedTuple):
    """An upright rectangle on the paper: x right, y down, mm."""

    x1: float
    y1: float
    x2: float
    y2: float

    @property
    def wide(self) -> float:
        """How wide it is."""
        return self.x2 - self.x1

    @property
    def high(self) -> float:
        """How high it is."""
        return self.y2 - self.y1

    @property
    def corners(self) -> tuple[Point, ...]:
        """Its corners, all round."""
        return (self.x1, self.y1), (self.x2, self.y1), (self.x2, self.y2), (self.x1, self.y2)

    @property
    def middle(self) -> Point:
        """The point in its middle."""
        return (self.x1 + self.x2) / 2, (self.y1 + self.y2) / 2

    def overlaps(self, other: Box, gap: float = 0.0) -> bool:
        """Return whether the boxes come closer than `gap` mm."""
        if self.x1 >= other.x2 + gap or other.x1 >= self.x2 + gap:
            return False
        return self.y1 < other.y2 + gap and other.y1 < self.y2 + gap

    def holds(self, other: Box) -> bool:
        """Return whether the other box is wholly inside."""
        across = self.x1 <= other.x1 and other.x2 <= self.x2
        return across and self.y1 <= other.y1 and other.y2 <= self.y2

    def grown(self, by: float) -> Box:
        """Return the box larger by so much on every side."""
        return Box(self.x1 - by, self.y1 - by, self.x2 + by, self.y2 + by)


def corners_box(points: Sequence[Point]) -> Box:
    """Return the box around points, at least one."""
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return Box(min(xs), min(ys), max(xs), max(ys))


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Return how wide a line is, in the unit of `size` (the type size).

    >>> round(text_width("GND", 2.0), 2)
    4.44
    """
    return sum(_thousandths(sign, bold) for sign in text) * size / 1000


@cache
def _thousandths(sign: str, bold: bool) -> int:
    """Return how wide a sign is in thousandths of the type size."""
    measures = table("drawing")["type"]
    widths: Sequence[int] = measures["bold" if bold else "plain"]
    other: int = measures["signs"].get(sign, measures["other"])
    return widths[ord(sign) - 32] if 0 <= ord(sign) - 32 < len(widths) else other


def text_box(
    x: float, y: float, text: str, size: float, *, anchor: str = "start", bold: bool = False
) -> Box:
    """Return the box of a line whose baseline stands at x, y."""
    width = text_width(text, size, bold=bold)
    left = {"start": x, "middle": x - width / 2, "end": x - width}[anchor]
    return Box(left, y - _RISE * size, left + width, y + _DEPTH * size)


def fit_text(text: str, size: float, width: float, *, bold: bool = False) -> str:
    """Return the text, its middle left out where it is wider than `width`.

    >>> fit_text("/Power/Charger/BAT_SENSE", 2.0, 24.0)
    '/Power/Ch…/BAT_SENSE'
    """
    if text_width(text, size, bold=bold) <= width:
        return text
    for letters in range(len(text) - 1, 0, -1):
        tail = (letters + 1) // 2
        short = f"{text[: letters - tail]}…{text[len(text) - tail :]}"
        if text_width(short, size, bold=bold) <= width:
            return short
    return ""


def short_net_names(board: Board, letters: int) -> Mapping[str, str]:
    """Return net name -> what a drawing writes, `letters` at most.

    `/Power/Charger/VBAT` becomes `…/VBAT` if no other net ends so; else its middle is left out.
    The whole name belongs in a tooltip or a list.
    """
    last = Counter(net.name.rsplit("/", 1)[-1] for net in board.nets)
    found = {}
    for net in board.nets:
        name = printable(net.name)
        tail = name.rsplit("/", 1)[-1]
        if len(name) > SHORT_LETTERS and "/" in name.lstrip("/") and tail:
            alone = last[net.name.rsplit("/", 1)[-1]] == 1
            name = f"…/{tail}" if alone else name
        found[net.name] = shorten_middle(name, letters)
    return found


def area_words(shape: Shape) -> str:
    """Return where an area is: `within 4 mm of J3`."""
    from nettrace.bench.place import Box as BoardBox
    from nettrace.bench.place import Circle

    if isinstance(shape, Circle):
        at = shape.around or f"{shape.x:g}, {shape.y:g}"
        return f"within {shape.radius_mm:g} mm of {at}"
    if isinstance(shape, BoardBox):
        return f"box {shape.x1:g}, {shape.y1:g} to {shape.x2:g}, {shape.y2:g}"
    return f"outline of {len(shape.corners)} corners"
