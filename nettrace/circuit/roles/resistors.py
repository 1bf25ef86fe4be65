"""Roles of resistors: in series, pulls, filters, dividers, and those that set a figure."""

from __future__ import annotations

import re
from typing import Final

from nettrace import knowledge
from nettrace.circuit.kinds import Kind
from nettrace.circuit.links import LEAST_PULL_OHMS, SHUNT_OHMS, resistor_elements
from nettrace.circuit.rails import is_regulator_text
from nettrace.circuit.roles.chips import roles_in_text
from nettrace.circuit.roles.site import (
    CHIPS,
    VALUE_NOT_KNOWN,
    Branch,
    Findings,
    Site,
    Survey,
    are_pair,
    figure,
    found,
    give,
    names_supply,
    ranked,
    says,
    words_of,
)

#: A supply is filtered through up to this (common practice, no source).
SUPPLY_FILTER_OHMS: Final = 100.0
#: So little in a line is there to be measured across (common practice, no source).
MILLIOHMS: Final = 0.1
#: A termination is near the impedance of a line: 50, 75, 100, 120 ohms (common practice).
TERMINATION_OHMS: Final = (33.0, 150.0)
#: Across a pair: 85, 90, 100, 120 ohms (common practice, no source).
PAIR_OHMS: Final = (80.0, 125.0)
#: A chip's own regulator wants at least this much (common practice, no source).
OWN_SUPPLY_FARADS: Final = 0.4e-6
#: A low-pass of at least this is meant as a filter; below, a few pF slow an edge (common practice).
FILTER_SECONDS: Final = 1e-6
#: More than this in series with a sense input is no filter's resistor (common practice).
DIFFERENTIAL_OHMS: Final = 2e3
#: More than this in series with a capacitor to ground damps nothing (common practice, no source).
SNUBBER_OHMS: Final = 220.0
#: Straps are held with these; a set resistor has the value its data sheet computes (common
#: practice, no source).
STRAP_OHMS: Final = frozenset(
    {0.0, 1e3, 2.2e3, 3.3e3, 4.7e3, 10e3, 22e3, 47e3, 100e3, 220e3, 470e3, 1e6}
)
#: A stated tolerance of at least this is asked for where the figure counts (common practice).
PRECISE: Final = 0.01
#: Capacitors of a rail looked through: a bound, so that ground costs nothing.
_FEW: Final = 200


# -- links, shunts, and what stands between supplies -------------------------------------------


def zero_ohm_link(site: Site) -> Findings:
    """A resistor of 0 ohms joins two nets."""
    survey = site.survey
    if site.kind.ohms == 0:
        yield from give("0 Ω in a line" if site.lines else "0 Ω", value=str(site.part.value))
    if site.kind.ohms is None and site.ends:
        both = " and ".join(site.ends)
        if len(site.supplies) == 2:
            yield found("zero-ohm link", 0.55, f"joins two rails, {both}")
        elif len(site.grounds) == 2:
            yield found("zero-ohm link", 0.85, f"joins two grounds, {both}")
        elif site.lines:
            yield found("zero-ohm link", 0.15, VALUE_NOT_KNOWN)
    if site.to_fixed is None or site.kind.ohms == 0:
        return
    # from a rail to a chip's supply pin: a link, or the resistor of a supply filter
    net, rail = site.to_fixed
    if not survey.is_supply(rail) or len(survey.resistors[net]) > 1 or not survey.chips[net]:
        return
    names = (*survey.pin_names(net), words_of(net))
    if not any(says("supply", name) and names_supply(name) for name in names):
        return
    line = f"feeds {words_of(net) or net} from {survey.describe(rail)}"
    if site.kind.ohms is None:
        yield from ranked({"zero-ohm link": 0.82, "filter resistor": 0.4}, line)
    elif site.kind.ohms <= SUPPLY_FILTER_OHMS:
        yield from ranked({"filter resistor": 0.86, "inrush limiter": 0.15}, line)


def current_shunt(site: Site) -> Findings:
    """Milliohms in series with a supply or a return measure its current."""
    if not site.ends:
        return
    ohms, survey = site.kind.ohms, site.survey
    if ohms is not None and 0 < ohms <= SHUNT_OHMS:
        because = [f"{figure(ohms, 'Ω')} in series carries a current"]
        score = 0.95 if site.lines is None else 0.85 if ohms <= MILLIOHMS else 0.7
        for key in survey.shared_chips(*site.ends):
            score = 0.95
            because.append(f"{survey.part(key).refdes} is on both its ends")
        yield found("current shunt", score, *because)
    elif ohms is None and len(site.supplies) == 2:
        first, second = site.ends
        across = {b.far for b in survey.capacitors[first][:_FEW]}
        score = 0.56 if second in across else 0.3
        yield found("current shunt", score, f"between the rails {first} and {second}")
    if len(site.part.pins) == 4 and len(site.nets) == 2:
        yield found("current shunt", 0.7, "four pins on two nets: force and sense")


def between_supplies(site: Site) -> Findings:
    """A resistor of some ohms between two rails filters; from a rail to ground it discharges."""
    if not site.ends or site.kind.ohms == 0 or site.lines or site.to_fixed:
        return
    ohms, grounds, (first, second) = site.kind.ohms, site.grounds, site.ends
    if len(grounds) == 1:
        rail = site.supplies[0]
        gates = site.survey.gates[rail]
        row = "rail to ground, a gate on it" if gates else "rail to ground"
        yield from give(row, rail=rail, gate="".join(gates[:1]))
    elif not grounds and (ohms is None or ohms > SHUNT_OHMS):
        few = ohms is None or ohms <= SUPPLY_FILTER_OHMS
        row = "between rails, few ohms" if few else "between rails, many ohms"
        yield from give(row, first=first, second=second)


# -- at a LED, a crystal, a line, a gate -------------------------------------------------------


def led_resistor(site: Site) -> Findings:
    """In series with a LED, whatever is at the far end."""
    survey = site.survey
    for net in site.ends or ():
        if site.kind.ohms == 0 or not survey.is_signal(net) or len(survey.pins(net)) > 4:
            continue
        diodes = survey.diodes[net]
        leds = [b.part for b in diodes if survey.kind(b.part) is Kind.LED]
        leds += [p.part for p in survey.pins(net) if survey.kind(p.part) is Kind.LED]
        if leds:
            yield found("LED resistor", 0.95, f"in series with the LED {leds[0]}")
            return
        if diodes and len(survey.pins(net)) == 2 and survey.kinds[diodes[0].part].score < 0.9:
            yield found("LED resistor", 0.85, f"alone in series with the diode {diodes[0].part}")
            return


def crystal_feedback(site: Site) -> Findings:
    """Across a crystal: keeps the oscillator's inverter in its linear range."""
    crystals = site.survey.crystal_nets
    first, second = site.lines or ("", "")
    if first in crystals and crystals[first] == crystals.get(second):
        yield found("crystal feedback resistor", 0.95, f"across the crystal {crystals[first]}")


def termination(site: Site) -> Findings:
    """Across a differential pair."""
    if site.lines is None or site.kind.ohms == 0:
        return
    first, second = site.lines
    ohms, survey = site.kind.ohms, site.survey
    shared = survey.shared_chips(first, second)
    if shared and ohms is not None and PAIR_OHMS[0] <= ohms <= PAIR_OHMS[1]:
        because = f"{figure(ohms, 'Ω')} across two lines into {survey.part(shared[0]).refdes}"
        yield found("termination", 0.78, because)
    if not are_pair(first, second) or (ohms is not None and ohms > TERMINATION_OHMS[1] * 2):
        return
    if first not in survey.crystal_nets or second not in survey.crystal_nets:
        yield found("termination", 0.85, f"across the pair {first} and {second}")


def gate_resistor(site: Site) -> Findings:
    """In series with a transistor's gate or base, which no chip on the net drives."""
    survey = site.survey
    for net, far in site.line_ways if site.kind.ohms != 0 else ():
        gates = survey.gates[net]
        if not gates or survey.gates[far] or survey.count(net, *CHIPS):
            continue
        base = survey.kind(gates[0]) is Kind.TRANSISTOR
        because = f"in series with the {'base' if base else 'gate'} of {gates[0]}"
        yield found("gate resistor", 0.68 if base else 0.82, because)


# -- pulls and lines ---------------------------------------------------------------------------


def pull_to_own_supply(site: Site) -> Findings:
    """From a chip's pin to the supply that the same chip makes for itself."""
    survey = site.survey
    for supply, signal in site.line_ways if site.kind.ohms != 0 else ():
        if is_own_supply(survey, supply, signal):
            chip = survey.part(survey.chips[supply][0]).refdes
            yield found("pull-up", 0.82, f"from {signal} to {supply}, {chip}'s own supply")


def is_own_supply(survey: Survey, supply: str, signal: str) -> bool:
    """Return whether one chip on the signal makes the other net as a supply of its own."""
    chips = survey.chips[supply]
    others = set(survey.on_net.get(supply, ())) - _OWN_SUPPLY_KINDS
    if len(chips) != 1 or others or chips[0] not in survey.chips[signal]:
        return False
    shunts = [b for b in survey.capacitors[supply] if survey.is_ground(b.far)]
    named = any(names_supply(name) for name in survey.pin_names(supply))
    large = any((b.figure or 0.0) >= OWN_SUPPLY_FARADS for b in shunts)
    return bool(shunts) and (named or large or (len(shunts) > 1 and shunts[0].figure is None))


_OWN_SUPPLY_KINDS: Final = CHIPS | {Kind.CAPACITOR, Kind.RESISTOR, Kind.TEST_POINT}


def pull(site: Site) -> Findings:
    """From a signal to a rail or to ground: a pull, unless a finer rule says more."""
    ohms, survey = site.kind.ohms, site.survey
    if site.to_fixed is None or (ohms is not None and ohms <= SHUNT_OHMS):
        return
    signal, far = site.to_fixed
    role = "pull-up" if survey.is_supply(far) else "pull-down"
    because = [f"from {signal} to {survey.describe(far)}"]
    low, high = TERMINATION_OHMS
    terminates = ohms is not None and not survey.capacitors[signal] and low <= ohms <= high
    if ohms is not None and ohms < LEAST_PULL_OHMS:
        yield found("series resistor", 0.6, *because, "of too few ohms for a pull")
        if terminates:
            yield found("termination", 0.7, f"{figure(ohms, 'Ω')} from {signal} to {far}")
        return
    score = 0.75
    if all(pin.part == site.part.key for pin in survey.pins(signal)):
        yield found(role, 0.5, *because, "nothing else is on the net")
        return
    if not survey.count(signal, *CHIPS, *_READERS):
        # nothing reads the net: a resistor in the way of a supply, or a place left over
        yield found("series resistor", 0.6, *because, "no chip, plug or transistor is on the net")
        score = 0.5
    words = words_of(signal)
    if twin := _twin(site, signal, far):
        because.append(twin)
        score += 0.1
    if survey.gates[signal]:
        because.append(f"holds the gate of {survey.gates[signal][0]}")
        score += 0.1
    if survey.says("usb cc", signal):
        because.append("on a USB-C configuration line")
        score = 0.85
        yield found("termination", 0.5, *because)
    if any(says(what, words) for what in ("reset", "configuration", "button")):
        because.append(f"{words} is read as a logic level")
        score += 0.05
    if signal in site.bus_nets:
        because.append(f"{signal} is a bus line")
        score += 0.1
    if role == "pull-down" and says("shell", words):
        yield found("bleeder", 0.8, *because, "drains the shell's charge")
    if terminates:
        yield found("termination", 0.7, f"{figure(ohms, 'Ω')} from {signal} to {far}")
        score -= 0.2
    yield found(role, min(score, 0.92), *because)
    yield found("set resistor", 0.15, *because[:1])
    if role == "pull-down":
        yield found("bleeder", 0.15, *because[:1])


_READERS: Final = (Kind.CONNECTOR, Kind.MOSFET, Kind.TRANSISTOR, Kind.SWITCH, Kind.TEST_POINT,
                   Kind.JUMPER, Kind.CAPACITOR, Kind.RESISTOR, Kind.RESISTOR_ARRAY, Kind.ESD,
                   Kind.RELAY, Kind.SOURCE, Kind.CRYSTAL, Kind.THERMISTOR)  # fmt: skip


def _twin(site: Site, signal: str, far: str) -> str:
    """Return that a resistor does the same on the sister line, in words, or "" where none does."""
    for word, other in knowledge.table("lines")["sisters"]["pairs"]:
        at = signal.upper().rfind(word)
        if at < 0:
            continue
        sister = signal[:at] + other + signal[at + len(word) :]
        for branch in site.survey.resistors[sister]:
            if branch.far == far and branch.part != site.part.key:
                return f"its twin {branch.part} does the same on {sister}"
    return ""


def series_resistor(site: Site) -> Findings:
    """Between two signals."""
    if site.lines is None or site.kind.ohms == 0:
        return
    because = [f"between {' and '.join(site.lines)}"]
    if any(says("usb data", words_of(net)) for net in site.lines):
        because.append("in a USB data line")
    if any(net in site.bus_nets for net in site.lines):
        because.append("in a bus line")
    crystals = [site.survey.crystal_nets.get(net) for net in site.lines]
    because += [f"to the crystal {key}: limits its drive" for key in crystals if key]
    ohms = site.kind.ohms
    if ohms is not None and ohms <= TERMINATION_OHMS[1]:
        yield found("termination", 0.3, f"{figure(ohms, 'Ω')} at a line's source")
    yield found("series resistor", min(0.7 + 0.1 * (len(because) - 1), 0.9), *because)
    yield found("filter resistor", 0.15, because[0])


def array(site: Site) -> Findings:
    """An array has the role of most of its resistors."""
    survey = site.survey
    lines: dict[str, list[str]] = {}
    pairs = resistor_elements(site.part)
    for a, b in pairs:
        if a.net is None or b.net is None or a.net == b.net:
            continue
        signals = [net for net in (a.net, b.net) if survey.is_signal(net)]
        if not signals:
            continue
        fixed = a.net if signals[0] == b.net else b.net
        text = f"{a.net} to {b.net}"
        if len(signals) == 2:
            role = "zero-ohm link" if site.kind.ohms == 0 else "series resistor"
        else:
            role = "pull-up" if survey.is_supply(fixed) else "pull-down"
            text = f"{signals[0]} to {survey.describe(fixed)}"
        if any(survey.count(net, Kind.LED) and len(survey.pins(net)) <= 3 for net in signals):
            role = "LED resistor"
        lines.setdefault(role, []).append(text)
    total = sum(map(len, lines.values()))
    for role, texts in lines.items():
        yield found(role, round(0.9 * len(texts) / total, 2), *texts)
    if not pairs:
        common = site.supplies + site.grounds
        if len(common) == 1:
            role = "pull-up" if site.supplies else "pull-down"
            yield found(role, 0.7, f"an array with its common pin on {common[0]}")
        yield found("series resistor", 0.5, "an array in lines")


def fallback(site: Site) -> Findings:
    """What a resistor may be where nothing else says so."""
    if site.ends is None:
        yield found("zero-ohm link", 0.15, "its ends are not on two nets")
    elif re.match(r"JP|SJ", site.part.refdes):
        yield found("zero-ohm link", 0.5, f"reference {site.part.refdes}")


# -- filters -----------------------------------------------------------------------------------


def filter_resistor(site: Site) -> Findings:
    """Forms a low-pass, a loop filter or a snubber with a capacitor."""
    survey = site.survey
    for net, far in site.ways if site.kind.ohms != 0 else ():
        capacitors = survey.capacitors[net] if survey.is_signal(net) else ()
        if not capacitors or net in survey.crystal_nets:
            continue
        yield from _differential(site, net, capacitors)
        if len(survey.pins(net)) == 2:
            yield from _series_rc(site, net, far, capacitors[0])
        elif _is_filtered_node(survey, net):
            if survey.is_signal(far):
                yield from _from_filtered_node(survey, net, far)
            else:
                because = f"with {capacitors[0].part} filters {far} for {net}"
                yield found("filter resistor", 0.8, because)
        elif survey.is_signal(far):
            yield from _low_pass(site, net, far, capacitors)


def _differential(site: Site, net: str, capacitors: tuple[Branch, ...]) -> Findings:
    """One of two resistors into a chip's pair of inputs with a capacitor across them."""
    survey, ohms = site.survey, site.kind.ohms
    if (ohms is not None and ohms > DIFFERENTIAL_OHMS) or len(survey.resistors[net]) != 1:
        return
    for part, across, farads, _ in capacitors:
        if not survey.is_signal(across) or len(survey.resistors[across]) != 1:
            continue
        if not survey.shared_chips(net, across):
            continue
        if ohms and farads and ohms * farads < FILTER_SECONDS:
            continue
        known = ohms is not None and farads is not None
        line = f"with {part} across {net} and {across} filters a pair of inputs"
        yield found("filter resistor", 0.86 if known else 0.66, line)


def _series_rc(site: Site, middle: str, far: str, capacitor: Branch) -> Findings:
    """R and C alone in series: a snubber, a loop filter, or an input behind its coupling."""
    survey, ohms, end = site.survey, site.kind.ohms, capacitor.far
    chain = f"with {capacitor.part} in series from {far} to {end}"
    if survey.is_signal(end):
        if bridged(survey, far, end, site.part.key):
            because = "across a capacitor or resistor: a loop filter"
            yield found("filter resistor", 0.88, chain, because)
        return
    if in_a_loop(survey, middle, far):
        yield found("filter resistor", 0.85, chain, "on a compensation or loop pin")
        yield found("snubber", 0.15, chain)
        return
    damped = (ohms is None or ohms <= SNUBBER_OHMS) and survey.is_signal(far)
    yield found("snubber", 0.8 if damped else 0.3, f"{chain}: damps {far}")
    yield found("filter resistor", 0.45 if damped else 0.78, chain)


def in_a_loop(survey: Survey, middle: str, far: str) -> bool:
    """Return whether R and C that meet in the middle stand on a compensation or feedback pin."""
    names = f"{survey.names(far)} {words_of(middle)}"
    return says("compensation", names) or says("feedback", names)


def bridged(survey: Survey, first: str, second: str, own: str) -> bool:
    """Return whether a capacitor or a resistor beside `own` joins the nets.

    The second net may be a resistor's end: then the net behind it counts, too.
    """
    ends = {second}
    if survey.is_signal(second) and len(survey.pins(second)) == 2:
        ends |= {b.far for b in survey.resistors[second]}
    beside = (*survey.capacitors[first], *survey.resistors[first])
    return any(branch.far in ends and branch.part != own for branch in beside)


def _is_filtered_node(survey: Survey, net: str) -> bool:
    """Return whether the net is only a capacitor between two resistors, one from a supply."""
    resistors = survey.resistors[net]
    if len(resistors) < 2 or set(survey.on_net.get(net, ())) - _QUIET_KINDS:
        return False
    up = any(survey.is_supply(branch.far) for branch in resistors)
    down = any(survey.is_ground(branch.far) for branch in resistors)
    return up != down  # both: a divider


_QUIET_KINDS: Final = frozenset({Kind.RESISTOR, Kind.CAPACITOR, Kind.TEST_POINT})
#: Behind a filtered node these sense it; a microphone is fed from it.
_READS: Final = tuple(CHIPS - {Kind.MICROPHONE})


def _from_filtered_node(survey: Survey, node: str, far: str) -> Findings:
    for branch in survey.resistors[node]:
        if survey.is_signal(branch.far) or survey.count(far, *_READS):
            continue
        because = f"from {far} to {branch.far} behind {branch.part}, filtered at {node}"
        yield found("pull-up" if survey.is_supply(branch.far) else "pull-down", 0.8, because)
        return


def _low_pass(site: Site, net: str, far: str, capacitors: tuple[Branch, ...]) -> Findings:
    survey, ohms = site.survey, site.kind.ohms
    behind = survey.capacitors[far]
    loop = behind and not survey.count(far, Kind.CONNECTOR) and far not in survey.crystal_nets
    signal_chips = survey.count(net, *CHIPS) + survey.count(far, *CHIPS)
    grounded = any(not survey.is_signal(b.far) for b in (*capacitors, *behind))
    if loop and grounded and signal_chips < 2 and not words_of(net) and not words_of(far):
        because = f"between {capacitors[0].part} and {behind[0].part}: a ladder"
        yield found("filter resistor", 0.82, because)
        return
    names = " ".join((*survey.pin_names(net), *survey.pin_names(far), words_of(net)))
    if says("compensation", names):
        yield found("filter resistor", 0.78, "on a compensation or loop pin")
    to_ground = [b for b in capacitors if not survey.is_signal(b.far)]
    if not to_ground or ohms is None or net in survey.taps:
        return  # a divider's tap gives what it holds to this resistor, not the other way
    text = f"{words_of(net)} {words_of(far)}"
    by_hand = says("button", text) or says("reset", text) or survey.count(far, Kind.SWITCH)
    slow = max(ohms * (b.figure or 0.0) for b in to_ground) >= FILTER_SECONDS
    onward = len(survey.pins(net)) > 1 + len(to_ground)
    score = 0.76 if slow and not by_hand and onward else 0.4
    yield found("filter resistor", score, f"a low-pass with {to_ground[0].part}")


# -- dividers, and what sets a figure -----------------------------------------------------------


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
            yield found(plain, 0.3, line)
            return
        from_supply = not survey.is_signal(top)
        onward = len(survey.resistors[tap]) > 2 and from_supply
        read = survey.count(tap, *CHIPS, Kind.CONNECTOR) > 0 or onward
        if not read and not survey.is_supply(tap):
            yield found(plain, 0.5, line, "nothing seen that reads the tap")
            return
        known = site.kind.ohms is not None
        score = 0.9 if from_supply and known else 0.83 if from_supply else 0.87
        if not known and says("configuration", words_of(tap)):
            # a strap with a place for either pull: which is fitted is not known
            score = 0.6
        yield from ranked({plain: score, feedback: 0.3}, line)
        return


def signal_divider(site: Site) -> Findings:
    """Without values: a resistor from a signal with a resistor to ground behind it may divide."""
    survey = site.survey
    if site.kind.ohms is not None:
        return
    for tap in site.lines or ():
        below = [b for b in survey.resistors[tap] if survey.is_ground(b.far)]
        if len(below) == 1:
            yield found("divider (upper)", 0.5, f"{below[0].part} goes from {tap} to ground")
    if site.to_fixed and survey.is_ground(site.to_fixed[1]):
        tap = site.to_fixed[0]
        above = [b for b in survey.resistors[tap] if survey.is_signal(b.far)]
        if len(above) == 1:
            yield found("divider (lower)", 0.5, f"{above[0].part} feeds {tap} in series")


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
        yield found("set resistor", 0.95 if chips else 0.7, line, because)
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
        yield found("set resistor", 0.5 if up else 0.85, line, text, unusual)
    elif ohms is None and not up:
        # what sets something is always fitted; an empty place is an option of a strap
        fitted = 0.77 if chips[0] == survey.main_chip else 0.8
        score = fitted if site.kind.fitted else 0.6
        yield found("set resistor", score, line, text, "most such resistors set something")
    elif power and not up:
        yield found("set resistor", 0.82, line, text, f"{chip.refdes} is a power chip")
    else:
        yield found("set resistor", 0.3 if up else 0.6, line, text)


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
    names = [site.survey.names(net) for net in site.lines or ()]
    if names and site.kind.ohms != 0 and all(says("set", name) for name in names):
        yield found("set resistor", 0.9, f"between {names[0].strip()} and {names[1].strip()}")


def gain_resistor(site: Site) -> Findings:
    """Between two pins of one amplifier: its feedback."""
    ohms, survey = site.kind.ohms, site.survey
    if site.lines is None or (ohms is not None and ohms <= SHUNT_OHMS):
        return  # so little sets no gain: the chip measures what flows through it
    first, second = site.lines
    if first in survey.crystal_nets or second in survey.crystal_nets:
        return
    across = any(b.far == second for b in survey.capacitors[first])
    for key in survey.shared_chips(first, second):
        if key == survey.main_chip:
            continue
        part = survey.part(key)
        line = f"between two pins of {part.refdes}"
        amplifier = "amplifier" in roles_in_text(part)
        score = 0.9 if amplifier else 0.78 if across else 0.72 if len(part.pins) <= 8 else 0.3
        yield found("set resistor", score, line, "sets the gain")
        yield found("feedback divider (upper)", 0.3, line)


def gain_leg(site: Site) -> Findings:
    """From an amplifier's inverting input through a capacitor to ground: sets the gain."""
    survey = site.survey
    for inverting, middle in site.line_ways if site.kind.ohms != 0 else ():
        capacitors = survey.capacitors[middle]
        if len(survey.pins(middle)) != 2 or not capacitors or survey.is_signal(capacitors[0].far):
            continue
        for branch in survey.resistors[inverting]:
            parts = [survey.part(key) for key in survey.shared_chips(inverting, branch.far)]
            if branch.part != site.part.key and any("amplifier" in roles_in_text(p) for p in parts):
                line = f"with {branch.part} sets the gain of {parts[0].refdes}"
                yield found("set resistor", 0.9, line, f"{capacitors[0].part} keeps DC out of it")


def inrush_limiter(site: Site) -> Findings:
    """A thermistor in series with a supply."""
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
            yield from give("thermistor's line to supply", line=line, far=survey.describe(far))
        elif survey.is_ground(far):
            shunted = len(survey.resistors[net]) > 1 or site.kind.ohms is None
            row = "thermistor's line shunted" if shunted else "thermistor's line to ground"
            yield from give(row, line=line)
        else:
            yield from ranked({"thermistor bias": 0.5, "thermistor": 0.15}, line)
