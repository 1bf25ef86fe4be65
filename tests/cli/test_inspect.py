"""The inspection commands: JSON as scripts rely on it, tables that fit, options that count."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from nettrace.cli.commands import commands
from nettrace.cli.main import cli
from nettrace.version import __version__
from tests.cli.conftest import SMALL, Run

PIN = {"part", "pin", "name", "net", "x", "y", "side"}
#: Keys that scripts rely on in each answer; more may be there.
SHAPES: dict[str, set[str]] = {
    "net": {"name", "aliases", "kind", "volts", "pins", "pulls", "reaches"},
    "part": {"refdes", "kind", "value", "ohms", "farads", "henries", "tolerance", "package",
             "description", "fitted", "x", "y", "side", "pins", "roles", "without_it"},
    "pad": PIN | {"distance", "shape", "width", "height", "others"},
    "area": {"shape", "side", "pads", "parts", "nets"},
    "buses": {"name", "protocol", "lines", "parts", "devices"},
    "rails": {"name", "kind", "volts", "source", "loads", "decoupling_farads"},
    "summary": {"name", "sources", "counts", "conflicts"},
    "paths": {"steps", "ohms"},
}  # fmt: skip
#: Every command with an answer on the sample board, and the key it stands under.
ANSWERS = [
    ("summary", [], "summary"),
    ("net", ["GAUGE_SDA"], "net"),
    ("part", ["R12"], "part"),
    ("pad", ["R12.1"], "pad"),
    ("pad", ["--at", "112.5,-128.4"], "pad"),
    ("area", ["--around", "J3", "--radius", "4"], "area"),
    ("rail", [], "rails"),
    ("bus", [], "buses"),
    ("path", ["BAT_NTC", "TS"], "paths"),
]


@pytest.mark.parametrize(("command", "words", "key"), ANSWERS)
def test_json_has_the_keys_that_scripts_rely_on(
    run: Run, wren: Path, command: str, words: list[str], key: str
) -> None:
    answer = run(command, wren, *words, "--json")
    assert answer.code == 0, answer.err
    found = answer.json
    assert found["nettrace"] == {"schema": 1, "version": __version__}
    assert isinstance(found["warnings"], list)
    shown = found[key]
    for item in shown if isinstance(shown, list) else [shown]:
        assert SHAPES[key] <= set(item)
    assert "NaN" not in answer.out


@pytest.mark.parametrize(("command", "words", "key"), ANSWERS)
def test_tables_fit_eighty_columns_without_colour(
    run: Run, wren: Path, command: str, words: list[str], key: str
) -> None:
    answer = run(command, wren, *words)
    assert answer.code == 0, answer.err
    assert "\x1b" not in answer.out
    lines = answer.out.splitlines()
    assert len(lines) > 3, key
    assert max(len(line) for line in lines) <= 80
    assert all(line == line.rstrip() for line in lines)


#: The seven lost positions of the sample board's story, each with both its nets
#: (samples/README.md, written by hand).
LOST = {
    "R12": {"+1V8", "GAUGE_SDA"},
    "R13": {"+1V8", "GAUGE_SCL"},
    "R14": {"VREF_1V8", "TS"},
    "R15": {"BAT_NTC", "TS"},
    "R16": {"CELL_N", "GAUGE_SRN"},
    "C7": {"VBAT", "GND"},
    "D4": {"BAT_NTC", "GND"},
}


def test_the_sample_damage_in_json(run: Run, wren: Path) -> None:
    area = run("area", wren, "--around", "J3", "--radius", "4", "--json").json["area"]
    lost = {part["refdes"]: part for part in area["parts"] if part["refdes"] in LOST}
    assert set(lost) == set(LOST)
    for refdes, nets in LOST.items():
        assert {pin["net"] for pin in lost[refdes]["pins"]} == nets
    for refdes in ("R12", "R13"):
        assert lost[refdes]["roles"][0]["role"] == "pull-up"
        assert lost[refdes]["without_it"]["severity"] == "blocks"
        assert lost[refdes]["ohms"] == 2200.0
    rail = next(net for net in area["nets"] if net["name"] == "+1V8")
    assert (rail["kind"], rail["volts"]["nominal"]) == ("rail", 1.8)
    assert all("pins" not in net for net in area["nets"])
    order = ["blocks", "degrades", "minor", "unknown"]
    ranks = [(order.index(p["without_it"]["severity"]), p["distance"]) for p in area["parts"]]
    assert ranks == sorted(ranks)


def test_the_sample_damage_on_paper(run: Run, wren: Path) -> None:
    """All seven positions stand first, with nets and voltage; the end says what it means."""
    out = run("area", wren, "--around", "J3", "--radius", "4").out
    positions, rest = out.split("Also in the area", maxsplit=1)
    first = [line.split()[0] for line in positions.splitlines() if line.startswith(" R")]
    first += [line.split()[0] for line in positions.splitlines() if line[:2] in {" C", " D"}]
    assert set(first) == set(LOST)
    for nets in LOST.values():
        assert all(net in positions for net in nets)
    assert "1.8 V" in positions
    short = " ".join(rest.split("The damage in short", maxsplit=1)[1].split())
    assert "lose their pull-ups to +1V8" in short
    assert "U2 does not answer" in short
    assert "R14 and R15" in short


def test_a_net_by_its_name(run: Run, small: Path) -> None:
    net = run("net", small, "sda", "--json").json["net"]
    assert net["name"] == "SDA"
    assert [(pin["part"], pin["pin"], pin["name"]) for pin in net["pins"]] == [
        ("R1", "1", None), ("R2", "1", None), ("U1", "1", "SDA"),
    ]  # fmt: skip
    assert set(net["pins"][0]) >= PIN
    assert (net["pins"][0]["x"], net["pins"][0]["side"], net["pins"][0]["pads"]) == (None, None, [])
    assert [(pull["part"], pull["ohms"], pull["to"]) for pull in net["pulls"]] == [
        ("R1", 2200.0, "+3V3")
    ]


def test_a_wildcard_gives_a_list_even_of_one(run: Run, small: Path) -> None:
    found = run("net", small, "SDA*", "--json").json
    assert [net["name"] for net in found["nets"]] == ["SDA", "SDA_EXT"]
    assert [net["name"] for net in run("net", small, "SDA_*", "--json").json["nets"]] == ["SDA_EXT"]


def test_a_name_that_starts_with_a_minus_needs_two_dashes(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "minus.net"
    path.write_text(SMALL.replace('"SDA_EXT"', '"-5V"'), encoding="utf-8")
    assert run("net", path, "-5V").code == 2
    assert run("net", path, "--json", "--", "-5V").json["net"]["name"] == "-5V"


def test_a_voltage_said_by_the_user_stands(run: Run, small: Path) -> None:
    rails = {r["name"]: r for r in run("rail", small, "--rail", "+3V3=3V0", "--json").json["rails"]}
    assert rails["+3V3"]["volts"]["nominal"] == 3.0
    assert "note" in rails["+3V3"]["volts"]["basis"] or "user" in rails["+3V3"]["volts"]["basis"]


def test_the_way_between_two_nets_and_two_pads(run: Run, small: Path) -> None:
    (way,) = run("path", small, "SDA", "SDA_EXT", "--json").json["paths"]
    assert way["ohms"] == 10.0
    assert [step.get("net", step.get("part")) for step in way["steps"]] == ["SDA", "R2", "SDA_EXT"]
    assert (way["steps"][1]["from_pin"], way["steps"][1]["to_pin"]) == ("1", "2")
    by_pads = run("path", small, "U1.1", "J1.1", "--json").json["paths"]
    assert by_pads == [way]


def test_no_way_is_an_answer_and_exit_three(run: Run, small: Path) -> None:
    answer = run("path", small, "SDA", "GND", "--json")
    assert (answer.code, answer.json["paths"]) == (3, [])
    answer = run("path", small, "SDA", "GND")
    assert answer.code == 3
    assert "Nothing ties them through series parts." in answer.out


def test_a_second_source_is_merged_in(run: Run, small: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.net"
    other.write_text(SMALL.replace('"2k2"', '"4k7"'), encoding="utf-8")
    found = run("summary", small, "--with", other, "--json").json["summary"]
    assert [source["path"] for source in found["sources"]] == [str(small), str(other)]
    assert found["counts"] == {"parts": 4, "nets": 4, "pins": 9, "pads": 0}
    (conflict,) = found["conflicts"]
    assert (conflict["subject"], conflict["kept"]) == ("R1", "2k2")
    assert [said["path"] for said in conflict["statements"]] == [str(small), str(other)]


def test_values_written_otherwise_are_no_conflict(run: Run, small: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.net"
    other.write_text(SMALL.replace('"2k2"', '"2.2K"').replace('"10"', '"10R"'), encoding="utf-8")
    found = run("summary", small, "--with", other, "--json").json["summary"]
    assert found["conflicts"] == []


def test_the_same_question_has_the_same_answer(run_process: Run, wren: Path) -> None:
    words = ["area", wren, "--around", "J3", "--radius", "4", "--json"]
    first = run_process(*words, env={"PYTHONHASHSEED": "1"})
    second = run_process(*words, env={"PYTHONHASHSEED": "2"})
    assert first.code == 0, first.err
    assert first.out == second.out


def test_a_net_of_a_pin_with_several_pads_lists_the_pin_once(run: Run, wren: Path) -> None:
    net = run("net", wren, "GND", "--json").json["net"]
    pins = [(pin["part"], pin["pin"]) for pin in net["pins"]]
    assert len(pins) == len(set(pins))
    mount = next(pin for pin in net["pins"] if (pin["part"], pin["pin"]) == ("J3", "MP"))
    assert len(mount["pads"]) == 2


def test_a_terminal_of_another_alphabet_gets_plain_signs(run_process: Run, small: Path) -> None:
    answer = run_process("net", small, "SDA", env={"PYTHONIOENCODING": "ascii"})
    assert answer.code == 0, answer.err
    assert "2.2 kohm" in answer.out
    answer = run_process("net", small, "SDA", "--json", env={"PYTHONIOENCODING": "ascii"})
    assert answer.out.isascii()


@pytest.mark.parametrize(("no_color", "coloured"), [("", True), ("1", False)])
def test_colour_on_a_terminal_only_and_not_with_no_color(
    monkeypatch: pytest.MonkeyPatch, no_color: str, coloured: bool
) -> None:
    from nettrace.views import page
    from nettrace.views.terminal import terminal_text

    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("NO_COLOR", no_color)
    text = terminal_text([page.Title("Net SDA", "board")], 80, terminal=True)
    assert ("\x1b[" in text) is coloured


def test_each_pad_at_its_place_on_real_boards(run: Run, boards: Path) -> None:
    """The pad nearest to a place is the one the truth files name there (boards/truth)."""
    tried = 0
    for truth in sorted((boards / "truth").glob("*.json")):
        data: dict[str, Any] = json.loads(truth.read_text(encoding="utf-8"))
        for file in data["files"]:
            spots = [spot for spot in file["spot"] if spot["kind"] == "pad_at"]
            if file["format"] != "kicad_pcb" or not spots:
                continue
            query, right = spots[0]["query"], spots[0]["answer"]
            place = f"{query['x_mm']},{query['y_mm']}"
            path = boards / file["file"]
            pad = run("pad", path, "--at", place, "--side", query["side"], "--json").json["pad"]
            assert (f"{pad['part']}.{pad['pin']}", pad["net"]) == (right["pad"], right["net"])
            assert pad["distance"] < 0.01
            tried += 1
    assert tried >= 5


@pytest.mark.parametrize("entry", commands(), ids=lambda entry: entry.name)
def test_every_command_has_help_that_names_its_options(run: Run, entry: Any) -> None:
    answer = run(entry.name, "--help")
    assert answer.code == 0
    assert answer.out.startswith(f"Usage: nettrace {entry.name}")
    assert "\b" not in answer.out
    command = cli.get_command(cli.make_context("nettrace", ["--help"], resilient_parsing=True),
                              entry.name)  # fmt: skip
    assert command is not None
    assert command.help
    for parameter in command.params:
        if parameter.param_type_name == "option":
            assert getattr(parameter, "help", None), f"{entry.name} {parameter.name} has no help"
    assert max(len(line) for line in answer.out.splitlines()) <= 80


def test_help_lists_every_command(run: Run) -> None:
    answer = run("--help")
    assert answer.code == 0
    for entry in commands():
        assert f"  {entry.name} " in answer.out
        assert entry.brief in answer.out
    assert run("--version").out == f"nettrace, version {__version__}\n"
