"""The reading a meter should show at a pad: ohms, farads and volts, each with its reason."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final, Literal

from nettrace.circuit.evidence import NetKind
from nettrace.circuit.kinds import Kind
from nettrace.electrical.meter import DIODE_PIN_VOLTS
from nettrace.electrical.network import Network, Resistor
from nettrace.electrical.power_off import OhmsBounds, PowerOff
from nettrace.electrical.thermistor import (
    EPCOS_B57330V2103,
    NOMINAL_OHMS,
    beta_ohms,
    table_ohms,
)
from nettrace.values.part_value import read_part_value
from nettrace.values.quantity import engineering
from nettrace.values.sizes import chip_size

if TYPE_CHECKING:
    from nettrace.circuit.circuit import Circuit
    from nettrace.circuit.evidence import PartKind, Rail
    from nettrace.electrical.power_off import Element
    from nettrace.model.board import Part, Pin


#: Parts named in one reason before "and N more".
NAMED: Final = 4
#: The guidance every diode-mode line carries.
DIODE_TEXT: Final = (
    "diode mode, red probe on ground, black on the pad: a pin's protection diode shows about "
    f"{DIODE_PIN_VOLTS[0]:g} to {DIODE_PIN_VOLTS[1]:g} V in health (common practice, no source)"
)


@dataclass(frozen=True, slots=True)
class ExpectedVolts:
    """A voltage that should stand at a net with its rails up, V, and on what that rests."""

    nominal: float
    min: float | None
    max: float | None
    basis: str


@dataclass(frozen=True, slots=True)
class Expected:
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
    volts: ExpectedVolts | None
    because: tuple[str, ...]
    diode: str = ""
    thermistor: ThermistorLine | None = None
    heat: Heat | None = None


@dataclass(frozen=True)
class MeteredBoard:
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

    def between(self, start: str, start_net: str, to: str, to_net: str) -> Expected:
        """Return what to expect from one net (shown as `start`) to another (shown as `to`)."""
        if start_net == to_net:
            return Expected(start, start_net, to, to_net, None, 0.0, None, ("one net: it beeps",))
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
        return Expected(
            start, start_net, to, to_net, bounds, farads, volts, tuple(because), diode, warm
        )

    def of_pin(self, pin: Pin) -> tuple[Expected, ...]:
        """Return the readings of a pad: to ground, to the rails that pull it, across its part."""
        if pin.net is None:
            return ()
        part = self.circuit.board.part_by_key[pin.part]
        return self.of_net(f"{part.refdes}.{pin.number}", pin.net, part)

    def of_net(self, start: str, net: str, part: Part | None = None) -> tuple[Expected, ...]:
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

    def volts(self, net: str) -> ExpectedVolts | None:
        """Return the voltage of a net with its rails up and nothing driving it, or None."""
        rail = self.circuit.rails.get(net)
        said = (self.rails or {}).get(net)
        if said is not None:
            return ExpectedVolts(said, said, said, "as you say")
        ground = self.ground
        if (
            ground is not None
            and net != ground
            and self.network.same_node(net, ground)
            and rail is not None
            and rail.kind is not NetKind.GROUND
        ):
            return ExpectedVolts(0.0, 0.0, 0.0, f"shorted to {ground}: do not power it up")
        if rail is not None and rail.volts is not None and net not in self.fixed:
            return None  # the part that its voltage rests on is missing, or the rail is off
        if net not in self.node_volts:
            return None
        volts = self.node_volts[net]
        if net in self.fixed:
            if rail is None or rail.volts is None:
                return None
            return ExpectedVolts(volts, rail.volts.min, rail.volts.max, rail.volts.basis)
        if any(self.network.connected(net, lost) for lost in self._lost):
            return None
        held = self.network.held_around(net, self.fixed)
        names = ", ".join(held[:NAMED])
        return ExpectedVolts(
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


# -- A thermistor's line on the board: what it should measure at a few temperatures.


#: Freezing, the bench, and the end of normal charging (JEITA guideline: 0 and 45 °C), °C.
CELSIUS: Final = (0.0, 25.0, 45.0)


@dataclass(frozen=True, slots=True)
class LineAtCelsius:
    """The thermistor's resistance, Ω, and the line's voltage with its rail up, V or None."""

    celsius: float
    ohms: float
    volts: float | None


@dataclass(frozen=True, slots=True)
class ThermistorLine:
    """What a thermistor makes of its line; `part` is None for one outside the board."""

    part: str | None
    rows: tuple[LineAtCelsius, ...]
    basis: str


def thermistor_line(bench: MeteredBoard, net: str) -> ThermistorLine | None:
    """Return what a thermistor on the net, or in a battery pack plugged in there, makes of it.

    None where no thermistor is on the net. A pack's thermistor is taken for 10 kΩ at 25 °C, as
    most are (common practice, no source), and only where its bias resistor and a plug are there.
    """
    circuit = bench.circuit
    nets = [name for name in circuit.board.net_by_name if bench.network.same_node(name, net)]
    pins = [pin for name in nets for pin in circuit.board.net_by_name[name].pins]
    here = [pin.part for pin in pins if pin.part not in bench.without]
    for key in here:
        kind = circuit.kinds[key]
        if kind.kind is Kind.THERMISTOR and kind.fitted and kind.ohms:
            return _line(bench, net, key, kind.ohms, _beta(circuit, circuit.board.part_by_key[key]))
    biased = any(circuit.roles(key)[0].role == "thermistor bias" for key in here)
    plugged = any(circuit.kinds[key].kind is Kind.CONNECTOR for key in here)
    return _line(bench, net, None, NOMINAL_OHMS, None) if biased and plugged else None


def _beta(circuit: Circuit, part: Part) -> float | None:
    """Return the beta that the user's note, the value, a field or the description states, K."""
    noted = circuit.notes.values.get(part.refdes)
    for text in (noted, part.value, *part.properties.values(), part.description):
        beta = read_part_value(text, "thermistor").beta if text else None
        if beta is not None:
            return beta
    return None


def _line(
    bench: MeteredBoard, net: str, key: str | None, nominal_ohms: float, beta: float | None
) -> ThermistorLine:
    rows = []
    for celsius in CELSIUS:
        if beta is not None:
            ohms = beta_ohms(celsius, beta, nominal_ohms)
        else:
            ohms = table_ohms(celsius, EPCOS_B57330V2103) * nominal_ohms / NOMINAL_OHMS
        rows.append(LineAtCelsius(celsius, ohms, _volts(bench, net, key, ohms)))
    curve = f"beta {beta:g} K" if beta is not None else "the curve of a B57330V2103, scaled"
    name = bench.circuit.board.part_by_key[key].refdes if key is not None else ""
    what = f"{name}, {engineering(nominal_ohms, 'Ω')} at 25 °C"
    if key is None:
        what = (
            f"a pack's thermistor of {engineering(nominal_ohms, 'Ω')} at 25 °C to "
            f"{bench.ground or 'ground'} (common practice, no source)"
        )
    return ThermistorLine(key, tuple(rows), f"{what}, by {curve}")


def _volts(bench: MeteredBoard, net: str, key: str | None, ohms: float) -> float | None:
    if key is not None:
        network = bench.network.changed({key: ohms})
    elif bench.ground is not None:
        pack = Resistor("pack thermistor", net, bench.ground, ohms)
        network = Network((*bench.network.resistors, pack))
    else:
        return None
    supplies = {
        name
        for name, rail in bench.circuit.rails.items()
        if rail.kind is not NetKind.GROUND and name in bench.fixed
    } | set(bench.rails or {})
    # with grounds alone there is nothing to divide
    if net in bench.fixed or not supplies & set(network.held_around(net, bench.fixed)):
        return None
    return network.voltages(bench.fixed).get(net)


# -- Power in each resistor with the rails up, against what its size or its maker allows.


HeatState = Literal["within", "may be over", "over", "rating not known"]

#: Most that a signal pin of a chip drives, A (common practice, no source).
PIN_AMPERES: Final = 0.05

#: Roles whose current a load or a measuring input decides, not a chip that drives the net.
_UNDRIVEN: Final = frozenset({"current shunt", "filter resistor", "series resistor", "termination"})
#: Power below this is the noise of the computation, W.
_NOTHING: Final = 1e-12

_HEATED: Final = frozenset({Kind.RESISTOR, Kind.RESISTOR_ARRAY, Kind.THERMISTOR})


@dataclass(frozen=True, slots=True)
class Heat:
    """Power in one resistor, W; an array's hottest element.

    Attributes:
        part: key.
        watts: with the rails up and nothing driven; None where the rails do not settle it.
        at_most: with the worst that a chip on its nets can do; None where that is not known.
        rated_watts: what it may take at 70 °C, None where neither source nor size says.
        rated_by: where the rating is from, in words, "".
        state: "over" where even the quiet board overloads it.
    """

    part: str
    watts: float | None
    at_most: float | None
    rated_watts: float | None
    rated_by: str
    state: HeatState

    @property
    def share(self) -> float:
        """The greater power as a share of the rating; 0 where one of them is not known."""
        power = max(self.watts or 0.0, self.at_most or 0.0)
        return power / self.rated_watts if self.rated_watts else 0.0


def heats(bench: MeteredBoard) -> tuple[Heat, ...]:
    """Return every resistor above 0 Ω with a known power, the nearest to its rating first."""
    found = []
    for part in bench.circuit.board.parts:
        heat = heat_of(bench, part.key)
        if heat is not None and (heat.watts is not None or heat.at_most is not None):
            found.append(heat)
    return tuple(sorted(found, key=lambda heat: (-heat.share, -(heat.at_most or 0.0))))


def heat_of(bench: MeteredBoard, part: str) -> Heat | None:
    """Return the power in a part, None where it is no resistor above 0 Ω."""
    kind = bench.circuit.kinds[part]
    if kind.kind not in _HEATED:
        return None
    elements = [e for e in bench.resistances_of(part) if e.ohms > 0]
    if not elements:
        return None
    quiet = [w for e in elements if (w := _quiet(bench, e)) is not None]
    driven = bench.circuit.roles(part)[0].role not in _UNDRIVEN
    worst = [w for e in elements if driven and (w := _worst(bench, e)) is not None]
    watts = max(quiet, default=None)
    at_most = max((*worst, *quiet)) if worst else None
    rated, by = _rating(kind)
    return Heat(part, watts, at_most, rated, by, _state(watts, at_most, rated))


def _quiet(bench: MeteredBoard, element: Element) -> float | None:
    volts = bench.node_volts
    if element.a not in volts or element.b not in volts:
        return None
    watts = (volts[element.a] - volts[element.b]) ** 2 / element.ohms
    return watts if watts > _NOTHING else 0.0


def _worst(bench: MeteredBoard, element: Element) -> float | None:
    """Return the power if a chip takes the net behind a resistor to the end of what it can reach.

    None for a resistor in series between two signals, and for one so small that the current of
    what it feeds decides.
    """
    if element.a not in bench.fixed and element.b not in bench.fixed:
        return None
    spans = [_span(bench, net) for net in (element.a, element.b)]
    if None in spans:
        return None
    (low, high), (other_low, other_high) = (span for span in spans if span is not None)
    drop = max(abs(high - other_low), abs(other_high - low))
    return drop**2 / element.ohms if drop / element.ohms <= PIN_AMPERES else None


def _span(bench: MeteredBoard, net: str) -> tuple[float, float] | None:
    """Return the lowest and highest volts of a net; one figure where nothing can drive it."""
    if net in bench.fixed:
        return bench.fixed[net], bench.fixed[net]
    quiet = bench.node_volts.get(net)
    reached = {volts for volts in (quiet,) if volts is not None}
    drivers = bench.drivers_of(net)
    for part in drivers:
        for other in bench.circuit.board.part_by_key[part].nets:
            if other in bench.fixed:
                reached.add(bench.fixed[other])
    if not reached or (drivers and len(reached) < 2):
        return None
    return min(reached), max(reached)


def _rating(kind: PartKind) -> tuple[float | None, str]:
    if kind.rated_watts is not None:
        return kind.rated_watts, "stated by the source"
    size = chip_size(kind.size_inch) if kind.size_inch else None
    if size is not None and size.watts is not None and kind.kind is Kind.RESISTOR:
        return size.watts, f"size {size.inch}, at 70 °C ({size.source})"
    return None, ""


def _state(watts: float | None, at_most: float | None, rated: float | None) -> HeatState:
    if rated is None:
        return "rating not known"
    if watts is not None and watts > rated:
        return "over"
    if at_most is not None and at_most > rated:
        return "may be over"
    return "within"
