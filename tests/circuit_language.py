"""The five-line netlist: the language in which tests state a circuit.

One part a line: its refdes, then what its pins are on, then its value.

    R1 SDA VDD 2k2                     two-pin parts: the nets of pins 1 and 2, then the value
    U1 VIN=+5V VOUT=+3V3 GND : LDO     others: PIN=NET or just NET; a word before `=` that is no
                                       number is the pin's name, and pins count from 1
    Q1 1=EN 2=GND 3=LED- : BSS138      the value follows a colon
    J1 #A5=CC #B5=n2 GND               # makes a number of letters and digits
    J1 VBAT GND @JST_2 : Battery       @ gives the package
    R2 A B 10k DNP                     DNP after the value: not fitted, as a file attribute
    # a remark

`-` stands for a pin on no net. What is no two-pin part is told by its reference letters.
"""

from __future__ import annotations

import re

from nettrace.circuit.circuit import Circuit
from nettrace.model.board import Board
from nettrace.model.builder import BoardBuilder
from nettrace.model.notes import Notes, RailNote

__all__ = ["board", "circuit"]

_TWO_PINS = re.compile(r"(?:R|C|L|FB|D|F|LED|TH|RT|JP|BT|ZD|FUSE|S|SW|Y)\d+$")


def board(text: str, name: str = "test") -> Board:
    """Return the board that the lines describe."""
    builder = BoardBuilder(f"{name}.txt", "test")
    builder.name = name
    for line in text.splitlines():
        words = line.split()
        if words and not words[0].startswith("#"):
            _part(builder, words)
    return builder.build()


def circuit(
    text: str, *, notes: Notes | None = None, rails: dict[str, float] | None = None
) -> Circuit:
    """Return the circuit of the lines; `rails` are the user's notes of voltages."""
    if rails is not None:
        notes = Notes(rails={net: RailNote(volts) for net, volts in rails.items()})
    return Circuit(board(text), notes or Notes())


def _part(builder: BoardBuilder, words: list[str]) -> None:
    part = builder.part(words[0])
    rest = words[1:]
    for word in [word for word in rest if word.startswith("@")]:
        part.package = word[1:]
        rest.remove(word)
    if "DNP" in rest:
        rest.remove("DNP")
        part.fitted = False
    if ":" in rest:
        split = rest.index(":")
        rest, value = rest[:split], " ".join(rest[split + 1 :])
        part.value = value
    elif _TWO_PINS.match(words[0]):
        rest, value = rest[:2], " ".join(rest[2:])
        part.value = value or None
    for count, word in enumerate(rest, start=1):
        label, equals, net = word.partition("=")
        if not equals:
            label, net = str(count), word
        numbered = label.isdecimal() or label.startswith("#")
        number = label.removeprefix("#") if numbered else str(count)
        pin_name = None if numbered else label
        part.pin(number, None if net == "-" else net, name=pin_name)
