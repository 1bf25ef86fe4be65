"""What an IPC-2581 file says, element by element, as plain records, before anything is joined.

No entity is expanded, and no tree of the file is built: an element that matters is kept, with those
of its children that matter, until it ends and is understood. Drawings, which are most of a file,
are passed over with the start handler of the parser switched off. Lengths of records are in mm, but
for the holes of pad stacks, which are in the file's unit.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple, NoReturn
from xml.parsers import expat

from nettrace.errors import BadInput, Place
from nettrace.knowledge import table
from nettrace.model.builder import BoardBuilder
from nettrace.readers.document import Document

ROOT = "IPC-2581"
CHUNK = 1 << 20
MILLIMETRES = {"MILLIMETER": 1.0, "MM": 1.0, "MICRON": 0.001, "INCH": 25.4}
#: Steps of an arc in the outline, degrees; common practice, no source.
ARC_STEP_DEGREES = 15.0
#: Elements that are a pad's form -> the form.
_SHAPES = {
    "Circle": "circle", "Oval": "oval", "RectCenter": "rect", "RectRound": "roundrect",
    "RectCham": "roundrect", "Ellipse": "oval", "Diamond": "custom", "Contour": "custom",
}  # fmt: skip
#: Those that never stand in themselves: an end was lost.
_NOT_NESTED = frozenset(
    {"Step", "Package", "Component", "Pin", "Pad", "BomItem", "PadStackDef", "LayerFeature",
     "LogicalNet", "Set"}
)  # fmt: skip
_NUMBER = re.compile(r"\s*[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?\s*")

Attributes = Mapping[str, str]


@dataclass(slots=True)
class Node:
    """An element that is kept, with the children that are kept."""

    name: str
    attributes: Attributes
    place: Place
    children: list[Node] = field(default_factory=list)

    def all(self, name: str) -> list[Node]:
        """Return the children of that name."""
        return [child for child in self.children if child.name == name]


class Shape(NamedTuple):
    """A pad's form: rect, roundrect, circle, oval or custom; sizes in mm (dictionaries differ)."""

    name: str
    width: float | None = None
    height: float | None = None


class Frame(NamedTuple):
    """Where something is put: offset, then turned counter-clockwise after mirroring x."""

    x: float
    y: float
    angle: float
    mirror: bool
    placed: bool  # a Location was given


class Layer(NamedTuple):
    """A layer: TOP, BOTTOM, INTERNAL, ALL..., and whether it is copper."""

    side: str
    copper: bool


class PackagePin(NamedTuple):
    """A pin of a package, relative to the package's origin."""

    number: str
    name: str | None
    frame: Frame
    through: bool
    shape: str | Shape | None  # str: the id of a primitive


@dataclass(slots=True)
class Package:
    """A package: its pins and its body's corners."""

    pins: list[PackagePin] = field(default_factory=list)
    outline: list[tuple[float, float]] = field(default_factory=list)


class Component(NamedTuple):
    """A placed component."""

    refdes: str
    package: str
    layer: str
    frame: Frame
    place: Place
    properties: dict[str, str]


class BomLine(NamedTuple):
    """A line of the parts list with the references it stands for."""

    description: str
    properties: dict[str, str]
    #: (reference, package, whether populated where it says so, place)
    references: list[tuple[str, str, bool | None, Place]]


@dataclass(slots=True)
class Padstack:
    """A pad stack: its hole, and a form per layer."""

    drill: float | None = None
    plating: str = ""  # PLATED, NONPLATED, VIA
    forms: dict[str, str | Shape] = field(default_factory=dict)


class LayerPad(NamedTuple):
    """A pad of a copper layer."""

    layer: str
    net: str | None
    via: bool
    padstack: str
    frame: Frame
    place: Place
    shape: str | Shape | None
    pins: list[tuple[str, str]]  # (componentRef, pin)


@dataclass(slots=True)
class Facts:
    """The whole file."""

    revision: str = ""
    mode: str = ""
    units: str = ""
    scale: float = 0.0  # millimetres per file unit
    step: str = ""
    layers: dict[str, Layer] = field(default_factory=dict)
    primitives: dict[str, Shape] = field(default_factory=dict)
    padstacks: dict[str, Padstack] = field(default_factory=dict)
    packages: dict[str, Package] = field(default_factory=dict)
    components: list[Component] = field(default_factory=list)
    bom: list[BomLine] = field(default_factory=list)
    logical: dict[str, list[tuple[str, str, Place]]] = field(default_factory=dict)
    points: list[tuple[str, float, float]] = field(default_factory=list)  # net, x, y
    pads: list[LayerPad] = field(default_factory=list)
    #: Holes of drill layers: net, plating, diameter, x, y.
    holes: list[tuple[str | None, str, float, float, float]] = field(default_factory=list)
    outline: list[list[tuple[float, float]]] = field(default_factory=list)


def read_facts(document: Document, builder: BoardBuilder) -> Facts:
    """Return the facts of the file; odd things are noted as warnings of the builder.

    Raises:
        BadInput: no well-formed XML, a document type or entity, another root element, a number or
            a required attribute that is damaged or missing.
    """
    stream, text = _Stream(document, builder), document.text
    try:
        for start in range(0, len(text), CHUNK):
            stream.parser.Parse(text[start : start + CHUNK], False)
        stream.parser.Parse("", True)
    except expat.ExpatError as error:
        place = Place(document.path, error.lineno, error.offset + 1)
        found = f"damaged XML ({expat.ErrorString(error.code)})"
        mark = document.excerpt(place)
        raise BadInput(found, hint="Is the file whole?", place=place, excerpt=mark) from None
    return stream.facts


def millimetres(value: float) -> float:
    """Return the length rounded to a nanometre, which is finer than any writer's digits."""
    return round(value, 6) + 0.0


class _Stream:
    """Feeds the text to expat, keeps what is open, and takes the facts of what ends."""

    def __init__(self, document: Document, builder: BoardBuilder) -> None:
        self.document = document
        self.builder = builder
        self.facts = Facts()
        self.prefix = ""
        self.reported: set[str] = set()
        known = table("ipc2581")
        self.words = {n: frozenset(t.split()) for n, t in known.items() if isinstance(t, str)}
        self.attributes, self.kept, self.drawings = (
            {element: frozenset(names.split()) for element, names in known[about].items()}
            for about in ("attributes", "kept", "drawings")
        )
        self.elements = self.words["elements"].union(self.attributes)
        self.open: list[tuple[Node, str]] = []  # each with its context
        self.node = Node(ROOT, {}, Place(document.path))
        self.context = ROOT
        self.inside = self.kept[ROOT]
        self.passed_over = ""
        self.bom_count = 0
        self.package = Package()
        #: What an element comes to when it begins; may return its context.
        self.at_start: dict[str, Callable[[Node], str | None]] = {
            "FunctionMode": self._mode, "CadHeader": self._cad_header, "Layer": self._layer,
            "Bom": self._bom, "Step": self._step, "Package": self._package, "Set": self._set,
            "LayerFeature": self._layer_feature, "LogicalNet": self._logical_net,
            "Contour": self._pass_over,
        }  # fmt: skip
        #: And when it ends; one that is not here belongs to the element around it.
        self.at_end: dict[str, Callable[[Node], None]] = {
            "EntryStandard": self._entry, "EntryUser": self._entry, "BomItem": self._bom_item,
            "PadStackDef": self._padstack, "Profile": self._profile, "Outline": self._outline,
            "Pin": self._pin, "Component": self._component, "PinRef": self._pin_reference,
            "PhyNet": self._physical_net, "Pad": self._pad, "Hole": self._hole,
        }  # fmt: skip
        self.parser = expat.ParserCreate()
        self.parser.StartDoctypeDeclHandler = self._refuse_doctype
        self.parser.StartElementHandler = self._start_root
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._text

    # ---- the parser's side ----------------------------------------------------------------------

    def _start_root(self, name: str, attributes: Attributes) -> None:
        prefix, _, local = name.rpartition(":")
        if local != ROOT:
            self._fail(self._place(), f"<{name}>", f"<{ROOT}>")
        self.prefix = f"{prefix}:" if prefix else ""
        self.facts.revision = attributes.get("revision", "")
        self.parser.StartElementHandler = self._start

    def _start(self, written: str, attributes: Attributes) -> None:
        name = written
        if self.prefix:
            name = written[len(self.prefix) :] if written.startswith(self.prefix) else "?"
        if name in self.inside:
            self._begin(Node(name, attributes, self._place()))
        elif name in self.drawings.get(self.context, ()):
            self._pass_over(Node(name, attributes, self._place()))
        elif name == self.node.name and name in _NOT_NESTED and self.context != "nothing":
            self._fail(self._place(), f"<{name}> inside <{name}>", f"</{name}>")
        elif name not in self.elements:
            self._report("element", f"<{written}>")

    def _begin(self, node: Node) -> None:
        name = node.name
        known = self.attributes.get(name)
        if known is not None and not node.attributes.keys() <= known:
            for attribute in sorted(node.attributes.keys() - known):
                self._report("attribute", f"<{self.prefix}{name} {attribute}>")
        begin = self.at_start.get(name)
        context = (begin(node) if begin is not None else None) or name
        if context in self.kept:
            self.open.append((self.node, self.context))
            self.node, self.context, self.inside = node, context, self.kept[context]
        else:
            self.at_end.get(name, self.node.children.append)(node)

    def _end(self, name: str) -> None:
        node = self.node
        if self.open and name == self.prefix + node.name:
            is_read = self.context != "nothing"
            self.node, self.context = self.open.pop()
            self.inside = self.kept[self.context]
            if is_read:
                self.at_end.get(node.name, self.node.children.append)(node)

    def _text(self, data: str) -> None:
        """Report text: this format has none, so it is a tag that lost its bracket."""
        if not data.isspace():
            self._report("text", f"'{data.strip()[:40]}'")

    def _pass_over(self, node: Node) -> None:
        """Ignore everything up to the end of the element."""
        self.passed_over = self.prefix + node.name
        self.parser.StartElementHandler = None
        self.parser.CharacterDataHandler = None
        self.parser.EndElementHandler = self._end_passed_over

    def _end_passed_over(self, name: str) -> None:
        if name == self.passed_over:
            self.parser.StartElementHandler = self._start
            self.parser.EndElementHandler = self._end
            self.parser.CharacterDataHandler = self._text

    def _place(self) -> Place:
        line, column = self.parser.CurrentLineNumber, self.parser.CurrentColumnNumber + 1
        # a named tuple made so is made in a third of the time
        place: Place = tuple.__new__(Place, (self.document.path, line, column))
        return place

    def _fail(self, place: Place, found: str, expected: str = "", hint: str = "") -> NoReturn:
        mark = self.document.excerpt(place)
        raise BadInput(found, expected=expected, hint=hint, place=place, excerpt=mark)

    def _refuse_doctype(self, *_: object) -> None:
        hint = "Entities are never expanded; remove the DOCTYPE if the file is yours."
        self._fail(self._place(), "a document type (DOCTYPE)", "plain IPC-2581", hint)

    def _report(self, kind: str, shown: str) -> None:
        """Say, once, that a word is none of this format's."""
        if shown not in self.reported:
            self.reported.add(shown)
            message = f"{shown} is no {kind} of this format; it is not read"
            self.builder.warn(f"unknown-{kind.replace(' ', '-')}", message, self._place())

    # ---- attributes -----------------------------------------------------------------------------

    def text_of(self, node: Node, name: str) -> str:
        """Return an attribute that must be there."""
        value = node.attributes.get(name)
        if value is None:
            self._fail(node.place, f"<{node.name}> without '{name}'", f'{name}="..."')
        return value

    def number_of(self, node: Node, name: str, default: float | None = None) -> float:
        """Return an attribute as a finite number; the default, if any, where it is missing."""
        text = node.attributes.get(name)
        if text is None:
            if default is not None:
                return default
            self._fail(node.place, f"<{node.name}> without '{name}'", "a number")
        if _NUMBER.fullmatch(text) is None:
            self._fail(node.place, f"{name}={text!r}", "a number")
        value = float(text)
        if not math.isfinite(value):
            self._fail(node.place, f"{name}={text!r}", "a finite number")
        return value

    def length_of(self, node: Node, name: str) -> float:
        """Return an attribute as a length, mm."""
        return self.number_of(node, name) * self.facts.scale

    def flag_of(self, node: Node, name: str) -> bool | None:
        """Return an attribute that is true or false; None where it is missing."""
        text = node.attributes.get(name)
        if text is not None and text not in {"true", "false", "1", "0"}:
            self._fail(node.place, f"{name}={text!r}", "true or false")
        return None if text is None else text in {"true", "1"}

    def scale_of(self, node: Node, units: str) -> float:
        """Return millimetres per unit."""
        scale = MILLIMETRES.get(units.strip().upper())
        if scale is None:
            self._fail(node.place, f"the unit {units!r}", "MILLIMETER, MICRON or INCH")
        return scale

    def choose(self, kind: str, value: str, *known: str) -> str:
        """Return the value; report it where it is none of those known."""
        if not any(value in self.words[words] for words in known):
            self._report(kind, f"'{value}'")
        return value

    def plating_of(self, node: Node) -> str:
        """Return whether a hole is plated."""
        return self.choose("plating", node.attributes.get("platingStatus", "PLATED"), "platings")

    # ---- forms, places and paths of whatever holds them -----------------------------------------

    def form_of(self, node: Node, scale: float) -> str | Shape | None:
        """Return the first form in an element; a text is the name of a primitive."""
        for child in node.children:
            if child.name in {"StandardPrimitiveRef", "UserPrimitiveRef"}:
                return self.text_of(child, "id")
            if child.name == "Contour":
                return Shape("custom")
            name = _SHAPES.get(child.name)
            if name is not None:
                sizes = ("diameter", "diameter") if name == "circle" else ("width", "height")
                width, height = (millimetres(self.number_of(child, size) * scale) for size in sizes)
                return Shape(name, width, height)
        return None

    def frame_of(self, node: Node) -> Frame:
        """Return where an element is put, by its Xform and Location."""
        angle, mirror, at = 0.0, False, None
        for child in node.all("Xform"):
            angle = self.number_of(child, "rotation", 0.0)
            mirror = bool(self.flag_of(child, "mirror"))
        if node.name == "Pin" and ("x" in node.attributes or "y" in node.attributes):
            at = self.length_of(node, "x"), self.length_of(node, "y")
        for child in node.all("Location"):
            at = self.length_of(child, "x"), self.length_of(child, "y")
        x, y = at or (0.0, 0.0)
        return Frame(x, y, angle, mirror, at is not None)

    def paths_of(self, node: Node) -> list[list[tuple[float, float]]]:
        """Return the paths of an outline; each begins anew."""
        paths: list[list[tuple[float, float]]] = []
        for child in node.children:
            x, y = self.length_of(child, "x"), self.length_of(child, "y")
            end = millimetres(x), millimetres(y)
            if child.name == "PolyBegin" or not paths:
                paths.append([])
            elif child.name == "PolyStepCurve":
                centre = self.length_of(child, "centerX"), self.length_of(child, "centerY")
                clockwise = child.attributes.get("clockwise", "false") in {"true", "1"}
                paths[-1] += _arc(paths[-1][-1], end, centre, clockwise=clockwise)
            paths[-1].append(end)
        return paths

    # ---- the file's head and its parts list -----------------------------------------------------

    def _mode(self, node: Node) -> None:
        self.facts.mode = node.attributes.get("mode", "")

    def _entry(self, node: Node) -> None:
        dictionary = self.node
        scale = self.scale_of(dictionary, dictionary.attributes.get("units", "MILLIMETER"))
        form = self.form_of(node, scale)
        if isinstance(form, Shape):
            self.facts.primitives.setdefault(self.text_of(node, "id"), form)

    def _bom(self, node: Node) -> str | None:
        self.bom_count += 1
        if self.bom_count == 2:
            message = "a second <Bom> (a variant): only the first is read"
            self.builder.warn("second-parts-list", message, node.place)
        return None if self.bom_count == 1 else "nothing"

    def _bom_item(self, node: Node) -> None:
        line = BomLine(node.attributes.get("description", ""), {}, [])
        if number := node.attributes.get("OEMDesignNumberRef"):
            line.properties["OEMDesignNumberRef"] = number
        for child in node.children:
            said = child.attributes
            if child.name == "RefDes":
                fitted, name = self.flag_of(child, "populate"), self.text_of(child, "name")
                line.references.append((name, said.get("packageRef", ""), fitted, child.place))
                continue
            kind = child.name.lower()
            named = said.get(f"{kind}CharacteristicName")
            value = said.get(f"{kind}CharacteristicValue")
            if named and value:
                line.properties[named] = value + said.get("engineeringUnitOfMeasure", "")
        self.facts.bom.append(line)

    # ---- the board ------------------------------------------------------------------------------

    def _cad_header(self, node: Node) -> None:
        self.facts.units = self.text_of(node, "units")
        self.facts.scale = self.scale_of(node, self.facts.units)

    def _layer(self, node: Node) -> None:
        name, function = self.text_of(node, "name"), self.text_of(node, "layerFunction")
        self.choose("layer function", function, "copper", "other_layers")
        side = self.choose("layer side", node.attributes.get("side", "NONE"), "layer_sides")
        self.facts.layers[name] = Layer(side, function in self.words["copper"])

    def _step(self, node: Node) -> str | None:
        facts = self.facts
        if not facts.scale:
            found = "<Step> before any <CadHeader units>"
            self._fail(node.place, found, "the unit of lengths first")
        name = self.text_of(node, "name")
        if facts.components:
            self.builder.warn(
                "second-step",
                f"the step '{name}' comes after the board '{facts.step}'; it is not read",
                node.place,
            )
            return "nothing"
        facts.step = name
        facts.outline.clear()
        return None

    def _padstack(self, node: Node) -> None:
        padstack = self.facts.padstacks[self.text_of(node, "name")] = Padstack()
        for child in node.all("PadstackHoleDef"):
            padstack.drill = self.number_of(child, "diameter")
            padstack.plating = self.plating_of(child)
        for child in node.all("PadstackPadDef"):
            use, layer = child.attributes.get("padUse", "REGULAR"), self.text_of(child, "layerRef")
            form = self.form_of(child, self.facts.scale)
            if form is not None:
                where = layer if use == "REGULAR" else f"{use} {layer}"
                padstack.forms.setdefault(where, form)

    def _profile(self, node: Node) -> None:
        self.facts.outline += self.paths_of(node)

    def _package(self, node: Node) -> None:
        self.package = self.facts.packages[self.text_of(node, "name")] = Package()

    def _outline(self, node: Node) -> None:
        paths = self.paths_of(node)
        if paths and not self.package.outline:
            self.package.outline = paths[-1]

    def _pin(self, node: Node) -> None:
        number, said = self.text_of(node, "number"), node.attributes
        through, frame = said.get("type") == "THRU", self.frame_of(node)
        form = self.form_of(node, self.facts.scale)
        self.package.pins.append(PackagePin(number, said.get("name") or None, frame, through, form))

    def _component(self, node: Node) -> None:
        properties = {}
        if part := node.attributes.get("part"):
            properties["part"] = part
        for child in node.all("NonstandardAttribute"):
            name, value = child.attributes.get("name"), child.attributes.get("value")
            if name and value:
                properties[name] = value
        refdes, package = self.text_of(node, "refDes"), self.text_of(node, "packageRef")
        layer, frame = self.text_of(node, "layerRef"), self.frame_of(node)
        component = Component(refdes, package, layer, frame, node.place, properties)
        self.facts.components.append(component)

    def _logical_net(self, node: Node) -> None:
        self.facts.logical.setdefault(self.text_of(node, "name"), [])

    def _pin_reference(self, node: Node) -> None:
        if self.node.name == "Pad":
            self.node.children.append(node)
            return
        pin = self.text_of(node, "componentRef"), self.text_of(node, "pin"), node.place
        self.facts.logical[self.node.attributes["name"]].append(pin)

    def _physical_net(self, node: Node) -> None:
        net = self.text_of(node, "name")
        for child in node.children:
            x, y = self.length_of(child, "x"), self.length_of(child, "y")
            self.facts.points.append((net, x, y))

    def _layer_feature(self, node: Node) -> None:
        layer = self.text_of(node, "layerRef")
        if layer not in self.facts.layers:
            self._fail(node.place, f"the layer {layer!r}", "a layer that <Layer> declares")

    def _set(self, node: Node) -> str | None:
        del node
        return None if self.facts.layers[self.node.attributes["layerRef"]].copper else "hole set"

    def _pad(self, node: Node) -> None:
        said, layer = self.node.attributes, self.open[-1][0].attributes["layerRef"]
        pins = [
            (self.text_of(pin, "componentRef"), self.text_of(pin, "pin"))
            for pin in node.all("PinRef")
        ]
        self.facts.pads.append(LayerPad(
            layer, said.get("net") or None, said.get("padUsage") == "VIA",
            node.attributes.get("padstackDefRef", ""), self.frame_of(node), node.place,
            self.form_of(node, self.facts.scale), pins,
        ))  # fmt: skip

    def _hole(self, node: Node) -> None:
        plating, net = self.plating_of(node), self.node.attributes.get("net") or None
        diameter, x, y = (self.length_of(node, name) for name in ("diameter", "x", "y"))
        self.facts.holes.append((net, plating, diameter, x, y))


def _arc(
    start: tuple[float, float],
    end: tuple[float, float],
    centre: tuple[float, float],
    *,
    clockwise: bool,
) -> list[tuple[float, float]]:
    """Return points between start and end on the arc, both left out; no sweep is a full circle."""
    first = math.atan2(start[1] - centre[1], start[0] - centre[0])
    last = math.atan2(end[1] - centre[1], end[0] - centre[0])
    sweep = (first - last if clockwise else last - first) % math.tau or math.tau
    count = max(1, math.ceil(math.degrees(sweep) / ARC_STEP_DEGREES))
    radius = math.dist(start, centre)
    step = -sweep / count if clockwise else sweep / count
    return [
        (
            millimetres(centre[0] + radius * math.cos(first + step * index)),
            millimetres(centre[1] + radius * math.sin(first + step * index)),
        )
        for index in range(1, count)
    ]
