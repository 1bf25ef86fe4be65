"""The lines of a SPICE deck, sorted: elements and statements, each in the scope it belongs to.

Nothing is decoded here but the dot words. Physical lines become complete ones (continuations
joined, comments gone), `.include` and `.lib` are followed inside the deck's own folder, and the
bodies of subcircuits are kept as text until somebody expands them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from nettrace.errors import BadInput, Place, excerpt, reason
from nettrace.knowledge import table
from nettrace.model.builder import BoardBuilder
from nettrace.readers.document import Document
from nettrace.readers.registry import decode_text
from nettrace.readers.spice_expressions import parse_statement

#: (number of the file, line number, text without surrounding blanks)
Line = tuple[int, int, str]
#: `.if` branches that must hold (True) or fail (False) for a line to count.
Condition = tuple[tuple[str, bool], ...]

#: Files one deck may pull in, how deep, and how many bytes in all: refuses include bombs.
MOST_FILES = 500
MOST_INCLUDE_DEPTH = 16
MOST_INCLUDED_BYTES = 256 * 1024 * 1024
#: Open `.subckt` and `.if` blocks.
MOST_NESTING = 1000

#: `; ...` ends a line, but not inside a value (`100uF;16V`); `// ...` and `$ ...` after a blank.
_TAIL = re.compile(r"(?:^|\s);.*|;(?=\s|$).*|\s//.*|[\s,]\$(?=\s|$).*")
#: `$text` is a comment too, unless the deck has nodes of that shape ($N_0001).
_DOLLAR_TAIL = re.compile(r"(?<=\s)\$\S.*")
_DOLLAR_NODE = re.compile(r"(?m)^[ \t]*[A-Za-z]\S*[ \t]+(?:\S+[ \t]+)?\$[\w]")
_FILE = re.compile(r"""\s*(?:"([^"]*)"|'([^']*)'|(\S+))\s*(.*)""", re.DOTALL)
_INCLUDE = re.compile(
    r"""^[ \t]*\.(?:include|incl|inc|lib)\b[ \t]*(?:"([^"\n]+)"|'([^'\n]+)'|([^\n;$]+))""",
    re.IGNORECASE | re.MULTILINE,
)


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
        return next((s.scopes[wanted] for s in self.outward() if wanted in s.scopes), None)

    def model(self, name: str) -> Line | None:
        """Return the text of the model of that name as seen from here."""
        wanted = name.lower()
        return next((s.models[wanted] for s in self.outward() if wanted in s.models), None)

    def outward(self) -> Iterator[Scope]:
        """Yield the scope itself, and those around it."""
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


def complete_lines(text: str, file: int, *, skip_title: bool) -> tuple[list[Line], int]:
    r"""Return the lines that say something, and the number of the first stray `+` line (or 0).

    `*` begins a comment line, blanks before it or not; `+` continues the last line that was no
    comment. Source: ngspice user manual, section 2.3; `// ` as in ngspice.

    >>> complete_lines("title\nR1 a b ; why\n* note\n+ 10k\n", 0, skip_title=True)
    ([(0, 2, 'R1 a b 10k')], 0)
    """
    physical = text.split("\n")
    has_tails = ";" in text or "$" in text or "//" in text
    dollar_comments = "$" in text and not _DOLLAR_NODE.search(text)
    complete: list[Line] = []
    more: dict[int, list[str]] = {}  # index of a line -> its continuations
    stray = 0
    if skip_title:
        physical[0] = ""
    for number, raw in enumerate(physical, 1):
        line = raw.strip()
        if not line or line[0] == "*":
            continue
        if has_tails and (";" in line or "$" in line or "//" in line):
            line = _TAIL.sub("", line, count=1).rstrip()
            if dollar_comments:
                line = _DOLLAR_TAIL.sub("", line).rstrip()
            if not line:
                continue
        if line[0] != "+":
            complete.append((file, number, line))
        elif complete:
            more.setdefault(len(complete) - 1, []).append(line[1:].strip())
        elif not stray:
            stray = number
    for index, pieces in more.items():
        begun = complete[index]
        complete[index] = (file, begun[1], " ".join((begun[2], *pieces)).strip())
    return complete, stray


def _with_plain_ends(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n") if "\r" in text else text


class _Loader:
    def __init__(self, document: Document, builder: BoardBuilder) -> None:
        self.document = document
        self.builder = builder
        text = _with_plain_ends(document.text)
        title = text.partition("\n")[0].strip()
        self.deck = Deck(title, Scope(""), [document.path], [text])
        self.scope = self.deck.root
        self.depth = 0
        self.root_folder = document.folder.resolve() if document.folder is not None else None
        self.included_bytes = 0
        # (condition text, negated texts before it) of the open .if blocks, and where they begin
        self.branches: list[tuple[list[tuple[str, bool]], Line]] = []

    def read_deck(self) -> None:
        chain: tuple[Path, ...] = ()
        if self.root_folder is not None:
            chain = (self.root_folder / Path(self.document.path).name,)
        self._read(0, self.root_folder, chain)
        if self.scope.around is not None:
            raise self.deck.bad_line(
                (self.scope.file, self.scope.number, ""),
                f"'.subckt {self.scope.name}' without its '.ends'",
                hint="Every .subckt needs an .ends of its own.",
            )
        if self.branches:
            raise self.deck.bad_line(self.branches[-1][1], "'.if' without its '.endif'")

    def _warn(self, code: str, message: str, line: Line) -> None:
        self.builder.warn(code, message, self.deck.place(line))

    def _read(
        self, file: int, folder: Path | None, chain: tuple[Path, ...], section: str | None = None
    ) -> None:
        """Sort the lines of one file; `section` is the one to read of a library, None for all."""
        text = self.deck.texts[file]
        lines, stray = complete_lines(text, file, skip_title=file == 0)
        if stray:
            self._warn(
                "stray-continuation", "a '+' line continues nothing; left out", (file, stray, "")
            )
        ignored = table("spice")["ignored"].split()
        has_sections = section is not None or re.search(r"(?im)^[ \t]*\.endl\b", text) is not None
        skipping = "section" if section is not None else ""
        for index, line in enumerate(lines):
            if line[2][0] != ".":
                if not skipping:
                    here = self.scope
                    here.lines.append(line)
                    if self.branches:
                        condition = tuple(test for branch, _ in self.branches for test in branch)
                        here.conditions[len(here.lines) - 1] = condition
                continue
            word, rest = _dot_word(line[2])
            if skipping:
                if skipping == "control":
                    skipping = "" if word == "endc" else skipping
                elif word == "endl":
                    skipping = "section" if section is not None else ""
                elif word == "lib" and section is not None and rest.lower() == section:
                    skipping = ""
            elif word == "control":
                self._warn("control-section", "a control section is no netlist; skipped", line)
                skipping = "control"
            elif word == "end":
                if left := len(lines) - index - 1:
                    message = f"{left} {'line' if left == 1 else 'lines'} after '.end' not read"
                    self._warn("after-end", message, lines[index + 1])
                break
            elif word == "endl":
                skipping = "section" if section is not None else ""
            elif word == "lib" and has_sections and len(rest.split()) == 1:
                if section is None or rest.lower() != section:
                    skipping = "section"
            elif word in ("include", "inc", "incl", "lib"):
                self._include(line, rest, folder, chain, is_library=word == "lib")
            elif word not in ignored:
                self._statement(word, rest, line)

    def _statement(self, word: str, rest: str, line: Line) -> None:
        moved = (line[0], line[1], rest)
        if word in ("subckt", "subcircuit", "macro"):
            self._open_subcircuit(rest, line)
        elif word in ("ends", "eom"):
            around, name = self.scope.around, rest.split(None, 1)[0] if rest else ""
            if around is None:
                raise self.deck.bad_line(line, "'.ends' without its '.subckt'")
            if name and name.lower() != self.scope.name.lower():
                message = (
                    f"'.ends {name}' closes '.subckt {self.scope.name}' of line {self.scope.number}"
                )
                self._warn("ends-name", message, line)
            self.scope = around
            self.depth -= 1
        elif word == "model":
            name = re.split(r"[\s(]", rest, maxsplit=1)[0].lower()
            if name:
                self.scope.models.setdefault(name, moved)
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
        # only the parameters need the grammar: node names may hold what it has no word for
        found = re.search(r"(?i)\s(?:(?:params|optional):|\S+\s*=)", rest)
        words, settings = rest[: found.start() if found else None].split(), []
        if found is not None:
            parsed = parse_statement("X " + rest[found.start() :], "header")
            if parsed is None:
                self._warn("parameters", "parameters of this '.subckt' not understood", line)
            else:
                words, settings = words + parsed[0][1:], parsed[1]
        if not words:
            raise self.deck.bad_line(line, "'.subckt' alone", expected="'.subckt NAME NODE...'")
        scope = Scope(
            words[0], tuple(words[1:]), tuple(settings), line[0], line[1], around=self.scope
        )
        known = self.scope.scopes.setdefault(words[0].lower(), scope)
        if known is not scope:
            self._warn(
                "subcircuit-twice",
                f"{words[0]} is defined again (first in line {known.number}); the first counts",
                line,
            )
        self.scope = scope

    def _branch(self, word: str, rest: str, line: Line) -> None:
        if word == "if":
            if len(self.branches) >= MOST_INCLUDE_DEPTH:
                what = f"more than {MOST_INCLUDE_DEPTH} '.if' within one another"
                raise self.deck.bad_line(line, what)
            self.branches.append(([(rest, True)], line))
        elif not self.branches:
            raise self.deck.bad_line(line, f"'.{word}' without its '.if'")
        elif word == "endif":
            self.branches.pop()
        else:
            branch, _ = self.branches[-1]
            branch[-1] = (branch[-1][0], False)
            if word == "elseif":
                branch.append((rest, True))

    def _include(
        self, line: Line, rest: str, folder: Path | None, chain: tuple[Path, ...], *,
        is_library: bool,
    ) -> None:  # fmt: skip
        named = _FILE.match(rest)
        if named is None:
            self._warn("include-missing", "an include without a file name; skipped", line)
            return
        name = next((group for group in named.groups()[:3] if group is not None), "")
        tail = named[4].strip()
        if named[3] is not None and tail and not is_library:
            name, tail = rest.strip(), ""  # a name with blanks, not quoted
        try:
            path = self._inside(name, folder)
            if path in chain:
                raise _NotIncluded("cycle", f"{name} includes itself; not read again")
            if len(chain) > MOST_INCLUDE_DEPTH or len(self.deck.texts) > MOST_FILES:
                raise self.deck.bad_line(
                    line,
                    f"more than {MOST_FILES} included files or {MOST_INCLUDE_DEPTH} levels",
                    hint="A netlist of one board needs fewer; is a library including itself?",
                )
            self.included_bytes += path.stat().st_size
            if self.included_bytes > MOST_INCLUDED_BYTES:
                raise self.deck.bad_line(
                    line, f"included files of {self.included_bytes / 1e6:.0f} MB"
                )
            text = _with_plain_ends(decode_text(path.read_bytes(), name))
        except _NotIncluded as error:
            self._warn(f"include-{error.why}", error.message, line)
            return
        except OSError as error:
            self._warn(
                "include-missing", f"{name} cannot be opened ({reason(error)}); skipped", line
            )
            return
        except BadInput as error:
            if error.place is not None and error.place.line:
                raise
            self._warn("include-unreadable", f"{name} is {error.found}; skipped", line)
            return
        # shown as the user named the deck: beside its path
        beside = Path(self.document.path).parent
        self.deck.files.append(str(beside / path.relative_to(self.root_folder or path.parent)))
        self.deck.texts.append(text)
        section = tail.split()[0].lower() if is_library and tail else None
        self._read(len(self.deck.texts) - 1, path.parent, (*chain, path), section)

    def _inside(self, name: str, folder: Path | None) -> Path:
        """Return the file if it lies in the deck's folder and exists."""
        root = self.root_folder
        if root is None or folder is None:
            raise _NotIncluded("missing", f"{name}: this text has no folder; skipped")
        try:
            tried = [(base / name.replace("\\", "/")).resolve() for base in (folder, root)]
            inside = [path for path in tried if path.is_relative_to(root)]
            if not inside:
                raise _NotIncluded("outside", f"{name} is outside the netlist's folder; skipped")
            for path in inside:
                if path.is_file():
                    return path
            is_folder = any(path.is_dir() for path in inside)
        except (OSError, ValueError, RuntimeError):  # a NUL, a name too long, a link to itself
            raise _NotIncluded("missing", f"{name!r} is no file name; skipped") from None
        what = "is a folder" if is_folder else "is not there"
        raise _NotIncluded("missing", f"{name} {what}; skipped")


class _NotIncluded(Exception):
    """A file that is left out: the end of the warning's code, and what it says."""

    def __init__(self, why: str, message: str) -> None:
        self.why, self.message = why, message


def _dot_word(statement: str) -> tuple[str, str]:
    """Split '.subckt X a b' into ('subckt', 'X a b'), and .if(a>1), .include"x" likewise."""
    found = re.match(r"\.([^\s(=\"']*)(.*)", statement, re.DOTALL)
    return (found[1].lower(), found[2].strip()) if found else ("", "")


def pulled_in(decks: Sequence[Path]) -> frozenset[Path]:
    """Return those decks that others of them include, straight or through further files.

    Of decks that include each other, the first stays. A file that cannot be read includes none.
    """
    resolved = {path.resolve(): path for path in decks}
    reached = {path: _reached(path) - {path} for path in resolved}
    included = frozenset[Path]().union(*reached.values())
    kept = [path for path in resolved if path not in included]
    covered = frozenset[Path]().union(*(reached[path] for path in kept))
    for path in resolved:
        if path not in covered and path not in kept:  # they include each other
            kept.append(path)
            covered |= reached[path]
    return frozenset(path for there, path in resolved.items() if there not in kept)


def _reached(start: Path) -> frozenset[Path]:
    """Return the files that a deck includes, straight or through others."""
    found = {start}
    left = [start]
    for path in left:
        try:
            text = decode_text(path.read_bytes(), str(path))
        except (OSError, BadInput):
            continue
        for match in _INCLUDE.finditer(text):
            said = next(group for group in match.groups() if group is not None).strip()
            # a name in quotes, else the line up to a remark; it may hold blanks
            for name in (said, *said.split()[:1]):
                try:
                    there = (path.parent / name.replace("\\", "/")).resolve()
                    is_file = there.is_file()
                except (OSError, ValueError, RuntimeError):  # no file name at all
                    continue
                if is_file:
                    if there not in found:
                        left.append(there)
                    found.add(there)
                    break
    return frozenset(found)
