"""Roles against the labels that a careful reader gave 791 parts of five real boards.

Source of the answers: labels/*.json in the folder of real boards; labels/README.md there draws the
lines between neighbouring words. `strict` counts the label's one best word, `accepted` also the
words in its `also`. The same is done on each board's IPC-D-356 file, that has no values, no pin
names and cut names.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

import nettrace
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.roles import vocabulary
from nettrace.model.board import Board, Part
from nettrace.model.builder import BoardBuilder

#: The issue's bounds, for accepted words over all parts.
TOP_1 = 0.90
TOP_3 = 0.97
#: What the files without values reach, less a margin; the issue sets no bound for them.
TOP_1_BARE = 0.93
#: What is reached from references, supply names and wiring alone, less a margin.
TOP_1_WIRING = 0.90
#: A role below this is named.
WEAK = 0.80


@dataclass
class Score:
    """How often the first role, or one of the first three, is right."""

    parts: int = 0
    strict: int = 0
    accepted: int = 0
    top_3: int = 0
    by_role: dict[str, Counter[str]] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)

    def add(self, other: Score) -> None:
        self.parts += other.parts
        self.strict += other.strict
        self.accepted += other.accepted
        self.top_3 += other.top_3
        for role, counts in other.by_role.items():
            self.by_role.setdefault(role, Counter()).update(counts)
        self.wrong += other.wrong


def labels(boards: Path) -> Iterator[tuple[Path, dict[str, object]]]:
    for path in sorted((boards / "labels").glob("*.json")):
        stated = json.loads(path.read_text(encoding="utf-8"))
        yield boards / stated["board"] / stated["file"], stated


def score(circuit: Circuit, wanted: dict[str, dict[str, object]], cut: bool = False) -> Score:
    """Return the score over the labelled parts; `cut`: references may be cut to six characters."""
    by_reference: dict[str, Part] = {}
    for each in circuit.board.parts:
        by_reference.setdefault(each.refdes.upper(), each)
    result = Score()
    for reference, label in wanted.items():
        part = by_reference.get(reference.upper())
        if part is None and cut:
            part = by_reference.get(reference.upper()[:6])
        assert part is not None, f"{reference} is not on the board"
        best, also = str(label["role"]), label["also"]
        assert isinstance(also, list)
        right = {best, *also}
        given = [role.role for role in circuit.roles(part.key)]
        counts = result.by_role.setdefault(best, Counter())
        result.parts += 1
        counts["parts"] += 1
        result.strict += given[0] == best
        if given[0] in right:
            result.accepted += 1
            counts["accepted"] += 1
        else:
            result.wrong.append(f"{part.refdes}: {best}, not {', '.join(given[:3])}")
        if right & set(given[:3]):
            result.top_3 += 1
            counts["top 3"] += 1
    return result


def line(name: str, result: Score) -> str:
    first, strict, three = (
        count / result.parts for count in (result.accepted, result.strict, result.top_3)
    )
    return (
        f"{name:32} {result.parts:4} parts  first {first:6.1%}  (strict {strict:6.1%})"
        f"  first three {three:6.1%}"
    )


def table(result: Score) -> list[str]:
    """Return accuracy per role, in the vocabulary's order, and the roles that are weak."""
    rows = []
    for role in vocabulary():
        counts = result.by_role.get(role)
        if counts is None:
            continue
        share = counts["accepted"] / counts["parts"]
        mark = f"  below {WEAK:.0%}" if share < WEAK else ""
        three = counts["top 3"] / counts["parts"]
        rows.append(f"  {role:32} {counts['parts']:4}  {share:6.1%}  {three:6.1%}{mark}")
    return rows


def test_roles_agree_with_the_labels(boards: Path, capsys: pytest.CaptureFixture[str]) -> None:
    total, lines = Score(), []
    for path, stated in labels(boards):
        wanted = stated["parts"]
        assert isinstance(wanted, dict)
        result = score(nettrace.load(path), wanted)
        lines.append(line(path.parent.name, result))
        total.add(result)
    with capsys.disabled():
        print("\nroles against the labels, as the board file states the parts")
        print("\n".join([*lines, line("all", total), *table(total), *total.wrong]))
    assert total.parts == 791
    assert total.accepted / total.parts >= TOP_1
    assert total.top_3 / total.parts >= TOP_3


def test_roles_without_any_value(boards: Path, capsys: pytest.CaptureFixture[str]) -> None:
    total, lines = Score(), []
    for path, stated in labels(boards):
        wanted = stated["parts"]
        assert isinstance(wanted, dict)
        for bare in sorted(path.parent.glob("*.d356")):
            circuit = nettrace.load(bare)
            assert not any(part.value for part in circuit.board.parts)
            result = score(circuit, wanted, cut=True)
            lines.append(line(bare.name, result))
            total.add(result)
    with capsys.disabled():
        print("\nroles against the labels, from topology and references alone (IPC-D-356)")
        print("\n".join([*lines, line("all", total), *table(total)]))
    assert total.parts == 791
    assert total.accepted / total.parts >= TOP_1_BARE


def wiring_only(board: Board, supplies: set[str]) -> Board:
    """Return the board without values of parts, packages, words, pin names and signals' names."""
    builder = BoardBuilder("wiring", "test")
    names = {
        net.name: net.name if net.name in supplies else f"N${number}"
        for number, net in enumerate(board.nets)
    }
    for part in board.parts:
        bare = builder.part(part.refdes)
        bare.fitted = part.fitted
        if part.refdes[:1] not in {"R", "C", "L", "U", "I"}:
            bare.value = part.value
        for pin in part.pins:
            bare.pin(pin.number, names[pin.net] if pin.net is not None else None)
    return builder.build()


def test_roles_from_wiring_alone(boards: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Values of resistors, capacitors, coils and chips, and every name but a supply's, are gone."""
    total, lines = Score(), []
    for path, stated in labels(boards):
        wanted = stated["parts"]
        assert isinstance(wanted, dict)
        supplies = {
            str(name)
            for key in ("rails", "grounds", "grounds_also")
            for name in as_list(stated[key])
        }
        result = score(Circuit(wiring_only(nettrace.load_board(path), supplies)), wanted)
        lines.append(line(path.parent.name, result))
        total.add(result)
    with capsys.disabled():
        print("\nroles against the labels, from references, supplies' names and wiring alone")
        print("\n".join([*lines, line("all", total)]))
    assert total.parts == 791
    assert total.accepted / total.parts >= TOP_1_WIRING


def as_list(stated: object) -> list[object]:
    """Return the keys of a mapping, or the items of a list."""
    assert isinstance(stated, (dict, list))
    return list(stated)
