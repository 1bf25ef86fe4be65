"""Parts lists and placement tables: cases, exact messages, the truth of the shared tables."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.errors import BadInput
from nettrace.model.board import Board, Side
from nettrace.model.fitted import says_not_fitted
from nettrace.readers.csv_cells import (
    Column,
    column_of,
    number_of,
    side_of,
    split_references,
    unit_of,
)
from nettrace.readers.csv_tables import read
from nettrace.readers.document import Document
from nettrace.readers.registry import decode_text, detect_format, read_file
from tests.readers.board_data import board_data, expected_data
from tests.readers.truth_check import truth_entries

CASES = Path(__file__).parent / "cases" / "csv"
GOOD = sorted(CASES.glob("*.csv"))
BAD = sorted((CASES / "bad").glob("*.csv"))


def table(path: Path) -> Document:
    return Document(path.name, decode_text(path.read_bytes(), path.name))


def read_text(text: str) -> Board:
    return read(Document("t.csv", text))


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.stem)
def test_case_reads_as_expected(path: Path) -> None:
    document = table(path)
    assert board_data(read(document)) == expected_data(path.with_suffix(".json"))
    found = detect_format(document.text)
    assert found is not None
    assert found.name == "csv"


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_bad_table_is_named_with_its_place(path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        read(table(path))
    assert str(caught.value) == path.with_suffix(".err").read_text().rstrip("\n")


def test_every_bad_case_has_its_message_and_good_ones_are_no_more() -> None:
    assert len(BAD) >= len(GOOD) > 0
    assert {path.stem for path in (CASES / "bad").glob("*.err")} == {path.stem for path in BAD}


def test_counts_and_spot_facts_are_those_of_the_truth(boards: Path) -> None:
    entries = truth_entries(boards, "csv")
    assert len(entries) >= 6
    for entry in entries:
        board = read_file(boards / entry["file"], shown=entry["file"])
        assert board.sources[0].format == "csv"
        assert board.sources[0].parts == entry["components"], entry["file"]
        for spot in entry["spot"]:
            kind, query, answer = spot["kind"], spot["query"], spot["answer"]
            if kind == "pin_net":
                pin = board.part_by_key[query.split(".")[0]].pin(query.split(".")[1])
                assert pin is not None
                assert pin.net == answer
                continue
            part = board.part_by_key[query]
            if kind == "part_value":
                assert part.value == answer
            else:
                assert kind == "part_at"
                assert part.x == float(answer["x"])
                assert part.y == float(answer["y"])
                assert part.side == answer["side"]
                if "rot" in answer:
                    assert part.angle == float(answer["rot"])


def test_the_real_parts_list_says_no_more_than_its_quantities(boards: Path) -> None:
    for path in ("reform2-trackball/reform2-trackball.csv", "teres-io/TERES-PCB2-IO_Rev.B.csv"):
        codes = {warning.code for warning in read_file(boards / path).warnings}
        assert codes <= {"quantity"}


# ---- headings --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("heading", "column"),
    [
        # as in the exports described in boards/QUIRKS.md, section CSV
        ("Ref", Column.REFERENCE),
        ("References", Column.REFERENCE),
        ("Designator", Column.REFERENCE),
        ("Testpoint Ref.", Column.REFERENCE),
        ("Val", Column.VALUE),
        ("Designation", Column.VALUE),
        ("Quantity Per PCB", Column.QUANTITY),
        ("DNP", Column.NOT_FITTED),
        ("PosX", Column.X),
        ("Rot", Column.ROTATION),
        # the trade's words in other languages: common practice, no source
        ("Bauteilbezeichner", Column.REFERENCE),
        ("Repère", Column.REFERENCE),
        ("Référence(s)", Column.REFERENCE),
        ("Referencia", Column.REFERENCE),
        ("Riferimenti", Column.REFERENCE),
        ("位号", Column.REFERENCE),
        ("Gehäuse", Column.PACKAGE),
        ("Boîtier", Column.PACKAGE),
        ("Anzahl", Column.QUANTITY),
        ("Q.tà", Column.QUANTITY),
        ("Cant.", Column.QUANTITY),
        ("Nicht bestückt", Column.NOT_FITTED),
        ("Center-X(mm)", Column.X),
        ("Mid Y [mil]", Column.Y),
        ("Pad Type", None),
        ("Manufacturer_No", None),
        ("distributor#", None),
    ],
)
def test_a_heading_is_known_by_its_words(heading: str, column: Column | None) -> None:
    found = column_of(heading)
    assert (found[0] if found else None) is column


def test_units_stand_in_headings_and_cells() -> None:
    cases = {"X (mm)": 1.0, "Mid X(mil)": 0.0254, "PosX [inch]": 25.4, "X in": 25.4, "X": None}
    assert {text: unit_of(text) for text in cases} == cases
    board = read_text("Ref,X (inch),Y\nR1,1,2.5mm\nR2,-.5,100mil\n")
    assert [(part.x, part.y) for part in board.parts] == [(25.4, 2.5), (-12.7, 2.54)]


# ---- cells -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "quantity", "references"),
    [
        ("C1 C2 ", None, ["C1", "C2"]),
        ("C402,C501;C502", 3, ["C402", "C501", "C502"]),
        ("R1-R4, R7", None, ["R1", "R2", "R3", "R4", "R7"]),
        ("R1 - R3", None, ["R1", "R2", "R3"]),
        ("r1…R3", None, ["r1", "r2", "r3"]),
        ("R1 to R3", None, ["R1", "R2", "R3"]),
        ("R08-R11", None, ["R08", "R09", "R10", "R11"]),
        ("J1-2", None, ["J1-2"]),
        ("J1-2", 2, ["J1", "J2"]),
        ("R1-R4", 1, ["R1-R4"]),
        ("R1-R4", 3, ["R1", "R2", "R3", "R4"]),
        ("R1-C4", None, ["R1-C4"]),
        ("R1-R99999", None, ["R1-R99999"]),
        ("TP1-R2A", None, ["TP1-R2A"]),
        ("MountingHole,MountingHole", 2, ["MountingHole", "MountingHole"]),
        ("kibuzzard-68304292", 1, ["kibuzzard-68304292"]),
        ("U$2 +5V_USB1", None, ["U$2", "+5V_USB1"]),
        (",,,,,,", 7, []),
        ("", None, []),
    ],
)
def test_references_are_parted_and_ranges_opened(
    text: str, quantity: float | None, references: list[str]
) -> None:
    assert split_references(text, quantity) == references


@given(st.integers(1, 400), st.integers(0, 60), st.sampled_from(["R", "C", "TP", "X_"]))
def test_a_range_is_all_its_members(first: int, more: int, prefix: str) -> None:
    members = [f"{prefix}{number}" for number in range(first, first + more + 1)]
    text = f"{members[0]}-{members[-1]}" if more else members[0]
    assert split_references(text, None) == members
    assert split_references(" ".join(members), None) == members


def test_numbers_sides_and_words_of_absence() -> None:
    numbers = {"1.5": 1.5, "-1,5": -1.5, "1.234,5": 1234.5, "1,234.5": 1234.5, "90°": 90.0}
    assert {text: (number_of(text) or (None,))[0] for text in numbers} == numbers
    for text in ("", "R1", "1.2.3", "5 apples", "9" * 90, "1e999"):
        assert number_of(text) is None, text
    assert [side_of(text) for text in ("Top", "F.Cu", "bottom  side", "unten", "L3")] == [
        "top",
        "top",
        "bottom",
        "bottom",
        None,
    ]
    absent = ("DNP", "10K DNI", "Do Not Fit", "d.n.p.(HR2x3)", "nicht bestückt", "不贴")
    assert all(says_not_fitted(text) for text in absent)
    present = ("10k", "DNP101", "BDNP", "donut", "HSMRH103R-2R5M")
    assert not any(says_not_fitted(text) for text in present)


def test_not_fitted_is_said_by_a_column_a_word_or_a_quantity_of_none() -> None:
    board = read_text(
        "Ref,Value,Qty,DNP,Note\nR1,1k,1,,\nR2,1k,1,x,\nR3,1k,1,no,\nR4,1k DNP,1,,\n"
        "R5,1k,0,,\nR6,1k,1,,do not populate\nR7,1k,1,,http://example.org/dnp\n"
    )
    assert [part.fitted for part in board.parts] == [None, False, True, False, False, False, None]


def test_a_quantity_that_counts_other_than_the_references_is_told() -> None:
    board = read_text("Ref,Qty\nR1 R2,3\nR3 R4,2\n")
    assert [(w.code, w.place and w.place.line) for w in board.warnings] == [("quantity", 2)]


# ---- damage ----------------------------------------------------------------------------------


def _survives(text: str) -> None:
    try:
        board = read_text(text)
    except BadInput as error:
        assert str(error).startswith("error: t.csv")
    else:
        assert len(board.parts) == board.sources[0].parts


@given(st.text(max_size=200))
def test_any_text_gives_a_board_or_our_error(text: str) -> None:
    _survives(text)
    _survives("Ref,Value,Qty,X,Y\n" + text)


@given(st.data())
def test_a_table_changed_anywhere_gives_a_board_or_our_error(data: st.DataObject) -> None:
    text = table(data.draw(st.sampled_from(GOOD))).text
    at = data.draw(st.integers(0, len(text)))
    put = data.draw(
        st.one_of(st.just(""), st.characters(), st.sampled_from(['"', ",", "\n", "\0"]))
    )
    _survives(text[:at] + put + text[at + data.draw(st.integers(0, 1)) :])


@given(
    st.lists(
        st.tuples(
            st.from_regex(r"[A-Z]{1,3}[1-9][0-9]{0,3}", fullmatch=True),
            st.text(st.characters(exclude_categories=["Cc", "Cs", "Z"]), max_size=12),
        ),
        max_size=12,
        unique_by=lambda row: row[0],
    ),
    st.sampled_from([",", ";", "\t"]),
)
def test_values_come_back_whatever_they_hold(rows: list[tuple[str, str]], separator: str) -> None:
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator)
    writer.writerow(["Designator", "Value", "Note"])
    writer.writerows([refdes, value, ""] for refdes, value in rows)
    board = read_text(out.getvalue())
    assert {part.refdes: part.value for part in board.parts} == {
        refdes: value or None for refdes, value in rows
    }


@pytest.mark.parametrize(
    "text",
    [
        "Ref,Value\n" + "a" * 300_000 + ",1\n",
        "Ref,Value\n" + "R1-R5000 " * 200 + ",1\n",
        "Ref,X\nR1," + "1" * 100_000 + "\n",
        "Ref,X\nR1," + " " * 100_000 + "x\n",
        "Ref" + "," * 100_000 + "\nR1\n",
        "Ref,Value\n" + '"' * 100_001,
        "\n" * 100_000 + "Ref,Value\n",
        "Ref,Qty\n" + "R1," * 3000 + "3000\n",
    ],
    ids=lambda text: f"{len(text)}-{text[-3:].encode().hex()}",
)
def test_long_cells_and_rows_are_read_in_bounded_time(text: str) -> None:
    _survives(text)


def test_aligned_columns_under_a_remark_with_headings() -> None:
    # the ASCII placement file of one open layout suite
    text = (
        "### Module positions - created on Mon 01 Jan 2018 ###\n## Unit = {unit}, Angle = deg.\n"
        "## Side : All\n# Ref    Val        Package         PosX       PosY        Rot     Side\n"
        "C1       100nF      C_0603       10.0000   -65.1510    90.0000    top\n"
        "U1       AT MEGA    TQFP-32      120.0000   -70.0000     0.0000    bottom\n"
        "H1                               1.0000   2.0000     0.0000    top\n## End\n"
    )
    board = read_text(text.format(unit="mm"))
    c1, u1, h1 = board.part_by_key["C1"], board.part_by_key["U1"], board.part_by_key["H1"]
    assert (c1.value, c1.package, c1.x, c1.y, c1.angle) == ("100nF", "C_0603", 10.0, -65.151, 90.0)
    assert (u1.value, u1.package, u1.side) == ("AT MEGA", "TQFP-32", Side.BOTTOM)
    assert (h1.value, h1.x, h1.side) == (None, 1.0, Side.TOP)
    assert c1.place is not None
    assert c1.place.line == 5
    inches = read_text(text.format(unit="inches"))
    assert inches.part_by_key["C1"].x == 254.0


def test_a_list_with_a_rule_below_its_headings_and_references_in_several_rows() -> None:
    text = (
        "Bill Of Materials  January 1, 2001\tPage1\n\nItem\tQuantity\tReference\tPart\n"
        "______________________________________________\n\n1\t4\tC1,C2,C3,\t100n\n\t\tC4\n"
        "2\t1\tU1\tLM358\n"
    )
    board = read_text(text)
    values = {part.refdes: part.value for part in board.parts}
    assert values == {"C1": "100n", "C2": "100n", "C3": "100n", "C4": "100n", "U1": "LM358"}
    assert not board.warnings


def test_turns_that_say_mirrored_stand_on_the_bottom() -> None:
    text = "Part;Value;LocationX;LocationY;Rotation (deg)\nR1;1k;1;2;R90\nR2;1k;3;4;MR180\n"
    board = read_text(text)
    places = {p.refdes: (p.x, p.y, p.angle, p.side) for p in board.parts}
    assert places == {"R1": (1.0, 2.0, 90.0, None), "R2": (3.0, 4.0, 180.0, Side.BOTTOM)}


def test_such_tables_are_found_by_their_content() -> None:
    for text in (
        "### made ###\n# Ref Val Package PosX PosY Rot Side\nC1 1u C 1.0 2.0 0 top\n",
        "Item\tQuantity\tReference\tPart\n________\n\n1\t1\tC1\t100n\n",
    ):
        found = detect_format(text)
        assert found is not None
        assert found.name == "csv"
