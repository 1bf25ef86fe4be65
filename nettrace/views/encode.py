"""Any answer as JSON: one table says what each record's keys are, one function makes them.

Lengths are rounded to a nanometre and electrical values to nine digits, so that what is printed is
what the file says and not the noise of binary fractions. Unknown, infinite and NaN are null; parts
are named by refdes, as the sources write it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from enum import Enum
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from nettrace.model.board import Board

Json = dict[str, Any]

#: A net without its pins, as it stands inside another answer.
_NET_FACTS: Final = "name=net.name aliases=net.aliases kind volts pulls reaches"

#: A part as it stands with one of its pads.
_PART_FACTS: Final = "refdes=part.refdes kind=kind.kind value=part.value roles without_it"
#: What there is to a pad beside its own places.
_PAD_FACTS: Final = (
    "distance:mm shape=pad.shape width=pad.width:mm height=pad.height:mm others neighbours"
    " ends:pins leads_to=far:pins on_net:net_facts of_part:part_facts"
)

#: Record -> its keys in order. A key is the attribute of that name, encoded by what it is;
#: `key=attribute.of.it` takes another (null where there is none), `:way` another way (`_WAYS`); `+`
#: adds the keys of an attribute's own record. Records that are not here, and not in `_MADE`, are no
#: answers.
SHAPES: Final[Mapping[str, str]] = {
    # the board
    "Source": "path format version parts nets pins pads vias",
    "Counts": "parts nets pins pads",
    "Conflict": "code subject kept statements",
    "Statement": "what +place",
    "Place": "path line:word column:word",
    "Pin": "part:ref pin=number name net x:mm y:mm side",
    # what it means
    "Volts": "nominal min max basis score",
    "Reach": "net through:ref ohms conditional:word",
    "Pull": "part:ref direction ohms to volts through:ref fitted",
    "Role": "role score because",
    "Absence": "severity effects",
    "Proposal": "role quantity at_least at_most choices package score because",
    "Rail": "name=net kind volts source:ref loads:ref decoupling_farads:si score because"
    " linked:linked other_volts=others",
    "Bus": "name protocol lines parts:ref devices:ref through:ref score because",
    "BusLine": "line net nets pulls pull_ohms volts verdict limits_ohms",
    "Link": "part:ref from_pin to_pin kind ohms conditional:word",
    # answers
    "Summary": "name sources counts conflicts rails:rails buses:buses",
    "NetAnswer": f"{_NET_FACTS} pins=net.pins:pins",
    "PartAnswer": "refdes=part.refdes key=part.key kind=kind.kind value=part.value"
    " ohms=kind.ohms:si farads=kind.farads:si henries=kind.henries:si hertz=kind.hertz:si"
    " tolerance=kind.tolerance:si rated_volts=kind.rated_volts:si"
    " rated_amperes=kind.rated_amperes:si rated_watts=kind.rated_watts:si"
    " size_inch=kind.size_inch dielectric=kind.dielectric package=part.package"
    " description=part.description fitted=kind.fitted x=part.x:mm y=part.y:mm side=part.side"
    " sheet=part.sheet pins=part.pins:pins roles without_it proposals",
    "Drawing": "path format bytes title parts gone left_out scale side sheets",
    # figures
    "Heat": "part watts at_most rated_watts rated_by:word state",
    "Expected": "from=start from_net=start_net to to_net ohms:bounds farads:some"
    " volts=volts.nominal volts_basis=volts.basis because diode:word thermistor power=heat",
    "ThermistorLine": "part basis at=rows",
    "LineAtCelsius": "celsius ohms volts",
    "Meaning": "quantity value tolerance how note:word",
    "Formula": "name help inputs=parameters:names",
    "FormulaLine": "label value unit:word",
    # two boards
    "Comparison": "same opens shorts missing_parts extra_parts missing_pins extra_pins",
    "Open": "net groups",
    "Short": "nets:words pins",
    # a repair
    "Wired": "from=wire.start to=wire.end nets does=as_ of confirmed=wire.confirmed short=is_short"
    " words note=wire.note:word",
    "LooseMatch": "loose certainty assigned candidates decide:word advice reusable",
    "Candidate": "part=refdes cost:six because",
    "Donor": "part=refdes board severity without_it=why:word",
    "WorkStep": "title positions side because slow_pads neighbours",
    "Neighbour": "part=refdes distance=distance_mm:mm why",
    "WirePlan": "net pieces choices wires",
    "WireSpan": "from=start.name to=end.name length=length_mm:mm between because",
    "Probe": "at to quantity step expected nominal at_least at_most why",
    "NextProbe": "probe drop_bits:four because",
    "Check": "verdict because same opens shorts missing_parts extra_parts wrong_values readings"
    " suspects health:six still_to_probe blind wires",
    "PhotoMap": "map=kind matrix=rows:raw px_per_mm:raw left_over_px=spread_px:raw side mirrored"
    " degrees:raw agrees:raw bad known_pads=residuals cautions",
    "Residual": "pad=name off_px:raw off_mm:raw used",
    "WrongValue": "part=refdes expected found",
    "Suspect": "what score:six because",
}


def encode(item: object, board: Board | None = None) -> Any:
    """Return an answer as plain dicts, lists, numbers and texts; a tuple becomes a list.

    Args:
        item: an answer, or several.
        board: the board whose part keys the answer holds.

    Raises:
        TypeError: not an answer.
    """
    if item is None or isinstance(item, (bool, int)):
        return item
    if isinstance(item, Enum):
        return item.value
    if isinstance(item, str):
        return item
    if isinstance(item, float):
        return si(item)
    if isinstance(item, Mapping):
        return {str(key): encode(value, board) for key, value in item.items()}
    kind = type(item).__name__
    if kind in _MADE:
        return _MADE[kind](item, board)
    if kind in SHAPES:
        return by_shape(item, SHAPES[kind], board)
    if isinstance(item, (tuple, list)):
        return [encode(value, board) for value in item]
    raise TypeError(f"{kind} is no answer of nettrace")


def by_shape(item: object, shape: str, board: Board | None) -> Json:
    """Return a record as the keys that a shape names."""
    found: Json = {}
    for word in shape.split():
        named, _, way = word.partition(":")
        key, _, path = named.partition("=")
        value: Any = item
        for name in (path or key.lstrip("+")).split("."):
            value = None if value is None else getattr(value, name)
        if key.startswith("+"):
            found.update(encode(value, board))
        else:
            found[key] = _WAYS[way](value, board) if way else encode(value, board)
    return found


def mm(value: float | None) -> float | None:
    """Return a length rounded to a nanometre; -0 becomes 0."""
    return None if value is None else round(value, 6) + 0.0


def si(value: float | None) -> float | None:
    """Return an electrical value rounded to nine digits; infinity and NaN are unknown."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.9g}")


def _ref(keys: str | Iterable[str] | None, board: Board | None) -> Any:
    """Return the refdes of part keys as the sources write them, each once, in order."""
    if keys is None:
        return None
    parts = board.part_by_key if board is not None else {}
    if isinstance(keys, str):
        return parts[keys].refdes if keys in parts else keys
    return list(dict.fromkeys(_ref(key, board) for key in keys))


def _pins(items: Iterable[Any], board: Board | None) -> list[Json]:
    """Return pins with their places, each (refdes, number) once.

    A pin may have several pads, and its part may be drawn twice.
    """
    once: dict[tuple[str, str], Json] = {}
    for item in items:
        shown = encode(item, board)
        shown["pads"] = [
            {"x": mm(pad.x), "y": mm(pad.y), "side": encode(pad.side)} for pad in item.pads
        ]
        known = once.setdefault((shown["part"], shown["pin"]), shown)
        if known is not shown:
            known["pads"] += [pad for pad in shown["pads"] if pad not in known["pads"]]
    return list(once.values())


def _bounds(bounds: Any, _: Board | None) -> Json:
    if bounds is None:  # one net
        return {"at_most": 0.0, "at_least": 0.0, "nominal": 0.0, "exact": True, "unknown": []}
    return {
        "at_most": si(bounds.shown_at_most()),
        "at_least": si(bounds.shown_at_least()),
        **by_shape(bounds, "nominal exact unknown", None),
    }


#: How a value is written where its own kind does not say it.
_WAYS: Final[Mapping[str, Callable[[Any, Board | None], Any]]] = {
    "ref": _ref,
    "mm": lambda value, _: mm(value),
    "si": lambda value, _: si(value),  # a sum of nothing is 0 and no float
    "word": lambda value, _: value or None,
    "words": lambda value, _: [each or None for each in value],
    "six": lambda value, _: round(value, 6),
    "four": lambda value, _: round(value, 4),
    "names": lambda value, _: [each.name for each in value],
    "pins": _pins,
    "raw": lambda value, _: value,
    "some": lambda value, _: si(value) if value else None,
    "bounds": _bounds,
    "net_facts": lambda value, board: value and by_shape(value, _NET_FACTS, board),
    "part_facts": lambda value, board: by_shape(value, _PART_FACTS, board),
    "rails": lambda value, board: [by_shape(x, "name=net kind volts", board) for x in value],
    "buses": lambda value, board: [
        by_shape(x, "name protocol lines:line_names devices:ref", board) for x in value
    ],
    "line_names": lambda value, _: [each.line for each in value],
    "linked": lambda value, board: [{"part": _ref(key, board), "net": net} for key, net in value],
}


# -- records that are more than their attributes ------------------------------------------------


def _pad_at(item: Any, board: Board | None) -> Json:
    """Return a pad (with its pin, None for copper without a number) in the shape of a pin."""
    name = item.pin.name if item.pin is not None else None
    shown = by_shape(item.pad, "part:ref pin=number:word", board)
    return {**shown, "name": name, **by_shape(item.pad, "net x:mm y:mm side", board)}


def _near(item: Any, board: Board | None) -> Json:
    return {**_pad_at(item, board), "distance": mm(item.distance)}


def _area(item: Any, board: Board | None) -> Json:
    return {
        "shape": encode(item.shape),
        "side": encode(item.side),
        "pads": [
            {
                **_near(pad, board),
                "leads_to": [f"{_ref(far.part, board)}.{far.number}" for far in pad.far],
            }
            for pad in item.pads
        ],
        "parts": [
            {
                **encode(answer, board),
                "distance": mm(here.distance),
                "inside": here.inside,
            }
            for answer, here in zip(item.part_answers, item.parts, strict=True)
        ],
        "nets": [by_shape(net, _NET_FACTS, board) for net in item.net_answers],
        "damage": list(item.damage),
    }


def _pad(item: Any, board: Board | None) -> Json:
    shown = _pad_at(item, board) if item.pad is not None else encode(item.pin, board)
    own = _pins([item.pin], board)[0]["pads"] if item.pin is not None else []
    return {**(shown or {}), "pads": own, **by_shape(item, _PAD_FACTS, board)}


def _way(item: Any, board: Board | None) -> Json:
    """Return nets and the parts between them, in order."""
    steps: list[Json] = [{"net": item.start}]
    for link in item.links:
        steps += [encode(link, board), {"net": link.to_net}]
    return {"steps": steps, "ohms": si(item.ohms), "conditional": item.conditional or None}


def _readings(item: Any, board: Board | None) -> Json:
    """Return the first reading, the rest of the pad's under `more`."""
    first, *more = encode(item.now, board)
    other = item.without or item.changed
    return {
        **first,
        "more": more,
        "without": list(item.without),
        "changed": encode(item.changed),
        "fitted": encode(item.fitted, board) if other else [],
    }


def _judged(item: Any, board: Board | None) -> Json:
    from nettrace.views.job import reading_words

    reading = by_shape(item.reading, "number at to quantity value", board)
    judged = by_shape(item, "state expected:word because counts", board)
    stage = item.reading.stage or None
    return {**reading, "shown": reading_words(item.reading), "stage": stage, **judged}


def _need(item: Any, board: Board | None) -> Json:
    shape = "kind value:word tolerance size dielectric volts watts part_number description"
    return {
        "positions": list(item.positions),
        "quantity": item.quantity,
        "words": item.words,
        **by_shape(item, f"{shape} substitutes because doubts", board),
    }


def _refit(item: Any, board: Board | None) -> Json:
    from nettrace.bench.refit import CAUTIONS, DOCUMENTS, FIRST

    return {
        "cautions": [FIRST, *CAUTIONS],
        "documents": list(DOCUMENTS),
        **by_shape(item, "steps unplaced", board),
    }


def _job(item: Any, _: Board | None) -> Json:
    """Return an opened job: its board, every entry, and where it stands."""
    import msgspec

    job, state = item.job, item.state
    return {
        "title": job.title,
        "opened": job.opened,
        "board": msgspec.to_builtins(job.board),
        "entries": [msgspec.to_builtins(entry) for entry in job.entries],
        "undone": sorted(job.undone()),
        "state": {
            "damaged": {key: str(mark.damage) for key, mark in state.damaged.items()},
            "refitted": {key: fit.with_part for key, fit in state.refitted.items()},
            **by_shape(state, "open_positions lifted cuts bridges", None),
            "wires": [[wire.start, wire.end] for wire in state.wires],
            "wired": encode(item.wires),
            "loose": list(state.loose),
            "used": sorted(state.used),
            "readings": len(state.readings),
        },
    }


_MADE: Final[Mapping[str, Callable[[Any, Board | None], Any]]] = {
    "Circle": lambda item, _: {
        "kind": "circle",
        **by_shape(item, "x:mm y:mm radius_mm:mm around:word", None),
    },
    "Box": lambda item, _: {"kind": "box", **by_shape(item, "x1:mm y1:mm x2:mm y2:mm", None)},
    "Outline": lambda item, _: {
        "kind": "outline",
        "corners": [[mm(x), mm(y)] for x, y in item.corners],
    },
    "AreaAnswer": _area,
    "PadAnswer": _pad,
    "NearPad": _near,
    "Way": _way,
    "Solved": lambda item, board: {"name": item.name, "lines": [encode(x, board) for x in item]},
    "ReadingAnswer": _readings,
    "ValueAnswer": lambda item, board: encode(item.meanings, board),
    "Judged": _judged,
    "Need": _need,
    "RefitPlan": _refit,
    "BareSite": lambda item, _: {"part": item.refdes, "belongs": item.words()},
    "OpenJob": _job,
    "Matches": lambda item, board: {
        "matches": [encode(match, board) for match in item],
        "still_bare": encode(item.still_bare, board),
    },
    "Needs": lambda item, board: [
        {**encode(need, board), "donors": encode(donors, board)}
        for need, donors in zip(item, item.donors, strict=True)
    ],
}
