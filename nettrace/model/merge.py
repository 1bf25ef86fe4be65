"""Several sources of one board become one Board; every disagreement becomes a Conflict.

Sources are joined by refdes and pin, never by a net's name alone, since exporters shorten and
mangle names. The first source that states a fact keeps it; a later one that says otherwise is
recorded with both places. Order of the sources is therefore precedence: see `by_precedence`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import PurePath

from nettrace.errors import Place
from nettrace.model.board import Board, Part, Pin
from nettrace.model.builder import BoardBuilder, PartDraft
from nettrace.model.merge_facts import SameValue, fill_part, grouped, listed, plain_same_value
from nettrace.model.merge_nets import NetJoin, join_nets
from nettrace.model.merge_parts import PartMatcher
from nettrace.model.merge_places import shift_between
from nettrace.model.pairing import (
    PIN_COLUMNS,
    by_plain_form,
    cuts_names,
    longer_names,
    mangles_names,
    pin_numbers,
    plain_forms,
    trait,
)

__all__ = ["by_precedence", "merge_boards"]


#: The rank of a format that the table does not know.
LAST = 99


def by_precedence(boards: Iterable[Board]) -> list[Board]:
    """Return boards of one source each in the order in which their word counts."""

    def rank(board: Board) -> tuple[int, str]:
        if not board.sources:
            return LAST, ""
        known = trait(board.sources[0].format, "rank")
        return known if isinstance(known, int) else LAST, board.sources[0].path

    return sorted(boards, key=rank)


def merge_boards(boards: Sequence[Board], same_value: SameValue = plain_same_value) -> Board:
    """Return one board made of several sources of it.

    Args:
        boards: at least one; the word of an earlier one stands against a later one.
        same_value: whether two value texts mean the same (`2k2` and `2.2K`).
    """
    if len(boards) == 1:
        return boards[0]
    return _Merge(boards[0], same_value).run(boards[1:])


class _Merge(PartMatcher):
    """The state of one merge: drafts by part key, and which net each pin is on so far."""

    def __init__(self, first: Board, same_value: SameValue) -> None:
        super().__init__()
        self.same_value = same_value
        self.builder = BoardBuilder("", "merge")
        self.pin_net: dict[tuple[str, str], tuple[str | None, Place | None]] = {}
        self.ambiguous: set[tuple[str, str]] = set()  # cut pins of the source being added
        builder = self.builder
        builder.name = first.name
        builder.outline.extend(first.outline)
        builder.vias.extend(first.vias)
        builder.zones.extend(first.zones)
        builder.layers = first.layers
        self._take_notes(first)
        for net in first.nets:
            builder.net(net.name, place=net.place, aliases=net.aliases, volts=net.volts)
        for part in first.parts:
            draft = self._new_draft(part)
            self._fill(draft, part)
            self.note_naming(draft.key, first)
            for pin in part.pins:
                draft.pin(
                    pin.number,
                    pin.net,
                    name=pin.name,
                    electrical_type=pin.electrical_type,
                    place=pin.place,
                )
                self._know_pin(draft.key, pin.number, pin.net, pin.place)
            self._take_pads(draft, part, {}, {}, (0.0, 0.0))

    def run(self, others: Sequence[Board]) -> Board:
        for board in others:
            self._add(board)
        self.drafts = {}
        self.builder.conflicts = grouped(self.builder.conflicts)
        return self.builder.build()

    # -- one more source ---------------------------------------------------------------------

    def _add(self, board: Board) -> None:
        self._take_notes(board)
        self.ambiguous.clear()
        self.unsure.clear()
        cutting = cuts_names(board)
        target = self.match_parts(board, cutting)
        pins = self._match_pins(board, target, cutting)
        known_nets = self.builder.net_names()
        join = join_nets(board, pins, self.pin_net, known_nets, by_name=not cutting)
        for net in board.nets:
            names = join.targets.get(net.name, ())
            for name in names:
                aliases = [other for other in (net.name, *net.aliases) if other != name]
                self.builder.net(name, place=net.place, aliases=aliases, volts=net.volts)
        self.builder.conflicts.extend(join.conflicts)
        self.builder.warnings.extend(join.warnings)
        shift = shift_between(self._placed_pins(), self._placed_parts(), board, pins)
        placed = board.has_places() or any(part.x is not None for part in board.parts)
        if shift is None and placed:
            self.builder.warn(
                "places-not-joined",
                f"{PurePath(_path(board)).name} has places, but too few pads in common to find how "
                "its origin lies; its places are left out",
                Place(_path(board)),
            )
        self._warn_missing_in(board, target)
        self._add_parts(board, target, pins, join, shift)

    def _add_parts(
        self,
        board: Board,
        target: dict[str, str | None],
        pins: dict[tuple[str, str, str | None], tuple[str, str]],
        join: NetJoin,
        shift: tuple[float, float] | None,
    ) -> None:
        new: list[str] = []
        for part in board.parts:
            if part.key not in target:
                continue  # a repeated or ambiguous reference: nothing of it can be placed safely
            key = target[part.key]
            if key is None:
                draft = self._new_draft(part)
                new.append(part.refdes)
                self.note_naming(draft.key, board)
            else:
                draft = self.drafts[key]
                self.rename(draft, part, board)
            self._fill(draft, part)
            for pin in part.pins:
                self._join_pin(draft, pin, pins, join)
            nets = {net: names[0] for net, names in join.targets.items() if len(names) == 1}
            if not draft.pads and shift is not None:
                numbers = {
                    pin.number: pins[part.key, pin.number, pin.net][1]
                    for pin in part.pins
                    if (part.key, pin.number, pin.net) in pins
                }
                self._take_pads(draft, part, nets, numbers, shift)
        if new and any(draft.pin_facts for draft in self.drafts.values()):
            path = _path(board)
            words = f"{listed(new)}: only in {PurePath(path).name}"
            self.builder.warn("part-only-in", words, Place(path))

    def _join_pin(
        self,
        draft: PartDraft,
        pin: Pin,
        pins: dict[tuple[str, str, str | None], tuple[str, str]],
        join: NetJoin,
    ) -> None:
        where = pins.get((pin.part, pin.number, pin.net))
        if where is None:
            number = pin.number
            if (pin.part, number) in self.ambiguous:
                return
            names = join.targets.get(pin.net, ()) if pin.net is not None else ()
            net = names[0] if len(names) == 1 else None
            if pin.net is not None and net is None:
                return
            self._know_pin(draft.key, number, net, pin.place)
        else:
            number = where[1]
            net, _ = self.pin_net[where]
            if net is None and pin.net is not None:
                names = join.targets.get(pin.net, ())
                if len(names) == 1 and (where not in join.disputed):
                    net = names[0]
                    draft.pin_facts.pop((number, None), None)
                    self.pin_net[where] = (net, pin.place)
        draft.pin(number, net, name=pin.name, electrical_type=pin.electrical_type, place=pin.place)

    def _warn_missing_in(self, board: Board, target: dict[str, str | None]) -> None:
        """Say which connected parts a source lacks that otherwise holds all of them."""
        if not any(trait(source.format, "whole_board") for source in board.sources):
            return
        found = {key for key in target.values() if key is not None}
        missing = [
            refdes
            for refdes, keys in self.keys_of_refdes.items()
            if len(keys) == 1
            and keys[0] not in found | self.unsure
            and any(net is not None for _, net in self.drafts[keys[0]].pin_facts)
        ]
        if missing and found:
            words = f"{listed(missing)}: not in {PurePath(_path(board)).name}"
            self.builder.warn("part-not-in", words, Place(_path(board)))

    # -- joining by refdes and pin -----------------------------------------------------------

    def _match_pins(
        self, board: Board, target: dict[str, str | None], cutting: bool
    ) -> dict[tuple[str, str, str | None], tuple[str, str]]:
        """(part key, number, net) in `board` -> (part key, number) here, where both have it."""
        result: dict[tuple[str, str, str | None], tuple[str, str]] = {}
        for part in board.parts:
            key = target.get(part.key)
            if key is None:
                continue
            numbers = Counter(pin.number for pin in part.pins)
            here = {number: facts[0] for (number, _), facts in self.drafts[key].pin_facts.items()}
            surely = pin_numbers(part, here, same_refdes=part.refdes == self.drafts[key].refdes)
            for pin in part.pins:
                number = surely.get(pin.number, "")
                if numbers[pin.number] > 1:
                    # one cut number on several nets: no telling which is which
                    self.ambiguous.add((part.key, pin.number))
                elif (key, number) in self.pin_net:
                    result[part.key, pin.number, pin.net] = (key, number)
                elif cutting:
                    longer = longer_names(pin.number, here, PIN_COLUMNS)
                    if len(longer) == 1:
                        result[part.key, pin.number, pin.net] = (key, longer[0])
                    elif longer:
                        self.ambiguous.add((part.key, pin.number))
                elif mangles_names(board) and (same := _unmangled(pin.number, here)):
                    result[part.key, pin.number, pin.net] = (key, same)
                elif here and part.properties.get("spice_element") and not surely:
                    # positions in a deck, of which nothing says what pins they are
                    self.ambiguous.add((part.key, pin.number))
        return result

    # -- facts -------------------------------------------------------------------------------

    def _new_draft(self, part: Part) -> PartDraft:
        draft = self.builder.part(part.refdes, part.place)
        draft.key = part.key
        self.drafts[part.key] = draft
        if part.refdes:
            self.keys_of_refdes.setdefault(part.refdes, []).append(part.key)
        return draft

    def _know_pin(self, key: str, number: str, net: str | None, place: Place | None) -> None:
        known = self.pin_net.get((key, number))
        if known is None or known[0] is None:
            self.pin_net[key, number] = (net, place)

    def _take_pads(
        self,
        draft: PartDraft,
        part: Part,
        nets: dict[str, str],
        numbers: dict[str, str],
        shift: tuple[float, float],
    ) -> None:
        dx, dy = shift
        if part.x is not None and part.y is not None and draft.x is None:
            draft.x, draft.y = part.x + dx, part.y + dy
        if draft.angle is None:
            draft.angle = part.angle
        if part.outline and not draft.outline:
            draft.outline = tuple((x + dx, y + dy) for x, y in part.outline)
        for pad in part.pads:
            number = numbers.get(pad.number, pad.number)
            if (part.key, pad.number) in self.ambiguous:
                number = self._number_by_net(draft, pad.number, nets.get(pad.net or ""))
            known = self.pin_net.get((draft.key, number))
            net = known[0] if known else (nets.get(pad.net, pad.net) if pad.net else None)
            draft.pad(
                number, net, pad.x + dx, pad.y + dy, pad.side,
                shape=pad.shape, width=pad.width, height=pad.height, angle=pad.angle,
                drill=pad.drill, plated=pad.plated, place=pad.place,
            )  # fmt: skip

    def _number_by_net(self, draft: PartDraft, cut: str, net: str | None) -> str:
        """Return the one pin whose number begins so and that is on the net; "" if not one."""
        found = [
            number
            for number, name in draft.pin_facts
            if net is not None and name == net and number.startswith(cut)
        ]
        return found[0] if len(found) == 1 else ""

    def _placed_parts(self) -> dict[str, tuple[float, float]]:
        """Part key -> centre; of a part that has pads alone, the middle of its two."""
        places: dict[str, tuple[float, float]] = {}
        for key, draft in self.drafts.items():
            if draft.x is not None and draft.y is not None:
                places[key] = draft.x, draft.y
            elif len(draft.pads) == 2 and draft.pads[0][0] != draft.pads[1][0]:
                one, other = draft.pads
                places[key] = (one[2] + other[2]) / 2, (one[3] + other[3]) / 2
        return places

    def _placed_pins(self) -> dict[tuple[str, str], tuple[float, float]]:
        """(part key, number) -> place, for pins of a single pad."""
        places: dict[tuple[str, str], list[tuple[float, float]]] = {}
        for key, draft in self.drafts.items():
            for number, _, x, y, *_ in draft.pads:
                places.setdefault((key, number), []).append((x, y))
        return {pin: found[0] for pin, found in places.items() if len(found) == 1}

    def _take_notes(self, board: Board) -> None:
        self.builder.sources.extend(board.sources)
        self.builder.warnings.extend(board.warnings)
        self.builder.conflicts.extend(board.conflicts)

    def _fill(self, draft: PartDraft, part: Part) -> None:
        self.builder.conflicts.extend(fill_part(draft, part, self.same_value))


def _unmangled(number: str, numbers: Iterable[str]) -> str:
    """Return the pin of which `number` is a name made unique (`P2_1`); "" if there is none."""
    index = by_plain_form(numbers)
    found = [index[form] for form in plain_forms(number) if form in index]
    return found[0][0] if found else ""


def _path(board: Board) -> str:
    return board.sources[0].path if board.sources else "?"
