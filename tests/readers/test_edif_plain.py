"""EDIF: the plain case, made at once, is never another board than the general way makes."""

from __future__ import annotations

import random
from collections.abc import Sequence

import pytest

from nettrace.model.board import Board
from nettrace.readers import edif_board, edif_cells
from nettrace.readers.document import Document
from nettrace.readers.edif_board import build_board
from nettrace.readers.edif_design import View
from nettrace.readers.edif_nodes import Use
from nettrace.readers.edif_plain import PlainMaker
from tests.benchmarks.bench_edif import made_netlist

TEXT = """(edif B (edifVersion 2 0 0) (edifLevel 0) (keywordMap (keywordLevel 0))
 (external L (edifLevel 0) (technology (numberDefinition))
  (cell C (cellType GENERIC) (view N (viewType NETLIST) (interface
   (port &2 (direction INPUT)) (port (rename &1 "A")) (port (array (rename D "D[1:0]") 2))))))
 (library W (edifLevel 0) (technology (numberDefinition))
  (cell T (cellType GENERIC) (view N (viewType NETLIST) (interface PORTS) (contents
   (instance U1 (viewRef N (cellRef C (libraryRef L))) (property Value (string "10k")))
   (instance U2 (viewRef N (cellRef C (libraryRef L))) MORE)
   (net X (joined (portRef &2 (instanceRef U1)) (portRef A (instanceRef U2)) IN_X))
   (net (rename Y "X") (joined (portRef (member D 1) (instanceRef U1)) IN_Y))))))
 (design B (cellRef T (libraryRef W))))
"""

#: What is put where PORTS, MORE, IN_X and IN_Y stand; whether the plain way is for it; warnings.
CASES = {
    "plain": ({}, True, ["repeated-net-name"]),
    "spelt otherwise": (
        {"IN_X": "(portRef 1 (instanceRef u2)) (portRef (member d 0) (instanceRef u1))"},
        True,
        ["repeated-net-name"],
    ),
    "said twice": ({"IN_X": "(portRef &2 (instanceRef U1))"}, True, ["repeated-net-name"]),
    "a pin on two nets": (
        {"IN_Y": "(portRef &2 (instanceRef U1))"},
        False,
        ["repeated-net-name", "pin-on-two-nets"],
    ),
    "a port that is not there": (
        {"IN_Y": "(portRef Q (instanceRef U1))"},
        False,
        ["repeated-net-name", "unknown-port"],
    ),
    "a whole bus": (
        {"IN_Y": "(portRef D (instanceRef U2))"},
        False,
        ["repeated-net-name", "width-mismatch"],
    ),
    "a part in two units": (
        {
            "MORE": '(designator "U9")) (instance U3 (viewRef N (cellRef C (libraryRef L)))'
            ' (designator "U9")'
        },
        False,
        ["repeated-net-name"],
    ),
    "a part not numbered yet": ({"MORE": '(designator "U?")'}, True, ["repeated-net-name"]),
    "numbers of its own": (
        {"MORE": '(portInstance &1 (designator "7"))'},
        False,
        ["repeated-net-name"],
    ),
    "a net in another": (
        {"IN_Y": ")\n  (net Z (joined (portRef (member D 0) (instanceRef U1)))"},
        True,
        ["repeated-net-name"],
    ),
    "ports of the top cell": (
        {"PORTS": "(port P)", "IN_X": "(portRef P)", "IN_Y": "(portRef Q)"},
        True,
        ["repeated-net-name", "unknown-port"],
    ),
    "a port of the top cell on two nets": (
        {"PORTS": "(port P)", "IN_X": "(portRef P)", "IN_Y": "(portRef p)"},
        False,
        [],
    ),
}


def filled(parts: dict[str, str]) -> str:
    text = TEXT.replace("portRef A", "portRef &1")
    for word in ("PORTS", "MORE", "IN_X", "IN_Y"):
        text = text.replace(word, parts.get(word, ""))
    return text


def both(text: str, monkeypatch: pytest.MonkeyPatch) -> tuple[Board, Board, list[bool]]:
    """The board as read, the board of the general way, and whether the plain way was taken."""
    document = Document("b.edf", text)
    taken: list[bool] = []
    expander = edif_board._Expander
    plain_way = expander.make_plain

    def watched(self: PlainMaker, view: View, uses: Sequence[Use]) -> bool:
        taken.append(plain_way(self, view, uses))
        return taken[-1]

    with monkeypatch.context() as patch:
        patch.setattr(expander, "make_plain", watched)
        as_read = build_board(document, edif_cells.read_design(document), "flatten")
        patch.setattr(expander, "make_plain", lambda *_: False)
        return as_read, build_board(document, edif_cells.read_design(document), "flatten"), taken


@pytest.mark.parametrize("name", CASES)
def test_the_plain_way_says_what_the_general_one_says(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    parts, is_plain, codes = CASES[name]
    as_read, general, taken = both(filled(parts), monkeypatch)
    assert taken == [is_plain]
    assert repr(as_read) == repr(general)
    assert sorted(w.code for w in as_read.warnings) == sorted(codes)


def test_a_larger_netlist_is_the_same_either_way(monkeypatch: pytest.MonkeyPatch) -> None:
    as_read, general, taken = both(made_netlist(0.05), monkeypatch)
    assert taken == [True]
    assert repr(as_read) == repr(general)


def test_references_that_lead_elsewhere_change_nothing_between_the_ways(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    chance = random.Random(3)
    lines = made_netlist(0.05).splitlines(keepends=True)
    refs = [at for at, line in enumerate(lines) if "(portRef" in line]
    for _ in range(20):
        changed = list(lines)
        for _ in range(chance.randrange(1, 4)):
            changed[chance.choice(refs)] = lines[chance.choice(refs)]
        as_read, general, taken = both("".join(changed), monkeypatch)
        assert repr(as_read) == repr(general)
        assert taken == [not any(w.code == "pin-on-two-nets" for w in general.warnings)]


def test_places_name_the_line_and_column_of_each_form() -> None:
    text = made_netlist(0.01).replace("\n          (net", " (net")
    document = Document("b.edf", text)
    board = build_board(document, edif_cells.read_design(document), "flatten")
    for part in board.parts[::7]:
        assert part.place is not None
        line = text.split("\n")[part.place.line - 1]
        assert line[part.place.column - 1 :].startswith(f"(instance {part.refdes} ")
    for net in board.nets[::7]:
        assert net.place is not None
        line = text.split("\n")[net.place.line - 1]
        assert line[net.place.column - 1 :].startswith("(net ")
