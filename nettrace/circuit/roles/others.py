"""Roles of diodes, transistors, coils, crystals, plugs, cells, and of kinds that are their role."""

from __future__ import annotations

from typing import Final

from nettrace import knowledge
from nettrace.circuit.kinds import TRANSISTORS, Kind
from nettrace.circuit.links import diode_ends
from nettrace.circuit.part_kinds import is_logic_cell
from nettrace.circuit.rail_evidence import CONVERTER_HENRIES
from nettrace.circuit.rails import is_regulator_text
from nettrace.circuit.roles.chips import number_and_words
from nettrace.circuit.roles.site import (
    CERTAIN,
    CHIPS,
    FAINT,
    LIKELY,
    POSSIBLE,
    STRONG,
    WEAK,
    Findings,
    Site,
    Survey,
    are_pair,
    figure,
    found,
    is_letter_only,
    ranked,
)

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


#: A part of unknown kind with more pins is likelier a plug than anything (common practice).
MOST_CHIP_GUESS_PINS: Final = 8


# -- coils -------------------------------------------------------------------------------------


def switching_inductor(site: Site) -> Findings:
    """Between a switching node and a rail, or between the two nodes of one converter."""
    survey = site.survey
    for node, far in site.ways:
        if node not in survey.switching_nodes or not survey.is_signal(node):
            continue
        chips = survey.chips[node]
        name = survey.part(chips[0]).refdes if chips else "a transistor"
        # the chip that switches watches what comes out, or stands at the supply that goes in
        returns = not chips or any(_stands_at(survey, key, far) for key in chips)
        heavy = sum(pin.part in chips for pin in survey.pins(node)) > 1
        known = site.kind.henries is not None
        score = 0.88 if returns or heavy else 0.55
        if survey.says("switching", node) or (known and (returns or heavy)):
            score = CERTAIN
        elif known and site.what is Kind.INDUCTOR:
            score = 0.8
        if site.what is Kind.FERRITE:
            score = WEAK
        because = f"from {node}, switched by {name}, to {survey.describe(far)}"
        yield found("switching inductor", score, because)
        return


def _stands_at(survey: Survey, chip: str, rail: str) -> bool:
    """Return whether the chip has a pin on the rail, on one tied to it, or on a tap from it."""
    nets = survey.part(chip).nets
    known = survey.rails.get(rail)
    tied = {far for _, far in known.linked if survey.is_supply(far)} if known is not None else set()
    return any(
        net == rail
        or net in tied
        or (net in survey.taps and rail in survey.ends.get(survey.taps[net][0], ()))
        for net in nets
    )


def filter_inductor(site: Site) -> Findings:
    """A choke of a supply, or matching and filtering in a signal."""
    if not site.ends:
        return
    henries = site.kind.henries
    both = " and ".join(site.ends)
    if henries is not None and henries < CONVERTER_HENRIES:
        yield found("filter inductor", 0.9, f"{figure(henries, 'H')}: matching or filter")
    elif site.lines or site.to_fixed:
        scores = {
            "filter inductor": LIKELY,
            "ferrite bead": 0.6 if henries is None else WEAK,
            "switching inductor": WEAK,
        }
        yield from ranked(scores, f"between {both}")
    else:
        grounds = len(site.grounds) == 2
        line = f"between {'the grounds' if grounds else 'the rails'} {both}"
        if henries is None:
            # under L without a value most parts between two supplies are beads
            yield found("ferrite bead", STRONG if grounds else LIKELY, line)
            yield from ranked({"filter inductor": 0.6, "switching inductor": WEAK}, line)
        else:
            yield found("filter inductor", 0.8, f"{figure(henries, 'H')} {line}")
            yield from ranked({"switching inductor": POSSIBLE, "ferrite bead": WEAK}, line)


def choke(site: Site) -> Findings:
    """Two windings: a pair goes through."""
    if _carries_pairs(site):
        yield found("common-mode choke", 0.86, f"two pairs meet in it: {', '.join(site.nets)}")


_MAYBE_CHOKE: Final = frozenset(
    {Kind.UNKNOWN, Kind.INDUCTOR, Kind.FERRITE, Kind.FILTER, Kind.TRANSFORMER, Kind.IC}
)


def _carries_pairs(site: Site) -> bool:
    """Return whether four pins are on the four nets of two pairs, nothing on a supply."""
    nets = site.nets
    if site.what not in _MAYBE_CHOKE or len(nets) != 4 or len(site.part.pins) != 4:
        return False
    if not all(site.survey.is_signal(net) for net in nets):
        return False
    if site.part.refdes.upper().startswith(("CHOKE", "CMC", "CM")):
        return True
    a, b, c, d = nets
    return any(
        are_pair(a, partner) and are_pair(*rest)
        for partner, rest in ((b, (c, d)), (c, (b, d)), (d, (b, c)))
    )


# -- the rest ----------------------------------------------------------------------------------


def crystal(site: Site) -> Findings:
    """By its words, or by the pi of two capacitors and a chip it stands in."""
    nets = site.survey.crystals.get(site.part.key)
    if site.what is Kind.CRYSTAL and nets is None and is_letter_only(site.part, site.kind):
        few = len(site.part.pins) <= 4 and not site.supplies
        yield found("crystal", POSSIBLE if few else FAINT, *site.kind.because[:1])
        yield from _plug(site, "letter X, and not wired as a crystal")
    elif site.what is Kind.CRYSTAL:
        yield found("crystal", CERTAIN if nets else STRONG, *site.kind.because[:2])
        yield found("oscillator", WEAK if nets else POSSIBLE, *site.kind.because[:1])
    elif nets is not None:
        where = f"between {' and '.join(nets)}, each with a capacitor to ground, at a chip"
        yield found("crystal", 0.93, where)


def plug(site: Site) -> Findings:
    """A connector; what its words say is plugged in comes second."""
    yield from _plug(site, *site.kind.because[:1])


def _plug(site: Site, *why: str) -> Findings:
    part, pins = site.part, len(site.part.pins)
    if len(site.nets) == pins == 1:
        yield found("test point", 0.82, f"a single pin, on {site.nets[0]}")
        yield from ranked({"connector": POSSIBLE, "mechanical": WEAK}, "a single pin")
        return
    bridges = site.ends is not None and pins == 2 and len(site.supplies) == 2
    if site.ends and bridges:
        line = f"in series with a supply, {site.ends[0]} to {site.ends[1]}"
        yield found("jumper", 0.93, line, "two pins")
    elif site.ends and pins == 2:
        words = knowledge.pattern("roles", "jumper words")
        if words.search(f"{part.value or ''} {part.refdes}"):
            yield found("jumper", 0.6, "its words say so")
    yield found("connector", 0.6 if bridges else 0.9, *why)
    text = f"{part.refdes} {part.value or ''} {part.description or ''} {part.package or ''}"
    for pattern, role in knowledge.table("roles")["plugged"]["rows"]:
        if knowledge.compiled(pattern, ignore_case=True).search(text):
            because = f"its words name what is plugged in: {part.value or part.refdes}"
            yield found(role, 0.45, because)
    if pins == 2 and site.to_fixed and site.grounds:
        yield found("jumper", 0.2, f"two pins, {site.to_fixed[0]} and ground")
    if pins == 2 and len(site.grounds) == len(site.nets):
        yield found("test point", POSSIBLE, "ground pins only")


def plain_kind(site: Site) -> Findings:
    """What the kind alone says."""
    for role, score, *rest in knowledge.table("roles")["plain"][site.what.value]:
        why = rest[0] if rest else 2
        given = site.kind.because[:why] if isinstance(why, int) else (why,)
        yield found(role, score, *(given or (f"a {site.what.value}",)))


def single_pin(site: Site) -> Findings:
    """One pin or pad cannot be more than a test point, a clip or a hole."""
    pins = len(site.part.pins)
    if site.what in {Kind.CONNECTOR, Kind.TEST_POINT}:
        return
    if pins == 1 or (pins > 1 and len(site.nets) == 1):
        score = LIKELY if pins == 1 and site.what is not Kind.MECHANICAL else FAINT
        yield found("test point", score, f"all on {', '.join(site.nets) or 'no net'}")
        yield found("mechanical", WEAK, "all on one net")


def unknown_kind(site: Site) -> Findings:
    """A part of unknown kind: two pins on two nets, or many."""
    pins, refdes = len(site.part.pins), site.part.refdes
    if is_logic_cell(site.part):
        # a netlist of a chip's inside has instances of cells, no parts that anyone solders
        yield found("logic", 0.6, f"cell {site.part.properties['cell']} of a logic netlist")
        return
    if pins == 0:
        yield found("mechanical", POSSIBLE, "no pins")
    elif knowledge.pattern("roles", "battery holder").search(refdes):
        yield from ranked({"battery": 0.7, "connector": POSSIBLE}, f"reference {refdes}")
    elif pins > 2:
        score = 0.55 if pins > MOST_CHIP_GUESS_PINS else WEAK
        yield found("connector", score, f"{pins} pins, nothing said")
    elif site.to_fixed is not None:
        scores = {"jumper": 0.35, "switch": WEAK, "connector": WEAK}
        yield from ranked(scores, f"two pins, {' and '.join(site.nets)}")
    yield found("unknown", 0.2, "neither reference, value nor package says what it is")
