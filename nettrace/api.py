"""The public calls: one for each answer of the command line, records in and records out.

Every call takes what `load` gave back. `to_json` turns an answer into what the command's `--json`
prints under its key. docs/python.md lists which command is which call.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from nettrace.errors import NothingMatches, WrongUsage

if TYPE_CHECKING:
    from nettrace.answers import (
        AreaAnswer,
        Drawing,
        NetAnswer,
        PadAnswer,
        PartAnswer,
        Powers,
        ReadingAnswer,
        Several,
        Summary,
        Ways,
        Written,
    )
    from nettrace.bench.area import PadReport
    from nettrace.bench.compare import Comparison
    from nettrace.bench.place import Shape
    from nettrace.circuit.circuit import Circuit
    from nettrace.circuit.evidence import Bus, Rail
    from nettrace.electrical.formulas import Formula, Solved
    from nettrace.model.board import Board, Side
    from nettrace.model.graph import BoardGraph
    from nettrace.values.marking import ValueAnswer

_Found = TypeVar("_Found")


def summary(circuit: Circuit) -> Summary:
    """Return what was read from which source. The command: `nettrace summary`."""
    from nettrace.answers import Summary, brief
    from nettrace.readers.registry import FORMATS

    board = circuit.board
    return Summary(
        board.name,
        board.sources,
        board.counts(),
        board.conflicts,
        tuple(circuit.rails.values()),
        circuit.buses,
        board.warnings,
        {entry.name: entry.title for entry in FORMATS},
        brief(circuit),
    )


def area(
    circuit: Circuit,
    shape: Shape | None = None,
    *,
    around: str | None = None,
    at: tuple[float, float] | None = None,
    radius_mm: float | None = None,
    box: tuple[float, float, float, float] | None = None,
    outline: Sequence[tuple[float, float]] | None = None,
    side: str | None = None,
) -> AreaAnswer:
    """Return everything in a damaged area, the worst loss first. The command: `nettrace area`.

    Args:
        circuit: from `load`.
        shape: the area as a shape; else one of the following.
        around: a part (`J3`) or a pad (`J3.1`).
        at: a point (x, y), mm, y up.
        radius_mm: how far around `around` or `at`; 5 if None.
        box: two corners (x1, y1, x2, y2), mm.
        outline: corners of a polygon, mm, three or more.
        side: one side of the board only, top or bottom.

    Raises:
        WrongUsage: no place or several; a radius that is not above 0.
        NothingMatches: no such part, or the board has no places.
    """
    from nettrace.answers import AreaAnswer, brief, net_answer, part_answer, values_of
    from nettrace.bench.area import inspect_area

    if shape is None:
        said = {
            "around": around,
            "at": None if at is None else _texts(at),
            "box": None if box is None else _texts(box),
            "outline": None if outline is None else " ".join(_texts(point) for point in outline),
        }
        shape = shape_of(circuit.board, said, radius_mm)
    report = inspect_area(circuit, shape, _side(side))
    nets = [pad.pad.net for pad in (*report.pads, *report.outlying)]
    nets += [pin.net for item in report.parts for pin in item.part.pins]
    known = brief(circuit, nets=nets)
    return AreaAnswer(
        **values_of(report),
        part_answers=tuple(part_answer(circuit, item.part, known) for item in report.parts),
        net_answers=tuple(
            net_answer(circuit, circuit.board.net_by_name[name], known) for name in report.nets
        ),
        brief=known,
    )


def _texts(numbers: Iterable[float]) -> str:
    return ",".join(repr(float(number)) for number in numbers)


def shape_of(
    board: Board, said: Mapping[str, str | None], radius_mm: float | None, dashes: str = ""
) -> Shape:
    """Return the one place that was said: around, at, box or outline, as the command line has it.

    `dashes` stands before a word in an error, as an option is written.

    Raises:
        WrongUsage: no place or several, or one that cannot be read; a radius not above 0.
        NothingMatches: no such part, or it has no place.
    """
    from nettrace.bench import place

    given = [name for name, text in said.items() if text is not None]
    radius_word = "--radius" if dashes else "radius_mm"
    if len(given) != 1:
        words = [f"{dashes}{name}" for name in given]
        raise WrongUsage(
            f"{' and '.join(words)} together" if words else "no place",
            expected=f"one of {dashes}around, {dashes}at, {dashes}box and {dashes}outline",
            hint="For instance --around J3 --radius 4." if dashes else "",
        )
    (name,) = given
    if radius_mm is not None and name in {"box", "outline"}:
        hint = f"It goes with {dashes}around and {dashes}at."
        raise WrongUsage(f"{radius_word} with {dashes}{name}", hint=hint)
    radius = place.DEFAULT_RADIUS_MM if radius_mm is None else radius_mm
    if not 0 < radius < float("inf"):
        raise WrongUsage(f"{radius_word} {radius:g}", expected="a length above 0 mm")
    text = said[name] or ""
    if name == "around":
        return place.circle_around(board, text, radius)
    if name == "at":
        return place.Circle(*place.parse_point(text), radius)
    return place.parse_box(text) if name == "box" else place.parse_outline(text)


def _side(name: str | None) -> Side | None:
    from nettrace.model.board import Side

    return None if name is None else Side(name)


def net(circuit: Circuit, name: str) -> NetAnswer:
    """Return one net: kind, voltage, pulls, what it reaches. The command: `nettrace net`.

    Raises:
        NothingMatches: no such net; the nearest names are offered.
        WrongUsage: the name is a wildcard for several; see `nets`.
    """
    return _only(nets(circuit, name), name, "nets")


def nets(circuit: Circuit, pattern: str) -> Several[NetAnswer]:
    """Return the nets that a name or a wildcard means, in natural order.

    What the parts on a net do is told for a few nets, not for a long list.
    """
    from nettrace.answers import FEW, Several, brief, net_answer
    from nettrace.model.find import find_nets

    found = find_nets(circuit.board, pattern)
    parts = [pin.part for item in found for pin in item.pins] if len(found) <= FEW else []
    rails = [circuit.rails[item.name] for item in found if item.name in circuit.rails]
    parts += [rail.source for rail in rails if rail.source is not None]
    known = brief(circuit, parts, [item.name for item in found])
    return Several((net_answer(circuit, item, known) for item in found), brief=known)


def part(circuit: Circuit, refdes: str) -> PartAnswer:
    """Return one part: values, roles, what happens without it. The command: `nettrace part`.

    Raises:
        NothingMatches: no such part; the nearest names are offered.
        WrongUsage: the name means several; see `parts`.
    """
    return _only(parts(circuit, refdes), refdes, "parts")


def parts(circuit: Circuit, pattern: str) -> Several[PartAnswer]:
    """Return the parts that a refdes or a wildcard means, in natural order."""
    from nettrace.answers import Several, brief, part_answer
    from nettrace.model.find import find_parts

    found = find_parts(circuit.board, pattern)
    known = brief(circuit, nets=[pin.net for item in found for pin in item.pins])
    return Several((part_answer(circuit, item, known) for item in found), brief=known)


def _only(found: Sequence[_Found], name: str, many: str) -> _Found:
    if len(found) > 1:
        raise WrongUsage(f"{name!r} means {len(found)} {many}", hint=f"`{many}` gives them all.")
    return found[0]


def pad(
    circuit: Circuit,
    name: str | None = None,
    *,
    at: tuple[float, float] | None = None,
    side: str | None = None,
) -> PadAnswer:
    """Return one pad, by name (`R41.2`) or the nearest to a point. The command: `nettrace pad`.

    Raises:
        WrongUsage: both a name and a point, or neither; a name of several pads.
        NothingMatches: no such pad, or the board has no places.
    """
    from nettrace.model.find import one_of_pads

    if (name is None) == (at is None) or (side is not None and at is None):
        raise WrongUsage("no one pad", expected="a name, or `at` with or without `side`")
    found = pads(circuit, name, at=at, side=side)
    if len(found) > 1:
        pins = [report.pin for report in found if report.pin is not None]
        raise WrongUsage(f"{name!r} means {len(found)} pads", hint=one_of_pads(circuit.board, pins))
    return found[0]


def pads(
    circuit: Circuit,
    name: str | None = None,
    *,
    at: tuple[float, float] | None = None,
    side: str | None = None,
) -> Several[PadAnswer]:
    """Return the pads that a name means (a part may be drawn twice), or the nearest to a point."""
    from nettrace.answers import Several, brief, pad_answer
    from nettrace.bench.area import look_at_pad, look_at_point

    found: Sequence[PadReport]
    if at is not None:
        found = [look_at_point(circuit, *at, _side(side))]
    else:
        found = look_at_pad(circuit, name or "")
    nets = [pin.net for report in found for pin in report.part.pins]
    nets += [near.pad.net for report in found for near in (*report.others, *report.neighbours)]
    known = brief(circuit, nets=[*nets, *(report.net for report in found)])
    return Several((pad_answer(circuit, report, known) for report in found), brief=known)


def rail(circuit: Circuit, name: str | None = None) -> Several[Rail]:
    """Return rails and grounds, all or those of a name. The command: `nettrace rail`.

    Raises:
        NothingMatches: no such net, or it is no rail.
    """
    from nettrace.answers import Several, brief
    from nettrace.bench.lookup import find_rails

    found = find_rails(circuit, name)
    sources = [item.source for item in found if item.source is not None]
    return Several(found, brief=brief(circuit, sources))


def bus(circuit: Circuit, name: str | None = None) -> Several[Bus]:
    """Return serial buses, all or those of a name, protocol or net. The command: `nettrace bus`.

    Raises:
        NothingMatches: no such bus.
    """
    from nettrace.answers import Several, brief
    from nettrace.bench.lookup import find_buses

    return Several(find_buses(circuit, name), brief=brief(circuit))


def path(circuit: Circuit, start: str, end: str) -> Ways:
    """Return the shortest ways between two nets or pads. The command: `nettrace path`.

    Returns:
        Ways through series parts with the fewest parts; () where nothing ties the two.

    Raises:
        NothingMatches: no such net or pad.
        WrongUsage: a name means several.
    """
    from nettrace.answers import Ways, brief
    from nettrace.bench.lookup import find_one_net, find_ways

    names = [find_one_net(circuit.board, words).name for words in (start, end)]
    reached = tuple(tuple(reach.net for reach in circuit.reaches(name)) for name in names)
    ways = find_ways(circuit, *names)
    return Ways(ways, start=names[0], end=names[1], reached=reached, brief=brief(circuit))


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
        NothingMatches: no such pad, net or part; or nothing to measure it against.
        WrongUsage: a name means several, or a changed part is not between two nets.
    """
    from nettrace.answers import ReadingAnswer
    from nettrace.bench.metered import measure_pad, metered_board
    from nettrace.electrical.expected import MeteredBoard

    board = metered_board(circuit, without, rails, changed)
    now = measure_pad(board, pad, to)
    if not now:
        raise NothingMatches(
            f"nothing to measure {pad} against",
            hint="It is on no net, or the board has no ground; give the other probe with --to.",
        )
    fitted = measure_pad(MeteredBoard(circuit, rails=board.rails), pad, to)
    gone, name = tuple(sorted(board.without)), circuit.board.name
    return ReadingAnswer(now, fitted, gone, board.changes, pad, name)


def power(
    circuit: Circuit,
    *,
    without: Iterable[str] = (),
    rails: Mapping[str, float] | None = None,
    changed: Mapping[str, float] | None = None,
) -> Powers:
    """Return the power in every resistor against its rating. The command: `reading --power`.

    Returns:
        Resistors above 0 Ω whose power the rails settle, the nearest to its rating first.

    Arguments and errors as for `reading`.
    """
    from nettrace.answers import Powers
    from nettrace.bench.metered import metered_board

    found = metered_board(circuit, without, rails, changed).heats()
    return Powers(found, board=circuit.board.name)


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


def formula(name: str, **inputs: str | float) -> Solved:
    """Work out a formula of the bench. The command: `nettrace formula`.

    Inputs are texts as the trade writes them (`"4k7"`) or numbers in SI units.

    Raises:
        NothingMatches: no such formula.
        WrongUsage: an input is missing, unknown or out of range.
    """
    from nettrace.electrical.formulas import solve_formula

    said = {key: text if isinstance(text, str) else f"{text:.12g}" for key, text in inputs.items()}
    return solve_formula(name, said)


def formulas() -> tuple[Formula, ...]:
    """Return the formulas that there are. The command: `nettrace formula` without a name."""
    from nettrace.electrical.formulas import FORMULAS

    return FORMULAS


def compare(board: Circuit | Board, other: Circuit | Board | Path | str) -> Comparison:
    """Compare `other` against `board`: opens, shorts, missing parts. The command: `compare`.

    Raises:
        BadInput: `other` is a path that cannot be read.
    """
    from nettrace.bench.compare import compare_boards
    from nettrace.loading import load_board

    second = load_board(other) if isinstance(other, (str, Path)) else _board(other)
    return compare_boards(_board(board), second)


def convert(board: Circuit | Board, to: str) -> str:
    """Return the board as text of another format. The command: `nettrace convert`.

    Args:
        board: from `load` or `load_board`.
        to: json, edif, ipc-d-356, spice, kicad_net, csv, graphml or sheet.

    Raises:
        WrongUsage: no such format, or it cannot hold this board.
    """
    return write(board, to).text


def write(board: Circuit | Board, to: str) -> Written:
    """Return the board as text of another format, and what that format has no form for.

    Arguments and errors as for `convert`.
    """
    from nettrace.answers import Written
    from nettrace.writers.registry import left_out, write_board

    known = _board(board)
    return Written(write_board(known, to), to, left_out(known, to))


def draw(
    circuit: Circuit,
    shape: Shape | None = None,
    *,
    side: str | None = None,
    part: str | None = None,
    net: str | None = None,
    bus: str | None = None,
    pad: str | None = None,
    placed: bool = False,
    without: Iterable[str] = (),
    to: str = "svg",
) -> Drawing:
    """Draw a neighbourhood as a graph, or a damaged area as a map. The command: `nettrace draw`.

    Args:
        circuit: from `load`.
        shape: the damaged area; else one of `part`, `net`, `bus` and `pad`.
        side: one side of the area only.
        part: a refdes or wildcard.
        net: a name or wildcard.
        bus: a name, a protocol, or a net of it.
        pad: `REFDES.PIN`.
        placed: a map of the area at true positions and scale, and no graph.
        without: parts that are missing too, wildcards allowed.
        to: svg, png, pdf or (a graph) dot.

    Raises:
        NothingMatches: no such part, net, bus or pad; or nothing in the area.
        CannotDraw: no program that draws.
    """
    from nettrace.answers import Drawing
    from nettrace.bench.area import inspect_area, look_at_pad
    from nettrace.model.find import find_nets, find_parts

    missing = (each.key for word in without for each in find_parts(circuit.board, word))
    gone = tuple(dict.fromkeys(missing))
    area = None if shape is None else inspect_area(circuit, shape, _side(side))
    content: str | bytes
    if placed and area is not None:
        from nettrace.views.placed import draw_placed

        drawn = draw_placed(circuit, area, gone)
        content = drawn.svg
        if to != "svg":
            from nettrace.views.programs import print_svg

            content = print_svg(drawn.svg, to, drawn.size_mm, drawn.sheets)
        on_it = tuple(drawn.parts), tuple(drawn.gone), ()  # a long list goes on on further sheets
        facts = drawn.scale, str(drawn.side), drawn.sheets
        return Drawing(content, to, drawn.title, *on_it, *facts, drawn.svg if to == "svg" else None)
    from nettrace.bench import lookup, neighbourhood
    from nettrace.views.graph import draw_graph, graph_title

    if area is not None:
        chosen = neighbourhood.select_area(circuit, area, gone)
    elif part is not None:
        chosen = neighbourhood.select_parts(find_parts(circuit.board, part), gone)
    elif net is not None:
        chosen = neighbourhood.select_nets(find_nets(circuit.board, net), gone)
    elif bus is not None:
        chosen = neighbourhood.select_buses(circuit, lookup.find_buses(circuit, bus), gone)
    else:
        chosen = neighbourhood.select_pads(circuit, look_at_pad(circuit, pad or ""), gone)
    found = neighbourhood.find_neighbourhood(circuit, chosen)
    content = text = draw_graph(circuit, found)
    if to != "dot":
        from nettrace.views.programs import render_dot

        content = render_dot(text, to)
    return Drawing(
        content,
        to,
        graph_title(circuit, chosen),
        tuple(key for each in found.parts for key in each.keys),
        tuple(key for each in found.parts if each.gone for key in each.keys),
        (*found.left_gone, *found.left_parts),
        made_from=text,
    )


def graph(board: Circuit | Board) -> BoardGraph:
    """Return the board as a networkx graph of parts and nets, with the way back to its records."""
    from nettrace.model.graph import BoardGraph

    return BoardGraph(_board(board))


def _board(item: Circuit | Board) -> Board:
    from nettrace.model.board import Board

    return item if isinstance(item, Board) else item.board


def to_json(circuit: Circuit, answer: object) -> object:
    """Return an answer in the shapes of `--json`: plain dicts, lists, numbers and texts.

    A tuple becomes a list. Unknown is None.

    Raises:
        TypeError: not an answer.
    """
    from nettrace.views.encode import encode

    return encode(answer, circuit.board)
