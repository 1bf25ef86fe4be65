"""The damaged area, on a circuit whose findings are given and on the sample board."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import msgspec
import pytest

from nettrace.bench.area import (
    AreaReport,
    describe_damage,
    far_pins,
    inspect_area,
    look_at_pad,
    look_at_point,
)
from nettrace.bench.place import Box, Circle, Outline, circle_around
from nettrace.errors import NothingMatches
from nettrace.loading import load
from nettrace.model.board import Side
from nettrace.model.builder import BoardBuilder
from nettrace.model.geometry import distance
from nettrace.model.names import natural_key
from tests.views.made_circuit import LONG_NET, MadeCircuit, made_circuit


@pytest.fixture(scope="module")
def circuit() -> MadeCircuit:
    return made_circuit()


@pytest.fixture(scope="module")
def report(circuit: MadeCircuit) -> AreaReport:
    return inspect_area(circuit, circle_around(circuit.board, "J1", 4.5))


def keys(report: AreaReport) -> list[str]:
    return [item.part.key for item in report.parts]


def test_parts_come_by_severity_then_distance(report: AreaReport) -> None:
    assert keys(report) == ["J1", "R1", "R2", "R3", "C1", "X[red]"]
    ranks = [(item.absence.severity.rank, item.distance) for item in report.parts]
    assert ranks == sorted(ranks)


def test_every_pad_in_the_area_is_there_and_no_other(
    circuit: MadeCircuit, report: AreaReport
) -> None:
    inside = {
        (pad.part, pad.number)
        for pad in circuit.board.pads()
        if distance(0, 0, pad.x, pad.y) <= 4.5
    }
    assert {(item.pad.part, item.pad.number) for item in report.pads} == inside
    assert [item.distance for item in report.pads] == sorted(item.distance for item in report.pads)


def test_the_part_it_is_named_by_is_no_missing_position(report: AreaReport) -> None:
    assert report.named == "J1"
    assert [item.part.key for item in report.positions] == ["R1", "R2", "R3", "C1", "X[red]"]
    assert [item.part.key for item in report.reaching_in] == ["J1"]


def test_nets_are_those_of_pads_and_of_both_ends_of_positions(report: AreaReport) -> None:
    assert report.nets == tuple(
        sorted(["+1V8", "GND", "NTC", "ODD\x1b[31mNET", "SCL", "SDA", "TS", "VBAT"],
               key=natural_key)
    )  # fmt: skip


def test_a_side_leaves_the_other_out(circuit: MadeCircuit) -> None:
    shape = circle_around(circuit.board, "J1", 4.5)
    assert "C1" not in keys(inspect_area(circuit, shape, Side.TOP))
    assert keys(inspect_area(circuit, shape, Side.BOTTOM)) == ["C1"]


def test_box_and_outline_see_what_the_circle_sees(circuit: MadeCircuit) -> None:
    box = inspect_area(circuit, Box(-4, -4, 4, 4))
    outline = inspect_area(circuit, Outline(((-4, -4), (4, -4), (4, 4), (-4, 4))))
    assert keys(box) == keys(outline)
    assert box.named == ""


def test_a_chip_with_some_pads_in_the_area_only_reaches_in(circuit: MadeCircuit) -> None:
    report = inspect_area(circuit, Circle(10.0, 10.0, 0.4))
    assert [item.part.key for item in report.reaching_in] == ["U1"]
    assert [pin.number for pin in report.parts[0].pins] == ["1", "2"]


def test_an_empty_area_names_the_nearest_pad_and_the_board(circuit: MadeCircuit) -> None:
    with pytest.raises(NothingMatches) as caught:
        inspect_area(circuit, Circle(50, 0, 1))
    assert str(caught.value) == (
        "error: nothing in this area. The nearest pad is U1.7, 39.5 mm from its middle; pads "
        "span 0.0,0.0 to 11.8,10.0 (mm, y up)."
    )


def test_a_part_larger_than_the_area_says_how_large_it_is() -> None:
    """A large part's middle may be far from any pad: the message says which radius would do."""
    builder = BoardBuilder("b", "kicad_pcb")
    part = builder.part("U9")
    part.x, part.y = 0.0, 0.0
    for number, x in (("1", -8.0), ("2", 8.0)):
        part.pad(number, "N", x, 0.0, Side.TOP)
    circuit = MadeCircuit(builder.build())
    with pytest.raises(NothingMatches) as caught:
        inspect_area(circuit, circle_around(circuit.board, "U9", 5))
    assert str(caught.value) == (
        "error: nothing within 5 mm of the middle of U9. Its own pads reach 8.0 mm from there: "
        "try --radius 12."
    )


def test_a_missing_value_is_proposed_and_a_known_one_is_not(report: AreaReport) -> None:
    proposed = {item.part.key: len(item.proposals) for item in report.parts}
    assert proposed["X[red]"] == 1
    assert proposed["R1"] == 0


def test_the_damage_tells_pull_ups_by_bus_and_capacitors_by_rail(report: AreaReport) -> None:
    assert report.damage == (
        "Both SDA and SCL of I2C bus GAUGE lose their pull-ups to +1V8 (R1, R2): "
        "U1 does not answer.",
        "R3: the pack's thermistor is cut off: no charging.",
        "+1V8 loses 1 of 2 capacitors (C1), 100 nF of 1.1 µF.",
        "X[red]: what stops without it is not known.",
    )


def test_one_lost_line_is_told_in_the_singular(circuit: MadeCircuit) -> None:
    report = inspect_area(circuit, circle_around(circuit.board, "R1", 0.5))
    assert report.damage == ()  # the part that is asked about is not taken for lost
    report = inspect_area(circuit, Circle(1.0, 0.0, 0.35))
    assert report.damage[0] == (
        "SDA of I2C bus GAUGE loses its only pull-up to +1V8 (R1): U1 does not answer."
    )


def test_two_parts_lost_on_one_signal_are_told_together() -> None:
    """Alone each has another effect than both: a part that both held is left hanging."""
    circuit = made_circuit()
    both = describe_damage(circuit, ["R3", "R4"])
    assert both == ("TS has lost R3 and R4: nothing but U1 is left on it; no charging.",)
    alone = describe_damage(circuit, ["R3"])
    assert alone == ("R3: the pack's thermistor is cut off: no charging.",)


def test_a_net_leads_to_chips_first_and_to_missing_parts_last(circuit: MadeCircuit) -> None:
    assert [str(pin) for pin in far_pins(circuit, "+1V8", "R1")] == ["U1.3", "C1.1", "C2.1", "R2.2"]
    gone = far_pins(circuit, "+1V8", "R1", gone=["C1", "R2"])
    assert [str(pin) for pin in gone] == ["U1.3", "C2.1", "R4.2", "C1.1"]
    assert far_pins(circuit, "GND", "C1") == ()


def test_a_pad_by_name_shows_the_other_end(circuit: MadeCircuit) -> None:
    (pad,) = look_at_pad(circuit, "R3.1")
    assert [str(pin) for pin in pad.ends] == ["R3.2"]
    assert pad.distance == 0
    assert pad.net == "NTC"
    (pad,) = look_at_pad(circuit, "U1.5")
    assert (pad.net, pad.ends) == (LONG_NET, ())


def test_the_nearest_pad_to_a_point_and_others_within_its_reach(circuit: MadeCircuit) -> None:
    pad = look_at_point(circuit, 1.12, 0.05, Side.TOP)
    assert (pad.part.key, pad.pin.number if pad.pin else "") == ("R1", "1")
    assert pad.distance == pytest.approx(0.13)
    assert [f"{near.pad.part}.{near.pad.number}" for near in pad.others] == ["R1.2"]
    other_side = look_at_point(circuit, 1.12, 0.05, Side.BOTTOM)
    assert other_side.part.key == "C1"


def test_without_places_a_point_meets_nothing(circuit: MadeCircuit) -> None:
    bare = tuple(msgspec.structs.replace(part, pads=()) for part in circuit.board.parts)
    board = dataclasses.replace(circuit.board, parts=bare)
    with pytest.raises(NothingMatches, match="no pad has a place"):
        look_at_point(MadeCircuit(board), 0, 0)


def test_the_sample_boards_damage(wren: Path) -> None:
    """The seven positions of the damage story (samples/README.md) come before all others."""
    circuit = load(wren)
    report = inspect_area(circuit, circle_around(circuit.board, "J3", 4))
    first = [item.part.refdes for item in report.positions]
    assert set(first[:7]) == {"R12", "R13", "R14", "R15", "R16", "C7", "D4"}
