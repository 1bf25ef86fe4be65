"""Finds the grammar files and builds each parser once per process.

The grammars stand in `grammars/` of a checkout and in `nettrace/_grammars` of an installed wheel.
This is the one module, beside the transformers, that knows lark.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from lark import Lark

_CHECKOUT = Path(__file__).resolve().parents[2] / "grammars"


@cache
def load_grammar(name: str, **options: Any) -> Lark:
    """Return the parser of `grammars/NAME.lark`, built when first asked for with these options.

    LALR unless `parser` says otherwise; `start` may be a tuple of rules. A parser with a
    transformer must have one without state, or one file at a time: the parser outlives the file.
    Grammars may `%import NAME (TERMINAL, ...)` from one another.
    """
    from lark import Lark

    folder = _CHECKOUT
    if not (folder / f"{name}.lark").is_file():
        folder = Path(str(files("nettrace").joinpath("_grammars")))
    options.setdefault("parser", "lalr")
    if isinstance(options.get("start"), tuple):
        options["start"] = list(options["start"])  # lark takes a list, a cache cannot
    text = (folder / f"{name}.lark").read_text(encoding="utf-8")
    return Lark(text, import_paths=[str(folder)], **options)
