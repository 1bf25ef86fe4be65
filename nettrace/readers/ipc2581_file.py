"""What an IPC-2581 file says, element by element, as plain records, before anything is joined.

No tree is built and no entity is expanded. Each element that matters opens a context, a table of
what may stand in it; drawings, which are most of a file, are passed over with the start handler of
the parser switched off. Lengths of records are in mm, but for the holes of pad stacks, which are in
the file's unit.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import NoReturn
from xml.parsers import expat

from nettrace.errors import BadInput, Place, excerpt
from nettrace.knowledge import section, table
from nettrace.model.builder import BoardBuilder
from nettrace.readers.document import Document

ROOT = "IPC-2581"
CHUNK = 1 << 20
MILLIMETRES = {"MILLIMETER": 1.0, "MM": 1.0, "MICRON": 0.001, "INCH": 25.4}
#: Steps of an arc in the outline, degrees; common practice, no source.
ARC_STEP_DEGREES = 15.0
#: Elements with a width and a height -> the pad's form.
_BOXES = {
    "Oval": "oval", "RectCenter": "rect", "RectRound": "roundrect", "RectCham": "roundrect",
    "Ellipse": "oval", "Diamond": "custom",
}  # fmt: skip
#: Subtrees that hold nothing a board model keeps: context -> elements.
_DRAWINGS = {
    "root": "LogisticHeader HistoryRecord Avl Stackup DictionaryColor DictionaryLineDesc "
    "DictionaryFillDesc DictionaryFont DictionaryFirmware Spec",
    "package": "SilkScreen AssemblyDrawing LandPattern",
    "copper set": "Features Fiducial SlotCavity ColorRef",
    "hole set": "Features Fiducial SlotCavity ColorRef Pad",
}
_NUMBER = re.compile(r"\s*[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?\s*")

Attributes = Mapping[str, str]
Action = Callable[[Attributes], None]


@dataclass(frozen=True, slots=True)
class Shape:
    """A pad's form: rect, roundrect, circle, oval or custom; sizes in mm (dictionaries differ)."""

    name: str
    width: float | None
    height: float | None


@dataclass(slots=True)
class Frame:
    """Where something is put: offset, then turned counter-clockwise after mirroring x."""

    x: float = 0.0
    y: float = 0.0
    angle: float = 0.0
    mirror: bool = False
    placed: bool = False  # a Location was given


@dataclass(frozen=True, slots=True)
class Layer:
    """A layer: TOP, BOTTOM, INTERNAL, ALL..., and whether it is copper."""

    name: str
    side: str
    copper: bool


@dataclass(slots=True)
class PackagePin:
    """A pin of a package, relative to the package's origin."""

    number: str
    name: str | None
    frame: Frame
    through: bool = False
    shape: str | Shape | None = None  # str: the id of a primitive


@dataclass(slots=True)
class Package:
    """A package: its pins and its body's corners."""

    name: str
    pins: list[PackagePin] = field(default_factory=list)
    outline: list[tuple[float, float]] = field(default_factory=list)


@dataclass(slots=True)
class Component:
    """A placed component."""

    refdes: str
    package: str
    layer: str
    frame: Frame
    place: Place
    properties: dict[str, str] = field(default_factory=dict)


@dataclass(slots=True)
class BomLine:
    """A line of the parts list with the references it stands for."""

    description: str
    properties: dict[str, str] = field(default_factory=dict)
    #: (reference, package, whether populated where it says so, place)
    references: list[tuple[str, str, bool | None, Place]] = field(default_factory=list)


@dataclass(slots=True)
class Padstack:
    """A pad stack: its hole, and a form per layer."""

    drill: float | None = None
    plating: str = ""  # PLATED, NONPLATED, VIA
    forms: dict[str, str | Shape] = field(default_factory=dict)


@dataclass(slots=True)
class LayerPad:
    """A pad of a copper layer."""

    layer: str
    net: str | None
    via: bool
    padstack: str
    frame: Frame
    place: Place
    shape: str | Shape | None = None
    pins: list[tuple[str, str]] = field(default_factory=list)  # (componentRef, pin)


@dataclass(slots=True)
class Hole:
    """A hole of a drill layer."""

    net: str | None
    plating: str
    diameter: float
    x: float
    y: float


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
    holes: list[Hole] = field(default_factory=list)
    outline: list[list[tuple[float, float]]] = field(default_factory=list)


def read_facts(document: Document, builder: BoardBuilder) -> Facts:
    """Return the facts of the file; odd things are noted as warnings of the builder.

    Raises:
        BadInput: no well-formed XML, a document type or entity, another root element, a number or
            a required attribute that is damaged or missing.
    """
    stream = _Stream(document, builder)
    stream.run()
    return stream.facts


def millimetres(value: float) -> float:
    """Return the length rounded to a nanometre, which is finer than any writer's digits."""
    return round(value, 6) + 0.0


class _Stream:
    """Feeds the text to expat, keeps the stack of contexts, and gathers what stands in each."""

    def __init__(self, document: Document, builder: BoardBuilder) -> None:
        self.document = document
        self.builder = builder
        self.facts = Facts()
        self.prefix = ""
        self.element = ""  # that begins, without prefix
        # the open contexts: (element that closes it, its table)
        self.contexts: list[tuple[str, dict[str, Action]]] = []
        self.closing, self.actions = "", dict[str, Action]()
        self.passed_over = ""
        self.reported: set[str] = set()
        self.words = {name: frozenset(text.split()) for name, text in table("ipc2581").items()
                      if isinstance(text, str)}  # fmt: skip
        self.attributes = {
            element: frozenset(names.split())
            for element, names in section("ipc2581", "attributes").items()
        }
        self.elements = self.words["elements"].union(self.attributes)
        # what is open, or was last
        self.dictionary_scale = 1.0
        self.entry = ""  # of a dictionary
        self.frame = Frame()
        self.padstack, self.form_layer = Padstack(), ""
        self.package = Package("")
        self.pin: PackagePin | None = None
        self.pad: LayerPad | None = None
        self.component: Component | None = None
        self.path: list[tuple[float, float]] = []
        self.bom_line, self.bom_count = BomLine(""), 0
        self.net = self.layer = ""
        self.set_net: str | None = None
        self.set_via = False
        self.parser = expat.ParserCreate()
        self.parser.StartDoctypeDeclHandler = self._refuse_doctype
        self.parser.EntityDeclHandler = self._refuse_entity
        self.parser.StartElementHandler = self._start_root
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._text
        self.tables = self._tables()

    def run(self) -> None:
        """Parse the whole text; BadInput where it is no well-formed XML."""
        text = self.document.text
        try:
            for start in range(0, len(text), CHUNK):
                self.parser.Parse(text[start : start + CHUNK], False)
            self.parser.Parse("", True)
        except expat.ExpatError as error:
            place = Place(self.document.path, error.lineno, error.offset + 1)
            raise BadInput(
                f"damaged XML ({expat.ErrorString(error.code)})",
                hint="Is the file whole?",
                place=place,
                excerpt=excerpt(text, place.line, place.column),
            ) from None

    def _tables(self) -> dict[str, dict[str, Action]]:
        """Return context -> element -> what to do at its start."""
        shapes: dict[str, Action] = {
            "Circle": self.on_circle,
            **dict.fromkeys(_BOXES, self.on_box),
            "Contour": self.on_contour,
        }
        forms: dict[str, Action] = {
            **shapes,
            "StandardPrimitiveRef": self.on_primitive_reference,
            "UserPrimitiveRef": self.on_primitive_reference,
        }
        placing: dict[str, Action] = {"Xform": self.on_xform, "Location": self.on_location}
        tables: dict[str, dict[str, Action]] = {
            "root": {
                "FunctionMode": self.on_mode,
                "DictionaryStandard": self.on_dictionary,
                "DictionaryUser": self.on_dictionary,
                "Bom": self.on_bom,
                "CadHeader": self.on_cad_header,
                "Layer": self.on_layer,
                "Step": self.on_step,
                # its place is in the step; some write it before
                "LogicalNet": self.on_logical_net,
            },
            "dictionary": {"EntryStandard": self.on_entry, "EntryUser": self.on_entry, **shapes},
            "bom": {"BomItem": self.on_bom_item},
            "bom item": {
                "RefDes": self.on_refdes,
                **dict.fromkeys(("Textual", "Enumerated", "Measured"), self.on_characteristic),
            },
            "step": {
                "PadStackDef": self.on_padstack,
                "Profile": self.on_path,
                "Package": self.on_package,
                "Component": self.on_component,
                "LogicalNet": self.on_logical_net,
                "PhyNet": self.on_physical_net,
                "LayerFeature": self.on_layer_feature,
            },
            "padstack": {
                "PadstackHoleDef": self.on_padstack_hole,
                "PadstackPadDef": self.on_padstack_form,
                **forms,
            },
            "path": {
                "PolyBegin": self.on_path_begin,
                "PolyStepSegment": self.on_path_step,
                "PolyStepCurve": self.on_path_curve,
            },
            "package": {"Outline": self.on_path, "Pin": self.on_pin},
            "pin": {**placing, **forms},
            "component": {**placing, "NonstandardAttribute": self.on_component_attribute},
            "logical net": {"PinRef": self.on_net_pin},
            "physical net": {"PhyNetPoint": self.on_net_point},
            "copper": {"Set": self.on_copper_set},
            "other layer": {"Set": self.on_hole_set},
            "copper set": {"Pad": self.on_pad, "Hole": self.on_hole},
            "hole set": {"Hole": self.on_hole},
            "nothing": {},
            "pad": {**placing, **forms, "PinRef": self.on_pad_pin},
        }
        for element, context in (
            ("Step", "step"), ("Package", "package"), ("Component", "component"), ("Pin", "pin"),
            ("Pad", "pad"), ("BomItem", "bom item"), ("PadStackDef", "padstack"),
            ("LayerFeature", "copper"), ("LogicalNet", "logical net"), ("Set", "copper set"),
        ):  # fmt: skip
            tables[context][element] = self._refuse_nested
        for context, elements in _DRAWINGS.items():
            tables[context].update(dict.fromkeys(elements.split(), self.pass_over))
        return tables

    # ---- the parser's side ----------------------------------------------------------------------

    def _start_root(self, name: str, attributes: Attributes) -> None:
        prefix, _, local = name.rpartition(":")
        if local != ROOT:
            self.fail(f"<{name}>", f"<{ROOT}>")
        self.prefix = f"{prefix}:" if prefix else ""
        self.facts.revision = attributes.get("revision", "")
        self.actions = self.tables["root"]
        self.parser.StartElementHandler = self._start

    def _start(self, name: str, attributes: Attributes) -> None:
        if self.prefix:
            if not name.startswith(self.prefix):
                self.report("element", f"<{name}>")
                return
            name = name[len(self.prefix) :]
        action = self.actions.get(name)
        if action is not None:
            self.element = name
            known = self.attributes.get(name)
            if known is not None and not attributes.keys() <= known:
                for attribute in sorted(attributes.keys() - known):
                    self.report("attribute", f"<{self.prefix}{name} {attribute}>")
            action(attributes)
        elif name not in self.elements:
            self.report("element", f"<{self.prefix}{name}>")

    def _end(self, name: str) -> None:
        if name == self.closing:
            self._close(name[len(self.prefix) :])
            self.closing, self.actions = self.contexts.pop()

    def _text(self, data: str) -> None:
        """Report text: this format has none, so it is a tag that lost its bracket."""
        if not data.isspace():
            self.report("text", f"'{data.strip()[:40]}'")

    def pass_over(self, _: Attributes) -> None:
        """Ignore everything up to the end of the element."""
        self.passed_over = self.prefix + self.element
        self.parser.StartElementHandler = None
        self.parser.CharacterDataHandler = None
        self.parser.EndElementHandler = self._end_passed_over

    def _end_passed_over(self, name: str) -> None:
        if name == self.passed_over:
            self.parser.StartElementHandler = self._start
            self.parser.EndElementHandler = self._end
            self.parser.CharacterDataHandler = self._text

    def open(self, context: str) -> None:
        """Go into a context; the end of the element leads back."""
        self.contexts.append((self.closing, self.actions))
        self.closing = self.prefix + self.element
        self.actions = self.tables[context]

    def place(self) -> Place:
        """Return where the parser is."""
        parser = self.parser
        return Place(self.document.path, parser.CurrentLineNumber, parser.CurrentColumnNumber + 1)

    def fail(self, found: str, expected: str = "", hint: str = "") -> NoReturn:
        """Raise BadInput for what stands where the parser is."""
        place = self.place()
        raise BadInput(
            found,
            expected=expected,
            hint=hint,
            place=place,
            excerpt=excerpt(self.document.text, place.line, place.column),
        )

    def _refuse_doctype(self, *_: object) -> None:
        self.fail(
            "a document type (DOCTYPE)",
            "plain IPC-2581",
            "Entities are never expanded; remove the DOCTYPE if the file is yours.",
        )

    def _refuse_entity(self, *_: object) -> None:
        self.fail("an entity declaration", "plain IPC-2581", "Entities are never expanded.")

    def _refuse_nested(self, _: Attributes) -> None:
        self.fail(f"<{self.element}> inside <{self.element}>", f"</{self.element}>")

    def report(self, kind: str, shown: str) -> None:
        """Say, once, that a word is none of this format's."""
        if shown not in self.reported:
            self.reported.add(shown)
            message = f"{shown} is no {kind} of this format; it is not read"
            self.builder.warn(f"unknown-{kind.replace(' ', '-')}", message, self.place())

    def text_of(self, attributes: Attributes, name: str) -> str:
        """Return an attribute that must be there."""
        value = attributes.get(name)
        if value is None:
            self.fail(f"<{self.element}> without '{name}'", f'{name}="..."')
        return value

    def number_of(self, attributes: Attributes, name: str, default: float | None = None) -> float:
        """Return an attribute as a finite number; the default, if any, where it is missing."""
        text = attributes.get(name)
        if text is None:
            if default is not None:
                return default
            self.fail(f"<{self.element}> without '{name}'", "a number")
        if _NUMBER.fullmatch(text) is None:
            self.fail(f"{name}={text!r}", "a number")
        value = float(text)
        if not math.isfinite(value):
            self.fail(f"{name}={text!r}", "a finite number")
        return value

    def length_of(self, attributes: Attributes, name: str) -> float:
        """Return an attribute as a length, mm."""
        return self.number_of(attributes, name) * self.facts.scale

    def flag_of(self, attributes: Attributes, name: str) -> bool | None:
        """Return an attribute that is true or false; None where it is missing."""
        text = attributes.get(name)
        if text is not None and text not in {"true", "false", "1", "0"}:
            self.fail(f"{name}={text!r}", "true or false")
        return None if text is None else text in {"true", "1"}

    def scale_of(self, units: str) -> float:
        """Return millimetres per unit; BadInput for an unknown unit."""
        scale = MILLIMETRES.get(units.strip().upper())
        if scale is None:
            self.fail(f"the unit {units!r}", "MILLIMETER, MICRON or INCH")
        return scale

    def choose(self, kind: str, value: str, *known: str) -> None:
        """Report a value that is none of those known."""
        if not any(value in self.words[words] for words in known):
            self.report(kind, f"'{value}'")

    def plating_of(self, attributes: Attributes) -> str:
        plating = attributes.get("platingStatus", "PLATED")
        self.choose("plating", plating, "platings")
        return plating

    # ---- forms, places and paths: they go to whatever is open -----------------------------------

    def _take_form(self, form: str | Shape) -> None:
        if self.pad is not None:
            self.pad.shape = self.pad.shape or form
        elif self.pin is not None:
            self.pin.shape = self.pin.shape or form
        elif self.form_layer:
            self.padstack.forms.setdefault(self.form_layer, form)
        elif self.entry and isinstance(form, Shape):
            self.facts.primitives.setdefault(self.entry, form)

    def _form_length(self, attributes: Attributes, name: str) -> float:
        in_dictionary = self.pad is None and self.pin is None and not self.form_layer
        scale = self.dictionary_scale if in_dictionary else self.facts.scale
        return millimetres(self.number_of(attributes, name) * scale)

    def on_circle(self, attributes: Attributes) -> None:
        size = self._form_length(attributes, "diameter")
        self._take_form(Shape("circle", size, size))

    def on_box(self, attributes: Attributes) -> None:
        width = self._form_length(attributes, "width")
        height = self._form_length(attributes, "height")
        self._take_form(Shape(_BOXES[self.element], width, height))

    def on_contour(self, attributes: Attributes) -> None:
        self._take_form(Shape("custom", None, None))
        self.pass_over(attributes)

    def on_primitive_reference(self, attributes: Attributes) -> None:
        self._take_form(self.text_of(attributes, "id"))

    def on_path(self, _: Attributes) -> None:
        self.path = []
        self.open("path")

    def on_path_begin(self, attributes: Attributes) -> None:
        if self.path and self.closing == self.prefix + "Profile":
            self.facts.outline.append(self.path)
        self.path = [self._point(attributes)]

    def on_path_step(self, attributes: Attributes) -> None:
        self.path.append(self._point(attributes))

    def on_path_curve(self, attributes: Attributes) -> None:
        end = self._point(attributes)
        centre = self.length_of(attributes, "centerX"), self.length_of(attributes, "centerY")
        clockwise = attributes.get("clockwise", "false") in {"true", "1"}
        if self.path:
            self.path.extend(_arc(self.path[-1], end, centre, clockwise=clockwise))
        self.path.append(end)

    def _point(self, attributes: Attributes) -> tuple[float, float]:
        x, y = self.length_of(attributes, "x"), self.length_of(attributes, "y")
        return millimetres(x), millimetres(y)

    def on_xform(self, attributes: Attributes) -> None:
        self.frame.angle = self.number_of(attributes, "rotation", 0.0)
        self.frame.mirror = bool(self.flag_of(attributes, "mirror"))

    def on_location(self, attributes: Attributes) -> None:
        self.frame.x = self.length_of(attributes, "x")
        self.frame.y = self.length_of(attributes, "y")
        self.frame.placed = True

    # ---- the file's head and its parts list -----------------------------------------------------

    def on_mode(self, attributes: Attributes) -> None:
        self.facts.mode = attributes.get("mode", "")

    def on_dictionary(self, attributes: Attributes) -> None:
        self.dictionary_scale = self.scale_of(attributes.get("units", "MILLIMETER"))
        self.entry = ""
        self.open("dictionary")

    def on_entry(self, attributes: Attributes) -> None:
        self.entry = self.text_of(attributes, "id")

    def on_bom(self, _: Attributes) -> None:
        self.bom_count += 1
        if self.bom_count == 2:
            message = "a second <Bom> (a variant): only the first is read"
            self.builder.warn("second-parts-list", message, self.place())
        self.open("bom" if self.bom_count == 1 else "nothing")

    def on_bom_item(self, attributes: Attributes) -> None:
        self.bom_line = BomLine(attributes.get("description", ""))
        if number := attributes.get("OEMDesignNumberRef"):
            self.bom_line.properties["OEMDesignNumberRef"] = number
        self.facts.bom.append(self.bom_line)
        self.open("bom item")

    def on_refdes(self, attributes: Attributes) -> None:
        fitted = self.flag_of(attributes, "populate")
        name, package = self.text_of(attributes, "name"), attributes.get("packageRef", "")
        self.bom_line.references.append((name, package, fitted, self.place()))

    def on_characteristic(self, attributes: Attributes) -> None:
        kind = self.element.lower()
        name = attributes.get(f"{kind}CharacteristicName")
        value = attributes.get(f"{kind}CharacteristicValue")
        if name and value:
            unit = attributes.get("engineeringUnitOfMeasure", "")
            self.bom_line.properties[name] = value + unit

    # ---- the board ------------------------------------------------------------------------------

    def on_cad_header(self, attributes: Attributes) -> None:
        self.facts.units = self.text_of(attributes, "units")
        self.facts.scale = self.scale_of(self.facts.units)

    def on_layer(self, attributes: Attributes) -> None:
        name = self.text_of(attributes, "name")
        function = self.text_of(attributes, "layerFunction")
        side = attributes.get("side", "NONE")
        self.choose("layer function", function, "copper", "other_layers")
        self.choose("layer side", side, "layer_sides")
        self.facts.layers[name] = Layer(name, side, function in self.words["copper"])

    def on_step(self, attributes: Attributes) -> None:
        if not self.facts.scale:
            self.fail("<Step> before any <CadHeader units>", "the unit of lengths first")
        name = self.text_of(attributes, "name")
        if self.facts.components:
            self.builder.warn(
                "second-step",
                f"the step '{name}' comes after the board '{self.facts.step}'; it is not read",
                self.place(),
            )
            self.open("nothing")
            return
        self.facts.step = name
        self.facts.outline.clear()
        self.open("step")

    def on_padstack(self, attributes: Attributes) -> None:
        self.padstack, self.form_layer = Padstack(), ""
        self.facts.padstacks[self.text_of(attributes, "name")] = self.padstack
        self.open("padstack")

    def on_padstack_hole(self, attributes: Attributes) -> None:
        self.padstack.drill = self.number_of(attributes, "diameter")
        self.padstack.plating = self.plating_of(attributes)

    def on_padstack_form(self, attributes: Attributes) -> None:
        use, layer = attributes.get("padUse", "REGULAR"), self.text_of(attributes, "layerRef")
        self.form_layer = layer if use == "REGULAR" else f"{use} {layer}"

    def on_package(self, attributes: Attributes) -> None:
        name = self.text_of(attributes, "name")
        self.package = self.facts.packages[name] = Package(name)
        self.open("package")

    def on_pin(self, attributes: Attributes) -> None:
        self.frame = Frame()
        if "x" in attributes or "y" in attributes:
            self.on_location(attributes)
        number, through = self.text_of(attributes, "number"), attributes.get("type") == "THRU"
        self.pin = PackagePin(number, attributes.get("name") or None, self.frame, through)
        self.open("pin")

    def on_component(self, attributes: Attributes) -> None:
        self.frame = Frame()
        self.component = Component(
            self.text_of(attributes, "refDes"),
            self.text_of(attributes, "packageRef"),
            self.text_of(attributes, "layerRef"),
            self.frame,
            self.place(),
        )
        if part := attributes.get("part"):
            self.component.properties["part"] = part
        self.open("component")

    def on_component_attribute(self, attributes: Attributes) -> None:
        name, value = attributes.get("name"), attributes.get("value")
        if self.component is not None and name and value:
            self.component.properties[name] = value

    def on_logical_net(self, attributes: Attributes) -> None:
        self.net = self.text_of(attributes, "name")
        self.facts.logical.setdefault(self.net, [])
        self.open("logical net")

    def on_net_pin(self, attributes: Attributes) -> None:
        component, pin = self.text_of(attributes, "componentRef"), self.text_of(attributes, "pin")
        self.facts.logical[self.net].append((component, pin, self.place()))

    def on_physical_net(self, attributes: Attributes) -> None:
        self.net = self.text_of(attributes, "name")
        self.open("physical net")

    def on_net_point(self, attributes: Attributes) -> None:
        x, y = self.length_of(attributes, "x"), self.length_of(attributes, "y")
        self.facts.points.append((self.net, x, y))

    def on_layer_feature(self, attributes: Attributes) -> None:
        self.layer = self.text_of(attributes, "layerRef")
        layer = self.facts.layers.get(self.layer)
        if layer is None:
            self.fail(f"the layer {self.layer!r}", "a layer that <Layer> declares")
        self.open("copper" if layer.copper else "other layer")

    def on_copper_set(self, attributes: Attributes) -> None:
        self.set_net = attributes.get("net") or None
        self.set_via = attributes.get("padUsage") == "VIA"
        self.open("copper set")

    def on_hole_set(self, attributes: Attributes) -> None:
        self.set_net = attributes.get("net") or None
        self.open("hole set")

    def on_pad(self, attributes: Attributes) -> None:
        self.frame = Frame()
        padstack = attributes.get("padstackDefRef", "")
        self.pad = LayerPad(
            self.layer, self.set_net, self.set_via, padstack, self.frame, self.place()
        )
        self.open("pad")

    def on_pad_pin(self, attributes: Attributes) -> None:
        if self.pad is not None:
            component = self.text_of(attributes, "componentRef")
            self.pad.pins.append((component, self.text_of(attributes, "pin")))

    def on_hole(self, attributes: Attributes) -> None:
        self.facts.holes.append(
            Hole(
                self.set_net,
                self.plating_of(attributes),
                self.length_of(attributes, "diameter"),
                self.length_of(attributes, "x"),
                self.length_of(attributes, "y"),
            )
        )

    def _close(self, element: str) -> None:
        """Take what a context has gathered."""
        facts = self.facts
        if element == "Pad" and self.pad is not None:
            facts.pads.append(self.pad)
            self.pad = None
        elif element == "Pin" and self.pin is not None:
            self.package.pins.append(self.pin)
            self.pin = None
        elif element == "Component" and self.component is not None:
            facts.components.append(self.component)
            self.component = None
        elif element == "Outline":
            self.package.outline = self.package.outline or self.path
        elif element == "PadStackDef":
            self.form_layer = ""
        elif element == "Profile" and self.path:
            facts.outline.append(self.path)
            self.path = []


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
