"""The job file: readable, locked, atomic, undoable; a killed writer loses at most its own entry."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import pytest

from nettrace.bench.job import (
    BoardReference,
    Damage,
    Entry,
    Fit,
    Job,
    Mark,
    Remark,
    Undo,
    change_job,
    create_job,
    fold,
    load_job,
    now,
    previous_path,
)
from nettrace.errors import ExitCode, JobUnusable


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "wren.job"
    create_job(path, Job("Wren", now(), BoardReference("samples/wren")))
    return path


def remark(text: str) -> object:
    def add(job: Job) -> Sequence[Entry]:
        return [Remark(number=job.next_number(), time=now(), note=text)]

    return add


def add(path: Path, text: str) -> None:
    change_job(path, remark(text))  # type: ignore[arg-type]


def notes(path: Path) -> list[str]:
    return [entry.note for entry in load_job(path).entries]


def test_entries_stand_in_order_one_a_line(path: Path) -> None:
    add(path, "first")
    add(path, "second")
    assert notes(path) == ["first", "second"]
    lines = path.read_text().splitlines()
    assert sum('"kind":"remark"' in line for line in lines) == 2
    assert json.loads(path.read_text())["nettrace"]["what"] == "job"


def test_the_state_before_is_kept(path: Path) -> None:
    add(path, "first")
    add(path, "second")
    assert notes(previous_path(path)) == ["first"]


def test_a_new_job_never_replaces_one(path: Path) -> None:
    with pytest.raises(JobUnusable, match="is there already"):
        create_job(path, Job("Other", now(), BoardReference("x")))


@pytest.mark.parametrize(
    ("damage", "message"),
    [
        (lambda raw: raw[: len(raw) // 2], "damaged job file"),
        (lambda raw: raw[:0], "damaged job file"),
        (lambda raw: raw.replace(b'"schema":1', b'"schema":2'), "newer layout"),
        (lambda raw: raw.replace(b'"what":"job"', b'"what":"board"'), "holds a board"),
        (lambda raw: raw.replace(b'"kind":"remark"', b'"kind":"song"'), "Invalid value 'song'"),
        (lambda raw: raw.replace(b'"number":1', b'"number":"one"'), "entries[0].number"),
        (lambda raw: b"\xff" + raw, "damaged job file"),
    ],
)
def test_a_damaged_or_newer_file_is_refused_and_left_alone(
    path: Path, damage: object, message: str
) -> None:
    add(path, "first")
    path.write_bytes(damage(path.read_bytes()))  # type: ignore[operator]
    before = path.read_bytes()
    with pytest.raises(JobUnusable) as caught:
        add(path, "second")
    assert message in str(caught.value)
    assert caught.value.exit_code is ExitCode.JOB
    assert path.read_bytes() == before


def test_numbers_that_repeat_are_damage(path: Path) -> None:
    add(path, "first")
    text = path.read_text()
    line = next(line for line in text.splitlines() if '"remark"' in line)
    path.write_text(text.replace(line, f"{line},\n{line}"))
    with pytest.raises(JobUnusable, match="repeat"):
        load_job(path)


TERMINAL = """
import sys
from pathlib import Path
from nettrace.bench.job import Remark
from nettrace.bench.job import change_job, now
for index in range(15):
    note = f"{sys.argv[2]}{index}"
    change_job(
        Path(sys.argv[1]), lambda job: [Remark(number=job.next_number(), time=now(), note=note)]
    )
"""


def test_two_terminals_lose_nothing_of_each_other(path: Path) -> None:
    terminals = [
        subprocess.Popen([sys.executable, "-c", TERMINAL, str(path), name]) for name in "ab"
    ]
    assert [terminal.wait(60) for terminal in terminals] == [0, 0]
    found = notes(path)
    assert sorted(found) == sorted(f"{name}{index}" for name in "ab" for index in range(15))
    for name in "ab":
        own = [note for note in found if note.startswith(name)]
        assert own == [f"{name}{index}" for index in range(15)]


def test_a_held_lock_is_waited_for_and_then_named(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fcntl = pytest.importorskip("fcntl")
    monkeypatch.setattr("nettrace.bench.job.LOCK_SECONDS", 0.1)
    with path.with_name(f".{path.name}.lock").open("w") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        with pytest.raises(JobUnusable, match="another process"):
            add(path, "late")
    add(path, "now")
    assert notes(path) == ["now"]


WRITER = """
import sys
from pathlib import Path
from nettrace.bench.job import Remark
from nettrace.bench.job import change_job, now
path, start = Path(sys.argv[1]), int(sys.argv[2])
for index in range(start, start + 10_000):
    change_job(path, lambda job: [Remark(number=job.next_number(), time=now(), note=str(index))])
    sys.stdout.write(f"{index}\\n")
    sys.stdout.flush()
"""

#: Kills of one run of the suite; NETTRACE_KILLS=1000 runs the thousand by hand.
KILLS = int(os.environ.get("NETTRACE_KILLS", "150"))


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs signals of POSIX systems")
def test_a_killed_writer_loses_at_most_the_entry_being_typed(path: Path) -> None:
    """Every entry that was reported done is there, in order, after a kill at any instant."""
    chance = random.Random(7)
    done = 0
    for _ in range(KILLS):
        if len(load_job(path).entries) > 150:  # keep the file small, the test quick
            path.unlink()
            create_job(path, Job("Wren", now(), BoardReference("samples/wren")))
            done = 0
        with subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path), str(done)], stdout=subprocess.PIPE, text=True
        ) as worker:
            assert worker.stdout is not None
            first = worker.stdout.readline()  # it is running
            time.sleep(chance.random() * 0.03)
            worker.kill()
            reported = [int(line) for line in [first, *worker.stdout.read().splitlines()] if line]
        found = [int(note) for note in notes(path)]
        assert found == list(range(len(found)))
        assert len(found) >= reported[-1] + 1  # nothing that was reported is lost
        assert len(found) <= reported[-1] + 2  # and at most the entry under way is there besides
        done = len(found)
        if previous_path(path).exists():
            load_job(previous_path(path))


def test_undo_takes_the_entry_back_and_keeps_it_in_the_file(path: Path) -> None:
    def mark(job: Job) -> Sequence[Entry]:
        return [Mark(number=job.next_number(), time=now(), at="R1", damage=Damage.MISSING)]

    change_job(path, mark)
    job = change_job(path, lambda job: [Undo(number=job.next_number(), time=now(), entry=1)])
    assert fold(job).damaged == {}
    assert len(job.entries) == 2
    assert job.undone() == {1}


def test_a_fold_follows_marks_and_refits_in_time() -> None:
    def entries() -> Sequence[Entry]:
        time = now()
        return (
            Mark(number=1, time=time, at="R1", damage=Damage.MISSING),
            Mark(number=2, time=time, at="R2", damage=Damage.CRACKED),
            Fit(number=3, time=time, at="R1"),
            Mark(number=4, time=time, at="R1", damage=Damage.SHIFTED),
            Mark(number=5, time=time, at="R1.1", to="R2.1", damage=Damage.BRIDGED),
            Mark(number=6, time=time, at="R2.1", damage=Damage.SOUND),
        )

    state = fold(Job("t", now(), BoardReference("x"), tuple(entries())))
    assert state.open_positions == ("R1", "R2")
    assert state.missing == ("R2",)
    assert state.bridges == ()
