"""The door of the program: a question asked before is answered from the cache, else `main` runs.

A warm answer needs neither click nor a reader nor a pass, which are most of the time that a small
question takes. What is kept: the whole answer to every question that looks at a board, the text
that a drawing is made from, and the JSON of every net of the board, so that the next net asked for
is known too.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, TextIO

from nettrace.version import __version__

if TYPE_CHECKING:
    from nettrace.cache import Cache
    from nettrace.circuit.circuit import Circuit

#: Commands that look at a board and nothing else: the same words give the same answer.
KEPT = frozenset({"summary", "area", "net", "part", "pad", "rail", "bus", "path", "draw"})
#: Answers longer than this are not kept.
MOST_ANSWER = 4_000_000
#: Words that say the answer is wanted anew, or that something else than an answer is wanted.
NOT_KEPT = frozenset({"--no-cache", "--debug", "--help", "-h", "--version"})
#: Begins a kept drawing; no answer on a terminal begins so.
_DRAWN = "\0drawn\0"


def main(arguments: Sequence[str] | None = None) -> int:
    """Answer from the cache, or run the command line; return the exit code.

    Ctrl-C ends it here too while modules are still being loaded.
    """
    try:
        return _main(list(sys.argv[1:] if arguments is None else arguments))
    except KeyboardInterrupt:
        sys.stderr.write("stopped\n")
        return 130


def _main(words: list[str]) -> int:
    began_ns = time.time_ns()
    if not words or words[0] not in KEPT or not NOT_KEPT.isdisjoint(words):
        from nettrace.cli.main import main as run

        return run(words)
    from nettrace.cache import Cache, cache_folder

    cache = Cache(cache_folder(), f"{__version__} {_stamp()}")
    board, question = _board_of(words), _question(words)
    if _answered(cache, words, board, question):
        return 0
    return _run_and_keep(cache, words, board, question, began_ns)


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
                if entry.name.endswith((".py", ".toml")):
                    newest, count = max(newest, entry.stat().st_mtime_ns), count + 1
                elif "." not in entry.name and entry.name != "__pycache__" and entry.is_dir():
                    folders.append(entry.path)
    return f"{count} {newest}"


def _board_of(words: Sequence[str]) -> str:
    """Return what names the board in the cache: where we are, and the words that choose it.

    Only words without options that change how a board is read name one together; all others are
    one of their own.
    """
    changing = ("--w", "--f", "--hi", "--rai")  # click takes no abbreviations; a word more is cheap
    plain = len(words) > 1 and not words[1].startswith("-")
    plain = plain and not any(word.startswith(changing) for word in words[2:])
    return "\0".join((os.getcwd(), words[1]) if plain else (os.getcwd(), "", *words))  # noqa: PTH109


def _question(words: Sequence[str]) -> str:
    """Return the words with all else that shapes an answer: width, encoding."""
    names = ("COLUMNS", "LINES", "NO_COLOR", "TERM", "COLORTERM", "FORCE_COLOR")
    shape = [os.environ.get(name, "-") for name in names]
    shape += [sys.stdout.encoding or "", sys.stderr.encoding or ""]
    if sys.stdout.isatty():
        shape.append(str(os.get_terminal_size(sys.stdout.fileno()).columns))
    return "\0".join((*shape, *words))


# -- asked before -------------------------------------------------------------------------------


def _answered(cache: Cache, words: Sequence[str], board: str, question: str) -> bool:
    """Write the answer and return True, if the cache has it."""
    out = note = ""
    name = _one_net(words)
    if name is not None and (found := cache.net(board, name)) is not None:
        envelope, text = found
        out = envelope.replace("\0", text, 1)
        utf8 = (sys.stdout.encoding or "").lower().replace("-", "") == "utf8"
        if not (out.isascii() or utf8):
            return False
    elif (known := cache.answer(board, question)) is not None:
        out, note = known
    else:
        return False
    if out.startswith("\0"):
        if not (out.startswith(_DRAWN) and _redrawn(out)):
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


def _redrawn(kept: str) -> bool:
    """Write a drawing's file again; False where that fails: the whole command has the words."""
    picture, output, forced, text = kept[len(_DRAWN) :].split("\0", 3)
    if os.path.exists(output) and not forced:  # noqa: PTH110 - pathlib is not loaded yet
        return False
    from pathlib import Path

    from nettrace.cli.calls import write_file
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


# -- asked for the first time -------------------------------------------------------------------


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
    cache: Cache, words: Sequence[str], board: str, question: str, began_ns: int
) -> int:
    from contextlib import suppress

    from nettrace.cli.main import main as run
    from nettrace.views.text import KEPT

    found: dict[str, list[Any]] = {"loaded": [], "drawn": [], "paged": []}
    token = KEPT.set(found)
    out, note = _Copying(sys.stdout), _Copying(sys.stderr)
    sys.stdout, sys.stderr = out, note  # all else is the stream's own
    try:
        code = run(words)
    finally:
        sys.stdout, sys.stderr = out.stream, note.stream
        KEPT.reset(token)
    kept = [*out.kept, *found["paged"]]
    if found["drawn"]:
        made, output, force = found["drawn"][0]
        if made.made_from is None or kept:
            return code  # not drawn from a text; or JSON says how large the picture became
        again = "" if made.made_from == made.content else made.format
        kept = [_DRAWN + "\0".join((again, output, "1" * force, made.made_from))]
    if code == 0 and len(found["loaded"]) == 1:
        with suppress(KeyboardInterrupt, OSError):  # the answer stands; it is only not kept
            _keep(cache, found["loaded"][0], board, question, began_ns, kept, note.kept)
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
    files = _files(paths, circuit)
    seen = [depend_on(path, began_ns) for path in files]
    dependencies = [known for known in seen if known is not None]
    if len(dependencies) < len(files) or sum(map(len, out)) > MOST_ANSWER:
        return
    if _draws_in_others(circuit, files):
        return
    answer = Answer("".join(out), "".join(note))
    if "\0\0" in board or cache.has_nets(board):  # options of its own, or all is there
        cache.keep(board, dependencies, question, answer)
        return
    import gc

    gc.disable()  # nothing cyclic is made, and the board is large
    from nettrace.answers import brief, net_answer
    from nettrace.views.encode import encode
    from nettrace.views.text import envelope, json_text

    known = brief(circuit)
    nets = (
        (net.name, json_text(encode(net_answer(circuit, net, known), circuit.board)))
        for net in circuit.board.nets
    )
    # what stands around a net's JSON, a NUL in its place
    whole = json_text(envelope("net", None, circuit.board.warnings))
    head, key, tail = whole.partition('"net": null')
    cache.keep(board, dependencies, question, answer, nets, f"{head}{key[:-4]}\0{tail}\n")


def _files(paths: Sequence[str], circuit: Circuit) -> list[str]:
    """Return every file and folder that reading BOARD and its like looks at."""
    found = [*paths, *(source.path for source in circuit.board.sources)]
    for folder in filter(os.path.isdir, paths):
        with os.scandir(folder) as entries:
            found += [entry.path for entry in entries if entry.is_file()]
    return list(dict.fromkeys(map(os.path.abspath, found)))


def _draws_in_others(circuit: Circuit, files: Sequence[str]) -> bool:
    """Return whether a deck among the files may draw in more files than these."""
    if all(source.format != "spice" for source in circuit.board.sources):
        return False
    import re
    from pathlib import Path

    draws = re.compile(rb"^\s*\.(?:inc|lib)", re.IGNORECASE | re.MULTILINE)
    return any(draws.search(Path(path).read_bytes()) for path in files if Path(path).is_file())
