"""A sheet of paper as SVG: lines, shapes and text in mm, x right, y down. Plain attributes alone.

No style sheet, script, image, link or id: the text can stand inside any page, and prints anywhere.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from html import escape

from nettrace.views.drawing_text import FONTS, Box, text_width
from nettrace.views.text import printable

__all__ = ["THICK", "THIN", "Paper", "hatch_lines", "safe_text"]

#: Line widths, mm: ISO 128 steps.
THIN, MIDDLE, THICK = 0.18, 0.35, 0.6
Point = tuple[float, float]


def safe_text(text: str) -> str:
    """Return text that XML may hold: printable, without the two code points XML forbids."""
    return printable(text).replace("\ufffe", "?").replace("\uffff", "?")


def _number(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


def _attributes(values: dict[str, object]) -> str:
    parts = []
    for name, value in values.items():
        if value is None:
            continue
        text = _number(value) if isinstance(value, (int, float)) else safe_text(str(value))
        parts.append(f' {name.rstrip("_").replace("_", "-")}="{escape(text)}"')
    return "".join(parts)


class Paper:
    """An SVG as it is drawn; `text_boxes` are not kept, whoever writes text knows where."""

    def __init__(self, width: float, height: float, title: str) -> None:
        self._lines = [
            '<?xml version="1.0" encoding="UTF-8"?>',
            f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{_number(width)}mm" '
            f'height="{_number(height)}mm" viewBox="0 0 {_number(width)} {_number(height)}" '
            f'font-family="{escape(FONTS)}">',
            f"<title>{escape(safe_text(title))}</title>",
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
            self._lines.append(f"<title>{escape(safe_text(tip))}</title>")
        yield
        self._lines.append("</g>")

    def rect(self, box: Box, **values: object) -> None:
        """Draw a box."""
        self._shape(
            "rect", values, x=box.x1, y=box.y1, width=box.x2 - box.x1, height=box.y2 - box.y1
        )

    def circle(self, x: float, y: float, radius: float, **values: object) -> None:
        """Draw a circle."""
        self._shape("circle", values, cx=x, cy=y, r=radius)

    def line(self, start: Point, end: Point, **values: object) -> None:
        """Draw a straight line."""
        values.setdefault("stroke", "black")
        values.setdefault("stroke_width", THIN)
        self._shape("line", values, x1=start[0], y1=start[1], x2=end[0], y2=end[1])

    def polygon(self, points: Iterable[Point], **values: object) -> None:
        """Draw a closed shape."""
        text = " ".join(f"{_number(x)},{_number(y)}" for x, y in points)
        self._shape("polygon", values, points=text)

    def polyline(self, points: Iterable[Point], **values: object) -> None:
        """Draw an open line through points."""
        values.setdefault("fill", "none")
        values.setdefault("stroke", "black")
        text = " ".join(f"{_number(x)},{_number(y)}" for x, y in points)
        self._shape("polyline", values, points=text)

    def segments(self, lines: Iterable[tuple[Point, Point]], **values: object) -> None:
        """Draw many straight lines as one."""
        text = "".join(
            f"M{_number(a[0])} {_number(a[1])}L{_number(b[0])} {_number(b[1])}" for a, b in lines
        )
        if text:
            values.setdefault("stroke", "black")
            values.setdefault("stroke_width", THIN)
            self._shape("path", values, d=text)

    def cover(self, outer: Box, window: Box) -> None:
        """Paint white what is outside the window, so that a map ends at its frame."""
        ways = "".join(
            f"M{_number(b.x1)} {_number(b.y1)}H{_number(b.x2)}V{_number(b.y2)}H{_number(b.x1)}Z"
            for b in (outer, window)
        )
        self._shape("path", {"fill": "white", "fill_rule": "evenodd"}, d=ways)

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
        width = text_width(words, size, bold=bold)
        if halo:
            values.update(stroke="white", stroke_width=size / 3, paint_order="stroke")
        self._lines.append(
            "<text"
            + _attributes(
                {
                    "x": x,
                    "y": y,
                    "font_size": size,
                    "text_anchor": None if anchor == "start" else anchor,
                    "font_weight": "bold" if bold else None,
                    "textLength": width if len(words) > 1 else None,
                    "lengthAdjust": "spacingAndGlyphs" if len(words) > 1 else None,
                    **values,
                }
            )
            + f">{escape(words)}</text>"
        )

    def _shape(self, name: str, values: dict[str, object], **where: object) -> None:
        self._lines.append(f"<{name}{_attributes({**where, **values})}/>")


def hatch_lines(corners: Sequence[Point], step: float) -> list[tuple[Point, Point]]:
    """Return the lines at 45 degrees, `step` mm apart, that fill a polygon."""
    lines: list[tuple[Point, Point]] = []
    # along a line x + y is the same, and x - y tells where on it a point is
    turned = [(x + y, x - y) for x, y in corners]
    apart = step * 2**0.5
    low, high = min(u for u, _ in turned), max(u for u, _ in turned)
    at = (low // apart + 1) * apart
    while at < high:
        cuts = []
        for (u1, v1), (u2, v2) in zip(turned, [*turned[1:], turned[0]], strict=True):
            if (u1 <= at) != (u2 <= at):
                cuts.append(v1 + (at - u1) * (v2 - v1) / (u2 - u1))
        cuts.sort()
        for first, second in zip(cuts[::2], cuts[1::2], strict=False):
            lines.append(
                (((at + first) / 2, (at - first) / 2), ((at + second) / 2, (at - second) / 2))
            )
        at += apart
    return lines
