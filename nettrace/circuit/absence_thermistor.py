"""A thermistor's line with a part missing: how the chip that reads it then sees the temperature.

The thermistor falls with heat (NTC) and stands to ground unless it is seen to go to a supply. Open
reads as coldest, 0 V as hottest; a charger charges at neither (JEITA guideline of 20 April 2007,
cold below 0 °C, hot above 60 °C).
"""

from __future__ import annotations

from nettrace.circuit.absence_site import Gap, blocks, degrades, listed, unknown
from nettrace.circuit.evidence import Absence
from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles.net_words import THERMISTOR_LINE

__all__ = ["reading_of", "thermistor_bias", "thermistor_cut"]


def is_thermistor_line(gap: Gap, nets: tuple[str, ...]) -> bool:
    """Return whether a thermistor is on the line, or its name or a chip's pin says so."""
    if gap.parts_on(nets, Kind.THERMISTOR):
        return True
    return any(THERMISTOR_LINE.search(gap.pin_words(net)) for net in nets)


def reading_of(gap: Gap, readers: tuple[str, ...], net: str, state: str) -> Absence:
    """Return how the readers see the line: `state` is coldest or hottest."""
    why = {
        "coldest": f"{net} reads as coldest, as with an open thermistor",
        "hottest": f"{net} lies at 0 V, which reads as hottest",
    }[state]
    chargers = [key for key in readers if gap.role_of(key) == "charger" or _charges(gap, key)]
    if chargers:
        return blocks(f"{why}: {listed(chargers)} refuses to charge")
    gauges = [key for key in readers if gap.role_of(key) == "fuel gauge"]
    if gauges:
        return degrades(
            f"{why}: {listed(gauges)} reports a wrong temperature, charging may be refused"
        )
    if readers:
        return degrades(f"{why}: {listed(readers)} sees a wrong temperature")
    return unknown(f"{why}; which chip reads it cannot be seen in these sources")


def _charges(gap: Gap, key: str) -> bool:
    return any(role.role == "charger" and role.score >= 0.5 for role in gap.circuit.roles(key))


def _pack_or_thermistor(gap: Gap, nets: tuple[str, ...]) -> bool:
    return bool(gap.parts_on(nets, Kind.THERMISTOR, Kind.CONNECTOR, Kind.BATTERY))


def thermistor_bias(gap: Gap) -> Absence | None:
    """The fixed resistor, or the thermistor, from the line to a supply or to ground is gone."""
    if gap.to_fixed is None:
        return None
    signal, far = gap.to_fixed
    nets = gap.island(signal)
    if gap.role == "thermistor bias" or is_thermistor_line(gap, nets):
        readers = gap.chips_on(*nets)
        to_supply = _thermistor_to_supply(gap, nets)
        at_supply = gap.is_supply(far)
        if gap.role == "thermistor":
            to_supply = at_supply
            others = [p for p in gap.circuit.pulls.get(signal, ()) if p.part != gap.key]
            if not others and not to_supply and len(readers) == 1:
                pass  # biased by the chip itself: open all the same
            state = "coldest"
            return reading_of(gap, readers, signal, state)
        if at_supply and not to_supply:
            if not _pack_or_thermistor(gap, nets):
                return None
            return reading_of(gap, readers, signal, "hottest")
        if not at_supply and to_supply:
            return reading_of(gap, readers, signal, "hottest")
        return degrades(f"{signal} is no longer shunted to {far}: {listed(readers) or 'its reader'} "
                        "reads it as colder than it is")  # fmt: skip
    return None


def _thermistor_to_supply(gap: Gap, nets: tuple[str, ...]) -> bool:
    for key in gap.parts_on(nets, Kind.THERMISTOR):
        if any(gap.is_supply(net) for net in gap.circuit.board.part_by_key[key].nets):
            return True
    return False


def thermistor_cut(gap: Gap, first: str, second: str) -> Absence | None:
    """A part in series between the thermistor (or the pack's contact) and the chip is gone."""
    for own, other in ((first, second), (second, first)):
        mine, theirs = gap.island(own), gap.island(other)
        if other in mine:
            return None
        readers = gap.chips_on(*mine)
        if not readers or gap.chips_on(*theirs) or not _pack_or_thermistor(gap, theirs):
            continue
        if not is_thermistor_line(gap, mine) and not is_thermistor_line(gap, theirs):
            continue
        if _pack_or_thermistor(gap, mine):
            return None
        ups = [
            pull
            for net in mine
            for pull in gap.circuit.pulls.get(net, ())
            if pull.direction == "up" and pull.fitted and pull.part != gap.key
        ]
        found = reading_of(gap, readers, own, "coldest")
        if ups:
            to = ups[0].to
            text = f"{own} is pulled to {gap.with_volts(to)} by {ups[0].part}; "
            return Absence(found.severity, (text + found.effects[0], *found.effects[1:]))
        return found
    return None
