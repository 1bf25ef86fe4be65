"""The one mutable object of the model: readers push facts, `build` checks, orders and freezes.

A reader pushes strings and numbers as they stand in the file, each with its Place; nothing here
interprets them. What is missing stays missing.
"""

from __future__ import annotations

import gc
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import chain
from operator import itemgetter
from types import MappingProxyType
from typing import TypeAlias

import msgspec

from nettrace.errors import Place, Warning
from nettrace.model.board import (
    EMPTY,
    NO_ORIGINS,
    Board,
    Conflict,
    Net,
    Pad,
    Part,
    Pin,
    Side,
    Source,
    Via,
    Zone,
)
from nettrace.model.names import decode_escapes, natural_sorted

__all__ = ["BoardBuilder", "PadRecord", "PartDraft"]

_NO_FACTS: tuple[str | None, str | None, Place | None] = (None, None, None)
_NO_PADS: tuple[Pad, ...] = ()
_NOTHING_SAID: tuple[Place | None, float | None] = (None, None)

#: A pad as `PartDraft.pads` holds it: the fields of `Pad` after `part`, in order.
PadRecord: TypeAlias = tuple[
    str, str | None, float, float, Side, str | None, float | None, float | None,
    float, float | None, bool, Place | None,
]  # fmt: skip


#: A pin as a draft knows it: its number, and its net if it is on one.
PinKey: TypeAlias = tuple[str, str | None]
_number_of = itemgetter(0)
_net_of = itemgetter(1)


def _in_order(keys: Iterable[PinKey], ranks: Mapping[str, int]) -> list[PinKey]:
    """Order (number, net) pairs by number, then net; a lone pad without net is no second pin."""
    pairs = list(keys)
    numbers = set(map(_number_of, pairs))
    if len(numbers) == len(pairs):
        pairs.sort(key=lambda pair: ranks[pair[0]])
        return pairs
    connected = {number for number, net in pairs if net is not None}
    pairs = [pair for pair in pairs if pair[1] is not None or pair[0] not in connected]
    pairs.sort(key=lambda pair: (ranks[pair[0]], pair[1] or ""))
    return pairs


class PartDraft:
    """A part while it is being read; attributes are those of `Part`, and may be set freely."""

    __slots__ = (
        "angle",
        "description",
        "fitted",
        "key",
        "origins",
        "outline",
        "package",
        "pads",
        "pin_facts",
        "place",
        "properties",
        "refdes",
        "sheet",
        "side",
        "value",
        "x",
        "y",
    )

    def __init__(self, refdes: str, place: Place | None) -> None:
        self.refdes = refdes
        self.place = place
        self.key = refdes
        self.value: str | None = None
        self.package: str | None = None
        self.description: str | None = None
        self.fitted: bool | None = None
        self.x: float | None = None
        self.y: float | None = None
        self.angle: float | None = None
        self.side: Side | None = None
        self.outline: tuple[tuple[float, float], ...] = ()
        self.sheet: str | None = None
        self.properties: dict[str, str] = {}
        self.origins: dict[str, Place] = {}
        # (number, net) -> (name, electrical type, place)
        self.pin_facts: dict[
            tuple[str, str | None], tuple[str | None, str | None, Place | None]
        ] = {}
        self.pads: list[PadRecord] = []

    def pin(
        self,
        number: str,
        net: str | None,
        *,
        name: str | None = None,
        electrical_type: str | None = None,
        place: Place | None = None,
    ) -> None:
        """Say that the pin is on the net (None: on no net). Saying it twice adds nothing."""
        key = (number, net or None)
        known = self.pin_facts.get(key)
        if known is None:
            self.pin_facts[key] = (name, electrical_type, place)
        elif known[0] is None or known[1] is None:
            self.pin_facts[key] = (
                known[0] if known[0] is not None else name,
                known[1] if known[1] is not None else electrical_type,
                known[2] if known[2] is not None else place,
            )

    def pad(
        self,
        number: str,
        net: str | None,
        x: float,
        y: float,
        side: Side,
        *,
        shape: str | None = None,
        width: float | None = None,
        height: float | None = None,
        angle: float = 0.0,
        drill: float | None = None,
        plated: bool = True,
        place: Place | None = None,
    ) -> None:
        """Add copper at a place; with a number (and a refdes) it is also a pad of that pin."""
        self.pads.append(
            (number, net, x, y, side, shape, width, height, angle, drill, plated, place)
        )


class BoardBuilder:
    """Collects the facts of one source.

    Args:
        path: the source's path as the user typed it; every Place made here carries it.
        format: name of the format, as in `--format`.
    """

    def __init__(self, path: str, format: str) -> None:  # noqa: A002 - the contract's word
        self.path = path
        self.format = format
        self.version = ""
        self.digest = ""
        self.name = ""
        self.pad_records = 0  # pads as the file counts them, copper or not
        self.via_records = 0
        self.part_records: int | None = None  # where it differs from the number of parts
        self.net_records: int | None = None  # same for nets and pins (sheets that are expanded)
        self.pin_records: int | None = None
        self.parts: list[PartDraft] = []
        self.warnings: list[Warning] = []
        self.conflicts: list[Conflict] = []
        self.sources: list[Source] = []  # given: a merge; else one Source is made here
        self.vias: list[Via] = []
        self.zones: list[Zone] = []
        self.outline: list[tuple[tuple[float, float], ...]] = []
        self.layers: tuple[str, ...] = ()
        self._nets: dict[str, tuple[Place | None, float | None]] = {}
        self._aliases: dict[str, dict[str, None]] = {}

    def part(self, refdes: str, place: Place | None = None) -> PartDraft:
        """Add a part (a new one each time: a repeated refdes is another part)."""
        draft = PartDraft(refdes, place)
        self.parts.append(draft)
        return draft

    def net(
        self,
        name: str,
        *,
        place: Place | None = None,
        aliases: Iterable[str] = (),
        volts: float | None = None,
    ) -> None:
        """Declare a net; needed only for its aliases, volts or place (pins name theirs)."""
        known = self._nets.get(name)
        if known is None:
            self._nets[name] = (place, volts)
        elif known[1] is None and volts is not None:
            self._nets[name] = (known[0], volts)
        if aliases:
            others = self._aliases.setdefault(name, {})
            others.update((alias, None) for alias in aliases if alias != name)

    def net_names(self) -> set[str]:
        """Return the names of the nets met so far, declared or on a pin."""
        names = set(self._nets)
        for draft in self.parts:
            names.update(net for _, net in draft.pin_facts if net is not None)
        return names

    def warn(self, code: str, message: str, place: Place | None = None) -> None:
        """Note something read with care."""
        self.warnings.append(Warning(code, message, place))

    def build(self) -> Board:
        """Check, order and freeze. Net names are shown decoded; the raw name becomes an alias."""
        was_enabled = gc.isenabled()
        gc.disable()  # many small objects, none cyclic: collection only costs here
        try:
            return self._build()
        finally:
            if was_enabled:
                gc.enable()

    def _build(self) -> Board:
        repeated = self._give_keys()
        numbers, raw_names = self._words()
        shown = self._shown_names(raw_names)
        # parts, and pins in each, are frozen in their final order: then the pins of each net
        # come out in order too, and need no sorting of their own
        by_key = {draft.key: draft for draft in self.parts}
        drafts = [by_key[key] for key in natural_sorted(by_key)]
        ranks = {number: rank for rank, number in enumerate(natural_sorted(numbers))}
        pins_of_net: defaultdict[str, list[Pin]] = defaultdict(list)
        parts = _freeze_parts(drafts, shown, ranks, pins_of_net)
        nets = self._freeze_nets(shown, pins_of_net)
        vias, zones = self.vias, self.zones
        if shown:
            vias = [
                msgspec.structs.replace(v, net=shown[v.net]) if v.net in shown else v for v in vias
            ]
            zones = [replace(z, net=shown[z.net]) if z.net in shown else z for z in zones]
        return Board(
            name=self.name,
            parts=tuple(parts),
            nets=tuple(nets.values()),
            sources=tuple(self.sources) or (self._own_source(parts, pins_of_net, repeated),),
            warnings=tuple(self.warnings),
            conflicts=tuple(self.conflicts),
            vias=tuple(vias),
            zones=tuple(zones),
            outline=tuple(self.outline),
            layers=self.layers,
            part_by_key=MappingProxyType({part.key: part for part in parts}),
            net_by_name=MappingProxyType(nets),
        )

    def _words(self) -> tuple[set[str], set[str]]:
        """Return every pin number and every net name as written, "" for a pad without net."""
        facts = list(chain.from_iterable([draft.pin_facts for draft in self.parts]))
        pads = list(chain.from_iterable([draft.pads for draft in self.parts if draft.pads]))
        numbers = {*map(_number_of, facts), *map(_number_of, pads)}
        names = {*map(_net_of, facts), *map(_net_of, pads), *self._nets}
        return numbers, {name for name in names if name is not None}

    def _own_source(
        self, parts: list[Part], pins_of_net: Mapping[str, list[Pin]], repeated: set[str]
    ) -> Source:
        return Source(
            path=self.path,
            format=self.format,
            version=self.version,
            parts=len(parts) if self.part_records is None else self.part_records,
            nets=len(pins_of_net) if self.net_records is None else self.net_records,
            pins=_count_pins(parts, repeated) if self.pin_records is None else self.pin_records,
            pads=self.pad_records,
            vias=self.via_records or len(self.vias),
            digest=self.digest,
        )

    def _give_keys(self) -> set[str]:
        """Give every part its key; return the refdes that several parts bear."""
        taken = {draft.refdes for draft in self.parts}
        if len(taken) == len(self.parts) and "" not in taken:
            for draft in self.parts:
                draft.key = draft.refdes
            return set()
        seen: dict[str, int] = {}
        for draft in self.parts:
            count = seen.get(draft.refdes, 0) + 1
            if count == 1 and draft.refdes:
                seen[draft.refdes] = 1
                draft.key = draft.refdes
                continue
            while (key := f"{draft.refdes}~{count}") in taken:
                count += 1
            taken.add(key)
            seen[draft.refdes] = count
            draft.key = key
        return {refdes for refdes, count in seen.items() if count > 1}

    def _freeze_nets(
        self, shown: Mapping[str, str], pins_of_net: Mapping[str, list[Pin]]
    ) -> dict[str, Net]:
        raws: dict[str, list[str]] = {}  # shown name -> the names in the source that differ
        for raw, name in shown.items():
            raws.setdefault(name, []).append(raw)
        names = {shown.get(raw, raw) for raw in self._nets} if shown else set(self._nets)
        names.update(pins_of_net)
        nets: dict[str, Net] = {}
        declared, aliased = self._nets, self._aliases
        for name in natural_sorted(names):
            place, volts = declared.get(name, _NOTHING_SAID)
            others: tuple[str, ...] = ()
            if name in aliased or name in raws:
                aliases = dict(self._aliases.get(name, {}))
                for raw in raws.get(name, ()):
                    aliases[raw] = None
                    aliases.update(self._aliases.get(raw, {}))
                    where, said = self._nets.get(raw, (None, None))
                    place = place or where
                    volts = said if volts is None else volts
                aliases.pop(name, None)
                others = tuple(aliases)
            nets[name] = Net(name, others, tuple(pins_of_net.get(name, ())), volts, place)
        return nets

    def _shown_names(self, raw_names: set[str]) -> dict[str, str]:
        """Raw name -> shown name, for the names that hold an escape (and do not clash)."""
        shown: dict[str, str] = {}
        used: dict[str, str] = {}
        for raw in sorted([name for name in raw_names if "{" in name]):
            decoded = decode_escapes(raw)
            if decoded == raw:
                continue
            if decoded in raw_names or used.setdefault(decoded, raw) != raw:
                # two nets would become one: keep the raw name
                continue
            shown[raw] = decoded
        return shown


def _count_pins(parts: list[Part], repeated: set[str]) -> int:
    """Return how many distinct pairs of refdes and number are on a net."""
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


def _freeze_parts(
    drafts: Iterable[PartDraft],
    shown: Mapping[str, str],
    ranks: Mapping[str, int],
    pins_of_net: defaultdict[str, list[Pin]],
) -> list[Part]:
    """Freeze the parts in the order given; the pins of each net are added to `pins_of_net`."""
    parts: list[Part] = []
    for draft in drafts:
        key, facts = draft.key, draft.pin_facts
        pads: list[Pad] = []
        pads_of_pin: dict[PinKey, tuple[Pad, ...]] = {}
        if draft.pads:
            pads_of_pin = _freeze_pads(draft, shown, pads)
        pins: list[Pin] = []
        if draft.refdes and (facts or pads_of_pin):
            if shown and facts:
                facts = {
                    (number, shown.get(net, net) if net is not None else None): said
                    for (number, net), said in facts.items()
                }
            keys: Iterable[PinKey] = facts
            if pads_of_pin:
                keys = {**facts, **pads_of_pin} if facts else pads_of_pin
            last = -1
            for number, _ in keys:  # most files give them in order
                rank = ranks[number]
                if rank <= last:
                    keys = _in_order(keys, ranks)
                    break
                last = rank
            for pair in keys:
                number, net = pair
                name, electrical_type, place = facts.get(pair, _NO_FACTS)
                own = _NO_PADS
                if pads_of_pin:
                    own = pads_of_pin.get(pair, _NO_PADS)
                    if place is None and own:
                        place = own[0].place
                pin = Pin(key, number, net, name, electrical_type, own, place)
                pins.append(pin)
                if net is not None:
                    pins_of_net[net].append(pin)
        parts.append(
            Part(
                key, draft.refdes, draft.value, draft.package, draft.description, draft.fitted,
                draft.x, draft.y, draft.angle, draft.side, tuple(pins), tuple(pads),
                draft.outline, draft.sheet,
                MappingProxyType(draft.properties) if draft.properties else EMPTY,
                draft.place,
                MappingProxyType(draft.origins) if draft.origins else NO_ORIGINS,
            )
        )  # fmt: skip
    return parts


def _freeze_pads(
    draft: PartDraft, shown: Mapping[str, str], pads: list[Pad]
) -> dict[PinKey, tuple[Pad, ...]]:
    """Add the draft's pads to `pads`; return those that belong to a pin, by pin."""
    key = draft.key
    pads_of_pin: dict[PinKey, tuple[Pad, ...]] = {}
    for said in draft.pads:
        record = said
        number, net = record[0], record[1]
        if net is not None and (not net or net in shown):
            net = shown.get(net)
            record = (number, net, *record[2:])
        pad = Pad(key, *record)
        pads.append(pad)
        if number and pad.plated:
            pair = (number, net)
            known = pads_of_pin.get(pair)
            pads_of_pin[pair] = (pad,) if known is None else (*known, pad)
    return pads_of_pin
