"""Pieces of Graphviz labels: text that is safe in them, sizes, rows, numbers in a frame."""

from __future__ import annotations

import html
from collections.abc import Iterable

from nettrace.views.drawing_svg import safe_text

__all__ = ["balloon", "label_text", "line", "sized", "wrapped"]


def label_text(text: str) -> str:
    r"""Return text that is safe inside a Graphviz label table.

    >>> label_text("a<b & \\N")
    'a&lt;b &amp; &#92;&#92;N'
    """
    # Graphviz reads backslash sequences even here: a doubled one is a plain backslash
    return html.escape(safe_text(text)).replace("\\", "&#92;&#92;")


def sized(text: str, size: int) -> str:
    """Return label text in a type size, points."""
    return f'<FONT POINT-SIZE="{size}">{text}</FONT>'


def line(text: str, *, size: int, span: str = "") -> str:
    """Return a table row with one line of plain text; `span` are attributes of its cell."""
    return f"<TR><TD{span}>{sized(label_text(text), size)}</TD></TR>"


def balloon(text: str) -> str:
    """Return a table cell with a number in a rounded frame."""
    return f'<TD BORDER="1" STYLE="ROUNDED"><FONT POINT-SIZE="8">{text}</FONT></TD>'


def wrapped(names: Iterable[str], letters: int = 24) -> list[str]:
    """Return names in lines of about that many letters."""
    lines: list[str] = []
    for name in names:
        if lines and len(lines[-1]) + len(name) + 2 <= letters:
            lines[-1] += f", {name}"
        else:
            if lines:
                lines[-1] += ","
            lines.append(name)
    return lines
