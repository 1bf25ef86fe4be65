"""The programs that make pictures: DOT text drawn by Graphviz, pages printed by a browser.

For DOT, the system's `dot` goes first; else `graphviz-pure`, a package with a program of the same
command line that draws everything but PDF. To use another program, change `PROGRAMS`. A browser
of the Chromium family prints without a window; the page is a file of ours, and the browser is
told to find no host at all.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from nettrace.errors import NettraceError
from nettrace.views.drawing import FONTS

#: Program name -> the formats of ours that it writes, in the order they are tried.
PROGRAMS: tuple[tuple[str, frozenset[str]], ...] = (
    ("dot", frozenset({"svg", "png", "pdf"})),
    ("graphviz-pure", frozenset({"svg", "png"})),
)
#: Names that a browser of this kind goes by; the first that is there is taken.
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
#: A bounded neighbourhood takes well under a second, a page with a large photo a few; what takes
#: this long never ends.
MOST_SECONDS, MOST_PRINT_SECONDS = 60.0, 90.0
#: Dots per inch of a graph as PNG: fine enough for print; dots of a map per CSS pixel (96 an inch).
PNG_DPI, PNG_FACTOR = 150, 2
#: Options of the browser that are the same each time.
_ALWAYS = ("--headless", "--disable-gpu", "--hide-scrollbars", "--no-first-run",
           "--disable-extensions", "--no-pdf-header-footer",
           "--host-resolver-rules=MAP * ~NOTFOUND")  # fmt: skip
_PIXELS_PER_MM = 96 / 25.4
_INSTALL = (
    "Install Graphviz, or the Python package graphviz-pure; or write FILE.dot, which needs neither."
)


class CannotDraw(NettraceError):
    """A picture or a printed page cannot be made here (exit 4)."""


@dataclass(frozen=True, slots=True)
class DotProgram:
    """A program that is there: its name, where it is, and which formats it writes."""

    name: str
    path: str
    formats: frozenset[str]


def find_dot_programs() -> tuple[DotProgram, ...]:
    """Return the programs that are on the PATH or beside this Python, best first."""
    beside = str(Path(sys.executable).parent)
    return tuple(
        DotProgram(name, path, formats)
        for name, formats in PROGRAMS
        if (path := shutil.which(name) or shutil.which(name, path=beside)) is not None
    )


def render_dot(
    text: str, picture: str, *, program: DotProgram | None = None, seconds: float = MOST_SECONDS
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
        there = find_dot_programs()
        if not there:
            raise CannotDraw("no program here draws graphs", hint=_INSTALL)
        program = next((each for each in there if picture in each.formats), None)
        if program is None:
            raise CannotDraw(
                f"{' and '.join(each.name for each in there)} cannot write {picture.upper()}",
                hint="Install Graphviz for it; or write FILE.svg and print that from a browser.",
            )
    command = [program.path, "-Kdot", f"-T{picture}"]
    if picture == "png":
        command.append(f"-Gdpi={PNG_DPI}")
    done = _run(
        command,
        program.name,
        "drawing",
        seconds,
        too_long="Choose a smaller area, or write FILE.dot.",
        no_start=_INSTALL,
        given=text.encode(),
    )
    if done.returncode or not done.stdout:
        said = done.stderr.decode("utf-8", "replace").strip().splitlines()
        reason = f": {said[-1]}" if said else ""
        raise CannotDraw(
            f"{program.name} failed with code {done.returncode}{reason}",
            hint="FILE.dot holds the graph without its help.",
        )
    return done.stdout


def _run(
    command: list[str],
    name: str,
    doing: str,
    seconds: float,
    *,
    too_long: str,
    no_start: str,
    given: bytes = b"",
) -> subprocess.CompletedProcess[bytes]:
    """Run a program; the two texts are hints for when it takes `too_long`, or does `no_start`."""
    try:
        return subprocess.run(
            command, input=given, capture_output=True, timeout=seconds, check=False
        )
    except subprocess.TimeoutExpired:
        raise CannotDraw(f"{name} was still {doing} after {seconds:g} s", hint=too_long) from None
    except OSError as error:
        reason = error.strerror or error
        raise CannotDraw(f"{name} does not start ({reason})", hint=no_start) from None


def find_browser() -> str | None:
    """Return the path of a browser, None if there is none."""
    return next((path for name in BROWSERS if (path := shutil.which(name))), None)


def print_page(html: str, *, source: str = "html", **options: str) -> bytes:
    """Return a page as PDF, or with `window_size` among the browser's options as PNG.

    Args:
        html: the page.
        source: ending of the file that may be written and printed by hand instead.
        options: more options of the browser, `_` for `-`.

    Raises:
        CannotDraw: no browser here, or it failed.
    """
    picture = "png" if "window_size" in options else "pdf"
    hint = f"Write FILE.{source}, and print it from any browser."
    browser = find_browser()
    if browser is None:
        raise CannotDraw(f"no browser here to make a {picture.upper()} with", hint=hint)
    with tempfile.TemporaryDirectory(prefix="nettrace-", ignore_cleanup_errors=True) as folder:
        page, printed = Path(folder) / "page.html", Path(folder) / f"page.{picture}"
        page.write_text(html, encoding="utf-8")
        command = [
            browser,
            *_ALWAYS,
            f"--user-data-dir={folder}/profile",
            f"--{'screenshot' if picture == 'png' else 'print-to-pdf'}={printed}",
            *(f"--{name.replace('_', '-')}={value}" for name, value in options.items()),
            page.as_uri(),
        ]
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            # the browser refuses root with its sandbox on; the page is ours and loads nothing
            command.insert(1, "--no-sandbox")
        name = Path(browser).name
        _run(command, name, "at work", MOST_PRINT_SECONDS, too_long=hint, no_start=hint)
        if not printed.is_file() or not printed.stat().st_size:
            raise CannotDraw(f"{name} made no {picture.upper()}", hint=hint)
        return printed.read_bytes()


def print_svg(svg: str, picture: str, size_mm: tuple[float, float], sheets: int = 1) -> bytes:
    """Return an SVG of ours, of sheets one below the other, as `pdf` or `png`.

    A PDF has each sheet on paper of its own, a picture all in one.

    Raises:
        CannotDraw: no browser here, or it failed.
    """
    width, height = size_mm
    drawing = svg[svg.index("<svg") :]
    body = f"<div>{drawing}</div>"
    if picture == "pdf" and sheets > 1:
        content = drawing.split(">", 1)[1]
        body = "".join(
            f'<div><svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" '
            f'height="{height:g}mm" viewBox="0 {height * sheet:g} {width:g} {height:g}" '
            f'font-family="{FONTS}">{content}</div>'
            for sheet in range(sheets)
        )
    html = (
        '<!DOCTYPE html><html><head><meta charset="utf-8"><title>drawing</title><style>'
        f"{'@page{size:landscape;margin:6mm}' if picture == 'pdf' else ''}"
        "html,body{margin:0;background:white}svg{display:block}"
        "div{break-after:page;break-inside:avoid;overflow:hidden}div:last-child{break-after:auto}"
        f"</style></head><body>{body}</body></html>"
    )
    if picture == "pdf":
        return print_page(html, source="svg")
    across, down = (round(side * _PIXELS_PER_MM) for side in size_mm)
    return print_page(
        html,
        source="svg",
        window_size=f"{across},{down * sheets}",
        force_device_scale_factor=str(PNG_FACTOR),
    )
