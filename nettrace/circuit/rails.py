"""Rails and grounds: which nets are supplies, what feeds them, what they feed, at which voltage.

A net becomes a rail by its name, by what stands on it (decoupling, power pins, a converter's
output), or by a link from another rail. The voltage is settled in `rail_volts`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

from nettrace.circuit.evidence import NetKind, PartKind, Rail, Volts
from nettrace.circuit.grounds import Ground, find_grounds
from nettrace.circuit.kinds import Kind
from nettrace.circuit.rail_evidence import (
    ACTIVE,
    SupplyEvidence,
    gather_evidence,
    is_power_pin,
)
from nettrace.circuit.rail_names import read_rail_name
from nettrace.circuit.rail_volts import Feed, settle_volts
from nettrace.circuit.series import Pair, is_closed, pairs_of, terminals_of
from nettrace.circuit.switches import load_switch_nets
from nettrace.model.board import Board, Pin
from nettrace.model.names import match_names, natural_key
from nettrace.model.notes import Notes

__all__ = ["infer_rails"]

#: A net is called a rail from this score on.
ENOUGH: Final = 0.5
#: Capacitors without a value count as decoupling only in this number.
FEWEST_UNKNOWN: Final = 3
#: Total decoupling that a supply pin without a name has at least, F (common practice, no source).
LEAST_TOTAL: Final = 0.9e-6


@dataclass(slots=True)
class _Candidate:
    score: float = 0.0
    because: list[str] = field(default_factory=list)
    feeds: list[Feed] = field(default_factory=list)  # links from other rails, nearest first

    def add(self, score: float, reason: str) -> None:
        # independent reasons add up as chances do
        self.score = 1 - (1 - self.score) * (1 - score)
        self.because.append(reason)


class _Survey:
    """The board while its rails are being found."""

    def __init__(self, board: Board, kinds: Mapping[str, PartKind], notes: Notes) -> None:
        self.board = board
        self.kinds = kinds
        self.notes = notes
        self.noted = _noted_rails(board, notes)
        self.grounds: dict[str, Ground] = find_grounds(board, kinds)
        for name, volts in self.noted.items():
            if volts == 0:
                self.grounds[name] = Ground(name, 1.0, ("user's note: 0 V",))
            else:
                self.grounds.pop(name, None)
        self.evidence: SupplyEvidence = gather_evidence(board, kinds, self.grounds)
        self.found: dict[str, _Candidate] = {}


def _noted_rails(board: Board, notes: Notes) -> dict[str, float]:
    noted: dict[str, float] = {}
    if notes.rails:
        names = list(board.net_by_name)
        for pattern, note in notes.rails.items():
            for name in match_names(pattern, names):
                noted[name] = note.volts
    return noted


def infer_rails(
    board: Board, kinds: Mapping[str, PartKind], notes: Notes | None = None
) -> dict[str, Rail]:
    """Return grounds and rails by net name, in the board's (natural) order.

    Separate grounds stay separate; a link between two is named in `linked`. A net that a switch
    or an open jumper feeds is a rail without a voltage of its own.
    """
    survey = _Survey(board, kinds, notes or Notes())
    _judge_nets(survey)
    _spread(survey)
    volts, others = settle_volts(
        board,
        kinds,
        survey.evidence,
        survey.grounds,
        {net: tuple(c.feeds) for net, c in survey.found.items()},
        survey.noted,
    )
    rails: dict[str, Rail] = {}
    for net in board.nets:
        name = net.name
        if name in survey.grounds:
            rails[name] = _ground_rail(survey, survey.grounds[name])
        elif name in survey.found:
            rails[name] = _supply_rail(survey, name, volts.get(name), others.get(name, ()))
    return rails


def _judge_nets(survey: _Survey) -> None:
    for net in survey.board.nets:
        if net.name in survey.grounds or not net.pins:
            continue
        candidate = _judge(survey, net.name, net.aliases)
        if net.name in survey.noted:
            candidate.add(1.0, "user's note")
        elif net.volts is not None:
            candidate.add(0.98, f"the source states {net.volts:g} V")
        if candidate.score >= ENOUGH:
            survey.found[net.name] = candidate


def _judge(survey: _Survey, name: str, aliases: tuple[str, ...]) -> _Candidate:
    evidence = survey.evidence
    candidate = _Candidate()
    decoupling = evidence.decoupling.get(name, ())
    power = evidence.power_pins.get(name, ())
    active = evidence.active_pins.get(name, ())
    if name in evidence.switching_nodes:
        return candidate
    supported = bool(decoupling or power)
    for text in (name, *aliases):
        reading = read_rail_name(text)
        if reading.kind == "rail":
            candidate.add(reading.score, f"name {text}")
        elif reading.kind == "supply":
            if _is_lone_reference(survey, name, reading.word):
                continue
            score = reading.score if supported or reading.score >= ENOUGH else reading.score / 2
            if _is_switching(survey, name):
                continue
            candidate.add(score, f"name {text}")
        elif reading.kind == "level" and supported and not _pulled(survey, name):
            candidate.add(0.5, f"name {text}")
        else:
            continue
        break
    for converter in evidence.converters:
        if converter.output == name and not converter.boosts:
            candidate.add(0.8, f"output of {converter.chip} through {converter.inductor}")
    if power and (decoupling or _several_loads(power)):
        words = ", ".join(dict.fromkeys(f"{p.part}.{p.name or p.number}" for p in power[:3]))
        candidate.add(0.7, f"supply pins {words}")
    elif power and not candidate.score and _outputs_supply(evidence, name) and decoupling:
        candidate.add(0.6, "a supply output with a capacitor")
    _judge_decoupling(survey, name, candidate, active)
    return candidate


def _several_loads(pins: Iterable[Pin]) -> bool:
    return len({pin.part for pin in pins}) >= 2


def _outputs_supply(evidence: SupplyEvidence, name: str) -> bool:
    return bool(evidence.output_pins.get(name))


def _is_lone_reference(survey: _Survey, name: str, word: str) -> bool:
    """Return whether a VREF net is one chip's pin with its capacitor: no supply of others."""
    if "REF" not in word:
        return False
    chips = {pin.part for pin in survey.evidence.active_pins.get(name, ())}
    return len(chips) < 2 and len(survey.evidence.resistors.get(name, ())) < 2


def _is_switching(survey: _Survey, name: str) -> bool:
    """Return whether the net is a chip's pin and an inductor, nothing else: no supply itself."""
    pins = survey.board.net_by_name[name].pins
    what = [survey.kinds[pin.part].kind for pin in pins]
    return len(pins) == 2 and Kind.INDUCTOR in what and not survey.evidence.decoupling.get(name)


def _pulled(survey: _Survey, name: str) -> bool:
    return bool(survey.evidence.resistors.get(name))


def _judge_decoupling(
    survey: _Survey, name: str, candidate: _Candidate, active: Iterable[Pin]
) -> None:
    """Several capacitors to the main ground, and a pin that they serve."""
    decoupling = survey.evidence.decoupling.get(name, ())
    if len(decoupling) < 2:
        return
    main = _main_ground(survey)
    at_main = [c for c in decoupling if c[2] == main]
    valued = [c for c in at_main if c[1] is not None]
    served = bool(list(active)) or bool(survey.evidence.connector_pins.get(name))
    total = sum(c[1] or 0.0 for c in at_main)
    # without values, a capacitor at each chip of a control line looks like decoupling
    chips = len({pin.part for pin in active})
    many = len(at_main) >= max(FEWEST_UNKNOWN, chips)
    enough = len(valued) >= 2 and total >= LEAST_TOTAL
    if served and (enough or (many and not _all_small(survey, name))):
        candidate.add(0.6 if len(at_main) < 3 else 0.75, f"{len(at_main)} capacitors to {main}")


def _all_small(survey: _Survey, name: str) -> bool:
    """Return whether the capacitors' values are known, and too small for a supply."""
    known = [c[1] for c in survey.evidence.decoupling.get(name, ()) if c[1] is not None]
    return len(known) >= 2 and sum(known) < LEAST_TOTAL / 10


def _main_ground(survey: _Survey) -> str | None:
    nets = survey.board.net_by_name
    if not survey.grounds:
        return None
    return max(survey.grounds, key=lambda name: len(nets[name].pins))


_CARRIES: Final[dict[str, float]] = {
    "zero-ohm link": 0.6,
    "current shunt": 0.7,
    "ferrite bead": 0.7,
    "fuse": 0.8,
    "inductor": 0.6,
    "jumper header": 0.6,
    "jumper": 0.6,
}


def _spread(survey: _Survey) -> None:
    """Follow links from rail to rail until nothing new is found."""
    waiting = list(survey.found)
    seen = set(waiting)
    while waiting:
        name = waiting.pop(0)
        for feed, score in _links_from(survey, name):
            far = feed.to_net
            if far in survey.grounds:
                continue
            candidate = survey.found.get(far)
            if candidate is None:
                candidate = _judge(survey, far, survey.board.net_by_name[far].aliases)
                candidate.add(score, f"{feed.kind} {feed.part} from {name}")
                if candidate.score < ENOUGH:
                    continue
                survey.found[far] = candidate
            candidate.feeds.append(feed)
            if far not in seen:
                seen.add(far)
                waiting.append(far)


def _links_from(survey: _Survey, name: str) -> Iterable[tuple[Feed, float]]:
    board, kinds = survey.board, survey.kinds
    done: set[str] = set()
    for pin in board.net_by_name[name].pins:
        if pin.part in done:
            continue
        done.add(pin.part)
        part, kind = board.part_by_key[pin.part], kinds[pin.part]
        if kind.kind in {Kind.MOSFET, Kind.TRANSISTOR}:
            nets = load_switch_nets(part, kind, survey.found, survey.grounds)
            if nets is None and name in survey.found:
                nets = _between_rails(survey, pin.part, name)
            if nets is not None and nets[0] == name and _takes_current(survey, nets[1], pin.part):
                text = f"while {pin.part} is on"
                if _is_power_path(survey, pin.part, nets):
                    text = "only from this of several sources"
                yield Feed(pin.part, name, nets[1], "load switch", text, kind.fitted), 0.6
            continue
        if kind.kind is Kind.DIODE:
            far = _cathode_from(survey, pin)
            if far is not None and _takes_current(survey, far, pin.part):
                yield Feed(pin.part, name, far, "diode", "less the diode's drop", kind.fitted), 0.4
            continue
        for pair in pairs_of(part, kind):
            if pair.kind not in _CARRIES:
                continue
            far = pair.second.net if pair.first.net == name else pair.first.net
            if far is None or far == name or name not in (pair.first.net, pair.second.net):
                continue
            if far in survey.found or _accepts(survey, pair, far, pin.part):
                condition = pair.conditional
                if pair.kind == "jumper" and is_closed(part, kind) is False:
                    condition = "only with the jumper closed"
                if pair.kind == "inductor" and far in survey.evidence.switching_nodes:
                    continue
                # an empty position says that the designer thought of it, no more
                score = _CARRIES[pair.kind] if kind.fitted else 0.2
                yield Feed(pin.part, name, far, pair.kind, condition, kind.fitted), score


def _between_rails(survey: _Survey, key: str, name: str) -> tuple[str, str] | None:
    """Return (this rail, other rail) of a MOSFET that joins two rails that are both known."""
    ends = terminals_of(survey.board.part_by_key[key])
    if ends is None or ends.gate in survey.found or ends.gate in survey.grounds:
        return None
    if name not in (ends.source, ends.drain):
        return None
    far = ends.drain if ends.source == name else ends.source
    return (name, far) if far in survey.found else None


def _is_power_path(survey: _Survey, key: str, nets: tuple[str, str]) -> bool:
    """Return whether one chip drives the gate and sits on both rails: it chooses the source."""
    ends = terminals_of(survey.board.part_by_key[key])
    if ends is None:
        return False
    active = survey.evidence.active_pins
    drivers = {pin.part for pin in active.get(ends.gate, ())}
    return any(
        all(any(pin.part == chip for pin in active.get(net, ())) for net in nets)
        for chip in drivers
    )


def _cathode_from(survey: _Survey, pin: Pin) -> str | None:
    """Return the net of the cathode where the pin is the anode of a two-pin diode."""
    part = survey.board.part_by_key[pin.part]
    if len(part.pins) != 2:
        return None
    word = (pin.name or pin.number).upper()
    # pin 1 is the cathode where pins are only numbered (common practice, no source)
    if word not in {"A", "2", "ANODE"}:
        return None
    other = (
        part.pins[0] if part.pins[1] is pin or part.pins[1].number == pin.number else part.pins[1]
    )
    return other.net if other.net != pin.net else None


def _takes_current(survey: _Survey, far: str, through: str) -> bool:
    """Return whether something on the net lives on it: capacitors, a bead, a supply pin."""
    if far in survey.found:
        return True
    evidence = survey.evidence
    if far in evidence.switching_nodes:
        return False
    if evidence.decoupling.get(far) or evidence.power_pins.get(far):
        return True
    return any(
        survey.kinds[pin.part].kind in {Kind.FERRITE, Kind.INDUCTOR, Kind.FUSE}
        for pin in survey.board.net_by_name[far].pins
        if pin.part != through
    )


def _accepts(survey: _Survey, pair: Pair, far: str, through: str) -> bool:
    """Return whether the far net of a link lives on what comes through it."""
    evidence = survey.evidence
    if far in evidence.switching_nodes:
        return False
    if evidence.decoupling.get(far):
        return True
    others = [pin for pin in survey.board.net_by_name[far].pins if pin.part != through]
    what = [survey.kinds[pin.part].kind for pin in others]
    if pair.kind == "inductor":
        return False  # a choke into an amplifier's output, a coil: a signal
    if any(is_power_pin(pin) for pin in others):
        return True
    if not others:
        return False
    driven = {Kind.MOSFET, Kind.TRANSISTOR, Kind.LED, Kind.DIODE}
    if pair.kind in {"ferrite bead", "fuse", "current shunt"}:
        return True
    if pair.kind in {"jumper header", "jumper"}:
        return not any(
            kind in driven or kind in {Kind.RESISTOR, Kind.RESISTOR_ARRAY} for kind in what
        ) and any(kind in ACTIVE or kind is Kind.CONNECTOR for kind in what)
    return False


def _ground_rail(survey: _Survey, ground: Ground) -> Rail:
    linked = _linked(survey, ground.net)
    volts = Volts(0.0, 0.0, 0.0, "ground", ground.score)
    return Rail(
        ground.net, NetKind.GROUND, volts, None, (), 0.0, ground.score, ground.because, linked
    )


def _linked(survey: _Survey, name: str) -> tuple[tuple[str, str], ...]:
    found: dict[tuple[str, str], None] = {}
    for pin in survey.board.net_by_name[name].pins:
        kind = survey.kinds[pin.part]
        if kind.kind in {Kind.CAPACITOR, Kind.IC, Kind.CONNECTOR} and name in survey.grounds:
            continue
        for pair in pairs_of(survey.board.part_by_key[pin.part], kind):
            if pair.kind not in _CARRIES or name not in (pair.first.net, pair.second.net):
                continue
            far = pair.second.net if pair.first.net == name else pair.first.net
            same_room = far in survey.grounds if name in survey.grounds else far in survey.found
            if far is not None and far != name and same_room:
                found[(pin.part, far)] = None
    return tuple(sorted(found, key=lambda pair: natural_key(pair[0])))


def _supply_rail(
    survey: _Survey, name: str, volts: Volts | None, others: tuple[Volts, ...]
) -> Rail:
    candidate = survey.found[name]
    source = _source(survey, name)
    loads = {
        pin.part
        for pin in survey.board.net_by_name[name].pins
        if survey.kinds[pin.part].kind in _LOADS and pin.part != source
    }
    farads = sum(
        farads or 0.0
        for key, farads, _ in survey.evidence.decoupling.get(name, ())
        if survey.kinds[key].fitted
    )
    return Rail(
        net=name,
        kind=NetKind.RAIL,
        volts=volts,
        source=source,
        loads=tuple(sorted(loads, key=natural_key)),
        decoupling_farads=farads,
        score=round(min(candidate.score, 1.0), 2),
        because=tuple(candidate.because),
        linked=_linked(survey, name),
        others=others,
    )


_LOADS: Final = ACTIVE | {Kind.CONNECTOR, Kind.LED, Kind.UNKNOWN}


def _source(survey: _Survey, name: str) -> str | None:
    """Return the part that feeds the rail: converter, regulator output, link, connector."""
    evidence = survey.evidence
    for converter in evidence.converters:
        if converter.output == name and not converter.boosts:
            return converter.chip
    for pin in evidence.output_pins.get(name, ()):
        if survey.kinds[pin.part].kind in ACTIVE:
            return pin.part
    feeds = survey.found[name].feeds
    fed = [feed for feed in feeds if feed.fitted] or feeds
    if fed and not _fed_outside(survey, name):
        return fed[0].part
    for pin in evidence.connector_pins.get(name, ()):
        if is_power_pin(pin) or _fed_outside(survey, name):
            return pin.part
    for pin in survey.board.net_by_name[name].pins:
        if survey.kinds[pin.part].kind in {Kind.BATTERY, Kind.SOURCE}:
            return pin.part
    return fed[0].part if fed else None


def _fed_outside(survey: _Survey, name: str) -> bool:
    """Return whether the name is that of a supply that comes in from outside by a connector."""
    reading = read_rail_name(name)
    word = reading.word
    outside = word.startswith(("VBUS", "VBAT", "BAT", "+BAT", "VIN", "DC", "USB")) or "VBUS" in word
    return reading.kind == "supply" and outside and bool(survey.evidence.connector_pins.get(name))
