"""What a reader is given: a file's text, and how to name places in it.

A reader is a module with `read(document: Document) -> Board`; the registry names it.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field
from pathlib import Path

from nettrace.errors import Place, excerpt


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
    #: Where each line begins; filled when the first place is asked for.
    _starts: list[int] = field(default_factory=list, init=False, repr=False, compare=False)

    def place(self, offset: int) -> Place:
        r"""Return the line and column, from 1, of a character of the text.

        >>> document = Document("a.net", "one\ntwo")
        >>> str(document.place(0)), str(document.place(5))
        ('a.net:1:1', 'a.net:2:2')
        """
        starts = self._starts
        if not starts:
            starts.append(0)
            at = self.text.find("\n")
            while at >= 0:
                starts.append(at + 1)
                at = self.text.find("\n", at + 1)
        line = bisect_right(starts, offset)
        return Place(self.path, line, offset - starts[line - 1] + 1)

    def excerpt(self, place: Place, length: int = 1) -> str:
        """Return the line of a place with a mark under it, as an error message shows it."""
        return excerpt(self.text, place.line or 1, place.column or 1, length)
