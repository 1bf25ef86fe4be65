"""Writer of the typed sheet (grammars/sheet.lark): a board as a technician would type it."""

from __future__ import annotations

import re

from nettrace.model.board import Board, Part

_PLAIN = re.compile(r'[^\s,:="#-][^\s,:="]*')
#: A package that the reader tells from a value; others stay out (a sheet is short).
_PACKAGE = re.compile(
    r"[A-Za-z_]*\d{4,6}(?:_[^\s,:=]*)?|(?:SOT|SOD|QFN|DFN|SOIC|BGA|SC)-?\d+[^\s,:=]*"
)
_KEYWORDS = {"sheet", "rail", "ground", "net", "also", "not", "fitted", "note", "at"}
_NO_NET = {"nc", "n/c"}  # bare, they say that a pin is on no net
#: A line longer than this goes on in the next, after a comma.
LINE = 96


def write(board: Board) -> str:
    """Return the board as a typed sheet; pads' shapes and several pads of one pin are not kept."""
    lines = [f"sheet {_plain(board.name)}".rstrip()]
    for net in board.nets:
        if net.volts == 0:
            lines.append(f"ground {_quoted(net.name)}")
        elif net.volts is not None:
            lines.append(f"rail {_quoted(net.name)} {net.volts:g}")
    for net in board.nets:
        if net.aliases:
            aliases = ", ".join(_quoted(alias) for alias in net.aliases)
            lines.append(f"net {_quoted(net.name)} also {aliases}")
    for part in board.parts:
        if part.refdes.strip():  # a part without a name has no line that could name it
            lines.extend(_part_lines(part))
    return "\n".join(lines) + "\n"


def _part_lines(part: Part) -> list[str]:
    words = [_quoted(part.refdes)]
    if part.value:
        words += [_value_word(word) for word in part.value.split()]
    package = part.package.rpartition(":")[2] if part.package else ""
    if part.value and _PACKAGE.fullmatch(package):
        words.append(package)
    if part.description:
        words.append(f'"{_no_quotes(part.description)}"')
    if part.fitted is False:
        words.append("not fitted")
    if part.x is not None and part.y is not None:
        side = f" {part.side}" if part.side in {"top", "bottom"} else ""
        angle = f" {part.angle:g}" if part.angle else ""
        words.append(f"at {part.x:g},{part.y:g}{side}{angle}")
    head = " ".join(words)
    if not part.pins:
        return [head]
    nets = [_quoted(pin.net) if pin.net else "-" for pin in part.pins]
    counted = all(
        pin.number == str(number) and not pin.name for number, pin in enumerate(part.pins, 1)
    )
    if counted:  # nets in the order of the pins, as for any resistor
        pins, separator = nets, " "
    else:
        separator = ", "
        pins = [
            f"{_quoted(pin.number + (f'({pin.name})' if pin.name else ''))}={net}"
            for pin, net in zip(part.pins, nets, strict=True)
        ]
    lines = [f"{head}: {pins[0]}"]
    for pin in pins[1:]:
        if len(lines[-1]) + len(pin) > LINE:
            lines[-1] += ","
            lines.append(f"    {pin}")
        else:
            lines[-1] += f"{separator}{pin}"
    return lines


def _quoted(text: str) -> str:
    if _PLAIN.fullmatch(text) and text.casefold() not in _KEYWORDS | _NO_NET:
        return text
    return f'"{_no_quotes(text)}"'


def _value_word(text: str) -> str:
    # a quoted word is a description: a value keeps its words bare, or they are mended
    bare = re.sub(r'[\s,:="]', "/", text)
    return bare if not bare.startswith("#") and bare.casefold() not in _KEYWORDS else f"_{bare}"


def _no_quotes(text: str) -> str:
    return " ".join(text.replace('"', "'").split())


def _plain(text: str) -> str:
    return re.sub(r'[\s,:="#]+', " ", text).strip()
