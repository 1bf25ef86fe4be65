"""The one mutable object of the model: readers push facts, `build` checks, orders and freezes.

A reader pushes strings and numbers as they stand in the file, each with its Place; nothing here
interprets them. What is missing stays missing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import chain, repeat
from operator import attrgetter, itemgetter
from types import MappingProxyType
from typing import cast

import msgspec

from nettrace.collector import collector_off
from nettrace.errors import Place, Warning
from nettrace.model.board import Board, Conflict, Net, Pad, Part, Side, Source, Statement, Via, Zone
from nettrace.model.copper import Joints
from nettrace.model.fitted import is_fitted
from nettrace.model.freezing import PadRecord, PinFact, PinKey, Tally, freeze_parts
from nettrace.model.names import decode_escapes, natural_sorted

__all__ = ["BoardBuilder", "PadRecord", "PartDraft"]

_NO_PADS: tuple[Pad, ...] = ()
_NOTHING_SAID: tuple[Place | None, float | None] = (None, None)

_net_of = itemgetter(1)
_key_of = attrgetter("key")
_place_of = itemgetter(0)  # of what is said of a net: place, volts
_volts_of = itemgetter(1)


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

    def nets(self) -> Iterable[str | None]:
        """Return the net of each pin, None for one on no net; of pads it says nothing."""
        return map(_net_of, self.pin_facts)

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
        #: Parts that the reader could freeze itself: with a refdes, each pin's number once, the
        #: pins in natural order. Where keys or names must change they are drafted after all.
        self.frozen: list[Part] = []
        self.frozen_nets: list[str | None] = []  # of each of their pins
        self._frozen_before: list[int] = []  # how many of them, for each of `parts`
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
        self._frozen_before.append(len(self.frozen))
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
            names.update(net for net in draft.nets() if net is not None)
        names.update(net for net in self.frozen_nets if net is not None)
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
        if not self.sources:  # of a merge, the sources' parts have it
            for draft in self.parts:
                if draft.fitted is None:
                    draft.fitted = is_fitted(draft.value, draft.description, draft.properties)
        repeated = self._give_keys()
        tally = Tally(repeated)
        tally.add_frozen(self.frozen_nets)
        if self.frozen and any("{" in name for name in tally.nets):
            self.thaw()
            tally = Tally(repeated)
        tally.add_drafts(self.parts)
        shown = self._shown_names(self._raw_names(tally.nets))
        if self.frozen and shown:
            self.thaw()
        # parts are frozen in their final order, so that the pins of each net are found in order too
        by_key: dict[str, PartDraft | Part] = {draft.key: draft for draft in self.parts}
        by_key.update(zip(map(_key_of, self.frozen), self.frozen, strict=True))
        parts = freeze_parts(map(by_key.__getitem__, natural_sorted(by_key)), shown)
        if shown:
            tally.nets = {shown.get(net, net) for net in tally.nets}
        nets = self._freeze_nets(shown, tally.nets, Joints(parts))
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
            sources=tuple(self.sources) or (self._own_source(parts, tally),),
            warnings=tuple(self.warnings),
            conflicts=tuple(self.conflicts),
            vias=tuple(vias),
            zones=tuple(zones),
            outline=tuple(self.outline),
            layers=self.layers,
            part_by_key=MappingProxyType({part.key: part for part in parts}),
            net_by_name=MappingProxyType(nets),
        )

    def thaw(self) -> None:
        """Draft the frozen parts after all, each in its place: something of them must change."""
        if not self.frozen:
            return
        drafts: list[PartDraft] = []
        at = 0
        for draft, before in zip(
            [*self.parts, None], [*self._frozen_before, len(self.frozen)], strict=True
        ):
            drafts += map(_drafted, self.frozen[at:before])
            at = before
            if draft is not None:
                drafts.append(draft)
        self.parts, self._frozen_before = drafts, [0] * len(drafts)
        self.frozen, self.frozen_nets = [], []

    def _raw_names(self, on_pins: set[str]) -> set[str]:
        """Return every net name as written, "" for a pad without net."""
        names: set[str | None] = {*self._nets, *on_pins}
        names.update(map(_net_of, chain.from_iterable([d.pads for d in self.parts if d.pads])))
        names.discard(None)
        return cast("set[str]", names)

    def _own_source(self, parts: list[Part], tally: Tally) -> Source:
        return Source(
            path=self.path,
            format=self.format,
            version=self.version,
            parts=len(parts) if self.part_records is None else self.part_records,
            nets=len(tally.nets) if self.net_records is None else self.net_records,
            pins=tally.count if self.pin_records is None else self.pin_records,
            pads=self.pad_records,
            vias=self.via_records or len(self.vias),
            digest=self.digest,
        )

    def _give_keys(self) -> set[str]:
        """Give every part its key; return the refdes that several parts bear."""
        taken = {draft.refdes for draft in self.parts}
        frozen = set(map(_key_of, self.frozen))
        if "" in frozen or len(frozen) < len(self.frozen) or not taken.isdisjoint(frozen):
            self.thaw()
        taken |= frozen
        if len(taken) == len(self.parts) + len(self.frozen) and "" not in taken:
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
        self, shown: Mapping[str, str], on_pins: Iterable[str], joints: Joints
    ) -> dict[str, Net]:
        declared, aliased = self._nets, self._aliases
        names = {shown.get(raw, raw) for raw in declared} if shown else set(declared)
        names.update(on_pins)
        ordered = natural_sorted(names)
        said = list(map(declared.get, ordered, repeat(_NOTHING_SAID)))
        made = map(
            Net, ordered, repeat(()), repeat(joints), map(_volts_of, said), map(_place_of, said)
        )
        nets = dict(zip(ordered, made, strict=True))
        raws: dict[str, list[str]] = {}  # shown name -> the names in the source that differ
        for raw, name in shown.items():
            raws.setdefault(name, []).append(raw)
        for name in {*aliased, *raws} & names:
            net = nets[name]
            place, volts = net.place, net.volts
            aliases = dict(aliased.get(name, {}))
            for raw in raws.get(name, ()):
                aliases[raw] = None
                aliases.update(aliased.get(raw, {}))
                where, stated = declared.get(raw, _NOTHING_SAID)
                place = place or where
                volts = stated if volts is None else volts
            aliases.pop(name, None)
            nets[name] = Net(name, tuple(aliases), joints, volts, place)
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


def _drafted(part: Part) -> PartDraft:
    facts = {(pin.number, pin.net): (pin.name, pin.electrical_type, pin.place) for pin in part.pins}
    return PartDraft(
        part.refdes, part.place, part.key, part.value, part.package, part.description, part.fitted,
        part.x, part.y, part.angle, part.side, part.outline, part.sheet, dict(part.properties), {},
        facts, [msgspec.structs.astuple(pad)[1:] for pad in part.pads],
    )  # fmt: skip
