"""A grammar whose terminals are whole forms: the lexer for it, and single forms taken from a run.

lark costs some microseconds a token, whatever the lexer; so a token here is a whole form, or a run
of like forms, and the grammar file spells out its inside. The terminals are read as lark gives
them, with two additions:

- every repetition is possessive: a form that does not fit fails at once instead of being tried in
  all ways, and a run of 100,000 forms needs no memory;
- a mark such as `(?P<x>)` names the group behind it, so the same terminal that checks the shape
  also hands out its parts.

What does not fit is a Mismatch and nothing else: the whole-tree reader then reads the text, or says
what is wrong with it.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator, Mapping
from functools import cache
from threading import Lock
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from lark.lexer import Lexer

from nettrace.readers.grammar import load_grammar
from nettrace.readers.sexpr_read import Mismatch
from nettrace.readers.sexpr_text import unquote

if TYPE_CHECKING:
    from lark.common import LexerConf
    from lark.lexer import LexerState
    from lark.parsers.lalr_parser_state import ParserState

__all__ = [
    "FormGrammar",
    "FormToken",
    "MadeOnce",
    "Mismatch",
    "ReadForm",
    "each_form",
    "possessive",
]

ReadForm = Callable[[int, int], int]
Made = TypeVar("Made")

_MARK = re.compile(r"\(\?P<\w+>\)")
_REGEX_TOKEN = re.compile(
    r"""\(\?\#[^)]*+\)
      | (?P<open> \((?:\?(?:P<\w+>|<?[=!]|i?:))?+ )
      | (?P<close> \) )
      | (?P<quantifier> [*+?] | \{[0-9]+(?:,[0-9]*)?\} )
      | \\. | \[ \^? \]? (?:\\.|[^\]\\])*+ \] | .""",
    re.VERBOSE | re.DOTALL,
)


_REST = re.compile(r"\(\?#rest of a form, ([0-9]) deep\)")

_BLANKS = r"[ \t\r\n]*+"
_STRING = r'"[^"\\]*+(?:\\[\s\S][^"\\]*+)*+"'
#: Words and strings, each apart from its neighbours.
_FLAT = rf'[^()"]*+(?:(?<=[ \t\r\n()]){_STRING}(?=[ \t\r\n()])[^()"]*+)*+'
#: Forms in a row that hold no others, and at most one string, at their end: the bulk of a file.
_LEAVES = rf'(?:{_BLANKS}\([^()"]*+(?:(?<=[ \t\r\n])"[^"\\]*+"(?=\)))?+\))*+'
#: Words follow, apart from what was before.
_GAP = r"(?<=[ \t\r\n])(?=[^()])"
_CLOSE = r"\)(?=[ \t\r\n()]|\Z)"


@cache
def rest_of_form(depth: int) -> str:
    """Return the pattern of what may follow a form's head: balanced, up to `depth` deep."""
    inner = rf"\({rest_of_form(depth - 1)}" if depth else "(?!)"
    items = rf"{_FLAT}{_LEAVES}{_BLANKS}"
    return rf"{items}(?:(?:{inner}|{_GAP}){items})*+{_CLOSE}" if depth else rf"{_FLAT}{_CLOSE}"


def possessive(pattern: str) -> str:
    r"""Return the pattern with every repetition made possessive.

    One whose inside is captured stays as it is: Python 3.11 may give the wrong span there
    (python/cpython#101955).

    >>> possessive(r"a*[+*]+(?:b\*)?(?:(?P<c>c){1,7}d)+")
    'a*+[+*]++(?:b\\*)?+(?:(?P<c>c){1,7}d)+'
    """
    done: list[str] = []
    captured = [False]  # for each open group: whether it holds a capture
    atom_captures = False
    for token in _REGEX_TOKEN.finditer(pattern):
        done.append(token[0])
        if token["open"]:
            captured.append(token[0].startswith("(?P"))
        elif token["close"]:
            atom_captures = captured.pop()
            captured[-1] = captured[-1] or atom_captures
        elif token["quantifier"]:
            if not atom_captures:
                done.append("+")
        else:
            atom_captures = False
    return "".join(done)


def _with_groups(pattern: str) -> str:
    """Return the pattern with each mark as a group: around what is behind it, or of the spot.

    What is behind a mark is a group in parentheses, with its repetition.
    """
    tokens = list(_REGEX_TOKEN.finditer(pattern))
    done: list[str] = []
    closes: list[int] = []  # where the named groups end
    for index, token in enumerate(tokens):
        mark = _MARK.fullmatch(token[0] + (tokens[index + 1][0] if token["open"] else ""))
        if mark is None:
            done.append(token[0])
        elif index + 2 < len(tokens) and tokens[index + 2][0] == "(?:":
            done.append(token[0])
            closes.append(_end_of_group(tokens, index + 2))
        else:
            done.append(token[0])
            closes.append(index + 1)
        # the mark's own closing parenthesis moves behind the group
        if index > 0 and _MARK.fullmatch(tokens[index - 1][0] + token[0]):
            done.pop()
        done += [")"] * closes.count(index)
    return "".join(done)


def _end_of_group(tokens: list[re.Match[str]], index: int) -> int:
    depth = 0
    while True:
        depth += 1 if tokens[index]["open"] else -1 if tokens[index]["close"] else 0
        if depth == 0:
            break
        index += 1
    repeated = index + 1 < len(tokens) and tokens[index + 1]["quantifier"]
    return index + 1 if repeated else index


def _finished(pattern: str) -> str:
    return _REST.sub(lambda match: rest_of_form(int(match[1])), possessive(pattern))


def _without_marks(pattern: str) -> str:
    return _MARK.sub("", pattern)


def each_form(
    pattern: re.Pattern[str], text: str, start: int, end: int = sys.maxsize
) -> Iterator[re.Match[str]]:
    """Yield the forms that stand in a row from `start` on, until one does not fit."""
    scanner: Any = pattern.scanner(text, start, end)  # type: ignore[attr-defined] # not in stubs
    return iter(scanner.match, None)


class MadeOnce(Generic[Made]):
    """One object for the whole process, made when first asked for: a grammar takes its time."""

    def __init__(self, make: Callable[[], Made]) -> None:
        self._make = make
        self._made: list[Made] = []
        self._lock = Lock()

    def __call__(self) -> Made:
        """Return it."""
        with self._lock:
            if not self._made:
                self._made.append(self._make())
            return self._made[0]


class Texts(dict[str, str]):
    """Word or string as written -> what it says; equal texts become one string."""

    def __missing__(self, raw: str) -> str:
        text = raw
        if raw[0] == '"':
            text = unquote(raw[1:-1]) if "\\" in raw else raw[1:-1]
        self[raw] = text
        return text


class FormToken:
    """A token: its terminal and its span in the text (lark reads the other attributes)."""

    __slots__ = ("end", "start", "type")

    value = ""
    start_pos = line = column = end_line = end_column = end_pos = None

    def __init__(self, name: str, start: int, end: int) -> None:
        self.type = name
        self.start = start
        self.end = end


class _FormLexer(Lexer):
    """Matches, at each step, only the terminals that the parser can take."""

    __future_interface__ = 1  # lark hands the parser's state to `lex`

    def __init__(self, lexer_conf: LexerConf) -> None:
        self._patterns = {
            terminal.name: terminal.pattern.to_regexp() for terminal in lexer_conf.terminals
        }
        ignored = "|".join(self._patterns[name] for name in lexer_conf.ignore)
        self._lead = f"(?:{_finished(ignored)})*+" if ignored else ""
        self.readers: Mapping[str, ReadForm] = {}
        self._matchers: dict[frozenset[str], Callable[..., re.Match[str] | None]] = {}

    def pattern(self, name: str) -> re.Pattern[str]:
        """Return the terminal with its marks as groups; blanks behind it belong to it."""
        return re.compile(_finished(_with_groups(self._patterns[name])) + self._lead)

    def _matcher(self, names: frozenset[str]) -> Callable[..., re.Match[str] | None]:
        matcher = self._matchers.get(names)
        if matcher is None:
            choices = [
                f"(?P<{name}>{_finished(_without_marks(self._patterns[name]))})"
                for name in sorted(names)
                if name in self._patterns
            ]
            if "$END" in names:
                choices.append(r"(?P<END_OF_TEXT>\Z)")
            matcher = re.compile(self._lead + f"(?:{'|'.join(choices)})").match
            self._matchers[names] = matcher
        return matcher

    def lex(self, lexer_state: LexerState, parser_state: ParserState[Any]) -> Iterator[Any]:
        text = lexer_state.text
        if not isinstance(text, str):  # newer lark wraps it
            text = text.text
        states = parser_state.parse_conf.states
        matchers: dict[Any, Callable[..., re.Match[str] | None]] = {}
        at = 0
        while True:
            position = parser_state.position
            matcher = matchers.get(position)
            if matcher is None:
                matcher = matchers[position] = self._matcher(
                    frozenset(name for name in states[position] if name.isupper() or name == "$END")
                )
            match = matcher(text, at)
            if match is None:
                raise Mismatch
            name = match.lastgroup or ""
            if name == "END_OF_TEXT":
                return
            start, at = match.span(name)
            read = self.readers.get(name)
            if read is not None:
                at = read(start, at)
                if at == start:
                    raise Mismatch
            yield FormToken(name, start, at)


class FormGrammar:
    """A grammar of whole forms and what reads it.

    Args:
        name: `grammars/NAME.lark`; its rules `file` and `pieces` are the entries.
        readers: terminal -> what reads it, given where it begins and ends; it returns where the
            next token begins (farther on, where the terminal only said what begins there). They
            are called in the order of the file.
    """

    def __init__(self, name: str, readers: Mapping[str, ReadForm]) -> None:
        self._parser = load_grammar(name, lexer=_FormLexer, start=("file", "pieces"))
        frontend: Any = self._parser.parser
        self._lexer: _FormLexer = getattr(frontend.lexer, "lexer", frontend.lexer)
        self._lexer.readers = readers

    def pattern(self, terminal: str, marks: tuple[str, ...] | None = None) -> re.Pattern[str]:
        """Return the pattern of a form; its groups are named by the grammar's marks.

        Raises:
            ValueError: `marks` are given, and the form's are others or in another order.
        """
        pattern = self._lexer.pattern(terminal)
        if marks is not None and tuple(pattern.groupindex) != marks:
            raise ValueError(f"{terminal} has the marks {tuple(pattern.groupindex)}, not {marks}")
        return pattern

    def parse(self, text: str) -> None:
        """Read a text.

        Raises:
            Mismatch: the text is not written as the grammar says.
        """
        from lark.exceptions import LarkError

        try:
            self._parser.parse(text, start="file")
        except LarkError:
            raise Mismatch from None
