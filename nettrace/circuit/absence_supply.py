"""What stops when a part of the supplies is missing: links, converters, chargers, diodes."""

from __future__ import annotations

from typing import Final

from nettrace.circuit.absence_rails import cathode_of, hangs_on, other_feeds, rails_lost
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
from nettrace.circuit.links import switched_way
from nettrace.circuit.roles.net_words import SUPPLY_PIN
from nettrace.circuit.series import is_closed, terminals_of

__all__ = ["SHELL_WORDS", "SUPPLY_RULES", "supply_link"]


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
            grounds = {net for net in gap.circuit.rails if gap.is_ground(net)}
            way = switched_way(gap.part, gap.circuit.board, gap.circuit.kinds, grounds)
            return _between(gap, *(way or (link.from_net, link.to_net)))
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
            if near not in rails and _is_strap(gap, near, net):
                return _signal_side(gap, near, net)
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
    if _is_strap(gap, net, near):
        held = listed([gap.pin_of(key, net) for key in gap.chips_on(net)])
        return degrades(f"{held} no longer sees {gap.with_volts(near)} on {net}: it floats")
    served = gap.telling(gap.island(net))
    if not served:
        return minor(f"{net} has nothing on it that would miss {near}")
    return blocks(f"{net} is cut off from {gap.with_volts(near)}: {listed(served)} without it")


def _is_strap(gap: Gap, net: str, rail: str) -> bool:
    """Return whether a net is only pins of chips that the rail itself supplies.

    Such a pin takes a level from the rail; it cannot be what feeds it, nor is it fed by it. A pin
    without a name may be anything, and a chip that makes supplies too.
    """
    pins = [p for p in gap.circuit.board.net_by_name[net].pins if p.part != gap.key]
    if any(gap.kind_of(pin.part) not in {*ACTIVE, *_NO_FEED} for pin in pins):
        return False
    chips = [pin for pin in pins if gap.kind_of(pin.part) in ACTIVE]
    return bool(chips) and all(
        pin.name is not None
        and pin.name not in {pin.number, "~"}
        and not SUPPLY_PIN.search(pin.name.upper())
        and gap.role_of(pin.part) not in _MAKE_SUPPLIES
        and _is_supplied(gap, pin.part, rail)
        for pin in chips
    )


#: What may stand on a strap besides chips, and roles of chips that make supplies.
_NO_FEED: Final = frozenset({Kind.RESISTOR, Kind.CAPACITOR, Kind.TEST_POINT})
_MAKE_SUPPLIES: Final = frozenset({"regulator", "charger", "load switch", "fuel gauge"})


def _is_supplied(gap: Gap, key: str, rail: str) -> bool:
    return any(
        pin.net == rail and SUPPLY_PIN.search((pin.name or "").upper())
        for pin in gap.circuit.board.part_by_key[key].pins
    )


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
        if link.to_net == second and link.part not in gap.gone and link.conditional != "not fitted"
    ]
    if others:
        return minor(f"{first} and {second} stay joined by {listed(sorted(others))}")
    ordered = sorted((first, second), key=lambda net: len(gap.circuit.board.net_by_name[net].pins))
    lost = [key for key in gap.telling([ordered[0]]) if key not in rails]
    if lost and all(_has_other_ground(gap, key, ordered[0]) for key in lost):
        return minor(
            f"{ordered[0]} floats; {listed(lost)} keeps its other ground: more interference"
        )
    what = f"what returns through it has no reference: {listed(lost)}" if lost else "it floats"
    return blocks(f"{ordered[0]} is cut off from {ordered[1]}: {what}")


def _has_other_ground(gap: Gap, key: str, lost: str) -> bool:
    if gap.kind_of(key) is not Kind.CONNECTOR:
        return False
    nets = gap.circuit.board.part_by_key[key].nets
    return any(gap.is_ground(net) and net != lost for net in nets)


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
    beside = [
        key
        for net in made
        if net in gap.ends
        for key in gap.parts_on([net], Kind.INDUCTOR)
        if _is_phase(gap, key, chips)
    ]
    if beside:
        return degrades(
            f"{listed(made)} is made through {listed(beside)} alone: it dips under load"
        )
    if len(made) == 1 or any(net in gap.ends for net in made):
        lost = [net for net in made if net in gap.ends] or made
        return rails_lost(gap, lost, f"{listed(chips)} has no inductor")
    who = listed(chips) or "the converter"
    return blocks(f"{who} has no inductor between {gap.ends[0]} and {gap.ends[1]}: no output")


def _is_phase(gap: Gap, key: str, chips: tuple[str, ...]) -> bool:
    """Return whether an inductor is another phase of the same converter."""
    nets = gap.circuit.board.part_by_key[key].nets
    signals = [net for net in nets if gap.is_signal(net)]
    return bool(set(gap.chips_on(*signals)) & set(chips))


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
    back = _back_feed(gap)
    if back is not None:
        return back
    fed = [net for net in gap.part.nets if gap.is_supply(net)]
    cathode = cathode_of(gap, gap.key)
    if cathode in fed and cathode is not None:
        source = gap.circuit.rails[cathode].source
        others = other_feeds(gap, cathode)
        if source not in (None, gap.key):
            others = (str(source), *others)
        if not others:
            return rails_lost(gap, [cathode], "the diode is its only way in")
        return degrades(f"{cathode} keeps {listed(others)} alone as its source")
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
    fed = _back_feed(gap)
    if fed is not None:
        return fed
    node = next((net for net in gap.part.nets if net in gap.circuit.survey.switching_nodes), None)
    output = next((net for net in gap.part.nets if gap.is_supply(net)), None)
    if node is not None and output is not None:
        return rails_lost(gap, [output], "the converter's diode is missing")
    found = supply_link(gap)
    if found is not None:
        return found
    chips = gap.telling(net for net in gap.part.nets if gap.is_signal(net))
    return degrades(f"the way between {listed(gap.part.nets)} is open ({listed(chips)})")


def _back_feed(gap: Gap) -> Absence | None:
    """A diode from a regulator's output back to its input."""
    if gap.ends is None or not all(gap.is_supply(net) for net in gap.ends):
        return None
    for output, into in (gap.ends, gap.ends[::-1]):
        source = gap.circuit.rails[output].source
        if source is None or gap.kind_of(source) is not Kind.IC:
            continue
        if into in gap.circuit.board.part_by_key[source].nets and hangs_on(gap, output, into):
            return minor(f"works, but {source} is not protected when {into} falls below {output}")
    return None


def bleeder(gap: Gap) -> Absence:
    """Discharges a rail: it works without, and stays charged longer."""
    rail = next((net for net in gap.part.nets if not gap.is_ground(net)), "the rail")
    if any(word in rail.upper() for word in SHELL_WORDS):
        return minor(f"the shell ({rail}) is not tied to ground here: static stays on it")
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
    "switching inductor": converter_inductor,
    "regulator": regulator,
    "charger": charger,
    "OR-ing diode": or_ing,
    "reverse-polarity protection": power_diode,
    "rectifier or freewheel diode": power_diode,
    "bleeder": bleeder,
}
