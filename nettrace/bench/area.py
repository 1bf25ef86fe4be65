"""The damaged area: every pad, part and net in it, what each part does, and what stops.

One pad too, by name or by place: what it is, what is next to it, what its net leads to.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from nettrace.bench.place import Circle, Shape, box_of, part_place
from nettrace.circuit.absence import judge_absence, listed
from nettrace.circuit.absence_supply import capacitors_behind
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Absence, Bus, NetKind, PartKind, Proposal, Role, Severity
from nettrace.circuit.kinds import Kind
from nettrace.errors import NothingMatches
from nettrace.knowledge import table
from nettrace.model.board import Pad, Part, Pin, Side
from nettrace.model.find import find_pins
from nettrace.model.geometry import distance
from nettrace.model.names import natural_key
from nettrace.values.quantity import engineering

_KINDS: Final = table("kinds")["area"]
#: Pins that are told of what a net leads to.
FAR_PINS = 4
#: A pad as large as a shield tab reaches no farther than this, mm.
_MOST_REACH_MM = 2.0
#: A pad without a size reaches this far: half the pitch of a common 0.8 mm grid, mm.
_LEAST_REACH_MM = 0.4
#: Neighbours of a pad that are named; more is a map's work.
_NEIGHBOURS = 4
#: Sentences at most; what is left over is counted.
MOST_SENTENCES = 10
#: Devices that are named where they do not answer; of more, nothing does.
MOST_DEAF = 4


@dataclass(frozen=True, slots=True)
class NearPad:
    """A pad, its pin (None for copper without a number), and how far its middle is, mm."""

    pad: Pad
    pin: Pin | None
    distance: float


@dataclass(frozen=True, slots=True)
class AreaPad(NearPad):
    """A pad in the area; `far` are pins of other parts that tell what its net leads to."""

    far: tuple[Pin, ...]  # the most telling first


@dataclass(frozen=True, slots=True)
class AreaPart:
    """A part with copper (or, without any, its place) in the area.

    `inside` is true where the part is likely to be gone: all its pads are in the area, or it has
    two at most, and it is more than bare copper. `pins` are those with a pad in the area;
    `distance` is that of its nearest such pad, mm. `proposals` is filled where no source states
    a value.
    """

    part: Part
    distance: float
    inside: bool
    pins: tuple[Pin, ...]
    roles: tuple[Role, ...]
    absence: Absence
    proposals: tuple[Proposal, ...]


@dataclass(frozen=True, slots=True)
class AreaReport:
    """A damaged area: pads by distance; parts by severity, then distance; nets by name.

    `outlying` are the pads of positions that stand just outside: bare too when the part is gone;
    `named` is the key of the part the area was named by, "" if none; `damage` says in sentences
    what stops when every part that is inside (the named one excepted) is gone.
    """

    shape: Shape
    side: Side | None
    named: str
    pads: tuple[AreaPad, ...]
    outlying: tuple[AreaPad, ...]
    parts: tuple[AreaPart, ...]
    nets: tuple[str, ...]
    damage: tuple[str, ...]

    @property
    def positions(self) -> tuple[AreaPart, ...]:
        """The parts that are likely gone, in the report's order."""
        return tuple(item for item in self.parts if item.inside and item.part.key != self.named)

    @property
    def reaching_in(self) -> tuple[AreaPart, ...]:
        """The parts that have only some of their pads in the area, and the one it is named by."""
        return tuple(item for item in self.parts if not item.inside or item.part.key == self.named)


def inspect_area(circuit: Circuit, shape: Shape, side: Side | None = None) -> AreaReport:
    """Return what is in the area and what stops without it.

    A pad is in the area when its middle is, and it can be touched from `side` (None: either).

    Raises:
        NothingMatches: nothing is there; the nearest pad and the board's extent are named.
    """
    board = circuit.board
    around = shape.around if isinstance(shape, Circle) else ""
    named = around if around in board.part_by_key else ""
    inside: dict[str, list[Pad]] = {}
    for pad in circuit.pad_grid.inside(shape.box):
        if shape.contains(pad.x, pad.y) and (side is None or pad.side.faces(side)):
            inside.setdefault(pad.part, []).append(pad)
    touched = {id(pad) for pads in inside.values() for pad in pads}
    rows: list[tuple[Part, float, bool, tuple[Pin, ...]]] = []  # part, distance, whole, pins
    for key, pads in inside.items():
        part = board.part_by_key[key]
        pins = tuple(pin for pin in part.pins if any(id(pad) in touched for pad in pin.pads))
        whole = len(part.pins) <= 2 or len(pins) == len(part.pins)
        gap = min(distance(*shape.middle, pad.x, pad.y) for pad in pads)
        rows.append((part, gap, whole, pins))
    for part in circuit.pad_grid.parts_without_pads:
        at = part_place(part)
        seen = side is None or part.side is None or part.side.faces(side)
        if at is not None and seen and shape.contains(*at):
            rows.append((part, distance(*shape.middle, *at), True, ()))
    if not rows:
        raise _nothing_there(circuit, shape, side)
    parts = []
    for part, gap, whole, pins in rows:
        kind = circuit.kinds[part.key]
        lost = whole and kind.kind not in _KINDS["not_parts"]
        proposals = circuit.proposals(part.key) if lost and lacks_value(kind) else ()
        roles, absence = circuit.roles(part.key), circuit.absence(part.key)
        parts.append(AreaPart(part, gap, lost, pins, roles, absence, proposals))
    parts.sort(
        key=lambda item: (item.absence.severity.rank, item.distance, natural_key(item.part.key))
    )
    gone = [item.part.key for item in parts if item.inside and item.part.key != named]
    outside = {
        key: [pad for pad in board.part_by_key[key].pads if id(pad) not in touched] for key in gone
    }
    nets = {pad.net for pads in inside.values() for pad in pads if pad.net is not None}
    nets.update(net for item in parts if item.inside for net in item.part.nets)
    return AreaReport(
        shape=shape,
        side=side,
        named=named,
        pads=_area_pads(circuit, inside, shape, gone),
        outlying=_area_pads(circuit, outside, shape, gone),
        parts=tuple(parts),
        nets=tuple(sorted(nets, key=natural_key)),
        damage=describe_damage(circuit, gone),
    )


def reach_mm(part: Part, middle: tuple[float, float]) -> float:
    """Return how far a part's outermost pad is from a point, mm; 0 without pads."""
    return max((distance(*middle, pad.x, pad.y) for pad in part.pads), default=0.0)


def _area_pads(
    circuit: Circuit, inside: Mapping[str, Sequence[Pad]], shape: Shape, gone: Collection[str]
) -> tuple[AreaPad, ...]:
    found: list[AreaPad] = []
    telling: dict[str, tuple[Pin, ...]] = {}
    for key, pads in inside.items():
        pins = circuit.board.part_by_key[key].pins
        pin_of = {id(pad): pin for pin in pins for pad in pin.pads}
        for pad in pads:
            if pad.net is not None and pad.net not in telling:
                telling[pad.net] = far_pins(circuit, pad.net, "", gone, FAR_PINS + 1)
            far = [pin for pin in telling.get(pad.net or "", ()) if pin.part != key]
            gap = distance(*shape.middle, pad.x, pad.y)
            found.append(AreaPad(pad, pin_of.get(id(pad)), gap, tuple(far[:FAR_PINS])))
    found.sort(
        key=lambda item: (item.distance, natural_key(item.pad.part), natural_key(item.pad.number))
    )
    return tuple(found)


def lacks_value(kind: PartKind) -> bool:
    """Return whether a part of this kind should have a value, and no source states one."""
    known = (kind.ohms, kind.farads, kind.henries, kind.hertz)
    return kind.kind in _KINDS["has_value"] and all(value is None for value in known)


def far_pins(
    circuit: Circuit, net: str, own: str, gone: Iterable[str] = (), most: int = FAR_PINS
) -> tuple[Pin, ...]:
    """Return pins of a net that tell what it leads to, one of each part, most telling first.

    What feeds a rail comes first, then chips, connectors and batteries, transistors and switches,
    test points, the rest; parts in `gone` come last; none for a ground.
    """
    if circuit.net_kind(net) is NetKind.GROUND:
        return ()

    def rank_pins() -> list[Pin]:
        source = circuit.rails[net].source if net in circuit.rails else None
        ranks = {kind: rank for rank, kinds in enumerate(_KINDS["telling"]) for kind in kinds}
        first: dict[str, Pin] = {}
        for pin in circuit.board.net_by_name[net].pins:
            first.setdefault(pin.part, pin)

        def telling(pin: Pin) -> tuple[bool, int]:
            return pin.part != source, ranks.get(circuit.kinds[pin.part].kind, len(ranks))

        return sorted(first.values(), key=telling)

    ranked = circuit.once("ranked pins", net, rank_pins)
    missing = set(gone)
    found = [pin for pin in ranked if pin.part != own]
    return tuple(sorted(found, key=lambda pin: pin.part in missing)[:most])


def _no_places(side: Side | None) -> NothingMatches:
    """Return the error for sources without any pad (on that side) to look for."""
    if side is not None:
        return NothingMatches(f"no pad on the {side} side in these sources")
    return NothingMatches(
        "no pad has a place in these sources",
        hint="A netlist alone has no places: add the board file or the test file with --with.",
    )


def _nothing_there(circuit: Circuit, shape: Shape, side: Side | None) -> NothingMatches:
    board = circuit.board
    nearest = next(circuit.pad_grid.near(*shape.middle, side), None)
    if nearest is None:
        return _no_places(side)
    if isinstance(shape, Circle) and (part := board.part_by_key.get(shape.around)) is not None:
        far = reach_mm(part, shape.middle)
        return NothingMatches(
            f"nothing within {shape.radius_mm:g} mm of the middle of {part.refdes}",
            hint=f"Its own pads reach {far:.1f} mm from there: try --radius {far + 4:.0f}.",
        )
    gap, pad = nearest
    x1, y1, x2, y2 = box_of([(pad.x, pad.y) for pad in board.pads()])
    name = f"{pad.part}.{pad.number}" if pad.number else pad.part
    return NothingMatches(
        "nothing in this area",
        hint=f"The nearest pad is {name}, {gap:.1f} mm from its middle; pads span "
        f"{x1:.1f},{y1:.1f} to {x2:.1f},{y2:.1f} (mm, y up).",
    )


# -- one pad ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PadReport:
    """A pad and its surroundings.

    `pad` is None where the sources give the pin no place; `at_point` is true where a place was
    asked for, and `distance` is from there (0 for a pad asked for by name), mm. `others` are the
    pads within the pad's own reach, `neighbours` the next few of other pins; both by distance.
    `ends` are the pins at the other side of the part, where it passes anything; `far` tells what
    the net leads to.
    """

    part: Part
    pin: Pin | None
    pad: Pad | None
    distance: float
    others: tuple[NearPad, ...]
    neighbours: tuple[NearPad, ...]
    ends: tuple[Pin, ...]
    far: tuple[Pin, ...]
    at_point: bool = False

    @property
    def net(self) -> str | None:
        """The net the copper is on."""
        return self.pin.net if self.pin is not None else self.pad.net if self.pad else None


def look_at_point(circuit: Circuit, x: float, y: float, side: Side | None = None) -> PadReport:
    """Return the pad whose middle is nearest to a point (mm, y up).

    Raises:
        NothingMatches: no pad on that side, or no places in these sources.
    """
    nearest = next(circuit.pad_grid.near(x, y, side), None)
    if nearest is None:
        raise _no_places(side)
    return _pad_report(circuit, _pin_of(circuit, nearest[1]), nearest[1], (x, y))


def look_at_pad(circuit: Circuit, words: str) -> tuple[PadReport, ...]:
    """Return the pads that `REFDES.PIN` means; see `find_pins` for what may stand there.

    Raises:
        NothingMatches: no such part or pin.
        WrongUsage: a part is named, and no pin.
    """
    pins = find_pins(circuit.board, words)
    return tuple(_pad_report(circuit, pin, next(iter(pin.pads), None)) for pin in pins)


def _pad_report(
    circuit: Circuit, pin: Pin | None, pad: Pad | None, point: tuple[float, float] | None = None
) -> PadReport:
    near: list[NearPad] = []
    gap = reach = 0.0
    if pad is not None:
        at = point or (pad.x, pad.y)
        gap = 0.0 if point is None else distance(*point, pad.x, pad.y)
        reach = min(_MOST_REACH_MM, max(_LEAST_REACH_MM, pad.width or 0.0, pad.height or 0.0))
        reach = max(reach, gap)
        own = {id(piece) for piece in (pin.pads if pin is not None else (pad,))}
        for far, other in circuit.pad_grid.near(*at, pad.side):
            if far > reach and len(near) >= _NEIGHBOURS:
                break
            if id(other) not in own:
                near.append(NearPad(other, _pin_of(circuit, other), far))
    copper = pin or pad
    net = copper.net if copper is not None else None
    part = circuit.board.part_by_key[copper.part if copper is not None else ""]
    ends: list[Pin] = []  # across the part: the other of two, else those a link leads to
    if pin is not None and len(part.pins) == 2:
        ends = [other for other in part.pins if other is not pin]
    elif pin is not None:
        links = [link for link in circuit.links.get(net or "", ()) if link.part == part.key]
        numbers = {link.to_pin for link in links if link.from_pin == pin.number}
        ends = [other for other in part.pins if other.number in numbers]
    far_ends = far_pins(circuit, net, part.key) if net is not None else ()
    others = tuple(each for each in near if each.distance <= reach)
    neighbours, at_point = tuple(near[:_NEIGHBOURS]), point is not None
    return PadReport(part, pin, pad, gap, others, neighbours, tuple(ends), far_ends, at_point)


def _pin_of(circuit: Circuit, pad: Pad) -> Pin | None:
    pins = circuit.board.part_by_key[pad.part].pins
    return next((pin for pin in pins if any(own is pad for own in pin.pads)), None)


# -- what a set of missing parts does together, in sentences -------------------------------------


@dataclass(frozen=True, slots=True)
class _Sentence:
    """A sentence with how bad it is; `parts` are told of by it and need no other."""

    severity: Severity
    text: str
    parts: tuple[str, ...]


def describe_damage(circuit: Circuit, missing: Sequence[str]) -> tuple[str, ...]:
    """Return what the loss of all these parts means, worst first.

    Losses that belong together are told together: pull-ups by bus, decoupling by rail, what
    several lost parts did to one signal; then what each remaining part takes with it. () where
    nothing is known to suffer.

    Args:
        circuit: the board and what it means.
        missing: part keys, most important first; parts that are not fitted anyway are passed over.
    """
    gone = dict.fromkeys(key for key in missing if circuit.kinds[key].fitted)
    told: set[str] = set()
    sentences: list[_Sentence] = []
    for tell in (_pull_ups, _decoupling, _shared_signals):
        for sentence in tell(circuit, gone):
            if not told.issuperset(sentence.parts):
                sentences.append(sentence)
                told.update(sentence.parts)
    sentences += _single(circuit, [key for key in gone if key not in told], gone)
    texts = [each.text for each in sorted(sentences, key=lambda each: each.severity.rank)]
    if len(texts) > MOST_SENTENCES:
        more = len(texts) - MOST_SENTENCES + 1
        texts = [*texts[: MOST_SENTENCES - 1], f"{more} smaller effects more; see each part."]
    return tuple(texts)


def _worst(circuit: Circuit, keys: Iterable[str]) -> Severity:
    return min((circuit.absence(key).severity for key in keys), key=lambda s: s.rank)


def _pull_ups(circuit: Circuit, gone: Collection[str]) -> Iterator[_Sentence]:
    places = sorted({place for key in gone for place in circuit.pulled_buses.get(key, ())})
    for bus in (circuit.buses[place] for place in places):
        called = _bus_words(bus)
        #: rail -> (line, net, parts) of each line's segment that has lost its last pull-up to it
        lost: dict[str, list[tuple[str, str, tuple[str, ...]]]] = {}
        for line in bus.lines:
            for net in line.nets or (line.net,):
                pulls = circuit.pulls.get(net, ())
                ups = [pull for pull in pulls if pull.direction == "up" and pull.fitted]
                cut = [p for p in ups if p.part in gone or any(key in gone for key in p.through)]
                parts = {key for pull in cut for key in (pull.part, *pull.through) if key in gone}
                names = tuple(sorted(parts, key=natural_key))
                left = dict.fromkeys(pull.part for pull in ups if pull not in cut)
                if cut and left:
                    text = (
                        f"{line.line} of {called} ({net}) loses a pull-up "
                        f"({', '.join(names)}) but keeps {', '.join(left)}: its edges get slower."
                    )
                    yield _Sentence(Severity.DEGRADES, text, names)
                elif cut:
                    to = " and ".join(dict.fromkeys(pull.to for pull in cut))
                    lost.setdefault(to, []).append((line.line, net, names))
        for to, lines in lost.items():
            told = tuple(dict.fromkeys(key for _, _, keys in lines for key in keys))
            said = list(dict.fromkeys(line for line, _, _ in lines))
            nets = ", ".join(net for line, net, _ in lines if net != line)
            whole = {1: "", 2: "Both "}.get(len(said), "All of ")
            loses = "loses its only pull-up" if len(said) == 1 else "lose their pull-ups"
            on = {net for _, net, _ in lines}
            board = circuit.board
            deaf = [key for key in bus.devices if not on.isdisjoint(board.part_by_key[key].nets)]
            effect = "nothing on it answers"
            if 0 < len(deaf) <= MOST_DEAF:
                effect = f"{_all(deaf)} {'does' if len(deaf) == 1 else 'do'} not answer"
            text = (
                f"{whole}{_all(said)} of {called}{f' ({nets})' if nets else ''} {loses} to {to} "
                f"({', '.join(told)}): {effect}."
            )
            yield _Sentence(Severity.BLOCKS, text, told)


def _bus_words(bus: Bus) -> str:
    protocol = bus.protocol.upper() if len(bus.protocol) <= 4 else bus.protocol
    if bus.name.casefold() == bus.protocol.casefold():
        return f"the {protocol} bus"
    named = bus.protocol.casefold() in bus.name.casefold()
    return f"bus {bus.name}" if named else f"{protocol} bus {bus.name}"


def _all(names: Sequence[str]) -> str:
    return listed(names, len(names))


def _decoupling(circuit: Circuit, gone: Collection[str]) -> list[_Sentence]:
    found: list[tuple[float, _Sentence]] = []
    capacitors = [key for key in gone if circuit.kinds[key].kind is Kind.CAPACITOR]
    touched = {net for key in capacitors for net in circuit.board.part_by_key[key].nets}
    for name in sorted(touched, key=natural_key):
        if circuit.net_kind(name) is not NetKind.RAIL:
            continue
        bank = circuit.bank(name).farads
        lost = tuple(key for key in bank if key in gone)
        if not lost:
            continue
        whole, missing = sum(bank.values()), sum(bank[key] for key in lost)
        names, all_lost = ", ".join(lost), len(lost) == len(bank)
        which = "all its own" if all_lost else f"{len(lost)} of {len(bank)}"
        text = f"{name} loses {which} capacitors ({names})"
        if whole:
            text += f", {engineering(missing, 'F', 3)}"
            text += "" if all_lost else f" of {engineering(whole, 'F', 3)}"
        around = circuit.surroundings
        behind = next((b for key in lost if (b := capacitors_behind(around, key, set(gone)))), None)
        if behind is not None and all_lost:
            link, conditional = behind
            text += f"; those behind {link} are left" + " if it is closed" * conditional
        share = missing / whole if whole else len(lost) / len(bank)
        found.append((-share, _Sentence(_worst(circuit, lost), f"{text}.", lost)))
    return [sentence for _, sentence in sorted(found, key=lambda item: item[0])]


def _shared_signals(circuit: Circuit, gone: Collection[str]) -> Iterator[_Sentence]:
    """Tell of signals that have lost all but one of the parts that meant something to them.

    Each lost part alone would have another effect than all of them together: what remains is a
    pin that nothing drives.
    """
    carriers: dict[str, list[str]] = {}
    for key in gone:
        if circuit.kinds[key].kind in _KINDS["carries"]:
            for net in circuit.board.part_by_key[key].nets:
                if circuit.net_kind(net) not in {NetKind.RAIL, NetKind.GROUND}:
                    carriers.setdefault(net, []).append(key)
    for net, parts in carriers.items():
        pins = circuit.board.net_by_name[net].pins
        left = {
            pin.part
            for pin in pins
            if pin.part not in gone and circuit.kinds[pin.part].kind not in _KINDS["passive_ends"]
        }
        if len(parts) < 2 or len(left) != 1:
            continue
        (chip,) = left
        what = f"nothing but {chip} is left on it"
        absences = [circuit.absence(key) for key in parts]
        if all(absence.lost == "temperature" for absence in absences):
            what = f"{chip} no longer reads the temperature"
        text = f"{net} has lost {_all(parts)}: {what}"
        then = {absence.then for absence in absences}
        if len(then) == 1 and then != {""}:
            (tail,) = then
            same = what.startswith(f"{chip} ") and tail.startswith(f"{chip} ")
            text += f" and {tail.removeprefix(f'{chip} ')}" if same else f"; {tail}"
        yield _Sentence(_worst(circuit, parts), f"{text}.", tuple(parts))


def _single(circuit: Circuit, keys: Sequence[str], gone: Collection[str]) -> Iterator[_Sentence]:
    """Tell of each part's own effects; parts with the same effect share a sentence."""
    groups: dict[tuple[Severity, str], list[str]] = {}
    silent: list[str] = []
    for key in keys:
        # a part that nothing stands in for any more is missed more than alone, never less
        absence = circuit.absence(key)
        worse = judge_absence(circuit.surroundings, key, list(gone))
        if worse.severity.rank < absence.severity.rank:
            absence = worse
        if absence.severity is Severity.UNKNOWN:
            silent.append(key)
        elif absence.effects:
            effect = absence.effects[0].rstrip(".")
            groups.setdefault((absence.severity, effect), []).append(key)
    for (severity, effect), parts in groups.items():
        yield _Sentence(severity, f"{', '.join(parts)}: {effect}.", tuple(parts))
    if silent:
        names = ", ".join(sorted(silent, key=natural_key))
        text = f"{names}: what stops without {'it' if len(silent) == 1 else 'them'} is not known."
        yield _Sentence(Severity.UNKNOWN, text, tuple(silent))
