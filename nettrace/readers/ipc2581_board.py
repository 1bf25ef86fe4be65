"""Joins the facts of an IPC-2581 file into a board."""

from __future__ import annotations

from collections.abc import Callable

from nettrace.errors import BadInput, Place
from nettrace.model.board import Side, Via
from nettrace.model.builder import BoardBuilder, PartDraft
from nettrace.model.geometry import turn
from nettrace.readers.ipc2581_facts import (
    BomLine,
    ComponentFact,
    Facts,
    Frame,
    PadFact,
    PadstackFact,
    Shape,
)
from nettrace.readers.ipc2581_names import bare_packages, shown_references

__all__ = ["Assembly"]

#: How near a pad's place and a pin's computed place must be to be one, mm: finer than any pad
#: pitch, coarser than the rounding of three decimals of an inch; common practice, no source.
SAME_PLACE_MM = 0.02
_SIDES = {"TOP": Side.TOP, "BOTTOM": Side.BOTTOM, "BOTH": Side.BOTH, "ALL": Side.BOTH}
_VALUE_NAMES = ("value", "val", "comp_value", "component value", "part value")
_NO_PADSTACK = PadstackFact()

Turning = Callable[[Frame, float, float], tuple[float, float]]


def _mirror_then_turn(frame: Frame, x: float, y: float) -> tuple[float, float]:
    return turn(-x if frame.mirror else x, y, frame.angle)


def _flip_then_turn(frame: Frame, x: float, y: float) -> tuple[float, float]:
    return turn(x, -y if frame.mirror else y, frame.angle)


def _turn_then_mirror(frame: Frame, x: float, y: float) -> tuple[float, float]:
    x, y = turn(x, y, frame.angle)
    return (-x if frame.mirror else x), y


def _turn_alone(frame: Frame, x: float, y: float) -> tuple[float, float]:
    return turn(x, y, frame.angle)


#: How writers take `mirror`: the standard's way first (mirrored in x, then turned).
_TURNINGS: tuple[Turning, ...] = (
    _mirror_then_turn,
    _flip_then_turn,
    _turn_then_mirror,
    _turn_alone,
)


class Assembly:
    """Fills a builder from facts."""

    def __init__(self, facts: Facts, builder: BoardBuilder) -> None:
        self.facts = facts
        self.builder = builder
        self.drafts: dict[str, PartDraft] = {}  # by the reference as written
        self.component_of: dict[str, ComponentFact] = {}
        self.nets: dict[tuple[str, str], str] = {}  # (reference as written, pin) -> net
        self.placed: dict[tuple[str, str], list[tuple[float, float]]] = {}  # pins with pads
        self.contacts: set[tuple[str, str]] = set()  # of those, the ones that are no bare hole
        self.free: list[PadFact] = []  # pads that name no pin
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
        builder.layers = tuple(layer.name for layer in facts.layers.values() if layer.copper)
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
        shown = shown_references(self.facts)
        packages = bare_packages(self.facts)
        for component in self.facts.components:
            raw = component.refdes
            draft = self.builder.part(shown.get(raw, raw), component.place)
            draft.package = packages.get(component.package, component.package) or None
            if component.package not in self.facts.packages:
                self._note(
                    "component of a package not described", component.package, component.place
                )
            layer = self.facts.layers.get(component.layer)
            if layer is None:
                self._note("component on a layer not declared", component.layer, component.place)
            else:
                draft.side = _SIDES.get(layer.side)
            if component.frame.placed:
                draft.x, draft.y = _mm(component.frame.x), _mm(component.frame.y)
                draft.angle = component.frame.angle % 360.0
            draft.properties = dict(component.properties)
            draft.value = _value(component.properties)
            if raw in self.drafts:
                self._note(
                    "reference of two components; pads go to the first", raw, component.place
                )
                continue
            self.drafts[raw] = self.drafts[draft.refdes] = draft
            self.component_of[raw] = self.component_of[draft.refdes] = component

    def _add_parts_list(self) -> None:
        for line in self.facts.bom:
            for name, package, fitted, place in line.references:
                draft = self.drafts.get(name)
                if draft is None:
                    self._note("parts list line for a part that is not placed", name, place)
                    continue
                self._describe(draft, line, fitted, place)
                if package:
                    draft.package = package

    def _describe(self, draft: PartDraft, line: BomLine, fitted: bool | None, place: Place) -> None:
        draft.properties.update(line.properties)
        value = _value(line.properties)
        if value is not None:
            draft.value = value
            draft.origins["value"] = place
        draft.description = line.description or draft.description
        if fitted is not None:
            draft.fitted = fitted
            draft.origins["fitted"] = place

    # nets and pads

    def _read_logical_nets(self) -> None:
        for net, pins in self.facts.logical.items():
            for reference, pin, place in pins:
                if reference not in self.drafts:
                    self._note("net of a component that is not placed", reference, place)
                    continue
                known = self.nets.setdefault((reference, pin), net)
                if known != net:
                    self.builder.warn(
                        "pin-on-two-nets",
                        f"{reference}.{pin} is on {known} and on {net}; {known} is kept",
                        place,
                    )

    def _add_pads(self) -> None:
        """Add the pads that name their pin; a plated pin repeats on every layer and is one pad."""
        merged: dict[tuple[str, str, float, float], list[PadFact]] = {}
        for pad in self.facts.pads:
            x, y = _mm(pad.frame.x), _mm(pad.frame.y)
            if not pad.pins:
                self.free.append(pad)
            for reference, pin in pad.pins:
                if reference not in self.drafts:
                    self._note("pad of a component that is not placed", reference, pad.place)
                    continue
                merged.setdefault((reference, pin, x, y), []).append(pad)
        for (reference, pin, x, y), pads in merged.items():
            self._settle_net(reference, pin, pads)
            self.placed.setdefault((reference, pin), []).append((x, y))
        self._gather_spots()
        for (reference, pin, x, y), pads in merged.items():
            self._add_pad(reference, pin, x, y, pads)

    def _settle_net(self, reference: str, pin: str, pads: list[PadFact]) -> None:
        for pad in pads:
            if pad.net is None:
                continue
            known = self.nets.setdefault((reference, pin), pad.net)
            if known != pad.net:
                self.builder.warn(
                    "pin-on-two-nets",
                    f"{reference}.{pin} is on {known}, and its copper on {pad.net}; "
                    f"{known} is kept",
                    pad.place,
                )

    def _add_pad(self, reference: str, pin: str, x: float, y: float, pads: list[PadFact]) -> None:
        layers = self.facts.layers
        pads.sort(key=lambda pad: {"TOP": 0, "BOTTOM": 1}.get(layers[pad.layer].side, 2))
        first = pads[0]
        padstack = self._padstack(first)
        sides = {_SIDES.get(layers[pad.layer].side) for pad in pads} - {None}
        side = sides.pop() if len(sides) == 1 else Side.BOTH
        if padstack.drill:
            side = Side.BOTH
        net = self._net_of((reference, pin), x, y)
        contact = padstack.plating != "NONPLATED" or net is not None
        if contact:
            self.contacts.add((reference, pin))
        shape = self._shape(first, padstack)
        self.drafts[reference].pad(
            pin,
            net,
            x,
            y,
            side or Side.BOTH,
            shape=shape.name if shape else None,
            width=shape.width if shape else None,
            height=shape.height if shape else None,
            angle=first.frame.angle % 360.0,
            drill=_mm(padstack.drill * self.facts.scale) if padstack.drill else None,
            plated=contact,
            place=first.place,
        )

    def _padstack(self, pad: PadFact) -> PadstackFact:
        if not pad.padstack:
            return _NO_PADSTACK
        padstack = self.facts.padstacks.get(pad.padstack)
        if padstack is None:
            self._note("pad stack not described", pad.padstack, pad.place)
            return _NO_PADSTACK
        return padstack

    def _shape(self, pad: PadFact, padstack: PadstackFact) -> Shape | None:
        form = pad.shape if pad.shape is not None else padstack.forms.get(pad.layer)
        return self.facts.primitives.get(form) if isinstance(form, str) else form

    # pins that the pads do not name

    def _place_by_package(self) -> None:
        """Place pins without a pad by their package; find nets by place where none is told."""
        turning = self._turning()
        for reference, component in self.component_of.items():
            if reference != component.refdes:
                continue  # the shown name of one that is done by its written name
            package = self.facts.packages.get(component.package)
            if package is None or not component.frame.placed:
                continue
            draft = self.drafts[reference]
            draft.outline = tuple(_put(turning, component.frame, x, y) for x, y in package.outline)
            for pin in package.pins:
                key = (reference, pin.number)
                if not pin.frame.placed or key in self.placed:
                    continue
                x, y = _put(turning, component.frame, pin.frame.x, pin.frame.y)
                net = self._net_of(key, x, y)
                own_angle = -pin.frame.angle if component.frame.mirror else pin.frame.angle
                shape = pin.shape
                form = self.facts.primitives.get(shape) if isinstance(shape, str) else shape
                draft.pad(
                    pin.number,
                    net,
                    x,
                    y,
                    Side.BOTH if pin.through else draft.side or Side.BOTH,
                    shape=form.name if form else None,
                    width=form.width if form else None,
                    height=form.height if form else None,
                    angle=(component.frame.angle + own_angle) % 360.0,
                    place=component.place,
                )

    def _turning(self) -> Turning:
        """Return how this writer mirrors: the way that meets most of the pads that have a place."""
        scores = [0] * len(_TURNINGS)
        for component in self.facts.components:
            package = self.facts.packages.get(component.package)
            if package is None or not component.frame.mirror:
                continue
            for pin in package.pins:
                for x, y in self.placed.get((component.refdes, pin.number), ()):
                    for index, turning in enumerate(_TURNINGS):
                        there = _put(turning, component.frame, pin.frame.x, pin.frame.y)
                        scores[index] += _near(there, (x, y))
        return _TURNINGS[scores.index(max(scores))]

    def _gather_spots(self) -> None:
        """Note where nets are named by place alone, in cells of a tenth of a millimetre."""
        named = [(x, y, net) for net, x, y, _, _ in self.facts.points]
        named += [(pad.frame.x, pad.frame.y, pad.net) for pad in self.free if pad.net]
        for x, y, net in named:
            self.spots.setdefault((round(x * 10), round(y * 10)), []).append((x, y, net))

    def _net_of(self, key: tuple[str, str], x: float, y: float) -> str | None:
        net = self.nets.get(key)
        if net is None:
            net = _net_at(self.spots, x, y)
            if net is not None:
                self.nets[key] = net
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
        left = 0
        first: Place | None = None
        for pad in self.free:
            padstack = self._padstack(pad)
            if not (pad.via or padstack.drill):
                left += 1
                first = first or pad.place
                continue
            key = (_mm(pad.frame.x), _mm(pad.frame.y))
            shape = self._shape(pad, padstack)
            drill = _mm(padstack.drill * self.facts.scale) if padstack.drill else None
            net, diameter, known_drill = vias.get(key, (None, None, None))
            vias[key] = (
                net or pad.net,
                diameter or (shape.width if shape else None),
                known_drill or drill,
            )
        for hole in self.facts.holes:
            key = (_mm(hole.x), _mm(hole.y))
            if hole.plating == "VIA" or key in vias:
                net, diameter, drill = vias.get(key, (None, None, None))
                vias[key] = (net or hole.net, diameter, drill or _mm(hole.diameter))
        for (x, y), (net, diameter, drill) in vias.items():
            self.builder.vias.append(Via(x, y, net, diameter, drill))
        if left:
            self.builder.warn(
                "free-copper", f"{left} pads belong to no pin and are no vias; not kept", first
            )


def _mm(value: float) -> float:
    return round(value, 6) + 0.0


def _near(one: tuple[float, float], other: tuple[float, float]) -> bool:
    return abs(one[0] - other[0]) < SAME_PLACE_MM and abs(one[1] - other[1]) < SAME_PLACE_MM


def _put(turning: Turning, frame: Frame, x: float, y: float) -> tuple[float, float]:
    dx, dy = turning(frame, x, y)
    return _mm(frame.x + dx), _mm(frame.y + dy)


def _net_at(
    spots: dict[tuple[int, int], list[tuple[float, float, str]]], x: float, y: float
) -> str | None:
    """Return the one net that has a point there; None where there is none, or more than one."""
    column, row = round(x * 10), round(y * 10)
    nets = {
        net
        for i in (column - 1, column, column + 1)
        for j in (row - 1, row, row + 1)
        for px, py, net in spots.get((i, j), ())
        if _near((px, py), (x, y))
    }
    return nets.pop() if len(nets) == 1 else None


def _value(properties: dict[str, str]) -> str | None:
    for wanted in _VALUE_NAMES:
        for name, text in properties.items():
            if name.casefold() == wanted and text.strip():
                return text
    return None
