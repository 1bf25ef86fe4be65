"""What the names of nets and pins say; the words themselves stand in `knowledge/lines.toml`."""

from __future__ import annotations

import re
from functools import cache, lru_cache
from typing import Final

from nettrace import knowledge
from nettrace.circuit.rail_names import leaf_of, pin_function_of


@lru_cache(maxsize=65536)
def says(what: str, text: str) -> bool:
    """Return whether a text in upper case has a word of that class.

    Answers are kept, for a net is asked about by each of its parts.

    >>> says("reset", "N_RST"), says("reset", "CLOCK")
    (True, False)
    """
    return _pattern(what).search(text) is not None


@cache
def _pattern(what: str) -> re.Pattern[str]:
    whole = what in knowledge.table("lines")["words"]
    return (knowledge.whole_words if whole else knowledge.pattern)("lines", what)


@lru_cache(maxsize=16384)
def names_supply(text: str) -> bool:
    """Return whether the words name a chip's supply pin or own supply, and not a line about one.

    >>> names_supply("VDD"), names_supply("VREG_VOUT"), names_supply("VBUS_DET")
    (True, True, False)
    """
    return not says("about supply", text) and (says("supply", text) or says("bypass", text))


@lru_cache(maxsize=32768)
def words_of(net: str) -> str:
    """Return what a net's name says, upper case: its last part, or the pin in an automatic name.

    >>> words_of("/Power/VBUS_DET"), words_of("Net-(IC401-VSET1)"), words_of("Net-(R4-Pad2)")
    ('VBUS_DET', 'VSET1', '')
    """
    pin = pin_function_of(net)
    if pin is not None:
        return _without(pin, "{}~^").upper()
    # an escaped stroke stands inside a name: it parts words, no sheets
    upper = _without(leaf_of(net).upper().replace("{SLASH}", "/"), "{}~^")
    if upper.startswith(("NET-(", "UNCONNECTED-", "N$", "NET-_")):
        return ""
    cut = _CUT_AUTOMATIC.match(upper) if upper.endswith(")") else None
    if cut is None:
        return upper
    return "" if cut["pin"].startswith("PAD") else cut["pin"]


#: The end of an automatic name that a narrow column cut: `T-(R45-PAD2)`, `01-VBUS_OUT)`.
_CUT_AUTOMATIC: Final = re.compile(r"^[^()]*\(?[^()]*?-(?P<pin>[^()\-][^()]*)\)$")


def _without(text: str, marks: str) -> str:
    return text.translate(dict.fromkeys(map(ord, marks)))


@lru_cache(maxsize=16384)
def plain_name(name: str | None) -> str:
    """Return a pin name in upper case without overbars, subscripts and blanks."""
    return _without(name.upper(), "{}~_^ ") if name else ""


_POLAR: Final = re.compile(
    r"^(?P<base>.*?)[_\-.]?(?P<sign>\+|-|P|N|DP|DM|POS|NEG|M)(?P<tail>\d*(?:_[A-Z0-9]+)*)$"
)
_OPPOSITES: Final = ({"+", "-"}, {"P", "N"}, {"DP", "DM"}, {"POS", "NEG"}, {"P", "M"})


@lru_cache(maxsize=16384)
def are_pair(first: str, second: str) -> bool:
    """Return whether two net names are the halves of a differential pair.

    >>> are_pair("USB_D+", "USB_D-"), are_pair("/CLK_P", "/CLK_N"), are_pair("DP", "DM")
    (True, True, True)
    >>> are_pair("TX0P_C", "TX0N_C"), are_pair("SDA", "SCL"), are_pair("+3V3", "-3V3")
    (True, False, False)
    """
    one, two = _POLAR.match(leaf_of(first).upper()), _POLAR.match(leaf_of(second).upper())
    if one is None or two is None or one["tail"] != two["tail"] or one["base"] != two["base"]:
        return False
    return {one["sign"], two["sign"]} in _OPPOSITES
