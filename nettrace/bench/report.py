"""A job in one answer: where each position stands, and all that was planned, measured and judged.

What the page of a job shows stands here, so that showing it computes nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from nettrace.bench.area import AreaReport, describe_damage, inspect_area
from nettrace.bench.diagnosis import Check, check_job
from nettrace.bench.job import Fit, Job, JobState, Mark, Reading
from nettrace.bench.judging import Judged, KnownGood
from nettrace.bench.match import LooseMatch, match_loose, sites_of
from nettrace.bench.needs import Need, plan_needs
from nettrace.bench.neighbourhood import Neighbourhood, Selection, find_neighbourhood
from nettrace.bench.place import Box, part_place
from nettrace.bench.probes import Probe, plan_probes
from nettrace.bench.refit import RefitPlan, plan_refit
from nettrace.bench.wire import Wired, find_pad, find_via, replaced_parts, wires_of
from nettrace.circuit.circuit import Circuit
from nettrace.errors import NothingMatches, Warning
from nettrace.model.board import Part

#: How much of the board round the positions is drawn, mm.
MARGIN_MM = 1.5
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class JobPosition:
    """A marked position, numbered as it was marked.

    `fit` is how it was refitted, None if it was not; `by_wire` says that a wire stands in for it.
    """

    number: int
    part: Part
    mark: Mark
    fit: Fit | None
    by_wire: bool

    @property
    def is_open(self) -> bool:
        """Whether nothing was done about it yet."""
        return self.fit is None and not self.by_wire


@dataclass(frozen=True, slots=True)
class SolderedWire:
    """A wire on the map: what it is in words, and its two ends on the board, mm."""

    words: str
    start: Point
    end: Point


@dataclass(frozen=True, slots=True)
class TornPad:
    """A lifted pad, or an end of a cut track, on the map: what it is, and its place, mm."""

    words: str
    at: Point


@dataclass(frozen=True, slots=True)
class PlannedProbe:
    """A measurement of the proof, and the reading that was entered for it."""

    probe: Probe
    reading: Judged | None


@dataclass(frozen=True, slots=True)
class JobReport:
    """A whole job.

    Attributes:
        circuit: the board.
        job, state: the job and what stands of it.
        positions: by number.
        wires: soldered, each with what it does.
        soldered, torn: wires, and lifted pads and cut ends, that have a place on the map.
        damage: what stops, in sentences.
        matches: where the loose parts that were not used belong, by name.
        needs: what to order for the open positions.
        plan: the order of work.
        probes: what to measure to prove the repair once all is refitted, in order.
        check: the verdict; None where nothing is marked yet.
        area: what is drawn to scale, none of its parts taken for lost; None without a place.
        around: the positions with what they are tied to, None without any.
        warnings: what to mind about the sources.
    """

    circuit: Circuit = field(repr=False)
    job: Job
    state: JobState
    positions: tuple[JobPosition, ...]
    wires: tuple[Wired, ...]
    soldered: tuple[SolderedWire, ...]
    torn: tuple[TornPad, ...]
    damage: tuple[str, ...]
    matches: dict[str, LooseMatch]
    needs: tuple[Need, ...]
    plan: RefitPlan
    probes: tuple[PlannedProbe, ...]
    check: Check | None
    area: AreaReport | None
    around: Neighbourhood | None
    warnings: tuple[Warning, ...]

    @property
    def numbers(self) -> dict[str, int]:
        """Part key -> number of its position."""
        return {item.part.key: item.number for item in self.positions}

    @property
    def keys(self) -> dict[str, str]:
        """Refdes -> part key of the positions."""
        return {item.part.refdes: item.part.key for item in self.positions}


def report_job(
    circuit: Circuit,
    job: Job,
    state: JobState,
    *,
    warnings: Sequence[Warning] = (),
    known_good: KnownGood | None = None,
) -> JobReport:
    """Return all that is known of a job, plans and verdict included."""
    replaced, parts = replaced_parts(circuit, state), circuit.board.part_by_key
    marked = [(parts[key], mark) for key, mark in state.damaged.items() if key in parts]
    positions = tuple(
        JobPosition(number, part, mark, state.refitted.get(part.key), part.key in replaced)
        for number, (part, mark) in enumerate(marked, start=1)
    )
    keys = [item.part.key for item in positions]
    still_open = [item.part.key for item in positions if item.is_open]
    wires = wires_of(circuit, state)
    mended = {end for item in wires for end in item.of}
    lifted = [*state.lifted, *(a for a, b in state.cuts if b not in mended)]
    soldered = tuple(
        SolderedWire(f"wire {item.wire.start} to {item.wire.end} {item.words}", start, end)
        for item in wires
        if (start := _end_place(circuit, item.wire.start)) is not None
        and (end := _end_place(circuit, item.wire.end)) is not None
    )
    said = {pad: f"{pad}: lifted" for pad in state.lifted}
    for a, b in state.cuts:
        said |= {a: f"{a}: its track to {b} is cut", b: f"{b}: its track to {a} is cut"}
    torn = tuple(
        TornPad(words, at)
        for pad, words in said.items()
        if (at := _end_place(circuit, pad)) is not None
    )
    touched = bool(keys or state.lifted or state.cuts or state.bridges or state.wires)
    check = check_job(circuit, state, known_good) if touched else None
    judged = {
        _measured(item.reading): item
        for item in (check.readings if check is not None else ())
        if item.counts
    }
    # as the job will stand: a page printed before the work lists all of its proof
    gone = [key for key in keys if key not in state.refitted]
    fits = {
        key: Fit(number=max(state.last_refit, state.damaged[key].number), time="", at=key)
        for key in gone
    }
    refitted = replace(state, refitted={**state.refitted, **fits})
    planned = plan_probes(circuit, refitted) if touched else ()
    unused = [item for name, item in state.loose.items() if name not in state.used]
    matches = match_loose(sites_of(circuit, still_open), unused) if unused else ()
    besides = [item.at for item in torn]
    besides += [end for item in soldered for end in (item.start, item.end)]
    area, notes = None, list(warnings)
    if keys or besides:
        try:
            area = _area(circuit, [item.part for item in positions], besides)
        except NothingMatches as error:
            notes.append(Warning("no-placed-drawing", f"no drawing to scale: {error.found}"))
    numbers = {item.part.key: item.number for item in positions}
    selection = Selection(parts=tuple(keys), gone=frozenset(gone), numbers=numbers)
    return JobReport(
        circuit=circuit,
        job=job,
        state=state,
        positions=positions,
        wires=wires,
        soldered=soldered,
        torn=torn,
        damage=describe_damage(circuit, [key for key in keys if circuit.kinds[key].fitted]),
        matches={match.loose: match for match in matches},
        needs=plan_needs(circuit, still_open),
        plan=plan_refit(circuit, still_open, [pad for pad in lifted if pad not in mended]),
        probes=tuple(PlannedProbe(probe, judged.get(_measured(probe))) for probe in planned),
        check=check,
        area=area,
        around=find_neighbourhood(circuit, selection) if keys else None,
        warnings=tuple(notes),
    )


def read_since(state: JobState, probe: Probe) -> Reading | None:
    """Return the last reading of a measurement since the board was last changed."""
    found = (
        reading
        for reading in reversed(state.readings)
        if reading.number > state.last_refit and _measured(reading) == _measured(probe)
    )
    return next(found, None)


def _measured(item: Reading | Probe) -> tuple[frozenset[str], str]:
    return frozenset((item.at, item.to)), item.quantity


def _end_place(circuit: Circuit, word: str) -> Point | None:
    pin = find_pad(circuit, word)
    at = (pin.pads[0] if pin.pads else None) if pin is not None else find_via(circuit, word)
    return (at.x, at.y) if at is not None else None


def _area(circuit: Circuit, parts: Sequence[Part], besides: Sequence[Point]) -> AreaReport:
    """Return the area of all positions, torn pads and wires, with none of its parts taken for lost.

    `besides` are the places of those pads and of the wires' ends, mm.
    """
    points = list(besides)
    for part in parts:
        points += [(pad.x, pad.y) for pad in part.pads]
        place = part_place(part)
        if place is not None:
            points.append(place)
    if not points:
        raise NothingMatches("no marked position has a place in these sources")
    (left, right), (low, high) = ((min(side), max(side)) for side in zip(*points, strict=True))
    box = Box(left - MARGIN_MM, low - MARGIN_MM, right + MARGIN_MM, high + MARGIN_MM)
    report = inspect_area(circuit, box)
    # what lies between the marked positions was looked at, and is there
    return replace(report, parts=tuple(replace(item, inside=False) for item in report.parts))
