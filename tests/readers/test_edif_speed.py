"""EDIF: how long reading takes, in proportion (figures: tests/benchmarks/bench_edif.py)."""

from __future__ import annotations

import time

import pytest

from nettrace.readers import edif
from nettrace.readers.document import Document
from tests.benchmarks.bench_edif import floor, made_netlist, measure
from tests.readers.sound_regex import needs_sound_regex

pytestmark = [needs_sound_regex, pytest.mark.timed]


@pytest.mark.slow
def test_reading_stays_near_the_token_floor(monkeypatch: pytest.MonkeyPatch) -> None:
    """Twice the measured ratio: a reader over atoms would be three times beyond it."""
    monkeypatch.setattr(edif, "GRAMMAR_PAYS", 0)
    text = made_netlist(1)
    document = Document("made.edf", text)
    board = edif.read(document)  # builds the grammar
    assert len(board.parts) > 1500
    assert board.warnings == ()
    seconds = measure({"floor": lambda: floor(text), "read": lambda: edif.read(document)}, 3)
    assert seconds["read"] < 8 * seconds["floor"]


@pytest.mark.slow
def test_twice_the_text_takes_about_twice_the_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(edif, "GRAMMAR_PAYS", 0)
    documents = [Document("made.edf", made_netlist(megabytes)) for megabytes in (0.5, 1.0)]
    edif.read(documents[0])
    seconds = []
    for document in documents:
        taken = []
        for _ in range(3):
            start = time.process_time()
            edif.read(document)
            taken.append(time.process_time() - start)
        seconds.append(min(taken))
    assert seconds[1] < 3 * seconds[0]


def test_the_made_netlist_is_always_the_same_and_no_grammar_misses_it() -> None:
    from nettrace.readers.edif_board import build_board
    from nettrace.readers.edif_cells import read_design as read_whole
    from nettrace.readers.edif_forms import read_design as read_forms

    text = made_netlist(0.1)
    assert text == made_netlist(0.1)
    document = Document("made.edf", text)
    assert build_board(document, read_forms(document), "flatten") == build_board(
        document, read_whole(document), "flatten"
    )
