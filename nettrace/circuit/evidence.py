"""The shapes of inferred claims: every one says why, and how sure it is.

These are the result types of the passes in this room; views and the JSON are made from them. Those
that a large board has by the ten thousand are msgspec structs: a frozen dataclass takes several
times as long to make, and the collector of cyclic garbage walks it. None of them can be in a cycle.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from msgspec import Struct

from nettrace.circuit.kinds import Kind


class PartKind(Struct, frozen=True, gc=False):
    """What a part is, its decoded values in SI units, and why we think so.

    `values` hold what the value text states: None where it does not.
    """

    kind: Kind
    score: float
    because: tuple[str, ...]
    ohms: float | None = None
    farads: float | None = None
    henries: float | None = None
    hertz: float | None = None
    tolerance: float | None = None  # fraction: 0.01 is 1 %
    rated_volts: float | None = None
    rated_amperes: float | None = None
    rated_watts: float | None = None
    size_inch: str | None = None  # "0402"
    dielectric: str | None = None
    fitted: bool = True  # False where a note, an attribute or the value text says so

    @property
    def figure(self) -> tuple[float, str] | None:
        """The value that names the part, with its unit; a coil's is henries, never its ohms."""
        first = self.kind in {Kind.INDUCTOR, Kind.FERRITE, Kind.COMMON_MODE_CHOKE}
        figures = ((self.ohms, "Ω"), (self.farads, "F"), (self.henries, "H"))
        for value, unit in reversed(figures) if first else figures:
            if value is not None and not (first and unit == "Ω"):
                return value, unit
        return None


class NetKind(StrEnum):
    """What a net is, in a word."""

    GROUND = "ground"
    RAIL = "rail"
    BUS = "bus"
    SIGNAL = "signal"
    UNCONNECTED = "unconnected"


class Volts(Struct, frozen=True, gc=False):
    """A voltage with its basis in words (`name`, `note`, `feedback divider R7/R8...`), V.

    `from_parts` are the keys of the parts that it rests on: without one of them it is not known.
    """

    nominal: float | None
    min: float | None
    max: float | None
    basis: str
    score: float = 1.0
    from_parts: tuple[str, ...] = ()


class Rail(Struct, frozen=True, gc=False):
    """A ground or supply net.

    `source` is the part that feeds it (regulator, connector, battery, link), None if not seen;
    `loads` are part keys of what it supplies, in natural order; `others` are voltages that lost.
    """

    net: str
    kind: NetKind  # GROUND or RAIL
    volts: Volts | None
    source: str | None
    loads: tuple[str, ...]
    decoupling_farads: float | None  # None where capacitors are there and none states a value
    score: float
    because: tuple[str, ...]
    linked: tuple[tuple[str, str], ...] = ()  # (part key, other net) of links to further rails
    others: tuple[Volts, ...] = ()


class Link(Struct, frozen=True, gc=False):
    """A part that passes a signal or current from one net to another.

    `ohms` is the DC resistance where known (0 for a link, bead or inductor without figure);
    `conditional` says what must hold (`while the load switch is on`), "" for always.
    """

    part: str
    from_pin: str
    to_pin: str
    from_net: str
    to_net: str
    kind: str  # resistor, zero-ohm link, ferrite bead, inductor, fuse, filter, switch...
    ohms: float | None
    conditional: str = ""


class Reach(Struct, frozen=True, gc=False):
    """A net that is reached through series parts: which, and the resistance summed."""

    net: str
    through: tuple[str, ...]
    ohms: float | None
    conditional: str = ""


class Pull(Struct, frozen=True, gc=False):
    """A resistor from a net, or from one it reaches (`through` is set), to a rail or ground."""

    part: str
    direction: str  # "up" or "down"
    ohms: float | None
    to: str
    volts: float | None
    through: tuple[str, ...] = ()
    fitted: bool = True


@dataclass(frozen=True, slots=True)
class BusLine:
    """One signal of a bus with all its segments.

    `net` is the main segment; `nets` all of them; `verdict` is the judgement of the pull-up
    (None where the line needs none).
    """

    line: str  # SDA, SCL, MOSI, D+, CC1...
    net: str
    nets: tuple[str, ...]
    pulls: tuple[Pull, ...] = ()
    pull_ohms: float | None = None
    volts: float | None = None
    verdict: str | None = None
    limits_ohms: tuple[float, float] | None = None  # window by UM10204 for mode and capacitance


@dataclass(frozen=True, slots=True)
class Bus:
    """A serial bus: `parts` on any line, `devices` the active ones, `through` joins segments."""

    name: str
    protocol: str  # lower case: i2c, spi, qspi, uart, usb2, usb-c cc, sd, swd, jtag, i2s, pdm...
    lines: tuple[BusLine, ...]
    parts: tuple[str, ...]
    devices: tuple[str, ...]
    through: tuple[str, ...]
    score: float
    because: tuple[str, ...]


class Role(Struct, frozen=True, gc=False):
    """A candidate role, a word of knowledge/roles.toml, its score and its evidence in words."""

    role: str
    score: float
    because: tuple[str, ...]


class Severity(StrEnum):
    """How badly it hurts when a part is missing, worst first."""

    BLOCKS = "blocks"
    DEGRADES = "degrades"
    MINOR = "minor"
    UNKNOWN = "unknown"

    @property
    def rank(self) -> int:
        """0 for the worst."""
        return list(Severity).index(self)


@dataclass(frozen=True, slots=True)
class Absence:
    """What happens without a part, in a technician's words.

    `lost` is what a chip no longer reads: "temperature", or "" where it is nothing of the sort;
    `then` what follows from the first effect, in the words it ends with, or "".
    """

    severity: Severity
    effects: tuple[str, ...]
    lost: str = ""
    then: str = ""


@dataclass(frozen=True, slots=True)
class Proposal:
    """What a missing position likely was: role, value range (SI units) and first choices."""

    role: str
    quantity: str  # ohms, farads, henries
    at_least: float | None
    at_most: float | None
    choices: tuple[float, ...]  # likeliest first
    score: float
    because: tuple[str, ...]
    package: str | None = None
