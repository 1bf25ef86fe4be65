"""From what an EDIF text says to a board: sheets expanded, names joined, pins numbered.

A cell instance with contents is a sheet: its parts become SHEET/R1, and its nets are those of the
net outside where a port ties them, else SHEET/NAME. With hierarchy "keep" a sheet stays one part.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal, NamedTuple, TypeVar

from nettrace.errors import Place
from nettrace.model.board import Board
from nettrace.model.builder import BoardBuilder, PartDraft
from nettrace.model.names import nearest_names
from nettrace.readers.document import Document
from nettrace.readers.edif_design import (
    Cell,
    Design,
    Instance,
    Library,
    NetForm,
    Port,
    View,
    decode_id,
    flat_index,
)
from nettrace.readers.edif_fields import Fields, cell_fields, instance_fields
from nettrace.readers.edif_tree import fault

__all__ = ["Hierarchy", "build_board"]

Hierarchy = Literal["flatten", "keep"]

#: Deepest hierarchy of sheets.
MOST_LEVELS = 100
#: Most instances and connections that sheets may expand to, so that a small text stays small.
MOST_EXPANDED = 2_000_000
#: Widest port whose unconnected wires are listed as pins.
MOST_OPEN = 4096
#: Largest cell in which a name like a wrong one is looked for.
MOST_NEAR = 2000
#: Warnings of one kind that are listed one by one; the rest is counted.
MOST_WARNINGS = 20

Thing = TypeVar("Thing")

#: Pin number, pin name, electrical type.
PinName = tuple[str, str | None, str | None]
#: Pins of a part as the builder takes them: (number, net) -> (name, electrical type, place).
PinFacts = dict[tuple[str, str | None], tuple[str | None, str | None, Place | None]]


class Node:
    """A net of the board while sheets are expanded; `into` is the node it was joined to."""

    __slots__ = ("aliases", "into", "name", "offset", "pins", "rank")

    def __init__(self, name: str, offset: int, rank: int) -> None:
        self.rank = rank
        self.name = name
        self.offset = offset
        self.into: Node | None = None
        self.aliases: list[str] = []
        # the part's pins so far, what this one is called, offset of the net that says so
        self.pins: list[tuple[PinFacts, PinName, int]] = []

    def root(self) -> Node:
        """Return the node that this one is part of now."""
        node = self
        while node.into is not None:
            if node.into.into is not None:
                node.into = node.into.into
            node = node.into
        return node

    def join(self, other: Node) -> Node:
        """Make both one; the name of the one met first (the outer one) stands."""
        first, second = self.root(), other.root()
        if second.rank < first.rank:
            first, second = second, first
        if first is not second:
            second.into = first
            first.pins.extend(second.pins)
            second.pins = []
        return first


#: Ports of a sheet, bit by bit, with the nets that they are tied to.
Bound = dict[tuple[Port, int], Node]
#: Pins by port id, or by (port id, member) of an array.
PinNames = dict[str | tuple[str, str], PinName]


class Use(NamedTuple):
    """What instances of one cell have in common."""

    cell: Cell | None
    view: View | None
    library: str
    fields: Fields
    pins: PinNames


class Slot:
    """An instance in one place of the hierarchy: a part (draft) or a sheet (bound ports)."""

    __slots__ = ("bound", "draft", "facts", "instance", "numbers", "use")

    def __init__(self, use: Use, instance: Instance, draft: PartDraft | None) -> None:
        self.use = use
        self.instance = instance
        self.draft = draft
        self.facts: PinFacts = draft.pin_facts if draft is not None else {}
        # pins as numbered here; shared with `use` where nothing is said here
        self.numbers = use.pins
        self.bound: Bound = {}


def build_board(document: Document, design: Design, hierarchy: Hierarchy) -> Board:
    """Return the board of a design; BadInput where a reference leads nowhere."""
    return _Expander(document, design, hierarchy).board()


class _Expander:
    def __init__(self, document: Document, design: Design, hierarchy: Hierarchy) -> None:
        self.document = document
        self.design = design
        self.keep = hierarchy == "keep"
        self.builder = BoardBuilder(document.path, "edif")
        self.builder.digest = document.digest
        self.nodes: list[Node] = []
        self.globals: dict[str, Node] = {}
        self.uses: dict[tuple[str, str, str, str], Use] = {}
        self.folded: dict[int, tuple[Mapping[str, object], dict[str, str]]] = {}
        self.pins_of_view: dict[
            int,
            tuple[list[tuple[str | tuple[str, str], PinName]], frozenset[str], list[PinName]],
        ] = {}
        self.open_pins = 0
        self.names: dict[str, int] = {}  # nets by name, and how many bear it
        self.fields: dict[tuple[int, int], Fields] = {}  # by cell and (shared) properties
        self.joined_units: dict[tuple[str, str], PartDraft] = {}
        self.measured: dict[int, int] = {}  # view -> what it expands to
        self.warned: dict[str, int] = {}
        self.at, self.line, self.line_start = 0, 1, 0  # what was last asked for
        self.has_sheets = False
        self.top_counts = (0, 0, 0)  # parts, nets, pins directly in the top cell
        self.slots_of_parts: list[Slot] = []
        self.top_joined: list[tuple[Node, list[tuple[str, str, str]]]] = []

    # -- places and warnings --

    def place(self, offset: int) -> Place:
        """Return line and column: counted on, or back, from the place asked for before."""
        text = self.document.text
        if offset >= self.at:
            lines = text.count("\n", self.at, offset)
            if lines:
                self.line += lines
                self.line_start = text.rfind("\n", self.at, offset) + 1
        elif offset < self.line_start:
            self.line -= text.count("\n", offset, self.line_start)
            self.line_start = text.rfind("\n", 0, offset) + 1
        self.at = offset
        return Place(self.document.path, self.line, offset - self.line_start + 1)

    def warn(self, code: str, message: str, offset: int) -> None:
        count = self.warned[code] = self.warned.get(code, 0) + 1
        if count <= MOST_WARNINGS:
            self.builder.warn(code, message, self.place(offset))

    # -- finding --

    def find(self, things: Mapping[str, Thing], wanted: str) -> Thing | None:
        """Return what has the id: exactly so, else without case (as the standard compares)."""
        thing = things.get(wanted)
        if thing is not None:
            return thing
        one = self.folded_ids(things).get(_folded(wanted))
        return None if one is None else things[one]

    def folded_ids(self, things: Mapping[str, object]) -> dict[str, str]:
        """Return id in small letters, without `&`, -> id; the first where that alone parts them."""
        held = self.folded.get(id(things))
        if held is None:
            folded: dict[str, str] = {}
            for one in things:
                folded.setdefault(_folded(one), one)
            # the mapping is kept with it: an id of a mapping that is gone could come back
            held = self.folded[id(things)] = (things, folded)
        return held[1]

    def find_cell(self, library: str, wanted: str) -> tuple[str, Cell] | None:
        libraries = self.design.libraries
        home = self.find(libraries, library)
        if home is not None:
            cell = self.find(home.cells, wanted)
            if cell is not None:
                return self.library_id(home), cell
        holders = [
            (one, cell)
            for one, held in libraries.items()
            if (cell := self.find(held.cells, wanted)) is not None
        ]
        return holders[0] if len(holders) == 1 else None

    def library_id(self, library: Library) -> str:
        return next(one for one, held in self.design.libraries.items() if held is library)

    def use(self, home: str, instance: Instance) -> Use:
        key = (home, instance.library, instance.cell, instance.view)
        known = self.uses.get(key)
        if known is not None:
            return known
        found = self.find_cell(instance.library or home, instance.cell)
        if found is None:
            self.warn(
                "missing-cell",
                f"{instance.name} is of cell {instance.cell}, which the file does not hold: "
                "its pins are those that nets name",
                instance.offset,
            )
            made = Use(None, None, home, cell_fields(instance.cell, {}, {}), {})
        else:
            library, cell = found
            view = self.find(cell.views, instance.view)
            if view is None and cell.views:
                view = next(iter(cell.views.values()))
                self.warn(
                    "missing-view",
                    f"{instance.name} wants view {instance.view} of cell {cell.name}, "
                    f"which has {view.name}",
                    instance.offset,
                )
            fields = cell_fields(cell.name, cell.properties, view.properties if view else {})
            made = Use(cell, view, library, fields, {})
        self.uses[key] = made
        return made

    # -- the whole --

    def board(self) -> Board:
        builder = self.builder
        for code, message, offset in self.design.notes:
            self.warn(code, message, offset)
        library, view = self.top()
        builder.name = self.design.name
        kind = {"NETLIST": "netlist", "SCHEMATIC": "schematic"}.get(view.type, view.type.lower())
        builder.version = f"2 0 0, {kind or 'netlist'} view"
        if self.is_plain(view, library):
            self.connect_plain(view, self.slots(view, library, ""))
        else:
            self.check_size(view, library)
            self.expand(view, library, "", {})
            self.emit(schematic=view.type == "SCHEMATIC")
        self.emit_open_pins()
        for code, count in self.warned.items():
            if count > MOST_WARNINGS:
                builder.warn(code, f"{count} such in all; the first {MOST_WARNINGS} are listed")
        if self.has_sheets and not self.keep:
            builder.part_records, builder.net_records, builder.pin_records = self.top_counts
        return builder.build()

    def top(self) -> tuple[str, View]:
        design = self.design
        if design.top_cell is not None:
            found = self.find_cell(design.top_library, design.top_cell)
            if found is None:
                names = [one for held in design.libraries.values() for one in held.cells]
                near = nearest_names(design.top_cell, names, most=1)
                raise fault(
                    self.document,
                    design.top_offset,
                    f"the design is of cell {design.top_cell!r}, which the file does not hold",
                    hint=f"Nearest: {near[0]}." if near else "",
                )
            library, cell = found
        else:
            library, cell = self.guess_top()
        for view in cell.views.values():
            if view.is_sheet:
                return library, view
        for view in cell.views.values():
            self.warn(
                "empty-design",
                f"the top cell {cell.name} has no contents: is this a library alone?",
                design.top_offset,
            )
            return library, view
        raise fault(
            self.document,
            design.top_offset,
            f"the top cell {cell.name!r} has no view",
            hint="Is this a library alone? Export the design.",
        )

    def guess_top(self) -> tuple[str, Cell]:
        sheets: list[tuple[str, Cell]] = []
        used: set[str] = set()
        for one, library in self.design.libraries.items():
            for cell in library.cells.values():
                for view in cell.views.values():
                    used.update(instance.cell for instance in view.instances.values())
                if any(view.is_sheet for view in cell.views.values()):
                    sheets.append((one, cell))
        tops = [
            (one, cell)
            for one, cell in sheets
            for name, held in self.design.libraries[one].cells.items()
            if held is cell and name not in used
        ]
        if not tops:
            raise fault(
                self.document,
                0,
                "no cell with contents",
                expected="instances and nets",
                hint="Is this a library alone? Export the design.",
            )
        library_id, top = tops[-1]
        self.builder.warn(
            "no-design", f"no '(design ...)': took cell {top.name} as the top", self.place(0)
        )
        return library_id, top

    def check_size(self, view: View, library: str) -> None:
        """Refuse what would expand beyond reason."""
        if self.measure(view, library, []) > MOST_EXPANDED + len(self.document.text):
            raise fault(
                self.document,
                view.offset,
                f"sheets and buses that expand to over {MOST_EXPANDED} instances and connections",
                hint="" if self.keep else "Read it with --hierarchy keep.",
            )

    def measure(self, view: View, library: str, above: list[View]) -> int:
        """Return how many instances and connections a view expands to, before any is made."""
        known = self.measured.get(id(view))
        if known is not None:
            return known
        if view in above or len(above) > MOST_LEVELS:
            looped = view in above
            raise fault(
                self.document,
                view.offset,
                f"view {view.name!r} of a cell that contains itself"
                if looped
                else f"sheets nested {len(above)} deep",
                expected="" if looped else f"at most {MOST_LEVELS}",
            )
        total = len(view.instances) + sum(
            (1 + len(net.joined)) * max(1, net.size) for net in view.nets
        )
        above.append(view)
        for instance in () if self.keep else view.instances.values():
            use = self.use(library, instance)
            if use.view is not None and use.view.is_sheet:
                total += self.measure(use.view, use.library, above)
        above.pop()
        self.measured[id(view)] = total
        return total

    def expand(self, view: View, library: str, path: str, bound: Bound) -> None:
        slots = self.slots(view, library, path)
        self.connect(view, slots, path, bound)
        if not path and self.has_sheets:
            self.count_top(slots)
        for slot in slots.values():
            if slot is not None and slot.draft is None and slot.use.view is not None:
                instance = slot.instance
                name = instance.designator or instance.name
                self.expand(slot.use.view, slot.use.library, f"{path}{name}/", slot.bound)

    # -- instances --

    def slots(self, view: View, library: str, path: str) -> dict[str, Slot | None]:
        """Return the slot of each instance; None for a symbol that is no part."""
        slots: dict[str, Slot | None] = dict.fromkeys(view.symbols)
        schematic = view.type == "SCHEMATIC"
        for one, instance in view.instances.items():
            use = self.use(library, instance)
            used_view = use.view
            if used_view is not None and used_view.is_sheet:
                if not self.keep:
                    slots[one] = Slot(use, instance, None)
                    continue
            elif schematic and instance.designator is None and self.is_symbol(instance, use):
                slots[one] = None
                continue
            slots[one] = self.part(use, instance, path)
        return slots

    def is_symbol(self, instance: Instance, use: Use) -> bool:
        """Whether an instance without reference is drawing: no more than one port, no property."""
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

    def part(self, use: Use, instance: Instance, path: str) -> Slot:
        fields = use.fields
        if instance.properties is not None:
            key = (id(fields), id(instance.properties))
            known = self.fields.get(key)
            if known is None:
                known = self.fields[key] = instance_fields(fields, instance.properties)
            fields = known
        said = instance.designator
        if said is None:
            said = fields.refdes
        refdes = path + (said if said is not None else instance.name)
        joinable = bool(said) and not refdes.endswith("?")
        draft = self.joined_units.get((path, refdes)) if joinable else None
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
                self.joined_units[path, refdes] = draft
        else:
            self.join_unit(draft, fields, instance)
        slot = Slot(use, instance, draft)
        if instance.pins:
            slot.numbers = self.own_numbers(use, instance)
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

    def own_numbers(self, use: Use, instance: Instance) -> PinNames:
        """Return pins by (port, member) with the numbers that this instance gives."""
        numbers: PinNames = {}
        view = use.view
        for port_id, member, designator in instance.pins or ():
            port = self.find(view.ports, port_id) if view is not None else None
            if port is None:
                numbers[_key(port_id, member)] = (designator, port_id, None)
                continue
            bits = _bits(port, member)
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
                numbers[_key(port_id, member)] = (
                    designator,
                    port.function or (name if name != designator else None),
                    port.kind or port.direction,
                )  # fmt: skip
        return numbers

    def pin(self, slot: Slot, port_id: str, member: str, net: NetForm) -> PinName:
        """Return number, name and electrical type of a pin that a net names (then remembered)."""
        use = slot.use
        key = _key(port_id, member)
        made = use.pins.get(key)
        if made is None:
            made = use.pins[key] = self.new_pin(slot, port_id, member, net)
        if slot.numbers is not use.pins:
            # numbers said by the instance may spell the port or its member otherwise
            view = use.view
            port = self.find(view.ports, port_id) if view is not None else None
            if port is not None:
                bits = _bits(port, member)
                for other, said in list(slot.numbers.items()):
                    one, index = (other, "") if isinstance(other, str) else other
                    if self.same_pin(slot, one, index, port, bits):
                        made = said
                        break
            slot.numbers[key] = made
        return made

    def same_pin(
        self, slot: Slot, port_id: str, member: str, port: Port, bits: Sequence[int]
    ) -> bool:
        view = slot.use.view
        return (
            view is not None
            and self.find(view.ports, port_id) is port
            and _bits(port, member) == bits
        )

    def new_pin(self, slot: Slot, port_id: str, member: str, net: NetForm) -> PinName:
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
        bits = _bits(port, member)
        if len(bits) != 1:
            self.warn_width(port, member, net)
            name = f"{port.base}[{member}]" if member else port.name
            return name, port.function, port.kind or port.direction
        return self.port_pin(port, bits[0])

    def warn_width(self, port: Port, member: str, net: NetForm) -> None:
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

    # -- nets --

    def is_plain(self, view: View, library: str) -> bool:
        """Whether every net of the top cell is a net of the board, whatever else there is."""
        self.has_sheets = any(
            used is not None and used.is_sheet
            for used in {
                id(use): use.view
                for use in (self.use(library, each) for each in view.instances.values())
            }.values()
        )
        plain = view.type != "SCHEMATIC" and (self.keep or not self.has_sheets)
        plain = plain and not any(net.size or net.globals for net in view.nets)
        # one net given twice, or a port of the cell on two nets, makes them one
        plain = plain and len({net.id for net in view.nets}) == len(view.nets)
        if plain and not view.ports:
            return True
        self.design.read_all_spans()
        own = [(_folded(ref[0]), ref[1]) for net in view.nets for ref in net.joined if not ref[2]]
        return plain and len(set(own)) == len(own)

    def connect_plain(self, view: View, slots: dict[str, Slot | None]) -> None:
        """Hand the nets of a flat netlist to the builder: `connect` and `emit` in one."""
        builder = self.builder
        bound: Bound = {}
        for net in view.nets:
            name = self.own_name(net.name, net.offset)
            place = self.place(net.offset)
            builder.net(name, place=place, aliases=net.aliases)
            fact: tuple[str | None, str | None, Place | None] = (None, None, place)
            for port_id, member, instance in self.design.joined(net):
                slot = slots.get(instance)
                if slot is None:
                    if not instance:
                        node = Node(name, net.offset, 0)
                        self.join_own_port(net, port_id, member, node, view, bound)
                        continue
                    slot = self.other_slot(net, instance, slots)
                    if slot is None:
                        continue
                number, pin_name, kind = slot.numbers.get(
                    (port_id, member) if member else port_id
                ) or self.pin(slot, port_id, member, net)
                facts = slot.facts
                key = (number, name)
                if key not in facts:
                    if fact[0] is not pin_name or fact[1] is not kind:
                        fact = (pin_name, kind, place)
                    facts[key] = fact

    def own_name(self, name: str, offset: int) -> str:
        """Return the name of a net, made another where a net before it has that name."""
        count = self.names[name] = self.names.get(name, 0) + 1
        if count == 1:
            return name
        while (other := f"{name}~{count}") in self.names:
            count += 1
        self.names[name], self.names[other] = count, 1
        self.warn(
            "repeated-net-name", f"another net is called {name} too: it is {other} here", offset
        )
        return other

    def connect(self, view: View, slots: dict[str, Slot | None], path: str, bound: Bound) -> None:
        """Put the pins of every net on its node; nets of one name on several pages are one."""
        known_nodes: dict[str, Node] = {}
        by_connector: dict[str, Node] = {}
        schematic = view.type == "SCHEMATIC"
        for net in view.nets:
            singles = self.singles(net, view, slots) if net.size else [(net.name, net.joined)]
            for name, joined in singles:
                known = known_nodes.get(name if schematic else f"{net.id} {name}")
                if known is None:
                    node = Node(path + name, net.offset, len(self.nodes))
                    self.nodes.append(node)
                    known_nodes[name if schematic else f"{net.id} {name}"] = node
                else:
                    node = known
                    if not schematic:
                        self.warn(
                            "repeated-net", f"net {net.id} is given twice: joined", net.offset
                        )
                if not net.size:
                    for connector in net.connectors:
                        by_connector.setdefault(connector, node).join(node)
                    for one in net.globals:
                        self.globals.setdefault(one, node).join(node)
                    node.aliases.extend(net.aliases)
                if not path:
                    self.top_joined.append((node, joined))
                self.join_pins(net, joined, node, view, slots, bound)

    def join_pins(
        self,
        net: NetForm,
        joined: list[tuple[str, str, str]],
        node: Node,
        view: View,
        slots: dict[str, Slot | None],
        bound: Bound,
    ) -> None:
        pins = node.root().pins
        offset = net.offset
        for port_id, member, instance in joined:
            slot = slots.get(instance)
            if slot is None:
                if not instance:
                    if self.join_own_port(net, port_id, member, node, view, bound):
                        pins = node.root().pins
                    continue
                slot = self.other_slot(net, instance, slots)
                if slot is None:
                    continue
            if slot.draft is not None:
                said = slot.numbers.get((port_id, member) if member else port_id) or self.pin(
                    slot, port_id, member, net
                )
                pins.append((slot.facts, said, offset))
            elif self.join_sheet_port(net, slot, port_id, member, node):
                pins = node.root().pins

    def other_slot(self, net: NetForm, instance: str, slots: dict[str, Slot | None]) -> Slot | None:
        """Return the slot of an id in other letters' case; None for a symbol; error if none."""
        if instance in slots:
            return slots[instance]
        one = self.folded_ids(slots).get(_folded(instance))
        if one is not None:
            return slots[one]
        near = nearest_names(instance, slots, most=1) if len(slots) <= MOST_NEAR else ()
        raise fault(
            self.document,
            net.offset,
            f"net {net.name!r} joins instance {instance!r}, which the cell does not hold",
            hint=f"Nearest: {near[0]}." if near else "",
        )

    def join_own_port(
        self, net: NetForm, port_id: str, member: str, node: Node, view: View, bound: Bound
    ) -> bool:
        """Tie a net to a port of its own cell, and so to the net outside."""
        port = self.find(view.ports, port_id)
        if port is None:
            self.warn(
                "unknown-port",
                f"net {net.name} joins port {port_id}, which its cell does not have",
                net.offset,
            )
            return False
        return self.bind(bound, port, member, node, net)

    def join_sheet_port(
        self, net: NetForm, slot: Slot, port_id: str, member: str, node: Node
    ) -> bool:
        """Tie a net to a port of a sheet in its cell."""
        view = slot.use.view
        port = self.find(view.ports, port_id) if view is not None else None
        if port is None:
            self.warn(
                "unknown-port",
                f"net {net.name} joins port {port_id} of sheet {slot.instance.name}, "
                "which it does not have",
                net.offset,
            )
            return False
        return self.bind(slot.bound, port, member, node, net)

    def bind(self, bound: Bound, port: Port, member: str, node: Node, net: NetForm) -> bool:
        """Return whether the node was joined to another one that the port is tied to."""
        bits = _bits(port, member)
        if len(bits) != 1:
            self.warn_width(port, member, net)
            return False
        known = bound.setdefault((port, bits[0]), node)
        if known.root() is node.root():
            return False
        known.join(node)
        return True

    def singles(
        self, net: NetForm, view: View, slots: dict[str, Slot | None]
    ) -> list[tuple[str, list[tuple[str, str, str]]]]:
        """Return an array of nets wire by wire: (name, joined)."""
        names = Port(net.name, sizes=(net.size,))
        wires: list[tuple[str, list[tuple[str, str, str]]]] = [
            (names.bit(index), []) for index in range(net.size)
        ]
        for port_id, member, instance in net.joined:
            if instance:
                slot = slots.get(instance) or self.other_slot(net, instance, slots)
                if slot is None:
                    continue
                inner = slot.use.view
                port = self.find(inner.ports, port_id) if inner is not None else None
            else:
                port = self.find(view.ports, port_id)
            if port is None or member or port.size != net.size:
                self.warn(
                    "width-mismatch",
                    f"bus {net.name} joins port {port_id}, which is not of its width: left out",
                    net.offset,
                )
                continue
            for index, (_, joined) in enumerate(wires):
                joined.append((port_id, _member(port.sizes, index), instance))
        return wires

    # -- the end --

    def count_top(self, slots: dict[str, Slot | None]) -> None:
        """Count what stands directly in the top cell: sheets as parts, their ports as pins."""
        nets: set[int] = set()
        pins: set[tuple[str, str]] = set()
        for node, joined in self.top_joined:
            for port_id, member, instance in joined:
                slot = slots.get(instance)
                if slot is None:
                    continue
                name = slot.draft.refdes if slot.draft is not None else slot.instance.name
                known = slot.numbers.get(_key(port_id, member))
                if known is None:
                    view = slot.use.view
                    port = self.find(view.ports, port_id) if view is not None else None
                    bits = _bits(port, member) if port is not None else ()
                    if port is None or len(bits) != 1:
                        continue
                    pins.add((name, port.bit(bits[0]) if port.sizes else port.name))
                else:
                    pins.add((name, known[0]))
                nets.add(id(node.root()))
        parts = {id(slot.draft or slot) for slot in slots.values() if slot is not None}
        self.top_counts = (len(parts), len(nets), len(pins))

    def emit(self, *, schematic: bool) -> None:
        """Hand nets and pins to the builder."""
        builder = self.builder
        inner: dict[str, list[int]] = {}  # nets of sheets by their own name
        for node in self.nodes:
            root = node.root()
            if root is not node:
                root.aliases.append(node.name)
                root.aliases.extend(node.aliases)
        for node in self.nodes:
            if node.into is not None:
                continue
            name = self.own_name(node.name, node.offset)
            if schematic and "/" in name:
                short = name.rsplit("/", 1)[1]
                inner.setdefault(short, []).append(node.offset)
            place = self.place(node.offset)
            builder.net(name, place=place, aliases=node.aliases)
            own = node.offset
            for facts, (number, pin_name, kind), offset in node.pins:
                key = (number, name)
                if key not in facts:
                    facts[key] = (pin_name, kind, place if offset == own else self.place(offset))
        for name, offsets in inner.items():
            if len(offsets) > 1 or name in self.names:
                self.warn(
                    "same-name-apart",
                    f"nets called {name} stand in several sheets and are not tied by ports",
                    offsets[0],
                )

    def emit_open_pins(self) -> None:
        """Add the pins that no net names, and say which pin is on two nets."""
        connected: dict[int, set[str]] = {}
        for slot in self.slots_of_parts:
            draft = slot.draft
            if draft is None:
                continue
            numbers = connected.get(id(draft))
            if numbers is None:
                numbers = connected[id(draft)] = {number for number, _ in draft.pin_facts}
                if len(numbers) != len(draft.pin_facts):
                    self.warn_two_nets(draft)
            every, pins = self.all_pins(slot)
            if every <= numbers:
                continue
            for number, name, kind in pins:
                if number not in numbers:
                    numbers.add(number)
                    draft.pin_facts[number, None] = (name, kind, draft.place)

    def warn_two_nets(self, draft: PartDraft) -> None:
        nets: dict[str, list[str]] = {}
        for number, net in draft.pin_facts:
            nets.setdefault(number, []).append(net or "")
        for number, names in nets.items():
            if len(names) > 1:
                place = draft.pin_facts[number, names[1]][2]
                self.warned["pin-on-two-nets"] = count = self.warned.get("pin-on-two-nets", 0) + 1
                if count <= MOST_WARNINGS:
                    self.builder.warn(
                        "pin-on-two-nets",
                        f"{draft.refdes}.{number} is on {' and '.join(names)}",
                        place,
                    )

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
                    key = _key(port_id, _member(port.sizes, bit))
                    found.append((key, self.port_pin(port, bit)))
            pins = [pin for _, pin in found]
            known = self.pins_of_view[id(view)] = (found, frozenset(pin[0] for pin in pins), pins)
        found, every, pins = known
        self.open_pins += len(pins)
        if self.open_pins > MOST_EXPANDED:
            return frozenset(), []
        if slot.instance.pins:
            pins = [slot.numbers.get(key, pin) for key, pin in found]
            every = frozenset(pin[0] for pin in pins)
        return every, pins


def _key(port_id: str, member: str) -> str | tuple[str, str]:
    return (port_id, member) if member else port_id


def _folded(identifier: str) -> str:
    return identifier.casefold().removeprefix("&")


def _bits(port: Port, member: str) -> Sequence[int]:
    """Return the wires of a port that are meant, counted from the left; () if out of range."""
    if not member:
        return range(port.size)
    flat = flat_index(member, port.sizes)
    return () if flat is None else (flat,)


def _member(sizes: tuple[int, ...], flat: int) -> str:
    """Return the member text of a flat index, "" for a single port."""
    words: list[str] = []
    for size in reversed(sizes):
        flat, index = divmod(flat, size)
        words.append(str(index))
    return " ".join(reversed(words))
