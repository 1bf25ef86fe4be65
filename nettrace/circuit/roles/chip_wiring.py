"""Roles of chips from what they are wired to: rails, inductors, taps, buses, plugs."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles.net_words import FEEDBACK_PIN, Words, words_of
from nettrace.circuit.roles.site import (
    LIKELY,
    POSSIBLE,
    WEAK,
    Finding,
    Site,
    found,
    only_for,
)
from nettrace.circuit.roles.survey import plain_name

__all__ = [
    "POSSIBLE_CHIP",
    "SMALL_PINS",
    "is_power_manager",
    "protection_by_wiring",
    "regulator_by_wiring",
    "small_chip",
]

#: Kinds that may be a chip.
POSSIBLE_CHIP: Final = frozenset(
    {Kind.IC, Kind.MODULE, Kind.OSCILLATOR, Kind.DISPLAY, Kind.UNKNOWN}
)


#: A fixed regulator has at most this many pins.
SMALL_PINS: Final = 8


def is_power_manager(site: Site) -> bool:
    """Return whether the chip switches several inductors and has a battery on it."""
    nodes = sum(net in site.survey.switching_nodes for net in site.nets)
    battery = any("BAT" in words_of(net) for net in site.nets)
    return nodes >= 2 and battery and len(site.part.pins) > SMALL_PINS


@only_for(*POSSIBLE_CHIP)
def regulator_by_wiring(site: Site) -> Iterable[Finding]:
    """Switches an inductor, or stands between two rails with little else."""
    survey, part = site.survey, site.part
    nodes = [net for net in site.nets if net in survey.switching_nodes]
    grounds = [net for net in site.nets if survey.is_ground(net)]
    gates = sum(_GATE_DRIVE.search(words_of(net)) for net in site.nets)
    if nodes and gates and len(part.pins) <= MOST_STAGE_PINS:
        yield found("switching transistor", 0.9, f"driven gates, and the inductor on {nodes[0]}")
    if nodes and grounds:
        big = part.key == survey.main_chip and len(part.pins) > 32
        yield found("regulator", WEAK if big else 0.87, f"switches the inductor on {nodes[0]}")
        if is_power_manager(site):
            yield found("charger", POSSIBLE, "with a battery on it")
            yield found("fuel gauge", WEAK, "with a battery on it")
    supplies = [net for net in site.nets if survey.is_supply(net)]
    made = [net for net in supplies if survey.rails[net].source == part.key]
    names = {plain_name(pin.name) for pin in part.pins}
    inputs = names & {"VIN", "IN", "VCC", "VI", "INPUT"}
    outputs = names & {"VOUT", "OUT", "VO", "OUTPUT"}
    yield from _feedback(site)
    if inputs and outputs and len(part.pins) <= SMALL_PINS and supplies:
        yield found("regulator", 0.72, "pins in and out")
        yield found("load switch", 0.4, "pins in and out")
        return
    if len(part.pins) > SMALL_PINS:
        return
    signals = len(site.nets) - len(supplies) - len(grounds)
    if not grounds:
        if supplies and len(site.nets) == 3 and site.what is Kind.IC and signals <= 2:
            score = 0.72 if len(supplies) == 2 else 0.6
            yield found("load switch", score, "a supply passes it, one more net, and no ground: a "
                        "transistor in a chip's package")  # fmt: skip
            yield found("switching transistor", 0.45, "three nets and no ground")
        return
    if len(supplies) == 2 and signals <= 3 and site.what is Kind.IC:
        line = f"between the rails {supplies[0]} and {supplies[1]}"
        alike = _same_volts(site, supplies[0], supplies[1])
        score = 0.74 if signals <= 1 or made else 0.55
        yield found("regulator", 0.45 if alike else score, line)
        yield found("load switch", 0.72 if alike else 0.5 if signals >= 2 else WEAK, line)


#: A converter's two transistors in one package have at most this many pins (common practice).
MOST_STAGE_PINS: Final = 12


_GATE_DRIVE: Final = Words(r"(?:^|_)(?:[UL]GATE|[HL]GATE|[HL]S?DRV|[HL]G|DR[HL]|TG|BG)\w?(?:_|$)")


def _feedback(site: Site) -> Iterable[Finding]:
    """A pin on the tap of a divider from a rail that the chip is on too."""
    survey, part = site.survey, site.part
    if part.key == survey.main_chip or len(part.pins) > 64:
        return
    for net in site.nets:
        pair = survey.taps.get(net)
        if pair is None or not survey.is_signal(net):
            continue
        top = next((end for end in survey.ends[pair[0]] if end != net), "")
        if not survey.is_supply(top):
            continue
        named = FEEDBACK_PIN.search(words_of(net)) or any(
            FEEDBACK_PIN.search(plain_name(pin.name)) for pin in part.pins if pin.net == net
        )
        line = f"its pin is on the tap {net} of the divider from {top}"
        if named:
            yield found("regulator", 0.84, line)
        elif top in site.nets and len(part.pins) <= 2 * SMALL_PINS:
            yield found("regulator", 0.66, line)


def _same_volts(site: Site, first: str, second: str) -> bool:
    """Return whether both rails have one known voltage: nothing is regulated between them."""
    one, two = site.survey.rails[first].volts, site.survey.rails[second].volts
    if one is None or two is None or one.nominal is None or two.nominal is None:
        return False
    return abs(one.nominal - two.nominal) <= 0.05 * abs(two.nominal)


@only_for(*POSSIBLE_CHIP)
def small_chip(site: Site) -> Iterable[Finding]:
    """A small chip without words: by the lines it is on."""
    if site.part.key == site.survey.main_chip:
        return
    survey, part = site.survey, site.part
    lines = " ".join(words_of(net) for net in site.nets if survey.is_signal(net))
    pins = len(part.pins)
    if (
        pins <= 16
        and _SERIAL_MEMORY.search(lines)
        and re.search(r"MISO|MOSI|CLK|SCK|SD\d|IO\d", lines)
    ):
        yield found("memory", 0.7, "on a flash's serial lines")
    if pins <= 16 and "MISO" in lines and re.search(r"(?:^|[\s_])(?:WP|HOLD)", lines):
        yield found("memory", 0.78, "serial lines and write protect")
    if (
        pins == SMALL_PINS
        and re.search(r"SDA|SMB_?DATA", lines)
        and re.search(r"SCL|SCK|SMB_?CLK", lines)
        and re.search(r"_E[0-2]\b|_WP", lines)
    ):
        yield found("memory", 0.7, "eight pins on a two-wire bus, with address or protect straps")
    yield from _translator(site)
    yield from _gate(site)
    if pins > 16 and _EMMC.search(lines):
        yield found("memory", 0.7, "on the lines of an eMMC or a card")
    data = lines.count("SDA") if pins <= 16 else 0
    if data >= 2 and len(re.findall(r"SCL|SCK", lines)) >= 2:
        yield found("level shifter", 0.8, "two data and two clock lines of an I2C bus meet in it")
    elif data and re.search(r"SCL|SCK", lines):
        yield found("sensor", 0.54, "a small chip on an I2C bus")
        yield found("interface chip", 0.45, "a small chip on an I2C bus")
        yield found("memory", WEAK, "a small chip on an I2C bus")
    if pins <= 8 and re.search(r"HALL|LID", lines):
        yield found("sensor", LIKELY, "on a line named for a hall sensor")
    if survey.crystals and any(net in survey.crystal_nets for net in site.nets):
        yield found("interface chip", 0.5, "has its own crystal")
        if pins <= 10:
            yield found("real-time clock", 0.5, "a small chip with its own crystal")
    if pins <= 20 and re.search(r"SPK|SPEAK|HPOUT|AUDIO|LOUT|ROUT|LINEOUT", lines):
        yield found("amplifier", 0.62, "on audio lines")
    yield from _by_surroundings(site)


_SERIAL_MEMORY: Final = re.compile(
    r"(?:FLASH|QSPI|SPIFI|FSPI|SF_|\bROM)|(?:^|\s)IC-|SPI0|BOOT.?SPI"
)


_EMMC: Final = re.compile(r"(?:EMMC|SDC\d|MMC\d).*(?:D[0-7]|CMD)")


def _translator(site: Site) -> Iterable[Finding]:
    """Two supplies, and lines that come in pairs of one word: the same signals at two levels."""
    survey, part = site.survey, site.part
    supplies = [net for net in site.nets if survey.is_supply(net)]
    if len(supplies) != 2 or not 6 <= len(part.pins) <= 56 or _same_volts(site, *supplies):
        return
    words = [words_of(net) for net in site.nets if survey.is_signal(net)]
    words = [word for word in words if len(word) >= SHORTEST_WORD]
    paired = sum(any(one is not two and _same_signal(one, two) for two in words) for one in words)
    if paired >= 2 and paired >= len(words) * 0.5:
        text = f"{paired // 2} signals pass it, between {supplies[0]} and {supplies[1]}"
        yield found("level shifter", 0.8 if paired >= 4 else 0.66, text)


#: Shorter names are alike by chance.
SHORTEST_WORD: Final = 4


def _same_signal(one: str, two: str) -> bool:
    """Return whether one name is the other with a word before or after it."""
    if one == two:
        return False
    long, short = (one, two) if len(one) > len(two) else (two, one)
    return long.startswith((f"{short}_", f"{short}-")) or long.endswith((f"_{short}", f"-{short}"))


def _gate(site: Site) -> Iterable[Finding]:
    """Five pins: one supply, ground, an output and an input or two."""
    survey, part = site.survey, site.part
    supplies = sum(survey.is_supply(net) for net in site.nets)
    grounds = sum(survey.is_ground(net) for net in site.nets)
    signals = len(site.nets) - supplies - grounds
    small = site.what is Kind.IC and len(part.pins) == 5
    if small and supplies == grounds == 1 and 2 <= signals <= 3:
        yield found("logic", 0.45, "five pins: supply, ground, inputs and an output")


def _by_surroundings(site: Site) -> Iterable[Finding]:
    """Coupling capacitors on its signals: analog or radio; straight lines to the processor: SPI."""
    survey, part = site.survey, site.part
    signals = [net for net in site.nets if survey.is_signal(net)]
    coupled = [
        net
        for net in signals
        if any(survey.is_signal(b.far) for b in survey.capacitors.get(net, ()))
    ]
    supplies = [net for net in site.nets if survey.is_supply(net)]
    chip_pins = len(part.pins)
    if coupled and chip_pins <= SMALL_PINS:
        if len(coupled) >= 3 and not supplies:
            yield found(
                "switch", 0.64, f"{len(coupled)} coupled lines and no supply: a radio switch"
            )
            yield found("amplifier", 0.4, f"{len(coupled)} coupled lines")
        else:
            yield found("amplifier", 0.6, f"coupled through capacitors: {coupled[0]}")
            yield found("switch", 0.4, f"coupled through capacitors: {coupled[0]}")
    elif len(coupled) >= 3 and not supplies and chip_pins <= 16:
        yield found("switch", 0.55, f"{len(coupled)} coupled lines and no supply: a radio switch")
    main = survey.main_chip
    straight = [n for n in signals if main in survey.chips.get(n, ()) and len(survey.pins(n)) <= 4]
    if chip_pins in {8, 9} and len(supplies) == 1 and len(straight) >= 4:
        yield found("memory", 0.56, f"eight pins, {len(straight)} straight to the processor")


@only_for(Kind.IC)
def protection_by_wiring(site: Site) -> Iterable[Finding]:
    """A chip on a plug's lines and on ground, the same lines going on to elsewhere."""
    if len(site.part.pins) > 12:
        return
    survey, part = site.survey, site.part
    if not any(survey.is_ground(net) for net in site.nets):
        return
    lines = [net for net in site.nets if survey.is_signal(net) and len(survey.pins(net)) > 1]
    plugged = [net for net in lines if survey.count(net, Kind.CONNECTOR)]
    supplies = sum(survey.is_supply(net) for net in site.nets)
    private = all(len(survey.pins(net)) <= MOST_PLUG_PINS for net in lines)
    if len(lines) >= 2 and len(plugged) == len(lines) and private and supplies <= 1:
        text = f"all its lines go to a plug: {', '.join(plugged[:3])}"
        twice = len(part.pins) - len({pin.net for pin in part.pins})
        yield found("ESD protection", 0.76 if twice or supplies == 0 else 0.6, text)
    doubled = sum(sum(pin.net == net for pin in part.pins) == 2 for net in lines)
    if len(lines) >= 2 and doubled == len(lines) and plugged:
        yield found("ESD protection", 0.82, "every line passes over two of its pins")
    usb = " ".join(words_of(net) for net in lines)
    if len(part.pins) <= 8 and _USB_PLUS.search(usb) and _USB_MINUS.search(usb) and supplies <= 1:
        yield found("ESD protection", 0.72, "a small part on both USB data lines")


#: A plug's own line has few pins; a bus that a header shows too has more (common practice).
MOST_PLUG_PINS: Final = 6


_USB_PLUS: Final = re.compile(r"D\+|\bDP\b|D_P|DP\d?$")


_USB_MINUS: Final = re.compile(r"D-|\bD[MN]\b|D_N|DM\d?$")
