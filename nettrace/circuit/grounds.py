"""Grounds: nets named so, or, where no name says it, the net that the capacitors share."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from nettrace.circuit.evidence import PartKind
from nettrace.circuit.kinds import Kind
from nettrace.circuit.rail_names import leaf_of, read_rail_name
from nettrace.circuit.series import pairs_of, two_nets
from nettrace.model.board import Board

__all__ = ["Ground", "find_grounds"]

#: A ground that is only seen from its parts has this many capacitors at least, and this share of
#: all pins (common practice, no source).
FEWEST_CAPACITORS: Final = 3
LEAST_SHARE: Final = 0.1


@dataclass(frozen=True, slots=True)
class Ground:
    """A ground net: score and reasons."""

    net: str
    score: float
    because: tuple[str, ...]


def find_grounds(board: Board, kinds: Mapping[str, PartKind]) -> dict[str, Ground]:
    """Return the grounds by net name, in the board's order."""
    found: dict[str, Ground] = {}
    for net in board.nets:
        if not net.pins:
            continue
        names = (net.name, *net.aliases)
        if any(read_rail_name(name).kind == "ground" for name in names):
            found[net.name] = Ground(net.name, 0.97, (f"name {net.name}",))
    if not found:
        found.update(_by_structure(board, kinds))
    _add_linked(board, kinds, found)
    return found


def _by_structure(board: Board, kinds: Mapping[str, PartKind]) -> dict[str, Ground]:
    counts: Counter[str] = Counter()
    for part in board.parts:
        if kinds[part.key].kind is Kind.CAPACITOR:
            nets = two_nets(part)
            if nets is not None:
                counts.update(nets)
    if not counts:
        return {}
    total = sum(len(net.pins) for net in board.nets)

    def rank(name: str) -> tuple[int, int]:
        return counts[name], len(board.net_by_name[name].pins)

    # reversed names settle nothing: a true tie (two pins each) is no ground at all
    best, *rest = sorted(counts, key=rank, reverse=True)
    if rest and rank(rest[0]) == rank(best):
        return {}
    pins = len(board.net_by_name[best].pins)
    if counts[best] < FEWEST_CAPACITORS or pins < LEAST_SHARE * total:
        return {}
    reason = f"{counts[best]} capacitors and {pins} pins meet here, more than anywhere else"
    return {best: Ground(best, 0.8, (reason,))}


def _add_linked(board: Board, kinds: Mapping[str, PartKind], found: dict[str, Ground]) -> None:
    """Add nets tied to a ground by a bead or link that are a shell, a shield, or a local ground."""
    for name in list(found):
        for pin in board.net_by_name[name].pins:
            kind = kinds[pin.part]
            if kind.kind not in {Kind.FERRITE, Kind.RESISTOR, Kind.INDUCTOR, Kind.JUMPER}:
                continue
            if kind.kind is Kind.RESISTOR and kind.ohms != 0:
                continue
            for pair in pairs_of(board.part_by_key[pin.part], kind):
                far = pair.second.net if pair.first.net == name else pair.first.net
                if far is None or far in found or far == name:
                    continue
                reason = _local_ground(board, kinds, far, pin.part, kind.kind)
                if reason:
                    because = (f"{pair.kind} {pin.part} to {name}", reason)
                    found[far] = Ground(far, 0.7, because)


def _local_ground(
    board: Board, kinds: Mapping[str, PartKind], net: str, link: str, what: Kind
) -> str:
    """Return why the net is a ground of its own, "" if it is not."""
    others = [pin for pin in board.net_by_name[net].pins if pin.part != link]
    what_else = [kinds[pin.part].kind for pin in others]
    if not others:
        return ""
    leaf = leaf_of(net).upper()
    if "SHIELD" in leaf or "SHLD" in leaf or "SHELL" in leaf:
        return f"name {net}"
    capacitors = what_else.count(Kind.CAPACITOR)
    if capacitors >= FEWEST_CAPACITORS:
        return f"{capacitors} capacitors end here"
    if what in {Kind.FERRITE, Kind.INDUCTOR} and all(
        kind in {Kind.CONNECTOR, Kind.CAPACITOR} for kind in what_else
    ):
        return "nothing but a connector"
    return ""
