"""Readings from good boards: the last word where no figure can be computed.

A CSV file beside the board: `place,to,quantity,value,board`, one reading a line; value `OL` is
overload. Readings are compared by the median and the median absolute deviation, which one bad
board does not move.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from statistics import median
from typing import Final

from nettrace.bench.job import Quantity
from nettrace.errors import BadInput, Place
from nettrace.values.quantity import engineering, read_quantity

__all__ = ["FEWEST", "KnownGood", "KnownReading", "Likeness", "read_known_good"]

#: Fewer good boards than this say nothing of the spread.
FEWEST: Final = 3
#: Scale of the median absolute deviation to a standard deviation (normal distribution, from
#: memory), and so many of them are allowed.
MAD_TO_SIGMA: Final = 1.4826
SIGMAS: Final = 4.0
#: Spread allowed at least, as a fraction: three boards of one batch may agree by chance.
LEAST_SPREAD: Final = 0.05
COLUMNS: Final = ("place", "to", "quantity", "value", "board")

_UNITS: Final = {
    Quantity.OHMS: "Ω", Quantity.FARADS: "F", Quantity.DIODE: "V", Quantity.VOLTS: "V",
    Quantity.AMPERES: "A", Quantity.BEEP: "",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class KnownReading:
    """One reading of a good board; `value` None is overload."""

    place: str
    to: str
    quantity: Quantity
    value: float | None
    board: str


@dataclass(frozen=True, slots=True)
class Likeness:
    """A reading against good boards: `alike` None where there are too few."""

    alike: bool | None
    boards: int
    middle: float | None
    spread: float
    because: str


@dataclass(frozen=True)
class KnownGood:
    """The readings of good boards, by places (in either order) and quantity."""

    readings: tuple[KnownReading, ...]

    def compare(
        self, names: Iterable[tuple[str, str]], quantity: Quantity, value: float | None
    ) -> Likeness | None:
        """Compare a reading robustly; None where no good board was measured there.

        Args:
            names: the pairs of words that mean these two places; the order of a pair counts only
                in diode mode.
            quantity: what the meter was set to.
            value: the reading, None for overload.

        Method: the newest reading of each board; median, and the median absolute deviation
        scaled to a standard deviation; on ohms and farads of the logarithms.
        """
        wanted = {_key(a, b, quantity) for a, b in names}
        newest: dict[str, float | None] = {}
        for item in self.readings:
            if item.quantity is quantity and _key(item.place, item.to, quantity) in wanted:
                newest[item.board] = item.value
        if not newest:
            return None
        return _compare(newest, quantity, value)


def _key(a: str, b: str, quantity: Quantity) -> tuple[str, ...]:
    ends = (a.casefold(), b.casefold())
    return ends if quantity in {Quantity.DIODE, Quantity.VOLTS} else tuple(sorted(ends))


def _compare(
    boards: Mapping[str, float | None], quantity: Quantity, value: float | None
) -> Likeness:
    count = len(boards)
    scaled = [_scale(found, quantity) for found in boards.values()]
    middle = median(scaled)
    shown = _words(_back(middle, quantity), quantity)
    # two overloads are alike, though no number
    spread = median(0.0 if item == middle else abs(item - middle) for item in scaled)
    spread *= MAD_TO_SIGMA
    logs = quantity in _LEAST
    floor = math.log1p(LEAST_SPREAD) if logs else LEAST_SPREAD * max(abs(middle), 0.2)
    allowed = max(SIGMAS * spread, floor) if math.isfinite(spread) else floor
    mine = _scale(value, quantity)
    alike = mine == middle or abs(mine - middle) <= allowed
    if count < FEWEST:
        words = f"{count} good board{'s' if count > 1 else ''} ({shown}): too few to judge by"
        return Likeness(None, count, _back(middle, quantity), spread, words)
    verb = "as on" if alike else "unlike"
    words = f"{verb} {count} good boards (median {shown})"
    return Likeness(alike, count, _back(middle, quantity), spread, words)


#: Quantities compared by their logarithms, and what counts as 0 there: a meter's last digit.
_LEAST: Final = {Quantity.OHMS: 0.1, Quantity.FARADS: 1e-12}


def _scale(value: float | None, quantity: Quantity) -> float:
    if value is None:
        return math.inf
    least = _LEAST.get(quantity)
    # leads add up to half an ohm, so figures near 0 are taken together
    return value if least is None else math.log(max(value, 0.0) + 5 * least)


def _back(value: float, quantity: Quantity) -> float | None:
    if math.isinf(value):
        return None
    least = _LEAST.get(quantity)
    return value if least is None else max(0.0, math.exp(value) - 5 * least)


def _words(value: float | None, quantity: Quantity) -> str:
    if value is None:
        return "OL"
    if quantity is Quantity.BEEP:
        return "beeps" if value >= 0.5 else "no beep"
    return engineering(value, _UNITS[quantity], 3)


def read_known_good(text: str, path: str) -> KnownGood:
    """Return the readings in a CSV text (`place,to,quantity,value,board`, in any order).

    Raises:
        BadInput: a column is missing, a quantity or value is not one; with line and hint.
    """
    rows = csv.reader(io.StringIO(text.removeprefix("\ufeff")))
    heading = [cell.strip().casefold() for cell in next(rows, [])]
    lacking = [column for column in COLUMNS if column not in heading]
    if lacking:
        raise BadInput(
            f"no column {lacking[0]!r}",
            expected=",".join(COLUMNS),
            hint="The first line names the columns.",
            place=Place(path, 1, 1),
        )
    at = {column: heading.index(column) for column in COLUMNS}
    found: list[KnownReading] = []
    for row in rows:
        if not any(cell.strip() for cell in row):
            continue
        place = Place(path, rows.line_num, 0)
        if len(row) < len(heading):
            raise BadInput(f"{len(row)} cells", expected=f"{len(heading)}", place=place)
        cells = {column: row[index].strip() for column, index in at.items()}
        quantity = _quantity(cells["quantity"], place)
        value = _value(cells["value"], quantity, place)
        found.append(KnownReading(cells["place"], cells["to"], quantity, value, cells["board"]))
    return KnownGood(tuple(found))


def _quantity(text: str, place: Place) -> Quantity:
    try:
        return Quantity(text.casefold())
    except ValueError:
        raise BadInput(repr(text), expected="one of " + ", ".join(Quantity), place=place) from None


def _value(text: str, quantity: Quantity, place: Place) -> float | None:
    if text.casefold() in {"ol", "open", "overload", "none"} and quantity is not Quantity.BEEP:
        return None
    if quantity is Quantity.BEEP:
        said = {"beep": 1.0, "yes": 1.0, "1": 1.0, "none": 0.0, "no": 0.0, "0": 0.0}
        if text.casefold() in said:
            return said[text.casefold()]
        raise BadInput(repr(text), expected="beep or none", place=place)
    found = read_quantity(text, _UNITS[quantity] or None)
    if found is None or found.unit not in {None, _UNITS[quantity]}:
        raise BadInput(
            repr(text), expected=f"a value in {_UNITS[quantity]}, or OL", place=place,
            hint="Write it like 2k2, 100n or 0.45.",
        )  # fmt: skip
    return found.value
