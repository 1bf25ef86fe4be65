"""The serial buses of a board: lines, segments, parts, pull-ups, and whether they suit.

Lines are found by name: a line word and the rest, its group: TWI0-SDA and TWI0-SCK share TWI0.
Which lines a protocol has, by which words, and which of them make a bus stands in
knowledge/buses.toml.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Set
from dataclasses import dataclass, field
from functools import cache, lru_cache, partial
from typing import Any, Final

from nettrace.circuit.evidence import Bus, BusLine, Link, PartKind, Pull, Rail
from nettrace.circuit.kinds import Kind
from nettrace.circuit.links import LINK_KINDS, parallel_ohms, two_nets
from nettrace.circuit.rail_evidence import is_named, leaf_of
from nettrace.knowledge import compiled, pattern, section, table, unbroken
from nettrace.model.board import Board, Net, Pin
from nettrace.model.names import natural_key

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
        if (other := next((other for other in merged if other.nets() & bus.nets()), None)) is None:
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


# Common practice, no source:
#: A fast line passes series resistors of up to this, ohms; a slow one (reset, detect) up to that.
FAST_OHMS: Final = 470.0
SLOW_OHMS: Final = 10_000.0
#: A series resistor in a line of a parallel bus is at most this, ohms.
PARALLEL_OHMS: Final = 120.0
#: So many lines of one stem make a parallel bus.
FEWEST_PARALLEL: Final = 8
#: A line has no more parts in series than this.
DEEPEST: Final = 5

PARALLEL: Final = Spec("parallel", at_least=((FEWEST_PARALLEL, ".*"),))
#: Kinds that listen on a line, or by which it can be touched.
_ENDS: Final = TALKERS | {
    Kind.CONNECTOR, Kind.TEST_POINT, Kind.SWITCH, Kind.ESD, Kind.UNKNOWN
}  # fmt: skip
#: Pull-ups that fall into the classes of a protocol, one after the other, ohms.
_TRIED_OHMS: Final = (1e3, 2.2e3, 4.7e3, 10e3)


def infer_buses(
    board: Board,
    kinds: Mapping[str, PartKind],
    rails: Mapping[str, Rail],
    links: Mapping[str, tuple[Link, ...]],
    pulls: Mapping[str, tuple[Pull, ...]],
) -> tuple[Bus, ...]:
    """Return the buses, by protocol and name.

    Segments behind series resistors, arrays, shifters and (fast pairs) coupling capacitors belong
    to their line; `through` names what lies between. An open-drain line has a verdict for each
    side of a shifter, by UM10204 for 100 pF where the capacitance is not known.
    """
    wiring = Wiring(board, kinds, rails, links, pulls)
    # segments first: a companion is known by the parts that all segments share
    found = _join_segments(find_lines(wiring), wiring)
    _add_companions(found, wiring)
    found = _join_segments(found, wiring)
    taken = {net for bus in found for net in bus.nets()}
    found += _join_segments(_find_parallel(wiring, taken), wiring)
    found.sort(key=lambda raw: (raw.spec.protocol, natural_key(min(raw.nets(), key=natural_key))))
    names: dict[str, int] = {}
    buses = [_bus(raw, wiring, names) for raw in found]
    return tuple(sorted(buses, key=lambda bus: (bus.protocol, natural_key(bus.name))))


# --- segments: the same signal behind series parts, shifters, arrays, capacitors -------------


def _join_segments(buses: list[RawBus], wiring: Wiring) -> list[RawBus]:
    """Extend every line over its series parts, and merge buses of one protocol that meet."""
    owner: dict[str, tuple[int, str]] = {
        net: (index, line)
        for index, bus in enumerate(buses)
        for line, nets in bus.lines.items()
        for net in nets
    }
    leader = list(range(len(buses)))

    def lead(index: int) -> int:
        while leader[index] != index:
            index = leader[index]
        return index

    for index, bus in enumerate(buses):
        for line, nets in bus.lines.items():
            layer = list(nets)
            for _ in range(DEEPEST):
                onward = []
                for part, far in (step for net in layer for step in _steps(wiring, net, line, bus)):
                    place, known = owner.setdefault(far, (index, line))
                    other = buses[place]
                    if far not in nets and place == index and known == line:
                        nets.append(far)
                        onward.append(far)
                    if known == line and other.spec.protocol == bus.spec.protocol:
                        bus.through.add(part)
                        leader[lead(max(index, place))] = lead(min(index, place))
                layer = onward
    for index, bus in enumerate(buses):
        into = buses[lead(index)]
        if into is not bus:
            into.through |= bus.through
            into.groups += (bus.group, *bus.groups)
            into.because += bus.because
            for line, nets in bus.lines.items():
                into.add(line, nets)
    return [bus for index, bus in enumerate(buses) if lead(index) == index]


def _steps(wiring: Wiring, net: str, line: str, bus: RawBus) -> Iterator[tuple[str, str]]:
    """Yield (part, far net) of every way on from a line's net."""
    most = SLOW_OHMS if line in table("buses")["lines"]["slow"].split() else FAST_OHMS
    for link in wiring.links.get(net, ()):
        passes = LINK_KINDS[link.kind].series or link.kind == "level shifter"
        # a resistor of no known value between two signals is a series resistor as a rule
        if not passes or (link.ohms is not None and link.ohms > most):
            continue
        if link.to_net not in wiring.rails and _leads_on(wiring, link.to_net, link.part):
            yield link.part, link.to_net
    for pin in wiring.pins(net):
        kind = wiring.kind(pin.part)
        by_diode = kind is Kind.DIODE and line in {"TX", "RX"}
        if not (by_diode or (bus.spec.coupled and kind is Kind.CAPACITOR)):
            continue
        if (nets := two_nets(wiring.board.part_by_key[pin.part])) is None:
            continue
        far = nets[1] if nets[0] == net else nets[0]
        if by_diode and not (wiring.pulls.get(far) or wiring.pulls.get(net)):
            continue
        if far not in wiring.rails and _leads_on(wiring, far, pin.part):
            yield pin.part, far


def _leads_on(wiring: Wiring, net: str, through: str) -> bool:
    """Return whether the far net leads to something that listens or can be touched."""
    for pin in wiring.pins(net):
        kind = wiring.kind(pin.part)
        if pin.part == through:
            continue
        if kind in _ENDS:
            return True
        if kind in {Kind.RESISTOR, Kind.MOSFET} and any(
            link.part == pin.part and link.to_net not in wiring.rails
            for link in wiring.links.get(net, ())
        ):
            return True
    return False


# --- lines that a bus takes along by where they go: selects, resets, hot-plug, USB ID, clocks ---


def _add_companions(buses: list[RawBus], wiring: Wiring) -> None:
    """Add to each bus the lines that share its parts and say by name what they are."""
    taken = {net for bus in buses for net in bus.nets()}
    names: dict[str, list[str]] = {}
    lines: dict[str, str] = {}  # of hot-plug nets
    rows = section("buses", "companions", "patterns")
    forms = {what: compiled(text) for what, text in rows.items()}
    for net in wiring.board.nets:
        name = net.name
        if name in wiring.rails or name in taken or len(net.pins) < 2:
            continue
        plain = plain_name(name) if is_named(name) else _pin_word(wiring, name)
        for what, form in forms.items():
            if match := form.match(plain):
                names.setdefault(what, []).append(name)
                if what == "hot_plug":
                    lines[name] = match["line"]

    def add(bus: RawBus, line: str, found: Iterable[str]) -> None:
        for name in found:
            if line not in bus.lines and name not in taken and _shares(bus, wiring, name):
                bus.lines[line] = [name]
                taken.add(name)

    single = {"jtag": ("TRST", "trst"), "usb2": ("ID", "usb_id"), "i2s": ("MCLK", "master_clock")}
    for bus in buses:
        protocol = bus.spec.protocol
        if protocol == "spi":
            clock = wiring.ends(*bus.lines.get("SCK", ()))
            for name in names.get("select", ()):
                chips = wiring.talkers(name)
                shared = len(wiring.ends(name) & clock) > 1
                if name not in taken and chips and len(chips) <= 2 and shared and chips <= clock:
                    bus.lines.setdefault("CS", []).append(name)
                    taken.add(name)
        elif protocol in {"swd", "jtag"}:
            reset = _find_reset(bus, wiring, [n for n in names.get("reset", ()) if n not in taken])
            if reset is not None and "RESET" not in bus.lines:
                bus.lines["RESET"] = [reset]
                taken.add(reset)
        elif protocol in {"hdmi", "edp", "displayport"}:
            for name, line in lines.items():
                add(bus, line, (name,))
        if protocol in single:
            line, what = single[protocol]
            add(bus, line, names.get(what, ()))


def _pin_word(wiring: Wiring, net: str) -> str:
    """Return the pin name of a connector, or a test point's label, for a net without a name."""
    for pin in wiring.pins(net):
        kind = wiring.kind(pin.part)
        if kind is Kind.CONNECTOR and pin.name and not pin.name.isdecimal():
            return plain_name(pin.name)
        value = wiring.board.part_by_key[pin.part].value
        if kind is Kind.TEST_POINT and value:
            return plain_name(value)
    return ""


def _shares(bus: RawBus, wiring: Wiring, net: str) -> bool:
    """Return whether two parts of the bus are on the net too (or its only one)."""
    on_bus = wiring.ends(*bus.nets())
    on_net = wiring.ends(net)
    if len(on_net & on_bus) >= 2:
        return True
    chips = [part for part in on_bus if wiring.kind(part) in TALKERS]
    return len(on_net) == 1 and on_net <= on_bus and (len(on_bus) <= 2 or len(chips) == 1)


def _find_reset(bus: RawBus, wiring: Wiring, names: Iterable[str]) -> str | None:
    """Return the reset line of a debug port: on its chip and, where there is one, its socket."""
    chips = wiring.talkers(*bus.nets())
    sockets = wiring.ends(*bus.nets()) - chips
    best: tuple[int, str] | None = None
    apart: list[str] = []  # on a chip of the bus, not on its socket: behind a resistor, perhaps
    for name in names:
        on_net = wiring.ends(name)
        if not on_net & chips:
            continue
        if sockets and not on_net & sockets:
            apart.append(name)
            continue
        score = 2 * len(on_net & sockets) + len(on_net & chips)
        if best is None or score > best[0]:
            best = (score, name)
    if best is None:
        return apart[0] if len(apart) == 1 else None
    return best[1]


# --- parallel buses: numbered lines between the same two chips, straight or through resistors ---


def _find_parallel(wiring: Wiring, taken: set[str]) -> list[RawBus]:
    """Return the parallel buses among nets that no other bus has, by chip pair."""
    pairs: dict[frozenset[str], dict[str, dict[str, list[str]]]] = {}
    done: set[str] = set()
    for name in (net.name for net in wiring.board.nets):
        if name in taken or name in wiring.rails or name in done or not is_named(name):
            continue
        match = _pattern("numbered").match(plain_name(name))
        if match is None or _pattern("port").match(match["stem"]):
            continue
        behind = [
            link.to_net
            for link in wiring.links.get(name, ())
            if link.kind in {"resistor", "zero-ohm link"}
            and (link.ohms is None or link.ohms <= PARALLEL_OHMS)
            and link.to_net not in wiring.rails
            and link.to_net not in taken
        ]
        chips = wiring.talkers(name, *behind)
        if len(chips) == 2:
            done.update((name, *behind))
            stem = match["stem"].rstrip("_")
            lines = pairs.setdefault(frozenset(chips), {}).setdefault(stem, {})
            lines[f"{stem}{int(match['index'])}"] = [name, *behind]
    buses = []
    for chips_of_bus, stems in pairs.items():
        whole: dict[str, list[str]] = {}
        for lines in stems.values():
            if len(lines) >= FEWEST_PARALLEL:
                whole.update(lines)
        if whole:
            names = " and ".join(sorted(chips_of_bus))
            because = [f"{len(whole)} numbered lines between {names}"]
            buses.append(RawBus(PARALLEL, "*", whole, because))
    return buses


# --- the records --------------------------------------------------------------------------------


def _bus(raw: RawBus, wiring: Wiring, names: dict[str, int]) -> Bus:
    parts = {pin.part for net in raw.nets() for pin in wiring.pins(net)}
    between = {Kind.ESD, Kind.COMMON_MODE_CHOKE}
    through = raw.through | {part for part in parts if wiring.kind(part) in between}
    devices = {part for part in parts if wiring.kind(part) in TALKERS and part not in through}
    ordered = sorted(raw.lines, key=natural_key)
    lines = tuple(_line(raw, line, wiring) for line in ordered)
    # the group as a name for people: `TWI0*` is TWI0
    stems = [group.replace("*", "_").strip("_") for group in (raw.group, *raw.groups)]
    name = min(filter(None, stems), key=lambda stem: (len(stem), stem), default=raw.spec.protocol)
    names[name] = names.get(name, 0) + 1
    if names[name] > 1:
        name = f"{name} ({names[name]})"
    named = any(not because.startswith("pin names") for because in raw.because or ("",))
    return Bus(
        name=name,
        protocol=raw.spec.protocol,
        lines=lines,
        parts=tuple(sorted(parts | through, key=natural_key)),
        devices=tuple(sorted(devices, key=natural_key)),
        through=tuple(sorted(through, key=natural_key)),
        score=0.9 if named and devices else 0.7,
        because=tuple(raw.because) or (f"names {', '.join(line.net for line in lines[:4])}",),
    )


def _line(raw: RawBus, line: str, wiring: Wiring) -> BusLine:
    nets = raw.lines[line]

    def talking_pins(net: str) -> int:
        return sum(wiring.kind(pin.part) in TALKERS for pin in wiring.pins(net))

    main = max(nets, key=lambda net: (talking_pins(net), -nets.index(net)))
    ordered = (main, *(net for net in nets if net != main))
    own = wiring.pulls.get(main, ())
    ups = [pull for pull in own if pull.direction == "up" and pull.fitted]
    verdict: str | None = None
    limits: tuple[float, float] | None = None
    if raw.spec.open_drain and line in table("buses")["lines"]["open_drain"].split():
        verdict, limits = _verdict(raw, ordered, wiring)
    return BusLine(
        line=line,
        net=main,
        nets=ordered,
        pulls=_pulls(wiring, ordered),
        pull_ohms=parallel_ohms(own),
        volts=next((pull.volts for pull in ups if pull.volts is not None), None),
        verdict=verdict,
        limits_ohms=limits,
    )


def _pulls(wiring: Wiring, nets: Iterable[str]) -> tuple[Pull, ...]:
    """Return every pull of the line once, as its own net has it."""
    found: dict[str, Pull] = {}
    for net in nets:
        for pull in wiring.pulls.get(net, ()):
            known = found.get(pull.part)
            if known is None or len(pull.through) < len(known.through):
                found[pull.part] = pull
    return tuple(sorted(found.values(), key=lambda pull: natural_key(pull.part)))


def _domains(wiring: Wiring, nets: tuple[str, ...]) -> list[list[str]]:
    """Return the line's nets in groups that no shifter parts, main net's group first."""
    left = list(nets)
    groups: list[list[str]] = []
    while left:
        group = [left.pop(0)]
        for net in group:
            for link in wiring.links.get(net, ()):
                if link.to_net in left and link.kind != "level shifter":
                    left.remove(link.to_net)
                    group.append(link.to_net)
        groups.append(group)
    return groups


def _verdict(
    raw: RawBus, nets: tuple[str, ...], wiring: Wiring
) -> tuple[str, tuple[float, float] | None]:
    """Return the judgement of each side's pull-ups, and the window of the main side."""
    from nettrace.electrical.bus_limits import judge_pull_up

    texts: list[str] = []
    window: tuple[float, float] | None = None
    domains = _domains(wiring, nets)
    for group in domains:
        pulls = [pull for pull in _pulls(wiring, group) if pull.direction == "up"]
        fitted = tuple(pull for pull in pulls if pull.fitted)
        label = f"{leaf_of(group[0])}: " if len(domains) > 1 else ""
        if not fitted:
            empty = ", ".join(pull.part for pull in pulls)
            hint = f" ({empty} not fitted)" if empty else ""
            texts.append(
                f"{label}no pull-up seen on this board{hint}: it must be inside a chip, or "
                "behind a connector, else the line never rises"
            )
            continue
        ohms = parallel_ohms(fitted)
        volts = {pull.volts for pull in fitted if pull.volts}
        if ohms is None:
            to = ", ".join(dict.fromkeys(pull.to for pull in fitted))
            parts = ", ".join(pull.part for pull in fitted)
            texts.append(f"{label}{parts} to {to}: value not known")
            continue
        if len(volts) > 1:
            texts.append(f"{label}pulled up to different voltages")
        supply = next(iter(volts)) if len(volts) == 1 else None
        verdict = judge_pull_up(ohms, supply, None, raw.spec.protocol)
        texts.append(f"{label}{verdict.text}")
        if verdict.limits is not None and group is domains[0]:
            window = verdict.limits.at_least, verdict.limits.at_most
    return "; ".join(texts), window


def find_line(buses: Iterable[Bus], nets: Iterable[str]) -> tuple[Bus, BusLine] | None:
    """Return the first line of a bus that one of the nets belongs to, with its bus."""
    nets = frozenset(nets)
    for bus in buses:
        for line in bus.lines:
            if line.net in nets or not nets.isdisjoint(line.nets):
                return bus, line
    return None


def pull_window(protocol: str, supply_volts: float) -> tuple[float, float] | None:
    """Return the least and most pull-up, ohms, over the usual classes of a bus; None if unknown.

    For a line whose pull-up is missing; the bus capacitance is taken as 100 pF.

    Source: NXP UM10204 rev. 7 and SMBus 2.0, by `electrical.bus_limits`.
    """
    from nettrace.electrical.bus_limits import judge_pull_up

    verdicts = [judge_pull_up(ohms, supply_volts, None, protocol) for ohms in _TRIED_OHMS]
    limits = [v.limits for v in verdicts if v.limits is not None and v.limits.possible]
    if not limits:
        return None
    return min(one.at_least for one in limits), max(one.at_most for one in limits)
