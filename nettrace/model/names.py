"""Names: natural order, matching with wildcards, nearest names, decoding of escapes."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from fnmatch import translate

_DIGITS = re.compile(r"(\d+)")
#: Of longer runs of digits only so many count: no part is numbered so far.
_MOST_DIGITS = 1000
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
    parts: list[str | int] = _DIGITS.split(name.upper())
    if len(parts) > 1:
        try:
            parts[1::2] = map(int, parts[1::2])
        except ValueError:  # int() refuses thousands of digits
            parts[1::2] = [int(str(part)[:_MOST_DIGITS]) for part in parts[1::2]]
    return tuple(parts), name


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
