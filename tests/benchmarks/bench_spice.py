"""How fast SPICE decks are read: against splitting all words and PySpice's reader, interleaved.

Medians of CPU seconds. Run it: python tests/benchmarks/bench_spice.py [LINES] [PYTHON]
PYTHON is an interpreter that has PySpice (this one, if it does); without it that row is left out.
"""

from __future__ import annotations

import gc
import random
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
from nettrace.readers.spice import read_with  # noqa: E402

try:
    from tests.benchmarks.measure import ask_for_all
except ImportError:  # run as a script: its folder is on the path, the project is not
    from measure import ask_for_all  # type: ignore[import-not-found, no-redef]

__all__ = ["floor", "kept_words", "made_deck", "measure", "nested_deck"]

ROUNDS = 5
_PEER = """
import sys, time
from PySpice.Spice.Parser import SpiceParser
for path in sys.argv[1:]:
    began = time.process_time()
    circuit = SpiceParser(path=path).build_circuit()
    print(time.process_time() - began)
    del circuit
"""


def made_deck(lines: int, seed: int = 1) -> str:
    """A flat board deck of so many lines: passives mostly, transistors, diodes; always the same."""
    chance = random.Random(seed)
    nets = [f"N{number}" for number in range(max(2, lines // 4))]
    text = ["* a made deck", ".model QN NPN(BF=100)", ".model DX D(IS=1n)"]
    for number in range(lines - 4):
        a, b, c = chance.choice(nets), chance.choice(nets), chance.choice(nets)
        kind = number % 10
        if kind < 5:
            text.append(f"R{number} {a} {b} {chance.randrange(1, 999)}k")
        elif kind < 8:
            text.append(f"C{number} {a} 0 100n")
        elif kind < 9:
            text.append(f"Q{number} {a} {b} {c} QN")
        else:
            text.append(f"D{number} {a} {b} DX")
    return "\n".join([*text, ".end"]) + "\n"


def nested_deck(levels: int = 4, width: int = 100, elements: int = 250) -> str:
    """`width` towers of subcircuits, `levels` high: each body calls the next one below."""
    text = ["* nested subcircuits"]
    for tower in range(width):
        for level in range(levels):
            text.append(f".subckt S{tower}_{level} a b")
            text += [f"R{number} a n{number} 1k" for number in range(elements - 4)]
            below = f"X1 n0 b S{tower}_{level + 1}"
            text.append(below if level + 1 < levels else "C1 a b 1n")
            text.append(f".ends S{tower}_{level}")
    text += [f"X{tower} in out S{tower}_0" for tower in range(width)]
    return "\n".join([*text, ".end"]) + "\n"


def floor(text: str) -> int:
    """Split all lines into words, each line's thrown away at once: the floor of the goal."""
    return sum(len(line.split()) for line in text.split("\n"))


def kept_words(text: str) -> list[list[str]]:
    """Split all lines into words and keep them: what any reader of lines does at the least."""
    return [line.split() for line in text.splitlines()]


def measure(*works: Callable[[], object], rounds: int = ROUNDS) -> list[float]:
    """Return each work's median CPU seconds; the works take turns."""
    taken: list[list[float]] = [[] for _ in works]
    for _ in range(rounds):
        for work, times in zip(works, taken, strict=True):
            gc.collect()
            began = time.process_time()
            result = work()
            times.append(time.process_time() - began)
            del result  # giving it back is no part of reading
    return [statistics.median(times) for times in taken]


def peer_seconds(python: str, text: str, rounds: int = ROUNDS) -> float | None:
    """Return PySpice's median CPU seconds for reading and building a circuit; None without it."""
    with tempfile.TemporaryDirectory() as folder:
        deck = Path(folder) / "deck.cir"
        deck.write_text(text)
        done = subprocess.run(
            [python, "-c", _PEER, *[str(deck)] * rounds], capture_output=True, check=False
        )
    times = [float(line) for line in done.stdout.split()]
    return statistics.median(times) if len(times) == rounds else None


def main(lines: int, python: str) -> None:
    """Print the ratios."""
    for name, text, hierarchy in (
        (f"{lines} lines", made_deck(lines), "keep"),
        ("400 nested subcircuits, kept", nested_deck(), "keep"),
        ("400 nested subcircuits, expanded", nested_deck(), "flatten"),
    ):
        document = Document("made.cir", text)
        base, kept, ours, whole = measure(
            lambda text=text: floor(text),  # type: ignore[misc]
            lambda text=text: kept_words(text),  # type: ignore[misc]
            lambda document=document, hierarchy=hierarchy: read_with(document, hierarchy),  # type: ignore[misc]
            lambda document=document, hierarchy=hierarchy: ask_for_all(  # type: ignore[misc]
                read_with(document, hierarchy)
            ),
        )
        peer = None if hierarchy == "flatten" else peer_seconds(python, text)
        print(
            f"{name}: {ours:.3f} s, {ours / base:.1f} x splitting all words, "
            f"{ours / kept:.1f} x splitting and keeping them"
        )
        print(f"  with every pin asked for {whole / kept:.1f} x splitting and keeping them")
        if peer is not None:
            print(f"  PySpice {peer:.3f} s: {peer / ours:.1f} x faster")


if __name__ == "__main__":
    main(
        int(sys.argv[1]) if len(sys.argv) > 1 else 100_000,
        sys.argv[2] if len(sys.argv) > 2 else sys.executable,
    )
