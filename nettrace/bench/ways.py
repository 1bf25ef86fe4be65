"""How two nets are tied: every shortest way through series parts, with its resistance."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Link, NetKind

__all__ = ["MOST_WAYS", "Way", "find_ways"]

#: Ways listed at most; a mesh of parallel parts has more than anyone reads.
MOST_WAYS = 50

#: A net, and the kind of all nets so far (RAIL, GROUND, SIGNAL for the rest), None if mixed.
_State = tuple[str, NetKind | None]


@dataclass(frozen=True, slots=True)
class Way:
    """One way: the links in order, each turned in the direction of travel.

    `ohms` is their sum, None where one of them has no known resistance; `conditional` is what
    must hold for it, "" for always.
    """

    start: str
    links: tuple[Link, ...]
    ohms: float | None
    conditional: str = ""


def find_ways(circuit: Circuit, from_net: str, to_net: str) -> tuple[Way, ...]:
    """Return all ways with the fewest parts, in the order of their parts; () if there is none.

    Two pull-ups to one rail tie nothing together: a way that has come to a rail or ground from
    elsewhere stays on rails, or grounds, that links join.

    Method: breadth-first over the links; cost is the number of links of the nets it meets.
    """
    if from_net == to_net:
        return (Way(from_net, (), 0.0),)
    start: _State = (from_net, _kind(circuit, from_net))
    came: dict[_State, list[tuple[_State, Link]]] = {start: []}
    edge = [start]
    goals: list[_State] = []
    while edge and not goals:
        reached: dict[_State, list[tuple[_State, Link]]] = {}
        for state in edge:
            for after, link in _steps(circuit, state):
                if after not in came:
                    reached.setdefault(after, []).append((state, link))
        came.update(reached)
        edge = list(reached)
        goals = [state for state in edge if state[0] == to_net]
    found: list[Way] = []
    for goal in goals:
        for links in _back(came, goal):
            known = [link.ohms for link in links if link.ohms is not None]
            ohms = sum(known) if len(known) == len(links) else None
            terms = dict.fromkeys(link.conditional for link in links if link.conditional)
            found.append(Way(from_net, links, ohms, " and ".join(terms)))
            if len(found) >= MOST_WAYS:
                return tuple(found)
    return tuple(found)


def _kind(circuit: Circuit, net: str) -> NetKind:
    kind = circuit.net_kind(net)
    return kind if kind in {NetKind.RAIL, NetKind.GROUND} else NetKind.SIGNAL


def _steps(circuit: Circuit, state: _State) -> Iterator[tuple[_State, Link]]:
    net, only = state
    here = _kind(circuit, net)
    for link in circuit.links.get(net, ()):
        there = _kind(circuit, link.to_net)
        if there is not here and here is not NetKind.SIGNAL and only is not here:
            continue
        yield (link.to_net, only if there is only else None), link


def _back(
    came: dict[_State, list[tuple[_State, Link]]], goal: _State
) -> Iterator[tuple[Link, ...]]:
    """Yield the chains of links that lead to the goal; each is as long as the search was deep."""
    pending: list[tuple[_State, tuple[Link, ...]]] = [(goal, ())]
    while pending:
        state, tail = pending.pop()
        before = came[state]
        if not before:
            yield tail
        pending.extend((earlier, (link, *tail)) for earlier, link in reversed(before))
