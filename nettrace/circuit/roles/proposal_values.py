"""The values that a board has in known positions, and which of them a position like it would have.

A designer uses a value again: on the sister line, at the same pin of a twin chip, on the same bus,
on the same rail. What is common in the trade for the role stands in where the board is silent.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles.net_words import words_of
from nettrace.circuit.roles.survey import CHIPS, are_pair
from nettrace.model.board import Part

if TYPE_CHECKING:
    from nettrace.circuit.circuit import Circuit

__all__ = ["USUAL", "Choice", "Position", "Usual", "ValueBank", "build_bank", "look_at"]

QUANTITY_OF: Final[dict[Kind, str]] = {
    Kind.RESISTOR: "ohms",
    Kind.CAPACITOR: "farads",
    Kind.INDUCTOR: "henries",
}

# How much a likeness says about a value; common practice, no source, the order is what counts.
SAME_ROLE: Final = 1.0
SAME_RAIL: Final = 1.5
SAME_CHIP: Final = 2.5
SAME_BUS: Final = 8.0
#: On the same bus, but on another side of its level shifter.
OTHER_SUPPLY: Final = 0.3
SISTER_LINE: Final = 12.0
TWIN_PIN: Final = 14.0
SAME_NETS: Final = 10.0
#: From here on a likeness is strong; all weaker ones together count as the second figure at most.
STRONG_LIKENESS: Final = 7.0
MOST_HABIT: Final = 10.0
OTHER_ROLE: Final = 0.15
#: What is said by a position that is alike in place, but has another role.
LESS: Final = 0.7
#: Factors for capacitors: of one package size, and of two.
SAME_SIZE: Final = 2.0
OTHER_SIZE: Final = 0.5
#: Values this near are one choice: 470 and 475 ohms.
NEARLY: Final = 0.03
TRADE: Final = 0.6


@dataclass(frozen=True, slots=True)
class Usual:
    """What is usual for a role: range, and values with the most common first (no source)."""

    at_least: float
    at_most: float
    choices: tuple[float, ...]
    firm: bool = False  # computed or prescribed: the choices stand before the board's own


#: Common practice, no source, but for USB-C (Rd 5.1 kΩ, ST UM2191 table 2) and the crystal's loads.
USUAL: Final[Mapping[str, Usual]] = {
    "pull-up": Usual(1e3, 100e3, (10e3, 4.7e3, 100e3, 47e3, 2.2e3)),
    "pull-down": Usual(1e3, 1e6, (10e3, 100e3, 4.7e3, 1e3)),
    "series resistor": Usual(0.0, 1e3, (33.0, 22.0, 0.0, 100.0, 1e3)),
    "termination": Usual(22.0, 150.0, (50.0, 100.0, 33.0, 49.9, 22.0)),
    "current shunt": Usual(1e-3, 1.0, (10e-3, 20e-3, 50e-3, 100e-3)),
    "divider (upper)": Usual(1e3, 1e6, (100e3, 10e3, 1e6, 47e3)),
    "divider (lower)": Usual(1e3, 1e6, (100e3, 10e3, 47e3)),
    "feedback divider (upper)": Usual(1e3, 1e6, (100e3, 10e3, 47e3)),
    "feedback divider (lower)": Usual(1e3, 1e6, (10e3, 100e3, 22e3)),
    "thermistor": Usual(1e3, 100e3, (10e3, 100e3, 47e3)),
    "thermistor bias": Usual(1e3, 100e3, (10e3, 100e3, 4.7e3)),
    "gate resistor": Usual(0.0, 10e3, (100.0, 1e3, 10e3, 4.7e3)),
    "LED resistor": Usual(100.0, 10e3, (1e3, 330.0, 470.0, 2.2e3)),
    "bleeder": Usual(100.0, 1e6, (10e3, 1e6, 100e3)),
    "filter resistor": Usual(1.0, 10e3, (100.0, 1e3, 10.0, 10e3)),
    "zero-ohm link": Usual(0.0, 0.05, (0.0,)),
    "set resistor": Usual(1e3, 200e3, (10e3, 12e3, 100e3, 2e3)),
    "crystal feedback resistor": Usual(100e3, 20e6, (1e6, 10e6)),
    "inrush limiter": Usual(1.0, 100.0, (5.0, 10.0)),
    "decoupling": Usual(10e-9, 4.7e-6, (100e-9, 1e-6, 10e-9)),
    "bulk capacitor": Usual(2.2e-6, 470e-6, (10e-6, 22e-6, 4.7e-6, 47e-6)),
    "filter capacitor": Usual(1e-12, 10e-6, (100e-9, 10e-9, 1e-9, 100e-12, 1e-6)),
    "AC coupling": Usual(10e-12, 100e-6, (100e-9, 1e-6, 10e-6)),
    "crystal load": Usual(3e-12, 47e-12, (12e-12, 18e-12, 22e-12, 10e-12)),
    "bootstrap": Usual(10e-9, 470e-9, (100e-9, 22e-9, 10e-9)),
    "feed-forward": Usual(4.7e-12, 100e-9, (22e-12, 100e-12, 10e-12)),
    "soft-start or timing capacitor": Usual(1e-9, 10e-6, (100e-9, 10e-9, 1e-6)),
    "snubber": Usual(100e-12, 100e-9, (1e-9, 470e-12, 10e-9)),
    "switching inductor": Usual(0.24e-6, 100e-6, (2.2e-6, 4.7e-6, 1e-6, 10e-6)),
    "filter inductor": Usual(1e-9, 100e-6, (10e-6, 2.2e-6, 1e-6)),
}
#: A snubber's resistor, ohms (the table has its capacitor).
SNUBBER_OHMS: Final = Usual(1.0, 220.0, (10.0, 2.2, 4.7))


@dataclass(frozen=True, slots=True)
class Choice:
    """A value with its weight and the reason that says most."""

    value: float
    weight: float
    because: str


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
    """All known values of a board by quantity, in the board's order."""

    known: Mapping[str, tuple[Known, ...]]

    def choose(self, quantity: str, role: str, own: Position, usual: Usual) -> tuple[Choice, ...]:
        """Return values that fit a position of that role, likeliest first."""
        weights: dict[float, float] = {}
        habits: dict[float, float] = {}
        best: dict[float, tuple[float, str]] = {}

        def add(value: float, weight: float, reason: str) -> None:
            same = next((v for v in weights if abs(v - value) <= NEARLY * max(v, value)), value)
            if weight >= STRONG_LIKENESS:
                weights[same] = weights.get(same, 0.0) + weight
            else:
                habits[same] = habits.get(same, 0.0) + weight
                weights.setdefault(same, 0.0)
            if weight > best.get(same, (0.0, ""))[0]:
                best[same] = weight, reason

        for known in self.known.get(quantity, ()):
            if known.position.key == own.key:
                continue
            weight, reason = likeness(own, role, known)
            if weight:
                add(known.value, weight, reason)
        for index, value in enumerate(usual.choices):
            add(value, TRADE / (1 + index), f"usual for a {role}")
        most = max(habits.values(), default=0.0)
        for value, habit in habits.items():
            weights[value] += habit * min(1.0, MOST_HABIT / most)
        ranked = sorted(weights, key=lambda value: (-weights[value], value))
        return tuple(Choice(value, weights[value], best[value][1]) for value in ranked)


def likeness(own: Position, role: str, known: Known) -> tuple[float, str]:
    """Return how much a known value says about a position, and the chief reason."""
    other = known.position
    same_role = known.role == role or {known.role, role} == _SUPPLY_ROLES
    if own.rails == other.rails and _at_twin_pin(own, other):
        weight, reason = TWIN_PIN, f"as {other.key} has at the same pin of a like chip"
        return weight if same_role else weight * LESS, reason
    if own.signals and own.signals == other.signals and own.rails == other.rails:
        weight, reason = SAME_NETS, f"as {other.key} has beside it"
        return weight if same_role else weight * LESS, reason
    sisters = _sisters(own, other)
    if not same_role:
        if sisters:
            return SISTER_LINE * LESS, f"as {other.key} has on the sister line"
        return (OTHER_ROLE, f"as {other.key} has") if _related(role, known.role) else (0.0, "")
    weight, reason = SAME_ROLE, f"as the {known.role} {other.key} has"
    if sisters:
        weight, reason = SISTER_LINE, f"as {other.key} has on the sister line"
    elif own.buses & other.buses:
        weight, reason = SAME_BUS, f"as {other.key} has on the same bus"
        if own.rails != other.rails:
            weight *= OTHER_SUPPLY
    else:
        if set(own.rails) & set(other.rails):
            shared = [net for net in own.rails if net in other.rails]
            if len(shared) == len(own.rails):
                weight, reason = weight + SAME_RAIL, f"as {other.key} has at {', '.join(shared)}"
        if own.chips & other.chips:
            weight += SAME_CHIP
            reason = f"as {other.key} has at {min(own.chips & other.chips)}"
    if own.size is not None and other.size is not None and role in _SIZED:
        weight *= SAME_SIZE if own.size == other.size else OTHER_SIZE
    return weight, reason


#: Which of the two words it is depends on the value alone.
_SUPPLY_ROLES: Final = {"decoupling", "bulk capacitor"}
#: Roles whose value goes with the size of the part.
_SIZED: Final = frozenset({"decoupling", "bulk capacitor", "filter capacitor", "AC coupling"})
_FAMILIES: Final = (
    frozenset({"decoupling", "bulk capacitor", "filter capacitor"}),
    frozenset({"pull-up", "pull-down"}),
    frozenset({"series resistor", "termination", "zero-ohm link", "filter resistor"}),
    frozenset({"feedback divider (upper)", "feedback divider (lower)", "divider (upper)",
               "divider (lower)", "set resistor"}),
)  # fmt: skip


def _at_twin_pin(own: Position, other: Position) -> bool:
    """Return whether both stand at the same pin of two chips of one value."""
    return any(other.pins.get(pin, chip) != chip for pin, chip in own.pins.items())


def _related(first: str, second: str) -> bool:
    return any(first in family and second in family for family in _FAMILIES)


def _sisters(own: Position, other: Position) -> bool:
    """Return whether the lines are sisters: their names differ by an index, or are a pair.

    The lines of a pair at one chip are sisters even where the far ends differ, as at a shunt.
    """
    if own.chips & other.chips and any(are_pair(a, b) for a in own.signals for b in other.signals):
        return True
    if own.rails != other.rails:
        return False
    if len(own.signals) != len(other.signals) or not own.signals:
        return False
    for net, stem in own.stems:
        for beside, same in other.stems:
            if stem == same and net != beside:
                return True
    return any(are_pair(a, b) for a in own.signals for b in other.signals)


_INDEX: Final = re.compile(r"\d+")
#: Words of sister lines, and the one that stands for both.
_TWIN_WORDS: Final = (("SDA", "SCL"), ("DATA", "CLK"), ("TX", "RX"), ("LEFT", "RIGHT"))


def _stem(net: str) -> str | None:
    """Return the name of a line without its index; None where nobody named it."""
    words = words_of(net)
    if not words:
        return None
    stem = _INDEX.sub("#", words)
    for word, other in _TWIN_WORDS:
        if word in stem:
            return stem.replace(word, other)
    return stem if "#" in stem else None


def look_at(circuit: Circuit, part: Part) -> Position:
    """Return what can be compared of a part's position."""
    rails, board, kinds = circuit.rails, circuit.board, circuit.kinds
    signals = tuple(net for net in part.nets if net not in rails)
    chips: set[str] = set()
    pins: dict[tuple[str, str], str] = {}
    for net in signals:
        for pin in board.net_by_name[net].pins:
            if kinds[pin.part].kind in CHIPS:
                chips.add(pin.part)
                value = board.part_by_key[pin.part].value
                if value:
                    pins[value, pin.number] = pin.part
    buses = frozenset(
        index
        for index, bus in enumerate(circuit.buses)
        if any(net in line.nets or net == line.net for line in bus.lines for net in signals)
    )
    kind = kinds[part.key]
    size: str | float | None = kind.size_inch
    if size is None:
        gap = circuit.survey.pad_distance_mm(part)
        size = round(gap, 1) if gap is not None else None
    stems = tuple((net, stem) for net in signals if (stem := _stem(net)) is not None)
    fixed = tuple(sorted(net for net in part.nets if net in rails))
    return Position(part.key, signals, stems, fixed, frozenset(chips), pins, buses, size)


def figure_of(circuit: Circuit, key: str) -> tuple[str, float] | None:
    """Return quantity and value of a resistor, capacitor or inductor that has one."""
    kind = circuit.kinds[key]
    quantity = QUANTITY_OF.get(kind.kind)
    if quantity is None:
        return None
    value = {"ohms": kind.ohms, "farads": kind.farads, "henries": kind.henries}[quantity]
    return (quantity, value) if value is not None else None


def build_bank(circuit: Circuit) -> ValueBank:
    """Return the known values of a board with the roles they have."""
    known: dict[str, list[Known]] = {}
    for part in circuit.board.parts:
        figure = figure_of(circuit, part.key)
        if figure is None:
            continue
        quantity, value = figure
        role = circuit.roles(part.key)[0].role
        known.setdefault(quantity, []).append(Known(look_at(circuit, part), role, value))
    return ValueBank({quantity: tuple(found) for quantity, found in known.items()})
