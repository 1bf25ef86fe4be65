"""Reads IPC-2581 (revisions A, B, C): components, packages, nets, pads in place, the parts list.

Nets come from LogicalNet; where a pin is in none, from the net of the copper set its pad is in;
where pads name no pin, by place (PhyNetPoint, or a pad without PinRef on the pin's spot). Pads
stand where the file puts them; a pin without a pad of its own is placed by its package.
"""

from __future__ import annotations

from nettrace.collector import collector_off
from nettrace.model.board import Board
from nettrace.model.builder import BoardBuilder
from nettrace.readers.document import Document
from nettrace.readers.ipc2581_board import Assembly
from nettrace.readers.ipc2581_stream import stream_facts

__all__ = ["read"]


def read(document: Document) -> Board:
    """Read the file into a Board.

    Raises:
        BadInput: see `stream_facts`; or the file holds no component.
    """
    with collector_off():
        builder = BoardBuilder(document.path, "ipc-2581")
        builder.digest = document.digest
        facts = stream_facts(document, builder)
        Assembly(facts, builder).fill()
        return builder.build()
