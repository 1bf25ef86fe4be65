"""Reader of our own JSON (see docs/formats.md)."""

from __future__ import annotations

import re

import msgspec

from nettrace.errors import BadInput, Place
from nettrace.model.board import Board
from nettrace.model.record import BoardRecord, board_of
from nettrace.readers.document import Document
from nettrace.version import BOARD_SCHEMA

_BYTE = re.compile(r"\(byte (\d+)\)")


class _Head(msgspec.Struct):
    schema: int
    version: str = ""


class _Outer(msgspec.Struct):
    nettrace: _Head


class _Whole(msgspec.Struct):
    board: BoardRecord


def read(document: Document) -> Board:
    """Read a board written by `convert --to json`.

    Raises:
        BadInput: no JSON, a newer layout, a field that is missing or of the wrong kind.
    """
    raw = document.text.encode()
    try:
        head = msgspec.json.decode(raw, type=_Outer).nettrace
        if head.schema > BOARD_SCHEMA:
            raise BadInput(
                f"layout {head.schema} (written by nettrace {head.version})",
                expected=f"layout {BOARD_SCHEMA} or older",
                hint="Update nettrace.",
                place=Place(document.path, 1, 1),
            )
        return board_of(msgspec.json.decode(raw, type=_Whole).board)
    except RecursionError:
        raise BadInput(
            "lists or objects nested too deep",
            expected="the layout that `convert` writes",
            place=Place(document.path, 1, 1),
        ) from None
    except msgspec.ValidationError as error:
        raise BadInput(
            str(error).removesuffix("."),
            hint="The path after `at` says which field; write the file anew with `convert`.",
            place=Place(document.path),
        ) from None
    except msgspec.DecodeError as error:
        match = _BYTE.search(str(error))
        before = raw[: int(match[1])].decode(errors="replace") if match else document.text.rstrip()
        said = _BYTE.sub("", str(error)).strip().removesuffix(".")
        raise BadInput(said, place=document.place(len(before))) from None
    except ValueError as error:
        raise BadInput(str(error), place=Place(document.path)) from None
