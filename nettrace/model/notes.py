"""What the user said about the board; it beats every inference and every file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from nettrace.errors import Place

__all__ = ["Notes", "RailNote"]


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
