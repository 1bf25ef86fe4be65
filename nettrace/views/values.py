"""Meanings of a marking, and answers of a formula: as JSON and on the work sheet."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from nettrace.values.codes import Meaning
from nettrace.values.marking import ValueAnswer
from nettrace.values.quantity import engineering, percent
from nettrace.views.payload import Json, si
from nettrace.views.tables import Column, Sheet

if TYPE_CHECKING:
    from nettrace.electrical.formulas import Answer, Formula

__all__ = ["answers", "meanings", "show_answers", "show_formulas", "show_value"]

_UNITS = {
    "ohms": "Ω", "farads": "F", "henries": "H", "volts": "V", "hertz": "Hz", "amperes": "A",
    "watts": "W",
}  # fmt: skip


def meanings(answer: ValueAnswer) -> list[Json]:
    """Return the contract's `meanings`, likeliest first."""
    return [
        {
            "quantity": item.quantity,
            "value": si(item.value) if isinstance(item.value, float) else item.value,
            "tolerance": si(item.tolerance),
            "how": item.how,
            "note": item.note or None,
        }
        for item in answer.meanings
    ]


def show_value(answer: ValueAnswer, sheet: Sheet) -> None:
    """Write every meaning, then the series the value is in and what could stand in for it."""
    sheet.title(answer.text, "what it may mean, likeliest first")
    sheet.table(
        [
            Column("meaning", "name"),
            Column("tolerance"),
            Column("read as"),
            Column("note", wrap=True),
        ],
        [(_words(item), _tolerance(item), item.how, item.note) for item in answer.meanings],
    )
    if answer.series:
        sheet.labelled("in series", ", ".join(answer.series))
    if answer.between:
        unit = next((_UNITS[m.quantity] for m in answer.meanings if m.quantity in _UNITS), "Ω")
        below, above = (engineering(value, unit) for value in answer.between)
        sheet.labelled("beside it", f"{below} and {above} ({answer.combined_series})")
        if answer.made_of:
            made = "; ".join(item.text(unit) for item in answer.made_of)
            sheet.labelled("made of", made)


def _words(item: Meaning) -> str:
    if isinstance(item.value, float) and item.quantity in _UNITS:
        return engineering(item.value, _UNITS[item.quantity])
    if item.value is None:
        return str(item.quantity)
    if item.quantity == "tolerance" and isinstance(item.value, float):
        return f"±{percent(item.value)}"
    return f"{item.quantity} {item.value}"


def _tolerance(item: Meaning) -> str:
    return f"±{percent(item.tolerance)}" if item.tolerance is not None else ""


def answers(name: str, found: Sequence[Answer]) -> Json:
    """Return a formula's lines."""
    return {
        "name": name,
        "lines": [
            {
                "label": item.label,
                "value": si(item.value) if isinstance(item.value, float) else item.value,
                "unit": item.unit or None,
            }
            for item in found
        ],
    }


def show_answers(formula: Formula, found: Sequence[Answer], sheet: Sheet) -> None:
    """Write a formula's lines."""
    sheet.title(formula.name, formula.help)
    for item in found:
        if isinstance(item.value, float) and item.unit:
            exact = item.unit in {"°C", "%", "K"}
            words = f"{item.value:.4g} {item.unit}" if exact else engineering(item.value, item.unit)
        else:
            words = f"{item.value:.4g}" if isinstance(item.value, float) else str(item.value)
        sheet.labelled(item.label, words, width=24)


def show_formulas(formulas: Sequence[Formula], sheet: Sheet) -> None:
    """Write the formulas there are, each with its inputs."""
    sheet.title("Formulas", "nettrace formula NAME input=value ...")
    rows = []
    for item in formulas:
        inputs = " ".join(p.name if p.default is None else f"[{p.name}]" for p in item.parameters)
        rows.append((item.name, inputs, item.help))
    sheet.table(
        [Column("name", "name"), Column("inputs", wrap=True), Column("gives", wrap=True)], rows
    )
