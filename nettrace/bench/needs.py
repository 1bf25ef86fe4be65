"""What to order for the bare positions: value, ratings by rail and role, spares, substitutes.

Ratings are computed from the rails at the part's ends by the rules of `knowledge/orders.toml`; what
the netlist states is kept and, where it falls short of the rule, said.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from nettrace.bench.match import part_size
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import PartKind, Severity
from nettrace.circuit.kinds import Kind
from nettrace.circuit.links import two_nets
from nettrace.electrical.power_off import UNSTATED_TOLERANCE, is_class_1
from nettrace.knowledge import table
from nettrace.model.board import Part
from nettrace.model.names import natural_key
from nettrace.values.quantity import engineering, percent
from nettrace.values.series import combinations, neighbours, series_of_tolerance
from nettrace.values.sizes import chip_size

_RULES: Final = table("orders")
#: How many donors are named.
DONORS_SHOWN: Final = 6
_VALUED: Final = frozenset({Kind.RESISTOR, Kind.CAPACITOR, Kind.INDUCTOR})


@dataclass(frozen=True, slots=True)
class Donor:
    """A position that carries the same part: on which board, and how harmless its loss is."""

    refdes: str
    board: str
    severity: Severity
    why: str


@dataclass(frozen=True, slots=True)
class Need:
    """One line of the order."""

    positions: tuple[str, ...]  # refdes that take this part, in natural order
    kind: Kind
    value: str  # as shown to people (`2.2 kΩ`), "" where not known
    tolerance: float | None  # this, size and dielectric as stated or proposed; None: not known
    size: str | None
    dielectric: str | None
    volts: float | None  # ratings to ask for, at least; None where nothing tells
    watts: float | None
    quantity: int  # pieces with spares
    part_number: str | None  # what the netlist names, None if nothing
    description: str | None
    substitutes: tuple[str, ...]  # what may stand in, best first, in words
    because: tuple[str, ...]  # reasons for ratings and value
    doubts: tuple[str, ...]  # what is not sure

    @property
    def words(self) -> str:
        """The line for people: value, tolerance, size, ratings."""
        pieces = [self.value or self.description or str(self.kind)]
        if self.tolerance is not None:
            pieces.append(f"±{percent(self.tolerance)}")
        pieces += [piece for piece in (self.size, self.dielectric) if piece]
        if self.volts is not None:
            pieces.append(f"{self.volts:g} V")
        return ", ".join(pieces)


def plan_needs(circuit: Circuit, positions: Sequence[str]) -> tuple[Need, ...]:
    """Return what to order for the positions (part keys); equal parts share a line.

    Positions that are not fitted by design are left out.
    """
    lines: dict[tuple[object, ...], list[Need]] = {}
    for key in sorted(positions, key=natural_key):
        if circuit.kinds[key].fitted:
            part = circuit.board.part_by_key[key]
            need = _need_of(circuit, part)
            spec = (
                need.kind, need.value, need.tolerance, need.size, need.dielectric, need.volts,
                need.part_number or (part.value if not need.value else ""),
            )  # fmt: skip
            lines.setdefault(spec, []).append(need)
    found, spare = [], _RULES["spares"]
    for first, *more in lines.values():
        needs = [first, *more]
        loses = first.kind not in spare["not_of"] and first.size in spare["sizes"]
        spares = spare["each"] * len(needs) if loses else 0
        said = [f"{spares} spare: parts below 0402 are easily lost"] if spares else []
        joined = replace(
            first,
            positions=tuple(ref for need in needs for ref in need.positions),
            watts=max((need.watts for need in needs if need.watts is not None), default=None),
            quantity=len(needs) + spares,
            because=(*dict.fromkeys(why for need in needs for why in need.because), *said),
            doubts=tuple(dict.fromkeys(doubt for need in needs for doubt in need.doubts)),
        )
        found.append(joined)
    return tuple(found)


def _part_number(part: Part) -> str | None:
    fields = _RULES["fields"]["part_number"]
    named = (
        text
        for name, text in part.properties.items()
        if text and name.casefold().replace(" ", "").replace("_", "") in fields
    )
    return next(named, None)


def _value(values: PartKind) -> str:
    return engineering(*values.figure) if values.figure is not None else ""


def _need_of(circuit: Circuit, part: Part) -> Need:
    """Return the line of one position, one piece."""
    values = circuit.kinds[part.key]
    kind, size, dielectric = values.kind, part_size(part, values), values.dielectric
    because: list[str] = []
    doubts: list[str] = []
    value, volts, watts = _value(values), None, None
    if not value and kind in _VALUED:
        proposal = next((found for found in circuit.proposals(part.key) if found.choices), None)
        if proposal is None:
            doubts.append("no source states the value, and the circuit does not tell it")
        else:
            unit = {"ohms": "Ω", "farads": "F", "henries": "H"}.get(proposal.quantity, "")
            value = engineering(proposal.choices[0], unit)
            because.extend(proposal.because)
            doubts.append("the value is proposed from the circuit: no source states it")
    if kind is Kind.CAPACITOR:
        volts, dielectric = _capacitor_rating(values, _volts_across(circuit, part), because, doubts)
    elif kind is Kind.RESISTOR and values.ohms and size and (chip := chip_size(size)) is not None:
        watts, across = chip.watts, _volts_across(circuit, part)
        if watts is not None and across is not None:
            used, takes = across**2 / values.ohms, engineering(watts, "W")
            if used * _RULES["resistor"]["power_factor"] > watts and values.ohms > 1:
                doubts.append(
                    f"if all of {across:g} V stood across it, {engineering(used, 'W')} would be "
                    f"more than half of a {size}'s {takes}: check before ordering"
                )
            else:
                because.append(f"{engineering(used, 'W')} at most in it; a {size} takes {takes}")
    if kind not in _VALUED and not part.value:
        doubts.append("no source names the part")
    return Need(
        positions=(part.refdes,),
        kind=kind,
        value=value,
        tolerance=None if values.ohms == 0 else values.tolerance,  # a link has none
        size=size,
        dielectric=dielectric,
        volts=volts,
        watts=watts,
        quantity=1,
        part_number=_part_number(part),
        description=part.description,
        substitutes=tuple(_substitutes(values, size, dielectric)),
        because=tuple(because),
        doubts=tuple(doubts),
    )


def _volts_across(circuit: Circuit, part: Part) -> float | None:
    """Return the most that can stand across a two-net part, V; None where a rail is not known."""
    found = [volts for net in two_nets(part) or () if (volts := circuit.volts(net)) is not None]
    ends = [volts.nominal if volts.max is None else volts.max for volts in found]
    known = [volts for volts in ends if volts is not None]
    if len(known) == 2:
        return max(abs(volts) for volts in known)
    # one end is a signal: it swings no further than the other end's rail, if that is one
    return max(known) if known and max(known) > 0 else None


def _capacitor_rating(
    values: PartKind, across: float | None, because: list[str], doubts: list[str]
) -> tuple[float | None, str | None]:
    """Return the volts to ask for and the dielectric."""
    farads, dielectric, stated = values.farads or 0.0, values.dielectric, values.rated_volts
    rule = _RULES["capacitor"]["class_1" if is_class_1(dielectric, farads) else "class_2"]
    if not dielectric and farads:
        dielectric = rule["dielectric"]
        doubts.append("dielectric not stated: chosen by value (common practice)")
    if across is None:
        if stated is None:
            doubts.append("voltage rating: the rail is not known, ask for 16 V or more")
        return stated, dielectric
    factor = rule["factor"]
    least = factor * across * (1 - 1e-9)
    sold = next((v for v in _RULES["sold_volts"]["volts"] if v >= least), factor * across)
    because.append(
        f"{across:g} V across at most, times {factor:g} for {rule['words']}: {sold:g} V "
        "(common practice)"
    )
    if stated is None:
        return sold, dielectric
    if stated < least:
        doubts.append(f"the board's own {stated:g} V is below that rule; {sold:g} V is safer")
        return sold, dielectric
    because.append(f"the board states {stated:g} V: keep it")
    return stated, dielectric


def _substitutes(values: PartKind, size: str | None, dielectric: str | None) -> Iterator[str]:
    if values.kind is Kind.RESISTOR and values.ohms:
        ohms = values.ohms
        tolerance = UNSTATED_TOLERANCE if values.tolerance is None else values.tolerance
        yield "a tighter tolerance of the same value"
        near = {
            value: series
            for series in reversed(series_of_tolerance(tolerance))  # the standard's own wins
            for value in neighbours(ohms, series)
            if abs(value - ohms) <= tolerance * ohms
        }
        for value in sorted(near):
            yield f"{engineering(value, 'Ω')} ({near[value]}), inside the tolerance"
        pairs = [c for c in combinations(ohms, "E24", tolerance, limit=4) if len(c.parts) > 1]
        if pairs:
            yield f"{pairs[0].text()} where there is room for two"
    if values.kind is Kind.CAPACITOR:
        yield "a higher voltage rating in the same size and value"
        if dielectric and dielectric.upper() == "X5R":
            yield "X7R or X6S instead of X5R"
    sizes = _RULES["sizes"]["usual"]
    if size in sizes[:-1] and values.kind in {Kind.RESISTOR, Kind.CAPACITOR}:
        larger = sizes[sizes.index(size) + 1]
        yield f"{larger} only if the pads and the neighbours leave room"


def find_donors(
    circuit: Circuit,
    need: Need,
    others: Mapping[str, Circuit],
    without: Sequence[str] = (),
) -> tuple[Donor, ...]:
    """Return positions that carry the same part, the harmless ones first.

    Args:
        circuit: the board under repair.
        need: the line of the order.
        others: name -> circuit of further boards.
        without: part keys of the board under repair that are damaged themselves.
    """
    found: list[tuple[tuple[int, int, object], Donor]] = []
    for rank, (name, other) in enumerate({"": circuit, **dict(others)}.items()):
        for part in other.board.parts:
            if rank == 0 and (part.key in without or part.refdes in need.positions):
                continue
            if not other.kinds[part.key].fitted or not _same(part, other.kinds[part.key], need):
                continue
            absence = other.absence(part.key)
            why = absence.effects[0] if absence.effects else ""
            harm = 0 if absence.severity is Severity.UNKNOWN else -absence.severity.rank
            donor = Donor(part.refdes, name if rank else "this board", absence.severity, why)
            # a scrap board before the board under repair, where both lose little
            found.append(((harm, -rank, natural_key(part.refdes)), donor))
    found.sort(key=lambda item: item[0])
    return tuple(donor for _, donor in found[:DONORS_SHOWN])


def _same(part: Part, values: PartKind, need: Need) -> bool:
    if values.kind is not need.kind:
        return False
    if need.part_number is not None and _part_number(part) == need.part_number:
        return True
    if not need.value or _value(values) != need.value or part_size(part, values) != need.size:
        return False
    rated, tolerance = values.rated_volts, values.tolerance
    if need.volts is not None and rated is not None and rated < need.volts:
        return False
    if need.tolerance is None or tolerance is None:
        return True
    return tolerance <= need.tolerance or math.isclose(tolerance, need.tolerance)
