"""The kind of each part: what it is as a component, before any judgement of its role."""

from __future__ import annotations

from enum import StrEnum
from typing import Final


class Kind(StrEnum):
    """Component kinds, the `kind` of a part."""

    RESISTOR = "resistor"
    RESISTOR_ARRAY = "resistor array"
    THERMISTOR = "thermistor"
    VARISTOR = "varistor"
    POTENTIOMETER = "potentiometer"
    CAPACITOR = "capacitor"
    INDUCTOR = "inductor"
    FERRITE = "ferrite bead"
    COMMON_MODE_CHOKE = "common-mode choke"
    TRANSFORMER = "transformer"
    FILTER = "filter"
    FUSE = "fuse"
    DIODE = "diode"
    ZENER = "Zener diode"
    LED = "LED"
    ESD = "ESD protection"
    TRANSISTOR = "transistor"  # bipolar, or not known which
    MOSFET = "MOSFET"
    IC = "integrated circuit"
    CRYSTAL = "crystal"
    OSCILLATOR = "oscillator"
    CONNECTOR = "connector"
    SWITCH = "switch"
    RELAY = "relay"
    JUMPER = "jumper"
    TEST_POINT = "test point"
    BATTERY = "battery"
    MICROPHONE = "microphone"
    SOUNDER = "sounder"
    MOTOR = "motor"
    ANTENNA = "antenna"
    DISPLAY = "display"
    MODULE = "module"
    SOURCE = "source"  # a SPICE voltage or current source
    MECHANICAL = "mechanical"  # holes, fiducials, logos
    UNKNOWN = "unknown"


TRANSISTORS: Final = frozenset({Kind.MOSFET, Kind.TRANSISTOR})
