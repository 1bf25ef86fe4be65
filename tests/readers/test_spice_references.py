"""Decks of older schematic programs: a board's references as element names, `?` as no net."""

from __future__ import annotations

from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.registry import read_text

HEAD = "* card.cir\n\n* EESchema Netlist Version 1.1 (Spice format) creation date: 3.4.2014\n\n"


def read(*lines: str, head: str = HEAD) -> Board:
    return read_text(Document("card.cir", "\n".join([head, *lines, "", ".end", ""])))


def pins(board: Board, part: str) -> list[str | None]:
    return [pin.net for pin in board.part_by_key[part].pins]


def test_a_part_whose_letter_is_not_spices_has_all_its_pins() -> None:
    board = read(
        "IC3  a b c d LM358\t\t", "J1 VCC GND a d b CONN_5", "U2  d PLOT", "R1 a VCC 10k",
        "Q1 VCC a b BC847",
    )  # fmt: skip
    assert pins(board, "IC3") == ["a", "b", "c", "d"]
    assert pins(board, "J1") == ["VCC", "GND", "a", "d", "b"]
    assert pins(board, "U2") == ["d"]
    assert board.part_by_key["IC3"].value == "LM358"
    assert board.part_by_key["R1"].value == "10k"
    assert pins(board, "Q1") == ["VCC", "a", "b"]
    assert not board.warnings


def test_the_letter_counts_in_any_other_deck() -> None:
    board = read("J1 VCC GND a d b CONN_5", head="* card\n\n* drawn by hand\n\n")
    assert pins(board, "J1") == ["VCC", "GND", "a"]


def test_a_question_mark_ties_nothing() -> None:
    board = read("R1 VCC ? 10k", "C1 ? GND 100n", "X1 ? VCC ? GND AMP", "V1 VCC ? DC 5")
    assert "?" not in board.net_by_name
    assert pins(board, "R1") == ["VCC", None]
    assert pins(board, "X1") == [None, "VCC", None, "GND"]
    assert board.net_by_name["VCC"].volts is None  # its source has one end in the air
    open_nodes = next(warning for warning in board.warnings if warning.code == "open-nodes")
    assert "5 pins" in open_nodes.message


def test_a_transistors_substrate_stands_before_a_model_that_the_deck_lacks() -> None:
    # one simulator's schematic program writes node 0 for the substrate of every transistor
    lines = ["Q1 c b 0 0 2N3904", "Q2 c b e 3904 1.5", "Q3 c b e BC547", "Q4 c b e 0 BC547 2"]
    board = read(*lines, "R1 c b 1k", "R2 e 0 1k", head="* card\n\n")
    assert [board.part_by_key[f"Q{n}"].value for n in (1, 2, 3, 4)] == [
        "2N3904", "3904", "BC547", "BC547",
    ]  # fmt: skip
    assert pins(board, "Q1") == ["c", "b", "0", "0"]
    assert pins(board, "Q2") == ["c", "b", "e"]


def test_a_letter_and_a_section_sign_before_the_reference_are_the_writers() -> None:
    # so where the reference does not begin with the element's letter; from memory of its manual
    board = read("Q§T1 c b e BC547", "R§POT1 c b 1k", "X§IC2 c b e AMP", "R2 e c 1k", head="*\n\n")
    assert {part.refdes for part in board.parts} == {"T1", "POT1", "IC2", "R2"}
    assert board.part_by_key["T1"].properties["spice_element"] == "Q"
