"""One page: what is shown, as blocks of words, and its renderings: terminal, Markdown, HTML.

A view makes blocks from an answer and knows no rendering; a rendering knows no answer. A block or
column that is for some renderings alone says so in `on`. Every text may come from a file: each
rendering makes control characters visible and lets nothing be taken for its own mark-up.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any, Final, NamedTuple, TypeAlias

if TYPE_CHECKING:
    from nettrace.views.drawing import Markup

#: The renderings, as `on` names them.
TERMINAL, MARKDOWN, HTML = "terminal", "markdown", "html"


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


class Tick(NamedTuple):
    """A box to tick; `label` is said where it is not seen."""

    label: str


class Entry(NamedTuple):
    """A box to write in; `label` is said where it is not seen."""

    label: str


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


Inline: TypeAlias = "str | tuple[str, str] | Span | Tick | Entry | Link | Choice | Bullets"


class Title(NamedTuple):
    """The first line: what the page is about, and which board."""

    left: str
    right: str = ""
    on: tuple[str, ...] = ()


class Heading(NamedTuple):
    """A heading, with a note beside it; `level` 3 is one inside a section."""

    text: str
    note: str = ""
    style: str = ""
    level: int = 2
    on: tuple[str, ...] = ()


class Line(NamedTuple):
    """One paragraph; it wraps under its own indent."""

    pieces: tuple[Inline, ...]
    indent: int = 0
    style: str = ""
    on: tuple[str, ...] = ()


class Fact(NamedTuple):
    """A label and its text, which wraps in a column of its own; `width` is the label's."""

    label: str
    words: str
    style: str = ""
    width: int = 14
    on: tuple[str, ...] = ()


class Ends(NamedTuple):
    """One line whose last word stands at the right edge."""

    left: tuple[tuple[str, str], ...]
    right: str
    indent: int = 1
    on: tuple[str, ...] = ()


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

    >>> columns("pin: name cut", "mm: right")[0]._replace(on=())[:4]
    ('pin', 'name', False, True)
    """
    found = []
    for spec in specs:
        title, _, words = spec.partition(": ")
        ways: dict[str, Any] = {
            word: True for word in words.split() if word in {"right", "cut", "wrap", "clip"}
        }
        style = next((word for word in words.split() if word not in ways), "")
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


class Row(NamedTuple):
    """A row that stands for parts (their keys)."""

    cells: tuple[str | Cell, ...]
    parts: tuple[str, ...] = ()


class Group(NamedTuple):
    """Rows that belong together, under a title or for one part."""

    rows: tuple[Row | Sequence[str | Cell], ...]
    title: str = ""
    parts: tuple[str, ...] = ()


class Table(NamedTuple):
    """A table; `kind` are its classes in HTML. Rows are cells, or groups of rows."""

    columns: tuple[Column, ...]
    rows: tuple[Row | Group | Sequence[str | Cell], ...]
    caption: str = ""
    kind: str = "lines"
    on: tuple[str, ...] = ()


class Bullets(NamedTuple):
    """Sentences, each after a mark."""

    sentences: tuple[str, ...]
    kind: str = ""
    on: tuple[str, ...] = ()


class Step(NamedTuple):
    """A step of work: what, why, and the keys of the parts it is about."""

    title: str
    because: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()


class Steps(NamedTuple):
    """Steps of work in their order, each with a box to tick."""

    steps: tuple[Step, ...]
    on: tuple[str, ...] = ()


class Blank(NamedTuple):
    """An empty line."""

    on: tuple[str, ...] = ()


class Figure(NamedTuple):
    """A picture: HTML and SVG that a drawing made, or a photo, with its caption and notes."""

    picture: Markup
    caption: tuple[Inline, ...] = ()
    kind: str = "wide"
    details: str = ""
    listed: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    on: tuple[str, ...] = (HTML,)


class Columns(NamedTuple):
    """Blocks side by side, where there is room."""

    sides: tuple[tuple[Block, ...], ...]
    kind: str = "columns"
    on: tuple[str, ...] = ()


class Signatures(NamedTuple):
    """Lines to sign and date, one for each who signs."""

    who: tuple[str, ...]
    on: tuple[str, ...] = (MARKDOWN, HTML)


class Section(NamedTuple):
    """A numbered part of a page under an `id`."""

    name: str
    title: str
    blocks: tuple[Block, ...]
    kind: str = ""
    on: tuple[str, ...] = ()


Block: TypeAlias = (
    "Title | Heading | Line | Fact | Ends | Table | Bullets | Steps | Blank | Figure | Columns"
    " | Section | Signatures"
)


def line(*pieces: Inline, indent: int = 0) -> Line:
    """Return a paragraph of words, and of words with their style."""
    return Line(pieces, indent)


def shown_on(blocks: Iterable[Block], rendering: str) -> list[Block]:
    """Return the blocks that a rendering shows."""
    return [block for block in blocks if not block.on or rendering in block.on]


def plain(cell: str | Cell) -> str:
    """Return a cell's words alone."""
    if isinstance(cell, str):
        return cell
    if cell.plain is not None:
        return cell.plain
    return "".join(words_of(piece) for piece in cell.pieces)


def words_of(piece: Inline) -> str:
    """Return a piece's words alone; a box has none."""
    if isinstance(piece, str):
        return piece
    return "" if isinstance(piece, (Tick, Entry, Bullets)) else piece[0]


def style_of(piece: Inline) -> str:
    """Return a piece's style, "" for none."""
    if isinstance(piece, (str, Tick, Entry, Choice, Bullets)):
        return ""
    return piece.style if isinstance(piece, Link) else piece[1]


def flat_rows(table: Table, rendering: str) -> tuple[list[Column], list[list[str]]]:
    """Return the columns of a rendering, and all rows as words."""
    kept = [i for i, column in enumerate(table.columns) if not column.on or rendering in column.on]
    rows: list[Row | Sequence[str | Cell]] = []
    for row in table.rows:
        rows += row.rows if isinstance(row, Group) else [row]
    cells = [row.cells if isinstance(row, Row) else row for row in rows]
    words = [[plain(row[i]) if i < len(row) else "" for i in kept] for row in cells]
    return [table.columns[i] for i in kept], words


# -- Markdown -----------------------------------------------------------------------------------

#: What could start markup, anywhere in a line (CommonMark 0.31, 2.4: any may be escaped).
_SPECIAL: Final = "\\`*_[]<>|~#&"


def escaped(text: str) -> str:
    r"""Return text that Markdown shows as it stands.

    >>> print(escaped("R1*"))
    R1\*
    """
    from nettrace.views.text import printable

    return "".join(f"\\{c}" if c in _SPECIAL else c for c in printable(text))


def markdown(blocks: Iterable[Block]) -> str:
    """Return a page as Markdown (CommonMark with tables)."""
    lines: list[str] = []
    for block in shown_on(blocks, MARKDOWN):
        lines += _markdown(block)
    return "\n".join(lines).rstrip("\n") + "\n"


def _markdown(block: Block) -> list[str]:
    match block:
        case Title():
            return [f"# {escaped(block.left)}", ""]
        case Heading():
            # a heading inside a section leads into what follows
            shown = escaped(block.text)
            return [f"{shown}:" if block.level > 2 else f"{'#' * block.level} {shown}", ""]
        case Line():
            return ["".join(_markdown_piece(piece) for piece in block.pieces), ""]
        case Fact():
            return [f"{escaped(block.label)}: {escaped(block.words)}", ""]
        case Ends():
            return [" ".join([*(escaped(text) for text, _ in block.left), block.right]), ""]
        case Table():
            columns, rows = flat_rows(block, MARKDOWN)
            lines = [f"| {' | '.join(column.title for column in columns)} |"]
            lines.append(f"|{' --- |' * len(columns)}")
            lines += [f"| {' | '.join(escaped(cell) or ' ' for cell in row)} |" for row in rows]
            return [*lines, ""]
        case Bullets():
            return [*(f"- {escaped(text)}" for text in block.sentences), ""]
        case Steps():
            lines = []
            for index, step in enumerate(block.steps, 1):
                lines.append(f"{index}. **{escaped(step.title)}**")
                indent = " " * (len(str(index)) + 2)
                lines += [f"{indent}- {escaped(reason)}" for reason in step.because]
            return [*lines, ""]
        case Section():
            lines = [f"## {block.title}", ""]
            for each in shown_on(block.blocks, MARKDOWN):
                lines += _markdown(each)
            return lines
        case Signatures():
            return [line for who in block.who
                    for line in (f"{who}: {'_' * 22}  Date: {'_' * 12}", "")]  # fmt: skip
        case Columns():
            return [line for side in block.sides for each in shown_on(side, MARKDOWN)
                    for line in _markdown(each)]  # fmt: skip
        case _:
            return []


def _markdown_piece(piece: Inline) -> str:
    words = escaped(words_of(piece))
    return f"**{words}**" if style_of(piece) == "strong" else words


# -- HTML ---------------------------------------------------------------------------------------


def html(blocks: Iterable[Block]) -> Markup:
    """Return blocks as HTML; sections are numbered in their order."""
    from nettrace.views.drawing import joined

    number, made = 0, []
    for block in shown_on(blocks, HTML):
        number += isinstance(block, Section)
        made.append(_html(block, number))
    return joined(made)


def _html(block: Block, number: int = 0) -> Markup:
    from nettrace.views.drawing import Markup, el, joined

    match block:
        case Title():
            return el("h1", block.left)
        case Heading():
            return el(f"h{block.level}", block.text, class_=block.style or None)
        case Line():
            return el("p", *(_html_piece(piece) for piece in block.pieces),
                      class_=block.style or None)  # fmt: skip
        case Fact():
            return el("dl", el("div", el("dt", block.label), el("dd", block.words)))
        case Ends():
            return el("p", *(f"{text} " for text, _ in block.left), el("span", block.right))
        case Table():
            return _html_table(block)
        case Bullets():
            made = el("ul", *(el("li", text) for text in block.sentences))
            return el("div", made, class_=block.kind) if block.kind else made
        case Steps():
            steps = [_html_step(index, step) for index, step in enumerate(block.steps, 1)]
            return el("ol", *steps, class_="steps")
        case Figure():
            listed = el("ul", *(el("li", text) for text in block.listed))
            more = el("details", el("summary", block.details), listed) if block.details else ""
            notes = el("ul", *(el("li", note) for note in block.notes))
            return el(
                "figure",
                block.picture,
                el("figcaption", *(_html_piece(piece) for piece in block.caption), more),
                el("div", notes, class_="mind") if block.notes else "",
                class_=block.kind,
            )
        case Columns():
            sides = [el("div", *(_html(each) for each in shown_on(side, HTML)))
                     for side in block.sides]  # fmt: skip
            return el("div", *sides, class_=block.kind)
        case Section():
            head = el("h2", el("span", str(number), class_="no"), f" {block.title}",
                      id=f"{block.name}-title")  # fmt: skip
            body = joined([_html(each) for each in shown_on(block.blocks, HTML)])
            return el("section", head, body, id=block.name, class_=block.kind or None,
                      aria_labelledby=f"{block.name}-title")  # fmt: skip
        case Signatures():
            words = [word for who in block.who for word in (who, "Signature", "Date")]
            return el("div", *(el("div", word) for word in words), class_="signatures")
        case _:
            return Markup("")


def _html_piece(piece: Inline) -> str:
    from nettrace.views.drawing import el, void

    if isinstance(piece, str):
        return piece
    if isinstance(piece, Bullets):
        return _html(piece)
    if isinstance(piece, Choice):
        box = el("span", "×" if piece.chosen else "", class_="box", aria_hidden="true")
        said = el("span", " (the verdict)", class_="quiet") if piece.chosen else ""
        return el("span", box, f" {piece.text}", said, class_="chosen" if piece.chosen else None)
    if isinstance(piece, Tick):
        return void("input", type="checkbox", aria_label=piece.label)
    if isinstance(piece, Entry):
        return void("input", type="text", aria_label=piece.label, autocomplete="off",
                    spellcheck="false")  # fmt: skip
    if isinstance(piece, Link):
        return el("a", piece.text, href=f"#{piece.to}", id=piece.own or None,
                  class_=piece.style or None, aria_label=piece.label or None)  # fmt: skip
    span = Span(*piece)
    tag = {"strong": "b", "code": "code"}.get(span.style, "span")
    style = span.style if tag == "span" and span.style else None
    if tag == "span" and not any(span[1:]):
        return span.text
    return el(tag, span.text, data_part=span.part or None, data_pad=span.pad or None,
              data_net=span.net or None, class_=style,
              tabindex="0" if span.pad else None)  # fmt: skip


def _html_step(index: int, step: Step) -> Markup:
    from nettrace.views.drawing import SEPARATOR, el

    reasons = el("ul", *(el("li", text) for text in step.because)) if step.because else ""
    return el(
        "li",
        _html_piece(Tick(f"step {index} done")),
        el("div", el("b", step.title), reasons),
        data_part=SEPARATOR.join(step.parts) or None,
    )


def _html_table(table: Table) -> Markup:
    from nettrace.views.drawing import SEPARATOR, el

    kept = [i for i, column in enumerate(table.columns) if not column.on or HTML in column.on]
    columns = [table.columns[i] for i in kept]
    bodies, loose = [], []
    for row in table.rows:
        if not isinstance(row, Group):
            loose.append(_html_row(columns, row, kept))
            continue
        lines = [_html_row(columns, each, kept) for each in row.rows]
        if row.title:
            head = el("th", row.title, colspan=str(len(columns)), scope="rowgroup",
                      role="rowheader", class_="step")  # fmt: skip
            lines.insert(0, el("tr", head, role="row"))
        parts = SEPARATOR.join(row.parts) or None
        bodies.append(el("tbody", *lines, role="rowgroup", data_part=parts))
    if loose:
        bodies.append(el("tbody", *loose, role="rowgroup"))
    heads = [
        el("th", column.label or column.title, scope="col", role="columnheader")
        for column in columns
    ]
    return el(
        "table", el("caption", table.caption),
        el("thead", el("tr", *heads, role="row"), role="rowgroup"),
        *bodies, class_=table.kind, role="table",
    )  # fmt: skip


def _html_row(
    columns: Sequence[Column], row: Row | Sequence[str | Cell], kept: Sequence[int]
) -> Markup:
    """Return a row; in one with fewer cells than columns, others reach down."""
    from nettrace.views.drawing import SEPARATOR, el

    cells = row.cells if isinstance(row, Row) else tuple(row)
    parts = SEPARATOR.join(row.parts) or None if isinstance(row, Row) else None
    if len(cells) > max(kept):
        pairs = [(column, cells[index]) for column, index in zip(columns, kept, strict=True)]
    else:
        pairs = [(Column(""), cell) for cell in cells]
    made = []
    for column, cell in pairs:
        whole = Cell((cell,)) if isinstance(cell, str) else cell
        kind = column.kind if whole.kind is None else whole.kind
        made.append(
            el(
                "th" if column.head else "td",
                *(_html_piece(piece) for piece in whole.pieces),
                scope="row" if column.head else None,
                role="rowheader" if column.head else "cell",
                class_=kind or None,
                data_label=column.label or None,
                rowspan=str(whole.rows) if whole.rows > 1 else None,
                colspan=str(whole.columns) if whole.columns > 1 else None,
            )
        )
    return el("tr", *made, role="row", data_part=parts)
