"""SPICE: cases, exact messages, the truth of the shared decks, includes, numbers, expressions."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.errors import BadInput
from nettrace.model.board import Board
from nettrace.model.find import find_nets
from nettrace.readers.document import Document
from nettrace.readers.registry import decode_text, detect_format, read_file
from nettrace.readers.spice import read, read_with
from nettrace.readers.spice_elements import decode_element
from nettrace.readers.spice_expressions import Environment, parse_statement, spice_number
from tests.readers.board_data import board_data, expected_data
from tests.readers.truth_check import truth_entries

CASES = Path(__file__).parent / "cases" / "spice"
GOOD = sorted(CASES.glob("*.cir"))
BAD = sorted((CASES / "bad").glob("*.cir"))


def deck(path: Path, hierarchy: str | None = None) -> Document:
    text = decode_text(path.read_bytes(), path.name)
    return Document(path.name, text, path.parent, hierarchy=hierarchy)


def read_text(text: str, hierarchy: str = "keep") -> Board:
    return read_with(Document("t.cir", text), hierarchy)


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.stem)
def test_case_reads_as_expected(path: Path) -> None:
    assert board_data(read(deck(path))) == expected_data(path.with_suffix(".json"))


def test_case_expands_as_expected() -> None:
    path = CASES / "subcircuits.cir"
    flat = board_data(read(deck(path, "flatten")))
    assert flat == expected_data(path.with_suffix(".flatten.json"))


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_bad_deck_is_named_with_its_place(path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        read(deck(path, "flatten" if ".flatten" in path.name else None))
    assert str(caught.value) == path.with_suffix(".err").read_text().rstrip("\n")


def test_every_bad_case_has_its_message_and_good_ones_are_no_more() -> None:
    assert len(BAD) >= len(GOOD) > 0
    assert {path.stem for path in (CASES / "bad").glob("*.err")} == {path.stem for path in BAD}


# ---- the shared decks: truth made by another reader (boards/README.md, "Truth: means") ----------


def _lower(net: str | None) -> str | None:
    """Names compare in lower case there, and GND is 0."""
    return net if net is None else "0" if net.lower() in ("0", "gnd") else net.lower()


def _fact(board: Board, kind: str, query: str) -> Any:
    if kind == "pin_net":
        refdes, number = query.rsplit(".", 1)
        parts = {part.refdes.upper(): part for part in board.parts}
        pin = parts[refdes.upper()].pin(number)
        return None if pin is None else _lower(pin.net)
    net = next(net for net in board.nets if _lower(net.name) == query)
    pins = sorted(str(pin).upper() for pin in net.pins)
    return {"net_pin_count": len(pins), "net_pins": pins}[kind]


def test_counts_facts_and_expansion_are_those_of_the_truth(boards: Path) -> None:
    entries = truth_entries(boards, "spice")
    assert len(entries) >= 6
    for entry in entries:
        board = read_file(boards / entry["file"], shown=entry["file"])
        source = board.sources[0]
        assert source.format == "spice"
        counts = (source.parts, source.nets, source.pins)
        assert counts == (entry["components"], entry["nets"], entry["pins"]), entry["file"]
        for spot in entry["spot"]:
            assert _fact(board, spot["kind"], spot["query"]) == spot["answer"], spot
        flat = read_file(boards / entry["file"], hierarchy="flatten")
        assert len(flat.parts) == entry["more"]["flattened_leaf_elements"], entry["file"]


# ---- detection ------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "Ref, Value, Qty: a title like a heading\nR1 a b 10k\n.end\n",
        "(export and edif) as a title\nV1 a 0 5\n.op\n",
        "<xml>\n* remark\nR1 a b 4.7k tc=1\n",
        "317 title\n\n\n+ stray\nC1 a b {cap}\nC2 a b 10u 16V ; note\n",
        "\nR1 a b 1k\n",
        ".title x\r\nL1 a b 10u\r\n.end\r\n",
        "t\n.subckt A b\n.ends\n",
    ],
)
def test_a_deck_with_any_title_is_a_deck(text: str) -> None:
    found = detect_format(text)
    assert found is not None
    assert found.name == "spice"


@pytest.mark.parametrize(
    "text",
    [
        "Ref\tValue\tPackage\tQty\nR1\t10k\t0603\t1\n",
        "References,Qty,Value\nC1 C2 ,2,100n\nR1 R2 R3 R4,4,10k\n",
        "Wren\n\nReference\tX\tY\tRot\nR1\t10\t20\t90\n",
        "A title\nSome prose, with commas.\nRead it 5 or 6 times, carefully\n",
        "# Notes\n- R1 is 10k\n.end\n",
        '{"a": 1}',
    ],
)
def test_what_is_no_deck_is_not_taken_for_one(text: str) -> None:
    found = detect_format(text)
    assert found is None or found.name == "csv"


# ---- numbers: ngspice user manual, table 2.1 ----------------------------------------------------


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("1T", 1e12),
        ("1g", 1e9),
        ("1Meg", 1e6),
        ("1MEGohm", 1e6),
        ("1K", 1e3),
        ("1mil", 25.4e-6),
        ("1M", 1e-3),
        ("1mOhm", 1e-3),
        ("4.7u", 4.7e-6),
        ("4.7µF", 4.7e-6),
        ("1n", 1e-9),
        ("10pF", 10e-12),
        ("1F", 1e-15),
        ("-.5e-3", -0.5e-3),
        ("1e3k", 1e6),
        ("0R", 0.0),
        ("50V", 50.0),
        ("100uF;16V", 100e-6),
        ("10K,1%,DNI", 10e3),
        ("2k2", None),
        ("4R7", None),
        ("5A", None),
        ("3.3.0", None),
        ("RMOD", None),
        ("", None),
        ("1e999", None),
        ("9" * 400, None),
        ("1" + "0" * 299 + "e270", None),
    ],
)
def test_a_number_is_what_the_suffix_table_makes_of_it(text: str, number: float | None) -> None:
    assert spice_number(text) == number


def test_expressions_follow_the_usual_precedence() -> None:
    here = Environment(
        {
            "a": parse_statement("2", "expression") or (),
            "b": parse_statement("{a*3}", "expression") or (),
        }
    )
    cases = {
        "{1+2*3}": 7.0,
        "-2**2": -4.0,
        "2^-1": 0.5,
        "'a > 1 ? 8 : 89'": 8.0,
        "{b*2k}": 12000.0,
        "{min(a, b) + max(a, b)}": 8.0,
        "{sqrt(-1)}": None,
        "{1/0}": None,
        "{9**9**9**9}": None,
        "{TIME > 1}": None,
        "{a": None,
        "!0 && 2 || 0": 1.0,
        "agauss(5, 1, 3)": 5.0,
        "abs(1, 2)": None,
    }
    assert {text: here.value_of(text) for text in cases} == cases


@given(
    st.recursive(st.integers(1, 9), lambda inner: st.tuples(inner, st.sampled_from("+-*"), inner))
)
def test_arithmetic_agrees_with_python(tree: Any) -> None:
    def text_of(node: Any) -> str:
        if isinstance(node, int):
            return str(node)
        return f"({text_of(node[0])} {node[1]} {text_of(node[2])})"

    text = text_of(tree)
    assert Environment().value_of("{" + text + "}") == float(eval(text))  # noqa: S307 - own text


def test_circular_parameters_have_no_value_and_do_not_hang() -> None:
    found = parse_statement("a={b} b={a} c={c+1} d=4", "parameters")
    assert found is not None
    here = Environment({parameter.name: parameter.program for parameter in found})
    assert [here.lookup(name) for name in "abcd"] == [None, None, None, 4.0]


def test_functions_of_functions_end_at_the_budget() -> None:
    lines = ["bomb", ".func f0(x) {x+1}"]
    lines += [f".func f{i}(x) {{f{i - 1}(x)+f{i - 1}(x)+f{i - 1}(x)}}" for i in range(1, 30)]
    board = read_text("\n".join([*lines, "R1 a b {f29(1)}", "R2 a b 1k", ".end"]))
    assert "spice_value" not in board.part_by_key["R1"].properties
    assert board.part_by_key["R2"].properties["spice_value"] == "1000.0"


# ---- lines and elements ------------------------------------------------------------


def test_a_word_of_the_decks_own_models_decides_how_many_nodes_there_are() -> None:
    models = {"qn": "npn", "md": "vdmos"}
    kinds = {
        "Q1 c b e QN 2": 3,
        "Q1 c b e s QN": 4,
        "Q1 c b e s t QN": 5,
        "Q1 c b e NOWHERE": 3,
        "Q1 c b e [s] NOWHERE": 4,
        "M1 d g s MD": 3,
        "M1 d g s b NOWHERE": 4,
        "M1 d g s NOWHERE": 3,
        "M1 __M1": 0,
    }
    for text, nodes in kinds.items():
        element = decode_element(text, models)
        assert len(element.nodes) == nodes, text


def test_line_ends_of_any_system_count_alike() -> None:
    text = (CASES / "remarks.cir").read_text()
    plain = board_data(read_text(text))
    assert board_data(read_text(text.replace("\n", "\r\n"))) == plain
    assert board_data(read_text(text.replace("\n", "\r"))) == plain


def test_an_include_is_looked_up_only_where_there_is_a_folder() -> None:
    board = read_text("t\n.include models/diodes.inc\nR1 a 0 1\n.end\n")
    assert [warning.code for warning in board.warnings] == ["include-missing"]


def test_includes_that_double_at_every_level_are_refused(tmp_path: Path) -> None:
    for level in range(12):
        following = f".include l{level + 1}.inc\n" * 2
        (tmp_path / f"l{level}.inc").write_text(f"* {level}\n{following}")
    (tmp_path / "l12.inc").write_text("R1 a b 1\n")
    (tmp_path / "top.cir").write_text("t\n.include l0.inc\n.end\n")
    with pytest.raises(BadInput, match="more than 500 included files"):
        read_file(tmp_path / "top.cir", format_name="spice")


def test_a_binary_include_and_a_link_out_of_the_folder_are_left_out(tmp_path: Path) -> None:
    inner = tmp_path / "deck"
    inner.mkdir()
    (tmp_path / "secret.inc").write_text("RSECRET a b 1\n")
    (inner / "link.inc").symlink_to(tmp_path / "secret.inc")
    (inner / "blob.inc").write_bytes(b"\0\1\2")
    (inner / "empty.inc").write_bytes(b"")
    (inner / "top.cir").write_text(
        "t\n.include link.inc\n.include blob.inc\n.include empty.inc\nR1 a b 1\n.end\n"
    )
    board = read_file(inner / "top.cir")
    assert [part.key for part in board.parts] == ["R1"]
    assert [warning.code for warning in board.warnings] == [
        "include-outside",
        "include-unreadable",
        "include-unreadable",
    ]


def test_four_hundred_levels_expand() -> None:
    lines = ["deep"]
    for level in range(400):
        lines += [f".subckt S{level} a b", f"R1 a b {level}", f"X1 a b S{level + 1}", ".ends"]
    lines += [".subckt S400 a b", "C1 a n 1n", "C2 n b 1n", ".ends", "X0 in 0 S0", ".end"]
    board = read_text("\n".join(lines), "flatten")
    assert len(board.parts) == 402
    assert {net.name for net in board.nets} == {"in", "0", "X0/" + "X1/" * 400 + "n"}


def test_a_body_may_hold_bodies_and_hide_names_of_the_outside() -> None:
    board = read_text(
        "t\n.subckt B p\nR1 p 0 1\n.ends\n"
        ".subckt A p\n.subckt B p\nR2 p x 2\n.ends\nX1 p B\n.ends\nX1 n A\nX2 n B\n.end\n",
        "flatten",
    )
    assert [part.key for part in board.parts] == ["X1/X1/R2", "X2/R1"]
    assert board.part_by_key["X1/X1/R2"].pins[1].net == "X1/X1/x"


# ---- damage ------------------------------------------------------------


def _survives(text: str) -> None:
    for hierarchy in ("keep", "flatten"):
        try:
            board = read_text(text, hierarchy)
        except BadInput as error:
            assert re.match(r"error: t\.cir", str(error))
        else:
            assert len(board.parts) == board.sources[0].parts


@given(st.text(max_size=200))
def test_any_text_gives_a_board_or_our_error(text: str) -> None:
    _survives(text)


_WORDS = """R1 X1 Q1 E1 A1 K1 V1 B1 a b 0 10k POLY(2) POLY(99) params: a=1 {a} 'a+' NPN( D(BV=5)
.subckt .ends .param .model .if .else .endif .lib .endl .func .control .endc .global .include
+ * ; $ // ( ) { } ' " = , [ ]"""
_PIECES = st.sampled_from([*_WORDS.split(), "\n", "\n", "\n", "\t"])


@given(st.lists(_PIECES, max_size=60))
def test_words_of_decks_in_any_order_give_a_board_or_our_error(words: list[str]) -> None:
    _survives("t\n" + " ".join(words))


@given(st.data())
def test_a_deck_cut_doubled_or_changed_anywhere_gives_a_board_or_our_error(
    data: st.DataObject,
) -> None:
    path = data.draw(st.sampled_from(GOOD))
    text = path.read_text()
    at = data.draw(st.integers(0, len(text)))
    kind = data.draw(st.sampled_from(["cut", "drop", "double", "change"]))
    if kind == "cut":
        _survives(text[:at])
    elif kind == "drop":
        _survives(text[:at] + text[at + 1 :])
    elif kind == "double":
        _survives(text[: at + 1] + text[at:])
    else:
        _survives(text[:at] + data.draw(st.characters()) + text[at + 1 :])


@pytest.mark.parametrize(
    "text",
    [
        "t\nR1 a b " + "(" * 50_000,
        "t\nR1 a b " + "{" * 50_000,
        "t\nR1 a b '" + "((((" * 5_000,
        "t\n.param a=" + "(" * 50_000,
        "t\n.model Q NPN(" + "a=" * 50_000 + "\nQ1 a b c Q\n",
        "t\nR1" + "\n+ a" * 50_000,
        "t\nX1 " + "a " * 50_000 + "SUB",
        "t\nE1 a b POLY(999) " + "c " * 10_000,
        "t\nA1 " + "[" * 50_000 + " a b",
        "t\n" + ".subckt A\n" * 900 + ".ends\n" * 900,
        "t\n" + ".if (1)\n" * 16 + "R1 a b 1\n" + ".endif\n" * 16,
        "t\nV1 a 0 " + "dc " * 50_000,
    ],
    ids=lambda text: text[:24].encode().hex()[:16],
)
def test_long_and_deep_texts_are_read_in_bounded_time(text: str) -> None:
    _survives(text)


@pytest.mark.parametrize("written", ["0", "GND", "gnd"])
def test_ground_is_found_by_either_name_whichever_the_deck_writes(written: str) -> None:
    board = read(Document("t.cir", f"t\nR1 in {written} 1k\n.end\n"))
    for name in ("0", "GND", "gnd"):
        (net,) = find_nets(board, name)
        assert [str(pin) for pin in net.pins] == ["R1.2"]
        assert net.volts == 0.0
