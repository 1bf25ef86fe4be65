"""The grammar's shapes of a SPICE statement -> programs and records; lark is met here alone."""

from __future__ import annotations

from typing import Any

from lark import Token, Transformer
from lark.exceptions import LarkError

from nettrace.readers.grammar import load_grammar
from nettrace.readers.spice_expressions import Parameter, Program, spice_number

STARTS = ("expression", "parameters", "header", "model")


class _Compiler(Transformer[Token, Any]):
    """Shapes of the grammar -> programs; stateless, so one parser serves every file."""

    def number(self, items: list[Token]) -> Program:
        return (("push", spice_number(str(items[0]))),)

    def name(self, items: list[Token]) -> Program:
        return (("load", str(items[0]).lower()),)

    def call(self, items: list[Any]) -> Program:
        arguments = [item for item in items[1:] if item is not None]
        steps = [step for argument in arguments for step in argument]
        return (*steps, ("call", (str(items[0]).lower(), len(arguments))))

    def binary(self, items: list[Any]) -> Program:
        return (*items[0], *items[2], ("binary", str(items[1])))

    def unary(self, items: list[Any]) -> Program:
        return (*items[1], ("unary", str(items[0])))

    def both(self, items: list[Any]) -> Program:
        return (*items[0], *items[1], ("binary", "&&"))

    def either(self, items: list[Any]) -> Program:
        return (*items[0], *items[1], ("binary", "||"))

    def ternary(self, items: list[Any]) -> Program:
        return (*items[0], *items[1], *items[2], ("choose", None))

    def parameter(self, items: list[Any]) -> Parameter:
        arguments = tuple(str(item).lower() for item in items[1:-1] if item is not None)
        value = items[-1]
        if isinstance(value, Token):  # a text in double quotes: no number
            value = (("push", None),)
        return Parameter(str(items[0]).lower(), arguments, value)

    def parameters(self, items: list[Parameter]) -> tuple[Parameter, ...]:
        return tuple(items)

    def setting(self, items: list[Token]) -> tuple[str, str]:
        return str(items[0]), str(items[1])

    def flag(self, items: list[Token]) -> tuple[str, str]:
        return str(items[0]), ""

    def header(self, items: list[Any]) -> tuple[list[str], list[tuple[str, str]]]:
        words = [str(item) for item in items if not isinstance(item, tuple)]
        return words, [item for item in items if isinstance(item, tuple)]

    def model(self, items: list[Any]) -> list[tuple[str, str]]:
        return [item for item in items[3:] if item is not None]


_COMPILER = _Compiler()


def parse_statement(text: str, start: str) -> Any:
    """Parse a text by one of the grammar's starts; None where it does not fit.

    `expression` gives a Program, `parameters` a tuple of Parameter, `header` (words, settings),
    `model` its settings; a setting is (name, text).
    """
    parser = load_grammar("spice", start=STARTS, transformer=_COMPILER)
    try:
        return parser.parse(text, start=start)
    except LarkError:
        return None
