"""Several sources of one board become one Board; every disagreement becomes a Conflict.

Sources are joined by refdes and pin, never by a net's name alone, since exporters shorten and
mangle names. The first source that states a fact keeps it; a later one that says otherwise is
recorded with both places. Order of the sources is therefore precedence: see `by_precedence`.

Adding a source goes in four steps: which of its parts is which here, which pin, which net, and how
its origin lies. Then its facts, pins and pads are added to the drafts.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import PurePath
from statistics import median

from nettrace.errors import Place, Warning
from nettrace.model.board import Board, Conflict, Net, Part, Pin, Statement
from nettrace.model.builder import BoardBuilder, PartDraft
from nettrace.model.names import natural_key
from nettrace.model.pairing import (
    PIN_COLUMNS,
    REFDES_COLUMNS,
    behind_x,
    by_plain_form,
    cuts_names,
    longer_names,
    mangles_names,
    pin_numbers,
    plain_forms,
    trait,
)

#: Whether two value texts mean the same.
SameValue = Callable[[str, str], bool]
#: A pin of the source being added: part key, number, net; and a pin here: part key, number.
_Theirs = tuple[str, str, str | None]
_Ours = tuple[str, str]

#: The rank of a format that the table does not know.
LAST = 99
#: Names listed in one warning before "and N more".
NAMES_SHOWN = 6
#: Pins named in one conflict before "and N more".
PINS_SHOWN = 4
#: Different words shown in one statement before "...".
WORDS_SHOWN = 4
#: Fixed columns keep this many characters of a net name (IPC-D-356A, columns 4-17).
NET_COLUMNS = 14
#: A shift is trusted when at least so many pins agree on it (three points fix a plane figure).
SHARED_PINS = 3
#: Places of the same pad in two files of one board differ by rounding alone, mm.
ROUNDING_MM = 0.05
#: Share of shared pins that must agree with the shift; of the middles of parts fewer do, since a
#: footprint's own middle may be its first pin.
AGREEMENT, AGREEMENT_OF_MIDDLES = 0.8, 0.5
_FITTED = {True: "fitted", False: "not fitted"}


def plain_same_value(first: str, second: str) -> bool:
    """Return whether two value texts are the same but for case and blanks."""
    return "".join(first.split()).casefold() == "".join(second.split()).casefold()


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


class _Merge:
    """The state of one merge: drafts by part key, and which net each pin is on so far."""

    def __init__(self, first: Board, same_value: SameValue) -> None:
        self.drafts: dict[str, PartDraft] = {}
        self.keys_of_refdes: dict[str, list[str]] = {}
        # parts that only such sources have named as cut names, or as mangle them
        self.cut_keys: set[str] = set()
        self.mangled_keys: set[str] = set()
        self.mangled: dict[str, list[str]] = {}  # plain form -> keys of such parts
        self.unsure: set[str] = set()  # parts that the source being added may or may not mean
        self.plain_names: dict[str, list[str]] = {}
        self.has_nameless = False
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
            self._note_naming(draft.key, first)
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
        self.builder.conflicts = _grouped(self.builder.conflicts)
        return self.builder.build()

    # -- one more source ---------------------------------------------------------------------

    def _add(self, board: Board) -> None:
        self._take_notes(board)
        self.ambiguous.clear()
        self.unsure.clear()
        cutting = cuts_names(board)
        target = self._match_parts(board, cutting)
        pins = self._match_pins(board, target, cutting)
        known_nets = self.builder.net_names()
        join = _NetJoin(board, pins, self.pin_net, known_nets, by_name=not cutting)
        for net in board.nets:
            names = join.targets.get(net.name, ())
            for name in names:
                aliases = [other for other in (net.name, *net.aliases) if other != name]
                self.builder.net(name, place=net.place, aliases=aliases, volts=net.volts)
        self.builder.conflicts.extend(join.conflicts)
        self.builder.warnings.extend(join.warnings)
        shift = _shift_between(self._placed_pins(), self._placed_parts(), board, pins)
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
        pins: dict[_Theirs, _Ours],
        join: _NetJoin,
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
                self._note_naming(draft.key, board)
            else:
                draft = self.drafts[key]
                self._rename(draft, part, board)
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
            words = f"{_listed(new)}: only in {PurePath(path).name}"
            self.builder.warn("part-only-in", words, Place(path))

    def _join_pin(
        self,
        draft: PartDraft,
        pin: Pin,
        pins: dict[_Theirs, _Ours],
        join: _NetJoin,
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
            words = f"{_listed(missing)}: not in {PurePath(_path(board)).name}"
            self.builder.warn("part-not-in", words, Place(_path(board)))

    # -- which part is which: by refdes, whatever writers did to it ---------------------------

    def _note_naming(self, key: str, board: Board) -> None:
        """Note whether the one source that names a part so far cuts or mangles names."""
        if cuts_names(board):
            self.cut_keys.add(key)
        elif mangles_names(board):
            self.mangled_keys.add(key)
            for form in plain_forms(self.drafts[key].refdes):
                self.mangled.setdefault(form, []).append(key)

    def _rename(self, draft: PartDraft, part: Part, board: Board) -> None:
        """Give a part its refdes as a source has it that neither cuts nor mangles names."""
        key = draft.key
        if key in self.mangled_keys and not mangles_names(board):
            whole = not cuts_names(board) or len(part.refdes) < REFDES_COLUMNS
        else:
            whole = key in self.cut_keys and not cuts_names(board)
        if whole:
            self.mangled_keys.discard(key)
            self.cut_keys.discard(key)
            if draft.refdes != part.refdes:
                draft.refdes = part.refdes
                self.keys_of_refdes.setdefault(part.refdes, []).append(key)

    def _match_parts(self, board: Board, cutting: bool) -> dict[str, str | None]:
        """Part key in `board` -> key here, None for a new part; absent where it is not safe."""
        count = Counter(part.refdes for part in board.parts)
        folded: dict[str, list[str]] = {}
        for refdes, keys in self.keys_of_refdes.items():
            folded.setdefault(refdes.casefold(), []).extend(keys)
        if mangles_names(board):
            self.plain_names = by_plain_form(self.keys_of_refdes)
            self.has_nameless = any(not draft.refdes for draft in self.drafts.values())
        result: dict[str, str | None] = {}
        for part in board.parts:
            refdes = part.refdes
            if not refdes:
                continue
            keys = self.keys_of_refdes.get(refdes) or folded.get(refdes.casefold(), [])
            other = keys or self._keys_otherwise(board, part, count, cutting)
            if len(other) == 1 and count[refdes] == 1:
                result[part.key] = other[0]
            elif not other:
                result[part.key] = None
            else:
                self.unsure.update(other)
        taken = Counter(key for key in result.values() if key is not None)
        # two parts for one: nothing says which of them it is
        return {part: key for part, key in result.items() if key is None or taken[key] == 1}

    def _keys_otherwise(
        self, board: Board, part: Part, count: Counter[str], cutting: bool
    ) -> list[str]:
        """Return the keys that a refdes may mean which is not known as it stands."""
        refdes, known = part.refdes, self.keys_of_refdes
        if (bare := behind_x(part)) and bare in known and bare not in count:
            return known[bare]
        if mangles_names(board):
            return self._keys_of_mangled(part, count)
        keys: list[str] = []
        if cutting:
            names = longer_names(refdes, known, REFDES_COLUMNS)
            keys = [key for name in names for key in known[name]]
        elif self.cut_keys and len(refdes) > REFDES_COLUMNS:
            cut = refdes[:REFDES_COLUMNS]
            if sum(name.startswith(cut) for name in count) == 1:
                keys = [key for key in known.get(cut, ()) if key in self.cut_keys]
        if keys or not self.mangled_keys:
            return keys
        found = self.mangled.get(plain_forms(refdes)[0], ())
        return [
            key
            for key in found
            if key in self.mangled_keys
            and self.drafts[key].refdes not in count
            and self._may_be(key, part)
        ]

    def _keys_of_mangled(self, part: Part, count: Counter[str]) -> list[str]:
        found = [self.plain_names.get(form) for form in plain_forms(part.refdes)]
        names = next((names for names in found if names), [])
        keys = [key for name in names for key in self.keys_of_refdes[name]]
        if not keys and self.has_nameless:
            # `_1`, "": parts without a reference, which none can be told from another
            stem = part.refdes.strip('"').strip("_")
            return ["", ""] if not stem or stem.isdigit() else []
        if len(keys) == 1 and (names[0] in count or not self._may_be(keys[0], part)):
            return []  # the suffix is the maker's own: another part altogether
        return keys

    def _may_be(self, key: str, part: Part) -> bool:
        """Return whether a part has pins in common with a known one (or neither has any)."""
        numbers = {number for number, _ in self.drafts[key].pin_facts}
        others = {pin.number for pin in part.pins}
        return bool(numbers & others) or not numbers or not others

    # -- which pin is which -----------------------------------------------------------

    def _match_pins(
        self, board: Board, target: dict[str, str | None], cutting: bool
    ) -> dict[_Theirs, _Ours]:
        """(part key, number, net) in `board` -> (part key, number) here, where both have it."""
        result: dict[_Theirs, _Ours] = {}
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
        self.builder.conflicts.extend(_fill_part(draft, part, self.same_value))


def _unmangled(number: str, numbers: Iterable[str]) -> str:
    """Return the pin of which `number` is a name made unique (`P2_1`); "" if there is none."""
    index = by_plain_form(numbers)
    found = [index[form] for form in plain_forms(number) if form in index]
    return found[0][0] if found else ""


def _path(board: Board) -> str:
    return board.sources[0].path if board.sources else "?"


# -- facts of a part: taken where missing, noted where they differ


def _fill_part(draft: PartDraft, part: Part, same_value: SameValue) -> list[Conflict]:
    """Take what the draft does not have yet; return where both state a fact and differ."""
    conflicts = _fill_value(draft, part, same_value)
    for name in ("package", "description", "sheet"):
        said = getattr(part, name)
        if said and not getattr(draft, name):
            _take(draft, part, name, said)
    if draft.fitted is None:
        if part.fitted is not None:
            _take(draft, part, "fitted", part.fitted)
    elif part.fitted is not None and part.fitted != draft.fitted:
        known = _FITTED[draft.fitted]
        conflicts.append(_facts_differ("fitted", draft, part, known, _FITTED[part.fitted]))
    if draft.side is None:
        draft.side = part.side
    for name, text in part.properties.items():
        draft.properties.setdefault(name, text)
    return conflicts


def _fill_value(draft: PartDraft, part: Part, same_value: SameValue) -> list[Conflict]:
    said, known = part.value, draft.value
    if not said:
        return []
    # the name of a deck's model or subcircuit stands for a value only while there is none
    is_model = part.properties.get("model") == said
    if not known or (draft.properties.get("model") == known and not is_model):
        _take(draft, part, "value", said)
        return []
    if is_model or same_value(known, said):
        return []
    return [_facts_differ("value", draft, part, known, said)]


def _take(draft: PartDraft, part: Part, name: str, said: str | bool) -> None:
    setattr(draft, name, said)
    if part.place is not None and draft.place is not part.place:
        draft.origins[name] = part.place


def _facts_differ(fact: str, draft: PartDraft, part: Part, known: str, said: str) -> Conflict:
    first = draft.origins.get(fact) or draft.place or Place("?")
    statements = (Statement(known, first), Statement(said, part.place or Place("?")))
    return Conflict(f"{fact}-differs", draft.refdes or draft.key, statements, known)


def _grouped(conflicts: Sequence[Conflict]) -> list[Conflict]:
    """Return conflicts with those about one row joined: a list's row that names many parts.

    A row `X401, X402, X501` with one value for all disagrees once, not three times.
    """
    rows: dict[tuple[str, Statement], list[Conflict]] = {}
    for item in conflicts:
        rows.setdefault((item.code, item.statements[-1]), []).append(item)
    result = []
    for (code, said), found in rows.items():
        if len(found) == 1 or not code.endswith("-differs"):
            result += found
            continue
        items = sorted(found, key=lambda item: natural_key(item.subject))
        words = list(dict.fromkeys(item.statements[0].what for item in items))
        known = ", ".join(words[:WORDS_SHOWN]) + (", ..." if len(words) > WORDS_SHOWN else "")
        first = Statement(known, items[0].statements[0].place)
        result.append(Conflict(code, ", ".join(i.subject for i in items), (first, said), known))
    return result


def _listed(names: Sequence[str], most: int = NAMES_SHOWN) -> str:
    """Return `R1, R2, ... and 3 more` in natural order."""
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return f"{', '.join(sorted(names, key=natural_key)[:most])}{more}"


# -- which net is which: told by the pins they share


class _NetJoin:
    """What the nets of a source are called here, and where they cannot be the same.

    `targets`: net of the source -> the net here; several where the source's cut names made two
    nets one name. `disputed` are pins that the two put on other nets.

    Args:
        board: the source to be added.
        pins: its pins that are known here.
        pin_net: the net (and where that was said) of each known pin.
        known_nets: names of nets known so far.
        by_name: a net without a shared pin may be joined by its exact name (with a warning);
            never for formats that cut names.
    """

    def __init__(
        self,
        board: Board,
        pins: Mapping[_Theirs, _Ours],
        pin_net: Mapping[_Ours, tuple[str | None, Place | None]],
        known_nets: set[str],
        *,
        by_name: bool,
    ) -> None:
        self.board = board
        self.pins = pins
        self.pin_net = pin_net
        self.known_nets = known_nets
        self.by_name = by_name
        self.targets: dict[str, tuple[str, ...]] = {}
        self.conflicts: list[Conflict] = []
        self.warnings: list[Warning] = []
        self.disputed: set[_Ours] = set()
        self.votes: dict[str, Counter[str]] = {
            net.name: Counter(
                known
                for pin in net.pins
                if (here := self._here(pin)) is not None and (known := pin_net[here][0]) is not None
            )
            for net in board.nets
        }
        self._find_targets()
        self._yield_to_owners()
        self._find_conflicts()

    def _here(self, pin: Pin) -> _Ours | None:
        return self.pins.get((pin.part, pin.number, pin.net))

    def _find_targets(self) -> None:
        named: list[str] = []
        for net in self.board.nets:
            counter = self.votes[net.name]
            if counter:
                self.targets[net.name] = _targets(net, counter)
            elif self.by_name and net.name in self.known_nets:
                self.targets[net.name] = (net.name,)
                if net.pins:
                    named.append(net.name)
            else:
                self.targets[net.name] = (self._new_name(net.name),)
        if named:
            shown = _listed(named, PINS_SHOWN)
            words = f"{shown}: no pin in common with the other sources, joined by net name"
            self.warnings.append(Warning("joined-by-name", words, Place(_path(self.board))))

    def _new_name(self, name: str) -> str:
        while name in self.known_nets:
            name = f"{name}~2"
        return name

    def _owners(self) -> dict[str, str]:
        """Return net here -> the net of the source that shares most pins with it."""
        owner: dict[str, str] = {}
        for net in self.board.nets:
            for target in self.targets[net.name]:
                before = owner.get(target)
                if before is None or self.votes[net.name][target] > self.votes[before][target]:
                    owner[target] = net.name
        return owner

    def _yield_to_owners(self) -> None:
        """Part a net from the net here that its shared pins are on, where that is mostly another's.

        Such a net is the one here of its own name, if there is one; else, if it has pins that are
        new here, a net of its own: they must not come onto a net that their source keeps them from.
        """
        owner = self._owners()
        for net in self.board.nets:
            name, targets = net.name, self.targets[net.name]
            if len(targets) != 1 or name == targets[0] or owner[targets[0]] == name:
                continue
            if self.by_name and name in self.known_nets:
                self.targets[name] = (name,)
            elif any(self._here(pin) is None for pin in net.pins):
                self.targets[name] = (self._new_name(name),)

    def _find_conflicts(self) -> None:
        # a net here that several nets of the source claim belongs to the one with most shared pins
        owner = self._owners()
        for net in self.board.nets:
            targets = self.targets[net.name]
            groups: dict[str | None, list[tuple[Pin, _Ours]]] = {}
            for pin in net.pins:
                here = self._here(pin)
                if here is None:
                    continue
                known = self.pin_net[here][0]
                if known is None:
                    if len(net.pins) > 1:
                        groups.setdefault(None, []).append((pin, here))
                elif known not in targets or owner[known] != net.name:
                    groups.setdefault(known, []).append((pin, here))
            for known, found in groups.items():
                code = "net-split" if known in targets else "pin-on-two-nets"
                self._dispute(code, net.name, known, found)
        met = Counter(self.pin_net[here][0] for here in self.pins.values())
        for part in self.board.parts:
            for pin in part.pins:
                here = self._here(pin) if pin.net is None else None
                known = self.pin_net[here][0] if here is not None else None
                if here is None or known is None or known.startswith("unconnected-"):
                    continue
                if met[known] > 1:  # a net of one pin and no net at all say the same
                    self._dispute("pin-without-net", None, known, [(pin, here)])

    def _dispute(
        self, code: str, name: str | None, known: str | None, found: list[tuple[Pin, _Ours]]
    ) -> None:
        """Note that pins are on the net `name` for the source, and on `known` here."""
        self.disputed.update(here for _, here in found)
        found = sorted(found, key=lambda item: (natural_key(item[1][0]), natural_key(item[1][1])))
        labels = [f"{part}.{number}" for _, (part, number) in found]
        subject = ", ".join(labels[:PINS_SHOWN])
        if len(labels) > PINS_SHOWN:
            subject += f" and {len(labels) - PINS_SHOWN} more"
        pin, here = found[0]
        ours, theirs = (f"on {net}" if net else "on no net" for net in (known, name))
        statements = (
            Statement(ours, self.pin_net[here][1] or Place("?")),
            Statement(theirs, pin.place or Place("?")),
        )
        if known is None:
            code = "pin-without-net"
        self.conflicts.append(Conflict(code, subject, statements, known or "no net"))


def _targets(net: Net, counter: Counter[str]) -> tuple[str, ...]:
    cut = [name for name in counter if name != net.name and _cut(name) == net.name]
    if len(counter) > 1 and len(cut) + (net.name in counter) == len(counter):
        # fixed columns made several names one: the nets stay apart
        return tuple(sorted(counter, key=natural_key))
    best = min(counter, key=lambda name: (-counter[name], name != net.name, natural_key(name)))
    return (best,)


def _cut(name: str) -> str:
    return name.upper().replace(" ", "?")[-NET_COLUMNS:]


# -- how the origin of one source lies against another's


def _shift_between(
    placed_pins: Mapping[tuple[str, str], tuple[float, float]],
    placed_parts: Mapping[str, tuple[float, float]],
    board: Board,
    pins: Mapping[_Theirs, _Ours],
) -> tuple[float, float] | None:
    """Return (dx, dy) in mm to add to the places of `board`, or None where it cannot be told.

    Where nothing is placed yet, the source's own frame becomes the board's: (0, 0).

    Args:
        placed_pins: place of each pin of a single pad that is placed so far.
        placed_parts: centre of each part that is placed so far.
        board: the source to be added.
        pins: its pins that are known: (part, number, net) -> (part, number).
    """
    if not placed_pins and not placed_parts:
        return 0.0, 0.0
    gaps: list[tuple[float, float]] = []
    agreement = AGREEMENT
    if board.has_places():
        for part in board.parts:
            for pin in part.pins:
                here = pins.get((part.key, pin.number, pin.net))
                place = placed_pins.get(here) if here is not None else None
                if place is not None and len(pin.pads) == 1:
                    gaps.append((place[0] - pin.pads[0].x, place[1] - pin.pads[0].y))
    if len(gaps) < SHARED_PINS:  # one of the two has the middles of parts alone
        gaps.clear()
        agreement = AGREEMENT_OF_MIDDLES
        for part in board.parts:
            place = placed_parts.get(part.key)
            if place is not None and part.x is not None and part.y is not None:
                gaps.append((place[0] - part.x, place[1] - part.y))
    if len(gaps) < SHARED_PINS:
        return None
    dx, dy = median(gap[0] for gap in gaps), median(gap[1] for gap in gaps)
    agree = sum(abs(x - dx) <= ROUNDING_MM and abs(y - dy) <= ROUNDING_MM for x, y in gaps)
    return (dx, dy) if agree >= max(SHARED_PINS, agreement * len(gaps)) else None
