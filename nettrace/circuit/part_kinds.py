"""The kind of every part, from reference, package, value, fields and pins, with its values decoded.

Each source of evidence votes with its weight and its reason; the words by which the trade names
parts stand in knowledge/kinds.toml.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import cache, lru_cache
from typing import Final

from nettrace.circuit.evidence import PartKind
from nettrace.circuit.kinds import Kind
from nettrace.circuit.rail_evidence import read_rail_name
from nettrace.knowledge import Words, section
from nettrace.model.board import Board, Part
from nettrace.model.names import match_names
from nettrace.model.notes import Notes
from nettrace.values.part_value import PartValue, read_part_value
from nettrace.values.quantity import read_quantity
from nettrace.values.sizes import land_pattern_size

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

MOST_CRYSTAL_PINS: Final = 6
MANY_PINS: Final = 9  # more pins than any transistor, diode array, filter or crystal has

_REFERENCE_WORDS: Final = Words("kinds", "reference", meaning=Kind)
_PACKAGE_WORDS: Final = Words("kinds", "package", meaning=Kind)
_VALUE_WORDS: Final = Words("kinds", "value", meaning=Kind)
_DESCRIPTION_WORDS: Final = Words("kinds", "description", meaning=Kind)
_DEVICE_WORDS: Final = Words("kinds", "device", meaning=Kind)

_PASSIVE: Final = frozenset({Kind.RESISTOR, Kind.CAPACITOR, Kind.INDUCTOR, Kind.FERRITE})
_TWO_TERMINAL: Final = _PASSIVE | {
    Kind.FUSE, Kind.DIODE, Kind.ZENER, Kind.THERMISTOR, Kind.VARISTOR
}  # fmt: skip
#: Kinds whose fields and descriptions speak of the part's own value.
_RATED: Final = _PASSIVE | {Kind.RESISTOR_ARRAY, Kind.THERMISTOR, Kind.FUSE}
_LABELLED: Final = frozenset({Kind.CONNECTOR, Kind.TEST_POINT, Kind.SWITCH, Kind.JUMPER})
#: A coarse kind and the finer ones that it may turn out to be.
_REFINEMENTS: Final[Mapping[Kind, tuple[Kind, ...]]] = {
    Kind.TRANSFORMER: (Kind.TRANSISTOR, Kind.MOSFET),  # T is a transistor in Europe
    Kind.DIODE: (Kind.ESD, Kind.LED, Kind.ZENER),
    Kind.TRANSISTOR: (Kind.MOSFET,),
    Kind.RESISTOR: (Kind.RESISTOR_ARRAY, Kind.THERMISTOR),
    Kind.INDUCTOR: (Kind.FERRITE, Kind.COMMON_MODE_CHOKE),
    Kind.IC: (Kind.ESD, Kind.MODULE, Kind.OSCILLATOR, Kind.CONNECTOR),
    Kind.MOTOR: (Kind.MODULE,),
    Kind.CRYSTAL: (Kind.OSCILLATOR, Kind.CONNECTOR),
}
_ORDER: Final = {kind: index for index, kind in enumerate(Kind)}


def infer_kinds(board: Board, notes: Notes | None = None) -> dict[str, PartKind]:
    """Return the kind of every part, by part key, in the board's order.

    A value in the user's notes replaces the file's; `fitted` is False where a note, an attribute
    of the file, or the value text says so, in this order of rank.
    """
    values, unfitted, fitted = _noted(board, notes or Notes())
    spice = any(source.format == "spice" for source in board.sources)
    # a parts list says nothing of pins: then having none means nothing
    pinless = not any(part.pins or part.pads for part in board.parts)
    found: dict[str, PartKind] = {}
    for part in board.parts:
        said = True if part.key in fitted else False if part.key in unfitted else None
        found[part.key] = _infer(part, values.get(part.key, part.value), said, spice, pinless)
    return found


def _noted(board: Board, notes: Notes) -> tuple[dict[str, str], set[str], set[str]]:
    if not (notes.values or notes.not_fitted or notes.fitted):
        return {}, set(), set()
    keys = [part.key for part in board.parts]

    def keys_of(patterns: Iterable[str]) -> set[str]:
        return {key for pattern in patterns for key in match_names(pattern, keys)}

    values = {
        key: text for pattern, text in notes.values.items() for key in match_names(pattern, keys)
    }
    return values, keys_of(notes.not_fitted), keys_of(notes.fitted)


def is_logic_cell(part: Part) -> bool:
    """Return whether a part looks like a cell in a chip's netlist: without package or pin numbers.

    Pins of such a cell have names alone; those of a board's schematic have numbers too.
    """
    numbered = any(pin.name not in {None, pin.number} for pin in part.pins)
    return "cell" in part.properties and part.package is None and not numbered


def _is_cell(part: Part) -> bool:
    """Return whether the part is an instance of a cell in a chip's netlist, by all that is said."""
    cell = part.properties.get("cell")
    said = part.package is None and part.description is None and part.value in {None, cell}
    return cell is not None and said and re.fullmatch(r"[A-Z]{1,4}\d+[A-Z]?", part.refdes) is None


def _infer(part: Part, text: str | None, said: bool | None, spice: bool, pinless: bool) -> PartKind:
    votes = _Votes()
    value_text = ""
    if not _is_cell(part):
        value_text = (text or "").strip()
        votes.by_reference(part, spice)
        votes.by_package(part)
        votes.by_description(part)
        votes.by_device(part)
        if not pinless:
            votes.by_pins(part)
        if value_text:
            votes.by_value(part, value_text)
        votes.refine()
    kind, score, because = votes.best()
    count = len(part.pins)
    nets = {pin.net for pin in part.pins}
    if kind is Kind.RESISTOR and count >= 4 and count % 2 == 0 and len(nets) > 2:
        kind, because = Kind.RESISTOR_ARRAY, (*because, f"{count} pins")
    # a bead has one winding: with ohms for a value, too, two windings are a choke's
    if kind in {Kind.INDUCTOR, Kind.FERRITE} and count == 4 and len(part.nets) == 4:
        kind, because = Kind.COMMON_MODE_CHOKE, (*because, "four pins on four nets")
    if (
        kind is Kind.CRYSTAL
        and len(because) == 1
        and any(net is not None and read_rail_name(net).kind in {"rail", "supply"} for net in nets)
    ):
        # X is a connector's letter too, and no crystal has a supply on its pins
        kind, score, because = Kind.CONNECTOR, 0.5, (*because, "a supply on its pins")
    value = PartValue()
    if value_text:
        value = read_part_value(value_text, None if kind is Kind.UNKNOWN else _family(kind))
    value = _with_fields(part, kind, value)
    fitted = value.fitted is not False
    if said is not None:
        fitted = said
        because = (*because, "fitted by the user's note" if said else "not fitted by note")
    elif part.fitted is not None and fitted:
        fitted = part.fitted
    return PartKind(
        kind=kind,
        score=score,
        because=because,
        # a bead's figure is an impedance, never its DC resistance
        ohms=value.ohms if kind not in {Kind.FERRITE, Kind.INDUCTOR} else value.dcr_ohms,
        farads=value.farads,
        henries=value.henries,
        hertz=value.hertz,
        tolerance=value.tolerance,
        rated_volts=value.volts,
        rated_amperes=value.amperes,
        rated_watts=value.watts,
        size_inch=value.size_inch or _size_of(part.package),
        dielectric=value.dielectric,
        fitted=fitted,
    )


def _family(kind: Kind) -> str:
    return (Kind.RESISTOR if kind is Kind.RESISTOR_ARRAY else kind).value


@lru_cache(maxsize=4096)
def _size_of(package: str | None) -> str | None:
    """Return the inch size in a package name (`C_0402_1005Metric` gives 0402).

    A land pattern name of IPC-7351 says the body in millimetres: `CAPC1005X55N` is 0402 too.
    """
    if not package:
        return None
    shape = package.rpartition(":")[2]
    if (chip := land_pattern_size(shape)) is not None:
        return chip.inch
    match = re.search(r"(?<!\d)(01005|0201|0402|0603|0805|1206|1210|1812|2010|2512)(?!\d)", shape)
    return match[1] if match else None


class _Votes:
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
            if self.weights.get(coarse, 0.0) <= 0:
                continue
            best = max(finer, key=lambda kind: self.weights.get(kind, 0.0))
            if self.weights.get(best, 0.0) >= 1.0:
                self.weights[best] += self.weights.pop(coarse)
                self.reasons[best] += self.reasons.pop(coarse)

    def best(self) -> tuple[Kind, float, tuple[str, ...]]:
        """Return the kind of most weight, its score (0 to 1) and its reasons.

        The order of the enumeration settles a tie.
        """
        weights = self.weights
        kind = max(weights, key=lambda k: (weights[k], -_ORDER[k]), default=Kind.UNKNOWN)
        weight = weights.get(kind, 0.0)
        if weight <= 0:
            return Kind.UNKNOWN, 0.0, ()
        others = sum(also for other, also in weights.items() if other is not kind and also > 0)
        share = weight / (weight + others)
        score = share * min(1.0, 0.55 + 0.2 * weight)  # one letter alone: 0.75
        return kind, round(score, 2), tuple(self.reasons[kind])

    def by_reference(self, part: Part, spice: bool) -> None:
        """Vote by the letters of the reference, or of a SPICE element."""
        refdes = part.refdes
        name = refdes.strip()
        if not name:
            return
        match = _PREFIX.match(name)
        prefix = match[0].upper() if match else ""
        if spice and self._by_element(part, prefix):
            return
        if len(prefix) == 1 and name[:1].islower() and not name[1:2].isdecimal():
            return  # y_OBUF_inst, x[0]: a word, no reference letter
        trade = section("kinds", "letters_in_words")["words"].split() if spice else ()
        if spice and prefix[:1] in {"V", "I", "B", "E", "G", "H"} and prefix not in trade:
            self.add(Kind.SOURCE, LETTER, f"reference {refdes} is a source in SPICE")
            return
        if prefix == "U$":  # the placeholder that one family of suites gives to any unnamed part
            return
        if (kind := _letters().get(prefix)) is not None:
            self.add(kind, LETTER, f"reference letter {prefix}")
            return
        if (kind := _REFERENCE_WORDS.find(name.upper())) is not None:
            self.add(kind, WORD_IN_REFERENCE, f"reference {refdes}")
            return
        # R1A1, C12B: a known letter followed by a digit, with letters later on
        if len(prefix) == 2 and prefix[0] in "RCLUQDJ" and name[2:3].isdigit():
            self.add(_letters()[prefix[0]], LETTER * 0.5, f"reference begins with {prefix[0]}")

    def _by_element(self, part: Part, prefix: str) -> bool:
        """Let a SPICE element's letter speak where it is surely one: Rload1 of 50, Rc, Cpara2.

        A deck that a schematic tool wrote also has parts under their own references (RV1, LED1,
        CN1): those have a known prefix and no figure. Source: ngspice manual, table of element
        letters; M alone, or before a part's own reference, is common practice, no source.
        """
        behind = prefix[1:]
        element = part.properties.get("spice_element")
        if element == "X" and prefix[:1] == "X" and behind in _letters():
            self.add(_letters()[behind], LETTER, f"reference letter {behind} behind the deck's X")
            return True
        if element == "X" and prefix == "X":
            return True  # a subcircuit of any kind, not a crystal
        if element == "M" and prefix in {"M", "MN", "MP", "MQ"} and len(part.pins) == 4:
            # drain, gate, source, bulk: a module has no such line
            self.add(Kind.MOSFET, LETTER, f"element {part.refdes} of a SPICE deck")
            return True
        passives = {"R": Kind.RESISTOR, "C": Kind.CAPACITOR, "L": Kind.INDUCTOR}
        kind = passives.get(prefix[:1])
        if kind is None or len(part.pins) != 2 or len(prefix) < 2:
            return False
        figure = "spice_value" in part.properties or "spice_element" in part.properties
        if not figure and prefix in _letters():
            return False
        self.add(kind, LETTER, f"element {part.refdes} of a SPICE deck")
        return True

    def by_package(self, part: Part) -> None:
        """Vote by the name of the package, else of the library that it stands in."""
        if not part.package:
            return
        library, _, shape = part.package.rpartition(":")
        kind = _PACKAGE_WORDS.find(shape)
        full = PACKAGE
        if kind is None and library:
            kind, full = _PACKAGE_WORDS.find(library), LIBRARY
        if kind is not None:
            weight = PACKAGE_OF_PASSIVES if kind in _PASSIVE else full
            self.add(kind, weight, f"package {shape}")

    def by_description(self, part: Part) -> None:
        """Vote by the words of the description."""
        kind = _DESCRIPTION_WORDS.find(part.description) if part.description else None
        if kind is not None:
            weight = PACKAGE_OF_PASSIVES if kind in _PASSIVE else DESCRIPTION
            self.add(kind, weight, f"description says {kind.value}")

    def by_device(self, part: Part) -> None:
        """Vote by the fields in which simulators keep the kind of a device."""
        for name, text in part.properties.items():
            key = name.upper().replace(".", " ").replace("_", " ")
            if key not in {
                "SIM DEVICE",
                "SPICE PRIMITIVE",
                "MODEL TYPE",
                "MODEL",
                "DEVICE",
                "TYPE",
            }:
                continue
            if (kind := _DEVICE_WORDS.find(text)) is not None:
                self.add(kind, DEVICE, f"{name} {text}")
                return

    def by_pins(self, part: Part) -> None:
        """Vote by how many pins there are and what they are called."""
        pins = part.pins
        names = {pin.number.upper() for pin in pins}
        names.update([pin.name.upper() for pin in pins if pin.name])
        if len(pins) <= 6 and {"G", "D", "S"} <= names:
            self.add(Kind.MOSFET, PINS, "pins G, D and S")
        elif len(pins) <= 6 and {"B", "C", "E"} <= names:
            self.add(Kind.TRANSISTOR, PINS, "pins B, C and E")
        elif len(pins) == 2 and {"K", "A"} <= names:
            self.add(Kind.DIODE, 0.6, "pins A and K")
        elif len(pins) >= 2 and sum([n.startswith("PIN_") for n in names]) >= len(pins) / 2:
            self.add(Kind.CONNECTOR, PINS, "pins named Pin_1, Pin_2...")
        if len(pins) == 1:
            for kind in (*_TWO_TERMINAL, Kind.IC, Kind.TRANSISTOR, Kind.MOSFET, Kind.CRYSTAL):
                self._add_against(kind, -0.6, "only one pin")
            if not self.weights and part.pads:
                self.add(Kind.TEST_POINT, 0.5, "one pad")
            if Kind.MICROPHONE in self.weights:
                # MK is a microphone's reference, and in some libraries a mounting hole's
                self.add(Kind.MICROPHONE, -0.6, "only one pin")
                self.add(Kind.MECHANICAL, 0.5, "only one pin")
        if len(pins) >= MANY_PINS:
            for kind in (*_TWO_TERMINAL, Kind.TRANSISTOR, Kind.MOSFET, Kind.LED, Kind.TEST_POINT):
                self._add_against(kind, -1.0, f"{len(pins)} pins")
        if len(pins) > MOST_CRYSTAL_PINS:
            self._add_against(Kind.CRYSTAL, -1.5, f"{len(pins)} pins")
        if len(pins) > 3 and Kind.MOTOR in self.weights:
            self.add(Kind.MODULE, 1.2, f"{len(pins)} pins")
        if not pins and not any(pad.number for pad in part.pads):
            self.add(Kind.MECHANICAL, 1.1, "no pins")

    def _add_against(self, kind: Kind, weight: float, reason: str) -> None:
        if kind in self.weights:
            self.add(kind, weight, reason)

    def by_value(self, part: Part, text: str) -> None:
        """Vote by the value text: its words, or the unit of its figure."""
        kind = _VALUE_WORDS.find(text)
        leading = self.best()[0]
        if kind is not None:
            self.add(kind, LABEL if leading in _LABELLED else VALUE, f"value {text}")
            return
        if leading is Kind.VARISTOR and len(part.pins) == 3:
            # RV is a variable resistor's letter too, and a varistor has two pins and no ohms
            value = read_part_value(text, "resistor")
            if value.ohms and not value.remainder:
                self.add(Kind.POTENTIOMETER, VALUE, f"value {text} in ohms, three pins")
            return
        if leading not in _PASSIVE and leading is not Kind.UNKNOWN:
            return
        value = read_part_value(text, None)
        plausible = leading in _PASSIVE or len(part.pins) == 2
        if value.farads is not None or value.henries is not None:
            unit = Kind.CAPACITOR if value.farads is not None else Kind.INDUCTOR
            if plausible and unit is not leading:
                self.add(unit, UNIT, f"value {text}")
        elif value.ohms is not None and not value.remainder and plausible:
            if leading in {Kind.INDUCTOR, Kind.FERRITE}:
                # "600R" under L or FB is a bead's impedance, "0R" a link on its pads
                if value.ohms == 0:
                    self.add(Kind.RESISTOR, UNIT, f"value {text}")
                elif leading is Kind.INDUCTOR:
                    self.add(Kind.FERRITE, UNIT, f"value {text} in ohms")
            elif leading is Kind.UNKNOWN and value.ohms >= 0:
                self.add(Kind.RESISTOR, 0.8, f"value {text}")
        if value.impedance_ohms is not None and leading in {Kind.INDUCTOR, Kind.RESISTOR}:
            self.add(Kind.FERRITE, UNIT, f"value {text} is an impedance")


_PREFIX: Final = re.compile(r"[A-Za-z$]+")


@cache
def _letters() -> Mapping[str, Kind]:
    """Return the kind that each reference letter, or group of them, stands for."""
    return {
        letter: Kind(kind)
        for kind, letters in section("kinds", "letters").items()
        for letter in letters.split()
    }


@cache
def _field_meaning(name: str) -> str | None:
    """Return what of a value the field of that name states, by knowledge/kinds.toml."""
    folded = "".join(c for c in name.casefold() if c.isalpha())
    fields = section("kinds", "fields").items()
    return next((what for what, names in fields if folded in names.split()), None)


def _with_fields(part: Part, kind: Kind, value: PartValue) -> PartValue:
    """Return the value with ratings that it does not state itself, from fields or description.

    A value text beats a field, a field beats the description.
    """
    if kind not in _RATED:
        return value
    found: dict[str, object] = {}
    for name, text in part.properties.items():
        what = _field_meaning(name)
        if what is not None and text and getattr(value, what) is None and what not in found:
            if what == "dcr_ohms":
                # a bare figure in a field of that name is ohms: no value text says so
                quantity = read_quantity(text, "Ω")
                figure: object = quantity.value if quantity is not None else None
            else:
                figure = getattr(read_part_value(text, _family(kind)), what)
            if figure is not None:
                found[what] = figure
    described = read_part_value(part.description, _family(kind)) if part.description else None
    # a description speaks of the same part where no figure of it says otherwise
    if described is not None and all(
        told is None or stated is None or abs(told - stated) <= 1e-6 * abs(stated)
        for told, stated in (
            (described.ohms, value.ohms),
            (described.farads, value.farads),
            (described.henries, value.henries),
        )
    ):
        for what in section("kinds", "fields"):
            figure = getattr(described, what)
            if figure is not None and getattr(value, what) is None:
                found.setdefault(what, figure)
    return replace(value, **found) if found else value  # type: ignore[arg-type] # by field name
