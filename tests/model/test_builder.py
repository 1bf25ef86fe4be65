"""The builder's rules of identity: parts, pins, pads and nets (see nettrace.model.board)."""

from __future__ import annotations

import time

import pytest

from nettrace.errors import Place
from nettrace.model.board import Side
from nettrace.model.builder import BoardBuilder


def test_repeated_and_blank_references_stay_apart() -> None:
    builder = BoardBuilder("x.net", "kicad_net")
    for refdes in ("REF**", "", "R1", "REF**", ""):
        builder.part(refdes)
    board = builder.build()
    assert [part.key for part in board.parts] == ["R1", "REF**", "REF**~2", "~1", "~2"]
    assert board.counts().parts == 5


def test_a_key_never_takes_a_reference_that_a_file_uses() -> None:
    builder = BoardBuilder("x.net", "kicad_net")
    for refdes in ("R1~2", "R1", "R1"):
        builder.part(refdes)
    assert sorted(part.key for part in builder.build().parts) == ["R1", "R1~2", "R1~3"]


def test_many_pads_with_one_number_are_one_pin() -> None:
    builder = BoardBuilder("x.kicad_pcb", "kicad_pcb")
    chip = builder.part("U1")
    for x in (0.0, 1.0, 2.0):
        chip.pad("69", "GND", x, 0.0, Side.TOP)
    board = builder.build()
    (pin,) = board.part_by_key["U1"].pins
    assert len(pin.pads) == 3
    assert board.counts().pins == 1
    assert board.net_by_name["GND"].pins == (pin,)


@pytest.mark.timed
def test_a_pin_of_very_many_pads_is_read_in_time() -> None:
    builder = BoardBuilder("x.kicad_pcb", "kicad_pcb")
    plane = builder.part("H1")
    for x in range(60_000):
        plane.pad("1", "GND", float(x), 0.0, Side.TOP)
    began = time.process_time()
    board = builder.build()
    assert time.process_time() - began < 3.0  # each pad copied for each would be 10 s and more
    assert len(board.part_by_key["H1"].pins[0].pads) == 60_000


def test_one_cut_number_on_three_nets_stays_three_pins() -> None:
    # IPC-D-356 cuts U$2.USB_ID, USB_N, USB_P to U$2.USB_: one name, three nets
    builder = BoardBuilder("x.d356", "ipc-d-356")
    part = builder.part("U$2")
    for x, net in enumerate(("ID", "N", "P")):
        part.pad("USB_", net, float(x), 0.0, Side.BOTTOM)
    board = builder.build()
    assert [net.name for net in board.nets] == ["ID", "N", "P"]
    assert all(len(net.pins) == 1 for net in board.nets)
    assert board.counts().pins == 1  # by the definition: distinct (reference, number)


def test_unnumbered_unplated_and_blank_reference_copper_is_no_pin() -> None:
    builder = BoardBuilder("x.kicad_pcb", "kicad_pcb")
    part = builder.part("J1")
    part.pad("", "GND", 0.0, 0.0, Side.BOTH)
    part.pad("Hole", "GND", 1.0, 0.0, Side.BOTH, plated=False)
    builder.part("").pad("1", "GND", 2.0, 0.0, Side.BOTH)
    builder.net("GND")
    board = builder.build()
    assert board.part_by_key["J1"].pins == ()
    assert len(board.part_by_key["J1"].pads) == 2
    assert board.net_by_name["GND"].pins == ()
    assert board.counts().nets == 0


def test_an_unconnected_pad_beside_connected_ones_adds_no_pin() -> None:
    builder = BoardBuilder("x.kicad_pcb", "kicad_pcb")
    part = builder.part("U1")
    part.pad("1", "A", 0.0, 0.0, Side.TOP)
    part.pad("1", None, 1.0, 0.0, Side.TOP)
    part.pad("2", None, 2.0, 0.0, Side.TOP)
    pins = builder.build().part_by_key["U1"].pins
    assert [(pin.number, pin.net) for pin in pins] == [("1", "A"), ("2", None)]


def test_escapes_are_shown_decoded_and_the_raw_name_is_an_alias() -> None:
    builder = BoardBuilder("x.net", "kicad_net")
    builder.part("U1").pin("1", "/A2{slash}TS")
    net = builder.build().net_by_name["/A2/TS"]
    assert net.aliases == ("/A2{slash}TS",)
    assert [str(pin) for pin in net.pins] == ["U1.1"]


@pytest.mark.parametrize("other", ["/A2/TS", "/A2{slash}{slash}TS"])
def test_decoding_never_makes_two_nets_one(other: str) -> None:
    builder = BoardBuilder("x.net", "kicad_net")
    builder.part("U1").pin("1", "/A2{slash}TS")
    builder.part("U2").pin("1", other)
    assert len(builder.build().nets) == 2


def test_facts_of_a_pin_are_joined_not_doubled() -> None:
    builder = BoardBuilder("x.net", "kicad_net")
    part = builder.part("U1")
    part.pin("1", "SDA", place=Place("x.net", 4, 2))
    part.pin("1", "SDA", name="PB0", electrical_type="bidirectional")
    (pin,) = builder.build().part_by_key["U1"].pins
    assert (pin.name, pin.electrical_type, pin.place) == (
        "PB0",
        "bidirectional",
        Place("x.net", 4, 2),
    )


def test_order_is_natural_and_does_not_hang_on_the_order_of_reading() -> None:
    boards = []
    for refs in (["R10", "R2", "R1"], ["R1", "R2", "R10"]):
        builder = BoardBuilder("x.net", "kicad_net")
        for ref in refs:
            builder.part(ref).pin("1", "N10")
            builder.parts[-1].pin("2", "N9")
        boards.append(builder.build())
    assert boards[0] == boards[1]
    assert [part.key for part in boards[0].parts] == ["R1", "R2", "R10"]
    assert [net.name for net in boards[0].nets] == ["N9", "N10"]
