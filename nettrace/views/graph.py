"""A neighbourhood as DOT text: a pure function, drawn left to right in black on white.

Every node and line has a tooltip for the SVG; classes (`part`, `gone`, `net`, `rail`) and ids let
a page that holds the SVG find them. Labels are Graphviz tables, and so are the symbols in them:
grids of black cells, which look the same in every renderer.
"""

from __future__ import annotations

import html
import re
from collections import deque
from collections.abc import Iterable, Sequence
from functools import cache

from nettrace.bench.area import AreaReport, PadReport
from nettrace.bench.neighbourhood import Line, Neighbourhood, NetNode, PartNode, Selection, Terminal
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Bus, NetKind, Severity
from nettrace.circuit.kinds import Kind
from nettrace.knowledge import section, table
from nettrace.model.board import Net, Part
from nettrace.values.quantity import engineering
from nettrace.views.drawing import area_words, safe_text, short_net_names
from nettrace.views.text import counted, listed, printable, shorten_middle
from nettrace.views.text_facts import (
    bus_words,
    lines_by_net,
    net_words,
    refdes,
    role_words,
    value_words,
    volts_words,
)

#: A face that every renderer has the measures of; the SVG is seen in what stands in for it.
FONT = "Arial"
#: Letters of a name before its middle is left out; the tooltip has it whole.
NAME_LETTERS, ROLE_LETTERS, VALUE_LETTERS, PIN_LETTERS = 26, 24, 22, 16
_DIODES = frozenset({Kind.DIODE, Kind.ZENER, Kind.LED, Kind.ESD})
_CATHODES, _ANODES = frozenset({"K", "C", "CATHODE", "KATHODE"}), frozenset({"A", "ANODE"})
#: A blank at the end of a piece of text that no viewer leaves out.
_GAP = "&#160;"
_NOTHING = 'BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="2"'
_ROUND = 'BORDER="1" STYLE="ROUNDED" CELLBORDER="0" CELLSPACING="0" CELLPADDING="3"'


def draw_graph(circuit: Circuit, drawing: Neighbourhood) -> str:
    """Return the DOT source of a neighbourhood; the same drawing gives the same text."""
    import graphviz

    labels, ends = _Labels(circuit, drawing), _Ends(drawing)
    graph = graphviz.Graph(
        "neighbourhood",
        graph_attr={
            "rankdir": "LR",
            "nodesep": "0.22",
            "ranksep": "0.45",
            "pack": "14",
            "packmode": "node",
            "bgcolor": "white",
            "pad": "0.15",
            "fontname": FONT,
            "fontsize": "10",
            "labelloc": "b",
            "labeljust": "l",
            "label": f"<{_title_block(circuit, drawing)}>",
            "tooltip": graphviz.escape(safe_text(graph_title(circuit, drawing.selection))),
        },
        node_attr={"shape": "plain", "fontname": FONT, "fontsize": "10", "margin": "0"},
        edge_attr={"color": "black", "penwidth": "0.8"},
    )

    def node(name: str, label: str, tip: str, kind: str, **more: str) -> None:
        graph.node(name, f"<{label}>", tooltip=graphviz.escape(tip), **more, **{"class": kind})

    for number, part in enumerate(drawing.parts):
        label, kind = labels.part(part, ends.left_row(number)), "part gone" if part.gone else "part"
        # letters and digits of a key stay in its id, the rest is spelt by number
        plain = re.sub(r"[^A-Za-z0-9_]", lambda match: f"-{ord(match[0]):x}-", part.key)
        node(f"p{number}", label, labels.part_tip(part), kind, id=f"part-{plain}")
    for number, net in enumerate(drawing.nets):
        node(f"n{number}", labels.net(net), labels.net_tip(net), "net")
    for number, mark in enumerate(drawing.marks):
        kind = "ground" if circuit.net_kind(mark) is NetKind.GROUND else "rail"
        node(f"m{number}", labels.mark(mark), labels.mark_tip(mark), kind)
    for line in drawing.lines:
        is_left = ends.is_left(line, is_symbol=labels.is_symbol(drawing.parts[line.part]))
        other = f"n{line.net}" if line.net is not None else f"m{line.mark}"
        port = f"p{line.part}:r{line.row}:{'w' if is_left else 'e'}"
        tail, head = (other, port) if is_left else (port, other)
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
    first = subject[0]
    if isinstance(first, PadReport):
        pad = first.pin or first.pad
        number = pad.number if pad is not None else ""
        return f"Pad {refdes(circuit, first.part.key)}.{number}{_more(subject, 1)}"
    if isinstance(first, Part):
        names = [refdes(circuit, part.key) for part in subject if isinstance(part, Part)]
        return f"Around {', '.join(names[:4])}{_more(names, 4)}"
    if isinstance(first, Net):
        names = [net.name for net in subject if isinstance(net, Net)]
        return f"Net{'s' * (len(names) > 1)} {', '.join(names[:3])}{_more(names, 3)}"
    names = [bus_words(bus) for bus in subject if isinstance(bus, Bus)]
    return f"Bus {', '.join(names[:3])}{_more(names, 3)}"


def _more(names: Sequence[object], most: int) -> str:
    return f" and {len(names) - most} more" if len(names) > most else ""


def _title_block(circuit: Circuit, drawing: Neighbourhood) -> str:
    """Return the label of the whole graph; one without a title leaves that to the page around."""
    lines = []
    title = graph_title(circuit, drawing.selection)
    if title:
        name = _text(shorten_middle(printable(circuit.board.name), 60))
        lines = [f"<B>{_text(title)}</B>", name]
    lines += [_sized(_text(text), 8) for text in _left_out(circuit, drawing)]
    block = "".join(f'{line}<BR ALIGN="LEFT"/>' for line in lines)
    words = f'<TD VALIGN="TOP" ALIGN="LEFT" BALIGN="LEFT">{block}</TD>' if block else ""
    return _table(
        'BORDER="0" CELLBORDER="1" CELLSPACING="0" CELLPADDING="4"',
        f"<TR>{words}<TD>{_legend(circuit, drawing)}</TD></TR>",
    )


def _legend(circuit: Circuit, drawing: Neighbourhood) -> str:
    kinds = {circuit.net_kind(net) for net in drawing.marks}
    entries = (
        (
            any(part.gone for part in drawing.parts),
            f'<TD BORDER="2" STYLE="DASHED" BGCOLOR="black">{_gone(7)}</TD>',
            "part that is missing",
        ),
        (
            any(part.key in drawing.selection.bare for part in drawing.parts),
            f'<TD BORDER="1" STYLE="DOTTED">{_sized("part", 7)}</TD>',
            "bare by design",
        ),
        (bool(drawing.selection.numbers), _balloon("1"), "number of the position"),
        (True, f'<TD BORDER="1" STYLE="ROUNDED">{_sized("NAME", 7)}</TD>', "net"),
        (
            bool(kinds - {NetKind.GROUND}),
            f'<TD BORDER="2" SIDES="T">{_sized("<B>NAME</B>", 7)}</TD>',
            "supply rail",
        ),
        (NetKind.GROUND in kinds, f"<TD>{_symbol('ground')}</TD>", "ground"),
        (
            any(net.goes_on or net.more_pins for net in drawing.nets),
            f"<TD>{_sized('…', 9)}</TD>",
            "goes on, not drawn",
        ),
    )
    rows = "".join(
        f'<TR>{cell}<TD ALIGN="LEFT">{_sized(words, 8)}</TD></TR>'
        for there, cell, words in entries
        if there
    )
    return _table('BORDER="0" CELLBORDER="0" CELLSPACING="3" CELLPADDING="1"', rows)


def _left_out(circuit: Circuit, drawing: Neighbourhood) -> list[str]:
    """Return sentences on what found no room."""
    texts = []
    for what, keys in (
        ("Gone too, not drawn", drawing.left_gone),
        ("Not drawn", drawing.left_parts),
    ):
        if keys:
            lines = _wrapped([refdes(circuit, key) for key in keys], letters=70)
            texts += [f"{what}: {lines[0]}", *lines[1:]]
    more = sum(net.more_pins for net in drawing.nets if not net.goes_on)
    if more:
        texts.append(f"{counted(more, 'more pin')} of these nets on parts that are not drawn")
    return texts


# -- where lines begin and end --------------------------------------------------------------------


class _Ends:
    """The sides on which lines leave: towards where the reader starts they leave to the left."""

    def __init__(self, drawing: Neighbourhood) -> None:
        self.depth = _depths(drawing)
        self.lines_of: dict[int, list[Line]] = {}
        for line in drawing.lines:
            self.lines_of.setdefault(line.part, []).append(line)

    def is_left(self, line: Line, *, is_symbol: bool) -> bool:
        """Return whether a line leaves its part to the left."""
        if is_symbol:  # its two ends never leave on the same side
            return self._first_left(line.part) is line
        return self._leads_back(line)

    def left_row(self, number: int) -> int:
        """Return the row at the left end of a symbol."""
        return self._first_left(number).row if number in self.lines_of else 0

    def _first_left(self, number: int) -> Line:
        """Return the line at the left end of a symbol: towards the start, else its first."""
        lines = self.lines_of[number]
        return next((line for line in lines if self._leads_back(line)), lines[0])

    def _leads_back(self, line: Line) -> bool:
        return line.net is not None and self.depth["n", line.net] < self.depth["p", line.part]


def _depths(drawing: Neighbourhood) -> dict[tuple[str, int], int]:
    """Return how many steps each part (`p`) and net (`n`) is from where its reader starts.

    The start is the focus; of a part without lines to it, the net or box with the most lines.
    """
    beside: dict[tuple[str, int], list[tuple[str, int]]] = {}
    beside.update((("p", number), []) for number in range(len(drawing.parts)))
    beside.update((("n", number), []) for number in range(len(drawing.nets)))
    for line in drawing.lines:
        if line.net is not None:
            beside["p", line.part].append(("n", line.net))
            beside["n", line.net].append(("p", line.part))
    focus = drawing.selection.focus

    def first(node: tuple[str, int]) -> tuple[bool, bool, int]:
        kind, number = node
        is_part = kind == "p"
        is_focus = is_part and focus in drawing.parts[number].keys
        two_ends = is_part and len(drawing.parts[number].rows) == 2
        goes_on = not is_part and drawing.nets[number].goes_on
        return not (is_focus and not two_ends), two_ends or goes_on, -len(beside[node])

    depth: dict[tuple[str, int], int] = {}
    for start in sorted(beside, key=first):
        waiting = deque([start] if start not in depth else [])
        depth.setdefault(start, 0)
        while waiting:
            node = waiting.popleft()
            for other in beside[node]:
                if other not in depth:
                    depth[other] = depth[node] + 1
                    waiting.append(other)
    return depth


# -- labels and tooltips --------------------------------------------------------------------------


class _Labels:
    """What stands in the nodes of one drawing, and what is told when they are pointed at."""

    def __init__(self, circuit: Circuit, drawing: Neighbourhood) -> None:
        self.circuit = circuit
        self.drawing = drawing
        self.buses = lines_by_net(circuit)
        self.short = short_net_names(circuit.board, NAME_LETTERS)

    def is_symbol(self, part: PartNode) -> bool:
        """Return whether a part is drawn as a symbol with two ends, not as a box."""
        kind = self.circuit.kinds[part.key].kind
        if len(part.rows) != 2 or part.more_pins:
            return False
        return _body(kind) is not None or (kind in _DIODES and _cathode(part) is not None)

    def part(self, part: PartNode, left: int) -> str:
        """Return the label of a part; `left` is the row at the left end of a symbol."""
        head = self._head(part)
        if self._is_point(part):
            return _table(_ROUND, f'<TR><TD PORT="r0">{head}</TD></TR>')
        is_symbol = self.is_symbol(part)
        if is_symbol:
            body, span = self._symbol_row(part, left), ' COLSPAN="3"'
        else:
            body, span = "".join(map(_pin_row, range(len(part.rows)), part.rows)), ' COLSPAN="1"'
            if part.more_pins:
                body += _row(f"{part.more_pins} more pins", size=7)
        rows = f"<TR><TD{span}>{head}</TD></TR>{body}"
        role = self._role(part)
        if role:
            rows += _row(role, size=8, span=span)
        if part.gone:
            rows += f'<TR><TD{span} BGCOLOR="black">{_gone(8)}</TD></TR>'
        bare = part.key in self.drawing.selection.bare
        if bare:
            rows += _row("never fitted", size=8, span=span)
        frame = 'BORDER="0"' if is_symbol else 'BORDER="1"'
        if bare:
            frame = 'BORDER="1" STYLE="DOTTED"'
        elif part.gone:
            frame = 'BORDER="3" STYLE="DASHED"'
        return _table(f'{frame} CELLBORDER="0" CELLSPACING="0" CELLPADDING="2"', rows)

    def _is_point(self, part: PartNode) -> bool:
        return self.circuit.kinds[part.key].kind is Kind.TEST_POINT and len(part.rows) == 1

    def _head(self, part: PartNode) -> str:
        names = [refdes(self.circuit, key) for key in part.keys]
        numbers = self.drawing.selection.numbers
        balloons = [str(numbers[key]) for key in part.keys if key in numbers]
        parts = [self.circuit.board.part_by_key[key] for key in part.keys]
        values = [shorten_middle(value_words(self.circuit, each), VALUE_LETTERS) for each in parts]
        if self._is_point(part):
            values = [""] * len(parts)
        if len(set(values)) == 1 and len(names) > 1:
            bold = "<BR/>".join(f"<B>{_text(text)}</B>" for text in _wrapped(names))
            text = f"{bold}<BR/>{len(names)} × {_text(values[0] or 'value not stated')}"
        else:
            text = "<BR/>".join(
                f"<B>{_text(name)}</B>" + (f"{_GAP}{_text(value)}" if value else "")
                for name, value in zip(names, values, strict=True)
            )
        if not balloons:
            return text
        cell = _balloon("<BR/>".join(_wrapped(balloons)))
        return _table(_NOTHING, f"<TR>{cell}<TD>{text}</TD></TR>")

    def _symbol_row(self, part: PartNode, left: int) -> str:
        kind = self.circuit.kinds[part.key].kind
        name = _body(kind) or ("diode turned" if _cathode(part) == left else "diode")
        ends = [
            f'<TD PORT="r{at}">{_sized(_text("/".join(part.rows[at].numbers)), 7)}</TD>'
            for at in (left, 1 - left)
        ]
        return f"<TR>{ends[0]}<TD>{_symbol(name)}</TD>{ends[1]}</TR>"

    def _role(self, part: PartNode) -> str:
        kind = self.circuit.kinds[part.key].kind
        words = role_words(self.circuit.roles(part.key)[:1])
        if words == "role not known":
            words = str(kind) if kind is not Kind.UNKNOWN else ""
        return shorten_middle(words, ROLE_LETTERS)

    def net(self, net: NetNode) -> str:
        """Return the label of a net."""
        kind = self.circuit.net_kind(net.net)
        if kind is NetKind.UNCONNECTED:
            return _table(_NOTHING, f"<TR><TD>{_sized('goes nowhere else', 8)}</TD></TR>")
        name = _text(self.short[net.net])
        if net.goes_on:
            return _table(_NOTHING, f"<TR><TD>…{_GAP}{_sized(name, 9)}</TD></TR>")
        notes = []
        volts = self.circuit.volts(net.net)
        high = volts.nominal if volts is not None else None
        up_to = f"up to {engineering(high, 'V', 3)}" if high else ""
        if kind is NetKind.RAIL:
            notes.append(f"{volts_words(volts, 'voltage not known')} rail")
        elif net.net in self.buses:
            notes.append(", ".join(filter(None, (self.buses[net.net][1].line, up_to))))
        elif up_to:
            notes.append(up_to)
        if net.more_pins:
            notes.append(f"{net.more_pins} more {'pins' if net.more_pins > 1 else 'pin'} …")
        rows = f"<TR><TD>{name}</TD></TR>" + "".join(_row(note, size=7) for note in notes)
        inner = _table('BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="1"', rows)
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
        """Return what is told of a part when it is pointed at: what stops without it."""
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
        return safe_text(f"{net}: {net_words(self.circuit, net, self.buses)}")

    def line_tip(self, line: Line) -> str:
        """Return what is told of a line: which pins are on which net."""
        part = self.drawing.parts[line.part]
        row = part.rows[line.row]
        names = ", ".join(refdes(self.circuit, key) for key in part.keys)
        return safe_text(f"{names}.{listed(row.numbers, 6)} on {row.net}")


def _cathode(part: PartNode) -> int | None:
    """Return the row of a diode's cathode; None where its pins do not say."""
    names = [row.name.upper() for row in part.rows]
    for at, name in enumerate(names):
        if name in _CATHODES or (names[1 - at] in _ANODES and len(names) == 2):
            return at
    return None


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


def _pin_row(at: int, row: Terminal) -> str:
    numbers = listed(row.numbers, 3).replace(" and ", " +").replace(" more", "")
    text = f"{_text(numbers)} {_text(shorten_middle(row.name, PIN_LETTERS))}".strip()
    return f'<TR><TD PORT="r{at}" ALIGN="LEFT">{_sized(text, 8)}</TD></TR>'


def _gone(size: int) -> str:
    return f'<FONT COLOR="white" POINT-SIZE="{size}"><B>GONE</B></FONT>'


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


# -- symbols --------------------------------------------------------------------------------------


def _body(kind: Kind) -> str | None:
    """Return the symbol of a part with two ends; None for a box with words."""
    found: str | None = section("drawing", "symbol_of_kind").get(kind.value)
    return found


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
    rows = []
    for y, height in enumerate(heights):
        cells = []
        for x, width in enumerate(widths):
            block = owner.get((x, y))
            if block is None:
                cells.append(f'<TD WIDTH="{width}" HEIGHT="{height}"></TD>')
            elif block[:2] == (x, y):
                _, _, columns, lines, look = block
                wide, high = sum(widths[x : x + columns]), sum(heights[y : y + lines])
                span = f' COLSPAN="{columns}"' if columns > 1 else ""
                span += f' ROWSPAN="{lines}"' if lines > 1 else ""
                cells.append(f'<TD WIDTH="{wide}" HEIGHT="{high}"{span} {looks[look]}></TD>')
        rows.append(f"<TR>{''.join(cells)}</TR>")
    size = f'FIXEDSIZE="TRUE" WIDTH="{sum(widths)}" HEIGHT="{sum(heights)}"'
    frame = f'{size} BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="0"'
    return _table(frame, "".join(rows))
