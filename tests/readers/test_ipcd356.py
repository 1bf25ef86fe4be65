"""IPC-D-356: cases, exact messages, the truth of the shared boards, gerbonara, damaged files."""

from __future__ import annotations

import json
import random
import time
import warnings
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.errors import BadInput, NettraceError
from nettrace.model.board import Board, Pad, Side, Via
from nettrace.readers.document import Document
from nettrace.readers.ipcd356 import read
from nettrace.readers.ipcd356_columns import COLUMNS, TEST_RECORD, WIDTH, find_fault
from nettrace.readers.registry import decode_text, detect_format, read_file
from tests.benchmarks.bench_ipc import bare_board_times, synthetic_bare_board
from tests.readers.ipc_cases import facts
from tests.readers.ipcd356_peer import Record, plain_record
from tests.readers.truth_check import differences, truth_entries

CASES = Path(__file__).parent / "cases" / "ipcd356"
GOOD = sorted(CASES.glob("*.ipc"))
BAD = sorted((CASES / "bad").glob("*.ipc"))
REAL = (
    "minnowmax/MinnowMax_RevA1_IPC356A.ipc",
    "ipcd356-small/ipc-d-356.ipc",
    "zswatch-devkit/ZSWatch-Watch-DevKit.d356",
    "teres-main/TERES_PCB1-A64-MAIN_Rev.C.d356",
    "teres-io/TERES-PCB2-IO_Rev.B.d356",
    "teres-keyboard/TERES-PCB5-KEYBOARD_Rev.A.d356",
    "sensor-watch-b1/OSO-SWAT-B1.d356",
    "bbq20kbd/bbq20_keyboard.d356",
    "reform2-trackball/reform2-trackball.d356",
    "hackrf-marzipan/marzipan.d356",
)
#: Cases of one character changed, dropped or doubled; the goal is 1,000 without a difference.
DAMAGES = 1000
INCH = 0.00254  # CUST 0: 0.0001 inch in mm, by definition of the inch


def document(path: Path) -> Document:
    return Document(path.name, path.read_text(encoding="utf-8"))


def read_lines(*records: str) -> Board:
    return read(Document("card.ipc", "\n".join(["P  UNITS CUST 0", *records, "999", ""])))


def codes(board: Board) -> list[str]:
    return [warning.code for warning in board.warnings]


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
    assert time.process_time() - started < 0.5


# what a column means

# columns verified in reference values, section 10.1
LINE = "327SDA_3V3          R41   -2          A01X+012700Y-003810X0500Y0450R090 S2"


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


# damage


def damaged(text: str, chance: random.Random) -> str:
    at = chance.randrange(len(text))
    match chance.randrange(4):
        case 0:
            return text[:at] + text[at + 1 :]
        case 1:
            return text[:at] + text[at] + text[at:]
        case 2:
            return text[:at] + chance.choice(" 0379ACDMNPRSUXY+-\t\n") + text[at + 1 :]
        case _:
            return text[:at]


def compare_with_plain_reader(text: str) -> None:
    """Read as a user would; hold every record to the plain reader, and every loss to a warning."""
    try:
        board = read(Document("d.ipc", text))
    except BadInput as error:
        assert error.place is not None
        return
    lines = text.split("\n")
    if "999" in [line[:3] for line in lines]:
        lines = lines[: [line[:3] for line in lines].index("999")]
    plain = [record for line in lines if (record := plain_record(line)) is not None]
    assert sorted(ours_as_records(board)) == sorted(as_millimetres(board, plain))
    for pad in board.pads():
        assert pad.place is not None
        record = plain_record(lines[pad.place.line - 1])
        assert record is not None
        assert (record.refdes, record.pin) == (board.part_by_key[pad.part].refdes, pad.number)
    lost = sum(
        1
        for line in lines
        if plain_record(line) is None
        and line.strip(" \t")
        and not (line[:1] in "CP" and (line[1:2].isspace() or len(line) == 1))
        and line[:3] not in {"389", "089"}
    )
    if lost:
        assert {"record-skipped", "not-kept"} & set(codes(board))


def ours_as_records(board: Board) -> list[tuple[Any, ...]]:
    pads = [
        (board.part_by_key[pad.part].refdes, pad.number, pad.net or "", pad.x, pad.y)
        for pad in board.pads()
    ]
    return pads + [("VIA", "", via.net or "", via.x, via.y) for via in board.vias]


def as_millimetres(board: Board, records: list[Record]) -> list[tuple[Any, ...]]:
    metric = "CUST 1" in board.sources[0].version
    names = {alias: net.name for net in board.nets for alias in net.aliases}

    def mm(count: int) -> float:
        return count / 1000 if metric else count * 254 / 100_000

    return [
        (
            r.refdes,
            "" if r.refdes == "VIA" else r.pin,
            "" if r.net == "N/C" else names.get(r.net, r.net),
            mm(r.x),
            mm(r.y),
        )
        for r in records
    ]


def test_damaged_files_never_differ_from_the_plain_reader(boards: Path) -> None:
    chance = random.Random(356)
    texts = [path.read_text(encoding="utf-8") for path in GOOD]
    texts += [(boards / name).read_text(encoding="utf-8") for name in (REAL[1], REAL[4])]
    for _ in range(DAMAGES):
        compare_with_plain_reader(damaged(chance.choice(texts), chance))


def test_where_a_stretch_of_lines_ends_makes_no_difference(
    monkeypatch: pytest.MonkeyPatch, boards: Path
) -> None:
    chance = random.Random(3560)
    texts = [path.read_text(encoding="utf-8") for path in [*GOOD, *BAD]]
    texts += [damaged(chance.choice(texts[: len(GOOD)]), chance) for _ in range(100)]
    texts.append((boards / REAL[4]).read_text(encoding="utf-8"))
    whole = [outcome(text) for text in texts]
    for characters in (0, 100, 1000):
        monkeypatch.setattr("nettrace.readers.ipcd356_lines.STRETCH", characters)
        for text, expected in zip(texts, whole, strict=True):
            assert outcome(text) == expected


def outcome(text: str) -> Board | str:
    """Return the board, which holds its warnings, or the message of the error."""
    try:
        return read(Document("d.ipc", text))
    except BadInput as error:
        return str(error)


@given(st.lists(st.integers(-999_999, 999_999), min_size=2, max_size=6), st.data())
def test_places_are_the_same_however_the_numbers_are_filled(
    counts: list[int], data: st.DataObject
) -> None:
    def written(count: int) -> str:
        digits = str(abs(count))
        sign = "-" if count < 0 else "+"
        forms = [f"{sign}{digits:0>6}", f"{sign}{digits:>6}"]
        if count >= 0:
            forms.append(f"{digits:>7}")
        if len(digits) < 6:
            forms.append(f"{sign}{digits}".rjust(7))
        return data.draw(st.sampled_from(forms))

    records = [
        f"{LINE[:27]}{pin:<4}{LINE[31:42]}{written(x)}Y{written(y)}{LINE[57:]}"
        for pin, (x, y) in enumerate(pairwise(counts))
    ]
    places = [(pad.x, pad.y) for pad in read_lines(*records).pads()]
    expected = [(x * 254 / 100_000, y * 254 / 100_000) for x, y in pairwise(counts)]
    assert repr(places) == repr(expected)  # as text, so that 0.0 is not -0.0


def test_zero_with_a_minus_is_zero() -> None:
    (pad,) = read_lines(LINE.replace("+012700", "-000000")).pads()
    assert repr(pad.x) == "0.0"


@pytest.mark.parametrize("x", ["+01270O", "+1_2700", "+0127.0", "+1e0005", "+01270٣", "++12700"])
def test_only_digits_are_a_number(x: str) -> None:
    # the last but one is a digit of another script, which int() would read
    board = read_lines(LINE, LINE.replace("-2 ", "-3 "), *[LINE] * 3, LINE.replace("+012700", x))
    assert codes(board) == ["record-skipped"]
    assert board.warnings[0].place is not None
    assert board.warnings[0].place.line == 7
    assert len([*board.pads()]) == 5


@given(st.data())
def test_any_line_fits_the_table_or_has_a_fault_with_a_column(data: st.DataObject) -> None:
    line = data.draw(
        st.one_of(
            st.text(max_size=90),
            st.text("0123456789 +-XYRADPMSU", min_size=40, max_size=80).map(lambda t: "327" + t),
            st.tuples(st.sampled_from("0 +-XAS\t"), st.integers(0, len(LINE) - 1)).map(
                lambda change: LINE[: change[1]] + change[0] + LINE[change[1] + 1 :]
            ),
        )
    )
    fault = find_fault(line)
    assert (fault is None) == (TEST_RECORD.match(line.ljust(WIDTH)) is not None)
    if "\n" not in line:
        assert (fault is None) == (plain_record(line) is not None)
    if fault is not None:
        column, _, field = fault
        assert field.first <= column <= max(field.last, len(line) + 1)


def test_table_is_without_gap_or_overlap() -> None:
    assert COLUMNS[0].first == 1
    for one, other in pairwise(COLUMNS):
        assert other.first == one.last + 1


@given(st.binary(max_size=400))
def test_arbitrary_bytes_give_a_board_or_our_error(raw: bytes) -> None:
    for content in (
        raw,
        b"P  UNITS CUST 0\n" + raw,
        b"P  UNITS CUST 0\n327" + raw + b"\n389" + raw,
    ):
        try:
            read(Document("x", decode_text(content, "x")))
        except NettraceError as error:
            assert str(error).startswith("error: ")


@pytest.mark.parametrize(
    "text",
    [
        "P  UNITS CUST 0\n" + "327" * 500_000,
        "P  UNITS CUST 0\n" + "C  x\n" * 200_000,
        "P  UNITS CUST 0\n389BOARD_EDGE" + " X1" * 300_000,
        "P  NNAME1 " + "A" * 1_000_000,
    ],
    ids=["one long record", "comments", "long outline", "long name"],
)
def test_huge_input_ends_soon(text: str) -> None:
    started = time.process_time()
    with pytest.raises(BadInput):
        read(Document("huge.ipc", text))
    assert time.process_time() - started < 5


@pytest.mark.slow
def test_reading_stays_within_the_token_floor_ratio(boards: Path) -> None:
    # the goal is 8 (benchmarks/bench_ipc.py prints the ratio); loosened for busy machines
    for text in ((boards / REAL[0]).read_text(encoding="utf-8"), synthetic_bare_board(0.5)):
        spent = bare_board_times(text, "board.ipc", rounds=3)
        assert spent["reader"] / spent["floor"] < 12
