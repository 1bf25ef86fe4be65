"""What a scope's texts mean: its elements decoded, its models, parameters and conditions."""

from __future__ import annotations

from collections.abc import Iterator

from nettrace.model.builder import BoardBuilder
from nettrace.readers.spice_deck import Condition, Deck, Scope
from nettrace.readers.spice_elements import Element, decode_element
from nettrace.readers.spice_expressions import (
    Environment,
    Function,
    Program,
    parse_expression,
    parse_parameters,
)
from nettrace.readers.spice_models import Model, model_kind, read_model
from nettrace.readers.spice_references import decode_board_part, is_by_reference
from nettrace.readers.spice_text import Line

__all__ = ["ScopeReader"]


class ScopeReader:
    """Decodes scopes, each once; warnings go to the builder."""

    def __init__(self, deck: Deck, builder: BoardBuilder) -> None:
        self.deck = deck
        self.builder = builder
        self.is_by_reference = is_by_reference(deck.texts[0])
        self._kinds: dict[tuple[int, str], str] = {}  # by scope, and the name as written
        self._models: dict[Line, Model | None] = {}
        self._programs: dict[int, tuple[dict[str, Program], dict[str, Function]]] = {}

    def elements(self, scope: Scope, environment: Environment) -> Iterator[tuple[Line, Element]]:
        """Yield the scope's elements, in its order, without those whose `.if` does not hold.

        Raises:
            BadInput: a line begins with no letter.
        """
        if not scope.conditions:
            for line in scope.lines:
                yield line, self.decode(scope, line)
            return
        refused: set[Condition] = set()
        for index, line in enumerate(scope.lines):
            condition = scope.conditions.get(index, ())
            holds = self._holds(condition, environment)
            if holds:
                yield line, self.decode(scope, line)
            elif holds is None and condition not in refused:
                refused.add(condition)
                self.builder.warn(
                    "condition-unknown",
                    f"'.if {condition[-1][0]}' has no number here; its lines are left out",
                    self.deck.place(line),
                )

    def _holds(self, condition: Condition, environment: Environment) -> bool | None:
        for text, wanted in condition:
            program = parse_expression(text)
            value = None if program is None else environment.run(program)
            if value is None:
                return None
            if bool(value) is not wanted:
                return False
        return True

    def decode(self, scope: Scope, line: Line) -> Element:
        """Decode one element line by the models in force in its scope.

        Raises:
            BadInput: it begins with no letter.
        """
        text = line[2]
        first = text[0]
        if not (first.isascii() and first.isalpha()):
            raise self.deck.bad_line(
                line,
                repr(text.split(None, 1)[0][:40]),
                expected="an element (R1 a b 10k), a statement (.end) or a remark (*)",
                hint="Elements begin with a letter.",
            )
        if self.is_by_reference and (part := decode_board_part(text)) is not None:
            return part
        if not self.deck.has_models:
            return decode_element(text, _no_model)
        return decode_element(text, lambda name: self.kind(scope, name))

    def kind(self, scope: Scope, name: str) -> str:
        """Return the type of the model of that name as seen from the scope; "" without one."""
        known = self._kinds.get((id(scope), name))
        if known is None:
            line = scope.model(name)
            known = "" if line is None else model_kind(line[2])
            self._kinds[id(scope), name] = known
        return known

    def model(self, scope: Scope, name: str) -> Model | None:
        """Return the model of that name as seen from the scope, read when first asked for."""
        line = scope.model(name)
        if line is None:
            return None
        if line not in self._models:
            model = read_model(line[2])
            if model is None:
                self.builder.warn(
                    "model",
                    f"the parameters of model {name} are not understood",
                    self.deck.place(line),
                )
                kind = model_kind(line[2])
                model = Model(name, kind, (), "") if kind else None
            self._models[line] = model
        return self._models[line]

    def environment(
        self,
        scope: Scope,
        around: Environment | None = None,
        given: dict[str, float | None] | None = None,
    ) -> Environment:
        """Return the parameters in force in a scope called from `around` with `given` values."""
        programs, functions = self._parameters(scope)
        if around is not None and not (programs or functions or given):
            return around
        return Environment(programs, functions, around, given)

    def _parameters(self, scope: Scope) -> tuple[dict[str, Program], dict[str, Function]]:
        known = self._programs.get(id(scope))
        if known is not None:
            return known
        programs: dict[str, Program] = {}
        functions: dict[str, Function] = {}
        for name, text in scope.defaults:
            program = parse_expression(text)
            if program is not None:
                programs[name.lower()] = program
        for line in scope.parameters:
            found = parse_parameters(line[2]) or parse_parameters(_as_function(line[2]))
            if found is None:
                self.builder.warn(
                    "parameters", "a '.param' line not understood", self.deck.place(line)
                )
                continue
            for parameter in found:
                if parameter.arguments:
                    functions[parameter.name] = Function(parameter.arguments, parameter.program)
                else:
                    programs[parameter.name] = parameter.program
        self._programs[id(scope)] = programs, functions
        return programs, functions


def _no_model(name: str) -> str:
    del name
    return ""


def _as_function(text: str) -> str:
    """`.func f(x) {x*2}` has no equals sign."""
    head, closed, body = text.partition(")")
    return f"{head}{closed}={body}" if closed and "=" not in body[:2] else text
