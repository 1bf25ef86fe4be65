"""Finding nets, parts and pins by the words a person types."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Protocol, TypeVar

from nettrace.errors import NothingMatches, WrongUsage
from nettrace.model.board import Board, Net, Part, Pin
from nettrace.model.names import has_wildcard, match_names, natural_key, nearest_names

#: Pins listed in a message before "and N more".
PINS_SHOWN = 8


class _Named(Protocol):
    @property
    def name(self) -> str: ...


_Entry = TypeVar("_Entry", bound=_Named)


def find_format(name: str, formats: Sequence[_Entry], use: str = "") -> _Entry:
    """Return the format of exactly that name; `use` says what for (" to write").

    Raises:
        WrongUsage: there is none; the nearest names and all of them are told.
    """
    names = [entry.name for entry in formats]
    if name in names:
        return formats[names.index(name)]
    near = nearest_names(name, names)
    hint = f"Did you mean {near[0]}? " if near else ""
    raise WrongUsage(f"no format named {name!r}{use}", hint=f"{hint}Formats: {', '.join(names)}.")


def find_nets(board: Board, pattern: str) -> tuple[Net, ...]:
    """Return the nets the pattern means, in natural order.

    A net's shown name goes before another net's alias; see `names.match_names` for the rest.

    Raises:
        NothingMatches: no net of that name; the nearest names are offered.
    """
    names = match_names(pattern, board.net_by_name)
    if names and (pattern in board.net_by_name or not has_wildcard(pattern)):
        return tuple(board.net_by_name[name] for name in names)
    owners: dict[str, list[str]] = {}
    for net in board.nets:
        for alias in net.aliases:
            owners.setdefault(alias, []).append(net.name)
    found = dict.fromkeys(names)
    for alias in match_names(pattern, owners):
        found.update(dict.fromkeys(owners[alias]))
    if found:
        return tuple(board.net_by_name[name] for name in sorted(found, key=natural_key))
    raise _nothing("net", pattern, [*board.net_by_name, *owners])


def find_parts(board: Board, pattern: str) -> tuple[Part, ...]:
    """Return the parts the pattern means, in natural order; all of them, if a refdes repeats.

    One of those is named by its number: `REF**~1`, `REF**~2`.

    Raises:
        NothingMatches: no part of that refdes; the nearest are offered.
    """
    if pattern in board.part_by_key and f"{pattern}~2" not in board.part_by_key:
        return (board.part_by_key[pattern],)
    first = pattern.removesuffix("~1")
    if first != pattern and f"{first}~2" in board.part_by_key:
        return (board.part_by_key[first],)
    repeated: dict[str, list[Part]] = {}
    for part in board.parts:
        repeated.setdefault(part.refdes, []).append(part)
    names = match_names(pattern, (name for name in repeated if name))
    if not names:
        names = match_names(pattern, board.part_by_key)
        if names:
            return tuple(board.part_by_key[name] for name in names)
        inside = [name for name in repeated if name.startswith(f"{pattern}/")]
        if inside:
            raise NothingMatches(
                f"{pattern!r} is a sheet and no part",
                hint=f"Its parts: {_shown(inside)}; --hierarchy keep takes it as one part.",
            )
        raise _nothing("part", pattern, (name for name in repeated if name))
    return tuple(part for name in names for part in repeated[name])


def one_part(board: Board, key: str) -> str:
    """Return the words that mean the part of that key and no other: `REF**~1` where it repeats."""
    return f"{key}~1" if f"{key}~2" in board.part_by_key else key


def one_of_pads(board: Board, pins: Iterable[Pin]) -> str:
    """Return the hint for words that mean several pads: how each of them is named."""
    names = list(dict.fromkeys(f"{one_part(board, pin.part)}.{pin.number}" for pin in pins))
    return f"Name one: {_shown(names)}." if len(names) > 1 else "Name one pad."


def split_pin(board: Board, words: str) -> tuple[tuple[Part, ...], str] | None:
    """Return (parts, pin word) of `REFDES.PIN`, None where no part stands before a dot.

    The refdes may hold dots itself: the longest one that is a part wins.
    """
    at = len(words)
    while (at := words.rfind(".", 0, at)) > 0:
        try:
            parts = find_parts(board, words[:at])
        except NothingMatches:
            continue
        return parts, words[at + 1 :]
    return None


def find_pins(board: Board, words: str) -> tuple[Pin, ...]:
    """Return the pins that `REFDES.PIN` means; PIN is a number, else a pin's name.

    Several come back for a wildcard, a repeated refdes, or a number that a source puts on two
    nets.

    Raises:
        WrongUsage: no pin is named.
        NothingMatches: no such part, or the part has no such pin; its pins are listed.
    """
    split = split_pin(board, words)
    if split is None:
        refdes = words.rpartition(".")[0]
        if refdes:
            find_parts(board, refdes)  # says what is near, or that it is a sheet
        parts = find_parts(board, words.rstrip("."))
        raise WrongUsage(
            f"{words!r} names a part, not a pad",
            hint=f"A pad is written REFDES.PIN: {_pins_of(parts[0])}.",
        )
    parts, word = split
    found: list[Pin] = []
    for part in parts:
        numbers = set(match_names(word, (pin.number for pin in part.pins)))
        hits = [pin for pin in part.pins if pin.number in numbers]
        if not hits:
            names = set(match_names(word, (pin.name for pin in part.pins if pin.name)))
            hits = [pin for pin in part.pins if pin.name in names]
        found += hits
    if found:
        return tuple(found)
    refdes = parts[0].refdes
    raise NothingMatches(f"{refdes} has no pin {word!r}", hint=f"Its pins: {_pins_of(parts[0])}.")


def _pins_of(part: Part) -> str:
    numbers = list(dict.fromkeys(pin.number for pin in part.pins))
    if not numbers:
        return "none, it has no pins on any net"
    return _shown([f"{part.refdes}.{number}" for number in numbers])


def _shown(names: list[str]) -> str:
    """Return the first few names and how many more there are."""
    shown = ", ".join(names[:PINS_SHOWN])
    more = len(names) - PINS_SHOWN
    return f"{shown} and {more} more" if more > 0 else shown


def _nothing(what: str, pattern: str, names: Iterable[str]) -> NothingMatches:
    known = list(names)
    if not known:
        hint = f"These sources name no {what}s: add a netlist or a board file with --with."
        return NothingMatches(f"no {what} {pattern!r} on this board", hint=hint)
    near = nearest_names(pattern, known)
    hint = f"Nearest: {', '.join(near)}. " if near else ""
    star = pattern if has_wildcard(pattern) else f"{pattern[: max(2, len(pattern) // 2)]}*"
    wild = "" if has_wildcard(pattern) else f"Wildcards: '{star}'."
    return NothingMatches(f"no {what} {pattern!r} on this board", hint=(hint + wild).strip())
