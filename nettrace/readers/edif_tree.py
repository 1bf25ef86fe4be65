"""The whole-tree reader of EDIF, first half: any layout, every form, each with its place.

It is read where the whole-form grammar (`edif_forms`) does not match, and it is the yardstick that
the grammar is tested against.
"""

from __future__ import annotations

import re
import sys

from nettrace.errors import BadInput, Place, excerpt
from nettrace.readers.document import Document
from nettrace.readers.sexpr_tree import Form

__all__ = ["Form", "fault", "place_of", "read_forms"]

#: Deepest nesting that is read; the deepest form of the standard in use is about 20.
MOST_NESTED = 500

#: Blanks are the ASCII ones: a no-break space is a letter of a name.
_TOKEN = re.compile(r'[()]|"[^"]*"?|[^ \t\r\n\f\v()"]+')


def _with_drawing() -> re.Pattern[str]:
    """Return the same, and a whole form that only says how something is drawn as one token.

    Most of a schematic is such forms. Those that go deeper than six forms, or are not closed, are
    taken apart as ever.
    """
    flat = r'[^()"]*+(?:"[^"]*"[^()"]*+)*+'
    form = rf"\([^ \t\r\n\f\v()\"]{flat}\)"
    for _ in range(5):
        form = rf"\([^ \t\r\n\f\v()\"]{flat}(?:{form}{flat})*+\)"
    heads = r"(?i:boundingbox|connectlocation|display|figure|pagesize|transform)"
    return re.compile(rf"\({heads}(?=[ \t\r\n\f\v()]){flat}(?:{form}{flat})*+\)|{_TOKEN.pattern}")


#: Python before 3.11.5 loses its place in possessive groups.
_DRAWING_OR_TOKEN = _with_drawing() if sys.version_info >= (3, 11, 5) else _TOKEN
#: What a form may hold that is no drawing.
_MORE = re.compile("instance", re.IGNORECASE)


class _TakeApart(Exception):
    """No error: forms of drawing must be read token by token."""


def place_of(document: Document, offset: int) -> Place:
    """Return line and column of a character of the text."""
    text = document.text
    start = text.rfind("\n", 0, offset) + 1
    return Place(document.path, text.count("\n", 0, offset) + 1, offset - start + 1)


def fault(
    document: Document, offset: int, found: str, *, expected: str = "", hint: str = ""
) -> BadInput:
    """Return the error to raise for what stands at `offset`."""
    place = place_of(document, offset)
    return BadInput(
        found,
        expected=expected,
        hint=hint,
        place=place,
        excerpt=excerpt(document.text, place.line, place.column),
    )


def read_forms(document: Document) -> Form:
    """Return the outermost form of the text; keywords in small letters, other tokens as written.

    Forms that only say how something is drawn are left out.

    Raises:
        BadInput: not one balanced form, a string without end, nesting beyond reason.
    """
    try:
        return _read_tokens(document, _DRAWING_OR_TOKEN)
    except _TakeApart:
        return _read_tokens(document, _TOKEN)


def _read_tokens(document: Document, pattern: re.Pattern[str]) -> Form:
    text = document.text
    root = Form(0)  # holds the outermost form
    form = root
    above: list[Form] = []
    for match in pattern.finditer(text):
        token = match[0]
        if token == "(":  # noqa: S105 - a token of the text
            if len(above) >= MOST_NESTED:
                raise fault(
                    document,
                    match.start(),
                    f"a form nested {MOST_NESTED + 1} deep",
                    expected=f"at most {MOST_NESTED}",
                )
            if form is root and root:
                raise _surplus(document, match.start(), token)
            inner = Form(match.start())
            form.append(inner)
            above.append(form)
            form = inner
        elif token == ")":  # noqa: S105
            if not above:
                raise _surplus(document, match.start(), token)
            if not form:
                raise fault(document, form.start, "'()'", expected="a keyword after '('")
            form = above.pop()
        elif form is root:
            if token[0] == "(":
                raise _TakeApart
            raise _surplus(document, match.start(), token)
        elif token[0] == '"':
            if len(token) < 2 or token[-1] != '"':
                raise fault(
                    document,
                    match.start(),
                    "a string without end",
                    expected="'\"'",
                    hint="Is the file cut off, or a quotation mark missing?",
                )
            if not form:
                raise fault(document, match.start(), "a string", expected="a keyword after '('")
            form.append(token)
        elif token[0] == "(":
            if not form or _MORE.search(token):
                raise _TakeApart
        elif form:
            form.append(token)
        else:
            keyword = token.lower()
            if keyword == "keywordalias" and pattern is not _TOKEN:
                raise _TakeApart  # what is called drawing need not be
            form.append(keyword)
    if above:
        opened = [*above[1:], form]
        inmost = next((one for one in reversed(opened) if one), form)
        raise fault(
            document,
            len(text.rstrip()),
            "the end of the file",
            expected=f"{len(above)} times ')'" if len(above) > 1 else "')'",
            hint=f"'({inmost.head}' in line {place_of(document, inmost.start).line} "
            "is open: is the file cut off?",
        )
    if not root:
        raise fault(document, 0, "no form", expected="'(edif NAME ...)'")
    return root[0]  # type: ignore[return-value]


def _surplus(document: Document, offset: int, token: str) -> BadInput:
    shown = token if len(token) <= 20 else token[:20] + "..."
    return fault(
        document,
        offset,
        f"{shown!r}",
        expected="'(edif NAME ...)' and nothing else",
        hint="Is a ')' too many before it?" if offset else "",
    )
