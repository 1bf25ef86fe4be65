"""Rails that die with a part: what hangs on them, and what else may feed them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from nettrace.circuit.absence_site import ACTIVE, Gap, blocks, degrades, listed
from nettrace.circuit.evidence import Absence, NetKind, Rail
from nettrace.circuit.kinds import Kind
from nettrace.circuit.series import SUPPLY_OHMS
from nettrace.model.board import Board
from nettrace.model.names import natural_key

__all__ = ["cathode_of", "dead_without", "find_made_from", "hangs_on", "other_feeds", "rails_lost"]

_OUTSIDE: Final = frozenset({Kind.CONNECTOR, Kind.BATTERY, Kind.SOURCE})


def dead_without(gap: Gap, first: Iterable[str]) -> tuple[str, ...]:
    """Return the rails without supply when these are, themselves first, and all that hang on them.

    A rail with another way to a living one is left out: only what surely dies is named.
    """
    dead = list(dict.fromkeys(first))
    rails = gap.circuit.rails
    made_from = gap.circuit.made_from
    grown = True
    while grown:
        grown = False
        # in the rails' order; only what is made from a dead rail can die with it
        waiting = {name for net in dead for name in made_from.get(net, ())}.difference(dead)
        while waiting:
            name = min(waiting, key=natural_key)
            waiting.remove(name)
            source = rails[name].source
            if source is None or gap.kind_of(source) in _OUTSIDE:
                continue
            inputs = _inputs(gap, source, name)
            if inputs and all(net in dead for net in inputs) and not other_feeds(gap, name, dead):
                dead.append(name)
                grown = True
                here = natural_key(name)
                waiting.update(
                    far
                    for far in made_from.get(name, ())
                    if far not in dead and natural_key(far) > here
                )
    return tuple(dead)


def find_made_from(board: Board, rails: Mapping[str, Rail]) -> dict[str, tuple[str, ...]]:
    """Return, by supply rail, the rails whose source has a pin on it, in the rails' order."""
    found: dict[str, list[str]] = {}
    for name, rail in rails.items():
        if rail.kind is not NetKind.RAIL or rail.source is None:
            continue
        for net in board.part_by_key[rail.source].nets:
            if net != name and net in rails and rails[net].kind is NetKind.RAIL:
                found.setdefault(net, []).append(name)
    return {net: tuple(names) for net, names in found.items()}


def _inputs(gap: Gap, source: str, output: str) -> list[str]:
    rails = gap.circuit.rails
    return [
        net
        for net in gap.circuit.board.part_by_key[source].nets
        if net != output
        and gap.is_supply(net)
        and (rails[net].source != source or gap.is_pack(net))
    ]


def other_feeds(gap: Gap, rail: str, dead: Iterable[str] = ()) -> tuple[str, ...]:
    """Return parts besides the missing one and the rail's own source that may feed a rail."""
    rails, board = gap.circuit.rails, gap.circuit.board
    gone = set(dead)
    found: dict[str, None] = {}
    for link in gap.circuit.links.get(rail, ()):
        far = link.to_net
        if link.part in gap.gone or link.conditional == "not fitted" or not gap.is_supply(far):
            continue
        if link.kind == "resistor" and (link.ohms is None or link.ohms > SUPPLY_OHMS):
            continue
        if far in gone or rails[far].source == link.part or link.part == rails[rail].source:
            continue
        if hangs_on(gap, far, rail):
            continue
        found[link.part] = None
    for pin in board.net_by_name[rail].pins:
        if pin.part in gap.gone or pin.part == rails[rail].source:
            continue
        if gap.kind_of(pin.part) is not Kind.DIODE:
            continue
        others = [net for net in board.part_by_key[pin.part].nets if net != rail]
        cathode = cathode_of(gap, pin.part)
        if cathode is not None and cathode != rail:
            continue
        if any(
            gap.is_supply(net) and net not in gone and not hangs_on(gap, net, rail)
            for net in others
        ):
            found[pin.part] = None
    return tuple(sorted(found, key=natural_key))


def cathode_of(gap: Gap, key: str) -> str | None:
    """Return the net that a diode feeds; pin 1 where pins are only numbered (common practice)."""
    part, rails = gap.circuit.board.part_by_key[key], gap.circuit.rails
    fed = [net for net in part.nets if gap.is_supply(net) and rails[net].source == key]
    if fed:
        return fed[0]
    named = {(pin.name or "").upper() for pin in part.pins} & _ENDS
    for pin in part.pins:
        word = (pin.name or "").upper() if named else pin.number.upper()
        if word in (_CATHODE if named or len(part.pins) == 2 else _COMMON):
            return pin.net
    return None


#: The pin that both diodes of a three-pin package share (SOT-23; common practice, no source).
_COMMON: Final = frozenset({"3"})
_CATHODE: Final = frozenset({"K", "C", "CATHODE", "1"})


_ENDS: Final = _CATHODE | {"A", "ANODE", "2"}


def hangs_on(gap: Gap, net: str, rail: str) -> bool:
    """Return whether a rail takes its supply from another one, over up to a few stages."""
    rails = gap.circuit.rails
    for _ in range(_MOST_STAGES):
        source = rails[net].source
        if source is None or gap.kind_of(source) in _OUTSIDE:
            return False
        inputs = _inputs(gap, source, net)
        if inputs == [rail]:
            return True
        if len(inputs) != 1:
            return False
        net = inputs[0]
    return False


_MOST_STAGES: Final = 6


def rails_lost(gap: Gap, rails: Iterable[str], why: str) -> Absence:
    """Return that these rails have no supply any more: what they feed, and what hangs on them."""
    first = tuple(rails)
    kept = {net: found for net in first if (found := other_feeds(gap, net))}
    first = tuple(net for net in first if net not in kept)
    if not first:
        said = [f"{net} keeps {listed(feeds)} alone as its way in" for net, feeds in kept.items()]
        return degrades(f"{listed(list(kept))} lacks one of its sources: {why}", *said)
    dead = dead_without(gap, first)
    effects = [f"{listed([gap.with_volts(net) for net in first])} {_has(first)} no supply: {why}"]
    if len(dead) > len(first):
        rest = dead[len(first) :]
        effects.append(f"with it {listed(rest)} {'is' if len(rest) == 1 else 'are'} dead")
    effects += _unpowered(gap, dead)
    return blocks(*effects)


def _unpowered(gap: Gap, dead: tuple[str, ...]) -> list[str]:
    """Return who is without power, who lacks one supply of several, and what is not charged."""
    board, rails = gap.circuit.board, gap.circuit.rails
    loads = {key for net in dead for key in rails[net].loads if key not in gap.gone}
    without, lacking, chargers, plugs = [], [], [], []
    for key in sorted(loads, key=natural_key):
        if not gap.circuit.kinds[key].fitted:
            continue
        if gap.kind_of(key) not in ACTIVE:
            plugs.append(key)
            continue
        supplies = [
            net
            for net in board.part_by_key[key].nets
            if gap.is_supply(net) and (rails[net].source != key or gap.is_pack(net))
        ]
        if gap.role_of(key) == "charger":
            chargers.append(key)
        elif all(net in dead for net in supplies):
            without.append(key)
        else:
            lacking.append(key)
    found = []
    if without:
        found.append(f"without power: {listed(without, 6)}")
    if lacking:
        one = len(lacking) == 1
        what = f"one of {'its' if one else 'their'} supplies"
        found.append(f"{listed(lacking, 6)} {'lacks' if one else 'lack'} {what}")
    if chargers:
        found.append(f"{listed(chargers)} cannot charge the battery")
    if plugs and not found:
        found.append(f"nothing comes to {listed(plugs)}")
    return found


def _has(names: tuple[str, ...]) -> str:
    return "has" if len(names) == 1 else "have"
