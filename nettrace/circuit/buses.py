"""The serial buses of a board."""

from __future__ import annotations

from collections.abc import Mapping

from nettrace.circuit.evidence import Bus, Link, PartKind, Pull, Rail
from nettrace.model.board import Board

__all__ = ["infer_buses"]


def infer_buses(
    board: Board,
    kinds: Mapping[str, PartKind],
    rails: Mapping[str, Rail],
    links: Mapping[str, tuple[Link, ...]],
    pulls: Mapping[str, tuple[Pull, ...]],
) -> tuple[Bus, ...]:
    """Return the buses, by protocol and name."""
    return ()
