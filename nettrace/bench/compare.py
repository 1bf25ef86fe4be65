"""Two netlists as partitions of the same pins: opens, shorts, missing and extra parts.

Names of nets do not count. Pins are matched by refdes and number; a reference that a board
repeats (holes, logos) is left out, since nothing says which is which.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

import msgspec

from nettrace.model.board import Board, Part, Pin
from nettrace.model.names import natural_key
from nettrace.model.pairing import (
    PIN_COLUMNS,
    REFDES_COLUMNS,
    behind_x,
    cuts_names,
    longer_names,
    pin_numbers,
)

_Pair = tuple[Pin, Pin]  # the same pin on the one board and on the other


@dataclass(frozen=True, slots=True)
class Open:
    """A net of the first board whose pins lie on several nets of the other."""

    net: str
    groups: tuple[tuple[Pin, ...], ...]  # the first board's pins, as the other ties them


@dataclass(frozen=True, slots=True)
class Short:
    """A net of the other board that joins several nets of the first."""

    nets: tuple[str, ...]  # of the first board; "" stands for a pin that is on no net there
    pins: tuple[Pin, ...]  # the first board's pins that are joined


@dataclass(frozen=True, slots=True)
class Comparison:
    """What differs; `same` is that nothing does. Pins that one board lacks are only listed."""

    opens: tuple[Open, ...]
    shorts: tuple[Short, ...]
    missing_parts: tuple[str, ...]  # connected parts of the first that the other lacks
    extra_parts: tuple[str, ...]
    missing_pins: tuple[str, ...] = ()
    extra_pins: tuple[str, ...] = ()
    names: tuple[str, str] = field(default=("", ""), compare=False)  # of the two boards

    @property
    def same(self) -> bool:
        """Whether the two boards tie the same pins together."""
        return not (self.opens or self.shorts or self.missing_parts or self.extra_parts)


def compare_boards(board: Board, other: Board) -> Comparison:
    """Compare `other` against `board`; `compare_boards(other, board)` mirrors the answer.

    Returns:
        Opens by net name, shorts by their first pin, parts and pins in natural order.
    """
    refs = [Counter(part.refdes for part in each.parts) for each in (board, other)]
    repeated = {refdes for count in refs for refdes, many in count.items() if many > 1}
    parts, others = (
        {p.refdes: p for p in each.parts if p.refdes and p.refdes not in repeated}
        for each in (board, other)
    )
    pairs = _pair_parts(board, other, parts, others)
    cut = cuts_names(board) or cuts_names(other)
    matched: list[_Pair] = []
    lone: tuple[list[str], list[str]] = ([], [])
    for name, other_name in pairs.items():
        both, *each_alone = _pair_pins(parts[name], others[other_name], cut)
        matched += both
        for known, found in zip(lone, each_alone, strict=True):
            known.extend(found)
    opens = [
        Open(net, tuple(sorted((_in_order(p for p, _ in group) for group in split), key=_by_size)))
        for net, split in _split(matched).items()
    ]
    joined = [
        [pin for group in split for _, pin in group]
        for split in _split([(there, here) for here, there in matched]).values()
    ]
    shorts = [Short(_sorted({pin.net or "" for pin in pins}), _in_order(pins)) for pins in joined]
    taken = set(pairs.values())
    return Comparison(
        opens=tuple(sorted(opens, key=lambda item: natural_key(item.net))),
        shorts=tuple(sorted(shorts, key=lambda item: natural_key(str(item.pins[0])))),
        missing_parts=_sorted(ref for ref, part in parts.items() if ref not in pairs and part.nets),
        extra_parts=_sorted(ref for ref, part in others.items() if ref not in taken and part.nets),
        missing_pins=_sorted(lone[0]),
        extra_pins=_sorted(lone[1]),
        names=(board.name, other.name),
    )


def _split(pairs: Iterable[_Pair]) -> dict[str, list[list[_Pair]]]:
    """Return the nets of the first board whose pins the other ties in several groups.

    A pin without a net is a group of its own.
    """
    nets: dict[str, dict[str | tuple[str, str], list[_Pair]]] = {}
    for pin, other in pairs:
        if pin.net is not None:
            group = other.net if other.net is not None else (other.part, other.number)
            nets.setdefault(pin.net, {}).setdefault(group, []).append((pin, other))
    return {net: list(groups.values()) for net, groups in nets.items() if len(groups) > 1}


def _by_size(pins: tuple[Pin, ...]) -> tuple[object, ...]:
    return -len(pins), natural_key(str(pins[0]))


def _in_order(pins: Iterable[Pin]) -> tuple[Pin, ...]:
    return tuple(sorted(pins, key=lambda pin: natural_key(str(pin))))


def _sorted(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(sorted(names, key=natural_key))


def _pair_parts(
    board: Board, other: Board, parts: dict[str, Part], others: dict[str, Part]
) -> dict[str, str]:
    pairs = {name: name for name in parts if name in others}
    folded: dict[str, list[str]] = {}
    for name in others:
        if name not in pairs:
            folded.setdefault(name.casefold(), []).append(name)
    for name in parts:
        if name not in pairs and len(folded.get(name.casefold(), [])) == 1:
            pairs[name] = folded[name.casefold()][0]
    for decks, names, turned in ((others, parts, True), (parts, others, False)):
        for name, part in decks.items():
            bare = behind_x(part)
            if bare in names and name not in names and bare not in decks:
                pairs.update({bare: name} if turned else {name: bare})
    if cuts_names(board) != cuts_names(other):
        turned = cuts_names(board)
        cut_names, names = (parts, others) if turned else (others, parts)
        taken = set(pairs) if turned else set(pairs.values())
        for cut in [name for name in cut_names if name not in taken]:
            longer = longer_names(cut, names, REFDES_COLUMNS)
            if len(longer) == 1:
                pairs.update({cut: longer[0]} if turned else {longer[0]: cut})
    return pairs


def _pair_pins(part: Part, other: Part, cut: bool) -> tuple[list[_Pair], list[str], list[str]]:
    """Return the pins both have, and the connected ones that only one has."""
    mine, theirs = _single_pins(part), _single_pins(other)
    same_refdes = part.refdes == other.refdes
    turned = "spice_element" in other.properties and "spice_element" not in part.properties
    asked, told = (other, mine) if turned else (part, theirs)
    names = {number: pin.name for number, pin in told.items()}
    numbers = pin_numbers(asked, names, same_refdes=same_refdes)
    if turned:
        numbers = {here: there for there, here in numbers.items()}
    pairs = [(pin, theirs[numbers[n]]) for n, pin in mine.items() if numbers.get(n) in theirs]
    left = [number for number in mine if number not in numbers]
    right = [number for number in theirs if number not in set(numbers.values())]
    if cut:
        pairs += [(mine[number], theirs[short]) for number, short in _cut_pairs(left, right)]
        pairs += [(mine[short], theirs[number]) for number, short in _cut_pairs(right, left)]
        here, there = {pin for pin, _ in pairs}, {pin for _, pin in pairs}
        left = [number for number in left if mine[number] not in here]
        right = [number for number in right if theirs[number] not in there]
    pairs += _lost_ends(mine, left, theirs)
    pairs += [(mine_pin, pin) for pin, mine_pin in _lost_ends(theirs, right, mine)]
    paired = {pin.number for pin, _ in pairs}, {pin.number for _, pin in pairs}
    return (
        pairs,
        [f"{part.refdes}.{n}" for n in left if n not in paired[0] and mine[n].net],
        [f"{other.refdes}.{n}" for n in right if n not in paired[1] and theirs[n].net],
    )


def _single_pins(part: Part) -> dict[str, Pin]:
    count = Counter(pin.number for pin in part.pins)
    return {pin.number: pin for pin in part.pins if count[pin.number] == 1}


def _lost_ends(pins: dict[str, Pin], lone: list[str], others: dict[str, Pin]) -> list[_Pair]:
    """Return the end of a two-pin part that the other file does not list, paired with no net.

    A netlist leaves out what is on no net; a resistor of which it has one end is open there. Of
    parts with more pins a file may leave some out that the drawing never had.
    """
    if len(pins) != 2 or len(lone) != 1 or len(others) != 1:
        return []
    (only,) = others.values()
    return [(pins[lone[0]], msgspec.structs.replace(only, number=lone[0], net=None, pads=()))]


def _cut_pairs(names: list[str], cut_names: list[str]) -> list[tuple[str, str]]:
    """Return (name, cut name) where one name alone begins so."""
    longer = [(cut, longer_names(cut, names, PIN_COLUMNS)) for cut in cut_names]
    alone = [(cut, [name for name in found if name != cut]) for cut, found in longer]
    return [(found[0], cut) for cut, found in alone if len(found) == 1]
