"""Expected readings: as the contract's JSON, and on the work sheet."""

from __future__ import annotations

import math
from collections.abc import Sequence

from nettrace.electrical.bounds import OhmsBounds
from nettrace.electrical.readings import DIODE_TEXT, Reading, ReadingVolts
from nettrace.values.quantity import engineering
from nettrace.views.payload import Json, si
from nettrace.views.tables import Column, Sheet
from nettrace.views.text import listed

__all__ = ["ohms_words", "reading", "readings", "show_readings", "volts_words"]

#: An ohms reading beyond this is shown as overload by common meters (40 or 60 MΩ ranges).
OVERLOAD_OHMS = 60e6


def reading(item: Reading) -> Json:
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


def readings(now: Sequence[Reading], fitted: Sequence[Reading], without: Sequence[str]) -> Json:
    """Return the first reading with the rest of the pad's under `more`; `fitted` with all parts."""
    first, *rest = now
    answer = reading(first)
    answer["more"] = [reading(item) for item in rest]
    if without:
        answer["without"] = list(without)
        answer["fitted"] = [reading(item) for item in fitted]
    return answer


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


def volts_words(volts: ReadingVolts | None) -> str:
    """Return the voltage for a table cell."""
    return engineering(volts.nominal, "V") if volts is not None else "unknown"


def show_readings(
    name: str,
    board: str,
    now: Sequence[Reading],
    fitted: Sequence[Reading],
    without: Sequence[str],
    sheet: Sheet,
) -> None:
    """Write what the meter should show, power off first, then with rails up."""
    sheet.title(f"Readings at {name}", board)
    sheet.line(
        ("Power off, battery and supply unplugged, capacitors discharged.", "warn"), indent=1
    )
    if without:
        sheet.line(f"Now: without {listed(list(without))}. Fitted: with all parts.", indent=1)
    titles = ["ohms now", "ohms fitted", "farads now"] if without else ["ohms", "farads"]
    columns = [Column("from", "name", cut=True), Column("to", cut=True)]
    columns += [Column(title) for title in titles]
    rows = []
    for a, b in zip(now, fitted, strict=True):
        row = [_end(a.start, a.start_net), _end(a.to, a.to_net), ohms_words(a.ohms)]
        if without:
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
            if without and volts_words(a.volts) != volts_words(b.volts):
                words += f" now, {volts_words(b.volts)} fitted"
            sheet.labelled(a.start, words)
            sheet.bullets([(a.volts or b.volts).basis] if a.volts or b.volts else [])  # type: ignore[union-attr] # one of them is there


def _end(place: str, net: str) -> str:
    return place if net in place else f"{place} {net}"


def _farads(now: Reading, fitted: Reading) -> str:
    if not now.farads and not fitted.farads:
        return ""
    words = engineering(now.farads, "F") if now.farads else "none"
    if now.farads != fitted.farads:
        words += f" ({engineering(fitted.farads, 'F')} fitted)"
    return words
