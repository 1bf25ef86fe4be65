"""Board files: what is filled in, and from where in the file."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from nettrace.errors import Place
from nettrace.model.board import Board, Side, Via, Zone
from nettrace.readers.document import Document
from nettrace.readers.registry import read_file, read_text
from nettrace.readers.sexpr_shapes import Frame, polyline

CASES = Path(__file__).parent / "cases" / "kicad_pcb"


@pytest.fixture(scope="module")
def old() -> Board:
    return read_file(CASES / "two_parts_v4.kicad_pcb", shown="old.kicad_pcb")


@pytest.fixture(scope="module")
def new() -> Board:
    return read_file(CASES / "two_parts_2024.kicad_pcb", shown="new.kicad_pcb")


def test_an_old_file_gives_parts_with_value_package_side_and_outline(old: Board) -> None:
    r1 = old.part_by_key["R1"]
    assert (r1.value, r1.package, r1.side, r1.fitted) == ("2k2", "Lib:R0402", Side.TOP, None)
    assert (r1.x, r1.y, r1.angle) == (10.0, -20.0, 90.0)
    assert r1.description == "Resistor, small"
    assert dict(r1.properties) == {"tags": "chip", "mounting": "smd"}
    assert r1.place == Place("old.kicad_pcb", 21, 3)
    # courtyard -1..1 by -0.5..0.5, turned a quarter about (10, -20)
    assert set(r1.outline) == {(9.5, -21.0), (9.5, -19.0), (10.5, -19.0), (10.5, -21.0)}
    assert old.part_by_key["J1"].side is Side.BOTTOM
    assert old.name == "Two parts"
    assert old.layers == ("Top", "Mid", "Under")


def test_pads_stand_at_their_true_places_and_sides(old: Board) -> None:
    pads = {(pad.part, pad.number): pad for pad in old.pads()}
    assert len(pads) == 5  # the one without copper is counted only
    assert old.sources[0].pads == 6
    first = pads["R1", "1"]
    assert (first.x, first.y, first.side, first.angle) == (10.0, -20.5, Side.TOP, 90.0)
    assert (first.shape, first.width, first.height) == ("rect", 0.5, 0.6)
    assert first.place == Place("old.kicad_pcb", 38, 5)
    slot = pads["J1", "1"]
    assert (slot.side, slot.drill, slot.plated) == (Side.BOTH, 0.8, True)
    assert pads["J1", "3"].side is Side.BOTTOM


def test_an_unplated_hole_keeps_its_number_but_is_no_pin(old: Board) -> None:
    j1 = old.part_by_key["J1"]
    assert [pin.number for pin in j1.pins] == ["1", "3"]
    assert [(pad.number, pad.plated) for pad in j1.pads] == [("1", True), ("2", False), ("3", True)]
    assert j1.pins[1].net is None


def test_net_names_are_decoded_and_keep_the_raw_name_as_alias(old: Board) -> None:
    net = old.net_by_name["/A/B (x)"]
    assert net.aliases == ("/A{slash}B (x)",)
    assert [str(pin) for pin in net.pins] == ["R1.2"]
    assert net.place == Place("old.kicad_pcb", 19, 3)


def test_vias_zones_and_the_edge_are_board_millimetres(old: Board) -> None:
    assert old.vias == (Via(5.0, -6.0, "GND", 0.6, 0.3), Via(7.0, -8.0, None, 0.6, None))
    assert old.zones == (Zone("GND", "Mid", (0.0, -20.0, 30.0, 0.0)),)
    line, arc = old.outline
    assert line == ((0.0, 0.0), (30.0, 0.0))
    assert (arc[0], arc[-1]) == ((30.0, 0.0), (40.0, -10.0))
    assert all(abs(math.dist(corner, (30, -10)) - 10) < 1e-5 for corner in arc)


def test_a_new_file_gives_pin_names_types_sheet_and_not_fitted(new: Board) -> None:
    u1 = new.part_by_key["U1"]
    assert (u1.value, u1.fitted, u1.sheet) == ("AB12", False, "/Audio/")
    assert u1.description == 'Amplifier "best"'
    assert u1.properties["exclude_from_bom"] == "yes"
    assert "Datasheet" not in u1.properties  # "~" says nothing
    assert [(p.number, p.name, p.electrical_type, len(p.pads)) for p in u1.pins] == [
        ("2", "NC", "no_connect", 1),
        ("A1", "VSS", "power_in", 2),
    ]
    # a courtyard circle of 2 mm about (1, -2)
    assert set(u1.outline) == {(-1.0, 0.0), (3.0, 0.0), (3.0, -4.0), (-1.0, -4.0)}
    assert new.layers == ("F.Cu", "In1.Cu", "B.Cu")
    assert new.zones == ()  # a keep-out area is no copper
    assert new.outline[0] == ((0.0, 0.0), (10.0, 0.0), (10.0, -5.0), (0.0, -5.0), (0.0, 0.0))


@pytest.mark.parametrize(
    ("top", "inner", "bottom"),
    [("F.Cu", "Inner1.Cu", "B.Cu"), ("Front", "Inner1.Cu", "Back"), ("parts.Cu", "", "wires.Cu")],
)
def test_until_2014_copper_is_counted_from_the_bottom_up(top: str, inner: str, bottom: str) -> None:
    # layer tables of version 3 as in files and writers of 2013: 15 is the top, 0 the bottom
    middle = f"(1 {inner} signal) " if inner else ""
    parts = "".join(
        f"""(module M (layer {layer}) (at {x} 4) (fp_text reference {name} (at 0 0) (layer X))
        (pad 1 smd rect (at 0 0) (size 1 1) (layers {layer}) (net 1 GND)))"""
        for name, layer, x in (("R1", top, 3), ("R2", bottom, 8))
    )
    text = (
        '(kicad_pcb (version 3) (host pcbnew "(2013-june-11)-stable")\n(layers '
        f"(15 {top} signal) {middle}(0 {bottom} signal) (16 B.Adhes user) (28 Edge.Cuts user))\n"
        f'(net 0 "") (net 1 GND) {parts})'
    )
    board = read_text(Document("v3.kicad_pcb", text))
    assert board.layers == tuple(filter(None, (top, inner, bottom)))
    assert {part.refdes: part.side for part in board.parts} == {"R1": Side.TOP, "R2": Side.BOTTOM}
    assert [pad.side for pad in board.pads()] == [Side.TOP, Side.BOTTOM]


def test_the_digest_and_name_come_from_the_file(new: Board) -> None:
    assert len(new.sources[0].digest) == 64
    assert new.name == "new"  # no title: the stem of the file's name
    assert new.sources[0].version == "20241229"


def test_real_edges_with_arcs_close(boards: Path) -> None:
    """On a real board every end of an edge piece meets another end: arcs turn the right way."""
    checked = 0
    for path in sorted(boards.glob("*/*.kicad_pcb")):
        pieces = [piece for piece in read_file(path).outline if piece[0] != piece[-1]]
        if not any(len(piece) > 2 for piece in pieces):
            continue
        ends = [end for piece in pieces for end in (piece[0], piece[-1])]
        lone = [
            end
            for piece in pieces
            if len(piece) > 2  # an arc
            for end in (piece[0], piece[-1])
            if sum(math.dist(end, other) < 0.02 for other in ends) < 2
        ]
        assert lone == [], path.name
        checked += 1
    assert checked >= 3


def test_a_frame_turns_counter_clockwise_as_seen() -> None:
    # y down in the file: an offset to the right, turned by 90, points up
    assert Frame(1.0, 2.0, 90.0).place(1.0, 0.0) == (1.0, -1.0)
    x, y = Frame(0.0, 0.0, 45.0).place(math.sqrt(2), 0.0)
    assert (x, y) == (1.0, 1.0)


def test_an_arc_through_three_points_passes_its_middle() -> None:
    corners = polyline("arc", [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0)], None)
    assert min(math.dist(corner, (0.0, 1.0)) for corner in corners) < 1e-9
    assert corners[-1] == (-1.0, 0.0)
    assert polyline("arc", [(0.0, 0.0), (1.0, 0.0), (2.0, 0.0)], None)[1] == (1.0, 0.0)


def test_a_curve_and_a_polygon_become_corners() -> None:
    curve = polyline("curve", [(0.0, 0.0), (0.0, 1.0), (1.0, 1.0), (1.0, 0.0)], None)
    assert (curve[0], curve[-1]) == ((0.0, 0.0), (1.0, 0.0))
    assert polyline("poly", [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0)], None)[-1] == (0.0, 0.0)
    assert polyline("line", [(0.0, 0.0)], None) == []
