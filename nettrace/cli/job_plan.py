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


def _open_keys(opened: OpenJob) -> tuple[str, ...]:
    """Return the part keys of positions that are still to be fitted."""
    keys = opened.keys(opened.state.open_positions)
    if not keys:
        raise NothingMatches(
            "no open position", hint="Mark what is gone: nettrace job mark JOB missing R12 R13."
        )
    return keys


@click.command()
@job_options
def match(path: str, as_json: bool) -> None:
    """Say which loose part goes where: certain, interchangeable or open, never a silent guess."""
    from nettrace.bench.match import match_loose, sites_of

    opened = open_bench(path)
    keys = _open_keys(opened)
    unused = {
        name: item for name, item in opened.state.loose.items() if name not in opened.state.used
    }
    if not unused:
        raise NothingMatches(
            "no loose part to match", hint="Enter one: nettrace job loose JOB --ohms 2.19k."
        )
    sites = sites_of(opened.circuit, keys)
    found = match_loose(sites, list(unused.values()))
    if as_json:
        from nettrace.views.job_payload import matches

        write_json(opened.circuit.board, "match", matches(found, sites))
        return
    from nettrace.views.job_tables import show_matches
    from nettrace.views.tables import Sheet

    with Sheet() as sheet:
        show_matches(found, sites, unused, sheet)


@click.command()
@job_options
@click.option("--donors", metavar="FOLDER", help="Look for donors on the boards in this folder.")
@click.option("-o", "--output", metavar="FILE.csv", help="Write the order for an upload form.")
@click.option("--force", is_flag=True, help="Replace FILE if it is there.")
def needs(path: str, as_json: bool, donors: str | None, output: str | None, force: bool) -> None:
    """Say what to order for the open positions: values, ratings, spares, substitutes, donors.

    Loose resistors that may go back still count: fit them first, or leave their order out.
    """
    from nettrace.bench.needs import find_donors, plan_needs

    opened = open_bench(path)
    keys = _open_keys(opened)
    found = plan_needs(opened.circuit, keys)
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
        from nettrace.views.job_payload import needs as needs_payload

        write_json(opened.circuit.board, "needs", needs_payload(found, given))
        return
    if output is None:
        from nettrace.views.job_tables import show_needs
        from nettrace.views.tables import Sheet

        with Sheet() as sheet:
            show_needs(found, given, sheet)


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


@click.command()
@job_options
def refit(path: str, as_json: bool) -> None:
    """Plan the order of work with reasons: what first, what melts late, what minds the heat."""
    from nettrace.bench.refit import plan_refit

    opened = open_bench(path)
    plan = plan_refit(opened.circuit, _open_keys(opened), opened.state.lifted)
    if as_json:
        from nettrace.views.job_payload import refit as refit_payload

        write_json(opened.circuit.board, "refit", refit_payload(plan))
        return
    from nettrace.views.job_tables import show_refit
    from nettrace.views.tables import Sheet

    with Sheet() as sheet:
        show_refit(plan, sheet)


@click.command()
@job_options
@click.argument("places", nargs=-1, metavar="[NET|REFDES.PIN]...", shell_complete=complete_places)
def wire(path: str, as_json: bool, places: tuple[str, ...]) -> None:
    """Say where to solder wires for lifted pads and cut tracks: those marked, or the ones named."""
    from nettrace.bench.wire import plan_wires
    from nettrace.model.find import find_nets, find_pins

    opened = open_bench(path)
    board = opened.circuit.board
    lifted = list(opened.state.lifted)
    cuts = list(opened.state.cuts)
    wanted: set[str] = set()
    for word in places:
        if word in board.net_by_name or "." not in word:
            wanted.update(net.name for net in find_nets(board, word))
        else:
            pins = find_pins(board, word)
            lifted += [f"{pin.part}.{pin.number}" for pin in pins]
            wanted.update(pin.net for pin in pins if pin.net is not None)
    by_net: dict[str, tuple[list[str], list[tuple[str, str]]]] = {}
    for name in dict.fromkeys(lifted):
        net = _net_of(opened.circuit, name)
        if net is not None:
            by_net.setdefault(net, ([], []))[0].append(name)
    for pair in cuts:
        net = _net_of(opened.circuit, pair[0])
        if net is not None:
            by_net.setdefault(net, ([], []))[1].append(pair)
    chosen = {net: torn for net, torn in by_net.items() if not wanted or net in wanted}
    if not chosen:
        raise NothingMatches(
            "no torn copper", hint="Mark it: nettrace job mark JOB lifted R12.1, or name a pad."
        )
    plans = [plan_wires(opened.circuit, net, *torn) for net, torn in sorted(chosen.items())]
    if as_json:
        from nettrace.views.job_payload import wires

        write_json(board, "wires", wires(plans))
        return
    from nettrace.views.job_tables import show_wires
    from nettrace.views.tables import Sheet

    with Sheet() as sheet:
        show_wires(plans, sheet)


def _net_of(circuit: Circuit, pad: str) -> str | None:
    from nettrace.model.find import find_pins

    return find_pins(circuit.board, pad)[0].net
