"""A neighbourhood as DOT text: a pure function, drawn left to right in black on white.

Every node and line has a tooltip for the SVG; classes (`part`, `gone`, `net`, `rail`) and ids let
a page that holds the SVG find them. Labels are Graphviz tables, and so are the symbols in them:
grids of black cells, which look the same in every renderer.
"""

from __future__ import annotations

import html
import re
from collections import deque
from collections.abc import Collection, Iterable
from functools import cache

from nettrace.bench.area import AreaReport, PadReport
from nettrace.bench.neighbourhood import Line, Neighbourhood, NetNode, PartNode, Selection
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Bus, NetKind, Severity
from nettrace.circuit.kinds import Kind
from nettrace.knowledge import section, table
from nettrace.model.board import Net, Part
from nettrace.values.quantity import engineering
from nettrace.views.drawing import area_words, safe_text, short_net_names
from nettrace.views.text import counted, listed, printable, shorten_middle
from nettrace.views.text_facts import (
    bus_line,
    bus_words,
    net_words,
    refdes,
    role_words,
    value_words,
    volts_words,
)

#: Letters of a name before its middle is left out; the tooltip has it whole.
NAME_LETTERS, ROLE_LETTERS, VALUE_LETTERS, PIN_LETTERS = 26, 24, 22, 16
_DIODES = frozenset({Kind.DIODE, Kind.ZENER, Kind.LED, Kind.ESD})
_CATHODES, _ANODES = frozenset({"K", "C", "CATHODE", "KATHODE"}), frozenset({"A", "ANODE"})
#: A blank at the end of a piece of text that no viewer leaves out.
_GAP = "&#160;"
_GONE = '<FONT COLOR="white" POINT-SIZE="8"><B>GONE</B></FONT>'
_NOTHING = 'BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="2"'
_ROUND = 'BORDER="1" STYLE="ROUNDED" CELLBORDER="0" CELLSPACING="0" CELLPADDING="3"'


def draw_graph(circuit: Circuit, drawing: Neighbourhood) -> str:
    """Return the DOT source of a neighbourhood; the same drawing gives the same text."""
    import graphviz

    labels = _Labels(circuit, drawing)
    symbols = {at for at, part in enumerate(drawing.parts) if labels.is_symbol(part)}
    left = _left_lines(drawing, symbols)
    looks = table("drawing")["graph"]
    own = {
        "label": f"<{_title_block(circuit, drawing)}>",
        "tooltip": graphviz.escape(safe_text(graph_title(circuit, drawing.selection))),
    }
    graph = graphviz.Graph(
        "neighbourhood",
        graph_attr={**looks["graph"], **own},
        node_attr=dict(looks["node"]),
        edge_attr=dict(looks["edge"]),
    )

    def node(name: str, label: str, tip: str, kind: str, **more: str) -> None:
        graph.node(name, f"<{label}>", tooltip=graphviz.escape(tip), **more, **{"class": kind})

    for number, part in enumerate(drawing.parts):
        left_row = next((line.row for line in left if line.part == number), 0)
        label, kind = labels.part(part, left_row), "part gone" if part.gone else "part"
        # letters and digits of a key stay in its id, the rest is spelt by number
        plain = re.sub(r"[^A-Za-z0-9_]", lambda match: f"-{ord(match[0]):x}-", part.key)
        node(f"p{number}", label, labels.part_tip(part), kind, id=f"part-{plain}")
    for number, net in enumerate(drawing.nets):
        node(f"n{number}", labels.net(net), labels.net_tip(net), "net")
    for number, mark in enumerate(drawing.marks):
        kind = "ground" if circuit.net_kind(mark) is NetKind.GROUND else "rail"
        node(f"m{number}", labels.mark(mark), labels.mark_tip(mark), kind)
    for line in drawing.lines:
        other = f"n{line.net}" if line.net is not None else f"m{line.mark}"
        port = f"p{line.part}:r{line.row}:{'w' if line in left else 'e'}"
        tail, head = (other, port) if line in left else (port, other)
        graph.edge(tail, head, tooltip=graphviz.escape(labels.line_tip(line)))
    text: str = graph.source
    return text


def names_of_parts(drawing: Neighbourhood) -> dict[str, tuple[str, ...]]:
    """Return node name in the DOT text -> keys of the parts that it stands for."""
    return {f"p{number}": part.keys for number, part in enumerate(drawing.parts)}


def names_of_nets(drawing: Neighbourhood) -> dict[str, str]:
    """Return node name in the DOT text -> net name, of nets, rails and grounds."""
    nets = {f"n{number}": net.net for number, net in enumerate(drawing.nets)}
    return nets | {f"m{number}": net for number, net in enumerate(drawing.marks)}


# -- what it is about -----------------------------------------------------------------------------


def graph_title(circuit: Circuit, selection: Selection) -> str:
    """Return what a graph is about: `Around U1, U2`; "" where the page around says it."""
    subject = selection.subject
    if subject is None:
        return ""
    if isinstance(subject, AreaReport):
        side = f", {subject.side} side" if subject.side is not None else ""
        return f"Damaged area {area_words(subject.shape)}{side}"
    first, most = subject[0], 3
    if isinstance(first, PadReport):
        pad = first.pin or first.pad
        what, most = "Pad", 1
        names = [f"{refdes(circuit, first.part.key)}.{pad.number if pad is not None else ''}"]
    elif isinstance(first, Part):
        what, most = "Around", 4
        names = [refdes(circuit, part.key) for part in subject if isinstance(part, Part)]
    elif isinstance(first, Net):
        what = f"Net{'s' * (len(subject) > 1)}"
        names = [net.name for net in subject if isinstance(net, Net)]
    else:
        what, names = "Bus", [bus_words(bus) for bus in subject if isinstance(bus, Bus)]
    more = f" and {len(subject) - most} more" if len(subject) > most else ""
    return f"{what} {', '.join(names[:most])}{more}"


def _title_block(circuit: Circuit, drawing: Neighbourhood) -> str:
    """Return the label of the whole graph: title, what found no room, and the legend.

    One without a title leaves that to the page around.
    """
    lines = []
    title = graph_title(circuit, drawing.selection)
    if title:
        name = _text(shorten_middle(printable(circuit.board.name), 60))
        lines = [f"<B>{_text(title)}</B>", name]
    for what, keys in (
        ("Gone too, not drawn", drawing.left_gone),
        ("Not drawn", drawing.left_parts),
    ):
        if keys:
            first, *rest = _wrapped([refdes(circuit, key) for key in keys], letters=70)
            lines += [_sized(_text(text), 8) for text in (f"{what}: {first}", *rest)]
    more = sum(net.more_pins for net in drawing.nets if not net.goes_on)
    if more:
        words = f"{counted(more, 'more pin')} of these nets on parts that are not drawn"
        lines.append(_sized(words, 8))
    block = "".join(f'{line}<BR ALIGN="LEFT"/>' for line in lines)
    cell = f'<TD VALIGN="TOP" ALIGN="LEFT" BALIGN="LEFT">{block}</TD>' if block else ""

    kinds = {circuit.net_kind(net) for net in drawing.marks}
    there = {
        "gone": any(part.gone for part in drawing.parts),
        "bare": any(part.key in drawing.selection.bare for part in drawing.parts),
        "number": bool(drawing.selection.numbers),
        "net": True,
        "rail": bool(kinds - {NetKind.GROUND}),
        "ground": NetKind.GROUND in kinds,
        "goes_on": any(net.goes_on or net.more_pins for net in drawing.nets),
    }
    rows = ""
    for what, (sample, words) in table("drawing")["graph"]["legend"].items():
        if there[what]:
            shown = sample or f"<TD>{_symbol('ground')}</TD>"
            rows += f'<TR>{shown}<TD ALIGN="LEFT">{_sized(words, 8)}</TD></TR>'
    legend = _table('BORDER="0" CELLBORDER="0" CELLSPACING="3" CELLPADDING="1"', rows)
    return _table(
        'BORDER="0" CELLBORDER="1" CELLSPACING="0" CELLPADDING="4"',
        f"<TR>{cell}<TD>{legend}</TD></TR>",
    )


# -- where lines begin and end --------------------------------------------------------------------


def _left_lines(drawing: Neighbourhood, symbols: Collection[int]) -> frozenset[Line]:
    """Return the lines that leave their part to the left: towards where the reader starts.

    Of a symbol that is one line, else its first: its two ends never leave on the same side.
    """
    depth = _depths(drawing)
    lines_of: dict[int, list[Line]] = {}
    for line in drawing.lines:
        lines_of.setdefault(line.part, []).append(line)
    left: set[Line] = set()
    for part, lines in lines_of.items():
        back = [
            line
            for line in lines
            if line.net is not None and depth["n", line.net] < depth["p", part]
        ]
        left.update((back or lines)[:1] if part in symbols else back)
    return frozenset(left)


def _depths(drawing: Neighbourhood) -> dict[tuple[str, int], int]:
    """Return how many steps each part (`p`) and net (`n`) is from where its reader starts.

    The start is the focus; of a part without lines to it, the net or box with the most lines.
    """
    beside: dict[tuple[str, int], list[tuple[str, int]]] = {
        **{("p", number): [] for number in range(len(drawing.parts))},
        **{("n", number): [] for number in range(len(drawing.nets))},
    }
    for line in drawing.lines:
        if line.net is not None:
            beside["p", line.part].append(("n", line.net))
            beside["n", line.net].append(("p", line.part))

    def first(node: tuple[str, int]) -> tuple[bool, bool, int]:
        kind, number = node
        is_last, is_focus = False, False
        if kind == "n":
            is_last = drawing.nets[number].goes_on
        else:
            is_last = len(drawing.parts[number].rows) == 2
            is_focus = drawing.selection.focus in drawing.parts[number].keys and not is_last
        return not is_focus, is_last, -len(beside[node])

    depth: dict[tuple[str, int], int] = {}
    for start in sorted(beside, key=first):
        waiting = deque([start] if start not in depth else [])
        depth.setdefault(start, 0)
        while waiting:
            node = waiting.popleft()
            fresh = [other for other in beside[node] if other not in depth]
            depth.update(dict.fromkeys(fresh, depth[node] + 1))
            waiting += fresh
    return depth


# -- labels and tooltips --------------------------------------------------------------------------


class _Labels:
    """What stands in the nodes of one drawing, and what is told when they are pointed at."""

    def __init__(self, circuit: Circuit, drawing: Neighbourhood) -> None:
        self.circuit, self.drawing = circuit, drawing
        self.short = short_net_names(circuit.board, NAME_LETTERS)

    def is_symbol(self, part: PartNode) -> bool:
        """Return whether a part is drawn as a symbol with two ends, not as a box."""
        kind = self.circuit.kinds[part.key].kind
        if len(part.rows) != 2 or part.more_pins:
            return False
        return _body(kind) is not None or (kind in _DIODES and _cathode(part) is not None)

    def part(self, part: PartNode, left: int) -> str:
        """Return the label of a part; `left` is the row at the left end of a symbol."""
        kind, head = self.circuit.kinds[part.key].kind, self._head(part)
        if kind is Kind.TEST_POINT and len(part.rows) == 1:
            return _table(_ROUND, f'<TR><TD PORT="r0">{head}</TD></TR>')
        is_symbol = self.is_symbol(part)
        span = f' COLSPAN="{3 if is_symbol else 1}"'
        rows = f"<TR><TD{span}>{head}</TD></TR>"
        if is_symbol:
            name = _body(kind) or ("diode turned" if _cathode(part) == left else "diode")
            west, east = (
                f'<TD PORT="r{at}">{_sized(_text("/".join(part.rows[at].numbers)), 7)}</TD>'
                for at in (left, 1 - left)
            )
            rows += f"<TR>{west}<TD>{_symbol(name)}</TD>{east}</TR>"
        for at, row in enumerate(part.rows if not is_symbol else ()):
            numbers = listed(row.numbers, 3).replace(" and ", " +").replace(" more", "")
            text = f"{_text(numbers)} {_text(shorten_middle(row.name, PIN_LETTERS))}".strip()
            rows += f'<TR><TD PORT="r{at}" ALIGN="LEFT">{_sized(text, 8)}</TD></TR>'
        if part.more_pins:
            rows += _row(f"{part.more_pins} more pins", size=7)
        role = role_words(self.circuit.roles(part.key)[:1])
        if role == "role not known":
            role = str(kind) if kind is not Kind.UNKNOWN else ""
        if role:
            rows += _row(shorten_middle(role, ROLE_LETTERS), size=8, span=span)
        if part.gone:
            rows += f'<TR><TD{span} BGCOLOR="black">{_GONE}</TD></TR>'
        frame = f'BORDER="{0 if is_symbol else 1}"'
        if part.key in self.drawing.selection.bare:
            rows += _row("never fitted", size=8, span=span)
            frame = 'BORDER="1" STYLE="DOTTED"'
        elif part.gone:
            frame = 'BORDER="3" STYLE="DASHED"'
        return _table(f'{frame} CELLBORDER="0" CELLSPACING="0" CELLPADDING="2"', rows)

    def _head(self, part: PartNode) -> str:
        """Return refdes and value, of parts side by side all of them, and their numbers."""
        circuit, names = self.circuit, [refdes(self.circuit, key) for key in part.keys]
        parts = [circuit.board.part_by_key[key] for key in part.keys]
        values = [shorten_middle(value_words(circuit, each), VALUE_LETTERS) for each in parts]
        if circuit.kinds[part.key].kind is Kind.TEST_POINT and len(part.rows) == 1:
            values = [""] * len(parts)
        if len(set(values)) == 1 and len(names) > 1:
            text = "<BR/>".join(f"<B>{_text(text)}</B>" for text in _wrapped(names))
            text += f"<BR/>{len(names)} × {_text(values[0] or 'value not stated')}"
        else:
            text = "<BR/>".join(
                f"<B>{_text(name)}</B>" + (f"{_GAP}{_text(value)}" if value else "")
                for name, value in zip(names, values, strict=True)
            )
        numbers = self.drawing.selection.numbers
        balloons = [str(numbers[key]) for key in part.keys if key in numbers]
        if not balloons:
            return text
        cell = _balloon("<BR/>".join(_wrapped(balloons)))
        return _table(_NOTHING, f"<TR>{cell}<TD>{text}</TD></TR>")

    def net(self, net: NetNode) -> str:
        """Return the label of a net."""
        kind = self.circuit.net_kind(net.net)
        if kind is NetKind.UNCONNECTED:
            return _table(_NOTHING, f"<TR><TD>{_sized('goes nowhere else', 8)}</TD></TR>")
        name = _text(self.short[net.net])
        if net.goes_on:
            return _table(_NOTHING, f"<TR><TD>…{_GAP}{_sized(name, 9)}</TD></TR>")
        volts = self.circuit.volts(net.net)
        high = volts.nominal if volts is not None else None
        notes = [f"up to {engineering(high, 'V', 3)}" if high else ""]
        if kind is NetKind.RAIL:
            notes = [f"{volts_words(volts, 'voltage not known')} rail"]
        elif on_bus := bus_line(self.circuit, net.net):
            notes = [", ".join(filter(None, (on_bus[1].line, *notes)))]
        if net.more_pins:
            notes.append(f"{net.more_pins} more {'pins' if net.more_pins > 1 else 'pin'} …")
        rows = "".join(_row(note, size=7) for note in notes if note)
        inner = _table(
            'BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="1"',
            f"<TR><TD>{name}</TD></TR>{rows}",
        )
        return _table(_ROUND, f"<TR><TD>{inner}</TD></TR>")

    def mark(self, net: str) -> str:
        """Return the label of one use of a rail or ground."""
        name = _text(self.short[net])
        if self.circuit.net_kind(net) is NetKind.GROUND:
            cells = f"<TD>{_symbol('ground')}</TD><TD>{_sized(name, 8)}</TD>"
            return _table(_NOTHING, f"<TR>{cells}</TR>")
        volts = volts_words(self.circuit.volts(net), "? V")
        plain = volts.replace(" ", "").casefold()
        rows = f"<TR><TD><B>{_sized(name, 9)}</B></TD></TR>"
        if net.casefold().lstrip("+") not in {plain, plain.replace(".", "v").rstrip("v")}:
            rows += _row(volts, size=8)
        frame = 'BORDER="2" SIDES="T" CELLBORDER="0" CELLSPACING="0" CELLPADDING="1"'
        return _table(frame, rows)

    def part_tip(self, part: PartNode) -> str:
        """Return what is told of a part: what stops without it."""
        texts = []
        for key in part.keys:
            value = value_words(self.circuit, self.circuit.board.part_by_key[key])
            text = f"{refdes(self.circuit, key)} {value}".strip()
            text += f", {role_words(self.circuit.roles(key)[:1])}"
            loss = self.circuit.absence(key)
            if loss.effects and loss.severity is not Severity.UNKNOWN:
                text += f". Without it: {'; '.join(loss.effects[:3])}"
            texts.append(text)
        return safe_text(" | ".join(texts))

    def net_tip(self, net: NetNode) -> str:
        """Return what is told of a net: its whole name, what it is, its pins."""
        known = self.circuit.board.net_by_name.get(net.net)
        pins = list(dict.fromkeys(str(pin) for pin in known.pins)) if known is not None else []
        return f"{self.mark_tip(net.net)}; {safe_text(listed(pins, 12))}"

    def mark_tip(self, net: str) -> str:
        """Return what is told of a rail or ground."""
        return safe_text(f"{net}: {net_words(self.circuit, net)}")

    def line_tip(self, line: Line) -> str:
        """Return what is told of a line: which pins are on which net."""
        part = self.drawing.parts[line.part]
        row = part.rows[line.row]
        names = ", ".join(refdes(self.circuit, key) for key in part.keys)
        return safe_text(f"{names}.{listed(row.numbers, 6)} on {row.net}")


def _cathode(part: PartNode) -> int | None:
    """Return the row of the cathode of a part with two ends; None where its pins do not say."""
    names = [row.name.upper() for row in part.rows]
    found = (at for at in (0, 1) if names[at] in _CATHODES or names[1 - at] in _ANODES)
    return next(found, None)


def _body(kind: Kind) -> str | None:
    """Return the symbol of a part with two ends; None for a box with words."""
    found: str | None = section("drawing", "symbol_of_kind").get(kind.value)
    return found


# -- pieces of labels -----------------------------------------------------------------------------


def _text(text: str) -> str:
    r"""Return text that is safe inside a Graphviz label table.

    >>> _text("a<b & \\N")
    'a&lt;b &amp; &#92;&#92;N'
    """
    # Graphviz reads backslash sequences even here: a doubled one is a plain backslash
    return html.escape(safe_text(text)).replace("\\", "&#92;&#92;")


def _table(look: str, rows: str) -> str:
    return f"<TABLE {look}>{rows}</TABLE>"


def _sized(text: str, size: int) -> str:
    """Return label text in a type size, points."""
    return f'<FONT POINT-SIZE="{size}">{text}</FONT>'


def _row(text: str, *, size: int, span: str = "") -> str:
    """Return a table row with one line of plain text; `span` are attributes of its cell."""
    return f"<TR><TD{span}>{_sized(_text(text), size)}</TD></TR>"


def _balloon(text: str) -> str:
    """Return a table cell with a number in a rounded frame."""
    return f'<TD BORDER="1" STYLE="ROUNDED">{_sized(text, 8)}</TD>'


def _wrapped(names: Iterable[str], letters: int = 24) -> list[str]:
    """Return names in lines of about that many letters."""
    lines: list[str] = []
    for name in names:
        if lines and len(lines[-1]) + len(name) + 2 <= letters:
            lines[-1] += f", {name}"
        else:
            if lines:
                lines[-1] += ","
            lines.append(name)
    return lines


@cache
def _symbol(name: str) -> str:
    """Return a symbol as a table of a fixed size."""
    grid, looks = table("drawing")["symbols"][name], table("drawing")["looks"]
    widths, heights = grid["widths"], grid["heights"]
    owner = {
        (x, y): block
        for block in grid["blocks"]
        for x in range(block[0], block[0] + block[2])
        for y in range(block[1], block[1] + block[3])
    }
    rows = ""
    for y in range(len(heights)):
        rows += "<TR>"
        for x in range(len(widths)):
            left, top, columns, lines, look = owner.get((x, y), (x, y, 1, 1, ""))
            if (left, top) == (x, y):  # a block is one cell, its other places are its span
                wide, high = sum(widths[x : x + columns]), sum(heights[y : y + lines])
                span = f' COLSPAN="{columns}"' if columns > 1 else ""
                span += f' ROWSPAN="{lines}"' if lines > 1 else ""
                ink = f" {looks[look]}" if look else ""
                rows += f'<TD WIDTH="{wide}" HEIGHT="{high}"{span}{ink}></TD>'
        rows += "</TR>"
    size = f'FIXEDSIZE="TRUE" WIDTH="{sum(widths)}" HEIGHT="{sum(heights)}"'
    return _table(f'{size} BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="0"', rows)
