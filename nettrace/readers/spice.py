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

from nettrace.collector import collector_off
from nettrace.errors import Place
from nettrace.model.board import Board
from nettrace.model.builder import BoardBuilder, PartDraft
from nettrace.readers.document import Document
from nettrace.readers.spice_deck import Deck, Scope, load_deck
from nettrace.readers.spice_elements import Element
from nettrace.readers.spice_expressions import Environment
from nettrace.readers.spice_flatten import expand
from nettrace.readers.spice_models import pin_names
from nettrace.readers.spice_names import NUMBERS, OPEN, BoardNames
from nettrace.readers.spice_plain import PlainLines, number_text
from nettrace.readers.spice_remarks import read_remarks
from nettrace.readers.spice_scopes import ScopeReader
from nettrace.readers.spice_sources import constant_volts
from nettrace.readers.spice_text import Line

__all__ = ["read", "read_with"]

#: How many names a warning about many parts lists.
MOST_NAMES = 8


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
    with collector_off():
        return _read(document, hierarchy)


def _read(document: Document, hierarchy: str) -> Board:
    builder = BoardBuilder(document.path, "spice")
    builder.digest = document.digest
    deck = load_deck(document, builder)
    builder.name = _title(deck.title)
    reader = _DeckReader(deck, builder, expands=hierarchy == "flatten")
    reader.read()
    reader.finish()
    return builder.build()


def _title(line: str) -> str:
    if line.lower().startswith(".title"):
        line = line[len(".title") :]
    return line.strip("* \t")


class _DeckReader:
    """Turns elements into parts: net names, values, what the models say, rail voltages."""

    def __init__(self, deck: Deck, builder: BoardBuilder, *, expands: bool) -> None:
        self.deck = deck
        self.builder = builder
        self.expands = expands
        self.scopes = ScopeReader(deck, builder)
        self.remarks = read_remarks(deck.texts[0])
        self.names = BoardNames(self.remarks, builder)
        self.plain = PlainLines(deck, builder, self.scopes, self.names, expands=expands)
        self.volts: dict[str, tuple[float, Place]] = {}
        self.bare: list[tuple[str, Place]] = []  # elements without nodes
        self.undefined: dict[str, Place] = {}  # subcircuits not in the deck

    def read(self) -> None:
        """Make a part of every element at top level, or of the whole expanded circuit."""
        if self.expands:
            expand(self.deck, self.scopes, self.plain, self.add, self.builder)
            return
        root = self.deck.root
        environment = self.scopes.environment(root)
        for line, element in self.plain.others(root, environment):
            self.add(element.name, element.nodes, element, line, root, environment)

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
        numbers: tuple[str, ...] = NUMBERS
        if refdes.lower() in self.remarks.parts:
            draft.refdes, numbers = self.names.said(refdes, len(nodes), names, place)
            # in the order of the nodes
            draft.properties["spice_pins"] = " ".join(numbers[: len(nodes)])
        shown = self.names.shown
        for index, node in enumerate(nodes):
            number = numbers[index] if index < len(numbers) else str(index + 1)
            net = shown.get(node) or self.names.net(node)
            name = names[index] if index < len(names) else None
            draft.pin(number, net, name=name if name != number else None)
        self.plain.learn(scope, element, draft)

    def _state_number(
        self, draft: PartDraft, letter: str, value: str | None, environment: Environment
    ) -> None:
        if value is None:
            return
        text = number_text(value)
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
        plus, minus = (self.names.shown.get(node) or self.names.net(node) for node in nodes[:2])
        ground = self.names.first.get("0")
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
        if "§" in self.deck.texts[0] or self.remarks.unfitted:
            self.builder.thaw()
        if "§" in self.deck.texts[0]:
            for draft in self.builder.parts:
                draft.refdes = _reference(draft.refdes)
        if self.remarks.unfitted:
            for draft in self.builder.parts:
                if draft.refdes in self.remarks.unfitted:
                    draft.fitted = False
        spellings: dict[str, list[str]] = {}
        for written, net in self.names.shown.items():
            if written != net:
                spellings.setdefault(net, []).append(written)
        ground = self.names.first.get("0")
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
        if self.names.has_open:
            nets = [net for draft in self.builder.parts for net in draft.nets()]
            nets += self.builder.frozen_nets
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


def _is_placeholder(value: str, name: str) -> bool:
    """Exporters write `__U7` where a symbol has no model."""
    return value.startswith("__") and value[2:].lower() in (name.lower(), name[1:].lower())


def _reference(name: str) -> str:
    """Return the board's reference: one simulator puts a letter and a section sign before it."""
    before, sign, after = name.partition("§")
    return after if sign and after and len(before) == 1 else name


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _listed(names: list[str]) -> str:
    more = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
    return ", ".join(names[:MOST_NAMES]) + more
