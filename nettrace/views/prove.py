"""The proof of a repair: probe list, next measurement and verdict, as JSON and on the sheet."""

from __future__ import annotations

from collections.abc import Sequence

from nettrace.bench.diagnosis import Check, NextProbe, Suspect
from nettrace.bench.job import JobState, Quantity
from nettrace.bench.judging import Judged, ReadingState
from nettrace.bench.probes import Probe, ProbeStep
from nettrace.model.board import Board
from nettrace.views.comparison import opens_payload, shorts_payload
from nettrace.views.job_payload import wired
from nettrace.views.job_tables import reading_words
from nettrace.views.payload import Json, si
from nettrace.views.tables import Column, Sheet
from nettrace.views.text import counted

__all__ = [
    "check_payload",
    "next_payload",
    "probes_payload",
    "show_check",
    "show_next",
    "show_probes",
]

#: Suspects that the sheet shows.
SUSPECTS_SHOWN = 5
#: Measurements listed as still to do before "and N more".
TO_DO_SHOWN = 12
_STATE_STYLES = {
    ReadingState.PASS: "good",
    ReadingState.FAIL: "bad",
    ReadingState.OPEN: "warn",
}


def probes_payload(probes: Sequence[Probe]) -> list[Json]:
    """Return the probe list in order of work."""
    return [_probe(probe) for probe in probes]


def _probe(probe: Probe) -> Json:
    return {
        "at": probe.at,
        "to": probe.to,
        "quantity": str(probe.quantity),
        "step": str(probe.step),
        "expected": probe.expected,
        "nominal": si(probe.nominal),
        "at_least": si(probe.at_least),
        "at_most": si(probe.at_most),
        "why": probe.why,
    }


def next_payload(found: NextProbe | None) -> Json | None:
    """Return the one measurement that tells most, or None where none tells anything."""
    if found is None:
        return None
    return {
        "probe": _probe(found.probe),
        "drop_bits": round(found.drop_bits, 4),
        "because": list(found.because),
    }


def check_payload(board: Board, check: Check) -> Json:
    """Return the contract's `check`: a comparison with verdict, readings and suspects."""
    return {
        "verdict": str(check.verdict),
        "because": list(check.because),
        "same": check.same,
        "opens": opens_payload(board, check.opens),
        "shorts": shorts_payload(board, check.shorts),
        "missing_parts": list(check.missing_parts),
        "extra_parts": list(check.extra_parts),
        "wrong_values": [
            {"part": item.refdes, "expected": item.expected, "found": item.found}
            for item in check.wrong_values
        ],
        "readings": [_judged(item) for item in check.readings],
        "suspects": [_suspect(item) for item in check.suspects],
        "health": round(check.health, 6),
        "still_to_probe": [_probe(probe) for probe in check.still_to_probe],
        "blind": list(check.blind),
        "wires": wired(check.wires),
    }


def _judged(item: Judged) -> Json:
    reading = item.reading
    return {
        "number": reading.number,
        "at": reading.at,
        "to": reading.to,
        "quantity": str(reading.quantity),
        "value": si(reading.value),
        "shown": reading_words(reading),
        "stage": reading.stage or None,
        "state": str(item.state),
        "expected": item.expected or None,
        "because": item.because,
        "counts": item.counts,
    }


def _suspect(item: Suspect) -> Json:
    return {"what": item.what, "score": round(item.score, 6), "because": list(item.because)}


def show_probes(probes: Sequence[Probe], state: JobState, sheet: Sheet) -> None:
    """Write the probe list step by step; what was read since the last refit is ticked."""
    sheet.title("To measure", counted(len(probes), "measurement"))
    sheet.line(
        ("Battery and supplies off for every step but the last; null the leads first.", "warn"),
        indent=1,
    )
    read = {
        (frozenset((reading.at, reading.to)), reading.quantity): reading_words(reading)
        for reading in state.readings
        if reading.number > state.last_refit
    }
    number = 0
    for step in ProbeStep:
        lines = [probe for probe in probes if probe.step is step]
        if not lines:
            continue
        sheet.heading(step.value[0].upper() + step.value[1:])
        rows = []
        for probe in lines:
            number += 1
            done = read.get((frozenset((probe.at, probe.to)), probe.quantity), "")
            rows.append((str(number), probe.at, probe.to, probe.expected, done, probe.why))
        sheet.table(
            [
                Column("no", right=True),
                Column("at", "name", cut=True),
                Column("to", "name", cut=True),
                Column("must show", wrap=True),
                Column("read"),
                Column("proves", wrap=True),
            ],
            rows,
        )
    sheet.line(("Enter each: nettrace job read JOB AT TO SHOWN", "quiet"), indent=1)


def show_next(found: NextProbe | None, sheet: Sheet) -> None:
    """Write the one measurement that tells most now."""
    if found is None:
        sheet.line("No measurement would tell more. Say whether it is proven: job check.")
        return
    probe = found.probe
    sheet.title("Measure now", str(probe.step))
    sheet.line((f"{probe.at} to {probe.to}", "name"), f"  {probe.quantity}", indent=1)
    sheet.labelled("must show", probe.expected)
    sheet.labelled("proves", probe.why)
    for reason in found.because:
        if reason != probe.why:
            sheet.labelled("because", reason)
    sheet.labelled("tells", f"{found.drop_bits:.2f} bits expected")
    shown = "beep" if probe.quantity is Quantity.BEEP else "FIGURE"
    sheet.line((f"nettrace job read JOB {probe.at} {probe.to} {shown}", "quiet"), indent=1)


def show_check(title: str, check: Check, sheet: Sheet) -> None:
    """Write the verdict first, then what was found, suspects, readings, what is left to do."""
    styles = {"restored": "good", "not restored": "bad", "not proven": "warn"}
    sheet.title(title)
    sheet.line((str(check.verdict).upper(), styles[str(check.verdict)]), indent=1)
    sheet.bullets(check.because)
    if check.suspects and str(check.verdict) != "restored":
        sheet.heading("Suspects", "likeliest first")
        for suspect in check.suspects[:SUSPECTS_SHOWN]:
            sheet.line((f"{suspect.score:4.0%}  ", "warn"), (suspect.what, "name"), indent=1)
            sheet.bullets(suspect.because)
    if check.wrong_values:
        sheet.heading("Wrong values", style="bad")
        sheet.table(
            [Column("part", "name"), Column("belongs there"), Column("measures")],
            [(item.refdes, item.expected, item.found) for item in check.wrong_values],
        )
    if check.wires:
        sheet.heading("Wires")
        for wire in check.wires:
            where = f"{wire.wire.start} to {wire.wire.end}: "
            style = "bad" if wire.is_short else ""
            sheet.line((where, "name"), (wire.words, style), indent=1)
    if check.readings:
        sheet.heading("Readings")
        for item in check.readings:
            old = "" if item.counts else " (before the last refit, or measured again)"
            sheet.line(
                (f"{item.state:13}", _STATE_STYLES[item.state]),
                (f"{item.reading.at} to {item.reading.to}: {reading_words(item.reading)}", "name"),
                (old, "quiet"),
                indent=1,
            )
            if item.state is not ReadingState.PASS:
                sheet.line((item.because, ""), indent=15)
    if check.still_to_probe:
        sheet.heading("Still to measure", counted(len(check.still_to_probe), "measurement"))
        sheet.table(
            [Column("at", "name", cut=True), Column("to", "name", cut=True),
             Column("must show", wrap=True)],
            [(p.at, p.to, p.expected) for p in check.still_to_probe[:TO_DO_SHOWN]],
        )  # fmt: skip
        left = len(check.still_to_probe) - TO_DO_SHOWN
        if left > 0:
            sheet.line((f"and {left} more: job probe lists them all.", "quiet"), indent=1)
    if check.blind:
        sheet.heading("For the eye", "no planned measurement can tell")
        sheet.bullets(check.blind)
