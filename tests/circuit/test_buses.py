"""Serial buses: lines, segments, devices, and the verdict on the pull-ups."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.circuit.evidence import Bus, NetKind
from tests.circuit.case_file import Case, read_cases
from tests.circuit_language import circuit

CASES = read_cases("buses")
PROTOCOLS = ("usb-c cc",)


def as_words(bus: Bus) -> tuple[object, ...]:
    lines = {line.line: frozenset(line.nets) for line in bus.lines}
    ups = {p.part for line in bus.lines for p in line.pulls if p.direction == "up"}
    return bus.protocol, lines, set(bus.devices), set(bus.through), ups


def from_text(text: str) -> tuple[object, ...]:
    protocol = next((p for p in PROTOCOLS if text.startswith(p)), text.split(maxsplit=1)[0])
    lines: dict[str, frozenset[str]] = {}
    sets: dict[str, set[str]] = {"devices": set(), "through": set(), "pulls": set()}
    into: set[str] | None = None
    for word in text.removeprefix(protocol).split():
        if word in sets:
            into = sets[word]
        elif into is not None:
            into.add(word)
        else:
            line, _, nets = word.partition("=")
            lines[line] = frozenset(nets.split(","))
    return protocol, lines, sets["devices"], sets["through"], sets["pulls"]


@pytest.mark.parametrize("case", CASES, ids=[case.title for case in CASES])
def test_case(case: Case) -> None:
    found = [as_words(bus) for bus in circuit(case.netlist).buses]
    assert case.expected
    assert found == [from_text(line) for line in case.expected if line != "-"]


I2C = (
    "R1 SDA {v} {r}\nR2 SCL {v} {r}\nU1 SDA=SDA SCL=SCL VDD={v} GND=GND\nU2 SDA=SDA SCL=SCL GND=GND"
)


# Windows of UM10204 section 7.1 for Fast mode and 100 pF, recomputed in reference-values.md 1.1:
# 1.8 V: 720.00 to 3540.66 ohms; 3.3 V: least 966.67 ohms.
@pytest.mark.parametrize(
    ("rail", "value", "least", "most"),
    [("+1V8", "2k2", 720.0, 3540.66), ("+3V3", "2k2", 966.67, 3540.66)],
)
def test_the_window_of_the_standard(rail: str, value: str, least: float, most: float) -> None:
    (bus,) = circuit(I2C.format(v=rail, r=value)).buses
    for line in bus.lines:
        assert line.limits_ohms == pytest.approx((least, most), abs=0.01)
        assert line.verdict is not None
        assert line.pull_ohms == 2200
        assert line.volts == float(rail[1] + "." + rail[3])


def test_a_pull_up_that_no_output_can_pull_low_is_too_strong() -> None:
    (bus,) = circuit(I2C.format(v="+3V3", r="330R")).buses
    assert all("too strong" in (line.verdict or "") for line in bus.lines)


def test_without_a_pull_up_the_verdict_claims_no_more_than_is_seen() -> None:
    (bus,) = circuit("U1 SDA=SDA SCL=SCL GND=GND\nU2 SDA=SDA SCL=SCL GND=GND").buses
    for line in bus.lines:
        assert line.pull_ohms is None
        assert "no pull-up seen on this board" in (line.verdict or "")


def test_each_side_of_a_shifter_is_judged_by_itself() -> None:
    case = next(case for case in CASES if "two sides" in case.title)
    (bus,) = circuit(case.netlist).buses
    for line in bus.lines:
        assert (line.verdict or "").count("10 kΩ") == 2
        assert len(line.pulls) == 2


def test_nets_of_a_bus_are_of_the_kind_bus() -> None:
    found = circuit(I2C.format(v="+3V3", r="2k2"))
    assert found.net_kind("SDA") is NetKind.BUS
    assert found.net_kind("+3V3") is NetKind.RAIL
    assert found.net_kind("GND") is NetKind.GROUND
    assert found.net_kind("NOWHERE") is NetKind.UNCONNECTED


ALL = [case for case in CASES if len(case.netlist.splitlines()) > 3]


@given(st.sampled_from(ALL), st.randoms(use_true_random=False))
def test_order_of_lines_changes_no_bus(case: Case, random: object) -> None:
    lines = case.netlist.splitlines()
    random.shuffle(lines)  # type: ignore[attr-defined]
    usual = [as_words(bus) for bus in circuit(case.netlist).buses]
    assert [as_words(bus) for bus in circuit("\n".join(lines)).buses] == usual
