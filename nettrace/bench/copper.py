"""Pads, and nets that are one to a meter: by links on the board, and by wires soldered since.

A wire between two points of one net mends a break. One between two nets that a link joins, or
joined before it came off, stands in for the link. Any other joins nets that the board keeps
apart: a short, until the user says that it is meant.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from nettrace.bench.job import Wire
from nettrace.bench.job_state import JobState
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.kinds import Kind
from nettrace.circuit.series import two_nets
from nettrace.electrical.elements import elements_of
from nettrace.errors import NothingMatches, WrongUsage
from nettrace.model.board import Pin, Via
from nettrace.model.find import find_pins
from nettrace.model.geometry import distance

__all__ = [
    "Wired",
    "WiredAs",
    "find_pad",
    "find_via",
    "net_groups",
    "pad_name",
    "replaced_parts",
    "wires_of",
]

#: Two nets joined by so little are one net to a meter, Ω.
ONE_NET_OHMS: Final = 0.05
#: A place this near to a via's middle is the via where its size is not known, mm.
VIA_REACH_MM: Final = 0.3


class WiredAs(StrEnum):
    """What a wire does on the board."""

    MENDS = "mends a break"
    BESIDE = "beside a sound track"  # one net, and no break is marked there
    INSTEAD = "in place of a link"
    JOINS = "joins two nets"


@dataclass(frozen=True, slots=True)
class Wired:
    """A soldered wire, judged against the board.

    Attributes:
        wire: the job's entry.
        nets: of its two ends; None where the end is on no net.
        as_: what it does.
        of: the lifted pads and cut tracks' pads that it is soldered to, or the keys of the missing
            parts that it stands in for.
        replaced: those of `of` for which a wire is a whole replacement: links of 0 Ω.
    """

    wire: Wire
    nets: tuple[str | None, str | None]
    as_: WiredAs
    of: tuple[str, ...] = ()
    replaced: tuple[str, ...] = ()

    @property
    def is_short(self) -> bool:
        """Whether it joins what the board keeps apart, and nobody said that it is meant."""
        return self.as_ is WiredAs.JOINS and not self.wire.confirmed

    @property
    def across(self) -> tuple[str, str] | None:
        """The two different nets that it joins; None for a wire on one net."""
        first, second = self.nets
        if first is None or second is None or first == second:
            return None
        return first, second

    @property
    def place(self) -> str:
        """Both ends, as a fault's place: `R12.1|TP4.1`."""
        return f"{self.wire.start}|{self.wire.end}"

    @property
    def words(self) -> str:
        """What it does, in a technician's words."""
        if self.as_ is WiredAs.MENDS:
            return f"mends {' and '.join(self.of)} ({self.nets[0]})"
        if self.as_ is WiredAs.BESIDE:
            return f"both ends on {self.nets[0]}, and no break is marked there"
        names = " and ".join(net or "a pin on no net" for net in self.nets)
        if self.as_ is WiredAs.INSTEAD:
            return f"in place of {' and '.join(self.of)}" if self.of else f"{names} are one anyway"
        if self.wire.confirmed:
            return f"joins {names}: meant, as confirmed"
        return f"joins {names}, which the board keeps apart: a short, to confirm or take off"


def pad_name(circuit: Circuit, pin: Pin) -> str:
    """Return the pin as a technician writes it."""
    return f"{circuit.board.part_by_key[pin.part].refdes}.{pin.number}"


def find_pad(circuit: Circuit, name: str) -> Pin | None:
    """Return the pin that `REFDES.PIN` means, None where there is none."""
    if "." not in name:
        return None
    try:
        return find_pins(circuit.board, name)[0]
    except (NothingMatches, WrongUsage):
        return None


def find_via(circuit: Circuit, place: str) -> Via | None:
    """Return the via at a place `12.5,-3.0` (mm), None where there is none."""
    try:
        x, y = (float(word) for word in place.split(","))
    except ValueError:
        return None
    near = min(circuit.board.vias, key=lambda via: distance(via.x, via.y, x, y), default=None)
    if near is None:
        return None
    reach = max(VIA_REACH_MM, (near.diameter or 0.0) / 2)
    return near if distance(near.x, near.y, x, y) <= reach else None


def net_groups(
    circuit: Circuit, absent: Iterable[str] = (), wires: Iterable[Wired] = ()
) -> Mapping[str, str]:
    """Return net -> one name for all nets that links of next to no resistance, or wires, join."""
    parent: dict[str, str] = {}

    def find(name: str) -> str:
        while (up := parent.setdefault(name, name)) != name:
            parent[name] = parent[up]
            name = up
        return name

    for element in elements_of(circuit, frozenset(absent)).resistances:
        if element.ohms <= ONE_NET_OHMS:
            parent[find(element.a)] = find(element.b)
    for wired in wires:
        if wired.across is not None:
            first, second = wired.across
            parent[find(first)] = find(second)
    return {net.name: find(net.name) for net in circuit.board.nets}


def wires_of(circuit: Circuit, state: JobState) -> tuple[Wired, ...]:
    """Return the job's wires, each with what it does, in order of entry.

    A wire whose end is no longer on the board is left out.
    """
    if not state.wires:
        return ()
    torn = dict.fromkeys([*state.lifted, *(pad for cut in state.cuts for pad in cut)])
    absent = _absent(circuit, state)
    whole = net_groups(circuit)
    left = net_groups(circuit, absent)
    found = []
    for wire in state.wires:
        ends = [_net_at(circuit, word) for word in (wire.start, wire.end)]
        if any(not there for there, _ in ends):
            continue
        first, second = ends[0][1], ends[1][1]
        nets = (first, second)
        if first is None or second is None:
            found.append(Wired(wire, nets, WiredAs.JOINS))
        elif first == second:
            of = tuple(end for end in (wire.start, wire.end) if end in torn)
            found.append(Wired(wire, nets, WiredAs.MENDS if of else WiredAs.BESIDE, of))
        elif whole[first] == whole[second]:
            pair = {left[first], left[second]}
            of = tuple(key for key in absent if _groups_of(circuit, key, left) == pair)
            replaced = tuple(key for key in of if _is_link(circuit, key))
            found.append(Wired(wire, nets, WiredAs.INSTEAD, of, replaced))
        else:
            found.append(Wired(wire, nets, WiredAs.JOINS))
    return tuple(found)


def replaced_parts(circuit: Circuit, state: JobState) -> frozenset[str]:
    """Return the keys of missing links whose place a soldered wire has taken."""
    return frozenset(key for wired in wires_of(circuit, state) for key in wired.replaced)


def _absent(circuit: Circuit, state: JobState) -> tuple[str, ...]:
    return tuple(key for key in state.missing if key in circuit.board.part_by_key)


def _net_at(circuit: Circuit, word: str) -> tuple[bool, str | None]:
    """Return whether the place is on the board, and its net."""
    pin = find_pad(circuit, word)
    if pin is not None:
        return True, pin.net
    via = find_via(circuit, word)
    return via is not None, via.net if via is not None else None


def _groups_of(circuit: Circuit, key: str, groups: Mapping[str, str]) -> set[str]:
    nets = two_nets(circuit.board.part_by_key[key])
    return {groups[net] for net in nets} if nets is not None else set()


def _is_link(circuit: Circuit, key: str) -> bool:
    kind = circuit.kinds[key]
    return kind.kind is Kind.JUMPER or (kind.kind is Kind.RESISTOR and kind.ohms == 0)
