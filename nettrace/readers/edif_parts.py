"""The parts of an EDIF design: what instances are of, their references, fields, units and pins.

Which property is a part's value, package or reference goes by the names that PCB schematic tools
write; common practice, no source. A property is kept as written whatever it is used for.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import NamedTuple, TypeVar

from nettrace.errors import BadInput, Place
from nettrace.knowledge import table
from nettrace.model.builder import BoardBuilder, PartDraft, PinFact, PinKey
from nettrace.model.names import nearest_names
from nettrace.readers.edif_design import (
    Annotation,
    Cell,
    Design,
    Instance,
    Library,
    NetForm,
    PinSaid,
    Port,
    View,
    decode_id,
    folded,
)
from nettrace.readers.edif_tree import Tree

#: Warnings of one kind that are listed one by one; the rest is counted.
MOST_WARNINGS = 20
#: Most instances and connections that sheets may expand to, so that a small text stays small.
MOST_EXPANDED = 2_000_000
#: Widest port whose unconnected wires are listed as pins.
MOST_OPEN = 4096

Thing = TypeVar("Thing")
Named = TypeVar("Named", Cell, Library, View)

#: Pin number, pin name, electrical type.
PinName = tuple[str, str | None, str | None]
#: Pins by port id and member ("" for a single one); several are drawn as one, as all grounds of
#: a connector.
PinNames = dict[tuple[str, str], tuple[PinName, ...]]
#: What view maps say of a sheet's instances, the outermost first: the path of the sheet whose cell
#: has the view map, and the annotation.
Annotated = tuple[tuple[str, Annotation], ...]

_NO_SEPARATORS = str.maketrans(dict.fromkeys("_-./"))


class Fields(NamedTuple):
    """What properties say of a part; None where they say nothing. `properties` is not changed."""

    value: str | None
    package: str | None
    description: str | None
    refdes: str | None
    properties: dict[str, str]


def _fields(properties: dict[str, str], cell: Fields | None = None) -> Fields:
    """Return what properties say; of an instance, its cell's word where they say nothing."""
    plain: dict[str, str] = {}
    for name, said in properties.items():
        plain.setdefault(_plain(name), said)
    found: list[str | None] = []
    for which in Fields._fields[:4]:
        names = table("edif")["properties"][which].split()
        texts = [plain[name] for name in names if name in plain]
        found.append(next((text.strip() for text in texts if text), "" if texts else None))
    value, package, description, refdes = found
    if cell is None:
        return Fields(value, package or None, description or None, refdes or None, properties)
    return Fields(
        # an empty value is said to be none, the cell's name notwithstanding
        (cell.value if value is None else value) or None,
        package or cell.package,
        description or cell.description,
        refdes or cell.refdes,
        {**cell.properties, **properties},
    )


@lru_cache(maxsize=4096)
def _plain(name: str) -> str:
    return "".join(name.translate(_NO_SEPARATORS).split()).lower()


class Use(NamedTuple):
    """What instances of one cell have in common."""

    view: View | None
    library: str
    fields: Fields
    pins: PinNames

    @property
    def is_sheet(self) -> bool:
        """Whether there is something in it to expand."""
        return self.view is not None and self.view.is_sheet


class Slot:
    """An instance in one place of the hierarchy: a part (draft) or a sheet.

    `numbers` are its pins as numbered here; `annotated` is what view maps say of what is in a
    sheet.
    """

    __slots__ = ("annotated", "draft", "facts", "instance", "numbers", "use")

    def __init__(
        self, use: Use, instance: Instance, draft: PartDraft | None, annotated: Annotated = ()
    ) -> None:
        self.use = use
        self.instance = instance
        self.draft = draft
        self.annotated = annotated
        self.facts: dict[PinKey, PinFact] = draft.pin_facts if draft is not None else {}
        self.numbers = use.pins  # shared where nothing is said here

    @property
    def ports(self) -> dict[str, Port]:
        """The ports of its cell."""
        return self.use.view.ports if self.use.view is not None else {}

    @property
    def called(self) -> str:
        """Its reference, else its name, without the sheet's path."""
        return self.instance.designator or self.instance.name


#: Slots by instance id; None for a symbol that is no part.
Slots = dict[str, Slot | None]


class PartMaker:
    """Finds what an EDIF text refers to, and gives each instance its slot."""

    def __init__(self, tree: Tree, design: Design, *, keep: bool) -> None:
        self.tree = tree
        self.design = design
        self.keep = keep
        self.builder = BoardBuilder(tree.lines.path, "edif")
        self.builder.digest = tree.digest
        self.warned: dict[str, int] = {}
        self.uses: dict[tuple[str, str, str, str], Use] = {}
        self.ids_folded: dict[int, tuple[Mapping[str, object], dict[str, str]]] = {}
        self.slots_of_parts: list[Slot] = []
        self.units: dict[tuple[str, str], PartDraft] = {}
        # by cell and (shared) properties, which are kept, for an id that is gone could come back
        self.fields: dict[tuple[int, int], tuple[dict[str, str], Fields]] = {}
        self.pins_of_view: dict[int, tuple[PinNames, set[str]]] = {}
        self.listed_pins = 0

    def warn(self, which: str, at: int | Place | None, *words: object) -> None:
        """Note something read with care; beyond the first of a kind it is counted.

        Args:
            which: its text in `knowledge/edif.toml`, named by the code and a word or two.
            at: offset or place.
            words: for the text.
        """
        code = which.partition(" ")[0]
        count = self.warned[code] = self.warned.get(code, 0) + 1
        if count <= MOST_WARNINGS:
            place = self.tree.lines.place(at) if isinstance(at, int) else at
            self.builder.warn(code, table("edif")["warnings"][which].format(*words), place)

    def missing(self, wanted: str, names: Iterable[str], offset: int, found: str) -> BadInput:
        """Return the error of a reference that leads nowhere, with the nearest name."""
        near = nearest_names(wanted, names, most=1)
        hint = f"Nearest: {near[0]}." if near else ""
        return self.tree.lines.error(offset, found, hint=hint)

    # -- finding --

    def find_id(self, things: Mapping[str, object], wanted: str) -> str | None:
        """Return the id: exactly so, else without case and `&` (as the standard compares)."""
        if wanted in things:
            return wanted
        held = self.ids_folded.get(id(things))
        if held is None:
            ids: dict[str, str] = {}
            for one in things:
                ids.setdefault(folded(one), one)
            # the mapping is kept with it: an id of a mapping that is gone could come back
            held = self.ids_folded[id(things)] = (things, ids)
        return held[1].get(folded(wanted))

    def find(self, things: Mapping[str, Thing], wanted: str) -> Thing | None:
        """Return what has the id."""
        one = self.find_id(things, wanted)
        return None if one is None else things[one]

    def find_named(self, things: Mapping[str, Named], wanted: str) -> Named | None:
        """Return what has the id, else the only one of that shown name (some writers refer so)."""
        thing = self.find(things, wanted)
        if thing is not None:
            return thing
        called = [each for each in things.values() if folded(each.name) == folded(wanted)]
        return called[0] if len(called) == 1 else None

    def find_cell(self, library: str, wanted: str) -> tuple[str, Cell] | None:
        """Return library id and cell; any library will do if only one has the cell."""
        libraries = self.design.libraries
        home = self.find_named(libraries, library)
        if home is not None:
            cell = self.find_named(home.cells, wanted)
            if cell is not None:
                return next(one for one, held in libraries.items() if held is home), cell
        holders = [
            (one, cell)
            for one, held in libraries.items()
            if (cell := self.find(held.cells, wanted)) is not None
        ]
        return holders[0] if len(holders) == 1 else None

    def use(self, home: str, instance: Instance) -> Use:
        """Return what an instance is of; `home` is the library that it stands in."""
        key = (home, instance.library, instance.cell, instance.view)
        known = self.uses.get(key)
        if known is not None:
            return known
        found = self.find_cell(instance.library or home, instance.cell)
        library, cell = found or (home, Cell(instance.cell))
        view = self.find_named(cell.views, instance.view)
        if found is None:
            self.warn("missing-cell", instance.offset, instance.name, instance.cell)
        elif view is None and cell.views:
            view = next(iter(cell.views.values()))
            words = (instance.name, instance.view, cell.name, view.name)
            self.warn("missing-view", instance.offset, *words)
        own = view.properties if view is not None else {}
        fields = _fields({**cell.properties, **own, "cell": cell.name})
        if fields.value is None:
            fields = fields._replace(value=cell.name)
        made = self.uses[key] = Use(view, library, fields, {})
        return made

    def top(self) -> tuple[str, View]:
        """Return library id and view of the top cell; BadInput if there is none."""
        design = self.design
        if design.top_cell is None:
            library, cell = self.guess_top()
        else:
            found = self.find_cell(design.top_library, design.top_cell)
            if found is None:
                raise self.missing(
                    design.top_cell,
                    [one for held in design.libraries.values() for one in held.cells],
                    design.top_offset,
                    f"the design is of cell {design.top_cell!r}, which the file does not hold",
                )
            library, cell = found
        views = list(cell.views.values())
        view = next((view for view in views if view.is_sheet), None)
        if view is not None:
            return library, view
        if not views:
            raise self.tree.lines.error(
                design.top_offset,
                f"the top cell {cell.name!r} has no view",
                hint="Is this a library alone? Export the design.",
            )
        self.warn("empty-design", design.top_offset, cell.name)
        return library, views[0]

    def guess_top(self) -> tuple[str, Cell]:
        """Return the last cell with contents that no other one uses."""
        cells = [
            (library, one, cell)
            for library, held in self.design.libraries.items()
            for one, cell in held.cells.items()
        ]
        views = [view for _, _, cell in cells for view in cell.views.values()]
        used = {instance.cell for view in views for instance in view.instances.values()}
        tops = [
            (library, cell)
            for library, one, cell in cells
            if one not in used and any(view.is_sheet for view in cell.views.values())
        ]
        if not tops:
            raise self.tree.lines.error(
                0,
                "no cell with contents",
                expected="instances and nets",
                hint="Is this a library alone? Export the design.",
            )
        self.warn("no-design", 0, tops[-1][1].name)
        return tops[-1]

    # -- instances --

    def slots(self, view: View, library: str, path: str, annotated: Annotated) -> Slots:
        """Return the slot of each instance of a sheet."""
        slots: Slots = dict.fromkeys(view.symbols)
        schematic = view.type == "SCHEMATIC"
        for one, drawn in view.instances.items():
            instance, prefix, inner = drawn, path, annotated
            if annotated:
                inner = tuple(
                    (start, said)
                    for start, each in annotated
                    if (said := self.find(each.within, one)) is not None
                )
                instance, prefix = self.annotate(drawn, inner, path)
            use = self.use(library, instance)
            if use.is_sheet and not self.keep:
                slots[one] = Slot(use, instance, None, inner)
            elif schematic and not use.is_sheet and self.is_symbol(instance, use):
                slots[one] = None
            else:
                slots[one] = self.part(use, instance, prefix, path)
        for _, annotation in annotated:
            for one, each in annotation.within.items():
                if self.find_id(slots, one) is None:
                    self.warn("missing-instance", each.offset, one, view.name)
        return slots

    def annotate(self, drawn: Instance, annotated: Annotated, path: str) -> tuple[Instance, str]:
        """Return the instance as the outermost view map has it, and what its reference begins with.

        A view map of the whole board gives references of the board, without the sheet's path.
        """
        if not annotated:
            return drawn, path
        made = drawn.called(drawn.name, drawn.offset)
        properties = dict(drawn.properties or {})
        pins: dict[tuple[str, str], list[PinSaid]] = {}
        prefix, offset = path, drawn.offset
        for start, each in reversed(annotated):
            properties |= each.properties
            if each.designator:
                made.designator, prefix, offset = each.designator, start, each.offset
            numbers: dict[tuple[str, str], list[PinSaid]] = {}
            for pin in each.pins:
                numbers.setdefault((folded(pin.port), pin.member), []).append(pin)
            pins |= numbers
        made.properties = properties or None
        made.pins = [
            pin for pin in drawn.pins or () if (folded(pin.port), pin.member) not in pins
        ] + [pin for some in pins.values() for pin in some]
        if not path and drawn.designator and drawn.designator != made.designator:
            self.warn("annotated", offset, drawn.designator, made.designator)
        return made, prefix

    def fields_of(self, use: Use, instance: Instance) -> Fields:
        """Return what the properties of an instance and its cell say."""
        if instance.properties is None:
            return use.fields
        key = (id(use.fields), id(instance.properties))
        known = self.fields.get(key)
        if known is None:
            made = _fields(instance.properties, use.fields)
            known = self.fields[key] = (instance.properties, made)
        return known[1]

    def is_symbol(self, instance: Instance, use: Use) -> bool:
        """Whether an instance is drawing: no reference (or one as `#PWR1`), and at most one port.

        One without a reference but with pins of its own, or several ports, is a part all the same.
        """
        said = instance.designator or self.fields_of(use, instance).refdes or ""
        ports = len(use.view.ports) if use.view is not None else 0
        if said:
            return said.startswith("#") and ports <= 1
        if instance.pins or ports > 1:
            self.warn("no-designator", instance.offset, instance.cell, instance.name)
            return False
        if ports:  # else a frame, a title
            self.warn("symbol", instance.offset, instance.name, instance.cell)
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
        draft = self.units.get((prefix, refdes)) if joinable else None
        if draft is None:
            draft = self.builder.part(refdes, self.tree.lines.place(instance.offset))
            draft.value, draft.package, draft.description, _, draft.properties = fields
            if path:
                draft.sheet = path[:-1]
            if joinable:
                self.units[prefix, refdes] = draft
        else:
            self.join_unit(draft, fields, instance)
        slot = Slot(use, instance, draft)
        if instance.pins:
            self.number_pins(slot, instance.pins)
        self.slots_of_parts.append(slot)
        return slot

    def join_unit(self, draft: PartDraft, fields: Fields, instance: Instance) -> None:
        """Add a further unit of a part: what was missing is taken, what differs is said."""
        if draft.value is not None and fields.value not in (None, draft.value):
            self.warn("units-disagree", instance.offset, draft.refdes, draft.value, fields.value)
        for name in ("value", "package", "description"):
            if getattr(draft, name) is None:
                setattr(draft, name, getattr(fields, name))
        draft.properties = {**fields.properties, **draft.properties}

    # -- pins --

    def number_pins(self, slot: Slot, said: list[PinSaid]) -> None:
        """Give the ports of a part the numbers that its instance says."""
        numbers: PinNames = {}
        slot.numbers = numbers
        for port_id, member, number, _ in said:
            key, port = self.pin_key(slot, port_id, member)
            pin: PinName = (number, port_id, None)
            if port is not None:
                bits = port.bits(member)
                given = [word.strip() for word in number.split(",")] if len(bits) > 1 else []
                if len(given) == len(bits):
                    for bit, each in zip(bits, given, strict=True):
                        wire = (each, port.bit(bit), port.type)
                        numbers[key[0], port.member(bit)] = (wire,)
                    continue
                name = port.bit(bits[0]) if member and bits else port.name
                pin = (number, port.function or (name if name != number else None), port.type)
            known = numbers.get(key, ())
            if all(number != other[0] for other in known):
                numbers[key] = (*known, pin)

    def pin_key(self, slot: Slot, port_id: str, member: str) -> tuple[tuple[str, str], Port | None]:
        """Return port id and member as the cell spells them, and the port."""
        one = self.find_id(slot.ports, port_id)
        if one is None:
            return (port_id, member), None
        port = slot.ports[one]
        bits = port.bits(member)
        return (one, port.member(bits[0]) if len(bits) == 1 else member), port

    def pins(self, slot: Slot, port_id: str, member: str, net: NetForm) -> tuple[PinName, ...]:
        """Return the pins of a part that are meant by what a net names."""
        known = slot.numbers.get((port_id, member))
        if known is None:
            key, port = self.pin_key(slot, port_id, member)
            known = slot.numbers.get(key) or slot.use.pins.get(key)
            if known is None:
                known = slot.use.pins[key] = (self.pin_of_cell(slot, port, key, net),)
            slot.numbers[port_id, member] = known
        return known

    def pin_of_cell(
        self, slot: Slot, port: Port | None, key: tuple[str, str], net: NetForm
    ) -> PinName:
        """Return how a pin that a net names is called by its cell."""
        port_id, member = key
        if port is not None:
            bits = port.bits(member)
            if len(bits) == 1:
                return _port_pin(port, bits[0])
            self.warn_width(port, member, net)
            return f"{port.base}[{member}]" if member else port.name, port.function, port.type
        if slot.use.view is not None:
            instance = slot.instance
            words = (net.name, port_id, instance.name, instance.cell)
            self.warn("unknown-port of part", net.offset, *words)
        number = decode_id(port_id)
        return (f"{number}[{member}]" if member else number, None, None)

    def warn_width(self, port: Port, member: str, net: NetForm) -> None:
        """Say that a net joins wires that the port does not have, or several at once."""
        what = f"member {member} of port" if member else "all of port"
        wires = f"{port.size} {'wire' if port.size == 1 else 'wires'}"
        self.warn("width-mismatch", net.offset, net.name, what, port.name, wires)

    def open_pins(self, slot: Slot, connected: set[str]) -> Iterable[PinName]:
        """Return the pins that the part's cell and the instance give; () if all are connected."""
        view = slot.use.view
        if view is None:
            return ()
        known = self.pins_of_view.get(id(view))
        if known is None:
            pins: PinNames = {
                (port_id, port.member(bit)): (_port_pin(port, bit),)
                for port_id, port in view.ports.items()
                if port.size <= MOST_OPEN
                for bit in range(port.size)
            }
            known = self.pins_of_view[id(view)] = (pins, {pin[0] for (pin,) in pins.values()})
        pins, numbers = known
        self.listed_pins += len(pins)
        if self.listed_pins > MOST_EXPANDED:
            return ()
        if slot.instance.pins:
            pins = {key: slot.numbers.get(key, some) for key, some in pins.items()}
        elif numbers <= connected:
            return ()
        return [pin for some in pins.values() for pin in some]


def _port_pin(port: Port, bit: int) -> PinName:
    """Return how one wire of a port is called by its cell."""
    name = port.bit(bit)
    number = port.designator
    if number and port.sizes:
        given = [word.strip() for word in number.split(",")]
        number = given[bit] if len(given) == port.size else ""
    if number:
        return number, port.function or (name if name != number else None), port.type
    return name, port.function, port.type
