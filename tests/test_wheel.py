"""The wheel, built from the sdist, works in an environment that has never seen the checkout."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import sysconfig
import tarfile
import venv
import zipfile
from dataclasses import dataclass
from email.parser import Parser
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

pytestmark = pytest.mark.slow


@dataclass(frozen=True)
class Installed:
    """A fresh environment with the wheel in it: its programs, an empty home, a place to work."""

    bin: Path
    work: Path
    home: Path

    def run(self, *words: str) -> subprocess.CompletedProcess[str]:
        env = {
            "PATH": str(self.bin),  # no dot, no git, nothing
            "HOME": str(self.home),
            "LC_ALL": "C.UTF-8",
            **{key: os.environ[key] for key in ("SYSTEMROOT", "TMPDIR") if key in os.environ},
        }
        return subprocess.run(
            [str(self.bin / words[0]), *words[1:]],
            cwd=self.work, env=env, capture_output=True, text=True, encoding="utf-8",
            check=False, timeout=120,
        )  # fmt: skip


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the sdist, and the wheel that was built from it."""
    folder = tmp_path_factory.mktemp("dist")
    done = subprocess.run(
        [sys.executable, "-m", "build", "--no-isolation", "--outdir", str(folder), str(ROOT)],
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return folder


@pytest.fixture(scope="module")
def wheel(built: Path) -> Path:
    (found,) = built.glob("*.whl")
    return found


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Installed:
    folder = tmp_path_factory.mktemp("clean")
    where = folder / "env"
    venv.create(where, with_pip=False)
    bin_folder = where / ("Scripts" if os.name == "nt" else "bin")
    done = subprocess.run(
        [sys.executable, "-m", "pip", "--python", str(bin_folder / "python"), "install", "-q",
         "--no-deps", "--no-index", "--disable-pip-version-check", str(wheel)],
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    # what it depends on is borrowed; the borrowed folder's own .pth files, and with them an
    # editable nettrace, are not followed
    (site,) = where.glob("lib/python*/site-packages") if os.name != "nt" else (where / "Lib",)
    (site / "borrowed.pth").write_text(sysconfig.get_path("purelib") + "\n", encoding="utf-8")
    work, home = folder / "work", folder / "home"
    work.mkdir()
    home.mkdir()
    return Installed(bin_folder, work, home)


def test_the_program_that_runs_is_the_installed_one(installed: Installed) -> None:
    done = installed.run("python", "-c", "import nettrace; print(nettrace.__file__)")
    assert str(installed.bin.parent) in done.stdout, done.stderr


def test_version_stands_in_one_place(installed: Installed, wheel: Path) -> None:
    text = (ROOT / "nettrace" / "version.py").read_text(encoding="utf-8")
    number = re.search(r'"(\d[^"]*)"', text)
    assert number is not None
    assert installed.run("nettrace", "--version").stdout.split()[-1] == number[1]
    assert wheel.name.startswith(f"nettrace-{number[1]}-")
    assert f"## {number[1]}" in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")


def test_the_sample_is_laid_down_and_its_damage_told(installed: Installed) -> None:
    done = installed.run("nettrace", "sample", "wren", "samples", "--force")
    assert done.returncode == 0, done.stderr
    area = ["area", "samples/wren", "--around", "J3", "--radius", "4", "--json"]
    for program in (["nettrace"], ["python", "-m", "nettrace"]):
        done = installed.run(*program, *area)
        assert done.returncode == 0, done.stderr
        parts = json.loads(done.stdout)["area"]["parts"]
        # the damage list of samples/README.md
        assert {"R12", "R13", "R14", "R15", "R16", "C7", "D4"} <= {p["refdes"] for p in parts}


@pytest.mark.parametrize(
    # counts: samples/source/facts.toml; a netlist holds no holes and fiducials without pins
    ("name", "parts"),
    [("wren.edf", 136), ("wren.cir", 136), ("wren-2581.xml", 139)],
)
def test_grammars_and_readers_are_found(installed: Installed, name: str, parts: int) -> None:
    done = installed.run("nettrace", "sample", "wren", "samples", "--force")
    assert done.returncode == 0, done.stderr
    done = installed.run("nettrace", "summary", f"samples/formats/{name}", "--json", "--no-cache")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["summary"]["counts"]["parts"] == parts


def test_a_job_and_a_drawing_without_dot(installed: Installed) -> None:
    installed.run("nettrace", "sample", "wren", "samples", "--force")
    done = installed.run("nettrace", "job", "open", "wren.job", "samples/wren")
    assert done.returncode == 0, done.stderr
    place = ["--around", "J3", "--radius", "4"]
    done = installed.run("nettrace", "draw", "samples/wren", *place, "-o", "area.dot", "--force")
    assert done.returncode == 0, done.stderr
    assert "R12" in (installed.work / "area.dot").read_text(encoding="utf-8")


def test_the_wheel_holds_what_it_should_and_no_more(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())
        (metadata,) = [name for name in names if name.endswith("/METADATA")]
        fields = Parser().parsestr(archive.read(metadata).decode("utf-8"))
    assert "nettrace/py.typed" in names
    ours = {p.name for p in (ROOT / "grammars").glob("*.lark")}
    assert {f"nettrace/_grammars/{name}" for name in ours} <= names
    assert "nettrace/_samples/wren/wren.kicad_pcb" in names
    assert "nettrace/_schemas/common.json" in names
    assert not [n for n in names if n.startswith(("tests/", "docs/", "nettrace/_samples/source"))]
    packaged = {name for name in names if name.startswith("nettrace/") and name.count("/_") == 0}
    for path in (ROOT / "nettrace").rglob("*"):
        if path.is_file() and "__pycache__" not in path.parts and not path.name.startswith("_"):
            assert path.relative_to(ROOT).as_posix() in packaged
    assert fields["Requires-Python"] == ">=3.11"
    assert fields["License-Expression"] == "MIT"


def test_the_sdist_holds_tests_docs_and_samples(built: Path) -> None:
    (path,) = built.glob("*.tar.gz")
    with tarfile.open(path) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    for name in ("README.md", "tests/test_wheel.py", "docs/README.md", "samples/source/wren.toml"):
        assert name in names
    assert not [name for name in names if "__pycache__" in name or name.endswith(".pyc")]
