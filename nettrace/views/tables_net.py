"""The sheets for nets, rails, buses and ways between nets."""

from __future__ import annotations

from collections.abc import Sequence

from nettrace.bench.lookup import MOST_WAYS, Way
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Bus, NetKind, Rail
from nettrace.model.board import Net, Pin
from nettrace.values.quantity import engineering
from nettrace.views.tables import Column, Sheet
from nettrace.views.text import counted, listed, shorten_middle
from nettrace.views.text_facts import (
    basis_words,
    bus_words,
    lines_by_net,
    net_words,
    pull_words,
    refdes,
    role_words,
    value_words,
    volts_words,
)

__all__ = ["show_buses", "show_nets", "show_rails", "show_ways"]

#: Nets shown in full before a wildcard's answer becomes a list.
NETS_IN_FULL = 3
#: Nets that are listed as reached before the rest is counted.
REACHES_SHOWN = 8
PINS_SHOWN = 60


def show_nets(circuit: Circuit, nets: Sequence[Net]) -> None:
    """Print one sheet for each of a few nets, or a list of many."""
    with Sheet() as sheet:
        if len(nets) > NETS_IN_FULL:
            sheet.title(counted(len(nets), "net"), circuit.board.name)
            buses = lines_by_net(circuit)
            sheet.table(
                (Column("net", "name", cut=True), Column("pins", right=True), Column("what it is")),
                [
                    (net.name, str(len(net.pins)), net_words(circuit, net.name, buses))
                    for net in nets
                ],
            )
            return
        for index, net in enumerate(nets):
            if index:
                sheet.blank()
            _show_net(sheet, circuit, net)


def _show_net(sheet: Sheet, circuit: Circuit, net: Net) -> None:
    sheet.title(f"Net {net.name}", circuit.board.name)
    buses = lines_by_net(circuit)
    sheet.labelled("what it is", net_words(circuit, net.name, buses))
    if net.aliases:
        sheet.labelled("also called", listed(net.aliases, 4))
    volts = circuit.volts(net.name)
    if volts is not None:
        sheet.labelled("volts", f"{volts_words(volts)}: {basis_words(volts, net.name)}")
    else:
        sheet.labelled("volts", "not known")
    rail = circuit.rails.get(net.name)
    if rail is not None:
        _rail_facts(sheet, circuit, rail)
    if net.name in buses:
        bus, line = buses[net.name]
        sheet.labelled("bus", f"{line.line} of {bus_words(bus)}" +
                       (f": {line.verdict}" if line.verdict else ""))  # fmt: skip
    for index, pull in enumerate(circuit.pulls.get(net.name, ())):
        sheet.labelled("pulls" if index == 0 else "", pull_words(circuit, pull))
    reaches = circuit.reaches(net.name)
    for index, reach in enumerate(reaches[:REACHES_SHOWN]):
        through = ", ".join(refdes(circuit, key) for key in reach.through)
        ohms = f", {engineering(reach.ohms, 'Ω')}" if reach.ohms is not None else ""
        when = f", {reach.conditional}" if reach.conditional else ""
        words = f"{shorten_middle(reach.net, 36)}  through {through}{ohms}{when}"
        sheet.labelled("reaches" if index == 0 else "", words)
    if len(reaches) > REACHES_SHOWN:
        sheet.labelled("", f"{len(reaches) - REACHES_SHOWN} more; --json has them all")
    pins = list({(pin.part, pin.number): pin for pin in net.pins}.values())
    sheet.heading(counted(len(pins), "pin"))
    sheet.table(
        (
            Column("pin", "name"),
            Column("function", cut=True),
            Column("part", cut=True),
            Column("value", cut=True),
            Column("place"),
        ),
        [_pin_row(circuit, pin) for pin in pins[:PINS_SHOWN]],
    )
    if len(pins) > PINS_SHOWN:
        sheet.line((f"{len(pins) - PINS_SHOWN} more; --json has them all", "quiet"), indent=1)


def _pin_row(circuit: Circuit, pin: Pin) -> tuple[str, ...]:
    part = circuit.board.part_by_key[pin.part]
    function = pin.name if pin.name and pin.name not in {pin.number, "~"} else ""
    place = (
        f"{pin.x:.1f}, {pin.y:.1f} {pin.side}" if pin.x is not None and pin.y is not None else "–"
    )
    return (
        f"{refdes(circuit, pin.part)}.{pin.number}",
        function,
        role_words(circuit.roles(pin.part)),
        value_words(circuit, part),
        place,
    )


def _rail_facts(sheet: Sheet, circuit: Circuit, rail: Rail) -> None:
    for lost in rail.others:
        sheet.labelled(
            "", f"against it: {volts_words(lost)}: {basis_words(lost, rail.net)}", "warn"
        )
    if rail.source is not None:
        source = circuit.board.part_by_key[rail.source]
        words = f"{refdes(circuit, rail.source)} {value_words(circuit, source)}".strip()
        sheet.labelled("fed by", f"{words}, {role_words(circuit.roles(rail.source))}")
    elif rail.kind is NetKind.RAIL:
        sheet.labelled("fed by", "not seen in these sources")
    if rail.loads:
        loads = [refdes(circuit, key) for key in rail.loads]
        sheet.labelled("loads", f"{len(loads)}: {listed(loads, 8)}")
    if rail.decoupling_farads:
        sheet.labelled("decoupling", engineering(rail.decoupling_farads, "F", 3))
    for key, other in rail.linked:
        sheet.labelled("linked", f"to {other} by {refdes(circuit, key)}")


def show_rails(circuit: Circuit, rails: Sequence[Rail]) -> None:
    """Print a table of several rails, or all that is known of one."""
    with Sheet() as sheet:
        if len(rails) == 1:
            rail = rails[0]
            sheet.title(f"{'Ground' if rail.kind is NetKind.GROUND else 'Rail'} {rail.net}",
                        circuit.board.name)  # fmt: skip
            if rail.kind is NetKind.RAIL:
                basis = f": {basis_words(rail.volts, rail.net)}" if rail.volts else ""
                sheet.labelled("volts", f"{volts_words(rail.volts)}{basis}")
            _rail_facts(sheet, circuit, rail)
            for index, why in enumerate(rail.because):
                sheet.labelled("why a rail" if index == 0 and rail.kind is NetKind.RAIL
                               else "why" if index == 0 else "", why)  # fmt: skip
            return
        sheet.title("Rails and grounds", circuit.board.name)
        if not rails:
            sheet.line("None was found.", indent=1)
            return
        sheet.table(
            (
                Column("rail", "name", cut=True),
                Column("volts", right=True),
                Column("known by", wrap=True),
                Column("fed by"),
                Column("loads", right=True),
                Column("decoupling", right=True),
            ),
            [
                (
                    rail.net,
                    "ground" if rail.kind is NetKind.GROUND else volts_words(rail.volts, "?"),
                    basis_words(rail.volts, rail.net) if rail.kind is NetKind.RAIL else "",
                    refdes(circuit, rail.source) if rail.source is not None else "–",
                    str(len(rail.loads)),
                    _farads_words(rail.decoupling_farads),
                )
                for rail in sorted(rails, key=lambda rail: rail.kind is NetKind.GROUND)
            ],
        )


def show_buses(circuit: Circuit, buses: Sequence[Bus]) -> None:
    """Print each bus with its lines."""
    with Sheet() as sheet:
        if not buses:
            sheet.title("Buses", circuit.board.name)
            sheet.line("No serial bus was found.", indent=1)
        for index, bus in enumerate(buses):
            if index:
                sheet.blank()
            sheet.title(bus_words(bus), circuit.board.name if index == 0 else "")
            devices = [refdes(circuit, key) for key in bus.devices]
            sheet.labelled("devices", listed(devices, 10) if devices else "none seen")
            if bus.through:
                sheet.labelled("through", listed([refdes(circuit, key) for key in bus.through], 10))
            for line in bus.lines:
                sheet.line((f"{line.line:<8} ", "name"), " = ".join(line.nets or (line.net,)),
                           indent=1)  # fmt: skip
                for pull in line.pulls:
                    sheet.line((pull_words(circuit, pull), "quiet"), indent=10)
                if line.pull_ohms is not None and len(line.pulls) > 1 and len(line.nets) < 2:
                    sheet.line((f"together {engineering(line.pull_ohms, 'Ω')}", "quiet"), indent=10)
                if line.verdict is not None:
                    sheet.line(line.verdict, indent=10)


def show_ways(circuit: Circuit, start: Net, end: Net, ways: Sequence[Way]) -> None:
    """Print every way between two nets, or what each of them reaches if there is none."""
    with Sheet() as sheet:
        sheet.title(f"From {shorten_middle(start.name, 26)} to {shorten_middle(end.name, 26)}",
                    circuit.board.name)  # fmt: skip
        if start.name == end.name:
            sheet.line("They are one net.", indent=1)
            return
        if not ways:
            sheet.line("Nothing ties them through series parts.", indent=1)
            for net in (start, end):
                names = [reach.net for reach in circuit.reaches(net.name)]
                words = listed(names, 5) if names else "no further net"
                sheet.line((f"{net.name} reaches {words}.", "quiet"), indent=1)
            return
        many = f"at least {MOST_WAYS} ways" if len(ways) >= MOST_WAYS else counted(len(ways), "way")
        sheet.line((f"{many} through {counted(len(ways[0].links), 'part')}", "quiet"))
        for way in ways:
            ohms = engineering(way.ohms, "Ω") if way.ohms is not None else "resistance not known"
            sheet.heading(ohms, way.conditional)
            sheet.line(way.start, indent=1)
            for link in way.links:
                ohms = f", {engineering(link.ohms, 'Ω')}" if link.ohms is not None else ""
                sheet.line(
                    (f"{refdes(circuit, link.part)} ", "name"),
                    f"{link.from_pin} → {link.to_pin}, {link.kind}{ohms}",
                    indent=4,
                )
                sheet.line(link.to_net, indent=1)


def _farads_words(farads: float | None) -> str:
    if farads is None:
        return "?"
    return engineering(farads, "F", 3) if farads else "–"
