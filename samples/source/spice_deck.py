"""Write a SPICE deck in the manner schematic tools emit one.

Resistors, capacitors, coils, single diodes and the NPN transistor stand under their own letters;
everything else is an X element whose subcircuit has one node for each pin, named by the pin's
number; remarks say which part each element is, and how its pins are numbered. The bodies are
stubs, with sources where a chip makes a rail, so that the operating point shows the board running
from USB with a half-full cell.
"""

from __future__ import annotations

import re

from description import Description, Part, Pin

MODELS = (
    ".model TVS5 D(IS=1n BV=6.4 IBV=1m CJO=150p)",
    ".model ESD5 D(IS=1p BV=6 IBV=1m CJO=5p)",
    ".model SCHOTTKY30 D(IS=200n N=1.05 RS=0.5 BV=30 CJO=10p)",
    ".model LED_AMBER D(IS=1e-18 N=2.2 RS=5 CJO=20p)",
    ".model LED_RED D(IS=1e-17 N=2.2 RS=5 CJO=20p)",
    ".model NPN45 NPN(IS=20f BF=250 VAF=80)",
    ".model NSWITCH NMOS(VTO=0.8 KP=0.2)",
    ".model PSWITCH PMOS(VTO=-0.8 KP=1)",
)
STUB_OHMS = "1G"  # every pin to node 0, so that no node floats


def node(part: Part, pin: Pin) -> str:
    return pin.net if pin.net else f"unconnected-_{part.refdes}-Pad{pin.number}_"


def spice_value(value: str) -> str:
    """``1M`` is one milliohm in SPICE: a million is ``1Meg``."""
    return re.sub(r"M$", "Meg", value)


def deck_text(description: Description) -> str:
    lines = [
        f".title {description.board['title']}",
        *(f"* {refdes} is not fitted" for refdes in description.board["not_fitted"]),
    ]
    bodies: dict[str, list[str]] = {}
    for part in description.parts:
        if not part.pins:
            continue
        nets = {pin.number: node(part, pin) for pin in part.pins}
        if part.library in {"Resistor", "Capacitor"} and "deck" not in part.deck:
            lines.append(f"{part.refdes} {nets['1']} {nets['2']} {spice_value(part.value)}")
        elif "element" in part.deck:
            _, *pins, model = part.deck["element"].split()
            lines.append(f"* part {part.refdes} is {part.refdes}, pins {' '.join(pins)}")
            lines.append(f"{part.refdes} {' '.join(nets[pin] for pin in pins)} {model}")
        else:
            lines.append(f"* part {part.refdes} is X{part.refdes}, pins as ports")
            lines += continued([f"X{part.refdes}", *nets.values(), part.item])
            bodies.setdefault(part.item, subcircuit_lines(part))
    for body in bodies.values():
        lines += body
    return "\n".join([*lines, *MODELS, ".op", ".end"]) + "\n"


def continued(words: list[str], width: int = 78) -> list[str]:
    """Break a long line with ``+`` in the next line's first column."""
    lines = [words[0]]
    for word in words[1:]:
        if len(lines[-1]) + 1 + len(word) > width:
            lines.append("+")
        lines[-1] += f" {word}"
    return lines


def subcircuit_lines(part: Part) -> list[str]:
    numbers = [pin.number for pin in part.pins]
    names = ", ".join(f"{pin.number} {pin.name}" for pin in part.pins if pin.name != pin.number)
    comment = [f"* {line}" for line in re.findall(r".{1,70}(?:, |$)", names)] if names else []
    return [
        *continued([".subckt", part.item, *numbers]),
        *comment,
        *part.deck.get("deck", []),
        *(f"RPIN{number} {number} 0 {STUB_OHMS}" for number in numbers),
        f".ends {part.item}",
    ]
