"""Roles of capacitors: from the nets they join, then from their value and size."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles.chip_words import roles_in_text
from nettrace.circuit.roles.filter_resistors import SNUBBER_OHMS, bridged
from nettrace.circuit.roles.net_words import (
    BOOTSTRAP_PIN,
    BUTTON,
    COMPENSATION_PIN,
    FEEDBACK_PIN,
    RESET,
    SOFT_START_PIN,
    SWITCH_PIN,
    names_supply,
    words_of,
)
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
from nettrace.circuit.roles.survey import CHIPS, are_pair

__all__ = ["BULK_FARADS", "CAPACITOR_RULES"]

#: From here on a capacitor of a supply is called bulk (common practice, no source).
BULK_FARADS: Final = 4.7e-6
#: Between these two either word is used.
EITHER_FARADS: Final = (0.9e-6, 23e-6)
#: Less than this on a chip's own pin is no supply's capacitor (common practice, no source).
BYPASS_FARADS: Final = 47e-9
#: Less than this delays nothing that a person or a supply waits for (common practice, no source).
TIMING_FARADS: Final = 1e-9
#: Capacitors of this size (inch) and larger are mostly bulk, where no value is known.
BULK_SIZES: Final = frozenset({"0805", "1206", "1210", "1812", "2010", "2512"})


@only_for(Kind.CAPACITOR)
def supply_capacitor(site: Site) -> Iterable[Finding]:
    """From a supply to ground, or between supplies."""
    if not site.ends:
        return
    survey, farads = site.survey, site.kind.farads
    supplies = [net for net in site.ends if survey.is_supply(net)]
    grounds = [net for net in site.ends if survey.is_ground(net)]
    if len(supplies) + len(grounds) < 2 or not supplies:
        return
    if len(supplies) == 2 and _shunted(site, supplies[0], supplies[1]):
        line = f"across what joins {supplies[0]} and {supplies[1]}"
        yield found("filter capacitor", STRONG, line)
        yield found("decoupling", WEAK, line)
        return
    rail = supplies[0]
    line = f"from {survey.describe(rail)} to {(grounds or supplies[1:])[0]}"
    sure = CERTAIN if grounds else LIKELY
    if farads is None:
        large, why = _is_large(site)
        yield found("decoupling", POSSIBLE if large else LIKELY, line, "value not known")
        yield found("bulk capacitor", LIKELY if large else POSSIBLE, line, why or "value not known")
    elif farads >= BULK_FARADS * 0.99:
        yield found("bulk capacitor", sure, f"{figure(farads, 'F')} {line}")
        low = farads <= EITHER_FARADS[1]
        yield found("decoupling", POSSIBLE if low else FAINT, f"{figure(farads, 'F')} {line}")
    else:
        yield found("decoupling", sure, f"{figure(farads, 'F')} {line}")
        high = farads >= EITHER_FARADS[0]
        yield found("bulk capacitor", POSSIBLE if high else FAINT, f"{figure(farads, 'F')} {line}")
    yield found("filter capacitor", WEAK, line)


def _shunted(site: Site, first: str, second: str) -> bool:
    """Return whether a resistor (a current shunt, a filter's) joins the two rails."""
    rails = site.survey.rails
    return (
        any(far == second for _, far in rails[first].linked)
        or any(far == first for _, far in rails[second].linked)
        or (first, second) in site.survey.joined
    )


def _is_large(site: Site) -> tuple[bool, str]:
    """Return whether the part is larger than most capacitors of the board, by name or copper."""
    size = site.kind.size_inch
    if size is not None:
        return size in BULK_SIZES, f"size {size}"
    usual = site.survey.usual_capacitor_mm
    own = site.survey.pad_distance_mm(site.part)
    if usual is None or own is None:
        return False, ""
    return own > usual * LARGER, f"pads {own:.2g} mm apart, most {usual:.2g} mm"


#: So much further apart are the pads of the next chip size at least (0402 to 0603: 1.5 times).
LARGER: Final = 1.3


@only_for(Kind.CAPACITOR)
def crystal_load(site: Site) -> Iterable[Finding]:
    """From a crystal's pin to ground."""
    if site.to_fixed is None:
        return
    signal, _ = site.to_fixed
    crystal = site.survey.crystal_nets.get(signal)
    if crystal is not None:
        yield found("crystal load", CERTAIN, f"from the crystal {crystal} ({signal}) to ground")
        yield found("filter capacitor", FAINT, f"from {signal} to ground")


@only_for(Kind.CAPACITOR)
def shunt_capacitor(site: Site) -> Iterable[Finding]:
    """From a signal, a control line, a tap or a chip's own pin to ground."""
    if site.to_fixed is None:
        return
    signal, far = site.to_fixed
    survey, farads = site.survey, site.kind.farads
    line = f"from {signal} to {survey.describe(far)}"
    if survey.is_supply(far):
        yield found("filter capacitor", 0.55, line)
        yield found("AC coupling", WEAK, line)
        yield found("decoupling", 0.35, line)
        return
    yield found("filter capacitor", LIKELY, line)
    words = words_of(signal)
    names = " ".join((*survey.pin_names(signal), words))
    resistors = survey.resistors.get(signal, ())
    pulled = [b for b in resistors if survey.is_supply(b.far)]
    button = BUTTON.search(words) or survey.count(signal, Kind.SWITCH)
    tiny = farads is not None and farads < TIMING_FARADS
    supplied = any(names_supply(name) for name in (*survey.pin_names(signal), words))
    if RESET.search(words) and not tiny:
        yield found("soft-start or timing capacitor", 0.8, line, f"{words} is a reset line")
    elif button:
        yield found("filter capacitor", 0.8, line, "on a button's line: keeps it from bouncing")
        yield found("soft-start or timing capacitor", POSSIBLE, line)
    elif (
        pulled
        and not tiny
        and not supplied
        and len(resistors) == 1
        and len(survey.chips.get(signal, ())) == 1
        and _alone(site)
    ):
        because = f"charged through {pulled[0].part} from {pulled[0].far}: delays the pin"
        yield found("soft-start or timing capacitor", 0.74, because)
    if SOFT_START_PIN.search(names):
        yield found("soft-start or timing capacitor", STRONG, f"on the pin {names.strip()}")
    elif COMPENSATION_PIN.search(names):
        yield found("filter capacitor", STRONG, f"on the pin {names.strip()}")
    elif supplied and survey.chips.get(signal) and (farads or 1) >= BYPASS_FARADS:
        because = f"on a chip's own supply or reference: {names.strip()}"
        yield from _bypass(farads, 0.82, line, because)
    elif not resistors or not words:
        yield from _own_pin(site, signal, line)


def _alone(site: Site) -> bool:
    """Return whether the signal has nothing on it but the chip, this capacitor and a resistor."""
    return site.to_fixed is not None and len(site.survey.pins(site.to_fixed[0])) <= 3


def _own_pin(site: Site, signal: str, line: str) -> Iterable[Finding]:
    """A pin of one chip with its capacitor, not named: its bypass, its soft start, or its bias."""
    survey, farads = site.survey, site.kind.farads
    chips = survey.chips.get(signal, ())
    others = {p.part for p in survey.pins(signal) if p.part not in chips} - {site.part.key}
    capacitors = {b.part for b in survey.capacitors.get(signal, ())}
    if len(chips) != 1:
        return
    chip = survey.board.part_by_key[chips[0]]
    text = f"on a pin of {chip.refdes}"
    if "amplifier" in roles_in_text(chip):
        yield found("filter capacitor", 0.78, line, f"{text}, an amplifier: its bias or bypass")
        yield found("soft-start or timing capacitor", WEAK, text)
        yield found("decoupling", 0.4, text)
        return
    if farads is None or farads >= BYPASS_FARADS:
        only = others <= capacitors
        several = only and bool(others)
        score = 0.82 if several else 0.74 if only else POSSIBLE
        yield from _bypass(farads, score, line, text)
        yield found("soft-start or timing capacitor", WEAK, text)
    elif farads >= TIMING_FARADS and not words_of(signal):
        yield found("soft-start or timing capacitor", POSSIBLE, text)


def _bypass(farads: float | None, score: float, *because: str) -> Iterable[Finding]:
    """Decoupling or, from the same value on as on a rail, bulk; the other word comes second."""
    large = farads is not None and farads >= BULK_FARADS * 0.99
    either = farads is not None and farads >= EITHER_FARADS[0]
    first, second = "decoupling", "bulk capacitor"
    if large:
        first, second = second, first
    yield found(first, score, *because)
    yield found(second, POSSIBLE if either else FAINT, *because)


@only_for(Kind.CAPACITOR)
def snubber_capacitor(site: Site) -> Iterable[Finding]:
    """Alone in series with a resistor, to ground or to a supply: a snubber or a loop filter."""
    if site.to_fixed is None:
        return
    middle, _ = site.to_fixed
    survey = site.survey
    resistors = survey.resistors.get(middle, ())
    if len(survey.pins(middle)) != 2 or len(resistors) != 1:
        return
    resistor = resistors[0]
    names = " ".join((*survey.pin_names(resistor.far), words_of(resistor.far), words_of(middle)))
    if survey.is_supply(resistor.far):
        yield found("filter capacitor", 0.72, f"behind {resistor.part} from {resistor.far}")
        return
    line = f"in series with {resistor.part} from {resistor.far}"
    if COMPENSATION_PIN.search(names) or FEEDBACK_PIN.search(names):
        yield found("filter capacitor", 0.9, line, "on a compensation or loop pin")
        return
    damped = resistor.figure is None or resistor.figure <= SNUBBER_OHMS
    yield found("snubber", 0.86 if damped else WEAK, line)
    yield found("filter capacitor", POSSIBLE if damped else 0.8, line)


@only_for(Kind.CAPACITOR)
def series_capacitor(site: Site) -> Iterable[Finding]:
    """Between two signals: passes the signal and blocks the bias."""
    if site.signals is None:
        return
    first, second = site.signals
    survey = site.survey
    line = f"between {first} and {second}"
    yield found("AC coupling", 0.72, line)
    yield found("filter capacitor", 0.35, line)
    if are_pair(first, second):
        yield found("filter capacitor", 0.92, f"across the pair {first} and {second}")
        return
    shared = sorted(set(survey.chips.get(first, ())) & set(survey.chips.get(second, ())))
    if shared and len(survey.pins(first)) == len(survey.pins(second)) == 2:
        chip = survey.board.part_by_key[shared[0]].refdes
        yield found("unknown", 0.74, f"between two pins of {chip} and nothing else: the flying "
                    "capacitor of a charge pump, for which the list has no word")  # fmt: skip
    elif shared and not set(site.signals) & set(survey.crystal_nets):
        chip = survey.board.part_by_key[shared[0]].refdes
        yield found("filter capacitor", 0.76, f"between two pins of {chip}")
    plugs = _on_plugs_only(site, first) and _on_plugs_only(site, second)
    if plugs and (site.kind.farads or 0.0) >= EITHER_FARADS[0]:
        word = "bulk capacitor" if (site.kind.farads or 0.0) >= BULK_FARADS * 0.99 else "decoupling"
        yield found(word, 0.75, f"{line}, both on plugs only: supply and return pass through")
    nodes = [net for net in site.signals if not _is_driven(site, net)]
    if len(nodes) == 2:
        yield found("filter capacitor", 0.82, line, "both ends are fed through resistors only")
    for net, far in (site.signals, site.signals[::-1]):
        resistors = survey.resistors.get(net, ())
        if len(survey.pins(net)) == 2 and len(resistors) == 1:
            if bridged(site, resistors[0].far, far, resistors[0].part):
                yield found("filter capacitor", 0.86, f"in series with {resistors[0].part}, across "
                            "a capacitor or resistor: a loop filter")  # fmt: skip
                return
        elif _bridges_chain(site, net, far):
            yield found(
                "filter capacitor", 0.84, line, "across a resistor and a capacitor in series"
            )
            return


def _on_plugs_only(site: Site, net: str) -> bool:
    kinds = set(site.survey.on_net[net])
    return Kind.CONNECTOR in kinds and kinds <= {Kind.CONNECTOR, Kind.CAPACITOR}


def _is_driven(site: Site, net: str) -> bool:
    survey = site.survey
    passive = survey.count(net, Kind.RESISTOR, Kind.CAPACITOR, Kind.TEST_POINT)
    return passive < len(survey.pins(net)) or not any(
        not survey.is_signal(b.far) for b in survey.resistors.get(net, ())
    )


def _bridges_chain(site: Site, first: str, second: str) -> bool:
    """Return whether a resistor and a capacitor in series stand across the same two nets."""
    survey = site.survey
    for resistor in survey.resistors.get(first, ()):
        if not survey.is_signal(resistor.far) or len(survey.pins(resistor.far)) != 2:
            continue
        for capacitor in survey.capacitors.get(resistor.far, ()):
            ends = {capacitor.far}
            if survey.is_signal(capacitor.far) and len(survey.pins(capacitor.far)) == 2:
                ends |= {b.far for b in survey.resistors.get(capacitor.far, ())}
            if second in ends:
                return True
    return False


@only_for(Kind.CAPACITOR)
def across_resistor(site: Site) -> Iterable[Finding]:
    """Across a resistor: feed-forward at a regulator's upper one, a filter elsewhere."""
    if not site.ends:
        return
    survey = site.survey
    for net, far in (site.ends, site.ends[::-1]):
        if not survey.is_signal(net):
            continue
        beside = [b for b in survey.resistors.get(net, ()) if b.far == far]
        if not beside:
            continue
        line = f"across {beside[0].part}"
        pair = survey.taps.get(net)
        if pair is not None and beside[0].part == pair[0] and survey.is_supply(far):
            yield found("feed-forward", 0.92, line, f"the upper resistor of the divider at {net}")
            yield found("filter capacitor", WEAK, line)
        elif survey.is_signal(far):
            yield found("filter capacitor", 0.83, line)
            yield found("feed-forward", 0.4, line)
        return


@only_for(Kind.CAPACITOR)
def bootstrap(site: Site) -> Iterable[Finding]:
    """Between a switching node and the same chip's bootstrap pin."""
    if not site.ends:
        return
    survey = site.survey
    for node, far in (site.ends, site.ends[::-1]):
        if not survey.is_signal(far) or not survey.is_signal(node):
            continue
        names = " ".join((*survey.pin_names(far), words_of(far)))
        node_names = " ".join((*survey.pin_names(node), words_of(node)))
        switching = node in survey.switching_nodes or SWITCH_PIN.search(node_names)
        shared = set(survey.chips.get(node, ())) & set(survey.chips.get(far, ()))
        if not shared and len(survey.pins(far)) <= 3:
            for resistor in survey.resistors.get(far, ()):
                shared = set(survey.chips.get(node, ())) & set(survey.chips.get(resistor.far, ()))
                names = f"{names} {words_of(resistor.far)}"
        if switching and shared and (BOOTSTRAP_PIN.search(names) or node in survey.switching_nodes):
            chip = survey.board.part_by_key[sorted(shared)[0]].refdes
            yield found("bootstrap", 0.93, f"from the switching node {node} to a pin of {chip}")
            return


@only_for(Kind.CAPACITOR)
def unplaced_capacitor(site: Site) -> Iterable[Finding]:
    """What a capacitor is most often, where its ends say nothing."""
    if not site.ends:
        yield found("decoupling", WEAK, "its ends are not on two nets")
    elif all(site.survey.is_ground(net) for net in site.ends):
        yield found("filter capacitor", 0.75, f"joins the grounds {' and '.join(site.ends)}")
    if site.signals and site.survey.count(site.signals[0], *CHIPS) == 0:
        yield found("snubber", FAINT, "no chip on one side")


CAPACITOR_RULES: Final[tuple[Rule, ...]] = (
    supply_capacitor,
    crystal_load,
    bootstrap,
    across_resistor,
    snubber_capacitor,
    shunt_capacitor,
    series_capacitor,
    unplaced_capacitor,
)
