"""Commands that look at a board: summary, area, net, part, pad, rail, bus, path.

Each imports what it needs when it runs, so that its `--help` and the others load none of it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from nettrace.cli.completion import (
    complete_buses,
    complete_nets,
    complete_pads,
    complete_parts,
    complete_places,
    complete_rails,
)
from nettrace.cli.options import (
    BoardInput,
    PlaceInput,
    board_options,
    place_options,
    side_named,
    side_option,
)
from nettrace.errors import ExitCode, WrongUsage
from nettrace.views.text import write_json, write_warnings

if TYPE_CHECKING:
    from nettrace.bench.area import PadReport

__all__ = ["area", "bus", "net", "pad", "part", "path", "rail", "summary"]


SUMMARY_EXAMPLES = """\
\b
  nettrace summary samples/wren
  nettrace summary board.d356 --with parts.csv
"""


@click.command(epilog=SUMMARY_EXAMPLES)
@board_options
def summary(source: BoardInput) -> None:
    """Say what was read from which source: counts, rails, buses, warnings, conflicts."""
    circuit = source.load()
    if source.as_json:
        from nettrace.views import payload

        write_json(circuit.board, "summary", payload.summary(circuit))
        return
    from nettrace.views import tables_board

    tables_board.show_summary(circuit)


PLACES = """\
Name the place in one of four ways:

\b
  --around J3 --radius 4      around a part or a pad
  --at 12.5,-3 --radius 4     around a point
  --box 0,0,10,5              in a rectangle
  --outline "0,0 9,0 9,4"     in a polygon

\b
  nettrace area samples/wren --around J3 --radius 4
  nettrace area samples/wren --at 114,-131.6 --radius 3 --side top
"""


@click.command(epilog=PLACES)
@place_options
@board_options
def area(source: BoardInput, place: PlaceInput) -> None:
    """Say what was in a damaged area: every pad, net, rail and part, the worst loss first.

    A pad counts when its middle is in the area.
    """
    from nettrace.bench.area import inspect_area

    circuit = source.load()
    shape, side = place.resolve(circuit.board)
    report = inspect_area(circuit, shape, side)
    if source.as_json:
        from nettrace.views import payload_place

        write_json(circuit.board, "area", payload_place.area(circuit, report))
        return
    from nettrace.views import tables_area

    tables_area.show_area(circuit, report)
    write_warnings(circuit.board)


NET_EXAMPLES = """\
\b
  nettrace net samples/wren GAUGE_SDA
  nettrace net samples/wren '*SDA*'
  nettrace net samples/wren TS --json
"""


@click.command(epilog=NET_EXAMPLES)
@board_options
@click.argument("name", shell_complete=complete_nets)
def net(source: BoardInput, name: str) -> None:
    """Show a net: its kind, voltage and why, pins, pulls, and what it reaches.

    NAME may hold * and ?.
    """
    from nettrace.model.find import find_nets

    circuit = source.load()
    nets = find_nets(circuit.board, name)
    if source.as_json:
        from nettrace.views import payload

        if _means_one(name, len(nets)):
            write_json(circuit.board, "net", payload.net(circuit, nets[0]))
        else:
            write_json(circuit.board, "nets", [payload.net(circuit, item) for item in nets])
        return
    from nettrace.views import tables_net

    tables_net.show_nets(circuit, nets)
    write_warnings(circuit.board)


def _means_one(pattern: str, found: int) -> bool:
    from nettrace.model.names import has_wildcard

    return found == 1 and not has_wildcard(pattern)


PART_EXAMPLES = """\
\b
  nettrace part samples/wren R14
  nettrace part samples/wren 'FB*'
"""


@click.command(epilog=PART_EXAMPLES)
@board_options
@click.argument("refdes", shell_complete=complete_parts)
def part(source: BoardInput, refdes: str) -> None:
    """Show a part: value, pins and nets, what it likely does, what happens without it.

    REFDES may hold * and ?.
    """
    from nettrace.model.find import find_parts

    circuit = source.load()
    parts = find_parts(circuit.board, refdes)
    if source.as_json:
        from nettrace.views import payload

        one = refdes in circuit.board.part_by_key or _means_one(refdes, len(parts))
        if one:
            write_json(circuit.board, "part", payload.part(circuit, parts[0]))
        else:
            write_json(circuit.board, "parts", [payload.part(circuit, item) for item in parts])
        return
    from nettrace.views import tables_part

    tables_part.show_parts(circuit, parts)
    write_warnings(circuit.board)


PAD_EXAMPLES = """\
\b
  nettrace pad samples/wren R12.2
  nettrace pad samples/wren --at 115.8,-128.4 --side top
"""


@click.command(epilog=PAD_EXAMPLES)
@board_options
@click.argument("pad", required=False, metavar="[REFDES.PIN]", shell_complete=complete_pads)
@click.option("--at", metavar="X,Y", help="The pad nearest to a point: mm, y up.")
@side_option
def pad(source: BoardInput, pad: str | None, at: str | None, side: str | None) -> None:
    """Show one pad, by name or by place: its net, its neighbours, both ends of its part."""
    from nettrace.bench.area import look_at_pad, look_at_point
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
    found: tuple[PadReport, ...]
    if point is not None:
        found = (look_at_point(circuit, *point, side_named(side)),)
    else:
        found = look_at_pad(circuit, pad or "")
    if source.as_json:
        from nettrace.views import payload_place

        if _means_one(pad or "", len(found)):
            write_json(circuit.board, "pad", payload_place.pad(circuit, found[0]))
        else:
            write_json(circuit.board, "pads", [payload_place.pad(circuit, item) for item in found])
        return
    from nettrace.views import tables_part

    tables_part.show_pads(circuit, found)
    write_warnings(circuit.board)


RAIL_EXAMPLES = """\
\b
  nettrace rail samples/wren
  nettrace rail samples/wren +3V3
  nettrace rail samples/wren VSYS --rail VSYS=4.1
"""


@click.command(epilog=RAIL_EXAMPLES)
@board_options
@click.argument("name", required=False, shell_complete=complete_rails)
def rail(source: BoardInput, name: str | None) -> None:
    """Show rails and grounds: voltage and why, source, loads, decoupling.

    NAME may hold * and ?; without it, all.
    """
    from nettrace.bench.lookup import find_rails

    circuit = source.load()
    rails = find_rails(circuit, name)
    if source.as_json:
        from nettrace.views import payload

        write_json(circuit.board, "rails", [payload.rail(circuit, item) for item in rails])
        return
    from nettrace.views import tables_net

    tables_net.show_rails(circuit, rails)
    write_warnings(circuit.board)


BUS_EXAMPLES = """\
\b
  nettrace bus samples/wren
  nettrace bus samples/wren i2c
  nettrace bus samples/wren GAUGE_SDA
"""


@click.command(epilog=BUS_EXAMPLES)
@board_options
@click.argument("name", required=False, shell_complete=complete_buses)
def bus(source: BoardInput, name: str | None) -> None:
    """Show serial buses: lines, pull-ups and whether they suit, every part on the bus.

    NAME is a bus, a protocol or a net of it, and may hold * and ?; without it, all.
    """
    from nettrace.bench.lookup import find_buses

    circuit = source.load()
    buses = find_buses(circuit, name)
    if source.as_json:
        from nettrace.views import payload

        write_json(circuit.board, "buses", [payload.bus(circuit, item) for item in buses])
        return
    from nettrace.views import tables_net

    tables_net.show_buses(circuit, buses)
    write_warnings(circuit.board)


PATH_EXAMPLES = """\
\b
  nettrace path samples/wren J3.2 TS
  nettrace path samples/wren VBUS VSYS
"""


@click.command(epilog=PATH_EXAMPLES)
@board_options
@click.argument("from_", metavar="FROM", shell_complete=complete_places)
@click.argument("to", metavar="TO", shell_complete=complete_places)
def path(source: BoardInput, from_: str, to: str) -> int:
    """Show how two nets or pads are tied through series parts: all shortest ways.

    FROM and TO are nets or pads (REFDES.PIN). Exit 3 if nothing ties them.
    """
    from nettrace.bench.lookup import find_one_net, find_ways

    circuit = source.load()
    start, end = find_one_net(circuit.board, from_), find_one_net(circuit.board, to)
    ways = find_ways(circuit, start.name, end.name)
    if source.as_json:
        from nettrace.views import payload

        write_json(circuit.board, "paths", [payload.way(circuit, way) for way in ways])
    else:
        from nettrace.views import tables_net

        tables_net.show_ways(circuit, start, end, ways)
        write_warnings(circuit.board)
    return int(ExitCode.DONE if ways else ExitCode.NOTHING)
