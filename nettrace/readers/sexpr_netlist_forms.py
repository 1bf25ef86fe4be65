"""The fast way through an s-expression netlist: whole forms, by `grammars/sexpr_netlist.lark`.

The grammar checks every form; this takes the parts out and hands them to the same NetlistFacts as
the whole-tree reader. Whatever is unusual is a Mismatch.
"""

from __future__ import annotations

import re
from threading import Lock
from typing import Any

from nettrace.errors import BadInput
from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.sexpr_forms import FormGrammar, Texts, each_form
from nettrace.readers.sexpr_netlist_facts import NetlistFacts, PinTable
from nettrace.readers.sexpr_netlist_tree import NetlistTree
from nettrace.readers.sexpr_read import Mismatch
from nettrace.readers.sexpr_text import SexprText

__all__ = ["read_netlist_forms"]

_COMPONENT_MARKS = (
    "ref", "value", "package", "datasheet", "description", "fields", "lib", "part",
    "part_description", "properties", "sheet",
)  # fmt: skip
_NODE_MARKS = ("ref", "pin", "function", "type")
_CLOSE = re.compile(r"\)(?:[ \t\r\n]++|(?=[()]))")


def read_netlist_forms(document: Document) -> Board:
    """Read a netlist written as its usual writers write it.

    Raises:
        Mismatch: it is not; nothing is known about what is wrong, if anything is.
    """
    return _reader().read(document)


_readers: list[_NetlistForms] = []
_lock = Lock()


def _reader() -> _NetlistForms:
    """Return the process's one reader; its grammar is built when first asked for."""
    with _lock:
        if not _readers:
            _readers.append(_NetlistForms())
        return _readers[0]


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
        self._net = grammar.pattern("NET")
        self._node = grammar.pattern("NODE", _NODE_MARKS)
        self._forget()

    def _forget(self) -> None:
        self._begin(Document("", ""))

    def _begin(self, document: Document) -> None:
        self.source = SexprText(document)
        self.text = document.text
        self.facts = NetlistFacts(document)
        self._texts = Texts()
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
        texts, place, component = self._texts, self.source.place, self.facts.component
        find_fields, find_properties = self._field.findall, self._property.findall
        at = start
        for match in each_form(self._component, self.text, start):
            (
                refdes, value, package, datasheet, description, fields, library, part,
                part_description, further, sheet,
            ) = match.groups()  # fmt: skip
            properties: list[tuple[str, str | None]] = []
            if datasheet is not None:
                properties.append(("Datasheet", texts[datasheet]))
            # the grammar has checked these runs: nothing stands between the forms
            if fields:
                properties += [
                    (texts[name], texts[text] if text else "") for name, text in find_fields(fields)
                ]
            if further:
                properties += [
                    (texts[name], texts[text] if text else None)
                    for name, text in find_properties(further)
                ]
            said = texts[description] if description is not None else None
            if not said and part_description is not None:
                said = texts[part_description]
            component(
                texts[refdes],
                texts[value] if value is not None else None,
                texts[package] if package is not None else None,
                said,
                texts[sheet] if sheet is not None else None,
                properties,
                (texts[library], texts[part]) if part is not None else None,
                place(match.start()),
            )
            at = match.end()
        return at

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
                texts[number]: (texts[name] if name else "", texts[kind] if kind else "")
                for number, name, kind in reversed(self._pin.findall(pins or ""))
            }  # from the end: where a number repeats, its first row counts
            text = texts[description] if description is not None else None
            self.facts.library_part(texts[library], names, text, table)
            at = match.end()
        self.facts.libraries_done()
        return at

    def _nets(self, start: int, _end: int) -> int:
        text, texts, place = self.text, self._texts, self.source.place
        net_at, close_at, node = self._net.match, _CLOSE.match, self.facts.node
        node_scan: Any = self._node.scanner  # type: ignore[attr-defined] # not in the stubs
        at = start
        while (head := net_at(text, at)) is not None:
            name = texts[head["name"]]
            self.facts.net(name, place(at))
            at = head.end()
            next_node = node_scan(text, at).match
            while (match := next_node()) is not None:
                refdes, pin, function, kind = match.groups()
                node(
                    name,
                    texts[refdes],
                    texts[pin],
                    None if function is None else texts[function],
                    None if kind is None else texts[kind],
                    place(at),
                )
                at = match.end()
            end = close_at(text, at)
            if end is None:
                raise Mismatch
            at = end.end()
        return at
