"""A neighbourhood as DOT text: a pure function, drawn left to right in black on white.

Every node and line has a tooltip for the SVG; classes (`part`, `gone`, `net`, `rail`) and ids let
a page that holds the SVG find them.
"""

from __future__ import annotations

import re
from collections import deque

from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind
from nettrace.views.drawing_svg import safe_text
from nettrace.views.neighbourhood import Neighbourhood, Wire
from nettrace.views.neighbourhood_labels import Labels
from nettrace.views.neighbourhood_title import title_block

__all__ = ["names_of_nets", "names_of_parts", "neighbourhood_dot"]

#: A face that every renderer has the measures of; the SVG is seen in what stands in for it.
FONT = "Arial"


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
        self.labels = Labels(circuit, drawing)
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
                "label": f"<{title_block(self.circuit, drawing)}>",
                "tooltip": graphviz.escape(safe_text(drawing.selection.title)),
            },
            node_attr={"shape": "plain", "fontname": FONT, "fontsize": "10", "margin": "0"},
            edge_attr={"color": "black", "penwidth": "0.8"},
        )
        for number, part in enumerate(drawing.parts):
            state = "part gone" if part.gone else "part"
            graph.node(
                f"p{number}",
                f"<{self.labels.part(part, self._left_row(number))}>",
                tooltip=graphviz.escape(self.labels.part_tip(part)),
                id=f"part-{_plain(part.key)}",
                **{"class": state},
            )
        for number, net in enumerate(drawing.nets):
            graph.node(
                f"n{number}",
                f"<{self.labels.net(net)}>",
                tooltip=graphviz.escape(self.labels.net_tip(net)),
                **{"class": "net"},
            )
        for number, mark in enumerate(drawing.marks):
            kind = self.circuit.net_kind(mark.net)
            graph.node(
                f"m{number}",
                f"<{self.labels.mark(mark.net)}>",
                tooltip=graphviz.escape(self.labels.mark_tip(mark.net)),
                **{"class": "ground" if kind is NetKind.GROUND else "rail"},
            )
        for wire in drawing.wires:
            tail, head = self._ends(wire)
            graph.edge(tail, head, tooltip=graphviz.escape(self.labels.wire_tip(wire)))
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
                return not self.labels.is_symbol(part) or wire is self._first_left(wire.part)
        if not self.labels.is_symbol(part):
            return False
        return self._first_left(wire.part) is wire

    def _first_left(self, number: int) -> Wire:
        """Return the wire at the left end of a symbol: towards the start, else its first."""
        wires = self.wires_of[number]
        for wire in wires:
            if wire.net is not None and self.depth["n", wire.net] < self.depth["p", number]:
                return wire
        return wires[0]

    def _left_row(self, number: int) -> int:
        return self._first_left(number).row if number in self.wires_of else 0


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
