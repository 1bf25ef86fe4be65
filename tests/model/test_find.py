"""Nets, parts and pins by the words a person types."""

from __future__ import annotations

import pytest

from nettrace.errors import NothingMatches, WrongUsage
from nettrace.model.board import Board
from nettrace.model.builder import BoardBuilder
from nettrace.model.find import find_nets, find_parts, find_pins, one_of_pads


@pytest.fixture(scope="module")
def board() -> Board:
    builder = BoardBuilder("board", "sheet")
    for refdes, pins in {
        "R1": [("1", "SDA"), ("2", "+3V3")],
        "R10": [("1", "SCL"), ("2", "+3V3")],
        "MCU/R1": [("1", "SDA"), ("2", "GND")],
        "A.B": [("1", "SDA")],
        "U1": [("A1", "SDA"), ("a1", "SCL"), ("2", "GND"), ("2", "AGND")],
        "REF**": [("1", "GND")],
    }.items():
        part = builder.part(refdes)
        for number, net in pins:
            part.pin(number, net, name="DATA" if number == "A1" else None)
    builder.part("REF**").pin("1", "AGND")
    builder.net("SDA", aliases=["/MCU/SDA"])
    builder.net("SCL", aliases=["/MCU/SCL", "sda"])
    return builder.build()


def names(found: tuple[object, ...]) -> list[str]:
    return [
        getattr(item, "name", None) or getattr(item, "key", None) or str(item) for item in found
    ]


def test_a_net_is_found_by_name_then_without_case_then_by_alias(board: Board) -> None:
    assert names(find_nets(board, "SDA")) == ["SDA"]
    assert names(find_nets(board, "scl")) == ["SCL"]
    assert names(find_nets(board, "/MCU/SDA")) == ["SDA"]


def test_a_shown_name_without_case_goes_before_an_alias(board: Board) -> None:
    assert names(find_nets(board, "sda")) == ["SDA"]


def test_a_wildcard_meets_names_and_aliases_once_each(board: Board) -> None:
    assert names(find_nets(board, "S?*")) == ["SCL", "SDA"]
    assert names(find_nets(board, "/MCU/*")) == ["SCL", "SDA"]
    assert names(find_nets(board, "*GND")) == ["AGND", "GND"]


def test_a_missing_net_offers_the_nearest_and_wildcards(board: Board) -> None:
    with pytest.raises(NothingMatches) as caught:
        find_nets(board, "SDAA")
    assert str(caught.value) == (
        "error: no net 'SDAA' on this board. Nearest: /MCU/SDA, SDA, sda. Wildcards: 'SD*'."
    )


def test_a_repeated_refdes_means_all_its_parts_and_a_key_means_one(board: Board) -> None:
    assert names(find_parts(board, "REF**")) == ["REF**", "REF**~2"]
    assert names(find_parts(board, "REF**~2")) == ["REF**~2"]
    assert names(find_parts(board, "r1")) == ["R1"]
    assert names(find_parts(board, "R*"))[:2] == ["R1", "R10"]


def test_a_pad_may_belong_to_a_path_or_a_refdes_with_a_dot(board: Board) -> None:
    assert [pin.part for pin in find_pins(board, "MCU/R1.2")] == ["MCU/R1"]
    assert [pin.part for pin in find_pins(board, "A.B.1")] == ["A.B"]


def test_a_pin_is_met_by_number_exactly_then_by_function(board: Board) -> None:
    assert [pin.net for pin in find_pins(board, "U1.A1")] == ["SDA"]
    assert [pin.net for pin in find_pins(board, "U1.a1")] == ["SCL"]
    assert [pin.net for pin in find_pins(board, "U1.data")] == ["SDA"]


def test_a_pin_on_two_nets_comes_back_twice(board: Board) -> None:
    assert [pin.net for pin in find_pins(board, "U1.2")] == ["AGND", "GND"]


def test_a_part_without_a_pin_word_is_wrong_usage(board: Board) -> None:
    with pytest.raises(WrongUsage) as caught:
        find_pins(board, "R1")
    assert str(caught.value) == (
        "error: 'R1' names a part, not a pad. A pad is written REFDES.PIN: R1.1, R1.2."
    )


def test_a_missing_pin_lists_the_pins(board: Board) -> None:
    with pytest.raises(NothingMatches, match=r"R10 has no pin '3'. Its pins: R10.1, R10.2."):
        find_pins(board, "R10.3")


def test_one_of_a_repeated_refdes_is_named_by_its_number(board: Board) -> None:
    assert names(find_parts(board, "REF**~1")) == ["REF**"]
    assert names(find_parts(board, "REF**~2")) == ["REF**~2"]
    (first,) = find_pins(board, "REF**~1.1")
    assert (first.part, first.net) == ("REF**", "GND")
    with pytest.raises(NothingMatches):
        find_parts(board, "R10~1")  # R10 stands once


def test_the_hint_for_several_pads_names_each_so_that_it_is_found(board: Board) -> None:
    pins = find_pins(board, "REF**.1")
    hint = one_of_pads(board, pins)
    assert hint == "Name one: REF**~1.1, REF**~2.1."
    assert [find_pins(board, f"REF**~{at}.1") for at in (1, 2)] == [(pin,) for pin in pins]
