"""The view maps of EDIF cells: what the layout says afterwards of parts drawn before it.

PCB schematic tools draw a sheet once and use it often. Its instances then bear no reference, or a
`?`, and the view map names each by its way through the sheets:

    (instanceBackAnnotate (instanceRef I7 (instanceRef SHEET2 (viewRef TOP))) (designator "R12"))

Forms of the standard (ANSI/EIA-548); that writers leave the references to it is seen in published
descriptions of such files.
"""

from __future__ import annotations

from nettrace.readers.edif_contents import PORT_FORMS, ContentsReader
from nettrace.readers.edif_design import Annotation, Cell, PinSaid, View, is_placeholder
from nettrace.readers.edif_nodes import folded
from nettrace.readers.edif_tree import Form
from nettrace.readers.edif_words import ANYWHERE

__all__ = ["ViewMapReader"]

_VIEW_MAP = ANYWHERE | {
    "instancebackannotate", "instancemap", "netbackannotate", "netmap", "portbackannotate",
    "portmap",
}  # fmt: skip
_INSTANCE = ANYWHERE | {"designator", "instanceref", "timing"}
_PORT = PORT_FORMS - {"direction"} | {"portref"}
_STEP = frozenset({"instanceref", "viewref"})


class ViewMapReader(ContentsReader):
    """Reads view maps into annotations, by the id of the view that they start from."""

    def view_map(self, form: Form, into: dict[str, Annotation]) -> None:
        """Read a `viewMap`; what it says of other representations than instances is not kept."""
        for item in self.forms(form, 1, _VIEW_MAP):
            if item.head == "instancebackannotate":
                self.annotate_instance(item, into)
            elif item.head == "portbackannotate":
                self.annotate_port(item, into)

    def annotate_instance(self, form: Form, into: dict[str, Annotation]) -> None:
        """Read the reference and the properties of an instance in one place."""
        items = list(self.forms(form, 1, _INSTANCE))
        for step in items:
            if step.head == "instanceref":
                said = self.annotated(step, into)
                break
        else:
            raise self.fail(
                form, "no instance in '(instancebackannotate'", "'(instanceRef ID ...)'"
            )
        for item in items:
            if item.head == "designator":
                self.annotate_reference(item, said)
            elif item.head == "property":
                self.property(item, said.properties)

    def annotate_reference(self, form: Form, said: Annotation) -> None:
        """Take over a reference; a second one that differs is noted."""
        refdes = self.designator(form)
        if not refdes or is_placeholder(refdes):
            return
        if said.designator and refdes != said.designator:
            self.note(
                "two-designators",
                f"one instance is called {said.designator} and {refdes} by the view map; "
                f"kept {said.designator}",
                form,
            )
            return
        said.designator = refdes
        said.offset = form.start

    def annotate_port(self, form: Form, into: dict[str, Annotation]) -> None:
        """Read the number of a pin of an instance in one place."""
        number = ""
        ports: list[Form] = []
        for item in self.forms(form, 1, _PORT):
            if item.head == "designator":
                number = number or self.designator(item)
            elif item.head == "portref":
                ports.append(item)
        if not ports:
            raise self.fail(form, "no port in '(portbackannotate'", "'(portRef ID ...)'")
        port, member = self.reference(ports[0])
        for step in self.forms(ports[0], 2, _STEP | {"portref"}):
            if step.head == "instanceref" and number:
                said = self.annotated(step, into)
                said.pins.append(PinSaid(port, member, number))

    def annotated(self, form: Form, into: dict[str, Annotation]) -> Annotation:
        """Return what is said of the instance that a chain of references leads to.

        The chain names the instance first, then the sheet it is in, and so on out to the view.
        """
        chain: list[str] = []
        view = ""
        step: Form | None = form
        while step is not None:
            one, index = self.reference(step)
            chain.append(f"{one} {index}" if index else one)
            outer: Form | None = None
            for item in self.forms(step, 2, _STEP):
                if item.head == "instanceref":
                    outer = item
                else:
                    view = self.identifier(item[1] if len(item) > 1 else None, item)
            step = outer
        said = into.setdefault(view, Annotation(form.start))
        for one in reversed(chain):
            said = said.within.setdefault(one, Annotation(form.start))
        return said

    def annotate_views(self, cell: Cell, said: dict[str, Annotation]) -> None:
        """Give each view of a cell what its view map says of what is in it."""
        for wanted, annotation in said.items():
            view = _view_of(cell, wanted)
            if view is None:
                self.note_at(
                    "missing-view",
                    f"the view map of cell {cell.name} is of view {wanted}, which it does not have",
                    annotation.offset,
                )
            else:
                view.annotate(annotation)


def _view_of(cell: Cell, wanted: str) -> View | None:
    """Return the view of an id ("": the one with contents), else the one of that shown name."""
    if wanted in cell.views:
        return cell.views[wanted]
    for one, view in cell.views.items():
        if view.is_sheet if not wanted else folded(wanted) in (folded(one), folded(view.name)):
            return view
    return None
