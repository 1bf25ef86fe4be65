"""What a meter should show on a board as it lies there: parts missing, changed or shorted."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import NamedTuple

from nettrace.circuit.circuit import Circuit
from nettrace.circuit.links import two_nets
from nettrace.electrical.expected import Expected, MeteredBoard
from nettrace.errors import NothingMatches, WrongUsage
from nettrace.model.board import Board, Part
from nettrace.model.find import find_nets, find_parts, find_pins, one_of_pads


class ProbePlace(NamedTuple):
    """Where a probe is held: how to show it, its net, and its part (None for a net)."""

    shown: str
    net: str
    part: Part | None


def metered_board(
    circuit: Circuit,
    without: Iterable[str] = (),
    rails: Mapping[str, float] | None = None,
    changed: Mapping[str, float] | None = None,
) -> MeteredBoard:
    """Return the board as it lies there, in the user's words.

    Args:
        circuit: the board.
        without: parts that are missing, wildcards allowed.
        rails: net -> volts that are on; none given means every rail of known voltage.
        changed: part of two nets -> the resistance it has instead, Ω; 0 is a short.

    Raises:
        NothingMatches: no such part or net.
        WrongUsage: a changed part is not between two nets.
    """
    board = circuit.board
    gone = frozenset(part.key for name in without for part in find_parts(board, name))
    changes = {}
    for name, ohms in (changed or {}).items():
        for part in find_parts(board, name):
            if two_nets(part) is None:
                raise WrongUsage(
                    f"{part.refdes} is on {len(part.nets)} nets",
                    expected="a part between two nets",
                    hint="Only such a part can be changed or shorted.",
                )
            if not 0 <= ohms < math.inf:
                raise WrongUsage(f"{name} of {ohms:g} Ω", expected="0 Ω or more")
            changes[part.key] = ohms
    values = {key: f"{ohms:.12g}" for key, ohms in changes.items() if ohms > 0}
    if values:
        # a feedback divider with another resistor sets another rail
        notes = replace(circuit.notes, values={**circuit.notes.values, **values})
        circuit = Circuit(board, notes)
    on = {find_nets(board, name)[0].name: volts for name, volts in (rails or {}).items()}
    return MeteredBoard(circuit, gone, on, changes)


def measure_pad(bench: MeteredBoard, pad: str, to: str | None) -> tuple[Expected, ...]:
    """Return what a meter should show at a pad or net; `to` None takes ground, rail and part.

    Raises:
        NothingMatches: no such pad or net.
        WrongUsage: a name means several.
    """
    start = find_probe_place(bench.circuit.board, pad)
    if to is None:
        return bench.of_net(*start)
    end = find_probe_place(bench.circuit.board, to)
    return (bench.between(start.shown, start.net, end.shown, end.net),)


def find_probe_place(board: Board, words: str) -> ProbePlace:
    """Return where a probe on a net or a pad (`REFDES.PIN`) is.

    Raises:
        NothingMatches: no such net or pad, or the pad is on no net.
        WrongUsage: it means several.
    """
    if words in board.net_by_name or "." not in words:
        (net, *more) = find_nets(board, words)
        if more:
            raise WrongUsage(f"{words!r} means {len(more) + 1} nets", hint="Name one net or pad.")
        return ProbePlace(net.name, net.name, None)
    try:
        pins = find_pins(board, words)
    except NothingMatches:
        for net in board.nets:
            if words in net.aliases:
                return ProbePlace(net.name, net.name, None)
        raise
    pin = pins[0]
    if len(pins) > 1:
        raise WrongUsage(f"{words!r} means {len(pins)} pads", hint=one_of_pads(board, pins))
    part = board.part_by_key[pin.part]
    label = f"{part.refdes}.{pin.number}"
    if pin.net is None:
        raise NothingMatches(f"{label} is on no net", hint="There is nothing to measure against.")
    return ProbePlace(label, pin.net, part)
