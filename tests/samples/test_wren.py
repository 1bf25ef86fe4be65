"""Wren holds together: the files are what the script writes, and the circuit is right."""

from __future__ import annotations

import math
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

SUFFIX = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6}
SEVEN = ["C7", "D4", "R12", "R13", "R14", "R15", "R16"]

# The highest voltage of a rail in use, V: USB 2.0 table 7-7 gives VBUS 5.25; a Li-ion cell 4.2
# (common practice); the others from the description of the chip that makes them.
HIGHEST_VOLTS = {
    "VBUS_CONN": 5.25,
    "VBUS": 5.25,
    "VSYS": 4.4,
    "VBAT": 4.2,
    "RTC_VDD": 4.2,
    "+3V3": 3.4,
    "+3V3A": 3.4,
    "SD_VDD": 3.4,
    "MIC_BIAS_FILTERED": 3.4,
    "MIC_RAW": 3.4,
    "AMP_OUT": 3.4,
    "AMP_MID": 3.4,
    "AMP_LP": 3.4,
    "ADC_VREF": 1.65,
    "MCU_RST_N": 3.4,
    "BTN_REC_N": 3.4,
    "+1V8": 1.8,
    "VREF_1V8": 1.8,
    "TS": 1.8,
    "MCU_VCAP": 1.2,
}


def si(text: str) -> float:
    match = re.fullmatch(r"([0-9.]+)([pnumkM]?)", text)
    assert match, text
    return float(match[1]) * SUFFIX[match[2]]


def ohms(parts: dict[str, Any], refdes: str) -> float:
    return si(parts[refdes].value)


def net_of(part: Any, pin: str) -> str | None:
    net: str | None = next(one.net for one in part.pins if one.number == pin)
    return net


def test_committed_files_are_what_the_script_writes(samples: Path, tmp_path: Path) -> None:
    script = samples / "source" / "make_wren.py"
    run = subprocess.run(
        [sys.executable, str(script), str(tmp_path)], check=True, capture_output=True, text=True
    )
    written = run.stdout.split()
    assert len(written) == 10
    for name in written:
        assert (tmp_path / name).read_bytes() == (samples / name).read_bytes(), name
    committed = {path.name for path in (samples / "wren").iterdir()}
    assert committed == {name.split("/")[1] for name in written if name.startswith("wren/")}


def test_counts(wren: Any, wires: Any, facts: dict[str, Any]) -> None:
    assert len(wren.parts) == facts["counts"]["parts"]
    assert 100 <= len(wren.parts) <= 140
    assert sum(bool(part.pins) for part in wren.parts) == facts["counts"]["parts_with_pins"]
    assert len(wren.nets) == facts["counts"]["nets"]
    assert sum(map(len, wren.nets.values())) == facts["counts"]["pins"]
    open_pins = [pin for part in wren.parts for pin in part.pins if pin.net is None]
    assert len(open_pins) == facts["counts"]["open_pins"]
    pads = sum(len(part.pads) + len(part.holes) for part in wren.parts)
    assert pads == facts["counts"]["pads"]
    assert (
        sum(isinstance(wire, wires.Via) for wire in wires.load_tracks()) == facts["counts"]["vias"]
    )
    assert {part.refdes for part in wren.parts if not part.fitted} == set(
        facts["counts"]["not_fitted"]
    )
    assert {part.side for part in wren.parts} == {"top", "bottom"}


def test_every_net_joins_two_pins_and_open_pins_are_meant(wren: Any) -> None:
    assert [name for name, pins in wren.nets.items() if len(pins) < 2] == []
    # Chip inputs are never left open but the converter's second channel; outputs may be.
    left_open = {
        (part.refdes, pin.name)
        for part in wren.parts
        for pin in part.pins
        if pin.net is None and pin.kind in {"input", "power_in"}
    }
    assert left_open == {("U8", "INR")}


def test_every_pin_has_a_pad_and_every_pad_a_pin(wren: Any) -> None:
    for part in wren.parts:
        pads = {pad.pin for pad in part.pads} - {""}
        assert pads == {pin.number for pin in part.pins}, part.refdes


def test_no_field_hides_a_property_that_every_part_has(wren: Any) -> None:
    taken = {"Reference", "Value", "Footprint", "Description", "Datasheet", "MPN"}
    assert [part.refdes for part in wren.parts if taken & set(part.fields)] == []


def test_courtyards_do_not_overlap_and_stay_on_the_board(wren: Any) -> None:
    width, height = wren.board["size"]
    for one in wren.parts:
        left, low, right, high = one.courtyard
        if one.refdes not in {"J1", "SW3"}:  # their mouth and slider reach over the edge
            assert left >= 0, one.refdes
            assert low >= 0, one.refdes
            assert right <= width, one.refdes
            assert high <= height, one.refdes
        for two in wren.parts:
            if one.refdes < two.refdes and one.side == two.side:
                a, b = one.courtyard, two.courtyard
                apart = a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
                assert apart, (one.refdes, two.refdes)


def test_pads_of_different_nets_keep_clear(wren: Any) -> None:
    """0.1 mm between pads of one side: common practice for this pitch, no source."""
    flat = []
    for part in wren.parts:
        nets = {pin.number: pin.net or (part.refdes, pin.number) for pin in part.pins}
        for pad in part.pads:
            across = round(part.turn) % 180 == 90
            half = (pad.height / 2, pad.width / 2) if across else (pad.width / 2, pad.height / 2)
            sides = {"top", "bottom"} if pad.hole else {part.side}
            flat.append((sides, nets.get(pad.pin, "fiducial"), pad.x, pad.y, *half, part.refdes))
    for index, one in enumerate(flat):
        for two in flat[index + 1 :]:
            if one[0] & two[0] and one[1] != two[1]:
                gap_x = abs(one[2] - two[2]) - one[4] - two[4]
                gap_y = abs(one[3] - two[3]) - one[5] - two[5]
                assert max(gap_x, gap_y) >= 0.1 - 1e-6, (one, two)


def test_the_seven_are_the_parts_nearest_the_battery_connector(
    wren: Any, facts: dict[str, Any]
) -> None:
    around = next(part for part in wren.parts if part.refdes == facts["damage"]["around"])
    far = {
        part.refdes: math.hypot(part.x - around.x, part.y - around.y)
        for part in wren.parts
        if part is not around
    }
    order = sorted(far, key=far.__getitem__)
    assert sorted(order[:7]) == sorted(facts["damage"]["parts"]) == SEVEN
    radius = facts["damage"]["radius_mm"]
    assert [name for name in order if far[name] <= radius] == order[:7]
    assert far[order[7]] > radius + 0.3


def test_facts_of_the_seven_agree_with_the_description(
    parts: dict[str, Any], facts: dict[str, Any]
) -> None:
    for refdes in facts["damage"]["parts"]:
        fact, part = facts["damage"][refdes], parts[refdes]
        assert [pin.net for pin in part.pins] == fact["nets"], refdes
        assert f"_{fact['size']}_" in part.package
        assert facts["roles"][refdes] == fact["role"]
    for refdes, value in facts["damage"]["by_meter"].items():
        assert parts[refdes].value == value
    for pair in facts["damage"]["interchangeable"]:
        assert len({(parts[name].number, parts[name].package) for name in pair}) == 1


def test_facts_name_what_is_there(wren: Any, parts: dict[str, Any], facts: dict[str, Any]) -> None:
    assert set(facts["roles"]) == {part.refdes for part in wren.parts if part.pins}
    nets = set(wren.nets)
    assert set(facts["rails"]) <= nets
    assert set(facts["taps"]) <= nets
    assert set(facts["grounds"]["sure"] + facts["grounds"]["either"]) <= nets
    for bus in facts["buses"]:
        assert set(bus["lines"].values()) <= nets
        on_lines = {part.refdes for net in bus["lines"].values() for part, _ in wren.nets[net]}
        assert set(bus["devices"]) <= on_lines
        for net, pulls in bus.get("pull_ups", {}).items():
            for refdes in pulls:
                assert net in {pin.net for pin in parts[refdes].pins}, refdes


@pytest.mark.parametrize(
    ("upper", "lower", "reference_volts", "rail"),
    [("R22", "R23", 0.6, "+3V3"), ("R26", "R27", 0.8, "+1V8")],
)
def test_feedback_dividers_make_the_rails(
    parts: dict[str, Any],
    facts: dict[str, Any],
    upper: str,
    lower: str,
    reference_volts: float,
    rail: str,
) -> None:
    """V = Vref (1 + upper / lower), the divider formula of every adjustable regulator."""
    chip = {"+3V3": "U3", "+1V8": "U4"}[rail]
    assert parts[chip].fields["Feedback"] == f"{reference_volts}V"
    volts = reference_volts * (1 + ohms(parts, upper) / ohms(parts, lower))
    assert volts == pytest.approx(facts["rails"][rail]["volts"], abs=0.001)
    tap = net_of(parts[upper], "2") if rail == "+3V3" else net_of(parts[lower], "1")
    assert tap in {pin.net for pin in parts[chip].pins if pin.name == "FB"}
    assert tap == net_of(parts[lower], "1")


@pytest.mark.parametrize(
    ("pull", "volts", "low_volts", "sink_amperes", "bus_farads"),
    [
        ("R12", 1.8, 0.36, 0.002, 100e-12),
        ("R13", 1.8, 0.36, 0.002, 100e-12),
        ("R20", 3.318, 0.4, 0.003, 100e-12),
        ("R21", 3.318, 0.4, 0.003, 100e-12),
    ],
)
def test_pull_ups_suit_fast_mode(
    parts: dict[str, Any],
    pull: str,
    volts: float,
    low_volts: float,
    sink_amperes: float,
    bus_farads: float,
) -> None:
    """NXP UM10204 rev. 7, 7.1: least (VDD - VOL) / IOL, most tr / (0.8473 Cb), tr 300 ns."""
    at_least = (volts - low_volts) / sink_amperes
    at_most = 300e-9 / (0.8473 * bus_farads)
    assert at_least <= ohms(parts, pull) <= at_most


def test_shifted_buses_can_be_pulled_low_from_either_side(parts: dict[str, Any]) -> None:
    """Both pull-ups sink into one driver: 3 mA is what UM10204 table 9 asks of it."""
    for low, high in (("R12", "R20"), ("R13", "R21")):
        assert 1.8 / ohms(parts, low) + 3.318 / ohms(parts, high) < 0.003


def test_capacitors_are_rated_twice_their_rail(wren: Any) -> None:
    """Common practice for class 2 ceramics, no source."""
    checked = 0
    for part in wren.parts:
        if part.library != "Capacitor":
            continue
        nets = [pin.net for pin in part.pins]
        highest = max((HIGHEST_VOLTS.get(net, 0.0) for net in nets), default=0.0)
        if set(nets) == {"+3V3", "BUCK_FB"} or highest:
            assert float(part.fields["Voltage"].rstrip("V")) >= 2 * highest, part.refdes
            checked += 1
    assert checked >= 30


def test_resistors_stay_cool(parts: dict[str, Any]) -> None:
    """Power at the worst voltage against the body's rating (chip resistor sheets: 0402 63 mW)."""
    worst = {"R8": 0.5, "R11": 4.4, "R17": 0.010 * 2.0, "R31": 3.4, "R38": 3.4, "R14": 1.8}
    for refdes, volts in worst.items():
        top, bottom = parts[refdes].fields["Power"].rstrip("W").split("/")
        assert volts**2 / ohms(parts, refdes) < int(top) / int(bottom) / 2, refdes


def test_crystals_see_their_load(parts: dict[str, Any], facts: dict[str, Any]) -> None:
    """CL = C1 C2 / (C1 + C2) + stray; 3 pF of stray is common practice, no source."""
    for crystal, one, two in (("Y1", "C21", "C22"), ("Y2", "C23", "C24")):
        a, b = si(parts[one].value), si(parts[two].value)
        load = a * b / (a + b) + 3e-12
        assert load == pytest.approx(facts["set_points"]["crystal_load_farads"][crystal])
        assert parts[crystal].fields["Load"] == f"{load * 1e12:.0f}pF"


def test_charger_set_points(parts: dict[str, Any], facts: dict[str, Any]) -> None:
    points = facts["set_points"]
    assert 1000 / ohms(parts, "R8") == pytest.approx(points["charge_amperes"])
    assert 1500 / ohms(parts, "R9") == pytest.approx(points["input_limit_amperes"], abs=0.001)
    # USB 2.0 section 7.2.1: five unit loads of 100 mA for a device of high power
    assert points["input_limit_amperes"] <= 0.5
    assert points["shunt_volts_at_charge"] == pytest.approx(0.5 * ohms(parts, "R17"))


def test_thermistor_window(parts: dict[str, Any], facts: dict[str, Any]) -> None:
    """Divider of R14 and a thermistor 10k B25/85 3435 (Linux ntc_thermistor.c, B57330V2103):

    27.326k at 0 degC and 4.911k at 45 degC, against the charger's thresholds.
    """
    bias = ohms(parts, "R14")
    for thermistor_ohms, name in ((27326, "ts_cold_volts"), (4911, "ts_hot_volts")):
        volts = 1.8 * thermistor_ohms / (thermistor_ohms + bias)
        assert volts == pytest.approx(facts["set_points"][name], abs=0.002)


def test_each_cc_pin_has_its_own_pull_down(wren: Any, parts: dict[str, Any]) -> None:
    """USB Type-C: Rd 5.1 kOhm on either CC pin of a sink, not shared (ST UM2191 table 2)."""
    for net, refdes in (("CC1", "R1"), ("CC2", "R2")):
        assert {pin.net for pin in parts[refdes].pins} == {net, "GND"}
        assert ohms(parts, refdes) == 5100
        assert ("J1", "A5" if net == "CC1" else "B5") in {
            (part.refdes, pin.number) for part, pin in wren.nets[net]
        }
