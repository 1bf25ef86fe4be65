"""Roles of chips and modules: by part number and words, by pins, by what they are wired to."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache
from typing import Final

from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles.chip_wiring import (
    POSSIBLE_CHIP,
    SMALL_PINS,
    is_power_manager,
    protection_by_wiring,
    regulator_by_wiring,
    small_chip,
)
from nettrace.circuit.roles.chip_words import roles_in_text
from nettrace.circuit.roles.net_words import Words, words_of
from nettrace.circuit.roles.site import (
    CERTAIN,
    FAINT,
    POSSIBLE,
    STRONG,
    WEAK,
    Finding,
    Rule,
    Site,
    found,
    only_for,
)
from nettrace.circuit.roles.survey import plain_name

__all__ = ["CHIP_RULES"]

#: A processor has more signals than this; so many pins do not fit a simple chip (common practice).
PROCESSOR_SIGNALS: Final = 16


@only_for(*POSSIBLE_CHIP)
def by_words(site: Site) -> Iterable[Finding]:
    """The part number, and the words of the description."""
    survey = site.survey
    named = roles_in_text(site.part)
    main = site.part.key == survey.main_chip
    nodes = [net for net in site.nets if net in survey.switching_nodes]
    for role, (score, why) in named.items():
        weighed = score
        if role == "controller" and not main and survey.main_chip is not None:
            signals = survey.signals_of
            share = signals.get(site.part.key, 0) / max(signals.get(survey.main_chip, 1), 1)
            weighed = score if share > SECOND_SHARE else score * 0.8
        if role == "regulator" and len(nodes) > 1:
            # one chip with several supplies, charger and gauge is a regulator first
            weighed = max(score, 0.94)
        yield found(role, weighed, why)
    if "regulator" in named and is_power_manager(site):
        yield found("charger", POSSIBLE, "a power management chip with a battery on it")
        yield found("fuel gauge", WEAK, "a power management chip with a battery on it")


#: A second processor has at least this share of the main one's signals (common practice).
SECOND_SHARE: Final = 0.25


@only_for(*POSSIBLE_CHIP)
def by_pin_names(site: Site) -> Iterable[Finding]:
    """Pins that only one sort of chip has."""
    names = {plain_name(pin.name) for pin in site.part.pins if pin.name}
    if not names:
        return
    yield from _of_pins(tuple(sorted(names)))


@lru_cache(maxsize=4096)
def _of_pins(names: tuple[str, ...]) -> tuple[Finding, ...]:
    """Return what a chip with these pin names is; a board has several chips of a sort."""
    text = " ".join(names)
    return tuple(
        found(role, score, "pins such as " + ", ".join(_shown(names, needed)))
        for role, score, needed in _PIN_SETS
        if all(re.search(pattern, text) for pattern in needed)
    )


def _shown(names: tuple[str, ...], needed: tuple[str, ...]) -> list[str]:
    return [next((name for name in names if re.search(pattern, name)), "") for pattern in needed]


#: Role, score, patterns that must all be among the pin names (common practice, no source).
_PIN_SETS: Final[tuple[tuple[str, float, tuple[str, ...]], ...]] = (
    (
        "memory",
        0.84,
        (
            r"\b(?:WP|WP/IO2|IO2|WP\(?I/?O2\)?)",
            r"\b(?:HOLD|IO3|SIO3|RESET/SIO3)",
            r"\b(?:CS|S|CE|CS#)\b",
        ),
    ),
    ("memory", 0.8, (r"\bDQ0\b", r"\b(?:CAS|CK|CLK|WE)\b", r"\bA0\b")),
    ("memory", 0.8, (r"\bDAT0\b", r"\bCMD\b", r"\bVCCQ\b|\bVDDI\b")),
    ("memory", 0.7, (r"\bWP\b", r"\bSDA\b", r"\bA0\b|\bE0\b")),
    ("level shifter", 0.86, (r"\bVCCA\b", r"\bVCCB\b")),
    ("level shifter", 0.8, (r"\bSDA1\b", r"\bSDA2\b", r"\bSCL1\b")),
    ("controller", 0.72, (r"SWDIO|SWCLK|PDI|JTAG|TRACECLK|\bMCLR\b", r"P[A-F]?\d\.?\d|GPIO\d")),
    (
        "controller",
        0.7,
        (r"\bGPIO1\b|\bPA0?1\b|\bPB0?1\b|\bP0\.0?1\b|\bRA1\b", r"XIN|XTAL|OSC|SWD"),
    ),
    (
        "fuel gauge",
        0.72,
        (
            r"\bSRP\b|\bCSP\b|\bVSNS\+?",
            r"\bSRN\b|\bCSN\b",
            r"\bBAT\b|\bVBAT\b|\bVCELL\b|\bBI|\bCELL\b",
        ),
    ),
    (
        "charger",
        0.7,
        (r"\bPROG\b|\bISET\b|\bICHG\b", r"\bBAT\b|\bVBAT\b", r"\bSTAT\b|\bCHG\b|\bCHRG\b|\bTS\b"),
    ),
    ("regulator", 0.74, (r"\bV?FB\d?\b|\bADJ\b", r"\bSW\d?\b|\bLX\d?\b|\bV?OUT\b", r"\bV?IN\b")),
    ("real-time clock", 0.66, (r"\bCLKOUT\b|\bCLKOE\b|\bSQW|\b32KHZ\b", r"\bSDA\b", r"\bINT")),
    (
        "real-time clock",
        0.64,
        (r"\bX1\b|\bOSCI\b", r"\bX2\b|\bOSCO\b", r"\bVBAT\b|\bVBACKUP\b", r"\bSDA\b"),
    ),
    (
        "sensor",
        0.62,
        (
            r"\bINT\d?\b|\bDRDY\b|\bALERT\b",
            r"\bSDA\b|\bSDX\b|\bSDI",
            r"\bCSB?\b|\bSA0\b|\bADD?R?0?\b|\bSDO\b",
        ),
    ),
    (
        "amplifier",
        0.7,
        (r"\bIN\+|\b\+IN|\b\+$|\bINP\b", r"\bIN-|\b-IN|\bINN\b|\b-$", r"\bOUT|\bVO"),
    ),
    ("amplifier", 0.68, (r"\bOUT\+|\bOUTP\b|\bVO\+", r"\bOUT-|\bOUTN\b|\bVO-")),
    (
        "interface chip",
        0.6,
        (r"\bTXD\b|\bTX\b", r"\bRXD\b|\bRX\b", r"\bD\+|\bUSBDP\b|\bCANH\b|\bUD\+|\bDP\b"),
    ),
    ("logic", 0.6, (r"\b1?A\b|\bA1\b", r"\b1?Y\b|\bY1\b")),
    ("switch", 0.66, (r"\bCOM\d?\b", r"\bNO\d?\b", r"\bNC\d?\b", r"\bIN\d?\b|\bSEL")),
    (
        "load switch",
        0.7,
        (r"\bV?IN\b", r"\bV?OUT\b", r"\bILIM\b|\bISET\b|\bFLAG\b|\bFAULT\b|\bOC\b|\bQOD\b|\bFLG\b"),
    ),
    (
        "oscillator",
        0.72,
        (r"\bCLK0\b|\bOUT0\b", r"\bCLK1\b|\bOUT1\b", r"\bXA\b|\bXIN\b|\bX1\b|\bREF"),
    ),
    ("ESD protection", 0.7, (r"\bI/?O1\b", r"\bI/?O2\b", r"\bVBUS\b|\bVP\b|\bVCC\b")),
)


@only_for(*POSSIBLE_CHIP)
def block(site: Site) -> Iterable[Finding]:
    """A filter, balun or coupler in one package, for which the list has no word."""
    match = _BLOCK.search(site.text)
    if match:
        yield found(
            "unknown", 0.72, f"described as {match[0].lower()}; the list has no word for it"
        )
        yield found("filter inductor", WEAK, f"described as {match[0].lower()}")


_BLOCK: Final = re.compile(
    r"(?:low|high|band).?pass|\bSAW\b|diplexer|duplexer|balun|directional.?coupler|attenuator"
    r"|(?:RF|EMI|LC).?filter|_FILTER\b",
    re.IGNORECASE,
)


@only_for(*POSSIBLE_CHIP)
def by_package(site: Site) -> Iterable[Finding]:
    """Words in the reference or the package name: HALL, MIC, FLASH, IMU."""
    if len(site.part.pins) < 2:
        return
    for where, text in (("reference", site.part.refdes), ("package", site.part.package or "")):
        for pattern, role in _PLACE_WORDS:
            match = pattern.search(text)
            if match:
                score = 0.78 if where == "reference" else 0.55
                yield found(role, score, f"{where} {text}")


_PLACE_WORDS: Final = tuple(
    (re.compile(words, re.IGNORECASE), role)
    for words, role in (
        (r"HALL|SENS|MIC(?:ROPHONE)?\d*$|^MK\d|BOSCH_LGA|IMU|ACCEL|^IR\d|TSOP|^BM[PE]", "sensor"),
        (r"FLASH|EEPROM|^RAM\d|DDR\d?|^EMMC|^MEM\d", "memory"),
        (r"^VR\d|^REG\d|^LDO|^PMIC|^PMU|^BUCK|DC-?DC", "regulator"),
        (r"^RTC\d|RV-8\d", "real-time clock"),
        (r"^MCU|^CPU|^SOC\d", "controller"),
        (r"^OSC\d|OSCILLATOR|TCXO|^XO\d", "oscillator"),
        (r"^AMP\d|^OP\d|^PA\d", "amplifier"),
        (r"ESP32|ESP-12|NRF5|NORA|WROOM|RASPBERRY|PI.?PICO|FEATHER|ARDUINO|TEENSY", "controller"),
    )
)  # fmt: skip


@only_for(*POSSIBLE_CHIP)
def processor(site: Site) -> Iterable[Finding]:
    """The chip that most signals of the board meet on; else one that is merely large."""
    survey = site.survey
    signals = survey.signals_of.get(site.part.key, 0)
    if site.part.key == survey.main_chip:
        yield found("controller", 0.83, f"{signals} signals meet here, more than at any other part")
        yield found("interface chip", 0.4, f"{signals} signals")
    elif site.what is Kind.MODULE:
        yield found("interface chip", 0.74, "a module beside the processor")
        yield found("controller", POSSIBLE, "a module has its own firmware")
    elif signals >= PROCESSOR_SIGNALS:
        yield from _large(site, signals)


def _large(site: Site, signals: int) -> Iterable[Finding]:
    """A large chip beside the processor: memory if nearly all its signals go straight there."""
    survey = site.survey
    main = survey.main_chip
    shared = straight = memory_names = 0
    for net in site.nets:
        if not survey.is_signal(net):
            continue
        chips = survey.chips.get(net, ())
        if main in chips:
            shared += 1
            straight += len(survey.pins(net)) <= 4
        if _MEMORY_LINE.search(words_of(net)):
            memory_names += 1
    line = f"{shared} of {signals} signals go to the processor"
    if memory_names >= signals * 0.4:
        yield found("memory", 0.84, f"{memory_names} lines are named as a memory's")
    if shared >= signals * 0.7 and straight >= shared * 0.7:
        yield found("memory", 0.55, line)
    yield found("interface chip", 0.6, line)
    yield found("logic", 0.45, line)
    yield found("controller", 0.5, f"{signals} signals")


_MEMORY_LINE: Final = Words(
    r"DQS?\d|DQM|DDR|(?:^|[_\d])(?:CAS|RAS|WE|BA\d|ODT|CKE)(?:$|[_#N])|S\w*DQ|S\d?A\d+$|SA\d+$|EMMC"
    r"|SDC2|NAND|FLASH|S\d?SCK"
)


@only_for(Kind.MICROPHONE, Kind.OSCILLATOR, Kind.DISPLAY, Kind.IC, Kind.MODULE)
def unplaced_chip(site: Site) -> Iterable[Finding]:
    """What a chip may be where nothing says so."""
    if site.what is Kind.MICROPHONE:
        yield found("sensor", CERTAIN, "a microphone")
    elif site.what is Kind.OSCILLATOR:
        yield found("oscillator", STRONG, *site.kind.because[:1])
    elif site.what is Kind.DISPLAY:
        yield found("interface chip", WEAK, "a display")
        yield found("connector", WEAK, "a display is reached by its contacts")
    elif site.what in {Kind.IC, Kind.MODULE}:
        pins = len(site.part.pins)
        if pins > 2 * SMALL_PINS:
            yield found("interface chip", WEAK, f"{pins} pins")
            yield found("controller", 0.2, f"{pins} pins")
        else:
            yield found("interface chip", 0.25, f"{pins} pins")
            yield found("logic", 0.22, f"{pins} pins")
            yield found("regulator", FAINT, f"{pins} pins")
        if site.survey.count(site.nets[0] if site.nets else "", Kind.CONNECTOR):
            yield found("ESD protection", FAINT, "on a plug's line")


CHIP_RULES: Final[tuple[Rule, ...]] = (
    by_words,
    regulator_by_wiring,
    by_pin_names,
    by_package,
    block,
    processor,
    small_chip,
    protection_by_wiring,
    unplaced_chip,
)
