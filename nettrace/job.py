"""A repair from damage to proof, from Python: one call for each `nettrace job` command.

A change gives back the job as it then stands on disk; the records are never edited in place.

    from nettrace import job
    repair = job.open("wren.job", "samples/wren")
    repair = job.mark(repair, "missing", ["R12", "R13"])
    print(job.check(repair).verdict)
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from nettrace.bench.job import Entry, Job, Undo, change_job, fold, now
from nettrace.errors import NothingMatches, WrongUsage
from nettrace.job_loading import OpenJob, open_job, start_job

if TYPE_CHECKING:
    from nettrace.bench.diagnosis import Check, NextProbe
    from nettrace.bench.job import Loose
    from nettrace.bench.judging import KnownGood
    from nettrace.bench.match import LooseMatch
    from nettrace.bench.needs import Need
    from nettrace.bench.probes import Probe
    from nettrace.bench.refit import RefitPlan
    from nettrace.bench.wire import Wired, WirePlan

__all__ = [
    "OpenJob",
    "check",
    "load",
    "loose",
    "mark",
    "marks",
    "match",
    "needs",
    "next_probe",
    "open",
    "open_keys",
    "probe",
    "read",
    "refit",
    "undo",
    "undoing",
    "unused_loose",
    "wire",
    "wired",
]

#: From a job as it stands to the entries that a change adds.
Adding = Callable[[Job], Sequence[Entry]]


def open(  # noqa: A001 - the command's word; the built-in is not used here
    path: Path | str,
    board: Path | str,
    *,
    title: str = "",
    with_files: Sequence[str] = (),
    format_name: str | None = None,
    rails: Mapping[str, float] | None = None,
) -> OpenJob:
    """Open a new job on a board. The command: `nettrace job open`.

    Raises:
        JobUnusable: the file is there already, or cannot be written.
        BadInput: the board cannot be read.
    """
    return start_job(
        Path(path),
        str(board),
        title=title,
        with_files=with_files,
        format_name=format_name,
        rails=rails,
    )


def load(path: Path | str) -> OpenJob:
    """Read a job and its board. `state` says what `nettrace job show` shows.

    Raises:
        JobUnusable: missing, damaged, newer, or the board is not where it was.
    """
    return open_job(Path(path))


def mark(
    opened: OpenJob,
    damage: str,
    places: Sequence[str],
    *,
    with_part: str | None = None,
    confirm: bool = False,
    note: str = "",
) -> OpenJob:
    """Mark parts or pads, or say what was fitted or wired. The command: `nettrace job mark`.

    Args:
        opened: the job.
        damage: missing, cracked, shifted, doubtful, lifted, cut, bridged, sound, fitted or wired.
        places: parts, or pads for lifted, cut, bridged and wired (there also a via, `12.5,-3.0`).
        with_part: with `fitted`, the loose part that was used.
        confirm: with `wired`, that it is meant to join two nets that the board keeps apart.
        note: a remark.

    Raises:
        WrongUsage: no such damage, or it does not go with those places.
        NothingMatches: no such part or pad.
        JobUnusable: the file is locked or damaged.
    """
    return _changed(
        opened, marks(opened, damage, places, with_part=with_part, confirm=confirm, note=note)
    )


def marks(
    opened: OpenJob,
    damage: str,
    places: Sequence[str],
    *,
    with_part: str | None = None,
    confirm: bool = False,
    note: str = "",
) -> Adding:
    """Return what `mark` adds; arguments and errors as there."""
    from nettrace.bench.entries import fit_entries, mark_entries, wire_entry

    def add(job: Job) -> Sequence[Entry]:
        if damage == "fitted":
            return fit_entries(opened.circuit, fold(job), job, places, with_part, note)
        if with_part is not None:
            raise WrongUsage("--with", expected="it with `fitted` only")
        if damage == "wired":
            return [wire_entry(opened.circuit, job, places, confirm, note)]
        if confirm:
            raise WrongUsage("--confirm", expected="it with `wired` only")
        return mark_entries(opened.circuit, job, damage, places, note)

    return add


def loose(opened: OpenJob, **facts: str | float | bool) -> OpenJob:
    """Enter a part found in the flux. The command: `nettrace job loose`.

    Facts: name, ohms, farads, henries, diode, accuracy, size, length, width, marking, looks,
    chipped, note; figures as the trade writes them (`"2.19k"`) or in SI units, lengths in mm.

    Raises:
        WrongUsage: nothing said, a figure that cannot be read, a name that is taken.
    """
    from nettrace.bench.entries import loose_entry

    texts = {"ohms", "farads", "henries", "diode", "accuracy"}
    said = {key: f"{fact:.12g}" if key in texts and isinstance(fact, float | int) else fact
            for key, fact in facts.items()}  # fmt: skip
    return _changed(opened, lambda job: [loose_entry(job, said)])


def undo(opened: OpenJob, entry: int | None = None) -> OpenJob:
    """Take the last entry back, or the one of a number. The command: `nettrace job undo`.

    Raises:
        NothingMatches: nothing to undo, or no such entry.
    """
    return _changed(opened, undoing(entry))


def undoing(entry: int | None = None) -> Adding:
    """Return what `undo` adds; errors as there."""

    def add(job: Job) -> Sequence[Entry]:
        standing = {item.number: item for item in job.standing()}
        if not standing:
            raise NothingMatches("nothing to undo")
        number = max(standing) if entry is None else entry
        if number not in standing:
            raise NothingMatches(f"no entry {number} that stands")
        return [Undo(number=job.next_number(), time=now(), entry=number)]

    return add


def _changed(opened: OpenJob, add: Adding) -> OpenJob:
    job = change_job(opened.path, add)
    return replace(opened, job=job, state=fold(job))


def open_keys(opened: OpenJob) -> tuple[str, ...]:
    """Return the part keys of positions still to be fitted; a wire may stand in for a link.

    Raises:
        NothingMatches: there are none.
    """
    from nettrace.bench.wire import replaced_parts

    replaced = replaced_parts(opened.circuit, opened.state)
    keys = tuple(k for k in opened.keys(opened.state.open_positions) if k not in replaced)
    if not keys:
        raise NothingMatches(
            "no open position", hint="Mark what is gone: nettrace job mark JOB missing R12 R13."
        )
    return keys


def unused_loose(opened: OpenJob) -> Mapping[str, Loose]:
    """Return the loose parts that no refit took, by name.

    Raises:
        NothingMatches: there are none.
    """
    state = opened.state
    found = {name: item for name, item in state.loose.items() if name not in state.used}
    if not found:
        raise NothingMatches(
            "no loose part to match", hint="Enter one: nettrace job loose JOB --ohms 2.19k."
        )
    return found


def match(opened: OpenJob) -> tuple[LooseMatch, ...]:
    """Say which loose part goes where. The command: `nettrace job match`.

    Raises:
        NothingMatches: no open position, or no loose part.
    """
    from nettrace.bench.match import match_loose, sites_of

    sites = sites_of(opened.circuit, open_keys(opened))
    return match_loose(sites, list(unused_loose(opened).values()))


def needs(opened: OpenJob) -> tuple[Need, ...]:
    """Say what to order for the open positions. The command: `nettrace job needs`.

    Raises:
        NothingMatches: no open position.
    """
    from nettrace.bench.needs import plan_needs

    return plan_needs(opened.circuit, open_keys(opened))


def refit(opened: OpenJob) -> RefitPlan:
    """Plan the order of work. The command: `nettrace job refit`.

    Raises:
        NothingMatches: no open position.
    """
    from nettrace.bench.refit import plan_refit

    wired = _wired_ends(opened)
    lifted = [pad for pad in opened.state.lifted if pad not in wired]
    return plan_refit(opened.circuit, open_keys(opened), lifted)


def wired(opened: OpenJob) -> tuple[Wired, ...]:
    """Return the wires soldered, each with what it does: mends a break, or joins two nets.

    One that joins nets which the board keeps apart, and is not confirmed, is a short.
    """
    from nettrace.bench.wire import wires_of

    return wires_of(opened.circuit, opened.state)


def _wired_ends(opened: OpenJob) -> frozenset[str]:
    """Return the torn pads that a wire mends."""
    from nettrace.bench.wire import WiredAs

    return frozenset(pad for w in wired(opened) if w.as_ is WiredAs.MENDS for pad in w.of)


def wire(opened: OpenJob, places: Sequence[str] = ()) -> tuple[WirePlan, ...]:
    """Say where to solder wires for torn copper. The command: `nettrace job wire`.

    Args:
        opened: the job; its lifted pads and cut tracks that no wire mends yet are meant.
        places: only those nets; pads named here count as lifted too.

    Raises:
        NothingMatches: no torn copper, or no such net or pad.
    """
    from nettrace.bench.wire import plan_wires
    from nettrace.model.find import find_nets, find_pins

    board = opened.circuit.board
    done = _wired_ends(opened)
    lifted = [pad for pad in opened.state.lifted if pad not in done]
    cuts = [cut for cut in opened.state.cuts if done.isdisjoint(cut)]
    wanted: set[str] = set()
    for word in places:
        if word in board.net_by_name or "." not in word:
            wanted.update(net.name for net in find_nets(board, word))
        else:
            pins = find_pins(board, word)
            lifted += [f"{pin.part}.{pin.number}" for pin in pins]
            wanted.update(pin.net for pin in pins if pin.net is not None)
    torn: dict[str, tuple[list[str], list[tuple[str, str]]]] = {}
    for name in dict.fromkeys(lifted):
        if (net := find_pins(board, name)[0].net) is not None:
            torn.setdefault(net, ([], []))[0].append(name)
    for pair in cuts:
        if (net := find_pins(board, pair[0])[0].net) is not None:
            torn.setdefault(net, ([], []))[1].append(pair)
    chosen = {net: both for net, both in torn.items() if not wanted or net in wanted}
    if not chosen and done and not places:
        raise NothingMatches(
            "no torn copper without its wire", hint="Name a pad to see other points for it."
        )
    if not chosen:
        raise NothingMatches(
            "no torn copper", hint="Mark it: nettrace job mark JOB lifted R12.1, or name a pad."
        )
    return tuple(plan_wires(opened.circuit, net, *both) for net, both in sorted(chosen.items()))


def probe(opened: OpenJob) -> tuple[Probe, ...]:
    """List the fewest measurements that would prove the repair. The command: `job probe`."""
    from nettrace.bench.probes import plan_probes

    return plan_probes(opened.circuit, opened.state)


def next_probe(opened: OpenJob) -> NextProbe | None:
    """Return the measurement that tells most now, None when all are made: `job probe --next`."""
    from nettrace.bench.diagnosis import next_probe as best

    return best(opened.circuit, opened.state)


def read(
    opened: OpenJob,
    at: str,
    to: str,
    shown: str,
    *,
    quantity: str | None = None,
    stage: str = "",
    note: str = "",
) -> OpenJob:
    """Enter a reading. The command: `nettrace job read`.

    Args:
        opened: the job.
        at: pad or net, or `supply`.
        to: the other.
        shown: a figure as typed (`2.19k`, `5.02V`), `OL`, `beep` or `none`.
        quantity: ohms, farads, diode, volts or amperes, where the figure does not tell.
        stage: such as intake, after refit.
        note: a remark.

    Raises:
        WrongUsage: a figure that cannot be read.
        NothingMatches: no such place.
    """
    from nettrace.bench.entries import reading_entries

    row = {"at": at, "to": to, "shown": shown}
    return _changed(
        opened,
        lambda job: list(reading_entries(opened.circuit, job, [row], quantity, stage, note)),
    )


def check(opened: OpenJob, known_good: KnownGood | None = None) -> Check:
    """Give the verdict, with suspects and what is still to probe. The command: `job check`."""
    from nettrace.bench.diagnosis import check_job

    return check_job(opened.circuit, opened.state, known_good)
