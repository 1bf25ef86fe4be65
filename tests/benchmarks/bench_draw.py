"""A drawing of about 100 nodes, whole process, against `dot` alone on the same text plus `--help`.

Run: python tests/benchmarks/bench_draw.py. Processor seconds, children's too, interleaved. Cold
has nothing in the cache; warm was asked before, and is drawn from its kept text.
"""

from __future__ import annotations

import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

try:
    from tests.benchmarks.measure import ROOT, report
except ImportError:  # run as a script: its folder is on the path, the project is not
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
    from measure import ROOT, report  # type: ignore[import-not-found, no-redef]

BOARD = "samples/wren/wren.kicad_pcb"
PLACE = ("--around", "J3", "--radius", "40")


def _seconds(words: list[str], environment: dict[str, str]) -> float:
    """Run a program to its end; return its processor seconds and its children's."""
    nothing = subprocess.DEVNULL
    child = subprocess.Popen(words, stdout=nothing, stderr=nothing, env=environment, cwd=ROOT)
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise RuntimeError(f"{words} ended with {child.returncode}")
    return usage.ru_utime + usage.ru_stime


def lines(rounds: int = 9) -> Iterator[str]:
    """Yield the report, line by line."""
    dot = shutil.which("dot")
    if dot is None:
        yield "skipped: no program dot"
        return
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "XDG_CACHE_HOME": folder}
        text, picture = f"{folder}/area.dot", f"{folder}/area.svg"
        program = [sys.executable, "-m", "nettrace"]
        draw = [*program, "draw", BOARD, *PLACE, "--force", "-o"]
        _seconds([*draw, text], environment)
        _seconds([*draw, picture], environment)
        shapes = len(
            re.findall(r"^\s*\w\d+ \[", Path(text).read_text(encoding="utf-8"), re.MULTILINE)
        )
        sides = {
            "dot": [dot, "-Tsvg", text, "-o", f"{folder}/alone.svg"],
            "help": [*program, "--help"],
            "cold": [*draw, picture, "--no-cache"],
            "warm": [*draw, picture],
        }
        spent: dict[str, list[float]] = {side: [] for side in sides}
        for _ in range(rounds):
            for side, words in sides.items():
                spent[side].append(_seconds(words, environment))
    middle = {side: statistics.median(times) for side, times in spent.items()}
    base = middle["dot"] + middle["help"]
    yield report("draw, asked before / dot + --help", middle["warm"] / base, 1.5, 1.5)
    yield report("draw, first time / dot + --help", middle["cold"] / base, 1.5, 1.5)
    yield f"{'':<12} ({shapes} nodes, " + ", ".join(
        f"{side} {seconds * 1000:.0f} ms" for side, seconds in middle.items()
    ) + ")"  # fmt: skip


def main() -> None:
    """Print the ratios."""
    for line in lines():
        print(line, flush=True)


if __name__ == "__main__":
    main()
