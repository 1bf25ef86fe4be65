"""The job file on disk: readable, validated, locked while it is changed, never half-written.

A change is: take the lock, read and check the file, add entries, write a temporary file beside
it, flush it to the disk, keep the state before as `NAME.previous`, rename. A process that is
killed at any instant leaves the old file or the new one, and loses at most the entry being typed.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path

import msgspec

from nettrace.bench.job import SCHEMA, Entry, Job
from nettrace.errors import JobUnusable, Place
from nettrace.version import __version__

__all__ = ["change_job", "create_job", "load_job", "now", "previous_path"]

#: How long a second terminal waits for the lock before it gives up, seconds.
LOCK_SECONDS = 3.0
_RETRY_SECONDS = 0.02


class _Head(msgspec.Struct):
    schema: int
    version: str
    what: str


class _HeadOnly(msgspec.Struct):
    nettrace: _Head


class _Whole(msgspec.Struct):
    nettrace: _Head
    job: Job


def now() -> str:
    """Return the time of an entry: UTC, to the second, ISO 8601."""
    return datetime.now(UTC).replace(microsecond=0).isoformat()


def previous_path(path: Path) -> Path:
    """Return where the state before the last change is kept."""
    return path.with_name(path.name + ".previous")


def load_job(path: Path) -> Job:
    """Read and check a job file.

    Raises:
        JobUnusable: it is not there, cannot be read, is damaged, or is of a newer version.
    """
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise JobUnusable(
            f"no job file {path}", hint="Open one: nettrace job open JOB BOARD."
        ) from None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise JobUnusable(f"cannot open {path} ({reason})") from None
    return _decode(path, raw)


def _decode(path: Path, raw: bytes) -> Job:
    try:
        head = msgspec.json.decode(raw, type=_HeadOnly).nettrace
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise _damaged(path, str(error)) from None
    if head.what != "job":
        raise JobUnusable(f"{path} holds a {head.what}", expected="a job")
    if head.schema > SCHEMA:
        raise JobUnusable(
            f"{path} was written by nettrace {head.version} in a newer layout ({head.schema})",
            hint="Update nettrace; the file was left as it is.",
        )
    try:
        job = msgspec.json.decode(raw, type=_Whole).job
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise _damaged(path, str(error)) from None
    numbers = [entry.number for entry in job.entries]
    if numbers != sorted(set(numbers)):
        raise _damaged(path, "entry numbers repeat or go backwards")
    return job


def _damaged(path: Path, why: str) -> JobUnusable:
    kept = previous_path(path)
    hint = "The file was left as it is."
    if kept.is_file():
        hint += f" The state before its last change is {kept}."
    return JobUnusable(
        f"a damaged job file: {why.removesuffix('.')}", hint=hint, place=Place(str(path))
    )


def encode(job: Job) -> bytes:
    """Return the file's bytes: one line an entry, so that people and diffs can read it."""
    head = {"schema": SCHEMA, "version": __version__, "what": "job"}
    entries = ",\n  ".join(msgspec.json.encode(entry).decode() for entry in job.entries)
    body = [
        f'  "title": {msgspec.json.encode(job.title).decode()}',
        f'  "opened": {msgspec.json.encode(job.opened).decode()}',
        f'  "board": {msgspec.json.encode(job.board).decode()}',
        f'  "entries": [\n  {entries}\n  ]' if entries else '  "entries": []',
    ]
    inner = ",\n".join(body)
    first = f'{{"nettrace": {msgspec.json.encode(head).decode()},'
    return f'{first}\n "job": {{\n{inner}\n }}\n}}\n'.encode()


def create_job(path: Path, job: Job) -> None:
    """Write a new job file; one that is there is never replaced.

    Raises:
        JobUnusable: it is there already, or cannot be written.
    """
    with _locked(path):
        if path.exists():
            raise JobUnusable(
                f"{path} is there already", hint="Go on with it, or choose another name."
            )
        _write(path, encode(job))


def change_job(path: Path, add: Callable[[Job], Sequence[Entry]]) -> Job:
    """Add entries to a job and return it as it then is on the disk.

    Args:
        path: the job file.
        add: job as it stands -> entries to add; they get their numbers from `next_number` on.

    Raises:
        JobUnusable: locked by another process, damaged, newer, or it cannot be written.
    """
    with _locked(path):
        job = load_job(path)
        added = tuple(add(job))
        if not added:
            return job
        changed = msgspec.structs.replace(job, entries=(*job.entries, *added))
        _keep_previous(path)
        _write(path, encode(changed))
        return changed


@contextmanager
def _locked(path: Path) -> Iterator[None]:
    """Hold the job's lock; the operating system lets go of it if the process dies."""
    lock = path.with_name(f".{path.name}.lock")
    try:
        handle = os.open(lock, os.O_RDWR | os.O_CREAT, 0o666)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise JobUnusable(f"cannot write beside {path} ({reason})") from None
    try:
        _take(handle, path)
        yield
    finally:
        os.close(handle)


def _take(handle: int, path: Path) -> None:
    deadline = time.monotonic() + LOCK_SECONDS
    while not _try_lock(handle):
        if time.monotonic() > deadline:
            raise JobUnusable(
                f"{path} is being changed by another process",
                hint="Wait for it, or close the other terminal.",
            )
        time.sleep(_RETRY_SECONDS)


def _try_lock(handle: int) -> bool:
    try:
        import fcntl
    except ModuleNotFoundError:  # Windows
        import msvcrt

        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        except OSError:
            return False
        return True
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _keep_previous(path: Path) -> None:
    _write(previous_path(path), path.read_bytes())


def _write(path: Path, data: bytes) -> None:
    temporary = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        with temporary.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
        _sync_folder(path.parent)
    except OSError as error:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)
        reason = (error.strerror or str(error)).lower()
        raise JobUnusable(f"cannot write {path} ({reason})", hint="Nothing was changed.") from None


def _sync_folder(folder: Path) -> None:
    # a rename is on the disk only when its folder is; some systems cannot open folders
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
