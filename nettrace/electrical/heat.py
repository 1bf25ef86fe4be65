"""Power in each resistor with the rails up, against what its size or its maker allows.

Two figures: with nothing driving the nets, and the most that any chip on them can make of it by
pulling a net to ground or to a rail. Only a resistor that no chip can drive has one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from nettrace.circuit.kinds import Kind
from nettrace.values.sizes import chip_size

if TYPE_CHECKING:
    from nettrace.circuit.evidence import PartKind
    from nettrace.electrical.elements import Element
    from nettrace.electrical.readings import Bench

__all__ = ["Heat", "heat_of", "heats"]

HeatState = Literal["within", "may be over", "over", "rating not known"]

#: Most that a signal pin of a chip drives, A (common practice, no source).
PIN_AMPERES: Final = 0.05

#: Roles whose current a load or a measuring input decides, not a chip that drives the net.
_UNDRIVEN: Final = frozenset({"current shunt", "filter resistor", "series resistor", "termination"})
#: Power below this is the noise of the computation, W.
_NOTHING: Final = 1e-12

_HEATED: Final = frozenset({Kind.RESISTOR, Kind.RESISTOR_ARRAY, Kind.THERMISTOR})


@dataclass(frozen=True, slots=True)
class Heat:
    """Power in one resistor, W; an array's hottest element.

    Attributes:
        part: key.
        watts: with the rails up and nothing driven; None where the rails do not settle it.
        at_most: with the worst that a chip on its nets can do; None where that is not known.
        rated_watts: what it may take at 70 °C, None where neither source nor size says.
        rated_by: where the rating is from, in words, "".
        state: "over" where even the quiet board overloads it.
    """

    part: str
    watts: float | None
    at_most: float | None
    rated_watts: float | None
    rated_by: str
    state: HeatState

    @property
    def share(self) -> float:
        """The greater power as a share of the rating; 0 where one of them is not known."""
        power = max(self.watts or 0.0, self.at_most or 0.0)
        return power / self.rated_watts if self.rated_watts else 0.0


def heats(bench: Bench) -> tuple[Heat, ...]:
    """Return every resistor above 0 Ω with a known power, the nearest to its rating first."""
    found = []
    for part in bench.circuit.board.parts:
        heat = heat_of(bench, part.key)
        if heat is not None and (heat.watts is not None or heat.at_most is not None):
            found.append(heat)
    return tuple(sorted(found, key=lambda heat: (-heat.share, -(heat.at_most or 0.0))))


def heat_of(bench: Bench, part: str) -> Heat | None:
    """Return the power in a part, None where it is no resistor above 0 Ω."""
    kind = bench.circuit.kinds[part]
    if kind.kind not in _HEATED:
        return None
    elements = [e for e in bench.resistances_of(part) if e.ohms > 0]
    if not elements:
        return None
    quiet = [w for e in elements if (w := _quiet(bench, e)) is not None]
    driven = bench.circuit.roles(part)[0].role not in _UNDRIVEN
    worst = [w for e in elements if driven and (w := _worst(bench, e)) is not None]
    watts = max(quiet, default=None)
    at_most = max((*worst, *quiet)) if worst else None
    rated, by = _rating(kind)
    return Heat(part, watts, at_most, rated, by, _state(watts, at_most, rated))


def _quiet(bench: Bench, element: Element) -> float | None:
    volts = bench.node_volts
    if element.a not in volts or element.b not in volts:
        return None
    watts = (volts[element.a] - volts[element.b]) ** 2 / element.ohms
    return watts if watts > _NOTHING else 0.0


def _worst(bench: Bench, element: Element) -> float | None:
    """Return the power if a chip takes the net behind a resistor to the end of what it can reach.

    None for a resistor in series between two signals, and for one so small that the current of
    what it feeds decides.
    """
    if element.a not in bench.fixed and element.b not in bench.fixed:
        return None
    spans = [_span(bench, net) for net in (element.a, element.b)]
    if None in spans:
        return None
    (low, high), (other_low, other_high) = (span for span in spans if span is not None)
    drop = max(abs(high - other_low), abs(other_high - low))
    return drop**2 / element.ohms if drop / element.ohms <= PIN_AMPERES else None


def _span(bench: Bench, net: str) -> tuple[float, float] | None:
    """Return the lowest and highest volts of a net; one figure where nothing can drive it."""
    if net in bench.fixed:
        return bench.fixed[net], bench.fixed[net]
    quiet = bench.node_volts.get(net)
    reached = {volts for volts in (quiet,) if volts is not None}
    drivers = bench.drivers_of(net)
    for part in drivers:
        for other in bench.circuit.board.part_by_key[part].nets:
            if other in bench.fixed:
                reached.add(bench.fixed[other])
    if not reached or (drivers and len(reached) < 2):
        return None
    return min(reached), max(reached)


def _rating(kind: PartKind) -> tuple[float | None, str]:
    if kind.rated_watts is not None:
        return kind.rated_watts, "stated by the source"
    size = chip_size(kind.size_inch) if kind.size_inch else None
    if size is not None and size.watts is not None and kind.kind is Kind.RESISTOR:
        return size.watts, f"size {size.inch}, at 70 °C ({size.source})"
    return None, ""


def _state(watts: float | None, at_most: float | None, rated: float | None) -> HeatState:
    if rated is None:
        return "rating not known"
    if watts is not None and watts > rated:
        return "over"
    if at_most is not None and at_most > rated:
        return "may be over"
    return "within"
