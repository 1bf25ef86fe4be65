"""The words by which the trade names parts: reference letters, packages, values, descriptions."""

from __future__ import annotations

from functools import cache, partial
from typing import Final

from nettrace.circuit.kinds import Kind
from nettrace.knowledge import Words, section

_words: Final = partial(Words, "kinds", meaning=Kind)

REFERENCE_WORDS: Final = _words("reference")
PACKAGE_WORDS: Final = _words("package")
VALUE_WORDS: Final = _words("value")
DESCRIPTION_WORDS: Final = _words("description")
DEVICE_WORDS: Final = _words("device")


@cache
def letters() -> dict[str, Kind]:
    """Return the kind that each reference letter, or group of them, stands for."""
    rows = section("kinds", "letters").items()
    return {letter: Kind(kind) for kind, words in rows for letter in words.split()}
