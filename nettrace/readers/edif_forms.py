"""The fast reader of EDIF: the grammar over whole forms, `grammars/edif.lark`.

It fills the same cells as the whole-tree reader does, or is a Mismatch: then that one reads the
text, or says what is wrong with it and where.
"""

from __future__ import annotations

import re
from functools import cache

from nettrace.readers.document import Document
from nettrace.readers.edif_cells import MOST_MEMBERS
from nettrace.readers.edif_design import (
    Cell,
    Design,
    Instance,
    Library,
    NetForm,
    Port,
    View,
    decode_id,
    decode_string,
)
from nettrace.readers.sexpr_forms import HAS_SOUND_REGEX, FormGrammar, FormToken, Mismatch

__all__ = ["Mismatch", "read_design"]

# What stands in forms whose shape the grammar has checked; so these need not check it again.
_BLANK = r"[ \t\r\n\f\v]"
_WORD = r'[^ \t\r\n\f\v()"]+'
#: port, member index, instance
_REF = re.compile(
    rf"\({_BLANK}*+\w++{_BLANK}*+(?:\({_BLANK}*+\w++{_BLANK}++)?+({_WORD}+)"
    rf"(?:{_BLANK}++([0-9]++){_BLANK}*+\))?+{_BLANK}*+"
    rf"(?:\({_BLANK}*+\w++{_BLANK}++({_WORD}+){_BLANK}*+\){_BLANK}*+)?+\)"
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


class _Forms:
    """Notes the tokens that mean something while lark checks that they stand where they may."""

    def __init__(self) -> None:
        self.found: list[tuple[str, int, int]] = []

    def _note(self, children: list[FormToken]) -> None:
        token = children[0]
        self.found.append((token.type, token.start, token.end))

    def cell_properties(self, children: list[FormToken]) -> None:
        token = children[0]
        self.found.append(("CELL_PROPERTIES", token.start, token.end))

    opening = design = library_head = bare_cells = cell_head = view_head = _note
    view_properties = ports = instances = nets = _note


class _Grammar:
    """The grammar and the patterns of single forms, made once per process."""

    def __init__(self) -> None:
        self.forms = _Forms()
        grammar = FormGrammar("edif", self.forms)
        self.parse = grammar.parse
        self.opening = grammar.pattern("OPENING").match
        self.design = grammar.pattern("DESIGN").match
        self.library_head = grammar.pattern("LIBRARY_HEAD").match
        self.cell_head = grammar.pattern("CELL_HEAD").match
        self.view_head = grammar.pattern("VIEW_HEAD").match
        self.bare_cell = grammar.pattern("BARE_CELL").match
        self.port = grammar.pattern("PORT").match
        self.instance = grammar.pattern("INSTANCE").match
        self.net = grammar.pattern("NET").match


@cache
def _grammar() -> _Grammar:
    return _Grammar()


def read_design(document: Document) -> Design:
    """Return what the text says, cell by cell.

    Raises:
        Mismatch: the text is not written as the grammar says; nothing is known of what is wrong.
    """
    if not HAS_SOUND_REGEX:
        raise Mismatch
    grammar = _grammar()
    grammar.forms.found = found = []
    grammar.parse(document.text)
    return _Filler(grammar, document.text).fill(found)


class _Filler:
    """Fills a design from the tokens, in the order of the text."""

    def __init__(self, grammar: _Grammar, text: str) -> None:
        self.grammar = grammar
        self.text = text
        self.design = Design()
        self.library = Library("")
        self.cell = Cell("")
        self.view = View("", 0)

    def fill(self, found: list[tuple[str, int, int]]) -> Design:
        takers = {
            "OPENING": self.take_opening,
            "DESIGN": self.take_design,
            "LIBRARY_HEAD": self.take_library,
            "BARE_CELLS": self.take_bare_cells,
            "CELL_HEAD": self.take_cell,
            "CELL_PROPERTIES": self.take_cell_properties,
            "VIEW_HEAD": self.take_view,
            "PROPERTIES": self.take_view_properties,
            "PORTS": self.take_ports,
            "INSTANCES": self.take_instances,
            "NETS": self.take_nets,
        }
        for kind, start, end in found:
            takers[kind](start, end)
        return self.design

    # -- from the top down --

    def take_opening(self, start: int, end: int) -> None:
        match = _sure(self.grammar.opening(self.text, start, end))
        self.design.name = _name(match)[1]

    def take_design(self, start: int, end: int) -> None:
        design = self.design
        if design.top_cell is not None:
            raise Mismatch  # a second design: the whole-tree reader says so
        match = _sure(self.grammar.design(self.text, start, end))
        design.name = _name(match)[1]
        design.top_cell = match["cell"]
        design.top_library = match["library"] or ""
        design.top_offset = match.start("at")

    def take_library(self, start: int, end: int) -> None:
        one, name = _name(_sure(self.grammar.library_head(self.text, start, end)))
        known = self.design.libraries.get(one)
        self.library = Library(name) if known is None else known
        self.design.libraries[one] = self.library

    def add_cell(self, match: re.Match[str]) -> None:
        one, name = _name(match)
        if one in self.library.cells:
            raise Mismatch
        self.cell = self.library.cells[one] = Cell(name)

    def take_cell(self, start: int, end: int) -> None:
        self.add_cell(_sure(self.grammar.cell_head(self.text, start, end)))

    def take_view(self, start: int, end: int) -> None:
        match = _sure(self.grammar.view_head(self.text, start, end))
        one, name = _name(match)
        if one in self.cell.views:
            raise Mismatch
        self.view = self.cell.views[one] = View(name, match.start("at"))
        self.view.type = "NETLIST"

    def take_bare_cells(self, start: int, end: int) -> None:
        text = self.text
        bare_cell = self.grammar.bare_cell
        while start < end:
            match = _sure(bare_cell(text, start, end))
            start = _past_blanks(text, match.end(), end)
            self.add_cell(match)
            one = match["view"]
            self.view = self.cell.views[one] = View(decode_id(one), match.start("view_at"))
            self.view.type = "NETLIST"
            self.take_ports(match.end("ports"), match.end())

    def take_cell_properties(self, start: int, end: int) -> None:
        self.take_items(start, end, self.cell.properties)

    def take_view_properties(self, start: int, end: int) -> None:
        self.take_items(start, end, self.view.properties)

    def take_items(self, start: int, end: int, properties: dict[str, str]) -> str | None:
        """Put properties into `properties`; return the designator among them, None if none."""
        designator: str | None = None
        for shown, one, renamed, kind, text, number, truth in _ITEM.findall(self.text, start, end):
            if shown:
                said = decode_string(shown).strip()
                if designator and said and said != designator:
                    raise Mismatch
                designator = designator or said
                continue
            name = decode_string(renamed) if renamed else decode_id(one, codes=True)
            if text:
                value = decode_string(text)
            else:
                value = number or truth.lower()
            if kind and name not in properties:
                properties[name] = value
        return designator

    # -- what there are many of --

    def take_ports(self, start: int, end: int) -> None:
        text = self.text
        view_ports = self.view.ports
        port_form = self.grammar.port
        while True:
            match = port_form(text, start, end)
            if match is None:
                return
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
                port.direction = direction.lower()
            items = match.end("items")
            if start - items > 1 and text.find("(", items, start) >= 0:
                said: dict[str, str] = {}
                port.designator = self.take_items(items, start, said) or ""
                port.say(said)

    def take_instances(self, start: int, end: int) -> None:
        text = self.text
        instances = self.view.instances
        instance_form = self.grammar.instance
        while start < end:
            match = _sure(instance_form(text, start, end))
            start = _past_blanks(text, match.end(), end)
            one, renamed, shown, view, cell, library = match.group(
                "id", "renamed", "shown", "view", "cell", "library"
            )
            if one is None:
                one, name = renamed, decode_string(shown)
            else:
                name = one if one[0] != "&" else decode_id(one)
            if one in instances:
                raise Mismatch
            instance = Instance(name, view, cell, library or "", match.start("at"))
            instances[one] = instance
            items = match.end("items")
            if match.end() - items > 1:
                properties: dict[str, str] = {}
                instance.designator = self.take_items(items, match.end(), properties)
                instance.properties = properties or None

    def take_nets(self, start: int, end: int) -> None:
        text = self.text
        nets = self.view.nets
        net_form = self.grammar.net
        references = _REF.findall
        while start < end:
            match = _sure(net_form(text, start, end))
            start = _past_blanks(text, match.end(), end)
            one, renamed, shown = match.group("id", "renamed", "shown")
            if one is None:
                one, name = renamed, decode_string(shown)
            else:
                name = one if one[0] != "&" else decode_id(one)
            refs_end = match.end("refs_end")
            joined = references(text, match.end("refs"), refs_end)
            net = NetForm(one, name, joined, match.start("at"))
            nets.append(net)
            if match.end() - refs_end > 1:
                said: dict[str, str] = {}
                self.take_items(refs_end, match.end(), said)
                net.aliases = tuple(v for k, v in said.items() if k.lower() == "alias" and v)


def _sure(match: re.Match[str] | None) -> re.Match[str]:
    """Return a match that the grammar has made sure of."""
    if match is None:
        raise Mismatch
    return match


def _past_blanks(text: str, at: int, end: int) -> int:
    """Return where the next form begins."""
    while at < end and text[at] in " \t\r\n\f\v":
        at += 1
    return at


def _name(match: re.Match[str]) -> tuple[str, str]:
    """Return id and shown name of a definition."""
    one, renamed, shown = match.group("id", "renamed", "shown")
    if one is not None:
        return one, decode_id(one)
    return renamed, decode_string(shown)
