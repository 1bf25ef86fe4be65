"""A page as a document: Markdown (CommonMark with tables), or HTML for the inside of a page."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import accumulate
from typing import Final

from nettrace.views import page
from nettrace.views.drawing import SEPARATOR, Markup, el, joined, void
from nettrace.views.page import HTML, MARKDOWN, Block, Column, flat, flat_rows, is_on
from nettrace.views.text import printable

#: What could start markup, anywhere in a line (CommonMark 0.31, 2.4: any may be escaped).
_SPECIAL: Final = str.maketrans({sign: f"\\{sign}" for sign in "\\`*_[]<>|~#&"})


def escaped(text: str) -> str:
    r"""Return text that Markdown shows as it stands.

    >>> print(escaped("R1*"))
    R1\*
    """
    return printable(text).translate(_SPECIAL)


def markdown(blocks: Iterable[Block]) -> str:
    """Return a page as Markdown (CommonMark with tables)."""
    lines: list[str] = []
    for block in flat(blocks, MARKDOWN):
        lines += [*_markdown(block), ""]
    return "\n".join(lines).rstrip("\n") + "\n"


def _markdown(block: Block) -> list[str]:
    match block:
        case page.Title():
            return [f"# {escaped(block.left)}"]
        case page.Heading():
            # a heading inside a section leads into what follows
            shown = escaped(block.text)
            return [f"{shown}:" if block.level > 2 else f"## {shown}"]
        case page.Line():
            marks = ("**" if page.style_of(piece) == "strong" else "" for piece in block.pieces)
            words = (escaped(page.words_of(piece)) for piece in block.pieces)
            return ["".join(f"{m}{word}{m}" for m, word in zip(marks, words, strict=True))]
        case page.Fact():
            return [f"{escaped(block.label)}: {escaped(block.words)}"]
        case page.Table():
            columns, rows = flat_rows(block, MARKDOWN)
            cells = [[escaped(cell) or " " for cell in row] for row in rows]
            lines = [[column.title for column in columns], ["---"] * len(columns), *cells]
            return [f"| {' | '.join(line)} |" for line in lines]
        case page.Bullets():
            return [f"- {escaped(text)}" for text in block.sentences]
        case page.Steps():
            steps: list[str] = []
            for index, step in enumerate(block.steps, 1):
                steps.append(f"{index}. **{escaped(step.title)}**")
                indent = " " * (len(str(index)) + 2)
                steps += [f"{indent}- {escaped(reason)}" for reason in step.because]
            return steps
        case page.Signatures():
            return "\n\n".join(
                f"{who}: {'_' * 22}  Date: {'_' * 12}" for who in block.who
            ).splitlines()
        case _:
            return []


# -- HTML ---------------------------------------------------------------------------------------


def html(blocks: Iterable[Block]) -> Markup:
    """Return blocks as HTML; sections are numbered in their order."""
    shown = [block for block in blocks if is_on(block, HTML)]
    numbers = accumulate(int(isinstance(block, page.Section)) for block in shown)
    return joined(map(_html, shown, numbers))


def _html(block: Block, number: int = 0) -> Markup:
    match block:
        case page.Heading():
            return el(f"h{block.level}", block.text, class_=block.style or None)
        case page.Line():
            return el("p", *map(_piece, block.pieces), class_=block.style or None)
        case page.Table():
            return _table(block)
        case page.Bullets():
            made = _list(block.sentences)
            return el("div", made, class_=block.kind) if block.kind else made
        case page.Steps():
            steps = [
                el(
                    "li",
                    _piece(page.Field(f"step {index} done")),
                    el("div", el("b", step.title), _list(step.because) if step.because else ""),
                    data_part=SEPARATOR.join(step.parts) or None,
                )
                for index, step in enumerate(block.steps, 1)
            ]
            return el("ol", *steps, class_="steps")
        case page.Figure():
            more = Markup("")
            if block.details:
                more = el("details", el("summary", block.details), _list(block.listed))
            mind = el("div", _list(block.notes), class_="mind") if block.notes else ""
            caption = el("figcaption", block.caption, more)
            return el("figure", block.picture, caption, mind, class_=block.kind)
        case page.Columns():
            return el("div", *(el("div", html(side)) for side in block.sides), class_=block.kind)
        case page.Section():
            own = f"{block.name}-title"
            head = el("h2", el("span", str(number), class_="no"), f" {block.title}", id=own)
            return el("section", head, html(block.blocks), id=block.name,
                      class_=block.kind or None, aria_labelledby=own)  # fmt: skip
        case page.Signatures():
            words = [word for who in block.who for word in (who, "Signature", "Date")]
            return el("div", *(el("div", word) for word in words), class_="signatures")
        case _:
            return Markup("")


def _list(texts: Iterable[str]) -> Markup:
    return el("ul", *(el("li", text) for text in texts))


def _piece(piece: page.Inline) -> str:
    match piece:
        case str():
            return piece
        case page.Bullets():
            return _html(piece)
        case page.Choice():
            box = el("span", "×" if piece.chosen else "", class_="box", aria_hidden="true")
            said = el("span", " (the verdict)", class_="quiet") if piece.chosen else ""
            return el("span", box, f" {piece.text}", said,
                      class_="chosen" if piece.chosen else None)  # fmt: skip
        case page.Field():
            more = {"autocomplete": "off", "spellcheck": "false"} if piece.is_text else {}
            return void("input", type="text" if piece.is_text else "checkbox",
                        aria_label=piece.label, **more)  # fmt: skip
        case page.Link():
            return el("a", piece.text, href=f"#{piece.to}", id=piece.own or None,
                      class_=piece.style or None, aria_label=piece.label or None)  # fmt: skip
        case _:
            span = page.Span(*piece)
            tag = {"strong": "b", "code": "code"}.get(span.style, "span")
            kind = span.style or None if tag == "span" else None
            if tag == "span" and not any(span[1:]):
                return span.text
            return el(tag, span.text, data_part=span.part or None, data_pad=span.pad or None,
                      data_net=span.net or None, class_=kind,
                      tabindex="0" if span.pad else None)  # fmt: skip


def _table(table: page.Table) -> Markup:
    heads = [
        el("th", column.label or column.title, scope="col", role="columnheader")
        for column in table.columns
        if is_on(column, HTML)
    ]
    groups = [row for row in table.rows if isinstance(row, page.Group)]
    loose = tuple(row for row in table.rows if not isinstance(row, page.Group))
    bodies = []
    for group in [*groups, page.Group(loose)] if loose else groups:
        lines = [_row(table.columns, row) for row in group.rows]
        if group.title:
            head = el("th", group.title, colspan=str(len(heads)), scope="rowgroup",
                      role="rowheader", class_="step")  # fmt: skip
            lines.insert(0, el("tr", head, role="row"))
        parts = SEPARATOR.join(group.parts) or None
        bodies.append(el("tbody", *lines, role="rowgroup", data_part=parts))
    return el(
        "table", el("caption", table.caption),
        el("thead", el("tr", *heads, role="row"), role="rowgroup"),
        *bodies, class_=table.kind, role="table",
    )  # fmt: skip


def _row(columns: tuple[Column, ...], row: page.Row | page.Cells) -> Markup:
    cells, parts = row if isinstance(row, page.Row) else (row, ())
    if len(cells) < len(columns):  # beside cells that reach down from a row above
        columns = (Column(""),) * len(cells)
    made = []
    for column, cell in zip(columns, cells, strict=True):
        if not is_on(column, HTML):
            continue
        whole = page.Cell((cell,)) if isinstance(cell, str) else cell
        made.append(
            el(
                "th" if column.head else "td",
                *map(_piece, whole.pieces),
                scope="row" if column.head else None,
                role="rowheader" if column.head else "cell",
                class_=(column.kind if whole.kind is None else whole.kind) or None,
                data_label=column.label or None,
                rowspan=str(whole.rows) if whole.rows > 1 else None,
                colspan=str(whole.columns) if whole.columns > 1 else None,
            )
        )
    return el("tr", *made, role="row", data_part=SEPARATOR.join(parts) or None)
