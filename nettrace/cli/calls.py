"""What each command asks of the library: words in, one call, and how its answer is shown.

A function here turns the words of one command into the arguments of one call of `nettrace.api` or
`nettrace.job` and says what is wrong with them in the command line's own terms; `run` shows every
answer in one way.
"""

from __future__ import annotations

import gc
import os
import tempfile
from collections.abc import Iterator, Mapping
from contextvars import ContextVar
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import nettrace
from nettrace.errors import ExitCode, NettraceError, NothingMatches, WrongUsage
from nettrace.views.text import counted, write_json, write_note, write_text, write_warnings

if TYPE_CHECKING:
    from nettrace.answers import Drawing, OpenJob, Several
    from nettrace.bench.place import Shape
    from nettrace.circuit.circuit import Circuit
    from nettrace.cli.commands import Command
    from nettrace.model.board import Board

#: What commands have loaded, for the one who wants to keep their answers: (paths, circuit).
LOADED: ContextVar[list[tuple[tuple[str, ...], Circuit]] | None] = ContextVar(
    "LOADED", default=None
)
#: Where a drawing is left for the one who keeps answers: (it, file as typed, force).
DRAWN: ContextVar[list[tuple[Drawing, str, bool]] | None] = ContextVar("DRAWN", default=None)


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


def run(command: Command, said: dict[str, Any]) -> int:
    """Ask what a command asks, show the answer, and return the exit code."""
    as_json = said.pop("as_json", False)
    said.pop("debug", None)  # the error boundary looks for it itself
    if "hierarchy" in said:
        said.pop("no_cache")
        names = ("board", "with_files", "format_name", "hierarchy", "rails")
        said["source"] = BoardWords(*(said.pop(name) for name in names))
    if "around" in said:
        places = ("around", "at", "radius", "box", "outline", "side")
        said["place"] = PlaceWords(*(said.pop(name) for name in places))
    reply: Reply | None
    if "library" in command.row:
        reply = _one_call(command, said)
    else:
        reply = globals()[command.call](**said)
    if reply is None:
        return ExitCode.DONE
    if as_json:
        from nettrace.views.encode import encode

        answer = reply.answer[0] if reply.one else reply.answer
        write_json(reply.board, reply.key, encode(answer, reply.board))
        return reply.code
    if reply.view:
        from nettrace.views.terminal import show

        module, _, name = reply.view.partition(".")
        show(
            getattr(import_module(f"nettrace.views.{module}"), name)(
                *(reply.shown or (reply.answer,))
            )
        )
    for note in reply.notes:
        write_note(note)
    if reply.warns and reply.board is not None:
        write_warnings(reply.board)
    return reply.code


def _one_call(command: Command, said: dict[str, Any]) -> Reply:
    """Ask the one call that the table names, with the words as they are."""
    row = command.row
    if "source" in said:
        circuit = said.pop("source").load()
        answer = getattr(nettrace, row["library"])(circuit, **said)
        return Reply(row["key"], answer, row["view"], circuit.board, warns=True)
    opened = _load(said.pop("path"))
    answer = getattr(nettrace.job, row["library"])(opened, **said)
    return _about(opened, row["key"], answer, row["view"])


@dataclass(frozen=True, slots=True)
class BoardWords:
    """BOARD and the words said with it."""

    path: str
    with_files: tuple[str, ...]
    format_name: str | None
    hierarchy: str | None
    rails: tuple[str, ...]

    def load(self) -> Circuit:
        """Read it all and return the circuit."""
        from nettrace.views.text import progress

        with progress(f"Reading {self.path}"):
            circuit = nettrace.load(
                self.path,
                self.with_files,
                format_name=self.format_name,
                rails=rail_volts(self.rails),
                hierarchy=self.hierarchy,
            )
        # the board stays to the end: the collector need not walk it again and again
        gc.freeze()
        if (loaded := LOADED.get()) is not None:
            loaded.append(((self.path, *self.with_files), circuit))
        return circuit

    def load_board(self) -> Board:
        """Read it without asking what it means."""
        return nettrace.load_board(
            self.path, self.with_files, format_name=self.format_name, hierarchy=self.hierarchy
        )


@dataclass(frozen=True, slots=True)
class PlaceWords:
    """A place as it was typed."""

    around: str | None
    at: str | None
    radius: float | None
    box: str | None
    outline: str | None
    side: str | None

    @property
    def said(self) -> dict[str, str | None]:
        """The words that name a place, by their option."""
        return {"around": self.around, "at": self.at, "box": self.box, "outline": self.outline}

    @property
    def given(self) -> list[str]:
        """The options that name a place."""
        return [f"--{name}" for name, word in self.said.items() if word is not None]

    def shape(self, board: Board) -> Shape:
        """Return the one place."""
        return nettrace.api.shape_of(board, self.said, self.radius, "--")


def rail_volts(words: tuple[str, ...]) -> Mapping[str, float]:
    """Return net name -> volts of the `NAME=V` words."""
    return dict(_assigned(words, "--rail", "NAME=V", "V", "+1V8=1.8"))


def _assigned(
    words: tuple[str, ...], option: str, form: str, unit: str, example: str
) -> Iterator[tuple[str, float]]:
    from nettrace.values.quantity import parse_quantity

    for word in words:
        name, equals, figure = word.rpartition("=")
        if not equals or not name.strip():
            raise WrongUsage(f"{option} {word!r}", expected=form, hint=f"Write it like {example}.")
        yield name.strip(), parse_quantity(figure, unit)


# -- the board ----------------------------------------------------------------------------------


def summary(source: BoardWords) -> Reply:
    circuit = source.load()
    return Reply("summary", nettrace.summary(circuit), "board.summary", circuit.board)


def area(source: BoardWords, place: PlaceWords) -> Reply:
    circuit = source.load()
    answer = nettrace.area(circuit, place.shape(circuit.board), side=place.side)
    return Reply("area", answer, "board.area", circuit.board, warns=True)


def net(source: BoardWords, name: str) -> Reply:
    circuit = source.load()
    return _one_or_all(circuit, "net", nettrace.nets(circuit, name), name)


def part(source: BoardWords, refdes: str) -> Reply:
    circuit = source.load()
    one = refdes in circuit.board.part_by_key
    return _one_or_all(circuit, "part", nettrace.parts(circuit, refdes), refdes, one=one)


def pad(source: BoardWords, pad: str | None, at: str | None, side: str | None) -> Reply:
    from nettrace.bench.place import parse_point

    if (pad is None) == (at is None):
        raise WrongUsage(
            "both a pad and --at" if pad else "no pad",
            expected="REFDES.PIN or --at X,Y",
            hint="For instance R41.2, or --at 12.5,-3.",
        )
    if pad is not None and side is not None:
        raise WrongUsage("--side with a pad's name", hint="It goes with --at.")
    point = parse_point(at) if at is not None else None
    circuit = source.load()
    found = nettrace.pads(circuit, pad, at=point, side=side)
    return _one_or_all(circuit, "pad", found, pad or "")


def _one_or_all(
    circuit: Circuit, kind: str, found: Several[Any], name: str, *, one: bool = False
) -> Reply:
    """Return what a name means: one answer under its key, or a list of them under the plural."""
    from nettrace.model.names import has_wildcard

    one = one or (len(found) == 1 and not has_wildcard(name))
    key = kind if one else f"{kind}s"
    return Reply(key, found, f"board.{kind}s", circuit.board, one=one, warns=True)


def path(source: BoardWords, start: str, end: str) -> Reply:
    circuit = source.load()
    found = nettrace.path(circuit, start, end)
    code = ExitCode.DONE if found else ExitCode.NOTHING
    return Reply("paths", found, "board.ways", circuit.board, code, warns=True)


# -- figures ------------------------------------------------------------------------------------


def reading(
    source: BoardWords,
    pad: str | None,
    to: str | None,
    without: tuple[str, ...],
    changes: tuple[str, ...],
    shorts: tuple[str, ...],
    power: bool,
) -> Reply:
    if (pad is None) != power:
        raise WrongUsage(
            "a pad and --power" if power else "no pad",
            expected="PAD or --power",
            hint="For instance R12.2, a net's name, or --power alone.",
        )
    if power and to is not None:
        raise WrongUsage("--to with --power", hint="It goes with a pad.")
    circuit = source.load()
    changed = dict(_assigned(changes, "--change", "REFDES=OHMS", "Ω", "R5=4k7"))
    lying: dict[str, Any] = {
        "without": [name.strip() for words in without for name in words.split(",")],
        "rails": rail_volts(source.rails),
        "changed": changed | dict.fromkeys(shorts, 0.0),
    }
    if pad is None:
        return Reply("power", nettrace.power(circuit, **lying), "figures.power", circuit.board)
    answer = nettrace.reading(circuit, pad, to=to, **lying)
    return Reply("reading", answer, "figures.reading", circuit.board)


def value(text: tuple[str, ...], series: str | None, tolerance: str | None) -> Reply:
    from nettrace.values.series import SERIES

    if series is not None and series.upper() not in SERIES:
        raise WrongUsage(f"no series {series!r}", hint=f"There are {', '.join(SERIES)}.")
    wanted = series.upper() if series else None
    answer = nettrace.value(" ".join(text), series=wanted, tolerance=_fraction(tolerance))
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


def formula(name: str | None, inputs: tuple[str, ...]) -> Reply:
    if name is None:
        return Reply("formulas", nettrace.formulas(), "figures.formulas")
    given: dict[str, str | float] = {}
    for word in inputs:
        key, equals, said = word.partition("=")
        if not equals:
            raise WrongUsage(f"{word!r}", expected="INPUT=VALUE", hint="For instance volts=1.8.")
        given[key.strip()] = said.strip()
    return Reply("formula", nettrace.formula(name, **given), "figures.formula")


# -- files --------------------------------------------------------------------------------------


def compare(source: BoardWords, other: str, other_format: str | None) -> Reply:
    board = source.load_board()
    against = nettrace.load_board(other, format_name=other_format, hierarchy=source.hierarchy)
    found = nettrace.compare(board, against)
    code = ExitCode.DONE if found.same else ExitCode.DIFFERENCES
    return Reply("comparison", found, "figures.comparison", board, code)


def convert(source: BoardWords, output: str, target: str | None, force: bool) -> Reply | None:
    from nettrace.writers.registry import format_for_path

    name = target or format_for_path(output)
    board = source.load_board()
    made = nettrace.api.write(board, name)
    if made.left_out:
        write_note(f"Left out, {name} has no form for it: {', '.join(made.left_out)}.")
    if output == "-":
        write_text(made.text)
        return None
    size = write_file(Path(output), made.text, force=force)
    answer = {"path": output, "format": name, "bytes": size, "left_out": list(made.left_out)}
    counts = board.counts()
    told = f"{counts.parts} parts, {counts.nets} nets, {counts.pins} pins written"
    return Reply("written", answer, board=board, notes=(f"{output}: {name}, {told}.",))


def draw(
    source: BoardWords,
    place: PlaceWords,
    pad: str | None,
    part: str | None,
    net: str | None,
    bus: str | None,
    placed: bool,
    without: tuple[str, ...],
    output: str,
    picture: str | None,
    force: bool,
) -> Reply | None:
    from nettrace.views.encode import by_shape
    from nettrace.views.text import progress

    words = {"pad": pad, "part": part, "net": net, "bus": bus}
    about = {name: word for name, word in words.items() if word is not None}
    _check_one(list(about), place, placed)
    kind = picture or _picture_of(output)
    if placed and kind == "dot":
        raise WrongUsage("--placed as DOT", expected="svg, png or pdf")
    if output == "-" and kind not in {"svg", "dot"}:
        raise WrongUsage(f"{kind.upper()} on the terminal", hint="Give a FILE.")
    if output != "-":
        refuse_to_replace(Path(output), force=force)
    circuit = source.load()
    shape = None if about else place.shape(circuit.board)
    with progress("Drawing"):
        made = nettrace.draw(
            circuit, shape, side=place.side, placed=placed, without=without, to=kind, **about
        )
    if output == "-":
        text = made.content
        write_text(text if isinstance(text, str) else text.decode("utf-8"))
        return None
    size = write_file(Path(output), made.content, force=force)
    if (drawn := DRAWN.get()) is not None:
        drawn.append((made, output, force))
    facts = by_shape(made, "title parts gone left_out scale side sheets", None)
    answer = {"path": output, "format": kind, "bytes": size, **facts}
    return Reply("drawing", answer, "", circuit.board, 0, (f"{output}: {made.title}",), warns=True)


def _check_one(about: list[str], place: PlaceWords, placed: bool) -> None:
    about = [f"--{name}" for name in about]
    named = [*about, *place.given]
    if len(named) != 1:
        raise WrongUsage(
            f"{' and '.join(named)} together" if named else "nothing to draw",
            expected="a place, or one of --pad, --part, --net and --bus",
            hint="For instance --around J3 --radius 4.",
        )
    if about and placed:
        hint = "A map needs a place: --around, --at, --box..."
        raise WrongUsage(f"--placed with {named[0]}", hint=hint)
    if about and (place.radius is not None or place.side is not None):
        option = "--radius" if place.radius is not None else "--side"
        raise WrongUsage(f"{option} with {named[0]}", hint="It goes with a place.")


def _picture_of(output: str) -> str:
    ending = Path(output).suffix.lower().lstrip(".")
    if output == "-" or ending == "gv":
        return "dot"
    if ending not in {"svg", "png", "pdf", "dot"}:
        raise WrongUsage(
            f"the name {output!r}",
            expected="an ending .svg, .png, .pdf or .dot",
            hint="Or say the format with --to.",
        )
    return ending


def sample(name: str, folder: str, force: bool) -> Reply:
    files = samples(name)
    target = Path(folder)
    for file in files:
        refuse_to_replace(target / file, force=force)  # before anything is written
    for file, source in files.items():
        try:
            (target / file).parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            where = (target / file).parent
            raise CannotWrite(f"cannot make the folder {where} ({reason})") from None
        write_file(target / file, source.read_bytes(), force=force)
    written = [(target / file).as_posix() for file in files]
    board = (target / name.casefold()).as_posix()
    note = f"{counted(len(files), 'file')} written. Try: "
    note += f"nettrace area {board} --around J3 --radius 4"
    return Reply("sample", {"name": name.casefold(), "files": written}, notes=(note,))


def completion(shell: str) -> None:
    from nettrace.cli.completion import script

    write_text(script(shell))


# -- a repair -----------------------------------------------------------------------------------


def job_open(
    path: str,
    board: str,
    title: str,
    with_files: tuple[str, ...],
    format_name: str | None,
    rails: tuple[str, ...],
) -> Reply:
    opened = nettrace.job.open(
        path,
        board,
        title=title,
        with_files=with_files,
        format_name=format_name,
        rails=rail_volts(rails),
    )
    name = opened.circuit.board.name
    return _about(opened, "job", opened, notes=(f"{path}: opened on {name}.",))


def _load(path: str) -> OpenJob:
    """Read a job and its board; what changed on the board is said on stderr."""
    opened = nettrace.job.load(path)
    for warning in opened.warnings:
        write_note(str(warning))
    return opened


def _about(opened: OpenJob, key: str, answer: object, view: str = "", **more: Any) -> Reply:
    return Reply(key, answer, view, opened.circuit.board, **more)


def _changed(opened: OpenJob, *notes: str) -> Reply:
    """Say what a change entered, and what it does."""
    from nettrace.views.job import entered

    return _about(opened, "job", opened, notes=(*entered(opened), *notes))


def job_mark(
    path: str,
    damage: str,
    places: tuple[str, ...],
    with_part: str | None,
    confirm: bool,
    note: str,
    place: PlaceWords,
) -> Reply:
    opened = _load(path)
    words = list(places)
    if place.given:
        board = opened.circuit.board
        report = nettrace.area(opened.circuit, place.shape(board), side=place.side)
        words += [item.part.key for item in report.positions]
        if not report.positions:
            raise NothingMatches("no position in that area", hint="See `nettrace area`.")
    if not words:
        raise WrongUsage("nothing to mark", hint="Name parts or pads, or an area.")
    changed = nettrace.job.mark(
        opened, damage, words, with_part=with_part, confirm=confirm, note=note
    )
    if damage != "wired":
        return _changed(changed)
    wire = changed.wires[-1]
    if not wire.is_short:
        return _changed(changed, wire.words)
    again = f"nettrace job mark {path} wired {wire.wire.start} {wire.wire.end}"
    return _changed(
        changed,
        f"warning: wire-joins-nets: it {wire.words}.",
        f"Take it back (job undo), or say that it is meant: {again} --confirm",
    )


def job_loose(path: str, **facts: Any) -> Reply:
    return _changed(nettrace.job.loose(_load(path), **facts))


def job_show(path: str) -> Reply:
    opened = _load(path)
    return _about(opened, "job", opened, "job.standing_page")


def job_undo(path: str, entry: int | None) -> Reply:
    return _changed(nettrace.job.undo(_load(path), entry))


def job_needs(path: str, donors: str | None, output: str | None, force: bool) -> Reply:
    from nettrace.views.job import order_csv

    opened = _load(path)
    found = nettrace.job.needs(opened, donors=donors)
    if output is not None:
        write_file(Path(output), order_csv(found), force=force)
        write_note(f"{output}: {len(found)} lines written.")
    return _about(opened, "needs", found, "job.needs_page" if output is None else "")


def job_probe(path: str, only_next: bool) -> Reply:
    opened = _load(path)
    if only_next:
        return _about(opened, "next", nettrace.job.next_probe(opened), "job.next_page")
    return _about(opened, "probes", nettrace.job.probe(opened), "job.probe_page")


def job_read(
    path: str,
    at: str | None,
    to: str | None,
    shown: str | None,
    quantity: str | None,
    stage: str,
    note: str,
    table: str | None,
) -> Reply:
    if (table is None) == (at is None or to is None or shown is None):
        raise WrongUsage(
            "no reading" if table is None else "a reading and --csv",
            expected="AT TO SHOWN, or --csv FILE",
            hint="For instance R12.1 R12.2 2.19k.",
        )
    opened = _load(path)
    said: dict[str, Any] = {"quantity": quantity, "stage": stage, "note": note}
    if table is not None:
        changed = nettrace.job.read_table(opened, table, **said)
    else:
        changed = nettrace.job.read(opened, at or "", to or "", shown or "", **said)
    judged = nettrace.job.judge(changed)
    return _changed(changed, *([f"{judged.state}: {judged.because}"] if judged else []))


def job_check(path: str, known_good: str | None) -> Reply:
    opened = _load(path)
    found = nettrace.job.check(opened, known_good)
    code = ExitCode.DONE if found.verdict == "restored" else ExitCode.DIFFERENCES
    return _about(
        opened, "check", found, "job.check_page", code=code, shown=(opened.job.title, found)
    )


def job_sheet(
    path: str,
    output: str,
    photo: str | None,
    fixes: tuple[str, ...],
    known_good: str | None,
    paper: str,
    force: bool,
) -> Reply:
    from nettrace.views.job import photo_notes
    from nettrace.views.text import progress

    endings = {".html": "html", ".htm": "html", ".md": "markdown", ".markdown": "markdown",
               ".pdf": "pdf"}  # fmt: skip
    target = Path(output)
    kind = endings.get(target.suffix.lower())
    if kind is None:
        raise WrongUsage(f"the name {output!r}", expected="an ending .html, .md or .pdf")
    if bool(photo) != bool(fixes):
        what, other = ("--photo", "--fix") if photo else ("--fix", "--photo")
        raise WrongUsage(f"{what} alone", expected=f"{other} with it")
    refuse_to_replace(target, force=force)
    opened = _load(path)
    with progress("Writing the sheet"):
        made = nettrace.job.sheet(
            opened, kind, photo=photo, fixes=fixes, known_good=known_good, paper=paper
        )
    size = write_file(target, made.content, force=force)
    answer = {"path": output, "format": kind, "bytes": size, "verdict": made.verdict}
    notes = [f"{output}: {made.verdict or 'not checked'}"]
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
    """Write whole or not at all: a temporary file beside it, then a rename; return the bytes.

    Raises:
        WrongUsage: the file is there, and `force` was not said.
        CannotWrite: the system will not have it.
    """
    refuse_to_replace(path, force=force)
    data = content.encode("utf-8") if isinstance(content, str) else content
    temporary: str | None = None
    try:
        handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        mask = os.umask(0)
        os.umask(mask)
        Path(temporary).chmod(0o666 & ~mask)
        Path(temporary).replace(path)
    except OSError as error:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)
        reason = (error.strerror or str(error)).lower()
        raise CannotWrite(f"cannot write {path} ({reason})") from None
    return len(data)


#: Sample name -> what is laid down of `samples/`: folders, and files.
_SAMPLES = {"wren": ("wren", "formats", "README.md")}


def samples(name: str) -> dict[Path, Path]:
    """Return a sample's files, by where they belong, of the checkout or the installed package."""
    wanted = _SAMPLES.get(name.casefold())
    if wanted is None:
        raise NothingMatches(f"no sample {name!r}", hint=f"There is {', '.join(_SAMPLES)}.")
    root = Path(__file__).resolve().parents[2] / "samples"
    if not (root / "wren").is_dir():
        root = Path(__file__).resolve().parents[1] / "_samples"
    found: list[Path] = []
    for each in wanted:
        place = root / each
        found += sorted(place.iterdir()) if place.is_dir() else [place]
    return {path.relative_to(root): path for path in found if path.is_file()}
