"""A repair from damage to proof, from Python: one call for each `nettrace job` command.

A change gives back the job as it then stands on disk; the records are never edited in place.

    from nettrace import job
    repair = job.open("wren.job", "samples/wren")
    repair = job.mark(repair, "missing", ["R12", "R13"])
    print(job.check(repair).verdict)
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from msgspec.structs import replace

from nettrace.answers import JobPage, Matches, Needs, OpenJob, Probes
from nettrace.bench.job import (
    BoardReference,
    Entry,
    Job,
    SourceReference,
    Undo,
    change_job,
    create_job,
    fold,
    load_job,
    now,
)
from nettrace.errors import (
    BadInput,
    JobUnusable,
    NettraceError,
    NothingMatches,
    Place,
    Warning,
    WrongUsage,
    reason,
)
from nettrace.loading import load as load_circuit

if TYPE_CHECKING:
    from nettrace.bench.diagnosis import Check, NextProbe
    from nettrace.bench.judging import Judged, KnownGood
    from nettrace.bench.refit import RefitPlan
    from nettrace.bench.wire import Wired, WirePlan
    from nettrace.circuit.circuit import Circuit

#: From a job as it stands to the entries that a change adds.
_Adding = Callable[[Job], Sequence[Entry]]


# -- the file -----------------------------------------------------------------------------------


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
    path, rails = Path(path), dict(rails or {})
    circuit = load_circuit(board, with_files, format_name=format_name, rails=rails)
    reference = BoardReference(
        path=_from_job(str(board), path),
        with_files=tuple(_from_job(extra, path) for extra in with_files),
        format=format_name,
        rails=rails,
        sources=_sources(circuit),
    )
    job = Job(title=title or circuit.board.name, opened=now(), board=reference)
    create_job(path, job)
    return _standing(OpenJob(path, job, fold(job), circuit))


def load(path: Path | str) -> OpenJob:
    """Read a job and its board. `state` says what `nettrace job show` shows.

    Raises:
        JobUnusable: missing, damaged, newer, or the board is not where it was.
    """
    path = Path(path)
    job = load_job(path)
    reference = job.board
    try:
        circuit = load_circuit(
            _from_here(reference.path, path),
            [_from_here(extra, path) for extra in reference.with_files],
            format_name=reference.format,
            rails=reference.rails,
        )
    except NettraceError as error:
        raise JobUnusable(
            f"the board of this job cannot be read: {error.found}",
            hint=f"It was {reference.path}; put it back, or open a new job.",
            place=error.place,
        ) from None
    return _standing(OpenJob(path, job, fold(job), circuit, _changes(reference, circuit)))


def _standing(opened: OpenJob) -> OpenJob:
    """Return a job with what its wires do."""
    if not opened.state.wires:
        return replace(opened, wires=(), replaced=frozenset())
    from nettrace.bench.wire import replaced_parts, wires_of

    facts = opened.circuit, opened.state
    return replace(opened, wires=wires_of(*facts), replaced=replaced_parts(*facts))


def _changed(opened: OpenJob, add: _Adding) -> OpenJob:
    """Return the job with what was added; entries of a second terminal are kept."""
    added: list[Entry] = []

    def remember(job: Job) -> Sequence[Entry]:
        added.extend(add(job))
        return added

    job = change_job(opened.path, remember)
    return _standing(replace(opened, job=job, state=fold(job), added=tuple(added)))


def _sources(circuit: Circuit) -> tuple[SourceReference, ...]:
    return tuple(
        SourceReference(Path(source.path).name, source.format, source.digest)
        for source in circuit.board.sources
    )


def _changes(reference: BoardReference, circuit: Circuit) -> tuple[Warning, ...]:
    before = {source.path: source.digest for source in reference.sources}
    after = {source.path: source.digest for source in _sources(circuit)}
    found = []
    for name in sorted(before.keys() | after.keys()):
        if before.get(name) != after.get(name):
            what = "was added" if name not in before else "changed" if name in after else "is gone"
            found.append(Warning("board-changed", f"{name} {what} since the job was opened", None))
    return tuple(found)


def _from_job(board: str, job: Path) -> str:
    """Return the board's path as seen from the job file's folder."""
    try:
        return Path(os.path.relpath(Path(board).resolve(), job.resolve().parent)).as_posix()
    except ValueError:  # another drive
        return str(Path(board).resolve())


def _from_here(name: str, job: Path) -> str:
    """Return the board's path as the user would type it from here."""
    beside = job.resolve().parent / name
    try:
        return os.path.relpath(beside)
    except ValueError:
        return str(beside)


# -- what is entered ----------------------------------------------------------------------------


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
    from nettrace.bench.entries import fit_entries, mark_entries, wire_entries

    circuit = opened.circuit

    def add(job: Job) -> Sequence[Entry]:
        if damage == "fitted":
            return fit_entries(circuit, job, places, with_part, note)
        if with_part is not None:
            raise WrongUsage("--with", expected="it with `fitted` only")
        if damage == "wired":
            return wire_entries(circuit, job, places, confirm, note)
        if confirm:
            raise WrongUsage("--confirm", expected="it with `wired` only")
        return mark_entries(circuit, job, damage, places, note)

    return _changed(opened, add)


def loose(opened: OpenJob, **facts: str | float | bool | None) -> OpenJob:
    """Enter a part found in the flux. The command: `nettrace job loose`.

    Facts: name, ohms, farads, henries, diode, accuracy, size, length, width, marking, looks,
    chipped, note; figures as the trade writes them (`"2.19k"`) or in SI units, lengths in mm.

    Raises:
        WrongUsage: nothing said, a figure that cannot be read, a name that is taken.
    """
    from nettrace.bench.entries import loose_entries

    texts = {"ohms", "farads", "henries", "diode", "accuracy"}
    said = {key: f"{fact:.12g}" if key in texts and isinstance(fact, float | int) else fact
            for key, fact in facts.items()}  # fmt: skip
    return _changed(opened, lambda job: loose_entries(job, said))


def undo(opened: OpenJob, entry: int | None = None) -> OpenJob:
    """Take the last entry back, or the one of a number. The command: `nettrace job undo`.

    Raises:
        NothingMatches: nothing to undo, or no such entry.
    """

    def add(job: Job) -> Sequence[Entry]:
        standing = {item.number: item for item in job.standing()}
        if not standing:
            raise NothingMatches("nothing to undo")
        number = max(standing) if entry is None else entry
        if number not in standing:
            raise NothingMatches(f"no entry {number} that stands")
        return [Undo(number=job.next_number(), time=now(), entry=number)]

    return _changed(opened, add)


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
    return _read(opened, [{"at": at, "to": to, "shown": shown}], quantity, stage, note)


def read_table(
    opened: OpenJob,
    path: Path | str,
    *,
    quantity: str | None = None,
    stage: str = "",
    note: str = "",
) -> OpenJob:
    """Enter the readings of a CSV file with a heading row: at, to, shown; quantity, stage, note.

    Raises:
        BadInput: the file cannot be read, or a row lacks one of the three.
        WrongUsage, NothingMatches: as for `read`.
    """
    return _read(opened, _rows(str(path)), quantity, stage, note)


def _read(
    opened: OpenJob, rows: list[dict[str, str]], quantity: str | None, stage: str, note: str
) -> OpenJob:
    from nettrace.bench.entries import reading_entries

    def add(job: Job) -> Sequence[Entry]:
        return reading_entries(opened.circuit, job, rows, quantity, stage, note)

    return _changed(opened, add)


def _rows(path: str) -> list[dict[str, str]]:
    import csv
    import io

    text = _text(path)
    delimiter = ";" if text.partition("\n")[0].count(";") > 1 else ","
    reader = csv.DictReader(io.StringIO(text), delimiter=delimiter)
    rows = []
    for row in reader:
        cells = ((key, cell) for key, cell in row.items() if key)
        found = {str(key).strip().casefold(): (cell or "").strip() for key, cell in cells}
        lacking = [key for key in ("at", "to", "shown") if not found.get(key)]
        if lacking:
            raise BadInput(
                f"no {' and no '.join(lacking)} in this row",
                expected="at, to and shown",
                hint="The heading row names the columns: at,to,shown,quantity,stage,note.",
                place=Place(path, reader.line_num, 1),
            )
        rows.append(found)
    if not rows:
        raise BadInput("no readings", expected="a heading row and readings", place=Place(path))
    return rows


def _text(path: str) -> str:
    from nettrace.readers.registry import decode_text

    try:
        raw = Path(path).read_bytes()
    except OSError as error:
        raise BadInput(f"cannot open ({reason(error)})", place=Place(path)) from None
    return decode_text(raw, path)


# -- plans --------------------------------------------------------------------------------------


def _open_keys(opened: OpenJob) -> tuple[str, ...]:
    """Return the part keys of positions still to be fitted; a wire may stand in for a link."""
    parts = opened.circuit.board.part_by_key
    open_ones = (key for key in opened.state.open_positions if key in parts)
    keys = tuple(key for key in open_ones if key not in opened.replaced)
    if not keys:
        hint = "Mark what is gone: nettrace job mark JOB missing R12 R13."
        raise NothingMatches("no open position", hint=hint)
    return keys


def match(opened: OpenJob) -> Matches:
    """Say which loose part goes where. The command: `nettrace job match`.

    Raises:
        NothingMatches: no open position, or no loose part.
    """
    from nettrace.bench.match import match_loose, sites_of

    sites = sites_of(opened.circuit, _open_keys(opened))
    state = opened.state
    unused = {name: item for name, item in state.loose.items() if name not in state.used}
    if not unused:
        hint = "Enter one: nettrace job loose JOB --ohms 2.19k."
        raise NothingMatches("no loose part to match", hint=hint)
    return Matches(match_loose(sites, list(unused.values())), sites=sites, loose=unused)


def needs(opened: OpenJob, donors: Path | str | None = None) -> Needs:
    """Say what to order for the open positions. The command: `nettrace job needs`.

    Args:
        opened: the job.
        donors: a folder of other boards, to look for donors on.

    Raises:
        NothingMatches: no open position, or no such folder.
    """
    from nettrace.bench.needs import find_donors, plan_needs

    found = plan_needs(opened.circuit, _open_keys(opened))
    others = _boards_in(Path(donors), opened) if donors is not None else {}
    damaged = tuple(opened.state.damaged)
    given = tuple(tuple(find_donors(opened.circuit, need, others, damaged)) for need in found)
    return Needs(found, donors=given)


def _boards_in(folder: Path, opened: OpenJob) -> Mapping[str, Circuit]:
    """Return every board that can be read in a folder: files and folders of sources."""
    if not folder.is_dir():
        raise NothingMatches(f"no folder {folder}", hint="--donors takes a folder of boards.")
    mine = {source.digest for source in opened.circuit.board.sources}
    found: dict[str, Circuit] = {}
    for path in sorted(folder.iterdir()):
        if path.name.startswith("."):
            continue
        try:
            circuit = load_circuit(path)
        except NettraceError:
            continue  # not a board: a folder holds other things too
        if mine.isdisjoint(source.digest for source in circuit.board.sources):
            found[path.name] = circuit
    return found


def refit(opened: OpenJob) -> RefitPlan:
    """Plan the order of work. The command: `nettrace job refit`.

    Raises:
        NothingMatches: no open position.
    """
    from nettrace.bench.refit import plan_refit

    mended = _mended(opened)
    lifted = [pad for pad in opened.state.lifted if pad not in mended]
    return plan_refit(opened.circuit, _open_keys(opened), lifted)


def _mended(opened: OpenJob) -> frozenset[str]:
    """Return the torn pads that a wire mends."""
    if not opened.wires:
        return frozenset()
    from nettrace.bench.wire import WiredAs

    return frozenset(pad for w in opened.wires if w.as_ is WiredAs.MENDS for pad in w.of)


def wired(opened: OpenJob) -> tuple[Wired, ...]:
    """Return the wires soldered, each with what it does: mends a break, or joins two nets."""
    return opened.wires


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
    done = _mended(opened)
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
        hint = "Name a pad to see other points for it."
        raise NothingMatches("no torn copper without its wire", hint=hint)
    if not chosen:
        hint = "Mark it: nettrace job mark JOB lifted R12.1, or name a pad."
        raise NothingMatches("no torn copper", hint=hint)
    return tuple(plan_wires(opened.circuit, net, *both) for net, both in sorted(chosen.items()))


# -- proof --------------------------------------------------------------------------------------


def probe(opened: OpenJob) -> Probes:
    """List the fewest measurements that would prove the repair. The command: `job probe`."""
    from nettrace.bench.probes import plan_probes

    return Probes(plan_probes(opened.circuit, opened.state), state=opened.state)


def next_probe(opened: OpenJob) -> NextProbe | None:
    """Return the measurement that tells most now, None when all are made: `job probe --next`."""
    from nettrace.bench.diagnosis import next_probe as best

    return best(opened.circuit, opened.state)


def judge(opened: OpenJob) -> Judged | None:
    """Return what the last reading tells, None where there is none: said after `job read`."""
    from nettrace.bench.judging import judge_reading

    if not opened.state.readings:
        return None
    return judge_reading(opened.circuit, opened.state, opened.state.readings[-1])


def check(opened: OpenJob, known_good: KnownGood | Path | str | None = None) -> Check:
    """Give the verdict, with suspects and what is still to probe. The command: `job check`.

    Args:
        opened: the job.
        known_good: readings from good boards, or a CSV file of them.
    """
    from nettrace.bench.diagnosis import check_job

    return check_job(opened.circuit, opened.state, _known_good(known_good))


def _known_good(known_good: KnownGood | Path | str | None) -> KnownGood | None:
    if not isinstance(known_good, (str, Path)):
        return known_good
    from nettrace.bench.judging import read_known_good

    return read_known_good(_text(str(known_good)), str(known_good))


def sheet(
    opened: OpenJob,
    kind: str = "html",
    *,
    photo: Path | str | None = None,
    fixes: Sequence[str] = (),
    known_good: KnownGood | Path | str | None = None,
    paper: str = "a4",
) -> JobPage:
    """Return the whole job as one page. The command: `nettrace job sheet`.

    Args:
        opened: the job.
        kind: html, markdown or pdf.
        photo: a photo of the damage, JPEG or PNG.
        fixes: where known pads are in it, `PAD=X,Y`, pixels from the upper left, seen upright.
        known_good: readings from good boards, or a CSV file of them.
        paper: a4 or letter.

    Raises:
        BadInput: the photo cannot be read, or nothing prints a PDF.
        WrongUsage: too few known pads, or they lie on one line.
    """
    from nettrace.bench.report import report_job
    from nettrace.views import job_page

    plate = None
    if photo is not None:
        from nettrace.bench.photo import fit_photo, parse_known_pads
        from nettrace.views.photo import PhotoPlate, read_photo

        known = parse_known_pads(opened.circuit.board, fixes)
        plate = PhotoPlate(read_photo(Path(photo)), fit_photo(known))
    facts = opened.circuit, opened.job, opened.state
    good = _known_good(known_good)
    made = report_job(*facts, warnings=opened.warnings, known_good=good)
    content: str | bytes
    if kind == "markdown":
        content = job_page.markdown_page(made)
    else:
        content = job_page.html_page(made, plate, paper)
    if kind == "pdf":
        from nettrace.views.programs import print_page

        content = print_page(str(content))
    verdict = str(made.check.verdict) if made.check is not None else None
    return JobPage(content, kind, verdict, None if plate is None else plate.map)
