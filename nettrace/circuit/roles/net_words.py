"""Words in net and pin names that say what a line is for (common practice, no source)."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import lru_cache, partial
from typing import Final

from nettrace.circuit.rail_names import leaf_of, pin_function_of

__all__ = [
    "BOOTSTRAP_PIN",
    "BUTTON",
    "BYPASS_PIN",
    "COMPENSATION_PIN",
    "CONFIGURATION",
    "FEEDBACK_PIN",
    "RESET",
    "SET_PIN",
    "SOFT_START_PIN",
    "SUPPLY_PIN",
    "SUPPLY_TAP",
    "SWITCH_PIN",
    "THERMISTOR_LINE",
    "USB_CC",
    "USB_DATA",
    "Words",
    "names_supply",
    "words_of",
]


class Words:
    """Whole words to look for; an answer is kept, for a net is asked about by each of its parts."""

    __slots__ = ("search",)

    def __init__(self, pattern: str) -> None:
        self.search: Callable[[str], bool] = lru_cache(maxsize=16384)(
            partial(_is_in, re.compile(pattern))
        )


def _is_in(pattern: re.Pattern[str], text: str) -> bool:
    return pattern.search(text) is not None


def _word(pattern: str) -> Words:
    """Return whole words, parted by blanks, to look for; index digits may follow each."""
    words = "|".join(pattern.split())
    return Words(rf"(?:^|[^A-Z])(?:{words})\d*[+\-#]?(?:$|[^A-Z0-9])")


#: Analog pins whose resistor to ground sets a current, a voltage, a rate, or a reference.
SET_PIN: Final = _word(
    r"[IV]SET\w? SET R_?SET ILIM\w* I_?LIMIT OC_?SET R_?REF R_?EXT REXT\w* I_?REF R_?BIAS ZQ "
    r"RZQ PROG IPRG\w* RT ROSC RCAL R_?CAL CAL ICHG ISENSE_SET TRIM OSC_?R RADJ IADJ GAIN_?SET "
    r"RG DVC_?SET TERM_?R RTERM RKELVIN COMP_?R R_?DAC FSADJ \w*(?<!RE)(?<!OFF)SET FS_?ADJ "
    r"TMR_?SET VREF_?R REFR \w*RREF \w*REXT \w*_RBIAS VSET\w* RCOMP\w* \w*_RCOMP\w* \w*RCOMP"
)
FEEDBACK_PIN: Final = _word(r"V?FB\w? FB_\w+ \w+_FB ADJ VADJ FEEDBACK VSENSE VSNS VOSNS INV")
SOFT_START_PIN: Final = _word(
    r"SS SST SOFT_?START SS_?TR CT C_?SS DELAY DLY CDLY TIMER TMR C_?TIME TD C_?DELAY TRACK "
    r"SLEW CSLEW DVDT CDVDT POR POR_?B"
)
COMPENSATION_PIN: Final = _word(
    r"COMP\w* VC ITH EAO CPOUT CP LPF LFILT\w* VTUNE PLL\w* LOOP FILT FLT CMP PLLFLT "
    r"VCAPP VTUN LF"
)
BOOTSTRAP_PIN: Final = _word(r"BOOT BST VBST CBOOT BS VBOOT CB BOOST HB VB")
SWITCH_PIN: Final = _word(
    r"SW\w? SW_?\d LX\w? PH PHASE L1 L2 SWN DCDC_?SW HS VSW PHASE\w? PHASE_?\w"
)
#: Pins of a chip's own supply or reference, that want one capacitor.
BYPASS_PIN: Final = _word(
    r"V_?REG\w* V_?CORE VDDC\w* V_?CAP\w* VDDI V_?DD\w* VCC\w* V_?REF\w* REF[PN]? REF_?CAP "
    r"REF_?BYP COM BYP BYPASS CREG CVDD LDO\w* VDDA AVDD V18 V33 DEC\w? V_?INT VINT DVDD VS C1 "
    r"CAP CAPP CAPN VCP CPUMP VMID VCM VAG VCOM NR VLDO REGOUT VOUT INTVCC VL PVCC VDRV BIAS "
    r"MICBIAS BG VBG"
)

RESET: Final = _word(
    r"N?RST\w? N?RESET\w{0,2} \w*RESET_?N? MCLR POR NPOR PORST SRST PERST N?SYSRST \w*_RST "
    r"\w*_N?RESET \w*RST_?[LNB]? \w*RESET_?[LNB]? RUN"
)
BUTTON: Final = _word(
    r"BUT BTN BUTTON KEY KEYS PWR_?BUT\w* PWR_?BTN PWRON PWR_?ON PWRKEY ON_?KEY PEK SW PB ONOFF "
    r"ON_?OFF POWER_?KEY JOY\w* UP DOWN LEFT RIGHT"
)
THERMISTOR_LINE: Final = _word(
    r"TS TS_?\w{0,2} N?TC NTC\w* THERM\w* T_?BAT\w* BAT_?T BAT_?TEMP BATT_?TEMP TBATT TH THM "
    r"BAT_?NTC TEMP VTS T_?SENSE TMP_?SNS RTH"
)
USB_CC: Final = _word(r"CC CC_?[12] \w+_CC[12] USB_?CC[12]? VCONN")
USB_DATA: Final = re.compile(
    r"(?:^|[^A-Z])(?:USB\w*[_\-]?)?D(?:\+|-|P|M|_P|_N|_\+|_-)\d?$|^D[PM]\d?$|USB\w*(?:\+|-|_P|_N)$"
)
#: A chip's supply pin.
SUPPLY_PIN: Final = _word(
    r"[ADP]?V(?:IN|CC|DD|BUS|BAT|SYS|BATT|IO|PWR|OUT|M|S|REG|DDIO|DDH|CCIO)\w{0,3} PVIN PVDD "
    r"\w*_?VDD\w? \w*_?VCC\w? VBUS_?OUT LEDA\d?"
)
#: Lines that choose a mode when power comes: read once, so a pull.
CONFIGURATION: Final = _word(
    r"BOOT\w* STRAP\w* MODE\w* CFG\w* CONF\w* SEL\w* \w*SEL ADDR\w* A[0-3] ID WP HOLD TEST\w* "
    r"EN\w{0,2} \w*_EN OE CE CS\w? SHDN PD PWDN STBY DFU ISP"
)
#: Lines that watch a supply.
SUPPLY_TAP: Final = _word(
    r"\w*DET \w*DETECT \w*SENSE \w*SNS \w*MON \w*DIV \w*ADC\w* VBUS_?\w* \w*HPD VBAT_?\w* "
    r"\w*MEAS UVLO OVLO OVP \w*PFI \w*_V \w*LVL"
)


@lru_cache(maxsize=16384)
def names_supply(text: str) -> bool:
    """Return whether the words name a chip's supply pin or own supply, and not a line about one.

    >>> names_supply("VDD"), names_supply("VREG_VOUT"), names_supply("VBUS_DET")
    (True, True, False)
    """
    if _ABOUT_SUPPLY.search(text):
        return False
    return SUPPLY_PIN.search(text) or BYPASS_PIN.search(text)


_ABOUT_SUPPLY: Final = re.compile(
    r"DET|SENSE|SNS|MON\b|(?:^|_)EN(?:_|\d|$)|ENABLE|PGOOD|PWRGD|_PGD?\b|_OK\b|RTN|CTRL|_DIV|ADC"
    r"|SET\b|FB"
)


@lru_cache(maxsize=32768)
def words_of(net: str) -> str:
    """Return what a net's name says, upper case: its last part, or the pin in an automatic name.

    >>> words_of("/Power/VBUS_DET"), words_of("Net-(IC401-VSET1)"), words_of("Net-(R4-Pad2)")
    ('VBUS_DET', 'VSET1', '')
    """
    pin = pin_function_of(net)
    if pin is not None:
        return _MARKS.sub("", pin).upper()
    # an escaped stroke stands inside a name: it parts words, no sheets
    upper = _MARKS.sub("", leaf_of(net).upper().replace("{SLASH}", "/"))
    if upper.startswith(("NET-(", "UNCONNECTED-", "N$", "NET-_")):
        return ""
    cut = _CUT_AUTOMATIC.match(upper) if upper.endswith(")") else None
    if cut is None:
        return upper
    return "" if cut["pin"].startswith("PAD") else cut["pin"]


_MARKS: Final = re.compile(r"[{}~^]")
#: The end of an automatic name that a narrow column cut: `T-(R45-PAD2)`, `01-VBUS_OUT)`.
_CUT_AUTOMATIC: Final = re.compile(r"^[^()]*\(?[^()]*?-(?P<pin>[^()\-][^()]*)\)$")
