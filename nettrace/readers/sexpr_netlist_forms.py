"""The fast way through an s-expression netlist: whole forms, by `grammars/sexpr_netlist.lark`.

The grammar checks every form; this takes the parts out and hands them to the same NetlistFacts as
the whole-tree reader. Whatever is unusual is a Mismatch.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import accumulate, count, islice
from operator import add
from threading import Lock
from typing import Any

from nettrace.errors import BadInput, Place
from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.sexpr_forms import FormGrammar, MadeOnce, Texts, each_form
from nettrace.readers.sexpr_netlist_facts import Fields, NetlistFacts, PinFacts, PinTable
from nettrace.readers.sexpr_netlist_tree import NetlistTree
from nettrace.readers.sexpr_read import Mismatch
from nettrace.readers.sexpr_text import SexprText

__all__ = ["read_netlist_forms"]

_COMPONENT_MARKS = (
    "ref", "value", "package", "datasheet", "description", "fields", "lib", "part",
    "part_description", "properties", "sheet",
)  # fmt: skip
_NODE_MARKS = ("net", "node", "ref", "pin", "function", "type", "closed")
_new = tuple.__new__  # Place without its argument handling: one is made for every node


def read_netlist_forms(document: Document) -> Board:
    """Read a netlist written as its usual writers write it.

    Raises:
        Mismatch: it is not; nothing is known about what is wrong, if anything is.
    """
    return _reader().read(document)


class _NetlistForms:
    """Has a method for each terminal of the grammar that means something."""

    def __init__(self) -> None:
        self._in_use = Lock()
        grammar = self._grammar = FormGrammar(
            "sexpr_netlist",
            {
                "VERSION": self._version,
                "SHEET": self._sheet,
                "COMPONENTS": self._components,
                "SYMBOLS": self._symbols,
                "NETS": self._nets,
            },
        )
        self._version_form = grammar.pattern("VERSION")
        self._component = grammar.pattern("COMPONENT", _COMPONENT_MARKS)
        self._field = grammar.pattern("FIELD")
        self._property = grammar.pattern("PROPERTY")
        self._symbol = grammar.pattern("SYMBOL")
        self._alias = grammar.pattern("ALIAS")
        self._pin = grammar.pattern("PIN")
        self._node = grammar.pattern("NODE", _NODE_MARKS)
        self._forget()

    def _forget(self) -> None:
        self._begin(Document("", ""))

    def _begin(self, document: Document) -> None:
        self.source = SexprText(document)
        self.text = document.text
        self.facts = NetlistFacts(document)
        self._texts = Texts({"": ""})
        self._fields: dict[tuple[str | None, str | None, str | None], Fields] = {}
        self._titled = False

    def read(self, document: Document) -> Board:
        with self._in_use:  # one file at a time: the lexer calls back into this object
            self._begin(document)
            try:
                self._grammar.parse(document.text)
                self.facts.done()
                return self.facts.builder.build()
            except BadInput:
                raise Mismatch from None
            finally:
                self._forget()

    # ---- what reads a terminal, from `start` to `end`; it returns where it stopped

    def _version(self, start: int, end: int) -> int:
        match = self._version_form.match(self.text, start)
        if match is not None:
            self.facts.builder.version = self._texts[match["value"]]
        return end

    def _sheet(self, start: int, end: int) -> int:
        if not self._titled:
            tree = NetlistTree(self.source, self.facts)
            self._titled = tree.sheet(tree.tree.span(start, end))
        return end

    def _components(self, start: int, _end: int) -> int:
        texts, component = self._texts, self.facts.component
        place = self.source.place
        fields_of = self._fields
        at = start
        for match in each_form(self._component, self.text, start):
            (
                refdes, value, package, datasheet, description, fields, library, part,
                part_description, further, sheet,
            ) = match.groups()  # fmt: skip
            raw = (datasheet, fields, further)
            said = texts[description] if description is not None else None
            if not said and part_description is not None:
                said = texts[part_description]
            component(
                texts[refdes],
                texts[value] if value is not None else None,
                texts[package] if package is not None else None,
                said,
                texts[sheet] if sheet is not None else None,
                fields_of[raw] if raw in fields_of else self._read_fields(*raw),
                (texts[library], texts[part]) if part is not None else None,
                place(at),
            )
            at = match.end()
        return at

    def _read_fields(
        self, datasheet: str | None, fields: str | None, further: str | None
    ) -> Fields:
        """Read the fields of a component; many have the same ones, so they are remembered."""
        texts = self._texts
        named: list[tuple[str, str | None]] = []
        if datasheet is not None:
            named.append(("Datasheet", texts[datasheet]))
        # the grammar has checked these runs: nothing stands between the forms
        for name, text in self._field.findall(fields or ""):
            named.append((texts[name], texts[text]))
        for name, text in self._property.findall(further or ""):
            named.append((texts[name], texts[text] if text else None))
        found = self._fields[datasheet, fields, further] = self.facts.fields(named)
        return found

    def _symbols(self, start: int, _end: int) -> int:
        texts, at = self._texts, start
        for match in each_form(self._symbol, self.text, start):
            library, part, aliases, description, pins = match.group(
                "lib", "part", "aliases", "description", "pins"
            )
            names = [texts[part]]
            if aliases:
                names += [texts[name] for name in self._alias.findall(aliases)]
            table: PinTable = {
                texts[number]: (texts[name], texts[kind])
                for number, name, kind in reversed(self._pin.findall(pins or ""))
            }  # from the end: where a number repeats, its first row counts
            text = texts[description] if description is not None else None
            self.facts.library_part(texts[library], names, text, table)
            at = match.end()
        self.facts.libraries_done()
        return at

    def _nets(self, start: int, _end: int) -> int:
        text, texts, facts, path = self.text, self._texts, self.facts, self.source.path
        node_scan: Any = self._node.scanner  # type: ignore[attr-defined] # not in the stubs
        next_node = node_scan(text, start).match
        terminals: dict[str, tuple[PinFacts, PinTable]] = {}  # by the refdes as written
        # most of a file are nodes: lines are counted here, not by a call for each
        _, line, column = self.source.place(start)
        line_start = start - column + 1
        later_lines = iter(_line_starts(text, start))
        next_line = next(later_lines)
        net: str | None = None
        is_open = False
        at = start
        while True:
            match = next_node()
            head, _, refdes, number, function, kind, closed = match.groups()
            if head is None and refdes is None:
                break  # what follows is the end of the section, or nothing for us
            while at >= next_line:
                line, line_start, next_line = line + 1, next_line, next(later_lines)
            if head is not None:
                if is_open:
                    raise Mismatch
                name = texts[head]
                net = name or None
                facts.net(name, _new(Place, (path, line, at - line_start + 1)))
                at = match.start("node")
                while at >= next_line:
                    line, line_start, next_line = line + 1, next_line, next(later_lines)
            elif not is_open:
                raise Mismatch
            if refdes is not None:
                place = _new(Place, (path, line, at - line_start + 1))
                if refdes in terminals:
                    known, table = terminals[refdes]
                else:
                    known, table = terminals[refdes] = facts.terminals_of(texts[refdes], place)
                number = texts[number]
                function = texts[function] if function is not None else None
                kind = texts[kind] if kind is not None else None
                if (function is None or kind is None) and number in table:
                    symbol = table[number]
                    if function is None and symbol[0] != "~":
                        function = symbol[0]
                    kind = kind or symbol[1]
                pin = (number, net)
                said = (function or None, kind or None, place)
                if known.setdefault(pin, said) is not said:
                    facts.node_again(texts[refdes], pin, function, kind)
            is_open = not closed
            at = match.end()
        if is_open:
            raise Mismatch
        return at


def _line_starts(text: str, start: int) -> Iterator[int]:
    """Yield where the lines behind `start` begin; at last, a place behind the text."""
    lengths = map(len, text[start:].split("\n"))
    return islice(map(add, accumulate(lengths, initial=start), count()), 1, None)


_reader = MadeOnce(_NetlistForms)
