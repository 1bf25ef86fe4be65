"""What stops when a chip, a plug, a clock or a protection part is missing."""

from __future__ import annotations

from typing import Final

from nettrace.circuit.absence import Gap, blocks, bus_name, degrades, listed, minor, unknown
from nettrace.circuit.absence_lines import cut_line
from nettrace.circuit.absence_supply import rails_lost, supply_link
from nettrace.circuit.evidence import Absence
from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles.survey import CHIPS
from nettrace.circuit.series import terminals_of
from nettrace.model.names import natural_key

#: A pack's plug has no more pins (common practice, no source).
MOST_PACK_PINS: Final = 12
#: A watch crystal's frequency, Hz: the clock of day and sleep, not of the processor.
WATCH_HERTZ: Final = 32768.0


def protection(gap: Gap) -> Absence | None:
    """ESD protection: the board works, a contact is open to static; unless lines pass through."""
    through = {
        (min(link.from_net, link.to_net), max(link.from_net, link.to_net))
        for link in gap.links(*gap.signals, through=gap.key)
        if not link.conditional and gap.is_signal(link.to_net)
    }
    for first, second in sorted(through):
        found = cut_line(gap, first, second)
        if found is not None:
            return found
    supplies = [net for net in gap.live if gap.is_supply(net)]
    plugs = gap.parts_on(gap.signals, Kind.CONNECTOR) or gap.parts_on(supplies, Kind.CONNECTOR)
    where = f" at {listed(plugs[:2])}" if plugs else ""
    verb = "is" if len(gap.live) == 1 else "are"
    what = "static and surges" if supplies else "static"
    return minor(f"works, but {listed(gap.live)}{where} {verb} open to {what}")


def bootstrap(gap: Gap) -> Absence | None:
    """The upper switch of a converter has no drive."""
    chips = gap.chips_on(*gap.signals)
    made = gap.made_by(*chips)
    why = f"the upper switch of {listed(chips) or 'the converter'} has no drive"
    return rails_lost(gap, made, why) if made else blocks(f"{why}: no output")


def crystal(gap: Gap) -> Absence:
    """The chip has no clock."""
    who = listed(gap.chips_on(*gap.signals)) or "its chip"
    if gap.kind.hertz == WATCH_HERTZ:
        return degrades(f"{who} has no 32.768 kHz clock: time of day and sleep fail")
    return blocks(f"{who} has no clock from {gap.part.refdes}: it does not run, or not wholly")


def crystal_load(gap: Gap) -> Absence:
    """The crystal runs off frequency, or does not start."""
    who = listed(gap.parts_on(gap.signals, Kind.CRYSTAL)) or "the crystal"
    return degrades(f"{who} lacks a load capacitor: it runs too fast, or does not start")


def oscillator(gap: Gap) -> Absence:
    """No clock for whoever takes it."""
    chips = gap.chips_on(*_reached(gap))
    if len(chips) > 1:
        return blocks(f"{listed(chips)} have no clock from {gap.part.refdes}")
    return blocks(f"{listed(chips) or 'what takes its clock'} has no clock")


def _reached(gap: Gap) -> list[str]:
    """Return the nets that the part's signals reach through series parts."""
    return [net for signal in gap.signals for net in gap.island(signal)]


def level_shifter(gap: Gap) -> Absence | None:
    """The two sides no longer hear each other."""
    effects = []
    for first, second in sorted(gap.pairs, key=lambda pair: natural_key(pair[0])):
        sides = [gap.chips_on(*gap.island(net)) for net in (first, second)]
        text = f"{first} and {second} are apart"
        if all(sides):
            few, many = sorted(sides, key=len)
            reach = "reaches" if len(few) == 1 else "reach"
            text += f": {listed(few)} no longer {reach} {listed(many)}"
        effects.append(text)
    return blocks(*effects[:4]) if effects else None


def load_switch(gap: Gap) -> Absence | None:
    """A switch of a rail that is not seen, or of a lamp."""
    if gap.kind.kind in CHIPS:
        return unknown("which rail it switches is not seen, so what stops is not known")
    return switching_transistor(gap)


def switching_transistor(gap: Gap) -> Absence | None:
    """What it switches is not switched any more."""
    if any(gap.rails[net].source == gap.key for net in gap.supplies):
        return supply_link(gap)
    ends = terminals_of(gap.part)
    channel = (ends.drain, ends.source) if ends else gap.nets
    switched = [net for net in channel if gap.is_signal(net)]
    if not switched:
        return None
    served = gap.telling(n for net in switched for n in gap.island(net))
    if served and all(gap.kind_of(key) is Kind.LED for key in served):
        return minor(f"the lamp {listed(served)} stays dark")
    verb = "is" if len(set(switched)) == 1 else "are"
    effect = f"{listed(switched)} {verb} no longer switched"
    return degrades(f"{effect} ({listed(served)})" if served else effect)


def switch(gap: Gap) -> Absence | None:
    """A button cannot be pressed; a switch in a supply leaves it open."""
    if gap.kind.kind in CHIPS:
        served = gap.hearers(gap.signals or gap.nets)
        return _chip(gap, f"what it switches is cut off: {listed(served)}")
    found = supply_link(gap) if gap.supplies else None
    if found is not None:
        return found
    nets = [net for net in gap.signals if not gap.open_pin(net)]
    if len(gap.live) < len(gap.nets) or len(nets) < 2:
        return degrades(f"{listed(nets)} can no longer be switched by hand")
    return degrades(f"{listed(nets)} stay apart: the switch cannot be closed")


def connector(gap: Gap) -> Absence:
    """What comes in and goes out by it."""
    refdes = gap.part.refdes
    fed = [net for net in gap.supplies if gap.rails[net].source == gap.key]
    pack = [net for net in gap.supplies if gap.is_pack(net)]
    if len(gap.part.pins) > MOST_PACK_PINS:
        pack = []  # a header that has the battery's rail among others
    beside = gap.parts_on(pack[:1], Kind.CONNECTOR, Kind.BATTERY)
    effects: list[str] = []
    if beside:
        effects.append(
            f"a battery that was at {refdes} is cut off; {pack[0]} also comes to {listed(beside)}"
        )
    elif pack:
        effects.append(
            "the battery is cut off: no operation without an outside supply, no charging"
        )
    elif fed:
        effects.extend(rails_lost(gap, fed, f"it comes in by {refdes}").effects)
    buses = [bus_name(bus) for bus in gap.around.buses if gap.key in bus.parts]
    signals = [net for net in gap.signals if not gap.open_pin(net)]
    if buses or signals:
        effects.append(f"not brought out any more: {listed(buses or signals)}")
    if (fed and not pack) or (pack and not beside):
        return blocks(*effects)
    if len(gap.nets) <= 2 and refdes.upper().startswith("ANT"):
        return degrades(f"the radio at {listed(signals)} has no antenna: hardly any range")
    if not effects:
        return minor("nothing but supply and ground is brought out by it")
    return degrades(*effects)


def battery(gap: Gap) -> Absence:
    """No operation without a supply from outside; a source of a simulation is on no board."""
    if gap.kind.kind is Kind.SOURCE:
        text = f"nothing drives {gap.live_nets}; a deck's source stands for what is outside"
        return unknown(text)
    return blocks("the board runs from an outside supply alone")


# -- chips -------------------------------------------------------------------------------------


def _chip(gap: Gap, what: str) -> Absence:
    made = gap.made_by(gap.key)
    lost = rails_lost(gap, made, f"{gap.part.refdes} makes it").effects if made else ()
    return blocks(what, *lost)


def controller(gap: Gap) -> Absence:
    """Nothing runs."""
    return _chip(gap, "the controller is missing: nothing it runs works")


def interface_chip(gap: Gap) -> Absence:
    """What it joins is apart."""
    plugs = gap.parts_on(_reached(gap), Kind.CONNECTOR)
    to = f" (towards {listed(plugs[:3])})" if plugs else ""
    return _chip(gap, f"{gap.user} loses what {gap.part.refdes} does for it{to}")


def plain_chip(gap: Gap) -> Absence:
    """A logic chip, an amplifier: what hangs on its lines hears nothing of it."""
    others = gap.hearers(_reached(gap))
    towards = f": {listed(others)} without it" if others else ""
    return _chip(gap, f"the lines through {gap.part.refdes} are dead{towards}")


def sensor(gap: Gap) -> Absence:
    """What it measures is missing."""
    if gap.kind.kind is Kind.MICROPHONE:
        return degrades(f"{gap.part.refdes} picks up no sound; the rest works")
    return degrades(f"{gap.user} has nothing to read from {gap.part.refdes}; the rest works")
