"""Reader of `board.toml`: which files make up a board, and what the user knows about it."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

from nettrace.errors import BadInput, Place, reason
from nettrace.model.names import nearest_names
from nettrace.model.notes import Notes, RailNote
from nettrace.readers.document import Document

_KEYS = ("name", "sources", "rails", "roles", "values", "fitted", "not_fitted", "remarks")
_AT = re.compile(r"\(at line (\d+), column (\d+)\)")
_HINT = "See docs/formats.md, board.toml."


@dataclass(frozen=True, slots=True)
class Manifest:
    """The sources in the order in which their word counts, and the user's notes."""

    sources: tuple[Path, ...]
    notes: Notes


def read_manifest(path: Path) -> Manifest:
    """Read a manifest; the paths of its sources are relative to it.

    Raises:
        BadInput: no TOML, an unknown key, a value of the wrong kind, a source that is not there.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise BadInput(f"cannot open ({reason(error)})", place=Place(str(path))) from None
    except UnicodeDecodeError as error:
        raise BadInput(
            f"a byte that is no UTF-8 (at {error.start})", place=Place(str(path))
        ) from None
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        match = _AT.search(str(error))
        line, column = (int(match[1]), int(match[2])) if match else (text.count("\n") + 1, 1)
        what = _AT.sub("", str(error)).strip()
        place = Place(str(path), line, column)
        mark = Document(str(path), text).excerpt(place)
        what = f"no TOML: {what[:1].lower()}{what[1:]}"
        raise BadInput(what, place=place, excerpt=mark) from None
    return _Checked(path, text, data).manifest()


class _Checked:
    """The parsed manifest, with errors that name the line of a key."""

    def __init__(self, path: Path, text: str, data: dict[str, Any]) -> None:
        self.path = path
        self.document = Document(str(path), text)
        self.data = data

    def manifest(self) -> Manifest:
        for key in self.data:
            if key not in _KEYS:
                near = nearest_names(key, _KEYS)
                known = f"Did you mean {near[0]}?" if near else f"Known: {', '.join(_KEYS)}."
                raise self._error(key, f"unknown key {key!r}", known)
        rails = {}
        for name, value in self._table("rails").items():
            if isinstance(value, bool) or not isinstance(value, (int, float)):
                raise self._error(name, f"{value!r} for the volts of {name}", "Write 1.8 or 0.")
            rails[name] = RailNote(float(value), self._place(name, "rails"))
        places = {
            (table, name): self._place(name, table)
            for table in ("roles", "values", "fitted", "not_fitted")
            for name in self.data.get(table, ())
            if isinstance(name, str)
        }
        sources = tuple(self.path.parent / entry for entry in self._list("sources"))
        for entry, source in zip(self._list("sources"), sources, strict=True):
            if not source.is_file():
                hint = "Sources are named relative to the manifest."
                raise self._error(entry, f"no file {entry!r}", hint)
        if not sources:
            raise self._error("sources", "no sources", 'List them: sources = ["board.net"].')
        notes = Notes(
            rails=MappingProxyType(rails),
            roles=self._texts("roles"),
            values=self._texts("values"),
            not_fitted=self._list("not_fitted"),
            fitted=self._list("fitted"),
            remarks=self._texts("remarks"),
            name=self.data.get("name", ""),
            places=MappingProxyType(places),
        )
        if not isinstance(notes.name, str):
            raise self._error("name", f"{notes.name!r} for a name", "Write it in quotes.")
        return Manifest(sources, notes)

    def _table(self, key: str) -> dict[str, Any]:
        value = self.data.get(key, {})
        if not isinstance(value, dict):
            raise self._error(key, f"{value!r} for {key}", f"Write a table: [{key}].")
        return value

    def _texts(self, key: str) -> MappingProxyType[str, str]:
        table = self._table(key)
        for name, value in table.items():
            if not isinstance(value, str):
                raise self._error(name, f"{value!r} for {name}", "Write it in quotes.")
        return MappingProxyType(dict(table))

    def _list(self, key: str) -> tuple[str, ...]:
        value = self.data.get(key, [])
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            raise self._error(key, f"{value!r} for {key}", f'Write a list: {key} = ["R1"].')
        return tuple(value)

    def _place(self, word: str, table: str = "") -> Place:
        """Return where the word stands, looked for from where its table or list begins."""
        text, start = self.document.text, 0
        if table:
            begin = re.search(rf"(?m)^\s*(?:\[\s*{table}\s*\]|{table}\s*=)", text)
            start = begin.end() if begin else 0
        whole = re.compile(rf"(?<![\w+.-]){re.escape(word)}(?![\w+.-])")
        match = whole.search(text, start) or whole.search(text)
        return self.document.place(match.start() if match else max(0, text.find(word)))

    def _error(self, word: str, found: str, hint: str) -> BadInput:
        place = self._place(word)
        mark = self.document.excerpt(place, len(word))
        return BadInput(found, hint=f"{hint} {_HINT}", place=place, excerpt=mark)
