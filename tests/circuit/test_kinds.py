"""Kinds of parts: case by case, and what must not change them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.circuit.kinds import Kind
from nettrace.model.notes import Notes
from tests.circuit.case_file import Case, read_cases
from tests.circuit_language import circuit

CASES = read_cases("kinds")


@pytest.mark.parametrize("case", CASES, ids=[case.title for case in CASES])
def test_case(case: Case) -> None:
    kinds = circuit(case.netlist).kinds
    assert case.expected
    for line in case.expected:
        refdes, _, wanted = line.partition(" ")
        found = kinds[refdes]
        text = found.kind.value
        if wanted.endswith(" ohms"):
            assert found.ohms is not None
            text += f" {found.ohms:g} ohms"
        elif "ohms" in wanted:
            text += f" {found.ohms:g} ohms {'fitted' if found.fitted else 'not fitted'}"
        elif wanted.endswith("fitted"):
            text += " fitted" if found.fitted else " not fitted"
        assert text == wanted, (refdes, found)
        assert found.because
        assert 0 < found.score <= 1


def test_a_note_beats_the_value_and_the_attribute() -> None:
    text = "R1 A B 10k DNP\nR2 A B 10k\nR3 A B 10k"
    notes = Notes(values={"R3": "22k"}, not_fitted=("R2",), fitted=("R1",))
    kinds = circuit(text, notes=notes).kinds
    assert kinds["R1"].fitted
    assert not kinds["R2"].fitted
    assert kinds["R3"].ohms == 22e3


def test_a_part_that_says_nothing_is_unknown() -> None:
    kind = circuit("ZQX9 A B C").kinds["ZQX9"]
    assert kind.kind is Kind.UNKNOWN
    assert kind.score == 0


LINES = CASES[0].netlist.splitlines()


@given(st.permutations(LINES))
def test_order_of_parts_changes_no_kind(lines: list[str]) -> None:
    assert dict(circuit("\n".join(lines)).kinds) == dict(circuit("\n".join(LINES)).kinds)


@pytest.mark.parametrize(
    ("line", "kind"),
    [
        # what the value says against the letter: 0R on a coil's pads is a link, 600R a bead
        ("L1 A B 0R", Kind.RESISTOR),
        ("FB1 A B 0R", Kind.RESISTOR),
        ("L1 A B 600R", Kind.FERRITE),
        ("FB1 A B 600R", Kind.FERRITE),
        ("L1 A B 600R@100MHz", Kind.FERRITE),
        ("R1 A B 600R@100MHz", Kind.FERRITE),
        ("R1 A B 100nF", Kind.CAPACITOR),
        ("C1 A B 10uH", Kind.INDUCTOR),
        ("R1 #1=A #2=B #3=C #4=D @R_Array_Convex_2x0402", Kind.RESISTOR_ARRAY),
        ("L1 #1=A #2=B #3=C #4=D : 100uH", Kind.COMMON_MODE_CHOKE),
    ],
)
def test_the_value_speaks_against_the_letter(line: str, kind: Kind) -> None:
    (found,) = circuit(line).kinds.values()
    assert found.kind is kind, found.because
