"""MOSFETs, shifters and switch chips: which nets they join, and on what condition.

A MOSFET with its gate on a rail and both other ends on pulled-up signals is a level shifter; one
with source or drain on a rail and the gate driven is a load switch. Other transistors drive.
"""

from __future__ import annotations

import re
from collections.abc import Container, Mapping
from typing import Final

from nettrace.circuit.evidence import PartKind
from nettrace.circuit.kinds import Kind
from nettrace.circuit.series import Pair, terminals_of
from nettrace.model.board import Board, Part, Pin

__all__ = ["P_CHANNEL", "chip_pairs", "load_switch_nets", "shifter_pair", "switched_way"]

#: Words and families of P-channel MOSFETs, and of N-channel ones (common practice, no source).
P_CHANNEL: Final = re.compile(
    r"(?:^|[^A-Z])P-?(?:CH|MOS|FET)|MOSFET_P|_PMOS|PMOS|DMP\d|SI23(?:01|05|07|33)|AO34(?:01|07|15)|BSS84"
    r"|IRLML(?:64|22|5103|9301)|NTR41|FDN3(?:38|40|04)P|WPM\d|PMV\d+UP|NDS0610|\d+UP[E\d]|SSM3J",
    re.IGNORECASE,
)
_N_CHANNEL: Final = re.compile(
    r"(?:^|[^A-Z])N-?(?:CH|MOS|FET)|MOSFET_N|NMOS|DMN\d|SI23(?:00|02|04|06)|AO34(?:00|02|04|06)"
    r"|2N700[02]|BSS138|FDN3(?:37|57)N|PMV\d+[EU]N|SSM3K|NPN",
    re.IGNORECASE,
)


def switched_way(
    part: Part, board: Board, kinds: Mapping[str, PartKind], grounds: Container[str]
) -> tuple[str, str] | None:
    """Return (supply side, switched side) of a MOSFET between two rails; None if it is none.

    Its body diode must not lead from the supply to the load, or it could not cut off: a P-channel
    MOSFET has its source at the supply, an N-channel one its drain. Where the channel is not
    said, the end to which a resistor ties the gate is the supply, else the source: high-side
    switches are mostly P-channel. A gate with nothing but a resistor to ground guards against
    reversal, and there the diode does lead to the load.

    Args:
        part: the MOSFET or transistor.
        board: the board it is on.
        kinds: the kind of every part, by part key.
        grounds: names of ground nets.

    Source: common practice, no source.
    """
    ends = terminals_of(part)
    if kinds[part.key].kind not in {Kind.MOSFET, Kind.TRANSISTOR} or ends is None:
        return None
    text = f"{part.value or ''} {part.description or ''}"
    source, drain = ends.source, ends.drain
    at_gate = {pin.part for pin in board.net_by_name[ends.gate].pins} - {part.key}
    tied = {
        net
        for key in at_gate
        if kinds[key].kind is Kind.RESISTOR
        for net in board.part_by_key[key].nets
        if net != ends.gate
    }
    if any(net in grounds for net in tied) and all(kinds[key].kind in _AROUND for key in at_gate):
        return drain, source
    if P_CHANNEL.search(text):
        return source, drain
    if _N_CHANNEL.search(text) or (drain in tied and source not in tied):
        return drain, source
    return source, drain


#: What may stand at a gate that nothing drives.
_AROUND: Final = frozenset({Kind.RESISTOR, Kind.CAPACITOR, Kind.ZENER, Kind.DIODE})


def load_switch_nets(
    part: Part, kind: PartKind, supplies: Mapping[str, object], grounds: Mapping[str, object]
) -> tuple[str, str] | None:
    """Return (supply, switched net) of a MOSFET in series with a rail; None if it is none.

    Args:
        part: the MOSFET or transistor.
        kind: its kind.
        supplies: names of supply nets known so far.
        grounds: names of ground nets.
    """
    if kind.kind not in {Kind.MOSFET, Kind.TRANSISTOR}:
        return None
    ends = terminals_of(part)
    if ends is None or grounds.keys() & {ends.source, ends.drain, ends.gate}:
        return None
    if ends.gate in supplies:
        return None
    for near, far in ((ends.source, ends.drain), (ends.drain, ends.source)):
        if near in supplies and far not in supplies:
            return near, far
    return None


def shifter_pair(
    part: Part, kind: PartKind, supplies: Mapping[str, object], grounds: Mapping[str, object]
) -> Pair | None:
    """Return the pair of a MOSFET level shifter (gate on a rail, two signals), low side first."""
    # a base is never tied straight to a rail: with the letter alone known it is a MOSFET too
    if kind.kind not in {Kind.MOSFET, Kind.TRANSISTOR}:
        return None
    ends = terminals_of(part)
    if ends is None or ends.gate not in supplies or ends.source == ends.drain:
        return None
    if any(net in supplies or net in grounds for net in (ends.source, ends.drain)):
        return None
    low = next(pin for pin in part.pins if pin.net == ends.source)
    high = next(pin for pin in part.pins if pin.net == ends.drain)
    return Pair(low, high, "level shifter", None, f"while {ends.gate} is up")


_SHIFTER_TEXT: Final = re.compile(
    r"PCA930\d|TXS010\d|TXB010\d|NTS010\d|NTB010\d|LSF010\d|FXMA|TCA930\d|PCA9517|TCA9517|PCA9509"
    r"|GTL200\d|PCA9306|ADG32\d{2}|TCA954|level.?shift|level.?transl|voltage.?transl|SN74(?:AVC|LVC)\dT",
    re.IGNORECASE,
)
_ISOLATOR: Final = re.compile(r"ISO154\d|ADUM125\d|ADuM225\d", re.IGNORECASE)


def chip_pairs(part: Part, kind: PartKind) -> tuple[Pair, ...]:
    """Return the pairs of a level shifter chip: A1-B1, SDA1-SDA2, by pin names."""
    if kind.kind is not Kind.IC or not 6 <= len(part.pins) <= 32:
        return ()
    text = f"{part.value or ''} {part.description or ''}"
    shifter = _SHIFTER_TEXT.search(text) is not None or _ISOLATOR.search(text) is not None
    sides = _sides(part.pins)
    if sides is None or not (shifter or _has_two_supplies(part)):
        return ()
    return tuple(
        Pair(a, b, "level shifter", None, "while both sides of the level shifter have supply")
        for a, b in sides
        if a.net and b.net and a.net != b.net
    )


def _has_two_supplies(part: Part) -> bool:
    names = {_plain(pin) for pin in part.pins}
    return bool(
        {"VCCA", "VCCB"} <= names
        or {"VREF1", "VREF2"} <= names
        or {"VCC1", "VCC2"} <= names
        or {"VREFA", "VREFB"} <= names
    )


def _plain(pin: Pin) -> str:
    return re.sub(r"[{}~_^ ]", "", (pin.name or "").upper())


def _sides(pins: tuple[Pin, ...]) -> tuple[tuple[Pin, Pin], ...] | None:
    """Return pin pairs by names: A1/B1, 1A/1B, SDA1/SDA2, SDAA/SDAB."""
    by_name: dict[str, Pin] = {}
    for pin in pins:
        name = _plain(pin)
        if name and not re.match(r"^(?:V|GND|EN|OE|NC|DIR|EP)", name):
            by_name[name] = pin
    pairs: list[tuple[Pin, Pin]] = []
    for name, pin in by_name.items():
        for pattern, swap in _PARTNERS:
            match = pattern.match(name)
            if match:
                partner = by_name.get(match.expand(swap))
                if partner is not None:
                    pairs.append((pin, partner))
                break
    return tuple(pairs) or None


_PARTNERS: Final[tuple[tuple[re.Pattern[str], str], ...]] = (
    (re.compile(r"^A(\d+)$"), r"B\1"),
    (re.compile(r"^(\d+)A(\d*)$"), r"\1B\2"),
    (re.compile(r"^A$"), "B"),
    (re.compile(r"^(SDA|SCL)1$"), r"\g<1>2"),
    (re.compile(r"^(SDA|SCL)A$"), r"\1B"),
    (re.compile(r"^(SDA|SCL)IN$"), r"\1OUT"),
    (re.compile(r"^LV(\d+)$"), r"HV\1"),
)
