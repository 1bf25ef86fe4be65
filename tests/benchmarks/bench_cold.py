"""How long the program takes from cold: help, and one net of a large board that is in the cache.

Run: python tests/benchmarks/bench_cold.py [PARTS]. Sides: `python -c pass` and whole processes,
processor seconds, interleaved; the peak is a process's own. The net asked for is another one each
time; a table is only in the cache when it was asked for before, so it is asked for again.
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
    from tests.benchmarks.measure import ROOT, report
    from tests.benchmarks.synthetic import synthetic_circuit
except ImportError:  # run as a script: its folder is on the path, the project is not
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
    from measure import ROOT, report  # type: ignore[import-not-found, no-redef]
    from synthetic import synthetic_circuit  # type: ignore[import-not-found, no-redef]

_PEAK = """
import sys
from nettrace.cli.entry import main
main(sys.argv[1:])
for line in open("/proc/self/status"):
    if line.startswith("VmHWM"):
        print(line.split()[1], file=sys.stderr)
"""


def _start(words: list[str], environment: dict[str, str]) -> tuple[float, bytes]:
    """Run a fresh Python; return its processor seconds and what it wrote to stderr."""
    reading, writing = os.pipe()
    with Path(os.devnull).open("wb") as nothing:
        child = subprocess.Popen(
            [sys.executable, *words], stdout=nothing, stderr=writing, env=environment, cwd=ROOT
        )
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        said = pipe.read()
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise RuntimeError(f"{words} ended with {child.returncode}: {said.decode()}")
    return usage.ru_utime + usage.ru_stime, said


def lines(parts: int, rounds: int = 9) -> Iterator[str]:
    """Yield the report, line by line."""
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "XDG_CACHE_HOME": folder}
        board = Path(folder) / "board.kicad_pcb"
        board.write_text(synthetic_circuit(parts), encoding="utf-8")
        program = ["-m", "nettrace"]
        first, _ = _start([*program, "net", str(board), "/B0/SDA", "--json"], environment)
        without = [*program, "net", str(board), "/B0/SDA", "--json", "--no-cache"]
        anew, _ = _start(without, environment)
        table = [*program, "net", str(board), "/B0/SDA"]
        _start(table, environment)
        spent: dict[str, list[float]] = {"pass": [], "help": [], "json": [], "table": []}
        for turn in range(rounds):
            net = f"/B{turn + 1}/SDA"
            for side, words in (
                ("pass", ["-c", "pass"]),
                ("help", [*program, "--help"]),
                ("json", [*program, "net", str(board), net, "--json"]),
                ("table", table),
            ):
                spent[side].append(_start(words, environment)[0])
        middle = {side: statistics.median(times) for side, times in spent.items()}
        peak = _start(["-c", _PEAK, "net", str(board), "/B20/SDA", "--json"], environment)[1]
    base = middle["pass"]
    yield report("nettrace --help / python -c pass", middle["help"] / base, 5, 4)
    yield report("warm net --json, another net / pass", middle["json"] / base, 6, 4.5)
    yield report("warm net, table asked before / pass", middle["table"] / base, 9, 7)
    yield report("warm net --json: peak, MB", int(peak.split()[-1]) / 1000, 30, 20)
    yield (
        f"{'':<12} (first time {first:.1f} s with the nets kept, {anew:.1f} s without the cache; "
        f"pass {base * 1000:.0f} ms)"
    )


def main() -> None:
    """Print the ratios for a board of 93,000 pins."""
    for line in lines(int(sys.argv[1]) if len(sys.argv) > 1 else 18_000):
        print(line, flush=True)


if __name__ == "__main__":
    main()
