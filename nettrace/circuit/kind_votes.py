"""The votes on a part's kind: each source of evidence adds its weight and its reason."""

from __future__ import annotations

import re
from typing import Final

from nettrace.circuit.kind_words import (
    DEVICE_WORDS,
    REFERENCE_WORDS,
    VALUE_WORDS,
    letters,
)
from nettrace.circuit.kinds import Kind
from nettrace.knowledge import Words, section
from nettrace.model.board import Part
from nettrace.values.part_value import read_part_value

__all__ = [
    "DESCRIPTION",
    "LIBRARY",
    "PACKAGE",
    "PACKAGE_OF_PASSIVES",
    "PASSIVE",
    "Votes",
    "device_votes",
    "kind_in",
    "pin_votes",
    "reference_votes",
    "value_votes",
]

# Weights of the evidence: common practice, no source. A reference letter is a hint (1.0); a
# package made for one kind of part says more, but is borrowed now and then (a bead on the pads of
# a resistor); a value in ohms, farads or henries, or words such as LED or TVS, say most.
LETTER: Final = 1.0
WORD_IN_REFERENCE: Final = 1.2
PACKAGE: Final = 1.5
PACKAGE_OF_PASSIVES: Final = 0.45
LIBRARY: Final = 1.1
LABEL: Final = 0.3  # the value of a connector or test point is what stands beside it
VALUE: Final = 1.6
UNIT: Final = 2.0
DESCRIPTION: Final = 0.7
DEVICE: Final = 3.0
PINS: Final = 1.4

_PREFIX: Final = re.compile(r"[A-Za-z$]+")
PASSIVE: Final = frozenset({Kind.RESISTOR, Kind.CAPACITOR, Kind.INDUCTOR, Kind.FERRITE})
_TWO_TERMINAL: Final = frozenset(
    {
        Kind.RESISTOR,
        Kind.CAPACITOR,
        Kind.INDUCTOR,
        Kind.FERRITE,
        Kind.FUSE,
        Kind.DIODE,
        Kind.ZENER,
        Kind.THERMISTOR,
        Kind.VARISTOR,
    }
)
#: A coarse kind and the finer ones that it may turn out to be.
_REFINEMENTS: Final[dict[Kind, tuple[Kind, ...]]] = {
    Kind.TRANSFORMER: (Kind.TRANSISTOR, Kind.MOSFET),  # T is a transistor in Europe
    Kind.DIODE: (Kind.ESD, Kind.LED, Kind.ZENER),
    Kind.TRANSISTOR: (Kind.MOSFET,),
    Kind.RESISTOR: (Kind.RESISTOR_ARRAY, Kind.THERMISTOR),
    Kind.INDUCTOR: (Kind.FERRITE, Kind.COMMON_MODE_CHOKE),
    Kind.IC: (Kind.ESD, Kind.MODULE, Kind.OSCILLATOR, Kind.CONNECTOR),
    Kind.MOTOR: (Kind.MODULE,),
    Kind.CRYSTAL: (Kind.OSCILLATOR, Kind.CONNECTOR),
}
_LABELLED: Final = frozenset({Kind.CONNECTOR, Kind.TEST_POINT, Kind.SWITCH, Kind.JUMPER})
_MOST_CRYSTAL_PINS: Final = 6
_MANY_PINS: Final = 9  # more pins than any transistor, diode array, filter or crystal has


_ORDER: Final = {kind: index for index, kind in enumerate(Kind)}


class Votes:
    """Weights and reasons per kind."""

    __slots__ = ("reasons", "weights")

    def __init__(self) -> None:
        self.weights: dict[Kind, float] = {}
        self.reasons: dict[Kind, list[str]] = {}

    def add(self, kind: Kind, weight: float, reason: str) -> None:
        """Add a vote; a weight below 0 speaks against the kind."""
        self.weights[kind] = self.weights.get(kind, 0.0) + weight
        self.reasons.setdefault(kind, []).append(reason)

    def refine(self) -> None:
        """Let the finer kind have what speaks for the coarser: a TVS is a diode too."""
        for coarse, finer in _REFINEMENTS.items():
            if coarse not in self.weights or self.weights[coarse] <= 0:
                continue
            if self.weights.keys().isdisjoint(finer):
                continue
            best = max(finer, key=lambda kind: self.weights.get(kind, 0.0))
            if self.weights.get(best, 0.0) >= 1.0:
                self.weights[best] += self.weights.pop(coarse)
                self.reasons[best] += self.reasons.pop(coarse)

    def leading(self) -> Kind:
        """The kind of most weight; the order of the enumeration settles a tie."""
        if len(self.weights) == 1:
            return next(iter(self.weights))
        return max(self.weights, key=lambda k: (self.weights[k], -_ORDER[k]))

    def best(self) -> tuple[Kind, float, tuple[str, ...]]:
        """Return the kind of most weight, its score (0 to 1) and its reasons."""
        if not self.weights:
            return Kind.UNKNOWN, 0.0, ()
        kind = self.leading()
        weight = self.weights[kind]
        if weight <= 0:
            return Kind.UNKNOWN, 0.0, ()
        others = 0.0
        for other, also in self.weights.items():
            if other is not kind and also > 0:
                others += also
        share = weight / (weight + others)
        score = share * min(1.0, 0.55 + 0.2 * weight)  # one letter alone: 0.75
        return kind, round(score, 2), tuple(self.reasons[kind])


def kind_in(text: str, words: Words[Kind]) -> Kind | None:
    """Return the kind of the first pattern that is met in the text."""
    return words.find(text)


def reference_votes(part: Part, votes: Votes, spice: bool) -> None:
    """Vote by the letters of the reference, or of a SPICE element."""
    refdes = part.refdes
    name = refdes.strip()
    if not name:
        return
    match = _PREFIX.match(name)
    prefix = match[0].upper() if match else ""
    if spice and _element_votes(part, prefix, votes):
        return
    if len(prefix) == 1 and name[:1].islower() and not name[1:2].isdecimal():
        return  # y_OBUF_inst, x[0]: a word, no reference letter
    if (
        spice
        and prefix[:1] in {"V", "I", "B", "E", "G", "H"}
        and prefix not in section("kinds", "letters_in_words")["words"].split()
    ):
        votes.add(Kind.SOURCE, LETTER, f"reference {refdes} is a source in SPICE")
        return
    if prefix == "U$":  # the placeholder that one family of suites gives to any unnamed part
        return
    kind = letters().get(prefix)
    if kind is not None:
        votes.add(kind, LETTER, f"reference letter {prefix}")
        return
    kind = kind_in(name.upper(), REFERENCE_WORDS)
    if kind is not None:
        votes.add(kind, WORD_IN_REFERENCE, f"reference {refdes}")
        return
    # R1A1, C12B: a known letter followed by a digit, with letters later on
    if prefix and len(prefix) < len(name) and name[len(prefix)].isdigit():
        kind = letters().get(prefix[:1]) if prefix[:1] in "RCLUQDJ" else None
        if kind is not None and len(prefix) == 2:
            votes.add(kind, LETTER * 0.5, f"reference begins with {prefix[:1]}")


#: Elements whose first letter says what they are, whatever follows it (SPICE; ngspice manual,
#: table of element letters).
_ELEMENTS: Final = {"R": Kind.RESISTOR, "C": Kind.CAPACITOR, "L": Kind.INDUCTOR}
#: Letters of MOSFETs: M alone, or before a part's own reference (common practice, no source).
_M_ELEMENTS: Final = frozenset({"M", "MN", "MP", "MQ"})


def _element_votes(part: Part, prefix: str, votes: Votes) -> bool:
    """Let a SPICE element's letter speak where it is surely one: Rload1 of 50, Rc, Cpara2.

    A deck that a schematic tool wrote also has parts under their own references (RV1, LED1, CN1):
    those have a known prefix and no figure.
    """
    behind = prefix[1:]
    element = part.properties.get("spice_element")
    if element == "X" and prefix[:1] == "X" and behind in letters():
        votes.add(letters()[behind], LETTER, f"reference letter {behind} behind the deck's X")
        return True
    if element == "X" and prefix == "X":
        return True  # a subcircuit of any kind, not a crystal
    if element == "M" and prefix in _M_ELEMENTS and len(part.pins) == 4:
        # drain, gate, source, bulk: a module has no such line
        votes.add(Kind.MOSFET, LETTER, f"element {part.refdes} of a SPICE deck")
        return True
    kind = _ELEMENTS.get(prefix[:1])
    if kind is None or len(part.pins) != 2 or len(prefix) < 2:
        return False
    figure = "spice_value" in part.properties or "spice_element" in part.properties
    if not figure and prefix in letters():
        return False
    votes.add(kind, LETTER, f"element {part.refdes} of a SPICE deck")
    return True


def pin_votes(part: Part, votes: Votes) -> None:
    """Vote by how many pins there are and what they are called."""
    pins = part.pins
    names = {pin.number.upper() for pin in pins}
    names.update([pin.name.upper() for pin in pins if pin.name])
    if len(pins) <= 6 and {"G", "D", "S"} <= names:
        votes.add(Kind.MOSFET, PINS, "pins G, D and S")
    elif len(pins) <= 6 and {"B", "C", "E"} <= names:
        votes.add(Kind.TRANSISTOR, PINS, "pins B, C and E")
    elif len(pins) == 2 and "K" in names and "A" in names:
        votes.add(Kind.DIODE, 0.6, "pins A and K")
    elif len(pins) >= 2 and _are_contacts(names, len(pins)):
        votes.add(Kind.CONNECTOR, PINS, "pins named Pin_1, Pin_2...")
    if len(pins) == 1:
        for kind in (*_TWO_TERMINAL, Kind.IC, Kind.TRANSISTOR, Kind.MOSFET, Kind.CRYSTAL):
            if kind in votes.weights:
                votes.add(kind, -0.6, "only one pin")
        if not votes.weights and part.pads:
            votes.add(Kind.TEST_POINT, 0.5, "one pad")
        if Kind.MICROPHONE in votes.weights:
            # MK is a microphone's reference, and in some libraries a mounting hole's
            votes.add(Kind.MICROPHONE, -0.6, "only one pin")
            votes.add(Kind.MECHANICAL, 0.5, "only one pin")
    if len(pins) >= _MANY_PINS:
        for kind in (*_TWO_TERMINAL, Kind.TRANSISTOR, Kind.MOSFET, Kind.LED, Kind.TEST_POINT):
            if kind in votes.weights:
                votes.add(kind, -1.0, f"{len(pins)} pins")
    if len(pins) > _MOST_CRYSTAL_PINS and Kind.CRYSTAL in votes.weights:
        votes.add(Kind.CRYSTAL, -1.5, f"{len(pins)} pins")
    if len(pins) > 3 and Kind.MOTOR in votes.weights:
        votes.add(Kind.MODULE, 1.2, f"{len(pins)} pins")
    if not pins and not any(pad.number for pad in part.pads):
        votes.add(Kind.MECHANICAL, 1.1, "no pins")


def _are_contacts(names: set[str], pins: int) -> bool:
    """Return whether half of the pins are named Pin_1, Pin_2... as connectors' are."""
    return sum([name.startswith("PIN_") for name in names]) >= pins / 2


def value_votes(part: Part, text: str, votes: Votes) -> None:
    """Vote by the value text: its words, or the unit of its figure."""
    kind = kind_in(text, VALUE_WORDS)
    leading = votes.best()[0]
    if kind is not None:
        votes.add(kind, LABEL if leading in _LABELLED else VALUE, f"value {text}")
        return
    if leading is Kind.VARISTOR and len(part.pins) == 3:
        # RV is a variable resistor's letter too, and a varistor has two pins and no ohms
        value = read_part_value(text, "resistor")
        if value.ohms and not value.remainder:
            votes.add(Kind.POTENTIOMETER, VALUE, f"value {text} in ohms, three pins")
        return
    family = leading.value if leading is not Kind.UNKNOWN else None
    if leading in PASSIVE or family is None:
        value = read_part_value(text, None)
        for figure, unit_kind in (
            (value.farads, Kind.CAPACITOR),
            (value.henries, Kind.INDUCTOR),
            (value.ohms, Kind.RESISTOR),
        ):
            if figure is None:
                continue
            explicit = unit_kind is not Kind.RESISTOR or not value.remainder
            plausible = leading in PASSIVE or len(part.pins) == 2
            if explicit and plausible and unit_kind is not leading:
                if unit_kind is Kind.RESISTOR and leading in {Kind.INDUCTOR, Kind.FERRITE}:
                    # "600R" under L or FB is a bead's impedance, "0R" a link on its pads
                    if figure == 0:
                        votes.add(Kind.RESISTOR, UNIT, f"value {text}")
                    elif leading is Kind.INDUCTOR:
                        votes.add(Kind.FERRITE, UNIT, f"value {text} in ohms")
                elif unit_kind is not Kind.RESISTOR:
                    votes.add(unit_kind, UNIT, f"value {text}")
                elif family is None and figure >= 0:
                    votes.add(unit_kind, 0.8, f"value {text}")
            break
        if value.impedance_ohms is not None and leading in {Kind.INDUCTOR, Kind.RESISTOR}:
            votes.add(Kind.FERRITE, UNIT, f"value {text} is an impedance")


def device_votes(part: Part, votes: Votes) -> None:
    """Vote by the fields in which simulators keep the kind of a device."""
    for name, text in part.properties.items():
        key = name.upper().replace(".", " ").replace("_", " ")
        if key in {"SIM DEVICE", "SPICE PRIMITIVE", "MODEL TYPE", "MODEL", "DEVICE", "TYPE"}:
            kind = kind_in(text, DEVICE_WORDS)
            if kind is not None:
                votes.add(kind, DEVICE, f"{name} {text}")
                return
