"""Decks that are written: read back they are the same circuit, and ngspice takes them."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest
from hypothesis import given

from nettrace.model.board import Board
from nettrace.model.builder import BoardBuilder
from nettrace.readers.document import Document
from nettrace.readers.registry import read_file, read_text
from nettrace.readers.spice import read
from nettrace.writers.spice import write
from tests.writers.made_boards import boards, groups

CASES = Path(__file__).parents[1] / "readers" / "cases" / "spice"


def read_back(board: Board) -> Board:
    return read(Document("back.cir", write(board)))


def one_part(refdes: str, value: str | None, *pins: str, **names: str) -> Board:
    builder = BoardBuilder("t", "made")
    part = builder.part(refdes)
    part.value = value
    for number, net in enumerate(pins, 1):
        part.pin(str(number), net, name=names.get(f"p{number}"))
    return builder.build()


@given(boards())
def test_what_is_written_reads_back_as_the_same_circuit(board: Board) -> None:
    back = read_back(board)
    assert len(back.parts) == len(board.parts)
    assert groups(back, "X") == groups(board, "X")
    warned = {warning.code for warning in back.warnings}
    assert warned <= {"no-nodes"}


@given(boards())
def test_writing_what_was_read_changes_nothing_more(board: Board) -> None:
    once = write(read_back(board))
    assert write(read(Document("back.cir", once))) == once


DECKS = [path for path in sorted(CASES.glob("*.cir")) if path.stem != "dollar_nodes"]


def test_a_node_that_begins_with_a_dollar_is_written_otherwise() -> None:
    # ngspice takes it for a remark
    board = read_file(CASES / "dollar_nodes.cir")
    text = write(board)
    assert "* net $N_0001 is written _N_0001" in text.splitlines()
    assert groups(read(Document("t.cir", text))) == groups(board)


@pytest.mark.parametrize("path", DECKS, ids=lambda path: path.stem)
def test_a_deck_comes_back_with_its_elements_models_and_volts(path: Path) -> None:
    board = read_file(path, format_name="spice")
    back = read_back(board)
    assert [part.key for part in back.parts] == [part.key for part in board.parts]
    for mine, theirs in zip(back.parts, board.parts, strict=True):
        assert mine.value == theirs.value
        assert mine.description == theirs.description
        assert [(p.number, p.net) for p in mine.pins] == [(p.number, p.net) for p in theirs.pins]
    volts = {net.name: net.volts for net in board.nets if net.pins}
    assert {net.name: net.volts for net in back.nets} == volts


@pytest.mark.parametrize(
    ("refdes", "value", "line"),
    [
        ("R1", "1M", "R1 A B 1Meg"),
        ("R1", "4k7", "R1 A B 4.7k"),
        ("R1", "0R", "R1 A B 0"),
        ("R1", "R003", "R1 A B 3m"),
        ("C1", "4n7", "C1 A B 4.7n"),
        ("C1", "10uF/6.3V/0603", "C1 A B 10u"),
        ("L1", "2u2", "L1 A B 2.2u"),
        ("R1", "see text", "R1 A B see_text"),
        ("R1", None, "R1 A B"),
        ("D1", "1N4148", "XD1 A B 1N4148"),
        ("RN1", "10k", "XRN1 A B 10k"),
        ("TP1", None, "XTP1 A B PART"),
    ],
)
def test_values_are_written_as_spice_reads_them(refdes: str, value: str | None, line: str) -> None:
    assert line in write(one_part(refdes, value, "A", "B")).splitlines()


def test_a_subcircuit_stub_carries_the_pins_names() -> None:
    board = one_part("U1", "REG33", "VIN", "GND", "OUT", p1="IN", p2="GND", p3="OUT")
    assert ".subckt REG33 IN GND OUT" in write(board).splitlines()
    assert [pin.name for pin in read_back(board).part_by_key["U1"].pins] == ["IN", "GND", "OUT"]


def test_pins_that_are_not_counted_keep_their_numbers_as_names() -> None:
    builder = BoardBuilder("t", "made")
    part = builder.part("U1")
    for number, net in (("A1", "X"), ("B2", "Y"), ("EP", "GND")):
        part.pin(number, net, name="NC")
    assert ".subckt PART A1 B2 EP" in write(builder.build()).splitlines()


def test_nets_that_differ_in_case_alone_stay_apart_and_ground_is_one() -> None:
    builder = BoardBuilder("t", "made")
    part = builder.part("U1")
    for number, net in enumerate(("SDA", "sda", "GND", "0", "gnd", "a b", "a_b"), 1):
        part.pin(str(number), net)
    text = write(builder.build())
    back = read(Document("t.cir", text))
    assert len(back.nets) == 7
    assert "* net sda is written sda_2" in text
    assert "* net a b is written a_b" in text or "* net a_b is written a_b_2" in text


def test_remarks_give_the_boards_own_names_and_numbers_back() -> None:
    builder = BoardBuilder("t", "made")
    for refdes, pins in (("D1", {"1": "K", "2": "A"}), ("F1", {"1": None, "2": None})):
        part = builder.part(refdes)
        part.fitted = False if refdes == "F1" else None
        for number, name in pins.items():
            part.pin(number, f"net {number}", name=name)
    socket = builder.part("J1")
    for number in ("A1", "MP"):
        socket.pin(number, "net 1")
    board = builder.build()
    back = read_back(board)
    assert {part.refdes: part.fitted for part in back.parts} == {
        "D1": None,
        "F1": False,
        "J1": None,
    }
    assert [net.name for net in back.nets] == ["net 1", "net 2"]
    for built in board.parts:
        told = [(pin.number, pin.net) for pin in built.pins]
        assert [(pin.number, pin.net) for pin in back.part_by_key[built.key].pins] == told


def test_a_diode_keeps_its_polarity_whatever_its_pads_are_numbered() -> None:
    deck = "t\n* part D3 is D3, pins 2 1\nD3 anode cathode LED\n.model LED D(n=3)\n.end\n"
    board = read(Document("t.cir", deck))
    pins = {pin.number: (pin.name, pin.net) for pin in board.part_by_key["D3"].pins}
    assert pins == {"2": ("A", "anode"), "1": ("K", "cathode")}
    assert "D3 anode cathode LED" in write(board)
    assert read_back(board).part_by_key["D3"].pins[0].net == "cathode"


@pytest.mark.parametrize(
    ("remark", "code"),
    [
        ("* part D3 is D3, pins 1 2 3", "remark-does-not-fit"),
        ("* part D3 is D3, pins 1 1", "remark-does-not-fit"),
        ("* part D3 is D9, pins 2 1", None),
        ("* net cathode is written anode", None),  # would make two nets one
    ],
)
def test_a_remark_that_does_not_fit_changes_no_connection(remark: str, code: str | None) -> None:
    deck = f"t\n{remark}\nD3 anode cathode LED\n.model LED D(n=3)\n.end\n"
    board = read(Document("t.cir", deck))
    assert len(board.nets) == 2
    assert [pin.number for pin in board.part_by_key["D3"].pins] == ["1", "2"]
    assert [warning.code for warning in board.warnings] == ([code] if code else [])


def test_a_long_list_of_remarks_hides_no_deck(boards: Path) -> None:
    path = boards / "zswatch-devkit" / "ZSWatch-Watch-DevKit-netlist.net"
    board = read_file(path)
    back = read_text(Document("t.cir", write(board)))
    assert back.sources[0].format == "spice"
    assert groups(back, "X") == groups(board, "X")
    assert len(back.parts) == len(board.parts)


def test_ngspice_lists_what_was_written(tmp_path: Path) -> None:
    program = shutil.which("ngspice")
    if program is None:
        pytest.skip("ngspice is not installed: the outside check of written decks is off")
    builder = BoardBuilder("t", "made")
    builder.name = "Wren"
    for refdes, value, nets in (
        ("R1", "1M", ("+3V3", "Net-(U1-EN)")),
        ("C1", "100n", ("+3V3", "GND")),
        ("L1", "2u2", ("SW", "+3V3")),
    ):
        part = builder.part(refdes)
        part.value = value
        for number, net in enumerate(nets, 1):
            part.pin(str(number), net)
    deck = tmp_path / "wren.cir"
    text = write(builder.build()).replace(".end\n", ".control\nlisting expand\n.endc\n.end\n")
    deck.write_text(text)
    done = subprocess.run(
        [program, "-b", deck.name], cwd=tmp_path, capture_output=True, check=False
    )
    listed = [
        line.split(" : ")[1].split() for line in done.stdout.decode().splitlines() if " : " in line
    ]
    assert ["r1", "+3v3", "net-_u1-en_", "1meg"] in listed
    assert ["c1", "+3v3", "0", "100n"] in listed
    assert ["l1", "sw", "+3v3", "2.2u"] in listed
