"""A mark for tests of the fast ways: they need an `re` without the fault of Python 3.11.4."""

from __future__ import annotations

import sys

import pytest

needs_sound_regex = pytest.mark.skipif(
    sys.version_info < (3, 11, 5),
    reason="this Python's re loses its place in possessive groups; files are read the other way",
)
