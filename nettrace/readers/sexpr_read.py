"""The fast way where it applies, the whole tree where it does not: one Board either way."""

from __future__ import annotations

import sys
from collections.abc import Callable
from itertools import count

from nettrace.collector import collector_off
from nettrace.model.board import Board
from nettrace.readers.document import Document

__all__ = ["Mismatch", "read_either_way"]

Read = Callable[[Document], Board]

#: Possessive repetition came with Python 3.11 and was mended in 3.11.5 (python/cpython#106052).
_HAS_SOUND_REGEX = sys.version_info >= (3, 11, 5)
#: Importing lark and building a grammar takes as long as reading some such text into a tree
#: (measured: 150 ms), so a lone small file goes straight to the tree.
_WORTH_A_GRAMMAR = 800_000

_files_read = count()


class Mismatch(Exception):
    """The text is not written as the grammar says; nothing is known about what is wrong."""


def read_either_way(document: Document, by_forms: Read, by_tree: Read) -> Board:
    """Read by whole forms; on any mismatch start again with the tree reader.

    The first file of a process, if small, is read by the tree reader at once.

    Raises:
        BadInput: as the tree reader finds it.
    """
    lone_and_small = next(_files_read) == 0 and len(document.text) < _WORTH_A_GRAMMAR
    with collector_off():
        if _HAS_SOUND_REGEX and not lone_and_small:
            try:
                return by_forms(document)
            except Mismatch:
                pass
        return by_tree(document)
