"""One element line of a SPICE deck -> its name, nodes, value and model; and what a model says.

How many nodes an element has stands in `FIXED_NODES`; where the letter leaves it open (Q, M, X,
E, A, P) the deck's models and the shape of the line decide. An element with fewer words than its
letter needs has no nodes: board decks write `TP405 __TP405` for a test point.

Source: SPICE3f user's manual, chapter 3, and ngspice user manual, tables 2.1, 2.2 and 2.4.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from math import isnan, nan
from typing import NamedTuple

import msgspec

from nettrace.knowledge import section
from nettrace.readers.spice_expressions import is_numeric, parse_statement, spice_number

#: The types of the models in force (npn, d, vdmos) by their names, all in lower case.
Kinds = Mapping[str, str]
Settings = tuple[tuple[str, str], ...]

#: letter -> (nodes, words after the nodes that must be there)
FIXED_NODES: dict[str, tuple[int, int]] = {
    **dict.fromkeys("dfh", (2, 1)),
    "w": (2, 2),
    **dict.fromkeys("jzu", (3, 1)),
    **dict.fromkeys("soy", (4, 1)),
    "t": (4, 0),
    "k": (0, 2),
}
#: The least and most nodes of a transistor: at most source, drain, gate, bulk, temperature, case,
#: body.
_TRANSISTOR_NODES = {"q": (3, 5), "m": (3, 7)}
_PASSIVE_SETTINGS = {"r": "resistance", "c": "capacitance", "l": "inductance"}

_SPECIAL = re.compile(r"[=('{\"]")
#: Words of a line with forms in it: quoted, in braces, in parentheses, `=`, or plain (a plain word
#: may hold a form without blanks: V(x), Net-(U1--), POLY(2)); last, one lone bracket or quote.
_ITEM = re.compile(
    r"""'[^']*'|"[^"]*"|\{[^{}]*(?:\{[^{}]*\}[^{}]*)*\}|\([^()]*(?:\([^()]*\)[^()]*)*\)|="""
    r"""|[^\s=(){}'"]+(?:\([^\s()]*\)[^\s=(){}'"]*)*|\S"""
)
#: A transistor's area factor, `1.5`, `2u`; not the model 2N3904.
_AREA = re.compile(r"[+-]?[\d.]+(?:[eE][+-]?\d+)?[A-Za-z]{0,4}")
_NODE_GROUP = re.compile(r"(\S+)\s*\(([^()]*)\)(.*)", re.DOTALL)
_POLY = re.compile(r"(?i)poly\s*\(\s*(\d{1,3})\s*\)")
_FORMULA = re.compile(r"(?i)(?:value|vol|cur|table|laplace|freq|chebyshev)\b")
_CODE_MODEL_WORD = re.compile(r"%\w+(?:\s*\([^()]*\))?|[\[\]]|[^\s\[\]()%]+|[()]")
#: References that mean the same to SPICE and to the board.
_ELEMENT = re.compile(r"(?i)[rclvidqxefghbkm]\d")


class Element(msgspec.Struct, frozen=True, gc=False):
    """An element line, taken apart; texts as written."""

    name: str
    letter: str  # lower case
    nodes: tuple[str, ...]
    value: str | None = None
    model: str | None = None  # or the name of the subcircuit
    settings: Settings = ()  # W=7.5u, IC=0...
    controls: tuple[str, ...] = ()  # names of sources or inductors it refers to


def split_words(text: str) -> tuple[list[str], Settings]:
    """Split a line into its words and its settings (`name=value`, blanks round `=` or not)."""
    if _SPECIAL.search(text) is None:
        return text.split(), ()
    words: list[str] = []
    settings: list[tuple[str, str]] = []
    items = _ITEM.findall(text)
    index = 0
    while index < len(items):
        item = items[index]
        if item == "=" and words and index + 1 < len(items):
            value = items[index + 1]
            index += 1
            # a list, `IC=1, 2`, goes on after its comma
            while value.endswith(",") and index + 1 < len(items) and items[index + 1] != "=":
                index += 1
                value += items[index]
            settings.append((words.pop(), _bare(value)))
        elif item != "=":
            words.append(item)
        index += 1
    return words, tuple(settings)


def _bare(value: str) -> str:
    return value[1:-1].strip() if len(value) > 1 and value[0] in "'\"" else value


def decode_element(text: str, kinds: Kinds) -> Element:
    """Take an element line apart; see the module.

    Args:
        text: the complete line; its first character is a letter.
        kinds: the types of the models in force.
    """
    letter = text[0].lower()
    words, settings = split_words(text)
    if settings:  # R1=5 a b, R1 a b ===: the name is a name, whatever follows it
        first = next(_ITEM.finditer(text))[0]
        if not words or words[0] != first:
            words.insert(0, first)
    if len(words) > 1 and words[1][0] == "(":  # R1 (a b) 10k
        group = _NODE_GROUP.match(text)
        if group is not None and letter != "a":
            text = f"{group[1]} {group[2].replace(',', ' ')} {group[3]}"
            words, settings = split_words(text)
    element: Element | None
    if letter in "rcl":
        element = _passive(letter, words, settings, kinds)
    elif letter in "vibeg":
        element = _source(letter, text)
    elif letter in "qm":
        element = _transistor(letter, words, settings, kinds)
    elif letter in "xpn":
        element = _called(letter, words, settings)
    elif letter == "a":
        element = _code_model(text, settings)
    else:
        element = _fixed(letter, words, settings)
    if element is None:
        if len(words) == 2:
            return Element(words[0], letter, (), words[1], words[1], settings)
        said = (("words", " ".join(words[1:])),) if len(words) > 2 else ()
        element = Element(words[0], letter, (), settings=settings + said)
    return element


def decode_board_part(text: str) -> Element | None:
    """Take a line apart as reference, nets, value; None where its letter is SPICE's own.

    Older schematic programs write every part so, `J1 VCC GND CONN_2`, `IC3 a b c d LM358`, where a
    simulator reads J and I.

    >>> decode_board_part("J1 VCC GND CONN_2").nodes, decode_board_part("R1 a b 10k")
    (('VCC', 'GND'), None)
    """
    words = text.split()
    if len(words) < 3 or _ELEMENT.match(words[0]):
        return None
    # a call of something that the deck does not define: the one letter that says no more
    return Element(words[0], "x", tuple(words[1:-1]), words[-1])


def _passive(letter: str, words: list[str], settings: Settings, kinds: Kinds) -> Element | None:
    if len(words) < 3:
        return None
    rest = words[3:]
    model = value = None
    if len(rest) > 1 and not is_numeric(rest[0]) and rest[0][0] not in "{'\"(":
        if is_numeric(rest[1]) or rest[1][0] in "{'\"" or kinds.get(rest[0].lower()):
            model = rest.pop(0)
    elif len(rest) > 1 and kinds.get(rest[1].lower()):
        model = rest.pop(1)
    elif len(rest) == 1 and kinds and kinds.get(rest[0].lower()):
        model = rest.pop()
    if rest:
        value = _bare(" ".join(rest))
    else:
        # R = '...', C=10u; else the model is all that is said
        for key, said in settings:
            if key.lower() in (letter, "value", _PASSIVE_SETTINGS[letter]):
                value = said
                settings = tuple(pair for pair in settings if pair[0] != key)
                break
    return Element(words[0], letter, (words[1], words[2]), value or model, model, settings)


def _source(letter: str, text: str) -> Element | None:
    """V, I and B: two nodes and a value as written; E and G: control nodes or a formula besides."""
    pieces = text.split(None, 3)
    if len(pieces) < (4 if letter in "eg" else 3):
        return None
    value = pieces[3].strip() if len(pieces) > 3 else None
    nodes = pieces[1:3]
    if letter in "eg" and value is not None:
        poly = _POLY.match(value)
        if poly is not None or _FORMULA.match(value) is None:
            wanted = 2 * int(poly[1]) if poly else 2
            nodes += re.findall(r"[^\s,()]+", value[poly.end() :] if poly else value)[:wanted]
            if len(nodes) < 2 + wanted:
                return None
    return Element(pieces[0], letter, tuple(nodes), value)


def _fixed(letter: str, words: list[str], settings: Settings) -> Element | None:
    count, after = FIXED_NODES[letter]
    if len(words) < 1 + count + after:
        return None
    nodes, rest = tuple(words[1 : 1 + count]), words[1 + count :]
    value: str | None = rest[0] if rest else None
    model, controls = value, tuple(rest[:1])
    if letter == "k":
        controls = tuple(word for word in rest if not is_numeric(word))
        value, model = next(filter(is_numeric, rest), None), None
    elif letter in "fh":
        poly = _POLY.match("".join(rest[:2]))
        if poly is not None:
            after_poly = rest[1:] if rest[0].lower() != "poly" else rest[2:]
            controls = tuple(after_poly[: int(poly[1])])
        value, model = " ".join(rest), None
    elif letter == "w":
        value = model = rest[1]
    else:
        controls = ()
        if letter == "t":
            value = " ".join([*rest, *map("=".join, settings)]) or None
            model = None
    return Element(words[0], letter, nodes, value, model, settings, controls)


def _transistor(letter: str, words: list[str], settings: Settings, kinds: Kinds) -> Element | None:
    """Q and M: the model's place tells how many nodes there are."""
    least, most = _TRANSISTOR_NODES[letter]
    if len(words) < 2 + least:
        return None
    for index in range(1 + least, min(2 + most, len(words))):
        if kinds.get(words[index].lower()):
            break
    else:
        # the deck has no such model: as many nodes as the letter usually has; the fourth word of a
        # bipolar one is its substrate as `[SUB]`, or as `0` before a model
        index = 1 + least
        if len(words) > 5 and (
            letter == "m"
            or words[4][0] == "["
            or (words[4].isdecimal() and _AREA.fullmatch(words[5]) is None)
        ):
            index = 5
    nodes = tuple([node.strip("[]") for node in words[1:index]])
    return Element(words[0], letter, nodes, words[index], words[index], settings)


def _called(letter: str, words: list[str], settings: Settings) -> Element | None:
    """X: nodes, then the subcircuit's name, then its parameters; P and N: nodes, then the model."""
    if letter == "x":
        heads = ("params:", "text:", "optional:")
        stop = next((i for i, word in enumerate(words) if word.lower() in heads), len(words))
        words = words[:stop]
        if len(words) < 2:
            return Element(words[0], letter, (), settings=settings)
    elif len(words) < 3:
        return None
    return Element(words[0], letter, tuple(words[1:-1]), words[-1], words[-1], settings)


def _code_model(text: str, settings: Settings) -> Element | None:
    """A: ports in any of the shapes `a`, `[a ~b]`, `%vd(a b)`; then the model."""
    name, *rest = text.split(None, 1)
    found = _CODE_MODEL_WORD.findall(rest[0]) if rest else []
    if len(found) < 2:
        return None
    ports: list[str] = []
    for word in found[:-1]:
        if word[0] == "%":
            inner = re.search(r"\(([^()]*)\)", word)
            ports += inner[1].replace(",", " ").split() if inner else []
        elif word not in "[]()" and word.lower() != "null":
            ports.append(word.lstrip("~"))
    return Element(name, "a", tuple(filter(None, ports)), found[-1], found[-1], settings)


# ---- models -------------------------------------------------------------------------------------

#: A diode model with a lower breakdown is a Zener's, unless it says otherwise: small rectifiers
#: start at 30 V (Schottky) and 50 V. Common practice, no source.
ZENER_BELOW_VOLTS = 28.0
#: EG of a diode model, eV: 0.69 Schottky, 1.11 silicon (SPICE3f user's manual, table of diode
#: parameters). Emitters of light have wider gaps than silicon: 1.4 (GaAs, infrared) and up.
SCHOTTKY_GAP_BELOW = 0.85
LED_GAP_FROM = 1.35
#: Emission coefficient: 1 to 2 in silicon junctions; a model above 2.5 stands in for an LED's high
#: forward voltage. From memory of published LED models.
LED_EMISSION_FROM = 2.5
_DIODES = {"led": "LED", "schottky": "Schottky diode", "zener": "Zener diode"}
_FIELD_EFFECT = {"nmos", "pmos", "vdmos", "vdmosn", "vdmosp", "njf", "pjf", "nmf", "pmf"}


class Model(NamedTuple):
    """A `.model` line: type in lower case, settings as written, and the part in words."""

    kind: str
    settings: Settings
    description: str

    @property
    def shown(self) -> str:
        """Its settings as one text."""
        return " ".join(f"{name}={text}" if text else name for name, text in self.settings)


def model_kind(text: str) -> str:
    """Return the type in lower case from what follows `.model` ("" if there is none).

    >>> model_kind("QN NPN(BF=100)"), model_kind("D1 ako: D0 d (is=1n)")
    ('npn', 'd')
    """
    words = re.split(r"[\s(]+", re.sub(r"(?i)\bako:\s*\S+", " ", text).strip(), maxsplit=2)
    return words[1].lower() if len(words) > 1 else ""


def read_model(name: str, text: str) -> Model | None:
    """Read what follows `.model`; None where its parameters do not fit the grammar."""
    kind = model_kind(text)
    settings = parse_statement(text, "model") if kind else None
    if settings is None:
        return None
    said = {key.lower(): value for key, value in settings}
    if kind == "d":
        described = _described_diode(name, said)
    elif kind == "vdmos" and "pchan" in said:
        described = "P-channel MOSFET"
    else:
        types = section("spice", "model_types")
        named = (what for what, kinds in types.items() if kind in kinds.split())
        described = next(named, f"model of type {kind}")
    return Model(kind, tuple(settings), described)


def _described_diode(name: str, said: dict[str, str]) -> str:
    stated = said.get("type", "").strip("'\"").lower()
    words = {stated, *re.split(r"[^a-z]+", name.lower())}
    # what the model does not say is no number, and so fails every test
    gap, emission, breakdown = (
        number if (number := spice_number(text)) is not None else nan
        for text in (said.get("eg", ""), said.get("n", ""), said.get("bv", said.get("vz", "")))
    )
    kind = next((known for known in _DIODES if known in words), stated)
    if not kind:
        if gap < SCHOTTKY_GAP_BELOW:
            kind = "schottky"
        elif gap >= LED_GAP_FROM or emission >= LED_EMISSION_FROM:
            kind = "led"
        elif 0 < abs(breakdown) < ZENER_BELOW_VOLTS:
            kind = "zener"
    if kind == "zener" and not isnan(breakdown):
        return f"Zener diode {abs(breakdown):g} V"
    return _DIODES.get(kind, f"diode ({kind})" if kind else "diode")


def pin_names(letter: str, kind: str) -> tuple[str, ...]:
    """Return the terminal names an element's nodes have, () where nothing states them.

    A diode or transistor without its model keeps bare numbers: board decks write such elements
    in the order of the symbol's pins, not of the letter.
    """
    if letter in "vibfh":
        return ("+", "-")
    if letter in "egs":
        return ("+", "-", "in+", "in-")
    if letter == "d" and kind == "d":
        return ("A", "K")
    if letter == "q" and kind in ("npn", "pnp", "lpnp"):
        return ("C", "B", "E", "S")
    if letter in "qmjz" and kind in _FIELD_EFFECT:
        return ("D", "G", "S", "B")
    return ()
