"""Reader of s-expression board files, `(kicad_pcb ...)`: versions 3 (2013) to 20241229 and later.

A form whose head is known (knowledge/sexpr.toml) is read or passed over; an unknown one is passed
over with a warning. Layers are read first, then nets, then the rest in the order of the file.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import PurePath

from nettrace.collector import collector_off
from nettrace.errors import BadInput
from nettrace.model.board import Board, Side, Via, Zone
from nettrace.model.builder import BoardBuilder, PartDraft
from nettrace.model.fitted import fitted_by
from nettrace.readers.document import Document
from nettrace.readers.sexpr import Form, Tree
from nettrace.readers.sexpr_shapes import Frame, Point, box_of, polyline, reach

_PAD_KINDS = frozenset({"smd", "thru_hole", "connect", "np_thru_hole"})
_PAD_SHAPES = frozenset({"rect", "circle", "oval", "roundrect", "trapezoid", "custom"})

#: Kind of shape -> the forms that hold its points; none: a list of them.
_GRAPHICS: dict[str, tuple[str, ...]] = {
    "line": ("start", "end"),
    "rect": ("start", "end"),
    "circle": ("center", "end"),
    "arc": ("start", "mid", "end"),
    "poly": (),
    "curve": (),
}
_COURTYARDS = frozenset({"F.CrtYd", "B.CrtYd"})
_FABS = frozenset({"F.Fab", "B.Fab"})
#: Layers whose shapes in a footprint say how large the part is, or where the board ends.
_SHAPE_LAYERS = _COURTYARDS | _FABS | {"Edge.Cuts"}
_COPPER_KINDS = frozenset({"signal", "power", "mixed", "jumper"})
_MOUNTINGS = frozenset({"smd", "through_hole", "virtual"})


def read(document: Document) -> Board:
    """Read the file into a Board: parts, pads with their places, pins, nets, vias, copper areas.

    Raises:
        BadInput: it is cut off, unbalanced, or says what cannot be.
    """
    with collector_off():
        return _BoardFile(document).read()


class _Footprint:
    """A footprint while its forms are read."""

    __slots__ = ("courtyard", "draft", "fab", "frame", "has_reference")

    def __init__(self, draft: PartDraft, frame: Frame) -> None:
        self.draft = draft
        self.frame = frame
        self.has_reference = False
        self.courtyard: list[Point] = []
        self.fab: list[Point] = []


class _BoardFile:
    """Reads one file and pushes what it says to a builder."""

    def __init__(self, document: Document) -> None:
        top_heads = frozenset({"footprint", "module", "segment", "zone"})
        self.tree = Tree(document, "board", top_heads)
        self.lines = self.tree.lines
        self.builder = BoardBuilder(document.path, "kicad_pcb")
        self.builder.digest = document.digest
        self.builder.name = PurePath(document.path).stem
        self.nets: dict[str, str] = {}  # number as written -> name
        self.top = "F.Cu"
        self.bottom = "B.Cu"
        self.copper: tuple[str, ...] = ()  # the layers, top first
        self._copper_names: frozenset[str] = frozenset()
        self._sides: dict[tuple[str, ...], Side | None] = {}

    def read(self) -> Board:
        root = self.tree.read()
        if root.head != "kicad_pcb":
            raise self.lines.error(root.start, f"'({root.head}'", expected="'(kicad_pcb'")
        forms = root.forms
        self._layers([row for form in forms if form.head == "layers" for row in form.forms])
        for form in forms:
            if form.head == "net":
                self._net(form)
        self.tree.check(root)
        read_by_head: dict[str, Callable[[Form], None]] = {
            "footprint": self._footprint,
            "module": self._footprint,
            "via": self._via,
            "zone": self._zone,
            "version": self._version,
            "title_block": self._title,
            **{f"gr_{kind}": self._drawing for kind in _GRAPHICS},
        }
        for form in forms:
            read = read_by_head.get(form.head)
            if read is not None:
                read(form)
        self.builder.warnings += self.tree.all_warnings()
        return self.builder.build()

    def _version(self, form: Form) -> None:
        self.builder.version = form.word() or ""

    def _title(self, form: Form) -> None:
        title = (form.word_of("title") or "").strip()
        if title and "${" not in title:  # one made of variables says nothing
            self.builder.name = title

    # ---- layers

    def _layers(self, rows: list[Form]) -> None:
        """Order the copper layers: 0 is the top; 31, or 2 in files from 2024 on, the bottom.

        Until 2014 (version 3) they were counted from the bottom, 0, to the top, 15.
        """
        copper: list[tuple[int, str]] = []
        for row in rows:
            name = row.word()
            kind = row.word(2)
            if not row.head.isdecimal() or len(row.head) > 4 or name is None or kind is None:
                raise self.lines.error(
                    row.start,
                    f"'({row.head}' in the layer table",
                    expected="a number, a name and a kind",
                )
            if kind in _COPPER_KINDS:
                copper.append((int(row.head), name))
        by_number = dict(copper)
        upwards = 15 in by_number and 31 not in by_number
        self.top = by_number.get(15 if upwards else 0, "F.Cu")
        names = {name for _, name in copper}
        if "B.Cu" not in names:
            number = 0 if upwards else 31 if 31 in by_number else 2
            self.bottom = by_number.get(number, "B.Cu")
        copper.sort(reverse=upwards)
        inner = [name for _, name in copper if name not in {self.top, self.bottom}]
        ordered = (self.top, *inner, self.bottom)
        self.copper = tuple(name for name in ordered if name in names)
        self._copper_names = frozenset(self.copper) | {"F.Cu", "B.Cu"}
        self.builder.layers = self.copper

    def _copper_of(self, layers: tuple[str, ...]) -> tuple[str, ...]:
        """Return the copper layers that the list of layer names stands for, top first."""
        found: set[str] = set()
        for name in layers:
            if name == "*.Cu":
                found.update(self.copper or (self.top, self.bottom))
            elif name == "F&B.Cu":
                found.update((self.top, self.bottom))
            elif name == "*In.Cu":
                found.update(self.copper[1:-1])
            elif name in self._copper_names or name.endswith(".Cu"):
                found.add(name)
        order = {name: rank for rank, name in enumerate(self.copper)}
        return tuple(sorted(found, key=lambda name: (order.get(name, len(order)), name)))

    def _side_of(self, layers: tuple[str, ...]) -> Side | None:
        """Return from where the copper on these layers can be touched; None without copper."""
        if layers not in self._sides:
            copper = self._copper_of(layers)
            top = self.top in copper or "F.Cu" in copper
            bottom = self.bottom in copper or "B.Cu" in copper
            side = Side.BOTH if top == bottom else Side.TOP if top else Side.BOTTOM
            self._sides[layers] = side if copper else None
        return self._sides[layers]

    # ---- nets

    def _net(self, form: Form) -> None:
        """Read a row of the net table; the net without name is no net."""
        number, name = form.word(), form.word(2)
        if number is None:
            raise self.lines.error(form.start, "'(net' without a name", expected="a net's name")
        if name is None:
            name = number  # newer writers drop the number
        known = self.nets.get(number)
        if known is not None and known != name:
            self.tree.warn(
                "net-number-repeated",
                f"net number {number} is {known!r} and {name!r}; the first is kept",
                form,
            )
            return
        self.nets[number] = name
        if name:
            self.builder.net(name, place=self.tree.place(form))

    def _net_of(self, net: Form | None, where: str) -> str | None:
        """Return the net that `(net NUMBER NAME)` means; where the two disagree, the name counts.

        Either may be missing: tracks give the number only, newer writers the name only.
        """
        if net is None:
            return None
        number, name = net.word(), net.word(2)
        doubt = ""
        if number is None:
            name = None
            doubt = "'(net)' without a name"
        elif name is None:
            name = self.nets.get(number, number)
            if number not in self.nets and self.nets and number.isdecimal():
                name = None
                doubt = f"net number {number} is not in the table of nets"
        elif (known := self.nets.get(number, name)) != name:
            doubt = f"net {name!r} has number {number}, which is {known!r}; kept {name!r}"
        if doubt:
            self.tree.warn("net-in-doubt", f"{where}: {doubt}", net)
        return name or None

    # ---- places and shapes

    def _pair(self, form: Form, head: str, child: Form | None) -> Point:
        if child is None:
            raise self.lines.error(
                form.start,
                f"'({form.head}' without '({head} ...)'",
                expected=f"'({head} X Y)' in it",
                length=len(form.head) + 1,
            )
        return self.tree.number(child, 1, "X"), self.tree.number(child, 2, "Y")

    def _at(self, form: Form, child: Form | None) -> tuple[float, float, float]:
        """Return x, y and angle; the angle may be absent, or a word such as `unlocked`."""
        x, y = self._pair(form, "at", child)
        angle = 0.0
        if child is not None and child.word(3) not in {None, "unlocked"}:
            angle = self.tree.number(child, 3, "angle")
        return x, y, angle

    def _shape(self, form: Form) -> tuple[str, list[Point], float | None]:
        """Return the kind of a shape, its points, and the angle of an arc of old writers."""
        kind = form.head[3:]
        corners = _GRAPHICS[kind]
        points: list[Point] = []
        if not corners:
            points = self._list_of_points(form.first("pts"))
        for head in corners:
            child = form.first(head)
            if child is not None or head != "mid":
                points.append(self._pair(form, head, child))
        angle = form.first("angle")
        if angle is None or form.first("mid") is not None:
            return kind, points, None
        return kind, points, self.tree.number(angle, 1, "angle")

    def _list_of_points(self, form: Form | None) -> list[Point]:
        found: list[Point] = []
        for child in form.forms if form is not None else ():
            if child.head == "xy":
                found.append(self._pair(child, "xy", child))
            elif child.head == "arc":
                found += [
                    self._pair(child, head, child.first(head)) for head in ("start", "mid", "end")
                ]
            else:
                self.tree.note_unknown(child, "pts")
        return found

    def _drawing(self, form: Form) -> None:
        """Read a line, arc... of the board: one on the edge layer is its edge."""
        if form.word_of("layer") == "Edge.Cuts":
            corners = polyline(*self._shape(form))
            if corners:
                self.builder.outline.append(
                    tuple((round(x, 6) + 0.0, 0.0 - round(y, 6)) for x, y in corners)
                )

    # ---- footprints

    def _footprint(self, form: Form) -> None:
        x, y, angle = self._at(form, form.first("at"))
        package = form.word()
        first = 2 if package is not None else 1
        self.tree.once(form)
        self.tree.check(form, first)
        draft = self.builder.part("", self.tree.place(form))
        draft.package = package or None
        draft.x = x + 0.0
        draft.y = 0.0 - y
        draft.angle = angle % 360.0
        at_bottom = form.word_of("layer") in {self.bottom, "B.Cu"}
        draft.side = Side.BOTTOM if at_bottom else Side.TOP
        footprint = _Footprint(draft, Frame(x, y, angle))
        for child in form.forms:
            head = child.head
            if head == "pad":
                self._pad(footprint, child)
            elif head[:3] == "fp_" and head[3:] in _GRAPHICS:
                self._footprint_shape(footprint, child)
            else:
                self._footprint_fact(footprint, head, child)
        if draft.description is None:
            draft.description = draft.properties.pop("descr", None)
        box = box_of(footprint.courtyard or footprint.fab)
        if box is not None:
            x1, y1, x2, y2 = box
            place = footprint.frame.place
            draft.outline = (place(x1, y1), place(x2, y1), place(x2, y2), place(x1, y2))
        if draft.refdes:
            if len({pad[0] for pad in draft.pads}) < len(draft.pads):
                on_nets = [
                    (pad[0], pad[1], pad[11])
                    for pad in draft.pads
                    if pad[0] and pad[1] is not None and pad[10] and pad[11] is not None
                ]
                self.builder.note_pin_conflicts(draft.refdes, on_nets)
        elif not footprint.has_reference:
            self.builder.warn(
                "no-reference", f"footprint {draft.package!r} says no reference", draft.place
            )

    def _footprint_fact(self, footprint: _Footprint, head: str, form: Form) -> None:
        draft = footprint.draft
        said = form.word() or ""
        if head == "property":
            self._property(footprint, said, form.word(2) or "")
        elif head == "fp_text":
            if said in {"reference", "value"}:
                self._property(footprint, said.capitalize(), form.word(2) or "")
            elif said != "user":
                self.tree.note_unknown(form, "footprint")
        elif head == "attr":
            for word in form.words[1:]:
                if word == "dnp":
                    draft.fitted = False
                elif word in _MOUNTINGS:
                    draft.properties["mounting"] = word
                else:
                    draft.properties[word] = "yes"
        elif head in {"descr", "tags"}:
            if said:
                draft.properties.setdefault(head, said)
        elif head == "sheetname":
            draft.sheet = said or None

    def _property(self, footprint: _Footprint, name: str, value: str) -> None:
        """Take a property; Reference, Value, Description and dnp have a place of their own."""
        draft = footprint.draft
        if name == "Reference":
            draft.refdes = value
            footprint.has_reference = True
        elif name == "Value":
            draft.value = value or None
        elif name == "Description":
            draft.description = value or None
        elif name.lower() == "dnp":
            draft.fitted = fitted_by(name, value) if draft.fitted is None else draft.fitted
        elif value and value != "~":
            draft.properties.setdefault(name, value)

    def _footprint_shape(self, footprint: _Footprint, form: Form) -> None:
        layer = form.word_of("layer") or ""
        if layer not in _SHAPE_LAYERS:
            return
        shape = self._shape(form)
        if layer in _COURTYARDS:
            footprint.courtyard += reach(*shape)
        elif layer in _FABS:
            footprint.fab += reach(*shape)
        elif corners := polyline(*shape):
            place = footprint.frame.place
            self.builder.outline.append(tuple(place(x, y) for x, y in corners))

    def _pad(self, footprint: _Footprint, form: Form) -> None:
        number, kind, shape = form.word(1), form.word(2), form.word(3)
        if number is None or kind not in _PAD_KINDS or shape not in _PAD_SHAPES:
            raise self._odd_pad(form)
        parts = self.tree.once(form)
        self.tree.check(form, 4)
        x, y, angle = self._at(form, parts.get("at"))
        width, height = self._pair(form, "size", parts.get("size"))
        hole = self._hole(parts["drill"]) if "drill" in parts else None
        layers = parts.get("layers")
        side = self._side_of(tuple(layers.words[1:]) if layers is not None else ())
        net = self._net_of(parts.get("net"), f"pad {number}")
        self.builder.pad_records += 1
        if side is None:
            return  # paste or mask only: no contact
        frame, draft = footprint.frame, footprint.draft
        plated = kind != "np_thru_hole"
        place = self.tree.place(form)
        draft.pads.append(
            (number, net or None, *frame.place(x, y), side, shape, width, height, angle % 360.0,
             hole, plated, place)
        )  # fmt: skip
        name = parts["pinfunction"].word() if "pinfunction" in parts else None
        electrical_type = parts["pintype"].word() if "pintype" in parts else None
        if plated and number and (name or electrical_type):
            draft.pin(
                number,
                net,
                name=name or None,
                electrical_type=electrical_type or None,
                place=place,
            )

    def _odd_pad(self, form: Form) -> BadInput:
        expected = (
            (1, "a pad's number", None),
            (2, f"a kind ({', '.join(sorted(_PAD_KINDS))})", _PAD_KINDS),
            (3, f"a shape ({', '.join(sorted(_PAD_SHAPES))})", _PAD_SHAPES),
        )
        index, what = next(
            (index, what)
            for index, what, allowed in expected
            if (word := form.word(index)) is None or (allowed and word not in allowed)
        )
        word = form.word(index)
        return self.lines.error(
            self.tree.offset(form, index),
            repr(word) if word is not None else "'(pad' without it",
            expected=what,
            length=len(word or "("),
        )

    def _hole(self, drill: Form) -> float | None:
        """Return the hole's diameter, the smaller one of a slot: that is what a lead must pass."""
        first = 2 if drill.word() == "oval" else 1
        last = min(len(drill.words), first + 2)
        sizes = [self.tree.number(drill, index, "drill") for index in range(first, last)]
        return min(sizes, default=None)

    # ---- vias and copper areas

    def _via(self, form: Form) -> None:
        x, y = self._pair(form, "at", form.first("at"))
        parts = self.tree.once(form)
        self.tree.check(form)
        net = self._net_of(parts.get("net"), "a via")
        diameter, drill = (
            self.tree.number(parts[head], 1, "size") if head in parts else None
            for head in ("size", "drill")
        )
        self.builder.vias.append(Via(x + 0.0, 0.0 - y, net, diameter, drill))

    def _zone(self, form: Form) -> None:
        """Read a copper area: one Zone for each copper layer."""
        self.tree.check(form)
        if form.first("keepout") is not None:
            return  # an area kept free, not copper
        self.tree.once(form)
        layers = form.first("layers") or form.first("layer")
        net = self._net_of(form.first("net"), "a zone")
        points: list[Point] = []
        for child in form.forms:
            if child.head == "polygon":
                points += self._list_of_points(child.first("pts"))
        box = box_of(points)
        if box is not None:
            x1, y1, x2, y2 = box
            box = (x1 + 0.0, 0.0 - y2, x2 + 0.0, 0.0 - y1)
        for layer in self._copper_of(tuple(layers.words[1:]) if layers is not None else ()):
            self.builder.zones.append(Zone(net, layer, box))
