"""Fixtures that every test may use; real boards come in through `boards` alone."""

from __future__ import annotations

import os
from collections.abc import Generator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

ROOT = Path(__file__).resolve().parent.parent

settings.register_profile(
    "suite",
    deadline=None,
    derandomize=True,
    max_examples=60,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "suite"))


def boards_folder() -> Path | None:
    """Return the folder of real open-hardware boards, or None where there is none."""
    named = os.environ.get("NETTRACE_BOARDS")
    folder = Path(named) if named else ROOT.parent / "shared" / "boards"
    return folder if folder.is_dir() else None


@pytest.fixture(scope="session")
def boards() -> Path:
    """The folder of real boards with their truth; without it the test is skipped, with a reason."""
    folder = boards_folder()
    if folder is None:
        pytest.skip("no folder of real boards (set NETTRACE_BOARDS, or put it in ../shared/boards)")
    return folder


@pytest.fixture(scope="session")
def wren() -> Path:
    """The folder of the sample board's files."""
    return ROOT / "samples" / "wren"


@pytest.fixture(scope="session", autouse=True)
def _own_cache(tmp_path_factory: pytest.TempPathFactory) -> Generator[None, None, None]:
    """Keep the user's cache folder out of it, for programs that tests start too."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item,
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Under .ci/run every program and board is there: a skipped test is a failed one."""
    report = yield
    if report.skipped and os.environ.get("NETTRACE_CI") and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped under CI: {item.nodeid}: {report.longrepr}"
    return report
