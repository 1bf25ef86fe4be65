"""The work sheet that every command prints on: title, facts, tables, prose; 80 columns suffice.

Only here does rich meet the terminal: colour where it is one and NO_COLOR is not set, a fixed
width of 80 where it is not.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from io import StringIO

from rich.cells import cell_len
from rich.console import Console
from rich.table import Table
from rich.text import Text

from nettrace.views.text import (
    plain_signs,
    printable,
    shorten_middle,
    shows_signs,
    write_text,
)

__all__ = ["Column", "Sheet"]

#: Width where the output is no terminal, and the most that is used of a wide one.
PLAIN_WIDTH, MOST_WIDTH = 80, 110
LEAST_WIDTH = 40
#: Columns of the left margin and of labels.
LABEL_WIDTH = 14
#: Blank columns between two table columns, and how far columns give way in a narrow terminal.
GAP = 2
FAIR_PROSE, FAIR_NAME = 34, 22
LEAST_PROSE, LEAST_NAME = 20, 8

#: Styles by meaning, few and calm.
STYLES = {
    "name": "bold",
    "quiet": "dim",
    "bad": "bold red",
    "warn": "yellow",
    "good": "green",
    "": "",
}


@dataclass(frozen=True, slots=True)
class Column:
    """A table column.

    Where the table is too wide, cells of a `wrap` column wrap, and those of a `cut` column lose
    their middle (names: the tail tells most) or, with `clip`, their tail (prose).
    """

    title: str
    style: str = ""
    right: bool = False
    cut: bool = False
    wrap: bool = False
    clip: bool = False


class Sheet:
    """Collects what a command shows and writes it in one go when it is closed.

    Every text that is handed in may come from a file: control characters are made visible, and
    nothing in it is taken for mark-up.
    """

    def __init__(self, width: int | None = None, *, terminal: bool | None = None) -> None:
        is_terminal = sys.stdout.isatty() if terminal is None else terminal
        if width is None:
            asked = shutil.get_terminal_size((PLAIN_WIDTH, 24)).columns
            width = asked if is_terminal or "COLUMNS" in os.environ else PLAIN_WIDTH
        self.width = max(LEAST_WIDTH, min(width, MOST_WIDTH))
        colour = is_terminal and not os.environ.get("NO_COLOR")
        self._plain = not shows_signs(sys.stdout)  # before layout: "ohm" is wider than its sign
        self._buffer = StringIO()
        self._console = Console(
            file=self._buffer,
            width=self.width,
            force_terminal=colour,
            color_system="auto" if colour else None,
            legacy_windows=False,
            highlight=False,
            markup=False,
            emoji=False,
            safe_box=False,
        )

    def __enter__(self) -> Sheet:
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        if kind is None:
            write_text(self.text())

    def text(self) -> str:
        """Return what stands on the sheet, without blanks at line ends."""
        lines = self._buffer.getvalue().splitlines()
        return "".join(f"{line.rstrip()}\n" for line in lines)

    def title(self, left: str, right: str = "") -> None:
        """Write the sheet's first line: what it is about, and which board."""
        room = self.width - len(left) - 2
        right = shorten_middle(self._words(right), max(0, room)) if room > 8 else ""
        line = Text(self._words(left), style="bold")
        line.append(" " * max(2, self.width - line.cell_len - len(right)))
        line.append(right, style="dim")
        self._print(line)

    def heading(self, text: str, note: str = "", style: str = "") -> None:
        """Write a heading with a rule to the right edge, a blank line above."""
        line = Text("\n")
        line.append(self._words(text), style=f"bold {STYLES[style]}".strip())
        if note:
            line.append(f"  {self._words(note)}", style="dim")
        used = len(line) - 1
        line.append(" " + "─" * max(0, self.width - used - 1), style="dim")
        self._print(line)

    def line(self, *pieces: tuple[str, str] | str, indent: int = 0) -> None:
        """Write one paragraph of (text, style) pieces; it wraps under its own indent."""
        text = Text()
        for piece in pieces:
            words, style = piece if isinstance(piece, tuple) else (piece, "")
            text.append(self._words(words), style=STYLES[style])
        self._print_indented(text, indent)

    def labelled(self, label: str, words: str, style: str = "", width: int = LABEL_WIDTH) -> None:
        """Write a label and its text; the text wraps in its own column."""
        grid = Table.grid(padding=(0, 1), expand=False)
        grid.add_column(width=width - 1, no_wrap=True)
        grid.add_column(overflow="fold", max_width=self.width - width)
        grid.add_row(
            Text(self._words(label), style="dim"), Text(self._words(words), style=STYLES[style])
        )
        self._print(grid)

    def ends(self, left: Sequence[tuple[str, str]], right: str, indent: int = 1) -> None:
        """Write one line whose last word stands at the right edge."""
        room = self.width - indent - len(right) - 2
        line = Text(" " * indent)
        for words, style in left:
            shown = shorten_middle(self._words(words), max(4, room))
            line.append(shown, style=STYLES[style])
            room -= len(shown)
        line.append(" " * max(1, self.width - line.cell_len - len(right)))
        line.append(right, style="dim")
        self._print(line)

    def table(self, columns: Sequence[Column], rows: Iterable[Sequence[str]]) -> None:
        """Write a table without lines; where it is too wide, cells wrap or lose their middle."""
        cells = [[self._words(words) for words in row] for row in rows]
        widths = self._widths(columns, cells)
        table = Table(box=None, padding=(0, GAP, 0, 0), pad_edge=False, show_edge=False,
                      header_style="dim", expand=False)  # fmt: skip
        for column, width in zip(columns, widths, strict=True):
            table.add_column(
                column.title,
                style=STYLES[column.style],
                justify="right" if column.right else "left",
                no_wrap=not column.wrap,
                overflow="fold" if column.wrap else "ellipsis",
                width=width,
            )
        for row in cells:
            table.add_row(
                *(
                    Text(_fitted(column, words, width))
                    for column, words, width in zip(columns, row, widths, strict=True)
                )
            )
        self._print_indented(table, 1)

    def _widths(self, columns: Sequence[Column], cells: Sequence[Sequence[str]]) -> list[int]:
        """Return column widths that fit the sheet: wrapping columns give way first."""
        widths = [
            max([len(column.title), *(cell_len(row[index]) for row in cells)])
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
        ):
            while over > 0 and giving:
                widest = max(giving, key=lambda index: widths[index])
                if widths[widest] <= least:
                    break
                widths[widest] -= 1
                over -= 1
        return widths

    def bullets(self, sentences: Iterable[str]) -> None:
        """Write sentences, each after a mark, wrapped beside it."""
        for sentence in sentences:
            grid = Table.grid(padding=(0, 1))
            grid.add_column(width=2, justify="right")
            grid.add_column(overflow="fold", max_width=self.width - 4)
            grid.add_row("·", Text(self._words(sentence)))
            self._print(grid)

    def blank(self) -> None:
        """Write an empty line."""
        self._console.print()

    def _words(self, text: str) -> str:
        shown = printable(text)
        return plain_signs(shown) if self._plain else shown

    def _print_indented(self, item: Text | Table, indent: int) -> None:
        from rich.padding import Padding

        self._console.print(Padding(item, (0, 0, 0, indent)) if indent else item)

    def _print(self, item: Text | Table) -> None:
        self._console.print(item)


def _fitted(column: Column, words: str, width: int) -> str:
    if column.wrap or len(words) <= width:
        return words
    return f"{words[: width - 1]}…" if column.clip else shorten_middle(words, width)
