"""One page: what is shown, as blocks of words. A terminal or a document is its rendering.

A view makes blocks from an answer and knows no rendering; a rendering knows no answer, and leaves
out blocks that it has no form for. A block or column that is for some renderings alone says so in
`on`. Every text may come from a file: each rendering makes control characters visible and lets
nothing be taken for its own mark-up.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple, TypeAlias

from msgspec import Struct

if TYPE_CHECKING:
    from nettrace.views.drawing import Markup

#: The renderings, as `on` names them.
TERMINAL, MARKDOWN, HTML = "terminal", "markdown", "html"


# -- words in a line or cell --------------------------------------------------------------------


class Span(NamedTuple):
    """Words of one style, and what they stand for, so that a page can lead from one to the other.

    `style` is name, quiet, bad, warn or good, and for HTML any class of the style sheet besides;
    strong and code are what they say. `part` is a part's key, `pad` REFDES.PIN, `net` a net's name.
    """

    text: str
    style: str = ""
    part: str = ""
    pad: str = ""
    net: str = ""


class Field(NamedTuple):
    """A box to tick, or to write in; `label` is said where it is not seen."""

    label: str
    is_text: bool = False


class Link(NamedTuple):
    """Words that lead to an `id` of the page; `own` is their own."""

    text: str
    to: str
    own: str = ""
    label: str = ""
    style: str = ""


class Choice(NamedTuple):
    """One of several verdicts, ticked where it is the one."""

    text: str
    chosen: bool


Inline: TypeAlias = "str | tuple[str, str] | Span | Field | Link | Choice | Bullets"


def words_of(piece: Inline) -> str:
    """Return a piece's words alone; a box has none."""
    if isinstance(piece, str):
        return piece
    return "" if isinstance(piece, (Field, Bullets)) else piece[0]


def style_of(piece: Inline) -> str:
    """Return a piece's style, "" for none."""
    return "" if isinstance(piece, (str, Field, Link, Choice, Bullets)) else piece[1]


# -- blocks -------------------------------------------------------------------------------------


class Block(Struct, frozen=True, kw_only=True):
    """What stands under one another on a page; `on` are its renderings, () for all."""

    on: tuple[str, ...] = ()


class Title(Block, frozen=True):
    """The first line: what the page is about, and which board."""

    left: str
    right: str = ""


class Heading(Block, frozen=True):
    """A heading, with a note beside it; `level` 3 is one inside a section."""

    text: str
    note: str = ""
    style: str = ""
    level: int = 2


class Line(Block, frozen=True):
    """One paragraph; it wraps under its own indent."""

    pieces: tuple[Inline, ...]
    indent: int = 0
    style: str = ""


class Fact(Block, frozen=True):
    """A label and its text, which wraps in a column of its own; `width` is the label's."""

    label: str
    words: str
    style: str = ""
    width: int = 14


class Ends(Block, frozen=True):
    """One line whose last word stands at the right edge."""

    left: tuple[tuple[str, str], ...]
    right: str
    indent: int = 1


class Bullets(Block, frozen=True):
    """Sentences, each after a mark."""

    sentences: tuple[str, ...]
    kind: str = ""


class Blank(Block, frozen=True):
    """An empty line."""


class Step(NamedTuple):
    """A step of work: what, why, and the keys of the parts it is about."""

    title: str
    because: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()


class Steps(Block, frozen=True):
    """Steps of work in their order, each with a box to tick."""

    steps: tuple[Step, ...]


class Figure(Block, frozen=True):
    """A picture: HTML and SVG that a drawing made, or a photo, with its caption and notes."""

    picture: Markup
    caption: str
    kind: str = "wide"
    details: str = ""
    listed: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


class Columns(Block, frozen=True):
    """Blocks side by side, where there is room."""

    sides: tuple[tuple[Block, ...], ...]
    kind: str = "columns"


class Signatures(Block, frozen=True):
    """Lines to sign and date, one for each who signs."""

    who: tuple[str, ...]


class Section(Block, frozen=True):
    """A numbered part of a page under an `id`."""

    name: str
    title: str
    blocks: tuple[Block, ...]
    kind: str = ""


def line(*pieces: Inline, indent: int = 0) -> Line:
    """Return a paragraph of words, and of words with their style."""
    return Line(pieces, indent)


def is_on(item: Block | Column, rendering: str) -> bool:
    """Return whether a rendering shows a block or column."""
    return not item.on or rendering in item.on


def flat(blocks: Iterable[Block], rendering: str) -> Iterator[Block]:
    """Yield the blocks that a rendering shows, for one that has a single column and no frames."""
    for block in blocks:
        if not is_on(block, rendering):
            continue
        if isinstance(block, Section):
            yield Heading(block.title)
            yield from flat(block.blocks, rendering)
        elif isinstance(block, Columns):
            for side in block.sides:
                yield from flat(side, rendering)
        else:
            yield block


# -- tables -------------------------------------------------------------------------------------


class Column(NamedTuple):
    """A table's column.

    On a terminal that is too narrow, cells of a `wrap` column wrap, those of a `cut` column lose
    their middle (names: the tail tells most), with `clip` their tail (prose). In HTML `kind` are
    its cells' classes, `label` is its title, and stands before a cell where rows are cards, and
    `head` makes the cells headings of their rows.
    """

    title: str
    style: str = ""
    right: bool = False
    cut: bool = False
    wrap: bool = False
    clip: bool = False
    kind: str = ""
    label: str = ""
    head: bool = False
    on: tuple[str, ...] = ()


def columns(*specs: str) -> tuple[Column, ...]:
    """Return columns written in short: a title, then its style and what gives way.

    >>> columns("pin: name cut", "mm: right")[0][:4]
    ('pin', 'name', False, True)
    """
    found = []
    for spec in specs:
        title, _, words = spec.partition(": ")
        ways: dict[str, Any] = {
            word: word in words.split() for word in ("right", "cut", "wrap", "clip")
        }
        style = " ".join(word for word in words.split() if word not in ways)
        found.append(Column(title, style, **ways))
    return tuple(found)


class Cell(NamedTuple):
    """A cell that is more than words; `rows` and `columns` are how many of each it covers.

    `kind` stands for the column's; `plain` is what Markdown and a terminal show, where that is not
    the pieces' own words.
    """

    pieces: tuple[Inline, ...]
    rows: int = 1
    columns: int = 1
    kind: str | None = None
    plain: str | None = None


#: Cells in the order of the columns. A row with fewer stands beside a cell that reaches down to it,
#: and is for HTML alone.
Cells: TypeAlias = "Sequence[str | Cell]"


class Row(NamedTuple):
    """A row that stands for parts (their keys)."""

    cells: Cells
    parts: tuple[str, ...] = ()


class Group(NamedTuple):
    """Rows that belong together, under a title or for one part."""

    rows: tuple[Row | Cells, ...]
    title: str = ""
    parts: tuple[str, ...] = ()


class Table(Block, frozen=True):
    """A table; `kind` are its classes in HTML. Rows are cells, or groups of rows."""

    columns: tuple[Column, ...]
    rows: tuple[Row | Group | Cells, ...]
    caption: str = ""
    kind: str = "lines"


def table(heads: str, rows: Iterable[Cells]) -> Table:
    """Return a table whose columns are written in short, a `;` between them; see `columns`."""
    return Table(columns(*heads.split("; ")), tuple(rows))


def flat_rows(table: Table, rendering: str) -> tuple[list[Column], list[list[str]]]:
    """Return the columns of a rendering, and all rows as words."""
    kept = [i for i, column in enumerate(table.columns) if is_on(column, rendering)]
    rows = [one for row in table.rows for one in (row.rows if isinstance(row, Group) else (row,))]
    cells = [row.cells if isinstance(row, Row) else row for row in rows]
    words = [[_plain(row[i]) for i in kept] for row in cells if len(row) == len(table.columns)]
    return [table.columns[i] for i in kept], words


def _plain(cell: str | Cell) -> str:
    if isinstance(cell, str):
        return cell
    return cell.plain if cell.plain is not None else "".join(map(words_of, cell.pieces))
