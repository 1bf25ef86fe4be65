"""Writer of our own JSON: the model, versioned and lossless (see docs/formats.md)."""

from __future__ import annotations

import msgspec

from nettrace.model.board import Board
from nettrace.model.record import record_of
from nettrace.version import BOARD_SCHEMA, __version__


def write(board: Board) -> str:
    """Return the board as JSON text; `nettrace.readers.json_board.read` gives the same board.

    Parts, nets and other lists have a line for each entry, so that two files can be set side by
    side.
    """
    record = record_of(board)
    head = msgspec.json.encode({"schema": BOARD_SCHEMA, "version": __version__}).decode()
    fields = ",\n".join(
        f'"{name}": {_lines(getattr(record, name))}' for name in record.__struct_fields__
    )
    return f'{{"nettrace": {head},\n"board": {{\n{fields}\n}}}}\n'


def _lines(value: object) -> str:
    if not isinstance(value, tuple) or not value:
        return msgspec.json.encode(value).decode()
    entries = ",\n ".join(msgspec.json.encode(entry).decode() for entry in value)
    return f"[\n {entries}\n]"
