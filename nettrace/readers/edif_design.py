"""What an EDIF text says, cell by cell, before anything is expanded.

Both readers of the text (whole forms, whole tree) fill these; `edif_board` makes the board of them.
Offsets count characters from the start of the text. Ids are as written, names are as shown.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from itertools import starmap
from typing import NamedTuple

import msgspec

__all__ = [
    "Annotation",
    "Cell",
    "Design",
    "Instance",
    "Library",
    "NetForm",
    "PinSaid",
    "Port",
    "View",
    "alias_names",
    "decode_id",
    "decode_string",
    "flat_index",
    "is_placeholder",
    "split_range",
]

#: `D[7:0]`, `D(7:0)`, `D<7:0>`, `D[7..0]`: the shown range of a bus.
_RANGE = re.compile(r"(.*?)([\[(<])(-?\d{1,9})(?::|\.\.)(-?\d{1,9})[\])>]\Z", re.DOTALL)
_CODE = re.compile(r"%\s*(\d{1,7}(?:\s+\d{1,7})*)\s*%")
_CODES = re.compile(rf"(?:{_CODE.pattern})+")
#: Bytes above 127 as codes one after the other: a character that takes several.
_CODED_BYTES = re.compile(r"(?:%(?:12[89]|1[3-9]\d|2[0-4]\d|25[0-5])%){2,}")
_NUMBER = re.compile(r"\d+")
_ID_CODE = re.compile(r"_(\d{2,3})_")
_ALIAS = re.compile(r"alias\d*", re.IGNORECASE)
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

    def __init__(
        self,
        name: str,
        direction: str | None = None,
        sizes: tuple[int, ...] = (),
        designator: str = "",
    ) -> None:
        self.name = name
        self.direction = direction
        self.sizes = sizes
        self.designator = designator
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
            match name.lower():
                case "pin_name" | "pinname":
                    self.function = value
                case "pin_type" | "pintype":
                    self.kind = value
                case "originalpinname":
                    self.original = value
                    self.function = self.function or value or None
                case _:
                    pass

    def bit(self, index: int) -> str:
        """Return the shown name of the member that stands at `index` from the left."""
        return f"{self.base}[{self.first + index * self.step}]"


class Instance(msgspec.Struct, gc=False, eq=False):
    """An instance in a cell's contents; `sizes` is the array's, () for a single one."""

    name: str
    view: str
    cell: str
    library: str
    offset: int
    designator: str | None = None
    properties: dict[str, str] | None = None
    pins: list[PinSaid] | None = None
    sizes: tuple[int, ...] = ()


class NetForm(msgspec.Struct, gc=False, eq=False):
    """A net as one form says it; `size` is 0 for a single net, else the members of an array.

    `joined` holds (port, member index or "", instance or "" for the cell's own). Where `span` is
    given it is still empty: `Design.read_span` reads it from there when it is wanted, so that not
    all connections of a large text are held at once.
    `connectors` are the shown names of the off-page connectors that it joins; `has_symbol` says
    that a symbol (power, tie, connector) is drawn in it.
    """

    id: str
    name: str
    joined: list[tuple[str, str, str]]
    offset: int
    span: tuple[int, int] | None = None
    size: int = 0
    aliases: tuple[str, ...] = ()
    globals: tuple[str, ...] = ()
    connectors: tuple[str, ...] = ()
    has_symbol: bool = False


class Annotation:
    """What a view map says of an instance: reference, pin numbers, properties.

    `within` says the same of the instances of its sheet, by their ids.
    """

    __slots__ = ("designator", "offset", "pins", "properties", "within")

    def __init__(self, offset: int) -> None:
        self.offset = offset
        self.designator = ""
        self.pins: list[PinSaid] = []
        self.properties: dict[str, str] = {}
        self.within: dict[str, Annotation] = {}

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


class View:
    """A view of a cell: ports, and contents where it has them (pages are put together).

    `annotation` is what the cell's view map says of the instances in it, None where it has none.
    """

    __slots__ = (
        "annotation",
        "designator",
        "instances",
        "name",
        "nets",
        "offset",
        "ports",
        "properties",
        "symbols",
        "type",
    )

    def __init__(self, name: str, offset: int) -> None:
        self.name = name
        self.offset = offset
        self.type = ""
        self.annotation: Annotation | None = None
        self.designator: str | None = None
        self.ports: dict[str, Port] = {}
        self.instances: dict[str, Instance] = {}
        self.nets: list[NetForm] = []
        self.properties: dict[str, str] = {}
        self.symbols: set[str] = set()  # ids of instances that are drawing, not parts

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


class Cell:
    """A cell with its views, by id."""

    __slots__ = ("name", "properties", "views")

    def __init__(self, name: str) -> None:
        self.name = name
        self.views: dict[str, View] = {}
        self.properties: dict[str, str] = {}


class Library:
    """A library (or external library) with its cells, by id."""

    __slots__ = ("cells", "name")

    def __init__(self, name: str) -> None:
        self.name = name
        self.cells: dict[str, Cell] = {}


class Design:
    """The whole text: libraries by id, and which cell is the top."""

    __slots__ = (
        "annotations",
        "libraries",
        "name",
        "notes",
        "program",
        "read_span",
        "top_cell",
        "top_library",
        "top_offset",
    )

    def __init__(self) -> None:
        self.name = ""
        self.program = ""
        self.libraries: dict[str, Library] = {}
        self.top_cell: str | None = None
        self.top_library = ""
        self.top_offset = 0
        self.notes: list[tuple[str, str, int]] = []  # warnings: code, message, offset
        self.annotations: dict[str, Annotation] = {}  # of `design` itself, by view of the top cell
        self.read_span: Callable[[int, int], list[tuple[str, str, str]]] = _nothing

    def joined(self, net: NetForm) -> list[tuple[str, str, str]]:
        """Return what a net joins, whether it was read before or not; see `NetForm`."""
        return net.joined if net.span is None else self.read_span(*net.span)

    def joined_by_each(self, nets: Sequence[NetForm]) -> list[list[tuple[str, str, str]]]:
        """Return the same of many nets."""
        spans = [net.span for net in nets if net.span is not None]
        if len(spans) == len(nets):
            return [*starmap(self.read_span, spans)]
        return [*map(self.joined, nets)]

    def read_all_spans(self) -> None:
        """Read what nets join, where that was put off."""
        for library in self.libraries.values():
            for cell in library.cells.values():
                for view in cell.views.values():
                    for net in view.nets:
                        net.joined, net.span = self.joined(net), None


def _nothing(_start: int, _end: int) -> list[tuple[str, str, str]]:
    return []


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


def is_placeholder(designator: str) -> bool:
    """Return whether a reference only holds the place of one: `?`."""
    return bool(designator) and not designator.strip("?*")


def alias_names(properties: Mapping[str, str]) -> tuple[str, ...]:
    """Return the other names that a net's properties give it (`Alias`, `Alias2`...)."""
    return tuple(text for name, text in properties.items() if _ALIAS.fullmatch(name) and text)


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


def flat_index(member: str, sizes: tuple[int, ...]) -> int | None:
    """Return the index from the left that `member` ("3", "1 2") means; None if out of range."""
    indices = [int(word) for word in member.split()]
    if len(indices) != len(sizes):
        return None
    flat = 0
    for index, size in zip(indices, sizes, strict=True):
        if not 0 <= index < size:
            return None
        flat = flat * size + index
    return flat
