"""Roles of diodes, LEDs, clamps and transistors."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from nettrace.circuit.kinds import Kind
from nettrace.circuit.rail_volts import is_regulator_text
from nettrace.circuit.roles.site import (
    CERTAIN,
    FAINT,
    LIKELY,
    POSSIBLE,
    STRONG,
    WEAK,
    Finding,
    Rule,
    Site,
    found,
    only_for,
)
from nettrace.circuit.roles.survey import CHIPS
from nettrace.knowledge import pattern

__all__ = ["SEMICONDUCTOR_RULES"]

_ANODE: Final = frozenset({"A", "ANODE", "A1", "+", "2"})
_CATHODE: Final = frozenset({"K", "C", "CATHODE", "K1", "-", "1"})


def _polarity(site: Site) -> tuple[str, str] | None:
    """Return (anode net, cathode net) of a two-pin diode.

    Pin 1 is the cathode where pins are only numbered (common practice, no source).
    """
    anode = cathode = None
    for pin in site.part.pins:
        name = (pin.name or "").upper()
        word = name if name in _ANODE | _CATHODE else pin.number.upper()
        if word in _ANODE:
            anode = anode or pin.net
        elif word in _CATHODE:
            cathode = cathode or pin.net
    if anode is None or cathode is None or anode == cathode:
        return None
    return anode, cathode


@only_for(Kind.LED, Kind.DIODE)
def light(site: Site) -> Iterable[Finding]:
    """A LED by its words; or a diode alone in series with a resistor."""
    if site.what is Kind.LED:
        yield found("LED", CERTAIN, *site.kind.because[:2])
        return
    if not site.ends or site.kind.score >= 0.9:
        return
    survey = site.survey
    for net, far in (site.ends, site.ends[::-1]):
        resistors = survey.resistors.get(net, ())
        if not survey.is_signal(net) or len(survey.pins(net)) != 2 or not resistors:
            continue
        if survey.is_signal(far) and site.part.value:
            continue
        yield found("LED", 0.82 if not site.part.value else POSSIBLE,
                    f"alone in series with {resistors[0].part}")  # fmt: skip
        return


@only_for(Kind.ESD, Kind.VARISTOR, Kind.ZENER, Kind.DIODE)
def clamp(site: Site) -> Iterable[Finding]:
    """Protection arrays, suppressors, Zener diodes, varistors."""
    survey = site.survey
    if site.what is Kind.ESD:
        yield found("ESD protection", CERTAIN, *site.kind.because[:2])
        yield found("Zener clamp", WEAK, "a clamp")
    elif site.what is Kind.VARISTOR:
        yield found("ESD protection", LIKELY, "a varistor clamps surges")
        yield found("Zener clamp", FAINT, "a clamp")
    elif site.what is Kind.ZENER:
        yield found("Zener clamp", 0.86, *site.kind.because[:2])
        yield found("ESD protection", 0.4, "a clamp")
    elif site.what is Kind.DIODE and site.ends:
        grounds = [net for net in site.ends if survey.is_ground(net)]
        others = [net for net in site.ends if not survey.is_ground(net)]
        if len(grounds) == 1 and others[0] not in survey.switching_nodes:
            plug = survey.count(others[0], Kind.CONNECTOR) and survey.is_signal(others[0])
            line = f"from {others[0]} to ground"
            yield found("ESD protection", 0.75 if plug else 0.6, line)
            yield found("Zener clamp", POSSIBLE, line)
            yield found("rectifier or freewheel diode", WEAK, line)
            yield found("reverse-polarity protection", 0.4 if not plug else FAINT, line)


@only_for(Kind.DIODE)
def converter_diode(site: Site) -> Iterable[Finding]:
    """On a converter's switching node, or across a coil."""
    if not site.ends:
        return
    survey = site.survey
    for net, far in (site.ends, site.ends[::-1]):
        if net in survey.switching_nodes:
            line = f"from the switching node {net} to {survey.describe(far)}"
            yield found("rectifier or freewheel diode", CERTAIN, line)
            return
    for net, far in (site.ends, site.ends[::-1]):
        switched = any(
            survey.kinds[pin.part].kind in {Kind.MOSFET, Kind.TRANSISTOR}
            and net not in survey.gates
            for pin in (survey.pins(net) if survey.is_signal(net) else ())
        )
        coil = survey.count(
            net, Kind.RELAY, Kind.MOTOR, Kind.SOUNDER, Kind.CONNECTOR, Kind.INDUCTOR
        )
        if switched and coil and not survey.is_signal(far):
            line = f"from {net}, which a transistor switches, to {far}"
            yield found("rectifier or freewheel diode", STRONG, line)
            return


@only_for(Kind.DIODE)
def supply_diode(site: Site) -> Iterable[Finding]:
    """Between two rails: from a second source, around a regulator, or against reversal."""
    if not site.ends:
        return
    survey = site.survey
    first, second = site.ends
    if not survey.is_supply(first) or not survey.is_supply(second):
        return
    sides = _polarity(site)
    anode, cathode = sides if sides is not None else (first, second)
    regulator = _regulator_from(site, cathode, anode)
    line = f"from {survey.describe(anode)} to {survey.describe(cathode)}"
    if regulator is not None and sides is not None:
        because = f"from the output of {regulator} back to its input"
        yield found("reverse-polarity protection", STRONG, because)
        yield found("rectifier or freewheel diode", POSSIBLE, because)
        yield found("OR-ing diode", 0.45, because)
        return
    plugged = survey.count(anode, Kind.CONNECTOR, Kind.BATTERY)
    made = survey.rails[anode].source
    outside = made is not None and survey.kinds[made].kind in {Kind.CONNECTOR, Kind.BATTERY}
    other_source = _other_sources(site, cathode)
    if plugged and outside and not other_source:
        yield found("reverse-polarity protection", LIKELY, line, f"{anode} comes from a plug")
        yield found("OR-ing diode", 0.66, line)
    else:
        yield found("OR-ing diode", 0.82, line)
        yield found("reverse-polarity protection", POSSIBLE, line)
    yield found("rectifier or freewheel diode", WEAK, line)


def _regulator_from(site: Site, into: str, out: str) -> str | None:
    """Return the refdes of a regulator with its input on one rail and its output on the other."""
    survey = site.survey
    source = survey.rails[out].source
    if source is None:
        return None
    part = survey.board.part_by_key[source]
    if survey.kinds[source].kind in CHIPS and into in part.nets and out in part.nets:
        return part.refdes
    return None


def _other_sources(site: Site, rail: str) -> bool:
    """Return whether another diode feeds the same rail, or a plug or battery stands on it."""
    survey = site.survey
    diodes = [b for b in survey.diodes.get(rail, ()) if survey.is_supply(b.far)]
    return len(diodes) > 1 or survey.count(rail, Kind.BATTERY, Kind.CONNECTOR) > 0


@only_for(Kind.DIODE)
def signal_diode(site: Site) -> Iterable[Finding]:
    """Between two signals, or from a signal to a rail."""
    if not site.ends:
        return
    survey = site.survey
    sides = _polarity(site)
    if site.signals:
        line = f"between {site.signals[0]} and {site.signals[1]}"
        if any(net in survey.switching_nodes for net in site.signals):
            return
        pulled = sides is not None and any(
            survey.is_supply(b.far) for b in survey.resistors.get(sides[0], ())
        )
        if pulled and sides is not None:
            yield found("level shifter", 0.68, f"passes lows only: {sides[0]} has its own pull-up")
        yield found("OR-ing diode", 0.6, line)
        yield found("reverse-polarity protection", FAINT, line)
    elif site.to_fixed and survey.is_supply(site.to_fixed[1]):
        signal, rail = site.to_fixed
        plug = survey.count(signal, Kind.CONNECTOR)
        line = f"from {signal} to {rail}"
        outward = sides is not None and sides[1] == rail
        yield found("ESD protection", 0.6 if plug and outward else 0.4, line)
        yield found("rectifier or freewheel diode", 0.45, line)
        yield found("OR-ing diode", POSSIBLE if outward else WEAK, line)
        yield found("reverse-polarity protection", WEAK, line)


@only_for(Kind.DIODE)
def diode_array(site: Site) -> Iterable[Finding]:
    """Two or more diodes in one package."""
    if site.ends:
        return
    survey = site.survey
    nets = site.nets
    grounds = [net for net in nets if survey.is_ground(net)]
    supplies = [net for net in nets if survey.is_supply(net)]
    if grounds and len(nets) > len(grounds) + len(supplies):
        yield found("ESD protection", LIKELY, f"diodes from lines to {grounds[0]}")
    elif len(supplies) >= 2:
        yield found("OR-ing diode", 0.75, f"joins the rails {', '.join(supplies)}")
        yield found("reverse-polarity protection", WEAK, "in series with supplies")
    elif not grounds and len(nets) == 3:
        yield found("OR-ing diode", 0.65, f"two diodes that meet at one of {', '.join(nets)}")
    yield found("ESD protection", WEAK, "an array")
    yield found("OR-ing diode", WEAK, "an array")
    yield found("rectifier or freewheel diode", WEAK, "an array")


@only_for(Kind.MOSFET, Kind.TRANSISTOR)
def transistor(site: Site) -> Iterable[Finding]:
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
        yield found("reverse-polarity protection", 0.8, f"in the ground return, {line}")
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
    elif supplies:
        yield from _high_side(site, gate, supplies, signals, line)
    else:
        yield found("switching transistor", LIKELY, f"switches a signal, {line}")
        yield found("level shifter", 0.45, line)
        yield found("load switch", WEAK, line)


def _high_side(
    site: Site, gate: str, supplies: list[str], signals: list[str], line: str
) -> Iterable[Finding]:
    survey = site.survey
    if survey.is_ground(gate) or _held_to_ground(site, gate):
        yield found("reverse-polarity protection", 0.9, f"gate held to ground, {line}")
        yield found("load switch", 0.6, line)
        return
    if signals and _feeds_a_light(site, signals[0]):
        yield found("switching transistor", 0.88, f"feeds a single light from {supplies[0]}")
        yield found("load switch", 0.6, line)
        return
    far = (signals or supplies[1:])[0]
    yield found("load switch", 0.88, f"in series with the supply, {supplies[0]} to {far}")
    yield found("switching transistor", POSSIBLE, line)
    yield found("reverse-polarity protection", WEAK, line)


def _held_to_ground(site: Site, gate: str) -> bool:
    """Return whether nothing drives the gate but a resistor to ground (and a clamp)."""
    survey = site.survey
    if not survey.is_signal(gate):
        return False
    down = any(survey.is_ground(b.far) for b in survey.resistors.get(gate, ()))
    drivers = survey.count(gate, *CHIPS, Kind.CONNECTOR, Kind.SWITCH)
    others = len(survey.gates.get(gate, ())) < survey.count(gate, Kind.MOSFET, Kind.TRANSISTOR)
    return down and not drivers and not others


def _feeds_a_light(site: Site, net: str) -> bool:
    """Return whether the net is nothing but the way to a LED, through a resistor at most."""
    survey = site.survey
    pins = [pin.part for pin in survey.pins(net) if pin.part != site.part.key]
    if len(pins) != 1:
        return False
    kind = survey.kinds[pins[0]].kind
    if kind is Kind.LED:
        return True
    ends = survey.ends.get(pins[0])
    if kind is not Kind.RESISTOR or ends is None:
        return False
    far = ends[1] if ends[0] == net else ends[0]
    behind = [b.part for b in survey.diodes.get(far, ())]
    return survey.is_signal(far) and len(survey.pins(far)) == 2 and bool(behind)


def _any_transistor(site: Site) -> Iterable[Finding]:
    survey = site.survey
    nets = site.nets
    grounds = [net for net in nets if survey.is_ground(net)]
    supplies = [net for net in nets if survey.is_supply(net)]
    if grounds:
        yield found("switching transistor", 0.75, f"an end on {grounds[0]}")
    elif len(supplies) >= 2 or (supplies and pattern("links", "p_channel").search(site.text)):
        yield found("load switch", LIKELY, f"ends on {', '.join(supplies)}")
    elif supplies:
        yield found("load switch", POSSIBLE, f"an end on {supplies[0]}")
        yield found("level shifter", 0.45, f"an end on {supplies[0]}")
    yield found("switching transistor", POSSIBLE, "a transistor")
    yield found("load switch", WEAK, "a transistor")
    yield found("level shifter", FAINT, "a transistor")


@only_for(Kind.MOSFET, Kind.TRANSISTOR)
def regulator_transistor(site: Site) -> Iterable[Finding]:
    """A three-pin regulator under a transistor's letter."""
    if is_regulator_text(site.part):
        yield found("regulator", POSSIBLE, f"value {site.part.value}")


SEMICONDUCTOR_RULES: Final[tuple[Rule, ...]] = (
    light,
    clamp,
    converter_diode,
    supply_diode,
    signal_diode,
    diode_array,
    transistor,
    regulator_transistor,
)
