"""The one mutable object of the model: readers push facts, `build` checks, orders and freezes.

A reader pushes strings and numbers as they stand in the file, each with its Place; nothing here
interprets them. What is missing stays missing.
"""

from __future__ import annotations

import gc
from collections.abc import Iterable, Mapping
from types import MappingProxyType

from nettrace.errors import Place, Warning
from nettrace.model.board import (
    EMPTY,
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
from nettrace.model.names import decode_escapes, natural_key

__all__ = ["BoardBuilder", "PartDraft"]


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
        # pads as tuples in the order of Pad's fields after `part`
        self.pads: list[
            tuple[
                str, str | None, float, float, Side, str | None, float | None, float | None,
                float, float | None, bool, Place | None,
            ]
        ] = []  # fmt: skip

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
        key = (number, net)
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
        self._give_keys()
        shown = self._shown_names()
        pins_of_net: dict[str, list[Pin]] = {}
        parts = [self._freeze_part(draft, shown, pins_of_net) for draft in self.parts]
        parts.sort(key=lambda part: natural_key(part.key))
        part_rank = {part.key: rank for rank, part in enumerate(parts)}
        nets: dict[str, Net] = {}
        names = dict.fromkeys(shown.get(raw, raw) for raw in self._nets)
        names.update(dict.fromkeys(pins_of_net))
        raws: dict[str, list[str]] = {}
        for raw in self._nets:
            raws.setdefault(shown.get(raw, raw), []).append(raw)
        for raw, name in shown.items():
            if raw not in self._nets:
                raws.setdefault(name, []).append(raw)
        for name in sorted(names, key=natural_key):
            pins = pins_of_net.get(name, [])
            pins.sort(key=lambda pin: (part_rank[pin.part], natural_key(pin.number)))
            aliases: dict[str, None] = {}
            place: Place | None = None
            volts: float | None = None
            for raw in raws.get(name, [name]):
                if raw != name:
                    aliases[raw] = None
                aliases.update(self._aliases.get(raw, {}))
                where, said = self._nets.get(raw, (None, None))
                place = place or where
                volts = said if volts is None else volts
            aliases.pop(name, None)
            nets[name] = Net(name, tuple(aliases), tuple(pins), volts, place)
        by_key = MappingProxyType({part.key: part for part in parts})
        board = Board(
            name=self.name,
            parts=tuple(parts),
            nets=tuple(nets.values()),
            sources=tuple(self.sources),
            warnings=tuple(self.warnings),
            conflicts=tuple(self.conflicts),
            vias=tuple(self.vias),
            zones=tuple(self.zones),
            outline=tuple(self.outline),
            layers=self.layers,
            part_by_key=by_key,
            net_by_name=MappingProxyType(nets),
        )
        if self.sources:
            return board
        return self._with_own_source(board)

    def _with_own_source(self, board: Board) -> Board:
        from dataclasses import replace

        counts = board.counts()
        source = Source(
            path=self.path,
            format=self.format,
            version=self.version,
            parts=counts.parts if self.part_records is None else self.part_records,
            nets=counts.nets,
            pins=counts.pins,
            pads=self.pad_records,
            vias=self.via_records or len(self.vias),
            digest=self.digest,
        )
        return replace(board, sources=(source,))

    def _give_keys(self) -> None:
        taken = {draft.refdes for draft in self.parts}
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

    def _shown_names(self) -> dict[str, str]:
        """Raw name -> shown name, for the names that hold an escape (and do not clash)."""
        raw_names = set(self._nets)
        for draft in self.parts:
            raw_names.update(net for _, net in draft.pin_facts if net is not None)
            raw_names.update(pad[1] for pad in draft.pads if pad[1] is not None)
        shown: dict[str, str] = {}
        used: dict[str, str] = {}
        for raw in sorted(name for name in raw_names if "{" in name):
            decoded = decode_escapes(raw)
            if decoded == raw:
                continue
            if decoded in raw_names or used.setdefault(decoded, raw) != raw:
                # two nets would become one: keep the raw name
                continue
            shown[raw] = decoded
        return shown

    def _freeze_part(
        self, draft: PartDraft, shown: Mapping[str, str], pins_of_net: dict[str, list[Pin]]
    ) -> Part:
        key = draft.key
        pads: list[Pad] = []
        pads_of_pin: dict[tuple[str, str | None], list[Pad]] = {}
        for number, raw, *rest in draft.pads:
            net = shown.get(raw, raw) if raw else None
            pad = Pad(key, number, net, *rest)  # type: ignore[arg-type]
            pads.append(pad)
            if number and draft.refdes and pad.plated:
                pads_of_pin.setdefault((number, net), []).append(pad)
        pins: list[Pin] = []
        if draft.refdes:
            facts = {
                (number, (shown.get(net, net) if net else None)): said
                for (number, net), said in draft.pin_facts.items()
            }
            keys = dict.fromkeys(facts)
            keys.update(dict.fromkeys(pads_of_pin))
            connected = {number for number, net in keys if net is not None}
            for number, net in keys:
                own = pads_of_pin.get((number, net), [])
                if net is None and number in connected:
                    # a pad without net beside connected ones of the same pin: no pin of its own
                    continue
                name, electrical_type, place = facts.get((number, net), (None, None, None))
                if place is None and own:
                    place = own[0].place
                pin = Pin(key, number, net, name, electrical_type, tuple(own), place)
                pins.append(pin)
                if net is not None:
                    pins_of_net.setdefault(net, []).append(pin)
            pins.sort(key=lambda pin: (natural_key(pin.number), pin.net or ""))
        return Part(
            key=key,
            refdes=draft.refdes,
            value=draft.value,
            package=draft.package,
            description=draft.description,
            fitted=draft.fitted,
            x=draft.x,
            y=draft.y,
            angle=draft.angle,
            side=draft.side,
            pins=tuple(pins),
            pads=tuple(pads),
            outline=draft.outline,
            sheet=draft.sheet,
            properties=MappingProxyType(draft.properties) if draft.properties else EMPTY,
            place=draft.place,
            origins=MappingProxyType(draft.origins) if draft.origins else MappingProxyType({}),
        )
