"""How supply goes on from rail to rail: links, switches, diodes, and what accepts them."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from typing import Final

from nettrace.circuit.kinds import Kind
from nettrace.circuit.links import load_switch_nets
from nettrace.circuit.rail_evidence import ACTIVE, is_power_pin
from nettrace.circuit.rail_judge import judge_net
from nettrace.circuit.rail_survey import ENOUGH, Survey
from nettrace.circuit.rail_volts import Feed
from nettrace.circuit.series import Pair, is_closed, pairs_of, terminals_of
from nettrace.model.board import Pin

__all__ = ["CARRIES", "spread_rails"]

#: Links that carry a supply, and how much each says for the net behind being a rail.
CARRIES: Final[dict[str, float]] = {
    "zero-ohm link": 0.6,
    "current shunt": 0.7,
    "ferrite bead": 0.7,
    "fuse": 0.8,
    "inductor": 0.6,
    "jumper header": 0.6,
    "jumper": 0.6,
}


def spread_rails(survey: Survey) -> None:
    """Follow links from rail to rail until nothing new is found."""
    waiting = deque(survey.found)
    seen = set(waiting)
    while waiting:
        name = waiting.popleft()
        for feed, score in _links_from(survey, name):
            far = feed.to_net
            if far in survey.grounds:
                continue
            candidate = survey.found.get(far)
            if candidate is None:
                candidate = judge_net(survey, far, survey.board.net_by_name[far].aliases)
                candidate.add(score, f"{feed.kind} {feed.part} from {name}")
                if candidate.score < ENOUGH:
                    continue
                survey.found[far] = candidate
            candidate.feeds.append(feed)
            if far not in seen:
                seen.add(far)
                waiting.append(far)


def _links_from(survey: Survey, name: str) -> Iterable[tuple[Feed, float]]:
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
            if pair.kind not in CARRIES:
                continue
            far = pair.second.net if pair.first.net == name else pair.first.net
            if far is None or far == name or far in survey.grounds:
                continue
            if name not in (pair.first.net, pair.second.net):
                continue
            if far in survey.found or _accepts(survey, pair, far, pin.part):
                condition = pair.conditional
                if pair.kind == "jumper" and is_closed(part, kind) is False:
                    condition = "only with the jumper closed"
                if pair.kind == "inductor" and far in survey.evidence.switching_nodes:
                    continue
                # an empty position says that the designer thought of it, no more
                score = CARRIES[pair.kind] if kind.fitted else 0.2
                yield Feed(pin.part, name, far, pair.kind, condition, kind.fitted), score


def _between_rails(survey: Survey, key: str, name: str) -> tuple[str, str] | None:
    """Return (this rail, other rail) of a MOSFET that joins two rails that are both known."""
    ends = terminals_of(survey.board.part_by_key[key])
    if ends is None or ends.gate in survey.found or ends.gate in survey.grounds:
        return None
    if name not in (ends.source, ends.drain):
        return None
    far = ends.drain if ends.source == name else ends.source
    return (name, far) if far in survey.found else None


def _is_power_path(survey: Survey, key: str, nets: tuple[str, str]) -> bool:
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


def _cathode_from(survey: Survey, pin: Pin) -> str | None:
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


def _takes_current(survey: Survey, far: str, through: str) -> bool:
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


def _accepts(survey: Survey, pair: Pair, far: str, through: str) -> bool:
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
