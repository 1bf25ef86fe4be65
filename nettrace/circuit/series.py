"""Which pins of a part are joined inside: the pairs through which a signal or a current passes.

Structure alone, no judgement of rails. Used by the passes for rails and for links. What each kind
of link does to what passes it stands in `LINK_KINDS`.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from functools import cache
from typing import Final, NamedTuple

from nettrace.circuit.evidence import PartKind
from nettrace.circuit.kinds import Kind
from nettrace.knowledge import pattern, table
from nettrace.model.board import Part, Pin

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
    named: bool  # from pin names; False: from the usual order of the package


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
    if nets is None:
        return ()
    first, second = (next(pin for pin in part.pins if pin.net == net) for net in nets)
    return (Pair(first, second, kind, ohms, conditional),)


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
        return Terminals(gate, source, drain, True)
    nets = Counter(pin.net for pin in part.pins if pin.net)
    by_number = {pin.number: pin.net for pin in part.pins}
    if len(nets) != 3:
        return None
    if len(part.pins) == 3:
        one, two, three = by_number.get("1"), by_number.get("2"), by_number.get("3")
        return Terminals(one, two, three, False) if one and two and three else None
    ordered = [net for net, _ in nets.most_common()]
    if len(part.pins) >= 5 and nets[ordered[0]] > nets[ordered[1]] >= nets[ordered[2]] == 1:
        if nets[ordered[1]] > 1:
            return Terminals(ordered[2], ordered[1], ordered[0], False)
        # six pins, 1 2 5 6 drain, 3 gate, 4 source (common practice, no source)
        three, four = by_number.get("3"), by_number.get("4")
        if three in ordered[1:] and four in ordered[1:] and three and four and three != four:
            return Terminals(three, four, ordered[0], False)
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
