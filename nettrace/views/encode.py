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

import msgspec

from nettrace.knowledge import table

if TYPE_CHECKING:
    from nettrace.model.board import Board

Json = dict[str, Any]

#: Record -> the keys of its JSON, as the table tells. What is neither there nor in `_MADE` is no
#: answer.
SHAPES: Final = table("answers")
#: What a meter shows between two places of one net.
_ONE_NET: Final = {"at_most": 0.0, "at_least": 0.0, "nominal": 0.0, "exact": True, "unknown": []}


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
    """Return (key, names of attributes, way) of a shape's words."""
    found: list[tuple[str, tuple[str, ...], str]] = []
    for word in shape.split():
        if word.startswith("*"):
            found += _keys(SHAPES[word[1:]])
            continue
        named, _, way = word.partition(":")
        key, other, path = named.partition("=")
        names = (path if other else key.lstrip("+")).split(".")
        found.append((key, tuple(filter(None, names)), way))
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
    "plain": lambda value, _: msgspec.to_builtins(value),
    "list": lambda value, _: list(value),
    "sorted": lambda value, _: sorted(value),
    "count": lambda value, _: len(value),
    "items": lambda value, board: [encode(each, board) for each in value],
    "names": lambda pins, board: [f"{_ref(pin.part, board)}.{pin.number}" for pin in pins],
    "pins": _pins,
    "linked": lambda value, board: [{"part": _ref(key, board), "net": net} for key, net in value],
    "area_parts": _area_parts,
    "steps": _steps,
    "record": lambda value, _: type(value).__name__.lower(),
    "bounds": lambda value, board: dict(_ONE_NET) if value is None else encode(value, board),
    "ends": lambda wires, _: [[wire.start, wire.end] for wire in wires],
    "reading": _reading_words,
}


# -- records that are more than their attributes ------------------------------------------------


def _pad(item: Any, board: Board | None) -> Json:
    """Return a pad with its pin; a pin without pads as a pin, a part without pins as neither."""
    has_pad = item.pad is not None
    shown = by_shape(item, SHAPES["PadPlace"], board) if has_pad else encode(item.pin, board)
    pads = by_shape(item.pin.pads, SHAPES["PinPad"], board) if item.pin is not None else []
    return {**(shown or {}), "pads": pads, **by_shape(item, SHAPES["PadFacts"], board)}


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
