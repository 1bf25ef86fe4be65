"""A board's pins and pads before anybody asks for them.

A board has ten times as many pins and pads as parts, and a question about a few of them needs not
all. So a part holds what its reader cut out of the file until its pins or pads are asked for, and a
net finds its pins when the first net of the board is asked for its own. What can be wrong is looked
at when the file is read: nothing is said, and nothing can fail, when records are made later.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import TYPE_CHECKING, TypeAlias

import msgspec
from msgspec.structs import force_setattr

from nettrace.collector import collector_off

if TYPE_CHECKING:
    from nettrace.model.board import Pad, Part, Pin

__all__ = ["NO_COPPER", "Copper", "Joints", "Unmade"]

#: A part's pins in natural order, and its pads in the order of the source.
Copper: TypeAlias = "tuple[tuple[Pin, ...], tuple[Pad, ...]]"
NO_COPPER: Copper = ((), ())


class Unmade(msgspec.Struct, gc=False, eq=False):
    """What a reader keeps of a part's pins and pads; subclasses say what that is. Hold no part."""

    def make(self, key: str) -> Copper:
        """Return the pins and pads of the part of that key: the same each time."""
        raise NotImplementedError


class Joints:
    """The pins of every net of a board, looked for once."""

    __slots__ = ("_parts", "_pins")

    def __init__(self, parts: Sequence[Part]) -> None:
        """Take the parts, in the order in which a net's pins are wanted."""
        self._parts = parts
        self._pins: dict[str, tuple[Pin, ...]] | None = None

    def of(self, net: str) -> tuple[Pin, ...]:
        """Return the pins on the net of that name."""
        if self._pins is None:
            with collector_off():
                self._pins = self._find()
            self._parts = ()
        return self._pins.get(net, ())

    def _find(self) -> dict[str, tuple[Pin, ...]]:
        found: defaultdict[str, list[Pin]] = defaultdict(list)
        for part in self._parts:
            copper = part.copper
            if isinstance(copper, Unmade):  # here, without a call for each of many parts
                copper = copper.make(part.key)
                force_setattr(part, "copper", copper)
            for pin in copper[0]:
                net = pin.net
                if net is not None:
                    found[net].append(pin)
        return {net: tuple(pins) for net, pins in found.items()}
