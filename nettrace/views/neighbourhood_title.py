"""The title block of a neighbourhood: what is drawn, of which board, what found no room, legend."""

from __future__ import annotations

from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind
from nettrace.views.neighbourhood import Neighbourhood
from nettrace.views.neighbourhood_symbols import GROUND
from nettrace.views.neighbourhood_words import balloon, label_text, sized, wrapped
from nettrace.views.text import counted, printable, shorten_middle
from nettrace.views.text_facts import refdes

__all__ = ["title_block"]


def title_block(circuit: Circuit, drawing: Neighbourhood) -> str:
    """Return the label of the whole graph; one without a title leaves that to the page around."""
    lines = []
    if drawing.selection.title:
        name = label_text(shorten_middle(printable(circuit.board.name), 60))
        lines = [f"<B>{label_text(drawing.selection.title)}</B>", name]
    lines += [sized(label_text(text), 8) for text in _left_out(circuit, drawing)]
    block = "".join(f'{line}<BR ALIGN="LEFT"/>' for line in lines)
    words = f'<TD VALIGN="TOP" ALIGN="LEFT" BALIGN="LEFT">{block}</TD>' if block else ""
    return (
        '<TABLE BORDER="0" CELLBORDER="1" CELLSPACING="0" CELLPADDING="4"><TR>'
        f"{words}<TD>{_legend(circuit, drawing)}</TD></TR></TABLE>"
    )


def _legend(circuit: Circuit, drawing: Neighbourhood) -> str:
    tag = '<FONT COLOR="white" POINT-SIZE="7"><B>GONE</B></FONT>'
    entries = []
    if any(part.gone for part in drawing.parts):
        cell = f'<TD BORDER="2" STYLE="DASHED" BGCOLOR="black">{tag}</TD>'
        entries.append((cell, "part that is missing"))
    if any(part.key in drawing.selection.bare for part in drawing.parts):
        cell = '<TD BORDER="1" STYLE="DOTTED">' + sized("part", 7) + "</TD>"
        entries.append((cell, "bare by design"))
    if drawing.selection.numbers:
        entries.append((balloon("1"), "number of the position"))
    entries.append(
        ('<TD BORDER="1" STYLE="ROUNDED">' + sized("NAME", 7) + "</TD>", "net"),
    )
    if any(circuit.net_kind(m.net) is not NetKind.GROUND for m in drawing.marks):
        cell = '<TD BORDER="2" SIDES="T">' + sized("<B>NAME</B>", 7) + "</TD>"
        entries.append((cell, "supply rail"))
    if any(circuit.net_kind(m.net) is NetKind.GROUND for m in drawing.marks):
        entries.append((f"<TD>{GROUND}</TD>", "ground"))
    if any(net.goes_on or net.more_pins for net in drawing.nets):
        entries.append((f"<TD>{sized('…', 9)}</TD>", "goes on, not drawn"))
    rows = "".join(
        f'<TR>{cell}<TD ALIGN="LEFT">{sized(words, 8)}</TD></TR>' for cell, words in entries
    )
    return f'<TABLE BORDER="0" CELLBORDER="0" CELLSPACING="3" CELLPADDING="1">{rows}</TABLE>'


def _left_out(circuit: Circuit, drawing: Neighbourhood) -> list[str]:
    """Return sentences on what found no room."""
    texts = []
    for what, keys in (
        ("Gone too, not drawn", drawing.left_gone),
        ("Not drawn", drawing.left_parts),
    ):
        names = [refdes(circuit, key) for key in keys]
        if names:
            lines = wrapped(names, letters=70)
            texts.append(f"{what}: {lines[0]}")
            texts += lines[1:]
    more = sum(net.more_pins for net in drawing.nets if not net.goes_on)
    if more:
        pins = counted(more, "more pin")
        texts.append(f"{pins} of these nets on parts that are not drawn")
    return texts
