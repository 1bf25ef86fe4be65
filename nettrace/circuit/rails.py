"""Rails and grounds: which nets are supplies, what feeds them, what they feed, at which voltage.

A net becomes a rail by its name, by what stands on it (decoupling, power pins, a converter's
output), or by a link from another rail. The voltage is settled in `rail_volts`.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Final

from nettrace.circuit.evidence import NetKind, PartKind, Rail, Volts
from nettrace.circuit.kinds import TRANSISTORS, Kind
from nettrace.circuit.links import load_switch_nets, switched_way
from nettrace.circuit.rail_evidence import (
    ACTIVE,
    Ground,
    SupplyEvidence,
    find_grounds,
    is_power_pin,
)
from nettrace.circuit.rail_names import read_rail_name
from nettrace.circuit.rail_volts import Feed, settle_volts
from nettrace.circuit.series import LINK_KINDS, Pair, diode_ends, is_closed, pairs_of, terminals_of
from nettrace.knowledge import pattern
from nettrace.model.board import Board, Net
from nettrace.model.names import match_names, natural_key
from nettrace.model.notes import Notes

_pattern = partial(pattern, "supplies")

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
    noted = _noted_rails(board, notes or Notes())
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


def _noted_rails(board: Board, notes: Notes) -> dict[str, float]:
    names = list(board.net_by_name) if notes.rails else []
    return {
        name: note.volts
        for wanted, note in notes.rails.items()
        for name in match_names(wanted, names)
    }


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
                candidate = self.found.get(far)
                if candidate is None:
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
                feed = self._switch(key, name)
                if feed is not None:
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
        own = {name: self._own_source(name) for name in self.found}
        found = {name: part for name, part in own.items() if part is not None}
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
            if _is_fed_outside(name) and len(part.nets) <= MOST_INLET_NETS:
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


def _is_fed_outside(name: str) -> bool:
    """Return whether the name is that of a supply that comes in from outside by a connector."""
    reading = read_rail_name(name)
    word = reading.word
    outside = word.startswith(("VBUS", "VBAT", "BAT", "+BAT", "VIN", "DC", "USB")) or "VBUS" in word
    return reading.kind == "supply" and outside
