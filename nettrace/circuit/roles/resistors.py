"""Roles of resistors in series with a signal or a supply, and of pulls.

Dividers, set resistors and thermistors are in `dividers`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles.filter_resistors import filter_resistor
from nettrace.circuit.roles.link_resistors import (
    SUPPLY_FILTER_OHMS,
    current_shunt,
    zero_ohm_link,
)
from nettrace.circuit.roles.net_words import (
    BUTTON,
    CONFIGURATION,
    RESET,
    USB_CC,
    USB_DATA,
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
from nettrace.circuit.roles.survey import CHIPS, Survey, are_pair
from nettrace.circuit.series import SHUNT_OHMS, resistor_elements
from nettrace.model.board import Pin

__all__ = ["RESISTOR_RULES", "is_own_supply"]

#: A termination is near the impedance of a line: 50, 75, 100, 120 ohms (common practice).
TERMINATION_OHMS: Final = (33.0, 150.0)
#: Across a pair: 85, 90, 100, 120 ohms (common practice, no source).
PAIR_OHMS: Final = (80.0, 125.0)


@only_for(Kind.RESISTOR)
def between_supplies(site: Site) -> Iterable[Finding]:
    """A resistor of some ohms between two rails filters; from a rail to ground it discharges."""
    if not site.ends or site.kind.ohms == 0:
        return
    survey, ohms = site.survey, site.kind.ohms
    first, second = site.ends
    if survey.is_signal(first) or survey.is_signal(second):
        return
    grounds = [net for net in site.ends if survey.is_ground(net)]
    if len(grounds) == 1:
        rail = second if grounds[0] == first else first
        gates = survey.gates.get(rail, ())
        if gates:
            yield found(
                "pull-down", LIKELY, f"from {rail} to ground, holds the gate of {gates[0]} low"
            )
            yield found("bleeder", POSSIBLE, f"discharges {rail}")
        else:
            yield found("bleeder", 0.6, f"from the rail {rail} to ground: discharges it")
            yield found("pull-down", 0.55, f"from {rail} to ground")
    elif not grounds:
        if ohms is None or SHUNT_OHMS < ohms <= SUPPLY_FILTER_OHMS:
            yield found("filter resistor", POSSIBLE, f"between the rails {first} and {second}")
            yield found("inrush limiter", FAINT, f"between the rails {first} and {second}")
        elif ohms > SUPPLY_FILTER_OHMS:
            yield found("pull-up", POSSIBLE, f"from {first} to {second}")
            yield found("filter resistor", 0.4, f"between the rails {first} and {second}")


@only_for(Kind.RESISTOR)
def led_resistor(site: Site) -> Iterable[Finding]:
    """In series with a LED, whatever is at the far end."""
    if not site.ends or site.kind.ohms == 0:
        return
    survey = site.survey
    for net in site.ends:
        if not survey.is_signal(net) or len(survey.pins(net)) > 4:
            continue
        leds = [b.part for b in survey.diodes.get(net, ()) if survey.kinds[b.part].kind is Kind.LED]
        if not leds and survey.count(net, Kind.LED):
            leds = [p.part for p in survey.pins(net) if survey.kinds[p.part].kind is Kind.LED]
        if leds:
            yield found("LED resistor", CERTAIN, f"in series with the LED {leds[0]}")
            return
        diodes = survey.diodes.get(net, ())
        if diodes and len(survey.pins(net)) == 2 and survey.kinds[diodes[0].part].score < 0.9:
            yield found("LED resistor", STRONG, f"alone in series with the diode {diodes[0].part}")
            return


@only_for(Kind.RESISTOR)
def pull(site: Site) -> Iterable[Finding]:
    """From a signal to a rail or to ground: a pull, unless a finer rule says more."""
    if site.to_fixed is None or site.kind.ohms == 0:
        return
    signal, far = site.to_fixed
    survey = site.survey
    if site.kind.ohms is not None and site.kind.ohms <= SHUNT_OHMS:
        return
    up = survey.is_supply(far)
    role = "pull-up" if up else "pull-down"
    because = [f"from {signal} to {survey.describe(far)}"]
    score = LIKELY + 0.05
    others = [pin for pin in survey.pins(signal) if pin.part != site.part.key]
    if not others:
        yield found(role, POSSIBLE, *because, "nothing else is on the net")
        return
    if not survey.count(signal, *CHIPS, *_READERS):
        # nothing reads the net: a resistor in the way of a supply, or a place left over
        yield found("series resistor", 0.6, *because, "no chip, plug or transistor is on the net")
        score = POSSIBLE
    words = words_of(signal)
    twin = _twin(site, signal, far)
    if twin:
        because.append(twin)
        score += 0.1
    gates = survey.gates.get(signal, ())
    if gates:
        because.append(f"holds the gate of {gates[0]}")
        score += 0.1
    if USB_CC.search(words) or any(USB_CC.search(name) for name in survey.pin_names(signal)):
        because.append("on a USB-C configuration line")
        score = STRONG
        yield found("termination", POSSIBLE, *because)
    if RESET.search(words) or CONFIGURATION.search(words) or BUTTON.search(words):
        because.append(f"{words} is read as a logic level")
        score += 0.05
    if site.circuit.net_kind(signal) == "bus":
        because.append(f"{signal} is a bus line")
        score += 0.1
    if not up and _SHELL.search(words):
        yield found("bleeder", 0.8, *because, "drains the shell's charge")
    ohms = site.kind.ohms
    if (
        ohms is not None
        and not survey.capacitors.get(signal)
        and TERMINATION_OHMS[0] <= ohms <= TERMINATION_OHMS[1]
    ):
        yield found("termination", LIKELY, f"{figure(ohms, 'Ω')} from {signal} to {far}")
        score -= 0.2
    yield found(role, min(score, 0.92), *because)
    yield found("set resistor", FAINT, *because[:1])
    if not up:
        yield found("bleeder", FAINT, *because[:1])


_SHELL: Final = re.compile(r"SHIELD|SHELL|CHASSIS|SHLD")
_READERS: Final = (Kind.CONNECTOR, Kind.MOSFET, Kind.TRANSISTOR, Kind.SWITCH, Kind.TEST_POINT,
                   Kind.JUMPER, Kind.CAPACITOR, Kind.RESISTOR, Kind.RESISTOR_ARRAY, Kind.ESD,
                   Kind.RELAY, Kind.SOURCE, Kind.CRYSTAL, Kind.THERMISTOR)  # fmt: skip
_TWINS: Final = (
    ("SDA", "SCL"), ("SDA", "SCK"), ("SCL", "SDA"), ("SCK", "SDA"), ("DATA", "CLK"),
    ("CLK", "DATA"), ("CC1", "CC2"), ("CC2", "CC1"), ("D0", "D1"), ("D1", "D0"),
)  # fmt: skip


def _twin(site: Site, signal: str, far: str) -> str:
    """Return that a resistor does the same on the sister line, in words, or "" where none does."""
    for word, other in _TWINS:
        at = signal.upper().rfind(word)
        if at < 0:
            continue
        sister = signal[:at] + other + signal[at + len(word) :]
        for branch in site.survey.resistors.get(sister, ()):
            if branch.far == far and branch.part != site.part.key:
                return f"its twin {branch.part} does the same on {sister}"
    return ""


@only_for(Kind.RESISTOR)
def series_resistor(site: Site) -> Iterable[Finding]:
    """Between two signals."""
    if site.signals is None or site.kind.ohms == 0:
        return
    first, second = site.signals
    because = [f"between {first} and {second}"]
    score = LIKELY
    if any(USB_DATA.search(words_of(net)) for net in site.signals):
        because.append("in a USB data line")
        score += 0.1
    if any(site.circuit.net_kind(net) == "bus" for net in site.signals):
        because.append("in a bus line")
        score += 0.1
    for net in site.signals:
        if net in site.survey.crystal_nets:
            because.append(f"to the crystal {site.survey.crystal_nets[net]}: limits its drive")
            score += 0.1
    ohms = site.kind.ohms
    if ohms is not None and ohms <= TERMINATION_OHMS[1]:
        yield found("termination", WEAK, f"{figure(ohms, 'Ω')} at a line's source")
    yield found("series resistor", min(score, 0.9), *because)
    yield found("filter resistor", FAINT, because[0])


@only_for(Kind.RESISTOR)
def termination(site: Site) -> Iterable[Finding]:
    """Across a differential pair."""
    if site.signals is None or site.kind.ohms == 0:
        return
    first, second = site.signals
    ohms = site.kind.ohms
    shared = set(site.survey.chips.get(first, ())) & set(site.survey.chips.get(second, ()))
    if shared and ohms is not None and PAIR_OHMS[0] <= ohms <= PAIR_OHMS[1]:
        chip = site.survey.board.part_by_key[min(shared)].refdes
        yield found("termination", 0.78, f"{figure(ohms, 'Ω')} across two lines into {chip}")
    if not are_pair(first, second) or (ohms is not None and ohms > TERMINATION_OHMS[1] * 2):
        return
    if set(site.survey.crystal_nets) >= {first, second}:
        return
    yield found("termination", STRONG, f"across the pair {first} and {second}")


@only_for(Kind.RESISTOR)
def crystal_feedback(site: Site) -> Iterable[Finding]:
    """Across a crystal: keeps the oscillator's inverter in its linear range."""
    if site.signals is None:
        return
    first, second = site.signals
    crystals = site.survey.crystal_nets
    if first in crystals and crystals[first] == crystals.get(second):
        yield found("crystal feedback resistor", CERTAIN, f"across the crystal {crystals[first]}")


@only_for(Kind.RESISTOR)
def gate_resistor(site: Site) -> Iterable[Finding]:
    """In series with a transistor's gate or base."""
    if site.signals is None or site.kind.ohms == 0:
        return
    for net, far in (site.signals, site.signals[::-1]):
        gates = site.survey.gates.get(net, ())
        if not gates or site.survey.gates.get(far, ()) or _drives(site, net):
            continue
        base = site.survey.kinds[gates[0]].kind is Kind.TRANSISTOR
        word = "base" if base else "gate"
        yield found(
            "gate resistor", 0.68 if base else 0.82, f"in series with the {word} of {gates[0]}"
        )


def _drives(site: Site, net: str) -> bool:
    """Return whether a chip is on the net too, so that the far end is not what drives it."""
    return site.survey.count(net, *CHIPS) > 0


@only_for(Kind.RESISTOR)
def pull_to_own_supply(site: Site) -> Iterable[Finding]:
    """From a chip's pin to the supply that the same chip makes for itself."""
    if site.signals is None or site.kind.ohms == 0:
        return
    survey = site.survey
    for supply, signal in (site.signals, site.signals[::-1]):
        if is_own_supply(survey, supply, signal):
            part = survey.board.part_by_key[survey.chips[supply][0]]
            yield found("pull-up", 0.82, f"from {signal} to {supply}, {part.refdes}'s own supply")


def is_own_supply(survey: Survey, supply: str, signal: str) -> bool:
    """Return whether one chip on the signal makes the other net as a supply of its own."""
    chips = survey.chips.get(supply, ())
    others = set(survey.on_net.get(supply, ())) - _OWN_SUPPLY_KINDS
    if len(chips) != 1 or others or chips[0] not in survey.chips.get(signal, ()):
        return False
    shunts = [b for b in survey.capacitors.get(supply, ()) if survey.is_ground(b.far)]
    named = any(names_supply(name) for name in survey.pin_names(supply))
    large = any((b.figure or 0.0) >= OWN_SUPPLY_FARADS for b in shunts)
    return bool(shunts) and (named or large or (len(shunts) > 1 and shunts[0].figure is None))


_OWN_SUPPLY_KINDS: Final = CHIPS | {Kind.CAPACITOR, Kind.RESISTOR, Kind.TEST_POINT}
#: A chip's own regulator wants at least this much (common practice, no source).
OWN_SUPPLY_FARADS: Final = 0.4e-6


@only_for(Kind.RESISTOR_ARRAY)
def array(site: Site) -> Iterable[Finding]:
    """An array has the role of most of its resistors."""
    survey = site.survey
    counts: dict[str, list[str]] = {}
    pairs: tuple[tuple[Pin, Pin], ...] = resistor_elements(site.part)
    for a, b in pairs:
        if a.net is None or b.net is None or a.net == b.net:
            continue
        fixed = [net for net in (a.net, b.net) if not survey.is_signal(net)]
        if len(fixed) == 2:
            continue
        if not fixed:
            role = "zero-ohm link" if site.kind.ohms == 0 else "series resistor"
            for net in (a.net, b.net):
                diode = survey.count(net, Kind.LED) and len(survey.pins(net)) <= 3
                role = "LED resistor" if diode else role
            counts.setdefault(role, []).append(f"{a.net} to {b.net}")
            continue
        signal = b.net if fixed[0] == a.net else a.net
        role = "pull-up" if survey.is_supply(fixed[0]) else "pull-down"
        if survey.count(signal, Kind.LED) and len(survey.pins(signal)) <= 3:
            role = "LED resistor"
        counts.setdefault(role, []).append(f"{signal} to {survey.describe(fixed[0])}")
    total = sum(len(lines) for lines in counts.values())
    for role, lines in counts.items():
        yield found(role, round(0.9 * len(lines) / total, 2), *lines)
    if not pairs:
        common = [net for net in site.nets if not survey.is_signal(net)]
        if len(common) == 1:
            role = "pull-up" if survey.is_supply(common[0]) else "pull-down"
            yield found(role, LIKELY, f"an array with its common pin on {common[0]}")
        yield found("series resistor", POSSIBLE, "an array in lines")


@only_for(Kind.RESISTOR)
def fallback(site: Site) -> Iterable[Finding]:
    """What a resistor may be where nothing else says so."""
    if site.ends is None:
        yield found("zero-ohm link", FAINT, "its ends are not on two nets")
    elif re.match(r"^JP|^SJ", site.part.refdes):
        yield found("zero-ohm link", POSSIBLE, f"reference {site.part.refdes}")


RESISTOR_RULES: Final[tuple[Rule, ...]] = (
    zero_ohm_link,
    current_shunt,
    between_supplies,
    led_resistor,
    crystal_feedback,
    termination,
    gate_resistor,
    filter_resistor,
    pull_to_own_supply,
    pull,
    series_resistor,
    array,
    fallback,
)
