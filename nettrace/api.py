"""The public calls: one for each answer of the command line, records in and records out.

Every call takes what `load` gave back. `to_json` turns an answer into what the command's `--json`
prints under its key. docs/python.md lists which command is which call.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeVar

from nettrace.api_answers import NetAnswer, PartAnswer, ReadingAnswer, Summary
from nettrace.api_json import to_json
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Bus, Rail
from nettrace.errors import WrongUsage
from nettrace.loading import load, load_board
from nettrace.model.board import Board, Side

if TYPE_CHECKING:
    from nettrace.bench.area import AreaReport, PadReport
    from nettrace.bench.compare import Comparison
    from nettrace.bench.lookup import Way
    from nettrace.bench.place import Shape
    from nettrace.electrical.expected import Heat
    from nettrace.electrical.formulas import Answer
    from nettrace.model.graph import BoardGraph
    from nettrace.values.marking import ValueAnswer

__all__ = [
    "NetAnswer",
    "PartAnswer",
    "ReadingAnswer",
    "Summary",
    "area",
    "bus",
    "compare",
    "convert",
    "formula",
    "graph",
    "load",
    "load_board",
    "net",
    "nets",
    "pad",
    "part",
    "parts",
    "path",
    "power",
    "rail",
    "reading",
    "summary",
    "to_json",
    "value",
]

SideName = Literal["top", "bottom"]
_Found = TypeVar("_Found")


def summary(circuit: Circuit) -> Summary:
    """Return what was read from which source. The command: `nettrace summary`."""
    board = circuit.board
    return Summary(
        circuit,
        board.name,
        board.sources,
        board.counts(),
        board.conflicts,
        tuple(circuit.rails.values()),
        circuit.buses,
    )


def area(
    circuit: Circuit,
    *,
    around: str | None = None,
    at: tuple[float, float] | None = None,
    radius_mm: float | None = None,
    box: tuple[float, float, float, float] | None = None,
    outline: Sequence[tuple[float, float]] | None = None,
    side: SideName | None = None,
) -> AreaReport:
    """Return everything in a damaged area, the worst loss first. The command: `nettrace area`.

    Args:
        circuit: from `load`.
        around: a part (`J3`) or a pad (`J3.1`).
        at: a point (x, y), mm, y up.
        radius_mm: how far around `around` or `at`; 5 if None.
        box: two corners (x1, y1, x2, y2), mm.
        outline: corners of a polygon, mm, three or more.
        side: one side of the board only.

    Raises:
        WrongUsage: no place or several; a radius that is not above 0.
        NothingMatches: no such part, or the board has no places.
    """
    from nettrace.bench.area import inspect_area

    return inspect_area(circuit, _shape(circuit, around, at, radius_mm, box, outline), _side(side))


def _shape(
    circuit: Circuit,
    around: str | None,
    at: tuple[float, float] | None,
    radius_mm: float | None,
    box: tuple[float, float, float, float] | None,
    outline: Sequence[tuple[float, float]] | None,
) -> Shape:
    from nettrace.bench import place

    said = {"around": around, "at": at, "box": box, "outline": outline}
    given = [name for name, value in said.items() if value is not None]
    if len(given) != 1:
        what = " and ".join(given) + " together" if given else "no place"
        raise WrongUsage(what, expected="one of around, at, box and outline")
    if radius_mm is not None and given[0] in {"box", "outline"}:
        raise WrongUsage(f"radius_mm with {given[0]}")
    radius = place.DEFAULT_RADIUS_MM if radius_mm is None else radius_mm
    if not 0 < radius < float("inf"):
        raise WrongUsage(f"radius_mm={radius:g}", expected="a length above 0 mm")
    if around is not None:
        return place.circle_around(circuit.board, around, radius)
    if at is not None:
        return place.Circle(*at, radius)
    # the parsers check and put in order what they read; numbers take the same way
    if box is not None:
        return place.parse_box(",".join(repr(float(number)) for number in box))
    points = ((float(x), float(y)) for x, y in outline or ())
    return place.parse_outline(" ".join(f"{x!r},{y!r}" for x, y in points))


def _side(name: SideName | None) -> Side | None:
    return None if name is None else Side(name)


def net(circuit: Circuit, name: str) -> NetAnswer:
    """Return one net: kind, voltage, pulls, what it reaches. The command: `nettrace net`.

    Raises:
        NothingMatches: no such net; the nearest names are offered.
        WrongUsage: the name is a wildcard for several; see `nets`.
    """
    return _only(nets(circuit, name), name, "nets")


def nets(circuit: Circuit, pattern: str) -> tuple[NetAnswer, ...]:
    """Return the nets that a name or a wildcard means, in natural order."""
    from nettrace.model.find import find_nets

    return tuple(
        NetAnswer(
            item,
            circuit.net_kind(item.name),
            circuit.volts(item.name),
            circuit.pulls.get(item.name, ()),
            circuit.reaches(item.name),
        )
        for item in find_nets(circuit.board, pattern)
    )


def part(circuit: Circuit, refdes: str) -> PartAnswer:
    """Return one part: values, roles, what happens without it. The command: `nettrace part`.

    Raises:
        NothingMatches: no such part; the nearest names are offered.
        WrongUsage: the name means several; see `parts`.
    """
    return _only(parts(circuit, refdes), refdes, "parts")


def parts(circuit: Circuit, pattern: str) -> tuple[PartAnswer, ...]:
    """Return the parts that a refdes or a wildcard means, in natural order."""
    from nettrace.bench.area import lacks_value
    from nettrace.model.find import find_parts

    return tuple(
        PartAnswer(
            item,
            circuit.kinds[item.key],
            circuit.roles(item.key),
            circuit.absence(item.key),
            circuit.proposals(item.key) if lacks_value(circuit.kinds[item.key]) else (),
        )
        for item in find_parts(circuit.board, pattern)
    )


def _only(found: Sequence[_Found], name: str, many: str) -> _Found:
    if len(found) > 1:
        raise WrongUsage(f"{name!r} means {len(found)} {many}", hint=f"`{many}` gives them all.")
    return found[0]


def pad(
    circuit: Circuit,
    name: str | None = None,
    *,
    at: tuple[float, float] | None = None,
    side: SideName | None = None,
) -> PadReport:
    """Return one pad, by name (`R41.2`) or the nearest to a point. The command: `nettrace pad`.

    Raises:
        WrongUsage: both a name and a point, or neither; a name of several pads.
        NothingMatches: no such pad, or the board has no places.
    """
    from nettrace.bench.area import look_at_pad, look_at_point
    from nettrace.model.find import one_of_pads

    if at is not None and name is None:
        return look_at_point(circuit, *at, _side(side))
    if name is None or at is not None or side is not None:
        raise WrongUsage("no one pad", expected="a name, or `at` with or without `side`")
    found = look_at_pad(circuit, name)
    if len(found) > 1:
        pins = [report.pin for report in found if report.pin is not None]
        raise WrongUsage(f"{name!r} means {len(found)} pads", hint=one_of_pads(circuit.board, pins))
    return found[0]


def rail(circuit: Circuit, name: str | None = None) -> tuple[Rail, ...]:
    """Return rails and grounds, all or those of a name. The command: `nettrace rail`.

    Raises:
        NothingMatches: no such net, or it is no rail.
    """
    from nettrace.bench.lookup import find_rails

    return find_rails(circuit, name)


def bus(circuit: Circuit, name: str | None = None) -> tuple[Bus, ...]:
    """Return serial buses, all or those of a name, protocol or net. The command: `nettrace bus`.

    Raises:
        NothingMatches: no such bus.
    """
    from nettrace.bench.lookup import find_buses

    return find_buses(circuit, name)


def path(circuit: Circuit, start: str, end: str) -> tuple[Way, ...]:
    """Return the shortest ways between two nets or pads. The command: `nettrace path`.

    Returns:
        Ways through series parts with the fewest parts; () where nothing ties the two.

    Raises:
        NothingMatches: no such net or pad.
        WrongUsage: a name means several.
    """
    from nettrace.bench.lookup import find_one_net, find_ways

    first, last = find_one_net(circuit.board, start), find_one_net(circuit.board, end)
    return find_ways(circuit, first.name, last.name)


def reading(
    circuit: Circuit,
    pad: str,
    *,
    to: str | None = None,
    without: Iterable[str] = (),
    rails: Mapping[str, float] | None = None,
    changed: Mapping[str, float] | None = None,
) -> ReadingAnswer:
    """Return what a meter should show at a pad or net. The command: `nettrace reading`.

    Args:
        circuit: from `load`.
        pad: `REFDES.PIN` or a net.
        to: the other probe; None takes ground, the rail and the part's other pins.
        without: parts that are missing, wildcards allowed.
        rails: net -> volts that are on; None or empty means every rail of known voltage.
        changed: refdes of a part of two nets -> the resistance it has instead, Ω; 0 is a short.

    Raises:
        NothingMatches: no such pad, net or part.
        WrongUsage: a name means several, or a changed part is not between two nets.
    """
    from nettrace.bench.metered import Lying, measure_pad

    found = measure_pad(circuit, pad, to, Lying(tuple(without), rails or {}, changed or {}))
    return ReadingAnswer(found.now, found.fitted, found.without, found.changed)


def power(
    circuit: Circuit,
    *,
    without: Iterable[str] = (),
    rails: Mapping[str, float] | None = None,
    changed: Mapping[str, float] | None = None,
) -> tuple[Heat, ...]:
    """Return the power in every resistor against its rating. The command: `reading --power`.

    Returns:
        Resistors above 0 Ω whose power the rails settle, the nearest to its rating first.

    Arguments and errors as for `reading`.
    """
    from nettrace.bench.metered import Lying, measure_power

    return measure_power(circuit, Lying(tuple(without), rails or {}, changed or {}))


def value(text: str, *, series: str | None = None, tolerance: float | None = None) -> ValueAnswer:
    """Return every meaning of a marking or value text. The command: `nettrace value`.

    Args:
        text: such as `01C`, `4R7`, `22uF 6.3V 20%`.
        series: E series to make the value from, such as `E24`.
        tolerance: how far a combination may be off, fraction (0.01 is 1 %).

    Raises:
        NothingMatches: no rule reads the text.
        ValueError: no such series.
    """
    from nettrace.values.marking import explain_value

    return explain_value(text, series, tolerance)


def formula(name: str, **inputs: str | float) -> tuple[Answer, ...]:
    """Work out a formula of the bench. The command: `nettrace formula`.

    Inputs are texts as the trade writes them (`"4k7"`) or numbers in SI units.

    Raises:
        NothingMatches: no such formula.
        WrongUsage: an input is missing, unknown or out of range.
    """
    from nettrace.electrical.formulas import solve_formula

    said = {key: text if isinstance(text, str) else f"{text:.12g}" for key, text in inputs.items()}
    return solve_formula(name, said)


def compare(board: Circuit | Board, other: Circuit | Board | Path | str) -> Comparison:
    """Compare `other` against `board`: opens, shorts, missing parts. The command: `compare`.

    Raises:
        BadInput: `other` is a path that cannot be read.
    """
    from nettrace.bench.compare import compare_boards

    if isinstance(other, (str, Path)):
        other = load_board(other)
    return compare_boards(_board(board), _board(other))


def convert(board: Circuit | Board, to: str) -> str:
    """Return the board as text of another format. The command: `nettrace convert`.

    Args:
        board: from `load` or `load_board`.
        to: json, edif, ipc-d-356, spice, kicad_net, csv, graphml or sheet.

    Raises:
        WrongUsage: no such format, or it cannot hold this board.
    """
    from nettrace.writers.registry import write_board

    return write_board(_board(board), to)


def graph(board: Circuit | Board) -> BoardGraph:
    """Return the board as a networkx graph of parts and nets, with the way back to its records."""
    from nettrace.model.graph import BoardGraph

    return BoardGraph(_board(board))


def _board(item: Circuit | Board) -> Board:
    return item.board if isinstance(item, Circuit) else item
