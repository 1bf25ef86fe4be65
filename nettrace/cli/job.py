"""`nettrace job`: a repair from damage to proof, one short command a step, kept in one file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from nettrace.cli.completion import complete_files, complete_pads
from nettrace.cli.job_options import change_bench, job_options, open_bench
from nettrace.cli.main import CommandTable, Entry
from nettrace.cli.options import PlaceInput, place_options, rail_notes
from nettrace.errors import NothingMatches, WrongUsage
from nettrace.views.text import write_json, write_note

if TYPE_CHECKING:
    from nettrace.job_loading import OpenJob

__all__ = ["job"]

BEGIN, WORK, PROVE = "Take in", "Plan and work", "Prove"

SUBCOMMANDS = (
    Entry("open", "nettrace.cli.job", "Open a job file on a board.", BEGIN),
    Entry("mark", "nettrace.cli.job", "Mark what is missing, lifted, fitted, wired.", BEGIN),
    Entry("loose", "nettrace.cli.job", "Enter a part found in the flux.", BEGIN),
    Entry("show", "nettrace.cli.job", "Where the job stands.", BEGIN),
    Entry("undo", "nettrace.cli.job", "Take the last entry back.", BEGIN),
    Entry("match", "nettrace.cli.job_plan", "Which loose part goes where.", WORK),
    Entry("needs", "nettrace.cli.job_plan", "What to order, and where a donor is.", WORK),
    Entry("refit", "nettrace.cli.job_plan", "The order of work, with cautions.", WORK),
    Entry("wire", "nettrace.cli.job_plan", "Where to solder wires for torn copper.", WORK),
    Entry("probe", "nettrace.cli.job_prove", "What to measure to prove the repair.", PROVE),
    Entry("read", "nettrace.cli.job_prove", "Enter a reading.", PROVE),
    Entry("check", "nettrace.cli.job_prove", "Restored, not restored, or not proven.", PROVE),
    Entry("sheet", "nettrace.cli.job_sheet", "The whole job as a page to print.", PROVE),
)  # fmt: skip

EPILOG = """\
\b
  nettrace job open wren.job samples/wren
  nettrace job mark wren.job missing R12 R13 --note "torn off by the screw"
  nettrace job loose wren.job --ohms 2.19k --size 0201
  nettrace job match wren.job
  nettrace job mark wren.job fitted R12 --with L1
  nettrace job probe wren.job --next
  nettrace job read wren.job R12.1 R12.2 2.19k
  nettrace job check wren.job
"""


@click.group(cls=CommandTable, entries=SUBCOMMANDS, epilog=EPILOG)
def job() -> None:
    """Carry one repair from damage to proof, in one job file.

    JOB is the file; each command is safe on disk when it returns, and can be undone.
    """


OPEN_EXAMPLES = """\
\b
  nettrace job open wren.job samples/wren --title "Wren 0417"
"""


@click.command("open", epilog=OPEN_EXAMPLES)
@click.argument("path", metavar="JOB")
@click.argument("board", metavar="BOARD", shell_complete=complete_files)
@click.option("--title", default="", metavar="TEXT", help="What the sheet is headed with.")
@click.option("--with", "with_files", multiple=True, metavar="FILE", help="Add a source.")
@click.option("--format", "format_name", metavar="NAME", help="Format of BOARD.")
@click.option("--rail", "rails", multiple=True, metavar="NAME=V", help="A rail's voltage.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
@click.option("--debug", is_flag=True, help="Show where in the program an error arose.")
def open_(
    path: str,
    board: str,
    title: str,
    with_files: tuple[str, ...],
    format_name: str | None,
    rails: tuple[str, ...],
    as_json: bool,
    debug: bool,  # noqa: ARG001 - main() looks for it
) -> None:
    """Open a job file on a board. The file must not be there yet."""
    from nettrace.job_loading import start_job

    opened = start_job(
        Path(path),
        board,
        title=title,
        with_files=with_files,
        format_name=format_name,
        rails=rail_notes(rails),
    )
    if as_json:
        write_json(opened.circuit.board, "job", _payload(opened))
    else:
        write_note(f"{path}: opened on {opened.circuit.board.name}.")


MARK_EPILOG = """\
DAMAGE is missing, cracked, shifted, doubtful, lifted, cut, bridged, sound, fitted or wired.
A wire goes between two pads, or to a via by its place (12.5,-3.0). One between two nets that the
board keeps apart is shown as a short until it is entered with --confirm.

\b
  nettrace job mark wren.job missing R12 R13 C7
  nettrace job mark wren.job missing --around J3 --radius 4
  nettrace job mark wren.job lifted R12.1
  nettrace job mark wren.job bridged R12.1 R13.1
  nettrace job mark wren.job fitted R12 --with L1
  nettrace job mark wren.job wired R12.1 TP4.1
"""


@click.command(epilog=MARK_EPILOG)
@job_options
@click.argument("damage", metavar="DAMAGE")
@click.argument("places", nargs=-1, metavar="[REFDES|REFDES.PIN]...", shell_complete=complete_pads)
@click.option("--with", "with_part", metavar="LOOSE", help="Fitted with this loose part.")
@click.option("--confirm", is_flag=True, help="The wire is meant to join two nets.")
@click.option("--note", default="", metavar="TEXT", help="A remark on it.")
@place_options
def mark(
    path: str,
    as_json: bool,
    damage: str,
    places: tuple[str, ...],
    with_part: str | None,
    confirm: bool,
    note: str,
    place: PlaceInput,
) -> None:
    """Mark what is wrong, or what was fitted: by refdes, by pad, or all in an area."""
    from nettrace.job import marks

    opened = open_bench(path)
    in_area = _in_area(opened, place)
    words = [*places, *in_area]
    if not words:
        raise WrongUsage("nothing to mark", hint="Name parts or pads, or an area.")

    adding = marks(opened, damage, words, with_part=with_part, confirm=confirm, note=note)
    changed = change_bench(opened, adding, as_json)
    if damage == "wired":
        _say_what_it_does(changed)


def _say_what_it_does(opened: OpenJob) -> None:
    from nettrace.job import wired

    found = wired(opened)[-1]
    if found.is_short:
        again = f"nettrace job mark {opened.path} wired {found.wire.start} {found.wire.end}"
        write_note(f"warning: wire-joins-nets: it {found.words}.")
        write_note(f"Take it back (job undo), or say that it is meant: {again} --confirm")
    else:
        write_note(found.words)


def _in_area(opened: OpenJob, place: PlaceInput) -> list[str]:
    if not any((place.around, place.at, place.box, place.outline)):
        return []
    from nettrace.bench.area import inspect_area

    shape, side = place.resolve(opened.circuit.board)
    report = inspect_area(opened.circuit, shape, side)
    found = [item.part.key for item in report.positions]
    if not found:
        raise NothingMatches("no position in that area", hint="See `nettrace area`.")
    return found


LOOSE_EXAMPLES = """\
\b
  nettrace job loose wren.job --ohms 2.19k --size 0201
  nettrace job loose wren.job --farads 98n --length 0.6 --width 0.3
"""


@click.command(epilog=LOOSE_EXAMPLES)
@job_options
@click.option("--name", metavar="NAME", help="What to call it; L1, L2... if not given.")
@click.option("--ohms", metavar="VALUE", help="What the meter says, like 2.19k.")
@click.option("--farads", metavar="VALUE", help="What the meter says, like 98n.")
@click.option("--henries", metavar="VALUE", help="What the meter says, like 2.2u.")
@click.option("--diode", metavar="VOLTS", help="In diode mode, the lower of both ways.")
@click.option("--accuracy", metavar="1%", help="The meter's accuracy in that range.")
@click.option("--size", metavar="0201", help="Body size, inch code (or 0603M for metric).")
@click.option("--length", type=float, metavar="MM", help="Body length.")
@click.option("--width", type=float, metavar="MM", help="Body width.")
@click.option("--marking", metavar="TEXT", help="What is printed on it.")
@click.option("--looks", metavar="KIND", help="resistor, capacitor, diode...")
@click.option("--chipped", is_flag=True, help="Body or terminations are damaged.")
@click.option("--note", default="", metavar="TEXT", help="A remark on it.")
def loose(path: str, as_json: bool, **facts: object) -> None:
    """Enter a part found in the flux: what the meter and the ruler say."""
    from nettrace.bench.entries import loose_entry

    opened = open_bench(path)
    change_bench(opened, lambda job: [loose_entry(job, facts)], as_json)


SHOW_EXAMPLES = """\
\b
  nettrace job show wren.job
"""


@click.command(epilog=SHOW_EXAMPLES)
@job_options
def show(path: str, as_json: bool) -> None:
    """Say where the job stands, on one screen."""
    opened = open_bench(path)
    if as_json:
        write_json(opened.circuit.board, "job", _payload(opened))
        return
    from nettrace.views.job import standing_page
    from nettrace.views.page import show as show_page

    show_page(standing_page(opened.job, opened.state, opened.circuit))


UNDO_EXAMPLES = """\
\b
  nettrace job undo wren.job
  nettrace job undo wren.job --entry 7
"""


@click.command(epilog=UNDO_EXAMPLES)
@job_options
@click.option("--entry", type=int, metavar="NUMBER", help="That entry; else the last.")
def undo(path: str, as_json: bool, entry: int | None) -> None:
    """Take the last entry back (or the one of a number). An undo stays in the file."""
    from nettrace.job import undoing

    change_bench(open_bench(path), undoing(entry), as_json)


def _payload(opened: OpenJob) -> dict[str, object]:
    from nettrace.views.encode import encode

    shown: dict[str, object] = encode(opened)
    return shown
