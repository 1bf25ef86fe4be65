"""Chip sizes against maker's sheets."""

from __future__ import annotations

import pytest

from nettrace.values.sizes import (
    chip_size,
    inch_size,
    land_pattern_size,
    read_size,
)

# inch, metric, length mm, watts at 70 °C, volts: Royal Ohm, Yageo RC, Vishay D/CRCW e3 sheets
SHEETS = [
    ("01005", "0402", 0.4, 1 / 32, 15), ("0201", "0603", 0.6, 1 / 20, 25),
    ("0402", "1005", 1.0, 1 / 16, 50), ("0603", "1608", 1.6, 1 / 10, 75),
    ("0805", "2012", 2.0, 1 / 8, 150), ("1206", "3216", 3.2, 1 / 4, 200),
    ("1210", "3225", 3.2, 1 / 3, 200), ("2010", "5025", 5.0, 3 / 4, 200),
    ("2512", "6432", 6.35, 1, 200),
]  # fmt: skip


@pytest.mark.parametrize(("inch", "metric", "length", "watts", "volts"), SHEETS)
def test_size_row(inch: str, metric: str, length: float, watts: float, volts: float) -> None:
    size = chip_size(inch)
    assert size is not None
    assert (size.metric, size.length_mm, size.watts, size.volts) == (metric, length, watts, volts)


def test_ratings_that_are_not_known_stay_unknown() -> None:
    size = chip_size("1812")
    assert size is not None
    assert (size.watts, size.volts, size.link_amperes) == (None, None, None)
    assert chip_size("9999") is None


@pytest.mark.parametrize(("text", "inch"), [
    ("R_0201_0603Metric", "0201"), ("C_0603_1608Metric", "0603"), ("C_0402_1005Metric", "0402"),
    ("0402", "0402"), ("RES0402", "0402"), ("C0603", "0603"), ("RESC1005X40N", "0402"),
    ("CAPC1608X90N", "0603"), ("R1608M", "0603"), ("0603 (1608)", "0603"),
    ("R_01005_0402Metric", "01005"),
    ("CP_EIA-3216-18_Kemet-A", "1206"), ("Capacitor_SMD:C_0805_2012Metric_Pad1.18x1.45mm", "0805"),
    ("R_Array_Convex_4x0603", "0603"), ("SOT-23-5", None), ("QFN-32-1EP_5x5mm_P0.5mm", None),
    ("B3U-1000P", None), ("", None), ("TSSOP-14_4.4x5mm", None),
])  # fmt: skip
def test_footprint_text(text: str, inch: str | None) -> None:
    assert inch_size(text) == inch


# IPC-7351, naming convention: body length and width in 0.1 mm, X, height in 0.01 mm, density
@pytest.mark.parametrize(("text", "inch"), [
    ("RESC0603X26N", "0201"), ("CAPC1005X55N", "0402"), ("INDC2012X100L", "0805"),
    ("LEDC1608X80", "0603"), ("Lib:capc0402x22n", "01005"), ("FUSC3216X65M", "1206"),
    ("CAPC2013X140N", "0805"), ("RESC3115X65N", "1206"), ("RESC0603X26N_HS", "0201"),
    ("CAPC9999X55N", None), ("RESC0603", None), ("SOIC127P600X175-8N", None), ("R0603", None),
])  # fmt: skip
def test_land_pattern_names_are_metric(text: str, inch: str | None) -> None:
    size = land_pattern_size(text)
    assert (size.inch if size else None) == inch


# the clash rule: the length decides, never the digits (distributor's note on JEDEC sizes)
@pytest.mark.parametrize(("text", "length", "inch"), [
    ("0603", 1.6, "0603"), ("0603", 0.6, "0201"), ("0402", 1.0, "0402"), ("0402", 0.4, "01005"),
    ("0201", 0.58, "0201"), ("0201", 0.25, "008004"), ("R_0603", 0.64, "0201"),
])  # fmt: skip
def test_length_settles_the_clash(text: str, length: float, inch: str) -> None:
    reading = read_size(text, length)
    assert reading is not None
    assert reading.inch == inch
    assert "decided by" in reading.how


def test_without_a_length_the_other_reading_is_named() -> None:
    reading = read_size("0402")
    assert reading is not None
    assert reading.others == ("01005",)
    assert "no length" in reading.how
