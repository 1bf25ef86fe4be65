"""What speaks for a net being a supply: its name, capacitors to ground, power pins, converters.

The forms of a voltage in a name are those of the trade: 3V3, 1V05, +3.3V, P3V3, 3P3V, VCC3V3_S0,
VDD_1V8 (common practice, no source). Digits that are no volts stay digits: GPIO33, I2C1, VDD1,
USB3V, R5V1. All words stand in knowledge/supplies.toml.

One walk over the parts gathers what stands on the nets; only grounds are decided here: nets named
so, or, where no name says it, the net that the capacitors share. Nets are names, parts are keys.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache, partial
from typing import Final

from nettrace.circuit.evidence import PartKind
from nettrace.circuit.kinds import Kind
from nettrace.circuit.links import pairs_of, two_nets
from nettrace.knowledge import compiled, pattern, table, unbroken
from nettrace.model.board import Board, Part, Pin

_pattern = partial(pattern, "supplies")

#: Score of a voltage beside a word that is no supply word.
LEVEL_SCORE: Final = 0.5


@dataclass(frozen=True, slots=True)
class NameReading:
    """What a name says. `kind`: ground, rail (says so), supply (a supply word, weaker) or "".

    "level" is a voltage beside a word that is no supply word (SDA_1V8). `volts` is None where the
    name has no figure; `usual` is what such a name usually carries (VBUS: 5 V), with its range, V.
    """

    kind: str
    volts: float | None = None
    usual: tuple[float, float, float] | None = None
    word: str = ""
    score: float = 0.9


_NOTHING: Final = NameReading("")


@lru_cache(maxsize=65536)
def is_named(name: str) -> bool:
    """Return whether a person named the net: suites call the others Net-(R1-Pad2), N$12..."""
    return _pattern("automatic").search(name) is None


def leaf_of(name: str) -> str:
    """Return the last component of a net name, without sheet path and overbars.

    >>> leaf_of("/Project/Power/VSYS"), leaf_of("/~{RESET}"), leaf_of("/I/O1")
    ('VSYS', 'RESET', 'O1')
    """
    return without_overbars(name.rsplit("/", 1)[-1] if "/" in name else name)


def without_overbars(name: str) -> str:
    """Return a name of a net or pin without the marks of an overbar: `~{RESET}` gives RESET."""
    return (re.sub(r"[~_^]\{([^}]*)\}", r"\1", name) if "{" in name else name).strip()


def pin_function_of(name: str) -> str | None:
    """Return the pin function in an automatic name: `Net-(U1-VDD)` gives VDD; or None."""
    match = _pattern("automatic_pin").match(name) if name.endswith((")", "_")) else None
    if match is None:
        return None
    pin = without_overbars(match["pin"])
    return None if re.match(r"pad\w*$", pin.lower()) else pin


@lru_cache(maxsize=65536)
def read_rail_name(name: str) -> NameReading:
    """Return what the name of a net says about supply.

    >>> (
    ...     read_rail_name("+3V3").volts,
    ...     read_rail_name("VCC3V3_S0").volts,
    ...     read_rail_name("P1V8").volts,
    ... )
    (3.3, 3.3, 1.8)
    >>> [read_rail_name(n).volts for n in ("GPIO33", "I2C1", "VDD1", "USB3V", "R5V1", "AVDD")]
    [None, None, None, None, None, None]
    """
    leaf = leaf_of(name).upper()
    if not leaf or not is_named(name):
        return _NOTHING
    without = leaf.replace("GND", "", 1)
    if _pattern("ground").match(leaf) and not _pattern("no_ground").search(without):
        return NameReading("ground", 0.0, None, leaf, 0.97)
    about = _pattern("about_supply").search(leaf) is not None
    spelt = leaf
    if leaf.startswith(("V", "+V")):  # V12_0, V_1P8
        spelt = re.sub(r"^V(\d{1,2})_(\d)$", r"V\1V\2", leaf)
        spelt = re.sub(r"^(\+?)V[_-](?=\d)", r"\1V", spelt)
    if (volts := None if about else _volts_in(spelt)) is not None:
        # SDA_1V8: the level of a signal, or of a rail of that word; structure must say which
        kind = "rail" if volts[2] > LEVEL_SCORE else "level"
        return NameReading(kind, volts[0], None, volts[1], volts[2])
    if about or _any_supply_name().match(leaf) is None:
        return _NOTHING
    rows = table("supplies")["supply_names"]["rows"]
    score, usual = next(row[1:] for row in rows if compiled(row[0]).match(leaf))
    return NameReading("supply", None, usual or None, leaf, score)


@cache
def _any_supply_name() -> re.Pattern[str]:
    """Return one pattern for all supply names: most names are none."""
    rows = table("supplies")["supply_names"]["rows"]
    return compiled("|".join(unbroken(row[0]) for row in rows))


def _volts_in(leaf: str) -> tuple[float, str, float] | None:
    """Return volts, the word that holds them, and a score; None where no word is a voltage."""
    if re.search(r"\d", leaf) is None:
        return None
    if (whole := _volts_of_word(leaf)) is not None:
        return whole, leaf, 0.95
    if match := _pattern("indexed").match(leaf):
        return int(match["two"]) / 10, leaf, 0.6
    words = [word for word in re.split(r"[_\-]+(?=[A-Z+\d])|\s+", leaf) if word]
    found = [(word, volts) for word in words if (volts := _volts_of_word(word)) is not None]
    if len(words) < 2 or len(found) != 1:
        return None
    word, volts = found[0]
    words.remove(word)
    # "USB-5V", "1.1V_CPUX": at the front or the back of the name, beside a word
    known = all(_pattern("power_state").match(other) for other in words)
    return volts, word, 0.9 if known else LEVEL_SCORE


def _volts_of_word(word: str) -> float | None:
    if (match := _volts_forms().fullmatch(word)) is None:
        return None
    sign, lead, whole, decimals = (group for group in match.groups() if group is not None)
    if whole == "3" and not decimals and _pattern("standby").search(word):
        return 3.3
    if lead == "USB" and whole in {"1", "2", "3"}:
        return None  # USB3V: the digit belongs to USB
    if not sign and not lead and "V" not in word:
        return None  # 2.4: a number, no voltage
    if whole.startswith("0") and whole != "0":
        return None
    figure = float(f"{whole}.{decimals or '0'}")
    if figure == 0 or figure > table("supplies")["volts_in_name"]["most_volts"]:
        return None
    return -figure if sign == "-" else figure


@cache
def _volts_forms() -> re.Pattern[str]:
    found = table("supplies")["volts_in_name"]
    forms = "|".join(found["forms"]).replace("{supply}", unbroken(found["supply"]))
    return compiled(forms.replace("{suffix}", unbroken(found["suffix"])))


#: Capacitors below this are for radio frequencies or filters, not for a supply (common practice).
DECOUPLING_FARADS: Final = 9e-9
#: Output capacitors of a converter are at least this (common practice, no source).
OUTPUT_FARADS: Final = 0.9e-6
#: An inductor of less than this is for radio frequencies, not for a converter (common practice).
CONVERTER_HENRIES: Final = 0.2e-6
#: A switching node has little on it: chip, inductor, diode, transistor, bootstrap, snubber.
MOST_NODE_PINS: Final = 12
#: A ground that is only seen from its parts has this many capacitors at least, and this share of
#: all pins (common practice, no source).
FEWEST_CAPACITORS: Final = 3
LEAST_SHARE: Final = 0.1

#: Kinds that take current from a rail and do something with it.
ACTIVE: Final = frozenset(
    {Kind.IC, Kind.MODULE, Kind.DISPLAY, Kind.MICROPHONE, Kind.OSCILLATOR, Kind.MOTOR,
     Kind.SOUNDER, Kind.RELAY}
)  # fmt: skip
#: Kinds whose pins say something of a net's supply.
_TELLING: Final = ACTIVE | {Kind.CONNECTOR, Kind.BATTERY, Kind.ESD, Kind.UNKNOWN}


@dataclass(frozen=True, slots=True)
class Ground:
    """A ground net: score and reasons."""

    net: str
    score: float
    because: tuple[str, ...]


def find_grounds(board: Board, kinds: Mapping[str, PartKind]) -> dict[str, Ground]:
    """Return the grounds by net name, in the board's order."""
    found: dict[str, Ground] = {}
    for net in board.nets:
        names = (net.name, *net.aliases)
        if net.pins and any(read_rail_name(name).kind == "ground" for name in names):
            found[net.name] = Ground(net.name, 0.97, (f"name {net.name}",))
    if not found:
        found.update(_by_structure(board, kinds))
    for name in list(found):
        _add_linked(board, kinds, name, found)
    return found


def _by_structure(board: Board, kinds: Mapping[str, PartKind]) -> dict[str, Ground]:
    counts: Counter[str] = Counter()
    for part in board.parts:
        if kinds[part.key].kind is Kind.CAPACITOR:
            counts.update(two_nets(part) or ())
    if not counts:
        return {}

    def rank(name: str) -> tuple[int, int]:
        return counts[name], len(board.net_by_name[name].pins)

    # reversed names settle nothing: a true tie (two pins each) is no ground at all
    best, *rest = sorted(counts, key=rank, reverse=True)
    if rest and rank(rest[0]) == rank(best):
        return {}
    capacitors, pins = rank(best)
    total = sum(len(net.pins) for net in board.nets)
    if capacitors < FEWEST_CAPACITORS or pins < LEAST_SHARE * total:
        return {}
    reason = f"{capacitors} capacitors and {pins} pins meet here, more than anywhere else"
    return {best: Ground(best, 0.8, (reason,))}


def _add_linked(
    board: Board, kinds: Mapping[str, PartKind], name: str, found: dict[str, Ground]
) -> None:
    """Add nets tied to a ground by a bead or link that are a shell, a shield, or a local ground."""
    for pin in board.net_by_name[name].pins:
        kind = kinds[pin.part]
        if kind.kind not in {Kind.FERRITE, Kind.RESISTOR, Kind.INDUCTOR, Kind.JUMPER}:
            continue
        if kind.kind is Kind.RESISTOR and kind.ohms != 0:
            continue
        for pair in pairs_of(board.part_by_key[pin.part], kind):
            far = pair.far(name)
            if far is None or far in found:
                continue
            others = [p.part for p in board.net_by_name[far].pins if p.part != pin.part]
            if reason := _local_ground(far, [kinds[key].kind for key in others], kind.kind):
                found[far] = Ground(far, 0.7, (f"{pair.kind} {pin.part} to {name}", reason))


def _local_ground(net: str, others: list[Kind], link: Kind) -> str:
    """Return why the net is a ground of its own, "" if it is not."""
    leaf = leaf_of(net).upper()
    if not others:
        return ""
    if any(word in leaf for word in ("SHIELD", "SHLD", "SHELL")):
        return f"name {net}"
    capacitors = others.count(Kind.CAPACITOR)
    if capacitors >= FEWEST_CAPACITORS:
        return f"{capacitors} capacitors end here"
    if link in {Kind.FERRITE, Kind.INDUCTOR} and {*others} <= {Kind.CONNECTOR, Kind.CAPACITOR}:
        return "nothing but a connector"
    return ""


def is_power_pin(pin: Pin) -> bool:
    """Return whether the pin's type or name says that it takes or gives supply (not ground)."""
    return _says_power(pin.electrical_type, pin.name)


@lru_cache(maxsize=16384)
def _says_power(electrical_type: str | None, name: str | None) -> bool:
    plain = without_overbars(name or "")
    if electrical_type is not None:
        first = electrical_type.split("+", 1)[0].strip().lower()
        if first in {"power_in", "power_out", "power"}:
            return not _pattern("not_power_pin").match(plain)
    return bool(plain) and plain != "IN" and _pattern("power_pin").match(plain) is not None


@lru_cache(maxsize=16384)
def _says_output(electrical_type: str | None, name: str | None) -> bool:
    """Return whether a pin's type or name says that it gives a supply."""
    plain = without_overbars(name or "")
    if electrical_type is not None and electrical_type.startswith("power_out"):
        return not _pattern("not_output_pin").match(plain)
    return _pattern("output_pin").match(plain) is not None


def is_feedback_pin(pin: Pin) -> bool:
    """Return whether the pin is named as the feedback or adjust pin of a regulator."""
    return _pattern("feedback_pin").match(without_overbars(pin.name or "")) is not None


@dataclass(frozen=True, slots=True)
class Converter:
    """An inductor between a switching node, which `chip` drives, and an `output`."""

    chip: str
    inductor: str
    output: str


class SupplyEvidence:
    """What one walk over the board finds; lists are in the board's order."""

    def __init__(
        self, board: Board, kinds: Mapping[str, PartKind], grounds: Mapping[str, Ground]
    ) -> None:
        self.board = board
        self.kinds = kinds
        self.grounds = grounds
        #: Net -> (capacitor, its farads if known, the ground).
        self.decoupling: dict[str, list[tuple[str, float | None, str]]] = {}
        #: Net -> (resistor, its other net, its ohms if known).
        self.resistors: dict[str, list[tuple[str, str, float | None]]] = {}
        self.power_pins: dict[str, list[Pin]] = {}
        self.output_pins: dict[str, list[Pin]] = {}
        self.active_pins: dict[str, list[Pin]] = {}
        self.connector_pins: dict[str, list[Pin]] = {}
        self.converters: dict[str, list[Converter]] = {}  # by output net
        self.boosters: dict[str, str] = {}  # switching net of a boosting converter -> chip
        self.switching_nodes: set[str] = set()
        inductors = []
        for part in board.parts:
            what = kinds[part.key].kind
            if what in {Kind.CAPACITOR, Kind.RESISTOR, Kind.INDUCTOR}:
                nets = two_nets(part)
                if nets is not None and what is Kind.INDUCTOR:
                    inductors.append((part, nets))
                elif nets is not None:
                    self._gather_passive(part, *nets)
                    self._gather_passive(part, *nets[::-1])
            elif what in _TELLING:
                self._gather_pins(part, what)
        for part, nets in inductors:
            if not any(net in grounds for net in nets):
                self._find_converter(part, *nets)

    def farads(self, net: str) -> float:
        """Total decoupling of a net, F; capacitors without a value count nothing."""
        return sum(c[1] or 0.0 for c in self.decoupling.get(net, ()))

    def on(self, net: str) -> tuple[Pin, ...]:
        """Return the pins of a net."""
        return self.board.net_by_name[net].pins

    def kind(self, pin: Pin) -> Kind:
        """Return the kind of a pin's part."""
        return self.kinds[pin.part].kind

    def _gather_passive(self, part: Part, net: str, other: str) -> None:
        kind = self.kinds[part.key]
        if net in self.grounds:
            return
        if kind.kind is Kind.RESISTOR:
            self.resistors.setdefault(net, []).append((part.key, other, kind.ohms))
        elif other in self.grounds and (kind.farads is None or kind.farads >= DECOUPLING_FARADS):
            self.decoupling.setdefault(net, []).append((part.key, kind.farads, other))

    def _gather_pins(self, part: Part, what: Kind) -> None:
        for pin in part.pins:
            net = pin.net
            if net is None or net in self.grounds:
                continue
            if what in {Kind.CONNECTOR, Kind.BATTERY}:
                self.connector_pins.setdefault(net, []).append(pin)
            elif what in ACTIVE:
                self.active_pins.setdefault(net, []).append(pin)
                if _says_output(pin.electrical_type, pin.name):
                    self.output_pins.setdefault(net, []).append(pin)
            function = None if pin.name else pin_function_of(net)
            if is_power_pin(pin) or (function and _pattern("power_pin").match(function)):
                self.power_pins.setdefault(net, []).append(pin)

    def _find_converter(self, inductor: Part, first: str, second: str) -> None:
        henries = self.kinds[inductor.key].henries
        if henries is not None and henries < CONVERTER_HENRIES:
            return
        for node, output in ((first, second), (second, first)):
            chip = self._driver_of(node)
            far = self.decoupling.get(output, ())
            if chip is None or node in self.decoupling:
                continue
            if not any(c[1] is None or c[1] >= OUTPUT_FARADS for c in far):
                continue
            if any(self.kind(pin) is Kind.DIODE for pin in self.on(node)):
                self.boosters[node] = chip
            else:
                converter = Converter(chip, inductor.key, output)
                self.converters.setdefault(output, []).append(converter)
            self.switching_nodes.add(node)
            return

    def _driver_of(self, node: str) -> str | None:
        """Return the chip that switches the node, None where it is no such node."""
        if len(self.on(node)) > MOST_NODE_PINS:
            return None
        chips: dict[str, bool] = {}  # chip -> whether its pin is named as one that switches
        for pin in self.on(node):
            kind = self.kind(pin)
            if kind in {Kind.IC, Kind.MODULE}:
                named = _pattern("switch_pin").match(without_overbars(pin.name or ""))
                chips[pin.part] = chips.get(pin.part, False) or named is not None
            elif kind in {Kind.CONNECTOR, Kind.RESISTOR_ARRAY, Kind.CRYSTAL, Kind.TRANSFORMER}:
                return None
        if not self._capacitors_stay(node, chips):
            return None
        switching = next((chip for chip, named in chips.items() if named), None)
        return switching or (next(iter(chips)) if len(chips) == 1 else None)

    def _capacitors_stay(self, node: str, chips: Mapping[str, bool]) -> bool:
        """Return whether no capacitor couples the node to another chip, as at a choke's output."""
        for pin in self.on(node):
            nets = self.board.part_by_key[pin.part].nets
            for net in nets if self.kind(pin) is Kind.CAPACITOR else ():
                others = self.on(net)
                if net == node or len(others) > MOST_NODE_PINS:
                    continue
                if any(self.kind(o) is Kind.IC and o.part not in chips for o in others):
                    return False
        return True
