"""Every reader, text to Board: against the token floor, other readers of the format, and memory.

Run: python tests/benchmarks/bench_readers.py [PYTHON]. PYTHON is an interpreter that has PySpice;
without it that row is left out. Real boards are needed (see the fixture `boards`).
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

try:
    from tests.benchmarks import made_texts
    from tests.benchmarks.measure import medians, memory_growth, report, token_floor
    from tests.conftest import boards_folder
except ImportError:  # run as a script: its folder is on the path, the project is not
    sys.path[:0] = [
        str(Path(__file__).resolve().parents[1]),
        str(Path(__file__).resolve().parents[2]),
    ]
    import made_texts  # type: ignore[import-not-found, no-redef]
    from conftest import boards_folder  # type: ignore[import-not-found, no-redef]
    from measure import (  # type: ignore[import-not-found, no-redef]
        medians,
        memory_growth,
        report,
        token_floor,
    )

from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.registry import read_text

#: A reader takes at most so many times what finding all tokens of the same text takes.
FLOOR_GOAL, FLOOR_STRETCH = 2.0, 1.2
#: A board takes at most so many bytes of memory for each byte of its file, text included.
MEMORY_GOAL, MEMORY_STRETCH = 8.0, 5.0
REAL = (
    "teres-main/TERES_PCB1-A64-MAIN_Rev.C.kicad_pcb",
    "hackrf-marzipan/marzipan.kicad_pcb",
    "zswatch-devkit/ZSWatch-Watch-DevKit.kicad_pcb",
    "hackrf-marzipan/marzipan.net",
    "zswatch-devkit/ZSWatch-Watch-DevKit-netlist.net",
    "minnowmax/MinnowMax_RevA1_IPC356A.ipc",
    "reform2-trackball/reform2-trackball-2581C-mm.xml",
    "edif-netlists/b13.edf",
    "spice/transimpedance-amp.net",
)
_PYSPICE = """
import sys, time
from PySpice.Spice.Parser import SpiceParser
for path in sys.argv[1:]:
    began = time.process_time()
    circuit = SpiceParser(path=path).build_circuit()
    print(time.process_time() - began)
    del circuit
"""


def read(text: str, name: str = "text") -> Board:
    """Return the board that a text is."""
    return read_text(Document(name, text))


def against_the_floor(text: str, rounds: int = 5) -> float:
    """Return a reader's time as a multiple of finding all tokens of the text."""
    sides: dict[str, Callable[[], object]] = {
        "floor": lambda: token_floor(text),
        "reader": lambda: read(text),
    }
    seconds = medians(sides, rounds)
    return seconds["reader"] / seconds["floor"]


def faster_than(peer: Callable[[], object], text: str, rounds: int = 5) -> float:
    """Return how many times longer another reader takes."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        seconds = medians({"peer": peer, "reader": lambda: read(text)}, rounds)
    return seconds["peer"] / seconds["reader"]


def faster_than_gerbonara(text: str, rounds: int = 5) -> float:
    """Return how many times longer gerbonara takes for an IPC-D-356 text."""
    from gerbonara.ipc356 import Netlist

    return faster_than(lambda: Netlist.from_string(text, "text"), text, rounds)


def faster_than_spydrnet(text: str, folder: Path, rounds: int = 5) -> float:
    """Return how many times longer spydrnet takes for an EDIF text."""
    import spydrnet

    path = folder / "made.edf"
    path.write_text(text, encoding="utf-8")
    return faster_than(lambda: spydrnet.parse(str(path)), text, rounds)


def faster_than_kinparse(path: Path, rounds: int = 3) -> float:
    """Return how many times longer kinparse takes for a netlist; it is asked once."""
    from kinparse import parse_netlist

    text = path.read_text(encoding="utf-8")
    ours = medians({"reader": lambda: read(text)}, rounds)["reader"]
    start = time.process_time()
    parse_netlist(str(path))
    return (time.process_time() - start) / ours


def faster_than_pyspice(text: str, python: str, folder: Path, rounds: int = 3) -> float | None:
    """Return how many times longer PySpice takes for a deck; None where it is not."""
    deck = folder / "deck.cir"
    deck.write_text(text, encoding="utf-8")
    done = subprocess.run(
        [python, "-c", _PYSPICE, *[str(deck)] * rounds],
        capture_output=True,
        text=True,
        check=False,
    )
    times = [float(word) for word in done.stdout.split()]
    if done.returncode or not times:
        return None
    return statistics.median(times) / medians({"reader": lambda: read(text)}, rounds)["reader"]


def memory_a_byte(path: Path) -> float:
    """Return by how much a fresh process grows for each byte of a file, text and board included.

    The reader has read the file once before: its patterns are there, whatever the file.
    """
    setup = (
        "from pathlib import Path\n"
        "from nettrace.readers.document import Document\n"
        "from nettrace.readers.registry import read_text\n"
        f"path = Path({str(path)!r})\n"
        "import nettrace.readers.sexpr_board\n"
    )
    expression = "read_text(Document('x', path.read_text(encoding='utf-8')))"
    return memory_growth(setup, expression) / path.stat().st_size


def lines(boards: Path, python: str) -> Iterator[str]:
    """Yield the report, line by line."""
    made = {
        "board file, 27 MB made": made_texts.board_file(27),
        "netlist, 10 MB made": made_texts.netlist_file(10),
        "EDIF, 8 MB made": made_texts.edif_netlist(8.6),
        "IPC-D-356, 7.4 MB made": made_texts.bare_board_file(7.4),
        "IPC-2581, 25 MB made": made_texts.placed_board_file(25),
        "SPICE, 100,000 lines made": made_texts.deck(100_000),
    }
    texts = {Path(name).name: (boards / name).read_text(encoding="utf-8") for name in REAL}
    for name, text in (*texts.items(), *made.items()):
        ratio = against_the_floor(text, 3 if len(text) > 5_000_000 else 7)
        yield report(f"{name[:40]} / token floor", ratio, FLOOR_GOAL, FLOOR_STRETCH)
    with tempfile.TemporaryDirectory() as folder:
        peers = [
            ("IPC-D-356 made, gerbonara", 2.0,
             faster_than_gerbonara(made["IPC-D-356, 7.4 MB made"], 3)),
            ("minnowmax, gerbonara", 2.0,
             faster_than_gerbonara(texts["MinnowMax_RevA1_IPC356A.ipc"])),
            ("EDIF made, spydrnet", 10.0,
             faster_than_spydrnet(made["EDIF, 8 MB made"], Path(folder), 3)),
            ("marzipan.net, kinparse", 200.0,
             faster_than_kinparse(boards / "hackrf-marzipan/marzipan.net")),
            ("SPICE made, PySpice", 4.0,
             faster_than_pyspice(made["SPICE, 100,000 lines made"], python, Path(folder))),
        ]  # fmt: skip
        for name, goal, faster in peers:
            if faster is None:
                yield f"{name}: left out, {python} has it not"
            else:
                state = "goal met" if faster >= goal else "GOAL MISSED"
                yield f"{f'{name}: times faster':<52} {faster:8.1f}   goal {goal:g}: {state}"
        for name in REAL[:3]:
            growth = memory_a_byte(boards / name)
            yield report(f"{Path(name).name[:36]} memory / size", growth,
                         MEMORY_GOAL, MEMORY_STRETCH)  # fmt: skip


def main() -> None:
    """Print the ratios."""
    boards = boards_folder()
    if boards is None:
        raise SystemExit("no folder of real boards (set NETTRACE_BOARDS)")
    for line in lines(boards, sys.argv[1] if len(sys.argv) > 1 else sys.executable):
        print(line, flush=True)


if __name__ == "__main__":
    main()
