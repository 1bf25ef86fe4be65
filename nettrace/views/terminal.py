"""A page on a terminal, laid out by rich: 80 columns suffice; colour where it is one.

Where the output is no terminal it is 80 columns wide, without colour; NO_COLOR turns colour off.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterable, Sequence
from io import StringIO

from rich.cells import cell_len
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

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

#: Styles by meaning, few and calm; any other is for emphasis.
STYLES = {"": "", "quiet": "dim", "bad": "bold red", "warn": "yellow", "good": "green"}


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
    return "".join(f"{line.rstrip()}\n" for line in laid.written.getvalue().splitlines())


class _Terminal:
    """Lays blocks out and writes them down."""

    def __init__(self, width: int | None, is_terminal: bool) -> None:
        if width is None:
            asked = shutil.get_terminal_size((PLAIN_WIDTH, 24)).columns
            width = asked if is_terminal or "COLUMNS" in os.environ else PLAIN_WIDTH
        self.width = max(LEAST_WIDTH, min(width, MOST_WIDTH))
        dull = os.environ.get("NO_COLOR") or os.environ.get("TERM") in {"dumb", "unknown"}
        colour = is_terminal and not dull
        self._plain = not shows_signs(sys.stdout)  # before layout: "ohm" is wider than its sign
        self.written = StringIO()
        self._console = Console(
            file=self.written,
            width=self.width,
            force_terminal=colour,
            color_system="standard" if colour else None,
            legacy_windows=False,
            highlight=False,
            markup=False,
            emoji=False,
        )

    def put(self, block: Block) -> None:
        """Write a block's lines."""
        match block:
            case page.Title():
                room = self.width - len(block.left) - 2
                right = shorten_middle(self._words(block.right), max(0, room)) if room > 8 else ""
                self._spread(self._text((block.left, "name")), right, 2)
            case page.Heading():
                pieces = [(block.text, f"name {block.style}")]
                if block.note:
                    pieces.append((f"  {block.note}", "quiet"))
                text = self._text(*pieces)
                text.append(" " + "─" * max(0, self.width - len(text) - 1), STYLES["quiet"])
                self._console.print()
                self._hung(Text(), text)
            case page.Line():
                text = self._text(*((words_of(piece), style_of(piece)) for piece in block.pieces))
                self._hung(Text(" " * block.indent), text)
            case page.Fact():
                label = self._text((block.label, "quiet"))
                label.truncate(block.width - 1, overflow="ellipsis")
                label.pad_right(block.width - label.cell_len)
                self._hung(label, self._text((block.words, block.style)))
            case page.Ends():
                room = self.width - block.indent - len(block.right) - 2
                text = Text(" " * block.indent)
                for words, style in block.left:
                    shown = shorten_middle(self._words(words), max(4, room))
                    text.append(shown, STYLES.get(style, "bold"))
                    room -= len(shown)
                self._spread(text, block.right, 1)
            case page.Table():
                self._table(*flat_rows(block, TERMINAL))
            case page.Bullets():
                for sentence in block.sentences:
                    self._hung(Text(" · "), self._text((sentence, "")), margin=1)
            case page.Blank():
                self._console.print()
            case _:
                pass  # a picture is for the browser

    def _words(self, text: str) -> str:
        shown = printable(text)
        return plain_signs(shown) if self._plain else shown

    def _text(self, *pieces: tuple[str, str]) -> Text:
        text = Text()
        for words, style in pieces:
            codes = " ".join(STYLES.get(word, "bold") for word in style.split())
            text.append(self._words(words), codes)
        return text

    def _spread(self, left: Text, right: str, least: int) -> None:
        """Write words, and others at the right edge, `least` columns apart."""
        left.pad_right(max(least, self.width - left.cell_len - len(right)))
        left.append_text(self._text((right, "quiet")))
        self._hung(Text(), left)

    def _hung(self, lead: Text, text: Text, margin: int = 0) -> None:
        """Write text wrapped beside what leads it."""
        indent = lead.cell_len
        for part in text.wrap(self._console, self.width - indent - margin, overflow="fold"):
            part.rstrip()
            self._console.print(lead + part, soft_wrap=True)
            lead = Text(" " * indent)

    def _table(self, columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> None:
        """Write a table without lines; where it is too wide, cells wrap or lose their middle."""
        texts = [[self._words(words) for words in row] for row in rows]
        widths = self._widths(columns, texts)
        shown = Table(
            box=None, padding=(0, GAP, 0, 0), pad_edge=False, show_edge=False, show_header=False
        )
        for column, width in zip(columns, widths, strict=True):
            shown.add_column(
                justify="right" if column.right else "left",
                no_wrap=not column.wrap,
                overflow="fold" if column.wrap else "ellipsis",
                width=width,
            )
        # titles stand at the top of their cells, where rich has those of a header at the bottom
        shown.add_row(*(Text(column.title, STYLES["quiet"]) for column in columns))
        for row in texts:
            cells = []
            for column, text, width in zip(columns, row, widths, strict=True):
                whole = text if column.wrap or column.clip else shorten_middle(text, width)
                cells.append(Text(whole, STYLES.get(column.style, "bold")))
            shown.add_row(*cells)
        self._console.print(Padding(shown, (0, 0, 0, 1)))

    def _widths(self, columns: Sequence[Column], texts: Sequence[Sequence[str]]) -> list[int]:
        """Return column widths that fit: wrapping columns give way first."""
        widths = [
            max([len(column.title), *(cell_len(row[index]) for row in texts)])
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
