"""The job: one repair as a list of entries, from the first look to the signed page.

Entries are only ever added; an undo is an entry too. What stands at the bench now is folded from
them. The job file is readable, validated, locked while it is changed and never half-written.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import Union

import msgspec

from nettrace.errors import JobUnusable, Place, reason
from nettrace.version import __version__

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


class MeterMode(StrEnum):
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
    quantity: MeterMode
    value: float | None
    stage: str = ""  # intake, after refit... as the user names it


class Remark(_Entry, frozen=True, tag="remark"):
    """A line for the page; the text is the entry's note."""


class Undo(_Entry, frozen=True, tag="undo"):
    """Takes back the entry of that number."""

    entry: int


Entry = Union[Mark, Loose, Fit, Wire, Reading, Remark, Undo]  # noqa: UP007 - msgspec reads it


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
        left = (entry for entry in self.entries if not isinstance(entry, Undo))
        return tuple(entry for entry in left if entry.number not in undone)

    def undone(self) -> frozenset[int]:
        """Return the numbers of entries that were taken back."""
        return frozenset(entry.entry for entry in self.entries if isinstance(entry, Undo))

    def next_number(self) -> int:
        """Return the number that the next entry gets."""
        return max((entry.number for entry in self.entries), default=0) + 1


# -- where it stands ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class JobState:
    """The bench as the standing entries say."""

    damaged: Mapping[str, Mark] = field(
        default_factory=dict
    )  # refdes -> last mark on it (SOUND takes it away), in order
    refitted: Mapping[str, Fit] = field(
        default_factory=dict
    )  # refdes -> how it was refitted, after its last mark
    lifted: tuple[str, ...] = ()  # pads marked lifted
    cuts: tuple[tuple[str, str], ...] = ()  # (pad, pad) whose track is cut
    bridges: tuple[tuple[str, str], ...] = ()  # (pad, pad) joined by solder
    wires: tuple[Wire, ...] = ()  # soldered, the newest entry of each pair of ends
    loose: Mapping[str, Loose] = field(default_factory=dict)  # name -> loose part
    used: frozenset[str] = frozenset()  # those that a refit took
    readings: tuple[Reading, ...] = ()  # all, in order
    remarks: tuple[str, ...] = ()  # the user's lines

    @property
    def open_positions(self) -> tuple[str, ...]:
        """Positions that are marked and not refitted yet."""
        return tuple(ref for ref in self.damaged if ref not in self.refitted)

    @property
    def missing(self) -> tuple[str, ...]:
        """Positions without a working part now: gone or broken, not refitted."""
        gone = {Damage.MISSING, Damage.CRACKED}
        return tuple(ref for ref in self.open_positions if self.damaged[ref].damage in gone)

    @property
    def last_refit(self) -> int:
        """Number of the last entry that changed the board; later readings judge it."""
        return max((entry.number for entry in (*self.refitted.values(), *self.wires)), default=0)


def fold(job: Job) -> JobState:
    """Return where the job stands."""
    damaged: dict[str, Mark] = {}
    refitted: dict[str, Fit] = {}
    lifted: dict[str, None] = {}
    pairs: dict[Damage, dict[tuple[str, str], None]] = {Damage.CUT: {}, Damage.BRIDGED: {}}
    wires: dict[frozenset[str], Wire] = {}
    loose: dict[str, Loose] = {}
    standing = job.standing()
    for entry in standing:
        match entry:
            case Mark(damage=Damage.CUT | Damage.BRIDGED as damage):
                first, second = sorted((entry.at, entry.to or ""))
                pairs[damage][first, second] = None
            case Mark(damage=Damage.LIFTED):
                lifted[entry.at] = None
            case Mark(damage=Damage.SOUND):
                damaged.pop(entry.at, None)
                lifted.pop(entry.at, None)
                for found in pairs.values():
                    for ends in [ends for ends in found if entry.at in ends]:
                        if entry.to is None or entry.to in ends:
                            del found[ends]
            case Mark():
                damaged[entry.at] = entry
                refitted.pop(entry.at, None)  # marked again after a refit: it came off again
            case Fit():
                refitted[entry.at] = entry
            case Loose():
                loose[entry.name] = entry
            case Wire():
                wires[frozenset({entry.start, entry.end})] = entry
            case _:
                pass  # readings and remarks are listed below
    fits = [entry for entry in standing if isinstance(entry, Fit)]
    return JobState(
        damaged=damaged,
        refitted=refitted,
        lifted=tuple(lifted),
        cuts=tuple(pairs[Damage.CUT]),
        bridges=tuple(pairs[Damage.BRIDGED]),
        wires=tuple(wires.values()),
        loose=loose,
        used=frozenset(fit.with_part for fit in fits if fit.with_part is not None),
        readings=tuple(entry for entry in standing if isinstance(entry, Reading)),
        remarks=tuple(entry.note for entry in standing if isinstance(entry, Remark)),
    )


# -- on disk ------------------------------------------------------------------------------------

#: How long a second terminal waits for the lock before it gives up, seconds.
LOCK_SECONDS = 3.0
_RETRY_SECONDS = 0.02


class _Head(msgspec.Struct):
    schema: int
    version: str
    what: str


class _HeadOnly(msgspec.Struct):
    nettrace: _Head


class _Whole(_HeadOnly):
    job: Job


def now() -> str:
    """Return the time of an entry: UTC, to the second, ISO 8601."""
    return datetime.now(UTC).replace(microsecond=0).isoformat()


def previous_path(path: Path) -> Path:
    """Return where the state before the last change is kept."""
    return path.with_name(path.name + ".previous")


def load_job(path: Path) -> Job:
    """Read and check a job file.

    Raises:
        JobUnusable: it is not there, cannot be read, is damaged, or is of a newer version.
    """
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise JobUnusable(
            f"no job file {path}", hint="Open one: nettrace job open JOB BOARD."
        ) from None
    except OSError as error:
        raise JobUnusable(f"cannot open {path} ({reason(error)})") from None
    try:
        # the layout first: a newer one need not have what this one asks for
        head = msgspec.json.decode(raw, type=_HeadOnly).nettrace
        if head.what != "job":
            raise JobUnusable(f"{path} holds a {head.what}", expected="a job")
        if head.schema > SCHEMA:
            raise JobUnusable(
                f"{path} was written by nettrace {head.version} in a newer layout ({head.schema})",
                hint="Update nettrace; the file was left as it is.",
            )
        job = msgspec.json.decode(raw, type=_Whole).job
        numbers = [entry.number for entry in job.entries]
        if numbers != sorted(set(numbers)):
            raise ValueError("entry numbers repeat or go backwards")
    except ValueError as error:  # msgspec's own are such
        kept = previous_path(path)
        hint = f" The state before its last change is {kept}." if kept.is_file() else ""
        raise JobUnusable(
            f"a damaged job file: {str(error).removesuffix('.')}",
            hint=f"The file was left as it is.{hint}",
            place=Place(str(path)),
        ) from None
    return job


def encode(job: Job) -> bytes:
    """Return the file's bytes: one line an entry, so that people and diffs can read it."""

    def line(item: object) -> str:
        return msgspec.json.encode(item).decode()

    head = {"schema": SCHEMA, "version": __version__, "what": "job"}
    facts = ",\n".join(f'  "{k}": {line(getattr(job, k))}' for k in ("title", "opened", "board"))
    entries = ",".join(f"\n  {line(entry)}" for entry in job.entries)
    inner = f'{facts},\n  "entries": [{entries}' + ("\n  ]" if entries else "]")
    return f'{{"nettrace": {line(head)},\n "job": {{\n{inner}\n }}\n}}\n'.encode()


def create_job(path: Path, job: Job) -> None:
    """Write a new job file; one that is there is never replaced.

    Raises:
        JobUnusable: it is there already, or cannot be written.
    """
    with _locked(path):
        if path.exists():
            raise JobUnusable(
                f"{path} is there already", hint="Go on with it, or choose another name."
            )
        _write(path, encode(job))


def change_job(path: Path, add: Callable[[Job], Sequence[Entry]]) -> Job:
    """Add entries to a job and return it as it then is on the disk.

    A change is: take the lock, read and check the file, add entries, write a temporary file beside
    it, flush it to the disk, keep the state before as `NAME.previous`, rename. A process that is
    killed at any instant leaves the old file or the new one, and loses at most the entry being
    typed.

    Args:
        path: the job file.
        add: job as it stands -> entries to add; they get their numbers from `next_number` on.

    Raises:
        JobUnusable: locked by another process, damaged, newer, or it cannot be written.
    """
    with _locked(path):
        job = load_job(path)
        added = tuple(add(job))
        if not added:
            return job
        changed = msgspec.structs.replace(job, entries=(*job.entries, *added))
        _write(previous_path(path), path.read_bytes())
        _write(path, encode(changed))
        return changed


@contextmanager
def _locked(path: Path) -> Iterator[None]:
    """Hold the job's lock; the operating system lets go of it if the process dies."""
    try:
        handle = os.open(path.with_name(f".{path.name}.lock"), os.O_RDWR | os.O_CREAT, 0o666)
    except OSError as error:
        raise JobUnusable(f"cannot write beside {path} ({reason(error)})") from None
    try:
        deadline = time.monotonic() + LOCK_SECONDS
        while not _try_lock(handle):
            if time.monotonic() > deadline:
                raise JobUnusable(
                    f"{path} is being changed by another process",
                    hint="Wait for it, or close the other terminal.",
                )
            time.sleep(_RETRY_SECONDS)
        yield
    finally:
        os.close(handle)


def _try_lock(handle: int) -> bool:
    try:
        try:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except ModuleNotFoundError:  # Windows
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
    except OSError:
        return False
    return True


def _write(path: Path, data: bytes) -> None:
    try:
        write_whole(path, data)
    except OSError as error:
        what = f"cannot write {path} ({reason(error)})"
        raise JobUnusable(what, hint="Nothing was changed.") from None


def write_whole(path: Path, data: bytes) -> None:
    """Write a file whole or not at all: another beside it is flushed to the disk, then renamed."""
    temporary = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        with temporary.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
        # a rename is on the disk only when its folder is; some systems cannot open folders
        with suppress(OSError):
            handle = os.open(path.parent, os.O_RDONLY)
            try:
                os.fsync(handle)
            finally:
                os.close(handle)
    except OSError:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)
        raise
