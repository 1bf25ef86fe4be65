"""The sheets for parts and single pads."""

from __future__ import annotations

from collections.abc import Sequence

from nettrace.bench.area import NearPad, PadReport, lacks_value
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Severity
from nettrace.model.board import Part
from nettrace.values.quantity import engineering
from nettrace.views.tables import Column, Sheet
from nettrace.views.text import counted, shorten_middle
from nettrace.views.text_facts import (
    SEVERITY_WORDS,
    basis_words,
    lines_by_net,
    net_words,
    pin_words,
    place_words,
    pull_words,
    refdes,
    role_words,
    size_words,
    value_words,
    volts_words,
)

__all__ = ["show_pads", "show_parts"]

#: Pads of a wildcard, or of a repeated reference, shown in full before the answer is a list.
PADS_IN_FULL = 12
#: Parts shown in full before a wildcard's answer becomes a list.
PARTS_IN_FULL = 3
ROLES_SHOWN = 3
_UNITS = {"ohms": "Ω", "farads": "F", "henries": "H"}
_STYLES = {Severity.BLOCKS: "bad", Severity.DEGRADES: "warn"}


def show_parts(circuit: Circuit, parts: Sequence[Part]) -> None:
    """Print one sheet for each of a few parts, or a list of many."""
    with Sheet() as sheet:
        if len(parts) > PARTS_IN_FULL:
            sheet.title(counted(len(parts), "part"), circuit.board.name)
            sheet.table(
                (
                    Column("part", "name", cut=True),
                    Column("value", cut=True),
                    Column("size", cut=True),
                    Column("what it does", cut=True),
                ),
                [
                    (
                        refdes(circuit, part.key),
                        value_words(circuit, part),
                        size_words(circuit, part),
                        role_words(circuit.roles(part.key)),
                    )
                    for part in parts
                ],
            )
            return
        for index, part in enumerate(parts):
            if index:
                sheet.blank()
            _show_part(sheet, circuit, part)


def _show_part(sheet: Sheet, circuit: Circuit, part: Part) -> None:
    kind = circuit.kinds[part.key]
    sheet.title(f"Part {part.refdes or part.key}", circuit.board.name)
    decoded = value_words(circuit, part)
    written = f" (written {part.value})" if part.value and part.value not in decoded else ""
    sheet.labelled("value", f"{decoded}{written}" if decoded else "not stated")
    sheet.labelled("kind", kind.kind)
    if part.package:
        sheet.labelled("package", part.package)
    if part.description:
        sheet.labelled("description", part.description)
    rated = [
        engineering(value, unit, 3)
        for value, unit in (
            (kind.rated_volts, "V"),
            (kind.rated_amperes, "A"),
            (kind.rated_watts, "W"),
        )
        if value is not None
    ]
    if rated:
        sheet.labelled("rated", ", ".join(rated))
    sheet.labelled("place", place_words(part.x, part.y, part.side))
    if not kind.fitted:
        sheet.labelled("fitted", "no", "warn")
    pins = list({(pin.number, pin.net): pin for pin in part.pins}.values())
    sheet.heading(counted(len({pin.number for pin in pins}), "pin"))
    buses = lines_by_net(circuit)
    sheet.table(
        (
            Column("pin", "name", cut=True),
            Column("function", cut=True),
            Column("net", cut=True),
            Column("what the net is", wrap=True),
        ),
        [
            (
                pin.number,
                pin.name if pin.name and pin.name not in {pin.number, "~"} else "",
                pin.net or "no net",
                net_words(circuit, pin.net, buses),
            )
            for pin in pins
        ],
    )
    sheet.heading("What it does")
    roles = circuit.roles(part.key)
    if not roles or roles[0].role == "unknown":
        sheet.line("Not known.", indent=1)
    for role in roles[:ROLES_SHOWN]:
        if role.role == "unknown":
            continue
        sheet.line((role.role, "name"), (f"  {role.score:.0%}", "quiet"), indent=1)
        for why in role.because:
            sheet.line((why, "quiet"), indent=4)
    absence = circuit.absence(part.key)
    sheet.heading(SEVERITY_WORDS[absence.severity], style=_STYLES.get(absence.severity, ""))
    if absence.effects:
        sheet.bullets(absence.effects)
    else:
        sheet.line("Nothing is known of what stops without it.", indent=1)
    proposals = circuit.proposals(part.key) if lacks_value(kind) else ()
    if proposals:
        sheet.heading("What it may have been", "no source states its value")
        for proposal in proposals[:ROLES_SHOWN]:
            unit = _UNITS.get(proposal.quantity, "")
            choices = ", ".join(engineering(value, unit, 3) for value in proposal.choices[:4])
            sheet.line((proposal.role, "name"), f"  {choices}", indent=1)
            for why in proposal.because:
                sheet.line((why, "quiet"), indent=4)


def show_pads(circuit: Circuit, reports: Sequence[PadReport]) -> None:
    """Print one sheet for each of some pads, or a list of many."""
    with Sheet() as sheet:
        if len(reports) > PADS_IN_FULL:
            _list_pads(sheet, circuit, reports)
            return
        for index, report in enumerate(reports):
            if index:
                sheet.blank()
            _show_pad(sheet, circuit, report)


def _list_pads(sheet: Sheet, circuit: Circuit, reports: Sequence[PadReport]) -> None:
    buses = lines_by_net(circuit)
    sheet.title(counted(len(reports), "pad"), circuit.board.name)
    rows = []
    for report in reports:
        name = f"{refdes(circuit, report.part.key)}.{report.pin.number if report.pin else ''}"
        pad = report.pad
        place = place_words(pad.x, pad.y, pad.side) if pad is not None else ""
        net = report.net
        words = net_words(circuit, net, buses) if net is not None else ""
        rows.append((name.rstrip("."), net or "on no net", words, place))
    sheet.table(
        (
            Column("pad", "name", cut=True),
            Column("net", cut=True),
            Column("what the net is", cut=True),
            Column("place", cut=True),
        ),
        rows,
    )


def _show_pad(sheet: Sheet, circuit: Circuit, report: PadReport) -> None:
    buses = lines_by_net(circuit)
    name = refdes(circuit, report.part.key)
    number = report.pin.number if report.pin is not None else ""
    function = report.pin.name if report.pin is not None else None
    sheet.title(f"Pad {name}.{number}" if number else f"Copper of {name}", circuit.board.name)
    if function and function not in {number, "~"}:
        sheet.labelled("function", function)
    net = report.net
    sheet.labelled("net", net if net is not None else "on no net")
    if net is not None:
        sheet.labelled("", net_words(circuit, net, buses))
        volts = circuit.volts(net)
        if volts is not None:
            sheet.labelled("volts", f"{volts_words(volts)}: {basis_words(volts, net)}")
        for index, pull in enumerate(circuit.pulls.get(net, ())):
            sheet.labelled("pulls" if index == 0 else "", pull_words(circuit, pull))
        if report.far:
            sheet.labelled("leads to", ", ".join(pin_words(circuit, pin) for pin in report.far))
    pad = report.pad
    if pad is not None:
        sheet.labelled("place", place_words(pad.x, pad.y, pad.side))
        if report.at_point:
            sheet.labelled("distance", f"{report.distance:.2f} mm from the point")
        if pad.width and pad.height:
            sheet.labelled("copper", f"{pad.shape or 'pad'}, {pad.width:g} × {pad.height:g} mm")
    else:
        sheet.labelled("place", place_words(None, None))
    part = report.part
    words = [role_words(circuit.roles(part.key)), value_words(circuit, part),
             size_words(circuit, part)]  # fmt: skip
    sheet.labelled("part", f"{name}: {', '.join(word for word in words if word)}")
    for pin in report.ends:
        shown = shorten_middle(pin.net or "no net", 30)
        words_of = net_words(circuit, pin.net, buses)
        sheet.labelled("other end", f"{name}.{pin.number}  {shown}, {words_of}")
    absence = circuit.absence(part.key)
    for index, effect in enumerate(absence.effects[:3]):
        sheet.labelled("without it" if index == 0 else "", effect,
                       _STYLES.get(absence.severity, ""))  # fmt: skip
    doubtful = report.others if report.at_point else ()
    if doubtful:
        sheet.heading("May be meant instead", "within the pad's own reach")
        _show_near(sheet, circuit, doubtful)
    rest = [near for near in report.neighbours if near not in doubtful]
    if rest:
        sheet.heading("Next to it")
        _show_near(sheet, circuit, rest)


def _show_near(sheet: Sheet, circuit: Circuit, near: Sequence[NearPad]) -> None:
    buses = lines_by_net(circuit)
    sheet.table(
        (
            Column("pad", "name", cut=True),
            Column("net", cut=True),
            Column("what the net is", cut=True),
            Column("mm", right=True),
        ),
        [
            (
                f"{refdes(circuit, item.pad.part)}.{item.pad.number}".rstrip("."),
                item.pad.net or "no net",
                net_words(circuit, item.pad.net, buses),
                f"{item.distance:.2f}",
            )
            for item in near
        ],
    )
