"""Resistors that form a filter with a capacitor: low-passes, loop filters, snubbers, bias feeds."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles.net_words import BUTTON, COMPENSATION_PIN, FEEDBACK_PIN, RESET, words_of
from nettrace.circuit.roles.site import (
    FAINT,
    STRONG,
    WEAK,
    Finding,
    Site,
    found,
    only_for,
)
from nettrace.circuit.roles.survey import CHIPS, Branch

__all__ = ["SNUBBER_OHMS", "bridged", "filter_resistor"]


#: A low-pass of at least this is meant as a filter; below, a few pF slow an edge (common practice).
FILTER_SECONDS: Final = 1e-6


@only_for(Kind.RESISTOR)
def filter_resistor(site: Site) -> Iterable[Finding]:
    """Forms a low-pass or a loop filter with a capacitor."""
    if site.kind.ohms == 0 or not site.ends:
        return
    survey = site.survey
    for net, far in (site.ends, site.ends[::-1]):
        if not survey.is_signal(net):
            continue
        capacitors = survey.capacitors.get(net, ())
        if not capacitors or net in survey.crystal_nets:
            continue
        yield from _differential(site, net, capacitors)
        if len(survey.pins(net)) == 2:
            yield from _series_rc(site, far, capacitors[0])
        elif _is_filtered_node(site, net) and not survey.is_signal(far):
            yield found(
                "filter resistor", 0.8, f"with {capacitors[0].part} filters {far} for {net}"
            )
        elif _is_filtered_node(site, net):
            yield from _from_filtered_node(site, net, far)
        elif survey.is_signal(far):
            yield from _low_pass(site, net, far, capacitors)


#: More than this in series with a sense input is no filter's resistor (common practice).
DIFFERENTIAL_OHMS: Final = 2e3


def _differential(site: Site, net: str, capacitors: tuple[Branch, ...]) -> Iterable[Finding]:
    """One of two resistors into a chip's pair of inputs with a capacitor across them."""
    survey, ohms = site.survey, site.kind.ohms
    if ohms is not None and ohms > DIFFERENTIAL_OHMS:
        return
    for capacitor in capacitors:
        across = capacitor.far
        if not survey.is_signal(across) or len(survey.resistors.get(across, ())) != 1:
            continue
        shared = set(survey.chips.get(net, ())) & set(survey.chips.get(across, ()))
        if not shared or len(survey.resistors.get(net, ())) != 1:
            continue
        if ohms and capacitor.figure and ohms * capacitor.figure < FILTER_SECONDS:
            continue
        known = ohms is not None and capacitor.figure is not None
        line = f"with {capacitor.part} across {net} and {across} filters a pair of inputs"
        yield found("filter resistor", 0.86 if known else 0.66, line)


def _series_rc(site: Site, far: str, capacitor: Branch) -> Iterable[Finding]:
    """R and C alone in series: a snubber, a loop filter, or an input behind its coupling."""
    survey = site.survey
    end = capacitor.far
    middle = next(net for net in site.ends or () if net != far)
    names = " ".join((*survey.pin_names(far), words_of(far), words_of(middle)))
    chain = f"with {capacitor.part} in series from {far} to {end}"
    if survey.is_ground(end) or survey.is_supply(end):
        if COMPENSATION_PIN.search(names) or FEEDBACK_PIN.search(names):
            yield found("filter resistor", STRONG, chain, "on a compensation or loop pin")
            yield found("snubber", FAINT, chain)
            return
        ohms = site.kind.ohms
        damped = ohms is None or ohms <= SNUBBER_OHMS
        damped = damped and survey.is_signal(far)
        yield found("snubber", 0.8 if damped else WEAK, f"{chain}: damps {far}")
        yield found("filter resistor", 0.45 if damped else 0.78, chain)
        return
    if bridged(site, far, end, site.part.key):
        yield found("filter resistor", 0.88, chain, "across a capacitor or resistor: a loop filter")


#: More than this in series with a capacitor to ground damps nothing (common practice, no source).
SNUBBER_OHMS: Final = 220.0


def bridged(site: Site, first: str, second: str, own: str) -> bool:
    """Return whether a capacitor or a resistor beside `own` joins the nets.

    The second net may be a resistor's end: then the net behind it counts, too.
    """
    survey = site.survey
    ends = {second}
    if survey.is_signal(second) and len(survey.pins(second)) == 2:
        ends |= {b.far for b in survey.resistors.get(second, ())}
    beside = (*survey.capacitors.get(first, ()), *survey.resistors.get(first, ()))
    return any(branch.far in ends and branch.part != own for branch in beside)


def _is_filtered_node(site: Site, net: str) -> bool:
    """Return whether the net is only a capacitor between two resistors, one from a supply."""
    survey = site.survey
    resistors = survey.resistors.get(net, ())
    if len(resistors) < 2 or set(survey.on_net.get(net, ())) - _QUIET_KINDS:
        return False
    up = any(survey.is_supply(branch.far) for branch in resistors)
    down = any(survey.is_ground(branch.far) for branch in resistors)
    return up != down  # both: a divider


_QUIET_KINDS: Final = frozenset({Kind.RESISTOR, Kind.CAPACITOR, Kind.TEST_POINT})


#: Behind a filtered node these sense it; a microphone is fed from it.
_READS: Final = tuple(CHIPS - {Kind.MICROPHONE})


def _from_filtered_node(site: Site, node: str, far: str) -> Iterable[Finding]:
    for branch in site.survey.resistors.get(node, ()):
        if site.survey.is_signal(branch.far) or site.survey.count(far, *_READS):
            continue
        up = site.survey.is_supply(branch.far)
        because = f"from {far} to {branch.far} behind {branch.part}, filtered at {node}"
        yield found("pull-up" if up else "pull-down", 0.8, because)
        return


def _low_pass(site: Site, net: str, far: str, capacitors: tuple[Branch, ...]) -> Iterable[Finding]:
    survey, ohms = site.survey, site.kind.ohms
    to_ground = [b for b in capacitors if not survey.is_signal(b.far)]
    behind = survey.capacitors.get(far, ())
    loop = behind and not survey.count(far, Kind.CONNECTOR) and far not in survey.crystal_nets
    signal_chips = survey.count(net, *CHIPS) + survey.count(far, *CHIPS)
    grounded = any(not survey.is_signal(b.far) for b in (*capacitors, *behind))
    if loop and grounded and signal_chips < 2 and not words_of(net) and not words_of(far):
        yield found(
            "filter resistor", 0.82, f"between {capacitors[0].part} and {behind[0].part}: a ladder"
        )
        return
    names = " ".join((*survey.pin_names(net), *survey.pin_names(far), words_of(net)))
    if COMPENSATION_PIN.search(names):
        yield found("filter resistor", 0.78, "on a compensation or loop pin")
    if not to_ground or ohms is None or net in survey.taps:
        return  # a divider's tap gives what it holds to this resistor, not the other way
    seconds = max((ohms * (b.figure or 0.0) for b in to_ground), default=0.0)
    text = f"{words_of(net)} {words_of(far)}"
    by_hand = BUTTON.search(text) or RESET.search(text) or survey.count(far, Kind.SWITCH)
    slow = seconds >= FILTER_SECONDS
    onward = len(survey.pins(net)) > 1 + len(to_ground)
    if slow and not by_hand and onward:
        yield found("filter resistor", 0.76, f"a low-pass with {to_ground[0].part}")
    else:
        yield found("filter resistor", 0.4, f"a low-pass with {to_ground[0].part}")
