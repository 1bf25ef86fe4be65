"""Job commands that plan: match, needs, refit, wire."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from nettrace.cli.completion import complete_places
from nettrace.cli.job_options import job_options, open_bench
from nettrace.errors import NettraceError, NothingMatches
from nettrace.views.text import write_json, write_note

if TYPE_CHECKING:
    from collections.abc import Mapping

    from nettrace.circuit.circuit import Circuit
    from nettrace.job_loading import OpenJob

__all__ = ["match", "needs", "refit", "wire"]


MATCH_EXAMPLES = """\
\b
  nettrace job match wren.job
"""


@click.command(epilog=MATCH_EXAMPLES)
@job_options
def match(path: str, as_json: bool) -> None:
    """Say which loose part goes where: certain, interchangeable or open, never a silent guess."""
    from nettrace.bench.match import match_loose, sites_of
    from nettrace.job import open_keys, unused_loose

    opened = open_bench(path)
    sites = sites_of(opened.circuit, open_keys(opened))
    unused = unused_loose(opened)
    found = match_loose(sites, list(unused.values()))
    if as_json:
        from nettrace.views.encode import encode

        taken = {item.assigned for item in found}
        bare = [site for site in sites if site.refdes not in taken]
        answer = {"matches": encode(found), "still_bare": encode(bare)}
        write_json(opened.circuit.board, "match", answer)
        return
    from nettrace.views.job import match_page
    from nettrace.views.page import show

    show(match_page(found, sites, unused))


NEEDS_EXAMPLES = """\
\b
  nettrace job needs wren.job
  nettrace job needs wren.job -o order.csv
  nettrace job needs wren.job --donors old-boards
"""


@click.command(epilog=NEEDS_EXAMPLES)
@job_options
@click.option("--donors", metavar="FOLDER", help="Look for donors on the boards in this folder.")
@click.option("-o", "--output", metavar="FILE.csv", help="Write the order for an upload form.")
@click.option("--force", is_flag=True, help="Replace FILE if it is there.")
def needs(path: str, as_json: bool, donors: str | None, output: str | None, force: bool) -> None:
    """Say what to order for the open positions: values, ratings, spares, substitutes, donors.

    Loose resistors that may go back still count: fit them first, or leave their order out.
    """
    from nettrace.bench.needs import find_donors
    from nettrace.job import needs as plan

    opened = open_bench(path)
    found = plan(opened)
    others = _boards_in(Path(donors), opened) if donors else {}
    given = [
        find_donors(opened.circuit, need, others, tuple(opened.state.damaged)) for need in found
    ]
    if output is not None:
        from nettrace.cli.files import write_file
        from nettrace.views.order_csv import order_csv

        write_file(Path(output), order_csv(found), force=force)
        write_note(f"{output}: {len(found)} lines written.")
    if as_json:
        from nettrace.views.encode import encode

        lines = [
            {**encode(need), "donors": encode(donors_of)}
            for need, donors_of in zip(found, given, strict=True)
        ]
        write_json(opened.circuit.board, "needs", lines)
        return
    if output is None:
        from nettrace.views.job import needs_page
        from nettrace.views.page import show

        show(needs_page(found, given))


def _boards_in(folder: Path, opened: OpenJob) -> Mapping[str, Circuit]:
    """Return every board that can be read in a folder: files and folders of sources."""
    from nettrace.loading import load

    if not folder.is_dir():
        raise NothingMatches(f"no folder {folder}", hint="--donors takes a folder of boards.")
    mine = {source.digest for source in opened.circuit.board.sources}
    found: dict[str, Circuit] = {}
    for path in sorted(folder.iterdir()):
        if path.name.startswith("."):
            continue
        try:
            circuit = load(path)
        except NettraceError:
            continue  # not a board: a folder holds other things too
        if mine.isdisjoint(source.digest for source in circuit.board.sources):
            found[path.name] = circuit
    return found


REFIT_EXAMPLES = """\
\b
  nettrace job refit wren.job
"""


@click.command(epilog=REFIT_EXAMPLES)
@job_options
def refit(path: str, as_json: bool) -> None:
    """Plan the order of work with reasons: what first, what melts late, what minds the heat."""
    from nettrace.job import refit as plan_work

    opened = open_bench(path)
    plan = plan_work(opened)
    if as_json:
        from nettrace.views.encode import encode

        write_json(opened.circuit.board, "refit", encode(plan))
        return
    from nettrace.views.job import refit_page
    from nettrace.views.page import show

    show(refit_page(plan))


WIRE_EXAMPLES = """\
\b
  nettrace job wire wren.job
  nettrace job wire wren.job R12.1
"""


@click.command(epilog=WIRE_EXAMPLES)
@job_options
@click.argument("places", nargs=-1, metavar="[NET|REFDES.PIN]...", shell_complete=complete_places)
def wire(path: str, as_json: bool, places: tuple[str, ...]) -> None:
    """Say where to solder wires for lifted pads and cut tracks: those marked, or the ones named."""
    from nettrace.job import wire as plan_wires

    opened = open_bench(path)
    plans = plan_wires(opened, places)
    if as_json:
        from nettrace.views.encode import encode

        write_json(opened.circuit.board, "wires", encode(plans))
        return
    from nettrace.views.job import wire_page
    from nettrace.views.page import show

    show(wire_page(plans))
