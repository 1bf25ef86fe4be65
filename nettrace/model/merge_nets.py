"""Which net of one source is which net of another, told by the pins they share."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

from nettrace.errors import Place, Warning
from nettrace.model.board import Board, Conflict, Net, Pin, Statement
from nettrace.model.names import natural_key

__all__ = ["NetJoin", "join_nets"]

#: Pins named in one conflict before "and N more".
PINS_SHOWN = 4
#: Fixed columns keep this many characters of a net name (IPC-D-356A, columns 4-17).
NET_COLUMNS = 14


@dataclass(slots=True)
class NetJoin:
    """What a source's nets are called here.

    `targets`: net of the source -> the net here; several where the source's cut names made two
    nets one name. `disputed` are pins (part key, number, here) that the two put on other nets.
    """

    targets: dict[str, tuple[str, ...]] = field(default_factory=dict)
    conflicts: list[Conflict] = field(default_factory=list)
    warnings: list[Warning] = field(default_factory=list)
    disputed: set[tuple[str, str]] = field(default_factory=set)


def join_nets(
    board: Board,
    pins: Mapping[tuple[str, str, str | None], tuple[str, str]],
    pin_net: Mapping[tuple[str, str], tuple[str | None, Place | None]],
    known_nets: set[str],
    *,
    by_name: bool,
) -> NetJoin:
    """Match the nets of `board` with those known, and say where they cannot be the same.

    Args:
        board: the source to be added.
        pins: its pins that are known here: (part, number, net) -> (part, number).
        pin_net: the net (and where that was said) of each known pin.
        known_nets: names of nets known so far.
        by_name: a net without a shared pin may be joined by its exact name (with a warning);
            never for formats that cut names.
    """
    join = NetJoin()
    votes: dict[str, Counter[str]] = {}
    for net in board.nets:
        counter: Counter[str] = Counter()
        for pin in net.pins:
            here = pins.get((pin.part, pin.number, pin.net))
            known = pin_net[here][0] if here is not None else None
            if known is not None:
                counter[known] += 1
        votes[net.name] = counter
    named: list[str] = []
    for net in board.nets:
        counter = votes[net.name]
        if counter:
            join.targets[net.name] = _targets(net, counter)
        elif by_name and net.name in known_nets:
            join.targets[net.name] = (net.name,)
            if net.pins:
                named.append(net.name)
        else:
            name = net.name
            while name in known_nets:
                name = f"{name}~2"
            join.targets[net.name] = (name,)
    _yield_to_owners(board, pins, votes, known_nets, join, by_name=by_name)
    if named:
        shown = ", ".join(sorted(named, key=natural_key)[:PINS_SHOWN])
        more = f" and {len(named) - PINS_SHOWN} more" if len(named) > PINS_SHOWN else ""
        source = board.sources[0].path if board.sources else "?"
        join.warnings.append(
            Warning(
                "joined-by-name",
                f"{shown}{more}: no pin in common with the other sources, joined by net name",
                Place(source),
            )
        )
    _find_conflicts(board, pins, pin_net, votes, join)
    return join


def _owners(board: Board, votes: Mapping[str, Counter[str]], join: NetJoin) -> dict[str, str]:
    """Return net here -> the net of the source that shares most pins with it."""
    owner: dict[str, str] = {}
    for net in board.nets:
        for target in join.targets[net.name]:
            before = owner.get(target)
            if before is None or votes[net.name][target] > votes[before][target]:
                owner[target] = net.name
    return owner


def _yield_to_owners(
    board: Board,
    pins: Mapping[tuple[str, str, str | None], tuple[str, str]],
    votes: Mapping[str, Counter[str]],
    known_nets: set[str],
    join: NetJoin,
    *,
    by_name: bool,
) -> None:
    """Part a net from the net here that its shared pins are on, where that is mostly another's.

    Such a net is the one here of its own name, if there is one; else, if it has pins that are new
    here, a net of its own: they must not come onto a net that their source keeps them from.
    """
    owner = _owners(board, votes, join)
    for net in board.nets:
        targets = join.targets[net.name]
        if len(targets) != 1 or net.name == targets[0] or owner[targets[0]] == net.name:
            continue
        if by_name and net.name in known_nets:
            join.targets[net.name] = (net.name,)
        elif any((pin.part, pin.number, pin.net) not in pins for pin in net.pins):
            name = net.name
            while name in known_nets:
                name = f"{name}~2"
            join.targets[net.name] = (name,)


def _targets(net: Net, counter: Counter[str]) -> tuple[str, ...]:
    cut = [name for name in counter if name != net.name and _cut(name) == net.name]
    if len(counter) > 1 and len(cut) + (net.name in counter) == len(counter):
        # fixed columns made several names one: the nets stay apart
        return tuple(sorted(counter, key=natural_key))
    best = min(counter, key=lambda name: (-counter[name], name != net.name, natural_key(name)))
    return (best,)


def _cut(name: str) -> str:
    return name.upper().replace(" ", "?")[-NET_COLUMNS:]


def _find_conflicts(
    board: Board,
    pins: Mapping[tuple[str, str, str | None], tuple[str, str]],
    pin_net: Mapping[tuple[str, str], tuple[str | None, Place | None]],
    votes: Mapping[str, Counter[str]],
    join: NetJoin,
) -> None:
    # a net here that several nets of the source claim belongs to the one with most shared pins
    owner = _owners(board, votes, join)
    for net in board.nets:
        targets = join.targets[net.name]
        groups: dict[str | None, list[tuple[Pin, tuple[str, str]]]] = {}
        for pin in net.pins:
            here = pins.get((pin.part, pin.number, pin.net))
            if here is None:
                continue
            known = pin_net[here][0]
            if known is None:
                if len(net.pins) > 1:
                    groups.setdefault(None, []).append((pin, here))
            elif known not in targets or owner[known] != net.name:
                groups.setdefault(known, []).append((pin, here))
        for known, found in groups.items():
            join.disputed.update(here for _, here in found)
            code = "net-split" if known in targets else "pin-on-two-nets"
            join.conflicts.append(_conflict(code, net.name, known, found, pin_net))
    met = Counter(pin_net[here][0] for here in pins.values())
    for part in board.parts:
        for pin in part.pins:
            if pin.net is not None:
                continue
            here = pins.get((pin.part, pin.number, None))
            known = pin_net[here][0] if here is not None else None
            if here is not None and known is not None and not known.startswith("unconnected-"):
                if met[known] < 2:
                    continue  # a net of one pin and no net at all say the same
                join.disputed.add(here)
                join.conflicts.append(
                    _conflict("pin-without-net", None, known, [(pin, here)], pin_net)
                )


def _conflict(
    code: str,
    name: str | None,
    known: str | None,
    found: list[tuple[Pin, tuple[str, str]]],
    pin_net: Mapping[tuple[str, str], tuple[str | None, Place | None]],
) -> Conflict:
    found = sorted(found, key=lambda item: (natural_key(item[1][0]), natural_key(item[1][1])))
    labels = [f"{part}.{number}" for _, (part, number) in found]
    subject = ", ".join(labels[:PINS_SHOWN])
    if len(labels) > PINS_SHOWN:
        subject += f" and {len(labels) - PINS_SHOWN} more"
    pin, here = found[0]
    first = Statement(f"on {known}" if known else "on no net", pin_net[here][1] or Place("?"))
    second = Statement(f"on {name}" if name else "on no net", pin.place or Place("?"))
    if known is None:
        code = "pin-without-net"
    return Conflict(code, subject, (first, second), known or "no net")
