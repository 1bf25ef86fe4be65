"""A thermistor's line on the board: what it should measure at a few temperatures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from nettrace.circuit.evidence import NetKind
from nettrace.circuit.kinds import Kind
from nettrace.electrical.network import Network, Resistor
from nettrace.electrical.thermistor import (
    EPCOS_B57330V2103,
    NOMINAL_OHMS,
    beta_ohms,
    table_ohms,
)
from nettrace.values.part_value import read_part_value
from nettrace.values.quantity import engineering

if TYPE_CHECKING:
    from nettrace.circuit.circuit import Circuit
    from nettrace.electrical.readings import Bench
    from nettrace.model.board import Part

__all__ = ["CELSIUS", "LineAtCelsius", "ThermistorLine", "thermistor_line"]

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


def thermistor_line(bench: Bench, net: str) -> ThermistorLine | None:
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
    bench: Bench, net: str, key: str | None, nominal_ohms: float, beta: float | None
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


def _volts(bench: Bench, net: str, key: str | None, ohms: float) -> float | None:
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
