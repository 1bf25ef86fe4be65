"""Ratings beside the value: a value text beats a field, a field beats the description."""

from __future__ import annotations

from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import PartKind
from nettrace.model.builder import BoardBuilder


def kind(value: str, description: str = "", **fields: str) -> PartKind:
    builder = BoardBuilder("a.net", "kicad_net")
    part = builder.part("C1")
    part.value, part.description, part.properties = value, description or None, fields
    part.pin("1", "A")
    part.pin("2", "B")
    return Circuit(builder.build()).kinds["C1"]


def test_fields_fill_what_the_value_does_not_say() -> None:
    found = kind("100n", Tolerance="10%", Voltage="10V", Dielectric="X5R")
    assert (found.farads, found.tolerance, found.rated_volts, found.dielectric) == (
        1e-7,
        0.1,
        10.0,
        "X5R",
    )


def test_the_value_text_beats_a_field_and_a_field_the_description() -> None:
    text = "Ceramic capacitor, 100 nF, 25V, X7R, 20%, 0402"
    found = kind("100n/16V", text, Tolerance="5%")
    assert (found.rated_volts, found.tolerance, found.dielectric) == (16.0, 0.05, "X7R")


def test_a_description_of_another_value_is_not_believed() -> None:
    assert kind("100n", "Ceramic capacitor, 1 uF, 25V, X7R, 20%").rated_volts is None


def test_a_coil_is_named_by_its_henries_not_by_its_winding() -> None:
    builder = BoardBuilder("a.net", "kicad_net")
    part = builder.part("L1")
    part.value, part.properties = "2u2", {"DCR": "100m"}
    part.pin("1", "A")
    part.pin("2", "B")
    found = Circuit(builder.build()).kinds["L1"]
    assert found.ohms == 0.1
    assert found.figure == (2.2e-6, "H")
