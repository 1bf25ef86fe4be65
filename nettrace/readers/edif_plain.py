"""The plain case of an EDIF design, made at once: a flat netlist whose cells give every pin.

Nearly every netlist is one. A part is then a row, as wide as its cell has pins, that the nets fill
in; the numbers and names of the pins are columns that all parts of a cell share. Anything out of
the ordinary (a pin on two nets, a pin that the cell does not give, a part in several units) is left
to the general way, which says what there is to say.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from itertools import chain, repeat
from types import MappingProxyType
from typing import NamedTuple

from nettrace.errors import Place
from nettrace.model.board import EMPTY, Part, Pin
from nettrace.model.copper import Copper, Unmade
from nettrace.model.names import natural_key
from nettrace.readers.edif_design import Port, View
from nettrace.readers.edif_fields import Fields
from nettrace.readers.edif_joins import NetJoiner
from nettrace.readers.edif_nodes import (
    Bound,
    Node,
    PinName,
    Use,
    bits_of,
    folded,
    key_of,
    member_text,
)
from nettrace.readers.edif_parts import MOST_EXPANDED, MOST_OPEN

__all__ = ["PlainMaker"]

#: Port id, or (port id, member) -> which pin of the cell.
Index = dict[str | tuple[str, str], int]


#: Nets that are joined at once.
STRIDE = 256


class _Pins(NamedTuple):
    """The pins of a cell in natural order, column by column, and where each port's stand."""

    numbers: tuple[str, ...]
    names: tuple[str | None, ...]
    kinds: tuple[str | None, ...]
    places: Index
    ports: dict[str, Port]


class _Kind(NamedTuple):
    """What instances of one cell with the same properties have in common."""

    fields: Fields
    pins: _Pins


class _PlainPins(Unmade):
    """The pins of an instance: its cell's, and where its own begin in the column of all nets."""

    pins: _Pins
    nets: list[str | None]
    start: int
    place: Place
    places: dict[str | None, Place]  # of the nets

    def make(self, key: str) -> Copper:
        """Return the pins, each with the place of its net; no pads are known."""
        of_cell, start = self.pins, self.start
        numbers = of_cell.numbers
        nets = self.nets[start : start + len(numbers)]
        places = map(self.places.get, nets, repeat(self.place))
        fields = nets, of_cell.names, of_cell.kinds, repeat(()), places
        return tuple(map(Pin, repeat(key), numbers, *fields)), ()


#: A part in the making: reference, place, kind, and where its pins begin in the columns.
Row = tuple[str, Place, _Kind, int]
#: Instance id -> where its pins begin in the columns, and which each port is.
Known = dict[str, tuple[int, Index]]


class _OutOfTheOrdinary(Exception):
    """No error: the general way takes over."""


class PlainMaker(NetJoiner):
    """Hands a plain design to the builder."""

    def make_plain(self, view: View, uses: Sequence[Use]) -> bool:
        """Hand parts and nets to the builder; False, and nothing said, where that is not possible.

        Args:
            view: contents of the top cell, in which each net is a net of the board.
            uses: what each instance is of.
        """
        warnings, warned = len(self.builder.warnings), dict(self.warned)
        try:
            rows, pins = self.rows(view, uses)
            nets, places = self.fill(view, dict(zip(view.instances, rows, strict=True)), pins)
        except _OutOfTheOrdinary:
            del self.builder.warnings[warnings:]
            self.warned = warned
            self.names.clear()
            return False
        # what was read is used up: the parts take its memory
        view.instances.clear()
        view.nets.clear()
        self.builder.frozen_nets += nets
        self.builder.frozen += [_part(row, nets, places) for row in rows]
        return True

    # -- parts --

    def rows(self, view: View, uses: Sequence[Use]) -> tuple[list[Row], int]:
        """Return a row for each instance, and how many pins all of them have."""
        if view.symbols:
            raise _OutOfTheOrdinary
        rows: list[Row] = []
        kinds: dict[tuple[int, int], _Kind] = {}
        pins_of_view: dict[int, _Pins] = {}
        references: set[str] = set()
        start = 0
        places = self.places([instance.offset for instance in view.instances.values()])
        for instance, use, place in zip(view.instances.values(), uses, places, strict=True):
            key = (id(use), id(instance.properties))
            kind = kinds.get(key)
            if kind is None:
                pins = pins_of_view.get(id(use.view))
                if pins is None:
                    pins = pins_of_view[id(use.view)] = self.pins_of(use.view)
                kind = kinds[key] = _Kind(self.fields_of(use, instance), pins)
            fields, pins = kind
            said = instance.designator
            if said is None or (not said and fields.refdes):
                said = fields.refdes
            if said and not said.endswith("?"):
                if said in references:
                    raise _OutOfTheOrdinary  # a further unit of a part
                references.add(said)
            rows.append((instance.name if said is None else said, place, kind, start))
            start += len(pins.numbers)
            if instance.pins or start > MOST_EXPANDED:
                raise _OutOfTheOrdinary
        return rows, start

    def pins_of(self, view: View | None) -> _Pins:
        """Return the pins that a cell gives."""
        if view is None or sum(port.size for port in view.ports.values()) > MOST_EXPANDED:
            raise _OutOfTheOrdinary
        found: list[tuple[PinName, str | tuple[str, str]]] = []
        for port_id, port in view.ports.items():
            if port.size > MOST_OPEN:
                raise _OutOfTheOrdinary
            found += [
                (self.port_pin(port, bit), key_of(port_id, member_text(port.sizes, bit)))
                for bit in range(port.size)
            ]
        found.sort(key=lambda each: natural_key(each[0][0]))
        numbers = tuple([pin[0] for pin, _ in found])
        if len(set(numbers)) < len(numbers):
            raise _OutOfTheOrdinary
        return _Pins(
            numbers,
            tuple([pin[1] for pin, _ in found]),
            tuple([pin[2] for pin, _ in found]),
            {key: at for at, (_, key) in enumerate(found)},
            view.ports,
        )

    # -- nets --

    def fill(
        self, view: View, rows: dict[str, Row], pins: int
    ) -> tuple[list[str | None], dict[str | None, Place]]:
        """Return the net of each pin, and the place of each net; hand all nets to the builder."""
        repeated = len({net.name for net in view.nets}) < len(view.nets)
        names = [self.own_name(net.name, net.offset) if repeated else net.name for net in view.nets]
        known = {one: (start, kind.pins.places) for one, (_, _, kind, start) in rows.items()}
        nets = self.fill_at_once(view, names, known, pins)
        if nets is None:
            nets = self.fill_singly(view, names, known, rows, pins)
        places: dict[str | None, Place] = {}
        for net, name, place in zip(
            view.nets, names, self.places([net.offset for net in view.nets]), strict=True
        ):
            places[name] = place
            self.builder.net(name, place=place, aliases=net.aliases)
        return nets, places

    def fill_at_once(
        self, view: View, names: list[str], known: Known, pins: int
    ) -> list[str | None] | None:
        """Return the net of each pin; None where a reference is not as the cells spell it."""
        nets: list[str | None] = [None] * pins
        joined, count = self.design.joined_by_each, 0
        for first in range(0, len(names), STRIDE):
            refs = joined(view.nets[first : first + STRIDE])
            flat = [*chain.from_iterable(refs)]
            if not flat:
                continue
            ports, members, instances = zip(*flat, strict=True)
            keys = [*map(key_of, ports, members)] if any(members) else ports
            try:
                indexes = [
                    start + places[key]
                    for (start, places), key in zip(
                        map(known.__getitem__, instances), keys, strict=True
                    )
                ]
            except KeyError:
                return None
            owners = map(repeat, names[first : first + STRIDE], map(len, refs))
            deque(map(nets.__setitem__, indexes, chain.from_iterable(owners)), maxlen=0)
            count += len(indexes)
        return nets if nets.count(None) == pins - count else None  # else a pin is on two nets

    def fill_singly(
        self, view: View, names: list[str], known: Known, rows: dict[str, Row], pins: int
    ) -> list[str | None]:
        """Return the net of each pin: the same, one reference after the other."""
        nets: list[str | None] = [None] * pins
        joined_by = self.design.joined
        bound: Bound = {}
        own_ports: set[tuple[str, str]] = set()
        for net, name in zip(view.nets, names, strict=True):
            for port_id, member, instance in joined_by(net):
                try:
                    start, index = known[instance]
                    at = start + index[(port_id, member) if member else port_id]
                except KeyError:
                    if not instance:
                        own_port = (folded(port_id), member)
                        if own_port in own_ports:
                            raise _OutOfTheOrdinary from None  # it may join two nets
                        own_ports.add(own_port)
                        node = Node(name, net.offset, 0)
                        self.join_own_port(net, port_id, member, node, view, bound)
                        continue
                    if instance not in rows:
                        one = self.folded_ids(rows).get(folded(instance))
                        if one is None:
                            raise _OutOfTheOrdinary from None  # an error, or a symbol
                        rows[instance] = rows[one]
                        known[instance] = known[one]
                    _, _, kind, start = rows[instance]
                    at = start + self.spelt_otherwise(kind.pins, port_id, member)
                if nets[at] is None:
                    nets[at] = name
                elif nets[at] is not name:
                    raise _OutOfTheOrdinary  # a pin on two nets
        return nets

    def spelt_otherwise(self, pins: _Pins, port_id: str, member: str) -> int:
        """Return which pin of the cell is meant by an id, or a member, not spelt as in the cell."""
        key = key_of(port_id, member)
        at = pins.places.get(key)
        if at is None:
            port = self.find(pins.ports, port_id)
            bits = bits_of(port, member) if port is not None else ()
            if port is None or len(bits) != 1:
                raise _OutOfTheOrdinary
            at = pins.places[key] = pins.numbers.index(self.port_pin(port, bits[0])[0])
        return at


def _part(row: Row, nets: list[str | None], places: dict[str | None, Place]) -> Part:
    refdes, place, (fields, pins), start = row
    return Part(
        refdes, refdes, fields.value, fields.package, fields.description, fields.fitted,
        None, None, None, None, _PlainPins(pins, nets, start, place, places), (), None,
        MappingProxyType(fields.properties) if fields.properties else EMPTY, place,
    )  # fmt: skip
