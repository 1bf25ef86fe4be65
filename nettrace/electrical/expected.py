"""What a meter should show on a board: ohms, farads, volts and heat, each with its reason.

Power off for ohms; for volts the rails are up and nothing drives the nets. A resistor's power has
two figures: with nothing driving, and the most that any chip on its nets can make of it by pulling
a net to ground or to a rail. Only a resistor that no chip can drive has one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final, Literal

from nettrace.circuit.evidence import NetKind
from nettrace.circuit.kinds import Kind
from nettrace.circuit.links import diode_ends
from nettrace.electrical.meter import DIODE_PIN_VOLTS
from nettrace.electrical.network import Network, Resistor
from nettrace.electrical.power_off import OhmsBounds, PowerOff
from nettrace.electrical.thermistor import NOMINAL_OHMS, beta_ohms, table_ohms
from nettrace.values.part_value import read_part_value
from nettrace.values.quantity import engineering
from nettrace.values.sizes import chip_size

if TYPE_CHECKING:
    from nettrace.circuit.circuit import Circuit
    from nettrace.electrical.power_off import Resistance
    from nettrace.model.board import Part

#: Parts named in one reason before "and N more".
NAMED: Final = 4
#: The guidance every diode-mode line carries.
DIODE_TEXT: Final = (
    "diode mode, red probe on ground, black on the pad: a pin's protection diode shows about "
    f"{DIODE_PIN_VOLTS[0]:g} to {DIODE_PIN_VOLTS[1]:g} V in health (common practice, no source)"
)
#: A thermistor's line is told at freezing, on the bench, and at the end of normal charging (JEITA
#: guideline: 0 and 45 °C), °C.
CELSIUS: Final = (0.0, 25.0, 45.0)
#: Most that a signal pin of a chip drives, A (common practice, no source).
PIN_AMPERES: Final = 0.05
#: Roles whose current a load or a measuring input decides, not a chip that drives the net.
_UNDRIVEN: Final = frozenset({"current shunt", "filter resistor", "series resistor", "termination"})
_HEATED: Final = frozenset({Kind.RESISTOR, Kind.RESISTOR_ARRAY, Kind.THERMISTOR})
#: What passes a current one way: from a rail of unknown voltage to what is behind it.
_DIODES: Final = frozenset({Kind.DIODE, Kind.LED})
#: Power below this is the noise of the computation, W.
_NOTHING: Final = 1e-12

HeatState = Literal["within", "may be over", "over", "rating not known"]


@dataclass(frozen=True, slots=True)
class ExpectedVolts:
    """A voltage that should stand at a net with its rails up, V, and on what that rests."""

    nominal: float
    min: float | None
    max: float | None
    basis: str


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
    """A board under the meter: power off for ohms, with rails for volts.

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

    @property
    def network(self) -> Network:
        """The known resistances at nominal values."""
        return self.power_off.nominal

    def is_ground(self, net: str) -> bool:
        """Return whether a net is a ground."""
        rail = self.circuit.rails.get(net)
        return rail is not None and rail.kind is NetKind.GROUND

    @cached_property
    def ground(self) -> str | None:
        """The ground with most pins."""
        nets = self.circuit.board.net_by_name
        grounds = (net for net in self.circuit.rails if self.is_ground(net))
        return max(grounds, key=lambda name: len(nets[name].pins), default=None)

    # -- volts -------------------------------------------------------------------------------

    @cached_property
    def fixed(self) -> Mapping[str, float]:
        """Net -> volts that are held: grounds, and the rails that are up.

        A rail tied by 0 Ω to one at another voltage, or to one whose voltage rests on what is
        missing or shorted, is left out; the user's words stay.
        """
        fixed: dict[str, float] = {}
        one, rails = self.network.same_node, self.circuit.rails
        upset = self.without or self.changes
        lost = [name for name in rails if upset and self.upset(name) and not self.is_ground(name)]
        for name, rail in rails.items():
            if rail.kind is NetKind.GROUND:
                fixed[name] = 0.0
            elif self.rails or rail.volts is None or rail.volts.nominal is None:
                continue
            elif not any(one(name, other) for other in lost):
                fixed[name] = rail.volts.nominal
        kept: dict[str, float] = dict(self.rails or {})
        for name, volts in sorted({**fixed, **kept}.items(), key=lambda item: item[1] != 0):
            clash = any(one(name, other) and held != volts for other, held in kept.items())
            if name not in kept and not clash:
                kept[name] = volts
        return kept

    def upset(self, net: str) -> str:
        """Return the missing or shorted part that a rail's voltage rests on, "" if none."""
        rail = self.circuit.rails.get(net)
        if rail is None:
            return ""
        gone = [*self.without, *(key for key, ohms in self.changes.items() if ohms == 0)]
        basis = rail.volts.from_parts if rail.volts is not None else ()
        found = (key for key in gone if key == rail.source or key in basis)
        return next((self.circuit.board.part_by_key[key].refdes for key in found), "")

    @cached_property
    def _hanging(self) -> Mapping[str, str]:
        """Net -> a rail of unknown voltage that reaches it past no net that is held.

        Such a rail is somewhere above 0 V, so what it reaches does not lie where the known rails
        alone would put it. A diode passes it one way.
        """
        held = self.network.one_with(self.fixed)
        unknown = [rail for rail in self.circuit.rails if rail not in held]
        diodes: dict[str, list[str]] = {}
        for key, kind in self.circuit.kinds.items() if unknown else ():
            if kind.kind in _DIODES and kind.fitted and key not in {*self.without, *self.changes}:
                anode, cathode = diode_ends(self.circuit.board.part_by_key[key])
                if anode is not None and cathode is not None:
                    diodes.setdefault(anode, []).append(cathode)
        found: dict[str, str] = {}
        for rail in unknown:
            reached = self.network.around(rail, held, diodes) - held
            found |= dict.fromkeys(reached.difference(found), rail)
            found[rail] = rail
        return found

    def why_unknown(self, net: str) -> str:
        """Return why a net has no voltage of its own, in words; "" where no rail is to blame."""
        rail = self._hanging.get(net)
        if rail is None or net in (self.rails or {}):
            return ""
        if rail == net:
            return f"the voltage of {net} is not known"
        return f"{net} hangs on {rail}, whose voltage is not known"

    @cached_property
    def node_volts(self) -> Mapping[str, float]:
        """Net -> volts with the rails up and nothing driving, for nets that known rails settle."""
        volts = self.network.voltages(self.fixed)
        return {net: found for net, found in volts.items() if net not in self._hanging}

    def volts(self, net: str) -> ExpectedVolts | None:
        """Return the voltage of a net with its rails up and nothing driving it, or None.

        None too for what a rail of unknown voltage reaches: `why_unknown` names it.
        """
        said = (self.rails or {}).get(net)
        if said is not None:
            return ExpectedVolts(said, said, said, "as you say")
        rail = self.circuit.rails.get(net)
        ground = self.ground
        supply = rail is not None and rail.kind is not NetKind.GROUND
        if ground is not None and net != ground and supply and self.network.same_node(net, ground):
            return ExpectedVolts(0.0, 0.0, 0.0, f"shorted to {ground}: do not power it up")
        stated = rail.volts if rail is not None else None
        if net not in self.node_volts or (stated is not None and net not in self.fixed):
            return None  # the part that its voltage rests on is missing, or the rail is off
        volts = self.node_volts[net]
        if net in self.fixed:
            return ExpectedVolts(volts, stated.min, stated.max, stated.basis) if stated else None
        around = self.network.around(net, self.fixed)
        names = ", ".join([name for name in self.fixed if name in around][:NAMED])
        basis = f"by the resistors from {names}, while nothing drives the net"
        return ExpectedVolts(volts, None, None, basis)

    # -- readings ----------------------------------------------------------------------------

    def between(self, start: str, start_net: str, to: str, to_net: str) -> Expected:
        """Return what to expect from one net (shown as `start`) to another (shown as `to`)."""
        ends = start, start_net, to, to_net
        if start_net == to_net:
            return Expected(*ends, None, 0.0, None, ("one net: it beeps",))
        bounds = self.power_off.ohms(start_net, to_net)
        farads, parts, class_2 = self.power_off.farads(start_net, to_net)
        because = list(self._why_ohms(bounds))
        if farads:
            because.append(f"{engineering(farads, 'F')} across: {self._names(parts)}")
            if class_2:
                because.append(
                    "class 2 ceramic: an in-circuit reading below nominal is no fault by itself "
                    "(falls with bias and age)"
                )
        if to_net != self.ground:
            return Expected(*ends, bounds, farads, None, tuple(because))
        volts = self.volts(start_net)
        warm = self._thermistor_line(start_net)
        if volts is not None:
            because.append(volts.basis)
        if warm is not None and warm.part is None:
            because.append("with the pack unplugged: with it, see over temperature")
        if part := self.upset(start_net):
            because.append(f"its voltage rests on {part}: not known now, it may be too high")
        elif volts is None and (unknown := self.why_unknown(start_net)):
            because.append(unknown)
        diode = "" if self.is_ground(start_net) else DIODE_TEXT
        return Expected(*ends, bounds, farads, volts, tuple(because), diode, warm)

    def of_net(self, start: str, net: str, part: Part | None = None) -> tuple[Expected, ...]:
        """Return the readings of a net, shown as `start`: to ground, to the rails that pull it.

        Across `part` too, if it has two nets.
        """
        pulls = self.circuit.pulls.get(net, ())
        nets = [self.ground, *(pull.to for pull in pulls if pull.fitted)]
        targets = {name: name for name in nets if name is not None and name != net}
        other, heat = None, None
        if part is not None and len(part.nets) == 2:
            other, heat = next(name for name in part.nets if name != net), self.heat(part.key)
            opposite = next(pin for pin in part.pins if pin.net == other)
            label = f"{part.refdes}.{opposite.number}"
            targets[other] = f"{label} ({other})" if other in targets else label
        found = (self.between(start, net, label, name) for name, label in targets.items())
        return tuple(replace(f, heat=heat) if f.to_net == other else f for f in found)

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

    # -- a thermistor's line -----------------------------------------------------------------

    def _thermistor_line(self, net: str) -> ThermistorLine | None:
        """Return what a thermistor on the net, or in a battery pack plugged in there, makes of it.

        None where no thermistor is on the net. A pack's thermistor is taken for 10 kΩ at 25 °C, as
        most are (common practice, no source), and only where its bias resistor and a plug are
        there.
        """
        circuit, board = self.circuit, self.circuit.board
        nets = [name for name in board.net_by_name if self.network.same_node(name, net)]
        pins = [pin for name in nets for pin in board.net_by_name[name].pins]
        here = [pin.part for pin in pins if pin.part not in self.without]
        kinds = {key: circuit.kinds[key] for key in here}
        own = (
            (key, kind.ohms)
            for key, kind in kinds.items()
            if kind.kind is Kind.THERMISTOR and kind.fitted and kind.ohms
        )
        key, nominal = next(own, (None, NOMINAL_OHMS))
        beta = None
        if key is not None:
            part = board.part_by_key[key]
            what = f"{part.refdes}, {engineering(nominal, 'Ω')} at 25 °C"
            # the beta that the user's note, the value, a field or the description states, K
            noted = circuit.notes.values.get(part.refdes)
            texts = (noted, part.value, *part.properties.values(), part.description)
            betas = (read_part_value(text, "thermistor").beta for text in texts if text)
            beta = next((found for found in betas if found is not None), None)
        elif any(circuit.roles(key)[0].role == "thermistor bias" for key in here) and any(
            kind.kind is Kind.CONNECTOR for kind in kinds.values()
        ):
            what = (
                f"a pack's thermistor of {engineering(NOMINAL_OHMS, 'Ω')} at 25 °C to "
                f"{self.ground or 'ground'} (common practice, no source)"
            )
        else:
            return None
        curve = f"beta {beta:g} K" if beta is not None else "the curve of a B57330V2103, scaled"
        rows = []
        for celsius in CELSIUS:
            if beta is not None:
                ohms = beta_ohms(celsius, beta, nominal)
            else:
                ohms = table_ohms(celsius) * nominal / NOMINAL_OHMS
            rows.append(LineAtCelsius(celsius, ohms, self._volts_with(net, key, ohms)))
        return ThermistorLine(key, tuple(rows), f"{what}, by {curve}")

    def _volts_with(self, net: str, key: str | None, ohms: float) -> float | None:
        """Return the volts of a net with its thermistor at a resistance; None: not settled."""
        if key is not None:
            network = self.network.changed({key: ohms})
        elif self.ground is not None:
            pack = Resistor("pack thermistor", net, self.ground, ohms)
            network = Network((*self.network.resistors, pack))
        else:
            return None
        if net in self.fixed or net in self._hanging:
            return None
        around = network.around(net, self.fixed)
        # with grounds alone there is nothing to divide
        if not any((self.rails and n in self.rails) or not self.is_ground(n)
                   for n in self.fixed if n in around):  # fmt: skip
            return None
        return network.voltages(self.fixed).get(net)

    # -- heat --------------------------------------------------------------------------------

    def heats(self) -> tuple[Heat, ...]:
        """Return every resistor above 0 Ω with a known power, the nearest to its rating first."""
        found = [heat for part in self.circuit.board.parts if (heat := self.heat(part.key))]
        known = [heat for heat in found if heat.watts is not None or heat.at_most is not None]
        return tuple(sorted(known, key=lambda heat: (-heat.share, -(heat.at_most or 0.0))))

    def heat(self, part: str) -> Heat | None:
        """Return the power in a part, None where it is no resistor above 0 Ω."""
        kind = self.circuit.kinds[part]
        if kind.kind not in _HEATED:
            return None
        own = [r for r in self.power_off.elements.resistances if r.part == part and r.ohms > 0]
        if not own:
            return None
        volts = self.node_volts
        drops = [(volts[r.a] - volts[r.b], r.ohms) for r in own if r.a in volts and r.b in volts]
        quiet = [w if (w := drop**2 / ohms) > _NOTHING else 0.0 for drop, ohms in drops]
        driven = self.circuit.roles(part)[0].role not in _UNDRIVEN
        worst = [watts for r in own if driven and (watts := self._worst_watts(r)) is not None]
        watts = max(quiet, default=None)
        at_most = max((*worst, *quiet)) if worst else None
        rated, by = kind.rated_watts, "stated by the source"
        if rated is None:
            size = chip_size(kind.size_inch or "") if kind.kind is Kind.RESISTOR else None
            by = ""
            if size is not None and size.watts is not None:
                rated, by = size.watts, f"size {size.inch}, at 70 °C ({size.source})"
        state: HeatState = "within"
        if rated is None:
            state = "rating not known"
        elif watts is not None and watts > rated:
            state = "over"
        elif at_most is not None and at_most > rated:
            state = "may be over"
        return Heat(part, watts, at_most, rated, by, state)

    @cached_property
    def _drivers(self) -> Mapping[str, list[str]]:
        """Net -> the keys of the parts that may drive or load it in a way nobody knows."""
        found: dict[str, list[str]] = {}
        for part, nets in self.power_off.elements.unknown:
            for net in nets:
                found.setdefault(net, []).append(part)
        return found

    def _worst_watts(self, item: Resistance) -> float | None:
        """Return the power if a chip takes the net behind a resistor as far as it can.

        None for a resistor in series between two signals, and for one so small that the current of
        what it feeds decides.
        """
        one, other = self._span(item.a), self._span(item.b)
        if one is None or other is None:
            return None
        if item.a not in self.fixed and item.b not in self.fixed:
            return None
        drop = max(abs(one[1] - other[0]), abs(other[1] - one[0]))
        return drop**2 / item.ohms if drop / item.ohms <= PIN_AMPERES else None

    def _span(self, net: str) -> tuple[float, float] | None:
        """Return the lowest and highest volts of a net; one figure where nothing can drive it."""
        if net in self.fixed:
            return self.fixed[net], self.fixed[net]
        if net in self._hanging:
            return None
        reached = {self.node_volts[net]} if net in self.node_volts else set()
        drivers = self._drivers.get(net, ())
        for part in drivers:
            nets = self.circuit.board.part_by_key[part].nets
            reached |= {self.fixed[other] for other in nets if other in self.fixed}
        if not reached or (drivers and len(reached) < 2):
            return None
        return min(reached), max(reached)
