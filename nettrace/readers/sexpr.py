"""S-expressions: from text to a tree, with the place of every form; board files and netlists.

`Tree(document, family).read()` reads in one loop over the text. What nobody asks for is passed
over: knowledge/sexpr.toml gives, for each kind of form, the heads that are skipped in it, each as
one balanced match. A form that such a pattern does not match (too deep, at fault) is read token by
token, so that a fault is found where it stands. Parts that a reader of another family of formats
may use alone:

- `Lines(document)`: line and column of an offset, and the error to raise there;
- `Form`: a list of words and forms that knows where it starts;
- `balanced(depth)`: the pattern of the rest of a form, to skip it in one match.

Blanks are the ASCII ones only (a no-break space is a letter of a name). A string may hold escapes
and line breaks; a bare word ends at a blank or a parenthesis and holds no quotation mark. No
pattern here is possessive or atomic: Python before 3.11.5 loses its place in those. Instead each
is written so that the next character decides, and giving back fails at once.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from functools import cache
from typing import NamedTuple

import msgspec

from nettrace.errors import BadInput, Place, Warning, excerpt
from nettrace.knowledge import section
from nettrace.readers.document import Document

#: Faults of one kind that are named one by one; the rest is counted.
MOST_WARNINGS = 20

_BLANKS = r"[ \t\r\n]*"
_EDGE = r"(?![^ \t\r\n()])"  # a word, a string or a form ends here
_STRING_TEXT = r'[^"\\]*(?:\\.[^"\\]*)*'
_STRING = rf'(?<=[ \t\r\n()])"{_STRING_TEXT}"{_EDGE}'  # apart from its neighbours
_FLAT = rf'[^()"]*(?:{_STRING}[^()"]*)*'  # words and strings
_TOKEN = rf'([()])|"({_STRING_TEXT})"{_EDGE}|([^ \t\r\n()"]+){_EDGE}|([^ \t\r\n])'

_ESCAPE = r"\\(x[0-9A-Fa-f]{1,2}|[0-7]{1,3}|.)"
_ESCAPED = {"n": "\n", "r": "\r", "t": "\t", "a": "\a", "b": "\b", "f": "\f", "v": "\v"}
#: Millimetres and degrees: at most seven digits before the point, so always finite and on a board.
_NUMBER = re.compile(r"[-+]?(?:[0-9]{1,7}(?:\.[0-9]*)?|\.[0-9]+)(?:[eE]-[0-9]{1,3})?\Z")

_TokenAt = Callable[[str, int], re.Match[str] | None]
_BLOCK_BITS = 11  # blocks of 2 kB: some dozen lines
_new = tuple.__new__  # Place without its argument handling: one is made for every pad


class Lines:
    """Line and column of every character of a text, from one table: what each block begins with."""

    __slots__ = ("_blocks", "path", "text")

    def __init__(self, document: Document) -> None:
        self.path = document.path
        self.text = document.text
        self._blocks = [(1, 0)]  # line at the block's first character, and where it starts

    def place(self, offset: int) -> Place:
        """Return line and column of the character at the offset."""
        text, blocks = self.text, self._blocks
        block = offset >> _BLOCK_BITS
        while len(blocks) <= block:
            line, line_start = blocks[-1]
            end = len(blocks) << _BLOCK_BITS
            start = end - (1 << _BLOCK_BITS)
            line += text.count("\n", start, end)
            blocks.append((line, text.rfind("\n", start, end) + 1 or line_start))
        line, line_start = blocks[block]
        start = block << _BLOCK_BITS
        line += text.count("\n", start, offset)
        line_start = text.rfind("\n", start, offset) + 1 or line_start
        return _new(Place, (self.path, line, offset - line_start + 1))

    def error(
        self, offset: int, found: str, *, expected: str = "", hint: str = "", length: int = 1
    ) -> BadInput:
        """Return the error to raise for what stands at `offset`."""
        place = self.place(offset)
        shown = excerpt(self.text, place.line, place.column, length)
        return BadInput(found, expected=expected, hint=hint, place=place, excerpt=shown)


class Form(msgspec.Struct, gc=False, eq=False):
    """A list in parentheses: its words and strings, the head first, and the forms in it."""

    head: str  # "" where it begins with none
    start: int
    words: list[str]
    forms: list[Form]

    def word(self, index: int = 1) -> str | None:
        """Return the word or string at the index; 1 is the one behind the head."""
        words = self.words
        return words[index] if index < len(words) else None

    def first(self, head: str) -> Form | None:
        """Return the first form in it of that head."""
        for form in self.forms:
            if form.head == head:
                return form
        return None

    def word_of(self, head: str) -> str | None:
        """Return the first word behind the head of the first form in it of that head."""
        for form in self.forms:
            if form.head == head:
                return form.word()
        return None


def balanced(depth: int, *, string: str = _STRING, edge: str = _EDGE, opening: str = r"\(") -> str:
    r"""Return the pattern of what may follow a form's head, up to its end.

    Args:
        depth: how deep the forms in it may go; deeper ones do not match.
        string: the pattern of a string.
        edge: what must follow a closing parenthesis.
        opening: what a form in it begins with.

    >>> bool(re.match(r"\(fill" + balanced(1), "(fill (mode (deep)))"))
    False
    >>> bool(re.match(r"\(fill" + balanced(2), '(fill (mode (deep ")"))) x'))
    True
    """
    inner = balanced(depth - 1, string=string, edge=edge, opening=opening) if depth else ""
    item = f"(?:{opening}{inner}|{string})" if depth else string
    return rf'[^()"]*(?:\){edge}|(?:{item}[^()"]*)+\){edge})'


def whole_form(heads: Iterable[str], depth: int = 4, opening: str = r"\(") -> str:
    """Return the pattern of a form of one of these heads, behind its opening parenthesis."""
    return rf"(?:{'|'.join(heads)})(?=[ \t\r\n()]){balanced(depth, opening=opening)}"


@cache
def pattern_inside(*passed_over: str, again: str = "") -> re.Pattern[str]:
    """Return the pattern of one token in a form.

    Args:
        passed_over: patterns of `whole_form`; some such forms in a row are one token.
        again: a pattern of `whole_form`; such a form is one token, read once for all that are
            written alike (its place is that of the first).
    """
    skipped = rf"(?:\((?:{'|'.join(passed_over)}){_BLANKS}){{1,50}}|" if passed_over else ""
    # its groups are named below
    form = rf"\(({_FLAT})(?:(\)){_EDGE}|(?=[()]|\Z))"
    alike = rf"(\({again})" if again else "((?!))"
    return re.compile(rf"{_BLANKS}(?:{skipped}{alike}|{form}|{_TOKEN})", re.DOTALL)


class _Kind(NamedTuple):
    """What a kind of form may hold (knowledge/sexpr.toml), and what matches a token in it."""

    heads: frozenset[str]
    words: frozenset[str]
    once: frozenset[str]
    token_at: _TokenAt


@cache
def _kinds(family: str) -> dict[str, _Kind]:
    """Return head of a form -> its kind, for the forms of a section of the table."""
    # on a layer that does not count, and that is not written with escapes
    elsewhere = r'\((?![ \t\r\n"]*layer[^()]*(?:CrtYd|Fab|Edge|\\))'
    found: dict[str, _Kind] = {}
    for name, row in section("sexpr", family).items():
        words = {key: text.split() for key, text in row.items()}
        passed_over = words.get("passed_over", [])
        patterns = [whole_form(passed_over)] if passed_over else []
        if "elsewhere" in words:
            patterns.append(whole_form(words["elsewhere"], 3, elsewhere))
        again = whole_form(words["again"], 2) if "again" in words else ""
        kind = _Kind(
            frozenset([*words.get("read", ()), *passed_over]),
            frozenset(words.get("words", ())),
            frozenset(words.get("once", ())),
            pattern_inside(*patterns, again=again).match,
        )
        found.update(dict.fromkeys(words.get("heads", [name]), kind))
    return found


#: The groups: a form that may come again; words of a form, and its end where no form is in it; then
#: a lone token, the last of them what is none.
_AGAIN, _WORDS, _END, _PARENTHESIS, _STRING_TOKEN, _WORD, _FAULT = range(1, 8)


@cache
def _one_token() -> re.Pattern[str]:
    return re.compile(rf"{_BLANKS}(?:{_TOKEN})", re.DOTALL)


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
    return re.sub(_ESCAPE, _unescape, inner, flags=re.DOTALL) if "\\" in inner else inner


class _Words(dict[str, list[str]]):
    """Flat piece of a form, as written -> its words and strings; the same ones come again."""

    def __init__(self) -> None:
        super().__init__()
        self.each = re.compile(rf'"({_STRING_TEXT})"|[^ \t\r\n"]+', re.DOTALL).finditer

    def __missing__(self, raw: str) -> list[str]:
        found = self.each(raw)
        words = [unquote(match[1]) if match.lastindex else match[0] for match in found]
        self[raw] = words
        return words


class _Numbers(dict[str, float]):
    """Number as written -> its value; sizes and offsets come again all over a board."""

    def __missing__(self, word: str) -> float:
        if _NUMBER.match(word) is None:
            raise KeyError(word)
        number = self[word] = float(word)
        return number


#: What `str.split` takes for blanks, and these files do not.
_NO_BLANKS = (
    "\v\f\x1c\x1d\x1e\x1f\x85\xa0\u1680\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008"
    "\u2009\u200a\u2028\u2029\u202f\u205f\u3000"
)


class Tree:
    """One text as a tree, and what takes items out of it, with errors that name their place.

    Args:
        document: the text.
        family: the section of knowledge/sexpr.toml that says what forms may hold; "" for none.
        top_heads: heads that stand only directly in the outermost form; a parenthesis too few or
            too many is looked for with them.
    """

    def __init__(
        self,
        document: Document,
        family: str = "",
        top_heads: frozenset[str] = frozenset(),
    ) -> None:
        self.lines = Lines(document)
        self.text = document.text
        self.kinds = _kinds(family) if family else {}
        self.top_heads = top_heads
        self.warnings: list[Warning] = []
        self._counts: Counter[str] = Counter()
        self._numbers = _Numbers()

    def read(self) -> Form:
        """Return the outermost form.

        Raises:
            BadInput: not one balanced form.
        """
        text, words_of = self.text, _Words()
        inside = {head: kind.token_at for head, kind in self.kinds.items()}.get
        can_split = not any(letter in text for letter in _NO_BLANKS)
        root: Form | None = None
        form: Form | None = None  # the one being read
        plain: _TokenAt = pattern_inside().match
        token_at = plain  # of the form being read
        above: list[tuple[Form | None, _TokenAt]] = []
        alike: dict[str, Form] = {}
        at = 0
        closed_at = -1  # where the last closing parenthesis ended, if it was read as a token
        while (match := token_at(text, at)) is not None:
            kind = match.lastindex
            at = match.end()
            if kind is None:
                continue  # passed over
            whole = ""
            if kind == _AGAIN:
                whole = match[_AGAIN]
                if form is not None and whole in alike:
                    form.forms.append(alike[whole])
                    continue
                match = plain(text, match.start(_AGAIN)) or match
                kind, at = match.lastindex or 0, match.end()
            if kind <= _END:
                raw = match[_WORDS]
                words = raw.split() if can_split and '"' not in raw else words_of[raw].copy()
                inner = Form(words[0] if words else "", match.start(_WORDS) - 1, words, [])
                if whole:
                    alike[whole] = inner
            elif kind == _PARENTHESIS and text[at - 1] == "(":  # what follows is at fault
                inner = Form("", at - 1, [], [])
            elif kind == _FAULT:
                raise self._bad_token(at - 1)
            elif form is None:
                raise self._surplus(root, match.start(kind))
            elif kind == _PARENTHESIS:
                form, token_at = above.pop()
                closed_at = at
                continue
            elif kind == _STRING_TOKEN:
                form.words.append(unquote(match[_STRING_TOKEN]))
                continue
            else:
                word = match[_WORD]
                if at - len(word) != closed_at or not word[0].isalpha():
                    form.words.append(word)
                    continue
                # ")word" with no blank between: the writer lost the parenthesis before it
                inner = Form(word, closed_at, [word], [])
                self.warn(
                    "missing-parenthesis",
                    f"'{word}' stands right behind ')': read as '({word}'",
                    closed_at,
                )
            if form is not None:
                form.forms.append(inner)
            elif root is None:
                root = inner
            else:
                raise self._surplus(root, inner.start)
            if kind != _END:
                above.append((form, token_at))
                form, token_at = inner, inside(inner.head, plain)
        if root is None:
            raise self.lines.error(0, "no form", expected="'('")
        if form is not None:
            raise self._cut_off(form, len(above))
        return root

    def _bad_token(self, at: int) -> BadInput:
        text = self.text
        close = at
        if text[at] == '"' and (close := text.find('"', at + 1)) < 0:
            return self.lines.error(
                at,
                "a string that does not end",
                expected="a closing quotation mark",
                hint="The file is cut off here, or a quotation mark is missing.",
            )
        return self.lines.error(
            max(text.find('"', close), at),
            "a quotation mark inside a word",
            expected="a blank or ')'",
            hint="A quotation mark is missing or too many on this line or above.",
        )

    def _surplus(self, root: Form | None, at: int) -> BadInput:
        if root is None:
            return self.lines.error(at, f"{self.text[at]!r}", expected="'('")
        return (
            self.misindented()
            or self._misplaced()
            or self.lines.error(
                at,
                f"text after the end of '({root.head}'",
                expected="the end of the file",
                hint="A parenthesis is missing or too many above.",
            )
        )

    def _cut_off(self, form: Form, depth: int) -> BadInput:
        if depth <= 2:
            # all but the outermost were closed: the fault may be far above
            misplaced = self.misindented() or self._misplaced()
            if misplaced is not None:
                return misplaced
        more = f", {depth} open in all" if depth > 1 else ""
        return self.lines.error(
            form.start,
            f"'({form.head}' that is never closed",
            expected="')'",
            hint=f"The file is cut off, or parentheses are missing at its end (this form{more}).",
            length=len(form.head) + 1,
        )

    def _tokens(self, start: int = 0) -> Iterator[tuple[int, str, bool]]:
        """Yield each token: where it stands, its text, and whether it is a string."""
        for match in _one_token().finditer(self.text, start):
            kind = match.lastindex or 0
            yield match.start(kind), match[kind], kind == 2

    def misindented(self) -> BadInput | None:
        """Return an error for the first form that ends elsewhere than its indentation says.

        Only asked for where parentheses do not balance: writers indent every form they put on a
        line of its own, and the end that they put on a line of its own.
        """
        text = self.text
        above: list[tuple[int, int]] = []  # start of the form, indentation of its line
        line, indent = -1, 0
        for at, token, is_string in self._tokens():
            new_line = text.rfind("\n", max(line, 0), at)
            first = new_line >= line and not text[new_line + 1 : at].strip(" \t\r")
            if new_line > line or line < 0:
                line = new_line + 1 if new_line >= 0 else 0
                indent = at - line if first else indent
            if is_string:
                continue
            if token == "(":  # noqa: S105 - a token of the text
                if first and above and above[-1][1] >= indent:
                    return self._not_closed(above[-1][0])
                above.append((at, indent))
            elif token == ")" and above:  # noqa: S105
                start, own = above.pop()
                if first and own > indent:
                    return self._not_closed(start)
                if first and own < indent and not above:
                    return self.lines.error(
                        at,
                        f"')' that ends '({self._head_at(start)}'",
                        expected="the end of a form further in",
                        hint="The indentation says that a parenthesis above is one too many.",
                    )
        return None

    def _head_at(self, start: int) -> str:
        match = _one_token().match(self.text, start + 1)
        return (match[3] or "") if match is not None else ""

    def _not_closed(self, start: int) -> BadInput:
        head = self._head_at(start)
        return self.lines.error(
            start,
            f"'({head}' that does not end where its indentation says",
            expected="')'",
            hint="A closing parenthesis is missing in this form.",
            length=len(head) + 1,
        )

    def _misplaced(self) -> BadInput | None:
        """Return an error for the first form that stands at a depth where it cannot."""
        depth = 0
        opened = -1  # the opening parenthesis right before
        for at, token, is_string in self._tokens():
            if not is_string and token in {"(", ")"}:
                opened = at if token == "(" else -1  # noqa: S105
                depth += 1 if opened >= 0 else -1
                continue
            if opened >= 0 and not is_string and depth != 2 and token in self.top_heads:
                what = "missing" if depth > 2 else "too many"
                return self.lines.error(
                    opened,
                    f"'({token}' {'inside another form' if depth > 2 else 'outside'}",
                    expected="it directly in the outermost form",
                    hint=f"A closing parenthesis is {what} above.",
                    length=len(token) + 1,
                )
            opened = -1
        return None

    def place(self, form: Form) -> Place:
        """Return where the form stands."""
        return self.lines.place(form.start)

    def offset(self, form: Form, index: int) -> int:
        """Return where the word of that index stands (or the form, where it has fewer)."""
        if index < len(form.words):
            depth = 0 if self.text[form.start] == "(" else 1  # where it was lost
            for at, token, is_string in self._tokens(form.start):
                if not is_string and token in {"(", ")"}:
                    depth += 1 if token == "(" else -1  # noqa: S105
                elif depth == 1:
                    if index == 0:
                        return at
                    index -= 1
        return form.start

    def number(self, form: Form, index: int, what: str) -> float:
        """Return the number at the index.

        Raises:
            BadInput: there is none, or it is not finite or not of this world.
        """
        try:
            return self._numbers[form.words[index]]
        except LookupError:
            pass
        at, word = self.offset(form, index), form.word(index)
        if word is None:
            raise self.lines.error(
                at, f"'({form.head}' without {what}", expected=f"'({form.head} ... {what} ...)'"
            )
        raise self.lines.error(
            at, f"{word!r}", expected=f"a number ({what})", length=max(1, len(word))
        )

    def check(self, form: Form, first: int = 1) -> None:
        """Note what the form may not hold: words and forms that are not in the table.

        Words before the index `first` are the caller's.
        """
        kind = self.kinds[form.head]
        for index in range(first, len(form.words)):
            word = form.words[index]
            if word not in kind.words:
                self.warn(
                    "unexpected-word", f"{word!r} in '({form.head}' was passed over", form, index
                )
        for child in form.forms:
            if child.head not in kind.heads:
                self.note_unknown(child, form.head)

    def note_unknown(self, form: Form, within: str) -> None:
        """Note a form that is not known where it stands."""
        self.warn("unknown-form", f"'({form.head}' in '({within}' was passed over", form)

    def once(self, form: Form) -> dict[str, Form]:
        """Return the first form of each head in it; note those that may not repeat and do."""
        once = self.kinds[form.head].once
        found: dict[str, Form] = {}
        for child in form.forms:
            if found.setdefault(child.head, child) is not child and child.head in once:
                said = f"a second '({child.head}' in '({form.head}'; the first counts"
                self.warn("repeated-form", said, child)
        return found

    def warn(self, code: str, message: str, where: Form | int, index: int = 0) -> None:
        """Note something read with care: at an offset, of a form, or of a word of it by its index.

        Of each code the first are named with their place; `all_warnings` counts the rest.
        """
        self._counts[code] += 1
        if self._counts[code] <= MOST_WARNINGS:
            if isinstance(where, Form):
                where = self.offset(where, index) if index else where.start
            self.warnings.append(Warning(code, message, self.lines.place(where)))

    def all_warnings(self) -> list[Warning]:
        """Return what was noted, and how many more there were of each kind."""
        more = [
            Warning(code, f"{count} in all; the first {MOST_WARNINGS} are named above", None)
            for code, count in self._counts.items()
            if count > MOST_WARNINGS
        ]
        return [*self.warnings, *more]
