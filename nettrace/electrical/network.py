"""Networks of resistors: effective resistance, voltages, and a network seen from a few nodes.

Pure numbers: nodes are any names, resistors join two of them. Links of 0 Ω make nodes one, so they
cost nothing and are exact. `fold` leaves of a network what a few ports see, so that many variants
around those ports are asked quickly.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from heapq import heapify, heappop, heappush
from types import MappingProxyType
from typing import TYPE_CHECKING, Generic, NamedTuple, TypeAlias, TypeVar

if TYPE_CHECKING:
    import numpy as np

    Vector: TypeAlias = np.ndarray[tuple[int, ...], np.dtype[np.float64]]

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


class Resistor(NamedTuple):
    """A resistance between two nodes, Ω, not negative; `name` is the part's, "" for none."""

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

    def node(self, name: str) -> int | str:
        """Return what stands for a name and all that links of 0 Ω make one with it."""
        return self._node.get(name, name)

    def same_node(self, a: str, b: str) -> bool:
        """Return whether only links of 0 Ω lie between the two."""
        return self.node(a) == self.node(b)

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
        self,
        start: str,
        held: Collection[str] = (),
        one_way: Mapping[str, Iterable[str]] = _NO_WAYS,
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
        piece_of, members, inside = self._pieces
        first, second = self._node.get(a), self._node.get(b)
        if first is None or second is None or piece_of[first] != piece_of[second]:
            return math.inf
        piece = piece_of[first]
        if piece not in self._solved:
            degree = dict.fromkeys(members[piece], 0)
            for one, other, _ in inside[piece]:
                degree[one] += 1
                degree[other] += 1
            # holding the best-connected node keeps the rest sparse
            held = max(members[piece], key=lambda node: degree[node])
            self._solved[piece] = _Equations(members[piece], inside[piece], {held: 0.0})
        return self._solved[piece].resistance(first, second)

    def changed(self, changes: Mapping[str, float | None]) -> Network:
        """Return the network with parts changed.

        Args:
            changes: part name -> new resistance in Ω for all its resistors; None: removed.
        """
        kept = [(r, changes.get(r.name, r.ohms)) for r in self.resistors]
        return Network(tuple(Resistor(r.name, r.a, r.b, o) for r, o in kept if o is not None))

    def joined(self, groups: Iterable[Sequence[str]]) -> Network:
        """Return the network with each group of nodes made one node."""
        return Network((*self.resistors, *links(groups)))

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
        import numpy as np

        self._held = held
        free = [node for node in members if node not in held]
        self._index = index = {node: at for at, node in enumerate(free)}
        self._sources = np.zeros(len(free))
        entries: dict[tuple[int, int], float] = {(at, at): 0.0 for at in range(len(free))}
        for a, b, siemens in ways:
            for one, other in ((a, b), (b, a)):
                if one not in index:
                    continue
                row = index[one]
                entries[row, row] += siemens
                if other in index:
                    place = row, index[other]
                    entries[place] = entries.get(place, 0.0) - siemens
                else:
                    self._sources[row] += siemens * held[other]
        self._rows: list[list[float]] | None = None
        self._solve: Callable[[Vector], Vector]
        down, across = [row for row, _ in entries], [column for _, column in entries]
        values = list(entries.values())
        if len(free) <= DENSE_NODES:
            matrix = np.zeros((len(free) + 1, len(free) + 1))  # the last row is what is held
            matrix[down, across] = values
            _invert(matrix[:-1, :-1])
            self._rows = matrix.tolist()
            self._solve = matrix[:-1, :-1].__matmul__
        else:
            from scipy.sparse import csc_array
            from scipy.sparse.linalg import splu

            sparse = csc_array((values, (down, across)), shape=(len(free), len(free)))
            factors = splu(sparse, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
            self._solve = factors.solve

    def volts(self, nodes: Iterable[int]) -> dict[int, float]:
        """Return the volts of nodes."""
        found = self._solve(self._sources)
        return {n: float(found[self._index[n]]) if n in self._index else self._held[n]
                for n in nodes}  # fmt: skip

    def resistance(self, a: int, b: int) -> float:
        """Return the resistance between two nodes, Ω, one node of the piece being held."""
        first, second = self._index.get(a, -1), self._index.get(b, -1)
        if self._rows is not None:
            rows = self._rows
            return max(0.0, rows[first][first] + rows[second][second] - 2 * rows[first][second])
        injected = self._sources * 0.0
        for at, amperes in ((first, 1.0), (second, -1.0)):
            if at >= 0:
                injected[at] = amperes
        return float(self._solve(injected) @ injected)


def _invert(matrix: Vector) -> None:
    """Put the inverse of a positive definite matrix in its place.

    Gauss and Jordan without pivots. A library's inversion starts threads even for thirty nodes,
    which costs more than it saves, and very much more on a busy machine.
    """
    for k in range(len(matrix)):
        pivot = matrix[k, k]
        row = matrix[k] / pivot
        column = matrix[:, k].copy()
        matrix -= column[:, None] * row
        matrix[k] = row
        matrix[:, k] = -column / pivot
        matrix[k, k] = 1 / pivot


# -- a network seen from its ports ---------------------------------------------------------------


def links(groups: Iterable[Sequence[str]]) -> list[Resistor]:
    """Return links of 0 Ω that make each group of nodes one."""
    return [Resistor("", group[0], other, 0.0) for group in groups for other in group[1:]]


def fold(resistors: Iterable[Resistor], ports: Iterable[str]) -> Network:
    """Return the network as its ports see it, and what is one with them.

    Method: links of 0 Ω join nodes; every node that is no port is folded into its neighbours
    (star-mesh transform: siemens g_i g_j / sum g between each two), fewest neighbours first.
    Only sums and products of positive numbers, so nothing is lost by cancelling.
    """
    groups: Groups[str] = Groups()
    conducting: list[Resistor] = []
    for resistor in resistors:
        if resistor.ohms == 0:
            groups.join(resistor.a, resistor.b)
        else:
            conducting.append(resistor)
    roots = dict.fromkeys(groups.root(port) for port in ports)
    ways: dict[str, dict[str, float]] = {}
    for _, a, b, ohms in conducting:
        first, second = groups.root(a), groups.root(b)
        if first != second:
            _add(ways, first, second, 1 / ohms)
    _eliminate(ways, roots)
    joined = [
        Resistor("", root, name, 0.0)
        for name in list(groups.parent)
        if (root := groups.root(name)) in roots and name != root
    ]
    order = {root: number for number, root in enumerate(roots)}
    left = [
        Resistor("", one, other, 1 / siemens)
        for one, around in ways.items()
        for other, siemens in around.items()
        if order[one] < order[other]
    ]
    return Network((*joined, *left))


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
