"""A board written as an s-expression netlist, `(export (version "E") ...`.

Carries parts (value, package, description, fitted, properties, sheet), pins with names and types,
and nets. Places and aliases have no form here.
"""

from __future__ import annotations

from nettrace.model.board import Board, Part, Pin
from nettrace.model.fitted import is_fitted
from nettrace.version import __version__

#: Properties that readers take for the part's own fields.
_FIELDS = frozenset(
    {"Reference", "Value", "Footprint", "Description", "Sheetname", "Sheetfile"}
    | {"dnp", "DNP", "Dnp"}
)
_ESCAPES = str.maketrans({"\\": "\\\\", '"': '\\"', "\n": "\\n", "\r": "\\r", "\t": "\\t"})


def write(board: Board) -> str:
    """Return the netlist as text.

    A refdes that several parts bear is written as the name of each part (`REF**~2`), so that no
    two become one; a part without refdes has no pins and is left out.
    """
    sheet = ""
    if board.name:
        sheet = f"""
    (sheet (number "1") (name "/") (tstamps "/")
      (title_block (title {_quoted(board.name)})))"""
    tool = _quoted(f"nettrace {__version__}")
    lines = [f'(export (version "E")\n  (design\n    (tool {tool}){sheet})']
    lines.append("  (components")
    for part in board.parts:
        if part.refdes:
            lines += _component(part)
    lines[-1] += ")"
    lines.append("  (nets")
    for code, net in enumerate((net for net in board.nets if net.pins), 1):
        lines.append(f'    (net (code "{code}") (name {_quoted(net.name)})')
        lines += [f"      {_node(pin)}" for pin in net.pins]
        lines[-1] += ")"
    lines[-1] += "))"
    return "\n".join(lines) + "\n"


def _component(part: Part) -> list[str]:
    lines = [f"    (comp (ref {_quoted(part.key)})", f"      (value {_quoted(part.value or '')})"]
    if part.package:
        lines.append(f"      (footprint {_quoted(part.package)})")
    if part.description:
        lines.append(f"      (description {_quoted(part.description)})")
    lines += [
        f"      (property (name {_quoted(name)}) (value {_quoted(text)}))"
        for name, text in part.properties.items()
        if name not in _FIELDS
    ]
    if part.fitted is False:
        lines.append('      (property (name "dnp"))')
    elif part.fitted and is_fitted(part.value, part.description, part.properties) is False:
        lines.append('      (property (name "dnp") (value "no"))')
    if part.sheet:
        lines.append(f'      (sheetpath (names {_quoted(part.sheet)}) (tstamps "/"))')
    lines[-1] += ")"
    return lines


def _node(pin: Pin) -> str:
    text = f"(node (ref {_quoted(pin.part)}) (pin {_quoted(pin.number)})"
    if pin.name:
        text += f" (pinfunction {_quoted(pin.name)})"
    if pin.electrical_type:
        text += f" (pintype {_quoted(pin.electrical_type)})"
    return text + ")"


def _quoted(text: str) -> str:
    return f'"{text.translate(_ESCAPES)}"'
