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

from nettrace.bench.area import inspect_area, search_area
from nettrace.bench.place import Circle
from nettrace.circuit.circuit import Circuit
from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.sexpr_board import read

#: Growth that is shown: half the board, the whole board.
PASSES = ("kinds", "rails", "links", "pulls", "buses", "survey")
RADIUS_MM = 5.0
#: The plain search does not cross nets with more parts: supplies tie all to all.
MOST_PARTS = 50


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


def plain_area(board: Board) -> Callable[[float, float], int]:
    """Return what answers "which pads, and what is two hops from them" with dicts and lists."""
    cells: dict[tuple[int, int], list[tuple[float, float, str | None]]] = {}
    nets_of: dict[str, set[str]] = {}
    parts_of: dict[str, set[str]] = {}
    for part in board.parts:
        for pad in part.pads:
            cell = int(pad.x // RADIUS_MM), int(pad.y // RADIUS_MM)
            cells.setdefault(cell, []).append((pad.x, pad.y, pad.net))
            if pad.net is not None:
                nets_of.setdefault(part.key, set()).add(pad.net)
                parts_of.setdefault(pad.net, set()).add(part.key)

    def ask(x: float, y: float) -> int:
        column, row = int(x // RADIUS_MM), int(y // RADIUS_MM)
        nets = set()
        for across in (column - 1, column, column + 1):
            for up in (row - 1, row, row + 1):
                for pad_x, pad_y, net in cells.get((across, up), ()):
                    if (
                        net
                        and len(parts_of[net]) <= MOST_PARTS
                        and (pad_x - x) ** 2 + (pad_y - y) ** 2 <= RADIUS_MM**2
                    ):
                        nets.add(net)
        near = {part for net in nets for part in parts_of[net]}
        return len({net for part in near for net in nets_of[part]})

    return ask


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
    yield report(f"analysis of {parts} parts / loading", analysis / whole["load"], 3, 1.5)
    yield report("loading: doubling the board", whole["load"] / half["load"], 2.2, 2.2)
    growth = analysis / (sum(half.values()) - half["load"])
    yield report("analysis: doubling the board", growth, 2.2, 2.2)
    for name in (*PASSES, "roles"):
        yield f"{'':<12} ({name} {whole[name]:.2f} s, {whole[name] / half[name]:.2f} x half)"
    circuit = Circuit(board)
    ask, middle = plain_area(board), board.parts[len(board.parts) // 2]
    x, y = middle.x or 0.0, middle.y or 0.0
    first = _seconds(lambda: inspect_area(circuit, Circle(x, y, RADIUS_MM), None))
    # what the whole board tells is there now; other places are asked about
    spots = [(part.x or 0.0, part.y or 0.0) for part in board.parts[200:-1:197]]
    ours = statistics.median(
        _seconds(lambda at=at: inspect_area(circuit, Circle(at[0], at[1], RADIUS_MM), None))  # type: ignore[misc]
        for at in spots
    )
    plain = statistics.median(_seconds(lambda at=at: ask(*at)) for at in spots)  # type: ignore[misc]
    search_area(circuit, Circle(x, y, RADIUS_MM))  # its lists are there, as the plain ones are
    search = statistics.median(
        _seconds(lambda at=at: search_area(circuit, Circle(at[0], at[1], RADIUS_MM)))  # type: ignore[misc]
        for at in spots
    )
    again = statistics.median(
        _seconds(lambda at=at: inspect_area(circuit, Circle(at[0], at[1], RADIUS_MM), None))  # type: ignore[misc]
        for at in spots
    )
    yield report("area, whole answer / loading", ours / whole["load"], 0.1, 0.05)
    yield report("area, the search alone / dicts of lists", search / plain, 10, 10)
    yield report("area, whole answer / dicts of lists", ours / plain, 10, 10)
    yield report("area, whole answer again / dicts of lists", again / plain, 10, 10)
    yield (
        f"{'':<12} (loading {whole['load']:.2f} s, analysis {analysis:.2f} s, first area "
        f"{first:.2f} s, next {ours * 1000:.1f} ms, search "
        f"{search * 1e6:.0f} us, plain {plain * 1e6:.0f} us)"
    )


def main() -> None:
    """Print the ratios for a board of 20,000 parts."""
    for line in lines(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000):
        print(line, flush=True)


if __name__ == "__main__":
    main()
