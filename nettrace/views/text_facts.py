"""Facts of a circuit as short phrases for people: values, voltages, what a net is."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, TypeAlias

from nettrace.circuit.evidence import Bus, BusLine, NetKind, Pull, Role, Severity, Volts
from nettrace.circuit.kinds import Kind
from nettrace.model.board import Part, Pin
from nettrace.values.quantity import engineering, percent
from nettrace.views.text import printable

if TYPE_CHECKING:
    from nettrace.answers import Brief
    from nettrace.circuit.circuit import Circuit

#: What words are made of: a circuit, or what an answer knows of all that it names.
Facts: TypeAlias = "Circuit | Brief"

#: Headings for how bad a loss is.
SEVERITY_WORDS = {
    Severity.BLOCKS: "Does not work without",
    Severity.DEGRADES: "Works worse without",
    Severity.MINOR: "Hardly missed",
    Severity.UNKNOWN: "Effect not known",
}
#: Electrical quantities and their units.
UNITS = {"ohms": "Ω", "farads": "F", "henries": "H"}
#: Below this score a role is called a guess.
DOUBTFUL_SCORE = 0.5
#: Protocols whose names are not simply capitals.
_PROTOCOLS = {"i2c": "I2C", "i3c": "I3C", "i2s": "I2S", "usb2": "USB 2", "usb3": "USB 3",
              "usb-c cc": "USB-C CC", "one-wire": "one-wire", "mipi": "MIPI"}  # fmt: skip


def refdes(facts: Facts, key: str) -> str:
    """Return a part's refdes; its key where the refdes is blank."""
    part = facts.board.part_by_key.get(key)
    return printable((part.refdes or key) if part is not None else key)


def volts_words(volts: Volts | None, unknown: str = "not known") -> str:
    """Return a voltage, or its range: `1.8 V`, `3 to 4.2 V`."""
    if volts is None:
        return unknown
    if volts.min is not None and volts.max is not None and volts.max - volts.min > 1e-9:
        low, high = engineering(volts.min, "V", 3), engineering(volts.max, "V", 3)
        span = f"{low.removesuffix(' V')} to {high}"
        # a tolerance band is no news; a battery's or an adjustable rail's range is
        if volts.nominal is None or (volts.max - volts.min) > 0.15 * abs(volts.nominal):
            return span
    if volts.nominal is None:
        return unknown
    return engineering(volts.nominal, "V", 3)


def basis_words(volts: Volts | None, net: str) -> str:
    """Return what a voltage is known by; the net's own name is not said again."""
    if volts is None:
        return ""
    basis = volts.basis.replace(f"name {net}", "its name")
    return basis.removeprefix("inherited ")


def value_words(facts: Facts, part: Part) -> str:
    """Return the decoded value with its tolerance, else the text as written, else "" ."""
    kind = facts.kinds[part.key]
    if kind.figure is not None:
        value, unit = kind.figure
        text = engineering(value, unit, 4)
        if kind.tolerance is not None and unit == "Ω" and value > 0:
            text += f" {percent(kind.tolerance)}"
    else:
        text = engineering(kind.hertz, "Hz") if kind.hertz else printable(part.value or "")
    return text if kind.fitted else f"{text}, not fitted".lstrip(", ")


def size_words(facts: Facts, part: Part) -> str:
    """Return the chip size, else the package's name without its library."""
    size = facts.kinds[part.key].size_inch
    if size is not None:
        return size
    return printable((part.package or "").rsplit(":", 1)[-1])


def role_words(roles: Iterable[Role]) -> str:
    """Return the best role; a doubtful one is called so."""
    best = next(iter(roles), None)
    if best is None or best.role == "unknown":
        return "role not known"
    return best.role if best.score >= DOUBTFUL_SCORE else f"maybe {best.role}"


def bus_words(bus: Bus) -> str:
    """Return protocol and name of a bus."""
    protocol = _PROTOCOLS.get(bus.protocol, bus.protocol.upper())
    if bus.name.casefold() == bus.protocol.casefold():
        return protocol
    if protocol.casefold() in bus.name.casefold():
        return printable(bus.name)
    return f"{protocol} {printable(bus.name)}"


def bus_line(facts: Facts, net: str) -> tuple[Bus, BusLine] | None:
    """Return the bus and line that a net is a segment of (the first, where it is on several)."""
    lines = ((bus, line) for bus in facts.buses for line in bus.lines)
    return next((both for both in lines if net in (both[1].nets or (both[1].net,))), None)


def net_words(facts: Facts, net: str | None, *, of_bus: bool = True) -> str:
    """Return what a net is in a few words: `ground`, `1.8 V rail`, `I2C SDA, up to 1.8 V`."""
    if net is None:
        return "on no net"
    kind = facts.net_kind(net)
    if kind is NetKind.GROUND:
        return "ground"
    if kind is NetKind.RAIL:
        words = volts_words(facts.volts(net), "")
        return f"{words} rail" if words else "rail, voltage not known"
    if kind is NetKind.UNCONNECTED:
        return "goes nowhere else"
    pulls = [pull for pull in facts.pulls.get(net, ()) if pull.fitted]
    words = "signal"
    if of_bus and (on_bus := bus_line(facts, net)) is not None:
        bus, line = on_bus
        protocol = _PROTOCOLS.get(bus.protocol, bus.protocol.upper())
        words = line.line if protocol.endswith(line.line) else f"{protocol} {line.line}"
    for pull in pulls:
        if pull.direction == "up" and facts.roles(pull.part)[0].role == "thermistor bias":
            fed = engineering(pull.volts, "V", 3) if pull.volts is not None else pull.to
            return f"thermistor line, fed from {printable(fed)}"
    for direction in ("up", "down"):
        to = [pull for pull in pulls if pull.direction == direction]
        if to and to[0].volts is not None and direction == "up":
            words += f", pulled up to {engineering(to[0].volts, 'V', 3)}"
        elif to:
            words += f", pulled {direction}"
    return words


def pull_words(facts: Facts, pull: Pull) -> str:
    """Return a pull: `R7, 2.2 kΩ up to +1V8 (1.8 V), through R9`."""
    ohms = engineering(pull.ohms, "Ω") if pull.ohms is not None else "value not known"
    volts = f" ({engineering(pull.volts, 'V', 3)})" if pull.volts is not None else ""
    behind = ", ".join(refdes(facts, key) for key in pull.through)
    text = f"{refdes(facts, pull.part)}, {ohms} {pull.direction} to {printable(pull.to)}{volts}"
    text += f", through {behind}" if behind else ""
    return text if pull.fitted else f"{text}, not fitted"


def pin_words(facts: Facts, pin: Pin) -> str:
    """Return a pin with its function: `U3.14 SDA`."""
    name = f" {printable(pin.name)}" if pin.name and pin.name not in {pin.number, "~"} else ""
    kind = facts.kinds[pin.part].kind
    if not name and kind in {Kind.CONNECTOR, Kind.BATTERY, Kind.TEST_POINT}:
        name = f" ({kind})"
    return f"{refdes(facts, pin.part)}.{printable(pin.number)}{name}"


def place_words(x: float | None, y: float | None, side: object = None) -> str:
    """Return a place: `12.4, -3.1 mm, top`."""
    if x is None or y is None:
        return "no place in these sources"
    return f"{x:.2f}, {y:.2f} mm" + (f", {side}" if side is not None else "")
