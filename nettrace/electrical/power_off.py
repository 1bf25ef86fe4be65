"""The parts of a board as a meter's current meets them: resistances with bounds, unknown paths.

Power is off, nothing is plugged in, no button pressed. A capacitor passes no direct current (the
reading drifts up while it charges). Chips, diodes and transistors are paths that nobody knows:
they can only lower a reading.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from nettrace.circuit.evidence import PartKind
from nettrace.circuit.kinds import Kind
from nettrace.circuit.series import pairs_of, two_nets
from nettrace.electrical.meter import OHMS, Accuracy, resolution, uncertainty
from nettrace.electrical.network import Network, Resistor

if TYPE_CHECKING:
    from nettrace.circuit.circuit import Circuit
    from nettrace.model.board import Part


#: Where nothing states a resistor's tolerance (common practice, no source).
UNSTATED_TOLERANCE: Final = 0.05
#: A thermistor is measured somewhere between 15 and 35 °C: a beta of 3380 K gives these factors.
THERMISTOR_FACTORS: Final = (0.69, 1.49)
#: Most that a link or a winding of no stated resistance adds, Ω: 50 mΩ for links (chip resistor
#: data sheets), 1 Ω for beads, inductors, chokes and fuses (common practice, no source).
LINK_OHMS: Final = 0.05
WINDING_OHMS: Final = 1.0

#: Kinds that pass no direct current with power off and nothing plugged in or pressed.
_OPEN: Final = frozenset(
    {
        Kind.CAPACITOR, Kind.CRYSTAL, Kind.CONNECTOR, Kind.TEST_POINT, Kind.SWITCH, Kind.BATTERY,
        Kind.MECHANICAL, Kind.ANTENNA, Kind.VARISTOR, Kind.SOURCE,
    }
)  # fmt: skip
_WINDINGS: Final = frozenset(
    {Kind.FERRITE, Kind.INDUCTOR, Kind.FUSE, Kind.COMMON_MODE_CHOKE, Kind.FILTER}
)


@dataclass(frozen=True, slots=True)
class Element:
    """A resistance between two nets with its bounds, Ω."""

    part: str
    a: str
    b: str
    ohms: float
    at_least: float
    at_most: float


@dataclass(frozen=True, slots=True)
class Capacitor:
    """A capacitance between two nets, F; `class_2` where its value falls with voltage and age."""

    part: str
    a: str
    b: str
    farads: float
    tolerance: float | None
    class_2: bool


@dataclass(frozen=True, slots=True)
class Elements:
    """What a board's parts are to a meter.

    `unknown` maps a part to the nets between which it may conduct, in natural order of the board.
    """

    resistances: tuple[Element, ...]
    unknown: tuple[tuple[str, tuple[str, ...]], ...]
    capacitors: tuple[Capacitor, ...]

    def network(self, bound: str = "ohms") -> Network:
        """Return the network at nominal (`ohms`), lowest (`at_least`) or highest (`at_most`)."""
        return Network(
            tuple(
                Resistor(element.part, element.a, element.b, getattr(element, bound))
                for element in self.resistances
            )
        )


def elements_of(
    circuit: Circuit,
    without: Collection[str] = (),
    changes: Mapping[str, float] = MappingProxyType({}),
) -> Elements:
    """Return the elements of every fitted part, but those of the part keys in `without`.

    Args:
        circuit: the board.
        without: keys of parts that are not on it.
        changes: key of a part with two nets -> the resistance it has instead, Ω; 0 is a short.
    """
    resistances: list[Element] = []
    unknown: list[tuple[str, tuple[str, ...]]] = []
    capacitors: list[Capacitor] = []
    for part in circuit.board.parts:
        kind = circuit.kinds[part.key]
        if part.key in without:
            continue
        if part.key in changes:
            resistances.append(_changed(part, kind, changes[part.key]))
            continue
        if not kind.fitted:
            continue
        if kind.kind is Kind.CAPACITOR:
            found = _capacitor(part, kind)
            if found is not None:
                capacitors.append(found)
            continue
        own = _resistances(part, kind)
        if own:
            resistances.extend(own)
        elif kind.kind not in _OPEN and len(part.nets) > 1:
            unknown.append((part.key, part.nets))
    return Elements(tuple(resistances), tuple(unknown), tuple(capacitors))


def _changed(part: Part, kind: PartKind, ohms: float) -> Element:
    nets = two_nets(part)
    if nets is None:
        raise ValueError(f"{part.refdes} is not between two nets")
    tolerance = UNSTATED_TOLERANCE if kind.tolerance is None else kind.tolerance
    return Element(part.key, *nets, ohms, ohms * (1 - tolerance), ohms * (1 + tolerance))


def _resistances(part: Part, kind: PartKind) -> list[Element]:
    if kind.kind in _OPEN:
        return []
    found = []
    for pair in pairs_of(part, kind):
        first, second = pair.first.net, pair.second.net
        if first is None or second is None or pair.conditional:
            return []
        if kind.kind is Kind.RESISTOR or kind.kind is Kind.RESISTOR_ARRAY:
            if pair.ohms is None:
                return []
            tolerance = UNSTATED_TOLERANCE if kind.tolerance is None else kind.tolerance
            low, high = pair.ohms * (1 - tolerance), pair.ohms * (1 + tolerance)
            if pair.ohms == 0:
                high = LINK_OHMS
        elif kind.kind is Kind.THERMISTOR:
            if not pair.ohms:
                return []
            low, high = (pair.ohms * factor for factor in THERMISTOR_FACTORS)
        elif kind.kind in _WINDINGS:
            low, high = pair.ohms or 0.0, max(WINDING_OHMS, 2 * (pair.ohms or 0.0))
        elif kind.kind is Kind.JUMPER:
            low, high = 0.0, LINK_OHMS
        else:
            return []
        found.append(Element(part.key, first, second, pair.ohms or 0.0, low, high))
    return found


def _capacitor(part: Part, kind: PartKind) -> Capacitor | None:
    nets = two_nets(part)
    if nets is None or kind.farads is None:
        return None
    dielectric = (kind.dielectric or "").upper()
    class_2 = dielectric not in {"C0G", "NP0", "U2J", "COG"} and (
        bool(dielectric) or kind.farads > CLASS_1_FARADS
    )
    return Capacitor(part.key, *nets, kind.farads, kind.tolerance, class_2)


#: Above this a ceramic capacitor of no stated dielectric is class 2 (common practice, no source).
CLASS_1_FARADS: Final = 1e-9


# -- What an ohms reading between two nets can be: an exact figure, or honest bounds with reaso


#: Bounds this close (as a fraction) are one figure.
SAME: Final = 1e-9


@dataclass(frozen=True, slots=True)
class OhmsBounds:
    """What a meter may show between two nets, power off.

    Attributes:
        nominal: the network of known parts at their nominal values, Ω; infinite: no known path.
        at_most: with tolerances; above that plus the meter's error a fault is proved. Infinite
            where no known path joins the nets.
        at_least: with tolerances and every unknown path joined through.
        exact: nothing unknown can lower the reading.
        unknown: parts whose unknown paths may lower it (at the end with fewer), board's order.
    """

    nominal: float
    at_most: float
    at_least: float
    exact: bool
    unknown: tuple[str, ...]

    def shown_at_most(self, accuracy: Accuracy = OHMS) -> float:
        """Return `at_most` widened by the meter's error, Ω."""
        return self.at_most + meter_error(self.at_most, accuracy)

    def shown_at_least(self, accuracy: Accuracy = OHMS) -> float:
        """Return `at_least` widened by the meter's error, Ω, not below 0."""
        return max(0.0, self.at_least - meter_error(self.at_least, accuracy))


def meter_error(ohms: float, accuracy: Accuracy = OHMS) -> float:
    """Return the error of a meter at a reading, Ω; 0 at infinity (it shows overload)."""
    if math.isinf(ohms):
        return 0.0
    step = resolution(ohms, accuracy.full_scale_counts)
    return uncertainty(ohms, accuracy.fraction, accuracy.counts, step)


@dataclass(frozen=True)
class PowerOff:
    """A board with power off, as a meter meets it; factors are kept between questions.

    Args:
        circuit: the board.
        without: part keys that are not on it.
        changes: part key -> resistance it has instead, Ω (see `elements_of`).
    """

    circuit: Circuit
    without: frozenset[str] = frozenset()
    changes: Mapping[str, float] = field(default_factory=dict)

    @cached_property
    def elements(self) -> Elements:
        """The parts as resistances, unknown paths and capacitors."""
        return elements_of(self.circuit, self.without, self.changes)

    @cached_property
    def nominal(self) -> Network:
        """Known parts at nominal values."""
        return self.elements.network()

    @cached_property
    def highest(self) -> Network:
        """Known parts at the top of their tolerance."""
        return self.elements.network("at_most")

    @cached_property
    def lowest(self) -> Network:
        """Known parts at the bottom of their tolerance, every unknown part's pins joined."""
        groups = [nets for _, nets in self.elements.unknown]
        return self.elements.network("at_least").joined(groups)

    @cached_property
    def joined(self) -> Network:
        """Known parts at nominal values, every unknown part's pins joined."""
        return self.nominal.joined([nets for _, nets in self.elements.unknown])

    def ohms(self, a: str, b: str) -> OhmsBounds:
        """Return what a meter may show between two nets."""
        nominal = self.nominal.resistance(a, b)
        at_most = self.highest.resistance(a, b)
        at_least = self.lowest.resistance(a, b)
        joined = self.joined.resistance(a, b)
        if math.isinf(nominal):
            exact = math.isinf(joined)
        else:
            exact = abs(joined - nominal) <= SAME * max(nominal, 1.0)
        unknown = () if exact else self._unknown(a, b)
        return OhmsBounds(nominal, at_most, at_least, exact, unknown)

    def without_parts(self, parts: Collection[str]) -> PowerOff:
        """Return the same board with further parts gone."""
        return PowerOff(self.circuit, self.without | frozenset(parts), self.changes)

    def _unknown(self, a: str, b: str) -> tuple[str, ...]:
        """Return the unknown parts at the end that fewer of them touch: a path must pass there."""
        sides: list[list[str]] = []
        for end in (a, b):
            near = self.nominal.connected_nodes(end)
            touching = [(p, nets) for p, nets in self.elements.unknown if near & set(nets)]
            direct = [p for p, nets in touching if any(self._one(end, net) for net in nets)]
            sides.append(direct or [p for p, _ in touching])
        first, second = sides
        return tuple(first if len(first) <= len(second) else second)

    def farads(self, a: str, b: str) -> tuple[float, tuple[str, ...], bool]:
        """Return the capacitance right between two nets: F, the parts, whether any is class 2.

        Links of 0 Ω make nets one; capacitors in series elsewhere are not counted.
        """
        total = 0.0
        parts: list[str] = []
        class_2 = False
        for item in self.elements.capacitors:
            first, second = item.a, item.b
            straight = self._one(first, a) and self._one(second, b)
            turned = self._one(first, b) and self._one(second, a)
            if (straight or turned) and not self._one(first, second):
                total += item.farads
                parts.append(item.part)
                class_2 = class_2 or item.class_2
        return total, tuple(parts), class_2

    def _one(self, first: str, second: str) -> bool:
        return self.nominal.same_node(first, second)
