"""One circuit in the dialects of PCB schematic tools: whatever the dialect, the same board.

What such files look like is described from real ones that are not here; these are our own.
"""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.errors import BadInput
from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.registry import detect_format, read_text
from tests.readers.edif_schematics import NETS, PACKAGES, VALUES, Dialect, Schematic

CHOICES: dict[str, list[Any]] = {
    "reference": ["display", "bare", "property", "twice", "both", "renamed", "view map"],
    "pin_numbers": ["instance", "port", "view map"],
    "value": ["display", "bare", "partvalue", "Value"],
    "symbols": [
        "in net",
        "in comment",
        "in implementation",
        "in page",
        "in page, nameless",
        "in page, numbered",
    ],
    "split_joined": [False, True],
    "nets_first": [False, True],
    "cell_library": ["external", "library"],
    "case": ["mixed", "lower", "upper"],
    "line_end": ["\n", "\r\n", "\r"],
    "columns": [None, 80, 40],
    "bus": ["array", "bundle", "wires"],
    "off_page": [True, False],
    "comments": [False, True],
    "inner_nets": [False, True],
    "cell_names": ["id", "name", "shown"],
    "view_map": ["cell", "design"],
}


def check(dialect: Dialect) -> Board:
    text = Schematic(dialect).text()
    found = detect_format(text)
    assert found is not None
    assert found.name == "edif"
    board = read_text(Document("s.edf", text))
    nets = {
        net.name: {str(pin) for pin in net.pins}
        for net in board.nets
        if len(net.pins) > 1 or net.name in NETS
    }
    assert nets == NETS
    assert {part.refdes for part in board.parts} == {*VALUES, "J2"}
    assert {name: board.part_by_key[name].value for name in VALUES} == VALUES
    assert {p.refdes: p.package for p in board.parts if p.refdes in PACKAGES} == PACKAGES
    assert board.part_by_key["R12"].fitted is False
    assert [pin.number for pin in board.part_by_key["U3"].pins] == list("12345678")
    assert {pin.number for pin in board.part_by_key["U9"].pins} == {"1", "11", "12", "13", "14"}
    return board


@pytest.mark.parametrize(
    ("name", "choice"),
    [(name, choice) for name, choices in CHOICES.items() for choice in choices],
    ids=repr,
)
def test_each_way_of_writing_one_thing(name: str, choice: Any) -> None:
    check(Dialect(**{name: choice}))


@given(st.fixed_dictionaries({name: st.sampled_from(some) for name, some in CHOICES.items()}))
def test_any_mixture_of_ways(choices: dict[str, Any]) -> None:
    check(Dialect(**choices))


def replaced(old: str, new: str, dialect: Dialect | None = None) -> Board:
    """Return the board of the circuit with one thing in its text changed."""
    text = Schematic(dialect or Dialect()).text()
    assert old in text
    return read_text(Document("s.edf", text.replace(old, new)))


def codes(board: Board) -> set[str]:
    return {warning.code for warning in board.warnings}


def test_one_pin_number_on_two_nets_stays_two_pins_with_a_warning() -> None:
    board = replaced('(portInstance VCC (designator (stringDisplay "8"',
                     '(portInstance VCC (designator (stringDisplay "4"')  # fmt: skip
    pins = [(pin.number, pin.net) for pin in board.part_by_key["U3"].pins if pin.number == "4"]
    assert sorted(pins) == [("4", "GND"), ("4", "VCC")]
    assert "pin-on-two-nets" in codes(board)


def test_two_references_of_one_instance_are_said() -> None:
    dialect = Dialect(reference="both")
    board = replaced('(designator "C78")', '(designator "C79")', dialect)
    assert "C78" in board.part_by_key
    assert "two-designators" in codes(board)


def test_a_form_of_drawing_that_is_not_known_is_left_out_with_a_warning() -> None:
    known = replaced("(figure WIRE", "(figure WIRE")
    board = replaced("(transform ", '(glyphStyle (hue 3) "bold") (transform ')
    assert "unknown-form" in codes(board)
    assert {net.name: [str(pin) for pin in net.pins] for net in board.nets} == {
        net.name: [str(pin) for pin in net.pins] for net in known.nets
    }


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("(joined ", "(tied "),  # holds connections
        ("(designator ", "(designatr "),  # a slip of a known word
        ("(portRef &2 ", "(pinOf &2 "),
    ],
)
def test_a_form_that_may_hold_a_connection_or_a_name_stops_the_reader(old: str, new: str) -> None:
    with pytest.raises(BadInput, match=r"s\.edf:\d+:\d+: '\("):
        replaced(old, new)


def test_parts_without_a_reference_keep_their_ids_and_are_said() -> None:
    text = Schematic(Dialect()).text()
    shown = '(designator (stringDisplay "J2" (display PARTREF (origin (pt 1 2)))))'
    assert shown in text
    board = read_text(Document("s.edf", text.replace(shown, "")))
    assert "no-designator" in codes(board)
    (part,) = [part for part in board.parts if part.refdes.startswith("INS")]
    assert [pin.net for pin in part.pins] == ["AUDIO-IN", "GND"]


def test_a_test_point_whose_reference_is_a_property_is_a_part() -> None:
    dialect = Dialect(symbols="in page")
    text = Schematic(dialect).text()
    plain = "(viewRef NORMAL (cellRef PWR (libraryRef SYMS))))"
    assert plain in text
    named = plain[:-1] + '(property RefDes (string "TP4")))'
    board = read_text(Document("s.edf", text.replace(plain, named)))
    assert "TP4" in board.part_by_key
    assert "symbol" not in codes(board)


SHEETS = """(edif b (edifVersion 2 0 0) (edifLevel 0) (keywordMap (keywordLevel 0))
(library L (edifLevel 0) (technology (numberDefinition))
 (cell RES (cellType GENERIC) (view N (viewType SCHEMATIC)
  (interface (port &1 (direction INOUT)) (port &2 (direction INOUT)))))
 (cell SYM (cellType GENERIC) (view N (viewType SCHEMATIC) (interface (port P (direction INOUT)))))
 (cell BLOCK (cellType GENERIC) (view N (viewType SCHEMATIC)
  (interface (port OUT (direction OUTPUT)))
  (contents (page P1
   (instance I1 (viewRef N (cellRef RES)) (designator "R1"))
   (instance I2 (viewRef N (cellRef RES)) (designator "R2"))
   (net OUT (joined (portRef OUT) (portRef &1 (instanceRef I1))))
   (net MID (joined (portRef &2 (instanceRef I1)) (portRef &1 (instanceRef I2)))
    (instance S1 (viewRef N (cellRef SYM))))
   (net GND (joined (portRef &2 (instanceRef I2)) (portRef P (instanceRef S2)))
    (instance S2 (viewRef N (cellRef SYM))))))))
 (cell TOP (cellType GENERIC) (view N (viewType SCHEMATIC) (interface)
  (contents (page P1
   (instance B1 (viewRef N (cellRef BLOCK)) (designator "LEFT"))
   (instance B2 (viewRef N (cellRef BLOCK)) (designator "RIGHT"))
   (instance I9 (viewRef N (cellRef RES)) (designator "R9"))
   (net A (joined (portRef OUT (instanceRef B1)) (portRef &1 (instanceRef I9))))
   (net B (joined (portRef OUT (instanceRef B2))))
   (net GND (joined (portRef &2 (instanceRef I9))) (instance S3 (viewRef N (cellRef SYM)))))))))
(design b (cellRef TOP (libraryRef L))))
"""


def test_power_symbols_make_a_supply_one_net_through_all_sheets_and_nothing_else() -> None:
    board = read_text(Document("s.edf", SHEETS))
    nets = {net.name: {str(pin) for pin in net.pins} for net in board.nets}
    assert nets == {
        "A": {"LEFT/R1.1", "R9.1"},
        "B": {"RIGHT/R1.1"},
        "GND": {"LEFT/R2.2", "RIGHT/R2.2", "R9.2"},
        "LEFT/MID": {"LEFT/R1.2", "LEFT/R2.1"},
        "RIGHT/MID": {"RIGHT/R1.2", "RIGHT/R2.1"},
    }
    assert "power-symbols" in codes(board)


def test_a_supplys_name_without_a_power_symbol_stays_its_sheets_own() -> None:
    bare = SHEETS.replace(" (portRef P (instanceRef S2))", "").replace(
        "(instance S2 (viewRef N (cellRef SYM)))", ""
    )
    names = {net.name for net in read_text(Document("s.edf", bare)).nets}
    assert {"GND", "LEFT/GND", "RIGHT/GND"} <= names
