"""Which pins of a part face each other: arrays, jumpers, chokes, filters, transistors."""

from __future__ import annotations

import pytest

from nettrace.circuit.links import Pair, Terminals, pairs_of, resistor_elements, terminals_of
from tests.circuit_language import board, circuit


def elements(line: str) -> list[tuple[str, str]]:
    (part,) = board(line).parts
    return [(one.number, other.number) for one, other in resistor_elements(part)]


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        # 1 faces the last pin (common practice, no source)
        ("RN1 1=A 2=B 3=C 4=D : 4k7", [("1", "4"), ("2", "3")]),
        ("RN1 #1.1=A #1.2=B #2.1=C #2.2=D : 4k7", [("1.1", "1.2"), ("2.1", "2.2")]),
        ("RN1 R1.1=A R1.2=B R2.1=C R2.2=D : 4k7", [("1", "2"), ("3", "4")]),
        ("RN1 1=A 2=B 3=C : 4k7", []),  # a common pin
        ("RN1 #A1=A #B1=B #C1=C #D1=D : 4k7", []),
        ("RN1 1=A 2=B 3=C 5=D : 4k7", []),  # a gap: nothing says who faces whom
        ("RN1 #1.1=A #1.2=B #2.1=C 7=D : 4k7", []),
    ],
)
def test_the_resistors_of_an_array(line: str, expected: list[tuple[str, str]]) -> None:
    assert elements(line) == expected


def pairs(text: str, refdes: str) -> tuple[Pair, ...]:
    made = circuit(text)
    return pairs_of(made.board.part_by_key[refdes], made.kinds[refdes])


def nets(found: tuple[Pair, ...]) -> list[tuple[str | None, str | None]]:
    return [(pair.first.net, pair.second.net) for pair in found]


def test_a_jumper_of_three_pads_joins_its_middle_to_either_side() -> None:
    found = pairs("JP1 1=A 2=COM 3=B : SolderJumper", "JP1")
    assert nets(found) == [("COM", "A"), ("COM", "B")]
    assert {pair.conditional for pair in found} == {"while the jumper is set so"}


def test_a_closed_jumper_has_no_condition_and_an_open_one_has() -> None:
    assert [p.conditional for p in pairs("JP1 A B SolderJumper bridged", "JP1")] == [""]
    (open_one,) = pairs("JP1 A B SolderJumper open", "JP1")
    assert open_one.conditional == "while the jumper is closed"


def test_an_empty_jumper_is_open_whatever_its_name() -> None:
    (found,) = pairs("JP1 A B bridged DNP", "JP1")
    assert found.conditional == "while the jumper is closed"


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        # windings 1-2 and 4-3, or 1-4 and 2-3: the names' polarities tell
        ("FL1 1=DP_A 2=DP_B 3=DM_B 4=DM_A", [("DP_A", "DP_B"), ("DM_A", "DM_B")]),
        ("FL1 1=A+ 2=A- 3=B- 4=B+", [("A+", "B+"), ("A-", "B-")]),
        ("FL1 1=A 2=A 3=B 4=B", [("A", "B"), ("A", "B")]),  # the other order is a short
    ],
)
def test_the_windings_of_a_choke(line: str, expected: list[tuple[str, str]]) -> None:
    found = pairs(f"{line} : Common mode choke", "FL1")
    assert {frozenset(pair) for pair in nets(found)} == {frozenset(pair) for pair in expected}


def test_a_choke_with_a_pin_on_no_net_has_no_sure_windings() -> None:
    assert pairs("FL1 1=A+ 2=- 3=B- 4=B+ : Common mode choke", "FL1") == ()
    assert pairs("FL1 1=A+ 2=- 3=- 4=B+ : Common mode choke", "FL1") == ()
    assert pairs("FL1 1=A+ 2=A- 3=B- 4=B+ 5=GND : Common mode choke", "FL1") == ()


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("Q1 G=EN S=A D=B", Terminals("EN", "A", "B")),
        ("Q1 B=EN E=A C=B", Terminals("EN", "A", "B")),
        # SOT-23: 1 gate, 2 source, 3 drain (makers' drawings of 2N7002, BSS138)
        ("Q1 EN A B", Terminals("EN", "A", "B")),
        ("Q1 4=EN 5=A 6=B", None),
        # SO-8 power parts: 1 2 3 source, 4 gate, 5 to 8 drain (makers' drawings of Si4435, AO4407)
        ("Q1 S1 S1 S1 EN D1 D1 D1 D1", Terminals("EN", "S1", "D1")),
        # SOT-23-6: 1 2 5 6 drain, 3 gate, 4 source (common practice, no source)
        ("Q1 D1 D1 EN S1 D1 D1", Terminals("EN", "S1", "D1")),
        ("Q1 D1 EN D1 S1 D1 D1", None),  # nobody says which lone pin is the gate
        ("Q1 A A B B C C", None),
        ("Q1 A B", None),
    ],
)
def test_the_terminals_of_a_transistor(line: str, expected: Terminals | None) -> None:
    (part,) = board(line).parts
    assert terminals_of(part) == expected
