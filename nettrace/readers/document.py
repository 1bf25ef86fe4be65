"""What a reader is given: a file's text, and how to name places in it.

A reader is a module with `read(document: Document) -> Board`; the registry names it.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

__all__ = ["Document"]


@dataclass(frozen=True, slots=True)
class Document:
    """A file's text with what a reader needs to name places and find neighbours.

    `path` is shown to the user; `folder` is where includes may be looked up (None: nowhere);
    `digest` is the sha256 of the bytes, hex; `hierarchy` is "flatten" or "keep" where the user
    said so, None for what the format usually means.
    """

    path: str
    text: str
    folder: Path | None = None
    digest: str = ""
    hierarchy: str | None = None
