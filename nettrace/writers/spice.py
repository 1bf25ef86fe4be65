"""A board written as a SPICE deck.

Two-pin resistors, capacitors and inductors stand under their own letters, and so does whatever was
read from a deck; everything else is an X element, its refdes after the X, with a subcircuit that
names the pins and has no content. Ports have the pins' names where the pins are numbered 1, 2, 3...
(then the position is the number), else their numbers.

SPICE compares names without case and has few letters to spare: names that would meet or could not
be written are changed. Remarks say which, and what the elements' pins are, so that our reader
gives the board's own names and numbers back (`readers/spice.py`).
"""

from __future__ import annotations

import re

from nettrace.model.board import Board, Part, Pin
from nettrace.values.part_value import read_part_value
from nettrace.writers.names import Names

_GROUND = frozenset(("0", "gnd"))
LINE_COLUMNS = 78
#: What a word of a deck may be made of, beside letters and digits of any script.
_WORD_CHARACTERS = frozenset("_+-./~#:<>|!@^&%?[]*")
#: Letters of two-pin parts -> what they are, and the name of their value in PartValue.
_PASSIVES = {"R": ("resistor", "ohms"), "C": ("capacitor", "farads"), "L": ("inductor", "henries")}
_PLAIN_REFDES = re.compile(r"[RCL]\d+[A-Za-z]?\Z")
_WORD = re.compile(r"\S+")
AS_PORTS = "as ports"  # the ports of the part's subcircuit are its pin numbers
_EXPRESSION = re.compile(r"[\s()*/<>=!?]")
#: Properties that say how an element of a deck was written.
_OWN_PROPERTIES = frozenset(
    (
        "spice_element", "spice_value", "spice_pins", "model", "model_type", "model_parameters",
        "controls", "words",
    )
)  # fmt: skip
_SUFFIXES = (
    (1e12, "T"), (1e9, "G"), (1e6, "Meg"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "u"),
    (1e-9, "n"), (1e-12, "p"),
)  # fmt: skip


def write(board: Board) -> str:
    """Return the deck.

    Kept: parts with refdes (X before those that are no element), value, pins by position, nets,
    models as far as they were read. Not kept: packages, places, whether fitted (a remark says it).
    """
    return _Writer(board).text()


class _Writer:
    def __init__(self, board: Board) -> None:
        self.board = board
        # one net may be ground; no other gets a name that SPICE takes for it
        self.net_names = Names(_GROUND | {"params:", "text:", "optional:"})
        ground = [net.name for net in board.nets if net.name.lower() in _GROUND][:1]
        self.nets = {
            net.name: net.name if net.name in ground else self.net_names.new(_name(net.name, "net"))
            for net in board.nets
        }
        self.refdes = Names()
        self.lines: list[str] = []
        self.remarks: list[str] = []
        self.models: dict[str, str] = {}  # lower-case name -> its line
        # ports and wished name -> name of the subcircuit
        self.bodies: dict[tuple[str, tuple[str, ...]], str] = {}
        self.body_names = Names()

    def text(self) -> str:
        for part in self.board.parts:
            if part.refdes or part.pins:
                self.part(part)
        title = " ".join(self.board.name.split()) or "board"
        remarks = self.remarks + [
            f"* net {_shown(name)} is written {word}"
            for name, word in self.nets.items()
            if word != name
        ]
        bodies: list[str] = []
        for (_, ports), name in self.bodies.items():
            bodies += [*_wrapped([".subckt", name, *ports]), f".ends {name}"]
        lines = [*self.lines, *bodies, *self.models.values(), *remarks, ".end"]
        return "\n".join([f".title {title}", *lines]) + "\n"

    def part(self, part: Part) -> None:
        if part.fitted is False:
            self.lines.append(f"* {_shown(part.refdes or part.key)} is not fitted")
        letter = part.properties.get("spice_element", "")
        pins = _in_node_order(part)
        counted = _counted(pins) or pins != list(part.pins)
        if not pins:
            self.bare(part)
        elif counted and self.is_element(part, letter):
            self.element(part, letter, pins)
        elif counted and len(pins) == 2 and self.is_passive(part):
            # no value known: none written
            name = self.name(part)
            self.lines += _wrapped([name, *self.nodes(part, pins), *_value_text(part).split()])
            self.remark(part, name)
        else:
            self.call(part, pins, counted=counted)

    def is_element(self, part: Part, letter: str) -> bool:
        """Whether the part was read from a deck and can stand there again as it did."""
        if not letter or letter == "X" or part.refdes[:1].upper() != letter:
            return False
        # the value of E and G names their control nodes
        return letter not in "EG" or all(self.nets[net] == net for net in part.nets)

    def is_passive(self, part: Part) -> bool:
        if part.properties.get("spice_element"):
            return False
        # as read from a deck, any name with the letter is one
        lettered = part.refdes[:1].upper() in _PASSIVES and "spice_value" in part.properties
        return lettered or _PLAIN_REFDES.match(part.refdes) is not None

    def name(self, part: Part, prefix: str = "") -> str:
        wanted = part.key
        if prefix and not wanted.upper().startswith(prefix):
            wanted = prefix + wanted
        elif not prefix and not (wanted[:1].isascii() and wanted[:1].isalpha()):
            wanted = "X" + wanted
        return self.refdes.new(_name(wanted, "X"))

    def nodes(self, part: Part, pins: list[Pin]) -> list[str]:
        def unconnected(pin: Pin) -> str:
            own = f"unconnected-_{part.key}-Pad{pin.number}_"
            return self.net_names.new(_name(own, "unconnected"))

        return [unconnected(pin) if pin.net is None else self.nets[pin.net] for pin in pins]

    def bare(self, part: Part) -> None:
        """A part without pins: a name and one word, as schematic tools write it."""
        name = self.name(part)
        if part.properties.get("spice_element") == "K":
            coupled = part.properties.get("controls", "").split()
            self.lines += _wrapped([name, *coupled, *(part.value or "").split()])
        else:
            word = _word(part.value or "") or f"__{_word(part.refdes) or 'part'}"
            self.lines.append(f"{name} {word}")
        self.remark(part, name)

    def remark(self, part: Part, name: str, pins: str = "") -> None:
        """Say which part an element is, where its name or its pins do not say so."""
        plain = name == part.refdes and not pins and name[:1].upper() != "X"
        if plain or not _WORD.fullmatch(part.refdes):
            return  # an X element's nodes are the pins' in order only where a remark says so
        self.remarks.append(f"* part {part.refdes} is {name}{f', pins {pins}' if pins else ''}")

    def call(self, part: Part, pins: list[Pin], *, counted: bool) -> None:
        names = Names()
        ports = tuple(
            names.new(_name((pin.name or pin.number) if counted else pin.number, "pin"))
            for pin in pins
        )
        wished = _word(part.value or part.properties.get("model", "")) or "PART"
        body = self.bodies.get((wished, ports))
        if body is None:
            body = self.bodies[wished, ports] = self.body_names.new(_name(wished, "PART"))
        name = self.name(part, "X")
        self.lines += _wrapped([name, *self.nodes(part, pins), body, *_settings(part)])
        numbers = [pin.number for pin in pins]
        as_ports = AS_PORTS if list(ports) == numbers else _number_list(numbers)
        self.remark(part, name, "" if counted else as_ports)

    def element(self, part: Part, letter: str, pins: list[Pin]) -> None:
        """An element that was read from a deck, under its own letter again."""
        name = self.name(part)
        nodes, value, words = self.nodes(part, pins), part.value or "", [name]
        self.remark(part, name, "" if _counted(pins) else _number_list([p.number for p in pins]))
        model = part.properties.get("model", "")
        if letter in "RCL":
            words += [*nodes, *([model] if model != value else []), *_quoted(value).split()]
            words += _settings(part)
        elif letter in "VIB":
            words += [*nodes[:2], *value.split()]
        elif letter in "EG":
            words += [*nodes[:2], *(value.split() or nodes[2:])]
        elif letter in "FHT":
            words += [*nodes, *value.split()]
        elif letter == "W":
            words += [*nodes, *part.properties.get("controls", "").split(), model]
        else:
            words += [*nodes, model or _word(value) or "MODEL", *_settings(part)]
        self.lines += _wrapped(words)
        if model and part.properties.get("model_type"):
            said = f"{part.properties['model_type']}({part.properties.get('model_parameters', '')})"
            self.models.setdefault(model.lower(), f".model {model} {said}")


def _in_node_order(part: Part) -> list[Pin]:
    """Return the pins as the element they were read from has them, else by number."""
    wanted = part.properties.get("spice_pins", "").split()
    by_number = {pin.number: pin for pin in part.pins}
    if wanted and len(by_number) == len(part.pins) and set(wanted) == set(by_number):
        return [by_number[number] for number in wanted]
    return list(part.pins)


def _counted(pins: list[Pin]) -> bool:
    return [pin.number for pin in pins] == [str(n) for n in range(1, len(pins) + 1)]


def _number_list(numbers: list[str]) -> str:
    """Return numbers as a remark holds them; "" where one has a blank in it."""
    return " ".join(numbers) if all(_WORD.fullmatch(number) for number in numbers) else ""


def _settings(part: Part) -> list[str]:
    if "spice_element" not in part.properties:
        return []
    return [
        f"{name}={text}"
        for name, text in part.properties.items()
        if name not in _OWN_PROPERTIES and re.fullmatch(r"\w+", name) and text
    ]


def _value_text(part: Part) -> str:
    """Return a passive's value as SPICE reads it: `1M` of a drawing is `1Meg`."""
    value = part.value or ""
    if "spice_value" in part.properties:
        return _quoted(value)
    kind, field = _PASSIVES[part.refdes[0].upper()]
    number = getattr(read_part_value(value, kind), field)
    return _word(value) if number is None else _suffixed(number)


def _quoted(value: str) -> str:
    """An expression goes into quotes, as it was; `100n 16V` is none."""
    if not _EXPRESSION.search(value) or value[0] in "{0123456789.":
        return value
    return f"'{value}'" if "'" not in value else _word(value)


def _suffixed(number: float) -> str:
    """Return a number with SPICE's suffix.

    >>> _suffixed(2.2e6), _suffixed(4.7e-8), _suffixed(0.0)
    ('2.2Meg', '47n', '0')
    """
    for factor, suffix in _SUFFIXES:
        if abs(number) >= factor * (1 - 1e-9):
            scaled = number / factor
            text = f"{scaled:.12g}"
            return f"{text}{suffix}" if "e" not in text else f"{number:.12g}"
    return f"{number:.12g}"


def _word(text: str) -> str:
    """Return a text as one word of a deck."""
    word = "".join(char if char.isalnum() or char in _WORD_CHARACTERS else "_" for char in text)
    return f"_{word}" if word[:1] in {"*", "+", ".", "["} else word


def _name(text: str, fallback: str) -> str:
    """Return a text as a name; what begins a remark, a list or a setting does not begin it."""
    word = "".join(char if char.isalnum() or char in _WORD_CHARACTERS else "_" for char in text)
    if not word or word == "+" or word[0] in "*.[~%" or word.startswith("//"):
        return f"_{word}" if word else fallback
    return word


def _shown(name: str) -> str:
    """Return a name as a remark can hold it."""
    return " ".join(name.split()) or "(no name)"


def _wrapped(words: list[str]) -> list[str]:
    """Break a long line between words; the rest goes on after `+`."""
    lines = [words[0]]
    for word in words[1:]:
        if len(lines[-1]) + 1 + len(word) > LINE_COLUMNS:
            lines.append(f"+ {word}")
        else:
            lines[-1] += f" {word}"
    return lines
