"""The job command that writes the sheet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from nettrace.cli.files import refuse_to_replace, write_file
from nettrace.cli.job_options import job_options, open_bench
from nettrace.errors import BadInput, Place, WrongUsage
from nettrace.views.text import write_json, write_note

if TYPE_CHECKING:
    from nettrace.model.board import Board
    from nettrace.views.photo import PhotoPlate

__all__ = ["sheet"]

FORMATS = {".html": "html", ".htm": "html", ".md": "markdown", ".markdown": "markdown",
           ".pdf": "pdf"}  # fmt: skip

EPILOG = """\
\b
  nettrace job sheet wren.job -o wren.html
  nettrace job sheet wren.job -o wren.pdf
  nettrace job sheet wren.job -o wren.html --photo board.jpg \\
      --fix "U2.1=312,418 J3.1=590,402 TP4=455,120 R17.2=700,300"

A --fix says where a pad is in the photo: pixels to the right and down from its upper left
corner, seen upright. Three pads are the least; five or more, far apart, find a slip.
"""


@click.command(epilog=EPILOG)
@job_options
@click.option("-o", "--output", metavar="FILE", required=True, help="FILE.html, .md or .pdf.")
@click.option("--photo", metavar="FILE", help="A photo of the damage, JPEG or PNG.")
@click.option("--fix", "fixes", multiple=True, metavar="PAD=X,Y", help="A pad in the photo, px.")
@click.option("--known-good", metavar="FILE", help="Readings from good boards, CSV.")
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"], case_sensitive=False),
    default="a4",
    show_default=True,
    help="What it is printed on.",
)
@click.option("--force", is_flag=True, help="Replace FILE if it is there.")
def sheet(
    path: str,
    as_json: bool,
    output: str,
    photo: str | None,
    fixes: tuple[str, ...],
    known_good: str | None,
    paper: str,
    force: bool,
) -> None:
    """Write the whole job as one page: to look at, to work from, to print and to sign."""
    target = Path(output)
    kind = FORMATS.get(target.suffix.lower())
    if kind is None:
        raise WrongUsage(f"the name {output!r}", expected="an ending .html, .md or .pdf")
    if bool(photo) != bool(fixes):
        what, other = ("--photo", "--fix") if photo else ("--fix", "--photo")
        raise WrongUsage(f"{what} alone", expected=f"{other} with it")
    refuse_to_replace(target, force=force)
    from nettrace.bench.report import report_job
    from nettrace.views.progress import progress

    opened = open_bench(path)
    plate = _plate(opened.circuit.board, Path(photo), fixes) if photo is not None else None
    good = None
    if known_good is not None:
        from nettrace.bench.judging import read_known_good

        good = read_known_good(_text(Path(known_good)), known_good)
    with progress("Writing the sheet"):
        made = report_job(
            opened.circuit, opened.job, opened.state, warnings=opened.warnings, known_good=good
        )
        content: str | bytes
        if kind == "markdown":
            from nettrace.views.job_page import markdown_page

            content = markdown_page(made)
        else:
            from nettrace.views.job_page import html_page

            content = html_page(made, plate, paper)
        if kind == "pdf":
            from nettrace.views.programs import print_page

            content = print_page(str(content))
    write_file(target, content, force=force)
    verdict = str(made.check.verdict) if made.check is not None else None
    if as_json:
        size = len(content.encode("utf-8") if isinstance(content, str) else content)
        answer = {
            "path": output,
            "format": kind,
            "bytes": size,
            "verdict": verdict,
            "photo": _photo_payload(plate) if plate is not None else None,
        }
        write_json(opened.circuit.board, "sheet", answer)
        return
    write_note(f"{output}: {verdict or 'not checked'}")
    if plate is not None:
        for line in _photo_notes(plate):
            write_note(line)


def _text(path: Path) -> str:
    from nettrace.readers.registry import decode_text

    try:
        return decode_text(path.read_bytes(), str(path))
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise BadInput(f"cannot open ({reason})", place=Place(str(path))) from None


def _plate(board: Board, path: Path, fixes: tuple[str, ...]) -> PhotoPlate:
    from nettrace.bench.photo import fit_photo, parse_known_pads
    from nettrace.views.photo import PhotoPlate, read_photo

    known = parse_known_pads(board, fixes)
    return PhotoPlate(read_photo(path), fit_photo(known))


def _photo_notes(plate: PhotoPlate) -> list[str]:
    fit = plate.map
    left = f", {fit.spread_px:.1f} px left over" if fit.spread_px is not None else ""
    lines = [f"photo: {fit.kind} map, {fit.px_per_mm:.1f} px/mm{left}"]
    lines += [
        f"  {item.name}: {item.off_px:.1f} px, {item.off_mm:.2f} mm off"
        + ("" if item.used else ", left out")
        for item in fit.residuals
    ]
    return lines + [f"warning: photo: {text}" for text in fit.cautions]


def _photo_payload(plate: PhotoPlate) -> dict[str, object]:
    fit = plate.map
    return {
        "map": str(fit.kind),
        "matrix": [list(row) for row in fit.rows],
        "px_per_mm": fit.px_per_mm,
        "left_over_px": fit.spread_px,
        "side": fit.side,
        "mirrored": fit.mirrored,
        "degrees": fit.degrees,
        "agrees": fit.agrees,
        "bad": list(fit.bad),
        "known_pads": [
            {"pad": item.name, "off_px": item.off_px, "off_mm": item.off_mm, "used": item.used}
            for item in fit.residuals
        ],
        "cautions": list(fit.cautions),
    }
