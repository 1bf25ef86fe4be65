"""Runs expat over an IPC-2581 file: contexts, places, refusals. What elements mean is elsewhere.

No tree is built and no entity is expanded. Each element that matters opens a context, a table of
what may stand in it; drawings, which are most of a file, are passed over with the start handler
switched off.
"""

from __future__ import annotations

import math
import re
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from typing import NoReturn
from xml.parsers import expat

from nettrace.errors import BadInput, Place, excerpt
from nettrace.model.builder import BoardBuilder
from nettrace.readers.document import Document
from nettrace.readers.ipc2581_facts import Facts
from nettrace.readers.ipc2581_words import ATTRIBUTES, ELEMENTS

__all__ = ["Action", "Attributes", "Machine", "Tables"]

ROOT = "IPC-2581"
CHUNK = 1 << 20

Attributes = Mapping[str, str]
Action = Callable[[Attributes], None]
#: Context -> element -> what to do at its start.
Tables = dict[str, dict[str, Action]]

_NUMBER = re.compile(r"\s*[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?\s*")


class Machine(ABC):
    """Feeds the text to expat and keeps the stack of contexts."""

    def __init__(self, document: Document, builder: BoardBuilder) -> None:
        self.document = document
        self.builder = builder
        self.facts = Facts()
        self.prefix = ""
        # the open contexts: (element that closes it, table to go back to)
        self.contexts: list[tuple[str, dict[str, Action]]] = []
        self.actions: dict[str, Action] = {}
        self.closing = ""
        self._reported: set[str] = set()
        self._elements, self._attributes = ELEMENTS, ATTRIBUTES
        self._parser = expat.ParserCreate()
        self._parser.StartDoctypeDeclHandler = self._refuse_doctype
        self._parser.EntityDeclHandler = self._refuse_entity
        self._parser.StartElementHandler = self._start_root
        self._parser.EndElementHandler = self._end
        self._parser.CharacterDataHandler = self._text
        self.tables = self.make_tables()

    @abstractmethod
    def make_tables(self) -> Tables:
        """Return the contexts; the one that the root element opens is "root"."""

    @abstractmethod
    def close(self, element: str) -> None:
        """Take what the context of the element has gathered, at its end."""

    def run(self) -> None:
        """Parse the whole text; BadInput where it is no well-formed XML."""
        text = self.document.text
        try:
            for start in range(0, len(text), CHUNK):
                self._parser.Parse(text[start : start + CHUNK], False)
            self._parser.Parse("", True)
        except expat.ExpatError as error:
            place = Place(self.document.path, error.lineno, error.offset + 1)
            raise BadInput(
                f"damaged XML ({expat.ErrorString(error.code)})",
                hint="Is the file whole?",
                place=place,
                excerpt=excerpt(text, place.line, place.column),
            ) from None

    def place(self) -> Place:
        """Return where the parser is."""
        parser = self._parser
        return Place(self.document.path, parser.CurrentLineNumber, parser.CurrentColumnNumber + 1)

    def fail(self, found: str, expected: str = "", hint: str = "") -> NoReturn:
        """Raise BadInput for what stands where the parser is."""
        place = self.place()
        raise BadInput(
            found,
            expected=expected,
            hint=hint,
            place=place,
            excerpt=excerpt(self.document.text, place.line, place.column),
        )

    def _refuse_doctype(self, *_: object) -> None:
        self.fail(
            "a document type (DOCTYPE)",
            "plain IPC-2581",
            "Entities are never expanded; remove the DOCTYPE if the file is yours.",
        )

    def _refuse_entity(self, *_: object) -> None:
        self.fail("an entity declaration", "plain IPC-2581", "Entities are never expanded.")

    def text_of(self, attributes: Attributes, name: str, element: str) -> str:
        """Return an attribute that must be there."""
        value = attributes.get(name)
        if value is None:
            self.fail(f"<{element}> without '{name}'", f'{name}="..."')
        return value

    def number_of(
        self, attributes: Attributes, name: str, element: str, default: float | None = None
    ) -> float:
        """Return an attribute as a finite number; the default, if any, where it is missing."""
        text = attributes.get(name)
        if text is None:
            if default is not None:
                return default
            self.fail(f"<{element}> without '{name}'", "a number")
        if _NUMBER.fullmatch(text) is None:
            self.fail(f"{name}={text!r}", "a number")
        value = float(text)
        if not math.isfinite(value):
            self.fail(f"{name}={text!r}", "a finite number")
        return value

    def choose(self, kind: str, value: str, known: frozenset[str]) -> None:
        """Report a value that is none of those known."""
        if value not in known:
            self.report(kind, f"'{value}'")

    def report(self, kind: str, shown: str) -> None:
        """Say, once, that a word is none of this format's."""
        if shown not in self._reported:
            self._reported.add(shown)
            message = f"{shown} is no {kind} of this format; it is not read"
            self.builder.warn(f"unknown-{kind.replace(' ', '-')}", message, self.place())

    def _start_root(self, name: str, attributes: Attributes) -> None:
        prefix, _, local = name.rpartition(":")
        if local != ROOT:
            self.fail(f"<{name}>", f"<{ROOT}>")
        if prefix:
            self.prefix = prefix + ":"
            self.tables = {
                table: {self.prefix + element: action for element, action in actions.items()}
                for table, actions in self.tables.items()
            }
            self._elements = frozenset(self.prefix + element for element in ELEMENTS)
            self._attributes = {self.prefix + name: known for name, known in ATTRIBUTES.items()}
        self.facts.revision = attributes.get("revision", "")
        self.actions = self.tables["root"]
        self._parser.StartElementHandler = self._start

    def _start(self, name: str, attributes: Attributes) -> None:
        action = self.actions.get(name)
        if action is not None:
            known = self._attributes.get(name)
            if known is not None and not attributes.keys() <= known:
                for attribute in sorted(attributes.keys() - known):
                    self.report("attribute", f"<{name} {attribute}>")
            action(attributes)
        elif name not in self._elements:
            self.report("element", f"<{name}>")

    def _text(self, data: str) -> None:
        """Report text: this format has none, so it is a tag that lost its bracket."""
        if not data.isspace():
            self.report("text", f"'{data.strip()[:40]}'")

    def _end(self, name: str) -> None:
        if name == self.closing:
            self.close(name[len(self.prefix) :])
            self.closing, self.actions = self.contexts.pop()

    def pass_over(self, element: str) -> Action:
        """Return an action that ignores everything up to the end of the element."""
        name = ""

        def end(ended: str) -> None:
            if ended == name:
                self._parser.StartElementHandler = self._start
                self._parser.EndElementHandler = self._end
                self._parser.CharacterDataHandler = self._text

        def start(_: Attributes) -> None:
            nonlocal name
            name = self.prefix + element
            self._parser.StartElementHandler = None
            self._parser.CharacterDataHandler = None
            self._parser.EndElementHandler = end

        return start

    def open(self, element: str, table: str) -> None:
        """Go into a context; the end of the element leads back."""
        self.contexts.append((self.closing, self.actions))
        self.closing = self.prefix + element
        self.actions = self.tables[table]

    def refuse_nested(self, element: str) -> Action:
        """Return an action that refuses the element inside itself."""

        def refuse(_: Attributes) -> None:
            self.fail(f"<{element}> inside <{element}>", f"</{element}>")

        return refuse
