"""Rails and grounds: which nets are supplies, what feeds them, what they feed, at which voltage.

A net becomes a rail by its name, by what stands on it (decoupling, power pins, a converter's
output), or by a link from another rail. The voltage is settled in `rail_volts`.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Mapping
from typing import Final

from nettrace.circuit.evidence import NetKind, PartKind, Rail, Volts
from nettrace.circuit.grounds import Ground
from nettrace.circuit.kinds import Kind
from nettrace.circuit.links import switched_way
from nettrace.circuit.rail_evidence import ACTIVE
from nettrace.circuit.rail_judge import judge_nets
from nettrace.circuit.rail_names import read_rail_name
from nettrace.circuit.rail_spread import CARRIES, spread_rails
from nettrace.circuit.rail_survey import Survey
from nettrace.circuit.rail_volts import Feed, settle_volts
from nettrace.circuit.series import pairs_of
from nettrace.model.board import Board
from nettrace.model.names import natural_key
from nettrace.model.notes import Notes

__all__ = ["infer_rails"]


def infer_rails(
    board: Board, kinds: Mapping[str, PartKind], notes: Notes | None = None
) -> dict[str, Rail]:
    """Return grounds and rails by net name, in the board's (natural) order.

    Separate grounds stay separate; a link between two is named in `linked`. A net that a switch
    or an open jumper feeds is a rail without a voltage of its own.
    """
    survey = Survey(board, kinds, notes or Notes())
    judge_nets(survey)
    spread_rails(survey)
    volts, others = settle_volts(
        board,
        kinds,
        survey.evidence,
        survey.grounds,
        {net: tuple(c.feeds) for net, c in survey.found.items()},
        survey.noted,
    )
    sources = _sources(survey)
    rails: dict[str, Rail] = {}
    for net in board.nets:
        name = net.name
        if name in survey.grounds:
            rails[name] = _ground_rail(survey, survey.grounds[name])
        elif name in survey.found:
            rails[name] = _supply_rail(
                survey, name, volts.get(name), others.get(name, ()), sources.get(name)
            )
    return rails


def _ground_rail(survey: Survey, ground: Ground) -> Rail:
    linked = _linked(survey, ground.net)
    volts = Volts(0.0, 0.0, 0.0, "ground", ground.score)
    return Rail(
        ground.net, NetKind.GROUND, volts, None, (), 0.0, ground.score, ground.because, linked
    )


def _linked(survey: Survey, name: str) -> tuple[tuple[str, str], ...]:
    found: dict[tuple[str, str], None] = {}
    for pin in survey.board.net_by_name[name].pins:
        kind = survey.kinds[pin.part]
        if not kind.fitted:
            continue
        if kind.kind in {Kind.CAPACITOR, Kind.IC, Kind.CONNECTOR} and name in survey.grounds:
            continue
        for pair in pairs_of(survey.board.part_by_key[pin.part], kind):
            if pair.kind not in CARRIES or name not in (pair.first.net, pair.second.net):
                continue
            far = pair.second.net if pair.first.net == name else pair.first.net
            same_room = far in survey.grounds if name in survey.grounds else far in survey.found
            if far is not None and far != name and same_room:
                found[(pin.part, far)] = None
    return tuple(sorted(found, key=lambda pair: natural_key(pair[0])))


def _supply_rail(
    survey: Survey,
    name: str,
    volts: Volts | None,
    others: tuple[Volts, ...],
    source: str | None,
) -> Rail:
    candidate = survey.found[name]
    loads = {
        pin.part
        for pin in survey.board.net_by_name[name].pins
        if survey.kinds[pin.part].kind in _LOADS and pin.part != source
    }
    stated = [
        farads
        for key, farads, _ in survey.evidence.decoupling.get(name, ())
        if survey.kinds[key].fitted
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
        linked=_linked(survey, name),
        others=others,
    )


_LOADS: Final = ACTIVE | {Kind.CONNECTOR, Kind.LED, Kind.UNKNOWN}


def _sources(survey: Survey) -> dict[str, str]:
    """Return the part that feeds each rail: converter, regulator output, battery, plug, or link.

    Links carry both ways; the way from a rail with a source of its own settles which end is fed.
    """
    found: dict[str, str] = {}
    for name in survey.found:
        part = _own_source(survey, name)
        if part is not None:
            found[name] = part
    waiting = deque(found)
    onward: dict[str, list[Feed]] = {}
    for candidate in survey.found.values():
        for feed in candidate.feeds:
            if feed.fitted:
                onward.setdefault(feed.from_net, []).append(feed)
    while waiting:
        for feed in onward.get(waiting.popleft(), ()):
            if feed.to_net not in found:
                found[feed.to_net] = feed.part
                waiting.append(feed.to_net)
    # islands without any source: the rail that the most links leave feeds the others, but never
    # one that is the switched side of a transistor
    left = [name for name in survey.found if name not in found]
    switched = _switched(survey, left)
    left.sort(
        key=lambda name: (
            name in switched,
            -len({feed.to_net for feed in onward.get(name, ())}),
            -survey.evidence.farads(name),
            -len(survey.board.net_by_name[name].pins),
            natural_key(name),
        )
    )
    for root in left:
        if root in found:
            continue
        waiting.append(root)
        while waiting:
            for feed in onward.get(waiting.popleft(), ()):
                if feed.to_net not in found and feed.to_net != root:
                    found[feed.to_net] = feed.part
                    waiting.append(feed.to_net)
    return found


def _switched(survey: Survey, names: list[str]) -> set[str]:
    """Return those of the rails that a transistor switches on from another rail."""
    board = survey.board
    feeds = [feed for name in names for feed in survey.found[name].feeds]
    ways = [
        switched_way(board.part_by_key[feed.part], board, survey.kinds, survey.grounds)
        for feed in feeds
        if feed.kind == "load switch"
    ]
    return {way[1] for way in ways if way is not None and way[0] in survey.found}


def _own_source(survey: Survey, name: str) -> str | None:
    """Return what makes the rail or brings it in, links apart."""
    evidence = survey.evidence
    for converter in evidence.converter_of.get(name, ()):
        return converter.chip
    for pin in evidence.output_pins.get(name, ()):
        if survey.kinds[pin.part].kind in ACTIVE:
            return pin.part
    for pin in survey.board.net_by_name[name].pins:
        kind = survey.kinds[pin.part].kind
        if kind in {Kind.BATTERY, Kind.SOURCE}:
            return pin.part
        if kind is Kind.DIODE:
            for net in survey.board.part_by_key[pin.part].nets:
                if net in evidence.booster_of:
                    return evidence.booster_of[net]
    for pin in evidence.connector_pins.get(name, ()):
        part = survey.board.part_by_key[pin.part]
        text = f"{part.refdes} {part.value or ''} {part.package or ''}"
        if _OUTLET_TEXT.search(text):
            continue
        if _INLET.match(pin.name or "") or _INLET_TEXT.search(text):
            return pin.part
        if _fed_outside(survey, name) and len(part.nets) <= MOST_INLET_NETS:
            return pin.part
    return None


#: A plug with more nets than this is a header that carries supplies along.
MOST_INLET_NETS: Final = 8
#: Sockets by which a board is supplied, and those by which it supplies (common practice).
_INLET_TEXT: Final = re.compile(
    r"micro.?b|mini.?b|usb.?c\b|usb_c|type.?c|usb.?b\b|jack|batt|lipo|barrel|dc.?in", re.IGNORECASE
)
_OUTLET_TEXT: Final = re.compile(
    r"usb.?a\b|usb_a_|hdmi|audio|phone|stereo|\d\.5.?mm", re.IGNORECASE
)


#: Pins of a plug by which a supply comes in.
_INLET: Final = re.compile(r"^(?:VBUS|V?BATT?\+?|VIN|DC_?IN|B\+|PACK\+)$", re.IGNORECASE)


def _fed_outside(survey: Survey, name: str) -> bool:
    """Return whether the name is that of a supply that comes in from outside by a connector."""
    reading = read_rail_name(name)
    word = reading.word
    outside = word.startswith(("VBUS", "VBAT", "BAT", "+BAT", "VIN", "DC", "USB")) or "VBUS" in word
    return reading.kind == "supply" and outside and bool(survey.evidence.connector_pins.get(name))
