"""Roles of resistors that hardly resist: links, current shunts, feeds of supply pins."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles.net_words import (
    SUPPLY_PIN,
    names_supply,
    words_of,
)
from nettrace.circuit.roles.site import (
    CERTAIN,
    FAINT,
    LIKELY,
    STRONG,
    WEAK,
    Finding,
    Site,
    figure,
    found,
    only_for,
)
from nettrace.circuit.series import SHUNT_OHMS

__all__ = ["SUPPLY_FILTER_OHMS", "current_shunt", "zero_ohm_link"]

#: A supply is filtered through up to this (common practice, no source).
SUPPLY_FILTER_OHMS: Final = 100.0
#: So little in a line is there to be measured across (common practice, no source).
MILLIOHMS: Final = 0.1


@only_for(Kind.RESISTOR)
def zero_ohm_link(site: Site) -> Iterable[Finding]:
    """A resistor of 0 ohms joins two nets."""
    if site.kind.ohms == 0:
        yield found("zero-ohm link", CERTAIN, f"value {site.part.value}: 0 Ω")
        if site.signals:
            yield found("series resistor", WEAK, "in series with a signal")
        yield found("jumper", FAINT, "an option to open")
    if site.kind.ohms is None and site.ends:
        first, second = site.ends
        survey = site.survey
        if survey.is_supply(first) and survey.is_supply(second):
            yield found("zero-ohm link", 0.55, f"joins two rails, {first} and {second}")
        elif survey.is_ground(first) and survey.is_ground(second):
            yield found("zero-ohm link", STRONG, f"joins two grounds, {first} and {second}")
        elif site.signals:
            yield found("zero-ohm link", FAINT, "value not known")
    if site.to_fixed and site.kind.ohms != 0:
        yield from _feeds_supply_pin(site, *site.to_fixed)


def _feeds_supply_pin(site: Site, net: str, rail: str) -> Iterable[Finding]:
    """From a rail to a chip's supply pin: a link, or the resistor of a supply filter."""
    survey, ohms = site.survey, site.kind.ohms
    if not survey.is_supply(rail) or len(survey.resistors.get(net, ())) > 1:
        return
    names = (*survey.pin_names(net), words_of(net))
    if not any(
        SUPPLY_PIN.search(name) and names_supply(name) for name in names
    ) or not survey.chips.get(net):
        return
    line = f"feeds {words_of(net) or net} from {survey.describe(rail)}"
    if ohms is None:
        yield found("zero-ohm link", 0.82, line)
        yield found("filter resistor", 0.4, line)
    elif ohms <= SUPPLY_FILTER_OHMS:
        yield found("filter resistor", 0.86, line)
        yield found("inrush limiter", FAINT, line)


@only_for(Kind.RESISTOR)
def current_shunt(site: Site) -> Iterable[Finding]:
    """Milliohms in series with a supply or a return measure its current."""
    if not site.ends:
        return
    ohms, survey = site.kind.ohms, site.survey
    supplies = [net for net in site.ends if not survey.is_signal(net)]
    if ohms is not None and 0 < ohms <= SHUNT_OHMS:
        because = [f"{figure(ohms, 'Ω')} in series carries a current"]
        score = CERTAIN if supplies else STRONG if ohms <= MILLIOHMS else LIKELY
        first, second = site.ends
        for key in sorted({*survey.chips.get(first, ())} & {*survey.chips.get(second, ())}):
            score = CERTAIN
            because.append(f"{survey.board.part_by_key[key].refdes} is on both its ends")
        yield found("current shunt", score, *because)
    elif ohms is None and len(supplies) == 2 and all(map(survey.is_supply, supplies)):
        across = {b.far for b in survey.capacitors.get(supplies[0], ())[:_FEW]}
        score = 0.56 if supplies[1] in across else WEAK
        yield found("current shunt", score, f"between the rails {' and '.join(supplies)}")
    if len(site.part.pins) == 4 and len(site.nets) == 2:
        yield found("current shunt", LIKELY, "four pins on two nets: force and sense")


_FEW: Final = 200  # capacitors of a rail looked through: a bound, so that ground costs nothing
