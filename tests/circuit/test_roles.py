"""Roles, rule by rule, in the five-line netlist; what the user notes; words; order; growth."""

from __future__ import annotations

import re
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Role
from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles import infer_roles, rules_for, vocabulary
from nettrace.circuit.roles.site import Rule
from nettrace.model.notes import Notes
from tests.circuit.case_file import Case, read_cases
from tests.circuit.test_growth import cells
from tests.circuit_language import circuit

CASES = read_cases("roles")
ROLES = vocabulary()

BUS = """R1 SDA +1V8 2k2
R2 SCL +1V8 2k2
U1 SDA=SDA SCL=SCL VDD=+1V8 GND=GND
C1 +1V8 GND 100n"""


@pytest.mark.parametrize("case", CASES, ids=[case.title for case in CASES])
def test_case(case: Case) -> None:
    found = circuit(case.netlist)
    assert case.expected
    wrong = []
    for line in case.expected:
        claim, _, reason = line.partition(" ; ")
        key, _, role = claim.partition(" ")
        roles = found.roles(key)
        if roles[0].role != role:
            wrong.append(f"{key} {role}, found {[(r.role, r.score) for r in roles[:3]]}")
        elif reason and not any(reason in text for text in roles[0].because):
            wrong.append(f"{key} {role} without '{reason}': {roles[0].because}")
    assert wrong == []


def test_the_cases_reach_every_word_that_a_rule_gives() -> None:
    reached = {
        line.partition(" ; ")[0].partition(" ")[2] for case in CASES for line in case.expected
    }
    assert set(ROLES) - reached == set()


def test_the_vocabulary_has_no_word_twice() -> None:
    assert len(ROLES) == len(set(ROLES))


def test_a_note_beats_every_rule_and_what_was_inferred_follows() -> None:
    found = circuit(BUS, notes=Notes(roles={"R1": "termination"}))
    roles = found.roles("R1")
    assert roles[0] == Role("termination", 1.0, ("user's note",))
    assert [role.role for role in roles].count("termination") == 1
    assert roles[1].role == "pull-up"
    assert circuit(BUS, notes=Notes(roles={"R*": "bleeder"})).roles("R2")[0].role == "bleeder"


def asked(found: Circuit, key: str, *rules: Rule) -> list[str]:
    """Return what these rules alone say of a part."""
    part = found.board.part_by_key[key]
    return [role.role for role in infer_roles(found.survey, Notes(), part, frozenset(), rules)]


def test_where_no_rule_speaks_the_role_is_unknown_alone() -> None:
    assert asked(circuit(BUS), "R1") == ["unknown"]


def test_every_candidate_has_a_score_a_reason_and_a_word_of_the_vocabulary() -> None:
    for case in CASES:
        found = circuit(case.netlist)
        for part in found.board.parts:
            roles = found.roles(part.key)
            assert roles
            scores = [role.score for role in roles]
            assert scores == sorted(scores, reverse=True)
            for role in roles:
                assert role.role in ROLES
                assert 0 <= role.score <= 1
                assert role.because
                assert all(role.because)


def test_a_rule_stops_no_other() -> None:
    found = circuit(BUS)
    together = {role.role for role in found.roles("R1")}
    for rule in rules_for(Kind.RESISTOR):
        assert set(asked(found, "R1", rule)) - {"unknown"} <= together


@given(st.permutations(BUS.splitlines()))
def test_the_order_of_the_lines_changes_no_role(lines: list[str]) -> None:
    found = circuit("\n".join(lines))
    for key in ("R1", "R2", "C1", "U1"):
        assert found.roles(key) == circuit(BUS).roles(key)


@given(st.permutations(["p1", "p2", "p3", "p4", "p5"]))
def test_renaming_signals_changes_no_role_that_no_name_speaks_for(names: list[str]) -> None:
    text = """U1 1=+5V 2={0} 3={1} 4=GND
L1 {0} {2} 4u7
R1 {2} {1} 52k3
R2 {1} GND 10k
C1 {2} GND 22u
C2 {2} GND 22u
C3 +5V GND 10u
R3 {3} {4} 22R
U2 1={3} 2={2} 3=GND
U3 1={4} 2={2} 3=GND"""
    found = circuit(text.format(*names))
    assert found.roles("L1")[0].role == "switching inductor"
    assert found.roles("R1")[0].role == "feedback divider (upper)"
    assert found.roles("R2")[0].role == "feedback divider (lower)"
    assert found.roles("R3")[0].role == "series resistor"


def test_roles_of_all_parts_grow_with_the_board_and_not_with_its_square() -> None:
    """Four times the parts: linear is 4 times the processor's time, a square 16."""

    def seconds(count: int) -> float:
        best = float("inf")
        for _ in range(3):
            found = cells(count)
            assert found.pulls
            assert found.buses is not None
            start = time.process_time()
            for part in found.board.parts:
                found.roles(part.key)
            best = min(best, time.process_time() - start)
        return best

    seconds(10)  # patterns are compiled once
    few, many = seconds(60), seconds(240)
    print(f"\nroles: {few:.3f} s for 600 parts, {many:.3f} s for 2400: {many / few:.1f} times")
    assert many / few < 8


def test_reasons_are_written_for_people() -> None:
    roles = circuit(BUS).roles("R1")
    assert roles[0].because[0] == "from SDA to +1V8, a rail of 1.8 V"
    assert "its twin R2 does the same on SCL" in roles[0].because
    assert not any(re.search(r"None|Kind\.|\[|\{", text) for role in roles for text in role.because)
