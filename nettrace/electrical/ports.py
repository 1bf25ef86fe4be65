"""A resistor network seen from a few of its nodes, for asking many variants of it quickly.

All other nodes are folded away once (star to mesh, exact, by the least-connected node first).
What is left is a small matrix: a variant of the network is a few links and resistors more, and one
inversion gives every resistance between the nodes that matter.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from heapq import heapify, heappop, heappush
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    import numpy as np

    Vector = np.ndarray[tuple[int, ...], np.dtype[np.float64]]

__all__ = ["Edge", "PortNetwork", "fold"]

#: Conductances this many times below a node's greatest are not carried on when nodes are folded.
NEGLIGIBLE = 1e-15


class Edge(NamedTuple):
    """A resistance between two nodes, Ω, not negative; 0 makes them one."""

    a: str
    b: str
    ohms: float


@dataclass(frozen=True, slots=True)
class PortNetwork:
    """What `fold` leaves: groups of ports that are one node, and siemens between groups.

    `group` maps each port, and each node that is one with a port, to its group's number; `edges`
    are (group, group, siemens).
    """

    group: dict[str, int]
    count: int
    edges: tuple[tuple[int, int, float], ...]

    def resistances(
        self, pairs: Sequence[tuple[str, str]], added: Iterable[Edge] = ()
    ) -> list[float]:
        """Return the resistance of each pair of ports with edges added, Ω; infinite if apart.

        Method: nodal analysis, one inversion for all pairs of a connected piece; the added edges
        may name nodes of their own, which are no ports.
        """
        number = dict(self.group)
        parent = list(range(self.count))
        more: list[tuple[int, int, float]] = []
        for a, b, ohms in added:
            for name in (a, b):
                if number.setdefault(name, len(parent)) == len(parent):
                    parent.append(len(parent))
            first, second = number[a], number[b]
            if ohms == 0:
                parent[_root(parent, first)] = _root(parent, second)
            else:
                more.append((first, second, 1 / ohms))
        reach = list(range(len(parent)))
        ways: list[tuple[int, int, float]] = []
        for a_group, b_group, siemens in (*self.edges, *more):
            i, j = _root(parent, a_group), _root(parent, b_group)
            if i != j:
                ways.append((i, j, siemens))
                reach[_root(reach, i)] = _root(reach, j)
        wanted = [(number.get(a), number.get(b)) for a, b in pairs]
        inverse = _Pieces(ways, reach)
        found = []
        for (a, b), (at, to) in zip(pairs, wanted, strict=True):
            if a == b:
                found.append(0.0)
            elif at is None or to is None:
                found.append(math.inf)
            else:
                found.append(inverse.between(_root(parent, at), _root(parent, to)))
        return found

    def nodes(self, added: Iterable[Edge] = ()) -> dict[str, int]:
        """Return the number of the node that each name is part of with edges of 0 Ω added."""
        number = dict(self.group)
        parent = list(range(self.count))
        for a, b, ohms in added:
            for name in (a, b):
                if number.setdefault(name, len(parent)) == len(parent):
                    parent.append(len(parent))
            if ohms == 0:
                parent[_root(parent, number[a])] = _root(parent, number[b])
        return {name: _root(parent, at) for name, at in number.items()}


class _Pieces:
    """The connected pieces of a network, each inverted when first asked for."""

    def __init__(self, ways: Sequence[tuple[int, int, float]], reach: list[int]) -> None:
        self._reach = reach
        self._ways: dict[int, list[tuple[int, int, float]]] = {}
        for way in ways:
            self._ways.setdefault(_root(reach, way[0]), []).append(way)
        self._solved: dict[int, tuple[dict[int, int], list[list[float]]]] = {}

    def between(self, i: int, j: int) -> float:
        """Return the resistance between two nodes, Ω."""
        piece = _root(self._reach, i)
        if i == j:
            return 0.0
        if piece != _root(self._reach, j):
            return math.inf
        if piece not in self._solved:
            self._solved[piece] = _inverse(self._ways[piece], piece)
        index, rows = self._solved[piece]
        a, b = index[i], index[j]
        return max(0.0, rows[a][a] + rows[b][b] - 2 * rows[a][b])


def _inverse(
    ways: Sequence[tuple[int, int, float]], held: int
) -> tuple[dict[int, int], list[list[float]]]:
    """Return node -> row, and the inverse of the piece's matrix with one node held at 0 V."""
    import numpy as np

    index: dict[int, int] = {held: 0}
    for i, j, _ in ways:
        index.setdefault(i, len(index))
        index.setdefault(j, len(index))
    matrix = np.zeros((len(index), len(index)))
    for i, j, siemens in ways:
        a, b = index[i], index[j]
        matrix[a, a] += siemens
        matrix[b, b] += siemens
        matrix[a, b] -= siemens
        matrix[b, a] -= siemens
    inverse = np.zeros_like(matrix)
    inverse[1:, 1:] = _swept(matrix[1:, 1:])
    rows: list[list[float]] = inverse.tolist()
    return index, rows


def _swept(matrix: Vector) -> Vector:
    """Return the inverse of a positive definite matrix (Gauss and Jordan, no pivots needed).

    A library's inversion starts threads even for thirty nodes, which costs more than it saves,
    and very much more on a busy machine.
    """
    found = matrix.copy()
    for k in range(len(found)):
        pivot = found[k, k]
        row = found[k] / pivot
        column = found[:, k].copy()
        found -= column[:, None] * row
        found[k] = row
        found[:, k] = -column / pivot
        found[k, k] = 1 / pivot
    return found


def fold(edges: Iterable[Edge], ports: Iterable[str]) -> PortNetwork:
    """Return the network as its ports see it; ports that no edge names stand alone.

    Method: links of 0 Ω join nodes; every node that is no port is folded into its neighbours
    (star-mesh transform: siemens g_i g_j / sum g between each two), fewest neighbours first.
    Only sums and products of positive numbers, so nothing is lost by cancelling.
    """
    names: dict[str, int] = {}
    parent: list[int] = []

    def node(name: str) -> int:
        if name not in names:
            names[name] = len(parent)
            parent.append(len(parent))
        return names[name]

    kept = [node(port) for port in dict.fromkeys(ports)]
    conducting: list[tuple[int, int, float]] = []
    for a, b, ohms in edges:
        first, second = node(a), node(b)
        if ohms == 0:
            parent[_root(parent, first)] = _root(parent, second)
        else:
            conducting.append((first, second, 1 / ohms))
    ways: dict[int, dict[int, float]] = {}
    for first, second, siemens in conducting:
        i, j = _root(parent, first), _root(parent, second)
        if i != j:
            _add(ways, i, j, siemens)
    roots = dict.fromkeys(_root(parent, port) for port in kept)
    _eliminate(ways, set(roots))
    index = {root: number for number, root in enumerate(roots)}
    group = {
        name: index[root] for name, at in names.items() if (root := _root(parent, at)) in index
    }
    left = tuple(
        (index[i], index[j], siemens)
        for i, around in ways.items()
        for j, siemens in around.items()
        if i < j
    )
    return PortNetwork(group, len(index), left)


def _add(ways: dict[int, dict[int, float]], i: int, j: int, siemens: float) -> None:
    for one, other in ((i, j), (j, i)):
        around = ways.setdefault(one, {})
        around[other] = around.get(other, 0.0) + siemens


def _eliminate(ways: dict[int, dict[int, float]], keep: set[int]) -> None:
    """Fold every node but those to keep; each heap entry is checked against the present degree."""
    heap = [(len(around), node) for node, around in ways.items() if node not in keep]
    heapify(heap)
    while heap:
        degree, node = heappop(heap)
        around = ways.get(node)
        if around is None or degree != len(around):
            continue
        del ways[node]
        for other in around:
            del ways[other][node]
        total = sum(around.values())
        items = list(around.items())
        for at, (first, one) in enumerate(items):
            for second, other_siemens in items[at + 1 :]:
                siemens = one * other_siemens / total
                if siemens > NEGLIGIBLE * total:
                    _add(ways, first, second, siemens)
        for other in around:
            if other not in keep:
                heappush(heap, (len(ways[other]), other))


def _root(parent: list[int], node: int) -> int:
    while parent[node] != node:
        parent[node] = parent[parent[node]]
        node = parent[node]
    return node
