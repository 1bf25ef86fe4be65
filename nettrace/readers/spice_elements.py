"""One element line of a SPICE deck -> its name, nodes, value and model, by its first letter.

How many nodes an element has stands in `FIXED_NODES`; where the letter leaves it open (Q, M, X,
E, A, P) the deck's models and the shape of the line decide. An element with fewer words than its
letter needs has no nodes: board decks write `TP405 __TP405` for a test point.

Source: SPICE3f user's manual, chapter 3, and ngspice user manual, tables 2.1 and 2.2.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import NamedTuple

from nettrace.readers.spice_numbers import is_numeric

__all__ = ["Element", "decode_element", "split_words"]

#: Gives the type of a model (lower case: npn, d, vdmos) by its name, "" if the deck has none.
ModelKind = Callable[[str], str]
Settings = tuple[tuple[str, str], ...]

#: letter -> (nodes, words after the nodes that must be there)
FIXED_NODES: dict[str, tuple[int, int]] = {
    "r": (2, 0),
    "c": (2, 0),
    "l": (2, 0),
    "v": (2, 0),
    "i": (2, 0),
    "b": (2, 0),
    "d": (2, 1),
    "f": (2, 1),
    "h": (2, 1),
    "w": (2, 2),
    "j": (3, 1),
    "z": (3, 1),
    "s": (4, 1),
    "o": (4, 1),
    "y": (4, 1),
    "t": (4, 0),
    "u": (3, 1),
    "k": (0, 2),
}
#: The most nodes a transistor's model can have: source, drain, gate, bulk, temperature, case, body.
_MOST_TRANSISTOR_NODES = {"q": 5, "m": 7}
_LEAST_TRANSISTOR_NODES = {"q": 3, "m": 3}

_SPECIAL = re.compile(r"[=('{\"]")
#: Words of a line with forms in it: quoted, in braces, in parentheses, `=`, or plain (a plain word
#: may hold a form without blanks: V(x), Net-(U1--), POLY(2)); last, one lone bracket or quote.
_ITEM = re.compile(
    r"""'[^']*+'|"[^"]*+"|\{[^{}]*+(?>(?:\{[^{}]*+\}[^{}]*+)*)\}"""
    r"""|\([^()]*+(?>(?:\([^()]*+\)[^()]*+)*)\)|="""
    r"""|[^\s=(){}'"]++(?:\([^\s()]*+\)[^\s=(){}'"]*+)*+|\S"""
)
#: A transistor's area factor, `1.5`, `2u`; not the model 2N3904.
_AREA = re.compile(r"[+-]?[\d.]+(?:[eE][+-]?\d+)?[A-Za-z]{0,4}")
_NODE_GROUP = re.compile(r"(\S+)\s*\(([^()]*+)\)(.*)", re.DOTALL)
_POLY = re.compile(r"(?i)poly\s*\(\s*(\d{1,3})\s*\)")
_CODE_MODEL_WORD = re.compile(r"%\w+(?:\s*\([^()]*\))?|[\[\]]|[^\s\[\]()%]+|[()]")


class Element(NamedTuple):
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


def decode_element(text: str, model_kind: ModelKind) -> Element:
    """Take an element line apart; see the module.

    Args:
        text: the complete line; its first character is a letter.
        model_kind: the types of the models in force.
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
    if letter in "rcl":
        return _passive(letter, words, settings, model_kind)
    decoder = _DECODERS.get(letter, _fixed)
    return decoder(letter, text, words, settings, model_kind)


def _without_nodes(letter: str, words: list[str], settings: Settings) -> Element:
    if len(words) == 2:
        return Element(words[0], letter, (), words[1], words[1], settings)
    said = (("words", " ".join(words[1:])),) if len(words) > 2 else ()
    return Element(words[0], letter, (), None, None, settings + said)


def _passive(letter: str, words: list[str], settings: Settings, model_kind: ModelKind) -> Element:
    if len(words) < 3:
        return _without_nodes(letter, words, settings)
    name, nodes, rest = words[0], (words[1], words[2]), words[3:]
    model = None
    if len(rest) > 1 and not is_numeric(rest[0]) and rest[0][0] not in "{'\"(":
        if is_numeric(rest[1]) or rest[1][0] in "{'\"" or model_kind(rest[0]):
            model, rest = rest[0], rest[1:]
    elif len(rest) > 1 and model_kind(rest[1]):
        model, rest = rest[1], [rest[0], *rest[2:]]
    elif len(rest) == 1 and model_kind(rest[0]):
        model, rest = rest[0], []
    value = " ".join(rest) or None
    if value is None:
        # R = '...', C=10u; else the model is all that is said
        own = (letter, "value", {"r": "resistance", "c": "capacitance", "l": "inductance"}[letter])
        for key, said in settings:
            if key.lower() in own:
                value = said
                settings = tuple(pair for pair in settings if pair[0] != key)
                break
    elif len(value) > 1 and value[0] in "'\"":
        value = _bare(value)
    return Element(name, letter, nodes, value or model, model, settings)


def _source(
    letter: str, text: str, words: list[str], settings: Settings, model_kind: ModelKind
) -> Element:
    """V, I and B: two nodes, and whatever follows is the value as written."""
    del model_kind
    pieces = text.split(None, 3)
    if len(pieces) < 3:
        return _without_nodes(letter, words, settings)
    value = pieces[3].strip() if len(pieces) > 3 else None
    return Element(pieces[0], letter, (pieces[1], pieces[2]), value)


def _controlled(
    letter: str, text: str, words: list[str], settings: Settings, model_kind: ModelKind
) -> Element:
    """E and G: output nodes, then control nodes, POLY(n) with 2n of them, or a formula."""
    del model_kind
    pieces = text.split(None, 3)
    if len(pieces) < 4:
        return _without_nodes(letter, words, settings)
    nodes, rest = [pieces[1], pieces[2]], pieces[3].strip()
    poly = _POLY.match(rest)
    wanted = 2 * int(poly[1]) if poly else 2
    formula = re.match(r"(?i)(?:value|vol|cur|table|laplace|freq|chebyshev)\b\s*[={(]?", rest)
    if formula is None or poly is not None:
        controls = re.findall(r"[^\s,()]+", rest[poly.end() :] if poly else rest)[:wanted]
        if len(controls) < wanted:
            return _without_nodes(letter, words, settings)
        nodes += controls
    return Element(pieces[0], letter, tuple(nodes), rest)


def _fixed(
    letter: str, text: str, words: list[str], settings: Settings, model_kind: ModelKind
) -> Element:
    del model_kind, text
    count, after = FIXED_NODES[letter]
    if len(words) < 1 + count + after:
        return _without_nodes(letter, words, settings)
    nodes, rest = tuple(words[1 : 1 + count]), words[1 + count :]
    if letter == "k":
        names = tuple(word for word in rest if not is_numeric(word))
        number = next((word for word in rest if is_numeric(word)), None)
        return Element(words[0], letter, (), number, None, settings, names)
    if letter in "fh":
        poly = _POLY.match("".join(rest[:2]))
        if poly is not None:
            after_poly = rest[1:] if rest[0].lower() != "poly" else rest[2:]
            controls = tuple(after_poly[: int(poly[1])])
        else:
            controls = (rest[0],)
        return Element(words[0], letter, nodes, " ".join(rest), None, settings, controls)
    if letter == "w":
        return Element(words[0], letter, nodes, rest[1], rest[1], settings, (rest[0],))
    if letter == "t":
        shown = " ".join([*rest, *(f"{key}={value}" for key, value in settings)])
        return Element(words[0], letter, nodes, shown or None, None, settings)
    return Element(words[0], letter, nodes, rest[0], rest[0], settings)


def _transistor(
    letter: str, text: str, words: list[str], settings: Settings, model_kind: ModelKind
) -> Element:
    """Q and M: the model's place tells how many nodes there are."""
    del text
    least, most = _LEAST_TRANSISTOR_NODES[letter], _MOST_TRANSISTOR_NODES[letter]
    if len(words) < 2 + least:
        return _without_nodes(letter, words, settings)
    for index in range(1 + least, min(2 + most, len(words))):
        if model_kind(words[index]):
            break
    else:
        # the deck has no such model: as many nodes as the letter usually has
        index = 1 + least
        if len(words) > 5 and (letter == "m" or _is_substrate(words[4], words[5])):
            index = 5
    nodes = tuple(node.strip("[]") for node in words[1:index])
    return Element(words[0], letter, nodes, words[index], words[index], settings)


def _is_substrate(word: str, following: str) -> bool:
    """Return whether a fourth word is a transistor's substrate: `[SUB]`, or `0` before a model."""
    return word[0] == "[" or (word.isdecimal() and _AREA.fullmatch(following) is None)


def _call(
    letter: str, text: str, words: list[str], settings: Settings, model_kind: ModelKind
) -> Element:
    """X: nodes, then the subcircuit's name, then its parameters."""
    del text, model_kind
    for index, word in enumerate(words):
        if word.lower() in ("params:", "text:", "optional:"):
            words = words[:index]
            break
    if len(words) < 2:
        return Element(words[0], letter, (), None, None, settings)
    return Element(words[0], letter, tuple(words[1:-1]), words[-1], words[-1], settings)


def _open_ended(
    letter: str, text: str, words: list[str], settings: Settings, model_kind: ModelKind
) -> Element:
    """P and N: any nodes, then the model."""
    del text, model_kind
    if len(words) < 3:
        return _without_nodes(letter, words, settings)
    return Element(words[0], letter, tuple(words[1:-1]), words[-1], words[-1], settings)


def _code_model(
    letter: str, text: str, words: list[str], settings: Settings, model_kind: ModelKind
) -> Element:
    """A: ports in any of the shapes `a`, `[a ~b]`, `%vd(a b)`; then the model."""
    del model_kind
    pieces = text.split(None, 1)
    found = _CODE_MODEL_WORD.findall(pieces[1]) if len(pieces) > 1 else []
    if len(found) < 2:
        return _without_nodes(letter, words, settings)
    ports: list[str] = []
    for word in found[:-1]:
        if word[0] == "%":
            inner = re.search(r"\(([^()]*)\)", word)
            ports += inner[1].replace(",", " ").split() if inner else []
        elif word not in "[]()" and word.lower() != "null":
            ports.append(word.lstrip("~"))
    nodes = tuple(port for port in ports if port)
    return Element(pieces[0], letter, nodes, found[-1], found[-1], settings)


_Decoder = Callable[[str, str, list[str], Settings, ModelKind], Element]
_DECODERS: dict[str, _Decoder] = {
    "v": _source,
    "i": _source,
    "b": _source,
    "e": _controlled,
    "g": _controlled,
    "q": _transistor,
    "m": _transistor,
    "x": _call,
    "p": _open_ended,
    "n": _open_ended,
    "a": _code_model,
}
