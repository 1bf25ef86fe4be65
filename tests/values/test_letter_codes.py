"""Codes with letters, each with every reading that the tables allow and no other."""

from __future__ import annotations

import pytest

from nettrace.values.marking import meanings

Reading = tuple[str, float | str | None, float | None]


def readings(text: str) -> set[Reading]:
    return {(m.quantity, m.value, m.tolerance) for m in meanings(text)}


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # EIA-198 three-digit code and IEC 60062 letter; the ohms of 226K and 107M are IEC 60062
        ("226K", {("farads", 22e-6, 0.10), ("ohms", 226e3, None)}),
        ("107M", {("farads", 100e-6, 0.20), ("ohms", 107e6, None)}),
        ("478Z", {("farads", 0.47e-12, 0.80)}),
        ("104Z", {("farads", 100e-9, 0.80)}),
        # IEC 60062: letter code with a tolerance letter behind
        ("100RF", {("ohms", 100.0, 0.01)}),
        ("33pJ", {("farads", 33e-12, 0.05)}),
        ("47KK", {("ohms", 47e3, 0.10)}),
        ("4n7F", {("farads", 4.7e-9, None)}),  # F is the unit here, no letter of 1 %
        ("16MHz", {("hertz", 16e6, None)}),
        ("10kHz", {("hertz", 10e3, None)}),
        ("5°C", set()),
        ("MJ", set()),
    ],
)
def test_a_code_has_these_readings(text: str, expected: set[Reading]) -> None:
    found, wanted = sorted(readings(text), key=str), sorted(expected, key=str)
    assert [(of, tolerance) for of, _, tolerance in found] == [(of, t) for of, _, t in wanted]
    assert [value for _, value, _ in found] == pytest.approx([value for _, value, _ in wanted])


@pytest.mark.parametrize(
    ("letter", "tolerance", "note"),
    [
        # IEC 60062, tolerances of capacitors: in pF below 10 pF, in per cent from there on
        ("B", 0.001, "below 10 pF ±0.1 pF"),
        ("C", 0.0025, "below 10 pF ±0.25 pF"),
        ("J", 0.05, ""),
        ("Z", 0.80, "−20/+80 %"),
        ("Q", 0.30, "−10/+30 %"),
    ],
)
def test_a_lone_letter_is_a_tolerance(letter: str, tolerance: float, note: str) -> None:
    found = next(m for m in meanings(letter) if m.quantity == "tolerance")
    assert (found.value, found.note) == (tolerance, note)


def test_ohms_rare_for_a_chip_come_behind() -> None:
    scores = {text: meanings(text)[0].score for text in ("10M", "47M", "107k")}
    assert scores["47M"] < scores["10M"]
    prefix_alone = {m.quantity for m in meanings("10u")}
    assert prefix_alone == {"farads", "henries"}
    assert {m.quantity for m in meanings("10m")} == {"ohms", "farads", "henries"}
