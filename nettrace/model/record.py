"""The lossless record of a Board: what JSON and the cache hold, and the way back.

Records are msgspec structs, so that a damaged one is refused with the path of the fault. A pin
names its pads by index, a net its pins not at all: both are rebuilt, so no two parts of a record
can disagree.
"""

from __future__ import annotations

from types import MappingProxyType

import msgspec

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
from nettrace.model.names import natural_key


class PadRecord(msgspec.Struct, array_like=True, frozen=True):
    """A pad; field order is the order in the array."""

    number: str
    net: str | None
    x: float
    y: float
    side: Side
    shape: str | None
    width: float | None
    height: float | None
    angle: float
    drill: float | None
    plated: bool
    place: Place | None


class PinRecord(msgspec.Struct, array_like=True, frozen=True):
    """A pin; `pads` are indexes into the part's pads."""

    number: str
    net: str | None
    name: str | None
    electrical_type: str | None
    pads: tuple[int, ...]
    place: Place | None


class PartRecord(msgspec.Struct, frozen=True, omit_defaults=True):
    """A part with its pins and pads."""

    key: str
    refdes: str
    value: str | None = None
    package: str | None = None
    description: str | None = None
    fitted: bool | None = None
    x: float | None = None
    y: float | None = None
    angle: float | None = None
    side: Side | None = None
    pins: tuple[PinRecord, ...] = ()
    pads: tuple[PadRecord, ...] = ()
    outline: tuple[tuple[float, float], ...] = ()
    sheet: str | None = None
    properties: dict[str, str] = {}
    place: Place | None = None
    origins: dict[str, Place] = {}


class NetRecord(msgspec.Struct, frozen=True, omit_defaults=True):
    """A net without its pins, which name it."""

    name: str
    aliases: tuple[str, ...] = ()
    volts: float | None = None
    place: Place | None = None


class BoardRecord(msgspec.Struct, frozen=True):
    """A whole board."""

    name: str
    parts: tuple[PartRecord, ...]
    nets: tuple[NetRecord, ...]
    sources: tuple[Source, ...] = ()
    warnings: tuple[Warning, ...] = ()
    conflicts: tuple[Conflict, ...] = ()
    vias: tuple[tuple[float, float, str | None, float | None, float | None], ...] = ()
    zones: tuple[tuple[str | None, str, tuple[float, float, float, float] | None], ...] = ()
    outline: tuple[tuple[tuple[float, float], ...], ...] = ()
    layers: tuple[str, ...] = ()


#: Fields that a part and its record have alike.
_ALIKE = tuple(
    name
    for name in PartRecord.__struct_fields__
    if name not in {"pins", "pads", "properties", "origins"}
)


def record_of(board: Board) -> BoardRecord:
    """Return the record of a board; `board_of` gives the same board back."""
    return BoardRecord(
        name=board.name,
        parts=tuple(_part_record(part) for part in board.parts),
        nets=tuple(NetRecord(net.name, net.aliases, net.volts, net.place) for net in board.nets),
        sources=board.sources,
        warnings=board.warnings,
        conflicts=board.conflicts,
        vias=tuple((via.x, via.y, via.net, via.diameter, via.drill) for via in board.vias),
        zones=tuple((zone.net, zone.layer, zone.box) for zone in board.zones),
        outline=board.outline,
        layers=board.layers,
    )


def _part_record(part: Part) -> PartRecord:
    index = {id(pad): number for number, pad in enumerate(part.pads)}
    return PartRecord(
        **{name: getattr(part, name) for name in _ALIKE},
        pins=tuple(
            PinRecord(
                pin.number, pin.net, pin.name, pin.electrical_type,
                tuple(index[id(pad)] for pad in pin.pads), pin.place,
            )
            for pin in part.pins
        ),
        pads=tuple(PadRecord(*msgspec.structs.astuple(pad)[1:]) for pad in part.pads),
        properties=dict(part.properties),
        origins=dict(part.origins),
    )  # fmt: skip


def board_of(record: BoardRecord) -> Board:
    """Return the board of a record.

    Raises:
        ValueError: a pin names a pad or a net that the record does not hold, or a key repeats.
    """
    parts = tuple(_part(entry) for entry in record.parts)
    by_key = {part.key: part for part in parts}
    if len(by_key) != len(parts):
        raise ValueError("two parts have one key")
    pins: dict[str, list[Pin]] = {net.name: [] for net in record.nets}
    if len(pins) != len(record.nets):
        raise ValueError("two nets have one name")
    for part in parts:
        for pin in part.pins:
            if pin.net is not None:
                if pin.net not in pins:
                    raise ValueError(f"pin {pin} is on {pin.net!r}, which is not among the nets")
                pins[pin.net].append(pin)
    rank = {part.key: number for number, part in enumerate(parts)}
    nets = {}
    for net in record.nets:
        own = pins[net.name]
        own.sort(key=lambda pin: (rank[pin.part], natural_key(pin.number)))
        nets[net.name] = Net(net.name, net.aliases, tuple(own), net.volts, net.place)
    return Board(
        name=record.name,
        parts=parts,
        nets=tuple(nets.values()),
        sources=record.sources,
        warnings=record.warnings,
        conflicts=record.conflicts,
        vias=tuple(Via(*via) for via in record.vias),
        zones=tuple(Zone(*zone) for zone in record.zones),
        outline=record.outline,
        layers=record.layers,
        part_by_key=MappingProxyType(by_key),
        net_by_name=MappingProxyType(nets),
    )


def _part(entry: PartRecord) -> Part:
    pads = tuple(Pad(entry.key, *msgspec.structs.astuple(pad)) for pad in entry.pads)
    pins = []
    for pin in entry.pins:
        if any(not 0 <= index < len(pads) for index in pin.pads):
            raise ValueError(f"pin {entry.key}.{pin.number} names a pad that is not there")
        own = tuple(pads[index] for index in pin.pads)
        pins.append(
            Pin(entry.key, pin.number, pin.net, pin.name, pin.electrical_type, own, pin.place)
        )
    return Part(
        **{name: getattr(entry, name) for name in _ALIKE},
        pins=tuple(pins),
        pads=pads,
        properties=MappingProxyType(entry.properties) if entry.properties else EMPTY,
        origins=MappingProxyType(entry.origins),
    )
