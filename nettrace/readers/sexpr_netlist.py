"""Reader of s-expression netlists, `(export (version ...) ...)`, and of those before 2012.

Those are lists part by part, `( ID PACKAGE R1 10k ( 1 GND ) )`, under a head
`# EESchema Netlist Version 1.1` or the same in braces; the list of parts ends at a `)` alone, and
what follows (allowed footprints, pins by nets) says nothing new. `$noname` is no footprint, `?` is
no net. The same form is still written for other layout programs.

Sources: files published from 2007 on (docs/formats.md), and their programs' writers (from memory).
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache
from pathlib import PurePath

from nettrace.collector import collector_off
from nettrace.errors import BadInput, Place, excerpt
from nettrace.model.board import Board
from nettrace.model.builder import BoardBuilder, PartDraft
from nettrace.model.fitted import fitted_by
from nettrace.readers.document import Document
from nettrace.readers.sexpr import Form, Tree

_PinTable = dict[str, tuple[str, str]]  # number -> (name, electrical type)

_TOLD_ELSEWHERE = frozenset({"Reference", "Value", "Footprint", "Sheetname", "Sheetfile"})


@cache
def _old_head() -> re.Pattern[str]:
    return re.compile(
        r"\A\s*(?:#[^\n]{0,80}?EESchema Netlist Version[^\n]*\n\s*\("
        r"|\(\s*\{[^}\n]{0,80}?netlist[^}\n]*\})",
        re.IGNORECASE,
    )


def read(document: Document) -> Board:
    """Read the file into a Board: parts, pins, nets; it has no places.

    Raises:
        BadInput: it is cut off, unbalanced, or says what cannot be.
    """
    with collector_off():
        if _old_head().match(document.text):
            return _OldNetlist(document).read()
        return _Netlist(document).read()


def _builder_of(document: Document) -> BoardBuilder:
    builder = BoardBuilder(document.path, "kicad_net")
    builder.digest = document.digest
    builder.name = PurePath(document.path).stem
    return builder


class _Netlist:
    """Reads one netlist and pushes what it says to a builder."""

    def __init__(self, document: Document) -> None:
        self.tree = Tree(document, "netlist", frozenset({"components", "libparts", "nets"}))
        self.lines = self.tree.lines
        self.builder = _builder_of(document)
        self.drafts: dict[str, PartDraft] = {}
        self.symbols: dict[str, tuple[str, str]] = {}  # refdes -> (library, part)
        self.library: dict[tuple[str, str], tuple[str, _PinTable]] = {}  # description, pins
        self.nets: dict[str, Place] = {}

    def read(self) -> Board:
        root = self.tree.read()
        if root.head != "export":
            raise self.lines.error(root.start, f"'({root.head}'", expected="'(export'")
        self.tree.check(root)
        for form in root.forms:
            if form.head == "version":
                self.builder.version = form.word() or ""
            elif form.head == "design":
                self._design(form)
        # the library section stands behind the components and is needed for the nets
        self._each(root, "components", "comp", self._component)
        self._each(root, "libparts", "libpart", self._library_part)
        for refdes, symbol in self.symbols.items():
            description, _ = self.library.get(symbol, ("", {}))
            if description and not self.drafts[refdes].description:
                self.drafts[refdes].description = description
        self._each(root, "nets", "net", self._net)
        for refdes, draft in self.drafts.items():
            facts = draft.pin_facts
            if len({number for number, _ in facts}) != len(facts):
                self.builder.note_pin_conflicts(
                    refdes,
                    [
                        (number, net, said[2])
                        for (number, net), said in facts.items()
                        if net is not None and said[2] is not None
                    ],
                )
        self.builder.warnings += self.tree.all_warnings()
        return self.builder.build()

    def _each(self, root: Form, section: str, head: str, read: Callable[[Form], None]) -> None:
        for form in root.forms:
            if form.head == section:
                self.tree.check(form)
                for child in form.forms:
                    if child.head == head:
                        read(child)

    def _design(self, form: Form) -> None:
        """Take the title of the first sheet with a title block: that is the board's."""
        for sheet in form.forms:
            block = sheet.first("title_block") if sheet.head == "sheet" else None
            if block is not None:
                title = (block.word_of("title") or "").strip()
                if title and "${" not in title:  # one made of variables says nothing
                    self.builder.name = title
                return

    def _needed(self, form: Form, parts: dict[str, Form], head: str) -> str:
        word = parts[head].word() if head in parts else None
        if word is None:
            raise self.lines.error(
                form.start,
                f"'({form.head}' without '({head} ...)'",
                expected=f"'({head} ...)' in it",
                length=len(form.head) + 1,
            )
        return word

    def _component(self, form: Form) -> None:
        self.tree.check(form)
        parts = self.tree.once(form)
        refdes = self._needed(form, parts, "ref")
        place = self.tree.place(form)
        draft = PartDraft(refdes, place, refdes, properties={}, pin_facts={}, pads=[])

        def said(head: str) -> str | None:
            return (parts[head].word() or None) if head in parts else None

        draft.value = said("value")
        draft.package = said("footprint")
        draft.description = said("description")
        symbol = parts.get("libsource")
        if symbol is not None and draft.description is None:
            draft.description = symbol.word_of("description") or None
        if "sheetpath" in parts:
            draft.sheet = parts["sheetpath"].word_of("names") or None
        self._fields(draft, form)
        self.builder.parts.append(draft)
        if self.drafts.setdefault(refdes, draft) is not draft:
            first = self.drafts[refdes].place
            self.builder.warn("refdes-repeated", f"{refdes} is there twice (first {first})", place)
        elif symbol is not None:
            self.symbols[refdes] = symbol.word_of("lib") or "", symbol.word_of("part") or ""

    @staticmethod
    def _fields(draft: PartDraft, form: Form) -> None:
        """Take the component's fields and properties, in their order."""
        named: list[tuple[str | None, str | None]] = []
        for child in form.forms:
            if child.head == "fields":
                named += [(field.word_of("name"), field.word() or "") for field in child.forms]
            elif child.head == "property":
                named.append((child.word_of("name"), child.word_of("value")))
            elif child.head == "datasheet":
                named.append(("Datasheet", child.word() or ""))
        known = draft.properties
        for name, text in named:
            if name is None or name in _TOLD_ELSEWHERE:
                continue
            if name == "Description":
                draft.description = text or draft.description
            elif name.lower() == "dnp":
                draft.fitted = fitted_by(name, text)
            elif text is None:
                known.setdefault(name, "yes")
            elif text and text != "~":
                known.setdefault(name, text)

    def _library_part(self, form: Form) -> None:
        """Take a symbol (under all its names): its description, the names of its pins."""
        names = [form.word_of("part") or ""]
        aliases = form.first("aliases")
        if aliases is not None:
            names += [alias.word() or "" for alias in aliases.forms if alias.head == "alias"]
        pins: _PinTable = {}
        table = form.first("pins")
        for pin in table.forms if table is not None else ():
            number = pin.word_of("num")
            if number is not None:
                pins.setdefault(number, (pin.word_of("name") or "", pin.word_of("type") or ""))
        library, description = form.word_of("lib") or "", form.word_of("description") or ""
        for name in names:
            self.library[library, name] = (description, pins)

    def _net(self, form: Form) -> None:
        self.tree.check(form)
        parts = self.tree.once(form)
        name = self._needed(form, parts, "name")
        place = self.tree.place(form)
        first = self.nets.setdefault(name, place)
        if first is place:
            self.builder.net(name, place=place)
        else:
            self.builder.warn(
                "net-repeated",
                f"net {name!r} is there twice (first {first}); read as one net",
                place,
            )
        for node in form.forms:
            if node.head == "node":
                self._node(name or None, node)

    def _node(self, net: str | None, form: Form) -> None:
        self.tree.check(form)
        parts = self.tree.once(form)
        refdes = self._needed(form, parts, "ref")
        number = self._needed(form, parts, "pin")
        name = parts["pinfunction"].word() if "pinfunction" in parts else None
        electrical_type = parts["pintype"].word() if "pintype" in parts else None
        place = self.tree.place(form)
        draft = self.drafts.get(refdes)
        if draft is None:
            self.builder.warn(
                "part-not-listed", f"{refdes} has pins but no component record", place
            )
            draft = self.drafts[refdes] = self.builder.part(refdes, place)
        if name is None or electrical_type is None:
            _, pins = self.library.get(self.symbols.get(refdes, ("", "")), ("", {}))
            if number in pins:
                symbol_name, symbol_type = pins[number]
                if name is None and symbol_name != "~":
                    name = symbol_name
                electrical_type = electrical_type or symbol_type
        draft.pin(
            number, net, name=name or None, electrical_type=electrical_type or None, place=place
        )


class _OldNetlist:
    """Reads a netlist of the old kind, line by line."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.builder = _builder_of(document)
        self.builder.version = "1.1"
        self.first: dict[str, Place] = {}
        self.a_part = re.compile(
            r"\(\s*(?P<id>\S+)\s+(?P<package>\S+)\s+(?P<refdes>[^\s()]+)"
            r"(?:[ \t]+(?P<value>[^\s{][^{]*?))?\s*(?:\{(?:Lib=)?(?P<symbol>[^}]*)\})?"
        )
        self.a_pin = re.compile(r"\(\s*(?P<number>\S+)\s+(?P<net>\S+?)\s*\)")

    def read(self) -> Board:
        head = _old_head().match(self.document.text)
        start = head.end() if head is not None else 0
        first = self.document.text.count("\n", 0, start) + 1
        lines = self.document.text[start:].splitlines()
        draft: PartDraft | None = None
        pins: list[tuple[str, str, Place]] = []
        for number, raw in enumerate(lines, first):
            line = raw.strip()
            if not line:
                continue
            place = Place(self.document.path, number, raw.find(line[0]) + 1)
            if draft is None:
                if line == ")":
                    return self.builder.build()
                draft, pins = self._part(line, place), []
            elif line == ")":
                self.builder.note_pin_conflicts(draft.refdes, pins)
                draft = None
            else:
                match = self.a_pin.fullmatch(line)
                if match is None:
                    raise self._fault(line, place, "a pin and its net, '( 1 GND )', or ')'")
                net = None if match["net"] == "?" else match["net"]
                draft.pin(match["number"], net, place=place)
                if net is not None:
                    self.builder.net(net, place=self.first.setdefault(net, place))
                    pins.append((match["number"], net, place))
        last = max(first + len(lines) - 1, 1)
        raise BadInput(
            "the end of the file",
            expected="')' at the end of the list of parts",
            hint="Is the file cut off?",
            place=Place(self.document.path, last, 1),
        )

    def _part(self, line: str, place: Place) -> PartDraft:
        """Make a part of the line that begins it."""
        match = self.a_part.fullmatch(line)
        if match is None:
            raise self._fault(line, place, "a part, '( ID FOOTPRINT R1 10k', or ')'")
        draft = self.builder.part(match["refdes"], place)
        draft.value = match["value"]
        draft.package = match["package"] if match["package"] != "$noname" else None
        if match["symbol"]:
            draft.properties["symbol"] = match["symbol"]
        return draft

    def _fault(self, line: str, place: Place, expected: str) -> BadInput:
        """Return the error of a line that does not belong there."""
        return BadInput(
            repr(line[:40]),
            expected=expected,
            place=place,
            excerpt=excerpt(self.document.text, place.line, place.column, min(len(line), 40)),
        )
