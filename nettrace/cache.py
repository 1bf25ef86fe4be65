"""Answers given before, kept in the user's cache folder so that they need not be found anew.

One file for each answer, and one for the JSON of all nets of a board. A file names what was asked
and lists every file and folder that the answer hangs on; it is only used while each of them is what
it was, and while the program is the one that wrote it. It carries a checksum, all files together
are bounded, and whatever goes wrong with them is the same as having no cache: it is never the only
place of anything.

This module is what a repeated question loads, so it imports little, and nothing of the house.
"""

from __future__ import annotations

import marshal
import os
import sys
import time
import zlib
from collections.abc import Iterable
from contextlib import suppress
from typing import Any, NamedTuple

#: Files beyond this go, those that were not asked for longest first.
MOST_BYTES = 256 * 1024 * 1024
#: What a small file takes on a disk.
BLOCK_BYTES = 4096
#: The folder of the files; the number is that of their form.
FOLDER_NAME = "answers-2"
#: A file changed this shortly before it was looked at may change again within one tick of its
#: clock, so its content is looked at instead of its times. From memory: FAT's tick is 2 s.
UNSETTLED_NS = 2_000_000_000
#: How old the note of an answer's last use may get before it is written anew.
USED_STEP_S = 3600
#: Stands for the question in the file of a board's nets.
_NETS = "\0nets"


class Dependency(NamedTuple):
    """A file or folder as it was: `content` is a digest, or a folder's list of names."""

    path: str
    size: int
    changed: int  # ns, of the inode: it cannot be set by hand as the time of the content can
    inode: int
    seen: int  # ns, when it was looked at
    content: str


class Answer(NamedTuple):
    """What a command wrote, and what it said beside it."""

    out: str
    note: str


def cache_folder() -> str:
    """Return the user's cache folder for this program.

    On Linux this is what platformdirs says, without the time it takes to import it.
    """
    system: str = sys.platform
    if system == "linux":
        base = os.environ.get("XDG_CACHE_HOME", "")
        if not base.strip():
            base = os.path.expanduser("~/.cache")  # noqa: PTH111 - pathlib is one more import
        return os.path.join(base, "nettrace")  # noqa: PTH118
    import platformdirs

    return platformdirs.user_cache_dir("nettrace")


def depend_on(path: str, before_ns: int) -> Dependency | None:
    """Return what a file or folder is now; None if it changed after `before_ns`, or is no more."""
    try:
        status = os.stat(path)  # noqa: PTH116
        if status.st_ctime_ns >= before_ns:
            return None
        content = _content(path)
    except OSError:
        return None
    now = time.time_ns()
    return Dependency(path, status.st_size, status.st_ctime_ns, status.st_ino, now, content)


def _content(path: str) -> str:
    if os.path.isdir(path):  # noqa: PTH112
        return "\n".join(sorted(os.listdir(path)))  # noqa: PTH208
    import hashlib

    digest = hashlib.sha256()
    with open(path, "rb") as file:  # noqa: PTH123
        while block := file.read(1 << 20):
            digest.update(block)
    return digest.hexdigest()


def _is_unchanged(known: Dependency) -> bool:
    try:
        now = os.stat(known.path)  # noqa: PTH116
        as_it_was = (now.st_size, now.st_ctime_ns, now.st_ino) == known[1:4]
        if as_it_was and known.changed + UNSETTLED_NS < known.seen:
            return True
        return _content(known.path) == known.content
    except OSError:
        return False


class Cache:
    """The cache in a folder.

    Args:
        folder: where the files are, or are made; `cache_folder()` for the user's own.
        program: the version that asks: files of another are not used.
        most_bytes: bound on all files together.
    """

    def __init__(self, folder: str, program: str, most_bytes: int = MOST_BYTES) -> None:
        self.folder = os.path.join(folder, FOLDER_NAME)  # noqa: PTH118
        self.program = program
        self.most_bytes = most_bytes

    def answer(self, board: str, question: str) -> Answer | None:
        """Return what was answered to the question, None if it is not known any more."""
        found = self._read(board, question)
        return None if found is None else Answer(*found)

    def net(self, board: str, name: str) -> tuple[str, str] | None:
        """Return (the envelope with a NUL for the answer, the net's JSON); None if not known."""
        found = self._read(board, _NETS)
        return (found[0], found[1][name]) if found is not None and name in found[1] else None

    def has_nets(self, board: str) -> bool:
        """Return whether the nets of the board are there."""
        return self._read(board, _NETS) is not None

    def keep(
        self,
        board: str,
        dependencies: Iterable[Dependency],
        question: str,
        answer: Answer,
        nets: Iterable[tuple[str, str]] = (),
        envelope: str = "",
    ) -> bool:
        """Keep an answer, and the nets where they are given; return whether that went well."""
        known = [tuple(each) for each in dependencies]
        try:
            if not os.path.exists(self.folder):  # noqa: PTH110
                os.makedirs(self.folder, mode=0o700, exist_ok=True)  # noqa: PTH103
                with suppress(OSError):  # what versions before the first of these files kept
                    os.unlink(os.path.join(os.path.dirname(self.folder), "answers-1.sqlite"))  # noqa: PTH108, PTH118, PTH120
            self._write(board, question, known, tuple(answer))
            if envelope:
                self._write(board, _NETS, known, (envelope, dict(nets)))
            self._bound()
        except OSError:
            return False
        return True

    def _path(self, board: str, question: str) -> str:
        return os.path.join(self.folder, f"{_crc(board):08x}-{_crc(question):08x}")  # noqa: PTH118

    def _read(self, board: str, question: str) -> Any:
        """Return what was kept, None where it is not there, damaged, or not true any more."""
        path = self._path(board, question)
        try:
            with open(path, "rb") as file:  # noqa: PTH123
                data = file.read()
            if zlib.crc32(data[4:]).to_bytes(4, "big") != data[:4]:
                return None
            asked, known, kept = marshal.loads(data[4:])  # noqa: S302 - what we wrote, by its sum
            if asked != (self.program, board, question):
                return None
            if not known or not all(_is_unchanged(Dependency(*each)) for each in known):
                return None
            if os.stat(path).st_mtime + USED_STEP_S < time.time():  # noqa: PTH116
                with suppress(OSError):  # read-only: then the order stays as it is
                    os.utime(path)
        except (OSError, ValueError, TypeError, EOFError):
            return None
        return kept

    def _write(self, board: str, question: str, known: list[tuple[Any, ...]], kept: Any) -> None:
        """Write a file whole or not at all; a second terminal writes its own."""
        data = marshal.dumps(((self.program, board, question), known, kept))
        path = self._path(board, question)
        temporary = f"{path}.{os.getpid()}"
        try:
            with open(temporary, "wb") as file:  # noqa: PTH123
                file.write(zlib.crc32(data).to_bytes(4, "big") + data)
            os.replace(temporary, path)  # noqa: PTH105
        finally:
            with suppress(OSError):
                os.unlink(temporary)  # noqa: PTH108

    def _bound(self) -> None:
        """Drop the files not asked for longest, until what is left is within the bound."""
        with os.scandir(self.folder) as entries:
            found = [(entry.stat(), entry.path) for entry in entries]
        found.sort(key=lambda each: each[0].st_mtime_ns, reverse=True)
        total = 0
        for status, path in found:
            total += max(status.st_size, BLOCK_BYTES)
            if total > self.most_bytes:
                with suppress(OSError):
                    os.unlink(path)  # noqa: PTH108


def _crc(text: str) -> int:
    return zlib.crc32(text.encode("utf-8", "surrogatepass"))
