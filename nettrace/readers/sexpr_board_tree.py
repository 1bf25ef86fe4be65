"""An s-expression board file from its whole tree: any legal text, and every fault with its place.

A form whose head is known is read or passed over; an unknown one is passed over with a warning.
"""

from __future__ import annotations

from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.sexpr_board_facts import SHAPE_LAYERS, BoardFacts, Footprint
from nettrace.readers.sexpr_board_heads import (
    FOOTPRINT_HEADS,
    PAD_HEADS,
    PAD_KINDS,
    PAD_SHAPES,
    TOP_HEADS,
    VIA_HEADS,
    ZONE_HEADS,
)
from nettrace.readers.sexpr_shapes import Point
from nettrace.readers.sexpr_text import SexprText
from nettrace.readers.sexpr_tree import Form, TreeReader

__all__ = ["BoardTree", "read_board_tree"]

#: Kind of shape -> the forms that hold its points; none: a list of them.
_GRAPHICS: dict[str, tuple[str, ...]] = {
    "line": ("start", "end"),
    "rect": ("start", "end"),
    "circle": ("center", "end"),
    "arc": ("start", "mid", "end"),
    "poly": (),
    "curve": (),
}


def read_board_tree(document: Document) -> Board:
    """Read the whole text into a tree, and the tree into a Board.

    Raises:
        BadInput: unbalanced or cut off, or a place, size or pad that cannot be right.
    """
    source = SexprText(document)
    return BoardTree(source, BoardFacts(document, source)).read()


class BoardTree:
    """Reads the forms of a board file, and hands what they say to `facts`."""

    def __init__(self, source: SexprText, facts: BoardFacts) -> None:
        self.source = source
        self.tree = TreeReader(self.source, frozenset({"footprint", "module", "segment", "zone"}))
        self.facts = facts

    def read(self) -> Board:
        """Read the whole text."""
        root = self.tree.read()
        if root.head != "kicad_pcb":
            raise self.source.error(root.start, f"'({root.head}'", expected="'(kicad_pcb'")
        facts = self.facts
        for form in root.forms():
            if form.head == "layers":
                self.layers(form)
        facts.layers_done()
        for form in root.forms():
            if form.head == "net":
                self._net(form)
        self.tree.check(root, TOP_HEADS)
        for form in root.forms():
            self._top(form)
        facts.builder.warnings += self.tree.all_warnings()
        return facts.builder.build()

    def _top(self, form: Form) -> None:
        head = form.head
        if head in {"footprint", "module"}:
            self._footprint(form)
        elif head == "via":
            self._via(form)
        elif head == "zone":
            self.zone(form)
        elif head.startswith("gr_") and head[3:] in _GRAPHICS:
            self.drawing(form)
        elif head == "version":
            self.facts.builder.version = form.word() or ""
        elif head == "title_block":
            self.title(form)

    def drawing(self, form: Form) -> None:
        """Read a line, arc... of the board: one on the edge layer is its edge."""
        layer = form.first("layer")
        if layer is not None and layer.word() == "Edge.Cuts":
            kind = form.head[3:]
            self.facts.edge(kind, self._points(form, kind), self._angle(form))

    def title(self, form: Form) -> None:
        """Read the title block."""
        title = form.first("title")
        if title is not None:
            self.facts.title(title.word() or "")

    def layers(self, form: Form) -> None:
        """Read the layer table."""
        for row in form.forms():
            name = row.word()
            kind = row.word(2)
            if not row.head.isdecimal() or len(row.head) > 4 or name is None or kind is None:
                raise self.source.error(
                    row.start,
                    f"'({row.head}' in the layer table",
                    expected="a number, a name and a kind",
                )
            self.facts.layer(int(row.head), name, kind)

    def _net(self, form: Form) -> None:
        number, name = form.word(), form.word(2)
        if number is None:
            raise self.source.error(form.start, "'(net' without a name", expected="a net's name")
        if name is None:
            name = number  # newer writers drop the number
        known = self.facts.nets.get(number)
        if known is not None and known != name:
            self.tree.warn(
                "net-number-repeated",
                f"net number {number} is {known!r} and {name!r}; the first is kept",
                form,
            )
            return
        self.facts.net(number, name, self.source.place(form.start))

    def _net_of(self, form: Form, where: str) -> str | None:
        """Return the net a form names; where number and name disagree, the name counts."""
        net = form.first("net")
        if net is None:
            return None
        name, doubt = self.facts.net_named(net.word(), net.word(2))
        if doubt:
            self.tree.warn("net-in-doubt", f"{where}: {doubt}", net)
        return name

    def _pair(self, form: Form, head: str) -> Point:
        child = form.first(head)
        if child is None:
            raise self.source.error(
                form.start,
                f"'({form.head}' without '({head} ...)'",
                expected=f"'({head} X Y)' in it",
                length=len(form.head) + 1,
            )
        return self.tree.number(child, 1, "X"), self.tree.number(child, 2, "Y")

    def _at(self, form: Form) -> tuple[float, float, float]:
        """Return x, y and angle; the angle may be absent, or a word such as `unlocked`."""
        x, y = self._pair(form, "at")
        child = form.first("at")
        angle = 0.0
        if child is not None and len(child) > 3 and child[3] != "unlocked":
            angle = self.tree.number(child, 3, "angle")
        return x, y, angle

    def _size(self, form: Form, head: str) -> float | None:
        child = form.first(head)
        return None if child is None else self.tree.number(child, 1, "size")

    def _points(self, form: Form, kind: str) -> list[Point]:
        heads = _GRAPHICS[kind]
        if not heads:
            points = form.first("pts")
            return [] if points is None else self._list_of_points(points)
        return [self._pair(form, head) for head in heads if head != "mid" or form.first("mid")]

    def _list_of_points(self, form: Form) -> list[Point]:
        found: list[Point] = []
        for child in form.forms():
            if child.head == "xy":
                found.append((self.tree.number(child, 1, "X"), self.tree.number(child, 2, "Y")))
            elif child.head == "arc":
                found += [self._pair(child, head) for head in ("start", "mid", "end")]
            else:
                self.tree.pass_over(child, "pts")
        return found

    def _angle(self, form: Form) -> float | None:
        child = form.first("angle")
        if child is None or form.first("mid") is not None:
            return None
        return self.tree.number(child, 1, "angle")

    def _footprint(self, form: Form) -> None:
        x, y, angle = self._at(form)
        layer = form.first("layer")
        package = form.word() or ""
        self.tree.once(form, frozenset({"at", "layer"}))
        footprint = self.facts.footprint(
            package,
            (layer.word() or "") if layer is not None else "",
            x,
            y,
            angle,
            self.source.place(form.start),
        )
        first = 2 if form.word() is not None else 1  # behind the package's name
        self.tree.check(form, FOOTPRINT_HEADS, frozenset({"locked", "placed"}), first)
        for child in form.forms():
            self._footprint_form(footprint, child)
        self.facts.footprint_done(footprint)

    def _footprint_form(self, footprint: Footprint, form: Form) -> None:
        facts = self.facts
        head = form.head
        draft = footprint.draft
        if head == "pad":
            self._pad(footprint, form)
        elif head == "fp_text":
            if form.word() in {"reference", "value"}:
                name = "Reference" if form.word() == "reference" else "Value"
                facts.property(footprint, name, form.word(2) or "")
            elif form.word() != "user":
                self.tree.pass_over(form, "footprint")
        elif head == "property":
            facts.property(footprint, form.word() or "", form.word(2) or "")
        elif head.startswith("fp_") and head[3:] in _GRAPHICS:
            self.shape(footprint, form)
        elif head == "attr":
            facts.attributes(footprint, form.words())
        elif head == "descr":
            facts.descr(footprint, form.word() or "")
        elif head == "tags":
            facts.tags(footprint, form.word() or "")
        elif head == "sheetname":
            draft.sheet = form.word() or None

    def shape(self, footprint: Footprint, form: Form) -> None:
        """Read a line, arc... of a footprint, where its layer says how large the part is."""
        layer = form.first("layer")
        name = (layer.word() or "") if layer is not None else ""
        if name in SHAPE_LAYERS:
            kind = form.head[3:]
            points, angle = self._points(form, kind), self._angle(form)
            self.facts.shape(footprint, kind, name, points, angle)

    def _pad(self, footprint: Footprint, form: Form) -> None:
        number, kind, shape = form.word(1), form.word(2), form.word(3)
        if number is None or kind not in PAD_KINDS or shape not in PAD_SHAPES:
            wrong = 1 if number is None else 2 if kind not in PAD_KINDS else 3
            expected = (
                "a pad's number",
                f"a kind ({', '.join(sorted(PAD_KINDS))})",
                f"a shape ({', '.join(sorted(PAD_SHAPES))})",
            )[wrong - 1]
            word = form.word(wrong)
            raise self.source.error(
                self.tree.offset(form, wrong),
                repr(word) if word is not None else "'(pad' without it",
                expected=expected,
                length=len(word or "("),
            )
        self.tree.once(form, frozenset({"at", "size", "layers", "net", "drill"}))
        self.tree.check(form, PAD_HEADS, frozenset({"locked"}), 4)
        x, y, angle = self._at(form)
        width, height = self._pair(form, "size")
        layers = form.first("layers")
        function, electrical_type = form.first("pinfunction"), form.first("pintype")
        self.facts.pad(
            footprint,
            number,
            kind,
            shape,
            x,
            y,
            angle,
            width,
            height,
            self._drill(form),
            self.facts.pad_side(tuple(layers.words()) if layers is not None else ()),
            self._net_of(form, f"pad {number}"),
            function.word() if function is not None else None,
            electrical_type.word() if electrical_type is not None else None,
            self.source.place(form.start),
        )

    def _drill(self, form: Form) -> float | None:
        """Return the hole's diameter, the smaller one of a slot: that is what a lead must pass."""
        drill = form.first("drill")
        if drill is None:
            return None
        numbers = [index for index in range(1, len(drill)) if isinstance(drill[index], str)]
        if numbers and drill[numbers[0]] == "oval":
            numbers.pop(0)
        sizes = [self.tree.number(drill, index, "drill") for index in numbers[:2]]
        return min(sizes) if sizes else None

    def _via(self, form: Form) -> None:
        x, y = self._pair(form, "at")
        self.tree.once(form, frozenset({"at", "size", "net", "drill"}))
        self.tree.check(form, VIA_HEADS, frozenset({"blind", "buried", "micro", "locked"}))
        self.facts.via(
            x, y, self._net_of(form, "a via"), self._size(form, "size"), self._size(form, "drill")
        )

    def zone(self, form: Form) -> None:
        """Read a copper area."""
        self.tree.check(form, ZONE_HEADS, frozenset({"locked"}))
        if form.first("keepout") is not None:
            return  # an area kept free, not copper
        self.tree.once(form, frozenset({"net", "layer", "layers", "net_name"}))
        layers = form.first("layers") or form.first("layer")
        net = self._net_of(form, "a zone")
        points: list[Point] = []
        for child in form.forms():
            if child.head == "polygon":
                corners = child.first("pts")
                if corners is not None:
                    points += self._list_of_points(corners)
        self.facts.zone(net, tuple(layers.words()) if layers is not None else (), points)
