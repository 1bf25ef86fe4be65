"""What an IPC-2581 file says, as plain records, before anything is joined.

Lengths are in mm, but for the holes of pad stacks, which are in the file's unit.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from nettrace.errors import Place

__all__ = [
    "BomLine",
    "ComponentFact",
    "Facts",
    "Frame",
    "HoleFact",
    "Layer",
    "PackageFact",
    "PadFact",
    "PadstackFact",
    "PinFact",
    "Shape",
]


@dataclass(frozen=True, slots=True)
class Shape:
    """A pad's form: rect, roundrect, circle, oval or custom; sizes in mm (dictionaries differ)."""

    name: str
    width: float | None
    height: float | None


@dataclass(slots=True)
class Frame:
    """Where something is put: offset, then turned counter-clockwise after mirroring x."""

    x: float = 0.0
    y: float = 0.0
    angle: float = 0.0
    mirror: bool = False
    placed: bool = False  # a Location was given


@dataclass(frozen=True, slots=True)
class Layer:
    """A layer: TOP, BOTTOM, INTERNAL, ALL..., and whether it is copper."""

    name: str
    side: str
    copper: bool


@dataclass(slots=True)
class PinFact:
    """A pin of a package, relative to the package's origin."""

    number: str
    name: str | None
    frame: Frame
    through: bool = False
    shape: str | Shape | None = None  # str: the id of a primitive


@dataclass(slots=True)
class PackageFact:
    """A package: its pins and its body's corners."""

    name: str
    pins: list[PinFact] = field(default_factory=list)
    outline: list[tuple[float, float]] = field(default_factory=list)


@dataclass(slots=True)
class ComponentFact:
    """A placed component."""

    refdes: str
    package: str
    layer: str
    frame: Frame
    place: Place
    properties: dict[str, str] = field(default_factory=dict)


@dataclass(slots=True)
class BomLine:
    """A line of the parts list with the references it stands for."""

    description: str
    properties: dict[str, str] = field(default_factory=dict)
    references: list[tuple[str, str, bool | None, Place]] = field(default_factory=list)


@dataclass(slots=True)
class PadstackFact:
    """A pad stack: its hole, and a form per layer."""

    drill: float | None = None
    plating: str = ""  # PLATED, NONPLATED, VIA
    forms: dict[str, str | Shape] = field(default_factory=dict)


@dataclass(slots=True)
class PadFact:
    """A pad of a copper layer."""

    layer: str
    net: str | None
    via: bool
    padstack: str
    frame: Frame
    place: Place
    shape: str | Shape | None = None
    pins: list[tuple[str, str]] = field(default_factory=list)  # (componentRef, pin)


@dataclass(slots=True)
class HoleFact:
    """A hole of a drill layer."""

    net: str | None
    plating: str
    diameter: float
    x: float
    y: float


@dataclass(slots=True)
class Facts:
    """The whole file."""

    revision: str = ""
    mode: str = ""
    units: str = ""
    scale: float = 0.0  # millimetres per file unit
    step: str = ""
    layers: dict[str, Layer] = field(default_factory=dict)
    primitives: dict[str, Shape] = field(default_factory=dict)
    padstacks: dict[str, PadstackFact] = field(default_factory=dict)
    packages: dict[str, PackageFact] = field(default_factory=dict)
    components: list[ComponentFact] = field(default_factory=list)
    bom: list[BomLine] = field(default_factory=list)
    logical: dict[str, list[tuple[str, str, Place]]] = field(default_factory=dict)
    points: list[tuple[str, float, float, str, Place]] = field(default_factory=list)
    pads: list[PadFact] = field(default_factory=list)
    holes: list[HoleFact] = field(default_factory=list)
    outline: list[list[tuple[float, float]]] = field(default_factory=list)
