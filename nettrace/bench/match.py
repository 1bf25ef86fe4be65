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
from nettrace.model.board import Part
from nettrace.values.quantity import engineering, percent
from nettrace.values.sizes import CHIP_SIZES, inch_size

__all__ = ["Candidate", "Certainty", "LooseMatch", "Site", "match_loose", "sites_of"]

#: Where the meter's accuracy is not stated, as a fraction (from memory: a common mid-range meter
#: is ±0.9 % on ohms; farads ±2 %, common practice, no source).
OHMS_ACCURACY: Final = 0.009
FARADS_ACCURACY: Final = 0.02
#: Where a part states no tolerance (common practice, no source).
RESISTOR_TOLERANCE: Final = 0.05
CAPACITOR_TOLERANCE: Final = 0.20
INDUCTOR_TOLERANCE: Final = 0.20
#: A class 2 ceramic may read this far below nominal in health (ageing about 2.5 % per decade-hour,
#: reference-values.md section 4; the margin is common practice, no source).
CLASS_2_DROP: Final = 0.30
#: A zero-ohm link reads below this on leads that were not nulled (Fluke 187 manual: leads 0.5 Ω).
LINK_OHMS: Final = 1.0
#: Body lengths within this fraction are one size code (common practice, no source).
SIZE_SPREAD: Final = 0.25

_OF_QUANTITY: Final = {
    "ohms": {Kind.RESISTOR, Kind.THERMISTOR, Kind.FERRITE, Kind.INDUCTOR, Kind.FUSE},
    "farads": {Kind.CAPACITOR},
    "henries": {Kind.INDUCTOR},
    "diode_volts": {Kind.DIODE, Kind.ESD, Kind.LED, Kind.ZENER, Kind.TRANSISTOR, Kind.MOSFET},
}
#: Kinds whose windings and links read near 0 Ω.
_LOW_OHMS: Final = {Kind.FERRITE, Kind.INDUCTOR, Kind.FUSE}


class Certainty(StrEnum):
    """How sure a match is."""

    CERTAIN = "certain"  # only one position fits
    INTERCHANGEABLE = "interchangeable"  # the positions that fit take equal parts
    OPEN = "open"  # several different positions fit
    NONE = "no position fits"


@dataclass(frozen=True, slots=True)
class Site:
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


def sites_of(circuit: Circuit, positions: Sequence[str]) -> tuple[Site, ...]:
    """Return what belongs at each position (part keys), from the board, else from proposals."""
    found = []
    for key in positions:
        part = circuit.board.part_by_key[key]
        values = circuit.kinds[key]
        proposed, quantity = None, ""
        if not _has_value(values) and values.kind in {Kind.RESISTOR, Kind.CAPACITOR}:
            proposed, quantity = _proposed(circuit, key)
        found.append(
            Site(part.refdes, values.kind, values, _size(part, values), proposed, quantity)
        )
    return tuple(found)


def _has_value(values: PartKind) -> bool:
    return any(v is not None for v in (values.ohms, values.farads, values.henries))


def _proposed(circuit: Circuit, key: str) -> tuple[tuple[float, float] | None, str]:
    for proposal in circuit.proposals(key):
        if proposal.at_least is not None and proposal.at_most is not None:
            return (proposal.at_least, proposal.at_most), proposal.quantity
    return None, ""


def _size(part: Part, values: PartKind) -> str | None:
    return values.size_inch or (inch_size(part.package) if part.package else None)


def match_loose(sites: Sequence[Site], loose: Sequence[Loose]) -> tuple[LooseMatch, ...]:
    """Match loose parts to positions; one answer a loose part, in the order given.

    Method: minimum-cost assignment (scipy `linear_sum_assignment`) where leaving a part out costs
    more than any fit, so as many as can be are placed.
    """
    fits = {item.name: _candidates(sites, item) for item in loose}
    assigned = _assign(sites, fits)
    by_refdes = {site.refdes: site for site in sites}
    return tuple(_answer(item, fits[item.name], assigned, by_refdes) for item in loose)


def _candidates(sites: Sequence[Site], item: Loose) -> tuple[Candidate, ...]:
    found = [
        Candidate(site.refdes, cost[0], cost[1])
        for site in sites
        if (cost := _cost(site, item)) is not None
    ]
    return tuple(sorted(found, key=lambda candidate: candidate.cost))


def _cost(site: Site, item: Loose) -> tuple[float, tuple[str, ...]] | None:
    """Return (cost, reasons), or None where the loose part cannot belong there."""
    if not _kind_fits(site, item):
        return None
    total = 0.0
    because: list[str] = []
    for quantity, measured, accuracy, spread in (
        ("ohms", item.ohms, OHMS_ACCURACY, RESISTOR_TOLERANCE),
        ("farads", item.farads, FARADS_ACCURACY, CAPACITOR_TOLERANCE),
        ("henries", item.henries, FARADS_ACCURACY, INDUCTOR_TOLERANCE),
    ):
        if measured is None:
            continue
        error = item.accuracy if item.accuracy is not None else accuracy
        part = _value_cost(site, quantity, measured, error, spread)
        if part is None:
            return None
        total += part[0]
        because.append(part[1])
    size = _size_of(item)
    if size is not None and site.size is not None:
        if size != site.size:
            return None
        because.append(f"size {size} fits")
    elif size is None:
        because.append("size not measured")
        total += 0.5
    return total, tuple(because)


def _kind_fits(site: Site, item: Loose) -> bool:
    if item.looks is not None and item.looks != site.kind:
        return False
    for quantity, measured in (
        ("ohms", item.ohms),
        ("farads", item.farads),
        ("henries", item.henries),
        ("diode_volts", item.diode_volts),
    ):
        if measured is not None and site.kind not in _OF_QUANTITY[quantity]:
            return False
    return True


def _value_cost(
    site: Site, quantity: str, measured: float, accuracy: float, spread: float
) -> tuple[float, str] | None:
    unit = {"ohms": "Ω", "farads": "F", "henries": "H"}[quantity]
    figure = engineering(measured, unit)
    if quantity == "ohms" and (site.kind in _LOW_OHMS or site.values.ohms == 0):
        if measured > LINK_OHMS:
            return None
        return 0.0, f"{figure}: a link or a winding"
    nominal: float | None = getattr(site.values, quantity)
    if nominal is None:
        if site.proposed is None or site.proposed_quantity != quantity:
            return 1.0, f"{figure}, but the position's value is not known"
        low, high = site.proposed
        if not low * (1 - spread) <= measured <= high * (1 + spread):
            return None
        likely = f"{engineering(low, unit)} to {engineering(high, unit)}"
        return 1.0, f"{figure} is in the likely range {likely}"
    tolerance = site.values.tolerance if site.values.tolerance is not None else spread
    reach = nominal * tolerance + measured * accuracy
    below = nominal * CLASS_2_DROP if quantity == "farads" else 0.0
    if not nominal - reach - below <= measured <= nominal + reach:
        return None
    off = abs(measured - nominal) / max(reach, 1e-18)
    return min(off, 2.0) ** 2, f"{figure} for {engineering(nominal, unit)} ±{percent(tolerance)}"


def _size_of(item: Loose) -> str | None:
    if item.size is not None:
        return item.size
    if item.length_mm is None:
        return None
    best, least = None, SIZE_SPREAD
    for chip in CHIP_SIZES:
        off = abs(item.length_mm - chip.length_mm) / chip.length_mm
        if off < least:
            best, least = chip.inch, off
    return best


def _assign(sites: Sequence[Site], fits: Mapping[str, tuple[Candidate, ...]]) -> dict[str, str]:
    if not sites or not fits:
        return {}
    import numpy as np
    from scipy.optimize import linear_sum_assignment

    column = {site.refdes: index for index, site in enumerate(sites)}
    left_out = 1e3
    costs = np.full((len(fits), len(sites) + len(fits)), 1e6)
    for row, candidates in enumerate(fits.values()):
        costs[row, len(sites) + row] = left_out
        for candidate in candidates:
            costs[row, column[candidate.refdes]] = candidate.cost
    rows, columns = linear_sum_assignment(costs)
    names = list(fits)
    return {
        names[int(row)]: sites[int(at)].refdes
        for row, at in zip(rows, columns, strict=True)
        if at < len(sites)  # leaving it out is cheaper than a position that does not fit
    }


def _answer(
    item: Loose,
    candidates: tuple[Candidate, ...],
    assigned: Mapping[str, str],
    sites: Mapping[str, Site],
) -> LooseMatch:
    fitting = [sites[candidate.refdes] for candidate in candidates]
    measured = any(v is not None for v in (item.ohms, item.farads, item.henries, item.diode_volts))
    decide = ""
    if not fitting:
        certainty = Certainty.NONE
    elif len(fitting) == 1 and measured:
        certainty = Certainty.CERTAIN
    elif len({site.spec for site in fitting}) == 1 and measured:
        certainty = Certainty.INTERCHANGEABLE
    else:
        certainty = Certainty.OPEN
        decide = _decide(item, fitting)
    advice, reusable = _advice(item, fitting)
    return LooseMatch(
        item.name, certainty, assigned.get(item.name), candidates, decide, advice, reusable
    )


def _decide(item: Loose, fitting: Sequence[Site]) -> str:
    kinds = {site.kind for site in fitting}
    if item.ohms is None and item.farads is None and item.henries is None:
        if Kind.CAPACITOR in kinds and len(kinds) > 1:
            return "measure ohms and farads, the part off the board"
        return "measure farads" if Kind.CAPACITOR in kinds else "measure ohms"
    sizes = {site.size for site in fitting}
    if item.size is None and item.length_mm is None and len(sizes) > 1:
        return "measure the body's length and width"
    if len(kinds) > 1 and kinds <= (_LOW_OHMS | {Kind.RESISTOR}):
        return "measure inductance: a bead or coil has some, a link has none"
    values = {site.values.ohms or site.values.farads or site.values.henries for site in fitting}
    if len(values) > 1:
        return "measure the value again, with leads nulled and a narrower range"
    ratings = {site.values.rated_volts for site in fitting}
    if len(ratings) > 1:
        return "the positions differ in voltage rating only: no meter tells; fit a new part"
    return "the positions differ in tolerance only: fit a new part where the tighter one is asked"


def _advice(item: Loose, fitting: Sequence[Site]) -> tuple[str, bool]:
    if not item.whole:
        return "damaged body or terminations: identify only, fit a new one", False
    kinds = {site.kind for site in fitting}
    if item.farads is not None or kinds == {Kind.CAPACITOR}:
        # Panasonic ECJ notes: removed capacitors are not to be reused (reference-values.md, 8)
        return "ceramic capacitor: identify only, fit a new one (makers' advice)", False
    if kinds and kinds <= {Kind.RESISTOR}:
        return "may go back: it measures in tolerance and is whole (common practice)", True
    if not fitting:
        return "keep it apart; it belongs to no position that is marked", False
    return "identify only where heat or force may have hurt it; a new part is safer", False
