"""The whole story of Wren: a screw tore seven parts off; the repair is proved joint by joint."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import Answer, Run

SEVEN = {"R12", "R13", "R14", "R15", "R16", "C7", "D4"}


def ok(answer: Answer) -> Answer:
    assert answer.code == 0, answer.err
    return answer


def sound(probe: dict[str, Any]) -> str:
    """Return what a meter shows for a probe on a board without a fault."""
    if probe["quantity"] == "beep":
        return "beep" if probe["nominal"] else "none"
    if probe["quantity"] == "diode":
        return "0.55"
    value = probe["nominal"]
    if value is None or math.isinf(value):
        # nothing but chips and capacitors: some hundred kilohms in health
        value = 240e3
    return f"{value:.6g}"


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return tmp_path / "wren.job"


def test_the_whole_story(run: Run, wren: Path, job: Path, tmp_path: Path) -> None:
    # intake: 15 V is negotiated and 0.05 A flows (common practice, no source: not charging)
    ok(run("job", "open", job, wren, "--title", "Wren 7"))
    ok(run("job", "read", job, "supply", "supply", "0.05A", "--stage", "intake"))
    ok(run("job", "read", job, "supply", "supply", "15V", "--stage", "intake"))

    ok(run("job", "mark", job, "missing", "--around", "J3", "--radius", "4"))
    assert run("job", "check", job).code == 1

    # three loose parts from the flux
    ok(run("job", "loose", job, "--ohms", "2.19k", "--size", "0201"))
    ok(run("job", "loose", job, "--ohms", "10.02k", "--size", "0201"))
    ok(run("job", "loose", job, "--farads", "96n", "--size", "0201"))
    matches = {
        item["loose"]: item
        for item in ok(run("job", "match", job, "--json")).json["match"]["matches"]
    }
    assert matches["L1"]["certainty"] == "interchangeable"
    assert matches["L2"]["assigned"] == "R14"
    assert not matches["L3"]["reusable"]

    ok(run("job", "mark", job, "fitted", "R12", "--with", "L1"))
    ok(run("job", "mark", job, "fitted", "R14", "--with", "L2"))
    ordered = ok(run("job", "needs", job, "--json")).json["needs"]
    assert {ref for need in ordered for ref in need["positions"]} == SEVEN - {"R12", "R14"}
    plan = ok(run("job", "refit", job, "--json")).json["refit"]
    for step in plan["steps"]:
        if step["positions"]:
            ok(run("job", "mark", job, "fitted", *step["positions"]))
    assert ok(run("job", "show", job, "--json")).json["job"]["state"]["open_positions"] == []

    # every planned measurement passes but one: the joint of R13.2 is open
    probes = ok(run("job", "probe", job, "--json")).json["probes"]
    table = ["at,to,shown,quantity"]
    for probe in probes:
        shown = sound(probe)
        if probe["at"] == "R13.2" and probe["quantity"] == "beep":
            shown = "none"
        table.append(f"{probe['at']},{probe['to']},{shown},{probe['quantity']}")
    readings = tmp_path / "readings.csv"
    readings.write_text("\n".join(table) + "\n")
    ok(run("job", "read", job, "--csv", readings, "--stage", "after refit"))
    failed = run("job", "check", job, "--json")
    assert failed.code == 1
    check = failed.json["check"]
    assert check["verdict"] == "not restored"
    assert "R13.2" in check["suspects"][0]["what"]
    assert check["suspects"][0]["score"] > 0.5

    # mended: the joint is made anew, and measured again
    ok(run("job", "mark", job, "shifted", "R13"))
    ok(run("job", "mark", job, "fitted", "R13"))
    for probe in ok(run("job", "probe", job, "--json")).json["probes"]:
        shown = sound(probe)
        ok(run("job", "read", job, probe["at"], probe["to"], shown, "--as", probe["quantity"]))
    proved = run("job", "check", job, "--json")
    assert proved.json["check"]["verdict"] == "restored", proved.json["check"]["because"]
    assert proved.code == 0

    # both plug directions: each CC pin has its own 5.1 kΩ (USB Type-C Rd, ST UM2191)
    for line in ("CC1", "CC2"):
        reading = ok(run("reading", wren, line, "--to", "GND", "--json")).json["reading"]
        assert reading["ohms"]["nominal"] == pytest.approx(5100)
