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
from nettrace.values.series import SAME

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
SISTER_LINE: Final = 12.0
TWIN_PIN: Final = 14.0
SAME_SIZE: Final = 1.0
OTHER_ROLE: Final = 0.15
TRADE: Final = 0.6


@dataclass(frozen=True, slots=True)
class Usual:
    """What is usual for a role: range, and values with the most common first (no source)."""

    at_least: float
    at_most: float
    choices: tuple[float, ...]


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

    `pins` are (chip value, pin number) on its signal nets, `stems` the signal nets' names with
    indexes left out, `rails` its rails and grounds, `buses` numbers of the board's buses.
    """

    key: str
    signals: tuple[str, ...]
    stems: tuple[str, ...]
    rails: tuple[str, ...]
    chips: frozenset[str]
    pins: frozenset[tuple[str, str]]
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
        best: dict[float, tuple[float, str]] = {}

        def add(value: float, weight: float, reason: str) -> None:
            same = next((v for v in weights if abs(v - value) <= SAME * max(v, value)), value)
            weights[same] = weights.get(same, 0.0) + weight
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
        ranked = sorted(weights, key=lambda value: (-weights[value], value))
        return tuple(Choice(value, weights[value], best[value][1]) for value in ranked)


def likeness(own: Position, role: str, known: Known) -> tuple[float, str]:
    """Return how much a known value says about a position, and the chief reason."""
    other = known.position
    if known.role != role:
        return (OTHER_ROLE, f"as {other.key} has") if _related(role, known.role) else (0.0, "")
    weight, reason = SAME_ROLE, f"as the {role} {other.key} has"
    if own.pins & other.pins and own.rails == other.rails:
        return TWIN_PIN, f"as {other.key} has at the same pin of a like chip"
    if _sisters(own, other):
        weight, reason = SISTER_LINE, f"as {other.key} has on the sister line"
    elif own.buses & other.buses:
        weight, reason = SAME_BUS, f"as {other.key} has on the same bus"
    else:
        if set(own.rails) & set(other.rails):
            shared = [net for net in own.rails if net in other.rails]
            if len(shared) == len(own.rails):
                weight, reason = weight + SAME_RAIL, f"as {other.key} has at {', '.join(shared)}"
        if own.chips & other.chips:
            weight += SAME_CHIP
            reason = f"as {other.key} has at {min(own.chips & other.chips)}"
    if own.size is not None and own.size == other.size:
        weight *= 1 + SAME_SIZE
    return weight, reason


_FAMILIES: Final = (
    frozenset({"decoupling", "bulk capacitor", "filter capacitor"}),
    frozenset({"pull-up", "pull-down"}),
    frozenset({"series resistor", "termination", "zero-ohm link", "filter resistor"}),
    frozenset({"feedback divider (upper)", "feedback divider (lower)", "divider (upper)",
               "divider (lower)", "set resistor"}),
)  # fmt: skip


def _related(first: str, second: str) -> bool:
    return any(first in family and second in family for family in _FAMILIES)


def _sisters(own: Position, other: Position) -> bool:
    """Return whether the lines are sisters: their names differ by an index, or are a pair."""
    if own.rails != other.rails:
        return False
    if len(own.signals) != len(other.signals) or not own.signals:
        return False
    if any(stem in other.stems for stem in own.stems):
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
    if "#" in stem:
        return stem
    for word, other in _TWIN_WORDS:
        if word in stem:
            return stem.replace(word, other)
    return f"{stem} alone"


def look_at(circuit: Circuit, part: Part) -> Position:
    """Return what can be compared of a part's position."""
    rails, board, kinds = circuit.rails, circuit.board, circuit.kinds
    signals = tuple(net for net in part.nets if net not in rails)
    chips: set[str] = set()
    pins: set[tuple[str, str]] = set()
    for net in signals:
        for pin in board.net_by_name[net].pins:
            if kinds[pin.part].kind in CHIPS:
                chips.add(pin.part)
                value = board.part_by_key[pin.part].value
                if value:
                    pins.add((value, pin.number))
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
    stems = tuple(stem for net in signals if (stem := _stem(net)) is not None)
    fixed = tuple(sorted(net for net in part.nets if net in rails))
    return Position(part.key, signals, stems, fixed, frozenset(chips), frozenset(pins), buses, size)


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
