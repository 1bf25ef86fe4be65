"""Which files of a folder the decks beside them pull in: no sources of their own."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from pathlib import Path

from nettrace.errors import BadInput
from nettrace.readers.registry import decode_text

__all__ = ["pulled_in"]

#: A file's name in quotes, else the line up to a remark; it may hold blanks.
_INCLUDE = re.compile(
    r"""^[ \t]*\.(?:include|incl|inc|lib)\b[ \t]*(?:"([^"\n]+)"|'([^'\n]+)'|([^\n;$]+))""",
    re.IGNORECASE | re.MULTILINE,
)


def pulled_in(decks: Sequence[Path]) -> frozenset[Path]:
    """Return those decks that others of them include, straight or through further files.

    Of decks that include each other, the first stays. A file that cannot be read includes none.
    """
    resolved = {path.resolve(): path for path in decks}
    reached = {path: _reached(path) - {path} for path in resolved}
    included = frozenset[Path]().union(*reached.values())
    kept = [path for path in resolved if path not in included]
    covered = frozenset[Path]().union(*(reached[path] for path in kept))
    for path in resolved:
        if path not in covered and path not in kept:  # they include each other
            kept.append(path)
            covered |= reached[path]
    return frozenset(path for there, path in resolved.items() if there not in kept)


def _reached(start: Path) -> frozenset[Path]:
    found: set[Path] = set()
    left = [start]
    while left:
        for path in _includes(left.pop()):
            if path not in found:
                found.add(path)
                left.append(path)
    return frozenset(found)


def _includes(path: Path) -> Iterator[Path]:
    try:
        text = decode_text(path.read_bytes(), str(path))
    except (OSError, BadInput):
        return
    for match in _INCLUDE.finditer(text):
        said = next(group for group in match.groups() if group is not None).strip()
        for name in dict.fromkeys((said, said.split()[0] if said else "")):
            try:
                there = (path.parent / name.replace("\\", "/")).resolve()
                if name and there.is_file():
                    yield there
                    break
            except (OSError, ValueError, RuntimeError):  # no file name at all
                continue
