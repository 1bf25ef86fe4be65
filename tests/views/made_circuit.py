"""A small circuit whose findings are given, not inferred: what views and the bench are shown."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import (
    Absence,
    Bus,
    BusLine,
    Link,
    NetKind,
    PartKind,
    Proposal,
    Pull,
    Rail,
    Reach,
    Role,
    Severity,
    Volts,
)
from nettrace.circuit.kinds import Kind
from nettrace.errors import Place
from nettrace.model.board import Board, Side
from nettrace.model.builder import BoardBuilder

LONG_NET = "/Power and charging/Fuel gauge/GAUGE_ALERT_TO_CONTROLLER"

#: refdes -> (value, x, y, side, pins as (number, net, name))
PARTS: dict[str, tuple[str, float, float, Side, list[tuple[str, str | None, str | None]]]] = {
    "U1": ("GAUGE-1", 10.0, 10.0, Side.TOP, [
        ("1", "SDA", "SDA"), ("2", "SCL", "SCL"), ("3", "+1V8", "VDD"), ("4", "GND", "VSS"),
        ("5", LONG_NET, "ALERT"), ("6", "TS", "TS"), ("7", None, "NC")]),
    "R4": ("10k", 11.0, 9.0, Side.TOP, [("1", "TS", None), ("2", "+1V8", None)]),
    "R1": ("2k2", 1.0, 0.0, Side.TOP, [("1", "SDA", None), ("2", "+1V8", None)]),
    "R2": ("2k2", 2.0, 0.0, Side.TOP, [("1", "SCL", None), ("2", "+1V8", None)]),
    "C1": ("100n", 1.0, 1.0, Side.BOTTOM, [("1", "+1V8", None), ("2", "GND", None)]),
    "C2": ("1u", 9.0, 9.0, Side.TOP, [("1", "+1V8", None), ("2", "GND", None)]),
    "R3": ("0R", 0.0, 2.0, Side.TOP, [("1", "NTC", None), ("2", "TS", None)]),
    "J1": ("BATT", 0.0, 0.0, Side.TOP, [("1", "VBAT", None), ("2", "NTC", None),
                                        ("3", "GND", None)]),
    "X[red]": ("?", 3.0, 3.0, Side.TOP, [("1", "ODD\x1b[31mNET", None)]),
}  # fmt: skip


def made_board() -> Board:
    """The board: nine parts around a battery connector at 0,0."""
    builder = BoardBuilder("made.txt", "sheet")
    builder.name = "made"
    for refdes, (value, x, y, side, pins) in PARTS.items():
        part = builder.part(refdes, Place("made.txt", 1, 1))
        part.value, part.x, part.y, part.side = value, x, y, side
        part.package = "Lib:R_0201"
        for index, (number, net, name) in enumerate(pins):
            part.pin(number, net, name=name)
            part.pad(number, net, x + 0.3 * index, y, side, shape="rect", width=0.3, height=0.4)
    builder.warn("made-warning", "one fact was read with care", Place("made.txt", 7, 3))
    return builder.build()


def pulled(part: str) -> Pull:
    return Pull(part, "up", 2200.0, "+1V8", 1.8)


class MadeCircuit(Circuit):
    """A circuit with given findings."""

    @property
    def kinds(self) -> Mapping[str, PartKind]:
        kinds = {
            "U1": Kind.IC, "J1": Kind.CONNECTOR, "R4": Kind.RESISTOR,
            "X[red]": Kind.UNKNOWN, "R1": Kind.RESISTOR,
            "R2": Kind.RESISTOR, "R3": Kind.RESISTOR, "C1": Kind.CAPACITOR, "C2": Kind.CAPACITOR,
        }  # fmt: skip
        ohms = {"R1": 2200.0, "R2": 2200.0, "R3": 0.0, "R4": 10e3}
        farads = {"C1": 1e-7, "C2": 1e-6}
        return {
            key: PartKind(kind, 1.0, ("given",), ohms=ohms.get(key), farads=farads.get(key),
                          size_inch="0201" if key[0] in "RC" else None)
            for key, kind in kinds.items()
        }  # fmt: skip

    @property
    def rails(self) -> Mapping[str, Rail]:
        return MappingProxyType({
            "+1V8": Rail("+1V8", NetKind.RAIL, Volts(1.8, 1.8, 1.8, "name"), None, ("U1",), 1.1e-6,
                         0.9, ("named like a supply",)),
            "GND": Rail("GND", NetKind.GROUND, Volts(0.0, 0.0, 0.0, "name"), None, (), 0.0, 1.0,
                        ("named ground",)),
            "VBAT": Rail("VBAT", NetKind.RAIL, None, "J1", (), 0.0, 0.7, ("from the battery",)),
        })  # fmt: skip

    @property
    def links(self) -> Mapping[str, tuple[Link, ...]]:
        there = Link("R3", "1", "2", "NTC", "TS", "zero-ohm link", 0.0)
        back = Link("R3", "2", "1", "TS", "NTC", "zero-ohm link", 0.0)
        return {"NTC": (there,), "TS": (back,)}

    @property
    def pulls(self) -> Mapping[str, tuple[Pull, ...]]:
        return {"SDA": (pulled("R1"),), "SCL": (pulled("R2"),)}

    @property
    def buses(self) -> tuple[Bus, ...]:
        lines = tuple(
            BusLine(
                name, name, (name,), (pulled(part),), 2200.0, 1.8, "suits fast mode", (967, 3540)
            )
            for name, part in (("SDA", "R1"), ("SCL", "R2"))
        )
        return (Bus("GAUGE", "i2c", lines, ("R1", "R2", "U1"), ("U1",), (), 0.9, ("names",)),)

    def net_kind(self, net: str) -> NetKind:
        if net in self.rails:
            return self.rails[net].kind
        return NetKind.BUS if net in {"SDA", "SCL"} else NetKind.SIGNAL

    def volts(self, net: str) -> Volts | None:
        if net in self.rails:
            return self.rails[net].volts
        return Volts(1.8, None, None, "pull-up to +1V8") if net in {"SDA", "SCL"} else None

    def reaches(self, net: str) -> tuple[Reach, ...]:
        other = {"NTC": "TS", "TS": "NTC"}.get(net)
        return (Reach(other, ("R3",), 0.0),) if other else ()

    def roles(self, part: str) -> tuple[Role, ...]:
        names = {"R1": "pull-up", "R2": "pull-up", "C1": "decoupling", "C2": "decoupling",
                 "R4": "thermistor bias", "R3": "zero-ohm link",
                 "J1": "connector", "U1": "fuel gauge"}  # fmt: skip
        return (Role(names.get(part, "unknown"), 0.9, ("given",)),)

    def absence(self, part: str) -> Absence:
        given = {
            "R1": Absence(Severity.BLOCKS, ("SDA cannot rise",)),
            "R2": Absence(Severity.BLOCKS, ("SCL cannot rise",)),
            "R3": Absence(Severity.BLOCKS, ("the pack's thermistor is cut off: no charging",),
                          then="no charging"),
            "R4": Absence(Severity.BLOCKS, ("TS lies at 0 V: no charging",), then="no charging"),
            "C1": Absence(Severity.MINOR, ("+1V8 keeps most of its decoupling",)),
            "J1": Absence(Severity.BLOCKS, ("no battery",)),
        }  # fmt: skip
        return given.get(part, Absence(Severity.UNKNOWN, ()))

    def proposals(self, part: str) -> tuple[Proposal, ...]:
        if part != "X[red]":
            return ()
        return (Proposal("pull-up", "ohms", 1000.0, 10e3, (2200.0, 4700.0), 0.4, ("given",)),)


def made_circuit() -> MadeCircuit:
    return MadeCircuit(made_board())
