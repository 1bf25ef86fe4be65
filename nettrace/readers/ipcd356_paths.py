"""Paths of IPC-D-356: outline records and their continuations, with modal coordinates."""

from __future__ import annotations

import re

from nettrace.errors import Place
from nettrace.model.builder import BoardBuilder
from nettrace.readers.ipcd356_header import Unit

__all__ = ["OutlineReader"]

_STEP = re.compile(r"\s*(?:(\*)|(?:X([+-]?[0-9]+))?(?:Y([+-]?[0-9]+))?)")
_PATH_COLUMN = 18  # from here on, counted from 0: the numbers
BOARD_EDGE = "BOARD_EDGE"


class OutlineReader:
    """Collects the board's edge. A coordinate that is not repeated keeps its value (modal)."""

    def __init__(self, unit: Unit, builder: BoardBuilder) -> None:
        self._unit = unit
        self._builder = builder
        self._paths: list[list[tuple[float, float]]] = []
        self._x: float | None = None
        self._y: float | None = None
        self._open = False
        self._others: dict[str, int] = {}

    def start(self, line: str, number: int) -> None:
        """Read a 389 record."""
        kind = line[3:17].strip()
        self._open = kind == BOARD_EDGE
        if not self._open:
            first = kind not in self._others
            self._others[kind] = self._others.get(kind, 0) + 1
            if first:
                self._builder.warn(
                    "outline-skipped",
                    f"the outline '{kind}' is no board edge; it is not kept",
                    Place(self._builder.path, number, 4),
                )
            return
        self._x = self._y = None
        self._paths.append([])
        self._add(line, _PATH_COLUMN - 1, number)

    def go_on(self, line: str, number: int) -> None:
        """Read a 089 record: the path goes on."""
        if self._open:
            self._add(line, 3, number)

    def finish(self) -> list[tuple[tuple[float, float], ...]]:
        """Return the paths that have a length, mm."""
        return [tuple(path) for path in self._paths if len(path) > 1]

    def _add(self, line: str, start: int, number: int) -> None:
        text = line.rstrip()
        at = start
        while at < len(text):
            step = _STEP.match(text, at)
            if step is None or not (step[1] or step[2] or step[3]):
                at += len(text[at:]) - len(text[at:].lstrip())
                self._builder.warn(
                    "outline-cut",
                    f"'{text[at : at + 12]}' where X and Y numbers were expected; "
                    "the outline stops here",
                    Place(self._builder.path, number, at + 1),
                )
                self._open = False
                return
            at = step.end()
            if step[1]:
                self._paths.append([])
                continue
            if step[2]:
                self._x = self._unit.millimetres(int(step[2]))
            if step[3]:
                self._y = self._unit.millimetres(int(step[3]))
            if self._x is not None and self._y is not None:
                self._paths[-1].append((self._x, self._y))
