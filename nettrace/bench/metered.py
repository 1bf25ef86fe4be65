"""What a meter should show on a board as it lies there: parts missing, changed or shorted."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from nettrace.bench.lookup import find_changes, find_probe_place, on_rails
from nettrace.circuit.circuit import Circuit
from nettrace.electrical.expected import Expected, Heat, MeteredBoard
from nettrace.model.find import find_parts


@dataclass(frozen=True, slots=True)
class Lying:
    """How the board lies there, in the user's words.

    Attributes:
        without: parts that are missing, wildcards allowed.
        rails: net -> volts that are on; none given means every rail of known voltage.
        changed: part of two nets -> the resistance it has instead, Ω; 0 is a short.
    """

    without: Iterable[str] = ()
    rails: Mapping[str, float] = field(default_factory=dict)
    changed: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Measured:
    """What a meter should show `now`, and with every part as `fitted`.

    `without` are part keys; `changed` is part key -> Ω, 0 for a short.
    """

    now: tuple[Expected, ...]
    fitted: tuple[Expected, ...]
    without: tuple[str, ...]
    changed: Mapping[str, float]


def measure_pad(circuit: Circuit, pad: str, to: str | None, lying: Lying) -> Measured:
    """Return what a meter should show at a pad or net; `to` None takes ground, rail and part.

    Raises:
        NothingMatches: no such pad, net or part.
        WrongUsage: a name means several, or a changed part is not between two nets.
    """
    board = circuit.board
    bench = _bench(circuit, lying)
    start = find_probe_place(board, pad)
    target = find_probe_place(board, to) if to is not None else None

    def seen(at: MeteredBoard) -> tuple[Expected, ...]:
        if target is None:
            return at.of_net(*start)
        return (at.between(start.shown, start.net, target.shown, target.net),)

    fitted = MeteredBoard(circuit, rails=bench.rails)
    return Measured(seen(bench), seen(fitted), tuple(sorted(bench.without)), bench.changes)


def measure_power(circuit: Circuit, lying: Lying) -> tuple[Heat, ...]:
    """Return the power in every resistor that the rails settle, the nearest to its rating first.

    Errors as for `measure_pad`.
    """
    return _bench(circuit, lying).heats()


def _bench(circuit: Circuit, lying: Lying) -> MeteredBoard:
    board = circuit.board
    gone = frozenset(part.key for name in lying.without for part in find_parts(board, name))
    changes = find_changes(board, lying.changed)
    values = {key: f"{ohms:.12g}" for key, ohms in changes.items() if ohms > 0}
    if values:
        # a feedback divider with another resistor sets another rail
        notes = replace(circuit.notes, values={**circuit.notes.values, **values})
        circuit = Circuit(board, notes)
    return MeteredBoard(circuit, gone, on_rails(board, lying.rails), changes)
