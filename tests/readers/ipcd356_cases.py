"""What the tests of the IPC-D-356 reader share: files, one record, a board of a few records."""

from __future__ import annotations

from pathlib import Path

from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.ipcd356 import read

__all__ = ["BAD", "CASES", "GOOD", "LINE", "REAL", "codes", "read_lines"]

CASES = Path(__file__).parent / "cases" / "ipcd356"
GOOD = sorted(CASES.glob("*.ipc"))
BAD = sorted((CASES / "bad").glob("*.ipc"))
REAL = (
    "minnowmax/MinnowMax_RevA1_IPC356A.ipc",
    "ipcd356-small/ipc-d-356.ipc",
    "zswatch-devkit/ZSWatch-Watch-DevKit.d356",
    "teres-main/TERES_PCB1-A64-MAIN_Rev.C.d356",
    "teres-io/TERES-PCB2-IO_Rev.B.d356",
    "teres-keyboard/TERES-PCB5-KEYBOARD_Rev.A.d356",
    "sensor-watch-b1/OSO-SWAT-B1.d356",
    "bbq20kbd/bbq20_keyboard.d356",
    "reform2-trackball/reform2-trackball.d356",
    "hackrf-marzipan/marzipan.d356",
)
# columns verified in reference values, section 10.1
LINE = "327SDA_3V3          R41   -2          A01X+012700Y-003810X0500Y0450R090 S2"


def read_lines(*records: str) -> Board:
    return read(Document("card.ipc", "\n".join(["P  UNITS CUST 0", *records, "999", ""])))


def codes(board: Board) -> list[str]:
    return [warning.code for warning in board.warnings]
