"""Roles of resistors that set a voltage or a current: dividers, set resistors, thermistors."""

from __future__ import annotations

from typing import Final

from nettrace.circuit.kinds import Kind
from nettrace.circuit.rail_volts import is_regulator_text
from nettrace.circuit.roles.chips import roles_in_text
from nettrace.circuit.roles.resistors import is_own_supply
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
from nettrace.circuit.roles.survey import CHIPS, Survey
from nettrace.circuit.roles.words import says, words_of
from nettrace.circuit.series import SHUNT_OHMS

#: Straps are held with these; a set resistor has the value its data sheet computes (common
#: practice, no source).
STRAP_OHMS: Final = frozenset(
    {0.0, 1e3, 2.2e3, 3.3e3, 4.7e3, 10e3, 22e3, 47e3, 100e3, 220e3, 470e3, 1e6}
)
#: A stated tolerance of at least this is asked for where the figure counts (common practice).
PRECISE: Final = 0.01


def divider(site: Site) -> Findings:
    """One of two resistors with the tap between them to an input, or to a feedback pin."""
    survey, key = site.survey, site.part.key
    for tap, far in site.ways:
        upper, lower = survey.taps.get(tap, ("", ""))
        if key not in (upper, lower):
            continue
        place = "upper" if key == upper else "lower"
        plain, feedback = f"divider ({place})", f"feedback divider ({place})"
        top = far if key == upper else survey.far(upper, tap)
        line = f"with {lower if key == upper else upper} divides {survey.describe(top)} at {tap}"
        chip, why = feedback_chip(survey, tap, top)
        if chip is not None:
            yield found(feedback, 0.93, line, why)
            yield found(plain, 0.4, line)
            return
        if survey.gates[tap] or survey.says("usb cc", tap):
            yield found(plain, WEAK, line)
            return
        from_supply = not survey.is_signal(top)
        onward = len(survey.resistors[tap]) > 2 and from_supply
        read = survey.count(tap, *CHIPS, Kind.CONNECTOR) > 0 or onward
        if not read and not survey.is_supply(tap):
            yield found(plain, POSSIBLE, line, "nothing seen that reads the tap")
            return
        known = site.kind.ohms is not None
        score = 0.9 if from_supply and known else 0.83 if from_supply else 0.87
        if not known and says("configuration", words_of(tap)):
            # a strap with a place for either pull: which is fitted is not known
            score = 0.6
        yield from ranked({plain: score, feedback: WEAK}, line)
        return


def signal_divider(site: Site) -> Findings:
    """Without values: a resistor from a signal with a resistor to ground behind it may divide."""
    survey = site.survey
    if site.kind.ohms is not None:
        return
    for tap in site.signals or ():
        below = [b for b in survey.resistors[tap] if survey.is_ground(b.far)]
        if len(below) == 1:
            yield found("divider (upper)", POSSIBLE, f"{below[0].part} goes from {tap} to ground")
    if site.to_fixed and survey.is_ground(site.to_fixed[1]):
        tap = site.to_fixed[0]
        above = [b for b in survey.resistors[tap] if survey.is_signal(b.far)]
        if len(above) == 1:
            yield found("divider (lower)", POSSIBLE, f"{above[0].part} feeds {tap} in series")


def feedback_chip(survey: Survey, tap: str, top: str) -> tuple[str | None, str]:
    """Return the regulator whose feedback pin is on the tap, and why; None where there is none.

    By the pin's name; or the chip also switches an inductor's node, or stands on the rail that
    is divided and is a regulator by its part number or is the rail's source.
    """
    if not survey.is_signal(tap):
        return None, ""
    for pin in survey.pins(tap):
        if survey.kind(pin.part) not in CHIPS:
            continue
        part = survey.part(pin.part)
        name = words_of(f"/{pin.name}") if pin.name else ""
        if name and says("feedback", name) and not survey.is_signal(top):
            return pin.part, f"the tap goes to {part.refdes}'s pin {pin.name}"
        if not survey.is_supply(top):
            continue
        if survey.rails[top].source == pin.part:
            return pin.part, f"{part.refdes} makes {top}, and its pin is on the tap"
        nodes = [net for net in part.nets if net in survey.switching_nodes]
        if nodes and pin.part != survey.main_chip and _leads_to(survey, nodes, top):
            return pin.part, f"{part.refdes} switches {nodes[0]}, and its pin is on the tap"
        if top in part.nets and is_regulator_text(part) and not name:
            return pin.part, f"{part.refdes} is a regulator on {top}"
    if says("feedback", words_of(tap)) and survey.is_supply(top) and survey.chips[tap]:
        return survey.chips[tap][0], f"{tap} is named as a feedback line"
    return None, ""


def _leads_to(survey: Survey, nodes: list[str], top: str) -> bool:
    """Return whether a switching node feeds the rail, by its inductor or through its diode."""
    near = {top} | {link.far for link in (*survey.links[top], *survey.inductors[top])}
    return any(
        branch.far in near
        for node in nodes
        for branch in (*survey.inductors[node], *survey.diodes[node])
    )


def set_resistor(site: Site) -> Findings:
    """From an analog pin of one chip to ground (or a rail): its value sets something."""
    survey, ohms = site.survey, site.kind.ohms
    if site.to_fixed is None or (ohms is not None and ohms <= SHUNT_OHMS):
        return
    signal, far = site.to_fixed
    names = survey.names(signal)
    chips = survey.chips[signal]
    line = f"from {signal} to {survey.describe(far)}"
    if says("set", names) and len(chips) <= 2:
        because = f"pin or net {names.strip()}"
        yield found("set resistor", CERTAIN if chips else LIKELY, line, because)
        return
    others = sum(pin.part != site.part.key for pin in survey.pins(signal))
    capacitors = len(survey.capacitors[signal])
    if len(chips) != 1 or not others <= 1 + capacitors <= 2 or survey.gates[signal]:
        return
    unusual = f"{figure(ohms, 'Ω')} is no usual pull"
    if words_of(signal) or any(survey.pin_names(signal)):
        # somebody named the line or the pin, and not as one that sets something
        if survey.is_ground(far) and _odd(site):
            yield found("set resistor", 0.45, line, unusual)
        return
    chip = survey.part(chips[0])
    text = f"the only other part on {signal} is {chip.refdes}"
    up = survey.is_supply(far)
    power = is_regulator_text(chip) or "load switch" in roles_in_text(chip)
    if _odd(site):
        yield found("set resistor", 0.5 if up else STRONG, line, text, unusual)
    elif ohms is None and not up:
        # what sets something is always fitted; an empty place is an option of a strap
        fitted = 0.77 if chips[0] == survey.main_chip else 0.8
        score = fitted if site.kind.fitted else 0.6
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


def set_pair(site: Site) -> Findings:
    """Between two pins named for it: a calibration resistor across RCOMP_P and RCOMP_N."""
    names = [site.survey.names(net) for net in site.signals or ()]
    if names and site.kind.ohms != 0 and all(says("set", name) for name in names):
        yield found("set resistor", 0.9, f"between {names[0].strip()} and {names[1].strip()}")


def gain_resistor(site: Site) -> Findings:
    """Between two pins of one amplifier: its feedback."""
    ohms, survey = site.kind.ohms, site.survey
    if site.signals is None or (ohms is not None and ohms <= SHUNT_OHMS):
        return  # so little sets no gain: the chip measures what flows through it
    first, second = site.signals
    if first in survey.crystal_nets or second in survey.crystal_nets:
        return
    across = any(b.far == second for b in survey.capacitors[first])
    for key in survey.shared_chips(first, second):
        if key == survey.main_chip:
            continue
        part = survey.part(key)
        line = f"between two pins of {part.refdes}"
        amplifier = "amplifier" in roles_in_text(part)
        score = 0.9 if amplifier else 0.78 if across else 0.72 if len(part.pins) <= 8 else WEAK
        yield found("set resistor", score, line, "sets the gain")
        yield found("feedback divider (upper)", WEAK, line)


def gain_leg(site: Site) -> Findings:
    """From an amplifier's inverting input through a capacitor to ground: sets the gain."""
    survey = site.survey
    for inverting, middle in site.signal_ways if site.kind.ohms != 0 else ():
        capacitors = survey.capacitors[middle]
        if len(survey.pins(middle)) != 2 or not capacitors or survey.is_signal(capacitors[0].far):
            continue
        for branch in survey.resistors[inverting]:
            parts = [survey.part(key) for key in survey.shared_chips(inverting, branch.far)]
            if branch.part != site.part.key and any("amplifier" in roles_in_text(p) for p in parts):
                line = f"with {branch.part} sets the gain of {parts[0].refdes}"
                yield found("set resistor", 0.9, line, f"{capacitors[0].part} keeps DC out of it")


def thermistor(site: Site) -> Findings:
    """A thermistor; in series with a supply it limits inrush."""
    yield found("thermistor", CERTAIN, *site.kind.because[:2])
    if site.ends and len(site.supplies) == 2:
        yield found("inrush limiter", 0.97, f"in series with a supply, {' to '.join(site.ends)}")


def thermistor_bias(site: Site) -> Findings:
    """The fixed resistor in series with a thermistor, on the board or at the far end of a line."""
    survey = site.survey
    for net, far in site.ways if site.kind.ohms != 0 else ():
        if not survey.is_signal(net):
            continue
        others = [pin.part for pin in survey.pins(net) if survey.kind(pin.part) is Kind.THERMISTOR]
        if others:
            yield found("thermistor bias", 0.96, f"in series with the thermistor {others[0]}")
            return
        if not survey.says("thermistor", net):
            continue
        line = f"{words_of(net) or net} is a thermistor's line"
        if survey.is_supply(far) or is_own_supply(survey, far, net):
            yield found("thermistor bias", 0.88, line, f"to {survey.describe(far)}")
            yield found("thermistor", POSSIBLE, line)
        elif survey.is_ground(far):
            shunted = len(survey.resistors[net]) > 1
            yield found("thermistor bias", POSSIBLE, line)
            score = 0.55 if shunted or site.kind.ohms is None else 0.45
            yield found("thermistor", score, line, "stands in for the thermistor")
        else:
            yield from ranked({"thermistor bias": POSSIBLE, "thermistor": FAINT}, line)


def potentiometer(_: Site) -> Findings:
    """A trimmer sets a voltage."""
    yield from ranked({"set resistor": LIKELY, "divider (upper)": WEAK}, "a trimmer")
