"""Neighbourhood graphs: what is chosen, that it is true and bounded, and the DOT text itself."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.bench.area import inspect_area, look_at_pad
from nettrace.bench.neighbourhood import (
    MOST_NODES,
    Neighbourhood,
    Selection,
    find_neighbourhood,
    select_area,
    select_buses,
    select_nets,
    select_pads,
    select_parts,
)
from nettrace.bench.place import Circle, circle_around
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind
from nettrace.loading import load
from nettrace.model.board import Side
from nettrace.model.builder import BoardBuilder
from nettrace.views.graph import draw_graph, names_of_nets, names_of_parts
from nettrace.views.programs import find_dot_programs, render_dot
from tests.circuit_language import circuit as netlist
from tests.views.made_circuit import MadeCircuit, made_circuit
from tests.views.svg_texts import SVG, is_harmless, labels, overlaps, parse

Golden = Callable[[str, str], None]
MADE = made_circuit()
TERES = "teres-main/TERES_PCB1-A64-MAIN_Rev.C.kicad_pcb"


def area_of(circuit: Circuit, around: str, radius_mm: float) -> Selection:
    report = inspect_area(circuit, circle_around(circuit.board, around, radius_mm))
    return select_area(circuit, report)


def nodes(drawing: Neighbourhood) -> int:
    return len(drawing.parts) + len(drawing.nets) + len(drawing.marks)


def selections(circuit: MadeCircuit) -> dict[str, Selection]:
    board = circuit.board
    return {
        "area": area_of(circuit, "J1", 4.5),
        "part": select_parts([board.part_by_key["U1"]]),
        "net": select_nets([board.net_by_name["SDA"], board.net_by_name["+1V8"]], ["R1"]),
        "pad": select_pads(circuit, look_at_pad(circuit, "R3.1")),
        "bus": select_buses(circuit, circuit.buses),
    }


@pytest.mark.parametrize("name", ["area", "part", "net", "pad", "bus"])
def test_the_dot_text_is_as_it_was_last_approved(name: str, golden: Golden) -> None:
    drawing = find_neighbourhood(MADE, selections(MADE)[name])
    golden(f"graph_{name}.dot", draw_graph(MADE, drawing))


def wires_by_name(drawing: Neighbourhood) -> set[tuple[str, str, str]]:
    """Return (part, pin number, net) of every line."""
    found = set()
    for wire in drawing.lines:
        part = drawing.parts[wire.part]
        net = drawing.nets[wire.net].net if wire.net is not None else drawing.marks[wire.mark or 0]
        found |= {(part.key, number, net) for number in part.rows[wire.row].numbers}
    return found


def check_is_true(circuit: Circuit, drawing: Neighbourhood) -> None:
    """A line is a pin; every pin of a drawn part on a drawn net has its line; counts add up."""
    lines = wires_by_name(drawing)
    pins = {
        (part.key, pin.number, pin.net)
        for part in circuit.board.parts
        for pin in part.pins
        if pin.net is not None
    }
    assert lines <= pins
    drawn_nets = {node.net for node in drawing.nets}
    first_keys = {part.key for part in drawing.parts}
    assert {pin for pin in pins if pin[0] in first_keys and pin[2] in drawn_nets} <= lines
    drawn_parts = {key for part in drawing.parts for key in part.keys}
    for node in drawing.nets:
        on_net = {
            (pin.part, pin.number)
            for pin in circuit.board.net_by_name[node.net].pins
            if pin.part not in drawn_parts
        }
        assert node.more_pins == len(on_net)
    for box in drawing.parts:
        on_nets = {p.number for p in circuit.board.part_by_key[box.key].pins if p.net is not None}
        assert len(on_nets) == box.more_pins + len({n for row in box.rows for n in row.numbers})


@pytest.mark.parametrize("name", ["area", "part", "net", "pad", "bus"])
def test_every_line_is_a_pin_of_the_board(name: str) -> None:
    check_is_true(MADE, find_neighbourhood(MADE, selections(MADE)[name]))


def test_a_rail_is_drawn_anew_at_each_use_and_never_as_a_knot() -> None:
    circuit = netlist("\n".join(f"C{i} VDD GND 100n" for i in range(1, 6)) + "\nU1 VDD GND X : A")
    parts = circuit.board.part_by_key
    drawing = find_neighbourhood(circuit, select_parts([parts["U1"], parts["C1"], parts["C2"]]))
    uses = list(drawing.marks)
    assert uses.count("GND") >= 2
    assert not {"VDD", "GND"} & {net.net for net in drawing.nets}
    assert all(sum(w.mark == at for w in drawing.lines) == 1 for at in range(len(drawing.marks)))


def test_a_series_part_goes_on_by_one_step() -> None:
    circuit = netlist("U1 SIG GND : A\nR1 SIG MID 33\nR2 MID FAR 33\nU2 FAR GND : B")
    drawing = find_neighbourhood(circuit, select_parts([circuit.board.part_by_key["U1"]]))
    assert {part.key for part in drawing.parts} == {"U1", "R1"}
    assert [(net.net, net.goes_on) for net in drawing.nets] == [("SIG", False), ("MID", True)]
    assert re.search(r"…&#160;<FONT[^>]*>MID<", draw_graph(circuit, drawing))


def test_every_kind_of_part_with_two_ends_is_drawn() -> None:
    circuit = netlist("\n".join(f"{letters}1 SIG GND x" for letters in ("V", "R", "L", "D", "SW")))
    drawing = find_neighbourhood(circuit, select_parts(circuit.board.parts))
    assert draw_graph(circuit, drawing).count("class=part") == 5


def test_alike_capacitors_that_are_gone_stand_in_one_node_with_all_names() -> None:
    text = "\n".join(f"C{i} VDD GND 100n" for i in range(1, 9)) + "\nU1 VDD GND IO : A"
    circuit = netlist(text)
    gone = tuple(f"C{i}" for i in range(1, 9))
    selection = Selection(parts=gone, gone=frozenset(gone))
    drawing = find_neighbourhood(circuit, selection)
    assert [part.keys for part in drawing.parts] == [gone]
    dot = draw_graph(circuit, drawing)
    assert all(key in dot for key in gone)
    assert "8 × 100 nF" in dot


def test_a_position_that_was_never_fitted_is_not_called_gone() -> None:
    builder = BoardBuilder("made.txt", "sheet")
    for refdes, value in (("R1", "10k"), ("R2", "DNP")):
        part = builder.part(refdes)
        part.value, part.x, part.y = value, 0.0, 0.0
        for number, net in (("1", "A"), ("2", "B")):
            part.pin(number, net)
            part.pad(number, net, 0.1, 0.1, Side.TOP)
    circuit = Circuit(builder.build())
    selection = select_area(circuit, inspect_area(circuit, Circle(0, 0, 2)))
    assert (selection.gone, selection.bare) == (frozenset({"R1"}), frozenset({"R2"}))
    dot = draw_graph(circuit, find_neighbourhood(circuit, selection))
    assert dot.count("<B>GONE</B>") == 2  # the part and the legend
    assert "never fitted" in dot


@pytest.mark.parametrize("radius_mm", [3.0, 9.0, 25.0, 200.0])
def test_a_drawing_is_bounded_and_says_what_it_left_out(boards: Path, radius_mm: float) -> None:
    circuit = teres(boards)
    report = inspect_area(circuit, circle_around(circuit.board, "U14", radius_mm))
    drawing = find_neighbourhood(circuit, select_area(circuit, report))
    assert nodes(drawing) <= MOST_NODES
    check_is_true(circuit, drawing)
    missing = {i.part.key for i in report.positions if circuit.kinds[i.part.key].fitted}
    drawn = {key for part in drawing.parts if part.gone for key in part.keys}
    assert drawn | set(drawing.left_gone) == missing
    assert not drawn & set(drawing.left_gone)
    dot = draw_graph(circuit, drawing)
    names = set(re.findall(r"\w+", dot))
    assert {circuit.board.part_by_key[key].refdes for key in missing} <= names


_LOADED: dict[str, Circuit] = {}


def teres(boards: Path) -> Circuit:
    if TERES not in _LOADED:
        _LOADED[TERES] = load(boards / TERES)
    return _LOADED[TERES]


@pytest.mark.parametrize("what", ["U1", "U14", "CON1"])
def test_a_part_with_hundreds_of_pins_is_bounded(boards: Path, what: str) -> None:
    circuit = teres(boards)
    drawing = find_neighbourhood(circuit, select_parts([circuit.board.part_by_key[what]]))
    assert nodes(drawing) <= MOST_NODES
    assert drawing.parts[0].key == what
    check_is_true(circuit, drawing)


def test_a_ground_with_hundreds_of_pins_is_bounded(boards: Path) -> None:
    circuit = teres(boards)
    drawing = find_neighbourhood(circuit, select_nets([circuit.board.net_by_name["GND"]]))
    assert nodes(drawing) <= MOST_NODES
    assert drawing.nets[0].more_pins > 100
    assert len(drawing.parts) > 10
    check_is_true(circuit, drawing)


@pytest.fixture(scope="module")
def wren_area() -> tuple[Circuit, Neighbourhood]:
    root = Path(__file__).resolve().parents[2]
    circuit = load(root / "samples" / "wren" / "wren.kicad_pcb")
    return circuit, find_neighbourhood(circuit, area_of(circuit, "J3", 4.0))


def needs_a_program() -> None:
    if not find_dot_programs():
        pytest.skip("no program here draws graphs")


def test_the_svg_shows_every_missing_part_of_wren(
    wren_area: tuple[Circuit, Neighbourhood],
) -> None:
    needs_a_program()
    circuit, drawing = wren_area
    svg = render_dot(draw_graph(circuit, drawing), "svg")
    root = parse(svg)
    gone = [g for g in root.iter(f"{SVG}g") if "gone" in (g.get("class") or "").split()]
    shown = {text for g in gone for text in (t.text for t in g.iter(f"{SVG}text"))}
    # the seven parts of samples/README.md
    assert {"R12", "R13", "R14", "R15", "R16", "C7", "D4"} <= shown
    assert len(gone) == 7
    for group in gone:
        assert "GONE" in {t.text for t in group.iter(f"{SVG}text")}
        dashed = [e for e in group.iter() if e.get("stroke-dasharray")]
        assert dashed
        assert all(float(e.get("stroke-width") or 1) >= 2 for e in dashed)
    colours = {e.get(name) for e in root.iter() for name in ("stroke", "fill")} - {None}
    assert colours <= {"none", "transparent", "black", "white", "#bbbbbb"}  # nothing by hue alone
    assert is_harmless(svg.replace(b"xlink:title", b"title"))


def test_tooltips_tell_the_net_its_voltage_and_what_stops(
    wren_area: tuple[Circuit, Neighbourhood],
) -> None:
    needs_a_program()
    circuit, drawing = wren_area
    svg = render_dot(draw_graph(circuit, drawing), "svg")
    title = "{http://www.w3.org/1999/xlink}title"
    tips = [e.get(title) or "" for e in parse(svg).iter() if e.get(title)]
    assert any(tip.startswith("GAUGE_SDA: ") and "1.8 V" in tip for tip in tips)
    assert any(tip.startswith("R14 10 kΩ") and "Without it: " in tip for tip in tips)
    assert "R12.1 on +1V8" in tips


@pytest.mark.parametrize("program", ["dot", "graphviz-pure"])
def test_no_text_lies_on_another(wren_area: tuple[Circuit, Neighbourhood], program: str) -> None:
    found = [p for p in find_dot_programs() if p.name == program]
    if not found:
        pytest.skip(f"{program} is not here")
    circuit, drawing = wren_area
    svg = render_dot(draw_graph(circuit, drawing), "svg", program=found[0])
    texts = labels(svg)
    assert len(texts) > 60
    # browsers leave out blanks at the ends of a text: R12 and 2.2 kΩ would run together
    assert [label.text for label in texts if label.text != label.text.strip(" ")] == []
    assert overlaps(texts, slack=0.8) == []


HOSTILE = [
    'a<b>&"c',
    "x\\N\\Gy",
    "<i>bold</i>",
    "ÄΩ→漢",
    "a\x1b[31m",
    "\ufffe\uffff",
    "{a|b}",
    "--",
]


def hostile_circuit(names: list[str]) -> Circuit:
    builder = BoardBuilder("made.txt", "sheet")
    builder.name = names[0]
    for at, name in enumerate(names):
        part = builder.part(f"R{at}{name}")
        part.value, part.x, part.y = name, float(at), 0.0
        for number, net in ((name, f"N{name}"), ("2", f"M{names[at - 1]}")):
            part.pin(number, net, name=name)
            part.pad(number, net, float(at), 0.2, Side.TOP, shape="rect", width=0.3, height=0.4)
    return Circuit(builder.build())


def test_hostile_names_stay_text_in_the_svg() -> None:
    needs_a_program()
    circuit = hostile_circuit(HOSTILE)
    selection = select_area(circuit, inspect_area(circuit, Circle(3, 0, 20)))
    dot = draw_graph(circuit, find_neighbourhood(circuit, selection))
    svg = render_dot(dot, "svg")
    text = "".join(parse(svg).itertext())
    for shown in ('R0a<b>&"c', "R1x\\N\\Gy", "R2<i>bold</i>", "R3ÄΩ→漢", "R4a\\x1b[31m", "R6{a|b}"):
        assert shown in text
    assert is_harmless(svg.replace(b"xlink:title", b"title"))


@given(st.lists(st.text(min_size=1, max_size=8), min_size=1, max_size=4))
def test_any_names_make_the_same_number_of_nodes(names: list[str]) -> None:
    circuit = hostile_circuit(names)
    selection = select_parts(list(circuit.board.parts[:3]))
    drawing = find_neighbourhood(circuit, selection)
    dot = draw_graph(circuit, drawing)
    nodes = re.findall(r"^\t([pnm]\d+) \[", dot, re.MULTILINE)
    assert sorted(nodes) == sorted([*names_of_parts(drawing), *names_of_nets(drawing)])
    assert len(re.findall(r"^\t[pnm]\d+(?::\w+)* -- ", dot, re.MULTILINE)) == len(drawing.lines)


def test_the_same_drawing_gives_the_same_text() -> None:
    first = draw_graph(MADE, find_neighbourhood(MADE, selections(MADE)["area"]))
    again = made_circuit()
    assert draw_graph(again, find_neighbourhood(again, selections(again)["area"])) == first


def test_marks_are_rails_and_grounds_alone(wren_area: tuple[Circuit, Neighbourhood]) -> None:
    circuit, drawing = wren_area
    kinds = {circuit.net_kind(mark) for mark in drawing.marks}
    assert kinds == {NetKind.RAIL, NetKind.GROUND}
    assert not any(net.net in circuit.rails for net in drawing.nets)
