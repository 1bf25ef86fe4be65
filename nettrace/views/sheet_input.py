"""A job made ready for its sheet: drawings, measurements and verdict gathered in one place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from nettrace.bench.area import AreaReport, inspect_area
from nettrace.bench.diagnosis import Check, check_job
from nettrace.bench.job import Fit, Job, JobState
from nettrace.bench.judging import Judged, KnownGood
from nettrace.bench.neighbourhood import Selection, find_neighbourhood
from nettrace.bench.place import Box, part_place
from nettrace.bench.probes import Probe, plan_probes
from nettrace.bench.wire import find_pad, find_via, wires_of
from nettrace.circuit.circuit import Circuit
from nettrace.errors import NothingMatches, Warning
from nettrace.model.board import Side
from nettrace.views.drawing import SEPARATOR
from nettrace.views.graph import draw_graph, names_of_nets, names_of_parts
from nettrace.views.job_tables import reading_words
from nettrace.views.photo import PhotoPlate
from nettrace.views.placed import draw_placed
from nettrace.views.placed_map import SolderedWire, TornPad
from nettrace.views.programs import CannotDraw, render_dot
from nettrace.views.sheet_source import (
    CheckLines,
    Drawing,
    ProbeLine,
    SheetInput,
    SuspectLine,
)
from nettrace.views.text import counted, listed

__all__ = ["job_sheet"]

#: How much of the board round the positions is drawn, mm.
MARGIN_MM = 1.5
#: Suspects and open ends on the sheet.
SUSPECTS_SHOWN = 5
PINS_SHOWN = 6


def job_sheet(
    circuit: Circuit,
    job: Job,
    state: JobState,
    *,
    warnings: Sequence[Warning] = (),
    photo: PhotoPlate | None = None,
    known_good: KnownGood | None = None,
) -> SheetInput:
    """Return all that the sheet of a job is made from; positions are numbered as they were marked.

    Where a drawing cannot be made (no places in the sources, no Graphviz), a warning says so.
    """
    keys = [key for key in state.damaged if key in circuit.board.part_by_key]
    notes = list(warnings)
    drawings = [
        drawing
        for drawing in (_placed(circuit, state, keys, notes), _around(circuit, state, keys, notes))
        if drawing is not None
    ]
    touched = bool(keys or state.lifted or state.cuts or state.bridges or state.wires)
    check = check_job(circuit, state, known_good) if touched else None
    probes = plan_probes(circuit, _when_refitted(state, keys)) if touched else ()
    return SheetInput(
        circuit=circuit,
        job=job,
        state=state,
        numbers={key: number for number, key in enumerate(keys, start=1)},
        drawings=tuple(drawings),
        probes=tuple(_probe_lines(probes, check.readings if check is not None else ())),
        check=_check_lines(check) if check is not None else None,
        photo=photo,
        warnings=tuple(notes),
    )


def _when_refitted(state: JobState, keys: Sequence[str]) -> JobState:
    """Return the job as it will stand: a sheet printed before the work lists all of its proof."""
    fits = {
        key: Fit(number=max(state.last_refit, state.damaged[key].number), time="", at=key)
        for key in keys
        if key not in state.refitted
    }
    return replace(state, refitted={**state.refitted, **fits}) if fits else state


def _placed(
    circuit: Circuit, state: JobState, keys: Sequence[str], notes: list[Warning]
) -> Drawing | None:
    wires, torn = _soldered(circuit, state), _torn(circuit, state)
    besides = [pad.at for pad in torn] + [end for wire in wires for end in (wire.start, wire.end)]
    if not keys and not besides:
        return None
    try:
        report = _report(circuit, keys, besides)
    except NothingMatches as error:
        notes.append(Warning("no-placed-drawing", f"no drawing to scale: {error.found}"))
        return None
    map_ = draw_placed(
        circuit,
        report,
        keys,
        refitted=set(state.refitted),
        wires=wires,
        torn=torn,
        in_page=True,
    )
    what, names = "The torn pads and wires", "the torn pads and wires"
    if keys:
        what = "The marked positions"
        refs = [circuit.board.part_by_key[key].refdes for key in keys]
        names = f"the positions of {listed(refs, 12)}"
    where = "as seen from below, mirrored" if map_.side is Side.BOTTOM else "as seen from above"
    return Drawing(
        name="placed",
        title=f"{what} at {map_.scale}, {map_.side} side {where}.",
        svg=map_.svg,
        alternative=f"Drawing to scale of the {map_.side} side with {names}",
    )


def _soldered(circuit: Circuit, state: JobState) -> list[SolderedWire]:
    """Return the wires whose two ends have a place."""
    found = []
    for wired in wires_of(circuit, state):
        start, end = (_end_place(circuit, word) for word in (wired.wire.start, wired.wire.end))
        if start is not None and end is not None:
            words = f"wire {wired.wire.start} to {wired.wire.end} {wired.words}"
            found.append(SolderedWire(words, start, end))
    return found


def _torn(circuit: Circuit, state: JobState) -> list[TornPad]:
    """Return the lifted pads and the ends of cut tracks that have a place."""
    said = {pad: f"{pad}: lifted" for pad in state.lifted}
    for a, b in state.cuts:
        said |= {a: f"{a}: its track to {b} is cut", b: f"{b}: its track to {a} is cut"}
    places = {pad: _end_place(circuit, pad) for pad in said}
    return [TornPad(said[pad], at) for pad, at in places.items() if at is not None]


def _end_place(circuit: Circuit, word: str) -> tuple[float, float] | None:
    pin = find_pad(circuit, word)
    at = (pin.pads[0] if pin.pads else None) if pin is not None else find_via(circuit, word)
    return (at.x, at.y) if at is not None else None


def _report(
    circuit: Circuit, keys: Sequence[str], besides: Sequence[tuple[float, float]]
) -> AreaReport:
    """Return the area of all positions, torn pads and wires, with none of its parts taken for lost.

    `besides` are the places of those pads and of the wires' ends, mm.
    """
    points = list(besides)
    for key in keys:
        part = circuit.board.part_by_key[key]
        points += [(pad.x, pad.y) for pad in part.pads]
        place = part_place(part)
        if place is not None:
            points.append(place)
    if not points:
        raise NothingMatches("no marked position has a place in these sources")
    xs, ys = [x for x, _ in points], [y for _, y in points]
    box = Box(
        min(xs) - MARGIN_MM, min(ys) - MARGIN_MM, max(xs) + MARGIN_MM, max(ys) + MARGIN_MM
    )  # fmt: skip
    report = inspect_area(circuit, box)
    # what lies between the marked positions was looked at, and is there
    return replace(report, parts=tuple(replace(item, inside=False) for item in report.parts))


def _around(
    circuit: Circuit, state: JobState, keys: Sequence[str], notes: list[Warning]
) -> Drawing | None:
    if not keys:
        return None
    numbers = {key: number for number, key in enumerate(keys, start=1)}
    selection = Selection(
        parts=tuple(keys),
        gone=frozenset(key for key in keys if key not in state.refitted),
        numbers=numbers,
    )
    drawing = find_neighbourhood(circuit, selection)
    try:
        svg = render_dot(draw_graph(circuit, drawing), "svg").decode("utf-8")
    except CannotDraw as error:
        notes.append(Warning("no-graph", f"no drawing of what they are tied to: {error.found}"))
        return None
    left = [*drawing.left_gone, *drawing.left_parts]
    more = f" No room for {listed(left, 8)}." if left else ""
    return Drawing(
        name="around",
        title=f"{_outlines(state, keys)}{more}",
        svg=svg,
        alternative="Graph of the marked positions with the nets and parts they are tied to",
        parts={name: SEPARATOR.join(keys) for name, keys in names_of_parts(drawing).items()},
        nets=names_of_nets(drawing),
    )


def _outlines(state: JobState, keys: Sequence[str]) -> str:
    done = sum(key in state.refitted for key in keys)
    if done == len(keys):
        return "Parts with a number are the marked positions, all refitted."
    if not done:
        return "Parts with a broken outline are the marked positions."
    return "Parts with a number are the marked positions; those still open have a broken outline."


def _probe_lines(probes: Sequence[Probe], readings: Sequence[Judged]) -> list[ProbeLine]:
    done = {
        (frozenset((item.reading.at, item.reading.to)), item.reading.quantity): item
        for item in readings
        if item.counts
    }
    lines = []
    for number, probe in enumerate(probes, start=1):
        item = done.get((frozenset((probe.at, probe.to)), probe.quantity))
        lines.append(
            ProbeLine(
                number,
                probe.at,
                probe.to,
                str(probe.quantity),
                probe.expected,
                probe.why,
                reading=reading_words(item.reading) if item is not None else "",
                state=str(item.state) if item is not None else "",
                step=str(probe.step),
            )
        )
    return lines


def _check_lines(check: Check) -> CheckLines:
    found = list(check.because)
    for broken in check.opens:
        groups = [listed([str(pin) for pin in group], PINS_SHOWN) for group in broken.groups]
        found.append(f"{broken.net} is in {len(groups)} pieces: {' | '.join(groups)}")
    found += [
        f"joined: {' and '.join(net or 'a pin on no net' for net in short.nets)}"
        for short in check.shorts
    ]
    found += [
        f"{item.refdes} measures {item.found}, {item.expected} belongs there"
        for item in check.wrong_values
    ]
    for item in check.readings:
        if item.counts and str(item.state) == "fail":
            reading = item.reading
            shown = reading_words(reading)
            found.append(f"{reading.at} to {reading.to} showed {shown}: {item.because}")
    if check.blind:
        many = counted(len(check.blind), "fault")
        found.append(f"for the eye, since no measurement tells ({many}): {listed(check.blind, 4)}")
    suspects = [
        SuspectLine(item.what, item.score, item.because) for item in check.suspects[:SUSPECTS_SHOWN]
    ]
    if str(check.verdict) == "restored":
        suspects = []
    return CheckLines(
        str(check.verdict),
        tuple(dict.fromkeys(found)),
        tuple(suspects),
        len(check.still_to_probe),
    )
