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
from nettrace.model.board import Part
from nettrace.values.quantity import engineering, percent
from nettrace.values.sizes import CHIP_SIZES, inch_size

#: Body lengths within this fraction are one size code (common practice, no source).
SIZE_SPREAD: Final = 0.25
#: A zero-ohm link reads below this on leads that were not nulled (Fluke 187 manual: leads 0.5 Ω).
LINK_OHMS: Final = 1.0
#: A size that was not measured, and a value that is not known for certain, count as so far off.
NOT_MEASURED: Final = 0.5
NOT_KNOWN: Final = 1.0
#: What leaving a loose part out costs, and a position that does not fit: more than any fit.
LEFT_OUT: Final = 1e3
NO_FIT: Final = 1e6


@dataclass(frozen=True, slots=True)
class _Figure:
    """A quantity as a meter and a part have it.

    `accuracy` is the meter's where it is not stated (from memory: a common mid-range meter is
    ±0.9 % on ohms; farads ±2 %, common practice, no source); `tolerance` a part's where it states
    none, as fractions (common practice, no source).
    """

    unit: str
    accuracy: float
    tolerance: float
    kinds: frozenset[Kind]


#: Kinds whose windings and links read near 0 Ω.
_LOW_OHMS: Final = frozenset({Kind.FERRITE, Kind.INDUCTOR, Kind.FUSE})
_FIGURES: Final = {
    "ohms": _Figure("Ω", 0.009, 0.05, _LOW_OHMS | {Kind.RESISTOR, Kind.THERMISTOR}),
    "farads": _Figure("F", 0.02, 0.20, frozenset({Kind.CAPACITOR})),
    "henries": _Figure("H", 0.02, 0.20, frozenset({Kind.INDUCTOR})),
}
_DIODE_KINDS: Final = frozenset(
    {Kind.DIODE, Kind.ESD, Kind.LED, Kind.ZENER, Kind.TRANSISTOR, Kind.MOSFET}
)


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
    """The answer for one loose part.

    Attributes:
        loose: its name.
        certainty: see `Certainty`.
        assigned: the position in the least-cost assignment; None where it gets none.
        candidates: positions that fit, best first.
        decide: the measurement that would decide, "" where nothing is open.
        advice: whether it may go back, in a technician's words.
        reusable: False where a new part must be fitted.
    """

    loose: str
    certainty: Certainty
    assigned: str | None
    candidates: tuple[Candidate, ...]
    decide: str
    advice: str
    reusable: bool


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
        decide = _decide(item, fitting) if certainty is Certainty.OPEN else ""
        advice = _advice(item, {site.kind for site in fitting})
        at = assigned.get(item.name)
        found.append(LooseMatch(item.name, certainty, at, tuple(candidates), decide, *advice))
    return tuple(found)


def _candidate(site: BareSite, item: Loose) -> Candidate | None:
    """Return the position with its cost and reasons, None where the part cannot belong there."""
    if item.looks is not None and item.looks != site.kind:
        return None
    if item.diode_volts is not None and site.kind not in _DIODE_KINDS:
        return None
    total = 0.0
    because: list[str] = []
    for quantity, figure in _FIGURES.items():
        measured = getattr(item, quantity)
        if measured is None:
            continue
        fit = _value_fit(site, quantity, figure, measured, item.accuracy)
        if fit is None:
            return None
        total += fit[0]
        because.append(fit[1])
    size = item.size
    if size is None and item.length_mm is not None:
        length = item.length_mm
        off = {chip.inch: abs(length - chip.length_mm) / chip.length_mm for chip in CHIP_SIZES}
        nearest = min(off, key=lambda inch: off[inch])
        size = nearest if off[nearest] < SIZE_SPREAD else None
    if size is None:
        total += NOT_MEASURED
        because.append("size not measured")
    elif site.size is not None:
        if size != site.size:
            return None
        because.append(f"size {size} fits")
    return Candidate(site.refdes, total, tuple(because))


def _value_fit(
    site: BareSite, quantity: str, figure: _Figure, measured: float, accuracy: float | None
) -> tuple[float, str] | None:
    """Return how far off a measured value is, and the reason; None where it cannot be that one."""
    if site.kind not in figure.kinds:
        return None
    shown = engineering(measured, figure.unit)
    if quantity == "ohms" and (site.kind in _LOW_OHMS or site.values.ohms == 0):
        return (0.0, f"{shown}: a link or a winding") if measured <= LINK_OHMS else None
    nominal: float | None = getattr(site.values, quantity)
    if nominal is None:
        if site.proposed is None or site.proposed_quantity != quantity:
            return NOT_KNOWN, f"{shown}, but the position's value is not known"
        low, high = site.proposed
        if not low * (1 - figure.tolerance) <= measured <= high * (1 + figure.tolerance):
            return None
        likely = f"{engineering(low, figure.unit)} to {engineering(high, figure.unit)}"
        return NOT_KNOWN, f"{shown} is in the likely range {likely}"
    stated = site.values.tolerance
    tolerance = figure.tolerance if stated is None else stated
    error = figure.accuracy if accuracy is None else accuracy
    reach = nominal * tolerance + measured * error
    aged = nominal * CLASS_2_DROP if quantity == "farads" else 0.0
    if not nominal - reach - aged <= measured <= nominal + reach:
        return None
    off = abs(measured - nominal) / max(reach, 1e-18)
    belongs = f"{engineering(nominal, figure.unit)} ±{percent(tolerance)}"
    return min(off, 2.0) ** 2, f"{shown} for {belongs}"


def _assign(sites: Sequence[BareSite], fits: Mapping[str, Sequence[Candidate]]) -> dict[str, str]:
    if not sites or not fits:
        return {}
    import numpy as np
    from scipy.optimize import linear_sum_assignment

    column = {site.refdes: index for index, site in enumerate(sites)}
    costs = np.full((len(fits), len(sites) + len(fits)), NO_FIT)
    for row, candidates in enumerate(fits.values()):
        costs[row, len(sites) + row] = LEFT_OUT
        for candidate in candidates:
            costs[row, column[candidate.refdes]] = candidate.cost
    # leaving a part out is cheaper than a position that does not fit
    found = zip(fits, linear_sum_assignment(costs)[1], strict=True)
    return {name: sites[int(at)].refdes for name, at in found if at < len(sites)}


def _decide(item: Loose, fitting: Sequence[BareSite]) -> str:
    kinds = {site.kind for site in fitting}
    if item.ohms is None and item.farads is None and item.henries is None:
        if Kind.CAPACITOR not in kinds:
            return "measure ohms"
        both = "measure ohms and farads, the part off the board"
        return both if len(kinds) > 1 else "measure farads"
    sizes = {site.size for site in fitting}
    if item.size is None and item.length_mm is None and len(sizes) > 1:
        return "measure the body's length and width"
    if len(kinds) > 1 and kinds <= (_LOW_OHMS | {Kind.RESISTOR}):
        return "measure inductance: a bead or coil has some, a link has none"
    values = {site.values.ohms or site.values.farads or site.values.henries for site in fitting}
    if len(values) > 1:
        return "measure the value again, with leads nulled and a narrower range"
    if len({site.values.rated_volts for site in fitting}) > 1:
        return "the positions differ in voltage rating only: no meter tells; fit a new part"
    return "the positions differ in tolerance only: fit a new part where the tighter one is asked"


def _advice(item: Loose, kinds: set[Kind]) -> tuple[str, bool]:
    """Return whether the part may go back, in words and as such."""
    if not item.whole:
        return "damaged body or terminations: identify only, fit a new one", False
    if item.farads is not None or kinds == {Kind.CAPACITOR}:
        # Panasonic ECJ notes: removed capacitors are not to be reused
        return "ceramic capacitor: identify only, fit a new one (makers' advice)", False
    if not kinds:
        return "keep it apart; it belongs to no position that is marked", False
    if kinds == {Kind.RESISTOR}:
        return "may go back: it measures in tolerance and is whole (common practice)", True
    return "identify only where heat or force may have hurt it; a new part is safer", False
