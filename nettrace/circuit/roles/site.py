"""The position that a rule looks at: what its nets' names say, and what stands around each net.

The words that names have stand in `knowledge/lines.toml`. The survey is gathered once for the whole
board, so that a rule looks nothing up: one walk over the parts, every table by net or part key.
Lists of a ground or a rail are long: rules read them for signals only, for supplies they read the
sets made here. Nodes of a sort (crystals, switching nodes, dividers' taps) are found by structure
alone.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from math import hypot
from typing import Any, Final, NamedTuple, TypeVar

from nettrace import knowledge
from nettrace.circuit.evidence import NetKind, PartKind, Rail, Role
from nettrace.circuit.kinds import TRANSISTORS, Kind
from nettrace.circuit.links import Terminals, terminals_of, two_nets
from nettrace.circuit.rail_evidence import (
    CONVERTER_HENRIES,
    MOST_NODE_PINS,
    leaf_of,
    pin_function_of,
)
from nettrace.model.board import Board, Part, Pin
from nettrace.values.quantity import engineering


@lru_cache(maxsize=65536)
def says(what: str, text: str) -> bool:
    """Return whether a text in upper case has a word of that class.

    Answers are kept, for a net is asked about by each of its parts.

    >>> says("reset", "N_RST"), says("reset", "CLOCK")
    (True, False)
    """
    return _pattern(what).search(text) is not None


@cache
def _pattern(what: str) -> re.Pattern[str]:
    whole = what in knowledge.table("lines")["words"]
    return (knowledge.whole_words if whole else knowledge.pattern)("lines", what)


@lru_cache(maxsize=16384)
def names_supply(text: str) -> bool:
    """Return whether the words name a chip's supply pin or own supply, and not a line about one.

    >>> names_supply("VDD"), names_supply("VREG_VOUT"), names_supply("VBUS_DET")
    (True, True, False)
    """
    return not says("about supply", text) and (says("supply", text) or says("bypass", text))


@lru_cache(maxsize=32768)
def words_of(net: str) -> str:
    """Return what a net's name says, upper case: its last part, or the pin in an automatic name.

    >>> words_of("/Power/VBUS_DET"), words_of("Net-(IC401-VSET1)"), words_of("Net-(R4-Pad2)")
    ('VBUS_DET', 'VSET1', '')
    """
    if (pin := pin_function_of(net)) is not None:
        return _without(pin, "{}~^").upper()
    # an escaped stroke stands inside a name: it parts words, no sheets
    upper = _without(leaf_of(net).upper().replace("{SLASH}", "/"), "{}~^")
    if upper.startswith(("NET-(", "UNCONNECTED-", "N$", "NET-_")):
        return ""
    cut = _CUT_AUTOMATIC.match(upper) if upper.endswith(")") else None
    if cut is None:
        return upper
    return "" if cut["pin"].startswith("PAD") else cut["pin"]


#: The end of an automatic name that a narrow column cut: `T-(R45-PAD2)`, `01-VBUS_OUT)`.
_CUT_AUTOMATIC: Final = re.compile(r"^[^()]*\(?[^()]*?-(?P<pin>[^()\-][^()]*)\)$")


def _without(text: str, marks: str) -> str:
    return text.translate(dict.fromkeys(map(ord, marks)))


@lru_cache(maxsize=16384)
def plain_name(name: str | None) -> str:
    """Return a pin name in upper case without overbars, subscripts and blanks."""
    return _without(name.upper(), "{}~_^ ") if name else ""


_POLAR: Final = re.compile(
    r"^(?P<base>.*?)[_\-.]?(?P<sign>\+|-|P|N|DP|DM|POS|NEG|M)(?P<tail>\d*(?:_[A-Z0-9]+)*)$"
)
_OPPOSITES: Final = ({"+", "-"}, {"P", "N"}, {"DP", "DM"}, {"POS", "NEG"}, {"P", "M"})


@lru_cache(maxsize=16384)
def are_pair(first: str, second: str) -> bool:
    """Return whether two net names are the halves of a differential pair.

    >>> are_pair("USB_D+", "USB_D-"), are_pair("/CLK_P", "/CLK_N"), are_pair("DP", "DM")
    (True, True, True)
    >>> are_pair("TX0P_C", "TX0N_C"), are_pair("SDA", "SCL"), are_pair("+3V3", "-3V3")
    (True, False, False)
    """
    one, two = _POLAR.match(leaf_of(first).upper()), _POLAR.match(leaf_of(second).upper())
    if one is None or two is None or one["tail"] != two["tail"] or one["base"] != two["base"]:
        return False
    return {one["sign"], two["sign"]} in _OPPOSITES


_T = TypeVar("_T")

#: Kinds with pins that drive or read a signal.
CHIPS: Final = frozenset(
    {Kind.IC, Kind.MODULE, Kind.DISPLAY, Kind.OSCILLATOR, Kind.MICROPHONE, Kind.UNKNOWN}
)
#: What a kind scores at most when the reference letter alone speaks.
LETTER_SCORE: Final = 0.8
#: The main chip has at least this many signals, and more than any other (common practice).
LEAST_MAIN_SIGNALS: Final = 12
#: A crystal's net has few pins; a supply many (common practice, no source).
MOST_CRYSTAL_NET_PINS: Final = 6
#: More than this straight from a switching node to ground would short it (common practice).
MOST_SNUBBER_FARADS: Final = 10e-9
#: A divider's resistors are within this ratio; beyond it one is in series, the other a pull
#: (common practice, no source).
MOST_DIVIDER_RATIO: Final = 20.0
MOST_SUPPLY_RATIO: Final = 50.0
#: A divider's resistors are at least this; below, a part limits current (common practice).
LEAST_DIVIDER_OHMS: Final = 100.0
#: More resistors on a net make no tap (common practice, no source).
MOST_TAP_RESISTORS: Final = 4


class Branch(NamedTuple):
    """A two-terminal part that leaves a net: which, where it goes, its figure (SI) if known."""

    part: str
    far: str
    figure: float | None
    fitted: bool


class ByNet(dict[str, tuple[_T, ...]]):
    """Net -> what is on it, in the board's order; () for a net with nothing of the sort."""

    def __missing__(self, net: str) -> tuple[_T, ...]:
        return ()


@dataclass(frozen=True)
class Survey:
    """The tables. Net arguments are net names, part arguments part keys."""

    board: Board
    kinds: Mapping[str, PartKind]
    rails: Mapping[str, Rail]
    grounds: frozenset[str]
    supplies: frozenset[str]
    ends: Mapping[str, tuple[str, str]]  # two-terminal parts: the nets of their pins
    resistors: ByNet[Branch]  # of more than 0 ohms or of unknown value
    links: ByNet[Branch]  # zero-ohm resistors
    capacitors: ByNet[Branch]
    inductors: ByNet[Branch]
    diodes: ByNet[Branch]  # LEDs too
    chips: ByNet[str]  # chips with a pin on it
    gates: ByNet[str]  # transistors with their gate or base on it
    on_net: Mapping[str, Mapping[Kind, int]]  # net -> kind -> parts
    terminals: Mapping[str, Terminals]  # transistors whose ends are known
    crystals: Mapping[str, tuple[str, str]]  # crystal -> its two nets
    crystal_nets: Mapping[str, str]  # net -> crystal
    switching_nodes: Mapping[str, str]  # net -> the inductor on it
    taps: Mapping[str, tuple[str, str]]  # divider's middle -> (upper, lower resistor)
    signals_of: Mapping[str, int]  # chip -> signal nets it is on
    main_chip: str | None  # the chip with by far the most signals
    joined: frozenset[tuple[str, str]]  # rails that a resistor joins, both ways
    usual_capacitor_mm: float | None  # between the pads of most capacitors

    def is_ground(self, net: str) -> bool:
        """Return whether the net is a ground."""
        return net in self.grounds

    def is_supply(self, net: str) -> bool:
        """Return whether the net is a supply rail."""
        return net in self.supplies

    def is_signal(self, net: str) -> bool:
        """Return whether the net is neither ground nor supply."""
        return net not in self.rails

    def pins(self, net: str) -> tuple[Pin, ...]:
        """Return the pins of a net."""
        known = self.board.net_by_name.get(net)
        return known.pins if known is not None else ()

    def part(self, key: str) -> Part:
        """Return a part."""
        return self.board.part_by_key[key]

    def kind(self, key: str) -> Kind:
        """Return the kind of a part."""
        return self.kinds[key].kind

    def count(self, net: str, *kinds: Kind) -> int:
        """Return how many parts of these kinds are on the net."""
        found = self.on_net.get(net)
        return sum(found.get(kind, 0) for kind in kinds) if found else 0

    def shared_chips(self, first: str, second: str) -> list[str]:
        """Return the chips with a pin on both nets, sorted."""
        return sorted({*self.chips[first]} & {*self.chips[second]})

    def far(self, key: str, net: str) -> str:
        """Return the other net of a two-terminal part."""
        first, second = self.ends[key]
        return second if first == net else first

    def pin_names(self, net: str) -> tuple[str, ...]:
        """Return the names of chip pins on a signal net, upper case, without overbars."""
        if net in self.rails:
            return ()
        return tuple(
            plain_name(pin.name)
            for pin in self.pins(net)
            if pin.name and self.kind(pin.part) in CHIPS
        )

    def names(self, net: str) -> str:
        """Return what chips' pins on the net and its own name say, as one text."""
        return " ".join((*self.pin_names(net), words_of(net)))

    def says(self, what: str, net: str) -> bool:
        """Return whether the net's name, or a chip's pin on it, has a word of that class."""
        return says(what, words_of(net)) or any(says(what, name) for name in self.pin_names(net))

    def describe(self, net: str) -> str:
        """Return the net in a technician's words: `+1V8, a rail of 1.8 V`."""
        if (rail := self.rails.get(net)) is None:
            return net
        if rail.kind is NetKind.GROUND:
            return f"{net} (ground)"
        if rail.volts is None or rail.volts.nominal is None:
            return f"{net}, a rail"
        return f"{net}, a rail of {rail.volts.nominal:g} V"


def acts_as(part: Part, kind: PartKind) -> Kind:
    """Return the kind that the rules see: T on three nets, with no word beside, is a transistor.

    IEEE 315 gives T to transformers, European drawings to transistors; a winding pair needs four.
    """
    letter_only = kind.kind is Kind.TRANSFORMER and kind.score < LETTER_SCORE
    return Kind.TRANSISTOR if letter_only and len(part.nets) == 3 else kind.kind


def is_letter_only(part: Part, kind: PartKind) -> bool:
    """Return whether nothing but the letter X says crystal: plugs have that letter, too."""
    return part.refdes[:1].upper() == "X" and kind.score < LETTER_SCORE


def pad_distance_mm(part: Part) -> float | None:
    """Return how far apart the two pads of a part are, mm; None without places."""
    if len(part.pins) != 2:
        return None
    (x1, y1), (x2, y2) = ((pin.x, pin.y) for pin in part.pins)
    if x1 is None or y1 is None or x2 is None or y2 is None:
        return None
    return hypot(x1 - x2, y1 - y2)


#: What of a part its branches state, and the table that they stand in.
_FIGURES: Final[Mapping[Kind, tuple[str, str | None]]] = {
    Kind.RESISTOR: ("resistors", "ohms"),
    Kind.CAPACITOR: ("capacitors", "farads"),
    Kind.INDUCTOR: ("inductors", "henries"),
    Kind.DIODE: ("diodes", None),
    Kind.LED: ("diodes", None),
}


def survey_board(board: Board, kinds: Mapping[str, PartKind], rails: Mapping[str, Rail]) -> Survey:
    """Return the tables of a board; one walk over its parts and pins."""
    branches: dict[str, dict[str, list[Branch]]] = {
        name: {} for name in ("resistors", "links", "capacitors", "inductors", "diodes")
    }
    ends: dict[str, tuple[str, str]] = {}
    chips: dict[str, list[str]] = {}
    gates: dict[str, list[str]] = {}
    on_net: dict[str, dict[Kind, int]] = {}
    terminals: dict[str, Terminals] = {}
    signals: dict[str, int] = {}
    distances: Counter[float] = Counter()
    for part in board.parts:
        key, kind = part.key, kinds[part.key]
        what = acts_as(part, kind)
        for net in part.nets:
            counts = on_net.setdefault(net, {})
            counts[what] = counts.get(what, 0) + 1
        if (both := two_nets(part)) is not None:
            ends[key] = both
            table, quantity = _FIGURES.get(what, ("", None))
            figure: float | None = getattr(kind, quantity) if quantity else None
            if table:
                table = "links" if table == "resistors" and figure == 0 else table
                for net, far in (both, both[::-1]):
                    branch = Branch(key, far, figure, kind.fitted)
                    branches[table].setdefault(net, []).append(branch)
        if what in CHIPS:
            for net in part.nets:
                chips.setdefault(net, []).append(key)
            signals[key] = sum(net not in rails for net in part.nets)
        if what in TRANSISTORS and (found := terminals_of(part)) is not None:
            terminals[key] = found
            gates.setdefault(found.gate, []).append(key)
        if kind.kind is Kind.CAPACITOR and (distance := pad_distance_mm(part)) is not None:
            distances[round(distance, 1)] += 1
    tables = {name: _by_net(table) for name, table in branches.items()}
    by_chip = _by_net(chips)
    crystals = _find_crystals(board, kinds, rails, tables["capacitors"], by_chip)
    main = max(signals, key=lambda key: signals[key], default=None)
    return Survey(
        board=board,
        kinds=kinds,
        rails=rails,
        grounds=frozenset(name for name, rail in rails.items() if rail.kind is NetKind.GROUND),
        supplies=frozenset(name for name, rail in rails.items() if rail.kind is NetKind.RAIL),
        ends=ends,
        **tables,
        chips=by_chip,
        gates=_by_net(gates),
        on_net=on_net,
        terminals=terminals,
        crystals=crystals,
        crystal_nets={net: key for key, nets in crystals.items() for net in nets},
        switching_nodes=_find_switching_nodes(board, rails, tables, by_chip, on_net),
        taps=find_taps(rails, tables["resistors"], on_net),
        signals_of=signals,
        main_chip=main if main is not None and signals[main] >= LEAST_MAIN_SIGNALS else None,
        joined=frozenset(
            nets
            for key, (first, second) in ends.items()
            if first in rails and second in rails and kinds[key].kind is Kind.RESISTOR
            for nets in ((first, second), (second, first))
        ),
        usual_capacitor_mm=min(distances, key=lambda mm: (-distances[mm], mm), default=None),
    )


def _by_net(table: Mapping[str, Iterable[_T]]) -> ByNet[_T]:
    return ByNet({net: tuple(found) for net, found in table.items()})


_MAYBE_CRYSTAL: Final = frozenset(
    {Kind.TRANSISTOR, Kind.UNKNOWN, Kind.CONNECTOR, Kind.OSCILLATOR, Kind.IC}
)


def _find_crystals(
    board: Board,
    kinds: Mapping[str, PartKind],
    rails: Mapping[str, Rail],
    capacitors: ByNet[Branch],
    chips: ByNet[str],
) -> dict[str, tuple[str, str]]:
    """Return the crystals and their two nets, by kind or, without words, by the pi they stand in.

    The pi: both nets have a capacitor to ground and a pin of the same chip, and little else.
    """
    found: dict[str, tuple[str, str]] = {}
    for part in board.parts:
        what = kinds[part.key].kind
        if what is not Kind.CRYSTAL and (what not in _MAYBE_CRYSTAL or len(part.pins) > 4):
            continue
        signals = [net for net in part.nets if net not in rails]
        if len(signals) != 2:
            continue
        first, second = signals
        if what is Kind.CRYSTAL and not is_letter_only(part, kinds[part.key]):
            found[part.key] = first, second
            continue
        if any(len(board.net_by_name[net].pins) > MOST_CRYSTAL_NET_PINS for net in signals):
            continue
        loaded = all(any(branch.far in rails for branch in capacitors[net]) for net in signals)
        if loaded and {*chips[first]} & {*chips[second]} - {part.key}:
            found[part.key] = first, second
    return found


#: A balun or filter beside the inductor makes it a choke that feeds an amplifier.
_NEVER_ON_A_NODE: Final = frozenset(
    {Kind.CONNECTOR, Kind.CRYSTAL, Kind.ANTENNA, Kind.RESISTOR_ARRAY, Kind.TRANSFORMER, Kind.FILTER}
)


def _find_switching_nodes(
    board: Board,
    rails: Mapping[str, Rail],
    tables: Mapping[str, ByNet[Branch]],
    chips: ByNet[str],
    on_net: Mapping[str, Mapping[Kind, int]],
) -> dict[str, str]:
    """Return the nets between a switch (chip or transistor) and a converter's inductor.

    Nothing leaves such a node through a capacitor but to the same chip (bootstrap) or, behind a
    resistor, to ground (snubber): a capacitor to elsewhere passes a signal on, so that the
    inductor is a choke. The far end of the inductor is a supply, or the chip's other node.
    """

    def driven_through(net: str) -> set[str]:
        """Return the chips on a net, or, where it is only a resistor's end, behind that."""
        if not chips[net] and len(on_net[net]) <= 3 and tables["resistors"][net]:
            return {*chips[tables["resistors"][net][0].far]}
        return {*chips[net]}

    found: dict[str, str] = {}
    for net, branches in tables["inductors"].items():
        if net in rails or len(board.net_by_name[net].pins) > MOST_NODE_PINS:
            continue
        here = {*chips[net]}
        there = on_net[net].keys()
        if not (here or there & TRANSISTORS) or there & _NEVER_ON_A_NODE:
            continue
        if not says("switching", words_of(net)) and not all(
            (far.figure or 1.0) <= MOST_SNUBBER_FARADS
            if far.far in rails
            else here & driven_through(far.far)
            for far in tables["capacitors"][net]
        ):
            continue
        for branch in branches:
            if branch.figure is not None and branch.figure < CONVERTER_HENRIES:
                continue
            to_supply = branch.far in rails and rails[branch.far].kind is NetKind.RAIL
            if to_supply or here & {*chips[branch.far]}:
                found[net] = branch.part
                break
    return found


_DRIVES_NOTHING: Final = frozenset({Kind.CAPACITOR, Kind.LED, Kind.DIODE})


def find_taps(
    rails: Mapping[str, Rail],
    resistors: Mapping[str, tuple[Branch, ...]],
    on_net: Mapping[str, Mapping[Kind, int]],
) -> dict[str, tuple[str, str]]:
    """Return the nets in the middle of two fitted resistors, one of them to ground.

    The upper one goes to a supply, or to a signal that something else drives. A supply in the
    middle (a reference) has few resistors itself.
    """
    found: dict[str, tuple[str, str]] = {}
    for net, branches in resistors.items():
        supply = net in rails
        if len(branches) > MOST_TAP_RESISTORS or (supply and _is_ground(rails, net)):
            continue
        fitted = [branch for branch in branches if branch.fitted]
        grounds = [b for b in fitted if _is_ground(rails, b.far)]
        supplies = [b for b in fitted if b.far in rails and not _is_ground(rails, b.far)]
        if supply and len(supplies) > 1:
            # another reference beside it feeds nothing: the upper end is the rail with most parts
            own = sum(on_net[net].values())
            supplies = [b for b in supplies if sum(on_net[b.far].values()) > own]
        if len(grounds) != 1 or len(supplies) > 1:
            continue
        lower = grounds[0]
        if supplies:
            if _comparable(supplies[0], lower, from_supply=True):
                found[net] = supplies[0].part, lower.part
            continue
        driven = [
            b
            for b in fitted
            if b.far not in rails
            # the resistor and a capacitor or a LED alone: it drives nothing
            and not (sum(on_net[b.far].values()) == 2 and on_net[b.far].keys() & _DRIVES_NOTHING)
            and _comparable(b, lower, from_supply=False)
        ]
        if len(driven) == 1 and not supply:
            found[net] = driven[0].part, lower.part
    return found


def _is_ground(rails: Mapping[str, Rail], net: str) -> bool:
    rail = rails.get(net)
    return rail is not None and rail.kind is NetKind.GROUND


def _comparable(upper: Branch, lower: Branch, *, from_supply: bool) -> bool:
    if upper.figure is None or lower.figure is None:
        return from_supply
    if min(upper.figure, lower.figure) < LEAST_DIVIDER_OHMS:
        return False
    most = MOST_SUPPLY_RATIO if from_supply else MOST_DIVIDER_RATIO
    return 1 / most < upper.figure / lower.figure < most


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


def give(row: str, /, **names: str) -> list[Role]:
    """Return the findings of a row of knowledge/findings.toml, with names put into reasons."""
    return [
        Role(role, score, tuple(reason.format(**names) for reason in because))
        for role, score, *because in _rows()[row]
    ]


@cache
def _rows() -> dict[str, tuple[Any, ...]]:
    table = knowledge.table("findings")
    return {name: row for key in table if key != "source" for name, row in table[key].items()}


def ranked(scores: dict[str, float], *because: str) -> Iterator[Role]:
    """Yield findings that have the same reasons."""
    for role, score in scores.items():
        yield Role(role, score, because)
