"""A job on the work sheet: where it stands, matches, the order, the plan of work, wires."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from nettrace.bench.job import Fit, Job, JobState, Loose, Mark, Quantity, Reading, Wire
from nettrace.bench.match import Certainty, LooseMatch, Site
from nettrace.bench.needs import Donor, Need, words
from nettrace.bench.refit import ALLOYS, CAUTIONS, DOCUMENTS, FIRST, HEAT_FACTS, RefitPlan
from nettrace.bench.wire import Span, WirePlan, replaced_parts, wires_of
from nettrace.circuit.circuit import Circuit
from nettrace.values.quantity import engineering, percent
from nettrace.views.tables import Column, Sheet
from nettrace.views.text import counted, listed

__all__ = [
    "entry_words",
    "reading_words",
    "show_cautions",
    "show_job",
    "show_matches",
    "show_needs",
    "show_refit",
    "show_wires",
]

#: Readings listed by `job show`, the newest last.
READINGS_SHOWN = 8
_UNITS = {
    Quantity.OHMS: "Ω",
    Quantity.FARADS: "F",
    Quantity.DIODE: "V",
    Quantity.VOLTS: "V",
    Quantity.AMPERES: "A",
}


def reading_words(reading: Reading) -> str:
    """Return what a reading showed, for people."""
    if reading.quantity is Quantity.BEEP:
        return "beep" if reading.value else "no beep"
    if reading.value is None:
        return "OL"
    figure = engineering(reading.value, _UNITS[reading.quantity])
    return f"{figure} (diode mode)" if reading.quantity is Quantity.DIODE else figure


def loose_words(item: Loose) -> str:
    """Return what was measured and seen of a loose part."""
    found = [
        engineering(value, unit)
        for value, unit in ((item.ohms, "Ω"), (item.farads, "F"), (item.henries, "H"))
        if value is not None
    ]
    if item.diode_volts is not None:
        found.append(f"{engineering(item.diode_volts, 'V')} in diode mode")
    if item.accuracy is not None:
        found.append(f"±{percent(item.accuracy)}")
    if item.size is not None:
        found.append(item.size)
    elif item.length_mm is not None:
        found.append(f"{item.length_mm:g} mm long")
    found += [word for word in (item.looks, item.marking) if word]
    if not item.whole:
        found.append("not whole")
    return ", ".join(found) or "not measured"


def entry_words(entry: object) -> str:
    """Return one entry in a line, for undo and lists."""
    if isinstance(entry, Mark):
        to = f" to {entry.to}" if entry.to else ""
        return f"{entry.at}{to} {entry.damage}"
    if isinstance(entry, Loose):
        return f"loose part {entry.name}: {loose_words(entry)}"
    if isinstance(entry, Fit):
        part = f"with {entry.with_part}" if entry.with_part else "with a new part"
        return f"{entry.at} fitted {part}"
    if isinstance(entry, Wire):
        return f"wire {entry.start} to {entry.end}" + (", meant" if entry.confirmed else "")
    if isinstance(entry, Reading):
        return f"{entry.at} to {entry.to}: {reading_words(entry)}"
    return str(getattr(entry, "note", ""))


def show_job(job: Job, state: JobState, circuit: Circuit, sheet: Sheet) -> None:
    """Write where the job stands, on one screen."""
    sheet.title(job.title, circuit.board.name)
    done = len(state.refitted)
    sheet.line(
        f"Opened {job.opened[:10]}; {counted(len(state.damaged), 'position')} marked, "
        f"{done} refitted, {counted(len(state.readings), 'reading')}.",
        indent=1,
    )
    if state.damaged:
        sheet.heading("Positions")
        replaced = replaced_parts(circuit, state)
        rows = []
        for refdes, mark in state.damaged.items():
            fit = state.refitted.get(refdes)
            part = circuit.board.part_by_key.get(refdes)
            how = ""
            if fit is not None:
                how = f"fitted with {fit.with_part or 'a new part'}"
            elif refdes in replaced:
                how = "wire in its place"
            value = (part.value or "") if part is not None else "not on this board"
            rows.append((refdes, value, str(mark.damage), how or "open", mark.note))
        sheet.table(
            [Column("part", "name"), Column("value"), Column("mark"), Column("state"),
             Column("note", wrap=True)],
            rows,
        )  # fmt: skip
    _show_copper(circuit, state, sheet)
    if state.loose:
        sheet.heading("Loose parts")
        found = [
            (name, loose_words(item), "used" if name in state.used else "")
            for name, item in state.loose.items()
        ]
        sheet.table([Column("name", "name"), Column("seen", wrap=True), Column("")], found)
    if state.readings:
        sheet.heading("Readings", f"the last of {len(state.readings)}")
        rows = [
            (r.at, r.to, reading_words(r), r.stage, r.note)
            for r in state.readings[-READINGS_SHOWN:]
        ]
        sheet.table(
            [Column("at", "name"), Column("to"), Column("shows"), Column("stage"),
             Column("note", wrap=True)],
            rows,
        )  # fmt: skip
    for remark in state.remarks:
        sheet.labelled("remark", remark)
    sheet.heading("Next")
    sheet.line(_next(state), indent=1)


def _show_copper(circuit: Circuit, state: JobState, sheet: Sheet) -> None:
    lines = [f"{pad}: pad lifted" for pad in state.lifted]
    lines += [f"{a} to {b}: track cut" for a, b in state.cuts]
    lines += [f"{a} to {b}: bridged by solder" for a, b in state.bridges]
    lines += [
        f"{item.wire.start} to {item.wire.end}: wire soldered, {item.words}"
        + (f" ({item.wire.note})" if item.wire.note else "")
        for item in wires_of(circuit, state)
    ]
    if lines:
        sheet.heading("Copper")
        sheet.bullets(lines)


def _next(state: JobState) -> str:
    if not (state.damaged or state.lifted or state.cuts or state.bridges or state.wires):
        return "Mark what is gone: nettrace job mark JOB missing R12 R13"
    if state.open_positions:
        if any(name not in state.used for name in state.loose):
            return "Match the loose parts (job match), then order (job needs) and plan (job refit)."
        return "Order what is missing (job needs), plan the work (job refit), then fit."
    if not any(r.number > state.last_refit for r in state.readings):
        return "Everything is fitted: measure what `job probe` lists, before power."
    return "Say whether it is proven: job check."


def show_matches(
    matches: Sequence[LooseMatch],
    sites: Sequence[Site],
    loose: Mapping[str, Loose],
    sheet: Sheet,
) -> None:
    """Write which loose part goes where, and what would decide where that is open."""
    sheet.title("Loose parts and bare positions")
    styles = {Certainty.CERTAIN: "good", Certainty.INTERCHANGEABLE: "good", Certainty.NONE: "bad"}
    for match in matches:
        at = match.assigned or "nowhere"
        where = ", ".join(c.refdes for c in match.candidates)
        sheet.line((match.loose, "name"), f"  {loose_words(loose[match.loose])}", indent=1)
        if match.certainty is Certainty.INTERCHANGEABLE:
            words = f"{where}: equal parts, any of them"
        elif match.certainty is Certainty.OPEN:
            words = f"{where}; best guess {at}"
        else:
            words = at
        sheet.line((f"{match.certainty}: ", styles.get(match.certainty, "warn")), words, indent=6)
        if match.candidates:
            sheet.line(("; ".join(match.candidates[0].because), "quiet"), indent=6)
        if match.decide:
            sheet.line(f"To decide: {match.decide}.", indent=6)
        sheet.line(match.advice[0].upper() + match.advice[1:] + ".", indent=6)
    taken = {match.assigned for match in matches}
    left = [site for site in sites if site.refdes not in taken]
    if left:
        sheet.heading("Still bare", "nothing found fits")
        sheet.table(
            [Column("part", "name"), Column("belongs there")],
            [(site.refdes, site.words()) for site in left],
        )


def show_needs(needs: Sequence[Need], donors: Sequence[Sequence[Donor]], sheet: Sheet) -> None:
    """Write the order list with reasons, substitutes and donors."""
    sheet.title("To order", counted(sum(need.quantity for need in needs), "piece"))
    for need, given in zip(needs, donors, strict=True):
        sheet.ends([(f"{need.quantity} × ", ""), (words(need), "name")], ", ".join(need.positions))
        if need.part_number:
            sheet.labelled("  number", need.part_number)
        if need.volts is not None:
            sheet.labelled("  rating", f"at least {need.volts:g} V")
        elif need.watts is not None:
            sheet.labelled("  rating", f"{engineering(need.watts, 'W')} at 70 °C")
        for label, lines in (
            ("  because", need.because),
            ("  instead", need.substitutes),
            ("  unsure", need.doubts),
        ):
            if lines:
                sheet.labelled(label, "; ".join(lines), "warn" if "unsure" in label else "")
        for donor in given:
            sheet.labelled(
                "  donor", f"{donor.refdes} on {donor.board}: {donor.severity}, {donor.why}"
            )


def show_refit(plan: RefitPlan, sheet: Sheet) -> None:
    """Write the plan of work, cautions first."""
    sheet.title("Order of work")
    show_cautions(sheet)
    sheet.heading("Steps")
    for number, step in enumerate(plan.steps, 1):
        side = f", {step.side} side" if step.side else ""
        sheet.line((f"{number:2}. {step.title}{side}", "name"))
        sheet.bullets(step.because)
        if step.slow_pads:
            sheet.labelled("   melts late", listed(list(step.slow_pads), 8), width=17)
        if step.neighbours:
            near = "; ".join(
                f"{n.refdes} at {n.distance_mm:.1f} mm ({n.why})" for n in step.neighbours
            )
            sheet.labelled("   shield", near, "warn", width=17)
    sheet.heading("Heat")
    sheet.bullets(HEAT_FACTS)
    sheet.labelled("alloys melt", "; ".join(f"{name} {at}" for name, at in ALLOYS))
    if plan.unplaced:
        sheet.labelled("no place", f"{listed(list(plan.unplaced))}: no source places them", "warn")


def show_cautions(sheet: Sheet) -> None:
    """Write the usual cautions and the documents that govern."""
    sheet.heading("Cautions", style="warn")
    sheet.line((FIRST, "warn"), indent=1)
    sheet.bullets(CAUTIONS)
    sheet.labelled("documents", "; ".join(DOCUMENTS))


def show_wires(plans: Sequence[WirePlan], sheet: Sheet) -> None:
    """Write where to solder a wire for each broken net."""
    sheet.title("Wires", "straight distances; a wire is longer")
    for plan in plans:
        sheet.heading(plan.net)
        for end, spans in plan.choices.items():
            sheet.line((end, "name"), " to, best first:", indent=1)
            sheet.table(
                [Column("point", "name", cut=True), Column("mm", right=True),
                 Column("what", wrap=True), Column("lies between", wrap=True)],
                [_span(span) for span in spans],
            )  # fmt: skip
        if len(plan.wires) > 1:
            total = sum(span.length_mm for span in plan.wires)
            wires = ", ".join(f"{s.start.name} to {s.end.name}" for s in plan.wires)
            sheet.labelled("shortest set", f"{wires}: {total:.1f} mm in all")


def _span(span: Span) -> tuple[str, str, str, str]:
    between = listed(list(span.between), 4) if span.between else "nothing"
    return span.end.name, f"{span.length_mm:.1f}", ", ".join(span.because), between
