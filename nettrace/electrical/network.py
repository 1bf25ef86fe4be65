"""Networks of resistors: effective resistance, voltages, and a network seen from a few nodes.

Pure numbers: nodes are any names, resistors join two of them. Links of 0 Ω make nodes one, so they
cost nothing and are exact. `Network` answers for any two nodes of one network; `fold` leaves of a
network what a few ports see, so that many variants around those ports are asked quickly.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from heapq import heapify, heappop, heappush
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Generic, NamedTuple, TypeVar

if TYPE_CHECKING:
    import numpy as np

    Vector = np.ndarray[tuple[int, ...], np.dtype[np.float64]]

#: Systems up to this size are solved dense: scipy's import costs more than it saves.
DENSE_NODES = 250
#: Conductances this many times below a node's greatest are not carried on when nodes are folded.
NEGLIGIBLE = 1e-15

_NO_WAYS: Mapping[str, Iterable[str]] = MappingProxyType({})

_Node = TypeVar("_Node", bound=Hashable)


class Groups(Generic[_Node]):
    """What is joined with what; the root of a group stands for it."""

    def __init__(self, nodes: Iterable[_Node] = ()) -> None:
        self.parent: dict[_Node, _Node] = {node: node for node in nodes}

    def root(self, node: _Node) -> _Node:
        """Return the one node that stands for all that are joined with this one."""
        parent = self.parent
        while (up := parent.setdefault(node, node)) != node:
            parent[node] = parent[up]
            node = up
        return node

    def join(self, first: _Node, second: _Node) -> None:
        """Make the groups of two nodes one."""
        self.parent[self.root(first)] = self.root(second)


@dataclass(frozen=True, slots=True)
class Resistor:
    """A resistance between two nodes, Ω, not negative; `name` is the part's."""

    name: str
    a: str
    b: str
    ohms: float


@dataclass(frozen=True)
class Network:
    """Resistors between named nodes; what was solved is kept for further questions.

    Raises:
        ValueError: a resistance is negative or not a number.
    """

    resistors: tuple[Resistor, ...]
    _solved: dict[int, _Equations] = field(default_factory=dict, compare=False, repr=False)

    def __post_init__(self) -> None:
        for resistor in self.resistors:
            if not resistor.ohms >= 0 or math.isinf(resistor.ohms):
                raise ValueError(f"{resistor.name}: {resistor.ohms} Ω is no resistance")

    # -- shape -------------------------------------------------------------------------------

    @cached_property
    def _node(self) -> Mapping[str, int]:
        """Name -> number of the merged node (links of 0 Ω join names)."""
        groups: Groups[str] = Groups()
        for resistor in self.resistors:
            first, second = groups.root(resistor.a), groups.root(resistor.b)
            if resistor.ohms == 0:
                groups.join(first, second)
        numbers: dict[str, int] = {}
        return {
            name: numbers.setdefault(groups.root(name), len(numbers))
            for name in list(groups.parent)
        }

    @cached_property
    def _pieces(self) -> tuple[Sequence[int], Mapping[int, list[int]], Mapping[int, list[_Way]]]:
        """Node number -> connected piece; piece -> its nodes; piece -> its ways above 0 Ω."""
        node = self._node
        count = max(node.values(), default=-1) + 1
        ways = [
            (node[r.a], node[r.b], 1 / r.ohms) for r in self.resistors if node[r.a] != node[r.b]
        ]
        groups = Groups(range(count))
        for a, b, _ in ways:
            groups.join(a, b)
        piece_of = [groups.root(number) for number in range(count)]
        members: dict[int, list[int]] = {}
        inside: dict[int, list[_Way]] = {}
        for number, piece in enumerate(piece_of):
            members.setdefault(piece, []).append(number)
        for way in ways:
            inside.setdefault(piece_of[way[0]], []).append(way)
        return piece_of, members, inside

    def same_node(self, a: str, b: str) -> bool:
        """Return whether only links of 0 Ω lie between the two."""
        return a == b or (a in self._node and self._node.get(a) == self._node.get(b))

    def connected(self, a: str, b: str) -> bool:
        """Return whether a current can flow between the two."""
        first, second = self._node.get(a), self._node.get(b)
        if first is None or second is None:
            return a == b
        return self._pieces[0][first] == self._pieces[0][second]

    def connected_nodes(self, a: str) -> frozenset[str]:
        """Return all names that a current from `a` can reach, `a` among them."""
        number = self._node.get(a)
        if number is None:
            return frozenset({a})
        piece_of = self._pieces[0]
        return frozenset(n for n, node in self._node.items() if piece_of[node] == piece_of[number])

    def one_with(self, names: Collection[str]) -> frozenset[str]:
        """Return the names, and all that only links of 0 Ω part from one of them."""
        nodes = {self._node.get(name) for name in names} - {None}
        return frozenset(n for n, node in self._node.items() if node in nodes) | frozenset(names)

    @cached_property
    def _neighbours(self) -> Mapping[str, set[str]]:
        found: dict[str, set[str]] = {}
        for r in self.resistors:
            found.setdefault(r.a, set()).add(r.b)
            found.setdefault(r.b, set()).add(r.a)
        return found

    def around(
        self, start: str, held: Collection[str], one_way: Mapping[str, Iterable[str]] = _NO_WAYS
    ) -> frozenset[str]:
        """Return the names that a current from `start` meets: held ones too, but none behind them.

        `one_way` are further ways that pass it in one direction alone.
        """
        stop = self.one_with(held) - self.one_with([start])
        seen, todo = {start}, [start]
        while todo:
            here = todo.pop()
            further = () if here in stop else one_way.get(here, ())
            fresh = {*self._neighbours.get(here, ()), *further} - seen
            # links of 0 Ω make names one: from a held name only they lead on
            fresh = {n for n in fresh if here not in stop or self.same_node(here, n)}
            seen |= fresh
            todo += fresh
        return frozenset(seen)

    # -- answers -----------------------------------------------------------------------------

    def resistance(self, a: str, b: str) -> float:
        """Return the effective resistance between two nodes, Ω; infinity if nothing joins them.

        Method: one solve with the factors of the connected piece, one node of it held at 0 V.
        """
        if self.same_node(a, b):
            return 0.0
        if not self.connected(a, b):
            return math.inf
        piece_of, members, inside = self._pieces
        first, second = self._node[a], self._node[b]
        piece = piece_of[first]
        if piece not in self._solved:
            degree = dict.fromkeys(members[piece], 0)
            for one, other, _ in inside[piece]:
                degree[one] += 1
                degree[other] += 1
            # holding the best-connected node keeps the rest sparse
            held = max(members[piece], key=lambda node: degree[node])
            self._solved[piece] = _Equations(members[piece], inside[piece], {held: 0.0})
        volts = self._solved[piece].volts((first, second), {first: 1.0, second: -1.0})
        return volts[first] - volts[second]

    def changed(self, changes: Mapping[str, float | None]) -> Network:
        """Return the network with parts changed.

        Args:
            changes: part name -> new resistance in Ω for all its resistors; None: removed.
        """
        kept = [(r, changes.get(r.name, r.ohms)) for r in self.resistors]
        return Network(tuple(Resistor(r.name, r.a, r.b, o) for r, o in kept if o is not None))

    def joined(self, groups: Iterable[Sequence[str]]) -> Network:
        """Return the network with each group of nodes made one node."""
        links = [Resistor("", group[0], other, 0.0) for group in groups for other in group[1:]]
        return Network((*self.resistors, *links))

    def voltages(self, fixed: Mapping[str, float]) -> Mapping[str, float]:
        """Return the voltage of every node that the fixed ones reach, V.

        Args:
            fixed: node -> volts (a rail, a ground at 0).

        Raises:
            ValueError: two fixed nodes are one node and differ.
        """
        held: dict[int, float] = {}
        for name, volts in fixed.items():
            node = self._node.get(name)
            if node is not None and held.setdefault(node, volts) != volts:
                raise ValueError(f"{name} is held at {volts} V and at {held[node]} V")
        piece_of, members, inside = self._pieces
        solved: dict[int, float] = {}
        for piece in {piece_of[node] for node in held}:
            mine = {node: held[node] for node in members[piece] if node in held}
            equations = _Equations(members[piece], inside.get(piece, ()), mine)
            solved.update(equations.volts(members[piece]))
        found = {name: solved[node] for name, node in self._node.items() if node in solved}
        return {**fixed, **found}


#: Two nodes and the siemens between them.
_Way = tuple[int, int, float]


class _Equations:
    """The nodal equations of one connected piece, factored: some of its nodes are held, V."""

    def __init__(
        self, members: Sequence[int], ways: Iterable[_Way], held: Mapping[int, float]
    ) -> None:
        self._held = held
        free = [node for node in members if node not in held]
        self._index = index = {node: at for at, node in enumerate(free)}
        rows: list[_Way] = []
        diagonal = [0.0] * len(index)
        self._sources = [0.0] * len(index)
        for a, b, siemens in ways:
            for one, other in ((a, b), (b, a)):
                if one in index:
                    diagonal[index[one]] += siemens
                    if other in index:
                        rows.append((index[one], index[other], -siemens))
                    else:
                        self._sources[index[one]] += siemens * held[other]
        self._solve = _solver(rows, diagonal)

    def volts(
        self, nodes: Iterable[int], injected: Mapping[int, float] | None = None
    ) -> dict[int, float]:
        """Return the volts of nodes, with amperes injected into some."""
        sources = list(self._sources)
        for node, amperes in (injected or {}).items():
            if node in self._index:
                sources[self._index[node]] += amperes
        found = self._solve(sources)
        return {
            n: self._held[n] if n in self._held else float(found[self._index[n]]) for n in nodes
        }


def _solver(rows: Sequence[_Way], diagonal: Sequence[float]) -> Callable[[Sequence[float]], Any]:
    """Return a function from a right-hand side to the solution of the symmetric system."""
    import numpy as np

    size = len(diagonal)
    if size <= DENSE_NODES:
        matrix = np.diag(np.asarray(diagonal, dtype=float))
        for row, column, value in rows:
            matrix[row, column] += value
        inverse = np.linalg.inv(matrix)
        return lambda sources: inverse @ np.asarray(sources, dtype=float)
    from scipy.sparse import csc_array
    from scipy.sparse.linalg import splu

    entries = [*rows, *((at, at, value) for at, value in enumerate(diagonal))]
    down, across, values = zip(*entries, strict=True)
    sparse = csc_array((values, (down, across)), shape=(size, size))
    factors = splu(sparse, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
    return lambda sources: factors.solve(np.asarray(sources, dtype=float))


# -- a network seen from its ports ---------------------------------------------------------------


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
    edges: tuple[_Way, ...]

    def resistances(
        self, pairs: Sequence[tuple[str, str]], added: Iterable[Edge] = ()
    ) -> list[float]:
        """Return the resistance of each pair of ports with edges added, Ω; infinite if apart.

        Method: nodal analysis, one inversion for all pairs of a connected piece; the added edges
        may name nodes of their own, which are no ports.
        """
        number, groups, ways = self._joined(added)
        pieces: Groups[int] = Groups()
        inside: dict[int, list[_Way]] = {}
        between = [(groups.root(a), groups.root(b), siemens) for a, b, siemens in ways]
        for i, j, _ in between:
            pieces.join(i, j)
        for way in between:
            if way[0] != way[1]:
                inside.setdefault(pieces.root(way[0]), []).append(way)
        solved: dict[int, tuple[dict[int, int], list[list[float]]]] = {}
        found = []
        for a, b in pairs:
            i, j = number.get(a, -1), number.get(b, -2)
            if a == b or i == j:
                found.append(0.0)
            elif i < 0 or j < 0 or pieces.root(i) != pieces.root(j):
                found.append(math.inf)
            else:
                piece = pieces.root(i)
                if piece not in solved:
                    solved[piece] = _inverse(inside[piece], piece)
                index, rows = solved[piece]
                first, second = index[i], index[j]
                across = rows[first][first] + rows[second][second] - 2 * rows[first][second]
                found.append(max(0.0, across))
        return found

    def nodes(self, added: Iterable[Edge] = ()) -> dict[str, int]:
        """Return the number of the node that each name is part of with edges of 0 Ω added."""
        return self._joined(added)[0]

    def _joined(self, added: Iterable[Edge]) -> tuple[dict[str, int], Groups[int], list[_Way]]:
        """Return name -> node with edges added, the nodes that are one, and the ways above 0 Ω."""
        number = dict(self.group)
        groups = Groups(range(self.count))
        ways = list(self.edges)
        for a, b, ohms in added:
            first = number.setdefault(a, len(groups.parent))
            groups.root(first)
            second = number.setdefault(b, len(groups.parent))
            if ohms == 0:
                groups.join(first, second)
            else:
                groups.root(second)
                ways.append((first, second, 1 / ohms))
        return {name: groups.root(at) for name, at in number.items()}, groups, ways


def _inverse(ways: Sequence[_Way], held: int) -> tuple[dict[int, int], list[list[float]]]:
    """Return node -> row, and the inverse of a piece's matrix with one node held at 0 V.

    Gauss and Jordan without pivots: the matrix is positive definite. A library's inversion starts
    threads even for thirty nodes, which costs more than it saves, and very much more on a busy
    machine.
    """
    import numpy as np

    index: dict[int, int] = {held: 0}
    for i, j, _ in ways:
        index.setdefault(i, len(index))
        index.setdefault(j, len(index))
    whole: Vector = np.zeros((len(index), len(index)))
    for i, j, siemens in ways:
        a, b = index[i], index[j]
        whole[a, a] += siemens
        whole[b, b] += siemens
        whole[a, b] -= siemens
        whole[b, a] -= siemens
    matrix = whole[1:, 1:].copy()
    for k in range(len(matrix)):
        pivot = matrix[k, k]
        row = matrix[k] / pivot
        column = matrix[:, k].copy()
        matrix -= column[:, None] * row
        matrix[k] = row
        matrix[:, k] = -column / pivot
        matrix[k, k] = 1 / pivot
    whole[:] = 0.0
    whole[1:, 1:] = matrix
    rows: list[list[float]] = whole.tolist()
    return index, rows


def fold(edges: Iterable[Edge], ports: Iterable[str]) -> PortNetwork:
    """Return the network as its ports see it; ports that no edge names stand alone.

    Method: links of 0 Ω join nodes; every node that is no port is folded into its neighbours
    (star-mesh transform: siemens g_i g_j / sum g between each two), fewest neighbours first.
    Only sums and products of positive numbers, so nothing is lost by cancelling.
    """
    groups: Groups[str] = Groups()
    kept = list(dict.fromkeys(ports))
    conducting: list[Edge] = []
    for name in kept:
        groups.root(name)
    for edge in edges:
        if edge.ohms == 0:
            groups.join(edge.a, edge.b)
        else:
            groups.root(edge.a)
            groups.root(edge.b)
            conducting.append(edge)
    ways: dict[str, dict[str, float]] = {}
    for a, b, ohms in conducting:
        first, second = groups.root(a), groups.root(b)
        if first != second:
            _add(ways, first, second, 1 / ohms)
    roots = dict.fromkeys(groups.root(port) for port in kept)
    _eliminate(ways, roots)
    index = {root: number for number, root in enumerate(roots)}
    group = {
        name: index[root] for name in list(groups.parent) if (root := groups.root(name)) in index
    }
    left = tuple(
        (index[one], index[other], siemens)
        for one, around in ways.items()
        for other, siemens in around.items()
        if index[one] < index[other]
    )
    return PortNetwork(group, len(index), left)


def _add(ways: dict[str, dict[str, float]], a: str, b: str, siemens: float) -> None:
    for one, other in ((a, b), (b, a)):
        around = ways.setdefault(one, {})
        around[other] = around.get(other, 0.0) + siemens


def _eliminate(ways: dict[str, dict[str, float]], keep: Mapping[str, object]) -> None:
    """Fold every node but those to keep; each heap entry is checked against the present degree."""
    order = {node: number for number, node in enumerate(ways)}
    heap = [(len(around), order[node], node) for node, around in ways.items() if node not in keep]
    heapify(heap)
    while heap:
        degree, _, node = heappop(heap)
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
                heappush(heap, (len(ways[other]), order[other], other))
