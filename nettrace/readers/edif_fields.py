"""Which property of an EDIF instance is its value, its package, its reference.

The names are those that PCB schematic tools write; common practice, no source. A property is kept
as written whatever it is used for.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from typing import NamedTuple

__all__ = ["NO_FIELDS", "Fields", "cell_fields", "instance_fields"]

_VALUE = ("value", "partvalue", "val", "componentvalue")
_PACKAGE = ("pcbfootprint", "footprint", "package", "pkgtype", "packagetype", "jedectype",
            "cellname")  # fmt: skip
_DESCRIPTION = ("description", "desc", "partdescription")
_REFDES = ("refdes", "reference", "partreference", "designator", "refdesignator", "ref")
_NOT_FITTED = ("dnp", "dni", "dnf", "dns", "donotpopulate", "donotfit", "donotinstall", "nofit",
               "nostuff", "nopop", "notfitted")  # fmt: skip
_FITTED = ("populate", "fitted", "fit", "stuff", "mounted")
_YES = frozenset({"", "1", "y", "yes", "true", "t", "x", *_NOT_FITTED})
_NO = frozenset({"0", "n", "no", "false", "f"})

#: A word of a value such as 10K,1%,DNI that says: not fitted.
_NOT_FITTED_WORD = re.compile(
    r"(?<![A-Za-z0-9])(?:dn[ipfsl]|d\.n\.[ipf]\.?|no[ _-]?(?:stuff|pop|fit|load|mount)"
    r"|not[ _-](?:fitted|populated|mounted|installed)|unpopulated"
    r"|do[ _-]not[ _-](?:populate|fit|install|stuff|mount|place))(?![A-Za-z0-9])",
    re.IGNORECASE,
)
_PLAIN = re.compile(r"[\s_\-./]+")


class Fields(NamedTuple):
    """What properties say of a part; None where they say nothing. `properties` is not changed."""

    value: str | None
    package: str | None
    description: str | None
    refdes: str | None
    fitted: bool | None
    properties: dict[str, str]


NO_FIELDS = Fields(None, None, None, None, None, {})


def cell_fields(name: str, cell: Mapping[str, str], view: Mapping[str, str]) -> Fields:
    """Return what a cell says for all its instances; its name stands in for a missing value."""
    properties = {**cell, **view, "cell": name}
    names = _names(tuple(properties))
    value = _first(properties, names.value)
    return Fields(
        value if value is not None else name,
        _first(properties, names.package) or None,
        _first(properties, names.description) or None,
        _first(properties, names.refdes) or None,
        _fitted(properties, names, value),
        properties,
    )


def instance_fields(cell: Fields, properties: Mapping[str, str]) -> Fields:
    """Return what an instance says, the cell's word where it says nothing."""
    names = _names(tuple(properties))
    value, package, description, refdes, fitted, cell_properties = cell
    # an empty value is said to be none, the cell's name notwithstanding
    own_value = _first(properties, names.value)
    own_fitted = _fitted(properties, names, own_value)
    return Fields(
        (value if own_value is None else own_value) or None,
        _first(properties, names.package) or package,
        _first(properties, names.description) or description,
        _first(properties, names.refdes) or refdes,
        fitted if own_fitted is None else own_fitted,
        {**cell_properties, **properties},
    )


class _Names(NamedTuple):
    """Which of a part's properties say what, each in order of preference."""

    value: tuple[str, ...]
    package: tuple[str, ...]
    description: tuple[str, ...]
    refdes: tuple[str, ...]
    not_fitted: tuple[str, ...]
    fitted: tuple[str, ...]


@lru_cache(maxsize=1024)  # parts by the thousand have properties of the same names
def _names(names: tuple[str, ...]) -> _Names:
    plain: dict[str, str] = {}
    for name in names:
        plain.setdefault(_PLAIN.sub("", name).lower(), name)
    return _Names(
        *(
            tuple([plain[name] for name in wanted if name in plain])
            for wanted in (_VALUE, _PACKAGE, _DESCRIPTION, _REFDES, _NOT_FITTED, _FITTED)
        )
    )


def _first(properties: Mapping[str, str], names: tuple[str, ...]) -> str | None:
    """Return the first property of those names that says something, else "" or None."""
    empty = None
    for name in names:
        text = properties[name]
        if text:
            return text.strip()
        empty = ""
    return empty


def _fitted(properties: Mapping[str, str], names: _Names, value: str | None) -> bool | None:
    if value and _NOT_FITTED_WORD.search(value):
        return False
    for name in names.not_fitted:
        said = properties[name].strip().lower()
        if _PLAIN.sub("", said) in _YES:
            return False
    for name in names.fitted:
        said = properties[name].strip().lower()
        if said in _NO or _PLAIN.sub("", said) in _NOT_FITTED:
            return False
        if said in _YES:
            return True
    return None
