"""What stops when a part in series with a line, or a filter on it, is missing."""

from __future__ import annotations

from typing import Final

from nettrace.circuit.absence_pulls import is_gate, never_switched, pull_down
from nettrace.circuit.absence_site import (
    ACTIVE,
    Gap,
    Rule,
    blocks,
    bus_name,
    degrades,
    listed,
    minor,
    unknown,
)
from nettrace.circuit.absence_supply import supply_link
from nettrace.circuit.absence_thermistor import thermistor_bias, thermistor_cut
from nettrace.circuit.evidence import Absence, Bus, BusLine
from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles.net_words import RESET, USB_CC
from nettrace.circuit.roles.survey import are_pair

__all__ = ["LINE_RULES", "cut_line"]


_SILENT: Final = "what it leads to cannot be seen in these sources"


def series_part(gap: Gap) -> Absence | None:
    """A resistor, link, bead or capacitor in series with a line: what is cut off from what."""
    if gap.ends is None:
        return _cut_array(gap)
    first, second = gap.ends
    if not (gap.is_signal(first) and gap.is_signal(second)):
        return supply_link(gap) or _from_rail(gap)
    return _to_reading(gap) or thermistor_cut(gap, first, second) or cut_line(gap, first, second)


def _to_reading(gap: Gap) -> Absence | None:
    """A resistor from a chip's reference to a thermistor's line is its bias, whatever its name."""
    return thermistor_bias(gap) if gap.kind_of(gap.key) is Kind.RESISTOR else None


def _from_rail(gap: Gap) -> Absence | None:
    """One end on a rail or ground: the other is no longer tied to it."""
    if gap.to_fixed is None:
        return None
    signal, far = gap.to_fixed
    nets = gap.island(signal)
    served = gap.hearers(nets)
    measuring = [key for key in served if gap.role_of(key) in _MEASURES]
    if measuring and len(served) == 1 and gap.is_ground(far):
        return _floating_input(gap, measuring[0], signal)
    if not served:
        return unknown(f"{signal} is no longer tied to {far}; {_SILENT}")
    return degrades(f"{signal} is no longer tied to {far} ({listed(served)})")


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


def cut_line(gap: Gap, first: str, second: str) -> Absence | None:
    """Two signals that the part joined: who no longer meets whom, and on which bus."""
    near, far = gap.island(first), gap.island(second)
    if second in near:
        return minor(f"{first} and {second} stay joined another way")
    sides = gap.hearers(near), gap.hearers(far)
    for nets, side, other in ((near, sides[0], second), (far, sides[1], first)):
        found = None if side else _nobody_there(gap, nets, other)
        if found is not None:
            return found
    if not sides[0] or not sides[1]:
        return None
    for nets, side in ((near, sides[0]), (far, sides[1])):
        gates = [key for key in side if is_gate(gap, key, nets)]
        if gates and len(gates) == len(side):
            return never_switched(gap, gates, nets[0])
    shared = [key for key in sides[0] if key in sides[1]]
    if shared:
        # what is on both sides still has both; told are those that are on one alone
        sides = (
            tuple(key for key in sides[0] if key not in shared),
            tuple(key for key in sides[1] if key not in shared),
        )
        if not sides[0] or not sides[1]:
            who = listed(shared)
            misses = "misses the part between its" if len(shared) == 1 else "miss the part between"
            return degrades(f"{who} {misses} lines {first} and {second}")
    for by_hand, reader in (sides, sides[::-1]):
        if all(gap.kind_of(key) is Kind.SWITCH for key in by_hand):
            return degrades(f"pressing {listed(by_hand)} no longer reaches {listed(reader)}")
    sense = _sense_floats(gap, first, second, near, far, sides)
    if sense is not None:
        return sense
    on_bus = gap.bus_line(first, second)
    if on_bus is not None:
        bus, line = on_bus
        if line.line in _CC_LINES:
            return _cc_cut(gap, bus, line, (*sides[0], *sides[1]))
        return blocks(
            f"{line.line} of the {bus_name(bus)} is open between {first} and {second}: "
            f"{listed(sides[0])} cannot talk to {listed(sides[1])}"
        )
    text = f"the line from {listed(sides[0])} ({first}) to {listed(sides[1])} ({second}) is open"
    lights = {gap.kind_of(key) for key in (*sides[0], *sides[1])}
    if Kind.LED in lights and not _both_chips(gap, sides):
        return minor(f"{text}: the lamp stays dark")
    return blocks(text)


_CC_LINES: Final = frozenset({"CC1", "CC2"})


def _cc_cut(gap: Gap, bus: Bus, line: BusLine, ends: tuple[str, ...]) -> Absence:
    """One USB-C configuration line open in series: like its pull-down missing."""
    plugs = [key for key in ends if gap.kind_of(key) is Kind.CONNECTOR]
    plug = listed(plugs) or "the socket"
    other = [one for one in bus.lines if one.line in _CC_LINES - {line.line}]
    joined = [
        link
        for one in other
        for net in one.nets
        for link in gap.circuit.links.get(net, ())
        if link.to_net in one.nets
    ]
    cut = [lk for lk in joined if lk.part in gap.gone or lk.conditional == "not fitted"]
    if other and not cut:
        return degrades(
            f"{line.line} of the {bus_name(bus)} is open: {plug} works with the plug one way "
            "round, and is dead the other way"
        )
    return blocks(f"{line.line} of the {bus_name(bus)} is open, and no other is whole: a USB-C "
                  f"source gives {plug} no voltage")  # fmt: skip


def _nobody_there(gap: Gap, nets: tuple[str, ...], other: str) -> Absence | None:
    """One side has nothing that drives or reads: a point to measure at, a pull, a gain's leg."""
    points = gap.parts_on(nets, Kind.TEST_POINT)
    if points:
        return minor(f"only {listed(points)} is cut off from {other}")
    held = [p for net in nets for p in gap.circuit.pulls.get(net, ()) if p.part not in gap.gone]
    if held:
        direction = "low" if held[0].direction == "down" else f"high ({held[0].to})"
        return degrades(f"{other} is no longer pulled {direction} through {held[0].part}")
    legs = gap.parts_on(nets, Kind.CAPACITOR, Kind.RESISTOR)
    amplifiers = [key for key in gap.chips_on(other) if gap.role_of(key) == "amplifier"]
    if len(legs) == 1 and amplifiers:
        return degrades(
            f"the leg with {legs[0]} is open: the gain of {listed(amplifiers)} is wrong"
        )
    return None


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
    """A measuring input behind a resistor, with no chip on the far side to talk to."""
    pairs = ((first, near, sides[0], sides[1]), (second, far, sides[1], sides[0]))
    for net, nets, side, other in pairs:
        measuring = [key for key in side if gap.role_of(key) in _MEASURES]
        driven = any(gap.kind_of(key) in ACTIVE for key in other)
        if len(nets) == 1 and len(side) == 1 and measuring and not driven:
            return _floating_input(gap, measuring[0], net)
    return None


_MEASURES: Final = frozenset({"fuel gauge", "amplifier", "charger"})


def _floating_input(gap: Gap, chip: str, net: str) -> Absence:
    if gap.role_of(chip) == "fuel gauge":
        return degrades(
            f"{gap.pin_of(chip, net)} ({net}) floats: the current and the charge that {chip} "
            "counts are wrong; charging itself is not touched"
        )
    return degrades(f"{gap.pin_of(chip, net)} ({net}) floats: what {chip} measures there is wrong")


def filter_resistor(gap: Gap) -> Absence | None:
    """In front of a measuring input, in a supply, or in a signal."""
    if gap.to_fixed is not None:
        signal, far = gap.to_fixed
        nets = gap.island(signal)
        served = gap.hearers(nets)
        measuring = [key for key in served if gap.role_of(key) in _MEASURES]
        if measuring and len(served) == 1 and gap.is_ground(far):
            return _floating_input(gap, measuring[0], signal)
        if not served:
            return _from_rail(gap)
        return blocks(
            f"{signal} is cut off from {gap.with_volts(far)}: {listed(served)} without it"
        )
    if gap.ends is not None and all(gap.is_ground(net) or gap.is_supply(net) for net in gap.ends):
        return supply_link(gap)
    return series_part(gap)


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
            if is_gate(gap, key, (net,))
        ]
        if gates:
            return never_switched(gap, gates, net)
    return series_part(gap)


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
        if not are_pair(*gap.ends):
            return series_part(gap)
    elif gap.to_fixed is not None and gap.is_ground(gap.to_fixed[1]):
        served = gap.hearers(gap.island(gap.to_fixed[0]))
        if len(served) == 1 and gap.role_of(served[0]) in _MEASURES:
            return _floating_input(gap, served[0], gap.to_fixed[0])
    signals = [net for net in gap.part.nets if gap.is_signal(net)]
    nets = listed(signals)
    on_bus = gap.bus_line(*gap.part.nets)
    where = f" of the {bus_name(on_bus[0])}" if on_bus is not None else ""
    verb = "are" if len(signals) > 1 else "is"
    return degrades(f"{nets}{where} {verb} not terminated: reflections, errors at full speed")


def coupling(gap: Gap) -> Absence | None:
    """A capacitor in series: the signal does not pass."""
    if gap.ends is None:
        return None
    first, second = gap.ends
    if not (gap.is_signal(first) and gap.is_signal(second)):
        lost = listed([net for net in gap.ends if gap.is_signal(net)])
        return degrades(f"{lost} has no return for its signal")
    return cut_line(gap, first, second) or degrades(
        f"the signal between {first} and {second} is cut"
    )


def filter_capacitor(gap: Gap) -> Absence | None:
    """A filter is weaker: more noise, a faster edge."""
    if gap.ends is not None and all(gap.is_ground(net) for net in gap.ends):
        return minor(f"{gap.ends[0]} and {gap.ends[1]} are no longer tied for high frequencies")
    nets = [net for net in gap.part.nets if not gap.is_ground(net)]
    signals = [net for net in nets if gap.is_signal(net)]
    if gap.parts_on(nets, Kind.ANTENNA):
        return degrades(f"the matching at {listed(nets)} is off: less range")
    if gap.parts_on(signals, Kind.SWITCH):
        return minor(f"{listed(nets)} is not debounced: one press may count twice")
    if len(signals) == 1 and len(nets) == 1:
        leg = _gain_leg(gap, signals[0])
        if leg is not None:
            return leg
    chips = gap.chips_on(*signals)
    at = f" at {listed(chips)}" if chips else ""
    if len(nets) > 1:
        return minor(f"{listed(nets)} are no longer filtered against each other{at}: more noise")
    return minor(f"{listed(nets)} is no longer filtered{at}: more noise")


def _gain_leg(gap: Gap, net: str) -> Absence | None:
    """Alone with one resistor behind it that goes to an amplifier: sets its gain."""
    others = gap.parts_on([net], *Kind)
    if len(others) != 1 or gap.kind_of(others[0]) is not Kind.RESISTOR:
        return None
    far = next((n for n in gap.circuit.board.part_by_key[others[0]].nets if n != net), None)
    if far is None or not gap.is_signal(far):
        return None
    amplifiers = [key for key in gap.chips_on(far) if gap.role_of(key) == "amplifier"]
    if not amplifiers:
        return None
    return degrades(f"the leg with {others[0]} is open: the gain of {listed(amplifiers)} is wrong")


def timing_capacitor(gap: Gap) -> Absence | None:
    """Delays a reset or a start."""
    nets = [net for net in gap.part.nets if gap.is_signal(net)]
    words = " ".join(gap.pin_words(net) for net in nets)
    if RESET.search(words):
        return minor(
            f"{listed(nets)} rises without delay: a start may fail now and then, and noise may "
            "reset the board"
        )
    return minor(f"{listed(nets)} has no delay: what it starts does so at once")


def thermistor_gone(gap: Gap) -> Absence | None:
    """The thermistor, or its bias."""
    return thermistor_bias(gap) or series_part(gap)


LINE_RULES: Final[dict[str, Rule]] = {
    "series resistor": series_part,
    "termination": termination,
    "thermistor": thermistor_gone,
    "thermistor bias": thermistor_gone,
    "gate resistor": gate_resistor,
    "LED resistor": led_resistor,
    "filter resistor": filter_resistor,
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
