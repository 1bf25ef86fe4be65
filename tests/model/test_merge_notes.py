"""Notes of a manifest against the files: what disagrees, and what the board does not have."""

from __future__ import annotations

from nettrace.errors import Place
from nettrace.model.board import Board
from nettrace.model.builder import BoardBuilder
from nettrace.model.merge import plain_same_value
from nettrace.model.notes import Notes, RailNote, check_notes

AT = Place("board.toml", 3, 1)


def board() -> Board:
    builder = BoardBuilder("a.net", "kicad_net")
    part = builder.part("R1", Place("a.net", 7, 1))
    part.value, part.fitted = "10k", True
    part.pin("1", "VDD")
    part.pin("2", "GND")
    builder.net("VDD", place=Place("a.net", 9, 1), volts=3.3)
    return builder.build()


def test_a_note_that_contradicts_a_file_is_kept_and_both_places_named() -> None:
    notes = Notes(
        values={"R1": "22k"}, not_fitted=("R1",),
        places={("values", "R1"): AT, ("not_fitted", "R1"): AT},
    )  # fmt: skip
    conflicts, warnings = check_notes(board(), notes, plain_same_value)
    assert [(c.code, c.subject, c.kept) for c in conflicts] == [
        ("value-differs", "R1", "22k"),
        ("fitted-differs", "R1", "not fitted"),
    ]
    assert [[str(s.place) for s in c.statements] for c in conflicts] == [
        ["board.toml:3:1", "a.net:7:1"],
    ] * 2
    assert warnings == []


def test_a_note_of_the_command_line_has_no_place_and_is_not_checked() -> None:
    notes = Notes(values={"R1": "22k", "R9": "1k"}, roles={"R9": "x"}, rails={"X": RailNote(1.0)})
    assert check_notes(board(), notes, plain_same_value) == ([], [])


def test_a_note_about_what_is_not_there_is_told() -> None:
    notes = Notes(
        roles={"R9": "pull-up", "R1": "pull-up"}, rails={"VIN": RailNote(5.0, place=AT)},
        places={("roles", "R9"): AT, ("roles", "R1"): AT},
    )  # fmt: skip
    conflicts, warnings = check_notes(board(), notes, plain_same_value)
    assert conflicts == []
    assert [(w.code, w.message) for w in warnings] == [
        ("note-matches-nothing", "roles: the board has no part R9"),
        ("note-matches-nothing", "rails: the board has no net VIN"),
    ]
