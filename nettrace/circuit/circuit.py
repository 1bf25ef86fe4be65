"""The circuit: a board, the user's notes, and the passes over them, computed once when asked for.

This is the only place that orders passes. Every attribute is a fact that never changes; a pass is
run when its result is first read, and those that not every answer needs are imported only then.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, TypeVar

from nettrace.circuit.buses import infer_buses
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
from nettrace.circuit.links import Bank, find_bank, find_reaches, infer_links, infer_pulls
from nettrace.circuit.part_kinds import infer_kinds
from nettrace.circuit.rails import infer_rails
from nettrace.model.board import Board
from nettrace.model.notes import Notes

if TYPE_CHECKING:
    from nettrace.circuit.absence import Surroundings
    from nettrace.circuit.roles.proposals import ValueBank
    from nettrace.circuit.roles.site import Survey
    from nettrace.model.geometry import PadGrid

_Answer = TypeVar("_Answer")


@dataclass(frozen=True)
class Circuit:
    """A board with what it means.

    Part arguments are part keys, net arguments net names, as `Board` has them.
    """

    board: Board
    notes: Notes = field(default_factory=Notes)

    @cached_property
    def pad_grid(self) -> PadGrid:
        """Where the pads are; made when a place is first asked for."""
        from nettrace.model.geometry import PadGrid

        return PadGrid(self.board)

    @cached_property
    def kinds(self) -> Mapping[str, PartKind]:
        """Part key -> kind, decoded values and evidence."""
        return MappingProxyType(infer_kinds(self.board, self.notes))

    @cached_property
    def rails(self) -> Mapping[str, Rail]:
        """Net name -> Rail, for grounds and supply rails only; in natural order."""
        return MappingProxyType(infer_rails(self.board, self.kinds, self.notes))

    @cached_property
    def links(self) -> Mapping[str, tuple[Link, ...]]:
        """Net name -> links that leave it (each link stands under both its nets, turned)."""
        return MappingProxyType(infer_links(self.board, self.kinds, self.rails))

    @cached_property
    def pulls(self) -> Mapping[str, tuple[Pull, ...]]:
        """Net name -> its own pull-ups and pull-downs, and those behind series parts."""
        return MappingProxyType(infer_pulls(self.board, self.kinds, self.rails, self.links))

    @cached_property
    def buses(self) -> tuple[Bus, ...]:
        """The serial buses, by protocol and name."""
        return infer_buses(self.board, self.kinds, self.rails, self.links, self.pulls)

    @cached_property
    def survey(self) -> Survey:
        """What stands around each net, in tables; the roles are read from it."""
        from nettrace.circuit.roles.site import survey_board

        return survey_board(self.board, self.kinds, self.rails)

    @cached_property
    def value_bank(self) -> ValueBank:
        """The values of known positions with their roles; proposals are chosen from it."""
        from nettrace.circuit.roles.proposals import build_bank

        return build_bank(self.survey, self.buses, self.roles)

    @cached_property
    def _bus_nets(self) -> frozenset[str]:
        return frozenset(net for bus in self.buses for line in bus.lines for net in line.nets)

    @cached_property
    def _memory(self) -> dict[tuple[str, str], Any]:
        """Answers per part or net that were asked for already."""
        return {}

    @cached_property
    def pulled_buses(self) -> Mapping[str, tuple[int, ...]]:
        """Part key -> places in `buses` of those that it pulls, or that are pulled through it."""
        found: dict[str, dict[int, None]] = {}
        for place, bus in enumerate(self.buses):
            nets = (net for line in bus.lines for net in line.nets)
            for pull in (pull for net in nets for pull in self.pulls.get(net, ())):
                for key in (pull.part, *pull.through):
                    found.setdefault(key, {})[place] = None
        return MappingProxyType({key: tuple(places) for key, places in found.items()})

    @cached_property
    def surroundings(self) -> Surroundings:
        """All that a missing part is judged by."""
        from nettrace.circuit.absence import Surroundings

        return Surroundings(
            self.survey, self.links, self.pulls, self.buses, self.roles, self.bank, self.reaches
        )

    def once(self, what: str, key: str, make: Callable[[], _Answer]) -> _Answer:
        """Return an answer about a part or net, made when it is first asked for."""
        memory = self._memory
        if (what, key) not in memory:
            memory[what, key] = make()
        answer: _Answer = memory[what, key]
        return answer

    def net_kind(self, net: str) -> NetKind:
        """Return ground, rail, bus, signal or unconnected (fewer than two pins, and no rail)."""
        if (rail := self.rails.get(net)) is not None:
            return rail.kind
        if net in self._bus_nets:
            return NetKind.BUS
        known = self.board.net_by_name.get(net)
        pins = known.pins if known is not None else ()
        return NetKind.SIGNAL if len(pins) > 1 else NetKind.UNCONNECTED

    def volts(self, net: str) -> Volts | None:
        """Return the voltage of a rail or ground (0 V), or that a signal is pulled to; or None.

        A signal's voltage is that of its one pull-up with no pull-down against it.
        """
        if (rail := self.rails.get(net)) is not None:
            return rail.volts
        pulls = [pull for pull in self.pulls.get(net, ()) if pull.fitted]
        ups = {pull.to: pull for pull in pulls if pull.direction == "up"}
        if len(ups) != 1 or any(pull.direction == "down" for pull in pulls):
            return None
        pull = next(iter(ups.values()))
        if any(self.roles(each.part)[0].role == "thermistor bias" for each in pulls):
            return None  # a thermistor, perhaps off the board, pulls against it
        volts = self.rails[pull.to].volts
        if volts is None or volts.nominal is None:
            return None
        basis = f"pulled up to {pull.to} by {pull.part}"
        score = round(volts.score * 0.9, 2)
        return Volts(volts.nominal, volts.min, volts.max, basis, score, (pull.part,))

    def reaches(self, net: str) -> tuple[Reach, ...]:
        """Return the nets that are reached through series parts, nearest first."""
        return self.once("reaches", net, lambda: find_reaches(self.links, self.rails, net))

    def bank(self, rail: str) -> Bank:
        """Return the capacitors of a supply rail, and the pads that they serve."""
        rails, links = self.rails, self.links
        return self.once(
            "bank", rail, lambda: find_bank(self.board, self.kinds, rails, links, rail)
        )

    def roles(self, part: str) -> tuple[Role, ...]:
        """Return the candidate roles of a part, best first; `unknown` alone if none fits."""
        from nettrace.circuit.roles import infer_roles

        known, nets = self.board.part_by_key[part], self._bus_nets
        return self.once("roles", part, lambda: infer_roles(self.survey, self.notes, known, nets))

    def absence(self, part: str) -> Absence:
        """Return what happens without the part."""
        from nettrace.circuit.absence import judge_absence

        return self.once("absence", part, lambda: judge_absence(self.surroundings, part))

    def proposals(self, part: str) -> tuple[Proposal, ...]:
        """Return what the position likely was, judged without the part's own value, best first."""
        from nettrace.circuit.roles.proposals import propose

        def infer() -> tuple[Proposal, ...]:
            hidden = self.without_value(part)
            roles = hidden.roles(part)
            return propose(part, hidden.survey, roles, hidden.buses, self.value_bank)

        return self.once("proposals", part, infer)

    def without_value(self, part: str) -> Circuit:
        """Return the circuit with a part's value, description and properties unknown.

        Only what the value could have settled is judged anew: the part's kind, its entries in the
        tables of its nets, and, where it may carry a supply, the rails and all that rest on them.
        """
        from nettrace.circuit.roles.proposals import hide_figure, hide_value, may_carry_supply

        if (found := hide_value(self.board, self.kinds, part)) is None:
            return self
        board, kinds = found
        hidden = Circuit(board, self.notes)
        # what does not rest on the value is taken over: a whole board anew is slow
        taken: dict[str, object] = {"kinds": kinds}
        if not may_carry_supply(self.survey, self.board.part_by_key[part]):
            for name in ("rails", "links", "pulls", "buses", "_bus_nets"):
                taken[name] = getattr(self, name)
            taken["survey"] = hide_figure(self.survey, board, kinds, part)
        hidden.__dict__.update(taken)
        return hidden
