"""The placed drawing: true positions and scale, every position numbered, nothing written twice."""

from __future__ import annotations

import math
import re
from collections import Counter
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.bench.area import inspect_area
from nettrace.bench.place import Box as BoardBox
from nettrace.bench.place import Circle, Outline, Shape, circle_around
from nettrace.bench.report import SolderedWire, TornPad
from nettrace.circuit.circuit import Circuit
from nettrace.loading import load
from nettrace.model.board import Pad, Side
from nettrace.model.builder import BoardBuilder
from nettrace.model.geometry import inside
from nettrace.views.drawing import (
    Box,
    fit_text,
    hatch_lines,
    short_net_names,
    text_box,
    text_width,
)
from nettrace.views.placed import SHEET_HEIGHT, SHEET_WIDTH, WINDOW, PlacedMap, draw_placed
from nettrace.views.placed_map import (
    SCALES,
    Room,
    View,
    choose_view,
    hull_corners,
    pad_corners,
)
from tests.circuit_language import circuit as netlist
from tests.views.made_circuit import made_circuit
from tests.views.svg_texts import (
    FACES,
    SVG,
    is_harmless,
    labels,
    measured,
    numbers,
    overlaps,
    parse,
)
from tests.views.test_neighbourhood import HOSTILE, hostile_circuit

WREN = Path(__file__).resolve().parents[2] / "samples" / "wren" / "wren.kicad_pcb"
#: (board, around, radius in mm): dense, sparse, bottom side, hundreds of positions.
REAL = [
    ("zswatch-devkit/ZSWatch-Watch-DevKit.kicad_pcb", "X402", 6.0),
    ("teres-main/TERES_PCB1-A64-MAIN_Rev.C.kicad_pcb", "U14", 12.0),
    ("teres-main/TERES_PCB1-A64-MAIN_Rev.C.kicad_pcb", "U14", 40.0),
    ("bbq20kbd/bbq20_keyboard.kicad_pcb", "U2", 9.0),
]


@pytest.fixture(scope="module")
def wren_map() -> tuple[Circuit, PlacedMap]:
    circuit = load(WREN)
    return circuit, drawn(circuit, circle_around(circuit.board, "J3", 4.0))


def drawn(circuit: Circuit, shape: Shape, side: Side | None = None) -> PlacedMap:
    return draw_placed(circuit, inspect_area(circuit, shape, side))


def with_class(svg: str, name: str) -> list[ET.Element]:
    return [g for g in parse(svg).iter(f"{SVG}g") if g.get("class") == name]


def pad_middles(svg: str) -> dict[str, tuple[float, float]]:
    """Return pad name -> middle of its shape on the paper, mm; pads drawn once."""
    found = {}
    twice = Counter(e.get("data-pad") for e in parse(svg).iter() if e.get("data-pad"))
    for element in parse(svg).iter(f"{SVG}polygon"):
        name = element.get("data-pad")
        if name and twice[name] == 1:
            points = numbers(element.get("points", ""))
            xs, ys = points[::2], points[1::2]
            found[name] = ((min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2)
    return found


def check_true_to_scale(circuit: Circuit, placed: PlacedMap) -> None:
    """Distances and directions between pads are those of the board, times the scale."""
    top, bottom = placed.scale.split(":")
    scale = float(top) / float(bottom)
    mirror = -1 if placed.side is Side.BOTTOM else 1
    places = {
        f"{circuit.board.part_by_key[pad.part].refdes}.{pad.number}": (pad.x, pad.y)
        for pad in circuit.board.pads()
    }
    middles = pad_middles(placed.svg)
    assert len(middles) > 5
    (first, (x0, y0)), *rest = middles.items()
    bx, by = places[first]
    for name, (x, y) in rest:
        assert (x - x0) == pytest.approx(mirror * scale * (places[name][0] - bx), abs=0.03)
        assert (y - y0) == pytest.approx(-scale * (places[name][1] - by), abs=0.03)


def test_wren_is_drawn_at_true_positions(wren_map: tuple[Circuit, PlacedMap]) -> None:
    circuit, placed = wren_map
    assert placed.scale == "15:1"
    check_true_to_scale(circuit, placed)
    # the scale bar stands for what it says
    bar = next(t for t in parse(placed.svg).iter(f"{SVG}text") if t.text == "2 mm")
    start = next(t for t in parse(placed.svg).iter(f"{SVG}text") if t.text == "0")
    assert float(bar.get("x", "")) - float(start.get("x", "")) == pytest.approx(30.0)


def test_every_missing_part_of_wren_has_its_number_its_hatching_and_its_row(
    wren_map: tuple[Circuit, PlacedMap],
) -> None:
    _, placed = wren_map
    # the seven parts of samples/README.md
    seven = {"R12", "R13", "R14", "R15", "R16", "C7", "D4"}
    assert set(placed.gone) == seven
    numbered = {}
    for group in with_class(placed.svg, "position"):
        numbered[group.get("data-part")] = group.get("data-no")
        assert len(numbers(group.find(f"{SVG}path").get("d", ""))) >= 12  # type: ignore[union-attr]
        assert any(e.get("stroke-dasharray") for e in group)
    assert set(numbered) == seven
    balloons = {
        g.get("data-part"): g.findtext(f"{SVG}text") for g in with_class(placed.svg, "balloon")
    }
    assert balloons == numbered
    rows = {g.get("data-part"): g.get("data-no") for g in with_class(placed.svg, "row")}
    assert {key: rows[key] for key in seven} == numbered
    assert rows["J3"] is None


def check_labels(svg: str) -> None:
    assert overlaps(labels(svg), slack=0.05) == []


def test_no_label_lies_on_another(wren_map: tuple[Circuit, PlacedMap]) -> None:
    check_labels(wren_map[1].svg)
    assert len(labels(wren_map[1].svg)) > 70


@pytest.mark.parametrize(("file", "around", "radius_mm"), REAL)
def test_real_boards_are_true_readable_and_whole(
    boards: Path, file: str, around: str, radius_mm: float
) -> None:
    circuit = load(boards / file)
    report = inspect_area(circuit, circle_around(circuit.board, around, radius_mm))
    placed = draw_placed(circuit, report)
    check_true_to_scale(circuit, placed)
    check_labels(placed.svg)
    fitted = {i.part.key for i in report.positions if circuit.kinds[i.part.key].fitted}
    assert set(placed.gone) == fitted
    rows = {g.get("data-part") for g in with_class(placed.svg, "row")}
    assert {item.part.key for item in report.positions} <= rows
    positions = {g.get("data-part") for g in with_class(placed.svg, "position")}
    assert positions == {item.part.key for item in report.positions}
    balloons = {g.get("data-part") for g in with_class(placed.svg, "balloon")}
    assert len(balloons) >= 0.95 * len(positions)
    assert is_harmless(placed.svg)


def test_the_bottom_is_mirrored_as_it_is_seen_and_says_so() -> None:
    circuit = two_sides()
    placed = drawn(circuit, Circle(0, 0, 5), Side.BOTTOM)
    middles = pad_middles(placed.svg)
    assert middles["R2.1"][0] > middles["R2.2"][0]  # pin 1 is left when seen from above
    texts = [label.text for label in labels(placed.svg)]
    assert {"bottom side", "x is mirrored", "seen from below:"} <= set(texts)
    above = drawn(circuit, Circle(0, 0, 5), Side.TOP)
    assert pad_middles(above.svg)["R1.1"][0] < pad_middles(above.svg)["R1.2"][0]
    assert "not mirrored" in [label.text for label in labels(above.svg)]


def two_sides() -> Circuit:
    """R1 and R3 on the top, R2 on the bottom; R3 is not fitted, and two test pads stand outside."""
    builder = BoardBuilder("made.txt", "sheet")
    builder.name = "two sides"
    places = {"R1": (0.0, Side.TOP), "R2": (2.0, Side.BOTTOM), "R3": (-2.0, Side.TOP)}
    for refdes, (y, side) in places.items():
        part = builder.part(refdes)
        part.value = "DNP" if refdes == "R3" else "10k"
        part.x, part.y, part.side = 0.0, y, side
        for number, x in (("1", -0.5), ("2", 0.5)):
            net = f"{refdes}_{number}"
            part.pin(number, net)
            part.pad(number, net, x, y, side, shape="rect", width=0.5, height=0.6)
    return Circuit(builder.build())


def test_a_position_of_the_other_side_is_dashed_and_named_so() -> None:
    placed = drawn(two_sides(), Circle(0, 0, 5))
    assert placed.side is Side.TOP  # most positions
    far = next(g for g in with_class(placed.svg, "position") if g.get("data-part") == "R2")
    assert far.find(f"{SVG}path") is None  # no hatching: it is behind the board
    assert "on the bottom side" in (far.findtext(f"{SVG}title") or "")
    assert {"bottom side", "missing on the other side"} <= {t.text for t in labels(placed.svg)}


def test_a_position_that_was_never_fitted_is_not_hatched() -> None:
    placed = drawn(two_sides(), Circle(0, 0, 5))
    bare = next(g for g in with_class(placed.svg, "position") if g.get("data-part") == "R3")
    assert bare.find(f"{SVG}path") is None
    assert "missing" not in (bare.findtext(f"{SVG}title") or "")
    assert "R3" not in placed.gone
    assert [t.text for t in labels(placed.svg)].count("bare by design") == 2  # list and legend


@pytest.mark.parametrize(
    "shape", [BoardBox(-3, -3, 3, 3), Outline(((-4.0, -4.0), (4.0, -4.0), (0.0, 5.0)))]
)
def test_boxes_and_outlines_are_drawn_as_they_are(shape: Shape) -> None:
    placed = drawn(two_sides(), shape)
    area = [
        e for e in parse(placed.svg).iter(f"{SVG}polygon")
        if e.get("stroke-dasharray") == "6 1.2 1 1.2"
    ]  # fmt: skip
    assert len(area) == 1
    assert len(numbers(area[0].get("points", ""))) == (8 if isinstance(shape, BoardBox) else 6)


def test_parts_that_are_named_missing_are_drawn_so() -> None:
    circuit = made_circuit()
    report = inspect_area(circuit, circle_around(circuit.board, "R1", 1.0))
    placed = draw_placed(circuit, report, ["U1"])
    assert "U1" in placed.gone
    assert "U1" in {g.get("data-part") for g in with_class(placed.svg, "row")}


def test_a_sheet_prints_on_a4_and_on_letter(wren_map: tuple[Circuit, PlacedMap]) -> None:
    _, placed = wren_map
    root = parse(placed.svg)
    # ISO 216 A4 297 x 210 mm, ANSI/ASME Y14.1 A 11 x 8.5 in; 6 mm of margin is what printers keep
    for width, height in ((297.0, 210.0), (279.4, 215.9)):
        assert placed.size_mm[0] <= width - 12
        assert placed.size_mm[1] <= height - 12
    assert (root.get("width"), root.get("height")) == (f"{SHEET_WIDTH:g}mm", f"{SHEET_HEIGHT:g}mm")
    for label in labels(placed.svg):
        assert 0 < label.x1 < label.x2 < SHEET_WIDTH
        assert 0 < label.y1 < label.y2 < SHEET_HEIGHT
    sizes = {float(t.get("font-size", "0")) for t in root.iter(f"{SVG}text")}
    assert min(sizes) >= 1.1


def test_a_long_list_goes_on_on_further_sheets(boards: Path) -> None:
    file, around, _ = REAL[2]
    circuit = load(boards / file)
    placed = drawn(circuit, circle_around(circuit.board, around, 18.0))
    assert placed.sheets > 2
    texts = [t.text for t in labels(placed.svg)]
    assert f"{placed.sheets} of {placed.sheets}" in texts
    assert float((parse(placed.svg).get("height") or "").removesuffix("mm")) == (
        pytest.approx(SHEET_HEIGHT * placed.sheets)
    )


def test_hostile_names_stay_text() -> None:
    circuit = hostile_circuit(HOSTILE)
    placed = drawn(circuit, Circle(3, 0, 20))
    assert is_harmless(placed.svg)
    texts = " ".join(label.text for label in labels(placed.svg))
    assert "<i>" in texts
    assert "\x1b" not in placed.svg


@given(st.lists(st.text(min_size=1, max_size=6), min_size=1, max_size=4))
def test_any_names_make_valid_xml_without_overlaps(names: list[str]) -> None:
    placed = drawn(hostile_circuit(names), Circle(1, 0, 9))
    parse(placed.svg)
    check_labels(placed.svg)


def test_an_area_without_a_position_says_so() -> None:
    circuit = made_circuit()
    placed = drawn(circuit, Circle(10.0, 10.0, 0.35))
    assert placed.gone == ()
    assert "No part is wholly in this area" in {t.text for t in labels(placed.svg)}


# the pieces


def test_text_is_as_wide_as_in_the_font_it_is_made_for() -> None:
    from PIL import ImageFont

    try:
        ImageFont.truetype(FACES[0], 10)
    except OSError:
        pytest.skip("Liberation Sans is not here to measure with")
    for text in (
        "GAUGE_SDA",
        "2.2 kΩ 1 %",
        "Wren bird-song recorder",
        "/Power…VBAT",
        "100 µF ±5 %",
    ):
        assert text_width(text, 10) == pytest.approx(measured(text, 10), rel=0.02)
        assert text_width(text, 10, bold=True) == pytest.approx(
            measured(text, 10, bold=True), rel=0.02
        )


@given(st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=40), st.floats(3, 60))
def test_fitted_text_fits_and_keeps_its_ends(text: str, width: float) -> None:
    short = fit_text(text, 2.3, width)
    assert text_width(short, 2.3) <= max(width, 0)
    if short != text and short:
        head, tail = short.split("…", 1) if "…" not in text else (short[:1], "")
        assert text.startswith(head)
        assert text.endswith(tail)


@given(
    st.lists(
        st.tuples(st.floats(-10, 110), st.floats(-10, 110), st.sampled_from(["GND", "+1V8", "x"])),
        max_size=30,
    )
)
def test_labels_that_find_room_never_touch(wanted: list[tuple[float, float, str]]) -> None:
    room, placed = Room(Box(0, 0, 100, 100), gap=0.5), list[Box]()
    for x, y, text in wanted:
        box = text_box(x, y, text, 2.3)
        if room.is_free(box):
            room.take(box)
            placed.append(box)
    for at, box in enumerate(placed):
        assert room.window.holds(box)
        assert not any(box.overlaps(other, 0.5) for other in placed[:at])


def test_a_leader_never_goes_through_text_and_pays_for_copper() -> None:
    room = Room(Box(0, 0, 100, 100))
    room.take(Box(40, 40, 60, 45))
    room.add_copper(Box(20, 70, 30, 80))
    own = Box(0, 0, 1, 1)
    assert room.cost((50, 10), (50, 90), own) is None
    assert room.cost((70, 10), (70, 20), own) == pytest.approx(10)
    assert room.cost((10, 75), (40, 75), own) == pytest.approx(35)
    room.draw_leader((70, 10), (70, 30))
    assert room.cost((60, 20), (80, 20), own) == pytest.approx(32)


@given(st.floats(0, 360), st.floats(0.2, 3), st.floats(0.2, 3))
def test_hatching_lies_inside_and_fills(angle: float, width: float, height: float) -> None:
    pad = Pad("U1", "1", None, 5.0, 5.0, Side.TOP, "rect", width * 4, height * 4, angle)
    corners = pad_corners(pad)
    assert corners is not None
    lines = hatch_lines(corners, 0.2)
    for (x1, y1), (x2, y2) in lines:
        assert (x2 - x1) == pytest.approx(-(y2 - y1), abs=1e-9)
        assert inside((x1 + x2) / 2, (y1 + y2) / 2, corners)
    drawn_mm = sum(math.dist(a, b) for a, b in lines)
    assert drawn_mm * 0.2 == pytest.approx(width * height * 16, rel=0.2, abs=0.6)


@pytest.mark.parametrize("shape", ["rect", "roundrect", "oval", "circle", "custom", None])
@pytest.mark.parametrize("angle", [0.0, 90.0, 33.0])
def test_a_pad_has_its_size_and_turn(shape: str | None, angle: float) -> None:
    pad = Pad("U1", "1", None, 2.0, 3.0, Side.TOP, shape, 1.2, 0.6, angle)
    corners = pad_corners(pad)
    assert corners is not None
    cos, sin = math.cos(math.radians(-angle)), math.sin(math.radians(-angle))
    own = [((x - 2) * cos - (y - 3) * sin, (x - 2) * sin + (y - 3) * cos) for x, y in corners]
    assert max(x for x, _ in own) - min(x for x, _ in own) == pytest.approx(1.2)
    assert max(y for _, y in own) - min(y for _, y in own) == pytest.approx(0.6)


def test_the_hull_is_what_scipy_says() -> None:
    import numpy as np
    from scipy.spatial import ConvexHull

    circuit = load(WREN)
    for refdes in ("J1", "U1", "D4", "SW1"):
        part = circuit.board.part_by_key[refdes]
        ours = hull_corners(part)
        points = [*part.outline, *(p for pad in part.pads for p in pad_corners(pad) or ())]
        hull = ConvexHull(np.array(points))
        area = 0.5 * sum(
            x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in zip(ours, [*ours[1:], ours[0]], strict=True)
        )
        assert area >= hull.volume - 1e-9  # in two dimensions `volume` is the area
        if part.outline:
            assert area == pytest.approx(hull.volume)


@given(
    st.floats(-200, 200), st.floats(-200, 200), st.floats(0.1, 300), st.floats(0.1, 300),
    st.sampled_from([Side.TOP, Side.BOTTOM]),
)  # fmt: skip
def test_a_view_shows_the_whole_box_at_the_largest_scale(
    x: float, y: float, width: float, height: float, side: Side
) -> None:
    view = choose_view(WINDOW, [(x, y, x + width, y + height)], side)
    for corner in ((x, y), (x + width, y), (x, y + height), (x + width, y + height)):
        at_x, at_y = view.at(*corner)
        assert WINDOW.x1 <= at_x <= WINDOW.x2
        assert WINDOW.y1 <= at_y <= WINDOW.y2
    assert view.scale in SCALES
    larger = [s for s in SCALES if s > view.scale]
    if larger:
        bigger = View(WINDOW, larger[-1], view.middle, side)
        left, bottom = bigger.at(x, y)
        right, top = bigger.at(x + width, y + height)
        margin = 32.0
        assert abs(right - left) > 156 - margin - 1e-6 or abs(bottom - top) > 169 - margin - 1e-6


def test_a_sheets_path_is_left_out_where_the_last_name_is_alone() -> None:
    board = netlist("R1 /Power/Charger/VBAT /A/Left/SENSE 1k\nR2 /B/Right/SENSE SHORT 1k").board
    names = short_net_names(board, 24)
    assert names["/Power/Charger/VBAT"] == "…/VBAT"
    assert names["SHORT"] == "SHORT"
    assert len({names["/A/Left/SENSE"], names["/B/Right/SENSE"]}) == 2


def test_the_check_for_overlaps_sees_one() -> None:
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg"><text x="0" y="5" font-size="4">GND</text>'
        '<text x="3" y="6" font-size="4">VBAT</text><text x="40" y="6" font-size="4">A</text></svg>'
    )
    assert overlaps(labels(svg)) == [("GND", "VBAT")]
    assert re.match(r"GND", labels(svg)[0].text)


def test_a_refitted_position_is_drawn_as_done(wren_map: tuple[Circuit, PlacedMap]) -> None:
    wren = wren_map[0]
    report = inspect_area(wren, circle_around(wren.board, "J3", 4.0))
    keys = [item.part.key for item in report.positions]
    before = draw_placed(wren, report, keys, in_page=True)
    after = draw_placed(wren, report, keys, refitted=[keys[0]], in_page=True)
    assert before.gone == tuple(keys)
    assert after.gone == tuple(keys[1:])
    groups = []
    for placed in (before, after):
        root = parse(placed.svg)
        groups.append(next(
            group for group in root.iter() if group.get("class") == "position"
            and group.get("data-part") == keys[0]
        ))  # fmt: skip
    dashed = [any(shape.get("stroke-dasharray") for shape in group.iter()) for group in groups]
    assert dashed == [True, False]
    pads = [
        {shape.get("fill") for shape in group.iter() if shape.get("data-pad")} for group in groups
    ]
    assert pads == [{"white"}, {"#ccc"}]
    assert "refitted" in after.svg
    assert "refitted" not in before.svg


def test_a_drawing_in_a_page_repeats_no_title_and_no_area(
    wren_map: tuple[Circuit, PlacedMap],
) -> None:
    wren = wren_map[0]
    report = inspect_area(wren, circle_around(wren.board, "J3", 4.0))
    alone, inside = draw_placed(wren, report), draw_placed(wren, report, in_page=True)
    for words in ("Damaged area", "the area"):
        assert words in alone.svg
        assert f">{words}" not in inside.svg
    assert inside.scale == alone.scale


def test_a_soldered_wire_goes_from_pad_to_pad(wren_map: tuple[Circuit, PlacedMap]) -> None:
    wren = wren_map[0]
    report = inspect_area(wren, circle_around(wren.board, "J3", 4.0))
    pads = [wren.board.part_by_key[key].pads[0] for key in ("R12", "R13")]
    wire = SolderedWire("R12.1 to <R13.1>", *((pad.x, pad.y) for pad in pads))
    placed = draw_placed(wren, report, wires=[wire], in_page=True)
    root = parse(placed.svg)
    (group,) = (item for item in root.iter() if item.get("class") == "wire")
    line = next(item for item in group if item.tag.endswith("line"))
    drawn_mm = math.hypot(
        float(line.get("x2", 0)) - float(line.get("x1", 0)),
        float(line.get("y2", 0)) - float(line.get("y1", 0)),
    )
    scale = float(placed.scale.partition(":")[0])
    assert drawn_mm == pytest.approx(
        scale * math.hypot(pads[0].x - pads[1].x, pads[0].y - pads[1].y), abs=0.02
    )
    assert "soldered wire" in placed.svg
    assert "soldered wire" not in draw_placed(wren, report, in_page=True).svg


def test_a_torn_pad_has_a_cross_that_the_legend_explains(
    wren_map: tuple[Circuit, PlacedMap],
) -> None:
    wren = wren_map[0]
    report = inspect_area(wren, circle_around(wren.board, "J3", 4.0))
    pad = wren.board.part_by_key["R12"].pads[0]
    torn = [TornPad("R12.1: lifted", (pad.x, pad.y))]
    svg = draw_placed(wren, report, torn=torn, in_page=True).svg
    assert [item.get("class") for item in parse(svg).iter()].count("torn") == 1
    assert "lifted pad" in svg
    for item in parse(svg).iter():  # the legend stays on its sheet
        if item.tag.endswith("text"):
            assert 0 <= float(item.get("x", 0)) <= SHEET_WIDTH
            assert 0 <= float(item.get("y", 0)) <= SHEET_HEIGHT
    assert "lifted pad" not in draw_placed(wren, report, in_page=True).svg
