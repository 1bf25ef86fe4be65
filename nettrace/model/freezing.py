"""Freezes what readers drafted, counts its pins, and makes a draft's pins and pads when asked.

A board has tens of thousands of pins, so what can be done for all pins of a part at once is: their
fields are columns, and one call makes the records of a whole column.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from itertools import repeat
from operator import itemgetter
from types import MappingProxyType
from typing import TYPE_CHECKING, TypeAlias, cast

import msgspec

from nettrace.errors import Place
from nettrace.model.board import EMPTY, NO_ORIGINS, Pad, Part, Pin, Side
from nettrace.model.copper import NO_COPPER, Copper, Unmade
from nettrace.model.names import natural_key

if TYPE_CHECKING:
    from nettrace.model.builder import PartDraft

__all__ = [
    "Orders",
    "PadRecord",
    "PinFact",
    "PinKey",
    "Tally",
    "freeze_parts",
]

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


class Orders:
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


class _Shared(msgspec.Struct, gc=False, eq=False):
    """What all drafts of a board have in common."""

    shown: Mapping[str, str]  # net names that are shown otherwise than they are written
    orders: Orders


class _Drafted(Unmade):
    """The pins and pads of a draft."""

    facts: dict[PinKey, PinFact]
    records: list[PadRecord]
    has_pins: bool
    shared: _Shared

    def make(self, key: str) -> Copper:
        """Return the pins that the facts name and the pads give, and the pads."""
        facts, records, orders = self.facts, self.records, self.shared.orders
        if shown := self.shared.shown:
            facts = {(n, shown.get(net, net) if net else net): f for (n, net), f in facts.items()}
            records = [(r[0], shown.get(r[1], r[1]) if r[1] else r[1], *r[2:]) for r in records]
        if not records:
            return _pins_of_facts(key, facts, orders), _NO_PADS
        if not self.has_pins:
            return _NO_PINS, _pads(key, records)
        if facts:
            pads = _pads(key, records)
            return _pins_of_both(key, facts, pads, orders), pads
        return _pins_and_pads(key, records, orders)


def freeze_parts(drafts: Iterable[PartDraft | Part], shown: Mapping[str, str]) -> list[Part]:
    """Freeze the parts in the order given.

    Args:
        drafts: the parts, each with its key; one that is frozen already stays as it is.
        shown: net names that are shown otherwise than they are written.
    """
    shared = _Shared(shown, Orders())
    return [draft if isinstance(draft, Part) else _freeze(draft, shared) for draft in drafts]


def _freeze(draft: PartDraft, shared: _Shared) -> Part:
    facts, records, has_pins = draft.pin_facts, draft.pads, bool(draft.refdes)
    copper: Copper | Unmade = NO_COPPER
    if records or (facts and has_pins):
        copper = _Drafted(facts, records, has_pins, shared)
    return Part(
        draft.key, draft.refdes, draft.value, draft.package, draft.description,
        draft.fitted, draft.x, draft.y, draft.angle, draft.side, copper,
        draft.outline, draft.sheet,
        MappingProxyType(draft.properties) if draft.properties else EMPTY,
        draft.place,
        MappingProxyType(draft.origins) if draft.origins else NO_ORIGINS,
    )  # fmt: skip


def _pins_of_facts(key: str, facts: Mapping[PinKey, PinFact], orders: Orders) -> tuple[Pin, ...]:
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


def _pins_and_pads(key: str, records: list[PadRecord], orders: Orders) -> Copper:
    """Return the pins of a part of which nothing but pads is known, and its pads."""
    columns = tuple(zip(*records, strict=True))
    numbers, nets, plated, places = columns[0], columns[1], columns[10], columns[11]
    order = orders.of(numbers)
    if order is None or "" in numbers or "" in nets or False in plated:
        pads = _pads(key, records)
        return _pins_of_both(key, {}, pads, orders), pads
    pads = tuple(map(Pad, repeat(key), *columns))
    pins = tuple(
        map(Pin, repeat(key), numbers, nets, repeat(None), repeat(None), zip(pads), places)
    )
    return tuple([pins[index] for index in order]) if order else pins, pads


def _pins_of_both(
    key: str, facts: Mapping[PinKey, PinFact], pads: tuple[Pad, ...], orders: Orders
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


class Tally:
    """The pins of a board that are on a net: how many, and which nets those are (as written).

    A pin is a pair of refdes and number: parts that share a refdes share its pins too.
    """

    __slots__ = ("_repeated", "_shared", "count", "nets")

    def __init__(self, repeated: set[str]) -> None:
        """Take the refdes that several parts bear."""
        self.count = 0
        self.nets: set[str] = set()
        self._repeated = repeated
        self._shared: set[tuple[str, str]] = set()

    def add_drafts(self, drafts: Iterable[PartDraft]) -> None:
        """Count the pins of drafts."""
        on_nets = self.nets.update
        for draft in drafts:
            if not draft.refdes:
                continue
            keys = set(draft.pin_facts)
            keys.update([(pad[0], pad[1]) for pad in draft.pads if pad[0] and pad[10]])
            if not keys:
                continue
            numbers, nets = zip(*keys, strict=True)
            if not all(nets):  # pins on no net are not counted
                keys = {key for key in keys if key[1]}
                if not keys:
                    continue
                numbers, nets = zip(*keys, strict=True)
            on_nets(nets)
            if draft.refdes in self._repeated:
                new = {(draft.refdes, number) for number in numbers} - self._shared
                self._shared |= new
                self.count += len(new)
            else:
                self.count += len({*numbers})

    def add_frozen(self, nets: list[str | None]) -> None:
        """Count the pins of parts that readers froze, of which the net of each is given."""
        on_nets: set[str | None] = {*nets}
        on_nets.discard(None)
        self.count += len(nets) - nets.count(None)
        self.nets |= cast("set[str]", on_nets)
