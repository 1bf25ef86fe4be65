"""The circuit: a board, the user's notes, and the passes over them, computed once when asked for.

This is the only place that orders passes. Every attribute is a fact that never changes; a pass is
imported and run when its result is first read.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from nettrace.circuit.evidence import (
    Absence,
    Bus,
    Link,
    NetKind,
    PartKind,
    Proposal,
    Pull,
    Rail,
    Reach,
    Role,
    Volts,
)
from nettrace.model.board import Board
from nettrace.model.notes import Notes

__all__ = ["Circuit"]


@dataclass(frozen=True)
class Circuit:
    """A board with what it means.

    Part arguments are part keys, net arguments net names, as `Board` has them.
    """

    board: Board
    notes: Notes = field(default_factory=Notes)

    @cached_property
    def kinds(self) -> Mapping[str, PartKind]:
        """Part key -> kind, decoded values and evidence."""
        raise NotImplementedError

    @cached_property
    def rails(self) -> Mapping[str, Rail]:
        """Net name -> Rail, for grounds and supply rails only; in natural order."""
        raise NotImplementedError

    @cached_property
    def links(self) -> Mapping[str, tuple[Link, ...]]:
        """Net name -> links that leave it (each link stands under both its nets, turned)."""
        raise NotImplementedError

    @cached_property
    def pulls(self) -> Mapping[str, tuple[Pull, ...]]:
        """Net name -> its own pull-ups and pull-downs, and those behind series parts."""
        raise NotImplementedError

    @cached_property
    def buses(self) -> tuple[Bus, ...]:
        """The serial buses, by protocol and name."""
        raise NotImplementedError

    def net_kind(self, net: str) -> NetKind:
        """Return ground, rail, bus, signal or unconnected."""
        raise NotImplementedError

    def volts(self, net: str) -> Volts | None:
        """Return the voltage of a rail or ground (0 V), or that a signal is pulled to; or None."""
        raise NotImplementedError

    def reaches(self, net: str) -> tuple[Reach, ...]:
        """Return the nets that are reached through series parts, nearest first."""
        raise NotImplementedError

    def roles(self, part: str) -> tuple[Role, ...]:
        """Return the candidate roles of a part, best first; `unknown` alone if none fits."""
        raise NotImplementedError

    def absence(self, part: str) -> Absence:
        """Return what happens without the part."""
        raise NotImplementedError

    def proposals(self, part: str) -> tuple[Proposal, ...]:
        """Return what the position likely was, judged without the part's own value, best first."""
        raise NotImplementedError
