"""Expected readings: as the contract's JSON, and on the work sheet."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from nettrace.electrical.expected import DIODE_TEXT, Expected, ExpectedVolts, Heat, ThermistorLine
from nettrace.electrical.power_off import OhmsBounds
from nettrace.values.quantity import engineering, percent
from nettrace.views.payload import Json, si
from nettrace.views.tables import Column, Sheet
from nettrace.views.text import listed

__all__ = [
    "ohms_words",
    "power",
    "power_words",
    "reading",
    "readings",
    "show_power",
    "show_readings",
    "volts_words",
]

#: An ohms reading beyond this is shown as overload by common meters (40 or 60 MΩ ranges).
OVERLOAD_OHMS = 60e6


def reading(item: Expected) -> Json:
    """Return the contract's `reading`."""
    return {
        "from": item.start,
        "from_net": item.start_net,
        "to": item.to,
        "to_net": item.to_net,
        "ohms": _ohms(item.ohms),
        "farads": si(item.farads) if item.farads else None,
        "volts": si(item.volts.nominal) if item.volts else None,
        "volts_basis": item.volts.basis if item.volts else None,
        "because": list(item.because),
        "diode": item.diode or None,
        "thermistor": _thermistor(item.thermistor),
        "power": power(item.heat) if item.heat is not None else None,
    }


def _thermistor(line: ThermistorLine | None) -> Json | None:
    if line is None:
        return None
    return {
        "part": line.part,
        "basis": line.basis,
        "at": [
            {"celsius": si(row.celsius), "ohms": si(row.ohms), "volts": si(row.volts)}
            for row in line.rows
        ],
    }


def power(heat: Heat) -> Json:
    """Return the power in one resistor."""
    return {
        "part": heat.part,
        "watts": si(heat.watts),
        "at_most": si(heat.at_most),
        "rated_watts": si(heat.rated_watts),
        "rated_by": heat.rated_by or None,
        "state": heat.state,
    }


def _ohms(bounds: OhmsBounds | None) -> Json:
    if bounds is None:
        return {"at_most": 0.0, "at_least": 0.0, "nominal": 0.0, "exact": True, "unknown": []}
    return {
        "at_most": si(bounds.shown_at_most()),
        "at_least": si(bounds.shown_at_least()),
        "nominal": si(bounds.nominal),
        "exact": bounds.exact,
        "unknown": list(bounds.unknown),
    }


def readings(
    now: Sequence[Expected],
    fitted: Sequence[Expected],
    without: Sequence[str],
    changed: Mapping[str, float] | None = None,
) -> Json:
    """Return the first reading with the rest of the pad's under `more`.

    `fitted` are the same with every part as designed, where some are missing or changed.
    """
    first, *rest = now
    other = bool(without or changed)
    return {
        **reading(first),
        "more": [reading(item) for item in rest],
        "without": list(without),
        "changed": {name: si(ohms) for name, ohms in (changed or {}).items()},
        "fitted": [reading(item) for item in fitted] if other else [],
    }


def ohms_words(bounds: OhmsBounds | None) -> str:
    """Return the figure for a table cell: exact, at most, or that chips decide."""
    if bounds is None:
        return "beeps (one net)"
    if math.isinf(bounds.nominal):
        return "overload" if bounds.exact else "by chips only"
    if bounds.nominal > OVERLOAD_OHMS:
        return "overload"
    figure = engineering(bounds.nominal, "Ω")
    if bounds.exact:
        return figure
    return f"at most {engineering(bounds.shown_at_most(), 'Ω')}"


def volts_words(volts: ExpectedVolts | None) -> str:
    """Return the voltage for a table cell."""
    return engineering(volts.nominal, "V") if volts is not None else "unknown"


def show_readings(
    name: str,
    board: str,
    now: Sequence[Expected],
    fitted: Sequence[Expected],
    without: Sequence[str],
    sheet: Sheet,
    changed: Mapping[str, float] | None = None,
) -> None:
    """Write what the meter should show, power off first, then with rails up."""
    sheet.title(f"Readings at {name}", board)
    sheet.line(
        ("Power off, battery and supply unplugged, capacitors discharged.", "warn"), indent=1
    )
    other = bool(without or changed)
    if other:
        changes = [f"without {listed(list(without))}"] if without else []
        changes += [
            f"{key} shorted" if ohms == 0 else f"{key} {engineering(ohms, 'Ω')}"
            for key, ohms in (changed or {}).items()
        ]
        sheet.line(f"Now: {', '.join(changes)}. Fitted: as designed.", indent=1)
    titles = ["ohms now", "ohms fitted", "farads now"] if other else ["ohms", "farads"]
    columns = [Column("from", "name", cut=True), Column("to", cut=True)]
    columns += [Column(title) for title in titles]
    rows = []
    for a, b in zip(now, fitted, strict=True):
        row = [_end(a.start, a.start_net), _end(a.to, a.to_net), ohms_words(a.ohms)]
        if other:
            row.append(ohms_words(b.ohms))
        rows.append([*row, _farads(a, b)])
    sheet.heading("Power off")
    sheet.table(columns, rows)
    for item in now:
        sheet.line((f"{item.start} to {item.to}", "quiet"), indent=1)
        sheet.bullets(item.because)
    if any(item.diode for item in now):
        sheet.line(DIODE_TEXT[0].upper() + DIODE_TEXT[1:] + ".", indent=1)
    up = [(a, b) for a, b in zip(now, fitted, strict=True) if a.volts or b.volts]
    if up:
        sheet.heading("Power on", "only after every rail has passed its ohms to ground")
        for a, b in up:
            words = f"{volts_words(a.volts)} to ground"
            if other and volts_words(a.volts) != volts_words(b.volts):
                words += f" now, {volts_words(b.volts)} fitted"
            sheet.labelled(a.start, words)
            if a.volts is not None:
                sheet.bullets([a.volts.basis])
            elif b.volts is not None:
                sheet.bullets([f"fitted: {b.volts.basis}"])

    for item in now:
        if item.thermistor is not None:
            sheet.heading("Over temperature", item.thermistor.basis)
            sheet.table(
                [Column("at", "name"), Column("thermistor"), Column(f"{item.start} to ground")],
                [
                    (f"{row.celsius:g} °C", engineering(row.ohms, "Ω", 3),
                     engineering(row.volts, "V", 3) if row.volts is not None else "unknown")
                    for row in item.thermistor.rows
                ],
            )  # fmt: skip
    for item in now:
        if item.heat is not None and (item.heat.watts is not None or item.heat.at_most is not None):
            sheet.labelled("power", power_words(item.heat))


def power_words(heat: Heat) -> str:
    """Return the power in a resistor with its rating: `0 W, at most 1.64 mW, of 50 mW`."""
    words = [engineering(heat.watts, "W", 3)] if heat.watts is not None else []
    if heat.at_most is not None and heat.at_most != heat.watts:
        words.append(f"at most {engineering(heat.at_most, 'W', 3)}")
    rated = engineering(heat.rated_watts, "W", 3) if heat.rated_watts is not None else "unknown"
    return f"{', '.join(words)} in {heat.part}; it may take {rated}"


def show_power(board: str, found: Sequence[Heat], sheet: Sheet) -> None:
    """Write the power in every resistor, the nearest to its rating first."""
    sheet.title("Power in the resistors", board)
    if not found:
        sheet.line("No rail of known voltage ends at a resistor of known value.", indent=1)
        return
    sheet.line("Rails up. Driven: with what a chip on its net may do to it.", indent=1)
    sheet.table(
        [
            Column("part", "name"),
            *(Column(title, right=True) for title in ("quiet", "driven", "rated", "share")),
            Column("state"),
        ],
        [
            (
                heat.part,
                engineering(heat.watts, "W", 3) if heat.watts is not None else "?",
                engineering(heat.at_most, "W", 3) if heat.at_most is not None else "?",
                engineering(heat.rated_watts, "W", 3) if heat.rated_watts is not None else "?",
                percent(heat.share) if heat.rated_watts else "?",
                heat.state,
            )
            for heat in found
        ],
    )


def _end(place: str, net: str) -> str:
    return place if net in place else f"{place} {net}"


def _farads(now: Expected, fitted: Expected) -> str:
    if not now.farads and not fitted.farads:
        return ""
    words = engineering(now.farads, "F") if now.farads else "none"
    if now.farads != fitted.farads:
        words += f" ({engineering(fitted.farads, 'F')} fitted)"
    return words
