"""Nodes of a sort, found by structure alone: crystals, switching nodes, dividers' taps."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, NamedTuple

from nettrace.circuit.evidence import NetKind, PartKind, Rail
from nettrace.circuit.kinds import Kind
from nettrace.circuit.roles.net_words import SWITCH_PIN, words_of
from nettrace.model.board import Board, Part

__all__ = [
    "CONVERTER_HENRIES",
    "Around",
    "Branch",
    "acts_as",
    "find_crystals",
    "find_switching_nodes",
    "find_taps",
    "is_letter_only",
]


class Around(NamedTuple):
    """Tables by net that a search for nodes reads; values in the order of the board's parts."""

    resistors: Mapping[str, tuple[Branch, ...]]
    capacitors: Mapping[str, tuple[Branch, ...]]
    inductors: Mapping[str, tuple[Branch, ...]]
    chips: Mapping[str, tuple[str, ...]]
    on_net: Mapping[str, Mapping[Kind, int]]


_TRANSISTORS: Final = frozenset({Kind.MOSFET, Kind.TRANSISTOR})


#: A switching node or a crystal's net has few pins; a supply many (common practice, no source).
MOST_NODE_PINS: Final = 12


MOST_CRYSTAL_NET_PINS: Final = 6


#: More than this straight from a switching node to ground would short it (common practice).
MOST_SNUBBER_FARADS: Final = 10e-9


#: Below this an inductor is for radio frequencies, no converter's (common practice, no source).
CONVERTER_HENRIES: Final = 0.2e-6


class Branch(NamedTuple):
    """A two-terminal part that leaves a net: which, where it goes, its figure (SI) if known."""

    part: str
    far: str
    figure: float | None
    fitted: bool


def acts_as(part: Part, kind: PartKind) -> Kind:
    """Return the kind that the rules see: T on three nets, with no word beside, is a transistor.

    IEEE 315 gives T to transformers, European drawings to transistors; a winding pair needs four.
    """
    letter_only = kind.kind is Kind.TRANSFORMER and kind.score < LETTER_SCORE
    return Kind.TRANSISTOR if letter_only and len(part.nets) == 3 else kind.kind


def find_crystals(
    board: Board,
    kinds: Mapping[str, PartKind],
    rails: Mapping[str, Rail],
    capacitors: Mapping[str, tuple[Branch, ...]],
    chips: Mapping[str, tuple[str, ...]],
) -> dict[str, tuple[str, str]]:
    """Return the crystals and their two nets, by kind or, without words, by the pi they stand in.

    The pi: both nets have a capacitor to ground and a pin of the same chip, and little else.
    """
    found: dict[str, tuple[str, str]] = {}
    for part in board.parts:
        what = kinds[part.key].kind
        if what is not Kind.CRYSTAL and (what not in _MAYBE_CRYSTAL or len(part.pins) > 4):
            continue
        signals = [net for net in part.nets if net not in rails]
        if len(signals) != 2:
            continue
        first, second = signals
        if what is Kind.CRYSTAL and not is_letter_only(part, kinds[part.key]):
            found[part.key] = first, second
            continue
        if any(len(board.net_by_name[net].pins) > MOST_CRYSTAL_NET_PINS for net in signals):
            continue
        loaded = all(
            any(branch.far in rails for branch in capacitors.get(net, ())) for net in signals
        )
        shared = set(chips.get(first, ())) & set(chips.get(second, ())) - {part.key}
        if loaded and shared:
            found[part.key] = first, second
    return found


def is_letter_only(part: Part, kind: PartKind) -> bool:
    """Return whether nothing but the letter X says crystal: plugs have that letter, too."""
    return part.refdes[:1].upper() == "X" and kind.score < LETTER_SCORE


#: What a kind scores at most when the reference letter alone speaks.
LETTER_SCORE: Final = 0.8


_MAYBE_CRYSTAL: Final = frozenset(
    {Kind.TRANSISTOR, Kind.UNKNOWN, Kind.CONNECTOR, Kind.OSCILLATOR, Kind.IC}
)


def find_switching_nodes(
    board: Board,
    rails: Mapping[str, Rail],
    around: Around,
) -> dict[str, str]:
    """Return the nets between a switch (chip or transistor) and a converter's inductor.

    Nothing leaves such a node through a capacitor but to the same chip (bootstrap) or, behind a
    resistor, to ground (snubber): a capacitor to elsewhere passes a signal on, so that the
    inductor is a choke. The far end of the inductor is a supply, or the chip's other node.
    """
    found: dict[str, str] = {}
    for net, branches in around.inductors.items():
        if net in rails or len(board.net_by_name[net].pins) > MOST_NODE_PINS:
            continue
        counts = around.on_net[net]
        chips = set(around.chips.get(net, ()))
        switched = chips or any(kind in counts for kind in _TRANSISTORS)
        if not switched or any(kind in counts for kind in _NEVER_ON_A_NODE):
            continue
        named = SWITCH_PIN.search(words_of(net))
        if not named and not all(
            (far.figure or 1.0) <= MOST_SNUBBER_FARADS
            if far.far in rails
            else chips & _driven_through(around, far.far)
            for far in around.capacitors.get(net, ())
        ):
            continue
        for branch in branches:
            if branch.figure is not None and branch.figure < CONVERTER_HENRIES:
                continue
            to_supply = branch.far in rails and rails[branch.far].kind is NetKind.RAIL
            if to_supply or chips & set(around.chips.get(branch.far, ())):
                found[net] = branch.part
                break
    return found


def _driven_through(around: Around, net: str) -> set[str]:
    """Return the chips on a net, or, where it is only a resistor's end, behind the resistor."""
    chips = set(around.chips.get(net, ()))
    for branch in around.resistors.get(net, ()):
        if len(around.on_net[net]) <= 3 and not chips:
            return set(around.chips.get(branch.far, ()))
    return chips


#: A balun or filter beside the inductor makes it a choke that feeds an amplifier.
_NEVER_ON_A_NODE: Final = (
    Kind.CONNECTOR,
    Kind.CRYSTAL,
    Kind.ANTENNA,
    Kind.RESISTOR_ARRAY,
    Kind.TRANSFORMER,
    Kind.FILTER,
)


#: A divider's resistors are within this ratio; beyond it one is in series, the other a pull
#: (common practice, no source).
MOST_DIVIDER_RATIO: Final = 20.0


MOST_SUPPLY_RATIO: Final = 50.0


#: A divider's resistors are at least this; below, a part limits current (common practice).
LEAST_DIVIDER_OHMS: Final = 100.0


def find_taps(
    rails: Mapping[str, Rail],
    resistors: Mapping[str, tuple[Branch, ...]],
    on_net: Mapping[str, Mapping[Kind, int]],
) -> dict[str, tuple[str, str]]:
    """Return the nets in the middle of two fitted resistors, one of them to ground.

    The upper one goes to a supply, or to a signal that something else drives. A supply in the
    middle (a reference) has few resistors itself.
    """
    found: dict[str, tuple[str, str]] = {}
    for net, branches in resistors.items():
        supply = net in rails
        if len(branches) > _MOST_TAP_RESISTORS or (supply and _is_ground(rails, net)):
            continue
        fitted = [branch for branch in branches if branch.fitted]
        grounds = [b for b in fitted if _is_ground(rails, b.far)]
        supplies = [b for b in fitted if b.far in rails and not _is_ground(rails, b.far)]
        if supply and len(supplies) > 1:
            # another reference beside it feeds nothing: the upper end is the rail with most parts
            own = sum(on_net[net].values())
            supplies = [b for b in supplies if sum(on_net[b.far].values()) > own]
        if len(grounds) != 1 or len(supplies) > 1:
            continue
        lower = grounds[0]
        if supplies:
            if _comparable(supplies[0], lower, from_supply=True):
                found[net] = supplies[0].part, lower.part
            continue
        driven = [
            b
            for b in fitted
            if b.far not in rails
            and not _ends_there(on_net[b.far])
            and _comparable(b, lower, from_supply=False)
        ]
        if len(driven) == 1 and not supply:
            found[net] = driven[0].part, lower.part
    return found


def _is_ground(rails: Mapping[str, Rail], net: str) -> bool:
    rail = rails.get(net)
    return rail is not None and rail.kind is NetKind.GROUND


_MOST_TAP_RESISTORS: Final = 4


def _ends_there(counts: Mapping[Kind, int]) -> bool:
    """Return whether the net is the resistor and a capacitor or a LED: it drives nothing."""
    return sum(counts.values()) == 2 and any(
        kind in counts for kind in (Kind.CAPACITOR, Kind.LED, Kind.DIODE)
    )


def _comparable(upper: Branch, lower: Branch, *, from_supply: bool) -> bool:
    if upper.figure is None or lower.figure is None:
        return from_supply
    if min(upper.figure, lower.figure) < LEAST_DIVIDER_OHMS:
        return False
    most = MOST_SUPPLY_RATIO if from_supply else MOST_DIVIDER_RATIO
    return 1 / most < upper.figure / lower.figure < most
