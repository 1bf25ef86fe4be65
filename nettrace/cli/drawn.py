"""A drawing that was made before: its text is kept, and the picture is made from it anew.

Loaded when a drawing is asked for again, so it imports little.
"""

from __future__ import annotations

import os
from contextvars import ContextVar
from typing import NamedTuple

__all__ = ["DRAWN", "Drawn", "is_drawing", "kept_text", "redraw"]

_MARK = "\0drawn\0"  # no answer on a terminal begins so


class Drawn(NamedTuple):
    """What a drawing is made from.

    `picture` is the format that DOT text shall become; "" where `text` is the file as it stands.
    """

    picture: str
    output: str  # as the user typed it
    force: bool
    text: str


#: Where a command leaves what it drew; None in it: nothing to draw it from again. None while nobody
#: asks.
DRAWN: ContextVar[list[Drawn | None] | None] = ContextVar("DRAWN", default=None)


def kept_text(drawn: Drawn) -> str:
    """Return the drawing as one text, to be kept."""
    return _MARK + "\0".join((drawn.picture, drawn.output, "1" * drawn.force, drawn.text))


def is_drawing(kept: str) -> bool:
    """Return whether a kept text is a drawing."""
    return kept.startswith(_MARK)


def redraw(kept: str) -> bool:
    """Write the file again; False where that fails: the whole command has the words for it."""
    picture, output, forced, text = kept[len(_MARK) :].split("\0", 3)
    if os.path.exists(output) and not forced:  # noqa: PTH110 - pathlib is not loaded yet
        return False
    from pathlib import Path

    from nettrace.cli.files import write_file
    from nettrace.errors import NettraceError

    content: str | bytes = text
    try:
        if picture:
            from nettrace.views.programs import render_dot

            content = render_dot(text, picture)
        write_file(Path(output), content, force=bool(forced))
    except NettraceError:
        return False
    return True
