"""What an IPC-D-356 file says about itself: its unit, its job, its long net names."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field
from operator import itemgetter

from nettrace.errors import BadInput, Place, excerpt
from nettrace.model.builder import BoardBuilder
from nettrace.readers.document import Document
from nettrace.readers.ipcd356_lines import Lines

__all__ = ["Header", "Unit", "read_header"]


@dataclass(frozen=True, slots=True)
class Unit:
    """How the file counts: millimetres are `count * numerator / denominator`, exactly."""

    name: str
    numerator: int
    denominator: int
    degrees: bool = True

    def millimetres(self, count: int) -> float:
        """Return the length, mm, as the nearest float to the exact decimal."""
        return count * self.numerator / self.denominator


_UNITS = {
    "CUST": Unit("CUST 0", 254, 100_000),
    "CUST 0": Unit("CUST 0", 254, 100_000),
    "CUST 1": Unit("CUST 1", 1, 1_000),
    # readers disagree about these two: their records are read, their turns are not
    "CUST 2": Unit("CUST 2", 254, 100_000, degrees=False),
    "SI": Unit("SI", 1, 1_000, degrees=False),
}

#: `CUST0`, as some write it.
_NO_BLANK = re.compile(r"(?<=CUST)(?=\d)")
_NUMBERED = re.compile(r"(?P<name>.*\S)\{(?P<number>\d+)\}")
_PARAMETER = re.compile(r"P +(?P<name>[A-Za-z]+\S*)\s*(?P<value>.*)")
_NET_CUT = itemgetter(slice(3, 17))
_ALIAS = re.compile(r"[CP] +NNAME(?P<short>\S+)\s+(?P<name>\S.*)")


@dataclass(slots=True)
class Header:
    """Unit, job, revision of the format and the long names of short ones."""

    unit: Unit = _UNITS["CUST 0"]
    unit_place: Place | None = None
    job: str = ""
    version: str = "356"
    names: dict[str, tuple[str, int]] = field(default_factory=dict)  # short -> (long, line)


def read_header(document: Document, lines: Lines, builder: BoardBuilder) -> Header:
    """Read the P lines (and the C lines that give long names), wherever they stand.

    Raises:
        BadInput: a unit that is not one of the standard's, or two different units.
    """
    header = Header()
    aliases: dict[str, tuple[str, int]] = {}
    remarks = [(n, line.rstrip()) for n, line in lines.others.items() if line[:1] in "PC"]
    for number, line in remarks:
        alias = _ALIAS.match(line)
        if alias is not None:
            _add_alias(
                aliases, alias["short"], alias["name"], Place(document.path, number, 1), builder
            )
            continue
        parameter = _PARAMETER.match(line)
        if parameter is None:
            continue
        name, value = parameter["name"].upper(), parameter["value"]
        if name == "UNITS":
            _read_unit(header, value, number, line, document)
        elif name == "JOB":
            header.job = value
        elif name == "VER" and "356" in value:
            header.version = value[value.index("356") :].split()[0]
    if header.unit_place is None:
        builder.warn(
            "no-unit",
            "no 'P  UNITS' line; lengths are taken as 0.0001 inch (CUST 0), the usual unit",
            Place(document.path),
        )
    elif not header.unit.degrees:
        builder.warn(
            "unit-disputed",
            f"readers disagree about 'UNITS {header.unit.name}': lengths are taken as "
            f"{'0.001 mm' if header.unit.numerator == 1 else '0.0001 inch'}, "
            "the turns of pads are left out",
            header.unit_place,
        )
    _keep_apart(aliases, builder)
    if aliases or "}" in document.text:
        used = {net for text, *_ in lines.records() for net in {*map(_NET_CUT, text.split("\n"))}}
        header.names = _resolve_style(aliases, {*map(str.rstrip, used)})
    return header


def _read_unit(header: Header, value: str, number: int, line: str, document: Document) -> None:
    unit = _UNITS.get(" ".join(_NO_BLANK.sub(" ", value.upper()).split()))
    column = line.find(value) + 1 if value else len(line.rstrip()) + 1
    place = Place(document.path, number, column)
    if unit is None:
        raise BadInput(
            f"the unit '{value}'" if value else "no unit",
            expected="CUST 0 (0.0001 inch), CUST 1 (0.001 mm), CUST 2 or SI",
            hint="Every place on the board depends on it: mend the line.",
            place=place,
            excerpt=excerpt("\n" * (number - 1) + line, number, column, max(1, len(value))),
        )
    if header.unit_place is not None and unit.name != header.unit.name:
        raise BadInput(
            f"a second unit, '{value}',",
            expected=f"{header.unit.name} as in line {header.unit_place.line}",
            hint="Keep the line that is true.",
            place=place,
        )
    header.unit, header.unit_place = unit, place


def _add_alias(
    aliases: dict[str, tuple[str, int]], short: str, name: str, place: Place, builder: BoardBuilder
) -> None:
    known = aliases.get(short)
    if known is None:
        aliases[short] = (name, place.line)
    elif known[0] != name:
        builder.warn(
            "long-name-disputed",
            f"'NNAME{short}' is '{known[0]}' in line {known[1]} and '{name}' here; "
            "the short name is kept",
            place,
        )
        aliases[short] = ("", known[1])


def _keep_apart(aliases: dict[str, tuple[str, int]], builder: BoardBuilder) -> None:
    """Leave short names as they are where two of them have one long name (cut by the writer)."""
    first: dict[str, str] = {}
    for short, (name, line) in aliases.items():
        if not name:
            continue
        other = first.setdefault(name, short)
        if other != short:
            builder.warn(
                "long-name-repeated",
                f"'{name}' is the long name of NNAME{other} and of NNAME{short}; "
                "the second keeps its short name",
                Place(builder.path, line, 1),
            )
            aliases[short] = ("", line)


def _resolve_style(
    aliases: dict[str, tuple[str, int]], used: set[str]
) -> dict[str, tuple[str, int]]:
    """Return the long names by what stands in the net columns.

    `P  NNAMEm0000 X` is used as `m0000` by one family of writers, `P  NNAME1 X` as `NNAME1` by
    the others; which it is shows in the records.
    """
    if not aliases:
        return _without_numbers(used)
    names: dict[str, tuple[str, int]] = {}
    for short, (name, number) in aliases.items():
        if name:
            full = f"NNAME{short}"
            names[full if full in used else short] = (name, number)
    return names


def _without_numbers(used: set[str]) -> dict[str, tuple[str, int]]:
    """Return the names of a writer that numbers all of them (`GND{1}`, `VBUS{2}`) without that.

    One that is not numbered shows that the braces are the designer's own; two that are alike
    without their number (names are cut to 14 columns) keep it.
    """
    numbered = [_NUMBERED.fullmatch(name) for name in used - {"", "N/C"}]
    found = [match for match in numbered if match is not None]
    if len(found) != len(numbered) or len({match["number"] for match in found}) != len(found):
        return {}
    count = Counter(match["name"] for match in found)
    return {match[0]: (match["name"], 0) for match in found if count[match["name"]] == 1}
