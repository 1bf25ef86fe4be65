"""What to order for the bare positions: value, ratings by rail and role, spares, substitutes.

Ratings are computed from the rails at the part's ends; what the netlist states is kept and, where
it falls short of the rule, said.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import PartKind, Severity
from nettrace.circuit.kinds import Kind
from nettrace.circuit.series import two_nets
from nettrace.model.board import Part
from nettrace.model.names import natural_key
from nettrace.values.quantity import engineering, percent
from nettrace.values.series import combinations, neighbours, series_of_tolerance
from nettrace.values.sizes import CHIP_SIZES, chip_size, inch_size

__all__ = ["Donor", "Need", "find_donors", "plan_needs"]

#: Class 2 ceramics: rated at least twice the rail, for their capacitance falls with bias; class 1
#: and others: one and a half times (both common practice, no source).
CLASS_2_FACTOR: Final = 2.0
OTHER_FACTOR: Final = 1.5
#: Resistors are run at no more than half their rated power (common practice, no source).
POWER_FACTOR: Final = 2.0
#: Ratings that ceramic capacitors are sold in, V (EIA voltage codes 0G to 2A).
SOLD_VOLTS: Final = (4.0, 6.3, 10.0, 16.0, 25.0, 35.0, 50.0, 100.0)
#: Parts smaller than 0402 jump from tweezers: so many spares a position (common practice).
SPARES_SMALL: Final = 2
#: Capacitance from which a ceramic without a stated dielectric is class 2 (common practice).
CLASS_1_FARADS: Final = 1e-9
CLASS_1: Final = frozenset({"C0G", "NP0", "COG", "U2J"})
#: How many donors are named.
DONORS_SHOWN: Final = 6


@dataclass(frozen=True, slots=True)
class Donor:
    """A position that carries the same part: on which board, and how harmless its loss is."""

    refdes: str
    board: str
    severity: Severity
    why: str


@dataclass(frozen=True, slots=True)
class Need:
    """One line of the order.

    Attributes:
        positions: refdes that take this part, in natural order.
        kind: component kind.
        value: as shown to people (`2.2 kΩ`), "" where not known.
        tolerance, size, dielectric: as stated or proposed; None where not known.
        volts, watts: ratings to ask for, at least; None where nothing tells.
        quantity: pieces with spares.
        part_number: what the netlist names, None if nothing.
        substitutes: what may stand in, best first, in words.
        because: reasons for ratings and value.
        doubts: what is not sure.
    """

    positions: tuple[str, ...]
    kind: Kind
    value: str
    tolerance: float | None
    size: str | None
    dielectric: str | None
    volts: float | None
    watts: float | None
    quantity: int
    part_number: str | None
    description: str | None
    substitutes: tuple[str, ...]
    because: tuple[str, ...]
    doubts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Ask:
    part: Part
    values: PartKind
    value: str
    tolerance: float | None
    size: str | None
    dielectric: str | None
    volts: float | None
    watts: float | None
    substitutes: tuple[str, ...]
    because: tuple[str, ...]
    doubts: tuple[str, ...]


def plan_needs(circuit: Circuit, positions: Sequence[str]) -> tuple[Need, ...]:
    """Return what to order for the positions (part keys); equal parts share a line.

    Positions that are not fitted by design are left out.
    """
    lines: dict[tuple[object, ...], list[_Ask]] = {}
    for key in sorted(positions, key=natural_key):
        if circuit.kinds[key].fitted:
            ask = _ask(circuit, circuit.board.part_by_key[key])
            spec = (
                ask.values.kind, ask.value, ask.tolerance, ask.size, ask.dielectric, ask.volts,
                _part_number(ask.part) or (ask.part.value if not ask.value else ""),
            )  # fmt: skip
            lines.setdefault(spec, []).append(ask)
    return tuple(_line(asks) for asks in lines.values())


def _line(asks: Sequence[_Ask]) -> Need:
    first = asks[0]
    spares = SPARES_SMALL * len(asks) if _smaller_than_0402(first.size) else 0
    if first.values.kind in {Kind.IC, Kind.MODULE, Kind.CONNECTOR}:
        spares = 0
    because = list(dict.fromkeys(reason for ask in asks for reason in ask.because))
    if spares:
        because.append(f"{spares} spare: parts below 0402 are easily lost")
    watts = [ask.watts for ask in asks if ask.watts is not None]
    return Need(
        positions=tuple(ask.part.refdes for ask in asks),
        kind=first.values.kind,
        value=first.value,
        tolerance=first.tolerance,
        size=first.size,
        dielectric=first.dielectric,
        volts=first.volts,
        watts=max(watts, default=None),
        quantity=len(asks) + spares,
        part_number=_part_number(first.part),
        description=first.part.description,
        substitutes=first.substitutes,
        because=tuple(because),
        doubts=tuple(dict.fromkeys(doubt for ask in asks for doubt in ask.doubts)),
    )


def _smaller_than_0402(size: str | None) -> bool:
    return size in {"008004", "009005", "01005", "0201"}


def _part_number(part: Part) -> str | None:
    for name, text in part.properties.items():
        folded = name.casefold().replace(" ", "").replace("_", "")
        if folded in {"mpn", "manufacturerpartnumber", "partnumber", "mfrpn", "manfpn"} and text:
            return text
    return None


def _ask(circuit: Circuit, part: Part) -> _Ask:
    values = circuit.kinds[part.key]
    size = values.size_inch or (inch_size(part.package) if part.package else None)
    because: list[str] = []
    doubts: list[str] = []
    value = _value(values)
    if not value and values.kind in {Kind.RESISTOR, Kind.CAPACITOR, Kind.INDUCTOR}:
        value = _proposed_value(circuit, part, because, doubts)
    across = _volts_across(circuit, part)
    volts = watts = None
    dielectric = values.dielectric
    if values.kind is Kind.CAPACITOR:
        volts, dielectric = _capacitor_rating(values, across, because, doubts)
    elif values.kind is Kind.RESISTOR and values.ohms:
        watts = _resistor_watts(values.ohms, size, across, because, doubts)
    if values.kind not in {Kind.RESISTOR, Kind.CAPACITOR, Kind.INDUCTOR} and not part.value:
        doubts.append("no source names the part")
    substitutes = _substitutes(values, size, dielectric)
    tolerance = None if values.ohms == 0 else values.tolerance  # a link has none
    return _Ask(
        part, values, value, tolerance, size, dielectric, volts, watts, substitutes,
        tuple(because), tuple(doubts),
    )  # fmt: skip


def _value(values: PartKind) -> str:
    return engineering(*values.figure) if values.figure is not None else ""


def _proposed_value(circuit: Circuit, part: Part, because: list[str], doubts: list[str]) -> str:
    for proposal in circuit.proposals(part.key):
        if proposal.choices:
            unit = {"ohms": "Ω", "farads": "F", "henries": "H"}.get(proposal.quantity, "")
            because.extend(proposal.because)
            doubts.append("the value is proposed from the circuit: no source states it")
            return engineering(proposal.choices[0], unit)
    doubts.append("no source states the value, and the circuit does not tell it")
    return ""


def _volts_across(circuit: Circuit, part: Part) -> float | None:
    """Return the most that can stand across a two-net part, V; None where a rail is not known."""
    nets = two_nets(part)
    if nets is None:
        return None
    ends = [_most_volts(circuit, net) for net in nets]
    if None in ends:
        known = [volts for volts in ends if volts is not None]
        # one end is a signal: it swings no further than the other end's rail, if that is one
        return max(known) if known and max(known) > 0 else None
    return max(abs(volts) for volts in ends if volts is not None)


def _most_volts(circuit: Circuit, net: str) -> float | None:
    volts = circuit.volts(net)
    if volts is None:
        return None
    return volts.max if volts.max is not None else volts.nominal


def _capacitor_rating(
    values: PartKind, across: float | None, because: list[str], doubts: list[str]
) -> tuple[float | None, str | None]:
    farads = values.farads or 0.0
    dielectric = values.dielectric
    class_1 = (dielectric or "").upper() in CLASS_1 or (not dielectric and farads < CLASS_1_FARADS)
    if not dielectric and farads:
        dielectric = "C0G" if class_1 else "X5R or X7R"
        doubts.append("dielectric not stated: chosen by value (common practice)")
    stated = values.rated_volts
    if across is None:
        if stated is None:
            doubts.append("voltage rating: the rail is not known, ask for 16 V or more")
        return stated, dielectric
    factor = OTHER_FACTOR if class_1 else CLASS_2_FACTOR
    least = factor * across
    sold = next((volts for volts in SOLD_VOLTS if volts >= least * (1 - 1e-9)), least)
    because.append(
        f"{across:g} V across at most, times {factor:g} for "
        f"{'class 1' if class_1 else 'class 2 (falls with bias)'}: {sold:g} V (common practice)"
    )
    if stated is not None:
        if stated < least * (1 - 1e-9):
            doubts.append(f"the board's own {stated:g} V is below that rule; {sold:g} V is safer")
            return sold, dielectric
        because.append(f"the board states {stated:g} V: keep it")
        return stated, dielectric
    return sold, dielectric


def _resistor_watts(
    ohms: float, size: str | None, across: float | None, because: list[str], doubts: list[str]
) -> float | None:
    chip = chip_size(size) if size else None
    rated = chip.watts if chip else None
    if across is None:
        return rated
    used = across**2 / ohms
    if rated is not None and used * POWER_FACTOR > rated and ohms > 1:
        doubts.append(
            f"if all of {across:g} V stood across it, {engineering(used, 'W')} would be more than "
            f"half of a {size}'s {engineering(rated, 'W')}: check before ordering"
        )
    elif rated is not None:
        because.append(
            f"{engineering(used, 'W')} at most in it; a {size} takes {engineering(rated, 'W')}"
        )
    return rated


def _substitutes(values: PartKind, size: str | None, dielectric: str | None) -> tuple[str, ...]:
    found: list[str] = []
    if values.kind is Kind.RESISTOR and values.ohms:
        tolerance = values.tolerance if values.tolerance is not None else 0.05
        found.append("a tighter tolerance of the same value")
        near = {
            value: series
            for series in reversed(series_of_tolerance(tolerance))  # the standard's own wins
            for value in neighbours(values.ohms, series)
            if abs(value - values.ohms) <= tolerance * values.ohms
        }
        found += [
            f"{engineering(value, 'Ω')} ({near[value]}), inside the tolerance"
            for value in sorted(near)
        ]
        pairs = [
            c for c in combinations(values.ohms, "E24", tolerance, limit=4) if len(c.parts) > 1
        ]
        found += [f"{c.text()} where there is room for two" for c in pairs[:1]]
    if values.kind is Kind.CAPACITOR:
        found.append("a higher voltage rating in the same size and value")
        if dielectric and dielectric.upper() == "X5R":
            found.append("X7R or X6S instead of X5R")
    if size is not None and values.kind in {Kind.RESISTOR, Kind.CAPACITOR}:
        larger = _next_size(size)
        if larger:
            found.append(f"{larger} only if the pads and the neighbours leave room")
    return tuple(found)


def _next_size(size: str) -> str | None:
    usual = [chip.inch for chip in CHIP_SIZES if chip.inch in
             {"01005", "0201", "0402", "0603", "0805", "1206", "1210"}]  # fmt: skip
    if size in usual[:-1]:
        return usual[usual.index(size) + 1]
    return None


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
            mine = rank == 0
            if mine and (part.key in without or part.refdes in need.positions):
                continue
            if not other.kinds[part.key].fitted or not _same(other, part, need):
                continue
            absence = other.absence(part.key)
            why = absence.effects[0] if absence.effects else ""
            label = "this board" if mine else name
            order = (
                -absence.severity.rank if absence.severity is not Severity.UNKNOWN else 0,
                rank,
                natural_key(part.refdes),
            )
            found.append((order, Donor(part.refdes, label, absence.severity, why)))
    # a scrap board before the board under repair, where both lose little
    found.sort(key=lambda item: (item[0][0], -item[0][1], item[0][2]))
    return tuple(donor for _, donor in found[:DONORS_SHOWN])


def _same(circuit: Circuit, part: Part, need: Need) -> bool:
    values = circuit.kinds[part.key]
    if values.kind is not need.kind:
        return False
    number = _part_number(part)
    if need.part_number is not None and number == need.part_number:
        return True
    if not need.value or _value(values) != need.value:
        return False
    size = values.size_inch or (inch_size(part.package) if part.package else None)
    if size != need.size:
        return False
    if (
        need.volts is not None
        and values.rated_volts is not None
        and values.rated_volts < need.volts
    ):
        return False
    if need.tolerance is not None and values.tolerance is not None:
        return values.tolerance <= need.tolerance or math.isclose(values.tolerance, need.tolerance)
    return True


def words(need: Need) -> str:
    """Return a line of the order for people: value, tolerance, size, ratings."""
    pieces = [need.value or need.description or str(need.kind)]
    if need.tolerance is not None:
        pieces.append(f"±{percent(need.tolerance)}")
    if need.size:
        pieces.append(need.size)
    if need.dielectric:
        pieces.append(need.dielectric)
    if need.volts is not None:
        pieces.append(f"{need.volts:g} V")
    return ", ".join(pieces)
