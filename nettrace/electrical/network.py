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

from nettrace.electrical.factor import Factor, solver

__all__ = ["Network", "Resistor"]


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
