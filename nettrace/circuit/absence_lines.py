"""What stops when a part in series with a line, or a filter on it, is missing."""

from __future__ import annotations

from typing import Final

from nettrace.circuit.absence import (
    SILENT,
    Gap,
    blocks,
    bus_name,
    degrades,
    listed,
    minor,
    unknown,
)
from nettrace.circuit.absence_pulls import (
    never_switched,
    one_way_round,
    pull_down,
    thermistor_bias,
    thermistor_cut,
)
from nettrace.circuit.absence_supply import supply_link, without_it
from nettrace.circuit.evidence import Absence, Bus, BusLine
from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles.survey import CHIPS
from nettrace.circuit.roles.words import are_pair, says

_CC_LINES: Final = frozenset({"CC1", "CC2"})
_MEASURES: Final = frozenset({"fuel gauge", "amplifier", "charger"})
#: What the two sides of a line serve.
_Sides = tuple[tuple[str, ...], tuple[str, ...]]


def series_part(gap: Gap) -> Absence | None:
    """A resistor, link, bead or capacitor in series with a line: what is cut off from what."""
    if gap.ends is None:
        return _cut_array(gap)
    first, second = gap.ends
    if len(gap.signals) < 2:
        return supply_link(gap) or _from_rail(gap)
    # a resistor from a chip's reference to a thermistor's line is its bias, whatever its name
    biased = thermistor_bias(gap) if gap.kind.kind is Kind.RESISTOR else None
    return biased or thermistor_cut(gap, first, second) or cut_line(gap, first, second)


def _from_rail(gap: Gap) -> Absence | None:
    """One end on a rail or ground: the other is no longer tied to it."""
    if gap.to_fixed is None:
        return None
    signal, far = gap.to_fixed
    served = gap.hearers(gap.island(signal))
    if not served:
        return unknown(f"{signal} is no longer tied to {far}; {SILENT}")
    return _sense_input(gap, served) or degrades(
        f"{signal} is no longer tied to {far} ({listed(served)})"
    )


def _sense_input(gap: Gap, served: tuple[str, ...]) -> Absence | None:
    """From a signal to ground: the measuring input that it alone serves floats."""
    if gap.to_fixed is None or not gap.is_ground(gap.to_fixed[1]) or len(served) != 1:
        return None
    return _floating_input(gap, served[0], gap.to_fixed[0])


def _floating_input(gap: Gap, chip: str, net: str) -> Absence | None:
    if gap.role_of(chip) not in _MEASURES:
        return None
    text = f"{gap.pin_of(chip, net)} ({net}) floats"
    if gap.role_of(chip) == "fuel gauge":
        return degrades(
            f"{text}: the current and the charge that {chip} counts are wrong; charging itself is "
            "not touched"
        )
    return degrades(f"{text}: what {chip} measures there is wrong")


def _cut_array(gap: Gap) -> Absence | None:
    found = [judged for pair in gap.pairs if (judged := cut_line(gap, *pair)) is not None]
    if not found:
        return None
    worst = min(found, key=lambda judged: judged.severity.rank)
    if len(found) == 1:
        return worst
    effects = tuple(dict.fromkeys(judged.effects[0] for judged in found))
    more = (f"and {len(effects) - 4} lines more",) if len(effects) > 4 else ()
    return Absence(worst.severity, (*effects[:4], *more))


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
        gates = [key for key in side if gap.is_gate(key, nets)]
        if len(gates) == len(side):
            return never_switched(gap, gates, nets[0])
    shared = [key for key in sides[0] if key in sides[1]]
    # what is on both sides still has both; told are those that are on one alone
    one, two = (tuple(key for key in side if key not in shared) for side in sides)
    if not one or not two:
        misses = "misses the part between its" if len(shared) == 1 else "miss the part between"
        return degrades(f"{listed(shared)} {misses} lines {first} and {second}")
    for by_hand, reader in ((one, two), (two, one)):
        if all(gap.kind_of(key) is Kind.SWITCH for key in by_hand):
            return degrades(f"pressing {listed(by_hand)} no longer reaches {listed(reader)}")
    # a measuring input behind a resistor, with no chip on the far side to talk to
    chips = [any(gap.kind_of(key) in CHIPS for key in side) for side in (one, two)]
    for net, nets, side, driven in ((first, near, one, chips[1]), (second, far, two, chips[0])):
        found = _floating_input(gap, side[0], net) if len(nets) == len(side) == 1 else None
        if found is not None and not driven:
            return found
    on_bus = gap.bus_line(first, second)
    if on_bus is not None:
        bus, line = on_bus
        if line.line in _CC_LINES:
            return _cc_cut(gap, bus, line, (*one, *two))
        return blocks(
            f"{line.line} of the {bus_name(bus)} is open between {first} and {second}: "
            f"{listed(one)} cannot talk to {listed(two)}"
        )
    text = f"the line from {listed(one)} ({first}) to {listed(two)} ({second}) is open"
    if any(gap.kind_of(key) is Kind.LED for key in (*one, *two)) and not all(chips):
        return minor(f"{text}: the lamp stays dark")
    return blocks(text)


def _cc_cut(gap: Gap, bus: Bus, line: BusLine, ends: tuple[str, ...]) -> Absence:
    """One USB-C configuration line open in series: like its pull-down missing."""
    plug = listed([key for key in ends if gap.kind_of(key) is Kind.CONNECTOR]) or "the socket"
    other = [one for one in bus.lines if one.line in _CC_LINES - {line.line}]
    cut = any(
        link.to_net in one.nets and (link.part in gap.gone or link.conditional == "not fitted")
        for one in other
        for net in one.nets
        for link in gap.around.links.get(net, ())
    )
    text = f"{line.line} of the {bus_name(bus)} is open"
    return one_way_round(text, plug, bool(other) and not cut, "no other is whole")


def _nobody_there(gap: Gap, nets: tuple[str, ...], other: str) -> Absence | None:
    """One side has nothing that drives or reads: a point to measure at, a pull, a gain's leg."""
    points = gap.parts_on(nets, Kind.TEST_POINT)
    if points:
        return minor(f"only {listed(points)} is cut off from {other}")
    held = gap.pulls(*nets, fitted=False)
    if held:
        direction = "low" if held[0].direction == "down" else f"high ({held[0].to})"
        return degrades(f"{other} is no longer pulled {direction} through {held[0].part}")
    return _gain_leg(gap, gap.parts_on(nets, Kind.CAPACITOR, Kind.RESISTOR), other)


def _gain_leg(gap: Gap, legs: tuple[str, ...], net: str) -> Absence | None:
    """One part alone between what is missing and an amplifier's net: it sets the gain."""
    amplifiers = [key for key in gap.chips_on(net) if gap.role_of(key) == "amplifier"]
    if len(legs) != 1 or not amplifiers:
        return None
    return degrades(f"the leg with {legs[0]} is open: the gain of {listed(amplifiers)} is wrong")


def filter_resistor(gap: Gap) -> Absence | None:
    """In front of a measuring input, in a supply, or in a signal."""
    if gap.to_fixed is None:
        return series_part(gap) if gap.signals or gap.ends is None else supply_link(gap)
    signal, far = gap.to_fixed
    served = gap.hearers(gap.island(signal))
    if not served:
        return _from_rail(gap)
    return _sense_input(gap, served) or without_it(gap, signal, far, served)


def gate_resistor(gap: Gap) -> Absence | None:
    """The transistor is no longer driven."""
    if gap.ends is None:
        return None
    for net in gap.signals:
        gates = gap.gates_on(net)
        if gates:
            return never_switched(gap, gates, net)
    return series_part(gap)


def led_resistor(gap: Gap) -> Absence | None:
    """The lamp stays dark."""
    lamps = gap.parts_on(gap.signals, Kind.LED)
    if len(lamps) > 1:
        return minor(f"the lamps {listed(lamps)} stay dark")
    return minor(f"the lamp {listed(lamps)} stays dark" if lamps else "a lamp stays dark")


def termination(gap: Gap) -> Absence | None:
    """Reflections on a line; a USB-C line with Rd is judged as a pull-down."""
    if gap.to_fixed is not None and gap.is_ground(gap.to_fixed[1]):
        signal = gap.to_fixed[0]
        if says("usb cc", gap.pin_words(signal)):
            return pull_down(gap)
        found = _sense_input(gap, gap.hearers(gap.island(signal)))
        if found is not None:
            return found
    if gap.ends is not None and len(gap.signals) == 2 and not are_pair(*gap.ends):
        return series_part(gap)
    on_bus = gap.bus_line(*gap.nets)
    where = f" of the {bus_name(on_bus[0])}" if on_bus is not None else ""
    verb = "are" if len(gap.signals) > 1 else "is"
    return degrades(
        f"{listed(gap.signals)}{where} {verb} not terminated: reflections, errors at full speed"
    )


def coupling(gap: Gap) -> Absence | None:
    """A capacitor in series: the signal does not pass."""
    if gap.ends is None:
        return None
    if len(gap.signals) < 2:
        return degrades(f"{listed(gap.signals)} has no return for its signal")
    first, second = gap.ends
    return cut_line(gap, first, second) or degrades(
        f"the signal between {first} and {second} is cut"
    )


def filter_capacitor(gap: Gap) -> Absence | None:
    """A filter is weaker: more noise, a faster edge."""
    nets, signals = gap.live, gap.signals
    if gap.ends is not None and not nets:
        return minor(f"{gap.ends[0]} and {gap.ends[1]} are no longer tied for high frequencies")
    if gap.parts_on(nets, Kind.ANTENNA):
        return degrades(f"the matching at {listed(nets)} is off: less range")
    if gap.parts_on(signals, Kind.SWITCH):
        return minor(f"{listed(nets)} is not debounced: one press may count twice")
    if len(signals) == len(nets) == 1:
        legs = gap.parts_on(signals, *Kind)
        if len(legs) == 1 and gap.kind_of(legs[0]) is Kind.RESISTOR:
            far = [net for net in gap.nets_of(legs[0]) if net != signals[0]]
            found = _gain_leg(gap, legs, far[0]) if far and gap.is_signal(far[0]) else None
            if found is not None:
                return found
    chips = gap.chips_on(*signals)
    at = f" at {listed(chips)}" if chips else ""
    if len(nets) > 1:
        return minor(f"{listed(nets)} are no longer filtered against each other{at}: more noise")
    return minor(f"{listed(nets)} is no longer filtered{at}: more noise")


def timing_capacitor(gap: Gap) -> Absence | None:
    """Delays a reset or a start."""
    if says("reset", gap.pin_words(*gap.signals)):
        return minor(
            f"{listed(gap.signals)} rises without delay: a start may fail now and then, and noise "
            "may reset the board"
        )
    return minor(f"{listed(gap.signals)} has no delay: what it starts does so at once")
