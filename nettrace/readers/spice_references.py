"""Decks whose lines begin with a board's references, and so with letters that are not SPICE's.

Older schematic programs write every part so, `J1 VCC GND CONN_2`, `IC3 a b c d LM358`: reference,
the net of each pin in turn, value. A simulator reads J and I there. Such a deck says who wrote it.
"""

from __future__ import annotations

import re

from nettrace.readers.spice_elements import Element

__all__ = ["decode_board_part", "is_by_reference"]

#: The head of such a deck. Source: decks published by users of that program, 2012 to 2022.
_WRITER = re.compile(r"EESchema Netlist Version [\d.]+ \(Spice format\)")
#: Characters of a deck in which its head stands.
_HEAD = 2000
#: References that mean the same to SPICE and to the board.
_ELEMENT = re.compile(r"(?i)[rclvidqxefghbkm]\d")


def is_by_reference(deck: str) -> bool:
    """Return whether a deck says that such a program wrote it."""
    return _WRITER.search(deck, 0, _HEAD) is not None


def decode_board_part(text: str) -> Element | None:
    """Take a line apart as reference, nets, value; None where its letter is SPICE's own.

    >>> decode_board_part("J1 VCC GND CONN_2").nodes, decode_board_part("R1 a b 10k")
    (('VCC', 'GND'), None)
    """
    words = text.split()
    if len(words) < 3 or _ELEMENT.match(words[0]):
        return None
    # a call of something that the deck does not define: the one letter that says no more
    return Element(words[0], "x", tuple(words[1:-1]), words[-1])
