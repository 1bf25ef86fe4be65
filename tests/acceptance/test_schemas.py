"""Every answer has the shape that its JSON Schema states, on files of every format.

The schemas (docs/schemas, draft 2020-12) are checked by the `jsonschema` package. A key that a
schema names must always be there: unknown is null. A key that no schema names fails too, so that
the published shapes cannot fall behind.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from referencing import Registry, Resource

import nettrace
from nettrace.cli.commands import commands, job_commands
from tests.acceptance.conftest import Ask, sample_files, truth_files
from tests.conftest import ROOT

SCHEMAS = ROOT / "docs" / "schemas"
LOADED = {path.stem: json.loads(path.read_text("utf-8")) for path in sorted(SCHEMAS.glob("*.json"))}


def closed(schema: Any) -> Any:
    """Return the schema with no further keys allowed in any object."""
    if isinstance(schema, list):
        return [closed(item) for item in schema]
    if not isinstance(schema, dict):
        return schema
    found = {key: closed(value) for key, value in schema.items()}
    if "allOf" in found or found.get("type") == "object":
        found.setdefault("unevaluatedProperties", False)
    return found


def opened(schema: Any) -> Any:
    """Return a member of `allOf` with further keys allowed: the whole closes itself."""
    return {key: value for key, value in schema.items() if key != "unevaluatedProperties"}


def strict(schemas: dict[str, Any]) -> Registry[Any]:
    """Return a registry of closed schemas; shapes that others extend stay open on their own."""
    common = closed(schemas["common"])
    for name in ("pad", "near", "net_facts", "part", "one_reading"):
        common["$defs"][name] = opened(common["$defs"][name])
    resources = {"common": common} | {
        name: closed(schema) for name, schema in schemas.items() if name != "common"
    }
    for schema in resources.values():
        _open_members(schema)
    return Registry().with_resources(
        [(f"{name}.json", Resource.from_contents(schema)) for name, schema in resources.items()]
    )


def _open_members(schema: Any) -> None:
    if isinstance(schema, list):
        for item in schema:
            _open_members(item)
    elif isinstance(schema, dict):
        for member in schema.get("allOf", ()):
            member.pop("unevaluatedProperties", None)
        for value in schema.values():
            _open_members(value)


REGISTRY = strict(LOADED)


#: Of a longer list, so many items are looked at, evenly spread.
MOST_ITEMS = 25


def thinned(answer: Any) -> Any:
    """Return the answer with long lists cut: a check of every pin of a processor tells no more."""
    if isinstance(answer, dict):
        return {key: thinned(value) for key, value in answer.items()}
    if isinstance(answer, list):
        return [thinned(item) for item in answer[:: max(1, len(answer) // MOST_ITEMS)]]
    return answer


def check(answer: dict[str, Any]) -> list[str]:
    """Return what is wrong with an answer, in words; its second key says which schema it has."""
    key = next(name for name in answer if name not in {"nettrace", "warnings"})
    schema = REGISTRY.get_or_retrieve(f"{key}.json").value.contents
    validator = Draft202012Validator(schema, registry=REGISTRY)
    return [
        f"{key}{error.json_path.removeprefix('$')}: {error.message[:200]}"
        for error in validator.iter_errors(thinned(answer))
    ]


def test_the_schemas_are_schemas() -> None:
    assert {"summary", "net", "part", "pad", "area", "rails", "buses", "paths"} <= set(LOADED)
    for schema in LOADED.values():
        Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda answer: answer["net"].pop("volts"), "'volts' is a required property"),
        (lambda answer: answer["net"]["pins"][0].pop("x"), "'x' is a required property"),
        (lambda answer: answer["net"].update(more=1), "'more' was unexpected"),
        (lambda answer: answer["net"].update(kind="wire"), "'wire' is not one of"),
    ],
)
def test_the_check_sees_a_wrong_answer(ask: Ask, change: Any, message: str) -> None:
    answer = ask("net", sample_files()[-1].parent / "wren.net", "TS", "--json").json
    assert check(answer) == []
    change(answer)
    assert any(message in wrong for wrong in check(answer)), check(answer)


def files(boards: Path) -> Iterator[Path]:
    yield from (boards / str(entry["file"]) for entry in truth_files())
    yield from sample_files()


def questions(ask: Ask, path: Path) -> Iterator[tuple[object, ...]]:
    """Yield what to ask of a file: all of its nets and parts, a few places and readings."""
    yield from (("summary", path), ("rail", path), ("bus", path), ("net", path, "*"))
    yield ("part", path, "*")
    parts = ask("part", path, "*", "--json").json["parts"]
    placed = [part for part in parts if part["x"] is not None and part["refdes"]]
    pinned = [part for part in parts if part["pins"] and part["refdes"]]
    for part in pinned[:: max(1, len(pinned) // 3)]:
        pin = f"{part['refdes']}.{part['pins'][0]['pin']}"
        yield ("part", path, "--", part["key"])
        yield ("pad", path, "--", pin)
        yield ("reading", path, "--", pin)
    for part in placed[:: max(1, len(placed) // 2)]:
        yield ("area", path, "--around", part["key"], "--radius", "3")
        yield ("pad", path, "--at", f"{part['x']},{part['y']}")
    if placed:
        yield ("area", path, "--outline", "0,0 200,0 200,-200 0,-200")
    nets = ask("summary", path, "--json").json["summary"]["rails"]
    for net in nets[:2]:
        yield ("net", path, "--", net["name"])
        yield ("path", path, "--", net["name"], nets[-1]["name"])
    yield ("reading", path, "--power")
    yield ("compare", path, path)


@pytest.mark.usefixtures("boards")
@pytest.mark.parametrize("name", [str(entry["file"]) for entry in truth_files()])
def test_answers_of_a_real_file(ask: Ask, boards: Path, name: str) -> None:
    hold(ask, boards / name)


@pytest.mark.parametrize("path", sample_files(), ids=lambda path: path.name)
def test_answers_of_a_sample_file(ask: Ask, path: Path) -> None:
    hold(ask, path)


def hold(ask: Ask, path: Path) -> None:
    asked = 0
    for words in questions(ask, path):
        command, *rest = words
        answer = ask(command, "--json", *rest)
        if answer.out == "":
            several = answer.code == 2 and "means" in answer.err  # a reference that repeats
            assert answer.code == 3 or several, (words, answer.err)
            continue
        assert answer.code in {0, 3}, (words, answer.err)
        assert check(answer.json) == [], words
        asked += 1
    assert asked >= 5


@pytest.mark.parametrize(
    "words",
    [("value", "01C"), ("value", "NA(10K)"), ("value", "brown black red gold"), ("formula",),
     ("formula", "shunt", "ohms=0.01", "amperes=3"), ("value", "22uF 6.3V 20% 0603")],
)  # fmt: skip
def test_answers_without_a_board(ask: Ask, words: tuple[str, ...]) -> None:
    assert check(ask(*words, "--json").json) == []


def test_readings_with_parts_missing_and_changed(ask: Ask) -> None:
    path = sample_files()[-1].parent
    for words in (
        ("R12.2", "--without", "R12,R13"),
        ("BUCK_FB", "--change", "R23=12k"),
        ("+3V3", "--short", "C14"),
        ("TS", "--to", "GND"),
    ):
        assert check(ask("reading", path, *words, "--json").json) == []


def test_a_comparison_that_differs(ask: Ask, boards: Path) -> None:
    folder = boards / "reform2-trackball"
    first, other = folder / "reform2-trackball.kicad_pcb", folder / "reform2-trackball.net"
    answer = ask("compare", first, other, "--json")
    assert answer.code == 1
    assert answer.json["comparison"]["same"] is False
    assert check(answer.json) == []


def test_a_file_that_is_written(ask: Ask, tmp_path: Path) -> None:
    path = sample_files()[-1].parent / "wren.net"
    assert check(ask("convert", path, "-o", tmp_path / "w.json", "--json").json) == []


def test_answers_of_a_job(ask: Ask, tmp_path: Path) -> None:
    job = tmp_path / "wren.job"
    steps: list[tuple[object, ...]] = [
        ("open", job, sample_files()[-1].parent),
        ("mark", job, "missing", "--around", "J3", "--radius", "4"),
        ("mark", job, "lifted", "R13.2"),
        ("loose", job, "--ohms", "2.19k", "--size", "0201"),
        ("match", job),
        ("needs", job),
        ("refit", job),
        ("wire", job),
        ("probe", job),
        ("check", job),
        ("show", job),
        ("undo", job),
    ]
    seen = set()
    for command, *words in steps:
        answer = ask("job", command, *words, "--json")
        assert answer.code in {0, 1}, (command, answer.err)
        assert check(answer.json) == [], command
        seen |= set(answer.json)
    assert {"job", "match", "needs", "refit", "wires", "probes", "check"} <= seen


@pytest.mark.parametrize("words", [("--net", "TS"), ("--placed", "--around", "J3")])
def test_drawings(ask: Ask, tmp_path: Path, words: tuple[str, ...]) -> None:
    board = sample_files()[-1].parent
    answer = ask("draw", board, *words, "-o", tmp_path / "drawing.svg", "--json")
    assert check(answer.json) == []


def test_a_sample_that_is_laid_down(ask: Ask, tmp_path: Path) -> None:
    assert check(ask("sample", "wren", tmp_path, "--json").json) == []


def test_every_answer_of_the_program_has_a_schema() -> None:
    """Every key that a command's answer stands under has its file."""
    calls = (Path(nettrace.__file__).parent / "cli" / "calls.py").read_text("utf-8")
    keys = set(re.findall(r"(?:Reply\(|opened,|circuit,)\s*\"(\w+)\",", calls))
    keys |= {row.row["key"] for row in (*commands(), *job_commands()) if "key" in row.row}
    assert {"summary", "check", "drawing", "meanings"} <= keys
    assert keys <= set(LOADED)
