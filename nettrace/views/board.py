"""The pages of the commands that look at a board: summary, area, nets, parts, pads, rails, buses.

Each makes the blocks of a page from an answer, and asks nothing else. Where a wildcard means many,
each is a line in a list.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from pathlib import PurePath

from nettrace.answers import (
    FEW,
    AreaAnswer,
    Brief,
    NetAnswer,
    PadAnswer,
    PartAnswer,
    Several,
    Summary,
    Ways,
)
from nettrace.bench.area import AreaPad, AreaPart, NearPad, reach_mm
from nettrace.bench.lookup import MOST_WAYS
from nettrace.bench.place import Box, Circle
from nettrace.circuit.evidence import Bus, NetKind, Proposal, Rail, Severity
from nettrace.errors import Place
from nettrace.model.board import Pin, Side
from nettrace.model.names import natural_key
from nettrace.values.quantity import engineering
from nettrace.views.page import (
    Blank,
    Block,
    Bullets,
    Ends,
    Fact,
    Heading,
    Table,
    Title,
    line,
    table,
)
from nettrace.views.text import counted, listed, shorten_middle
from nettrace.views.text_facts import (
    SEVERITY_WORDS,
    UNITS,
    basis_words,
    bus_line,
    bus_words,
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

#: Pads of a wildcard, or of a repeated reference, shown in full before the answer is a list.
FEW_PADS = 12
#: What is shown before the rest is counted.
WARNINGS_SHOWN, CONFLICTS_SHOWN, REACHES_SHOWN, PINS_SHOWN, ROLES_SHOWN = 3, 12, 8, 60, 3
#: Pins of one position that get a line each; a part with more is told in one paragraph.
PINS_IN_LINES = 6
EFFECTS_SHOWN, PADS_IN_CELL = 2, 4
_STYLES = {Severity.BLOCKS: "bad", Severity.DEGRADES: "warn"}
#: Roles that are what a part does and not what it is.
_NO_ARTICLE = frozenset(
    {"decoupling", "AC coupling", "ESD protection", "feed-forward", "crystal load", "bootstrap",
     "reverse-polarity protection", "termination", "thermistor bias"}
)  # fmt: skip

Page = Iterator[Block]


# -- summary ------------------------------------------------------------------------------------


def summary(answer: Summary) -> Page:
    """Show what was read, what it came to, what to be careful with."""
    counts = answer.counts
    names = _file_names([source.path for source in answer.sources])
    yield Title(f"Board {answer.name}" if answer.name else "Board")
    pads = counted(counts.pads, "pad") if counts.pads else "no pads with places"
    pins = f"{counted(counts.pins, 'pin')} on nets"
    yield line(f"{counted(counts.parts, 'part')}, {counted(counts.nets, 'net')}, {pins}, {pads}")
    yield Heading("Sources")
    rows = []
    for source in answer.sources:
        format_name = answer.formats.get(source.format, source.format)
        numbers = (source.parts, source.nets, source.pins, source.pads)
        rows.append((names[source.path], format_name, *(str(n) if n else "–" for n in numbers)))
    heads = "file: cut; format: cut; parts: right; nets: right; pins: right; pads: right"
    yield table(heads, rows)
    yield from _rails_in_short(answer)
    if answer.buses:
        yield Heading("Buses")
        told = []
        for bus in answer.buses:
            devices = listed([refdes(answer.brief, key) for key in bus.devices], 5)
            told.append((bus_words(bus), " ".join(each.line for each in bus.lines), devices))
        yield table("bus: name cut; lines: wrap; devices: wrap", told)
    found = answer.conflicts
    if found:
        yield Heading("Conflicts between sources", counted(len(found), "conflict"))
        sentences = []
        for item in found[:CONFLICTS_SHOWN]:
            said = " and ".join(f"{one.what} ({_short(one.place)})" for one in item.statements)
            sentences.append(f"{item.code}: {item.subject} is {said}. Kept {item.kept}.")
        yield Bullets(tuple(sentences))
        if len(found) > CONFLICTS_SHOWN:
            yield line(f"{len(found) - CONFLICTS_SHOWN} more; --json has them all.", indent=3)
    if answer.warnings:
        yield Heading("Read with care", counted(len(answer.warnings), "warning"))
    for code in dict.fromkeys(warning.code for warning in answer.warnings):
        sentences = [
            f"{code}: {item.message}" + (f" ({_short(item.place)})" if item.place else "")
            for item in answer.warnings
            if item.code == code
        ]
        yield Bullets(tuple(sentences[:WARNINGS_SHOWN]))
        if len(sentences) > WARNINGS_SHOWN:
            yield line((f"{code}: {len(sentences) - WARNINGS_SHOWN} more", "quiet"), indent=3)


def _rails_in_short(answer: Summary) -> Page:
    rails = [rail for rail in answer.rails if rail.kind is NetKind.RAIL]
    grounds = [rail.net for rail in answer.rails if rail.kind is NetKind.GROUND]
    yield Heading("Rails", f"grounds: {listed(grounds, 4)}" if grounds else "no ground found")
    if not rails:
        yield line("No supply rail was found.", indent=1)
        return
    heads = "rail: name cut; volts: right; known by: clip; from; loads: right"
    yield table(heads, (_rail_row(answer.brief, rail) for rail in rails))


def _rail_row(brief: Brief, rail: Rail) -> tuple[str, ...]:
    volts, basis = volts_words(rail.volts, "?"), basis_words(rail.volts, rail.net)
    if rail.kind is NetKind.GROUND:
        volts, basis = "ground", ""
    source = refdes(brief, rail.source) if rail.source is not None else "–"
    return (rail.net, volts, basis, source, str(len(rail.loads)))


def _short(place: Place) -> str:
    """Return a place with the file's name alone: the folder stands under Sources or was typed."""
    return str(place._replace(path=PurePath(place.path).name or place.path))


def _file_names(paths: Sequence[str]) -> dict[str, str]:
    """Return path -> file name, or the path where two files have one name."""
    names = {path: PurePath(path).name for path in paths}
    if len(set(names.values())) < len(names):
        return {path: path for path in paths}
    return names


# -- area ---------------------------------------------------------------------------------------


def area(answer: AreaAnswer) -> Page:
    """Show a damaged area: positions, worst loss first; bare pads; what it all means."""
    board = answer.brief.board
    yield Title(_where(answer), board.name)
    positions = answer.positions
    # holes and drawings without a pad are nothing a technician looks for
    others = [item for item in answer.reaching_in if item.part.pins or item.pins]
    found = counted(len(positions), "position") if positions else "no part that is wholly in it"
    pads = f"{counted(len(answer.pads), 'pad')} on {counted(len(answer.nets), 'net')}"
    yield line((f"{found}, {pads}", "quiet"))
    named = board.part_by_key.get(answer.named)
    if named is not None and isinstance(answer.shape, Circle):
        far = reach_mm(named, answer.shape.middle)
        if far > answer.shape.radius_mm:
            words = f"Pads of {answer.named} itself reach {far:.1f} mm from its middle."
            yield line((words, "quiet"))
    for severity in Severity:
        group = [item for item in positions if item.absence.severity is severity]
        if group:
            yield Heading(SEVERITY_WORDS[severity], style=_STYLES.get(severity, ""))
        for index, item in enumerate(group):
            if index:
                yield Blank()
            yield from _position(answer.brief, item)
    if others:
        yield Heading("Also in the area")
        yield _others(answer, others)
    if answer.pads:
        yield Heading("Bare pads", "if the parts above are off")
        yield _bare_pads(answer)
    if answer.damage:
        gone = "it is" if len(positions) == 1 else f"all {len(positions)} are"
        yield Heading("The damage in short", f"if {gone} gone")
        yield Bullets(answer.damage)


def _where(answer: AreaAnswer) -> str:
    shape = answer.shape
    if isinstance(shape, Circle):
        point = f"{shape.x:.2f}, {shape.y:.2f}"
        at = f"{shape.around} (at {point})" if shape.around else point
        text = f"Within {shape.radius_mm:g} mm of {at}"
    elif isinstance(shape, Box):
        text = f"In the box {shape.x1:g}, {shape.y1:g} to {shape.x2:g}, {shape.y2:g}"
    else:
        text = f"In an outline of {len(shape.corners)} corners"
    return f"{text}, {answer.side} side" if answer.side is not None else f"{text}, both sides"


def _position(brief: Brief, item: AreaPart) -> Page:
    part = item.part
    value = value_words(brief, part) or "value not stated"
    what = "  ".join(word for word in (value, size_words(brief, part)) if word)
    side = f"{part.side}, " if part.side is Side.BOTTOM else ""
    name, role = f"{refdes(brief, part.key):<7}", f"{role_words(item.roles):<22}  "
    yield Ends(((name, "name"), (role, "name"), (what, "")), f"{side}{item.distance:.1f} mm")
    pins = list({(pin.number, pin.net): pin for pin in part.pins}.values())
    width = min(34, max([20, *(len(pin.net or "") for pin in pins)]))
    if len(pins) > PINS_IN_LINES:
        yield _many_pins(brief, pins)
        pins = []
    for pin in pins:
        own = f"{pin.name}: " if pin.name and len(pins) > 2 and pin.name != pin.number else ""
        name = f"{shorten_middle(pin.net or 'no net', width):<{width}}  "
        what = f"{own}{net_words(brief, pin.net)}"
        yield line((f"{f'.{pin.number}':<5}", "quiet"), name, (what, "quiet"), indent=3)
    for effect in item.absence.effects[:EFFECTS_SHOWN]:
        yield Fact("", effect, width=8)
    if item.proposals:
        yield Fact("", f"likely {_proposal_words(item.proposals[0])}", width=8)


def _many_pins(brief: Brief, pins: Sequence[Pin]) -> Fact:
    grounds = [pin for pin in pins if pin.net and brief.net_kind(pin.net) is NetKind.GROUND]
    rest = [pin for pin in pins if pin not in grounds]
    words = [f"{pin.number} {shorten_middle(pin.net or 'no net', 20)}" for pin in rest[:12]]
    if len(rest) > 12:
        words.append(f"{len(rest) - 12} more")
    if grounds:
        words.append(f"{len(grounds)} on ground")
    return Fact("", "; ".join(words), "quiet", width=8)


def _proposal_words(item: Proposal) -> str:
    unit = UNITS.get(item.quantity, "")
    text = ", ".join(engineering(value, unit, 3) for value in item.choices[:3])
    if item.at_least is not None and item.at_most is not None:
        first = f", first {text}" if text else ""
        least, most = engineering(item.at_least, unit, 3), engineering(item.at_most, unit, 3)
        text = f"{least} to {most}{first}"
    role = str(item.role)
    if role not in _NO_ARTICLE:
        vowel = role[0].lower() in "aeio" or role.startswith("LED")
        role = f"{'an' if vowel else 'a'} {role}"
    return f"{role}: {text}" if text else role


def _others(answer: AreaAnswer, others: Sequence[AreaPart]) -> Table:
    rows = []
    for item in others:
        part, total = item.part, len({pin.number for pin in item.part.pins})
        here = f"{len({pin.number for pin in item.pins})} of {total} pads"
        here = "named above" if part.key == answer.named else here
        words = refdes(answer.brief, part.key), role_words(item.roles)
        rows.append((*words, value_words(answer.brief, part), here, f"{item.distance:.1f}"))
    return table("part: name; what it is: cut; value: cut; in the area; mm: right", rows)


def _bare_pads(answer: AreaAnswer) -> Table:
    groups: dict[tuple[str, str | None], list[AreaPad]] = {}
    for pad in (*answer.pads, *answer.outlying):
        groups.setdefault((pad.pad.part, pad.pad.net), []).append(pad)
    ranked = (*answer.positions, *answer.reaching_in)
    rank = {item.part.key: index for index, item in enumerate(ranked)}
    for pads in groups.values():
        pads.sort(key=lambda pad: natural_key(pad.pad.number))

    def order(key: tuple[str, str | None]) -> tuple[int, object]:
        return rank.get(key[0], len(rank)), natural_key(groups[key][0].pad.number)

    rows = []
    for part, net in sorted(groups, key=order):
        pads = groups[part, net]
        name = _pads_cell(refdes(answer.brief, part), [pad.pad.number for pad in pads])
        volts, far = _volts_cell(answer.brief, net), _leads_to(answer.brief, pads[0])
        rows.append((name, net or "no net", volts, far))
    return table("pad: name cut; net: cut; volts; also on that net: wrap", rows)


def _pads_cell(name: str, numbers: Sequence[str]) -> str:
    """Return pads of one part on one net: `J3.1`, `J3.6 7 8 9`, `J3.MP ×2`."""
    times = Counter(sorted(numbers, key=natural_key))
    if set(times) == {""}:
        return f"{name} (copper)"
    words = [f"{number or 'copper'}{f' ×{n}' if n > 1 else ''}" for number, n in times.items()]
    more = len(words) - PADS_IN_CELL
    return f"{name}.{' '.join(words[:PADS_IN_CELL])}" + (f" +{more}" if more > 0 else "")


def _volts_cell(brief: Brief, net: str | None) -> str:
    if net is None:
        return ""
    kind, volts = brief.net_kind(net), brief.volts(net)
    if kind is NetKind.GROUND:
        return "ground"
    if kind is NetKind.RAIL:
        return volts_words(volts, "rail, ?")
    return f"up {volts_words(volts)}" if volts is not None and volts.nominal else ""


def _leads_to(brief: Brief, pad: AreaPad) -> str:
    net = pad.pad.net
    if net is None:
        return "nothing"
    if brief.net_kind(net) is NetKind.GROUND:
        return ""
    if not pad.far:
        return "nothing else"
    shown = ", ".join(pin_words(brief, pin) for pin in pad.far[:2])
    others = {(pin.part, pin.number) for pin in brief.board.net_by_name[net].pins}
    more = len(others) - min(2, len(pad.far)) - 1
    return f"{shown}, {more} more" if more > 0 else shown


# -- nets ---------------------------------------------------------------------------------------


def nets(answers: Several[NetAnswer]) -> Page:
    """Show a few nets, or a list of many."""
    brief = answers.brief
    if len(answers) <= FEW:
        yield from _in_turn(_net(answer) for answer in answers)
        return
    yield Title(counted(len(answers), "net"), brief.board.name)
    found = [item.net for item in answers]
    rows = ((net.name, str(len(net.pins)), net_words(brief, net.name)) for net in found)
    yield table("net: name cut; pins: right; what it is", rows)


def _in_turn(pages: Iterable[Page]) -> Page:
    for index, page in enumerate(pages):
        if index:
            yield Blank()
        yield from page


def _net(answer: NetAnswer) -> Page:
    net, brief = answer.net, answer.brief
    yield Title(f"Net {net.name}", brief.board.name)
    yield Fact("what it is", net_words(brief, net.name))
    if net.aliases:
        yield Fact("also called", listed(net.aliases, 4))
    volts = answer.volts
    known = f"{volts_words(volts)}: {basis_words(volts, net.name)}"
    yield Fact("volts", known if volts is not None else "not known")
    rail = brief.rails.get(net.name)
    if rail is not None:
        yield from _rail_facts(brief, rail)
    if (on_bus := bus_line(brief, net.name)) is not None:
        bus, of_bus = on_bus
        verdict = f": {of_bus.verdict}" if of_bus.verdict else ""
        yield Fact("bus", f"{of_bus.line} of {bus_words(bus)}{verdict}")
    yield from _labelled_once("pulls", (pull_words(brief, pull) for pull in answer.pulls))
    reaches = []
    for reach in answer.reaches[:REACHES_SHOWN]:
        through = ", ".join(refdes(brief, key) for key in reach.through)
        ohms = f", {engineering(reach.ohms, 'Ω')}" if reach.ohms is not None else ""
        when = f", {reach.conditional}" if reach.conditional else ""
        reaches.append(f"{shorten_middle(reach.net, 36)}  through {through}{ohms}{when}")
    if len(answer.reaches) > REACHES_SHOWN:
        reaches.append(f"{len(answer.reaches) - REACHES_SHOWN} more; --json has them all")
    yield from _labelled_once("reaches", reaches)
    pins = list({(pin.part, pin.number): pin for pin in net.pins}.values())
    yield Heading(counted(len(pins), "pin"))
    rows = (_pin_row(brief, pin) for pin in pins[:PINS_SHOWN])
    yield table("pin: name; function: cut; part: cut; value: cut; place", rows)
    if len(pins) > PINS_SHOWN:
        yield line((f"{len(pins) - PINS_SHOWN} more; --json has them all", "quiet"), indent=1)


def _labelled_once(label: str, texts: Iterable[str]) -> Page:
    for index, text in enumerate(texts):
        yield Fact(label if index == 0 else "", text)


def _function(pin: Pin) -> str:
    return pin.name if pin.name and pin.name not in {pin.number, "~"} else ""


def _pin_row(brief: Brief, pin: Pin) -> tuple[str, ...]:
    placed = pin.x is not None and pin.y is not None
    return (
        f"{refdes(brief, pin.part)}.{pin.number}",
        _function(pin),
        role_words(brief.roles(pin.part)),
        value_words(brief, brief.board.part_by_key[pin.part]),
        f"{pin.x:.1f}, {pin.y:.1f} {pin.side}" if placed else "–",
    )


def _rail_facts(brief: Brief, rail: Rail) -> Page:
    for lost in rail.others:
        words = f"against it: {volts_words(lost)}: {basis_words(lost, rail.net)}"
        yield Fact("", words, "warn")
    if rail.source is not None:
        source = brief.board.part_by_key[rail.source]
        words = f"{refdes(brief, rail.source)} {value_words(brief, source)}".strip()
        yield Fact("fed by", f"{words}, {role_words(brief.roles(rail.source))}")
    elif rail.kind is NetKind.RAIL:
        yield Fact("fed by", "not seen in these sources")
    if rail.loads:
        loads = [refdes(brief, key) for key in rail.loads]
        yield Fact("loads", f"{len(loads)}: {listed(loads, 8)}")
    if rail.decoupling_farads:
        yield Fact("decoupling", engineering(rail.decoupling_farads, "F", 3))
    for key, other in rail.linked:
        yield Fact("linked", f"to {other} by {refdes(brief, key)}")


def rails(answers: Several[Rail]) -> Page:
    """Show a table of several rails, or all that is known of one."""
    brief = answers.brief
    if len(answers) == 1:
        rail = answers[0]
        supply = rail.kind is NetKind.RAIL
        yield Title(f"{'Rail' if supply else 'Ground'} {rail.net}", brief.board.name)
        if supply:
            basis = f": {basis_words(rail.volts, rail.net)}" if rail.volts else ""
            yield Fact("volts", f"{volts_words(rail.volts)}{basis}")
        yield from _rail_facts(brief, rail)
        yield from _labelled_once("why a rail" if supply else "why", rail.because)
        return
    yield Title("Rails and grounds", brief.board.name)
    if not answers:
        yield line("None was found.", indent=1)
        return
    rows = []
    for rail in sorted(answers, key=lambda rail: rail.kind is NetKind.GROUND):
        farads = rail.decoupling_farads
        decoupling = "?" if farads is None else engineering(farads, "F", 3) if farads else "–"
        rows.append((*_rail_row(brief, rail), decoupling))
    heads = "rail: name cut; volts: right; known by: wrap; fed by; loads: right; decoupling: right"
    yield table(heads, rows)


def buses(answers: Several[Bus]) -> Page:
    """Show each bus with its lines."""
    brief = answers.brief
    if not answers:
        yield Title("Buses", brief.board.name)
        yield line("No serial bus was found.", indent=1)
    for index, bus in enumerate(answers):
        if index:
            yield Blank()
        yield Title(bus_words(bus), brief.board.name if index == 0 else "")
        devices = [refdes(brief, key) for key in bus.devices]
        yield Fact("devices", listed(devices, 10) if devices else "none seen")
        if bus.through:
            yield Fact("through", listed([refdes(brief, key) for key in bus.through], 10))
        for each in bus.lines:
            names = " = ".join(each.nets or (each.net,))
            yield line((f"{each.line:<8} ", "name"), names, indent=1)
            for pull in each.pulls:
                yield line((pull_words(brief, pull), "quiet"), indent=10)
            if each.pull_ohms is not None and len(each.pulls) > 1 and len(each.nets) < 2:
                yield line((f"together {engineering(each.pull_ohms, 'Ω')}", "quiet"), indent=10)
            if each.verdict is not None:
                yield line(each.verdict, indent=10)


def ways(answer: Ways) -> Page:
    """Show every way between two nets, or what each of them reaches if there is none."""
    brief, ends = answer.brief, (answer.start, answer.end)
    start, end = (shorten_middle(name, 26) for name in ends)
    yield Title(f"From {start} to {end}", brief.board.name)
    if answer.start == answer.end:
        yield line("They are one net.", indent=1)
        return
    if not answer:
        yield line("Nothing ties them through series parts.", indent=1)
        for name, reached in zip(ends, answer.reached, strict=True):
            words = listed(reached, 5) if reached else "no further net"
            yield line((f"{name} reaches {words}.", "quiet"), indent=1)
        return
    many = f"at least {MOST_WAYS} ways" if len(answer) >= MOST_WAYS else counted(len(answer), "way")
    yield line((f"{many} through {counted(len(answer[0].links), 'part')}", "quiet"))
    for way in answer:
        ohms = engineering(way.ohms, "Ω") if way.ohms is not None else "resistance not known"
        yield Heading(ohms, way.conditional)
        yield line(way.start, indent=1)
        for link in way.links:
            ohms = f", {engineering(link.ohms, 'Ω')}" if link.ohms is not None else ""
            words = f"{link.from_pin} → {link.to_pin}, {link.kind}{ohms}"
            yield line((f"{refdes(brief, link.part)} ", "name"), words, indent=4)
            yield line(link.to_net, indent=1)


# -- parts and pads -----------------------------------------------------------------------------


def parts(answers: Several[PartAnswer]) -> Page:
    """Show a few parts, or a list of many."""
    brief = answers.brief
    if len(answers) <= FEW:
        yield from _in_turn(_part(answer) for answer in answers)
        return
    yield Title(counted(len(answers), "part"), brief.board.name)
    rows = []
    for item in answers:
        words = value_words(brief, item.part), size_words(brief, item.part), role_words(item.roles)
        rows.append((refdes(brief, item.part.key), *words))
    yield table("part: name cut; value: cut; size: cut; what it does: cut", rows)


def _part(answer: PartAnswer) -> Page:
    part, kind, brief = answer.part, answer.kind, answer.brief
    yield Title(f"Part {part.refdes or part.key}", brief.board.name)
    decoded = value_words(brief, part)
    written = f" (written {part.value})" if part.value and part.value not in decoded else ""
    yield Fact("value", f"{decoded}{written}" if decoded else "not stated")
    yield Fact("kind", kind.kind)
    if part.package:
        yield Fact("package", part.package)
    if part.description:
        yield Fact("description", part.description)
    ratings = ((kind.rated_volts, "V"), (kind.rated_amperes, "A"), (kind.rated_watts, "W"))
    rated = [engineering(value, unit, 3) for value, unit in ratings if value is not None]
    if rated:
        yield Fact("rated", ", ".join(rated))
    yield Fact("place", place_words(part.x, part.y, part.side))
    if not kind.fitted:
        yield Fact("fitted", "no", "warn")
    pins = list({(pin.number, pin.net): pin for pin in part.pins}.values())
    yield Heading(counted(len({pin.number for pin in pins}), "pin"))
    rows = []
    for pin in pins:
        net, what = pin.net or "no net", net_words(brief, pin.net)
        rows.append((pin.number, _function(pin), net, what))
    yield table("pin: name cut; function: cut; net: cut; what the net is: wrap", rows)
    yield Heading("What it does")
    if not answer.roles or answer.roles[0].role == "unknown":
        yield line("Not known.", indent=1)
    for role in answer.roles[:ROLES_SHOWN]:
        if role.role != "unknown":
            yield line((role.role, "name"), (f"  {role.score:.0%}", "quiet"), indent=1)
            yield from (line((why, "quiet"), indent=4) for why in role.because)
    absence = answer.without_it
    yield Heading(SEVERITY_WORDS[absence.severity], style=_STYLES.get(absence.severity, ""))
    if absence.effects:
        yield Bullets(absence.effects)
    else:
        yield line("Nothing is known of what stops without it.", indent=1)
    if answer.proposals:
        yield Heading("What it may have been", "no source states its value")
    for proposal in answer.proposals[:ROLES_SHOWN]:
        unit = UNITS.get(proposal.quantity, "")
        choices = ", ".join(engineering(value, unit, 3) for value in proposal.choices[:4])
        yield line((proposal.role, "name"), f"  {choices}", indent=1)
        yield from (line((why, "quiet"), indent=4) for why in proposal.because)


def pads(answers: Several[PadAnswer]) -> Page:
    """Show some pads, or a list of many."""
    brief = answers.brief
    if len(answers) <= FEW_PADS:
        yield from _in_turn(_pad(answer) for answer in answers)
        return
    yield Title(counted(len(answers), "pad"), brief.board.name)
    rows = []
    for item in answers:
        name = f"{refdes(brief, item.part.key)}.{item.pin.number if item.pin else ''}"
        pad = item.pad
        place = place_words(pad.x, pad.y, pad.side) if pad is not None else ""
        words = net_words(brief, item.net) if item.net is not None else ""
        rows.append((name.rstrip("."), item.net or "on no net", words, place))
    yield table("pad: name cut; net: cut; what the net is: cut; place: cut", rows)


def _pad(answer: PadAnswer) -> Page:
    brief, net, pad, part = answer.brief, answer.net, answer.pad, answer.part
    name = refdes(brief, part.key)
    number = answer.pin.number if answer.pin is not None else ""
    yield Title(f"Pad {name}.{number}" if number else f"Copper of {name}", brief.board.name)
    if answer.pin is not None and _function(answer.pin):
        yield Fact("function", _function(answer.pin))
    yield Fact("net", net if net is not None else "on no net")
    if net is not None:
        yield Fact("", net_words(brief, net))
        volts = brief.volts(net)
        if volts is not None:
            yield Fact("volts", f"{volts_words(volts)}: {basis_words(volts, net)}")
        pulls = brief.pulls.get(net, ())
        yield from _labelled_once("pulls", (pull_words(brief, pull) for pull in pulls))
        if answer.far:
            yield Fact("leads to", ", ".join(pin_words(brief, pin) for pin in answer.far))
    if pad is not None:
        yield Fact("place", place_words(pad.x, pad.y, pad.side))
        if answer.at_point:
            yield Fact("distance", f"{answer.distance:.2f} mm from the point")
        if pad.width and pad.height:
            yield Fact("copper", f"{pad.shape or 'pad'}, {pad.width:g} × {pad.height:g} mm")
    else:
        yield Fact("place", place_words(None, None))
    roles = answer.of_part.roles
    words = [role_words(roles), value_words(brief, part), size_words(brief, part)]
    yield Fact("part", f"{name}: {', '.join(word for word in words if word)}")
    for pin in answer.ends:
        shown = f"{shorten_middle(pin.net or 'no net', 30)}, {net_words(brief, pin.net)}"
        yield Fact("other end", f"{name}.{pin.number}  {shown}")
    absence = answer.of_part.without_it
    for index, effect in enumerate(absence.effects[:3]):
        style = _STYLES.get(absence.severity, "")
        yield Fact("without it" if index == 0 else "", effect, style)
    doubtful = answer.others if answer.at_point else ()
    if doubtful:
        yield Heading("May be meant instead", "within the pad's own reach")
        yield _near(brief, doubtful)
    rest = [near for near in answer.neighbours if near not in doubtful]
    if rest:
        yield Heading("Next to it")
        yield _near(brief, rest)


def _near(brief: Brief, near: Sequence[NearPad]) -> Table:
    rows = []
    for item in near:
        name = f"{refdes(brief, item.pad.part)}.{item.pad.number}".rstrip(".")
        what = net_words(brief, item.pad.net)
        rows.append((name, item.pad.net or "no net", what, f"{item.distance:.2f}"))
    return table("pad: name cut; net: cut; what the net is: cut; mm: right", rows)
