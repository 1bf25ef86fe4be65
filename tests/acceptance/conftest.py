"""The command line as a user's script calls it: words in, exit code and JSON out.

A board is read once for all questions about it; everything else is the command's own work.
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any, NamedTuple

import pytest

import nettrace.loading
from nettrace.circuit.circuit import Circuit
from nettrace.cli.main import main
from tests.conftest import ROOT, boards_folder

#: Name of the sample board among the boards.
WREN = "wren"


class Answer(NamedTuple):
    """What a run came to."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> dict[str, Any]:
        assert self.out, self.err
        found: dict[str, Any] = json.loads(self.out)
        return found


Ask = Callable[..., Answer]


@pytest.fixture(scope="session")
def ask() -> Ask:
    """Run a command in this process; a board that was read before is not read again."""
    read = nettrace.loading.load
    known: dict[tuple[object, ...], Circuit] = {}

    def load(path: Path | str, with_files: tuple[str, ...] = (), **options: Any) -> Circuit:
        key = (str(path), tuple(with_files), repr(sorted(options.items())))
        if key not in known:
            known[key] = read(path, with_files, **options)
        return known[key]

    def call(*words: object) -> Answer:
        out, err = io.StringIO(), io.StringIO()
        # for this call alone: other tests read boards of the same name elsewhere
        with pytest.MonkeyPatch.context() as patch, redirect_stdout(out), redirect_stderr(err):
            patch.setattr(nettrace.loading, "load", load)
            code = main([str(word) for word in words])
        return Answer(code, out.getvalue(), err.getvalue())

    return call


def truth_files() -> list[dict[str, Any]]:
    """Return the truth of every file of every board, in the order of file names."""
    folder = boards_folder()
    if folder is None:
        return []
    return [
        entry
        for path in sorted((folder / "truth").glob("*.json"))
        for entry in json.loads(path.read_text(encoding="utf-8"))["files"]
    ]


def labelled_boards() -> list[dict[str, Any]]:
    """Return the labels of every labelled board."""
    folder = boards_folder()
    if folder is None:
        return []
    return [
        json.loads(path.read_text(encoding="utf-8"))
        for path in sorted((folder / "labels").glob("*.json"))
    ]


def sample_files() -> list[Path]:
    """Return every file of the sample board that a reader takes."""
    inside = [*(ROOT / "samples" / "wren").iterdir(), *(ROOT / "samples" / "formats").iterdir()]
    return sorted(inside)
