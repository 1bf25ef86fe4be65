"""The words of s-expression files: tokens, strings, numbers, and where each stands.

Blanks are the ASCII ones only (a no-break space is a letter of a name). A string may hold escapes
and line breaks; a bare word ends at a blank or a parenthesis and holds no quotation mark.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from nettrace.errors import BadInput, Place, excerpt
from nettrace.readers.document import Document

__all__ = ["NUMBER", "TOKEN", "SexprText", "unquote"]

#: One token: a parenthesis, a string, a bare word, or (last group) what is none of them.
TOKEN = re.compile(
    r"""[ \t\r\n]*+
    (?: ([()])
      | "([^"\\]*+(?>(?:\\.[^"\\]*+)*))"(?![^ \t\r\n()])
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


def _counting_places(path: str, text: str) -> Callable[[int], Place]:
    """Return what gives line and column of an offset; cheap when asked for in file order."""
    counted = 0  # up to here
    line = 1
    line_start = 0
    count, rfind = text.count, text.rfind

    def place(offset: int) -> Place:
        nonlocal counted, line, line_start
        if offset < counted:
            counted, line, line_start = 0, 1, 0
        passed = count("\n", counted, offset)
        if passed:
            line += passed
            line_start = rfind("\n", counted, offset) + 1
        counted = offset
        return _new(Place, (path, line, offset - line_start + 1))

    return place


class SexprText:
    """A document with a running line count.

    `place(offset)` is the line and column of a character of the text.
    """

    __slots__ = ("document", "path", "place", "text")

    def __init__(self, document: Document) -> None:
        self.document = document
        self.path = document.path
        self.text = document.text
        self.place = _counting_places(document.path, document.text)

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
