"""What a net's name says about supply: ground, rail, and the volts that stand in the name.

The forms are those of the trade: 3V3, 1V05, +3.3V, P3V3, 3P3V, VCC3V3_S0, VDD_1V8 (reference
values, section 11: common practice, no source). Digits that are no volts stay digits: GPIO33,
I2C1, VDD1, USB3V, R5V1.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

__all__ = ["AUTOMATIC", "NameReading", "leaf_of", "pin_function_of", "read_rail_name"]


@dataclass(frozen=True, slots=True)
class NameReading:
    """What a name says. `kind`: ground, rail (says so), supply (a supply word, weaker) or "".

    "level" is a voltage beside a word that is no supply word (SDA_1V8). `volts` is None where the
    name has no figure; `usual` is what such a name usually carries (VBUS: 5 V), with its range, V.
    """

    kind: str
    volts: float | None = None
    usual: tuple[float, float, float] | None = None
    word: str = ""
    score: float = 0.9


_NOTHING: Final = NameReading("")

#: Names that suites make for nets that nobody named: Net-(R1-Pad2), N$12, N00123, NetR1_2...
AUTOMATIC: Final = re.compile(
    r"^/?(?:.*/)?(?:Net-[(_].*|N\$\d+|N\d{3,}|Net[A-Z]+\d+_\w+|NET\d+|\$\d\w*|unconnected-.*"
    r"|NC_\d+|__\w+)$|^NET-\(|-PAD\w+\)$|^(?:N?E?T)?-?\(?[^()]*-[^()]+\)$",
    re.IGNORECASE,
)
#: The pin's function in such a name; IPC-D-356 keeps only the last 14 characters of it.
_AUTOMATIC_PIN: Final = re.compile(
    r"^(?:(?:.*/)?Net-[(_]|(?:E?T)?-?\(?)[^-()]*-(?P<pin>.+)[)_]$", re.IGNORECASE
)

#: Nothing on a board exceeds this by its name without a separate mark; 48 V telecom is the top.
MOST_VOLTS: Final = 60.0

_SUPPLY: Final = (
    r"V(?:CC|DD|EE|SS|PP|TT|IN|OUT|BUS|BAT|SYS|AA|IO|REF|REG|CORE|DC|AUX|MEM|RAM|PLL|USB|CI|PH)?"
    r"(?:IO|A|D|IN|OUT|CORE|Q|L|H|INT)?|[AD]V(?:CC|DD)|PV(?:CC|DD|IN)|DVDD|AVDD|IOVDD|LDO|BUCK|DCDC"
    r"|REG|PWR|POWER|SUPPLY|MAIN|USB|EDP|LCD|CAM|SENSOR|P|A|D|HV|LV"
)
_SUFFIX: Final = (
    r"(?:[AD]|SB|STBY|AUX|IN|OUT|ALW|AON|DUAL|RUN|SUS|S\d|RTC|OTG|USB|LDO|IO|MCU|CORE|REF|SW|EXT"
    r"|INT|PLL|ANA|DIG|S)?"
)
_PREFIXED: Final = rf"^(?P<sign>[+-]?)(?P<lead>{_SUPPLY})?"
_FORMS: Final = tuple(
    re.compile(pattern)
    for pattern in (
        _PREFIXED + rf"(?P<int>\d{{1,2}})V(?P<frac>\d{{1,2}}){_SUFFIX}$",  # 3V3, VCC3V3, 1V05
        _PREFIXED + rf"(?P<int>\d{{1,2}})[.,](?P<frac>\d{{1,3}})V?{_SUFFIX}$",  # 3.3V, 1.05V
        _PREFIXED + rf"(?P<int>\d{{1,2}})(?P<frac>)V{_SUFFIX}$",  # 5V, 12V
        rf"^(?P<sign>[+-]?)(?P<lead>[PV])(?P<int>\d{{1,2}})[VP](?P<frac>\d{{1,2}}){_SUFFIX}$",
        rf"^(?P<sign>)(?P<lead>)(?P<int>\d{{1,2}})P(?P<frac>\d{{1,2}})V{_SUFFIX}$",  # 3P3V
        rf"^(?P<sign>[+-])(?P<lead>)(?P<int>\d{{1,2}})(?P<frac>){_SUFFIX}$",  # +5, -12
    )
)
#: One look says whether any form fits at all: most words are no voltage.
_ANY_FORM: Final = re.compile("|".join(re.sub(r"\?P<\w+>", "?:", form.pattern) for form in _FORMS))
_DIGIT: Final = re.compile(r"\d")
_INDEXED: Final = re.compile(r"^(?:[AD]?V(?:CC|DD)(?:IO|A|D)?|VBAT|VIO)_?(?P<two>33|18|25|28)$")

_GROUND: Final = re.compile(
    r"^(?:[A-Z]{0,3}GND[A-Z]{0,4}\d?|GND[_-]?\w{0,8}|\w{1,12}[_-][A-Z]?GND[A-Z]?|VSS[A-Z]{0,3}\d?"
    r"|[AD]VSS\d?|0V|0|EARTH|GROUND|CHASSIS|CGND|MASSE|GROUND_\w+|\w+_GROUND)$"
)
#: A shield or shell is ground, or floats: only with a link or a name that says so.
_NO_GROUND: Final = re.compile(r"DET|SENSE|EN$|_EN|FB|LIFT|SWITCH|CTRL|DIS")

#: Words of supplies without a figure: usual nominal, least and most volts, or None.
#: VBUS: USB 2.0 table 7-7 (4.40 to 5.25 V at a device); VBAT: one Li-ion cell, 3.0 to 4.2 V
#: (common practice, no source), used only where a battery is seen.
_Usual = tuple[float, float, float] | None
_SUPPLY_WORDS: Final[tuple[tuple[re.Pattern[str], _Usual, float], ...]] = (
    (re.compile(r"^(?:\w+_)?(?:USB_?)?VBUS(?:[_-]?(?:IN|OUT|USB|C|OTG|SW|RAW|F|FUSED|\d))?$"),
     (5.0, 4.4, 5.25), 0.85),
    (re.compile(r"^V_?USB$"), (5.0, 4.4, 5.25), 0.7),
    (re.compile(r"^\+[A-Z][A-Z0-9_]*$"), None, 0.7),  # a leading plus is the mark of a supply
    (re.compile(r"^(?:USB|USBC|USB\d)[-_]?(?:VBUS|VCC|PWR|5V)(?:[-_]?\w+)?$"),
     (5.0, 4.4, 5.25), 0.8),
    (re.compile(r"^[+-]?V?[_-]?BATT?(?:ERY)?(?:\+|_?P|_?IN|_?OUT|_?SW|_?RAW|\d)?$|^VBATT?(?:[_-]\w+)?$"
                r"|^\+BATT?$|^LIPO\+?$|^VLIPO$|^CELL\+$|^PACK\+$"), None, 0.8),
    (re.compile(r"^V(?:SYS|PH_PWR)(?:[_-]\w+)?$"), None, 0.8),
    (re.compile(r"^[AD]?VCC(?:[_-]?\w+)?$|^VCC\w{0,4}$"), None, 0.8),
    (re.compile(r"^(?:[A-Z]{1,3})?VDD(?:[_-]?\w+)?$|^VDD\w{0,5}$"), None, 0.8),
    (re.compile(r"^V(?:AA|EE|PP|TT|M|S|LCD|CI|IO|CORE|DRIVE|COM|GH|GL|MOT|MIC|LED|CAM|SENSOR|RTC|SIM)"
                r"(?:[_-]?\w{0,6})?$"), None, 0.7),
    (re.compile(r"^P?V(?:IN|OUT|CHG|DC|PWR|EXT|REG|AUX|MAIN|SUP|SUPPLY|POWER|RAW)\d?(?:[_-]\w{1,8})?$"),
     None, 0.7),
    (re.compile(r"^V[_-]?REF\w*(?:[_-]\w+)?$|^\w{1,5}VREF$|^REF_?\d(?:V\d)?$"), None, 0.5),
    (re.compile(r"^(?:MIC|M|H|HP|HS)[_-]?BIAS\d?$|^MICVDD$"), None, 0.5),
    (re.compile(r"^(?:V\+|V-|VS|PWR|POWER|SUPPLY|\+|DCIN|DC_IN|ACIN|IPS|PWR_?IN|VPWR|VMAIN|\+V)$"),
     None, 0.5),
    (re.compile(r"^\w{2,8}_(?:VCC|VDD|VBUS|VIN|VOUT|PWR|VSYS)\d?$"), None, 0.6),
)  # fmt: skip
_ANY_SUPPLY: Final = re.compile("|".join(pattern.pattern for pattern, _, _ in _SUPPLY_WORDS))
#: A supply word with one of these is a signal about the supply, not the supply.
_ABOUT_SUPPLY: Final = re.compile(
    r"(?:^|[_-])(?:EN|ENABLE|PG|PGOOD|GOOD|SENSE|SNS|DET|DETECT|VBUSDET|FB|CTRL|CTL|MON|ADC|DIV|SEL"
    r"|FAULT|FLT|OC|STAT|STATUS|INT|IRQ|ALERT|DRV|OK|ON|OFF|SET|SW|MODE|VALID|MEAS|LED|DISCHARGE"
    r"|NTC|TEMP|THERM|LVL|LEVEL|VOLTAGE|STATE"
    r"|GATE|N)\d*(?:$|[_-])|(?:DET|SENSE|SNS|CTRL|CTL|FB|MON|EN#?|MODE|SET\d?|DRV|ALERT)$"
    r"|COMP$|_RTN\w*$|SENS?E?[PN]?$|_UGATE|_LGATE|_BOOT|^VDDFB|^EN[_\d]|^[!/]",
)


def leaf_of(name: str) -> str:
    """Return the last component of a net name, without sheet path and overbars.

    >>> leaf_of("/Project/Power/VSYS"), leaf_of("/~{RESET}"), leaf_of("/I/O1")
    ('VSYS', 'RESET', 'O1')
    """
    leaf = name.rsplit("/", 1)[-1] if "/" in name else name
    if "{" in leaf:
        leaf = re.sub(r"[~_^]\{([^}]*)\}", r"\1", leaf)
    return leaf.strip()


def pin_function_of(name: str) -> str | None:
    """Return the pin function in an automatic name: `Net-(U1-VDD)` gives VDD; or None."""
    match = _AUTOMATIC_PIN.match(name) if name.endswith((")", "_")) else None
    if match is None:
        return None
    pin = re.sub(r"[~_^]\{([^}]*)\}", r"\1", match["pin"])
    return None if re.match(r"^Pad\w*$", pin, re.IGNORECASE) else pin


@lru_cache(maxsize=65536)
def read_rail_name(name: str) -> NameReading:
    """Return what the name of a net says about supply.

    >>> (
    ...     read_rail_name("+3V3").volts,
    ...     read_rail_name("VCC3V3_S0").volts,
    ...     read_rail_name("P1V8").volts,
    ... )
    (3.3, 3.3, 1.8)
    >>> [read_rail_name(n).volts for n in ("GPIO33", "I2C1", "VDD1", "USB3V", "R5V1", "AVDD")]
    [None, None, None, None, None, None]
    """
    if AUTOMATIC.search(name):
        return _NOTHING
    leaf = leaf_of(name).upper()
    if not leaf:
        return _NOTHING
    if _GROUND.match(leaf) and not _NO_GROUND.search(leaf.replace("GND", "", 1)):
        return NameReading("ground", 0.0, None, leaf, 0.97)
    about = _ABOUT_SUPPLY.search(leaf) is not None
    spelt = leaf
    if leaf.startswith(("V", "+V")):
        spelt = _V_APART.sub(r"\1V", _V_DECIMAL.sub(r"V\1V\2", leaf))
    volts = _volts_in(spelt)
    if volts is not None and not about:
        # SDA_1V8: the level of a signal, or of a rail of that word; structure must say which
        kind = "rail" if volts[2] > LEVEL_SCORE else "level"
        return NameReading(kind, volts[0], None, volts[1], volts[2])
    if _ANY_SUPPLY.match(leaf) is None:
        return _NOTHING
    for pattern, usual, score in _SUPPLY_WORDS:
        if pattern.match(leaf):
            if about:
                return NameReading("", None, None, leaf, 0.0)
            return NameReading("supply", None, usual, leaf, score)
    return _NOTHING


#: Score of a voltage beside a word that is no supply word.
LEVEL_SCORE: Final = 0.5
_V_APART: Final = re.compile(r"^(\+?)V[_-](?=\d)")  # V_1P8
_V_DECIMAL: Final = re.compile(r"^V(\d{1,2})_(\d)$")  # V12_0
_SPLIT: Final = re.compile(r"[_\-]+(?=[A-Z+\d])|\s+")
_POWER_STATE: Final = re.compile(
    r"^(?:S[0345]|AON|ALW|SB|STBY|SUS|RTC|CPU\w*|SYS|HSIC|IO|CORE|A|D|SW|DDR\w*|MEM|USB\w*|RAM|PLL"
    r"|ANA|DIG|IN|OUT|EXT|AUX|MCU|SD|EMMC|LDO\d*|BUCK\d*|RF|WIFI|BT|LCD|CAM|LED|MIC|SENSOR\w*|VDD\w*"
    r"|VCC\w*|TP|KBD|PERI\w*|GPS|GNSS|ETH|PHY|HDMI|EDP|FPGA|AUDIO|MAIN|V|PWR|POWER|SUPPLY|REG|P"
    r"|VIN|VOUT|VBUS|VBAT|VSYS|AVDD|DVDD|\d)$"
)


def _volts_in(leaf: str) -> tuple[float, str, float] | None:
    """Return volts, the word that holds them, and a score; None where no word is a voltage."""
    if _DIGIT.search(leaf) is None:
        return None
    whole = _volts_of_word(leaf)
    if whole is not None:
        return whole, leaf, 0.95
    match = _INDEXED.match(leaf)
    if match:
        return int(match["two"]) / 10, leaf, 0.6
    words = [word for word in _SPLIT.split(leaf) if word]
    if len(words) < 2:
        return None
    hits = [
        (index, volts) for index, w in enumerate(words) if (volts := _volts_of_word(w)) is not None
    ]
    if len(hits) != 1:
        return None
    index, volts = hits[0]
    others = words[:index] + words[index + 1 :]
    # "USB-5V", "1.1V_CPUX": at the front or the back of the name, beside a word
    known = all(_POWER_STATE.match(word) for word in others)
    return volts, words[index], 0.9 if known else LEVEL_SCORE


_STANDBY: Final = re.compile(r"V(?:SB|STBY|ALW|AUX|DUAL|SUS|RUN|S\d)$")


def _volts_of_word(word: str) -> float | None:
    if _ANY_FORM.match(word) is None:
        return None
    for form in _FORMS:
        match = form.match(word)
        if match is None:
            continue
        if match["int"] == "3" and not match["frac"] and _STANDBY.search(word):
            return 3.3  # +3VSB, 3V_ALW: 3.3 V rails (common practice, no source)
        if match["lead"] == "USB" and match["int"] in {"1", "2", "3"}:
            return None  # USB3V: the digit belongs to USB
        if not match["sign"] and not match["lead"] and "V" not in word:
            return None  # 2.4: a number, no voltage
        figure = float(f"{match['int']}.{match['frac'] or '0'}")
        if match["int"].startswith("0") and match["int"] != "0":
            return None
        if figure == 0 or figure > MOST_VOLTS:
            return None
        return -figure if match["sign"] == "-" else figure
    return None
