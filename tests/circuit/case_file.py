"""Case files: pairs of a small netlist and the findings it must give, told apart by `== TITLE`."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

CASES = Path(__file__).parent / "cases"


class Case(NamedTuple):
    """One pair; `expected` are its lines without blanks around."""

    title: str
    netlist: str
    expected: tuple[str, ...]


def read_cases(name: str) -> list[Case]:
    """Return the cases of `cases/NAME.txt`, in order."""
    cases = []
    for block in (CASES / f"{name}.txt").read_text("utf-8").split("\n== ")[0:]:
        title, _, body = block.removeprefix("== ").partition("\n")
        netlist, _, expected = body.partition("\n--\n")
        lines = tuple(line.strip() for line in expected.splitlines() if line.strip())
        cases.append(Case(title.strip(), netlist, lines))
    return cases
