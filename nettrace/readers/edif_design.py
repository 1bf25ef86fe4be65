"""What an EDIF text says, cell by cell, before anything is expanded.

Offsets count characters from the start of the text. Ids are as written, names are as shown.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

import msgspec

#: `D[7:0]`, `D(7:0)`, `D<7:0>`, `D[7..0]`: the shown range of a bus.
_RANGE = re.compile(r"(.*?)([\[(<])(-?\d{1,9})(?::|\.\.)(-?\d{1,9})[\])>]\Z", re.DOTALL)
_CODE = re.compile(r"%\s*(\d{1,7}(?:\s+\d{1,7})*)\s*%")
_CODES = re.compile(rf"(?:{_CODE.pattern})+")
#: Bytes above 127 as codes one after the other: a character that takes several.
_CODED_BYTES = re.compile(r"(?:%(?:12[89]|1[3-9]\d|2[0-4]\d|25[0-5])%){2,}")
_NUMBER = re.compile(r"\d+")
_ID_CODE = re.compile(r"_(\d{2,3})_")
_LINE_BREAK = re.compile(r"\r?\n|\r")


class PinSaid(NamedTuple):
    """What an instance says of one of its ports: its pin number, and ("" if not) its net."""

    port: str
    member: str
    designator: str
    net: str = ""


class Port:
    """A port of a view; `sizes` is () for a single one, else the array's."""

    __slots__ = (
        "base", "designator", "direction", "first", "function", "kind", "name", "original", "size",
        "sizes", "step",
    )  # fmt: skip

    def __init__(self, name: str, sizes: tuple[int, ...] = ()) -> None:
        self.name = name
        self.sizes = sizes
        self.direction: str | None = None
        self.designator = ""
        self.function: str | None = None  # where it is said apart from the name
        self.kind: str | None = None  # electrical type, where it is said apart from the direction
        self.original = ""  # the pin's name, where the port's was changed to be the only one
        self.size = 1
        for size in sizes:
            self.size *= size
        self.base, self.first, self.step = split_range(name, self.size) if sizes else (name, 0, 0)

    def say(self, properties: dict[str, str]) -> None:
        """Take over what properties of the port say of its function and electrical type."""
        for name, value in properties.items():
            if name.lower() in ("pin_name", "pinname"):
                self.function = value
            elif name.lower() in ("pin_type", "pintype"):
                self.kind = value
            elif name.lower() == "originalpinname":
                self.original = value
                self.function = self.function or value or None

    @property
    def type(self) -> str | None:
        """The electrical type of its pins."""
        return self.kind or self.direction

    def bit(self, index: int) -> str:
        """Return the shown name of the member that stands at `index` from the left."""
        return f"{self.base}[{self.first + index * self.step}]" if self.sizes else self.name

    def bits(self, member: str) -> Sequence[int]:
        """Return the wires that are meant, counted from the left; () if out of range.

        >>> bus = Port("D[3:0]", (4,))
        >>> bus.bits("1"), bus.bits("4"), list(bus.bits(""))
        ((1,), (), [0, 1, 2, 3])
        """
        if not member:
            return range(self.size)
        flat, words = 0, member.split()
        for word, size in zip(words, self.sizes, strict=False):
            if int(word) >= size:
                return ()
            flat = flat * size + int(word)
        return (flat,) if len(words) == len(self.sizes) else ()

    def member(self, flat: int) -> str:
        """Return the member text of a wire counted from the left, "" for a single port."""
        words: list[str] = []
        for size in reversed(self.sizes):
            flat, index = divmod(flat, size)
            words.append(str(index))
        return " ".join(reversed(words))


class Instance(msgspec.Struct, gc=False, eq=False):
    """An instance in a cell's contents."""

    name: str
    view: str
    cell: str
    library: str
    offset: int
    designator: str | None = None
    properties: dict[str, str] | None = None
    pins: list[PinSaid] | None = None

    def called(self, name: str, offset: int) -> Instance:
        """Return one that says the same of itself, by another name and in another place."""
        return Instance(
            name, self.view, self.cell, self.library, offset,
            self.designator, self.properties, self.pins,
        )  # fmt: skip


class NetForm(msgspec.Struct, gc=False, eq=False):
    """A net as one form says it; `size` is 0 for a single net, else the members of an array.

    `joined` holds (port, member index or "", instance or "" for the cell's own). `connectors` are
    the shown names of the off-page connectors that it joins; `has_symbol` says that a symbol
    (power, tie, connector) is drawn in it.
    """

    id: str
    name: str
    joined: list[tuple[str, str, str]]
    offset: int
    size: int = 0
    aliases: tuple[str, ...] = ()
    globals: tuple[str, ...] = ()
    connectors: tuple[str, ...] = ()
    has_symbol: bool = False


class Annotation(msgspec.Struct, eq=False):
    """What a view map says of an instance: reference, pin numbers, properties.

    `within` says the same of the instances of its sheet, by their ids.
    """

    offset: int
    designator: str = ""
    pins: list[PinSaid] = []
    properties: dict[str, str] = {}
    within: dict[str, Annotation] = {}

    def add(self, other: Annotation) -> None:
        """Take over what another one says of the same; what was said before stands."""
        pairs = [(self, other)]
        while pairs:
            into, more = pairs.pop()
            into.designator = into.designator or more.designator
            into.pins += more.pins
            into.properties = {**more.properties, **into.properties}
            for one, each in more.within.items():
                if one in into.within:
                    pairs.append((into.within[one], each))
                else:
                    into.within[one] = each


class View(msgspec.Struct, eq=False):
    """A view of a cell: ports, and contents where it has them (pages are put together).

    `annotation` is what the cell's view map says of the instances in it, None where it has none;
    `symbols` are the ids of instances that are drawing, not parts.
    """

    name: str
    offset: int
    type: str = ""
    annotation: Annotation | None = None
    ports: dict[str, Port] = {}
    instances: dict[str, Instance] = {}
    nets: list[NetForm] = []
    properties: dict[str, str] = {}
    symbols: set[str] = set()

    def annotate(self, said: Annotation) -> None:
        """Take over what a view map says; what another one said before stands."""
        if self.annotation is None:
            self.annotation = said
        else:
            self.annotation.add(said)

    @property
    def is_sheet(self) -> bool:
        """Whether there is something in it to expand."""
        return bool(self.instances or self.nets)


class Cell(msgspec.Struct, eq=False):
    """A cell with its views, by id."""

    name: str
    views: dict[str, View] = {}
    properties: dict[str, str] = {}


class Library(msgspec.Struct, eq=False):
    """A library (or external library) with its cells, by id."""

    name: str
    cells: dict[str, Cell] = {}


class Design(msgspec.Struct, eq=False):
    """The whole text: libraries by id, and which cell is the top."""

    name: str = ""
    libraries: dict[str, Library] = {}
    top_cell: str | None = None
    top_library: str = ""
    top_offset: int = 0
    notes: list[tuple[str, int, tuple[object, ...]]] = []  # warnings: which, offset, its words
    annotations: dict[str, Annotation] = {}  # of `design` itself, by view of the top cell


def split_range(name: str, size: int) -> tuple[str, int, int]:
    """Return base name, number of the leftmost member, and the step to the next.

    Without a shown range the leftmost is the highest, as writers of `(array a 8)` mean it.

    >>> split_range("data1(3:0)", 4), split_range("a", 8), split_range("D<0..7>", 8)
    (('data1', 3, -1), ('a', 7, -1), ('D', 0, 1))
    """
    match = _RANGE.match(name)
    if match:
        left, right = int(match[3]), int(match[4])
        if abs(left - right) + 1 == size:
            return match[1], left, 1 if right > left else -1
    return name, size - 1, -1


def decode_string(quoted: str) -> str:
    r"""Return what a string token says: line breaks in it are none, %nn% is a character.

    >>> decode_string('"10K,1%37%"'), decode_string('"AB\nC"'), decode_string('"1%194%%181%F"')
    ('10K,1%', 'ABC', '1µF')
    """
    text = quoted[1:-1]
    if "\n" in text or "\r" in text:
        text = _LINE_BREAK.sub("", text)
    if "%" in text:
        text = _CODES.sub(_characters, text)
    return text


def _characters(match: re.Match[str]) -> str:
    return _CODE.sub(_character, _CODED_BYTES.sub(_encoded, match[0]))


def _encoded(match: re.Match[str]) -> str:
    """Return bytes of a text, each written as a code: UTF-8, else GB 2312, else as they are."""
    data = bytes(map(int, _NUMBER.findall(match[0])))
    for encoding, least in (("utf-8", 2), ("gb2312", 4)):
        try:
            return data.decode(encoding) if len(data) >= least else match[0]
        except UnicodeDecodeError:
            continue
    return match[0]


def _character(match: re.Match[str]) -> str:
    codes = [int(code) for code in match[1].split()]
    # a blank before the first number is seldom meant as one: then only what can be seen counts
    least = 0 if match[0][1].isdigit() else 32
    if all(least <= code < 0x110000 and not 0xD800 <= code < 0xE000 for code in codes):
        return "".join(map(chr, codes))
    return match[0]


def decode_id(identifier: str, *, codes: bool = False) -> str:
    """Return an id as a person reads it: without the leading `&`; with `codes`, `_32_` decoded.

    >>> decode_id("&4k7"), decode_id("PCB_32_Footprint", codes=True), decode_id("x_32_")
    ('4k7', 'PCB Footprint', 'x_32_')
    """
    if identifier[:1] == "&" and len(identifier) > 1:
        identifier = identifier[1:]
    if codes and "_" in identifier:
        return _ID_CODE.sub(_symbol, identifier)
    return identifier


def _symbol(match: re.Match[str]) -> str:
    character = chr(int(match[1]))
    # only what an id cannot hold itself is written as a code
    return match[0] if character.isalnum() or not character.isprintable() else character


def folded(identifier: str) -> str:
    """Return an id as the standard compares it: without case, and without `&`."""
    return identifier.casefold().removeprefix("&")
