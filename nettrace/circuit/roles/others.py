"""Roles of everything else: crystals, plugs, switches, test points, cells, mechanical parts."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

from nettrace.circuit.kinds import Kind
from nettrace.circuit.part_kinds import is_logic_cell
from nettrace.circuit.roles.site import (
    CERTAIN,
    FAINT,
    LIKELY,
    POSSIBLE,
    STRONG,
    WEAK,
    Finding,
    Rule,
    Site,
    found,
    only_for,
)
from nettrace.circuit.roles.survey import is_letter_only

__all__ = ["OTHER_RULES", "unknown_kind"]


def crystal(site: Site) -> Iterable[Finding]:
    """By its words, or by the pi of two capacitors and a chip it stands in."""
    survey = site.survey
    placed = site.part.key in survey.crystals
    if site.what is Kind.CRYSTAL and not placed and is_letter_only(site.part, site.kind):
        supplied = any(survey.is_supply(net) for net in site.nets)
        few = len(site.part.pins) <= 4 and not supplied
        yield found("crystal", POSSIBLE if few else FAINT, *site.kind.because[:1])
        yield from _plug(site, "letter X, and not wired as a crystal")
    elif site.what is Kind.CRYSTAL:
        yield found("crystal", CERTAIN if placed else STRONG, *site.kind.because[:2])
        yield found("oscillator", WEAK if placed else POSSIBLE, *site.kind.because[:1])
    elif site.part.key in survey.crystals:
        nets = " and ".join(survey.crystals[site.part.key])
        yield found("crystal", 0.93, f"between {nets}, each with a capacitor to ground, at a chip")


@only_for(Kind.CONNECTOR)
def plug(site: Site) -> Iterable[Finding]:
    """A connector; what its words say is plugged in comes second."""
    yield from _plug(site, *site.kind.because[:1])


def _plug(site: Site, *why: str) -> Iterable[Finding]:
    survey, part = site.survey, site.part
    if len(site.nets) == 1 and len(part.pins) == 1:
        yield found("test point", 0.82, f"a single pin, on {site.nets[0]}")
        yield found("connector", POSSIBLE, "a single pin")
        yield found("mechanical", WEAK, "a single pin")
        return
    score = 0.9
    if site.ends and len(part.pins) == 2:
        supplies = [net for net in site.ends if survey.is_supply(net)]
        linked = f"in series with a supply, {site.ends[0]} to {site.ends[1]}"
        if len(supplies) == 2:
            yield found("jumper", 0.93, linked, "two pins")
            score = 0.6
        elif _JUMPER_WORDS.search(f"{part.value or ''} {part.refdes}"):
            yield found("jumper", 0.6, "its words say so")
    yield found("connector", score, *why)
    words = f"{part.refdes} {part.value or ''} {part.description or ''} {part.package or ''}"
    for pattern, role in _PLUGGED:
        if pattern.search(words):
            yield found(
                role, 0.45, f"its words name what is plugged in: {part.value or part.refdes}"
            )
    if len(part.pins) == 2 and site.to_fixed and survey.is_ground(site.to_fixed[1]):
        yield found("jumper", 0.2, f"two pins, {site.to_fixed[0]} and ground")
    if len(part.pins) == 2 and all(survey.is_ground(net) for net in site.nets):
        yield found("test point", POSSIBLE, "ground pins only")


_JUMPER_WORDS: Final = re.compile(r"JUMPER|^JP\d|\bJP\d", re.IGNORECASE)
_PLUGGED: Final = (
    (re.compile(r"BATT?|LIPO|CELL|\bCR20", re.IGNORECASE), "battery"),
    (re.compile(r"SPEAK|SPK|MOTOR|BUZZ|VIB|HAPTIC", re.IGNORECASE), "sounder or motor"),
    (re.compile(r"SHIELD|FRAME", re.IGNORECASE), "mechanical"),
    (re.compile(r"SWITCH|BUTTON", re.IGNORECASE), "switch"),
)

_PLAIN: Final[dict[Kind, tuple[tuple[str, float], ...]]] = {
    Kind.FUSE: (("fuse", CERTAIN), ("inrush limiter", FAINT)),
    Kind.TEST_POINT: (("test point", CERTAIN), ("connector", 0.2)),
    Kind.JUMPER: (("jumper", 0.94), ("zero-ohm link", WEAK), ("connector", FAINT)),
    Kind.SWITCH: (("switch", CERTAIN), ("connector", FAINT)),
    Kind.RELAY: (("switch", LIKELY), ("load switch", POSSIBLE)),
    Kind.BATTERY: (("battery", 0.9), ("connector", POSSIBLE)),
    Kind.SOUNDER: (("sounder or motor", CERTAIN), ("connector", WEAK)),
    Kind.MOTOR: (("sounder or motor", CERTAIN), ("connector", WEAK)),
    Kind.MECHANICAL: (("mechanical", CERTAIN), ("connector", FAINT)),
    Kind.ANTENNA: (("connector", 0.4), ("unknown", WEAK)),
    Kind.SOURCE: (("battery", POSSIBLE), ("regulator", WEAK)),
}


def plain_kind(site: Site) -> Iterable[Finding]:
    """A kind whose name is its role."""
    for role, score in _PLAIN.get(site.what, ()):
        yield found(role, score, *(site.kind.because[:2] or (f"a {site.what.value}",)))


def single_pin(site: Site) -> Iterable[Finding]:
    """One pin or pad cannot be more than a test point, a clip or a hole."""
    if site.what in {Kind.CONNECTOR, Kind.TEST_POINT}:
        return
    if len(site.part.pins) == 1 or (len(site.part.pins) > 1 and len(site.nets) == 1):
        alone = len(site.part.pins) == 1
        yield found("test point", LIKELY if alone and site.what is not Kind.MECHANICAL else FAINT,
                    f"all on {', '.join(site.nets) or 'no net'}")  # fmt: skip
        yield found("mechanical", WEAK, "all on one net")


_HOLDER: Final = re.compile(r"^(?:BH|BAT|CELL|BTH)", re.IGNORECASE)
#: A part of unknown kind with more pins is likelier a plug than anything (common practice).
MOST_CHIP_GUESS_PINS: Final = 8


@only_for(Kind.UNKNOWN)
def unknown_kind(site: Site) -> Iterable[Finding]:
    """A part of unknown kind: two pins on two nets, or many."""
    pins = len(site.part.pins)
    if is_logic_cell(site.part):
        # a netlist of a chip's inside has instances of cells, no parts that anyone solders
        yield found("logic", 0.6, f"cell {site.part.properties['cell']} of a logic netlist")
        return
    if pins == 0:
        yield found("mechanical", POSSIBLE, "no pins")
    elif _HOLDER.search(site.part.refdes):
        yield found("battery", 0.7, f"reference {site.part.refdes}")
        yield found("connector", POSSIBLE, f"reference {site.part.refdes}")
    elif pins > 2:
        yield found(
            "connector", 0.55 if pins > MOST_CHIP_GUESS_PINS else WEAK, f"{pins} pins, nothing said"
        )
    elif site.to_fixed is not None:
        yield found("jumper", 0.35, f"two pins, {' and '.join(site.nets)}")
        yield found("switch", WEAK, f"two pins, {' and '.join(site.nets)}")
        yield found("connector", WEAK, f"two pins, {' and '.join(site.nets)}")
    yield found("unknown", 0.2, "neither reference, value nor package says what it is")


OTHER_RULES: Final[tuple[Rule, ...]] = (crystal, plug, plain_kind, single_pin, unknown_kind)
