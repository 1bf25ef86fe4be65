"""EDIF 2 0 0 (ANSI/EIA-548): netlist view and schematic view.

One way from text to board: the tree of its forms (`edif_tree`), what they say cell by cell
(`edif_cells`), its parts (`edif_parts`), and here the sheets expanded, names joined, pins tied to
nets. `grammars/edif.lark` is the definition of the netlist view for people, and for a test.

A cell instance with contents is a sheet: its parts become SHEET/R1, and its nets are those of the
net outside where a port ties them, else SHEET/NAME. With hierarchy "keep" a sheet stays one part.
"""

from __future__ import annotations

from operator import itemgetter
from typing import Literal

from nettrace.collector import collector_off
from nettrace.knowledge import pattern
from nettrace.model.board import Board
from nettrace.model.builder import PartDraft, PinFact, PinKey
from nettrace.readers.document import Document
from nettrace.readers.edif_cells import CellReader
from nettrace.readers.edif_design import Design, NetForm, Port, View, decode_id, folded
from nettrace.readers.edif_parts import (
    MOST_EXPANDED,
    MOST_WARNINGS,
    Annotated,
    PartMaker,
    PinName,
    Slot,
    Slots,
)
from nettrace.readers.edif_tree import Ref, Tree

Hierarchy = Literal["flatten", "keep"]

#: Deepest hierarchy of sheets.
MOST_LEVELS = 100
#: Largest cell in which a name like a wrong one is looked for.
MOST_NEAR = 2000


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


class BoardMaker(PartMaker):
    """Expands a design, which it uses up, into a board."""

    def __init__(self, tree: Tree, design: Design, *, keep: bool) -> None:
        super().__init__(tree, design, keep=keep)
        self.nodes: list[Node] = []
        self.names: dict[str, int] = {}  # nets by name, and how many bear it
        self.globals: dict[str, Node] = {}
        self.powers: dict[str, Node] = {}  # supply nets with a power symbol, by name
        self.bound: dict[int, Bound] = {}  # slot -> what its ports are tied to
        self.top_joined: list[tuple[Node, list[Ref]]] = []

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
        known = measured.get(id(view))
        if known is not None:
            return known
        looped = view in above
        if looped or len(above) > MOST_LEVELS:
            raise self.tree.lines.error(
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
            if use.view is not None and use.is_sheet:
                total += self.measure(use.view, use.library, above, measured)
        above.pop()
        measured[id(view)] = total
        return total

    def expand(self, view: View, library: str, path: str, bound: Bound, outer: Annotated) -> None:
        """Make the parts and nets of a sheet, and of those in it.

        Args:
            view: its contents.
            library: in which its cell is.
            path: what the names in it begin with.
            bound: the nets outside that its ports are tied to.
            outer: what view maps outside of it say of its instances.
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
                    if (
                        schematic
                        and pattern("edif", "power").fullmatch(name)
                        and _has_symbol(net, slots)
                    ):
                        self.join_power(name, node)
                if not path:
                    self.top_joined.append((node, joined))
                self.join_pins(net, joined, node, view, slots, bound)

    def join_power(self, name: str, node: Node) -> None:
        """Make supply nets of one name in several sheets one: a power symbol means all of them."""
        known = self.powers.setdefault(name, node)
        if known.root() is not node.root():
            self.warn("power-symbols", node.offset, name)
            known.join(node)

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
            self.warn(
                "pins-of-one-name", net.offset, slot.called, len(ports), decode_id(head), net.name
            )

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
                self.warn(
                    "net-said-by-pin", slot.instance.offset, slot.called, pin.designator, pin.net
                )

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
                name = slot.draft.refdes if slot.draft is not None else slot.instance.name
                known = slot.numbers.get((port_id, member))
                if known is not None:
                    pins |= {(name, pin[0]) for pin in known}
                else:
                    port = self.find(slot.ports, port_id)
                    bits = port.bits(member) if port is not None else ()
                    if port is None or len(bits) != 1:
                        continue
                    pins.add((name, port.bit(bits[0])))
                nets.add(id(node.root()))
        builder = self.builder
        builder.part_records = len(
            {id(slot.draft or slot) for slot in slots.values() if slot is not None}
        )
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
