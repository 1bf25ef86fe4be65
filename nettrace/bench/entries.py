"""Words typed at the bench become entries of a job, checked against the board."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from enum import StrEnum
from typing import Any, Final, TypeVar

from nettrace.bench.job import Damage, Fit, Job, Loose, Mark, MeterMode, Reading, Wire, fold, now
from nettrace.bench.wire import find_via
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.kinds import Kind
from nettrace.errors import NothingMatches, WrongUsage
from nettrace.model.find import find_nets, find_parts, find_pins, one_of_pads
from nettrace.model.names import nearest_names
from nettrace.values.quantity import parse_quantity
from nettrace.values.sizes import read_size

_OVERLOAD: Final = frozenset({"ol", "open", "o.l", "overload", "inf", "1."})
_BEEPS: Final = {"beep": 1.0, "none": 0.0, "no": 0.0, "silent": 0.0}
_PLACE: Final = r"[-+]?[\d.]+,[-+]?[\d.]+"
#: Ending of a typed figure -> what the meter was set to.
_UNITS: Final = (
    (r"(?i:ohms?|Ω|Ω|R)$", MeterMode.OHMS),
    (r"F$", MeterMode.FARADS),
    (r"[Vv]$", MeterMode.VOLTS),
    (r"[Aa]$", MeterMode.AMPERES),
)

_Word = TypeVar("_Word", bound=StrEnum)
_Made = TypeVar("_Made", Mark, Loose, Fit, Wire, Reading)


def _entries(kind: type[_Made], job: Job, rows: Iterable[Mapping[str, Any]]) -> list[_Made]:
    """Return entries of a kind, one of each row of its fields, with the next numbers."""
    time = now()
    return [
        kind(number=number, time=time, **row) for number, row in enumerate(rows, job.next_number())
    ]


def _known_word(word: str, kinds: type[_Word], what: str, more: Sequence[str] = ()) -> _Word:
    """Return the word as one of an enumeration; the nearest is offered where it is none."""
    try:
        return kinds(word.casefold())
    except ValueError:
        known = [*(str(item) for item in kinds), *more]
        near = nearest_names(word, known)
        hint = f"Did you mean {near[0]}?" if near else f"There are {', '.join(known)}."
        raise WrongUsage(f"no {what} {word!r}", hint=hint) from None


def mark_entries(
    circuit: Circuit, job: Job, damage: str, words: Sequence[str], note: str = ""
) -> list[Mark]:
    """Return the marks of one command.

    Raises:
        WrongUsage: no such damage, or a pad where a part is meant or the reverse.
        NothingMatches: no such part or pad on the board.
    """
    kind = _known_word(damage, Damage, "damage named", ("fitted", "wired"))
    if kind in {Damage.CUT, Damage.BRIDGED}:
        if len(words) != 2:
            raise WrongUsage(
                f"{len(words)} pads with {kind}", expected="two", hint="For instance R12.1 R13.1."
            )
        first, second = (_one_pad(circuit, word) for word in words)
        return _entries(Mark, job, [{"at": first, "to": second, "damage": kind, "note": note}])
    places: list[str] = []
    for word in words:
        if kind is Damage.LIFTED or (kind is Damage.SOUND and not _is_part(circuit, word)):
            places += [str(pin) for pin in find_pins(circuit.board, word)]
        elif "." in word and not _is_part(circuit, word):
            hint = "A pad is lifted, cut or bridged."
            raise WrongUsage(f"{word!r} with {kind}", expected="a part", hint=hint)
        else:
            places += [part.key for part in find_parts(circuit.board, word)]
    rows = ({"at": place, "damage": kind, "note": note} for place in dict.fromkeys(places))
    return _entries(Mark, job, rows)


def _is_part(circuit: Circuit, word: str) -> bool:
    try:
        return bool(find_parts(circuit.board, word))
    except NothingMatches:
        return False


def _one_pad(circuit: Circuit, word: str) -> str:
    pins = find_pins(circuit.board, word)
    if len(pins) > 1:
        raise WrongUsage(f"{word!r} means {len(pins)} pads", hint=one_of_pads(circuit.board, pins))
    return str(pins[0])


def wire_entries(
    circuit: Circuit, job: Job, words: Sequence[str], confirmed: bool = False, note: str = ""
) -> list[Wire]:
    """Return the entry of a wire between two points: pads, or places of vias in mm.

    Raises:
        WrongUsage: not two points, or one and the same twice.
        NothingMatches: no such pad, or no pad or via at that place.
    """
    if len(words) != 2:
        raise WrongUsage(
            f"{len(words)} points with wired", expected="two", hint="For instance R12.1 TP4.1."
        )
    points = []
    for typed in words:
        word = typed.removeprefix("via at ")  # as `job wire` shows it
        if re.fullmatch(_PLACE, word) is None:
            points.append(_one_pad(circuit, word))
        elif (via := find_via(circuit, word)) is not None:
            points.append(f"{via.x:.2f},{via.y:.2f}")
        else:
            hint = "Name a pad, or take the place that `job wire` shows."
            raise NothingMatches(f"no via at {word}", hint=hint)
    start, end = points
    if start == end:
        raise WrongUsage(f"a wire from {start} to itself", expected="two points")
    row = {"start": start, "end": end, "confirmed": confirmed, "note": note}
    return _entries(Wire, job, [row])


def fit_entries(
    circuit: Circuit, job: Job, words: Sequence[str], with_part: str | None, note: str = ""
) -> list[Fit]:
    """Return the refits of one command; a loose part is used once, and goes to one position.

    Raises:
        WrongUsage: a loose part for several positions, or used already.
        NothingMatches: no such part, loose part, or the position was never marked.
    """
    state = fold(job)
    keys = dict.fromkeys(part.key for word in words for part in find_parts(circuit.board, word))
    if with_part is not None:
        if with_part not in state.loose:
            known = ", ".join(state.loose) or "none"
            raise NothingMatches(f"no loose part {with_part!r}", hint=f"Entered so far: {known}.")
        if len(keys) > 1:
            raise WrongUsage(f"{with_part} for {len(keys)} positions", hint="Name one position.")
        if with_part in state.used:
            raise WrongUsage(f"{with_part} is used already", hint="Undo that first.")
    for key in keys:
        if key not in state.damaged:
            hint = f"Mark it first: job mark JOB missing {key}."
            raise NothingMatches(f"{key} was not marked", hint=hint)
    return _entries(Fit, job, ({"at": key, "with_part": with_part, "note": note} for key in keys))


def _fraction(text: Any) -> float | None:
    match = re.fullmatch(r"\s*±?\s*(\d+(?:\.\d+)?)\s*%?\s*", str(text))
    return float(match[1]) / 100 if match is not None and 0 < float(match[1]) < 100 else None


def _size(text: Any) -> str | None:
    found = read_size(str(text))
    return None if found is None else found.inch


def _length(value: Any) -> float | None:
    return value if isinstance(value, float) and 0 < value < 100 else None


def _kind(text: Any) -> str | None:
    return next((str(kind) for kind in Kind if kind.casefold() == str(text).casefold()), None)


_MEASURE: Final = "Give the body's {key} like 0.6, or leave --{key} out."
#: What is told of a loose part -> the field of its entry, how it is read (None: it cannot be), what
#: is expected, and how to write it.
_FACTS: Final[Mapping[str, tuple[str, Callable[[Any], object], str, str]]] = {
    "ohms": ("ohms", lambda text: parse_quantity(text, "Ω"), "", ""),
    "farads": ("farads", lambda text: parse_quantity(text, "F"), "", ""),
    "henries": ("henries", lambda text: parse_quantity(text, "H"), "", ""),
    "diode": ("diode_volts", lambda text: parse_quantity(text, "V"), "", ""),
    "accuracy": ("accuracy", _fraction, "per cent", "Write it like 1%."),
    "size": ("size", _size, "a size code", "Write 0201, or 0603M."),
    "length": ("length_mm", _length, "millimetres above 0", _MEASURE),
    "width": ("width_mm", _length, "millimetres above 0", _MEASURE),
    "marking": ("marking", str, "", ""),
    "looks": ("looks", _kind, "a kind of part", "For instance resistor, capacitor, LED."),
    "chipped": ("whole", lambda chipped: not chipped, "", ""),
    "note": ("note", str, "", ""),
}


def loose_entries(job: Job, facts: Mapping[str, object]) -> list[Loose]:
    """Return the entry of a loose part from what was typed.

    Args:
        job: as it stands (for the name).
        facts: option -> text or number: name, ohms, farads, henries, diode, accuracy, size,
            length, width, marking, looks, chipped, note.

    Raises:
        WrongUsage: nothing said, a figure that cannot be read, a name that is taken.
    """
    # 0.0 == False: a length of 0 is said, and wrong
    said = {
        key: value
        for key, value in facts.items()
        if value is not None and value is not False and value != ""
    }
    if not set(said) - {"name", "note"}:
        raise WrongUsage("nothing said of it", hint="Give --ohms, --farads, --size or --looks.")
    taken = {entry.name for entry in job.standing() if isinstance(entry, Loose)}
    free = next(f"L{number}" for number in range(1, len(taken) + 2) if f"L{number}" not in taken)
    row: dict[str, object] = {"name": str(said.get("name") or free)}
    if row["name"] in taken:
        raise WrongUsage(
            f"a loose part {row['name']} is there already", hint="Choose another --name."
        )
    for key, (field, read, expected, hint) in _FACTS.items():
        if key not in said:
            continue
        row[field] = read(said[key])
        if row[field] is None:
            shown = f"{said[key]:g}" if isinstance(said[key], float) else repr(said[key])
            near = nearest_names(str(said[key]), list(Kind)) if key == "looks" else ()
            tip = f"Did you mean {near[0]}?" if near else hint.format(key=key)
            raise WrongUsage(f"--{key} {shown}", expected=expected, hint=tip)
    return _entries(Loose, job, [row])


def reading_entries(
    circuit: Circuit,
    job: Job,
    rows: Sequence[Mapping[str, str]],
    quantity: str | None = None,
    stage: str = "",
    note: str = "",
) -> list[Reading]:
    """Return readings from what was typed: `R12.1 R12.2 2.19k`, `TS GND beep`, `VBUS GND 5.02V`.

    Args:
        circuit: the board, for the places.
        job: as it stands.
        rows: each with `at` and `to` (pads or nets; `supply` for a bench supply's display),
            `shown` (a figure with or without unit, `OL`, `beep` or `none`), and where needed
            `quantity`, `stage` and `note`, which beat the arguments.
        quantity: ohms, farads, diode, volts, amperes or beep; None: by the figure's unit, else
            ohms.
        stage: intake, after refit...
        note: a remark.

    Raises:
        WrongUsage: a figure that cannot be read.
        NothingMatches: no such place.
    """
    found = []
    for row in rows:
        kind, value = _shown(row["shown"].strip(), row.get("quantity") or quantity)
        at, to = (_place(circuit, row[word]) for word in ("at", "to"))
        told = {"stage": row.get("stage") or stage, "note": row.get("note") or note}
        found.append({"at": at, "to": to, "quantity": kind, "value": value, **told})
    return _entries(Reading, job, found)


def _shown(shown: str, quantity: str | None) -> tuple[MeterMode, float | None]:
    folded = shown.casefold()
    if folded in _BEEPS and quantity in {None, "beep"}:
        return MeterMode.BEEP, _BEEPS[folded]
    kind = _known_word(quantity, MeterMode, "quantity") if quantity else None
    if folded in _OVERLOAD:
        return kind or MeterMode.OHMS, None
    if kind is None:
        by_unit = (found for pattern, found in _UNITS if re.search(pattern, shown))
        kind = next(by_unit, MeterMode.OHMS)
    if kind is MeterMode.BEEP:
        raise WrongUsage(f"{shown!r} for a beeper", expected="beep or none")
    unit = {MeterMode.OHMS: "Ω", MeterMode.FARADS: "F", MeterMode.AMPERES: "A"}.get(kind, "V")
    return kind, parse_quantity(shown, unit)


def _place(circuit: Circuit, word: str) -> str:
    if word.casefold() == "supply":
        return "supply"
    if word not in circuit.board.net_by_name and "." in word:
        return _one_pad(circuit, word)
    nets = find_nets(circuit.board, word)
    if len(nets) > 1:
        raise WrongUsage(f"{word!r} means {len(nets)} nets", hint="Name one.")
    return nets[0].name
