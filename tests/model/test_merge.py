"""Merging: joined by refdes and pin, never by a net's name alone; conflicts name both places."""

from __future__ import annotations

from nettrace.errors import Place
from nettrace.model.board import Board, Side
from nettrace.model.builder import BoardBuilder
from nettrace.model.merge import by_precedence, merge_boards
from nettrace.readers.document import Document
from nettrace.readers.registry import read_text


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


def test_a_deck_is_joined_by_the_names_of_its_pins_where_it_counts_them_itself() -> None:
    """X before the refdes, ports by name, anode and cathode: as schematic tools write decks."""
    board = source("a.net", "kicad_net", "U1 REG 1=IN 2=GND 3=OUT\nD1 LED 1=GND 2=OUT\nC1 1u 1=OUT")
    builder = BoardBuilder("n.net", "kicad_net")
    for part in board.parts:
        draft = builder.part(part.refdes, part.place)
        draft.value = part.value
        names = {"U1": ("VI", "GND", "VO"), "D1": ("K", "A"), "C1": (None,)}[part.refdes]
        for pin, name in zip(part.pins, names, strict=True):
            draft.pin(pin.number, pin.net, name=name, place=pin.place)
    text = (
        "title\nXU1 OUT IN GND REGULATOR\nD1 OUT GND LED5\nC1 OUT GND 1u\nR9 OUT IN 1k\n"
        ".subckt REGULATOR VO VI GND\n.ends\n.model LED5 D(n=3)\n.end\n"
    )
    deck = read_text(Document("n.cir", text))
    merged = merge_boards([builder.build(), deck])
    assert merged.conflicts == ()
    assert [part.refdes for part in merged.parts] == ["C1", "D1", "R9", "U1"]
    assert nets(merged)["OUT"] == ["C1.1", "D1.2", "R9.1", "U1.3"]
    assert merged.part_by_key["U1"].value == "REG"  # a model's name is no value
    assert merged.part_by_key["D1"].properties["model"] == "LED5"


def test_references_made_unique_find_the_one_they_stand_for() -> None:
    board = source("a.net", "kicad_net", "P1 USB A1=VBUS B1=GND\nREF** - \nREF** -\nJ_1 X 1=VBUS")
    plain = source("b.xml", "ipc-2581", "P1_1 - A1=VBUS B1=GND\nREF__ - \nREF___1 -\nJ_1 - 1=VBUS")
    for order in ([board, plain], [plain, board]):
        merged = merge_boards(order)
        assert sorted(part.refdes for part in merged.parts if part.pins) == ["J_1", "P1"]
        assert nets(merged)["VBUS"] == ["J_1.1", "P1.A1"]
    assert not merge_boards([board, plain]).warnings


def test_a_suffix_of_the_makers_own_is_left_alone() -> None:
    board = source("a.net", "kicad_net", "U1 X 1=A 2=B")
    other = source("b.xml", "ipc-2581", "U1 X 1=A 2=B\nU1_1 Y 1=C 2=D")
    assert [part.refdes for part in merge_boards([board, other]).parts] == ["U1", "U1_1"]


def test_a_list_that_has_the_whole_refdes_gives_it_to_a_cut_one() -> None:
    cut = source("a.d356", "ipc-d-356", "MICRO_ - 1=SD_D0\nR1 - 1=SD_D0")
    listed = source("b.csv", "csv", "MICRO_SD1 socket\nR1 47k")
    late = source("c.csv", "csv", "R1 10k 1=SD_D1")
    merged = merge_boards([cut, listed, cut, listed, late])
    assert [item.subject for item in merged.conflicts] == ["R1"]  # still found
    assert {part.refdes: part.value for part in merged.parts} == {
        "MICRO_SD1": "socket",
        "R1": "47k",
    }
    assert nets(merged)["SD_D0"] == ["MICRO_SD1.1", "R1.1"]


def test_a_row_that_is_wrong_about_many_parts_is_one_conflict() -> None:
    board = source("a.net", "kicad_net", "X1 Motor 1=A\nX2 Cell 1=A\nX3 Cell 1=B")
    builder = BoardBuilder("b.csv", "csv")
    for refdes in ("X1", "X2", "X3"):
        builder.part(refdes, Place("b.csv", 4, 1)).value = "Plug"
    (conflict,) = merge_boards([board, builder.build()]).conflicts
    assert conflict.subject == "X1, X2, X3"
    assert [said.what for said in conflict.statements] == ["Motor, Cell", "Plug"]
    assert [str(said.place) for said in conflict.statements] == ["a.net:1:1", "b.csv:4:1"]


def test_pins_that_are_new_do_not_come_onto_a_net_that_their_source_keeps_them_from() -> None:
    """An older netlist beside a board that gained a fuse: J1.1 was on +5V and is on /5V_IN."""
    old = source("a.net", "kicad_net", "J1 - 1=+5V 2=GND\nC1 - 1=+5V 2=GND\nU1 - 1=+5V")
    new = source(
        "b.d356",
        "ipc-d-356",
        "J1 - 1=/5V_IN 2=GND\nF1 - 1=/5V_IN 2=+5V\nC1 - 1=+5V 2=GND\nU1 - 1=+5V",
    )
    for order in ([old, new], [new, old]):
        merged = merge_boards(order)
        assert "F1.1" not in nets(merged)["+5V"]
        assert [item.subject for item in merged.conflicts] == ["J1.1"]
    (missing,) = [w for w in merge_boards([new, old]).warnings if w.code == "part-not-in"]
    assert missing.message == "F1: not in a.net"


def test_pads_join_a_table_of_middles() -> None:
    """A placement table comes first, a bare-board-test file with its own origin second."""
    listed = BoardBuilder("a.csv", "csv")
    tested = BoardBuilder("b.d356", "ipc-d-356")
    for number in range(1, 6):
        draft = listed.part(f"R{number}", Place("a.csv", number, 1))
        draft.x, draft.y, draft.side = 10.0 * number, 5.0, Side.TOP
        draft = tested.part(f"R{number}", Place("b.d356", number, 1))
        draft.x, draft.y = 10.0 * number - 90.0, 105.0
        for pin, offset in (("1", -0.5), ("2", 0.5)):
            draft.pin(pin, f"N{number}")
            draft.pad(pin, f"N{number}", 10.0 * number - 90.0 + offset, 105.0, Side.TOP)
    merged = merge_boards([listed.build(), tested.build()])
    assert merged.warnings == ()
    assert [round(pad.x, 6) for pad in merged.part_by_key["R2"].pads] == [19.5, 20.5]
    assert merged.part_by_key["R2"].pads[0].y == 5.0


# -- pins that one source leaves open -------------------------------------------------------------


def test_one_board_is_itself() -> None:
    board = source("a.net", "kicad_net", NETLIST)
    assert merge_boards([board]) is board


def test_a_pin_that_one_source_leaves_off_a_net_is_a_conflict() -> None:
    first = source("a.net", "kicad_net", NETLIST)
    merged = merge_boards([first, source("b.net", "kicad_net", NETLIST.replace("1=SDA", "1="))])
    (conflict,) = merged.conflicts
    assert (conflict.code, conflict.subject, conflict.kept) == ("pin-without-net", "R1.1", "SDA")
    assert [statement.what for statement in conflict.statements] == ["on SDA", "on no net"]
    assert [pin.net for pin in merged.part_by_key["R1"].pins] == ["SDA", "+1V8"]


def test_a_net_of_one_pin_and_no_net_say_the_same() -> None:
    alone = NETLIST.replace("4=SDA", "4=IRQ")
    merged = merge_boards(
        [source("a.net", "kicad_net", alone),
         source("b.net", "kicad_net", alone.replace("4=IRQ", "4="))]
    )  # fmt: skip
    assert merged.conflicts == ()
    assert merged.part_by_key["U1"].pins[0].net == "IRQ"


def test_a_net_whose_pins_an_earlier_source_leaves_open_is_a_conflict_that_names_few() -> None:
    count = 12
    joined = "\n".join(f"R{n} 1k 1=BUS 2=GND" for n in range(1, count + 1))
    merged = merge_boards(
        [source("a.net", "kicad_net", joined.replace("BUS", "")),
         source("b.net", "kicad_net", joined)]
    )  # fmt: skip
    (conflict,) = merged.conflicts
    assert (conflict.code, conflict.kept) == ("pin-without-net", "no net")
    assert conflict.subject.startswith("R1.1, R2.1, ")
    shown = conflict.subject.split(" and ")[0].count(",") + 1
    assert conflict.subject.endswith(f" and {count - shown} more")


def test_a_lone_pin_takes_the_net_of_the_later_source() -> None:
    merged = merge_boards(
        [source("a.net", "kicad_net", "R1 1k 1= 2=GND\nR2 1k 1=X 2=GND"),
         source("b.net", "kicad_net", "R1 1k 1=TP 2=GND\nR2 1k 1=X 2=GND")]
    )  # fmt: skip
    assert merged.conflicts == ()
    assert merged.part_by_key["R1"].pins[0].net == "TP"
    assert [pin.number for pin in merged.part_by_key["R1"].pins] == ["1", "2"]
