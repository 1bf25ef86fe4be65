"""The voltage of each rail, with its basis: note, file, divider, name, inherited; else unknown.

What makers say of their regulators (reference, fixed output) stands in knowledge/supplies.toml.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Any, Final, NamedTuple

from nettrace.circuit.evidence import Volts
from nettrace.circuit.kinds import Kind
from nettrace.circuit.links import text_of
from nettrace.circuit.rail_evidence import SupplyEvidence, is_feedback_pin
from nettrace.circuit.rail_names import read_rail_name
from nettrace.circuit.series import LINK_KINDS
from nettrace.knowledge import compiled, pattern, table
from nettrace.model.board import Part

_pattern = partial(pattern, "supplies")

#: Two figures nearer than this are the same voltage, fraction.
SAME: Final = 0.035
#: How near a divider with a guessed reference must come to a standard voltage, fraction.
NEAR_STANDARD: Final = 0.015
#: Of the references that are tried, so many for a rail that no name gives a voltage.
BLIND_REFERENCES: Final = 3


@dataclass(frozen=True, slots=True)
class Feed:
    """A link that brings a rail's supply on to another net.

    `sure` is False where it may well carry nothing: an open jumper, one of several sources.
    """

    part: str
    from_net: str
    to_net: str
    kind: str
    condition: str
    fitted: bool
    sure: bool = True


class _Divider(NamedTuple):
    """Two resistors, from the rail over `tap` to a ground; `ratio` is rail to tap, if known."""

    upper: str
    lower: str
    tap: str
    ratio: float | None


def settle_volts(
    evidence: SupplyEvidence,
    feeds: Mapping[str, Collection[Feed]],
    noted: Mapping[str, float],
) -> tuple[dict[str, Volts], dict[str, tuple[Volts, ...]]]:
    """Return the voltage per rail, and per rail the voltages that lost, best first.

    Args:
        evidence: the board and what speaks for its supplies.
        feeds: rail -> links that feed it from other rails (every rail is a key).
        noted: volts from the user's notes by net.
    """
    chosen: dict[str, Volts] = {}
    lost: dict[str, tuple[Volts, ...]] = {}
    for net in feeds:
        claims: list[Volts | None] = []
        if net in noted:
            claims.append(_exactly(noted[net], "user's note", 1.0))
        stated = evidence.board.net_by_name[net].volts
        if stated is not None:
            claims.append(_exactly(stated, "source in the file", 0.98))
        named = _named(evidence, net)
        claims += (_divided(evidence, net, named), named, _fixed(evidence, net))
        found = [claim for claim in claims if claim is not None]
        if not found:
            by_pins = _by_pin_names(evidence, net)
            found = [by_pins] if by_pins is not None else []
        if found:
            chosen[net] = found[0]
            lost[net] = tuple(c for c in found[1:] if not _same(c.nominal, found[0].nominal))
    _inherit(feeds, chosen)
    for net in feeds:
        half = _half(evidence, net, chosen) if net not in chosen else None
        if half is not None:
            chosen[net] = half
    return chosen, lost


def _exactly(volts: float, basis: str, score: float, from_parts: tuple[str, ...] = ()) -> Volts:
    return Volts(volts, volts, volts, basis, score, from_parts)


def _within(
    share: float, volts: float, basis: str, score: float, from_parts: tuple[str, ...]
) -> Volts:
    return Volts(volts, volts * (1 - share), volts * (1 + share), basis, score, from_parts)


def _cell(kind: str, basis: str, score: float, from_parts: tuple[str, ...]) -> Volts:
    nominal, least, most = table("supplies")["cells"][kind]
    return Volts(nominal, least, most, basis, score, from_parts)


def _same(first: float | None, second: float | None) -> bool:
    if first is None or second is None:
        return first is second
    return abs(first - second) <= SAME * max(abs(first), abs(second))


def _named(evidence: SupplyEvidence, net: str) -> Volts | None:
    for text in (net, *evidence.board.net_by_name[net].aliases):
        reading = read_rail_name(text)
        if reading.volts is not None and reading.kind in {"rail", "level"}:
            return _exactly(reading.volts, f"name {text}", reading.score)
        if reading.usual is not None:
            nominal, least, most = reading.usual
            return Volts(nominal, least, most, f"name {text}: USB supply", reading.score)
        if reading.kind == "supply" and "BAT" in reading.word:
            return _battery(evidence, net, text)
    return _battery(evidence, net, "")


def _battery(evidence: SupplyEvidence, net: str, name: str) -> Volts | None:
    """Return a cell's range where a battery or its connector stands on the net."""
    for pin in evidence.on(net):
        part = evidence.board.part_by_key[pin.part]
        text = f"{part.refdes} {part.value or ''} {part.package or ''}"
        kind = evidence.kind(pin)
        if kind is not Kind.BATTERY and (kind is not Kind.CONNECTOR or len(part.nets) > 6):
            continue
        says = (name and _pattern("battery").search(text)) or _pattern("battery_pin").match(
            pin.name or ""
        )
        if kind is Kind.BATTERY or says:
            coin = _pattern("coin_cell").search(text) is not None
            basis = f"{'coin cell' if coin else 'one lithium cell'} at {part.refdes}"
            basis = f"name {name}, {basis}" if name else basis
            return _cell("coin" if coin else "lithium", basis, 0.6, (part.key,))
    return None


def _by_pin_names(evidence: SupplyEvidence, net: str) -> Volts | None:
    """Return the voltage that pin names tell: VBUS of a socket, or pins named 3V3 that agree."""
    told: dict[float, str] = {}
    vbus = set(table("supplies")["type_c"]["vbus"].split())
    for pin in evidence.on(net):
        part = evidence.board.part_by_key[pin.part]
        if evidence.kind(pin) is Kind.CONNECTOR:
            type_c = pin.number in vbus and {p.number for p in part.pins} >= vbus
            if (pin.name or "").upper() == "VBUS" or (type_c and not pin.name):
                return _cell("usb", f"VBUS contact of {part.refdes}", 0.75, (part.key,))
        if pin.name and not pin.name.isdecimal():
            reading = read_rail_name(pin.name)
            if reading.kind == "rail" and reading.volts is not None and reading.volts > 0:
                told[reading.volts] = f"pin name {part.refdes}.{pin.name}"
    if len(told) != 1:
        return None
    return _exactly(*told.popitem(), 0.55)


def _divided(evidence: SupplyEvidence, net: str, named: Volts | None) -> Volts | None:
    """Return the voltage that a feedback divider sets, None where none is seen or it is unclear."""
    for divider in _dividers(evidence, net):
        chip = _chip_at(evidence, net, divider.tap)
        if chip is None or divider.ratio is None:
            continue
        legs = (divider.upper, divider.lower)
        basis = f"feedback divider {divider.upper}/{divider.lower}"
        known = reference_volts(evidence.board.part_by_key[chip])
        if known is not None:
            text = f"{basis} with the {known:g} V reference of {chip}"
            return _within(0.02, round(known * divider.ratio, 3), text, 0.85, (*legs, chip))
        guesses = _guesses(divider.ratio, named)
        if len(guesses) != 1:
            continue
        reference, volts = guesses[0]
        if named is not None:
            text = f"{named.basis}, which {basis} gives with a {reference:g} V reference"
            parts = (*named.from_parts, *legs)
            return Volts(volts, named.min, named.max, text, named.score, parts)
        text = f"{basis}, if {chip} has a {reference:g} V reference"
        return _within(0.02, volts, text, 0.55, (*legs, chip))
    return None


def _dividers(evidence: SupplyEvidence, top: str) -> list[_Divider]:
    found = []
    for upper, tap, upper_ohms in evidence.resistors.get(top, ()):
        for lower, bottom, lower_ohms in evidence.resistors.get(tap, ()):
            if bottom in evidence.grounds:
                ratio = 1.0 + upper_ohms / lower_ohms if upper_ohms and lower_ohms else None
                found.append(_Divider(upper, lower, tap, ratio))
    return found


def _guesses(ratio: float, named: Volts | None) -> list[tuple[float, float]]:
    """Return (reference, volts) for references that give the named or one standard voltage."""
    standard = table("supplies")["standard"]
    tried = standard["references"]
    if named is not None and named.nominal is not None:
        return [(r, named.nominal) for r in tried if _same(r * ratio, named.nominal)][:1]
    return [
        (r, round(r * ratio, 2))
        for r in tried[:BLIND_REFERENCES]
        if any(abs(r * ratio - v) <= NEAR_STANDARD * v for v in standard["volts"])
    ]


def _chip_at(evidence: SupplyEvidence, top: str, tap: str) -> str | None:
    """Return the regulator whose feedback pin is the tap, None where the tap is something else."""
    pins = evidence.active_pins.get(tap, ())
    for pin in pins:
        if is_feedback_pin(pin):
            return pin.part
    makers = {converter.chip for converter in evidence.converters.get(top, ())}
    makers.update(pin.part for pin in evidence.output_pins.get(top, ()))
    for pin in evidence.on(top):
        if evidence.kind(pin) is Kind.DIODE:
            nets = evidence.board.part_by_key[pin.part].nets
            makers.update(evidence.boosters[net] for net in nets if net in evidence.boosters)
    return next((pin.part for pin in pins if pin.part in makers and not pin.name), None)


def _fixed(evidence: SupplyEvidence, net: str) -> Volts | None:
    for pin in evidence.output_pins.get(net, ()):
        part = evidence.board.part_by_key[pin.part]
        volts = fixed_output_volts(part)
        if volts is not None:
            return _within(0.03, volts, f"regulator {pin.part} {part.value}", 0.7, (pin.part,))
    return None


def _inherit(feeds: Mapping[str, Collection[Feed]], chosen: dict[str, Volts]) -> None:
    """Give the rails behind links the voltage of the rail before them.

    A rail that nothing else feeds has its supply over the place of a two-pin header that is not
    fitted: such a place is bridged (common practice, no source).
    """
    for bridged in (False, True):
        waiting = deque(chosen)
        onward: dict[str, list[Feed]] = {}
        for feed in (feed for links in feeds.values() for feed in links):
            passes = feed.fitted or (bridged and feed.kind == "jumper header")
            if passes and feed.sure and LINK_KINDS[feed.kind].supply:
                onward.setdefault(feed.from_net, []).append(feed)
        while waiting:
            name = waiting.popleft()
            volts = chosen[name]
            for feed in onward.get(name, ()):
                if feed.to_net in chosen:
                    continue
                extra = f" {feed.condition}" if feed.condition else ""
                extra, less = (extra, 0.95) if feed.fitted else (", if its place is bridged", 0.6)
                basis = f"inherited from {name} through {feed.kind} {feed.part}{extra}"
                score = round(volts.score * less, 2)
                chosen[feed.to_net] = Volts(
                    volts.nominal, volts.min, volts.max, basis, score, (feed.part,)
                )
                waiting.append(feed.to_net)


def _half(evidence: SupplyEvidence, net: str, chosen: Mapping[str, Volts]) -> Volts | None:
    """Return the voltage of a reference net by the divider that makes it."""
    resistors = [r for r in evidence.resistors.get(net, ()) if r[2]]
    ups = [r for r in resistors if r[1] in chosen]
    downs = [r for r in resistors if r[1] in evidence.grounds]
    if len(ups) != 1 or len(downs) != 1:
        return None
    (upper, top, upper_ohms), (lower, _, lower_ohms) = ups[0], downs[0]
    volts = chosen[top].nominal
    if volts is None or upper_ohms is None or lower_ohms is None:
        return None
    basis = f"divider {upper}/{lower} from {top}"
    volts = round(volts * (lower_ohms / (upper_ohms + lower_ohms)), 3)
    return _within(0.03, volts, basis, 0.7, (upper, lower))


def is_regulator_text(part: Part) -> bool:
    """Return whether the value or the description names a regulator."""
    return _pattern("regulator").search(text_of(part)) is not None


def reference_volts(part: Part) -> float | None:
    """Return the feedback reference of a regulator, V: stated in its description, or by family."""
    match = _pattern("stated_reference").search(part.description or "")
    if match:
        return float(match[1] or match[2])
    return _reference((part.value or "").upper())


@lru_cache(maxsize=4096)
def _reference(text: str) -> float | None:
    rows: tuple[tuple[str, float], ...] = table("supplies")["references"]["rows"]
    return next((volts for family, volts in rows if family in text), 0.0) or None


def fixed_output_volts(part: Part) -> float | None:
    """Return the output of a fixed regulator from its part number, V; None where unclear.

    `AP2112K-3.3`, `ME6212C18M5G`, `TLV70033`, `78L05`; multi-output chips give None.
    """
    if len(part.pins) > 8 or not is_regulator_text(part):
        return None
    text = (part.value or "").upper()
    for each in table("supplies")["fixed_outputs"]["patterns"]:
        match = compiled(each).search(text)
        if match is None:
            continue
        groups: dict[str, Any] = match.groupdict()
        if groups.get("two"):
            return int(groups["two"]) / 10
        return float(groups.get("whole") or f"{groups['int']}.{groups['frac']}")
    return None
