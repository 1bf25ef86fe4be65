"""A job file with its board: read both, and say where the board changed since."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from nettrace.bench.job import (
    BoardReference,
    Job,
    JobState,
    SourceReference,
    create_job,
    fold,
    load_job,
    now,
)
from nettrace.errors import JobUnusable, NettraceError, Warning
from nettrace.loading import load

if TYPE_CHECKING:
    from nettrace.circuit.circuit import Circuit

__all__ = ["OpenJob", "open_job", "start_job"]


@dataclass(frozen=True, slots=True)
class OpenJob:
    """A job on the bench: the file, what it says, and the board it is about."""

    path: Path
    job: Job
    state: JobState
    circuit: Circuit
    warnings: tuple[Warning, ...]

    def keys(self, names: Sequence[str]) -> tuple[str, ...]:
        """Return those names that are part keys of the board."""
        return tuple(name for name in names if name in self.circuit.board.part_by_key)


def start_job(
    path: Path,
    board: str,
    *,
    title: str = "",
    with_files: Sequence[str] = (),
    format_name: str | None = None,
    rails: Mapping[str, float] | None = None,
) -> OpenJob:
    """Open a new job on a board.

    Raises:
        JobUnusable: the file is there already or cannot be written.
        BadInput: the board cannot be read.
    """
    circuit = load(board, with_files, format_name=format_name, rails=rails or {})
    reference = BoardReference(
        path=_relative(board, path),
        with_files=tuple(_relative(extra, path) for extra in with_files),
        format=format_name,
        rails=dict(rails or {}),
        sources=_sources(circuit),
    )
    job = Job(title=title or circuit.board.name, opened=now(), board=reference)
    create_job(path, job)
    return OpenJob(path, job, fold(job), circuit, ())


def open_job(path: Path) -> OpenJob:
    """Read a job and its board again.

    Raises:
        JobUnusable: the job file is missing, damaged or newer, or its board is not where it was.
    """
    job = load_job(path)
    reference = job.board
    try:
        circuit = load(
            _found(reference.path, path),
            [_found(extra, path) for extra in reference.with_files],
            format_name=reference.format,
            rails=reference.rails,
        )
    except NettraceError as error:
        raise JobUnusable(
            f"the board of this job cannot be read: {error.found}",
            hint=f"It was {reference.path}; put it back, or open a new job.",
            place=error.place,
        ) from None
    return OpenJob(path, job, fold(job), circuit, _changes(reference, circuit))


def _sources(circuit: Circuit) -> tuple[SourceReference, ...]:
    return tuple(
        SourceReference(Path(source.path).name, source.format, source.digest)
        for source in circuit.board.sources
    )


def _changes(reference: BoardReference, circuit: Circuit) -> tuple[Warning, ...]:
    before = {source.path: source.digest for source in reference.sources}
    after = {source.path: source.digest for source in _sources(circuit)}
    found = []
    for name in sorted(before.keys() | after.keys()):
        if before.get(name) != after.get(name):
            what = (
                "was added"
                if name not in before
                else "is gone"
                if name not in after
                else ("changed")
            )
            found.append(Warning("board-changed", f"{name} {what} since the job was opened", None))
    return tuple(found)


def _relative(board: str, job: Path) -> str:
    """Return the board's path as seen from the job file's folder, where it lies below or beside."""
    import os

    try:
        return Path(os.path.relpath(Path(board).resolve(), job.resolve().parent)).as_posix()
    except ValueError:  # another drive
        return str(Path(board).resolve())


def _found(name: str, job: Path) -> str:
    beside = job.resolve().parent / name
    try:
        # shown as the user would type it from here
        import os

        return os.path.relpath(beside)
    except ValueError:
        return str(beside)
