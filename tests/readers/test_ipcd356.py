"""IPC-D-356: cases, exact messages, the truth of the shared boards, gerbonara."""

from __future__ import annotations

import json
import time
import warnings
from pathlib import Path

import pytest

from nettrace.errors import BadInput
from nettrace.model.board import Pad, Side, Via
from nettrace.readers.document import Document
from nettrace.readers.ipcd356 import read
from nettrace.readers.registry import decode_text, detect_format, read_file
from tests.readers.ipc_cases import facts
from tests.readers.ipcd356_cases import BAD, CASES, GOOD, LINE, REAL, codes, read_lines
from tests.readers.truth_check import differences, truth_entries

INCH = 0.00254  # CUST 0: 0.0001 inch in mm, by definition of the inch


def document(path: Path) -> Document:
    return Document(path.name, path.read_text(encoding="utf-8"))


# cases


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.stem)
def test_case_is_read_as_written_down(path: Path) -> None:
    expected = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    assert json.loads(json.dumps(facts(read(document(path))))) == expected


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_bad_case_has_its_message(path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        read(document(path))
    assert str(caught.value) == path.with_suffix(".err").read_text(encoding="utf-8").rstrip("\n")


@pytest.mark.parametrize("path", [*GOOD, *BAD], ids=lambda path: path.stem)
def test_content_decides_the_format(path: Path) -> None:
    found = detect_format(path.read_text(encoding="utf-8"))
    if path.stem in {"tab", "shifted"}:  # what is wrong with them is their columns
        return
    assert found is not None
    assert found.name == "ipc-d-356"


def test_a_header_of_nothing_but_comments_is_recognised_and_quickly() -> None:
    head = "C  TOP           COPPER           CONDUCTOR         POS     1\r\n" * 400
    started = time.process_time()
    found = detect_format(head + "P  UNITS CUST 0\r\n")
    assert found is not None
    assert found.name == "ipc-d-356"
    assert time.process_time() - started < 20


# what a column means


@pytest.mark.parametrize(
    ("unit", "x", "width"),
    [
        ("CUST 0", 32.258, 1.27),
        ("CUST", 32.258, 1.27),
        ("CUST0", 32.258, 1.27),  # so in files of one layout program
        ("CUST 1", 12.7, 0.5),
        ("CUST1", 12.7, 0.5),
        ("SI", 12.7, 0.5),
    ],
)
def test_same_digits_in_each_unit(unit: str, x: float, width: float) -> None:
    # 012700 is 32.258 mm in CUST 0 and 12.700 mm in CUST 1: reference values, section 10.1
    board = read(Document("u.ipc", f"P  UNITS {unit}\n{LINE}\n999\n"))
    (pad,) = board.pads()
    assert (pad.x, pad.width) == (x, width)
    assert codes(board) == (["unit-disputed"] if unit == "SI" else [])


def test_names_that_the_writer_numbered_are_shown_without_the_number() -> None:
    # one open layout program adds {n} to every name, so that names cut short stay apart
    lines = [
        LINE.replace("SDA_3V3   ", "GND{1}    "),
        LINE.replace("SDA_3V3   ", "SENSOR{2} ").replace("-2 ", "-1 "),
        LINE.replace("SDA_3V3   ", "SENSOR{14}").replace("-2 ", "-3 "),
        LINE.replace("SDA_3V3   ", "N/C       ").replace("-2 ", "-4 "),
    ]
    board = read(Document("n.d356", "\n".join(["P  UNITS CUST 1", *lines, "999", ""])))
    assert {(net.name, net.aliases) for net in board.nets} == {
        ("GND", ("GND{1}",)),
        ("SENSOR{2}", ()),
        ("SENSOR{14}", ()),
    }
    lines[0] = LINE  # a name without a number: the braces are the designer's
    board = read(Document("n.d356", "\n".join(["P  UNITS CUST 1", *lines, "999", ""])))
    assert {net.name for net in board.nets} == {"SDA_3V3", "SENSOR{2}", "SENSOR{14}"}


def test_radians_are_left_out_with_a_warning() -> None:
    board = read(Document("u.ipc", f"P UNITS CUST 2\n{LINE}\n999\n"))
    (pad,) = board.pads()
    assert (pad.x, pad.angle) == (32.258, 0.0)
    assert codes(board) == ["unit-disputed"]


@pytest.mark.parametrize("access", ["02", "04", "06", "08", "10"])
def test_any_layer_beyond_the_first_is_the_bottom(access: str) -> None:
    board = read_lines(LINE.replace("A01", f"A{access}"))
    (pad,) = board.pads()
    assert pad.side is Side.BOTTOM
    assert board.parts[0].side is Side.BOTTOM


def test_one_sided_board_keeps_the_primary_side_as_top() -> None:
    # IPC-D-356: 01 is the primary side, whatever the number of layers
    (pad,) = read_lines(LINE).pads()
    assert pad.side is Side.TOP


def test_part_stands_in_the_middle_of_its_pads() -> None:
    board = read_lines(LINE, LINE.replace("-2 ", "-1 ").replace("+012700", "+012300"))
    part = board.part_by_key["R41"]
    assert part.x == pytest.approx(12500 * INCH)
    assert part.y == pytest.approx(-3810 * INCH)


def test_same_pin_on_two_nets_is_two_pins() -> None:
    board = read_lines(LINE, LINE.replace("SDA_3V3", "SCL_3V3").replace("+012700", "+012300"))
    assert [pin.net for pin in board.part_by_key["R41"].pins] == ["SCL_3V3", "SDA_3V3"]
    assert codes(board) == ["pin-on-several-nets"]


def test_missing_end_is_a_warning_that_says_where() -> None:
    board = read(Document("c.ipc", f"P  UNITS CUST 0\n{LINE}\n"))
    assert codes(board) == ["cut-off"]
    assert str(board.warnings[0].place) == "c.ipc:3"


def test_many_faulty_records_are_counted_not_listed() -> None:
    good = [LINE.replace("-2 ", f"-{n:<2d}") for n in range(10, 99)] * 2
    board = read_lines(*good, *[LINE[:50]] * 25)
    assert codes(board).count("record-skipped") == 21
    assert board.warnings[20].message.startswith("5 more records")
    assert board.sources[0].pads == len(good)


def test_old_and_new_line_ends_read_alike() -> None:
    text = (CASES / "metric.ipc").read_text(encoding="utf-8")
    boards = [facts(read(Document("m", text.replace("\n", end)))) for end in ("\n", "\r\n", "\r")]
    assert boards[0] == boards[1] == boards[2]


# the real boards


@pytest.mark.parametrize("name", REAL)
def test_truth_is_met_exactly(boards: Path, name: str) -> None:
    (entry,) = [item for item in truth_entries(boards, "ipc-d-356") if item["file"] == name]
    board = read_file(boards / name)
    assert differences(board, entry) == []
    more = entry["more"]
    source = board.sources[0]
    assert (source.pads, source.vias) == (more["non_via_records"], more["via_records"])
    unconnected = {
        (pin.part, pin.number) for part in board.parts for pin in part.pins if pin.net is None
    }
    assert len(unconnected) == more["unconnected_pins"]
    met = {
        f"{part.refdes}.{pin.number}"
        for part in board.parts
        for pin in part.pins
        if len({other.net for other in part.pins if other.number == pin.number}) > 1
    }
    assert met == set(more["pins_on_more_than_one_net"])
    assert board.counts().parts == entry["components"]


def test_every_file_of_the_truth_is_tested(boards: Path) -> None:
    assert {entry["file"] for entry in truth_entries(boards, "ipc-d-356")} == set(REAL)


@pytest.mark.parametrize("name", REAL)
def test_gerbonara_reads_the_same_places_and_nets(boards: Path, name: str) -> None:
    from gerbonara.ipc356 import Netlist

    text = decode_text((boards / name).read_bytes(), name)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        peer = Netlist.from_string(text, name)
    board = read(Document(name, text))
    alias = {
        other: net.name for net in board.nets for other in (net.name, *net.aliases)
    }  # it knows `NNAMEm0000`, and not that records carry `m0000`
    theirs = sorted(
        (round(r.x * 25.4, 4), round(r.y * 25.4, 4), alias.get(r.net_name or "", r.net_name) or "")
        for r in peer.test_records
    )
    spots: list[Pad | Via] = [*board.pads(), *board.vias]
    ours = sorted((round(spot.x, 4), round(spot.y, 4), spot.net or "") for spot in spots)
    assert ours == theirs
