"""Nodal analysis of a network of resistors: effective resistance, voltages, power, changes.

Pure numbers: nodes are any names, resistors join two of them. Links of 0 Ω make nodes one, so they
cost nothing and are exact. One part removed, changed or shorted is answered from the factors
already at hand (Sherman, Morrison and Woodbury), not by solving anew.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from heapq import heapify, heappop, heappush
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    import numpy as np

    Vector = np.ndarray[tuple[int, ...], np.dtype[np.float64]]


@dataclass(frozen=True, slots=True)
class Resistor:
    """A resistance between two nodes, Ω, not negative; `name` is the part's."""

    name: str
    a: str
    b: str
    ohms: float


@dataclass(frozen=True)
class Network:
    """Resistors between named nodes.

    Raises:
        ValueError: a resistance is negative or not a number.
    """

    resistors: tuple[Resistor, ...]
    _factors: dict[int, Factor] = field(default_factory=dict, compare=False, repr=False)

    def __post_init__(self) -> None:
        for resistor in self.resistors:
            if not resistor.ohms >= 0 or math.isinf(resistor.ohms):
                raise ValueError(f"{resistor.name}: {resistor.ohms} Ω is no resistance")

    # -- shape -------------------------------------------------------------------------------

    @cached_property
    def _node(self) -> Mapping[str, int]:
        """Name -> number of the merged node (links of 0 Ω join names)."""
        parent: dict[str, str] = {}
        for resistor in self.resistors:
            first, second = _find(parent, resistor.a), _find(parent, resistor.b)
            if resistor.ohms == 0 and first != second:
                parent[first] = second
        numbers: dict[str, int] = {}
        return {
            name: numbers.setdefault(_find(parent, name), len(numbers)) for name in list(parent)
        }

    @cached_property
    def _edges(self) -> tuple[tuple[int, int, float, str], ...]:
        """(node, node, siemens, part name) of every resistor above 0 Ω between two nodes."""
        node = self._node
        return tuple(
            (node[r.a], node[r.b], 1 / r.ohms, r.name)
            for r in self.resistors
            if node[r.a] != node[r.b]
        )

    @cached_property
    def _edges_by_name(self) -> Mapping[str, list[tuple[int, int, float, str]]]:
        found: dict[str, list[tuple[int, int, float, str]]] = {}
        for edge in self._edges:
            found.setdefault(edge[3], []).append(edge)
        return found

    @cached_property
    def _links(self) -> frozenset[str]:
        """Parts of 0 Ω, and those between two names of one node."""
        return frozenset(r.name for r in self.resistors if self._node[r.a] == self._node[r.b])

    @cached_property
    def _component(self) -> Sequence[int]:
        """Node number -> component number."""
        count = max(self._node.values(), default=-1) + 1
        parent = list(range(count))

        def find(node: int) -> int:
            while parent[node] != node:
                parent[node] = parent[parent[node]]
                node = parent[node]
            return node

        for a, b, _, _ in self._edges:
            parent[find(a)] = find(b)
        return [find(node) for node in range(count)]

    @cached_property
    def _members(self) -> Mapping[int, list[int]]:
        found: dict[int, list[int]] = {}
        for node, component in enumerate(self._component):
            found.setdefault(component, []).append(node)
        return found

    @cached_property
    def _edges_of_component(self) -> Mapping[int, list[tuple[int, int, float]]]:
        found: dict[int, list[tuple[int, int, float]]] = {}
        for a, b, siemens, _ in self._edges:
            found.setdefault(self._component[a], []).append((a, b, siemens))
        return found

    def same_node(self, a: str, b: str) -> bool:
        """Return whether only links of 0 Ω lie between the two."""
        return a == b or (a in self._node and self._node.get(a) == self._node.get(b))

    def connected(self, a: str, b: str) -> bool:
        """Return whether a current can flow between the two."""
        if a == b:
            return True
        first, second = self._node.get(a), self._node.get(b)
        if first is None or second is None:
            return False
        return self._component[first] == self._component[second]

    def connected_nodes(self, a: str) -> frozenset[str]:
        """Return all names that a current from `a` can reach, `a` among them."""
        number = self._node.get(a)
        if number is None:
            return frozenset({a})
        mine = self._component[number]
        return frozenset(name for name, node in self._node.items() if self._component[node] == mine)

    def held_around(self, start: str, held: Iterable[str]) -> tuple[str, ...]:
        """Return the held names that a current from `start` meets first, in the order given."""
        names = list(held)
        stop = {self._node[name] for name in names if name in self._node}
        first = self._node.get(start)
        if first is None:
            return ()
        ways: dict[int, list[int]] = {}
        for a, b, _ in self._edges_of_component.get(self._component[first], ()):
            ways.setdefault(a, []).append(b)
            ways.setdefault(b, []).append(a)
        seen, todo = {first}, [first]
        while todo:
            node = todo.pop()
            if node in stop and node != first:
                continue
            for other in ways.get(node, ()):
                if other not in seen:
                    seen.add(other)
                    todo.append(other)
        return tuple(name for name in names if self._node.get(name) in seen)

    # -- answers -----------------------------------------------------------------------------

    def resistance(self, a: str, b: str) -> float:
        """Return the effective resistance between two nodes, Ω; infinity if nothing joins them.

        Method: one solve with the factors of the component, kept for further questions.
        """
        if self.same_node(a, b):
            return 0.0
        if not self.connected(a, b):
            return math.inf
        factor = self._factor(self._component[self._node[a]])
        potentials = factor.solve({self._node[a]: 1.0, self._node[b]: -1.0})
        return float(potentials[self._node[a]] - potentials[self._node[b]])

    def resistance_with(self, a: str, b: str, changes: Mapping[str, float | None]) -> float:
        """Return the effective resistance with parts changed.

        Args:
            a: one node.
            b: the other.
            changes: part name -> new resistance in Ω for all its resistors; None: removed;
                0: shorted.

        Method: a low-rank update of the factors; solved anew only where a removed part was the
        one way, or where a changed part had 0 Ω.
        """
        if self.same_node(a, b) or not self.connected(a, b):
            return self.changed(changes).resistance(a, b)
        component = self._component[self._node[a]]
        if not self._links.isdisjoint(changes):
            return self.changed(changes).resistance(a, b)
        touched = [edge for name in changes for edge in self._edges_by_name.get(name, ())]
        inside = [edge for edge in touched if self._component[edge[0]] == component]
        factor = self._factor(component)
        updated = factor.updated(
            (self._node[a], self._node[b]),
            [(first, second, siemens, changes[name]) for first, second, siemens, name in inside],
        )
        if updated is None:
            return self.changed(changes).resistance(a, b)
        return updated

    def changed(self, changes: Mapping[str, float | None]) -> Network:
        """Return the network with parts changed (see `resistance_with`)."""
        resistors = []
        for resistor in self.resistors:
            if resistor.name not in changes:
                resistors.append(resistor)
                continue
            ohms = changes[resistor.name]
            if ohms is not None:
                resistors.append(Resistor(resistor.name, resistor.a, resistor.b, ohms))
        return Network(tuple(resistors))

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
            if node is None:
                continue
            if held.get(node, volts) != volts:
                raise ValueError(f"{name} is held at {volts} V and at {held[node]} V")
            held[node] = volts
        solved: dict[int, float] = {}
        for component in {self._component[node] for node in held}:
            solved.update(self._dirichlet(component, held))
        found = {name: solved[node] for name, node in self._node.items() if node in solved}
        found.update({name: volts for name, volts in fixed.items() if name not in found})
        return found

    def power(self, fixed: Mapping[str, float]) -> Mapping[str, float]:
        """Return the power in each part with the fixed voltages on, W; arrays are summed."""
        volts = self.voltages(fixed)
        found: dict[str, float] = {}
        for resistor in self.resistors:
            if resistor.ohms > 0 and resistor.a in volts and resistor.b in volts:
                drop = volts[resistor.a] - volts[resistor.b]
                found[resistor.name] = found.get(resistor.name, 0.0) + drop**2 / resistor.ohms
        return found

    # -- solving -----------------------------------------------------------------------------

    def _factor(self, component: int) -> Factor:
        factor = self._factors.get(component)
        if factor is None:
            factor = Factor(self._members[component], self._edges_of_component[component])
            self._factors[component] = factor
        return factor

    def _dirichlet(self, component: int, held: Mapping[int, float]) -> dict[int, float]:
        members = self._members[component]
        solved = {node: held[node] for node in members if node in held}
        free = [node for node in members if node not in held]
        if not free:
            return solved
        index = {node: position for position, node in enumerate(free)}
        rows: list[tuple[int, int, float]] = []
        diagonal = [0.0] * len(free)
        sources = [0.0] * len(free)
        for a, b, siemens in self._edges_of_component[component]:
            for one, other in ((a, b), (b, a)):
                if one in index:
                    diagonal[index[one]] += siemens
                    if other in index:
                        rows.append((index[one], index[other], -siemens))
                    else:
                        sources[index[one]] += siemens * held[other]
        potentials = solver(len(free), rows, diagonal)(sources)
        solved.update((node, float(potentials[index[node]])) for node in free)
        return solved


def _find(parent: dict[str, str], name: str) -> str:
    parent.setdefault(name, name)
    while parent[name] != name:
        parent[name] = parent[parent[name]]
        name = parent[name]
    return name


# -- The factors of a component: the Laplacian solved once, asked often, and changed by low ran


#: Components up to this many nodes are solved dense: scipy's import costs more than it saves.
DENSE_NODES = 250
#: A removed resistor that carried more than this share of the current was the only way.
BRIDGE = 1 - 1e-9


class Factor:
    """The factored Laplacian of one component, one node of it held at 0 V."""

    def __init__(self, members: Sequence[int], edges: Sequence[tuple[int, int, float]]) -> None:
        degree: dict[int, int] = dict.fromkeys(members, 0)
        for a, b, _ in edges:
            degree[a] += 1
            degree[b] += 1
        # holding the best-connected node keeps the rest sparse
        self.held = max(members, key=lambda node: degree[node])
        self.index = {
            node: position
            for position, node in enumerate(node for node in members if node != self.held)
        }
        rows: list[tuple[int, int, float]] = []
        diagonal = [0.0] * len(self.index)
        for a, b, siemens in edges:
            for one, other in ((a, b), (b, a)):
                if one != self.held:
                    diagonal[self.index[one]] += siemens
                    if other != self.held:
                        rows.append((self.index[one], self.index[other], -siemens))
        self._solve = solver(len(self.index), rows, diagonal)

    def solve(self, injected: Mapping[int, float]) -> Mapping[int, float]:
        """Return node -> volts for amperes injected into nodes (they sum to 0)."""
        potentials = self._vector(injected)
        return {
            node: 0.0 if node == self.held else float(potentials[self.index[node]])
            for node in injected
        }

    def _vector(self, injected: Mapping[int, float]) -> Any:
        sources = [0.0] * len(self.index)
        for node, amperes in injected.items():
            if node != self.held:
                sources[self.index[node]] += amperes
        return self._solve(sources)

    def _across(self, potentials: Any, a: int, b: int) -> float:
        first = 0.0 if a == self.held else float(potentials[self.index[a]])
        second = 0.0 if b == self.held else float(potentials[self.index[b]])
        return first - second

    def updated(
        self,
        pair: tuple[int, int],
        changes: Sequence[tuple[int, int, float, float | None]],
    ) -> float | None:
        """Return the resistance between a pair after changes; None where it must be solved anew.

        Args:
            pair: the two nodes.
            changes: (node, node, siemens so far, new Ω or None for removed).
        """
        import numpy as np

        a, b = pair
        base = self._vector({a: 1.0, b: -1.0})
        resistance = self._across(base, a, b)
        if not changes:
            return resistance
        size = len(changes)
        fields = [self._vector({first: 1.0, second: -1.0}) for first, second, *_ in changes]
        inner = np.empty((size, size))
        across = np.empty(size)
        for row, (first, second, siemens, ohms) in enumerate(changes):
            across[row] = self._across(base, first, second)
            for column in range(size):
                inner[row, column] = self._across(fields[column], first, second)
            removed = ohms is None
            if removed and siemens * inner[row, row] >= BRIDGE:
                return None
            if ohms == 0:
                continue
            added = (0.0 if removed else 1 / (ohms or 1.0)) - siemens
            if added == 0:
                return None
            inner[row, row] += 1 / added
        try:
            correction = np.linalg.solve(inner, across)
        except np.linalg.LinAlgError:
            return None
        found = resistance - float(across @ correction)
        lost = np.linalg.cond(inner) > 1e12
        return None if lost or not math.isfinite(found) or found < 0 else found


def solver(size: int, rows: Sequence[tuple[int, int, float]], diagonal: Sequence[float]) -> Any:
    """Return a function from a right-hand side to the solution of the symmetric system."""
    import numpy as np

    if size == 0:
        return lambda _: np.zeros(0)
    if size <= DENSE_NODES:
        matrix = np.diag(np.asarray(diagonal, dtype=float))
        for row, column, value in rows:
            matrix[row, column] += value
        inverse = np.linalg.inv(matrix)
        return lambda sources: inverse @ np.asarray(sources, dtype=float)
    from scipy.sparse import csc_array
    from scipy.sparse.linalg import splu

    places = [(row, column) for row, column, _ in rows] + [(i, i) for i in range(size)]
    values = [value for *_, value in rows] + list(diagonal)
    sparse = csc_array(
        (values, ([row for row, _ in places], [column for _, column in places])),
        shape=(size, size),
    )
    factors = splu(sparse, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
    return lambda sources: factors.solve(np.asarray(sources, dtype=float))


# -- A resistor network seen from a few of its nodes, for asking many variants of it quickly.


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
