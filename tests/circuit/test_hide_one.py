"""The hide-one trial: each resistor and capacitor of every real board is hidden and proposed for.

The value, description and properties of one part are unknown while everything else stands. True
values are those of the board files; true roles those of `labels/*.json` beside them (an accepted
other word of a label counts, as in its README). A board whose files have no values is passed over.
"""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path

import pytest

import nettrace
from nettrace.circuit.evidence import Proposal
from nettrace.circuit.kinds import Kind

#: What a person can work with: the role is right first but for one position in thirty, the true
#: value is offered for six of seven and is missed altogether by less than one in ten.
LEAST_ROLE = 0.967
LEAST_RANGE = 0.85
LEAST_CHOICES = 0.85
LEAST_EITHER = 0.9
#: A value of another series that is as near as this is the same for a repair.
SAME = 0.01


def board_folders(boards: Path) -> list[Path]:
    """Return the folders that hold one board each."""
    no_boards = {"labels", "truth", "power", "spice", "edif-netlists", "ipcd356-small"}
    return sorted(path for path in boards.iterdir() if path.is_dir() and path.name not in no_boards)


def stated_roles(boards: Path, name: str) -> dict[str, set[str]]:
    path = boards / "labels" / f"{name}.json"
    if not path.is_file():
        return {}
    parts = json.loads(path.read_text(encoding="utf-8"))["parts"]
    return {refdes: {label["role"], *label["also"]} for refdes, label in parts.items()}


def is_chosen(proposal: Proposal, value: float) -> bool:
    return any(abs(value - choice) <= SAME * max(value, choice) for choice in proposal.choices[:3])


def is_within(proposal: Proposal, value: float) -> bool:
    low, high = proposal.at_least, proposal.at_most
    return low is not None and high is not None and low <= value <= high


def try_board(folder: Path, roles: dict[str, set[str]]) -> tuple[Counter[str], list[str]]:
    """Return counts over one board and the references that got no proposal at all."""
    circuit = nettrace.load(folder)
    counts: Counter[str] = Counter()
    silent = []
    for part in circuit.board.parts:
        kind = circuit.kinds[part.key]
        if kind.kind not in {Kind.RESISTOR, Kind.CAPACITOR} or len(part.nets) != 2:
            continue
        value = kind.ohms if kind.kind is Kind.RESISTOR else kind.farads
        if value is None:
            continue
        counts["positions"] += 1
        proposals = circuit.proposals(part.key)
        if not proposals:
            silent.append(part.key)
            continue
        first = proposals[0]
        within, chosen = is_within(first, value), is_chosen(first, value)
        counts["within"] += within
        counts["chosen"] += chosen
        counts["either"] += within or chosen
        if part.refdes in roles:
            counts["labelled"] += 1
            counts["role"] += first.role in roles[part.refdes]
    return counts, silent


def share(counts: Counter[str], what: str, of: str = "positions") -> float:
    return counts[what] / counts[of] if counts[of] else 0.0


def test_hidden_positions_are_proposed_for(
    boards: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    total: Counter[str] = Counter()
    lines = ["board               positions  role first  in range  in choices  either"]
    for folder in board_folders(boards):
        counts, silent = try_board(folder, stated_roles(boards, folder.name))
        if not counts["positions"]:
            continue
        total.update(counts)
        role = f"{share(counts, 'role', 'labelled'):10.1%}" if counts["labelled"] else " " * 9 + "-"
        lines.append(
            f"{folder.name:<20}{counts['positions']:>9}  {role}  {share(counts, 'within'):8.1%}"
            f"  {share(counts, 'chosen'):10.1%}  {share(counts, 'either'):6.1%}"
            + (f"  without proposal: {', '.join(silent)}" if silent else "")
        )
    lines.append(
        f"{'all':<20}{total['positions']:>9}  {share(total, 'role', 'labelled'):10.1%}"
        f"  {share(total, 'within'):8.1%}  {share(total, 'chosen'):10.1%}"
        f"  {share(total, 'either'):6.1%}"
    )
    with capsys.disabled():
        print("\n" + "\n".join(lines))
    assert total["positions"] > 500
    assert share(total, "role", "labelled") >= LEAST_ROLE
    assert share(total, "within") >= LEAST_RANGE
    assert share(total, "chosen") >= LEAST_CHOICES
    assert share(total, "either") >= LEAST_EITHER
