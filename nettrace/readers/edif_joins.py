"""Ties what EDIF nets join: pins to nodes, ports of sheets to the nets outside, buses by wire."""

from __future__ import annotations

from nettrace.model.names import nearest_names
from nettrace.readers.document import Document
from nettrace.readers.edif_design import Design, NetForm, Port, View
from nettrace.readers.edif_nodes import Bound, Node, Slot, bits_of, folded, key_of, member_text
from nettrace.readers.edif_parts import PartMaker
from nettrace.readers.edif_tree import fault

__all__ = ["NetJoiner"]

#: Largest cell in which a name like a wrong one is looked for.
MOST_NEAR = 2000


class NetJoiner(PartMaker):
    """Puts pins on nodes, and joins the nodes that a port of a sheet ties."""

    def __init__(self, document: Document, design: Design, *, keep: bool) -> None:
        super().__init__(document, design, keep=keep)
        self.names: dict[str, int] = {}  # nets by name, and how many bear it

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

    def join_pins(
        self,
        net: NetForm,
        joined: list[tuple[str, str, str]],
        node: Node,
        view: View,
        slots: dict[str, Slot | None],
        bound: Bound,
    ) -> None:
        """Put the pins that one net form joins on its node."""
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
                if slot.further:
                    key = key_of(port_id, member)
                    pins += [(slot.facts, pin, offset) for pin in slot.further.get(key, ())]
            elif self.join_sheet_port(net, slot, port_id, member, node):
                pins = node.root().pins

    def other_slot(self, net: NetForm, instance: str, slots: dict[str, Slot | None]) -> Slot | None:
        """Return the slot of an id in other letters' case; None for a symbol; error if none."""
        if instance in slots:
            return slots[instance]
        one = self.folded_ids(slots).get(folded(instance))
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
        bits = bits_of(port, member)
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
                joined.append((port_id, member_text(port.sizes, index), instance))
        return wires
