"""The position that a rule looks at, and the form of what it finds."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import lru_cache
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
    "looks_at",
    "only_for",
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


class Site:
    """A part with its surroundings, read only.

    `what` is the component kind, as `acts_as` sees it; `nets` the part's nets in pin order, each
    once; `ends` the two nets of a two-terminal part, in pin order (None for other parts);
    `to_fixed` is (signal, rail or ground) where one end is a signal and the other is not;
    `signals` both ends, where both are signals.
    """

    __slots__ = (
        "circuit", "ends", "kind", "nets", "part", "signals", "survey", "to_fixed", "what",
    )  # fmt: skip

    def __init__(self, circuit: Circuit, survey: Survey, part: Part, kind: PartKind) -> None:
        self.circuit = circuit
        self.survey = survey
        self.part = part
        self.kind = kind
        self.nets: tuple[str, ...] = survey.nets_of[part.key]
        self.what: Kind = acts_as(part, kind)
        self.ends: tuple[str, str] | None = survey.ends.get(part.key)
        self.to_fixed: tuple[str, str] | None = None
        self.signals: tuple[str, str] | None = None
        if self.ends is not None:
            first, second = self.ends
            one, two = survey.is_signal(first), survey.is_signal(second)
            if one and two:
                self.signals = self.ends
            elif one:
                self.to_fixed = first, second
            elif two:
                self.to_fixed = second, first

    @property
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

#: The kinds that a rule is asked about; one that is not here is asked about all.
_KINDS_OF: Final[dict[Rule, frozenset[Kind]]] = {}


def only_for(*kinds: Kind) -> Callable[[Rule], Rule]:
    """Say beside a rule which kinds it is about: of others it is never asked."""

    def note(rule: Rule) -> Rule:
        _KINDS_OF[rule] = frozenset(kinds)
        return rule

    return note


def looks_at(rule: Rule, kind: Kind) -> bool:
    """Return whether the rule has anything to say about parts of this kind."""
    kinds = _KINDS_OF.get(rule)
    return kinds is None or kind in kinds


@lru_cache(maxsize=4096)
def figure(value: float | None, unit: str) -> str:
    """Return a figure in engineering notation, or "a part" where there is none."""
    return engineering(value, unit) if value is not None else "a part"


def found(role: str, score: float, *because: str) -> Finding:
    """Return a finding; the reasons in a technician's words."""
    return Role(role, score, because)
