"""A made board of any size, built of one block over and over: supply, controller, buses, passives.

A block has 50 parts and some 250 pins: a regulator with its divider, a controller, four sensors on
a two-wire bus with pull-ups, a serial memory, a crystal, LEDs, switches, connectors, and the
passives between them. Blocks share the ground, the battery and the lines to their neighbours, so
that two nets are as long as the board is large, as on a real one.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

__all__ = ["PARTS_A_BLOCK", "synthetic_circuit"]

PARTS_A_BLOCK = 50
_PITCH_MM = 20.0
_CONTROLLER_PINS = 64
_CONNECTOR_PINS = (32, 40)


class _Part(NamedTuple):
    refdes: str
    value: str
    package: str
    description: str
    pins: tuple[tuple[str, str], ...]  # function name, net ("" for none)


def synthetic_circuit(parts: int) -> str:
    """Return an s-expression board file of about so many parts, five pins to each part.

    Always the same for the same number; blocks are numbered on, so a longer one begins as a
    shorter one does.
    """
    blocks = [list(_block(index)) for index in range(max(1, round(parts / PARTS_A_BLOCK)))]
    nets = dict.fromkeys(net for block in blocks for part in block for _, net in part.pins if net)
    codes = {net: code for code, net in enumerate(nets, 1)}
    lines = [
        "(kicad_pcb (version 20221018) (generator made)",
        '  (layers (0 "F.Cu" signal) (31 "B.Cu" signal))',
        '  (net 0 "")',
        *(f'  (net {code} "{net}")' for net, code in codes.items()),
    ]
    across = max(1, round(len(blocks) ** 0.5))
    for index, block in enumerate(blocks):
        x, y = index % across * _PITCH_MM, index // across * _PITCH_MM
        for place, part in enumerate(block):
            lines += _footprint(part, x + place % 8 * 2.4, y + place // 8 * 2.8, codes)
    return "\n".join([*lines, ")", ""])


def _footprint(part: _Part, x: float, y: float, codes: dict[str, int]) -> Iterator[str]:
    yield f'  (footprint "Made:{part.package}" (layer "F.Cu") (at {x:.2f} {y:.2f})'
    yield f'    (descr "{part.description}")'
    yield f'    (fp_text reference "{part.refdes}" (at 0 0) (layer "F.SilkS"))'
    yield f'    (fp_text value "{part.value}" (at 0 0) (layer "F.Fab"))'
    columns = 2 if len(part.pins) <= 8 else 8
    for number, (name, net) in enumerate(part.pins, 1):
        step = number - 1
        at = f"{step % columns * 0.25:.2f} {step // columns * 0.25:.2f}"
        on = f' (net {codes[net]} "{net}")' if net else ""
        function = f' (pinfunction "{name}")' if name else ""
        yield (
            f'    (pad "{number}" smd rect (at {at}) (size 0.2 0.2) '
            f'(layers "F.Cu" "F.Mask"){on}{function})'
        )
    yield "  )"


def _block(index: int) -> Iterator[_Part]:
    rail, here = f"+3V3_{index}", f"/B{index}/"
    sda, scl = f"{here}SDA", f"{here}SCL"
    first = index * 100

    def passive(letter: str, number: int, value: str, one: str, two: str) -> _Part:
        words = {"R": "Resistor", "C": "Capacitor", "L": "Ferrite bead"}[letter]
        return _Part(
            f"{letter}{first + number}", value, f"{letter}_0402", words, (("", one), ("", two))
        )

    def chip(number: int, value: str, words: str, *pins: tuple[str, str]) -> _Part:
        return _Part(f"U{first + number}", value, f"QFN-{len(pins)}", words, pins)

    yield chip(1, "TLV1117", "Voltage regulator, adjustable",
               ("VIN", "VBAT"), ("GND", "GND"), ("EN", f"{here}EN"), ("FB", f"{here}FB"),
               ("VOUT", rail))  # fmt: skip
    io = [(f"PA{number}", f"{here}IO{number}") for number in range(_CONTROLLER_PINS - 20)]
    yield chip(2, "STM32L4", "Microcontroller",
               ("VDD", rail), ("VDD", rail), ("VDDA", f"{here}VDDA"), ("VSS", "GND"),
               ("VSS", "GND"), ("NRST", f"{here}NRST"), ("BOOT0", f"{here}BOOT"),
               ("OSC_IN", f"{here}XI"), ("OSC_OUT", f"{here}XO"), ("SDA", sda), ("SCL", scl),
               ("MOSI", f"{here}MOSI"), ("MISO", f"{here}MISO"), ("SCK", f"{here}SCK"),
               ("CS", f"{here}FLASH_CS"), ("TXD", f"{here}TXD_R"), ("RXD", f"{here}RXD"),
               ("PB0", f"{here}LED1"), ("PB1", f"{here}LED2"), ("PB2", f"{here}GATE"),
               *io)  # fmt: skip
    for sensor in range(4):
        yield chip(3 + sensor, "TMP117", "Temperature sensor",
                   ("VDD", rail), ("GND", "GND"), ("SDA", sda), ("SCL", scl),
                   ("ALERT", f"{here}IO{sensor}"), ("ADD0", rail if sensor % 2 else "GND"),
                   ("NC", ""), ("EP", "GND"))  # fmt: skip
    yield chip(7, "W25Q64", "Serial flash memory",
               ("CS", f"{here}FLASH_CS"), ("DO", f"{here}MISO"), ("WP", rail), ("GND", "GND"),
               ("DI", f"{here}MOSI"), ("CLK", f"{here}SCK"), ("HOLD", rail),
               ("VCC", rail))  # fmt: skip
    yield passive("R", 1, "100k", "VBAT", f"{here}EN")
    yield passive("R", 2, "16k", rail, f"{here}FB")
    yield passive("R", 3, "10k", f"{here}FB", "GND")
    yield passive("R", 4, "4k7", sda, rail)
    yield passive("R", 5, "4k7", scl, rail)
    yield passive("R", 6, "10k", f"{here}NRST", rail)
    yield passive("R", 7, "10k", f"{here}BOOT", "GND")
    yield passive("R", 8, "10k", f"{here}FLASH_CS", rail)
    yield passive("R", 9, "33", f"{here}TXD_R", f"{here}TXD")
    yield passive("R", 10, "1k", f"{here}LED1", f"{here}LED1_A")
    yield passive("R", 11, "1k", f"{here}LED2", f"{here}LED2_A")
    yield passive("R", 12, "100", f"{here}GATE", f"{here}GATE_Q")
    yield passive("R", 13, "100k", f"{here}GATE_Q", "GND")
    for line in range(4):
        yield passive("R", 14 + line, "22", f"{here}IO{10 + line}", f"{here}OUT{line}")
    yield passive("L", 1, "600R", rail, f"{here}VDDA")
    yield passive("C", 1, "10u", "VBAT", "GND")
    yield passive("C", 2, "10u", rail, "GND")
    yield passive("C", 3, "1u", f"{here}VDDA", "GND")
    yield passive("C", 4, "12p", f"{here}XI", "GND")
    yield passive("C", 5, "12p", f"{here}XO", "GND")
    yield passive("C", 6, "100n", f"{here}NRST", "GND")
    for number in range(9):
        yield passive("C", 7 + number, "100n", rail, "GND")
    yield _Part(f"Y{first + 1}", "16MHz", "Crystal", "Crystal",
                (("", f"{here}XI"), ("", "GND"), ("", f"{here}XO"), ("", "GND")))  # fmt: skip
    for led in (1, 2):
        yield _Part(f"D{first + led}", "GREEN", "LED_0603", "LED",
                    (("K", "GND"), ("A", f"{here}LED{led}_A")))  # fmt: skip
    yield _Part(f"D{first + 3}", "ESD5V", "SOT-23", "TVS diode array",
                (("IO1", f"{here}TXD"), ("IO2", f"{here}RXD"), ("GND", "GND")))  # fmt: skip
    yield _Part(f"Q{first + 1}", "DMG2305", "SOT-23", "P-channel MOSFET",
                (("G", f"{here}GATE_Q"), ("S", rail), ("D", f"{here}SW")))  # fmt: skip
    for number, net in enumerate((rail, sda, scl), 1):
        yield _Part(f"TP{first + number}", "TP", "TestPoint", "Test point", (("", net),))
    beyond = f"/B{index + 1}/"  # what the next block takes from this one
    pins = [("", "GND"), ("", "VBAT"), ("", rail), ("", f"{here}SW"),
            ("", f"{here}TXD"), ("", f"{beyond}RXD")]  # fmt: skip
    for number, count in enumerate(_CONNECTOR_PINS):
        lines = [("", f"{here}IO{4 + (number * 20 + n) % 40}") for n in range(count - len(pins))]
        yield _Part(f"J{first + 1 + number}", f"CONN_{count}", f"Header_{count}", "Connector",
                    (*pins, *lines))  # fmt: skip
