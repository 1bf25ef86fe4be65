"""SPICE decks as open schematic tools write them.

A subcircuit is usually the model of one chip, so an X element is one part whose pins have the
port names of its `.subckt`; `read_with(document, "flatten")` expands it to path names (`X1/R3`).
Pins are the element's nodes counted from 1, unless a remark of the deck says their numbers
(`spice_remarks`). Names compare without case and are shown as first written; node 0 and GND are one
net.

Values stay as written. Because SPICE and the trade read `1M` differently, the number a simulator
takes is stated beside it, in `properties["spice_value"]`.
"""

from __future__ import annotations

import gc
from functools import lru_cache

from nettrace.errors import Place
from nettrace.model.board import Board
from nettrace.model.builder import BoardBuilder, PartDraft
from nettrace.readers.document import Document
from nettrace.readers.spice_deck import Deck, Scope, load_deck
from nettrace.readers.spice_elements import PLAIN_PASSIVE, Element
from nettrace.readers.spice_expressions import Environment
from nettrace.readers.spice_flatten import GROUND, expand
from nettrace.readers.spice_models import pin_names
from nettrace.readers.spice_numbers import spice_number
from nettrace.readers.spice_remarks import read_remarks
from nettrace.readers.spice_scopes import ScopeReader
from nettrace.readers.spice_sources import constant_volts
from nettrace.readers.spice_text import Line

__all__ = ["read", "read_with"]

#: How many names a warning about many parts lists.
MOST_NAMES = 8
#: Stands for the node of a pin that is on no net, in the decks of older schematic programs.
OPEN = "?"
_NUMBERS = tuple(str(number) for number in range(1, 65))
_new = tuple.__new__  # Place without its argument handling
_NO_FACTS = (None, None, None)  # of a pin: name, electrical type, place


def read(document: Document) -> Board:
    """Read a deck; an X element is one part unless the document says "flatten"."""
    return read_with(document, document.hierarchy or "keep")


def read_with(document: Document, hierarchy: str = "keep") -> Board:
    """Read a deck.

    Args:
        document: the deck's text; its folder is where `.include` and `.lib` may look.
        hierarchy: "keep" (an X element is a part) or "flatten" (its subcircuit's elements are).

    Raises:
        BadInput: a line that is none of a deck's, a block without its end, too much inclusion or
            expansion.
    """
    was_enabled = gc.isenabled()
    gc.disable()  # many small objects, none cyclic: collection only costs here
    try:
        return _read(document, hierarchy)
    finally:
        if was_enabled:
            gc.enable()


def _read(document: Document, hierarchy: str) -> Board:
    builder = BoardBuilder(document.path, "spice")
    builder.digest = document.digest
    deck = load_deck(document, builder)
    builder.name = _title(deck.title)
    reader = _DeckReader(deck, builder)
    if hierarchy == "flatten":
        expand(deck, reader.scopes, reader.add, builder)
    else:
        reader.read_top()
    reader.finish()
    return builder.build()


def _title(line: str) -> str:
    if line.lower().startswith(".title"):
        line = line[len(".title") :]
    return line.strip("* \t")


class _DeckReader:
    """Turns elements into parts: net names, values, what the models say, rail voltages."""

    def __init__(self, deck: Deck, builder: BoardBuilder) -> None:
        self.deck = deck
        self.builder = builder
        self.scopes = ScopeReader(deck, builder)
        self.shown: dict[str, str] = {}  # node as written -> net as shown
        self.first: dict[str, str] = {}  # lower case -> net as shown
        self.remarks = read_remarks(deck.texts[0])
        self.used: set[str] = set()  # nets as shown
        self.volts: dict[str, tuple[float, Place]] = {}
        self.bare: list[tuple[str, Place]] = []  # elements without nodes
        self.undefined: dict[str, Place] = {}  # subcircuits not in the deck
        self.has_open = False

    def read_top(self) -> None:
        """Make a part of every element at top level."""
        root, scopes = self.deck.root, self.scopes
        environment = scopes.environment(root)
        if root.conditions:
            for line, element in scopes.elements(root, environment):
                self.add(element.name, element.nodes, element, line, root, environment)
            return
        plain, add_plain = PLAIN_PASSIVE.match, self.add_plain
        for line in root.lines:
            match = plain(line[2])
            if match is not None:
                add_plain(line, *match.groups())
            else:
                element = scopes.decode(root, line)
                self.add(element.name, element.nodes, element, line, root, environment)

    def add_plain(self, line: Line, refdes: str, node_1: str, node_2: str, value: str) -> None:
        """Make a part of `R1 a b 10k`: what most lines are, so it takes the shortest way."""
        shown = self.shown
        place = _new(Place, (self.deck.files[line[0]], line[1], 1))
        said = self.remarks.parts
        if said and refdes.lower() in said:
            refdes, numbers = self._said(refdes, 2, (), place)
        else:
            numbers = _NUMBERS
        draft = self.builder.part(refdes, place)
        draft.value = value
        number = _number_text(value)
        if number is not None:
            draft.properties["spice_value"] = number
        else:  # 4k7: no number to SPICE
            draft.properties["spice_element"] = line[2][0].upper()
        draft.pin_facts = {
            (numbers[0], shown.get(node_1) or self._net(node_1)): _NO_FACTS,
            (numbers[1], shown.get(node_2) or self._net(node_2)): _NO_FACTS,
        }

    def add(
        self,
        refdes: str,
        nodes: tuple[str, ...],
        element: Element,
        line: Line,
        scope: Scope,
        environment: Environment,
    ) -> None:
        """Make a part of an element; `nodes` are named as in the whole circuit."""
        place = Place(self.deck.files[line[0]], line[1], 1)
        draft = self.builder.part(refdes, place)
        value = element.value
        if value is not None and not _is_placeholder(value, element.name):
            draft.value = value
        names: tuple[str | None, ...] = ()
        if element.letter in "rcl":
            self._state_number(draft, element.letter, value, environment)
            if element.model is not None or element.settings:
                self._state_model(draft, element, scope)
        elif nodes or element.controls:
            names = self._state_kind(draft, element, nodes, place, scope, environment)
        elif element.settings:
            draft.properties.update(element.settings)
        if not nodes and element.letter != "k":
            self.bare.append((refdes, place))
        numbers: tuple[str, ...] = _NUMBERS
        if refdes.lower() in self.remarks.parts:
            draft.refdes, numbers = self._said(refdes, len(nodes), names, place)
            # in the order of the nodes
            draft.properties["spice_pins"] = " ".join(numbers[: len(nodes)])
        shown = self.shown
        for index, node in enumerate(nodes):
            number = numbers[index] if index < len(numbers) else str(index + 1)
            net = shown.get(node) or self._net(node)
            name = names[index] if index < len(names) else None
            draft.pin(number, net, name=name if name != number else None)

    def _said(
        self, name: str, count: int, ports: tuple[str | None, ...], place: Place
    ) -> tuple[str, tuple[str, ...]]:
        """Return refdes and pin numbers of an element that a remark is about."""
        remark = self.remarks.parts[name.lower()]
        numbers = remark.numbers(count, ports)
        if numbers is None and (remark.pins or remark.pins_as_ports):
            self.builder.warn(
                "remark-does-not-fit",
                f"the remark about {name} names other pins than its {count} nodes have: counted",
                place,
            )
        return remark.refdes, numbers or _NUMBERS

    def _net(self, node: str) -> str | None:
        if node == OPEN:
            self.has_open = True
            return None
        lowered = node.lower()
        if lowered in GROUND:
            lowered = "0"
        net = self.first.get(lowered)
        if net is None:
            net, count = self.remarks.nets.get(lowered, node), 2
            while net in self.used:  # a remark must not make two nets one
                net, count = f"{node}~{count}", count + 1
            self.used.add(net)
            self.first[lowered] = net
        self.shown[node] = net
        return net

    def _state_number(
        self, draft: PartDraft, letter: str, value: str | None, environment: Environment
    ) -> None:
        if value is None:
            return
        text = _number_text(value)
        if text is None:
            # 4k7, DNP, an expression: no number by its looks, so say by whose rules it stands
            draft.properties["spice_element"] = letter.upper()
        if text is None and (number := environment.value_of(value)) is not None:
            text = repr(number)
        if text is not None:
            draft.properties["spice_value"] = text

    def _state_kind(
        self,
        draft: PartDraft,
        element: Element,
        nodes: tuple[str, ...],
        place: Place,
        scope: Scope,
        environment: Environment,
    ) -> tuple[str | None, ...]:
        """Fill in what the letter and the model say; return the pins' names."""
        letter = element.letter
        draft.properties["spice_element"] = letter.upper()
        if element.controls:
            draft.properties["controls"] = " ".join(element.controls)
        if letter in "vi":
            self._state_source(draft, element, nodes, place, environment)
        if letter == "x":
            return self._state_ports(draft, element, place, scope)
        kind = self._state_model(draft, element, scope)
        return pin_names(letter, kind)

    def _state_model(self, draft: PartDraft, element: Element, scope: Scope) -> str:
        draft.properties.update(element.settings)
        if element.model is None:
            return ""
        draft.properties["model"] = element.model
        model = self.scopes.model(scope, element.model)
        if model is None:
            return ""
        draft.description = model.description or None
        draft.properties["model_type"] = model.kind
        if model.settings:
            draft.properties["model_parameters"] = " ".join(
                f"{name}={text}" if text else name for name, text in model.settings
            )
        return model.kind

    def _state_ports(
        self, draft: PartDraft, element: Element, place: Place, scope: Scope
    ) -> tuple[str | None, ...]:
        draft.properties.update(element.settings)
        if element.model is None:
            return ()
        draft.properties["model"] = element.model
        body = scope.subcircuit(element.model)
        if body is None:
            self.undefined.setdefault(element.model, place)
            return ()
        if len(body.ports) != len(element.nodes):
            self.builder.warn(
                "port-count",
                f"{element.name} has {len(element.nodes)} nodes, "
                f"{body.name} has {len(body.ports)} ports",
                place,
            )
        return body.ports

    def _state_source(
        self,
        draft: PartDraft,
        element: Element,
        nodes: tuple[str, ...],
        place: Place,
        environment: Environment,
    ) -> None:
        number = constant_volts(element.value or "", environment)
        if number is None:
            return
        draft.properties["spice_value"] = repr(number)
        if element.letter == "i" or len(nodes) < 2:
            return
        plus, minus = (self.shown.get(node) or self._net(node) for node in nodes[:2])
        ground = self.first.get("0")
        if plus is None or minus is None:
            return
        if minus == ground != plus:
            self._state_volts(plus, number, place)
        elif plus == ground != minus:
            self._state_volts(minus, -number, place)

    def _state_volts(self, net: str, volts: float, place: Place) -> None:
        known = self.volts.get(net)
        if known is None:
            self.volts[net] = volts + 0.0, place  # + 0.0: no negative zero
        elif known[0] != volts:
            self.builder.warn(
                "two-voltages",
                f"{net} is {known[0]:g} V ({known[1]}) and {volts:g} V. Kept {known[0]:g} V",
                place,
            )

    def finish(self) -> None:
        """Declare the nets that have more to them than pins, and sum up what was amiss."""
        if self.remarks.unfitted:
            for draft in self.builder.parts:
                if draft.refdes in self.remarks.unfitted:
                    draft.fitted = False
        spellings: dict[str, list[str]] = {}
        for written, net in self.shown.items():
            if written != net:
                spellings.setdefault(net, []).append(written)
        ground = self.first.get("0")
        if ground is not None:
            names = ["0", "GND", *spellings.pop(ground, ())]
            self.builder.net(ground, aliases=names, volts=0.0)
        for net, (volts, place) in self.volts.items():
            self.builder.net(net, place=place, volts=volts)
        for net, names in spellings.items():
            self.builder.net(net, aliases=names)
        if self.bare:
            names = [name for name, _ in self.bare]
            self.builder.warn(
                "no-nodes",
                f"{_counted(len(names), 'element')} without nodes: {_listed(names)}",
                self.bare[0][1],
            )
        if self.has_open:
            nets = [net for draft in self.builder.parts for _, net in draft.pin_facts]
            self.builder.warn(
                "open-nodes",
                f"node '{OPEN}' is taken as no connection: {_counted(nets.count(None), 'pin')}",
                Place(self.deck.files[0]),
            )
        if self.undefined:
            missing = list(self.undefined)
            self.builder.warn(
                "subcircuit-missing",
                f"{_counted(len(missing), 'subcircuit')} not defined here: {_listed(missing)}",
                self.undefined[missing[0]],
            )


@lru_cache(maxsize=4096)
def _number_text(value: str) -> str | None:
    number = spice_number(value)
    return None if number is None else repr(number)


def _is_placeholder(value: str, name: str) -> bool:
    """Exporters write `__U7` where a symbol has no model."""
    return value.startswith("__") and value[2:].lower() in (name.lower(), name[1:].lower())


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _listed(names: list[str]) -> str:
    more = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
    return ", ".join(names[:MOST_NAMES]) + more
