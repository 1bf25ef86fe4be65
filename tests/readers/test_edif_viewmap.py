"""View maps, nets in nets, and ports with several pins: what PCB schematic tools write besides.

The forms are the standard's (ANSI/EIA-548); that writers use them so is seen in published
descriptions of such files. The texts are our own.
"""

from __future__ import annotations

import pytest

from nettrace.errors import BadInput
from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.edif_cells import decode_string
from nettrace.readers.registry import read_text
from tests.readers.edif_schematics import Dialect
from tests.readers.test_edif_schematics import SHEETS, check, codes

HEAD = """(edif b (edifVersion 2 0 0) (edifLevel 0) (keywordMap (keywordLevel 0))
(library L (edifLevel 0) (technology (numberDefinition))
 (cell RES (cellType GENERIC) (view N (viewType NETLIST)
  (interface (designator "?")
   (port A (direction INOUT) (designator "1")) (port B (direction INOUT) (designator "2")))))
 (cell CON (cellType GENERIC) (view N (viewType NETLIST)
  (interface (port SIG (direction INOUT)) (port GND (direction INOUT)))))
 (cell TOP (cellType GENERIC) (view NETS (viewType NETLIST) (interface)
  (contents
   (instance (rename &04I7 "$1I7") (viewRef N (cellRef RES)) (portInstance A (designator ""))
    (designator "?") (property VALUE (string "4k7")))
   (instance (rename &04I8 "$1I8") (viewRef N (cellRef CON)) (portInstance SIG (designator "1"))
    (portInstance GND (designator "2")) (portInstance GND (designator "3"))
    (portInstance GND (designator "2")) (designator "J1"))
"""
NETS = """
   (net GND (joined (globalPortRef GND) (portRef GND (instanceRef &04I8)))
    (net (rename &04N1 "$1N1") (joined (portRef B (instanceRef &04I7)))))
   (net (rename &04N2 "$1N2")
    (joined (portRef SIG (instanceRef &04I8)))
    (net SENSE (joined (portRef A (instanceRef &04I7)) (portRef SIG (instanceRef &04I8)))))
"""
MAP = """ (viewMap
   (instanceBackAnnotate (instanceRef &04I7 (viewRef NETS)) (designator "R12")
    (property (rename Cell_Name "Cell Name") (string "R0402")))
   (portBackAnnotate (portRef A (instanceRef &04I7 (viewRef NETS))) (designator "5"))
   (portBackAnnotate (portRef B (instanceRef &04I7 (viewRef NETS (cellRef TOP)))) (designator "6")))
"""
TAIL = "))\n(design b (cellRef TOP (libraryRef L))))\n"


def read(view_map: str = MAP, nets: str = NETS) -> Board:
    return read_text(Document("b.edn", f"{HEAD}{nets})){view_map}{TAIL}"))


def joined(board: Board) -> dict[str, set[str]]:
    return {net.name: {str(pin) for pin in net.pins} for net in board.nets}


@pytest.mark.parametrize("where", ["cell", "design"])
def test_a_drawing_whose_references_and_pin_numbers_are_all_in_the_view_map(where: str) -> None:
    check(Dialect(reference="view map", pin_numbers="view map", view_map=where))


def test_a_netlist_view_with_placeholders_is_named_by_its_view_map() -> None:
    board = read()
    assert joined(board) == {
        "GND": {"J1.2", "J1.3", "R12.6"},
        "$1N2": {"J1.1", "R12.5"},
    }
    part = board.part_by_key["R12"]
    assert (part.value, part.package) == ("4k7", "R0402")
    assert not board.warnings


def test_the_name_of_a_net_in_a_net_is_an_alias_if_it_is_not_made_up() -> None:
    aliases = {net.name: net.aliases for net in read().nets}
    assert aliases == {"GND": (), "$1N2": ("SENSE",)}


def test_without_a_view_map_a_placeholder_is_no_reference() -> None:
    board = read("")
    assert {part.refdes for part in board.parts} == {"$1I7", "J1"}


def test_each_pin_of_a_port_with_several_is_on_its_net_and_counted() -> None:
    board = read()
    assert [pin.number for pin in board.part_by_key["J1"].pins] == ["1", "2", "3"]
    # the pins of a port that no net joins are open pins
    board = read(nets=NETS.replace("(portRef GND (instanceRef &04I8))", ""))
    assert [(pin.number, pin.net) for pin in board.part_by_key["J1"].pins] == [
        ("1", "$1N2"),
        ("2", None),
        ("3", None),
    ]


def test_a_net_of_another_width_in_a_net_stays_apart_and_is_said() -> None:
    nets = NETS.replace("(net SENSE", "(net (array SENSE 2)")
    board = read(nets=nets)
    assert "inner-net" in codes(board)
    assert "R12.5" not in joined(board)["$1N2"]


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("&04I7 (viewRef NETS)) (designator", "&04I9 (viewRef NETS)) (designator",
         "missing-instance"),
        ("(viewMap", '(viewMap (instanceBackAnnotate (instanceRef &04I7 (viewRef NETS))'
         ' (designator "R13"))', "two-designators"),
        ("(viewMap", '(viewMap (instanceBackAnnotate (instanceRef &04I8 (viewRef NETS))'
         ' (designator "J7"))', "annotated"),
        ("(viewMap", '(viewMap (instanceBackAnnotate (instanceRef &04I8 (viewRef OTHER))'
         ' (designator "J7"))', "missing-view"),
    ],
)  # fmt: skip
def test_what_a_view_map_says_oddly_is_told(old: str, new: str, code: str) -> None:
    assert old in MAP
    board = read(MAP.replace(old, new, 1))
    assert code in codes(board)
    names = {part.refdes for part in board.parts}
    assert ("J7" in names) == (code == "annotated")
    assert ("R13" in names) == (code == "two-designators")


@pytest.mark.parametrize(
    ("view_map", "message"),
    [
        ('(viewMap (instanceBackAnnotate (designator "R1")))', "no instance"),
        ('(viewMap (portBackAnnotate (designator "1")))', "no port"),
        ('(viewMap (instanceBackAnotate (instanceRef &04I7) (designator "R1")))', "BackAnnotate"),
    ],
)
def test_a_view_map_of_another_shape_stops_the_reader(view_map: str, message: str) -> None:
    with pytest.raises(BadInput, match=rf"(?is)b\.edn:\d+:\d+: .*{message}"):
        read(view_map)


def test_a_port_of_an_instance_may_be_given_as_a_reference() -> None:
    text = f"{HEAD}{NETS})){MAP}{TAIL}".replace(
        "(portInstance SIG (desig", "(portInstance (portRef SIG) (desig"
    )
    assert joined(read_text(Document("b.edn", text))) == joined(read())


# a sheet drawn once and used twice: its parts have references by their place alone
BY_PLACE = """ (viewMap
  (instanceBackAnnotate (instanceRef I1 (instanceRef B1 (viewRef N))) (designator "R101"))
  (instanceBackAnnotate (instanceRef I2 (instanceRef B1 (viewRef N))) (designator "R102"))
  (instanceBackAnnotate (instanceRef I1 (instanceRef B2 (viewRef N))) (designator "R201"))
  (instanceBackAnnotate (instanceRef I2 (instanceRef B2 (viewRef N))) (designator "R202"))
  (portBackAnnotate (portRef &2 (instanceRef I1 (instanceRef B2 (viewRef N)))) (designator "7")))
"""
TOP_END = "(instance S3 (viewRef N (cellRef SYM)))))))))"
BLOCK_END = "(instance S2 (viewRef N (cellRef SYM))))))))"


def test_a_sheet_used_twice_has_parts_of_its_own_references_in_each_place() -> None:
    assert TOP_END in SHEETS
    text = SHEETS.replace(TOP_END, TOP_END[:-2] + BY_PLACE + "))")
    board = read_text(Document("s.edf", text))
    assert joined(board) == {
        "A": {"R101.1", "R9.1"},
        "B": {"R201.1"},
        "GND": {"R102.2", "R202.2", "R9.2"},
        "LEFT/MID": {"R101.2", "R102.1"},
        "RIGHT/MID": {"R201.7", "R202.1"},
    }
    assert board.part_by_key["R201"].sheet == "RIGHT"


def test_a_sheets_own_view_map_names_its_parts_within_the_sheet() -> None:
    assert BLOCK_END in SHEETS
    own = '(viewMap (instanceBackAnnotate (instanceRef I1 (viewRef N)) (designator "R77")))'
    text = SHEETS.replace(BLOCK_END, f"{BLOCK_END[:-1]} {own})")
    names = {part.refdes for part in read_text(Document("s.edf", text)).parts}
    assert names == {"LEFT/R77", "LEFT/R2", "RIGHT/R77", "RIGHT/R2", "R9"}
    # what the board's own view map says stands before it
    both = text.replace(TOP_END, TOP_END[:-2] + BY_PLACE + "))")
    names = {part.refdes for part in read_text(Document("s.edf", both)).parts}
    assert names == {"R101", "R102", "R201", "R202", "R9"}


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("4%181%7", "4µ7"),  # ISO 8859-1
        ("%194%%181%F", "µF"),  # UTF-8, a byte a code
        ("%215%%232%%200%%221% 0402", "阻容 0402"),  # GB 2312
        ("%177%%176%", "±°"),  # two signs alone are no GB 2312
        ("10K,1%37%", "10K,1%"),
        ("%37%%37%", "%%"),
        ("1%9999999%", "1%9999999%"),
    ],
)
def test_codes_of_characters(written: str, said: str) -> None:
    assert decode_string(f'"{written}"') == said
