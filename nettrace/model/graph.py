"""Which parts are on which nets, as a networkx graph."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nettrace.errors import NothingMatches
from nettrace.model.board import Board, Net, Part, Pin

if TYPE_CHECKING:
    import networkx as nx


#: A neighbourhood goes on through nets of at most this many pins: supplies tie all to all (common
#: practice, no source).
MOST_CROSSED_PINS = 50


class BoardGraph:
    """A board with its networkx graph, made once and frozen.

    `graph` has integers as nodes: first the parts, then the nets, in the board's order. An edge
    joins a part and a net that it has a pin on, however many pins those are. Nodes and edges
    carry no attributes, which would take more memory than the graph: `node` and `item` lead from
    one to the other, `pins` gives the pins of an edge.

    >>> from nettrace.model.builder import BoardBuilder
    >>> builder = BoardBuilder("two.net", "example")
    >>> for refdes, net in (("R1", "SDA"), ("R1", "VDD"), ("U1", "SDA")):
    ...     builder.part(refdes).pin("1" if net == "SDA" else "2", net)
    >>> whole = BoardGraph(builder.build())
    >>> sda = whole.node("SDA")
    >>> [str(pin) for pin in whole.pins(whole.node("U1"), sda)]
    ['U1.1']
    >>> sorted(whole.item(node).key for node in whole.graph[sda])
    ['R1', 'U1']
    """

    __slots__ = ("_net_ids", "_part_ids", "board", "graph")

    def __init__(self, board: Board) -> None:
        """Make the graph: one walk over the pins of the nets, O(pins)."""
        import networkx as nx

        self.board = board
        parts = len(board.parts)
        self._part_ids = part_ids = {part.key: at for at, part in enumerate(board.parts)}
        self._net_ids = {net.name: at for at, net in enumerate(board.nets, parts)}
        graph: nx.Graph[int] = nx.Graph()
        graph.add_nodes_from(range(parts + len(board.nets)))
        graph.add_edges_from(
            (part_ids[pin.part], at) for at, net in enumerate(board.nets, parts) for pin in net.pins
        )
        self.graph: nx.Graph[int] = nx.freeze(graph)

    def node(self, name: str) -> int:
        """Return the node of a part (by key) or a net (by name); a part comes first.

        Raises:
            NothingMatches: the board has neither.
        """
        found = self._part_ids.get(name)
        if found is None:
            found = self._net_ids.get(name)
        if found is None:
            raise NothingMatches(f"no part or net {name!r} on this board")
        return found

    def is_net(self, node: int) -> bool:
        """Return whether the node is a net; else it is a part."""
        return node >= len(self.board.parts)

    def item(self, node: int) -> Part | Net:
        """Return the part or net of a node."""
        parts = len(self.board.parts)
        return self.board.parts[node] if node < parts else self.board.nets[node - parts]

    def pins(self, one: int, other: int) -> tuple[Pin, ...]:
        """Return the pins that join a part and a net, in pin order; () where none does."""
        part, net = self.item(min(one, other)), self.item(max(one, other))
        if not isinstance(part, Part) or not isinstance(net, Net):
            return ()
        return tuple(pin for pin in part.pins if pin.net == net.name)

    def around(
        self, node: int, steps: int = 2, most_pins: int = MOST_CROSSED_PINS
    ) -> nx.Graph[int]:
        """Return what is within so many steps of a node: a frozen graph with the same nodes.

        A part is one step from its nets. Nets with more than `most_pins` pins are shown and not
        crossed, unless it starts there.
        """
        import networkx as nx

        graph, nets = self.graph, self.board.nets
        parts = len(self.board.parts)
        seen, edge = {node}, [node]
        for _ in range(steps):
            onward = []
            for at in edge:
                if at >= parts and at != node and len(nets[at - parts].pins) > most_pins:
                    continue
                for far in graph[at]:
                    if far not in seen:
                        seen.add(far)
                        onward.append(far)
            edge = onward
        near: nx.Graph[int] = nx.Graph()
        near.add_nodes_from(seen)
        # from the parts alone: a ground's neighbours are thousands, a part's are few
        near.add_edges_from(
            (part, net) for part in seen if part < parts for net in graph[part] if net in seen
        )
        frozen: nx.Graph[int] = nx.freeze(near)
        return frozen
