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
    CHIPS,
    Findings,
    Site,
    Survey,
    are_pair,
    figure,
    found,
    give,
    is_letter_only,
)

#: A part of unknown kind with more pins is likelier a plug than anything (common practice).
MOST_CHIP_GUESS_PINS: Final = 8


def _polarity(site: Site) -> tuple[str, str] | None:
    """Return (anode net, cathode net) of a two-pin diode."""
    anode, cathode = diode_ends(site.part)
    return (anode, cathode) if anode and cathode and anode != cathode else None


def light(site: Site) -> Findings:
    """A diode alone in series with a resistor."""
    survey, named = site.survey, bool(site.part.value)
    for net, far in site.ways if site.kind.score < 0.9 else ():
        resistors = survey.resistors[net]
        if not survey.is_signal(net) or len(survey.pins(net)) != 2 or not resistors:
            continue
        if not (survey.is_signal(far) and named):
            return give("named light" if named else "light", resistor=resistors[0].part)
    return ()


def clamp(site: Site) -> Findings:
    """From a line to ground."""
    survey = site.survey
    other = next((net for net in site.ends or () if not survey.is_ground(net)), None)
    if other is None or len(site.grounds) != 1 or other in survey.switching_nodes:
        return ()
    plug = survey.count(other, Kind.CONNECTOR) and survey.is_signal(other)
    return give("plug's line to ground" if plug else "line to ground", net=other)


def converter_diode(site: Site) -> Findings:
    """On a converter's switching node, or across a coil."""
    survey = site.survey
    for net, far in site.ways:
        if net in survey.switching_nodes:
            return give("converter's diode", node=net, far=survey.describe(far))
    coils = (Kind.RELAY, Kind.MOTOR, Kind.SOUNDER, Kind.CONNECTOR, Kind.INDUCTOR)
    for net, far in site.ways:
        switched = survey.is_signal(net) and net not in survey.gates
        switched = switched and any(survey.kind(p.part) in TRANSISTORS for p in survey.pins(net))
        if switched and survey.count(net, *coils) and not survey.is_signal(far):
            return give("across a coil", net=net, far=far)
    return ()


def supply_diode(site: Site) -> Findings:
    """Between two rails: from a second source, around a regulator, or against reversal."""
    if not site.ends or len(site.supplies) != 2:
        return ()
    survey = site.survey
    sides = _polarity(site)
    anode, cathode = sides or site.ends
    source = survey.rails[anode].source
    kind = survey.kind(source) if source is not None else None
    if source is not None and kind in CHIPS and sides is not None:
        part = survey.part(source)
        if anode in part.nets and cathode in part.nets:
            return give("around a regulator", chip=part.refdes)
    plugs = (Kind.CONNECTOR, Kind.BATTERY)
    diodes = [b for b in survey.diodes[cathode] if survey.is_supply(b.far)]
    other_source = len(diodes) > 1 or survey.count(cathode, *plugs)
    inlet = survey.count(anode, *plugs) and kind in plugs and not other_source
    line = f"from {survey.describe(anode)} to {survey.describe(cathode)}"
    return give("from a plug's rail" if inlet else "between rails", line=line, anode=anode)


def signal_diode(site: Site) -> Findings:
    """Between two signals, or from a signal to a rail."""
    survey = site.survey
    sides = _polarity(site) if site.ends else None
    if site.lines:
        if any(net in survey.switching_nodes for net in site.lines):
            return
        if sides is not None and any(survey.is_supply(b.far) for b in survey.resistors[sides[0]]):
            yield from give("passes lows", anode=sides[0])
        yield from give("between signals", both=" and ".join(site.lines))
    elif site.to_fixed and survey.is_supply(site.to_fixed[1]):
        signal, rail = site.to_fixed
        outward = sides is not None and sides[1] == rail
        plug = outward and survey.count(signal, Kind.CONNECTOR)
        row = "signal to rail" if outward else "rail to signal"
        yield from give("plug's signal to rail" if plug else row, signal=signal, rail=rail)


def diode_array(site: Site) -> Findings:
    """Two or more diodes in one package."""
    if site.ends:
        return
    nets, grounds, supplies = site.nets, site.grounds, site.supplies
    if grounds and len(nets) > len(grounds) + len(supplies):
        yield found("ESD protection", 0.7, f"diodes from lines to {grounds[0]}")
    elif len(supplies) >= 2:
        yield from give("array joins rails", rails=", ".join(supplies))
    elif not grounds and len(nets) == 3:
        yield found("OR-ing diode", 0.65, f"two diodes that meet at one of {', '.join(nets)}")
    yield from give("array of diodes")


def transistor(site: Site) -> Findings:
    """By where its ends are: shifter, switch in a supply, low side, or against reversal."""
    survey = site.survey
    if (ends := survey.terminals.get(site.part.key)) is None:
        return _any_transistor(site)
    gate, source, drain = ends.gate, ends.source, ends.drain
    channel = (source, drain)
    low = [net for net in channel if survey.is_ground(net)]
    supplies = [net for net in channel if survey.is_supply(net)]
    signals = [net for net in channel if survey.is_signal(net)]
    far = ""
    if len(low) == 2:
        row = "in the return"
    elif low:
        row, far = "switches to ground", (supplies + signals or [drain])[0]
    elif survey.is_supply(gate) and len(signals) == 2:
        row = "two sides" if site.what is Kind.MOSFET else "two sides, bipolar"
    elif not supplies:
        row = "switches a signal"
    elif survey.is_ground(gate) or _held_to_ground(survey, gate):
        row = "gate held to ground"
    elif signals and _feeds_a_light(site, signals[0]):
        row = "feeds a light"
    else:
        row, far = "in series with a supply", (signals or supplies[1:])[0]
    return give(
        row, line=f"between {source} and {drain}, gate on {gate}", source=source, drain=drain,
        gate=survey.describe(gate), supply="".join(supplies[:1]), far=far,
    )  # fmt: skip


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
    if grounds:
        yield found("switching transistor", 0.75, f"an end on {grounds[0]}")
    elif len(supplies) >= 2 or (supplies and knowledge.pattern("links", "p_channel").search(text)):
        yield found("load switch", 0.7, f"ends on {', '.join(supplies)}")
    elif supplies:
        yield from give("an end on a rail", rail=supplies[0])
    yield from give("a transistor")


def regulator_transistor(site: Site) -> Findings:
    """A three-pin regulator under a transistor's letter."""
    if is_regulator_text(site.part):
        yield found("regulator", 0.5, f"value {site.part.value}")


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
            score = 0.95
        elif known and site.what is Kind.INDUCTOR:
            score = 0.8
        if site.what is Kind.FERRITE:
            score = 0.3
        because = f"from {node}, switched by {name}, to {survey.describe(far)}"
        yield found("switching inductor", score, because)
        return


def _stands_at(survey: Survey, chip: str, rail: str) -> bool:
    """Return whether the chip has a pin on the rail, on one tied to it, or on a tap from it."""
    known = survey.rails.get(rail)
    tied = {far for _, far in known.linked if survey.is_supply(far)} if known is not None else set()
    return any(
        net == rail
        or net in tied
        or (net in survey.taps and rail in survey.ends.get(survey.taps[net][0], ()))
        for net in survey.part(chip).nets
    )


def filter_inductor(site: Site) -> Findings:
    """A choke of a supply, or matching and filtering in a signal."""
    if not site.ends:
        return ()
    henries = site.kind.henries
    own, both = figure(henries, "H"), " and ".join(site.ends)
    row = "inductor between grounds" if len(site.grounds) == 2 else "inductor between rails"
    if henries is not None and henries < CONVERTER_HENRIES:
        row = "small inductor"
    elif site.lines or site.to_fixed:
        row = "inductor in a line" if henries is None else "inductor in a line, known"
    elif henries is not None:
        row += ", known"
    # under L without a value most parts between two supplies are beads
    return give(row, own=own, both=both)


def choke(site: Site) -> Findings:
    """Two windings: four pins on the four nets of two pairs, nothing on a supply."""
    nets = site.nets
    if site.what not in _MAYBE_CHOKE or len(nets) != 4 or len(site.part.pins) != 4:
        return
    if not all(site.survey.is_signal(net) for net in nets):
        return
    a, b, c, d = nets
    if site.part.refdes.upper().startswith(("CHOKE", "CMC", "CM")) or any(
        are_pair(a, partner) and are_pair(*rest)
        for partner, rest in ((b, (c, d)), (c, (b, d)), (d, (b, c)))
    ):
        yield found("common-mode choke", 0.86, f"two pairs meet in it: {', '.join(nets)}")


_MAYBE_CHOKE: Final = frozenset(
    {Kind.UNKNOWN, Kind.INDUCTOR, Kind.FERRITE, Kind.FILTER, Kind.TRANSFORMER, Kind.IC}
)


# -- the rest ----------------------------------------------------------------------------------


def crystal(site: Site) -> Findings:
    """By its words, or by the pi of two capacitors and a chip it stands in."""
    nets, why = site.survey.crystals.get(site.part.key), site.kind.because
    if site.what is Kind.CRYSTAL and nets is None and is_letter_only(site.part, site.kind):
        few = len(site.part.pins) <= 4 and not site.supplies
        yield found("crystal", 0.5 if few else 0.15, *why[:1])
        yield from _plug(site, "letter X, and not wired as a crystal")
    elif site.what is Kind.CRYSTAL:
        yield found("crystal", 0.95 if nets else 0.85, *why[:2])
        yield found("oscillator", 0.3 if nets else 0.5, *why[:1])
    elif nets is not None:
        where = f"between {' and '.join(nets)}, each with a capacitor to ground, at a chip"
        yield found("crystal", 0.93, where)


def plug(site: Site) -> Findings:
    """A connector; what its words say is plugged in comes second."""
    return _plug(site, *site.kind.because[:1])


def _plug(site: Site, *why: str) -> Findings:
    part, pins = site.part, len(site.part.pins)
    if len(site.nets) == pins == 1:
        yield from give("single pin", net=site.nets[0])
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
        yield found("test point", 0.5, "ground pins only")


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
        return ()
    if pins == 1 or (pins > 1 and len(site.nets) == 1):
        lone = pins == 1 and site.what is not Kind.MECHANICAL
        return give("lone pin" if lone else "one net", nets=", ".join(site.nets) or "no net")
    return ()


def unknown_kind(site: Site) -> Findings:
    """A part of unknown kind: two pins on two nets, or many."""
    pins, refdes = len(site.part.pins), site.part.refdes
    if is_logic_cell(site.part):
        # a netlist of a chip's inside has instances of cells, no parts that anyone solders
        yield found("logic", 0.6, f"cell {site.part.properties['cell']} of a logic netlist")
        return
    if pins == 0:
        yield found("mechanical", 0.5, "no pins")
    elif knowledge.pattern("roles", "battery holder").search(refdes):
        yield from give("battery holder", refdes=refdes)
    elif pins > 2:
        score = 0.55 if pins > MOST_CHIP_GUESS_PINS else 0.3
        yield found("connector", score, f"{pins} pins, nothing said")
    elif site.to_fixed is not None:
        yield from give("two pins of unknown kind", both=" and ".join(site.nets))
    yield found("unknown", 0.2, "neither reference, value nor package says what it is")
