"""Pins of one name, and pins not drawn, in an EDIF schematic: nets do not tell which they mean.

The shape of the file is that of an openly published board schematic of 2007, read against the
netlist that stands beside it; the circuit here is our own.
"""

from __future__ import annotations

from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.registry import read_text

PORTS = (
    '(port VIN (designator "5"))(port GND (designator "3"))'
    '(port (rename GND_3 "GND_3")(property ORIGINALPINNAME (string "GND"))(designator "6"))'
)
HEAD = "(edif s (edifVersion 2 0 0) (edifLevel 0) (keywordMap (keywordLevel 0))"


def read(pins: str, nets: str, ports: str = PORTS) -> Board:
    text = (
        f"{HEAD}\n(library L (edifLevel 0) (technology (numberDefinition))"
        f"(cell REG (cellType GENERIC) (view N (viewType SCHEMATIC) (interface {ports})))"
        "(cell TOP (cellType GENERIC) (view N (viewType SCHEMATIC) (interface) (contents (page p\n"
        f'(instance i (viewRef N (cellRef REG)) (designator (stringDisplay "U1")){pins})\n'
        f"{nets}))))) (design s (cellRef TOP (libraryRef L))))"
    )
    return read_text(Document("s.edf", text))


def said(port: str, number: str, net: str) -> str:
    return (
        f'(portInstance {port} (designator "{number}")'
        f'(property (rename NET_32_NAME "Net Name") (string "{net}")))'
    )


def net(name: str, *ports: str, shown: str = "") -> str:
    refs = "".join(f"(portRef {port} (instanceRef i))" for port in ports)
    called = f'(rename {name} "{shown}")' if shown else name
    return f"(net {called} (joined {refs}))"


def pins(board: Board) -> dict[str, str | None]:
    part = board.part_by_key["U1"]
    assert len(part.pins) == len({pin.number for pin in part.pins})
    return {pin.number: pin.net for pin in part.pins}


def codes(board: Board) -> list[str]:
    return [warning.code for warning in board.warnings]


def test_pins_of_one_name_on_one_net_are_all_on_it() -> None:
    board = read("", net("VBAT", "VIN") + net("GND", "GND", "GND"))
    assert pins(board) == {"3": "GND", "5": "VBAT", "6": "GND"}
    assert not codes(board)
    assert [pin.name for pin in board.part_by_key["U1"].pins] == ["GND", "VIN", "GND"]


def test_the_instance_says_which_pin_of_the_name_is_on_which_net() -> None:
    own = said("GND", "3", "SENSE-") + said("GND_3", "6", "+5S")
    nets = net("&_43_5S", "GND", shown="+5S") + net("SENSE", "GND", shown="SENSE-")
    board = read(own, nets)
    assert pins(board) == {"3": "SENSE-", "5": None, "6": "+5S"}
    assert not codes(board)


def test_pins_of_one_name_on_two_nets_without_a_word_of_which_are_taken_in_order_and_said() -> None:
    board = read("", net("A", "GND") + net("B", "GND"))
    assert pins(board) == {"3": "A", "5": None, "6": "B"}
    assert codes(board) == ["pins-of-one-name"]


def test_fewer_references_than_pins_of_the_name_are_said() -> None:
    board = read("", net("A", "GND"))
    assert pins(board) == {"3": "A", "5": None, "6": None}
    assert codes(board) == ["pins-of-one-name"]


def test_a_writer_that_tells_the_ports_apart_is_taken_at_its_word() -> None:
    own = said("GND", "3", "B") + said("GND_3", "6", "A")
    board = read(own, net("A", "GND") + net("B", "GND_3"))
    assert pins(board) == {"3": "A", "5": None, "6": "B"}
    assert not codes(board)


def test_the_changed_name_may_stand_before_the_pins_own() -> None:
    ports = (
        '(port GND_3 (property ORIGINALPINNAME (string "GND"))(designator "6"))'
        '(port GND (designator "3"))'
    )
    own = said("GND", "3", "A") + said("GND_3", "6", "B")
    board = read(own, net("A", "GND") + net("B", "GND"), ports)
    assert pins(board) == {"3": "A", "6": "B"}


def test_a_pin_that_is_not_drawn_is_on_the_net_that_its_instance_names() -> None:
    own = said("VIN", "5", "+5S") + said("GND", "3", "")
    board = read(own, net("&_43_5S", shown="+5S") + net("GND"), "(port VIN)(port GND)")
    assert pins(board) == {"3": None, "5": "+5S"}
    assert codes(board) == ["net-said-by-pin"]


def test_what_nets_join_stands_before_what_a_pin_says() -> None:
    own = said("VIN", "5", "OTHER") + said("GND", "3", "NOWHERE")
    board = read(own, net("A", "vin") + net("OTHER"), "(port VIN)(port GND)")
    assert pins(board) == {"3": None, "5": "A"}
    assert not codes(board)
