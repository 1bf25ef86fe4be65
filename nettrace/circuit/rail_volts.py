"""The voltage of each rail, with its basis: note, file, divider, name, inherited; else unknown."""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from nettrace.circuit.evidence import PartKind, Volts
from nettrace.circuit.kinds import Kind
from nettrace.circuit.rail_evidence import Divider, SupplyEvidence, is_feedback_pin
from nettrace.circuit.rail_names import read_rail_name
from nettrace.circuit.regulators import fixed_output_volts, reference_volts
from nettrace.model.board import Board

__all__ = ["Feed", "settle_volts"]


@dataclass(frozen=True, slots=True)
class Feed:
    """A link that brings a rail's supply on to another net."""

    part: str
    from_net: str
    to_net: str
    kind: str
    condition: str
    fitted: bool


#: Reference voltages of common adjustable converters, V: tried where the part is not known
#: (common practice, no source).
CANDIDATES: Final = (0.6, 0.8, 1.25, 1.0, 0.5, 1.2)
#: Voltages that rails are made for, V (common practice, no source).
STANDARD: Final = (
    0.8,
    0.9,
    1.0,
    1.05,
    1.1,
    1.2,
    1.35,
    1.5,
    1.8,
    2.5,
    2.8,
    3.0,
    3.3,
    5.0,
    9.0,
    12.0,
)
#: Two figures nearer than this are the same voltage, fraction.
SAME: Final = 0.035
#: How near a divider with a guessed reference must come to a standard voltage, fraction.
NEAR_STANDARD: Final = 0.015

#: USB 2.0 table 7-7: VBUS at a device, V.
USB: Final = (5.0, 4.4, 5.25)
#: One lithium cell: nominal, empty, full, V (common practice, no source).
LITHIUM: Final = (3.7, 3.0, 4.2)
COIN: Final = (3.0, 2.0, 3.3)


def settle_volts(
    board: Board,
    kinds: Mapping[str, PartKind],
    evidence: SupplyEvidence,
    grounds: Mapping[str, object],
    feeds: Mapping[str, tuple[Feed, ...]],
    noted: Mapping[str, float],
) -> tuple[dict[str, Volts], dict[str, tuple[Volts, ...]]]:
    """Return the voltage per rail, and per rail the voltages that lost, best first.

    Args:
        board: the board.
        kinds: kinds by part key.
        evidence: what `gather_evidence` found.
        grounds: ground nets.
        feeds: rail -> links that feed it from other rails (every rail is a key).
        noted: volts from the user's notes by net.
    """
    chosen: dict[str, Volts] = {}
    lost: dict[str, tuple[Volts, ...]] = {}
    regulators = _regulators(evidence)
    for net in feeds:
        claims: list[Volts] = []
        if net in noted:
            volts = noted[net]
            claims.append(Volts(volts, volts, volts, "user's note", 1.0))
        stated = board.net_by_name[net].volts
        if stated is not None:
            claims.append(Volts(stated, stated, stated, "source in the file", 0.98))
        named = _named(board, kinds, net)
        divided = _divided(board, kinds, evidence, grounds, regulators, net, named)
        if divided is not None:
            claims.append(divided)
        if named is not None:
            claims.append(named)
        fixed = _fixed(board, evidence, net)
        if fixed is not None:
            claims.append(fixed)
        if not claims:
            by_pins = _by_pin_names(board, kinds, net)
            if by_pins is not None:
                claims.append(by_pins)
        if claims:
            chosen[net] = claims[0]
            lost[net] = tuple(c for c in claims[1:] if not _same(c.nominal, claims[0].nominal))
    _inherit(feeds, chosen)
    _halves(evidence, grounds, feeds, chosen)
    return chosen, lost


def _same(first: float | None, second: float | None) -> bool:
    if first is None or second is None:
        return first is second
    return abs(first - second) <= SAME * max(abs(first), abs(second))


def _named(board: Board, kinds: Mapping[str, PartKind], net: str) -> Volts | None:
    for text in (net, *board.net_by_name[net].aliases):
        reading = read_rail_name(text)
        if reading.volts is not None and reading.kind in {"rail", "level"}:
            volts = reading.volts
            return Volts(volts, volts, volts, f"name {text}", reading.score)
        if reading.usual is not None:
            nominal, least, most = reading.usual
            return Volts(nominal, least, most, f"name {text}: USB supply", reading.score)
        if reading.kind == "supply" and "BAT" in reading.word:
            return _battery(board, kinds, net, text)
    return _battery(board, kinds, net, "")


#: VBUS contacts of a Type-C receptacle (USB Type-C specification, receptacle pin assignments).
_TYPE_C_VBUS: Final = frozenset({"A4", "A9", "B4", "B9"})


def _by_pin_names(board: Board, kinds: Mapping[str, PartKind], net: str) -> Volts | None:
    """Return the voltage that pin names tell: VBUS of a socket, or pins named 3V3 that agree."""
    told: dict[float, str] = {}
    for pin in board.net_by_name[net].pins:
        part = board.part_by_key[pin.part]
        is_socket = kinds[pin.part].kind is Kind.CONNECTOR
        contacts = {p.number for p in part.pins} if is_socket else set()
        type_c = pin.number in _TYPE_C_VBUS and contacts >= _TYPE_C_VBUS
        if is_socket and ((pin.name or "").upper() == "VBUS" or (type_c and not pin.name)):
            nominal, least, most = USB
            return Volts(nominal, least, most, f"VBUS contact of {part.refdes}", 0.75, (part.key,))
        if pin.name and not pin.name.isdecimal():
            reading = read_rail_name(pin.name)
            if reading.kind == "rail" and reading.volts is not None and reading.volts > 0:
                told[reading.volts] = f"pin name {part.refdes}.{pin.name}"
    if len(told) != 1:
        return None
    volts, basis = next(iter(told.items()))
    return Volts(volts, volts, volts, basis, 0.55)


_BATTERY_TEXT: Final = re.compile(r"batt?(?:ery|con)?|lipo|li-?ion|\bcell\b|CR\d{4}", re.IGNORECASE)
_BATTERY_PIN: Final = re.compile(r"^(?:V?BATT?\+?|B\+|PACK\+|CELL\+|P\+)$", re.IGNORECASE)
_COIN_TEXT: Final = re.compile(r"\bCR ?\d{4}|coin", re.IGNORECASE)


def _battery(board: Board, kinds: Mapping[str, PartKind], net: str, name: str) -> Volts | None:
    """Return a cell's range where a battery or its connector stands on the net."""
    for pin in board.net_by_name[net].pins:
        kind = kinds[pin.part].kind
        part = board.part_by_key[pin.part]
        text = f"{part.refdes} {part.value or ''} {part.package or ''}"
        if kind is Kind.BATTERY or (
            kind is Kind.CONNECTOR
            and len(part.nets) <= 6
            and ((name and _BATTERY_TEXT.search(text)) or _BATTERY_PIN.match(pin.name or ""))
        ):
            nominal, least, most = COIN if _COIN_TEXT.search(text) else LITHIUM
            what = "coin cell" if _COIN_TEXT.search(text) else "one lithium cell"
            basis = f"{what} at {part.refdes}"
            basis = f"name {name}, {basis}" if name else basis
            return Volts(nominal, least, most, basis, 0.6, (part.key,))
    return None


def _regulators(evidence: SupplyEvidence) -> dict[str, set[str]]:
    """Return rail -> chips that make it, by inductor or by an output pin."""
    found: dict[str, set[str]] = {}
    for converter in evidence.converters:
        if not converter.boosts:
            found.setdefault(converter.output, set()).add(converter.chip)
    for net, pins in evidence.output_pins.items():
        found.setdefault(net, set()).update(pin.part for pin in pins)
    return found


def _dividers(evidence: SupplyEvidence, grounds: Mapping[str, object], top: str) -> list[Divider]:
    found = []
    for upper, tap, upper_ohms in evidence.resistors.get(top, ()):
        if tap in grounds or tap == top:
            continue
        for lower, bottom, lower_ohms in evidence.resistors.get(tap, ()):
            if bottom in grounds:
                found.append(Divider(upper, lower, top, tap, bottom, upper_ohms, lower_ohms))
    return found


def _divided(
    board: Board,
    kinds: Mapping[str, PartKind],
    evidence: SupplyEvidence,
    grounds: Mapping[str, object],
    regulators: Mapping[str, set[str]],
    net: str,
    named: Volts | None,
) -> Volts | None:
    """Return the voltage that a feedback divider sets, None where none is seen or it is unclear."""
    for divider in _dividers(evidence, grounds, net):
        chip = _chip_at(board, kinds, evidence, regulators, divider)
        if chip is None or divider.ratio is None:
            continue
        basis = f"feedback divider {divider.upper}/{divider.lower}"
        legs = (divider.upper, divider.lower)
        known = reference_volts(board.part_by_key[chip])
        if known is not None:
            volts = round(known * divider.ratio, 3)
            return Volts(
                volts, volts * 0.98, volts * 1.02,
                f"{basis} with the {known:g} V reference of {chip}", 0.85, (*legs, chip),
            )  # fmt: skip
        matches = _guesses(divider.ratio, named)
        if len(matches) == 1:
            reference, volts = matches[0]
            if named is not None:
                text = f"{named.basis}, which {basis} gives with a {reference:g} V reference"
                return Volts(
                    volts, named.min, named.max, text, named.score, (*named.from_parts, *legs)
                )
            text = f"{basis}, if {chip} has a {reference:g} V reference"
            return Volts(volts, volts * 0.98, volts * 1.02, text, 0.55, (*legs, chip))
    return None


def _guesses(ratio: float, named: Volts | None) -> list[tuple[float, float]]:
    """Return (reference, volts) for references that give the named or one standard voltage."""
    if named is not None and named.nominal is not None:
        hits = [(r, named.nominal) for r in CANDIDATES if _same(r * ratio, named.nominal)]
        return hits[:1]
    return [
        (r, round(r * ratio, 2))
        for r in CANDIDATES[:3]
        if any(abs(r * ratio - v) <= NEAR_STANDARD * v for v in STANDARD)
    ]


def _chip_at(
    board: Board,
    kinds: Mapping[str, PartKind],
    evidence: SupplyEvidence,
    regulators: Mapping[str, set[str]],
    divider: Divider,
) -> str | None:
    """Return the regulator whose feedback pin is the tap, None where the tap is something else."""
    pins = evidence.active_pins.get(divider.tap, ())
    for pin in pins:
        if is_feedback_pin(pin):
            return pin.part
    makers = regulators.get(divider.top, set()) | _boosters(board, kinds, evidence, divider.top)
    for pin in pins:
        if pin.part in makers and not pin.name:
            return pin.part
    return None


def _boosters(
    board: Board, kinds: Mapping[str, PartKind], evidence: SupplyEvidence, top: str
) -> set[str]:
    """Return chips of converters whose diode ends at this rail."""
    nodes = evidence.booster_of
    found = set()
    for pin in board.net_by_name[top].pins:
        if kinds[pin.part].kind is Kind.DIODE:
            for other in board.part_by_key[pin.part].pins:
                if other.net in nodes:
                    found.add(nodes[other.net])
    return found


def _fixed(board: Board, evidence: SupplyEvidence, net: str) -> Volts | None:
    for pin in evidence.output_pins.get(net, ()):
        part = board.part_by_key[pin.part]
        volts = fixed_output_volts(part)
        if volts is not None:
            basis = f"regulator {pin.part} {part.value}"
            return Volts(volts, volts * 0.97, volts * 1.03, basis, 0.7, (pin.part,))
    return None


#: Links that pass the voltage on unchanged, or nearly so.
_SAME_VOLTS: Final = frozenset(
    {"zero-ohm link", "current shunt", "ferrite bead", "fuse", "inductor", "jumper header",
     "jumper",
     "load switch"}
)  # fmt: skip


def _inherit(feeds: Mapping[str, tuple[Feed, ...]], chosen: dict[str, Volts]) -> None:
    waiting = deque(chosen)
    onward: dict[str, list[Feed]] = {}
    for links in feeds.values():
        for feed in links:
            onward.setdefault(feed.from_net, []).append(feed)
    while waiting:
        name = waiting.popleft()
        volts = chosen[name]
        for feed in onward.get(name, ()):
            far = feed.to_net
            if far in chosen or not feed.fitted or feed.kind not in _SAME_VOLTS:
                continue
            if feed.condition.startswith("only"):
                continue
            extra = f" {feed.condition}" if feed.condition else ""
            basis = f"inherited from {name} through {feed.kind} {feed.part}{extra}"
            score = round(volts.score * 0.95, 2)
            chosen[far] = Volts(volts.nominal, volts.min, volts.max, basis, score, (feed.part,))
            waiting.append(far)


def _halves(
    evidence: SupplyEvidence,
    grounds: Mapping[str, object],
    feeds: Mapping[str, tuple[Feed, ...]],
    chosen: dict[str, Volts],
) -> None:
    """Give a reference net the voltage of the divider that makes it."""
    for net in feeds:
        if net in chosen:
            continue
        resistors = evidence.resistors.get(net, ())
        up = [r for r in resistors if r[1] in chosen and r[2]]
        down = [r for r in resistors if r[1] in grounds and r[2]]
        if len(up) != 1 or len(down) != 1:
            continue
        top = chosen[up[0][1]]
        upper, lower = up[0][2], down[0][2]
        if top.nominal is None or upper is None or lower is None:
            continue
        share = lower / (upper + lower)
        volts = round(top.nominal * share, 3)
        basis = f"divider {up[0][0]}/{down[0][0]} from {up[0][1]}"
        chosen[net] = Volts(volts, volts * 0.97, volts * 1.03, basis, 0.7, (up[0][0], down[0][0]))
