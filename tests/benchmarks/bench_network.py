"""The resistive network against ngspice: 20 pairs in process, and one part removed by update.

Run: python tests/benchmarks/bench_network.py [--large]

A board-like network: strings of parts with pull-ups to a few rails of high degree, some meshes.
ngspice solves one operating point of the same network, one pair; its answer is the outside check.
"""

from __future__ import annotations

import random
import re
import resource
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

try:
    from tests.benchmarks.measure import medians
except ImportError:  # run as a script: its folder is on the path, the project is not
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
    from measure import medians  # type: ignore[import-not-found, no-redef]

from nettrace.electrical.network import Network, Resistor, fold

__all__ = ["Solved", "board_like", "run_ngspice", "solve_pairs", "update_ratio"]

PAIRS = 20
RAILS = 4
OHMS = (10.0, 33.0, 100.0, 1e3, 2.2e3, 4.7e3, 1e4, 1e5)


class Solved(NamedTuple):
    """A network with the pairs that are asked for."""

    resistors: tuple[Resistor, ...]
    pairs: tuple[tuple[str, str], ...]


def board_like(nodes: int, seed: int = 7) -> Solved:
    """Return a connected network of that many nodes: every net near another, one in five pulled."""
    chance = random.Random(seed)
    edges = [(f"n{max(0, at - chance.randrange(1, 40))}", f"n{at}") for at in range(1, nodes)]
    edges += [(f"n{at}", f"n{chance.randrange(RAILS)}") for at in range(RAILS, nodes, 5)]
    edges += [
        (f"n{at}", f"n{min(nodes - 1, at + chance.randrange(1, 30))}")
        for at in chance.sample(range(nodes - 1), nodes // 4)
    ]
    resistors = tuple(
        Resistor(f"R{at}", a, b, chance.choice(OHMS)) for at, (a, b) in enumerate(edges) if a != b
    )
    pairs = tuple(
        (f"n{a}", f"n{b}") for a, b in (chance.sample(range(nodes), 2) for _ in range(PAIRS))
    )
    return Solved(resistors, pairs)


def solve_pairs(solved: Solved) -> list[float]:
    """Return the resistance of every pair, from nothing."""
    network = Network(solved.resistors)
    return [network.resistance(a, b) for a, b in solved.pairs]


def run_ngspice(solved: Solved, folder: Path) -> tuple[float, float]:
    """Return ngspice's answer for the first pair, Ω, and the processor seconds it took."""
    a, b = solved.pairs[0]
    lines = ["network"]
    for at, item in enumerate(solved.resistors):
        ends = ["0" if node == b else node for node in (item.a, item.b)]
        lines.append(f"R{at} {ends[0]} {ends[1]} {item.ohms!r}")
    lines += [
        f"I1 0 {a} 1", ".options gmin=1e-30", ".control", "op", "set numdgt=15", f"print v({a})",
        ".endc", ".end",
    ]  # fmt: skip
    deck = folder / "network.cir"
    deck.write_text("\n".join(lines) + "\n", encoding="utf-8")
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        ["ngspice", "-b", str(deck)], capture_output=True, text=True, check=False, timeout=900
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    match = re.search(r"v\(\w+\) = (\S+)", done.stdout)
    if match is None:
        raise RuntimeError(done.stdout + done.stderr)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return float(match[1]), spent


def update_ratio(solved: Solved, rounds: int = 5) -> tuple[float, float]:
    """Return how much faster a removed part is answered than anew, and the worst difference.

    As the diagnosis does it: the network is folded once to the ends of the parts that may be at
    fault, and each fault is asked of that.
    """
    network = Network(solved.resistors)
    a, b = solved.pairs[0]
    chosen = {item.name: item for item in solved.resistors[:: len(solved.resistors) // 8]}
    ends = [end for item in chosen.values() for end in (item.a, item.b)]
    rest = fold([i for i in solved.resistors if i.name not in chosen], (a, b, *ends))
    small = Network((*rest.resistors, *chosen.values()))

    def update() -> list[float]:
        return [small.changed({name: None}).resistance(a, b) for name in chosen]

    def anew() -> list[float]:
        return [network.changed({name: None}).resistance(a, b) for name in chosen]

    worst = max(abs(x - y) / y for x, y in zip(update(), anew(), strict=True))
    times = medians({"update": update, "anew": anew}, rounds)
    return times["anew"] / times["update"], worst


def against_ngspice(solved: Solved, folder: Path, rounds: int) -> tuple[float, float]:
    """Return ngspice's time for one pair over ours for 20, and the difference of the answers."""
    spent: Callable[[], object] = lambda: solve_pairs(solved)  # noqa: E731 - a side of the race
    ours = medians({"ours": spent}, rounds)["ours"]
    runs = [run_ngspice(solved, folder) for _ in range(rounds)]
    theirs = statistics.median(seconds for _, seconds in runs)
    answer = solve_pairs(solved)[0]
    return theirs / ours, abs(answer - runs[0][0]) / runs[0][0]


def main() -> None:
    """Print every ratio beside its goal."""
    with tempfile.TemporaryDirectory() as name:
        sizes = [(5_000, 5, "2 / 3")]
        if "--large" in sys.argv:  # ngspice takes minutes for it
            sizes.append((50_000, 1, "30 / 150"))
        for nodes, rounds, goal in sizes:
            ratio, off = against_ngspice(board_like(nodes), Path(name), rounds)
            print(f"{PAIRS} pairs, {nodes} nodes: {ratio:.1f} x faster than one ngspice run "
                  f"(goal {goal} x), answers differ by {off:.1e}")  # fmt: skip
    ratio, off = update_ratio(board_like(5_000))
    print(f"one part removed, 5000 nodes: {ratio:.0f} x faster than anew (goal 20 x), "
          f"answers differ by {off:.1e}")  # fmt: skip


if __name__ == "__main__":
    main()
