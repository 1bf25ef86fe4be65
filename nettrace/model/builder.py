"""The one mutable object of the model: readers push facts, `build` checks, orders and freezes.

A reader pushes strings and numbers as they stand in the file, each with its Place; nothing here
interprets them. What is missing stays missing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import TypeAlias

import msgspec

from nettrace.collector import collector_off
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
    Statement,
    Via,
    Zone,
)
from nettrace.model.fitted import is_fitted
from nettrace.model.names import decode_escapes, natural_key

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


class PartDraft(msgspec.Struct, gc=False, eq=False):
    """A part while it is being read; attributes are those of `Part`, and may be set freely."""

    refdes: str
    place: Place | None
    key: str = ""  # given when the board is built
    value: str | None = None
    package: str | None = None
    description: str | None = None
    fitted: bool | None = None
    x: float | None = None
    y: float | None = None
    angle: float | None = None
    side: Side | None = None
    outline: tuple[tuple[float, float], ...] = ()
    sheet: str | None = None
    properties: dict[str, str] = {}
    origins: dict[str, Place] = {}
    pin_facts: dict[PinKey, PinFact] = {}
    pads: list[PadRecord] = []

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
            (number, net or None, x, y, side, shape, width, height, angle, drill, plated, place)
        )


class BoardBuilder:
    """Collects the facts of one source.

    Args:
        path: the source's path as the user typed it; every Place made here carries it.
        format: name of the format, as in `--format`.
    """

    def __init__(self, path: str, format: str) -> None:  # noqa: A002 - the word that users type
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

    def note_pin_conflicts(self, refdes: str, pins: Iterable[tuple[str, str, Place]]) -> None:
        """Add a warning and a Conflict for every pin number that stands on more than one net.

        Args:
            refdes: the part.
            pins: (number, net, place) in the order of the file; the same pair may repeat.
        """
        said: dict[str, dict[str, Place]] = {}
        for number, net, place in pins:
            said.setdefault(number, {}).setdefault(net, place)
        for number, nets in said.items():
            if len(nets) < 2:
                continue
            subject = f"{refdes}.{number}"
            statements = tuple(Statement(f"on {net}", place) for net, place in nets.items())
            self.conflicts.append(
                Conflict("pin-on-two-nets", subject, statements, "both, as two pins of one number")
            )
            where = " and ".join(f"on {net} ({place})" for net, place in nets.items())
            self.warn("pin-on-two-nets", f"{subject} is {where}", list(nets.values())[-1])

    def build(self) -> Board:
        """Check, order and freeze. Net names are shown decoded; the raw name becomes an alias."""
        with collector_off():
            return self._build()

    def _build(self) -> Board:
        self._finish_drafts()
        by_key = {draft.key: draft for draft in self.parts}
        # in their final order, so that the pins of each net are found in order too
        drafts = [by_key[key] for key in sorted(by_key, key=natural_key)]
        parts, pins = _frozen(drafts, {})
        shown = self._shown_names(parts, pins)
        if shown:  # seldom: names hold escapes
            parts, pins = _frozen(drafts, shown)
        nets = self._nets_of(shown, pins)
        vias, zones = self.vias, self.zones
        if shown:
            vias = [
                msgspec.structs.replace(v, net=shown[v.net]) if v.net in shown else v for v in vias
            ]
            zones = [replace(z, net=shown[z.net]) if z.net in shown else z for z in zones]
        return Board(
            name=self.name,
            parts=parts,
            nets=tuple(nets.values()),
            sources=tuple(self.sources) or (self._own_source(parts, len(pins)),),
            warnings=tuple(self.warnings),
            conflicts=tuple(self.conflicts),
            vias=tuple(vias),
            zones=tuple(zones),
            outline=tuple(self.outline),
            layers=self.layers,
            part_by_key=MappingProxyType({part.key: part for part in parts}),
            net_by_name=MappingProxyType(nets),
        )

    def _own_source(self, parts: tuple[Part, ...], nets: int) -> Source:
        pins = self.pin_records
        if pins is None:  # parts that share a refdes share its pins too
            pins = len(
                {(part.refdes, pin.number) for part in parts for pin in part.pins if pin.net}
            )
        return Source(
            path=self.path,
            format=self.format,
            version=self.version,
            parts=len(parts) if self.part_records is None else self.part_records,
            nets=nets if self.net_records is None else self.net_records,
            pins=pins,
            pads=self.pad_records,
            vias=self.via_records or len(self.vias),
            digest=self.digest,
        )

    def _finish_drafts(self) -> None:
        """Give every part its key, and say whether it is fitted where its texts tell."""
        is_merge = bool(self.sources)  # the sources' parts have been asked
        taken = {draft.refdes for draft in self.parts}
        seen: dict[str, int] = {}
        for draft in self.parts:
            if draft.fitted is None and not is_merge:
                draft.fitted = is_fitted(draft.value, draft.description, draft.properties)
            refdes = draft.refdes
            if refdes and refdes not in seen:
                seen[refdes] = 1
                draft.key = refdes
                continue
            count = seen.get(refdes, 0) + 1
            while (key := f"{refdes}~{count}") in taken:
                count += 1
            taken.add(key)
            seen[refdes] = count
            draft.key = key

    def _nets_of(self, shown: Mapping[str, str], pins: Mapping[str, list[Pin]]) -> dict[str, Net]:
        """Return the nets that are declared or have pins, by shown name, in natural order."""
        raws: dict[str, list[str]] = {}  # shown name -> the names in the source that differ
        for raw, name in shown.items():
            raws.setdefault(name, []).append(raw)
        nets: dict[str, Net] = {}
        for name in sorted({*(shown.get(raw, raw) for raw in self._nets), *pins}, key=natural_key):
            place, volts = self._nets.get(name, (None, None))
            aliases = tuple(self._aliases.get(name, ()))
            for raw in raws.get(name, ()):
                others = dict.fromkeys([*aliases, raw, *self._aliases.get(raw, ())])
                aliases = tuple([alias for alias in others if alias != name])
                where, stated = self._nets.get(raw, (None, None))
                place = place or where
                volts = stated if volts is None else volts
            nets[name] = Net(name, aliases, tuple(pins.get(name, ())), volts, place)
        return nets

    def _shown_names(self, parts: tuple[Part, ...], pins: Iterable[str]) -> dict[str, str]:
        """Raw name -> shown name, for the names that hold an escape (and do not clash)."""
        raw_names = {*self._nets, *pins}
        raw_names.update([pad.net for part in parts for pad in part.pads if pad.net is not None])
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


def _frozen(
    drafts: list[PartDraft], shown: Mapping[str, str]
) -> tuple[tuple[Part, ...], dict[str, list[Pin]]]:
    """Return the parts, and the pins of each net, with net names as they are shown.

    The pins of a part are those that facts name and those that its pads are of.
    """
    order = _PinOrder()
    parts: list[Part] = []
    pins_of: defaultdict[str, list[Pin]] = defaultdict(list)
    for draft in drafts:
        key, facts, records = draft.key, draft.pin_facts, draft.pads
        if shown:
            facts = {(n, shown.get(net, net) if net else net): f for (n, net), f in facts.items()}
            records = [(r[0], shown.get(r[1], r[1]) if r[1] else None, *r[2:]) for r in records]
        pads = tuple([Pad(key, *record) for record in records])
        pads_of: dict[PinKey, list[Pad]] = {}
        for pad in pads:
            if pad.number and pad.plated:
                pads_of.setdefault((pad.number, pad.net), []).append(pad)
        if pads_of:
            facts = {**dict.fromkeys(pads_of, _NO_FACTS), **facts}
        pins: list[Pin] = []
        for (number, net), (name, electrical_type, place) in (
            order.of(facts) if draft.refdes else ()
        ):
            own = tuple(pads_of.get((number, net), ())) if pads_of else ()
            where = own[0].place if place is None and own else place
            pin = Pin(key, number, net, name, electrical_type, own, where)
            pins.append(pin)
            if net is not None:
                pins_of[net].append(pin)
        parts.append(Part(
            key, draft.refdes, draft.value, draft.package, draft.description,
            draft.fitted, draft.x, draft.y, draft.angle, draft.side,
            tuple(pins), pads, draft.outline, draft.sheet,
            MappingProxyType(draft.properties) if draft.properties else EMPTY,
            draft.place,
            MappingProxyType(draft.origins) if draft.origins else NO_ORIGINS,
        ))  # fmt: skip
    return tuple(parts), pins_of


class _PinOrder(dict[str, tuple[tuple[str | int, ...], str]]):
    """The natural order of pin numbers; each number's key is made once."""

    def __init__(self) -> None:
        self.in_order: set[tuple[str, ...]] = set()  # numbers of parts that stand in order

    def __missing__(self, number: str) -> tuple[tuple[str | int, ...], str]:
        key = self[number] = natural_key(number)
        return key

    def of(self, facts: Mapping[PinKey, PinFact]) -> Collection[tuple[PinKey, PinFact]]:
        """Order pins by number, then net; a number without net is no pin beside one with a net."""
        numbers = tuple([number for number, _ in facts])
        items = facts.items()
        if len(numbers) < 2 or numbers in self.in_order:
            return items
        if len({*numbers}) == len(numbers):
            ordered = sorted(items, key=lambda item: self[item[0][0]])
            if numbers == tuple([number for (number, _), _ in ordered]):
                self.in_order.add(numbers)
            return ordered
        connected = {number for number, net in facts if net is not None}
        kept = [item for item in items if item[0][1] is not None or item[0][0] not in connected]
        return sorted(kept, key=lambda item: (self[item[0][0]], item[0][1] or ""))
