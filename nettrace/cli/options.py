"""What commands share: BOARD and how to read it, `--json`, and the options for a place."""

from __future__ import annotations

import gc
from collections.abc import Callable, Mapping
from contextvars import ContextVar
from dataclasses import dataclass
from functools import wraps
from typing import TYPE_CHECKING, ParamSpec, TypeVar

import click

from nettrace.cli.completion import complete_files, complete_nets, complete_pads
from nettrace.errors import WrongUsage

if TYPE_CHECKING:
    from nettrace.bench.place import Shape
    from nettrace.circuit.circuit import Circuit
    from nettrace.model.board import Board, Side

__all__ = [
    "LOADED",
    "BoardInput",
    "PlaceInput",
    "board_options",
    "place_options",
    "side_named",
    "side_option",
]

#: What commands have loaded, for the one who wants to keep their answers: (paths, circuit).
LOADED: ContextVar[list[tuple[tuple[str, ...], Circuit]] | None] = ContextVar(
    "LOADED", default=None
)

_P = ParamSpec("_P")
_R = TypeVar("_R")


@dataclass(frozen=True, slots=True)
class BoardInput:
    """BOARD and the words said with it; `as_json` is how the answer is wanted."""

    path: str
    with_files: tuple[str, ...]
    format_name: str | None
    hierarchy: str | None
    rails: tuple[str, ...]
    as_json: bool
    use_cache: bool

    def load(self) -> Circuit:
        """Read it all and return the circuit."""
        from nettrace.loading import load
        from nettrace.views.progress import progress

        with progress(f"Reading {self.path}"):
            circuit = load(
                self.path,
                self.with_files,
                format_name=self.format_name,
                rails=rail_notes(self.rails),
                hierarchy=self.hierarchy,
            )
        # the board stays to the end: the collector need not walk it again and again
        gc.freeze()
        loaded = LOADED.get()
        if loaded is not None:
            loaded.append(((self.path, *self.with_files), circuit))
        return circuit


def rail_notes(words: tuple[str, ...]) -> Mapping[str, float]:
    """Return net name -> volts of the `NAME=V` words."""
    notes: dict[str, float] = {}
    for word in words:
        name, equals, volts = word.rpartition("=")
        if not equals or not name.strip():
            raise WrongUsage(f"--rail {word!r}", expected="NAME=V", hint="Write it like +1V8=1.8.")
        from nettrace.values.quantity import parse_quantity

        notes[name.strip()] = parse_quantity(volts, "V")
    return notes


def board_options(command: Callable[_P, _R]) -> Callable[..., _R]:
    """Add BOARD and its options; the command gets them as one `BoardInput` named `source`."""

    @click.argument("board", metavar="BOARD", shell_complete=complete_files)
    @click.option(
        "--with",
        "with_files",
        multiple=True,
        metavar="FILE",
        help="Add a source.",
        shell_complete=complete_files,
    )
    @click.option(
        "--format", "format_name", metavar="NAME", help="Format of BOARD, if not by content."
    )
    @click.option(
        "--hierarchy",
        type=click.Choice(["flatten", "keep"]),
        help="Expand sheets and subcircuits, or keep each as one part.",
    )
    @click.option(
        "--rail",
        "rails",
        multiple=True,
        metavar="NAME=V",
        help="A rail's voltage, as you know it.",
        shell_complete=complete_nets,
    )
    @click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
    @click.option("--no-cache", is_flag=True, help="Read the sources anew.")
    @click.option("--debug", is_flag=True, help="Show where in the program an error arose.")
    @wraps(command)
    def wrapped(*args: _P.args, **kwargs: _P.kwargs) -> _R:
        said = dict(kwargs)
        said.pop("debug")  # main() looks for it itself: it must count before options are read
        source = BoardInput(
            path=str(said.pop("board")),
            with_files=_words(said.pop("with_files")),
            format_name=_text(said.pop("format_name")),
            hierarchy=_text(said.pop("hierarchy")),
            rails=_words(said.pop("rails")),
            as_json=bool(said.pop("as_json")),
            use_cache=not said.pop("no_cache"),
        )
        return command(*args, source=source, **said)  # type: ignore[arg-type] # click's own kwargs

    return wrapped


def _words(value: object) -> tuple[str, ...]:
    return tuple(str(word) for word in value) if isinstance(value, (tuple, list)) else ()


def _text(value: object) -> str | None:
    return None if value is None else str(value)


@dataclass(frozen=True, slots=True)
class PlaceInput:
    """The place as it was typed; `resolve` turns it into a shape on a board."""

    around: str | None
    at: str | None
    radius: float | None
    box: str | None
    outline: str | None
    side: str | None

    def resolve(self, board: Board) -> tuple[Shape, Side | None]:
        """Return the shape and side.

        Raises:
            WrongUsage: none or several places given, or one that cannot be read.
            NothingMatches: no such part, or it has no place.
        """
        from nettrace.bench import place

        given = [
            name
            for name, word in (
                ("--around", self.around),
                ("--at", self.at),
                ("--box", self.box),
                ("--outline", self.outline),
            )
            if word is not None
        ]
        if len(given) != 1:
            what = f"{' and '.join(given)} together" if given else "no place"
            raise WrongUsage(
                f"{what}",
                expected="one of --around, --at, --box and --outline",
                hint="For instance --around J3 --radius 4.",
            )
        radius = place.DEFAULT_RADIUS_MM if self.radius is None else self.radius
        if self.radius is not None and (self.box or self.outline):
            raise WrongUsage(f"--radius with {given[0]}", hint="It goes with --around and --at.")
        if not 0 < radius < float("inf"):
            raise WrongUsage(f"--radius {radius:g}", expected="a length above 0 mm")
        side = side_named(self.side)
        if self.around is not None:
            return place.circle_around(board, self.around, radius), side
        if self.at is not None:
            x, y = place.parse_point(self.at)
            return place.Circle(x, y, radius), side
        if self.box is not None:
            return place.parse_box(self.box), side
        return place.parse_outline(self.outline or ""), side


def side_named(word: str | None) -> Side | None:
    """Return the side of that name, None for either."""
    if word is None:
        return None
    from nettrace.model.board import Side

    return Side(word)


side_option = click.option(
    "--side", type=click.Choice(["top", "bottom"]), help="One side of the board only."
)


def place_options(command: Callable[_P, _R]) -> Callable[..., _R]:
    """Add the place options; the command gets them as one `PlaceInput` named `place`."""

    @click.option(
        "--around",
        metavar="REFDES[.PIN]",
        help="Around a part or a pad.",
        shell_complete=complete_pads,
    )
    @click.option("--at", metavar="X,Y", help="Around a point: mm, y up, the file's own origin.")
    @click.option("--radius", type=float, metavar="MM", help="How far around; 5 if not given.")
    @click.option("--box", metavar="X1,Y1,X2,Y2", help="Inside a rectangle.")
    @click.option("--outline", metavar='"X,Y X,Y ..."', help="Inside a polygon.")
    @side_option
    @wraps(command)
    def wrapped(*args: _P.args, **kwargs: _P.kwargs) -> _R:
        said = dict(kwargs)
        radius = said.pop("radius")
        place = PlaceInput(
            around=_text(said.pop("around")),
            at=_text(said.pop("at")),
            radius=radius if isinstance(radius, float) else None,
            box=_text(said.pop("box")),
            outline=_text(said.pop("outline")),
            side=_text(said.pop("side")),
        )
        return command(*args, place=place, **said)  # type: ignore[arg-type] # click's own kwargs

    return wrapped
