"""Wren's description and facts, for the tests beside this file."""

from __future__ import annotations

import importlib
import sys
import tomllib
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

SAMPLES = Path(__file__).resolve().parents[2] / "samples"


@pytest.fixture(scope="session")
def samples() -> Path:
    return SAMPLES


def beside_the_data(name: str) -> ModuleType:
    """Import a module that stands beside Wren's description, not in the package."""
    sys.path.insert(0, str(SAMPLES / "source"))
    try:
        return importlib.import_module(name)
    finally:
        sys.path.pop(0)


@pytest.fixture(scope="session")
def wren() -> Any:
    return beside_the_data("description").load()


@pytest.fixture(scope="session")
def wires() -> Any:
    """The module that reads the tracks."""
    return beside_the_data("tracks")


@pytest.fixture(scope="session")
def facts() -> dict[str, Any]:
    return tomllib.loads((SAMPLES / "source" / "facts.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def parts(wren: Any) -> dict[str, Any]:
    return {part.refdes: part for part in wren.parts}


@pytest.fixture(scope="session")
def groups(wren: Any) -> frozenset[frozenset[tuple[str, str]]]:
    """The nets without their names: sets of (reference, pin)."""
    return frozenset(
        frozenset((part.refdes, pin.number) for part, pin in pins) for pins in wren.nets.values()
    )
