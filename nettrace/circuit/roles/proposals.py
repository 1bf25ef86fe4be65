"""What a missing position likely was, judged without its own value.

The roles come from the nets around it; the values from the board's other positions, from the
formulas that hold there (a divider's other leg, a bus's window), and from what is usual. A designer
uses a value again: on the sister line, at the same pin of a twin chip, on the same bus, on the same
rail. What is common in the trade for the role stands in where the board is silent.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final

import msgspec

from nettrace import knowledge
from nettrace.circuit.buses import find_line, pull_window
from nettrace.circuit.evidence import Bus, PartKind, Proposal, Role
from nettrace.circuit.kinds import Kind
from nettrace.circuit.links import SUPPLY_OHMS
from nettrace.circuit.part_kinds import infer_kinds
from nettrace.circuit.rail_evidence import read_rail_name
from nettrace.circuit.rails import reference_volts
from nettrace.circuit.roles import row_of
from nettrace.circuit.roles.capacitors import BULK_FARADS
from nettrace.circuit.roles.resistors import feedback_chip
from nettrace.circuit.roles.site import (
    CHIPS,
    VALUE_NOT_KNOWN,
    Branch,
    ByNet,
    Survey,
    are_pair,
    find_taps,
    pad_distance_mm,
    words_of,
)
from nettrace.model.board import EMPTY, Board, Part
from nettrace.values.quantity import engineering
from nettrace.values.series import nearest

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

#: What is stated of the kinds that something is proposed for, and its unit.
_QUANTITIES: Final = {
    Kind.RESISTOR: ("ohms", "Ω"),
    Kind.CAPACITOR: ("farads", "F"),
    Kind.INDUCTOR: ("henries", "H"),
}
#: Which of the two words it is depends on the value alone.
_SUPPLY_ROLES: Final = {"decoupling", "bulk capacitor"}


@dataclass(frozen=True, slots=True)
class Usual:
    """What is usual or computed: range, and values with the most likely first."""

    at_least: float
    at_most: float
    choices: tuple[float, ...]
    firm: bool = False  # computed or prescribed: the choices stand before the board's own
    why: str = ""


@dataclass(frozen=True, slots=True)
class Position:
    """What can be compared of two positions, whatever stands in them.

    `pins` are (chip value, pin number) on its signal nets with the chip, `stems` its signal nets
    with their names less an index, `rails` its rails and grounds, `buses` numbers of the board's
    buses.
    """

    key: str
    signals: tuple[str, ...]
    stems: tuple[tuple[str, str], ...]
    rails: tuple[str, ...]
    chips: frozenset[str]
    pins: Mapping[tuple[str, str], str]
    buses: frozenset[int]
    size: str | float | None


@dataclass(frozen=True, slots=True)
class Known:
    """A position with its role and value."""

    position: Position
    role: str
    value: float


@dataclass(frozen=True, slots=True)
class ValueBank:
    """All known values of a board by quantity, in the board's order, and its tables."""

    survey: Survey
    known: Mapping[str, tuple[Known, ...]]

    def choose(self, quantity: str, role: str, own: Position, usual: Usual) -> dict[float, str]:
        """Return values that fit a position of that role, likeliest first, each with its reason."""
        likeness = knowledge.table("roles")["likeness"]
        weights: dict[float, float] = {}
        habits: dict[float, float] = {}
        best: dict[float, tuple[float, str]] = {}

        def add(value: float, weight: float, reason: str) -> None:
            near = likeness["nearly"]
            same = next((v for v in weights if abs(v - value) <= near * max(v, value)), value)
            weights.setdefault(same, 0.0)
            kept = weights if weight >= likeness["strong"] else habits
            kept[same] = kept.get(same, 0.0) + weight
            if weight > best.get(same, (0.0, ""))[0]:
                best[same] = weight, reason

        for known in self.known.get(quantity, ()):
            weight, reason = _likeness(own, role, known)
            if weight and known.position.key != own.key:
                add(known.value, weight, reason)
        for index, value in enumerate(usual.choices):
            add(value, likeness["trade"] / (1 + index), f"usual for a {role}")
        most = max(habits.values(), default=0.0)
        for value, habit in habits.items():
            weights[value] += habit * min(1.0, likeness["most habit"] / most)
        ranked = sorted(weights, key=lambda value: (-weights[value], value))
        return {value: best[value][1] for value in ranked}

    def package(self, part: Part) -> str | None:
        """Return the chip size: as the footprint says, else as most parts with the same pads."""
        kinds = self.survey.kinds
        own = _copper(part)
        if kinds[part.key].size_inch is not None or own is None:
            return kinds[part.key].size_inch
        counts: Counter[str] = Counter()
        for other in self.survey.board.parts:
            size = kinds[other.key].size_inch
            if size is not None and other.key != part.key and _copper(other) == own:
                counts[size] += 1
        return min(counts, key=lambda name: (-counts[name], name), default=None)


def build_bank(
    survey: Survey, buses: Sequence[Bus], roles: Callable[[str], Sequence[Role]]
) -> ValueBank:
    """Return the known values of a board with the roles they have."""
    known: dict[str, list[Known]] = {}
    for part in survey.board.parts:
        kind = survey.kinds[part.key]
        quantity, _ = _QUANTITIES.get(kind.kind, (None, ""))
        value = getattr(kind, quantity) if quantity else None
        if quantity and value is not None:
            position = look_at(survey, buses, part)
            known.setdefault(quantity, []).append(Known(position, roles(part.key)[0].role, value))
    return ValueBank(survey, {quantity: tuple(found) for quantity, found in known.items()})


def look_at(survey: Survey, buses: Sequence[Bus], part: Part) -> Position:
    """Return what can be compared of a part's position."""
    signals = tuple(net for net in part.nets if survey.is_signal(net))
    chips: set[str] = set()
    pins: dict[tuple[str, str], str] = {}
    for pin in (pin for net in signals for pin in survey.pins(net)):
        if survey.kind(pin.part) in CHIPS:
            chips.add(pin.part)
            if value := survey.part(pin.part).value:
                pins[value, pin.number] = pin.part
    apart = pad_distance_mm(part)
    return Position(
        key=part.key,
        signals=signals,
        stems=tuple((net, stem) for net in signals if (stem := _stem(net)) is not None),
        rails=tuple(sorted(net for net in part.nets if not survey.is_signal(net))),
        chips=frozenset(chips),
        pins=pins,
        buses=frozenset(
            index
            for index, bus in enumerate(buses)
            if any(net in line.nets or net == line.net for line in bus.lines for net in signals)
        ),
        size=survey.kinds[part.key].size_inch or (round(apart, 1) if apart is not None else None),
    )


def _stem(net: str) -> str | None:
    """Return the name of a line without its index; None where nobody named it."""
    words = words_of(net)
    stem = re.sub(r"\d+", "#", words)
    for word, other in knowledge.table("lines")["sisters"]["stems"]:
        if word in stem:
            return stem.replace(word, other)
    return stem if "#" in stem else None


# -- how much one position says about another --------------------------------------------------


def _likeness(own: Position, role: str, known: Known) -> tuple[float, str]:
    """Return how much a known value says about a position, and the chief reason."""
    other = known.position
    likeness: Mapping[str, float] = knowledge.table("roles")["likeness"]
    same_role = known.role == role or {known.role, role} == _SUPPLY_ROLES
    less = 1.0 if same_role else likeness["less"]
    # the same pin of two chips of one value
    twin = any(other.pins.get(pin, chip) != chip for pin, chip in own.pins.items())
    if own.rails == other.rails and twin:
        return likeness["twin pin"] * less, f"as {other.key} has at the same pin of a like chip"
    if own.signals and own.signals == other.signals and own.rails == other.rails:
        return likeness["same nets"] * less, f"as {other.key} has beside it"
    sisters = _sisters(own, other)
    weight, reason = likeness["same role"], f"as the {known.role} {other.key} has"
    if sisters:
        weight, reason = likeness["sister line"] * less, f"as {other.key} has on the sister line"
    if not same_role:
        family = row_of(role).get("family")
        if sisters or family is None or family != row_of(known.role).get("family"):
            return (weight, reason) if sisters else (0.0, "")
        return likeness["other role"], f"as {other.key} has"
    if not sisters and own.buses & other.buses:
        weight, reason = likeness["same bus"], f"as {other.key} has on the same bus"
        if own.rails != other.rails:
            weight *= likeness["other supply"]
    elif not sisters:
        if own.rails and set(own.rails) <= set(other.rails):
            weight += likeness["same rail"]
            reason = f"as {other.key} has at {', '.join(own.rails)}"
        if own.chips & other.chips:
            weight += likeness["same chip"]
            reason = f"as {other.key} has at {min(own.chips & other.chips)}"
    if own.size is not None and other.size is not None and row_of(role).get("sized"):
        weight *= likeness["same size" if own.size == other.size else "other size"]
    return weight, reason


def _sisters(own: Position, other: Position) -> bool:
    """Return whether the lines are sisters: their names differ by an index, or are a pair.

    The lines of a pair at one chip are sisters even where the far ends differ, as at a shunt.
    """
    paired = any(are_pair(a, b) for a in own.signals for b in other.signals)
    if paired and own.chips & other.chips:
        return True
    if own.rails != other.rails or len(own.signals) != len(other.signals):
        return False
    return paired or any(
        stem == same and net != beside for net, stem in own.stems for beside, same in other.stems
    )


# -- the proposals -----------------------------------------------------------------------------


def propose(
    part_key: str, hidden: Survey, roles: Sequence[Role], buses: Sequence[Bus], values: ValueBank
) -> tuple[Proposal, ...]:
    """Return what the position likely was, best first; () for what is no R, C or L.

    The part's own value, description and properties are hidden first, so that the answer is the
    same whether the file knows them or not.

    Args:
        part_key: the part that is missing.
        hidden: the tables of the board without the part's value.
        roles: what the part may be there for, judged without its value.
        buses: the buses, judged without its value.
        values: the known values of the board.
    """
    part, kind = hidden.part(part_key), hidden.kind(part_key)
    if kind not in _QUANTITIES:
        return ()
    quantity, unit = _QUANTITIES[kind]
    position = look_at(hidden, buses, part)
    package = values.package(part)
    found: list[Proposal] = []
    for role in roles[:MOST_ROLES]:
        if found and role.score < LEAST_SCORE:
            break
        row = row_of(role.role)
        if (row := row.get(f"usual_{quantity}", row.get("usual"))) is None:
            continue
        usual = Usual(row["from"], row["to"], row["values"])
        computed = _computed(hidden, buses, part, role.role)
        choices = values.choose(quantity, role.role, position, computed or usual)
        if computed is not None:
            usual = computed
        if computed is not None and usual.choices:
            first = dict.fromkeys(usual.choices, "")  # what was computed needs no reason
            inside = {c: choices[c] for c in choices if usual.at_least <= c <= usual.at_most}
            one, two = (first, inside) if usual.firm else (inside, first)
            choices = one | {value: two[value] for value in two if value not in one}
        values_first = list(choices)
        if role.role == "bulk capacitor":
            # whatever is small there is no bulk
            values_first.sort(key=lambda value: value < usual.at_least)
        reasons = [reason for reason in role.because if reason != VALUE_NOT_KNOWN]
        reasons += [usual.why] if usual.why else []
        if values_first and choices[values_first[0]]:
            reasons.append(f"{engineering(values_first[0], unit)}: {choices[values_first[0]]}")
        found.append(
            Proposal(
                role=role.role,
                quantity=quantity,
                at_least=usual.at_least,
                at_most=usual.at_most,
                choices=tuple(values_first[:MOST_CHOICES]),
                score=role.score,
                because=tuple(dict.fromkeys(reasons)),
                package=package,
            )
        )
    return _by_value(found)


def _by_value(found: list[Proposal]) -> tuple[Proposal, ...]:
    """Put bulk before decoupling where the likeliest value says so.

    From the nets alone it may be either; the score stays with the place.
    """
    if [each.role for each in found[:2]] == ["decoupling", "bulk capacitor"]:
        first, second, *rest = found
        if first.choices and first.choices[0] >= BULK_FARADS:
            bulk = replace(second, score=first.score, choices=first.choices)
            return (bulk, replace(first, score=second.score), *rest)
    return tuple(found)


def _computed(hidden: Survey, buses: Sequence[Bus], part: Part, role: str) -> Usual | None:
    """Return the range and values that a formula or a standard gives here, with the reason."""
    if role == "pull-up":
        return _bus_pull_up(hidden, buses, part)
    if role.startswith("feedback divider"):
        return _feedback_leg(hidden, part)
    signals = [net for net in part.nets if hidden.is_signal(net)]
    if role in {"series resistor", "zero-ohm link"} and len(signals) == len(part.nets):
        if any(hidden.says("thermistor", net) for net in signals):
            why = "ohms in series with a thermistor falsify its reading, so there are few or none"
            return Usual(0.0, 1e3, (0.0, 100.0, 1e3), firm=True, why=why)
    elif role in {"pull-down", "termination"} and len(signals) == 1:
        plugged = hidden.says("usb cc", signals[0]) and hidden.count(signals[0], Kind.CONNECTOR)
        if plugged and any(hidden.is_ground(net) for net in part.nets):
            spread = CC_OHMS * CC_TOLERANCE
            why = "USB Type-C asks for 5.1 kΩ within 10 % from CC to ground at a sink"
            return Usual(CC_OHMS - spread, CC_OHMS + spread, (CC_OHMS,), firm=True, why=why)
    return None


def _bus_pull_up(hidden: Survey, buses: Sequence[Bus], part: Part) -> Usual | None:
    if (found := find_line(buses, part.nets)) is None:
        return None
    bus, line = found
    rail = next((hidden.rails[net] for net in part.nets if net in hidden.rails), None)
    stated = rail.volts.nominal if rail is not None and rail.volts is not None else None
    volts = stated if stated is not None else line.volts
    window = pull_window(bus.protocol, volts) if volts else None
    if window is None:
        return None
    low, high = window
    text = f"{engineering(low, 'Ω', 3)} to {engineering(high, 'Ω', 3)} at {volts:.3g} V and 100 pF"
    why = f"UM10204 allows {text} on this bus, by its speed"
    return Usual(low, high, tuple(r for r in BUS_PULL_OHMS if low <= r <= high), why=why)


def _feedback_leg(hidden: Survey, part: Part) -> Usual | None:
    """Return the value that gives the rail's voltage with the other leg."""
    tap = next((net for net in part.nets if part.key in hidden.taps.get(net, ())), None)
    if tap is None:
        return None
    legs = hidden.taps[tap]
    upper = part.key == legs[0]
    partner = legs[1 if upper else 0]
    ohms = hidden.kinds[partner].ohms
    top = hidden.far(legs[0], tap)
    volts = _volts_without(hidden, top, legs)
    if not ohms or volts is None:
        return None
    chip, _ = feedback_chip(hidden, tap, top)
    known = reference_volts(hidden.part(chip)) if chip is not None else None
    references = (known,) if known is not None else USUAL_REFERENCES
    ratios = [volts / reference - 1 for reference in references if volts > reference]
    exact = [ohms * ratio if upper else ohms / ratio for ratio in ratios]
    if not exact:
        return None
    values = [nearest(value, "E96") for value in exact]
    if known is not None:
        values += [nearest(exact[0], "E24"), nearest(exact[0], "E12")]
    text = f"with {partner} ({engineering(ohms, 'Ω')}) it gives {volts:g} V on {top}"
    why = f"reference {known:g} V" if known is not None else "for a reference of 0.6, 0.8 or 1.25 V"
    low, high = min(*exact, *values) * 0.95, max(*exact, *values) * 1.05
    return Usual(low, high, tuple(dict.fromkeys(values)), firm=True, why=f"{text} ({why})")


def _volts_without(hidden: Survey, net: str, legs: tuple[str, str]) -> float | None:
    """Return the rail's voltage by anything but the divider whose leg is looked for."""
    if (rail := hidden.rails.get(net)) is None:
        return None
    for volts in (rail.volts, *rail.others):
        if volts is not None and volts.nominal and not {*legs} & {*volts.from_parts}:
            return volts.nominal
    return read_rail_name(net).volts


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


# -- the board without one value ---------------------------------------------------------------


def hide_value(
    board: Board, kinds: Mapping[str, PartKind], key: str
) -> tuple[Board, Mapping[str, PartKind]] | None:
    """Return the board and its kinds with a part's value, description and properties unknown.

    Its reference, package, pads and nets stay. None for a part that states nothing: it is hidden
    already.
    """
    part = board.part_by_key[key]
    blank = msgspec.structs.replace(
        part, value=None, description=None, properties=EMPTY, fitted=None
    )
    kind = infer_kinds(replace(board, parts=(blank,)))[key]
    if kind == kinds[key]:
        return None
    parts = tuple(blank if other is part else other for other in board.parts)
    by_key = MappingProxyType({**board.part_by_key, key: blank})
    return (
        replace(board, parts=parts, part_by_key=by_key),
        MappingProxyType({**kinds, key: kind}),
    )


def may_carry_supply(survey: Survey, part: Part) -> bool:
    """Return whether the part's value may have made a rail of a net, or set its voltage."""
    kind = survey.kinds[part.key]
    if kind.kind is Kind.CAPACITOR:
        return False
    if any(part.key in survey.taps.get(net, ()) for net in part.nets):
        return True  # a divider's leg may have settled its rail's voltage
    if kind.ohms is not None and kind.ohms > SUPPLY_OHMS:
        return False
    return any(net in survey.rails for net in part.nets)


def hide_figure(survey: Survey, board: Board, kinds: Mapping[str, PartKind], key: str) -> Survey:
    """Return the tables with the part's figure unknown; a zero-ohm link is a resistor again."""
    if (ends := survey.ends.get(key)) is None:
        return replace(survey, board=board, kinds=kinds)
    resistors, links = ByNet(survey.resistors), ByNet(survey.links)
    capacitors = ByNet(survey.capacitors)
    for net, far in (ends, ends[::-1]):
        unknown = Branch(key, far, None, True)
        for table in (resistors, capacitors):
            if net in table:
                table[net] = tuple(unknown if b.part == key else b for b in table[net])
        if any(branch.part == key for branch in links[net]):
            links[net] = tuple(branch for branch in links[net] if branch.part != key)
            resistors[net] = (*resistors[net], unknown)
    taps = {net: pair for net, pair in survey.taps.items() if net not in ends}
    taps |= find_taps(
        survey.rails, {net: resistors[net] for net in ends if net in resistors}, survey.on_net
    )
    return replace(
        survey,
        board=board,
        kinds=kinds,
        resistors=resistors,
        links=links,
        capacitors=capacitors,
        taps=taps,
    )
