"""The grammar of the complicated value notations (pyparsing).

`SWPA4018S1R5NT(1.5uH/3.35A/DCR<0.1R/CD43)`, `600R@100MHz`, `4x1.5K_RA1206`, `+80/-20%`,
`B25/50=3380`. Plain lists of values never come here, so that pyparsing is loaded only when a
board holds such a text.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

from nettrace.values.quantity import read_quantity
from nettrace.values.sizes import INCH_CODES
from nettrace.values.words import Item

__all__ = ["read_notation"]

WordReader = Callable[[str], tuple[tuple[Item, ...], str]]

#: Attribute names that parts lists put before a figure, and what they say.
ATTRIBUTES = {
    "DCR": "dcr", "RDC": "dcr", "DC": "dcr", "ESR": "esr", "CL": "load", "B": "beta",
    "BETA": "beta", "Z": "impedance", "TOL": "plain", "V": "plain", "I": "plain", "P": "plain",
    "ISAT": "other", "IRMS": "plain", "IDC": "plain", "SRF": "other", "VDC": "plain",
    "R": "plain", "C": "plain", "L": "plain", "F": "plain",
}  # fmt: skip


@lru_cache(maxsize=1)
def _grammar() -> Any:
    """Return the grammar of a value text; every match is a tuple (sort, texts...)."""
    import pyparsing as pp

    def tagged(sort: str) -> Callable[[Any], list[tuple[str, ...]]]:
        return lambda tokens: [(sort, *(str(token) for token in tokens))]

    separator = pp.Regex(r"[\s,;/_()\[\]:]+").suppress()
    word = pp.Regex(r"[^\s,;/_()\[\]<>=@~≤≥:]+")
    relation = pp.Regex(r"\s*(?:<=|>=|[<>=~≤≥:])\s*").suppress()
    end = pp.Regex(r"(?=$|[\s,;/_()\[\]-])").suppress()

    name = pp.Regex(
        r"(?i:" + "|".join(sorted(ATTRIBUTES, key=len, reverse=True)) + r")(?=\s*[<>=~≤≥:])"
    )
    attribute = (name + relation + word).set_parse_action(tagged("attribute"))
    beta_pair = (
        pp.Regex(r"[Bb]\s*\(?\d+\s*/\s*\d+\)?\s*").suppress()
        + pp.Opt(relation)
        + pp.Regex(r"\d{4}K?")
    ).set_parse_action(tagged("beta"))
    asymmetric = (
        pp.Suppress("+") + pp.Regex(r"\d+") + pp.Regex(r"\s*%?\s*[/,]?\s*-\s*").suppress()
        + pp.Regex(r"\d+") + pp.Suppress("%")
    ).set_parse_action(tagged("asymmetric"))  # fmt: skip
    at = pp.Regex(r"\s*@\s*").suppress()
    impedance = (word + at + word).set_parse_action(tagged("at"))
    fraction = pp.Regex(r"\d{1,2}/\d{1,2}\s*[Ww](?![A-Za-z])").set_parse_action(tagged("plain"))
    times = pp.Regex(r"[xX×*]").suppress()
    side = pp.Regex(r"\d{1,2}(?:\.\d+)?")
    body = (
        pp.Opt(pp.Regex(r"(?i:smd|smt)")).suppress() + side + times + side
        + pp.Opt(times + side) + pp.Opt(pp.Regex(r"\s*mm")).suppress() + end
    ).set_parse_action(tagged("body"))  # fmt: skip
    array = (pp.Regex(r"\d{1,2}(?=[xX×*]\d)") + times + word).set_parse_action(tagged("array"))
    plain = word.copy().set_parse_action(tagged("word"))
    stray = pp.Regex(r"\S").set_parse_action(tagged("stray"))
    item = asymmetric | fraction | beta_pair | attribute | impedance | body | array | plain
    return pp.ZeroOrMore(separator | item | stray).leave_whitespace()


def read_notation(text: str, read_word: WordReader) -> tuple[tuple[Item, ...], str]:
    """Return the items of a value text and the words left over, as `tokens.read_items` does.

    Args:
        text: the value text, without a not-fitted wrapper.
        read_word: reads one plain word.

    >>> from nettrace.values.tokens import read_items
    >>> [item.kind for item in read_items("1.5uH/3.35A/DCR<0.1R", "inductor")[0]]
    ['quantity', 'quantity', 'dcr']
    """
    items: list[Item] = []
    rest: list[str] = []
    for sort, *parts in _grammar().parse_string(text, parse_all=True):
        found = _meaning(sort, parts, read_word)
        if found is None:
            words = parts if sort != "attribute" else ["".join(parts)]
            for word in words:
                more, left = read_word(word)
                items.extend(more if sort != "attribute" else ())
                if left or sort == "attribute":
                    rest.append(left or word)
        else:
            items.extend(found)
    return tuple(items), " ".join(rest)


def _meaning(sort: str, parts: list[str], read_word: WordReader) -> list[Item] | None:
    """Return the items of one match, None where its words are to be read one by one."""
    if sort == "asymmetric":
        return [
            Item("tolerance", parts[0], int(parts[0]) / 100),
            Item("tolerance minus", parts[1], int(parts[1]) / 100),
        ]
    if sort == "beta":
        return [Item("beta", parts[0], float(parts[0].rstrip("K")))]
    if sort == "body":
        return [Item("body", "x".join(parts), float(parts[0]), width=float(parts[1]))]
    if sort == "array":
        items, left = read_word(parts[1])
        size = next((i for i in items if i.kind == "size" and i.text in INCH_CODES), None)
        # 4x0603: the elements have that size, the array has not
        kept = [item for item in items if item is not size]
        return None if left else [Item("count", parts[0], int(parts[0])), *kept]
    if sort == "at":
        first, second = read_quantity(parts[0], "Ω"), read_quantity(parts[1], "Hz")
        if first and second and second.unit == "Hz" and first.unit in {None, "Ω"}:
            return [
                Item("impedance", parts[0], first.value),
                Item("impedance frequency", parts[1], second.value),
            ]
        return None
    if sort == "plain":
        quantity = read_quantity(parts[0])
        return [Item("quantity", parts[0], quantity.value, quantity=quantity)] if quantity else None
    if sort == "attribute":
        return _attribute(parts[0].upper(), parts[1], read_word)
    return None


def _attribute(name: str, text: str, read_word: WordReader) -> list[Item] | None:
    meaning = ATTRIBUTES[name]
    if meaning == "plain":
        items, left = read_word(text)
        return None if left else list(items)
    if meaning in {"dcr", "impedance"}:
        quantity = read_quantity(text, "Ω")
        right = quantity is not None and quantity.unit in {None, "Ω"}
    elif meaning == "load":
        quantity = read_quantity(text, "F")
        right = quantity is not None and bool(quantity.prefix)
    elif meaning == "beta":
        quantity = read_quantity(text.rstrip("kK"))
        right = quantity is not None and quantity.unit is None
    else:
        return None
    return [Item(meaning, text, quantity.value)] if quantity and right else None
