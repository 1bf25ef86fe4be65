"""Results as the contract's JSON: one function per answer, plain dicts and lists back.

Lengths are rounded to a nanometre and electrical values to nine digits, so that what is printed
is what the file says and not the noise of binary fractions. Unknown is None.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from nettrace.bench.area import lacks_value
from nettrace.bench.lookup import Way
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Absence, Bus, Proposal, Pull, Rail, Role, Volts
from nettrace.model.board import Conflict, Net, Pad, Part, Pin

__all__ = [
    "Json",
    "bus",
    "mm",
    "net",
    "net_facts",
    "pad_as_pin",
    "part",
    "pin",
    "pins",
    "places",
    "rail",
    "role",
    "si",
    "summary",
    "way",
    "without_it",
]

Json = dict[str, object]


def mm(value: float | None) -> float | None:
    """Return a length rounded to a nanometre; -0 becomes 0."""
    return None if value is None else round(value, 6) + 0.0


def si(value: float | None) -> float | None:
    """Return an electrical value rounded to nine digits; infinity and NaN are unknown."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.9g}")


def summary(circuit: Circuit) -> Json:
    """Return what was read."""
    board = circuit.board
    counts = board.counts()
    return {
        "name": board.name,
        "sources": [
            {
                "path": source.path,
                "format": source.format,
                "version": source.version,
                "parts": source.parts,
                "nets": source.nets,
                "pins": source.pins,
                "pads": source.pads,
                "vias": source.vias,
            }
            for source in board.sources
        ],
        "counts": {
            "parts": counts.parts,
            "nets": counts.nets,
            "pins": counts.pins,
            "pads": counts.pads,
        },
        "conflicts": [conflict(item) for item in board.conflicts],
        "rails": [
            {"name": item.net, "kind": item.kind, "volts": volts(item.volts)}
            for item in circuit.rails.values()
        ],
        "buses": [
            {
                "name": item.name,
                "protocol": item.protocol,
                "lines": [line.line for line in item.lines],
                "devices": _refdes(circuit, item.devices),
            }
            for item in circuit.buses
        ],
    }


def conflict(item: Conflict) -> Json:
    """Return two statements that disagree, each with its place, and which one stands."""
    return {
        "code": item.code,
        "subject": item.subject,
        "kept": item.kept,
        "statements": [
            {
                "what": said.what,
                "path": said.place.path,
                "line": said.place.line or None,
                "column": said.place.column or None,
            }
            for said in item.statements
        ],
    }


def pin(circuit: Circuit, item: Pin) -> Json:
    """Return a pin; `pads` lists all its places, `x`, `y` and `side` are those of the first."""
    return {
        "part": circuit.board.part_by_key[item.part].refdes,
        "pin": item.number,
        "name": item.name,
        "net": item.net,
        "x": mm(item.x),
        "y": mm(item.y),
        "side": item.side,
        "pads": [{"x": mm(piece.x), "y": mm(piece.y), "side": piece.side} for piece in item.pads],
    }


def pad_as_pin(circuit: Circuit, piece: Pad, its_pin: Pin | None) -> Json:
    """Return a pad in the shape of a pin, at the pad's own place."""
    return {
        "part": circuit.board.part_by_key[piece.part].refdes,
        "pin": piece.number or None,
        "name": its_pin.name if its_pin is not None else None,
        "net": piece.net,
        "x": mm(piece.x),
        "y": mm(piece.y),
        "side": piece.side,
    }


def pins(circuit: Circuit, items: Iterable[Pin]) -> list[Json]:
    """Return pins, each (refdes, number) once: a pin of several pads, or of a part drawn twice."""
    once: dict[tuple[object, object], Json] = {}
    for item in items:
        shown = pin(circuit, item)
        known = once.setdefault((shown["part"], shown["pin"]), shown)
        if known is not shown:
            mine = places(known)
            mine.extend(place for place in places(shown) if place not in mine)
    return list(once.values())


def places(shown: Json) -> list[object]:
    """Return the places of a pin that `pin` made; the list itself, so that it can grow."""
    found = shown["pads"]
    return found if isinstance(found, list) else []


def volts(item: Volts | None) -> Json | None:
    """Return a voltage with its basis, None where nothing is known of it."""
    if item is None:
        return None
    return {
        "nominal": si(item.nominal),
        "min": si(item.min),
        "max": si(item.max),
        "basis": item.basis,
        "score": si(item.score),
    }


def net_facts(circuit: Circuit, name: str) -> Json:
    """Return a net without its pins."""
    item = circuit.board.net_by_name[name]
    return {
        "name": item.name,
        "aliases": list(item.aliases),
        "kind": circuit.net_kind(name),
        "volts": volts(circuit.volts(name)),
        "pulls": [pull(circuit, each) for each in circuit.pulls.get(name, ())],
        "reaches": [
            {
                "net": each.net,
                "through": _refdes(circuit, each.through),
                "ohms": si(each.ohms),
                "conditional": each.conditional or None,
            }
            for each in circuit.reaches(name)
        ],
    }


def net(circuit: Circuit, item: Net) -> Json:
    """Return a net with its pins."""
    return {**net_facts(circuit, item.name), "pins": pins(circuit, item.pins)}


def pull(circuit: Circuit, item: Pull) -> Json:
    """Return a pull-up or pull-down."""
    return {
        "part": _refdes(circuit, (item.part,))[0],
        "direction": item.direction,
        "ohms": si(item.ohms),
        "to": item.to,
        "volts": si(item.volts),
        "through": _refdes(circuit, item.through),
        "fitted": item.fitted,
    }


def role(item: Role) -> Json:
    """Return a candidate role."""
    return {"role": item.role, "score": si(item.score), "because": list(item.because)}


def without_it(item: Absence) -> Json:
    """Return what happens without a part."""
    return {"severity": item.severity, "effects": list(item.effects)}


def proposal(item: Proposal) -> Json:
    """Return what a position likely was."""
    return {
        "role": item.role,
        "quantity": item.quantity,
        "at_least": si(item.at_least),
        "at_most": si(item.at_most),
        "choices": [si(value) for value in item.choices],
        "package": item.package,
        "score": si(item.score),
        "because": list(item.because),
    }


def part(circuit: Circuit, item: Part) -> Json:
    """Return a part with what it means; `proposals` only where no source states its value."""
    kind = circuit.kinds[item.key]
    return {
        "refdes": item.refdes,
        "key": item.key,
        "kind": kind.kind,
        "value": item.value,
        "ohms": si(kind.ohms),
        "farads": si(kind.farads),
        "henries": si(kind.henries),
        "hertz": si(kind.hertz),
        "tolerance": si(kind.tolerance),
        "rated_volts": si(kind.rated_volts),
        "rated_amperes": si(kind.rated_amperes),
        "rated_watts": si(kind.rated_watts),
        "size_inch": kind.size_inch,
        "dielectric": kind.dielectric,
        "package": item.package,
        "description": item.description,
        "fitted": kind.fitted,
        "x": mm(item.x),
        "y": mm(item.y),
        "side": item.side,
        "sheet": item.sheet,
        "pins": pins(circuit, item.pins),
        "roles": [role(each) for each in circuit.roles(item.key)],
        "without_it": without_it(circuit.absence(item.key)),
        "proposals": [proposal(each) for each in circuit.proposals(item.key)]
        if lacks_value(kind)
        else [],
    }


def rail(circuit: Circuit, item: Rail) -> Json:
    """Return a rail or ground; loads and source by refdes."""
    return {
        "name": item.net,
        "kind": item.kind,
        "volts": volts(item.volts),
        "source": _refdes(circuit, (item.source,))[0] if item.source is not None else None,
        "loads": _refdes(circuit, item.loads),
        "decoupling_farads": si(item.decoupling_farads),
        "score": si(item.score),
        "because": list(item.because),
        "linked": [
            {"part": _refdes(circuit, (key,))[0], "net": other} for key, other in item.linked
        ],
        "other_volts": [volts(each) for each in item.others],
    }


def bus(circuit: Circuit, item: Bus) -> Json:
    """Return a serial bus; a line's `net` is its main segment, `nets` are all of them."""
    return {
        "name": item.name,
        "protocol": item.protocol,
        "lines": [
            {
                "line": line.line,
                "net": line.net,
                "nets": list(line.nets),
                "pulls": [pull(circuit, each) for each in line.pulls],
                "pull_ohms": si(line.pull_ohms),
                "volts": si(line.volts),
                "verdict": line.verdict,
                "limits_ohms": [si(limit) for limit in line.limits_ohms]
                if line.limits_ohms is not None
                else None,
            }
            for line in item.lines
        ],
        "parts": _refdes(circuit, item.parts),
        "devices": _refdes(circuit, item.devices),
        "through": _refdes(circuit, item.through),
        "score": si(item.score),
        "because": list(item.because),
    }


def way(circuit: Circuit, item: Way) -> Json:
    """Return one way between two nets: nets and the parts between them, in order."""
    steps: list[Json] = [{"net": item.start}]
    for link in item.links:
        steps.append(
            {
                "part": _refdes(circuit, (link.part,))[0],
                "from_pin": link.from_pin,
                "to_pin": link.to_pin,
                "kind": link.kind,
                "ohms": si(link.ohms),
                "conditional": link.conditional or None,
            }
        )
        steps.append({"net": link.to_net})
    return {"steps": steps, "ohms": si(item.ohms), "conditional": item.conditional or None}


def _refdes(circuit: Circuit, keys: Sequence[str]) -> list[str]:
    """Return the refdes of part keys as the sources write them, each once, in order."""
    parts = circuit.board.part_by_key
    return list(dict.fromkeys(parts[key].refdes if key in parts else key for key in keys))
