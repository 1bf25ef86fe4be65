"""A thermistor's line with a part missing: how the chip that reads it then sees the temperature.

The thermistor falls with heat (NTC) and stands to ground unless it is seen to go to a supply. Open
reads as coldest, 0 V as hottest; a charger charges at neither (JEITA guideline of 20 April 2007,
cold below 0 °C, hot above 60 °C).
"""

from __future__ import annotations

import re
from typing import Final

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
    """Return how the readers see the line: `state` is coldest, hottest or pulled up."""
    why = {
        "coldest": f"{net} reads as coldest, as with an open thermistor",
        "hottest": f"{net} lies at 0 V, which reads as hottest",
        "pulled up": f"{net} is held up by the thermistor alone, which reads as hottest",
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
    ends = gap.to_fixed or _to_reference(gap)
    if ends is None:
        return None
    signal, far = ends
    nets = gap.island(signal)
    if gap.role != "thermistor bias" and not is_thermistor_line(gap, nets):
        return None
    readers = gap.chips_on(*nets)
    if gap.role == "thermistor":
        return reading_of(gap, readers, signal, "coldest")
    to_supply = _thermistor_to_supply(gap, nets)
    shunted = gap.is_supply(far) if to_supply else gap.is_ground(far)
    if not shunted:
        if not _pack_or_thermistor(gap, nets):
            return None
        return reading_of(gap, readers, signal, "pulled up" if to_supply else "hottest")
    return degrades(
        f"{signal} is no longer shunted to {far}: {listed(readers) or 'its reader'} reads it as "
        "colder than it is"
    )


def _to_reference(gap: Gap) -> tuple[str, str] | None:
    """Return (line, reference) where a chip's own reference output feeds the line."""
    if gap.ends is None or not all(gap.is_signal(net) for net in gap.ends):
        return None
    for line, far in (gap.ends, gap.ends[::-1]):
        if gap.role == "thermistor bias" and gap.parts_on([line], Kind.THERMISTOR):
            return line, far
        if not is_thermistor_line(gap, (line,)) or is_thermistor_line(gap, (far,)):
            continue
        if _REFERENCE.search(gap.pin_words(far)) and gap.chips_on(far):
            return line, far
    return None


#: A chip's output that biases what is outside it (common practice, no source).
_REFERENCE: Final = re.compile(r"REF|BIAS|VLDO|REGN|VREG|VDD|VCC|LDO|TSB")


def _pulled_to(gap: Gap, nets: tuple[str, ...]) -> tuple[str, str] | None:
    """Return (resistor, rail or reference) of what holds the line up."""
    for net in nets:
        for pull in gap.circuit.pulls.get(net, ()):
            if pull.direction == "up" and pull.fitted and pull.part not in gap.gone:
                return pull.part, pull.to
    for net in nets:
        for link in gap.circuit.links.get(net, ()):
            if link.kind != "resistor" or link.part in gap.gone or gap.is_ground(link.to_net):
                continue
            if _REFERENCE.search(gap.pin_words(link.to_net)):
                return link.part, link.to_net
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
        found = reading_of(gap, readers, own, "coldest")
        pulled = _pulled_to(gap, mine)
        if pulled is not None:
            part, to = pulled
            text = f"{own} is pulled to {gap.with_volts(to)} by {part}; "
            return Absence(found.severity, (text + found.effects[0], *found.effects[1:]))
        return found
    return None
