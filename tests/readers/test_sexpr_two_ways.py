"""The fast grammar against the whole-tree reader: the same Board, or the text is left to the tree.

A hard gate: not one silent difference, on good text, on damaged text, on text cut off anywhere.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from nettrace.readers.document import Document
from nettrace.readers.sexpr_board_forms import read_board_forms
from nettrace.readers.sexpr_board_tree import read_board_tree
from nettrace.readers.sexpr_netlist_forms import read_netlist_forms
from nettrace.readers.sexpr_netlist_tree import read_netlist_tree
from tests.readers.sexpr_damage import Read, damaged, differing
from tests.readers.sound_regex import needs_sound_regex
from tests.readers.truth_check import truth_entries

pytestmark = needs_sound_regex

CASES = Path(__file__).parent / "cases"
WAYS: dict[str, tuple[Read, Read]] = {
    "kicad_pcb": (read_board_forms, read_board_tree),
    "kicad_net": (read_netlist_forms, read_netlist_tree),
}


def case_files(format_name: str) -> list[Path]:
    found = [path for path in (CASES / format_name).iterdir() if path.suffix != ".md"]
    assert len(found) >= 2
    return sorted(found)


@pytest.mark.parametrize("format_name", WAYS)
def test_every_real_file_takes_the_fast_way_to_the_same_board(
    boards: Path, format_name: str
) -> None:
    by_forms, by_tree = WAYS[format_name]
    for entry in truth_entries(boards, format_name):
        path = boards / entry["file"]
        document = Document(entry["file"], path.read_text(encoding="utf-8"))
        assert by_forms(document) == by_tree(document), entry["file"]


@pytest.mark.parametrize("format_name", WAYS)
def test_our_own_cases_take_the_fast_way_to_the_same_board(format_name: str) -> None:
    by_forms, by_tree = WAYS[format_name]
    for path in case_files(format_name):
        document = Document(path.name, path.read_text(encoding="utf-8"))
        assert by_forms(document) == by_tree(document), path.name


@pytest.mark.parametrize("format_name", WAYS)
def test_damage_to_our_own_cases_makes_no_silent_difference(format_name: str) -> None:
    by_forms, by_tree = WAYS[format_name]
    for seed, path in enumerate(case_files(format_name)):
        cases = damaged(path.read_text(encoding="utf-8"), 600, seed)
        wrong, counts = differing(path.name, cases, by_forms, by_tree)
        assert wrong == []
        # both outcomes must occur often, or the test would prove nothing
        assert min(counts["read"], counts["left to the tree"]) > 60


@pytest.mark.parametrize("format_name", WAYS)
def test_damage_to_real_files_makes_no_silent_difference(boards: Path, format_name: str) -> None:
    by_forms, by_tree = WAYS[format_name]
    for seed, entry in enumerate(truth_entries(boards, format_name)):
        text = (boards / entry["file"]).read_text(encoding="utf-8")
        if len(text) > 300_000:
            continue  # the small ones have the same forms, at a tenth of the time
        count = 12 if len(text) > 100_000 else 60
        wrong, _ = differing(entry["file"], damaged(text, count, seed), by_forms, by_tree)
        assert wrong == []


@pytest.mark.parametrize("format_name", WAYS)
def test_a_text_cut_off_anywhere_is_never_read_the_fast_way(format_name: str) -> None:
    by_forms, by_tree = WAYS[format_name]
    for path in case_files(format_name):
        text = path.read_text(encoding="utf-8").rstrip()
        cuts = ((f"cut at {at}", text[:at]) for at in range(0, len(text), 41))
        wrong, counts = differing(path.name, cuts, by_forms, by_tree)
        assert wrong == []
        assert counts["read"] == 0


def test_a_lone_small_file_is_read_without_lark_and_the_next_with_it() -> None:
    code = (
        "import sys\n"
        "from pathlib import Path\n"
        "from nettrace.readers.registry import read_file\n"
        f"path = Path({str(CASES / 'kicad_pcb' / 'two_parts_v4.kicad_pcb')!r})\n"
        "first = read_file(path)\n"
        "before = 'lark' in sys.modules\n"
        "second = read_file(path)\n"
        "print(before, 'lark' in sys.modules, first == second)\n"
    )
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=root
    )
    assert done.stdout.split() == ["False", "True", "True"]
