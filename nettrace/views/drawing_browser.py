"""A drawn sheet as PDF or PNG, by a browser without a window, where one is installed.

The page is a file of ours; the browser is told to find no host at all.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from nettrace.views.dot_programs import CannotDraw, bare_svg

__all__ = ["BROWSERS", "find_browser", "print_svg"]

#: Names that a browser of this kind goes by; the first that is there is taken.
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
MOST_SECONDS = 60.0
#: Dots of a picture per CSS pixel: 192 dots per inch.
PNG_FACTOR = 2
_PIXELS_PER_MM = 96 / 25.4


def find_browser() -> str | None:
    """Return the path of a browser, None if there is none."""
    return next((path for name in BROWSERS if (path := shutil.which(name))), None)


def print_svg(
    svg: str,
    picture: str,
    size_mm: tuple[float, float],
    sheets: int = 1,
    *,
    seconds: float = MOST_SECONDS,
) -> bytes:
    """Return an SVG of one or more sheets, one below the other, as `pdf` or `png`.

    Raises:
        CannotDraw: no browser here, or it failed.
    """
    browser = find_browser()
    if browser is None:
        raise CannotDraw(
            f"no browser here to make a {picture.upper()} with",
            hint="Write FILE.svg, and print it from any browser.",
        )
    with tempfile.TemporaryDirectory(prefix="nettrace-") as folder:
        page, output = Path(folder) / "page.html", Path(folder) / f"page.{picture}"
        page.write_text(_page(svg, picture, size_mm, sheets), encoding="utf-8")
        command = [
            browser,
            "--headless",
            "--disable-gpu",
            "--hide-scrollbars",
            "--no-first-run",
            "--host-resolver-rules=MAP * ~NOTFOUND",
            f"--user-data-dir={folder}/profile",
        ]
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            command.append("--no-sandbox")  # the browser refuses to run as root otherwise
        if picture == "pdf":
            command += [f"--print-to-pdf={output}", "--no-pdf-header-footer"]
        else:
            width, height = (round(side * _PIXELS_PER_MM) for side in size_mm)
            command += [
                f"--screenshot={output}",
                f"--window-size={width},{height * sheets}",
                f"--force-device-scale-factor={PNG_FACTOR}",
            ]
        command.append(page.as_uri())
        name = Path(browser).name
        try:
            subprocess.run(command, capture_output=True, timeout=seconds, check=False)
        except subprocess.TimeoutExpired:
            raise CannotDraw(
                f"{name} was still at work after {seconds:g} s",
                hint="Write FILE.svg, and print it from any browser.",
            ) from None
        except OSError as error:
            raise CannotDraw(f"{name} does not start ({error.strerror or error})") from None
        if not output.is_file() or not output.stat().st_size:
            raise CannotDraw(
                f"{name} made no {picture.upper()}",
                hint="Write FILE.svg, and print it from any browser.",
            )
        return output.read_bytes()


def _page(svg: str, picture: str, size_mm: tuple[float, float], sheets: int) -> str:
    """Return a page with the sheets: each on paper of its own for PDF, in one for a picture."""
    width, height = size_mm
    drawing = bare_svg(svg)
    size = "@page{size:landscape;margin:6mm}" if picture == "pdf" else ""
    style = f"{size}html,body{{margin:0;background:white}}svg{{display:block}}"
    style += (
        "div{break-after:page;break-inside:avoid;overflow:hidden}div:last-child{break-after:auto}"
    )
    if picture != "pdf" or sheets == 1:
        body = f"<div>{drawing}</div>"
    else:
        opening, rest = drawing.split(">", 1)
        del opening
        body = ""
        for sheet in range(sheets):
            box = f"0 {height * sheet:g} {width:g} {height:g}"
            body += (
                f'<div><svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" '
                f'height="{height:g}mm" viewBox="{box}" font-family="Arial, Helvetica, '
                f"'Liberation Sans', sans-serif\">{rest}</div>"
            )
    return (
        '<!DOCTYPE html><html><head><meta charset="utf-8"><title>drawing</title>'
        f"<style>{style}</style></head><body>{body}</body></html>"
    )
