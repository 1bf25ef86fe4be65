"""Roles of capacitors: from the nets they join, then from their value and size."""

from __future__ import annotations

from typing import Final

from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles.chips import roles_in_text
from nettrace.circuit.roles.resistors import SNUBBER_OHMS, bridged, in_a_loop
from nettrace.circuit.roles.site import (
    CHIPS,
    VALUE_NOT_KNOWN,
    Findings,
    Site,
    Survey,
    are_pair,
    figure,
    found,
    names_supply,
    pad_distance_mm,
    ranked,
    says,
    words_of,
)

#: From here on a capacitor of a supply is called bulk (common practice, no source); one that is
#: rounded down by as much still is.
BULK_FARADS: Final = 4.7e-6 * 0.99
#: Between these two either word is used.
EITHER_FARADS: Final = (0.9e-6, 23e-6)
#: Less than this on a chip's own pin is no supply's capacitor (common practice, no source).
BYPASS_FARADS: Final = 47e-9
#: Less than this delays nothing that a person or a supply waits for (common practice, no source).
TIMING_FARADS: Final = 1e-9
#: Capacitors of this size (inch) and larger are mostly bulk, where no value is known.
BULK_SIZES: Final = frozenset({"0805", "1206", "1210", "1812", "2010", "2512"})
#: So much further apart are the pads of the next chip size at least (0402 to 0603: 1.5 times).
LARGER: Final = 1.3


def supply_capacitor(site: Site) -> Findings:
    """From a supply to ground, or between supplies."""
    supplies, grounds, farads = site.supplies, site.grounds, site.kind.farads
    if not site.ends or len(supplies) + len(grounds) < 2 or not supplies:
        return
    # a resistor (a current shunt, a filter's) joins the two rails
    rails, both = site.survey.rails, (supplies[0], supplies[-1])
    linked = [far for net in both for _, far in rails[net].linked if far in both and far != net]
    if len(supplies) == 2 and (linked or both in site.survey.joined):
        line = f"across what joins {supplies[0]} and {supplies[1]}"
        yield from ranked({"filter capacitor": 0.85, "decoupling": 0.3}, line)
        return
    line = f"from {site.survey.describe(supplies[0])} to {(grounds or supplies[1:])[0]}"
    if farads is None:
        large, why = _is_large(site)
        yield found("decoupling", 0.5 if large else 0.7, line, VALUE_NOT_KNOWN)
        yield found("bulk capacitor", 0.7 if large else 0.5, line, why or VALUE_NOT_KNOWN)
    else:
        yield from _by_value(farads, 0.95 if grounds else 0.7, f"{figure(farads, 'F')} {line}")
    yield found("filter capacitor", 0.3, line)


def _by_value(farads: float | None, score: float, *because: str) -> Findings:
    """Decoupling or, from some value on, bulk; the other word comes second."""
    either = farads is not None and EITHER_FARADS[0] <= farads <= EITHER_FARADS[1]
    words = ("decoupling", "bulk capacitor")
    first, second = words[::-1] if farads is not None and farads >= BULK_FARADS else words
    yield from ranked({first: score, second: 0.5 if either else 0.15}, *because)


def _is_large(site: Site) -> tuple[bool, str]:
    """Return whether the part is larger than most capacitors of the board, by name or copper."""
    if (size := site.kind.size_inch) is not None:
        return size in BULK_SIZES, f"size {size}"
    usual, own = site.survey.usual_capacitor_mm, pad_distance_mm(site.part)
    if usual is None or own is None:
        return False, ""
    return own > usual * LARGER, f"pads {own:.2g} mm apart, most {usual:.2g} mm"


def crystal_load(site: Site) -> Findings:
    """From a crystal's pin to ground."""
    signal, _ = site.to_fixed or ("", "")
    if (crystal := site.survey.crystal_nets.get(signal)) is not None:
        yield found("crystal load", 0.95, f"from the crystal {crystal} ({signal}) to ground")
        yield found("filter capacitor", 0.15, f"from {signal} to ground")


def bootstrap(site: Site) -> Findings:
    """Between a switching node and the same chip's bootstrap pin."""
    survey = site.survey
    for node, far in site.line_ways:
        names = survey.names(far)
        shared = survey.shared_chips(node, far)
        if not shared and len(survey.pins(far)) <= 3:
            for resistor in survey.resistors[far]:
                shared = survey.shared_chips(node, resistor.far)
                names = f"{names} {words_of(resistor.far)}"
        certain = node in survey.switching_nodes
        named = says("switching", survey.names(node)) and says("bootstrap", names)
        if shared and (certain or named):
            chip = survey.part(shared[0]).refdes
            yield found("bootstrap", 0.93, f"from the switching node {node} to a pin of {chip}")
            return


def across_resistor(site: Site) -> Findings:
    """Across a resistor: feed-forward at a regulator's upper one, a filter elsewhere."""
    survey = site.survey
    for net, far in site.ways:
        beside = [b.part for b in survey.resistors[net] if b.far == far]
        if not survey.is_signal(net) or not beside:
            continue
        line = f"across {beside[0]}"
        if beside[0] == survey.taps.get(net, ("", ""))[0] and survey.is_supply(far):
            yield found("feed-forward", 0.92, line, f"the upper resistor of the divider at {net}")
            yield found("filter capacitor", 0.3, line)
        elif survey.is_signal(far):
            yield from ranked({"filter capacitor": 0.83, "feed-forward": 0.4}, line)
        return


def snubber_capacitor(site: Site) -> Findings:
    """Alone in series with a resistor, to ground or to a supply: a snubber or a loop filter."""
    survey = site.survey
    middle, _ = site.to_fixed or ("", "")
    resistors = survey.resistors[middle]
    if len(survey.pins(middle)) != 2 or len(resistors) != 1:
        return
    resistor = resistors[0]
    line = f"in series with {resistor.part} from {resistor.far}"
    if survey.is_supply(resistor.far):
        yield found("filter capacitor", 0.72, f"behind {resistor.part} from {resistor.far}")
    elif in_a_loop(survey, middle, resistor.far):
        yield found("filter capacitor", 0.9, line, "on a compensation or loop pin")
    elif resistor.figure is None or resistor.figure <= SNUBBER_OHMS:
        yield from ranked({"snubber": 0.86, "filter capacitor": 0.5}, line)
    else:
        yield from ranked({"snubber": 0.3, "filter capacitor": 0.8}, line)


def shunt_capacitor(site: Site) -> Findings:
    """From a signal, a control line, a tap or a chip's own pin to ground."""
    if site.to_fixed is None:
        return
    signal, far = site.to_fixed
    survey, farads = site.survey, site.kind.farads
    line = f"from {signal} to {survey.describe(far)}"
    if survey.is_supply(far):
        scores = {"filter capacitor": 0.55, "AC coupling": 0.3, "decoupling": 0.35}
        yield from ranked(scores, line)
        return
    yield found("filter capacitor", 0.7, line)
    timing = "soft-start or timing capacitor"
    words, names = words_of(signal), survey.names(signal)
    resistors, chips = survey.resistors[signal], survey.chips[signal]
    pulled = [b for b in resistors if survey.is_supply(b.far)]
    tiny = farads is not None and farads < TIMING_FARADS
    supplied = any(names_supply(name) for name in (*survey.pin_names(signal), words))
    if says("reset", words) and not tiny:
        yield found(timing, 0.8, line, f"{words} is a reset line")
    elif says("button", words) or survey.count(signal, Kind.SWITCH):
        yield found("filter capacitor", 0.8, line, "on a button's line: keeps it from bouncing")
        yield found(timing, 0.5, line)
    elif (
        pulled
        and not tiny
        and not supplied
        and len(resistors) == len(chips) == 1
        and len(survey.pins(signal)) <= 3  # nothing but chip, capacitor and resistor
    ):
        because = f"charged through {pulled[0].part} from {pulled[0].far}: delays the pin"
        yield found(timing, 0.74, because)
    if says("soft start", names):
        yield found(timing, 0.85, f"on the pin {names.strip()}")
    elif says("compensation", names):
        yield found("filter capacitor", 0.85, f"on the pin {names.strip()}")
    elif supplied and chips and (farads or 1) >= BYPASS_FARADS:
        because = f"on a chip's own supply or reference: {names.strip()}"
        yield from _by_value(farads, 0.82, line, because)
    elif not resistors or not words:
        yield from _own_pin(site, signal, line)


def _own_pin(site: Site, signal: str, line: str) -> Findings:
    """A pin of one chip with its capacitor, not named: its bypass, its soft start, or its bias."""
    survey, farads = site.survey, site.kind.farads
    chips = survey.chips[signal]
    if len(chips) != 1:
        return
    others = {pin.part for pin in survey.pins(signal)} - {chips[0], site.part.key}
    capacitors = {b.part for b in survey.capacitors[signal]}
    chip = survey.part(chips[0])
    text = f"on a pin of {chip.refdes}"
    timing = "soft-start or timing capacitor"
    if "amplifier" in roles_in_text(chip):
        yield found("filter capacitor", 0.78, line, f"{text}, an amplifier: its bias or bypass")
        yield from ranked({timing: 0.3, "decoupling": 0.4}, text)
    elif farads is None or farads >= BYPASS_FARADS:
        only = others <= capacitors
        score = 0.82 if only and others else 0.74 if only else 0.5
        yield from _by_value(farads, score, line, text)
        yield found(timing, 0.3, text)
    elif farads >= TIMING_FARADS and not words_of(signal):
        yield found(timing, 0.5, text)


def series_capacitor(site: Site) -> Findings:
    """Between two signals: passes the signal and blocks the bias."""
    if site.lines is None:
        return
    first, second = site.lines
    survey, farads = site.survey, site.kind.farads or 0.0
    line = f"between {first} and {second}"
    yield from ranked({"AC coupling": 0.72, "filter capacitor": 0.35}, line)
    if are_pair(first, second):
        yield found("filter capacitor", 0.92, f"across the pair {first} and {second}")
        return
    shared = survey.shared_chips(first, second)
    pins = f"between two pins of {survey.part(shared[0]).refdes}" if shared else ""
    if shared and len(survey.pins(first)) == len(survey.pins(second)) == 2:
        yield found("unknown", 0.74, f"{pins} and nothing else: the flying capacitor of a charge "
                    "pump, for which the list has no word")  # fmt: skip
    elif shared and first not in survey.crystal_nets and second not in survey.crystal_nets:
        yield found("filter capacitor", 0.76, pins)
    ends = [survey.on_net[net].keys() for net in site.lines]
    on_plugs = all({Kind.CONNECTOR} <= kinds <= {Kind.CONNECTOR, Kind.CAPACITOR} for kinds in ends)
    if farads >= EITHER_FARADS[0] and on_plugs:
        word = "bulk capacitor" if farads >= BULK_FARADS else "decoupling"
        yield found(word, 0.75, f"{line}, both on plugs only: supply and return pass through")
    if not any(_is_driven(survey, net) for net in site.lines):
        yield found("filter capacitor", 0.82, line, "both ends are fed through resistors only")
    for net, far in site.line_ways:
        resistors = survey.resistors[net]
        if len(survey.pins(net)) == 2 and len(resistors) == 1:
            if bridged(survey, resistors[0].far, far, resistors[0].part):
                yield found("filter capacitor", 0.86, f"in series with {resistors[0].part}, across "
                            "a capacitor or resistor: a loop filter")  # fmt: skip
                return
        elif _bridges_chain(survey, net, far):
            because = "across a resistor and a capacitor in series"
            yield found("filter capacitor", 0.84, line, because)
            return


def _is_driven(survey: Survey, net: str) -> bool:
    passive = survey.count(net, Kind.RESISTOR, Kind.CAPACITOR, Kind.TEST_POINT)
    return passive < len(survey.pins(net)) or all(
        survey.is_signal(b.far) for b in survey.resistors[net]
    )


def _bridges_chain(survey: Survey, first: str, second: str) -> bool:
    """Return whether a resistor and a capacitor in series stand across the same two nets."""
    for resistor in survey.resistors[first]:
        if not survey.is_signal(resistor.far) or len(survey.pins(resistor.far)) != 2:
            continue
        for capacitor in survey.capacitors[resistor.far]:
            ends = {capacitor.far}
            if survey.is_signal(capacitor.far) and len(survey.pins(capacitor.far)) == 2:
                ends |= {b.far for b in survey.resistors[capacitor.far]}
            if second in ends:
                return True
    return False


def unplaced_capacitor(site: Site) -> Findings:
    """What a capacitor is most often, where its ends say nothing."""
    if not site.ends:
        yield found("decoupling", 0.3, "its ends are not on two nets")
    elif len(site.grounds) == 2:
        yield found("filter capacitor", 0.75, f"joins the grounds {' and '.join(site.ends)}")
    if site.lines and site.survey.count(site.lines[0], *CHIPS) == 0:
        yield found("snubber", 0.15, "no chip on one side")
