"""Power in resistors, and what a meter shows where parts are changed or shorted."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

import nettrace
from nettrace.circuit.circuit import Circuit
from nettrace.electrical.expected import Heat, MeteredBoard
from nettrace.electrical.power_off import Resistance
from nettrace.errors import WrongUsage
from nettrace.model.notes import Notes
from tests.electrical.test_network import needs_ngspice
from tests.electrical.test_readings import circuit

#: 3.3 V over 2 x 10 kOhm, a pull-up of a line that a chip pulls low, and a 0201 that burns.
POWERED = """
rail VDD 3.3
ground GND
R1 10k 0402: VDD TAP
R2 10k 0402: TAP GND
R3 2k2 0402: VDD SDA
R4 47 0201: VDD GND
R5 0R: VDD VDDA
U1 MCU: 1=SDA 2=VDD 3=GND
"""


@pytest.fixture
def powered() -> dict[str, Heat]:
    return {heat.part: heat for heat in MeteredBoard(circuit(POWERED)).heats()}


def test_power_by_ohms_law_and_ratings_by_size(powered: dict[str, Heat]) -> None:
    # P = U²/R: half of 3.3 V over 10 kOhm; 3.3 V over 47 Ohm
    assert powered["R1"].watts == powered["R1"].at_most == pytest.approx(1.65**2 / 10e3)
    assert powered["R4"].watts == pytest.approx(3.3**2 / 47)
    # Yageo RC series: 0402 takes 1/16 W, 0201 1/20 W at 70 °C
    assert powered["R1"].rated_watts == pytest.approx(1 / 16)
    assert powered["R4"].rated_watts == pytest.approx(1 / 20)
    assert powered["R4"].state == "over"
    assert "R5" not in powered  # a link has no power of its own


def test_a_pull_up_carries_nothing_until_the_line_is_pulled_low(powered: dict[str, Heat]) -> None:
    assert powered["R3"].watts == 0
    assert powered["R3"].at_most == pytest.approx(3.3**2 / 2200)
    assert powered["R3"].state == "within"


def test_the_hottest_for_its_size_stands_first(powered: dict[str, Heat]) -> None:
    assert next(iter(powered)) == "R4"
    shares = [heat.share for heat in powered.values()]
    assert shares == sorted(shares, reverse=True)


@needs_ngspice
def test_power_on_wren_agrees_with_ngspice(wren: Path, tmp_path: Path) -> None:
    bench = MeteredBoard(nettrace.load(wren))
    numbers = {name: f"n{at}" for at, name in enumerate(bench.circuit.board.net_by_name)}
    lines = ["power"]
    for at, resistor in enumerate(bench.network.resistors):
        ends = f"{numbers[resistor.a]} {numbers[resistor.b]}"
        lines.append(f"R{at} {ends} {max(resistor.ohms, 1e-6):.12g}")
    lines += [f"V{at} {numbers[n]} 0 {v:.12g}" for at, (n, v) in enumerate(bench.fixed.items())]
    # every node that no rail reaches needs a way to ground; 1 TOhm takes nothing from the others
    lines += [f"Rleak{at} {node} 0 1e12" for at, node in enumerate(numbers.values())]
    own: dict[str, list[Resistance]] = {}
    for item in bench.power_off.elements.resistances:
        own.setdefault(item.part, []).append(item)
    shown = [heat.part for heat in bench.heats() if len(own[heat.part]) == 1]
    ends_of = {part: own[part][0] for part in shown}
    wanted = " ".join(f"v({numbers[e.a]})-v({numbers[e.b]})" for e in ends_of.values())
    lines += [".control", "set numdgt=12", "op"]
    lines += [f"print {word}" for word in wanted.split()] + [".endc", ".end"]
    deck = tmp_path / "power.cir"
    deck.write_text("\n".join(lines), encoding="utf-8")
    done = subprocess.run(
        ["ngspice", "-b", str(deck)], capture_output=True, text=True, timeout=30, check=False
    )
    drops = [float(line.split("=")[1]) for line in done.stdout.splitlines() if line[:2] == "v("]
    assert len(drops) == len(shown), done.stdout + done.stderr
    found = {heat.part: heat for heat in bench.heats()}
    compared = 0
    for part, drop in zip(shown, drops, strict=True):
        watts = found[part].watts
        if watts is not None:
            assert watts == pytest.approx(drop**2 / ends_of[part].ohms, rel=1e-4, abs=1e-9), part
            compared += 1
    assert compared >= 20


def test_wrens_resistors_stay_within_their_ratings(wren: Path) -> None:
    found = nettrace.power(nettrace.load(wren))
    assert {heat.state for heat in found} == {"within"}
    assert len(found) > 25


@pytest.fixture(scope="module")
def board(wren: Path) -> Circuit:
    return nettrace.load(wren)


def test_a_shorted_capacitor_shorts_its_rail_and_says_do_not_power(board: Circuit) -> None:
    answer = nettrace.reading(board, "+3V3", to="GND", changed={"C14": 0})
    (now,), (fitted,) = answer.now, answer.fitted
    assert now.ohms is not None
    assert fitted.ohms is not None
    assert now.ohms.nominal == 0
    assert fitted.ohms.nominal > 1e3
    assert now.volts is not None
    assert now.volts.nominal == 0
    assert "do not power" in now.volts.basis


def test_a_changed_feedback_resistor_moves_the_rail_not_the_tap(board: Circuit) -> None:
    changed = {"R23": 12e3}
    (tap,) = nettrace.reading(board, "BUCK_FB", to="GND", changed=changed).now
    (rail,) = nettrace.reading(board, "+3V3", to="GND", changed=changed).now
    assert tap.volts is not None
    assert rail.volts is not None
    # the regulator keeps its pin at the 0.6 V of facts.toml; U = 0.6 x (1 + 45.3 / 12)
    assert tap.volts.nominal == pytest.approx(0.6, rel=1e-6)
    assert rail.volts.nominal == pytest.approx(0.6 * (1 + 45.3 / 12), rel=1e-6)


@pytest.mark.parametrize(("without", "changed"), [(["R23"], {}), (["U3"], {}), ([], {"R22": 0})])
def test_no_voltage_is_claimed_that_rests_on_a_missing_part(
    board: Circuit, without: list[str], changed: dict[str, float]
) -> None:
    for net in ("+3V3", "BUCK_FB"):
        (now,) = nettrace.reading(board, net, to="GND", without=without, changed=changed).now
        assert now.volts is None
    said = nettrace.reading(board, "+3V3", to="GND", without=["R23"], rails={"+3V3": 3.3})
    assert said.now[0].volts is not None


def test_only_a_part_between_two_nets_can_be_changed(board: Circuit) -> None:
    with pytest.raises(WrongUsage, match="between two nets"):
        nettrace.reading(board, "R1.1", changed={"U5": 0})
    with pytest.raises(WrongUsage, match="0 Ω or more"):
        nettrace.reading(board, "R1.1", changed={"R1": -1})


def test_a_packs_thermistor_over_temperature(board: Circuit) -> None:
    (now,) = nettrace.reading(board, "TS", to="GND").now
    assert now.thermistor is not None
    assert now.thermistor.part is None
    volts = [row.volts for row in now.thermistor.rows]
    # facts.toml: cold 1.318 V, 25 °C 0.9 V, hot 0.592 V
    assert volts == pytest.approx([1.318, 0.9, 0.592], abs=1e-3)
    assert nettrace.reading(board, "GAUGE_SDA", to="GND").now[0].thermistor is None


def test_a_thermistor_of_the_board_uses_its_own_beta() -> None:
    plain = circuit("rail VDD 3.3\nground GND\nR1 10k: VDD TS\nRT1 10k: TS GND\n")
    noted = Circuit(plain.board, Notes(values={"RT1": "10k B3380"}))
    (now,) = nettrace.reading(noted, "TS", to="GND").now
    line = now.thermistor
    assert line is not None
    assert line.part == "RT1"
    # R(T) = R25 exp(B (1/T - 1/298.15)), by hand: 28.224 kOhm at 0 °C, 4.9017 kOhm at 45 °C
    assert [row.ohms for row in line.rows] == pytest.approx([28224, 10000, 4902], rel=2e-3)
    assert line.rows[1].volts == pytest.approx(1.65)
