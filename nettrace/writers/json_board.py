"""Writer of our own JSON: the model, versioned and lossless (see docs/formats.md)."""

from __future__ import annotations

import msgspec

from nettrace.model.board import Board
from nettrace.model.record import record_of
from nettrace.version import __version__

__all__ = ["SCHEMA", "write"]

#: Version of the JSON layout; a reader refuses a higher one.
SCHEMA = 1


def write(board: Board) -> str:
    """Return the board as JSON text; `nettrace.readers.json_board.read` gives the same board."""
    document = {
        "nettrace": {"schema": SCHEMA, "version": __version__},
        "board": record_of(board),
    }
    encoded = msgspec.json.encode(document)
    return msgspec.json.format(encoded, indent=1).decode() + "\n"
