"""Words for people, and the one way out to the terminal; light enough for every command.

Names come from files and may hold anything: nothing here lets a control character through.
"""

from __future__ import annotations

import sys
import unicodedata
from collections.abc import Sequence
from contextvars import ContextVar
from typing import TYPE_CHECKING, TextIO

from nettrace.version import __version__

if TYPE_CHECKING:
    from nettrace.errors import Warning
    from nettrace.model.board import Board

__all__ = [
    "PAGED",
    "SCHEMA",
    "counted",
    "envelope",
    "json_text",
    "listed",
    "plain_signs",
    "printable",
    "shorten_middle",
    "shows_signs",
    "warning_payload",
    "write_json",
    "write_note",
    "write_text",
    "write_warnings",
]

#: What went to a pager and not to stdout, for the one who keeps answers.
PAGED: ContextVar[list[str] | None] = ContextVar("PAGED", default=None)
#: Version of the JSON shapes; raised when a key changes its meaning.
SCHEMA = 1

#: Characters for terminals that cannot show ours.
_PLAIN = str.maketrans(
    {
        "Ω": "ohm", "µ": "u", "μ": "u", "°": "deg", "×": "x", "…": "~", "–": "-", "—": "-",
        "─": "-", "·": "-", "→": "->", "↔": "<->", "≤": "<=", "≥": ">=", "≈": "~", "±": "+/-",
        "∞": "inf", "‖": "||",
    }
)  # fmt: skip
#: Control, format (direction marks), surrogate and private characters, line and paragraph ends.
_UNSAFE = frozenset({"Cc", "Cf", "Cs", "Co", "Zl", "Zp"})


def printable(text: str) -> str:
    r"""Return the text with every control or direction character written as an escape.

    >>> printable("SDA\x1b[2J")
    'SDA\\x1b[2J'
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        c.encode("unicode_escape").decode() if unicodedata.category(c) in _UNSAFE else c
        for c in text
    )


def plain_signs(text: str) -> str:
    """Return the text with the trade's signs spelled in ASCII: `2.2 kohm`.

    >>> plain_signs("4.7 kΩ, 10 µF")
    '4.7 kohm, 10 uF'
    """
    return text.translate(_PLAIN)


def shows_signs(stream: TextIO) -> bool:
    """Return whether a stream can take the trade's signs."""
    try:
        "Ωµ×…─·→".encode(stream.encoding or "ascii")
    except UnicodeEncodeError:
        return False
    return True


def shorten_middle(text: str, width: int) -> str:
    """Return the text cut to a width, the middle left out; its tail tells most and stays.

    >>> shorten_middle("/Power/Charger/BAT_SENSE", 16)
    '/Powe…/BAT_SENSE'
    """
    if len(text) <= width:
        return text
    if width < 4:
        return text[len(text) - width :]
    tail = (width - 1) * 2 // 3
    head = width - 1 - tail
    return f"{text[:head]}…{text[len(text) - tail :]}"


def counted(count: int, noun: str, plural: str = "") -> str:
    """Return the count with its noun.

    >>> counted(1, "pad"), counted(3, "bus", "buses")
    ('1 pad', '3 buses')
    """
    return f"{count} {noun if count == 1 else plural or noun + 's'}"


def listed(names: Sequence[str], most: int = 6) -> str:
    """Return names joined for a sentence, the rest counted.

    >>> listed(["R1", "R2", "R3"], 2), listed(["R1", "R2"])
    ('R1, R2 and 1 more', 'R1, R2')
    """
    shown = ", ".join(names[:most])
    return f"{shown} and {len(names) - most} more" if len(names) > most else shown


def warning_payload(warning: Warning) -> dict[str, object]:
    """Return a warning as the contract writes it."""
    place = warning.place
    return {
        "code": warning.code,
        "message": warning.message,
        "path": place.path if place else None,
        "line": (place.line or None) if place else None,
        "column": (place.column or None) if place else None,
    }


def envelope(key: str, answer: object, warnings: Sequence[Warning] = ()) -> dict[str, object]:
    """Return the object every `--json` prints: program, answer, warnings."""
    return {
        "nettrace": {"schema": SCHEMA, "version": __version__},
        key: answer,
        "warnings": [warning_payload(warning) for warning in warnings],
    }


def write_json(board: Board | None, key: str, answer: object) -> None:
    """Write the answer as one JSON object on stdout, with the board's warnings."""
    found = envelope(key, answer, board.warnings if board else ())
    utf8 = (sys.stdout.encoding or "").lower().replace("-", "") == "utf8"
    lines = 1 if sys.stdout.isatty() else None  # for eyes; programs get it in one line, faster
    _write(sys.stdout, json_text(found, ascii_only=not utf8, indent=lines) + "\n")


def json_text(value: object, *, ascii_only: bool = False, indent: int | None = None) -> str:
    """Return a value as JSON that is safe to show on a terminal."""
    import json

    return _harmless(json.dumps(value, ensure_ascii=ascii_only, allow_nan=False, indent=indent))


def _harmless(text: str) -> str:
    """Return JSON whose characters that could steer a terminal are written as escapes."""
    if text.isascii() and "\x7f" not in text:
        return text  # json has escaped the rest
    import json

    return "".join(
        json.dumps(c)[1:-1] if c != "\n" and unicodedata.category(c) in _UNSAFE else c for c in text
    )


def write_text(text: str) -> None:
    """Write lines that were made by a view to stdout; long ones on a terminal through a pager."""
    if sys.stdout.isatty():
        from nettrace.views.paging import pager_for, show_paged

        pager = pager_for(text.count("\n"))
        if pager is not None and show_paged(text, pager):
            if (paged := PAGED.get()) is not None:
                paged.append(text)
            return
    _write(sys.stdout, text)


def write_note(text: str) -> None:
    """Write a message to stderr; line ends stay, other control characters do not."""
    _write(sys.stderr, "\n".join(printable(line) for line in text.splitlines()) + "\n")


def write_warnings(board: Board) -> None:
    """Say on stderr how much was read with care; `summary` tells it all."""
    if board.warnings:
        many = counted(len(board.warnings), "warning")
        write_note(f"note: {many} while reading; `nettrace summary` shows them.")
    if board.conflicts:
        many = counted(len(board.conflicts), "conflict")
        write_note(f"note: {many} between sources; `nettrace summary` shows them.")


def _write(stream: TextIO, text: str) -> None:
    encoding = stream.encoding or "ascii"
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        text = plain_signs(text).encode(encoding, "backslashreplace").decode(encoding)
    stream.write(text)
