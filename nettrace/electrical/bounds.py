"""What an ohms reading between two nets can be: an exact figure, or honest bounds with reasons.

Chips, diodes and transistors are unknown passive paths. By Rayleigh's monotonicity law a further
path can only lower a resistance, and joining nodes can only lower it too: so the network without
them gives the upper bound, and the network with their pins joined gives the lower one. Where both
agree nothing unknown matters and the figure is exact.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Final

from nettrace.electrical.elements import Elements, elements_of
from nettrace.electrical.meter import OHMS, Accuracy, resolution, uncertainty

if TYPE_CHECKING:
    from nettrace.circuit.circuit import Circuit
    from nettrace.electrical.network import Network

__all__ = ["OhmsBounds", "PowerOff"]

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
