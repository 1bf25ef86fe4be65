"""The fast reader of EDIF: the grammar over whole forms, `grammars/edif.lark`.

It fills the same cells as the whole-tree reader does, or is a Mismatch: then that one reads the
text, or says what is wrong with it and where.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from functools import cache, partial
from sys import intern

from nettrace.readers.document import Document
from nettrace.readers.edif_design import (
    Cell,
    Design,
    Instance,
    Library,
    NetForm,
    Port,
    View,
    alias_names,
    decode_id,
    decode_string,
    is_placeholder,
)
from nettrace.readers.edif_words import MOST_MEMBERS
from nettrace.readers.sexpr_forms import FormGrammar, Mismatch, each_form

__all__ = ["Mismatch", "read_design"]

#: Possessive repetition came with Python 3.11 and was mended in 3.11.5 (python/cpython#106052).
_HAS_SOUND_REGEX = sys.version_info >= (3, 11, 5)

# What stands in forms whose shape the grammar has checked; so these need not check it again.
_BLANK = r"[ \t\r\n\f\v]"
_WORD = r'[^ \t\r\n\f\v()"]+'
#: port, member index, instance
_REF = re.compile(
    rf"\({_BLANK}*+{_WORD}+{_BLANK}*+(?:\({_BLANK}*+{_WORD}+{_BLANK}++)?+({_WORD}+)"
    rf"(?:{_BLANK}++([0-9]++){_BLANK}*+\))?+{_BLANK}*+"
    rf"(?:\({_BLANK}*+{_WORD}+{_BLANK}++({_WORD}+))?+"
)
#: property: id or shown name; string, or number, or truth value. Designator: the string alone.
_ITEM = re.compile(
    rf"\({_BLANK}*+(?:[Dd]\w++{_BLANK}*+(\"[^\"]*+\"){_BLANK}*+\)"
    rf"|\w++{_BLANK}*+(?:({_WORD}+)|\({_BLANK}*+\w++{_BLANK}++{_WORD}+{_BLANK}*+(\"[^\"]*+\")"
    rf"{_BLANK}*+\)){_BLANK}*+"
    rf"\({_BLANK}*+(\w++){_BLANK}*+(?:(\"[^\"]*+\")|([-+0-9]++)|\({_BLANK}*+(\w++){_BLANK}*+\))"
    rf"{_BLANK}*+\){_BLANK}*+(?:\({_BLANK}*+\w++{_BLANK}*+\"[^\"]*+\"{_BLANK}*+\){_BLANK}*+)?+\))"
    rf"{_BLANK}*+"
)

#: Most different forms of instances that are remembered.
MOST_TOLD = 5000
#: What nets join, where that is read later (`NetForm.span`).
_PUT_OFF: list[tuple[str, str, str]] = []


class _Grammar:
    """The grammar and the patterns of single forms, made once per process."""

    def __init__(self) -> None:
        self.filler: _Filler | None = None  # of the text that is being read
        grammar = FormGrammar(
            "edif", {name: self._taker(method) for name, method in _TAKEN.items()}
        )
        self.parse = grammar.parse
        self.opening = grammar.pattern("OPENING").match
        self.design = grammar.pattern("DESIGN").match
        self.library_head = grammar.pattern("LIBRARY_HEAD").match
        self.cell_head = grammar.pattern("CELL_HEAD").match
        self.view_head = grammar.pattern("VIEW_HEAD").match
        self.bare_cell = grammar.pattern("BARE_CELL").match
        self.port = grammar.pattern("PORT").match
        self.instance = grammar.pattern("INSTANCE")
        self.net = grammar.pattern("NET")

    def _taker(self, name: str) -> Callable[[int, int], int]:
        def take(start: int, end: int) -> int:
            taken: int = getattr(self.filler, name)(start, end)
            return taken

        return take


@cache
def _grammar() -> _Grammar:
    return _Grammar()


def read_design(document: Document) -> Design:
    """Return what the text says, cell by cell.

    Raises:
        Mismatch: the text is not written as the grammar says; nothing is known of what is wrong.
    """
    if not _HAS_SOUND_REGEX:
        raise Mismatch
    grammar = _grammar()
    filler = grammar.filler = _Filler(grammar, document.text)
    try:
        grammar.parse(document.text)
    finally:
        grammar.filler = None
    return filler.design


#: Terminals that mean something; the filler has a method for each, named like it.
_TAKEN = {
    name: name.lower()
    for name in (
        "OPENING", "LIBRARY_HEAD", "BARE_CELLS", "CELL_HEAD", "CELL_PROPERTIES", "VIEW_HEAD",
        "VIEW_PROPERTIES", "PORTS", "INSTANCES", "NETS",
    )
} | {"DESIGN": "take_design"}  # fmt: skip


class _Filler:
    """Fills a design, token by token; each method returns where the next token begins."""

    def __init__(self, grammar: _Grammar, text: str) -> None:
        self.grammar = grammar
        self.text = text
        self.design = Design()
        self.design.read_span = partial(_REF.findall, text)
        self.shown: dict[str, str] = {}  # name of a property as written -> as shown
        self.library = Library("")
        self.cell = Cell("")
        self.view = View("", 0)

    # -- from the top down --

    def opening(self, start: int, end: int) -> int:
        self.design.name = _name(_sure(self.grammar.opening(self.text, start, end)))[1]
        return end

    def take_design(self, start: int, end: int) -> int:
        design = self.design
        if design.top_cell is not None:
            raise Mismatch  # a second design: the whole-tree reader says so
        match = _sure(self.grammar.design(self.text, start, end))
        design.name = _name(match)[1]
        design.top_cell = match["cell"]
        design.top_library = match["library"] or ""
        design.top_offset = match.start("at")
        return end

    def library_head(self, start: int, end: int) -> int:
        one, name = _name(_sure(self.grammar.library_head(self.text, start, end)))
        known = self.design.libraries.get(one)
        self.library = Library(name) if known is None else known
        self.design.libraries[one] = self.library
        return end

    def add_cell(self, match: re.Match[str]) -> None:
        one, name = _name(match)
        if one in self.library.cells:
            raise Mismatch
        self.cell = self.library.cells[one] = Cell(name)

    def cell_head(self, start: int, end: int) -> int:
        self.add_cell(_sure(self.grammar.cell_head(self.text, start, end)))
        return end

    def view_head(self, start: int, end: int) -> int:
        match = _sure(self.grammar.view_head(self.text, start, end))
        one, name = _name(match)
        if one in self.cell.views:
            raise Mismatch
        self.view = self.cell.views[one] = View(name, match.start("at"))
        self.view.type = "NETLIST"
        return end

    def bare_cells(self, start: int, _end: int) -> int:
        text = self.text
        bare_cell = self.grammar.bare_cell
        while match := bare_cell(text, start):
            start = match.end()
            self.add_cell(match)
            one = match["view"]
            self.view = self.cell.views[one] = View(decode_id(one), match.start("view_at"))
            self.view.type = "NETLIST"
            self.ports(match.end("ports"), start)
        return start

    def cell_properties(self, start: int, end: int) -> int:
        self.items(start, end, self.cell.properties)
        return end

    def view_properties(self, start: int, end: int) -> int:
        self.items(start, end, self.view.properties)
        return end

    def items(self, start: int, end: int, properties: dict[str, str]) -> str | None:
        """Put properties into `properties`; return the designator among them, None if none."""
        designator: str | None = None
        for shown, one, renamed, kind, text, number, truth in _ITEM.findall(self.text, start, end):
            if shown:
                designator = _one_designator(designator, decode_string(shown).strip())
                continue
            written = renamed or one
            name = self.shown.get(written)
            if name is None:
                name = decode_string(renamed) if renamed else decode_id(one, codes=True)
                self.shown[written] = name
            value = decode_string(text) if text else number or truth.lower()
            if kind and name not in properties:
                properties[name] = value
        return designator

    # -- what there are many of --

    def ports(self, start: int, _end: int) -> int:
        text = self.text
        view_ports = self.view.ports
        port_form = self.grammar.port
        while match := port_form(text, start):
            start = match.end()
            size = match["size"]
            if size is None:
                one, name = _name(match)
                port = Port(name)
            else:
                one, renamed, shown = match.group("array_id", "array_renamed", "array_shown")
                one, name = (one, decode_id(one)) if one else (renamed, decode_string(shown))
                if not 0 < int(size) <= MOST_MEMBERS:
                    raise Mismatch
                port = Port(name, sizes=(int(size),))
            if one in view_ports:
                raise Mismatch
            view_ports[one] = port
            if direction := match["direction"]:
                port.direction = intern(direction.lower())
            items, close = match.end("items"), match.end("close")
            if close - items > 1:
                said: dict[str, str] = {}
                port.designator = self.items(items, close, said) or ""
                port.say(said)
        return start

    def instances(self, start: int, _end: int) -> int:
        text = self.text
        instances = self.view.instances
        # what was read of forms behind the name: instances that say the same share one dict
        told: dict[str, tuple[str, str, str, str | None, dict[str, str] | None]] = {}
        for match in each_form(self.grammar.instance, text, start):
            start = match.end()
            one, renamed, shown = match.group("id", "renamed", "shown")
            if one is None:
                one, name = renamed, decode_string(shown)
                said = text[match.end("shown") : match.end("close")]
            else:
                name = one if one[0] != "&" else decode_id(one)
                said = text[match.end("id") : match.end("close")]
            if one in instances:
                raise Mismatch
            known = told.get(said)
            if known is None:
                known = self.instance_said(match)
                if len(told) < MOST_TOLD:
                    told[said] = known
            view, cell, library, designator, properties = known
            instances[one] = Instance(
                name, view, cell, library, match.start(), designator, properties
            )
        return start

    def instance_said(
        self, match: re.Match[str]
    ) -> tuple[str, str, str, str | None, dict[str, str] | None]:
        """Return what an instance says beside its name: view, cell, library, reference, items."""
        view, cell, library, shown = match.group("view", "cell", "library", "designator")
        designator = None if shown is None else decode_string(shown).strip()
        items, close = match.end("items"), match.end("close")
        properties: dict[str, str] = {}
        if close - items > 1:
            other = self.items(items, close, properties)
            if other is not None:
                designator = _one_designator(designator, other)
        if designator and is_placeholder(designator):
            raise Mismatch  # such a file has more to it
        return intern(view), intern(cell), intern(library or ""), designator, properties or None

    def nets(self, start: int, _end: int) -> int:
        text = self.text
        nets = self.view.nets
        for match in each_form(self.grammar.net, text, start):
            start = match.end()
            one, renamed, shown = match.group("id", "renamed", "shown")
            if one is None:
                one, name = renamed, decode_string(shown)
            else:
                name = one if one[0] != "&" else decode_id(one)
            refs_end = match.end("refs_end")
            net = NetForm(one, name, _PUT_OFF, match.start(), (match.end("refs"), refs_end))
            nets.append(net)
            close = match.end("close")
            if close - refs_end > 1:
                said: dict[str, str] = {}
                self.items(refs_end, close, said)
                net.aliases = alias_names(said)
        return start


def _one_designator(first: str | None, second: str) -> str:
    """Return the one that is not empty; two that differ are for the whole-tree reader to say."""
    if first and second and first != second:
        raise Mismatch
    return first or second


def _sure(match: re.Match[str] | None) -> re.Match[str]:
    """Return a match that the grammar has made sure of."""
    if match is None:
        raise Mismatch
    return match


def _name(match: re.Match[str]) -> tuple[str, str]:
    """Return id and shown name of a definition."""
    one, renamed, shown = match.group("id", "renamed", "shown")
    if one is not None:
        return one, decode_id(one)
    return renamed, decode_string(shown)
