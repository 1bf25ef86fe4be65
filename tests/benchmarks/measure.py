"""Timing for benchmarks: every figure is a ratio, both sides measured in one run.

Times are processor time of this process: on a busy machine the clock on the wall tells about the
neighbours. Sides are interleaved, and the median of the rounds counts. Memory is read in a fresh
process each time, since a process never gives back all it had.
"""

from __future__ import annotations

import gc
import re
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

#: All tokens of an s-expression text: parentheses, strings, words. The reference, not a bound.
_TOKENS = re.compile(r'[()]|"(?:[^"\\]|\\.)*"|[^\s()"]+')

_MEMORY = """
import gc, sys
sys.path[:0] = {paths!r}
def peak():
    # of this process alone: getrusage would count its parent's too
    for line in open("/proc/self/status"):
        if line.startswith("VmHWM"):
            return int(line.split()[1]) * 1024
{setup}
gc.collect()
before = peak()
kept = {expression}
print(peak() - before)
"""


def token_floor(text: str) -> int:
    """Find all tokens of the text at once; return how many there are."""
    return len(_TOKENS.findall(text))


def medians(sides: Mapping[str, Callable[[], object]], rounds: int = 5) -> dict[str, float]:
    """Return the median processor seconds of each side, the sides taking turns."""
    spent: dict[str, list[float]] = {name: [] for name in sides}
    for side in sides.values():  # once unmeasured: imports, grammars, caches
        side()
    for _ in range(rounds):
        for name, side in sides.items():
            gc.collect()
            start = time.process_time()
            result = side()
            spent[name].append(time.process_time() - start)
            del result
    return {name: statistics.median(times) for name, times in spent.items()}


def memory_growth(setup: str, expression: str) -> int:
    """Return by how many bytes a fresh process's peak grows while the expression is evaluated.

    Linux only (it reads /proc).
    """
    paths = [str(ROOT), str(Path(__file__).parent)]
    code = _MEMORY.format(paths=paths, setup=setup, expression=expression)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return int(done.stdout)


def report(what: str, ratio: float, goal: float, stretch: float) -> str:
    """Return a line that says how a ratio (lower is better) stands to its goal and stretch."""
    state = "stretch met" if ratio <= stretch else "goal met" if ratio <= goal else "GOAL MISSED"
    return f"{what:<52} {ratio:8.2f}   goal {goal:g}, stretch {stretch:g}: {state}"
