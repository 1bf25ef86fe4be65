"""Places as the contract's JSON: one pad with its surroundings, and a damaged area."""

from __future__ import annotations

from nettrace.bench.area import AreaReport, NearPad, PadReport
from nettrace.bench.place import Box, Circle, Shape
from nettrace.circuit.circuit import Circuit
from nettrace.views import payload
from nettrace.views.payload import Json

__all__ = ["area", "pad", "shape"]


def pad(circuit: Circuit, report: PadReport) -> Json:
    """Return one pad with its surroundings."""
    piece, its_pin = report.pad, report.pin
    if piece is not None:
        shown = payload.pad_as_pin(circuit, piece, its_pin)
    elif its_pin is not None:
        shown = payload.pin(circuit, its_pin)
    else:
        shown = {}
    name = report.net
    return {
        **shown,
        "pads": payload.places(payload.pin(circuit, its_pin)) if its_pin is not None else [],
        "distance": payload.mm(report.distance),
        "shape": piece.shape if piece is not None else None,
        "width": payload.mm(piece.width) if piece is not None else None,
        "height": payload.mm(piece.height) if piece is not None else None,
        "others": [_near(circuit, each) for each in report.others],
        "neighbours": [_near(circuit, each) for each in report.neighbours],
        "ends": payload.pins(circuit, report.ends),
        "leads_to": payload.pins(circuit, report.far),
        "on_net": payload.net_facts(circuit, name)
        if name is not None and name in circuit.board.net_by_name
        else None,
        "of_part": {
            "refdes": report.part.refdes,
            "kind": circuit.kinds[report.part.key].kind,
            "value": report.part.value,
            "roles": [payload.role(each) for each in circuit.roles(report.part.key)],
            "without_it": payload.without_it(circuit.absence(report.part.key)),
        },
    }


def _near(circuit: Circuit, item: NearPad) -> Json:
    return {
        **payload.pad_as_pin(circuit, item.pad, item.pin),
        "distance": payload.mm(item.distance),
    }


def shape(item: Shape) -> Json:
    """Return a place: `kind` is circle, box or outline."""
    if isinstance(item, Circle):
        return {
            "kind": "circle",
            "x": payload.mm(item.x),
            "y": payload.mm(item.y),
            "radius_mm": payload.mm(item.radius_mm),
            "around": item.around or None,
        }
    if isinstance(item, Box):
        return {
            "kind": "box",
            "x1": payload.mm(item.x1),
            "y1": payload.mm(item.y1),
            "x2": payload.mm(item.x2),
            "y2": payload.mm(item.y2),
        }
    return {"kind": "outline", "corners": [[payload.mm(x), payload.mm(y)] for x, y in item.corners]}


def area(circuit: Circuit, report: AreaReport) -> Json:
    """Return a damaged area; `inside` is false for a part that only reaches into it."""
    return {
        "shape": shape(report.shape),
        "side": report.side,
        "pads": [
            {
                **payload.pad_as_pin(circuit, item.pad, item.pin),
                "distance": payload.mm(item.distance),
                "leads_to": [
                    f"{circuit.board.part_by_key[far.part].refdes}.{far.number}" for far in item.far
                ],
            }
            for item in report.pads
        ],
        "parts": [
            {
                **payload.part(circuit, item.part),
                "distance": payload.mm(item.distance),
                "inside": item.inside,
            }
            for item in report.parts
        ],
        "nets": [payload.net_facts(circuit, name) for name in report.nets],
        "damage": list(report.damage),
    }
