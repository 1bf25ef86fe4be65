"""The state of the search for rails: grounds, evidence, notes, and what is found so far."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from nettrace.circuit.evidence import PartKind
from nettrace.circuit.grounds import Ground, find_grounds
from nettrace.circuit.rail_evidence import SupplyEvidence, gather_evidence
from nettrace.circuit.rail_volts import Feed
from nettrace.model.board import Board
from nettrace.model.names import match_names
from nettrace.model.notes import Notes

__all__ = ["ENOUGH", "Candidate", "Survey"]

#: A net is called a rail from this score on.
ENOUGH: Final = 0.5


@dataclass(slots=True)
class Candidate:
    """A net that may be a rail: score, reasons, and the links that feed it."""

    score: float = 0.0
    because: list[str] = field(default_factory=list)
    feeds: list[Feed] = field(default_factory=list)  # links from other rails, nearest first

    def add(self, score: float, reason: str) -> None:
        """Add a reason with its own score, 0 to 1."""
        # independent reasons add up as chances do
        self.score = 1 - (1 - self.score) * (1 - score)
        self.because.append(reason)


class Survey:
    """The board while its rails are being found."""

    def __init__(self, board: Board, kinds: Mapping[str, PartKind], notes: Notes) -> None:
        self.board = board
        self.kinds = kinds
        self.notes = notes
        self.noted = _noted_rails(board, notes)
        self.grounds: dict[str, Ground] = find_grounds(board, kinds)
        for name, volts in self.noted.items():
            if volts == 0:
                self.grounds[name] = Ground(name, 1.0, ("user's note: 0 V",))
            else:
                self.grounds.pop(name, None)
        self.evidence: SupplyEvidence = gather_evidence(board, kinds, self.grounds)
        self.found: dict[str, Candidate] = {}
        nets = board.net_by_name
        self.main_ground: str | None = max(
            self.grounds, key=lambda name: len(nets[name].pins), default=None
        )


def _noted_rails(board: Board, notes: Notes) -> dict[str, float]:
    noted: dict[str, float] = {}
    if notes.rails:
        names = list(board.net_by_name)
        for pattern, note in notes.rails.items():
            for name in match_names(pattern, names):
                noted[name] = note.volts
    return noted
