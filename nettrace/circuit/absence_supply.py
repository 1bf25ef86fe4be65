"""What stops when a part of the supplies is missing: links, converters, capacitors on rails."""

from __future__ import annotations

from collections.abc import Iterable
from math import hypot
from typing import Final

from nettrace.circuit.absence_site import (
    ACTIVE,
    Gap,
    Rule,
    blocks,
    degrades,
    listed,
    minor,
    unknown,
)
from nettrace.circuit.evidence import Absence, NetKind
from nettrace.circuit.kinds import Kind
from nettrace.circuit.series import is_closed, terminals_of
from nettrace.model.names import natural_key
from nettrace.values.quantity import engineering

__all__ = ["SHELL_WORDS", "SUPPLY_RULES", "dead_without", "rails_lost", "supply_link"]

#: A rail that loses more than this share of its capacitance ripples (common practice, no source).
LARGE_SHARE: Final = 0.5
#: One that loses less than this has more noise, no less reserve (common practice, no source).
SMALL_SHARE: Final = 0.1
#: A capacitor serves the chip whose supply pin is within this, mm (common practice, no source).
NEAR_MM: Final = 6.0
_OUTSIDE: Final = frozenset({Kind.CONNECTOR, Kind.BATTERY, Kind.SOURCE})


def dead_without(gap: Gap, first: Iterable[str]) -> tuple[str, ...]:
    """Return the rails without supply when these are, themselves first, and all that hang on them.

    A rail with another way to a living one is left out: only what surely dies is named.
    """
    dead = list(dict.fromkeys(first))
    rails = gap.circuit.rails
    grown = True
    while grown:
        grown = False
        for name, rail in rails.items():
            if rail.kind is not NetKind.RAIL or name in dead or rail.source is None:
                continue
            if gap.kind_of(rail.source) in _OUTSIDE:
                continue
            inputs = _inputs(gap, rail.source, name)
            if inputs and all(net in dead for net in inputs) and not other_feeds(gap, name, dead):
                dead.append(name)
                grown = True
    return tuple(dead)


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
        if link.part == gap.key or link.conditional == "not fitted" or not gap.is_supply(far):
            continue
        if far in gone or rails[far].source == link.part or link.part == rails[rail].source:
            continue
        found[link.part] = None
    for pin in board.net_by_name[rail].pins:
        if pin.part in (gap.key, rails[rail].source) or gap.kind_of(pin.part) is not Kind.DIODE:
            continue
        others = [net for net in board.part_by_key[pin.part].nets if net != rail]
        cathodes = [net for net in (rail, *others) if _feeds(gap, pin.part, net)]
        if cathodes and rail not in cathodes:
            continue
        if any(gap.is_supply(net) and net not in gone for net in others):
            found[pin.part] = None
    return tuple(sorted(found, key=natural_key))


def _feeds(gap: Gap, key: str, net: str) -> bool:
    return gap.is_supply(net) and gap.circuit.rails[net].source == key


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
    loads = {key for net in dead for key in rails[net].loads if key != gap.key}
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


def supply_link(gap: Gap) -> Absence | None:
    """A fuse, bead, link, shunt, choke, diode or switch in series with a supply or a return."""
    if gap.ends is None:
        return _supply_link_of_many(gap)
    first, second = gap.ends
    if gap.is_ground(first) and gap.is_ground(second):
        return _between_grounds(gap, first, second)
    if gap.is_ground(first) != gap.is_ground(second):
        return None
    if not (gap.is_supply(first) or gap.is_supply(second)):
        return None
    return _between(gap, first, second)


def _supply_link_of_many(gap: Gap) -> Absence | None:
    """A switch or diode with more than two nets: the pair of rails that it joins."""
    for net in gap.part.nets:
        if gap.is_supply(net) and gap.circuit.rails[net].source == gap.key:
            return _dead_or_kept(gap, net)
    for link in (link for net in gap.part.nets for link in gap.circuit.links.get(net, ())):
        if link.part == gap.key and gap.is_supply(link.from_net) and gap.is_supply(link.to_net):
            return _between(gap, link.from_net, link.to_net)
    return None


def _between(gap: Gap, first: str, second: str) -> Absence:
    rails = gap.circuit.rails
    for net in (second, first):
        if net in rails and rails[net].source == gap.key:
            return _dead_or_kept(gap, net)
    # neither side is said to be fed by it: the side with no source of its own is the far one
    for net, near in ((second, first), (first, second)):
        if net not in rails:
            return _signal_side(gap, net, near)
        if rails[net].source is None:
            return _dead_or_kept(gap, net)
    pack = next((net for net in (first, second) if gap.is_pack(net)), None)
    if pack is not None:
        other = second if pack == first else first
        return blocks(
            f"the battery ({pack}) is cut off from {other}: it neither feeds nor is charged"
        )
    return degrades(
        f"{first} and {second} are apart; each has a source of its own "
        f"({rails[first].source} and {rails[second].source})"
    )


def _signal_side(gap: Gap, net: str, near: str) -> Absence:
    """One end is no rail by name or structure: it takes its supply through the part."""
    served = gap.telling(gap.island(net))
    if not served:
        return minor(f"{net} has nothing on it that would miss {near}")
    return blocks(f"{net} is cut off from {gap.with_volts(near)}: {listed(served)} without it")


def _dead_or_kept(gap: Gap, net: str) -> Absence:
    passing = _passed_on(gap, net)
    if passing is not None:
        return degrades(f"{net} is left with what {passing} passes on by itself")
    others = other_feeds(gap, net)
    if others:
        return degrades(f"{net} is fed through {listed(others)} alone, and without that not at all")
    what = _LINK_WORDS.get(gap.role, "the way in is open")
    return rails_lost(gap, [net], what)


def _passed_on(gap: Gap, net: str) -> str | None:
    """Return the power chip that drives the missing transistor's gate and is on the rail too."""
    ends = terminals_of(gap.part)
    if ends is None or gap.kind_of(gap.key) not in {Kind.MOSFET, Kind.TRANSISTOR}:
        return None
    both = [key for key in gap.chips_on(ends.gate) if key in gap.chips_on(net)]
    return next((key for key in both if gap.role_of(key) in {"regulator", "charger"}), None)


_LINK_WORDS: Final = {
    "fuse": "the fuse is its only way in",
    "ferrite bead": "the bead is its only way in",
    "zero-ohm link": "the link is its only way in",
    "jumper": "the jumper is its only way in",
    "current shunt": "the shunt is in series with it",
    "switching inductor": "the converter has no inductor",
    "load switch": "the load switch is its only way in",
}


def _between_grounds(gap: Gap, first: str, second: str) -> Absence:
    rails = gap.circuit.rails
    shell = next(
        (net for net in (first, second) if any(w in net.upper() for w in SHELL_WORDS)), None
    )
    if shell is not None:
        return minor(f"the shell ({shell}) is not tied to ground here: more interference")
    others = [
        link.part
        for link in gap.circuit.links.get(first, ())
        if link.to_net == second and link.part != gap.key and link.conditional != "not fitted"
    ]
    if others:
        return minor(f"{first} and {second} stay joined by {listed(sorted(others))}")
    ordered = sorted((first, second), key=lambda net: len(gap.circuit.board.net_by_name[net].pins))
    lost = [key for key in gap.telling([ordered[0]]) if key not in rails]
    what = f"what returns through it has no reference: {listed(lost)}" if lost else "it floats"
    return blocks(f"{ordered[0]} is cut off from {ordered[1]}: {what}")


SHELL_WORDS: Final = ("SHIELD", "SHLD", "SHELL", "CHASSIS", "EARTH")


def current_shunt(gap: Gap) -> Absence | None:
    """The shunt carries the whole current of a supply or of its return."""
    if gap.ends is None:
        return None
    first, second = gap.ends
    if gap.is_ground(first) != gap.is_ground(second):
        # a return: what comes in through the far side has no way back
        far = second if gap.is_ground(first) else first
        pack = gap.parts_on([far], Kind.CONNECTOR, Kind.BATTERY)
        readers = gap.chips_on(*gap.island(far)) if gap.is_signal(far) else ()
        effects = [f"{far} has no way to {first if far == second else second}"]
        if pack:
            effects[0] += f": no current flows through {listed(pack)}"
        if readers:
            effects.append(f"{listed(readers)} measures nothing")
        return blocks(*effects)
    if gap.is_ground(first) and gap.is_ground(second):
        return blocks(f"{first} and {second} are apart: the current has no way back")
    return supply_link(gap)


def rail_capacitor(gap: Gap) -> Absence | None:
    """A decoupling or bulk capacitor: how much of its rail's capacitance goes with it."""
    if gap.ends is None:
        return None
    rail = next((net for net in gap.ends if gap.is_supply(net)), None)
    if rail is None:
        return _own_supply(gap)
    bank = _bank(gap, rail)
    near = _served(gap, rail)
    own = gap.circuit.kinds[gap.key].farads
    others = {key: farads for key, farads in bank.items() if key != gap.key}
    serves = f" at {near}" if near else ""
    behind = _behind_link(gap, rail)
    if not others and behind is not None:
        text = f"{rail} keeps no capacitor of its own{serves}, only those behind {behind}"
        return degrades(text) if _makes(gap, rail) else minor(text)
    if not others:
        source = gap.circuit.rails[rail].source
        effect = f"{rail} has no capacitor left: it ripples and dips with every change of load"
        if _makes(gap, rail):
            return degrades(effect, f"{source} may become unstable")
        return degrades(effect)
    whole = sum(bank.values())
    if own is None or not whole:
        return minor(f"{rail} keeps {_count(len(others))} of {len(bank)} capacitors{serves}")
    share = own / whole
    left = engineering(sum(others.values()), "F", 3)
    text = f"{rail} keeps {left} of {engineering(whole, 'F', 3)} ({_count(len(others))} left)"
    if share > LARGE_SHARE:
        return degrades(f"{text}: more ripple{serves}, and it may dip when the load rises")
    what = "less reserve when the load rises" if share > SMALL_SHARE else "more noise on the rail"
    return minor(f"{text}: {what}{serves}")


def _makes(gap: Gap, rail: str) -> bool:
    """Return whether a chip makes the rail, so that it needs a capacitor at its output."""
    source = gap.circuit.rails[rail].source
    return source is not None and gap.kind_of(source) is Kind.IC


def _behind_link(gap: Gap, rail: str) -> str | None:
    """Return the part of no resistance that joins the rail to capacitors of another."""
    for link in gap.circuit.links.get(rail, ()):
        if link.kind not in _STIFF or link.conditional == "not fitted":
            continue
        if gap.is_supply(link.to_net) and set(_bank(gap, link.to_net)) - {gap.key}:
            return f"{link.part}, if it is closed" if link.conditional else link.part
    return None


_STIFF: Final = frozenset({"zero-ohm link", "current shunt", "jumper header", "jumper", "fuse"})


def _count(number: int) -> str:
    return f"{number} capacitor" + ("" if number == 1 else "s")


def _bank(gap: Gap, rail: str) -> dict[str, float]:
    """Return the fitted capacitors from a rail to a ground with their farads (0: not known)."""
    found: dict[str, float] = {}
    for pin in gap.circuit.board.net_by_name[rail].pins:
        kind = gap.circuit.kinds[pin.part]
        if kind.kind is not Kind.CAPACITOR or not kind.fitted:
            continue
        if any(gap.is_ground(net) for net in gap.circuit.board.part_by_key[pin.part].nets):
            found[pin.part] = kind.farads or 0.0
    return found


def _served(gap: Gap, rail: str) -> str | None:
    """Return the chip or connector whose pin on the rail is nearest to the capacitor's."""
    own = next((pin for pin in gap.part.pins if pin.net == rail), None)
    if own is None or own.x is None or own.y is None:
        return None
    best: tuple[float, str] | None = None
    for pin in gap.circuit.board.net_by_name[rail].pins:
        if gap.kind_of(pin.part) not in ACTIVE | {Kind.CONNECTOR}:
            continue
        for pad in pin.pads:
            away = hypot(pad.x - own.x, pad.y - own.y)
            if away <= NEAR_MM and (best is None or away < best[0]):
                best = away, pin.part
    return best[1] if best else None


def _own_supply(gap: Gap) -> Absence | None:
    """A capacitor at a chip's own regulator or reference pin."""
    if gap.to_fixed is None:
        return None
    signal, _ = gap.to_fixed
    chips = gap.chips_on(signal)
    if not chips:
        return None
    others = gap.parts_on([signal], Kind.CAPACITOR)
    pin = gap.pin_of(chips[0], signal)
    if others:
        return minor(f"{pin} keeps {listed(others)}: more noise there")
    return degrades(
        f"{pin} ({signal}) has no capacitor left: what the chip makes there is unstable"
    )


def converter_inductor(gap: Gap) -> Absence | None:
    """Without its inductor a converter makes nothing."""
    rails = gap.circuit.rails
    if gap.ends is None:
        return blocks("the converter has no inductor: its output is dead")
    chips = gap.chips_on(*(net for net in gap.ends if gap.is_signal(net)))
    made = [n for n in gap.ends if n in rails and rails[n].source in chips]
    made = made or [
        name
        for name, rail in rails.items()
        if rail.source is not None and rail.source in chips and rail.kind is NetKind.RAIL
    ]
    if len(made) == 1 or any(net in gap.ends for net in made):
        lost = [net for net in made if net in gap.ends] or made
        return rails_lost(gap, lost, f"{listed(chips)} has no inductor")
    who = listed(chips) or "the converter"
    return blocks(f"{who} has no inductor between {gap.ends[0]} and {gap.ends[1]}: no output")


def regulator(gap: Gap) -> Absence | None:
    """The rails it makes are dead; a linear one of fixed output too."""
    made = _made(gap)
    if made:
        return rails_lost(gap, made, "nothing else makes it" if len(made) == 1 else "nothing else "
                          "makes them")  # fmt: skip
    return unknown("which rail it makes is not seen, so what stops is not known")


def _made(gap: Gap) -> list[str]:
    found = []
    for name, rail in gap.circuit.rails.items():
        if rail.kind is NetKind.RAIL and rail.source == gap.key:
            found.append(name)
    return found


def charger(gap: Gap) -> Absence:
    """The battery is not charged; with a power path, what it feeds is dead."""
    made = [net for net in _made(gap) if not gap.is_pack(net)]
    if made:
        lost = rails_lost(gap, made, f"{gap.key} passes the supply on")
        return blocks("the battery is not charged", *lost.effects)
    return blocks("the battery is not charged")


def or_ing(gap: Gap) -> Absence | None:
    """One of several sources no longer feeds the rail."""
    fed = [net for net in gap.part.nets if gap.is_supply(net)]
    for net in fed:
        if gap.circuit.rails[net].source == gap.key:
            others = other_feeds(gap, net)
            if not others:
                return rails_lost(gap, [net], "the diode is its only way in")
            return degrades(f"{net} keeps {listed(others)} alone as its source")
    if len(fed) >= 2:
        return degrades(f"{fed[0]} and {fed[1]} no longer stand in for each other")
    return None


def power_diode(gap: Gap) -> Absence | None:
    """Reverse-polarity protection or a rectifier: in series, or across a supply."""
    if gap.ends is not None and any(gap.is_ground(net) for net in gap.ends):
        other = gap.ends[0] if gap.is_ground(gap.ends[1]) else gap.ends[1]
        if gap.role == "rectifier or freewheel diode":
            return degrades(
                f"the coil's current at {other} has no way when it is switched off: the switch "
                "there is stressed, a converter fails"
            )
        return minor(f"works, but {other} is not protected against reverse polarity")
    node = next((net for net in gap.part.nets if net in gap.circuit.survey.switching_nodes), None)
    output = next((net for net in gap.part.nets if gap.is_supply(net)), None)
    if node is not None and output is not None:
        return rails_lost(gap, [output], "the converter's diode is missing")
    found = supply_link(gap)
    if found is not None:
        return found
    chips = gap.telling(net for net in gap.part.nets if gap.is_signal(net))
    return degrades(f"the way between {listed(gap.part.nets)} is open ({listed(chips)})")


def bleeder(gap: Gap) -> Absence:
    """Discharges a rail: it works without, and stays charged longer."""
    rail = next((net for net in gap.part.nets if not gap.is_ground(net)), "the rail")
    return minor(f"{rail} stays charged for longer after power is off")


def jumper(gap: Gap) -> Absence | None:
    """A jumper or a header in series: what it joins is apart, if it was closed."""
    links = [
        link
        for net in gap.part.nets
        for link in gap.circuit.links.get(net, ())
        if link.part == gap.key
    ]
    if not links or is_closed(gap.part, gap.circuit.kinds[gap.key]) is False:
        return minor("it joins nothing unless it is closed")
    found = supply_link(gap)
    if found is None or not any(link.conditional for link in links):
        return found
    first, *rest = found.effects
    return Absence(found.severity, (f"if it was closed: {first}", *rest))


SUPPLY_RULES: Final[dict[str, Rule]] = {
    "fuse": supply_link,
    "ferrite bead": supply_link,
    "inrush limiter": supply_link,
    "zero-ohm link": supply_link,
    "filter inductor": supply_link,
    "load switch": supply_link,
    "jumper": jumper,
    "current shunt": current_shunt,
    "decoupling": rail_capacitor,
    "bulk capacitor": rail_capacitor,
    "switching inductor": converter_inductor,
    "regulator": regulator,
    "charger": charger,
    "OR-ing diode": or_ing,
    "reverse-polarity protection": power_diode,
    "rectifier or freewheel diode": power_diode,
    "bleeder": bleeder,
}
