"""What stops when a leg of a divider or a set resistor is missing."""

from __future__ import annotations

import re
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
from nettrace.circuit.evidence import Absence

__all__ = ["DIVIDER_RULES"]


#: An input of a 3.3 V chip bears a little more than this (common practice, no source).
HARMLESS_VOLTS: Final = 3.7


_SILENT: Final = "what it leads to cannot be seen in these sources"


def feedback_divider(gap: Gap) -> Absence | None:
    """One leg of a regulator's feedback is open: the output runs up, or falls to the reference."""
    if gap.ends is None:
        return None
    upper = "upper" in gap.role
    tap = _tap(gap)
    if tap is None:
        return None
    chips = gap.chips_on(tap)
    rails = gap.circuit.rails
    chip = next((key for key in chips if any(r.source == key for r in rails.values())), "")
    chip = chip or (chips[0] if chips else "the regulator")
    output = _divided(gap, tap, upper)
    loads = rails[output].loads if output in rails else ()
    hurt = [key for key in loads if gap.kind_of(key) in ACTIVE and key != chip]
    if upper:
        text = f"DANGER: {tap} falls to 0 V, {chip} drives {output} up as far as it can"
        return blocks(
            text, f"do not power it up: {listed(hurt) or 'what it feeds'} may be destroyed"
        )
    return blocks(
        f"{tap} follows {output}: {chip} takes it for far too high and drives it down",
        f"too little for {listed(hurt)}" if hurt else "too little for what it feeds",
    )


def _tap(gap: Gap) -> str | None:
    """Return the middle of the divider: the end that is a signal and is divided further."""
    taps = gap.circuit.survey.taps
    for net in gap.ends or ():
        if gap.key in taps.get(net, ()):
            return net
    if gap.to_fixed is not None:
        return gap.to_fixed[0]
    for net in gap.ends or ():
        pulls = gap.circuit.pulls.get(net, ())
        if any(pull.direction == "down" and pull.part not in gap.gone for pull in pulls):
            return net
    return None


def _divided(gap: Gap, tap: str, upper: bool) -> str:
    """Return the net that is divided at the tap."""
    if upper:
        return next(net for net in gap.part.nets if net != tap)
    for link in gap.circuit.links.get(tap, ()):
        if link.part not in gap.gone and gap.is_supply(link.to_net) and link.kind == "resistor":
            return link.to_net
    for link in gap.circuit.links.get(tap, ()):
        if link.part not in gap.gone and link.kind == "resistor" and not gap.is_ground(link.to_net):
            return link.to_net
    return "its output"


def divider(gap: Gap) -> Absence | None:
    """One leg of a divider that something reads."""
    if gap.ends is None:
        return None
    tap = _tap(gap)
    if tap is None:
        return None
    upper = "upper" in gap.role
    top = _divided(gap, tap, upper)
    nets = gap.island(tap) if gap.is_signal(tap) else (tap,)
    readers = gap.chips_on(*nets) or gap.hearers(nets)
    if not readers:
        return minor(f"nothing seen reads {tap}, the middle of the divider")
    one = len(readers) == 1
    pin = gap.pin_of(readers[0], tap) if one else listed(readers)
    sees, reads = ("sees", "reads") if one else ("see", "read")
    if upper:
        return degrades(f"{tap} lies at 0 V: {pin} no longer {sees} {top}")
    volts = gap.volts(top)
    text = f"{tap} rises to the whole of {gap.with_volts(top)}: {pin} {reads} far too much"
    if volts is not None and volts > HARMLESS_VOLTS:
        return degrades(text, "more than the input may bear")
    return degrades(text)


_CHARGE: Final = "the charge current"


_SETS: Final = (
    (re.compile(r"ISET|ICHG|PROG|IPRG"), _CHARGE),
    (re.compile(r"ILIM|OCSET|LIMIT"), "the current limit"),
    (re.compile(r"VSET|TRIM"), "the output voltage"),
    (re.compile(r"ROSC|\bRT\b"), "the switching frequency"),
    (re.compile(r"ZQ|RZQ|DDR\w*RCO?MP|M_RCO?MP"), "the drive strength of the memory bus"),
    (re.compile(r"RCO?MP|RCAL"), "the drive strength of the lines that it calibrates"),
    (re.compile(r"REXT|RREF|IREF|R_?REF|RBIAS|REF"), "the reference current"),
    (re.compile(r"TMR|TIMER"), "the safety timer"),
)


#: Pins across which a resistor calibrates output drivers (common practice, no source).
_CALIBRATES: Final = re.compile(r"RCO?MP|RCAL")


def set_resistor(gap: Gap) -> Absence | None:
    """An analog pin that sets something is open."""
    nets = [net for net in gap.part.nets if gap.is_signal(net)]
    if not nets:
        return None
    chips = gap.chips_on(*nets)
    if not chips:
        return unknown(f"{listed(nets)} is open; {_SILENT}")
    if (
        gap.ends is not None
        and len(nets) == 2
        and set(gap.chips_on(nets[0])) & set(gap.chips_on(nets[1]))
    ):
        between = f"between {nets[0]} and {nets[1]}"
        if all(_CALIBRATES.search(gap.pin_words(net)) for net in nets):
            return degrades(
                f"the resistor of {listed(chips)} {between} is missing: the drive strength of the "
                "lines that it calibrates is undefined"
            )
        return degrades(f"the feedback of {listed(chips)} {between} is open: its gain is wrong")
    chip, net = next((key, n) for key in chips for n in nets if key in gap.chips_on(n))
    words = gap.pin_words(net)
    what = next((text for pattern, text in _SETS if pattern.search(words)), None)
    pin = gap.pin_of(chip, net)
    if gap.role_of(chip) == "charger" and what == _CHARGE:
        return blocks(
            f"{pin} ({net}) is open: no charge current is set, the battery is not charged"
        )
    if what == _CHARGE:
        what = "a current"
    if what is None:
        return degrades(f"{pin} ({net}) is open: what the resistor sets there is undefined")
    return degrades(f"{pin} ({net}) is open: {what} is undefined")


DIVIDER_RULES: Final[dict[str, Rule]] = {
    "divider (upper)": divider,
    "divider (lower)": divider,
    "feedback divider (upper)": feedback_divider,
    "feedback divider (lower)": feedback_divider,
    "set resistor": set_resistor,
}
