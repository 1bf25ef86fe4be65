"""Write the s-expression netlist, version E."""

from __future__ import annotations

from board_file import name_of, quoted
from description import Description, Part, Pin, open_net


def netlist_text(description: Description) -> str:
    board = description.board
    lines = [
        '(export (version "E")',
        "  (design",
        '    (source "wren.sch")',
        f"    (date {quoted(board['date'] + 'T12:00:00+0000')})",
        '    (tool "make_wren")',
        '    (sheet (number "1") (name "/") (tstamps "/")',
        "      (title_block",
        f"        (title {quoted(board['title'])})",
        "        (company)",
        f"        (rev {quoted(board['revision'])})",
        f"        (date {quoted(board['date'])})",
        '        (source "wren.sch")',
        '        (comment (number "1") (value "")))))',
        "  (components",
    ]
    drawn = [part for part in description.parts if part.pins or part.in_bom]
    for part in drawn:
        lines += component_lines(part)
    lines[-1] += ")"
    lines.append("  (libparts")
    for part in {part.item: part for part in drawn}.values():
        lines += library_lines(part)
    lines[-1] += ")"
    lines.append("  (nets")
    rows = [(name, pins) for name, pins in description.nets.items()]
    rows += [
        (open_net(part, pin), [(part, pin)])
        for part in drawn
        for pin in part.pins
        if pin.net is None
    ]
    for code, (name, pins) in enumerate(rows, start=1):
        lines.append(f'    (net (code "{code}") (name {quoted(name)}) (class "Default")')
        lines += [node_line(part, pin) for part, pin in pins]
        lines[-1] += ")"
    lines[-1] += "))"
    return "\n".join(lines) + "\n"


def node_line(part: Part, pin: Pin) -> str:
    function = f" (pinfunction {quoted(pin.name)})" if pin.name != pin.number else ""
    open_end = "" if pin.net or pin.kind == "no_connect" else "+no_connect"
    return (
        f"      (node (ref {quoted(part.refdes)}) (pin {quoted(pin.number)}){function}"
        f" (pintype {quoted(pin.kind + open_end)}))"
    )


def component_lines(part: Part) -> list[str]:
    footprint = f"{part.library}:{part.package}"
    fields = {"MPN": part.number, **part.fields}
    lines = [
        f"    (comp (ref {quoted(part.refdes)})",
        f"      (value {quoted(part.value)})",
        f"      (footprint {quoted(footprint)})",
        f"      (description {quoted(part.description)})",
        "      (fields",
        *(
            f"        (field (name {quoted(name)}) {quoted(value)})"
            for name, value in fields.items()
        ),
        f"        (field (name {quoted('Footprint')}) {quoted(footprint)}))",
        f"      (libsource (lib {quoted('wren')}) (part {quoted(part.item)})"
        f" (description {quoted(part.description)}))",
        *(
            f"      (property (name {quoted(name)}) (value {quoted(value)}))"
            for name, value in fields.items()
        ),
        '      (property (name "Sheetname") (value "Root"))',
    ]
    if not part.in_bom:
        lines.append('      (property (name "exclude_from_bom"))')
    if not part.fitted:
        lines.append('      (property (name "dnp"))')
    return [
        *lines,
        '      (sheetpath (names "/") (tstamps "/"))',
        f"      (tstamps {quoted(name_of('sheet', part.refdes))}))",
    ]


def library_lines(part: Part) -> list[str]:
    lines = [
        f"    (libpart (lib {quoted('wren')}) (part {quoted(part.item)})",
        f"      (description {quoted(part.description)})",
        "      (pins",
        *(
            f"        (pin (num {quoted(pin.number)}) (name {quoted(pin.name)})"
            f" (type {quoted(pin.kind)}))"
            for pin in part.pins
        ),
    ]
    lines[-1] += "))"
    return lines
