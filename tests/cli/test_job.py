"""The job commands: each step is one short command, safe on disk, undoable, exact in its errors."""

from __future__ import annotations

import csv
import io
import os
import re
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import Answer, Run

SEVEN = {"R12", "R13", "R14", "R15", "R16", "C7", "D4"}


@pytest.fixture
def job(run: Run, wren: Path, tmp_path: Path) -> Path:
    path = tmp_path / "wren.job"
    answer = run("job", "open", path, wren)
    assert answer.code == 0, answer.err
    return path


def state(run: Run, job: Path) -> dict[str, Any]:
    found: dict[str, Any] = run("job", "show", job, "--json").json["job"]["state"]
    return found


def ok(answer: Answer) -> Answer:
    assert answer.code == 0, answer.err
    return answer


def test_an_area_is_marked_in_one_command(run: Run, job: Path) -> None:
    ok(run("job", "mark", job, "missing", "--around", "J3", "--radius", "4"))
    assert set(state(run, job)["open_positions"]) == SEVEN


def test_marks_of_pads_and_pairs(run: Run, job: Path) -> None:
    ok(run("job", "mark", job, "lifted", "R12.2"))
    ok(run("job", "mark", job, "bridged", "R12.1", "R13.1"))
    ok(run("job", "mark", job, "cut", "R14.2", "C6.1"))
    found = state(run, job)
    assert found["lifted"] == ["R12.2"]
    assert found["bridges"] == [["R12.1", "R13.1"]]
    ok(run("job", "mark", job, "sound", "R12.1"))
    assert state(run, job)["bridges"] == []


@pytest.mark.parametrize(
    ("words", "code", "message"),
    [
        (["mising", "R12"], 2, "Did you mean missing?"),
        (["missing", "R999"], 3, "no part 'R999'"),
        (["missing", "R12.1"], 2, "A pad is lifted, cut or bridged."),
        (["lifted", "R12.9"], 3, "R12"),
        (["bridged", "R12.1"], 2, "two"),
        (["missing"], 2, "nothing to mark"),
        (["fitted", "R12"], 3, "was not marked"),
        (["missing", "R12", "--with", "L1"], 2, "`fitted` only"),
    ],
)
def test_slips_are_named_and_nothing_is_entered(
    run: Run, job: Path, words: list[str], code: int, message: str
) -> None:
    answer = run("job", "mark", job, *words)
    assert answer.code == code, answer.err
    assert message in answer.err
    assert run("job", "show", job, "--json").json["job"]["entries"] == []


def test_loose_parts_are_named_in_turn_and_matched(run: Run, job: Path) -> None:
    ok(run("job", "mark", job, "missing", *sorted(SEVEN)))
    ok(run("job", "loose", job, "--ohms", "2.19k", "--size", "0201"))
    ok(run("job", "loose", job, "--ohms", "10.02k", "--size", "0201"))
    ok(run("job", "loose", job, "--farads", "93n", "--size", "0201"))
    found = {
        item["loose"]: item
        for item in ok(run("job", "match", job, "--json")).json["match"]["matches"]
    }
    assert found["L1"]["certainty"] == "interchangeable"
    assert {c["part"] for c in found["L1"]["candidates"]} == {"R12", "R13"}
    assert (found["L2"]["certainty"], found["L2"]["assigned"]) == ("certain", "R14")
    assert found["L3"]["assigned"] == "C7"
    assert not found["L3"]["reusable"]


def test_a_loose_part_goes_to_one_position_once(run: Run, job: Path) -> None:
    ok(run("job", "mark", job, "missing", "R12", "R13"))
    ok(run("job", "loose", job, "--ohms", "2.19k"))
    assert run("job", "mark", job, "fitted", "R12", "R13", "--with", "L1").code == 2
    ok(run("job", "mark", job, "fitted", "R12", "--with", "L1"))
    again = run("job", "mark", job, "fitted", "R13", "--with", "L1")
    assert (again.code, "used already" in again.err) == (2, True)
    assert run("job", "mark", job, "fitted", "R13", "--with", "L7").code == 3


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ([], "nothing said of it"),
        (["--ohms", "many"], "many"),
        (["--size", "tiny"], "a size code"),
        (["--looks", "resistr", "--ohms", "1k"], "Did you mean resistor?"),
        (["--accuracy", "x", "--ohms", "1k"], "per cent"),
    ],
)
def test_a_loose_part_that_cannot_be_read_is_refused(
    run: Run, job: Path, words: list[str], message: str
) -> None:
    answer = run("job", "loose", job, *words)
    assert answer.code == 2
    assert message in answer.err


def test_the_order_has_ratings_and_spares(run: Run, job: Path, tmp_path: Path) -> None:
    ok(run("job", "mark", job, "missing", *sorted(SEVEN)))
    needs = {
        tuple(item["positions"]): item
        for item in ok(run("job", "needs", job, "--json")).json["needs"]
    }
    pull_ups = needs["R12", "R13"]
    assert (pull_ups["value"], pull_ups["size"], pull_ups["quantity"]) == ("2.2 kΩ", "0201", 6)
    # class 2 ceramic: rated at least twice the rail (common practice, no source): 2 x 4.2 V
    assert needs["C7",]["volts"] >= 8.4
    out = tmp_path / "order.csv"
    ok(run("job", "needs", job, "-o", out))
    rows = list(csv.DictReader(io.StringIO(out.read_text())))
    assert {row["References"] for row in rows} == {" ".join(key) for key in needs}
    refused = run("job", "needs", job, "-o", out)
    assert (refused.code, "--force" in refused.err) == (2, True)


def test_donors_are_found_on_other_boards(run: Run, job: Path, wren: Path, tmp_path: Path) -> None:
    ok(run("job", "mark", job, "missing", "R12"))
    folder = tmp_path / "scrap"
    folder.mkdir()
    netlist = (wren / "wren.net").read_text()
    (folder / "scrap.net").write_text(netlist.replace("\n", "\n ", 1))
    (folder / "notes.txt").write_text("no board at all\n")
    (need,) = ok(run("job", "needs", job, "--donors", folder, "--json")).json["needs"]
    assert {"R12", "R13"} <= {d["part"] for d in need["donors"] if d["board"] == "scrap.net"}


def test_the_plan_of_work_begins_with_power_off_and_cautions(run: Run, job: Path) -> None:
    ok(run("job", "mark", job, "missing", *sorted(SEVEN)))
    plan = ok(run("job", "refit", job, "--json")).json["refit"]
    assert plan["steps"][0]["title"].startswith("Battery and every supply off")
    assert any("Li-ion" in line for line in plan["cautions"])
    text = ok(run("job", "refit", job)).out
    assert "Local rules and licensed practice come first" in text
    assert max(len(line) for line in text.splitlines()) <= 80


def test_wires_for_a_lifted_pad(run: Run, job: Path) -> None:
    assert run("job", "wire", job).code == 3
    ok(run("job", "mark", job, "lifted", "R13.2"))
    (plan,) = ok(run("job", "wire", job, "--json")).json["wires"]
    assert plan["net"] == "GAUGE_SCL"
    assert plan["choices"]["R13.2"]
    named = ok(run("job", "wire", job, "R12.2", "--json")).json["wires"]
    assert [item["net"] for item in named] == ["GAUGE_SDA"]


def test_undo_takes_back_the_last_and_says_which(run: Run, job: Path) -> None:
    ok(run("job", "mark", job, "missing", "R12"))
    answer = ok(run("job", "undo", job))
    assert "R12 missing" in answer.err
    assert state(run, job)["damaged"] == {}
    assert run("job", "undo", job).code == 3


def test_a_board_that_changed_is_said(run: Run, wren: Path, tmp_path: Path) -> None:
    board = tmp_path / "wren.net"
    board.write_bytes((wren / "wren.net").read_bytes())
    job = tmp_path / "wren.job"
    ok(run("job", "open", job, board))
    board.write_text(board.read_text() + "\n")
    assert "board-changed" in ok(run("job", "show", job)).err
    board.unlink()
    gone = run("job", "show", job)
    assert gone.code == 5
    assert "cannot be read" in gone.err


def test_a_job_can_move_with_its_board(run: Run, wren: Path, tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    board = tmp_path / "a" / "wren.net"
    board.write_bytes((wren / "wren.net").read_bytes())
    ok(run("job", "open", tmp_path / "a" / "wren.job", board))
    (tmp_path / "a").rename(tmp_path / "b")
    before = Path.cwd()
    os.chdir(tmp_path / "b")
    try:
        ok(run("job", "show", "wren.job"))
    finally:
        os.chdir(before)


@pytest.mark.parametrize(
    "command", ["show", "match", "needs", "refit", "wire", "undo", "probe", "check"]
)
def test_without_a_job_file_the_code_is_5(run: Run, tmp_path: Path, command: str) -> None:
    answer = run("job", command, tmp_path / "none.job")
    assert answer.code == 5
    assert "no job file" in answer.err


def test_a_soldered_wire_from_entry_to_undo(run: Run, job: Path, tmp_path: Path) -> None:
    ok(run("job", "mark", job, "lifted", "R12.1"))
    said = ok(run("job", "mark", job, "wired", "R12.1", "R13.1", "--note", "thin"))
    assert "wire R12.1 to R13.1" in said.err
    assert "mends R12.1" in said.err
    found = state(run, job)
    assert found["wires"] == [["R12.1", "R13.1"]]
    assert [item["does"] for item in found["wired"]] == ["mends a break"]
    assert "mends R12.1 (+1V8) (thin)" in ok(run("job", "show", job)).out
    sheet = tmp_path / "sheet.md"
    run("job", "sheet", job, "-o", sheet)
    assert "wire R12.1 to R13.1 mends R12.1 (+1V8) (thin)" in sheet.read_text(encoding="utf-8")
    assert run("job", "wire", job).code == 3
    ok(run("job", "undo", job))
    assert state(run, job)["wires"] == []
    assert "R13.1" in ok(run("job", "wire", job)).out


def test_a_wire_between_two_nets_is_a_short_until_confirmed(run: Run, job: Path) -> None:
    said = ok(run("job", "mark", job, "wired", "R12.2", "R13.2"))
    assert "warning: wire-joins-nets" in said.err
    assert "--confirm" in said.err
    check = run("job", "check", job, "--json")
    assert check.code == 1
    assert check.json["check"]["verdict"] == "not restored"
    assert len(check.json["check"]["shorts"]) == 1
    ok(run("job", "mark", job, "wired", "R13.2", "R12.2", "--confirm"))
    again = run("job", "check", job, "--json").json["check"]
    assert again["verdict"] == "not proven"
    assert again["shorts"] == []
    assert [item["confirmed"] for item in again["wires"]] == [True]


def test_a_wire_to_a_via_by_its_place(run: Run, job: Path) -> None:
    ok(run("job", "mark", job, "lifted", "R12.1"))
    plans = run("job", "wire", job, "--json").json["wires"]
    via = next(
        span["to"] for span in plans[0]["choices"]["R12.1"] if span["to"].startswith("via at ")
    )
    ok(run("job", "mark", job, "wired", "R12.1", via))
    (found,) = state(run, job)["wired"]
    assert found["to"] == via.removeprefix("via at ")
    assert found["does"] == "mends a break"


@pytest.mark.parametrize(
    ("words", "code", "message"),
    [
        (["wired", "R12.1"], 2, "two"),
        (["wired", "R12.1", "R12.1"], 2, "to itself"),
        (["wired", "R12.1", "R999.1"], 3, "R999"),
        (["wired", "R12.1", "900,900"], 3, "no via at 900,900"),
        (["missing", "R12", "--confirm"], 2, "--confirm"),
        (["wird", "R12.1", "R13.1"], 2, "Did you mean wired?"),
    ],
)
def test_a_wire_that_cannot_be(
    run: Run, job: Path, words: list[str], code: int, message: str
) -> None:
    answer = run("job", "mark", job, *words)
    assert answer.code == code
    assert message in answer.err


def test_a_link_that_a_wire_stands_in_for_is_not_to_order(run: Run, job: Path) -> None:
    ok(run("job", "mark", job, "missing", "R15", "R12"))  # R15: 0 Ω
    before = ok(run("job", "needs", job, "--json")).json["needs"]
    assert {p for need in before for p in need["positions"]} == {"R15", "R12"}
    ok(run("job", "mark", job, "wired", "R15.1", "R15.2"))
    after = ok(run("job", "needs", job, "--json")).json["needs"]
    assert {p for need in after for p in need["positions"]} == {"R12"}
    assert "R15" not in ok(run("job", "refit", job)).out
    assert "wire in its place" in ok(run("job", "show", job)).out
    sheet = job.with_name("sheet.md")
    run("job", "sheet", job, "-o", sheet)
    page = sheet.read_text(encoding="utf-8")
    assert "missing; wire in its place" in page
    assert "0 refitted, 1 replaced by wire, 1 open" in page


def test_the_sheets_map_holds_torn_pads_and_wires_far_from_the_positions(
    run: Run, job: Path, tmp_path: Path
) -> None:
    ok(run("job", "mark", job, "missing", "R12"))
    page = tmp_path / "near.html"
    run("job", "sheet", job, "-o", page)
    near = page.read_text(encoding="utf-8")
    ok(run("job", "mark", job, "lifted", "R5.1"))  # 16 mm away
    page = tmp_path / "far.html"
    run("job", "sheet", job, "-o", page)
    far = page.read_text(encoding="utf-8")
    assert "R5.1: lifted" in far
    scales = [re.search(r"The marked positions at (\d+):1", text) for text in (near, far)]
    at_near, at_far = (int(found[1]) for found in scales if found is not None)
    assert at_far < at_near
    assert re.search(r"<text[^>]*>R5</text>", far) is not None
    assert re.search(r"<text[^>]*>R5</text>", near) is None
