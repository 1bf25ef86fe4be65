"""Pins and pads of a board: the same records in parts and nets, let go with the board."""

from __future__ import annotations

import gc
import weakref

import msgspec

from nettrace.errors import Place
from nettrace.model.board import Board, Side
from nettrace.model.builder import BoardBuilder


class Text(str):
    """A text that can be watched."""


def board(package: str | None = None) -> Board:
    builder = BoardBuilder("x.net", "made")
    for refdes in ("R10", "R2"):
        part = builder.part(refdes, Place("x.net", 1, 1))
        part.value, part.package = "10k", package
        part.pad("2", "GND", 1.0, 0.0, Side.TOP)
        part.pad("1", "VDD", 0.0, 0.0, Side.TOP)
        part.pin("1", "VDD", name="A")
    builder.part("U1").pin("7", "VDD{slash}A")
    return builder.build()


def test_pins_hold_the_pads_of_their_part() -> None:
    made = board()
    for part in made.parts:
        assert [pin.pads for pin in part.pins if pin.pads] == [(pad,) for pad in part.pads[::-1]]


def test_the_pins_of_a_net_are_those_of_the_parts() -> None:
    made = board()
    of_nets = [pin for net in made.nets for pin in net.pins]
    assert {id(pin) for pin in of_nets} == {id(pin) for part in made.parts for pin in part.pins}


def test_a_part_with_another_value_has_the_same_pins() -> None:
    part = board().part_by_key["R10"]
    assert msgspec.structs.replace(part, value=None).pins == part.pins


def test_equal_boards_are_equal_and_others_are_not() -> None:
    assert board() == board()
    assert hash(board().parts) == hash(board().parts)
    assert hash(board().nets) == hash(board().nets)
    assert board() != board("22k")


def test_a_board_that_is_let_go_is_gone() -> None:
    package = Text("R_0402")
    watched = weakref.ref(package)
    gc.disable()  # a cycle would keep it, and the collector does not look into records
    try:
        made = board(package)
        del package
        assert made.nets[0].pins
        assert watched() is not None
        del made
        assert watched() is None
    finally:
        gc.enable()
