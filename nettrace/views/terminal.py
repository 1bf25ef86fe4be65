"""A page on a terminal: lines of words, 80 columns suffice; colour where it is one.

Where the output is no terminal it is 80 columns wide, without colour; NO_COLOR turns colour off.
"""

from __future__ import annotations

import os
import re
import shutil
import sys
import unicodedata
from collections.abc import Iterable, Sequence
from itertools import groupby, pairwise

from nettrace.views import page
from nettrace.views.page import TERMINAL, Block, Column, flat, flat_rows, style_of, words_of
from nettrace.views.text import plain_signs, printable, shorten_middle, shows_signs, write_text

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
    laid = _Terminal(width, sys.stdout.isatty() if terminal is None else terminal)
    for block in flat(blocks, TERMINAL):
        laid.put(block)
    return "".join(f"{line.rstrip()}\n" for line in laid.lines)


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
            case page.Title():
                room = self.width - len(block.left) - 2
                right = shorten_middle(self._words(block.right), max(0, room)) if room > 8 else ""
                self._spread([(self._words(block.left), "name")], right, 2)
            case page.Heading():
                self._heading(block)
            case page.Line():
                self._wrapped([(words_of(p), style_of(p)) for p in block.pieces], block.indent)
            case page.Fact():
                label = _clipped(self._words(block.label), block.width - 1)
                lead = [(label, "quiet"), (" " * (block.width - cells(label)), "")]
                self._hung(lead, [(block.words, block.style)], block.width)
            case page.Ends():
                room = self.width - block.indent - len(block.right) - 2
                pieces = [(" " * block.indent, "")]
                for words, style in block.left:
                    pieces.append((shorten_middle(self._words(words), max(4, room)), style))
                    room -= len(pieces[-1][0])
                self._spread(pieces, block.right, 1)
            case page.Table():
                self._table(*flat_rows(block, TERMINAL))
            case page.Bullets():
                for sentence in block.sentences:
                    self._hung([(" · ", "")], [(sentence, "")], 3, margin=1)
            case page.Blank():
                self.lines.append("")
            case _:
                pass  # a picture is for the browser

    def _spread(self, left: _Pieces, right: str, least: int) -> None:
        """Write words, and others at the right edge, `least` columns apart."""
        used = sum(cells(text) for text, _ in left) + len(right)
        gap = " " * max(least, self.width - used)
        self._wrapped([*left, (gap, ""), (right, "quiet")])

    def _heading(self, block: page.Heading) -> None:
        self.lines.append("")
        style = block.style or "name"
        pieces = [(self._words(block.text), style if style in {"name", "bad"} else f"bold {style}")]
        if block.note:
            pieces.append((f"  {self._words(block.note)}", "quiet"))
        used = sum(len(text) for text, _ in pieces)
        self._wrapped([*pieces, (" " + "─" * max(0, self.width - used - 1), "quiet")])

    def _table(self, columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> None:
        """Write a table without lines; where it is too wide, cells wrap or lose their middle."""
        texts = [[self._words(words) for words in row] for row in rows]
        widths = self._widths(columns, texts)
        heads = [column._replace(style="quiet", clip=True) for column in columns]
        self._row(heads, [column.title for column in columns], widths)
        for row in texts:
            self._row(columns, row, widths)

    def _row(self, columns: Sequence[Column], row: Sequence[str], widths: Sequence[int]) -> None:
        stacked = []
        for column, text, width in zip(columns, row, widths, strict=True):
            if column.wrap:
                stacked.append(self._folded([(text, column.style)], width))
            else:
                whole = text if column.clip else shorten_middle(text, width)
                stacked.append([[(_clipped(whole, width), column.style)]])
        for index in range(max(map(len, stacked))):
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
        self._hung([(" " * indent, "")], pieces, indent)

    def _hung(self, lead: _Pieces, pieces: _Pieces, indent: int, margin: int = 0) -> None:
        """Write pieces wrapped beside what leads them."""
        shown = [(self._words(text), style) for text, style in pieces]
        for text in self._folded(shown, self.width - indent - margin):
            self._line([*lead, *text])
            lead = [(" " * indent, "")]

    def _folded(self, pieces: _Pieces, width: int) -> list[list[tuple[str, str]]]:
        """Return pieces as lines of a width, without the blanks at their ends."""
        whole = "".join(text for text, _ in pieces)
        owners = [owner for owner, (text, _) in enumerate(pieces) for _ in text]
        lines = []
        for at, end in pairwise([0, *_breaks(whole, width), len(whole)]):
            kept, line = at + len(whole[at:end].rstrip()), []
            for owner, run in groupby(range(at, kept), owners.__getitem__):
                text = "".join(whole[place] for place in run)
                line.append((text, pieces[owner][1]))
            lines.append(line)
        return lines

    def _line(self, pieces: _Pieces) -> None:
        shown = list(pieces)
        while shown and not shown[-1][0].strip():
            shown.pop()
        self.lines.append("".join(self._dressed(text, style) for text, style in shown))

    def _dressed(self, text: str, style: str) -> str:
        if not self._colour or not style or not text:
            return text
        codes = ";".join(STYLES.get(word, "1") for word in style.split())
        return f"\x1b[{codes}m{text}\x1b[0m"


def _breaks(text: str, width: int) -> list[int]:
    """Return where lines of a width begin, the first excepted: between words, else inside one."""
    found: list[int] = []
    used = 0
    for match in re.finditer(r"\s*\S+\s*", text):  # each word with the blanks behind it
        word, start = match.group(), match.start()
        bare = cells(word.rstrip())
        if bare <= width - used:
            used += cells(word)
            continue
        if start:
            found.append(start)
        used = 0
        for at, sign in enumerate(word, start) if bare > width else ():
            if used + cells(sign) > width:
                found.append(at)
                used = 0
            used += cells(sign)
        used = used or cells(word)
    return found


def _clipped(text: str, width: int) -> str:
    if cells(text) <= width:
        return text
    while text and cells(text) > width - 1:
        text = text[:-1]
    return f"{text}…"
