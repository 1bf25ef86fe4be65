"""Roles of resistors that set a voltage or a current: dividers, set resistors, thermistors."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from nettrace.circuit.kinds import Kind
from nettrace.circuit.rail_volts import is_regulator_text
from nettrace.circuit.roles.chip_words import roles_in_text
from nettrace.circuit.roles.net_words import (
    CONFIGURATION,
    FEEDBACK_PIN,
    SET_PIN,
    THERMISTOR_LINE,
    USB_CC,
    words_of,
)
from nettrace.circuit.roles.resistors import is_own_supply
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
from nettrace.circuit.roles.survey import CHIPS
from nettrace.circuit.series import SHUNT_OHMS

__all__ = ["DIVIDER_RULES", "feedback_chip"]

#: Straps are held with these; a set resistor has the value its data sheet computes (common
#: practice, no source).
STRAP_OHMS: Final = frozenset(
    {0.0, 1e3, 2.2e3, 3.3e3, 4.7e3, 10e3, 22e3, 47e3, 100e3, 220e3, 470e3, 1e6}
)
#: A stated tolerance of at least this is asked for where the figure counts (common practice).
PRECISE: Final = 0.01


@only_for(Kind.RESISTOR)
def divider(site: Site) -> Iterable[Finding]:
    """One of two resistors with the tap between them to an input, or to a feedback pin."""
    if not site.ends:
        return
    survey, key = site.survey, site.part.key
    for tap, far in (site.ends, site.ends[::-1]):
        pair = survey.taps.get(tap)
        if pair is None or key not in pair:
            continue
        upper, lower = pair
        place = "upper" if key == upper else "lower"
        partner = lower if key == upper else upper
        top = far if key == upper else _far_of(site, upper, tap)
        line = f"with {partner} divides {survey.describe(top)} at {tap}"
        chip, why = feedback_chip(site, tap, top)
        names = f"{words_of(tap)} {' '.join(survey.pin_names(tap))}"
        if chip is not None:
            yield found(f"feedback divider ({place})", 0.93, line, why)
            yield found(f"divider ({place})", 0.4, line)
            return
        if USB_CC.search(names) or survey.gates.get(tap):
            yield found(f"divider ({place})", WEAK, line)
            return
        onward = len(survey.resistors.get(tap, ())) > 2 and not survey.is_signal(top)
        read = survey.count(tap, *CHIPS, Kind.CONNECTOR) > 0 or onward
        if not read and not survey.is_supply(tap):
            yield found(f"divider ({place})", POSSIBLE, line, "nothing seen that reads the tap")
            return
        known = site.kind.ohms is not None
        from_supply = not survey.is_signal(top)
        score = 0.9 if from_supply and known else 0.83 if from_supply else 0.87
        if not known and CONFIGURATION.search(words_of(tap)):
            # a strap with a place for either pull: which is fitted is not known
            score = 0.6
        yield found(f"divider ({place})", score, line)
        yield found(f"feedback divider ({place})", WEAK, line)
        return


@only_for(Kind.RESISTOR)
def signal_divider(site: Site) -> Iterable[Finding]:
    """Without values: a resistor from a signal with a resistor to ground behind it may divide."""
    if not site.ends or site.kind.ohms is not None:
        return
    survey = site.survey
    if site.signals:
        for tap in site.signals:
            below = [b for b in survey.resistors.get(tap, ()) if survey.is_ground(b.far)]
            if len(below) == 1:
                line = f"{below[0].part} goes from {tap} to ground"
                yield found("divider (upper)", POSSIBLE, line)
    elif site.to_fixed and survey.is_ground(site.to_fixed[1]):
        tap = site.to_fixed[0]
        above = [b for b in survey.resistors.get(tap, ()) if survey.is_signal(b.far)]
        if len(above) == 1:
            yield found("divider (lower)", POSSIBLE, f"{above[0].part} feeds {tap} in series")


def _far_of(site: Site, key: str, net: str) -> str:
    first, second = site.survey.ends[key]
    return second if first == net else first


def feedback_chip(site: Site, tap: str, top: str) -> tuple[str | None, str]:
    """Return the regulator whose feedback pin is on the tap, and why; None where there is none.

    By the pin's name; or the chip also switches an inductor's node, or stands on the rail that
    is divided and is a regulator by its part number or is the rail's source.
    """
    survey = site.survey
    if not survey.is_signal(tap):
        return None, ""
    for pin in survey.pins(tap):
        kind = survey.kinds[pin.part].kind
        if kind not in CHIPS:
            continue
        part = survey.board.part_by_key[pin.part]
        name = words_of(f"/{pin.name}") if pin.name else ""
        if name and FEEDBACK_PIN.search(name) and not survey.is_signal(top):
            return pin.part, f"the tap goes to {part.refdes}'s pin {pin.name}"
        if not survey.is_supply(top):
            continue
        rail = survey.rails[top]
        if rail.source == pin.part:
            return pin.part, f"{part.refdes} makes {top}, and its pin is on the tap"
        nodes = [n for n in part.nets if n in survey.switching_nodes]
        if nodes and pin.part != survey.main_chip and _leads_to(site, nodes, top):
            return pin.part, f"{part.refdes} switches {nodes[0]}, and its pin is on the tap"
        if top in part.nets and is_regulator_text(part) and not name:
            return pin.part, f"{part.refdes} is a regulator on {top}"
    if FEEDBACK_PIN.search(words_of(tap)) and survey.is_supply(top):
        chips = survey.chips.get(tap, ())
        if chips:
            return chips[0], f"{tap} is named as a feedback line"
    return None, ""


def _leads_to(site: Site, nodes: list[str], top: str) -> bool:
    """Return whether a switching node feeds the rail, by its inductor or through its diode."""
    survey = site.survey
    for node in nodes:
        for branch in (*survey.inductors.get(node, ()), *survey.diodes.get(node, ())):
            if branch.far == top:
                return True
            onward = (*survey.links.get(top, ()), *survey.inductors.get(top, ()))
            if any(link.far == branch.far for link in onward):
                return True
    return False


@only_for(Kind.RESISTOR)
def set_resistor(site: Site) -> Iterable[Finding]:
    """From an analog pin of one chip to ground (or a rail): its value sets something."""
    if site.to_fixed is None or site.kind.ohms == 0:
        return
    signal, far = site.to_fixed
    survey, ohms = site.survey, site.kind.ohms
    if ohms is not None and ohms <= SHUNT_OHMS:
        return
    names = " ".join((*survey.pin_names(signal), words_of(signal)))
    chips = survey.chips.get(signal, ())
    others = [p for p in survey.pins(signal) if p.part != site.part.key]
    line = f"from {signal} to {survey.describe(far)}"
    if SET_PIN.search(names) and len(chips) <= 2:
        yield found(
            "set resistor", CERTAIN if chips else LIKELY, line, f"pin or net {names.strip()}"
        )
        return
    capacitors = len(survey.capacitors.get(signal, ()))
    alone = len(chips) == 1 and len(others) <= 1 + capacitors <= 2
    if not alone or survey.gates.get(signal):
        return
    if words_of(signal) or any(survey.pin_names(signal)):
        # somebody named the line or the pin, and not as one that sets something
        if survey.is_ground(far) and _odd(site):
            yield found("set resistor", 0.45, line, f"{figure(ohms, 'Ω')} is no usual pull")
        return
    chip = survey.board.part_by_key[chips[0]]
    text = f"the only other part on {signal} is {chip.refdes}"
    up = survey.is_supply(far)
    power = is_regulator_text(chip) or "load switch" in roles_in_text(chip)
    if _odd(site):
        yield found("set resistor", 0.5 if up else STRONG, line, text,
                    f"{figure(ohms, 'Ω')} is no usual pull")  # fmt: skip
    elif ohms is None and not up:
        score = 0.77 if chips[0] == survey.main_chip else 0.8
        if not site.kind.fitted:
            # what sets something is always fitted; an empty place is an option of a strap
            score = 0.6
        yield found("set resistor", score, line, text, "most such resistors set something")
    elif power and not up:
        yield found("set resistor", 0.82, line, text, f"{chip.refdes} is a power chip")
    else:
        yield found("set resistor", WEAK if up else 0.6, line, text)


def _odd(site: Site) -> bool:
    """Return whether the value is one that a data sheet computes: precise, or no strap's."""
    ohms, tolerance = site.kind.ohms, site.kind.tolerance
    if ohms is None:
        return False
    if tolerance is not None and tolerance <= PRECISE:
        return True
    return not any(abs(ohms - usual) <= 0.001 * usual for usual in STRAP_OHMS)


@only_for(Kind.RESISTOR)
def set_pair(site: Site) -> Iterable[Finding]:
    """Between two pins named for it: a calibration resistor across RCOMP_P and RCOMP_N."""
    if site.signals and site.kind.ohms != 0:
        names = [" ".join((*site.survey.pin_names(n), words_of(n))) for n in site.signals]
        if all(SET_PIN.search(name) for name in names):
            yield found("set resistor", 0.9, f"between {names[0].strip()} and {names[1].strip()}")


@only_for(Kind.RESISTOR)
def gain_resistor(site: Site) -> Iterable[Finding]:
    """Between two pins of one amplifier: its feedback."""
    ohms = site.kind.ohms
    if site.signals is None or (ohms is not None and ohms <= SHUNT_OHMS):
        return  # so little sets no gain: the chip measures what flows through it
    survey = site.survey
    first, second = site.signals
    shared = set(survey.chips.get(first, ())) & set(survey.chips.get(second, ()))
    if first in survey.crystal_nets or second in survey.crystal_nets:
        return
    for key in sorted(shared):
        part = survey.board.part_by_key[key]
        if key == survey.main_chip:
            continue
        line = f"between two pins of {part.refdes}"
        amplifier = "amplifier" in roles_in_text(part)
        across = any(b.far == second for b in survey.capacitors.get(first, ()))
        score = 0.9 if amplifier else 0.78 if across else 0.72 if len(part.pins) <= 8 else WEAK
        yield found("set resistor", score, line, "sets the gain")
        yield found("feedback divider (upper)", WEAK, line)


@only_for(Kind.RESISTOR)
def gain_leg(site: Site) -> Iterable[Finding]:
    """From an amplifier's inverting input through a capacitor to ground: sets the gain."""
    if site.signals is None or site.kind.ohms == 0:
        return
    survey = site.survey
    for inverting, middle in (site.signals, site.signals[::-1]):
        capacitors = survey.capacitors.get(middle, ())
        if len(survey.pins(middle)) != 2 or not capacitors or survey.is_signal(capacitors[0].far):
            continue
        for branch in survey.resistors.get(inverting, ()):
            shared = set(survey.chips.get(inverting, ())) & set(survey.chips.get(branch.far, ()))
            parts = [survey.board.part_by_key[key] for key in sorted(shared)]
            if branch.part != site.part.key and any("amplifier" in roles_in_text(p) for p in parts):
                line = f"with {branch.part} sets the gain of {parts[0].refdes}"
                yield found("set resistor", 0.9, line, f"{capacitors[0].part} keeps DC out of it")


@only_for(Kind.THERMISTOR)
def thermistor(site: Site) -> Iterable[Finding]:
    """A thermistor; in series with a supply it limits inrush."""
    survey = site.survey
    yield found("thermistor", CERTAIN, *site.kind.because[:2])
    if site.ends and all(survey.is_supply(net) for net in site.ends):
        yield found("inrush limiter", 0.97, f"in series with a supply, {' to '.join(site.ends)}")


@only_for(Kind.RESISTOR)
def thermistor_bias(site: Site) -> Iterable[Finding]:
    """The fixed resistor in series with a thermistor, on the board or at the far end of a line."""
    if not site.ends or site.kind.ohms == 0:
        return
    survey = site.survey
    for net, far in (site.ends, site.ends[::-1]):
        if not survey.is_signal(net):
            continue
        others = [p.part for p in survey.pins(net) if survey.kinds[p.part].kind is Kind.THERMISTOR]
        if others:
            yield found("thermistor bias", 0.96, f"in series with the thermistor {others[0]}")
            return
        if not THERMISTOR_LINE.search(words_of(net)) and not any(
            THERMISTOR_LINE.search(name) for name in survey.pin_names(net)
        ):
            continue
        line = f"{words_of(net) or net} is a thermistor's line"
        if survey.is_supply(far) or is_own_supply(survey, far, net):
            yield found("thermistor bias", 0.88, line, f"to {survey.describe(far)}")
            yield found("thermistor", POSSIBLE, line)
        elif survey.is_ground(far):
            shunted = len(survey.resistors.get(net, ())) > 1
            yield found("thermistor bias", POSSIBLE, line)
            score = 0.55 if shunted or site.kind.ohms is None else 0.45
            yield found("thermistor", score, line, "stands in for the thermistor")
        else:
            yield found("thermistor bias", POSSIBLE, line)
            yield found("thermistor", FAINT, line)


@only_for(Kind.POTENTIOMETER)
def potentiometer(_site: Site) -> Iterable[Finding]:
    """A trimmer sets a voltage."""
    yield found("set resistor", LIKELY, "a trimmer")
    yield found("divider (upper)", WEAK, "a trimmer")


DIVIDER_RULES: Final[tuple[Rule, ...]] = (
    divider,
    signal_divider,
    set_resistor,
    set_pair,
    gain_resistor,
    gain_leg,
    thermistor,
    thermistor_bias,
    potentiometer,
)
