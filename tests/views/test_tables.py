"""The work sheet, and each command's sheet on a circuit whose findings are given."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from nettrace.bench.area import inspect_area, look_at_pad, look_at_point
from nettrace.bench.lookup import find_ways
from nettrace.bench.place import circle_around
from nettrace.views import tables_area, tables_board, tables_net, tables_part
from nettrace.views.tables import Column, Sheet
from tests.views.made_circuit import LONG_NET, MadeCircuit, made_circuit

Golden = Callable[[str, str], None]
CIRCUIT = made_circuit()


def show_area(circuit: MadeCircuit) -> None:
    tables_area.show_area(circuit, inspect_area(circuit, circle_around(circuit.board, "J1", 4.5)))


def show_nets(circuit: MadeCircuit) -> None:
    board = circuit.board
    tables_net.show_nets(circuit, [board.net_by_name[name] for name in ("SDA", "+1V8", LONG_NET)])


def show_many_nets(circuit: MadeCircuit) -> None:
    tables_net.show_nets(circuit, circuit.board.nets)


def show_parts(circuit: MadeCircuit) -> None:
    parts = circuit.board.part_by_key
    tables_part.show_parts(circuit, [parts["R1"], parts["U1"], parts["X[red]"]])


def show_pads(circuit: MadeCircuit) -> None:
    point = look_at_point(circuit, 1.1, 0.1)
    tables_part.show_pads(circuit, [*look_at_pad(circuit, "R3.1"), point])


def show_way(circuit: MadeCircuit) -> None:
    nets = circuit.board.net_by_name
    tables_net.show_ways(circuit, nets["NTC"], nets["TS"], find_ways(circuit, "NTC", "TS"))
    tables_net.show_ways(circuit, nets["NTC"], nets["SDA"], ())


SHEETS: dict[str, Callable[[MadeCircuit], None]] = {
    "summary": tables_board.show_summary,
    "area": show_area,
    "nets": show_nets,
    "many_nets": show_many_nets,
    "parts": show_parts,
    "pads": show_pads,
    "rails": lambda circuit: tables_net.show_rails(circuit, list(circuit.rails.values())),
    "rail": lambda circuit: tables_net.show_rails(circuit, [circuit.rails["+1V8"]]),
    "buses": lambda circuit: tables_net.show_buses(circuit, circuit.buses),
    "way": show_way,
}


@pytest.mark.parametrize("name", SHEETS)
def test_the_sheet_reads_as_it_was_last_approved(
    name: str, golden: Golden, capsys: pytest.CaptureFixture[str]
) -> None:
    SHEETS[name](CIRCUIT)
    golden(f"sheet_{name}.txt", capsys.readouterr().out)


@pytest.mark.parametrize("name", SHEETS)
@pytest.mark.parametrize("columns", [40, 60, 80, 100])
def test_no_line_is_wider_than_the_terminal(
    name: str, columns: int, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    SHEETS[name](CIRCUIT)
    lines = capsys.readouterr().out.splitlines()
    assert max(len(line) for line in lines) <= columns
    assert not any("\x1b" in line for line in lines)


def test_a_long_net_name_keeps_its_tail(capsys: pytest.CaptureFixture[str]) -> None:
    show_many_nets(CIRCUIT)
    out = capsys.readouterr().out
    assert "AUGE_ALERT_TO_CONTROLLER" in out
    with Sheet(44) as sheet:
        sheet.table((Column("net", cut=True), Column("volts")), [(LONG_NET, "1.8 V")])
    out = capsys.readouterr().out
    assert LONG_NET not in out
    assert "ALERT_TO_CONTROLLER" in out


def test_prose_wraps_and_clipped_prose_ends_in_an_ellipsis() -> None:
    sheet = Sheet(40)
    text = "a sentence that is longer than the column has room for"
    sheet.table((Column("a", wrap=True), Column("b", clip=True)), [(text, text)])
    lines = sheet.text().splitlines()
    assert len(lines) > 2
    assert lines[1].endswith("…")
    assert max(len(line) for line in lines) <= 40


def test_nothing_in_a_name_is_taken_for_mark_up() -> None:
    sheet = Sheet(80)
    sheet.title("[bold]x[/bold] :smile:", "b")
    sheet.labelled("net", "[red]y")
    assert "[bold]x[/bold] :smile:" in sheet.text()
    assert "[red]y" in sheet.text()


def test_many_pads_become_a_list(capsys: pytest.CaptureFixture[str]) -> None:
    reports = look_at_pad(CIRCUIT, "*.*")
    assert len(reports) > tables_part.PADS_IN_FULL
    tables_part.show_pads(CIRCUIT, reports)
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith(f"{len(reports)} pads")
    assert len(lines) == len(reports) + 2  # the title and the columns' names
    assert max(map(len, lines)) <= 80
