"""Every count and every spot fact of every real file, asked as a user's script would ask.

Source of the answers: truth/*.json in the folder of real boards (README.md there says how each was
found: the owning suites' own bindings, fixed columns, lxml, spydrnet, ngspice's listing).
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.acceptance.conftest import Answer, Ask, truth_files

FILES = truth_files()
#: Truth places are written with four decimals; a place in 0.0001 inch is rounded to them.
POSITION_MM = 0.0006
#: The truth of an EDIF netlist takes a block with contents as one part.
KEEP = ("--json", "--hierarchy", "keep")

pytestmark = pytest.mark.usefixtures("boards")


def name_of(entry: dict[str, Any]) -> str:
    return str(entry["file"])


def test_there_are_files_of_every_format(boards: Path) -> None:
    assert boards.is_dir()
    assert {entry["format"] for entry in FILES} == {
        "kicad_pcb", "kicad_net", "ipc-d-356", "ipc-2581", "edif-netlist", "spice", "csv",
    }  # fmt: skip


@pytest.mark.parametrize("entry", FILES, ids=name_of)
def test_summary_counts_what_is_there(ask: Ask, boards: Path, entry: dict[str, Any]) -> None:
    path = boards / entry["file"]
    answer = ask("summary", path, "--json")
    assert answer.code == 0
    said = answer.json["summary"]
    (source,) = said["sources"]
    more = entry["more"]
    assert source["path"] == str(path)
    assert source["parts"] == entry["components"]
    if entry["nets"] is None:
        assert said["conflicts"] == []
        return
    assert (source["nets"], source["pins"]) == (entry["nets"], entry["pins"])
    for count in ("pads", "vias"):
        if count in more:
            assert source[count] == more[count]
    assert said["conflicts"] == []
    # one source alone and its sheets kept: the board is that source
    kept = ask("summary", path, "--json", "--hierarchy", "keep").json["summary"]["counts"]
    assert kept == {key: source[key] or 0 for key in ("parts", "nets", "pins", "pads")}


@pytest.mark.parametrize("entry", FILES, ids=name_of)
def test_every_spot_fact(ask: Ask, boards: Path, entry: dict[str, Any]) -> None:
    path = boards / entry["file"]
    wrong = []
    for spot in entry["spot"]:
        said = ANSWERS[spot["kind"]](ask, path, spot["query"])
        if entry["format"] == "spice":
            said = lower(said)  # the deck's names compare without case, and its truth is in lower
            spot["answer"] = lower(spot["answer"])
        if said != spot["answer"]:
            wrong.append(f"{spot['kind']} {spot['query']}: {said!r}, truth {spot['answer']!r}")
    assert entry["spot"]
    assert wrong == []


def lower(fact: Any) -> Any:
    if fact in ("gnd", "GND"):
        return "0"  # node 0 and GND are one
    if isinstance(fact, list):
        return sorted(each.lower() for each in fact)
    return fact.lower() if isinstance(fact, str) else fact


def net_pins(ask: Ask, path: Path, query: str) -> list[str]:
    answer = ask("net", path, *KEEP, "--", query)
    assert answer.code == 0, answer.err
    net = answer.json["net"]
    assert query in {net["name"], *net["aliases"]} or net["name"].lower() == query.lower()
    return sorted({f"{pin['part']}.{pin['pin']}" for pin in net["pins"]})


def net_pin_count(ask: Ask, path: Path, query: str) -> int:
    return len(net_pins(ask, path, query))


def pin_net(ask: Ask, path: Path, query: str) -> str | None:
    answer = ask("pad", path, *KEEP, "--", query)
    assert answer.code == 0, answer.err
    return as_written(answer.json["pad"])


def as_written(pad: dict[str, Any]) -> str | None:
    """Return the pad's net as the file writes it: the alias, where escapes were decoded."""
    if pad["net"] is None:
        assert pad["on_net"] is None
        return None
    net = pad["on_net"]
    assert net["name"] == pad["net"]
    return next((alias for alias in net["aliases"] if "{" in alias), str(pad["net"]))


def part(ask: Ask, path: Path, query: str) -> dict[str, Any]:
    answer = ask("part", path, *KEEP, "--", query)
    assert answer.code == 0, answer.err
    found: dict[str, Any] = answer.json["part"]
    assert found["refdes"] == query
    return found


def part_value(ask: Ask, path: Path, query: str) -> object:
    return part(ask, path, query)["value"]


def part_connected_pin_count(ask: Ask, path: Path, query: str) -> int:
    pins = part(ask, path, query)["pins"]
    return len({pin["pin"] for pin in pins if pin["net"] is not None})


def part_at(ask: Ask, path: Path, query: str) -> dict[str, str | None]:
    found = part(ask, path, query)
    written = next(
        spot["answer"]
        for entry in FILES
        if str(path).endswith(entry["file"])
        for spot in entry["spot"]
        if spot["kind"] == "part_at" and spot["query"] == query
    )
    same = (
        all(abs(found[axis] - float(written[axis])) < POSITION_MM for axis in ("x", "y"))
        and found["side"] == (written.get("side") or found["side"]).lower()
    )
    return dict(written) if same else {key: str(found.get(key)) for key in written}


def pad_at(ask: Ask, path: Path, query: dict[str, Any]) -> dict[str, str | None]:
    at = f"{query['x_mm']},{query['y_mm']}"
    answer: Answer = ask("pad", path, *KEEP, "--at", at, "--side", query["side"])
    assert answer.code == 0, answer.err
    pad = answer.json["pad"]
    assert pad["distance"] < 2 * POSITION_MM
    assert abs(pad["x"] - query["x_mm"]) < POSITION_MM
    assert abs(pad["y"] - query["y_mm"]) < POSITION_MM
    assert pad["side"] in {query["side"], "both"}
    return {"pad": f"{pad['part']}.{pad['pin']}", "net": as_written(pad)}


ANSWERS: dict[str, Callable[[Ask, Path, Any], Any]] = {
    "net_pins": net_pins,
    "net_pin_count": net_pin_count,
    "pin_net": pin_net,
    "part_value": part_value,
    "part_cell": part_value,
    "part_connected_pin_count": part_connected_pin_count,
    "part_at": part_at,
    "pad_at": pad_at,
}
