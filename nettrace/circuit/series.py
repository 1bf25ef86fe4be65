"""Which pins of a part are joined inside: the pairs through which a signal or a current passes.

Structure alone, no judgement of rails. Used by the passes for rails and for links.
"""

from __future__ import annotations

import re
from collections import Counter
from typing import Final, NamedTuple

from nettrace.circuit.evidence import PartKind
from nettrace.circuit.kinds import Kind
from nettrace.model.board import Part, Pin

__all__ = [
    "SHUNT_OHMS",
    "Pair",
    "Terminals",
    "is_closed",
    "pairs_of",
    "resistor_elements",
    "terminals_of",
    "two_nets",
]

#: Above 0 and up to this a resistor carries a supply: a current shunt (common practice, no source).
SHUNT_OHMS: Final = 1.0


class Pair(NamedTuple):
    """Two pins on two nets that the part joins; `ohms` is DC resistance, None if not known."""

    first: Pin
    second: Pin
    kind: str
    ohms: float | None
    conditional: str = ""


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


def _pins_on(part: Part, first: str, second: str) -> tuple[Pin, Pin]:
    on_first = next(pin for pin in part.pins if pin.net == first)
    return on_first, next(pin for pin in part.pins if pin.net == second)


_DOTTED: Final = re.compile(r"^(\d+)[.\-_]([12])$")
_ELEMENT_NAME: Final = re.compile(r"^R?(\d+)[._]?([12AB])$")


def resistor_elements(part: Part) -> tuple[tuple[Pin, Pin], ...]:
    """Return the pin pairs of the resistors in an array, in pin order.

    Pins `1.1` and `1.2` (or names `R1.1`, `R1.2`) are one resistor; else 1 faces the last pin
    (1-8, 2-7: common practice, no source). A part with one common pin gives no pairs.
    """
    pins = part.pins
    by_element: dict[str, list[Pin]] = {}
    for pin in pins:
        match = _DOTTED.match(pin.number) or _ELEMENT_NAME.match((pin.name or "").upper())
        if match is None:
            by_element = {}
            break
        by_element.setdefault(match[1], []).append(pin)
    if by_element and all(len(pair) == 2 for pair in by_element.values()):
        return tuple((pair[0], pair[1]) for pair in by_element.values())
    numbered = [pin for pin in pins if pin.number.isdecimal()]
    if len(numbered) != len(pins) or len(pins) % 2:
        return ()
    ordered = sorted(pins, key=lambda pin: int(pin.number))
    if [int(pin.number) for pin in ordered] != list(range(1, len(ordered) + 1)):
        return ()
    half = len(ordered) // 2
    return tuple((ordered[i], ordered[-1 - i]) for i in range(half))


_OPEN: Final = re.compile(r"(?<![a-z])(?:open|no)(?![a-z])", re.IGNORECASE)
_CLOSED: Final = re.compile(r"(?<![a-z])(?:bridged|closed|nc|net-?tie)(?![a-z])", re.IGNORECASE)


def is_closed(part: Part, kind: PartKind) -> bool | None:
    """Return whether a jumper is closed as delivered; None where nothing says so."""
    text = f"{part.package or ''} {part.value or ''}".replace("_", " ")
    if not kind.fitted:
        return False
    if _CLOSED.search(text):
        return True
    if _OPEN.search(text):
        return False
    return None


_CHOKE_PAIRS: Final = ((("1", "2"), ("4", "3")), (("1", "4"), ("2", "3")))


def pairs_of(part: Part, kind: PartKind) -> tuple[Pair, ...]:
    """Return the series pairs of a part by its kind; () for what passes nothing through.

    Not fitted parts are paired too; the caller decides. MOSFETs, level shifters and analog
    switches are not here: they need the rails (see `switches`).
    """
    what = kind.kind
    if what in _PLAIN:
        nets = two_nets(part)
        if nets is None:
            return ()
        first, second = _pins_on(part, *nets)
        ohms = kind.ohms
        name = _PLAIN[what]
        if what is Kind.RESISTOR and ohms == 0:
            name = "zero-ohm link"
        elif what is Kind.RESISTOR and ohms is not None and ohms <= SHUNT_OHMS:
            name = "current shunt"
        elif what is not Kind.RESISTOR:
            ohms = ohms or 0.0
        return (Pair(first, second, name, ohms),)
    if what is Kind.RESISTOR_ARRAY:
        return tuple(
            Pair(a, b, "zero-ohm link" if kind.ohms == 0 else "resistor", kind.ohms)
            for a, b in resistor_elements(part)
            if a.net and b.net and a.net != b.net
        )
    if what is Kind.JUMPER:
        return _jumper_pairs(part, kind)
    if what is Kind.CONNECTOR:
        nets = two_nets(part)
        if nets is None or len(part.pins) != 2:
            return ()
        first, second = _pins_on(part, *nets)
        return (Pair(first, second, "jumper header", 0.0, "while the jumper is in"),)
    if what is Kind.SWITCH:
        nets = two_nets(part)
        if nets is None:
            return ()
        first, second = _pins_on(part, *nets)
        return (Pair(first, second, "switch", 0.0, "while the switch is closed"),)
    if what is Kind.COMMON_MODE_CHOKE:
        return _choke_pairs(part)
    if what in {Kind.FILTER, Kind.ESD}:
        return _named_pairs(part, "filter" if what is Kind.FILTER else "ESD array")
    return ()


_PLAIN: Final[dict[Kind, str]] = {
    Kind.RESISTOR: "resistor",
    Kind.FERRITE: "ferrite bead",
    Kind.INDUCTOR: "inductor",
    Kind.FUSE: "fuse",
    Kind.THERMISTOR: "thermistor",
    Kind.FILTER: "filter",
}


def _jumper_pairs(part: Part, kind: PartKind) -> tuple[Pair, ...]:
    closed = is_closed(part, kind)
    condition = "" if closed else "while the jumper is closed"
    if len(part.pins) == 3 and len(part.nets) == 3:
        middle = part.pin("2") or part.pins[1]
        return tuple(
            Pair(middle, pin, "jumper", 0.0, "while the jumper is set so")
            for pin in part.pins
            if pin is not middle
        )
    nets = two_nets(part)
    if nets is None:
        return ()
    first, second = _pins_on(part, *nets)
    return (Pair(first, second, "jumper", 0.0, condition),)


def _choke_pairs(part: Part) -> tuple[Pair, ...]:
    if len(part.pins) != 4:
        return ()
    best: tuple[Pair, ...] = ()
    best_score = -1
    for numbers in _CHOKE_PAIRS:
        pairs = []
        score = 0
        for one, other in numbers:
            a, b = part.pin(one), part.pin(other)
            if a is None or b is None or not a.net or not b.net or a.net == b.net:
                break
            pairs.append(Pair(a, b, "common-mode choke", 0.0))
            score += _alike(a.net, b.net)
        if len(pairs) == 2 and score > best_score:
            best, best_score = tuple(pairs), score
    return best


_POLARITY: Final = re.compile(r"(?:\+|P|DP|POS)$|(?:-|N|M|DM|NEG)$", re.IGNORECASE)


def _alike(first: str, second: str) -> int:
    """Return how alike two names' endings are: 2 for the same polarity, 0 for opposite."""
    one, two = _POLARITY.search(first), _POLARITY.search(second)
    if one is None or two is None:
        return 1
    plus = {"+", "P", "DP", "POS"}
    return 2 if (one[0].upper() in plus) == (two[0].upper() in plus) else 0


_SUPPLY_PIN: Final = re.compile(
    r"^(?:GND|VSS|AGND|PGND|EP|PAD|VCC|VDD|VBUS|VP|VN|VREF|NC|N\.C\.)", re.IGNORECASE
)
_SIDE_LETTERS: Final = re.compile(
    r"^(?:CH|I/?O|IO|IN|OUT|LINE|D|X|A|B)?[-_]?(\d+)?[-_]?(IN|OUT|A|B)?$"
)


def _named_pairs(part: Part, name: str) -> tuple[Pair, ...]:
    """Return pairs of pins with one function name (I/O1 twice), or numbered in and out."""
    groups: dict[str, list[Pin]] = {}
    for pin in part.pins:
        if pin.name is None or pin.net is None or _SUPPLY_PIN.match(pin.name):
            continue
        upper = re.sub(r"[{}~_ ]", "", pin.name.upper())
        index = re.search(r"\d+", upper)
        key = f"#{index[0]}" if index else upper.removesuffix("IN").removesuffix("OUT")
        groups.setdefault(key, []).append(pin)
    pairs = [
        Pair(pins[0], pins[1], name, 0.0 if name == "ESD array" else None)
        for pins in groups.values()
        if len(pins) == 2 and pins[0].net != pins[1].net
    ]
    if not pairs and name == "filter":
        return ()
    return tuple(pairs)


_GATE: Final = frozenset({"G", "GATE", "B", "BASE", "G1"})
_SOURCE: Final = frozenset({"S", "SOURCE", "E", "EMITTER", "S1"})
_DRAIN: Final = frozenset({"D", "DRAIN", "C", "COLLECTOR", "D1"})


def terminals_of(part: Part) -> Terminals | None:
    """Return gate, source and drain nets of a single MOSFET (or base, emitter, collector).

    From pin names; else SOT-23 order (1 gate, 2 source, 3 drain), else for power packages the
    lone pin is the gate, the larger group the drain. None where that does not settle it.
    """
    gate = source = drain = None
    for pin in part.pins:
        for word in ((pin.name or "").upper(), pin.number.upper()):
            if word in _GATE:
                gate = gate or pin.net
            elif word in _SOURCE:
                source = source or pin.net
            elif word in _DRAIN:
                drain = drain or pin.net
            else:
                continue
            break
    if gate and source and drain:
        return Terminals(gate, source, drain, True)
    nets = Counter(pin.net for pin in part.pins if pin.net)
    if len(part.pins) == 3 and len(nets) == 3:
        by_number = {pin.number: pin.net for pin in part.pins}
        one, two, three = by_number.get("1"), by_number.get("2"), by_number.get("3")
        if one and two and three:
            return Terminals(one, two, three, False)
        return None
    if len(nets) == 3 and len(part.pins) >= 5:
        ordered = [net for net, _ in nets.most_common()]
        if nets[ordered[0]] > nets[ordered[1]] >= nets[ordered[2]] == 1:
            by_number = {pin.number: pin.net for pin in part.pins}
            if nets[ordered[1]] > 1:
                return Terminals(ordered[2], ordered[1], ordered[0], False)
            # six pins, 1 2 5 6 drain, 3 gate, 4 source (common practice, no source)
            three, four = by_number.get("3"), by_number.get("4")
            if three in ordered[1:] and four in ordered[1:] and three and four and three != four:
                return Terminals(three, four, ordered[0], False)
    return None
