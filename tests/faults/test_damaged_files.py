"""Every reader, on damaged files: a board or one of our errors, in bounded time, whatever comes.

Cases have fixed seeds. NETTRACE_FUZZ=20 runs twenty times as many (by hand; NETTRACE_FUZZ_SEED
begins elsewhere). A failure names its seed, and the damaged text is in the message's file.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from nettrace.errors import BadInput
from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.registry import decode_text, detect_format, read_text
from tests.faults.mutation import damaged

TIMES = float(os.environ.get("NETTRACE_FUZZ", "1"))
SEED = os.environ.get("NETTRACE_FUZZ_SEED", "8")
ROOT = Path(__file__).resolve().parents[2]

#: Bytes that are read of one file's damaged copies, and the most copies of it.
BYTES_A_FILE, MOST_CASES = 5_000_000, 150
#: Processor seconds for one file; reading it whole takes a tenth.
MOST_SECONDS = 8.0

#: A file of each format from the made board, and those that real boards have.
WREN = (
    "samples/formats/wren.cir", "samples/formats/wren.edf", "samples/formats/wren.json",
    "samples/formats/wren-places.csv", "samples/formats/wren.sheet", "samples/wren/wren-bom.csv",
    "samples/wren/wren.d356", "samples/wren/wren.net", "samples/formats/wren-2581.xml",
    "samples/wren/wren.kicad_pcb",
)  # fmt: skip
REAL = (
    "bbq20kbd/bbq20_keyboard.net", "bbq20kbd/bbq20_keyboard.d356",
    "sensor-watch-b1/OSO-SWAT-B1.net", "sensor-watch-b1/OSO-SWAT-B1.d356",
    "reform2-trackball/reform2-trackball.net", "reform2-trackball/reform2-trackball.d356",
    "reform2-trackball/reform2-trackball.csv", "reform2-trackball/reform2-trackball-2581C-mm.xml",
    "teres-keyboard/TERES-PCB5-KEYBOARD_Rev.A.net", "teres-io/TERES-PCB2-IO_Rev.B.kicad_pcb",
    "teres-io/TERES-PCB2-IO_Rev.B.csv", "zswatch-devkit/ZSWatch-Watch-DevKit.cir",
    "zswatch-devkit/ZSWatch-Watch-DevKit-bom.csv", "zswatch-devkit/ZSWatch-Watch-DevKit-CPL.csv",
    "ipcd356-small/ipc-d-356.ipc", "spice/MSA-2643.cir", "spice/adder_mos.cir",
    "spice/transimpedance-amp.net", "spice/lm317-supply.cir",
)  # fmt: skip


def cases(text: bytes, name: str) -> Iterator[tuple[str, bytes]]:
    """Yield (seed, damaged text)."""
    count = max(1, min(MOST_CASES, BYTES_A_FILE // len(text)))
    for number in range(int(count * TIMES)):
        seed = f"{SEED} {name} {number}"
        yield seed, damaged(text, seed)


def check(board: Board) -> None:
    """What every board keeps, however odd its file."""
    board.counts()
    assert len(board.part_by_key) == len(board.parts)
    assert len(board.net_by_name) == len(board.nets)
    for part in board.parts:
        for pin in part.pins:
            assert pin.net is None or pin.net in board.net_by_name
        assert all(abs(pad.x) < float("inf") and abs(pad.y) < float("inf") for pad in part.pads)


def run(path: Path, name: str, tmp_path: Path) -> int:
    text = path.read_bytes()
    found = detect_format(decode_text(text, name))
    assert found is not None
    boards = 0
    for seed, bad in cases(text, name):
        began = time.process_time()
        try:
            board = read_text(Document(name, decode_text(bad, name)), found.name)
            check(board)
            boards += 1
        except BadInput as error:
            assert str(error).startswith("error: ")
            assert len(str(error)) < 3000, f"{len(str(error))} characters at seed {seed!r}"
        except Exception as error:
            kept = tmp_path / "damaged"
            kept.write_bytes(bad)
            raise AssertionError(f"{type(error).__name__} at seed {seed!r}: {kept}") from error
        spent = time.process_time() - began
        assert spent < MOST_SECONDS, f"{spent:.1f} s at seed {seed!r}"
    return boards


@pytest.mark.parametrize("name", WREN)
def test_damaged_files_of_the_made_board(name: str, tmp_path: Path) -> None:
    run(ROOT / name, name, tmp_path)


@pytest.mark.parametrize("name", REAL)
def test_damaged_files_of_real_boards(boards: Path, name: str, tmp_path: Path) -> None:
    run(boards / name, name, tmp_path)


def test_some_damage_is_read_and_some_is_refused(tmp_path: Path) -> None:
    """The cases are neither all harmless nor all hopeless."""
    name = "samples/formats/wren.json"
    read = run(ROOT / name, name, tmp_path)
    assert 0 < read < len(list(cases((ROOT / name).read_bytes(), name)))


@pytest.mark.parametrize(
    ("line", "refdes"), [("R=5", "R"), ("R1=5 a b", "R1"), ("Q = x", "Q"), ("C a=1 b=2", "C"),
     ("L6 3 0 0.===========", "L6")],
)  # fmt: skip
def test_an_element_whose_name_is_followed_by_an_equals_sign(line: str, refdes: str) -> None:
    # found by damage: the name was taken for a setting, and an element without a name was left
    board = read_text(Document("deck.cir", f"* deck\n{line}\nR9 a b 1\n.end\n"), "spice")
    assert {part.refdes for part in board.parts} == {refdes, "R9"}
