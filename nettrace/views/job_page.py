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

from nettrace.bench.area import AreaReport
from nettrace.bench.diagnosis import Check
from nettrace.bench.job import Fit
from nettrace.bench.neighbourhood import Neighbourhood
from nettrace.bench.place import part_place
from nettrace.bench.refit import ALLOYS, CAUTIONS, DOCUMENTS, FIRST, HEAT_FACTS
from nettrace.bench.report import JobPosition, JobReport, PlannedProbe
from nettrace.circuit.evidence import NetKind
from nettrace.model.board import Part, Pin, Side
from nettrace.values.quantity import engineering
from nettrace.version import __version__
from nettrace.views.drawing import SEPARATOR, Markup, el, embed_svg, void
from nettrace.views.job import SUSPECTS_SHOWN, loose_words, reading_words
from nettrace.views.page import (
    HTML,
    MARKDOWN,
    Block,
    Bullets,
    Cell,
    Choice,
    Column,
    Columns,
    Entry,
    Figure,
    Group,
    Heading,
    Inline,
    Line,
    Link,
    Row,
    Section,
    Signatures,
    Span,
    Step,
    Steps,
    Table,
    Tick,
    Title,
    html,
    markdown,
)
from nettrace.views.photo import PhotoPlate, photo_svg
from nettrace.views.text import counted, listed
from nettrace.views.text_facts import (
    lines_by_net,
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


def html_page(report: JobReport, photo: PhotoPlate | None = None, paper: str = "a4") -> str:
    """Return the job page as one HTML page that prints on a paper of `PAPERS`."""
    sections = [block for block in _blocks(report, photo) if isinstance(block, Section)]
    job, board = report.job, report.circuit.board
    facts = (
        ("Board", board.name),
        ("Job opened", job.opened.replace("T", " ").removesuffix("+00:00")),
        ("Read from", ", ".join(_sources(report))),
    )
    header = el(
        "header",
        el("h1", el("small", "Job sheet"), job.title),
        el("div", el("small", "Verdict"), el("strong", _verdict_word(report)), class_="verdict"),
        el("dl", *(el("div", el("dt", term), el("dd", fact or "not stated"))
                   for term, fact in facts)),
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
        el("title", f"Job sheet: {job.title}"),
        el("style", Markup(style.replace("size: A4", f"size: {PAPERS[paper]}"))),
    )
    page = el("html", head, el("body", body, el("script", Markup(script))), lang="en")
    return f"<!doctype html>\n{page}\n"


def markdown_page(report: JobReport) -> str:
    """Return the job page as Markdown; text from files cannot be markup in it."""
    return markdown(_blocks(report, None))


@cache
def _resource(name: str) -> str:
    return files("nettrace.views").joinpath(name).read_text(encoding="utf-8")


_SIGNATURES = Signatures(("Repaired by", "Checked by"))


def _blocks(report: JobReport, photo: PhotoPlate | None) -> Iterator[Block]:
    """Make the whole page; HTML has its title and signatures outside of the sections."""
    drawings, notes = _drawings(report)
    facts = (
        f"Board: {report.circuit.board.name}",
        f"Job opened: {report.job.opened}",
        f"Read from: {', '.join(_sources(report))}",
        f"Verdict: {_verdict_word(report)}",
    )
    yield Title(f"Job sheet: {report.job.title}", on=(MARKDOWN,))
    yield Bullets(facts, on=(MARKDOWN,))
    yield Section("glance", "At a glance", tuple(_glance(report, notes)))
    where = [drawings["placed"]] if "placed" in drawings else []
    if photo is not None:
        where.append(_photo(report, photo))
    if where:
        yield Section("where", "Where the positions are", tuple(where), on=(HTML,))
    yield Section("positions", "Positions", tuple(_positions(report, drawings)))
    if "around" in drawings:
        around = (drawings["around"],)
        yield Section("around", "What they are tied to", around, "landscape", on=(HTML,))
    if report.state.loose:
        yield Section("loose", "Loose parts", (_loose(report),))
    yield Section("order", "To order", tuple(_orders(report)))
    yield Section("work", "Order of work", tuple(_work(report)))
    yield Section("measure", "To measure", tuple(_measurements(report)))
    if report.state.readings:
        yield Section("readings", "Readings so far", (_readings(report),))
    yield Section("verdict", "Verdict", tuple(_verdict(report.check)))
    yield _SIGNATURES
    yield Line((f"Written by nettrace {__version__}.",), on=(MARKDOWN,))


def _sources(report: JobReport) -> list[str]:
    paths = (item.path.replace("\\", "/") for item in report.circuit.board.sources)
    return [path.rsplit("/", 1)[-1] for path in paths]


def _verdict_word(report: JobReport) -> str:
    return str(report.check.verdict) if report.check is not None else "not checked"


# -- drawings -------------------------------------------------------------------------------------


def _drawings(report: JobReport) -> tuple[dict[str, Figure], list[str]]:
    """Return the drawings by name, and what to mind where one cannot be made.

    The numbers of the table lead to the first of them.
    """
    notes = [warning.message for warning in report.warnings]
    drawings = {}
    if report.area is not None:
        drawings["placed"] = _map(report, report.area)
    if report.around is not None:
        from nettrace.views.programs import CannotDraw

        try:
            drawings["around"] = _graph(report, report.around)
        except CannotDraw as error:
            notes.append(f"no drawing of what they are tied to: {error.found}")
    return drawings, notes


def _map(report: JobReport, area: AreaReport) -> Figure:
    from nettrace.views.placed import draw_placed

    map_ = draw_placed(
        report.circuit,
        area,
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
    return Figure(svg, (f"{what} at {map_.scale}, {map_.side} side {where}.",), "placed")


def _graph(report: JobReport, around: Neighbourhood) -> Figure:
    from nettrace.views.graph import draw_graph, names_of_nets, names_of_parts
    from nettrace.views.programs import render_dot

    svg = render_dot(draw_graph(report.circuit, around), "svg").decode("utf-8")
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
    return Figure(embedded, (title,), "wide")


def _photo(report: JobReport, plate: PhotoPlate) -> Figure:
    fit = plate.map
    side = f"{fit.side} side" if fit.side is not None else "side not known"
    words = (
        f"Photo {plate.photo.name}: {side}{', mirrored' if fit.mirrored else ''}, turned "
        f"{fit.degrees:.0f}°, {fit.px_per_mm:.1f} px/mm; {fit.kind} map from "
        f"{len(fit.known) - len(fit.bad)} known pads (crosses)."
    )
    if fit.spread_px is not None:
        words += f" Left over: {fit.spread_px:.1f} px, {fit.spread_px / fit.px_per_mm:.2f} mm."
    notes = [*fit.cautions, _doubtful(report, plate)]
    return Figure(
        photo_svg(plate, report.circuit, report.numbers),
        (words,),
        "photo",
        details="How far each known pad is off",
        listed=tuple(
            f"{item.name}: {item.off_px:.1f} px, {item.off_mm:.2f} mm"
            + ("" if item.used else ", left out")
            for item in fit.residuals
        ),
        notes=tuple(note for note in notes if note),
    )


def _doubtful(report: JobReport, plate: PhotoPlate) -> str:
    """Return which marks on the photo may be off by more than a pad shows, in words."""
    found, most = [], 0.0
    for part in (item.part for item in report.positions):
        place = part_place(part)
        if place is None:
            continue
        sizes = [min(pad.width, pad.height) for pad in part.pads if pad.width and pad.height]
        doubt = plate.map.doubt_mm(*place)
        if doubt > max(LEAST_DOUBT_MM, min(sizes, default=0.0) / 2):
            found.append(part.refdes)
            most = max(most, doubt)
    if not found:
        return ""
    return f"the marks of {', '.join(found)} may be off by {most:.1f} mm: point at pads near them"


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
    for item in report.wires:
        note = f" ({item.wire.note})" if item.wire.note else ""
        besides.append(f"wire {item.wire.start} to {item.wire.end} {item.words}{note}")
    # torn pads and wires are damage; in Markdown they follow where the job stands
    damage: list[Block] = [Heading("The damage as found", level=3, on=(HTML,))]
    if report.damage:
        damage.append(Bullets(report.damage))
    else:
        damage.append(Line(("No effect of the damage is known.",), on=(HTML,)))
        damage.append(Bullets(("No effect is known.",), on=(MARKDOWN,)))
    damage += _headed("Besides", besides, on=(HTML,))
    yield Columns(
        (
            tuple(damage),
            (
                *_headed("Where it stands", stands),
                *_headed("Besides", besides, on=(MARKDOWN,)),
                *_headed("Remarks", state.remarks),
                *_headed("Mind", notes, kind="mind"),
            ),
        )
    )


def _headed(
    title: str, items: Sequence[str], *, kind: str = "", on: tuple[str, ...] = ()
) -> tuple[Block, ...]:
    """Return a list under its heading; nothing where there are no items."""
    return (Heading(title, level=3, on=on), Bullets(tuple(items), kind, on)) if items else ()


def _positions(report: JobReport, drawings: Mapping[str, Figure]) -> Iterator[Block]:
    """Make the table of positions, pin by pin for HTML; the numbers lead to the drawings."""
    if not report.positions:
        yield Line(("No position is marked yet.",))
        return
    rows = [_Position(report, item) for item in report.positions]
    late = "wide late words"
    shared = Column("No.", kind="no"), Column("Part", head=True), Column("Value", kind="value")
    last = (
        Column("Role", kind=late, label="Role"),
        Column("Without it", kind=late, label="Without it"),
        Column("State", kind=late, label="State"),
    )
    yield Table(
        (*shared, Column("Size"), Column("Pads and nets"), Column("Volts"), *last),
        tuple(row.cells() for row in rows),
        on=(MARKDOWN,),
    )
    pins = Column("Pad"), Column("Net"), Column("Volts", kind="pin volts")
    yield Table(
        (*shared, Column("Size", kind="size"), *pins, *last),
        tuple(row.group(drawings) for row in rows),
        "Marked positions, by their number in the drawings",
        "cards",
        on=(HTML,),
    )


class _Position:
    """A marked position in words."""

    def __init__(self, report: JobReport, item: JobPosition) -> None:
        self.circuit, self.item, self.part = report.circuit, item, item.part
        self.name = refdes(self.circuit, self.part.key)
        self.value = value_words(self.circuit, self.part) or self._likely(self.part)
        self.size = size_words(self.circuit, self.part)
        self.role = role_words(self.circuit.roles(self.part.key))
        self.absence = self.circuit.absence(self.part.key)
        self.effects = self.absence.effects[:EFFECTS_SHOWN]
        self.stands = self._stands(item.fit)
        self.note = f" ({item.mark.note})" if item.mark.note else ""
        self.buses = lines_by_net(self.circuit)
        pins = list({(pin.number, pin.net): pin for pin in self.part.pins}.values())
        self.pins, self.more_pins = pins[:PINS_SHOWN], max(0, len(pins) - PINS_SHOWN)

    def _likely(self, part: Part) -> str:
        for proposal in self.circuit.proposals(part.key):
            unit = {"ohms": "Ω", "farads": "F", "henries": "H"}.get(proposal.quantity, "")
            if proposal.choices:
                return f"likely {engineering(proposal.choices[0], unit, 3)}"
        return "not stated"

    def _stands(self, fit: Fit | None) -> str:
        if self.item.by_wire:
            return "wire in its place"
        if fit is None or fit.number <= self.item.mark.number:
            return "open"
        what = f"refitted with {fit.with_part}" if fit.with_part else "refitted, new part"
        return f"{what}, {fit.value}" if fit.value else what

    def _volts(self, net: str | None) -> str:
        if net is None:
            return ""
        kind, volts = self.circuit.net_kind(net), self.circuit.volts(net)
        if kind is NetKind.GROUND:
            return "0 V"
        if volts is None:
            return "not known" if kind is NetKind.RAIL else "–"
        return volts_words(volts)

    def _pad(self, pin: Pin) -> str:
        return f"{self.name}.{pin.number}"

    def cells(self) -> tuple[str, ...]:
        """Return one row, as Markdown has it."""
        pins = [f"{self._pad(pin)} {pin.net or 'no net'}" for pin in self.pins]
        if self.more_pins:
            pins.append(f"{self.more_pins} more")
        severity = str(self.absence.severity)
        return (
            str(self.item.number),
            self.name,
            self.value,
            self.size,
            "; ".join(pins),
            "; ".join(self._volts(pin.net) for pin in self.pins),
            self.role,
            f"{severity}: {'; '.join(self.effects)}" if self.effects else severity,
            f"{self.item.mark.damage}; {self.stands}{self.note}",
        )

    def group(self, drawings: Mapping[str, Figure]) -> Group:
        """Return a row for each pin, as HTML has it."""
        number, own = self.item.number, f"position-{self.item.number}"
        targets = {f"drawing-{name}-{own}": figure.picture for name, figure in drawings.items()}
        found = [target for target, svg in targets.items() if f'id="{target}"' in svg]
        label = f"Position {number}, {self.name}: show in the drawing"
        link = Link(str(number), found[0] if found else own, own, label, "number")
        rows = [self._pin_cells(pin) for pin in self.pins]
        if not rows:
            none = Cell(("no pin in the sources",), kind="pin pad quiet")
            rows = [(none, Cell(("",)), Cell(("",)))]
        if self.more_pins:
            rows.append((Cell((f"{self.more_pins} more pins",), columns=3, kind="pin quiet"),))
        high = len(rows)
        severity: list[Inline] = [Span(str(self.absence.severity), "severity")]
        if self.effects:
            ends = (text if text.endswith((".", "?")) else f"{text}." for text in self.effects)
            severity.append(f": {' '.join(ends)}")
        value = Span(self.value, "figure") if len(self.value) <= SHORT else self.value
        first = (
            Cell((link,), high),
            Cell((self.name,), high, kind="" if len(self.name) <= SHORT_NAME else "words"),
            Cell((value,), high),
            Cell((self.size,), high),
            *rows[0],
            Cell((self.role,), high),
            Cell(tuple(severity), high),
            Cell((f"{self.item.mark.damage}; ", Span(self.stands, "strong"), self.note), high),
        )
        return Group((first, *rows[1:]), parts=(self.part.key,))

    def _pin_cells(self, pin: Pin) -> tuple[Cell, ...]:
        pad, net = self._pad(pin), pin.net or "no net"
        pad_pieces: list[Inline] = [Span(pad, part=self.part.key, pad=pad)]
        if len(self.pins) > 2 and pin.name and pin.name not in {pin.number, "~"}:
            pad_pieces.append(Span(f" {pin.name}", "quiet"))
        what = net_words(self.circuit, pin.net, self.buses)
        return (
            Cell(tuple(pad_pieces), kind="pin pad figure" if len(pad) <= SHORT else "pin pad"),
            Cell((Span(net, "name", net=net), Span(f", {what}", "quiet")), kind="pin net"),
            Cell((self._volts(pin.net),), kind="pin volts"),
        )


def _loose(report: JobReport) -> Table:
    """Make the table of what was found in the flux and where it belongs."""
    used_at = {fit.with_part: key for key, fit in report.state.refitted.items() if fit.with_part}
    keys = {refdes(report.circuit, item.part.key): item.part.key for item in report.positions}
    rows = []
    for name, item in report.state.loose.items():
        measures = loose_words(item)
        if name in report.state.used:
            key = used_at.get(name, "")
            at = refdes(report.circuit, key) if key else ""
            rows.append(Row((name, measures, at, "fitted", ""), (key,) if key else ()))
            continue
        match = report.matches[name]
        places = [candidate.refdes for candidate in match.candidates]
        shown = match.assigned or ""
        others = [place for place in places if place != shown]
        if others:
            shown = f"{shown} (or {listed(others, 3)})" if shown else listed(others, 4)
        sure = f"{match.certainty}: {match.decide}" if match.decide else str(match.certainty)
        parts = tuple(keys[place] for place in places if place in keys)
        rows.append(Row((name, measures, shown, sure, match.advice), parts))
    columns = (
        Column("Loose part", head=True),
        Column("Measures"),
        Column("Belongs at", kind="wide", label="Belongs at"),
        Column("How sure", kind="wide words", label="How sure"),
        Column("What to do", kind="wide", label="What to do"),
    )
    return Table(columns, tuple(rows), "Parts found in the flux")


def _orders(report: JobReport) -> Iterator[Block]:
    """Make the list of what to order for the positions that are still open."""
    if not report.needs:
        yield Line(("Nothing: no position is open.",))
        return
    keys = _keys(report)
    rows = []
    for need in report.needs:
        what = need.words
        names: list[Inline] = []
        for name in need.positions:
            names += [", ", Span(name, part=keys[name])]
        reasons = [*need.because, *(f"not sure: {doubt}" for doubt in need.doubts)]
        why = (Bullets(tuple(reasons)),) if reasons else ()
        cells = (
            Cell((Tick(f"ordered: {what}"),)),
            Cell((f"{need.quantity} ×",), plain=str(need.quantity)),
            what,
            Cell(tuple(names[1:])),
            need.part_number or "",
            "; ".join(need.substitutes),
            Cell(why, plain="; ".join(reasons)),
        )
        rows.append(Row(cells, tuple(keys[name] for name in need.positions)))
    numbered = any(need.part_number for need in report.needs)
    columns = (
        Column("Got", kind="tick", on=(HTML,)),
        Column("Pieces", kind="count figure"),
        Column("What", kind="words", head=True),
        Column("For", kind="wide", label="For"),
        Column("Part number", kind="wide", label="Part number", on=() if numbered else (MARKDOWN,)),
        Column("May stand in", kind="wide words", label="May stand in"),
        Column("Why", kind="wide words", label="Why"),
    )
    caption = "For the positions that are open; spares are counted in"
    yield Table(columns, tuple(rows), caption, "lines order")


def _keys(report: JobReport) -> dict[str, str]:
    """Return refdes -> part key of the positions."""
    return {item.part.refdes: item.part.key for item in report.positions}


def _work(report: JobReport) -> Iterator[Block]:
    """Make the steps with their cautions, and what governs the work."""
    keys = _keys(report)
    steps = []
    for step in report.plan.steps:
        mind = []
        if step.slow_pads:
            mind.append(f"melts late: {listed(step.slow_pads, 8)}")
        near = step.neighbours[:NEIGHBOURS_SHOWN]
        mind += [f"{n.refdes} {n.distance_mm:.1f} mm away: {n.why}" for n in near]
        if len(step.neighbours) > len(near):
            mind.append(f"{len(step.neighbours) - len(near)} more within reach of hot air")
        because = [text.replace("`", "") for text in step.because]  # marks of commands
        parts = tuple(keys[name] for name in step.positions if name in keys)
        because += [f"mind: {text}" for text in mind]
        steps.append(Step(step.title.replace("`", ""), tuple(because), parts))
    yield Line((Span(FIRST, "strong"),), style="mind")
    yield Bullets(CAUTIONS)
    yield Heading("Steps", level=3, on=(HTML,))
    yield Steps(tuple(steps))
    if report.plan.unplaced:
        yield Line((f"Without a place in the sources: {', '.join(report.plan.unplaced)}.",))
    alloys = "; ".join(f"{alloy} {melts}" for alloy, melts in ALLOYS)
    heat = _headed("Heat", [*HEAT_FACTS, f"Melting: {alloys}."])
    yield Columns((heat, _headed("What governs the work", DOCUMENTS)), "columns keep")


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
    keys = {refdes(report.circuit, item.part.key): item.part.key for item in report.positions}
    steps: dict[str, list[Sequence[str | Cell]]] = {}
    for number, planned in enumerate(report.probes, start=1):
        row = _probe(number, planned, keys)
        steps.setdefault(str(planned.probe.step), []).append(row)
    columns = (
        Column("No.", kind="no"),
        Column("From", head=True),
        Column("To", kind="to"),
        Column("Meter", kind="meter"),
        Column("Expected", kind="wide words", label="Must show"),
        Column("Reading", kind="wide reading", label="Reading"),
        Column("Passed", kind="wide tick", label="Passed"),
        Column("Why", kind="wide quiet words", label="Proves"),
    )
    groups = [Group(tuple(rows), step[0].upper() + step[1:]) for step, rows in steps.items()]
    yield Table(columns, tuple(groups), "In this order", "lines probes")


def _probe(number: int, planned: PlannedProbe, keys: Mapping[str, str]) -> Sequence[str | Cell]:
    probe, done = planned.probe, planned.reading
    name = f"reading {number}, {probe.at} to {probe.to}"
    shown = reading_words(done.reading) if done is not None else ""
    return (
        str(number),
        Cell((_place(probe.at, "", keys),)),
        Cell((_place(probe.to, "strong", keys),)),
        str(probe.quantity),
        probe.expected,
        Cell((Span(shown, "strong") if shown else Entry(name),)),
        Cell((str(done.state) if done is not None else Tick(f"{name} passed"),)),
        probe.why,
    )


def _place(words: str, style: str, keys: Mapping[str, str]) -> Span:
    """Return a pad of a marked part, or a net, as what it is."""
    dots = [len(words), *(at for at in range(len(words) - 1, 0, -1) if words[at] == ".")]
    key = next((keys[words[:at]] for at in dots if words[:at] in keys), "")
    if not key:
        return Span(words, style, net=words)
    return Span(words, style, part=key, pad=words if "." in words else "")


def _readings(report: JobReport) -> Table:
    """Make the table of every reading of the job, in the order of entry."""
    columns = (
        Column("Entry", kind="no"),
        Column("When"),
        Column("From and to", head=True),
        Column("Meter"),
        Column("Showed", kind="wide", label="Showed"),
        Column("Note", kind="wide", label="Note"),
    )
    rows = [
        (
            str(item.number),
            item.stage,
            f"{item.at} to {item.to}",
            str(item.quantity),
            reading_words(item),
            item.note,
        )
        for item in report.state.readings
    ]
    return Table(columns, tuple(rows), "Readings entered")


def _verdict(check: Check | None) -> Iterator[Block]:
    """Make the verdict, ticked where it is known, with what was found and what is suspected."""
    said = str(check.verdict) if check is not None else ""
    choices = tuple(Choice(word, word == said) for word in VERDICTS)
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
        columns = (
            Column("Fault", kind="words", head=True),
            Column("Likely", kind="count figure"),
            Column("Why", kind="wide", label="Why"),
        )
        rows = [
            (item.what, f"{item.score:.0%}", "; ".join(item.because))
            for item in check.suspects[:SUSPECTS_SHOWN]
        ]
        yield Table(columns, tuple(rows), "Suspects, likeliest first")


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
