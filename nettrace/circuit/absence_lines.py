"""What stops when a part of a signal line is missing: pulls, series parts, dividers, filters."""

from __future__ import annotations

import re
from typing import Final

from nettrace.circuit.absence_site import (
    ACTIVE,
    Gap,
    Rule,
    blocks,
    degrades,
    listed,
    minor,
    unknown,
)
from nettrace.circuit.absence_supply import rails_lost, supply_link
from nettrace.circuit.absence_thermistor import thermistor_bias, thermistor_cut
from nettrace.circuit.evidence import Absence, Bus, BusLine, Pull
from nettrace.circuit.kinds import Kind
from nettrace.circuit.pulls import parallel_ohms
from nettrace.circuit.roles.net_words import BUTTON, RESET, USB_CC
from nettrace.values.quantity import engineering

__all__ = ["LINE_RULES", "cut_line"]

#: Protocols whose lines are only ever pulled low: without a pull-up they never rise.
OPEN_DRAIN: Final = frozenset(
    {"i2c", "smbus", "pmbus", "i3c", "one-wire", "1-wire", "hdq", "onewire"}
)
_ENABLE: Final = re.compile(
    r"(?:^|[^A-Z])(?:N?EN|ENABLE|\w*_EN|EN_\w+|N?CE|\w*_CE|N?SHDN|ON|ON_?OFF|PWR_?EN|RUN|N?OE|\w*_OE|CTRL"
    r"|N?STBY|N?PWDN|PDN|CHIP_?EN|CHG_?EN)(?:_?N|#|B)?\d*(?:$|[^A-Z0-9])"
)
_BOOT: Final = re.compile(
    r"BOOT|STRAP|DFU|(?:^|[^A-Z])(?:MODE|CFG|CONF|ADDR|SEL|A[0-3])\d*(?:$|[^A-Z])"
)
_ALERT: Final = re.compile(r"INT|IRQ|ALERT|ALRT|FAULT|FLT|ATTN|PGOOD|(?:^|[^A-Z])PG|STAT|DRDY|WAKE")
_SELECT: Final = re.compile(r"(?:^|[^A-Z])N?(?:CS|SS|CE|SEL|CSN|NSS)\d*_?(?:N|#|B)?(?:$|[^A-Z])")
_SILENT: Final = "what it leads to cannot be seen in these sources"
_INSIDE: Final = "unless the chip has a pull-up of its own"


def pull_up(gap: Gap) -> Absence | None:
    """A pull-up: the line no longer rises, or only through what is left."""
    if gap.to_fixed is None:
        return _array(gap) if len(gap.part.nets) > 2 else supply_link(gap)
    signal, rail = gap.to_fixed
    return _pull_up_on(gap, signal, rail)


def _array(gap: Gap) -> Absence | None:
    """An array of pulls: the worst of its lines, each line named once."""
    found: list[tuple[str, Absence]] = []
    commons = [net for net in gap.part.nets if not gap.is_signal(net)]
    for net in gap.part.nets:
        if gap.is_signal(net) and commons:
            rail = commons[0]
            judged = _pull_up_on(gap, net, rail) if gap.is_supply(rail) else _pull_down_on(gap, net)
            if judged is not None:
                found.append((net, judged))
    if not found:
        return _cut_array(gap)
    worst = min((judged.severity for _, judged in found), key=lambda severity: severity.rank)
    nets = [net for net, judged in found if judged.severity is worst]
    first = next(judged for net, judged in found if judged.severity is worst)
    if len(nets) == 1:
        return first
    direction = "up" if gap.is_supply(commons[0]) else "down"
    effect = f"{listed(nets)} lose their pull-{direction} to {commons[0]}"
    on_bus = gap.bus_line(*nets)
    if on_bus is not None:
        effect += f" ({_bus_name(on_bus[0])})"
    return Absence(worst, (f"{effect}: they float while nothing drives them",))


def _cut_array(gap: Gap) -> Absence | None:
    pairs = {
        tuple(sorted((link.from_net, link.to_net)))
        for net in gap.part.nets
        for link in gap.circuit.links.get(net, ())
        if link.part == gap.key
    }
    judgements = (cut_line(gap, first, second) for first, second in sorted(pairs))
    found = [judged for judged in judgements if judged is not None]
    if not found:
        return None
    worst = min(found, key=lambda judged: judged.severity.rank)
    if len(found) == 1:
        return worst
    effects = dict.fromkeys(judged.effects[0] for judged in found)
    shown = tuple(effects)[:4]
    more = (f"and {len(effects) - 4} lines more",) if len(effects) > 4 else ()
    return Absence(worst.severity, (*shown, *more))


def _left(gap: Gap, signal: str, direction: str) -> list[Pull]:
    """Return the fitted pulls of that direction which the line keeps."""
    nets = gap.island(signal)
    found: dict[str, Pull] = {}
    for net in nets:
        for pull in gap.circuit.pulls.get(net, ()):
            lost = pull.part == gap.key or gap.key in pull.through
            if pull.fitted and pull.direction == direction and not lost:
                found.setdefault(pull.part, pull)
    return list(found.values())


def _pull_up_on(gap: Gap, signal: str, rail: str) -> Absence | None:
    nets = gap.island(signal)
    left = _left(gap, signal, "up")
    on_bus = gap.bus_line(*nets)
    if left:
        return _weaker(gap, signal, left, on_bus)
    if on_bus is not None and on_bus[0].protocol in OPEN_DRAIN:
        return _silent_line(gap, signal, rail, *on_bus)
    words = " ".join(gap.pin_words(net) for net in nets)
    chips = gap.chips_on(*nets)
    gates = [
        key for key in gap.parts_on(nets, Kind.MOSFET, Kind.TRANSISTOR) if _is_gate(gap, key, nets)
    ]
    if gates:
        return _gate_floats(gap, signal, gates)
    if _ENABLE.search(words):
        found = _enable(gap, signal, nets, chips)
        if found is not None:
            return found
    if RESET.search(words):
        who = listed(chips) or "what it resets"
        return blocks(f"{signal} floats: {who} may stay in reset or reset at random, {_INSIDE}")
    if gap.parts_on(nets, Kind.SWITCH) or BUTTON.search(words):
        return degrades(
            f"{signal} floats while the button is up: it may read as pressed, {_INSIDE}"
        )
    if on_bus is not None:
        return degrades(
            f"{signal} ({on_bus[1].line} of the {_bus_name(on_bus[0])}) floats while nothing "
            f"drives it: starting may fail"
        )
    if _SELECT.search(words):
        return degrades(
            f"{signal} floats until it is driven: {listed(chips) or 'the chip'} may be selected "
            "while the board starts"
        )
    if _ALERT.search(words):
        return degrades(f"{signal} no longer rises: {listed(chips) or 'its reader'} sees it as "
                        f"always active or at random, {_INSIDE}")  # fmt: skip
    if _BOOT.search(words):
        return degrades(f"{signal} floats: {listed(chips) or 'the chip'} may start in the wrong "
                        f"mode, {_INSIDE}")  # fmt: skip
    if not chips and not gap.telling(nets):
        return unknown(f"{signal} no longer rises to {rail}; {_SILENT}")
    who = listed(gap.telling(nets))
    return degrades(f"{signal} no longer rises to {rail} by itself ({who})")


def _weaker(gap: Gap, signal: str, left: list[Pull], on_bus: tuple[Bus, BusLine] | None) -> Absence:
    names = listed([pull.part for pull in left])
    ohms = parallel_ohms(tuple(left))
    text = f"{signal} keeps {names}"
    if ohms is None:
        return degrades(f"{text}: its edges get slower")
    text += f", {engineering(ohms, 'Ω', 3)} in all"
    window = on_bus[1].limits_ohms if on_bus is not None else None
    if window is None:
        return minor(f"{text}: it rises more slowly")
    if ohms <= window[1]:
        return minor(f"{text}, still within {_window(window)}: it works")
    return degrades(f"{text}, over {engineering(window[1], 'Ω', 3)}: too slow for the bus's speed")


def _window(window: tuple[float, float]) -> str:
    return f"{engineering(window[0], 'Ω', 3)} to {engineering(window[1], 'Ω', 3)}"


def _bus_name(bus: Bus) -> str:
    shown = bus.protocol.upper() if len(bus.protocol) <= 5 else bus.protocol
    shown = {"usb2": "USB", "usb-c cc": "USB-C", "one-wire": "one-wire"}.get(bus.protocol, shown)
    if bus.protocol.casefold() == bus.name.casefold():
        return f"{shown} bus"
    return f"{shown} bus {bus.name}"


def _silent_line(gap: Gap, signal: str, rail: str, bus: Bus, line: BusLine) -> Absence:
    nets = gap.island(signal)
    devices = [key for key in gap.chips_on(*nets) if key in bus.devices] or list(
        gap.chips_on(*nets)
    )
    to = f" to {rail}" if gap.is_supply(rail) else ""
    effects = [
        f"{line.line} of the {_bus_name(bus)} ({signal}) has lost its only pull-up{to}: it never rises"
    ]
    if devices:
        verb = "does" if len(devices) == 1 else "do"
        effects.append(f"{listed(devices)} {verb} not answer")
    for net in nets:
        for link in gap.circuit.links.get(net, ()):
            if link.kind == "level shifter" and link.part != gap.key:
                effects.append(
                    f"{link.part} passes a low on to {link.to_net}: that side may hang too"
                )
    return blocks(*dict.fromkeys(effects))


def _is_gate(gap: Gap, key: str, nets: tuple[str, ...]) -> bool:
    from nettrace.circuit.series import terminals_of  # noqa: PLC0415 (kept beside its one use)

    ends = terminals_of(gap.circuit.board.part_by_key[key])
    return ends is not None and ends.gate in nets


def _gate_floats(gap: Gap, signal: str, gates: list[str]) -> Absence:
    fed = [
        name
        for name, rail in gap.circuit.rails.items()
        if rail.source in gates and gap.is_supply(name)
    ]
    if fed:
        return degrades(f"the gate of {listed(gates)} ({signal}) floats: {listed(fed)} may be on or "
                        "off by chance until it is driven")  # fmt: skip
    return degrades(
        f"the gate of {listed(gates)} ({signal}) floats: it may conduct when it should not"
    )


def _enable(gap: Gap, signal: str, nets: tuple[str, ...], chips: tuple[str, ...]) -> Absence | None:
    """An enable line: who is enabled by it, and whether something else drives it."""
    rails = gap.circuit.rails
    made = [key for key in chips if any(rail.source == key for rail in rails.values())]
    if not made:
        who = listed(chips)
        if not who:
            return None
        if len(chips) > 1:
            return degrades(f"{signal} is undefined until {who} drive it")
        return degrades(f"{signal} floats: {who} may be on or off by chance")
    outputs = [name for name, rail in rails.items() if rail.source in made]
    drivers = [key for key in chips if key not in made]
    if drivers:
        return degrades(f"{signal} is undefined until {listed(drivers)} drives it: {listed(outputs)} may be on "
                        "or off by chance")  # fmt: skip
    return blocks(
        f"{signal} floats: {listed(made)} may not start, and {listed(outputs)} would be missing"
    )


def pull_down(gap: Gap) -> Absence | None:
    """A pull-down: USB-C detection, or a line that floats until it is driven."""
    if gap.to_fixed is None:
        return _array(gap) if len(gap.part.nets) > 2 else None
    return _pull_down_on(gap, gap.to_fixed[0])


def _pull_down_on(gap: Gap, signal: str) -> Absence | None:
    nets = gap.island(signal)
    words = " ".join(gap.pin_words(net) for net in nets)
    left = _left(gap, signal, "down")
    if left:
        return minor(f"{signal} keeps {listed([pull.part for pull in left])}")
    if _is_cc(gap, nets, words):
        return _plug_direction(gap, signal, nets)
    chips = gap.chips_on(*nets)
    gates = [
        key for key in gap.parts_on(nets, Kind.MOSFET, Kind.TRANSISTOR) if _is_gate(gap, key, nets)
    ]
    if gates:
        return _gate_floats(gap, signal, gates)
    if _ENABLE.search(words):
        found = _enable(gap, signal, nets, chips)
        if found is not None:
            return found
    if RESET.search(words):
        return degrades(f"{signal} floats while it is not driven: {listed(chips) or 'what it resets'} "
                        "may start wrongly")  # fmt: skip
    if _BOOT.search(words):
        return degrades(f"{signal} floats: {listed(chips) or 'the chip'} may start in the wrong mode, "
                        "unless it has a pull-down of its own")  # fmt: skip
    who = gap.telling(nets)
    if not who:
        return unknown(f"{signal} is no longer held low; {_SILENT}")
    return degrades(f"{signal} floats while nothing drives it ({listed(who)})")


def _is_cc(gap: Gap, nets: tuple[str, ...], words: str) -> bool:
    plugs = gap.parts_on(nets, Kind.CONNECTOR)
    if not USB_CC.search(words):
        found = False
        for key in plugs:
            for pin in gap.circuit.board.part_by_key[key].pins:
                if pin.net in nets and pin.name and USB_CC.search(pin.name.upper()):
                    found = True
        if not found:
            return False
    return bool(plugs)


def _plug_direction(gap: Gap, signal: str, nets: tuple[str, ...]) -> Absence:
    """One CC line without Rd: that way round the source finds no sink (USB Type-C)."""
    plugs = gap.parts_on(nets, Kind.CONNECTOR)
    plug = plugs[0]
    other_kept = False
    for pin in gap.circuit.board.part_by_key[plug].pins:
        net = pin.net
        if net is None or net in nets or not gap.is_signal(net):
            continue
        if not USB_CC.search(gap.pin_words(net)) and not USB_CC.search((pin.name or "").upper()):
            continue
        pulls = gap.circuit.pulls.get(net, ())
        if any(p.direction == "down" and p.fitted and p.part != gap.key for p in pulls):
            other_kept = True
    if other_kept:
        return degrades(
            f"{signal} has lost its 5.1 kΩ to ground: {plug} works with the plug one way round, and is "
            "dead the other way"
        )
    return blocks(f"{signal} has lost its 5.1 kΩ to ground, and the other CC line has none: a USB-C "
                  f"source gives {plug} no voltage")  # fmt: skip


def series_part(gap: Gap) -> Absence | None:
    """A resistor, link, bead or capacitor in series with a line: what is cut off from what."""
    if gap.ends is None:
        return _cut_array(gap)
    first, second = gap.ends
    if not (gap.is_signal(first) and gap.is_signal(second)):
        return supply_link(gap) or _from_rail(gap)
    return thermistor_cut(gap, first, second) or cut_line(gap, first, second)


def _from_rail(gap: Gap) -> Absence | None:
    """One end on a rail or ground: the other is no longer tied to it."""
    if gap.to_fixed is None:
        return None
    signal, far = gap.to_fixed
    served = gap.telling(gap.island(signal))
    if not served:
        return unknown(f"{signal} is no longer tied to {far}; {_SILENT}")
    return degrades(f"{signal} is no longer tied to {far} ({listed(served)})")


def cut_line(gap: Gap, first: str, second: str) -> Absence | None:
    """Two signals that the part joined: who no longer meets whom, and on which bus."""
    near, far = gap.island(first), gap.island(second)
    if second in near:
        return minor(f"{first} and {second} stay joined another way")
    sides = gap.telling(near), gap.telling(far)
    on_bus = gap.bus_line(first, second)
    for nets, side, other in ((near, sides[0], second), (far, sides[1], first)):
        if side:
            continue
        points = gap.parts_on(nets, Kind.TEST_POINT)
        if points:
            return minor(f"only {listed(points)} is cut off from {other}")
        held = [p for net in nets for p in gap.circuit.pulls.get(net, ()) if p.part != gap.key]
        if held:
            direction = "low" if held[0].direction == "down" else f"high ({held[0].to})"
            return degrades(f"{other} is no longer pulled {direction} through {held[0].part}")
    if not sides[0] or not sides[1]:
        return None
    sense = _sense_floats(gap, first, second, near, far, sides)
    if sense is not None:
        return sense
    text = f"{listed(sides[0])} and {listed(sides[1])} no longer meet ({first} / {second})"
    if on_bus is not None:
        bus, line = on_bus
        return blocks(f"{line.line} of the {_bus_name(bus)} is open between {first} and {second}: "
                      f"{listed(sides[0])} cannot talk to {listed(sides[1])}")  # fmt: skip
    lights = {gap.kind_of(key) for key in (*sides[0], *sides[1])}
    if Kind.LED in lights and not _both_chips(gap, sides):
        return minor(f"{text}: the lamp stays dark")
    return blocks(text)


def _both_chips(gap: Gap, sides: tuple[tuple[str, ...], tuple[str, ...]]) -> bool:
    return all(any(gap.kind_of(key) in ACTIVE for key in side) for side in sides)


def _sense_floats(
    gap: Gap,
    first: str,
    second: str,
    near: tuple[str, ...],
    far: tuple[str, ...],
    sides: tuple[tuple[str, ...], tuple[str, ...]],
) -> Absence | None:
    """A measuring input behind a filter resistor."""
    if gap.role != "filter resistor":
        return None
    for net, nets, side in ((first, near, sides[0]), (second, far, sides[1])):
        measuring = [key for key in side if gap.role_of(key) in _MEASURES]
        if len(nets) == 1 and len(side) == 1 and measuring:
            return _floating_input(gap, measuring[0], net)
    return None


_MEASURES: Final = frozenset({"fuel gauge", "amplifier", "charger", "sensor"})


def _floating_input(gap: Gap, chip: str, net: str) -> Absence:
    if gap.role_of(chip) == "fuel gauge":
        return degrades(
            f"{gap.pin_of(chip, net)} ({net}) floats: the current and the charge that {chip} counts "
            "are wrong; charging itself is not touched"
        )
    return degrades(f"{gap.pin_of(chip, net)} ({net}) floats: what {chip} measures there is wrong")


def filter_resistor(gap: Gap) -> Absence | None:
    """In front of a measuring input, in a supply, or in a signal."""
    if gap.to_fixed is not None:
        signal, far = gap.to_fixed
        chips = gap.chips_on(*gap.island(signal))
        measuring = [key for key in chips if gap.role_of(key) in _MEASURES]
        if measuring and len(gap.telling(gap.island(signal))) == len(chips):
            return _floating_input(gap, measuring[0], signal)
        if not chips and not gap.telling(gap.island(signal)):
            return minor(f"{signal} is no longer damped against {far}")
        served = listed(gap.telling(gap.island(signal)))
        return blocks(f"{signal} is cut off from {gap.with_volts(far)}: {served} without it")
    if gap.ends is not None and all(gap.is_ground(net) or gap.is_supply(net) for net in gap.ends):
        return supply_link(gap)
    return series_part(gap)


def feedback_divider(gap: Gap) -> Absence | None:
    """One leg of a regulator's feedback is open: the output runs up, or falls to the reference."""
    if gap.ends is None:
        return None
    upper = "upper" in gap.role
    tap = _tap(gap)
    if tap is None:
        return None
    chips = gap.chips_on(tap)
    rails = gap.circuit.rails
    chip = next((key for key in chips if any(r.source == key for r in rails.values())), "")
    chip = chip or (chips[0] if chips else "the regulator")
    output = _divided(gap, tap, upper)
    loads = rails[output].loads if output in rails else ()
    hurt = [key for key in loads if gap.kind_of(key) in ACTIVE and key != chip]
    if upper:
        text = f"DANGER: {tap} falls to 0 V, {chip} drives {output} up as far as it can"
        return blocks(
            text, f"do not power it up: {listed(hurt) or 'what it feeds'} may be destroyed"
        )
    return blocks(
        f"{tap} follows {output}: {chip} lets {output} fall to its reference voltage",
        f"too little for {listed(hurt)}" if hurt else "too little for what it feeds",
    )


def _tap(gap: Gap) -> str | None:
    """Return the middle of the divider: the end that is a signal and is divided further."""
    if gap.to_fixed is not None:
        return gap.to_fixed[0]
    for net in gap.ends or ():
        pulls = gap.circuit.pulls.get(net, ())
        if any(pull.direction == "down" and pull.part != gap.key for pull in pulls):
            return net
    return None


def _divided(gap: Gap, tap: str, upper: bool) -> str:
    """Return the net that is divided at the tap."""
    if upper:
        return next(net for net in gap.part.nets if net != tap)
    for link in gap.circuit.links.get(tap, ()):
        if link.part != gap.key and gap.is_supply(link.to_net) and link.kind == "resistor":
            return link.to_net
    for link in gap.circuit.links.get(tap, ()):
        if link.part != gap.key and link.kind == "resistor" and not gap.is_ground(link.to_net):
            return link.to_net
    return "its output"


def divider(gap: Gap) -> Absence | None:
    """One leg of a divider that something reads."""
    if gap.ends is None:
        return None
    tap = _tap(gap)
    if tap is None:
        return None
    upper = "upper" in gap.role
    top = _divided(gap, tap, upper)
    readers = gap.chips_on(*gap.island(tap))
    pin = gap.pin_of(readers[0], tap) if len(readers) == 1 else listed(readers)
    if not readers:
        served = gap.telling(gap.island(tap))
        if not served:
            return minor(f"nothing seen reads {tap}, the middle of the divider")
        pin = listed(served)
    if upper:
        return degrades(f"{tap} lies at 0 V: {pin} no longer sees {top}")
    volts = gap.volts(top)
    text = f"{tap} rises to the whole of {gap.with_volts(top)}: {pin} reads far too much"
    if volts is not None and volts > HARMLESS_VOLTS:
        return degrades(text, "more than the input may bear")
    return degrades(text)


#: An input of a 3.3 V chip bears a little more than this (common practice, no source).
HARMLESS_VOLTS: Final = 3.7


def set_resistor(gap: Gap) -> Absence | None:
    """An analog pin that sets something is open."""
    nets = [net for net in gap.part.nets if gap.is_signal(net)]
    if not nets:
        return None
    chips = gap.chips_on(*nets)
    if not chips:
        return unknown(f"{listed(nets)} is open; {_SILENT}")
    if (
        gap.ends is not None
        and len(nets) == 2
        and set(gap.chips_on(nets[0])) & set(gap.chips_on(nets[1]))
    ):
        return degrades(f"the feedback of {listed(chips)} between {nets[0]} and {nets[1]} is open: its "
                        "gain is wrong")  # fmt: skip
    chip, net = next((key, n) for key in chips for n in nets if key in gap.chips_on(n))
    words = gap.pin_words(net)
    what = next((text for pattern, text in _SETS if pattern.search(words)), None)
    pin = gap.pin_of(chip, net)
    if gap.role_of(chip) == "charger" and what == _CHARGE:
        return blocks(
            f"{pin} ({net}) is open: no charge current is set, the battery is not charged"
        )
    if what is None:
        return degrades(f"{pin} ({net}) is open: what the resistor sets there is undefined")
    return degrades(f"{pin} ({net}) is open: {what} is undefined")


_CHARGE: Final = "the charge current"
_SETS: Final = (
    (re.compile(r"ISET|ICHG|PROG|IPRG"), _CHARGE),
    (re.compile(r"ILIM|OCSET|LIMIT"), "the current limit"),
    (re.compile(r"VSET|TRIM"), "the output voltage"),
    (re.compile(r"ROSC|\bRT\b"), "the switching frequency"),
    (re.compile(r"ZQ|RZQ|RCOMP"), "the drive strength of the memory bus"),
    (re.compile(r"REXT|RREF|IREF|R_?REF|RBIAS|REF"), "the reference current"),
    (re.compile(r"TMR|TIMER"), "the safety timer"),
)


def gate_resistor(gap: Gap) -> Absence | None:
    """The transistor is no longer driven."""
    if gap.ends is None:
        return None
    for net in gap.ends:
        if not gap.is_signal(net):
            continue
        gates = [
            key
            for key in gap.parts_on([net], Kind.MOSFET, Kind.TRANSISTOR)
            if _is_gate(gap, key, (net,))
        ]
        if gates:
            return _never_switched(gap, gates, net)
    return series_part(gap)


def _never_switched(gap: Gap, gates: list[str], net: str) -> Absence:
    rails = gap.circuit.rails
    fed = [name for name, rail in rails.items() if rail.source in gates and gap.is_supply(name)]
    held = [p for p in gap.circuit.pulls.get(net, ()) if p.part != gap.key and p.fitted]
    if fed and held:
        lost = rails_lost(gap, fed, f"{listed(gates)} is no longer driven and stays off")
        return blocks(*lost.effects)
    if fed:
        return degrades(f"the gate of {listed(gates)} floats: {listed(fed)} is on or off by chance")
    served = [
        key
        for key in gap.telling(n for g in gates for n in gap.circuit.board.part_by_key[g].nets
                               if gap.is_signal(n) and n != net)
        if key not in gates
    ]  # fmt: skip
    text = f"{listed(gates)} is no longer driven"
    if served and all(gap.kind_of(key) is Kind.LED for key in served):
        return minor(f"{text}: the lamp {listed(served)} stays dark")
    return degrades(f"{text}: {listed(served)} is not switched" if served else text)


def led_resistor(gap: Gap) -> Absence | None:
    """The lamp stays dark."""
    lamps = gap.parts_on((net for net in gap.part.nets if gap.is_signal(net)), Kind.LED)
    if len(lamps) > 1:
        return minor(f"the lamps {listed(lamps)} stay dark")
    return minor(f"the lamp {listed(lamps)} stays dark" if lamps else "a lamp stays dark")


def termination(gap: Gap) -> Absence | None:
    """Reflections on a line; a USB-C line with Rd is judged as a pull-down."""
    if gap.to_fixed is not None and gap.is_ground(gap.to_fixed[1]):
        words = gap.pin_words(gap.to_fixed[0])
        if USB_CC.search(words):
            return pull_down(gap)
    if gap.ends is not None and all(gap.is_signal(net) for net in gap.ends):
        from nettrace.circuit.roles.survey import are_pair  # noqa: PLC0415 (kept beside its use)

        if not are_pair(*gap.ends):
            return series_part(gap)
    nets = listed([net for net in gap.part.nets if gap.is_signal(net)])
    on_bus = gap.bus_line(*gap.part.nets)
    where = f" of the {_bus_name(on_bus[0])}" if on_bus is not None else ""
    return degrades(f"{nets}{where} is not terminated: reflections, errors at full speed")


def coupling(gap: Gap) -> Absence | None:
    """A capacitor in series: the signal does not pass."""
    if gap.ends is None:
        return None
    first, second = gap.ends
    if not (gap.is_signal(first) and gap.is_signal(second)):
        return degrades(f"{listed([n for n in gap.ends if gap.is_signal(n)])} has no return for its "
                        "signal")  # fmt: skip
    return cut_line(gap, first, second) or degrades(
        f"the signal between {first} and {second} is cut"
    )


def filter_capacitor(gap: Gap) -> Absence | None:
    """A filter is weaker: more noise, a faster edge."""
    if gap.ends is not None and all(gap.is_ground(net) for net in gap.ends):
        return minor(f"{gap.ends[0]} and {gap.ends[1]} are no longer tied for high frequencies")
    nets = [net for net in gap.part.nets if not gap.is_ground(net)]
    if gap.parts_on(nets, Kind.ANTENNA):
        return degrades(f"the matching at {listed(nets)} is off: less range")
    if gap.parts_on((net for net in nets if gap.is_signal(net)), Kind.SWITCH):
        return minor(f"{listed(nets)} is not debounced: one press may count twice")
    chips = gap.chips_on(*(net for net in nets if gap.is_signal(net)))
    at = f" at {listed(chips)}" if chips else ""
    return minor(f"{listed(nets)} is no longer filtered{at}: more noise")


def timing_capacitor(gap: Gap) -> Absence | None:
    """Delays a reset or a start."""
    nets = [net for net in gap.part.nets if gap.is_signal(net)]
    words = " ".join(gap.pin_words(net) for net in nets)
    if RESET.search(words):
        return minor(f"{listed(nets)} rises without delay: a start may fail now and then, and it is "
                     "open to noise")  # fmt: skip
    return minor(f"{listed(nets)} has no delay: what it starts does so at once")


def thermistor_gone(gap: Gap) -> Absence | None:
    """The thermistor, or its bias."""
    return thermistor_bias(gap) or series_part(gap)


LINE_RULES: Final[dict[str, Rule]] = {
    "pull-up": pull_up,
    "pull-down": pull_down,
    "series resistor": series_part,
    "termination": termination,
    "divider (upper)": divider,
    "divider (lower)": divider,
    "feedback divider (upper)": feedback_divider,
    "feedback divider (lower)": feedback_divider,
    "thermistor": thermistor_gone,
    "thermistor bias": thermistor_gone,
    "gate resistor": gate_resistor,
    "LED resistor": led_resistor,
    "filter resistor": filter_resistor,
    "set resistor": set_resistor,
    "filter capacitor": filter_capacitor,
    "AC coupling": coupling,
    "soft-start or timing capacitor": timing_capacitor,
    "ferrite bead": series_part,
    "filter inductor": series_part,
    "zero-ohm link": series_part,
    "jumper": series_part,
    "fuse": series_part,
    "inrush limiter": series_part,
    "common-mode choke": series_part,
}
