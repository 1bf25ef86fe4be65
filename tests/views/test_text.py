"""Words for people: nothing steers the terminal, nothing is too wide, tails stay."""

from __future__ import annotations

import json
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.errors import Place, Warning
from nettrace.views.text import envelope, listed, printable, shorten_middle, write_json


@given(st.text())
def test_printable_text_holds_no_control_or_direction_character(text: str) -> None:
    shown = printable(text)
    assert not any(unicodedata.category(c) in {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"} for c in shown)
    assert printable(shown) == shown


@given(st.text(), st.integers(min_value=1, max_value=60))
def test_shortened_text_fits_and_keeps_its_tail(text: str, width: int) -> None:
    shown = shorten_middle(text, width)
    assert len(shown) <= width
    assert len(text) > width or shown == text
    if width >= 4 and len(text) > width:
        assert text.endswith(shown.split("…")[-1])


def test_lists_count_what_they_leave_out() -> None:
    assert listed([f"R{n}" for n in range(1, 10)], 3) == "R1, R2, R3 and 6 more"


def test_the_envelope_carries_warnings_with_their_place() -> None:
    found = envelope("net", {}, [Warning("a", "b", Place("f", 3, 0)), Warning("c", "d")])
    assert found["warnings"] == [
        {"code": "a", "message": "b", "path": "f", "line": 3, "column": None},
        {"code": "c", "message": "d", "path": None, "line": None, "column": None},
    ]


@given(text=st.text())
def test_json_is_read_back_whatever_is_in_a_name(text: str) -> None:
    with pytest.MonkeyPatch.context() as patch:
        written: list[str] = []
        patch.setattr("nettrace.views.text._write", lambda _, line: written.append(line))
        write_json(None, "net", {"name": text})
    assert json.loads(written[0])["net"]["name"] == text
    assert not any(ord(c) < 32 for c in written[0].rstrip("\n"))
