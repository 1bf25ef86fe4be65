"""Roles of everything else: crystals, plugs, switches, test points, cells, mechanical parts."""

from __future__ import annotations

from typing import Final

from nettrace import knowledge
from nettrace.circuit.kinds import Kind
from nettrace.circuit.part_kinds import is_logic_cell
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
from nettrace.circuit.roles.survey import is_letter_only

#: A part of unknown kind with more pins is likelier a plug than anything (common practice).
MOST_CHIP_GUESS_PINS: Final = 8


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
    """A kind whose name is its role."""
    because = site.kind.because[:2] or (f"a {site.what.value}",)
    yield from ranked(dict(knowledge.table("roles")["plain"][site.what.value]), *because)


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
