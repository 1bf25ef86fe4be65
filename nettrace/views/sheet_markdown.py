"""The job sheet as Markdown (CommonMark with tables): the same words as the page, no drawings."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from nettrace.bench.refit import ALLOYS, CAUTIONS, DOCUMENTS, FIRST, HEAT_FACTS
from nettrace.version import __version__
from nettrace.views.sheet_rows import PositionRow, SheetRows, sheet_rows
from nettrace.views.sheet_source import CheckLines, SheetInput
from nettrace.views.text import printable

__all__ = ["render_markdown"]

#: What could start markup, anywhere in a line (CommonMark 0.31, 2.4: any may be escaped).
_SPECIAL = re.compile(r"([\\`*_\[\]<>|~#&])")


def render_markdown(source: SheetInput) -> str:
    """Return the job sheet as Markdown; text from files cannot be markup in it."""
    rows = sheet_rows(source)
    lines = [
        f"# Job sheet: {_plain(rows.title)}",
        "",
        *_bullets(
            [
                f"Board: {rows.board}",
                f"Job opened: {rows.opened}",
                f"Read from: {', '.join(rows.sources)}",
                f"Verdict: {source.check.verdict if source.check is not None else 'not checked'}",
            ]
        ),
    ]
    lines += _section("At a glance", [*_bullets(rows.damage or ["No effect is known."])])
    lines += ["Where it stands:", "", *_bullets(rows.standing)]
    for title, items in (
        ("Besides", rows.besides),
        ("Remarks", rows.remarks),
        ("Mind", rows.warnings),
    ):
        if items:
            lines += [f"{title}:", "", *_bullets(items)]
    lines += _section("Positions", _positions(rows))
    if rows.loose:
        heads = ("Loose part", "Measures", "Belongs at", "How sure", "What to do")
        found = [
            (row.name, row.measures, row.place, row.certainty, row.advice) for row in rows.loose
        ]
        lines += _section("Loose parts", _table(heads, found))
    lines += _section("To order", _orders(rows))
    lines += _section("Order of work", _work(rows))
    lines += _section("To measure", _measure(source))
    if rows.readings:
        titles = ("Entry", "When", "From and to", "Meter", "Showed", "Note")
        entered = [
            (str(row.number), row.stage, f"{row.at} to {row.to}", row.set_to, row.shown, row.note)
            for row in rows.readings
        ]
        lines += _section("Readings so far", _table(titles, entered))
    lines += _section("Verdict", _verdict(source.check))
    lines += ["Repaired by: ______________________  Date: ____________", ""]
    lines += ["Checked by: ______________________  Date: ____________", ""]
    lines += [f"Written by nettrace {__version__}."]
    return "\n".join(lines) + "\n"


def _plain(text: str) -> str:
    return _SPECIAL.sub(r"\\\1", printable(text))


def _bullets(items: Iterable[str]) -> list[str]:
    return [*(f"- {_plain(item)}" for item in items), ""]


def _section(title: str, lines: Sequence[str]) -> list[str]:
    return [f"## {title}", "", *lines]


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    lines = [f"| {' | '.join(heads)} |", f"|{' --- |' * len(heads)}"]
    lines += [f"| {' | '.join(_plain(cell) or ' ' for cell in row)} |" for row in rows]
    return [*lines, ""]


def _positions(rows: SheetRows) -> list[str]:
    if not rows.positions:
        return ["No position is marked yet.", ""]
    heads = (
        "No.", "Part", "Value", "Size", "Pads and nets", "Volts", "Role", "Without it", "State",
    )  # fmt: skip
    return _table(heads, [_position(row) for row in rows.positions])


def _position(row: PositionRow) -> tuple[str, ...]:
    pins = [f"{pin.pad} {pin.net}" for pin in row.pins]
    if row.more_pins:
        pins.append(f"{row.more_pins} more")
    without = "; ".join(row.without)
    return (
        str(row.number),
        row.refdes,
        row.value,
        row.size,
        "; ".join(pins),
        "; ".join(pin.volts for pin in row.pins),
        row.role,
        f"{row.severity}: {without}" if without else row.severity,
        f"{row.mark}; {row.stands}" + (f" ({row.note})" if row.note else ""),
    )


def _orders(rows: SheetRows) -> list[str]:
    if not rows.orders:
        return ["Nothing: no position is open.", ""]
    heads = ("Pieces", "What", "For", "Part number", "May stand in", "Why")
    table = [
        (
            str(row.quantity),
            row.what,
            ", ".join(name for _, name in row.positions),
            row.part_number,
            "; ".join(row.substitutes),
            "; ".join([*row.because, *(f"not sure: {doubt}" for doubt in row.doubts)]),
        )
        for row in rows.orders
    ]
    return _table(heads, table)


def _work(rows: SheetRows) -> list[str]:
    lines = [f"**{_plain(FIRST)}**", "", *_bullets(CAUTIONS)]
    for index, step in enumerate(rows.steps, start=1):
        lines.append(f"{index}. **{_plain(step.title)}**")
        indent = " " * (len(str(index)) + 2)
        reasons = [*step.because, *(f"mind: {text}" for text in step.mind)]
        lines += [f"{indent}- {_plain(reason)}" for reason in reasons]
    lines.append("")
    if rows.unplaced:
        lines += [f"Without a place in the sources: {_plain(', '.join(rows.unplaced))}.", ""]
    alloys = "; ".join(f"{alloy} {melts}" for alloy, melts in ALLOYS)
    lines += ["Heat:", "", *_bullets([*HEAT_FACTS, f"Melting: {alloys}."])]
    return [*lines, "What governs the work:", "", *_bullets(DOCUMENTS)]


def _measure(source: SheetInput) -> list[str]:
    if not source.probes:
        return ["No measurement is planned: nothing is marked.", ""]
    heads = ("No.", "From", "To", "Meter", "Expected", "Reading", "Passed", "Why")
    table = [
        (
            str(probe.number),
            probe.at,
            probe.to,
            probe.set_to,
            probe.expected,
            probe.reading,
            probe.state,
            probe.why,
        )
        for probe in source.probes
    ]
    return _table(heads, table)


def _verdict(check: CheckLines | None) -> list[str]:
    if check is None:
        return ["Not checked yet.", ""]
    lines = [f"**{_plain(check.verdict)}**", "", *_bullets(check.found)]
    if check.still_to_probe:
        lines += [f"Measurements still to make: {check.still_to_probe}.", ""]
    if check.suspects:
        table = [(item.what, f"{item.score:.0%}", "; ".join(item.because))
                 for item in check.suspects]  # fmt: skip
        lines += _table(("Fault", "Likely", "Why"), table)
    return lines
