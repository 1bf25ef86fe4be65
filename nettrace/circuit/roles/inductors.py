"""Roles of inductors, beads and chokes."""

from __future__ import annotations

from typing import Final

from nettrace.circuit.kinds import Kind
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
from nettrace.circuit.roles.survey import CONVERTER_HENRIES, Survey
from nettrace.circuit.roles.words import are_pair


def bead(site: Site) -> Findings:
    """A bead by its value, its package or its words, whatever its reference."""
    yield found("ferrite bead", CERTAIN, *site.kind.because[:2])
    yield found("filter inductor", POSSIBLE, "in series with a line")


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
    elif site.signals or site.to_fixed:
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
    if site.what is Kind.COMMON_MODE_CHOKE:
        yield found("common-mode choke", CERTAIN, *site.kind.because[:2])
        yield found("filter inductor", WEAK, "in series with a pair")
    elif site.what is Kind.TRANSFORMER:
        yield from ranked({"common-mode choke": FAINT, "filter inductor": FAINT}, "windings")
        yield found("unknown", WEAK, "a transformer: no word of the list fits")
    elif site.what is Kind.FILTER:
        scores = {"filter inductor": 0.4, "ferrite bead": WEAK, "common-mode choke": WEAK}
        yield from ranked({**scores, "ESD protection": FAINT}, *site.kind.because[:1])


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
