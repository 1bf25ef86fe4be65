"""What a person waits for: whole commands, cold and asked before, against `python -c pass`.

Run: python tests/benchmarks/bench_commands.py [ROUNDS]. Both sides are whole processes, processor
seconds with their children's, interleaved, medians.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

try:
    from tests.benchmarks.made_texts import board_file
    from tests.benchmarks.measure import ROOT, report
except ImportError:  # run as a script: its folder is on the path, the project is not
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
    from made_texts import board_file  # type: ignore[import-not-found, no-redef]
    from measure import ROOT, report  # type: ignore[import-not-found, no-redef]

#: The two sides' exit codes that are an answer.
ANSWERED = {0, 1}


def spent(words: list[str], environment: dict[str, str]) -> float:
    """Run a fresh Python to its end; return its processor seconds, its children's among them."""
    child = subprocess.Popen(
        [sys.executable, *words],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env=environment,
        cwd=ROOT,
    )
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode not in ANSWERED:
        raise RuntimeError(f"{words} ended with {child.returncode}")
    return usage.ru_utime + usage.ru_stime


def lines(rounds: int = 9) -> Iterator[str]:
    """Yield the report, line by line."""
    with tempfile.TemporaryDirectory() as name:
        environment = {**os.environ, "XDG_CACHE_HOME": name, "PYTHONPATH": str(ROOT)}
        environment.pop("PYTHONDONTWRITEBYTECODE", None)  # users have their modules compiled
        large = Path(name) / "large.kicad_pcb"
        large.write_text(board_file(3.0), encoding="utf-8")
        picture = str(Path(name) / "picture.svg")
        wren, around = "samples/wren", ["--around", "J3", "--radius", "4"]
        draw = ["draw", wren, *around, "--force", "-o", picture]
        #: what, words, goal and stretch as multiples of `python -c pass`
        rows: tuple[tuple[str, list[str], float, float], ...] = (
            ("--help", ["--help"], 4.5, 3.5),
            ("area, sample board, cold", ["area", wren, *around, "--no-cache"], 24, 15),
            ("area, 3 MB, cold", ["area", str(large), "--around", "X6", "--no-cache"], 34, 25),
            ("summary, 3 MB, cold", ["summary", str(large), "--no-cache"], 34, 25),
            ("net, 3 MB, cold", ["net", str(large), "/block1/N1", "--no-cache"], 34, 25),
            ("draw, graph, cold", [*draw, "--no-cache"], 30, 20),
            ("draw, map, cold", [*draw, "--placed", "--no-cache"], 30, 20),
            ("area, sample board, asked before", ["area", wren, *around], 4.5, 3),
        )
        sides = [["-c", "pass"], *(["-m", "nettrace", *words] for _, words, _, _ in rows)]
        for words in sides:  # once unmeasured: compiled files, the cache
            spent(words, environment)
        times: list[list[float]] = [[] for _ in sides]
        for _ in range(rounds):
            for words, found in zip(sides, times, strict=True):
                found.append(spent(words, environment))
        bare, *medians = (statistics.median(found) for found in times)
        for (what, _, goal, stretch), seconds in zip(rows, medians, strict=True):
            yield report(f"{what} / python -c pass", seconds / bare, goal, stretch)
        yield f"{'':<12} (python -c pass {bare * 1000:.0f} ms)"


def main() -> None:
    """Print the ratios."""
    for line in lines(int(sys.argv[1]) if len(sys.argv) > 1 else 9):
        print(line, flush=True)


if __name__ == "__main__":
    main()
