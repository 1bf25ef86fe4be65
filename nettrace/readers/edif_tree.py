"""The forms of an EDIF text as a tree: any layout, each form with its place.

What there is much of is matched whole: forms of drawing are passed over, references in a `joined`
are taken out of it at once, and an instance stays closed until its reader wants to look inside. A
form that is not written so is taken apart token by token, so a fault has its exact place.
"""

from __future__ import annotations

import re
from functools import cache

from nettrace.errors import BadInput
from nettrace.readers.document import Document
from nettrace.readers.sexpr import Lines, balanced

#: Deepest nesting that is read; the deepest form of the standard in use is about 20. Readers of
#: forms call themselves, a few frames a level: far from the end of the stack.
MOST_NESTED = 200

_KEYWORD = "a keyword after '('"

#: Port, member index or "", instance or "" for the cell's own.
Ref = tuple[str, str, str]

# Blanks are the ASCII ones: a no-break space is a letter of a name.
_B = r"[ \t\r\n\f\v]"
_WORD = r'[^ \t\r\n\f\v()"]+'
_FLAT = r'[^()"]*(?:"[^"]*"[^()"]*)*'
_REF = (
    rf"\({_B}*(?i:portref)(?:{_B}+{_WORD}|{_B}*\({_B}*(?i:member){_B}+{_WORD}{_B}+[0-9]{{1,9}}"
    rf"{_B}*\)){_B}*(?:\({_B}*(?i:instanceref){_B}+{_WORD}{_B}*\){_B}*)?\)"
)
#: What it says, of one that is written so.
_REF_PARTS = (
    rf"\({_B}*{_WORD}{_B}*(?:\({_B}*{_WORD}{_B}+)?({_WORD})(?:{_B}+([0-9]+){_B}*\))?{_B}*"
    rf"(?:\({_B}*{_WORD}{_B}+({_WORD}))?"
)
_DRAWING = r"(?i:boundingbox|connectlocation|display|figure|pagesize|transform)"


#: What an instance of a drawing says: no two of them are the same.
_OWN = "(?!(?i:transform|portinstance))"


def _rest(depth: int, but: str = "") -> str:
    """Return the pattern of the rest of a form, forms in it nested at most so deep."""
    return balanced(depth, string='"[^"]*"', edge="", opening=rf'\({_B}*{but}[^ \t\r\n\f\v()"]')


@cache
def _pattern(*, whole: bool, closed: bool) -> re.Pattern[str]:
    """Return the pattern of tokens: with forms that are matched whole, with closed instances."""
    joined = rf"\({_B}*(?i:joined)((?:{_B}*{_REF})+){_B}*\)"
    rename = rf'\({_B}*(?i:rename{_B}+{_WORD}{_B}*"[^"]*"){_B}*\)'
    never = "((?!))"
    tokens = [
        rf"\({_B}*(?i:net)(?:{_B}+({_WORD})|{_B}*({rename})){_B}*{joined}{_B}*\)",
        joined,
        rf"(\({_DRAWING}(?={_B}|[()]){_rest(6)})" if whole else never,
        rf"(\({_B}*(?i:instance){_B}{_rest(3, _OWN)})" if whole and closed else never,
        rf"\({_B}*({_WORD}{_FLAT})(\))?",
        r"(\))",
        rf'("[^"]*"|{_WORD})',
        '[("]',
    ]
    return re.compile("|".join(tokens))


_NET_ID, _NET_RENAMED, _NET, _JOINED, _DRAWN, _CLOSED, _OPEN, _FORM, _CLOSE, _ATOM = range(1, 11)
_find_refs = cache(lambda: re.compile(_REF_PARTS).findall)
_find_words = cache(lambda: re.compile(rf'"[^"]*"|{_WORD}').findall)
_NO_REFS: list[Ref] = []
_SURPLUS = re.compile(rf'[()]|"[^"]*"?|{_WORD}')


class Form(list["str | Form"]):
    """A list in parentheses; its items are words and strings (as written) and further forms.

    `start` is its offset in the text, and `end` its end where it is closed: then nothing but its
    head was read of it. `refs` are the references that it holds, where they were taken out.
    """

    __slots__ = ("end", "refs", "start")

    def __init__(self, start: int) -> None:
        super().__init__()
        self.start = start
        self.end = 0
        self.refs: list[Ref] = _NO_REFS

    @property
    def head(self) -> str:
        """The keyword in small letters, "" where there is none."""
        return self[0] if self and isinstance(self[0], str) else ""

    @property
    def named(self) -> str | Form | None:
        """What stands behind the keyword."""
        return self[1] if len(self) > 1 else None


class _TakeApart(Exception):
    """No error: keywords of drawing may have another meaning in this text."""


class Tree:
    """The forms of a text, and its lines."""

    def __init__(self, document: Document) -> None:
        self.text = document.text
        self.digest = document.digest
        self.words: dict[str, list[str]] = {}
        self.whole = True  # forms of drawing are passed over
        self.lines = Lines(document)

    def read(self) -> Form:
        """Return the outermost form of the text; keywords in small letters.

        Raises:
            BadInput: not one balanced form, a string without end, nesting beyond reason.
        """
        try:
            root = self._read(0, len(self.text), _pattern(whole=True, closed=True))
        except _TakeApart:
            self.whole = False
            root = self._read(0, len(self.text), _pattern(whole=False, closed=False))
        if not root:
            raise self.lines.error(0, "no form", expected="'(edif NAME ...)'")
        return root[0]  # type: ignore[return-value]

    def opened(self, form: Form) -> Form:
        """Return the form with what stands in it."""
        if not form.end:
            return form
        pattern = _pattern(whole=self.whole, closed=False)
        return self._read(form.start, form.end, pattern)[0]  # type: ignore[return-value]

    def _read(self, start: int, end: int, pattern: re.Pattern[str]) -> Form:
        """Return a form that holds those between two offsets."""
        text = self.text
        root = form = Form(start)
        above: list[Form] = []
        find_refs = _find_refs()
        for match in pattern.finditer(text, start, end):
            kind = match.lastindex
            if form is root and (root or match[0][0] != "("):
                raise self._surplus(match.start())
            if kind == _CLOSE:
                if not form:
                    raise self.lines.error(form.start, "'()'", expected=_KEYWORD)
                form = above.pop()
            elif kind == _ATOM:
                if not form:
                    raise self.lines.error(match.start(), "a string", expected=_KEYWORD)
                form.append(match[kind])
            elif match[0] == '"':
                hint = "Is the file cut off, or a quotation mark missing?"
                raise self.lines.error(
                    match.start(), "a string without end", expected="'\"'", hint=hint
                )
            elif kind == _DRAWN:
                if not form or "instance" in match[kind].lower():  # a symbol is drawn in it
                    form += self._read(*match.span(), _pattern(whole=False, closed=False))
            else:
                inner = Form(match.start())
                form.append(inner)
                if kind in (_FORM, _OPEN):
                    inner += self._words(match[_OPEN])
                    if inner[0] == "keywordalias" and self.whole:
                        raise _TakeApart
                elif kind == _CLOSED:
                    inner.append("instance")
                    inner.end = match.end()
                elif kind is not None:
                    inner.append("joined" if kind == _JOINED else "net")
                    if kind == _NET:
                        inner.append(match[_NET_ID] or self._named(match))
                    inner.refs = find_refs(text, *match.span(kind))
                if kind is None or kind == _OPEN:
                    if len(above) >= MOST_NESTED:
                        deep, most = (
                            f"a form nested {MOST_NESTED + 1} deep",
                            f"at most {MOST_NESTED}",
                        )
                        raise self.lines.error(match.start(), deep, expected=most)
                    above.append(form)
                    form = inner
        if above:
            opened = [*above[1:], form]
            inmost = next((one for one in reversed(opened) if one), form)
            raise self.lines.error(
                len(text.rstrip()),
                "the end of the file",
                expected=f"{len(above)} times ')'" if len(above) > 1 else "')'",
                hint=f"'({inmost.head}' in line {self.lines.place(inmost.start).line} "
                "is open: is the file cut off?",
            )
        return root

    def _words(self, piece: str) -> list[str]:
        """Return the words of a form up to its first inner one; the same come again and again."""
        words = self.words.get(piece)
        if words is None:
            words = self.words[piece] = _find_words()(piece)
            words[0] = words[0].lower()
        return words

    def _named(self, match: re.Match[str]) -> Form:
        """Return the `rename` of a net that was matched whole."""
        form = Form(match.start(_NET_RENAMED))
        form += self._words(match[_NET_RENAMED][1:-1])
        return form

    def _surplus(self, offset: int) -> BadInput:
        match = _SURPLUS.match(self.text, offset)
        token = match[0] if match else ""
        shown = token if len(token) <= 20 else token[:20] + "..."
        return self.lines.error(
            offset,
            f"{shown!r}",
            expected="'(edif NAME ...)' and nothing else",
            hint="Is a ')' too many before it?" if offset else "",
        )
