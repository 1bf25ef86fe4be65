"""What a missing position likely was, judged without its own value.

The roles come from the nets around it; the values from the board's other positions, from the
formulas that hold there (a divider's other leg, a bus's window), and from what is usual.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from nettrace.circuit.buses import pull_window
from nettrace.circuit.evidence import Bus, BusLine, Proposal, Role
from nettrace.circuit.kinds import Kind
from nettrace.circuit.rail_names import read_rail_name
from nettrace.circuit.rail_volts import reference_volts
from nettrace.circuit.roles.capacitors import BULK_FARADS
from nettrace.circuit.roles.dividers import feedback_chip
from nettrace.circuit.roles.net_words import THERMISTOR_LINE, USB_CC, words_of
from nettrace.circuit.roles.proposal_hiding import hide_value
from nettrace.circuit.roles.proposal_values import (
    QUANTITY_OF,
    SNUBBER_OHMS,
    USUAL,
    Choice,
    Usual,
    look_at,
)
from nettrace.circuit.roles.site import Site
from nettrace.model.board import Part
from nettrace.values.quantity import engineering
from nettrace.values.series import nearest

if TYPE_CHECKING:
    from nettrace.circuit.circuit import Circuit

__all__ = ["propose"]

#: Roles proposed, and values for each.
MOST_ROLES: Final = 3
MOST_CHOICES: Final = 3
#: A second opinion less likely than this helps nobody.
LEAST_SCORE: Final = 0.2
#: USB Type-C: Rd is 5.1 kΩ within 10 % (ST UM2191, table 2).
CC_OHMS: Final = 5.1e3
CC_TOLERANCE: Final = 0.1
#: Values that a bus's pull-ups commonly have, ohms (common practice, no source).
BUS_PULL_OHMS: Final = (4.7e3, 2.2e3, 10e3, 1.5e3, 1e3, 3.3e3)
#: References of regulators that are usual where the part is not known, V (common practice).
USUAL_REFERENCES: Final = (0.6, 0.8, 1.25)
_UNITS: Final = {"ohms": "Ω", "farads": "F", "henries": "H"}


def propose(circuit: Circuit, part_key: str) -> tuple[Proposal, ...]:
    """Return what the position likely was, best first; () for what is no R, C or L.

    The part's own value, description and properties are hidden first, so that the answer is the
    same whether the file knows them or not.
    """
    hidden = hide_value(circuit, part_key)
    part = hidden.board.part_by_key[part_key]
    kind = hidden.kinds[part_key].kind
    quantity = QUANTITY_OF.get(kind)
    if quantity is None:
        return ()
    package = _package(circuit, part)
    found: list[Proposal] = []
    for role in hidden.roles(part_key)[:MOST_ROLES]:
        if found and role.score < LEAST_SCORE:
            break
        proposal = _for_role(circuit, hidden, part, role, quantity, package)
        if proposal is not None:
            found.append(proposal)
    return _by_value(found)


def _by_value(found: list[Proposal]) -> tuple[Proposal, ...]:
    """Put bulk before decoupling where the likeliest value says so.

    From the nets alone it may be either; the score stays with the place.
    """
    if len(found) < 2 or (found[0].role, found[1].role) != ("decoupling", "bulk capacitor"):
        return tuple(found)
    first, second = found[0], found[1]
    value = first.choices[0] if first.choices else 0.0
    if value < BULK_FARADS * 0.99:
        return tuple(found)
    return (
        replace(second, score=first.score, choices=first.choices),
        replace(first, score=second.score),
        *found[2:],
    )


def _for_role(
    circuit: Circuit,
    hidden: Circuit,
    part: Part,
    role: Role,
    quantity: str,
    package: str | None,
) -> Proposal | None:
    usual = USUAL.get(role.role)
    if role.role == "snubber" and quantity == "ohms":
        usual = SNUBBER_OHMS
    if usual is None:
        return None
    reasons = [reason for reason in role.because if reason != "value not known"]
    computed = _computed(hidden, part, role.role)
    if computed is not None:
        usual, more = computed
        reasons += more
    choices = circuit.value_bank.choose(quantity, role.role, look_at(hidden, part), usual)
    if computed is not None and usual.choices:
        first = [Choice(value, 0.0, "") for value in usual.choices]
        inside = [c for c in choices if usual.at_least <= c.value <= usual.at_most and c.because]
        choices = _merged(first, inside) if usual.firm else _merged(inside, first)
    if role.role == "bulk capacitor":
        # whatever is small there is no bulk
        choices = tuple(sorted(choices, key=lambda choice: choice.value < usual.at_least))
    values = tuple(choice.value for choice in choices[:MOST_CHOICES])
    if choices and choices[0].because:
        reasons.append(f"{engineering(values[0], _UNITS[quantity])}: {choices[0].because}")
    return Proposal(
        role=role.role,
        quantity=quantity,
        at_least=usual.at_least,
        at_most=usual.at_most,
        choices=values,
        score=role.score,
        because=tuple(dict.fromkeys(reasons)),
        package=package,
    )


def _merged(first: list[Choice], second: list[Choice]) -> tuple[Choice, ...]:
    found: dict[float, Choice] = {}
    for choice in (*first, *second):
        found.setdefault(choice.value, choice)
    return tuple(found.values())


def _computed(hidden: Circuit, part: Part, role: str) -> tuple[Usual, list[str]] | None:
    """Return the range and values that a formula or a standard gives here, with the reason."""
    if role in {"pull-down", "termination"}:
        return _cc_resistor(hidden, part)
    if role == "pull-up":
        return _bus_pull_up(hidden, part)
    if role.startswith("feedback divider"):
        return _feedback_leg(hidden, part, upper="upper" in role)
    if role in {"series resistor", "zero-ohm link"}:
        return _in_thermistor_line(hidden, part)
    return None


def _in_thermistor_line(hidden: Circuit, part: Part) -> tuple[Usual, list[str]] | None:
    survey = hidden.survey
    named = any(
        THERMISTOR_LINE.search(words)
        for net in part.nets
        for words in (words_of(net), *survey.pin_names(net))
    )
    if not named or not all(survey.is_signal(net) for net in part.nets):
        return None
    why = "ohms in series with a thermistor falsify its reading, so there are few or none"
    return Usual(0.0, 1e3, (0.0, 100.0, 1e3), firm=True), [why]


def _cc_resistor(hidden: Circuit, part: Part) -> tuple[Usual, list[str]] | None:
    survey = hidden.survey
    signals = [net for net in part.nets if survey.is_signal(net)]
    if len(signals) != 1 or not any(survey.is_ground(net) for net in part.nets):
        return None
    signal = signals[0]
    named = USB_CC.search(words_of(signal)) or any(map(USB_CC.search, survey.pin_names(signal)))
    plug = survey.count(signal, Kind.CONNECTOR)
    if not named or not plug:
        return None
    spread = CC_OHMS * CC_TOLERANCE
    return (
        Usual(CC_OHMS - spread, CC_OHMS + spread, (CC_OHMS,), firm=True),
        ["USB Type-C asks for 5.1 kΩ within 10 % from CC to ground at a sink"],
    )


def _bus_pull_up(hidden: Circuit, part: Part) -> tuple[Usual, list[str]] | None:
    found = _line_of(hidden, part)
    if found is None:
        return None
    bus, line = found
    rail = next((hidden.rails[net] for net in part.nets if net in hidden.rails), None)
    stated = rail.volts.nominal if rail is not None and rail.volts is not None else None
    volts = stated if stated is not None else line.volts
    window = pull_window(bus.protocol, volts) if volts else None
    if window is None:
        return None
    low, high = window
    choices = tuple(ohms for ohms in BUS_PULL_OHMS if low <= ohms <= high)
    text = f"{engineering(low, 'Ω', 3)} to {engineering(high, 'Ω', 3)} at {volts:.3g} V and 100 pF"
    return Usual(low, high, choices), [f"UM10204 allows {text} on this bus, by its speed"]


def _line_of(hidden: Circuit, part: Part) -> tuple[Bus, BusLine] | None:
    for bus in hidden.buses:
        for line in bus.lines:
            if line.net in part.nets or any(net in line.nets for net in part.nets):
                return bus, line
    return None


def _feedback_leg(hidden: Circuit, part: Part, *, upper: bool) -> tuple[Usual, list[str]] | None:
    """Return the value that gives the rail's voltage with the other leg."""
    survey = hidden.survey
    tap = next(
        (net for net in part.nets if net in survey.taps and part.key in survey.taps[net]), None
    )
    if tap is None:
        return None
    partner = survey.taps[tap][1 if upper else 0]
    ohms = hidden.kinds[partner].ohms
    if not ohms:
        return None
    ends = survey.ends[part.key] if upper else survey.ends[partner]
    top = ends[1] if ends[0] == tap else ends[0]
    volts = _volts_without_divider(hidden, top)
    if volts is None:
        return None
    site = Site(hidden, survey, part, hidden.kinds[part.key])
    chip, _ = feedback_chip(site, tap, top)
    known = reference_volts(hidden.board.part_by_key[chip]) if chip is not None else None
    references = (known,) if known is not None else USUAL_REFERENCES
    exact = [
        ohms * (volts / ref - 1) if upper else ohms / (volts / ref - 1)
        for ref in references
        if volts > ref
    ]
    if not exact:
        return None
    values = [nearest(value, "E96") for value in exact]
    if known is not None:
        values = list(
            dict.fromkeys([values[0], nearest(exact[0], "E24"), nearest(exact[0], "E12")])
        )
    text = f"with {partner} ({engineering(ohms, 'Ω')}) it gives {volts:g} V on {top}"
    why = f"reference {known:g} V" if known is not None else "for a reference of 0.6, 0.8 or 1.25 V"
    low, high = min(*exact, *values), max(*exact, *values)
    return Usual(low * 0.95, high * 1.05, tuple(values), firm=True), [f"{text} ({why})"]


def _volts_without_divider(hidden: Circuit, net: str) -> float | None:
    """Return the rail's voltage by anything but the divider whose leg is looked for."""
    rail = hidden.rails.get(net)
    if rail is None:
        return None
    for volts in (rail.volts, *rail.others):
        if volts is not None and volts.nominal and "divider" not in volts.basis:
            return volts.nominal
    return read_rail_name(net).volts


def _package(circuit: Circuit, part: Part) -> str | None:
    """Return the chip size: as the footprint says, else as most parts with the same pads."""
    size = circuit.kinds[part.key].size_inch
    if size is not None:
        return size
    own = _copper(part)
    if own is None:
        return None
    counts: dict[str, int] = {}
    for other in circuit.board.parts:
        known = circuit.kinds[other.key].size_inch
        if known is not None and other.key != part.key and _copper(other) == own:
            counts[known] = counts.get(known, 0) + 1
    return min(counts, key=lambda name: (-counts[name], name)) if counts else None


def _copper(part: Part) -> tuple[float, float, float] | None:
    """Return distance and size of the two pads, 0.05 mm steps; None for other parts."""
    if len(part.pads) != 2:
        return None
    first, second = part.pads
    if first.width is None or first.height is None:
        return None
    gap = ((first.x - second.x) ** 2 + (first.y - second.y) ** 2) ** 0.5
    sides = sorted((first.width, first.height))
    return round(gap * 20) / 20, round(sides[0] * 20) / 20, round(sides[1] * 20) / 20
