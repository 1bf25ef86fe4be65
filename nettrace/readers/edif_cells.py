"""From the forms of an EDIF text to libraries, cells, views, instances and nets.

A keyword that is not known stops the reader with line and column, unless nothing in its form names
a part or a connection: skipping such a one would lose a connection in silence. Keywords:
ANSI/EIA-548, EDIF 2 0 0 (list from memory of the standard).

View maps say what the layout made of parts drawn before it. PCB schematic tools draw a sheet once
and use it often: its instances bear no reference, or a `?`, and the view map names each by its way
through the sheets (the same is seen in published descriptions of such files):

    (instanceBackAnnotate (instanceRef I7 (instanceRef SHEET2 (viewRef TOP))) (designator "R12"))
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from sys import intern

from nettrace.errors import BadInput
from nettrace.knowledge import table
from nettrace.model.names import nearest_names
from nettrace.readers.edif_design import (
    Annotation,
    Cell,
    Design,
    Instance,
    Library,
    NetForm,
    PinSaid,
    Port,
    View,
    decode_id,
    decode_string,
    folded,
    is_placeholder,
)
from nettrace.readers.edif_tree import Form, Tree

#: Most members of one array; wider ones are not found on boards.
MOST_MEMBERS = 65_536
#: Most instances that arrays of instances may stand for.
MOST_INSTANCES = 1_000_000
#: Most different forms of instances that are remembered.
MOST_TOLD = 5000

_INTEGER = re.compile(r"[-+]?\d{1,30}\Z")
_INDEX = re.compile(r"\d{1,9}\Z")
_ALIAS = re.compile(r"alias\d*", re.IGNORECASE)


@cache
def _instance_head() -> re.Pattern[str]:
    """Return the pattern of an instance's keyword and name, where the name is a bare id."""
    return re.compile(r'\([ \t\r\n\f\v]*\w+[ \t\r\n\f\v]+([^ \t\r\n\f\v()"]+)')


@cache
def _known(head: str) -> frozenset[str]:
    """Return the heads of forms that may stand in a form."""
    held = table("edif")
    if head in held["only"]:
        return frozenset(held["only"][head].split())
    forms = held["forms"]
    return frozenset(f"{forms[head]} {forms['anywhere']}".split())


@cache
def _words(which: str) -> frozenset[str]:
    return frozenset(table("edif")["meaning"][which].split())


class CellReader:
    """Goes through the forms of a text from the top down."""

    def __init__(self, tree: Tree) -> None:
        self.tree = tree
        self.result = Design()
        self.keywords: dict[str, str] = {}  # alias -> keyword
        self.schematic = False
        self.members = 0
        # instances by what is written behind their names
        self.told: dict[tuple[bool, str], Instance] = {}

    def read(self) -> Design:
        """Return what the text says, cell by cell.

        Raises:
            BadInput: the text is not EDIF 2 0 0, with line and column.
        """
        root = self.tree.read()
        if root.head != "edif":
            raise self.fail(root, f"'({root.head}'", "'(edif NAME'")
        self.result.name = self.name(root.named, root)[1]
        versions = 0
        for form in self.forms(root, 2, "edif"):
            match form.head:
                case "edifversion":
                    versions += 1
                    self.check_version(form)
                case "keywordmap":
                    self.keyword_map(form)
                case "external" | "library":
                    self.library(form)
                case "design":
                    self.top(form)
                case _:
                    pass
        if not versions:
            self.note("no-version", "no '(edifVersion 2 0 0)': read as EDIF 2 0 0", root.start)
        return self.result

    # -- small things --

    def fail(self, form: Form, found: str, expected: str = "", hint: str = "") -> BadInput:
        """Return the error to raise about a form."""
        return self.tree.lines.error(form.start, found, expected=expected, hint=hint)

    def note(self, code: str, message: str, offset: int) -> None:
        """Note something read with care."""
        self.result.notes.append((code, message, offset))

    def forms(self, form: Form, start: int, kind: str) -> Iterator[Form]:
        """Yield the forms in it from item `start` on; all must be known in forms of its kind."""
        known = _known(kind)
        for item in form[start:]:
            if isinstance(item, str):
                raise self.fail(form, f"{_short(item)} in '({form.head}'", "a form in parentheses")
            if item.head not in known:
                item[0] = self.keywords.get(item.head, item[0])
                if item.head not in known:
                    self.leave_out(item, form, known)
                    continue
            yield item

    def leave_out(self, item: Form, parent: Form, known: frozenset[str]) -> None:
        """Note a form of an unknown keyword; an error where that could lose something.

        It can be left out where nothing in it names a part or a connection, and its keyword is no
        slip.
        """
        near = nearest_names(item.head, sorted(known), most=1) if item.head else ()
        inside = [item] if item.head and not near else []
        harmless = bool(inside)
        while inside and harmless:
            form = inside.pop()
            harmless = form.head not in _words("words")
            inside += [each for each in form if isinstance(each, Form)]
        if not harmless:
            raise self.fail(
                item,
                f"'({item.head}'",
                f"a form that belongs in '({parent.head}'",
                f"Is '({near[0]}' meant?" if near else "",
            )
        self.note("unknown-form", f"'({item.head}' in '({parent.head}' is left out", item.start)

    def text(self, item: str | Form | None, parent: Form) -> str:
        """Return a string, bare or in `stringDisplay`."""
        if isinstance(item, Form) and item.head == "stringdisplay":
            item = item.named
        if isinstance(item, str) and item[0] == '"':
            return decode_string(item)
        raise self.fail(parent, f"no string in '({parent.head}'", "'\"...\"'")

    def identifier(self, item: str | Form | None, parent: Form) -> str:
        """Return an id, bare or in `name`."""
        if isinstance(item, Form) and item.head == "name":
            item = item.named
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

    def definition(self, form: Form) -> tuple[str, str, tuple[int, ...]]:
        """Return id, shown name and array sizes of what `form` defines."""
        item = form.named
        if not (isinstance(item, Form) and item.head == "array"):
            return (*self.name(item, form), ())
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
        return (*self.name(item[1], item), tuple(sizes))

    def reference(self, form: Form) -> tuple[str, str]:
        """Return id and member index ("" if none) of what `form` refers to."""
        item = form.named
        if isinstance(item, Form) and item.head == "member":
            indices = item[2:]
            if not indices or not all(isinstance(w, str) and _INDEX.match(w) for w in indices):
                raise self.fail(item, "'(member' of another shape", "'(member NAME INDEX)'")
            return self.identifier(item[1], item), " ".join(map(str, indices))
        return self.identifier(item, form), ""

    def instance_reference(self, form: Form) -> str:
        """Return the id of the instance that `form` refers to; of a member, as arrays have it."""
        one, index = self.reference(form)
        return f"{one} {index}" if index else one

    def designator(self, form: Form) -> str:
        """Return the text of a `designator`, "" where it is empty."""
        for item in form[1:]:
            if said := self.text(item, form).strip():
                return said
        return ""

    def one_designator(self, known: str, said: str, form: Form, by: str = "") -> str:
        """Return a reference; a second one that differs is noted."""
        if known and said and said != known:
            self.note(
                "two-designators",
                f"one instance is called {known} and {said}{by}; kept {known}",
                form.start,
            )
        return known or said

    def property(self, form: Form, into: dict[str, str]) -> None:
        """Put a property into `into`; the first of a name counts."""
        _, name = self.name(form.named, form, codes=True)
        for item in self.forms(form, 2, "property"):
            if item.head in _words("values"):
                into.setdefault(name, self.value(item))

    def value(self, form: Form) -> str:
        """Return a typed value as text: "" for an empty one."""
        for item in form[1:]:
            if form.head == "string":
                return self.text(item, form)
            if isinstance(item, str):
                if form.head in ("integer", "number") and not _INTEGER.match(item):
                    raise self.fail(form, f"{_short(item)} in '({form.head}'", "a whole number")
                return item
            if item.head in ("integerdisplay", "numberdisplay", "booleandisplay"):
                return self.value(item)
            if item.head in ("true", "false"):
                return item.head
            if item.head == "e":
                if len(item) != 3 or not all(
                    isinstance(w, str) and _INTEGER.match(w) for w in item[1:]
                ):
                    raise self.fail(item, "'(e' of another shape", "'(e MANTISSA EXPONENT)'")
                return f"{item[1]}e{item[2]}"
        return ""

    # -- from the top down --

    def check_version(self, form: Form) -> None:
        """Raise where it is not 2 0 0."""
        if form[1:] != ["2", "0", "0"]:
            said = " ".join(w if isinstance(w, str) else "(...)" for w in form[1:])
            hint = "Have the other program write EDIF 2 0 0."
            raise self.fail(form, f"EDIF {said}", "EDIF 2 0 0", hint)

    def keyword_map(self, form: Form) -> None:
        """Take over other words for keywords."""
        for item in self.forms(form, 1, "keywordmap"):
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
        """Take over which cell is the top."""
        result = self.result
        _, name = self.name(form.named, form)
        if result.top_cell is not None:
            self.note("second-design", f"a second design, {name}, is not read", form.start)
            return
        for item in self.forms(form, 2, "design"):
            if item.head == "viewmap":
                self.view_map(item, result.annotations)
            elif item.head == "cellref":
                result.top_cell, result.top_library = self.cell_reference(item)
                result.top_offset = item.start
        if result.top_cell is None:
            raise self.fail(form, "a design without a cell", "'(cellRef NAME)'")
        result.name = name

    def cell_reference(self, form: Form) -> tuple[str, str]:
        """Return ids of cell and library ("" if not said)."""
        cell = self.identifier(form.named, form)
        for item in self.forms(form, 2, "cellref"):
            return cell, self.identifier(item.named, item)
        return cell, ""

    def library(self, form: Form) -> None:
        """Read a library, or more of one."""
        one, name = self.name(form.named, form)
        library = self.result.libraries.setdefault(one, Library(name))
        for item in self.forms(form, 2, "library"):
            if item.head == "cell":
                self.cell(item, library)

    def cell(self, form: Form, library: Library) -> None:
        """Read a cell."""
        one, name = self.name(form.named, form, codes=False)
        if one in library.cells:
            raise self.fail(
                form, f"a second cell {one!r} in library {library.name!r}", "each name once"
            )
        cell = library.cells[one] = Cell(name)
        annotations: dict[str, Annotation] = {}
        for item in self.forms(form, 2, "cell"):
            if item.head == "viewmap":
                self.view_map(item, annotations)
            elif item.head == "view":
                self.view(item, cell)
            elif item.head == "property":
                self.property(item, cell.properties)
        if name == decode_id(one) and any(v.type == "SCHEMATIC" for v in cell.views.values()):
            cell.name = decode_id(one, codes=True)
        for wanted, annotation in annotations.items():
            view = _view_of(cell, wanted)
            if view is not None:
                view.annotate(annotation)
                continue
            self.note(
                "missing-view",
                f"the view map of cell {cell.name} is of view {wanted}, which it does not have",
                annotation.offset,
            )

    def view(self, form: Form, cell: Cell) -> None:
        """Read a view of a cell."""
        one, name = self.name(form.named, form, codes=False)
        if one in cell.views:
            raise self.fail(form, f"a second view {one!r} of cell {cell.name!r}", "each name once")
        view = cell.views[one] = View(name, form.start)
        items = list(self.forms(form, 2, "view"))
        for item in items:
            if item.head == "viewtype":
                view.type = self.identifier(item.named, item).upper()
        self.schematic = view.type == "SCHEMATIC"
        for item in items:
            if item.head == "interface":
                self.interface(item, view)
            elif item.head == "contents":
                self.contents(item, view, 1)
            elif item.head == "property":
                self.property(item, view.properties)
        self.schematic = False

    def interface(self, form: Form, view: View) -> None:
        """Read the ports of a view."""
        for item in self.forms(form, 1, "interface"):
            match item.head:
                case "port":
                    self.port(item, view)
                case "portbundle":
                    for inner in self.forms(item, 2, "portbundle"):
                        if inner.head == "listofports":
                            for port in self.forms(inner, 1, "listofports"):
                                self.port(port, view)
                case "designator":
                    self.designator(item)  # of all its parts alike: "U?"
                case "property":
                    self.property(item, view.properties)
                case _:
                    pass

    def port(self, form: Form, view: View) -> None:
        """Read a port."""
        one, name, sizes = self.definition(form)
        if one in view.ports:
            raise self.fail(form, f"a second port {one!r} of one cell", "each name once")
        port = view.ports[one] = Port(name, sizes)
        for item in self.forms(form, 2, "port"):
            if item.head == "direction":
                port.direction = intern(self.identifier(item.named, item).lower())
            elif item.head == "designator":
                port.designator = port.designator or self.designator(item)
            elif item.head == "property":
                said: dict[str, str] = {}
                self.property(item, said)
                port.say(said)

    # -- contents --

    def contents(self, form: Form, view: View, first: int) -> None:
        """Read what stands in `contents`, or in a page of it, from the item `first` on."""
        connectors: dict[str, str] = {}
        for item in self.forms(form, first, "contents"):
            match item.head:
                case "instance":
                    self.instance(item, view)
                case "net" | "netbundle":
                    self.net(item, view)
                case "page":
                    self.page(item, view)
                case "offpageconnector":
                    one, connectors[one], _ = self.definition(item)
                    view.symbols.update(self.symbols(item))
                case "portimplementation" | "commentgraphics":
                    view.symbols.update(self.symbols(item))
                case "property":
                    self.property(item, view.properties)
                case _:
                    pass  # graphics
        for net in view.nets if connectors else ():
            off_page = [
                ref for ref in net.joined
                if not ref[2] and ref[0] in connectors and ref[0] not in view.ports
            ]  # fmt: skip
            net.connectors += tuple(connectors[ref[0]] for ref in off_page)
            net.joined = [ref for ref in net.joined if ref not in off_page]

    def page(self, form: Form, view: View) -> None:
        """Read a page; its instances are its own, also where another page has one of that id."""
        page = View(view.name, form.start)
        page.type, page.ports, page.properties = view.type, view.ports, view.properties
        self.contents(form, page, 2)
        drawn = page.symbols - page.instances.keys()
        again = {
            one: f"{one} {form.start}" for one in page.instances if one in view.instances
        }  # a blank is in no id
        for net in page.nets:
            net.has_symbol = net.has_symbol or any(one in drawn for _, _, one in net.joined)
            net.joined = [
                (port, member, again.get(one, one))
                for port, member, one in net.joined
                if one not in drawn
            ]
        for one, instance in page.instances.items():
            view.instances[again.get(one, one)] = instance
        view.nets += page.nets

    def symbols(self, form: Form) -> list[str]:
        """Return the ids of the instances in a form (itself included) that is drawing."""
        form = self.tree.opened(form)
        found = [self.definition(form)[0]] if form.head == "instance" else []
        for item in form[1:]:
            if isinstance(item, Form):
                found += self.symbols(item)
        return found

    def instance(self, form: Form, view: View) -> None:
        """Read an instance; one that says what another one said shares what was read of that."""
        match = _instance_head().match(self.tree.text, form.start) if form.end else None
        if match is None:
            form = self.tree.opened(form)
            one, name, sizes = self.definition(form)
            said, known = "", None
        else:
            one, sizes = match[1], ()
            name = decode_id(one, codes=self.schematic)
            said = self.tree.text[match.end() : form.end]
            known = self.told.get((self.schematic, said))
        if one in view.instances or f"{one} 0" in view.instances:
            raise self.fail(form, f"a second instance {one!r} in one cell", "each name once")
        if known is None:
            notes = len(self.result.notes)
            known = self.instance_said(self.tree.opened(form), one)
            if said and notes == len(self.result.notes) and len(self.told) < MOST_TOLD:
                self.told[self.schematic, said] = known
        if not sizes:
            view.instances[one] = known.called(name, form.start)
            return
        names = Port(name, sizes)
        self.members += names.size
        if self.members > MOST_INSTANCES:
            hint = "Have the other program write a smaller design."
            raise self.fail(form, f"arrays of over {MOST_INSTANCES} instances", hint=hint)
        known.designator = known.pins = None
        for index in range(names.size):
            view.instances[f"{one} {index}"] = known.called(names.bit(index), form.start)

    def instance_said(self, form: Form, one: str) -> Instance:
        """Return what an instance says: its cell, reference, pin numbers and properties."""
        instance = Instance("", "", "", "", form.start)
        properties: dict[str, str] = {}
        for item in self.forms(form, 2, "instance"):
            match item.head:
                case "viewref":
                    self.view_reference(item, instance)
                case "viewlist":
                    for inner in self.forms(item, 1, "viewlist"):
                        if inner.head == "viewref" and not instance.cell:
                            self.view_reference(inner, instance)
                case "designator":
                    said = self.designator(item)
                    if not (is_placeholder(said) or (self.schematic and not said)):
                        known = instance.designator or ""
                        instance.designator = self.one_designator(known, said, item)
                case "portinstance":
                    self.port_instance(item, instance)
                case "property":
                    self.property(item, properties)
                case _:
                    pass
        if not instance.cell:
            raise self.fail(form, f"instance {one!r} without a cell", "'(viewRef V (cellRef C))'")
        instance.properties = properties or None
        return instance

    def view_reference(self, form: Form, instance: Instance) -> None:
        """Take over which cell and view an instance is of."""
        instance.view = intern(self.identifier(form.named, form))
        for item in self.forms(form, 2, "viewref"):
            instance.cell, instance.library = map(intern, self.cell_reference(item))

    def port_instance(self, form: Form, instance: Instance) -> None:
        """Take over what an instance says of one of its pins."""
        inner = form.named
        named = inner if isinstance(inner, Form) and inner.head == "portref" else form
        port, member = self.reference(named)
        said = ""
        properties: dict[str, str] = {}
        for item in self.forms(form, 2, "portinstance"):
            if item.head == "designator":
                said = said or self.designator(item)
            elif item.head == "property":
                self.property(item, properties)
        if said:
            nets = (text for name, text in properties.items() if name.lower() == "net name")
            instance.pins = instance.pins or []
            instance.pins.append(PinSaid(port, member, said, next(nets, "")))

    def net(self, form: Form, view: View) -> None:
        """Read a net, or the nets of a bundle as nets of their own."""
        if form.head == "netbundle":
            for item in self.forms(form, 2, "netbundle"):
                if item.head == "listofnets":
                    for inner in self.forms(item, 1, "listofnets"):
                        self.net(inner, view)
            return
        net = self.new_net(form)
        if len(form) > 2:
            self.net_items(form, net, view)
        view.nets.append(net)

    def new_net(self, form: Form) -> NetForm:
        """Return the net that a form defines, with nothing joined but what it gives at once."""
        one, name, sizes = self.definition(form)
        return NetForm(
            one, name, form.refs or [], form.start, Port(name, sizes).size if sizes else 0
        )

    def net_items(self, form: Form, net: NetForm, view: View) -> None:
        """Read what a net (or a part of it) joins, and its other names."""
        for item in self.forms(form, 2, "net"):
            match item.head:
                case "joined":
                    self.joined(item, net)
                case "subnet":
                    self.net_items(item, net, view)
                case "net":
                    self.inner_net(item, net, view)
                case "property":
                    said: dict[str, str] = {}
                    self.property(item, said)
                    net.aliases += tuple(
                        text for name, text in said.items() if _ALIAS.fullmatch(name) and text
                    )
                case "instance" | "commentgraphics" | "figure":
                    # instances nested in a net are its symbols (power, ties, connectors): no parts
                    drawn = self.symbols(item)
                    view.symbols.update(drawn)
                    net.has_symbol = net.has_symbol or bool(drawn)
                case _:
                    pass

    def inner_net(self, form: Form, net: NetForm, view: View) -> None:
        """Read a net in a net: a piece of the outer one, as drawn, whose pins it repeats."""
        inner = self.new_net(form)
        self.net_items(form, inner, view)
        if inner.size != net.size:
            self.note(
                "inner-net",
                f"{inner.name} in net {net.name} is of another width: a net apart",
                form.start,
            )
            view.nets.append(inner)
            return
        known = set(net.joined)
        net.joined += [ref for ref in inner.joined if ref not in known]
        if not inner.name.startswith("$"):  # else made up by the writer
            net.aliases += (inner.name,)
        net.aliases += inner.aliases
        net.globals += inner.globals
        net.connectors += inner.connectors
        net.has_symbol = net.has_symbol or inner.has_symbol

    def joined(self, form: Form, net: NetForm) -> None:
        """Read the ports that a net joins."""
        net.joined += form.refs
        for item in self.forms(form, 1, "joined"):
            if item.head == "portref":
                self.port_reference(item, net)
            elif item.head == "portlist":
                self.joined(item, net)
            elif item.head == "globalportref":
                net.globals += (self.reference(item)[0],)

    def port_reference(self, form: Form, net: NetForm) -> None:
        """Read one port that a net joins."""
        port, member = self.reference(form)
        instance = ""
        for item in self.forms(form, 2, "portref"):
            deep: Form | None = item
            if item.head == "instanceref":
                instance = self.instance_reference(item)
                deep = next(self.forms(item, 2, "instanceref"), None)
            if deep is not None:
                message = f"net {net.name}: a port inside another is left out"
                self.note("deep-reference", message, deep.start)
                return
        net.joined.append((port, member, instance))

    # -- view maps --

    def view_map(self, form: Form, into: dict[str, Annotation]) -> None:
        """Read what a view map says of instances, by the id of the view that it starts from."""
        for item in self.forms(form, 1, "viewmap"):
            if item.head == "instancebackannotate":
                self.annotate_instance(item, into)
            elif item.head == "portbackannotate":
                self.annotate_port(item, into)

    def annotate_instance(self, form: Form, into: dict[str, Annotation]) -> None:
        """Read the reference and the properties of an instance in one place."""
        items = list(self.forms(form, 1, "instancebackannotate"))
        step = next((item for item in items if item.head == "instanceref"), None)
        if step is None:
            raise self.fail(
                form, "no instance in '(instancebackannotate'", "'(instanceRef ID ...)'"
            )
        said = self.annotated(step, into)
        for item in items:
            if item.head == "property":
                self.property(item, said.properties)
            elif item.head == "designator":
                refdes = self.designator(item)
                if refdes and not is_placeholder(refdes):
                    if not said.designator:
                        said.offset = item.start
                    by = " by the view map"
                    said.designator = self.one_designator(said.designator, refdes, item, by)

    def annotate_port(self, form: Form, into: dict[str, Annotation]) -> None:
        """Read the number of a pin of an instance in one place."""
        items = list(self.forms(form, 1, "portbackannotate"))
        numbers = [self.designator(item) for item in items if item.head == "designator"]
        number = next(filter(None, numbers), "")
        named = next((item for item in items if item.head == "portref"), None)
        if named is None:
            raise self.fail(form, "no port in '(portbackannotate'", "'(portRef ID ...)'")
        port, member = self.reference(named)
        for step in self.forms(named, 2, "portref"):
            if step.head == "instanceref" and number:
                self.annotated(step, into).pins.append(PinSaid(port, member, number))

    def annotated(self, form: Form, into: dict[str, Annotation]) -> Annotation:
        """Return what is said of the instance that a chain of references leads to.

        The chain names the instance first, then the sheet it is in, and so on out to the view.
        """
        chain: list[str] = []
        view = ""
        step: Form | None = form
        while step is not None:
            chain.append(self.instance_reference(step))
            outer: Form | None = None
            for item in self.forms(step, 2, "instanceref"):
                if item.head == "instanceref":
                    outer = item
                else:
                    view = self.identifier(item.named, item)
            step = outer
        said = into.setdefault(view, Annotation(form.start))
        for one in reversed(chain):
            said = said.within.setdefault(one, Annotation(form.start))
        return said


def _view_of(cell: Cell, wanted: str) -> View | None:
    """Return the view of an id ("": the one with contents), else the one of that shown name."""
    if wanted in cell.views:
        return cell.views[wanted]
    for one, view in cell.views.items():
        if view.is_sheet if not wanted else folded(wanted) in (folded(one), folded(view.name)):
            return view
    return None


def _short(token: str) -> str:
    return repr(token if len(token) <= 24 else token[:24] + "...")
