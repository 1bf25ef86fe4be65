"""What stops when a part of a line, a chip, a plug, a clock or a protection part is missing."""

from __future__ import annotations

from typing import Final

from nettrace.circuit.absence import Gap, bus_name, line_name, listed, tell
from nettrace.circuit.absence_pulls import (
    never_switched,
    one_way_round,
    pull_down,
    thermistor_bias,
    thermistor_cut,
)
from nettrace.circuit.absence_supply import rails_lost, supply_link, without_it
from nettrace.circuit.evidence import Absence, Bus, BusLine, Severity
from nettrace.circuit.kinds import Kind
from nettrace.circuit.links import terminals_of
from nettrace.circuit.roles.site import CHIPS, are_pair, says
from nettrace.model.names import natural_key

#: A pack's plug has no more pins (common practice, no source).
MOST_PACK_PINS: Final = 12
#: A watch crystal's frequency, Hz: the clock of day and sleep, not of the processor.
WATCH_HERTZ: Final = 32768.0
_CC_LINES: Final = frozenset({"CC1", "CC2"})


# -- in series with a line, or a filter on it ----------------------------------------------------


def series_part(gap: Gap) -> Absence | None:
    """A resistor, link, bead or capacitor in series with a line: what is cut off from what."""
    if gap.ends is None:
        return _cut_array(gap)
    if len(gap.signals) < 2:
        return supply_link(gap) or _from_rail(gap)
    # a resistor from a chip's reference to a thermistor's line is its bias, whatever its name
    biased = thermistor_bias(gap) if gap.kind.kind is Kind.RESISTOR else None
    return biased or thermistor_cut(gap, *gap.ends) or cut_line(gap, *gap.ends)


def _from_rail(gap: Gap) -> Absence | None:
    """One end on a rail or ground: the other is no longer tied to it."""
    if gap.to_fixed is None:
        return None
    signal, far = gap.to_fixed
    served = gap.hearers(gap.island(signal))
    if not served:
        return tell("no longer tied, unseen", signal=signal, far=far)
    tied = tell("no longer tied", signal=signal, far=far, served=served)
    return _sense_input(gap, served) or tied


def _sense_input(gap: Gap, served: tuple[str, ...]) -> Absence | None:
    """From a signal to ground: the measuring input that it alone serves floats."""
    if gap.to_fixed is None or not gap.is_ground(gap.to_fixed[1]) or len(served) != 1:
        return None
    return _floating_input(gap, served[0], gap.to_fixed[0])


def _floating_input(gap: Gap, chip: str, net: str) -> Absence | None:
    role = gap.role_of(chip)
    if role not in {"fuel gauge", "amplifier", "charger"}:
        return None
    row = "gauge's input floats" if role == "fuel gauge" else "input floats"
    return tell(row, pin=gap.pin_of(chip, net), net=net, chip=chip)


def _cut_array(gap: Gap) -> Absence | None:
    found = [judged for pair in gap.pairs if (judged := cut_line(gap, *pair)) is not None]
    worst = min(found, key=lambda judged: judged.severity.rank, default=None)
    if worst is None or len(found) == 1:
        return worst
    effects = tuple(dict.fromkeys(judged.effects[0] for judged in found))
    more = (f"and {len(effects) - 4} lines more",) if len(effects) > 4 else ()
    return Absence(worst.severity, (*effects[:4], *more))


def cut_line(gap: Gap, first: str, second: str) -> Absence | None:
    """Two signals that the part joined: who no longer meets whom, and on which bus."""
    near, far = gap.island(first), gap.island(second)
    if second in near:
        return tell("joined another way", first=first, second=second)
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
        return tell("between its lines", shared=shared, first=first, second=second)
    for by_hand, reader in ((one, two), (two, one)):
        if all(gap.kind_of(key) is Kind.SWITCH for key in by_hand):
            return tell("button cut off", by_hand=by_hand, reader=reader)
    # a measuring input behind a resistor, with no chip on the far side to talk to
    chips = [any(gap.kind_of(key) in CHIPS for key in side) for side in (one, two)]
    for net, nets, side, driven in ((first, near, one, chips[1]), (second, far, two, chips[0])):
        found = _floating_input(gap, side[0], net) if len(nets) == len(side) == 1 else None
        if found is not None and not driven:
            return found
    on_bus = gap.bus_line(first, second)
    if on_bus is not None and on_bus[1].line in _CC_LINES:
        return _cc_cut(gap, *on_bus, (*one, *two))
    row, line = "line open", ""
    if on_bus is not None:
        row, line = "bus line open", line_name(*on_bus)
    elif not all(chips) and any(gap.kind_of(key) is Kind.LED for key in (*one, *two)):
        row = "lamp's line open"
    return tell(row, first=first, second=second, one=one, two=two, line=line)


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
    text = f"{line_name(bus, line)} is open"
    return one_way_round(text, plug, bool(other) and not cut, "no other is whole")


def _nobody_there(gap: Gap, nets: tuple[str, ...], other: str) -> Absence | None:
    """One side has nothing that drives or reads: a point to measure at, a pull, a gain's leg."""
    points = gap.parts_on(nets, Kind.TEST_POINT)
    if points:
        return tell("points cut off", points=points, other=other)
    held = gap.pulls(*nets, fitted=False)
    if held:
        direction = "low" if held[0].direction == "down" else f"high ({held[0].to})"
        return tell("pull behind cut off", other=other, direction=direction, part=held[0].part)
    return _gain_leg(gap, gap.parts_on(nets, Kind.CAPACITOR, Kind.RESISTOR), other)


def _gain_leg(gap: Gap, legs: tuple[str, ...], net: str) -> Absence | None:
    """One part alone between what is missing and an amplifier's net: it sets the gain."""
    amplifiers = [key for key in gap.chips_on(net) if gap.role_of(key) == "amplifier"]
    if len(legs) != 1 or not amplifiers:
        return None
    return tell("gain leg open", leg=legs[0], amplifiers=amplifiers)


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
    return tell("lamp dark" if lamps else "a lamp dark", lamps=lamps)


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
    return tell("not terminated", signals=gap.signals, where=where)


def coupling(gap: Gap) -> Absence | None:
    """A capacitor in series: the signal does not pass."""
    if gap.ends is None:
        return None
    if len(gap.signals) < 2:
        return tell("no return", signals=gap.signals)
    first, second = gap.ends
    return cut_line(gap, first, second) or tell("signal cut", first=first, second=second)


def filter_capacitor(gap: Gap) -> Absence | None:
    """A filter is weaker: more noise, a faster edge."""
    nets, signals = gap.live, gap.signals
    if gap.ends is not None and not nets:
        return tell("ends not tied", first=gap.ends[0], second=gap.ends[1])
    if gap.parts_on(nets, Kind.ANTENNA):
        return tell("matching off", nets=nets)
    if gap.parts_on(signals, Kind.SWITCH):
        return tell("not debounced", nets=nets)
    if len(signals) == len(nets) == 1:
        legs = gap.parts_on(signals, *Kind)
        if len(legs) == 1 and gap.kind_of(legs[0]) is Kind.RESISTOR:
            far = [net for net in gap.nets_of(legs[0]) if net != signals[0]]
            found = _gain_leg(gap, legs, far[0]) if far and gap.is_signal(far[0]) else None
            if found is not None:
                return found
    chips = gap.chips_on(*signals)
    return tell("not filtered", nets=nets, at=f" at {listed(chips)}" if chips else "")


def timing_capacitor(gap: Gap) -> Absence | None:
    """Delays a reset or a start."""
    reset = says("reset", gap.pin_words(*gap.signals))
    return tell("reset without delay" if reset else "no delay", signals=gap.signals)


# -- protection, clocks, switches ----------------------------------------------------------------


def protection(gap: Gap) -> Absence | None:
    """ESD protection: the board works, a contact is open to static; unless lines pass through."""
    through = {
        (min(link.from_net, link.to_net), max(link.from_net, link.to_net))
        for link in gap.links(*gap.signals, through=gap.key)
        if not link.conditional and gap.is_signal(link.to_net)
    }
    for first, second in sorted(through):
        found = cut_line(gap, first, second)
        if found is not None:
            return found
    supplies = [net for net in gap.live if gap.is_supply(net)]
    plugs = gap.parts_on(gap.signals, Kind.CONNECTOR) or gap.parts_on(supplies, Kind.CONNECTOR)
    where = f" at {listed(plugs[:2])}" if plugs else ""
    what = "static and surges" if supplies else "static"
    return tell("open to static", nets=gap.live, where=where, what=what)


def bootstrap(gap: Gap) -> Absence | None:
    """The upper switch of a converter has no drive."""
    chips = gap.chips_on(*gap.signals)
    made = gap.made_by(*chips)
    why = f"the upper switch of {listed(chips) or 'the converter'} has no drive"
    return rails_lost(gap, made, why) if made else tell("no output", why=why)


def crystal(gap: Gap) -> Absence:
    """The chip has no clock."""
    row = "no time of day" if gap.kind.hertz == WATCH_HERTZ else "no crystal"
    return tell(row, who=gap.chips_on(*gap.signals) or "its chip", part=gap.part.refdes)


def crystal_load(gap: Gap) -> Absence:
    """The crystal runs off frequency, or does not start."""
    who = gap.parts_on(gap.signals, Kind.CRYSTAL) or "the crystal"
    return tell("no load capacitor", who=who)


def oscillator(gap: Gap) -> Absence:
    """No clock for whoever takes it."""
    chips = gap.chips_on(*_reached(gap))
    row = "no clock for several" if len(chips) > 1 else "no clock"
    return tell(row, who=chips or "what takes its clock", part=gap.part.refdes)


def _reached(gap: Gap) -> list[str]:
    """Return the nets that the part's signals reach through series parts."""
    return [net for signal in gap.signals for net in gap.island(signal)]


def level_shifter(gap: Gap) -> Absence | None:
    """The two sides no longer hear each other."""
    effects = []
    for first, second in sorted(gap.pairs, key=lambda pair: natural_key(pair[0])):
        sides = [gap.chips_on(*gap.island(net)) for net in (first, second)]
        text = f"{first} and {second} are apart"
        if all(sides):
            few, many = sorted(sides, key=len)
            reach = "reaches" if len(few) == 1 else "reach"
            text += f": {listed(few)} no longer {reach} {listed(many)}"
        effects.append(text)
    return Absence(Severity.BLOCKS, tuple(effects[:4])) if effects else None


def load_switch(gap: Gap) -> Absence | None:
    """A switch of a rail that is not seen, or of a lamp."""
    if gap.kind.kind in CHIPS:
        return tell("switched rail not seen")
    return switching_transistor(gap)


def switching_transistor(gap: Gap) -> Absence | None:
    """What it switches is not switched any more."""
    if any(gap.rails[net].source == gap.key for net in gap.supplies):
        return supply_link(gap)
    ends = terminals_of(gap.part)
    channel = (ends.drain, ends.source) if ends else gap.nets
    switched = [net for net in channel if gap.is_signal(net)]
    if not switched:
        return None
    served = gap.telling(n for net in switched for n in gap.island(net))
    if served and all(gap.kind_of(key) is Kind.LED for key in served):
        return Absence(Severity.MINOR, (f"the lamp {listed(served)} stays dark",))
    return tell("not switched for" if served else "not switched", nets=switched, served=served)


def switch(gap: Gap) -> Absence | None:
    """A button cannot be pressed; a switch in a supply leaves it open."""
    if gap.kind.kind in CHIPS:
        return _chip(gap, "chip's switch", served=gap.hearers(gap.signals or gap.nets))
    found = supply_link(gap) if gap.supplies else None
    if found is not None:
        return found
    nets = [net for net in gap.signals if not gap.open_pin(net)]
    by_hand = len(gap.live) < len(gap.nets) or len(nets) < 2
    return tell("not switched by hand" if by_hand else "cannot be closed", nets=nets)


# -- plugs and cells -----------------------------------------------------------------------------


def connector(gap: Gap) -> Absence:
    """What comes in and goes out by it."""
    refdes = gap.part.refdes
    fed = [net for net in gap.supplies if gap.rails[net].source == gap.key]
    pack = [net for net in gap.supplies if gap.is_pack(net)]
    if len(gap.part.pins) > MOST_PACK_PINS:
        pack = []  # a header that has the battery's rail among others
    beside = gap.parts_on(pack[:1], Kind.CONNECTOR, Kind.BATTERY)
    effects: list[str] = []
    if beside:
        effects.append(
            f"a battery that was at {refdes} is cut off; {pack[0]} also comes to {listed(beside)}"
        )
    elif pack:
        effects.append(
            "the battery is cut off: no operation without an outside supply, no charging"
        )
    elif fed:
        effects.extend(rails_lost(gap, fed, f"it comes in by {refdes}").effects)
    buses = [bus_name(bus) for bus in gap.around.buses if gap.key in bus.parts]
    signals = [net for net in gap.signals if not gap.open_pin(net)]
    if buses or signals:
        effects.append(f"not brought out any more: {listed(buses or signals)}")
    if (fed and not pack) or (pack and not beside):
        return Absence(Severity.BLOCKS, tuple(effects))
    if len(gap.nets) <= 2 and refdes.upper().startswith("ANT"):
        return tell("no antenna", signals=signals)
    if not effects:
        return tell("supply and ground alone")
    return Absence(Severity.DEGRADES, tuple(effects))


def battery(gap: Gap) -> Absence:
    """No operation without a supply from outside; a source of a simulation is on no board."""
    return tell("no source" if gap.kind.kind is Kind.SOURCE else "no battery", gap=gap)


# -- chips -------------------------------------------------------------------------------------


def _chip(gap: Gap, row: str, **names: object) -> Absence:
    made = gap.made_by(gap.key)
    lost = rails_lost(gap, made, f"{gap.part.refdes} makes it").effects if made else ()
    return tell(row, *lost, gap=gap, **names)


def controller(gap: Gap) -> Absence:
    """Nothing runs."""
    return _chip(gap, "no controller")


def interface_chip(gap: Gap) -> Absence:
    """What it joins is apart."""
    plugs = gap.parts_on(_reached(gap), Kind.CONNECTOR)
    return _chip(gap, "no interface", to=f" (towards {listed(plugs[:3])})" if plugs else "")


def plain_chip(gap: Gap) -> Absence:
    """A logic chip, an amplifier: what hangs on its lines hears nothing of it."""
    others = gap.hearers(_reached(gap))
    return _chip(gap, "lines dead for" if others else "lines dead", others=others)


def sensor(gap: Gap) -> Absence:
    """What it measures is missing."""
    heard = gap.kind.kind is Kind.MICROPHONE
    return tell("no sound" if heard else "nothing to read", gap=gap)
