"""Answers given before, kept in the user's cache folder so that they need not be found anew.

One SQLite file. A *board* row stands for what a user named (words and folder) and lists every file
and folder its answers hang on; a *net* row is the JSON of one net of it; an *answer* row is what a
command wrote. A row is only used while each file is what it was, and while the program is the one
that wrote it. Rows carry a checksum, the file is bounded, and whatever goes wrong with it is the
same as having no cache: it is never the only place of anything.

This module is what a repeated question loads, so it imports little, and nothing of the house.
"""

from __future__ import annotations

import os
import sqlite3
import sys
import time
import zlib
from collections.abc import Callable, Iterable
from contextlib import closing, suppress
from typing import NamedTuple, TypeVar

__all__ = ["MOST_BYTES", "Answer", "Cache", "Dependency", "cache_folder", "depend_on"]

#: Rows beyond this are dropped, boards that were not asked for longest first.
MOST_BYTES = 256 * 1024 * 1024
#: Answers kept for one board, the oldest are dropped.
MOST_ANSWERS = 500
FILE_NAME = "answers-1.sqlite"  # the number is that of the tables below
#: A file changed this shortly before it was looked at may change again within one tick of its
#: clock, so its content is looked at instead of its times. From memory: FAT's tick is 2 s.
UNSETTLED_NS = 2_000_000_000
#: How old the note of a board's last use may get before it is written anew.
USED_STEP_S = 3600
WAIT_S = 0.2  # for another process that writes

_Found = TypeVar("_Found")

_TABLES = """
CREATE TABLE board (id INTEGER PRIMARY KEY, name TEXT UNIQUE, program TEXT, used INTEGER,
                    bytes INTEGER, envelope TEXT, crc INTEGER);
CREATE TABLE dependency (board INTEGER, path TEXT, size INTEGER, changed INTEGER, inode INTEGER,
                         seen INTEGER, content TEXT);
CREATE TABLE net (board INTEGER, name TEXT, answer TEXT, crc INTEGER);
CREATE TABLE answer (board INTEGER, question TEXT, out TEXT, note TEXT, crc INTEGER);
CREATE INDEX dependency_board ON dependency (board);
CREATE UNIQUE INDEX net_name ON net (board, name);
CREATE UNIQUE INDEX answer_question ON answer (board, question);
"""


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
        if (now.st_size, now.st_ctime_ns, now.st_ino) == (
            known.size,
            known.changed,
            known.inode,
        ) and known.changed + UNSETTLED_NS < known.seen:
            return True
        return _content(known.path) == known.content
    except OSError:
        return False


def _crc(*texts: str) -> int:
    total = 0
    for text in texts:
        total = zlib.crc32(text.encode("utf-8", "surrogatepass"), total)
    return total


class Cache:
    """The cache in a folder.

    Args:
        folder: where the file is, or is made; `cache_folder()` for the user's own.
        program: the version that asks: rows of another are not used.
        most_bytes: bound on all rows together.
    """

    def __init__(self, folder: str, program: str, most_bytes: int = MOST_BYTES) -> None:
        self.path = os.path.join(folder, FILE_NAME)  # noqa: PTH118
        self.program = program
        self.most_bytes = most_bytes

    def answer(self, board: str, question: str) -> Answer | None:
        """Return what was answered to the question, None if it is not known any more."""

        def look(base: sqlite3.Connection) -> Answer | None:
            found = self._board(base, board)
            if found is None:
                return None
            row = base.execute(
                "SELECT out, note, crc FROM answer WHERE board = ? AND question = ?",
                (found[0], question),
            ).fetchone()
            if row is None or _crc(row[0], row[1]) != row[2]:
                return None
            return Answer(row[0], row[1])

        return self._looked_up(look)

    def net(self, board: str, name: str) -> tuple[str, str] | None:
        """Return (the envelope with a NUL for the answer, the net's JSON); None if not known."""

        def look(base: sqlite3.Connection) -> tuple[str, str] | None:
            found = self._board(base, board)
            if found is None or not found[1]:
                return None
            row = base.execute(
                "SELECT answer, crc FROM net WHERE board = ? AND name = ?", (found[0], name)
            ).fetchone()
            if row is None or _crc(row[0]) != row[1]:
                return None
            return found[1], row[0]

        return self._looked_up(look)

    def has_nets(self, board: str) -> bool:
        """Return whether the nets of the board are there."""
        found = self._looked_up(lambda base: self._board(base, board))
        return found is not None and bool(found[1])

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
        try:
            with closing(self._open()) as base, base:
                base.execute("BEGIN IMMEDIATE")
                found = self._board(base, board)
                if found is None:
                    self._drop(base, "name = ?", board)
                    row = base.execute(
                        "INSERT INTO board (name, program, used, bytes, envelope, crc) "
                        "VALUES (?, ?, ?, 0, '', 0)",
                        (board, self.program, int(time.time())),
                    ).lastrowid
                    base.executemany(
                        "INSERT INTO dependency VALUES (?, ?, ?, ?, ?, ?, ?)",
                        ((row, *each) for each in dependencies),
                    )
                else:
                    row = found[0]
                base.execute(
                    "INSERT OR REPLACE INTO answer VALUES (?, ?, ?, ?, ?)",
                    (row, question, *answer, _crc(*answer)),
                )
                base.execute(
                    "DELETE FROM answer WHERE board = ? AND rowid NOT IN (SELECT rowid FROM answer "
                    "WHERE board = ? ORDER BY rowid DESC LIMIT ?)",
                    (row, row, MOST_ANSWERS),
                )
                if envelope:
                    base.execute("DELETE FROM net WHERE board = ?", (row,))
                    base.executemany(
                        "INSERT INTO net VALUES (?, ?, ?, ?)",
                        ((row, name, text, _crc(text)) for name, text in nets),
                    )
                    base.execute(
                        "UPDATE board SET envelope = ?, crc = ? WHERE id = ?",
                        (envelope, _crc(envelope), row),
                    )
                self._bound(base, row)
        except sqlite3.DatabaseError as error:
            self._discard_if_damaged(error)
            return False
        except (OSError, ValueError):  # ValueError: a name that is no text (a path's raw bytes)
            return False
        return True

    def _bound(self, base: sqlite3.Connection, kept: int | None) -> None:
        """Drop the boards not asked for longest, until what is left is within the bound."""
        base.execute(
            "UPDATE board SET bytes = 200 + (SELECT coalesce(sum(length(answer) + length(name) "
            "+ 50), 0) FROM net WHERE board = id) + (SELECT coalesce(sum(length(out) + length(note)"
            "+ length(question) + 50), 0) FROM answer WHERE board = id) WHERE id = ?",
            (kept,),
        )
        total = 0
        for row, size in base.execute(
            "SELECT id, bytes FROM board ORDER BY id = ? DESC, used DESC, id DESC", (kept,)
        ).fetchall():
            total += size
            if total > self.most_bytes:
                self._drop(base, "id = ?", row)

    @staticmethod
    def _drop(base: sqlite3.Connection, which: str, value: object) -> None:
        for (row,) in base.execute(f"SELECT id FROM board WHERE {which}", (value,)).fetchall():  # noqa: S608 - our own words
            for table in ("dependency", "net", "answer"):
                base.execute(f"DELETE FROM {table} WHERE board = ?", (row,))  # noqa: S608 - same
            base.execute("DELETE FROM board WHERE id = ?", (row,))

    def _board(self, base: sqlite3.Connection, name: str) -> tuple[int, str] | None:
        """Return (row, envelope) of a board whose files are what they were."""
        found = base.execute(
            "SELECT id, program, used, envelope, crc FROM board WHERE name = ?", (name,)
        ).fetchone()
        if found is None:
            return None
        row, program, used, envelope, crc = found
        if program != self.program or _crc(envelope) != crc:
            return None
        known = base.execute(
            "SELECT path, size, changed, inode, seen, content FROM dependency WHERE board = ?",
            (row,),
        ).fetchall()
        if not known or not all(_is_unchanged(Dependency(*each)) for each in known):
            return None
        now = int(time.time())
        if used + USED_STEP_S < now:
            with suppress(sqlite3.OperationalError):  # read-only: then the order stays as it is
                base.execute("UPDATE board SET used = ? WHERE id = ?", (now, row))
        return row, envelope

    def _looked_up(self, look: Callable[[sqlite3.Connection], _Found | None]) -> _Found | None:
        """Return what is found in the file; None where there is none, or a damaged one."""
        try:
            if not os.path.exists(self.path):  # noqa: PTH110
                return None
            with closing(sqlite3.connect(self.path, timeout=WAIT_S, isolation_level=None)) as base:
                return look(base)
        except sqlite3.DatabaseError as error:
            self._discard_if_damaged(error)
        except UnicodeError:
            return None  # a name that is no text; it cannot have been kept
        except (TypeError, ValueError, AttributeError, OSError):
            self._discard()  # rows of another shape than ours
        return None

    def _open(self) -> sqlite3.Connection:
        folder = os.path.dirname(self.path)  # noqa: PTH120
        os.makedirs(folder, mode=0o700, exist_ok=True)  # noqa: PTH103
        base = sqlite3.connect(self.path, timeout=WAIT_S, isolation_level=None)
        try:
            base.execute("PRAGMA synchronous = NORMAL")
            if not base.execute("SELECT name FROM sqlite_master WHERE name = 'board'").fetchone():
                base.executescript(f"BEGIN IMMEDIATE;{_TABLES}COMMIT;")
        except BaseException:
            base.close()
            raise
        return base

    def _discard_if_damaged(self, error: sqlite3.DatabaseError) -> None:
        """Do away with a file that is no cache; one that is busy, full or read-only may stay."""
        if not isinstance(error, sqlite3.OperationalError) or "no such" in str(error):
            self._discard()

    def _discard(self) -> None:
        for path in (self.path, f"{self.path}-journal"):
            with suppress(OSError):
                os.unlink(path)  # noqa: PTH108
