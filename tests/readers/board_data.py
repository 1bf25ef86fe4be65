"""A Board as plain data: what a case file beside a small netlist or table holds."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from nettrace.model.board import Board, Part

#: Facts of a part that a case states only where the file has them.
_FACTS = ("value", "package", "description", "fitted", "x", "y", "angle", "side")


def board_data(board: Board) -> dict[str, Any]:
    """Return counts, parts, nets and warnings; facts that are not stated are left out."""
    source = board.sources[0]
    return {
        "name": board.name,
        "counts": [source.parts, source.nets, source.pins],
        "parts": {part.key: _part_data(part) for part in board.parts},
        "nets": {
            net.name: {
                "pins": " ".join(str(pin) for pin in net.pins),
                **({"aliases": list(net.aliases)} if net.aliases else {}),
                **({"volts": net.volts} if net.volts is not None else {}),
            }
            for net in board.nets
        },
        "warnings": [str(warning) for warning in board.warnings],
    }


def _part_data(part: Part) -> dict[str, Any]:
    data: dict[str, Any] = {"place": str(part.place)}
    for name in _FACTS:
        value = getattr(part, name)
        if value is not None:
            data[name] = value
    if part.properties:
        data["properties"] = dict(part.properties)
    if part.pins:
        data["pins"] = [
            f"{pin.number}{f' {pin.name}' if pin.name else ''} = {pin.net}" for pin in part.pins
        ]
    return data


def expected_data(path: Path) -> Any:
    """Return what the case's .json says."""
    return json.loads(path.read_text(encoding="utf-8"))
