"""The circuit as it looks with one part's value unknown.

Only what the value could have settled is judged anew: the part's kind, its entries in the tables
of its nets, and, where it may carry a supply, the rails and all that rest on them.
"""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING

import msgspec

from nettrace.circuit.evidence import PartKind
from nettrace.circuit.kinds import Kind
from nettrace.circuit.part_kinds import infer_kinds
from nettrace.circuit.roles.nodes import find_taps
from nettrace.circuit.roles.survey import Branch, Survey
from nettrace.circuit.series import SUPPLY_OHMS
from nettrace.model.board import EMPTY, Board, Part

if TYPE_CHECKING:
    from nettrace.circuit.circuit import Circuit

__all__ = ["hide_value"]


def hide_value(circuit: Circuit, key: str) -> Circuit:
    """Return the circuit with that part's value, description and properties unknown.

    Its reference, package, pads and nets stay. A part without a value is hidden already, so the
    circuit itself comes back.
    """
    part = circuit.board.part_by_key[key]
    blank = msgspec.structs.replace(
        part, value=None, description=None, properties=EMPTY, fitted=None
    )
    kind = _kind_of(circuit.board, blank)
    if kind == circuit.kinds[key]:
        return circuit
    from nettrace.circuit.circuit import Circuit

    board = replace(
        circuit.board,
        parts=tuple(blank if other is part else other for other in circuit.board.parts),
        part_by_key=MappingProxyType({**circuit.board.part_by_key, key: blank}),
    )
    hidden = Circuit(board, circuit.notes)
    # what does not rest on the value is taken over: a whole board anew for every position is slow
    taken: dict[str, object] = {"kinds": MappingProxyType({**circuit.kinds, key: kind})}
    if not _carries_supply(circuit, part):
        taken["rails"] = circuit.rails
        taken["links"] = circuit.links
        taken["pulls"] = circuit.pulls
        taken["buses"] = circuit.buses
        taken["_bus_nets"] = circuit._bus_nets
        taken["survey"] = _without_figure(circuit.survey, board, kind, key)
    hidden.__dict__.update(taken)
    return hidden


def _kind_of(board: Board, blank: Part) -> PartKind:
    return infer_kinds(replace(board, parts=(blank,)))[blank.key]


def _carries_supply(circuit: Circuit, part: Part) -> bool:
    """Return whether the part's value may have made a rail of a net, or set its voltage."""
    kind = circuit.kinds[part.key]
    if kind.kind is Kind.CAPACITOR:
        return False
    if any(part.key in circuit.survey.taps.get(net, ()) for net in part.nets):
        return True  # a divider's leg may have settled its rail's voltage
    if kind.ohms is not None and kind.ohms > SUPPLY_OHMS:
        return False
    return any(net in circuit.rails for net in part.nets)


def _without_figure(survey: Survey, board: Board, kind: PartKind, key: str) -> Survey:
    """Return the tables with the part's figure unknown; a zero-ohm link is a resistor again."""
    kinds = MappingProxyType({**survey.kinds, key: kind})
    ends = survey.ends.get(key)
    if ends is None:
        return replace(survey, board=board, kinds=kinds)
    resistors = dict(survey.resistors)
    links = dict(survey.links)
    capacitors = dict(survey.capacitors)
    for net, far in (ends, ends[::-1]):
        unknown = Branch(key, far, None, True)
        for table in (resistors, capacitors):
            if net in table:
                table[net] = tuple(unknown if b.part == key else b for b in table[net])
        if any(branch.part == key for branch in links.get(net, ())):
            links[net] = tuple(branch for branch in links[net] if branch.part != key)
            resistors[net] = (*resistors.get(net, ()), unknown)
    taps = {net: pair for net, pair in survey.taps.items() if net not in ends}
    taps |= find_taps(
        survey.rails, {net: resistors[net] for net in ends if net in resistors}, survey.on_net
    )
    return replace(
        survey,
        board=board,
        kinds=kinds,
        resistors=resistors,
        links=links,
        capacitors=capacitors,
        taps=taps,
    )
