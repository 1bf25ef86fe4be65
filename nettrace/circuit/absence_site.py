"""The gap that a missing part leaves: what stands around it, and the words for it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

from nettrace.circuit.evidence import Absence, Bus, BusLine, NetKind, Rail, Severity
from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles.net_words import words_of
from nettrace.circuit.roles.survey import are_pair, plain_name
from nettrace.model.board import Part
from nettrace.model.names import natural_key

if TYPE_CHECKING:
    from nettrace.circuit.circuit import Circuit

__all__ = ["ACTIVE", "Gap", "Rule", "blocks", "bus_name", "degrades", "listed", "minor", "unknown"]

#: Kinds that drive or read a line.
ACTIVE: Final = frozenset(
    {Kind.IC, Kind.MODULE, Kind.OSCILLATOR, Kind.DISPLAY, Kind.MICROPHONE, Kind.UNKNOWN}
)
#: Kinds that a line ends at besides chips, in the order in which they tell what it is for.
_ENDS: Final = (
    Kind.CONNECTOR, Kind.BATTERY, Kind.ANTENNA, Kind.SOUNDER, Kind.MOTOR, Kind.SWITCH, Kind.RELAY,
    Kind.MOSFET, Kind.TRANSISTOR, Kind.LED, Kind.CRYSTAL, Kind.THERMISTOR,
)  # fmt: skip
#: Links that leave a signal what it is; a resistor does up to the bound below.
_PASSING: Final = frozenset(
    {"resistor", "zero-ohm link", "ferrite bead", "inductor", "fuse", "filter", "ESD array",
     "common-mode choke", "current shunt"}
)  # fmt: skip
#: A resistor of more is no part of the line any more (common practice, no source).
MOST_LINE_OHMS: Final = 10e3
#: Parts named in one sentence at most.
MOST_NAMED: Final = 4

#: A rule tells what happens without a part of its role; None where it cannot say.
Rule = Callable[["Gap"], Absence | None]


def blocks(*effects: str) -> Absence:
    """Return the judgement that a function stops."""
    return Absence(Severity.BLOCKS, effects)


def degrades(*effects: str) -> Absence:
    """Return the judgement that a function works badly, or only sometimes."""
    return Absence(Severity.DEGRADES, effects)


def minor(*effects: str) -> Absence:
    """Return the judgement that the board works."""
    return Absence(Severity.MINOR, effects)


def unknown(*effects: str) -> Absence:
    """Return that nothing can be said, with the reason."""
    return Absence(Severity.UNKNOWN, effects)


def listed(names: Sequence[str], most: int = MOST_NAMED) -> str:
    """Return names as people list them.

    >>> listed(["R1"]), listed(["R1", "R2"]), listed(["a", "b", "c", "d", "e", "f"])
    ('R1', 'R1 and R2', 'a, b, c, d and 2 more')
    """
    if len(names) > most + 1:
        return f"{', '.join(names[:most])} and {len(names) - most} more"
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def bus_name(bus: Bus) -> str:
    """Return a bus as people call it: `I2C bus GAUGE`, `USB bus`."""
    shown = bus.protocol.upper() if len(bus.protocol) <= 5 else bus.protocol
    shown = {"usb2": "USB", "usb-c cc": "USB-C", "one-wire": "one-wire"}.get(bus.protocol, shown)
    name = bus.name.casefold()
    if name == bus.protocol.casefold() or name in shown.casefold():
        return f"{shown} bus"
    if shown.casefold() in name:
        return f"bus {bus.name}"
    return f"{shown} bus {bus.name}"


@dataclass(frozen=True)
class Gap:
    """A part that is missing, the role it had, and what is around it.

    `gone` are the keys of all parts that are missing, its own among them.
    """

    circuit: Circuit
    part: Part
    role: str
    gone: frozenset[str]

    @property
    def key(self) -> str:
        """Key of the missing part."""
        return self.part.key

    @cached_property
    def ends(self) -> tuple[str, str] | None:
        """The two nets of a part that is on two nets; else None."""
        nets = self.part.nets
        return (nets[0], nets[1]) if len(nets) == 2 else None

    @cached_property
    def to_fixed(self) -> tuple[str, str] | None:
        """(signal, rail or ground) where one end is a signal and the other is not."""
        if self.ends is None:
            return None
        first, second = self.ends
        if self.is_signal(first) == self.is_signal(second):
            return None
        return (first, second) if self.is_signal(first) else (second, first)

    def rail(self, net: str) -> Rail | None:
        """Return the rail or ground of that name."""
        return self.circuit.rails.get(net)

    def is_signal(self, net: str) -> bool:
        """Return whether the net is neither rail nor ground."""
        return net not in self.circuit.rails

    def is_ground(self, net: str) -> bool:
        """Return whether the net is a ground."""
        rail = self.rail(net)
        return rail is not None and rail.kind is NetKind.GROUND

    def is_supply(self, net: str) -> bool:
        """Return whether the net is a supply rail."""
        rail = self.rail(net)
        return rail is not None and rail.kind is NetKind.RAIL

    def kind_of(self, key: str) -> Kind:
        """Return the kind of a part."""
        return self.circuit.kinds[key].kind

    def role_of(self, key: str) -> str:
        """Return the likeliest role of another part."""
        return self.circuit.roles(key)[0].role

    def parts_on(self, nets: Iterable[str], *kinds: Kind) -> tuple[str, ...]:
        """Return the fitted parts of these kinds on the nets but for the missing one, in order."""
        board, all_kinds = self.circuit.board, self.circuit.kinds
        found = {
            pin.part
            for net in nets
            for pin in board.net_by_name[net].pins
            if pin.part not in self.gone
            and all_kinds[pin.part].kind in kinds
            and all_kinds[pin.part].fitted
        }
        return tuple(sorted(found, key=natural_key))

    def chips_on(self, *nets: str) -> tuple[str, ...]:
        """Return the chips on the nets."""
        return self.parts_on(nets, *ACTIVE)

    def telling(self, nets: Iterable[str]) -> tuple[str, ...]:
        """Return what the nets serve: chips first, then connectors, switches, lamps..."""
        nets = tuple(nets)
        chips = self.parts_on(nets, *ACTIVE)
        return chips + tuple(
            key for kind in _ENDS for key in self.parts_on(nets, kind) if key not in chips
        )

    def island(self, net: str) -> tuple[str, ...]:
        """Return the signal nets joined to a signal through series parts, the missing one left out.

        The net itself comes first.
        """
        rails, links = self.circuit.rails, self.circuit.links
        found = {net: None}
        waiting = [net]
        while waiting:
            for link in links.get(waiting.pop(), ()):
                far = link.to_net
                if far in found or far in rails or link.part in self.gone or link.conditional:
                    continue
                if link.kind not in _PASSING or (link.ohms or 0.0) > MOST_LINE_OHMS:
                    continue
                if are_pair(link.from_net, far):  # a termination joins no two lines
                    continue
                found[far] = None
                waiting.append(far)
        return tuple(found)

    def hearers(self, nets: Iterable[str]) -> tuple[str, ...]:
        """Return what the nets serve; where nothing is on them, what they lead to."""
        nets = tuple(nets)
        found = self.telling(nets)
        if found:
            return found
        board = self.circuit.board
        for key in self.parts_on(nets, Kind.CAPACITOR):
            for net in board.part_by_key[key].nets:
                if net not in nets and self.is_signal(net):
                    found += tuple(k for k in self.telling(self.island(net)) if k not in found)
        if found:
            return found
        for reach in self.circuit.reaches(nets[0]):
            if self.gone.isdisjoint(reach.through) and self.is_signal(reach.net):
                found = self.telling([reach.net])
                if found:
                    return found
        # the other side of a protection array that the line runs through, by its polarity
        for key in self.parts_on(nets, Kind.ESD):
            for net in board.part_by_key[key].nets:
                if net not in nets and self.is_signal(net) and net[-1:] == nets[0][-1:]:
                    found += tuple(k for k in self.telling(self.island(net)) if k not in found)
        return found

    def is_pack(self, net: str) -> bool:
        """Return whether a rail is a battery's own: by its name, or a battery stands on it."""
        return "BAT" in net.upper() or bool(self.parts_on([net], Kind.BATTERY))

    def bus_line(self, *nets: str) -> tuple[Bus, BusLine] | None:
        """Return the first bus line that one of the nets belongs to."""
        line_at = self.circuit.line_at
        places = [line_at[net] for net in nets if net in line_at]
        if not places:
            return None
        place, at = min(places)
        bus = self.circuit.buses[place]
        return bus, bus.lines[at]

    def pin_words(self, net: str) -> str:
        """Return what the net's name and its chips' pins say, upper case, for word lists."""
        pins = self.circuit.board.net_by_name[net].pins
        names = [
            plain_name(pin.name)
            for pin in pins
            if pin.name and pin.part not in self.gone and self.kind_of(pin.part) in ACTIVE
        ]
        return " ".join((words_of(net), *names)).strip()

    def pin_of(self, chip: str, net: str) -> str:
        """Return a chip's pin on a net as people say it: `U1's pin ISET (5)`, `pin 5 of U1`."""
        for pin in self.circuit.board.part_by_key[chip].pins:
            if pin.net == net:
                if pin.name and pin.name != pin.number:
                    return f"{chip}'s pin {plain_name(pin.name)} ({pin.number})"
                return f"pin {pin.number} of {chip}"
        return chip

    def volts(self, net: str) -> float | None:
        """Return the nominal voltage of a rail, V."""
        rail = self.rail(net)
        return rail.volts.nominal if rail is not None and rail.volts is not None else None

    def open_pin(self, net: str) -> bool:
        """Return whether nothing else is on the net."""
        return len(self.circuit.board.net_by_name[net].pins) < 2

    def with_volts(self, net: str) -> str:
        """Return a rail with its voltage, `VSYS (4.4 V)`; the name alone where it says so."""
        volts = self.volts(net)
        if volts is None or not self.is_supply(net):
            return net
        spelled = f"{volts:g}".replace(".", "V")
        if spelled in net or f"{volts:g}V" in net or f"{volts:g}" in net:
            return net
        return f"{net} ({volts:.3g} V)"
