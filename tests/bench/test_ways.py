"""Ways between nets through series parts."""

from __future__ import annotations

from collections.abc import Mapping

from nettrace.bench.lookup import find_ways
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Link, NetKind
from nettrace.model.builder import BoardBuilder

#: part -> (net, net, ohms)
SERIES: dict[str, tuple[str, str, float | None]] = {
    "R1": ("A", "B", 10.0),
    "R2": ("A", "B", 22.0),
    "R3": ("B", "C", 33.0),
    "FB1": ("C", "D", None),
    "R4": ("A", "+3V3", 2200.0),
    "R5": ("E", "+3V3", 2200.0),
    "R6": ("A", "GND", 1e5),
    "R7": ("F", "GND", 1e5),
    "R8": ("+3V3", "+3V3A", 0.0),
    "R9": ("GND", "AGND", 0.0),
    "R10": ("G", "+3V3A", 1000.0),
}


class Series(Circuit):
    @property
    def links(self) -> Mapping[str, tuple[Link, ...]]:
        found: dict[str, tuple[Link, ...]] = {}
        for part, (one, two, ohms) in SERIES.items():
            for a, b, x, y in ((one, two, "1", "2"), (two, one, "2", "1")):
                found[a] = (*found.get(a, ()), Link(part, x, y, a, b, "resistor", ohms))
        return found

    def net_kind(self, net: str) -> NetKind:
        if net.endswith("GND"):
            return NetKind.GROUND
        return NetKind.RAIL if net.startswith("+") else NetKind.SIGNAL


CIRCUIT = Series(BoardBuilder("none", "sheet").build())


def parts(start: str, end: str) -> list[tuple[list[str], float | None]]:
    return [([link.part for link in way.links], way.ohms) for way in find_ways(CIRCUIT, start, end)]


def test_all_shortest_ways_with_their_resistance() -> None:
    assert parts("A", "C") == [(["R1", "R3"], 43.0), (["R2", "R3"], 55.0)]


def test_a_way_back_turns_the_pins() -> None:
    (first, _) = find_ways(CIRCUIT, "C", "A")
    assert [(link.part, link.from_pin, link.to_pin) for link in first.links] == [
        ("R3", "2", "1"),
        ("R1", "2", "1"),
    ]


def test_an_unknown_resistance_makes_the_sum_unknown() -> None:
    assert {ohms for _, ohms in parts("A", "D")} == {None}


def test_two_pull_ups_or_pull_downs_tie_nothing_together() -> None:
    assert parts("A", "E") == []
    assert parts("A", "G") == []  # nor two to rails that a link joins
    assert parts("A", "F") == []


def test_a_rail_is_an_end_and_a_stage_on_the_way_to_its_own_branch() -> None:
    assert parts("A", "+3V3") == [(["R4"], 2200.0)]
    assert parts("A", "+3V3A") == [(["R4", "R8"], 2200.0)]
    assert parts("+3V3A", "E") == [(["R8", "R5"], 2200.0)]
    assert parts("A", "AGND") == [(["R6", "R9"], 1e5)]


def test_a_net_and_itself() -> None:
    (way,) = find_ways(CIRCUIT, "A", "A")
    assert (way.links, way.ohms) == ((), 0.0)
