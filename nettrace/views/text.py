"""Words for people, and the one way out to the terminal; light enough for every command.

Names come from files and may hold anything: nothing here lets a control character through.
"""

from __future__ import annotations

import os
import sys
import unicodedata
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from typing import TYPE_CHECKING, Any, TextIO

from nettrace.version import __version__

if TYPE_CHECKING:
    from threading import Event

    from nettrace.errors import Warning
    from nettrace.model.board import Board

#: What was found on the way, by kind, for the one who keeps answers, where there is one.
KEPT: ContextVar[dict[str, list[Any]] | None] = ContextVar("KEPT", default=None)
#: `less` leaves at once where all fits, keeps colour, and leaves the text on the screen.
LESS_OPTIONS = "FRX"
#: What takes no longer than this is not worth a word.
PATIENCE_SECONDS = 1.0
BAR_WIDTH = 24
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


def envelope(key: str, answer: object, warnings: Sequence[Warning] = ()) -> dict[str, object]:
    """Return the object every `--json` prints: program, answer, warnings."""
    told = []
    for warning in warnings:
        path, line, column = warning.place or (None, None, None)
        place = {"path": path, "line": line or None, "column": column or None}
        told.append({"code": warning.code, "message": warning.message, **place})
    head = {"schema": SCHEMA, "version": __version__}
    return {"nettrace": head, key: answer, "warnings": told}


def write_json(board: Board | None, key: str, answer: object) -> None:
    """Write the answer as one JSON object on stdout, with the board's warnings."""
    found = envelope(key, answer, board.warnings if board else ())
    utf8 = (sys.stdout.encoding or "").lower().replace("-", "") == "utf8"
    lines = 1 if sys.stdout.isatty() else None  # for eyes; programs get it in one line, faster
    _write(sys.stdout, json_text(found, ascii_only=not utf8, indent=lines) + "\n")


def json_text(value: object, *, ascii_only: bool = False, indent: int | None = None) -> str:
    """Return a value as JSON; characters that could steer a terminal are written as escapes."""
    import json

    text = json.dumps(value, ensure_ascii=ascii_only, allow_nan=False, indent=indent)
    if text.isascii() and "\x7f" not in text:
        return text  # json has escaped the rest
    return "".join(
        json.dumps(c)[1:-1] if c != "\n" and unicodedata.category(c) in _UNSAFE else c for c in text
    )


def write_text(text: str) -> None:
    """Write lines that were made by a view to stdout; long ones on a terminal through a pager."""
    pager = _pager_for(text.count("\n"))
    if not (pager and _show_paged(text, pager)):
        _write(sys.stdout, text)
    else:
        keep("paged", text)


def keep(kind: str, found: object) -> None:
    """Leave something for the one who keeps answers: a board that was `loaded`, `drawn`, `paged`.

    A board comes with its paths, a drawing with its file's name and whether that is replaced.
    """
    if (kept := KEPT.get()) is not None:
        kept[kind].append(found)


def write_note(text: str) -> None:
    """Write a message to stderr; line ends stay, other control characters do not."""
    _write(sys.stderr, "\n".join(printable(line) for line in text.splitlines()) + "\n")


def write_warnings(board: Board) -> None:
    """Say on stderr how much was read with care; `summary` tells it all."""
    for found, noun, where in (
        (board.warnings, "warning", "while reading"),
        (board.conflicts, "conflict", "between sources"),
    ):
        if found:
            many = counted(len(found), noun)
            write_note(f"note: {many} {where}; `nettrace summary` shows them.")


def _write(stream: TextIO, text: str) -> None:
    encoding = stream.encoding or "ascii"
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        text = plain_signs(text).encode(encoding, "backslashreplace").decode(encoding)
    stream.write(text)


# -- a pager ------------------------------------------------------------------------------------


def _pager_for(lines: int) -> list[str]:
    """Return the pager's command line for that many lines, [] where none is wanted.

    None is wanted unless both ends are a terminal and the answer is longer than the screen;
    `PAGER=cat` (or an empty one) turns it off.
    """
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        return []
    import shlex
    import shutil

    words = shlex.split(os.environ.get("PAGER", "less"))
    fits = lines < shutil.get_terminal_size().lines
    return [] if fits or not words or words[0] == "cat" or not shutil.which(words[0]) else words


def _show_paged(text: str, command: list[str]) -> bool:
    """Show text through a pager; return False where it does not start."""
    import subprocess

    environment = {"LESS": LESS_OPTIONS, **os.environ}
    try:
        pager = subprocess.Popen(command, stdin=subprocess.PIPE, env=environment)
    except OSError:
        return False
    if pager.stdin is not None:
        with suppress(BrokenPipeError, KeyboardInterrupt), pager.stdin as pipe:
            pipe.write(text.encode(sys.stdout.encoding or "utf-8", "backslashreplace"))
    while pager.poll() is None:
        with suppress(KeyboardInterrupt):  # Ctrl-C is the pager's to answer
            pager.wait()
    return True


# -- what takes long ----------------------------------------------------------------------------


@contextmanager
def progress(what: str) -> Iterator[None]:
    """Show `what` with a running bar and the time it has taken, until the block ends.

    The bar appears on stderr after `PATIENCE_SECONDS`, is wiped when the block ends, and never
    appears where stderr is no terminal. How much is left is not known, so no figure is shown.
    """
    if not sys.stderr.isatty():
        yield
        return
    from threading import Event, Thread

    ended = Event()
    thread = Thread(target=_show_bar, args=(printable(what), ended), daemon=True)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()


def _show_bar(what: str, ended: Event) -> None:
    if ended.wait(PATIENCE_SECONDS):
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    bar = Progress(
        TextColumn("{task.description}", markup=False),
        BarColumn(BAR_WIDTH, pulse_style="default"),
        TimeElapsedColumn(),
        console=Console(file=sys.__stderr__, stderr=True),  # none of it is kept with the answer
        transient=True,
        redirect_stdout=False,
        redirect_stderr=False,
    )
    bar.add_task(what, total=None)
    with bar:
        ended.wait()
