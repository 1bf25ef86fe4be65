"""Any answer as JSON: one table says what each record's keys are, one function makes them.

Lengths are rounded to a nanometre and electrical values to nine digits, so that what is printed is
what the file says and not the noise of binary fractions. Unknown, infinite and NaN are null; parts
are named by refdes, as the sources write it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from enum import Enum
from functools import cache
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from nettrace.model.board import Board

Json = dict[str, Any]

#: A net without its pins; a pad with its pin (None for copper without a number) as a pin; what a
#: meter shows between two places of one net.
_NET: Final = "name=net.name aliases=net.aliases kind volts pulls reaches"
_PAD: Final = (
    "part=pad.part:ref pin=pad.number:word name=pin.name net=pad.net x=pad.x:mm y=pad.y:mm"
    " side=pad.side"
)
_ONE_NET: Final = {"at_most": 0.0, "at_least": 0.0, "nominal": 0.0, "exact": True, "unknown": []}

#: Record, or a shape that others name -> its keys in order. A key is the attribute of that name,
#: encoded by what it is. `key=a.b` takes another (of None: None; of a tuple or mapping: of each of
#: its values; what is a method is called), `key=` the record itself, `key==word` is that word;
#: `:way` encodes it another way (`_WAYS`, or a shape's name); `+` adds the keys of a record.
#: Records that are not here, and not in `_MADE`, are no answers.
SHAPES: Final[Mapping[str, str]] = {
    # the board
    "Source": "path format version parts nets pins pads vias",
    "Counts": "parts nets pins pads",
    "Conflict": "code subject kept statements",
    "Statement": "what +place",
    "Place": "path line:word column:word",
    "Pin": "part:ref pin=number name net x:mm y:mm side",
    "PinPad": "x:mm y:mm side",
    "Summary": "name sources counts conflicts rails:RailInShort buses:BusInShort",
    "RailInShort": "name=net kind volts",
    "BusInShort": "name protocol lines=lines.line devices:ref",
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
    # places
    "Circle": "kind==circle x:mm y:mm radius_mm:mm around:word",
    "Box": "kind==box x1:mm y1:mm x2:mm y2:mm",
    "Outline": "kind==outline corners:places",
    # answers
    "NetAnswer": f"{_NET} pins=net.pins:pins",
    "NetInShort": _NET,
    "PartAnswer": "refdes=part.refdes key=part.key kind=kind.kind value=part.value"
    " ohms=kind.ohms:si farads=kind.farads:si henries=kind.henries:si hertz=kind.hertz:si"
    " tolerance=kind.tolerance:si rated_volts=kind.rated_volts:si"
    " rated_amperes=kind.rated_amperes:si rated_watts=kind.rated_watts:si"
    " size_inch=kind.size_inch dielectric=kind.dielectric package=part.package"
    " description=part.description fitted=kind.fitted x=part.x:mm y=part.y:mm side=part.side"
    " sheet=part.sheet pins=part.pins:pins roles without_it proposals",
    "PartInShort": "refdes=part.refdes kind=kind.kind value=part.value roles without_it",
    "AreaAnswer": "shape side pads parts=:area_parts nets=net_answers:NetInShort damage",
    "AreaPad": f"{_PAD} distance:mm leads_to=far:names",
    "NearPad": f"{_PAD} distance:mm",
    "Way": "steps=:steps ohms:si conditional:word",
    # figures
    "Heat": "part watts at_most rated_watts rated_by:word state",
    "ThermistorLine": "part basis at=rows",
    "LineAtCelsius": "celsius ohms volts",
    "OhmsBounds": "at_most=shown_at_most at_least=shown_at_least nominal exact unknown",
    "Expected": "from=start from_net=start_net to to_net ohms:bounds farads:word"
    " volts=volts.nominal volts_basis=volts.basis because diode:word thermistor power=heat",
    "Meaning": "quantity value tolerance how note:word",
    "Formula": "name help inputs=parameters.name",
    "FormulaLine": "label value unit:word",
    "Solved": "name lines=:items",
    # two boards
    "Comparison": "same opens shorts missing_parts extra_parts missing_pins extra_pins",
    "Open": "net groups",
    "Short": "nets:words pins",
    # a repair
    "OpenJob": "title=job.title opened=job.opened board=job.board:plain entries=job.entries:plain"
    " undone=job.undone:sorted state=:JobState",
    "JobState": "damaged=state.damaged.damage refitted=state.refitted.with_part"
    " open_positions=state.open_positions lifted=state.lifted cuts=state.cuts bridges=state.bridges"
    " wires=state.wires:ends wired=wires loose=state.loose:list used=state.used:sorted"
    " readings=state.readings:count",
    "Wired": "from=wire.start to=wire.end nets does=as_ of confirmed=wire.confirmed short=is_short"
    " words note=wire.note:word",
    "Matches": "matches=:items still_bare",
    "LooseMatch": "loose certainty assigned candidates decide:word advice reusable",
    "Candidate": "part=refdes cost:six because",
    "BareSite": "part=refdes belongs=words",
    "Need": "positions quantity words kind value:word tolerance size dielectric volts watts"
    " part_number description substitutes because doubts",
    "Donor": "part=refdes board severity without_it=why:word",
    "WorkStep": "title positions side because slow_pads neighbours",
    "Neighbour": "part=refdes distance=distance_mm:mm why",
    "WirePlan": "net pieces choices wires",
    "WireSpan": "from=start.name to=end.name length=length_mm:mm between because",
    "Probe": "at to quantity step expected nominal at_least at_most why",
    "NextProbe": "probe drop_bits:four because",
    "Check": "verdict because same opens shorts missing_parts extra_parts wrong_values readings"
    " suspects health:six still_to_probe blind wires",
    "Judged": "number=reading.number at=reading.at to=reading.to quantity=reading.quantity"
    " value=reading.value shown=reading:reading stage=reading.stage:word state expected:word"
    " because counts",
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
    if isinstance(item, Enum):
        return item.value
    if item is None or isinstance(item, (bool, int, str)):
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


def by_shape(item: object, shape: str, board: Board | None) -> Any:
    """Return a record as the keys that a shape names; None stays, of several each is one."""
    if item is None:
        return None
    if type(item) is tuple:
        return [by_shape(each, shape, board) for each in item]
    found: Json = {}
    for key, path, way in _keys(shape):
        if path[:1] == ("",):
            found[key] = path[1]
            continue
        value: Any = item
        for name in path:
            value = _attribute(value, name)
        if key.startswith("+"):
            found.update(encode(value, board))
        elif way in SHAPES:
            found[key] = by_shape(value, SHAPES[way], board)
        else:
            found[key] = _WAYS[way](value, board)
    return found


@cache
def _keys(shape: str) -> list[tuple[str, tuple[str, ...], str]]:
    """Return (key, path, way) of a shape's words; a path that begins with "" is a word itself."""
    found: list[tuple[str, tuple[str, ...], str]] = []
    for word in shape.split():
        named, _, way = word.partition(":")
        key, other, path = named.partition("=")
        if path.startswith("="):
            found.append((key, ("", path[1:]), way))
        else:
            names = (path if other else key.lstrip("+")).split(".")
            found.append((key, tuple(name for name in names if name), way))
    return found


def _attribute(value: Any, name: str) -> Any:
    if value is None:
        return None
    if isinstance(value, Mapping):
        return {key: _attribute(each, name) for key, each in value.items()}
    if type(value) is tuple:
        return tuple(_attribute(each, name) for each in value)
    found = getattr(value, name)
    return found() if callable(found) else found


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
        shown = {**encode(item, board), "pads": by_shape(item.pads, SHAPES["PinPad"], board)}
        known = once.setdefault((shown["part"], shown["pin"]), shown)
        if known is not shown:
            known["pads"] += [pad for pad in shown["pads"] if pad not in known["pads"]]
    return list(once.values())


def _reading_words(reading: Any, _: Board | None) -> str:
    from nettrace.views.job import reading_words

    return reading_words(reading)


def _plain(item: Any, _: Board | None) -> Any:
    import msgspec

    return msgspec.to_builtins(item)


def _area_parts(item: Any, board: Board | None) -> list[Json]:
    return [
        {**encode(answer, board), "distance": mm(here.distance), "inside": here.inside}
        for answer, here in zip(item.part_answers, item.parts, strict=True)
    ]


def _steps(item: Any, board: Board | None) -> list[Json]:
    """Return nets and the parts between them, in order."""
    links = ((encode(link, board), {"net": link.to_net}) for link in item.links)
    return [{"net": item.start}, *(step for steps in links for step in steps)]


#: How a value is written where its own kind does not say it.
_WAYS: Final[Mapping[str, Callable[[Any, Board | None], Any]]] = {
    "": encode,
    "ref": _ref,
    "mm": lambda value, _: mm(value),
    "places": lambda value, _: [[mm(x), mm(y)] for x, y in value],
    "si": lambda value, _: si(value),  # a sum of nothing is 0 and no float
    "word": lambda value, _: encode(value or None),
    "words": lambda value, _: [each or None for each in value],
    "six": lambda value, _: round(value, 6),
    "four": lambda value, _: round(value, 4),
    "raw": lambda value, _: value,
    "plain": _plain,
    "list": lambda value, _: list(value),
    "sorted": lambda value, _: sorted(value),
    "count": lambda value, _: len(value),
    "items": lambda value, board: [encode(each, board) for each in value],
    "names": lambda pins, board: [f"{_ref(pin.part, board)}.{pin.number}" for pin in pins],
    "pins": _pins,
    "linked": lambda value, board: [{"part": _ref(key, board), "net": net} for key, net in value],
    "area_parts": _area_parts,
    "steps": _steps,
    "bounds": lambda value, board: dict(_ONE_NET) if value is None else encode(value, board),
    "ends": lambda wires, _: [[wire.start, wire.end] for wire in wires],
    "reading": _reading_words,
}


# -- records that are more than their attributes ------------------------------------------------


def _pad(item: Any, board: Board | None) -> Json:
    """Return a pad with its pin; a pin without pads as a pin, a part without pins as neither."""
    shown = by_shape(item, _PAD, board) if item.pad is not None else encode(item.pin, board)
    pads = by_shape(item.pin.pads, SHAPES["PinPad"], board) if item.pin is not None else []
    more = "distance:mm shape=pad.shape width=pad.width:mm height=pad.height:mm others neighbours"
    more += " ends:pins leads_to=far:pins on_net:NetInShort of_part:PartInShort"
    return {**(shown or {}), "pads": pads, **by_shape(item, more, board)}


def _readings(item: Any, board: Board | None) -> Json:
    """Return the first reading, the rest of the pad's under `more`."""
    first, *more = encode(item.now, board)
    other = item.without or item.changed
    fitted = encode(item.fitted, board) if other else []
    return {**first, "more": more, **by_shape(item, "without changed", board), "fitted": fitted}


def _refit(item: Any, board: Board | None) -> Json:
    from nettrace.bench.refit import CAUTIONS, DOCUMENTS, FIRST

    rules = {"cautions": [FIRST, *CAUTIONS], "documents": list(DOCUMENTS)}
    return {**rules, **by_shape(item, "steps unplaced", board)}


_MADE: Final[Mapping[str, Callable[[Any, Board | None], Any]]] = {
    "PadAnswer": _pad,
    "ReadingAnswer": _readings,
    "ValueAnswer": lambda item, board: encode(item.meanings, board),
    "RefitPlan": _refit,
    "Needs": lambda item, board: [
        {**encode(need, board), "donors": encode(donors, board)}
        for need, donors in zip(item, item.donors, strict=True)
    ],
}
