"""SPICE decks as open schematic tools write them.

A subcircuit is usually the model of one chip, so an X element is one part whose pins have the
port names of its `.subckt`; `read_with(document, "flatten")` expands it to path names (`X1/R3`).
Pins are the element's nodes counted from 1, unless a remark of the deck says their numbers. Names
compare without case and are shown as first written; node 0 and GND are one net.

Values stay as written. Because SPICE and the trade read `1M` differently, the number a simulator
takes is stated beside it, in `properties["spice_value"]`.

A deck cannot hold every refdes, pin number and net name: XF1 stands for F1, a diode's nodes are
anode and cathode whatever their pads are numbered. Our writer says so in remarks, and so may any
other:

    * part F1 is XF1, pins as ports
    * part Q3 is Q3, pins 3 1 2
    * net CHG STAT is written CHG_STAT
    * J4 is not fitted
"""

from __future__ import annotations

import re
from functools import lru_cache

from nettrace.collector import collector_off
from nettrace.errors import Place
from nettrace.model.board import Board
from nettrace.model.builder import BoardBuilder, PartDraft, PinFact
from nettrace.readers.document import Document
from nettrace.readers.spice_circuit import GROUND, Circuit, Found
from nettrace.readers.spice_deck import Deck, Scope, load_deck
from nettrace.readers.spice_elements import Element, pin_names
from nettrace.readers.spice_expressions import Environment, spice_number

#: How many names a warning about many parts lists.
MOST_NAMES = 8
#: Stands for the node of a pin that is on no net, in the decks of older schematic programs.
OPEN = "?"
#: The pin numbers of most elements: their nodes counted from 1.
NUMBERS = tuple(str(number) for number in range(1, 65))

_PART = re.compile(r"(?m)^\*[ \t]*part[ \t]+(\S+) is (\S+?)(?:, pins (as ports|\S[^\n]*?))?[ \t]*$")
_NET = re.compile(r"(?m)^\*[ \t]*net[ \t]+(\S(?:[^\n]*\S)?) is written (\S+)[ \t]*$")
_UNFITTED = re.compile(r"(?m)^\*[ \t]*(\S+) is not fitted[ \t]*$")
AS_PORTS = "as ports"
#: Waveforms: such a source has no one voltage. Source: ngspice user manual, chapter 4.
_WAVEFORM = re.compile(r"(?i)\b(?:pulse|sin|sine|exp|pwl|sffm|am|trnoise|trrandom|external|port)\b")
_ALTERNATING = re.compile(r"(?i)\bac\b")
#: `DC dc 5`: exporters write the word twice
_DIRECT = re.compile(r"(?i)\bdc\b ?=? ?(?:dc\b ?=? ?)?(\{[^{}]*\}|'[^']*'|[^\s=()]+)")
_FIRST = re.compile(r"(\{[^{}]*\}|'[^']*'|[^\s=()]+)")


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
        builder = BoardBuilder(document.path, "spice")
        builder.digest = document.digest
        deck = load_deck(document, builder)
        builder.name = re.sub(r"(?i)\A\.title", "", deck.title).strip("* \t")
        parts = _Parts(deck, builder)
        circuit = parts.circuit
        for found in circuit.expanded() if hierarchy == "flatten" else circuit.elements():
            parts.add(found)
        parts.finish()
        return builder.build()


#: Of a pin without a name of its own.
_NO_FACTS: PinFact = (None, None, None)


class _Nets(dict[str, str | None]):
    """The net as shown of each node as written; None where the node is open."""

    def __init__(self, said: dict[str, str]) -> None:
        self.said = said  # by remarks: lower-case node -> net
        self.first: dict[str, str] = {}  # lower case -> net as shown
        self.used: set[str] = set()  # nets as shown

    def __missing__(self, node: str) -> str | None:
        lowered = node.lower()
        if lowered in GROUND:
            lowered = "0"
        net = self.first.get(lowered)
        if net is None and node != OPEN:
            net, count = self.said.get(lowered, node), 2
            while net in self.used:  # a remark must not make two nets one
                net, count = f"{node}~{count}", count + 1
            self.used.add(net)
            self.first[lowered] = net
        self[node] = net
        return net


class _Parts:
    """Turns elements into parts: net names, values, what the models say, rail voltages."""

    def __init__(self, deck: Deck, builder: BoardBuilder) -> None:
        self.deck = deck
        self.builder = builder
        self.circuit = Circuit(deck, builder)
        text = deck.texts[0]
        # what remarks say, the first about a name: lower-case element -> refdes and pin numbers in
        # the order of the nodes, lower-case node -> net
        parts = _PART.findall(text) if "* part " in text else []
        nets = _NET.findall(text) if "* net " in text else []
        self.said = {name.lower(): (refdes, pins) for refdes, name, pins in parts[::-1]}
        self.nets = _Nets({node.lower(): net for net, node in nets[::-1]})
        self.unfitted = frozenset(_UNFITTED.findall(text)) if " is not fitted" in text else ()
        self.volts: dict[str, tuple[float, Place | None]] = {}
        self.bare: list[tuple[str, Place]] = []  # elements without nodes
        self.undefined: dict[str, Place | None] = {}  # subcircuits not in the deck

    def add(self, found: Found) -> None:
        """Make a part of an element."""
        refdes, nodes, element, line, scope, environment = found
        letter, value = element.letter, element.value
        # a Place is a named tuple: made so, it is made in a third of the time
        place: Place = tuple.__new__(Place, (self.deck.files[line[0]], line[1], 1))
        properties: dict[str, str] = {}
        nets = [self.nets[node] for node in nodes]
        if letter in "rcl" and value is not None:
            properties = _number_of(letter, value, environment)
        draft = PartDraft(refdes, place, value=value, properties=properties)
        self.builder.parts.append(draft)
        # exporters write `__U7` where a symbol has no model
        if (
            value is not None
            and value[:2] == "__"
            and (value[2:].lower() in (element.name.lower(), element.name[1:].lower()))
        ):
            draft.value = None
        names: tuple[str | None, ...] = ()
        if letter in "rcl":
            if element.model is not None or element.settings:
                self._state_model(draft, element, scope)
        elif nodes or element.controls:
            names = self._state_kind(draft, element, nets, scope, environment)
        elif element.settings:
            properties.update(element.settings)
        if not nodes and letter != "k":
            self.bare.append((refdes, place))
        numbers = NUMBERS
        if self.said and refdes.lower() in self.said:
            draft.refdes, numbers = self._remarked(refdes, len(nodes), names, place)
            if letter not in "rcl" or numbers[: len(nodes)] != NUMBERS[: len(nodes)]:
                # in the order of the nodes
                properties["spice_pins"] = " ".join(numbers[: len(nodes)])
        if not names and len(nets) <= len(numbers):  # most elements
            draft.pin_facts = dict.fromkeys(zip(numbers, nets, strict=False), _NO_FACTS)
            return
        for index, net in enumerate(nets):
            number = numbers[index] if index < len(numbers) else str(index + 1)
            name = names[index] if index < len(names) else None
            draft.pin(number, net, name=name if name != number else None)

    def _remarked(
        self, name: str, count: int, ports: tuple[str | None, ...], place: Place
    ) -> tuple[str, tuple[str, ...]]:
        """Return refdes and pin numbers of an element that a remark is about."""
        refdes, pins = self.said[name.lower()]
        numbers = tuple(pins.split())
        if pins == AS_PORTS:
            numbers = tuple(port for port in ports if port is not None)
        if len(numbers) == count == len(set(numbers)):
            return refdes, numbers or NUMBERS
        if pins:
            self.builder.warn(
                "remark-does-not-fit",
                f"the remark about {name} names other pins than its {count} nodes have: counted",
                place,
            )
        return refdes, NUMBERS

    def _state_kind(
        self,
        draft: PartDraft,
        element: Element,
        nets: list[str | None],
        scope: Scope,
        environment: Environment,
    ) -> tuple[str | None, ...]:
        """Fill in what the letter and the model say; return the pins' names."""
        letter = element.letter
        draft.properties["spice_element"] = letter.upper()
        if element.controls:
            draft.properties["controls"] = " ".join(element.controls)
        if letter in "vi":
            self._state_source(draft, element, nets, environment)
        if letter != "x":
            return pin_names(letter, self._state_model(draft, element, scope))
        draft.properties.update(element.settings)
        if element.model is None:
            return ()
        draft.properties["model"] = element.model
        body = scope.subcircuit(element.model)
        if body is None:
            self.undefined.setdefault(element.model, draft.place)
            return ()
        if len(body.ports) != len(nets):
            self.builder.warn(
                "port-count",
                f"{element.name} has {len(nets)} nodes, {body.name} has {len(body.ports)} ports",
                draft.place,
            )
        return body.ports

    def _state_model(self, draft: PartDraft, element: Element, scope: Scope) -> str:
        """Fill in what the element's model says; return its type, "" where there is none."""
        draft.properties.update(element.settings)
        if element.model is None:
            return ""
        draft.properties["model"] = element.model
        model = self.circuit.model(scope, element.model)
        if model is None:
            return ""
        draft.description = model.description or None
        draft.properties["model_type"] = model.kind
        if model.settings:
            draft.properties["model_parameters"] = model.shown
        return model.kind

    def _state_source(
        self,
        draft: PartDraft,
        element: Element,
        nets: list[str | None],
        environment: Environment,
    ) -> None:
        number = constant_volts(element.value or "", environment)
        if number is None:
            return
        draft.properties["spice_value"] = repr(number)
        if element.letter == "i" or len(nets) < 2:
            return
        plus, minus = nets[:2]
        ground = self.nets.first.get("0")
        if plus is None or minus is None or (minus == ground) is (plus == ground):
            return
        net, volts = (plus, number) if minus == ground else (minus, -number)
        # + 0.0: no negative zero
        known, where = self.volts.setdefault(net, (volts + 0.0, draft.place))
        if known != volts:
            self.builder.warn(
                "two-voltages",
                f"{net} is {known:g} V ({where}) and {volts:g} V. Kept {known:g} V",
                draft.place,
            )

    def finish(self) -> None:
        """Declare the nets that have more to them than pins, and sum up what was amiss."""
        warn, parts = self.builder.warn, self.builder.parts
        if "§" in self.deck.texts[0]:  # one simulator puts a letter and the sign before a reference
            for draft in parts:
                before, _, after = draft.refdes.partition("§")
                draft.refdes = after if after and len(before) == 1 else draft.refdes
        if self.unfitted:
            for draft in parts:
                if draft.refdes in self.unfitted:
                    draft.fitted = False
        spellings: dict[str, list[str]] = {}
        for written, net in self.nets.items():
            if net is not None and written != net:
                spellings.setdefault(net, []).append(written)
        ground = self.nets.first.get("0")
        if ground is not None:
            names = ["0", "GND", *spellings.pop(ground, ())]
            self.builder.net(ground, aliases=names, volts=0.0)
        for net, (volts, place) in self.volts.items():
            self.builder.net(net, place=place, volts=volts)
        for net, names in spellings.items():
            self.builder.net(net, aliases=names)
        if self.bare:
            names = [name for name, _ in self.bare]
            said = f"{_counted(len(names), 'element')} without nodes: {_listed(names)}"
            warn("no-nodes", said, self.bare[0][1])
        if OPEN in self.nets:
            count = sum(net is None for draft in parts for _, net in draft.pin_facts)
            said = f"node '{OPEN}' is taken as no connection: {_counted(count, 'pin')}"
            warn("open-nodes", said, Place(self.deck.files[0]))
        if self.undefined:
            missing = [*self.undefined]
            said = f"{_counted(len(missing), 'subcircuit')} not defined here: {_listed(missing)}"
            warn("subcircuit-missing", said, self.undefined[missing[0]])


def constant_volts(text: str, environment: Environment) -> float | None:
    """Return the DC voltage of a source's value text; None if it varies or is not known.

    A source that is 0 V but for a small signal (`dc 0 ac 1`) is an input, not a voltage.

    >>> none = Environment()
    >>> [constant_volts(t, none) for t in ("DC 5", "3.3V", "dc 0 ac 1", "DC 0 SIN(0 1 1k)")]
    [5.0, 3.3, None, None]
    """
    text = " ".join(text.split())
    if _WAVEFORM.search(text):
        return None
    alternating = _ALTERNATING.search(text)
    constant = text[: alternating.start()] if alternating else text
    said = _DIRECT.search(text) or _FIRST.match(constant.strip())
    volts = environment.value_of(said[1]) if said else None
    if volts == 0 and alternating:
        return None
    return volts


def _number_of(letter: str, value: str, environment: Environment) -> dict[str, str]:
    """Return what the properties of a resistor, capacitor or inductor say of its number."""
    text = _number_text(value)
    if text is not None:
        return {"spice_value": text}
    # 4k7, DNP, an expression: no number by its looks, so say by whose rules it stands
    said = {"spice_element": letter.upper()}
    if (number := environment.value_of(value)) is not None:
        said["spice_value"] = repr(number)
    return said


@lru_cache(maxsize=4096)
def _number_text(value: str) -> str | None:
    """Return the number SPICE takes the value for, as text; None where it is none to SPICE."""
    number = spice_number(value)
    return None if number is None else repr(number)


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _listed(names: list[str]) -> str:
    more = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
    return ", ".join(names[:MOST_NAMES]) + more
