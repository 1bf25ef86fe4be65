"""What a case file of the two IPC readers is compared with: the board as plain JSON."""

from __future__ import annotations

from typing import Any

from nettrace.model.board import Board


def facts(board: Board) -> dict[str, Any]:
    """Return everything the two readers set, in a form that a person can check."""
    source = board.sources[0]
    return {
        "name": board.name,
        "version": source.version,
        "counts": [source.parts, source.nets, source.pins, source.pads, source.vias],
        "layers": list(board.layers),
        "parts": {
            part.key: {
                "refdes": part.refdes,
                "value": part.value,
                "package": part.package,
                "description": part.description,
                "fitted": part.fitted,
                "at": [_round(part.x), _round(part.y), part.angle, part.side],
                "properties": dict(part.properties),
                "outline": [list(corner) for corner in part.outline],
                "pins": [
                    [pin.number, pin.net, pin.name, len(pin.pads), pin.place and pin.place.line]
                    for pin in part.pins
                ],
                "pads": [
                    [
                        pad.number, pad.net, pad.x, pad.y, pad.side, pad.shape, pad.width,
                        pad.height, pad.angle, pad.drill, pad.plated, pad.place and pad.place.line,
                    ]
                    for pad in part.pads
                ],
            }
            for part in board.parts
        },
        "aliases": {net.name: list(net.aliases) for net in board.nets if net.aliases},
        "nets": [net.name for net in board.nets],
        "vias": [[via.x, via.y, via.net, via.diameter, via.drill] for via in board.vias],
        "outline": [[list(point) for point in path] for path in board.outline],
        "warnings": [
            [item.code, item.message, *(item.place[1:] if item.place else (0, 0))]
            for item in board.warnings
        ],
    }  # fmt: skip


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 6)
