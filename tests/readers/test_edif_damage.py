"""Damaged EDIF: the fast reader and the whole-tree reader never differ; nothing but our error.

The whole-tree reader is the yardstick: it knows every form, and stops at what it does not know.
"""

from __future__ import annotations

import random
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.errors import BadInput
from nettrace.model.board import Board
from nettrace.readers import edif, edif_cells, edif_forms, edif_tree
from nettrace.readers.document import Document
from nettrace.readers.edif import read
from nettrace.readers.edif_board import build_board
from nettrace.readers.edif_design import Design
from tests.readers.edif_schematics import Dialect, Schematic
from tests.readers.sound_regex import needs_sound_regex

CASES = Path(__file__).parent / "cases" / "edif"


@pytest.fixture(autouse=True)
def _grammar_always(monkeypatch: pytest.MonkeyPatch) -> None:
    """Small as these texts are, let the grammar have its say first."""
    monkeypatch.setattr(edif, "GRAMMAR_PAYS", 0)


#: Cases of one character changed, dropped or doubled; the goal is 1,000 without a difference.
DAMAGES = 1000


def whole_tree(document: Document) -> Board | str:
    try:
        return build_board(document, edif_cells.read_design(document), "flatten")
    except BadInput as error:
        return str(error)


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


def small_texts(boards: Path) -> list[str]:
    """Texts that the grammar reads, small enough for a thousand rounds."""
    paths = sorted((boards / "edif-netlists").glob("*.edf"))
    texts = [path.read_text() for path in paths]
    texts = [text for text in texts if len(text) < 11_000]
    assert texts
    return [*texts, BOARD_TEXT]


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


@needs_sound_regex
def test_the_grammar_reads_these_texts(boards: Path) -> None:
    for text in small_texts(boards):
        assert edif_forms.read_design(Document("made.edf", text)).libraries


@pytest.mark.slow
def test_one_character_off_makes_no_silent_difference(boards: Path) -> None:
    chance = random.Random(20)
    texts = small_texts(boards)
    errors = 0
    for round_number in range(DAMAGES):
        text = texts[-1] if round_number % 2 else chance.choice(texts)
        document = Document("damaged.edf", damaged(text, chance))
        expected = whole_tree(document)
        assert as_used(document) == expected, document.text
        errors += isinstance(expected, str)
    assert errors > DAMAGES // 4  # the damage is such that it shows


@given(st.integers(0, 2**32), st.integers(1, 6), st.sampled_from(sorted(CASES.glob("*.edf"))))
def test_damaged_cases_give_a_board_or_our_error(seed: int, rounds: int, path: Path) -> None:
    chance = random.Random(seed)
    text = path.read_bytes().decode()
    for _ in range(rounds):
        text = damaged(text, chance)
    document = Document(path.name, text)
    assert as_used(document) == whole_tree(document)


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
    assert time.process_time() - start < 5  # seconds; a tenth of it as a rule


def test_small_texts_are_read_without_the_grammar(monkeypatch: pytest.MonkeyPatch) -> None:
    read_by: list[str] = []
    monkeypatch.setattr(edif, "GRAMMAR_PAYS", 3 * len(BOARD_TEXT))
    monkeypatch.setattr(edif._Account, "characters", 0)
    by_forms = edif_forms.read_design

    def noted(document: Document) -> Design:
        read_by.append("forms")
        return by_forms(document)

    monkeypatch.setattr(edif_forms, "read_design", noted)
    boards = [read(Document("made.edf", BOARD_TEXT)) for _ in range(4)]
    assert read_by == ["forms", "forms"]  # the first two were small change
    assert boards[0] == boards[3]


def token_by_token(document: Document, monkeypatch: pytest.MonkeyPatch) -> Board | str:
    with monkeypatch.context() as patch:
        patch.setattr(edif_tree, "_DRAWING_OR_TOKEN", edif_tree._TOKEN)
        return whole_tree(document)


@needs_sound_regex
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
        fast = whole_tree(document)
        assert fast == token_by_token(document, monkeypatch)
        boards += not isinstance(fast, str)
    assert DAMAGES > boards > DAMAGES // 20


@needs_sound_regex
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
    assert whole_tree(document) == token_by_token(document, monkeypatch)


@needs_sound_regex
def test_unclosed_drawing_takes_no_longer_than_closed() -> None:
    text = "(edif a " + "(figure " * 400 + "(pt 1 2) " * 50_000
    started = time.process_time()
    assert "the end of the file" in str(whole_tree(Document("s.edf", text)))
    assert time.process_time() - started < 3
