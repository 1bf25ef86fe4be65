"""A page on a terminal: lines of words, 80 columns suffice; colour where it is one.

Where the output is no terminal it is 80 columns wide, without colour; NO_COLOR turns colour off.
"""

from __future__ import annotations

import os
import re
import shutil
import sys
import unicodedata
from collections.abc import Iterable, Iterator, Sequence

from nettrace.views.page import (
    TERMINAL,
    Blank,
    Block,
    Bullets,
    Column,
    Ends,
    Fact,
    Heading,
    Line,
    Section,
    Table,
    Title,
    flat_rows,
    shown_on,
    style_of,
    words_of,
)
from nettrace.views.text import (
    plain_signs,
    printable,
    shorten_middle,
    shows_signs,
    write_text,
)

#: Width where the output is no terminal, and the most that is used of a wide one.
PLAIN_WIDTH, MOST_WIDTH = 80, 110
LEAST_WIDTH = 40
#: Blank columns between two table columns, and how far columns give way in a narrow terminal.
GAP = 2
FAIR_PROSE, FAIR_NAME = 34, 22
LEAST_PROSE, LEAST_NAME = 20, 8

#: Styles by meaning, few and calm, as the terminal's codes (ECMA-48, 8.3.117).
STYLES = {"name": "1", "strong": "1", "quiet": "2", "bad": "1;31", "warn": "33", "good": "32"}

#: Words of one style, one after the other.
_Pieces = Sequence[tuple[str, str]]


def show(blocks: Iterable[Block]) -> None:
    """Write a page to the terminal, in one go."""
    write_text(terminal_text(blocks))


def terminal_text(
    blocks: Iterable[Block], width: int | None = None, *, terminal: bool | None = None
) -> str:
    """Return a page as lines, without blanks at their ends; `width` None is the terminal's own."""
    page = _Terminal(width, sys.stdout.isatty() if terminal is None else terminal)
    for block in shown_on(blocks, TERMINAL):
        page.put(block)
    return "".join(f"{line}\n" for line in page.lines)


def cells(text: str) -> int:
    """Return how many columns a text takes: two for wide signs (UAX 11), none for marks."""
    if text.isascii():
        return len(text)
    return sum(
        0
        if unicodedata.category(c) in {"Mn", "Me"}
        else 1 + (unicodedata.east_asian_width(c) in "WF")
        for c in text
    )


class _Terminal:
    """Lays blocks out in lines."""

    def __init__(self, width: int | None, is_terminal: bool) -> None:
        if width is None:
            asked = shutil.get_terminal_size((PLAIN_WIDTH, 24)).columns
            width = asked if is_terminal or "COLUMNS" in os.environ else PLAIN_WIDTH
        self.width = max(LEAST_WIDTH, min(width, MOST_WIDTH))
        dull = os.environ.get("NO_COLOR") or os.environ.get("TERM") in {"dumb", "unknown"}
        self._colour = is_terminal and not dull
        self._plain = not shows_signs(sys.stdout)  # before layout: "ohm" is wider than its sign
        self.lines: list[str] = []

    def put(self, block: Block) -> None:
        """Add a block's lines."""
        match block:
            case Title():
                self._title(block)
            case Heading():
                self._heading(block)
            case Line():
                self._wrapped([(words_of(p), style_of(p)) for p in block.pieces], block.indent)
            case Fact():
                self._fact(block)
            case Ends():
                self._ends(block)
            case Table():
                self._table(*flat_rows(block, TERMINAL))
            case Bullets():
                self._bullets(block.sentences)
            case Blank():
                self.lines.append("")
            case Section():
                self._heading(Heading(block.title))
                for each in shown_on(block.blocks, TERMINAL):
                    self.put(each)
            case _:
                pass  # for a page that is printed

    def _title(self, block: Title) -> None:
        room = self.width - len(block.left) - 2
        right = shorten_middle(self._words(block.right), max(0, room)) if room > 8 else ""
        left = self._words(block.left)
        gap = " " * max(2, self.width - cells(left) - len(right))
        self._wrapped([(left, "name"), (gap, ""), (right, "quiet")])

    def _heading(self, block: Heading) -> None:
        self.lines.append("")
        pieces = [(self._words(block.text), block.style or "name")]
        if block.style not in {"", "bad"}:
            pieces = [(pieces[0][0], f"bold {block.style}")]
        if block.note:
            pieces.append((f"  {self._words(block.note)}", "quiet"))
        used = sum(len(text) for text, _ in pieces)
        self._wrapped([*pieces, (" " + "─" * max(0, self.width - used - 1), "quiet")])

    def _fact(self, block: Fact) -> None:
        """Write a label and its text, which wraps in its own column."""
        label = _clipped(self._words(block.label), block.width - 1)
        texts = self._folded([(self._words(block.words), block.style)], self.width - block.width)
        for index, text in enumerate(texts or [[]]):
            head = label if index == 0 else ""
            self._line([(head, "quiet"), (" " * (block.width - cells(head)), ""), *text])

    def _bullets(self, sentences: Iterable[str]) -> None:
        for sentence in sentences:
            texts = self._folded([(self._words(sentence), "")], self.width - 4)
            for index, text in enumerate(texts or [[]]):
                self._line([(" · " if index == 0 else "   ", ""), *text])

    def _ends(self, block: Ends) -> None:
        room = self.width - block.indent - len(block.right) - 2
        pieces = [(" " * block.indent, "")]
        for words, style in block.left:
            shown = shorten_middle(self._words(words), max(4, room))
            pieces.append((shown, style))
            room -= len(shown)
        used = sum(cells(text) for text, _ in pieces) + len(block.right)
        self._wrapped([*pieces, (" " * max(1, self.width - used), ""), (block.right, "quiet")])

    def _table(self, columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> None:
        """Write a table without lines; where it is too wide, cells wrap or lose their middle."""
        texts = [[self._words(words) for words in row] for row in rows]
        widths = self._widths(columns, texts)
        self._row(columns, [column.title for column in columns], widths, heads=True)
        for row in texts:
            shown = [_fitted(*each) for each in zip(columns, row, widths, strict=True)]
            self._row(columns, shown, widths)

    def _row(
        self,
        columns: Sequence[Column],
        row: Sequence[str],
        widths: Sequence[int],
        heads: bool = False,
    ) -> None:
        stacked = []
        for column, text, width in zip(columns, row, widths, strict=True):
            style = "quiet" if heads else column.style
            if column.wrap:
                stacked.append(self._folded([(text, style)], width))
            else:
                stacked.append([[(_clipped(text, width), style)]])
        for index in range(max(len(lines) for lines in stacked)):
            pieces: list[tuple[str, str]] = [(" ", "")]
            for column, lines, width in zip(columns, stacked, widths, strict=True):
                cell = lines[index] if index < len(lines) else []
                gap = " " * (width - sum(cells(text) for text, _ in cell))
                pieces += [(gap, ""), *cell] if column.right else [*cell, (gap, "")]
                pieces.append((" " * GAP, ""))
            self._line(pieces)

    def _widths(self, columns: Sequence[Column], texts: Sequence[Sequence[str]]) -> list[int]:
        """Return column widths that fit: wrapping columns give way first."""
        widths = [
            max([len(column.title), *(cells(row[index]) for row in texts)])
            for index, column in enumerate(columns)
        ]
        over = sum(widths) + GAP * len(widths) + 1 - self.width
        prose = [i for i, column in enumerate(columns) if column.wrap or column.clip]
        names = [i for i, column in enumerate(columns) if column.cut]
        for least, giving in (
            (FAIR_PROSE, prose),
            (FAIR_NAME, names),
            (LEAST_PROSE, prose),
            (LEAST_NAME, names),
            (1, range(len(columns))),
        ):
            spare = GAP if least == 1 else 0  # the last column's gap may stand beyond the edge
            while over > spare and giving:
                widest = max(giving, key=lambda index: widths[index])
                if widths[widest] <= least:
                    break
                widths[widest] -= 1
                over -= 1
        return widths

    # -- lines ----------------------------------------------------------------------------------

    def _words(self, text: str) -> str:
        shown = printable(text)
        return plain_signs(shown) if self._plain else shown

    def _wrapped(self, pieces: _Pieces, indent: int = 0) -> None:
        shown = [(self._words(text), style) for text, style in pieces]
        for line in self._folded(shown, self.width - indent) or [[]]:
            self._line([(" " * indent, ""), *line])

    def _folded(self, pieces: _Pieces, width: int) -> list[list[tuple[str, str]]]:
        """Return pieces as lines of a width."""
        whole = "".join(text for text, _ in pieces)
        starts = [0, *_breaks(whole, width)]
        lines: list[list[tuple[str, str]]] = [[] for _ in starts]
        at = place = 0
        for text, style in pieces:
            rest = text
            while rest:
                end = starts[place + 1] if place + 1 < len(starts) else len(whole)
                taken = rest[: end - at]
                lines[place].append((taken, style))
                rest, at = rest[len(taken) :], at + len(taken)
                if at == end and place + 1 < len(starts):
                    place += 1
        return [_stripped(line) for line in lines]

    def _line(self, pieces: _Pieces) -> None:
        shown = (self._dressed(text, style) for text, style in _stripped(list(pieces)))
        self.lines.append("".join(shown))

    def _dressed(self, text: str, style: str) -> str:
        if not self._colour or not style or not text:
            return text
        codes = ";".join(STYLES.get(word, "1") for word in style.split())
        return f"\x1b[{codes}m{text}\x1b[0m"


def _breaks(text: str, width: int) -> list[int]:
    """Return where lines of a width begin, the first excepted: between words, else inside one."""
    found: list[int] = []
    used = 0
    for start, word in _word_by_word(text):
        bare = cells(word.rstrip())
        if bare <= width - used:
            used += cells(word)
        elif bare > width:
            at = start
            for chunk in _chunks(word, width):
                if at:
                    found.append(at)
                at += len(chunk)
                used = cells(chunk)
        elif used and start:
            found.append(start)
            used = cells(word)
    return found


def _word_by_word(text: str) -> Iterator[tuple[int, str]]:
    """Yield each word with the blanks behind it (the first with those before it too)."""
    for match in re.finditer(r"\s*\S+\s*", text):
        yield match.start(), match.group()


def _chunks(word: str, width: int) -> Iterator[str]:
    start, used = 0, 0
    for index, sign in enumerate(word):
        if used + cells(sign) > width:
            yield word[start:index]
            start, used = index, 0
        used += cells(sign)
    yield word[start:]


def _stripped(line: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """Return a line without the blanks at its end."""
    while line and not line[-1][0].strip():
        line.pop()
    return [*line[:-1], (line[-1][0].rstrip(), line[-1][1])] if line else line


def _clipped(text: str, width: int) -> str:
    if cells(text) <= width:
        return text
    while text and cells(text) > width - 1:
        text = text[:-1]
    return f"{text}…"


def _fitted(column: Column, words: str, width: int) -> str:
    if column.wrap or len(words) <= width:
        return words
    return f"{words[: width - 1]}…" if column.clip else shorten_middle(words, width)
