"""What is in an area, and what it is wired to: the search alone, without what any of it means."""

from __future__ import annotations

from dataclasses import dataclass

from nettrace.bench.place import Shape
from nettrace.circuit.circuit import Circuit
from nettrace.model.adjacency import MOST_CROSSED_PARTS
from nettrace.model.board import Pad, Side
from nettrace.model.geometry import distance

__all__ = ["AreaFind", "pads_inside", "search_area"]


@dataclass(frozen=True, slots=True)
class AreaFind:
    """Pads with their distance from the middle (mm), by part; what is near by wire, by net.

    `nets` and `parts` have the steps that they are away: nets of the pads 0, the parts on those
    and their nets 1, and so on; nearest first.
    """

    pads: dict[str, list[tuple[float, Pad]]]
    nets: dict[str, int]
    parts: dict[str, int]


def pads_inside(
    circuit: Circuit, shape: Shape, side: Side | None = None
) -> dict[str, list[tuple[float, Pad]]]:
    """Return the pads with their middle in a shape that face a side, with their distance, by part.

    Parts and pads stand in the board's order.
    """
    found: dict[str, list[tuple[float, Pad]]] = {}
    x0, y0 = shape.middle
    for pad in circuit.pad_grid.inside(shape.box):
        if shape.contains(pad.x, pad.y) and (side is None or pad.side.faces(side)):
            found.setdefault(pad.part, []).append((distance(x0, y0, pad.x, pad.y), pad))
    return found


def search_area(
    circuit: Circuit, shape: Shape, side: Side | None = None, steps: int = 1
) -> AreaFind:
    """Return the pads in an area and what they are wired to; nothing is judged.

    Args:
        circuit: the board.
        shape: where, mm.
        side: the side that the pads can be touched from; None for either.
        steps: how far to go on: one step leads over the parts on a net to their nets. Nets of more
            parts than `MOST_CROSSED_PARTS` (supplies) are named and not crossed.
    """
    pads = pads_inside(circuit, shape, side)
    parts_of, nets_of = circuit.adjacency.parts_of, circuit.adjacency.nets_of
    edge = list(dict.fromkeys(pad.net for found in pads.values() for _, pad in found if pad.net))
    nets = dict.fromkeys(edge, 0)
    parts: dict[str, int] = {}
    for step in range(1, steps + 1):
        onward: list[str] = []
        for net in edge:
            near = parts_of[net]
            if len(near) > MOST_CROSSED_PARTS:
                continue
            for part in near:
                if part not in parts:
                    parts[part] = step
                    onward += nets_of[part]
        edge = [net for net in dict.fromkeys(onward) if net not in nets]
        for net in edge:
            nets[net] = step
    return AreaFind(pads, nets, parts)
