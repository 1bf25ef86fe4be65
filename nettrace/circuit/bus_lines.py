"""Lines of buses by name: nets grouped by protocol and by what their names share.

A name is a line word and the rest, its group: TWI0-SDA and TWI0-SCK share TWI0. Which lines a
protocol has, by which words, and which of them make a bus stands in knowledge/buses.toml.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass, field
from functools import cache, lru_cache, partial
from typing import Any, Final

from nettrace.circuit.evidence import Link, PartKind, Pull, Rail
from nettrace.circuit.kinds import Kind
from nettrace.circuit.rail_names import is_named, leaf_of
from nettrace.knowledge import compiled, pattern, table, unbroken
from nettrace.model.board import Board, Net, Pin

_pattern = partial(pattern, "buses")

#: Kinds that can talk on a bus.
TALKERS: Final = frozenset({Kind.IC, Kind.MODULE, Kind.DISPLAY, Kind.MICROPHONE})
#: More chips than this on a UART line and it is no UART (common practice, no source).
MOST_UART_CHIPS: Final = 2


@dataclass(frozen=True, eq=False)
class Spec:
    """A protocol: its lines, which of them make a bus, and words that the names must have."""

    protocol: str
    rows: tuple[tuple[str, ...], ...] = ()  # pattern, line, what must stand right before it
    needs: Set[str] = frozenset()
    at_least: tuple[tuple[int, str], ...] = ()  # so many lines like this pattern
    pairs: int = 0  # so many complete pairs X_P and X_N
    signs: tuple[str, ...] = ()  # without any of these in a name there is no such bus
    context: str = ""  # must be found in the whole name of a line
    unless: str = ""  # must not
    open_drain: bool = False  # lines need a pull-up
    coupled: bool = False  # lines go through capacitors
    glued: bool = False  # the word may follow letters: HSDA, UART0TX
    pins: bool = False  # pin names alone may make it, where nets have no names

    def enough(self, found: Set[str]) -> bool:
        """Return whether these lines make a bus."""
        pairs = sum(f"{line[:-2]}_N" in found for line in found if line.endswith("_P"))
        return (
            self.needs <= found
            and pairs >= self.pairs
            and all(
                sum(compiled(like).fullmatch(line) is not None for line in found) >= least
                for least, like in self.at_least
            )
        )


@cache
def specs() -> tuple[Spec, ...]:
    """Return the protocols in the order in which they are looked for."""
    found = []
    for bus in table("buses")["bus"]:
        words: dict[str, Any] = {key: bus[key] for key in bus if key not in _CHANGED}
        words.update(bus.get("patterns", {}))
        words["needs"] = frozenset(bus.get("needs", "").split())
        words["signs"] = tuple(bus.get("signs", "").split())
        if "protocol" in bus:
            found.append(Spec(bus["protocol"], **words))
        for protocol, context in bus.get("variants", ()):
            found.append(Spec(protocol, **{**words, "context": context}))
    return tuple(found)


_CHANGED: Final = frozenset({"protocol", "variants", "needs", "signs", "patterns"})


@lru_cache(maxsize=65536)
def plain_name(name: str) -> str:
    """Return a net's or pin's name ready for matching: upper case, `_` for `-`, `.`, blank.

    A trailing `+` or `-` becomes `_P` or `_N`; marks of an active low level go.

    >>> plain_name("/USB_D+"), plain_name("BT-UART-TX"), plain_name("/~{QSPI_CS}")
    ('USB_D_P', 'BT_UART_TX', 'QSPI_CS')
    """
    leaf = leaf_of(name)
    if "{" in leaf:
        leaf = re.sub(r"\{([^}]*)\}", r"\1", leaf)
    leaf = leaf.upper().replace("~", "").lstrip("!#/").rstrip("#*")
    if leaf.endswith("+"):
        leaf = leaf[:-1].rstrip("_-") + "_P"
    elif leaf.endswith("-") and len(leaf) > 1:
        leaf = leaf[:-1].rstrip("_-") + "_N"
    if "[" in leaf:
        leaf = re.sub(r"\[(\d+)\]$", r"\1", leaf)
    return re.sub(r"[-.\s]+", "_", leaf).strip("_")


@cache
def _union(spec: Spec) -> re.Pattern[str]:
    """Return one pattern that finds a place where any word of the spec may begin."""
    inner = "|".join(re.sub(r"\((?!\?)", "(?:", unbroken(row[0])) for row in spec.rows)
    return re.compile(f"(?:^|(?<=[_0-9{'A-Z' if spec.glued else ''}]))(?:{inner})")


@lru_cache(maxsize=65536)
def match_words(spec: Spec, plain: str) -> tuple[tuple[str, str], ...]:
    """Return (line, group) for each way the plain name may be a line of that spec."""
    if spec.context and not compiled(spec.context).search(plain):
        return ()
    if _union(spec).search(plain) is None:
        return ()
    if spec.unless and compiled(spec.unless).search(plain):
        return ()
    found = []
    for text, line, *needed in spec.rows:
        for match in _occurrences(compiled(text), plain):
            before, after = plain[: match.start()], plain[match.end() :]
            if needed and not compiled(needed[0]).search(before):
                continue
            if before and not before.endswith("_"):
                tail = before.rsplit("_", 1)[-1]
                if not spec.glued and not tail[-1].isdecimal():
                    continue
                if not _pattern("glue").fullmatch(tail):
                    continue
            longer = spec.protocol == "uart" and after.strip("_0123456789")
            if longer and not _pattern("serial").search(plain):
                continue
            if _pattern("after").match(after):
                group = f"{before.rstrip('_')}*{after.lstrip('_')}"
                found.append((match.expand(line) if "\\" in line else line, group))
    return tuple(dict.fromkeys(found))


def _occurrences(word: re.Pattern[str], text: str) -> list[re.Match[str]]:
    """Return matches that end where a word ends, from every start."""
    hits = []
    for start in range(len(text)):
        match = word.match(text, start)
        if match is None or match.end() == start:
            continue
        last, behind = text[match.end() - 1], text[match.end() : match.end() + 1]
        if not behind.isalnum() or last.isdecimal() != behind.isdecimal():
            hits.append(match)
    return hits


@dataclass(frozen=True, slots=True)
class Wiring:
    """What the search for buses looks at: the board, and what other passes say of it."""

    board: Board
    kinds: Mapping[str, PartKind]
    rails: Mapping[str, Rail]
    links: Mapping[str, tuple[Link, ...]]
    pulls: Mapping[str, tuple[Pull, ...]]

    def pins(self, net: str) -> tuple[Pin, ...]:
        """Return the pins of a net."""
        return self.board.net_by_name[net].pins

    def kind(self, part: str) -> Kind:
        """Return the kind of a part."""
        return self.kinds[part].kind

    def talkers(self, *nets: str) -> set[str]:
        """Return the parts on the nets that can talk."""
        pins = (pin for net in nets for pin in self.pins(net))
        return {pin.part for pin in pins if self.kind(pin.part) in TALKERS}

    def ends(self, *nets: str) -> set[str]:
        """Return the parts on the nets that can talk, and connectors."""
        pins = (pin for net in nets for pin in self.pins(net))
        wanted = TALKERS | {Kind.CONNECTOR}
        return {pin.part for pin in pins if self.kind(pin.part) in wanted}


@dataclass(slots=True)
class RawBus:
    """A bus in the making: line -> its nets, in order; `through` are parts between segments."""

    spec: Spec
    group: str
    lines: dict[str, list[str]] = field(default_factory=dict)
    because: list[str] = field(default_factory=list)
    groups: list[str] = field(default_factory=list)  # of the buses merged into this one
    through: set[str] = field(default_factory=set)

    def nets(self) -> set[str]:
        """Return every net of every line."""
        return {net for nets in self.lines.values() for net in nets}

    def add(self, line: str, nets: Iterable[str]) -> None:
        """Add nets to a line, each once."""
        known = self.lines.setdefault(line, [])
        known.extend(net for net in nets if net not in known)

    def enough(self) -> bool:
        """Return whether its lines make a bus."""
        return self.spec.enough(self.lines.keys())


def find_lines(wiring: Wiring) -> list[RawBus]:
    """Return the buses that names make, protocol by protocol; no net is in two of them."""
    named = [
        (net, plain)
        for net in wiring.board.nets
        if net.pins and net.name not in wiring.rails and is_named(net.name)
        for plain in _plain_names(net)
    ]
    at: dict[str, list[int]] = {}  # a large board has few words on many nets
    for place, (_, plain) in enumerate(named):
        at.setdefault(plain, []).append(place)
    taken: set[str] = set()
    buses: list[RawBus] = []

    def keep(found: Iterable[RawBus]) -> None:
        for bus in found:
            if _is_plausible(bus, wiring):
                taken.update(bus.nets())
                buses.append(bus)

    for spec in _possible(at):
        places = sorted(
            place for plain in at if plain and match_words(spec, plain) for place in at[plain]
        )
        keep([*_by_names(spec, [named[place] for place in places], taken)])
    # what a net is called says more than what its pins can do
    pins = _pin_words(wiring)
    for spec in _possible({plain for _, plain, _ in pins}):
        for bus in _by_pins(spec, pins, taken) if spec.pins else ():
            keep([bus])
    return buses


def _possible(names: Iterable[str]) -> list[Spec]:
    """Return the protocols of which the names have a sign."""
    whole = "\n".join(names)
    return [spec for spec in specs() if not spec.signs or any(sign in whole for sign in spec.signs)]


def _plain_names(net: Net) -> tuple[str, ...]:
    """Return the ways to read a name: the leaf, and each side of a slash inside a label."""
    plain = [plain_name(net.name)]
    for alias in net.aliases:
        if "{slash}" in alias:
            label = alias.rsplit("/", 1)[-1]
            plain.extend(plain_name(piece) for piece in label.split("{slash}"))
    return tuple(dict.fromkeys(plain))


def _by_names(spec: Spec, named: Iterable[tuple[Net, str]], taken: Set[str]) -> list[RawBus]:
    """Return groups with enough lines; the left-overs are tried again without their sheets."""
    groups: dict[tuple[str, str], RawBus] = {}
    for net, plain in named:
        if net.name in taken:
            continue
        sheet = net.name.rpartition("/")[0]
        for line, group in match_words(spec, plain):
            key = (sheet, _pattern("direction").sub("", group))
            groups.setdefault(key, RawBus(spec, group)).add(line, (net.name,))
    done: list[RawBus] = []
    left: dict[str, RawBus] = {}
    for (_, group), bus in groups.items():
        if bus.enough():
            done.append(bus)
        else:
            whole = left.setdefault(group, RawBus(spec, bus.group))
            for line, nets in bus.lines.items():
                whole.add(line, nets)
    used = {net for bus in done for net in bus.nets()}
    for bus in left.values():
        bus.lines = _without(bus.lines, used)
        if bus.enough():
            done.append(bus)
            used |= bus.nets()
    return _disjoint(done)


def _without(lines: Mapping[str, list[str]], used: Set[str]) -> dict[str, list[str]]:
    kept = {line: [net for net in nets if net not in used] for line, nets in lines.items()}
    return {line: nets for line, nets in kept.items() if nets}


def _disjoint(buses: list[RawBus]) -> list[RawBus]:
    """Give a net that two groups claim to the larger one; drop what is then not enough."""
    owned: set[str] = set()
    kept = []
    for bus in sorted(buses, key=lambda bus: (-len(bus.lines), bus.group)):
        mine: set[str] = set()
        lines: dict[str, list[str]] = {}
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


def _pin_words(wiring: Wiring) -> list[tuple[str, str, str]]:
    """Return (part, plain pin name, net) of chips' and connectors' named pins on signals."""
    type_c = table("buses")["type_c"]
    found: list[tuple[str, str, str]] = []
    for part in wiring.board.parts:
        kind = wiring.kind(part.key)
        if kind not in TALKERS and kind is not Kind.CONNECTOR:
            continue
        contacts: Mapping[str, str] = {}
        if kind is Kind.CONNECTOR and {*type_c["marks"].split()} <= {p.number for p in part.pins}:
            contacts = type_c["contacts"]
        for pin in part.pins:
            name = pin.name or contacts.get(pin.number)
            if not name or not pin.net or pin.net in wiring.rails or name.isdecimal():
                continue
            if len(wiring.pins(pin.net)) > 1:
                found.extend((part.key, plain, pin.net) for plain in _functions(name))
    return found


@lru_cache(maxsize=16384)
def _functions(name: str) -> tuple[str, ...]:
    """Return the functions in a pin's name: `DI/IO0` has two, `PA11/USB_DM` is a port."""
    pieces = [plain for piece in re.split(r"[/()]", name) if piece and (plain := plain_name(piece))]
    if any(_pattern("port_pin").match(piece) for piece in pieces):
        return ()
    return tuple(dict.fromkeys(pieces))


def _by_pins(spec: Spec, words: Iterable[tuple[str, str, str]], taken: Set[str]) -> list[RawBus]:
    """Return the buses that the pin names of a part make; those that share a line's net are one."""
    groups: dict[tuple[str, str], RawBus] = {}
    for part, plain, net in words:
        for line, group in match_words(spec, plain) if net not in taken else ():
            new = RawBus(spec, "*", because=[f"pin names of {part}"])
            groups.setdefault((part, group), new).add(line, (net,))
    merged: list[RawBus] = []
    for bus in groups.values():
        if not bus.enough():
            continue
        other = next((other for other in merged if other.nets() & bus.nets()), None)
        if other is None:
            merged.append(bus)
        else:
            for line, nets in bus.lines.items():
                other.add(line, nets)
    return _disjoint(merged)


def _is_plausible(bus: RawBus, wiring: Wiring) -> bool:
    """Return whether the parts on the lines fit the protocol; drops lines that do not."""
    protocol = bus.spec.protocol
    if not wiring.ends(*bus.nets()):
        return False
    if protocol == "uart":
        other = {net for net in bus.nets() if not _is_uart(net, wiring)}
        bus.lines = _without(bus.lines, other)
        return bus.enough()
    if protocol == "qspi":
        # WP and HOLD that only a resistor holds are no data
        lanes = [net for line in ("IO2", "IO3") for net in bus.lines.get(line, ())]
        return all(
            len(wiring.ends(net)) > 1 or _pattern("lane").search(plain_name(net)) for net in lanes
        )
    return protocol != "hdq" or bool(wiring.talkers(*bus.nets()))


def _is_uart(net: str, wiring: Wiring) -> bool:
    """At most two chips, at least one, and something at the far end or a name that says so."""
    chips = wiring.talkers(net)
    if len(chips) > MOST_UART_CHIPS or len(wiring.pins(net)) < 2:
        return False
    return bool(chips) or "UART" in net.upper()
