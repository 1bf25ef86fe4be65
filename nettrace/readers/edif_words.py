"""The words of EDIF forms: names, ids, references, strings, properties; and faults with places.

A keyword that is not known stops the reader with line and column, unless nothing in its form names
a part or a connection: skipping such a one would lose a connection in silence. Keywords:
ANSI/EIA-548, EDIF 2 0 0 (list from memory of the standard).
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from nettrace.errors import BadInput
from nettrace.model.names import nearest_names
from nettrace.readers.document import Document
from nettrace.readers.edif_design import Design, decode_id, decode_string
from nettrace.readers.edif_tree import Form, fault

__all__ = ["ANYWHERE", "MOST_MEMBERS", "WordReader"]

#: Most members of one array; wider ones are not found on boards.
MOST_MEMBERS = 65_536
_INTEGER = re.compile(r"[-+]?\d{1,30}\Z")
_INDEX = re.compile(r"\d{1,9}\Z")

#: Forms that may stand in any other.
ANYWHERE = frozenset({"comment", "userdata", "property", "metax"})
_PROPERTY = ANYWHERE | {
    "boolean", "integer", "minomax", "mnm", "number", "owner", "point", "propertydisplay", "string",
    "unit",
}  # fmt: skip
#: Forms that name parts or connections: what holds one cannot be left out.
_MEANING = frozenset({
    "cell", "contents", "design", "designator", "external", "instance", "instanceref", "joined",
    "library", "member", "net", "port", "portinstance", "portlist", "portref", "view", "viewref",
})  # fmt: skip
_VALUES = frozenset({"boolean", "integer", "minomax", "mnm", "number", "point", "string"})


class WordReader:
    """Reads the small things that forms are made of."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.result = Design()
        self.keywords: dict[str, str] = {}  # alias -> keyword
        self.schematic = False
        self.members = 0

    # -- small things --

    def fail(self, form: Form, found: str, expected: str = "", hint: str = "") -> BadInput:
        """Return the error to raise about a form."""
        return fault(self.document, form.start, found, expected=expected, hint=hint)

    def note(self, code: str, message: str, form: Form) -> None:
        """Note something read with care."""
        self.note_at(code, message, form.start)

    def note_at(self, code: str, message: str, offset: int) -> None:
        """Note something read with care, at an offset."""
        self.result.notes.append((code, message, offset))

    def forms(self, form: Form, start: int, known: frozenset[str]) -> Iterator[Form]:
        """Yield the forms in it from item `start` on; all must have a known keyword."""
        for item in form[start:]:
            if isinstance(item, str):
                raise self.fail(form, f"{_short(item)} in '({form.head}'", "a form in parentheses")
            if item.head not in known:
                item[0] = self.keywords.get(item.head, item[0])
                if item.head not in known:
                    if not self.is_drawing(item, known):
                        raise self.unknown(item, form, known)
                    self.note("unknown-form", f"'({item.head}' in '({form.head}' is left out", item)
                    continue
            yield item

    def is_drawing(self, form: Form, known: frozenset[str]) -> bool:
        """Return whether a form of an unknown keyword can be left out without loss.

        It can where nothing in it names a part or a connection, and its keyword is no slip.
        """
        if not form.head or nearest_names(form.head, sorted(known), most=1):
            return False
        inside: list[Form] = [form]
        while inside:
            item = inside.pop()
            if item.head in _MEANING:
                return False
            inside += [each for each in item if isinstance(each, Form)]
        return True

    def unknown(self, item: Form, parent: Form, known: frozenset[str]) -> BadInput:
        """Return the error about a keyword that has no place in `parent`."""
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
        """Put a property into `into`; the first of a name counts."""
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

    def cell_reference(self, form: Form) -> tuple[str, str]:
        """Return ids of cell and library ("" if not said)."""
        cell = self.identifier(form[1] if len(form) > 1 else None, form)
        for item in self.forms(form, 2, frozenset({"libraryref"})):
            return cell, self.identifier(item[1] if len(item) > 1 else None, item)
        return cell, ""


def _short(token: str) -> str:
    return repr(token if len(token) <= 24 else token[:24] + "...")
