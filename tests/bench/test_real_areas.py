"""The area around the largest connector of every real board that has places."""

from __future__ import annotations

from pathlib import Path

import pytest

from nettrace.bench.area import inspect_area
from nettrace.bench.place import Circle, part_place
from nettrace.circuit.kinds import Kind
from nettrace.loading import load
from nettrace.model.geometry import distance

RADIUS_MM = 8.0
#: Files with places, one board each way it is given.
FILES = [
    "bbq20kbd/bbq20_keyboard.kicad_pcb",
    "bbq20kbd/bbq20_keyboard.d356",
    "hackrf-marzipan/marzipan.kicad_pcb",
    "ipcd356-small/ipc-d-356.ipc",
    "minnowmax/MinnowMax_RevA1_IPC356A.ipc",
    "reform2-trackball/reform2-trackball.kicad_pcb",
    "reform2-trackball/reform2-trackball-2581C-mm.xml",
    "sensor-watch-b1/OSO-SWAT-B1.kicad_pcb",
    "teres-io/TERES-PCB2-IO_Rev.B-2581B-inch.xml",
    "teres-keyboard/TERES-PCB5-KEYBOARD_Rev.A.kicad_pcb",
    "teres-main/TERES_PCB1-A64-MAIN_Rev.C.kicad_pcb",
    "zswatch-devkit/ZSWatch-Watch-DevKit.kicad_pcb",
]


@pytest.mark.parametrize("name", FILES)
def test_an_area_on_a_real_board_is_whole_and_in_order(boards: Path, name: str) -> None:
    circuit = load(boards / name)
    board = circuit.board
    connectors = [p for p in board.parts if circuit.kinds[p.key].kind is Kind.CONNECTOR and p.pads]
    chosen = max(connectors or board.parts, key=lambda part: len(part.pads))
    pad = chosen.pads[0]
    report = inspect_area(circuit, Circle(pad.x, pad.y, RADIUS_MM, chosen.key))

    expected = {
        (each.part, each.number)
        for each in board.pads()
        if distance(pad.x, pad.y, each.x, each.y) <= RADIUS_MM
    }
    assert {(item.pad.part, item.pad.number) for item in report.pads} == expected
    order = [(item.absence.severity.rank, item.distance) for item in report.parts]
    assert order == sorted(order)
    assert {item.part.key for item in report.parts} >= {part for part, _ in expected}
    for item in report.parts:
        assert item.roles, item.part.key
        if not item.part.pads:
            place = part_place(item.part)
            assert place is not None
            assert distance(pad.x, pad.y, *place) <= RADIUS_MM + 1e-6
    for near in report.pads:
        assert all(pin.part != near.pad.part and pin.net == near.pad.net for pin in near.far)
