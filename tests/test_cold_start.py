"""What a command loads: a process that answers one question must not import the whole house."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

#: Packages that cost more than the answer, and the rooms that `--help` has no use for.
HEAVY = ("networkx", "scipy", "numpy", "lark", "pyparsing", "graphviz", "lxml", "msgspec")


def loaded(arguments: list[str]) -> tuple[int, set[str], str]:
    """Run the command line in a fresh process; return exit code, modules loaded, stderr."""
    code = (
        "import sys, nettrace.cli.main as m\n"
        f"code = m.main({arguments!r})\n"
        "sys.stderr.write('LOADED ' + ' '.join(sys.modules) + '\\n')\n"
        "sys.exit(code)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False
    )
    lines = done.stderr.splitlines()
    modules = next(line for line in lines if line.startswith("LOADED ")).split()[1:]
    return done.returncode, set(modules), done.stderr


def rooms(modules: set[str]) -> set[str]:
    return {name.split(".")[1] for name in modules if name.startswith("nettrace.")}


def test_help_loads_the_command_line_and_nothing_else() -> None:
    code, modules, _ = loaded(["--help"])
    assert code == 0
    assert rooms(modules) == {"cli", "knowledge", "version"}
    assert not modules.intersection((*HEAVY, "rich", "json"))


def test_a_commands_help_loads_no_reader_and_no_pass() -> None:
    code, modules, _ = loaded(["net", "--help"])
    assert code == 0
    assert not modules.intersection((*HEAVY, "rich"))
    # errors are data that writing a warning needs; boards, circuits and views with rich are not
    assert rooms(modules) <= {"cli", "knowledge", "errors", "version", "views", "model"}


@pytest.mark.parametrize("as_json", [True, False])
def test_a_net_query_loads_none_of_the_heavy_packages(wren: Path, as_json: bool) -> None:
    words = ["net", str(wren / "wren.kicad_pcb"), "GND", *(["--json"] if as_json else [])]
    code, modules, stderr = loaded(words)
    assert code == 0, stderr
    # a source that is read anew may need its grammar, values with operators theirs; the records of
    # a board are msgspec structs
    assert not modules.intersection(HEAVY) - {"lark", "pyparsing", "msgspec"}
    assert ("rich" in modules) is not as_json  # rich lays out pages, and nothing else


def test_importing_the_package_alone_loads_no_room() -> None:
    code = "import sys, nettrace; print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )
    assert rooms(set(done.stdout.split())) == {"version"}


def test_every_public_name_can_be_had() -> None:
    import nettrace

    for name in nettrace.__all__:
        assert getattr(nettrace, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        _ = nettrace.nonsense
