"""The plain whole-tree reader of s-expressions: any depth, any legal text, every place known.

It serves where the fast grammars do not apply: unusual but legal text, and text at fault, whose
line and column it names. Slower than they are, and the yardstick that they are tested against.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from nettrace.errors import Warning
from nettrace.readers.sexpr_text import NUMBER, TOKEN, SexprText, unquote

__all__ = ["Form", "TreeReader"]

#: Faults of one kind that are named one by one; the rest is counted.
MOST_WARNINGS = 20


class Form(list["str | Form"]):
    """A list in parentheses; its items are words and strings (as text) and further forms."""

    __slots__ = ("start",)

    def __init__(self, start: int) -> None:
        super().__init__()
        self.start = start

    @property
    def head(self) -> str:
        """The first word, "" where there is none."""
        return self[0] if self and isinstance(self[0], str) else ""

    def forms(self) -> Iterator[Form]:
        """Yield the forms in it."""
        for item in self:
            if isinstance(item, Form):
                yield item

    def first(self, head: str) -> Form | None:
        """Return the first form in it of that head."""
        for item in self:
            if isinstance(item, Form) and item and item[0] == head:
                return item
        return None

    def words(self) -> list[str]:
        """Return the words and strings after the head."""
        return [item for item in self[1:] if isinstance(item, str)]

    def word(self, index: int = 1) -> str | None:
        """Return the item at the index where it is a word or string."""
        if index < len(self):
            item = self[index]
            if isinstance(item, str):
                return item
        return None


class TreeReader:
    """Reads one text into a tree and gives items out of it, with errors that name their place.

    Args:
        source: the text.
        top_heads: heads that stand only directly in the outermost form; a parenthesis too few or
            too many is looked for with them.
    """

    def __init__(self, source: SexprText, top_heads: frozenset[str] = frozenset()) -> None:
        self.source = source
        self.top_heads = top_heads
        self.warnings: list[Warning] = []
        self._counts: Counter[str] = Counter()

    def read(self) -> Form:
        """Return the outermost form.

        Raises:
            BadInput: not one balanced form.
        """
        return self._parse(0, len(self.source.text))

    def span(self, start: int, end: int) -> Form:
        """Return the form that begins at `start`; it may still be open at `end`.

        Raises:
            BadInput: it is not balanced, or more follows.
        """
        return self._parse(start, end, may_be_open=True)

    def _parse(self, start: int, end: int, *, may_be_open: bool = False) -> Form:
        text = self.source.text
        root: Form | None = None
        form: Form | None = None
        above: list[Form] = []
        last_end = -1  # end of the last closing parenthesis
        for match in TOKEN.finditer(text, start, end):
            kind = match.lastindex
            if kind == 1:
                at = match.start(1)
                if text[at] == "(":
                    inner = Form(at)
                    if form is None:
                        if root is not None:
                            raise self._surplus(root, at)
                        root = inner
                    else:
                        form.append(inner)
                        above.append(form)
                    form = inner
                else:
                    if form is None:
                        raise self._surplus(root, at)
                    form = above.pop() if above else None
                    last_end = at + 1
            elif kind == 4:
                raise self._bad_token(match.start(4))
            elif form is None:
                raise self._surplus(root, match.start(kind or 0))
            elif kind == 2:
                form.append(unquote(match[2]))
            else:
                word = match[3]
                at = match.start(3)
                if at == last_end and word[0].isalpha():
                    # ")word" with no blank between: the writer lost the parenthesis before it
                    inner = Form(at)
                    inner.append(word)
                    form.append(inner)
                    above.append(form)
                    form = inner
                    self._note_mended(form, word)
                else:
                    form.append(word)
        if root is None:
            raise self.source.error(0, "no form", expected="'('")
        if form is not None and not (may_be_open and form is root):
            raise self._cut_off(form, above)
        return root

    def _note_mended(self, form: Form, word: str) -> None:
        self.warn(
            "missing-parenthesis",
            f"'{word}' stands right behind ')': read as '({word}'",
            form,
        )

    def _bad_token(self, at: int) -> Exception:
        text = self.source.text
        if text[at] == '"':
            close = text.find('"', at + 1)
            if close < 0:
                return self.source.error(
                    at,
                    "a string that does not end",
                    expected="a closing quotation mark",
                    hint="The file is cut off here, or a quotation mark is missing.",
                )
            return self.source.error(
                close,
                "a quotation mark inside a word",
                expected="a blank or ')'",
                hint="A quotation mark is missing or too many on this line or above.",
            )
        word = TOKEN.match(text, at)
        end = text.find('"', at) if word else at
        return self.source.error(
            max(end, at),
            "a quotation mark inside a word",
            expected="a blank or ')'",
            hint="A quotation mark is missing or too many on this line or above.",
        )

    def _surplus(self, root: Form | None, at: int) -> Exception:
        if root is None:
            return self.source.error(at, f"{self.source.text[at]!r}", expected="'('")
        misplaced = self.misindented() or self._misplaced()
        if misplaced is not None:
            return misplaced
        return self.source.error(
            at,
            f"text after the end of '({root.head}'",
            expected="the end of the file",
            hint="A parenthesis is missing or too many above.",
        )

    def _cut_off(self, form: Form, above: list[Form]) -> Exception:
        if len(above) <= 1:
            # all but the outermost were closed: the fault may be far above
            misplaced = self.misindented() or self._misplaced()
            if misplaced is not None:
                return misplaced
        depth = len(above) + 1
        more = f", {depth} open in all" if depth > 1 else ""
        return self.source.error(
            form.start,
            f"'({form.head}' that is never closed",
            expected="')'",
            hint=f"The file is cut off, or parentheses are missing at its end (this form{more}).",
            length=len(form.head) + 1,
        )

    def misindented(self) -> Exception | None:
        """Return an error for the first form that ends elsewhere than its indentation says.

        Only asked for where parentheses do not balance: writers indent every form they put on a
        line of its own, and the end that they put on a line of its own.
        """
        text = self.source.text
        above: list[tuple[int, int]] = []  # start of the form, indentation of its line
        line, indent = -1, 0
        for match in TOKEN.finditer(text):
            at = match.start(match.lastindex or 0)
            new_line = text.rfind("\n", max(line, 0), at)
            first = new_line >= line and not text[new_line + 1 : at].strip(" \t\r")
            if new_line > line or line < 0:
                line = new_line + 1 if new_line >= 0 else 0
                indent = at - line if first else indent
            if match.lastindex != 1:
                continue
            if text[at] == "(":
                if first and above and above[-1][1] >= indent:
                    return self._not_closed(above[-1][0])
                above.append((at, indent))
            elif above:
                start, own = above.pop()
                if first and own > indent:
                    return self._not_closed(start)
                if first and own < indent and not above:
                    return self.source.error(
                        at,
                        f"')' that ends '({self._head_at(start)}'",
                        expected="the end of a form further in",
                        hint="The indentation says that a parenthesis above is one too many.",
                    )
        return None

    def _head_at(self, start: int) -> str:
        match = TOKEN.match(self.source.text, start + 1)
        return (match[3] or "") if match is not None else ""

    def _not_closed(self, start: int) -> Exception:
        head = self._head_at(start)
        return self.source.error(
            start,
            f"'({head}' that does not end where its indentation says",
            expected="')'",
            hint="A closing parenthesis is missing in this form.",
            length=len(head) + 1,
        )

    def _misplaced(self) -> Exception | None:
        """Return an error for the first form that stands at a depth where it cannot."""
        depth = 0
        opened = -1
        for match in TOKEN.finditer(self.source.text):
            if match.lastindex == 1:
                opened = match.start(1) if match[1] == "(" else -1
                depth += 1 if match[1] == "(" else -1
                continue
            if match.lastindex == 3 and opened >= 0 and depth != 2 and match[3] in self.top_heads:
                what = "missing" if depth > 2 else "too many"
                return self.source.error(
                    opened,
                    f"'({match[3]}' {'inside another form' if depth > 2 else 'outside'}",
                    expected="it directly in the outermost form",
                    hint=f"A closing parenthesis is {what} above.",
                    length=len(match[3]) + 1,
                )
            opened = -1
        return None

    def offset(self, form: Form, index: int) -> int:
        """Return where the item of that index stands (or the form, where it has fewer)."""
        if index < len(form):
            item = form[index]
            if isinstance(item, Form):
                return item.start
        depth, count = 0, -1
        for match in TOKEN.finditer(self.source.text, form.start):
            if match.lastindex == 1:
                if depth == 1 and match[1] == "(":
                    count += 1
                depth += 1 if match[1] == "(" else -1
                if depth == 0:
                    break
            elif depth == 1:
                count += 1
                if count == index:
                    return match.start(match.lastindex or 0)
        return form.start

    def number(self, form: Form, index: int, what: str) -> float:
        """Return the number at the index.

        Raises:
            BadInput: there is none, or it is not finite or not of this world.
        """
        word = form.word(index)
        if word is None:
            raise self.source.error(
                self.offset(form, index),
                f"'({form.head}' without {what}",
                expected=f"'({form.head} ... {what} ...)'",
            )
        if NUMBER.match(word) is None:
            at = self.offset(form, index)
            raise self.source.error(
                at, f"{word!r}", expected=f"a number ({what})", length=max(1, len(word))
            )
        return float(word)

    def check(
        self,
        form: Form,
        heads: frozenset[str],
        words: frozenset[str] = frozenset(),
        first: int = 1,
    ) -> None:
        """Note what the form may not hold: forms of other heads, words other than these.

        Items before the index `first` are the caller's.
        """
        for index in range(first, len(form)):
            item = form[index]
            if isinstance(item, Form):
                if item.head not in heads:
                    self.pass_over(item, form.head)
            elif item not in words:
                said = f"{item!r} in '({form.head}' was passed over"
                self.warn("unexpected-word", said, form, index)

    def pass_over(self, form: Form, within: str) -> None:
        """Note a form that is not known where it stands."""
        self.warn("unknown-form", f"'({form.head}' in '({within}' was passed over", form)

    def once(self, form: Form, heads: frozenset[str]) -> None:
        """Note forms of these heads that stand in the form more than once."""
        seen: set[str] = set()
        for child in form.forms():
            if child.head in heads and child.head in seen:
                said = f"a second '({child.head}' in '({form.head}'; the first counts"
                self.warn("repeated-form", said, child)
            seen.add(child.head)

    def warn(self, code: str, message: str, form: Form, index: int = 0) -> None:
        """Note something read with care: a form, or the word at that index of it.

        Of each code the first are named with their place; `all_warnings` counts the rest.
        """
        self._counts[code] += 1
        if self._counts[code] <= MOST_WARNINGS:
            offset = self.offset(form, index) if index else form.start
            self.warnings.append(Warning(code, message, self.source.place(offset)))

    def all_warnings(self) -> list[Warning]:
        """Return what was noted, and how many more there were of each kind."""
        more = [
            Warning(code, f"{count} in all; the first {MOST_WARNINGS} are named above", None)
            for code, count in self._counts.items()
            if count > MOST_WARNINGS
        ]
        return [*self.warnings, *more]
