"""The one place where DOT text becomes a picture: which program does it, and how it is run.

The system's `dot` goes first; else `graphviz-pure`, a package with a program of the same command
line that draws everything but PDF. To use another program, change `PROGRAMS`.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from nettrace.errors import NettraceError

__all__ = ["CannotDraw", "DotProgram", "bare_svg", "find_dot_programs", "render_dot"]

#: Program name -> the formats of ours that it writes, in the order they are tried.
PROGRAMS: tuple[tuple[str, frozenset[str]], ...] = (
    ("dot", frozenset({"svg", "png", "pdf"})),
    ("graphviz-pure", frozenset({"svg", "png"})),
)
#: A bounded neighbourhood takes well under a second; one that takes this long never ends.
MOST_SECONDS = 60.0
#: Dots per inch of a PNG: fine enough for print.
PNG_DPI = 150
_INSTALL = (
    "Install Graphviz, or the Python package graphviz-pure; or write FILE.dot, which needs neither."
)


class CannotDraw(NettraceError):
    """A picture cannot be made here (exit 4)."""


@dataclass(frozen=True, slots=True)
class DotProgram:
    """A program that is there: its name, where it is, and which formats it writes."""

    name: str
    path: str
    formats: frozenset[str]


def find_dot_programs() -> tuple[DotProgram, ...]:
    """Return the programs that are on the PATH or beside this Python, best first."""
    beside = str(Path(sys.executable).parent)
    found = []
    for name, formats in PROGRAMS:
        path = shutil.which(name) or shutil.which(name, path=beside)
        if path is not None:
            found.append(DotProgram(name, path, formats))
    return tuple(found)


def render_dot(
    text: str,
    picture: str,
    *,
    program: DotProgram | None = None,
    seconds: float = MOST_SECONDS,
) -> bytes:
    """Return the picture of a graph.

    Args:
        text: the DOT source.
        picture: svg, png or pdf.
        program: who shall draw it; None is the best that is there.
        seconds: when to give up.

    Raises:
        CannotDraw: no program for this format, or the program failed.
    """
    if program is None:
        program = _program_for(picture)
    command = [program.path, "-Kdot", f"-T{picture}"]
    if picture == "png":
        command.append(f"-Gdpi={PNG_DPI}")
    try:
        done = subprocess.run(
            command, input=text.encode("utf-8"), capture_output=True, timeout=seconds, check=False
        )
    except subprocess.TimeoutExpired:
        raise CannotDraw(
            f"{program.name} was still drawing after {seconds:g} s",
            hint="Choose a smaller area, or write FILE.dot.",
        ) from None
    except OSError as error:
        raise CannotDraw(
            f"{program.name} does not start ({error.strerror or error})", hint=_INSTALL
        ) from None
    if done.returncode or not done.stdout:
        said = done.stderr.decode("utf-8", "replace").strip().splitlines()
        reason = f": {said[-1]}" if said else ""
        raise CannotDraw(
            f"{program.name} failed with code {done.returncode}{reason}",
            hint="FILE.dot holds the graph without its help.",
        )
    return done.stdout


def _program_for(picture: str) -> DotProgram:
    found = find_dot_programs()
    for program in found:
        if picture in program.formats:
            return program
    if found:
        names = " and ".join(program.name for program in found)
        raise CannotDraw(
            f"{names} cannot write {picture.upper()}",
            hint="Install Graphviz for it; or write FILE.svg and print that from a browser.",
        )
    raise CannotDraw("no program here draws graphs", hint=_INSTALL)


_PROLOG = re.compile(r"\A.*?(?=<svg\b)", re.DOTALL)
_REMARK = re.compile(r"<!--.*?-->\s*", re.DOTALL)


def bare_svg(picture: bytes | str) -> str:
    """Return an SVG for use inside a page: no XML declaration, document type or remarks."""
    text = picture.decode("utf-8") if isinstance(picture, bytes) else picture
    return _REMARK.sub("", _PROLOG.sub("", text, count=1)).strip() + "\n"
