"""Nodal analysis against exact answers, networkx, ngspice and itself solved anew."""

from __future__ import annotations

import math
import random
import re
import shutil
import subprocess
from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.electrical.network import Network, Resistor

Edge = tuple[str, str, float]


def network(edges: Iterable[Edge]) -> Network:
    return Network(tuple(Resistor(f"R{i}", a, b, ohms) for i, (a, b, ohms) in enumerate(edges)))


CUBE = [
    (f"{a:03b}", f"{b:03b}", 1.0)
    for a in range(8)
    for b in range(a + 1, 8)
    if (a ^ b).bit_count() == 1
]
COMPLETE_5 = [(str(a), str(b), 1.0) for a in range(5) for b in range(a)]
OCTAHEDRON = [(str(a), str(b), 1.0) for a in range(6) for b in range(a) if a + b != 5]
BRIDGE = [("A", "B", 1.0), ("A", "C", 2.0), ("B", "C", 3.0), ("B", "D", 4.0), ("C", "D", 5.0)]
BOARD_BRIDGE = [
    ("A", "B", 1e3), ("A", "C", 2.2e3), ("B", "C", 4.7e3), ("B", "D", 3.3e3), ("C", "D", 1e3),
]  # fmt: skip
BALANCED = [("A", "B", 1.0), ("B", "D", 2.0), ("A", "C", 2.0), ("C", "D", 4.0), ("B", "C", 7.0)]
STAR_MESH = [
    ("0", "1", 15 / 4), ("0", "2", 15 / 2), ("0", "3", 15.0), ("1", "2", 15.0), ("1", "3", 30.0),
    ("2", "3", 60.0),
]  # fmt: skip


def ladder(sections: int) -> list[Edge]:
    edges = []
    for n in range(sections):
        edges += [(f"n{n}", f"n{n + 1}", 1.0), (f"n{n + 1}", "gnd", 1.0)]
    return edges


# exact rationals, worked by hand (the cube: Halliday & Resnick)
EXACT = [
    ("cube, edge", CUBE, "000", "001", Fraction(7, 12)),
    ("cube, face diagonal", CUBE, "000", "011", Fraction(3, 4)),
    ("cube, body diagonal", CUBE, "000", "111", Fraction(5, 6)),
    ("K5, any pair", COMPLETE_5, "0", "4", Fraction(2, 5)),
    ("octahedron, adjacent", OCTAHEDRON, "0", "1", Fraction(5, 12)),
    ("octahedron, opposite", OCTAHEDRON, "0", "5", Fraction(1, 2)),
    ("balanced bridge", BALANCED, "A", "D", Fraction(2)),
    ("unbalanced bridge", BRIDGE, "A", "D", Fraction(61, 21)),
    ("bridge of board values", BOARD_BRIDGE, "A", "D", Fraction(8469200, 4901)),
    ("mesh of star 1 2 4 8", STAR_MESH, "0", "1", Fraction(3)),
    ("2.2k beside 4.7k", [("a", "b", 2200.0), ("a", "b", 4700.0)], "a", "b", Fraction(103400, 69)),
    ("10k beside 1M", [("a", "b", 1e4), ("a", "b", 1e6)], "a", "b", Fraction(10**6, 101)),
    *(
        (f"ladder of {n}", ladder(n), "n0", "gnd", answer)
        for n, answer in (
            (1, Fraction(2)), (2, Fraction(5, 3)), (3, Fraction(13, 8)), (4, Fraction(34, 21)),
            (5, Fraction(89, 55)),
        )
    ),
]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "edges", "a", "b", "answer"), EXACT, ids=[row[0] for row in EXACT]
)
def test_exact_answers(name: str, edges: list[Edge], a: str, b: str, answer: Fraction) -> None:
    assert network(edges).resistance(a, b) == pytest.approx(float(answer), rel=1e-9), name


def test_a_long_ladder_nears_the_golden_ratio() -> None:
    found = network(ladder(400)).resistance("n0", "gnd")  # 401 nodes: the sparse way
    assert found == pytest.approx((1 + math.sqrt(5)) / 2, rel=1e-12)


def test_links_of_zero_ohm_are_exact_and_free() -> None:
    net = network([("a", "b", 0.0), ("b", "c", 10.0), ("c", "d", 0.0)])
    assert net.resistance("a", "b") == 0
    assert net.resistance("a", "d") == 10
    assert net.same_node("a", "b")


def test_unconnected_is_infinite_and_unknown_names_are_unconnected() -> None:
    net = network([("a", "b", 1.0), ("c", "d", 1.0)])
    assert net.resistance("a", "c") == math.inf
    assert net.resistance("a", "nowhere") == math.inf


def test_a_negative_resistance_is_refused() -> None:
    with pytest.raises(ValueError, match="no resistance"):
        network([("a", "b", -1.0)])


def test_divider_voltages() -> None:
    # exact: 3.3 V over 10k and 10k gives 1.65 V
    net = network([("rail", "tap", 1e4), ("tap", "gnd", 1e4)])
    volts = net.voltages({"rail": 3.3, "gnd": 0.0})
    assert volts["tap"] == pytest.approx(1.65)


def test_a_node_held_at_two_voltages_is_refused() -> None:
    with pytest.raises(ValueError, match="held at"):
        network([("a", "b", 0.0)]).voltages({"a": 1.0, "b": 2.0})


def test_names_that_the_network_lacks() -> None:
    net = network([("a", "b", 1.0)])
    assert net.same_node("x", "x")
    assert not net.same_node("x", "y")
    assert net.around("x") == {"x"}
    assert net.around("x", ["a"]) == {"x"}
    assert net.voltages({"x": 3.0}) == {"x": 3.0}
    assert net.voltages({"x": 3.0, "a": 1.0}) == {"x": 3.0, "a": 1.0, "b": 1.0}


def test_nodes_that_a_current_reaches() -> None:
    net = network([("a", "b", 1.0), ("b", "c", 0.0), ("x", "y", 1.0)])
    assert net.around("a") == {"a", "b", "c"}


def test_what_is_held_stops_the_current() -> None:
    # a - b(held) - c(held): from a the current meets b, and c only past it
    net = network([("a", "b", 1.0), ("b", "c", 1.0), ("a", "d", 1.0), ("x", "y", 1.0)])
    assert net.around("a", ["c", "b", "x"]) == {"a", "b", "d"}
    assert net.around("b", ["c", "b", "d"]) == {"a", "b", "c", "d"}
    assert net.around("d", ["b", "c"]) == {"a", "b", "d"}
    # a way in one direction alone, to a node and from one that the network lacks
    assert net.around("z", ["b"], {"z": ["d"], "b": ["y"], "q": ["a"]}) == {"z", "d", "a", "b"}


def test_links_join_what_they_join_whatever_the_order() -> None:
    net = network([("a", "b", 0.0), ("c", "d", 0.0), ("d", "e", 5.0), ("b", "d", 0.0)])
    assert net.same_node("a", "c")
    assert net.resistance("a", "e") == 5
    assert net.voltages({"a": 1.0, "c": 1.0}) == dict.fromkeys("abcde", 1.0)


@pytest.mark.parametrize(
    ("part", "ohms", "answer"),
    [
        ("R1", 30.0, 40.0),  # a link that has become a resistor: in series
        ("R1", None, math.inf),
        ("R2", 1e3, 10.0),  # a resistor that a link shorts does not count, whatever it is
        ("R2", None, 10.0),
        ("R0", 0.0, 0.0),
        ("R3", 7.0, 10.0),  # not between the two
        ("nothing", 7.0, 10.0),
    ],
)
def test_changes_around_a_link(part: str, ohms: float | None, answer: float) -> None:
    edges = [("a", "b", 10.0), ("b", "c", 0.0)]
    net = network([*edges, ("c", "c", 50.0), ("c", "d", 60.0), ("x", "y", 1.0)])
    assert net.changed({part: ohms}).resistance("a", "c") == pytest.approx(answer)


def test_a_resistor_beside_a_link_counts_only_once_the_link_is_gone() -> None:
    net = network([("a", "b", 10.0), ("b", "c", 0.0), ("b", "c", 50.0)])
    assert net.changed({"R2": 1.0}).resistance("a", "c") == 10
    assert net.changed({"R1": None}).resistance("a", "c") == pytest.approx(60)
    assert net.changed({"R1": None, "R2": None}).resistance("a", "c") == math.inf


def test_all_resistors_of_an_array_change_together() -> None:
    net = Network((Resistor("RN1", "a", "b", 10.0), Resistor("RN1", "b", "c", 10.0)))
    assert net.changed({"RN1": 22.0}).resistance("a", "c") == pytest.approx(44)


def test_what_no_voltage_reaches_is_not_told() -> None:
    net = network([("a", "b", 0.0), ("b", "c", 2.0), ("x", "y", 1.0)])
    assert net.voltages({"a": 4.0}) == {"a": 4.0, "b": 4.0, "c": 4.0}


def test_joined_groups_are_one_node_each() -> None:
    net = network([("a", "b", 1.0), ("c", "d", 2.0)]).joined([("b", "c"), ("x",)])
    assert net.resistance("a", "d") == pytest.approx(3)


@pytest.mark.parametrize("ohms", [math.inf, math.nan, -1e-9])
def test_what_is_no_resistance_is_refused_by_name(ohms: float) -> None:
    with pytest.raises(ValueError, match=r"R0: .* is no resistance"):
        network([("a", "b", ohms)])


OHMS = st.sampled_from([0.01, 0.1, 10.0, 100.0, 2200.0, 4700.0, 1e4, 1e5, 1e6])


@st.composite
def meshes(draw: st.DrawFn, most: int = 9) -> list[Edge]:
    """A connected network: a random tree, then some more resistors."""
    size = draw(st.integers(2, most))
    edges = [
        (f"n{draw(st.integers(0, node - 1))}", f"n{node}", draw(OHMS)) for node in range(1, size)
    ]
    for _ in range(draw(st.integers(0, size))):
        a, b = draw(st.integers(0, size - 1)), draw(st.integers(0, size - 1))
        if a != b:
            edges.append((f"n{a}", f"n{b}", draw(OHMS)))
    return edges


@given(meshes())
def test_agrees_with_networkx(edges: list[Edge]) -> None:
    # source: networkx resistance_distance (pseudo-inverse of the Laplacian)
    import networkx

    graph: networkx.MultiGraph[str] = networkx.MultiGraph()
    for a, b, ohms in edges:
        graph.add_edge(a, b, weight=ohms)
    expected = networkx.resistance_distance(graph, "n0", "n1", weight="weight")
    assert isinstance(expected, float)
    assert network(edges).resistance("n0", "n1") == pytest.approx(expected, rel=1e-6)


@given(meshes())
def test_laws_of_resistance(edges: list[Edge]) -> None:
    net = network(edges)
    a, b, c = "n0", "n1", f"n{max(int(edge[1][1:]) for edge in edges)}"
    forth = net.resistance(a, b)
    assert net.resistance(b, a) == pytest.approx(forth, rel=1e-9)
    assert forth <= net.resistance(a, c) + net.resistance(c, b) + 1e-9 * forth
    more = network([*edges, (a, c, 330.0)])  # Rayleigh: a further path never raises a reading
    assert more.resistance(a, b) <= forth * (1 + 1e-9)


@given(meshes())
def test_currents_meet_and_power_is_what_the_source_gives(edges: list[Edge]) -> None:
    # Kirchhoff's current law at every node that is not held, and Tellegen: Σ v²/R = v·i
    net = network(edges)
    volts = net.voltages({"n0": 5.0, "n1": 0.0})
    sums: dict[str, float] = dict.fromkeys(volts, 0.0)
    most = 0.0
    for a, b, ohms in edges:
        current = (volts[a] - volts[b]) / ohms
        sums[a] -= current
        sums[b] += current
        most = max(most, abs(current))
    assert all(abs(sums[node]) <= 1e-6 * most for node in volts if node not in {"n0", "n1"})
    given_watts = 5.0**2 / net.resistance("n0", "n1")
    watts = sum((volts[a] - volts[b]) ** 2 / ohms for a, b, ohms in edges)
    assert watts == pytest.approx(given_watts, rel=1e-6)


def spice_resistance(edges: Iterable[Edge], a: str, b: str, folder: Path) -> float:
    """Return what `ngspice -b` gives for 1 A from b to a."""
    names: dict[str, str] = {b: "0"}
    lines = ["resistance"]
    for index, (first, second, ohms) in enumerate(edges):
        ends = [names.setdefault(name, f"x{len(names)}") for name in (first, second)]
        # a source of 0 V is a link without resistance: a tiny resistance would cost digits
        lines.append(
            f"R{index} {ends[0]} {ends[1]} {ohms!r}" if ohms else f"V{index} {ends[0]} {ends[1]} 0"
        )
    lines += [
        f"I1 0 {names[a]} 1", ".options gmin=1e-30", ".control", "op", "set numdgt=15",
        f"print v({names[a]})", ".endc", ".end",
    ]  # fmt: skip
    deck = folder / "deck.cir"
    deck.write_text("\n".join(lines) + "\n")
    done = subprocess.run(
        ["ngspice", "-b", str(deck)], capture_output=True, text=True, check=False, timeout=60
    )
    match = re.search(r"v\(\w+\) = (\S+)", done.stdout)
    assert match, done.stdout + done.stderr
    return float(match[1])


needs_ngspice = pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not here")


@needs_ngspice
@pytest.mark.parametrize("seed", range(6))
def test_agrees_with_ngspice_on_random_networks(seed: int, tmp_path: Path) -> None:
    chance = random.Random(seed)
    size = 40 + 60 * seed
    values = [10.0, 100.0, 2200.0, 4700.0, 1e4, 1e5]
    edges = [
        (f"n{chance.randrange(node)}", f"n{node}", chance.choice(values)) for node in range(1, size)
    ]
    edges += [
        (f"n{a}", f"n{b}", chance.choice(values))
        for a, b in (chance.sample(range(size), 2) for _ in range(size // 2))
    ]
    found = network(edges).resistance("n0", f"n{size - 1}")
    assert found == pytest.approx(spice_resistance(edges, "n0", f"n{size - 1}", tmp_path), rel=1e-6)
