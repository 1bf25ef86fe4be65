"""Comparison as partitions of the same pins; checked against the shared truth of real boards."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.bench.compare import Comparison, compare_boards
from nettrace.model.board import Board
from nettrace.model.builder import BoardBuilder
from nettrace.readers.document import Document
from nettrace.readers.registry import read_file, read_text


def board(nets: dict[str, list[str]], path: str = "a.net") -> Board:
    builder = BoardBuilder(path, "kicad_net")
    drafts = {}
    for net, pins in nets.items():
        for pin in pins:
            refdes, _, number = pin.partition(".")
            if refdes not in drafts:
                drafts[refdes] = builder.part(refdes)
            drafts[refdes].pin(number, net or None)
    return builder.build()


BASE = {"SDA": ["R1.1", "U1.4", "U2.4"], "VDD": ["R1.2", "U1.1"], "GND": ["U1.2", "U2.2"]}


def test_names_of_nets_do_not_count() -> None:
    renamed = {f"n{index}": pins for index, pins in enumerate(BASE.values())}
    assert compare_boards(board(BASE), board(renamed)).same


def test_an_open_names_the_groups() -> None:
    other = {**BASE, "SDA": ["R1.1", "U1.4"], "SDA2": ["U2.4"]}
    found = compare_boards(board(BASE), board(other))
    assert not found.same
    assert [(o.net, [[str(p) for p in g] for g in o.groups]) for o in found.opens] == [
        ("SDA", [["R1.1", "U1.4"], ["U2.4"]])
    ]
    assert found.shorts == ()


def test_a_short_names_the_nets_and_mirrors_an_open() -> None:
    other = {"X": BASE["SDA"] + BASE["VDD"], "GND": BASE["GND"]}
    found = compare_boards(board(BASE), board(other))
    assert [short.nets for short in found.shorts] == [("SDA", "VDD")]
    mirrored = compare_boards(board(other), board(BASE))
    assert [o.net for o in mirrored.opens] == ["X"]


def test_missing_and_extra_parts_are_those_with_a_connection() -> None:
    other = {"SDA": ["U1.4", "U2.4"], "VDD": ["U1.1"], "GND": ["U1.2", "U2.2", "C9.1"]}
    found = compare_boards(board(BASE), board(other))
    assert (found.missing_parts, found.extra_parts) == (("R1",), ("C9",))


def test_repeated_references_are_left_out() -> None:
    builder = BoardBuilder("a.kicad_pcb", "kicad_pcb")
    for net in ("A", "B"):
        builder.part("H").pin("1", net)
    twice = builder.build()
    assert compare_boards(twice, board({"A": ["H.1"]})).same


PINS = [f"U{part}.{pin}" for part in (1, 2) for pin in range(1, 5)]
partitions = st.lists(st.integers(0, 4), min_size=len(PINS), max_size=len(PINS)).map(
    lambda groups: {
        f"n{group}": [pin for pin, own in zip(PINS, groups, strict=True) if own == group]
        for group in sorted(set(groups))
    }
)


@given(partitions, partitions)
def test_compare_mirrors_and_agrees_with_brute_force(
    first: dict[str, list[str]], second: dict[str, list[str]]
) -> None:
    a, b = board(first), board(second)
    forth, back = compare_boards(a, b), compare_boards(b, a)
    assert compare_boards(a, a).same
    assert (
        forth.same
        == back.same
        == (sorted(map(sorted, first.values())) == sorted(map(sorted, second.values())))
    )
    assert len(forth.opens) == len(back.shorts)
    assert len(forth.shorts) == len(back.opens)


@pytest.mark.parametrize(
    "name",
    ["zswatch-devkit", "teres-keyboard", "sensor-watch-b1", "bbq20kbd", "hackrf-marzipan",
     "teres-main", "teres-io", "reform2-trackball"],
)  # fmt: skip
def test_real_boards_agree_where_the_truth_says_so(boards: Path, name: str) -> None:
    # source: cross-checks of the truth files (computed independently of nettrace)
    truth = json.loads((boards / "truth" / f"{name}.json").read_text())
    compared = 0
    for cross in truth["cross"]:
        first, second = cross["between"]
        if not all(path.endswith((".kicad_pcb", ".net", ".d356")) for path in (first, second)):
            continue
        if "groups_identical" not in cross:
            continue
        found = compare_boards(read_file(boards / first), read_file(boards / second))
        same = cross["groups_identical"] == cross["groups_first"] == cross["groups_second"]
        assert (not found.opens and not found.shorts) == same, (first, second)
        compared += 1
    assert compared


def test_a_design_change_shows_as_what_it_is(boards: Path) -> None:
    # source: boards/README.md: the board gained F1, FB1, D6, U3 between J1 and the rest
    folder = boards / "reform2-trackball"
    found = compare_boards(
        read_file(folder / "reform2-trackball.kicad_pcb"),
        read_file(folder / "reform2-trackball.net"),
    )
    assert set(found.missing_parts) == {"D6", "F1", "FB1", "U3"}
    assert ("+5V", "/5V_IN") in [short.nets for short in found.shorts]


def test_a_deck_is_the_same_as_itself_and_as_the_board_whose_names_it_changed() -> None:
    """Positions in a deck are pins of that deck; against others, names of ports and terminals."""
    deck = (
        "t\nXU1 OUT IN GND REG\nD1 OUT GND LED5\nX2 OUT IN SOCKET\nR1 OUT IN 1k\n"
        ".subckt REG VO VI GND\n.ends\n.model LED5 D(n=3)\n.end\n"
    )
    read = read_text(Document("a.cir", deck))
    assert compare_boards(read, read) == Comparison((), (), (), ())
    builder = BoardBuilder("b", "kicad_net")
    drawing: dict[str, dict[str, tuple[str | None, str]]] = {
        "U1": {"1": ("VI", "IN"), "2": ("GND", "GND"), "3": ("VO", "OUT")},
        "D1": {"1": ("K", "GND"), "2": ("A", "OUT")},
        "X2": {"1": (None, "OUT"), "2": (None, "IN")},
        "R1": {"1": (None, "OUT"), "2": (None, "IN")},
    }
    for refdes, pins in drawing.items():
        part = builder.part(refdes)
        for number, (name, net) in pins.items():
            part.pin(number, net, name=name)
    drawn = builder.build()
    assert compare_boards(drawn, read) == Comparison((), (), (), ())
    assert compare_boards(read, drawn) == Comparison((), (), (), ())
    turned = read_text(Document("a.cir", deck.replace("D1 OUT GND", "D1 GND OUT")))
    assert compare_boards(drawn, turned).same is False
