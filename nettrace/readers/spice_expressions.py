"""Arithmetic of `.param` lines and of values in braces or quotes.

An expression is compiled by the grammar to a flat program for a stack, so nothing here recurses
over the text, and every evaluation has a budget. What cannot be known before a simulation (time,
voltages, undefined names) makes the whole expression unknown: None.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any, NamedTuple

from nettrace.readers.spice_numbers import spice_number

__all__ = [
    "Environment",
    "Function",
    "Parameter",
    "Program",
    "parse_expression",
    "parse_parameters",
]

#: Longer expressions are left unknown; netlists of real tools stay below a line of some hundreds.
MOST_CHARACTERS = 4000
#: Steps of one environment's evaluations; beyond, values are unknown (functions of functions).
MOST_STEPS = 200_000
#: How deep parameters and functions may rest on one another.
MOST_DEPTH = 40

Program = tuple[tuple[str, Any], ...]


class Parameter(NamedTuple):
    """`.param name=...` or, with arguments, a function."""

    name: str
    arguments: tuple[str, ...]
    program: Program


class Function(NamedTuple):
    """A function of `.func` or `.param f(x)=...`: argument names and what to compute."""

    arguments: tuple[str, ...]
    program: Program


@lru_cache(maxsize=4096)
def parse_expression(text: str) -> Program | None:
    """Compile an expression, braces and quotes allowed; None where it is none."""
    if len(text) > MOST_CHARACTERS:
        return None
    from nettrace.readers.spice_grammar import parse_statement  # plain decks need no lark

    program: Program | None = parse_statement(text, "expression")
    return program


def parse_parameters(text: str) -> tuple[Parameter, ...] | None:
    """Parse what follows `.param` or `.func`; None where it does not fit."""
    if len(text) > MOST_CHARACTERS:
        return None
    from nettrace.readers.spice_grammar import parse_statement

    found: tuple[Parameter, ...] | None = parse_statement(text, "parameters")
    return found


def _sgn(x: float) -> float:
    return math.copysign(1.0, x) if x else 0.0


#: Functions of one or more numbers. Source: ngspice user manual, section 2.9.4.
FUNCTIONS: Mapping[str, Callable[..., float]] = {
    "abs": abs,
    "sqrt": math.sqrt,
    "exp": math.exp,
    "ln": math.log,
    "log": math.log,
    "log10": math.log10,
    "sin": math.sin,
    "cos": math.cos,
    "tan": math.tan,
    "asin": math.asin,
    "acos": math.acos,
    "atan": math.atan,
    "arcsin": math.asin,
    "arccos": math.acos,
    "arctan": math.atan,
    "sinh": math.sinh,
    "cosh": math.cosh,
    "tanh": math.tanh,
    "asinh": math.asinh,
    "acosh": math.acosh,
    "atanh": math.atanh,
    "int": lambda x: float(math.trunc(x)),
    "floor": lambda x: float(math.floor(x)),
    "ceil": lambda x: float(math.ceil(x)),
    "nint": lambda x: float(round(x)),
    "sgn": _sgn,
    "pow": lambda x, y: float(x**y),
    "pwr": lambda x, y: float(abs(x) ** y),
    "min": min,
    "max": max,
    # statistical functions stand at their nominal value
    "gauss": lambda nominal, *_: nominal,
    "agauss": lambda nominal, *_: nominal,
    "unif": lambda nominal, *_: nominal,
    "aunif": lambda nominal, *_: nominal,
}
_CONSTANTS = {"pi": math.pi, "e": math.e, "true": 1.0, "false": 0.0}

_OPERATIONS: Mapping[str, Callable[[float, float], float]] = {
    "+": lambda x, y: x + y,
    "-": lambda x, y: x - y,
    "*": lambda x, y: x * y,
    "/": lambda x, y: x / y,
    "%": math.fmod,
    "\\": lambda x, y: float(int(x / y)),
    "**": lambda x, y: float(x**y),
    "^": lambda x, y: float(x**y),
    "==": lambda x, y: float(x == y),
    "!=": lambda x, y: float(x != y),
    "<>": lambda x, y: float(x != y),
    "<": lambda x, y: float(x < y),
    ">": lambda x, y: float(x > y),
    "<=": lambda x, y: float(x <= y),
    ">=": lambda x, y: float(x >= y),
    "&&": lambda x, y: float(bool(x) and bool(y)),
    "||": lambda x, y: float(bool(x) or bool(y)),
}


class Environment:
    """The parameters and functions in force in one scope, over those of the scope around it."""

    def __init__(
        self,
        parameters: Mapping[str, Program] | None = None,
        functions: Mapping[str, Function] | None = None,
        around: Environment | None = None,
        values: Mapping[str, float | None] | None = None,
    ) -> None:
        self._programs = dict(parameters or {})
        self._functions = dict(functions or {})
        self._around = around
        self._values: dict[str, float | None] = dict(values or {})
        self._steps: list[int] = around._steps if around is not None else [0]

    @property
    def is_empty(self) -> bool:
        """Return whether no parameter is defined here."""
        return not (self._programs or self._values)

    def value_of(self, text: str) -> float | None:
        """Return the number of a value text: plain, in braces, in quotes, or a parameter's name."""
        plain = spice_number(text)
        if plain is not None:
            return plain
        program = parse_expression(text)
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
        value = self.run(program, depth + 1)
        self._values[name] = value
        return value

    def _function(self, name: str) -> tuple[Function, Environment] | None:
        found = self._functions.get(name)
        if found is not None:
            return found, self
        return self._around._function(name) if self._around is not None else None

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
            elif operation == "unary":
                stack.append(_negated(stack.pop(), operand))
            elif operation == "binary":
                right, left = stack.pop(), stack.pop()
                stack.append(_applied(_OPERATIONS[operand], (left, right)))
            elif operation == "choose":
                otherwise, then, condition = stack.pop(), stack.pop(), stack.pop()
                stack.append(None if condition is None else then if condition else otherwise)
            else:
                name, count = operand
                arguments = tuple(stack[len(stack) - count :])
                del stack[len(stack) - count :]
                stack.append(self._called(name, arguments, depth))
        return stack[-1]

    def _called(self, name: str, arguments: tuple[float | None, ...], depth: int) -> float | None:
        own = self._function(name)
        if own is not None:
            function, home = own
            if len(function.arguments) != len(arguments):
                return None
            inner = Environment(
                around=home, values=dict(zip(function.arguments, arguments, strict=True))
            )
            return inner.run(function.program, depth + 1)
        if name in ("if", "ternary_fcn") and len(arguments) == 3:
            condition, then, otherwise = arguments
            return None if condition is None else then if condition else otherwise
        known = FUNCTIONS.get(name)
        return None if known is None else _applied(known, arguments)


def _negated(value: float | None, sign: str) -> float | None:
    if value is None:
        return None
    if sign == "!":
        return float(not value)
    return -value if sign == "-" else value


def _applied(function: Callable[..., float], arguments: tuple[float | None, ...]) -> float | None:
    if None in arguments:
        return None
    try:
        value = function(*arguments)
    except (ArithmeticError, ValueError, TypeError):
        return None  # a root of a negative, 1/0, the wrong number of arguments
    if isinstance(value, complex) or not math.isfinite(value):
        return None
    return float(value)
