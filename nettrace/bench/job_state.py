"""Where a job stands: its entries folded into what is damaged, loose, refitted and measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from nettrace.bench.job import Damage, Fit, Job, Loose, Mark, Reading, Remark, Wire

__all__ = ["JobState", "fold"]

_OF_PARTS = frozenset({Damage.MISSING, Damage.CRACKED, Damage.SHIFTED, Damage.DOUBTFUL})


@dataclass(frozen=True, slots=True)
class JobState:
    """The bench as the standing entries say.

    Attributes:
        damaged: refdes -> the last mark on it (SOUND takes it away), in order of marking.
        refitted: refdes -> how it was refitted, after its last mark.
        lifted: pads marked lifted.
        cuts: (pad, pad) whose track is cut.
        bridges: (pad, pad) joined by solder.
        wires: soldered, the newest entry of each pair of ends.
        loose: name -> loose part; `used` are those that a refit took.
        readings: all readings, in order.
        remarks: the user's lines.
    """

    damaged: Mapping[str, Mark] = field(default_factory=dict)
    refitted: Mapping[str, Fit] = field(default_factory=dict)
    lifted: tuple[str, ...] = ()
    cuts: tuple[tuple[str, str], ...] = ()
    bridges: tuple[tuple[str, str], ...] = ()
    wires: tuple[Wire, ...] = ()
    loose: Mapping[str, Loose] = field(default_factory=dict)
    used: frozenset[str] = frozenset()
    readings: tuple[Reading, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def open_positions(self) -> tuple[str, ...]:
        """Positions that are marked and not refitted yet."""
        return tuple(ref for ref in self.damaged if ref not in self.refitted)

    @property
    def missing(self) -> tuple[str, ...]:
        """Positions without a working part now: gone or broken, not refitted."""
        gone = {Damage.MISSING, Damage.CRACKED}
        return tuple(
            ref
            for ref, mark in self.damaged.items()
            if mark.damage in gone and ref not in self.refitted
        )

    @property
    def last_refit(self) -> int:
        """Number of the last entry that changed the board; later readings judge it."""
        return max((entry.number for entry in (*self.refitted.values(), *self.wires)), default=0)


def fold(job: Job) -> JobState:
    """Return where the job stands."""
    damaged: dict[str, Mark] = {}
    refitted: dict[str, Fit] = {}
    pads: dict[str, None] = {}
    pairs: dict[Damage, dict[tuple[str, str], None]] = {Damage.CUT: {}, Damage.BRIDGED: {}}
    wires: dict[frozenset[str], Wire] = {}
    loose: dict[str, Loose] = {}
    used: set[str] = set()
    readings: list[Reading] = []
    remarks: list[str] = []
    for entry in job.standing():
        if isinstance(entry, Mark):
            _mark(entry, damaged, refitted, pads, pairs)
        elif isinstance(entry, Fit):
            refitted[entry.at] = entry
            if entry.with_part is not None:
                used.add(entry.with_part)
        elif isinstance(entry, Loose):
            loose[entry.name] = entry
        elif isinstance(entry, Wire):
            wires[frozenset({entry.start, entry.end})] = entry
        elif isinstance(entry, Reading):
            readings.append(entry)
        elif isinstance(entry, Remark):
            remarks.append(entry.note)
    return JobState(
        damaged=damaged,
        refitted=refitted,
        lifted=tuple(pads),
        cuts=tuple(pairs[Damage.CUT]),
        bridges=tuple(pairs[Damage.BRIDGED]),
        wires=tuple(wires.values()),
        loose=loose,
        used=frozenset(used),
        readings=tuple(readings),
        remarks=tuple(remarks),
    )


def _mark(
    entry: Mark,
    damaged: dict[str, Mark],
    refitted: dict[str, Fit],
    pads: dict[str, None],
    pairs: dict[Damage, dict[tuple[str, str], None]],
) -> None:
    if entry.damage in pairs:
        ends = sorted((entry.at, entry.to or ""))
        pairs[entry.damage][ends[0], ends[1]] = None
    elif entry.damage is Damage.LIFTED:
        pads[entry.at] = None
    elif entry.damage in _OF_PARTS:
        damaged[entry.at] = entry
        refitted.pop(entry.at, None)  # marked again after a refit: it came off again
    elif entry.damage is Damage.SOUND:
        damaged.pop(entry.at, None)
        pads.pop(entry.at, None)
        for found in pairs.values():
            for ends_of in [pair for pair in found if entry.at in pair]:
                if entry.to is None or entry.to in ends_of:
                    del found[ends_of]
