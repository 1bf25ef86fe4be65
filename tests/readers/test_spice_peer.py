"""The expanded circuit against ngspice's own listing (`listing expand`), element by element."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.registry import decode_text
from nettrace.readers.spice import read_with

CASES = Path(__file__).parent / "cases" / "spice"
#: Line 1 is the title, which is listed too.
ELEMENT = re.compile(r"(?m)^ +(?!1 :)\d+ : (\S+)[ \t]+(.*)$")
#: ngspice turns E, F, G and H with POLY into code models, and formulas into helpers of its own.
POLY = re.compile(r"a\$poly\$(\S+) (?:%vd \[ (.*?) \]|%vnam \[.*?\]) %\w+ \( (\S+) (\S+) \)")


@pytest.fixture(scope="module")
def ngspice() -> str:
    found = shutil.which("ngspice")
    if found is None:
        pytest.skip("ngspice is not installed: the outside check of the expanded circuit is off")
    return found


def listing(ngspice: str, text: str, folder: Path) -> dict[str, tuple[str, ...]]:
    """Return ngspice's elements with all words after their names, in lower case."""
    kept = re.sub(r"(?ims)^\s*\.control\b.*?^\s*\.endc\b[^\n]*\n", "", text)
    kept = re.sub(r"(?im)^\s*\.end\s*$[\s\S]*", "", kept)
    kept = re.sub(r"(?im)^\s*\.(?:plot|tran|save)\b.*$", "", kept)
    deck = folder / "listed.cir"
    deck.write_text(f"{kept}\n.control\nlisting expand\n.endc\n.end\n", encoding="utf-8")
    done = subprocess.run(
        [ngspice, "-b", deck.name], cwd=folder, capture_output=True, timeout=60, check=False
    )
    found: dict[str, tuple[str, ...]] = {}
    for name, rest in ELEMENT.findall(done.stdout.decode("utf-8", errors="replace")):
        if name.startswith("."):
            continue
        poly = POLY.match(f"{name} {rest}")
        if poly is None:
            # a body defined within a body is expanded first: r.x1.r.x9.r9 is X1/X9/R9
            letter, *path = name.split(".")
            path = [step for step in path if step != letter or step == path[-1]]
            found[".".join([letter, *path])] = tuple(rest.split())
        else:
            found[poly[1]] = (poly[3], poly[4], *(poly[2] or "").split())
    return found


def ours(board: Board) -> dict[str, tuple[str, ...]]:
    """Return our elements with their nets, named as ngspice names them."""
    found: dict[str, tuple[str, ...]] = {}
    for part in board.parts:
        *path, name = part.key.lower().split("/")
        key = ".".join([name[0], *path, name]) if path else name
        nets = (pin.net or "" for pin in part.pins)
        found[key] = tuple(
            "0" if net.lower() == "gnd" else net.lower().replace("/", ".") for net in nets
        )
    return found


def same_circuit(ngspice: str, text: str, source: Path, folder: Path) -> int:
    board = read_with(Document(source.name, text, source.parent), "flatten")
    theirs, own = listing(ngspice, text, folder), ours(board)
    assert set(theirs) == set(own)
    for name, nets in own.items():
        assert theirs[name][: len(nets)] == nets, name
    return len(own)


@pytest.mark.parametrize(
    ("name", "elements"),
    [("transimpedance-amp.net", 376), ("adder_mos.cir", 153), ("MSA-2643.cir", 36)],
)
def test_a_real_deck_expands_to_what_ngspice_lists(
    ngspice: str, boards: Path, tmp_path: Path, name: str, elements: int
) -> None:
    path = boards / "spice" / name
    text = decode_text(path.read_bytes(), name)
    text = re.sub(r"(?im)^\.include .*$", "*", text)  # MSA-2643's holds a control section alone
    assert same_circuit(ngspice, text, path, tmp_path) == elements


def test_local_and_global_nodes_and_parameters_are_those_of_ngspice(
    ngspice: str, tmp_path: Path
) -> None:
    path = CASES / "subcircuits.cir"
    text = path.read_text()
    assert same_circuit(ngspice, text, path, tmp_path) == 14
    theirs = listing(ngspice, text, tmp_path)
    board = read_with(Document(path.name, text), "flatten")
    compared = 0
    for part in board.parts:
        if part.refdes.rsplit("/", 1)[-1][0] not in "RC":
            continue
        *inside, name = part.key.lower().split("/")
        words = theirs[".".join([name[0], *inside, name]) if inside else name]
        number = words[2].replace("k", "e3").replace("n", "e-9")
        assert float(number) == pytest.approx(float(part.properties["spice_value"])), part.key
        compared += 1
    assert compared == 11


def test_remarks_and_continuations_are_those_of_ngspice(ngspice: str, tmp_path: Path) -> None:
    text = "\n".join(
        [
            "R0 this is the title",
            "R1 a b 1k; one",
            "R2 a b 1k ;two",
            "R3 a b 1k $ three",
            "R4 a b 1k $four",
            "R5 a b 1k // five",
            "  R6 a b 1k",
            "   * six",
            "R7 a",
            "* seven",
            "",
            "+ b 4",
            ".end",
        ]
    )
    assert same_circuit(ngspice, text, CASES / "none.cir", tmp_path) == 7
