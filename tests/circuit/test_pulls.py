"""Pull-ups and pull-downs, own and behind series parts."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.circuit.evidence import Pull
from nettrace.circuit.links import parallel_ohms
from tests.circuit.case_file import Case, read_cases
from tests.circuit_language import circuit

CASES = read_cases("pulls")


def as_text(pull: Pull) -> str:
    ohms = "?" if pull.ohms is None else f"{pull.ohms:g}"
    volts = "?" if pull.volts is None else f"{pull.volts:g}"
    text = f"{pull.direction} {pull.part} {ohms} {pull.to} {volts}"
    if pull.through:
        text += f" through {' '.join(pull.through)}"
    return text if pull.fitted else text + " not fitted"


@pytest.mark.parametrize("case", CASES, ids=[case.title for case in CASES])
def test_case(case: Case) -> None:
    pulls = circuit(case.netlist).pulls
    assert case.expected
    for line in case.expected:
        net, _, wanted = line.partition(" ")
        found = [as_text(pull) for pull in pulls.get(net, ())]
        assert found == ([] if wanted == "none" else [wanted])


# reference-values.md section 1.1: 4.7 k and 4.7 k give 2350, 2.2 k and 10 k give 1803.28 ohms
@pytest.mark.parametrize(
    ("ohms", "wanted"), [((4700, 4700), 2350), ((4700,) * 3, 1566.67), ((2200, 10_000), 1803.28)]
)
def test_pull_ups_in_parallel(ohms: tuple[float, ...], wanted: float) -> None:
    pulls = tuple(Pull(f"R{i}", "up", value, "V", 3.3) for i, value in enumerate(ohms))
    assert parallel_ohms(pulls) == pytest.approx(wanted, abs=0.01)


def test_one_pull_up_without_a_value_leaves_the_sum_unknown() -> None:
    assert (
        parallel_ohms((Pull("R1", "up", None, "V", 3.3), Pull("R2", "up", 1e3, "V", 3.3))) is None
    )


def test_a_signal_has_the_voltage_of_its_one_pull_up() -> None:
    found = circuit("R1 SDA +1V8 2k2\nU1 SDA=SDA VDD=+1V8 GND=GND")
    volts = found.volts("SDA")
    assert volts is not None
    assert (volts.nominal, volts.basis) == (1.8, "pulled up to +1V8 by R1")
    assert found.volts("NOWHERE") is None


def test_a_divider_gives_a_signal_no_voltage() -> None:
    found = circuit("R1 TAP +3V3 10k\nR2 TAP GND 10k\nU1 TAP=TAP VDD=+3V3 GND=GND")
    assert found.volts("TAP") is None


@given(st.permutations(["p1", "p2", "p3"]))
def test_renaming_signals_changes_no_pull(names: list[str]) -> None:
    text = "R1 {0} {1} 22R\nR2 {1} +3V3 2k2\nR3 {2} GND 10k\nU1 A={0} B={1} C={2} VDD=+3V3 GND=GND"
    pulls = circuit(text.format(*names)).pulls
    assert [as_text(pull) for pull in pulls[names[0]]] == ["up R2 2200 +3V3 3.3 through R1"]
    assert [as_text(pull) for pull in pulls[names[1]]] == ["up R2 2200 +3V3 3.3"]
    assert [as_text(pull) for pull in pulls[names[2]]] == ["down R3 10000 GND 0"]


@pytest.mark.parametrize(("ohms", "pulls"), [("10R", False), ("46R", False), ("47R", True)])
def test_a_part_is_a_pull_up_where_its_net_has_a_pull_up(ohms: str, pulls: bool) -> None:
    found = circuit(f"R1 IRQ +3V3 {ohms}\nU1 IRQ=IRQ VDD=+3V3 GND=GND\nU2 IRQ=IRQ VDD=+3V3 GND=GND")
    roles = {role.role for role in found.roles("R1")}
    assert bool(found.pulls.get("IRQ")) == ("pull-up" in roles) == pulls
