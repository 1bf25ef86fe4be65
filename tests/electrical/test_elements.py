"""What each kind of part is to a meter with the power off, and the bounds that follow."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from nettrace.electrical.meter import meter_error
from nettrace.electrical.power_off import OhmsBounds, PowerOff, elements_of
from tests.circuit_language import circuit

# links 50 mΩ and windings 1 Ω at most, resistors 5 % where nothing is stated (common practice, no
# source); a thermistor between 35 and 15 °C by its beta (nettrace/electrical/power_off.py)
RESISTANCES = [
    ("R1 A B 10k 1%", (10e3, 9.9e3, 10.1e3)),
    ("R1 A B 10k", (10e3, 9.5e3, 10.5e3)),
    ("R1 A B 0R", (0.0, 0.0, 0.05)),
    ("TH1 A B 10k NTC", (10e3, 6.9e3, 14.9e3)),
    ("L1 A B 10uH", (0.0, 0.0, 1.0)),
    ("FB1 A B 600R@100MHz", (0.0, 0.0, 1.0)),
    ("F1 A B 2A", (0.0, 0.0, 1.0)),
    ("L1 A B 10uH 3R", (3.0, 3.0, 6.0)),  # a stated winding: up to twice as much
    ("FB1 A B 600R@100MHz 0R2", (0.2, 0.2, 1.0)),
    ("JP1 A B closed", (0.0, 0.0, 0.05)),
]


@pytest.mark.parametrize(("line", "bounds"), RESISTANCES)
def test_a_resistance_and_its_bounds(line: str, bounds: tuple[float, float, float]) -> None:
    found = elements_of(circuit(line))
    (element,) = found.resistances
    assert (element.a, element.b) == ("A", "B")
    assert (element.ohms, element.at_least, element.at_most) == pytest.approx(bounds)
    assert found.unknown == ()
    assert found.capacitors == ()


@pytest.mark.parametrize(
    "line",
    [
        "R1 A B",
        "D1 A B BAT54",
        "Q1 G=A S=B D=C : 2N7002",
        "U1 VDD=A GND=B : LM75",
        "TH1 A B NTC",
        "JP1 A B",
    ],
)
def test_what_nobody_knows_is_an_unknown_path_between_all_its_nets(line: str) -> None:
    found = elements_of(circuit(line))
    assert found.resistances == ()
    ((part, nets),) = found.unknown
    assert part == line.split(maxsplit=1)[0]
    assert set(nets) >= {"A", "B"}


@pytest.mark.parametrize(
    "line",
    ["C1 A B 100n", "Y1 A B 32.768kHz", "J1 A B C : HDR", "TP1 A : TP", "SW1 A B", "BT1 A B CR2032",
     "R1 A B 10k DNP", "U1 A A : LM75", "R1 A A 10k"],
)  # fmt: skip
def test_what_passes_no_direct_current(line: str) -> None:
    found = elements_of(circuit(line))
    assert (found.resistances, found.unknown) == ((), ())


# class 2 by its dielectric; without one, by its size: above 1 nF (common practice, no source)
@pytest.mark.parametrize(
    ("value", "farads", "class_2"),
    [
        ("100pF 5% C0G", 100e-12, False), ("100nF C0G", 100e-9, False), ("10nF NP0", 10e-9, False),
        ("100pF X7R", 100e-12, True), ("10uF X5R", 10e-6, True),
        ("1nF", 1e-9, False), ("1.1nF", 1.1e-9, True), ("100nF", 100e-9, True),
    ],
)  # fmt: skip
def test_a_capacitor_and_its_class(value: str, farads: float, class_2: bool) -> None:
    (found,) = elements_of(circuit(f"C1 A B {value}")).capacitors
    assert found.farads == pytest.approx(farads)
    assert found.class_2 is class_2


@pytest.mark.parametrize("line", ["C1 A B", "C1 A A 100n"])
def test_a_capacitor_of_no_value_or_on_one_net_is_none(line: str) -> None:
    assert elements_of(circuit(line)).capacitors == ()


def test_an_array_is_its_pairs_and_a_lone_pin_is_none() -> None:
    line = "RN1 1=A 2=B 3=- 4=D 5=E 6=F 7=G 8=H @R_Array_Convex_4x0402 : 10k"
    found = elements_of(circuit(line))
    assert [(e.a, e.b) for e in found.resistances] == [("A", "H"), ("B", "G"), ("D", "E")]
    assert found.unknown == ()


def test_parts_that_are_not_there_or_are_another_value() -> None:
    whole = circuit("R1 A B 10k 1%\nR2 A B 10k\nR3 A B 10k DNP\nC1 A B 1n\nU1 A B C : LM75\n")
    assert [e.part for e in elements_of(whole, ["R1"]).resistances] == ["R2"]
    assert elements_of(whole, ["C1", "U1"]).capacitors == ()
    assert elements_of(whole, ["C1", "U1"]).unknown == ()
    # a change stands even for a position that the file leaves empty
    changed = elements_of(whole, ["R2"], {"R1": 2e3, "R3": 5e3, "C1": 0.0})
    figures = [(e.part, e.ohms, e.at_least, e.at_most) for e in changed.resistances]
    assert figures == [
        ("C1", 0.0, 0.0, 0.0),
        ("R1", 2e3, pytest.approx(1980), pytest.approx(2020)),
        ("R3", 5e3, pytest.approx(4750), pytest.approx(5250)),
    ]
    assert changed.capacitors == ()
    with pytest.raises(ValueError, match="U1 is not between two nets"):
        elements_of(whole, (), {"U1": 1.0})


# -- bounds --------------------------------------------------------------------------------------


def test_the_error_of_a_meter() -> None:
    # ±(0.9 % + 2 counts) of 6000 counts, from memory: 10 kΩ stands in the range of 60 kΩ
    assert meter_error(10e3) == pytest.approx(90 + 2 * 10)
    assert meter_error(100.0) == pytest.approx(0.9 + 2 * 0.1)
    assert meter_error(math.inf) == 0


def test_bounds_as_shown_are_wider_by_the_meters_error_and_not_below_zero() -> None:
    bounds = OhmsBounds(10e3, 10.1e3, 9.9e3, exact=True, unknown=())
    assert bounds.shown_at_most() == pytest.approx(10.1e3 + 90.9 + 20)
    assert bounds.shown_at_least() == pytest.approx(9.9e3 - 89.1 - 20)
    assert OhmsBounds(0.0, 0.05, 0.0, exact=True, unknown=()).shown_at_least() == 0


def test_the_parts_named_stand_at_the_end_that_fewer_touch() -> None:
    # a path round R1 has to pass U3: it alone touches B
    found = circuit(
        """
        R1 A B 10k 1%
        U1 A X : LM75
        U2 A Y : LM75
        U3 B X Y : LM75
        """
    )
    assert PowerOff(found).ohms("A", "B").unknown == ("U3",)
    assert PowerOff(found).ohms("B", "A").unknown == ("U3",)
    assert PowerOff(found, frozenset({"U3"})).ohms("A", "B").exact


def test_a_part_right_at_the_end_is_named_before_one_behind_a_resistor() -> None:
    found = circuit(
        """
        R1 A B 10k 1%
        R2 A X 10k 1%
        U1 A B : LM75
        U2 X B : LM75
        U4 B C : LM75
        """
    )
    assert PowerOff(found).ohms("A", "B").unknown == ("U1",)


def test_a_part_behind_a_resistor_is_named_and_one_elsewhere_is_not() -> None:
    found = circuit("R2 A X 10k\nU1 X B : LM75\nU2 B C : LM75\nU9 P Q : LM75")
    assert PowerOff(found).ohms("A", "B").unknown == ("U1",)


def test_no_known_path_but_a_chip_between() -> None:
    found = PowerOff(circuit("U1 A B : LM75\nR1 A C 10k")).ohms("A", "B")
    assert math.isinf(found.nominal)
    assert math.isinf(found.at_most)
    assert found.at_least == 0
    assert not found.exact
    assert found.unknown == ("U1",)


def test_changes_and_absences_carry_over() -> None:
    found = PowerOff(circuit("R1 A B 10k\nR2 A B 10k\nR3 A B 10k"), changes={"R1": 5e3})
    assert replace(found, without=found.without | {"R2", "R3"}).ohms("A", "B").nominal == 5e3


def test_capacitance_between_nets_that_links_make_one() -> None:
    found = PowerOff(
        circuit(
            """
            R1 A A2 0R
            C1 A B 100pF C0G
            C2 B A2 22pF C0G
            C3 A A2 1uF X5R
            C4 A C 1uF X5R
            C5 C B 1uF X5R
            """
        )
    )
    farads, parts, class_2 = found.farads("A2", "B")
    assert (parts, class_2) == (("C1", "C2"), False)
    assert farads == pytest.approx(122e-12)
    assert found.farads("A", "A2") == (0.0, (), False)


@pytest.mark.parametrize(
    ("value", "class_2"),
    [
        # EIA-198: C0G (NP0) and U2J are class 1, X5R class 2
        ("100nF C0G", False), ("100nF NP0", False), ("100nF U2J", False), ("100nF COG", False),
        ("100nF X5R", True), ("100nF", True),
    ],
)  # fmt: skip
def test_the_class_of_a_ceramic(value: str, class_2: bool) -> None:
    (found,) = elements_of(circuit(f"C1 A B {value} 10%")).capacitors
    assert found.class_2 is class_2
    assert found.tolerance == 0.1
