"""The pages of the job commands: where the job stands, matches, order, work, wires, proof."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from nettrace.bench.job import Fit, JobState, Loose, Mark, MeterMode, Reading, Undo, Wire
from nettrace.bench.judging import ReadingState
from nettrace.bench.match import Certainty
from nettrace.bench.probes import ProbeStep
from nettrace.bench.refit import ALLOYS, CAUTIONS, DOCUMENTS, FIRST, HEAT_FACTS, RefitPlan
from nettrace.bench.report import read_since
from nettrace.values.quantity import engineering, percent
from nettrace.views.page import Block, Bullets, Ends, Fact, Heading, Table, Title, columns, line
from nettrace.views.text import counted, listed

if TYPE_CHECKING:
    from nettrace.answers import Matches, Needs, OpenJob, Probes
    from nettrace.bench.diagnosis import Check, NextProbe
    from nettrace.bench.needs import Need
    from nettrace.bench.photo import PhotoMap, Residual
    from nettrace.bench.wire import Wired, WirePlan

#: Readings listed by `job show`, the newest last; suspects shown.
READINGS_SHOWN, SUSPECTS_SHOWN = 8, 5
#: Measurements listed as still to do before "and N more".
TO_DO_SHOWN = 12
_UNITS = {"ohms": "Ω", "farads": "F", "diode": "V", "volts": "V", "amperes": "A"}
_STATE_STYLES = {ReadingState.PASS: "good", ReadingState.FAIL: "bad", ReadingState.OPEN: "warn"}
_VERDICT_STYLES = {"restored": "good", "not restored": "bad", "not proven": "warn"}
_MATCH_STYLES = {"certain": "good", "interchangeable": "good", "no position fits": "bad"}


def reading_words(reading: Reading) -> str:
    """Return what a reading showed, for people."""
    if reading.quantity is MeterMode.BEEP:
        return "beep" if reading.value else "no beep"
    if reading.value is None:
        return "OL"
    figure = engineering(reading.value, _UNITS[reading.quantity])
    return f"{figure} (diode mode)" if reading.quantity is MeterMode.DIODE else figure


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


def wired_words(item: Wired, between: str) -> str:
    """Return where a wire is soldered, and what it does."""
    note = f" ({item.wire.note})" if item.wire.note else ""
    return f"{item.wire.start} to {item.wire.end}{between}{item.words}{note}"


def entry_words(entry: object) -> str:
    """Return one entry in a line, for undo and lists."""
    match entry:
        case Mark():
            return f"{entry.at}{f' to {entry.to}' if entry.to else ''} {entry.damage}"
        case Loose():
            return f"loose part {entry.name}: {loose_words(entry)}"
        case Fit():
            return f"{entry.at} fitted with {entry.with_part or 'a new part'}"
        case Wire():
            return f"wire {entry.start} to {entry.end}" + (", meant" if entry.confirmed else "")
        case Reading():
            return f"{entry.at} to {entry.to}: {reading_words(entry)}"
        case _:
            return str(getattr(entry, "note", ""))


def entered(opened: OpenJob) -> Iterator[str]:
    """Make a line of each entry that was added last."""
    by_number = {entry.number: entry for entry in opened.job.entries}
    for entry in opened.added:
        if isinstance(entry, Undo):
            yield f"taken back: {entry_words(by_number[entry.entry])}"
        else:
            yield f"{entry.number}: {entry_words(entry)}"


def standing_page(opened: OpenJob) -> Iterator[Block]:
    """Make the page of where the job stands, on one screen."""
    job, state, board = opened.job, opened.state, opened.circuit.board
    yield Title(job.title, board.name)
    yield line(
        f"Opened {job.opened[:10]}; {counted(len(state.damaged), 'position')} marked, "
        f"{len(state.refitted)} refitted, {counted(len(state.readings), 'reading')}.",
        indent=1,
    )
    if state.damaged:
        yield Heading("Positions")
        rows = []
        for key, mark in state.damaged.items():
            part, fit = board.part_by_key.get(key), state.refitted.get(key)
            how = "wire in its place" if key in opened.replaced else "open"
            if fit is not None:
                how = f"fitted with {fit.with_part or 'a new part'}"
            value = (part.value or "") if part is not None else "not on this board"
            rows.append((key, value, str(mark.damage), how, mark.note))
        heads = columns("part: name", "value", "mark", "state", "note: wrap")
        yield Table(heads, tuple(rows))
    copper = [f"{pad}: pad lifted" for pad in state.lifted]
    copper += [f"{a} to {b}: track cut" for a, b in state.cuts]
    copper += [f"{a} to {b}: bridged by solder" for a, b in state.bridges]
    copper += [wired_words(item, ": wire soldered, ") for item in opened.wires]
    if copper:
        yield Heading("Copper")
        yield Bullets(tuple(copper))
    if state.loose:
        yield Heading("Loose parts")
        found = [
            (name, loose_words(item), "used" if name in state.used else "")
            for name, item in state.loose.items()
        ]
        heads = columns("name: name", "seen: wrap", "")
        yield Table(heads, tuple(found))
    if state.readings:
        yield Heading("Readings", f"the last of {len(state.readings)}")
        shown = [
            (r.at, r.to, reading_words(r), r.stage, r.note)
            for r in state.readings[-READINGS_SHOWN:]
        ]
        heads = columns("at: name", "to", "shows", "stage", "note: wrap")
        yield Table(heads, tuple(shown))
    for remark in state.remarks:
        yield Fact("remark", remark)
    yield Heading("Next")
    yield line(_next(state), indent=1)


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


def match_page(matches: Matches) -> Iterator[Block]:
    """Make the page of which loose part goes where, and what would decide where that is open."""
    yield Title("Loose parts and bare positions")
    for match in matches:
        at = match.assigned or "nowhere"
        where = ", ".join(c.refdes for c in match.candidates)
        yield line((match.loose, "name"), f"  {loose_words(matches.loose[match.loose])}", indent=1)
        place = at
        if match.certainty is Certainty.INTERCHANGEABLE:
            place = f"{where}: equal parts, any of them"
        elif match.certainty is Certainty.OPEN:
            place = f"{where}; best guess {at}"
        style = _MATCH_STYLES.get(match.certainty, "warn")
        yield line((f"{match.certainty}: ", style), place, indent=6)
        if match.candidates:
            yield line(("; ".join(match.candidates[0].because), "quiet"), indent=6)
        if match.decide:
            yield line(f"To decide: {match.decide}.", indent=6)
        yield line(match.advice[0].upper() + match.advice[1:] + ".", indent=6)
    left = tuple((site.refdes, site.words()) for site in matches.still_bare)
    if left:
        yield Heading("Still bare", "nothing found fits")
        yield Table(columns("part: name", "belongs there"), left)


def needs_page(needs: Needs) -> Iterator[Block]:
    """Make the order list with reasons, substitutes and donors."""
    yield Title("To order", counted(sum(need.quantity for need in needs), "piece"))
    for need, given in zip(needs, needs.donors, strict=True):
        pieces = ((f"{need.quantity} × ", ""), (need.words, "name"))
        yield Ends(pieces, ", ".join(need.positions))
        rating = f"{engineering(need.watts, 'W')} at 70 °C" if need.watts is not None else ""
        if need.volts is not None:
            rating = f"at least {need.volts:g} V"
        for label, words, style in (
            ("number", need.part_number, ""),
            ("rating", rating, ""),
            ("because", "; ".join(need.because), ""),
            ("instead", "; ".join(need.substitutes), ""),
            ("unsure", "; ".join(need.doubts), "warn"),
        ):
            if words:
                yield Fact(f"  {label}", words, style)
        for donor in given:
            yield Fact("  donor", f"{donor.refdes} on {donor.board}: {donor.severity}, {donor.why}")


def refit_page(plan: RefitPlan) -> Iterator[Block]:
    """Make the plan of work, cautions first."""
    yield Title("Order of work")
    yield Heading("Cautions", style="warn")
    yield line((FIRST, "warn"), indent=1)
    yield Bullets(CAUTIONS)
    yield Fact("documents", "; ".join(DOCUMENTS))
    yield Heading("Steps")
    for number, step in enumerate(plan.steps, 1):
        side = f", {step.side} side" if step.side else ""
        yield line((f"{number:2}. {step.title}{side}", "name"))
        yield Bullets(step.because)
        if step.slow_pads:
            yield Fact("   melts late", listed(step.slow_pads, 8), width=17)
        if step.neighbours:
            near = "; ".join(
                f"{n.refdes} at {n.distance_mm:.1f} mm ({n.why})" for n in step.neighbours
            )
            yield Fact("   shield", near, "warn", width=17)
    yield Heading("Heat")
    yield Bullets(HEAT_FACTS)
    yield Fact("alloys melt", "; ".join(f"{name} {at}" for name, at in ALLOYS))
    if plan.unplaced:
        yield Fact("no place", f"{listed(plan.unplaced)}: no source places them", "warn")


def wire_page(plans: Sequence[WirePlan]) -> Iterator[Block]:
    """Make the page of where to solder a wire for each broken net."""
    heads = columns("point: name cut", "mm: right", "what: wrap", "lies between: wrap")
    yield Title("Wires", "straight distances; a wire is longer")
    for plan in plans:
        yield Heading(plan.net)
        for end, spans in plan.choices.items():
            yield line((end, "name"), " to, best first:", indent=1)
            rows = [
                (
                    span.end.name,
                    f"{span.length_mm:.1f}",
                    ", ".join(span.because),
                    listed(span.between, 4) if span.between else "nothing",
                )
                for span in spans
            ]
            yield Table(heads, tuple(rows))
        if len(plan.wires) > 1:
            total = sum(span.length_mm for span in plan.wires)
            wires = ", ".join(f"{s.start.name} to {s.end.name}" for s in plan.wires)
            yield Fact("shortest set", f"{wires}: {total:.1f} mm in all")


def probe_page(probes: Probes) -> Iterator[Block]:
    """Make the probe list step by step; what was read since the last refit is told."""
    heads = columns(
        "no: right", "at: name cut", "to: name cut", "must show: wrap", "read", "proves: wrap"
    )
    yield Title("To measure", counted(len(probes), "measurement"))
    off = "Battery and supplies off for every step but the last; null the leads first."
    yield line((off, "warn"), indent=1)
    number = 0
    for step in ProbeStep:
        rows = []
        for probe in (each for each in probes if each.step is step):
            number += 1
            reading = read_since(probes.state, probe)
            done = reading_words(reading) if reading is not None else ""
            rows.append((str(number), probe.at, probe.to, probe.expected, done, probe.why))
        if rows:
            yield Heading(step.value[0].upper() + step.value[1:])
            yield Table(heads, tuple(rows))
    yield line(("Enter each: nettrace job read JOB AT TO SHOWN", "quiet"), indent=1)


def next_page(found: NextProbe | None) -> Iterator[Block]:
    """Make the page of the one measurement that tells most now."""
    if found is None:
        yield line("No measurement would tell more. Say whether it is proven: job check.")
        return
    probe = found.probe
    yield Title("Measure now", str(probe.step))
    yield line((f"{probe.at} to {probe.to}", "name"), f"  {probe.quantity}", indent=1)
    yield Fact("must show", probe.expected)
    yield Fact("proves", probe.why)
    for reason in found.because:
        if reason != probe.why:
            yield Fact("because", reason)
    yield Fact("tells", f"{found.drop_bits:.2f} bits expected")
    shown = "beep" if probe.quantity is MeterMode.BEEP else "FIGURE"
    yield line((f"nettrace job read JOB {probe.at} {probe.to} {shown}", "quiet"), indent=1)


def check_page(title: str, check: Check) -> Iterator[Block]:
    """Make the verdict first, then what was found, suspects, readings, what is left to do."""
    yield Title(title)
    yield line((str(check.verdict).upper(), _VERDICT_STYLES[str(check.verdict)]), indent=1)
    yield Bullets(check.because)
    if check.suspects and check.verdict != "restored":
        yield Heading("Suspects", "likeliest first")
        for suspect in check.suspects[:SUSPECTS_SHOWN]:
            yield line((f"{suspect.score:4.0%}  ", "warn"), (suspect.what, "name"), indent=1)
            yield Bullets(suspect.because)
    if check.wrong_values:
        yield Heading("Wrong values", style="bad")
        yield Table(
            columns("part: name", "belongs there", "measures"),
            tuple((item.refdes, item.expected, item.found) for item in check.wrong_values),
        )
    if check.wires:
        yield Heading("Wires")
        for wire in check.wires:
            where = f"{wire.wire.start} to {wire.wire.end}: "
            yield line((where, "name"), (wire.words, "bad" if wire.is_short else ""), indent=1)
    if check.readings:
        yield Heading("Readings")
        for item in check.readings:
            reading = item.reading
            yield line(
                (f"{item.state:13}", _STATE_STYLES[item.state]),
                (f"{reading.at} to {reading.to}: {reading_words(reading)}", "name"),
                ("" if item.counts else " (before the last refit, or measured again)", "quiet"),
                indent=1,
            )
            if item.state is not ReadingState.PASS:
                yield line(item.because, indent=15)
    if check.still_to_probe:
        yield Heading("Still to measure", counted(len(check.still_to_probe), "measurement"))
        yield Table(
            columns("at: name cut", "to: name cut", "must show: wrap"),
            tuple((p.at, p.to, p.expected) for p in check.still_to_probe[:TO_DO_SHOWN]),
        )
        left = len(check.still_to_probe) - TO_DO_SHOWN
        if left > 0:
            yield line((f"and {left} more: job probe lists them all.", "quiet"), indent=1)
    if check.blind:
        yield Heading("For the eye", "no planned measurement can tell")
        yield Bullets(check.blind)


def residual_words(item: Residual, off: str = "") -> str:
    """Return how far a known pad is from where the map of a photo has it."""
    used = "" if item.used else ", left out"
    return f"{item.name}: {item.off_px:.1f} px, {item.off_mm:.2f} mm{off}{used}"


def photo_notes(fit: PhotoMap) -> Iterator[str]:
    """Make lines of how a photo was laid on the board."""
    left = f", {fit.spread_px:.1f} px left over" if fit.spread_px is not None else ""
    yield f"photo: {fit.kind} map, {fit.px_per_mm:.1f} px/mm{left}"
    yield from (f"  {residual_words(item, ' off')}" for item in fit.residuals)
    yield from (f"warning: photo: {text}" for text in fit.cautions)


# -- the order as a table -----------------------------------------------------------------------

_HEADINGS = (
    "Quantity", "Part number", "Value", "Tolerance", "Size", "Voltage", "Power", "Dielectric",
    "Description", "References",
)  # fmt: skip
#: A cell that begins so would be a formula in a spreadsheet.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def order_csv(needs: Sequence[Need]) -> str:
    """Return the order as CSV for a distributor's upload form; none is named.

    It has a heading row; cells that look like formulas are quoted off.
    """
    import csv
    import io

    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(_HEADINGS)
    for need in needs:
        cells = (
            str(need.quantity),
            need.part_number or "",
            need.value,
            percent(need.tolerance) if need.tolerance is not None else "",
            need.size or "",
            engineering(need.volts, "V") if need.volts is not None else "",
            engineering(need.watts, "W") if need.watts is not None else "",
            need.dielectric or "",
            need.description or str(need.kind),
            " ".join(need.positions),
        )
        printed = ("".join(c if c.isprintable() else " " for c in cell) for cell in cells)
        writer.writerow(f"'{cell}" if cell.startswith(_FORMULA) else cell for cell in printed)
    return out.getvalue()
