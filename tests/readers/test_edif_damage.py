"""Damaged EDIF: nothing but our error, and never a difference that is not seen.

The grammar `grammars/edif.lark` is the definition of the netlist view that people read; here it and
the reader are held to the same verdict on small texts.
"""

from __future__ import annotations

import random
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lark.exceptions import UnexpectedInput

from nettrace.errors import BadInput
from nettrace.model.board import Board
from nettrace.readers import edif_tree
from nettrace.readers.document import Document
from nettrace.readers.edif import read
from nettrace.readers.edif_cells import CellReader
from nettrace.readers.edif_tree import Tree
from nettrace.readers.grammar import load_grammar
from tests.readers.edif_schematics import Dialect, Schematic

CASES = Path(__file__).parent / "cases" / "edif"

#: Texts of one character changed, dropped or doubled.
DAMAGES = 1000


def as_used(document: Document) -> Board | str:
    try:
        return read(document)
    except BadInput as error:
        return str(error)


def damaged(text: str, chance: random.Random) -> str:
    at = chance.randrange(len(text))
    match chance.randrange(5):
        case 0:
            return text[:at] + text[at + 1 :]
        case 1:
            return text[:at] + text[at] + text[at:]
        case 2:
            return text[:at] + chance.choice('()" %&\n0aZ_-') + text[at + 1 :]
        case 3:
            return text[:at] + text[at + 1 : at + 2] + text[at] + text[at + 2 :]
        case _:
            # keywords and parentheses are hit more often than their share of the text
            near = text.find("(", at)
            at = near + chance.randrange(4) if near >= 0 else at
            return text[:at] + chance.choice("()x") + text[at + 1 :]


BOARD_TEXT = """(edif (rename b "b 1") (edifVersion 2 0 0) (edifLevel 0)
  (keywordMap (keywordLevel 0)) (status (written (timeStamp 1 2 3)))
  (external P (edifLevel 0) (technology (numberDefinition))
    (cell R (cellType GENERIC) (view n (viewType NETLIST) (interface
      (port &1 (direction INOUT)) (port (rename &2 "2") (direction INOUT) (designator "2"))
      (port (array (rename d "d[3:0]") 4) (direction INPUT) (property PIN_NAME (string "D")))))))
  (library W (edifLevel 0) (technology (numberDefinition))
    (cell S (cellType GENERIC) (comment "a sheet") (view n (viewType NETLIST)
      (interface (port X (direction INPUT)) (property PAGE (integer 3)))
      (contents (instance I (viewRef n (cellRef R (libraryRef P))))
        (net in (joined (portRef X) (portRef &1 (instanceRef I)))))))
    (cell T (cellType GENERIC) (property MADE (boolean (true))) (view n (viewType NETLIST)
      (interface)
      (contents (comment "top" "cell")
        (instance &7R (viewRef n (cellRef R (libraryRef P))) (designator "R7")
          (property Value (string "10K,1%37%,DNI")) (property (rename F_P "PCB Footprint")
          (string "0402")) (property N (number -5) (owner "me")))
        (instance (rename s "s 1") (viewRef n (cellRef S)))
        (net (rename A "A B") (joined (portRef &1 (instanceRef &7R)) (portRef X (instanceRef s)))
          (property Alias (string "AB")))
        (net C (joined (portRef (member d 0) (instanceRef &7R)) (portRef &2 (instanceRef &7R))))))))
  (design b (cellRef T (libraryRef W)) (property part (string "x"))))
"""


def is_accepted_by_grammar(text: str) -> bool:
    try:
        load_grammar("edif").parse(text)
    except UnexpectedInput:
        return False
    return True


def is_read(text: str) -> bool:
    """Whether the reader takes every form of the text; what the forms refer to is not looked at."""
    try:
        design = CellReader(Tree(Document("small.edf", text))).read()
    except BadInput:
        return False
    return not {"unknown-form", "deep-reference"} & {code for code, _, _ in design.notes}


def test_grammar_and_reader_take_the_same_netlists(boards: Path) -> None:
    paths = [*sorted((boards / "edif-netlists").glob("*.edf")), CASES / "board_netlist.edf"]
    for text in [BOARD_TEXT, *[path.read_text() for path in paths]]:
        assert is_accepted_by_grammar(text)
        assert is_read(text)


@pytest.mark.slow
def test_grammar_and_reader_give_one_verdict_on_damaged_netlists() -> None:
    chance = random.Random(20)
    refused = 0
    for _ in range(DAMAGES):
        text = damaged(BOARD_TEXT, chance)
        accepted = is_accepted_by_grammar(text)
        assert accepted == is_read(text), text
        refused += not accepted
    assert DAMAGES // 4 < refused < DAMAGES  # the damage is such that it shows


@given(st.integers(0, 2**32), st.integers(1, 6), st.sampled_from(sorted(CASES.glob("*.edf"))))
def test_damaged_cases_give_a_board_or_our_error(seed: int, rounds: int, path: Path) -> None:
    chance = random.Random(seed)
    text = path.read_bytes().decode()
    for _ in range(rounds):
        text = damaged(text, chance)
    document = Document(path.name, text)
    assert isinstance(as_used(document), Board | str)


@given(st.sampled_from(sorted(CASES.glob("*.edf"))), st.floats(0, 1))
def test_cut_off_anywhere_is_our_error(path: Path, share: float) -> None:
    text = path.read_bytes().decode().rstrip()
    cut = text[: int(share * (len(text) - 1))]
    assert isinstance(as_used(Document(path.name, cut)), str)


@given(st.text(alphabet='()" \n%edif0aé\x00', max_size=200) | st.binary(max_size=200).map(repr))
def test_any_text_is_our_error(text: str) -> None:
    assert isinstance(as_used(Document("any.edf", text)), str)


@pytest.mark.parametrize(
    "text",
    [
        "(" * 200_000,
        "(edif " * 100_000,
        "(edif a " + "(comment " * 499 + '"x"' + ")" * 500,
        '(edif a (comment "' + "x" * 1_000_000,
        "(edif a (edifVersion 2 0 0)" + " " * 1_000_000 + "x",
        "(edif a (edifVersion 2 0 0)" + '(comment "a") ' * 50_000,
        "(edif a (edifVersion 2 0 0)" + "(property a (string " * 200 + "((" * 100_000,
    ],
    ids=["parentheses", "forms", "nested", "string", "blanks", "comments", "mixed"],
)
def test_huge_and_deep_text_is_answered_at_once(text: str) -> None:
    start = time.process_time()
    assert isinstance(as_used(Document("huge.edf", text)), str)
    assert time.process_time() - start < 60  # seconds; a hundredth of it as a rule


@pytest.mark.parametrize("form", ["(net n ", "(net n (joined (portList ", "(commentGraphics "])
def test_forms_within_forms_never_end_the_stack(form: str) -> None:
    opened = form * 450
    text = BOARD_TEXT.replace("(net C ", f"{opened}{')' * opened.count('(')} (net C ")
    assert "nested 201 deep" in str(as_used(Document("deep.edf", text)))


def token_by_token(document: Document, monkeypatch: pytest.MonkeyPatch) -> Board | str:
    with monkeypatch.context() as patch:
        pattern = edif_tree._pattern(whole=False, closed=False)
        patch.setattr(edif_tree, "_pattern", lambda **_: pattern)
        return as_used(document)


def test_drawing_left_out_makes_no_difference_on_damaged_schematics(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    chance = random.Random(20261126)
    texts = [(CASES / f"{name}.edf").read_text() for name in ("schematic_pages", "view_map")]
    texts += [Schematic(Dialect(symbols="in comment", inner_nets=True)).text()]
    boards = 0
    for number in range(DAMAGES):
        text = texts[number % len(texts)]
        if number >= len(texts):
            text = damaged(text, chance)
        document = Document("s.edf", text)
        fast = as_used(document)
        assert fast == token_by_token(document, monkeypatch)
        boards += not isinstance(fast, str)
    assert DAMAGES > boards > DAMAGES // 20


@pytest.mark.parametrize(
    ("old", "new"),
    [
        # a word of drawing that means something else here
        ("(keywordLevel 0))", "(keywordLevel 1) (keywordAlias display net))"),
        # drawing that holds a symbol
        ("(figure WIRE", "(figure WIRE (instance X9 (viewRef N (cellRef CAP)))"),
        ("(figure WIRE", "(figure WIRE" + " (a" * 9 + ")" * 9),
        ("(figure WIRE", "(figure WIRE ()"),
        ("(figure WIRE", '(figure WIRE "not closed '),
        ("(edif (rename", "(figure x) (edif (rename"),
        ("(status", "((figure x) (status"),
    ],
)
def test_drawing_that_cannot_be_left_out_is_read(
    old: str, new: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = Schematic(Dialect()).text()
    assert old in text
    document = Document("s.edf", text.replace(old, new, 1))
    assert as_used(document) == token_by_token(document, monkeypatch)


def test_unclosed_drawing_takes_no_longer_than_closed() -> None:
    text = "(edif a " + "(figure " * 150 + "(pt 1 2) " * 50_000
    started = time.process_time()
    assert "the end of the file" in str(as_used(Document("s.edf", text)))
    assert time.process_time() - started < 60
