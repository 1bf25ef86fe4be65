"""The position that a rule looks at, and the form of what it finds."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Final

from nettrace.circuit.evidence import PartKind, Role
from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles.survey import Survey, acts_as
from nettrace.model.board import Part
from nettrace.values.quantity import engineering

# How sure a finding is; the steps are ours (no source), the order is what counts.
CERTAIN: Final = 0.95
STRONG: Final = 0.85
LIKELY: Final = 0.7
POSSIBLE: Final = 0.5
WEAK: Final = 0.3
FAINT: Final = 0.15

#: The reason of a rule that would say more of a part with a value.
VALUE_NOT_KNOWN: Final = "value not known"
#: Scored findings of a rule.
Findings = Iterable[Role]


class Site:
    """A part with its surroundings, read only.

    `what` is the component kind, as `acts_as` sees it; `nets` the part's nets in pin order, each
    once; `ends` the two nets of a two-terminal part, in pin order (None for other parts), `ways`
    the ends, and the ends turned; `to_fixed` is (signal, rail or ground) where one end is a signal
    and the other is not; `lines` are both ends where both are signals, `line_ways` as above;
    `bus_nets` the nets of all the board's buses.
    """

    __slots__ = (
        "bus_nets", "ends", "key", "kind", "line_ways", "lines", "nets", "part", "survey",
        "to_fixed", "ways", "what",
    )  # fmt: skip

    def __init__(self, survey: Survey, part: Part, bus_nets: frozenset[str] = frozenset()) -> None:
        self.survey = survey
        self.bus_nets = bus_nets
        self.part = part
        self.key = part.key
        self.kind: PartKind = survey.kinds[part.key]
        self.nets: tuple[str, ...] = part.nets
        self.what: Kind = acts_as(part, self.kind)
        self.ends: tuple[str, str] | None = survey.ends.get(part.key)
        self.to_fixed: tuple[str, str] | None = None
        self.lines: tuple[str, str] | None = None
        self.ways: tuple[tuple[str, str], ...] = ()
        self.line_ways: tuple[tuple[str, str], ...] = ()
        if self.ends is None:
            return
        first, second = self.ends
        self.ways = (first, second), (second, first)
        one, two = self.is_signal(first), self.is_signal(second)
        if one and two:
            self.lines, self.line_ways = self.ends, self.ways
        elif one or two:
            self.to_fixed = self.ways[0] if one else self.ways[1]

    def is_signal(self, net: str) -> bool:
        """Return whether the net is neither ground nor supply."""
        return net not in self.survey.rails

    def is_ground(self, net: str) -> bool:
        """Return whether the net is a ground."""
        return net in self.survey.grounds

    def is_supply(self, net: str) -> bool:
        """Return whether the net is a supply rail."""
        return net in self.survey.supplies

    @property
    def signals(self) -> list[str]:
        """Its nets that are neither ground nor supply."""
        return [net for net in self.nets if self.is_signal(net)]

    @property
    def supplies(self) -> list[str]:
        """Its supply rails."""
        return [net for net in self.nets if self.is_supply(net)]

    @property
    def grounds(self) -> list[str]:
        """Its grounds."""
        return [net for net in self.nets if self.is_ground(net)]

    @property
    def live(self) -> list[str]:
        """Its nets but for grounds."""
        return [net for net in self.nets if not self.is_ground(net)]


#: A rule looks at one position and returns what it finds; nothing is a finding, too.
Rule = Callable[[Site], Findings]


def figure(value: float | None, unit: str) -> str:
    """Return a figure in engineering notation, or "a part" where there is none."""
    return engineering(value, unit) if value is not None else "a part"


def found(role: str, score: float, *because: str) -> Role:
    """Return a finding; the reasons in a technician's words."""
    return Role(role, score, because)


def ranked(scores: dict[str, float], *because: str) -> Iterator[Role]:
    """Yield findings that have the same reasons."""
    for role, score in scores.items():
        yield Role(role, score, because)
