"""From what an EDIF text says to a board: sheets expanded, names joined, pins numbered.

A cell instance with contents is a sheet: its parts become SHEET/R1, and its nets are those of the
net outside where a port ties them, else SHEET/NAME. With hierarchy "keep" a sheet stays one part.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Literal

from nettrace.errors import Place
from nettrace.model.board import Board
from nettrace.model.builder import PartDraft
from nettrace.readers.document import Document
from nettrace.readers.edif_design import Design, NetForm, View
from nettrace.readers.edif_finder import MOST_WARNINGS
from nettrace.readers.edif_nodes import (
    Annotated,
    Bound,
    Node,
    Slot,
    Use,
    bits_of,
    folded,
    key_of,
)
from nettrace.readers.edif_parts import MOST_EXPANDED
from nettrace.readers.edif_plain import PlainMaker
from nettrace.readers.edif_tree import fault
from nettrace.readers.edif_twins import settle_twins, tie_said_pins

__all__ = ["Hierarchy", "build_board"]

Hierarchy = Literal["flatten", "keep"]

#: Deepest hierarchy of sheets.
MOST_LEVELS = 100
#: Names that a power symbol bears: grounds, VCC and its kin, voltages. Common practice, no source.
POWER = re.compile(
    r"[ADPS]?GND\w*|GND[ADPS]?|EARTH|CHASSIS|V(?:CC|DD|SS|EE|BAT|BUS|IN|SYS)\w*"
    r"|[+-]?V?\d+(?:[.V_]\d+)?V?\w{0,8}|[+-]\w{1,12}",
    re.IGNORECASE,
)


def build_board(document: Document, design: Design, hierarchy: Hierarchy) -> Board:
    """Return the board of a design, which it uses up; BadInput where a reference leads nowhere."""
    return _Expander(document, design, hierarchy).board()


class _Expander(PlainMaker):
    def __init__(self, document: Document, design: Design, hierarchy: Hierarchy) -> None:
        super().__init__(document, design, keep=hierarchy == "keep")
        self.nodes: list[Node] = []
        self.globals: dict[str, Node] = {}
        self.powers: dict[str, Node] = {}  # supply nets with a power symbol, by name
        self.measured: dict[int, int] = {}  # view -> what it expands to
        self.has_sheets = False
        self.top_counts = (0, 0, 0)  # parts, nets, pins directly in the top cell
        self.top_joined: list[tuple[Node, list[tuple[str, str, str]]]] = []

    def board(self) -> Board:
        builder = self.builder
        for code, message, offset in self.design.notes:
            self.warn(code, message, offset)
        library, view = self.top()
        for said in self.design.annotations.values():
            view.annotate(said)
        builder.name = self.design.name
        kind = {"NETLIST": "netlist", "SCHEMATIC": "schematic"}.get(view.type, view.type.lower())
        builder.version = f"2 0 0, {kind or 'netlist'} view"
        uses = [self.use(library, each) for each in view.instances.values()]
        is_flat = self.is_flat(view, uses)
        if not (is_flat and view.annotation is None and self.make_plain(view, uses)):
            annotated = self.annotated(view, "", ())
            if is_flat and self.are_ports_apart(view):
                self.connect_plain(view, self.slots(view, library, "", annotated))
            else:
                self.design.read_all_spans()
                self.check_size(view, library)
                self.expand(view, library, "", {}, annotated)
                self.emit(schematic=view.type == "SCHEMATIC")
        self.emit_open_pins()
        for code, count in self.warned.items():
            if count > MOST_WARNINGS:
                builder.warn(code, f"{count} such in all; the first {MOST_WARNINGS} are listed")
        if self.has_sheets and not self.keep:
            builder.part_records, builder.net_records, builder.pin_records = self.top_counts
        # what was read is used up: freezing the board takes its memory
        self.design.libraries.clear()
        for used in (self.slots_of_parts, self.nodes, self.top_joined):
            used.clear()
        for known in (
            self.uses,
            self.fields,
            self.joined_units,
            self.ids_folded,
            self.pins_of_view,
        ):
            known.clear()
        del view
        return builder.build()

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

    def annotated(self, view: View, path: str, outer: Annotated) -> Annotated:
        """Return what view maps say of the instances in a sheet: those outside, and its own."""
        return outer if view.annotation is None else (*outer, (path, view.annotation))

    def expand(
        self, view: View, library: str, path: str, bound: Bound, annotated: Annotated
    ) -> None:
        slots = self.slots(view, library, path, annotated)
        self.connect(view, slots, path, bound)
        if not path and self.has_sheets:
            self.count_top(slots)
        for slot in slots.values():
            if slot is not None and slot.draft is None and slot.use.view is not None:
                instance = slot.instance
                name = instance.designator or instance.name
                inner = f"{path}{name}/"
                said = self.annotated(slot.use.view, inner, slot.annotated)
                self.expand(slot.use.view, slot.use.library, inner, slot.bound, said)

    # -- nets --

    def is_flat(self, view: View, uses: Sequence[Use]) -> bool:
        """Whether every net of the top cell is a net of the board, its ports aside."""
        views = {id(use): use.view for use in uses}
        self.has_sheets = any(used is not None and used.is_sheet for used in views.values())
        if view.type == "SCHEMATIC" or (self.has_sheets and not self.keep):
            return False
        if any(net.size or net.globals for net in view.nets):
            return False
        return len({net.id for net in view.nets}) == len(view.nets)  # else given twice

    def are_ports_apart(self, view: View) -> bool:
        """Whether no port of the cell is on two nets, which makes them one."""
        if not view.ports:
            return True
        self.design.read_all_spans()
        own = [(folded(ref[0]), ref[1]) for net in view.nets for ref in net.joined if not ref[2]]
        return len(set(own)) == len(own)

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
                if slot.further:
                    for number, pin_name, kind in slot.further.get(key_of(port_id, member), ()):
                        facts.setdefault((number, name), (pin_name, kind, place))

    def connect(self, view: View, slots: dict[str, Slot | None], path: str, bound: Bound) -> None:
        """Put the pins of every net on its node; nets of one name on several pages are one."""
        known_nodes: dict[str, Node] = {}
        by_connector: dict[str, Node] = {}
        schematic = view.type == "SCHEMATIC"
        if schematic:
            settle_twins(view.nets, slots, self.warn)
            tie_said_pins(view.nets, slots, self.warn)
        for net in view.nets:
            singles = self.singles(net, view, slots) if net.size else [(net.name, net.joined)]
            for index, (name, joined) in enumerate(singles):
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
                for connector in net.connectors:
                    wire = f"{connector} {index}" if net.size else connector
                    by_connector.setdefault(wire, node).join(node)
                if not net.size:
                    for one in net.globals:
                        self.globals.setdefault(one, node).join(node)
                    node.aliases.extend(net.aliases)
                    if schematic and POWER.fullmatch(name) and self.has_symbol(net, slots):
                        self.join_power(name, node)
                if not path:
                    self.top_joined.append((node, joined))
                self.join_pins(net, joined, node, view, slots, bound)

    def has_symbol(self, net: NetForm, slots: dict[str, Slot | None]) -> bool:
        """Return whether a symbol is drawn at a net, in it or beside it on the page."""
        return net.has_symbol or any(
            one in slots and slots[one] is None for _, _, one in net.joined if one
        )

    def join_power(self, name: str, node: Node) -> None:
        """Make supply nets of one name in several sheets one: a power symbol means all of them."""
        known = self.powers.setdefault(name, node)
        if known.root() is not node.root():
            self.warn(
                "power-symbols",
                f"{name} has power symbols in several sheets: taken as one net",
                node.offset,
            )
            known.join(node)

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
                known = slot.numbers.get(key_of(port_id, member))
                if known is None:
                    view = slot.use.view
                    port = self.find(view.ports, port_id) if view is not None else None
                    bits = bits_of(port, member) if port is not None else ()
                    if port is None or len(bits) != 1:
                        continue
                    pins.add((name, port.bit(bits[0]) if port.sizes else port.name))
                else:
                    key = key_of(port_id, member)
                    pins |= {(name, pin[0]) for pin in (known, *slot.further.get(key, ()))}
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
