"""What the job commands share: the job file, `--json`, `--debug`."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, ParamSpec, TypeVar

import click

from nettrace.cli.completion import complete_files
from nettrace.views.text import write_json, write_note

if TYPE_CHECKING:
    from collections.abc import Sequence

    from nettrace.bench.job import Entry, Job
    from nettrace.job_loading import OpenJob

__all__ = ["change_bench", "job_options", "open_bench"]

_P = ParamSpec("_P")
_R = TypeVar("_R")


def job_options(command: Callable[_P, _R]) -> Callable[..., _R]:
    """Add JOB, `--json` and `--debug`; the command gets `path` and `as_json`."""

    @click.argument("path", metavar="JOB", shell_complete=complete_files)
    @click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
    @click.option("--debug", is_flag=True, help="Show where in the program an error arose.")
    @wraps(command)
    def wrapped(*args: _P.args, **kwargs: _P.kwargs) -> _R:
        kwargs.pop("debug")  # main() looks for it itself
        return command(*args, **kwargs)

    return wrapped


def open_bench(path: str) -> OpenJob:
    """Read a job and its board; what changed on the board is said on stderr."""
    from nettrace.job_loading import open_job

    opened = open_job(Path(path))
    for warning in opened.warnings:
        write_note(str(warning))
    return opened


def change_bench(opened: OpenJob, add: Callable[[Job], Sequence[Entry]], as_json: bool) -> OpenJob:
    """Add entries and say what was entered; entries of a second terminal are kept."""
    from dataclasses import replace

    from nettrace.bench.job import Undo, change_job, fold
    from nettrace.views.encode import encode
    from nettrace.views.job import entry_words

    added: list[Entry] = []

    def remember(job: Job) -> Sequence[Entry]:
        added.extend(add(job))
        return added

    job = change_job(opened.path, remember)
    changed = replace(opened, job=job, state=fold(job))
    if as_json:
        write_json(opened.circuit.board, "job", encode(changed))
        return changed
    by_number = {entry.number: entry for entry in job.entries}
    for entry in added:
        if isinstance(entry, Undo):
            write_note(f"taken back: {entry_words(by_number[entry.entry])}")
        else:
            write_note(f"{entry.number}: {entry_words(entry)}")
    return changed
