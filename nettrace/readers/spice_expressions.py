"""Numbers and expressions as SPICE reads them: of values, `.param` lines, braces and quotes.

The letters after the digits are a scale, whatever the trade means: `1M` is a thousandth here and a
million on a drawing, so the reader states the number beside the text. Where the text is the trade's
own shape (2k2, 4R7) SPICE would drop the last digit, which no drawer means: such a text has no
SPICE number and is left to the trade's reading.

An expression is compiled by the grammar to a flat program for a stack, so nothing here recurses
over the text, and every evaluation has a budget. What cannot be known before a simulation (time,
voltages, undefined names) makes the whole expression unknown: None.
"""

from __future__ import annotations

import math
import operator
import re
from collections.abc import Callable, Mapping
from functools import lru_cache
from itertools import chain
from typing import Any, NamedTuple

#: The statements that the grammar knows, and how long they may be: longer ones are left unknown;
#: netlists of real tools stay below a line of some hundreds.
MOST_CHARACTERS = {"expression": 4000, "parameters": 4000, "header": 1 << 20, "model": 1 << 16}
#: Steps of one environment's evaluations; beyond, values are unknown (functions of functions).
MOST_STEPS = 200_000
#: How deep parameters and functions may rest on one another.
MOST_DEPTH = 40
#: Powers of ten of the suffixes. Source: ngspice user manual, table 2.1 (`mil` is a thousandth of
#: an inch in metres). `a` (1e-18) is left out: only some dialects know it, elsewhere it is amperes.
#: The micro sign and the Greek mu both stand for u.
EXPONENTS = {
    "t": 12, "g": 9, "meg": 6, "k": 3, "m": -3, "u": -6, "µ": -6, "μ": -6, "n": -9, "p": -12,
    "f": -15,
}  # fmt: skip
MIL_METRES = 25.4e-6
MOST_EXPONENT = 270  # beyond, with a suffix, a float runs over
_NUMBER = re.compile(
    r"([+-]?(?:[0-9]{1,300}\.?[0-9]*|\.[0-9]+))(e[+-]?[0-9]{1,4})?"
    r"(?:(meg|mil|[tgkmunpfµμ])[a-zµμΩ%]*|([a-zµμΩ%]*))",
    re.IGNORECASE,
)

Program = tuple[tuple[str, Any], ...]


class Parameter(NamedTuple):
    """`.param name=...` or, with arguments, a function."""

    name: str
    arguments: tuple[str, ...]
    program: Program


def is_numeric(word: str) -> bool:
    """Return whether the word begins like a number (2k2 and 10uF/16V do, RMOD does not)."""
    return _NUMBER.match(word) is not None


@lru_cache(maxsize=4096)
def spice_number(text: str) -> float | None:
    """Return the number a SPICE simulator takes the text for; None if it is no number to SPICE.

    What follows the unit after a separator (`100uF;16V`, `10K,1%`) is no part of the number.

    >>> spice_number("1M"), spice_number("2.2Meg"), spice_number("10uF"), spice_number("2k2")
    (0.001, 2200000.0, 1e-05, None)
    """
    match = _NUMBER.match(text)
    if match is None:
        return None
    digits, exponent, suffix, bare_unit = match.groups()
    rest = text[match.end() : match.end() + 1]
    if rest and (rest.isalnum() or rest in "._+-*^<>=!&|?:("):
        return None  # 2k2, 0603X, 3.3.0, 1+2: a text that only begins like a number
    if bare_unit in ("a", "A"):
        return None  # 5A: amperes in most dialects, 5e-18 in some
    power = int(exponent[1:]) if exponent else 0
    if abs(power) > MOST_EXPONENT:
        return None
    if suffix is None or suffix.lower() == "mil":
        number = float(f"{digits}e{power}") * (MIL_METRES if suffix else 1.0)
    else:
        # scaled as text: 4.7u is 4.7e-06, not 4.699999999999999e-06
        number = float(f"{digits}e{power + EXPONENTS[suffix.lower()]}")
    return number if math.isfinite(number) else None


class _Compiler:
    """Shapes of the grammar -> programs; stateless, so one parser serves every file."""

    def number(self, items: list[str]) -> Program:
        return (("push", spice_number(str(items[0]))),)

    def name(self, items: list[str]) -> Program:
        return (("load", str(items[0]).lower()),)

    def call(self, items: list[Any]) -> Program:
        return _call(items[0].lower(), *[item for item in items[1:] if item is not None])

    def binary(self, items: list[Any]) -> Program:
        return _call(str(items[1]), items[0], items[2])

    def unary(self, items: list[Any]) -> Program:
        return _call(f"{items[0]}x", items[1])

    def both(self, items: list[Program]) -> Program:
        return _call("&&", *items)

    def either(self, items: list[Program]) -> Program:
        return _call("||", *items)

    def ternary(self, items: list[Program]) -> Program:
        return _call("?:", *items)

    def parameter(self, items: list[Any]) -> Parameter:
        arguments = tuple(str(item).lower() for item in items[1:-1] if item is not None)
        value = items[-1]
        if isinstance(value, str):  # a text in double quotes: no number
            value = (("push", None),)
        return Parameter(str(items[0]).lower(), arguments, value)

    def parameters(self, items: list[Parameter]) -> tuple[Parameter, ...]:
        return tuple(items)

    def setting(self, items: list[str]) -> tuple[str, str]:
        return str(items[0]), str(items[1])

    def flag(self, items: list[str]) -> tuple[str, str]:
        return str(items[0]), ""

    def header(self, items: list[Any]) -> tuple[list[str], list[tuple[str, str]]]:
        words = [str(item) for item in items if isinstance(item, str)]
        return words, [item for item in items if isinstance(item, tuple)]

    def model(self, items: list[Any]) -> list[tuple[str, str]]:
        return [item for item in items[3:] if item is not None]


_COMPILER = _Compiler()


def _call(name: str, *arguments: Program) -> Program:
    return (*chain.from_iterable(arguments), ("call", (name, len(arguments))))


@lru_cache(maxsize=4096)
def parse_statement(text: str, start: str) -> Any:
    """Parse a text by one of the grammar's starts; None where it does not fit, or is too long.

    `expression` (braces and quotes allowed) gives a Program, `parameters` (of `.param`, `.func`) a
    tuple of Parameter, `header` (words, settings), `model` its settings; a setting is (name, text).
    """
    if len(text) > MOST_CHARACTERS[start]:
        return None
    from lark.exceptions import LarkError  # plain decks need no lark

    from nettrace.readers.grammar import load_grammar

    parser = load_grammar("spice", start=tuple(MOST_CHARACTERS), transformer=_COMPILER)
    try:
        return parser.parse(text, start=start)
    except LarkError:
        return None


#: Functions of one or more numbers. Source: ngspice user manual, section 2.9.4.
FUNCTIONS: Mapping[str, Callable[..., Any]] = {
    **{name: getattr(math, name) for name in (
        "sqrt", "exp", "log", "log10", "sin", "cos", "tan", "asin", "acos", "atan", "sinh", "cosh",
        "tanh", "asinh", "acosh", "atanh", "floor", "ceil",
    )},
    "abs": abs, "min": min, "max": max, "pow": operator.pow, "ln": math.log,
    "arcsin": math.asin, "arccos": math.acos, "arctan": math.atan, "int": math.trunc, "nint": round,
    "sgn": lambda x: math.copysign(1.0, x) if x else 0.0,
    "pwr": lambda x, y: abs(x) ** y,
    # statistical functions stand at their nominal value
    **dict.fromkeys(("gauss", "agauss", "unif", "aunif"), lambda nominal, *_: nominal),
    # signs; those before one number have an x
    "+": operator.add, "-": operator.sub, "*": operator.mul, "/": operator.truediv,
    "%": math.fmod, "\\": lambda x, y: int(x / y), "**": operator.pow, "^": operator.pow,
    "==": operator.eq, "!=": operator.ne, "<>": operator.ne, "<": operator.lt, ">": operator.gt,
    "<=": operator.le, ">=": operator.ge,
    "&&": lambda x, y: bool(x and y), "||": lambda x, y: bool(x or y),
    "+x": operator.pos, "-x": operator.neg, "!x": operator.not_,
}  # fmt: skip
_CONSTANTS = {"pi": math.pi, "e": math.e, "true": 1.0, "false": 0.0}


class Environment:
    """The parameters and functions in force in one scope, over those of the scope around it."""

    def __init__(
        self,
        parameters: Mapping[str, Program] = {},
        functions: Mapping[str, Parameter] = {},
        around: Environment | None = None,
        values: Mapping[str, float | None] | None = None,
    ) -> None:
        self._programs = parameters
        self._functions = functions
        self._around = around
        self._values: dict[str, float | None] = dict(values or {})
        self._steps: list[int] = around._steps if around is not None else [0]

    def value_of(self, text: str) -> float | None:
        """Return the number of a value text: plain, in braces, in quotes, or a parameter's name."""
        plain = spice_number(text)
        if plain is not None:
            return plain
        program = parse_statement(text, "expression")
        return None if program is None else self.run(program)

    def lookup(self, name: str, depth: int = 0) -> float | None:
        """Return the parameter's number; None if undefined, circular or unknown."""
        if name in self._values:
            return self._values[name]
        program = self._programs.get(name)
        if program is None:
            if self._around is not None:
                return self._around.lookup(name, depth)
            return _CONSTANTS.get(name)
        self._values[name] = None  # while it is worked out: a circle has no value
        value = self._values[name] = self.run(program, depth + 1)
        return value

    def run(self, program: Program, depth: int = 0) -> float | None:
        """Return what the program computes; None where any part of it is unknown."""
        self._steps[0] += len(program)
        if depth > MOST_DEPTH or self._steps[0] > MOST_STEPS:
            return None
        stack: list[float | None] = []
        for operation, operand in program:
            if operation == "push":
                stack.append(operand)
            elif operation == "load":
                stack.append(self.lookup(operand, depth))
            else:
                name, count = operand
                arguments = stack[len(stack) - count :]
                del stack[len(stack) - count :]
                stack.append(self._called(name, arguments, depth))
        return stack[-1]

    def _called(self, name: str, arguments: list[float | None], depth: int) -> float | None:
        home: Environment | None = self
        while home is not None:
            function = home._functions.get(name)
            if function is not None:
                if len(function.arguments) != len(arguments):
                    return None
                values = dict(zip(function.arguments, arguments, strict=True))
                return Environment(around=home, values=values).run(function.program, depth + 1)
            home = home._around
        if name in ("?:", "if", "ternary_fcn") and len(arguments) == 3:
            condition, then, otherwise = arguments
            return None if condition is None else then if condition else otherwise
        known = FUNCTIONS.get(name)
        if known is None or None in arguments:
            return None
        try:
            value = known(*arguments)
            # a complex root has no order; a whole number may be too large
            return float(value) if math.isfinite(value) else None
        except (ArithmeticError, ValueError, TypeError):
            return None  # a root of a negative, 1/0, the wrong number of arguments
