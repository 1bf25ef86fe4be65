"""What stops when what sets a line's level is missing: pulls, dividers, set resistors, thermistors.

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
from nettrace.circuit.absence_supply import rails_lost, shell_untied, supply_link
from nettrace.circuit.evidence import Absence, Bus, BusLine, Pull, Severity
from nettrace.circuit.kinds import Kind
from nettrace.circuit.pulls import parallel_ohms
from nettrace.circuit.roles.site import CHIPS, plain_name, says
from nettrace.values.quantity import engineering

#: An input of a 3.3 V chip bears a little more than this (common practice, no source).
HARMLESS_VOLTS: Final = 3.7
_ENABLED: Final = frozenset({"regulator", "charger", "load switch"})


# -- pulls -------------------------------------------------------------------------------------


def pull_up(gap: Gap) -> Absence | None:
    """A pull-up: the line no longer rises, or only through what is left."""
    if len(gap.nets) > 2:
        return _array(gap)
    biased = thermistor_bias(gap)
    if biased is not None:
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
    on_bus = gap.bus_line(*nets)
    if on_bus is not None:
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
        shell = shell_untied(signal, gap.pin_words(*nets))
        if shell is not None:
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
    capsules = gap.parts_on(nets, Kind.MICROPHONE)
    if capsules:
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
        fed = gap.made_by(*gates)
        if fed:
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
    ends = gap.to_fixed or _to_reference(gap)
    if ends is None:
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
    tap = _tap(gap)
    if tap is None:
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
    tap = _tap(gap)
    if tap is None:
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
