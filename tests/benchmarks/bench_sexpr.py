"""Speed and memory of the s-expression readers. Run: python tests/benchmarks/bench_sexpr.py.

Sides: one `re.findall` of all tokens (the floor), the whole-tree reader, kinparse for netlists.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path

try:
    from tests.benchmarks.measure import (
        ROOT,
        ask_for_all,
        medians,
        memory_growth,
        report,
        token_floor,
    )
except ImportError:  # run as a script: its folder is on the path, the project is not
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
    from measure import (  # type: ignore[import-not-found, no-redef]
        ROOT,
        ask_for_all,
        medians,
        memory_growth,
        report,
        token_floor,
    )

from nettrace.readers.document import Document
from nettrace.readers.sexpr_board import read as read_board
from nettrace.readers.sexpr_board_tree import read_board_tree
from nettrace.readers.sexpr_netlist import read as read_netlist
from nettrace.readers.sexpr_netlist_tree import read_netlist_tree

BOARDS = (
    "teres-main/TERES_PCB1-A64-MAIN_Rev.C.kicad_pcb",
    "hackrf-marzipan/marzipan.kicad_pcb",
    "zswatch-devkit/ZSWatch-Watch-DevKit.kicad_pcb",
)
NETLISTS = (
    "hackrf-marzipan/marzipan.net",
    "zswatch-devkit/ZSWatch-Watch-DevKit-netlist.net",
)
TINY_BOARD = "(kicad_pcb (version 4) (layers (0 F.Cu signal) (31 B.Cu signal)))"


def synthetic_board(megabytes: float) -> str:
    """Return a board file of about so many megabytes, in the proportions of teres-main.

    That is, to each part: 4.7 pads, 13 lines, 34 tracks and 3.5 vias.
    """
    parts: list[str] = []
    size = 0
    number = 0
    while size < megabytes * 1e6:
        number += 1
        pads = (2, 2, 2, 2, 5, 15)[number % 6]
        x, y = number % 300, number // 300
        lines = [
            f"  (module Lib:P{pads} (layer F.Cu) (tedit 5) (tstamp {number:X})",
            f"    (at {x} {y} {number % 4 * 90})",
            f'    (descr "a part of {pads} pads")',
            f"    (path /{number:08X})",
            f"    (fp_text reference X{number} (at 0 -1) (layer F.SilkS)",
            "      (effects (font (size 1 1) (thickness 0.15)))\n    )",
            f"    (fp_text value V{number % 40} (at 0 1) (layer F.Fab)",
            "      (effects (font (size 1 1) (thickness 0.15)))\n    )",
        ]
        lines += [
            f"    (fp_line (start {step}.25 -1.25) (end {step}.25 1.25) (layer F.SilkS) "
            "(width 0.15))"
            for step in range(13)
        ]
        for pad in range(1, pads + 1):
            net = (number * 7 + pad * 3) % (number + 1) + 1
            lines.append(
                f"    (pad {pad} smd rect (at {pad * 0.65:.2f} 0.5) (size 0.4 1.2) "
                f"(layers F.Cu F.Paste F.Mask)\n      (net {net} /block{net % 9}/N{net}))"
            )
        lines.append("  )\n")
        lines += [
            f"  (segment (start {x}.125 {step}.5) (end {x + 1}.25 {step}.775) (width 0.25) "
            f"(layer F.Cu) (net {number}) (tstamp {step + 0x57000000:X}))"
            for step in range(34)
        ]
        lines += [
            f"  (via (at {x}.5 {y}.{step}) (size 0.6) (drill 0.3) (layers F.Cu B.Cu) "
            f"(net {number}))"
            for step in range(3 + number % 2)
        ]
        parts.append("\n".join(lines))
        size += len(parts[-1])
    table = [f"  (net {n} /block{n % 9}/N{n})" for n in range(1, number + 2)]
    head = (
        "(kicad_pcb (version 20171130) (host pcbnew 5)\n"
        "  (layers\n    (0 F.Cu signal)\n    (31 B.Cu signal)\n    (44 Edge.Cuts user)\n  )\n"
        '  (net 0 "")\n'
    )
    return head + "\n".join([*table, *parts]) + "\n)\n"


def synthetic_netlist(megabytes: float) -> str:
    """Return a netlist of version E of about so many megabytes: two pins a part."""
    count = int(megabytes * 1e6 / 560)
    parts = [
        f'    (comp (ref "R{n}")\n      (value "{n % 97}k")\n'
        f'      (footprint "Resistor_SMD:R_0402_1005Metric")\n      (datasheet "~")\n'
        f'      (fields\n        (field (name "Maker") "Maker {n % 7}"))\n'
        f'      (libsource (lib "Device") (part "R") (description "Resistor"))\n'
        f'      (property (name "Sheetname") (value "Block{n % 9}"))\n'
        f'      (sheetpath (names "/Block{n % 9}/") (tstamps "/{n % 9}/"))\n'
        f'      (tstamps "{n:08x}"))'
        for n in range(1, count + 1)
    ]
    nets = [
        f'    (net (code "{n}") (name "/Block{n % 9}/N{n}") (class "Default")\n'
        f'      (node (ref "R{n}") (pin "1") (pintype "passive"))\n'
        f'      (node (ref "R{n % count + 1}") (pin "2") (pintype "passive")))'
        for n in range(1, count + 1)
    ]
    return (
        '(export (version "E")\n  (design\n    (source "x"))\n  (components\n'
        + "\n".join(parts)
        + ")\n  (nets\n"
        + "\n".join(nets)
        + "))\n"
    )


def against_the_floor(
    text: str, name: str, *, netlist: bool, rounds: int = 5, tree: bool = False
) -> dict[str, float]:
    """Return the times of a text by reader, as multiples of the token floor."""
    document = Document(name, text)
    read, read_tree = (
        (read_netlist, read_netlist_tree) if netlist else (read_board, read_board_tree)
    )
    sides = {"floor": lambda: token_floor(text), "reader": lambda: read(document)}
    sides["all"] = lambda: ask_for_all(read(document))
    if tree:
        sides["tree"] = lambda: read_tree(document)
    spent = medians(sides, rounds)
    return {side: seconds / spent["floor"] for side, seconds in spent.items()}


def read_times(texts: list[str]) -> list[float]:
    """Return the seconds each board text takes."""
    documents = [Document(f"text {index}", text) for index, text in enumerate(texts)]
    sides = {d.path: partial(read_board, d) for d in documents}
    return list(medians(sides).values())


def against_kinparse(path: Path, rounds: int = 3) -> float:
    """Return how many times faster than kinparse a netlist is read, file to result."""
    from kinparse import parse_netlist

    document = Document(path.name, path.read_text(encoding="utf-8"))
    ours = medians({"reader": lambda: read_netlist(document)}, rounds)["reader"]
    start = time.process_time()
    parse_netlist(str(path))
    return (time.process_time() - start) / ours


def memory_a_megabyte(path: Path) -> float:
    """Return the growth of a fresh process for each byte of the file, text and board included."""
    setup = (
        "from pathlib import Path\nfrom nettrace.readers.document import Document\n"
        "from nettrace.readers.sexpr_board import read\n"
        "from measure import ask_for_all\n"
        # the grammar and its patterns are there once, whatever the file: not counted
        f"for _ in range(2): read(Document('x', {TINY_BOARD!r}))\n"
    )
    expression = (
        f"ask_for_all(read(Document('x', Path({str(path)!r}).read_text(encoding='utf-8'))))"
    )
    return memory_growth(setup, expression) / path.stat().st_size


def lines(boards: Path, synthetic_megabytes: tuple[float, float]) -> Iterator[str]:
    """Yield the report, line by line."""
    for name in BOARDS:
        text = (boards / name).read_text(encoding="utf-8")
        times = against_the_floor(text, name, netlist=False, tree=True)
        yield report(f"{Path(name).name[:36]} / floor", times["reader"], 1.0, 0.7)
        yield (
            f"{'':<12} (whole tree {times['tree']:.1f} x the floor; "
            f"every pin and pad asked for {times['all']:.2f} x)"
        )
        growth = memory_a_megabyte(boards / name)
        yield report(f"{Path(name).name[:36]} memory / size", growth, 6, 4)
    for name in NETLISTS:
        text = (boards / name).read_text(encoding="utf-8")
        times = against_the_floor(text, name, netlist=True, rounds=9, tree=True)
        yield report(f"{Path(name).name[:36]} / floor", times["reader"], 1.3, 0.95)
        yield (
            f"{'':<12} (whole tree {times['tree']:.1f} x the floor; "
            f"every pin and pad asked for {times['all']:.2f} x)"
        )
    faster = against_kinparse(boards / NETLISTS[0])
    yield f"{'marzipan.net: times faster than kinparse':<52} {faster:8.0f}   goal 200, stretch 800"
    board, netlist = (
        synthetic_board(synthetic_megabytes[0]),
        synthetic_netlist(synthetic_megabytes[1]),
    )
    times = against_the_floor(board, "synthetic", netlist=False, rounds=3)
    yield report(f"synthetic board, {len(board) / 1e6:.0f} MB / floor", times["reader"], 1.0, 0.7)
    times = against_the_floor(netlist, "synthetic", netlist=True, rounds=3)
    yield report(
        f"synthetic netlist, {len(netlist) / 1e6:.0f} MB / floor", times["reader"], 1.3, 0.95
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "synthetic.kicad_pcb"
        path.write_text(board, encoding="utf-8")
        growth = memory_a_megabyte(path)
        yield report("synthetic board memory / size", growth, 6, 4)


def main() -> None:
    """Print the ratios; real boards are needed (NETTRACE_BOARDS, or ../shared/boards)."""
    boards = Path(os.environ.get("NETTRACE_BOARDS", ROOT.parent / "shared" / "boards"))
    for line in lines(boards, (27.0, 10.0)):
        print(line, flush=True)


if __name__ == "__main__":
    main()
