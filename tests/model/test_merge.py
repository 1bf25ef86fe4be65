"""Merging: joined by refdes and pin, never by a net's name alone; conflicts name both places."""

from __future__ import annotations

from nettrace.errors import Place
from nettrace.model.board import Board, Side
from nettrace.model.builder import BoardBuilder
from nettrace.model.merge import by_precedence, merge_boards


def source(path: str, format_name: str, text: str, *, placed: float | None = None) -> Board:
    """Make a board of lines `R1 value pin=net pin=net`; `placed` sets pads at x + placed."""
    builder = BoardBuilder(path, format_name)
    for number, line in enumerate(text.strip().splitlines(), 1):
        refdes, value, *pins = line.split()
        draft = builder.part(refdes, Place(path, number, 1))
        draft.value = None if value == "-" else value
        for column, pin in enumerate(pins):
            name, _, net = pin.partition("=")
            draft.pin(name, net or None, place=Place(path, number, 10 * column + 10))
            if placed is not None:
                draft.pad(name, net or None, placed + column, float(number), Side.TOP)
    return builder.build()


def nets(board: Board) -> dict[str, list[str]]:
    return {net.name: [str(pin) for pin in net.pins] for net in board.nets}


NETLIST = """
R1 2k2 1=SDA 2=+1V8
U1 MCU 4=SDA 5=+1V8 6=GND
C1 100n 1=+1V8 2=GND
"""


def test_a_board_merged_with_itself_adds_nothing_and_conflicts_with_nothing() -> None:
    board = source("a.net", "kicad_net", NETLIST)
    merged = merge_boards([board, board])
    assert merged.conflicts == ()
    assert nets(merged) == nets(board)
    assert [part.value for part in merged.parts] == [part.value for part in board.parts]


def test_places_come_from_one_values_from_another() -> None:
    netlist = source("a.net", "kicad_net", NETLIST)
    placed = source("a.d356", "ipc-d-356", NETLIST.replace(" 2k2 ", " - "), placed=5.0)
    merged = merge_boards([netlist, placed])
    assert merged.conflicts == ()
    part = merged.part_by_key["R1"]
    assert part.value == "2k2"
    assert (part.pins[0].x, part.pins[1].x) == (5.0, 6.0)
    assert merged.counts() == netlist.counts()


def test_other_names_for_the_same_pins_become_aliases() -> None:
    long = NETLIST.replace("SDA", "/mcu/peripherals/SDA")
    merged = merge_boards(
        [
            source("a.net", "kicad_net", long),
            source("a.d356", "ipc-d-356", NETLIST.replace("SDA", "RIPHERALS/SDA")),
        ]
    )
    assert merged.net_by_name["/mcu/peripherals/SDA"].aliases == ("RIPHERALS/SDA",)
    assert merged.conflicts == ()


def test_a_pin_on_two_nets_is_a_conflict_with_both_places() -> None:
    other = NETLIST.replace("6=GND", "6=SDA")
    merged = merge_boards(
        [source("a.net", "kicad_net", NETLIST), source("b.net", "kicad_net", other)]
    )
    (conflict,) = merged.conflicts
    assert conflict.subject == "U1.6"
    assert conflict.kept == "GND"
    assert [str(said.place) for said in conflict.statements] == ["a.net:2:30", "b.net:2:30"]
    assert nets(merged)["GND"] == ["C1.2", "U1.6"]


def test_a_net_that_one_source_splits_is_a_conflict() -> None:
    split = NETLIST.replace("C1 100n 1=+1V8", "C1 100n 1=1V8_IN")
    merged = merge_boards(
        [source("a.net", "kicad_net", NETLIST), source("b.net", "kicad_net", split)]
    )
    assert [(c.code, c.subject, c.kept) for c in merged.conflicts] == [
        ("net-split", "C1.1", "+1V8")
    ]


def test_values_that_differ_are_shown_and_the_first_is_kept() -> None:
    merged = merge_boards(
        [
            source("a.net", "kicad_net", NETLIST),
            source("b.csv", "csv", "R1 4k7\nC1 100N\n"),
        ]
    )
    (conflict,) = merged.conflicts
    assert (conflict.code, conflict.subject, conflict.kept) == ("value-differs", "R1", "2k2")


def test_cut_names_do_not_join_two_nets() -> None:
    netlist = """
    R1 - 1=/one/sheet/of/this/VBUS-IN 2=GND
    R2 - 1=/other/sheet/of/this/VBUS-IN 2=GND
    """
    cut = "R1 - 1=/THIS/VBUS-IN 2=GND\nR2 - 1=/THIS/VBUS-IN 2=GND"
    cut = cut.replace("/THIS/VBUS-IN", "/one/sheet/of/this/VBUS-IN".upper()[-14:])
    merged = merge_boards(
        [source("a.net", "kicad_net", netlist), source("a.d356", "ipc-d-356", cut, placed=0.0)]
    )
    assert len(merged.nets) == 3
    assert merged.conflicts == ()


def test_cut_references_and_pins_find_their_long_ones() -> None:
    netlist = "MICRO_SD1 - USB_ID=ID 2=GND\nR1 - 1=ID 2=GND\nR2 - 1=ID 2=GND"
    cut = "MICRO_ - USB_=ID 2=GND\nR1 - 1=ID 2=GND\nR2 - 1=ID 2=GND"
    merged = merge_boards(
        [source("a.net", "kicad_net", netlist), source("a.d356", "ipc-d-356", cut, placed=1.0)]
    )
    assert [part.key for part in merged.parts] == ["MICRO_SD1", "R1", "R2"]
    assert [(pin.number, pin.x) for pin in merged.part_by_key["MICRO_SD1"].pins] == [
        ("2", 2.0),
        ("USB_ID", 1.0),
    ]


def test_one_cut_pin_on_three_nets_adds_no_pin() -> None:
    netlist = "U2 - USB_ID=ID USB_N=N USB_P=P\nR1 - 1=ID 2=N\nR2 - 1=P 2=N"
    cut = "U2 - USB_=ID USB_=N USB_=P\nR1 - 1=ID 2=N\nR2 - 1=P 2=N"
    merged = merge_boards(
        [source("a.net", "kicad_net", netlist), source("a.d356", "ipc-d-356", cut, placed=1.0)]
    )
    assert [pin.number for pin in merged.part_by_key["U2"].pins] == ["USB_ID", "USB_N", "USB_P"]
    assert [net.name for net in merged.nets] == ["ID", "N", "P"]


def test_repeated_references_are_not_joined_by_their_order() -> None:
    twice = "REF** - 1=GND\nREF** - 1=SDA"
    merged = merge_boards(
        [source("a.kicad_pcb", "kicad_pcb", twice), source("a.net", "kicad_net", twice)]
    )
    assert merged.conflicts == ()
    assert [part.key for part in merged.parts] == ["REF**", "REF**~2"]


def test_a_fragment_joins_by_name_with_a_warning() -> None:
    merged = merge_boards(
        [source("a.net", "kicad_net", NETLIST), source("b.sheet", "sheet", "R9 10k 1=SDA 2=GND")]
    )
    assert nets(merged)["SDA"] == ["R1.1", "R9.1", "U1.4"]
    assert "joined-by-name" in {warning.code for warning in merged.warnings}


def test_a_cut_name_is_never_joined_by_name() -> None:
    merged = merge_boards(
        [
            source("a.net", "kicad_net", NETLIST),
            source("b.d356", "ipc-d-356", "R9 10k 1=SDA 2=GND"),
        ]
    )
    assert nets(merged)["SDA"] == ["R1.1", "U1.4"]


def test_precedence_is_the_same_whatever_the_order_of_the_files() -> None:
    a = source("a.csv", "csv", "R1 1k")
    b = source("b.kicad_pcb", "kicad_pcb", "R1 2k 1=A 2=B")
    assert by_precedence([a, b]) == by_precedence([b, a]) == [b, a]
