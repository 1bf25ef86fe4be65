"""The elements of a SPICE deck in order, its subcircuits expanded or not, and what rules in each.

A scope's texts are given their meaning here: elements decoded, models, parameters and conditions.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from nettrace.model.builder import BoardBuilder
from nettrace.readers.spice_deck import Condition, Deck, Line, Scope
from nettrace.readers.spice_elements import (
    Element,
    Kinds,
    Model,
    decode_board_part,
    decode_element,
    model_kind,
    read_model,
)
from nettrace.readers.spice_expressions import Environment, Parameter, Program, parse_statement

#: Names of the node that all others are measured against, lower case.
GROUND = frozenset(("0", "gnd"))
#: Elements of an expanded deck, and path segments in all their names; larger ones are refused.
MOST_ELEMENTS = 2_000_000
MOST_SEGMENTS = 30_000_000
MOST_DEPTH = 1000
#: The head of a deck whose lines begin with a board's references, and so with letters that are not
#: SPICE's. Source: decks published by users of that program, 2012 to 2022.
_BY_REFERENCE = re.compile(r"EESchema Netlist Version [\d.]+ \(Spice format\)")
#: Characters of a deck in which that head stands.
_HEAD = 2000

#: An element: its name and its nodes in the whole circuit, as decoded, its line, scope, parameters.
Found = tuple[str, tuple[str, ...], Element, Line, Scope, Environment]


class Circuit:
    """Decodes the scopes of a deck; warnings go to the builder."""

    def __init__(self, deck: Deck, builder: BoardBuilder) -> None:
        self.deck = deck
        self.builder = builder
        self._is_by_reference = _BY_REFERENCE.search(deck.texts[0], 0, _HEAD) is not None
        self._kinds: dict[int, Kinds] = {}  # of the scopes with models of their own
        self._models: dict[Line, Model | None] = {}
        self._programs: dict[int, tuple[dict[str, Program], dict[str, Parameter]]] = {}

    def elements(self) -> Iterator[Found]:
        """Yield the elements of the deck itself; an X is one of them.

        Raises:
            BadInput: a line begins with no letter.
        """
        root = self.deck.root
        environment = self._environment(root)
        for line, element in self._decoded(root, environment):
            yield element.name, element.nodes, element, line, root, environment

    def _decoded(
        self, scope: Scope, environment: Environment | None, letters: str = ""
    ) -> Iterator[tuple[Line, Element]]:
        """Yield the scope's elements (of those letters), without those whose `.if` does not hold.

        Without an environment all of them.
        """
        refused: set[Condition] = set()
        kinds: Kinds = {}  # of the models in force
        for outer in reversed([*scope.outward()]):
            if outer.models and id(outer) not in self._kinds:
                own = {name: model_kind(line[2]) for name, line in outer.models.items()}
                self._kinds[id(outer)] = {**kinds, **own}
            kinds = self._kinds.get(id(outer), kinds)
        conditions = scope.conditions if environment is not None else {}
        for index, line in enumerate(scope.lines):
            text = line[2]
            if letters and text[0] not in letters:
                continue
            if conditions and environment and (condition := conditions.get(index)):
                holds = _holds(condition, environment)
                if holds is None and condition not in refused:
                    refused.add(condition)
                    self.builder.warn(
                        "condition-unknown",
                        f"'.if {condition[-1][0]}' has no number here; its lines are left out",
                        self.deck.place(line),
                    )
                if not holds:
                    continue
            if not ("A" <= text[0] <= "Z" or "a" <= text[0] <= "z"):
                raise self.deck.bad_line(
                    line,
                    repr(text.split(None, 1)[0][:40]),
                    expected="an element (R1 a b 10k), a statement (.end) or a remark (*)",
                    hint="Elements begin with a letter.",
                )
            part = decode_board_part(text) if self._is_by_reference else None
            yield line, part or decode_element(text, kinds)

    def model(self, scope: Scope, name: str) -> Model | None:
        """Return the model of that name as seen from the scope, read when first asked for."""
        line = scope.model(name)
        if line is None:
            return None
        if line not in self._models:
            model = read_model(name, line[2])
            if model is None:
                self.builder.warn(
                    "model",
                    f"the parameters of model {name} are not understood",
                    self.deck.place(line),
                )
                kind = model_kind(line[2])
                model = Model(kind, (), "") if kind else None
            self._models[line] = model
        return self._models[line]

    # ---- parameters -----------------------------------------------------------------------------

    def _environment(
        self,
        scope: Scope,
        around: Environment | None = None,
        given: dict[str, float | None] | None = None,
    ) -> Environment:
        """Return the parameters in force in a scope called from `around` with `given` values."""
        if id(scope) not in self._programs:
            self._programs[id(scope)] = self._parameters(scope)
        programs, functions = self._programs[id(scope)]
        if around is not None and not (programs or functions or given):
            return around
        return Environment(programs, functions, around, given)

    def _parameters(self, scope: Scope) -> tuple[dict[str, Program], dict[str, Parameter]]:
        programs: dict[str, Program] = {}
        functions: dict[str, Parameter] = {}
        for name, text in scope.defaults:
            program = parse_statement(text, "expression")
            if program is not None:
                programs[name.lower()] = program
        for line in scope.parameters:
            found = parse_statement(line[2], "parameters")
            if not found:
                # `.func f(x) {x*2}` has no equals sign
                head, closed, body = line[2].partition(")")
                if closed and "=" not in body[:2]:
                    found = parse_statement(f"{head}{closed}={body}", "parameters")
            if found is None:
                self.builder.warn(
                    "parameters", "a '.param' line not understood", self.deck.place(line)
                )
            for parameter in found or ():
                if parameter.arguments:
                    functions[parameter.name] = parameter
                else:
                    programs[parameter.name] = parameter.program
        return programs, functions

    # ---- expansion ------------------------------------------------------------------------------

    def expanded(self) -> Iterator[Found]:
        """Yield every element of the expanded circuit, by path names.

        Nodes of a body are local (`X1/n3`) but for its ports, ground and `.global` names; an X
        whose subcircuit is not defined stays an element.

        Raises:
            BadInput: a subcircuit within itself, an expansion too large, a line without a letter.
        """
        self._refuse_the_endless()
        root = self.deck.root
        environment = self._environment(root)
        # of each X that is being expanded: the rest of its elements, path, names of nodes outside
        frames = [(self._decoded(root, environment), root, environment, "", dict[str, str]())]
        while frames:
            elements, scope, environment, prefix, names = frames[-1]
            for line, element in elements:
                nodes = tuple(
                    names.get(node.lower()) or self._outside(node, prefix, names)
                    for node in element.nodes
                )
                name = prefix + element.name
                body = _body(scope, element)
                if body is None:
                    yield name, nodes, element, line, scope, environment
                    continue
                if len(nodes) != len(body.ports):
                    self.builder.warn(
                        "port-count",
                        f"{name} has {len(nodes)} nodes, {body.name} has {len(body.ports)} ports",
                        self.deck.place(line),
                    )
                given = {key.lower(): environment.value_of(text) for key, text in element.settings}
                inner = self._environment(body, environment, given)
                inside = {port.lower(): node for port, node in zip(body.ports, nodes, strict=False)}
                frames.append((self._decoded(body, inner), body, inner, f"{name}/", inside))
                break
            else:
                frames.pop()

    def _outside(self, node: str, prefix: str, names: dict[str, str]) -> str:
        """Return the name of a node of a body in the whole circuit, and remember it."""
        lowered = node.lower()
        is_global = lowered in GROUND or lowered in self.deck.globals
        name = names[lowered] = node if is_global else prefix + node
        return name

    def _refuse_the_endless(self) -> None:
        """Raise where expansion would never end or be too large; counts without expanding."""
        # scope -> (elements, path segments in their names, levels); None: open, so a circle
        sizes: dict[int, tuple[int, int, int] | None] = {}
        calls: dict[int, list[tuple[Scope, Line]]] = {}
        own: dict[int, int] = {}
        stack: list[tuple[Scope, Line]] = [(self.deck.root, (0, 1, ""))]
        while stack:
            scope, caller = stack[-1]
            key = id(scope)
            if key not in sizes:
                sizes[key] = None
                called = [(_body(scope, x), line) for line, x in self._decoded(scope, None, "xX")]
                calls[key] = [(body, line) for body, line in called if body is not None]
                own[key] = len(scope.lines) - len(calls[key])
                for body, line in calls[key]:
                    if sizes.get(id(body), ()) is None:
                        raise self.deck.bad_line(
                            line, f"subcircuit {body.name} within itself", hint="It has no end."
                        )
                    if id(body) not in sizes:
                        stack.append((body, line))
                continue
            stack.pop()
            if sizes[key] is not None:
                continue
            elements = segments = own[key]
            levels = 0
            for body, _ in calls[key]:
                inner = sizes[id(body)] or (0, 0, 0)
                elements += inner[0]
                segments += inner[0] + inner[1]
                levels = max(levels, inner[2] + 1)
            sizes[key] = elements, segments, levels
            if elements > MOST_ELEMENTS or segments > MOST_SEGMENTS or levels > MOST_DEPTH:
                raise self.deck.bad_line(
                    caller,
                    f"an expanded circuit of {elements} elements in {levels + 1} levels",
                    expected=f"at most {MOST_ELEMENTS} elements in {MOST_DEPTH} levels",
                    hint="Read it without expanding its subcircuits.",
                )


def _body(scope: Scope, element: Element) -> Scope | None:
    """Return the subcircuit that an element calls, if the deck defines it."""
    if element.letter != "x" or element.model is None:
        return None
    return scope.subcircuit(element.model)


def _holds(condition: Condition, environment: Environment) -> bool | None:
    """Return whether the tests of a line hold; None where one of them has no number."""
    for text, wanted in condition:
        program = parse_statement(text, "expression")
        value = None if program is None else environment.run(program)
        if value is None:
            return None
        if bool(value) is not wanted:
            return False
    return True
