"""Several sources of one board become one Board; every disagreement becomes a Conflict.

Sources are joined by refdes and pin, never by a net's name alone, since exporters shorten and
mangle names. The first source that states a fact keeps it; a later one that says otherwise is
recorded with both places. Order of the sources is therefore precedence: see `by_precedence`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence

from nettrace.errors import Place
from nettrace.model.board import Board, Conflict, Part, Pin, Statement
from nettrace.model.builder import BoardBuilder, PartDraft
from nettrace.model.merge_nets import NetJoin, join_nets
from nettrace.model.merge_places import shift_between
from nettrace.model.names import natural_key

__all__ = ["CUTTING_FORMATS", "by_precedence", "merge_boards"]

#: Formats whose fixed columns cut names: six characters of a refdes, four of a pin.
CUTTING_FORMATS = frozenset({"ipc-d-356"})
REFDES_COLUMNS, PIN_COLUMNS = 6, 4

#: Which source's word stands where two disagree, best first: how much of the design a format
#: carries, and how little it mangles. A manifest overrides it by the order it lists.
PRECEDENCE = (
    "json", "kicad_pcb", "kicad_net", "edif", "ipc-2581", "spice", "sheet", "ipc-d-356", "csv",
)  # fmt: skip

#: Names listed in one warning before "and N more".
NAMES_SHOWN = 6


def plain_same_value(first: str, second: str) -> bool:
    """Return whether two value texts are the same but for case and blanks."""
    return "".join(first.split()).casefold() == "".join(second.split()).casefold()


def by_precedence(boards: Iterable[Board]) -> list[Board]:
    """Return boards of one source each in the order in which their word counts."""

    def rank(board: Board) -> tuple[int, str]:
        name = board.sources[0].format if board.sources else ""
        known = PRECEDENCE.index(name) if name in PRECEDENCE else len(PRECEDENCE)
        return known, board.sources[0].path if board.sources else ""

    return sorted(boards, key=rank)


def merge_boards(
    boards: Sequence[Board], same_value: Callable[[str, str], bool] = plain_same_value
) -> Board:
    """Return one board made of several sources of it.

    Args:
        boards: at least one; the word of an earlier one stands against a later one.
        same_value: whether two value texts mean the same (`2k2` and `2.2K`).
    """
    if len(boards) == 1:
        return boards[0]
    return _Merge(boards[0], same_value).run(boards[1:])


class _Merge:
    """The state of one merge: drafts by part key, and which net each pin is on so far."""

    def __init__(self, first: Board, same_value: Callable[[str, str], bool]) -> None:
        self.same_value = same_value
        self.builder = BoardBuilder("", "merge")
        self.drafts: dict[str, PartDraft] = {}
        self.pin_net: dict[tuple[str, str], tuple[str | None, Place | None]] = {}
        self.keys_of_refdes: dict[str, list[str]] = {}
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
        return self.builder.build()

    # -- one more source ---------------------------------------------------------------------

    def _add(self, board: Board) -> None:
        self._take_notes(board)
        self.ambiguous.clear()
        cutting = bool(board.sources) and board.sources[0].format in CUTTING_FORMATS
        target = self._match_parts(board, cutting)
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
                f"{board.sources[0].path} has places, but too few pads in common to find how its "
                "origin lies; its places are left out",
            )
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
                new.append(part.key)
            else:
                draft = self.drafts[key]
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
            self._warn_only_in(board, new)

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

    # -- joining by refdes and pin -----------------------------------------------------------

    def _match_parts(self, board: Board, cutting: bool) -> dict[str, str | None]:
        """Part key in `board` -> key here, None for a new part; absent where it is not safe."""
        repeated = {
            refdes
            for refdes, count in Counter(part.refdes for part in board.parts).items()
            if count > 1
        }
        folded: dict[str, list[str]] = {}
        for refdes, keys in self.keys_of_refdes.items():
            folded.setdefault(refdes.casefold(), []).extend(keys)
        result: dict[str, str | None] = {}
        for part in board.parts:
            if not part.refdes:
                continue
            keys = self.keys_of_refdes.get(part.refdes) or folded.get(part.refdes.casefold(), [])
            if not keys and cutting and len(part.refdes) >= REFDES_COLUMNS:
                keys = [
                    key
                    for refdes, found in self.keys_of_refdes.items()
                    if refdes.startswith(part.refdes)
                    for key in found
                ]
                if len(keys) > 1:
                    continue
            if len(keys) == 1 and part.refdes not in repeated:
                result[part.key] = keys[0]
            elif not keys:
                result[part.key] = None
        return result

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
            for pin in part.pins:
                if numbers[pin.number] > 1:
                    # one cut number on several nets: no telling which is which
                    self.ambiguous.add((part.key, pin.number))
                    continue
                if (key, pin.number) in self.pin_net:
                    result[part.key, pin.number, pin.net] = (key, pin.number)
                elif cutting and len(pin.number) == PIN_COLUMNS:
                    longer = [
                        number
                        for number, _ in self.drafts[key].pin_facts
                        if number.startswith(pin.number)
                    ]
                    if len(longer) == 1:
                        result[part.key, pin.number, pin.net] = (key, longer[0])
                    elif longer:
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

    def _fill(self, draft: PartDraft, part: Part) -> None:
        """Take what the draft does not have yet; note where both state a fact and differ."""
        self._fill_text(draft, part, "value", self.same_value)
        self._fill_text(draft, part, "package", None)
        self._fill_text(draft, part, "description", None)
        self._fill_text(draft, part, "sheet", None)
        if draft.fitted is None:
            draft.fitted = part.fitted
        elif part.fitted is not None and part.fitted != draft.fitted:
            words = {True: "fitted", False: "not fitted"}
            self._conflict("fitted-differs", draft, part, words[draft.fitted], words[part.fitted])
        if draft.side is None:
            draft.side = part.side
        for name, text in part.properties.items():
            draft.properties.setdefault(name, text)

    def _fill_text(
        self,
        draft: PartDraft,
        part: Part,
        name: str,
        same: Callable[[str, str], bool] | None,
    ) -> None:
        known: str | None = getattr(draft, name)
        said: str | None = getattr(part, name)
        if not said:
            return
        if not known:
            setattr(draft, name, said)
            if part.place is not None and draft.place is not part.place:
                draft.origins[name] = part.place
        elif same is not None and not same(known, said):
            self._conflict(f"{name}-differs", draft, part, known, said, draft.origins.get(name))

    def _conflict(
        self,
        code: str,
        draft: PartDraft,
        part: Part,
        known: str,
        said: str,
        known_place: Place | None = None,
    ) -> None:
        first = known_place or draft.place or Place("?")
        second = part.place or Place("?")
        self.builder.conflicts.append(
            Conflict(code, draft.key, (Statement(known, first), Statement(said, second)), known)
        )

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
            draft.x, draft.y, draft.angle = part.x + dx, part.y + dy, part.angle
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
        return {
            key: (draft.x, draft.y)
            for key, draft in self.drafts.items()
            if draft.x is not None and draft.y is not None
        }

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

    def _warn_only_in(self, board: Board, new: list[str]) -> None:
        names = sorted(new, key=natural_key)
        shown = ", ".join(names[:NAMES_SHOWN])
        more = f" and {len(names) - NAMES_SHOWN} more" if len(names) > NAMES_SHOWN else ""
        source = board.sources[0].path if board.sources else "?"
        self.builder.warn("part-only-in", f"{shown}{more}: only in {source}", Place(source))
