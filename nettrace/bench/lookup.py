"""What a user's words mean on a circuit: a rail, a bus, one net, the ways between two nets."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Bus, Link, NetKind, Rail
from nettrace.errors import NothingMatches, WrongUsage
from nettrace.model.board import Board, Net
from nettrace.model.find import find_nets, find_pins, split_pin
from nettrace.model.names import match_names, nearest_names


def find_rails(circuit: Circuit, name: str | None = None) -> tuple[Rail, ...]:
    """Return the rails and grounds that a net's name or wildcard means; None means all.

    Raises:
        NothingMatches: no such net, or it is no rail.
    """
    if name is None:
        return tuple(circuit.rails.values())
    nets = find_nets(circuit.board, name)
    rails = tuple(circuit.rails[item.name] for item in nets if item.name in circuit.rails)
    if not rails:
        first = nets[0].name
        raise NothingMatches(
            f"{first} is no rail or ground; its kind is {circuit.net_kind(first)}",
            hint=f"If you know better: --rail {first}=VOLTS.",
        )
    return rails


def find_buses(circuit: Circuit, name: str | None = None) -> tuple[Bus, ...]:
    """Return the buses of a name, a protocol or a net, wildcards allowed; None means all.

    Raises:
        NothingMatches: no such bus; the nearest names are offered.
    """
    if name is None:
        return circuit.buses
    buses = circuit.buses
    by_name, by_protocol = [{bus.name} for bus in buses], [{bus.protocol} for bus in buses]
    by_net = [{net for line in bus.lines for net in line.nets} for bus in buses]
    for known in (by_name, by_protocol, by_net):
        hits = set(match_names(name, set[str]().union(*known)))
        if hits:
            return tuple(bus for bus, words in zip(buses, known, strict=True) if hits & words)
    names = [bus.name for bus in buses]
    near = nearest_names(name, names) or tuple(names[:6])
    hint = f"Buses: {', '.join(near)}." if near else "No serial bus was found on this board."
    raise NothingMatches(f"no bus {name!r}", hint=hint)


def find_one_net(board: Board, words: str) -> Net:
    """Return the one net that a net's name or a pad (`REFDES.PIN`) means.

    Raises:
        NothingMatches: no such net or pad, or the pad is on no net.
        WrongUsage: it means several.
    """
    try:
        nets = find_nets(board, words)
    except NothingMatches:
        if split_pin(board, words) is None:
            raise
        pins = find_pins(board, words)
        names = list(dict.fromkeys(pin.net for pin in pins if pin.net is not None))
        if not names:
            raise NothingMatches(f"{words} is on no net") from None
        nets = tuple(board.net_by_name[name] for name in names)
    if len(nets) > 1:
        names = [item.name for item in nets]
        raise WrongUsage(
            f"{words!r} means {len(nets)} nets: {', '.join(names[:4])}", hint="Give one of them."
        )
    return nets[0]


# -- ways between two nets ----------------------------------------------------------------------


#: Ways listed at most; a mesh of parallel parts has more than anyone reads.
MOST_WAYS = 50

#: A net, and the kind of all nets so far (RAIL, GROUND, SIGNAL for the rest), None if mixed.
_State = tuple[str, NetKind | None]
_Chain = tuple[Link, ...]


@dataclass(frozen=True, slots=True)
class Way:
    """One way: the links in order, each turned in the direction of travel.

    `ohms` is their sum, None where one of them has no known resistance; `conditional` is what
    must hold for it, "" for always.
    """

    start: str
    links: tuple[Link, ...]
    ohms: float | None
    conditional: str = ""


def find_ways(circuit: Circuit, from_net: str, to_net: str) -> tuple[Way, ...]:
    """Return all ways with the fewest parts, in the order of their parts; () if there is none.

    Two pull-ups to one rail tie nothing together: a way that has come to a rail or ground from
    elsewhere stays on rails, or grounds, that links join.

    Method: breadth-first over the links; cost is the number of links of the nets it meets.
    """
    if from_net == to_net:
        return (Way(from_net, (), 0.0),)
    start: _State = (from_net, _kind(circuit, from_net))
    seen = {start}
    edge: dict[_State, list[_Chain]] = {start: [()]}  # the chains that lead to each state
    chains: list[_Chain] = []
    while edge and not chains:
        reached: dict[_State, list[_Chain]] = {}
        for state, before in edge.items():
            for after, link in _steps(circuit, state):
                if after not in seen:
                    ways = reached.setdefault(after, [])
                    ways += [(*chain, link) for chain in before[: MOST_WAYS - len(ways)]]
        seen.update(reached)
        edge = reached
        chains = [chain for (net, _), ways in edge.items() if net == to_net for chain in ways]
    found = []
    for links in chains[:MOST_WAYS]:
        known = [link.ohms for link in links if link.ohms is not None]
        ohms = sum(known) if len(known) == len(links) else None
        terms = dict.fromkeys(link.conditional for link in links if link.conditional)
        found.append(Way(from_net, links, ohms, " and ".join(terms)))
    return tuple(found)


def _kind(circuit: Circuit, net: str) -> NetKind:
    kind = circuit.net_kind(net)
    return kind if kind in {NetKind.RAIL, NetKind.GROUND} else NetKind.SIGNAL


def _steps(circuit: Circuit, state: _State) -> Iterator[tuple[_State, Link]]:
    net, only = state
    here = _kind(circuit, net)
    for link in circuit.links.get(net, ()):
        there = _kind(circuit, link.to_net)
        if there is here or here is NetKind.SIGNAL or only is here:
            yield (link.to_net, only if there is only else None), link
