"""How fast EDIF is read: against the token floor and spydrnet, interleaved, medians, CPU seconds.

Run it: python tests/benchmarks/bench_edif.py [MEGABYTES]
"""

from __future__ import annotations

import gc
import random
import re
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(Path(__file__).parent), str(ROOT)]

from nettrace.readers.document import Document  # noqa: E402 - after the path above
from nettrace.readers.edif import read  # noqa: E402

try:
    from tests.benchmarks.measure import ask_for_all
except ImportError:  # run as a script: its folder is on the path, the project is not
    from measure import ask_for_all  # type: ignore[import-not-found, no-redef]

__all__ = ["floor", "made_netlist", "measure"]

_TOKEN = re.compile(r'[()]|"[^"]*"|[^\s()"]+')
_CELLS = (("RES", 2, 8), ("CAP", 2, 8), ("IND", 2, 1), ("SOT23", 3, 2), ("SO8", 8, 2),
          ("QFN32", 33, 1), ("CONN20", 20, 1), ("BGA100", 100, 0))  # fmt: skip
_VALUES = ("100nF", "10k", "4k7", "1uH", "10uF,16V", "0R")
ROUNDS = 5


def made_netlist(megabytes: float, seed: int = 1) -> str:
    """A flat board netlist of about that size, laid out as netlist writers do; always the same."""
    chance = random.Random(seed)
    parts = int(megabytes * 1840)
    text = [
        '(edif (rename board "Board, made")\n  (edifVersion 2 0 0)\n  (edifLevel 0)\n'
        "  (keywordMap (keywordLevel 0))\n  (status (written (timeStamp 2026 1 2 3 4 5)))\n"
        "  (external PARTS\n    (edifLevel 0)\n    (technology (numberDefinition))\n"
    ]
    for name, pins, _ in _CELLS:
        ports = "".join(f"          (port &{n} (direction INOUT))\n" for n in range(1, pins + 1))
        text.append(
            f"    (cell {name} (cellType GENERIC)\n      (view NET (viewType NETLIST)\n"
            f"        (interface\n{ports}        )\n      )\n    )\n"
        )
    text.append(
        "  )\n  (library WORK\n    (edifLevel 0)\n    (technology (numberDefinition))\n"
        "    (cell TOP (cellType GENERIC)\n      (view NET (viewType NETLIST)\n"
        "        (interface)\n        (contents\n"
    )
    pins_left: list[tuple[str, int]] = []
    drawn = chance.choices(_CELLS, [weight for _, _, weight in _CELLS], k=parts)
    for index, (name, pins, _) in enumerate(drawn):
        if index % 200 == 0:
            name, pins, _ = _CELLS[-1]  # noqa: PLW2901 - a big chip now and then
        refdes = f"{name[0]}{index}"
        text.append(
            f"          (instance {refdes} (viewRef NET (cellRef {name} (libraryRef PARTS)))\n"
            f'            (property Value (string "{chance.choice(_VALUES)}"))\n'
            f'            (property (rename PCB_Footprint "PCB Footprint") (string "{name}_A")))\n'
        )
        pins_left += [(refdes, number) for number in range(1, pins + 1)]
    chance.shuffle(pins_left)
    count = 0
    while pins_left:
        size = 200 if count % 500 == 0 else chance.choice((1, 2, 2, 2, 3, 3, 4, 8))
        name = f'(rename N{count} "SIG[{count}]")' if count % 3 == 0 else f"N{count}"
        refs = "".join(
            f"            (portRef &{number} (instanceRef {refdes}))\n"
            for refdes, number in pins_left[-size:]
        )
        del pins_left[-size:]
        text.append(f"          (net {name} (joined\n{refs}          ))\n")
        count += 1
    text.append(
        "        )\n      )\n    )\n  )\n  (design BOARD (cellRef TOP (libraryRef WORK)))\n)\n"
    )
    return "".join(text)


def floor(text: str) -> int:
    """All tokens found once: the reference, not a bound."""
    return len(_TOKEN.findall(text))


def measure(works: dict[str, Callable[[], object]], rounds: int = ROUNDS) -> dict[str, float]:
    """Median CPU seconds of each, taken in turns."""
    seconds: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(rounds):
        for name, work in works.items():
            gc.collect()
            start = time.process_time()
            work()
            seconds[name].append(time.process_time() - start)
    return {name: statistics.median(taken) for name, taken in seconds.items()}


def _peer(path: Path) -> Callable[[], object] | None:
    try:
        import spydrnet
    except ImportError:
        return None
    return lambda: spydrnet.parse(str(path))


def _growth(kind: str, path: Path) -> float:
    """Megabytes that a fresh process grows by in reading the file."""
    code = (
        f"import sys; sys.path[:0] = [{str(Path(__file__).parent)!r}]; import bench_edif; "
        f"bench_edif.grow({kind!r}, {str(path)!r})"
    )
    return float(subprocess.run([sys.executable, "-c", code], check=True, capture_output=True,
                                text=True).stdout.split()[-1])  # fmt: skip


def grow(kind: str, path: str) -> None:
    """Print by how many megabytes this process grows in reading the file (imports done before)."""
    tiny = made_netlist(0.01)
    if kind == "peer":
        work = _peer(Path(path))
        text = ""
    else:
        read(Document("tiny", tiny))
        text = Path(path).read_text()
        work = lambda: read(Document(path, text))  # noqa: E731
    before = _resident_megabytes()
    kept = work() if work else None
    if kind != "peer":
        ask_for_all(kept)  # type: ignore[arg-type] # ours
    print(_resident_megabytes() - before if kept is not None else 0.0)


def _resident_megabytes() -> float:
    """What the process holds in memory now (Linux)."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


def main() -> None:
    """Print the ratios that docs/performance.md names."""
    megabytes = float(sys.argv[1]) if len(sys.argv) > 1 else 8.6
    text = made_netlist(megabytes)
    document = Document("made.edf", text)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "made.edf"
        path.write_text(text)
        works: dict[str, Callable[[], object]] = {
            "floor": lambda: floor(text),
            "read": lambda: read(document),
            "all": lambda: ask_for_all(read(document)),
        }
        peer = _peer(path)
        if peer is not None:
            works["spydrnet"] = peer
        seconds = measure(works)
        print(f"made netlist, {len(text) / 1e6:.1f} MB, {text.count('(portRef')} pins")
        print(f"floor      {seconds['floor']:.3f} s")
        print(
            f"read       {seconds['read']:.3f} s = {seconds['read'] / seconds['floor']:.2f} x floor"
        )
        print(f"  with every pin asked for {seconds['all'] / seconds['floor']:.2f} x floor")
        if peer is not None:
            ratio = seconds["spydrnet"] / seconds["read"]
            print(f"spydrnet   {seconds['spydrnet']:.3f} s: {ratio:.1f} x as long as read")
            ours, theirs = _growth("own", path), _growth("peer", path)
            print(f"memory     {ours:.0f} MB = {ours / theirs:.2f} of spydrnet's {theirs:.0f} MB")


if __name__ == "__main__":
    main()
