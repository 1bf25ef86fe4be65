"""The search alone: what it finds is what a look at every pad and every pin finds."""

from __future__ import annotations

from pathlib import Path

import pytest

import nettrace
from nettrace.bench.area import search_area
from nettrace.bench.place import Box, Circle
from nettrace.model.board import Side
from nettrace.model.graph import MOST_CROSSED_PARTS


@pytest.fixture(scope="module")
def circuit(wren: Path) -> nettrace.Circuit:
    return nettrace.load(wren)


@pytest.mark.parametrize("side", [None, Side.TOP, Side.BOTTOM])
@pytest.mark.parametrize("steps", [0, 1, 2, 3])
@pytest.mark.parametrize("shape", [Circle(114, -131, 4.0), Box(105, -135, 118, -120)])
def test_the_search_is_a_look_at_every_pad_and_pin(
    circuit: nettrace.Circuit, shape: Circle | Box, steps: int, side: Side | None
) -> None:
    found = search_area(circuit, shape, side, steps)
    pads = [p for p in circuit.board.pads() if shape.contains(p.x, p.y) and p.side.faces(side)]
    assert [pad for each in found.pads.values() for _, pad in each] == pads
    nets = {pad.net: 0 for pad in pads if pad.net is not None}
    parts: dict[str, int] = {}
    for step in range(1, steps + 1):
        for net in [net for net, away in nets.items() if away == step - 1]:
            on_net = {pin.part for pin in circuit.board.net_by_name[net].pins}
            if len(on_net) <= MOST_CROSSED_PARTS:
                for part in on_net:
                    parts.setdefault(part, step)
        for part in [part for part, away in parts.items() if away == step]:
            for net in circuit.board.part_by_key[part].nets:
                nets.setdefault(net, step)
    assert found.nets == nets
    assert found.parts == parts


def test_the_answer_is_about_the_pads_that_the_search_finds(circuit: nettrace.Circuit) -> None:
    shape = Circle(114, -131, 4.0)
    answer = nettrace.inspect_area(circuit, shape)
    found = search_area(circuit, shape, steps=0)
    assert {item.pad for item in answer.pads} == {
        pad for each in found.pads.values() for _, pad in each
    }
    assert set(found.nets) <= set(answer.nets)
