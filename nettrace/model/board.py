"""The board: parts, pins, pads and nets as the sources state them, all frozen.

The records of which a board has tens of thousands are msgspec structs: a frozen dataclass takes
three to five times as long to make. Hold no cycle: the collector does not look into them.

Identity. A part is its `key`: the refdes where that is unique, else the refdes with `~2`, `~3` in
the order of the file (a blank refdes gives `~1`, `~2`). A pin is (part key, number, net): one pin
may be many pads, and a source that cuts names may give one number on two nets, which stay apart.
Only a part with a refdes has pins, and only a pad with a number belongs to one; the other copper
(stitching, shields without a number) is kept as pads of the part.

Units: millimetres, seen from the top, x right, y up, the file's own origin; degrees
counter-clockwise.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType

import msgspec

from nettrace.errors import Place, Warning

#: The one empty mapping that facts share.
EMPTY: Mapping[str, str] = MappingProxyType({})
#: What a part of one source has as `origins`.
NO_ORIGINS: Mapping[str, Place] = MappingProxyType({})
_NO_PARTS: Mapping[str, Part] = MappingProxyType({})
_NO_NETS: Mapping[str, Net] = MappingProxyType({})


class Side(StrEnum):
    """Where copper is: one side, or both (a plated hole)."""

    TOP = "top"
    BOTTOM = "bottom"
    BOTH = "both"

    def faces(self, side: Side | None) -> bool:
        """Return whether copper here can be touched from `side` (None: from anywhere)."""
        return side is None or self is Side.BOTH or side is Side.BOTH or self is side


class Pad(msgspec.Struct, frozen=True, gc=False):
    """A piece of copper with a place. `number` is "" and `net` None where the file has none."""

    part: str
    number: str
    net: str | None
    x: float
    y: float
    side: Side
    shape: str | None = None  # rect, circle, oval, roundrect, trapezoid, custom
    width: float | None = None
    height: float | None = None
    angle: float = 0.0  # of the pad itself, absolute
    drill: float | None = None
    plated: bool = True
    place: Place | None = None


class Pin(msgspec.Struct, frozen=True, gc=False):
    """A terminal of a part: its number, its function name, its net and its pads."""

    part: str
    number: str
    net: str | None
    name: str | None = None
    electrical_type: str | None = None  # as the source writes it: input, power_in, passive...
    pads: tuple[Pad, ...] = ()
    place: Place | None = None

    @property
    def x(self) -> float | None:
        """Place of the first pad, mm; None where the source has no places."""
        return self.pads[0].x if self.pads else None

    @property
    def y(self) -> float | None:
        """Place of the first pad, mm; None where the source has no places."""
        return self.pads[0].y if self.pads else None

    @property
    def side(self) -> Side | None:
        """Side of the first pad."""
        return self.pads[0].side if self.pads else None

    def __str__(self) -> str:
        return f"{self.part}.{self.number}"


class Part(msgspec.Struct, frozen=True, gc=False):
    """One part of the board, as the sources describe it.

    `pins` stand in natural order, `pads` in the order of the source. `properties` holds every
    further field of the source (names as written). `origins` names the place of a fact that came
    from elsewhere than `place` (after a merge).
    """

    key: str
    refdes: str
    value: str | None = None
    package: str | None = None
    description: str | None = None
    fitted: bool | None = None  # None: no source says
    x: float | None = None
    y: float | None = None
    angle: float | None = None
    side: Side | None = None
    pins: tuple[Pin, ...] = ()
    pads: tuple[Pad, ...] = ()
    outline: tuple[tuple[float, float], ...] = ()  # courtyard or body corners, board millimetres
    sheet: str | None = None  # path of the schematic sheet, where known
    properties: Mapping[str, str] = EMPTY
    place: Place | None = None
    origins: Mapping[str, Place] = NO_ORIGINS

    def __hash__(self) -> int:  # mappings have none
        return hash((self.key, self.value, self.package, self.pins))

    def pin(self, number: str) -> Pin | None:
        """Return the pin of that number (the first, where a source gives several)."""
        for pin in self.pins:
            if pin.number == number:
                return pin
        return None

    @property
    def nets(self) -> tuple[str, ...]:
        """The nets its pins are on, in pin order, each once."""
        return tuple(dict.fromkeys(pin.net for pin in self.pins if pin.net is not None))


class Net(msgspec.Struct, frozen=True, gc=False):
    """A net: its shown name, other names it goes by, and its pins.

    Pins stand in natural order: by part, then by number.
    """

    name: str
    aliases: tuple[str, ...] = ()
    pins: tuple[Pin, ...] = ()
    volts: float | None = None  # only where a source states it (SPICE source, typed sheet)
    place: Place | None = None


class Via(msgspec.Struct, frozen=True, gc=False):
    """A plated hole that belongs to no part."""

    x: float
    y: float
    net: str | None
    diameter: float | None = None
    drill: float | None = None


@dataclass(frozen=True, slots=True)
class Zone:
    """A copper area of a net: which layer, and the box it spans (x1, y1, x2, y2), mm."""

    net: str | None
    layer: str
    box: tuple[float, float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Source:
    """One file that was read, with its own counts (definitions: docs/formats.md)."""

    path: str
    format: str
    version: str = ""
    parts: int = 0
    nets: int = 0
    pins: int = 0
    pads: int = 0
    vias: int = 0
    digest: str = ""  # sha256 of the content, hex


@dataclass(frozen=True, slots=True)
class Statement:
    """One side of a conflict: what was said, and where."""

    what: str
    place: Place


@dataclass(frozen=True, slots=True)
class Conflict:
    """Two sources (or a note and a source) that disagree; `kept` says which statement stands."""

    code: str
    subject: str
    statements: tuple[Statement, ...]
    kept: str

    def __str__(self) -> str:
        said = " and ".join(f"{s.what} ({s.place})" for s in self.statements)
        return f"{self.code}: {self.subject} is {said}. Kept {self.kept}."


@dataclass(frozen=True, slots=True)
class Counts:
    """How much there is: parts; nets with a name and a pin; distinct pins on a net; pads."""

    parts: int
    nets: int
    pins: int
    pads: int


@dataclass(frozen=True, slots=True)
class Board:
    """One board. Parts and nets are in natural order; lookups are by part key and net name."""

    name: str
    parts: tuple[Part, ...]
    nets: tuple[Net, ...]
    sources: tuple[Source, ...] = ()
    warnings: tuple[Warning, ...] = ()
    conflicts: tuple[Conflict, ...] = ()
    vias: tuple[Via, ...] = ()
    zones: tuple[Zone, ...] = ()
    outline: tuple[tuple[tuple[float, float], ...], ...] = ()  # open or closed polylines, mm
    layers: tuple[str, ...] = ()  # copper layers, top first
    part_by_key: Mapping[str, Part] = field(
        default_factory=lambda: _NO_PARTS, compare=False, repr=False
    )
    net_by_name: Mapping[str, Net] = field(
        default_factory=lambda: _NO_NETS, compare=False, repr=False
    )

    def pads(self) -> Iterator[Pad]:
        """Yield every pad, part by part."""
        for part in self.parts:
            yield from part.pads

    def has_places(self) -> bool:
        """Return whether any pad has a place."""
        return any(part.pads for part in self.parts)

    def counts(self) -> Counts:
        """Return the counts by the definitions of docs/formats.md.

        A board of one source has that source's own figures: an EDIF file counts what stands
        directly in its top cell, though the board holds the expanded parts. Of several sources
        the board itself is counted. Pads in a part without refdes or place of its own are loose
        copper: they make no part.
        """
        if len(self.sources) == 1:
            only = self.sources[0]
            return Counts(only.parts, only.nets, only.pins, only.pads)
        pins: set[tuple[str, str]] = set()
        nets = 0
        parts = self.part_by_key
        for net in self.nets:
            if net.pins:
                nets += 1
                pins.update((parts[pin.part].refdes, pin.number) for pin in net.pins)
        pads = max((source.pads for source in self.sources), default=0)
        own = sum(1 for p in self.parts if p.refdes or p.x is not None or not p.pads)
        return Counts(own, nets, len(pins), pads)
