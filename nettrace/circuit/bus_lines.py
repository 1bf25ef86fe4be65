"""Lines of buses by name: nets grouped by protocol and by what their names share."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final

from nettrace.circuit.bus_spec import Spec
from nettrace.circuit.bus_specs import SPECS
from nettrace.circuit.bus_words import is_named, match_words, plain_name
from nettrace.circuit.evidence import PartKind, Rail
from nettrace.circuit.kinds import Kind
from nettrace.model.board import Board, Net

__all__ = ["RawBus", "find_lines"]

#: Kinds that can talk on a bus.
TALKERS: Final = frozenset({Kind.IC, Kind.MODULE, Kind.DISPLAY, Kind.MICROPHONE})
#: Contacts of a Type-C receptacle that has no pin names (USB Type-C specification, receptacle
#: pin assignments), and those that give it away.
TYPE_C_CONTACTS: Final = {"A5": "CC1", "B5": "CC2", "A6": "DP", "B6": "DP", "A7": "DM", "B7": "DM"}
TYPE_C_MARKS: Final = frozenset({"A4", "A5", "B4", "B5"})
#: More chips than this on a UART line and it is no UART (common practice, no source).
MOST_UART_CHIPS: Final = 2


@dataclass(slots=True)
class RawBus:
    """A bus in the making: line -> its nets, in order."""

    spec: Spec
    group: str
    lines: dict[str, list[str]] = field(default_factory=dict)
    because: list[str] = field(default_factory=list)
    groups: list[str] = field(default_factory=list)  # of the buses merged into this one

    def nets(self) -> set[str]:
        """Return every net of every line."""
        return {net for nets in self.lines.values() for net in nets}


def find_lines(
    board: Board, kinds: Mapping[str, PartKind], rails: Mapping[str, Rail]
) -> list[RawBus]:
    """Return the buses that names make, protocol by protocol; no net is in two of them."""
    named = [
        (net, plain)
        for net in board.nets
        if net.pins and net.name not in rails and is_named(net.name)
        for plain in _plain_names(net)
    ]
    by_pins = _pin_words(board, kinds, rails)
    taken: set[str] = set()
    buses: list[RawBus] = []
    at: dict[str, list[int]] = {}  # a large board has few words on many nets
    for place, (_, plain) in enumerate(named):
        at.setdefault(plain, []).append(place)
    for index, spec in enumerate(SPECS):
        hits = [places for plain, places in at.items() if plain and match_words(index, plain)]
        places = sorted(place for each in hits for place in each)
        found = _by_names(index, spec, [named[place] for place in places], taken)
        found = [bus for bus in found if _plausible(bus, board, kinds)]
        for bus in found:
            taken |= bus.nets()
        buses.extend(found)
    # what a net is called says more than what its pins can do
    for index, spec in enumerate(SPECS):
        if spec.pins:
            for bus in _by_pins(index, spec, by_pins, taken):
                if _plausible(bus, board, kinds):
                    taken |= bus.nets()
                    buses.append(bus)
    return buses


def _plain_names(net: Net) -> tuple[str, ...]:
    """Return the ways to read a name: the leaf, and each side of a slash inside a label."""
    plain = [plain_name(net.name)]
    for alias in net.aliases:
        if "{slash}" in alias:
            label = alias.rsplit("/", 1)[-1]
            plain.extend(plain_name(piece) for piece in label.split("{slash}"))
    return tuple(dict.fromkeys(plain))


def _by_names(
    index: int, spec: Spec, named: Iterable[tuple[Net, str]], taken: set[str]
) -> list[RawBus]:
    groups: dict[tuple[str, str], RawBus] = {}
    for net, plain in named:
        if net.name in taken:
            continue
        sheet = net.name.rpartition("/")[0]
        for line, group in match_words(index, plain):
            key = (sheet, _loose(group))
            bus = groups.setdefault(key, RawBus(spec, group))
            nets = bus.lines.setdefault(line, [])
            if net.name not in nets:
                nets.append(net.name)
    return _complete(spec, groups)


#: Direction words that the receive and transmit halves of one audio bus differ in.
_DIRECTION: Final = re.compile(r"(?:^|_)[TR]X(?=_|\*|$)")


def _loose(group: str) -> str:
    return _DIRECTION.sub("", group)


def _complete(spec: Spec, groups: Mapping[tuple[str, str], RawBus]) -> list[RawBus]:
    """Return groups with enough lines; the left-overs are tried again without their sheets."""
    done: list[RawBus] = []
    left: dict[str, RawBus] = {}
    used: set[str] = set()
    for (_, group), bus in groups.items():
        if spec.enough(bus.lines.keys()):
            done.append(bus)
        else:
            whole = left.setdefault(group, RawBus(spec, bus.group))
            for line, nets in bus.lines.items():
                known = whole.lines.setdefault(line, [])
                known.extend(net for net in nets if net not in known)
    for bus in done:
        used |= bus.nets()
    for bus in left.values():
        lines = {
            line: kept
            for line, nets in bus.lines.items()
            if (kept := [net for net in nets if net not in used])
        }
        if spec.enough(lines.keys()):
            done.append(RawBus(spec, bus.group, lines))
            used |= {net for nets in lines.values() for net in nets}
    return _disjoint(done)


def _disjoint(buses: list[RawBus]) -> list[RawBus]:
    """Give a net that two groups claim to the larger one; drop what is then not enough."""
    buses = sorted(buses, key=lambda bus: (-len(bus.lines), bus.group))
    owned: set[str] = set()
    kept = []
    for bus in buses:
        lines: dict[str, list[str]] = {}
        mine: set[str] = set()
        for line, nets in bus.lines.items():
            free = [net for net in nets if net not in owned and net not in mine]
            if free:
                lines[line] = free
                mine.update(free)
        if bus.spec.enough(lines.keys()):
            bus.lines = lines
            owned |= mine
            kept.append(bus)
    return kept


def _pin_words(
    board: Board, kinds: Mapping[str, PartKind], rails: Mapping[str, Rail]
) -> list[tuple[str, str, str]]:
    """Return (part, plain pin name, net) of chips' and connectors' named pins on signals."""
    found: list[tuple[str, str, str]] = []
    for part in board.parts:
        if kinds[part.key].kind not in TALKERS | {Kind.CONNECTOR}:
            continue
        numbers = {pin.number for pin in part.pins}
        is_type_c = kinds[part.key].kind is Kind.CONNECTOR and numbers >= TYPE_C_MARKS
        contacts = TYPE_C_CONTACTS if is_type_c else {}
        for pin in part.pins:
            name = pin.name or contacts.get(pin.number)
            if not name or not pin.net or pin.net in rails or name.isdecimal():
                continue
            if len(board.net_by_name[pin.net].pins) > 1:
                found.extend((part.key, plain, pin.net) for plain in _functions(name))
    return found


#: A port pin of a controller: what stands beside it is what it may do, not what it does.
_PORT_PIN: Final = re.compile(r"^(?:P[A-Z]?\d+(?:[._]\d+)?|GPIO\w*|IO\d+|D\d+|A\d+)$")


@lru_cache(maxsize=16384)
def _functions(name: str) -> tuple[str, ...]:
    """Return the functions in a pin's name: `DI/IO0` has two, `PA11/USB_DM` is a port."""
    pieces = [plain_name(piece) for piece in re.split(r"[/()]", name) if piece]
    pieces = [piece for piece in pieces if piece]
    if any(_PORT_PIN.match(piece) for piece in pieces):
        return ()
    return tuple(dict.fromkeys(pieces))


def _by_pins(
    index: int, spec: Spec, words: Iterable[tuple[str, str, str]], taken: set[str]
) -> list[RawBus]:
    groups: dict[tuple[str, str], RawBus] = {}
    for part, plain, net in words:
        if net in taken or not plain:
            continue
        for line, group in match_words(index, plain):
            bus = groups.setdefault((part, group), RawBus(spec, "*"))
            nets = bus.lines.setdefault(line, [])
            if net not in nets:
                nets.append(net)
            if not bus.because:
                bus.because.append(f"pin names of {part}")
    # one line on two nets: the word means something else there (or two contacts: merged later)
    return _merge_same([bus for bus in groups.values() if spec.enough(bus.lines.keys())])


def _merge_same(buses: list[RawBus]) -> list[RawBus]:
    """Merge buses that share a net under the same line."""
    merged: list[RawBus] = []
    for bus in buses:
        for other in merged:
            if other.nets() & bus.nets():
                for line, nets in bus.lines.items():
                    known = other.lines.setdefault(line, [])
                    known.extend(net for net in nets if net not in known)
                break
        else:
            merged.append(bus)
    return _disjoint(merged) if merged else []


def _plausible(bus: RawBus, board: Board, kinds: Mapping[str, PartKind]) -> bool:
    """Return whether the parts on the lines fit the protocol; drops lines that do not."""
    if not any(
        kinds[pin.part].kind in TALKERS or kinds[pin.part].kind is Kind.CONNECTOR
        for net in bus.nets()
        for pin in board.net_by_name[net].pins
    ):
        return False
    if bus.spec.protocol == "uart":
        for line in list(bus.lines):
            kept = [net for net in bus.lines[line] if _is_uart(net, board, kinds)]
            if kept:
                bus.lines[line] = kept
            else:
                del bus.lines[line]
        return bus.spec.enough(bus.lines.keys())
    if bus.spec.protocol == "qspi":
        return _has_four_lanes(bus, board, kinds)
    return not (
        bus.spec.protocol == "hdq"
        and not any(
            kinds[pin.part].kind in TALKERS
            for net in bus.nets()
            for pin in board.net_by_name[net].pins
        )
    )


_LANE_WORD: Final = re.compile(r"QSPI|QUAD|SIO|IO_?[23]$|SPIFI|FSPI|OSPI|SD_?[23]$|DQ_?[23]$")


def _has_four_lanes(bus: RawBus, board: Board, kinds: Mapping[str, PartKind]) -> bool:
    """Return whether lanes 2 and 3 are data: WP and HOLD that only a resistor holds are not."""
    for line in ("IO2", "IO3"):
        for net in bus.lines.get(line, ()):
            parts = {pin.part for pin in board.net_by_name[net].pins}
            ends = [p for p in parts if kinds[p].kind in TALKERS | {Kind.CONNECTOR}]
            if len(ends) < 2 and not _LANE_WORD.search(plain_name(net)):
                return False
    return True


def _is_uart(net: str, board: Board, kinds: Mapping[str, PartKind]) -> bool:
    """At most two chips, at least one, and something at the far end or a name that says so."""
    pins = board.net_by_name[net].pins
    chips = {pin.part for pin in pins if kinds[pin.part].kind in TALKERS}
    if len(chips) > MOST_UART_CHIPS or len(pins) < 2:
        return False
    return bool(chips) or "UART" in net.upper()
