"""What the job sheet says, as rows of words: the page and the Markdown are written from these."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from nettrace.bench.damage import describe_damage
from nettrace.bench.job import Fit, JobState, Mark, Reading
from nettrace.bench.match import LooseMatch, match_loose, sites_of
from nettrace.bench.needs import Need, plan_needs
from nettrace.bench.needs import words as need_words
from nettrace.bench.refit import RefitPlan, plan_refit
from nettrace.bench.wire import replaced_parts, wires_of
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Bus, BusLine, NetKind
from nettrace.model.board import Part, Pin
from nettrace.values.quantity import engineering
from nettrace.views.job_tables import loose_words, reading_words
from nettrace.views.sheet_source import SheetInput
from nettrace.views.text import counted, listed, printable
from nettrace.views.text_facts import (
    lines_by_net,
    net_words,
    refdes,
    role_words,
    size_words,
    value_words,
    volts_words,
)

__all__ = [
    "PinRow",
    "PositionRow",
    "SheetRows",
    "sheet_rows",
]

#: Pins of one position that get a line each; the rest are counted.
PINS_SHOWN = 8
EFFECTS_SHOWN = 2
NEIGHBOURS_SHOWN = 4
WIRE_INSTEAD = "wire in its place"
_Buses = dict[str, tuple[Bus, BusLine]]


@dataclass(frozen=True, slots=True)
class PinRow:
    """A pin of a position: its pad, its net, what that is, and the volts that stand there."""

    pad: str
    name: str
    net: str
    what: str
    volts: str


@dataclass(frozen=True, slots=True)
class PositionRow:
    """A marked position; `stands` says what was done about it, `open` that nothing was yet."""

    number: int
    key: str
    refdes: str
    mark: str
    value: str
    size: str
    side: str
    pins: tuple[PinRow, ...]
    more_pins: int
    role: str
    severity: str
    without: tuple[str, ...]
    stands: str
    open: bool
    note: str


@dataclass(frozen=True, slots=True)
class OrderRow:
    """A line of the order."""

    positions: tuple[tuple[str, str], ...]  # (part key, refdes)
    what: str
    part_number: str
    quantity: int
    substitutes: tuple[str, ...]
    because: tuple[str, ...]
    doubts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StepRow:
    """A step of the work: what, which positions, why, and what to mind."""

    title: str
    positions: tuple[tuple[str, str], ...]
    because: tuple[str, ...]
    mind: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LooseRow:
    """A loose part: what it measures, where it belongs, how sure that is, what to do with it."""

    name: str
    measures: str
    place: str
    keys: tuple[str, ...]  # of all positions that it fits
    certainty: str
    advice: str


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """A reading as entered."""

    number: int
    stage: str
    at: str
    to: str
    set_to: str
    shown: str
    note: str


@dataclass(frozen=True, slots=True)
class SheetRows:
    """The whole sheet in words."""

    title: str
    board: str
    opened: str
    sources: tuple[str, ...]
    standing: tuple[str, ...]
    damage: tuple[str, ...]
    besides: tuple[str, ...]
    remarks: tuple[str, ...]
    warnings: tuple[str, ...]
    positions: tuple[PositionRow, ...]
    loose: tuple[LooseRow, ...]
    orders: tuple[OrderRow, ...]
    steps: tuple[StepRow, ...]
    unplaced: tuple[str, ...]
    readings: tuple[ReadingRow, ...]


def sheet_rows(source: SheetInput) -> SheetRows:
    """Return the sheet's words; positions by number, the rest in the order of work."""
    circuit, state = source.circuit, source.state
    keys = [key for key in state.damaged if key in circuit.board.part_by_key]
    numbers = _numbers(keys, source.numbers)
    keys.sort(key=lambda key: numbers[key])
    replaced = replaced_parts(circuit, state)
    still_open = [key for key in keys if key in {*state.open_positions} - replaced]
    buses = lines_by_net(circuit)
    mended = {end for item in wires_of(circuit, state) for end in item.of}
    torn = [*state.lifted, *(a for a, b in state.cuts if b not in mended)]
    plan = plan_refit(circuit, still_open, [pad for pad in torn if pad not in mended])
    fitted = [key for key in keys if circuit.kinds[key].fitted]
    return SheetRows(
        title=printable(source.job.title),
        board=printable(circuit.board.name),
        opened=source.job.opened,
        sources=tuple(
            printable(item.path.replace("\\", "/").rsplit("/", 1)[-1])
            for item in circuit.board.sources
        ),
        standing=tuple(_standing(source, keys, still_open)),
        damage=describe_damage(circuit, fitted),
        besides=tuple(_besides(circuit, state)),
        remarks=tuple(printable(remark) for remark in state.remarks),
        warnings=tuple(printable(warning.message) for warning in source.warnings),
        positions=tuple(_position(source, key, numbers[key], buses, replaced) for key in keys),
        loose=_loose_rows(circuit, state, still_open),
        orders=tuple(_order(circuit, need) for need in plan_needs(circuit, still_open)),
        steps=tuple(_steps(circuit, plan)),
        unplaced=plan.unplaced,
        readings=tuple(_reading(item) for item in state.readings),
    )


def _numbers(keys: Sequence[str], given: Mapping[str, int]) -> dict[str, int]:
    numbers = {key: given[key] for key in keys if key in given}
    following = max(numbers.values(), default=0)
    for key in keys:
        if key not in numbers:
            following += 1
            numbers[key] = following
    return numbers


def _standing(source: SheetInput, keys: Sequence[str], still_open: Sequence[str]) -> list[str]:
    state = source.state
    words = [counted(len(keys), "position") + " marked"]
    fitted = len([key for key in keys if key in state.refitted])
    by_wire = len(keys) - fitted - len(still_open)
    replaced = f"{by_wire} replaced by wire, " if by_wire else ""
    words.append(f"{fitted} refitted, {replaced}{len(still_open)} open")
    if state.loose:
        kept = len([name for name in state.loose if name not in state.used])
        words.append(f"{counted(len(state.loose), 'loose part')} found, {kept} not used")
    if state.wires:
        words.append(counted(len(state.wires), "wire") + " soldered")
    words.append(counted(len(state.readings), "reading") + " entered")
    return words


def _besides(circuit: Circuit, state: JobState) -> list[str]:
    """Return damage that is no part's: pads, tracks, bridges, and the wires that mend it."""
    lines = [f"pad {printable(pad)} lifted" for pad in state.lifted]
    lines += [f"track {printable(a)} to {printable(b)} cut" for a, b in state.cuts]
    lines += [f"solder joins {printable(a)} and {printable(b)}" for a, b in state.bridges]
    for item in wires_of(circuit, state):
        wire = item.wire
        remark = f" ({printable(wire.note)})" if wire.note else ""
        words = f"wire {printable(wire.start)} to {printable(wire.end)} {printable(item.words)}"
        lines.append(words + remark)
    return lines


def _position(
    source: SheetInput, key: str, number: int, buses: _Buses, replaced: frozenset[str]
) -> PositionRow:
    circuit, state = source.circuit, source.state
    part = circuit.board.part_by_key[key]
    mark = state.damaged[key]
    pins = list({(pin.number, pin.net): pin for pin in part.pins}.values())
    absence = circuit.absence(key)
    return PositionRow(
        number=number,
        key=key,
        refdes=refdes(circuit, key),
        mark=str(mark.damage),
        value=value_words(circuit, part) or _likely(circuit, part),
        size=size_words(circuit, part),
        side=str(part.side) if part.side is not None else "",
        pins=tuple(_pin(circuit, pin, buses) for pin in pins[:PINS_SHOWN]),
        more_pins=max(0, len(pins) - PINS_SHOWN),
        role=role_words(circuit.roles(key)),
        severity=str(absence.severity),
        without=tuple(printable(text) for text in absence.effects[:EFFECTS_SHOWN]),
        stands=WIRE_INSTEAD if key in replaced else _stands(state.refitted.get(key), mark),
        open=key not in state.refitted and key not in replaced,
        note=printable(mark.note),
    )


def _likely(circuit: Circuit, part: Part) -> str:
    for proposal in circuit.proposals(part.key):
        unit = {"ohms": "Ω", "farads": "F", "henries": "H"}.get(proposal.quantity, "")
        if proposal.choices:
            return f"likely {engineering(proposal.choices[0], unit, 3)}"
    return "not stated"


def _pin(circuit: Circuit, pin: Pin, buses: _Buses) -> PinRow:
    net = pin.net
    return PinRow(
        pad=f"{refdes(circuit, pin.part)}.{printable(pin.number)}",
        name=printable(pin.name or "") if pin.name not in {None, pin.number, "~"} else "",
        net=printable(net) if net is not None else "no net",
        what=net_words(circuit, net, buses),
        volts=_volts(circuit, net),
    )


def _volts(circuit: Circuit, net: str | None) -> str:
    if net is None:
        return ""
    kind = circuit.net_kind(net)
    if kind is NetKind.GROUND:
        return "0 V"
    volts = circuit.volts(net)
    if volts is None:
        return "not known" if kind is NetKind.RAIL else "–"
    return volts_words(volts)


def _stands(fit: Fit | None, mark: Mark) -> str:
    if fit is None:
        return "open"
    what = f"refitted with {printable(fit.with_part)}" if fit.with_part else "refitted, new part"
    if fit.value:
        what += f", {printable(fit.value)}"
    return what if fit.number > mark.number else "open"


def _loose_rows(
    circuit: Circuit, state: JobState, still_open: Sequence[str]
) -> tuple[LooseRow, ...]:
    left = [item for name, item in state.loose.items() if name not in state.used]
    matches = {
        match.loose: match
        for match in (match_loose(sites_of(circuit, still_open), left) if left else ())
    }
    used_at = {fit.with_part: key for key, fit in state.refitted.items() if fit.with_part}
    keys = {refdes(circuit, key): key for key in still_open}
    rows = []
    for name, item in state.loose.items():
        measured = loose_words(item)
        if name in state.used:
            key = used_at.get(name, "")
            at = refdes(circuit, key) if key else ""
            at_key = (key,) if key else ()
            rows.append(LooseRow(printable(name), measured, at, at_key, "fitted", ""))
        else:
            rows.append(_loose_row(matches[name], measured, keys))
    return tuple(rows)


def _loose_row(match: LooseMatch, measured: str, keys: Mapping[str, str]) -> LooseRow:
    places = [candidate.refdes for candidate in match.candidates]
    shown = match.assigned or ""
    others = [place for place in places if place != shown]
    if others:
        shown = f"{shown} (or {listed(others, 3)})" if shown else listed(others, 4)
    sure = str(match.certainty) + (f": {match.decide}" if match.decide else "")
    fitting = tuple(keys[place] for place in places if place in keys)
    return LooseRow(printable(match.loose), measured, shown, fitting, sure, match.advice)


def _order(circuit: Circuit, need: Need) -> OrderRow:
    by_refdes = {part.refdes: part.key for part in circuit.board.parts}
    return OrderRow(
        positions=tuple((by_refdes[name], printable(name)) for name in need.positions),
        what=printable(need_words(need)),
        part_number=printable(need.part_number or ""),
        quantity=need.quantity,
        substitutes=tuple(printable(text) for text in need.substitutes),
        because=tuple(printable(text) for text in need.because),
        doubts=tuple(printable(text) for text in need.doubts),
    )


def _steps(circuit: Circuit, plan: RefitPlan) -> list[StepRow]:
    by_refdes = {part.refdes: part.key for part in circuit.board.parts}
    rows = []
    for step in plan.steps:
        mind = []
        if step.slow_pads:
            mind.append(f"melts late: {printable(listed(step.slow_pads, 8))}")
        near = step.neighbours[:NEIGHBOURS_SHOWN]
        mind += [f"{printable(n.refdes)} {n.distance_mm:.1f} mm away: {n.why}" for n in near]
        if len(step.neighbours) > len(near):
            mind.append(f"{len(step.neighbours) - len(near)} more within reach of hot air")
        rows.append(
            StepRow(
                _unquoted(step.title),
                tuple((by_refdes.get(name, ""), printable(name)) for name in step.positions),
                tuple(_unquoted(text) for text in step.because),
                tuple(mind),
            )
        )
    return rows


def _unquoted(text: str) -> str:
    """Return a plan's words without the marks that set off commands on a terminal."""
    return printable(text.replace("`", ""))


def _reading(item: Reading) -> ReadingRow:
    return ReadingRow(
        item.number,
        printable(item.stage),
        printable(item.at),
        printable(item.to),
        str(item.quantity),
        reading_words(item),
        printable(item.note),
    )
