"""A board with power off as a meter's current meets it, and what an ohms reading there can be.

Power is off, nothing is plugged in, no button pressed. A capacitor passes no direct current (the
reading drifts up while it charges). Chips, diodes and transistors are paths that nobody knows. By
Rayleigh's monotonicity law a further path can only lower a resistance, and joining nodes can only
lower it too: so the network without them gives the upper bound, and the network with their pins
joined gives the lower one. Where both agree nothing unknown matters and the figure is exact.
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
from nettrace.circuit.links import pairs_of, two_nets
from nettrace.electrical.meter import meter_error
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
#: Above this a ceramic capacitor of no stated dielectric is class 2 (common practice, no source).
CLASS_1_FARADS: Final = 1e-9
CLASS_1: Final = frozenset({"C0G", "NP0", "COG", "U2J"})
#: A class 2 ceramic may read this far below nominal in health (ageing about 2.5 % per decade-hour
#: by makers' notes; the margin is common practice, no source).
CLASS_2_DROP: Final = 0.30
#: Bounds this close (as a fraction) are one figure.
SAME: Final = 1e-9

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
class Resistance:
    """A resistance of a part between two nets with its bounds, Ω."""

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

    resistances: tuple[Resistance, ...]
    unknown: tuple[tuple[str, tuple[str, ...]], ...]
    capacitors: tuple[Capacitor, ...]

    def network(self, bound: str = "ohms") -> Network:
        """Return the network at nominal (`ohms`), lowest (`at_least`) or highest (`at_most`)."""
        return Network(
            tuple(Resistor(r.part, r.a, r.b, getattr(r, bound)) for r in self.resistances)
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

    Raises:
        ValueError: a changed part is not between two nets.
    """
    resistances: list[Resistance] = []
    unknown: list[tuple[str, tuple[str, ...]]] = []
    capacitors: list[Capacitor] = []
    for part in circuit.board.parts:
        kind = circuit.kinds[part.key]
        if part.key in without:
            continue
        nets = two_nets(part)
        if part.key in changes:
            if nets is None:
                raise ValueError(f"{part.refdes} is not between two nets")
            ohms = changes[part.key]
            resistances.append(Resistance(part.key, *nets, ohms, *_within(ohms, kind)))
        elif not kind.fitted:
            continue
        elif kind.kind is Kind.CAPACITOR:
            if nets is not None and kind.farads is not None:
                class_2 = not is_class_1(kind.dielectric, kind.farads)
                capacitors.append(Capacitor(part.key, *nets, kind.farads, kind.tolerance, class_2))
        elif own := _resistances(part, kind):
            resistances.extend(own)
        elif kind.kind not in _OPEN and len(part.nets) > 1:
            unknown.append((part.key, part.nets))
    return Elements(tuple(resistances), tuple(unknown), tuple(capacitors))


def is_class_1(dielectric: str | None, farads: float) -> bool:
    """Return whether a ceramic capacitor keeps its value: by its dielectric, else by its size."""
    return dielectric.upper() in CLASS_1 if dielectric else farads <= CLASS_1_FARADS


def _within(ohms: float, kind: PartKind) -> tuple[float, float]:
    tolerance = UNSTATED_TOLERANCE if kind.tolerance is None else kind.tolerance
    return ohms * (1 - tolerance), ohms * (1 + tolerance)


def _resistances(part: Part, kind: PartKind) -> list[Resistance]:
    if kind.kind in _OPEN:
        return []
    found = []
    for pair in pairs_of(part, kind):
        first, second = pair.first.net, pair.second.net
        if first is None or second is None or pair.conditional:
            return []
        ohms = pair.ohms or 0.0
        if kind.kind in {Kind.RESISTOR, Kind.RESISTOR_ARRAY} and pair.ohms is not None:
            low, high = _within(ohms, kind) if ohms else (0.0, LINK_OHMS)
        elif kind.kind is Kind.THERMISTOR and ohms:
            low, high = (ohms * factor for factor in THERMISTOR_FACTORS)
        elif kind.kind in _WINDINGS:
            low, high = ohms, max(WINDING_OHMS, 2 * ohms)
        elif kind.kind is Kind.JUMPER:
            low, high = 0.0, LINK_OHMS
        else:
            return []
        found.append(Resistance(part.key, first, second, ohms, low, high))
    return found


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

    def shown_at_most(self) -> float:
        """Return `at_most` widened by the meter's error, Ω."""
        return self.at_most + meter_error(self.at_most)

    def shown_at_least(self) -> float:
        """Return `at_least` widened by the meter's error, Ω, not below 0."""
        return max(0.0, self.at_least - meter_error(self.at_least))


def is_exact(nominal: float, joined: float, within: float = SAME) -> bool:
    """Return whether joining all unknown paths leaves a resistance as it is (a fraction within)."""
    if math.isinf(nominal):
        return math.isinf(joined)
    return abs(joined - nominal) <= within * max(nominal, 1.0)


@dataclass(frozen=True)
class PowerOff:
    """A board with power off, as a meter meets it; what was solved is kept between questions.

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
    def _bounding(self) -> tuple[Network, Network, Network]:
        """Known parts at their highest; at their lowest, unknown pins joined; nominal, joined."""
        pins = [nets for _, nets in self.elements.unknown]
        network = self.elements.network
        return network("at_most"), network("at_least").joined(pins), self.nominal.joined(pins)

    def ohms(self, a: str, b: str) -> OhmsBounds:
        """Return what a meter may show between two nets."""
        nominal = self.nominal.resistance(a, b)
        at_most, at_least, joined = (network.resistance(a, b) for network in self._bounding)
        exact = is_exact(nominal, joined)
        return OhmsBounds(nominal, at_most, at_least, exact, () if exact else self._unknown(a, b))

    def _unknown(self, a: str, b: str) -> tuple[str, ...]:
        """Return the unknown parts at the end that fewer of them touch: a path must pass there."""
        sides: list[list[str]] = []
        for end in (a, b):
            near = self.nominal.around(end)
            touching = [(p, nets) for p, nets in self.elements.unknown if near & set(nets)]
            one = self.nominal.same_node
            direct = [p for p, nets in touching if any(one(end, net) for net in nets)]
            sides.append(direct or [p for p, _ in touching])
        first, second = sides
        return tuple(first if len(first) <= len(second) else second)

    def farads(self, a: str, b: str) -> tuple[float, tuple[str, ...], bool]:
        """Return the capacitance right between two nets: F, the parts, whether any is class 2.

        Links of 0 Ω make nets one; capacitors in series elsewhere are not counted.
        """
        one = self.nominal.same_node
        found = [
            item
            for item in self.elements.capacitors
            if ((one(item.a, a) and one(item.b, b)) or (one(item.a, b) and one(item.b, a)))
            and not one(item.a, item.b)
        ]
        total = sum((item.farads for item in found), 0.0)
        return total, tuple(item.part for item in found), any(item.class_2 for item in found)
