"""What the forms of an s-expression board file mean, whichever way they were read.

Both ways (the fast grammar, the whole tree) hand plain strings and numbers to this one place, so
they cannot differ in meaning. The layer table comes first, then nets, then footprints.
"""

from __future__ import annotations

from pathlib import PurePath

from nettrace.errors import Place
from nettrace.model.board import Side, Via, Zone
from nettrace.model.builder import BoardBuilder, PartDraft
from nettrace.model.fitted import fitted_by
from nettrace.readers.document import Document
from nettrace.readers.sexpr_pins import note_pin_conflicts
from nettrace.readers.sexpr_shapes import Frame, Point, box_of, polyline, reach
from nettrace.readers.sexpr_text import SexprText

__all__ = ["BoardFacts", "Footprint"]

_COPPER_KINDS = frozenset({"signal", "power", "mixed", "jumper"})
_COURTYARDS = frozenset({"F.CrtYd", "B.CrtYd"})
_FABS = frozenset({"F.Fab", "B.Fab"})
#: Layers whose shapes in a footprint say how large the part is, or where the board ends.
SHAPE_LAYERS = _COURTYARDS | _FABS | {"Edge.Cuts"}
_MOUNTINGS = frozenset({"smd", "through_hole", "virtual"})


class Footprint:
    """A footprint while its forms are read."""

    __slots__ = ("courtyard", "draft", "fab", "frame", "has_reference")

    def __init__(self, draft: PartDraft, frame: Frame) -> None:
        self.draft = draft
        self.frame = frame
        self.has_reference = False
        self.courtyard: list[Point] = []
        self.fab: list[Point] = []


class BoardFacts:
    """Takes the facts of one board file and pushes them to a builder."""

    def __init__(self, document: Document, source: SexprText) -> None:
        self.source = source
        self.builder = BoardBuilder(document.path, "kicad_pcb")
        self.builder.digest = document.digest
        self.builder.name = PurePath(document.path).stem
        self.nets: dict[str, str] = {}  # number as written -> name
        self.top = "F.Cu"
        self.bottom = "B.Cu"
        self.copper: tuple[str, ...] = ()
        self._layers: list[tuple[int, str]] = []
        self._copper_names: frozenset[str] = frozenset()

    def title(self, title: str) -> None:
        """Take the title; one made of variables says nothing."""
        if title.strip() and "${" not in title:
            self.builder.name = title.strip()

    def layer(self, number: int, name: str, kind: str) -> None:
        """Take a row of the layer table."""
        if kind in _COPPER_KINDS:
            self._layers.append((number, name))

    def layers_done(self) -> None:
        """Order the copper layers: 0 is the top; 31, or 2 in files from 2024 on, the bottom.

        Until 2014 (version 3) they were counted from the bottom, 0, to the top, 15.
        """
        by_number = dict(self._layers)
        upwards = 15 in by_number and 31 not in by_number
        self.top = by_number.get(15 if upwards else 0, "F.Cu")
        bottom = 0 if upwards else 31 if 31 in by_number else 2
        names = {name for _, name in self._layers}
        if "B.Cu" in names:
            self.bottom = "B.Cu"
        else:
            self.bottom = by_number.get(bottom, "B.Cu")
        rows = sorted(self._layers, reverse=upwards)
        inner = [name for _, name in rows if name not in {self.top, self.bottom}]
        ordered = [self.top, *inner, self.bottom]
        self.copper = tuple(name for name in ordered if name in names)
        self._copper_names = frozenset(self.copper) | {"F.Cu", "B.Cu"}
        self.builder.layers = self.copper

    def copper_of(self, layers: tuple[str, ...]) -> tuple[str, ...]:
        """Return the copper layers that the list of layer names stands for, top first."""
        found: set[str] = set()
        for name in layers:
            if name == "*.Cu":
                found.update(self.copper or (self.top, self.bottom))
            elif name in {"F&B.Cu", "*In.Cu"}:
                found.update((self.top, self.bottom) if name == "F&B.Cu" else self.copper[1:-1])
            elif name in self._copper_names or name.endswith(".Cu"):
                found.add(name)
        order = {name: rank for rank, name in enumerate(self.copper)}
        return tuple(sorted(found, key=lambda name: (order.get(name, len(order)), name)))

    def pad_side(self, layers: tuple[str, ...]) -> Side | None:
        """Return from where the copper on these layers can be touched; None without copper."""
        copper = self.copper_of(layers)
        if not copper:
            return None
        top = self.top in copper or "F.Cu" in copper
        bottom = self.bottom in copper or "B.Cu" in copper
        if top != bottom:
            return Side.TOP if top else Side.BOTTOM
        return Side.BOTH

    def net(self, number: str, name: str, place: Place) -> None:
        """Take a row of the net table; the net without name is no net."""
        self.nets[number] = name
        if name:
            self.builder.net(name, place=place)

    def net_named(self, number: str | None, name: str | None) -> tuple[str | None, str]:
        """Return the net that `(net NUMBER NAME)` means, and what is doubtful about it, or "".

        Either may be missing: tracks give the number only, newer writers the name only. Where the
        two disagree, the name counts.
        """
        if number is None:
            return None, "'(net)' without a name"
        if name is None:
            if number in self.nets:
                return self.nets[number] or None, ""
            if self.nets and number.isdecimal():
                return None, f"net number {number} is not in the table of nets"
            return number or None, ""
        known = self.nets.get(number, name)
        if known != name:
            return (
                name or None,
                f"net {name!r} has number {number}, which is {known!r}; kept {name!r}",
            )
        return name or None, ""

    def footprint(
        self, package: str, layer: str, x: float, y: float, angle: float, place: Place
    ) -> Footprint:
        """Begin a footprint."""
        draft = self.builder.part("", place)
        draft.package = package or None
        draft.x = x + 0.0
        draft.y = 0.0 - y
        draft.angle = angle % 360.0
        draft.side = Side.BOTTOM if layer in {self.bottom, "B.Cu"} else Side.TOP
        return Footprint(draft, Frame(x, y, angle))

    def property(self, footprint: Footprint, name: str, value: str) -> None:
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

    def descr(self, footprint: Footprint, text: str) -> None:
        """Take the footprint's own description: the part's, where nothing better is said."""
        if text:
            footprint.draft.properties.setdefault("descr", text)

    def tags(self, footprint: Footprint, text: str) -> None:
        """Take the footprint's search words."""
        if text:
            footprint.draft.properties.setdefault("tags", text)

    def attributes(self, footprint: Footprint, words: list[str]) -> None:
        """Take the words of `(attr ...)`."""
        draft = footprint.draft
        for word in words:
            if word == "dnp":
                draft.fitted = False
            elif word in _MOUNTINGS:
                draft.properties["mounting"] = word
            else:
                draft.properties[word] = "yes"

    def shape(
        self,
        footprint: Footprint,
        kind: str,
        layer: str,
        points: list[Point],
        angle: float | None,
    ) -> None:
        """Take a shape of a footprint."""
        if layer in _COURTYARDS:
            footprint.courtyard += reach(kind, points, angle)
        elif layer in _FABS:
            footprint.fab += reach(kind, points, angle)
        elif layer == "Edge.Cuts":
            place = footprint.frame.place
            corners = polyline(kind, points, angle)
            if corners:
                self.builder.outline.append(tuple(place(x, y) for x, y in corners))

    def pad(
        self,
        footprint: Footprint,
        number: str,
        kind: str,
        shape: str,
        x: float,
        y: float,
        angle: float,
        width: float,
        height: float,
        drill: float | None,
        side: Side | None,
        net: str | None,
        function: str | None,
        electrical_type: str | None,
        place: Place,
    ) -> None:
        """Take a pad: x and y are its offset, `angle` its own and absolute, `side` of copper."""
        self.builder.pad_records += 1
        if side is None:
            return  # paste or mask only: no contact
        frame = footprint.frame
        cos, sin = frame.cos, frame.sin
        plated = kind != "np_thru_hole"
        draft = footprint.draft
        draft.pads.append(
            (
                number,
                net,
                round(frame.x + x * cos + y * sin, 6) + 0.0,
                round(frame.y + x * sin - y * cos, 6) + 0.0,
                side,
                shape,
                width,
                height,
                angle % 360.0,
                drill,
                plated,
                place,
            )
        )
        if plated and number and (function or electrical_type):
            draft.pin(
                number,
                net,
                name=function or None,
                electrical_type=electrical_type or None,
                place=place,
            )

    def footprint_done(self, footprint: Footprint) -> None:
        """End a footprint: its outline, and pins that stand on two nets."""
        draft = footprint.draft
        if draft.description is None:
            draft.description = draft.properties.pop("descr", None)
        box = box_of(footprint.courtyard or footprint.fab)
        if box is not None:
            x1, y1, x2, y2 = box
            place = footprint.frame.place
            draft.outline = (place(x1, y1), place(x2, y1), place(x2, y2), place(x1, y2))
        if not draft.refdes:
            if not footprint.has_reference:
                self.builder.warn(
                    "no-reference", f"footprint {draft.package!r} says no reference", draft.place
                )
            return
        nets: dict[str, str] = {}
        for pad in draft.pads:
            number, net = pad[0], pad[1]
            if net is not None and number and pad[10] and nets.setdefault(number, net) != net:
                note_pin_conflicts(
                    self.builder,
                    draft.refdes,
                    [
                        (pad[0], pad[1], pad[11])
                        for pad in draft.pads
                        if pad[0] and pad[1] is not None and pad[10] and pad[11] is not None
                    ],
                )
                break

    def via(
        self, x: float, y: float, net: str | None, diameter: float | None, drill: float | None
    ) -> None:
        """Take a via; places as in the file."""
        self.builder.vias.append(Via(x + 0.0, 0.0 - y, net, diameter, drill))

    def zone(self, net: str | None, layers: tuple[str, ...], points: list[Point]) -> None:
        """Take a copper area: one Zone for each copper layer."""
        box = box_of(points)
        if box is not None:
            x1, y1, x2, y2 = box
            box = (x1 + 0.0, 0.0 - y2, x2 + 0.0, 0.0 - y1)
        for layer in self.copper_of(layers):
            self.builder.zones.append(Zone(net, layer, box))

    def edge(self, kind: str, points: list[Point], angle: float | None) -> None:
        """Take a shape of the board's edge."""
        corners = polyline(kind, points, angle)
        if corners:
            self.builder.outline.append(
                tuple((round(x, 6) + 0.0, 0.0 - round(y, 6)) for x, y in corners)
            )
