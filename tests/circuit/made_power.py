"""Random but electrically right supply trees, each with its full truth, in four styles of naming.

A board is made of sources (a USB-C sink, a barrel jack, one cell, a stack, a coin cell), what
stands between (charger, fuse, bead, shunt, load switch), converters and linear regulators of known
families, and loads with their decoupling. What feeds what, at which voltage, and what stops
without a part is known because it was built that way.

The styles: TELLING (names with volts, pin functions), PLAIN (names without volts, pin functions),
AUTOMATIC (`Net-(U3-VOUT)`, pin functions), BARE (`Net-(C7-Pad1)`, numbered pins).

Families, their pins and references: the makers' data sheets named in `FAMILIES`; pin *numbers* are
made up where a test does not need them, since a netlist states the function beside the number.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple


class Style(StrEnum):
    """How much the names of a file tell."""

    TELLING = "telling"
    PLAIN = "plain"
    AUTOMATIC = "automatic"
    BARE = "bare"


class How(StrEnum):
    """What a rail's voltage is known by, apart from its name."""

    FIXED = "fixed output in the part number"
    DIVIDER = "divider with the family's reference"
    USB = "bus power of a USB-C sink"
    CELL = "a lithium cell"
    COIN = "a coin cell"
    PASSED = "the rail it comes from"
    CHIP = "what the chip's data sheet says of the pin"
    UNKNOWN = "nothing in the file"


@dataclass
class MadeRail:
    """A rail as it was built; nets are numbers until a style names them."""

    net: int
    volts: float | None  # None: nobody could tell from the file, whatever its names
    how: How
    source: str  # refdes; "" for none
    source_pin: str
    parent: int | None
    via: tuple[str, ...] = ()
    enable: int | None = None
    low: float = 0.0  # bounds where it is a cell
    high: float = 0.0
    internal: bool = False
    others: tuple[int, ...] = ()  # further rails that feed it
    telling: str = ""
    plain: str = ""


@dataclass
class MadePart:
    """A part: `pins` are (number, function, electrical type, net)."""

    refdes: str
    value: str
    package: str
    description: str
    pins: tuple[tuple[str, str, str, int], ...]


@dataclass(frozen=True)
class Without:
    """What stops without a part: allowed severities, danger, the rails that die or go high."""

    severity: frozenset[str]
    danger: bool
    lost: frozenset[int]
    high: frozenset[int] = frozenset()


class Family(NamedTuple):
    """A chip family with what a board needs around it."""

    value: str  # `{volts}` where the part number states the output
    pins: tuple[tuple[str, str], ...]  # (function, what is on it)
    reference: float | None = None
    choices: tuple[str, ...] = ()  # how a part number spells the volts
    source: str = ""


#: What a pin is on: in, out, gnd, en, sw, fb, bst (capacitor to sw), cap (own capacitor),
#: ss (timing capacitor), nc, pg (pull-up to out).
LINEAR_FIXED = (
    Family("AP2112K-{volts}", (("VIN", "in"), ("GND", "gnd"), ("EN", "en"), ("NC", "nc"),
           ("VOUT", "out")), None, ("1.8", "2.5", "2.6", "3.3"), "Diodes AP2112"),
    Family("MCP1700-{volts}", (("GND", "gnd"), ("VO", "out"), ("VI", "in")), None,
           ("1802E", "2502E", "3302E", "5002E"), "Microchip DS20001826"),
    Family("AMS1117-{volts}", (("GND", "gnd"), ("VO", "out"), ("VI", "in")), None,
           ("1.8", "3.3", "5.0"), "AMS1117"),
    Family("TLV70{volts}", (("IN", "in"), ("GND", "gnd"), ("EN", "en"), ("NC", "nc"),
           ("OUT", "out")), None, ("018", "025", "033"), "TI SLVSA00"),
)  # fmt: skip
LINEAR_SET = (
    Family("AP2127K-ADJ", (("VIN", "in"), ("GND", "gnd"), ("EN", "en"), ("ADJ", "fb"),
           ("VOUT", "out")), 0.8, (), "Diodes DS36478"),
    Family("AP7361C-ADJ", (("EN", "en"), ("GND", "gnd"), ("ADJ", "fb"), ("IN", "in"),
           ("OUT", "out")), 0.8, (), "Diodes DS37274"),
)  # fmt: skip
BUCKS = (
    Family("TPS62130", (("VIN", "in"), ("SW", "sw"), ("VOS", "out"), ("FB", "fb"), ("EN", "en"),
           ("PG", "pg"), ("SS/TR", "ss"), ("GND", "gnd")), 0.8, (), "TI SLVSAG7F"),
    Family("TLV62569", (("EN", "en"), ("GND", "gnd"), ("SW", "sw"), ("VIN", "in"), ("FB", "fb")),
           0.6, (), "TI TLV62569"),
    Family("TPS62826", (("VIN", "in"), ("GND", "gnd"), ("SW", "sw"), ("FB", "fb"), ("EN", "en"),
           ("PG", "pg")), 0.6, (), "TI JAJSEU1B"),
    Family("MP2307", (("BS", "bst"), ("IN", "in"), ("SW", "sw"), ("GND", "gnd"), ("FB", "fb"),
           ("COMP", "ss"), ("EN", "en"), ("SS", "ss")), 0.925, (), "MPS MP2307 rev. 1.9"),
    Family("SY8089A", (("EN", "en"), ("GND", "gnd"), ("LX", "sw"), ("IN", "in"), ("FB", "fb")),
           0.6, (), "Silergy AN_SY8088"),
    Family("AP63200", (("FB", "fb"), ("EN", "en"), ("VIN", "in"), ("GND", "gnd"), ("SW", "sw"),
           ("BST", "bst")), 0.8, (), "Diodes AP63200 series"),
    Family("RT8097A", (("EN", "en"), ("GND", "gnd"), ("LX", "sw"), ("VIN", "in"), ("FB", "fb")),
           0.6, (), "Richtek DS8097B-01"),
)  # fmt: skip
BUCKS_FIXED = (
    Family("AP63{volts}", (("FB", "out"), ("EN", "en"), ("VIN", "in"), ("GND", "gnd"), ("SW", "sw"),
           ("BST", "bst")), None, ("203", "205"), "Diodes AP63200 series"),
)  # fmt: skip
BOOSTS = (
    Family("TPS61040", (("SW", "sw"), ("GND", "gnd"), ("FB", "fb"), ("EN", "en"), ("VIN", "in")),
           1.233, (), "TI TPS61040"),
    Family("AP3012", (("SW", "sw"), ("GND", "gnd"), ("FB", "fb"), ("SHDN", "en"), ("VIN", "in")),
           1.25, (), "Diodes AP3012"),
)  # fmt: skip
SWITCHES = (
    Family("TPS22918", (("VIN", "in"), ("GND", "gnd"), ("ON", "en"), ("CT", "ss"), ("QOD", "nc"),
           ("VOUT", "out")), None, (), "TI TPS22918"),
    Family("AP22804", (("OUT", "out"), ("GND", "gnd"), ("EN", "en"), ("IN", "in")), None, (),
           "Diodes AP22804"),
)  # fmt: skip
CHARGERS = (
    Family("MCP73831", (("STAT", "led"), ("VSS", "gnd"), ("VBAT", "out"), ("VDD", "in"),
           ("PROG", "set")), None, (), "Microchip DS20001984"),
    Family("TP4056", (("TEMP", "gnd"), ("PROG", "set"), ("GND", "gnd"), ("VCC", "in"),
           ("BAT", "out"), ("STDBY", "nc"), ("CHRG", "led"), ("CE", "in")), None, (), "TP4056"),
)  # fmt: skip
#: How a part number's digits are read.
SPELT = {"203": 3.3, "205": 5.0, "018": 1.8, "025": 2.5, "033": 3.3,
         "1802E": 1.8, "2502E": 2.5, "3302E": 3.3, "5002E": 5.0}  # fmt: skip
TYPES = {"in": "power_in", "out": "power_out", "gnd": "power_in", "en": "input", "sw": "output",
         "fb": "input", "bst": "passive", "cap": "passive", "ss": "passive", "nc": "no_connect",
         "pg": "open_collector", "led": "open_collector", "set": "passive"}  # fmt: skip
#: Resistor pairs for a divider, lower leg in ohms; the upper follows.
LOWER = (10e3, 22e3, 47e3, 100e3)
USUAL = (1.0, 1.1, 1.2, 1.5, 1.8, 2.5, 2.8, 3.0, 3.3, 5.0)


@dataclass
class MadeBoard:
    """A made board with its truth."""

    seed: int
    parts: list[MadePart] = field(default_factory=list)
    rails: dict[int, MadeRail] = field(default_factory=dict)
    signals: dict[int, tuple[str, str]] = field(default_factory=dict)  # net -> telling, plain
    without: dict[str, Without] = field(default_factory=dict)
    ground: int = 0

    def name_of(self, net: int, style: Style) -> str:
        """Return what a net is called in a style."""
        if net == self.ground:
            return "GND"
        if style in {Style.TELLING, Style.PLAIN}:
            if net in self.rails:
                rail = self.rails[net]
                return rail.telling if style is Style.TELLING else rail.plain
            telling, plain = self.signals[net]
            return telling if style is Style.TELLING else plain
        pins = [
            (part.refdes, number, function)
            for part in self.parts
            for number, function, _, on in part.pins
            if on == net
        ]
        chips = [pin for pin in pins if pin[0][0] == "U"]
        refdes, number, function = min(chips or pins) if style is Style.AUTOMATIC else min(pins)
        if style is Style.AUTOMATIC and function:
            return f"Net-({refdes}-{function})"
        return f"Net-({refdes}-Pad{number})"

    def names(self, style: Style) -> dict[int, str]:
        """Return the name of each net in a style; unlike nets are named unlike."""
        nets = {on for part in self.parts for *_, on in part.pins}
        named: dict[int, str] = {}
        taken: set[str] = set()
        for net in sorted(nets):
            name = self.name_of(net, style)
            while name in taken:
                name += "_"
            taken.add(name)
            named[net] = name
        return named

    def text(self, style: Style) -> str:
        """Return the board as an s-expression netlist."""
        named = self.names(style)
        rows = ['(export (version "E")', '  (design (source "made"))', "  (components"]
        rows += [
            f'    (comp (ref "{part.refdes}") (value "{part.value}") '
            f'(footprint "Made:{part.package}") '
            f'(libsource (lib "made") (part "x") (description "{part.description}")))'
            for part in self.parts
        ]
        rows += ["  )", "  (nets"]
        for code, net in enumerate(sorted(named), 1):
            rows.append(f'    (net (code "{code}") (name "{named[net]}")')
            for part in self.parts:
                for number, function, kind, on in part.pins:
                    if on != net:
                        continue
                    what = ""
                    if style is not Style.BARE and function:
                        what = f' (pinfunction "{function}") (pintype "{kind}")'
                    rows.append(f'      (node (ref "{part.refdes}") (pin "{number}"){what})')
            rows.append("    )")
        return "\n".join([*rows, "  )", ")", ""])

    def below(self, net: int) -> frozenset[int]:
        """Return a rail and all rails that hang on it alone."""
        found = {net}
        while True:
            more = {
                n
                for n, rail in self.rails.items()
                if rail.parent in found and all(other in found for other in rail.others)
            } - found
            if not more:
                return frozenset(found)
            found |= more


class _Maker:
    """Builds one board."""

    def __init__(self, seed: int) -> None:
        self.chance = random.Random(seed)
        self.board = MadeBoard(seed)
        self.counts: dict[str, int] = {}
        self.nets = 0
        self.letters = iter("ABCDEFGHJKLMNPQRSTUVWXYZ")
        self.volt_names: dict[str, int] = {}
        self.bus: int | None = None  # bus power of a USB-C sink
        self.good: list[int] = []  # power-good lines that are free to enable something

    def net(self, telling: str, plain: str | None = None) -> int:
        """Return a new signal net."""
        self.nets += 1
        self.board.signals[self.nets] = (
            f"{telling}_{self.nets}",
            f"{plain or telling}_{self.nets}",
        )
        return self.nets

    def refdes(self, letter: str) -> str:
        self.counts[letter] = self.counts.get(letter, 0) + 1
        return f"{letter}{self.counts[letter]}"

    def part(self, letter: str, value: str, package: str, words: str,
             pins: Sequence[tuple[str, str, int]]) -> str:  # fmt: skip
        """Add a part; pins are (function, electrical type, net). Returns its refdes."""
        refdes = self.refdes(letter)
        rows = tuple((str(n), function, kind, net)
                     for n, (function, kind, net) in enumerate(pins, 1))  # fmt: skip
        self.board.parts.append(MadePart(refdes, value, package, words, rows))
        return refdes

    def two(self, letter: str, value: str, one: int, other: int, package: str = "") -> str:
        """Add a part of two pins."""
        packages = {"R": "R_0402_1005Metric", "C": "C_0402_1005Metric", "L": "L_0805_2012Metric",
                    "FB": "L_0603_1608Metric", "F": "Fuse_1206_3216Metric",
                    "D": "D_SOD-323"}  # fmt: skip
        ends = (("K", "passive", one), ("A", "passive", other)) if letter == "D" else (
            ("", "passive", one), ("", "passive", other))  # fmt: skip
        return self.part(letter, value, package or packages[letter], "", ends)

    def rail(self, volts: float | None, how: How, source: str, pin: str, parent: int | None,
             word: str = "", **more: object) -> int:  # fmt: skip
        """Add a rail on a new net."""
        self.nets += 1
        return self.rail_on(self.nets, volts, how, source, pin, parent, word, **more)

    def rail_on(self, net: int, volts: float | None, how: How, source: str, pin: str,
                parent: int | None, word: str = "", **more: object) -> int:  # fmt: skip
        plain = f"PWR_{next(self.letters)}"
        telling = word or plain
        if not word and volts is not None:
            whole, tenths = divmod(round(volts * 10), 10)
            telling = f"+{whole}V{tenths}"
            count = self.volt_names[telling] = self.volt_names.get(telling, 0) + 1
            telling += f"_{plain[-1]}" if count > 1 else ""
        self.board.rails[net] = MadeRail(
            net,
            volts,
            how,
            source,
            pin,
            parent,
            telling=telling,
            plain=plain,
            **more,  # type: ignore[arg-type]
        )
        self.board.signals.pop(net, None)
        return net

    def decouple(self, net: int, count: int = 2) -> None:
        """Add capacitors to ground."""
        for value in self.chance.choices(("100nF", "1uF", "10uF", "22uF"), k=count):
            self.two("C", value, net, self.board.ground)

    def load(self, net: int) -> None:
        """Add a chip that lives on a rail, with its capacitor and a little around it."""
        ground = self.board.ground
        sda, scl = self.net("SDA"), self.net("SCL")
        interrupt = self.net("INT")
        self.part("U", self.chance.choice(("BME280", "LIS2DH12", "TMP117", "W25Q64JV")),
                  "QFN-16", "", (("VDD", "power_in", net), ("GND", "power_in", ground),
                                 ("SDA", "bidirectional", sda), ("SCL", "input", scl),
                                 ("INT", "output", interrupt)))  # fmt: skip
        if self.chance.random() < 0.25 and (self.board.rails[net].volts or 0) == 3.3:
            self.core(net)
        self.part("J", "Conn_01x04", "PinHeader_1x04", "",
                  (("", "passive", ground), ("", "passive", sda), ("", "passive", scl),
                   ("", "passive", interrupt)))  # fmt: skip
        for line in (sda, scl):
            self.two("R", "4.7k", line, net)
        self.decouple(net, 1)

    def core(self, net: int) -> None:
        """Add a controller with its own core regulator (RP2040 data sheet: VREG_VOUT 1.1 V)."""
        ground = self.board.ground
        core = self.rail(1.1, How.CHIP, "", "2", net, "+1V1", internal=True)
        io = self.net("GPIO0"), self.net("GPIO1")
        refdes = self.part("U", "RP2040", "QFN-56", "", (
            ("VREG_IN", "power_in", net), ("VREG_VOUT", "power_out", core),
            ("DVDD", "power_in", core), ("IOVDD", "power_in", net), ("GND", "power_in", ground),
            ("GPIO0", "bidirectional", io[0]), ("GPIO1", "bidirectional", io[1])))  # fmt: skip
        self.board.rails[core].source = refdes
        self.decouple(core)
        self.part("J", "Conn_01x02", "PinHeader_1x02", "", (("", "passive", io[0]),
                                                            ("", "passive", io[1])))  # fmt: skip


def make_board(seed: int) -> MadeBoard:
    """Return a board, always the same for the same seed."""
    maker = _Maker(seed)
    chance = maker.chance
    roots = [chance.choice((_usb, _usb, _jack, _coin, _stack))(maker)]
    if maker.bus is not None and chance.random() < 0.7:
        roots.append(chance.choice((_charged_cell, _power_path))(maker, roots[0]))
    elif maker.bus is not None and chance.random() < 0.5:
        roots.append(_either(maker, roots[0], _coin_cell_pack(maker)))
    rails = list(roots[-1:])
    for _ in range(chance.randint(2, 6)):
        parent = chance.choice(rails)
        made = _onward(maker, parent)
        if made is not None:
            rails.append(made)
    for net in rails:
        if chance.random() < 0.8 or maker.board.rails[net].parent is not None:
            maker.load(net)
    return maker.board


def _usb(maker: _Maker) -> int:
    """A USB-C sink: both CC pins have 5.1 kΩ to ground (USB Type-C, Rd)."""
    ground = maker.board.ground
    cc1, cc2, plus, minus = (maker.net(word) for word in ("CC1", "CC2", "USB_DP", "USB_DM"))
    net = maker.bus = maker.rail(5.0, How.USB, "J1", "1", None, "VBUS", low=4.4, high=5.5)
    maker.part("J", "USB_C_Receptacle", "USB_C_Receptacle_GCT", "USB Type-C receptacle",
               (("VBUS", "passive", net), ("GND", "passive", ground), ("CC1", "bidirectional", cc1),
                ("CC2", "bidirectional", cc2), ("D+", "bidirectional", plus),
                ("D-", "bidirectional", minus)))  # fmt: skip
    for cc in (cc1, cc2):
        maker.two("R", "5.1k", cc, ground)
    maker.part("U", "CP2102N", "QFN-24", "", (("D+", "bidirectional", plus),
               ("D-", "bidirectional", minus), ("GND", "power_in", ground)))  # fmt: skip
    maker.decouple(net)
    return _behind(maker, net) if maker.chance.random() < 0.6 else net


def _jack(maker: _Maker) -> int:
    """A barrel jack: nothing in the file says what is plugged in, unless the name does."""
    net = maker.rail(None, How.UNKNOWN, "J1", "1", None, "VIN")
    maker.part("J", "Barrel_Jack", "BarrelJack_Horizontal", "DC barrel jack",
               (("", "passive", net), ("", "passive", maker.board.ground)))  # fmt: skip
    maker.decouple(net, 3)
    return _behind(maker, net) if maker.chance.random() < 0.6 else net


def _coin(maker: _Maker) -> int:
    net = maker.rail(3.0, How.COIN, "BT1", "1", None, "VBAT", low=2.0, high=3.4)
    maker.part("BT", "CR2032", "BatteryHolder_CR2032", "coin cell",
               (("+", "passive", net), ("-", "passive", maker.board.ground)))  # fmt: skip
    maker.decouple(net)
    return net


def _behind(maker: _Maker, parent: int) -> int:
    """Put a fuse, a bead, a link or a shunt behind a rail."""
    above = maker.board.rails[parent]
    letter, value = maker.chance.choice(
        (("F", "500mA"), ("FB", "600R@100MHz"), ("R", "0R"), ("R", "10mR"))
    )
    net = maker.rail(above.volts, How.PASSED if above.how is not How.UNKNOWN else How.UNKNOWN, "",
                     "2", parent, "" if above.volts else "VIN_F", low=above.low,
                     high=above.high)  # fmt: skip
    refdes = maker.two(letter, value, parent, net)
    rail = maker.board.rails[net]
    rail.source = refdes
    if above.volts:
        rail.telling = f"{above.telling}_F"
    maker.decouple(net)
    _remember(maker, refdes, net)
    return net


def _remember(maker: _Maker, refdes: str, net: int) -> None:
    """Note that the rail and what hangs on it die without the part (filled in at the end)."""
    maker.board.without[refdes] = Without(frozenset({"blocks"}), False, frozenset({net}))


def _charged_cell(maker: _Maker, bus: int) -> int:
    """A lithium cell at a small connector, and its charger."""
    family = maker.chance.choice(CHARGERS)
    ground = maker.board.ground
    net = maker.rail(3.7, How.CELL, "", "1", None, "VBAT", low=2.5, high=4.35)
    prog, light = maker.net("PROG"), maker.net("CHG_LED")
    where = {"in": bus, "out": net, "gnd": ground, "set": prog, "led": light}
    maker.part("U", family.value, "SOT-23-5", "charger",
               [(function, TYPES[what], where[what] if what in where else maker.net(function))
                for function, what in family.pins])  # fmt: skip
    maker.two("R", "2k", prog, ground)
    middle = maker.net("LED_A")
    maker.two("R", "1k", bus, middle)
    maker.two("D", "LED_RED", light, middle, "LED_0603_1608Metric")
    maker.board.rails[net].source = maker.part(
        "J", "JST_PH_2", "JST_PH_S2B_1x02", "battery connector LiPo",
        (("BAT+", "passive", net), ("BAT-", "passive", ground)),
    )  # fmt: skip
    maker.decouple(net)
    return net


def _onward(maker: _Maker, parent: int) -> int | None:
    """Make a rail from a rail: what kind depends on what stands there."""
    volts = maker.board.rails[parent].volts
    low = maker.board.rails[parent].low or volts
    kinds = [_behind, _switch, _transistor]
    if low is not None and 2.7 <= low <= 5.5:
        kinds.append(_sensor)
    if low is None or low > 1.6:
        kinds += [_linear, _buck, _buck, _linear]
    if low is not None and low < 5.5:
        kinds.append(_boost)
    return maker.chance.choice(kinds)(maker, parent)


def _outputs(maker: _Maker, parent: int, headroom: float) -> list[float]:
    above = maker.board.rails[parent]
    most = (above.low or above.volts or 6.0) - headroom
    return [volts for volts in USUAL if volts <= most]


def _chip(maker: _Maker, family: Family, value: str, where: Mapping[str, int]) -> str:
    """Add a chip of a family with the small parts its pins want."""
    pins = []
    for function, what in family.pins:
        if what in where:
            net = where[what]
        else:
            net = maker.net(function.replace("/", "_"))
            if what == "bst":
                maker.two("C", "100nF", net, where["sw"])
            elif what == "ss":
                maker.two("C", "10nF", net, maker.board.ground)
            elif what == "pg":
                maker.two("R", "100k", net, where["out"])
                maker.good.append(net)
        pins.append((function, TYPES[what], net))
    return maker.part("U", value, "SOT-23-6" if len(pins) > 5 else "SOT-23-5", "", pins)


def _enable(maker: _Maker, family: Family, parent: int) -> tuple[int | None, str | None]:
    """Return the enable's net and its pull-up: tied to the input, or pulled up to it."""
    if all(what != "en" for _, what in family.pins):
        return None, None
    if maker.good and maker.chance.random() < 0.6:
        return maker.good.pop(), None
    if maker.chance.random() < 0.5:
        return parent, None
    net = maker.net("EN")
    return net, maker.two("R", "100k", net, parent)


def _divider(maker: _Maker, out: int, tap: int, reference: float, volts: float) -> float:
    """Add a feedback divider; return the volts that its standard values give."""
    lower = maker.chance.choice(LOWER)
    upper = _e96(lower * (volts / reference - 1))
    high = maker.two("R", _ohms(upper), out, tap)
    low = maker.two("R", _ohms(lower), tap, maker.board.ground)
    maker.board.without[high] = Without(frozenset({"blocks", "degrades"}), True, frozenset(),
                                        frozenset({out}))  # fmt: skip
    maker.board.without[low] = Without(frozenset({"blocks", "degrades"}), False, frozenset({out}))
    return reference * (1 + upper / lower)


def _e96(ohms: float) -> float:
    """Return the nearest value of E96 (IEC 60063)."""
    decade = 1.0
    while ohms / decade >= 1000:
        decade *= 10
    while ohms / decade < 100:
        decade /= 10
    series = [round(100 * 10 ** (n / 96)) for n in range(97)]
    return min(series, key=lambda value: abs(value - ohms / decade)) * decade


def _ohms(value: float) -> str:
    for limit, unit in ((1e6, "M"), (1e3, "k")):
        if value >= limit:
            return f"{value / limit:.4g}{unit}"
    return f"{value:.4g}R"


def _linear(maker: _Maker, parent: int) -> int | None:
    chance = maker.chance
    fixed = chance.random() < 0.6
    family = chance.choice(LINEAR_FIXED if fixed else LINEAR_SET)
    enable, pull = _enable(maker, family, parent)
    room = 0.2 if "1117" not in family.value else 1.1
    if fixed:
        allowed = _outputs(maker, parent, room)
        spelt = [s for s in family.choices if (SPELT.get(s) or float(s)) in allowed]
        if not spelt:
            return None
        word = chance.choice(spelt)
        volts, value = SPELT.get(word) or float(word), family.value.format(volts=word)
    else:
        allowed = _outputs(maker, parent, room)
        if not allowed:
            return None
        volts, value = chance.choice(allowed), family.value
    net = maker.rail(volts, How.FIXED if fixed else How.DIVIDER, "", "", parent, enable=enable)
    where = {"in": parent, "out": net, "gnd": maker.board.ground}
    if enable is not None:
        where["en"] = enable
    tap = None
    if not fixed:
        tap = where["fb"] = maker.net("FB")
        volts = _divider(
            maker, net, tap, family.reference or 0, max(volts, (family.reference or 0) * 1.2)
        )
    refdes = _chip(maker, family, value, where)
    _finish(maker, net, volts, refdes, family, "out", (), pull)
    return net


def _finish(maker: _Maker, net: int, volts: float, refdes: str, family: Family, pin: str,
            via: tuple[str, ...], pull: str | None) -> None:  # fmt: skip
    rail = maker.board.rails[net]
    rail.volts, rail.source, rail.via = volts, refdes, via
    rail.source_pin = str(1 + next(n for n, (_, what) in enumerate(family.pins) if what == pin))
    whole, tenths = divmod(round(volts * 10), 10)
    rail.telling = f"+{whole}V{tenths}_{rail.plain[-1]}"
    maker.decouple(net)
    for each in (refdes, *via, *((pull,) if pull else ())):
        _remember(maker, each, net)


def _buck(maker: _Maker, parent: int) -> int | None:
    chance = maker.chance
    allowed = _outputs(maker, parent, 0.3)
    fixed = chance.random() < 0.2
    family = chance.choice(BUCKS_FIXED if fixed else BUCKS)
    if fixed:
        spelt = [s for s in family.choices if SPELT[s] in allowed]
        if not spelt:
            return None
        word = chance.choice(spelt)
        volts, value = SPELT[word], family.value.format(volts=word)
    else:
        allowed = [volts for volts in allowed if volts > (family.reference or 0) * 1.1]
        if not allowed:
            return None
        volts, value = chance.choice(allowed), family.value
    enable, pull = _enable(maker, family, parent)
    net = maker.rail(volts, How.FIXED if fixed else How.DIVIDER, "", "", parent, enable=enable)
    node = maker.net("SW")
    where = {"in": parent, "out": net, "gnd": maker.board.ground, "sw": node}
    if enable is not None:
        where["en"] = enable
    if not fixed:
        where["fb"] = maker.net("FB")
        volts = _divider(maker, net, where["fb"], family.reference or 0, volts)
    refdes = _chip(maker, family, value, where)
    coil = maker.two("L", chance.choice(("1uH", "2.2uH", "4.7uH", "10uH")), node, net)
    _finish(maker, net, volts, refdes, family, "sw", (coil,), pull)
    return net


def _boost(maker: _Maker, parent: int) -> int | None:
    chance = maker.chance
    family = chance.choice(BOOSTS)
    volts = chance.choice((9.0, 12.0, 15.0))
    enable, pull = _enable(maker, family, parent)
    net = maker.rail(volts, How.DIVIDER, "", "", parent, enable=enable)
    node = maker.net("SW")
    where = {"in": parent, "gnd": maker.board.ground, "sw": node, "fb": maker.net("FB")}
    if enable is not None:
        where["en"] = enable
    volts = _divider(maker, net, where["fb"], family.reference or 0, volts)
    refdes = _chip(maker, family, family.value, where)
    maker.two("L", "10uH", parent, node)
    diode = maker.two("D", "SS14", net, node, "D_SMA")
    _finish(maker, net, volts, refdes, family, "sw", (diode,), pull)
    return net


def _switch(maker: _Maker, parent: int) -> int | None:
    above = maker.board.rails[parent]
    family = maker.chance.choice(SWITCHES)
    enable, pull = _enable(maker, family, parent)
    how = How.UNKNOWN if above.how is How.UNKNOWN else How.PASSED
    net = maker.rail(above.volts, how, "", "", parent, enable=enable, low=above.low,
                     high=above.high)  # fmt: skip
    where = {"in": parent, "out": net, "gnd": maker.board.ground, "en": enable or parent}
    refdes = _chip(maker, family, family.value, where)
    rail = maker.board.rails[net]
    rail.source = refdes
    rail.source_pin = str(1 + next(n for n, (_, what) in enumerate(family.pins) if what == "out"))
    rail.telling = f"{above.telling}_SW"
    maker.decouple(net)
    for each in (refdes, *((pull,) if pull else ())):
        _remember(maker, each, net)
    return net


def _transistor(maker: _Maker, parent: int) -> int:
    """A P-channel MOSFET switches the rail on; its gate is held off by a pull-up."""
    above = maker.board.rails[parent]
    how = How.UNKNOWN if above.how is How.UNKNOWN else How.PASSED
    gate, on = maker.net("GATE"), maker.net("PWR_ON")
    net = maker.rail(above.volts, how, "", "3", parent, enable=gate, low=above.low,
                     high=above.high)  # fmt: skip
    rail = maker.board.rails[net]
    rail.telling = f"{above.telling}_SW{rail.plain[-1]}"
    rail.source = maker.part("Q", "DMG2305UX", "SOT-23", "P-channel MOSFET",
                             (("G", "input", gate), ("S", "passive", parent),
                              ("D", "passive", net)))  # fmt: skip
    maker.two("R", "100k", gate, parent)
    maker.part("Q", "2N7002", "SOT-23", "N-channel MOSFET",
               (("G", "input", on), ("S", "passive", maker.board.ground),
                ("D", "passive", gate)))  # fmt: skip
    maker.two("R", "100k", on, maker.board.ground)
    maker.part("J", "Conn_01x01", "PinHeader_1x01", "", (("", "passive", on),))
    maker.decouple(net)
    _remember(maker, rail.source, net)
    return net


def _sensor(maker: _Maker, parent: int) -> int:
    """A current monitor with its shunt inside carries the rail (TI INA260)."""
    above = maker.board.rails[parent]
    sda, scl = maker.net("SDA"), maker.net("SCL")
    net = maker.rail(above.volts, How.PASSED, "", "2", parent, low=above.low, high=above.high)
    rail = maker.board.rails[net]
    rail.telling = f"{above.telling}_M{rail.plain[-1]}"
    rail.source = maker.part("U", "INA260", "TSSOP-16", "", (
        ("IN+", "passive", parent), ("IN-", "passive", net), ("VBUS", "input", net),
        ("VS", "power_in", parent), ("GND", "power_in", maker.board.ground),
        ("SDA", "bidirectional", sda), ("SCL", "input", scl)))  # fmt: skip
    for line in (sda, scl):
        maker.two("R", "4.7k", line, parent)
    maker.part("J", "Conn_01x02", "PinHeader_1x02", "", (("", "passive", sda),
                                                        ("", "passive", scl)))  # fmt: skip
    maker.decouple(net)
    _remember(maker, rail.source, net)
    return net


def _stack(maker: _Maker) -> int:
    """Two lithium cells in series at a connector with a tap between them."""
    net = maker.rail(7.4, How.CELL, "J1", "1", None, "VPACK", low=5.0, high=8.7)
    tap = maker.rail(3.7, How.CELL, "J1", "2", None, "CELL1", low=2.5, high=4.35)
    maker.part("J", "JST_PH_3", "JST_PH_S3B_1x03", "battery connector 2S Li-ion",
               (("BAT+", "passive", net), ("BAT_MID", "passive", tap),
                ("BAT-", "passive", maker.board.ground)))  # fmt: skip
    maker.decouple(net, 3)
    maker.two("C", "100nF", tap, maker.board.ground)
    return net


def _coin_cell_pack(maker: _Maker) -> int:
    """A cell that is not charged."""
    net = maker.rail(3.7, How.CELL, "", "1", None, "VBAT", low=2.5, high=4.35)
    maker.board.rails[net].source = maker.part(
        "J", "JST_PH_2", "JST_PH_S2B_1x02", "battery connector LiPo",
        (("BAT+", "passive", net), ("BAT-", "passive", maker.board.ground)),
    )  # fmt: skip
    maker.decouple(net)
    return net


def _either(maker: _Maker, one: int, other: int) -> int:
    """Two rails feed one through diodes."""
    net = maker.rail(None, How.UNKNOWN, "", "1", one, "VSYS", others=(other,), low=2.0, high=5.5)
    first = maker.two("D", "SS14", net, one, "D_SMA")
    maker.two("D", "SS14", net, other, "D_SMA")
    maker.board.rails[net].source = first
    maker.decouple(net)
    return net


def _power_path(maker: _Maker, bus: int) -> int:
    """A charger that feeds the system from bus power or from the cell (TI BQ24075)."""
    ground = maker.board.ground
    cell = maker.rail(3.7, How.CELL, "", "1", None, "VBAT", low=2.5, high=4.35)
    net = maker.rail(None, How.UNKNOWN, "", "2", bus, "VSYS", others=(cell,), low=2.5, high=5.5)
    lines = {word: maker.net(word) for word in ("ISET", "ILIM", "TS", "CHG", "PGOOD", "TMR")}
    refdes = maker.part("U", "BQ24075", "QFN-16", "charger with power path", (
        ("IN", "power_in", bus), ("OUT", "power_out", net), ("BAT", "passive", cell),
        ("VSS", "power_in", ground), ("ISET", "passive", lines["ISET"]),
        ("ILIM", "passive", lines["ILIM"]), ("TS", "passive", lines["TS"]),
        ("~{CHG}", "open_collector", lines["CHG"]), ("~{PGOOD}", "open_collector", lines["PGOOD"]),
        ("TMR", "passive", lines["TMR"]), ("EN1", "input", net), ("EN2", "input", ground),
        ("~{CE}", "input", ground)))  # fmt: skip
    maker.two("R", "890R", lines["ISET"], ground)
    maker.two("R", "1.1k", lines["ILIM"], ground)
    maker.two("R", "10k", lines["TS"], ground)
    maker.two("R", "100k", lines["TMR"], ground)
    for word in ("CHG", "PGOOD"):
        maker.two("R", "10k", lines[word], net)
    maker.board.rails[net].source = refdes
    maker.board.rails[cell].source = maker.part(
        "J", "JST_PH_2", "JST_PH_S2B_1x02", "battery connector LiPo",
        (("BAT+", "passive", cell), ("BAT-", "passive", ground)),
    )  # fmt: skip
    maker.decouple(net)
    maker.decouple(cell)
    return net
