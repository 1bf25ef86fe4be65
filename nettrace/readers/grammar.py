"""Finds the grammar files, builds each parser once per process, turns lark's errors into ours.

The grammars stand in `grammars/` of a checkout and in `nettrace/_grammars` of an installed wheel.
This is the one module, beside the transformers, that knows lark.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from nettrace.errors import BadInput, Place, excerpt

if TYPE_CHECKING:
    from lark import Lark
    from lark.exceptions import UnexpectedInput

__all__ = ["bad_input", "grammar_folder", "grammar_text", "load_grammar"]

_CHECKOUT = Path(__file__).resolve().parents[2] / "grammars"
_parsers: dict[tuple[str, tuple[tuple[str, object], ...]], Lark] = {}


@cache
def grammar_folder() -> Path:
    """Return the folder of grammars, of the checkout or of the installed package."""
    if (_CHECKOUT / "sexpr.lark").is_file():
        return _CHECKOUT
    return Path(str(files("nettrace").joinpath("_grammars")))


def grammar_text(name: str) -> str:
    """Return the text of `grammars/NAME.lark`."""
    return (grammar_folder() / f"{name}.lark").read_text(encoding="utf-8")


def load_grammar(name: str, **options: Any) -> Lark:
    """Return the parser of `grammars/NAME.lark`, built when first asked for with these options.

    LALR unless `parser` says otherwise; `start` may be a tuple of rules. A parser with a
    transformer must have one without state, or one file at a time: the parser outlives the file.
    Grammars may `%import NAME (TERMINAL, ...)` from one another.
    """
    from lark import Lark

    options.setdefault("parser", "lalr")
    key = (name, tuple(sorted(options.items())))
    parser = _parsers.get(key)
    if parser is None:
        if isinstance(options.get("start"), tuple):
            options["start"] = list(options["start"])  # lark takes a list, a key cannot be one
        folders = [str(grammar_folder())]
        parser = _parsers[key] = Lark(grammar_text(name), import_paths=folders, **options)
    return parser


def bad_input(
    error: UnexpectedInput, path: str, text: str, *, expected: str = "", hint: str = ""
) -> BadInput:
    """Return our error for lark's: the place, what stands there, what was expected.

    Args:
        error: as lark raised it.
        path: the file, as the user named it.
        text: what was parsed.
        expected: what should stand there, in the user's words (lark's terminal names are ours).
        hint: what to do next.
    """
    from lark.exceptions import UnexpectedCharacters, UnexpectedToken

    at_end = isinstance(error, UnexpectedToken) and error.token.type == "$END"
    known = getattr(error, "pos_in_stream", None)
    offset = len(text.rstrip()) if at_end or known is None else min(known, len(text))
    found, length = "the end of the file", 1
    if isinstance(error, UnexpectedToken) and not at_end:
        found, length = repr(str(error.token)), len(str(error.token))
    elif isinstance(error, UnexpectedCharacters) and offset < len(text):
        words = text[offset : offset + 40].split(maxsplit=1)
        word = words[0] if words and text[offset] not in " \t\r\n" else text[offset]
        found, length = repr(word), len(word)
    line = text.count("\n", 0, offset) + 1
    column = offset - text.rfind("\n", 0, offset)
    return BadInput(
        found,
        expected=expected,
        hint=hint,
        place=Place(path, line, column),
        excerpt=excerpt(text, line, column, length),
    )
