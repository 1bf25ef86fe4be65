"""The fast way where it applies, the whole tree where it does not: one Board either way."""

from __future__ import annotations

import gc
from collections.abc import Callable

from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.sexpr_forms import HAS_SOUND_REGEX, Mismatch

__all__ = ["read_either_way"]

Read = Callable[[Document], Board]


def read_either_way(document: Document, by_forms: Read, by_tree: Read) -> Board:
    """Read by whole forms; on any mismatch start again with the tree reader.

    Raises:
        BadInput: as the tree reader finds it.
    """
    was_enabled = gc.isenabled()
    gc.disable()  # a board is many small objects without cycles: collection only costs here
    try:
        if HAS_SOUND_REGEX:
            try:
                return by_forms(document)
            except Mismatch:
                pass
        return by_tree(document)
    finally:
        if was_enabled:
            gc.enable()
