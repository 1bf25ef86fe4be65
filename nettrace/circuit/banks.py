"""The capacitors of a rail and the parts that it serves, looked up once for all who ask."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import floor, hypot, isfinite
from typing import Final

from nettrace.circuit.evidence import Link, NetKind, PartKind, Rail
from nettrace.circuit.kinds import Kind
from nettrace.model.board import Board

__all__ = ["NEAR_MM", "Bank", "find_bank"]

#: A capacitor serves the chip whose supply pin is within this, mm (common practice, no source).
NEAR_MM: Final = 6.0
#: Links of no resistance: what is behind them is as good as on the rail.
_STIFF: Final = frozenset({"zero-ohm link", "current shunt", "jumper header", "jumper", "fuse"})
#: Kinds that draw from a rail, or through which it is drawn from.
_SERVED: Final = frozenset(
    {Kind.IC, Kind.MODULE, Kind.OSCILLATOR, Kind.DISPLAY, Kind.MICROPHONE, Kind.UNKNOWN,
     Kind.CONNECTOR}
)  # fmt: skip
#: A pad of a part that is served: its index in the net's order, x and y in mm, the part.
_Spot = tuple[int, float, float, str]


@dataclass(frozen=True, slots=True)
class Bank:
    """A rail's fitted capacitors to ground, its stiff links, and the pads that it serves."""

    farads: Mapping[str, float]  # part key -> capacitance, F; 0 where not known
    whole_farads: float
    stiff: tuple[Link, ...]  # fitted links of no resistance to other nets
    spots: Mapping[tuple[int, int], tuple[_Spot, ...]]  # by cell of `NEAR_MM`

    def nearest(self, x: float, y: float) -> str | None:
        """Return the part with a pad nearest to a place (mm), within `NEAR_MM`; None if none."""
        if not (isfinite(x) and isfinite(y)):
            return None
        column, row = floor(x / NEAR_MM), floor(y / NEAR_MM)
        best: tuple[float, int, str] | None = None
        for across in (column - 1, column, column + 1):
            for up in (row - 1, row, row + 1):
                for index, at_x, at_y, part in self.spots.get((across, up), ()):
                    away = hypot(at_x - x, at_y - y)
                    if away <= NEAR_MM and (best is None or (away, index) < best[:2]):
                        best = away, index, part
        return best[2] if best else None


def find_bank(
    board: Board,
    kinds: Mapping[str, PartKind],
    rails: Mapping[str, Rail],
    links: Mapping[str, tuple[Link, ...]],
    rail: str,
) -> Bank:
    """Return what stands on a rail; one walk over its pins and links."""
    farads: dict[str, float] = {}
    spots: dict[tuple[int, int], list[_Spot]] = {}
    index = 0
    for pin in board.net_by_name[rail].pins:
        kind = kinds[pin.part]
        if kind.kind is Kind.CAPACITOR:
            nets = board.part_by_key[pin.part].nets if kind.fitted else ()
            if any(net in rails and rails[net].kind is NetKind.GROUND for net in nets):
                farads[pin.part] = kind.farads or 0.0
        elif kind.kind in _SERVED:
            for pad in pin.pads:
                if isfinite(pad.x) and isfinite(pad.y):
                    cell = floor(pad.x / NEAR_MM), floor(pad.y / NEAR_MM)
                    spots.setdefault(cell, []).append((index, pad.x, pad.y, pin.part))
                    index += 1
    return Bank(
        farads=farads,
        whole_farads=sum(farads.values()),
        stiff=tuple(
            link
            for link in links.get(rail, ())
            if link.kind in _STIFF and link.conditional != "not fitted"
        ),
        spots={cell: tuple(found) for cell, found in spots.items()},
    )
