"""Links between nets through parts, and what a net reaches through them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from nettrace.circuit.evidence import Link, PartKind, Rail, Reach
from nettrace.circuit.kinds import Kind
from nettrace.circuit.series import Pair, pairs_of, terminals_of
from nettrace.circuit.switches import chip_pairs, load_switch_nets, shifter_pair
from nettrace.model.board import Board, Part
from nettrace.model.names import natural_key

__all__ = ["SUPPLY_OHMS", "find_reaches", "infer_links"]

#: From a rail the way goes on only through parts that carry a supply: up to this resistance.
SUPPLY_OHMS: Final = 10.0
#: A chain of more parts than this is no series path any more (common practice, no source).
LONGEST: Final = 12


def infer_links(
    board: Board, kinds: Mapping[str, PartKind], rails: Mapping[str, Rail]
) -> dict[str, tuple[Link, ...]]:
    """Return the links that leave each net, by net name; each stands under both nets, turned.

    A part that is not fitted is kept, with `conditional` saying so. Order: the board's parts.
    """
    found: dict[str, list[Link]] = {}
    grounds = {name: rail for name, rail in rails.items() if rail.kind == "ground"}
    supplies = {name: rail for name, rail in rails.items() if rail.kind == "rail"}
    for part in board.parts:
        kind = kinds[part.key]
        for pair in _pairs(part, kind, supplies, grounds):
            first, second = pair.first.net, pair.second.net
            if first is None or second is None or first == second:
                continue
            condition = pair.conditional if kind.fitted else "not fitted"
            found.setdefault(first, []).append(
                Link(part.key, pair.first.number, pair.second.number, first, second, pair.kind,
                     pair.ohms, condition)
            )  # fmt: skip
            found.setdefault(second, []).append(
                Link(part.key, pair.second.number, pair.first.number, second, first, pair.kind,
                     pair.ohms, condition)
            )  # fmt: skip
    return {net: tuple(links) for net, links in found.items()}


def _pairs(
    part: Part,
    kind: PartKind,
    supplies: Mapping[str, Rail],
    grounds: Mapping[str, Rail],
) -> tuple[Pair, ...]:
    what = kind.kind
    if what in {Kind.MOSFET, Kind.TRANSISTOR}:
        shifter = shifter_pair(part, kind, supplies, grounds)
        if shifter is not None:
            return (shifter,)
        return _switched(part, kind, supplies, grounds)
    if what is Kind.IC:
        return chip_pairs(part, kind) + _switch_chip(part, supplies)
    pairs = pairs_of(part, kind)
    if what is Kind.CONNECTOR and pairs:
        # a plug with supply and return, or two signals, joins nothing
        first, second = pairs[0].first.net, pairs[0].second.net
        if first not in supplies or second not in supplies:
            return ()
    return pairs


def _switched(
    part: Part,
    kind: PartKind,
    supplies: Mapping[str, Rail],
    grounds: Mapping[str, Rail],
) -> tuple[Pair, ...]:
    nets = load_switch_nets(part, kind, supplies, grounds)
    if nets is None:
        ends = terminals_of(part)
        if ends is None or ends.gate in supplies:
            return ()
        if ends.source not in supplies or ends.drain not in supplies:
            return ()
        nets = ends.source, ends.drain
    first = next(pin for pin in part.pins if pin.net == nets[0])
    second = next(pin for pin in part.pins if pin.net == nets[1])
    return (Pair(first, second, "load switch", None, f"while {part.refdes} is on"),)


def _switch_chip(part: Part, supplies: Mapping[str, Rail]) -> tuple[Pair, ...]:
    """Return the pair of a load switch chip: its pins VIN and VOUT, both on rails, few pins."""
    if len(part.pins) > 8:
        return ()
    text = f"{part.value or ''} {part.description or ''}".upper()
    if not any(word in text for word in _LOAD_SWITCHES):
        return ()
    into = out = None
    for pin in part.pins:
        name = (pin.name or "").upper()
        if name in {"IN", "VIN", "VIN1"}:
            into = into or pin
        elif name in {"OUT", "VOUT", "VOUT1"}:
            out = out or pin
    if into is None or out is None or into.net not in supplies or out.net not in supplies:
        return ()
    return (Pair(into, out, "load switch", None, f"while {part.refdes} is on"),)


#: Load switch and current-limited switch families (common practice, no source).
_LOAD_SWITCHES: Final = (
    "LOAD SWITCH", "TPS229", "TPS205", "TPS255", "SY6280", "SY6288", "AP22", "AP2151", "AP2161",
    "MIC20", "MIC940", "RT9742", "STMPS", "NCP38", "FPF", "SIP32", "POWER SWITCH", "EFUSE",
    "POWER DISTRIBUTION", "AOZ13", "GLF7", "TCK1", "TCK2",
)  # fmt: skip


def find_reaches(
    links: Mapping[str, tuple[Link, ...]], rails: Mapping[str, Rail], start: str
) -> tuple[Reach, ...]:
    """Return the nets that `start` reaches through series parts, nearest first.

    The way ends at a rail or ground, which is given as the end, and from a rail it goes only
    through parts that carry a supply. `ohms` is None where one part's resistance is not known;
    a parallel way is given once, by its shortest chain.
    """
    seen = {start}
    found: list[Reach] = []
    from_rail = start in rails
    layer: list[tuple[str, tuple[str, ...], float | None, str]] = [(start, (), 0.0, "")]
    for _ in range(LONGEST):
        onward = []
        for net, through, ohms, condition in layer:
            if net != start and net in rails and not from_rail:
                continue
            for link in links.get(net, ()):
                far = link.to_net
                if far in seen or link.conditional == "not fitted":
                    continue
                if from_rail and not _carries_supply(link, far, rails):
                    continue
                seen.add(far)
                total = None if ohms is None or link.ohms is None else ohms + link.ohms
                parts = (*through, link.part)
                because = "; ".join(filter(None, (condition, link.conditional)))
                onward.append((far, parts, total, because))
        if not onward:
            break
        onward.sort(key=lambda step: (len(step[1]), natural_key(step[0])))
        found.extend(Reach(net, parts, total, text) for net, parts, total, text in onward)
        layer = onward
    return tuple(found)


def _carries_supply(link: Link, far: str, rails: Mapping[str, Rail]) -> bool:
    if link.kind == "resistor":
        return link.ohms is not None and link.ohms <= SUPPLY_OHMS and far in rails
    return far in rails or link.kind in {"ferrite bead", "fuse", "zero-ohm link", "current shunt"}
