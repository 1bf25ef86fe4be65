"""Gathers the facts of an IPC-2581 file, element by element."""

from __future__ import annotations

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
)
from nettrace.readers.ipc2581_forms import FormMachine
from nettrace.readers.ipc2581_machine import Action, Attributes, Tables
from nettrace.readers.ipc2581_words import COPPER, LAYER_FUNCTIONS, LAYER_SIDES, PLATINGS

__all__ = ["stream_facts"]

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


class _Stream(FormMachine):
    def __init__(self, document: Document, builder: BoardBuilder) -> None:
        self.package = PackageFact("")
        self.component: ComponentFact | None = None
        self.bom_line = BomLine("")
        self.bom_count = 0
        self.net = ""
        self.layer = ""
        self.set_net: str | None = None
        self.set_via = False
        super().__init__(document, builder)

    def plating_of(self, attributes: Attributes) -> str:
        plating = attributes.get("platingStatus", "PLATED")
        self.choose("plating", plating, PLATINGS)
        return plating

    def make_tables(self) -> Tables:
        forms = self.form_actions()
        placing: dict[str, Action] = {"Xform": self.on_xform, "Location": self.on_location}
        tables: Tables = {
            "root": {
                "FunctionMode": self.on_mode,
                "DictionaryStandard": self.on_dictionary("DictionaryStandard"),
                "DictionaryUser": self.on_dictionary("DictionaryUser"),
                "Bom": self.on_bom,
                "CadHeader": self.on_cad_header,
                "Layer": self.on_layer,
                "Step": self.on_step,
                # its place is in the step; some write it before
                "LogicalNet": self.on_logical_net,
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
            "path": self.path_actions(),
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
            tables[table][element] = self.refuse_nested(element)
        for table, elements in (
            ("root", _DRAWINGS["root"]),
            ("package", _DRAWINGS["package"]),
            ("copper set", _DRAWINGS["set"]),
            ("hole set", (*_DRAWINGS["set"], "Pad")),
        ):
            for element in elements:
                tables[table][element] = self.pass_over(element)
        return tables

    def close(self, element: str) -> None:
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

    def on_mode(self, attributes: Attributes) -> None:
        self.facts.mode = attributes.get("mode", "")

    def on_dictionary(self, element: str) -> Action:
        def start(attributes: Attributes) -> None:
            self.dictionary_scale = self.scale_of(attributes.get("units", "MILLIMETER"))
            self.entry = ""
            self.open(element, "dictionary")

        return start

    def on_entry(self, attributes: Attributes) -> None:
        self.entry = self.text_of(attributes, "id", "EntryStandard")

    def on_bom(self, _: Attributes) -> None:
        self.bom_count += 1
        if self.bom_count == 2:
            self.builder.warn(
                "second-parts-list",
                "a second <Bom> (a variant): only the first is read",
                self.place(),
            )
        self.open("Bom", "bom" if self.bom_count == 1 else "nothing")

    def on_bom_item(self, attributes: Attributes) -> None:
        self.bom_line = BomLine(attributes.get("description", ""))
        number = attributes.get("OEMDesignNumberRef")
        if number:
            self.bom_line.properties["OEMDesignNumberRef"] = number
        self.facts.bom.append(self.bom_line)
        self.open("BomItem", "bom item")

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

    def on_cad_header(self, attributes: Attributes) -> None:
        self.facts.units = self.text_of(attributes, "units", "CadHeader")
        self.facts.scale = self.scale_of(self.facts.units)

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
            self.open("Step", "nothing")
            return
        self.facts.step = name
        self.facts.outline.clear()
        self.open("Step", "step")

    def on_padstack(self, attributes: Attributes) -> None:
        self.padstack = PadstackFact()
        self.form_layer = ""
        self.facts.padstacks[self.text_of(attributes, "name", "PadStackDef")] = self.padstack
        self.open("PadStackDef", "padstack")

    def on_padstack_hole(self, attributes: Attributes) -> None:
        self.padstack.drill = self.number_of(attributes, "diameter", "PadstackHoleDef")
        self.padstack.plating = self.plating_of(attributes)

    def on_padstack_form(self, attributes: Attributes) -> None:
        regular = attributes.get("padUse", "REGULAR") == "REGULAR"
        layer = self.text_of(attributes, "layerRef", "PadstackPadDef")
        self.form_layer = layer if regular else f"{attributes['padUse']} {layer}"

    def on_profile(self, _: Attributes) -> None:
        self.path = []
        self.open("Profile", "path")

    def on_outline(self, _: Attributes) -> None:
        self.path = []
        self.open("Outline", "path")

    def on_package(self, attributes: Attributes) -> None:
        name = self.text_of(attributes, "name", "Package")
        self.package = self.facts.packages[name] = PackageFact(name)
        self.open("Package", "package")

    def on_pin(self, attributes: Attributes) -> None:
        self.frame = Frame()
        if "x" in attributes or "y" in attributes:
            self.locate(attributes, "Pin")
        number = self.text_of(attributes, "number", "Pin")
        through = attributes.get("type") == "THRU"
        self.pin = PinFact(number, attributes.get("name") or None, self.frame, through)
        self.open("Pin", "pin")

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
        self.open("Component", "component")

    def on_component_attribute(self, attributes: Attributes) -> None:
        name, value = attributes.get("name"), attributes.get("value")
        if self.component is not None and name and value:
            self.component.properties[name] = value

    def on_logical_net(self, attributes: Attributes) -> None:
        self.net = self.text_of(attributes, "name", "LogicalNet")
        self.facts.logical.setdefault(self.net, [])
        self.open("LogicalNet", "logical net")

    def on_net_pin(self, attributes: Attributes) -> None:
        component = self.text_of(attributes, "componentRef", "PinRef")
        pin = self.text_of(attributes, "pin", "PinRef")
        self.facts.logical[self.net].append((component, pin, self.place()))

    def on_physical_net(self, attributes: Attributes) -> None:
        self.net = self.text_of(attributes, "name", "PhyNet")
        self.open("PhyNet", "physical net")

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
        self.open("LayerFeature", "copper" if layer.copper else "other layer")

    def on_set(self, table: str) -> Action:
        def start(attributes: Attributes) -> None:
            self.set_net = attributes.get("net") or None
            self.set_via = attributes.get("padUsage") == "VIA"
            self.open("Set", table)

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
        self.open("Pad", "pad")

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
