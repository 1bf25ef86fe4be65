"""The job page: a whole repair to look at, to work from, to print and to sign.

As HTML it loads nothing: style, script, drawings and photo are in it, and its policy forbids the
rest. It says the same with the script off, and as Markdown without the drawings.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import Final

from nettrace.bench.diagnosis import Check
from nettrace.bench.place import part_place
from nettrace.bench.refit import ALLOYS, CAUTIONS, DOCUMENTS, FIRST, HEAT_FACTS
from nettrace.bench.report import JobPosition, JobReport
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind
from nettrace.model.board import Part, Side
from nettrace.values.quantity import engineering
from nettrace.version import __version__
from nettrace.views import page
from nettrace.views.document import html, markdown
from nettrace.views.drawing import SEPARATOR, Markup, el, embed_svg, void
from nettrace.views.job import (
    SUSPECTS_SHOWN,
    loose_words,
    reading_words,
    residual_words,
    wired_words,
)
from nettrace.views.page import HTML, MARKDOWN, Block, Bullets, Cell, Column, Heading, Line, Span
from nettrace.views.photo import PhotoPlate, photo_svg
from nettrace.views.text import counted, listed
from nettrace.views.text_facts import (
    UNITS,
    net_words,
    refdes,
    role_words,
    size_words,
    value_words,
    volts_words,
)

#: Papers that the page can be laid out for: our word -> the style sheet's.
PAPERS: Final = {"a4": "A4", "letter": "letter"}
#: A mark that may be off by less than this is as good as a photo needs, mm.
LEAST_DOUBT_MM = 0.15
#: Pins of one position that get a line each, effects, neighbours, pins of an open end; the rest
#: are counted.
PINS_SHOWN, EFFECTS_SHOWN, NEIGHBOURS_SHOWN, ENDS_SHOWN = 8, 2, 4, 6
#: Letters of a value or pad, and of a refdes, that are not broken over lines.
SHORT, SHORT_NAME = 12, 6
VERDICTS = ("restored", "not restored", "not proven")
_SIGNATURES = page.Signatures(("Repaired by", "Checked by"))


def html_page(report: JobReport, photo: PhotoPlate | None = None, paper: str = "a4") -> str:
    """Return the job page as one HTML page that prints on a paper of `PAPERS`."""
    sections = [block for block in _blocks(report, photo) if isinstance(block, page.Section)]
    title, facts = report.job.title, _facts(report)
    verdict = facts.pop("Verdict")
    facts["Job opened"] = facts["Job opened"].replace("T", " ").removesuffix("+00:00")
    header = el(
        "header",
        el("h1", el("small", "Job sheet"), title),
        el("div", el("small", "Verdict"), el("strong", verdict), class_="verdict"),
        el("dl", *(el("div", el("dt", term), el("dd", fact or "not stated"))
                   for term, fact in facts.items())),
        class_="title-block",
    )  # fmt: skip
    contents = [
        el("li", el("a", f"{index} {section.title}", href=f"#{section.name}"))
        for index, section in enumerate(sections, start=1)
    ]
    meter = el("p", "Meter used, and when it was last checked:", class_="quiet")
    body = el(
        "div",
        el("a", "To the positions", href="#positions", class_="skip"),
        header,
        el("nav", el("ol", *contents), aria_label="Contents"),
        el("main", html(sections)),
        el("footer", meter, html([_SIGNATURES]), el("p", f"Written by nettrace {__version__}.")),
        class_="page",
    )
    style, script = _resource("job_page.css"), _resource("job_page.js")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    policy = (
        "default-src 'none'; img-src data:; style-src 'unsafe-inline'; "
        f"script-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    )
    head = el(
        "head",
        void("meta", charset="utf-8"),
        void("meta", http_equiv="Content-Security-Policy", content=policy),
        void("meta", name="viewport", content="width=device-width, initial-scale=1"),
        void("meta", name="color-scheme", content="light dark"),
        el("title", f"Job sheet: {title}"),
        el("style", Markup(style.replace("size: A4", f"size: {PAPERS[paper]}"))),
    )
    whole = el("html", head, el("body", body, el("script", Markup(script))), lang="en")
    return f"<!doctype html>\n{whole}\n"


def markdown_page(report: JobReport) -> str:
    """Return the job page as Markdown; text from files cannot be markup in it."""
    return markdown(_blocks(report, None))


@cache
def _resource(name: str) -> str:
    return files("nettrace.views").joinpath(name).read_text(encoding="utf-8")


def _facts(report: JobReport) -> dict[str, str]:
    board, check = report.circuit.board, report.check
    names = (source.path.replace("\\", "/").rsplit("/", 1)[-1] for source in board.sources)
    return {
        "Board": board.name,
        "Job opened": report.job.opened,
        "Read from": ", ".join(names),
        "Verdict": str(check.verdict) if check is not None else "not checked",
    }


def _blocks(report: JobReport, photo: PhotoPlate | None) -> Iterator[Block]:
    """Make the whole page; HTML has its title and signatures outside of the sections."""
    notes = [warning.message for warning in report.warnings]
    placed, around = _map(report), _graph(report, notes)
    drawings = {"placed": placed, "around": around}
    found = {name: figure for name, figure in drawings.items() if figure is not None}
    facts = tuple(f"{name}: {fact}" for name, fact in _facts(report).items())
    yield page.Title(f"Job sheet: {report.job.title}")
    yield Bullets(facts)
    yield page.Section("glance", "At a glance", tuple(_glance(report, notes)))
    photographed = _photo(report, photo) if photo is not None else None
    if where := tuple(figure for figure in (placed, photographed) if figure is not None):
        yield page.Section("where", "Where the positions are", where, on=(HTML,))
    yield page.Section("positions", "Positions", tuple(_positions(report, found)))
    if around is not None:
        yield page.Section("around", "What they are tied to", (around,), "landscape", on=(HTML,))
    if report.state.loose:
        yield page.Section("loose", "Loose parts", (_loose(report),))
    yield page.Section("order", "To order", tuple(_orders(report)))
    yield page.Section("work", "Order of work", tuple(_work(report)))
    yield page.Section("measure", "To measure", tuple(_measurements(report)))
    if report.state.readings:
        yield page.Section("readings", "Readings so far", (_readings(report),))
    yield page.Section("verdict", "Verdict", tuple(_verdict(report.check)))
    yield _SIGNATURES
    yield Line((f"Written by nettrace {__version__}.",))


# -- drawings; the numbers of the table lead to the first of them --------------------------------


def _map(report: JobReport) -> page.Figure | None:
    from nettrace.views.placed import draw_placed

    if report.area is None:
        return None
    map_ = draw_placed(
        report.circuit,
        report.area,
        list(report.numbers),
        refitted=set(report.state.refitted),
        wires=report.soldered,
        torn=report.torn,
        in_page=True,
    )
    what, names = "The torn pads and wires", "the torn pads and wires"
    if report.positions:
        what = "The marked positions"
        names = f"the positions of {listed([item.part.refdes for item in report.positions], 12)}"
    where = "as seen from below, mirrored" if map_.side is Side.BOTTOM else "as seen from above"
    alternative = f"Drawing to scale of the {map_.side} side with {names}"
    svg = embed_svg(map_.svg, "drawing-placed", alternative, numbers=report.numbers)
    return page.Figure(svg, f"{what} at {map_.scale}, {map_.side} side {where}.", "placed")


def _graph(report: JobReport, notes: list[str]) -> page.Figure | None:
    """Draw what the positions are tied to; where that cannot be, a note says why."""
    from nettrace.views.graph import draw_graph, names_of_nets, names_of_parts
    from nettrace.views.programs import CannotDraw, render_dot

    around = report.around
    if around is None:
        return None
    try:
        svg = render_dot(draw_graph(report.circuit, around), "svg").decode("utf-8")
    except CannotDraw as error:
        notes.append(f"no drawing of what they are tied to: {error.found}")
        return None
    done = sum(item.fit is not None for item in report.positions)
    title = "Parts with a broken outline are the marked positions."
    if done:
        title = "Parts with a number are the marked positions"
        is_all = done == len(report.positions)
        title += ", all refitted." if is_all else "; those still open have a broken outline."
    left = [*around.left_gone, *around.left_parts]
    if left:
        title += f" No room for {listed(left, 8)}."
    embedded = embed_svg(
        svg,
        "drawing-around",
        "Graph of the marked positions with the nets and parts they are tied to",
        parts={name: SEPARATOR.join(keys) for name, keys in names_of_parts(around).items()},
        nets=names_of_nets(around),
        numbers=report.numbers,
    )
    return page.Figure(embedded, title)


def _photo(report: JobReport, plate: PhotoPlate) -> page.Figure:
    fit = plate.map
    side = f"{fit.side} side" if fit.side is not None else "side not known"
    words = (
        f"Photo {plate.photo.name}: {side}{', mirrored' if fit.mirrored else ''}, turned "
        f"{fit.degrees:.0f}°, {fit.px_per_mm:.1f} px/mm; {fit.kind} map from "
        f"{len(fit.known) - len(fit.bad)} known pads (crosses)."
    )
    if fit.spread_px is not None:
        words += f" Left over: {fit.spread_px:.1f} px, {fit.spread_px / fit.px_per_mm:.2f} mm."
    doubtful, most = [], 0.0  # marks that may be off by more than a pad shows
    for part in (item.part for item in report.positions):
        place = part_place(part)
        if place is None:
            continue
        sizes = [min(pad.width, pad.height) for pad in part.pads if pad.width and pad.height]
        doubt = fit.doubt_mm(*place)
        if doubt > max(LEAST_DOUBT_MM, min(sizes, default=0.0) / 2):
            doubtful.append(part.refdes)
            most = max(most, doubt)
    notes = [*fit.cautions]
    if doubtful:
        marks = f"the marks of {', '.join(doubtful)} may be off by {most:.1f} mm"
        notes.append(f"{marks}: point at pads near them")
    return page.Figure(
        photo_svg(plate, report.circuit, report.numbers),
        words,
        "photo",
        details="How far each known pad is off",
        listed=tuple(residual_words(item) for item in fit.residuals),
        notes=tuple(notes),
    )


# -- sections -------------------------------------------------------------------------------------


def _glance(report: JobReport, notes: Sequence[str]) -> Iterator[Block]:
    """Make the damage in short, and where the job stands."""
    state = report.state
    fitted = sum(item.fit is not None for item in report.positions)
    still_open = sum(item.is_open for item in report.positions)
    by_wire = len(report.positions) - fitted - still_open
    replaced = f"{by_wire} replaced by wire, " if by_wire else ""
    stands = [
        f"{counted(len(report.positions), 'position')} marked",
        f"{fitted} refitted, {replaced}{still_open} open",
    ]
    if state.loose:
        kept = sum(name not in state.used for name in state.loose)
        stands.append(f"{counted(len(state.loose), 'loose part')} found, {kept} not used")
    if state.wires:
        stands.append(f"{counted(len(state.wires), 'wire')} soldered")
    stands.append(f"{counted(len(state.readings), 'reading')} entered")
    besides = [f"pad {pad} lifted" for pad in state.lifted]
    besides += [f"track {a} to {b} cut" for a, b in state.cuts]
    besides += [f"solder joins {a} and {b}" for a, b in state.bridges]
    besides += [f"wire {wired_words(item, ' ')}" for item in report.wires]
    # torn pads and wires are damage; in Markdown they follow where the job stands
    damage: list[Block] = [Heading("The damage as found", level=3, on=(HTML,))]
    if report.damage:
        damage.append(Bullets(report.damage))
    else:
        damage.append(Line(("No effect of the damage is known.",), on=(HTML,)))
        damage.append(Bullets(("No effect is known.",), on=(MARKDOWN,)))
    damage += _headed("Besides", besides, on=(HTML,))
    stood = (
        *_headed("Where it stands", stands),
        *_headed("Besides", besides, on=(MARKDOWN,)),
        *_headed("Remarks", state.remarks),
        *_headed("Mind", notes, kind="mind"),
    )
    yield page.Columns((tuple(damage), stood))


def _headed(
    title: str, items: Sequence[str], *, kind: str = "", on: tuple[str, ...] = ()
) -> tuple[Block, ...]:
    """Return a list under its heading; nothing where there are no items."""
    if not items:
        return ()
    return Heading(title, level=3, on=on), Bullets(tuple(items), kind, on=on)


def _positions(report: JobReport, drawings: Mapping[str, page.Figure]) -> Iterator[Block]:
    """Make the table of positions, pin by pin for HTML; the numbers lead to the drawings."""
    if not report.positions:
        yield Line(("No position is marked yet.",))
        return
    columns = (
        Column("No.", kind="no"),
        Column("Part", head=True),
        Column("Value", kind="value"),
        Column("Size", kind="size"),
        Column("Pads and nets", on=(MARKDOWN,)),
        Column("Volts", on=(MARKDOWN,)),
        Column("Pad", on=(HTML,)),
        Column("Net", on=(HTML,)),
        Column("Volts", kind="pin volts", on=(HTML,)),
        *(_wide(title, "late words") for title in ("Role", "Without it", "State")),
    )
    rows = tuple(_position(report.circuit, item, drawings) for item in report.positions)
    yield page.Table(columns, rows, "Marked positions, by their number in the drawings", "cards")


def _position(
    circuit: Circuit, item: JobPosition, drawings: Mapping[str, page.Figure]
) -> page.Group:
    """Make the rows of a position: one for Markdown; HTML has one for each of its pins."""
    part, mark, name = item.part, item.mark, refdes(circuit, item.part.key)
    pins = list({(pin.number, pin.net): pin for pin in part.pins}.values())
    more, pins = len(pins) - PINS_SHOWN, pins[:PINS_SHOWN]
    rows = []
    for pin in pins:
        pad, net = f"{name}.{pin.number}", pin.net or "no net"
        words: list[page.Inline] = [Span(pad, part=part.key, pad=pad)]
        if len(pins) > 2 and pin.name and pin.name not in {pin.number, "~"}:
            words.append(Span(f" {pin.name}", "quiet"))
        what = f", {net_words(circuit, pin.net)}"
        rows.append(
            (
                Cell(tuple(words), kind="pin pad figure" if len(pad) <= SHORT else "pin pad"),
                Cell((Span(net, "name", net=net), Span(what, "quiet")), kind="pin net"),
                Cell((_volts(circuit, pin.net),), kind="pin volts"),
            )
        )
    pads = [f"{name}.{pin.number} {pin.net or 'no net'}" for pin in pins]
    if not rows:
        none = Cell(("no pin in the sources",), kind="pin pad quiet")
        rows.append((none, Cell(("",)), Cell(("",))))
    further: list[tuple[Cell, ...]] = [*rows[1:]]
    if more > 0:
        pads.append(f"{more} more")
        further.append((Cell((f"{more} more pins",), columns=3, kind="pin quiet"),))

    def tall(*pieces: page.Inline, plain: str | None = None, kind: str | None = None) -> Cell:
        return Cell(pieces, len(further) + 1, kind=kind, plain=plain)

    own = f"position-{item.number}"
    targets = {f"drawing-{drawing}-{own}": figure for drawing, figure in drawings.items()}
    found = [target for target, figure in targets.items() if f'id="{target}"' in figure.picture]
    label = f"Position {item.number}, {name}: show in the drawing"
    value = value_words(circuit, part) or _likely(circuit, part)
    absence = circuit.absence(part.key)
    severity, effects = str(absence.severity), absence.effects[:EFFECTS_SHOWN]
    ends = (text if text.endswith((".", "?")) else f"{text}." for text in effects)
    loss = (Span(severity, "severity"), *((f": {' '.join(ends)}",) if effects else ()))
    stands, fit = "wire in its place" if item.by_wire else "open", item.fit
    if fit is not None and fit.number > mark.number and not item.by_wire:
        stands = f"refitted with {fit.with_part}" if fit.with_part else "refitted, new part"
        stands += f", {fit.value}" if fit.value else ""
    first = (
        tall(page.Link(str(item.number), found[0] if found else own, own, label, "number")),
        tall(name, kind="" if len(name) <= SHORT_NAME else "words"),
        tall(Span(value, "figure") if len(value) <= SHORT else value),
        tall(size_words(circuit, part)),
        "; ".join(pads),
        "; ".join(_volts(circuit, pin.net) for pin in pins),
        *rows[0],
        tall(role_words(circuit.roles(part.key))),
        tall(*loss, plain=f"{severity}: {'; '.join(effects)}" if effects else severity),
        tall(f"{mark.damage}; ", Span(stands, "strong"), f" ({mark.note})" if mark.note else ""),
    )
    return page.Group((first, *further), parts=(part.key,))


def _likely(circuit: Circuit, part: Part) -> str:
    for proposal in circuit.proposals(part.key):
        if proposal.choices:
            unit = UNITS.get(proposal.quantity, "")
            return f"likely {engineering(proposal.choices[0], unit, 3)}"
    return "not stated"


def _volts(circuit: Circuit, net: str | None) -> str:
    if net is None:
        return ""
    kind, volts = circuit.net_kind(net), circuit.volts(net)
    if kind is NetKind.GROUND:
        return "0 V"
    return volts_words(volts, "not known" if volts or kind is NetKind.RAIL else "–")


def _wide(title: str, kind: str = "", label: str = "", on: tuple[str, ...] = ()) -> Column:
    """Return a column that is a line of its own, with its label, where rows are cards."""
    return Column(title, kind=f"wide {kind}".rstrip(), label=label or title, on=on)


def _loose(report: JobReport) -> page.Table:
    """Make the table of what was found in the flux and where it belongs."""
    used_at = {fit.with_part: key for key, fit in report.state.refitted.items() if fit.with_part}
    keys = report.keys
    rows = []
    for name, item in report.state.loose.items():
        measures = loose_words(item)
        if name in report.state.used:
            key = used_at.get(name, "")
            at = refdes(report.circuit, key) if key else ""
            rows.append(page.Row((name, measures, at, "fitted", ""), (key,) if key else ()))
            continue
        match = report.matches[name]
        places = [candidate.refdes for candidate in match.candidates]
        shown = match.assigned or ""
        others = [place for place in places if place != shown]
        if others:
            shown = f"{shown} (or {listed(others, 3)})" if shown else listed(others, 4)
        sure = f"{match.certainty}: {match.decide}" if match.decide else str(match.certainty)
        parts = tuple(keys[place] for place in places if place in keys)
        rows.append(page.Row((name, measures, shown, sure, match.advice), parts))
    last = _wide("Belongs at"), _wide("How sure", "words"), _wide("What to do")
    columns = (Column("Loose part", head=True), Column("Measures"), *last)
    return page.Table(columns, tuple(rows), "Parts found in the flux")


def _orders(report: JobReport) -> Iterator[Block]:
    """Make the list of what to order for the positions that are still open."""
    if not report.needs:
        yield Line(("Nothing: no position is open.",))
        return
    rows = []
    for need in report.needs:
        parts = tuple(report.keys[name] for name in need.positions)
        names: list[page.Inline] = []
        for name, key in zip(need.positions, parts, strict=True):
            names += [", ", Span(name, part=key)]
        reasons = [*need.because, *(f"not sure: {doubt}" for doubt in need.doubts)]
        why = (Bullets(tuple(reasons)),) if reasons else ()
        cells = (
            Cell((page.Field(f"ordered: {need.words}"),)),
            Cell((f"{need.quantity} ×",), plain=str(need.quantity)),
            need.words,
            Cell(tuple(names[1:])),
            need.part_number or "",
            "; ".join(need.substitutes),
            Cell(why, plain="; ".join(reasons)),
        )
        rows.append(page.Row(cells, parts))
    numbered = any(need.part_number for need in report.needs)
    columns = (
        Column("Got", kind="tick", on=(HTML,)),
        Column("Pieces", kind="count figure"),
        Column("What", kind="words", head=True),
        _wide("For"),
        _wide("Part number", on=() if numbered else (MARKDOWN,)),
        _wide("May stand in", "words"),
        _wide("Why", "words"),
    )
    caption = "For the positions that are open; spares are counted in"
    yield page.Table(columns, tuple(rows), caption, "lines order")


def _work(report: JobReport) -> Iterator[Block]:
    """Make the steps with their cautions, and what governs the work."""
    steps = []
    for step in report.plan.steps:
        because = [text.replace("`", "") for text in step.because]  # marks of commands
        if step.slow_pads:
            because.append(f"mind: melts late: {listed(step.slow_pads, 8)}")
        near = step.neighbours[:NEIGHBOURS_SHOWN]
        because += [f"mind: {n.refdes} {n.distance_mm:.1f} mm away: {n.why}" for n in near]
        left = len(step.neighbours) - len(near)
        because += [f"mind: {left} more within reach of hot air"] if left else []
        parts = tuple(report.keys[name] for name in step.positions if name in report.keys)
        steps.append(page.Step(step.title.replace("`", ""), tuple(because), parts))
    yield Line((Span(FIRST, "strong"),), style="mind")
    yield Bullets(CAUTIONS)
    yield Heading("Steps", level=3, on=(HTML,))
    yield page.Steps(tuple(steps))
    if report.plan.unplaced:
        yield Line((f"Without a place in the sources: {', '.join(report.plan.unplaced)}.",))
    alloys = "; ".join(f"{alloy} {melts}" for alloy, melts in ALLOYS)
    heat = _headed("Heat", [*HEAT_FACTS, f"Melting: {alloys}."])
    yield page.Columns((heat, _headed("What governs the work", DOCUMENTS)), "columns keep")


def _measurements(report: JobReport) -> Iterator[Block]:
    """Make the list of probes with boxes."""
    if not report.probes:
        yield Line(("No measurement is planned: nothing is marked.",))
        return
    note = (
        "Power off and discharged, unless a line says otherwise; null the leads first. Enter each "
        "figure with ",
        Span("nettrace job read", "code"),
        " as well: what is typed here stays on this page.",
    )
    yield Line(note, style="quiet", on=(HTML,))
    steps: dict[str, list[Sequence[str | Cell]]] = {}
    for number, planned in enumerate(report.probes, start=1):
        probe, done = planned.probe, planned.reading
        name = f"reading {number}, {probe.at} to {probe.to}"
        row = (
            str(number),
            Cell((_place(probe.at, "", report.keys),)),
            Cell((_place(probe.to, "strong", report.keys),)),
            str(probe.quantity),
            probe.expected,
            Cell(
                (Span(reading_words(done.reading), "strong") if done else page.Field(name, True),)
            ),
            Cell((str(done.state) if done else page.Field(f"{name} passed"),)),
            probe.why,
        )
        steps.setdefault(str(probe.step), []).append(row)
    columns = (
        Column("No.", kind="no"),
        Column("From", head=True),
        Column("To", kind="to"),
        Column("Meter", kind="meter"),
        _wide("Expected", "words", "Must show"),
        _wide("Reading", "reading"),
        _wide("Passed", "tick"),
        _wide("Why", "quiet words", "Proves"),
    )
    groups = [page.Group(tuple(rows), step[0].upper() + step[1:]) for step, rows in steps.items()]
    yield page.Table(columns, tuple(groups), "In this order", "lines probes")


def _place(words: str, style: str, keys: Mapping[str, str]) -> Span:
    """Return a pad of a marked part, or a net, as what it is."""
    dots = [len(words), *(at for at in range(len(words) - 1, 0, -1) if words[at] == ".")]
    key = next((keys[words[:at]] for at in dots if words[:at] in keys), "")
    if not key:
        return Span(words, style, net=words)
    return Span(words, style, part=key, pad=words if "." in words else "")


def _readings(report: JobReport) -> page.Table:
    """Make the table of every reading of the job, in the order of entry."""
    plain = Column("Entry", kind="no"), Column("When"), Column("From and to", head=True)
    rows = tuple(
        (
            str(item.number),
            item.stage,
            f"{item.at} to {item.to}",
            str(item.quantity),
            reading_words(item),
            item.note,
        )
        for item in report.state.readings
    )
    columns = (*plain, Column("Meter"), _wide("Showed"), _wide("Note"))
    return page.Table(columns, rows, "Readings entered")


def _verdict(check: Check | None) -> Iterator[Block]:
    """Make the verdict, ticked where it is known, with what was found and what is suspected."""
    said = str(check.verdict) if check is not None else ""
    choices = tuple(page.Choice(word, word == said) for word in VERDICTS)
    yield Line(choices, style="verdict-line", on=(HTML,))
    if check is None:
        yield Line(("Not checked yet.",), on=(MARKDOWN,))
        return
    found = tuple(dict.fromkeys(_found(check)))
    yield Line((Span(said, "strong"),), on=(MARKDOWN,))
    if found:
        yield Heading("Found", level=3, on=(HTML,))
    yield Bullets(found, on=() if found else (MARKDOWN,))
    if check.still_to_probe:
        yield Line((f"Measurements still to make: {len(check.still_to_probe)}.",))
    if check.suspects and said != "restored":
        heads = Column("Fault", kind="words", head=True), Column("Likely", kind="count figure")
        rows = [
            (item.what, f"{item.score:.0%}", "; ".join(item.because))
            for item in check.suspects[:SUSPECTS_SHOWN]
        ]
        yield page.Table((*heads, _wide("Why")), tuple(rows), "Suspects, likeliest first")


def _found(check: Check) -> Iterable[str]:
    yield from check.because
    for broken in check.opens:
        groups = [listed([str(pin) for pin in group], ENDS_SHOWN) for group in broken.groups]
        yield f"{broken.net} is in {len(groups)} pieces: {' | '.join(groups)}"
    for short in check.shorts:
        yield f"joined: {' and '.join(net or 'a pin on no net' for net in short.nets)}"
    for item in check.wrong_values:
        yield f"{item.refdes} measures {item.found}, {item.expected} belongs there"
    for judged in check.readings:
        if judged.counts and str(judged.state) == "fail":
            reading = judged.reading
            shown = reading_words(reading)
            yield f"{reading.at} to {reading.to} showed {shown}: {judged.because}"
    if check.blind:
        many = counted(len(check.blind), "fault")
        yield f"for the eye, since no measurement tells ({many}): {listed(check.blind, 4)}"
