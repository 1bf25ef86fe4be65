"""What is true of Wren, by its hand-written facts, asked on the command line.

Source of the answers: samples/source/facts.toml, written by hand from the design.
"""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

from tests.acceptance.conftest import Ask
from tests.conftest import ROOT

WREN = ROOT / "samples" / "wren"
FACTS: dict[str, Any] = tomllib.loads(
    (ROOT / "samples" / "source" / "facts.toml").read_text(encoding="utf-8")
)
#: A figure of the design and one of the tool agree within this: names say 3.3 for 3.318 V.
SAME = 0.01
#: The trade's word for a bus in facts.toml -> the words the tool may use.
PROTOCOLS = {"sd": {"sd", "sdio"}, "usb": {"usb", "usb2"}}
LINES = {"DP": {"D+", "DP"}, "DM": {"D-", "DM"}, "LRCK": {"WS", "LRCK"}, "DATA": {"SD", "DATA"}}


def of(table: str) -> list[tuple[str, Any]]:
    return [(name, fact) for name, fact in FACTS[table].items() if isinstance(fact, (dict, list))]


def test_counts(ask: Ask) -> None:
    said = ask("summary", WREN / "wren.kicad_pcb", "--json").json["summary"]
    counts = FACTS["counts"]
    assert said["counts"] == {
        "parts": counts["parts"],
        "nets": counts["nets"] + counts["open_pins"],
        "pins": counts["pins"] + counts["open_pins"],
        "pads": counts["pads"],
    }
    assert said["sources"][0]["vias"] == counts["vias"]
    assert said["conflicts"] == []
    parts = ask("part", WREN, "*", "--json").json["parts"]
    unfitted = {part["refdes"] for part in parts if part["fitted"] is False}
    assert unfitted == set(counts["not_fitted"])


@pytest.mark.parametrize(("name", "fact"), of("rails"), ids=lambda value: str(value)[:20])
def test_rail(ask: Ask, name: str, fact: dict[str, Any]) -> None:
    answer = ask("rail", WREN, name, "--json")
    if fact.get("optional") and answer.code == 3:
        return
    (rail,) = answer.json["rails"]
    assert rail["kind"] == "rail"
    if "may answer unknown" not in fact["why"]:
        assert rail["source"] == fact["source"]
        assert rail["volts"] is not None
    assert rail["source"] in {fact["source"], None}
    if rail["volts"] is not None:
        volts = rail["volts"]
        assert volts["nominal"] == pytest.approx(fact["volts"], rel=SAME)
        assert volts["basis"]
        if "min" in fact and volts["min"] is not None:
            assert volts["min"] <= fact["volts"] <= volts["max"]


def test_no_rail_is_invented_and_grounds_stay_apart(ask: Ask) -> None:
    rails = ask("rail", WREN, "--json").json["rails"]
    supplies = {rail["name"] for rail in rails if rail["kind"] == "rail"}
    grounds = {rail["name"]: rail for rail in rails if rail["kind"] == "ground"}
    assert supplies <= set(FACTS["rails"])
    sure, either = set(FACTS["grounds"]["sure"]), set(FACTS["grounds"]["either"])
    assert sure <= set(grounds) <= sure | either
    joined = FACTS["grounds"]["joined"]
    one, other = joined["nets"]
    assert {"part": joined["by"], "net": other} in grounds[one]["linked"]


@pytest.mark.parametrize(
    "fact", FACTS["buses"], ids=lambda fact: next(iter(fact["lines"].values()))
)
def test_bus(ask: Ask, fact: dict[str, Any]) -> None:
    nets = list(fact["lines"].values())
    buses = ask("bus", WREN, nets[0], "--json").json["buses"]
    (bus,) = (
        bus
        for bus in buses
        if bus["protocol"] in PROTOCOLS.get(fact["protocol"], {fact["protocol"]})
    )
    by_net = {net: line for line in bus["lines"] for net in line["nets"]}
    for line, net in fact["lines"].items():
        assert by_net[net]["line"] in LINES.get(line, {line})
    for line, net in fact.get("connector_side", {}).items():
        assert by_net[net]["line"] in LINES.get(line, {line})
    for net, resistors in fact.get("pull_ups", {}).items():
        pulls = {pull["part"]: pull for pull in by_net[net]["pulls"] if pull["direction"] == "up"}
        assert set(resistors) <= set(pulls)
        if "pull_ohms" in fact:
            assert pulls[resistors[0]]["ohms"] == fact["pull_ohms"]
            assert pulls[resistors[0]]["volts"] == pytest.approx(fact["volts"], rel=SAME)
    if fact["protocol"] == "i2c":
        assert "suits" in by_net[nets[0]]["verdict"]
    through = {part for parts in fact.get("series", {}).values() for part in parts}
    assert through | set(fact.get("shifters", ())) <= set(bus["through"])
    assert set(fact["devices"]) <= set(bus["devices"])


@pytest.mark.parametrize(("net", "volts"), FACTS["taps"].items())
def test_voltage_at_a_tap(ask: Ask, net: str, volts: float) -> None:
    said = ask("reading", WREN, net, "--to", "GND", "--json").json["reading"]
    if net == "CC1":  # the plug's current source is not on the board
        assert said["volts"] in {None, 0.0}
        return
    if net == "TS":  # with the pack plugged in, at 25 °C
        rows = {row["celsius"]: row["volts"] for row in said["thermistor"]["at"]}
        assert rows[25] == pytest.approx(volts, rel=1e-3)
        assert rows[0] == pytest.approx(FACTS["set_points"]["ts_cold_volts"], rel=1e-3)
        assert rows[45] == pytest.approx(FACTS["set_points"]["ts_hot_volts"], rel=2e-3)
        return
    assert said["volts"] == pytest.approx(volts, rel=SAME)


@pytest.mark.parametrize(("refdes", "roles"), FACTS["roles"].items())
def test_role(ask: Ask, refdes: str, roles: list[str]) -> None:
    part = ask("part", WREN, refdes, "--json").json["part"]
    best = part["roles"][0]
    assert best["role"] in roles
    assert best["because"]
    assert part["without_it"]["effects"]


def test_the_seven_of_the_damage(ask: Ask) -> None:
    damage = FACTS["damage"]
    around, radius = damage["around"], damage["radius_mm"]
    answer = ask("area", WREN, "--around", around, "--radius", radius, "--json").json["area"]
    seven = [part for part in answer["parts"] if part["inside"] and part["refdes"] != around]
    assert {part["refdes"] for part in seven} == set(damage["parts"])
    rank = ["blocks", "degrades", "minor", "unknown"]
    for part in seven:
        fact = damage[part["refdes"]]
        assert part["roles"][0]["role"] in fact["role"]
        assert part["size_inch"] == fact["size"]
        assert {pin["net"] for pin in part["pins"]} == set(fact["nets"])
        assert part["without_it"]["severity"] == fact["severity"]
    order = [rank.index(part["without_it"]["severity"]) for part in answer["parts"]]
    assert order == sorted(order)
    said = " ".join(answer["damage"])
    for words in ("lose their pull-ups", "refuses to charge", "U2 does not answer"):
        assert words in said


def test_the_meters_figures_of_the_seven(ask: Ask) -> None:
    """Nominal values: across each of them the network of known parts can only read less."""
    for refdes, text in FACTS["damage"]["by_meter"].items():
        marking = f"{text}R" if text.isdecimal() else text
        (meaning, *_) = ask("value", marking, "--json").json["meanings"]
        said = ask("reading", WREN, f"{refdes}.1", "--to", f"{refdes}.2", "--json").json["reading"]
        assert said["ohms"]["nominal"] <= meaning["value"] * 1.001
