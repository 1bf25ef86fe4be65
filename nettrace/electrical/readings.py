"""The reading a meter should show at a pad: ohms, farads and volts, each with its reason."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

from nettrace.circuit.evidence import NetKind
from nettrace.electrical.bounds import OhmsBounds, PowerOff
from nettrace.electrical.heat import Heat, heat_of
from nettrace.electrical.meter import DIODE_PIN_VOLTS
from nettrace.electrical.thermistor_line import ThermistorLine, thermistor_line
from nettrace.values.quantity import engineering

if TYPE_CHECKING:
    from nettrace.circuit.circuit import Circuit
    from nettrace.circuit.evidence import Rail
    from nettrace.electrical.elements import Element
    from nettrace.electrical.network import Network
    from nettrace.model.board import Part, Pin

__all__ = ["DIODE_TEXT", "Bench", "Reading", "ReadingVolts"]

#: Parts named in one reason before "and N more".
NAMED: Final = 4
#: The guidance every diode-mode line carries.
DIODE_TEXT: Final = (
    "diode mode, red probe on ground, black on the pad: a pin's protection diode shows about "
    f"{DIODE_PIN_VOLTS[0]:g} to {DIODE_PIN_VOLTS[1]:g} V in health (common practice, no source)"
)


@dataclass(frozen=True, slots=True)
class ReadingVolts:
    """A voltage that should stand at a net with its rails up, V, and on what that rests."""

    nominal: float
    min: float | None
    max: float | None
    basis: str


@dataclass(frozen=True, slots=True)
class Reading:
    """What to expect between two places.

    `start` and `to` are a pad (`R41.2`) or a net; `ohms` None where they are one net;
    `farads` 0 where no capacitor lies right between them; `diode` is guidance in words, "";
    `thermistor` is what one on the net makes of it, told with the reading to ground; `heat` is
    the power in the resistor that is measured across.
    """

    start: str
    start_net: str
    to: str
    to_net: str
    ohms: OhmsBounds | None
    farads: float
    volts: ReadingVolts | None
    because: tuple[str, ...]
    diode: str = ""
    thermistor: ThermistorLine | None = None
    heat: Heat | None = None


@dataclass(frozen=True)
class Bench:
    """A board on the bench: power off for ohms, with rails for volts.

    Args:
        circuit: the board.
        without: part keys that are missing.
        rails: net -> volts the user says are on; where empty, every rail of known voltage is.
        changes: part key -> resistance it has instead, Ω; 0 is a short (see `elements_of`).
    """

    circuit: Circuit
    without: frozenset[str] = frozenset()
    rails: Mapping[str, float] | None = None
    changes: Mapping[str, float] = field(default_factory=dict)

    @cached_property
    def power_off(self) -> PowerOff:
        """The resistances and unknown paths."""
        return PowerOff(self.circuit, self.without, self.changes)

    @cached_property
    def network(self) -> Network:
        """The known resistances at nominal values."""
        return self.power_off.nominal

    @cached_property
    def fixed(self) -> Mapping[str, float]:
        """Net -> volts that are held: grounds, and the rails that are up."""
        fixed: dict[str, float] = {}
        for name, rail in self.circuit.rails.items():
            if rail.kind is NetKind.GROUND:
                fixed[name] = 0.0
            elif self.rails or rail.volts is None or rail.volts.nominal is None:
                continue
            elif not any(self.network.same_node(name, lost) for lost in self._lost):
                fixed[name] = rail.volts.nominal
        fixed.update(self.rails or {})
        return self._without_clashes(fixed)

    def _without_clashes(self, fixed: Mapping[str, float]) -> Mapping[str, float]:
        """Drop a rail tied by 0 Ω to one at another voltage; the user's words stay."""
        kept: dict[str, float] = dict(self.rails or {})
        for name, volts in sorted(fixed.items(), key=lambda item: item[1] != 0):
            clash = any(
                self.network.same_node(name, other) and held != volts
                for other, held in kept.items()
            )
            if name not in kept and not clash:
                kept[name] = volts
        return kept

    def upset(self, rail: Rail) -> str:
        """Return the missing or shorted part that the rail's voltage rests on, "" if none."""
        gone = [*self.without, *(key for key, ohms in self.changes.items() if ohms == 0)]
        needed = rail.volts.from_parts if rail.volts is not None else ()
        parts = self.circuit.board.part_by_key
        for key in gone:
            if key == rail.source or key in needed:
                return parts[key].refdes
        return ""

    @cached_property
    def _lost(self) -> tuple[str, ...]:
        """Rails whose voltage is not known any more, with these parts missing or shorted."""
        if not self.without and not self.changes:
            return ()
        return tuple(
            name
            for name, rail in self.circuit.rails.items()
            if rail.kind is not NetKind.GROUND and self.upset(rail)
        )

    @cached_property
    def node_volts(self) -> Mapping[str, float]:
        """Net -> volts with the rails up and nothing driving, for nets that a rail reaches."""
        return self.network.voltages(self.fixed)

    @cached_property
    def ground(self) -> str | None:
        """The ground with most pins."""
        grounds = [n for n, rail in self.circuit.rails.items() if rail.kind is NetKind.GROUND]
        nets = self.circuit.board.net_by_name
        return max(grounds, key=lambda name: len(nets[name].pins), default=None)

    @cached_property
    def _elements_by_part(self) -> Mapping[str, tuple[Element, ...]]:
        found: dict[str, tuple[Element, ...]] = {}
        for element in self.power_off.elements.resistances:
            found[element.part] = (*found.get(element.part, ()), element)
        return found

    def resistances_of(self, part: str) -> tuple[Element, ...]:
        """Return the resistances of one part."""
        return self._elements_by_part.get(part, ())

    @cached_property
    def _drivers(self) -> Mapping[str, tuple[str, ...]]:
        found: dict[str, tuple[str, ...]] = {}
        for part, nets in self.power_off.elements.unknown:
            for net in nets:
                found[net] = (*found.get(net, ()), part)
        return found

    def drivers_of(self, net: str) -> tuple[str, ...]:
        """Return the parts that may drive or load a net in a way nobody knows, by key."""
        return self._drivers.get(net, ())

    # -- readings ----------------------------------------------------------------------------

    def between(self, start: str, start_net: str, to: str, to_net: str) -> Reading:
        """Return what to expect from one net (shown as `start`) to another (shown as `to`)."""
        if start_net == to_net:
            return Reading(start, start_net, to, to_net, None, 0.0, None, ("one net: it beeps",))
        bounds = self.power_off.ohms(start_net, to_net)
        farads, parts, class_2 = self.power_off.farads(start_net, to_net)
        because = list(self._why_ohms(bounds))
        if farads:
            names = self._names(parts)
            because.append(f"{engineering(farads, 'F')} across: {names}")
            if class_2:
                because.append(
                    "class 2 ceramic: an in-circuit reading below nominal is no fault by itself "
                    "(falls with bias and age)"
                )
        grounded = to_net == self.ground
        volts = self.volts(start_net) if grounded else None
        warm = thermistor_line(self, start_net) if grounded else None
        if volts is not None:
            because.append(volts.basis)
        if warm is not None and warm.part is None:
            because.append("with the pack unplugged: with it, see over temperature")
        rail = self.circuit.rails.get(start_net)
        if grounded and rail is not None and (part := self.upset(rail)):
            because.append(f"its voltage rests on {part}: not known now, it may be too high")
        diode = DIODE_TEXT if grounded and not self._is_ground(start_net) else ""
        return Reading(
            start, start_net, to, to_net, bounds, farads, volts, tuple(because), diode, warm
        )

    def of_pin(self, pin: Pin) -> tuple[Reading, ...]:
        """Return the readings of a pad: to ground, to the rails that pull it, across its part."""
        if pin.net is None:
            return ()
        part = self.circuit.board.part_by_key[pin.part]
        return self.of_net(f"{part.refdes}.{pin.number}", pin.net, part)

    def of_net(self, start: str, net: str, part: Part | None = None) -> tuple[Reading, ...]:
        """Return the readings of a net, shown as `start`; across `part` if it has two nets."""
        targets: dict[str, str] = {}
        if self.ground is not None and self.ground != net:
            targets[self.ground] = self.ground
        for pull in self.circuit.pulls.get(net, ()):
            if pull.fitted and pull.to != net:
                targets.setdefault(pull.to, pull.to)
        other = None
        if part is not None and len(part.nets) == 2:
            other = next(name for name in part.nets if name != net)
            opposite = next(p for p in part.pins if p.net == other)
            label = f"{part.refdes}.{opposite.number}"
            targets[other] = f"{label} ({other})" if other in targets else label
        found = [self.between(start, net, label, name) for name, label in targets.items()]
        if part is not None and other is not None:
            across = next(index for index, item in enumerate(found) if item.to_net == other)
            found[across] = replace(found[across], heat=heat_of(self, part.key))
        return tuple(found)

    def volts(self, net: str) -> ReadingVolts | None:
        """Return the voltage of a net with its rails up and nothing driving it, or None."""
        rail = self.circuit.rails.get(net)
        said = (self.rails or {}).get(net)
        if said is not None:
            return ReadingVolts(said, said, said, "as you say")
        ground = self.ground
        if (
            ground is not None
            and net != ground
            and self.network.same_node(net, ground)
            and rail is not None
            and rail.kind is not NetKind.GROUND
        ):
            return ReadingVolts(0.0, 0.0, 0.0, f"shorted to {ground}: do not power it up")
        if rail is not None and rail.volts is not None and net not in self.fixed:
            return None  # the part that its voltage rests on is missing, or the rail is off
        if net not in self.node_volts:
            return None
        volts = self.node_volts[net]
        if net in self.fixed:
            if rail is None or rail.volts is None:
                return None
            return ReadingVolts(volts, rail.volts.min, rail.volts.max, rail.volts.basis)
        if any(self.network.connected(net, lost) for lost in self._lost):
            return None
        held = self.network.held_around(net, self.fixed)
        names = ", ".join(held[:NAMED])
        return ReadingVolts(
            volts, None, None, f"by the resistors from {names}, while nothing drives the net"
        )

    # -- reasons -----------------------------------------------------------------------------

    def _why_ohms(self, bounds: OhmsBounds) -> tuple[str, ...]:
        unknown = self._names(bounds.unknown)
        if math.isinf(bounds.nominal):
            if bounds.exact:
                return ("no way between the two: overload",)
            return (
                f"no resistor joins the two; what shows comes through {unknown}",
                "compare with a like pad: a low figure alone proves nothing",
            )
        nominal = engineering(bounds.nominal, "Ω") if bounds.nominal else "0 Ω"
        if bounds.exact:
            return (f"{nominal} through known parts, and nothing unknown touches them: exact",)
        limit = engineering(bounds.shown_at_most(), "Ω")
        return (
            f"{nominal} through known parts; {unknown} can only lower it",
            f"above {limit} (tolerance and meter in it) an open or a wrong part is proved; below "
            "proves nothing: compare with a like pad",
        )

    def _names(self, keys: tuple[str, ...]) -> str:
        refs = [self.circuit.board.part_by_key[key].refdes for key in keys]
        shown = ", ".join(refs[:NAMED])
        return f"{shown} and {len(refs) - NAMED} more" if len(refs) > NAMED else shown

    def _is_ground(self, net: str) -> bool:
        rail = self.circuit.rails.get(net)
        return rail is not None and rail.kind is NetKind.GROUND
