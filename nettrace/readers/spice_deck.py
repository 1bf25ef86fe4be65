"""The lines of a SPICE deck, sorted: elements and statements, each in the scope it belongs to.

Nothing is decoded here but the dot words. Physical lines become complete ones (continuations
joined, comments gone), `.include` and `.lib` are followed inside the deck's own folder, and the
bodies of subcircuits are kept as text until somebody expands them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from nettrace.errors import BadInput, Place, excerpt
from nettrace.model.builder import BoardBuilder
from nettrace.readers.document import Document
from nettrace.readers.registry import decode_text
from nettrace.readers.spice_text import Line, complete_lines, with_plain_ends

__all__ = ["Condition", "Deck", "Scope", "load_deck"]

#: `.if` branches that must hold (True) or fail (False) for a line to count.
Condition = tuple[tuple[str, bool], ...]

#: Files one deck may pull in, how deep, and how many bytes in all: refuses include bombs.
MOST_FILES = 500
MOST_INCLUDE_DEPTH = 16
MOST_INCLUDED_BYTES = 256 * 1024 * 1024
#: Open `.subckt` and `.if` blocks.
MOST_NESTING = 1000

#: Analyses, outputs and settings: they say nothing about the circuit's parts.
#: Source: ngspice user manual, chapters 2 and 11, and the dot words of other SPICE3 dialects.
_IGNORED_WORDS = """
ac alter autostop backanno csparam data dc disto enddata endmeas four hdl ic lin
loadbias mc meas measure nodeset noise op opt optimize option options plot print probe
prot protect pss pz save savebias sens sp step temp tf title tran unprot unprotect watch
wave wcase width
"""
_IGNORED = frozenset(_IGNORED_WORDS.split())
_FILE = re.compile(r"""\s*(?:"([^"]*+)"|'([^']*+)'|(\S+))\s*(.*)""", re.DOTALL)


@dataclass(slots=True)
class Scope:
    """The deck itself, or the body of one `.subckt`."""

    name: str
    ports: tuple[str, ...] = ()
    defaults: tuple[tuple[str, str], ...] = ()  # parameters of the .subckt line
    file: int = 0
    number: int = 0
    around: Scope | None = None
    lines: list[Line] = field(default_factory=list)  # element lines
    conditions: dict[int, Condition] = field(default_factory=dict)  # index in `lines` -> when
    models: dict[str, Line] = field(default_factory=dict)  # lower-case name -> after .model
    scopes: dict[str, Scope] = field(default_factory=dict)  # lower-case name -> its .subckt
    parameters: list[Line] = field(default_factory=list)  # what follows .param or .func

    def subcircuit(self, name: str) -> Scope | None:
        """Return the subcircuit of that name as seen from here."""
        wanted = name.lower()
        return next((s.scopes[wanted] for s in self._outward() if wanted in s.scopes), None)

    def model(self, name: str) -> Line | None:
        """Return the text of the model of that name as seen from here."""
        wanted = name.lower()
        return next((s.models[wanted] for s in self._outward() if wanted in s.models), None)

    def _outward(self) -> Iterator[Scope]:
        scope: Scope | None = self
        while scope is not None:
            yield scope
            scope = scope.around


@dataclass(slots=True)
class Deck:
    """A whole deck with what it includes."""

    title: str
    root: Scope
    files: list[str]  # shown paths; a Line's first field counts in them
    texts: list[str]  # what stands in them
    globals: set[str] = field(default_factory=set)  # lower-case node names of .global
    has_models: bool = False

    def place(self, line: Line) -> Place:
        """Return where the line begins."""
        return Place(self.files[line[0]], line[1], 1)

    def bad_line(self, line: Line, found: str, *, expected: str = "", hint: str = "") -> BadInput:
        """Return the error to raise about a line; it marks the line's first word."""
        file, number, _ = line
        physical = self.texts[file].split("\n", number)[number - 1]
        column = len(physical) - len(physical.lstrip()) + 1
        word = physical.split(None, 1)[0] if physical.strip() else ""
        return BadInput(
            found,
            expected=expected,
            hint=hint,
            place=Place(self.files[file], number, column),
            excerpt=excerpt(self.texts[file], number, column, len(word)),
        )


def load_deck(document: Document, builder: BoardBuilder) -> Deck:
    """Read a deck and what it includes; warnings go to the builder.

    Raises:
        BadInput: a subcircuit or condition without its end, an end without its beginning, too
            much nesting or including.
    """
    loader = _Loader(document, builder)
    loader.read_deck()
    return loader.deck


class _Loader:
    def __init__(self, document: Document, builder: BoardBuilder) -> None:
        self.document = document
        self.builder = builder
        text = with_plain_ends(document.text)
        self.deck = Deck("", Scope(""), [document.path], [text])
        self.scope = self.deck.root
        self.depth = 0
        self.root_folder = document.folder.resolve() if document.folder is not None else None
        self.included_bytes = 0
        # (condition text, negated texts before it) of the open .if blocks
        self.branches: list[list[tuple[str, bool]]] = []
        self.branch_places: list[Line] = []

    def read_deck(self) -> None:
        text = self.deck.texts[0]
        title, _, _ = text.partition("\n")
        self.deck.title = title.strip()
        chain: tuple[Path, ...] = ()
        if self.root_folder is not None:
            chain = (self.root_folder / Path(self.document.path).name,)
        self._read(0, text, self.root_folder, chain, section=None, skip_title=True)
        if self.scope.around is not None:
            raise self.deck.bad_line(
                (self.scope.file, self.scope.number, ""),
                f"'.subckt {self.scope.name}' without its '.ends'",
                hint="Every .subckt needs an .ends of its own.",
            )
        if self.branches:
            raise self.deck.bad_line(self.branch_places[-1], "'.if' without its '.endif'")

    def _warn(self, code: str, message: str, line: Line) -> None:
        self.builder.warn(code, message, self.deck.place(line))

    def _read(
        self,
        file: int,
        text: str,
        folder: Path | None,
        chain: tuple[Path, ...],
        *,
        section: str | None,
        skip_title: bool = False,
    ) -> None:
        """Sort the lines of one file; `section` is the one to read of a library, None for all."""
        lines, stray = complete_lines(text, file, skip_title=skip_title)
        if stray:
            self._warn(
                "stray-continuation", "a '+' line continues nothing; left out", (file, stray, "")
            )
        has_sections = section is not None or re.search(r"(?im)^[ \t]*\.endl\b", text) is not None
        skipping = "section" if section is not None else ""
        here = self.scope
        add = here.lines.append
        for index, line in enumerate(lines):
            statement = line[2]
            if statement[0] != ".":
                if not skipping:
                    add(line)
                    if self.branches:
                        here.conditions[len(here.lines) - 1] = self._condition()
                continue
            word, rest = _dot_word(statement)
            if skipping:
                if skipping == "control":
                    skipping = "" if word == "endc" else skipping
                elif word == "endl":
                    skipping = "section" if section is not None else ""
                elif word == "lib" and section is not None and rest.lower() == section:
                    skipping = ""
                continue
            if word == "control":
                self._warn("control-section", "a control section is no netlist; skipped", line)
                skipping = "control"
            elif word == "end":
                self._after_end(lines, index)
                break
            elif word == "endl":
                skipping = "section" if section is not None else ""
            elif word == "lib" and has_sections and len(rest.split()) == 1:
                if section is None or rest.lower() != section:
                    skipping = "section"
            elif word in ("include", "inc", "incl", "lib"):
                self._include(line, rest, folder, chain, is_library=word == "lib")
            elif word not in _IGNORED:
                self._statement(word, rest, line)
            if self.scope is not here:
                here = self.scope
                add = here.lines.append

    def _after_end(self, lines: list[Line], index: int) -> None:
        if index + 1 < len(lines):
            count = len(lines) - index - 1
            noun = "line" if count == 1 else "lines"
            self._warn("after-end", f"{count} {noun} after '.end' not read", lines[index + 1])

    def _statement(self, word: str, rest: str, line: Line) -> None:
        moved = (line[0], line[1], rest)
        if word in ("subckt", "subcircuit", "macro"):
            self._open_subcircuit(rest, line)
        elif word in ("ends", "eom"):
            self._close_subcircuit(rest, line)
        elif word == "model":
            name = re.split(r"[\s(]", rest, maxsplit=1)[0].lower()
            if name:
                self.scope.models.setdefault(name, moved)
                self.deck.has_models = True
        elif word in ("param", "params", "parameters", "func"):
            self.scope.parameters.append(moved)
        elif word == "global":
            self.deck.globals.update(node.lower() for node in rest.replace(",", " ").split())
        elif word in ("if", "elseif", "else", "endif"):
            self._branch(word, rest, line)
        else:
            self._warn("unknown-statement", f"'.{word}' is not known here; skipped", line)

    def _open_subcircuit(self, rest: str, line: Line) -> None:
        self.depth += 1
        if self.depth > MOST_NESTING:
            raise self.deck.bad_line(line, f"more than {MOST_NESTING} '.subckt' within one another")
        words, settings = self._header(rest, line)
        if not words:
            raise self.deck.bad_line(line, "'.subckt' alone", expected="'.subckt NAME NODE...'")
        scope = Scope(
            words[0], tuple(words[1:]), tuple(settings), line[0], line[1], around=self.scope
        )
        known = self.scope.scopes.get(words[0].lower())
        if known is not None:
            self._warn(
                "subcircuit-twice",
                f"{words[0]} is defined again (first in line {known.number}); the first counts",
                line,
            )
        self.scope.scopes.setdefault(words[0].lower(), scope)
        self.scope = scope

    def _header(self, rest: str, line: Line) -> tuple[list[str], list[tuple[str, str]]]:
        if not any(char in rest for char in "=({:'\""):
            return rest.split(), []
        from nettrace.readers.spice_grammar import parse_statement

        # only the parameters need the grammar: node names may hold what it has no word for
        found = re.search(r"(?i)\s(?:(?:params|optional):|\S+\s*=)", rest)
        if found is None:
            return rest.split(), []
        words = rest[: found.start()].split()
        parsed = parse_statement("X " + rest[found.start() :], "header")
        if parsed is None:
            self._warn("parameters", "parameters of this '.subckt' not understood", line)
            return words, []
        return words + parsed[0][1:], parsed[1]

    def _close_subcircuit(self, rest: str, line: Line) -> None:
        if self.scope.around is None:
            raise self.deck.bad_line(line, "'.ends' without its '.subckt'")
        name = rest.split(None, 1)[0] if rest else ""
        if name and name.lower() != self.scope.name.lower():
            self._warn(
                "ends-name",
                f"'.ends {name}' closes '.subckt {self.scope.name}' of line {self.scope.number}",
                line,
            )
        self.scope = self.scope.around
        self.depth -= 1

    # ---- .if ------------------------------------------------------------------------------------

    def _branch(self, word: str, rest: str, line: Line) -> None:
        if word == "if":
            if len(self.branches) >= MOST_INCLUDE_DEPTH:
                raise self.deck.bad_line(
                    line, f"more than {MOST_INCLUDE_DEPTH} '.if' within one another"
                )
            self.branches.append([(rest, True)])
            self.branch_places.append(line)
            return
        if not self.branches:
            raise self.deck.bad_line(line, f"'.{word}' without its '.if'")
        if word == "endif":
            self.branches.pop()
            self.branch_places.pop()
            return
        branch = self.branches[-1]
        branch[-1] = (branch[-1][0], False)
        if word == "elseif":
            branch.append((rest, True))

    def _condition(self) -> Condition:
        return tuple(test for branch in self.branches for test in branch)

    # ---- .include, .lib -------------------------------------------------------------------------

    def _include(
        self,
        line: Line,
        rest: str,
        folder: Path | None,
        chain: tuple[Path, ...],
        *,
        is_library: bool,
    ) -> None:
        named = _FILE.match(rest)
        if named is None:
            self._warn("include-missing", "an include without a file name; skipped", line)
            return
        name = next((group for group in named.groups()[:3] if group is not None), "")
        tail = named[4].strip()
        if named[3] is not None and tail and not is_library:
            name, tail = rest.strip(), ""  # a name with blanks, not quoted
        path = self._inside(name, folder, line)
        if path is None:
            return
        if path in chain:
            self._warn("include-cycle", f"{name} includes itself; not read again", line)
            return
        if len(chain) > MOST_INCLUDE_DEPTH or len(self.deck.texts) > MOST_FILES:
            raise self.deck.bad_line(
                line,
                f"more than {MOST_FILES} included files or {MOST_INCLUDE_DEPTH} levels",
                hint="A netlist of one board needs fewer; is a library including itself?",
            )
        try:
            size = path.stat().st_size
            self.included_bytes += size
            if self.included_bytes > MOST_INCLUDED_BYTES:
                raise self.deck.bad_line(
                    line, f"included files of {self.included_bytes / 1e6:.0f} MB"
                )
            text = with_plain_ends(decode_text(path.read_bytes(), name))
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            self._warn("include-missing", f"{name} cannot be opened ({reason}); skipped", line)
            return
        except BadInput as error:
            if error.place is not None and error.place.line:
                raise
            self._warn("include-unreadable", f"{name} is {error.found}; skipped", line)
            return
        self.deck.files.append(self._shown(path))
        self.deck.texts.append(text)
        section = tail.split()[0].lower() if is_library and tail else None
        self._read(len(self.deck.texts) - 1, text, path.parent, (*chain, path), section=section)

    def _inside(self, name: str, folder: Path | None, line: Line) -> Path | None:
        """Return the file if it lies in the deck's folder and exists; else warn."""
        root = self.root_folder
        if root is None or folder is None:
            self._warn("include-missing", f"{name}: this text has no folder; skipped", line)
            return None
        try:
            tried = [(base / name.replace("\\", "/")).resolve() for base in (folder, root)]
            inside = [path for path in tried if path.is_relative_to(root)]
            if not inside:
                self._warn(
                    "include-outside",
                    f"{name} is outside the netlist's folder; skipped",
                    line,
                )
                return None
            for path in inside:
                if path.is_file():
                    return path
            is_folder = any(path.is_dir() for path in inside)
        except (OSError, ValueError, RuntimeError):  # a NUL, a name too long, a link to itself
            self._warn("include-missing", f"{name!r} is no file name; skipped", line)
            return None
        what = "is a folder" if is_folder else "is not there"
        self._warn("include-missing", f"{name} {what}; skipped", line)
        return None

    def _shown(self, path: Path) -> str:
        """Name an included file as the user named the deck: beside its path."""
        root = self.root_folder or path.parent
        beside = Path(self.document.path).parent
        return str(beside / path.relative_to(root))


def _dot_word(statement: str) -> tuple[str, str]:
    """Split '.subckt X a b' into ('subckt', 'X a b')."""
    words = statement.split(None, 1)
    word = words[0][1:].lower()
    rest = words[1].strip() if len(words) > 1 else ""
    if "(" in word or "=" in word or '"' in word or "'" in word:  # .if(a>1)  .include"x"
        cut = min(word.find(char) for char in "(=\"'" if char in word)
        rest = (words[0][1 + cut :] + " " + rest).strip()
        word = word[:cut]
    return word, rest
