"""Golden files: what a person sees, kept as text and read when it changes."""

from __future__ import annotations

import difflib
import os
from collections.abc import Callable
from pathlib import Path

import pytest

GOLDEN = Path(__file__).resolve().parent.parent / "golden"


@pytest.fixture
def golden() -> Callable[[str, str], None]:
    """Compare a text with its golden file; REWRITE_GOLDEN=1 writes it anew, to be read."""

    def compare(name: str, text: str) -> None:
        path = GOLDEN / name
        if os.environ.get("REWRITE_GOLDEN") == "1":
            path.write_text(text, encoding="utf-8")
        expected = path.read_text(encoding="utf-8")
        difference = difflib.unified_diff(
            expected.splitlines(), text.splitlines(), "golden", "now", lineterm=""
        )
        assert text == expected, "\n".join(difference)

    return compare
