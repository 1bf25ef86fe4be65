"""The job sheet: one page that holds a whole repair, to look at, to work from, to print and sign.

The page loads nothing: style, script, drawings and photo are in it, and its policy forbids the
rest. It says the same with the script off.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Final

from nettrace.bench.photo import PhotoMap
from nettrace.bench.place import part_place
from nettrace.version import __version__
from nettrace.views import sheet_sections as sections
from nettrace.views.drawing import Markup, el, joined, void
from nettrace.views.embedded import embed_svg
from nettrace.views.photo import photo_svg
from nettrace.views.sheet_rows import SheetRows, sheet_rows
from nettrace.views.sheet_source import Drawing, SheetInput

__all__ = ["PAPERS", "render_sheet"]

#: Papers that the page can be laid out for: our word -> the style sheet's.
PAPERS: Final = {"a4": "A4", "letter": "letter"}

#: A mark that may be off by less than this is as good as a photo needs, mm.
LEAST_DOUBT_MM = 0.15


def render_sheet(source: SheetInput, paper: str = "a4") -> str:
    """Return the job sheet as one HTML page that prints on a paper of `PAPERS`.

    Raises:
        BadInput: a drawing of the input is no SVG.
    """
    rows = sheet_rows(source)
    numbers = {row.key: row.number for row in rows.positions}
    drawn = [(drawing, _embedded(drawing, numbers)) for drawing in source.drawings]
    targets = {
        number: f"drawing-{drawing.name}-position-{number}"
        for drawing, svg in reversed(drawn)
        for number in numbers.values()
        if f'id="drawing-{drawing.name}-position-{number}"' in svg
    }
    keys = {row.refdes: row.key for row in rows.positions}
    parts: list[tuple[str, str, Markup]] = [
        ("glance", "At a glance", sections.at_a_glance(rows)),
    ]
    figures = [_figure(drawing, svg) for drawing, svg in drawn if drawing.name == "placed"]
    if source.photo is not None:
        figures.append(_photo(source, numbers))
    if figures:
        parts.append(("where", "Where the positions are", joined(figures)))
    parts.append(("positions", "Positions", sections.positions_table(rows, targets)))
    around = [_figure(drawing, svg) for drawing, svg in drawn if drawing.name != "placed"]
    if around:
        parts.append(("around", "What they are tied to", joined(around)))
    if rows.loose:
        parts.append(("loose", "Loose parts", sections.loose_parts(rows)))
    parts.append(("order", "To order", sections.order_list(rows)))
    parts.append(("work", "Order of work", sections.order_of_work(rows)))
    parts.append(("measure", "To measure", sections.measurements(source.probes, keys)))
    if rows.readings:
        parts.append(("readings", "Readings so far", sections.readings_entered(rows)))
    parts.append(("verdict", "Verdict", sections.verdict(source.check)))
    body = el(
        "div",
        el("a", "To the positions", href="#positions", class_="skip"),
        _title_block(rows, source),
        _contents(parts),
        el("main", *(_section(index, *part) for index, part in enumerate(parts, start=1))),
        el("footer", sections.signatures(), el("p", f"Written by nettrace {__version__}.")),
        class_="page",
    )
    return _page(f"Job sheet: {rows.title}", body, PAPERS[paper])


def _embedded(drawing: Drawing, numbers: Mapping[str, int]) -> Markup:
    return embed_svg(
        drawing.svg,
        f"drawing-{drawing.name}",
        drawing.alternative,
        parts=drawing.parts,
        nets=drawing.nets,
        numbers=numbers,
    )


def _figure(drawing: Drawing, svg: Markup) -> Markup:
    kind = "placed" if drawing.name == "placed" else "wide"
    return el("figure", svg, el("figcaption", drawing.title), class_=kind)


def _photo(source: SheetInput, numbers: Mapping[str, int]) -> Markup:
    plate = source.photo
    if plate is None:
        return Markup("")
    fit = plate.map
    side = f"{fit.side} side" if fit.side is not None else "side not known"
    words = [
        f"Photo {plate.photo.name}: {side}{', mirrored' if fit.mirrored else ''}, turned "
        f"{fit.degrees:.0f}°, {fit.px_per_mm:.1f} px/mm; {fit.kind} map from "
        f"{len(fit.known) - len(fit.bad)} known pads (crosses)."
    ]
    if fit.spread_px is not None:
        words.append(f"Left over: {fit.spread_px:.1f} px, {fit.spread_px / fit.px_per_mm:.2f} mm.")
    doubtful = _doubtful(source, fit, numbers)
    notes = [*fit.cautions, *([plate.photo.caution] if plate.photo.caution else [])]
    if doubtful:
        notes.append(doubtful)
    table = el(
        "details",
        el("summary", "How far each known pad is off"),
        el(
            "ul",
            *(
                el(
                    "li",
                    f"{item.name}: {item.off_px:.1f} px, {item.off_mm:.2f} mm"
                    + ("" if item.used else ", left out"),
                )
                for item in fit.residuals
            ),
        ),
    )
    return el(
        "figure",
        photo_svg(plate, source.circuit, numbers),
        el("figcaption", " ".join(words), table),
        el("div", el("ul", *(el("li", note) for note in notes)), class_="mind") if notes else "",
        class_="photo",
    )


def _doubtful(source: SheetInput, fit: PhotoMap, numbers: Mapping[str, int]) -> str:
    """Return which marks on the photo may be off by more than a pad shows, in words."""
    found, most = [], 0.0
    for key in numbers:
        part = source.circuit.board.part_by_key[key]
        place = part_place(part)
        if place is None:
            continue
        sizes = [min(pad.width, pad.height) for pad in part.pads if pad.width and pad.height]
        doubt = fit.doubt_mm(*place)
        if doubt > max(LEAST_DOUBT_MM, min(sizes, default=0.0) / 2):
            found.append(part.refdes)
            most = max(most, doubt)
    if not found:
        return ""
    return f"the marks of {', '.join(found)} may be off by {most:.1f} mm: point at pads near them"


def _title_block(rows: SheetRows, source: SheetInput) -> Markup:
    said = source.check.verdict if source.check is not None else "not checked"
    facts = (
        ("Board", rows.board),
        ("Job opened", rows.opened.replace("T", " ").removesuffix("+00:00")),
        ("Read from", ", ".join(rows.sources)),
    )
    return el(
        "header",
        el("h1", el("small", "Job sheet"), rows.title),
        el("div", el("small", "Verdict"), el("strong", said), class_="verdict"),
        el("dl", *(el("div", el("dt", term), el("dd", fact or "not stated"))
                   for term, fact in facts)),
        class_="title-block",
    )  # fmt: skip


def _contents(parts: list[tuple[str, str, Markup]]) -> Markup:
    items = [
        el("li", el("a", f"{index} {title}", href=f"#{name}"))
        for index, (name, title, _) in enumerate(parts, start=1)
    ]
    return el("nav", el("ol", *items), aria_label="Contents")


def _section(index: int, name: str, title: str, body: Markup) -> Markup:
    head = el("h2", el("span", str(index), class_="no"), f" {title}", id=f"{name}-title")
    kind = "landscape" if name == "around" else None
    return el("section", head, body, id=name, aria_labelledby=f"{name}-title", class_=kind)


@cache
def _resource(name: str) -> str:
    return files("nettrace.views").joinpath(name).read_text(encoding="utf-8")


def _digest(text: str) -> str:
    """Return a text's digest as a content security policy writes it."""
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def _page(title: str, body: Markup, paper: str) -> str:
    style, script = _resource("sheet_page.css"), _resource("sheet_page.js")
    style = style.replace("size: A4", f"size: {paper}")
    policy = (
        "default-src 'none'; img-src data:; style-src 'unsafe-inline'; "
        f"script-src 'sha256-{_digest(script)}'; base-uri 'none'; form-action 'none'"
    )
    head = el(
        "head",
        void("meta", charset="utf-8"),
        void("meta", http_equiv="Content-Security-Policy", content=policy),
        void("meta", name="viewport", content="width=device-width, initial-scale=1"),
        void("meta", name="color-scheme", content="light dark"),
        el("title", title),
        el("style", Markup(style)),
    )
    page = el("html", head, el("body", body, el("script", Markup(script))), lang="en")
    return f"<!doctype html>\n{page}\n"
