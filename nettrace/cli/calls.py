"""What each command asks of the library: words in, one call, and how its answer is shown.

A function here turns the words of one command into the arguments of one call of `nettrace.api` or
`nettrace.job` and says what is wrong with them in the command line's own terms; `run` shows every
answer in one way.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator, Mapping
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import nettrace
from nettrace.errors import ExitCode, NettraceError, NothingMatches, WrongUsage, reason
from nettrace.views.text import counted, keep, write_json, write_note, write_text, write_warnings

if TYPE_CHECKING:
    from nettrace.answers import OpenJob, Several
    from nettrace.bench.place import Shape
    from nettrace.circuit.circuit import Circuit
    from nettrace.cli.commands import Command
    from nettrace.model.board import Board

#: Words that are about what is read and how it is shown, and are no part of the question.
_COMMON = frozenset(
    {"board", "with_files", "format_name", "hierarchy", "rails", "path", "as_json", "no_cache",
     "debug"}
)  # fmt: skip


class Reply(NamedTuple):
    """An answer, its key in JSON, and the view that shows it (module.function of `views`).

    Where `one` is meant, JSON has it and no list. `notes` are said on stderr where no JSON is asked
    for; `warns` says whether it is told there how much of the board was read with care.
    """

    key: str
    answer: Any
    view: str = ""
    board: Board | None = None
    code: int = ExitCode.DONE
    notes: tuple[str, ...] = ()
    warns: bool = False
    one: bool = False
    shown: tuple[Any, ...] | None = None


class Said(dict[str, Any]):
    """The words of a command line as they were typed, by the names of the table."""

    def __getattr__(self, name: str) -> Any:
        return self[name]

    def load(self) -> Circuit:
        """Read BOARD and what was said with it; return the circuit."""
        from nettrace.views.text import progress

        with progress(f"Reading {self.board}"):
            circuit = nettrace.load(
                self.board,
                self.with_files,
                format_name=self.format_name,
                rails=self.rail_volts(),
                hierarchy=self.hierarchy,
            )
        # the board stays to the end: the collector need not walk it again and again
        gc.freeze()
        keep("loaded", ((self.board, *self.with_files), circuit))
        return circuit

    def load_board(self) -> Board:
        """Read BOARD without asking what it means."""
        return nettrace.load_board(
            self.board, self.with_files, format_name=self.format_name, hierarchy=self.hierarchy
        )

    def load_job(self) -> OpenJob:
        """Read JOB and its board; what changed on the board is said on stderr."""
        opened = nettrace.job.load(self.path)
        for warning in opened.warnings:
            write_note(str(warning))
        return opened

    def rail_volts(self) -> Mapping[str, float]:
        """Return net name -> volts of the `NAME=V` words."""
        return dict(_assigned(self.rails, "--rail", "NAME=V", "V", "+1V8=1.8"))

    @property
    def place(self) -> dict[str, str]:
        """The options that name a place, and their words."""
        names = ("around", "at", "box", "outline")
        return {name: self[name] for name in names if self[name] is not None}

    def write(self, content: str | bytes) -> int:
        """Write the file that was asked for; return its bytes."""
        return write_file(Path(self.output), content, force=self.force)

    def shape(self, board: Board) -> Shape:
        """Return the one place that was said."""
        return nettrace.api.shape_of(board, self.place, self.radius, "--")


def _assigned(
    words: tuple[str, ...], option: str, form: str, unit: str, example: str
) -> Iterator[tuple[str, float]]:
    from nettrace.values.quantity import parse_quantity

    for word in words:
        name, equals, figure = word.rpartition("=")
        if not equals or not name.strip():
            raise WrongUsage(f"{option} {word!r}", expected=form, hint=f"Write it like {example}.")
        yield name.strip(), parse_quantity(figure, unit)


def run(command: Command, words: dict[str, Any]) -> int:
    """Ask what a command asks, show the answer, and return the exit code."""
    said = Said(words)
    one = "library" in command.row
    reply: Reply | None = _one_call(command.row, said) if one else globals()[command.call](said)
    if reply is None:
        return ExitCode.DONE
    if said.get("as_json"):
        from nettrace.views.encode import encode

        answer = reply.answer[0] if reply.one else reply.answer
        write_json(reply.board, reply.key, encode(answer, reply.board))
        return reply.code
    if reply.view:
        from nettrace.views.terminal import show

        module, _, name = reply.view.partition(".")
        view = getattr(import_module(f"nettrace.views.{module}"), name)
        show(view(*(reply.shown or (reply.answer,))))
    for note in reply.notes:
        write_note(note)
    if reply.warns and reply.board is not None:
        write_warnings(reply.board)
    return reply.code


def _one_call(row: Mapping[str, Any], said: Said) -> Reply:
    """Ask the one call that the table names, with the command's own words as they are."""
    own = {name: word for name, word in said.items() if name not in _COMMON}
    view = row.get("view", "")
    if "board" in said:
        circuit = said.load()
        answer = getattr(nettrace, row["library"])(circuit, **own)
        code = ExitCode.DONE if answer or not row.get("may_miss") else ExitCode.NOTHING
        return Reply(row["key"], answer, view, circuit.board, code, warns=row.get("warns", True))
    opened = said.load_job()
    answer = getattr(nettrace.job, row["library"])(opened, **own)
    return _about(opened, row["key"], answer, view) if view else _changed(answer)


# -- the board ----------------------------------------------------------------------------------


def area(said: Said) -> Reply:
    circuit = said.load()
    answer = nettrace.area(circuit, said.shape(circuit.board), side=said.side)
    return Reply("area", answer, "board.area", circuit.board, warns=True)


def net(said: Said) -> Reply:
    circuit = said.load()
    return _one_or_all(circuit, "net", nettrace.nets(circuit, said.name), said.name)


def part(said: Said) -> Reply:
    circuit = said.load()
    one = said.refdes in circuit.board.part_by_key
    return _one_or_all(circuit, "part", nettrace.parts(circuit, said.refdes), said.refdes, one=one)


def pad(said: Said) -> Reply:
    from nettrace.bench.place import parse_point

    if (said.pad is None) == (said.at is None):
        raise WrongUsage(
            "both a pad and --at" if said.pad else "no pad",
            expected="REFDES.PIN or --at X,Y",
            hint="For instance R41.2, or --at 12.5,-3.",
        )
    if said.pad is not None and said.side is not None:
        raise WrongUsage("--side with a pad's name", hint="It goes with --at.")
    point = parse_point(said.at) if said.at is not None else None
    circuit = said.load()
    found = nettrace.pads(circuit, said.pad, at=point, side=said.side)
    return _one_or_all(circuit, "pad", found, said.pad or "")


def _one_or_all(
    circuit: Circuit, kind: str, found: Several[Any], name: str, *, one: bool = False
) -> Reply:
    """Return what a name means: one answer under its key, or a list of them under the plural."""
    from nettrace.model.names import has_wildcard

    one = one or (len(found) == 1 and not has_wildcard(name))
    key = kind if one else f"{kind}s"
    return Reply(key, found, f"board.{kind}s", circuit.board, one=one, warns=True)


# -- figures ------------------------------------------------------------------------------------


def reading(said: Said) -> Reply:
    if (said.pad is None) != said.power:
        raise WrongUsage(
            "a pad and --power" if said.power else "no pad",
            expected="PAD or --power",
            hint="For instance R12.2, a net's name, or --power alone.",
        )
    if said.power and said.to is not None:
        raise WrongUsage("--to with --power", hint="It goes with a pad.")
    circuit = said.load()
    changed = dict(_assigned(said.changes, "--change", "REFDES=OHMS", "Ω", "R5=4k7"))
    lying: dict[str, Any] = {
        "without": [name.strip() for words in said.without for name in words.split(",")],
        "rails": said.rail_volts(),
        "changed": changed | dict.fromkeys(said.shorts, 0.0),
    }
    if said.pad is None:
        return Reply("power", nettrace.power(circuit, **lying), "figures.power", circuit.board)
    answer = nettrace.reading(circuit, said.pad, to=said.to, **lying)
    return Reply("reading", answer, "figures.reading", circuit.board)


def value(said: Said) -> Reply:
    from nettrace.values.series import SERIES

    if said.series is not None and said.series.upper() not in SERIES:
        raise WrongUsage(f"no series {said.series!r}", hint=f"There are {', '.join(SERIES)}.")
    wanted = said.series.upper() if said.series else None
    answer = nettrace.value(" ".join(said.text), series=wanted, tolerance=_fraction(said.tolerance))
    return Reply("meanings", answer, "figures.value")


def _fraction(text: str | None) -> float | None:
    if text is None:
        return None
    try:
        percent = float(text.strip().removesuffix("%"))
    except ValueError:
        percent = -1.0
    if not 0 < percent < 100:
        raise WrongUsage(f"--tolerance {text!r}", expected="per cent", hint="Write it like 1%.")
    return percent / 100


def formula(said: Said) -> Reply:
    if said.name is None:
        return Reply("formulas", nettrace.formulas(), "figures.formulas")
    given: dict[str, str | float] = {}
    for word in said.inputs:
        key, equals, figure = word.partition("=")
        if not equals:
            raise WrongUsage(f"{word!r}", expected="INPUT=VALUE", hint="For instance volts=1.8.")
        given[key.strip()] = figure.strip()
    return Reply("formula", nettrace.formula(said.name, **given), "figures.formula")


# -- files --------------------------------------------------------------------------------------


def compare(said: Said) -> Reply:
    board = said.load_board()
    against = nettrace.load_board(
        said.other, format_name=said.other_format, hierarchy=said.hierarchy
    )
    found = nettrace.compare(board, against)
    code = ExitCode.DONE if found.same else ExitCode.DIFFERENCES
    return Reply("comparison", found, "figures.comparison", board, code)


def convert(said: Said) -> Reply | None:
    from nettrace.writers.registry import format_for_path

    name = said.target or format_for_path(said.output)
    board = said.load_board()
    made = nettrace.api.write(board, name)
    if made.left_out:
        write_note(f"Left out, {name} has no form for it: {', '.join(made.left_out)}.")
    if said.output == "-":
        write_text(made.text)
        return None
    size = said.write(made.text)
    answer = {"path": said.output, "format": name, "bytes": size, "left_out": list(made.left_out)}
    counts = board.counts()
    told = f"{counts.parts} parts, {counts.nets} nets, {counts.pins} pins written"
    return Reply("written", answer, board=board, notes=(f"{said.output}: {name}, {told}.",))


def draw(said: Said) -> Reply | None:
    from nettrace.views.encode import by_shape
    from nettrace.views.text import progress

    names = ("pad", "part", "net", "bus")
    about = {name: said[name] for name in names if said[name] is not None}
    _check_one([*about, *said.place], said)
    kind = said.picture or "dot"
    if said.picture is None and said.output != "-":
        endings, hint = ".svg, .png, .pdf or .dot", "Or say the format with --to."
        kind = _kind_of(said.output, _PICTURES, endings, hint)
    if said.placed and kind == "dot":
        raise WrongUsage("--placed as DOT", expected="svg, png or pdf")
    if said.output == "-" and kind not in {"svg", "dot"}:
        raise WrongUsage(f"{kind.upper()} on the terminal", hint="Give a FILE.")
    if said.output != "-":
        refuse_to_replace(Path(said.output), force=said.force)
    circuit = said.load()
    shape = None if about else said.shape(circuit.board)
    more = {name: said[name] for name in ("side", "placed", "without")}
    with progress("Drawing"):
        made = nettrace.draw(circuit, shape, to=kind, **more, **about)
    if said.output == "-":
        text = made.content
        write_text(text if isinstance(text, str) else text.decode("utf-8"))
        return None
    size = said.write(made.content)
    keep("drawn", (made, said.output, said.force))
    facts = by_shape(made, "title parts gone left_out scale side sheets", None)
    answer = {"path": said.output, "format": kind, "bytes": size, **facts}
    notes = (f"{said.output}: {made.title}",)
    return Reply("drawing", answer, "", circuit.board, notes=notes, warns=True)


def _check_one(about: list[str], said: Said) -> None:
    named = [f"--{name}" for name in about]
    if len(named) != 1:
        raise WrongUsage(
            f"{' and '.join(named)} together" if named else "nothing to draw",
            expected="a place, or one of --pad, --part, --net and --bus",
            hint="For instance --around J3 --radius 4.",
        )
    if said.place:
        return
    if said.placed:
        hint = "A map needs a place: --around, --at, --box..."
        raise WrongUsage(f"--placed with {named[0]}", hint=hint)
    if said.radius is not None or said.side is not None:
        option = "--radius" if said.radius is not None else "--side"
        raise WrongUsage(f"{option} with {named[0]}", hint="It goes with a place.")


#: Endings of a drawing's name, and of a job's page -> what is written.
_PICTURES = {"svg": "svg", "png": "png", "pdf": "pdf", "dot": "dot", "gv": "dot"}
_PAGES = {"html": "html", "md": "markdown", "pdf": "pdf", "htm": "html", "markdown": "markdown"}


def _kind_of(output: str, kinds: Mapping[str, str], endings: str, hint: str = "") -> str:
    """Return what is written under a file's name."""
    found = kinds.get(Path(output).suffix.lower().lstrip("."))
    if found is None:
        raise WrongUsage(f"the name {output!r}", expected=f"an ending {endings}", hint=hint)
    return found


def sample(said: Said) -> Reply:
    name = said.name.casefold()
    files = _sample_files(said.name)
    target = Path(said.folder)
    for file in files:
        refuse_to_replace(target / file, force=said.force)  # before anything is written
    for file, source in files.items():
        where = (target / file).parent
        try:
            where.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise CannotWrite(f"cannot make the folder {where} ({reason(error)})") from None
        write_file(target / file, source.read_bytes(), force=said.force)
    written = [(target / file).as_posix() for file in files]
    note = f"{counted(len(files), 'file')} written. Try: "
    note += f"nettrace area {(target / name).as_posix()} --around J3 --radius 4"
    return Reply("sample", {"name": name, "files": written}, notes=(note,))


#: Sample name -> what is laid down of `samples/`: folders, and files.
_SAMPLES = {"wren": ("wren", "formats", "README.md")}


def _sample_files(name: str) -> dict[Path, Path]:
    """Return a sample's files, by where they belong, of the checkout or the installed package."""
    wanted = _SAMPLES.get(name.casefold())
    if wanted is None:
        raise NothingMatches(f"no sample {name!r}", hint=f"There is {', '.join(_SAMPLES)}.")
    root = Path(__file__).resolve().parents[2] / "samples"
    if not (root / "wren").is_dir():
        root = Path(__file__).resolve().parents[1] / "_samples"
    found: list[Path] = []
    for each in wanted:
        found += sorted((root / each).iterdir()) if (root / each).is_dir() else [root / each]
    return {path.relative_to(root): path for path in found if path.is_file()}


def completion(said: Said) -> None:
    from nettrace.cli.completion import script

    write_text(script(said.shell))


# -- a repair -----------------------------------------------------------------------------------


def job_open(said: Said) -> Reply:
    opened = nettrace.job.open(
        said.path,
        said.board,
        title=said.title,
        with_files=said.with_files,
        format_name=said.format_name,
        rails=said.rail_volts(),
    )
    name = opened.circuit.board.name
    return _about(opened, "job", opened, notes=(f"{said.path}: opened on {name}.",))


def _about(opened: OpenJob, key: str, answer: object, view: str = "", **more: Any) -> Reply:
    return Reply(key, answer, view, opened.circuit.board, **more)


def _changed(opened: OpenJob, *notes: str) -> Reply:
    """Say what a change entered, and what it does."""
    from nettrace.views.job import entered

    return _about(opened, "job", opened, notes=(*entered(opened), *notes))


def job_mark(said: Said) -> Reply:
    opened = said.load_job()
    words = list(said.places)
    if said.place:
        board = opened.circuit.board
        report = nettrace.area(opened.circuit, said.shape(board), side=said.side)
        words += [item.part.key for item in report.positions]
        if not report.positions:
            raise NothingMatches("no position in that area", hint="See `nettrace area`.")
    if not words:
        raise WrongUsage("nothing to mark", hint="Name parts or pads, or an area.")
    changed = nettrace.job.mark(
        opened, said.damage, words, with_part=said.with_part, confirm=said.confirm, note=said.note
    )
    if said.damage != "wired":
        return _changed(changed)
    wire = changed.wires[-1]
    if not wire.is_short:
        return _changed(changed, wire.words)
    again = f"nettrace job mark {said.path} wired {wire.wire.start} {wire.wire.end}"
    return _changed(
        changed,
        f"warning: wire-joins-nets: it {wire.words}.",
        f"Take it back (job undo), or say that it is meant: {again} --confirm",
    )


def job_show(said: Said) -> Reply:
    opened = said.load_job()
    return _about(opened, "job", opened, "job.standing_page")


def job_needs(said: Said) -> Reply:
    from nettrace.views.job import order_csv

    opened = said.load_job()
    found = nettrace.job.needs(opened, donors=said.donors)
    if said.output is not None:
        said.write(order_csv(found))
        write_note(f"{said.output}: {len(found)} lines written.")
    return _about(opened, "needs", found, "job.needs_page" if said.output is None else "")


def job_probe(said: Said) -> Reply:
    opened = said.load_job()
    if said.only_next:
        return _about(opened, "next", nettrace.job.next_probe(opened), "job.next_page")
    return _about(opened, "probes", nettrace.job.probe(opened), "job.probe_page")


def job_read(said: Said) -> Reply:
    if (said.table is None) == (said.at is None or said.to is None or said.shown is None):
        raise WrongUsage(
            "no reading" if said.table is None else "a reading and --csv",
            expected="AT TO SHOWN, or --csv FILE",
            hint="For instance R12.1 R12.2 2.19k.",
        )
    opened = said.load_job()
    more = {name: said[name] for name in ("quantity", "stage", "note")}
    if said.table is not None:
        changed = nettrace.job.read_table(opened, said.table, **more)
    else:
        changed = nettrace.job.read(opened, said.at, said.to, said.shown, **more)
    judged = nettrace.job.judge(changed)
    return _changed(changed, *([f"{judged.state}: {judged.because}"] if judged else []))


def job_check(said: Said) -> Reply:
    opened = said.load_job()
    found = nettrace.job.check(opened, said.known_good)
    code = ExitCode.DONE if found.verdict == "restored" else ExitCode.DIFFERENCES
    return _about(
        opened, "check", found, "job.check_page", code=code, shown=(opened.job.title, found)
    )


def job_sheet(said: Said) -> Reply:
    from nettrace.views.job import photo_notes
    from nettrace.views.text import progress

    kind = _kind_of(said.output, _PAGES, ".html, .md or .pdf")
    if bool(said.photo) != bool(said.fixes):
        what, other = ("--photo", "--fix") if said.photo else ("--fix", "--photo")
        raise WrongUsage(f"{what} alone", expected=f"{other} with it")
    refuse_to_replace(Path(said.output), force=said.force)
    opened = said.load_job()
    with progress("Writing the sheet"):
        more = {name: said[name] for name in ("photo", "fixes", "known_good", "paper")}
        made = nettrace.job.sheet(opened, kind, **more)
    size = said.write(made.content)
    answer = {"path": said.output, "format": kind, "bytes": size, "verdict": made.verdict}
    notes = [f"{said.output}: {made.verdict or 'not checked'}"]
    if made.photo is not None:
        notes += photo_notes(made.photo)
    return _about(opened, "sheet", {**answer, "photo": made.photo}, notes=tuple(notes))


# -- files that commands write ------------------------------------------------------------------


class CannotWrite(NettraceError):
    """A file cannot be written (exit 4)."""


def refuse_to_replace(path: Path, *, force: bool) -> None:
    """Complain where the file is there and `force` was not said."""
    if path.exists() and not force:
        raise WrongUsage(f"{path} is there already", hint="Give another name, or --force.")


def write_file(path: Path, content: str | bytes, *, force: bool) -> int:
    """Write a file whole or not at all; return its bytes.

    Raises:
        WrongUsage: the file is there, and `force` was not said.
        CannotWrite: the system will not have it.
    """
    from nettrace.bench.job import write_whole

    refuse_to_replace(path, force=force)
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        write_whole(path, data)
    except OSError as error:
        raise CannotWrite(f"cannot write {path} ({reason(error)})") from None
    return len(data)
