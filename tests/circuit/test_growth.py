"""The passes grow with the board, not with its square: twice the parts, about twice the time.

Measured in calls of Python functions, which a busy machine does not change.
"""

from __future__ import annotations

import sys
from types import FrameType
from typing import Any

from nettrace.circuit.circuit import Circuit
from tests.circuit_language import circuit

#: Calls for four times the parts may be this many times more: linear is 4.
MOST_GROWTH = 4.8

CELL = """U{0} VDD=+3V3 GND=GND SDA=I2C{0}_SDA SCL=I2C{0}_SCL A=SIG{0} EN=EN{0}
C{0}1 +3V3 GND 100n
C{0}2 +3V3 GND 1u
R{0}1 I2C{0}_SDA +3V3 4k7
R{0}2 I2C{0}_SCL +3V3 4k7
R{0}3 EN{0} GND 100k
R{0}4 SIG{0} OUT{0} 22R
FB{0} +3V3 VDDA{0} 600R@100MHz
C{0}3 VDDA{0} GND 100n
J{0} OUT{0} I2C{0}_SDA I2C{0}_SCL VDDA{0} GND"""


def cells(count: int) -> Circuit:
    return circuit("\n".join(CELL.format(number) for number in range(100, 100 + count)))


def calls(found: Circuit) -> int:
    count = 0

    def hook(frame: FrameType, event: str, arg: Any) -> None:  # noqa: ARG001 - the hook's shape
        nonlocal count
        count += 1

    sys.setprofile(hook)
    try:
        assert found.buses
        for net in ("+3V3", "GND", "SIG100"):
            found.reaches(net)
    finally:
        sys.setprofile(None)
    return count


def test_four_times_the_parts_take_four_times_the_calls() -> None:
    calls(cells(10))  # patterns are compiled and modules imported once
    few, many = calls(cells(60)), calls(cells(240))
    print(f"\ncalls: {few} for 600 parts, {many} for 2400 parts: {many / few:.2f} times")
    assert many / few < MOST_GROWTH
