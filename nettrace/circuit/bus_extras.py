"""Lines that a bus takes along by where they go: selects, resets, hot-plug, USB ID, clocks."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from typing import Final

from nettrace.circuit.bus_lines import TALKERS, RawBus
from nettrace.circuit.bus_words import is_named, plain_name
from nettrace.circuit.evidence import PartKind, Rail
from nettrace.circuit.kinds import Kind
from nettrace.model.board import Board

__all__ = ["add_companions"]

_SELECT: Final = re.compile(r"^(?:\w+_)?N?(?:CS|SS|CE|SSEL)\d?(?:[NB]|_N|_\w+)?$|^\w+_N?CS\d?$")
_RESET: Final = re.compile(
    r"^(?:MCU_|CPU_|SYS_|U?C_|DBG_|DEBUG_|SWD_|JTAG_|TARGET_)?N?_?(?:RESET|RST|SRST|RUN)_?N?[NB]?$"
)
_HOT: Final = re.compile(r"^\w{0,8}?_?(?P<line>CEC|HPD)(?:_\w+)?$")
_TRST: Final = re.compile(r"^(?:\w+_)?N?TRST(?:_?N|B)?$")
_MASTER: Final = re.compile(r"^(?:\w+_)?MCLK(?:_\w+)?$")
_ID: Final = re.compile(r"^(?:\w*USB\w*_)?ID$|^USB\w*_ID$|^\w*OTG_ID$")


_COMPANIONS: Final = (
    ("select", _SELECT), ("reset", _RESET), ("hot", _HOT), ("id", _ID), ("trst", _TRST),
    ("master", _MASTER),
)  # fmt: skip


@lru_cache(maxsize=16384)
def _companions(plain: str) -> tuple[str, ...]:
    """Return which companions of a bus a plain name may be."""
    return tuple(what for what, pattern in _COMPANIONS if pattern.match(plain))


def add_companions(
    buses: list[RawBus],
    board: Board,
    kinds: Mapping[str, PartKind],
    rails: Mapping[str, Rail],
    taken: set[str],
) -> None:
    """Add to each bus the lines that share its parts and say by name what they are."""
    names: dict[str, list[tuple[str, str]]] = {
        what: [] for what in ("select", "reset", "hot", "id", "trst", "master")
    }
    for net in board.nets:
        name = net.name
        if name in rails or name in taken or len(net.pins) < 2:
            continue
        plain = plain_name(name) if is_named(name) else _pin_word(board, kinds, name)
        for what in _companions(plain):
            names[what].append((name, plain))
    for bus in buses:
        protocol = bus.spec.protocol
        if protocol == "spi":
            _add_selects(bus, board, kinds, names["select"], taken)
        elif protocol in {"swd", "jtag"}:
            if "RESET" not in bus.lines:
                _add_reset(bus, board, kinds, names["reset"], taken)
            if protocol == "jtag":
                _add_shared(bus, "TRST", board, kinds, names["trst"], taken)
        elif protocol in {"hdmi", "edp", "displayport"}:
            for name, plain in names["hot"]:
                match = _HOT.match(plain)
                line = match["line"] if match else ""
                if name not in taken and line not in bus.lines and _shared(bus, board, kinds, name):
                    bus.lines[line] = [name]
                    taken.add(name)
        elif protocol == "usb2":
            _add_shared(bus, "ID", board, kinds, names["id"], taken)
        elif protocol == "i2s":
            _add_shared(bus, "MCLK", board, kinds, names["master"], taken)


def _add_shared(
    bus: RawBus,
    line: str,
    board: Board,
    kinds: Mapping[str, PartKind],
    names: list[tuple[str, str]],
    taken: set[str],
) -> None:
    if line in bus.lines:
        return
    for name, _ in names:
        if name not in taken and _shared(bus, board, kinds, name):
            bus.lines[line] = [name]
            taken.add(name)
            return


def _pin_word(board: Board, kinds: Mapping[str, PartKind], net: str) -> str:
    """Return the pin name of a connector, or a test point's label, for a net without a name."""
    for pin in board.net_by_name[net].pins:
        kind = kinds[pin.part].kind
        if kind is Kind.CONNECTOR and pin.name and not pin.name.isdecimal():
            return plain_name(pin.name)
        if kind is Kind.TEST_POINT:
            value = board.part_by_key[pin.part].value
            if value:
                return plain_name(value)
    return ""


def _parts_on(board: Board, nets: set[str], kinds: Mapping[str, PartKind]) -> set[str]:
    return {
        pin.part
        for net in nets
        for pin in board.net_by_name[net].pins
        if kinds[pin.part].kind in TALKERS or kinds[pin.part].kind is Kind.CONNECTOR
    }


def _chips_on(board: Board, net: str, kinds: Mapping[str, PartKind]) -> set[str]:
    return {pin.part for pin in board.net_by_name[net].pins if kinds[pin.part].kind in TALKERS}


def _shared(bus: RawBus, board: Board, kinds: Mapping[str, PartKind], net: str) -> bool:
    """Return whether two parts of the bus are on the net too (or its only one)."""
    on_bus = _parts_on(board, bus.nets(), kinds)
    on_net = _parts_on(board, {net}, kinds)
    if len(on_net & on_bus) >= 2:
        return True
    chips = [part for part in on_bus if kinds[part].kind in TALKERS]
    return len(on_net) == 1 and on_net <= on_bus and (len(on_bus) <= 2 or len(chips) == 1)


def _add_selects(
    bus: RawBus,
    board: Board,
    kinds: Mapping[str, PartKind],
    names: list[tuple[str, str]],
    taken: set[str],
) -> None:
    clock = {
        pin.part
        for net in bus.lines.get("SCK", ())
        for pin in board.net_by_name[net].pins
        if kinds[pin.part].kind in TALKERS or kinds[pin.part].kind is Kind.CONNECTOR
    }
    for name, _ in names:
        if name in taken:
            continue
        chips = _chips_on(board, name, kinds)
        ends = _parts_on(board, {name}, kinds)
        if chips and len(chips) <= 2 and len(ends & clock) >= 2 and chips <= clock:
            bus.lines.setdefault("CS", []).append(name)
            taken.add(name)


def _add_reset(
    bus: RawBus,
    board: Board,
    kinds: Mapping[str, PartKind],
    names: list[tuple[str, str]],
    taken: set[str],
) -> None:
    chips = {chip for net in bus.nets() for chip in _chips_on(board, net, kinds)}
    sockets = _parts_on(board, bus.nets(), kinds) - chips
    best: tuple[int, str] | None = None
    apart: list[str] = []  # on a chip of the bus, not on its socket: behind a resistor, perhaps
    for name, _ in names:
        if name in taken:
            continue
        on_net = _parts_on(board, {name}, kinds)
        score = 2 * len(on_net & sockets) + len(on_net & chips)
        if not on_net & chips:
            continue
        if sockets and not on_net & sockets:
            apart.append(name)
            continue
        if best is None or score > best[0]:
            best = (score, name)
    if best is None and len(apart) == 1:
        best = (1, apart[0])
    if best is not None:
        bus.lines["RESET"] = [best[1]]
        taken.add(best[1])
