"""What an EDIF text says, cell by cell, before anything is expanded.

Offsets count characters from the start of the text. Ids are as written, names are as shown.

A keyword that is not known stops the reader with line and column, unless nothing in its form names
a part or a connection: skipping such a one would lose a connection in silence. Keywords:
ANSI/EIA-548, EDIF 2 0 0 (list from memory of the standard).

View maps say what the layout made of parts drawn before it. PCB schematic tools draw a sheet once
and use it often: its instances bear no reference, or a `?`, and the view map names each by its way
through the sheets (the same is seen in published descriptions of such files):

    (instanceBackAnnotate (instanceRef I7 (instanceRef SHEET2 (viewRef TOP))) (designator "R12"))
"""

from __future__ import annotations

import contextlib
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from functools import cache
from math import prod
from sys import intern
from typing import NamedTuple

import msgspec

from nettrace.errors import BadInput
from nettrace.knowledge import table
from nettrace.model.names import nearest_names
from nettrace.readers.edif_tree import Form, Tree

#: Most members of one array; wider ones are not found on boards.
MOST_MEMBERS = 65_536
#: Most instances that arrays of instances may stand for.
MOST_INSTANCES = 1_000_000
#: Most different forms of instances that are remembered.
MOST_TOLD = 5000

_INTEGER = re.compile(r"[-+]?\d{1,30}\Z")
_INDEX = re.compile(r"\d{1,9}\Z")
#: `D[7:0]`, `D(7:0)`, `D<7:0>`, `D[7..0]`: the shown range of a bus.
_RANGE = re.compile(r"(.*?)([\[(<])(-?\d{1,9})(?::|\.\.)(-?\d{1,9})[\])>]\Z", re.DOTALL)
_CODE = re.compile(r"%\s*(\d{1,7}(?:\s+\d{1,7})*)\s*%")
_CODES = re.compile(rf"(?:{_CODE.pattern})+")
#: Bytes above 127 as codes one after the other: a character that takes several.
_CODED_BYTES = re.compile(r"(?:%(?:12[89]|1[3-9]\d|2[0-4]\d|25[0-5])%){2,}")
_ID_CODE = re.compile(r"_(\d{2,3})_")


# ---- what is said


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
        self.size = prod(sizes)
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
        self.designator = self.designator or other.designator
        self.pins += other.pins
        self.properties = {**other.properties, **self.properties}
        for one, each in other.within.items():
            if one in self.within:
                self.within[one].add(each)
            else:
                self.within[one] = each


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


# ---- names and strings


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
    text = quoted[1:-1].replace("\n", "").replace("\r", "")
    if "%" in text:
        text = _CODES.sub(_characters, text)
    return text


def _characters(match: re.Match[str]) -> str:
    return _CODE.sub(_character, _CODED_BYTES.sub(_encoded, match[0]))


def _encoded(match: re.Match[str]) -> str:
    """Return bytes of a text, each written as a code: UTF-8, else GB 2312, else as they are."""
    data = bytes(map(int, re.findall(r"\d+", match[0])))
    for encoding, least in (("utf-8", 2), ("gb2312", 4)):
        with contextlib.suppress(UnicodeDecodeError):
            return data.decode(encoding) if len(data) >= least else match[0]
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


# ---- from the top down


@cache
def _instance_head() -> re.Pattern[str]:
    """Return the pattern of an instance's keyword and name, where the name is a bare id."""
    return re.compile(r'\([ \t\r\n\f\v]*\w+[ \t\r\n\f\v]+([^ \t\r\n\f\v()"]+)')


@cache
def _known(head: str) -> frozenset[str]:
    """Return the heads of forms that may stand in a form."""
    held = table("edif")
    if head in held["only"]:
        return frozenset(held["only"][head].split())
    forms = held["forms"]
    return frozenset(f"{forms[head]} {forms['anywhere']}".split())


class CellReader:
    """Goes through the forms of a text from the top down."""

    def __init__(self, tree: Tree) -> None:
        self.tree = tree
        self.result = Design()
        self.keywords: dict[str, str] = {}  # alias -> keyword
        self.schematic = False
        self.members = 0
        # instances by what is written behind their names
        self.told: dict[tuple[bool, str], Instance] = {}

    def read(self) -> Design:
        """Return what the text says, cell by cell.

        Raises:
            BadInput: the text is not EDIF 2 0 0, with line and column.
        """
        root = self.tree.read()
        if root.head != "edif":
            raise self.fail(root, f"'({root.head}'", "'(edif NAME'")
        self.result.name = self.name(root.named, root)[1]
        for form in self.forms(root, 2, "edif"):
            if form.head == "edifversion":
                self.check_version(form)
            elif form.head == "keywordmap":
                self.keyword_map(form)
            elif form.head in ("external", "library"):
                self.library(form)
            elif form.head == "design":
                self.top(form)
        if not any(isinstance(item, Form) and item.head == "edifversion" for item in root):
            self.note("no-version", root.start)
        return self.result

    # -- small things --

    def fail(self, form: Form, found: str, expected: str = "", hint: str = "") -> BadInput:
        """Return the error to raise about a form."""
        return self.tree.lines.error(form.start, found, expected=expected, hint=hint)

    def note(self, code: str, offset: int, *words: object) -> None:
        """Note something read with care; the words go into its text of `knowledge/edif.toml`."""
        self.result.notes.append((code, offset, words))

    def forms(self, form: Form, start: int, kind: str) -> Iterator[Form]:
        """Yield the forms in it from item `start` on; all must be known in forms of its kind."""
        known = _known(kind)
        for item in form[start:]:
            if isinstance(item, str):
                raise self.fail(form, f"{_short(item)} in '({form.head}'", "a form in parentheses")
            if item.head not in known:
                item[0] = self.keywords.get(item.head, item[0])
                if item.head not in known:
                    self.leave_out(item, form, known)
                    continue
            yield item

    def inside(self, form: Form, start: int, kind: str) -> defaultdict[str, list[Form]]:
        """Return the forms in it by their keywords."""
        found: defaultdict[str, list[Form]] = defaultdict(list)
        for item in self.forms(form, start, kind):
            found[item.head].append(item)
        return found

    def leave_out(self, item: Form, parent: Form, known: frozenset[str]) -> None:
        """Note a form of an unknown keyword; an error where that could lose something.

        It can be left out where nothing in it names a part or a connection, and its keyword is no
        slip.
        """
        near = nearest_names(item.head, sorted(known), most=1) if item.head else ()
        if not item.head or near or _holds_meaning(item):
            raise self.fail(
                item,
                f"'({item.head}'",
                f"a form that belongs in '({parent.head}'",
                f"Is '({near[0]}' meant?" if near else "",
            )
        self.note("unknown-form", item.start, item.head, parent.head)

    def text(self, item: str | Form | None, parent: Form) -> str:
        """Return a string, bare or in `stringDisplay`."""
        if isinstance(item, Form) and item.head == "stringdisplay":
            item = item.named
        if isinstance(item, str) and item[0] == '"':
            return decode_string(item)
        raise self.fail(parent, f"no string in '({parent.head}'", "'\"...\"'")

    def identifier(self, item: str | Form | None, parent: Form) -> str:
        """Return an id, bare or in `name`."""
        if isinstance(item, Form) and item.head == "name":
            item = item.named
        if isinstance(item, str) and item[0] != '"':
            return item
        raise self.fail(parent, f"no name in '({parent.head}'", "a name after the keyword")

    def name(
        self, item: str | Form | None, parent: Form, codes: bool | None = None
    ) -> tuple[str, str]:
        """Return id and shown name of a definition."""
        if isinstance(item, Form) and item.head == "rename":
            if len(item) != 3:
                raise self.fail(item, "'(rename' of another shape", "'(rename ID \"NAME\")'")
            return self.identifier(item[1], item), self.text(item[2], item)
        one = self.identifier(item, parent)
        return one, decode_id(one, codes=self.schematic if codes is None else codes)

    def definition(self, form: Form) -> tuple[str, str, tuple[int, ...]]:
        """Return id, shown name and array sizes of what `form` defines."""
        item = form.named
        if not (isinstance(item, Form) and item.head == "array"):
            return (*self.name(item, form), ())
        sizes = tuple([
            int(word) if isinstance(word, str) and _INDEX.match(word) else 0 for word in item[2:]
        ])  # fmt: skip
        if not all(sizes):
            raise self.fail(item, "an array of another shape", "'(array NAME SIZE)'")
        if not sizes:
            raise self.fail(item, "an array without a size", "'(array NAME SIZE)'")
        if (total := prod(sizes)) > MOST_MEMBERS:
            raise self.fail(item, f"an array of {total} members", f"at most {MOST_MEMBERS}")
        return (*self.name(item[1], item), sizes)

    def reference(self, form: Form) -> tuple[str, str]:
        """Return id and member index ("" if none) of what `form` refers to."""
        item = form.named
        if not (isinstance(item, Form) and item.head == "member"):
            return self.identifier(item, form), ""
        indices = item[2:]
        if not indices or not all(isinstance(w, str) and _INDEX.match(w) for w in indices):
            raise self.fail(item, "'(member' of another shape", "'(member NAME INDEX)'")
        return self.identifier(item[1], item), " ".join(map(str, indices))

    def instance_reference(self, form: Form) -> str:
        """Return the id of the instance that `form` refers to; of a member, as arrays have it."""
        return " ".join(filter(None, self.reference(form)))

    def designator(self, forms: Iterable[Form]) -> str:
        """Return the first text that designators say, "" where all are empty."""
        texts = [self.text(item, form).strip() for form in forms for item in form[1:]]
        return next(filter(None, texts), "")

    def one_designator(self, known: str, said: str, form: Form, by: str = "") -> str:
        """Return a reference; a second one that differs is noted."""
        if known and said not in ("", known):
            self.note("two-designators", form.start, known, said, by)
        return known or said

    def properties(
        self, forms: Iterable[Form], into: dict[str, str] | None = None
    ) -> dict[str, str]:
        """Return what properties say (put into `into`); the first of a name counts."""
        into = {} if into is None else into
        for form in forms:
            _, name = self.name(form.named, form, codes=True)
            for item in self.forms(form, 2, "property"):
                if item.head in _known("values"):
                    into.setdefault(name, self.value(item))
        return into

    def value(self, form: Form) -> str:
        """Return a typed value as text: "" for an empty one."""
        for item in form[1:]:
            if form.head == "string":
                return self.text(item, form)
            if isinstance(item, str):
                if form.head in ("integer", "number") and not _INTEGER.match(item):
                    raise self.fail(form, f"{_short(item)} in '({form.head}'", "a whole number")
                return item
            if item.head in ("integerdisplay", "numberdisplay", "booleandisplay"):
                return self.value(item)
            if item.head in ("true", "false"):
                return item.head
            if item.head == "e":
                if len(item) != 3 or not all(
                    isinstance(w, str) and _INTEGER.match(w) for w in item[1:]
                ):
                    raise self.fail(item, "'(e' of another shape", "'(e MANTISSA EXPONENT)'")
                return f"{item[1]}e{item[2]}"
        return ""

    # -- from the top down --

    def check_version(self, form: Form) -> None:
        """Raise where it is not 2 0 0."""
        if form[1:] != ["2", "0", "0"]:
            said = " ".join(w if isinstance(w, str) else "(...)" for w in form[1:])
            hint = "Have the other program write EDIF 2 0 0."
            raise self.fail(form, f"EDIF {said}", "EDIF 2 0 0", hint)

    def keyword_map(self, form: Form) -> None:
        """Take over other words for keywords."""
        found = self.inside(form, 1, "keywordmap")
        for item in found["keywordalias"]:
            words = [word.lower() for word in item[1:] if isinstance(word, str)]
            if len(words) != 2:
                raise self.fail(item, "an alias of another shape", "'(keywordAlias NEW OLD)'")
            self.keywords[words[0]] = self.keywords.get(words[1], words[1])
        for item in found["keyworddefine"]:
            hint = "Have the other program write keyword level 0."
            raise self.fail(item, "a keyword made of others", "keyword level 0 or 1", hint)

    def top(self, form: Form) -> None:
        """Take over which cell is the top."""
        result = self.result
        _, name = self.name(form.named, form)
        if result.top_cell is not None:
            self.note("second-design", form.start, name)
            return
        found = self.inside(form, 2, "design")
        for item in found["viewmap"]:
            self.view_map(item, result.annotations)
        for item in found["cellref"]:
            result.top_cell, result.top_library = self.cell_reference(item)
            result.top_offset = item.start
        if result.top_cell is None:
            raise self.fail(form, "a design without a cell", "'(cellRef NAME)'")
        result.name = name

    def cell_reference(self, form: Form) -> tuple[str, str]:
        """Return ids of cell and library ("" if not said)."""
        cell = self.identifier(form.named, form)
        for item in self.forms(form, 2, "cellref"):
            return cell, self.identifier(item.named, item)
        return cell, ""

    def library(self, form: Form) -> None:
        """Read a library, or more of one."""
        one, name = self.name(form.named, form)
        library = self.result.libraries.setdefault(one, Library(name))
        for item in self.forms(form, 2, "library"):
            if item.head == "cell":
                self.cell(item, library)

    def cell(self, form: Form, library: Library) -> None:
        """Read a cell."""
        one, name = self.name(form.named, form, codes=False)
        if one in library.cells:
            found = f"a second cell {one!r} in library {library.name!r}"
            raise self.fail(form, found, "each name once")
        cell = library.cells[one] = Cell(name)
        annotations: dict[str, Annotation] = {}
        for item in self.forms(form, 2, "cell"):
            if item.head == "viewmap":
                self.view_map(item, annotations)
            elif item.head == "view":
                self.view(item, cell)
            elif item.head == "property":
                self.properties([item], cell.properties)
        if name == decode_id(one) and any(v.type == "SCHEMATIC" for v in cell.views.values()):
            cell.name = decode_id(one, codes=True)
        for wanted, annotation in annotations.items():
            view = _view_of(cell, wanted)
            if view is not None:
                view.annotate(annotation)
                continue
            self.note("missing-view of map", annotation.offset, cell.name, wanted)

    def view(self, form: Form, cell: Cell) -> None:
        """Read a view of a cell."""
        one, name = self.name(form.named, form, codes=False)
        if one in cell.views:
            raise self.fail(form, f"a second view {one!r} of cell {cell.name!r}", "each name once")
        view = cell.views[one] = View(name, form.start)
        items = list(self.forms(form, 2, "view"))
        for item in items:  # the type says how the rest is meant
            if item.head == "viewtype":
                view.type = self.identifier(item.named, item).upper()
        self.schematic = view.type == "SCHEMATIC"
        for item in items:
            if item.head == "interface":
                self.interface(item, view)
            elif item.head == "contents":
                self.contents(item, view, 1)
            elif item.head == "property":
                self.properties([item], view.properties)
        self.schematic = False

    def interface(self, form: Form, view: View) -> None:
        """Read the ports of a view, those of a bundle as ports of their own."""
        for item in self.forms(form, 1, "interface"):
            if item.head == "port":
                self.port(item, view)
            elif item.head == "portbundle":
                for ports in self.inside(item, 2, "portbundle")["listofports"]:
                    for port in self.forms(ports, 1, "listofports"):
                        self.port(port, view)
            elif item.head == "property":
                self.properties([item], view.properties)

    def port(self, form: Form, view: View) -> None:
        """Read a port."""
        one, name, sizes = self.definition(form)
        if one in view.ports:
            raise self.fail(form, f"a second port {one!r} of one cell", "each name once")
        port = view.ports[one] = Port(name, sizes)
        found = self.inside(form, 2, "port")
        for item in found["direction"]:
            port.direction = intern(self.identifier(item.named, item).lower())
        port.designator = self.designator(found["designator"])
        port.say(self.properties(found["property"]))

    # -- contents --

    def contents(self, form: Form, view: View, first: int) -> None:
        """Read what stands in `contents`, or in a page of it, from the item `first` on."""
        connectors: dict[str, str] = {}
        for item in self.forms(form, first, "contents"):
            if item.head == "instance":
                self.instance(item, view)
            elif item.head in ("net", "netbundle"):
                self.net(item, view)
            elif item.head == "page":
                self.page(item, view)
            elif item.head == "offpageconnector":
                one, connectors[one], _ = self.definition(item)
                view.symbols.update(self.symbols(item))
            elif item.head in ("portimplementation", "commentgraphics"):
                view.symbols.update(self.symbols(item))
            elif item.head == "property":
                self.properties([item], view.properties)
        for net in view.nets if connectors else ():
            off_page = [
                ref for ref in net.joined
                if not ref[2] and ref[0] in connectors and ref[0] not in view.ports
            ]  # fmt: skip
            net.connectors += tuple(connectors[ref[0]] for ref in off_page)
            net.joined = [ref for ref in net.joined if ref not in off_page]

    def page(self, form: Form, view: View) -> None:
        """Read a page; its instances are its own, also where another page has one of that id."""
        page = View(view.name, form.start)
        page.type, page.ports, page.properties = view.type, view.ports, view.properties
        self.contents(form, page, 2)
        drawn = page.symbols - page.instances.keys()
        again = {
            one: f"{one} {form.start}" for one in page.instances if one in view.instances
        }  # a blank is in no id
        for net in page.nets:
            net.has_symbol = net.has_symbol or any(one in drawn for _, _, one in net.joined)
            net.joined = [
                (port, member, again.get(one, one))
                for port, member, one in net.joined
                if one not in drawn
            ]
        for one, instance in page.instances.items():
            view.instances[again.get(one, one)] = instance
        view.nets += page.nets

    def symbols(self, form: Form) -> list[str]:
        """Return the ids of the instances in a form (itself included) that is drawing."""
        form = self.tree.opened(form)
        found = [self.definition(form)[0]] if form.head == "instance" else []
        return found + [
            one for each in form if isinstance(each, Form) for one in self.symbols(each)
        ]

    def instance(self, form: Form, view: View) -> None:
        """Read an instance; one that says what another one said shares what was read of that."""
        match = _instance_head().match(self.tree.text, form.start) if form.end else None
        if match is None:
            form = self.tree.opened(form)
            one, name, sizes = self.definition(form)
            said, known = "", None
        else:
            one, sizes = match[1], ()
            name = decode_id(one, codes=self.schematic)
            said = self.tree.text[match.end() : form.end]
            known = self.told.get((self.schematic, said))
        if one in view.instances or f"{one} 0" in view.instances:
            raise self.fail(form, f"a second instance {one!r} in one cell", "each name once")
        if known is None:
            notes = len(self.result.notes)
            known = self.instance_said(self.tree.opened(form), one)
            if said and notes == len(self.result.notes) and len(self.told) < MOST_TOLD:
                self.told[self.schematic, said] = known
        if not sizes:
            view.instances[one] = known.called(name, form.start)
            return
        names = Port(name, sizes)
        self.members += names.size
        if self.members > MOST_INSTANCES:
            hint = "Have the other program write a smaller design."
            raise self.fail(form, f"arrays of over {MOST_INSTANCES} instances", hint=hint)
        known.designator = known.pins = None
        for index in range(names.size):
            view.instances[f"{one} {index}"] = known.called(names.bit(index), form.start)

    def instance_said(self, form: Form, one: str) -> Instance:
        """Return what an instance says: its cell, reference, pin numbers and properties."""
        instance = Instance("", "", "", "", form.start)
        found = self.inside(form, 2, "instance")
        for item in found["viewref"]:
            self.view_reference(item, instance)
        for item in found["viewlist"]:
            for inner in self.forms(item, 1, "viewlist"):
                if inner.head == "viewref" and not instance.cell:
                    self.view_reference(inner, instance)
        for item in found["designator"]:
            said = self.designator([item])
            if said.strip("?*") or not (said or self.schematic):  # `?` only holds the place
                known = instance.designator or ""
                instance.designator = self.one_designator(known, said, item)
        for item in found["portinstance"]:
            self.port_instance(item, instance)
        if not instance.cell:
            raise self.fail(form, f"instance {one!r} without a cell", "'(viewRef V (cellRef C))'")
        instance.properties = self.properties(found["property"]) or None
        return instance

    def view_reference(self, form: Form, instance: Instance) -> None:
        """Take over which cell and view an instance is of."""
        instance.view = intern(self.identifier(form.named, form))
        for item in self.forms(form, 2, "viewref"):
            instance.cell, instance.library = map(intern, self.cell_reference(item))

    def port_instance(self, form: Form, instance: Instance) -> None:
        """Take over what an instance says of one of its pins."""
        inner = form.named
        named = inner if isinstance(inner, Form) and inner.head == "portref" else form
        port, member = self.reference(named)
        found = self.inside(form, 2, "portinstance")
        if said := self.designator(found["designator"]):
            properties = self.properties(found["property"])
            nets = (text for name, text in properties.items() if name.lower() == "net name")
            instance.pins = instance.pins or []
            instance.pins.append(PinSaid(port, member, said, next(nets, "")))

    def net(self, form: Form, view: View) -> None:
        """Read a net, or the nets of a bundle as nets of their own."""
        if form.head == "net":
            view.nets.append(self.new_net(form, view))
            return
        for item in self.inside(form, 2, "netbundle")["listofnets"]:
            for net in self.forms(item, 1, "listofnets"):
                self.net(net, view)

    def new_net(self, form: Form, view: View) -> NetForm:
        """Return the net that a form defines."""
        one, name, sizes = self.definition(form)
        net = NetForm(one, name, form.refs or [], form.start, prod(sizes) if sizes else 0)
        if len(form) > 2:
            self.net_items(form, net, view)
        return net

    def net_items(self, form: Form, net: NetForm, view: View) -> None:
        """Read what a net (or a part of it) joins, and its other names."""
        for item in self.forms(form, 2, "net"):
            if item.head == "joined":
                self.joined(item, net)
            elif item.head == "subnet":
                self.net_items(item, net, view)
            elif item.head == "net":
                self.inner_net(item, net, view)
            elif item.head == "property":
                net.aliases += tuple(
                    text
                    for name, text in self.properties([item]).items()
                    if text and re.fullmatch(r"(?i)alias\d*", name)
                )
            elif item.head in ("instance", "commentgraphics", "figure"):
                # instances nested in a net are its symbols (power, ties, connectors): no parts
                drawn = self.symbols(item)
                view.symbols.update(drawn)
                net.has_symbol = net.has_symbol or bool(drawn)

    def inner_net(self, form: Form, net: NetForm, view: View) -> None:
        """Read a net in a net: a piece of the outer one, as drawn, whose pins it repeats."""
        inner = self.new_net(form, view)
        if inner.size != net.size:
            self.note("inner-net", form.start, inner.name, net.name)
            view.nets.append(inner)
            return
        known = set(net.joined)
        net.joined += [ref for ref in inner.joined if ref not in known]
        if not inner.name.startswith("$"):  # else made up by the writer
            net.aliases += (inner.name,)
        net.aliases += inner.aliases
        net.globals += inner.globals
        net.connectors += inner.connectors
        net.has_symbol = net.has_symbol or inner.has_symbol

    def joined(self, form: Form, net: NetForm) -> None:
        """Read the ports that a net joins."""
        net.joined += form.refs
        for item in self.forms(form, 1, "joined"):
            if item.head == "portref":
                self.port_reference(item, net)
            elif item.head == "portlist":
                self.joined(item, net)
            elif item.head == "globalportref":
                net.globals += (self.reference(item)[0],)

    def port_reference(self, form: Form, net: NetForm) -> None:
        """Read one port that a net joins."""
        port, member = self.reference(form)
        instance = ""
        for item in self.forms(form, 2, "portref"):
            deep: Form | None = item
            if item.head == "instanceref":
                instance = self.instance_reference(item)
                deep = next(self.forms(item, 2, "instanceref"), None)
            if deep is not None:
                self.note("deep-reference", deep.start, net.name)
                return
        net.joined.append((port, member, instance))

    # -- view maps --

    def view_map(self, form: Form, into: dict[str, Annotation]) -> None:
        """Read what a view map says of instances, by the id of the view that it starts from."""
        for item in self.forms(form, 1, "viewmap"):
            if item.head == "instancebackannotate":
                self.annotate_instance(item, into)
            elif item.head == "portbackannotate":
                self.annotate_port(item, into)

    def annotate_instance(self, form: Form, into: dict[str, Annotation]) -> None:
        """Read the reference and the properties of an instance in one place."""
        found = self.inside(form, 1, "instancebackannotate")
        if not found["instanceref"]:
            what = "no instance in '(instancebackannotate'"
            raise self.fail(form, what, "'(instanceRef ID ...)'")
        said = self.annotated(found["instanceref"][0], into)
        self.properties(found["property"], said.properties)
        for item in found["designator"]:
            refdes = self.designator([item])
            if refdes.strip("?*"):
                said.offset = said.offset if said.designator else item.start
                by = " by the view map"
                said.designator = self.one_designator(said.designator, refdes, item, by)

    def annotate_port(self, form: Form, into: dict[str, Annotation]) -> None:
        """Read the number of a pin of an instance in one place."""
        found = self.inside(form, 1, "portbackannotate")
        number = self.designator(found["designator"])
        if not found["portref"]:
            raise self.fail(form, "no port in '(portbackannotate'", "'(portRef ID ...)'")
        named = found["portref"][0]
        port, member = self.reference(named)
        for step in self.forms(named, 2, "portref"):
            if step.head == "instanceref" and number:
                self.annotated(step, into).pins.append(PinSaid(port, member, number))

    def annotated(self, form: Form, into: dict[str, Annotation]) -> Annotation:
        """Return what is said of the instance that a chain of references leads to.

        The chain names the instance first, then the sheet it is in, and so on out to the view.
        """
        chain: list[str] = []
        view = ""
        while True:
            chain.append(self.instance_reference(form))
            found = self.inside(form, 2, "instanceref")
            for item in found["viewref"]:
                view = self.identifier(item.named, item)
            if not found["instanceref"]:
                break
            form = found["instanceref"][-1]
        said = into.setdefault(view, Annotation(form.start))
        for one in reversed(chain):
            said = said.within.setdefault(one, Annotation(form.start))
        return said


def _holds_meaning(item: Form) -> bool:
    """Return whether something in a form names a part or a connection."""
    return item.head in _known("words") or any(
        isinstance(each, Form) and _holds_meaning(each) for each in item
    )


def _view_of(cell: Cell, wanted: str) -> View | None:
    """Return the view of an id ("": the one with contents), else the one of that shown name."""
    if wanted in cell.views:
        return cell.views[wanted]
    for one, view in cell.views.items():
        if view.is_sheet if not wanted else folded(wanted) in (folded(one), folded(view.name)):
            return view
    return None


def _short(token: str) -> str:
    return repr(token if len(token) <= 24 else token[:24] + "...")
