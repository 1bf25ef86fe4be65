"""Which loose part goes where: what the meter and the ruler say, set against the bare positions.

Each pair of loose part and position is compatible or not, with reasons; the assignment with the
least total cost is found over all of them. An answer is certain only where one position fits,
interchangeable where every position that fits takes equal parts, and open otherwise: then the
measurement that would decide is named.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from nettrace.bench.job import Loose
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import PartKind
from nettrace.circuit.kinds import Kind
from nettrace.electrical.power_off import CLASS_2_DROP
from nettrace.knowledge import table
from nettrace.model.board import Part
from nettrace.values.quantity import engineering, percent
from nettrace.values.sizes import CHIP_SIZES, inch_size

_RULES: Final = table("matching")
_FIGURES: Final = _RULES["figures"]
_COSTS: Final = _RULES["costs"]
#: Kinds whose value the circuit may propose a range of.
_PROPOSED: Final = frozenset({Kind.RESISTOR, Kind.CAPACITOR})


class Certainty(StrEnum):
    """How sure a match is."""

    CERTAIN = "certain"  # only one position fits
    INTERCHANGEABLE = "interchangeable"  # the positions that fit take equal parts
    OPEN = "open"  # several different positions fit
    NONE = "no position fits"


@dataclass(frozen=True, slots=True)
class BareSite:
    """A bare position and what belongs there; `range_ohms` where only a proposal is known."""

    refdes: str
    kind: Kind
    values: PartKind
    size: str | None
    proposed: tuple[float, float] | None = None
    proposed_quantity: str = ""

    @property
    def spec(self) -> tuple[object, ...]:
        """What an equal part must share."""
        v = self.values
        return (self.kind, v.ohms, v.farads, v.henries, v.tolerance, v.rated_volts, self.size)

    def words(self) -> str:
        """Return what belongs there, for people."""
        v = self.values
        figures = [engineering(*v.figure)] if v.figure is not None else []
        if v.tolerance is not None and figures and v.ohms != 0:
            figures.append(f"±{percent(v.tolerance)}")
        return " ".join([*figures, str(self.kind), *([self.size] if self.size else [])])


@dataclass(frozen=True, slots=True)
class Candidate:
    """A position that a loose part fits, with its cost (0 is a perfect fit) and reasons."""

    refdes: str
    cost: float
    because: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LooseMatch:
    """The answer for one loose part, by its name."""

    loose: str
    certainty: Certainty
    assigned: str | None  # the position in the least-cost assignment; None where it gets none
    candidates: tuple[Candidate, ...]  # positions that fit, best first
    decide: str  # the measurement that would decide, "" where nothing is open
    advice: str  # whether it may go back, in a technician's words
    reusable: bool  # False where a new part must be fitted


def part_size(part: Part, values: PartKind) -> str | None:
    """Return a part's size code in inches: as stated, else by its package."""
    return values.size_inch or (inch_size(part.package) if part.package else None)


def sites_of(circuit: Circuit, positions: Sequence[str]) -> tuple[BareSite, ...]:
    """Return what belongs at each position (part keys), from the board, else from proposals."""
    found = []
    for key in positions:
        part, values = circuit.board.part_by_key[key], circuit.kinds[key]
        ranges = []
        if values.kind in _PROPOSED and all(getattr(values, name) is None for name in _FIGURES):
            ranges = [
                ((proposal.at_least, proposal.at_most), proposal.quantity)
                for proposal in circuit.proposals(key)
                if proposal.at_least is not None and proposal.at_most is not None
            ]
        size = part_size(part, values)
        likely, quantity = ranges[0] if ranges else (None, "")
        found.append(BareSite(part.refdes, values.kind, values, size, likely, quantity))
    return tuple(found)


def match_loose(sites: Sequence[BareSite], loose: Sequence[Loose]) -> tuple[LooseMatch, ...]:
    """Match loose parts to positions; one answer a loose part, in the order given.

    Method: minimum-cost assignment (scipy `linear_sum_assignment`) where leaving a part out costs
    more than any fit, so as many as can be are placed.
    """
    fits = {
        item.name: sorted(
            (each for site in sites if (each := _candidate(site, item)) is not None),
            key=lambda candidate: candidate.cost,
        )
        for item in loose
    }
    assigned = _assign(sites, fits)
    by_refdes = {site.refdes: site for site in sites}
    found = []
    for item in loose:
        candidates = fits[item.name]
        fitting = [by_refdes[candidate.refdes] for candidate in candidates]
        figures = (item.ohms, item.farads, item.henries, item.diode_volts)
        measured = any(figure is not None for figure in figures)
        certainty = Certainty.OPEN
        if not fitting:
            certainty = Certainty.NONE
        elif len(fitting) == 1 and measured:
            certainty = Certainty.CERTAIN
        elif len({site.spec for site in fitting}) == 1 and measured:
            certainty = Certainty.INTERCHANGEABLE
        what = _RULES["decide"][_decide(item, fitting)] if certainty is Certainty.OPEN else ""
        advice = _advice(item, {site.kind for site in fitting})
        match = LooseMatch(
            item.name, certainty, assigned.get(item.name), tuple(candidates), what,
            _RULES["advice"][advice], reusable=advice == "resistor",
        )  # fmt: skip
        found.append(match)
    return tuple(found)


def _candidate(site: BareSite, item: Loose) -> Candidate | None:
    """Return the position with its cost and reasons, None where the part cannot belong there."""
    if item.looks is not None and item.looks != site.kind:
        return None
    if item.diode_volts is not None and site.kind not in _RULES["diode"]["kinds"]:
        return None
    total, because = 0.0, []
    for quantity in _FIGURES:
        measured = getattr(item, quantity)
        if measured is not None:
            fit = _value_fit(site, quantity, measured, item.accuracy)
            if fit is None:
                return None
            total += fit[0]
            because.append(fit[1])
    size = item.size
    if size is None and item.length_mm is not None:
        length = item.length_mm
        off = {chip.inch: abs(length - chip.length_mm) / chip.length_mm for chip in CHIP_SIZES}
        nearest = min(off, key=lambda inch: off[inch])
        size = nearest if off[nearest] < _RULES["size"]["spread"] else None
    if size is None:
        total += _COSTS["not_measured"]
        because.append("size not measured")
    elif site.size is not None:
        if size != site.size:
            return None
        because.append(f"size {size} fits")
    return Candidate(site.refdes, total, tuple(because))


def _value_fit(
    site: BareSite, quantity: str, measured: float, accuracy: float | None
) -> tuple[float, str] | None:
    """Return how far off a measured value is, and the reason; None where it cannot be that one."""
    figure, link = _FIGURES[quantity], _RULES["link"]
    if site.kind not in figure["kinds"]:
        return None
    unit, spread = figure["unit"], figure["tolerance"]
    shown = engineering(measured, unit)
    if quantity == "ohms" and (site.kind in link["kinds"] or site.values.ohms == 0):
        return (0.0, f"{shown}: a link or a winding") if measured <= link["ohms"] else None
    nominal: float | None = getattr(site.values, quantity)
    if nominal is None:
        if site.proposed is None or site.proposed_quantity != quantity:
            return _COSTS["not_known"], f"{shown}, but the position's value is not known"
        low, high = site.proposed
        if not low * (1 - spread) <= measured <= high * (1 + spread):
            return None
        likely = f"{engineering(low, unit)} to {engineering(high, unit)}"
        return _COSTS["not_known"], f"{shown} is in the likely range {likely}"
    tolerance = spread if site.values.tolerance is None else site.values.tolerance
    error = figure["accuracy"] if accuracy is None else accuracy
    reach = nominal * tolerance + measured * error
    aged = nominal * CLASS_2_DROP if quantity == "farads" else 0.0
    if not nominal - reach - aged <= measured <= nominal + reach:
        return None
    off = abs(measured - nominal) / max(reach, 1e-18)
    return min(off, 2.0) ** 2, f"{shown} for {engineering(nominal, unit)} ±{percent(tolerance)}"


def _assign(sites: Sequence[BareSite], fits: Mapping[str, Sequence[Candidate]]) -> dict[str, str]:
    if not sites or not fits:
        return {}
    import numpy as np
    from scipy.optimize import linear_sum_assignment

    column = {site.refdes: index for index, site in enumerate(sites)}
    costs = np.full((len(fits), len(sites) + len(fits)), _COSTS["no_fit"])
    for row, candidates in enumerate(fits.values()):
        costs[row, len(sites) + row] = _COSTS["left_out"]
        for candidate in candidates:
            costs[row, column[candidate.refdes]] = candidate.cost
    # leaving a part out is cheaper than a position that does not fit
    found = zip(fits, linear_sum_assignment(costs)[1], strict=True)
    return {name: sites[int(at)].refdes for name, at in found if at < len(sites)}


def _decide(item: Loose, fitting: Sequence[BareSite]) -> str:
    kinds = {site.kind for site in fitting}
    if item.ohms is None and item.farads is None and item.henries is None:
        if Kind.CAPACITOR not in kinds:
            return "ohms"
        return "ohms_and_farads" if len(kinds) > 1 else "farads"
    if item.size is None and item.length_mm is None and len({site.size for site in fitting}) > 1:
        return "size"
    if len(kinds) > 1 and kinds <= {Kind.RESISTOR, *_RULES["link"]["kinds"]}:
        return "henries"
    values = {site.values.ohms or site.values.farads or site.values.henries for site in fitting}
    if len(values) > 1:
        return "value"
    return "volts" if len({site.values.rated_volts for site in fitting}) > 1 else "tolerance"


def _advice(item: Loose, kinds: set[Kind]) -> str:
    if not item.whole:
        return "damaged"
    if item.farads is not None or kinds == {Kind.CAPACITOR}:
        return "capacitor"
    if not kinds:
        return "nowhere"
    return "resistor" if kinds == {Kind.RESISTOR} else "other"
