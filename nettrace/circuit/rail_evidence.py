"""What speaks for a net being a supply: capacitors to ground, power pins, converters, dividers.

One walk over the parts gathers it all; nothing here decides. Nets are names, parts keys.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final

from nettrace.circuit.evidence import PartKind
from nettrace.circuit.kinds import Kind
from nettrace.circuit.rail_names import pin_function_of
from nettrace.circuit.series import two_nets
from nettrace.model.board import Board, Part, Pin

__all__ = [
    "ACTIVE",
    "DECOUPLING_FARADS",
    "Converter",
    "Divider",
    "SupplyEvidence",
    "gather_evidence",
    "is_power_output_pin",
    "is_power_pin",
]

#: Capacitors below this are for radio frequencies or filters, not for a supply (common practice).
DECOUPLING_FARADS: Final = 9e-9
#: Output capacitors of a converter are at least this (common practice, no source).
OUTPUT_FARADS: Final = 0.9e-6
#: An inductor of less than this is for radio frequencies, not for a converter (common practice).
CONVERTER_HENRIES: Final = 0.2e-6

#: Kinds that take current from a rail and do something with it.
ACTIVE: Final = frozenset(
    {
        Kind.IC,
        Kind.MODULE,
        Kind.DISPLAY,
        Kind.MICROPHONE,
        Kind.OSCILLATOR,
        Kind.MOTOR,
        Kind.SOUNDER,
        Kind.RELAY,
    }
)

_POWER_NAME: Final = re.compile(
    r"^(?:[+-]?(?:[ADP]?V(?:CC|DD|SS|EE|IN|OUT|BUS|BAT|SYS|PP|AA|IO|REG|CORE|DRIVE|LED|MIC|M|S|PWR)"
    r"|VDD\w*|VCC\w*|AVDD\w*|DVDD\w*|IOVDD\w*|USB_?VDD|PVDD\w*|PVIN\w*|LDO\d*|LDOIN\d*|VIN\w*|BAT\+?"
    r"|VBATT?|V\+|LEDA\d*|\w{1,8}[-_ ]VDD\w*|\w{1,8}[-_ ]VCC\w*|VS|VM|VPP|VBST|IN|INA?)"
    r"|\d(?:\.\d|V\d)V?|\+?\d{1,2}V)$",
    re.IGNORECASE,
)
_OUTPUT_NAME: Final = re.compile(
    r"^(?:V_?OUT\w*|OUT\d?|VREG_?VOUT|VO|LDO\d*(?:_?OUT)?|LSOUT\w*(?:/VOUT\w*)?|VSYS|V_?SYS|VREG\d*"
    r"|BUCK\d*_?OUT|DCDC\d*|VBUS_?OUT|VLDO\d*|VDDOUT|REGOUT|3V3_?OUT)$",
    re.IGNORECASE,
)
_SWITCH_NAME: Final = re.compile(
    r"^(?:SW\d*|LX\d*|PH|PHASE\d*|VDDOUT|L\d|SWN|DCDC_?SW)$", re.IGNORECASE
)
_FEEDBACK_NAME: Final = re.compile(
    r"^(?:V?FB\d*|FB_?\w|ADJ\d*|VADJ|FEEDBACK|ADJ/GND)$", re.IGNORECASE
)


def _plain(name: str | None) -> str:
    if not name:
        return ""
    return (_OVERBAR.sub(r"\1", name) if "{" in name else name).strip()


_OVERBAR: Final = re.compile(r"[~_^]\{([^}]*)\}")


def is_power_pin(pin: Pin) -> bool:
    """Return whether the pin's type or name says that it takes or gives supply (not ground)."""
    return _says_power(pin.electrical_type, pin.name)


@lru_cache(maxsize=16384)
def _says_power(electrical_type: str | None, name: str | None) -> bool:
    plain = _plain(name)
    if electrical_type is not None:
        first = electrical_type.split("+", 1)[0].strip().lower()
        if first in {"power_in", "power_out", "power"}:
            return not re.match(r"^(?:[ADP]?GND|VSS|EP|PAD)", plain, re.IGNORECASE)
    return bool(plain) and plain != "IN" and _POWER_NAME.match(plain) is not None


def is_power_output_pin(pin: Pin) -> bool:
    """Return whether the pin's type or name says that it gives a supply."""
    return _says_output(pin.electrical_type, pin.name)


@lru_cache(maxsize=16384)
def _says_output(electrical_type: str | None, name: str | None) -> bool:
    plain = _plain(name)
    if electrical_type is not None and electrical_type.startswith("power_out"):
        return not re.match(r"^V?_?BAT|^V_?BUS$|^GND", plain, re.IGNORECASE)
    return _OUTPUT_NAME.match(plain) is not None


@dataclass(frozen=True, slots=True)
class Converter:
    """An inductor between a switching node and an output (or, boosting, an input).

    `chip` drives the node; `node` is the switching net, `output` the net behind.
    """

    chip: str
    inductor: str
    node: str
    output: str
    boosts: bool = False


@dataclass(frozen=True, slots=True)
class Divider:
    """Two resistors: from `top` over `tap` to `bottom`; ohms None where not known."""

    upper: str
    lower: str
    top: str
    tap: str
    bottom: str
    upper_ohms: float | None
    lower_ohms: float | None

    @property
    def ratio(self) -> float | None:
        """Voltage of the top for one volt at the tap."""
        if not self.upper_ohms or not self.lower_ohms:
            return None
        return 1.0 + self.upper_ohms / self.lower_ohms


@dataclass(slots=True)
class SupplyEvidence:
    """What one walk over the board found; lists are in the board's order."""

    decoupling: dict[str, list[tuple[str, float | None, str]]] = field(default_factory=dict)
    power_pins: dict[str, list[Pin]] = field(default_factory=dict)
    output_pins: dict[str, list[Pin]] = field(default_factory=dict)
    active_pins: dict[str, list[Pin]] = field(default_factory=dict)
    connector_pins: dict[str, list[Pin]] = field(default_factory=dict)
    resistors: dict[str, list[tuple[str, str, float | None]]] = field(default_factory=dict)
    converters: list[Converter] = field(default_factory=list)
    switching_nodes: set[str] = field(default_factory=set)
    converter_of: dict[str, list[Converter]] = field(default_factory=dict)  # by output net
    booster_of: dict[str, str] = field(default_factory=dict)  # switching net -> chip

    def farads(self, net: str) -> float:
        """Total decoupling of a net, F; capacitors without a value count nothing."""
        return sum(c[1] or 0.0 for c in self.decoupling.get(net, ()))


def gather_evidence(
    board: Board, kinds: Mapping[str, PartKind], grounds: Mapping[str, object]
) -> SupplyEvidence:
    """Return the evidence for supply of every net; linear in the number of pins."""
    found = SupplyEvidence()
    inductors: list[tuple[Part, str, str]] = []
    for part in board.parts:
        kind = kinds[part.key]
        what = kind.kind
        if what is Kind.CAPACITOR:
            nets = two_nets(part)
            if nets is None:
                continue
            for net, other in (nets, nets[::-1]):
                if (
                    other in grounds
                    and net not in grounds
                    and (kind.farads is None or kind.farads >= DECOUPLING_FARADS)
                ):
                    found.decoupling.setdefault(net, []).append((part.key, kind.farads, other))
        elif what is Kind.RESISTOR:
            nets = two_nets(part)
            if nets is not None:
                for net, other in (nets, nets[::-1]):
                    if net not in grounds:
                        found.resistors.setdefault(net, []).append((part.key, other, kind.ohms))
        elif what is Kind.INDUCTOR:
            nets = two_nets(part)
            if nets is not None and not grounds.keys() & set(nets):
                inductors.append((part, *nets))
        elif what in ACTIVE or what in {Kind.CONNECTOR, Kind.BATTERY, Kind.ESD, Kind.UNKNOWN}:
            _gather_pins(part, what, grounds, found)
    _find_converters(board, kinds, inductors, found)
    return found


def _gather_pins(
    part: Part, what: Kind, grounds: Mapping[str, object], found: SupplyEvidence
) -> None:
    for pin in part.pins:
        net = pin.net
        if net is None or net in grounds:
            continue
        if what is Kind.CONNECTOR or what is Kind.BATTERY:
            found.connector_pins.setdefault(net, []).append(pin)
        elif what in ACTIVE:
            found.active_pins.setdefault(net, []).append(pin)
        if is_power_pin(pin) or (not pin.name and _names_supply(net)):
            found.power_pins.setdefault(net, []).append(pin)
        if what in ACTIVE and is_power_output_pin(pin):
            found.output_pins.setdefault(net, []).append(pin)


def _names_supply(net: str) -> bool:
    function = pin_function_of(net)
    return function is not None and _POWER_NAME.match(function) is not None


def _find_converters(
    board: Board,
    kinds: Mapping[str, PartKind],
    inductors: list[tuple[Part, str, str]],
    found: SupplyEvidence,
) -> None:
    for part, first, second in inductors:
        henries = kinds[part.key].henries
        if henries is not None and henries < CONVERTER_HENRIES:
            continue
        for node, other in ((first, second), (second, first)):
            chip = _driver_of(board, kinds, node)
            if chip is None:
                continue
            far = found.decoupling.get(other, ())
            if node in found.decoupling or not far:
                continue
            if not any(c[1] is None or c[1] >= OUTPUT_FARADS for c in far):
                continue
            diodes = [
                pin.part
                for pin in board.net_by_name[node].pins
                if kinds[pin.part].kind is Kind.DIODE
            ]
            converter = Converter(chip, part.key, node, other, bool(diodes))
            found.converters.append(converter)
            if converter.boosts:
                found.booster_of[node] = chip
            else:
                found.converter_of.setdefault(other, []).append(converter)
            found.switching_nodes.add(node)
            break


#: A switching node has little on it: chip, inductor, diode, transistor, bootstrap, snubber.
_MOST_NODE_PINS: Final = 12


def _driver_of(board: Board, kinds: Mapping[str, PartKind], node: str) -> str | None:
    """Return the chip (or transistor) that switches the node, None where it is no such node."""
    pins = board.net_by_name[node].pins
    if len(pins) > _MOST_NODE_PINS:
        return None
    chips: dict[str, bool] = {}
    for pin in pins:
        kind = kinds[pin.part].kind
        if kind is Kind.IC or kind is Kind.MODULE:
            chips[pin.part] = chips.get(pin.part, False) or bool(
                _SWITCH_NAME.match(_plain(pin.name))
            )
        elif kind in {Kind.CONNECTOR, Kind.RESISTOR_ARRAY, Kind.CRYSTAL, Kind.TRANSFORMER}:
            return None
    if not _capacitors_stay(board, kinds, node, chips):
        return None
    named = [chip for chip, switches in chips.items() if switches]
    if named:
        return named[0]
    return next(iter(chips)) if len(chips) == 1 else None


def _capacitors_stay(
    board: Board, kinds: Mapping[str, PartKind], node: str, chips: Mapping[str, bool]
) -> bool:
    """Return whether no capacitor couples the node to another chip, as a choke's output does."""
    for pin in board.net_by_name[node].pins:
        if kinds[pin.part].kind is not Kind.CAPACITOR:
            continue
        for net in board.part_by_key[pin.part].nets:
            others = board.net_by_name[net].pins
            if net == node or len(others) > _MOST_NODE_PINS:
                continue
            if any(kinds[o.part].kind is Kind.IC and o.part not in chips for o in others):
                return False
    return True


def is_feedback_pin(pin: Pin) -> bool:
    """Return whether the pin is named as the feedback or adjust pin of a regulator."""
    return _FEEDBACK_NAME.match(_plain(pin.name)) is not None
