"""Test records of IPC-D-356 as pads: sorted by the part they belong to, and made parts and vias."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from itertools import repeat
from math import fsum
from operator import itemgetter
from typing import Any, NamedTuple, TypeAlias

from nettrace.collector import collector_off
from nettrace.errors import Place
from nettrace.model.board import EMPTY, Pad, Part, Pin, Side, Via
from nettrace.model.builder import BoardBuilder
from nettrace.model.copper import Copper, Unmade
from nettrace.model.freezing import Orders, PadRecord

__all__ = ["PadForm", "Pads"]

VIA = "VIA"


class PadForm(NamedTuple):
    """What a pad looks like, whatever its place; `contact` is False for a hole without copper."""

    side: Side
    shape: str | None
    width: float | None
    height: float | None
    angle: float
    drill: float | None
    contact: bool


#: Pads column by column: pins, nets, x, y, forms, and the lines they stand in.
Columns: TypeAlias = tuple[
    Sequence[str], Sequence[str | None], Sequence[float], Sequence[float],
    Sequence[PadForm], Sequence[int],
]  # fmt: skip

#: Fields of a form by their place, which takes half the time of asking by name.
_side_of, _width_of, _drill_of = itemgetter(0), itemgetter(2), itemgetter(5)


_new_place: Callable[..., Place] = tuple.__new__  # without the argument handling


class _Table:
    """The pads of all parts, each on a row of its own; made at once when the first is asked for.

    Nearly every question leads to all of them, and a column at a time takes half as long.
    """

    __slots__ = ("_columns", "_keys", "_orders", "_pads", "_path", "_pins")

    def __init__(self, path: str, columns: Columns) -> None:
        self._path = path
        self._columns = columns
        self._keys: list[str] = []  # of the part of each row
        self._orders = Orders()
        self._pads: list[Pad] = []
        self._pins: list[Pin] = []

    def add_key(self, key: str, count: int) -> None:
        """Say whose the next so many rows are."""
        self._keys += repeat(key, count)

    def copper(self, start: int, stop: int) -> Copper:
        """Return the pins and pads of a part whose pins have one pad each."""
        if not self._pads:
            with collector_off():
                self._make()
        order = self._orders.of(tuple(self._columns[0][start:stop]))
        pins = self._pins[start:stop]
        if order:
            pins = [pins[index] for index in order]
        return tuple(pins), tuple(self._pads[start:stop])

    def _make(self) -> None:
        numbers, nets, xs, ys, forms, lines = self._columns
        places = [*map(_new_place, repeat(Place), zip(repeat(self._path), lines, repeat(1)))]
        shapes = [map(itemgetter(field), forms) for field in range(6)]
        # every pad here is copper or on a net
        pads = map(Pad, self._keys, numbers, nets, xs, ys, *shapes, repeat(True), places)
        self._pads = [*pads]
        own = zip(self._pads)
        nothing = repeat(None)
        self._pins = [*map(Pin, self._keys, numbers, nets, nothing, nothing, own, places)]


class _PadRows(Unmade):
    """The pads of a part: rows of the table."""

    table: _Table
    start: int
    stop: int

    def make(self, key: str) -> Copper:  # noqa: ARG002 - the table has it
        """Return a pin for each pad, and the pads."""
        return self.table.copper(self.start, self.stop)


class Pads:
    """All pads of a file, as they are read.

    Attributes:
        ids: a number for what owns pads: the vias, then each reference as it is met.
        has_unplated: whether there may be a hole without copper.
    """

    def __init__(self) -> None:
        self.has_unplated = False
        self.ids = {VIA: 0}
        self._owners: list[int] = []
        self._columns: tuple[list[Any], ...] = ([], [], [], [], [], [])

    def __len__(self) -> int:
        return len(self._owners)

    def add(self, owners: Sequence[int], columns: Columns) -> None:
        """Add pads, each with its owner."""
        self._owners += owners
        for column, more in zip(self._columns, columns, strict=True):
            column.extend(more)

    def finish(self, builder: BoardBuilder) -> None:
        """Give the builder the vias and the parts.

        The place of a part is the mean of its pads, its side that of its surface pads where they
        agree.
        """
        columns, count, path = self._sorted(), Counter(self._owners), builder.path
        numbers, nets, xs, ys, forms, lines = columns
        stop = vias = count.pop(0, 0)
        builder.vias += map(
            Via, xs[:vias], ys[:vias], nets[:vias], map(_width_of, forms), map(_drill_of, forms)
        )
        builder.via_records = vias
        builder.pad_records = len(self) - vias
        both = Side.BOTH
        add, add_nets = builder.frozen.append, builder.frozen_nets.extend
        table = _Table(path, columns)
        table.add_key(VIA, vias)
        sides_of_pads, bare = [*map(_side_of, forms)], self._without_contact()
        for refdes, owner in self.ids.items():
            pads = count[owner]
            if not pads:
                continue
            start, stop = stop, stop + pads
            table.add_key(refdes, pads)
            sides = {*sides_of_pads[start:stop]}
            sides.discard(both)
            side = sides.pop() if len(sides) == 1 else None
            place = _new_place(Place, (path, lines[start], 21))
            x = y = None
            if refdes:
                x, y = fsum(xs[start:stop]) / pads, fsum(ys[start:stop]) / pads
                distinct = {*numbers[start:stop]}
                if len(distinct) == pads and "" not in distinct and owner not in bare:
                    add_nets(nets[start:stop])
                    copper = _PadRows(table, start, stop)
                    add(
                        Part(
                            refdes, refdes, None, None, None, None, x, y, None, side, copper,
                            (), None, EMPTY, place,
                        )
                    )  # fmt: skip
                    continue
            part = builder.part(refdes, place)
            part.x, part.y, part.side = x, y, side
            part.pads = _records(columns, start, stop, path)
            if refdes:
                _warn_of_met_pins(refdes, part.pads, builder)
        builder.part_records = len(count) - (self.ids.get("", 0) in count)

    def _without_contact(self) -> set[int]:
        """Return what owns a hole without copper that is on no net."""
        if not self.has_unplated:
            return set()
        _, nets, _, _, forms, _ = self._columns
        return {
            owner
            for owner, net, form in zip(self._owners, nets, forms, strict=True)
            if net is None and not form.contact
        }

    def _sorted(self) -> Columns:
        """Return the columns, the pads of each owner together and in the order of the file."""
        order = sorted(range(len(self)), key=self._owners.__getitem__)
        if len(order) < 2:
            return self._columns  # type: ignore[return-value]
        pick = itemgetter(*order)
        return tuple(map(pick, self._columns))


def _records(columns: Columns, start: int, stop: int, path: str) -> list[PadRecord]:
    """Return the pads as drafts of parts hold them."""
    own = [column[start:stop] for column in columns]
    return [
        (pin, net, x, y, *form[:6], form.contact or net is not None, Place(path, line, 1))
        for pin, net, x, y, form, line in zip(*own, strict=True)
    ]


def _warn_of_met_pins(refdes: str, pads: Iterable[PadRecord], builder: BoardBuilder) -> None:
    on_nets = {(pad[0], pad[1]) for pad in pads if pad[0] and pad[1]}
    numbers = {number for number, _ in on_nets}
    if len(numbers) == len(on_nets):
        return
    for number in sorted(numbers):
        nets = sorted(net for other, net in on_nets if other == number and net)
        if len(nets) > 1:
            place = next(pad[11] for pad in pads if pad[0] == number)
            builder.warn(
                "pin-on-several-nets",
                f"{refdes}.{number} is on {', '.join(nets)}: the format cuts names, so these "
                "are kept as pins of their own",
                place,
            )
