"""Roles of inductors, beads and chokes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles.net_words import SWITCH_PIN, words_of
from nettrace.circuit.roles.nodes import CONVERTER_HENRIES
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
    figure,
    found,
    only_for,
)
from nettrace.circuit.roles.survey import are_pair

__all__ = ["INDUCTOR_RULES"]

_MAYBE_CHOKE: Final = frozenset(
    {Kind.UNKNOWN, Kind.INDUCTOR, Kind.FERRITE, Kind.FILTER, Kind.TRANSFORMER, Kind.IC}
)


@only_for(Kind.FERRITE)
def bead(site: Site) -> Iterable[Finding]:
    """A bead by its value, its package or its words, whatever its reference."""
    yield found("ferrite bead", CERTAIN, *site.kind.because[:2])
    yield found("filter inductor", POSSIBLE, "in series with a line")


@only_for(Kind.INDUCTOR, Kind.FERRITE)
def switching_inductor(site: Site) -> Iterable[Finding]:
    """Between a switching node and a rail, or between the two nodes of one converter."""
    if not site.ends:
        return
    survey = site.survey
    for node, far in (site.ends, site.ends[::-1]):
        if survey.switching_nodes.get(node) is None or not survey.is_signal(node):
            continue
        chips = survey.chips.get(node, ())
        name = survey.board.part_by_key[chips[0]].refdes if chips else "a transistor"
        named = any(SWITCH_PIN.search(text) for text in (*survey.pin_names(node), words_of(node)))
        # the chip that switches watches what comes out, or stands at the supply that goes in
        returns = not chips or any(_stands_at(site, key, far) for key in chips)
        heavy = sum(pin.part in chips for pin in survey.pins(node)) > 1
        known = site.kind.henries is not None
        score = 0.88 if returns or heavy else 0.55
        if named or (known and (returns or heavy)):
            score = CERTAIN
        elif known and site.what is Kind.INDUCTOR:
            score = 0.8
        if site.what is Kind.FERRITE:
            score = WEAK
        yield found(
            "switching inductor",
            score,
            f"from {node}, switched by {name}, to {survey.describe(far)}",
        )
        return


def _stands_at(site: Site, chip: str, rail: str) -> bool:
    """Return whether the chip has a pin on the rail, or on a tap of a divider from it."""
    survey = site.survey
    nets = survey.board.part_by_key[chip].nets
    if rail in nets:
        return True
    for net in nets:
        pair = survey.taps.get(net)
        if pair is not None and rail in survey.ends.get(pair[0], ()):
            return True
    return any(survey.is_supply(link) and link in nets for link in _linked(site, rail))


def _linked(site: Site, rail: str) -> tuple[str, ...]:
    """Return the rails that links, beads and shunts tie to the rail."""
    known = site.survey.rails.get(rail)
    return tuple(far for _, far in known.linked) if known is not None else ()


@only_for(Kind.INDUCTOR)
def filter_inductor(site: Site) -> Iterable[Finding]:
    """A choke of a supply, or matching and filtering in a signal."""
    if not site.ends:
        return
    survey, henries = site.survey, site.kind.henries
    first, second = site.ends
    small = henries is not None and henries < CONVERTER_HENRIES
    both = not survey.is_signal(first) and not survey.is_signal(second)
    if small:
        yield found("filter inductor", 0.9, f"{figure(henries, 'H')}: matching or filter")
    elif both:
        grounds = survey.is_ground(first) and survey.is_ground(second)
        line = f"between {'the grounds' if grounds else 'the rails'} {first} and {second}"
        if henries is None:
            # under L without a value most parts between two supplies are beads
            yield found("ferrite bead", STRONG if grounds else LIKELY, line)
            yield found("filter inductor", 0.6, line)
            yield found("switching inductor", WEAK, line)
        else:
            yield found("filter inductor", 0.8, f"{figure(henries, 'H')} {line}")
            yield found("switching inductor", POSSIBLE, line)
            yield found("ferrite bead", WEAK, line)
    else:
        line = f"between {first} and {second}"
        yield found("filter inductor", LIKELY, line)
        yield found("ferrite bead", 0.6 if henries is None else WEAK, line)
        yield found("switching inductor", WEAK, line)


@only_for(*_MAYBE_CHOKE, Kind.COMMON_MODE_CHOKE)
def choke(site: Site) -> Iterable[Finding]:
    """Two windings: a pair goes through."""
    if _carries_pairs(site):
        yield found("common-mode choke", 0.86, f"two pairs meet in it: {', '.join(site.nets)}")
    if site.what is Kind.COMMON_MODE_CHOKE:
        yield found("common-mode choke", CERTAIN, *site.kind.because[:2])
        yield found("filter inductor", WEAK, "in series with a pair")
    elif site.what is Kind.TRANSFORMER:
        yield found("common-mode choke", FAINT, "windings")
        yield found("filter inductor", FAINT, "windings")
        yield found("unknown", WEAK, "a transformer: no word of the list fits")
    elif site.what is Kind.FILTER:
        yield found("filter inductor", 0.4, *site.kind.because[:1])
        yield found("ferrite bead", WEAK, *site.kind.because[:1])
        yield found("common-mode choke", WEAK, *site.kind.because[:1])
        yield found("ESD protection", FAINT, *site.kind.because[:1])


def _carries_pairs(site: Site) -> bool:
    """Return whether four pins are on the four nets of two pairs, nothing on a supply."""
    nets = site.nets
    if site.what not in _MAYBE_CHOKE or len(nets) != 4 or len(site.part.pins) != 4:
        return False
    if not all(site.survey.is_signal(net) for net in nets):
        return False
    if site.part.refdes.upper().startswith(("CHOKE", "CMC", "CM")):
        return True
    first, *others = nets
    for partner in others:
        rest = [net for net in others if net != partner]
        if are_pair(first, partner) and are_pair(rest[0], rest[1]):
            return True
    return False


INDUCTOR_RULES: Final[tuple[Rule, ...]] = (bead, switching_inductor, filter_inductor, choke)
