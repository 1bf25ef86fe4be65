"""Net and pin names as lines of buses: a name is a line word and the rest, its group.

The group is what the lines of one bus share: TWI0-SDA and TWI0-SCK share TWI0.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final

from nettrace.circuit.bus_spec import Spec
from nettrace.circuit.bus_specs import SPECS
from nettrace.circuit.rail_names import is_named, leaf_of

__all__ = ["is_named", "match_words", "plain_name", "stem_of"]

_OVERBAR: Final = re.compile(r"[~_^]?\{([^}]*)\}")
_INDEX: Final = re.compile(r"\[(\d+)\]$")
_PARTING: Final = re.compile(r"[-.\s]+")


@lru_cache(maxsize=65536)
def plain_name(name: str) -> str:
    """Return a net's or pin's name ready for matching: upper case, `_` for `-`, `.`, blank.

    A trailing `+` or `-` becomes `_P` or `_N`; marks of an active low level go.

    >>> plain_name("/USB_D+"), plain_name("BT-UART-TX"), plain_name("/~{QSPI_CS}")
    ('USB_D_P', 'BT_UART_TX', 'QSPI_CS')
    """
    leaf = leaf_of(name)
    if "{" in leaf:
        leaf = _OVERBAR.sub(r"\1", leaf)
    leaf = leaf.upper().replace("~", "").lstrip("!#/")
    leaf = leaf.rstrip("#*")
    if leaf.endswith("+"):
        leaf = leaf[:-1].rstrip("_-") + "_P"
    elif leaf.endswith("-") and len(leaf) > 1:
        leaf = leaf[:-1].rstrip("_-") + "_N"
    if "[" in leaf:
        leaf = _INDEX.sub(r"\1", leaf)
    return _PARTING.sub("_", leaf).strip("_")


#: Letters that may stand before a glued word: HSDA, UART0TX, S0SDQ3, LCDR2.
_GLUE: Final = re.compile(
    r"[A-Z]{0,2}\d{0,2}|S\dS|(?:U?S?ART|I2C|I3C|TWI|SMB|PMB|LCD|HDMI|H?TX?|DDR|USB|COM|DBG|GPS|BT"
    r"|BLE|MCU|GSM|WIFI|DEBUG|CONSOLE|OLED|TOUCH|CTP|SENS|PMIC|CAM|EDID|DDC)\d{0,2}"
)
_SERIAL: Final = re.compile(r"UART|USART|SERIAL|CONSOLE|DEBUG|DBG|COM\d")
#: What may follow a line word: an index, the word of a voltage or of a side.
_AFTER: Final = re.compile(
    r"^(?:\d{1,2}|_\d{1,2}|_[A-Z]?\d{0,2}|(?:_(?:EXT|INT|MCU|CPU|SOC|CON|CONN|\d?V\d|\d\.?\dV?|\d+V\d*"
    r"|3V3|1V8|5V|LV|HV|IN|OUT|A|B|C|D|R|S|SENSE|BUS|L|H|M|MAIN|AUX|BUF|ISO|RAW|ESD|\w{1,4}))+)?$"
)


def _union(spec: Spec) -> re.Pattern[str]:
    """Return one pattern that finds a place where any word of the spec may begin."""
    inner = "|".join(re.sub(r"\((?!\?)", "(?:", word.pattern.pattern) for word in spec.words)
    return re.compile(f"(?:^|(?<=[_0-9{'A-Z' if spec.glued else ''}]))(?:{inner})")


_UNIONS: Final = tuple(_union(spec) for spec in SPECS)


@lru_cache(maxsize=65536)
def match_words(spec_index: int, plain: str) -> tuple[tuple[str, str], ...]:
    """Return (line, group) for each way the plain name may be a line of that spec."""
    spec = SPECS[spec_index]
    if _UNIONS[spec_index].search(plain) is None:
        return ()
    if spec.context is not None and not spec.context.search(plain):
        return ()
    if spec.unless is not None and spec.unless.search(plain):
        return ()
    found = []
    for word in spec.words:
        for match in _occurrences(word.pattern, plain):
            before, after = plain[: match.start()], plain[match.end() :]
            if word.after is not None and not word.after.search(before):
                continue
            if before and not before.endswith("_"):
                tail = before.rsplit("_", 1)[-1]
                if not spec.glued and not tail[-1].isdecimal():
                    continue
                if not _GLUE.fullmatch(tail):
                    continue
            # TX_EXT needs a word that says UART: RX_BUSY is a radio's
            longer = spec.protocol == "uart" and after.strip("_0123456789")
            if longer and not _SERIAL.search(plain):
                continue
            if _AFTER.match(after):
                line = match.expand(word.line) if "\\" in word.line else word.line
                found.append((line, f"{before.rstrip('_')}*{after.lstrip('_')}"))
    return tuple(dict.fromkeys(found))


def _occurrences(pattern: re.Pattern[str], text: str) -> list[re.Match[str]]:
    """Return matches that end where a word ends, from every start."""
    hits = []
    for start in range(len(text)):
        match = pattern.match(text, start)
        if match is None or match.end() == start:
            continue
        end = match.end()
        if end < len(text) and text[end].isalnum():
            one, two = text[end - 1], text[end]
            if one.isdecimal() == two.isdecimal():
                continue
        hits.append(match)
    return hits


def stem_of(group: str) -> str:
    """Return the group as a name for people: `TWI0*` gives TWI0; "" where nothing is left."""
    return group.replace("*", "_").strip("_")
