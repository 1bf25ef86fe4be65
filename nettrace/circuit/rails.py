"""Rails and grounds: which nets are supplies, what feeds them, what they feed, at which voltage.

A net becomes a rail by its name, by what stands on it (decoupling, power pins, a converter's
output), or by a link from another rail. A voltage has its basis: note, file, divider, name,
inherited; else it is unknown. What makers say of their regulators (reference, fixed output) stands
in knowledge/supplies.toml.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache, partial
from typing import Any, Final

from nettrace.circuit.evidence import NetKind, PartKind, Rail, Volts
from nettrace.circuit.kinds import TRANSISTORS, Kind
from nettrace.circuit.links import (
    LINK_KINDS,
    Pair,
    diode_ends,
    is_closed,
    load_switch_nets,
    pairs_of,
    switched_way,
    terminals_of,
    text_of,
)
from nettrace.circuit.rail_evidence import (
    ACTIVE,
    Ground,
    SupplyEvidence,
    find_grounds,
    is_feedback_pin,
    is_power_pin,
    read_rail_name,
)
from nettrace.knowledge import compiled, pattern, table
from nettrace.model.board import Board, Net, Part
from nettrace.model.names import match_names, natural_key
from nettrace.model.notes import Notes

_pattern = partial(pattern, "supplies")

#: Two figures nearer than this are the same voltage, fraction.
SAME: Final = 0.035
#: How near a divider with a guessed reference must come to a standard voltage, fraction.
NEAR_STANDARD: Final = 0.015
#: Of the references that are tried, so many for a rail that no name gives a voltage.
BLIND_REFERENCES: Final = 3


@dataclass(frozen=True, slots=True)
class Feed:
    """A link that brings a rail's supply on to another net.

    `sure` is False where it may well carry nothing: an open jumper, one of several sources.
    """

    part: str
    from_net: str
    to_net: str
    kind: str
    condition: str
    fitted: bool
    sure: bool = True


def settle_volts(
    evidence: SupplyEvidence,
    feeds: Mapping[str, Collection[Feed]],
    noted: Mapping[str, float],
) -> tuple[dict[str, Volts], dict[str, tuple[Volts, ...]]]:
    """Return the voltage per rail, and per rail the voltages that lost, best first.

    Args:
        evidence: the board and what speaks for its supplies.
        feeds: rail -> links that feed it from other rails (every rail is a key).
        noted: volts from the user's notes by net.
    """
    chosen: dict[str, Volts] = {}
    lost: dict[str, tuple[Volts, ...]] = {}
    for net in feeds:
        claims: list[Volts | None] = []
        if net in noted:
            claims.append(_exactly(noted[net], "user's note", 1.0))
        if (stated := evidence.board.net_by_name[net].volts) is not None:
            claims.append(_exactly(stated, "source in the file", 0.98))
        named = _named(evidence, net)
        claims += (_divided(evidence, net, named), named, _fixed(evidence, net))
        found = [claim for claim in claims if claim is not None]
        if not found:
            by_pins = _by_pin_names(evidence, net)
            found = [by_pins] if by_pins is not None else []
        if found:
            chosen[net] = found[0]
            lost[net] = tuple(c for c in found[1:] if not _same(c.nominal, found[0].nominal))
    _inherit(feeds, chosen)
    for net in feeds:
        half = _half(evidence, net, chosen) if net not in chosen else None
        if half is not None:
            chosen[net] = half
    return chosen, lost


def _exactly(volts: float, basis: str, score: float, from_parts: tuple[str, ...] = ()) -> Volts:
    return Volts(volts, volts, volts, basis, score, from_parts)


def _within(
    share: float, volts: float, basis: str, score: float, from_parts: tuple[str, ...]
) -> Volts:
    return Volts(volts, volts * (1 - share), volts * (1 + share), basis, score, from_parts)


def _cell(kind: str, basis: str, score: float, from_parts: tuple[str, ...]) -> Volts:
    nominal, least, most = table("supplies")["cells"][kind]
    return Volts(nominal, least, most, basis, score, from_parts)


def _same(first: float | None, second: float | None) -> bool:
    if first is None or second is None:
        return first is second
    return abs(first - second) <= SAME * max(abs(first), abs(second))


def _named(evidence: SupplyEvidence, net: str) -> Volts | None:
    for text in (net, *evidence.board.net_by_name[net].aliases):
        reading = read_rail_name(text)
        if reading.volts is not None and reading.kind in {"rail", "level"}:
            return _exactly(reading.volts, f"name {text}", reading.score)
        if reading.usual is not None:
            nominal, least, most = reading.usual
            return Volts(nominal, least, most, f"name {text}: USB supply", reading.score)
        if reading.kind == "supply" and "BAT" in reading.word:
            return _battery(evidence, net, text)
    return _battery(evidence, net, "")


def _battery(evidence: SupplyEvidence, net: str, name: str) -> Volts | None:
    """Return a cell's range where a battery or its connector stands on the net."""
    for pin in evidence.on(net):
        part = evidence.board.part_by_key[pin.part]
        text = f"{part.refdes} {part.value or ''} {part.package or ''}"
        kind = evidence.kind(pin)
        if kind is not Kind.BATTERY and (kind is not Kind.CONNECTOR or len(part.nets) > 6):
            continue
        says = (name and _pattern("battery").search(text)) or _pattern("battery_pin").match(
            pin.name or ""
        )
        if kind is Kind.BATTERY or says:
            if _is_stack(part, f"{text} {part.description or ''}"):
                return None  # how many cells, and so how many volts, is not known
            coin = _pattern("coin_cell").search(text) is not None
            basis = f"{'coin cell' if coin else 'one lithium cell'} at {part.refdes}"
            basis = f"name {name}, {basis}" if name else basis
            return _cell("coin" if coin else "lithium", basis, 0.6, (part.key,))
    return None


def _is_stack(part: Part, text: str) -> bool:
    """Return whether a battery or its plug has several cells in series: its words or a tap say."""
    taps = [pin for pin in part.pins if _pattern("stack_pin").match(pin.name or "") and pin.net]
    named = [pin for pin in part.pins if pin.name and not pin.name.isdigit()]
    return bool(_pattern("stack").search(text) or (len(named) > 2 and taps))


def _by_pin_names(evidence: SupplyEvidence, net: str) -> Volts | None:
    """Return the voltage that pin names tell: VBUS of a socket, or pins named 3V3 that agree."""
    told: dict[float, str] = {}
    vbus = set(table("supplies")["type_c"]["vbus"].split())
    for pin in evidence.on(net):
        part = evidence.board.part_by_key[pin.part]
        if evidence.kind(pin) is Kind.CONNECTOR:
            type_c = pin.number in vbus and {p.number for p in part.pins} >= vbus
            if (pin.name or "").upper() == "VBUS" or (type_c and not pin.name):
                return _cell("usb", f"VBUS contact of {part.refdes}", 0.75, (part.key,))
        if pin.name and not pin.name.isdecimal():
            reading = read_rail_name(pin.name)
            if reading.kind == "rail" and reading.volts is not None and reading.volts > 0:
                told[reading.volts] = f"pin name {part.refdes}.{pin.name}"
    if len(told) != 1:
        return None
    return _exactly(*told.popitem(), 0.55)


def _divided(evidence: SupplyEvidence, net: str, named: Volts | None) -> Volts | None:
    """Return the voltage that a feedback divider sets, None where none is seen or it is unclear."""
    dividers = [
        (upper, lower, tap, 1.0 + upper_ohms / lower_ohms)
        for upper, tap, upper_ohms in evidence.resistors.get(net, ())
        for lower, bottom, lower_ohms in evidence.resistors.get(tap, ())
        if bottom in evidence.grounds and upper_ohms and lower_ohms
    ]
    for upper, lower, tap, ratio in dividers:
        if (chip := _chip_at(evidence, net, tap)) is None:
            continue
        legs = (upper, lower)
        basis = f"feedback divider {upper}/{lower}"
        if (known := reference_volts(evidence.board.part_by_key[chip])) is not None:
            text = f"{basis} with the {known:g} V reference of {chip}"
            return _within(0.02, round(known * ratio, 3), text, 0.85, (*legs, chip))
        guesses = _guesses(ratio, named)
        if len(guesses) != 1:
            continue
        reference, volts = guesses[0]
        if named is not None:
            text = f"{named.basis}, which {basis} gives with a {reference:g} V reference"
            parts = (*named.from_parts, *legs)
            return Volts(volts, named.min, named.max, text, named.score, parts)
        text = f"{basis}, if {chip} has a {reference:g} V reference"
        return _within(0.02, volts, text, 0.55, (*legs, chip))
    return None


def _guesses(ratio: float, named: Volts | None) -> list[tuple[float, float]]:
    """Return (reference, volts) for references that give the named or one standard voltage."""
    standard = table("supplies")["standard"]
    tried = standard["references"]
    if named is not None and named.nominal is not None:
        return [(r, named.nominal) for r in tried if _same(r * ratio, named.nominal)][:1]
    return [
        (r, round(r * ratio, 2))
        for r in tried[:BLIND_REFERENCES]
        if any(abs(r * ratio - v) <= NEAR_STANDARD * v for v in standard["volts"])
    ]


def _chip_at(evidence: SupplyEvidence, top: str, tap: str) -> str | None:
    """Return the regulator whose feedback pin is the tap, None where the tap is something else."""
    pins = evidence.active_pins.get(tap, ())
    for pin in pins:
        if is_feedback_pin(pin):
            return pin.part
    makers = {converter.chip for converter in evidence.converters.get(top, ())}
    makers.update(pin.part for pin in evidence.output_pins.get(top, ()))
    for pin in evidence.on(top):
        if evidence.kind(pin) is Kind.DIODE:
            nets = evidence.board.part_by_key[pin.part].nets
            makers.update(evidence.boosters[net] for net in nets if net in evidence.boosters)
    return next((pin.part for pin in pins if pin.part in makers and not pin.name), None)


def _fixed(evidence: SupplyEvidence, net: str) -> Volts | None:
    for pin in evidence.output_pins.get(net, ()):
        part = evidence.board.part_by_key[pin.part]
        if (volts := fixed_output_volts(part)) is not None:
            return _within(0.03, volts, f"regulator {pin.part} {part.value}", 0.7, (pin.part,))
    return None


def _inherit(feeds: Mapping[str, Collection[Feed]], chosen: dict[str, Volts]) -> None:
    """Give the rails behind links the voltage of the rail before them.

    A rail that nothing else feeds has its supply over the place of a two-pin header that is not
    fitted: such a place is bridged (common practice, no source).
    """
    for bridged in (False, True):
        waiting = deque(chosen)
        onward: dict[str, list[Feed]] = {}
        for feed in (feed for links in feeds.values() for feed in links):
            passes = feed.fitted or (bridged and feed.kind == "jumper header")
            if passes and feed.sure and LINK_KINDS[feed.kind].supply:
                onward.setdefault(feed.from_net, []).append(feed)
        while waiting:
            name = waiting.popleft()
            volts = chosen[name]
            for feed in onward.get(name, ()):
                if feed.to_net in chosen:
                    continue
                extra = f" {feed.condition}" if feed.condition else ""
                extra, less = (extra, 0.95) if feed.fitted else (", if its place is bridged", 0.6)
                basis = f"inherited from {name} through {feed.kind} {feed.part}{extra}"
                score = round(volts.score * less, 2)
                chosen[feed.to_net] = Volts(
                    volts.nominal, volts.min, volts.max, basis, score, (feed.part,)
                )
                waiting.append(feed.to_net)


def _half(evidence: SupplyEvidence, net: str, chosen: Mapping[str, Volts]) -> Volts | None:
    """Return the voltage of a reference net by the divider that makes it."""
    resistors = [r for r in evidence.resistors.get(net, ()) if r[2]]
    ups = [r for r in resistors if r[1] in chosen]
    downs = [r for r in resistors if r[1] in evidence.grounds]
    if len(ups) != 1 or len(downs) != 1:
        return None
    (upper, top, upper_ohms), (lower, _, lower_ohms) = ups[0], downs[0]
    volts = chosen[top].nominal
    if volts is None or upper_ohms is None or lower_ohms is None:
        return None
    basis = f"divider {upper}/{lower} from {top}"
    volts = round(volts * (lower_ohms / (upper_ohms + lower_ohms)), 3)
    return _within(0.03, volts, basis, 0.7, (upper, lower))


def is_regulator_text(part: Part) -> bool:
    """Return whether the value or the description names a regulator."""
    return _pattern("regulator").search(text_of(part)) is not None


def reference_volts(part: Part) -> float | None:
    """Return the feedback reference of a regulator, V: stated in its description, or by family."""
    match = _pattern("stated_reference").search(part.description or "")
    if match:
        return float(match[1] or match[2])
    return _reference((part.value or "").upper())


@lru_cache(maxsize=4096)
def _reference(text: str) -> float | None:
    rows: tuple[tuple[str, float], ...] = table("supplies")["references"]["rows"]
    return next((volts for family, volts in rows if family in text), 0.0) or None


def fixed_output_volts(part: Part) -> float | None:
    """Return the output of a fixed regulator from its part number, V; None where unclear.

    `AP2112K-3.3`, `ME6212C18M5G`, `TLV70033`, `78L05`; multi-output chips give None.
    """
    if len(part.pins) > 8 or not is_regulator_text(part):
        return None
    text = (part.value or "").upper()
    for each in table("supplies")["fixed_outputs"]["patterns"]:
        if (match := compiled(each).search(text)) is None:
            continue
        groups: dict[str, Any] = match.groupdict()
        if groups.get("two"):
            return int(groups["two"]) / 10
        return float(groups.get("whole") or f"{groups['int']}.{groups['frac']}")
    return None


#: A net is called a rail from this score on.
ENOUGH: Final = 0.5
#: Capacitors without a value count as decoupling only in this number.
FEWEST_UNKNOWN: Final = 3
#: Total decoupling that a supply pin without a name has at least, F (common practice, no source).
LEAST_TOTAL: Final = 0.9e-6
#: A plug with more nets than this is a header that carries supplies along.
MOST_INLET_NETS: Final = 8
#: What the empty position of a link says for the net behind: that the designer thought of it.
EMPTY_LINK: Final = 0.2

_LOADS: Final = ACTIVE | {Kind.CONNECTOR, Kind.LED, Kind.UNKNOWN}


def infer_rails(
    board: Board, kinds: Mapping[str, PartKind], notes: Notes | None = None
) -> dict[str, Rail]:
    """Return grounds and rails by net name, in the board's (natural) order.

    Separate grounds stay separate; a link between two is named in `linked`. A net that a switch
    or an open jumper feeds is a rail without a voltage of its own.
    """
    names = list(board.net_by_name)
    noted = {
        name: note.volts
        for wanted, note in (notes.rails if notes else {}).items()
        for name in match_names(wanted, names)
    }
    grounds = find_grounds(board, kinds)
    for name, volts in noted.items():
        if volts == 0:
            grounds[name] = Ground(name, 1.0, ("user's note: 0 V",))
        else:
            grounds.pop(name, None)
    search = _Search(SupplyEvidence(board, kinds, grounds))
    search.judge_nets(noted)
    search.spread()
    feeds = {net: candidate.feeds for net, candidate in search.found.items()}
    settled, others = settle_volts(search.evidence, feeds, noted)
    sources = search.sources()
    rails: dict[str, Rail] = {}
    for name in (net.name for net in board.nets):
        if name in grounds:
            ground = grounds[name]
            zero = Volts(0.0, 0.0, 0.0, "ground", ground.score)
            linked = search.linked(name, grounds)
            rails[name] = Rail(
                name, NetKind.GROUND, zero, None, (), 0.0, ground.score, ground.because, linked
            )
        elif name in search.found:
            rails[name] = search.rail(
                name, settled.get(name), others.get(name, ()), sources.get(name)
            )
    return rails


@dataclass(slots=True)
class _Candidate:
    """A net that may be a rail: score, reasons, and the links that feed it."""

    score: float = 0.0
    because: list[str] = field(default_factory=list)
    feeds: list[Feed] = field(default_factory=list)  # links from other rails, nearest first

    def add(self, score: float, reason: str) -> None:
        """Add a reason with its own score, 0 to 1."""
        # independent reasons add up as chances do
        self.score = 1 - (1 - self.score) * (1 - score)
        self.because.append(reason)


class _Search:
    """The board while its rails are being found: what is found so far, in the order of finding."""

    def __init__(self, evidence: SupplyEvidence) -> None:
        self.evidence = evidence
        self.board = evidence.board
        self.kinds = evidence.kinds
        self.grounds = evidence.grounds
        self.found: dict[str, _Candidate] = {}
        self.main_ground: str | None = max(
            self.grounds, key=lambda name: len(evidence.on(name)), default=None
        )

    # --- whether a net is a rail by itself -------------------------------------------------

    def judge_nets(self, noted: Collection[str]) -> None:
        """Find every net that is a rail by itself, by note, or by the source."""
        for net in self.board.nets:
            if net.name in self.grounds or not net.pins:
                continue
            candidate = self._judge(net)
            if net.name in noted:
                candidate.add(1.0, "user's note")
            elif net.volts is not None:
                candidate.add(0.98, f"the source states {net.volts:g} V")
            if candidate.score >= ENOUGH:
                self.found[net.name] = candidate

    def _judge(self, net: Net) -> _Candidate:
        """Return what speaks for the net being a rail, apart from links; score 0 for nothing."""
        evidence, name, candidate = self.evidence, net.name, _Candidate()
        decoupling = evidence.decoupling.get(name, ())
        power = evidence.power_pins.get(name, ())
        if name in evidence.switching_nodes:
            return candidate
        self._judge_name(net, candidate)
        for pin in evidence.connector_pins.get(name, ()):
            if evidence.kind(pin) is Kind.BATTERY:
                candidate.add(0.8, f"battery {pin.part}")
                break
        for converter in evidence.converters.get(name, ()):
            candidate.add(0.8, f"output of {converter.chip} through {converter.inductor}")
        several = len({pin.part for pin in power}) >= 2
        references = [pin for pin in power if _pattern("reference_pin").match(pin.name or "")]
        if power and not several and len(references) == len(power):
            # a chip's own reference with its capacitor supplies nothing
            return candidate
        if power and (decoupling or several):
            words = ", ".join(dict.fromkeys(f"{p.part}.{p.name or p.number}" for p in power[:3]))
            candidate.add(0.7, f"supply pins {words}")
        self._judge_decoupling(name, candidate)
        return candidate

    def _judge_name(self, net: Net, candidate: _Candidate) -> None:
        """Let the first of the net's names speak that says something."""
        evidence, name = self.evidence, net.name
        decoupling = evidence.decoupling.get(name, ())
        resistors = evidence.resistors.get(name, ())
        supported = bool(decoupling or evidence.power_pins.get(name))
        for text in (name, *net.aliases):
            reading = read_rail_name(text)
            score = 0.0
            if reading.kind == "rail":
                score = reading.score
            elif reading.kind == "supply" and not self._is_apart(name, reading.word):
                score = reading.score if supported or reading.score >= ENOUGH else reading.score / 2
            elif reading.kind == "level" and supported and not resistors:
                score = 0.5
            elif reading.kind == "level" and decoupling and _pattern("reference_net").search(text):
                # VREF_1V8 with its capacitor: what hangs on it by resistors, it feeds
                score = 0.6
            if score:
                candidate.add(score, f"name {text}")
                return

    def _is_apart(self, name: str, word: str) -> bool:
        """Return whether a net with a supply's name supplies nothing.

        VREF may be one chip's pin with its capacitor; VOUT a chip's pin and an inductor.
        """
        evidence = self.evidence
        chips = {pin.part for pin in evidence.active_pins.get(name, ())}
        if "REF" in word and len(chips) < 2 and len(evidence.resistors.get(name, ())) < 2:
            return True
        what = [evidence.kind(pin) for pin in evidence.on(name)]
        return len(what) == 2 and Kind.INDUCTOR in what and not evidence.decoupling.get(name)

    def _judge_decoupling(self, name: str, candidate: _Candidate) -> None:
        """Several capacitors to the main ground, and a pin that they serve."""
        decoupling = self.evidence.decoupling.get(name, ())
        active = self.evidence.active_pins.get(name, ())
        if len(decoupling) < 2 or not (active or self.evidence.connector_pins.get(name)):
            return
        at_main = [c for c in decoupling if c[2] == self.main_ground]
        valued = [c[1] for c in at_main if c[1] is not None]
        # without values, a capacitor at each chip of a control line looks like decoupling
        many = len(at_main) >= max(FEWEST_UNKNOWN, len({pin.part for pin in active}))
        known = [c[1] for c in decoupling if c[1] is not None]
        small = len(known) >= 2 and sum(known) < LEAST_TOTAL / 10
        if (len(valued) >= 2 and sum(valued) >= LEAST_TOTAL) or (many and not small):
            score = 0.6 if len(at_main) < 3 else 0.75
            candidate.add(score, f"{len(at_main)} capacitors to {self.main_ground}")

    # --- how supply goes on from rail to rail ----------------------------------------------

    def spread(self) -> None:
        """Follow links from rail to rail until nothing new is found."""
        waiting = deque(self.found)
        while waiting:
            name = waiting.popleft()
            for feed, score in self._links_from(name):
                far = feed.to_net
                if far in self.grounds:
                    continue
                if (candidate := self.found.get(far)) is None:
                    candidate = self._judge(self.board.net_by_name[far])
                    candidate.add(score, f"{feed.kind} {feed.part} from {name}")
                    if candidate.score < ENOUGH:
                        continue
                    self.found[far] = candidate
                    waiting.append(far)
                candidate.feeds.append(feed)

    def _links_from(self, name: str) -> Iterator[tuple[Feed, float]]:
        """Yield the links by which a rail feeds other nets, and what each says for a rail there."""
        for key in dict.fromkeys(pin.part for pin in self.evidence.on(name)):
            kind = self.kinds[key]
            if kind.kind in TRANSISTORS:
                if (feed := self._switch(key, name)) is not None:
                    yield feed, LINK_KINDS["load switch"].supply
            elif kind.kind is Kind.DIODE:
                part = self.board.part_by_key[key]
                anode, far = diode_ends(part) if len(part.pins) == 2 else (None, None)
                if anode == name and far not in {None, name} and self._takes_current(far, key):
                    yield Feed(key, name, far, "diode", "less the diode's drop", kind.fitted), 0.4
            else:
                yield from self._series_feeds(key, name)

    def _series_feeds(self, key: str, name: str) -> Iterator[tuple[Feed, float]]:
        part, kind = self.board.part_by_key[key], self.kinds[key]
        for pair in pairs_of(part, kind):
            far = pair.far(name)
            says = LINK_KINDS[pair.kind].supply
            if not says or far is None or far == name:
                continue
            if far not in self.found and not self._accepts(pair, far, key):
                continue
            if pair.kind == "inductor" and far in self.evidence.switching_nodes:
                continue
            condition, sure = pair.conditional, True
            if pair.kind == "jumper" and is_closed(part, kind) is False:
                condition, sure = "only with the jumper closed", False
            feed = Feed(key, name, far, pair.kind, condition, kind.fitted, sure)
            yield feed, says if kind.fitted else EMPTY_LINK

    def _switch(self, key: str, name: str) -> Feed | None:
        """Return how a transistor brings the rail to another net, which lives on it."""
        part, kind = self.board.part_by_key[key], self.kinds[key]
        ends = terminals_of(part)
        nets = load_switch_nets(part, kind, self.found, self.grounds)
        if ends is None:
            return None
        if nets is None and ends.gate not in self.found and ends.gate not in self.grounds:
            # between two rails that are both known
            far = {ends.source: ends.drain, ends.drain: ends.source}.get(name, "")
            nets = (name, far) if far in self.found else None
        if nets is None or nets[0] != name or not self._takes_current(nets[1], key):
            return None
        # where one chip drives the gate and sits on both rails, it chooses the source
        gate, *both = (
            {pin.part for pin in self.evidence.active_pins.get(net, ())}
            for net in (ends.gate, *nets)
        )
        if gate & both[0] & both[1]:
            text, sure = "only from this of several sources", False
        else:
            text, sure = f"while {key} is on", True
        return Feed(key, name, nets[1], "load switch", text, kind.fitted, sure)

    def _takes_current(self, far: str, through: str) -> bool:
        """Return whether something on the net lives on it: capacitors, a bead, a supply pin."""
        evidence = self.evidence
        if far in self.found:
            return True
        if far in evidence.switching_nodes:
            return False
        if evidence.decoupling.get(far) or evidence.power_pins.get(far):
            return True
        return any(
            evidence.kind(pin) in {Kind.FERRITE, Kind.INDUCTOR, Kind.FUSE}
            for pin in evidence.on(far)
            if pin.part != through
        )

    def _accepts(self, pair: Pair, far: str, through: str) -> bool:
        """Return whether the far net of a link lives on what comes through it."""
        evidence = self.evidence
        if far in evidence.switching_nodes:
            return False
        if evidence.decoupling.get(far):
            return True
        others = [pin for pin in evidence.on(far) if pin.part != through]
        if pair.kind == "inductor" or not others:
            return False  # a choke into an amplifier's output, a coil: a signal
        if LINK_KINDS[pair.kind].for_supply or any(is_power_pin(pin) for pin in others):
            return True
        if pair.kind not in {"jumper header", "jumper"}:
            return False
        what = {evidence.kind(pin) for pin in others}
        return bool(what & (ACTIVE | {Kind.CONNECTOR})) and not what & _DRIVEN

    # --- what feeds each rail, and the records ----------------------------------------------

    def sources(self) -> dict[str, str]:
        """Return the part that feeds each rail: converter, regulator output, battery, plug, link.

        Links carry both ways; the way from a rail with a source of its own settles which end is
        fed.
        """
        found = {name: part for name in self.found if (part := self._own_source(name)) is not None}
        onward: dict[str, list[Feed]] = {}
        for candidate in self.found.values():
            for feed in candidate.feeds:
                if feed.fitted:
                    onward.setdefault(feed.from_net, []).append(feed)

        def feed_from(*roots: str) -> None:
            waiting = deque(roots)
            while waiting:
                for feed in onward.get(waiting.popleft(), ()):
                    if feed.to_net not in found and feed.to_net not in alone:
                        found[feed.to_net] = feed.part
                        waiting.append(feed.to_net)

        alone: set[str] = set()
        feed_from(*found)
        # islands without any source: the rail that the most links leave feeds the others, but never
        # one that is the switched side of a transistor
        left = [name for name in self.found if name not in found]
        switched = self._switched(left)
        left.sort(
            key=lambda name: (
                name in switched,
                -len({feed.to_net for feed in onward.get(name, ())}),
                -self.evidence.farads(name),
                -len(self.evidence.on(name)),
                natural_key(name),
            )
        )
        for root in left:
            if root not in found:
                alone = {root}
                feed_from(root)
        return found

    def _switched(self, names: list[str]) -> set[str]:
        """Return those of the rails that a transistor switches on from another rail."""
        board = self.board
        ways = [
            switched_way(board.part_by_key[feed.part], board, self.kinds, self.grounds)
            for name in names
            for feed in self.found[name].feeds
            if feed.kind == "load switch"
        ]
        return {way[1] for way in ways if way is not None and way[0] in self.found}

    def _own_source(self, name: str) -> str | None:
        """Return what makes the rail or brings it in, links apart."""
        evidence, parts = self.evidence, self.board.part_by_key
        for converter in evidence.converters.get(name, ()):
            return converter.chip
        for pin in evidence.output_pins.get(name, ()):
            return pin.part
        for pin in evidence.on(name):
            kind = evidence.kind(pin)
            if kind in {Kind.BATTERY, Kind.SOURCE}:
                return pin.part
            if kind is Kind.DIODE:
                for net in parts[pin.part].nets:
                    if net in evidence.boosters:
                        return evidence.boosters[net]
        for pin in evidence.connector_pins.get(name, ()):
            part = parts[pin.part]
            text = f"{part.refdes} {part.value or ''} {part.package or ''}"
            if _pattern("outlet").search(text):
                continue
            if _pattern("inlet_pin").match(pin.name or "") or _pattern("inlet").search(text):
                return pin.part
            # the name of a supply that comes in from outside
            reading = read_rail_name(name)
            outside = _pattern("outside").search(reading.word) is not None
            if reading.kind == "supply" and outside and len(part.nets) <= MOST_INLET_NETS:
                return pin.part
        return None

    def linked(self, name: str, rails: Collection[str]) -> tuple[tuple[str, str], ...]:
        """Return (part, other net) of the fitted links to further nets of `rails`."""
        found: dict[tuple[str, str], None] = {}
        for pin in self.evidence.on(name):
            kind = self.kinds[pin.part]
            if not kind.fitted or (name in self.grounds and kind.kind is Kind.CONNECTOR):
                continue
            for pair in pairs_of(self.board.part_by_key[pin.part], kind):
                far = pair.far(name)
                if far is not None and LINK_KINDS[pair.kind].supply and far in rails:
                    found[(pin.part, far)] = None
        return tuple(sorted(found, key=lambda pair: natural_key(pair[0])))

    def rail(
        self, name: str, volts: Volts | None, others: tuple[Volts, ...], source: str | None
    ) -> Rail:
        """Return the record of a supply rail."""
        candidate = self.found[name]
        loads = {
            pin.part
            for pin in self.evidence.on(name)
            if self.evidence.kind(pin) in _LOADS and pin.part != source
        }
        stated = [
            farads
            for key, farads, _ in self.evidence.decoupling.get(name, ())
            if self.kinds[key].fitted
        ]
        known = [farads for farads in stated if farads is not None]
        return Rail(
            net=name,
            kind=NetKind.RAIL,
            volts=volts,
            source=source,
            loads=tuple(sorted(loads, key=natural_key)),
            decoupling_farads=sum(known) if known or not stated else None,
            score=round(min(candidate.score, 1.0), 2),
            because=tuple(candidate.because),
            linked=self.linked(name, self.found),
            others=others,
        )


#: What a jumper's far end drives rather than supplies.
_DRIVEN: Final = TRANSISTORS | {Kind.LED, Kind.DIODE, Kind.RESISTOR, Kind.RESISTOR_ARRAY}
