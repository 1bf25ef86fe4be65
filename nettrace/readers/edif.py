"""EDIF 2 0 0 (ANSI/EIA-548): netlist view and schematic view.

One way from text to board: the tree of its forms (`edif_tree`), what they say cell by cell
(`edif_cells`), and here instances become parts, sheets are expanded, pins tied to nets.
`grammars/edif.lark` is the definition of the netlist view for people, and for a test.

A cell instance with contents is a sheet: its parts become SHEET/R1, and its nets are those of the
net outside where a port ties them, else SHEET/NAME. With hierarchy "keep" a sheet stays one part.

Which property is a part's value, package or reference goes by the names that PCB schematic tools
write; common practice, no source. A property is kept as written whatever it is used for.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache
from operator import itemgetter
from typing import Literal, NamedTuple, TypeVar

from nettrace.collector import collector_off
from nettrace.errors import BadInput, Place
from nettrace.knowledge import pattern, table
from nettrace.model.board import Board
from nettrace.model.builder import BoardBuilder, PartDraft, PinFact, PinKey
from nettrace.model.names import nearest_names
from nettrace.readers.document import Document
from nettrace.readers.edif_cells import (
    Annotation,
    Cell,
    CellReader,
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
from nettrace.readers.edif_tree import Ref, Tree

Hierarchy = Literal["flatten", "keep"]

#: Deepest hierarchy of sheets.
MOST_LEVELS = 100
#: Largest cell in which a name like a wrong one is looked for.
MOST_NEAR = 2000
#: Warnings of one kind that are listed one by one; the rest is counted.
MOST_WARNINGS = 20
#: Most instances and connections that sheets may expand to, so that a small text stays small.
MOST_EXPANDED = 2_000_000
#: Widest port whose unconnected wires are listed as pins.
MOST_OPEN = 4096

_LIBRARY_ALONE = "Is this a library alone? Export the design."
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


def read(document: Document) -> Board:
    """Return the board of an EDIF text, its sheets expanded if not said otherwise."""
    return read_with(document, "keep" if document.hierarchy == "keep" else "flatten")


def read_with(document: Document, hierarchy: Hierarchy = "flatten") -> Board:
    """Return the board of an EDIF text.

    Args:
        document: the text.
        hierarchy: "flatten" expands a cell with contents to SHEET/R1; "keep" leaves it one part.

    Raises:
        BadInput: not EDIF 2 0 0, or a reference that leads nowhere, with line and column.

    The counts of the board's source are of what stands directly in the top cell in both cases.
    """
    with collector_off():
        return _board(Tree(document), hierarchy)  # what the collector is to see is the board alone


def _board(tree: Tree, hierarchy: Hierarchy) -> Board:
    return BoardMaker(tree, CellReader(tree).read(), keep=hierarchy == "keep").board()


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
        self.pins: list[tuple[dict[PinKey, PinFact], PinName, int]] = []

    def root(self) -> Node:
        """Return the node that this one is part of now."""
        node = self
        while node.into is not None:
            if node.into.into is not None:
                node.into = node.into.into
            node = node.into
        return node

    def join(self, other: Node) -> None:
        """Make both one; the name of the one met first (the outer one) stands."""
        first, second = self.root(), other.root()
        if second.rank < first.rank:
            first, second = second, first
        if first is not second:
            second.into = first
            first.pins.extend(second.pins)
            second.pins = []


#: Ports of a sheet, bit by bit, with the nets that they are tied to.
Bound = dict[tuple[Port, int], Node]


class BoardMaker:
    """Expands a design, which it uses up, into a board."""

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
        self.nodes: list[Node] = []
        self.names: dict[str, int] = {}  # nets by name, and how many bear it
        self.globals: dict[str, Node] = {}
        self.powers: dict[str, Node] = {}  # supply nets with a power symbol, by name
        self.bound: dict[int, Bound] = {}  # slot -> what its ports are tied to
        self.top_joined: list[tuple[Node, list[Ref]]] = []

    def warn(self, which: str, at: int | Place | None, *words: object) -> None:
        """Note something read with care; beyond the first of a kind it is counted.

        `which` names its text in `knowledge/edif.toml`: the code, and a word or two.
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

    def board(self) -> Board:
        """Return the board; BadInput where a reference leads nowhere."""
        builder = self.builder
        for which, offset, words in self.design.notes:
            self.warn(which, offset, *words)
        library, view = self.top()
        for said in self.design.annotations.values():
            view.annotate(said)
        builder.name = self.design.name
        kind = {"NETLIST": "netlist", "SCHEMATIC": "schematic"}.get(view.type, view.type.lower())
        builder.version = f"2 0 0, {kind or 'netlist'} view"
        if self.measure(view, library, [], {}) > MOST_EXPANDED + len(self.tree.text):
            raise self.tree.lines.error(
                view.offset,
                f"sheets and buses that expand to over {MOST_EXPANDED} instances and connections",
                hint="" if self.keep else "Read it with --hierarchy keep.",
            )
        self.expand(view, library, "", {}, ())
        self.emit(schematic=view.type == "SCHEMATIC")
        self.emit_open_pins()
        for code, count in self.warned.items():
            if count > MOST_WARNINGS:
                builder.warn(code, f"{count} such in all; the first {MOST_WARNINGS} are listed")
        return builder.build()

    def measure(self, view: View, library: str, above: list[View], measured: dict[int, int]) -> int:
        """Return how many instances and connections a view expands to, before any is made."""
        if id(view) in measured:
            return measured[id(view)]
        if view in above:
            found = f"view {view.name!r} of a cell that contains itself"
            raise self.tree.lines.error(view.offset, found)
        if len(above) > MOST_LEVELS:
            found = f"sheets nested {len(above)} deep"
            raise self.tree.lines.error(view.offset, found, expected=f"at most {MOST_LEVELS}")
        total = sum((1 + len(net.joined)) * max(1, net.size) for net in view.nets)
        total += len(view.instances)
        above.append(view)
        for instance in () if self.keep else view.instances.values():
            use = self.use(library, instance)
            if use.view is not None and use.is_sheet:
                total += self.measure(use.view, use.library, above, measured)
        above.pop()
        measured[id(view)] = total
        return total

    def expand(self, view: View, library: str, path: str, bound: Bound, outer: Annotated) -> None:
        """Make the parts and nets of a sheet, and of those in it.

        Their names begin with `path`; `bound` are the nets outside that its ports are tied to,
        `outer` is what view maps outside of it say of its instances.
        """
        annotated = outer if view.annotation is None else (*outer, (path, view.annotation))
        slots = self.slots(view, library, path, annotated)
        self.connect(view, slots, path, bound)
        sheets = [slot for slot in slots.values() if slot is not None and slot.draft is None]
        if sheets and not path:
            self.count_top(slots)
        for slot in sheets:
            if slot.use.view is not None:
                inner = f"{path}{slot.called}/"
                ties = self.bound.get(id(slot), {})
                self.expand(slot.use.view, slot.use.library, inner, ties, slot.annotated)

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
            found_none = f"the top cell {cell.name!r} has no view"
            raise self.tree.lines.error(design.top_offset, found_none, hint=_LIBRARY_ALONE)
        self.warn("empty-design", design.top_offset, cell.name)
        return library, views[0]

    def guess_top(self) -> tuple[str, Cell]:
        """Return the last cell with contents that no other one uses."""
        libraries = self.design.libraries
        cells = [cell for held in libraries.values() for cell in held.cells.values()]
        views = [view for cell in cells for view in cell.views.values()]
        used = {instance.cell for view in views for instance in view.instances.values()}
        tops = [
            (library, cell)
            for library, held in libraries.items()
            for one, cell in held.cells.items()
            if one not in used and any(view.is_sheet for view in cell.views.values())
        ]
        if not tops:
            raise self.tree.lines.error(
                0, "no cell with contents", expected="instances and nets", hint=_LIBRARY_ALONE
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
        said = instance.properties
        if said is None:
            return use.fields
        key = (id(use.fields), id(said))
        if key not in self.fields:
            self.fields[key] = (said, _fields(said, use.fields))
        return self.fields[key][1]

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
        """Return the slot of a part, its reference with the prefix; a further unit of it joins."""
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

    # -- nets --

    def connect(self, view: View, slots: Slots, path: str, bound: Bound) -> None:
        """Put the pins of every net on its node; nets of one name on several pages are one."""
        known_nodes: dict[str, Node] = {}
        by_connector: dict[str, Node] = {}
        schematic = view.type == "SCHEMATIC"
        if schematic:
            self.settle_twins(view.nets, slots)
            self.tie_said_pins(view.nets, slots)
        for net in view.nets:
            singles = self.singles(net, view, slots) if net.size else [(net.name, net.joined)]
            for index, (name, joined) in enumerate(singles):
                key = name if schematic else f"{net.id} {name}"
                node = known_nodes.get(key)
                if node is None:
                    node = known_nodes[key] = Node(path + name, net.offset, len(self.nodes))
                    self.nodes.append(node)
                elif not schematic:
                    self.warn("repeated-net", net.offset, net.id)
                for connector in net.connectors:
                    wire = f"{connector} {index}" if net.size else connector
                    by_connector.setdefault(wire, node).join(node)
                if not net.size:
                    for one in net.globals:
                        self.globals.setdefault(one, node).join(node)
                    node.aliases.extend(net.aliases)
                    power = schematic and pattern("edif", "power").fullmatch(name)
                    if power and _has_symbol(net, slots):
                        # in several sheets it means the same net
                        known = self.powers.setdefault(name, node)
                        if known.root() is not node.root():
                            self.warn("power-symbols", node.offset, name)
                            known.join(node)
                if not path:
                    self.top_joined.append((node, joined))
                self.join_pins(net, joined, node, view, slots, bound)

    def singles(self, net: NetForm, view: View, slots: Slots) -> list[tuple[str, list[Ref]]]:
        """Return an array of nets wire by wire: (name, joined)."""
        names = Port(net.name, (net.size,))
        wires: list[tuple[str, list[Ref]]] = [(names.bit(bit), []) for bit in range(net.size)]
        for port_id, member, instance in net.joined:
            slot = self.slot(net, instance, slots) if instance else None
            if instance and slot is None:
                continue
            port = self.find(slot.ports if slot is not None else view.ports, port_id)
            if port is None or member or port.size != net.size:
                self.warn("width-mismatch of bus", net.offset, net.name, port_id)
                continue
            for index, (_, joined) in enumerate(wires):
                joined.append((port_id, port.member(index), instance))
        return wires

    def join_pins(
        self, net: NetForm, joined: list[Ref], node: Node, view: View, slots: Slots, bound: Bound
    ) -> None:
        """Put the pins that one net form joins on its node; a port of a sheet joins two nodes."""
        pins = node.root().pins
        for port_id, member, instance in joined:
            slot = slots.get(instance)
            if slot is None:
                slot = self.slot(net, instance, slots) if instance else None
            elif (known := slot.numbers.get((port_id, member))) is not None:
                for pin in known:  # nearly always
                    pins.append((slot.facts, pin, net.offset))
                continue
            if slot is not None and slot.draft is not None:
                for pin in self.pins(slot, port_id, member, net):
                    pins.append((slot.facts, pin, net.offset))
                continue
            if slot is None and instance:
                continue  # a symbol
            port = self.find(view.ports if slot is None else slot.ports, port_id)
            if port is None:
                where = ("of cell",) if slot is None else ("of sheet", slot.instance.name)
                words = (net.name, port_id, *where[1:])
                self.warn(f"unknown-port {where[0]}", net.offset, *words)
                continue
            bits = port.bits(member)
            if len(bits) != 1:
                self.warn_width(port, member, net)
                continue
            ties = bound if slot is None else self.bound.setdefault(id(slot), {})
            ties.setdefault((port, bits[0]), node).join(node)
            pins = node.root().pins

    def slot(self, net: NetForm, instance: str, slots: Slots) -> Slot | None:
        """Return the slot of an instance that a net names; None for a symbol; error if none."""
        one = self.find_id(slots, instance)
        if one is not None:
            return slots[one]
        raise self.missing(
            instance,
            slots if len(slots) <= MOST_NEAR else (),
            net.offset,
            f"net {net.name!r} joins instance {instance!r}, which the cell does not hold",
        )

    # -- pins that nets name badly or not at all --

    # A schematic symbol may have several pins called GND. Ids must differ, so some writers call
    # the ports GND, GND_3..., put the pin's own name in a property (`OriginalPinName`), and yet
    # write `(portRef GND)` in the nets for each of them. Which of the pins a net means is then said
    # by the instance (the `Net Name` of its `portInstance`); where it is not, the pins are taken in
    # the order of the ports. Pins that are not drawn (supply pins of logic chips) are in no net
    # either, yet have a `Net Name`.

    def settle_twins(self, nets: list[NetForm], slots: Slots) -> None:
        """Let each reference to pins of one name mean one of them; changes the nets' `joined`."""
        families: dict[int, dict[str, list[str]]] = {}
        with_twins: list[tuple[str, Slot, dict[str, list[str]]]] = []
        for one, slot in slots.items():
            if slot is not None and slot.draft is not None and slot.use.view is not None:
                view = slot.use.view
                if id(view) not in families:
                    families[id(view)] = _families(view)
                if families[id(view)]:
                    with_twins.append((one, slot, families[id(view)]))
        wanted = {one for one, _, _ in with_twins}
        spots: dict[tuple[str, str], list[tuple[NetForm, int]]] = {}
        for net in nets if wanted else ():
            for index, (port, member, one) in enumerate(net.joined):
                if not member and one in wanted:
                    spots.setdefault((one, port), []).append((net, index))
        for one, slot, known in with_twins:
            for head, ports in known.items():
                found = spots.get((one, head), [])
                # a writer that names the twins themselves needs no help
                if found and not any((one, port) in spots for port in ports if port != head):
                    self.settle(slot, one, head, ports, found)

    def settle(
        self, slot: Slot, one: str, head: str, ports: list[str], found: list[tuple[NetForm, int]]
    ) -> None:
        """Let each of the references found (net, index in its `joined`) mean one of the ports."""
        said = {pin.port: pin.net for pin in slot.instance.pins or () if pin.net}
        left = list(ports)
        unsure: list[tuple[NetForm, int]] = []
        for net, index in found:
            # a net's shown name, or one of its other names, as the instance has it
            names = {net.name, net.id, *net.aliases}
            port = next((port for port in left if said.get(port) in names), None)
            if port is None:
                unsure.append((net, index))
            else:
                left.remove(port)
                net.joined[index] = (port, "", one)
        unsaid = [port for port in left if port not in said]
        # of pins that all go to one net, whichever is meant is right
        sure = len(unsure) == len(unsaid) and len({id(net) for net, _ in unsure}) == 1
        for (net, index), port in zip(unsure, unsaid, strict=False):
            net.joined[index] = (port, "", one)
        if unsure and not sure:
            net = unsure[0][0]
            words = (slot.called, len(ports), decode_id(head), net.name)
            self.warn("pins-of-one-name", net.offset, *words)

    def tie_said_pins(self, nets: list[NetForm], slots: Slots) -> None:
        """Put pins that no net joins on the net that their instance names, if it is there."""
        said = [
            (one, slot, pin)
            for one, slot in slots.items()
            if slot is not None and slot.draft is not None
            for pin in slot.instance.pins or ()
            if pin.net and not pin.member
        ]
        if not said:
            return
        joined = {(one, folded(port)) for net in nets for port, _, one in net.joined if one}
        by_name = {net.name: net for net in reversed(nets) if not net.size}
        for one, slot, pin in said:
            named = by_name.get(pin.net)
            if named is not None and (one, folded(pin.port)) not in joined:
                named.joined.append((pin.port, "", one))
                words = (slot.called, pin.designator, pin.net)
                self.warn("net-said-by-pin", slot.instance.offset, *words)

    # -- the end --

    def count_top(self, slots: Slots) -> None:
        """Count what stands directly in the top cell: sheets as parts, their ports as pins."""
        nets: set[int] = set()
        pins: set[tuple[str, str]] = set()
        for node, joined in self.top_joined:
            for port_id, member, instance in joined:
                slot = slots.get(instance)
                if slot is None:
                    continue
                known = slot.numbers.get((port_id, member))
                if known is not None:
                    numbers = [pin[0] for pin in known]
                else:
                    port = self.find(slot.ports, port_id)
                    numbers = [port.bit(bit) for bit in port.bits(member)] if port else []
                    if len(numbers) != 1:
                        continue
                name = slot.draft.refdes if slot.draft is not None else slot.instance.name
                pins |= {(name, number) for number in numbers}
                nets.add(id(node.root()))
        builder = self.builder
        parts = {id(slot.draft or slot) for slot in slots.values() if slot is not None}
        builder.part_records = len(parts)
        builder.net_records, builder.pin_records = len(nets), len(pins)

    def own_name(self, name: str, offset: int) -> str:
        """Return the name of a net, made another where a net before it has that name."""
        count = self.names[name] = self.names.get(name, 0) + 1
        if count == 1:
            return name
        while (other := f"{name}~{count}") in self.names:
            count += 1
        self.names[name], self.names[other] = count, 1
        self.warn("repeated-net-name", offset, name, other)
        return other

    def emit(self, *, schematic: bool) -> None:
        """Hand nets and pins to the builder."""
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
                inner.setdefault(name.rsplit("/", 1)[1], []).append(node.offset)
            place = self.tree.lines.place(node.offset)
            self.builder.net(name, place=place, aliases=node.aliases)
            for facts, (number, pin_name, kind), offset in node.pins:
                key = (number, name)
                if key not in facts:
                    said_at = place if offset == node.offset else self.tree.lines.place(offset)
                    facts[key] = (pin_name, kind, said_at)
        for name, offsets in inner.items():
            if len(offsets) > 1 or name in self.names:
                self.warn("same-name-apart", offsets[0], name)

    def emit_open_pins(self) -> None:
        """Add the pins that no net names, and say which pin is on two nets."""
        connected: dict[int, set[str]] = {}
        for slot in self.slots_of_parts:
            draft = slot.draft
            if draft is None:
                continue
            numbers = connected.get(id(draft))
            if numbers is None:
                numbers = connected[id(draft)] = set(map(itemgetter(0), draft.pin_facts))
                if len(numbers) != len(draft.pin_facts):
                    self.warn_two_nets(draft)
            for number, name, kind in self.open_pins(slot, numbers):
                if number not in numbers:
                    numbers.add(number)
                    draft.pin_facts[number, None] = (name, kind, draft.place)

    def warn_two_nets(self, draft: PartDraft) -> None:
        """Say which pins of a part are on two nets."""
        nets: dict[str, list[str]] = {}
        for number, net in draft.pin_facts:
            nets.setdefault(number, []).append(net or "")
        for number, names in nets.items():
            if len(names) > 1:
                place = draft.pin_facts[number, names[1]][2]
                self.warn("pin-on-two-nets", place, draft.refdes, number, " and ".join(names))


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


def _has_symbol(net: NetForm, slots: Slots) -> bool:
    """Return whether a symbol is drawn at a net, in it or beside it on the page."""
    return net.has_symbol or any(
        one in slots and slots[one] is None for _, _, one in net.joined if one
    )


def _families(view: View) -> dict[str, list[str]]:
    """Return ports of one pin name: the id of the one that bears it, and the ids of all."""
    if not any(port.original for port in view.ports.values()):
        return {}
    by_name: dict[str, list[str]] = {}
    for one, port in view.ports.items():
        if not port.sizes:
            by_name.setdefault(port.original or port.name, []).append(one)
    return {
        next((one for one in ports if not view.ports[one].original), ports[0]): ports
        for ports in by_name.values()
        if len(ports) > 1
    }
