"""What stands around each net, gathered once for the whole board, so that a rule looks nothing up.

One walk over the parts; every table is by net or part key. Lists of a ground or a rail are long:
rules read them for signals only, for supplies they read the sets made here.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from math import hypot
from typing import Final

from nettrace.circuit.evidence import NetKind, PartKind, Rail
from nettrace.circuit.kinds import Kind
from nettrace.circuit.rail_names import leaf_of
from nettrace.circuit.roles.nodes import (
    Around,
    Branch,
    acts_as,
    find_crystals,
    find_switching_nodes,
    find_taps,
    is_letter_only,
)
from nettrace.circuit.series import Terminals, terminals_of, two_nets
from nettrace.model.board import Board, Part, Pin

__all__ = [
    "CHIPS",
    "Branch",
    "Survey",
    "acts_as",
    "are_pair",
    "find_taps",
    "is_letter_only",
    "plain_name",
    "survey_board",
]

#: Kinds with pins that drive or read a signal.
CHIPS: Final = frozenset(
    {Kind.IC, Kind.MODULE, Kind.DISPLAY, Kind.OSCILLATOR, Kind.MICROPHONE, Kind.UNKNOWN}
)
_TRANSISTORS: Final = frozenset({Kind.MOSFET, Kind.TRANSISTOR})


@dataclass(frozen=True)
class Survey:
    """The tables. Net arguments are net names, part arguments part keys."""

    board: Board
    kinds: Mapping[str, PartKind]
    rails: Mapping[str, Rail]
    grounds: frozenset[str]
    supplies: frozenset[str]
    nets_of: Mapping[str, tuple[str, ...]]  # part -> its nets in pin order, each once
    ends: Mapping[str, tuple[str, str]]  # two-terminal parts: the nets of their pins
    resistors: Mapping[str, tuple[Branch, ...]]  # of more than 0 ohms or of unknown value
    links: Mapping[str, tuple[Branch, ...]]  # zero-ohm resistors
    capacitors: Mapping[str, tuple[Branch, ...]]
    inductors: Mapping[str, tuple[Branch, ...]]
    diodes: Mapping[str, tuple[Branch, ...]]  # LEDs too
    chips: Mapping[str, tuple[str, ...]]  # net -> chips with a pin on it
    on_net: Mapping[str, Mapping[Kind, int]]  # net -> kind -> parts
    terminals: Mapping[str, Terminals]  # transistors whose ends are known
    gates: Mapping[str, tuple[str, ...]]  # net -> transistors with their gate or base on it
    crystals: Mapping[str, tuple[str, str]]  # crystal -> its two nets
    crystal_nets: Mapping[str, str]  # net -> crystal
    switching_nodes: Mapping[str, str]  # net -> the inductor on it
    taps: Mapping[str, tuple[str, str]]  # divider's middle -> (upper, lower resistor)
    main_chip: str | None  # the chip with by far the most signals
    signals_of: Mapping[str, int] = field(default_factory=dict)  # chip -> signal nets it is on
    names_on: dict[str, tuple[str, ...]] = field(default_factory=dict, repr=False)  # asked for
    joined: frozenset[tuple[str, str]] = frozenset()  # rails that a resistor joins, both ways
    usual_capacitor_mm: float | None = None  # between the pads of most capacitors

    def is_ground(self, net: str) -> bool:
        """Return whether the net is a ground."""
        return net in self.grounds

    def is_supply(self, net: str) -> bool:
        """Return whether the net is a supply rail."""
        return net in self.supplies

    def is_signal(self, net: str) -> bool:
        """Return whether the net is neither ground nor supply."""
        return net not in self.grounds and net not in self.supplies

    def pins(self, net: str) -> tuple[Pin, ...]:
        """Return the pins of a net."""
        known = self.board.net_by_name.get(net)
        return known.pins if known is not None else ()

    def count(self, net: str, *kinds: Kind) -> int:
        """Return how many parts of these kinds are on the net."""
        found = self.on_net.get(net)
        total = 0
        if found:
            for kind in kinds:
                total += found.get(kind, 0)
        return total

    def pin_names(self, net: str) -> tuple[str, ...]:
        """Return the names of chip pins on a signal net, upper case, without overbars."""
        if net in self.rails:
            return ()
        names = self.names_on.get(net)
        if names is None:
            names = self.names_on[net] = tuple(
                plain_name(pin.name)
                for pin in self.pins(net)
                if pin.name and self.kinds[pin.part].kind in CHIPS
            )
        return names

    @staticmethod
    def pad_distance_mm(part: Part) -> float | None:
        """Return how far apart the two pads of a part are, mm; None without places."""
        if len(part.pins) != 2:
            return None
        (x1, y1), (x2, y2) = ((pin.x, pin.y) for pin in part.pins)
        if x1 is None or y1 is None or x2 is None or y2 is None:
            return None
        return hypot(x1 - x2, y1 - y2)

    def describe(self, net: str) -> str:
        """Return the net in a technician's words: `+1V8, a rail of 1.8 V`."""
        rail = self.rails.get(net)
        if rail is None:
            return net
        if rail.kind is NetKind.GROUND:
            return f"{net} (ground)"
        if rail.volts is None or rail.volts.nominal is None:
            return f"{net}, a rail"
        return f"{net}, a rail of {rail.volts.nominal:g} V"


_MARKS: Final = re.compile(r"[{}~_^ ]")


@lru_cache(maxsize=16384)
def plain_name(name: str | None) -> str:
    """Return a pin name in upper case without overbars, subscripts and blanks."""
    if not name:
        return ""
    return _MARKS.sub("", name.upper())


_POLAR: Final = re.compile(
    r"^(?P<base>.*?)[_\-.]?(?P<sign>\+|-|P|N|DP|DM|POS|NEG|M)(?P<tail>\d*(?:_[A-Z0-9]+)*)$"
)
_OPPOSITE: Final = {"+": "-", "P": "N", "DP": "DM", "POS": "NEG"}


@lru_cache(maxsize=16384)
def are_pair(first: str, second: str) -> bool:
    """Return whether two net names are the halves of a differential pair.

    >>> are_pair("USB_D+", "USB_D-"), are_pair("/CLK_P", "/CLK_N"), are_pair("DP", "DM")
    (True, True, True)
    >>> are_pair("TX0P_C", "TX0N_C"), are_pair("SDA", "SCL"), are_pair("+3V3", "-3V3")
    (True, False, False)
    """
    one, two = _POLAR.match(leaf_of(first).upper()), _POLAR.match(leaf_of(second).upper())
    if one is None or two is None or one["tail"] != two["tail"]:
        return False
    signs = one["sign"], two["sign"]
    if one["base"] != two["base"]:
        return False
    return (
        _OPPOSITE.get(signs[0]) == signs[1]
        or _OPPOSITE.get(signs[1]) == signs[0]
        or set(signs) == {"P", "M"}
    )


class _Tables:
    """The tables while they grow."""

    def __init__(self) -> None:
        self.nets_of: dict[str, tuple[str, ...]] = {}
        self.ends: dict[str, tuple[str, str]] = {}
        self.branches: dict[str, dict[str, list[Branch]]] = {
            name: {} for name in ("resistors", "links", "capacitors", "inductors", "diodes")
        }
        self.chips: dict[str, list[str]] = {}
        self.on_net: dict[str, dict[Kind, int]] = {}
        self.terminals: dict[str, Terminals] = {}
        self.gates: dict[str, list[str]] = {}
        self.signals: dict[str, int] = {}

    def branch(self, table: str, part: str, figure: float | None, fitted: bool) -> None:
        first, second = self.ends[part]
        self.branches[table].setdefault(first, []).append(Branch(part, second, figure, fitted))
        self.branches[table].setdefault(second, []).append(Branch(part, first, figure, fitted))

    def table(self, name: str) -> dict[str, tuple[Branch, ...]]:
        return {net: tuple(found) for net, found in self.branches[name].items()}


def survey_board(board: Board, kinds: Mapping[str, PartKind], rails: Mapping[str, Rail]) -> Survey:
    """Return the tables of a board; one walk over its parts and pins."""
    tables = _Tables()
    for part in board.parts:
        _enter(tables, part, kinds[part.key], rails)
    resistors, capacitors = tables.table("resistors"), tables.table("capacitors")
    inductors = tables.table("inductors")
    chips = {net: tuple(found) for net, found in tables.chips.items()}
    around = Around(resistors, capacitors, inductors, chips, tables.on_net)
    crystals = find_crystals(board, kinds, rails, capacitors, chips)
    return Survey(
        board=board,
        kinds=kinds,
        rails=rails,
        grounds=frozenset(name for name, rail in rails.items() if rail.kind is NetKind.GROUND),
        supplies=frozenset(name for name, rail in rails.items() if rail.kind is NetKind.RAIL),
        nets_of=tables.nets_of,
        ends=tables.ends,
        resistors=resistors,
        links=tables.table("links"),
        capacitors=capacitors,
        inductors=inductors,
        diodes=tables.table("diodes"),
        chips=chips,
        on_net=tables.on_net,
        terminals=tables.terminals,
        gates={net: tuple(found) for net, found in tables.gates.items()},
        crystals=crystals,
        crystal_nets={net: key for key, nets in crystals.items() for net in nets},
        switching_nodes=find_switching_nodes(board, rails, around),
        taps=find_taps(rails, resistors, tables.on_net),
        main_chip=_main_chip(tables.signals),
        signals_of=tables.signals,
        joined=frozenset(
            nets
            for key, (first, second) in tables.ends.items()
            if first in rails and second in rails and kinds[key].kind is Kind.RESISTOR
            for nets in ((first, second), (second, first))
        ),
        usual_capacitor_mm=_usual_capacitor_mm(board, kinds),
    )


def _usual_capacitor_mm(board: Board, kinds: Mapping[str, PartKind]) -> float | None:
    """Return the distance between pads, mm, that most capacitors have; None without places."""
    distances: Counter[float] = Counter()
    for part in board.parts:
        if kinds[part.key].kind is Kind.CAPACITOR:
            distance = Survey.pad_distance_mm(part)
            if distance is not None:
                distances[round(distance, 1)] += 1
    return min(distances, key=lambda mm: (-distances[mm], mm)) if distances else None


def _enter(tables: _Tables, part: Part, kind: PartKind, rails: Mapping[str, Rail]) -> None:
    what = acts_as(part, kind)
    nets = tables.nets_of[part.key] = part.nets
    for net in nets:
        counts = tables.on_net.get(net)
        if counts is None:
            counts = tables.on_net[net] = {}
        counts[what] = counts.get(what, 0) + 1
    both = two_nets(part)
    if both is not None:
        tables.ends[part.key] = both
        if what is Kind.RESISTOR:
            table = "links" if kind.ohms == 0 else "resistors"
            tables.branch(table, part.key, kind.ohms, kind.fitted)
        elif what is Kind.CAPACITOR:
            tables.branch("capacitors", part.key, kind.farads, kind.fitted)
        elif what is Kind.INDUCTOR:
            tables.branch("inductors", part.key, kind.henries, kind.fitted)
        elif what in {Kind.DIODE, Kind.LED}:
            tables.branch("diodes", part.key, None, kind.fitted)
    if what in CHIPS:
        for net in nets:
            tables.chips.setdefault(net, []).append(part.key)
        tables.signals[part.key] = sum(net not in rails for net in nets)
    if what in _TRANSISTORS:
        terminals = terminals_of(part)
        if terminals is not None:
            tables.terminals[part.key] = terminals
            tables.gates.setdefault(terminals.gate, []).append(part.key)


#: The main chip has at least this many signals, and more than any other (common practice).
LEAST_MAIN_SIGNALS: Final = 12


def _main_chip(signals: Mapping[str, int]) -> str | None:
    if not signals:
        return None
    best = max(signals, key=lambda key: signals[key])
    return best if signals[best] >= LEAST_MAIN_SIGNALS else None
