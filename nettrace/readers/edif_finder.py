"""Finds what an EDIF text refers to: libraries, cells, views, the top cell; and says where."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import accumulate, repeat
from operator import add, le, sub
from typing import TypeVar

from nettrace.errors import Place
from nettrace.model.builder import BoardBuilder
from nettrace.model.names import nearest_names
from nettrace.readers.document import Document
from nettrace.readers.edif_design import Cell, Design, Instance, Library, View
from nettrace.readers.edif_fields import cell_fields
from nettrace.readers.edif_nodes import Use, folded
from nettrace.readers.edif_tree import fault

__all__ = ["Finder"]

#: Warnings of one kind that are listed one by one; the rest is counted.
MOST_WARNINGS = 20

Thing = TypeVar("Thing")
Named = TypeVar("Named", Cell, Library, View)


class Finder:
    """Looks up ids in a design, and hands warnings with their place to the builder."""

    def __init__(self, document: Document, design: Design) -> None:
        self.document = document
        self.design = design
        self.builder = BoardBuilder(document.path, "edif")
        self.builder.digest = document.digest
        self.uses: dict[tuple[str, str, str, str], Use] = {}
        self.ids_folded: dict[int, tuple[Mapping[str, object], dict[str, str]]] = {}
        self.warned: dict[str, int] = {}
        self.at, self.line, self.line_start = 0, 1, 0  # what was last asked for

    # -- places and warnings --

    def place(self, offset: int) -> Place:
        """Return line and column: counted on, or back, from the place asked for before."""
        text = self.document.text
        if offset >= self.at:
            lines = text.count("\n", self.at, offset)
            if lines:
                self.line += lines
                self.line_start = text.rfind("\n", self.at, offset) + 1
        elif offset < self.line_start:
            self.line -= text.count("\n", offset, self.line_start)
            self.line_start = text.rfind("\n", 0, offset) + 1
        self.at = offset
        return Place(self.document.path, self.line, offset - self.line_start + 1)

    def places(self, offsets: Sequence[int]) -> list[Place]:
        """Return line and column of many: counted in one sweep where they are in order."""
        if not all(map(le, offsets, offsets[1:])):  # a net written in another one
            return [self.place(offset) for offset in offsets]
        text = self.document.text
        before = [0, *offsets[:-1]]
        lines = accumulate(map(text.count, repeat("\n"), before, offsets))
        breaks = accumulate(map(text.rfind, repeat("\n"), before, offsets), max)
        said = zip(
            repeat(self.document.path),
            map(add, lines, repeat(1)),
            map(sub, offsets, breaks),
        )
        # as Place(...) does, at a fraction of the time
        return list(map(tuple.__new__, repeat(Place), said))

    def warn(self, code: str, message: str, offset: int) -> None:
        """Note something read with care; beyond the first of a kind it is counted."""
        count = self.warned[code] = self.warned.get(code, 0) + 1
        if count <= MOST_WARNINGS:
            self.builder.warn(code, message, self.place(offset))

    # -- finding --

    def find(self, things: Mapping[str, Thing], wanted: str) -> Thing | None:
        """Return what has the id: exactly so, else without case (as the standard compares)."""
        thing = things.get(wanted)
        if thing is not None:
            return thing
        one = self.folded_ids(things).get(folded(wanted))
        return None if one is None else things[one]

    def find_named(self, things: Mapping[str, Named], wanted: str) -> Named | None:
        """Return what has the id, else the only one of that shown name (some writers refer so)."""
        thing = self.find(things, wanted)
        if thing is not None:
            return thing
        called = [each for each in things.values() if folded(each.name) == folded(wanted)]
        return called[0] if len(called) == 1 else None

    def folded_ids(self, things: Mapping[str, object]) -> dict[str, str]:
        """Return id in small letters, without `&`, -> id; the first where that alone parts them."""
        held = self.ids_folded.get(id(things))
        if held is None:
            ids: dict[str, str] = {}
            for one in things:
                ids.setdefault(folded(one), one)
            # the mapping is kept with it: an id of a mapping that is gone could come back
            held = self.ids_folded[id(things)] = (things, ids)
        return held[1]

    def find_cell(self, library: str, wanted: str) -> tuple[str, Cell] | None:
        """Return library id and cell; any library will do if only one has the cell."""
        libraries = self.design.libraries
        home = self.find_named(libraries, library)
        if home is not None:
            cell = self.find_named(home.cells, wanted)
            if cell is not None:
                return self.library_id(home), cell
        holders = [
            (one, cell)
            for one, held in libraries.items()
            if (cell := self.find(held.cells, wanted)) is not None
        ]
        return holders[0] if len(holders) == 1 else None

    def library_id(self, library: Library) -> str:
        """Return the id of a library of this design."""
        return next(one for one, held in self.design.libraries.items() if held is library)

    def use(self, home: str, instance: Instance) -> Use:
        """Return what an instance is of; `home` is the library that it stands in."""
        key = (home, instance.library, instance.cell, instance.view)
        known = self.uses.get(key)
        if known is not None:
            return known
        found = self.find_cell(instance.library or home, instance.cell)
        if found is None:
            self.warn(
                "missing-cell",
                f"{instance.name} is of cell {instance.cell}, which the file does not hold: "
                "its pins are those that nets name",
                instance.offset,
            )
            made = Use(None, None, home, cell_fields(instance.cell, {}, {}), {})
        else:
            library, cell = found
            view = self.find_named(cell.views, instance.view)
            if view is None and cell.views:
                view = next(iter(cell.views.values()))
                self.warn(
                    "missing-view",
                    f"{instance.name} wants view {instance.view} of cell {cell.name}, "
                    f"which has {view.name}",
                    instance.offset,
                )
            fields = cell_fields(cell.name, cell.properties, view.properties if view else {})
            made = Use(cell, view, library, fields, {})
        self.uses[key] = made
        return made

    def top(self) -> tuple[str, View]:
        """Return library id and view of the top cell; BadInput if there is none."""
        design = self.design
        if design.top_cell is not None:
            found = self.find_cell(design.top_library, design.top_cell)
            if found is None:
                names = [one for held in design.libraries.values() for one in held.cells]
                near = nearest_names(design.top_cell, names, most=1)
                raise fault(
                    self.document,
                    design.top_offset,
                    f"the design is of cell {design.top_cell!r}, which the file does not hold",
                    hint=f"Nearest: {near[0]}." if near else "",
                )
            library, cell = found
        else:
            library, cell = self.guess_top()
        for view in cell.views.values():
            if view.is_sheet:
                return library, view
        for view in cell.views.values():
            self.warn(
                "empty-design",
                f"the top cell {cell.name} has no contents: is this a library alone?",
                design.top_offset,
            )
            return library, view
        raise fault(
            self.document,
            design.top_offset,
            f"the top cell {cell.name!r} has no view",
            hint="Is this a library alone? Export the design.",
        )

    def guess_top(self) -> tuple[str, Cell]:
        """Return the last cell with contents that no other one uses."""
        sheets: list[tuple[str, Cell]] = []
        used: set[str] = set()
        for one, library in self.design.libraries.items():
            for cell in library.cells.values():
                for view in cell.views.values():
                    used.update(instance.cell for instance in view.instances.values())
                if any(view.is_sheet for view in cell.views.values()):
                    sheets.append((one, cell))
        tops = [
            (one, cell)
            for one, cell in sheets
            for name, held in self.design.libraries[one].cells.items()
            if held is cell and name not in used
        ]
        if not tops:
            raise fault(
                self.document,
                0,
                "no cell with contents",
                expected="instances and nets",
                hint="Is this a library alone? Export the design.",
            )
        library_id, top = tops[-1]
        self.builder.warn(
            "no-design", f"no '(design ...)': took cell {top.name} as the top", self.place(0)
        )
        return library_id, top
