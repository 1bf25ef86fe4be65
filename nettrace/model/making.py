"""Makes the five records of which a board has tens of thousands, fast.

The `__init__` that a frozen dataclass is given sets each field through `object.__setattr__`, three
to five times the cost of plain assignment, and was the largest share of reading a board. Here a
twin with the same slots is filled plainly and then turned into the frozen class (the layouts are
the same, which Python checks); from then on it is frozen like any other.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from nettrace.errors import Place
from nettrace.model.board import Net, Pad, Part, Pin, Side, Via

__all__ = ["make_net", "make_pad", "make_part", "make_pin", "make_via"]


class _OpenPad:
    __slots__ = Pad.__slots__

    def __init__(
        self,
        part: str,
        number: str,
        net: str | None,
        x: float,
        y: float,
        side: Side,
        shape: str | None,
        width: float | None,
        height: float | None,
        angle: float,
        drill: float | None,
        plated: bool,
        place: Place | None,
    ) -> None:
        self.part = part
        self.number = number
        self.net = net
        self.x = x
        self.y = y
        self.side = side
        self.shape = shape
        self.width = width
        self.height = height
        self.angle = angle
        self.drill = drill
        self.plated = plated
        self.place = place
        self.__class__ = Pad  # type: ignore[assignment]  # same slots, see above


class _OpenPart:
    __slots__ = Part.__slots__

    def __init__(
        self,
        key: str,
        refdes: str,
        value: str | None,
        package: str | None,
        description: str | None,
        fitted: bool | None,
        x: float | None,
        y: float | None,
        angle: float | None,
        side: Side | None,
        pins: tuple[Pin, ...],
        pads: tuple[Pad, ...],
        outline: tuple[tuple[float, float], ...],
        sheet: str | None,
        properties: Mapping[str, str],
        place: Place | None,
        origins: Mapping[str, Place],
    ) -> None:
        self.key = key
        self.refdes = refdes
        self.value = value
        self.package = package
        self.description = description
        self.fitted = fitted
        self.x = x
        self.y = y
        self.angle = angle
        self.side = side
        self.pins = pins
        self.pads = pads
        self.outline = outline
        self.sheet = sheet
        self.properties = properties
        self.place = place
        self.origins = origins
        self.__class__ = Part  # type: ignore[assignment]  # same slots, see above


class _OpenPin:
    __slots__ = Pin.__slots__

    def __init__(
        self,
        part: str,
        number: str,
        net: str | None,
        name: str | None,
        electrical_type: str | None,
        pads: tuple[Pad, ...],
        place: Place | None,
    ) -> None:
        self.part = part
        self.number = number
        self.net = net
        self.name = name
        self.electrical_type = electrical_type
        self.pads = pads
        self.place = place
        self.__class__ = Pin  # type: ignore[assignment]  # same slots, see above


class _OpenNet:
    __slots__ = Net.__slots__

    def __init__(
        self,
        name: str,
        aliases: tuple[str, ...],
        pins: tuple[Pin, ...],
        volts: float | None,
        place: Place | None,
    ) -> None:
        self.name = name
        self.aliases = aliases
        self.pins = pins
        self.volts = volts
        self.place = place
        self.__class__ = Net  # type: ignore[assignment]  # same slots, see above


class _OpenVia:
    __slots__ = Via.__slots__

    def __init__(
        self, x: float, y: float, net: str | None, diameter: float | None, drill: float | None
    ) -> None:
        self.x = x
        self.y = y
        self.net = net
        self.diameter = diameter
        self.drill = drill
        self.__class__ = Via  # type: ignore[assignment]  # same slots, see above


if TYPE_CHECKING:
    make_net = Net
    make_pad = Pad
    make_part = Part
    make_pin = Pin
    make_via = Via
else:
    make_net = _OpenNet
    make_pad = _OpenPad
    make_part = _OpenPart
    make_pin = _OpenPin
    make_via = _OpenVia
