"""The words by which the trade names parts: reference letters, packages, values, descriptions.

Reference letters follow IEEE 315 / ASME Y14.44 and trade use (Q for a crystal, T for a transistor
in Europe, X for a connector); part families are common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import lru_cache, partial
from typing import Final

from nettrace.circuit.kinds import Kind

__all__ = [
    "DESCRIPTION_WORDS",
    "DEVICE_WORDS",
    "LETTERS",
    "LETTERS_IN_WORDS",
    "PACKAGE_WORDS",
    "REFERENCE_WORDS",
    "VALUE_WORDS",
    "Words",
]


class Words:
    """Patterns in their order, each with its kind; what a text says is kept, for texts repeat."""

    __slots__ = ("kind_in",)

    def __init__(self, rows: tuple[tuple[re.Pattern[str], Kind], ...]) -> None:
        #: Text -> the kind of the first pattern that is met in it, None if none is.
        self.kind_in: Callable[[str], Kind | None] = lru_cache(maxsize=16384)(
            partial(_first_met, rows)
        )


def _first_met(rows: tuple[tuple[re.Pattern[str], Kind], ...], text: str) -> Kind | None:
    for pattern, kind in rows:
        if pattern.search(text):
            return kind
    return None


LETTERS: Final[dict[str, Kind]] = {
    "R": Kind.RESISTOR, "RS": Kind.RESISTOR, "RSH": Kind.RESISTOR, "RSENSE": Kind.RESISTOR,
    "RN": Kind.RESISTOR_ARRAY, "RP": Kind.RESISTOR_ARRAY, "RA": Kind.RESISTOR_ARRAY,
    "RM": Kind.RESISTOR_ARRAY, "RNET": Kind.RESISTOR_ARRAY, "RPACK": Kind.RESISTOR_ARRAY,
    "RT": Kind.THERMISTOR, "TH": Kind.THERMISTOR, "NTC": Kind.THERMISTOR, "RTH": Kind.THERMISTOR,
    "PTC": Kind.FUSE, "RV": Kind.VARISTOR, "VDR": Kind.VARISTOR, "MOV": Kind.VARISTOR,
    "VAR": Kind.VARISTOR, "POT": Kind.POTENTIOMETER, "TRIM": Kind.POTENTIOMETER,
    "C": Kind.CAPACITOR, "CP": Kind.CAPACITOR, "CE": Kind.CAPACITOR, "EC": Kind.CAPACITOR,
    "CN": Kind.CONNECTOR, "CON": Kind.CONNECTOR, "CONN": Kind.CONNECTOR, "J": Kind.CONNECTOR,
    "P": Kind.CONNECTOR, "PL": Kind.CONNECTOR, "SK": Kind.CONNECTOR, "TB": Kind.CONNECTOR,
    "XS": Kind.CONNECTOR, "XP": Kind.CONNECTOR, "W": Kind.CONNECTOR, "JK": Kind.CONNECTOR,
    "L": Kind.INDUCTOR, "FB": Kind.FERRITE, "BD": Kind.FERRITE, "FER": Kind.FERRITE,
    "E": Kind.FERRITE, "FL": Kind.FILTER, "EMI": Kind.FILTER, "CM": Kind.COMMON_MODE_CHOKE,
    "CMC": Kind.COMMON_MODE_CHOKE, "LCM": Kind.COMMON_MODE_CHOKE,
    "F": Kind.FUSE, "FU": Kind.FUSE, "FUSE": Kind.FUSE, "FS": Kind.FUSE,
    "D": Kind.DIODE, "CR": Kind.DIODE, "DZ": Kind.ZENER, "ZD": Kind.ZENER, "Z": Kind.ZENER,
    "VD": Kind.DIODE, "LED": Kind.LED, "DS": Kind.LED, "LD": Kind.LED, "DL": Kind.LED,
    "TVS": Kind.ESD, "ESD": Kind.ESD, "DESD": Kind.ESD, "ED": Kind.ESD,
    "Q": Kind.TRANSISTOR, "QN": Kind.TRANSISTOR, "QP": Kind.TRANSISTOR, "VT": Kind.TRANSISTOR,
    "TR": Kind.TRANSISTOR, "FET": Kind.MOSFET, "MOS": Kind.MOSFET, "EQ": Kind.TRANSISTOR,
    "PQ": Kind.TRANSISTOR,
    "U": Kind.IC, "IC": Kind.IC, "EU": Kind.IC, "UM": Kind.IC, "DD": Kind.IC, "DA": Kind.IC,
    "VR": Kind.IC, "REG": Kind.IC, "PU": Kind.IC,
    "Y": Kind.CRYSTAL, "X": Kind.CRYSTAL, "XTAL": Kind.CRYSTAL, "XT": Kind.CRYSTAL,
    "XO": Kind.OSCILLATOR, "OSC": Kind.OSCILLATOR, "TCXO": Kind.OSCILLATOR,
    "S": Kind.SWITCH, "SW": Kind.SWITCH, "BTN": Kind.SWITCH, "PB": Kind.SWITCH,
    "KEY": Kind.SWITCH, "BUT": Kind.SWITCH, "BUTTON": Kind.SWITCH, "SWITCH": Kind.SWITCH,
    "K": Kind.RELAY, "RLY": Kind.RELAY, "RL": Kind.RELAY,
    "JP": Kind.JUMPER, "SJ": Kind.JUMPER, "SB": Kind.JUMPER, "JMP": Kind.JUMPER,
    "JUMPER": Kind.JUMPER, "LK": Kind.JUMPER, "PJ": Kind.JUMPER,
    "TP": Kind.TEST_POINT, "TEST": Kind.TEST_POINT, "TPAD": Kind.TEST_POINT,
    "PT": Kind.TEST_POINT, "TPS": Kind.TEST_POINT,
    "BT": Kind.BATTERY, "BAT": Kind.BATTERY, "BATT": Kind.BATTERY, "CELL": Kind.BATTERY,
    "MK": Kind.MICROPHONE, "MIC": Kind.MICROPHONE, "LS": Kind.SOUNDER, "SPK": Kind.SOUNDER,
    "BZ": Kind.SOUNDER, "BUZ": Kind.SOUNDER, "SP": Kind.SOUNDER, "M": Kind.MOTOR,
    "MOT": Kind.MOTOR, "ANT": Kind.ANTENNA, "AE": Kind.ANTENNA, "T": Kind.TRANSFORMER,
    "TX": Kind.TRANSFORMER, "DISP": Kind.DISPLAY, "LCD": Kind.DISPLAY, "OLED": Kind.DISPLAY,
    "MOD": Kind.MODULE, "A": Kind.MODULE,
    "MH": Kind.MECHANICAL, "H": Kind.MECHANICAL, "MP": Kind.MECHANICAL, "FD": Kind.MECHANICAL,
    "FID": Kind.MECHANICAL, "HOLE": Kind.MECHANICAL, "LOGO": Kind.MECHANICAL, "G": Kind.MECHANICAL,
    "HS": Kind.MECHANICAL, "SH": Kind.MECHANICAL, "MTG": Kind.MECHANICAL, "REF": Kind.MECHANICAL,
    "V": Kind.VARISTOR,
}  # fmt: skip

#: Prefixes that begin like a SPICE source but are words of the trade.
LETTERS_IN_WORDS: Final = frozenset({"IC", "VR", "VD", "VT", "BT", "BAT", "BATT", "ESD", "EMI"})


def _words(*rows: tuple[str, Kind]) -> Words:
    return Words(tuple((re.compile(pattern, re.IGNORECASE), kind) for pattern, kind in rows))


#: Whole references that are words: MICRO_SD1, +5V_USBOTG1, PWRLED1, BATTERY1; IPC-D-356 cuts
#: them to six characters.
REFERENCE_WORDS: Final = _words(
    (r"LED\d*$|^LED", Kind.LED),
    (r"^MOUNT|HOLE|FIDUC|LOGO|^REF\*|^G\*|SVG2MOD|KIBUZZ|^MARK", Kind.MECHANICAL),
    (r"^(?:RESET|RST|BOOT|PWR_?BUT|BUT|BTN|KEY|SWITCH)\w*\d*$", Kind.SWITCH),
    (r"^FUSE|^PTC|^POLYF", Kind.FUSE),
    (r"TEST_?P|TESTPAD|^TP_", Kind.TEST_POINT),
    (
        r"USB|HDMI|^CONN?|^JTAG|^SWD|UART|DEBUG|^DBG|^MICRO|^SD_?CARD|^uSD|^LCD|^EDP|^BATT|^PWR|^DC"
        r"|^SIM|ETHER|^LAN|^RJ|^EXT|^UEXT|^GPIO|^AUDIO|^HEADER|^LIPO|^ICSP|^ISP|^PROG|^SATA|^PCIE",
        Kind.CONNECTOR,
    ),
    (r"XTAL|^CRYST", Kind.CRYSTAL),
    (r"^HALL|SENSOR|^REG", Kind.IC),
    (r"^(?:[+-]?\d+(?:\.\d+)?V|V(?:CC|DD|BAT|BUS|IN|OUT)|GND|IPS|\w+_VCC|AGND)", Kind.TEST_POINT),
    (r"^ANT", Kind.ANTENNA),
    (r"SPEAK|BUZZ", Kind.SOUNDER),
    (r"^MIC\b", Kind.MICROPHONE),
)

PACKAGE_WORDS: Final = _words(
    (
        r"mounting_?hole|\bnpth|fiducial|logo\b|_logo|symbol|kibuzzard|svg2mod|silkscreen|wordmark"
        r"|mousebite|panel|oval_drill|shield[-_]?(?:bmi|frame|can)|rf[-_]?shield|heatsink|standoff"
        r"|HOLE\d*MIL|mask-?only|^svg|tooling|null-module|copyright|label\b",
        Kind.MECHANICAL,
    ),
    (r"test_?-?(?:point|pad)|\bTP_|^TP\d|pogo(?:pad)?", Kind.TEST_POINT),
    (r"solder_?jumper|^SJ(?:$|[_-])|\bjumper|^NetTie|0R_jumper", Kind.JUMPER),
    (r"battery_?holder|^batt?_?holder|coincell|CR\d{4}|batteryholder|^BAT-", Kind.BATTERY),
    (
        r"pin_?header|pin_?socket|\bheader|conn(?:ector)?s?[_:-]|^conn\b|\bjst|molex|hirose|samtec"
        r"|amphenol|usb[-_](?:a|b|c|micro|mini)|usb_|microusb|hdmi|rj45|u\.?fl|\bsma[-_](?:7|con|edge|j)"
        r"|\bsma_(?!d)|ipex|terminal_?block|phoenix|barrel|jack|fpc|ffc|fpv|flexcon|flex_|con-|batcon"
        r"|receptacle|socket|sd_?card|microsd|card_?edge|pmod|d-?sub|idc|screw_?term|^HN\d|tag-connect"
        r"|swd_2x|\bcon\d|xh_|edge_?con|micro_?b-|df13|bm\d\db|connector|sim_?card|conn\d|-con$",
        Kind.CONNECTOR,
    ),
    (r"crystal|xtal|\bhc-?49|\babm\d|resonator|fc-135|quartz", Kind.CRYSTAL),
    (r"oscillator|\btcxo|_osc\b", Kind.OSCILLATOR),
    (r"\bLED[_s\d-]|_LED|^LED|WS2812|LTST|neopixel", Kind.LED),
    (
        r"button|\btact|tactile|(?<!load_)(?<!analog_)(?<!power_)switch(?!ing)|\bSW_|^SW-|skrp|evp-|pushb|dip_?sw|utactil|fsm[rs]?a",
        Kind.SWITCH,
    ),
    (r"relay", Kind.RELAY),
    (r"\bfuse|polyfuse|fuseholder", Kind.FUSE),
    (r"buzzer|speaker|piezo", Kind.SOUNDER),
    (r"microphone|\bmems_mic|SPK0|SPH0", Kind.MICROPHONE),
    (r"antenna", Kind.ANTENNA),
    (r"common_?mode|\bcmc_|chokesmd_cm|ACM\d{4}|DLW", Kind.COMMON_MODE_CHOKE),
    (r"transformer|balun", Kind.TRANSFORMER),
    (r"potentiometer|trimmer", Kind.POTENTIOMETER),
    (r"varistor", Kind.VARISTOR),
    (
        r"r_array|r_matrix|r_pack|resistor_?net|resistor_?array|\brn_|^CAY16|^RA_",
        Kind.RESISTOR_ARRAY,
    ),
    (
        r"\bD_|diode|sod-?\d|sod\d|do-?214|do-?41\b|\bsm[abc]f?(?:[-_]ka)?$|\bmelf|minimelf",
        Kind.DIODE,
    ),
    (r"ferrite|bead", Kind.FERRITE),
    (r"transistor", Kind.TRANSISTOR),
    (r"rf_module|\bmodule|ESP32-|ESP-12|WROOM|NORA-|NINA-|RL-SM", Kind.MODULE),
    (
        r"\bQFN|\bQFP|LQFP|TQFP|\bBGA|FBGA|\bSOIC|\bSSOP|TSSOP|MSOP|\bSOP-?\d|\bSO-?\d|WSON|\bDFN"
        r"|\bLGA|WLCSP|\bDIP-|\bUDFN|VSSOP|VQFN|\bUQFN|XQFN|WQFN|XSON|TBGA|VFBGA|\bVQ\d",
        Kind.IC,
    ),
    (r"\bCP?_|capacitor|\bcap_|\bC\d{4}|elec_", Kind.CAPACITOR),
    (r"\bL_|inductor|\bL\d{4}|\bIND_|\bCD\d\d|nrg\d|SRN\d|XFL|SWPA", Kind.INDUCTOR),
    (r"\bR_|resistor|\bR\d{4}|\bRES_", Kind.RESISTOR),
)

VALUE_WORDS: Final = _words(
    (r"mounting_?hole|fiducial|\blogo\b|^G\*\*\*|shield-?(?:frame|cover)", Kind.MECHANICAL),
    (r"test_?-?(?:point|pad)", Kind.TEST_POINT),
    (r"\bNTC|therm(?:istor)?\b|NCP\d\d[A-Z]{2}|NTCG|ERT-?J", Kind.THERMISTOR),
    (r"\bFB[-_ ]?\d|bead|ferrite|BLM\d\d|MPZ\d{4}|\bBKP|\bBK\d{4}|\d+\s*[RrΩ]?@\d+\s*M",
     Kind.FERRITE),
    (r"(?<![A-Z])LED(?![A-Z])|\bled\b|\w{3,}LED$|^LTST|^APT\d|WS281|SK6812|^(?:RED|GREEN|BLUE"
     r"|YELLOW|AMBER|WHITE|ORANGE)$", Kind.LED),
    (r"\bTVS|\bESD|RCLAMP|USBLC|PRTR5V|IP4\d{3}|TPD\d|SP05|SMAJ\d|SMBJ\d|SMCJ\d|SMF\d+\.?\d*[AC]"
     r"|PESD|PGB\d|CDSOT|SRV05|LXES|NUP\d|ESDA|ESD9|GSG-DIODE-TVS|CM1293|NZQA|UCLAMP|D_TVS",
     Kind.ESD),
    (r"BZX|BZT|MMSZ|zener|\bZENER|D_ZENER|\b1N47\d\d", Kind.ZENER),
    (r"schottky|\b1N\d{4}|\bBAT\d\d[A-Z]?\b|\bBAS\d\d|\bBAV\d\d|\bSS\d\d\b|\bSK\d\d\b|\bMBR[SA]?\d"
     r"|^B\d{3,4}[AB]?(?:-|$)|PMEG|\bSD\d{3}|D_Schottky|^D_Small|^DIODE", Kind.DIODE),
    (r"\bcommon.?mode|ACM\d{4}|DLW\d", Kind.COMMON_MODE_CHOKE),
    (r"balun|transformer", Kind.TRANSFORMER),
    (r"BSS\d\d|2N700\d|AO\d{4}|\bSI(?!5[013]\d\d)\d{4}[A-Z]|IRL|IRF|DMG\d|DMN\d|DMP\d|PMZ|NTR\d|NX\d{4}|FDN\d"
     r"|FDV\d|mosfet|\bNMOS|\bPMOS|Q_[NP]MOS|CSD\d{5}|WPM\d|NDS\d|SSM\d[KJ]|RUM00|RZM|2SK\d|BSH\d"
     r"|PSMN|AON\d", Kind.MOSFET),
    (r"MMBT|\bBC8\d\d|\b2N(?:2222|3904|3906)|\bDT[AC]\d|S80\d0|S85\d0|\bPDT[AC]|Q_[NP]PN|2SC\d"
     r"|\bBC[35]\d\d|BFR?\d|MMUN|UMH\d", Kind.TRANSISTOR),
    (r"crystal|xtal|\d\s*[kM]Hz|^\d+(?:\.\d+)?M(?:Hz)?/|32\.?768", Kind.CRYSTAL),
    (r"oscillator|\btcxo|^SiT\d|ASTX", Kind.OSCILLATOR),
    (r"polyfuse|\bfuse|^FSMD|^MF-|^0ZC|PTC_", Kind.FUSE),
    (r"\bRA\d{4}|\d[xX*]\s*(?:0402|0603|1k|10k|22R|33R)|^RN\b|R_Pack|CAY1|EXB",
     Kind.RESISTOR_ARRAY),
    (r"^conn_|connector|receptacle|\bheader|\bsocket|USB[_-]?(?:A|B|C|micro|mini)|^HDMI|jack|\bJST"
     r"|^SMA$|^BATTCON|SWD\b|^PMOD|[-_ ]USB$", Kind.CONNECTOR),
    (r"jumper|^SJ[_\d]?", Kind.JUMPER),
    (r"tact|^SW_|push_?button|switch_?$", Kind.SWITCH),
    (r"microphone|SPK0\d|SPH0\d", Kind.MICROPHONE),
    (r"buzzer|speaker", Kind.SOUNDER),
    (r"combo_?module|\bmodule\b|ESP32-|WROOM|NORA-|NINA-", Kind.MODULE),
    (r"varistor", Kind.VARISTOR),
    # a chip that does the same is no part with a wiper; a trimmer may be a capacitor
    (r"(?<!digital[ _-])potentiometer|\btrim_?pot|\btrimmer(?![ _-]?cap)|\d[RrkKM]?[ _-]?pot\b",
     Kind.POTENTIOMETER),
)  # fmt: skip

DESCRIPTION_WORDS: Final = _words(
    (r"fiducial|mounting hole|logo", Kind.MECHANICAL),
    (r"test point", Kind.TEST_POINT),
    (r"thermistor|\bNTC\b", Kind.THERMISTOR),
    (r"ferrite|bead", Kind.FERRITE),
    (r"\bLED\b|light emitting", Kind.LED),
    (r"\bTVS\b|\bESD\b", Kind.ESD),
    (r"zener", Kind.ZENER),
    (r"n-?mos|p-?mos|mosfet|n-channel|p-channel", Kind.MOSFET),
    (r"transistor|\bNPN\b|\bPNP\b", Kind.TRANSISTOR),
    (r"schottky|\bdiode", Kind.DIODE),
    (r"resistor (?:network|array|pack)", Kind.RESISTOR_ARRAY),
    (r"varistor", Kind.VARISTOR),
    (r"(?<!digital )potentiometer", Kind.POTENTIOMETER),
    (r"oscillator", Kind.OSCILLATOR),
    (r"crystal", Kind.CRYSTAL),
    (r"solder jumper|\bjumper", Kind.JUMPER),
    (
        r"push ?button|tactile|(?:slide|toggle|rocker|dip|reed|tact\w*) switch|\b[sd]p[sd]t\b",
        Kind.SWITCH,
    ),
    (r"pin header|connector|receptacle|socket", Kind.CONNECTOR),
    (r"\bfuse", Kind.FUSE),
    (r"common.?mode choke", Kind.COMMON_MODE_CHOKE),
    (r"capacitor", Kind.CAPACITOR),
    (r"inductor", Kind.INDUCTOR),
    (r"resistor", Kind.RESISTOR),
    (r"microphone", Kind.MICROPHONE),
)

#: SPICE device letters and model types.
DEVICE_WORDS: Final = _words(
    (r"^(?:N|P|V)?MOS$|^[NP]MF$|^VDMOS", Kind.MOSFET),
    (r"^(?:NPN|PNP|LPNP|NJF|PJF)$", Kind.TRANSISTOR),
    (r"^D(?:IODE)?$", Kind.DIODE),
    (r"^R(?:ES)?$", Kind.RESISTOR),
    (r"^C(?:AP)?$", Kind.CAPACITOR),
    (r"^L(?:IND)?$|^IND$", Kind.INDUCTOR),
    (r"^[VI]$", Kind.SOURCE),
)
