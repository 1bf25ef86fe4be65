"""Roles of coils, crystals, plugs, test points, cells, and of kinds whose name is their role."""

from __future__ import annotations

from typing import Final

from nettrace import knowledge
from nettrace.circuit.kinds import Kind
from nettrace.circuit.part_kinds import is_logic_cell
from nettrace.circuit.rail_evidence import CONVERTER_HENRIES
from nettrace.circuit.roles.site import (
    CERTAIN,
    FAINT,
    LIKELY,
    POSSIBLE,
    STRONG,
    WEAK,
    Findings,
    Site,
    figure,
    found,
    ranked,
)
from nettrace.circuit.roles.survey import Survey, is_letter_only
from nettrace.circuit.roles.words import are_pair

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
