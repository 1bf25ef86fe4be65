"""The factors of a component: the Laplacian solved once, asked often, and changed by low rank."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

__all__ = ["Factor", "solver"]

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
