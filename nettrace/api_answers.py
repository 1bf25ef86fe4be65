"""What the public calls give back where no room below has one record for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import (
    Absence,
    Bus,
    NetKind,
    PartKind,
    Proposal,
    Pull,
    Rail,
    Reach,
    Role,
    Volts,
)
from nettrace.model.board import Conflict, Counts, Net, Part, Source

if TYPE_CHECKING:
    from nettrace.electrical.expected import Expected

__all__ = ["NetAnswer", "PartAnswer", "ReadingAnswer", "Summary"]


@dataclass(frozen=True, slots=True)
class Summary:
    """What was read: sources, counts, conflicts, warnings; and the rails and buses in it."""

    circuit: Circuit
    name: str
    sources: tuple[Source, ...]
    counts: Counts
    conflicts: tuple[Conflict, ...]
    rails: tuple[Rail, ...]
    buses: tuple[Bus, ...]


@dataclass(frozen=True, slots=True)
class NetAnswer:
    """A net and what it means; `volts` is None where nothing is known of its voltage."""

    net: Net
    kind: NetKind
    volts: Volts | None
    pulls: tuple[Pull, ...]
    reaches: tuple[Reach, ...]


@dataclass(frozen=True, slots=True)
class PartAnswer:
    """A part and what it means.

    `roles` and `proposals` are best first; proposals stand only where no source states a value.
    """

    part: Part
    kind: PartKind
    roles: tuple[Role, ...]
    without_it: Absence
    proposals: tuple[Proposal, ...]


@dataclass(frozen=True, slots=True)
class ReadingAnswer:
    """What a meter should show: `now`, with parts missing or changed, and all as `fitted`.

    `without` are part keys; `changed` is part key -> Ω, 0 for a short.
    """

    now: tuple[Expected, ...]
    fitted: tuple[Expected, ...]
    without: tuple[str, ...]
    changed: Mapping[str, float] = field(default_factory=dict)
