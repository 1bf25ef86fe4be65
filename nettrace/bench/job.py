"""The job: one repair as a list of entries, from the first look to the signed sheet.

Entries are only ever added; an undo is an entry too. What stands at the bench now is folded from
them by `nettrace.bench.job_state`. Storage is in `nettrace.bench.job_file`.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Union

import msgspec

__all__ = [
    "ENTRY_TYPES",
    "SCHEMA",
    "BoardReference",
    "Damage",
    "Entry",
    "Fit",
    "Job",
    "Loose",
    "Mark",
    "Quantity",
    "Reading",
    "Remark",
    "SourceReference",
    "Undo",
    "Wire",
]

#: Version of the job file; a higher one is refused and never overwritten.
SCHEMA = 1


class Damage(StrEnum):
    """What is wrong at a position, a pad, a track or between two pads."""

    MISSING = "missing"  # the part is gone
    CRACKED = "cracked"  # the part is there and broken
    SHIFTED = "shifted"  # the part is there and out of place
    DOUBTFUL = "doubtful"  # to be looked at
    LIFTED = "lifted"  # a pad came off the board
    CUT = "cut"  # a track to a pad is cut
    BRIDGED = "bridged"  # solder joins two pads
    SOUND = "sound"  # looked at, nothing wrong: takes a mark back


class Quantity(StrEnum):
    """What the meter was set to."""

    OHMS = "ohms"
    FARADS = "farads"
    DIODE = "diode"  # volts in diode mode
    VOLTS = "volts"  # power on
    AMPERES = "amperes"  # of the supply, power on
    BEEP = "beep"  # 1 it sounded, 0 it did not


class _Entry(msgspec.Struct, frozen=True, tag_field="kind", omit_defaults=True, kw_only=True):
    """What every entry has: its number in the job and when it was made (UTC, ISO 8601)."""

    number: int
    time: str
    note: str = ""


class Mark(_Entry, frozen=True, tag="mark"):
    """Damage seen: `at` is a refdes (`R12`), a pad (`R12.1`), with `to` the other pad of a bridge
    or of a cut track."""  # noqa: D205, D209

    at: str
    damage: Damage
    to: str | None = None


class Loose(_Entry, frozen=True, tag="loose"):
    """A part found in the flux: what the meter says of it and what it looks like.

    `name` is ours (`L1`); values in SI units; `accuracy` is the meter's, as a fraction.
    """

    name: str
    ohms: float | None = None
    farads: float | None = None
    henries: float | None = None
    diode_volts: float | None = None
    accuracy: float | None = None
    size: str | None = None  # inch code, e.g. 0201
    length_mm: float | None = None
    width_mm: float | None = None
    marking: str | None = None
    looks: str | None = None  # resistor, capacitor, diode...
    whole: bool = True  # terminations and body intact


class Fit(_Entry, frozen=True, tag="fit"):
    """A position refitted: with a loose part (its name) or a new one (`with_part` None)."""

    at: str
    with_part: str | None = None
    value: str | None = None


class Wire(_Entry, frozen=True, tag="wire"):
    """A wire soldered between two points (pads as `R12.1`, or vias as `12.5,-3.0`).

    `confirmed`: the user says that it is meant to join two nets that the board keeps apart.
    """

    start: str
    end: str
    confirmed: bool = False


class Reading(_Entry, frozen=True, tag="reading"):
    """A meter reading from one place to another; `value` None is overload (OL)."""

    at: str
    to: str
    quantity: Quantity
    value: float | None
    stage: str = ""  # intake, after refit... as the user names it


class Remark(_Entry, frozen=True, tag="remark"):
    """A line for the sheet; the text is the entry's note."""


class Undo(_Entry, frozen=True, tag="undo"):
    """Takes back the entry of that number."""

    entry: int


Entry = Union[Mark, Loose, Fit, Wire, Reading, Remark, Undo]  # noqa: UP007 - msgspec reads it
ENTRY_TYPES = (Mark, Loose, Fit, Wire, Reading, Remark, Undo)


class SourceReference(msgspec.Struct, frozen=True):
    """A source of the board when the job was opened; `digest` is the sha256 of its bytes."""

    path: str
    format: str
    digest: str


class BoardReference(msgspec.Struct, frozen=True, omit_defaults=True):
    """How to read the board again: the user's words, relative to the job file where possible."""

    path: str
    with_files: tuple[str, ...] = ()
    format: str | None = None
    rails: dict[str, float] = {}
    sources: tuple[SourceReference, ...] = ()


class Job(msgspec.Struct, frozen=True):
    """A whole job file."""

    title: str
    opened: str
    board: BoardReference
    entries: tuple[Entry, ...] = ()

    def standing(self) -> tuple[Entry, ...]:
        """Return the entries that are neither undone nor undos, in order."""
        undone = self.undone()
        return tuple(
            entry
            for entry in self.entries
            if entry.number not in undone and not isinstance(entry, Undo)
        )

    def undone(self) -> frozenset[int]:
        """Return the numbers of entries that were taken back."""
        return frozenset(entry.entry for entry in self.entries if isinstance(entry, Undo))

    def last_standing(self) -> Entry | None:
        """Return the newest entry that can be undone."""
        standing = self.standing()
        return standing[-1] if standing else None

    def next_number(self) -> int:
        """Return the number that the next entry gets."""
        return max((entry.number for entry in self.entries), default=0) + 1
