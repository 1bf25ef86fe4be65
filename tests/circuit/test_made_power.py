"""Made supply trees with their truth: whatever the names tell, no rail is given a wrong figure."""

from __future__ import annotations

from pathlib import Path

import pytest

import nettrace
from nettrace.circuit.evidence import NetKind
from tests.circuit.made_power import Style, make_board

#: Boards of a run; `made_power.make_board` makes as many as one likes.
BOARDS = 60
#: A figure within this share of the true one is right.
NEAR = 0.05


@pytest.mark.parametrize("style", list(Style))
def test_no_rail_is_given_a_wrong_figure_and_none_is_invented(style: Style, tmp_path: Path) -> None:
    wrong = []
    for seed in range(BOARDS):
        board = make_board(seed)
        names = board.names(style)
        path = tmp_path / "made.net"
        path.write_text(board.text(style), encoding="utf-8")
        true = {names[net]: rail for net, rail in board.rails.items()}
        for name, rail in nettrace.load(path).rails.items():
            if rail.kind is not NetKind.RAIL:
                continue
            made = true.get(name)
            if made is None:
                wrong.append(f"{seed}: {name} is no rail")
                continue
            volts = rail.volts.nominal if rail.volts is not None else None
            if volts is None or made.low <= volts <= made.high:
                continue
            if made.volts is None or abs(volts - made.volts) > NEAR * made.volts:
                wrong.append(f"{seed}: {name} has {made.volts} V, said {volts}")
    assert wrong == []


def test_a_made_board_is_always_the_same() -> None:
    assert make_board(7).text(Style.BARE) == make_board(7).text(Style.BARE)
