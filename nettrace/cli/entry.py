"""The door of the program: a question asked before is answered from the cache, else `main` runs.

A warm answer needs neither click nor a reader nor a pass, which are most of the time that a small
question takes. What is kept: the whole answer to every question that looks at a board, and the
JSON of every net of the board, so that the next net asked for is known too.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, TextIO

from nettrace.version import __version__

if TYPE_CHECKING:
    from nettrace.cache import Cache
    from nettrace.circuit.circuit import Circuit

__all__ = ["main"]

#: Commands that look at a board and nothing else: the same words give the same answer.
KEPT = frozenset({"summary", "area", "net", "part", "pad", "rail", "bus", "path", "draw"})
#: Answers longer than this are not kept.
MOST_ANSWER = 4_000_000
#: Words that say the answer is wanted anew, or that something else than an answer is wanted.
NOT_KEPT = frozenset({"--no-cache", "--debug", "--help", "-h", "--version"})


def main(arguments: Sequence[str] | None = None) -> int:
    """Answer from the cache, or run the command line; return the exit code."""
    began_ns = time.time_ns()
    words = list(sys.argv[1:] if arguments is None else arguments)
    asked = bool(words) and words[0] in KEPT and NOT_KEPT.isdisjoint(words)
    if not asked:
        from nettrace.cli.main import main as run

        return run(words)
    cache, board, question = _cache(), _board_of(words), _question(words)
    try:
        if cache is not None and _answered(cache, words, board, question):
            return 0
    except KeyboardInterrupt:  # a drawing takes as long as the program that draws it
        from nettrace.cli.main import stopped

        return stopped()
    return _run_and_keep(cache, words, board, question, began_ns)


def _cache() -> Cache | None:
    try:
        from nettrace.cache import Cache, cache_folder
    except ImportError:  # a Python without sqlite3
        return None
    return Cache(cache_folder(), f"{__version__} {_stamp()}")


def _stamp() -> str:
    """Return what tells this source tree from another; "" where the program is installed.

    An installed program is what its version says; in a checkout any file may have changed.
    """
    package = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))  # noqa: PTH100, PTH120
    if not os.path.exists(os.path.join(os.path.dirname(package), "pyproject.toml")):  # noqa: PTH110, PTH118, PTH120
        return ""
    newest, count, folders = 0, 0, [package]
    while folders:
        with os.scandir(folders.pop()) as entries:
            for entry in entries:
                if entry.name.endswith(".py"):
                    newest, count = max(newest, entry.stat().st_mtime_ns), count + 1
                elif "." not in entry.name and entry.name != "__pycache__" and entry.is_dir():
                    folders.append(entry.path)
    return f"{count} {newest}"


def _board_of(words: Sequence[str]) -> str:
    """Return what names the board in the cache: where we are, and the words that choose it.

    Only words without options that change how a board is read name one together; all others are
    one of their own.
    """
    plain = len(words) > 1 and not words[1].startswith("-") and not _changes_reading(words)
    return "\0".join((os.getcwd(), words[1]) if plain else (os.getcwd(), "", *words))  # noqa: PTH109


def _changes_reading(words: Sequence[str]) -> bool:
    return any(
        word.startswith(("--w", "--f", "--hi", "--rai")) for word in words[2:]
    )  # click takes no abbreviations, but a word more here costs nothing


def _question(words: Sequence[str]) -> str:
    """Return the words with all else that shapes an answer: width, encoding."""
    names = ("COLUMNS", "LINES", "NO_COLOR", "TERM", "COLORTERM", "FORCE_COLOR")
    shape = [os.environ.get(name, "-") for name in names]
    shape += [sys.stdout.encoding or "", sys.stderr.encoding or ""]
    if sys.stdout.isatty():
        shape.append(str(os.get_terminal_size(sys.stdout.fileno()).columns))
    return "\0".join((*shape, *words))


def _answered(cache: Cache, words: Sequence[str], board: str, question: str) -> bool:
    """Write the answer and return True, if the cache has it."""
    out = note = ""
    name = _one_net(words)
    if name is not None and (found := cache.net(board, name)) is not None:
        envelope, text = found
        out = envelope.replace("\0", text, 1)
        if not (out.isascii() or _is_utf8(sys.stdout)):
            return False
    elif (known := cache.answer(board, question)) is not None:
        out, note = known
    else:
        return False
    if out.startswith("\0"):
        from nettrace.cli.drawn import is_drawing, redraw

        if not (is_drawing(out) and redraw(out)):
            return False
        out = ""
    try:
        if sys.stdout.isatty() and out:  # long ones go through a pager
            from nettrace.views.text import write_text

            write_text(out)
        else:
            sys.stdout.write(out)
        sys.stdout.flush()
        if note:
            sys.stderr.write(note)
            sys.stderr.flush()
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except OSError:
        return False  # full, or gone: the command line has the words for it
    return True


def _one_net(words: Sequence[str]) -> str | None:
    """Return NAME of `net BOARD NAME --json`, where it can mean one net alone."""
    if words[0] != "net" or len(words) != 4 or sys.stdout.isatty():
        return None
    others = [word for word in words[1:] if word != "--json"]
    if len(others) != 2 or words[1] == "--json" or any(word.startswith("-") for word in others):
        return None
    name = others[1]
    return None if "*" in name or "?" in name else name


def _is_utf8(stream: TextIO) -> bool:
    return (stream.encoding or "").lower().replace("-", "") == "utf8"


class _Copying:
    """A stream that also keeps what is written to it."""

    def __init__(self, stream: TextIO) -> None:
        self.stream = stream
        self.kept: list[str] = []

    def write(self, text: str) -> int:
        self.kept.append(text)
        return self.stream.write(text)

    def __getattr__(self, name: str) -> object:
        return getattr(self.stream, name)


def _run_and_keep(
    cache: Cache | None, words: Sequence[str], board: str, question: str, began_ns: int
) -> int:
    from nettrace.cli.main import main as run

    if cache is None:
        return run(words)
    from nettrace.cli.drawn import DRAWN, Drawn, kept_text
    from nettrace.cli.options import LOADED
    from nettrace.views.text import PAGED

    loaded: list[tuple[tuple[str, ...], Circuit]] = []
    drawn: list[Drawn | None] = []
    token, paged_token, drawn_token = LOADED.set(loaded), PAGED.set([]), DRAWN.set(drawn)
    out, note = _Copying(sys.stdout), _Copying(sys.stderr)
    sys.stdout, sys.stderr = out, note  # all else is the stream's own
    try:
        code = run(words)
    finally:
        sys.stdout, sys.stderr = out.stream, note.stream
        out.kept += PAGED.get() or ()
        LOADED.reset(token)
        PAGED.reset(paged_token)
        DRAWN.reset(drawn_token)
    again = drawn[0] if drawn else None
    # a picture that is not drawn from a text; JSON that says how large the picture became
    only_once = bool(drawn) and (again is None or bool(out.kept))
    if code == 0 and len(loaded) == 1 and not only_once:
        try:
            kept = [kept_text(again)] if again is not None else out.kept
            _keep(cache, loaded[0], board, question, began_ns, kept, note.kept)
        except KeyboardInterrupt:
            pass  # the answer stands; it is only not kept
        except OSError:
            pass
    return code


def _keep(
    cache: Cache,
    loaded: tuple[tuple[str, ...], Circuit],
    board: str,
    question: str,
    began_ns: int,
    out: Sequence[str],
    note: Sequence[str],
) -> None:
    from nettrace.cache import Answer, depend_on

    paths, circuit = loaded
    files = _files(paths)
    if files is None or sum(map(len, out)) > MOST_ANSWER:
        return
    dependencies = []
    for path in files:
        known = depend_on(path, began_ns)
        if known is None:
            return
        dependencies.append(known)
    if _draws_in_others(circuit, files):
        return
    answer = Answer("".join(out), "".join(note))
    if "\0\0" in board or cache.has_nets(board):  # options of its own, or all is there
        cache.keep(board, dependencies, question, answer)
        return
    import gc

    gc.disable()  # nothing cyclic is made, and the board is large
    cache.keep(board, dependencies, question, answer, _nets(circuit), _envelope(circuit))


def _files(paths: Sequence[str]) -> list[str] | None:
    """Return every file and folder that reading BOARD and its like looks at; None if not known."""
    from nettrace.errors import NettraceError
    from nettrace.loading import MANIFEST
    from nettrace.readers.manifest import read_manifest

    found: dict[str, None] = {}
    for path in paths:
        whole = os.path.abspath(path)  # noqa: PTH100
        found[whole] = None
        manifest = whole if whole.endswith(".toml") else None
        if os.path.isdir(whole):  # noqa: PTH112
            inside = [os.path.join(whole, name) for name in sorted(os.listdir(whole))]  # noqa: PTH118, PTH208
            found.update((each, None) for each in inside if os.path.isfile(each))  # noqa: PTH113
            manifest = os.path.join(whole, MANIFEST)  # noqa: PTH118
            if not os.path.exists(manifest):  # noqa: PTH110
                manifest = None
        if manifest is not None:
            from pathlib import Path

            try:
                sources = read_manifest(Path(manifest)).sources
            except NettraceError:
                return None
            found.update((os.path.abspath(source), None) for source in sources)  # noqa: PTH100
    return list(found)


def _draws_in_others(circuit: Circuit, files: Sequence[str]) -> bool:
    """Return whether the board may come from more files than these (a job's, a deck's)."""
    sources = circuit.board.sources
    if any(os.path.abspath(source.path) not in files for source in sources):  # noqa: PTH100
        return True
    if all(source.format != "spice" for source in sources):
        return False
    import re
    from pathlib import Path

    draws = re.compile(rb"^\s*\.(?:inc|lib)", re.IGNORECASE | re.MULTILINE)
    return any(draws.search(Path(path).read_bytes()) for path in files if Path(path).is_file())


def _envelope(circuit: Circuit) -> str:
    """Return what stands around a net's JSON, a NUL in its place."""
    from nettrace.views.text import envelope, json_text

    whole = json_text(envelope("net", None, circuit.board.warnings))
    head, key, tail = whole.partition('"net": null')
    return f"{head}{key[:-4]}\0{tail}\n"


def _nets(circuit: Circuit) -> Iterator[tuple[str, str]]:
    from nettrace.views import payload
    from nettrace.views.text import json_text

    for net in circuit.board.nets:
        yield net.name, json_text(payload.net(circuit, net))
