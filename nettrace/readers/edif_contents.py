"""The contents of EDIF cells: pages, instances, nets and bundles, and what of it is drawing."""

from __future__ import annotations

from nettrace.readers.edif_design import (
    Instance,
    NetForm,
    PinSaid,
    Port,
    View,
    alias_names,
    is_placeholder,
)
from nettrace.readers.edif_tree import Form, fault
from nettrace.readers.edif_words import ANYWHERE, WordReader

__all__ = ["PORT_FORMS", "ContentsReader"]

#: Most instances that arrays of instances may stand for.
MOST_INSTANCES = 1_000_000

PORT_FORMS = ANYWHERE | {
    "acload", "dcfaninload", "dcfanoutload", "dcmaxfanin", "dcmaxfanout", "designator",
    "direction", "portdelay", "unused",
}  # fmt: skip
_CONTENTS = ANYWHERE | {
    "boundingbox", "commentgraphics", "figure", "follow", "instance", "logicport", "net",
    "netbundle", "offpageconnector", "page", "portimplementation", "section", "simulate", "timing",
    "when", "pagesize",
}  # fmt: skip
_INSTANCE = ANYWHERE | {
    "designator", "parameterassign", "portinstance", "timing", "transform", "viewlist", "viewref",
}  # fmt: skip
_PORT_INSTANCE = PORT_FORMS - {"direction"} | {"portimplementation", "connectlocation"}
_NET = ANYWHERE | {
    "commentgraphics", "criticality", "figure", "instance", "joined", "net", "netdelay", "subnet",
}  # fmt: skip
_BUNDLE = ANYWHERE | {"commentgraphics", "figure", "listofnets"}
_JOINED = ANYWHERE | {"globalportref", "portlist", "portref"}


class ContentsReader(WordReader):
    """Fills a view with the instances and nets of its contents."""

    def contents(self, form: Form, view: View) -> None:
        """Read what stands in `contents`, or in a page of it."""
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
            net.has_symbol = net.has_symbol or any(one in drawn for _, _, one in net.joined)
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
        """Read an instance: its cell, reference, pin numbers and properties."""
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
        """Add an instance to the view; an array of them one by one."""
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
        """Take over a reference; a second one that differs is noted."""
        said = self.designator(form)
        if is_placeholder(said) or (self.schematic and not said):
            return
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
        """Take over which cell and view an instance is of."""
        instance.view = self.identifier(form[1] if len(form) > 1 else None, form)
        for item in self.forms(form, 2, frozenset({"cellref"})):
            instance.cell, instance.library = self.cell_reference(item)

    def port_instance(self, form: Form, instance: Instance) -> None:
        """Take over what an instance says of one of its pins."""
        inner = form[1] if len(form) > 1 else None
        named = inner if isinstance(inner, Form) and inner.head == "portref" else form
        port, member = self.reference(named)
        said = ""
        properties: dict[str, str] = {}
        for item in self.forms(form, 2, _PORT_INSTANCE):
            if item.head == "designator":
                said = said or self.designator(item)
            elif item.head == "property":
                self.property(item, properties)
        if said:
            net = next(
                (text for name, text in properties.items() if name.lower() == "net name"), ""
            )
            pins = instance.pins = instance.pins or []
            pins.append(PinSaid(port, member, said, net))

    def bundle(self, form: Form, view: View) -> None:
        """Read the nets of a bundle as nets of their own."""
        for item in self.forms(form, 2, _BUNDLE):
            if item.head == "listofnets":
                for net in self.forms(item, 1, frozenset({"net", "netbundle"})):
                    self.net(net, view)

    def net(self, form: Form, view: View) -> None:
        """Read a net, or a bundle of nets."""
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
        """Read what a net (or a part of it) joins, and its other names."""
        for item in self.forms(form, 2, _NET):
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
                    net.aliases += alias_names(said)
                case "instance" | "commentgraphics" | "figure":
                    # instances nested in a net are its symbols (power, ties, connectors): no parts
                    drawn = self.symbols(item)
                    view.symbols.update(drawn)
                    net.has_symbol = net.has_symbol or bool(drawn)
                case _:
                    pass

    def inner_net(self, form: Form, net: NetForm, view: View) -> None:
        """Read a net in a net: a stretch of the outer one, as drawn, whose pins it repeats."""
        one, name, sizes = self.definition(form)
        inner = NetForm(one, name, [], form.start)
        if sizes:
            inner.size = Port(name, sizes=sizes).size
        self.net_items(form, inner, view)
        if inner.size != net.size:
            self.note(
                "inner-net", f"{name} in net {net.name} is of another width: a net apart", form
            )
            view.nets.append(inner)
            return
        known = set(net.joined)
        net.joined += [ref for ref in inner.joined if ref not in known]
        if not name.startswith("$"):  # else made up by the writer
            net.aliases += (name,)
        net.aliases += inner.aliases
        net.globals += inner.globals
        net.connectors += inner.connectors
        net.has_symbol = net.has_symbol or inner.has_symbol

    def joined(self, form: Form, net: NetForm) -> None:
        """Read the ports that a net joins."""
        for item in self.forms(form, 1, _JOINED):
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
