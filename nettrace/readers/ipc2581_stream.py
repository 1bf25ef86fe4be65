"""Streams IPC-2581 through expat into Facts: no tree is built, and no entity is expanded.

Each element that matters opens a context, a table of what may stand in it; drawings (tracks,
silkscreen, texts), which are most of a file, are passed over with the start handler switched off.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from typing import NoReturn
from xml.parsers import expat

from nettrace.errors import BadInput, Place, excerpt
from nettrace.model.builder import BoardBuilder
from nettrace.readers.document import Document
from nettrace.readers.ipc2581_facts import (
    BomLine,
    ComponentFact,
    Facts,
    Frame,
    HoleFact,
    Layer,
    PackageFact,
    PadFact,
    PadstackFact,
    PinFact,
    Shape,
)
from nettrace.readers.ipc2581_words import (
    ATTRIBUTES,
    COPPER,
    ELEMENTS,
    LAYER_FUNCTIONS,
    LAYER_SIDES,
    PLATINGS,
)

__all__ = ["stream_facts"]

ROOT = "IPC-2581"
MILLIMETRES = {"MILLIMETER": 1.0, "MICRON": 0.001, "INCH": 25.4}
#: Steps of an arc in the outline, degrees; common practice, no source.
ARC_STEP_DEGREES = 15.0
CHUNK = 1 << 20

Attributes = Mapping[str, str]
Action = Callable[[Attributes], None]

_NUMBER = re.compile(r"\s*[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?\s*")
#: Subtrees that hold nothing a board model keeps.
_DRAWINGS = {
    "root": (
        "LogisticHeader", "HistoryRecord", "Avl", "Stackup", "DictionaryColor",
        "DictionaryLineDesc", "DictionaryFillDesc", "DictionaryFont", "DictionaryFirmware", "Spec",
    ),
    "package": ("SilkScreen", "AssemblyDrawing", "LandPattern"),
    "set": ("Features", "Fiducial", "SlotCavity", "ColorRef"),
}  # fmt: skip


def stream_facts(document: Document, builder: BoardBuilder) -> Facts:
    """Return the facts of the file; odd things are noted as warnings of the builder.

    Raises:
        BadInput: no well-formed XML, a document type or entity, another root element, a number or
            a required attribute that is damaged or missing.
    """
    stream = _Stream(document, builder)
    stream.run()
    return stream.facts


class _Stream:
    def __init__(self, document: Document, builder: BoardBuilder) -> None:
        self.document = document
        self.builder = builder
        self.facts = Facts()
        self.reported: set[str] = set()
        self.elements, self.attributes = ELEMENTS, ATTRIBUTES
        self.parser = expat.ParserCreate()
        self.parser.StartDoctypeDeclHandler = self._refuse_doctype
        self.parser.EntityDeclHandler = self._refuse_entity
        self.parser.StartElementHandler = self._start_root
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._text
        self.prefix = ""
        # the open contexts: (element that closes it, table to go back to)
        self.contexts: list[tuple[str, dict[str, Action]]] = []
        self.actions: dict[str, Action] = {}
        self.closing = ""
        self.dictionary_scale = 1.0
        self._clear()
        self.tables = self._make_tables()

    def _clear(self) -> None:
        self.entry = ""
        self.frame = Frame()
        self.package = PackageFact("")
        self.component: ComponentFact | None = None
        self.padstack = PadstackFact()
        self.form_layer = ""
        self.pin: PinFact | None = None
        self.pad: PadFact | None = None
        self.bom_line = BomLine("")
        self.bom_count = 0
        self.net = ""
        self.layer = ""
        self.set_net: str | None = None
        self.set_via = False
        self.path: list[tuple[float, float]] = []

    def run(self) -> None:
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

    # places and refusals

    def place(self) -> Place:
        parser = self.parser
        return Place(self.document.path, parser.CurrentLineNumber, parser.CurrentColumnNumber + 1)

    def fail(self, found: str, expected: str = "", hint: str = "") -> NoReturn:
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

    def text_of(self, attributes: Attributes, name: str, element: str) -> str:
        value = attributes.get(name)
        if value is None:
            self.fail(f"<{element}> without '{name}'", f'{name}="..."')
        return value

    def number_of(
        self, attributes: Attributes, name: str, element: str, default: float | None = None
    ) -> float:
        text = attributes.get(name)
        if text is None:
            if default is not None:
                return default
            self.fail(f"<{element}> without '{name}'", "a number")
        if _NUMBER.fullmatch(text) is None:
            self.fail(f"{name}={text!r}", "a number")
        value = float(text)
        if not math.isfinite(value):
            self.fail(f"{name}={text!r}", "a finite number")
        return value

    def choose(self, kind: str, value: str, known: frozenset[str]) -> None:
        if value not in known:
            self._report(kind, f"'{value}'")

    def plating_of(self, attributes: Attributes) -> str:
        plating = attributes.get("platingStatus", "PLATED")
        self.choose("plating", plating, PLATINGS)
        return plating

    def _report(self, kind: str, shown: str) -> None:
        """Say, once, that a word is none of this format's."""
        if shown not in self.reported:
            self.reported.add(shown)
            message = f"{shown} is no {kind} of this format; it is not read"
            self.builder.warn(f"unknown-{kind.replace(' ', '-')}", message, self.place())

    # the handlers

    def _start_root(self, name: str, attributes: Attributes) -> None:
        prefix, _, local = name.rpartition(":")
        if local != ROOT:
            self.fail(f"<{name}>", f"<{ROOT}>")
        if prefix:
            self.prefix = prefix + ":"
            self.tables = {
                table: {self.prefix + element: action for element, action in actions.items()}
                for table, actions in self.tables.items()
            }
            self.elements = frozenset(self.prefix + element for element in ELEMENTS)
            self.attributes = {self.prefix + name: known for name, known in ATTRIBUTES.items()}
        self.facts.revision = attributes.get("revision", "")
        self.actions = self.tables["root"]
        self.parser.StartElementHandler = self._start

    def _start(self, name: str, attributes: Attributes) -> None:
        action = self.actions.get(name)
        if action is not None:
            known = self.attributes.get(name)
            if known is not None and not attributes.keys() <= known:
                for attribute in sorted(attributes.keys() - known):
                    self._report("attribute", f"<{name} {attribute}>")
            action(attributes)
        elif name not in self.elements:
            self._report("element", f"<{name}>")

    def _text(self, data: str) -> None:
        """Report text: this format has none, so it is a tag that lost its bracket."""
        if not data.isspace():
            self._report("text", f"'{data.strip()[:40]}'")

    def _end(self, name: str) -> None:
        if name == self.closing:
            self._close(name[len(self.prefix) :])
            self.closing, self.actions = self.contexts.pop()

    def _pass_over(self, element: str) -> Action:
        name = ""

        def end(ended: str) -> None:
            if ended == name:
                self.parser.StartElementHandler = self._start
                self.parser.EndElementHandler = self._end
                self.parser.CharacterDataHandler = self._text

        def start(_: Attributes) -> None:
            nonlocal name
            name = self.prefix + element
            self.parser.StartElementHandler = None
            self.parser.CharacterDataHandler = None
            self.parser.EndElementHandler = end

        return start

    def _open(self, element: str, table: str) -> None:
        self.contexts.append((self.closing, self.actions))
        self.closing = self.prefix + element
        self.actions = self.tables[table]

    def _nested(self, element: str) -> Action:
        def refuse(_: Attributes) -> None:
            self.fail(f"<{element}> inside <{element}>", f"</{element}>")

        return refuse

    def _make_tables(self) -> dict[str, dict[str, Action]]:
        forms: dict[str, Action] = {
            "Circle": self.on_circle,
            "Oval": self.on_box("Oval", "oval"),
            "RectCenter": self.on_box("RectCenter", "rect"),
            "RectRound": self.on_box("RectRound", "roundrect"),
            "RectCham": self.on_box("RectCham", "roundrect"),
            "Ellipse": self.on_box("Ellipse", "oval"),
            "Diamond": self.on_box("Diamond", "custom"),
            "Contour": self.on_contour(),
            "StandardPrimitiveRef": self.on_primitive_reference,
            "UserPrimitiveRef": self.on_primitive_reference,
        }
        placing: dict[str, Action] = {"Xform": self.on_xform, "Location": self.on_location}
        tables: dict[str, dict[str, Action]] = {
            "root": {
                "FunctionMode": self.on_mode,
                "DictionaryStandard": self.on_dictionary("DictionaryStandard"),
                "DictionaryUser": self.on_dictionary("DictionaryUser"),
                "Bom": self.on_bom,
                "CadHeader": self.on_cad_header,
                "Layer": self.on_layer,
                "Step": self.on_step,
            },
            "dictionary": {
                "EntryStandard": self.on_entry,
                "EntryUser": self.on_entry,
                **{name: action for name, action in forms.items() if not name.endswith("Ref")},
            },
            "bom": {"BomItem": self.on_bom_item},
            "bom item": {
                "RefDes": self.on_refdes,
                "Textual": self.on_characteristic("textual"),
                "Enumerated": self.on_characteristic("enumerated"),
                "Measured": self.on_characteristic("measured"),
            },
            "step": {
                "PadStackDef": self.on_padstack,
                "Profile": self.on_profile,
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
            "package": {"Outline": self.on_outline, "Pin": self.on_pin},
            "pin": {**placing, **forms},
            "component": {**placing, "NonstandardAttribute": self.on_component_attribute},
            "logical net": {"PinRef": self.on_net_pin},
            "physical net": {"PhyNetPoint": self.on_net_point},
            "copper": {"Set": self.on_set("copper set")},
            "other layer": {"Set": self.on_set("hole set")},
            "copper set": {"Pad": self.on_pad, "Hole": self.on_hole},
            "hole set": {"Hole": self.on_hole},
            "nothing": {},
            "pad": {**placing, **forms, "PinRef": self.on_pad_pin},
        }
        for element, table in (
            ("Step", "step"), ("Package", "package"), ("Component", "component"), ("Pin", "pin"),
            ("Pad", "pad"), ("BomItem", "bom item"), ("PadStackDef", "padstack"),
            ("LayerFeature", "copper"), ("LogicalNet", "logical net"), ("Set", "copper set"),
        ):  # fmt: skip
            tables[table][element] = self._nested(element)
        for table, elements in (
            ("root", _DRAWINGS["root"]),
            ("package", _DRAWINGS["package"]),
            ("copper set", _DRAWINGS["set"]),
            ("hole set", (*_DRAWINGS["set"], "Pad")),
        ):
            for element in elements:
                tables[table][element] = self._pass_over(element)
        return tables

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
            if not self.package.outline:
                self.package.outline = self.path
        elif element == "PadStackDef":
            self.form_layer = ""
        elif element == "Profile" and self.path:
            facts.outline.append(self.path)
            self.path = []

    # Content

    def on_mode(self, attributes: Attributes) -> None:
        self.facts.mode = attributes.get("mode", "")

    def on_dictionary(self, element: str) -> Action:
        def start(attributes: Attributes) -> None:
            self.dictionary_scale = self._scale(attributes.get("units", "MILLIMETER"))
            self.entry = ""
            self._open(element, "dictionary")

        return start

    def on_entry(self, attributes: Attributes) -> None:
        self.entry = self.text_of(attributes, "id", "EntryStandard")

    def _scale(self, units: str) -> float:
        scale = MILLIMETRES.get(units.strip().upper())
        if scale is None:
            self.fail(f"the unit {units!r}", "MILLIMETER, MICRON or INCH")
        return scale

    # forms of pads: in a dictionary, a pad stack, a pin or a pad

    def _take_form(self, form: str | Shape) -> None:
        if self.pad is not None:
            if self.pad.shape is None:
                self.pad.shape = form
        elif self.pin is not None:
            if self.pin.shape is None:
                self.pin.shape = form
        elif self.form_layer:
            self.padstack.forms.setdefault(self.form_layer, form)
        elif self.entry and isinstance(form, Shape):
            self.facts.primitives.setdefault(self.entry, form)

    def _form_scale(self) -> float:
        in_dictionary = self.pad is None and self.pin is None and not self.form_layer
        return self.dictionary_scale if in_dictionary else self.facts.scale

    def on_circle(self, attributes: Attributes) -> None:
        size = self.number_of(attributes, "diameter", "Circle") * self._form_scale()
        self._take_form(Shape("circle", _mm(size), _mm(size)))

    def on_box(self, element: str, name: str) -> Action:
        def start(attributes: Attributes) -> None:
            scale = self._form_scale()
            width = self.number_of(attributes, "width", element) * scale
            height = self.number_of(attributes, "height", element) * scale
            self._take_form(Shape(name, _mm(width), _mm(height)))

        return start

    def on_contour(self) -> Action:
        pass_over = self._pass_over("Contour")

        def start(attributes: Attributes) -> None:
            self._take_form(Shape("custom", None, None))
            pass_over(attributes)

        return start

    def on_primitive_reference(self, attributes: Attributes) -> None:
        self._take_form(self.text_of(attributes, "id", "StandardPrimitiveRef"))

    # Bom

    def on_bom(self, _: Attributes) -> None:
        self.bom_count += 1
        if self.bom_count == 2:
            self.builder.warn(
                "second-parts-list",
                "a second <Bom> (a variant): only the first is read",
                self.place(),
            )
        self._open("Bom", "bom" if self.bom_count == 1 else "nothing")

    def on_bom_item(self, attributes: Attributes) -> None:
        self.bom_line = BomLine(attributes.get("description", ""))
        number = attributes.get("OEMDesignNumberRef")
        if number:
            self.bom_line.properties["OEMDesignNumberRef"] = number
        self.facts.bom.append(self.bom_line)
        self._open("BomItem", "bom item")

    def on_refdes(self, attributes: Attributes) -> None:
        populate = attributes.get("populate")
        if populate is not None and populate not in {"true", "false", "1", "0"}:
            self.fail(f"populate={populate!r}", "true or false")
        fitted = None if populate is None else populate in {"true", "1"}
        name = self.text_of(attributes, "name", "RefDes")
        package = attributes.get("packageRef", "")
        self.bom_line.references.append((name, package, fitted, self.place()))

    def on_characteristic(self, kind: str) -> Action:
        name_key, value_key = f"{kind}CharacteristicName", f"{kind}CharacteristicValue"

        def start(attributes: Attributes) -> None:
            name, value = attributes.get(name_key), attributes.get(value_key)
            if name and value:
                unit = attributes.get("engineeringUnitOfMeasure", "")
                self.bom_line.properties[name] = value + unit

        return start

    # Ecad

    def on_cad_header(self, attributes: Attributes) -> None:
        self.facts.units = self.text_of(attributes, "units", "CadHeader")
        self.facts.scale = self._scale(self.facts.units)

    def on_layer(self, attributes: Attributes) -> None:
        name = self.text_of(attributes, "name", "Layer")
        function = self.text_of(attributes, "layerFunction", "Layer")
        side = attributes.get("side", "NONE")
        self.choose("layer function", function, LAYER_FUNCTIONS)
        self.choose("layer side", side, LAYER_SIDES)
        self.facts.layers[name] = Layer(name, side, function in COPPER)

    def on_step(self, attributes: Attributes) -> None:
        if not self.facts.scale:
            self.fail("<Step> before any <CadHeader units>", "the unit of lengths first")
        name = self.text_of(attributes, "name", "Step")
        if self.facts.components:
            self.builder.warn(
                "second-step",
                f"the step '{name}' comes after the board '{self.facts.step}'; it is not read",
                self.place(),
            )
            self._open("Step", "nothing")
            return
        self.facts.step = name
        self.facts.outline.clear()
        self._open("Step", "step")

    def on_padstack(self, attributes: Attributes) -> None:
        self.padstack = PadstackFact()
        self.form_layer = ""
        self.facts.padstacks[self.text_of(attributes, "name", "PadStackDef")] = self.padstack
        self._open("PadStackDef", "padstack")

    def on_padstack_hole(self, attributes: Attributes) -> None:
        self.padstack.drill = self.number_of(attributes, "diameter", "PadstackHoleDef")
        self.padstack.plating = self.plating_of(attributes)

    def on_padstack_form(self, attributes: Attributes) -> None:
        regular = attributes.get("padUse", "REGULAR") == "REGULAR"
        layer = self.text_of(attributes, "layerRef", "PadstackPadDef")
        self.form_layer = layer if regular else f"{attributes['padUse']} {layer}"

    def on_profile(self, _: Attributes) -> None:
        self.path = []
        self._open("Profile", "path")

    def on_outline(self, _: Attributes) -> None:
        self.path = []
        self._open("Outline", "path")

    def on_path_begin(self, attributes: Attributes) -> None:
        if self.path and self.closing == self.prefix + "Profile":
            self.facts.outline.append(self.path)
        self.path = [self._point(attributes)]

    def on_path_step(self, attributes: Attributes) -> None:
        self.path.append(self._point(attributes))

    def on_path_curve(self, attributes: Attributes) -> None:
        end = self._point(attributes)
        scale = self.facts.scale
        centre = (
            self.number_of(attributes, "centerX", "PolyStepCurve") * scale,
            self.number_of(attributes, "centerY", "PolyStepCurve") * scale,
        )
        clockwise = attributes.get("clockwise", "false") in {"true", "1"}
        if self.path:
            self.path.extend(_arc(self.path[-1], end, centre, clockwise))
        self.path.append(end)

    def _point(self, attributes: Attributes) -> tuple[float, float]:
        scale = self.facts.scale
        x = self.number_of(attributes, "x", "PolyStepSegment")
        y = self.number_of(attributes, "y", "PolyStepSegment")
        return _mm(x * scale), _mm(y * scale)

    def on_package(self, attributes: Attributes) -> None:
        name = self.text_of(attributes, "name", "Package")
        self.package = self.facts.packages[name] = PackageFact(name)
        self._open("Package", "package")

    def on_pin(self, attributes: Attributes) -> None:
        self.frame = Frame()
        if "x" in attributes or "y" in attributes:
            self._locate(attributes, "Pin")
        number = self.text_of(attributes, "number", "Pin")
        through = attributes.get("type") == "THRU"
        self.pin = PinFact(number, attributes.get("name") or None, self.frame, through)
        self._open("Pin", "pin")

    def on_component(self, attributes: Attributes) -> None:
        self.frame = Frame()
        self.component = ComponentFact(
            self.text_of(attributes, "refDes", "Component"),
            self.text_of(attributes, "packageRef", "Component"),
            self.text_of(attributes, "layerRef", "Component"),
            self.frame,
            self.place(),
        )
        part = attributes.get("part")
        if part:
            self.component.properties["part"] = part
        self._open("Component", "component")

    def on_component_attribute(self, attributes: Attributes) -> None:
        name, value = attributes.get("name"), attributes.get("value")
        if self.component is not None and name and value:
            self.component.properties[name] = value

    def on_xform(self, attributes: Attributes) -> None:
        self.frame.angle = self.number_of(attributes, "rotation", "Xform", 0.0)
        mirror = attributes.get("mirror", "false")
        if mirror not in {"true", "false", "1", "0"}:
            self.fail(f"mirror={mirror!r}", "true or false")
        self.frame.mirror = mirror in {"true", "1"}

    def on_location(self, attributes: Attributes) -> None:
        self._locate(attributes, "Location")

    def _locate(self, attributes: Attributes, element: str) -> None:
        self.frame.x = self.number_of(attributes, "x", element) * self.facts.scale
        self.frame.y = self.number_of(attributes, "y", element) * self.facts.scale
        self.frame.placed = True

    def on_logical_net(self, attributes: Attributes) -> None:
        self.net = self.text_of(attributes, "name", "LogicalNet")
        self.facts.logical.setdefault(self.net, [])
        self._open("LogicalNet", "logical net")

    def on_net_pin(self, attributes: Attributes) -> None:
        component = self.text_of(attributes, "componentRef", "PinRef")
        pin = self.text_of(attributes, "pin", "PinRef")
        self.facts.logical[self.net].append((component, pin, self.place()))

    def on_physical_net(self, attributes: Attributes) -> None:
        self.net = self.text_of(attributes, "name", "PhyNet")
        self._open("PhyNet", "physical net")

    def on_net_point(self, attributes: Attributes) -> None:
        x = self.number_of(attributes, "x", "PhyNetPoint") * self.facts.scale
        y = self.number_of(attributes, "y", "PhyNetPoint") * self.facts.scale
        layer = attributes.get("layerRef", "")
        self.facts.points.append((self.net, x, y, layer, self.place()))

    def on_layer_feature(self, attributes: Attributes) -> None:
        self.layer = self.text_of(attributes, "layerRef", "LayerFeature")
        layer = self.facts.layers.get(self.layer)
        if layer is None:
            self.fail(f"the layer {self.layer!r}", "a layer that <Layer> declares")
        self._open("LayerFeature", "copper" if layer.copper else "other layer")

    def on_set(self, table: str) -> Action:
        def start(attributes: Attributes) -> None:
            self.set_net = attributes.get("net") or None
            self.set_via = attributes.get("padUsage") == "VIA"
            self._open("Set", table)

        return start

    def on_pad(self, attributes: Attributes) -> None:
        self.frame = Frame()
        self.pad = PadFact(
            self.layer,
            self.set_net,
            self.set_via,
            attributes.get("padstackDefRef", ""),
            self.frame,
            self.place(),
        )
        self._open("Pad", "pad")

    def on_pad_pin(self, attributes: Attributes) -> None:
        if self.pad is not None:
            component = self.text_of(attributes, "componentRef", "PinRef")
            self.pad.pins.append((component, self.text_of(attributes, "pin", "PinRef")))

    def on_hole(self, attributes: Attributes) -> None:
        scale = self.facts.scale
        self.facts.holes.append(
            HoleFact(
                self.set_net,
                self.plating_of(attributes),
                self.number_of(attributes, "diameter", "Hole") * scale,
                self.number_of(attributes, "x", "Hole") * scale,
                self.number_of(attributes, "y", "Hole") * scale,
            )
        )


def _mm(value: float) -> float:
    """Return the length rounded to a nanometre, which is finer than any writer's digits."""
    return round(value, 6) + 0.0


def _arc(
    start: tuple[float, float],
    end: tuple[float, float],
    centre: tuple[float, float],
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
            _mm(centre[0] + radius * math.cos(first + step * index)),
            _mm(centre[1] + radius * math.sin(first + step * index)),
        )
        for index in range(1, count)
    ]
