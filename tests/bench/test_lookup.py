"""The one net or probe place that a person's words mean."""

from __future__ import annotations

import pytest

from nettrace.bench.lookup import find_one_net
from nettrace.bench.metered import find_probe_place
from nettrace.errors import NothingMatches, WrongUsage
from nettrace.model.board import Board
from nettrace.model.builder import BoardBuilder


@pytest.fixture(scope="module")
def board() -> Board:
    builder = BoardBuilder("board", "sheet")
    facts: dict[str, list[tuple[str, str | None]]] = {
        "R1": [("1", "SDA"), ("2", "+3V3")],
        "R2": [("1", "SCL"), ("2", "+3V3")],
        "U1": [("1", "SDA"), ("2", "GND"), ("2", "AGND"), ("3", None)],
    }
    for refdes, pins in facts.items():
        part = builder.part(refdes)
        for number, net in pins:
            part.pin(number, net)
    builder.net("SDA", aliases=["sheet.SDA"])
    return builder.build()


def test_a_net_by_its_name_or_by_a_pad_on_it(board: Board) -> None:
    assert find_one_net(board, "scl").name == "SCL"
    assert find_one_net(board, "R2.1").name == "SCL"
    assert find_one_net(board, "sheet.SDA").name == "SDA"


@pytest.mark.parametrize(
    ("words", "error", "message"),
    [
        ("S*", WrongUsage, "means 2 nets: SCL, SDA"),
        ("U1.2", WrongUsage, "means 2 nets"),
        ("U1.3", NothingMatches, "U1.3 is on no net"),
        ("SDB", NothingMatches, "no net"),
        ("R1.9", NothingMatches, "R1 has no pin '9'"),
    ],
)
def test_words_that_mean_no_net_or_several(
    board: Board, words: str, error: type[Exception], message: str
) -> None:
    with pytest.raises(error) as caught:
        find_one_net(board, words)
    assert message in str(caught.value)


def test_a_probe_is_on_a_pad_or_anywhere_on_a_net(board: Board) -> None:
    pad = find_probe_place(board, "r1.2")
    assert (pad.shown, pad.net, pad.part and pad.part.refdes) == ("R1.2", "+3V3", "R1")
    net = find_probe_place(board, "SCL")
    assert (net.shown, net.net, net.part) == ("SCL", "SCL", None)
    assert find_probe_place(board, "sheet.SDA").net == "SDA"  # a name with a dot is no pad


@pytest.mark.parametrize(
    ("words", "error", "message"),
    [
        ("S*", WrongUsage, "Name one net or pad"),
        ("R*.1", WrongUsage, "means 2 pads"),
        ("U1.3", NothingMatches, "nothing to measure against"),
        ("U9.1", NothingMatches, "U9"),
    ],
)
def test_words_that_mean_no_probe_place(
    board: Board, words: str, error: type[Exception], message: str
) -> None:
    with pytest.raises(error) as caught:
        find_probe_place(board, words)
    assert message in str(caught.value)
