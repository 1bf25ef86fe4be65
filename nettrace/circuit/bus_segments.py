"""Segments of bus lines: the same signal behind series parts, shifters, arrays, capacitors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from nettrace.circuit.bus_lines import RawBus
from nettrace.circuit.evidence import Link, PartKind, Pull, Rail
from nettrace.circuit.kinds import Kind
from nettrace.circuit.series import two_nets
from nettrace.model.board import Board

__all__ = ["Joined", "join_segments"]

#: A fast line passes series resistors of up to this; a slow one (reset, detect) of up to that
#: (common practice, no source).
FAST_OHMS: Final = 470.0
SLOW_OHMS: Final = 10_000.0
_SLOW: Final = frozenset(
    {"HPD", "CEC", "RESET", "CD", "CTS", "RTS", "TX", "RX", "ID", "SDA", "SCL"}
)
_PASSES: Final = frozenset(
    {"resistor", "zero-ohm link", "ferrite bead", "inductor", "filter", "ESD array",
     "common-mode choke", "level shifter", "switch chip"}
)  # fmt: skip
_ENDS: Final = frozenset(
    {Kind.IC, Kind.MODULE, Kind.CONNECTOR, Kind.DISPLAY, Kind.TEST_POINT, Kind.SWITCH, Kind.ESD,
     Kind.MICROPHONE, Kind.UNKNOWN}
)  # fmt: skip
_DEEPEST: Final = 5


@dataclass(slots=True)
class Joined:
    """A bus with all segments: `through` are the parts between them."""

    bus: RawBus
    through: dict[str, None] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _Walker:
    board: Board
    kinds: Mapping[str, PartKind]
    rails: Mapping[str, Rail]
    links: Mapping[str, tuple[Link, ...]]
    pulls: Mapping[str, tuple[Pull, ...]]

    def steps(self, net: str, line: str, coupled: bool) -> list[tuple[str, str]]:
        """Return (part, far net) of every way on from a line's net."""
        found = []
        most = SLOW_OHMS if line in _SLOW else FAST_OHMS
        for link in self.links.get(net, ()):
            if link.kind not in _PASSES or link.to_net in self.rails:
                continue
            if link.ohms is not None and link.ohms > most:
                continue
            # a resistor of no known value between two signals is a series resistor as a rule
            if self._ends(link.to_net, link.part):
                found.append((link.part, link.to_net))
        for pin in self.board.net_by_name[net].pins:
            kind = self.kinds[pin.part].kind
            if (coupled and kind is Kind.CAPACITOR) or (
                kind is Kind.DIODE and line in {"TX", "RX"}
            ):
                nets = two_nets(self.board.part_by_key[pin.part])
                if nets is None:
                    continue
                far = nets[1] if nets[0] == net else nets[0]
                if far in self.rails or not self._ends(far, pin.part):
                    continue
                if kind is Kind.DIODE and not (self.pulls.get(far) or self.pulls.get(net)):
                    continue
                found.append((pin.part, far))
        return found

    def _ends(self, net: str, through: str) -> bool:
        """Return whether the far net leads to something that listens or can be touched."""
        return any(
            self.kinds[pin.part].kind in _ENDS
            or (self.kinds[pin.part].kind in {Kind.RESISTOR, Kind.MOSFET} and net in self.links
                and any(link.part == pin.part and link.to_net not in self.rails
                        for link in self.links[net]))
            for pin in self.board.net_by_name[net].pins
            if pin.part != through
        )  # fmt: skip


def join_segments(
    buses: list[RawBus],
    board: Board,
    kinds: Mapping[str, PartKind],
    rails: Mapping[str, Rail],
    links: Mapping[str, tuple[Link, ...]],
    pulls: Mapping[str, tuple[Pull, ...]],
) -> list[Joined]:
    """Extend every line over its series parts, and merge buses of one protocol that meet."""
    walker = _Walker(board, kinds, rails, links, pulls)
    owner: dict[str, tuple[int, str]] = {}
    joined = [Joined(bus, {}) for bus in buses]
    leader = list(range(len(buses)))

    def lead(index: int) -> int:
        while leader[index] != index:
            leader[index] = leader[leader[index]]
            index = leader[index]
        return index

    for index, bus in enumerate(buses):
        for line, nets in bus.lines.items():
            for net in nets:
                owner[net] = (index, line)
    for index, bus in enumerate(buses):
        for line, nets in bus.lines.items():
            layer = list(nets)
            for _ in range(_DEEPEST):
                onward = []
                for net in layer:
                    for part, far in walker.steps(net, line, bus.spec.coupled):
                        known = owner.get(far)
                        if known is None:
                            owner[far] = (index, line)
                            nets.append(far)
                            onward.append(far)
                            joined[index].through[part] = None
                        elif known == (index, line):
                            joined[index].through[part] = None
                        elif _same_line(buses, known, bus, line):
                            joined[index].through[part] = None
                            leader[lead(max(index, known[0]))] = lead(min(index, known[0]))
                layer = onward
                if not layer:
                    break
    merged: dict[int, Joined] = {}
    for index, one in enumerate(joined):
        first = lead(index)
        if first == index:
            merged[index] = one
            continue
        into = joined[first]
        into.through.update(one.through)
        into.bus.groups.extend((one.bus.group, *one.bus.groups))
        into.bus.because.extend(one.bus.because)
        for line, nets in one.bus.lines.items():
            known_nets = into.bus.lines.setdefault(line, [])
            known_nets.extend(net for net in nets if net not in known_nets)
    return list(merged.values())


def _same_line(buses: list[RawBus], known: tuple[int, str], bus: RawBus, line: str) -> bool:
    other = buses[known[0]]
    return known[1] == line and other.spec.protocol == bus.spec.protocol
