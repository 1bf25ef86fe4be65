"""The whole-tree reader of EDIF, second half: from forms to cells, ports, instances and nets.

A keyword it does not know stops it with line and column: skipping one would lose a connection in
silence. Keywords: ANSI/EIA-548, EDIF 2 0 0 (list from memory of the standard).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from sys import intern

from nettrace.errors import BadInput
from nettrace.model.names import nearest_names
from nettrace.readers.document import Document
from nettrace.readers.edif_design import (
    Cell,
    Design,
    Instance,
    Library,
    NetForm,
    PinSaid,
    Port,
    View,
    alias_names,
    decode_id,
    decode_string,
)
from nettrace.readers.edif_tree import Form, fault, read_forms

__all__ = ["read_design"]

#: Most members of one array; wider ones are not found on boards.
MOST_MEMBERS = 65_536
#: Most instances that arrays of instances may stand for.
MOST_INSTANCES = 1_000_000

_INTEGER = re.compile(r"[-+]?\d{1,30}\Z")
_INDEX = re.compile(r"\d{1,9}\Z")

_ANYWHERE = frozenset({"comment", "userdata", "property", "metax"})
_EDIF = _ANYWHERE | {
    "edifversion", "ediflevel", "keywordmap", "status", "external", "library", "design",
}  # fmt: skip
_LIBRARY = _ANYWHERE | {"ediflevel", "technology", "status", "cell"}
_CELL = _ANYWHERE | {"celltype", "status", "view", "viewmap"}
_VIEW = _ANYWHERE | {"viewtype", "status", "interface", "contents"}
_INTERFACE = _ANYWHERE | {
    "arrayrelatedinfo", "designator", "joined", "mustjoin", "parameter", "permutable", "port",
    "portbundle", "protectionframe", "simulate", "symbol", "timing", "weakjoined",
}  # fmt: skip
_PORT = _ANYWHERE | {
    "acload", "dcfaninload", "dcfanoutload", "dcmaxfanin", "dcmaxfanout", "designator",
    "direction", "portdelay", "unused",
}  # fmt: skip
_CONTENTS = _ANYWHERE | {
    "boundingbox", "commentgraphics", "figure", "follow", "instance", "logicport", "net",
    "netbundle", "offpageconnector", "page", "portimplementation", "section", "simulate", "timing",
    "when", "pagesize",
}  # fmt: skip
_INSTANCE = _ANYWHERE | {
    "designator", "parameterassign", "portinstance", "timing", "transform", "viewlist", "viewref",
}  # fmt: skip
_PORT_INSTANCE = _PORT - {"direction"} | {"portimplementation", "connectlocation"}
_NET = _ANYWHERE | {
    "commentgraphics", "criticality", "figure", "instance", "joined", "net", "netdelay", "subnet",
}  # fmt: skip
_BUNDLE = _ANYWHERE | {"commentgraphics", "figure", "listofnets"}
_JOINED = _ANYWHERE | {"globalportref", "portlist", "portref"}
_PROPERTY = _ANYWHERE | {
    "boolean", "integer", "minomax", "mnm", "number", "owner", "point", "propertydisplay", "string",
    "unit",
}  # fmt: skip
_KEYWORD_MAP = _ANYWHERE | {"keywordalias", "keyworddefine", "keywordlevel"}


def read_design(document: Document) -> Design:
    """Return what the text says, cell by cell.

    Raises:
        BadInput: the text is not EDIF 2 0 0, with line and column.
    """
    return _Interpreter(document).design(read_forms(document))


class _Interpreter:
    def __init__(self, document: Document) -> None:
        self.document = document
        self.result = Design()
        self.keywords: dict[str, str] = {}  # alias -> keyword
        self.schematic = False
        self.members = 0

    # -- small things --

    def fail(self, form: Form, found: str, expected: str = "", hint: str = "") -> BadInput:
        return fault(self.document, form.start, found, expected=expected, hint=hint)

    def note(self, code: str, message: str, form: Form) -> None:
        self.result.notes.append((code, message, form.start))

    def forms(self, form: Form, start: int, known: frozenset[str]) -> Iterator[Form]:
        """Yield the forms in it from item `start` on; all must have a known keyword."""
        for item in form[start:]:
            if isinstance(item, str):
                raise self.fail(form, f"{_short(item)} in '({form.head}'", "a form in parentheses")
            if item.head not in known:
                item[0] = self.keywords.get(item.head, item[0])
                if item.head not in known:
                    raise self.unknown(item, form, known)
            yield item

    def unknown(self, item: Form, parent: Form, known: frozenset[str]) -> BadInput:
        near = nearest_names(item.head, sorted(known), most=1)
        hint = f"Is '({near[0]}' meant?" if near else ""
        return self.fail(item, f"'({item.head}'", f"a form that belongs in '({parent.head}'", hint)

    def text(self, item: str | Form | None, parent: Form) -> str:
        """Return a string, bare or in `stringDisplay`."""
        if isinstance(item, Form) and item.head == "stringdisplay" and len(item) > 1:
            item = item[1]
        if isinstance(item, str) and item[0] == '"':
            return decode_string(item)
        raise self.fail(parent, f"no string in '({parent.head}'", "'\"...\"'")

    def identifier(self, item: str | Form | None, parent: Form) -> str:
        """Return an id, bare or in `name`."""
        if isinstance(item, Form) and item.head == "name" and len(item) > 1:
            item = item[1]
        if isinstance(item, str) and item[0] != '"':
            return item
        raise self.fail(parent, f"no name in '({parent.head}'", "a name after the keyword")

    def name(
        self, item: str | Form | None, parent: Form, codes: bool | None = None
    ) -> tuple[str, str]:
        """Return id and shown name of a definition."""
        if isinstance(item, Form) and item.head == "rename":
            if len(item) != 3:
                raise self.fail(item, "'(rename' of another shape", "'(rename ID \"NAME\")'")
            return self.identifier(item[1], item), self.text(item[2], item)
        one = self.identifier(item, parent)
        return one, decode_id(one, codes=self.schematic if codes is None else codes)

    def definition(self, form: Form, codes: bool | None = None) -> tuple[str, str, tuple[int, ...]]:
        """Return id, shown name and array sizes of what `form` defines."""
        item = form[1] if len(form) > 1 else None
        if not (isinstance(item, Form) and item.head == "array"):
            return (*self.name(item, form, codes), ())
        sizes = []
        total = 1
        for word in item[2:]:
            if not (isinstance(word, str) and _INDEX.match(word)) or int(word) == 0:
                raise self.fail(item, "an array of another shape", "'(array NAME SIZE)'")
            sizes.append(int(word))
            total *= int(word)
        if not sizes:
            raise self.fail(item, "an array without a size", "'(array NAME SIZE)'")
        if total > MOST_MEMBERS:
            raise self.fail(item, f"an array of {total} members", f"at most {MOST_MEMBERS}")
        return (*self.name(item[1], item, codes), tuple(sizes))

    def reference(self, form: Form) -> tuple[str, str]:
        """Return id and member index ("" if none) of what `form` refers to."""
        item = form[1] if len(form) > 1 else None
        if isinstance(item, Form) and item.head == "member":
            indices = item[2:]
            if not indices or not all(isinstance(w, str) and _INDEX.match(w) for w in indices):
                raise self.fail(item, "'(member' of another shape", "'(member NAME INDEX)'")
            return self.identifier(item[1], item), " ".join(map(str, indices))
        return self.identifier(item, form), ""

    def designator(self, form: Form) -> str:
        """Return the text of a `designator`, "" where it is empty."""
        for item in form[1:]:
            if said := self.text(item, form).strip():
                return said
        return ""

    def property(self, form: Form, into: dict[str, str]) -> None:
        _, name = self.name(form[1] if len(form) > 1 else None, form, codes=True)
        for item in self.forms(form, 2, _PROPERTY):
            if item.head in _VALUES:
                into.setdefault(name, self.value(item))

    def value(self, form: Form) -> str:
        """Return a typed value as text: "" for an empty one."""
        if form.head == "string":
            for item in form[1:]:
                return self.text(item, form)
            return ""
        for item in form[1:]:
            if isinstance(item, Form):
                if item.head in ("integerdisplay", "numberdisplay", "booleandisplay"):
                    return self.value(item)
                if item.head == "e":
                    if len(item) == 3 and all(
                        isinstance(w, str) and _INTEGER.match(w) for w in item[1:]
                    ):
                        return f"{item[1]}e{item[2]}"
                    raise self.fail(item, "'(e' of another shape", "'(e MANTISSA EXPONENT)'")
                if item.head in ("true", "false"):
                    return item.head
                continue
            if form.head in ("integer", "number") and not _INTEGER.match(item):
                raise self.fail(form, f"{_short(item)} in '({form.head}'", "a whole number")
            return item
        return ""

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
        for item in self.forms(form, 2, _ANYWHERE | {"cellref", "status"}):
            if item.head == "cellref":
                result.top_cell, result.top_library = self.cell_reference(item)
                result.top_offset = item.start
        if result.top_cell is None:
            raise self.fail(form, "a design without a cell", "'(cellRef NAME)'")
        result.name = name

    def cell_reference(self, form: Form) -> tuple[str, str]:
        cell = self.identifier(form[1] if len(form) > 1 else None, form)
        for item in self.forms(form, 2, frozenset({"libraryref"})):
            return cell, self.identifier(item[1] if len(item) > 1 else None, item)
        return cell, ""

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
        for item in self.forms(form, 2, _CELL):
            if item.head == "view":
                self.view(item, cell)
            elif item.head == "property":
                self.property(item, cell.properties)
        if name == decode_id(one) and any(v.type == "SCHEMATIC" for v in cell.views.values()):
            cell.name = decode_id(one, codes=True)

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
                    for inner in self.forms(item, 2, _PORT | {"listofports"}):
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
        for item in self.forms(form, 2, _PORT):
            if item.head == "direction":
                direction = self.identifier(item[1] if len(item) > 1 else None, item)
                port.direction = intern(direction.lower())
            elif item.head == "designator":
                port.designator = port.designator or self.designator(item)
            elif item.head == "property":
                said: dict[str, str] = {}
                self.property(item, said)
                port.say(said)

    def contents(self, form: Form, view: View) -> None:
        for item in self.forms(form, 1, _CONTENTS):
            match item.head:
                case "instance":
                    self.instance(item, view)
                case "net":
                    self.net(item, view)
                case "netbundle":
                    self.bundle(item, view)
                case "page":
                    self.page(item, view)
                case "offpageconnector":
                    pass  # see below, when all nets are known
                case "portimplementation" | "commentgraphics":
                    view.symbols.update(self.symbols(item))
                case "property":
                    self.property(item, view.properties)
                case _:
                    pass  # graphics
        self.tie_connectors(form, view)

    def page(self, form: Form, view: View) -> None:
        """Read a page; its instances are its own, also where another page has one of that id."""
        page = View(view.name, form.start)
        page.type, page.ports, page.properties = view.type, view.ports, view.properties
        inner = Form(form.start)
        inner.append(form.head)
        inner.extend(form[2:])
        self.contents(inner, page)
        drawn = page.symbols - page.instances.keys()
        again = {
            one: f"{one} {form.start}" for one in page.instances if one in view.instances
        }  # a blank is in no id
        for net in page.nets:
            net.joined = [
                (port, member, again.get(one, one))
                for port, member, one in net.joined
                if one not in drawn
            ]
        for one, instance in page.instances.items():
            view.instances[again.get(one, one)] = instance
        view.nets += page.nets

    def tie_connectors(self, form: Form, view: View) -> None:
        """Note which off-page connectors of a page (or of the contents) the nets join."""
        connectors: dict[str, str] = {}
        for item in form[1:]:
            if isinstance(item, Form) and item.head == "offpageconnector":
                one, name, _ = self.definition(item)
                connectors[one] = name
                view.symbols.update(self.symbols(item))
        if not connectors:
            return
        for net in view.nets:
            off_page = [
                ref for ref in net.joined
                if not ref[2] and ref[0] in connectors and ref[0] not in view.ports
            ]  # fmt: skip
            if off_page:
                net.connectors += tuple(connectors[ref[0]] for ref in off_page)
                net.joined = [ref for ref in net.joined if ref not in off_page]

    def symbols(self, form: Form) -> list[str]:
        """Return the ids of the instances in a form (itself included) that is drawing."""
        found = []
        if form.head == "instance":
            found.append(self.definition(form)[0])
        for item in form[1:]:
            if isinstance(item, Form):
                found.extend(self.symbols(item))
        return found

    def instance(self, form: Form, view: View) -> None:
        one, name, sizes = self.definition(form)
        if one in view.instances or f"{one} 0" in view.instances:
            raise self.fail(form, f"a second instance {one!r} in one cell", "each name once")
        instance = Instance(name, "", "", "", form.start)
        instance.sizes = sizes
        properties: dict[str, str] = {}
        for item in self.forms(form, 2, _INSTANCE):
            match item.head:
                case "viewref":
                    self.view_reference(item, instance)
                case "viewlist":
                    for inner in self.forms(item, 1, frozenset({"viewref", "viewlist"})):
                        if inner.head == "viewref" and not instance.cell:
                            self.view_reference(inner, instance)
                case "designator":
                    self.say_designator(item, instance)
                case "portinstance":
                    self.port_instance(item, instance)
                case "property":
                    self.property(item, properties)
                case _:
                    pass
        if not instance.cell:
            raise self.fail(form, f"instance {one!r} without a cell", "'(viewRef V (cellRef C))'")
        if properties:
            instance.properties = properties
        self.add_instance(one, instance, view)

    def add_instance(self, one: str, instance: Instance, view: View) -> None:
        if not instance.sizes:
            view.instances[one] = instance
            return
        names = Port(instance.name, sizes=instance.sizes)
        self.members += names.size
        if self.members > MOST_INSTANCES:
            raise fault(
                self.document,
                instance.offset,
                f"arrays of over {MOST_INSTANCES} instances",
                hint="Have the other program write a smaller design.",
            )
        for index in range(names.size):
            single = Instance(
                names.bit(index), instance.view, instance.cell, instance.library, instance.offset
            )
            single.properties = instance.properties
            view.instances[f"{one} {index}"] = single

    def say_designator(self, form: Form, instance: Instance) -> None:
        said = self.designator(form)
        if not instance.designator:
            instance.designator = said
        elif said and said != instance.designator:
            self.note(
                "two-designators",
                f"one instance is called {instance.designator} and {said}; "
                f"kept {instance.designator}",
                form,
            )

    def view_reference(self, form: Form, instance: Instance) -> None:
        instance.view = self.identifier(form[1] if len(form) > 1 else None, form)
        for item in self.forms(form, 2, frozenset({"cellref"})):
            instance.cell, instance.library = self.cell_reference(item)

    def port_instance(self, form: Form, instance: Instance) -> None:
        port, member = self.reference(form)
        for item in self.forms(form, 2, _PORT_INSTANCE):
            if item.head == "designator" and (said := self.designator(item)):
                if instance.pins is None:
                    instance.pins = []
                instance.pins.append(PinSaid(port, member, said))

    def bundle(self, form: Form, view: View) -> None:
        for item in self.forms(form, 2, _BUNDLE):
            if item.head == "listofnets":
                for net in self.forms(item, 1, frozenset({"net", "netbundle"})):
                    self.net(net, view)

    def net(self, form: Form, view: View) -> None:
        if form.head == "netbundle":
            self.bundle(form, view)
            return
        one, name, sizes = self.definition(form)
        net = NetForm(one, name, [], form.start)
        if sizes:
            net.size = Port(name, sizes=sizes).size
        self.net_items(form, net, view)
        view.nets.append(net)

    def net_items(self, form: Form, net: NetForm, view: View) -> None:
        for item in self.forms(form, 2, _NET):
            match item.head:
                case "joined":
                    self.joined(item, net)
                case "subnet":
                    self.net_items(item, net, view)
                case "net":
                    self.net(item, view)
                case "property":
                    said: dict[str, str] = {}
                    self.property(item, said)
                    net.aliases += alias_names(said)
                case "instance" | "commentgraphics" | "figure":
                    # instances nested in a net are its symbols (power, ties, connectors): no parts
                    view.symbols.update(self.symbols(item))
                case _:
                    pass

    def joined(self, form: Form, net: NetForm) -> None:
        for item in self.forms(form, 1, _JOINED):
            if item.head == "portref":
                self.port_reference(item, net)
            elif item.head == "portlist":
                self.joined(item, net)
            elif item.head == "globalportref":
                net.globals += (self.reference(item)[0],)

    def port_reference(self, form: Form, net: NetForm) -> None:
        port, member = self.reference(form)
        instance = ""
        for item in self.forms(form, 2, frozenset({"instanceref", "portref", "viewref"})):
            if item.head != "instanceref":
                self.note(
                    "deep-reference", f"net {net.name}: a port inside another is left out", item
                )
                return
            instance, index = self.reference(item)
            if index:
                instance = f"{instance} {index}"
            for deeper in self.forms(item, 2, frozenset({"instanceref", "viewref"})):
                self.note(
                    "deep-reference", f"net {net.name}: a port inside another is left out", deeper
                )
                return
        net.joined.append((port, member, instance))


_VALUES = frozenset({"boolean", "integer", "minomax", "mnm", "number", "point", "string"})


def _short(token: str) -> str:
    return repr(token if len(token) <= 24 else token[:24] + "...")
