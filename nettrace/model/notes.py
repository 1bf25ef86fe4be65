"""What the user said about the board; it beats every inference and every file."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from nettrace.errors import NothingMatches, Place, Warning
from nettrace.model.board import Board, Conflict, Part, Statement
from nettrace.model.find import find_nets
from nettrace.model.names import match_names

_FITTED = {True: "fitted", False: "not fitted"}


@dataclass(frozen=True, slots=True)
class RailNote:
    """A rail's (0 V: a ground's) voltage as the user states it, V."""

    volts: float
    place: Place | None = None


def _none() -> Mapping[str, str]:
    return MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Notes:
    """The user's notes: from `board.toml`, or from options such as `--rail NAME=V`.

    Keys are net names and refdes as the user writes them; matching is `names.match_names`.
    """

    rails: Mapping[str, RailNote] = field(default_factory=lambda: MappingProxyType({}))
    roles: Mapping[str, str] = field(default_factory=_none)
    values: Mapping[str, str] = field(default_factory=_none)
    not_fitted: tuple[str, ...] = ()
    fitted: tuple[str, ...] = ()
    remarks: Mapping[str, str] = field(default_factory=_none)
    name: str = ""
    #: Where a note stands, by table and name: ("values", "R14"). Notes without a file have none.
    places: Mapping[tuple[str, str], Place] = field(default_factory=lambda: MappingProxyType({}))


def check_notes(
    board: Board,
    notes: Notes,
    same_value: Callable[[str, str], bool],
) -> tuple[list[Conflict], list[Warning]]:
    """Return where notes and files disagree, and notes about what the board does not have.

    Args:
        board: as its files have it.
        notes: of a manifest; those without a place are not checked.
        same_value: whether two value texts mean the same.
    """
    conflicts: list[Conflict] = []
    warnings: list[Warning] = []

    def parts(table: str, name: str) -> Iterator[tuple[Part, Place]]:
        place = notes.places.get((table, name))
        if place is None:
            return
        keys = match_names(name, board.part_by_key)
        if not keys:
            warnings.append(
                Warning("note-matches-nothing", f"{table}: the board has no part {name}", place)
            )
        for key in keys:
            yield board.part_by_key[key], place

    def note(code: str, part: Part, fact: str, said: str, place: Place, filed: str) -> None:
        where = part.origins.get(fact) or part.place or Place("?")
        statements = (Statement(said, place), Statement(filed, where))
        conflicts.append(Conflict(code, part.key, statements, said))

    for name, text in notes.values.items():
        for part, place in parts("values", name):
            if part.value and not same_value(text, part.value):
                note("value-differs", part, "value", text, place, part.value)
    for table, names, fitted in (
        ("fitted", notes.fitted, True),
        ("not_fitted", notes.not_fitted, False),
    ):
        for name in names:
            for part, place in parts(table, name):
                if part.fitted is (not fitted):
                    words = _FITTED[fitted], _FITTED[not fitted]
                    note("fitted-differs", part, "fitted", words[0], place, words[1])
    for name in notes.roles:
        for _ in parts("roles", name):
            pass
    for name, rail in notes.rails.items():
        if rail.place is None:
            continue
        try:
            nets = find_nets(board, name)
        except NothingMatches:
            warnings.append(
                Warning("note-matches-nothing", f"rails: the board has no net {name}", rail.place)
            )
            continue
        for net in nets:
            if net.volts is not None and net.volts != rail.volts:
                said = Statement(f"{rail.volts:g} V", rail.place)
                filed = Statement(f"{net.volts:g} V", net.place or Place("?"))
                conflicts.append(Conflict("volts-differ", net.name, (said, filed), said.what))
    return conflicts, warnings
