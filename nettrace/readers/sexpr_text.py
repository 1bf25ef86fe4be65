"""The words of s-expression files: tokens, strings, numbers, and where each stands.

Blanks are the ASCII ones only (a no-break space is a letter of a name). A string may hold escapes
and line breaks; a bare word ends at a blank or a parenthesis and holds no quotation mark.
"""

from __future__ import annotations

import re

from nettrace.errors import BadInput, Place, excerpt
from nettrace.readers.document import Document

__all__ = ["NUMBER", "TOKEN", "SexprText", "unquote"]

#: One token: a parenthesis, a string, a bare word, or (last group) what is none of them.
TOKEN = re.compile(
    r"""[ \t\r\n]*+
    (?: ([()])
      | "([^"\\]*+(?:\\.[^"\\]*+)*+)"(?![^ \t\r\n()])
      | ([^ \t\r\n()"]++)(?!")
      | (.)
    )""",
    re.VERBOSE | re.DOTALL,
)
#: Millimetres and degrees: at most seven digits before the point, so always finite and on a board.
NUMBER = re.compile(r"[-+]?(?:[0-9]{1,7}(?:\.[0-9]*)?|\.[0-9]+)(?:[eE]-[0-9]{1,3})?\Z")

_new = tuple.__new__  # Place without its argument handling: one is made for every pad

_ESCAPE = re.compile(r"\\(x[0-9A-Fa-f]{1,2}|[0-7]{1,3}|.)", re.DOTALL)
_ESCAPED = {"n": "\n", "r": "\r", "t": "\t", "a": "\a", "b": "\b", "f": "\f", "v": "\v"}


def _unescape(match: re.Match[str]) -> str:
    what = match[1]
    if what[0] == "x" and len(what) > 1:
        return chr(int(what[1:], 16))
    if what[0] in "01234567":
        return chr(int(what, 8))
    return _ESCAPED.get(what, what)


def unquote(inner: str) -> str:
    r"""Return what a string says, given the text between its quotation marks.

    >>> unquote(r"10k \"thin\" film")
    '10k "thin" film'
    """
    return _ESCAPE.sub(_unescape, inner) if "\\" in inner else inner


class SexprText:
    """A document with a running line count: places are cheap when asked for in file order."""

    __slots__ = ("_from", "_line", "document", "path", "text")

    def __init__(self, document: Document) -> None:
        self.document = document
        self.path = document.path
        self.text = document.text
        self._from = 0  # start of a line that was counted
        self._line = 1

    def place(self, offset: int) -> Place:
        """Return line and column of a character of the text."""
        text = self.text
        if offset < self._from:
            self._from, self._line = 0, 1
        new_lines = text.count("\n", self._from, offset)
        if new_lines:
            self._line += new_lines
            self._from = text.rfind("\n", self._from, offset) + 1
        return _new(Place, (self.path, self._line, offset - self._from + 1))

    def error(
        self, offset: int, found: str, *, expected: str = "", hint: str = "", length: int = 1
    ) -> BadInput:
        """Return the error to raise for what stands at `offset`."""
        place = self.place(offset)
        return BadInput(
            found,
            expected=expected,
            hint=hint,
            place=place,
            excerpt=excerpt(self.text, place.line, place.column, length),
        )
