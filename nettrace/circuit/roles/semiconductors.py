"""Roles of diodes, LEDs, clamps and transistors."""

from __future__ import annotations

from nettrace import knowledge
from nettrace.circuit.kinds import TRANSISTORS, Kind
from nettrace.circuit.rail_volts import is_regulator_text
from nettrace.circuit.roles.chips import number_and_words
from nettrace.circuit.roles.site import (
    CERTAIN,
    FAINT,
    LIKELY,
    POSSIBLE,
    STRONG,
    WEAK,
    Findings,
    Site,
    found,
    ranked,
)
from nettrace.circuit.roles.survey import CHIPS, Survey
from nettrace.circuit.series import diode_ends

_RECTIFIER = "rectifier or freewheel diode"
_REVERSAL = "reverse-polarity protection"


def _polarity(site: Site) -> tuple[str, str] | None:
    """Return (anode net, cathode net) of a two-pin diode."""
    anode, cathode = diode_ends(site.part)
    return (anode, cathode) if anode and cathode and anode != cathode else None


def light(site: Site) -> Findings:
    """A diode alone in series with a resistor."""
    survey = site.survey
    for net, far in site.ways if site.kind.score < 0.9 else ():
        resistors = survey.resistors[net]
        if not survey.is_signal(net) or len(survey.pins(net)) != 2 or not resistors:
            continue
        if survey.is_signal(far) and site.part.value:
            continue
        because = f"alone in series with {resistors[0].part}"
        yield found("LED", 0.82 if not site.part.value else POSSIBLE, because)
        return


def clamp(site: Site) -> Findings:
    """From a line to ground."""
    survey = site.survey
    if site.ends and len(site.grounds) == 1:
        other = next(net for net in site.ends if not survey.is_ground(net))
        if other not in survey.switching_nodes:
            plug = survey.count(other, Kind.CONNECTOR) and survey.is_signal(other)
            scores = {
                "ESD protection": 0.75 if plug else 0.6,
                "Zener clamp": POSSIBLE,
                _RECTIFIER: WEAK,
                _REVERSAL: 0.4 if not plug else FAINT,
            }
            yield from ranked(scores, f"from {other} to ground")


def converter_diode(site: Site) -> Findings:
    """On a converter's switching node, or across a coil."""
    survey = site.survey
    for net, far in site.ways:
        if net in survey.switching_nodes:
            line = f"from the switching node {net} to {survey.describe(far)}"
            yield found(_RECTIFIER, CERTAIN, line)
            return
    coils = (Kind.RELAY, Kind.MOTOR, Kind.SOUNDER, Kind.CONNECTOR, Kind.INDUCTOR)
    for net, far in site.ways:
        switched = survey.is_signal(net) and net not in survey.gates
        switched = switched and any(survey.kind(p.part) in TRANSISTORS for p in survey.pins(net))
        if switched and survey.count(net, *coils) and not survey.is_signal(far):
            yield found(_RECTIFIER, STRONG, f"from {net}, which a transistor switches, to {far}")
            return


def supply_diode(site: Site) -> Findings:
    """Between two rails: from a second source, around a regulator, or against reversal."""
    if not site.ends or len(site.supplies) != 2:
        return
    survey = site.survey
    sides = _polarity(site)
    anode, cathode = sides or site.ends
    source = survey.rails[anode].source
    kind = survey.kind(source) if source is not None else None
    line = f"from {survey.describe(anode)} to {survey.describe(cathode)}"
    if source is not None and kind in CHIPS and sides is not None:
        part = survey.part(source)
        if anode in part.nets and cathode in part.nets:
            because = f"from the output of {part.refdes} back to its input"
            scores = {_REVERSAL: STRONG, _RECTIFIER: POSSIBLE, "OR-ing diode": 0.45}
            yield from ranked(scores, because)
            return
    plugs = (Kind.CONNECTOR, Kind.BATTERY)
    diodes = [b for b in survey.diodes[cathode] if survey.is_supply(b.far)]
    other_source = len(diodes) > 1 or survey.count(cathode, *plugs)
    if survey.count(anode, *plugs) and kind in plugs and not other_source:
        yield found(_REVERSAL, LIKELY, line, f"{anode} comes from a plug")
        yield from ranked({"OR-ing diode": 0.66, _RECTIFIER: WEAK}, line)
    else:
        yield from ranked({"OR-ing diode": 0.82, _REVERSAL: POSSIBLE, _RECTIFIER: WEAK}, line)


def signal_diode(site: Site) -> Findings:
    """Between two signals, or from a signal to a rail."""
    survey = site.survey
    sides = _polarity(site) if site.ends else None
    if site.lines:
        if any(net in survey.switching_nodes for net in site.lines):
            return
        if sides is not None and any(survey.is_supply(b.far) for b in survey.resistors[sides[0]]):
            because = f"passes lows only: {sides[0]} has its own pull-up"
            yield found("level shifter", 0.68, because)
        line = f"between {' and '.join(site.lines)}"
        yield from ranked({"OR-ing diode": 0.6, _REVERSAL: FAINT}, line)
    elif site.to_fixed and survey.is_supply(site.to_fixed[1]):
        signal, rail = site.to_fixed
        outward = sides is not None and sides[1] == rail
        scores = {
            "ESD protection": 0.6 if survey.count(signal, Kind.CONNECTOR) and outward else 0.4,
            _RECTIFIER: 0.45,
            "OR-ing diode": POSSIBLE if outward else WEAK,
            _REVERSAL: WEAK,
        }
        yield from ranked(scores, f"from {signal} to {rail}")


def diode_array(site: Site) -> Findings:
    """Two or more diodes in one package."""
    if site.ends:
        return
    nets, grounds, supplies = site.nets, site.grounds, site.supplies
    if grounds and len(nets) > len(grounds) + len(supplies):
        yield found("ESD protection", LIKELY, f"diodes from lines to {grounds[0]}")
    elif len(supplies) >= 2:
        yield found("OR-ing diode", 0.75, f"joins the rails {', '.join(supplies)}")
        yield found(_REVERSAL, WEAK, "in series with supplies")
    elif not grounds and len(nets) == 3:
        yield found("OR-ing diode", 0.65, f"two diodes that meet at one of {', '.join(nets)}")
    yield from ranked({"ESD protection": WEAK, "OR-ing diode": WEAK, _RECTIFIER: WEAK}, "an array")


def transistor(site: Site) -> Findings:
    """By where its ends are: shifter, switch in a supply, low side, or against reversal."""
    survey = site.survey
    ends = survey.terminals.get(site.part.key)
    if ends is None:
        yield from _any_transistor(site)
        return
    gate, source, drain = ends.gate, ends.source, ends.drain
    channel = (source, drain)
    low = [net for net in channel if survey.is_ground(net)]
    supplies = [net for net in channel if survey.is_supply(net)]
    signals = [net for net in channel if survey.is_signal(net)]
    line = f"between {source} and {drain}, gate on {gate}"
    if len(low) == 2:
        yield found(_REVERSAL, 0.8, f"in the ground return, {line}")
        yield found("load switch", 0.4, line)
    elif low:
        switched = (supplies + signals or [drain])[0]
        yield found("switching transistor", 0.92, f"switches {switched} to ground")
        yield found("load switch", WEAK, line)
    elif survey.is_supply(gate) and len(signals) == 2:
        score = CERTAIN if site.what is Kind.MOSFET else 0.75
        sides = f"gate on {survey.describe(gate)}, {source} and {drain} on the two sides"
        yield found("level shifter", score, sides)
        yield found("switching transistor", WEAK, line)
    elif not supplies:
        yield found("switching transistor", LIKELY, f"switches a signal, {line}")
        yield from ranked({"level shifter": 0.45, "load switch": WEAK}, line)
    elif survey.is_ground(gate) or _held_to_ground(survey, gate):
        yield found(_REVERSAL, 0.9, f"gate held to ground, {line}")
        yield found("load switch", 0.6, line)
    elif signals and _feeds_a_light(site, signals[0]):
        yield found("switching transistor", 0.88, f"feeds a single light from {supplies[0]}")
        yield found("load switch", 0.6, line)
    else:
        far = (signals or supplies[1:])[0]
        yield found("load switch", 0.88, f"in series with the supply, {supplies[0]} to {far}")
        yield from ranked({"switching transistor": POSSIBLE, _REVERSAL: WEAK}, line)


def _held_to_ground(survey: Survey, gate: str) -> bool:
    """Return whether nothing drives the gate but a resistor to ground (and a clamp)."""
    if not survey.is_signal(gate):
        return False
    down = any(survey.is_ground(b.far) for b in survey.resistors[gate])
    drivers = survey.count(gate, *CHIPS, Kind.CONNECTOR, Kind.SWITCH)
    others = len(survey.gates[gate]) < survey.count(gate, *TRANSISTORS)
    return down and not drivers and not others


def _feeds_a_light(site: Site, net: str) -> bool:
    """Return whether the net is nothing but the way to a LED, through a resistor at most."""
    survey = site.survey
    parts = [pin.part for pin in survey.pins(net) if pin.part != site.part.key]
    if len(parts) != 1:
        return False
    kind = survey.kind(parts[0])
    if kind is not Kind.RESISTOR or parts[0] not in survey.ends:
        return kind is Kind.LED
    far = survey.far(parts[0], net)
    return survey.is_signal(far) and len(survey.pins(far)) == 2 and bool(survey.diodes[far])


def _any_transistor(site: Site) -> Findings:
    grounds, supplies = site.grounds, site.supplies
    text = " ".join(number_and_words(site.part))
    p_channel = knowledge.pattern("links", "p_channel").search(text)
    if grounds:
        yield found("switching transistor", 0.75, f"an end on {grounds[0]}")
    elif len(supplies) >= 2 or (supplies and p_channel):
        yield found("load switch", LIKELY, f"ends on {', '.join(supplies)}")
    elif supplies:
        scores = {"load switch": POSSIBLE, "level shifter": 0.45}
        yield from ranked(scores, f"an end on {supplies[0]}")
    scores = {"switching transistor": POSSIBLE, "load switch": WEAK, "level shifter": FAINT}
    yield from ranked(scores, "a transistor")


def regulator_transistor(site: Site) -> Findings:
    """A three-pin regulator under a transistor's letter."""
    if is_regulator_text(site.part):
        yield found("regulator", POSSIBLE, f"value {site.part.value}")
