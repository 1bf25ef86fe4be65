"""What stops when a part of a line, a chip, a plug, a clock, a pull or a divider is missing.

A thermistor falls with heat (NTC) and stands to ground unless it is seen to go to a supply. Open
reads as coldest, 0 V as hottest; a charger charges at neither (JEITA guideline of 20 April 2007,
cold below 0 °C, hot above 60 °C).
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Final

from nettrace import knowledge
from nettrace.circuit.absence import Gap, bus_name, line_name, listed, put_in, tell
from nettrace.circuit.absence_supply import rails_lost, shell_untied, supply_link, without_it
from nettrace.circuit.evidence import Absence, Bus, BusLine, Pull, Severity
from nettrace.circuit.kinds import Kind
from nettrace.circuit.links import parallel_ohms, terminals_of
from nettrace.circuit.roles.site import CHIPS, are_pair, plain_name, says
from nettrace.model.names import natural_key
from nettrace.values.quantity import engineering

#: An input of a 3.3 V chip bears a little more than this (common practice, no source).
HARMLESS_VOLTS: Final = 3.7
_ENABLED: Final = frozenset({"regulator", "charger", "load switch"})


# -- pulls -------------------------------------------------------------------------------------


def pull_up(gap: Gap) -> Absence | None:
    """A pull-up: the line no longer rises, or only through what is left."""
    if len(gap.nets) > 2:
        return _array(gap)
    if (biased := thermistor_bias(gap)) is not None:
        return biased
    if gap.to_fixed is not None:
        return _pull_on(gap, *gap.to_fixed, "up")
    # a pull between two rails: nothing hangs on it, unless it is the way in
    return supply_link(gap) if len(gap.supplies) == len(gap.nets) else None


def pull_down(gap: Gap) -> Absence | None:
    """A pull-down: USB-C detection, or a line that floats until it is driven."""
    if gap.to_fixed is not None:
        return _pull_on(gap, *gap.to_fixed, "down")
    return _array(gap) if len(gap.nets) > 2 else None


def _array(gap: Gap) -> Absence | None:
    """An array of pulls: the worst of its lines, each line named once."""
    commons = [net for net in gap.nets if not gap.is_signal(net)]
    if not commons or not gap.signals:
        return None
    direction = "up" if gap.is_supply(commons[0]) else "down"
    found = {net: _pull_on(gap, net, commons[0], direction) for net in gap.signals}
    worst = min((judged.severity for judged in found.values()), key=lambda each: each.rank)
    nets = [net for net, judged in found.items() if judged.severity is worst]
    if len(nets) == 1:
        return found[nets[0]]
    effect = f"{listed(nets)} lose their pull-{direction} to {commons[0]}"
    if (on_bus := gap.bus_line(*nets)) is not None:
        effect += f" ({bus_name(on_bus[0])})"
    return Absence(worst, (f"{effect}: they float while nothing drives them",))


@cache
def _open_drain() -> frozenset[str]:
    """Protocols whose lines are only ever pulled low: without a pull-up they never rise."""
    rows = [row for row in knowledge.table("buses")["bus"] if row.get("open_drain")]
    variants = {variant for row in rows for variant, _ in row.get("variants", ())}
    return frozenset(variants | {row["protocol"] for row in rows if "protocol" in row})


def _pull_on(gap: Gap, signal: str, rail: str, direction: str) -> Absence:
    nets = gap.island(signal)
    left = gap.pulls(*nets, direction=direction)
    if direction == "up":
        on_bus = gap.bus_line(*nets)
        if left:
            return _weaker(signal, left, on_bus)
        if on_bus is not None and on_bus[0].protocol in _open_drain():
            return _silent_line(gap, signal, rail, *on_bus)
        found = _bias_lost(gap, signal, nets)
    else:
        if (shell := shell_untied(signal, gap.pin_words(*nets))) is not None:
            return shell
        if left:
            return tell("pull kept", signal=signal, left=[pull.part for pull in left])
        found = _plug_direction(gap, signal, nets)
    found = found or _control(gap, signal, nets)
    found = found or _floating(gap, signal, nets, direction) or _strap(gap, signal, nets)
    served = gap.telling(nets)
    row = f"pull-{direction} lost" if served else f"pull-{direction} lost, unseen"
    return found or tell(row, signal=signal, rail=rail, served=served)


def _floating(gap: Gap, signal: str, nets: tuple[str, ...], direction: str) -> Absence | None:
    """What floats, by what the names say that the line is for."""
    words, chips, on_bus = gap.pin_words(*nets), gap.chips_on(*nets), gap.bus_line(*nets)
    for what, severity, effect, nobody in knowledge.table("lines")["floating"][direction]:
        if (on_bus is not None if what == "bus" else says(what, words)) or (
            what == "button" and gap.parts_on(nets, Kind.SWITCH)
        ):
            served = chips or gap.telling(nets) or nobody
            line = line_name(*on_bus) if on_bus else ""
            text = put_in(effect, signal=signal, chips=chips or nobody, served=served, line=line)
            return Absence(Severity(severity), (text,))
    return None


def _strap(gap: Gap, signal: str, nets: tuple[str, ...]) -> Absence | None:
    """A chip's pin that had nothing but this resistor."""
    served = gap.telling(nets)
    if len(nets) != 1 or len(served) != 1 or served != gap.chips_on(*nets):
        return None
    return tell("strap floats", pin=gap.pin_of(served[0], signal), signal=signal)


def _bias_lost(gap: Gap, signal: str, nets: tuple[str, ...]) -> Absence | None:
    """A microphone, or an amplifier's input, that lives on the current through the resistor."""
    if capsules := gap.parts_on(nets, Kind.MICROPHONE):
        return tell("microphone without bias", signal=signal, capsules=capsules)
    chips = gap.chips_on(*nets)
    if chips and all(gap.role_of(key) == "amplifier" for key in chips):
        pin = gap.pin_of(chips[0], _net_on(gap, chips[0], signal))
        return tell("input without bias", pin=pin, signal=signal)
    return None


def _weaker(signal: str, left: list[Pull], on_bus: tuple[Bus, BusLine] | None) -> Absence:
    parts, ohms = [pull.part for pull in left], parallel_ohms(tuple(left))
    if ohms is None:
        return tell("pull kept, slower", signal=signal, left=parts)
    window = on_bus[1].limits_ohms if on_bus is not None else None
    row = "pull kept, no window"
    if window is not None:
        row = "pull kept, within" if ohms <= window[1] else "pull kept, too slow"
    all_of_it, low, high = (engineering(each, "Ω", 3) for each in (ohms, *(window or (ohms, ohms))))
    return tell(row, signal=signal, left=parts, ohms=all_of_it, low=low, high=high)


def _silent_line(gap: Gap, signal: str, rail: str, bus: Bus, line: BusLine) -> Absence:
    nets = gap.island(signal)
    chips = gap.chips_on(*nets)
    devices = [key for key in chips if key in bus.devices] or chips
    more = []
    if devices:
        more.append(f"{listed(devices)} {'does' if len(devices) == 1 else 'do'} not answer")
    more += [
        f"{link.part} passes a low on to {link.to_net}: that side may hang too"
        for link in gap.links(*nets)
        if link.kind == "level shifter"
    ]
    to = f" to {rail}" if gap.is_supply(rail) else ""
    name = line_name(bus, line)
    return tell("never rises", *dict.fromkeys(more), line=name, signal=signal, to=to)


def never_switched(gap: Gap, gates: list[str], net: str) -> Absence:
    """Return what follows when nothing drives the gates on a net any more."""
    fed = gap.made_by(*gates)
    if fed and gap.pulls(net):
        return rails_lost(gap, fed, f"{listed(gates)} is no longer driven and stays off")
    if fed:
        return tell("rail by chance", gates=gates, fed=fed)
    nets = [n for gate in gates for n in gap.nets_of(gate) if gap.is_signal(n) and n != net]
    served = [key for key in gap.telling(nets) if key not in gates]
    row = "not driven for" if served else "not driven"
    if served and all(gap.kind_of(key) is Kind.LED for key in served):
        row = "not driven, dark"
    return tell(row, gates=gates, served=served)


def _control(gap: Gap, signal: str, nets: tuple[str, ...]) -> Absence | None:
    """A line that switches something: a transistor's gate, a regulator's enable; else None."""
    chips, gates = gap.chips_on(*nets), gap.gates_on(*nets)
    if gates:
        if fed := gap.made_by(*gates):
            return tell("rail's gate floats", gates=gates, signal=signal, fed=fed)
        then = "it may conduct when it should not"
        return replace(tell("gate floats", gates=gates, signal=signal, then=then), then=then)
    if not says("enable", gap.pin_words(*nets)):
        return None
    # who is enabled by the line, and whether something else drives it
    enabled = [
        key
        for key in chips
        if gap.role_of(key) in _ENABLED
        or (gap.role_of(key) != "controller" and says("enable", _pin_name(gap, key, signal)))
    ]
    if not enabled:
        return None
    outputs = [net for net in gap.made_by(*enabled) if not gap.is_pack(net)]
    charging = [key for key in enabled if gap.role_of(key) == "charger"]
    if charging:
        what = f"{listed(charging)} may not charge"
    elif outputs:
        what = f"{'' if len(outputs) == 1 else 'one of '}{listed(outputs)} may be missing"
    else:
        what = f"{listed(enabled)} may stay off"
    drivers = [key for key in chips if key not in enabled]
    if drivers:
        return tell("enable undefined", signal=signal, drivers=drivers, what=what)
    pins = [gap.pin_of(key, _net_on(gap, key, signal)) for key in enabled]
    return tell("enable floats", signal=signal, pins=pins, what=what)


def _pin_name(gap: Gap, key: str, signal: str) -> str:
    net = _net_on(gap, key, signal)
    return next((plain_name(pin.name) for pin in gap.survey.part(key).pins if pin.net == net), "")


def _net_on(gap: Gap, key: str, signal: str) -> str:
    return next((net for net in gap.island(signal) if net in gap.nets_of(key)), signal)


def _plug_direction(gap: Gap, signal: str, nets: tuple[str, ...]) -> Absence | None:
    """One CC line without Rd: that way round the source finds no sink (USB Type-C)."""
    plugs = gap.parts_on(nets, Kind.CONNECTOR)
    pins = [pin for key in plugs for pin in gap.survey.part(key).pins]
    named = {pin.net for pin in pins if says("usb cc", (pin.name or "").upper())}
    if not plugs or not (says("usb cc", gap.pin_words(*nets)) or named.intersection(nets)):
        return None
    others = [
        pin.net
        for pin in gap.survey.part(plugs[0]).pins
        if pin.net is not None and pin.net not in nets and gap.is_signal(pin.net)
        if pin.net in named or says("usb cc", gap.pin_words(pin.net))
    ]
    kept = bool(gap.pulls(*others, direction="down"))
    cut = f"{signal} has lost its pull-down (Rd)"
    return one_way_round(cut, plugs[0], kept, "the other CC line has none")


def one_way_round(text: str, plug: str, kept: bool, other: str) -> Absence:
    """Return that a USB-C plug has one CC line less, the other one being kept or not."""
    return tell("one way round" if kept else "no way round", text=text, plug=plug, other=other)


# -- thermistors -------------------------------------------------------------------------------


def _is_thermistor_line(gap: Gap, nets: tuple[str, ...]) -> bool:
    """Return whether a thermistor is on the line, or its name or a chip's pin says so."""
    return bool(gap.parts_on(nets, Kind.THERMISTOR)) or any(
        says("thermistor", gap.pin_words(net)) for net in nets
    )


def _misread(gap: Gap, readers: tuple[str, ...], why: str) -> Absence:
    """Return what the readers of a thermistor's line do when they see a wrong temperature."""
    chargers = [
        key
        for key in readers
        if any(
            role.role == "charger" and (not place or role.score >= 0.5)
            for place, role in enumerate(gap.around.roles(key))
        )
    ]
    gauges = [key for key in readers if gap.role_of(key) == "fuel gauge"]
    then = ""
    if chargers:
        then = f"{listed(chargers)} refuses to charge"
    elif gauges:
        then = f"{listed(gauges)} reports a wrong temperature, charging may be refused"
    elif readers:
        then = f"{listed(readers)} sees a wrong temperature"
    row = "no charging" if chargers else "misread" if readers else "reader not seen"
    return replace(tell(row, why=why, then=then), lost="temperature", then=then)


def _coldest(net: str) -> str:
    return f"{net} reads as coldest, as with an open thermistor"


def _pack_or_thermistor(gap: Gap, nets: tuple[str, ...]) -> bool:
    return bool(gap.parts_on(nets, Kind.THERMISTOR, Kind.CONNECTOR, Kind.BATTERY))


def thermistor_bias(gap: Gap) -> Absence | None:
    """The fixed resistor, or the thermistor, from the line to a supply or to ground is gone."""
    if (ends := gap.to_fixed or _to_reference(gap)) is None:
        return None
    signal, far = ends
    nets = gap.island(signal)
    if gap.role != "thermistor bias" and not _is_thermistor_line(gap, nets):
        return None
    readers = gap.chips_on(*nets)
    if gap.role == "thermistor":
        return _misread(gap, readers, _coldest(signal))
    thermistors = gap.parts_on(nets, Kind.THERMISTOR)
    to_supply = any(gap.is_supply(net) for key in thermistors for net in gap.nets_of(key))
    if gap.is_supply(far) if to_supply else gap.is_ground(far):
        return tell("not shunted", signal=signal, far=far, readers=readers or "its reader")
    if not _pack_or_thermistor(gap, nets):
        return None
    why = f"{signal} lies at 0 V, which reads as hottest"
    if to_supply:
        why = f"{signal} is held up by the thermistor alone, which reads as hottest"
    return _misread(gap, readers, why)


def _to_reference(gap: Gap) -> tuple[str, str] | None:
    """Return (line, reference) where a chip's own reference output feeds the line."""
    for line, far in gap.ways if len(gap.signals) > 1 else ():
        if gap.role == "thermistor bias" and gap.parts_on([line], Kind.THERMISTOR):
            return line, far
        if not _is_thermistor_line(gap, (line,)) or _is_thermistor_line(gap, (far,)):
            continue
        if says("reference", gap.pin_words(far)) and gap.chips_on(far):
            return line, far
    return None


def thermistor_cut(gap: Gap, first: str, second: str) -> Absence | None:
    """A part in series between the thermistor (or the pack's contact) and the chip is gone."""
    for own, other in ((first, second), (second, first)):
        mine, theirs = gap.island(own), gap.island(other)
        if other in mine:
            return None
        readers = gap.chips_on(*mine)
        if not readers or gap.chips_on(*theirs) or not _pack_or_thermistor(gap, theirs):
            continue
        if not _is_thermistor_line(gap, mine) and not _is_thermistor_line(gap, theirs):
            continue
        if _pack_or_thermistor(gap, mine):
            return None
        # what holds the line up: a pull, or a resistor from a chip's reference
        held = [(pull.part, pull.to) for pull in gap.pulls(*mine, direction="up")]
        held += [
            (link.part, link.to_net)
            for link in gap.links(*mine)
            if link.kind == "resistor"
            and not gap.is_ground(link.to_net)
            and says("reference", gap.pin_words(link.to_net))
        ]
        why = _coldest(own)
        if held:
            part, to = held[0]
            why = f"{own} is pulled to {gap.with_volts(to)} by {part}; {why}"
        return _misread(gap, readers, why)
    return None


# -- dividers and set resistors ----------------------------------------------------------------


def feedback_divider(gap: Gap) -> Absence | None:
    """One leg of a regulator's feedback is open: the output runs up, or falls to the reference."""
    if (tap := _tap(gap)) is None:
        return None
    chips = gap.chips_on(tap)
    makers = [key for key in chips if any(r.source == key for r in gap.rails.values())]
    chip = (*makers, *chips, "the regulator")[0]
    output = _divided(gap, tap)
    loads = gap.rails[output].loads if output in gap.rails else ()
    fed = [key for key in loads if gap.kind_of(key) in CHIPS and key != chip] or "what it feeds"
    row = "output runs up" if "upper" in gap.role else "output driven down"
    return tell(row, tap=tap, chip=chip, output=output, fed=fed)


def divider(gap: Gap) -> Absence | None:
    """One leg of a divider that something reads."""
    if (tap := _tap(gap)) is None:
        return None
    top = _divided(gap, tap)
    nets = gap.island(tap) if gap.is_signal(tap) else (tap,)
    readers = gap.chips_on(*nets) or gap.hearers(nets)
    if not readers:
        return tell("nothing reads the tap", tap=tap)
    pin = gap.pin_of(readers[0], tap) if len(readers) == 1 else listed(readers)
    if "upper" in gap.role:
        return tell("tap at 0 V", tap=tap, pin=pin, readers=readers, top=top)
    volts = gap.volts(top)
    harmful = volts is not None and volts > HARMLESS_VOLTS
    more = ["more than the input may bear"] if harmful else []
    return tell("tap too high", *more, tap=tap, pin=pin, readers=readers, top=gap.with_volts(top))


def _tap(gap: Gap) -> str | None:
    """Return the middle of the divider: the end that is a signal and is divided further."""
    if gap.ends is None:
        return None
    for net in gap.ends:
        if gap.key in gap.survey.taps.get(net, ()):
            return net
    if gap.to_fixed is not None:
        return gap.to_fixed[0]
    return next((n for n in gap.ends if gap.pulls(n, direction="down", fitted=False)), None)


def _divided(gap: Gap, tap: str) -> str:
    """Return the net that is divided at the tap."""
    if "upper" in gap.role:
        return next(net for net in gap.nets if net != tap)
    resistors = [link.to_net for link in gap.links(tap) if link.kind == "resistor"]
    supplies = [net for net in resistors if gap.is_supply(net)]
    signals = [net for net in resistors if gap.is_signal(net)]
    return (*supplies, *signals, "its output")[0]


_CHARGE: Final = "the charge current"


def set_resistor(gap: Gap) -> Absence | None:
    """An analog pin that sets something is open."""
    nets = gap.signals
    if not nets:
        return None
    chips = gap.chips_on(*nets)
    if not chips:
        return tell("set pin open, unseen", nets=nets)
    shared = [key for key in chips if all(key in gap.chips_on(net) for net in nets)]
    if shared and len(nets) == 2 == len(gap.nets):
        drive = all(says("calibration", gap.pin_words(net)) for net in nets)
        row = "calibration missing" if drive else "feedback open"
        return tell(row, chips=chips, first=nets[0], second=nets[1])
    chip, net = next((key, n) for key in chips for n in nets if key in gap.chips_on(n))
    words, pin = gap.pin_words(net), gap.pin_of(chip, net)
    rows = knowledge.table("lines")["sets"]["rows"]
    what = next((text for row, text in rows if knowledge.compiled(row).search(words)), None)
    if gap.role_of(chip) == "charger" and what == _CHARGE:
        return tell("no charge current", pin=pin, net=net)
    what = "a current" if what == _CHARGE else what or "what the resistor sets there"
    return tell("set pin open", pin=pin, net=net, what=what)


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
        if (found := None if side else _nobody_there(gap, nets, other)) is not None:
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
    if points := gap.parts_on(nets, Kind.TEST_POINT):
        return tell("points cut off", points=points, other=other)
    if held := gap.pulls(*nets, fitted=False):
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
        if gates := gap.gates_on(net):
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
        if (found := _sense_input(gap, gap.hearers(gap.island(signal)))) is not None:
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
        if (found := cut_line(gap, first, second)) is not None:
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
    return tell("no source" if gap.kind.kind is Kind.SOURCE else "no battery", live=gap.live)


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
