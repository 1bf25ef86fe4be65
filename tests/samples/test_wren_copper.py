"""Wren's tracks join what the nets join, and nothing else."""

from __future__ import annotations

import math
from typing import Any

import pytest

CLEAR_MM = (
    0.09  # the pattern is drawn for 0.1 mm on a 0.1 mm grid, which costs up to 0.008 on diagonals
)
LAYERS = ("F.Cu", "In2.Cu", "B.Cu")

Box = tuple[float, float, float, float]
# net, layers, box of copper without the rounding radius, that radius, what it is
Copper = tuple[str, frozenset[str], tuple[float, float, float, float], float, str]


@pytest.fixture(scope="module")
def copper(wren: Any, wires: Any) -> list[Copper]:
    """Every piece of copper as a straight stroke (tracks, vias) or a filled box (pads)."""
    pieces: list[Copper] = []
    for wire in wires.load_tracks():
        if isinstance(wire, wires.Via):
            place = (wire.x, wire.y, wire.x, wire.y)
            pieces.append((wire.net, frozenset(LAYERS), place, wire.size / 2, "via"))
        else:
            place = (wire.x1, wire.y1, wire.x2, wire.y2)
            pieces.append((wire.net, frozenset({wire.layer}), place, wire.width / 2, "track"))
    for part in wren.parts:
        nets = {pin.number: pin.net or f"open {part.refdes}.{pin.number}" for pin in part.pins}
        for pad in part.pads:
            across = round(part.turn) % 180 == 90
            width, height = (pad.height, pad.width) if across else (pad.width, pad.height)
            sides = (
                frozenset(LAYERS)
                if pad.hole
                else frozenset({"F.Cu" if part.side == "top" else "B.Cu"})
            )
            box = (pad.x - width / 2, pad.y - height / 2, pad.x + width / 2, pad.y + height / 2)
            net = nets.get(pad.pin, "fiducial")
            kind = "plated" if pad.hole else "pad"
            pieces.append((net, sides, box, 0.0, f"{kind} {part.refdes}.{pad.pin}"))
    return pieces


def reach(piece: Copper) -> Box:
    x1, y1, x2, y2 = piece[2]
    r = piece[3]
    return min(x1, x2) - r, min(y1, y2) - r, max(x1, x2) + r, max(y1, y2) + r


def points(piece: Copper) -> list[tuple[float, float]]:
    """The stroke's points, 0.05 mm apart at most."""
    x1, y1, x2, y2 = piece[2]
    steps = max(1, math.ceil(math.hypot(x2 - x1, y2 - y1) / 0.05))
    return [(x1 + (x2 - x1) * n / steps, y1 + (y2 - y1) * n / steps) for n in range(steps + 1)]


def is_box(piece: Copper) -> bool:
    return piece[4] not in {"via", "track"}


def gap(one: Copper, two: Copper) -> float:
    """Distance between the edges of two pieces, mm; below 0 they overlap."""
    if is_box(one) and is_box(two):
        a, b = one[2], two[2]
        dx, dy = max(a[0] - b[2], b[0] - a[2]), max(a[1] - b[3], b[1] - a[3])
        return math.hypot(max(dx, 0), max(dy, 0)) if max(dx, dy) > 0 else max(dx, dy)
    if is_box(one):
        one, two = two, one
    if is_box(two):
        left, low, right, high = two[2]
        nearest = min(
            math.hypot(max(left - x, 0, x - right), max(low - y, 0, y - high))
            for x, y in points(one)
        )
        return nearest - one[3]
    far = points(two)
    nearest = min(math.hypot(x - u, y - v) for x, y in points(one) for u, v in far)
    return nearest - one[3] - two[3]


@pytest.fixture(scope="module")
def neighbours(copper: list[Copper]) -> list[tuple[int, int]]:
    """Pairs on one layer whose boxes come within the clearance, found by a sweep along x."""
    boxes = [reach(piece) for piece in copper]
    order = sorted(range(len(copper)), key=lambda index: boxes[index][0])
    pairs: list[tuple[int, int]] = []
    active: list[int] = []
    for index in order:
        left, low, _, high = boxes[index]
        active = [other for other in active if boxes[other][2] >= left - 0.1]
        pairs += [
            (other, index)
            for other in active
            if boxes[other][1] <= high + 0.1
            and low <= boxes[other][3] + 0.1
            and copper[other][1] & copper[index][1]
        ]
        active.append(index)
    return pairs


def test_copper_of_different_nets_keeps_clear(
    copper: list[Copper], neighbours: list[tuple[int, int]]
) -> None:
    close = [
        (copper[a], copper[b])
        for a, b in neighbours
        if copper[a][0] != copper[b][0] and gap(copper[a], copper[b]) < CLEAR_MM
    ]
    assert close == []


def test_copper_of_one_net_is_one_piece(
    wren: Any, copper: list[Copper], neighbours: list[tuple[int, int]]
) -> None:
    leader = list(range(len(copper)))

    def find(index: int) -> int:
        while leader[index] != index:
            leader[index] = leader[leader[index]]
            index = leader[index]
        return index

    for a, b in neighbours:
        if copper[a][0] == copper[b][0] and gap(copper[a], copper[b]) <= 0:
            leader[find(a)] = find(b)
    pieces: dict[str, set[int]] = {}
    planes = set(wren.board["planes"].values())
    for index, piece in enumerate(copper):
        if piece[0] in wren.nets:
            drilled = piece[4] == "via" or piece[4].startswith("plated")
            joined = -1 if piece[0] in planes and drilled else find(index)
            pieces.setdefault(piece[0], set()).add(joined)
    # a plane joins every group that holds one of its vias
    for net in planes:
        on_plane = {
            find(index)
            for index, piece in enumerate(copper)
            if piece[0] == net and (piece[4] == "via" or piece[4].startswith("plated"))
        }
        pieces[net] = {-1 if group in on_plane else group for group in pieces[net]}
    assert {net for net, groups in pieces.items() if len(groups) > 1} == set()
    assert set(pieces) == set(wren.nets)
