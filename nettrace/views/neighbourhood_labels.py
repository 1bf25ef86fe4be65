"""Labels and tooltips of the nodes of a neighbourhood: parts by kind, nets, rails, grounds."""

from __future__ import annotations

from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind, Severity
from nettrace.circuit.kinds import Kind
from nettrace.values.quantity import engineering
from nettrace.views.drawing_names import short_net_names
from nettrace.views.drawing_svg import safe_text
from nettrace.views.neighbourhood import Neighbourhood, NetNode, PartNode, PinRow, Wire
from nettrace.views.neighbourhood_symbols import DIODE, DIODE_TURNED, GROUND, symbol_for
from nettrace.views.neighbourhood_words import balloon, label_text, line, sized, wrapped
from nettrace.views.text import listed, shorten_middle
from nettrace.views.text_facts import (
    lines_by_net,
    net_words,
    refdes,
    role_words,
    value_words,
    volts_words,
)

__all__ = ["Labels"]

#: Letters of a name before its middle is left out; the tooltip has it whole.
NAME_LETTERS, ROLE_LETTERS, VALUE_LETTERS = 26, 24, 22
_DIODES = frozenset({Kind.DIODE, Kind.ZENER, Kind.LED, Kind.ESD})
_CATHODES, _ANODES = frozenset({"K", "C", "CATHODE", "KATHODE"}), frozenset({"A", "ANODE"})
#: A blank at the end of a piece of text that no viewer leaves out.
_GAP = "&#160;"
_MARGIN = 'BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="2"'


class Labels:
    """What stands in the nodes of one drawing."""

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
        return symbol_for(kind) is not None or (kind in _DIODES and self._cathode(part) is not None)

    def _cathode(self, part: PartNode) -> int | None:
        """Return the row of a diode's cathode; None where its pins do not say."""
        names = [row.name.upper() for row in part.rows]
        for at, name in enumerate(names):
            if name in _CATHODES or (names[1 - at] in _ANODES and len(names) == 2):
                return at
        return None

    def part(self, part: PartNode, left: int) -> str:
        """Return the label of a part; `left` is the row at the left end of a symbol."""
        head = self._head(part)
        if self._is_point(part):
            return (
                '<TABLE BORDER="1" STYLE="ROUNDED" CELLBORDER="0" CELLSPACING="0" CELLPADDING="3">'
                f'<TR><TD PORT="r0">{head}</TD></TR></TABLE>'
            )
        if self.is_symbol(part):
            body = self._symbol_row(part, left, 1 - left)
            columns = 3
        else:
            columns = 1
            body = "".join(self._pin_row(at, row) for at, row in enumerate(part.rows))
            if part.more_pins:
                body += line(f"{part.more_pins} more pins", size=7)
        role = self._role(part)
        span = f' COLSPAN="{columns}"'
        rows = f"<TR><TD{span}>{head}</TD></TR>{body}"
        if role:
            rows += line(role, size=8, span=span)
        if part.gone:
            tag = '<FONT COLOR="white" POINT-SIZE="8"><B>GONE</B></FONT>'
            rows += f'<TR><TD{span} BGCOLOR="black">{tag}</TD></TR>'
        bare = part.key in self.drawing.selection.bare
        if bare:
            rows += line("never fitted", size=8, span=span)
        frame = 'BORDER="0"'
        if bare:
            frame = 'BORDER="1" STYLE="DOTTED"'
        elif part.gone:
            frame = 'BORDER="3" STYLE="DASHED"'
        elif not self.is_symbol(part):
            frame = 'BORDER="1"'
        return f'<TABLE {frame} CELLBORDER="0" CELLSPACING="0" CELLPADDING="2">{rows}</TABLE>'

    def _is_point(self, part: PartNode) -> bool:
        return self.circuit.kinds[part.key].kind is Kind.TEST_POINT and len(part.rows) == 1

    def _head(self, part: PartNode) -> str:
        names = [refdes(self.circuit, key) for key in part.keys]
        numbers = self.drawing.selection.numbers
        balloons = [str(numbers[key]) for key in part.keys if key in numbers]
        values = [
            "" if self._is_point(part) else shorten_middle(value, VALUE_LETTERS)
            for value in (
                value_words(self.circuit, self.circuit.board.part_by_key[key]) for key in part.keys
            )
        ]
        if len(set(values)) == 1 and len(names) > 1:
            bold = "<BR/>".join(f"<B>{label_text(text)}</B>" for text in wrapped(names))
            text = f"{bold}<BR/>{len(names)} × {label_text(values[0] or 'value not stated')}"
        else:
            text = "<BR/>".join(
                f"<B>{label_text(name)}</B>" + (f"{_GAP}{label_text(value)}" if value else "")
                for name, value in zip(names, values, strict=True)
            )
        if not balloons:
            return text
        cell = balloon("<BR/>".join(wrapped(balloons)))
        return f"<TABLE {_MARGIN}><TR>{cell}<TD>{text}</TD></TR></TABLE>"

    def _symbol_row(self, part: PartNode, left: int, right: int) -> str:
        kind = self.circuit.kinds[part.key].kind
        symbol = symbol_for(kind)
        if symbol is None:
            symbol = DIODE_TURNED if self._cathode(part) == left else DIODE
        cells = []
        for at in (left, right):
            text = sized(label_text("/".join(part.rows[at].numbers)), 7)
            cells.append(f'<TD PORT="r{at}">{text}</TD>')
        return f"<TR>{cells[0]}<TD>{symbol}</TD>{cells[1]}</TR>"

    def _pin_row(self, at: int, row: PinRow) -> str:
        numbers = listed(row.numbers, 3).replace(" and ", " +").replace(" more", "")
        name = shorten_middle(row.name, 16)
        text = f"{label_text(numbers)} {label_text(name)}".strip()
        return f'<TR><TD PORT="r{at}" ALIGN="LEFT">{sized(text, 8)}</TD></TR>'

    def _role(self, part: PartNode) -> str:
        kind = self.circuit.kinds[part.key].kind
        words = role_words(self.circuit.roles(part.key)[:1])
        if words == "role not known":
            words = str(kind) if kind is not Kind.UNKNOWN else ""
        return shorten_middle(words, ROLE_LETTERS)

    def net(self, net: NetNode) -> str:
        """Return the label of a net."""
        if self.circuit.net_kind(net.net) is NetKind.UNCONNECTED:
            return f"<TABLE {_MARGIN}><TR><TD>{sized('goes nowhere else', 8)}</TD></TR></TABLE>"
        name = label_text(self.short[net.net])
        if net.goes_on:
            return f"<TABLE {_MARGIN}><TR><TD>…{_GAP}{sized(name, 9)}</TD></TR></TABLE>"
        rows = f"<TR><TD>{name}</TD></TR>"
        notes = []
        volts = self.circuit.volts(net.net)
        if self.circuit.net_kind(net.net) is NetKind.RAIL:
            notes.append(f"{volts_words(volts, 'voltage not known')} rail")
        elif net.net in self.buses:
            signal = self.buses[net.net][1].line
            up = f", up to {engineering(volts.nominal, 'V', 3)}" if volts and volts.nominal else ""
            notes.append(f"{signal}{up}")
        elif volts is not None and volts.nominal:
            notes.append(f"up to {engineering(volts.nominal, 'V', 3)}")
        if net.more_pins:
            notes.append(f"{net.more_pins} more {'pins' if net.more_pins > 1 else 'pin'} …")
        rows += "".join(line(note, size=7) for note in notes)
        inner = f'<TABLE BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="1">{rows}</TABLE>'
        frame = 'BORDER="1" STYLE="ROUNDED" CELLBORDER="0" CELLSPACING="0" CELLPADDING="3"'
        return f"<TABLE {frame}><TR><TD>{inner}</TD></TR></TABLE>"

    def mark(self, net: str) -> str:
        """Return the label of one use of a rail or ground."""
        ground = self.circuit.net_kind(net) is NetKind.GROUND
        return self._ground(net) if ground else self._rail(net)

    def _ground(self, net: str) -> str:
        name = sized(label_text(self.short[net]), 8)
        return f"<TABLE {_MARGIN}><TR><TD>{GROUND}</TD><TD>{name}</TD></TR></TABLE>"

    def _rail(self, net: str) -> str:
        name = label_text(self.short[net])
        volts = volts_words(self.circuit.volts(net), "? V")
        plain = volts.replace(" ", "").casefold()
        rows = f"<TR><TD><B>{sized(name, 9)}</B></TD></TR>"
        if net.casefold().lstrip("+") not in {plain, plain.replace(".", "v").rstrip("v")}:
            rows += line(volts, size=8)
        frame = 'BORDER="2" SIDES="T" CELLBORDER="0" CELLSPACING="0" CELLPADDING="1"'
        return f"<TABLE {frame}>{rows}</TABLE>"

    def part_tip(self, part: PartNode) -> str:
        """Return what is told of a part when it is pointed at: what stops without it."""
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
        return safe_text(" | ".join(texts))

    def net_tip(self, net: NetNode) -> str:
        """Return what is told of a net: its whole name, what it is, its pins."""
        known = self.circuit.board.net_by_name.get(net.net)
        pins = list(dict.fromkeys(str(pin) for pin in known.pins)) if known is not None else []
        words = net_words(self.circuit, net.net, self.buses)
        return safe_text(f"{net.net}: {words}; {listed(pins, 12)}")

    def mark_tip(self, net: str) -> str:
        """Return what is told of a rail or ground."""
        return safe_text(f"{net}: {net_words(self.circuit, net, self.buses)}")

    def wire_tip(self, wire: Wire) -> str:
        """Return what is told of a line: which pins are on which net."""
        part = self.drawing.parts[wire.part]
        row = part.rows[wire.row]
        names = ", ".join(refdes(self.circuit, key) for key in part.keys)
        return safe_text(f"{names}.{listed(row.numbers, 6)} on {row.net}")
