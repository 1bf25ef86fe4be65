"""Netlists: what is filled in, and what is reported rather than settled."""

from __future__ import annotations

from pathlib import Path

from nettrace.errors import Place
from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.registry import read_file, read_text

CASES = Path(__file__).parent / "cases" / "kicad_net"
D = (CASES / "divider_d.net").read_text(encoding="utf-8")
E = (CASES / "divider_e.net").read_text(encoding="utf-8")


def board_of(text: str) -> Board:
    return read_text(Document("x.net", text))


def test_version_d_takes_pin_names_and_types_from_the_symbols() -> None:
    board = read_file(CASES / "divider_d.net", shown="d.net")
    u1 = board.part_by_key["U1"]  # its symbol is an alias of another
    assert [(p.number, p.name, p.electrical_type) for p in u1.pins] == [("4", "V-", "power_in")]
    assert u1.description == "Amplifier (one)"
    r1 = board.part_by_key["R1"]
    assert [(p.number, p.name, p.electrical_type) for p in r1.pins] == [
        ("1", None, "passive"),
        ("2", None, "passive"),
    ]
    assert (r1.value, r1.package, r1.sheet) == ("10k", "Lib:R0402", "/In/")
    assert dict(r1.properties) == {"Maker": "A B"}
    assert r1.pins[0].place == Place("d.net", 64, 7)
    assert board.name == "Divider"


def test_a_component_without_nodes_stays_a_part_and_a_net_of_one_pin_stays_a_net() -> None:
    board = board_of(D)
    assert board.part_by_key["FID1"].pins == ()
    assert [str(pin) for pin in board.net_by_name["Net-(R1-Pad1)"].pins] == ["R1.1"]
    assert board.warnings == ()


def test_version_e_gives_not_fitted_fields_and_compound_pin_types() -> None:
    board = read_file(CASES / "divider_e.net")
    r1, u1 = board.part_by_key["R1"], board.part_by_key["U1"]
    assert (r1.fitted, u1.fitted) == (False, True)  # U1 says dnp is no
    assert r1.description == "Resistor, thick film"
    # a no-break space is a letter, not a blank
    assert r1.properties["Maker"] == "\u00a0Würth Elektronik"
    assert r1.properties["Datasheet"] == "https://example.org/r.pdf"
    assert r1.properties["exclude_from_bom"] == "yes"
    assert "CONFIG" not in r1.properties
    assert (u1.pins[1].name, u1.pins[1].electrical_type) == ("NC", "passive+no_connect")
    assert board.net_by_name["/In/A/B"].aliases == ("/In/A{slash}B",)
    assert board.name == "divider_e"  # an empty title is none


def test_real_not_fitted_parts_are_those_the_truth_counts(boards: Path) -> None:
    board = read_file(boards / "zswatch-devkit" / "ZSWatch-Watch-DevKit-netlist.net")
    not_fitted = [part.refdes for part in board.parts if part.fitted is False]
    # boards/README.md, cross-checks: "8 not-fitted parts (...) with `dnp` in the .net"
    assert not_fitted == ["R603", "R604", "R607", "R608", "R609", "R610", "R611", "R614"]


def test_a_pin_on_two_nets_is_a_warning_and_a_conflict_with_both_places() -> None:
    board = board_of(D.replace("(ref U1) (pin 4)", "(ref R1) (pin 1)"))
    assert [str(warning) for warning in board.warnings] == [
        "warning: pin-on-two-nets: R1.1 is on GND (x.net:62:7) and on Net-(R1-Pad1) (x.net:64:7) "
        "(x.net:64:7)"
    ]
    (conflict,) = board.conflicts
    assert conflict.subject == "R1.1"
    assert [(s.what, s.place.line) for s in conflict.statements] == [
        ("on GND", 62),
        ("on Net-(R1-Pad1)", 64),
    ]
    assert [pin.net for pin in board.part_by_key["R1"].pins] == ["GND", "Net-(R1-Pad1)", "GND"]


def test_one_net_name_twice_is_reported() -> None:
    board = board_of(D.replace('(name "Net-(R1-Pad1)")', "(name GND)"))
    (warning,) = board.warnings
    assert (warning.code, warning.place) == ("net-repeated", Place("x.net", 63, 5))
    assert [str(pin) for pin in board.net_by_name["GND"].pins] == ["R1.1", "R1.2", "U1.4"]


def test_a_repeated_refdes_and_a_part_without_record_are_reported() -> None:
    board = board_of(D.replace("(comp (ref FID1)", "(comp (ref R1)"))
    assert [w.code for w in board.warnings] == ["refdes-repeated"]
    assert [part.key for part in board.parts] == ["R1", "R1~2", "U1"]
    board = board_of(D.replace("(node (ref U1)", "(node (ref U9)"))
    assert [w.code for w in board.warnings] == ["part-not-listed"]
    assert board.part_by_key["U9"].pin("4") is not None


def test_unusual_but_legal_text_goes_through_the_tree_to_the_same_board() -> None:
    plain = board_of(E)
    spread = board_of(E.replace("(components", "\n ( components").replace('(pin "3")', "(pin 3)"))
    assert [p.refdes for p in spread.parts] == [p.refdes for p in plain.parts]
    assert [n.name for n in spread.nets] == [n.name for n in plain.nets]
    assert spread.warnings == ()
