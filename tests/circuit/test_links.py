"""Links and reach: what passes a signal on, and where the way ends."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.circuit.evidence import Reach
from tests.circuit.case_file import Case, read_cases
from tests.circuit_language import circuit

CASES = read_cases("links")


@pytest.mark.parametrize("case", CASES, ids=[case.title for case in CASES])
def test_case(case: Case) -> None:
    # a line that states a reach inside the netlist is a remark for the reader
    netlist = "\n".join(li for li in case.netlist.splitlines() if " reaches " not in li)
    found = circuit(netlist)
    assert case.expected
    for line in case.expected:
        start, word, rest = line.split(" ", 2)
        reaches = {reach.net: reach for reach in found.reaches(start)}
        if word == "not":
            assert rest not in reaches, reaches
            continue
        net, _, tail = rest.partition(" through ")
        reach = reaches[net]
        words = tail.split(" while ", 1)
        *parts, ohms = words[0].split()
        assert reach.through == tuple(parts)
        assert reach.ohms == (None if ohms == "?" else pytest.approx(float(ohms)))
        assert reach.conditional == (f"while {words[1]}" if len(words) > 1 else "")


def test_each_link_stands_under_both_nets_turned() -> None:
    links = circuit("R1 A B 22R\nU1 A=A B=B").links
    (out,), (back,) = links["A"], links["B"]
    assert (out.from_net, out.to_net, out.from_pin, out.to_pin) == ("A", "B", "1", "2")
    assert (back.from_net, back.to_net, back.from_pin, back.to_pin) == ("B", "A", "2", "1")


def test_from_a_rail_the_way_goes_through_what_carries_supply_only() -> None:
    found = circuit(
        "FB1 +3V3 VDD_A 600R@100MHz\nC1 VDD_A GND 100n\nR1 +3V3 SDA 4k7\n"
        "U1 SDA=SDA VDD=VDD_A GND=GND"
    )
    assert [reach.net for reach in found.reaches("+3V3")] == ["VDD_A"]


CHAIN = "R1 A B 10R\nR2 B C 20R\nR3 A C 47R\nR4 C D 5R\nU1 A=A B=B C=C D=D"


@given(st.permutations(CHAIN.splitlines()))
def test_order_of_lines_changes_no_reach(lines: list[str]) -> None:
    def shape(reaches: tuple[Reach, ...]) -> set[tuple[str, int]]:
        return {(reach.net, len(reach.through)) for reach in reaches}

    assert shape(circuit("\n".join(lines)).reaches("A")) == {("B", 1), ("C", 1), ("D", 2)}


@given(st.lists(st.sampled_from("ABCDEF"), min_size=2, max_size=12))
def test_reach_is_mutual_among_signals(walk: list[str]) -> None:
    lines = [f"R{i} {a} {b} 10R" for i, (a, b) in enumerate(pairwise(walk), 1)]
    found = circuit("\n".join(["U1 A B C D E F", *lines]))
    for one in "ABCDEF":
        for reach in found.reaches(one):
            assert one in {back.net for back in found.reaches(reach.net)}
