"""Forms, places and paths of IPC-2581: what may stand in several contexts."""

from __future__ import annotations

import math

from nettrace.model.builder import BoardBuilder
from nettrace.readers.document import Document
from nettrace.readers.ipc2581_facts import Frame, PadFact, PadstackFact, PinFact, Shape
from nettrace.readers.ipc2581_machine import Action, Attributes, Machine

__all__ = ["FormMachine"]

MILLIMETRES = {"MILLIMETER": 1.0, "MM": 1.0, "MICRON": 0.001, "INCH": 25.4}
#: Steps of an arc in the outline, degrees; common practice, no source.
ARC_STEP_DEGREES = 15.0


class FormMachine(Machine):
    """Knows primitives, Xform, Location and polygons; they go to whatever is open."""

    def __init__(self, document: Document, builder: BoardBuilder) -> None:
        self.dictionary_scale = 1.0
        self.entry = ""  # of a dictionary
        self.frame = Frame()
        self.padstack = PadstackFact()
        self.form_layer = ""  # of the pad stack
        self.pin: PinFact | None = None
        self.pad: PadFact | None = None
        self.path: list[tuple[float, float]] = []
        super().__init__(document, builder)

    def form_actions(self) -> dict[str, Action]:
        """Return what may stand where a form is described."""
        return {
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

    def path_actions(self) -> dict[str, Action]:
        """Return what may stand in an outline."""
        return {
            "PolyBegin": self.on_path_begin,
            "PolyStepSegment": self.on_path_step,
            "PolyStepCurve": self.on_path_curve,
        }

    def scale_of(self, units: str) -> float:
        """Return millimetres per unit; BadInput for an unknown unit."""
        scale = MILLIMETRES.get(units.strip().upper())
        if scale is None:
            self.fail(f"the unit {units!r}", "MILLIMETER, MICRON or INCH")
        return scale

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
        """Take a circle."""
        size = self.number_of(attributes, "diameter", "Circle") * self._form_scale()
        self._take_form(Shape("circle", _mm(size), _mm(size)))

    def on_box(self, element: str, name: str) -> Action:
        """Return an action that takes a form with width and height."""

        def start(attributes: Attributes) -> None:
            scale = self._form_scale()
            width = self.number_of(attributes, "width", element) * scale
            height = self.number_of(attributes, "height", element) * scale
            self._take_form(Shape(name, _mm(width), _mm(height)))

        return start

    def on_contour(self) -> Action:
        """Return an action that takes a form of free shape, and passes over its corners."""
        pass_over = self.pass_over("Contour")

        def start(attributes: Attributes) -> None:
            self._take_form(Shape("custom", None, None))
            pass_over(attributes)

        return start

    def on_primitive_reference(self, attributes: Attributes) -> None:
        """Take a form by its name in a dictionary."""
        self._take_form(self.text_of(attributes, "id", "StandardPrimitiveRef"))

    def on_path_begin(self, attributes: Attributes) -> None:
        """Begin a path."""
        if self.path and self.closing == self.prefix + "Profile":
            self.facts.outline.append(self.path)
        self.path = [self._point(attributes)]

    def on_path_step(self, attributes: Attributes) -> None:
        """Go straight on."""
        self.path.append(self._point(attributes))

    def on_path_curve(self, attributes: Attributes) -> None:
        """Go on along an arc, in steps."""
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

    def on_xform(self, attributes: Attributes) -> None:
        """Turn and mirror the open frame."""
        self.frame.angle = self.number_of(attributes, "rotation", "Xform", 0.0)
        mirror = attributes.get("mirror", "false")
        if mirror not in {"true", "false", "1", "0"}:
            self.fail(f"mirror={mirror!r}", "true or false")
        self.frame.mirror = mirror in {"true", "1"}

    def on_location(self, attributes: Attributes) -> None:
        """Place the open frame."""
        self.locate(attributes, "Location")

    def locate(self, attributes: Attributes, element: str) -> None:
        """Put the open frame at the x and y of the element."""
        self.frame.x = self.number_of(attributes, "x", element) * self.facts.scale
        self.frame.y = self.number_of(attributes, "y", element) * self.facts.scale
        self.frame.placed = True


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
