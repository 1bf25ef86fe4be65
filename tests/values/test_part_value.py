"""Value texts of parts lists, in the spellings met on real boards."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.values.part_value import PartValue, read_part_value

R, C, L, B, Y, T = "resistor", "capacitor", "inductor", "ferrite bead", "crystal", "thermistor"

# spellings: the shared boards' QUIRKS.md ("Value spellings") and the issue; figures by reading
CASES: list[tuple[str, str | None, dict[str, Any]]] = [
    ("2k2 1% 0201", R, {"ohms": 2200, "tolerance": 0.01, "size_inch": "0201"}),
    ("0.1uF/16V/X5R", C, {"farads": 1e-7, "volts": 16, "dielectric": "X5R"}),
    ("4R7", R, {"ohms": 4.7}),
    # tolerance letters of IEC 60062: below 10 pF in pF, Z is +80/-20 %
    ("5R6D", C, {"farads": 5.6e-12, "tolerance": 0.0893}),
    ("4.7p C", C, {"farads": 4.7e-12, "tolerance": 0.0532}),
    ("8p2G", C, {"farads": 8.2e-12, "tolerance": 0.2439}),
    ("104Z", C, {"farads": 1e-7, "tolerance": 0.8, "tolerance_minus": 0.2}),
    ("100nZ", C, {"farads": 1e-7, "tolerance": 0.8, "tolerance_minus": 0.2}),
    ("104J/50V", C, {"farads": 1e-7, "tolerance": 0.05, "volts": 50}),
    ("22p C", C, {"farads": 22e-12}),  # hardly 0.25 %
    ("2R2Z", R, {}),  # a letter of capacitors alone
    ("NA(10K)", R, {"ohms": 10e3, "fitted": False}),
    ("DNP", R, {"fitted": False}),
    ("22uF 6.3V 20% 0603 (1608)", C,
     {"farads": 22e-6, "volts": 6.3, "tolerance": 0.2, "size_inch": "0603"}),
    ("10K,1%,DNI", R, {"ohms": 10e3, "tolerance": 0.01, "fitted": False}),
    ("10K THERM", T, {"ohms": 10e3}),
    ("10K 0.1%", R, {"ohms": 10e3, "tolerance": 0.001}),
    ("RA1206_(4x0603)_4B8_100k", R, {"ohms": 100e3, "count": 4, "size_inch": "1206"}),
    ("4x1.5K_RA1206", R, {"ohms": 1500, "count": 4, "size_inch": "1206"}),
    ("2u2", C, {"farads": 2.2e-6}), ("2u2", L, {"henries": 2.2e-6}), ("1u", C, {"farads": 1e-6}),
    ("0R", R, {"ohms": 0}), ("0", R, {"ohms": 0}), ("47k", R, {"ohms": 47e3}),
    ("5k1", R, {"ohms": 5100}), ("22R", R, {"ohms": 22}), ("475", R, {"ohms": 475}),
    ("100", R, {"ohms": 100}), ("100n", C, {"farads": 1e-7}), ("0.1uF", C, {"farads": 1e-7}),
    ("10uF/6.3V/0603", C, {"farads": 10e-6, "volts": 6.3, "size_inch": "0603"}),
    ("240R/1%", R, {"ohms": 240, "tolerance": 0.01}),
    ("NA(243R/1%)", R, {"ohms": 243, "tolerance": 0.01, "fitted": False}),
    ("NA(0R)", R, {"ohms": 0, "fitted": False}), ("(na)100K", R, {"ohms": 100e3, "fitted": False}),
    ("d.n.p.(HR2x3)", "switch", {"fitted": False}), ("NA(HN1x3)", None, {"fitted": False}),
    ("Open", R, {"fitted": False}), ("Open", "switch", {}), ("Val**", None, {}),
    ("not fitted", C, {"fitted": False}), ("10k DNP", R, {"ohms": 10e3, "fitted": False}),
    ("FB0603/600R/200mA", B, {"impedance_ohms": 600, "amperes": 0.2, "size_inch": "0603"}),
    ("FB0603/600R/200mA", None, {"impedance_ohms": 600, "amperes": 0.2, "size_inch": "0603"}),
    ("FB0805/600R/2A", L, {"impedance_ohms": 600, "amperes": 2, "size_inch": "0805"}),
    ("600R 2A", L, {"impedance_ohms": 600, "amperes": 2}),
    ("4.7uH 0.1R 2A", L, {"henries": 4.7e-6, "dcr_ohms": 0.1, "amperes": 2}),
    ("600R@100MHz", L, {"impedance_ohms": 600, "impedance_hertz": 100e6}),
    ("600R@100MHz", B, {"impedance_ohms": 600, "impedance_hertz": 100e6}),
    ("FB0805", B, {"size_inch": "0805"}), ("BLM18PG221SH1D", B, {}),
    ("SWPA4018S1R5NT(1.5uH/3.35A/DCR<0.1R/CD43)", L,
     {"henries": 1.5e-6, "amperes": 3.35, "dcr_ohms": 0.1}),
    ("16.000MHz/SMD5x3.2/12pF", Y, {"hertz": 16e6, "load_farads": 12e-12, "body_mm": (5.0, 3.2)}),
    ("MC-306_32.768KHZ/SMD_8038/6pF", Y,
     {"hertz": 32768, "load_farads": 6e-12, "body_mm": (8.0, 3.8)}),
    ("4SB24.000F20E15/5x3.2mm/20ppm/20pF", Y,
     {"tolerance": 20e-6, "load_farads": 20e-12, "body_mm": (5.0, 3.2)}),
    ("12MHz-20pf", Y, {"hertz": 12e6, "load_farads": 20e-12}),
    ("XYDBPCNANF-12MHZ", Y, {"hertz": 12e6}), ("32MHz", Y, {"hertz": 32e6}),
    ("32.768 kHz, 12.5 pF", Y, {"hertz": 32768, "load_farads": 12.5e-12}),
    ("27.000MHz/20ppm", Y, {"hertz": 27e6, "tolerance": 20e-6}),
    ("10kR", R, {"ohms": 10e3}), ("330kR", R, {"ohms": 330e3}),
    ("100uF;25V", C, {"farads": 100e-6, "volts": 25}), ("5k6;1W", R, {"ohms": 5600, "watts": 1}),
    ("4.7UF", C, {"farads": 4.7e-6}), ("0.01uf,16V", C, {"farads": 1e-8, "volts": 16}),
    ("0.01R/1%/1206", R, {"ohms": 0.01, "tolerance": 0.01, "size_inch": "1206"}),
    ("22.1K /1%", R, {"ohms": 22100, "tolerance": 0.01}),
    ("12K_1%", R, {"ohms": 12e3, "tolerance": 0.01}),
    ("0R(Board_Mounted)", R, {"ohms": 0}), ("8p2", C, {"farads": 8.2e-12}),
    ("22pf", C, {"farads": 22e-12}),
    ("1/16W 10k 5%", R, {"ohms": 10e3, "watts": 1 / 16, "tolerance": 0.05}),
    ("22/1W", R, {"ohms": 22, "watts": 1}),
    ("1 mΩ 1W 2512", R, {"ohms": 1e-3, "watts": 1, "size_inch": "2512"}),
    ("10 kΩ ±1 %", R, {"ohms": 10e3, "tolerance": 0.01}),
    ("0,1uF 16V", C, {"farads": 1e-7, "volts": 16}),
    ("4.7k 0402M", R, {"ohms": 4700, "size_inch": "01005"}),
    ("104", C, {"farads": 1e-7}), ("104K 50V", C, {"farads": 1e-7, "tolerance": 0.1, "volts": 50}),
    ("100nF K 50V X7R", C, {"farads": 1e-7, "tolerance": 0.1, "volts": 50, "dielectric": "X7R"}),
    ("10pF ±0.5pF NP0", C, {"farads": 10e-12, "tolerance": 0.05, "dielectric": "C0G"}),
    ("100nF +80/-20% 25V Y5V", C,
     {"farads": 1e-7, "tolerance": 0.8, "tolerance_minus": 0.2, "volts": 25, "dielectric": "Y5V"}),
    ("120R/3A/DCR=0.025R", B, {"impedance_ohms": 120, "amperes": 3, "dcr_ohms": 0.025}),
    ("10k NTC B25/50=3380", T, {"ohms": 10e3, "beta": 3380}),
    ("10K B3950", T, {"ohms": 10e3, "beta": 3950}), ("10K/3435", T, {"ohms": 10e3, "beta": 3435}),
    ("4K7F", R, {"ohms": 4700, "tolerance": 0.01}), ("100RJ", R, {"ohms": 100, "tolerance": 0.05}),
    ("1A 32V", "fuse", {"amperes": 1, "volts": 32}), ("5V6", "diode", {"volts": 5.6}),
    ("LED/RED/0603", "LED", {"size_inch": "0603"}), ("100", L, {"henries": 10e-6}),
    ("10uH 1.2A", L, {"henries": 10e-6, "amperes": 1.2}),
    ("10k 100ppm", R, {"ohms": 10e3, "tempco_ppm": 100}),
]  # fmt: skip


def figures(value: PartValue) -> dict[str, Any]:
    skipped = {"remainder", "notes"}
    return {
        field.name: getattr(value, field.name)
        for field in dataclasses.fields(value)
        if field.name not in skipped and getattr(value, field.name) is not None
    }


@pytest.mark.parametrize(("text", "kind", "expected"), CASES)
def test_value_text_says_exactly_this(
    text: str, kind: str | None, expected: dict[str, Any]
) -> None:
    found = figures(read_part_value(text, kind))
    assert found.keys() == expected.keys()
    for name, value in expected.items():
        assert found[name] == (pytest.approx(value) if isinstance(value, float) else value)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("HSMRH103R-2R5M", L), ("HSMRH103R-220M", L), ("1N5822/SS34/SMA", "diode"),
        ("2N7002", None),
        ("3296W", None), ("74HC04", None), ("ATmega32U2-AU", None), ("GD25Q16xS", None),
        ("K4B4G1646Q-HYK0(FBGA-96_256Mx16_DDR3-1600_11-11-11)", None), ("1V8LED", "test point"),
        ("USB-3.5mm(TERES)", "connector"), ("FSMD035", "fuse"), ("0ZCJ0075AF2E", "fuse"),
        ("BZT52-B5V6J", "diode"), ("AP2112K-3.3", "regulator"), ("3V3", "test point"),
    ],
)  # fmt: skip
def test_part_number_is_no_value_and_is_kept(text: str, kind: str | None) -> None:
    value = read_part_value(text, kind)
    assert figures(value) == {}
    assert value.remainder


@pytest.mark.parametrize(
    ("text", "kind", "word"),
    [("10u", None, "no unit"), ("104", C, "code"), ("33", C, "pF"), ("1210", R, "chip size"),
     ("10k 22k", R, "second"), ("2k2 0603", R, "0201"), ("10k", C, "no unit"),
     ("10R", C, "ESR")],
)  # fmt: skip
def test_doubt_is_noted(text: str, kind: str | None, word: str) -> None:
    assert any(word in note for note in read_part_value(text, kind).notes)


@pytest.mark.parametrize(
    ("text", "kind", "field", "value"),
    [
        ("4.7e3", L, "henries", 4.7e-3),
        ("4.7e3", Y, "hertz", 4.7e9),
        ("4.7e-1", C, "farads", 0.47e-6),
    ],
)
def test_a_bare_number_may_have_an_exponent(text: str, kind: str, field: str, value: float) -> None:
    assert getattr(read_part_value(text, kind), field) == value


@given(
    st.text(alphabet="0123456789RkKMpnuµFHVAW%/ ,;()@<x.-±NADP", max_size=24),
    st.sampled_from([None, R, C, L, B, Y, T, "fuse", "diode", "chip"]),
)
def test_any_text_is_read_without_an_error(text: str, kind: str | None) -> None:
    value = read_part_value(text, kind)
    assert value.ohms is None or value.ohms >= 0 or "-" in text
