"""Write EDIF 2 0 0, netlist view: one cell for each kind of part, ports named by pin number."""

from __future__ import annotations

import re

from description import Description, Part

DIRECTIONS = {
    "input": "INPUT",
    "power_in": "INPUT",
    "output": "OUTPUT",
    "power_out": "OUTPUT",
    "open_collector": "OUTPUT",
}


def identifier(text: str) -> str:
    """A legal EDIF name: letters, digits and underscores, ``&`` before anything else."""
    plain = re.sub(r"[^A-Za-z0-9_]", "_", text)
    return plain if re.match(r"[A-Za-z]", plain) else f"&{plain}"


def named(text: str) -> str:
    """The name, with its true spelling beside it where EDIF cannot spell it."""
    plain = identifier(text)
    return plain if plain == text else f"(rename {plain} {string(text)})"


def string(text: str) -> str:
    """EDIF strings have no backslash: a quote or a percent sign is written as its code."""
    return '"' + re.sub(r'["%]', lambda match: f"%{ord(match.group())}%", text) + '"'


def cell_name(part: Part) -> str:
    """Plain resistors and capacitors share a cell; their value tells them apart."""
    two = part.library in {"Resistor", "Capacitor"} and len(part.pins) == 2
    return part.library if two else part.item


def edif_text(description: Description) -> str:
    board = description.board
    name = identifier(board["name"])
    year, month, day = (int(run) for run in board["date"].split("-"))
    drawn = [part for part in description.parts if part.pins]
    lines = [
        f"(edif {name}",
        "  (edifVersion 2 0 0)",
        "  (edifLevel 0)",
        "  (keywordMap (keywordLevel 0))",
        f'  (status (written (timeStamp {year} {month} {day} 12 0 0) (program "make_wren")))',
        "  (library PARTS",
        "    (edifLevel 0)",
        "    (technology (numberDefinition))",
    ]
    for part in {cell_name(part): part for part in drawn}.values():
        lines += cell_lines(part)
    lines += [
        "  )",
        "  (library BOARD",
        "    (edifLevel 0)",
        "    (technology (numberDefinition))",
        f"    (cell {name}",
        "      (cellType GENERIC)",
        "      (view NETLIST",
        "        (viewType NETLIST)",
        "        (interface)",
        "        (contents",
    ]
    for part in drawn:
        lines += instance_lines(part)
    for net, pins in description.nets.items():
        lines.append(f"          (net {named(net)}")
        lines.append("            (joined")
        lines += [
            f"              (portRef {identifier(pin.number)}"
            f" (instanceRef {identifier(part.refdes)}))"
            for part, pin in pins
        ]
        lines += ["            )", "          )"]
    lines += ["        )", "      )", "    )", "  )"]
    lines += [f"  (design {name} (cellRef {name} (libraryRef BOARD)))", ")"]
    return "\n".join(lines) + "\n"


def cell_lines(part: Part) -> list[str]:
    ports = [
        f"          (port {named(pin.number)} (direction {DIRECTIONS.get(pin.kind, 'INOUT')})"
        + (f" (property PinName (string {string(pin.name)}))" if pin.name != pin.number else "")
        + ")"
        for pin in part.pins
    ]
    return [
        f"    (cell {named(cell_name(part))}",
        "      (cellType GENERIC)",
        "      (view NETLIST",
        "        (viewType NETLIST)",
        "        (interface",
        *ports,
        "        )",
        "      )",
        "    )",
    ]


def instance_lines(part: Part) -> list[str]:
    properties = {
        "Value": part.value,
        "Package": part.package,
        "PartNumber": part.number,
        "Description": part.description,
        **part.fields,
        **({} if part.fitted else {"Fitted": "no"}),
    }
    return [
        f"          (instance {named(part.refdes)}"
        f" (viewRef NETLIST (cellRef {identifier(cell_name(part))} (libraryRef PARTS)))",
        f"            (designator {string(part.refdes)})",
        *(
            f"            (property {named(key)} (string {string(value)}))"
            for key, value in properties.items()
        ),
        "          )",
    ]
