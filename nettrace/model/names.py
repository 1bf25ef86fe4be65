"""Names: natural order, matching with wildcards, nearest names, decoding of escapes."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Iterable
from fnmatch import translate
from itertools import chain

_DIGITS = re.compile(r"(\d+)")
#: Of longer runs of digits only so many count: no part is numbered so far.
_MOST_DIGITS = 1000
_TEN = "0123456789"
#: Escapes that s-expression files write inside names (see docs/formats.md).
_ESCAPES = {
    "{slash}": "/",
    "{backslash}": "\\",
    "{dblquote}": '"',
    "{quote}": "'",
    "{lt}": "<",
    "{gt}": ">",
    "{colon}": ":",
    "{space}": " ",
    "{tab}": "\t",
    "{return}": "\n",
    "{brace}": "{",
    "{bar}": "|",
    "{comma}": ",",
}
_ESCAPE = re.compile("|".join(re.escape(key) for key in _ESCAPES))


def natural_key(name: str) -> tuple[tuple[str | int, ...], str]:
    """Return a sort key that puts R2 before R10; total and stable for any text.

    >>> sorted(["R10", "R2~2", "R2", "C1", "r2"], key=natural_key)
    ['C1', 'R2', 'r2', 'R2~2', 'R10']
    """
    # text, digits, text, digits... text: places of one kind are compared with their like
    parts: list[str | int] = [*_DIGITS.split(name.upper())]
    if len(parts) > 1:
        try:
            parts[1::2] = map(int, parts[1::2])
        except ValueError:  # int() refuses thousands of digits
            parts[1::2] = [int(str(part)[:_MOST_DIGITS]) for part in parts[1::2]]
    return tuple(parts), name


def natural_sorted(names: Iterable[str]) -> list[str]:
    """Return distinct names in the order of `natural_key`, several times faster than by it.

    Names that are letters and one number (R12, NET7) are sorted by length, then as text.

    >>> natural_sorted({"R10", "R2", "GND", "R2~2", "r3"})
    ['GND', 'R2', 'R2~2', 'r3', 'R10']
    """
    groups: defaultdict[str, list[str]] = defaultdict(list)  # text before the last number -> names
    for name in names:
        groups[name.rstrip(_TEN)].append(name)
    runs: dict[str, list[list[str]]] = {}  # first text of the natural key -> names, by their heads
    plain: set[str] = set()  # first texts whose names are all letters and one number
    for head, group in groups.items():
        first = _DIGITS.split(head.upper(), 1)[0]
        known = runs.setdefault(first, [])
        known.append(group)
        if len(known) == 1 and first == head.upper():
            plain.add(first)
        else:
            plain.discard(first)
    ordered: list[str] = []
    for first in sorted(runs):
        names, tail = runs[first][0], ""
        if first not in plain:
            names = list(chain.from_iterable(runs[first]))
            shared = _shared_tail(names, first)
            if shared is None:
                ordered += _sorted_by_key(names)
                continue
            tail = shared
        ordered += _sorted_by_number(names, tail) or _sorted_by_key(names)
    return ordered


def _shared_tail(names: list[str], first: str) -> str | None:
    """Return what stands behind the first number, as in D[7], if that and `first` part no names."""
    start = len(first)
    if len(names) < 3 or {name[:start] for name in names} != {names[0][:start]}:
        return None
    if names[0][:start].upper() != first:
        return None
    tails = {name[start:].lstrip(_TEN) for name in names}
    tail = tails.pop()
    return None if tails or tail[:1].isdecimal() else tail  # digits of another script


def _sorted_by_number(names: list[str], tail: str) -> list[str] | None:
    """Order names that differ in one number; None where its digits do not tell (R007, R10)."""
    names.sort()
    names.sort(key=len)
    start = len(names[0].removesuffix(tail).rstrip(_TEN))
    one_digit = start + 1 + len(tail)
    if len(names[-1]) - one_digit >= _MOST_DIGITS - 1:
        return None
    zeros = "0" in {name[start] for name in names if len(name) > one_digit}
    return None if zeros else names


def _sorted_by_key(names: list[str]) -> list[str]:
    """Order names by `natural_key`; by one text each where that means the same."""
    joined = "".join(names)
    if not joined.isascii() or "\0" in joined or len(max(names, key=len)) >= _MOST_DIGITS:
        return sorted(names, key=natural_key)
    names.sort()  # names whose numbers are written otherwise (R1, R01) stay in this order
    names.sort(key=_text_key)
    return names


def _text_key(name: str) -> str:
    """Return a text that sorts as `natural_key`: before each number a zero byte and its length."""
    return _DIGITS.sub(_number_key, name.upper())


def _number_key(match: re.Match[str]) -> str:
    digits = match[0].lstrip("0")
    return f"\0{chr(len(digits) + 1)}{digits}"


def decode_escapes(name: str) -> str:
    """Return the name as a person reads it: `{slash}` and its kin decoded, the rest untouched.

    >>> decode_escapes("/A2{slash}TS")
    '/A2/TS'
    """
    if "{" not in name:
        return name
    return _ESCAPE.sub(lambda match: _ESCAPES[match[0]], name)


def has_wildcard(pattern: str) -> bool:
    """Return whether the pattern holds `*` or `?`."""
    return "*" in pattern or "?" in pattern


def match_names(pattern: str, names: Iterable[str]) -> tuple[str, ...]:
    """Return the names that the pattern means, in natural order.

    Exact first, then without case, then, where the pattern has `*` or `?`, as a wildcard (first
    with case, then without).
    """
    known = list(names)
    if pattern in known:
        return (pattern,)
    folded = pattern.casefold()
    same = [name for name in known if name.casefold() == folded]
    if same:
        return tuple(sorted(same, key=natural_key))
    if not has_wildcard(pattern):
        return ()
    escaped = pattern.replace("[", "[[]")
    for flags in (re.NOFLAG, re.IGNORECASE):
        test: Callable[[str], object] = re.compile(translate(escaped), flags).match
        hits = [name for name in known if test(name)]
        if hits:
            return tuple(sorted(hits, key=natural_key))
    return ()


def nearest_names(wanted: str, names: Iterable[str], most: int = 3) -> tuple[str, ...]:
    """Return the known names most like the wanted one, best first."""
    from difflib import SequenceMatcher

    folded = wanted.casefold()
    scored = []
    for name in names:
        other = name.casefold()
        tail = other.rsplit("/", 1)[-1]
        matcher = SequenceMatcher(None, folded, other, autojunk=False)
        score = matcher.ratio() if matcher.real_quick_ratio() > 0.5 else 0.0
        if tail != other:
            score = max(score, SequenceMatcher(None, folded, tail, autojunk=False).ratio())
        if folded in other:
            score = max(score, 0.75)
        if score > 0.55:  # below this the names share too little to help
            scored.append((-score, natural_key(name), name))
    return tuple(name for _, _, name in sorted(scored)[:most])
