"""Counts by the definitions of docs/formats.md: a source's own, or the merged board's."""

from __future__ import annotations

from pathlib import Path

from nettrace.loading import load_board
from nettrace.model.board import Counts

#: A sheet of two resistors, placed twice: two instances and three nets in the top cell.
TWICE = """(edif T (edifVersion 2 0 0) (edifLevel 0) (keywordMap (keywordLevel 0))
 (library P (edifLevel 0) (technology (numberDefinition))
  (cell RES (cellType GENERIC) (view N (viewType NETLIST) (interface (port &1) (port &2))))
  (cell DIV (cellType GENERIC) (view N (viewType NETLIST) (interface (port A) (port B))
   (contents (instance R1 (viewRef N (cellRef RES))) (instance R2 (viewRef N (cellRef RES)))
    (net A (joined (portRef A) (portRef &1 (instanceRef R1))))
    (net M (joined (portRef &2 (instanceRef R1)) (portRef &1 (instanceRef R2))))
    (net B (joined (portRef B) (portRef &2 (instanceRef R2)))))))
  (cell TOP (cellType GENERIC) (view N (viewType NETLIST) (interface)
   (contents (instance X (viewRef N (cellRef DIV))) (instance Y (viewRef N (cellRef DIV)))
    (net P (joined (portRef A (instanceRef X))))
    (net Q (joined (portRef B (instanceRef X)) (portRef A (instanceRef Y))))
    (net Z (joined (portRef B (instanceRef Y))))))))
 (design T (cellRef TOP (libraryRef P))))
"""


def test_one_source_has_its_own_figures_while_the_board_holds_the_expanded_parts(
    tmp_path: Path,
) -> None:
    path = tmp_path / "t.edf"
    path.write_text(TWICE)
    board = load_board(path)
    assert board.counts() == Counts(parts=2, nets=3, pins=4, pads=0)
    assert {part.refdes for part in board.parts} == {"X/R1", "X/R2", "Y/R1", "Y/R2"}
    assert len(board.nets) == 5


def test_several_sources_are_counted_as_one_board(tmp_path: Path) -> None:
    path, sheet = tmp_path / "t.edf", tmp_path / "t.sheet"
    path.write_text(TWICE)
    sheet.write_text("sheet\nX/R1 1k\nR9 2k2: NEW GND\n")
    assert load_board(path, [sheet]).counts() == Counts(parts=5, nets=7, pins=10, pads=0)
