"""Names that no two things of one scope share."""

from __future__ import annotations

from collections.abc import Iterable


class Names:
    """Gives each thing of one scope a name that differs from all others in more than case."""

    def __init__(self, taken: Iterable[str] = ()) -> None:
        self._taken = set(taken)
        self._counts: dict[str, int] = {}

    def new(self, wanted: str) -> str:
        """Return the name itself, else the first of NAME_2, NAME_3... that is free."""
        one = wanted
        while one.lower() in self._taken:
            count = self._counts[wanted] = self._counts.get(wanted, 1) + 1
            one = f"{wanted}_{count}"
        self._taken.add(one.lower())
        return one
