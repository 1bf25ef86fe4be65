"""A board as a graph for other programs: parts and nets are nodes, pins are the edges between.

Attributes are texts and numbers only, as GraphML has them; what is unknown is left out.
"""

from __future__ import annotations

import re

from nettrace.model.board import Board, Part

#: Characters that XML 1.0 cannot hold (section 2.2 of the recommendation).
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def write(board: Board) -> str:
    """Return the board as GraphML text.

    Nodes are `part:REFDES` and `net:NAME`; an edge is a pin, with its number, name and type.
    """
    import networkx as nx

    graph: nx.MultiGraph[str] = nx.MultiGraph(name=_text(board.name))
    for part in board.parts:
        graph.add_node(f"part:{_text(part.key)}", **_part_attributes(part))
    for net in board.nets:
        facts: dict[str, str | float] = {"class": "net", "name": _text(net.name)}
        if net.aliases:
            facts["aliases"] = _text("\n".join(net.aliases))
        if net.volts is not None:
            facts["volts"] = net.volts
        graph.add_node(f"net:{_text(net.name)}", **facts)
        for pin in net.pins:
            said = {"pin": pin.number, "function": pin.name, "type": pin.electrical_type}
            graph.add_edge(
                f"part:{_text(pin.part)}",
                f"net:{_text(net.name)}",
                **{name: _text(text) for name, text in said.items() if text is not None},
            )
    lines: list[str] = list(nx.generate_graphml(graph, encoding="utf-8", prettyprint=True))
    return "\n".join(lines) + "\n"


def _part_attributes(part: Part) -> dict[str, str | float | bool]:
    facts: dict[str, str | float | bool] = {"class": "part", "refdes": _text(part.refdes)}
    texts = {
        "value": part.value,
        "package": part.package,
        "description": part.description,
        "side": None if part.side is None else part.side.value,
    }
    facts.update({name: _text(text) for name, text in texts.items() if text is not None})
    if part.fitted is not None:
        facts["fitted"] = part.fitted
    numbers = {"x": part.x, "y": part.y, "angle": part.angle}
    facts.update({name: number for name, number in numbers.items() if number is not None})
    return facts


def _text(text: str) -> str:
    return _NOT_XML.sub("�", text)
