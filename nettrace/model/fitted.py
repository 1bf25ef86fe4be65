"""Whether a part is fitted, decided in one place from the texts that readers keep.

An explicit statement of the file wins: an attribute (`dnp`, `populate`), then a property or column
that asks for it (`DNP`, `Fitted`). Else a word in the part's texts may say that it is left off
(`10k DNP`, `do not fit`). What nobody says stays unknown, None.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from functools import cache, lru_cache
from operator import itemgetter

from nettrace.knowledge import pattern, table

#: Longer texts of a part are prose about it (a data sheet's summary), not a mark on it.
MOST_CHARACTERS = 200


def is_fitted(
    value: str | None, description: str | None, properties: Mapping[str, str]
) -> bool | None:
    """Return what a part's texts say; None where they say nothing.

    >>> is_fitted("10k", None, {}), is_fitted("10k DNP", None, {})
    (None, False)
    >>> is_fitted("10k", None, {"DNP": "no"}), is_fitted("10k", None, {"Populate": "0"})
    (True, False)
    """
    asking = [(asked, name) for name in properties if (asked := asks(name)) is not None]
    # whether it is left off, before whether it is there
    for _, name in sorted(asking, key=itemgetter(0)):
        if (said := fitted_by(name, properties[name])) is not None:
            return said
    for text in (value, description, *properties.values()):
        if text and says_not_fitted(text):
            return False
    return None


@lru_cache(maxsize=4096)
def asks(name: str) -> bool | None:
    """Return what a property or column of that name asks.

    False: whether the part is left off; True: whether it is there; None: something else.

    >>> asks("Do Not Populate"), asks("Bestückt"), asks("Datasheet")
    (False, True, None)
    """
    if len(name) > 40:
        return None
    return _names().get(_plain(name))


def fitted_by(name: str, text: str | None) -> bool | None:
    """Return what a property says that asks whether a part is fitted; None where it says nothing.

    >>> fitted_by("DNP", "x"), fitted_by("DNP", "0"), fitted_by("Mount", "yes")
    (False, True, True)
    """
    asked = asks(name)
    said = (text or "").strip().casefold()
    if asked is False:
        return text is not None and (said in _answers("no") or asks(said) is True)
    if asked and (said in _answers("no") or says_not_fitted(said) or asks(said) is False):
        return False
    return True if asked and (said in _answers("yes") or asks(said)) else None


@lru_cache(maxsize=16384)
def says_not_fitted(text: str) -> bool:
    """Return whether a word of the text says that the part is left off.

    >>> [says_not_fitted(t) for t in ("DNP", "10k (do not fit)", "d.n.p.(HR2x3)", "DNP101")]
    [True, True, True, False]
    """
    if len(text) > MOST_CHARACTERS or "://" in text:
        return False
    return pattern("fitted", "word").search(text) is not None


@cache
def _names() -> dict[str, bool]:
    found = table("fitted")
    return {
        _plain(name): asked
        for key, asked in (("fitted_names", True), ("not_fitted_names", False))
        for name in found[key].split("|")
    }


@cache
def _answers(kind: str) -> frozenset[str]:
    return frozenset(table("fitted")[kind].split())


def _plain(name: str) -> str:
    """Return a name without case, accents, blanks and signs."""
    folded = unicodedata.normalize("NFKD", name.casefold())
    return "".join(char for char in folded if char.isalnum())
