"""Roles, rails and buses of real boards, asked by name on the command line.

Source of the answers: labels/*.json in the folder of real boards, a careful reader's. The names
there are as the board file writes them, escapes included: each must be taken as it stands.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from nettrace.model.names import decode_escapes
from tests.acceptance.conftest import Ask, labelled_boards

LABELS = labelled_boards()
#: The issue's bound for the first role; rails and buses may miss what no file says.
ROLES_RIGHT = 0.90
FOUND = 0.95

pytestmark = pytest.mark.usefixtures("boards")


def name_of(labels: dict[str, Any]) -> str:
    return str(labels["board"])


def path_of(boards: Path, labels: dict[str, Any]) -> Path:
    return boards / str(labels["board"]) / str(labels["file"])


@pytest.mark.parametrize("labels", LABELS, ids=name_of)
def test_a_part_by_its_name_has_its_role(
    ask: Ask, boards: Path, labels: dict[str, Any], capsys: pytest.CaptureFixture[str]
) -> None:
    wrong = []
    for refdes, label in labels["parts"].items():
        answer = ask("part", path_of(boards, labels), "--json", "--", refdes)
        assert answer.code == 0, answer.err
        best = answer.json["part"]["roles"][0]
        assert 0 < best["score"] <= 1
        if best["role"] not in {label["role"], *label["also"]}:
            wrong.append(f"{refdes}: {best['role']}, label {label['role']}")
    with capsys.disabled():
        right = 1 - len(wrong) / len(labels["parts"])
        print(f"\n{labels['board']}: roles {right:.1%} of {len(labels['parts'])}")
        print(*wrong, sep="\n")
    assert right >= ROLES_RIGHT


@pytest.mark.parametrize("labels", LABELS, ids=name_of)
def test_a_rail_by_its_written_name(ask: Ask, boards: Path, labels: dict[str, Any]) -> None:
    missed, volts = [], []
    wanted = {**labels["rails"], **dict.fromkeys(labels["grounds"])}
    for name, label in wanted.items():
        answer = ask("rail", path_of(boards, labels), "--json", "--", name)
        if answer.code != 0:
            assert answer.code == 3
            assert decode_escapes(name) in answer.err  # found as a net, shown as it is read
            missed.append(name)
            continue
        (rail,) = answer.json["rails"]
        assert rail["name"] == decode_escapes(name)
        assert rail["kind"] == ("rail" if label else "ground")
        stated = label["volts"] if label else 0.0
        said = rail["volts"]["nominal"] if rail["volts"] else None
        if stated is not None and said is not None and abs(said - stated) > 0.05 * abs(stated):
            inside = rail["volts"]["min"] is not None and (
                rail["volts"]["min"] <= stated <= rail["volts"]["max"]
            )
            if not inside:
                volts.append(f"{name}: {said}, label {stated}")
    assert len(missed) <= (1 - FOUND) * len(wanted) + 1, missed
    assert volts == []


@pytest.mark.parametrize("labels", LABELS, ids=name_of)
def test_a_bus_by_a_written_net_name(ask: Ask, boards: Path, labels: dict[str, Any]) -> None:
    missed = []
    for label in labels["buses"]:
        nets = {net for segments in label["lines"].values() for net in segments}
        words = {label["protocol"], *label.get("also", [])}
        wanted = {decode_escapes(net) for net in nets}
        found: list[dict[str, Any]] = []
        for net in sorted(nets):
            answer = ask("bus", path_of(boards, labels), "--json", "--", net)
            assert answer.code in {0, 3}, answer.err
            found += answer.json["buses"] if answer.code == 0 else []
        right = [
            bus
            for bus in found
            if bus["protocol"] in words
            and len(wanted & {net for line in bus["lines"] for net in line["nets"]})
            >= len(label["lines"]) / 2
        ]
        if not right:
            missed.append(f"{label['protocol']} {sorted(nets)}")
            continue
        devices = {device for bus in right for device in bus["devices"]}
        if not set(label["devices"]) <= devices | {p for bus in right for p in bus["parts"]}:
            missed.append(f"{label['protocol']}: {sorted(set(label['devices']) - devices)}")
    assert len(missed) <= (1 - FOUND) * len(labels["buses"]) + 1, missed


def test_a_written_name_with_escapes_is_taken_and_shown_decoded(ask: Ask, boards: Path) -> None:
    path = boards / "sensor-watch-b1" / "OSO-SWAT-B1.kicad_pcb"
    for name in ("/A2{slash}TS", "/A2/TS", "/a2/ts"):
        net = ask("net", path, name, "--json").json["net"]
        assert net["name"] == "/A2/TS"
        assert net["aliases"] == ["/A2{slash}TS"]
    assert "/A2/TS" in ask("net", path, "/A2{slash}TS").out
