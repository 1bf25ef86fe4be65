"""Real boards of several files: what the truth says of each pair of files shows in the merge.

Outside source: the `cross` entries of the truth files, made with other readers.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from nettrace.loading import load_board
from nettrace.model.board import Board
from nettrace.model.merge import by_precedence, merge_boards
from nettrace.readers.registry import read_file
from tests.conftest import boards_folder

NET_CODES = {"pin-on-two-nets", "net-split", "pin-without-net"}


@cache
def read(path: Path) -> Board:
    return read_file(path, path.name)


def crosses() -> list[Any]:
    folder = boards_folder()
    if folder is None:
        return []
    found = []
    for truth in sorted((folder / "truth").glob("*.json")):
        for cross in json.loads(truth.read_text(encoding="utf-8"))["cross"]:
            if "groups_first" in cross:
                one, other = (Path(name).name for name in cross["between"])
                found.append(pytest.param(cross, id=f"{one} {other}"))
    return found


@pytest.mark.parametrize("cross", crosses())
def test_a_pair_of_files_disagrees_about_nets_only_where_the_truth_does(
    boards: Path, cross: dict[str, Any]
) -> None:
    first, second = (boards / name for name in cross["between"])
    merged = merge_boards(by_precedence([read(first), read(second)]))
    disputed = [item for item in merged.conflicts if item.code in NET_CODES]
    same = cross["groups_identical"] == cross["groups_first"] == cross["groups_second"]
    assert bool(disputed) is not same
    for item in disputed:
        assert {said.place.path for said in item.statements} == {first.name, second.name}
        assert all(said.place.line for said in item.statements)
    if same:
        # nothing is lost: each net of the first has its pins on one net of the merged board
        assert len([net for net in merged.nets if net.pins]) >= cross["groups_first"]


def test_a_folder_of_a_board_that_changed_names_the_parts_that_came_later(boards: Path) -> None:
    """F1, FB1, D6 and U3 were put between J1 and the rest (README, Cross-checks)."""
    board = load_board(boards / "reform2-trackball")
    assert {item.subject for item in board.conflicts} == {"J1.1", "R8.1", "R9.2"}
    (missing,) = [warning for warning in board.warnings if warning.code == "part-not-in"]
    assert missing.message == "D6, F1, FB1, U3: not in reform2-trackball.net"
    assert "/5V_IN" in board.part_by_key["F1"].nets


def test_a_folder_of_one_design_in_many_formats_has_no_strangers(boards: Path) -> None:
    """Three writers' names for one part (P1, P1_1; blank, `_1`; Ref**, Ref__) stay one part."""
    board = load_board(boards / "teres-io")
    assert [w.code for w in board.warnings if w.code.startswith("part-")] == []
    assert {part.refdes for part in board.parts if part.refdes.endswith("_1")} == set()
    # the parts list names the socket and the plugs otherwise: that is real and shown
    assert {item.subject for item in board.conflicts} == {"J1", "MICRO_SD1", "P1"}


def test_parts_that_are_not_fitted_and_test_points_join_quietly(boards: Path) -> None:
    """R603... stand in neither table (README, Cross-checks): no warning, and still not fitted."""
    board = load_board(boards / "zswatch-devkit")
    for refdes in ("R603", "R604", "R607", "R614"):
        assert board.part_by_key[refdes].fitted is False
    assert [item for item in board.conflicts if item.code in NET_CODES] == []
    rows = {(said.place.path.rpartition("/")[2], said.place.line)
            for item in board.conflicts for said in item.statements[1:]}  # fmt: skip
    assert rows == {("ZSWatch-Watch-DevKit-bom.csv", 40), ("ZSWatch-Watch-DevKit-bom.csv", 41)}
    only = [w.message for w in board.warnings if w.code == "part-only-in"]
    assert len(only) == 1
    assert only[0].startswith("J501, J502")  # jumper caps are in the parts list and the deck alone
