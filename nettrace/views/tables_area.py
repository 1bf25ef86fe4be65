"""The sheet for a damaged area: positions, worst loss first; bare pads; what it all means."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from nettrace.bench.area import AreaPad, AreaPart, AreaReport, reach_mm
from nettrace.bench.place import Box, Circle
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Bus, BusLine, NetKind, Proposal, Severity
from nettrace.model.board import Pin, Side
from nettrace.model.names import natural_key
from nettrace.values.quantity import engineering
from nettrace.views.tables import Column, Sheet
from nettrace.views.text import counted, shorten_middle
from nettrace.views.text_facts import (
    SEVERITY_WORDS,
    lines_by_net,
    net_words,
    pin_words,
    refdes,
    role_words,
    size_words,
    value_words,
    volts_words,
)

__all__ = ["show_area"]

#: Pins of one position that get a line each; a part with more is told in one paragraph.
PINS_IN_LINES = 6
EFFECTS_SHOWN = 2
PADS_IN_CELL = 4
_UNITS = {"ohms": "Ω", "farads": "F", "henries": "H"}
_STYLES = {Severity.BLOCKS: "bad", Severity.DEGRADES: "warn"}
_BusLines = dict[str, tuple[Bus, BusLine]]


def show_area(circuit: Circuit, report: AreaReport) -> None:
    """Print the sheet."""
    buses = lines_by_net(circuit)
    with Sheet() as sheet:
        sheet.title(_where(report), circuit.board.name)
        positions = report.positions
        # holes and drawings without a pad are nothing a technician looks for
        others = [item for item in report.reaching_in if item.part.pins or item.pins]
        counts = [
            counted(len(positions), "position") if positions else "no part that is wholly in it",
            f"{counted(len(report.pads), 'pad')} on {counted(len(report.nets), 'net')}",
        ]
        sheet.line((", ".join(counts), "quiet"))
        named = circuit.board.part_by_key.get(report.named)
        if named is not None and isinstance(report.shape, Circle):
            far = reach_mm(named, report.shape.middle)
            if far > report.shape.radius_mm:
                words = f"Pads of {report.named} itself reach {far:.1f} mm from its middle."
                sheet.line((words, "quiet"))
        for severity in Severity:
            group = [item for item in positions if item.absence.severity is severity]
            if group:
                sheet.heading(SEVERITY_WORDS[severity], style=_STYLES.get(severity, ""))
            for index, item in enumerate(group):
                if index:
                    sheet.blank()
                _show_position(sheet, circuit, item, buses)
        if others:
            sheet.heading("Also in the area")
            _show_others(sheet, circuit, report, others)
        if report.pads:
            sheet.heading("Bare pads", "if the parts above are off")
            _show_pads(sheet, circuit, report)
        if report.damage:
            gone = "it is" if len(positions) == 1 else f"all {len(positions)} are"
            sheet.heading("The damage in short", f"if {gone} gone")
            sheet.bullets(report.damage)


def _where(report: AreaReport) -> str:
    shape = report.shape
    if isinstance(shape, Circle):
        point = f"{shape.x:.2f}, {shape.y:.2f}"
        at = f"{shape.around} (at {point})" if shape.around else point
        text = f"Within {shape.radius_mm:g} mm of {at}"
    elif isinstance(shape, Box):
        text = f"In the box {shape.x1:g}, {shape.y1:g} to {shape.x2:g}, {shape.y2:g}"
    else:
        text = f"In an outline of {len(shape.corners)} corners"
    return f"{text}, {report.side} side" if report.side is not None else f"{text}, both sides"


def _show_position(sheet: Sheet, circuit: Circuit, item: AreaPart, buses: _BusLines) -> None:
    part = item.part
    value = value_words(circuit, part) or "value not stated"
    what = "  ".join(word for word in (value, size_words(circuit, part)) if word)
    side = f"{part.side}, " if part.side is Side.BOTTOM else ""
    sheet.ends(
        [
            (f"{refdes(circuit, part.key):<7}", "name"),
            (f"{role_words(item.roles):<22}  ", "name"),
            (what, ""),
        ],
        f"{side}{item.distance:.1f} mm",
    )
    pins = list({(pin.number, pin.net): pin for pin in part.pins}.values())
    if len(pins) > PINS_IN_LINES:
        _show_many_pins(sheet, circuit, pins)
    else:
        width = min(34, max([20, *(len(pin.net or "") for pin in pins)]))
        for pin in pins:
            label = f".{pin.number}"
            name = f"{pin.name}: " if pin.name and len(pins) > 2 and pin.name != pin.number else ""
            net = shorten_middle(pin.net or "no net", width)
            sheet.line(
                (f"{label:<5}", "quiet"),
                (f"{net:<{width}}  ", ""),
                (f"{name}{net_words(circuit, pin.net, buses)}", "quiet"),
                indent=3,
            )
    for effect in item.absence.effects[:EFFECTS_SHOWN]:
        sheet.labelled("", effect, width=8)
    if item.proposals:
        sheet.labelled("", f"likely {_proposal_words(item.proposals[0])}", width=8)


def _show_many_pins(sheet: Sheet, circuit: Circuit, pins: Sequence[Pin]) -> None:
    grounds = [pin for pin in pins if pin.net and circuit.net_kind(pin.net) is NetKind.GROUND]
    rest = [pin for pin in pins if pin not in grounds]
    words = [f"{pin.number} {shorten_middle(pin.net or 'no net', 20)}" for pin in rest[:12]]
    if len(rest) > 12:
        words.append(f"{len(rest) - 12} more")
    if grounds:
        words.append(f"{len(grounds)} on ground")
    sheet.labelled("", "; ".join(words), "quiet", width=8)


#: Roles that are what a part does and not what it is.
_NO_ARTICLE = frozenset(
    {"decoupling", "AC coupling", "ESD protection", "feed-forward", "crystal load", "bootstrap",
     "reverse-polarity protection", "termination", "thermistor bias"}
)  # fmt: skip


def _proposal_words(item: Proposal) -> str:
    unit = _UNITS.get(item.quantity, "")
    text = ", ".join(engineering(value, unit, 3) for value in item.choices[:3])
    if item.at_least is not None and item.at_most is not None:
        text = f"{engineering(item.at_least, unit, 3)} to {engineering(item.at_most, unit, 3)}" + (
            f", first {text}" if text else ""
        )
    role = str(item.role)
    if role not in _NO_ARTICLE:
        vowel = role[0].lower() in "aeio" or role.startswith("LED")
        role = f"{'an' if vowel else 'a'} {role}"
    return f"{role}: {text}" if text else role


def _show_others(
    sheet: Sheet, circuit: Circuit, report: AreaReport, others: Sequence[AreaPart]
) -> None:
    rows = []
    for item in others:
        total = len({pin.number for pin in item.part.pins})
        here = len({pin.number for pin in item.pins})
        rows.append(
            (
                refdes(circuit, item.part.key),
                role_words(item.roles),
                value_words(circuit, item.part),
                "named above" if item.part.key == report.named else f"{here} of {total} pads",
                f"{item.distance:.1f}",
            )
        )
    columns = (
        Column("part", "name"),
        Column("what it is", cut=True),
        Column("value", cut=True),
        Column("in the area"),
        Column("mm", right=True),
    )
    sheet.table(columns, rows)


def _show_pads(sheet: Sheet, circuit: Circuit, report: AreaReport) -> None:
    groups: dict[tuple[str, str | None], list[AreaPad]] = {}
    for pad in (*report.pads, *report.outlying):
        groups.setdefault((pad.pad.part, pad.pad.net), []).append(pad)
    ranked = (*report.positions, *report.reaching_in)
    rank = {item.part.key: index for index, item in enumerate(ranked)}
    rows = []
    for pads in groups.values():
        pads.sort(key=lambda pad: natural_key(pad.pad.number))

    def order(key: tuple[str, str | None]) -> tuple[int, object]:
        return rank.get(key[0], len(rank)), natural_key(groups[key][0].pad.number)

    for part, net in sorted(groups, key=order):
        pads = groups[part, net]
        rows.append(
            (
                _pads_cell(refdes(circuit, part), [pad.pad.number for pad in pads]),
                net or "no net",
                _volts_cell(circuit, net),
                _leads_to(circuit, pads[0]),
            )
        )
    columns = (
        Column("pad", "name", cut=True),
        Column("net", cut=True),
        Column("volts"),
        Column("also on that net", wrap=True),
    )
    sheet.table(columns, rows)


def _pads_cell(name: str, numbers: Sequence[str]) -> str:
    """Return pads of one part on one net: `J3.1`, `J3.6 7 8 9`, `J3.MP ×2`."""
    times = Counter(sorted(numbers, key=natural_key))
    if set(times) == {""}:
        return f"{name} (copper)"
    words = [f"{number or 'copper'}{f' ×{n}' if n > 1 else ''}" for number, n in times.items()]
    more = len(words) - PADS_IN_CELL
    return f"{name}.{' '.join(words[:PADS_IN_CELL])}" + (f" +{more}" if more > 0 else "")


def _volts_cell(circuit: Circuit, net: str | None) -> str:
    if net is None:
        return ""
    kind = circuit.net_kind(net)
    if kind is NetKind.GROUND:
        return "ground"
    if kind is NetKind.RAIL:
        return volts_words(circuit.volts(net), "rail, ?")
    volts = circuit.volts(net)
    return f"up {volts_words(volts)}" if volts is not None and volts.nominal else ""


def _leads_to(circuit: Circuit, pad: AreaPad) -> str:
    net = pad.pad.net
    if net is None:
        return "nothing"
    if circuit.net_kind(net) is NetKind.GROUND:
        return ""
    if not pad.far:
        return "nothing else"
    shown = ", ".join(pin_words(circuit, pin) for pin in pad.far[:2])
    others = {(pin.part, pin.number) for pin in circuit.board.net_by_name[net].pins}
    more = len(others) - min(2, len(pad.far)) - 1
    return f"{shown}, {more} more" if more > 0 else shown
