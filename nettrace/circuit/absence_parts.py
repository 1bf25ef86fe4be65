"""What stops when a chip, a plug, a clock or a protection part is missing."""

from __future__ import annotations

from typing import Final

from nettrace.circuit.absence_lines import cut_line
from nettrace.circuit.absence_rails import rails_lost
from nettrace.circuit.absence_site import (
    ACTIVE,
    Gap,
    Rule,
    blocks,
    bus_name,
    degrades,
    listed,
    minor,
    unknown,
)
from nettrace.circuit.absence_supply import supply_link
from nettrace.circuit.evidence import Absence
from nettrace.circuit.kinds import Kind
from nettrace.circuit.series import terminals_of
from nettrace.model.names import natural_key

__all__ = ["PART_RULES"]

#: A pack's plug has no more pins (common practice, no source).
MOST_PACK_PINS: Final = 12
#: A watch crystal's frequency, Hz: the clock of day and sleep, not of the processor.
WATCH_HERTZ: Final = 32768.0


def protection(gap: Gap) -> Absence | None:
    """ESD protection: the board works, a contact is open to static; unless lines pass through."""
    through = {
        tuple(sorted((link.from_net, link.to_net)))
        for link in gap.circuit.links_through.get(gap.key, ())
        if not link.conditional and gap.is_signal(link.to_net)
    }
    lines = [pair for pair in sorted(through) if all(gap.is_signal(net) for net in pair)]
    for first, second in lines:
        found = cut_line(gap, first, second)
        if found is not None:
            return found
    kept = [net for net in gap.part.nets if not gap.is_ground(net)]
    plugs = gap.parts_on((net for net in kept if gap.is_signal(net)), Kind.CONNECTOR)
    plugs = plugs or gap.parts_on((net for net in kept if gap.is_supply(net)), Kind.CONNECTOR)
    where = f" at {listed(plugs[:2])}" if plugs else ""
    what = "static and surges" if any(gap.is_supply(net) for net in kept) else "static"
    return minor(f"works, but {listed(kept)}{where} {_is(kept)} open to {what}")


def _is(names: list[str]) -> str:
    return "is" if len(names) == 1 else "are"


def clamp(gap: Gap) -> Absence:
    """A Zener clamp: works, nothing limits the voltage."""
    nets = [net for net in gap.part.nets if not gap.is_ground(net)]
    return minor(f"works, but nothing limits the voltage of {listed(nets)}")


def snubber(_: Gap) -> Absence:
    """A snubber: works, with ringing."""
    return minor("works, with more ringing and interference at the switching edge")


def feed_forward(_: Gap) -> Absence:
    """A feed-forward capacitor: the regulator answers more slowly."""
    return minor("the regulator answers changes of load more slowly; its output may ring")


def bootstrap(gap: Gap) -> Absence | None:
    """The upper switch of a converter has no drive."""
    chips = gap.chips_on(*(net for net in gap.part.nets if gap.is_signal(net)))
    made = [
        name
        for name, rail in gap.circuit.rails.items()
        if rail.source in chips and gap.is_supply(name)
    ]
    why = f"the upper switch of {listed(chips) or 'the converter'} has no drive"
    return rails_lost(gap, made, why) if made else blocks(f"{why}: no output")


def crystal(gap: Gap) -> Absence:
    """The chip has no clock."""
    chips = gap.chips_on(*(net for net in gap.part.nets if gap.is_signal(net)))
    who = listed(chips) or "its chip"
    if gap.circuit.kinds[gap.key].hertz == WATCH_HERTZ:
        return degrades(f"{who} has no 32.768 kHz clock: time of day and sleep fail")
    return blocks(f"{who} has no clock from {gap.part.refdes}: it does not run, or not wholly")


def crystal_load(gap: Gap) -> Absence:
    """The crystal runs off frequency, or does not start."""
    crystals = gap.parts_on((net for net in gap.part.nets if gap.is_signal(net)), Kind.CRYSTAL)
    who = listed(crystals) or "the crystal"
    return degrades(f"{who} lacks a load capacitor: it runs too fast, or does not start")


def crystal_feedback(_: Gap) -> Absence:
    """The oscillator may not start."""
    return degrades("the oscillator may not start, unless the chip has this resistor inside")


def oscillator(gap: Gap) -> Absence:
    """No clock for whoever takes it."""
    nets = [net for net in gap.part.nets if gap.is_signal(net)]
    chips = gap.chips_on(*(n for net in nets for n in gap.island(net)))
    if len(chips) > 1:
        return blocks(f"{listed(chips)} have no clock from {gap.part.refdes}")
    return blocks(f"{listed(chips) or 'what takes its clock'} has no clock")


def lamp(_: Gap) -> Absence:
    """The lamp is dark."""
    return minor("the lamp stays dark")


def level_shifter(gap: Gap) -> Absence | None:
    """The two sides no longer hear each other."""
    pairs = {
        tuple(sorted((link.from_net, link.to_net)))
        for net in gap.part.nets
        for link in gap.circuit.links.get(net, ())
        if link.part == gap.key
    }
    if not pairs:
        return None
    effects = []
    for first, second in sorted(pairs, key=lambda pair: natural_key(pair[0])):
        sides = [gap.chips_on(*gap.island(net)) for net in (first, second)]
        text = f"{first} and {second} are apart"
        if all(sides):
            few, many = sorted(sides, key=len)
            text += f": {listed(few)} no longer reach{'es' if len(few) == 1 else ''} {listed(many)}"
        effects.append(text)
    return blocks(*effects[:4])


def load_switch(gap: Gap) -> Absence | None:
    """The switched rail is dead; of many, the first that is found."""
    found = supply_link(gap)
    if found is not None:
        return found
    if gap.kind_of(gap.key) in ACTIVE:
        return unknown("which rail it switches is not seen, so what stops is not known")
    return switching_transistor(gap)


def switching_transistor(gap: Gap) -> Absence | None:
    """What it switches is not switched any more."""
    rails = [net for net in gap.part.nets if gap.is_supply(net)]
    for net in rails:
        if gap.circuit.rails[net].source == gap.key:
            return supply_link(gap)
    ends = terminals_of(gap.part)
    switched = [
        n for n in ((ends.drain, ends.source) if ends else gap.part.nets) if gap.is_signal(n)
    ]
    served = gap.telling(n for net in switched for n in gap.island(net))
    if served and all(gap.kind_of(key) is Kind.LED for key in served):
        return minor(f"the lamp {listed(served)} stays dark")
    if not switched:
        return None
    what = listed(served)
    verb = "is" if len(set(switched)) == 1 else "are"
    effect = f"{listed(switched)} {verb} no longer switched"
    return degrades(effect + (f" ({what})" if what else ""))


def switch(gap: Gap) -> Absence | None:
    """A button cannot be pressed; a switch in a supply leaves it open."""
    if gap.kind_of(gap.key) in ACTIVE:
        served = gap.hearers([net for net in gap.part.nets if gap.is_signal(net)] or gap.part.nets)
        return _chip(gap, f"what it switches is cut off: {listed(served)}")
    found = supply_link(gap) if any(gap.is_supply(net) for net in gap.part.nets) else None
    if found is not None:
        return found
    nets = [net for net in gap.part.nets if gap.is_signal(net) and not gap.open_pin(net)]
    if any(gap.is_ground(net) for net in gap.part.nets) or len(nets) < 2:
        return degrades(f"{listed(nets)} can no longer be switched by hand")
    return degrades(f"{listed(nets)} stay apart: the switch cannot be closed")


def connector(gap: Gap) -> Absence:
    """What comes in and goes out by it."""
    nets = gap.part.nets
    rails = gap.circuit.rails
    fed = [net for net in nets if gap.is_supply(net) and rails[net].source == gap.key]
    pack = [net for net in nets if gap.is_supply(net) and gap.is_pack(net)]
    if len(gap.part.pins) > MOST_PACK_PINS:
        pack = []  # a header that has the battery's rail among others
    effects: list[str] = []
    beside = gap.parts_on(pack[:1], Kind.CONNECTOR, Kind.BATTERY)
    if beside:
        effects.append(
            f"a battery that was at {gap.part.refdes} is cut off; {pack[0]} also comes to "
            f"{listed(beside)}"
        )
    elif pack:
        effects.append(
            "the battery is cut off: no operation without an outside supply, no charging"
        )
    elif fed:
        lost = rails_lost(gap, fed, f"it comes in by {gap.part.refdes}")
        effects.extend(lost.effects)
    buses = [bus_name(bus) for bus in gap.circuit.buses_of.get(gap.key, ())]
    if buses:
        effects.append(f"not brought out any more: {listed(buses)}")
    signals = [net for net in nets if gap.is_signal(net) and not gap.open_pin(net)]
    if signals and not buses:
        effects.append(f"not brought out any more: {listed(signals)}")
    if (fed and not pack) or (pack and not beside):
        return blocks(*effects)
    if len(nets) <= 2 and gap.part.refdes.upper().startswith("ANT"):
        return degrades(f"the radio at {listed(signals)} has no antenna: hardly any range")
    if not effects:
        return minor("nothing but supply and ground is brought out by it")
    return degrades(*effects)


def battery(gap: Gap) -> Absence:
    """No operation without a supply from outside; a source of a simulation is on no board."""
    if gap.kind_of(gap.key) is Kind.SOURCE:
        fed = [net for net in gap.part.nets if not gap.is_ground(net)]
        return unknown(f"nothing drives {listed(fed)}; a deck's source stands for what is outside")
    return blocks("the board runs from an outside supply alone")


def _chip(gap: Gap, what: str) -> Absence:
    made = [
        name
        for name, rail in gap.circuit.rails.items()
        if rail.source == gap.key and gap.is_supply(name)
    ]
    if made:
        return blocks(what, *rails_lost(gap, made, f"{gap.part.refdes} makes it").effects)
    return blocks(what)


def controller(gap: Gap) -> Absence:
    """Nothing runs."""
    return _chip(gap, "the controller is missing: nothing it runs works")


def fuel_gauge(_: Gap) -> Absence:
    """No battery figure."""
    return degrades("no battery figure: state of charge and current are not known")


def memory(gap: Gap) -> Absence:
    """What is stored in it is missing."""
    users = _users(gap)
    return blocks(
        f"{users} cannot reach its memory {gap.part.refdes}: what needs it does not start"
    )


def _users(gap: Gap) -> str:
    nets = [net for net in gap.part.nets if gap.is_signal(net)]
    counts: dict[str, int] = {}
    for net in nets:
        for key in gap.chips_on(*gap.island(net)):
            counts[key] = counts.get(key, 0) + 1
    best = sorted(counts, key=lambda key: (-counts[key], natural_key(key)))
    return best[0] if best else "its controller"


def interface_chip(gap: Gap) -> Absence:
    """What it joins is apart."""
    plugs = gap.parts_on(
        (n for net in gap.part.nets if gap.is_signal(net) for n in gap.island(net)), Kind.CONNECTOR
    )
    to = f" (towards {listed(plugs[:3])})" if plugs else ""
    return _chip(gap, f"{_users(gap)} loses what {gap.part.refdes} does for it{to}")


def plain_chip(gap: Gap) -> Absence:
    """A logic chip, an amplifier: what hangs on its lines hears nothing of it."""
    nets = [net for net in gap.part.nets if gap.is_signal(net)]
    others = gap.hearers(n for net in nets for n in gap.island(net))
    towards = f": {listed(others)} without it" if others else ""
    return _chip(gap, f"the lines through {gap.part.refdes} are dead{towards}")


def clock_chip(gap: Gap) -> Absence:
    """No time of day."""
    return degrades(f"{_users(gap)} has no time of day while it is off")


def sensor(gap: Gap) -> Absence:
    """What it measures is missing."""
    if gap.kind_of(gap.key) is Kind.MICROPHONE:
        return degrades(f"{gap.part.refdes} picks up no sound; the rest works")
    return degrades(f"{_users(gap)} has nothing to read from {gap.part.refdes}; the rest works")


def sounder(gap: Gap) -> Absence:
    """Silent."""
    return degrades(f"{gap.part.refdes} is silent; the rest works")


def measuring_point(_: Gap) -> Absence:
    """A place to measure is missing, no more."""
    return minor("nothing stops; a place to measure is missing")


def mechanical(_: Gap) -> Absence:
    """Nothing electrical, but for a pad on ground."""
    return minor("nothing electrical stops")


PART_RULES: Final[dict[str, Rule]] = {
    "ESD protection": protection,
    "Zener clamp": clamp,
    "snubber": snubber,
    "feed-forward": feed_forward,
    "bootstrap": bootstrap,
    "crystal": crystal,
    "crystal load": crystal_load,
    "crystal feedback resistor": crystal_feedback,
    "oscillator": oscillator,
    "LED": lamp,
    "level shifter": level_shifter,
    "load switch": load_switch,
    "switching transistor": switching_transistor,
    "switch": switch,
    "connector": connector,
    "battery": battery,
    "controller": controller,
    "fuel gauge": fuel_gauge,
    "memory": memory,
    "interface chip": interface_chip,
    "logic": plain_chip,
    "amplifier": plain_chip,
    "real-time clock": clock_chip,
    "sensor": sensor,
    "sounder or motor": sounder,
    "test point": measuring_point,
    "mechanical": mechanical,
}
