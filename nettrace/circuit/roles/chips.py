"""Roles of chips and modules: by part number and words, by pins, by what they are wired to.

Families, words and pins stand in `knowledge/chips.toml`. A part number decides more than a word:
descriptions borrow words from their surroundings.
"""

from __future__ import annotations

import re
from functools import cache, lru_cache
from typing import Final

from nettrace import knowledge
from nettrace.circuit.evidence import Role
from nettrace.circuit.kinds import Kind
from nettrace.circuit.rails import is_regulator_text
from nettrace.circuit.roles.site import (
    Findings,
    Site,
    Survey,
    found,
    give,
    plain_name,
    ranked,
    says,
    words_of,
)
from nettrace.model.board import Part

#: Weight of a part number, and of a word (ours, no source).
FAMILY: Final = 0.92
NAMED: Final = 0.8
#: A processor has more signals than this; so many pins do not fit a simple chip (common practice).
PROCESSOR_SIGNALS: Final = 16
#: A second processor has at least this share of the main one's signals (common practice).
SECOND_SHARE: Final = 0.25
#: A fixed regulator has at most this many pins.
SMALL_PINS: Final = 8
#: A converter's two transistors in one package have at most this many pins (common practice).
MOST_STAGE_PINS: Final = 12
#: A plug's own line has few pins; a bus that a header shows too has more (common practice).
MOST_PLUG_PINS: Final = 6
#: Shorter names are alike by chance.
SHORTEST_WORD: Final = 4


# -- part number and words ---------------------------------------------------------------------


def number_and_words(part: Part) -> tuple[str, str]:
    """Return the part number, and the words that describe the part."""
    fields = knowledge.table("chips")["fields"]
    told = [(name.lower(), text) for name, text in part.properties.items()]
    numbers = [part.value or "", *(text for name, text in told if name in fields["number"])]
    words = [
        part.value,
        part.description,
        *(text for name, text in told if name in fields["words"]),
    ]
    return " ".join(numbers), " ".join(filter(None, words))


def roles_in_text(part: Part) -> dict[str, tuple[float, str]]:
    """Return role -> (score, reason) from part number and description; empty where none speaks."""
    found = dict(_roles(*number_and_words(part)))
    if "regulator" not in found and is_regulator_text(part):
        found["regulator"] = (0.75, f"value {part.value}")
    return found


@cache
def _families(letter: str) -> list[tuple[str, re.Pattern[str]]]:
    """Return the families whose numbers begin with a letter, or may begin with any for "".

    Most letters are never met: their patterns, thousands of words in all, are not compiled.
    """
    found = []
    for role, words in knowledge.table("chips")["families"].items():
        alike = [w for w in words.split() if (w[0] if w[0].isalnum() else "") == letter]
        if alike:
            # a part number begins a word; a prefix of the maker or the library may stand before it
            text = rf"(?:^|[^A-Z0-9])(?:{'|'.join(alike)})"
            found.append((role, re.compile(text, re.IGNORECASE)))
    return found


@lru_cache(maxsize=8192)
def _roles(number: str, words: str) -> dict[str, tuple[float, str]]:
    lengths: dict[str, int] = {}
    starts = re.findall(r"(?:^|[^A-Z0-9])([A-Z0-9])", number.upper())
    for role, pattern in (
        each for letter in ("", *sorted({*starts})) for each in _families(letter)
    ):
        for match in pattern.finditer(number):
            length = len(match[0].lstrip(" -_/(,;:.[+"))
            lengths[role] = max(length, lengths.get(role, 0))
    longest = max(lengths.values(), default=0)
    # the longer a number's known beginning, the more it says
    found = {
        role: (FAMILY - 0.04 * min(longest - length, 5), f"part number {number}")
        for role, length in lengths.items()
    }
    for role, alternatives in knowledge.table("chips")["descriptions"].items():
        pattern = knowledge.compiled("|".join(alternatives.split()), ignore_case=True)
        met = pattern.search(words) if words and role not in found else None
        if met is not None:
            # the earlier in the text, the more it is about the part itself
            score = NAMED - min(0.2, 0.004 * met.start()) - (0.25 if found else 0.0)
            found[role] = round(score, 3), f"described as {met[0].lower()}"
    return found


def by_words(site: Site) -> Findings:
    """The part number, and the words of the description."""
    survey, main = site.survey, site.survey.main_chip
    named = roles_in_text(site.part)
    for role, (score, why) in named.items():
        weighed = score
        if role == "controller" and main not in (site.part.key, None):
            signals = survey.signals_of
            share = signals.get(site.part.key, 0) / max(signals.get(main or "", 1), 1)
            weighed = score if share > SECOND_SHARE else score * 0.8
        if role == "regulator" and len(_switched_by(site)) > 1:
            # one chip with several supplies, charger and gauge is a regulator first
            weighed = max(score, 0.94)
        yield found(role, weighed, why)
    if "regulator" in named and _is_power_manager(site):
        because = "a power management chip with a battery on it"
        yield from ranked({"charger": 0.5, "fuel gauge": 0.3}, because)


def by_package(site: Site) -> Findings:
    """Words in the reference or the package name: HALL, MIC, FLASH, IMU."""
    if len(site.part.pins) < 2:
        return
    places = (("reference", site.part.refdes, 0.78), ("package", site.part.package or "", 0.55))
    for where, text, score in places:
        for pattern, role in knowledge.table("chips")["places"]["rows"]:
            if knowledge.compiled(pattern, ignore_case=True).search(text):
                yield found(role, score, f"{where} {text}")


def block(site: Site) -> Findings:
    """A filter, balun or coupler in one package, for which the list has no word."""
    if match := knowledge.pattern("chips", "block").search(" ".join(number_and_words(site.part))):
        because = f"described as {match[0].lower()}"
        yield found("unknown", 0.72, f"{because}; the list has no word for it")
        yield found("filter inductor", 0.3, because)


# -- pins --------------------------------------------------------------------------------------


def by_pin_names(site: Site) -> Findings:
    """Pins that only one sort of chip has."""
    names = {plain_name(pin.name) for pin in site.part.pins if pin.name}
    yield from _of_pins(tuple(sorted(names)))


@lru_cache(maxsize=4096)
def _of_pins(names: tuple[str, ...]) -> list[Role]:
    """Return what a chip with these pin names is; a board has several chips of a sort."""
    text = " ".join(names)
    results = []
    for role, score, needed in knowledge.table("chips")["pins"]["sets"] if names else ():
        if all(knowledge.compiled(pattern).search(text) for pattern in needed):
            shown = [next(filter(knowledge.compiled(each).search, names), "") for each in needed]
            results.append(found(role, score, "pins such as " + ", ".join(shown)))
    return results


# -- what it is wired to -----------------------------------------------------------------------


def _switched_by(site: Site) -> list[str]:
    return [net for net in site.nets if net in site.survey.switching_nodes]


def _is_power_manager(site: Site) -> bool:
    """Return whether the chip switches several inductors and has a battery on it."""
    battery = any("BAT" in words_of(net) for net in site.nets)
    return len(_switched_by(site)) >= 2 and battery and len(site.part.pins) > SMALL_PINS


def regulator_by_wiring(site: Site) -> Findings:
    """Switches an inductor, or stands between two rails with little else."""
    survey, part = site.survey, site.part
    nodes, grounds, supplies = _switched_by(site), site.grounds, site.supplies
    driven = any(says("gate drive", words_of(net)) for net in site.nets)
    if nodes and driven and len(part.pins) <= MOST_STAGE_PINS:
        yield found("switching transistor", 0.9, f"driven gates, and the inductor on {nodes[0]}")
    if nodes and grounds:
        big = part.key == survey.main_chip and len(part.pins) > 32
        yield found("regulator", 0.3 if big else 0.87, f"switches the inductor on {nodes[0]}")
        if _is_power_manager(site):
            yield from ranked({"charger": 0.5, "fuel gauge": 0.3}, "with a battery on it")
    yield from _feedback(site)
    if len(part.pins) > SMALL_PINS:
        return
    names = {plain_name(pin.name) for pin in part.pins}
    ways = knowledge.table("chips")["supply_pins"]
    if supplies and names.intersection(ways["in"]) and names.intersection(ways["out"]):
        yield from ranked({"regulator": 0.72, "load switch": 0.4}, "pins in and out")
        return
    signals = len(site.signals)
    if site.what is not Kind.IC:
        return
    if not grounds and supplies and len(site.nets) == 3 and signals <= 2:
        yield found("load switch", 0.72 if len(supplies) == 2 else 0.6, "a supply passes it, one "
                    "more net, and no ground: a transistor in a chip's package")  # fmt: skip
        yield found("switching transistor", 0.45, "three nets and no ground")
    if grounds and len(supplies) == 2 and signals <= 3:
        made = any(survey.rails[net].source == part.key for net in supplies)
        alike = _same_volts(survey, *supplies)
        score = 0.45 if alike else 0.74 if signals <= 1 or made else 0.55
        other = 0.72 if alike else 0.5 if signals >= 2 else 0.3
        because = f"between the rails {supplies[0]} and {supplies[1]}"
        yield from ranked({"regulator": score, "load switch": other}, because)


def _feedback(site: Site) -> Findings:
    """A pin on the tap of a divider from a rail that the chip is on too."""
    survey, part = site.survey, site.part
    if part.key == survey.main_chip or len(part.pins) > 64:
        return
    for net in site.nets:
        if net not in survey.taps or not survey.is_signal(net):
            continue
        top = survey.far(survey.taps[net][0], net)
        if not survey.is_supply(top):
            continue
        names = [plain_name(pin.name) for pin in part.pins if pin.net == net]
        line = f"its pin is on the tap {net} of the divider from {top}"
        if any(says("feedback", name) for name in (words_of(net), *names)):
            yield found("regulator", 0.84, line)
        elif top in site.nets and len(part.pins) <= 2 * SMALL_PINS:
            yield found("regulator", 0.66, line)


def _same_volts(survey: Survey, first: str, second: str) -> bool:
    """Return whether both rails have one known voltage: nothing is regulated between them."""
    one, two = survey.rails[first].volts, survey.rails[second].volts
    if one is None or two is None or one.nominal is None or two.nominal is None:
        return False
    return abs(one.nominal - two.nominal) <= 0.05 * abs(two.nominal)


def processor(site: Site) -> Findings:
    """The chip that most signals of the board meet on; else one that is merely large."""
    survey = site.survey
    signals = survey.signals_of.get(site.part.key, 0)
    if site.part.key == survey.main_chip:
        yield from give("main chip", signals=str(signals))
        return
    if site.what is Kind.MODULE:
        yield from give("module beside the processor")
    if site.what is Kind.MODULE or signals < PROCESSOR_SIGNALS:
        return
    # a large chip beside the processor: memory if nearly all its signals go straight there
    lines = site.signals
    shared = [net for net in lines if survey.main_chip in survey.chips[net]]
    straight = sum(len(survey.pins(net)) <= 4 for net in shared)
    named = sum(says("memory line", words_of(net)) for net in lines)
    line = f"{len(shared)} of {signals} signals go to the processor"
    if named >= signals * 0.4:
        yield found("memory", 0.84, f"{named} lines are named as a memory's")
    if len(shared) >= signals * 0.7 and straight >= len(shared) * 0.7:
        yield found("memory", 0.55, line)
    yield from ranked({"interface chip": 0.6, "logic": 0.45}, line)
    yield found("controller", 0.5, f"{signals} signals")


def small_chip(site: Site) -> Findings:
    """A small chip without words: by the lines it is on."""
    survey = site.survey
    if site.part.key == survey.main_chip:
        return
    lines = " ".join(map(words_of, site.signals))
    pins = len(site.part.pins)
    for role, score, least, most, needed, because in knowledge.table("chips")["lines"]["roles"]:
        if least <= pins <= most and all(says(what, lines) for what in needed):
            yield found(role, score, because)
    yield from _translator(site)
    # five pins: one supply, ground, an output and an input or two
    fixed = pins, len(site.supplies), len(site.grounds)
    if site.what is Kind.IC and fixed == (5, 1, 1) and 4 <= len(site.nets) <= 5:
        yield found("logic", 0.45, "five pins: supply, ground, inputs and an output")
    data = lines.count("SDA") if pins <= 16 else 0
    clocks = lines.count("SCL") + lines.count("SCK")
    if data >= 2 and clocks >= 2:
        yield found("level shifter", 0.8, "two data and two clock lines of an I2C bus meet in it")
    elif data and clocks:
        scores = {"sensor": 0.54, "interface chip": 0.45, "memory": 0.3}
        yield from ranked(scores, "a small chip on an I2C bus")
    if any(net in survey.crystal_nets for net in site.nets):
        yield found("interface chip", 0.5, "has its own crystal")
        if pins <= 10:
            yield found("real-time clock", 0.5, "a small chip with its own crystal")
    yield from _by_surroundings(site)


def _translator(site: Site) -> Findings:
    """Two supplies, and lines that come in pairs of one word: the same signals at two levels."""
    survey, supplies = site.survey, site.supplies
    if len(supplies) != 2 or not 6 <= len(site.part.pins) <= 56 or _same_volts(survey, *supplies):
        return
    words = [word for word in map(words_of, site.signals) if len(word) >= SHORTEST_WORD]
    paired = sum(any(_same_signal(one, two) for two in words) for one in words)
    if paired >= 2 and paired >= len(words) * 0.5:
        text = f"{paired // 2} signals pass it, between {supplies[0]} and {supplies[1]}"
        yield found("level shifter", 0.8 if paired >= 4 else 0.66, text)


def _same_signal(one: str, two: str) -> bool:
    """Return whether one name is the other with a word before or after it."""
    short, long = sorted((one, two), key=len)
    return long.startswith((f"{short}_", f"{short}-")) or long.endswith((f"_{short}", f"-{short}"))


def _by_surroundings(site: Site) -> Findings:
    """Coupling capacitors on its signals: analog or radio; straight lines to the processor: SPI."""
    survey, supplies, pins = site.survey, site.supplies, len(site.part.pins)
    signals = site.signals
    coupled = [
        net for net in signals if any(survey.is_signal(b.far) for b in survey.capacitors[net])
    ]
    radio = len(coupled) >= 3 and not supplies
    text = f"{len(coupled)} coupled lines"
    if coupled and pins <= SMALL_PINS:
        yield from give("radio switch" if radio else "coupled chip", text=text, line=coupled[0])
    elif radio and pins <= 16:
        yield found("switch", 0.55, f"{text} and no supply: a radio switch")
    main = survey.main_chip
    straight = [net for net in signals if main in survey.chips[net] and len(survey.pins(net)) <= 4]
    if pins in {8, 9} and len(supplies) == 1 and len(straight) >= 4:
        yield found("memory", 0.56, f"eight pins, {len(straight)} straight to the processor")


def protection_by_wiring(site: Site) -> Findings:
    """A chip on a plug's lines and on ground, the same lines going on to elsewhere."""
    survey, pins = site.survey, site.part.pins
    if len(pins) > 12 or not site.grounds:
        return
    lines = [net for net in site.signals if len(survey.pins(net)) > 1]
    plugged = [net for net in lines if survey.count(net, Kind.CONNECTOR)]
    private = all(len(survey.pins(net)) <= MOST_PLUG_PINS for net in lines)
    if len(lines) >= 2 and len(plugged) == len(lines) and private and len(site.supplies) <= 1:
        twice = len(pins) > len({pin.net for pin in pins})
        text = f"all its lines go to a plug: {', '.join(plugged[:3])}"
        yield found("ESD protection", 0.76 if twice or not site.supplies else 0.6, text)
    doubled = all(sum(pin.net == net for pin in pins) == 2 for net in lines)
    if len(lines) >= 2 and doubled and plugged:
        yield found("ESD protection", 0.82, "every line passes over two of its pins")
    usb = " ".join(words_of(net) for net in lines)
    both = says("usb plus", usb) and says("usb minus", usb)
    if len(pins) <= 8 and both and len(site.supplies) <= 1:
        yield found("ESD protection", 0.72, "a small part on both USB data lines")


def unplaced_chip(site: Site) -> Findings:
    """What a chip may be where nothing says so."""
    pins = len(site.part.pins)
    row = "large chip, unplaced" if pins > 2 * SMALL_PINS else "small chip, unplaced"
    yield from give(row, pins=str(pins))
    if site.nets and site.survey.count(site.nets[0], Kind.CONNECTOR):
        yield found("ESD protection", 0.15, "on a plug's line")
