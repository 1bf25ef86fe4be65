"""Loose parts and bare positions: certain, interchangeable or open, never a silent guess."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.bench.job import Loose
from nettrace.bench.match import Certainty, Site, match_loose, sites_of
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import PartKind
from nettrace.circuit.kinds import Kind
from nettrace.readers.document import Document
from nettrace.readers.sheet import read

BOARD = """sheet
rail VDD 1.8
ground GND
R1 2k2 1% 0201: SDA VDD
R2 2k2 1% 0201: SCL VDD
R3 10k 1% 0201: TS VDD
R4 0R 0201: TS NTC
C1 100n X5R 10% 0201: VDD GND
C2 10u X5R 20% 0603: VDD GND
"""
POSITIONS = ["R1", "R2", "R3", "R4", "C1", "C2"]


def sites() -> tuple[Site, ...]:
    return sites_of(Circuit(read(Document("b.sheet", BOARD))), POSITIONS)


def loose(name: str, **facts: object) -> Loose:
    return Loose(number=1, time="2026-01-01T00:00:00+00:00", name=name, **facts)  # type: ignore[arg-type]


def one(item: Loose) -> tuple[Certainty, list[str], str]:
    (found,) = match_loose(sites(), [item])
    return found.certainty, [c.refdes for c in found.candidates], found.decide


def test_one_position_fits_and_it_is_certain() -> None:
    assert one(loose("L1", ohms=10.05e3, size="0201")) == (Certainty.CERTAIN, ["R3"], "")


def test_equal_parts_are_interchangeable() -> None:
    found = one(loose("L1", ohms=2195.0, size="0201"))
    assert found[:2] == (Certainty.INTERCHANGEABLE, ["R1", "R2"])


def test_an_unmeasured_part_is_open_and_the_measurement_is_named() -> None:
    certainty, _, decide = one(loose("L1", looks="resistor", size="0201"))
    assert certainty is Certainty.OPEN
    assert decide == "measure ohms"


def test_a_stranger_fits_nowhere() -> None:
    assert one(loose("L1", ohms=47e3, size="0201"))[0] is Certainty.NONE


def test_a_wrong_size_fits_nowhere() -> None:
    assert one(loose("L1", ohms=10e3, size="0603"))[0] is Certainty.NONE
    assert one(loose("L1", ohms=10e3, length_mm=1.6))[0] is Certainty.NONE


def test_a_link_is_told_by_its_low_ohms() -> None:
    assert one(loose("L1", ohms=0.3, size="0201"))[:2] == (Certainty.CERTAIN, ["R4"])


def test_a_ceramic_capacitor_that_reads_low_still_fits_but_is_not_reused() -> None:
    # source: Panasonic ECJ notes, removed capacitors are not to be reused; ageing of class 2
    (found,) = match_loose(sites(), [loose("L1", farads=82e-9, size="0201")])
    assert [c.refdes for c in found.candidates] == ["C1"]
    assert not found.reusable
    assert "fit a new one" in found.advice


def test_a_whole_resistor_may_go_back_and_a_chipped_one_not() -> None:
    whole, chipped = match_loose(
        sites(), [loose("L1", ohms=10e3, size="0201"), loose("L2", ohms=10e3, whole=False)]
    )
    assert (whole.reusable, chipped.reusable) == (True, False)


def test_two_equal_parts_get_the_two_positions() -> None:
    found = match_loose(sites(), [loose("L1", ohms=2200.0), loose("L2", ohms=2190.0)])
    assert {item.assigned for item in found} == {"R1", "R2"}


def test_an_unknown_value_matches_by_the_proposed_range() -> None:
    board = BOARD.replace("R3 10k 1% 0201", "R3").replace("R4 0R 0201: TS NTC\n", "")
    circuit = Circuit(read(Document("b.sheet", board)))
    (site,) = sites_of(circuit, ["R3"])
    assert site.proposed is not None
    low, high = site.proposed
    (found,) = match_loose([site], [loose("L1", ohms=(low * high) ** 0.5)])
    assert found.certainty is Certainty.CERTAIN


def site(refdes: str, ohms: float) -> Site:
    kind = PartKind(Kind.RESISTOR, 1.0, (), ohms=ohms, tolerance=0.05)
    return Site(refdes, Kind.RESISTOR, kind, None)


VALUES = st.sampled_from([1000.0, 1020.0, 1040.0, 1500.0, 2200.0])


@given(st.lists(VALUES, min_size=1, max_size=4), st.lists(VALUES, min_size=1, max_size=4))
def test_the_assignment_is_the_best_of_all(at: list[float], found: list[float]) -> None:
    places = [site(f"R{i}", ohms) for i, ohms in enumerate(at)]
    parts = [loose(f"L{i}", ohms=ohms) for i, ohms in enumerate(found)]
    answers = match_loose(places, parts)
    cost = {(a.loose, c.refdes): c.cost for a in answers for c in a.candidates}

    def total(choice: tuple[int | None, ...]) -> float:
        used = [place for place in choice if place is not None]
        if len(used) != len(set(used)):
            return float("inf")
        return sum(
            1e3 if place is None else cost.get((f"L{i}", f"R{place}"), float("inf"))
            for i, place in enumerate(choice)
        )

    options: list[int | None] = [None, *range(len(places))]
    best = min(total(choice) for choice in itertools.product(options, repeat=len(parts)))
    ours = sum(1e3 if a.assigned is None else cost[a.loose, a.assigned] for a in answers)
    assert ours == pytest.approx(best)
