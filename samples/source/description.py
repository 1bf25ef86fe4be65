"""Wren's description as the files beside this one tell it: parts, pins, nets, pads and places.

Lengths are millimetres, angles degrees anticlockwise seen from the top, x right and y up from the
board's lower left corner, unless a name ends in ``_page``: the board file's own frame (y down).
"""

from __future__ import annotations

import math
import re
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent

# Inch code to metric code; a body's usual power and voltage. Source: makers' chip resistor sheets.
METRIC = {
    "01005": "0402",
    "0201": "0603",
    "0402": "1005",
    "0603": "1608",
    "0805": "2012",
    "1206": "3216",
}
POWER = {"01005": "1/32W", "0201": "1/20W", "0402": "1/16W", "0603": "1/10W", "1206": "1/2W"}
WORKING_VOLTS = {"01005": "15V", "0201": "25V", "0402": "50V", "0603": "75V", "1206": "200V"}


@dataclass(frozen=True, slots=True)
class Pad:
    """One piece of copper: its place on the board, size before turning, hole (0 = none)."""

    pin: str
    x: float
    y: float
    width: float
    height: float
    hole: float
    round: bool
    offset: tuple[float, float]  # in the package's own frame


@dataclass(frozen=True, slots=True)
class Pin:
    number: str
    name: str
    kind: str
    net: str | None


@dataclass(frozen=True, slots=True)
class Part:
    refdes: str
    value: str
    item: str
    library: str
    package: str
    description: str
    number: str
    fields: dict[str, str]
    fitted: bool
    in_bom: bool
    x: float
    y: float
    turn: float
    side: str
    pins: tuple[Pin, ...]
    pads: tuple[Pad, ...]
    holes: tuple[tuple[float, float, float], ...]  # unplated: x, y, diameter
    courtyard: tuple[float, float, float, float]
    body: tuple[float, float]
    tall_mm: float
    deck: dict[str, Any] = field(default_factory=dict)

    @property
    def kind_letters(self) -> str:
        return re.match(r"[A-Z]+", self.refdes).group()  # type: ignore[union-attr]

    def at(self, x: float, y: float) -> tuple[float, float]:
        """The board place of a point of the package's own frame."""
        return turned(x, y, self.x, self.y, self.turn, self.side)

    @property
    def page_turn(self) -> float:
        """The angle the board file stores: a bottom part is flipped top to bottom there."""
        return self.turn if self.side == "top" else (self.turn + 180) % 360


@dataclass(frozen=True, slots=True)
class Description:
    board: dict[str, Any]
    parts: tuple[Part, ...]

    @property
    def nets(self) -> dict[str, list[tuple[Part, Pin]]]:
        """Named nets in natural order, each with its pins in natural order."""
        found: dict[str, list[tuple[Part, Pin]]] = {}
        for part in self.parts:
            for pin in part.pins:
                if pin.net is not None:
                    found.setdefault(pin.net, []).append((part, pin))
        return {name: found[name] for name in sorted(found, key=natural)}

    def page(self, x: float, y: float) -> tuple[float, float]:
        """A place in the board file's frame."""
        left, bottom = self.board["page"]
        return left + x, bottom - y

    def page_up(self, x: float, y: float) -> tuple[float, float]:
        """The same place with y up: what the files other than the board file say."""
        left, bottom = self.board["page"]
        return left + x, y - bottom


def natural(text: str) -> tuple[Any, ...]:
    """Sort key: R2 before R10."""
    return tuple(
        (1, int(run)) if run.isdigit() else (0, run) for run in re.findall(r"\d+|\D+", text)
    )


def number(value: float, places: int = 4) -> str:
    """A number without trailing zeros and without minus zero."""
    text = f"{value:.{places}f}".rstrip("0").rstrip(".") if places else f"{value:.0f}"
    return "0" if text in {"-0", ""} else text


def open_net(part: Part, pin: Pin) -> str:
    """The name that suites give to the net of a pin left open on purpose."""
    label = f"{pin.name}-" if pin.name and pin.name != pin.number else ""
    return f"unconnected-({part.refdes}-{label.replace('/', '{slash}')}Pad{pin.number})"


def turned(px: float, py: float, x: float, y: float, turn: float, side: str) -> tuple[float, float]:
    """Mirror (bottom), turn and move a point of a package."""
    if side == "bottom":
        px = -px
    angle = math.radians(turn)
    cosine, sine = math.cos(angle), math.sin(angle)
    return round(x + px * cosine - py * sine, 4), round(y + px * sine + py * cosine, 4)


def land(package: dict[str, Any]) -> list[tuple[str, float, float, float, float, float]]:
    """Every pad of a land pattern: pin, x, y, width, height, hole."""
    rows = [(*row, 0.0) for row in package.get("smd", [])]
    if "edge" in package:
        edge = package["edge"]
        count, long, wide, reach = edge["a_side"], edge["long"], edge["wide"], edge["reach"]
        for index in range(4 * count):
            side, step = divmod(index, count)
            along = round((step - (count - 1) / 2) * edge["pitch"], 4)
            pin = str(index + 1)
            rows.append(
                (
                    (pin, -reach, -along, long, wide, 0.0),
                    (pin, along, -reach, wide, long, 0.0),
                    (pin, reach, along, long, wide, 0.0),
                    (pin, -along, reach, wide, long, 0.0),
                )[side]
            )
    rows += [tuple(row) for key in ("drill", "vias") for row in package.get(key, [])]
    return [(row[0], *(float(value) for value in row[1:])) for row in rows]


def build_part(
    refdes: str, item: dict[str, Any], place: list[Any], packages: dict[str, Any]
) -> Part:
    x, y, turn, side = float(place[0]), float(place[1]), float(place[2]), place[3]
    package = packages[item["package"]]
    pads = tuple(
        Pad(
            pin,
            *turned(px, py, x, y, turn, side),
            w,
            h,
            hole,
            package.get("round", False),
            (px, py),
        )
        for pin, px, py, w, h, hole in land(package)
    )
    box = package["courtyard"]
    left, low, right, high = (
        box if len(box) == 4 else (-box[0] / 2, -box[1] / 2, box[0] / 2, box[1] / 2)
    )
    corners = [turned(px, py, x, y, turn, side) for px in (left, right) for py in (low, high)]
    nets = item["nets"]
    return Part(
        refdes=refdes,
        value=item["value"],
        item=item["number"],
        library=item["library"],
        package=item["package"],
        description=item["description"],
        number=item["number"],
        fields=item["fields"],
        fitted=item["fitted"],
        in_bom=item.get("in_bom", True),
        x=x,
        y=y,
        turn=turn,
        side=side,
        pins=tuple(
            Pin(pin, name, kind, nets.get(pin)) for pin, (name, kind) in item["pins"].items()
        ),
        pads=pads,
        holes=tuple(
            (*turned(px, py, x, y, turn, side), hole)
            for px, py, hole in package.get("hole_only", [])
        ),
        courtyard=(
            min(corner[0] for corner in corners),
            min(corner[1] for corner in corners),
            max(corner[0] for corner in corners),
            max(corner[1] for corner in corners),
        ),
        body=tuple(package["body"]),
        tall_mm=package["tall_mm"],
        deck={key: item[key] for key in ("deck", "element") if key in item},
    )


TWO_PINS = {"1": ("1", "passive"), "2": ("2", "passive")}


def resistor(value: str, size: str, tolerance: str, one: str, two: str) -> dict[str, Any]:
    shunt = value == "10m"
    word = "Current sense resistor" if shunt else "Zero-ohm link" if value == "0" else "Resistor"
    ohms = f"{value}Ohm" if value[-1] in "mkM" else f"{value} Ohm"
    ohms = re.sub(r"(\d)([mkM]Ohm)", r"\1 \2", ohms)
    rating = f"{POWER[size]}, {WORKING_VOLTS[size]}" if value != "0" else "50 mOhm at most, 0.5 A"
    return {
        "value": value,
        "library": "Resistor",
        "package": f"R_{size}_{METRIC[size]}Metric",
        "description": f"{word}, {ohms}, {tolerance}, {rating}, {size}",
        "number": f"R{size}-{value.replace('.', 'P')}-{tolerance.rstrip('%')}",
        "fields": {"Tolerance": tolerance, "Power": POWER[size], "Voltage": WORKING_VOLTS[size]},
        "pins": TWO_PINS,
        "nets": {"1": one, "2": two},
    }


def capacitor(
    value: str, volts: str, dielectric: str, tolerance: str, size: str, one: str, two: str
) -> dict[str, Any]:
    farads = re.sub(r"([a-z])$", r" \1F", value)
    return {
        "value": value,
        "library": "Capacitor",
        "package": f"C_{size}_{METRIC[size]}Metric",
        "description": f"Ceramic capacitor, {farads}, {volts}, {dielectric}, {tolerance}, {size}",
        "number": f"C{size}-{dielectric}-{value.replace('.', 'P')}-{volts.replace('.', 'P')}",
        "fields": {"Voltage": volts, "Dielectric": dielectric, "Tolerance": tolerance},
        "pins": TWO_PINS,
        "nets": {"1": one, "2": two},
    }


def load(folder: Path = HERE) -> Description:
    """Read wren.toml, chips.toml and packages.toml."""
    wren, chips, packages = (
        tomllib.loads((folder / f"{name}.toml").read_text(encoding="utf-8"))
        for name in ("wren", "chips", "packages")
    )
    items: dict[str, tuple[dict[str, Any], list[Any]]] = {}
    for refdes, row in wren["resistors"].items():
        items[refdes] = (resistor(*row[:5]), row[5:])
    for refdes, row in wren["capacitors"].items():
        items[refdes] = (capacitor(*row[:7]), row[7:])
    for refdes, (number_, *place) in wren["places"].items():
        chip = chips[number_]
        items[refdes] = (
            {
                "fields": {},
                **chip,
                "number": number_,
                "value": wren["values"].get(refdes, number_),
                "nets": wren["nets"].get(refdes, {}),
            },
            place,
        )
    unfitted = set(wren["board"]["not_fitted"])
    parts = [
        build_part(refdes, {**item, "fitted": refdes not in unfitted}, place, packages)
        for refdes, (item, place) in items.items()
    ]
    return Description(wren["board"], tuple(sorted(parts, key=lambda part: natural(part.refdes))))
