"""What the public calls give back: complete answers, so that showing one asks the circuit nothing.

An answer is a record of a room below, or of this file, with a `Brief`: what is known in few words
of every part and net that it names. JSON and pages are made from that alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any, Self, TypeVar

from msgspec import Struct

from nettrace.bench.area import AreaReport, PadReport, lacks_value
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import (
    Absence,
    Bus,
    NetKind,
    PartKind,
    Proposal,
    Pull,
    Rail,
    Reach,
    Role,
    Volts,
)
from nettrace.errors import Warning
from nettrace.model.board import Board, Conflict, Counts, Net, Part, Source

if TYPE_CHECKING:
    from pathlib import Path

    from nettrace.bench.job import Entry, Job, JobState, Loose
    from nettrace.bench.lookup import Way  # noqa: F401 - named in a base, as text
    from nettrace.bench.match import BareSite, LooseMatch  # noqa: F401 - as above
    from nettrace.bench.needs import Donor, Need  # noqa: F401 - as above
    from nettrace.bench.photo import PhotoMap
    from nettrace.bench.probes import Probe  # noqa: F401 - as above
    from nettrace.bench.wire import Wired
    from nettrace.electrical.expected import Expected, Heat  # noqa: F401 - as above

#: Answers to a wildcard that are told in full; of more, each is a line in a list.
FEW = 3

_Record = TypeVar("_Record")


class Brief(Struct, frozen=True):
    """What is known in few words of the parts and nets that an answer names.

    It has what words for people are made of, under the names that `Circuit` has it.
    """

    board: Board
    kinds: Mapping[str, PartKind]
    rails: Mapping[str, Rail]
    pulls: Mapping[str, tuple[Pull, ...]]
    buses: tuple[Bus, ...]
    part_roles: Mapping[str, tuple[Role, ...]]
    net_kinds: Mapping[str, NetKind]
    net_volts: Mapping[str, Volts | None]

    def __repr__(self) -> str:
        return "Brief(...)"  # an answer is shown without all that is around it

    def roles(self, part: str) -> tuple[Role, ...]:
        """Return the roles of a part, best first."""
        return self.part_roles[part]

    def net_kind(self, net: str) -> NetKind:
        """Return ground, rail, bus, signal or unconnected."""
        return self.net_kinds[net]

    def volts(self, net: str) -> Volts | None:
        """Return the voltage of a net, or that it is pulled to."""
        return self.net_volts[net]


def brief(circuit: Circuit, parts: Iterable[str] = (), nets: Iterable[str | None] = ()) -> Brief:
    """Return what is known in few words of parts (whose roles are told) and nets."""
    roles = {key: circuit.roles(key) for key in parts}
    named = list(dict.fromkeys(net for net in nets if net is not None))
    for net in named:
        for pull in circuit.pulls.get(net, ()):
            if pull.direction == "up":  # to a rail, or the bias of a thermistor
                roles[pull.part] = circuit.roles(pull.part)
    return Brief(
        circuit.board,
        circuit.kinds,
        circuit.rails,
        circuit.pulls,
        circuit.buses,
        roles,
        {net: circuit.net_kind(net) for net in named},
        {net: circuit.volts(net) for net in named},
    )


class Several(tuple[_Record, ...]):
    """Answers of one kind, in order, and what is known of all that they name."""

    brief: Brief

    def __new__(cls, items: Iterable[_Record], **facts: Any) -> Self:
        """Return the answers with what belongs to all of them."""
        made = super().__new__(cls, items)
        made.__dict__.update(facts)
        return made


class Summary(Struct, frozen=True):
    """What was read: sources, counts, conflicts, warnings; and the rails and buses in it."""

    name: str
    sources: tuple[Source, ...]
    counts: Counts
    conflicts: tuple[Conflict, ...]
    rails: tuple[Rail, ...]
    buses: tuple[Bus, ...]
    warnings: tuple[Warning, ...]
    formats: Mapping[str, str]  # name -> title
    brief: Brief


class NetAnswer(Struct, frozen=True):
    """A net and what it means; `volts` is None where nothing is known of its voltage."""

    net: Net
    kind: NetKind
    volts: Volts | None
    pulls: tuple[Pull, ...]
    reaches: tuple[Reach, ...]
    brief: Brief


class PartAnswer(Struct, frozen=True):
    """A part and what it means.

    `roles` and `proposals` are best first; proposals stand only where no source states a value.
    """

    part: Part
    kind: PartKind
    roles: tuple[Role, ...]
    without_it: Absence
    proposals: tuple[Proposal, ...]
    brief: Brief


@dataclass(frozen=True, slots=True)
class AreaAnswer(AreaReport):
    """A damaged area, with all that is known of its parts (in its order) and nets."""

    part_answers: tuple[PartAnswer, ...]
    net_answers: tuple[NetAnswer, ...]
    brief: Brief = field(repr=False, compare=False)


@dataclass(frozen=True, slots=True)
class PadAnswer(PadReport):
    """A pad, with all that is known of its net (None without one) and its part."""

    on_net: NetAnswer | None = field(kw_only=True)
    of_part: PartAnswer = field(kw_only=True)
    brief: Brief = field(kw_only=True, repr=False, compare=False)


def net_answer(circuit: Circuit, item: Net, known: Brief) -> NetAnswer:
    """Return what is known of a net."""
    name = item.name
    pulls = circuit.pulls.get(name, ())
    reaches = circuit.reaches(name)
    return NetAnswer(item, circuit.net_kind(name), circuit.volts(name), pulls, reaches, known)


def part_answer(circuit: Circuit, item: Part, known: Brief) -> PartAnswer:
    """Return what is known of a part."""
    key = item.key
    kind = circuit.kinds[key]
    proposals = circuit.proposals(key) if lacks_value(kind) else ()
    return PartAnswer(item, kind, circuit.roles(key), circuit.absence(key), proposals, known)


def pad_answer(circuit: Circuit, report: PadReport, known: Brief) -> PadAnswer:
    """Return what is known of a pad, its net and its part."""
    net = circuit.board.net_by_name.get(report.net or "")
    return PadAnswer(
        **values_of(report),
        on_net=None if net is None else net_answer(circuit, net, known),
        of_part=part_answer(circuit, report.part, known),
        brief=known,
    )


def values_of(record: Any) -> dict[str, Any]:
    """Return a record's fields, for one that adds to them."""
    return {each.name: getattr(record, each.name) for each in fields(record)}


class Ways(Several["Way"]):
    """The ways between two nets; `reached` is what each of the two reaches."""

    start: str
    end: str
    reached: tuple[tuple[str, ...], tuple[str, ...]]


class ReadingAnswer(Struct, frozen=True):
    """What a meter should show: `now`, with parts missing or changed, and all as `fitted`.

    `without` are part keys; `changed` is part key -> Ω, 0 for a short; `at` is the place as asked
    for, `board` the board's name.
    """

    now: tuple[Expected, ...]
    fitted: tuple[Expected, ...]
    without: tuple[str, ...]
    changed: Mapping[str, float] = {}
    at: str = ""
    board: str = ""


class Powers(Several["Heat"]):
    """The power in every resistor; `board` is the board's name."""

    board: str


class Written(Struct, frozen=True):
    """A board as text of a format, and what the format has no form for."""

    text: str
    format: str
    left_out: tuple[str, ...]


class Drawing(Struct, frozen=True):
    """A picture as a file's content, and what is on it (part keys); a graph has no scale or side.

    `made_from` is the text that the same picture can be made from again, None where there is none.
    """

    content: str | bytes
    format: str
    title: str
    parts: tuple[str, ...]
    gone: tuple[str, ...]
    left_out: tuple[str, ...]
    scale: str | None = None
    side: str | None = None
    sheets: int = 1
    made_from: str | None = None


# -- a repair -----------------------------------------------------------------------------------


class OpenJob(Struct, frozen=True):
    """A job on the bench: the file, what it says, and the board it is about.

    `warnings` say what changed on the board since; `added` are the entries that the last call
    made. `wires` are those soldered, each with what it does: one that joins nets which the board
    keeps apart, and is not confirmed, is a short. `replaced` are the keys of parts that a wire
    stands in for.
    """

    path: Path
    job: Job
    state: JobState
    circuit: Circuit
    warnings: tuple[Warning, ...] = ()
    added: tuple[Entry, ...] = ()
    wires: tuple[Wired, ...] = ()
    replaced: frozenset[str] = frozenset()


class Matches(Several["LooseMatch"]):
    """Which loose part goes where; the positions asked about, and the loose parts by name."""

    sites: tuple[BareSite, ...]
    loose: Mapping[str, Loose]

    @property
    def still_bare(self) -> tuple[BareSite, ...]:
        """The positions that nothing found fits."""
        taken = {match.assigned for match in self}
        return tuple(site for site in self.sites if site.refdes not in taken)


class Needs(Several["Need"]):
    """What to order; `donors` are those of each line, on the boards that were looked at."""

    donors: tuple[tuple[Donor, ...], ...]


class Probes(Several["Probe"]):
    """The measurements that prove a repair; `state` knows which were made."""

    state: JobState


class JobPage(Struct, frozen=True):
    """A whole job as a page: a file's content, the verdict (None: not checked), the photo's map."""

    content: str | bytes
    format: str
    verdict: str | None
    photo: PhotoMap | None
