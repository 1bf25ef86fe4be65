"""The networkx graph of a whole board, against plain dicts of lists, and a view of two steps.

Run: python tests/benchmarks/bench_graph.py [PARTS]. Memory is what the graph holds, as counted by
tracemalloc.
"""

from __future__ import annotations

import gc
import statistics
import sys
import time
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

try:
    from tests.benchmarks.measure import medians, report
    from tests.benchmarks.synthetic import synthetic_circuit
except ImportError:  # run as a script: its folder is on the path, the project is not
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
    from measure import medians, report  # type: ignore[import-not-found, no-redef]
    from synthetic import synthetic_circuit  # type: ignore[import-not-found, no-redef]

from nettrace.model.board import Board
from nettrace.model.graph import BoardGraph
from nettrace.readers.document import Document
from nettrace.readers.sexpr_board import read


def kept_bytes(board: Board) -> int:
    """Return how much memory the graph holds, without the board and networkx itself."""
    BoardGraph(board)  # imports are not the graph's
    gc.collect()
    tracemalloc.start()
    whole = BoardGraph(board)
    kept, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    del whole
    return kept


def plain(board: Board) -> tuple[dict[str, list[str]], dict[str, list[str]]]:
    """Return net -> its parts and part -> its nets."""
    parts_of: dict[str, list[str]] = {}
    nets_of: dict[str, list[str]] = {}
    for net in board.nets:
        parts_of[net.name] = [pin.part for pin in net.pins]
        for pin in net.pins:
            nets_of.setdefault(pin.part, []).append(net.name)
    return parts_of, nets_of


def lines(parts: int, rounds: int = 7) -> Iterator[str]:
    """Yield the report, line by line."""
    board = read(Document("made", synthetic_circuit(parts)))
    pins = sum(len(net.pins) for net in board.nets)
    times = medians({"ours": lambda: BoardGraph(board), "plain": lambda: plain(board)}, rounds)
    yield report("networkx graph / dicts of lists", times["ours"] / times["plain"], 6, 6)
    yield report("networkx graph: memory, MB", kept_bytes(board) / 1e6, 60, 45)
    whole = BoardGraph(board)
    spent = []
    for part in board.parts[:: max(1, parts // 200)]:
        node = whole.node(part.key)
        start = time.process_time()
        near = whole.around(node, 2)
        near.number_of_edges()
        spent.append(time.process_time() - start)
    yield report("view of 2 steps, ms, median", statistics.median(spent) * 1000, 1, 0.3)
    yield (
        f"{'':<12} ({pins} pins, graph {times['ours'] * 1000:.0f} ms, plain "
        f"{times['plain'] * 1000:.0f} ms)"
    )


def main() -> None:
    """Print the ratios for a board of 93,000 pins."""
    for line in lines(int(sys.argv[1]) if len(sys.argv) > 1 else 18_000):
        print(line, flush=True)


if __name__ == "__main__":
    main()
