"""Pins and pads that are made when they are asked for: the same ones, once, and let go again."""

from __future__ import annotations

import gc
import weakref

import msgspec
import pytest

from nettrace.errors import Place
from nettrace.model.board import Board, Part, Pin, Side
from nettrace.model.builder import BoardBuilder
from nettrace.model.copper import Copper, Unmade


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


def test_what_was_asked_for_is_there_to_stay() -> None:
    made = board()
    for part in made.parts:
        assert part.pins is part.pins
        assert part.pads is part.pads
        assert [pin.pads for pin in part.pins if pin.pads] == [(pad,) for pad in part.pads[::-1]]
    for net in made.nets:
        assert net.pins is net.pins


@pytest.mark.parametrize("first", ["parts", "nets", "repr", "hash"])
def test_nothing_hangs_on_who_asks_first(first: str) -> None:
    asked, other = board(), board()
    match first:
        case "parts":
            assert [str(pin) for part in asked.parts for pin in part.pins][:2] == ["R2.1", "R2.2"]
        case "nets":
            assert [str(pin) for pin in asked.net_by_name["VDD"].pins] == ["R2.1", "R10.1"]
            assert [str(pin) for pin in asked.net_by_name["VDD/A"].pins] == ["U1.7"]
        case "repr":
            assert repr(asked) == repr(other)
            assert "copper=((Pin(part='R10'" in repr(asked.part_by_key["R10"])
        case _:
            assert hash(asked.parts) == hash(other.parts)
            assert hash(asked.nets) == hash(other.nets)
    assert asked == other
    assert asked != board("22k")


def test_the_pins_of_a_net_are_those_of_the_parts() -> None:
    made = board()
    of_nets = [pin for net in made.nets for pin in net.pins]
    assert {id(pin) for pin in of_nets} == {id(pin) for part in made.parts for pin in part.pins}


def test_a_part_with_another_value_has_the_same_pins() -> None:
    part = board().part_by_key["R10"]
    assert msgspec.structs.replace(part, value=None).pins == part.pins


def test_a_part_makes_its_pins_once() -> None:
    asked: list[str] = []

    class Counted(Unmade):
        def make(self, key: str) -> Copper:
            asked.append(key)
            return (Pin(key, "1", "VDD"),), ()

    builder = BoardBuilder("x.cir", "spice")
    builder.frozen.append(Part("R1", "R1", copper=Counted()))
    builder.frozen_nets.append("VDD")
    made = builder.build()
    assert made.counts().pins == 1
    assert not asked
    assert made.nets[0].pins == made.parts[0].pins == (Pin("R1", "1", "VDD"),)
    assert made.parts[0].pads == ()
    assert asked == ["R1"]


@pytest.mark.parametrize("asks", [False, True])
def test_a_board_that_is_let_go_is_gone(asks: bool) -> None:
    package = Text("R_0402")
    watched = weakref.ref(package)
    gc.disable()  # a cycle would keep it, and the collector does not look into records
    try:
        made = board(package)
        del package
        if asks:
            assert made.nets[0].pins
        assert watched() is not None
        del made
        assert watched() is None
    finally:
        gc.enable()
