"""HTML as text, written so that nothing from a file can be markup."""

from __future__ import annotations

import html
from collections.abc import Iterable

from nettrace.views.text import printable

__all__ = ["SEPARATOR", "Markup", "el", "joined", "void"]

#: Stands between several names in one attribute; no name of a part holds it.
SEPARATOR = "\u241f"


class Markup(str):
    """Text that is HTML already; plain text is escaped wherever it is put."""

    __slots__ = ()


def el(tag: str, *children: str, **attributes: str | bool | None) -> Markup:
    """Return an element; plain children are escaped, `Markup` is not.

    Attributes lose a trailing underscore and turn others into dashes; None and False are left
    out, True stands alone.

    >>> el("td", "R1 <b>", class_="part", data_part='a"b')
    '<td class="part" data-part="a&quot;b">R1 &lt;b&gt;</td>'
    """
    return Markup(f"<{tag}{_attributes(attributes)}>{joined(children)}</{tag}>")


def void(tag: str, **attributes: str | bool | None) -> Markup:
    """Return an element that has no content, such as `input`; closed, as SVG needs it."""
    return Markup(f"<{tag}{_attributes(attributes)} />")


def joined(children: Iterable[str], between: str = "") -> Markup:
    """Return children one after the other, plain text escaped."""
    return Markup(
        between.join(
            child if isinstance(child, Markup) else html.escape(printable(child))
            for child in children
        )
    )


def _attributes(attributes: dict[str, str | bool | None]) -> str:
    words = []
    for name, value in attributes.items():
        if value is None or value is False:
            continue
        shown = name.rstrip("_").replace("_", "-")
        words.append(
            f" {shown}" if value is True else f' {shown}="{html.escape(printable(value))}"'
        )
    return "".join(words)
