"""Makes the parts of an EDIF design: references, units joined, pins numbered and named."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain

from nettrace.model.builder import PartDraft
from nettrace.readers.document import Document
from nettrace.readers.edif_annotated import Annotator
from nettrace.readers.edif_design import (
    Design,
    Instance,
    NetForm,
    Port,
    View,
    decode_id,
)
from nettrace.readers.edif_fields import Fields, instance_fields
from nettrace.readers.edif_nodes import (
    Annotated,
    PinName,
    PinNames,
    Slot,
    Use,
    bits_of,
    key_of,
    member_text,
)

__all__ = ["MOST_EXPANDED", "PartMaker"]

#: Most instances and connections that sheets may expand to, so that a small text stays small.
MOST_EXPANDED = 2_000_000
#: Widest port whose unconnected wires are listed as pins.
MOST_OPEN = 4096


class PartMaker(Annotator):
    """Gives each instance its slot: a part of the board, or a sheet to expand."""

    def __init__(self, document: Document, design: Design, *, keep: bool) -> None:
        super().__init__(document, design)
        self.keep = keep
        self.slots_of_parts: list[Slot] = []
        self.joined_units: dict[tuple[str, str], PartDraft] = {}
        self.fields: dict[tuple[int, int], Fields] = {}  # by cell and (shared) properties
        self.pins_of_view: dict[
            int,
            tuple[list[tuple[str | tuple[str, str], PinName]], frozenset[str], list[PinName]],
        ] = {}
        self.open_pins = 0

    # -- instances --

    def slots(
        self, view: View, library: str, path: str, annotated: Annotated = ()
    ) -> dict[str, Slot | None]:
        """Return the slot of each instance; None for a symbol that is no part."""
        slots: dict[str, Slot | None] = dict.fromkeys(view.symbols)
        schematic = view.type == "SCHEMATIC"
        for one, drawn in view.instances.items():
            inner = self.inner(annotated, one) if annotated else ()
            instance, prefix = self.annotate(drawn, inner, path) if inner else (drawn, path)
            use = self.use(library, instance)
            used_view = use.view
            if used_view is not None and used_view.is_sheet:
                if not self.keep:
                    slots[one] = slot = Slot(use, instance, None)
                    slot.annotated = inner
                    continue
            elif schematic and self.is_symbol(instance, use):
                slots[one] = None
                continue
            slots[one] = self.part(use, instance, prefix, path)
        self.warn_of_strangers(view, slots, annotated)
        return slots

    def fields_of(self, use: Use, instance: Instance) -> Fields:
        """Return what the properties of an instance and its cell say."""
        fields = use.fields
        if instance.properties is None:
            return fields
        key = (id(fields), id(instance.properties))
        known = self.fields.get(key)
        if known is None:
            known = self.fields[key] = instance_fields(fields, instance.properties)
        return known

    def is_symbol(self, instance: Instance, use: Use) -> bool:
        """Whether an instance is drawing: no reference (or one as `#PWR1`), and at most one port.

        One without a reference but with pins of its own, or several ports, is a part all the same.
        """
        said = instance.designator or self.fields_of(use, instance).refdes or ""
        ports = len(use.view.ports) if use.view is not None else 0
        if said.startswith("#") and ports <= 1:
            return True
        if said:
            return False
        if instance.pins or (use.view is not None and len(use.view.ports) > 1):
            self.warn(
                "no-designator",
                f"an instance of {instance.cell} has no reference: called {instance.name}",
                instance.offset,
            )
            return False
        if use.view is None or not use.view.ports:
            return True  # a frame, a title
        self.warn(
            "symbol",
            f"{instance.name}, a symbol of {instance.cell} without reference, is no part",
            instance.offset,
        )
        return True

    def part(self, use: Use, instance: Instance, prefix: str, path: str) -> Slot:
        """Return the slot of a part; a further unit of a part joins it.

        Args:
            use: what it is of.
            instance: as it stands in its sheet.
            prefix: what its reference begins with, mostly the path.
            path: of its sheet.
        """
        fields = self.fields_of(use, instance)
        said = instance.designator
        if said is None or (not said and fields.refdes):
            said = fields.refdes
        refdes = prefix + (said if said is not None else instance.name)
        joinable = bool(said) and not refdes.endswith("?")
        draft = self.joined_units.get((prefix, refdes)) if joinable else None
        if draft is None:
            draft = self.builder.part(refdes, self.place(instance.offset))
            draft.value = fields.value
            draft.package = fields.package
            draft.description = fields.description
            draft.fitted = fields.fitted
            draft.properties = fields.properties
            if path:
                draft.sheet = path[:-1]
            if joinable:
                self.joined_units[prefix, refdes] = draft
        else:
            self.join_unit(draft, fields, instance)
        slot = Slot(use, instance, draft)
        if instance.pins:
            slot.numbers = self.own_numbers(use, instance, slot)
        self.slots_of_parts.append(slot)
        return slot

    def join_unit(self, draft: PartDraft, fields: Fields, instance: Instance) -> None:
        """Add a further unit of a part: what was missing is taken, what differs is said."""
        if draft.value is not None and fields.value not in (None, draft.value):
            self.warn(
                "units-disagree",
                f"{draft.refdes} has value {draft.value} and, in another unit, {fields.value}; "
                f"kept {draft.value}",
                instance.offset,
            )
        draft.value = draft.value if draft.value is not None else fields.value
        draft.package = draft.package if draft.package is not None else fields.package
        if draft.description is None:
            draft.description = fields.description
        if fields.fitted is not None and draft.fitted is None:
            draft.fitted = fields.fitted
        draft.properties = {**fields.properties, **draft.properties}

    def own_numbers(self, use: Use, instance: Instance, slot: Slot) -> PinNames:
        """Return pins by (port, member) with the numbers that this instance gives.

        Further pins of one port (all grounds of a connector, drawn as one) go into `slot.further`.
        """
        numbers: PinNames = {}
        view = use.view
        for port_id, member, designator, _ in instance.pins or ():
            port = self.find(view.ports, port_id) if view is not None else None
            if port is None:
                self.number(key_of(port_id, member), (designator, port_id, None), numbers, slot)
                continue
            bits = bits_of(port, member)
            given = [word.strip() for word in designator.split(",")] if len(bits) > 1 else []
            if len(given) == len(bits):
                for bit, number in zip(bits, given, strict=True):
                    numbers[port_id, str(bit)] = (
                        number,
                        port.bit(bit),
                        port.kind or port.direction,
                    )
            else:
                name = port.bit(bits[0]) if member and bits else port.name
                pin: PinName = (
                    designator,
                    port.function or (name if name != designator else None),
                    port.kind or port.direction,
                )
                self.number(key_of(port_id, member), pin, numbers, slot)
        return numbers

    def number(
        self, key: str | tuple[str, str], pin: PinName, numbers: PinNames, slot: Slot
    ) -> None:
        """Give a port its pin; a second pin of another number is a further one."""
        first = numbers.setdefault(key, pin)
        if first[0] != pin[0]:
            further = slot.further.setdefault(key, [])
            if all(pin[0] != other[0] for other in further):
                further.append(pin)

    def pin(self, slot: Slot, port_id: str, member: str, net: NetForm) -> PinName:
        """Return number, name and electrical type of a pin that a net names (then remembered)."""
        use = slot.use
        key = key_of(port_id, member)
        made = use.pins.get(key)
        if made is None:
            made = use.pins[key] = self.new_pin(slot, port_id, member, net)
        if slot.numbers is not use.pins:
            # numbers said by the instance may spell the port or its member otherwise
            view = use.view
            port = self.find(view.ports, port_id) if view is not None else None
            if port is not None:
                bits = bits_of(port, member)
                for other, said in list(slot.numbers.items()):
                    one, index = (other, "") if isinstance(other, str) else other
                    if self.same_pin(slot, one, index, port, bits):
                        made = said
                        if other in slot.further:
                            slot.further[key] = slot.further[other]
                        break
            slot.numbers[key] = made
        return made

    def same_pin(
        self, slot: Slot, port_id: str, member: str, port: Port, bits: Sequence[int]
    ) -> bool:
        """Return whether an id and member, however spelt, mean these wires of the port."""
        view = slot.use.view
        return (
            view is not None
            and self.find(view.ports, port_id) is port
            and bits_of(port, member) == bits
        )

    def new_pin(self, slot: Slot, port_id: str, member: str, net: NetForm) -> PinName:
        """Return how a pin that a net names is called by its cell."""
        view = slot.use.view
        port = self.find(view.ports, port_id) if view is not None else None
        if port is None:
            if view is not None:
                self.warn(
                    "unknown-port",
                    f"net {net.name} joins port {port_id} of {slot.instance.name}, "
                    f"which cell {slot.instance.cell} does not have",
                    net.offset,
                )
            number = decode_id(port_id)
            return (f"{number}[{member}]" if member else number, None, None)
        bits = bits_of(port, member)
        if len(bits) != 1:
            self.warn_width(port, member, net)
            name = f"{port.base}[{member}]" if member else port.name
            return name, port.function, port.kind or port.direction
        return self.port_pin(port, bits[0])

    def warn_width(self, port: Port, member: str, net: NetForm) -> None:
        """Say that a net joins wires that the port does not have, or several at once."""
        what = f"member {member} of port" if member else "all of port"
        self.warn(
            "width-mismatch",
            f"net {net.name} joins {what} {port.name}, which has {port.size} "
            + ("wire" if port.size == 1 else "wires"),
            net.offset,
        )

    def port_pin(self, port: Port, bit: int) -> PinName:
        """Return how one wire of a port is called by its cell."""
        name = port.bit(bit) if port.sizes else port.name
        kind = port.kind or port.direction
        number = port.designator
        if number and port.sizes:
            given = [word.strip() for word in number.split(",")]
            number = given[bit] if len(given) == port.size else ""
        if number:
            return number, port.function or (name if name != number else None), kind
        return name, port.function, kind

    def all_pins(self, slot: Slot) -> tuple[frozenset[str], list[PinName]]:
        """Return every pin that the part's cell (and the instance) gives, and their numbers."""
        view = slot.use.view
        if view is None:
            return frozenset(), []
        known = self.pins_of_view.get(id(view))
        if known is None:
            found: list[tuple[str | tuple[str, str], PinName]] = []
            for port_id, port in view.ports.items():
                if port.size > MOST_OPEN:
                    continue
                for bit in range(port.size):
                    key = key_of(port_id, member_text(port.sizes, bit))
                    found.append((key, self.port_pin(port, bit)))
            pins = [pin for _, pin in found]
            known = self.pins_of_view[id(view)] = (found, frozenset(pin[0] for pin in pins), pins)
        found, every, pins = known
        self.open_pins += len(pins)
        if self.open_pins > MOST_EXPANDED:
            return frozenset(), []
        if slot.instance.pins:
            pins = [slot.numbers.get(key, pin) for key, pin in found]
            pins += chain.from_iterable(slot.further.values())
            every = frozenset(pin[0] for pin in pins)
        return every, pins
