"""Reads IPC-D-356 and 356A, the bare-board test file: pads with places and nets, no values.

A record is a test point of one pin. All records of one reference are one part (the file cuts
references to six columns, so parts may meet in one name); records without a reference are the pads
of one part without one.

A board has few pad forms, nets and pin numbers, so each distinct text of a group of columns is
checked against the table (ipcd356_columns.py) and understood once; the work per record is looking
up. What is known of a record that does not fit is what stands before its first misfit, the groups
taken in this order: form, place, net, pin, reference.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from functools import partial
from itertools import islice
from math import fsum
from typing import NamedTuple, TypeVar

from nettrace.collector import collector_off
from nettrace.errors import BadInput, Place, excerpt
from nettrace.model.board import Board, Side, Via
from nettrace.model.builder import BoardBuilder, PadRecord
from nettrace.readers.document import Document
from nettrace.readers.ipcd356_columns import WIDTH, find_fault, pattern_of, say_fault

UNPLATED = "367"
BURIED = "307"
#: Surface features: a pad, a tooling feature. All other records have a hole.
SURFACE = frozenset({"327", "337"})
UNCONNECTED = frozenset({"", "N/C"})
VIA = "VIA"
BOARD_EDGE = "BOARD_EDGE"
#: Records that are understood and not kept: tracks and neighbouring nets.
NOT_KEPT = {
    "378": "conductor records (tracks)",
    "078": "conductor records (tracks)",
    "379": "adjacency records (neighbouring nets)",
    "079": "adjacency records (neighbouring nets)",
}
#: Faulty records that get a warning of their own; the rest are counted.
MOST_FAULTS = 20
#: Where one record in this many is faulty, the file is not read at all.
FAULTY_SHARE = 4

NET, PIN, REFDES, X, Y = (
    pattern_of("net", "blank"), pattern_of("pin", "midpoint"), pattern_of("refdes", "dash"),
    pattern_of("x"), pattern_of("y"),
)  # fmt: skip
FORM = pattern_of(
    "code", "hole", "plating", "access", "width", "height", "rotation", "soldermask", "rest"
)
FORM_TAIL = WIDTH - 57  # columns from the pad's width to its soldermask

#: What a pad looks like: the fields of a PadRecord from its side to its drill, and whether it is
#: more than a hole without copper.
PadForm = tuple[Side, str | None, float | None, float | None, float, float | None, bool]
_Text = TypeVar("_Text")
_Meaning = TypeVar("_Meaning")

_NO_BLANK = re.compile(r"(?<=CUST)(?=\d)")  # `CUST0`, as some write it
_NUMBERED = re.compile(r"(?P<name>.*\S)\{(?P<number>\d+)\}")
_PARAMETER = re.compile(r"P +(?P<name>[A-Za-z]+\S*)\s*(?P<value>.*)")
_ALIAS = re.compile(r"[CP] +NNAME(?P<short>\S+)\s+(?P<name>\S.*)")
_STEP = re.compile(r"\s*(?:(\*)|(?:X([+-]?[0-9]+))?(?:Y([+-]?[0-9]+))?)")


class Unit(NamedTuple):
    """How the file counts: millimetres are `count * numerator / denominator`, exactly."""

    name: str
    numerator: int
    denominator: int
    degrees: bool = True

    def millimetres(self, count: str) -> float:
        """Return the length, mm, as the nearest float to the exact decimal."""
        return int(count) * self.numerator / self.denominator


_UNITS = {
    "CUST": Unit("CUST 0", 254, 100_000),
    "CUST 0": Unit("CUST 0", 254, 100_000),
    "CUST 1": Unit("CUST 1", 1, 1_000),
    # readers disagree about these two: their records are read, their turns are not
    "CUST 2": Unit("CUST 2", 254, 100_000, degrees=False),
    "SI": Unit("SI", 1, 1_000, degrees=False),
}


class _Misfit(Exception):
    """A text that the table does not allow."""


class _Known(dict[_Text, _Meaning]):
    """What each text means; one that is met for the first time is understood, or is a misfit."""

    def __init__(self, understand: Callable[[_Text], _Meaning]) -> None:
        self.understand = understand

    def __missing__(self, text: _Text) -> _Meaning:
        meaning = self[text] = self.understand(text)
        return meaning


def _kept(pattern: re.Pattern[str], text: str) -> str:
    found = pattern.fullmatch(text)
    if found is None:
        raise _Misfit
    return found[1].strip()


def read(document: Document) -> Board:
    """Read the file into a Board.

    Raises:
        BadInput: an unknown unit, no test record at all, or too many that do not fit the columns.
    """
    with collector_off():
        return _Reader(document).read()


class _Reader:
    def __init__(self, document: Document) -> None:
        self.path = document.path
        self.builder = BoardBuilder(document.path, "ipc-d-356")
        self.builder.digest = document.digest
        text = document.text
        if "\r" in text:
            text = text.replace("\r\n", "\n").replace("\r", "\n")
        self.lines = text.split("\n")
        self.end = 0  # the number of the first 999 record
        self.number = 0  # of the line that is read
        self.unit = _UNITS["CUST 0"]
        self.unit_place: Place | None = None
        self.names: dict[str, tuple[str, int]] = {}  # in the net columns -> long name, its line
        self.pads: dict[str, list[PadRecord]] = {VIA: []}  # by reference
        self.others: dict[int, str] = {}  # lines that are no test record, before the end
        self.faults: dict[int, str] = {}
        self.skipped: dict[str, list[int]] = {}
        # the board's edge; a coordinate that is not repeated keeps its value (modal)
        self.paths: list[list[tuple[float, float]]] = []
        self.path_open = False
        self.x: float | None = None
        self.y: float | None = None
        self.other_outlines: set[str] = set()
        # doubts: places of forms whose code and hole disagree, of forms without an access code,
        # and the layers beyond the first, each with its first place
        self.unlike: Place | None = None
        self.without_access: Place | None = None
        self.bottoms: dict[int, Place] = {}

    def read(self) -> Board:
        """Read all lines into a board."""
        builder = self.builder
        version = self._read_header()
        builder.version = f"{version}, {self.unit.name}"
        self._read_records()
        for number, line in self.others.items():
            self.number = number
            self._read_other(line)
        builder.outline = [tuple(path) for path in self.paths if len(path) > 1]
        self._report()
        self._add_parts()
        return builder.build()

    def _here(self, column: int) -> Place:
        return Place(self.path, self.number, column)

    # ---- what a file says about itself ----------------------------------------------------------

    def _read_header(self) -> str:
        """Read the P lines (and the C lines that give long names), wherever they stand.

        Return the revision of the format.
        """
        version = "356"
        aliases: dict[str, tuple[str, int]] = {}  # short -> (long, line)
        for number, line in enumerate(self.lines, 1):
            if line[:1] not in {"P", "C"}:
                continue
            line, self.number = line.rstrip(), number  # noqa: PLW2901
            if alias := _ALIAS.match(line):
                short, name = alias.groups()
                known = aliases.setdefault(short, (name, number))
                if known[0] != name:
                    self.builder.warn(
                        "long-name-disputed",
                        f"'NNAME{short}' is '{known[0]}' in line {known[1]} and '{name}' here; "
                        "the short name is kept",
                        self._here(1),
                    )
                    aliases[short] = ("", known[1])
            elif parameter := _PARAMETER.match(line):
                name, value = parameter["name"].upper(), parameter["value"]
                if name == "UNITS":
                    self._read_unit(value, line)
                elif name == "JOB":
                    self.builder.name = value
                elif name == "VER" and "356" in value:
                    version = value[value.index("356") :].split()[0]
        if self.unit_place is None:
            self.builder.warn(
                "no-unit",
                "no 'P  UNITS' line; lengths are taken as 0.0001 inch (CUST 0), the usual unit",
                Place(self.path),
            )
        elif not self.unit.degrees:
            self.builder.warn(
                "unit-disputed",
                f"readers disagree about 'UNITS {self.unit.name}': lengths are taken as "
                f"{'0.001 mm' if self.unit.numerator == 1 else '0.0001 inch'}, "
                "the turns of pads are left out",
                self.unit_place,
            )
        if aliases or any("}" in line for line in self.lines):
            used = {line[3:17].rstrip() for line in self.lines if line[:1] == "3"}
            self.names = self._long_names(aliases, used) if aliases else _without_numbers(used)
        return version

    def _read_unit(self, value: str, line: str) -> None:
        unit = _UNITS.get(" ".join(_NO_BLANK.sub(" ", value.upper()).split()))
        column = line.find(value) + 1 if value else len(line) + 1
        place = self._here(column)
        if unit is None:
            before = "\n" * (self.number - 1)
            raise BadInput(
                f"the unit '{value}'" if value else "no unit",
                expected="CUST 0 (0.0001 inch), CUST 1 (0.001 mm), CUST 2 or SI",
                hint="Every place on the board depends on it: mend the line.",
                place=place,
                excerpt=excerpt(before + line, self.number, column, max(1, len(value))),
            )
        if self.unit_place is not None and unit.name != self.unit.name:
            raise BadInput(
                f"a second unit, '{value}',",
                expected=f"{self.unit.name} as in line {self.unit_place.line}",
                hint="Keep the line that is true.",
                place=place,
            )
        self.unit, self.unit_place = unit, place

    def _long_names(
        self, aliases: dict[str, tuple[str, int]], used: set[str]
    ) -> dict[str, tuple[str, int]]:
        """Return the long names by what stands in the net columns.

        `P  NNAMEm0000 X` is used as `m0000` by one family of writers, `P  NNAME1 X` as `NNAME1` by
        the others; which it is shows in the records. Where two short names have one long name (cut
        by the writer), the second stays as it is.
        """
        first: dict[str, str] = {}
        names = {}
        for short, (name, line) in aliases.items():
            other = first.setdefault(name, short)
            if name and other != short:
                self.builder.warn(
                    "long-name-repeated",
                    f"'{name}' is the long name of NNAME{other} and of NNAME{short}; "
                    "the second keeps its short name",
                    Place(self.path, line, 1),
                )
            elif name:
                names[f"NNAME{short}" if f"NNAME{short}" in used else short] = name, line
        return names

    # ---- test records ---------------------------------------------------------------------------

    def _read_records(self) -> None:
        """Read the lines up to the end; those that are no test record are set aside."""
        forms: _Known[tuple[str, str, str], PadForm] = _Known(self._form)
        xs: _Known[str, float] = _Known(partial(self._coordinate, X))
        ys: _Known[str, float] = _Known(partial(self._coordinate, Y))
        nets: _Known[str, str | None] = _Known(self._net)
        pins: _Known[str, str] = _Known(lambda text: _kept(PIN, text))
        owners: _Known[str, list[PadRecord]] = _Known(
            lambda text: self.pads.setdefault(_kept(REFDES, text), [])
        )
        # a Place is a named tuple: made so, it is made in a third of the time
        path, new_place = self.path, tuple.__new__
        for number, line in enumerate(self.lines, 1):
            if line[:1] != "3":
                if line.startswith("999"):
                    self.end = number
                    return
                self.others[number] = line
                continue
            self.number = number
            try:
                form = forms[line[:3], line[32:41], line[57:]]
                x, y = xs[line[41:49]], ys[line[49:57]]
                net, pin = nets[line[3:20]], pins[line[27:32]]
                pads = owners[line[20:27]]
            except _Misfit:
                self.others[number] = line
                continue
            side, shape, width, height, angle, drill, contact = form
            pads.append((
                pin, net, x, y, side, shape, width, height, angle, drill,
                contact or net is not None, new_place(Place, (path, number, 1)),
            ))  # fmt: skip

    # what a text in the columns means; each distinct text is met once

    def _coordinate(self, pattern: re.Pattern[str], text: str) -> float:
        """Columns 42-49, or 50-57; blanks may stand between the sign and the number."""
        found = pattern.fullmatch(text)
        if found is None:
            raise _Misfit
        return int(found[1].replace(" ", "")) * self.unit.numerator / self.unit.denominator

    def _net(self, text: str) -> str | None:
        """Columns 4-20."""
        short = _kept(NET, text)
        if short in UNCONNECTED:
            return None
        named = self.names.get(short)
        if named is None:
            self.builder.net(short, place=self._here(4))
            return short
        name, line = named
        place = Place(self.path, line, 1) if line else self._here(4)
        self.builder.net(name, place=place, aliases=(short,))
        return name

    def _form(self, cuts: tuple[str, str, str]) -> PadForm:
        """Columns 1-3, 33-41 and 58 to the end: the pad's own form."""
        code, hole_and_access, tail = cuts
        found = FORM.fullmatch(code + hole_and_access + tail.ljust(FORM_TAIL))
        if found is None:
            raise _Misfit
        code, hole, access, width_text, height_text, turn = found.groups()
        if (hole is None) is not (code in SURFACE):
            self.unlike = self.unlike or self._here(1)
        width, height, drill = (
            None if text is None or text.isspace() else self.unit.millimetres(text)
            for text in (width_text, height_text, hole)
        )
        shape: str | None = "rect"
        if not width:
            shape = width = height = None
        elif not height:
            shape, height = "circle", width
        angle = float(turn) if turn and not turn.isspace() and self.unit.degrees else 0.0
        # D0000: a hole whose size is not told
        return (
            self._side(code, access),
            shape,
            width,
            height,
            angle,
            drill or None,
            code != UNPLATED,
        )

    def _side(self, code: str, access: str | None) -> Side:
        """Return the side; a layer beyond the first is the bottom, whatever its number.

        A test point can be reached from outside alone, so the layer count need not be known.
        """
        if code == BURIED:
            return Side.BOTH
        if access is None:
            self.without_access = self.without_access or self._here(39)
            return Side.BOTH
        layer = int(access)
        if layer < 2:
            return Side.TOP if layer else Side.BOTH
        self.bottoms.setdefault(layer, self._here(39))
        return Side.BOTTOM

    # ---- records that are no test records -------------------------------------------------------

    def _read_other(self, line: str) -> None:
        code = line[:3]
        if _is_blank(line) or line in {"C", "P"}:
            return
        if line[0] in "CP \t\x1a\f" and line[1:2].isspace():
            return  # a comment, or a parameter (read before)
        if code == "389":
            kind = line[3:17].strip()
            self.path_open = kind == BOARD_EDGE
            if self.path_open:
                self.x = self.y = None
                self.paths.append([])
                self._go_on(line.rstrip(), 17)
            elif kind not in self.other_outlines:
                self.other_outlines.add(kind)
                message = f"the outline '{kind}' is no board edge; it is not kept"
                self.builder.warn("outline-skipped", message, self._here(4))
        elif code == "089":
            if self.path_open:
                self._go_on(line.rstrip(), 3)
        elif code in NOT_KEPT:
            self.skipped.setdefault(NOT_KEPT[code], []).append(self.number)
        elif code[:1] == "0" and code[2:] == "7" and find_fault("3" + line[1:]) is None:
            what = "continuations of test records (a pad's second shape)"
            self.skipped.setdefault(what, []).append(self.number)
        else:
            self.faults[self.number] = line

    def _go_on(self, text: str, at: int) -> None:
        """Add the points of a line to the board's edge."""
        while at < len(text):
            step = _STEP.match(text, at)
            if step is None or not (step[1] or step[2] or step[3]):
                at += len(text[at:]) - len(text[at:].lstrip())
                self.builder.warn(
                    "outline-cut",
                    f"'{text[at : at + 12]}' where X and Y numbers were expected; "
                    "the outline stops here",
                    self._here(at + 1),
                )
                self.path_open = False
                return
            at = step.end()
            if step[1]:
                self.paths.append([])
                continue
            self.x = self.unit.millimetres(step[2]) if step[2] else self.x
            self.y = self.unit.millimetres(step[3]) if step[3] else self.y
            if self.x is not None and self.y is not None:
                self.paths[-1].append((self.x, self.y))

    # what is said once the file is read

    def _report(self) -> None:
        """Warn of everything that was read with care or not at all."""
        faults, path, warn = self.faults, self.path, self.builder.warn
        count = sum(map(len, self.pads.values()))
        if faults and len(faults) * FAULTY_SHARE > count:
            number, line = next(iter(faults.items()))
            column, found, wanted = say_fault(line)
            raise BadInput(
                found,
                expected=wanted,
                hint=f"{len(faults)} of {count + len(faults)} records do not fit the columns: "
                "is this file IPC-D-356, and whole?",
                place=Place(path, number, column),
                excerpt=excerpt("\n" * (number - 1) + line, number, column),
            )
        if not count:
            raise BadInput(
                "no test record",
                expected="lines that begin with 317 or 327",
                hint="Is the file whole?",
                place=Place(path, len(self.lines), 1),
            )
        for number, line in islice(faults.items(), MOST_FAULTS):
            column, found, wanted = say_fault(line)
            message = f"{found} where {wanted} was expected; the record is not read"
            warn("record-skipped", message, Place(path, number, column))
        if len(faults) > MOST_FAULTS:
            message = f"{len(faults) - MOST_FAULTS} more records do not fit the columns"
            warn("record-skipped", message, Place(path, [*faults][MOST_FAULTS], 1))
        if self.unlike:
            message = "a surface pad (327) with a hole, or a hole (317, 367) without one"
            warn("code-and-hole-disagree", message, self.unlike)
        if self.without_access:
            message = "records without an access code are taken as reached from both sides"
            warn("no-side", message, self.without_access)
        if len(self.bottoms) > 1:
            codes = ", ".join(f"{layer:02d} (line {at.line})" for layer, at in self.bottoms.items())
            warn(
                "two-bottoms",
                f"access codes {codes}: only one can be the bottom; all are taken as it",
                [*self.bottoms.values()][1],
            )
        for what, numbers in self.skipped.items():
            message = f"not kept: {what}, {len(numbers)} in all"
            warn("not-kept", message, Place(path, numbers[0], 1))
        if not self.end:
            message = "no 999 record at the end: the file may be cut off"
            warn("cut-off", message, Place(path, len(self.lines)))
            return
        after = [n for n, line in enumerate(self.lines, 1) if n > self.end and not _is_blank(line)]
        if after:
            message = f"the file goes on after the 999 record; not read: {len(after)} lines"
            warn("after-the-end", message, Place(path, after[0], 1))

    def _add_parts(self) -> None:
        """Give the builder the vias and the parts.

        The place of a part is the mean of its pads, its side that of its surface pads where they
        agree.
        """
        builder = self.builder
        vias = self.pads.pop(VIA)
        builder.vias += [Via(via[2], via[3], via[1], via[6], via[9]) for via in vias]
        builder.via_records = len(vias)
        builder.pad_records = sum(map(len, self.pads.values()))
        builder.part_records = len(self.pads) - ("" in self.pads)
        for refdes, pads in self.pads.items():
            numbers, _, xs, ys, on, *_, places = zip(*pads, strict=True)
            part = builder.part(refdes, Place(self.path, places[0].line, 21))
            part.pads = pads
            sides = {*on} - {Side.BOTH}
            part.side = sides.pop() if len(sides) == 1 else None
            if refdes:
                part.x, part.y = fsum(xs) / len(pads), fsum(ys) / len(pads)
                if len({*numbers}) < len(pads):
                    self._warn_of_met_pins(refdes, pads)

    def _warn_of_met_pins(self, refdes: str, pads: list[PadRecord]) -> None:
        nets_of: dict[str, set[str]] = {}
        for pad in pads:
            if pad[0] and pad[1]:
                nets_of.setdefault(pad[0], set()).add(pad[1])
        for number in sorted(number for number, nets in nets_of.items() if len(nets) > 1):
            self.builder.warn(
                "pin-on-several-nets",
                f"{refdes}.{number} is on {', '.join(sorted(nets_of[number]))}: the format cuts "
                "names, so these are kept as pins of their own",
                next(pad[11] for pad in pads if pad[0] == number),
            )


def _without_numbers(used: set[str]) -> dict[str, tuple[str, int]]:
    """Return the names of a writer that numbers all of them (`GND{1}`, `VBUS{2}`) without that.

    One that is not numbered shows that the braces are the designer's own; two that are alike
    without their number (names are cut to 14 columns) keep it.
    """
    numbered = [_NUMBERED.fullmatch(name) for name in used - UNCONNECTED]
    found = [match for match in numbered if match is not None]
    if len(found) != len(numbered) or len({match["number"] for match in found}) != len(found):
        return {}
    count = Counter(match["name"] for match in found)
    return {match[0]: (match["name"], 0) for match in found if count[match["name"]] == 1}


def _is_blank(line: str) -> bool:
    """Return whether nothing stands in the line (some systems end a file with 1A)."""
    return not line.strip(" \t\x1a\f")
