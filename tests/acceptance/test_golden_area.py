"""What the main command prints for Wren's damage, word by word.

The file is rewritten with REWRITE_GOLDEN=1 in the environment; the difference is read by a person.
"""

from __future__ import annotations

import os

from tests.acceptance.conftest import Ask
from tests.conftest import ROOT

GOLDEN = ROOT / "tests" / "golden" / "area_wren_j3.txt"


def test_the_damage_of_wren(ask: Ask) -> None:
    answer = ask("area", ROOT / "samples" / "wren", "--around", "J3", "--radius", "4")
    assert answer.code == 0
    assert answer.err == ""
    if os.environ.get("REWRITE_GOLDEN"):
        GOLDEN.write_text(answer.out, encoding="utf-8")
    assert answer.out == GOLDEN.read_text(encoding="utf-8")
