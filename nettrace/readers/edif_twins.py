"""Pins that an EDIF writer's nets name badly or not at all, settled by what their instance says.

A schematic symbol may have several pins called GND. Ids must differ, so some writers call the ports
GND, GND_3..., put the pin's own name in a property (`OriginalPinName`), and yet write `(portRef
GND)` in the nets for each of them. Which of the pins a net means is then said by the instance (the
`Net Name` of its `portInstance`); where it is not, the pins are taken in the order of the ports.

Pins that are not drawn (supply pins of logic chips) are in no net either, yet have a `Net Name`.
"""

from __future__ import annotations

from collections.abc import Callable

from nettrace.readers.edif_design import NetForm, View, decode_id
from nettrace.readers.edif_nodes import Slot, folded

__all__ = ["settle_twins", "tie_said_pins"]

#: A further pin of a name: where its net refers to it, by (net, index in its `joined`).
_Spot = tuple[NetForm, int]


def settle_twins(
    nets: list[NetForm],
    slots: dict[str, Slot | None],
    warn: Callable[[str, str, int], None],
) -> None:
    """Let each reference to pins of one name mean one of them; changes the nets' `joined`."""
    families: dict[int, dict[str, list[str]]] = {}
    with_twins: dict[str, dict[str, list[str]]] = {}
    for one, slot in slots.items():
        if slot is None or slot.draft is None or slot.use.view is None:
            continue
        view = slot.use.view
        known = families.get(id(view))
        if known is None:
            known = families[id(view)] = _families(view)
        if known:
            with_twins[one] = known
    if not with_twins:
        return
    spots: dict[tuple[str, str], list[_Spot]] = {}
    for net in nets:
        for index, (port, member, one) in enumerate(net.joined):
            if not member and one in with_twins:
                spots.setdefault((one, port), []).append((net, index))
    for one, known in with_twins.items():
        slot = slots[one]
        for head, ports in known.items():
            found = spots.get((one, head), [])
            # a writer that names the twins themselves needs no help
            named = any((one, port) in spots for port in ports if port != head)
            if slot is not None and found and not named:
                _settle(slot, one, head, ports, found, warn)


def tie_said_pins(
    nets: list[NetForm],
    slots: dict[str, Slot | None],
    warn: Callable[[str, str, int], None],
) -> None:
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
    by_name: dict[str, NetForm] = {}
    for net in nets:
        if not net.size:
            by_name.setdefault(net.name, net)
    for one, slot, pin in said:
        named = by_name.get(pin.net)
        if named is None or (one, folded(pin.port)) in joined:
            continue
        named.joined.append((pin.port, "", one))
        warn(
            "net-said-by-pin",
            f"{slot.instance.designator or slot.instance.name}.{pin.designator} is joined by no "
            f"net, but said to be on {pin.net}: taken so",
            slot.instance.offset,
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


def _settle(
    slot: Slot,
    one: str,
    head: str,
    ports: list[str],
    found: list[_Spot],
    warn: Callable[[str, str, int], None],
) -> None:
    said = {pin.port: pin.net for pin in slot.instance.pins or () if pin.net}
    left = list(ports)
    unsure: list[_Spot] = []
    for net, index in found:
        # a net's shown name, or one of its other names, as the instance has it
        names = {net.name, net.id, *net.aliases}
        port = next((port for port in left if said.get(port) in names), None)
        if port is None:
            unsure.append((net, index))
            continue
        left.remove(port)
        net.joined[index] = (port, "", one)
    unsaid = [port for port in left if port not in said]
    # of pins that all go to one net, whichever is meant is right
    sure = len(unsure) == len(unsaid) and len({id(net) for net, _ in unsure}) == 1
    for (net, index), port in zip(unsure, unsaid, strict=False):
        net.joined[index] = (port, "", one)
    if unsure and not sure:
        called = slot.instance.designator or slot.instance.name
        net = unsure[0][0]
        warn(
            "pins-of-one-name",
            f"{called} has {len(ports)} pins called {decode_id(head)}, and it is not "
            f"said which of them net {net.name} joins: taken in order",
            net.offset,
        )
