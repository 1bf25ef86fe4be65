"""The whole-tree reader of EDIF, second half: from forms to libraries, cells, views and ports."""

from __future__ import annotations

from sys import intern

from nettrace.readers.document import Document
from nettrace.readers.edif_contents import PORT_FORMS
from nettrace.readers.edif_design import (
    Annotation,
    Cell,
    Design,
    Library,
    Port,
    View,
    decode_id,
    decode_string,
)
from nettrace.readers.edif_tree import Form, read_forms
from nettrace.readers.edif_viewmap import ViewMapReader
from nettrace.readers.edif_words import ANYWHERE

__all__ = ["read_design"]

_EDIF = ANYWHERE | {
    "edifversion", "ediflevel", "keywordmap", "status", "external", "library", "design",
}  # fmt: skip
_LIBRARY = ANYWHERE | {"ediflevel", "technology", "status", "cell"}
_CELL = ANYWHERE | {"celltype", "status", "view", "viewmap"}
# a symbol belongs in the interface; some writers put it beside
_VIEW = ANYWHERE | {"viewtype", "status", "interface", "contents", "symbol"}
_INTERFACE = ANYWHERE | {
    "arrayrelatedinfo", "designator", "joined", "mustjoin", "parameter", "permutable", "port",
    "portbundle", "protectionframe", "simulate", "symbol", "timing", "weakjoined",
}  # fmt: skip
_KEYWORD_MAP = ANYWHERE | {"keywordalias", "keyworddefine", "keywordlevel"}


def read_design(document: Document) -> Design:
    """Return what the text says, cell by cell.

    Raises:
        BadInput: the text is not EDIF 2 0 0, with line and column.
    """
    return _Interpreter(document).design(read_forms(document))


class _Interpreter(ViewMapReader):
    """Goes through the text from the top down."""

    # -- from the top down --

    def design(self, root: Form) -> Design:
        result = self.result
        if root.head != "edif":
            raise self.fail(root, f"'({root.head}'", "'(edif NAME'")
        result.name = self.name(root[1] if len(root) > 1 else None, root)[1]
        versions = 0
        for form in self.forms(root, 2, _EDIF):
            match form.head:
                case "edifversion":
                    versions += 1
                    if form[1:] != ["2", "0", "0"]:
                        said = " ".join(w if isinstance(w, str) else "(...)" for w in form[1:])
                        raise self.fail(
                            form,
                            f"EDIF {said}",
                            "EDIF 2 0 0",
                            "Have the other program write EDIF 2 0 0.",
                        )
                case "keywordmap":
                    self.keyword_map(form)
                case "external" | "library":
                    self.library(form)
                case "design":
                    self.top(form)
                case "status":
                    result.program = result.program or self.program(form)
                case _:
                    pass
        if not versions:
            self.note("no-version", "no '(edifVersion 2 0 0)': read as EDIF 2 0 0", root)
        return result

    def program(self, form: Form) -> str:
        for written in form[1:]:
            if isinstance(written, Form) and written.head == "written":
                for item in written[1:]:
                    if isinstance(item, Form) and item.head == "program" and len(item) > 1:
                        return decode_string(item[1]) if isinstance(item[1], str) else ""
        return ""

    def keyword_map(self, form: Form) -> None:
        for item in self.forms(form, 1, _KEYWORD_MAP):
            if item.head == "keywordalias":
                words = [word.lower() for word in item[1:] if isinstance(word, str)]
                if len(words) != 2:
                    raise self.fail(item, "an alias of another shape", "'(keywordAlias NEW OLD)'")
                self.keywords[words[0]] = self.keywords.get(words[1], words[1])
            elif item.head == "keyworddefine":
                raise self.fail(
                    item,
                    "a keyword made of others",
                    "keyword level 0 or 1",
                    "Have the other program write keyword level 0.",
                )

    def top(self, form: Form) -> None:
        result = self.result
        _, name = self.name(form[1] if len(form) > 1 else None, form)
        if result.top_cell is not None:
            self.note("second-design", f"a second design, {name}, is not read", form)
            return
        for item in self.forms(form, 2, ANYWHERE | {"cellref", "status", "viewmap"}):
            if item.head == "viewmap":
                self.view_map(item, result.annotations)
            elif item.head == "cellref":
                result.top_cell, result.top_library = self.cell_reference(item)
                result.top_offset = item.start
        if result.top_cell is None:
            raise self.fail(form, "a design without a cell", "'(cellRef NAME)'")
        result.name = name

    def library(self, form: Form) -> None:
        one, name = self.name(form[1] if len(form) > 1 else None, form)
        library = self.result.libraries.get(one)
        if library is None:
            library = self.result.libraries[one] = Library(name)
        for item in self.forms(form, 2, _LIBRARY):
            if item.head == "cell":
                self.cell(item, library)

    def cell(self, form: Form, library: Library) -> None:
        one, name = self.name(form[1] if len(form) > 1 else None, form, codes=False)
        if one in library.cells:
            raise self.fail(
                form, f"a second cell {one!r} in library {library.name!r}", "each name once"
            )
        cell = library.cells[one] = Cell(name)
        annotations: dict[str, Annotation] = {}
        for item in self.forms(form, 2, _CELL):
            if item.head == "viewmap":
                self.view_map(item, annotations)
            elif item.head == "view":
                self.view(item, cell)
            elif item.head == "property":
                self.property(item, cell.properties)
        if name == decode_id(one) and any(v.type == "SCHEMATIC" for v in cell.views.values()):
            cell.name = decode_id(one, codes=True)
        self.annotate_views(cell, annotations)

    def view(self, form: Form, cell: Cell) -> None:
        one, name = self.name(form[1] if len(form) > 1 else None, form, codes=False)
        if one in cell.views:
            raise self.fail(form, f"a second view {one!r} of cell {cell.name!r}", "each name once")
        view = cell.views[one] = View(name, form.start)
        items = list(self.forms(form, 2, _VIEW))
        for item in items:
            if item.head == "viewtype":
                view.type = self.identifier(item[1] if len(item) > 1 else None, item).upper()
        self.schematic = view.type == "SCHEMATIC"
        for item in items:
            if item.head == "interface":
                self.interface(item, view)
            elif item.head == "contents":
                self.contents(item, view)
            elif item.head == "property":
                self.property(item, view.properties)
        self.schematic = False

    def interface(self, form: Form, view: View) -> None:
        for item in self.forms(form, 1, _INTERFACE):
            match item.head:
                case "port":
                    self.port(item, view)
                case "portbundle":
                    for inner in self.forms(item, 2, PORT_FORMS | {"listofports"}):
                        if inner.head == "listofports":
                            for port in self.forms(inner, 1, frozenset({"port", "portbundle"})):
                                self.port(port, view)
                case "designator":
                    view.designator = view.designator or self.designator(item)
                case "property":
                    self.property(item, view.properties)
                case _:
                    pass

    def port(self, form: Form, view: View) -> None:
        one, name, sizes = self.definition(form)
        if one in view.ports:
            raise self.fail(form, f"a second port {one!r} of one cell", "each name once")
        port = view.ports[one] = Port(name, sizes=sizes)
        for item in self.forms(form, 2, PORT_FORMS):
            if item.head == "direction":
                direction = self.identifier(item[1] if len(item) > 1 else None, item)
                port.direction = intern(direction.lower())
            elif item.head == "designator":
                port.designator = port.designator or self.designator(item)
            elif item.head == "property":
                said: dict[str, str] = {}
                self.property(item, said)
                port.say(said)
