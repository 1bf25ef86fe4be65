"""IPC-D-356: damaged files beside the plain reader, stretches, numbers however they are filled."""

from __future__ import annotations

import random
import time
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.errors import BadInput, NettraceError
from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.ipcd356 import read
from nettrace.readers.ipcd356_columns import COLUMNS, WIDTH, find_fault, pattern_of
from nettrace.readers.registry import decode_text
from tests.readers.ipcd356_cases import GOOD, LINE, REAL, codes, read_lines
from tests.readers.ipcd356_peer import Record, plain_record

#: Cases of one character changed, dropped or doubled; the goal is 1,000 without a difference.
DAMAGES = 1000


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


@pytest.mark.parametrize("name", [*range(len(GOOD)), "real"])
def test_how_far_lines_are_filled_makes_no_difference(name: int | str, boards: Path) -> None:
    path = boards / REAL[4] if isinstance(name, str) else GOOD[name]
    lines = path.read_text(encoding="utf-8").splitlines()
    expected = outcome("\n".join(lines))
    for fill in (
        lambda line, _: line.ljust(80),
        lambda line, _: line.rstrip(),
        lambda line, at: line.ljust(74 + at % 3),
        lambda line, at: line.ljust(80)[:79] + ("é" if at % 50 == 0 and line[:1] == "3" else " "),
    ):
        assert outcome("\n".join(map(fill, lines, range(len(lines))))) == expected


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
    whole = pattern_of(*(column.field for column in COLUMNS))
    assert (fault is None) == (whole.fullmatch(line.ljust(WIDTH)) is not None)
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
    assert time.process_time() - started < 60
