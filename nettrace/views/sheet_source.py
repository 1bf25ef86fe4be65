"""What the job sheet is made from: job, drawings, measurements, verdict, photo."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from nettrace.bench.job import Job, JobState
from nettrace.circuit.circuit import Circuit
from nettrace.errors import Warning
from nettrace.views.photo import PhotoPlate

__all__ = ["CheckLines", "Drawing", "ProbeLine", "SheetInput", "SuspectLine"]


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawing of the sheet.

    Attributes:
        name: short, of letters; `placed` is the one that the numbers of the table lead to.
        title: the line below it.
        svg: its SVG text, as a file holds it.
        alternative: what it shows, for those who hear the page.
        parts, nets: Graphviz node name -> part key (several: `SEPARATOR` between), net name.
    """

    name: str
    title: str
    svg: str
    alternative: str
    parts: Mapping[str, str] = field(default_factory=dict)
    nets: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ProbeLine:
    """A measurement to make: from, to, the meter's setting, what it should show and why.

    `reading` is what was entered, "" if nothing; `state` pass, fail, open question or "";
    `step` is the part of the list it belongs to.
    """

    number: int
    at: str
    to: str
    set_to: str
    expected: str
    why: str
    reading: str = ""
    state: str = ""
    step: str = ""


@dataclass(frozen=True, slots=True)
class SuspectLine:
    """A fault that the readings point at: what, how likely (0 to 1), and why."""

    what: str
    score: float
    because: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CheckLines:
    """The verdict: restored, not restored or not proven; what was found; what is suspected."""

    verdict: str
    found: tuple[str, ...] = ()
    suspects: tuple[SuspectLine, ...] = ()
    still_to_probe: int = 0


@dataclass(frozen=True, slots=True)
class SheetInput:
    """Everything the sheet is made from.

    Attributes:
        circuit: the board.
        job, state: the job and where it stands.
        numbers: part key -> its number on the drawings; positions that lack one follow.
        drawings: in the order of the sheet.
        probes: what to measure, in order; () where no position is marked.
        check: the verdict, None where none was asked for.
        photo: the technician's photo, None without.
        warnings: what to mind about the job's sources.
    """

    circuit: Circuit
    job: Job
    state: JobState
    numbers: Mapping[str, int] = field(default_factory=dict)
    drawings: tuple[Drawing, ...] = ()
    probes: tuple[ProbeLine, ...] = ()
    check: CheckLines | None = None
    photo: PhotoPlate | None = None
    warnings: tuple[Warning, ...] = ()
