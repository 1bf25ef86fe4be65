"""Parallel buses: many numbered lines between the same two chips, straight or through resistors."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from nettrace.circuit.bus_lines import TALKERS, RawBus
from nettrace.circuit.bus_spec import Spec
from nettrace.circuit.bus_words import is_named, plain_name
from nettrace.circuit.evidence import Link, PartKind, Rail
from nettrace.model.board import Board

__all__ = ["PARALLEL", "find_parallel"]

#: So many lines of one stem make a parallel bus (common practice, no source).
FEWEST: Final = 8
#: A series resistor in a fast line is at most this (common practice, no source).
MOST_OHMS: Final = 120.0

PARALLEL: Final = Spec("parallel", (), lambda found: len(found) >= FEWEST)
_INDEXED: Final = re.compile(r"^(?P<stem>.*?[A-Z_])(?P<index>\d{1,2})$")
#: Numbered names of ports say nothing about a bus.
_PORT: Final = re.compile(r"^(?:GPIO|IO|P[A-Z]|NET|N|UNNAMED|TP|LED|SW|KEY|ROW|COL|SEG|COM)_?$")


def find_parallel(
    board: Board,
    kinds: Mapping[str, PartKind],
    rails: Mapping[str, Rail],
    links: Mapping[str, tuple[Link, ...]],
    taken: set[str],
) -> list[RawBus]:
    """Return the parallel buses among nets that no other bus has, by chip pair."""
    pairs: dict[frozenset[str], dict[str, dict[str, list[str]]]] = {}
    done: set[str] = set()
    for net in board.nets:
        name = net.name
        if name in taken or name in rails or name in done or not is_named(name):
            continue
        match = _INDEXED.match(plain_name(name))
        if match is None or _PORT.match(match["stem"]):
            continue
        nets, chips = [name], _chips(board, kinds, name)
        for link in links.get(name, ()):
            far = link.to_net
            if (
                link.kind in {"resistor", "zero-ohm link"}
                and (link.ohms is None or link.ohms <= MOST_OHMS)
                and far not in rails
                and far not in taken
            ):
                nets.append(far)
                chips |= _chips(board, kinds, far)
        if len(chips) != 2:
            continue
        done.update(nets)
        stems = pairs.setdefault(frozenset(chips), {})
        lines = stems.setdefault(match["stem"].rstrip("_"), {})
        lines[f"{match['stem'].rstrip('_')}{int(match['index'])}"] = nets
    buses = []
    for chips_of_bus, stems in pairs.items():
        whole: dict[str, list[str]] = {}
        for lines in stems.values():
            if len(lines) >= FEWEST:
                whole.update(lines)
        if len(whole) >= FEWEST:
            names = " and ".join(sorted(chips_of_bus))
            buses.append(
                RawBus(PARALLEL, "*", whole, [f"{len(whole)} numbered lines between {names}"])
            )
    return buses


def _chips(board: Board, kinds: Mapping[str, PartKind], net: str) -> set[str]:
    return {pin.part for pin in board.net_by_name[net].pins if kinds[pin.part].kind in TALKERS}
