"""Colour bands against the rows of IEC 60062, in both reading directions."""

from __future__ import annotations

import pytest

from nettrace.values.marking import read_bands

# IEC 60062, worked by its table of digits, multipliers and tolerances
ROWS: list[tuple[str, float, float | None]] = [
    ("yellow violet red", 4700.0, 0.20),  # three bands: 20 %
    ("brown black black gold", 10.0, 0.05),
    ("red red silver gold", 0.22, 0.05),
    ("brown black black red brown", 10e3, 0.01),
    ("brown black black red brown red", 10e3, 0.01),
    ("bn bk rd gd", 1000.0, 0.05),  # the two-letter codes of IEC 60757
    ("yellow violet red none", 4700.0, 0.20),
]


@pytest.mark.parametrize(("row", "ohms", "tolerance"), ROWS)
def test_a_row_of_bands(row: str, ohms: float, tolerance: float | None) -> None:
    first = read_bands(row)[0]
    assert first.quantity == "ohms"
    assert first.value == pytest.approx(ohms)
    assert first.tolerance == tolerance


def test_one_black_band_is_a_link() -> None:
    (found,) = read_bands("black")
    assert (found.quantity, found.value, found.tolerance) == ("ohms", 0.0, None)


def test_four_bands_and_a_temperature_coefficient_where_the_fourth_is_metal() -> None:
    found = [m for m in read_bands("yellow violet red gold black") if m.quantity == "ohms"]
    assert [(m.value, m.tolerance) for m in found] == [(4700.0, 0.05)]  # black is no tolerance
    assert "250 ppm/K" in found[0].note
    both = [m for m in read_bands("yellow violet red gold brown") if m.quantity == "ohms"]
    # brown may be a coefficient behind four bands or the tolerance of five: 472 × 0.1 Ω, 1 %
    assert [(m.value, m.tolerance) for m in both][:2] == [(4700.0, 0.05), (47.2, 0.01)]


@pytest.mark.parametrize(
    "row",
    [
        "black red red gold",  # no value begins with 0, and gold is no digit from the other end
        "gold silver",
        "red mauve red",
        "",
        "red red red red red red red",
    ],
)
def test_what_is_no_row_gives_nothing(row: str) -> None:
    assert read_bands(row) == ()
