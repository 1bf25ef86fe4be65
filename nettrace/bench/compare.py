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
    matched: list[tuple[Pin, Pin]] = []
    missing_pins: list[str] = []
    extra_pins: list[str] = []
    for name, other_name in pairs.items():
        both, lacking, extra = _pair_pins(parts[name], others[other_name], cut)
        matched += both
        missing_pins += lacking
        extra_pins += extra
    found = set(pairs.values())
    return Comparison(
        opens=_opens(matched),
        shorts=_shorts(matched),
        missing_parts=_sorted(ref for ref, part in parts.items() if ref not in pairs and part.nets),
        extra_parts=_sorted(ref for ref, part in others.items() if ref not in found and part.nets),
        missing_pins=_sorted(missing_pins),
        extra_pins=_sorted(extra_pins),
        names=(board.name, other.name),
    )


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
    for short, long, turned in ((other, board, False), (board, other, True)):
        if cuts_names(short) and not cuts_names(long):
            cut_names, names = (parts, others) if turned else (others, parts)
            taken = set(pairs) if turned else set(pairs.values())
            for cut in [name for name in cut_names if name not in taken]:
                longer = longer_names(cut, names, REFDES_COLUMNS)
                if len(longer) == 1:
                    pairs.update({cut: longer[0]} if turned else {longer[0]: cut})
    return pairs


def _pair_pins(
    part: Part, other: Part, cut: bool
) -> tuple[list[tuple[Pin, Pin]], list[str], list[str]]:
    """Return the pins both have, and the connected ones that only one has."""
    mine, theirs = _single_pins(part), _single_pins(other)
    same_refdes = part.refdes == other.refdes
    if "spice_element" in other.properties and "spice_element" not in part.properties:
        turned = pin_numbers(
            other, {number: pin.name for number, pin in mine.items()}, same_refdes=same_refdes
        )
        numbers = {here: there for there, here in turned.items()}
    else:
        numbers = pin_numbers(
            part, {number: pin.name for number, pin in theirs.items()}, same_refdes=same_refdes
        )
    pairs = [
        (pin, theirs[numbers[number]])
        for number, pin in mine.items()
        if numbers.get(number) in theirs
    ]
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


def _lost_ends(
    pins: dict[str, Pin], lone: list[str], others: dict[str, Pin]
) -> list[tuple[Pin, Pin]]:
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
    found = []
    for cut in cut_names:
        longer = [name for name in longer_names(cut, names, PIN_COLUMNS) if name != cut]
        if len(longer) == 1:
            found.append((longer[0], cut))
    return found


def _single_pins(part: Part) -> dict[str, Pin]:
    count = Counter(pin.number for pin in part.pins)
    return {pin.number: pin for pin in part.pins if count[pin.number] == 1}


def _opens(matched: list[tuple[Pin, Pin]]) -> tuple[Open, ...]:
    groups: dict[str, dict[str | tuple[str, str], list[Pin]]] = {}
    for pin, other in matched:
        if pin.net is not None:
            groups.setdefault(pin.net, {}).setdefault(_group(other), []).append(pin)

    def largest_first(pins: tuple[Pin, ...]) -> tuple[int, tuple[tuple[str | int, ...], str]]:
        return -len(pins), natural_key(str(pins[0]))

    found = [
        Open(net, tuple(sorted(map(_in_order, split.values()), key=largest_first)))
        for net, split in groups.items()
        if len(split) > 1
    ]
    return tuple(sorted(found, key=lambda item: natural_key(item.net)))


def _shorts(matched: list[tuple[Pin, Pin]]) -> tuple[Short, ...]:
    groups: dict[str, list[Pin]] = {}
    for pin, other in matched:
        if other.net is not None:
            groups.setdefault(other.net, []).append(pin)
    found = [
        Short(_sorted({pin.net or "" for pin in pins}), _in_order(pins))
        for pins in groups.values()
        if len({_group(pin) for pin in pins}) > 1
    ]
    return tuple(sorted(found, key=lambda item: natural_key(str(item.pins[0]))))


def _group(pin: Pin) -> str | tuple[str, str]:
    # a pin without a net is a group of its own
    return pin.net if pin.net is not None else (pin.part, pin.number)


def _in_order(pins: Iterable[Pin]) -> tuple[Pin, ...]:
    return tuple(sorted(pins, key=lambda pin: natural_key(str(pin))))
