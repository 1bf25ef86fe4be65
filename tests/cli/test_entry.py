"""The door of the program: what it answers from the cache is what the command line would say."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from nettrace.cli import entry

#: What a warm answer must not load.
COMMAND_LINE = {"click", "rich", "json", "nettrace.cli.main", "nettrace.loading", "nettrace.model"}


class Program:
    """Runs the program with a cache folder of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.environment = {**os.environ, "XDG_CACHE_HOME": str(folder / "cache")}

    def run(self, *words: str, **more: str) -> tuple[int, str, str]:
        done = self._run(["-m", "nettrace", *words], more)
        return done.returncode, done.stdout.decode(), done.stderr.decode()

    def modules(self, *words: str) -> set[str]:
        code = (
            "import sys; from nettrace.cli.entry import main; "
            f"main({list(words)!r}); print('LOADED', *sys.modules, file=sys.stderr)"
        )
        shown = self._run(["-c", code], {}).stderr.decode()
        return set(shown.partition("LOADED ")[2].split())

    def _run(self, words: list[str], more: dict[str, str]) -> subprocess.CompletedProcess[bytes]:
        return subprocess.run(
            [sys.executable, *words],
            capture_output=True,
            timeout=60,
            check=False,
            env={**self.environment, **more},
        )


@pytest.fixture
def program(tmp_path: Path) -> Program:
    return Program(tmp_path)


@pytest.fixture
def board(wren: Path, tmp_path: Path) -> str:
    return str(shutil.copy(wren / "wren.net", tmp_path / "wren.net"))


def test_a_question_asked_again_is_answered_without_the_command_line(
    program: Program, board: str
) -> None:
    for words in (("net", board, "GND"), ("summary", board), ("part", board, "U1", "--json")):
        first = program.run(*words)
        assert first[0] == 0
        assert first[1]
        assert program.run(*words) == first
        assert program.run(*words, "--no-cache") == first
        assert not program.modules(*words) & COMMAND_LINE


def test_the_next_net_is_known_too(program: Program, board: str) -> None:
    program.run("summary", board)
    assert not program.modules("net", board, "I2C_SDA", "--json") & COMMAND_LINE
    warm = program.run("net", board, "I2C_SDA", "--json")
    assert warm[0] == 0
    assert warm == program.run("net", board, "I2C_SDA", "--json", "--no-cache")
    assert warm == program.run("net", board, "--json", "I2C_SDA")
    # names that do not stand for one net by their letters take the long way, to the same end
    for name in ("i2c_sda", "I2C*", "none"):
        warm = program.run("net", board, name, "--json")
        assert warm == program.run("net", board, name, "--json", "--no-cache")


def test_a_changed_board_is_read_anew(program: Program, board: str) -> None:
    before = program.run("net", board, "I2C_SDA", "--json")
    path = Path(board)
    path.write_text(path.read_text().replace("I2C_SDA", "I2C_SDX"))
    code, out, err = program.run("net", board, "I2C_SDA", "--json")
    assert (code, out) == (3, "")
    assert "I2C_SDX" in err
    path.write_text(path.read_text().replace("I2C_SDX", "I2C_SDA"))
    assert program.run("net", board, "I2C_SDA", "--json") == before


def test_options_that_change_reading_are_other_questions(program: Program, board: str) -> None:
    plain = program.run("net", board, "I2C_SDA", "--json")
    words = ("net", board, "I2C_SDA", "--json", "--rail", "GND=0.5")
    other = program.run(*words)
    assert program.run(*words) == other
    assert program.run("net", board, "I2C_SDA", "--json") == plain


def test_width_and_encoding_are_part_of_the_question(program: Program, board: str) -> None:
    wide = program.run("net", board, "GND", COLUMNS="100")
    narrow = program.run("net", board, "GND", COLUMNS="60")
    assert wide[1] != narrow[1]
    assert program.run("net", board, "GND", COLUMNS="100") == wide
    plain = program.run("net", board, "GND", PYTHONIOENCODING="ascii")
    assert plain[1].isascii()
    assert program.run("net", board, "GND", PYTHONIOENCODING="ascii") == plain


def test_a_deck_that_draws_in_other_files_is_not_kept(program: Program, tmp_path: Path) -> None:
    deck, models = tmp_path / "deck.cir", tmp_path / "more.inc"
    deck.write_text("* deck\nR1 A B 1k\n.include more.inc\n.end\n")
    models.write_text("R2 B C 2k\n")
    before = program.run("net", str(deck), "B", "--json")
    models.write_text("R2 B A 2k\n")
    after = program.run("net", str(deck), "B", "--json")
    assert before[0] == after[0] == 0
    assert before != after


def test_a_folder_with_one_more_file_is_read_anew(program: Program, board: str) -> None:
    folder = Path(board).parent / "boards"
    folder.mkdir()
    shutil.copy(board, folder)
    assert "1 warning" not in program.run("summary", str(folder))[1]
    (folder / "more.cir").write_text("* more\nR9001 I2C_SDA GND 1k\n.end\n")
    assert "R9001" in program.run("part", str(folder), "R9001")[1]
    assert "R9001" in program.run("net", str(folder), "I2C_SDA")[1]


def test_a_cache_that_cannot_be_written_is_no_fault(program: Program, board: str) -> None:
    (program.folder / "cache").write_text("a file where the folder should be")
    first = program.run("net", board, "GND")
    assert first[0] == 0
    assert program.run("net", board, "GND") == first


@pytest.mark.parametrize("pager", ["cat", "head -n 3"])
def test_on_a_terminal_the_answer_is_the_same_twice(
    program: Program, board: str, pager: str
) -> None:
    shown = []
    for _ in range(2):
        keyboard, terminal = os.openpty()
        with subprocess.Popen(
            [sys.executable, "-m", "nettrace", "net", board, "GND"],
            stdin=terminal,
            stdout=terminal,
            env={**program.environment, "PAGER": pager, "LINES": "10", "TERM": "xterm"},
        ):
            os.close(terminal)
            shown.append(_all_of(keyboard))
        os.close(keyboard)
    assert b"Net GND" in shown[0]
    assert len(shown[0].splitlines()) == 3 or pager == "cat"
    assert shown[0] == shown[1]


def _all_of(keyboard: int) -> bytes:
    """Return what comes to a terminal until its last user is gone."""
    seen = b""
    while True:
        try:
            piece = os.read(keyboard, 100_000)
        except OSError:  # Linux says so by an error, others by an empty piece
            return seen
        if not piece:
            return seen
        seen += piece


def test_a_drawing_asked_for_again_is_drawn_from_its_kept_text(
    program: Program, wren: Path, tmp_path: Path
) -> None:
    board, picture = str(wren / "wren.kicad_pcb"), tmp_path / "area.svg"
    words = ("draw", board, "--around", "J3", "--radius", "4", "-o", str(picture), "--force")
    for more in ((), ("--placed",)):
        first = program.run(*words, *more)
        assert first[0] == 0, first[2]
        before = picture.read_bytes()
        picture.write_text("another")
        assert program.run(*words, *more) == first
        assert picture.read_bytes() == before
        assert not program.modules(*words, *more) & COMMAND_LINE


def test_a_drawing_kept_replaces_no_file_unasked(
    program: Program, wren: Path, tmp_path: Path
) -> None:
    board, picture = str(wren / "wren.kicad_pcb"), tmp_path / "area.dot"
    words = ("draw", board, "--part", "U1", "-o", str(picture))
    assert program.run(*words)[0] == 0
    before = picture.read_bytes()
    code, _, err = program.run(*words)
    assert code == 2
    assert "is there already" in err
    picture.unlink()
    assert program.run(*words)[0] == 0
    assert picture.read_bytes() == before


def test_what_is_said_of_a_drawing_as_json_is_said_of_a_file_that_is_written(
    program: Program, wren: Path, tmp_path: Path
) -> None:
    board, picture = str(wren / "wren.kicad_pcb"), tmp_path / "area.svg"
    words = ("draw", board, "--part", "U1", "-o", str(picture), "--force", "--json")
    first = program.run(*words)
    assert first[0] == 0
    picture.unlink()
    assert program.run(*words) == first
    assert picture.exists()
    shown = ("draw", board, "--part", "U1", "-o", "-")
    assert program.run(*shown) == program.run(*shown)


def test_a_drawing_stopped_while_it_is_drawn_again_says_so(
    wren: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def interrupt(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.chdir(tmp_path)
    shutil.copy(wren / "wren.kicad_pcb", tmp_path / "wren.kicad_pcb")
    words = ["draw", "wren.kicad_pcb", "--part", "U1", "-o", "part.svg", "--force"]
    assert entry.main(words) == 0
    monkeypatch.setattr("nettrace.views.programs.render_dot", interrupt)
    capsys.readouterr()
    assert entry.main(words) == 130
    assert capsys.readouterr().err.strip() == "stopped"


def test_ctrl_c_while_modules_are_being_loaded_ends_quietly(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    class Interrupting:
        @staticmethod
        def find_spec(name: str, *_: object) -> None:
            if name == "nettrace.cli.main":
                raise KeyboardInterrupt

    monkeypatch.delitem(sys.modules, "nettrace.cli.main", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Interrupting, *sys.meta_path])
    assert entry.main(["value", "4R7"]) == 130
    assert capsys.readouterr().err == "stopped\n"
