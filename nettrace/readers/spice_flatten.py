"""Expansion of subcircuits: X elements become the elements of their bodies, by path names."""

from __future__ import annotations

from collections.abc import Callable

from nettrace.model.builder import BoardBuilder
from nettrace.readers.spice_deck import Deck, Scope
from nettrace.readers.spice_elements import Element
from nettrace.readers.spice_expressions import Environment
from nettrace.readers.spice_names import GROUND
from nettrace.readers.spice_plain import PlainLines
from nettrace.readers.spice_scopes import ScopeReader
from nettrace.readers.spice_text import Line

__all__ = ["expand"]

#: Elements of an expanded deck, and path segments in all their names; larger ones are refused.
MOST_ELEMENTS = 2_000_000
MOST_SEGMENTS = 30_000_000
MOST_DEPTH = 1000

#: Takes (name, nodes, element, line, scope, environment).
Add = Callable[[str, tuple[str, ...], Element, Line, Scope, Environment], None]


class _Frame:
    """One X element being expanded."""

    __slots__ = ("elements", "environment", "everywhere", "nets", "prefix", "scope")

    def __init__(
        self,
        scope: Scope,
        environment: Environment,
        prefix: str,
        nets: dict[str, str],
        everywhere: set[str],
        plain: PlainLines,
    ) -> None:
        self.scope = scope
        self.environment = environment
        self.prefix = prefix
        self.nets = nets  # lower-case name inside -> name outside
        self.everywhere = everywhere  # lower-case names of .global
        self.elements = plain.others(scope, environment, prefix, self.outside)

    def outside(self, node: str) -> str:
        """Return the name of a node of this body in the whole circuit."""
        lowered = node.lower()
        name = self.nets.get(lowered)
        if name is None:
            is_global = lowered in GROUND or lowered in self.everywhere or not self.prefix
            name = node if is_global else self.prefix + node
            self.nets[lowered] = name
        return name


def expand(
    deck: Deck, scopes: ScopeReader, plain: PlainLines, add: Add, builder: BoardBuilder
) -> None:
    """Hand every element of the expanded circuit to `add`, but for those `plain` takes itself.

    Nodes of a body are local (`X1/n3`) but for its ports, ground and `.global` names; an X whose
    subcircuit is not defined stays an element.

    Raises:
        BadInput: a subcircuit within itself, or an expansion too large.
    """
    _refuse_the_endless(deck, scopes)
    environment = scopes.environment(deck.root)
    frames = [_Frame(deck.root, environment, "", {}, deck.globals, plain)]
    while frames:
        frame = frames[-1]
        for line, element in frame.elements:
            nodes = tuple(frame.outside(node) for node in element.nodes)
            body = None
            if element.letter == "x" and element.model is not None:
                body = frame.scope.subcircuit(element.model)
            if body is None:
                name = frame.prefix + element.name
                add(name, nodes, element, line, frame.scope, frame.environment)
                continue
            frames.append(_enter(frame, body, nodes, element, line, deck, scopes, plain, builder))
            break
        else:
            frames.pop()


def _enter(
    frame: _Frame,
    body: Scope,
    nodes: tuple[str, ...],
    element: Element,
    line: Line,
    deck: Deck,
    scopes: ScopeReader,
    plain: PlainLines,
    builder: BoardBuilder,
) -> _Frame:
    if len(nodes) != len(body.ports):
        builder.warn(
            "port-count",
            f"{frame.prefix}{element.name} has {len(nodes)} nodes, "
            f"{body.name} has {len(body.ports)} ports",
            deck.place(line),
        )
    given = {name.lower(): frame.environment.value_of(text) for name, text in element.settings}
    environment = scopes.environment(body, frame.environment, given)
    prefix = f"{frame.prefix}{element.name}/"
    nets = {port.lower(): node for port, node in zip(body.ports, nodes, strict=False)}
    return _Frame(body, environment, prefix, nets, deck.globals, plain)


def _refuse_the_endless(deck: Deck, scopes: ScopeReader) -> None:
    """Raise where expansion would never end or be too large; counts without expanding."""
    # scope -> (elements, path segments in their names, levels); an open scope is a circle
    sizes: dict[int, tuple[int, int, int]] = {}
    is_open: set[int] = set()
    stack: list[tuple[Scope, Line | None]] = [(deck.root, None)]
    calls: dict[int, list[tuple[Scope, Line]]] = {}
    own: dict[int, int] = {}
    while stack:
        scope, caller = stack[-1]
        key = id(scope)
        if key in sizes:
            stack.pop()
            continue
        if key not in is_open:
            is_open.add(key)
            calls[key] = []
            own[key] = 0
            for line in scope.lines:
                body = _called(scope, line, scopes)
                if body is None:
                    own[key] += 1
                    continue
                calls[key].append((body, line))
                if id(body) in is_open and id(body) not in sizes:
                    raise deck.bad_line(
                        line, f"subcircuit {body.name} within itself", hint="It has no end."
                    )
                if id(body) not in sizes:
                    stack.append((body, line))
            continue
        is_open.discard(key)
        stack.pop()
        elements = segments = own[key]
        levels = 0
        for body, _ in calls[key]:
            inner = sizes[id(body)]
            elements += inner[0]
            segments += inner[0] + inner[1]
            levels = max(levels, inner[2] + 1)
        sizes[key] = elements, segments, levels
        if elements > MOST_ELEMENTS or segments > MOST_SEGMENTS or levels > MOST_DEPTH:
            raise deck.bad_line(
                caller or (0, 1, ""),
                f"an expanded circuit of {elements} elements in {levels + 1} levels",
                expected=f"at most {MOST_ELEMENTS} elements in {MOST_DEPTH} levels",
                hint="Read it without expanding its subcircuits.",
            )


def _called(scope: Scope, line: Line, scopes: ScopeReader) -> Scope | None:
    if line[2][0] not in "xX":
        return None
    element = scopes.decode(scope, line)
    return scope.subcircuit(element.model) if element.model is not None else None
