"""How analysis grows with the board: against loading, and against half the board.

Run: python tests/benchmarks/bench_scale.py [PARTS]. Each analysis starts from a fresh circuit.
"""

from __future__ import annotations

import gc
import statistics
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

try:
    from tests.benchmarks.measure import report
    from tests.benchmarks.synthetic import synthetic_circuit
except ImportError:  # run as a script: its folder is on the path, the project is not
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
    from measure import report  # type: ignore[import-not-found, no-redef]
    from synthetic import synthetic_circuit  # type: ignore[import-not-found, no-redef]

from nettrace.bench.area import inspect_area
from nettrace.bench.place import Circle
from nettrace.circuit.circuit import Circuit
from nettrace.model.board import Board, Part
from nettrace.readers.document import Document
from nettrace.readers.sexpr_board import read

#: Growth that is shown: half the board, the whole board.
PASSES = ("kinds", "rails", "links", "pulls", "buses", "survey")
RADIUS_MM = 5.0


def analyse(board: Board) -> dict[str, float]:
    """Return the processor seconds of each pass over a fresh circuit."""
    circuit = Circuit(board)
    gc.freeze()  # as the command line does once a board is loaded
    spent = {}
    for name in PASSES:
        spent[name] = _seconds(lambda name=name: getattr(circuit, name))  # type: ignore[misc]
    spent["roles"] = _seconds(lambda: [circuit.roles(part.key) for part in board.parts])
    gc.unfreeze()
    return spent


def _seconds(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def lines(parts: int, rounds: int = 5) -> Iterator[str]:
    """Yield the report, line by line."""
    documents = [Document("made", synthetic_circuit(count)) for count in (parts // 2, parts)]
    boards = [read(document) for document in documents]
    spent: tuple[dict[str, list[float]], ...] = ({}, {})
    for _ in range(rounds):
        for document, board, times in zip(documents, boards, spent, strict=True):
            gc.collect()
            times.setdefault("load", []).append(_seconds(lambda d=document: read(d)))  # type: ignore[misc]
            gc.collect()
            for name, seconds in analyse(board).items():
                times.setdefault(name, []).append(seconds)
    half, whole = (
        {name: statistics.median(seconds) for name, seconds in times.items()} for times in spent
    )
    board = boards[1]
    analysis = sum(whole.values()) - whole["load"]
    yield report(f"analysis of {parts} parts / loading", analysis / whole["load"], 2, 1.5)
    yield report("loading: doubling the board", whole["load"] / half["load"], 2.2, 2.2)
    growth = analysis / (sum(half.values()) - half["load"])
    yield report("analysis: doubling the board", growth, 2.2, 2.2)
    for name in (*PASSES, "roles"):
        yield f"{'':<12} ({name} {whole[name]:.2f} s, {whole[name] / half[name]:.2f} x half)"
    circuit = Circuit(board)
    middle = board.parts[len(board.parts) // 2]
    first = _seconds(lambda: _area(circuit, middle))
    # what the whole board tells is there now; other places are asked about
    others = statistics.median(_seconds(lambda p=part: _area(circuit, p))  # type: ignore[misc]
                               for part in board.parts[200:-1:197])  # fmt: skip
    yield report("area, whole answer / loading", others / whole["load"], 0.1, 0.05)
    yield (
        f"{'':<12} (loading {whole['load']:.2f} s, analysis {analysis:.2f} s, first area "
        f"{first:.2f} s, next {others * 1000:.1f} ms)"
    )


def _area(circuit: Circuit, part: Part) -> object:
    return inspect_area(circuit, Circle(part.x or 0.0, part.y or 0.0, RADIUS_MM), None)


def main() -> None:
    """Print the ratios for a board of 20,000 parts."""
    for line in lines(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000):
        print(line, flush=True)


if __name__ == "__main__":
    main()
