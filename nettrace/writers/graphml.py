"""A board as a graph for other programs: parts and nets are nodes, pins are the edges between.

Attributes are texts and numbers only, as GraphML has them; what is unknown is left out.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from nettrace.model.board import Board

#: Characters that XML 1.0 cannot hold (section 2.2 of the recommendation).
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def write(board: Board) -> str:
    """Return the board as GraphML text.

    Nodes are `part:REFDES` and `net:NAME`; an edge is a pin, with its number, name and type.
    """
    import networkx as nx

    graph: nx.MultiGraph[str] = nx.MultiGraph(name=_text(board.name))
    for part in board.parts:
        facts: dict[str, str | float | None] = {
            "class": "part",
            "refdes": part.refdes,
            "value": part.value,
            "package": part.package,
            "description": part.description,
            "side": None if part.side is None else part.side.value,
            "fitted": part.fitted,
            "x": part.x,
            "y": part.y,
            "angle": part.angle,
        }
        graph.add_node(f"part:{_text(part.key)}", **_known(facts))
    for net in board.nets:
        aliases = "\n".join(net.aliases) or None
        facts = {"class": "net", "name": net.name, "aliases": aliases, "volts": net.volts}
        graph.add_node(f"net:{_text(net.name)}", **_known(facts))
        for pin in net.pins:
            said = {"pin": pin.number, "function": pin.name, "type": pin.electrical_type}
            graph.add_edge(
                f"part:{_text(pin.part)}",
                f"net:{_text(net.name)}",
                **_known(said),
            )
    lines: list[str] = list(nx.generate_graphml(graph, encoding="utf-8", prettyprint=True))
    return "\n".join(lines) + "\n"


def _known(facts: Mapping[str, str | float | None]) -> dict[str, str | float]:
    return {
        name: _text(fact) if isinstance(fact, str) else fact
        for name, fact in facts.items()
        if fact is not None
    }


def _text(text: str) -> str:
    return _NOT_XML.sub("�", text)
