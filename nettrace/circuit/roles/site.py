"""The position that a rule looks at, and the form of what it finds."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

from nettrace.circuit.evidence import PartKind, Role
from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles.survey import Survey, acts_as
from nettrace.model.board import Part
from nettrace.values.quantity import engineering

if TYPE_CHECKING:
    from nettrace.circuit.circuit import Circuit

__all__ = [
    "CERTAIN",
    "FAINT",
    "LIKELY",
    "POSSIBLE",
    "STRONG",
    "WEAK",
    "Finding",
    "Rule",
    "Site",
    "figure",
    "found",
]

# How sure a finding is; the steps are ours (no source), the order is what counts.
CERTAIN: Final = 0.95
STRONG: Final = 0.85
LIKELY: Final = 0.7
POSSIBLE: Final = 0.5
WEAK: Final = 0.3
FAINT: Final = 0.15

#: A scored finding of a rule.
Finding = Role


@dataclass(frozen=True)
class Site:
    """A part with its surroundings. `first` and `second` are the nets of a two-terminal part."""

    circuit: Circuit
    survey: Survey
    part: Part
    kind: PartKind

    @cached_property
    def what(self) -> Kind:
        """The component kind, as `acts_as` sees it."""
        return acts_as(self.part, self.kind)

    @cached_property
    def ends(self) -> tuple[str, str] | None:
        """The two nets of a two-terminal part, in pin order; None for other parts."""
        return self.survey.ends.get(self.part.key)

    @cached_property
    def to_fixed(self) -> tuple[str, str] | None:
        """(signal, rail or ground) where one end is a signal and the other is not."""
        if self.ends is None:
            return None
        first, second = self.ends
        if self.survey.is_signal(first) == self.survey.is_signal(second):
            return None
        return (first, second) if self.survey.is_signal(first) else (second, first)

    @cached_property
    def signals(self) -> tuple[str, str] | None:
        """Both nets, where both are signals."""
        if self.ends is None or not all(self.survey.is_signal(net) for net in self.ends):
            return None
        return self.ends

    @cached_property
    def text(self) -> str:
        """Value, description and part number as one text, for word lists."""
        properties = self.part.properties
        named = [properties[name] for name in properties if name.upper() in _NUMBER_FIELDS]
        return " ".join(filter(None, (self.part.value, self.part.description, *named)))


_NUMBER_FIELDS: Final = frozenset({"MPN", "MANUFACTURER PART NUMBER", "PART NUMBER", "MFR_PN",
                                   "PARTNUMBER", "MANF#", "COMMENT", "KEYWORDS",
                                   "KI_KEYWORDS", "KI_DESCRIPTION"})  # fmt: skip

#: A rule looks at one position and returns what it finds; nothing is a finding, too.
Rule = Callable[[Site], Iterable[Finding]]


def figure(value: float | None, unit: str) -> str:
    """Return a figure in engineering notation, or "a part" where there is none."""
    return engineering(value, unit) if value is not None else "a part"


def found(role: str, score: float, *because: str) -> Finding:
    """Return a finding; the reasons in a technician's words."""
    return Role(role, score, because)
