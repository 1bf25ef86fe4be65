"""The programs that render DOT: found, held to one another, and clear when they fail."""

from __future__ import annotations

import stat
import sys
from pathlib import Path

import pytest

from nettrace.bench.neighbourhood import find_neighbourhood
from nettrace.views import programs
from nettrace.views.graph import draw_graph
from nettrace.views.programs import (
    CannotDraw,
    DotProgram,
    find_dot_programs,
    render_dot,
)
from tests.views.made_circuit import made_circuit
from tests.views.svg_texts import SVG, parse
from tests.views.test_neighbourhood import selections

GRAPH = "graph { a -- b [tooltip=x]; b -- c }"


def both() -> tuple[DotProgram, DotProgram]:
    found = {program.name: program for program in find_dot_programs()}
    if not {"dot", "graphviz-pure"} <= set(found):
        pytest.skip("needs Graphviz and the package graphviz-pure")
    return found["dot"], found["graphviz-pure"]


def titles(svg: bytes, kind: str) -> list[str]:
    """Return the names of all nodes or edges of an SVG."""
    return sorted(
        group.findtext(f"{SVG}title") or ""
        for group in parse(svg).iter(f"{SVG}g")
        if kind in (group.get("class") or "").split()
    )


def size(svg: bytes) -> tuple[float, float]:
    box = parse(svg).get("viewBox", "").split()
    return float(box[2]), float(box[3])


@pytest.mark.parametrize("name", ["area", "part", "net", "pad", "bus"])
def test_the_two_programs_draw_the_same_graph(name: str) -> None:
    dot, pure = both()
    circuit = made_circuit()
    text = draw_graph(circuit, find_neighbourhood(circuit, selections(circuit)[name]))
    # nodes have a class of ours besides `node`; Graphviz puts both into the attribute
    first, second = (render_dot(text, "svg", program=program) for program in (dot, pure))
    assert titles(first, "node") == titles(second, "node") != []
    assert titles(first, "edge") == titles(second, "edge") != []
    for one, other in zip(size(first), size(second), strict=True):
        assert 0.75 < one / other < 1.33


def test_both_write_png() -> None:
    for program in both():
        picture = render_dot(GRAPH, "png", program=program)
        assert picture.startswith(b"\x89PNG\r\n\x1a\n")


def test_dot_writes_pdf() -> None:
    dot, _ = both()
    assert render_dot(GRAPH, "pdf", program=dot).startswith(b"%PDF-")


def test_the_package_stands_in_where_graphviz_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    _, pure = both()
    monkeypatch.setattr(programs, "find_dot_programs", lambda: (pure,))
    assert b"<svg" in render_dot(GRAPH, "svg")
    with pytest.raises(CannotDraw, match="graphviz-pure cannot write PDF") as error:
        render_dot(GRAPH, "pdf")
    assert "FILE.svg" in error.value.hint


def test_without_any_program_the_dot_text_is_offered(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(programs, "PROGRAMS", (("no-such-program", frozenset({"svg"})),))
    assert find_dot_programs() == ()
    with pytest.raises(CannotDraw, match="no program here draws graphs") as error:
        render_dot(GRAPH, "svg")
    assert "FILE.dot" in error.value.hint


def test_what_the_program_complains_of_is_passed_on() -> None:
    dot, _ = both()
    with pytest.raises(CannotDraw, match=r"dot failed with code 1: .*syntax error"):
        render_dot("graph {", "svg", program=dot)


def made_program(folder: Path, body: str) -> DotProgram:
    path = folder / "slow"
    path.write_text(f"#!{sys.executable}\n{body}\n", encoding="utf-8")
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return DotProgram("slow", str(path), frozenset({"svg"}))


def test_a_program_that_never_ends_is_stopped(tmp_path: Path) -> None:
    program = made_program(tmp_path, "import time; time.sleep(30)")
    with pytest.raises(CannotDraw, match=r"slow was still drawing after 0\.3 s"):
        render_dot(GRAPH, "svg", program=program, seconds=0.3)


def test_a_program_that_writes_nothing_or_is_gone_is_named(tmp_path: Path) -> None:
    with pytest.raises(CannotDraw, match="slow failed with code 0"):
        render_dot(GRAPH, "svg", program=made_program(tmp_path, "pass"))
    gone = DotProgram("gone", str(tmp_path / "nowhere"), frozenset({"svg"}))
    with pytest.raises(CannotDraw, match="gone does not start"):
        render_dot(GRAPH, "svg", program=gone)
