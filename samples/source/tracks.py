"""Tracks and vias of Wren, read from tracks.csv."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

TRACKS = Path(__file__).with_name("tracks.csv")
VIA_SIZE_MM = 0.4
VIA_HOLE_MM = 0.2


@dataclass(frozen=True, slots=True)
class Segment:
    net: str
    layer: str
    width: float
    x1: float
    y1: float
    x2: float
    y2: float


@dataclass(frozen=True, slots=True)
class Via:
    net: str
    x: float
    y: float
    size: float = VIA_SIZE_MM
    hole: float = VIA_HOLE_MM


def load_tracks(path: Path = TRACKS) -> list[Segment | Via]:
    """Rows are ``net,layer,width,x1,y1,x2,y2``; a via has ``via`` as layer and no second point."""
    wires: list[Segment | Via] = []
    with path.open(encoding="utf-8", newline="") as handle:
        for row in csv.DictReader(handle):
            if row["layer"] == "via":
                wires.append(Via(row["net"], float(row["x1"]), float(row["y1"])))
            else:
                wires.append(
                    Segment(
                        row["net"],
                        row["layer"],
                        *(float(row[key]) for key in ("width", "x1", "y1", "x2", "y2")),
                    )
                )
    return wires
