"""Orders and freezes what readers drafted: a part's pads, its pins in natural order, pins by net.

A board has tens of thousands of pins, so what can be done for all pins of a part at once is: their
fields are columns, and one call makes the records of a whole column.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from itertools import repeat
from operator import itemgetter
from types import MappingProxyType
from typing import TYPE_CHECKING, TypeAlias

from nettrace.errors import Place
from nettrace.model.board import EMPTY, NO_ORIGINS, Pad, Part, Pin, Side
from nettrace.model.names import natural_key

if TYPE_CHECKING:
    from nettrace.model.builder import PartDraft

__all__ = ["PadRecord", "PinFact", "PinKey", "count_pins", "freeze_parts"]

#: A pin as a draft knows it: its number, and its net if it is on one.
PinKey: TypeAlias = tuple[str, str | None]
#: What a draft says of a pin: its function name, its electrical type, and where.
PinFact: TypeAlias = tuple[str | None, str | None, Place | None]

#: A pad as a draft holds it: the fields of `Pad` after `part`, in order.
PadRecord: TypeAlias = tuple[
    str, str | None, float, float, Side, str | None, float | None, float | None,
    float, float | None, bool, Place | None,
]  # fmt: skip

_NO_FACTS: PinFact = (None, None, None)
_NO_PADS: tuple[Pad, ...] = ()
_NO_PINS: tuple[Pin, ...] = ()
_number_of = itemgetter(0)


class _Orders:
    """In which order pins of these numbers stand; most parts share their numbers with others."""

    __slots__ = ("keys", "known")

    def __init__(self) -> None:
        self.keys: dict[str, tuple[tuple[str | int, ...], str]] = {}  # number -> its natural key
        self.known: dict[tuple[str, ...], tuple[int, ...] | None] = {}

    def key(self, number: str) -> tuple[tuple[str | int, ...], str]:
        """Return the natural key of a pin number."""
        known = self.keys.get(number)
        if known is None:
            known = self.keys[number] = natural_key(number)
        return known

    def of(self, numbers: tuple[str, ...]) -> tuple[int, ...] | None:
        """Return the indexes in order: () where they stand in it, None where a number repeats."""
        try:
            return self.known[numbers]
        except KeyError:
            pass
        order: tuple[int, ...] | None = None
        if len(set(numbers)) == len(numbers):
            keys = [self.key(number) for number in numbers]
            order = tuple(sorted(range(len(keys)), key=keys.__getitem__))
            if order == tuple(range(len(keys))):
                order = ()
        self.known[numbers] = order
        return order

    def sorted(self, pairs: Iterable[PinKey]) -> list[PinKey]:
        """Order (number, net) pairs by number, then net; a lone pad without net is no pin more."""
        pairs = list(pairs)
        connected = {number for number, net in pairs if net is not None}
        pairs = [pair for pair in pairs if pair[1] is not None or pair[0] not in connected]
        pairs.sort(key=lambda pair: (self.key(pair[0]), pair[1] or ""))
        return pairs


def freeze_parts(
    drafts: Iterable[PartDraft | Part],
    shown: Mapping[str, str],
    pins_of_net: defaultdict[str, list[Pin]],
) -> list[Part]:
    """Freeze the parts in the order given; the pins of each net are added to `pins_of_net`.

    Args:
        drafts: the parts, each with its key; one that is frozen already stays as it is.
        shown: net names that are shown otherwise than they are written.
        pins_of_net: pins by shown net name; added to.
    """
    parts: list[Part] = []
    orders = _Orders()
    for draft in drafts:
        part = draft if isinstance(draft, Part) else _freeze(draft, shown, orders)
        parts.append(part)
        for pin in part.pins:
            net = pin.net
            if net is not None:
                pins_of_net[net].append(pin)
    return parts


def _freeze(draft: PartDraft, shown: Mapping[str, str], orders: _Orders) -> Part:
    facts, records = draft.pin_facts, draft.pads
    if shown:
        facts = {(n, shown.get(net, net) if net else net): f for (n, net), f in facts.items()}
        records = [(r[0], shown.get(r[1], r[1]) if r[1] else r[1], *r[2:]) for r in records]
    pads, pins = _NO_PADS, _NO_PINS
    if not records:
        if facts and draft.refdes:
            pins = _pins_of_facts(draft.key, facts, orders)
    elif facts or not draft.refdes:
        pads = _pads(draft.key, records)
        if draft.refdes:
            pins = _pins_of_both(draft.key, facts, pads, orders)
    else:
        pads, pins = _pads_and_pins(draft.key, records, orders)
    return Part(
        draft.key, draft.refdes, draft.value, draft.package, draft.description,
        draft.fitted, draft.x, draft.y, draft.angle, draft.side, pins, pads,
        draft.outline, draft.sheet,
        MappingProxyType(draft.properties) if draft.properties else EMPTY,
        draft.place,
        MappingProxyType(draft.origins) if draft.origins else NO_ORIGINS,
    )  # fmt: skip


def _pins_of_facts(key: str, facts: Mapping[PinKey, PinFact], orders: _Orders) -> tuple[Pin, ...]:
    """Return the pins of a part without pads."""
    numbers, nets = zip(*facts, strict=True)
    order = orders.of(numbers)
    if order is None:
        return tuple([_pin(key, pair, facts[pair], _NO_PADS) for pair in orders.sorted(facts)])
    names, kinds, places = zip(*facts.values(), strict=True)
    pins = tuple(map(Pin, repeat(key), numbers, nets, names, kinds, repeat(_NO_PADS), places))
    return tuple([pins[index] for index in order]) if order else pins


def _pads(key: str, records: Iterable[PadRecord]) -> tuple[Pad, ...]:
    return tuple([Pad(key, record[0], record[1] or None, *record[2:]) for record in records])


def _pads_and_pins(
    key: str, records: list[PadRecord], orders: _Orders
) -> tuple[tuple[Pad, ...], tuple[Pin, ...]]:
    """Return the pads of a part of which nothing but pads is known, and its pins."""
    columns = tuple(zip(*records, strict=True))
    numbers, nets, plated, places = columns[0], columns[1], columns[10], columns[11]
    order = orders.of(numbers)
    if order is None or "" in numbers or "" in nets or False in plated:
        pads = _pads(key, records)
        return pads, _pins_of_both(key, {}, pads, orders)
    pads = tuple(map(Pad, repeat(key), *columns))
    pins = tuple(
        map(Pin, repeat(key), numbers, nets, repeat(None), repeat(None), zip(pads), places)
    )
    return pads, tuple([pins[index] for index in order]) if order else pins


def _pins_of_both(
    key: str, facts: Mapping[PinKey, PinFact], pads: tuple[Pad, ...], orders: _Orders
) -> tuple[Pin, ...]:
    """Return the pins that the facts name and those that the pads are of."""
    pads_of_pin: defaultdict[PinKey, list[Pad]] = defaultdict(list)
    for pad in pads:
        if pad.number and pad.plated:
            pads_of_pin[pad.number, pad.net].append(pad)
    pairs: Iterable[PinKey] = {**facts, **pads_of_pin} if facts else pads_of_pin
    order = orders.of(tuple(map(_number_of, pairs)))
    if order is None:
        pairs = orders.sorted(pairs)
    elif order:
        listed = list(pairs)
        pairs = [listed[index] for index in order]
    return tuple(
        [
            _pin(key, pair, facts.get(pair, _NO_FACTS), tuple(pads_of_pin.get(pair, _NO_PADS)))
            for pair in pairs
        ]
    )


def _pin(key: str, pair: PinKey, fact: PinFact, pads: tuple[Pad, ...]) -> Pin:
    name, electrical_type, place = fact
    if place is None and pads:
        place = pads[0].place
    return Pin(key, *pair, name, electrical_type, pads, place)


def count_pins(parts: Iterable[Part], repeated: set[str]) -> int:
    """Return how many distinct pairs of refdes and number are on a net.

    Args:
        parts: the frozen parts.
        repeated: the refdes that several parts bear; their pins of one number count once.
    """
    pins = 0
    shared: set[tuple[str, str]] = set()  # pins of parts whose refdes is not theirs alone
    for part in parts:
        if part.refdes in repeated:
            shared.update((part.refdes, pin.number) for pin in part.pins if pin.net is not None)
            continue
        last = None
        for pin in part.pins:  # in order, so that equal numbers are neighbours
            if pin.net is not None and pin.number != last:
                pins += 1
                last = pin.number
    return pins + len(shared)
