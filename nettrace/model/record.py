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
    Statement,
    Via,
    Zone,
)
from nettrace.model.names import natural_key

__all__ = ["BoardRecord", "board_of", "record_of"]


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


class WarningRecord(msgspec.Struct, frozen=True):
    """A warning that a source gave."""

    code: str
    message: str
    place: Place | None


class StatementRecord(msgspec.Struct, frozen=True):
    """One side of a conflict."""

    what: str
    place: Place


class ConflictRecord(msgspec.Struct, frozen=True):
    """Two sources that disagree."""

    code: str
    subject: str
    statements: tuple[StatementRecord, ...]
    kept: str


class SourceRecord(msgspec.Struct, frozen=True):
    """A file that was read."""

    path: str
    format: str
    version: str
    parts: int
    nets: int
    pins: int
    pads: int
    vias: int
    digest: str


class BoardRecord(msgspec.Struct, frozen=True):
    """A whole board."""

    name: str
    parts: tuple[PartRecord, ...]
    nets: tuple[NetRecord, ...]
    sources: tuple[SourceRecord, ...] = ()
    warnings: tuple[WarningRecord, ...] = ()
    conflicts: tuple[ConflictRecord, ...] = ()
    vias: tuple[tuple[float, float, str | None, float | None, float | None], ...] = ()
    zones: tuple[tuple[str | None, str, tuple[float, float, float, float] | None], ...] = ()
    outline: tuple[tuple[tuple[float, float], ...], ...] = ()
    layers: tuple[str, ...] = ()


def record_of(board: Board) -> BoardRecord:
    """Return the record of a board; `board_of` gives the same board back."""
    return BoardRecord(
        name=board.name,
        parts=tuple(_part_record(part) for part in board.parts),
        nets=tuple(NetRecord(net.name, net.aliases, net.volts, net.place) for net in board.nets),
        sources=tuple(
            SourceRecord(
                source.path, source.format, source.version, source.parts, source.nets,
                source.pins, source.pads, source.vias, source.digest,
            )
            for source in board.sources
        ),
        warnings=tuple(WarningRecord(w.code, w.message, w.place) for w in board.warnings),
        conflicts=tuple(
            ConflictRecord(
                c.code,
                c.subject,
                tuple(StatementRecord(s.what, s.place) for s in c.statements),
                c.kept,
            )
            for c in board.conflicts
        ),
        vias=tuple((via.x, via.y, via.net, via.diameter, via.drill) for via in board.vias),
        zones=tuple((zone.net, zone.layer, zone.box) for zone in board.zones),
        outline=board.outline,
        layers=board.layers,
    )  # fmt: skip


def _part_record(part: Part) -> PartRecord:
    index = {id(pad): number for number, pad in enumerate(part.pads)}
    return PartRecord(
        key=part.key,
        refdes=part.refdes,
        value=part.value,
        package=part.package,
        description=part.description,
        fitted=part.fitted,
        x=part.x,
        y=part.y,
        angle=part.angle,
        side=part.side,
        pins=tuple(
            PinRecord(
                pin.number, pin.net, pin.name, pin.electrical_type,
                tuple(index[id(pad)] for pad in pin.pads), pin.place,
            )
            for pin in part.pins
        ),
        pads=tuple(
            PadRecord(
                pad.number, pad.net, pad.x, pad.y, pad.side, pad.shape, pad.width, pad.height,
                pad.angle, pad.drill, pad.plated, pad.place,
            )
            for pad in part.pads
        ),
        outline=part.outline,
        sheet=part.sheet,
        properties=dict(part.properties),
        place=part.place,
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
        sources=tuple(
            Source(s.path, s.format, s.version, s.parts, s.nets, s.pins, s.pads, s.vias, s.digest)
            for s in record.sources
        ),
        warnings=tuple(Warning(w.code, w.message, w.place) for w in record.warnings),
        conflicts=tuple(
            Conflict(
                c.code,
                c.subject,
                tuple(Statement(s.what, s.place) for s in c.statements),
                c.kept,
            )
            for c in record.conflicts
        ),
        vias=tuple(Via(*via) for via in record.vias),
        zones=tuple(Zone(*zone) for zone in record.zones),
        outline=record.outline,
        layers=record.layers,
        part_by_key=MappingProxyType(by_key),
        net_by_name=MappingProxyType(nets),
    )


def _part(entry: PartRecord) -> Part:
    pads = tuple(
        Pad(
            entry.key, pad.number, pad.net, pad.x, pad.y, pad.side, pad.shape, pad.width,
            pad.height, pad.angle, pad.drill, pad.plated, pad.place,
        )
        for pad in entry.pads
    )  # fmt: skip
    pins = []
    for pin in entry.pins:
        if any(not 0 <= index < len(pads) for index in pin.pads):
            raise ValueError(f"pin {entry.key}.{pin.number} names a pad that is not there")
        own = tuple(pads[index] for index in pin.pads)
        pins.append(
            Pin(entry.key, pin.number, pin.net, pin.name, pin.electrical_type, own, pin.place)
        )
    return Part(
        key=entry.key,
        refdes=entry.refdes,
        value=entry.value,
        package=entry.package,
        description=entry.description,
        fitted=entry.fitted,
        x=entry.x,
        y=entry.y,
        angle=entry.angle,
        side=entry.side,
        copper=(tuple(pins), pads),
        outline=entry.outline,
        sheet=entry.sheet,
        properties=MappingProxyType(entry.properties) if entry.properties else EMPTY,
        place=entry.place,
        origins=MappingProxyType(entry.origins),
    )
