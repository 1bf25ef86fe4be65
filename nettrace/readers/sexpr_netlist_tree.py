"""An s-expression netlist from its whole tree: any legal text, and every fault with its place."""

from __future__ import annotations

from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.sexpr_netlist_facts import NetlistFacts, PinTable
from nettrace.readers.sexpr_text import SexprText
from nettrace.readers.sexpr_tree import Form, TreeReader

__all__ = ["NetlistTree", "read_netlist_tree"]

_TOP = frozenset(
    ["version", "design", "components", "libparts", "libraries", "nets", "groups", "variants"]
)
_COMPONENT = frozenset(
    [
        "ref",
        "value",
        "footprint",
        "datasheet",
        "description",
        "fields",
        "libsource",
        "property",
        "sheetpath",
        "tstamp",
        "tstamps",
        "units",
        "component_classes",
        "variants",
        "duplicate_pin_numbers_are_jumpers",
        "jumper_pin_groups",
    ]
)
_NET = frozenset({"code", "name", "class", "node"})
_NODE = frozenset({"ref", "pin", "pinfunction", "pintype"})


def read_netlist_tree(document: Document) -> Board:
    """Read the whole text into a tree, and the tree into a Board.

    Raises:
        BadInput: unbalanced or cut off, or a node without its part or pin.
    """
    return NetlistTree(SexprText(document), NetlistFacts(document)).read()


class NetlistTree:
    """Reads the forms of a netlist, and hands what they say to `facts`."""

    def __init__(self, source: SexprText, facts: NetlistFacts) -> None:
        self.source = source
        self.tree = TreeReader(self.source, frozenset({"components", "libparts", "nets"}))
        self.facts = facts

    def read(self) -> Board:
        """Read the whole text."""
        root = self.tree.read()
        if root.head != "export":
            raise self.source.error(root.start, f"'({root.head}'", expected="'(export'")
        self.tree.check(root, _TOP)
        builder = self.facts.builder
        for form in root.forms():
            if form.head == "version":
                builder.version = form.word() or ""
            elif form.head == "design":
                self._design(form)
            elif form.head == "components":
                self.tree.check(form, frozenset({"comp"}))
                for part in form.forms():
                    if part.head == "comp":
                        self._component(part)
        # the library section stands behind the components and is needed for the nets
        for form in root.forms():
            if form.head == "libparts":
                self.tree.check(form, frozenset({"libpart"}))
                for part in form.forms():
                    if part.head == "libpart":
                        self._library_part(part)
        self.facts.libraries_done()
        for form in root.forms():
            if form.head == "nets":
                self.tree.check(form, frozenset({"net"}))
                for net in form.forms():
                    if net.head == "net":
                        self._net(net)
        self.facts.done()
        builder.warnings += self.tree.all_warnings()
        return builder.build()

    def _needed(self, form: Form, head: str) -> str:
        child = form.first(head)
        word = child.word() if child is not None else None
        if word is None:
            raise self.source.error(
                form.start,
                f"'({form.head}' without '({head} ...)'",
                expected=f"'({head} ...)' in it",
                length=len(form.head) + 1,
            )
        return word

    @staticmethod
    def _word(form: Form, head: str) -> str | None:
        child = form.first(head)
        return child.word() if child is not None else None

    def _design(self, form: Form) -> None:
        for sheet in form.forms():
            if sheet.head == "sheet" and self.sheet(sheet):
                return  # the first sheet is the board's

    def sheet(self, form: Form) -> bool:
        """Take the title of a sheet; return whether it has a title block."""
        block = form.first("title_block")
        if block is not None:
            self.facts.title(self._word(block, "title") or "")
        return block is not None

    def _component(self, form: Form) -> None:
        self.tree.check(form, _COMPONENT)
        self.tree.once(form, _COMPONENT - {"property"})
        refdes = self._needed(form, "ref")
        properties: list[tuple[str, str | None]] = []
        for child in form.forms():
            if child.head == "fields":
                for field in child.forms():
                    name = self._word(field, "name")
                    words = field.words()
                    if name is not None:
                        properties.append((name, words[0] if words else ""))
            elif child.head == "property":
                name = self._word(child, "name")
                if name is not None:
                    properties.append((name, self._word(child, "value")))
            elif child.head == "datasheet":
                properties.append(("Datasheet", child.word() or ""))
        symbol = form.first("libsource")
        path = form.first("sheetpath")
        description = self._word(form, "description")
        key: tuple[str, str] | None = None
        if symbol is not None:
            key = (self._word(symbol, "lib") or "", self._word(symbol, "part") or "")
            description = description or self._word(symbol, "description")
        self.facts.component(
            refdes,
            self._word(form, "value"),
            self._word(form, "footprint"),
            description,
            self._word(path, "names") if path is not None else None,
            self.facts.fields(properties),
            key,
            self.source.place(form.start),
        )

    def _library_part(self, form: Form) -> None:
        names = [self._word(form, "part") or ""]
        aliases = form.first("aliases")
        if aliases is not None:
            names += [alias.word() or "" for alias in aliases.forms() if alias.head == "alias"]
        pins: PinTable = {}
        table = form.first("pins")
        if table is not None:
            for pin in table.forms():
                number = self._word(pin, "num")
                if number is not None:
                    said = (self._word(pin, "name") or "", self._word(pin, "type") or "")
                    pins.setdefault(number, said)
        self.facts.library_part(
            self._word(form, "lib") or "", names, self._word(form, "description"), pins
        )

    def _net(self, form: Form) -> None:
        self.tree.check(form, _NET)
        self.tree.once(form, _NET - {"node"})
        name = self._needed(form, "name")
        self.facts.net(name, self.source.place(form.start))
        for node in form.forms():
            if node.head != "node":
                continue
            self.tree.check(node, _NODE)
            self.tree.once(node, _NODE)
            self.facts.node(
                name,
                self._needed(node, "ref"),
                self._needed(node, "pin"),
                self._word(node, "pinfunction"),
                self._word(node, "pintype"),
                self.source.place(node.start),
            )
