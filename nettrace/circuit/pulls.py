"""Pull-ups and pull-downs of every signal: its own, and those behind series parts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from msgspec.structs import replace

from nettrace.circuit.evidence import Link, PartKind, Pull, Rail, Reach
from nettrace.circuit.kinds import Kind
from nettrace.circuit.links import LEAST_PULL_OHMS, LINK_KINDS, walk
from nettrace.model.board import Board
from nettrace.model.names import natural_key

#: Behind series parts of more than this a pull is another signal's (common practice, no source;
#: UM10204 section 7.3 bounds series resistors of a bus near a ninth of the pull-up).
MOST_SERIES_OHMS: Final = 1000.0
#: Behind more series parts than this nobody puts a pull (common practice, no source).
DEEPEST: Final = 4


def infer_pulls(
    board: Board,
    kinds: Mapping[str, PartKind],
    rails: Mapping[str, Rail],
    links: Mapping[str, tuple[Link, ...]],
) -> dict[str, tuple[Pull, ...]]:
    """Return the pulls of each signal net that has any, by net name; own ones first.

    A resistor in series with nothing but a LED or a transistor's switched end is no pull.
    `volts` is the nominal voltage of the rail, 0 for a ground, None if not known.
    """
    own: dict[str, list[Pull]] = {}
    for net in board.nets:
        if net.name in rails:
            continue
        for link in links.get(net.name, ()):
            rail = rails.get(link.to_net)
            if rail is None or link.kind != "resistor":
                continue
            if link.ohms is not None and link.ohms < LEAST_PULL_OHMS:
                continue
            others = {kinds[pin.part].kind for pin in net.pins if pin.part != link.part}
            if others - {Kind.TEST_POINT} == {Kind.LED}:
                continue
            up = rail.kind == "rail"
            volts = rail.volts.nominal if rail.volts is not None else None
            fitted = kinds[link.part].fitted
            own.setdefault(net.name, []).append(
                Pull(link.part, "up" if up else "down", link.ohms, link.to_net, volts, (), fitted)
            )
    found = {net: _sorted(pulls) for net, pulls in own.items()}
    for net in board.nets:
        if net.name not in rails and net.name in links:
            pulls = _behind(net.name, rails, links, own)
            if pulls:
                found[net.name] = found.get(net.name, ()) + _sorted(pulls)
    return found


def _sorted(pulls: list[Pull]) -> tuple[Pull, ...]:
    return tuple(sorted(pulls, key=lambda p: (len(p.through), natural_key(p.part))))


def _behind(
    start: str,
    rails: Mapping[str, Rail],
    links: Mapping[str, tuple[Link, ...]],
    own: Mapping[str, list[Pull]],
) -> list[Pull]:
    """Return pulls of nets behind series parts; nothing conditional, nothing not fitted."""

    def passes(near: Reach, link: Link) -> bool:
        ohms = (near.ohms or 0.0) + (link.ohms or 0.0)
        series = LINK_KINDS[link.kind].series and not link.conditional
        return series and link.to_net not in rails and ohms <= MOST_SERIES_OHMS

    return [
        replace(pull, through=reach.through)
        for reach in walk(links, start, DEEPEST, passes)
        for pull in own.get(reach.net, ())
        if pull.ohms is None or (reach.ohms or 0.0) * 2 <= pull.ohms
    ]


def parallel_ohms(pulls: tuple[Pull, ...], direction: str = "up") -> float | None:
    """Return the resistance of the fitted pulls of one direction in parallel, ohms.

    None where there is none, or where one of them has no value. Series parts on the way are left
    out: UM10204 section 7.1 counts every pull-up of the line.
    """
    chosen = [pull for pull in pulls if pull.direction == direction and pull.fitted]
    if not chosen or any(not pull.ohms for pull in chosen):
        return None
    return 1.0 / sum(1.0 / pull.ohms for pull in chosen if pull.ohms)
