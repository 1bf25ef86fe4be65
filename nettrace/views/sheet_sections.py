"""The sections of the job sheet as HTML: damage, positions, order, work, measurements, verdict."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from nettrace.bench.refit import ALLOYS, CAUTIONS, DOCUMENTS, FIRST, HEAT_FACTS
from nettrace.views.drawing import SEPARATOR, Markup, el, joined, void
from nettrace.views.sheet_rows import PinRow, PositionRow, SheetRows, StepRow
from nettrace.views.sheet_source import CheckLines, ProbeLine

__all__ = [
    "at_a_glance",
    "loose_parts",
    "measurements",
    "order_list",
    "order_of_work",
    "positions_table",
    "readings_entered",
    "signatures",
    "verdict",
]

#: Letters of a value or pad, and of a refdes, that are not broken over lines.
SHORT, SHORT_NAME = 12, 6
VERDICTS = ("restored", "not restored", "not proven")


def at_a_glance(rows: SheetRows) -> Markup:
    """Return the damage in short and where the job stands."""
    damage = [_list(rows.damage) if rows.damage else el("p", "No effect of the damage is known.")]
    if rows.besides:
        damage += [el("h3", "Besides"), _list(rows.besides)]
    stands = [_list(rows.standing)]
    if rows.remarks:
        stands += [el("h3", "Remarks"), _list(rows.remarks)]
    if rows.warnings:
        stands += [el("h3", "Mind"), el("div", _list(rows.warnings), class_="mind")]
    return el(
        "div",
        el("div", el("h3", "The damage as found"), *damage),
        el("div", el("h3", "Where it stands"), *stands),
        class_="columns",
    )


def positions_table(rows: SheetRows, targets: Mapping[int, str]) -> Markup:
    """Return the table of positions; `targets` are the ids of the balloons they lead to."""
    if not rows.positions:
        return el("p", "No position is marked yet.")
    heads = (
        "No.", "Part", "Value", "Size", "Pad", "Net", "Volts", "Role", "Without it", "State",
    )  # fmt: skip
    bodies = [_position(row, targets.get(row.number)) for row in rows.positions]
    return _table("Marked positions, by their number in the drawings", heads, bodies, "cards")


def _position(row: PositionRow, target: str | None) -> Markup:
    pins: list[PinRow | None] = list(row.pins) or [None]
    span = str(len(pins) + (1 if row.more_pins else 0))
    own = f"position-{row.number}"
    number = el(
        "a", str(row.number), href=f"#{target or own}", id=own, class_="number",
        aria_label=f"Position {row.number}, {row.refdes}: show in the drawing",
    )  # fmt: skip
    cells = [
        _cell(number, class_="no", rowspan=span),
        el(
            "th", row.refdes, scope="row", role="rowheader", rowspan=span,
            class_=None if len(row.refdes) <= SHORT_NAME else "words",
        ),
        _cell(
            el("span", row.value, class_="figure") if len(row.value) <= SHORT else row.value,
            class_="value",
            rowspan=span,
        ),
        _cell(row.size, class_="size", rowspan=span),
        *_pin_cells(pins[0], row),
        _cell(row.role, class_="wide late words", data_label="Role", rowspan=span),
        _cell(
            el("span", row.severity, class_="severity"),
            ": " if row.without else "",
            " ".join(_sentence(text) for text in row.without),
            class_="wide late words", data_label="Without it", rowspan=span,
        ),
        _cell(
            f"{row.mark}; ", el("b", row.stands), f" ({row.note})" if row.note else "",
            class_="wide late words", data_label="State", rowspan=span,
        ),
    ]  # fmt: skip
    lines = [el("tr", *cells, role="row")]
    lines += [el("tr", *_pin_cells(pin, row), role="row") for pin in pins[1:]]
    if row.more_pins:
        more = _cell(f"{row.more_pins} more pins", class_="pin quiet", colspan="3")
        lines.append(el("tr", more, role="row"))
    return el("tbody", *lines, role="rowgroup", data_part=row.key)


def _pin_cells(pin: PinRow | None, row: PositionRow) -> list[Markup]:
    if pin is None:
        return [_cell("no pin in the sources", class_="pin quiet", colspan="3")]
    name = [el("span", f" {pin.name}", class_="quiet")] if pin.name and len(row.pins) > 2 else []
    pad = el("span", pin.pad, data_part=row.key, data_pad=pin.pad, tabindex="0")
    net = el("span", pin.net, data_net=pin.net, class_="name")
    return [
        _cell(pad, *name, class_="pin pad figure" if len(pin.pad) <= SHORT else "pin pad"),
        _cell(
            net, el("span", f", {pin.what}", class_="quiet") if pin.what else "", class_="pin net"
        ),
        _cell(pin.volts, class_="pin volts"),
    ]


def loose_parts(rows: SheetRows) -> Markup:
    """Return what was found in the flux and where it belongs."""
    lines = [
        el(
            "tr",
            el("th", row.name, scope="row", role="rowheader"),
            _cell(row.measures),
            _cell(row.place, class_="wide", data_label="Belongs at"),
            _cell(row.certainty, class_="wide words", data_label="How sure"),
            _cell(row.advice, class_="wide", data_label="What to do"),
            role="row",
            data_part=SEPARATOR.join(row.keys) or None,
        )
        for row in rows.loose
    ]
    heads = ("Loose part", "Measures", "Belongs at", "How sure", "What to do")
    return _lines("Parts found in the flux", heads, lines)


def order_list(rows: SheetRows) -> Markup:
    """Return what to order for the positions that are still open."""
    if not rows.orders:
        return el("p", "Nothing: no position is open.")
    lines = []
    numbered = any(row.part_number for row in rows.orders)
    for row in rows.orders:
        keys = SEPARATOR.join(key for key, _ in row.positions)
        reasons = [*row.because, *(f"Not sure: {doubt}" for doubt in row.doubts)]
        why = _list(reasons) if reasons else Markup("")
        stand_in = "; ".join(row.substitutes)
        lines.append(
            el(
                "tr",
                _cell(_tick(f"ordered: {row.what}"), class_="tick"),
                _cell(f"{row.quantity} ×", class_="count figure"),
                el("th", row.what, scope="row", role="rowheader", class_="words"),
                _cell(_refs(row.positions), class_="wide", data_label="For"),
                _cell(row.part_number, class_="wide", data_label="Part number") if numbered else "",
                _cell(stand_in, class_="wide words", data_label="May stand in"),
                _cell(why, class_="wide words", data_label="Why"),
                role="row",
                data_part=keys,
            )
        )
    heads = ["Got", "Pieces", "What", "For", "Part number", "May stand in", "Why"]
    if not numbered:
        heads.remove("Part number")
    body = [el("tbody", *lines, role="rowgroup")]
    return _table(
        "For the positions that are open; spares are counted in", heads, body, "lines order"
    )


def order_of_work(rows: SheetRows) -> Markup:
    """Return the steps with their cautions, and what governs the work."""
    steps = [_step(index, row) for index, row in enumerate(rows.steps, start=1)]
    pieces = [el("p", el("b", FIRST), class_="mind"), _list(CAUTIONS), el("h3", "Steps")]
    pieces.append(el("ol", *steps, class_="steps"))
    if rows.unplaced:
        pieces.append(el("p", f"Without a place in the sources: {', '.join(rows.unplaced)}."))
    alloys = "; ".join(f"{alloy} {melts}" for alloy, melts in ALLOYS)
    pieces.append(
        el(
            "div",
            el("div", el("h3", "Heat"), _list([*HEAT_FACTS, f"Melting: {alloys}."])),
            el("div", el("h3", "What governs the work"), _list(DOCUMENTS)),
            class_="columns keep",
        )
    )
    return joined(pieces)


def _step(index: int, row: StepRow) -> Markup:
    reasons = [*row.because, *(f"Mind: {text}" for text in row.mind)]
    keys = SEPARATOR.join(key for key, _ in row.positions if key)
    return el(
        "li",
        _tick(f"step {index} done"),
        el("div", el("b", row.title), _list(reasons) if reasons else ""),
        data_part=keys or None,
    )


def measurements(probes: Sequence[ProbeLine], keys: dict[str, str]) -> Markup:
    """Return the list of probes with boxes; `keys` is refdes -> part key of what is marked."""
    if not probes:
        return el("p", "No measurement is planned: nothing is marked.")
    note = el("p", "Power off and discharged, unless a line says otherwise; null the leads first. "
              "Enter each figure with ", el("code", "nettrace job read"),
              " as well: what is typed here stays on this page.", class_="quiet")  # fmt: skip
    heads = ("No.", "From", "To", "Meter", "Must show", "Reading", "Passed", "Proves")
    bodies = []
    for step in dict.fromkeys(probe.step for probe in probes):
        lines = [_probe(probe, keys) for probe in probes if probe.step == step]
        if step:
            title = el(
                "th", step[0].upper() + step[1:], colspan=str(len(heads)), scope="rowgroup",
                role="rowheader", class_="step",
            )  # fmt: skip
            lines.insert(0, el("tr", title, role="row"))
        bodies.append(el("tbody", *lines, role="rowgroup"))
    return joined([note, _table("In this order", heads, bodies, "lines probes")])


def _probe(probe: ProbeLine, keys: dict[str, str]) -> Markup:
    name = f"reading {probe.number}, {probe.at} to {probe.to}"
    box: str = el("b", probe.reading)
    if not probe.reading:
        box = void("input", type="text", aria_label=name, autocomplete="off", spellcheck="false")
    judged: str = probe.state or _tick(f"{name} passed")
    return el(
        "tr",
        _cell(str(probe.number), class_="no"),
        el("th", _place(probe.at, keys), scope="row", role="rowheader"),
        _cell(el("b", _place(probe.to, keys)), class_="to", data_label="to"),
        _cell(probe.set_to, class_="meter"),
        _cell(probe.expected, class_="wide words", data_label="Must show"),
        _cell(box, class_="wide reading", data_label="Reading"),
        _cell(judged, class_="wide tick", data_label="Passed"),
        _cell(probe.why, class_="wide quiet words", data_label="Proves"),
        role="row",
    )


def _place(words: str, keys: dict[str, str]) -> Markup:
    key = next((keys[words[:at]] for at in _dots(words) if words[:at] in keys), None)
    pad = words if key is not None and "." in words else None
    attributes = {"data_part": key, "data_pad": pad} if key else {"data_net": words}
    return el("span", words, tabindex="0" if key else None, **attributes)


def _dots(words: str) -> list[int]:
    return [len(words), *(at for at in range(len(words) - 1, 0, -1) if words[at] == ".")]


def readings_entered(rows: SheetRows) -> Markup:
    """Return every reading of the job, in the order of entry."""
    lines = [
        el(
            "tr",
            _cell(str(row.number), class_="no"),
            _cell(row.stage),
            el("th", f"{row.at} to {row.to}", scope="row", role="rowheader"),
            _cell(row.set_to),
            _cell(row.shown, class_="wide", data_label="Showed"),
            _cell(row.note, class_="wide", data_label="Note"),
            role="row",
        )
        for row in rows.readings
    ]
    heads = ("Entry", "When", "From and to", "Meter", "Showed", "Note")
    return _lines("Readings entered", heads, lines)


def verdict(check: CheckLines | None) -> Markup:
    """Return the verdict, ticked where it is known, with what was found and what is suspected."""
    said = check.verdict if check is not None else ""
    choices = [
        el(
            "span",
            el("span", "×" if choice == said else "", class_="box", aria_hidden="true"),
            f" {choice}",
            el("span", " (the verdict)", class_="quiet") if choice == said else "",
            class_="chosen" if choice == said else None,
        )
        for choice in VERDICTS
    ]
    pieces: list[str] = [el("p", *choices, class_="verdict-line")]
    if check is None:
        return pieces[0] if isinstance(pieces[0], Markup) else joined(pieces)
    if check.found:
        pieces += [el("h3", "Found"), _list(check.found)]
    if check.still_to_probe:
        pieces.append(el("p", f"Measurements still to make: {check.still_to_probe}."))
    if check.suspects:
        lines = [
            el(
                "tr",
                el("th", item.what, scope="row", role="rowheader", class_="words"),
                _cell(f"{item.score:.0%}", class_="count figure"),
                _cell("; ".join(item.because), class_="wide", data_label="Why"),
                role="row",
            )
            for item in check.suspects
        ]
        pieces.append(_lines("Suspects, likeliest first", ("Fault", "Likely", "Why"), lines))
    return joined(pieces)


def signatures() -> Markup:
    """Return the lines to sign on."""
    lines = ("Repaired by", "Signature", "Date", "Checked by", "Signature", "Date")
    meter = el("p", "Meter used, and when it was last checked:", class_="quiet")
    return joined([meter, el("div", *(el("div", line) for line in lines), class_="signatures")])


# -- pieces -------------------------------------------------------------------------------------


def _cell(*children: str, **attributes: str | None) -> Markup:
    return el("td", *children, role="cell", **attributes)


def _list(items: Iterable[str]) -> Markup:
    return el("ul", *(el("li", item) for item in items))


def _sentence(text: str) -> str:
    return text if text.endswith((".", "?")) else f"{text}."


def _tick(label: str) -> Markup:
    return void("input", type="checkbox", aria_label=label)


def _refs(positions: Sequence[tuple[str, str]]) -> Markup:
    spans = [el("span", name, data_part=key or None) for key, name in positions]
    return joined(spans, ", ")


def _table(title: str, heads: Sequence[str], bodies: Sequence[Markup], kind: str) -> Markup:
    row = el(
        "tr", *(el("th", head, scope="col", role="columnheader") for head in heads), role="row"
    )
    return el(
        "table", el("caption", title), el("thead", row, role="rowgroup"), *bodies,
        class_=kind, role="table",
    )  # fmt: skip


def _lines(title: str, heads: Sequence[str], lines: Sequence[Markup]) -> Markup:
    return _table(title, heads, [el("tbody", *lines, role="rowgroup")], "lines")
