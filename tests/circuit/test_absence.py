"""What stops without a part: small circuits, then Wren's damage as its description states it."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import nettrace
from nettrace.bench.area import describe_damage
from nettrace.circuit.absence import judge_absence
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Severity
from tests.circuit_language import circuit
from tests.conftest import ROOT

GROUND = "C90 VDD GND 100n\nC91 VDD GND 10u\nC92 VIN GND 10u\n"
BUS = GROUND + "U1 SDA=SDA SCL=SCL VDD=VDD GND=GND\nU2 SDA=SDA SCL=SCL VDD=VDD GND=GND\n"
TWO = BUS + "R1 SDA VDD 4k7\nR2 SCL VDD 4k7\n"


def told(netlist: str, part: str, **rails: float) -> tuple[str, str]:
    """Return severity and all effects as one text."""
    found = circuit(netlist, rails={"VDD": 3.3, **rails}).absence(part)
    return found.severity.value, "; ".join(found.effects)


def test_the_only_pull_up_of_a_bus_line_blocks_the_bus() -> None:
    severity, text = told(TWO, "R1")
    assert severity == "blocks"
    assert "SDA" in text
    assert "only pull-up to VDD" in text
    assert "never rises" in text
    assert "U1 and U2 do not answer" in text


# 4.7 kΩ at 3.3 V and 100 pF is too slow for fast mode, fits standard mode (reference-values 1.1)
def test_a_second_pull_up_keeps_the_line_alive() -> None:
    severity, text = told(TWO + "R3 SDA VDD 4k7\n", "R1")
    assert severity in {"minor", "degrades"}
    assert "keeps R3, 4.7 kΩ" in text


def test_a_pull_up_that_is_not_fitted_saves_nothing() -> None:
    assert told(TWO + "R3 SDA VDD 4k7 DNP\n", "R1")[0] == "blocks"


def test_a_part_that_is_not_fitted_is_not_missed() -> None:
    severity, text = told(TWO + "R3 SDA VDD 4k7 DNP\n", "R3")
    assert severity == "minor"
    assert "not fitted as designed" in text


def test_a_shifter_carries_the_trouble_over() -> None:
    shifted = (
        TWO + "Q1 G=VDD S=SDA D=SDA_H : BSS138\nR5 SDA_H VIN 10k\nU3 SDA=SDA_H VDD=VIN GND=GND\n"
    )
    _, text = told(shifted, "R1", VIN=5.0)
    assert "Q1 passes a low on to SDA_H" in text


CC = (
    GROUND
    + """J1 VBUS=VIN CC1=CC1 CC2=CC2 GND=GND : USB_C_Receptacle
R1 CC1 GND 5k1
R2 CC2 GND 5k1
"""
)


# "Missing Rd on one CC: works one plug way only; on both: no VBUS from a C source"
# (USB Type-C; reference-values 6, derived)
@pytest.mark.parametrize("part", ["R1", "R2"])
def test_without_one_rd_one_way_round_is_dead(part: str) -> None:
    severity, text = told(CC, part, VIN=5.0)
    assert severity == "degrades"
    assert "one way round" in text


def test_without_the_last_rd_a_source_gives_nothing() -> None:
    severity, text = told(CC.replace("R2 CC2 GND 5k1\n", "R2 CC2 GND 5k1 DNP\n"), "R1", VIN=5.0)
    assert severity == "blocks"
    assert "no voltage" in text


NTC = (
    GROUND
    + """U1 TS=TS VBAT=VBAT VIN=VIN GND=GND : BQ24075 charger
J1 VBAT NTC GND : Battery
R1 TS VDD 10k
R2 NTC TS 0R
C1 VBAT GND 10u
C2 VBAT GND 1u
"""
)


# reference-values 5: "missing NTC reads coldest (open); missing bias: 0 V", cold and hot both stop
# charging (JEITA guideline of 20 April 2007)
def test_a_thermistor_line_that_is_cut_reads_coldest() -> None:
    severity, text = told(NTC, "R2", VIN=5.0)
    assert severity == "blocks"
    assert "coldest" in text
    assert "U1 refuses to charge" in text


def test_a_thermistor_line_without_bias_reads_hottest() -> None:
    severity, text = told(NTC, "R1", VIN=5.0)
    assert severity == "blocks"
    assert "0 V" in text
    assert "hottest" in text


BUCK = """U1 VIN=VIN SW=SW FB=FB EN=EN GND=GND : TLV62569 buck
L1 SW +3V3 2u2
R1 +3V3 FB 45k3
R2 FB GND 10k
R3 EN VIN 100k
C1 VIN GND 10u
C2 +3V3 GND 22u
C3 +3V3 GND 100n
U2 VDD=+3V3 GND=GND A=X
U3 VDD=+3V3 GND=GND A=X
FB1 +3V3 +3V3A 600R@100MHz
C4 +3V3A GND 1u
C5 +3V3A GND 100n
U4 VDDA=+3V3A GND=GND B=X
"""


def test_an_open_upper_feedback_leg_is_dangerous() -> None:
    severity, text = told(BUCK, "R1", VIN=5.0)
    assert severity == "blocks"
    assert "DANGER" in text
    assert "do not power it up" in text
    assert "U2" in text


def test_an_open_lower_feedback_leg_starves_the_rail() -> None:
    severity, text = told(BUCK, "R2", VIN=5.0)
    assert severity == "blocks"
    assert "DANGER" not in text
    assert "far too high" in text


def test_a_rail_without_its_inductor_takes_along_what_hangs_on_it() -> None:
    severity, text = told(BUCK, "L1", VIN=5.0)
    assert severity == "blocks"
    assert "+3V3A" in text
    assert "without power: U2, U3 and U4" in text


def test_a_bead_cuts_off_only_its_own_side() -> None:
    severity, text = told(BUCK, "FB1", VIN=5.0)
    assert severity == "blocks"
    assert "without power: U4" in text
    assert "U2" not in text


def test_two_links_in_parallel_stand_in_for_each_other() -> None:
    severity, text = told(BUCK + "FB2 +3V3 +3V3A 600R@100MHz\n", "FB1", VIN=5.0)
    assert severity == "degrades"
    assert "FB2" in text


def test_two_links_that_are_both_gone_do_not_stand_in_for_each_other() -> None:
    both = circuit(BUCK + "FB2 +3V3 +3V3A 600R@100MHz\n", rails={"VDD": 3.3, "VIN": 5.0})
    assert judge_absence(both.surroundings, "FB1", ["FB2"]).severity is Severity.BLOCKS
    assert describe_damage(both, ["FB1", "FB2"])[0].startswith("FB1")
    cc = circuit(CC, rails={"VDD": 3.3, "VIN": 5.0})
    assert "no voltage" in "; ".join(describe_damage(cc, ["R1", "R2"]))
    assert "one way round" in "; ".join(describe_damage(cc, ["R1"]))


def test_a_second_phase_keeps_the_rail() -> None:
    phases = BUCK.replace("U1 VIN=VIN SW=SW", "U1 VIN=VIN SW2=SW2 SW=SW") + "L2 SW2 +3V3 2u2\n"
    severity, text = told(phases, "L1", VIN=5.0)
    assert severity == "degrades"
    assert "L2 alone" in text


def test_a_diode_back_to_the_input_feeds_nothing() -> None:
    netlist = BUCK + "D1 K=VIN A=+3V3 : SS14\n"
    assert told(netlist, "L1", VIN=5.0)[0] == "blocks"
    severity, text = told(netlist, "D1", VIN=5.0)
    assert severity == "minor"
    assert "U1 is not protected" in text


def test_an_enable_without_its_pull_up_floats() -> None:
    severity, text = told(BUCK, "R3", VIN=5.0)
    assert severity == "blocks"
    assert "EN" in text
    assert "+3V3 may be missing" in text


def test_decoupling_is_told_by_its_share() -> None:
    assert told(BUCK, "C3", VIN=5.0)[0] == "minor"
    severity, text = told(BUCK, "C2", VIN=5.0)
    assert severity == "degrades"
    assert "keeps 100 nF of 22.1 µF" in text


@pytest.mark.parametrize(
    ("extra", "part", "severity", "word"),
    [
        ("U5 XI=XI XO=XO VDD=VDD GND=GND\nY1 XI XO 16MHz\nC1 XI GND 12p\nC2 XO GND 12p", "Y1",
         "blocks", "no clock"),
        ("U5 XI=XI XO=XO VDD=VDD GND=GND\nY1 XI XO 16MHz\nC1 XI GND 12p\nC2 XO GND 12p", "C1",
         "degrades", "load capacitor"),
        ("U5 A=LED_A VDD=VDD GND=GND\nR7 LED_A LED_K 1k\nLED1 GND LED_K", "R7", "minor", "dark"),
        ("U5 A=IO VDD=VDD GND=GND\nJ2 IO GND\nD1 IO GND : PESD5V0 TVS", "D1", "minor", "static"),
        ("U5 NRST=NRST VDD=VDD GND=GND\nR7 NRST VDD 10k", "R7", "blocks", "reset"),
        ("U5 BOOT0=BOOT0 VDD=VDD GND=GND\nR7 BOOT0 GND 10k", "R7", "degrades", "wrong mode"),
        ("U5 A=MIDDLE VDD=VDD GND=GND\nR7 VIN MIDDLE 100k\nR8 MIDDLE GND 100k", "R7", "degrades",
         "0 V"),
        ("U5 A=MIDDLE VDD=VDD GND=GND\nR7 VIN MIDDLE 100k\nR8 MIDDLE GND 100k", "R8", "degrades",
         "VIN"),
        ("U5 A=A1 VDD=VDD GND=GND\nU6 A=B1 VDD=VDD GND=GND\nR7 A1 B1 33R", "R7", "blocks", "open"),
    ],
)  # fmt: skip
def test_small_positions(extra: str, part: str, severity: str, word: str) -> None:
    found, text = told(GROUND + "U1 VDD=VDD GND=GND Z=Z\n" + extra, part, VIN=5.0)
    assert (found, word in text) == (severity, True), text


def test_what_cannot_be_known_is_said_to_be_unknown() -> None:
    found = circuit("X1 - - -").absence("X1")
    assert found.severity is Severity.UNKNOWN
    assert found.effects


# ------------------------------------------------------------------------------------------ Wren
@cache
def wren() -> Circuit:
    return nettrace.load(ROOT / "samples" / "wren")


@cache
def facts() -> dict[str, Any]:
    path: Path = ROOT / "samples" / "source" / "facts.toml"
    return tomllib.loads(path.read_text(encoding="utf-8"))


#: What the effects must say, beside the severity of facts.toml.
WREN = {
    "R12": ("SDA", "+1V8", "U2", "Q1"),
    "R13": ("SCL", "+1V8", "U2"),
    "R14": ("TS", "0 V", "hottest", "U1 refuses to charge"),
    "R15": ("TS", "VREF_1V8", "coldest", "U1 refuses to charge"),
    "R16": ("SRN", "floats", "charging itself is not touched"),
    "C7": ("VBAT keeps 10 µF",),
    "D4": ("works", "BAT_NTC", "static"),
}


@pytest.mark.parametrize("part", WREN)
def test_wren_tells_its_damage(part: str) -> None:
    found = wren().absence(part)
    assert found.severity == facts()["damage"][part]["severity"]
    text = "; ".join(found.effects)
    assert [word for word in WREN[part] if word not in text] == [], text


def test_wren_names_all_seven() -> None:
    assert sorted(WREN) == sorted(facts()["damage"]["parts"])


def test_wren_tells_its_whole_damage_in_plain_sentences() -> None:
    told = describe_damage(wren(), facts()["damage"]["parts"])
    text = " ".join(told)
    for words in (
        "I2C bus",
        "+1V8",
        "U2 does not answer",
        "U1 no longer reads the temperature and refuses to charge",
        "charging itself is not touched",
        "100 nF of 10.1 µF",
        "open to static",
    ):
        assert words in text
    assert len(told) <= 6
    assert "VSYS" not in text  # what stays alive is not said to be dead


def test_the_order_of_the_lines_changes_nothing() -> None:
    lines = BUCK.splitlines()
    turned = circuit("\n".join(reversed(lines)), rails={"VIN": 5.0})
    plain = circuit(BUCK, rails={"VIN": 5.0})
    for part in plain.board.parts:
        assert turned.absence(part.key) == plain.absence(part.key)


@pytest.mark.parametrize("part", ["R1", "R2"])
def test_wren_keeps_one_plug_direction(part: str) -> None:
    found = wren().absence(part)
    assert found.severity is Severity.DEGRADES
    assert "one way round" in found.effects[0]


@pytest.mark.parametrize("part", facts()["counts"]["not_fitted"])
def test_wren_does_not_miss_what_was_never_fitted(part: str) -> None:
    assert wren().absence(part).severity is Severity.MINOR


def test_wren_without_its_converter_is_dead_but_for_the_clock() -> None:
    found = wren().absence("L1")
    assert found.severity is Severity.BLOCKS
    text = "; ".join(found.effects)
    for rail in ("+3V3", "+1V8", "+3V3A", "SD_VDD"):
        assert rail in text
    assert "VBAT" not in text
    assert "RTC_VDD" not in text


def test_wren_without_its_double_diode_has_no_clock_supply() -> None:
    text = "; ".join(wren().absence("D7").effects)
    assert "RTC_VDD" in text
    assert "U9" in text


def test_wren_without_usb_still_runs_from_its_cell() -> None:
    text = "; ".join(wren().absence("F1").effects)
    assert "VBUS" in text
    assert "VSYS" not in text
    assert "+3V3" not in text


# ------------------------------------------------------------------------------------ real boards
BOARDS = ("zswatch-devkit", "teres-main", "bbq20kbd", "hackrf-marzipan", "sensor-watch-b1")


@pytest.mark.parametrize("name", BOARDS)
def test_every_part_of_a_real_board_is_judged_and_names_only_what_exists(
    boards: Path, name: str
) -> None:
    found = nettrace.load(boards / name)
    for part in found.board.parts:
        absence = found.absence(part.key)
        assert absence.effects, part.key
        for effect in absence.effects:
            assert "  " not in effect, (part.key, effect)
            assert "None" not in effect, (part.key, effect)
            assert not effect.endswith((".", " ", ":", "()")), (part.key, effect)
