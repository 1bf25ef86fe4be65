"""What writers do to references and pin numbers, and how a name is found again behind it.

Fixed columns cut names (IPC-D-356), a deck puts an X before a refdes and counts pins by position
(SPICE), and some IPC-2581 writers make references unique with `_1` and replace signs by `_`.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Mapping

from nettrace.knowledge import table
from nettrace.model.board import Board, Part

#: What the fixed columns of IPC-D-356 leave of a refdes and of a pin number.
REFDES_COLUMNS, PIN_COLUMNS = 6, 4

_UNIQUE_SUFFIX = re.compile(r"(.*?)_\d+\Z", re.DOTALL)
#: What stands in a refdes under any writer; the rest may have become `_`.
_SIGN = re.compile(r"[^A-Za-z0-9_]")
#: Elements that have no order among their two ends.
_TWO_ENDED = frozenset("RCL")


def cuts_names(board: Board) -> bool:
    """Return whether the board's names may be cut: no source of it has them whole."""
    how = _treatments(board)
    return "cut" in how and not how & {"whole", "unique"}


def mangles_names(board: Board) -> bool:
    """Return whether the board's references may have been made unique: no source has them plain."""
    how = _treatments(board)
    return "unique" in how and "whole" not in how


def _treatments(board: Board) -> set[str]:
    """Return what writers of the board's formats do to names."""
    return {str(trait(source.format, "names")) for source in board.sources}


def trait(format_name: str, what: str) -> object:
    """Return what is true of a format's files (knowledge/formats.toml); None if it is not known."""
    return table("formats").get(format_name, {}).get(what)


def longer_names(cut: str, names: Collection[str], columns: int) -> list[str]:
    """Return the names that `cut` may be the first `columns` characters of."""
    if len(cut) != columns:
        return []
    return [name for name in names if name.startswith(cut)]


def behind_x(part: Part) -> str:
    """Return the refdes behind the X that makes an element of a deck a subcircuit; "" if none."""
    if part.properties.get("spice_element") != "X" or "spice_pins" in part.properties:
        return ""
    return part.refdes[1:]


def plain_forms(name: str) -> tuple[str, ...]:
    """Return what a mangled name may stand for, likelier first, with signs as `_`.

    >>> plain_forms("Ref**_1"), plain_forms("P1")
    (('Ref___1', 'Ref__'), ('P1',))
    """
    plain = _SIGN.sub("_", name)
    match = _UNIQUE_SUFFIX.match(name)
    return (plain,) if match is None else (plain, _SIGN.sub("_", match[1]))


def by_plain_form(names: Iterable[str]) -> dict[str, list[str]]:
    """Return names by their own plain form: where to look up what `plain_forms` gives."""
    index: dict[str, list[str]] = {}
    for name in names:
        index.setdefault(_SIGN.sub("_", name), []).append(name)
    return index


def pin_numbers(
    part: Part, others: Mapping[str, str | None], *, same_refdes: bool
) -> dict[str, str]:
    """Return number in `part` -> number among `others`, for pins that are surely the same.

    An element of a deck whose remarks do not say its pin numbers has positions instead. Then its
    pins are found by their names: ports of the subcircuit, A and K of a diode.

    Args:
        part: of any source.
        others: number -> pin name (None: not known) of the same part in another source.
        same_refdes: whether the other source names it so, too (and not U1 what is XU1 here).
    """
    same = {pin.number: pin.number for pin in part.pins if pin.number in others}
    element = part.properties.get("spice_element", "R")
    if element in _TWO_ENDED or "spice_pins" in part.properties:
        return same
    names = {pin.number: (pin.name or "").casefold() for pin in part.pins}
    if all(names.values()) and len(set(names.values())) == len(names):
        numbers = {number.casefold(): number for number in others}
        if set(names.values()) <= set(numbers):
            return {number: numbers[name] for number, name in names.items()}
        count = Counter(name.casefold() for name in others.values() if name)
        by_name = {
            name.casefold(): number
            for number, name in others.items()
            if name and count[name.casefold()] == 1
        }
        if set(names.values()) <= set(by_name):
            return {number: by_name[name] for number, name in names.items()}
        if element != "X":
            return {}  # A and K here, and only 1 and 2 there: nothing says which is which
    # without names: decks are written in the order of the symbol's pins, as a rule
    known = element != "X" or (same_refdes and same.keys() == others.keys() == names.keys())
    return same if known else {}
