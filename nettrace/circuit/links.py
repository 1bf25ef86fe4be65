"""Links between nets through parts, what a net reaches through them, and what pulls it.

Which pins of a part are joined inside is structure alone; what each kind of link does to what
passes it stands in `LINK_KINDS`. MOSFETs, shifters and switch chips join nets on a condition: a
MOSFET with its gate on a rail and both other ends on signals is a level shifter; one with source
or drain on a rail and the gate driven is a load switch. Other transistors drive.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Container, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from math import floor, hypot, isfinite
from typing import Final, NamedTuple

from msgspec.structs import replace

from nettrace.circuit.evidence import Link, NetKind, PartKind, Pull, Rail, Reach
from nettrace.circuit.kinds import TRANSISTORS, Kind
from nettrace.knowledge import compiled, pattern, table
from nettrace.model.board import Board, Part, Pin
from nettrace.model.names import natural_key

# Resistors by their resistance, ohms (common practice, no source).
#: Above 0 and up to this a resistor carries a supply: a current shunt.
SHUNT_OHMS: Final = 1.0
#: From a rail the way goes on only through parts that carry a supply: up to this resistance.
SUPPLY_OHMS: Final = 10.0
#: A resistor of less is no pull-up or pull-down but a link, a shunt or a supply's filter.
LEAST_PULL_OHMS: Final = 47.0


class LinkKind(NamedTuple):
    """What a kind of link does (common practice, no source)."""

    series: bool = False  # leaves a signal what it is: a pull-up behind it still counts
    stiff: bool = False  # no resistance: what is behind it is as good as on the net
    supply: float = 0.0  # carries a supply and its voltage: says so much for a rail behind it
    for_supply: bool = False  # stands in supplies: whatever is behind it is supplied


#: By the word that `Link.kind` and `Pair.kind` have.
LINK_KINDS: Final[Mapping[str, LinkKind]] = {
    "resistor": LinkKind(series=True),
    "zero-ohm link": LinkKind(series=True, stiff=True, supply=0.6),
    "current shunt": LinkKind(series=True, stiff=True, supply=0.7, for_supply=True),
    "ferrite bead": LinkKind(series=True, supply=0.7, for_supply=True),
    "inductor": LinkKind(series=True, supply=0.6),
    "fuse": LinkKind(series=True, stiff=True, supply=0.8, for_supply=True),
    "filter": LinkKind(series=True),
    "ESD array": LinkKind(series=True),
    "common-mode choke": LinkKind(series=True),
    "thermistor": LinkKind(),
    "jumper": LinkKind(stiff=True, supply=0.6),
    "jumper header": LinkKind(stiff=True, supply=0.6),
    "switch": LinkKind(),
    "level shifter": LinkKind(),
    "load switch": LinkKind(supply=0.6),
    "diode": LinkKind(),
}


class Pair(NamedTuple):
    """Two pins on two nets that the part joins; `ohms` is DC resistance, None if not known."""

    first: Pin
    second: Pin
    kind: str
    ohms: float | None
    conditional: str = ""

    def far(self, net: str) -> str | None:
        """Return the net at the other end, None where the pair does not end on `net`."""
        if self.first.net == net:
            return self.second.net
        return self.first.net if self.second.net == net else None


class Terminals(NamedTuple):
    """The nets of a MOSFET or transistor: gate (base), source (emitter), drain (collector)."""

    gate: str
    source: str
    drain: str


def two_nets(part: Part) -> tuple[str, str] | None:
    """Return the two nets of a part whose pins are on exactly two, in pin order; else None."""
    pins = part.pins
    if len(pins) == 2:
        first, second = pins[0].net, pins[1].net
        if first is None or second is None or first == second:
            return None
        return first, second
    if len(pins) < 2:
        return None
    nets = part.nets
    return (nets[0], nets[1]) if len(nets) == 2 else None


def _pair(part: Part, kind: str, ohms: float | None, conditional: str = "") -> tuple[Pair, ...]:
    nets = two_nets(part)
    return () if nets is None else (_joined(part, nets, kind, ohms, conditional),)


def _joined(
    part: Part, nets: tuple[str, str], kind: str, ohms: float | None, conditional: str
) -> Pair:
    first, second = (next(pin for pin in part.pins if pin.net == net) for net in nets)
    return Pair(first, second, kind, ohms, conditional)


def resistor_elements(part: Part) -> tuple[tuple[Pin, Pin], ...]:
    """Return the pin pairs of the resistors in an array, in pin order.

    Pins `1.1` and `1.2` (or names `R1.1`, `R1.2`) are one resistor; else 1 faces the last pin
    (1-8, 2-7: common practice, no source). A part with one common pin gives no pairs.
    """
    pins = part.pins
    by_element: dict[str, list[Pin]] = {}
    for pin in pins:
        match = pattern("links", "element_number").match(pin.number) or pattern(
            "links", "element_name"
        ).match((pin.name or "").upper())
        if match is None:
            by_element = {}
            break
        by_element.setdefault(match[1], []).append(pin)
    if by_element and all(len(pair) == 2 for pair in by_element.values()):
        return tuple((pair[0], pair[1]) for pair in by_element.values())
    if len(pins) % 2 or not all(pin.number.isdecimal() for pin in pins):
        return ()
    ordered = sorted(pins, key=lambda pin: int(pin.number))
    if [int(pin.number) for pin in ordered] != list(range(1, len(ordered) + 1)):
        return ()
    return tuple((ordered[i], ordered[-1 - i]) for i in range(len(ordered) // 2))


def is_closed(part: Part, kind: PartKind) -> bool | None:
    """Return whether a jumper is closed as delivered; None where nothing says so."""
    text = f"{part.package or ''} {part.value or ''}".replace("_", " ")
    if not kind.fitted:
        return False
    if pattern("links", "closed").search(text):
        return True
    return False if pattern("links", "open").search(text) else None


_PLAIN: Final[Mapping[Kind, str]] = {
    Kind.RESISTOR: "resistor",
    Kind.FERRITE: "ferrite bead",
    Kind.INDUCTOR: "inductor",
    Kind.FUSE: "fuse",
    Kind.THERMISTOR: "thermistor",
    Kind.FILTER: "filter",
}


def pairs_of(part: Part, kind: PartKind) -> tuple[Pair, ...]:
    """Return the series pairs of a part by its kind; () for what passes nothing through.

    Not fitted parts are paired too; the caller decides. MOSFETs, level shifters and analog
    switches are not here: they need the rails (see `links`).
    """
    what = kind.kind
    if what is Kind.RESISTOR:
        name = "resistor"
        if kind.ohms is not None and kind.ohms <= SHUNT_OHMS:
            name = "current shunt" if kind.ohms else "zero-ohm link"
        return _pair(part, name, kind.ohms)
    if what in _PLAIN:
        return _pair(part, _PLAIN[what], kind.ohms or 0.0)
    if what is Kind.RESISTOR_ARRAY:
        return tuple(
            Pair(a, b, "zero-ohm link" if kind.ohms == 0 else "resistor", kind.ohms)
            for a, b in resistor_elements(part)
            if a.net and b.net and a.net != b.net
        )
    if what is Kind.JUMPER:
        if len(part.pins) == 3 and len(part.nets) == 3:
            middle = part.pin("2") or part.pins[1]
            return tuple(
                Pair(middle, pin, "jumper", 0.0, "while the jumper is set so")
                for pin in part.pins
                if pin is not middle
            )
        condition = "" if is_closed(part, kind) else "while the jumper is closed"
        return _pair(part, "jumper", 0.0, condition)
    if what is Kind.CONNECTOR and len(part.pins) == 2:
        return _pair(part, "jumper header", 0.0, "while the jumper is in")
    if what is Kind.SWITCH:
        return _pair(part, "switch", 0.0, "while the switch is closed")
    if what is Kind.COMMON_MODE_CHOKE:
        return _choke_pairs(part)
    return _array_pairs(part) if what is Kind.ESD else ()


def _choke_pairs(part: Part) -> tuple[Pair, ...]:
    if len(part.pins) != 4:
        return ()
    best: tuple[Pair, ...] = ()
    best_score = -1
    for windings in table("links")["choke"]["windings"]:
        pairs = []
        score = 0
        for numbers in windings:
            a, b = (part.pin(number) for number in numbers.split())
            if a is None or b is None or not a.net or not b.net or a.net == b.net:
                break
            pairs.append(Pair(a, b, "common-mode choke", 0.0))
            score += _alike(a.net, b.net)
        if len(pairs) == 2 and score > best_score:
            best, best_score = tuple(pairs), score
    return best


def _alike(first: str, second: str) -> int:
    """Return how alike two names' endings are: 2 for the same polarity, 0 for opposite."""
    one, two = (pattern("links", "polarity").search(name) for name in (first, second))
    if one is None or two is None:
        return 1
    return 2 if (one["plus"] is None) == (two["plus"] is None) else 0


def _array_pairs(part: Part) -> tuple[Pair, ...]:
    """Return pairs of pins with one function name (I/O1 twice), or numbered in and out."""
    groups: dict[str, list[Pin]] = {}
    for pin in part.pins:
        if not pin.name or pin.net is None or pattern("links", "supply_pin").match(pin.name):
            continue
        upper = re.sub(r"[{}~_ ]", "", pin.name.upper())
        index = re.search(r"\d+", upper)
        key = f"#{index[0]}" if index else upper.removesuffix("IN").removesuffix("OUT")
        groups.setdefault(key, []).append(pin)
    return tuple(
        Pair(pins[0], pins[1], "ESD array", 0.0)
        for pins in groups.values()
        if len(pins) == 2 and pins[0].net != pins[1].net
    )


def terminals_of(part: Part) -> Terminals | None:
    """Return gate, source and drain nets of a single MOSFET (or base, emitter, collector).

    From pin names; else SOT-23 order (1 gate, 2 source, 3 drain), else for power packages the
    lone pin is the gate, the larger group the drain. None where that does not settle it.
    """
    ends: dict[str, str] = {}
    for pin in part.pins:
        end = _terminal((pin.name or "").upper()) or _terminal(pin.number.upper())
        if end is not None and pin.net:
            ends.setdefault(end, pin.net)
    gate, source, drain = ends.get("gate"), ends.get("source"), ends.get("drain")
    if gate and source and drain:
        return Terminals(gate, source, drain)
    nets = Counter(pin.net for pin in part.pins if pin.net)
    by_number = {pin.number: pin.net for pin in part.pins}
    if len(nets) != 3:
        return None
    if len(part.pins) == 3:
        one, two, three = by_number.get("1"), by_number.get("2"), by_number.get("3")
        return Terminals(one, two, three) if one and two and three else None
    ordered = [net for net, _ in nets.most_common()]
    if len(part.pins) >= 5 and nets[ordered[0]] > nets[ordered[1]] >= nets[ordered[2]] == 1:
        if nets[ordered[1]] > 1:
            return Terminals(ordered[2], ordered[1], ordered[0])
        # six pins, 1 2 5 6 drain, 3 gate, 4 source (common practice, no source)
        three, four = by_number.get("3"), by_number.get("4")
        if three in ordered[1:] and four in ordered[1:] and three and four and three != four:
            return Terminals(three, four, ordered[0])
    return None


def diode_ends(part: Part) -> tuple[str | None, str | None]:
    """Return the nets of a diode's anode and cathode, by the names of its pins, else by number.

    Pin 1 is the cathode where pins are only numbered (common practice, no source).
    """
    words = table("lines")["diodes"]
    numbered = {**words, "cathode": words["cathode" if len(part.pins) == 2 else "common"]}
    found: dict[str, str | None] = {}
    for side in ("anode", "cathode"):
        for pin in part.pins:
            name = (pin.name or "").upper()
            named = name in words["anode"] + words["cathode"]
            if name in words[side] if named else pin.number.upper() in numbered[side]:
                found.setdefault(side, pin.net)
    return found.get("anode"), found.get("cathode")


@cache
def _terminal(word: str) -> str | None:
    rows = table("links")["terminals"].items()
    return next((end.removesuffix("_pin") for end, words in rows if word in words.split()), None)


#: A chain of more parts than this is no series path any more (common practice, no source).
LONGEST: Final = 12
#: A capacitor serves the chip whose supply pin is within this, mm (common practice, no source).
NEAR_MM: Final = 6.0
#: Kinds that draw from a rail, or through which it is drawn from.
_SERVED: Final = frozenset(
    {Kind.IC, Kind.MODULE, Kind.OSCILLATOR, Kind.DISPLAY, Kind.MICROPHONE, Kind.UNKNOWN,
     Kind.CONNECTOR}
)  # fmt: skip


def infer_links(
    board: Board, kinds: Mapping[str, PartKind], rails: Mapping[str, Rail]
) -> dict[str, tuple[Link, ...]]:
    """Return the links that leave each net, by net name; each stands under both nets, turned.

    A part that is not fitted is kept, with `conditional` saying so. Order: the board's parts.
    """
    found: dict[str, list[Link]] = {}
    grounds = {name for name, rail in rails.items() if rail.kind is NetKind.GROUND}
    supplies = rails.keys() - grounds
    for part in board.parts:
        kind = kinds[part.key]
        for pair in _pairs(part, kind, supplies, grounds):
            condition = pair.conditional if kind.fitted else "not fitted"
            for one, other in ((pair.first, pair.second), (pair.second, pair.first)):
                if one.net is not None and other.net is not None and one.net != other.net:
                    found.setdefault(one.net, []).append(
                        Link(part.key, one.number, other.number, one.net, other.net, pair.kind,
                             pair.ohms, condition)
                    )  # fmt: skip
    return {net: tuple(links) for net, links in found.items()}


def _pairs(
    part: Part, kind: PartKind, supplies: Container[str], grounds: Container[str]
) -> tuple[Pair, ...]:
    if kind.kind in TRANSISTORS:
        return _transistor_pairs(part, kind, supplies, grounds)
    if kind.kind is Kind.IC:
        return _shifter_chip(part) + _switch_chip(part, supplies)
    pairs = pairs_of(part, kind)
    if kind.kind is Kind.CONNECTOR and any(
        pin.net not in supplies for pair in pairs for pin in (pair.first, pair.second)
    ):
        return ()  # a plug with supply and return, or two signals, joins nothing
    return pairs


def _transistor_pairs(
    part: Part, kind: PartKind, supplies: Container[str], grounds: Container[str]
) -> tuple[Pair, ...]:
    """Return the pair of a level shifter, low side first, or of a load switch."""
    if (ends := terminals_of(part)) is None:
        return ()
    between = (ends.source, ends.drain)
    signals = not any(net in supplies or net in grounds for net in between)
    if ends.gate in supplies:
        # a base is never tied straight to a rail: with the letter alone known it is a MOSFET too
        if ends.source == ends.drain or not signals:
            return ()
        return (_joined(part, between, "level shifter", None, f"while {ends.gate} is up"),)
    nets = load_switch_nets(part, kind, supplies, grounds)
    if nets is None and not all(net in supplies for net in between):
        return ()
    return (_joined(part, nets or between, "load switch", None, f"while {part.refdes} is on"),)


def load_switch_nets(
    part: Part, kind: PartKind, supplies: Container[str], grounds: Container[str]
) -> tuple[str, str] | None:
    """Return (supply, switched net) of a MOSFET in series with a rail; None if it is none.

    Args:
        part: the MOSFET or transistor.
        kind: its kind.
        supplies: names of supply nets known so far.
        grounds: names of ground nets.
    """
    ends = terminals_of(part) if kind.kind in TRANSISTORS else None
    if ends is None or ends.gate in supplies or any(net in grounds for net in ends):
        return None
    for near, far in ((ends.source, ends.drain), (ends.drain, ends.source)):
        if near in supplies and far not in supplies:
            return near, far
    return None


def switched_way(
    part: Part, board: Board, kinds: Mapping[str, PartKind], grounds: Container[str]
) -> tuple[str, str] | None:
    """Return (supply side, switched side) of a MOSFET between two rails; None if it is none.

    Its body diode must not lead from the supply to the load, or it could not cut off: a P-channel
    MOSFET has its source at the supply, an N-channel one its drain. Where the channel is not
    said, the end to which a resistor ties the gate is the supply, else the source: high-side
    switches are mostly P-channel. A gate with nothing but a resistor to ground guards against
    reversal, and there the diode does lead to the load.

    Args:
        part: the MOSFET or transistor.
        board: the board it is on.
        kinds: the kind of every part, by part key.
        grounds: names of ground nets.

    Source: common practice, no source.
    """
    ends = terminals_of(part)
    if kinds[part.key].kind not in TRANSISTORS or ends is None:
        return None
    source, drain = ends.source, ends.drain
    at_gate = {pin.part for pin in board.net_by_name[ends.gate].pins} - {part.key}
    tied = {
        net
        for key in at_gate
        if kinds[key].kind is Kind.RESISTOR
        for net in board.part_by_key[key].nets
        if net != ends.gate
    }
    undriven = {Kind.RESISTOR, Kind.CAPACITOR, Kind.ZENER, Kind.DIODE}
    if any(net in grounds for net in tied) and all(kinds[key].kind in undriven for key in at_gate):
        return drain, source
    text = text_of(part)
    if pattern("links", "p_channel").search(text):
        return source, drain
    if pattern("links", "n_channel").search(text) or (drain in tied and source not in tied):
        return drain, source
    return source, drain


def text_of(part: Part) -> str:
    """Return what the part's value and description say, in one line."""
    return f"{part.value or ''} {part.description or ''}"


def _shifter_chip(part: Part) -> tuple[Pair, ...]:
    """Return the pairs of a level shifter chip: A1-B1, SDA1-SDA2, by pin names."""
    if not 6 <= len(part.pins) <= 32:
        return ()
    names = {re.sub(r"[{}~_^ ]", "", (pin.name or "").upper()): pin for pin in part.pins}
    row = table("links")["level_shifter"]
    sides = []
    for name, pin in names.items():
        matches = ((compiled(text).match(name), partner) for text, partner in row["rows"])
        match, partner = next((each for each in matches if each[0]), (None, ""))
        other = names.get(match.expand(partner)) if match else None
        if other is not None:
            sides.append((pin, other))
    if not sides:
        return ()
    two_supplies = any(names.keys() >= set(both.split()) for both in row["supplies"])
    if not two_supplies and not pattern("links", "shifter").search(text_of(part)):
        return ()
    return tuple(
        Pair(a, b, "level shifter", None, "while both sides of the level shifter have supply")
        for a, b in sides
        if a.net and b.net and a.net != b.net
    )


def _switch_chip(part: Part, supplies: Container[str]) -> tuple[Pair, ...]:
    """Return the pair of a load switch chip: its pins VIN and VOUT, both on rails, few pins."""
    if len(part.pins) > 8:
        return ()
    text = text_of(part).upper()
    words = table("links")["load_switch"]
    if not any(word in text for word in words["families"]):
        return ()
    ends = [
        next((pin for pin in part.pins if (pin.name or "").upper() in words[way].split()), None)
        for way in ("in", "out")
    ]
    into, out = ends
    if into is None or out is None or into.net not in supplies or out.net not in supplies:
        return ()
    return (Pair(into, out, "load switch", None, f"while {part.refdes} is on"),)


def find_reaches(
    links: Mapping[str, tuple[Link, ...]], rails: Mapping[str, Rail], start: str
) -> tuple[Reach, ...]:
    """Return the nets that `start` reaches through series parts, nearest first.

    The way ends at a rail or ground, which is given as the end, and from a rail it goes only
    through parts that carry a supply. `ohms` is None where one part's resistance is not known;
    a parallel way is given once, by its shortest chain.
    """
    from_rail = start in rails

    def passes(near: Reach, link: Link) -> bool:
        if link.conditional == "not fitted":
            return False
        if not from_rail:
            return near.net not in rails
        to_rail = link.to_net in rails
        if link.kind == "resistor":
            return link.ohms is not None and link.ohms <= SUPPLY_OHMS and to_rail
        return to_rail or LINK_KINDS[link.kind].for_supply or link.kind == "zero-ohm link"

    return tuple(walk(links, start, LONGEST, passes))


def walk(
    links: Mapping[str, tuple[Link, ...]],
    start: str,
    longest: int,
    passes: Callable[[Reach, Link], bool],
) -> Iterator[Reach]:
    """Yield the nets that `start` reaches, nearest first, over at most `longest` parts.

    `passes` is asked about the way so far and the next link.
    """
    seen = {start}
    layer = [Reach(start, (), 0.0)]
    for _ in range(longest):
        onward = []
        for near in layer:
            for link in links.get(near.net, ()):
                if link.to_net in seen or not passes(near, link):
                    continue
                seen.add(link.to_net)
                if (ohms := link.ohms) is not None:
                    ohms = None if near.ohms is None else near.ohms + ohms
                condition = "; ".join(filter(None, (near.conditional, link.conditional)))
                onward.append(Reach(link.to_net, (*near.through, link.part), ohms, condition))
        onward.sort(key=lambda step: natural_key(step.net))
        yield from onward
        layer = onward


#: A pad of a part that is served: its index in the net's order, x and y in mm, the part.
_Spot = tuple[int, float, float, str]


@dataclass(frozen=True, slots=True)
class Bank:
    """A rail's fitted capacitors to ground, its stiff links, and the pads that it serves."""

    farads: Mapping[str, float]  # part key -> capacitance, F; 0 where not known
    whole_farads: float
    stiff: tuple[Link, ...]  # fitted links of no resistance to other nets
    spots: Mapping[tuple[int, int], tuple[_Spot, ...]]  # by cell of `NEAR_MM`

    def nearest(self, x: float, y: float) -> str | None:
        """Return the part with a pad nearest to a place (mm), within `NEAR_MM`; None if none."""
        if not (isfinite(x) and isfinite(y)):
            return None
        column, row = floor(x / NEAR_MM), floor(y / NEAR_MM)
        near = [
            (hypot(at_x - x, at_y - y), index, part)
            for across in (column - 1, column, column + 1)
            for up in (row - 1, row, row + 1)
            for index, at_x, at_y, part in self.spots.get((across, up), ())
        ]
        away, _, part = min(near, default=(NEAR_MM + 1, 0, ""))
        return part if away <= NEAR_MM else None


def find_bank(
    board: Board,
    kinds: Mapping[str, PartKind],
    rails: Mapping[str, Rail],
    links: Mapping[str, tuple[Link, ...]],
    rail: str,
) -> Bank:
    """Return what stands on a rail; one walk over its pins and links."""
    farads: dict[str, float] = {}
    spots: dict[tuple[int, int], list[_Spot]] = {}
    index = 0
    for pin in board.net_by_name[rail].pins:
        kind = kinds[pin.part]
        if kind.kind is Kind.CAPACITOR:
            nets = board.part_by_key[pin.part].nets if kind.fitted else ()
            if any(net in rails and rails[net].kind is NetKind.GROUND for net in nets):
                farads[pin.part] = kind.farads or 0.0
        elif kind.kind in _SERVED:
            for pad in pin.pads:
                if isfinite(pad.x) and isfinite(pad.y):
                    cell = floor(pad.x / NEAR_MM), floor(pad.y / NEAR_MM)
                    spots.setdefault(cell, []).append((index, pad.x, pad.y, pin.part))
                    index += 1
    return Bank(
        farads=farads,
        whole_farads=sum(farads.values()),
        stiff=tuple(
            link
            for link in links.get(rail, ())
            if LINK_KINDS[link.kind].stiff and link.conditional != "not fitted"
        ),
        spots={cell: tuple(found) for cell, found in spots.items()},
    )


#: Behind series parts of more than this a pull is another signal's (common practice, no source;
#: UM10204 section 7.3 bounds series resistors of a bus near a ninth of the pull-up).
MOST_SERIES_OHMS: Final = 1000.0
#: Behind more series parts than this nobody puts a pull (common practice, no source).
DEEPEST: Final = 4


def infer_pulls(
    board: Board,
    kinds: Mapping[str, PartKind],
    rails: Mapping[str, Rail],
    links: Mapping[str, tuple[Link, ...]],
) -> dict[str, tuple[Pull, ...]]:
    """Return the pulls of each signal net that has any, by net name; own ones first.

    A resistor in series with nothing but a LED or a transistor's switched end is no pull.
    `volts` is the nominal voltage of the rail, 0 for a ground, None if not known.
    """
    own: dict[str, list[Pull]] = {}
    for net in board.nets:
        if net.name in rails:
            continue
        for link in links.get(net.name, ()):
            rail = rails.get(link.to_net)
            if rail is None or link.kind != "resistor":
                continue
            if link.ohms is not None and link.ohms < LEAST_PULL_OHMS:
                continue
            others = {kinds[pin.part].kind for pin in net.pins if pin.part != link.part}
            if others - {Kind.TEST_POINT} == {Kind.LED}:
                continue
            up = rail.kind == "rail"
            volts = rail.volts.nominal if rail.volts is not None else None
            fitted = kinds[link.part].fitted
            own.setdefault(net.name, []).append(
                Pull(link.part, "up" if up else "down", link.ohms, link.to_net, volts, (), fitted)
            )
    found = {net: _sorted(pulls) for net, pulls in own.items()}
    for net in board.nets:
        signal = net.name not in rails and net.name in links
        if signal and (pulls := _behind(net.name, rails, links, own)):
            found[net.name] = found.get(net.name, ()) + _sorted(pulls)
    return found


def _sorted(pulls: list[Pull]) -> tuple[Pull, ...]:
    return tuple(sorted(pulls, key=lambda p: (len(p.through), natural_key(p.part))))


def _behind(
    start: str,
    rails: Mapping[str, Rail],
    links: Mapping[str, tuple[Link, ...]],
    own: Mapping[str, list[Pull]],
) -> list[Pull]:
    """Return pulls of nets behind series parts; nothing conditional, nothing not fitted."""

    def passes(near: Reach, link: Link) -> bool:
        ohms = (near.ohms or 0.0) + (link.ohms or 0.0)
        series = LINK_KINDS[link.kind].series and not link.conditional
        return series and link.to_net not in rails and ohms <= MOST_SERIES_OHMS

    return [
        replace(pull, through=reach.through)
        for reach in walk(links, start, DEEPEST, passes)
        for pull in own.get(reach.net, ())
        if pull.ohms is None or (reach.ohms or 0.0) * 2 <= pull.ohms
    ]


def parallel_ohms(pulls: tuple[Pull, ...], direction: str = "up") -> float | None:
    """Return the resistance of the fitted pulls of one direction in parallel, ohms.

    None where there is none, or where one of them has no value. Series parts on the way are left
    out: UM10204 section 7.1 counts every pull-up of the line.
    """
    chosen = [pull for pull in pulls if pull.direction == direction and pull.fitted]
    if not chosen or any(not pull.ohms for pull in chosen):
        return None
    return 1.0 / sum(1.0 / pull.ohms for pull in chosen if pull.ohms)
