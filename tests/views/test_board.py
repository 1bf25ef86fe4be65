"""The page of each command that looks at a board, on a circuit whose findings are given."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import pytest

from nettrace import api
from nettrace.answers import Several, brief, net_answer, part_answer
from nettrace.bench.place import circle_around
from nettrace.views import board as view
from nettrace.views.page import Block, Column, Fact, Table, Title
from nettrace.views.terminal import show, terminal_text
from tests.views.made_circuit import LONG_NET, MadeCircuit, made_circuit

Golden = Callable[[str, str], None]
CIRCUIT = made_circuit()


def nets(circuit: MadeCircuit) -> Iterable[Block]:
    board = circuit.board
    names = ("SDA", "+1V8", LONG_NET)
    parts = [pin.part for name in names for pin in board.net_by_name[name].pins]
    known = brief(circuit, parts, names)
    answers = (net_answer(circuit, board.net_by_name[name], known) for name in names)
    return view.nets(Several(answers, brief=known))


def parts(circuit: MadeCircuit) -> Iterable[Block]:
    known = brief(circuit, nets=[net.name for net in circuit.board.nets])
    found = [circuit.board.part_by_key[key] for key in ("R1", "U1", "X[red]")]
    return view.parts(Several((part_answer(circuit, part, known) for part in found), brief=known))


def pads(circuit: MadeCircuit) -> Iterable[Block]:
    by_name = api.pads(circuit, "R3.1")
    by_place = api.pads(circuit, at=(1.1, 0.1))
    known = brief(circuit, nets=[net.name for net in circuit.board.nets])
    return view.pads(Several([*by_name, *by_place], brief=known))


def ways(circuit: MadeCircuit) -> Iterable[Block]:
    return [*view.ways(api.path(circuit, "NTC", "TS")), *view.ways(api.path(circuit, "NTC", "SDA"))]


PAGES: dict[str, Callable[[MadeCircuit], Iterable[Block]]] = {
    "summary": lambda circuit: view.summary(api.summary(circuit)),
    "area": lambda circuit: view.area(api.area(circuit, circle_around(circuit.board, "J1", 4.5))),
    "nets": nets,
    "many_nets": lambda circuit: view.nets(api.nets(circuit, "*")),
    "parts": parts,
    "pads": pads,
    "rails": lambda circuit: view.rails(api.rail(circuit)),
    "rail": lambda circuit: view.rails(api.rail(circuit, "+1V8")),
    "buses": lambda circuit: view.buses(api.bus(circuit)),
    "way": ways,
}


@pytest.mark.parametrize("name", PAGES)
def test_the_page_reads_as_it_was_last_approved(
    name: str, golden: Golden, capsys: pytest.CaptureFixture[str]
) -> None:
    show(PAGES[name](CIRCUIT))
    golden(f"sheet_{name}.txt", capsys.readouterr().out)


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("columns", [40, 60, 80, 100])
def test_no_line_is_wider_than_the_terminal(
    name: str, columns: int, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    show(PAGES[name](CIRCUIT))
    lines = capsys.readouterr().out.splitlines()
    assert max(len(line) for line in lines) <= columns
    assert not any("\x1b" in line for line in lines)


def test_a_long_net_name_keeps_its_tail() -> None:
    assert "AUGE_ALERT_TO_CONTROLLER" in terminal_text(PAGES["many_nets"](CIRCUIT))
    out = terminal_text(
        [Table((Column("net", cut=True), Column("volts")), ((LONG_NET, "1.8 V"),))], 44
    )
    assert LONG_NET not in out
    assert "ALERT_TO_CONTROLLER" in out


def test_prose_wraps_and_clipped_prose_ends_in_an_ellipsis() -> None:
    text = "a sentence that is longer than the column has room for"
    table = Table((Column("a", wrap=True), Column("b", clip=True)), ((text, text),))
    lines = terminal_text([table], 40).splitlines()
    assert len(lines) > 2
    assert lines[1].endswith("…")
    assert max(len(line) for line in lines) <= 40


def test_a_word_longer_than_a_line_is_broken_and_wide_signs_count_two() -> None:
    lines = terminal_text([Fact("net", "A" * 100), Fact("value", "配線" * 20)], 60).splitlines()
    assert [len(line.split()[-1]) for line in lines] == [46, 46, 8, 23, 17]


def test_nothing_in_a_name_is_taken_for_mark_up() -> None:
    text = terminal_text([Title("[bold]x[/bold] :smile:", "b"), Fact("net", "[red]y\x1b[2J")], 80)
    assert "[bold]x[/bold] :smile:" in text
    assert "[red]y\\x1b[2J" in text


def test_many_pads_become_a_list() -> None:
    found = api.pads(CIRCUIT, "*.*")
    assert len(found) > view.FEW_PADS
    lines = terminal_text(view.pads(found)).splitlines()
    assert lines[0].startswith(f"{len(found)} pads")
    assert len(lines) == len(found) + 2  # the title and the columns' names
    assert max(map(len, lines)) <= 80


def test_a_page_is_made_of_its_answer_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing of the circuit is asked any more when an answer is shown."""
    answer = api.area(CIRCUIT, circle_around(CIRCUIT.board, "J1", 4.5))
    for name in ("roles", "absence", "volts", "net_kind", "proposals", "reaches"):
        monkeypatch.setattr(MadeCircuit, name, None)
    assert terminal_text(view.area(answer))
