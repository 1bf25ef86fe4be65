"""Write IPC-2581 revision C, millimetres: parts list, packages, places, nets, pads."""

from __future__ import annotations

from xml.etree import ElementTree as Tree

from description import Description, Pad, Part, number

NAMESPACE = "http://webstds.ipc.org/2581"
COPPER = (("F.Cu", "TOP"), ("In1.Cu", "INTERNAL"), ("In2.Cu", "INTERNAL"), ("B.Cu", "BOTTOM"))
ELECTRICAL = {
    "input": "INPUT",
    "output": "OUTPUT",
    "bidirectional": "BIDIRECTIONAL",
    "power_in": "POWER",
    "power_out": "POWER",
}


def sub(parent: Tree.Element, tag: str, **attributes: str) -> Tree.Element:
    return Tree.SubElement(parent, tag, attributes)


def layer_of(part: Part) -> str:
    return "F.Cu" if part.side == "top" else "B.Cu"


def shape_name(pad: Pad) -> str:
    kind = "CIRCLE" if pad.round or (pad.hole and pad.width == pad.height) else "RECT"
    kind = "OVAL" if pad.hole and pad.width != pad.height else kind
    return f"{kind}_{number(pad.width)}x{number(pad.height)}"


def ipc2581_text(description: Description) -> str:
    root = Tree.Element("IPC-2581", {"revision": "C", "xmlns": NAMESPACE})
    add_content(root, description)
    add_parts_list(root, description)
    ecad = sub(root, "Ecad", name="Design")
    sub(ecad, "CadHeader", units="MILLIMETER")
    data = sub(ecad, "CadData")
    for name, side in COPPER:
        kind = "CONDUCTOR" if side != "INTERNAL" else "PLANE"
        sub(data, "Layer", name=name, layerFunction=kind, side=side, polarity="POSITIVE")
    step = sub(data, "Step", name=description.board["name"])
    sub(step, "Datum", x="0", y="0")
    add_profile(step, description)
    packages = {part.package: part for part in reversed(description.parts)}
    for name in sorted(packages):
        add_package(step, packages[name])
    for part in description.parts:
        add_component(step, description, part)
    for net, pins in description.nets.items():
        logical = sub(step, "LogicalNet", name=net)
        for part, pin in pins:
            sub(logical, "PinRef", componentRef=part.refdes, pin=pin.number)
    for layer in ("F.Cu", "B.Cu"):
        add_pads(step, description, layer)
    Tree.indent(root, " ")
    body = Tree.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{body}\n'


def add_content(root: Tree.Element, description: Description) -> None:
    content = sub(root, "Content", roleRef="Owner")
    sub(content, "FunctionMode", mode="ASSEMBLY")
    sub(content, "StepRef", name=description.board["name"])
    for name, _ in COPPER:
        sub(content, "LayerRef", name=name)
    sub(content, "BomRef", name="wren-parts")
    shapes = {shape_name(pad): pad for part in description.parts for pad in part.pads}
    dictionary = sub(content, "DictionaryStandard", units="MILLIMETER")
    for name in sorted(shapes):
        pad = shapes[name]
        entry = sub(dictionary, "EntryStandard", id=name)
        width, height = number(pad.width), number(pad.height)
        if name.startswith("CIRCLE"):
            sub(entry, "Circle", diameter=width)
        else:
            tag = "Oval" if name.startswith("OVAL") else "RectCenter"
            sub(entry, tag, width=width, height=height)


def add_parts_list(root: Tree.Element, description: Description) -> None:
    bom = sub(root, "Bom", name="wren-parts")
    header = sub(bom, "BomHeader", revision=description.board["revision"], assembly="wren")
    sub(header, "StepRef", name=description.board["name"])
    groups: dict[tuple[str, str], list[Part]] = {}
    for part in description.parts:
        groups.setdefault((part.number, part.value), []).append(part)
    for (item, value), parts in groups.items():
        first = parts[0]
        row = sub(
            bom,
            "BomItem",
            OEMDesignNumberRef=item,
            quantity=str(len(parts)),
            pinCount=str(len(first.pins)),
            category="ELECTRICAL" if first.pins else "MECHANICAL",
            description=first.description,
        )
        for part in parts:
            populate = "true" if part.fitted and part.in_bom else "false"
            sub(
                row,
                "RefDes",
                name=part.refdes,
                packageRef=part.package,
                populate=populate,
                layerRef=layer_of(part),
            )
        traits = sub(row, "Characteristics", category="ELECTRICAL")
        for name, text in {"Value": value, **first.fields}.items():
            sub(
                traits,
                "Textual",
                definitionSource="WREN",
                textualCharacteristicName=name,
                textualCharacteristicValue=text,
            )


def add_polygon(parent: Tree.Element, points: list[tuple[float, float]]) -> None:
    polygon = sub(parent, "Polygon")
    for index, (x, y) in enumerate([*points, points[0]]):
        tag = "PolyStepSegment" if index else "PolyBegin"
        sub(polygon, tag, x=number(x), y=number(y))


def add_profile(step: Tree.Element, description: Description) -> None:
    (width, height), r = description.board["size"], description.board["corner"]
    corners = [
        (r, 0.0),
        (width - r, 0.0),
        (width, r),
        (width, height - r),
        (width - r, height),
        (r, height),
        (0.0, height - r),
        (0.0, r),
    ]
    add_polygon(sub(step, "Profile"), [description.page_up(x, y) for x, y in corners])


def add_package(step: Tree.Element, part: Part) -> None:
    kind = {"Resistor": "CHIP", "Capacitor": "CHIP"}.get(part.library, "OTHER")
    package = sub(step, "Package", name=part.package, type=kind, height=number(part.tall_mm))
    half_x, half_y = part.body[0] / 2, part.body[1] / 2
    outline = sub(package, "Outline")
    add_polygon(
        outline, [(-half_x, -half_y), (half_x, -half_y), (half_x, half_y), (-half_x, half_y)]
    )
    sub(outline, "LineDesc", lineWidth="0.1", lineEnd="ROUND")
    kinds = {pin.number: pin.kind for pin in part.pins}
    for pad in part.pads:
        if pad.pin not in kinds:
            continue
        pin = sub(
            package,
            "Pin",
            number=pad.pin,
            type="THRU" if pad.hole else "SURFACE",
            electricalType=ELECTRICAL.get(kinds[pad.pin], "UNDEFINED"),
        )
        sub(pin, "Location", x=number(pad.offset[0]), y=number(pad.offset[1]))
        sub(pin, "StandardPrimitiveRef", id=shape_name(pad))


def add_component(step: Tree.Element, description: Description, part: Part) -> None:
    through = any(pad.hole for pad in part.pads) and all(pad.hole for pad in part.pads)
    component = sub(
        step,
        "Component",
        refDes=part.refdes,
        packageRef=part.package,
        part=part.number,
        layerRef=layer_of(part),
        mountType="THMT" if through else "SMT",
    )
    turn = {"rotation": number(part.turn)} if part.turn else {}
    mirror = {"mirror": "true"} if part.side == "bottom" else {}
    if turn or mirror:
        sub(component, "Xform", **turn, **mirror)
    x, y = description.page_up(part.x, part.y)
    sub(component, "Location", x=number(x), y=number(y))


def add_pads(step: Tree.Element, description: Description, layer: str) -> None:
    feature = sub(step, "LayerFeature", layerRef=layer)
    for part in description.parts:
        nets = {pin.number: pin.net for pin in part.pins}
        for pad in part.pads:
            if pad.pin not in nets or (not pad.hole and layer_of(part) != layer):
                continue
            net = nets[pad.pin]
            group = sub(feature, "Set", **({"net": net} if net else {}))
            item = sub(group, "Pad")
            if part.turn:
                sub(item, "Xform", rotation=number(part.turn))
            x, y = description.page_up(pad.x, pad.y)
            sub(item, "Location", x=number(x), y=number(y))
            sub(item, "StandardPrimitiveRef", id=shape_name(pad))
            sub(item, "PinRef", componentRef=part.refdes, pin=pad.pin)
