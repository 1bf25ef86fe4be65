"""The command that makes pictures: draw."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from nettrace.cli.drawn import DRAWN, Drawn
from nettrace.cli.files import refuse_to_replace, write_file
from nettrace.cli.options import BoardInput, PlaceInput, board_options, place_options
from nettrace.errors import WrongUsage
from nettrace.views.text import write_json, write_note, write_text, write_warnings

if TYPE_CHECKING:
    from nettrace.bench.neighbourhood import Selection
    from nettrace.circuit.circuit import Circuit

__all__ = ["draw"]

PICTURES = ("svg", "png", "pdf", "dot")

EXAMPLES = """\
Examples:

\b
  nettrace draw samples/wren --around J3 --radius 4 -o area.svg
  nettrace draw samples/wren --around J3 --radius 4 --placed -o map.svg
  nettrace draw samples/wren --bus i2c --without R12 -o bus.png
  nettrace draw samples/wren --pad R14.2 -o -
"""


@click.command(epilog=EXAMPLES)
@place_options
@click.option("--pad", metavar="REFDES.PIN", help="Around one pad.")
@click.option("--part", metavar="REFDES", help="Around a part.")
@click.option("--net", metavar="NAME", help="Around a net.")
@click.option("--bus", metavar="NAME", help="A bus, by its name, its protocol or a net of it.")
@click.option("--placed", is_flag=True, help="A map of the area at true positions and scale.")
@click.option("--without", multiple=True, metavar="REFDES", help="A part that is missing too.")
@click.option("-o", "--output", metavar="FILE", required=True, help="FILE.svg, .png, .pdf or .dot.")
@click.option("--to", "picture", type=click.Choice(PICTURES), help="Format, if not by FILE's name.")
@click.option("--force", is_flag=True, help="Replace FILE if it is there.")
@board_options
def draw(
    source: BoardInput,
    place: PlaceInput,
    pad: str | None,
    part: str | None,
    net: str | None,
    bus: str | None,
    placed: bool,
    without: tuple[str, ...],
    output: str,
    picture: str | None,
    force: bool,
) -> None:
    """Draw a neighbourhood as a graph, or (--placed) a damaged area as a map.

    Parts that are missing are marked GONE: in an area, every part that is likely torn off.
    """
    words = {"--pad": pad, "--part": part, "--net": net, "--bus": bus}
    given = {name: word for name, word in words.items() if word is not None}
    _check_one(given, place, placed)
    kind = picture or _picture_of(output)
    if placed and kind == "dot":
        raise WrongUsage("--placed as DOT", expected="svg, png or pdf")
    if output == "-" and kind not in {"svg", "dot"}:
        raise WrongUsage(f"{kind.upper()} on the terminal", hint="Give a FILE.")
    if output != "-":
        refuse_to_replace(Path(output), force=force)
    circuit = source.load()
    content, shown, text = (
        _placed(circuit, place, without, kind)
        if placed
        else _neighbourhood(circuit, place, given, without, kind)
    )
    if output == "-":
        write_text(content if isinstance(content, str) else content.decode("utf-8"))
        return
    write_file(Path(output), content, force=force)
    if (drawn := DRAWN.get()) is not None:
        again = "" if text == content else kind
        drawn.append(Drawn(again, output, force, text) if text is not None else None)
    if source.as_json:
        size = len(content.encode("utf-8") if isinstance(content, str) else content)
        write_json(
            circuit.board, "drawing", {"path": output, "format": kind, "bytes": size, **shown}
        )
        return
    write_note(f"{output}: {shown['title']}")
    write_warnings(circuit.board)


def _check_one(given: dict[str, str], place: PlaceInput, placed: bool) -> None:
    typed = [
        name
        for name, word in (
            ("--around", place.around),
            ("--at", place.at),
            ("--box", place.box),
            ("--outline", place.outline),
        )
        if word is not None
    ]
    named = [*given, *typed]
    if len(named) != 1:
        what = f"{' and '.join(named)} together" if named else "nothing to draw"
        raise WrongUsage(
            what,
            expected="a place, or one of --pad, --part, --net and --bus",
            hint="For instance --around J3 --radius 4.",
        )
    if given and placed:
        raise WrongUsage(
            f"--placed with {named[0]}", hint="A map needs a place: --around, --at, --box..."
        )
    if given and (place.radius is not None or place.side is not None):
        option = "--radius" if place.radius is not None else "--side"
        raise WrongUsage(f"{option} with {named[0]}", hint="It goes with a place.")


def _picture_of(output: str) -> str:
    if output == "-":
        return "dot"
    ending = Path(output).suffix.lower().lstrip(".")
    if ending == "gv":
        return "dot"
    if ending not in PICTURES:
        raise WrongUsage(
            f"the name {output!r}",
            expected="an ending .svg, .png, .pdf or .dot",
            hint="Or say the format with --to.",
        )
    return ending


def _missing(circuit: Circuit, words: tuple[str, ...]) -> tuple[str, ...]:
    from nettrace.model.find import find_parts

    return tuple(
        dict.fromkeys(part.key for word in words for part in find_parts(circuit.board, word))
    )


def _neighbourhood(
    circuit: Circuit,
    place: PlaceInput,
    given: dict[str, str],
    without: tuple[str, ...],
    kind: str,
) -> tuple[str | bytes, dict[str, object], str | None]:
    """Return the file's content, what is told about it, and the text that it is made from."""
    from nettrace.bench.neighbourhood import find_neighbourhood
    from nettrace.views.graph import draw_graph, graph_title
    from nettrace.views.progress import progress

    chosen = _selection(circuit, place, given, _missing(circuit, without))
    drawing = find_neighbourhood(circuit, chosen)
    text = draw_graph(circuit, drawing)
    shown: dict[str, object] = {
        "title": graph_title(circuit, chosen),
        "parts": [key for part in drawing.parts for key in part.keys],
        "gone": [key for part in drawing.parts if part.gone for key in part.keys],
        "left_out": [*drawing.left_gone, *drawing.left_parts],
        "scale": None,  # a graph has neither scale nor side
        "side": None,
        "sheets": 1,
    }
    if kind == "dot":
        return text, shown, text
    from nettrace.views.programs import render_dot

    with progress("Drawing"):
        return render_dot(text, kind), shown, text


def _selection(
    circuit: Circuit, place: PlaceInput, given: dict[str, str], missing: tuple[str, ...]
) -> Selection:
    from nettrace.bench import neighbourhood as choice
    from nettrace.model.find import find_nets, find_parts

    if "--part" in given:
        return choice.select_parts(find_parts(circuit.board, given["--part"]), missing)
    if "--net" in given:
        return choice.select_nets(find_nets(circuit.board, given["--net"]), missing)
    if "--bus" in given:
        from nettrace.bench.lookup import find_buses

        return choice.select_buses(circuit, find_buses(circuit, given["--bus"]), missing)
    if "--pad" in given:
        from nettrace.bench.area import look_at_pad

        return choice.select_pads(circuit, look_at_pad(circuit, given["--pad"]), missing)
    from nettrace.bench.area import inspect_area

    shape, side = place.resolve(circuit.board)
    return choice.select_area(circuit, inspect_area(circuit, shape, side), missing)


def _placed(
    circuit: Circuit, place: PlaceInput, without: tuple[str, ...], kind: str
) -> tuple[str | bytes, dict[str, object], str | None]:
    from nettrace.bench.area import inspect_area
    from nettrace.views.placed import draw_placed
    from nettrace.views.progress import progress

    shape, side = place.resolve(circuit.board)
    report = inspect_area(circuit, shape, side)
    missing = _missing(circuit, without)
    with progress("Drawing"):
        map_ = draw_placed(circuit, report, missing)
    shown: dict[str, object] = {
        "title": map_.title,
        "parts": list(map_.parts),
        "left_out": [],  # a map shows all that is there; a long list goes on on further sheets
        "scale": map_.scale,
        "side": str(map_.side),
        "sheets": map_.sheets,
        "gone": list(map_.gone),
    }
    if kind == "svg":
        return map_.svg, shown, map_.svg
    from nettrace.views.programs import print_svg

    with progress("Printing"):
        return print_svg(map_.svg, kind, map_.size_mm, map_.sheets), shown, None
