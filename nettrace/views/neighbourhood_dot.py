"""A neighbourhood as DOT text: a pure function, drawn left to right in black on white.

Every node and line has a tooltip for the SVG; classes (`part`, `gone`, `net`, `rail`) and ids let
a page that holds the SVG find them.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Iterable

from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind, Severity
from nettrace.circuit.kinds import Kind
from nettrace.values.quantity import engineering
from nettrace.views.drawing_names import short_net_names
from nettrace.views.neighbourhood import Neighbourhood, NetNode, PartNode, PinRow, Wire
from nettrace.views.neighbourhood_symbols import (
    DIODE,
    DIODE_TURNED,
    GROUND,
    label_text,
    symbol_for,
)
from nettrace.views.text import counted, listed, printable, shorten_middle
from nettrace.views.text_facts import (
    lines_by_net,
    net_words,
    refdes,
    role_words,
    value_words,
    volts_words,
)

__all__ = ["names_of_nets", "names_of_parts", "neighbourhood_dot"]

#: A face that every renderer has the measures of; the SVG is seen in what stands in for it.
FONT = "Arial"
#: Letters of a name before its middle is left out; the tooltip has it whole.
NAME_LETTERS, ROLE_LETTERS, VALUE_LETTERS = 26, 24, 22
_DIODES = frozenset({Kind.DIODE, Kind.ZENER, Kind.LED, Kind.ESD})
_CATHODES, _ANODES = frozenset({"K", "C", "CATHODE", "KATHODE"}), frozenset({"A", "ANODE"})
_MARGIN = 'BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="2"'


def neighbourhood_dot(circuit: Circuit, drawing: Neighbourhood) -> str:
    """Return the DOT source of a neighbourhood; the same drawing gives the same text."""
    return _Writer(circuit, drawing).text()


def names_of_parts(drawing: Neighbourhood) -> dict[str, str]:
    """Return node name in the DOT text -> part key (of parts drawn as one, a line each)."""
    return {f"p{number}": "\n".join(part.keys) for number, part in enumerate(drawing.parts)}


def names_of_nets(drawing: Neighbourhood) -> dict[str, str]:
    """Return node name in the DOT text -> net name, of nets, rails and grounds."""
    nets = {f"n{number}": net.net for number, net in enumerate(drawing.nets)}
    return nets | {f"m{number}": mark.net for number, mark in enumerate(drawing.marks)}


class _Writer:
    def __init__(self, circuit: Circuit, drawing: Neighbourhood) -> None:
        self.circuit = circuit
        self.drawing = drawing
        self.buses = lines_by_net(circuit)
        self.short = short_net_names(circuit.board, NAME_LETTERS)
        self.depth = _depths(drawing)
        self.wires_of: dict[int, list[Wire]] = {}
        for wire in drawing.wires:
            self.wires_of.setdefault(wire.part, []).append(wire)

    def text(self) -> str:
        import graphviz

        drawing = self.drawing
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
                "label": f"<{self._title_block()}>",
                "tooltip": graphviz.escape(printable(drawing.selection.title)),
            },
            node_attr={"shape": "plain", "fontname": FONT, "fontsize": "10", "margin": "0"},
            edge_attr={"color": "black", "penwidth": "0.8"},
        )
        for number, part in enumerate(drawing.parts):
            state = "part gone" if part.gone else "part"
            graph.node(
                f"p{number}",
                f"<{self._part_label(number, part)}>",
                tooltip=graphviz.escape(self._part_tip(part)),
                id=f"part-{_plain(part.key)}",
                **{"class": state},
            )
        for number, net in enumerate(drawing.nets):
            graph.node(
                f"n{number}",
                f"<{self._net_label(net)}>",
                tooltip=graphviz.escape(self._net_tip(net)),
                **{"class": "net"},
            )
        for number, mark in enumerate(drawing.marks):
            kind = self.circuit.net_kind(mark.net)
            label = self._ground(mark.net) if kind is NetKind.GROUND else self._rail(mark.net)
            words = net_words(self.circuit, mark.net, self.buses)
            graph.node(
                f"m{number}",
                f"<{label}>",
                tooltip=graphviz.escape(f"{printable(mark.net)}: {words}"),
                **{"class": "ground" if kind is NetKind.GROUND else "rail"},
            )
        for wire in drawing.wires:
            tail, head = self._ends(wire)
            graph.edge(tail, head, tooltip=graphviz.escape(self._wire_tip(wire)))
        text: str = graph.source
        return text

    # where lines begin and end

    def _ends(self, wire: Wire) -> tuple[str, str]:
        other = f"n{wire.net}" if wire.net is not None else f"m{wire.mark}"
        if self._is_left(wire):
            return other, f"p{wire.part}:r{wire.row}:w"
        return f"p{wire.part}:r{wire.row}:e", other

    def _is_left(self, wire: Wire) -> bool:
        part = self.drawing.parts[wire.part]
        if wire.net is not None:
            before = self.depth["n", wire.net] < self.depth["p", wire.part]
            if before:
                # two ends of one symbol never leave on the same side
                return not self._is_symbol(part) or wire is self._first_left(wire.part)
        if not self._is_symbol(part):
            return False
        return self._first_left(wire.part) is wire

    def _first_left(self, number: int) -> Wire:
        """Return the wire at the left end of a symbol: towards the start, else its first."""
        wires = self.wires_of[number]
        for wire in wires:
            if wire.net is not None and self.depth["n", wire.net] < self.depth["p", number]:
                return wire
        return wires[0]

    def _is_symbol(self, part: PartNode) -> bool:
        kind = self.circuit.kinds[part.key].kind
        if len(part.rows) != 2 or part.more_pins:
            return False
        return symbol_for(kind) is not None or (kind in _DIODES and self._cathode(part) is not None)

    def _cathode(self, part: PartNode) -> int | None:
        """Return the row of a diode's cathode; None where its pins do not say."""
        names = [row.name.upper() for row in part.rows]
        for at, name in enumerate(names):
            if name in _CATHODES or (names[1 - at] in _ANODES and len(names) == 2):
                return at
        return None

    # labels

    def _part_label(self, number: int, part: PartNode) -> str:
        head = self._head(part)
        if self._is_point(part):
            return (
                '<TABLE BORDER="1" STYLE="ROUNDED" CELLBORDER="0" CELLSPACING="0" CELLPADDING="3">'
                f'<TR><TD PORT="r0">{head}</TD></TR></TABLE>'
            )
        if self._is_symbol(part):
            left = self._first_left(number).row
            body = self._symbol_row(part, left, 1 - left)
            columns = 3
        else:
            columns = 1
            body = "".join(self._pin_row(at, row) for at, row in enumerate(part.rows))
            if part.more_pins:
                body += _line(f"{part.more_pins} more pins", size=7)
        role = self._role(part)
        span = f' COLSPAN="{columns}"'
        rows = f"<TR><TD{span}>{head}</TD></TR>{body}"
        if role:
            rows += _line(role, size=8, span=span)
        if part.gone:
            tag = '<FONT COLOR="white" POINT-SIZE="8"><B>GONE</B></FONT>'
            rows += f'<TR><TD{span} BGCOLOR="black">{tag}</TD></TR>'
        bare = part.key in self.drawing.selection.bare
        if bare:
            rows += _line("never fitted", size=8, span=span)
        frame = 'BORDER="0"'
        if bare:
            frame = 'BORDER="1" STYLE="DOTTED"'
        elif part.gone:
            frame = 'BORDER="3" STYLE="DASHED"'
        elif not self._is_symbol(part):
            frame = 'BORDER="1"'
        return f'<TABLE {frame} CELLBORDER="0" CELLSPACING="0" CELLPADDING="2">{rows}</TABLE>'

    def _is_point(self, part: PartNode) -> bool:
        return self.circuit.kinds[part.key].kind is Kind.TEST_POINT and len(part.rows) == 1

    def _head(self, part: PartNode) -> str:
        names = [refdes(self.circuit, key) for key in part.keys]
        numbers = self.drawing.selection.numbers
        balloons = [str(numbers[key]) for key in part.keys if key in numbers]
        value = value_words(self.circuit, self.circuit.board.part_by_key[part.key])
        value = "" if self._is_point(part) else shorten_middle(value, VALUE_LETTERS)
        lines = _wrapped(names)
        if len(part.keys) == 1:
            text = f"<B>{label_text(names[0])}</B> {label_text(value)}".rstrip()
        else:
            values = dict.fromkeys(
                value_words(self.circuit, self.circuit.board.part_by_key[key]) for key in part.keys
            )
            value = value if len(values) == 1 else f"{len(values)} values"
            bold = "<BR/>".join(f"<B>{label_text(line)}</B>" for line in lines)
            text = f"{bold}<BR/>{len(part.keys)} × {label_text(value or 'value not stated')}"
        if not balloons:
            return text
        balloon = _balloon("<BR/>".join(_wrapped(balloons)))
        return f"<TABLE {_MARGIN}><TR>{balloon}<TD>{text}</TD></TR></TABLE>"

    def _symbol_row(self, part: PartNode, left: int, right: int) -> str:
        kind = self.circuit.kinds[part.key].kind
        symbol = symbol_for(kind)
        if symbol is None:
            symbol = DIODE_TURNED if self._cathode(part) == left else DIODE
        cells = []
        for at in (left, right):
            text = _sized(label_text("/".join(part.rows[at].numbers)), 7)
            cells.append(f'<TD PORT="r{at}">{text}</TD>')
        return f"<TR>{cells[0]}<TD>{symbol}</TD>{cells[1]}</TR>"

    def _pin_row(self, at: int, row: PinRow) -> str:
        numbers = listed(row.numbers, 3).replace(" and ", " +").replace(" more", "")
        name = shorten_middle(row.name, 16)
        text = f"{label_text(numbers)} {label_text(name)}".strip()
        return f'<TR><TD PORT="r{at}" ALIGN="LEFT">{_sized(text, 8)}</TD></TR>'

    def _role(self, part: PartNode) -> str:
        kind = self.circuit.kinds[part.key].kind
        words = role_words(self.circuit.roles(part.key)[:1])
        if words == "role not known":
            words = str(kind) if kind is not Kind.UNKNOWN else ""
        return shorten_middle(words, ROLE_LETTERS)

    def _net_label(self, net: NetNode) -> str:
        if self.circuit.net_kind(net.net) is NetKind.UNCONNECTED:
            return f"<TABLE {_MARGIN}><TR><TD>{_sized('goes nowhere else', 8)}</TD></TR></TABLE>"
        name = label_text(self.short[net.net])
        if net.goes_on:
            return f"<TABLE {_MARGIN}><TR><TD>… {_sized(name, 9)}</TD></TR></TABLE>"
        rows = f"<TR><TD>{name}</TD></TR>"
        notes = []
        volts = self.circuit.volts(net.net)
        if self.circuit.net_kind(net.net) is NetKind.RAIL:
            notes.append(f"{volts_words(volts, 'voltage not known')} rail")
        elif net.net in self.buses:
            line = self.buses[net.net][1].line
            up = f", up to {engineering(volts.nominal, 'V', 3)}" if volts and volts.nominal else ""
            notes.append(f"{line}{up}")
        elif volts is not None and volts.nominal:
            notes.append(f"up to {engineering(volts.nominal, 'V', 3)}")
        if net.more_pins:
            notes.append(f"{net.more_pins} more {'pins' if net.more_pins > 1 else 'pin'} …")
        rows += "".join(_line(note, size=7) for note in notes)
        inner = f'<TABLE BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="1">{rows}</TABLE>'
        frame = 'BORDER="1" STYLE="ROUNDED" CELLBORDER="0" CELLSPACING="0" CELLPADDING="3"'
        return f"<TABLE {frame}><TR><TD>{inner}</TD></TR></TABLE>"

    def _ground(self, net: str) -> str:
        name = _sized(label_text(self.short[net]), 8)
        return f"<TABLE {_MARGIN}><TR><TD>{GROUND}</TD><TD>{name}</TD></TR></TABLE>"

    def _rail(self, net: str) -> str:
        name = label_text(self.short[net])
        volts = volts_words(self.circuit.volts(net), "? V")
        plain = volts.replace(" ", "").casefold()
        rows = f"<TR><TD><B>{_sized(name, 9)}</B></TD></TR>"
        if net.casefold().lstrip("+") not in {plain, plain.replace(".", "v").rstrip("v")}:
            rows += _line(volts, size=8)
        frame = 'BORDER="2" SIDES="T" CELLBORDER="0" CELLSPACING="0" CELLPADDING="1"'
        return f"<TABLE {frame}>{rows}</TABLE>"

    def _title_block(self) -> str:
        drawing = self.drawing
        name = label_text(shorten_middle(printable(self.circuit.board.name), 60))
        title = label_text(drawing.selection.title)
        lines = [f"<B>{title}</B>", name]
        lines += [_sized(label_text(text), 8) for text in self._left_out()]
        block = "".join(f'{line}<BR ALIGN="LEFT"/>' for line in lines)
        return (
            '<TABLE BORDER="0" CELLBORDER="1" CELLSPACING="0" CELLPADDING="4"><TR>'
            f'<TD VALIGN="TOP" ALIGN="LEFT" BALIGN="LEFT">{block}</TD>'
            f"<TD>{self._legend()}</TD></TR></TABLE>"
        )

    def _legend(self) -> str:
        tag = '<FONT COLOR="white" POINT-SIZE="7"><B>GONE</B></FONT>'
        entries = []
        if any(part.gone for part in self.drawing.parts):
            cell = f'<TD BORDER="2" STYLE="DASHED" BGCOLOR="black">{tag}</TD>'
            entries.append((cell, "part that is missing"))
        if any(part.key in self.drawing.selection.bare for part in self.drawing.parts):
            cell = '<TD BORDER="1" STYLE="DOTTED">' + _sized("part", 7) + "</TD>"
            entries.append((cell, "bare by design"))
        if self.drawing.selection.numbers:
            entries.append((_balloon("1"), "number of the position"))
        entries.append(
            ('<TD BORDER="1" STYLE="ROUNDED">' + _sized("NAME", 7) + "</TD>", "net"),
        )
        if any(self.circuit.net_kind(m.net) is not NetKind.GROUND for m in self.drawing.marks):
            cell = '<TD BORDER="2" SIDES="T">' + _sized("<B>NAME</B>", 7) + "</TD>"
            entries.append((cell, "supply rail"))
        if any(self.circuit.net_kind(m.net) is NetKind.GROUND for m in self.drawing.marks):
            entries.append((f"<TD>{GROUND}</TD>", "ground"))
        if any(net.goes_on or net.more_pins for net in self.drawing.nets):
            entries.append((f"<TD>{_sized('…', 9)}</TD>", "goes on, not drawn"))
        rows = "".join(
            f'<TR>{cell}<TD ALIGN="LEFT">{_sized(words, 8)}</TD></TR>' for cell, words in entries
        )
        return f'<TABLE BORDER="0" CELLBORDER="0" CELLSPACING="3" CELLPADDING="1">{rows}</TABLE>'

    def _left_out(self) -> list[str]:
        """Return sentences on what found no room."""
        texts = []
        for what, keys in (
            ("Gone too, not drawn", self.drawing.left_gone),
            ("Not drawn", self.drawing.left_parts),
        ):
            names = [refdes(self.circuit, key) for key in keys]
            if names:
                lines = _wrapped(names, letters=70)
                texts.append(f"{what}: {lines[0]}")
                texts += lines[1:]
        more = sum(net.more_pins for net in self.drawing.nets if not net.goes_on)
        if more:
            pins = counted(more, "more pin")
            texts.append(f"{pins} of these nets on parts that are not drawn")
        return texts

    # tooltips

    def _part_tip(self, part: PartNode) -> str:
        texts = []
        for key in part.keys:
            whole = self.circuit.board.part_by_key[key]
            value = value_words(self.circuit, whole)
            text = f"{refdes(self.circuit, key)} {value}".strip()
            text += f", {role_words(self.circuit.roles(key)[:1])}"
            loss = self.circuit.absence(key)
            if loss.effects and loss.severity is not Severity.UNKNOWN:
                text += f". Without it: {'; '.join(loss.effects[:3])}"
            texts.append(text)
        return printable(" | ".join(texts))

    def _net_tip(self, net: NetNode) -> str:
        known = self.circuit.board.net_by_name.get(net.net)
        pins = list(dict.fromkeys(str(pin) for pin in known.pins)) if known is not None else []
        words = net_words(self.circuit, net.net, self.buses)
        return printable(f"{net.net}: {words}; {listed(pins, 12)}")

    def _wire_tip(self, wire: Wire) -> str:
        part = self.drawing.parts[wire.part]
        row = part.rows[wire.row]
        names = ", ".join(refdes(self.circuit, key) for key in part.keys)
        return printable(f"{names}.{listed(row.numbers, 6)} on {row.net}")


def _sized(text: str, size: int) -> str:
    return f'<FONT POINT-SIZE="{size}">{text}</FONT>'


def _line(text: str, *, size: int, span: str = "") -> str:
    return f"<TR><TD{span}>{_sized(label_text(text), size)}</TD></TR>"


def _balloon(text: str) -> str:
    return f'<TD BORDER="1" STYLE="ROUNDED"><FONT POINT-SIZE="8">{text}</FONT></TD>'


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


def _plain(key: str) -> str:
    """Return a key as an id: letters and digits stay, the rest is spelt by number."""
    return re.sub(r"[^A-Za-z0-9_]", lambda match: f"-{ord(match[0]):x}-", key)


def _depths(drawing: Neighbourhood) -> dict[tuple[str, int], int]:
    """Return how many steps each part (`p`) and net (`n`) is from where its reader starts.

    The start is the focus; of a part without lines to it, the net or box with the most lines.
    """
    beside: dict[tuple[str, int], list[tuple[str, int]]] = {}
    for number in range(len(drawing.parts)):
        beside["p", number] = []
    for number in range(len(drawing.nets)):
        beside["n", number] = []
    for wire in drawing.wires:
        if wire.net is not None:
            beside["p", wire.part].append(("n", wire.net))
            beside["n", wire.net].append(("p", wire.part))
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
        if start in depth:
            continue
        depth[start] = 0
        waiting = deque([start])
        while waiting:
            node = waiting.popleft()
            for other in beside[node]:
                if other not in depth:
                    depth[other] = depth[node] + 1
                    waiting.append(other)
    return depth
