"""Links between nets through parts, and what a net reaches through them.

Besides the series parts of `series`: MOSFETs, shifters and switch chips, which join nets on a
condition. A MOSFET with its gate on a rail and both other ends on signals is a level shifter; one
with source or drain on a rail and the gate driven is a load switch. Other transistors drive.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Container, Iterator, Mapping
from dataclasses import dataclass
from math import floor, hypot, isfinite
from typing import Final

from nettrace.circuit.evidence import Link, NetKind, PartKind, Rail, Reach
from nettrace.circuit.kinds import TRANSISTORS, Kind
from nettrace.circuit.series import LINK_KINDS, SUPPLY_OHMS, Pair, pairs_of, terminals_of
from nettrace.knowledge import compiled, pattern, table
from nettrace.model.board import Board, Part, Pin
from nettrace.model.names import natural_key

#: A chain of more parts than this is no series path any more (common practice, no source).
LONGEST: Final = 12
#: A capacitor serves the chip whose supply pin is within this, mm (common practice, no source).
NEAR_MM: Final = 6.0
#: Kinds that draw from a rail, or through which it is drawn from.
_SERVED: Final = frozenset(
    {Kind.IC, Kind.MODULE, Kind.OSCILLATOR, Kind.DISPLAY, Kind.MICROPHONE, Kind.UNKNOWN,
     Kind.CONNECTOR}
)  # fmt: skip


def infer_links(
    board: Board, kinds: Mapping[str, PartKind], rails: Mapping[str, Rail]
) -> dict[str, tuple[Link, ...]]:
    """Return the links that leave each net, by net name; each stands under both nets, turned.

    A part that is not fitted is kept, with `conditional` saying so. Order: the board's parts.
    """
    found: dict[str, list[Link]] = {}
    grounds = {name for name, rail in rails.items() if rail.kind is NetKind.GROUND}
    supplies = rails.keys() - grounds
    for part in board.parts:
        kind = kinds[part.key]
        for pair in _pairs(part, kind, supplies, grounds):
            condition = pair.conditional if kind.fitted else "not fitted"
            for one, other in ((pair.first, pair.second), (pair.second, pair.first)):
                if one.net is not None and other.net is not None and one.net != other.net:
                    found.setdefault(one.net, []).append(
                        Link(part.key, one.number, other.number, one.net, other.net, pair.kind,
                             pair.ohms, condition)
                    )  # fmt: skip
    return {net: tuple(links) for net, links in found.items()}


def _pairs(
    part: Part, kind: PartKind, supplies: Container[str], grounds: Container[str]
) -> tuple[Pair, ...]:
    if kind.kind in TRANSISTORS:
        return _transistor_pairs(part, kind, supplies, grounds)
    if kind.kind is Kind.IC:
        return _shifter_chip(part) + _switch_chip(part, supplies)
    pairs = pairs_of(part, kind)
    if kind.kind is Kind.CONNECTOR and any(
        pin.net not in supplies for pair in pairs for pin in (pair.first, pair.second)
    ):
        return ()  # a plug with supply and return, or two signals, joins nothing
    return pairs


def _transistor_pairs(
    part: Part, kind: PartKind, supplies: Container[str], grounds: Container[str]
) -> tuple[Pair, ...]:
    """Return the pair of a level shifter, low side first, or of a load switch."""
    ends = terminals_of(part)
    if ends is None:
        return ()
    between = (ends.source, ends.drain)
    signals = not any(net in supplies or net in grounds for net in between)
    if ends.gate in supplies:
        # a base is never tied straight to a rail: with the letter alone known it is a MOSFET too
        if ends.source == ends.drain or not signals:
            return ()
        return (_joined(part, between, "level shifter", f"while {ends.gate} is up"),)
    nets = load_switch_nets(part, kind, supplies, grounds)
    if nets is None and all(net in supplies for net in between):
        nets = between
    return (
        () if nets is None else (_joined(part, nets, "load switch", f"while {part.refdes} is on"),)
    )


def _joined(part: Part, nets: tuple[str, str], kind: str, condition: str) -> Pair:
    first, second = (next(pin for pin in part.pins if pin.net == net) for net in nets)
    return Pair(first, second, kind, None, condition)


def load_switch_nets(
    part: Part, kind: PartKind, supplies: Container[str], grounds: Container[str]
) -> tuple[str, str] | None:
    """Return (supply, switched net) of a MOSFET in series with a rail; None if it is none.

    Args:
        part: the MOSFET or transistor.
        kind: its kind.
        supplies: names of supply nets known so far.
        grounds: names of ground nets.
    """
    ends = terminals_of(part) if kind.kind in TRANSISTORS else None
    if ends is None or ends.gate in supplies or any(net in grounds for net in ends[:3]):
        return None
    for near, far in ((ends.source, ends.drain), (ends.drain, ends.source)):
        if near in supplies and far not in supplies:
            return near, far
    return None


def switched_way(
    part: Part, board: Board, kinds: Mapping[str, PartKind], grounds: Container[str]
) -> tuple[str, str] | None:
    """Return (supply side, switched side) of a MOSFET between two rails; None if it is none.

    Its body diode must not lead from the supply to the load, or it could not cut off: a P-channel
    MOSFET has its source at the supply, an N-channel one its drain. Where the channel is not
    said, the end to which a resistor ties the gate is the supply, else the source: high-side
    switches are mostly P-channel. A gate with nothing but a resistor to ground guards against
    reversal, and there the diode does lead to the load.

    Args:
        part: the MOSFET or transistor.
        board: the board it is on.
        kinds: the kind of every part, by part key.
        grounds: names of ground nets.

    Source: common practice, no source.
    """
    ends = terminals_of(part)
    if kinds[part.key].kind not in TRANSISTORS or ends is None:
        return None
    source, drain = ends.source, ends.drain
    at_gate = {pin.part for pin in board.net_by_name[ends.gate].pins} - {part.key}
    tied = {
        net
        for key in at_gate
        if kinds[key].kind is Kind.RESISTOR
        for net in board.part_by_key[key].nets
        if net != ends.gate
    }
    undriven = {Kind.RESISTOR, Kind.CAPACITOR, Kind.ZENER, Kind.DIODE}
    if any(net in grounds for net in tied) and all(kinds[key].kind in undriven for key in at_gate):
        return drain, source
    text = text_of(part)
    if pattern("links", "p_channel").search(text):
        return source, drain
    if pattern("links", "n_channel").search(text) or (drain in tied and source not in tied):
        return drain, source
    return source, drain


def text_of(part: Part) -> str:
    """Return what the part's value and description say, in one line."""
    return f"{part.value or ''} {part.description or ''}"


def _shifter_chip(part: Part) -> tuple[Pair, ...]:
    """Return the pairs of a level shifter chip: A1-B1, SDA1-SDA2, by pin names."""
    if not 6 <= len(part.pins) <= 32:
        return ()
    names = {_plain(pin): pin for pin in part.pins}
    sides = _facing(names)
    if not sides:
        return ()
    row = table("links")["level_shifter"]
    two_supplies = any(names.keys() >= set(both.split()) for both in row["supplies"])
    if not two_supplies and not pattern("links", "shifter").search(text_of(part)):
        return ()
    return tuple(
        Pair(a, b, "level shifter", None, "while both sides of the level shifter have supply")
        for a, b in sides
        if a.net and b.net and a.net != b.net
    )


def _plain(pin: Pin) -> str:
    return re.sub(r"[{}~_^ ]", "", (pin.name or "").upper())


def _facing(names: Mapping[str, Pin]) -> list[tuple[Pin, Pin]]:
    """Return pin pairs by names: A1/B1, 1A/1B, SDA1/SDA2, SDAA/SDAB."""
    pairs = []
    for name, pin in names.items():
        for text, partner in table("links")["level_shifter"]["rows"]:
            match = compiled(text).match(name)
            if match:
                other = names.get(match.expand(partner))
                if other is not None:
                    pairs.append((pin, other))
                break
    return pairs


def _switch_chip(part: Part, supplies: Container[str]) -> tuple[Pair, ...]:
    """Return the pair of a load switch chip: its pins VIN and VOUT, both on rails, few pins."""
    if len(part.pins) > 8:
        return ()
    text = text_of(part).upper()
    words = table("links")["load_switch"]
    if not any(word in text for word in words["families"]):
        return ()
    ends = [
        next((pin for pin in part.pins if (pin.name or "").upper() in words[way].split()), None)
        for way in ("in", "out")
    ]
    into, out = ends
    if into is None or out is None or into.net not in supplies or out.net not in supplies:
        return ()
    return (Pair(into, out, "load switch", None, f"while {part.refdes} is on"),)


def find_reaches(
    links: Mapping[str, tuple[Link, ...]], rails: Mapping[str, Rail], start: str
) -> tuple[Reach, ...]:
    """Return the nets that `start` reaches through series parts, nearest first.

    The way ends at a rail or ground, which is given as the end, and from a rail it goes only
    through parts that carry a supply. `ohms` is None where one part's resistance is not known;
    a parallel way is given once, by its shortest chain.
    """
    from_rail = start in rails

    def passes(near: Reach, link: Link) -> bool:
        if link.conditional == "not fitted":
            return False
        if from_rail:
            return _carries_supply(link, link.to_net in rails)
        return near.net not in rails

    return tuple(walk(links, start, LONGEST, passes))


def walk(
    links: Mapping[str, tuple[Link, ...]],
    start: str,
    longest: int,
    passes: Callable[[Reach, Link], bool],
) -> Iterator[Reach]:
    """Yield the nets that `start` reaches, nearest first, over at most `longest` parts.

    `passes` is asked about the way so far and the next link.
    """
    seen = {start}
    layer = [Reach(start, (), 0.0)]
    for _ in range(longest):
        onward = []
        for near in layer:
            for link in links.get(near.net, ()):
                if link.to_net in seen or not passes(near, link):
                    continue
                seen.add(link.to_net)
                ohms = link.ohms
                if ohms is not None:
                    ohms = None if near.ohms is None else near.ohms + ohms
                condition = "; ".join(filter(None, (near.conditional, link.conditional)))
                onward.append(Reach(link.to_net, (*near.through, link.part), ohms, condition))
        onward.sort(key=lambda step: natural_key(step.net))
        yield from onward
        layer = onward


def _carries_supply(link: Link, to_rail: bool) -> bool:
    if link.kind == "resistor":
        return link.ohms is not None and link.ohms <= SUPPLY_OHMS and to_rail
    return to_rail or LINK_KINDS[link.kind].for_supply or link.kind == "zero-ohm link"


#: A pad of a part that is served: its index in the net's order, x and y in mm, the part.
_Spot = tuple[int, float, float, str]


@dataclass(frozen=True, slots=True)
class Bank:
    """A rail's fitted capacitors to ground, its stiff links, and the pads that it serves."""

    farads: Mapping[str, float]  # part key -> capacitance, F; 0 where not known
    whole_farads: float
    stiff: tuple[Link, ...]  # fitted links of no resistance to other nets
    spots: Mapping[tuple[int, int], tuple[_Spot, ...]]  # by cell of `NEAR_MM`

    def nearest(self, x: float, y: float) -> str | None:
        """Return the part with a pad nearest to a place (mm), within `NEAR_MM`; None if none."""
        if not (isfinite(x) and isfinite(y)):
            return None
        column, row = floor(x / NEAR_MM), floor(y / NEAR_MM)
        near = [
            (hypot(at_x - x, at_y - y), index, part)
            for across in (column - 1, column, column + 1)
            for up in (row - 1, row, row + 1)
            for index, at_x, at_y, part in self.spots.get((across, up), ())
        ]
        away, _, part = min(near, default=(NEAR_MM + 1, 0, ""))
        return part if away <= NEAR_MM else None


def find_bank(
    board: Board,
    kinds: Mapping[str, PartKind],
    rails: Mapping[str, Rail],
    links: Mapping[str, tuple[Link, ...]],
    rail: str,
) -> Bank:
    """Return what stands on a rail; one walk over its pins and links."""
    farads: dict[str, float] = {}
    spots: dict[tuple[int, int], list[_Spot]] = {}
    index = 0
    for pin in board.net_by_name[rail].pins:
        kind = kinds[pin.part]
        if kind.kind is Kind.CAPACITOR:
            nets = board.part_by_key[pin.part].nets if kind.fitted else ()
            if any(net in rails and rails[net].kind is NetKind.GROUND for net in nets):
                farads[pin.part] = kind.farads or 0.0
        elif kind.kind in _SERVED:
            for pad in pin.pads:
                if isfinite(pad.x) and isfinite(pad.y):
                    cell = floor(pad.x / NEAR_MM), floor(pad.y / NEAR_MM)
                    spots.setdefault(cell, []).append((index, pad.x, pad.y, pin.part))
                    index += 1
    return Bank(
        farads=farads,
        whole_farads=sum(farads.values()),
        stiff=tuple(
            link
            for link in links.get(rail, ())
            if LINK_KINDS[link.kind].stiff and link.conditional != "not fitted"
        ),
        spots={cell: tuple(found) for cell, found in spots.items()},
    )
