"""The pages of the commands about figures: reading, power, value, formula; and of a comparison.

Each makes the blocks of a page from an answer, and asks nothing else.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from nettrace.model.names import natural_key
from nettrace.values.quantity import engineering, percent
from nettrace.views.page import Block, Bullets, Fact, Heading, Table, Title, columns, line, table
from nettrace.views.text import counted, listed

if TYPE_CHECKING:
    from nettrace.answers import Powers, ReadingAnswer
    from nettrace.bench.compare import Comparison
    from nettrace.electrical.expected import Expected, ExpectedVolts, Heat
    from nettrace.electrical.formulas import Formula, Solved
    from nettrace.electrical.power_off import OhmsBounds
    from nettrace.model.board import Pin
    from nettrace.values.marking import Meaning, ValueAnswer

#: Pins named of one group before "and N more".
PINS_SHOWN = 8
_UNITS = {
    "ohms": "Ω", "farads": "F", "henries": "H", "volts": "V", "hertz": "Hz", "amperes": "A",
    "watts": "W",
}  # fmt: skip

Page = Iterator[Block]


# -- reading ------------------------------------------------------------------------------------


def reading(answer: ReadingAnswer) -> Page:
    """Show what the meter should show, power off first, then with rails up."""
    from nettrace.electrical.expected import DIODE_TEXT

    now, both = answer.now, list(zip(answer.now, answer.fitted, strict=True))
    other = bool(answer.without or answer.changed)
    yield Title(f"Readings at {answer.at}", answer.board)
    first = "Power off, battery and supply unplugged, capacitors discharged."
    yield line((first, "warn"), indent=1)
    if other:
        yield line(f"Now: {_changes(answer)}. Fitted: as designed.", indent=1)
    titles = ["ohms now", "ohms fitted", "farads now"] if other else ["ohms", "farads"]
    heads = columns("from: name cut", "to: cut", *titles)
    rows = []
    for a, b in both:
        ohms = [ohms_words(a.ohms), ohms_words(b.ohms)] if other else [ohms_words(a.ohms)]
        rows.append([_end(a.start, a.start_net), _end(a.to, a.to_net), *ohms, _farads(a, b)])
    yield Heading("Power off")
    yield Table(heads, tuple(rows))
    for item in now:
        yield line((f"{item.start} to {item.to}", "quiet"), indent=1)
        yield Bullets(item.because)
    if any(item.diode for item in now):
        yield line(DIODE_TEXT[0].upper() + DIODE_TEXT[1:] + ".", indent=1)
    up = [(a, b) for a, b in both if a.volts or b.volts]
    if up:
        yield Heading("Power on", "only after every rail has passed its ohms to ground")
    for a, b in up:
        words = f"{_volts(a.volts)} to ground"
        if other and _volts(a.volts) != _volts(b.volts):
            words += f" now, {_volts(b.volts)} fitted"
        yield Fact(a.start, words)
        if a.volts is not None:
            yield Bullets((a.volts.basis,))
        elif b.volts is not None:
            yield Bullets((f"fitted: {b.volts.basis}",))
    for item in now:
        if item.thermistor is not None:
            yield Heading("Over temperature", item.thermistor.basis)
            rows = []
            for row in item.thermistor.rows:
                up_to = engineering(row.volts, "V", 3) if row.volts is not None else "unknown"
                rows.append([f"{row.celsius:g} °C", engineering(row.ohms, "Ω", 3), up_to])
            yield Table(columns("at: name", "thermistor", f"{item.start} to ground"), tuple(rows))
    for item in now:
        if item.heat is not None and (item.heat.watts is not None or item.heat.at_most is not None):
            yield Fact("power", _power_words(item.heat))


def _changes(answer: ReadingAnswer) -> str:
    gone = sorted(answer.without, key=natural_key)
    words = [f"without {listed(gone)}"] if gone else []
    for key, ohms in answer.changed.items():
        words.append(f"{key} {engineering(ohms, 'Ω')}" if ohms else f"{key} shorted")
    return ", ".join(words)


def ohms_words(bounds: OhmsBounds | None) -> str:
    """Return the figure for a table cell: exact, at most, or that chips decide."""
    from nettrace.electrical.meter import OVERLOAD_OHMS

    if bounds is None:
        return "beeps (one net)"
    if math.isinf(bounds.nominal):
        return "overload" if bounds.exact else "by chips only"
    if bounds.nominal > OVERLOAD_OHMS:
        return "overload"
    if bounds.exact:
        return engineering(bounds.nominal, "Ω")
    return f"at most {engineering(bounds.shown_at_most(), 'Ω')}"


def _volts(volts: ExpectedVolts | None) -> str:
    return engineering(volts.nominal, "V") if volts is not None else "unknown"


def _end(place: str, net: str) -> str:
    return place if net in place else f"{place} {net}"


def _farads(now: Expected, fitted: Expected) -> str:
    if not now.farads and not fitted.farads:
        return ""
    words = engineering(now.farads, "F") if now.farads else "none"
    if now.farads != fitted.farads:
        words += f" ({engineering(fitted.farads, 'F')} fitted)"
    return words


def _power_words(heat: Heat) -> str:
    """Return the power in a resistor with its rating: `0 W, at most 1.64 mW, of 50 mW`."""
    words = [engineering(heat.watts, "W", 3)] if heat.watts is not None else []
    if heat.at_most is not None and heat.at_most != heat.watts:
        words.append(f"at most {engineering(heat.at_most, 'W', 3)}")
    rated = engineering(heat.rated_watts, "W", 3) if heat.rated_watts is not None else "unknown"
    return f"{', '.join(words)} in {heat.part}; it may take {rated}"


def power(answer: Powers) -> Page:
    """Show the power in every resistor, the nearest to its rating first."""
    yield Title("Power in the resistors", answer.board)
    if not answer:
        yield line("No rail of known voltage ends at a resistor of known value.", indent=1)
        return
    yield line("Rails up. Driven: with what a chip on its net may do to it.", indent=1)
    rows = []
    for heat in answer:
        figures = (heat.watts, heat.at_most, heat.rated_watts)
        watts = (engineering(each, "W", 3) if each is not None else "?" for each in figures)
        share = percent(heat.share) if heat.rated_watts else "?"
        rows.append((heat.part, *watts, share, heat.state))
    heads = "part: name; quiet: right; driven: right; rated: right; share: right; state"
    yield table(heads, rows)


# -- value and formula --------------------------------------------------------------------------


def value(answer: ValueAnswer) -> Page:
    """Show every meaning, then the series the value is in and what could stand in for it."""
    yield Title(answer.text, "what it may mean, likeliest first")
    rows = []
    for item in answer.meanings:
        tolerance = f"±{percent(item.tolerance)}" if item.tolerance is not None else ""
        rows.append((_meaning(item), tolerance, item.how, item.note))
    yield table("meaning: name; tolerance; read as; note: wrap", rows)
    if answer.series:
        yield Fact("in series", ", ".join(answer.series))
    if answer.between:
        unit = next((_UNITS[m.quantity] for m in answer.meanings if m.quantity in _UNITS), "Ω")
        below, above = (engineering(each, unit) for each in answer.between)
        yield Fact("beside it", f"{below} and {above} ({answer.combined_series})")
        if answer.made_of:
            yield Fact("made of", "; ".join(item.text(unit) for item in answer.made_of))


def _meaning(item: Meaning) -> str:
    if isinstance(item.value, float) and item.quantity in _UNITS:
        return engineering(item.value, _UNITS[item.quantity])
    if item.value is None:
        return str(item.quantity)
    if item.quantity == "tolerance" and isinstance(item.value, float):
        return f"±{percent(item.value)}"
    return f"{item.quantity} {item.value}"


def formula(answer: Solved) -> Page:
    """Show a formula's lines."""
    yield Title(answer.formula.name, answer.formula.help)
    for item in answer:
        if isinstance(item.value, float) and item.unit:
            exact = item.unit in {"°C", "%", "K"}
            words = f"{item.value:.4g} {item.unit}" if exact else engineering(item.value, item.unit)
        else:
            words = f"{item.value:.4g}" if isinstance(item.value, float) else str(item.value)
        yield Fact(item.label, words, width=24)


def formulas(answer: Sequence[Formula]) -> Page:
    """Show the formulas there are, each with its inputs."""
    yield Title("Formulas", "nettrace formula NAME input=value ...")
    rows = []
    for item in answer:
        inputs = " ".join(p.name if p.default is None else f"[{p.name}]" for p in item.parameters)
        rows.append((item.name, inputs, item.help))
    yield table("name: name; inputs: wrap; gives: wrap", rows)


# -- two boards ---------------------------------------------------------------------------------


def comparison(answer: Comparison) -> Page:
    """Show what differs, in the words of the bench; where nothing does, one line says so."""
    yield Title("Comparison", " against ".join(answer.names))
    if answer.same:
        listed_alike = not (answer.missing_pins or answer.extra_pins)
        far = "" if listed_alike else " Pins that only one of them lists are not compared."
        yield line(("Same: ", "good"), f"the pins of both are tied together alike.{far}")
    else:
        found = (answer.opens, answer.shorts, answer.missing_parts, answer.extra_parts)
        nouns = ("open", "short", "missing part", "extra part")
        counts = [counted(len(each), noun) for each, noun in zip(found, nouns, strict=True)]
        yield line(("Not the same: ", "bad"), ", ".join(counts) + ".")
    if answer.opens:
        yield Heading("Opens", "one net of the first is several nets of the other", "bad")
    for item in answer.opens:
        yield line((item.net, "name"), indent=1)
        yield Bullets(tuple(_pins(group) for group in item.groups))
    if answer.shorts:
        yield Heading("Shorts", "one net of the other joins several of the first", "bad")
    for short in answer.shorts:
        yield line((" + ".join(net or "(no net)" for net in short.nets), "name"), indent=1)
        yield Bullets((_pins(short.pins),))
    for title, names in (("Missing", answer.missing_parts), ("Extra", answer.extra_parts)):
        if names:
            yield Heading(f"{title} parts")
            yield line(", ".join(names), indent=1)
    for label, names in (("only first", answer.missing_pins), ("only other", answer.extra_pins)):
        if names:
            yield Fact(label, f"{counted(len(names), 'pin')} not compared: {listed(names)}")


def _pins(pins: Sequence[Pin]) -> str:
    return listed([str(pin) for pin in pins], PINS_SHOWN)
