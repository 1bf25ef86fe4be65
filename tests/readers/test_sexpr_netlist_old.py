"""Netlists written before 2012, part by part; shaped as published files of 2007 to 2011."""

from __future__ import annotations

import pytest

from nettrace.errors import BadInput
from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.registry import detect_format, read_text

TEXT = """\
# EESchema Netlist Version 1.1 created  Mon 05 Jul 2010 10:00:00 CEST
(
 ( /4B0C1F2A $noname  R1 10K {Lib=R}
  (    1 GND )
  (    2 N-000001 )
 )
 ( /4B0C1F2B SM0603  C1 100 nF {Lib=C}
  (    1 GND )
  (    2 ? )
 )
)
*
{ Allowed footprints by component:
$component C1
 SM*
$endlist
$endfootprintlist
}
#End
"""


def read(text: str) -> Board:
    return read_text(Document("old.net", text))


def test_parts_pins_and_nets() -> None:
    found = detect_format(TEXT)
    assert found is not None
    assert found.name == "kicad_net"
    board = read(TEXT)
    c1, r1 = board.parts
    assert (r1.refdes, r1.value, r1.package, r1.properties["symbol"]) == ("R1", "10K", None, "R")
    assert (c1.refdes, c1.value, c1.package) == ("C1", "100 nF", "SM0603")
    assert [(pin.number, pin.net) for pin in c1.pins] == [("1", "GND"), ("2", None)]
    assert {net.name: [str(pin) for pin in net.pins] for net in board.nets} == {
        "GND": ["C1.1", "R1.1"],
        "N-000001": ["R1.2"],
    }
    assert c1.place is not None
    assert (c1.place.line, c1.place.column) == (7, 2)
    assert not board.warnings


def test_the_head_in_braces_and_pins_without_a_blank() -> None:
    board = read(
        "( { netlist created  13/9/2007-18:11:44 }\n"
        " ( 84DFBB8F $noname Q1 &2N5460 {Lib=&2N5460}\n  (COLLECTOR OUT )\n  ( BASE GND )\n )\n)\n"
    )
    (part,) = board.parts
    assert part.value == "&2N5460"
    assert {pin.number: pin.net for pin in part.pins} == {"BASE": "GND", "COLLECTOR": "OUT"}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (TEXT[: TEXT.index("  (    2 ?")], "old.net:8:1: the end of the file where"),
        (TEXT.replace("(    1 GND )", "(    1GND )", 1), "old.net:4:3: '(    1GND )' where a pin"),
        (TEXT.replace("( /4B0C1F2B", "/4B0C1F2B"), "old.net:7:2: '/4B0C1F2B"),
        (TEXT.replace(" )\n ( /4B0C1F2B", " ( /4B0C1F2B"), "old.net:6:2: '( /4B0C1F2B SM0603"),
        (
            TEXT.replace(
                " )\n ( /4B0C1F2B SM0603  C1 100 nF {Lib=C}", " ( /4B0C1F2B SM C1 1u(X) )"
            ),
            "old.net:6:2: '( /4B0C1F2B SM C1 1u(X) )' where a pin",
        ),
    ],
)
def test_a_damaged_one_is_refused_at_its_line(text: str, message: str) -> None:
    with pytest.raises(BadInput) as caught:
        read(text)
    assert str(caught.value).startswith(f"error: {message}")


def test_a_pin_on_two_nets_is_said() -> None:
    board = read(TEXT.replace("(    2 N-000001 )", "(    1 N-000001 )"))
    assert [conflict.code for conflict in board.conflicts] == ["pin-on-two-nets"]
