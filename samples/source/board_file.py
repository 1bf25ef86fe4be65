"""Write the s-expression board file, layer table of version 20241229: four copper layers."""

from __future__ import annotations

import math
import uuid

from description import Description, Pad, Part, number, open_net
from tracks import Segment, Via, load_tracks

LAYERS = (
    (0, "F.Cu", "signal"),
    (4, "In1.Cu", "power"),
    (6, "In2.Cu", "power"),
    (2, "B.Cu", "signal"),
    (9, "F.Adhes", "user"),
    (11, "B.Adhes", "user"),
    (13, "F.Paste", "user"),
    (15, "B.Paste", "user"),
    (5, "F.SilkS", "user"),
    (7, "B.SilkS", "user"),
    (1, "F.Mask", "user"),
    (3, "B.Mask", "user"),
    (17, "Dwgs.User", "user"),
    (19, "Cmts.User", "user"),
    (25, "Edge.Cuts", "user"),
    (27, "Margin", "user"),
    (31, "F.CrtYd", "user"),
    (29, "B.CrtYd", "user"),
    (35, "F.Fab", "user"),
    (33, "B.Fab", "user"),
)
THICKNESS_MM = 0.8
NAMESPACE = uuid.UUID("5f1d9c4e-7c1b-5b0e-9d6f-3a7e62b0c5aa")


def quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def name_of(*words: object) -> str:
    """A uuid that is the same on every run."""
    return str(uuid.uuid5(NAMESPACE, "/".join(map(str, words))))


def page_point(description: Description, x: float, y: float) -> str:
    px, py = description.page(x, y)
    return f"{number(px)} {number(py)}"


def net_table(description: Description) -> dict[str, int]:
    """Every net name with its number; pins left open have a net of their own."""
    names = list(description.nets)
    for part in description.parts:
        names += [open_net(part, pin) for pin in part.pins if pin.net is None]
    return {"": 0} | {name: code for code, name in enumerate(names, start=1)}


def board_text(description: Description) -> str:
    board = description.board
    nets = net_table(description)
    lines = [
        "(kicad_pcb",
        "\t(version 20241229)",
        f"\t(generator {quoted('make_wren')})",
        f"\t(generator_version {quoted(board['revision'])})",
        f"\t(general\n\t\t(thickness {number(THICKNESS_MM)})\n\t\t(legacy_teardrops no)\n\t)",
        f"\t(paper {quoted('A4')})",
        "\t(title_block",
        f"\t\t(title {quoted(board['title'])})",
        f"\t\t(date {quoted(board['date'])})",
        f"\t\t(rev {quoted(board['revision'])})",
        "\t)",
        "\t(layers",
        *(f"\t\t({code} {quoted(name)} {kind})" for code, name, kind in LAYERS),
        "\t)",
        "\t(setup",
        "\t\t(pad_to_mask_clearance 0)",
        "\t\t(allow_soldermask_bridges_in_footprints no)",
        "\t)",
    ]
    lines += [f"\t(net {code} {quoted(name)})" for name, code in nets.items()]
    for part in description.parts:
        lines += footprint_lines(description, part, nets)
    lines += outline_lines(description)
    for index, wire in enumerate(load_tracks()):
        lines += track_lines(description, wire, index, nets)
    lines += zone_lines(description, nets)
    lines += ["\t(embedded_fonts no)", ")"]
    return "\n".join(lines) + "\n"


def side_layer(part: Part, layer: str) -> str:
    return quoted(f"{'F' if part.side == 'top' else 'B'}.{layer}")


def property_lines(
    part: Part, name: str, value: str, layer: str, y: float, hide: bool
) -> list[str]:
    return [
        f"\t\t(property {quoted(name)} {quoted(value)}",
        f"\t\t\t(at 0 {number(y)} {number(part.page_turn)})",
        f"\t\t\t(layer {side_layer(part, layer)})",
        *(["\t\t\t(hide yes)"] if hide else []),
        f"\t\t\t(uuid {quoted(name_of(part.refdes, name))})",
        "\t\t\t(effects (font (size 0.6 0.6) (thickness 0.1))"
        + (" (justify mirror)" if part.side == "bottom" else "")
        + ")",
        "\t\t)",
    ]


def footprint_lines(description: Description, part: Part, nets: dict[str, int]) -> list[str]:
    through = any(pad.hole for pad in part.pads) and not any(not pad.hole for pad in part.pads)
    attributes = ["through_hole" if through else "smd"] if part.pins else []
    if not part.in_bom:
        attributes += ["exclude_from_pos_files", "exclude_from_bom"]
    if not part.fitted:
        attributes += ["dnp"]
    reach = (part.courtyard[3] - part.courtyard[1]) / 2 + 0.5
    turn = f" {number(part.page_turn)}" if part.page_turn else ""
    lines = [
        f"\t(footprint {quoted(f'{part.library}:{part.package}')}",
        f"\t\t(layer {side_layer(part, 'Cu')})",
        f"\t\t(uuid {quoted(name_of(part.refdes))})",
        f"\t\t(at {page_point(description, part.x, part.y)}{turn})",
        f"\t\t(descr {quoted(part.description)})",
        *property_lines(part, "Reference", part.refdes, "SilkS", -reach, False),
        *property_lines(part, "Value", part.value, "Fab", reach, False),
        *property_lines(part, "Description", part.description, "Fab", 0, True),
        *property_lines(part, "MPN", part.number, "Fab", 0, True),
    ]
    for name, value in part.fields.items():
        lines += property_lines(part, name, value, "Fab", 0, True)
    lines += [
        "\t\t(path " + quoted("/" + name_of("sheet", part.refdes)) + ")",
        f"\t\t(attr {' '.join(attributes)})" if attributes else "\t\t(attr board_only)",
    ]
    width, height = part.body
    lines += [
        f"\t\t(fp_rect (start {number(-width / 2)} {number(-height / 2)})"
        f" (end {number(width / 2)} {number(height / 2)})"
        f" (stroke (width 0.1) (type default)) (fill no) (layer {side_layer(part, 'Fab')})"
        f" (uuid {quoted(name_of(part.refdes, 'body'))}))"
    ]
    names = {pin.number: pin for pin in part.pins}
    for index, pad in enumerate(part.pads):
        lines += pad_lines(part, pad, index, names.get(pad.pin), nets)
    for index, (x, y, hole) in enumerate(part.holes):
        local = local_point(part, x, y)
        lines += [
            f'\t\t(pad "" np_thru_hole circle (at {local}) (size {number(hole)} {number(hole)})'
            f' (drill {number(hole)}) (layers "*.Cu" "*.Mask")'
            f" (uuid {quoted(name_of(part.refdes, 'hole', index))}))"
        ]
    return [*lines, "\t\t(embedded_fonts no)", "\t)"]


def local_point(part: Part, x: float, y: float) -> str:
    """A board place as the footprint stores it: before the stored turn, y down."""

    angle = math.radians(part.page_turn)
    dx, dy = x - part.x, -(y - part.y)
    local_x = dx * math.cos(angle) - dy * math.sin(angle)
    local_y = dx * math.sin(angle) + dy * math.cos(angle)
    return f"{number(local_x)} {number(local_y)}"


def pad_lines(part: Part, pad: Pad, index: int, pin: object, nets: dict[str, int]) -> list[str]:
    net = open_net(part, pin) if pin is not None and pin.net is None else getattr(pin, "net", None)  # type: ignore[attr-defined, arg-type]
    kind = "thru_hole" if pad.hole else "smd"
    oval = pad.hole and pad.width != pad.height
    shape = "circle" if pad.round or (pad.hole and not oval) else "oval" if oval else "roundrect"
    turn = f" {number(part.page_turn)}" if part.page_turn else ""
    if oval:
        slot = pad.height - pad.width + pad.hole
        drill = f" (drill oval {number(pad.hole)} {number(slot)})"
    else:
        drill = f" (drill {number(pad.hole)})" if pad.hole else ""
    side = "F" if part.side == "top" else "B"
    layers = '"*.Cu" "*.Mask"' if pad.hole else f'"{side}.Cu" "{side}.Mask" "{side}.Paste"'
    if part.library in {"Mechanical"} or part.number == "TP-1MM":
        layers = layers.replace(f' "{side}.Paste"', "")
    lines = [
        f"\t\t(pad {quoted(pad.pin)} {kind} {shape}",
        f"\t\t\t(at {local_point(part, pad.x, pad.y)}{turn})",
        f"\t\t\t(size {number(pad.width)} {number(pad.height)}){drill}",
        f"\t\t\t(layers {layers})",
    ]
    if shape == "roundrect":
        lines.append("\t\t\t(roundrect_rratio 0.25)")
    if net:
        lines.append(f"\t\t\t(net {nets[net]} {quoted(net)})")
    if pin is not None and pin.name != pin.number:  # type: ignore[attr-defined]
        lines.append(f"\t\t\t(pinfunction {quoted(pin.name)})")  # type: ignore[attr-defined]
    if pin is not None:
        kind_text = pin.kind if pin.net or pin.kind == "no_connect" else f"{pin.kind}+no_connect"  # type: ignore[attr-defined]
        lines.append(f"\t\t\t(pintype {quoted(kind_text)})")
    return [*lines, f"\t\t\t(uuid {quoted(name_of(part.refdes, 'pad', index))})", "\t\t)"]


def outline_lines(description: Description) -> list[str]:
    """The rounded rectangle: four lines, four quarter circles."""
    (width, height), r = description.board["size"], description.board["corner"]
    bend = r * (1 - 0.5**0.5)
    lines = []
    for index, (x1, y1, x2, y2) in enumerate(
        (
            (r, 0, width - r, 0),
            (width, r, width, height - r),
            (width - r, height, r, height),
            (0, height - r, 0, r),
        )
    ):
        lines.append(
            f"\t(gr_line (start {page_point(description, x1, y1)})"
            f" (end {page_point(description, x2, y2)})"
            ' (stroke (width 0.05) (type default)) (layer "Edge.Cuts")'
            f" (uuid {quoted(name_of('edge', index))}))"
        )
    arcs = (
        ((r, 0), (bend, bend), (0, r)),
        ((width - r, 0), (width - bend, bend), (width, r)),
        ((width - r, height), (width - bend, height - bend), (width, height - r)),
        ((r, height), (bend, height - bend), (0, height - r)),
    )
    for index, (start, middle, end) in enumerate(arcs):
        lines.append(
            f"\t(gr_arc (start {page_point(description, *start)})"
            f" (mid {page_point(description, *middle)})"
            f" (end {page_point(description, *end)})"
            ' (stroke (width 0.05) (type default)) (layer "Edge.Cuts")'
            f" (uuid {quoted(name_of('corner', index))}))"
        )
    return lines


def track_lines(
    description: Description, wire: Segment | Via, index: int, nets: dict[str, int]
) -> list[str]:
    code = nets[wire.net]
    if isinstance(wire, Via):
        return [
            f"\t(via (at {page_point(description, wire.x, wire.y)}) (size {number(wire.size)})"
            f' (drill {number(wire.hole)}) (layers "F.Cu" "B.Cu") (net {code})'
            f" (uuid {quoted(name_of('via', index))}))"
        ]
    return [
        f"\t(segment (start {page_point(description, wire.x1, wire.y1)})"
        f" (end {page_point(description, wire.x2, wire.y2)}) (width {number(wire.width)})"
        f" (layer {quoted(wire.layer)}) (net {code}) (uuid {quoted(name_of('segment', index))}))"
    ]


def zone_lines(description: Description, nets: dict[str, int]) -> list[str]:
    """The planes, as outlines: the fill is left to the reader of the file."""
    width, height = description.board["size"]
    inset = 0.4
    corners = (
        (inset, inset),
        (width - inset, inset),
        (width - inset, height - inset),
        (inset, height - inset),
    )
    points = " ".join(f"(xy {page_point(description, x, y)})" for x, y in corners)
    lines = []
    planes = {**description.board["planes"], "B.Cu": description.board["ground"]}
    for layer, net in planes.items():
        lines += [
            "\t(zone",
            f"\t\t(net {nets[net]})",
            f"\t\t(net_name {quoted(net)})",
            f"\t\t(layer {quoted(layer)})",
            f"\t\t(uuid {quoted(name_of('zone', layer))})",
            "\t\t(hatch edge 0.5)",
            "\t\t(connect_pads (clearance 0.2))",
            "\t\t(min_thickness 0.15)",
            "\t\t(fill (thermal_gap 0.2) (thermal_bridge_width 0.2))",
            f"\t\t(polygon (pts {points}))",
            "\t)",
        ]
    return lines
