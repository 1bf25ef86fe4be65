"""Reads IPC-2581 (revisions A, B, C): components, packages, nets, pads in place, the parts list.

Nets come from LogicalNet; where a pin is in none, from the net of the copper set its pad is in;
where pads name no pin, by place (PhyNetPoint, or a pad without PinRef on the pin's spot). Pads
stand where the file puts them; a pin without a pad of its own is placed by its package.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Set

from nettrace.collector import collector_off
from nettrace.errors import BadInput, Place
from nettrace.model.board import Board, Side, Via
from nettrace.model.builder import BoardBuilder, PartDraft
from nettrace.model.geometry import turn
from nettrace.readers.document import Document
from nettrace.readers.ipc2581_file import (
    Component,
    Facts,
    Frame,
    LayerPad,
    Padstack,
    Shape,
    millimetres,
    read_facts,
)

#: How near a pad's place and a pin's computed place must be to be one, mm: finer than any pad
#: pitch, coarser than the rounding of three decimals of an inch; common practice, no source.
SAME_PLACE_MM = 0.02
#: How writers take `mirror`: the standard's way first (mirrored in x, then turned), then flipped
#: and turned, turned and mirrored, not at all.
_WAYS = ("mirror, turn", "flip, turn", "turn, mirror", "turn")
_SIDES = {"TOP": Side.TOP, "BOTTOM": Side.BOTTOM, "BOTH": Side.BOTH, "ALL": Side.BOTH}
_VALUE_NAMES = ("value", "val", "comp_value", "component value", "part value")
_NO_PADSTACK = Padstack()
#: What a writer adds to make a reference or package unique.
_SUFFIX = re.compile(r"(.+)_[0-9]+\Z", re.DOTALL)


def read(document: Document) -> Board:
    """Read the file into a Board.

    Raises:
        BadInput: see `read_facts`; or the file holds no component.
    """
    with collector_off():
        builder = BoardBuilder(document.path, "ipc-2581")
        builder.digest = document.digest
        _Assembly(read_facts(document, builder), builder).fill()
        return builder.build()


class _Assembly:
    """Fills a builder from facts."""

    def __init__(self, facts: Facts, builder: BoardBuilder) -> None:
        self.facts = facts
        self.builder = builder
        self.drafts: dict[str, PartDraft] = {}  # by the reference as written
        self.component_of: dict[str, Component] = {}
        self.nets: dict[tuple[str, str], str] = {}  # (reference as written, pin) -> net
        self.placed: dict[tuple[str, str], list[tuple[float, float]]] = {}  # pins with pads
        self.contacts: set[tuple[str, str]] = set()  # of those, the ones that are no bare hole
        self.free: list[LayerPad] = []  # pads that name no pin
        self.spots: dict[tuple[int, int], list[tuple[float, float, str]]] = {}
        self.unknown: dict[str, tuple[int, str, Place]] = {}  # kind -> count, first name, place

    def fill(self) -> None:
        """Push everything into the builder.

        Raises:
            BadInput: the file places no component.
        """
        facts, builder = self.facts, self.builder
        if not facts.components:
            raise BadInput(
                "no <Component>",
                expected="a placed board",
                hint="A stack-up or fabrication file alone has no parts to look up.",
                place=Place(builder.path),
            )
        builder.name = facts.step
        builder.version = f"revision {facts.revision or '?'}, {facts.units}"
        if facts.mode:
            builder.version += f", mode {facts.mode}"
        builder.layers = tuple(name for name, layer in facts.layers.items() if layer.copper)
        builder.outline = [tuple(path) for path in facts.outline if len(path) > 1]
        self._add_parts()
        self._add_parts_list()
        self._read_logical_nets()
        self._add_pads()
        self._place_by_package()
        self._add_pins()
        self._add_vias()
        for what, (count, name, place) in self.unknown.items():
            builder.warn("unknown-name", f"{what}: {name!r} ({count} in all)", place)
        builder.pad_records = sum(len(draft.pads) for draft in builder.parts)
        builder.via_records = len(builder.vias)

    def _note(self, what: str, name: str, place: Place) -> None:
        count, first, at = self.unknown.get(what, (0, name, place))
        self.unknown[what] = (count + 1, first, at)

    # parts and their list

    def _add_parts(self) -> None:
        shown = _shown_references(self.facts)
        bom = self.facts.bom
        listed = {package for line in bom for _, package, _, _ in line.references if package}
        packages = _without_suffix(self.facts.packages, listed)
        for component in self.facts.components:
            raw, place = component.refdes, component.place
            draft = self.builder.part(shown.get(raw, raw), place)
            draft.package = packages.get(component.package, component.package) or None
            if component.package not in self.facts.packages:
                self._note("component of a package not described", component.package, place)
            layer = self.facts.layers.get(component.layer)
            if layer is None:
                self._note("component on a layer not declared", component.layer, place)
            else:
                draft.side = _SIDES.get(layer.side)
            if component.frame.placed:
                draft.x, draft.y = millimetres(component.frame.x), millimetres(component.frame.y)
                draft.angle = component.frame.angle % 360.0
            draft.properties = dict(component.properties)
            draft.value = _value(component.properties)
            if raw in self.drafts:
                self._note("reference of two components; pads go to the first", raw, place)
                continue
            self.drafts[raw] = self.drafts[draft.refdes] = draft
            self.component_of[raw] = self.component_of[draft.refdes] = component

    def _add_parts_list(self) -> None:
        for line in self.facts.bom:
            value = _value(line.properties)
            for name, package, fitted, place in line.references:
                draft = self.drafts.get(name)
                if draft is None:
                    self._note("parts list line for a part that is not placed", name, place)
                    continue
                draft.properties.update(line.properties)
                draft.package = package or draft.package
                draft.description = line.description or draft.description
                if value is not None:
                    draft.value = value
                    draft.origins["value"] = place
                if fitted is not None:
                    draft.fitted = fitted
                    draft.origins["fitted"] = place

    # nets and pads

    def _set_net(self, key: tuple[str, str], net: str, where: str, place: Place) -> None:
        known = self.nets.setdefault(key, net)
        if known != net:
            self.builder.warn(
                "pin-on-two-nets",
                f"{key[0]}.{key[1]} is on {known}{where} on {net}; {known} is kept",
                place,
            )

    def _read_logical_nets(self) -> None:
        for net, pins in self.facts.logical.items():
            for reference, pin, place in pins:
                if reference not in self.drafts:
                    self._note("net of a component that is not placed", reference, place)
                else:
                    self._set_net((reference, pin), net, " and", place)

    def _add_pads(self) -> None:
        """Add the pads that name their pin; a plated pin repeats on every layer and is one pad."""
        merged: dict[tuple[str, str, float, float], list[LayerPad]] = {}
        for pad in self.facts.pads:
            x, y = millimetres(pad.frame.x), millimetres(pad.frame.y)
            if not pad.pins:
                self.free.append(pad)
            for reference, pin in pad.pins:
                if reference not in self.drafts:
                    self._note("pad of a component that is not placed", reference, pad.place)
                    continue
                merged.setdefault((reference, pin, x, y), []).append(pad)
        for (reference, pin, x, y), pads in merged.items():
            for pad in pads:
                if pad.net is not None:
                    self._set_net((reference, pin), pad.net, ", and its copper", pad.place)
            self.placed.setdefault((reference, pin), []).append((x, y))
        # where nets are named by place alone, in cells of a tenth of a millimetre
        named = [(x, y, net) for net, x, y in self.facts.points]
        named += [(pad.frame.x, pad.frame.y, pad.net) for pad in self.free if pad.net]
        for x, y, net in named:
            self.spots.setdefault((round(x * 10), round(y * 10)), []).append((x, y, net))
        for (reference, pin, x, y), pads in merged.items():
            self._add_pad(reference, pin, x, y, pads)

    def _add_pad(self, reference: str, pin: str, x: float, y: float, pads: list[LayerPad]) -> None:
        layers = self.facts.layers
        pads.sort(key=lambda pad: {"TOP": 0, "BOTTOM": 1}.get(layers[pad.layer].side, 2))
        first = pads[0]
        padstack = self._padstack(first)
        sides = {_SIDES.get(layers[pad.layer].side) for pad in pads} - {None}
        side = sides.pop() if len(sides) == 1 and not padstack.drill else None
        net = self._net_of((reference, pin), x, y)
        contact = padstack.plating != "NONPLATED" or net is not None
        if contact:
            self.contacts.add((reference, pin))
        shape, width, height = self._size(first.shape or padstack.forms.get(first.layer))
        self.drafts[reference].pads.append((
            pin, net, x, y, side or Side.BOTH, shape, width, height, first.frame.angle % 360.0,
            self._drill_of(padstack), contact, first.place,
        ))  # fmt: skip

    def _drill_of(self, padstack: Padstack) -> float | None:
        return millimetres(padstack.drill * self.facts.scale) if padstack.drill else None

    def _padstack(self, pad: LayerPad) -> Padstack:
        if not pad.padstack:
            return _NO_PADSTACK
        padstack = self.facts.padstacks.get(pad.padstack)
        if padstack is None:
            self._note("pad stack not described", pad.padstack, pad.place)
            return _NO_PADSTACK
        return padstack

    def _size(self, form: str | Shape | None) -> tuple[str | None, float | None, float | None]:
        """Return a form's name, width and height."""
        shape = self.facts.primitives.get(form) if isinstance(form, str) else form
        return shape or (None, None, None)

    # pins that the pads do not name

    def _place_by_package(self) -> None:
        """Place pins without a pad by their package; find nets by place where none is told."""
        way = self._way_of_mirroring()
        for reference, component in self.component_of.items():
            if reference != component.refdes:
                continue  # the shown name of one that is done by its written name
            package, frame = self.facts.packages.get(component.package), component.frame
            if package is None or not frame.placed:
                continue
            draft = self.drafts[reference]
            draft.outline = tuple(_put(way, frame, x, y) for x, y in package.outline)
            for pin in package.pins:
                key = (reference, pin.number)
                if not pin.frame.placed or key in self.placed:
                    continue
                x, y = _put(way, frame, pin.frame.x, pin.frame.y)
                net = self._net_of(key, x, y)
                own_angle = -pin.frame.angle if frame.mirror else pin.frame.angle
                shape, width, height = self._size(pin.shape)
                side = Side.BOTH if pin.through else draft.side or Side.BOTH
                draft.pads.append((
                    pin.number, net, x, y, side, shape, width, height,
                    (frame.angle + own_angle) % 360.0, None, True, component.place,
                ))  # fmt: skip

    def _way_of_mirroring(self) -> str:
        """Return how this writer mirrors: the way that meets most of the pads that have a place."""
        scores = dict.fromkeys(_WAYS, 0)
        for component in self.facts.components:
            package = self.facts.packages.get(component.package)
            if package is None or not component.frame.mirror:
                continue
            for pin in package.pins:
                for place in self.placed.get((component.refdes, pin.number), ()):
                    for way in _WAYS:
                        there = _put(way, component.frame, pin.frame.x, pin.frame.y)
                        scores[way] += _near(there, place)
        return max(_WAYS, key=scores.__getitem__)

    def _net_of(self, key: tuple[str, str], x: float, y: float) -> str | None:
        """Return the net of a pin: the one told, else the one net that has a point there."""
        net = self.nets.get(key)
        if net is None and self.spots:
            column, row = round(x * 10), round(y * 10)
            nets = {
                net
                for i in (column - 1, column, column + 1)
                for j in (row - 1, row, row + 1)
                for px, py, net in self.spots.get((i, j), ())
                if _near((px, py), (x, y))
            }
            if len(nets) == 1:
                net = self.nets[key] = nets.pop()
        return net

    def _add_pins(self) -> None:
        """Say the net of every pin that is on one, and that the rest of a package is on none."""
        names: dict[tuple[str, str], str | None] = {}
        for component in self.facts.components:
            package = self.facts.packages.get(component.package)
            if package is None or self.component_of.get(component.refdes) is not component:
                continue
            for pin in package.pins:
                key = (component.refdes, pin.number)
                names[key] = pin.name
                bare_hole = key in self.placed and key not in self.contacts
                if key not in self.nets and pin.number and not bare_hole:
                    self.drafts[component.refdes].pin(pin.number, None, name=pin.name)
        for key, net in self.nets.items():
            self.drafts[key[0]].pin(key[1], net, name=names.get(key))

    def _add_vias(self) -> None:
        vias: dict[tuple[float, float], tuple[str | None, float | None, float | None]] = {}
        left: list[Place] = []
        for pad in self.free:
            padstack = self._padstack(pad)
            if not (pad.via or padstack.drill):
                left.append(pad.place)
                continue
            at = (millimetres(pad.frame.x), millimetres(pad.frame.y))
            _, width, _ = self._size(pad.shape or padstack.forms.get(pad.layer))
            net, diameter, drill = vias.get(at, (None, None, None))
            vias[at] = net or pad.net, diameter or width, drill or self._drill_of(padstack)
        for own, plating, size, x, y in self.facts.holes:
            at = (millimetres(x), millimetres(y))
            if plating == "VIA" or at in vias:
                net, diameter, drill = vias.get(at, (None, None, None))
                vias[at] = net or own, diameter, drill or millimetres(size)
        self.builder.vias += [Via(x, y, *facts) for (x, y), facts in vias.items()]
        if left:
            message = f"{len(left)} pads belong to no pin and are no vias; not kept"
            self.builder.warn("free-copper", message, left[0])


def _near(one: tuple[float, float], other: tuple[float, float]) -> bool:
    return abs(one[0] - other[0]) < SAME_PLACE_MM and abs(one[1] - other[1]) < SAME_PLACE_MM


def _put(way: str, frame: Frame, x: float, y: float) -> tuple[float, float]:
    """Return where a point of a package stands on the board; `way` is one of `_WAYS`."""
    if frame.mirror and way == "mirror, turn":
        x = -x
    elif frame.mirror and way == "flip, turn":
        y = -y
    x, y = turn(x, y, frame.angle)
    if frame.mirror and way == "turn, mirror":
        x = -x
    return millimetres(frame.x + x), millimetres(frame.y + y)


def _value(properties: dict[str, str]) -> str | None:
    for wanted in _VALUE_NAMES:
        for name, text in properties.items():
            if name.casefold() == wanted and text.strip():
                return text
    return None


def _shown_references(facts: Facts) -> dict[str, str]:
    """Return reference as written -> reference to show, for those whose suffix goes.

    `P1_1` becomes P1 where no component bears P1, and the parts list (or the pins that pads and
    nets name) has P1 and not `P1_1`; otherwise the name stays: a suffix may be the maker's own.
    """
    components = {component.refdes for component in facts.components}
    listed = {name for line in facts.bom for name, _, _, _ in line.references}
    used = {component for pad in facts.pads for component, _ in pad.pins}
    used.update(component for pins in facts.logical.values() for component, _, _ in pins)
    shown = _without_suffix(components, listed) | _without_suffix(components, used)
    claimed = Counter(shown.values())
    return {
        refdes: base
        for refdes, base in shown.items()
        if claimed[base] == 1 and base not in components
    }


def _without_suffix(written: Iterable[str], listed: Set[str]) -> dict[str, str]:
    """Return name as written -> name to show: the suffix goes where the list has it only bare."""
    found = [(name, _SUFFIX.fullmatch(name)) for name in written if name not in listed]
    return {name: match[1] for name, match in found if match is not None and match[1] in listed}
