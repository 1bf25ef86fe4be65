"""EDIF 2 0 0: cases, exact messages, the truth of the shared boards, the hierarchy."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from nettrace.errors import BadInput
from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.edif import read, read_with
from nettrace.readers.registry import detect_format

CASES = Path(__file__).parent / "cases" / "edif"
GOOD = sorted(CASES.glob("*.edf"))
BAD = sorted((CASES / "bad").glob("*.edf"))


def document(path: Path) -> Document:
    return Document(path.name, path.read_bytes().decode())


def as_data(board: Board) -> dict[str, Any]:
    """What a case file holds: everything a reader of it should see."""
    source = board.sources[0]
    return {
        "name": board.name,
        "version": source.version,
        "counts": [source.parts, source.nets, source.pins],
        "parts": {
            part.key: {
                "value": part.value,
                "package": part.package,
                "description": part.description,
                "fitted": part.fitted,
                "sheet": part.sheet,
                "properties": dict(part.properties),
                "pins": [[pin.number, pin.name, pin.electrical_type, pin.net] for pin in part.pins],
                "place": str(part.place),
            }
            for part in board.parts
        },
        "nets": {
            net.name: {
                "aliases": list(net.aliases),
                "pins": [str(pin) for pin in net.pins],
                "place": str(net.place),
            }
            for net in board.nets
        },
        "warnings": [str(warning) for warning in board.warnings],
    }


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.stem)
def test_case_reads_as_expected(path: Path) -> None:
    assert as_data(read(document(path))) == json.loads(path.with_suffix(".json").read_text())


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_bad_text_is_named_with_its_place(path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        read(document(path))
    assert str(caught.value) == path.with_suffix(".err").read_text().rstrip("\n")


def test_every_bad_case_has_its_message_and_good_ones_are_no_more() -> None:
    assert len(BAD) >= len(GOOD) > 0
    assert {path.stem for path in (CASES / "bad").glob("*.err")} == {path.stem for path in BAD}


def test_the_format_is_found_from_the_head() -> None:
    for path in GOOD:
        found = detect_format(path.read_text())
        assert found is not None
        assert found.name == "edif"
    for text in ('( edif(rename a "b")', "\n (EDIF x"):
        found = detect_format(text)
        assert found is not None
        assert found.name == "edif"


def test_sheets_are_kept_as_parts_when_asked() -> None:
    board = read_with(document(CASES / "board_netlist.edf"), "keep")
    assert [part.key for part in board.parts] == ["C2", "left", "right"]
    assert [str(pin) for pin in board.net_by_name["link"].pins] == ["left.io[1]", "right.io[0]"]
    # SUPPLY and SUPPLY2 are tied inside the sheet alone
    assert board.net_by_name["VBAT"].aliases == ()


def test_counts_of_the_source_are_of_the_top_cell_in_both_hierarchies() -> None:
    flat = read_with(document(CASES / "board_netlist.edf"), "flatten").sources[0]
    kept = read_with(document(CASES / "board_netlist.edf"), "keep").sources[0]
    assert (flat.parts, flat.nets, flat.pins) == (kept.parts, kept.nets, kept.pins) == (3, 4, 8)


# Truth of the shared boards: made with spydrnet and a second reader (README beside it).


def truth(boards: Path) -> list[dict[str, Any]]:
    files: list[dict[str, Any]] = json.loads((boards / "truth/edif-netlists.json").read_text())[
        "files"
    ]
    return files


@pytest.mark.parametrize("hierarchy", ["flatten", "keep"])
def test_counts_agree_with_the_truth(boards: Path, hierarchy: Any) -> None:
    for file in truth(boards):
        path = boards / file["file"]
        board = read_with(document(path), hierarchy)
        source = board.sources[0]
        said = (source.parts, source.nets, source.pins)
        assert said == (file["components"], file["nets"], file["pins"]), path.name
        assert source.version == file["version"].removeprefix("EDIF ")
        if hierarchy == "flatten":
            assert len(board.parts) == file["more"]["leaf_instances_whole_tree"], path.name
        assert board.warnings == (), path.name


def test_spot_facts_agree_with_the_truth(boards: Path) -> None:
    checked = 0
    for file in truth(boards):
        board = read_with(document(boards / file["file"]), "keep")
        net_of_pin = {str(pin): pin.net for part in board.parts for pin in part.pins}
        for spot in file["spot"]:
            query = spot["query"]
            match spot["kind"]:
                case "net_pin_count":
                    found: Any = len(board.net_by_name[query].pins)
                case "net_pins":
                    found = sorted(map(str, board.net_by_name[query].pins))
                case "pin_net":
                    found = net_of_pin.get(query)
                case "part_cell":
                    part = board.part_by_key[query]
                    found = part.properties["cell"]
                    assert part.value == found  # no value is said: the cell stands in
                case kind:
                    pytest.fail(f"a kind of fact that is not checked: {kind}")
            assert found == spot["answer"], (file["file"], spot)
            checked += 1
    assert checked == sum(len(file["spot"]) for file in truth(boards)) > 0


# What standard and practice let writers do (board schematics: QUIRKS of the shared boards).


def small(contents: str, *, view: str = "NETLIST", cells: str = "") -> Board:
    """A board of one cell R with ports A and B, and what `contents` says."""
    return read(
        Document(
            "small.edf",
            "(edif e (edifVersion 2 0 0) (edifLevel 0) (keywordMap (keywordLevel 0))"
            " (library L (edifLevel 0) (technology (numberDefinition))"
            f" (cell R (cellType GENERIC) (view v (viewType {view})"
            " (interface (port A (direction INPUT)) (port B (direction OUTPUT)))))"
            f" {cells} (cell top (cellType GENERIC) (view v (viewType {view}) (interface)"
            f" (contents {contents})))) (design d (cellRef top (libraryRef L))))",
        )
    )


def part_text(items: str, name: str = "R1") -> str:
    return f"(instance {name} (viewRef v (cellRef R (libraryRef L))) {items})"


@pytest.mark.parametrize(
    ("said", "value", "fitted"),
    [
        ('(property VALUE (string "10K,1%,DNI"))', "10K,1%,DNI", False),
        ('(property Value (string "d.n.p.(22R)"))', "d.n.p.(22R)", False),
        ('(property PartValue (string "1uF")) (property DNP (string "yes"))', "1uF", False),
        ('(property Val (string "1uF")) (property DNP (string "no"))', "1uF", True),
        ('(property Value (string "DNIPRO7"))', "DNIPRO7", None),
        ("(property Value (integer 22)) (property Populate (boolean (true)))", "22", True),
        ('(property Value (string "")) (property Populate (string "0"))', None, False),
        ("", "R", None),
    ],
)
def test_value_and_fitted_of_properties(said: str, value: str | None, fitted: bool | None) -> None:
    part = small(part_text(said)).parts[0]
    assert (part.value, part.fitted) == (value, fitted)


def test_strings_decode_codes_and_lose_their_line_breaks() -> None:
    text = '(property Note (string "a%34%b %9 65% 5%,10%\r\n 1%1%, c%300%d%55296%"))'
    assert small(part_text(text)).parts[0].properties["Note"] == (
        'a"b \tA 5%,10% 1%1%, cĬd%55296%'  # a code that is no character stays as it is
    )


def test_a_reference_may_be_a_property_and_beats_the_instance_name() -> None:
    board = small(part_text('(property RefDes (string "R7"))', "I1") + part_text("", "&2R"))
    assert [part.refdes for part in board.parts] == ["2R", "R7"]


def test_references_not_given_yet_are_apart() -> None:
    board = small(part_text('(designator "R?")', "a") + part_text('(designator "R?")', "b"))
    assert [part.key for part in board.parts] == ["R?", "R?~2"]


def test_units_that_disagree_are_said() -> None:
    board = small(
        part_text('(designator "R1") (property Value (string "1k"))', "a")
        + part_text('(designator "R1") (property Value (string "2k"))', "b")
        + "(net n (joined (portRef A (instanceRef a))))"
        + "(net m (joined (portRef A (instanceRef b))))"
    )
    assert [part.value for part in board.parts] == ["1k"]
    assert {warning.code for warning in board.warnings} == {"units-disagree", "pin-on-two-nets"}


def test_two_designators_of_one_instance_are_said() -> None:
    board = small(part_text('(designator "R1") (designator "R2")', "a"))
    assert [part.refdes for part in board.parts] == ["R1"]
    assert [warning.code for warning in board.warnings] == ["two-designators"]


def test_nets_of_one_shown_name_stay_apart_in_a_netlist() -> None:
    board = small(
        part_text("")
        + '(net a (joined (portRef A (instanceRef R1)))) (net (rename b "a") '
        + "(joined (portRef B (instanceRef R1))))"
    )
    assert {net.name: [str(pin) for pin in net.pins] for net in board.nets} == {
        "a": ["R1.A"],
        "a~2": ["R1.B"],
    }
    assert [warning.code for warning in board.warnings] == ["repeated-net-name"]


def test_a_net_given_twice_is_one_and_said() -> None:
    board = small(
        part_text("")
        + "(net a (joined (portRef A (instanceRef R1))))"
        + "(net a (joined (portRef B (instanceRef R1))))"
    )
    assert [len(net.pins) for net in board.nets] == [2]
    assert [warning.code for warning in board.warnings] == ["repeated-net"]


def test_ports_and_members_that_are_not_there_are_said() -> None:
    board = small(
        part_text("")
        + "(net a (joined (portRef C (instanceRef R1)) (portRef (member A 3) (instanceRef R1))"
        + " (portRef X)))"
    )
    assert [str(pin) for pin in board.net_by_name["a"].pins] == ["R1.A[3]", "R1.C"]
    assert [warning.code for warning in board.warnings] == [
        "unknown-port",
        "width-mismatch",
        "unknown-port",
    ]


def test_same_names_in_several_sheets_of_a_schematic_are_said_not_joined() -> None:
    sheet = (
        "(cell s (cellType GENERIC) (view v (viewType SCHEMATIC) (interface) (contents (page p "
        '(instance i (viewRef v (cellRef R (libraryRef L))) (designator "R1"))'
        "(net GND (joined (portRef A (instanceRef i))))))))"
    )
    board = small(
        "(page p (instance x (viewRef v (cellRef s))) (instance y (viewRef v (cellRef s))))",
        view="SCHEMATIC",
        cells=sheet,
    )
    assert [part.key for part in board.parts] == ["x/R1", "y/R1"]
    assert [net.name for net in board.nets if net.pins] == ["x/GND", "y/GND"]
    assert [warning.code for warning in board.warnings] == ["same-name-apart"]


def test_an_instance_without_reference_in_a_schematic() -> None:
    one_port = "(cell P (cellType GENERIC) (view v (viewType SCHEMATIC) (interface (port P))))"
    board = small(
        "(page p (instance x (viewRef v (cellRef P))) (instance y (viewRef v (cellRef R)))"
        "(net n (joined (portRef P (instanceRef x)) (portRef A (instanceRef y)))))",
        view="SCHEMATIC",
        cells=one_port,
    )
    assert [part.key for part in board.parts] == ["y"]
    assert [warning.code for warning in board.warnings] == ["symbol", "no-designator"]


def test_a_pair_of_sheets_that_double_is_stopped() -> None:
    levels = "".join(
        f"(cell s{level} (cellType GENERIC) (view v (viewType NETLIST) (interface) (contents "
        f"(instance a (viewRef v (cellRef {inner}))) (instance b (viewRef v (cellRef {inner}))))))"
        for level, inner in enumerate(["R", *(f"s{level}" for level in range(39))])
    )
    with pytest.raises(BadInput, match="expand to over 2000000 instances"):
        small("(instance t (viewRef v (cellRef s39)))", cells=levels)


def test_sheets_nest_at_most_a_hundred_deep() -> None:
    levels = "".join(
        f"(cell s{level} (cellType GENERIC) (view v (viewType NETLIST) (interface) (contents "
        f"(instance a (viewRef v (cellRef {inner}))))))"
        for level, inner in enumerate(["R", *(f"s{level}" for level in range(199))])
    )
    with pytest.raises(BadInput, match="sheets nested 101 deep"):
        small("(instance t (viewRef v (cellRef s199)))", cells=levels)


def test_many_like_warnings_are_counted() -> None:
    refs = "".join(f"(portRef X{index} (instanceRef R1))" for index in range(30))
    board = small(part_text("") + f"(net n (joined {refs}))")
    assert len(board.warnings) == 21
    assert board.warnings[-1].message == "30 such in all; the first 20 are listed"


def warnings_of(text: str) -> list[str]:
    return [warning.code for warning in read(Document("w.edf", text)).warnings]


CELL_R = "(cell R (cellType GENERIC) (view v (viewType NETLIST) (interface (port A))))"
CELL_TOP = (
    "(cell top (cellType GENERIC) (view v (viewType NETLIST) (interface) (contents"
    " (instance R1 (viewRef v (cellRef R))) (net n (joined (portRef A (instanceRef R1)))))))"
)
TOP = "(design d (cellRef top (libraryRef L)))"
VERSION = "(edifVersion 2 0 0)"


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        (f"(edif e {VERSION} (library L {CELL_R} {CELL_TOP}) {TOP})", []),
        (f"(edif e (library L {CELL_R} {CELL_TOP}) {TOP})", ["no-version"]),
        (f"(edif e {VERSION} (library L {CELL_R} {CELL_TOP}) {TOP} {TOP})", ["second-design"]),
        (f"(edif e {VERSION} (library L {CELL_R}) {TOP.replace('top', 'R')})", ["empty-design"]),
        (
            f"(edif e {VERSION} (library L {CELL_R} {CELL_TOP.replace('viewRef v', 'viewRef w')})"
            f" {TOP})",
            ["missing-view"],
        ),
        (
            f"(edif e {VERSION} (library L {CELL_R} "
            f"{CELL_TOP.replace('(instanceRef R1)', '(portRef B (instanceRef R1))')}) {TOP})",
            ["deep-reference"],
        ),
        (
            f"(edif e {VERSION} (library L {CELL_R} "
            f"{CELL_TOP.replace('(instanceRef R1)', '(instanceRef R1 (instanceRef R2))')}) {TOP})",
            ["deep-reference"],
        ),
        # the cell is in another library, and only there
        (f"(edif e {VERSION} (library K {CELL_R}) (library L {CELL_TOP}) {TOP})", []),
        # in two others: which one is meant cannot be known
        (
            f"(edif e {VERSION} (library J {CELL_R}) (library K {CELL_R}) (library L {CELL_TOP})"
            f" {TOP})",
            ["missing-cell"],
        ),
    ],
)
def test_what_is_read_with_care_is_said(text: str, codes: list[str]) -> None:
    assert warnings_of(text) == codes


def test_a_port_on_two_nets_makes_them_one_also_in_the_top_cell() -> None:
    text = (
        f"(edif e {VERSION} (library L {CELL_R} (cell top (cellType GENERIC) (view v "
        "(viewType NETLIST) (interface (port P)) (contents (instance R1 (viewRef v (cellRef R)))"
        "(net a (joined (portRef P))) (net b (joined (portRef p) (portRef A (instanceRef r1))))))))"
        f" {TOP})"
    )
    board = read(Document("p.edf", text))
    assert [(net.name, net.aliases, len(net.pins)) for net in board.nets] == [("a", ("b",), 1)]


def test_arrays_of_instances_have_a_bound() -> None:
    arrays = "".join(
        f"(instance (array a{n} 65536) (viewRef v (cellRef R (libraryRef L))))" for n in range(20)
    )
    with pytest.raises(BadInput, match="arrays of over 1000000 instances"):
        small(arrays)


def test_an_empty_text_is_named() -> None:
    with pytest.raises(BadInput, match="no form where"):
        read(Document("empty.edf", " \n"))


def test_ids_match_without_case_and_ampersand_but_exactly_first() -> None:
    board = small(
        part_text("", "&1r") + part_text("", "a") + part_text("", "A")
        + "(net n (joined (portRef a (instanceRef 1R)) (portRef A (instanceRef A))))"
        + "(net m (joined (portRef B (instanceRef a))))"
    )  # fmt: skip
    assert {net.name: [str(pin) for pin in net.pins] for net in board.nets} == {
        "m": ["a.B"],
        "n": ["1r.A", "A.A"],
    }
    assert board.warnings == ()


def test_pages_have_instances_and_connectors_of_their_own() -> None:
    def page(name: str, refdes: str, net: str, off_page: str) -> str:
        return (
            f"(page {name} (instance I1 (viewRef v (cellRef R (libraryRef L)))"
            f' (designator "{refdes}")) (net {net} (joined (portRef A (instanceRef I1))'
            f" (portRef S (instanceRef SYMBOL)) (portRef {off_page}))"
            " (instance SYMBOL (viewRef v (cellRef R (libraryRef L))))))"
        )

    board = small(
        page("p1", "R1", "n1", "o1")
        + page("p2", "R2", "n2", "o2")
        + page("p3", "R3", "n3", "o3")
        + '(offPageConnector (rename o1 "LINK")) (offPageConnector (rename o2 "LINK"))'
        + '(offPageConnector (rename o3 "OTHER"))',
        view="SCHEMATIC",
    )
    assert {net.name: [str(pin) for pin in net.pins] for net in board.nets} == {
        "n1": ["R1.A", "R2.A"],
        "n3": ["R3.A"],
    }
    assert board.net_by_name["n1"].aliases == ("n2",)
    assert board.warnings == ()


def test_a_bus_goes_on_through_its_off_page_connector_wire_by_wire() -> None:
    memory = (
        "(cell M (cellType GENERIC) (view v (viewType SCHEMATIC) (interface"
        ' (port (array (rename D "D[1:0]") 2) (direction INOUT)))))'
    )

    def page(name: str, bus: str, connector: str) -> str:
        return (
            f'(page {name} (instance I{name} (viewRef v (cellRef M)) (designator "U{name}"))'
            f' (net (array (rename {bus} "{bus}[0:1]") 2) (joined (portRef D (instanceRef I{name}))'
            f" (portRef {connector})))"
            f' (offPageConnector (array (rename {connector} "DATA[1:0]") 2)))'
        )

    board = small(
        page("a", "LEFT", "o1") + page("b", "RIGHT", "o2"), view="SCHEMATIC", cells=memory
    )
    assert {net.name: [str(pin) for pin in net.pins] for net in board.nets} == {
        "LEFT[0]": ["Ua.D[1]", "Ub.D[1]"],
        "LEFT[1]": ["Ua.D[0]", "Ub.D[0]"],
    }
    assert board.net_by_name["LEFT[0]"].aliases == ("RIGHT[0]",)


def test_the_document_says_whether_sheets_are_kept() -> None:
    path = CASES / "board_netlist.edf"
    kept = read(Document(path.name, path.read_bytes().decode(), hierarchy="keep"))
    assert [part.key for part in kept.parts] == ["C2", "left", "right"]


#: Two nets of one shown name; what is put where PORTS, MORE, IN_X and IN_Y stand.
FLAT = """(edif B (edifVersion 2 0 0) (edifLevel 0) (keywordMap (keywordLevel 0))
 (external L (edifLevel 0) (technology (numberDefinition))
  (cell C (cellType GENERIC) (view N (viewType NETLIST) (interface
   (port &2 (direction INPUT)) (port (rename &1 "A")) (port (array (rename D "D[1:0]") 2))))))
 (library W (edifLevel 0) (technology (numberDefinition))
  (cell T (cellType GENERIC) (view N (viewType NETLIST) (interface PORTS) (contents
   (instance U1 (viewRef N (cellRef C (libraryRef L))) (property Value (string "10k")))
   (instance U2 (viewRef N (cellRef C (libraryRef L))) MORE)
   (net X (joined (portRef &2 (instanceRef U1)) (portRef &1 (instanceRef U2)) IN_X))
   (net (rename Y "X") (joined (portRef (member D 1) (instanceRef U1)) IN_Y))))))
 (design B (cellRef T (libraryRef W))))
"""


@pytest.mark.parametrize(
    ("parts", "pins", "codes"),
    [
        ({}, {"U1.2": "X", "U1.D[0]": "X~2", "U2.A": "X"}, []),
        (
            {"IN_X": "(portRef 1 (instanceRef u2)) (portRef (member d 0) (instanceRef u1))"},
            {"U1.2": "X", "U1.D[0]": "X~2", "U1.D[1]": "X", "U2.A": "X"},
            [],
        ),
        (
            {"IN_X": "(portRef &2 (instanceRef U1))"},
            {"U1.2": "X", "U1.D[0]": "X~2", "U2.A": "X"},
            [],
        ),
        (
            {"IN_Y": "(portRef Q (instanceRef U1))"},
            {"U1.2": "X", "U1.D[0]": "X~2", "U1.Q": "X~2", "U2.A": "X"},
            ["unknown-port"],
        ),
        (
            {"IN_Y": "(portRef D (instanceRef U2))"},
            {"U1.2": "X", "U1.D[0]": "X~2", "U2.A": "X", "U2.D[1:0]": "X~2"},
            ["width-mismatch"],
        ),
        (
            {"MORE": '(portInstance &1 (designator "7"))'},
            {"U1.2": "X", "U1.D[0]": "X~2", "U2.7": "X"},
            [],
        ),
        (
            {"IN_Y": ")\n  (net Z (joined (portRef (member D 0) (instanceRef U1)))"},
            {"U1.2": "X", "U1.D[0]": "X~2", "U1.D[1]": "X~2", "U2.A": "X"},
            [],
        ),
    ],
)
def test_references_however_spelt_lead_to_their_pins(
    parts: dict[str, str], pins: dict[str, str], codes: list[str]
) -> None:
    text = FLAT
    for word in ("PORTS", "MORE", "IN_X", "IN_Y"):
        text = text.replace(word, parts.get(word, ""))
    board = read(Document("b.edf", text))
    found = {str(pin): pin.net for part in board.parts for pin in part.pins if pin.net}
    assert found == pins
    assert sorted(warning.code for warning in board.warnings) == sorted(
        [*codes, "repeated-net-name"]
    )


def test_places_name_the_line_and_column_of_each_form() -> None:
    text = FLAT.replace("\n   (net", " (net")
    for word in ("PORTS", "MORE", "IN_X", "IN_Y"):
        text = text.replace(word, "")
    board = read(Document("b.edf", text))
    lines = text.split("\n")
    for part in board.parts:
        assert part.place is not None
        assert lines[part.place.line - 1][part.place.column - 1 :].startswith(
            f"(instance {part.refdes} "
        )
    for net in board.nets:
        assert net.place is not None
        assert lines[net.place.line - 1][net.place.column - 1 :].startswith("(net ")
