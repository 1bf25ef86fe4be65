"""What the trade knows, as readable tables: `NAME.toml` in this folder, each with its sources.

Python files say what is done with a fact, a table says the fact. What stands in a table:

- `source` at the top of a file or of a section: where its values come from, or "common practice,
  no source". A section without one has that of the section around it, or of the file.
- `rows` of a section: an ordered list, each row a pattern and what it means; the first that is
  met wins (`Words`). `ignore_case = true` stands for all patterns of the section.
- a section named `patterns`: name -> regular expression (`pattern`).
- a section named `words`: name -> whole words parted by blanks, each a regular expression, that
  may stand anywhere in a net's or pin's name in upper case, with index digits (`whole_words`).
- anything else is plain values, asked for by `table`.

A pattern may be stretched over lines in a string of three quotes: line breaks and the blanks
around them are no part of it.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator, Mapping
from functools import cache, lru_cache
from importlib.machinery import SourceFileLoader
from types import CodeType, MappingProxyType
from typing import Any, Final, Generic, TypeVar

_Meaning = TypeVar("_Meaning")

FOLDER: Final = os.path.dirname(__file__)  # noqa: PTH120 - pathlib costs more than a table


class _TableLoader(SourceFileLoader):
    """Python's own loader of source files, for TOML.

    It keeps what it parsed as Python keeps compiled modules (in `__pycache__`), tells by time and
    size of the table whether that still holds, and parses anew where it may not write.
    """

    def source_to_code(  # type: ignore[override] # typeshed has a wider one
        self, data: bytes, path: str, *, _optimize: int = -1
    ) -> CodeType:
        import tomllib  # costs more than all tables; seldom needed

        parsed = _frozen(tomllib.loads(data.decode("utf-8")))
        return compile(f"TABLE = {parsed!r}", path, "exec", dont_inherit=True, optimize=_optimize)


def _frozen(value: Any) -> Any:
    """Lists become tuples: they are constants then, and nobody can write to them."""
    if isinstance(value, dict):
        return {key: _frozen(each) for key, each in value.items()}
    return tuple(_frozen(each) for each in value) if isinstance(value, list) else value


@cache
def table(name: str) -> Mapping[str, Any]:
    """Return a table by its file's name; read when first asked for, then kept. Lists are tuples.

    >>> table("kinds")["letters"]["relay"]
    'K RLY RL'
    """
    found: dict[str, Any] = {}
    path = os.path.join(FOLDER, f"{name}.toml")  # noqa: PTH118 - as above
    code = _TableLoader(f"{__name__}.{name}", path).get_code(f"{__name__}.{name}")
    exec(code, found)  # type: ignore[arg-type] # noqa: S102 # the literal that was made above
    return MappingProxyType(found["TABLE"])


def section(name: str, *path: str) -> Mapping[str, Any]:
    """Return a section of a table without its `source`: `section("kinds", "letters")`."""
    found = table(name)
    for step in path:
        found = found[step]
    return {key: value for key, value in found.items() if key != "source"}


@cache
def compiled(text: str, ignore_case: bool = False) -> re.Pattern[str]:
    """Return a pattern as it stands in a table, compiled."""
    return re.compile(unbroken(text), re.IGNORECASE if ignore_case else 0)


def unbroken(text: str) -> str:
    """Return a pattern that is stretched over lines as one line."""
    return "".join(line.strip() for line in text.splitlines()) if "\n" in text else text


@cache
def pattern(name: str, what: str) -> re.Pattern[str]:
    """Return a pattern of a table's section `patterns`, compiled when first asked for."""
    return compiled(table(name)["patterns"][what])


@cache
def whole_words(name: str, what: str) -> re.Pattern[str]:
    """Return one pattern for the whole words of a table's section `words`; for upper case."""
    return _one_of(table(name)["words"][what])


def _one_of(words: str) -> re.Pattern[str]:
    return re.compile(rf"(?:^|[^A-Z])(?:{'|'.join(words.split())})\d*[+\-#]?(?:$|[^A-Z0-9])")


class Words(Generic[_Meaning]):
    """The rows of a section in their order: the first whose pattern is met in a text wins.

    Answers are kept, for texts repeat; patterns are compiled when the first text is asked about.
    """

    __slots__ = ("_meaning", "_path", "find")

    def __init__(self, name: str, *path: str, meaning: Callable[[Any], _Meaning]) -> None:
        self._path = (name, *path)
        self._meaning = meaning
        #: Text -> the meaning of the first row whose pattern is found in it, or None.
        self.find: Callable[[str], _Meaning | None] = lru_cache(maxsize=16384)(self._first_met)

    def _first_met(self, text: str) -> _Meaning | None:
        found = section(*self._path)
        ignore_case = found.get("ignore_case", False)
        for row in found["rows"]:
            if compiled(row[0], ignore_case).search(text):
                return self._meaning(row[1])
        return None


def check_tables() -> list[str]:
    """Return what is wrong with the tables: patterns, rows that stand twice, missing sources."""
    names = sorted(name for name in os.listdir(FOLDER) if name.endswith(".toml"))  # noqa: PTH208
    return [
        f"{name}: {fault}"
        for name in names
        for fault in check_table(table(name.removesuffix(".toml")))
    ]


def check_table(whole: Mapping[str, Any]) -> Iterator[str]:
    """Yield what is wrong with one table."""
    yield from _check_section("", whole, sourced=False)


def _check_section(where: str, found: Mapping[str, Any], *, sourced: bool) -> Iterator[str]:
    sourced = sourced or bool(found.get("source"))
    kind = where.rpartition(".")[2]
    values = [key for key, each in found.items() if key != "source" and not isinstance(each, dict)]
    if values and not sourced:
        yield f"[{where}] has no source"
    seen = set()
    for row in found.get("rows", ()):
        if row[0] in seen:
            yield f"[{where}] {row[0]!r} stands twice"
        seen.add(row[0])
        yield from _check_pattern(where, row[0], compiled)
    for key, each in found.items():
        if isinstance(each, dict):
            yield from _check_section(f"{where}.{key}".lstrip("."), each, sourced=sourced)
        elif kind in {"patterns", "words"} and key != "source":
            yield from _check_pattern(where, each, compiled if kind == "patterns" else _one_of)


def _check_pattern(where: str, text: str, make: Callable[[str], re.Pattern[str]]) -> Iterator[str]:
    try:
        make(text)
    except re.error as error:
        yield f"[{where}] {text!r}: {error}"
