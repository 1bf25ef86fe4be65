"""Write every file of the sample board Wren from its one description.

    python samples/source/make_wren.py [FOLDER]

FOLDER is where ``wren/`` and ``formats/`` are written; without it, the folder above this one. Typed
sheet and JSON are notations of nettrace's own, so nettrace writes them from the board file.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from board_file import board_text
from description import Description, load
from edif_file import edif_text
from ipc2581_file import ipc2581_text
from ipcd356_file import bare_board_text
from netlist_file import netlist_text
from spice_deck import deck_text
from tables import parts_list_text, places_text

from nettrace.readers.registry import read_file
from nettrace.writers.registry import write_board

if TYPE_CHECKING:
    from collections.abc import Callable

FILES: tuple[tuple[str, Callable[[Description], str]], ...] = (
    ("wren/wren.kicad_pcb", board_text),
    ("wren/wren.net", netlist_text),
    ("wren/wren.d356", bare_board_text),
    ("wren/wren-bom.csv", parts_list_text),
    ("formats/wren.edf", edif_text),
    ("formats/wren.cir", deck_text),
    ("formats/wren-2581.xml", ipc2581_text),
    ("formats/wren-places.csv", places_text),
)

#: The board file says the most, so these are written from it.
OWN_SOURCE = "wren/wren.kicad_pcb"
OWN_FILES = (("formats/wren.sheet", "sheet"), ("formats/wren.json", "json"))


def write_all(folder: Path) -> list[Path]:
    """Write every file below ``folder`` and return their paths."""
    description = load()
    paths = []
    for name, text in FILES:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text(description), encoding="utf-8", newline="\n")
        paths.append(path)
    board = read_file(folder / OWN_SOURCE, OWN_SOURCE)
    for name, kind in OWN_FILES:
        path = folder / name
        path.write_text(write_board(board, kind), encoding="utf-8", newline="\n")
        paths.append(path)
    return paths


if __name__ == "__main__":
    where = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parents[1]
    for written in write_all(where):
        print(written.relative_to(where))
