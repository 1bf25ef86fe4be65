"""The table of roles: every row is whole, every rule is asked, docs and schemas say the same."""

from __future__ import annotations

import ast
import json
import re
from pkgutil import resolve_name

import pytest

from nettrace.circuit.evidence import Severity
from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles import row_of, rules_for, vocabulary
from nettrace.circuit.roles.site import says
from nettrace.knowledge import table
from tests.conftest import ROOT

CIRCUIT = ROOT / "nettrace" / "circuit"
FAMILIES = ("capacitors", "chips", "others", "resistors")
ROWS = table("roles")["roles"]
JUDGED = table("absence")["judgements"]


@pytest.mark.parametrize("role", vocabulary())
def test_a_row_says_what_stops_without_the_part(role: str) -> None:
    row = row_of(role)
    assert row["does"]
    if "effect" in row:
        assert Severity(row["severity"])
        assert "without" not in row
    elif role != "unknown":
        assert row["without"]
    for name in row.get("without", ()):
        assert callable(resolve_name(f"nettrace.circuit.{name.replace('.', ':')}"))


def test_every_kind_is_a_kind_and_every_rule_of_a_family_is_asked_of_some() -> None:
    asked = table("roles")["asked"]
    assert set(asked) - {kind.value for kind in Kind} == {"every kind"}
    assert all(rules_for(kind) for kind in Kind)
    named = {name for names in asked.values() for name in names}
    rules = set()
    for family in FAMILIES:
        tree = ast.parse((CIRCUIT / "roles" / f"{family}.py").read_text("utf-8"))
        for each in tree.body:
            if isinstance(each, ast.FunctionDef) and not each.name.startswith("_"):
                arguments = [argument.annotation for argument in each.args.args]
                if [ast.unparse(note) for note in arguments if note] == ["Site"]:
                    rules.add(f"{family}.{each.name}")
    assert rules == named


def test_every_judgement_of_the_table_is_given_by_a_rule_and_every_one_given_is_in_it() -> None:
    said: set[str] = set()
    for path in CIRCUIT.glob("absence*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Constant) and node.value in JUDGED:
                said.add(str(node.value))
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "tell":
                row = node.args[0]
                assert not isinstance(row, ast.Constant) or row.value in JUDGED
    said |= {f"pull-{way} lost{unseen}" for way in ("up", "down") for unseen in ("", ", unseen")}
    assert said == set(JUDGED)
    assert all(Severity(severity) and effects for severity, *effects in JUDGED.values())


def test_every_word_that_a_rule_or_a_table_gives_is_of_the_vocabulary() -> None:
    roles = table("roles")
    given = {role for rows in roles["plain"].values() for role, *_ in rows}
    given |= {role for _, role in roles["plugged"]["rows"]}
    for section in ("pins", "lines"):
        rows = table("chips")[section]
        given |= {row[0] for row in rows.get("sets", rows.get("roles"))}
    given |= set(table("chips")["families"]) | set(table("chips")["descriptions"])
    findings = [table("findings")[key] for key in table("findings") if key != "source"]
    given |= {role for rows in findings for row in rows.values() for role, *_ in row}
    assert given <= set(vocabulary())
    assert len({name for rows in findings for name in rows}) == sum(map(len, findings))


def test_every_class_of_words_that_is_asked_for_is_in_the_table_and_no_other_is() -> None:
    asked = {row[0] for rows in table("lines")["floating"].values() for row in rows} - {"bus"}
    asked |= {what for row in table("chips")["lines"]["roles"] for what in row[4]}
    for path in (*CIRCUIT.glob("absence*.py"), *(CIRCUIT / "roles").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant):
                name = getattr(node.func, "id", getattr(node.func, "attr", ""))
                asked |= {str(node.args[0].value)} if name == "says" else set()
    asked |= {"configuration"}  # one of several that a pull's line is asked for in a loop
    assert asked == {*table("lines")["words"], *table("lines")["patterns"]}
    assert not any(says(what, "") for what in asked)


def test_the_page_of_roles_says_what_the_table_says() -> None:
    text = (ROOT / "docs" / "roles.md").read_text(encoding="utf-8")
    found: dict[str, tuple[str, str]] = {}
    section = ""
    for line in text.splitlines():
        section = line.removeprefix("## ") if line.startswith("## ") else section
        if line.startswith("| `"):
            names, does = (cell.strip() for cell in line.strip("| ").split("|"))
            found |= dict.fromkeys(re.findall(r"`([^`]+)`", names), (section, does))
    assert found == {row["word"]: (row["section"], row["does"]) for row in ROWS}


def test_the_schemas_name_the_roles_of_the_table() -> None:
    text = (ROOT / "docs" / "schemas" / "common.json").read_text(encoding="utf-8")
    lists: list[list[str]] = []

    def look(value: object) -> None:
        if isinstance(value, dict):
            if "pull-up" in value.get("enum", ()):
                lists.append(value["enum"])
            for each in value.values():
                look(each)
        elif isinstance(value, list):
            for each in value:
                look(each)

    look(json.loads(text))
    assert lists
    assert all(sorted(words) == sorted(vocabulary()) for words in lists)
