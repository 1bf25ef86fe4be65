"""Writes one small circuit as the EDIF of many PCB schematic tools: the dialects of QUIRKS.

The circuit, two pages:
    U3 (dual amplifier, units A and B): A on page 1, B on page 2
    R12 10k not fitted from FEEDBACK to VCC, C78 from AUDIO IN to GND, J2 with two pins
    U9 with a bus D[3:0], R7 on D[2]
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

#: What every dialect must say: net -> pins.
NETS = {
    "GND": {"C78.2", "U3.4", "U3.6", "U9.1", "J2.2"},
    "VCC": {"R12.1", "U3.8", "R7.1"},
    "AUDIO-IN": {"C78.1", "U3.3", "J2.1"},
    "FEEDBACK": {"U3.1", "U3.2", "R12.2"},
    "SIDE": {"U3.5", "U3.7"},
    "D[2]": {"U9.13", "R7.2"},
}
VALUES = {"C78": "0.01uf,16V", "R12": "10K,1%,DNI", "U3": "LMV358", "U9": "MEM", "R7": "1k"}
PACKAGES = {"C78": "SM_C0402", "R12": "SM_R0402"}


@dataclass
class Dialect:
    """How a tool writes things; the defaults are one of them."""

    reference: str = "display"  # display, bare, property, twice, both, renamed, view map
    pin_numbers: str = "instance"  # instance, port, view map
    value: str = "display"  # display, bare, partvalue, Value
    symbols: str = "in net"  # or in comment, in page, in implementation
    split_joined: bool = False  # a net given in two forms on its page
    nets_first: bool = False
    cell_library: str = "external"
    case: str = "mixed"  # mixed, lower, upper
    line_end: str = "\n"
    columns: int | None = None  # lines broken there, also in strings
    bus: str = "array"  # array, bundle, wires
    off_page: bool = True
    comments: bool = False
    inner_nets: bool = False  # stretches of a net as nets in it, which repeat its pins
    cell_names: str = "id"  # id, name (in a form of its own), shown
    view_map: str = "cell"  # cell, design


class Schematic:
    """The text of the circuit in a dialect."""

    def __init__(self, dialect: Dialect) -> None:
        self.dialect = dialect
        self.count = 20_359_070
        self.annotations: list[str] = []

    def text(self) -> str:
        pages = self.pages()
        view_map = f"(viewMap {' '.join(self.annotations)})" if self.annotations else ""
        of_cell, of_design = ("", view_map) if self.dialect.view_map == "design" else (view_map, "")
        body = "\n".join(
            [
                '(edif (rename bird_box "Bird box")',
                "(edifVersion 2 0 0) (edifLevel 0) (keywordMap (keywordLevel 0))",
                '(status (written (timeStamp 2026 3 14 9 26 53) (program "translator")))',
                f"({self.dialect.cell_library} SYMS (edifLevel 0) (technology (numberDefinition",
                "(scale 1 (e 254 -6) (unit DISTANCE))))",
                *self.cells(),
                ")",
                "(library MAIN (edifLevel 0) (technology (numberDefinition))",
                "(cell TOP (cellType GENERIC) (view SHEET (viewType SCHEMATIC) (interface)",
                "(contents",
                *pages,
                f")) {of_cell}))",
                '(design (rename bird_box "Bird box") (cellRef TOP (libraryRef MAIN))'
                f" {of_design}))",
            ]
        )
        if self.dialect.case != "mixed":
            change = str.lower if self.dialect.case == "lower" else str.upper
            body = re.sub(r'("[^"]*")|\((\w+)', lambda m: m[1] or f"({change(m[2])}", body)
        if self.dialect.columns:
            body = broken(body, self.dialect.columns)
        return body.replace("\n", self.dialect.line_end) + self.dialect.line_end

    def cells(self) -> list[str]:
        two = [("&1", "1", None), ("&2", "2", None)]
        unit_a = [("IN_43_", "3", "IN+"), ("IN_45_", "2", "IN-"), ("OUT", "1", None)]
        unit_a += [("VCC", "8", None), ("GND", "4", None)]
        unit_b = [("IN_43_", "5", "IN+"), ("IN_45_", "6", "IN-"), ("OUT", "7", None)]
        return [
            self.cell("CAP", [("NORMAL", two)]),
            self.cell("RES", [("NORMAL", two)]),
            self.cell("CONN2", [("NORMAL", two)]),
            self.cell("AMP_45_DUAL", [("A", unit_a), ("B", unit_b)]),
            self.cell("MEM", [("NORMAL", [("CS", "1", None)])], bus=True),
            "(cell PWR (cellType GENERIC) (view NORMAL (viewType SCHEMATIC)"
            " (interface (port P (direction INOUT)) (symbol (figure S (path (pointList"
            " (pt 0 0) (pt 1 1))))))))",
            "(cell FRAME (cellType GENERIC) (view NORMAL (viewType SCHEMATIC) (interface)))",
        ]

    def cell(self, name: str, views: list[Any], bus: bool = False) -> str:
        named = f'(rename K_{name} "{name}")' if self.dialect.cell_names == "shown" else name
        lines = [f"(cell {named} (cellType GENERIC)"]
        for view, ports in views:
            lines.append(f"(view {view} (viewType SCHEMATIC) (interface")
            for one, number, shown in ports:
                named = one if shown is None else f'(rename {one} "{shown}")'
                said = f' (designator "{number}")' if self.dialect.pin_numbers == "port" else ""
                lines.append(f"(port {named} (direction INOUT){said})")
            if bus:
                said = ' (designator "14,13,12,11")' if self.dialect.pin_numbers == "port" else ""
                lines.append(f'(port (array (rename D "D[3:0]") 4) (direction INOUT){said})')
            lines.append('(designator "U?")))')
        return "\n".join([*lines, ")"])

    def instance(self, refdes: str, cell: str, view: str, pins: dict[str, str]) -> tuple[str, str]:
        """Return id and form."""
        self.count += 13
        one = f"INS{self.count}"
        dialect = self.dialect
        shown = f'(designator (stringDisplay "{refdes}" (display PARTREF (origin (pt 1 2)))))'
        bare = f'(designator "{refdes}")'
        parts = {
            "display": [shown],
            "bare": [bare],
            "twice": [shown, shown],
            "both": [shown, bare],
            "property": [f'(property Designator (string "{refdes}"))'],
            "renamed": [f'(property (rename REF_32_DES "Ref Des") (string "{refdes}"))'],
            "view map": ['(designator "?")'],
        }[dialect.reference]
        if dialect.reference == "view map":
            self.annotations.append(
                f"(instanceBackAnnotate (instanceRef {one} (viewRef SHEET)) {bare})"
            )
        if dialect.cell_names == "name":
            cell = f"(name {cell} (display PARTVALUE (origin (pt 0 0))))"
        lines = [
            f"(instance {one} (viewRef {view} (cellRef {cell} (libraryRef SYMS)))",
            "(transform (orientation R90) (origin (pt 120 40)))",
            *parts,
        ]
        value = VALUES.get(refdes)
        if value is not None:
            coded = value.replace("%", "%37%")
            lines.append(
                {
                    "display": f'(property VALUE (string (stringDisplay "{coded}" (display V))))',
                    "bare": f'(property VALUE (string "{coded}"))',
                    "partvalue": f'(property PartValue (string "{coded}"))',
                    "Value": f'(property (rename Part_32_Value "Part Value") (string "{coded}"))',
                }[dialect.value]
            )
        if refdes in PACKAGES:
            lines.append(f'(property PCB_32_Footprint (string "{PACKAGES[refdes]}"))')
            lines.append('(property (rename Source_32_Package "Source Package") (string "CAP"))')
        if dialect.pin_numbers == "instance":
            for port, number in pins.items():
                lines.append(
                    f'(portInstance {port} (designator (stringDisplay "{number}"'
                    " (display PINNUMBER))))"
                )
        if dialect.pin_numbers == "view map":
            for port, number in pins.items():
                lines.append(f'(portInstance {port} (designator ""))')
                self.annotations.append(
                    f"(portBackAnnotate (portRef {port} (instanceRef {one} (viewRef SHEET)))"
                    f' (designator "{number}"))'
                )
        return one, "\n".join([*lines, ")"])

    def net(self, name: str, joined: list[str], symbol: str = "") -> str:
        named = name if name.isalnum() else f'(rename N{sum(map(ord, name))} "{name}")'
        half = len(joined) // 2 if self.dialect.split_joined else 0
        forms = []
        for some in (joined[:half], joined[half:]):
            if some:
                inner = "".join(
                    f'(net (rename &{self.count}N{index} "$1N{index}") (joined {ref})'
                    " (figure WIRE (path (pointList (pt 0 0) (pt 4 0)))))"
                    for index, ref in enumerate(some)
                    if self.dialect.inner_nets and "instanceRef" in ref
                )
                forms.append(
                    f"(net {named} (joined {' '.join(some)}) {symbol} {inner}"
                    " (figure WIRE (path (pointList (pt 0 0) (pt 4 0)))))"
                )
                symbol = ""
        return "\n".join(forms)

    def power(self, name: str) -> tuple[str, list[str], str]:
        """Return what a net joins of a power symbol, what stands in the page, in the net."""
        self.count += 1
        one = f"SYM{self.count}"
        plain = f"(instance {one} (viewRef NORMAL (cellRef PWR (libraryRef SYMS))))"
        form = f'{plain[:-1]} (designator "{name}"))'
        ref = f"(portRef P (instanceRef {one}))"
        match self.dialect.symbols:
            case "in net":
                return ref, [], form
            case "in comment":
                return ref, [], f"(commentGraphics {form})"
            case "in implementation":
                return ref, [f"(portImplementation P{one} {form})"], ""
            case "in page, nameless":
                nameless = plain[:-1] + '(designator (stringDisplay "")))'
                return ref, [nameless], ""
            case "in page, numbered":
                return ref, [plain[:-1] + f'(designator "#PWR{self.count}"))'], ""
            case _:
                return ref, [plain], ""

    def pages(self) -> list[str]:
        c78, c78_form = self.instance("C78", "CAP", "NORMAL", {"&1": "1", "&2": "2"})
        r12, r12_form = self.instance("R12", "RES", "NORMAL", {"&1": "1", "&2": "2"})
        j2, j2_form = self.instance("J2", "CONN2", "NORMAL", {"&1": "1", "&2": "2"})
        pins_a = {"IN_43_": "3", "IN_45_": "2", "OUT": "1", "VCC": "8", "GND": "4"}
        u3a, u3a_form = self.instance("U3", "AMP_45_DUAL", "A", pins_a)
        u3b, u3b_form = self.instance(
            "U3", "AMP_45_DUAL", "B", {"IN_43_": "5", "IN_45_": "6", "OUT": "7"}
        )
        bus_pins = {f"(member D {i})": str(14 - i) for i in range(4)}
        u9, u9_form = self.instance("U9", "MEM", "NORMAL", {"CS": "1", **bus_pins})
        r7, r7_form = self.instance("R7", "RES", "NORMAL", {"&1": "1", "&2": "2"})

        def ref(port: str, one: str) -> str:
            return f"(portRef {port} (instanceRef {one}))"

        ground, in_page, in_net = self.power("GND")
        off = " (portRef OFF1)" if self.dialect.off_page else ""
        nets_1 = [
            self.net("GND", [ref("&2", c78), ground, ref("GND", u3a)], in_net),
            self.net("VCC", [ref("VCC", u3a), ref("&1", r12)]),
            self.net("AUDIO-IN", [ref("&1", c78), ref("IN_43_", u3a) + off]),
            self.net("FEEDBACK", [ref("OUT", u3a), ref("IN_45_", u3a), ref("&2", r12)]),
        ]
        parts_1 = [
            "(instance FRAME1 (viewRef NORMAL (cellRef FRAME (libraryRef SYMS))))",
            c78_form, r12_form, u3a_form, *in_page,
        ]  # fmt: skip
        wires = {
            "array": ['(net (array (rename D "D[3:0]") 4) (joined ' + ref("D", u9) + "))"],
            "wires": [
                f'(net (rename D_91_{i}_93_ "D[{3 - i}]") (joined {ref(f"(member D {i})", u9)}))'
                for i in range(4)
            ],
        }
        wires["bundle"] = [
            '(netBundle (rename DB "D[3:0]") (listOfNets ' + " ".join(wires["wires"]) + "))"
        ]
        away = "(portRef OFF2)" if self.dialect.off_page else ""
        other_name = "FAR NAME" if self.dialect.off_page else "AUDIO-IN"
        nets_2 = [
            self.net("GND", [ref("IN_45_", u3b), ref("CS", u9), ref("&2", j2)]),
            self.net("VCC", [ref("&1", r7)]),
            self.net(other_name, [f"{ref('&1', j2)} {away}"]),
            self.net("SIDE", [ref("IN_43_", u3b), ref("OUT", u3b)]),
            *wires[self.dialect.bus],
            f'(net (rename DTWO "D[2]") (joined {ref("&2", r7)}))',
        ]
        parts_2 = [u3b_form, u9_form, r7_form, j2_form]
        ends: list[list[str]] = [[], []]
        if self.dialect.off_page:
            ends = [[f'(offPageConnector (rename OFF{n} "AUDIO{"%95%"}LINK"))'] for n in (1, 2)]
        note = ['(comment "drawn by hand (twice)")'] if self.dialect.comments else []
        pages = []
        for number, (parts, nets, end) in enumerate(
            ((parts_1, nets_1, ends[0]), (parts_2, nets_2, ends[1])), 1
        ):
            inside = [*nets, *parts, *end] if self.dialect.nets_first else [*parts, *nets, *end]
            pages += [
                f'(page (rename PAGE{number} "Page {number}")', *note, "(pageSize (rectangle"
                " (pt 0 0) (pt 11 17)))", *inside, ")",
            ]  # fmt: skip
        return pages


def broken(text: str, columns: int) -> str:
    """Break lines at a column as translators do: in strings and between tokens, never in a word."""
    out: list[str] = []
    width = 0
    for match in re.finditer(r'"[^"]*"|[()]|\s+|[^\s()"]+', text):
        token = " " if match[0].isspace() else match[0]
        if token[0] == '"':
            for char in token:
                if width >= columns:
                    out.append("\n")
                    width = 0
                out.append(char)
                width += 1
            continue
        if width + len(token) > columns:
            out.append("\n")
            width = 0
        out.append(token)
        width += len(token)
    return "".join(out)
