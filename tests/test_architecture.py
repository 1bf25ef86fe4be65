"""The house's walls: which room may import which, where third-party packages are met, who prints.

The table is data; a row that matches no folder fails too, so that it cannot grow stale.
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import networkx as nx
import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "nettrace"

#: Room -> the rooms it may import (its own always). A room is a folder or a top-level module.
ROOMS: dict[str, frozenset[str]] = {
    "errors": frozenset(),
    "version": frozenset(),
    "cache": frozenset(),
    "collector": frozenset(),
    "knowledge": frozenset({"errors"}),
    "values": frozenset({"errors"}),
    "model": frozenset({"errors", "collector"}),
    "readers": frozenset({"model", "values", "errors", "version", "collector"}),
    "writers": frozenset({"model", "values", "errors", "version"}),
    "circuit": frozenset({"model", "values", "errors"}),
    "electrical": frozenset({"circuit", "model", "values", "errors"}),
    "bench": frozenset({"electrical", "circuit", "model", "values", "errors", "version"}),
    "loading": frozenset({"readers", "circuit", "model", "values", "errors"}),
    "answers": frozenset({"bench", "electrical", "circuit", "model", "errors"}),
    "views": frozenset(
        {"answers", "bench", "electrical", "circuit", "model", "values", "errors", "version"}
    ),
    "api": frozenset(
        {"answers", "views", "bench", "electrical", "circuit", "model", "values", "errors",
         "readers", "writers", "loading"}
    ),
    "job": frozenset(
        {"answers", "views", "bench", "circuit", "model", "errors", "readers", "loading"}
    ),
    "cli": frozenset(
        {"views", "bench", "electrical", "circuit", "model", "values", "errors", "version",
         "readers", "writers", "loading", "answers", "api", "job", "cache"}
    ),
    "__init__": frozenset(
        {"answers", "api", "bench", "circuit", "errors", "job", "loading", "model", "version"}
    ),
    "__main__": frozenset({"cli"}),
}  # fmt: skip

#: Rooms that any room may import.
FOR_ALL = frozenset({"knowledge"})

#: Single arrows against the table, each with its reason: (module, imported module).
ALLOWED = {
    # the verdict on a bus line's pull-ups needs the bus's electrical window, and nothing else
    ("circuit.buses", "electrical.bus_limits"),
}

#: Package -> the places where it may be imported, as module prefixes.
THIRD_PARTY: dict[str, tuple[str, ...]] = {
    "click": ("cli.",),
    "PIL": ("views.",),
    "pyparsing": ("values.part_value",),
    "graphviz": ("views.",),
    "graphviz_pure": ("views.",),
    "lark": ("readers.",),
    "networkx": ("model.graph", "writers.graphml"),
    "rich": ("views.",),
    "scipy": ("electrical.", "bench.match"),
    "numpy": ("electrical.", "views.", "bench."),
    "msgspec": (
        "answers",
        "job",
        "model.",
        "circuit.",
        "writers.",
        "readers.",
        "bench.",
        "loading",
        "views.",
    ),
    "platformdirs": ("loading", "cli.", "bench.", "model.", "cache"),
}

#: Modules, as prefixes, that may print or open files for writing.
MAY_WRITE = ("cache", "cli.", "views.", "writers.", "bench.job", "loading")


def modules() -> Iterator[tuple[str, ast.Module]]:
    for path in sorted(PACKAGE.rglob("*.py")):
        name = ".".join(path.relative_to(PACKAGE).with_suffix("").parts)
        yield name, ast.parse(path.read_text(encoding="utf-8"))


def imports(tree: ast.Module) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            assert node.module is not None
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def room_of(module: str) -> str:
    return module.split(".", maxsplit=1)[0]


def arrows_against(
    found: Iterator[tuple[str, ast.Module]], rooms: dict[str, frozenset[str]]
) -> list[str]:
    """Return every import that the table does not allow, as text."""
    wrong = []
    for module, tree in found:
        own = room_of(module)
        targets = {
            name.removeprefix("nettrace.") for name in imports(tree) if name.startswith("nettrace.")
        }
        for target in sorted(targets):
            there = room_of(target)
            allowed_rooms = rooms.get(own, frozenset()) | FOR_ALL
            if there not in rooms or there == own or there in allowed_rooms:
                continue
            if any(
                module == allowed and (target == to or target.startswith(f"{to}."))
                for allowed, to in ALLOWED
            ):
                continue
            wrong.append(f"nettrace.{module} imports nettrace.{target}")
    return wrong


def test_every_import_follows_the_table() -> None:
    assert arrows_against(modules(), ROOMS) == []


def test_every_room_has_a_row_and_every_row_a_room() -> None:
    rooms = {room_of(name) for name, _ in modules()}
    rooms |= {path.name for path in PACKAGE.iterdir() if (path / "__init__.py").is_file()}
    assert rooms == set(ROOMS)


def circles(found: Iterator[tuple[str, ast.Module]]) -> list[set[str]]:
    """Return the groups of modules that import one another, also for types or in functions."""
    trees = dict(found)
    arrows: nx.DiGraph[str] = nx.DiGraph()
    for module, tree in trees.items():
        for node in ast.walk(tree):
            names: list[str] = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom) and node.module is not None:
                whole = node.module.removeprefix("nettrace.")
                inner = [f"{whole}.{alias.name}".removeprefix("nettrace.") for alias in node.names]
                names = [name if name in trees else whole for name in inner]
            for name in names:
                # a package is its __init__
                target = name if name in trees else f"{name}.__init__"
                if target in trees and target != module:
                    arrows.add_edge(module, target)
    return [group for group in nx.strongly_connected_components(arrows) if len(group) > 1]


def test_no_modules_import_one_another_in_a_circle() -> None:
    assert circles(modules()) == []


def test_the_check_sees_a_circle() -> None:
    texts = {
        "model.a": "def f():\n    from nettrace.model.b import g\n",
        "model.b": "if TYPE_CHECKING:\n    from nettrace.model import c\n",
        "model.c": "from nettrace.model.a import f\n",
        "model.d": "from nettrace.model.a import f\n",
    }
    found = circles((name, ast.parse(text)) for name, text in texts.items())
    assert found == [{"model.a", "model.b", "model.c"}]


def test_the_check_sees_an_arrow_that_is_not_in_the_table() -> None:
    tree = ast.parse("def f():\n    from nettrace.circuit.buses import infer_buses\n")
    assert arrows_against(iter([("model.board", tree)]), ROOMS) == [
        "nettrace.model.board imports nettrace.circuit.buses",
        "nettrace.model.board imports nettrace.circuit.buses.infer_buses",
    ]


def test_third_party_packages_are_met_in_their_own_rooms() -> None:
    wrong = []
    standard = sys.stdlib_module_names
    for module, tree in modules():
        for name in {full.split(".", maxsplit=1)[0] for full in imports(tree)}:
            if name == "nettrace" or name in standard:
                continue
            if not f"{module}.".startswith(tuple(f"{p.rstrip('.')}." for p in THIRD_PARTY[name])):
                wrong.append(f"nettrace.{module} imports {name}")
    assert wrong == []


def test_no_star_import_and_no_print_outside_what_is_shown() -> None:
    wrong = []
    for module, tree in modules():
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and any(a.name == "*" for a in node.names):
                wrong.append(f"{module}:{node.lineno}: star import")
            if f"{module}.".startswith(MAY_WRITE):
                continue
            if isinstance(node, ast.Call) and writes(node):
                wrong.append(f"{module}:{node.lineno}: prints, or opens a file for writing")
    assert wrong == []


WRITING_MODE = re.compile(r"[wax][bt+]{0,2}|r[bt]?\+[bt]?")


def writes(call: ast.Call) -> bool:
    """Return whether a call prints, or writes a file."""
    function = call.func
    if isinstance(function, ast.Name) and function.id == "print":
        return True
    if isinstance(function, ast.Attribute) and function.attr in {"write_text", "write_bytes"}:
        return True
    name = function.id if isinstance(function, ast.Name) else getattr(function, "attr", "")
    modes = [*call.args, *(word.value for word in call.keywords if word.arg == "mode")]
    return name == "open" and any(
        isinstance(mode, ast.Constant)
        and isinstance(mode.value, str)
        and WRITING_MODE.fullmatch(mode.value)
        for mode in modes
    )


@pytest.mark.parametrize(
    "text", ["print(1)", "open(p, 'w')", "p.open(mode='ab')", "p.write_text('x')"]
)
def test_the_check_sees_writing(text: str) -> None:
    call = ast.parse(text, mode="eval").body
    assert isinstance(call, ast.Call)
    assert writes(call)
