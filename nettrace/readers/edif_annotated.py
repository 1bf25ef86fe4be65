"""Puts what view maps say of instances in the place of what the drawing says of them."""

from __future__ import annotations

from collections.abc import Mapping
from copy import copy

from nettrace.readers.document import Document
from nettrace.readers.edif_design import Design, Instance, PinSaid, View
from nettrace.readers.edif_finder import Finder
from nettrace.readers.edif_nodes import Annotated, folded

__all__ = ["Annotator"]


class Annotator(Finder):
    """Finds what is said of an instance in one place of the hierarchy."""

    def __init__(self, document: Document, design: Design) -> None:
        super().__init__(document, design)
        # instances as annotated; kept, for what is known of properties goes by their identity
        self.said: list[Instance] = []

    def inner(self, annotated: Annotated, one: str) -> Annotated:
        """Return what of it is said of one instance."""
        found = ((path, self.find(each.within, one)) for path, each in annotated)
        return tuple((path, each) for path, each in found if each is not None)

    def annotate(self, instance: Instance, annotated: Annotated, path: str) -> tuple[Instance, str]:
        """Return the instance as the outermost view map has it, and what its reference begins with.

        A view map of the whole board gives references of the board, without the sheet's path.
        """
        made = copy(instance)
        self.said.append(made)
        properties = dict(instance.properties or {})
        pins: dict[tuple[str, str], list[PinSaid]] = {}
        prefix, offset = path, instance.offset
        for start, each in reversed(annotated):
            properties |= each.properties
            if each.designator:
                made.designator, prefix = each.designator, start
                offset = each.offset
            numbers: dict[tuple[str, str], list[PinSaid]] = {}
            for pin in each.pins:
                numbers.setdefault((folded(pin.port), pin.member), []).append(pin)
            pins |= numbers
        made.properties = properties or None
        drawn = instance.pins or []
        made.pins = [pin for pin in drawn if (folded(pin.port), pin.member) not in pins] + [
            pin for some in pins.values() for pin in some
        ]
        if not path and instance.designator and instance.designator != made.designator:
            self.warn(
                "annotated",
                f"{instance.designator} of the drawing is {made.designator} by the view map: "
                "taken so",
                offset,
            )
        return made, prefix

    def warn_of_strangers(
        self, view: View, slots: Mapping[str, object], annotated: Annotated
    ) -> None:
        """Say which instances of view maps the sheet does not hold."""
        for _, annotation in annotated:
            for one, each in annotation.within.items():
                if one not in slots and self.find(slots, one) is None:
                    self.warn(
                        "missing-instance",
                        f"a view map names instance {one}, which view {view.name} does not hold",
                        each.offset,
                    )
