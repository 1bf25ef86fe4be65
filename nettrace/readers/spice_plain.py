"""Lines of the shapes that most of a deck is made of, read by their words alone.

`R1 a b 10k` needs no decoding, and what a line such as `Q1 c b e QN` comes to depends on its letter
and its model: the first one of a kind is decoded, the others are like it. Every other line, and
every line with brackets, quotes or settings, is handed back to be decoded.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache
from itertools import repeat
from types import MappingProxyType
from typing import NamedTuple

from nettrace.errors import Place
from nettrace.model.board import Part, Pin
from nettrace.model.builder import BoardBuilder, PartDraft
from nettrace.model.copper import Copper, Unmade
from nettrace.model.freezing import PinFact
from nettrace.readers.spice_deck import Deck, Scope
from nettrace.readers.spice_elements import Element
from nettrace.readers.spice_expressions import Environment
from nettrace.readers.spice_names import NUMBERS, BoardNames
from nettrace.readers.spice_numbers import spice_number
from nettrace.readers.spice_scopes import ScopeReader
from nettrace.readers.spice_text import Line

__all__ = ["PlainLines", "number_text"]

#: What makes a line more than words.
_SPECIAL_CHARACTERS = "=(){}'\""
_SPECIAL = re.compile(r"[=(){}'\"]")
_BEGINS_AS_NUMBER = re.compile(r"[+-]?(?:[0-9]|\.[0-9])")
#: Letter -> where in the line its model may stand, if the words before are none (-1: at the end).
_MODEL_AT = {"d": (3,), "j": (4,), "z": (4,), "q": (4, 5), "m": (4, 5), "x": (-1,)}
_BY_MODELS = frozenset("qm")  # whose nodes end where a word is a model
_new = tuple.__new__  # Place without its argument handling
_ONE, _TWO = NUMBERS[:2]
_NO_FACTS: PinFact = (None, None, None)  # of a pin: name, electrical type, place


class _Kind(NamedTuple):
    """What elements of one letter and model have in common."""

    value: str | None
    description: str | None
    properties: Mapping[str, str]
    names: tuple[str | None, ...]


class _TwoPins(Unmade):
    """The nets of an element's pins, 1 and 2."""

    net_1: str | None
    net_2: str | None

    def make(self, key: str) -> Copper:
        """Return the pins; a deck has no pads."""
        return (Pin(key, _ONE, self.net_1), Pin(key, _TWO, self.net_2)), ()


class _PlainPins(Unmade):
    """The pins of an element, counted from 1: their nets and names."""

    on: tuple[str | None, ...]
    names: tuple[str | None, ...]

    def make(self, key: str) -> Copper:
        """Return the pins; a deck has no pads."""
        return tuple(map(Pin, repeat(key), NUMBERS, self.on, self.names)), ()


class PlainLines:
    """Makes parts of plain lines.

    Args:
        deck, builder, scopes, names: of the deck that is read.
        expands: whether subcircuits are expanded; then values and names are taken in their scope.
    """

    def __init__(
        self,
        deck: Deck,
        builder: BoardBuilder,
        scopes: ScopeReader,
        names: BoardNames,
        *,
        expands: bool,
    ) -> None:
        self.deck = deck
        self.builder = builder
        self.scopes = scopes
        self.names = names
        self.expands = expands
        # letter -> value -> properties
        self._values: dict[str, dict[str, Mapping[str, str]]] = {letter: {} for letter in "rclRCL"}
        # of each scope: (lower-case letter, nodes, model) -> what was learnt
        self._kinds: dict[int, dict[tuple[str, int, str], _Kind]] = {}
        self._words: dict[int, list[list[str]]] = {}
        self._models = _all_models(deck) if expands else frozenset()

    def others(
        self,
        scope: Scope,
        environment: Environment,
        prefix: str = "",
        outside: Callable[[str], str] | None = None,
    ) -> Iterator[tuple[Line, Element]]:
        """Make parts of the plain lines of a scope; yield the other elements where they come.

        Args:
            scope: whose lines.
            environment: the parameters in force there.
            prefix: of the names of its elements.
            outside: gives the name that a node has in the whole circuit (None: its own).

        Raises:
            BadInput: a line begins with no letter.
        """
        if scope.conditions or (self.expands and self.scopes.is_by_reference):
            yield from self.scopes.elements(scope, environment)
            return
        names, files, add = self.names, self.deck.files, self.builder.frozen.append
        add_nets = self.builder.frozen_nets.extend
        said, top = names.remarks.parts, not self.expands
        nets: dict[str, str] = names.shown
        net_of: Callable[[str], str | None] = names.net
        if outside is not None:
            nets, net_of = _nets_inside(names, outside)
        all_values, model_at = self._values, _MODEL_AT
        kinds = self._kinds.setdefault(id(scope), {})
        decode = self.scopes.decode
        for line, words in zip(scope.lines, self._words_of(scope), strict=True):
            if not words:
                yield line, decode(scope, line)
                continue
            name = words[0]
            values = all_values.get(name[0])
            if values is not None:
                if len(words) == 4:
                    _, node_1, node_2, value = words
                    properties = values.get(value) or self._learn_value(values, name[0], value)
                    if properties is not None:
                        if said and (prefix + name).lower() in said:
                            if top:
                                self._add_remarked(line, words, properties)
                                continue
                        else:
                            refdes = prefix + name
                            net_1 = nets.get(node_1) or net_of(node_1)
                            net_2 = nets.get(node_2) or net_of(node_2)
                            add_nets((net_1, net_2))
                            add(
                                Part(
                                    refdes,
                                    refdes,
                                    value,
                                    None,
                                    None,
                                    None,
                                    None,
                                    None,
                                    None,
                                    None,
                                    _TwoPins(net_1, net_2),
                                    (),
                                    None,
                                    properties,
                                    _new(Place, (files[line[0]], line[1], 1)),
                                )
                            )
                            continue
            elif kinds and (letter := name[0].lower()) in model_at:
                index = self._model_index(scope, kinds, letter, words, line[2])
                if index and not (said and (prefix + name).lower() in said):
                    kind = kinds[letter, index - 1, words[index]]
                    nodes = [nets.get(node) or net_of(node) for node in words[1:index]]
                    add_nets(nodes)
                    refdes = prefix + name
                    add(
                        Part(
                            refdes,
                            refdes,
                            kind.value,
                            None,
                            kind.description,
                            None,
                            None,
                            None,
                            None,
                            None,
                            _PlainPins(tuple(nodes), kind.names),
                            (),
                            None,
                            kind.properties,
                            _new(Place, (files[line[0]], line[1], 1)),
                        )
                    )
                    continue
            yield line, decode(scope, line)

    def learn(self, scope: Scope, element: Element, draft: PartDraft) -> None:
        """Remember what a decoded element came to, for those like it."""
        letter, count = element.letter, len(element.nodes)
        if (
            letter not in _MODEL_AT
            or self.scopes.is_by_reference  # letters mean other things there
            or element.settings
            or element.model is None
            or not 0 < count <= len(NUMBERS)
            or (element.value or "").startswith("__")  # the name of its own: a placeholder
            or "spice_pins" in draft.properties  # a remark is about it
        ):
            return
        if letter == "x":
            body = scope.subcircuit(element.model)
            if self.expands or (body is not None and len(body.ports) != count):
                return  # the latter is warned of each time
        elif letter in _BY_MODELS and not self.scopes.kind(scope, element.model):
            return
        self._kinds.setdefault(id(scope), {})[letter, count, element.model] = _Kind(
            draft.value,
            draft.description,
            MappingProxyType(draft.properties),
            tuple(name for name, _, _ in draft.pin_facts.values()),
        )

    def _words_of(self, scope: Scope) -> list[list[str]]:
        """Return the words of each line; none where it is more than words."""
        known = self._words.get(id(scope))
        if known is None:
            texts = [line[2] for line in scope.lines]
            whole = "\n".join(texts)
            if any(character in whole for character in _SPECIAL_CHARACTERS):
                more = _SPECIAL.search
                known = [text.split() if more(text) is None else [] for text in texts]
            else:
                known = [text.split() for text in texts]
            self._words[id(scope)] = known
        return known

    def _learn_value(
        self, values: dict[str, Mapping[str, str]], letter: str, value: str
    ) -> Mapping[str, str] | None:
        """Return what a part of this value has as properties; None where it is no plain value."""
        if _BEGINS_AS_NUMBER.match(value) is None or value.lower() in self._models:
            return None
        number = number_text(value)
        if number is None and self.expands:
            return None
        # 4k7 is no number to SPICE
        said = {"spice_element": letter.upper()} if number is None else {"spice_value": number}
        properties = values[value] = MappingProxyType(said)
        return properties

    def _add_remarked(self, line: Line, words: list[str], properties: Mapping[str, str]) -> None:
        place = _new(Place, (self.deck.files[line[0]], line[1], 1))
        refdes, numbers = self.names.said(words[0], 2, (), place)
        draft = self.builder.part(refdes, place)
        draft.value = words[3]
        draft.properties = dict(properties)
        shown = self.names.shown
        draft.pin_facts = {
            (number, shown.get(node) or self.names.net(node)): _NO_FACTS
            for number, node in zip(numbers, words[1:3], strict=False)
        }

    def _model_index(
        self,
        scope: Scope,
        kinds: dict[tuple[str, int, str], _Kind],
        letter: str,
        words: list[str],
        text: str,
    ) -> int:
        """Return where the model stands if such an element was learnt, else 0."""
        for index in _MODEL_AT[letter]:
            if index < 0:
                index = len(words) - 1  # noqa: PLW2901
                if ":" in text:  # params:
                    return 0
            if index >= len(words):
                return 0
            if (letter, index - 1, words[index]) in kinds:
                # a node in brackets is written [b]
                return 0 if letter in _BY_MODELS and ("[" in text or "]" in text) else index
            if letter in _BY_MODELS and self.scopes.kind(scope, words[index]):
                return 0
        return 0


def _nets_inside(
    names: BoardNames, outside: Callable[[str], str]
) -> tuple[dict[str, str], Callable[[str], str | None]]:
    """Return the nets of an expanded subcircuit by its own nodes, and what adds one."""
    inside: dict[str, str] = {}
    shown = names.shown

    def net_of(node: str) -> str | None:
        name = outside(node)
        net = shown.get(name) or names.net(name)
        if net is not None:
            inside[node] = net
        return net

    return inside, net_of


def _all_models(deck: Deck) -> frozenset[str]:
    """Return the lower-case names of all models, in whatever scope."""
    found: set[str] = set()
    scopes = [deck.root]
    while scopes:
        scope = scopes.pop()
        found.update(scope.models)
        scopes += scope.scopes.values()
    return frozenset(found)


@lru_cache(maxsize=4096)
def number_text(value: str) -> str | None:
    """Return the number SPICE takes the value for, as text; None where it is none to SPICE."""
    number = spice_number(value)
    return None if number is None else repr(number)
