"""The cache of answers: it knows what it kept, notices what changed, and never gets in the way."""

from __future__ import annotations

import os
import random
import time
from pathlib import Path

import platformdirs
import pytest

from nettrace.cache import Answer, Cache, Dependency, cache_folder, depend_on

BOARD, QUESTION = "board", "net SDA"
ANSWER = Answer("SDA is a bus\n", "note: 1 warning\n")
NETS = [("SDA", '{"name": "SDA"}'), ("SCL", '{"name": "SCL"}')]


@pytest.fixture
def source(tmp_path: Path) -> Path:
    path = tmp_path / "board.net"
    path.write_text("(export)")
    return path


@pytest.fixture
def cache(tmp_path: Path) -> Cache:
    return Cache(str(tmp_path / "cache"), "1.0")


def seen(path: Path) -> Dependency:
    found = depend_on(str(path), time.time_ns() + 1)
    assert found is not None
    return found


def fill(cache: Cache, source: Path) -> None:
    assert cache.keep(BOARD, [seen(source)], QUESTION, ANSWER, NETS, "<\0>")


def test_the_folder_is_what_platformdirs_says(monkeypatch: pytest.MonkeyPatch) -> None:
    for value in (None, "", "/elsewhere"):
        if value is None:
            monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
        else:
            monkeypatch.setenv("XDG_CACHE_HOME", value)
        assert cache_folder() == platformdirs.user_cache_dir("nettrace")


def test_what_was_kept_is_known(cache: Cache, source: Path) -> None:
    assert cache.answer(BOARD, QUESTION) is None
    fill(cache, source)
    assert cache.answer(BOARD, QUESTION) == ANSWER
    assert cache.net(BOARD, "SCL") == ("<\0>", '{"name": "SCL"}')
    assert cache.net(BOARD, "XYZ") is None
    assert cache.answer(BOARD, "net SCL") is None
    assert cache.answer("other", QUESTION) is None


def test_a_changed_source_is_noticed_even_with_its_old_times(cache: Cache, source: Path) -> None:
    fill(cache, source)
    before = source.stat()
    source.write_text("(exporT)")  # same length
    os.utime(source, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert cache.answer(BOARD, QUESTION) is None
    assert cache.net(BOARD, "SDA") is None
    source.write_text("(export)")  # what it was
    assert cache.answer(BOARD, QUESTION) == ANSWER


def test_a_source_that_is_gone_is_noticed(cache: Cache, source: Path) -> None:
    fill(cache, source)
    source.unlink()
    assert cache.answer(BOARD, QUESTION) is None


def test_a_new_file_in_a_folder_is_noticed(cache: Cache, source: Path) -> None:
    folder = source.parent / "boards"
    folder.mkdir()
    cache.keep(BOARD, [seen(folder)], QUESTION, ANSWER)
    assert cache.answer(BOARD, QUESTION) == ANSWER
    (folder / "more.net").touch()
    assert cache.answer(BOARD, QUESTION) is None


def test_a_file_that_changed_while_it_was_read_is_not_depended_on(source: Path) -> None:
    assert depend_on(str(source), source.stat().st_ctime_ns) is None
    assert depend_on(str(source.parent / "none"), time.time_ns()) is None


def test_another_version_of_the_program_asks_anew(cache: Cache, source: Path) -> None:
    fill(cache, source)
    folder = str(Path(cache.folder).parent)
    newer = Cache(folder, "1.1")
    assert newer.answer(BOARD, QUESTION) is None
    fill(newer, source)
    assert newer.answer(BOARD, QUESTION) == ANSWER
    assert Cache(folder, "1.0").answer(BOARD, QUESTION) is None  # one file for a question


def test_what_was_not_asked_for_longest_goes_when_there_is_too_much(
    tmp_path: Path, source: Path
) -> None:
    cache = Cache(str(tmp_path / "cache"), "1.0", most_bytes=50_000)
    long = Answer("x" * 10_000, "")
    for number in range(20):
        cache.keep(f"board {number}", [seen(source)], QUESTION, long)
    known = [n for n in range(20) if cache.answer(f"board {n}", QUESTION) is not None]
    assert known == [16, 17, 18, 19]
    assert len(files(cache)) == 4


def files(cache: Cache) -> list[Path]:
    return sorted(Path(cache.folder).iterdir())


def test_any_damage_means_an_empty_cache_or_the_right_answer(cache: Cache, source: Path) -> None:
    fill(cache, source)
    assert len(files(cache)) == 2  # the answer, and the nets
    whole = {path: path.read_bytes() for path in files(cache)}
    chance = random.Random(8)
    for case in range(150):
        for path, content in whole.items():
            damaged = bytearray(content)
            if case % 3 == 0:
                del damaged[chance.randrange(len(damaged)) :]
            else:
                for _ in range(chance.choice((1, 20, 500))):
                    damaged[chance.randrange(len(damaged))] = chance.randrange(256)
            path.write_bytes(damaged)
        assert cache.answer(BOARD, QUESTION) in (None, ANSWER)
        assert cache.net(BOARD, "SDA") in (None, ("<\0>", NETS[0][1]))
        assert cache.keep(BOARD, [seen(source)], "another", ANSWER)
    fill(cache, source)
    assert cache.answer(BOARD, QUESTION) == ANSWER


def test_an_answer_to_another_question_is_not_believed(cache: Cache, source: Path) -> None:
    fill(cache, source)
    other = Path(cache._path(BOARD, "net SCL"))  # as if two questions had one sum
    other.write_bytes(Path(cache._path(BOARD, QUESTION)).read_bytes())
    assert cache.answer(BOARD, "net SCL") is None


def test_no_room_for_it_is_no_fault(tmp_path: Path, source: Path) -> None:
    file = tmp_path / "file"
    file.touch()
    for folder in (file / "below", Path("/proc/none")):
        cache = Cache(str(folder), "1.0")
        assert not cache.keep(BOARD, [seen(source)], QUESTION, ANSWER)
        assert cache.answer(BOARD, QUESTION) is None


def test_names_that_are_no_text_are_kept_too(cache: Cache, source: Path) -> None:
    assert cache.keep("caf\udce9", [seen(source)], QUESTION, ANSWER)
    assert cache.answer("caf\udce9", QUESTION) == ANSWER
