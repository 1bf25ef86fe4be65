"""The Python API: each call says what its command says."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import nettrace
from nettrace.cli.commands import commands
from nettrace.cli.main import main

#: Command line -> the same question as a call; the answers must be one.
PAIRS: dict[str, tuple[str, list[str], Callable[[nettrace.Circuit], object]]] = {
    "summary": ("summary", [], nettrace.summary),
    "area": (
        "area",
        ["--around", "J3", "--radius", "4"],
        lambda c: nettrace.area(c, around="J3", radius_mm=4),
    ),
    "area in a box": (
        "area",
        ["--box", "110,-135,118,-128", "--side", "top"],
        lambda c: nettrace.area(c, box=(118, -128, 110, -135), side="top"),
    ),
    "area in an outline": (
        "area",
        ["--outline", "110,-135 118,-135 118,-128"],
        lambda c: nettrace.area(c, outline=[(110, -135), (118, -135), (118, -128)]),
    ),
    "net": ("net", ["TS"], lambda c: nettrace.net(c, "TS")),
    "nets": ("net", ["GAUGE_*"], lambda c: nettrace.nets(c, "GAUGE_*")),
    "part": ("part", ["R12"], lambda c: nettrace.part(c, "R12")),
    "parts": ("part", ["FB*"], lambda c: nettrace.parts(c, "FB*")),
    "pad": ("pad", ["R12.2"], lambda c: nettrace.pad(c, "R12.2")),
    "pad at": ("pad", ["--at", "114,-131"], lambda c: nettrace.pad(c, at=(114, -131))),
    "rail": ("rail", ["+1V8"], lambda c: nettrace.rail(c, "+1V8")),
    "bus": ("bus", ["I2C"], lambda c: nettrace.bus(c, "I2C")),
    "path": ("path", ["J3.2", "TS"], lambda c: nettrace.path(c, "J3.2", "TS")),
    "reading": (
        "reading",
        ["R12.2", "--without", "R12", "--without", "R13"],
        lambda c: nettrace.reading(c, "R12.2", without=["R12", "R13"]),
    ),
    "reading with a rail": (
        "reading",
        ["TS", "--to", "GND", "--rail", "VREF_1V8=1.8"],
        lambda c: nettrace.reading(c, "TS", to="GND", rails={"VREF_1V8": 1.8}),
    ),
}


@pytest.fixture(scope="module")
def circuit(wren: Path) -> nettrace.Circuit:
    return nettrace.load(wren)


def said(capsys: pytest.CaptureFixture[str], words: list[str]) -> Any:
    capsys.readouterr()
    assert main([*words, "--json"]) in {0, 1}
    answer = json.loads(capsys.readouterr().out)
    (key,) = set(answer) - {"nettrace", "warnings"}
    return answer[key]


@pytest.mark.parametrize("case", PAIRS)
def test_a_call_says_what_its_command_says(
    case: str, circuit: nettrace.Circuit, wren: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command, words, call = PAIRS[case]
    if "--rail" in words:  # the command's --rail is a note on the board too
        circuit = nettrace.load(wren, rails={"VREF_1V8": 1.8})
    answer = nettrace.to_json(circuit, call(circuit))
    assert json.loads(json.dumps(answer)) == said(capsys, [command, str(wren), *words])


def test_value_and_formula_need_no_board(
    circuit: nettrace.Circuit, capsys: pytest.CaptureFixture[str]
) -> None:
    assert nettrace.to_json(circuit, nettrace.value("01C")) == said(capsys, ["value", "01C"])
    by_name = {line.label: line.value for line in nettrace.formula("shunt", ohms=0.01, amperes=3)}
    # Ohm's law: 10 mOhm x 3 A = 30 mV; x 3 A = 90 mW
    assert by_name == {"drop": pytest.approx(0.03), "power": pytest.approx(0.09)}


def test_compare_takes_circuits_boards_and_paths(
    circuit: nettrace.Circuit, wren: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    netlist = wren / "wren.net"
    found = nettrace.compare(circuit, netlist)
    assert found == nettrace.compare(circuit.board, nettrace.load_board(netlist))
    assert nettrace.to_json(circuit, found) == said(capsys, ["compare", str(wren), str(netlist)])


def test_convert_gives_text_that_reads_back(circuit: nettrace.Circuit, tmp_path: Path) -> None:
    path = tmp_path / "wren.json"
    path.write_text(nettrace.convert(circuit, "json"), encoding="utf-8")
    assert nettrace.load_board(path).counts() == circuit.board.counts()


def test_wrong_calls_say_so(circuit: nettrace.Circuit) -> None:
    with pytest.raises(nettrace.WrongUsage, match="no place"):
        nettrace.area(circuit)
    with pytest.raises(nettrace.WrongUsage, match="around and at together"):
        nettrace.area(circuit, around="J3", at=(0, 0))
    with pytest.raises(nettrace.WrongUsage, match="radius_mm with box"):
        nettrace.area(circuit, box=(0, 0, 1, 1), radius_mm=3)
    with pytest.raises(nettrace.WrongUsage, match="above 0"):
        nettrace.area(circuit, around="J3", radius_mm=-1)
    with pytest.raises(nettrace.WrongUsage, match="nets"):
        nettrace.net(circuit, "GAUGE_*")
    with pytest.raises(nettrace.WrongUsage, match="a name, or `at`"):
        nettrace.pad(circuit)
    with pytest.raises(nettrace.NothingMatches, match="Nearest"):
        nettrace.part(circuit, "R1222")
    with pytest.raises(TypeError, match="no answer"):
        nettrace.to_json(circuit, object())


def test_every_command_that_answers_has_a_call() -> None:
    made_elsewhere = {"job", "draw", "sample", "completion"}  # files and scripts, not answers
    for command in commands():
        if command.name not in made_elsewhere:
            assert callable(getattr(nettrace, command.name)), command.name


def test_a_job_goes_the_same_way_from_python(
    wren: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "wren.job"
    repair = nettrace.job.open(path, wren, title="Wren")
    repair = nettrace.job.mark(repair, "missing", ["R12", "R13", "C7"])
    repair = nettrace.job.mark(repair, "lifted", ["R12.1"])
    repair = nettrace.job.loose(repair, ohms=2190, size="0201")
    repair = nettrace.job.loose(repair, farads="98n")
    repair = nettrace.job.undo(repair)
    assert repair.state == nettrace.job.load(path).state
    assert list(repair.state.loose) == ["L1"]
    (matched,) = nettrace.job.match(repair)
    # two equal resistors are gone: either place will do (samples/README.md)
    assert {site.refdes for site in matched.candidates} == {"R12", "R13"}
    assert [line.positions for line in nettrace.job.needs(repair)] == [("C7",), ("R12", "R13")]
    assert nettrace.job.refit(repair).unplaced == ()
    assert [plan.net for plan in nettrace.job.wire(repair)] == ["+1V8"]
    repair = nettrace.job.mark(repair, "fitted", ["R12"], with_part="L1")
    repair = nettrace.job.read(repair, "R12.1", "R12.2", "OL")
    verdict = nettrace.job.check(repair)
    assert verdict.verdict == "not restored"
    assert said(capsys, ["job", "check", str(path)])["verdict"] == verdict.verdict
    assert len(nettrace.job.probe(repair)) == len(verdict.still_to_probe) + 1
    best = nettrace.job.next_probe(repair)
    assert best is not None
    assert best.drop_bits > 0


def test_a_job_without_damage_says_what_to_do(wren: Path, tmp_path: Path) -> None:
    repair = nettrace.job.open(tmp_path / "wren.job", wren)
    for ask in (nettrace.job.match, nettrace.job.needs, nettrace.job.refit, nettrace.job.wire):
        with pytest.raises(nettrace.NothingMatches, match="Mark"):
            ask(repair)
    repair = nettrace.job.mark(repair, "missing", ["R12"])
    with pytest.raises(nettrace.NothingMatches, match="job loose"):
        nettrace.job.match(repair)
    with pytest.raises(nettrace.NothingMatches, match="no entry 9"):
        nettrace.job.undo(repair, 9)
