"""Families of chips by the beginning of their part numbers, and the words of their descriptions.

Families that any engineer knows, by the makers' numbering (common practice, no source; from
memory). A number decides more than a word: descriptions borrow words from their surroundings.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final

from nettrace.circuit.rail_volts import is_regulator_text
from nettrace.model.board import Part

__all__ = ["FAMILY", "NAMED", "roles_in_text", "text_of"]

#: Weight of a part number, of a word, of a word in a package or sheet (ours, no source).
FAMILY: Final = 0.92
NAMED: Final = 0.8

#: Role and the alternatives, as regular expressions parted by blanks.
_FAMILIES: Final[tuple[tuple[str, str], ...]] = (
    (
        "fuel gauge",
        r"BQ27\d{3} BQ28Z BQ40Z BQ34Z MAX1704\d MAX1705\d MAX172\d\d LC7092\d\d STC31\d\d "
        r"LTC294\d DS27\d\d CW201\d SY6410 RT942\d",
    ),
    (
        "charger",
        r"BQ24\d{3} BQ25\d{3} BQ21\d{3} BQ2407 BQ2961 MCP738\d\d TP405\d TP4056 LTC405\d "
        r"LTC4002 LTC4015 MAX155[15] MAX1874 MAX77[67]\d\d ISL92\d\d IP53\d\d STNS01 SLG4 "
        r"MP26\d\d SY69\d\d RT94[56]\d CN30\d\d HX620 ETA600\d LN2054 ADP506\d ADP2291 "
        r"LTC41\d\d STC4054 ISL6292 ISL88\d\d TP5[01]\d\d SGM41\d\d\d SGM40\d\d\d MAX8903 "
        r"MAX8934 CN37\d\d HB62\d\d ME4054 LP40\d\d IP2[13]\d\d BQ2[45]\d{3}",
    ),
    (
        "regulator",
        r"AXP\d{3} NPM1[13]\d\d NPM6001 PF\d{4} DA906\d DA921\d TPS650\d TPS659(?!8)\d TPS652\d "
        r"RK8\d\d ACT8\d{3} MAX7[67]6\d\d MC34708 STPMIC LP87\d\d PCA945\d BD71\d{3} TWL\d{4} "
        r"FAN5\d{3} LT3[45]\d\d TPS61\d LM36\d\d AP30\d\d MP33\d\d AW99\d\d CAT42\d\d PT41\d\d "
        r"ISL9\d{4} NCP\d{4} RT80\d\d RT90\d\d TPS51\d\d\d TPS7\d{4} TLV7\d{4} LP5907 XC6\d{3} "
        r"ADP1\d\d LD39\d{3} SC4238 APW\d{4} UP\d{4} RT61\d\d RT80\d{2} L78 LM78 LM79 78L\d\d "
        r"79L\d\d LM317 LM337 LD1117 AMS1117 AP2112 LM3671 LTC36\d\d LTM46\d\d TPS54\d{3} "
        r"ISL8\d{4} REF\d{2,4} TL431 LM4040 LM4041 ICL7660 TPS60\d MAX66\d LM2[56]\d{2} "
        r"MCP1[678]\d\d RT9[013]\d\d RT91\d\d LT30\d\d LT1[179]\d\d LT19\d\d LT8\d{3} LTC3\d{3} "
        r"LTC17\d\d NCV\d{4} NCP(?:1117|\d{3,4}) AP6[3-9]\d{3} AP7\d{3} AP15\d\d AP34\d\d "
        r"AOZ1[02]\d\d PAM23\d\d XL[1467]0\d\d SX13\d\d ISL9\d{3} ISL85\d\d MAX86\d\d "
        r"MAX15(?!51|55)\d\d MAX17[2-6]\d\d S-?8[12]\d\w S-?13\d\d BD9\w\d BD\d{5} JW5\d{3} "
        r"SGM20\d\d SGM2\d{3}-\d ETA[13]\d{3} FP6\d{3} SC1[89]\d UM1\d{3} AAT\d{4} TC1\d{3} "
        r"BA\d\dDD BA0\d\d TPS82\d LMR\d{5} LMZ\w?\d LM43\d\d LP38\d\d MIC5\d{3} MIC29 "
        r"HT7[1358]\d\d ME6\d{3} SPX\d SY8\d{3} MT[23]\d{3} MP[12]\d{3} TLV62\d LP2985 LP2951 "
        r"LDL\d LDK\d LDLN LD29 TPS5\d{3,4} TPS6(?!598)\d{4} LTM\d{4} NJM78 CJ78 NJU77 BL8\d{3} "
        r"PW2\d{3} TPS7\w\d ADM71 ADP71 ADP2\d{3} TPS65(?!98)\d{2,4}",
    ),
    (
        "load switch",
        r"TPS22\d{3} TPS20\d\d TPS25\d{2,3} SY628\d AP22\d\d AP21[4-9]\d MIC20\d\d MIC940\d\d "
        r"RT97\d\d STMPS\d NCP38\d NCP33\d FPF\d{4} SIP32\d{3} AOZ13\d\d GLF7\d TCK1\d TCK2\d "
        r"G5[12]\d{1,2}\w LTC44\d\d LM5050 LTC43\d\d TPS211\d AP23\d\d NCP3[38]\d NCP45\d "
        r"LTC4[34]\d\d MAX16\d\d\d RT17\d\d",
    ),
    (
        "memory",
        r"W25[QXNM]\d MX25[LURV] MX66 GD25 AT25[DS]?[FNL] AT45D SST2[56] SST39 IS25 N25Q S25F "
        r"S29 ZD25 XM25 EN25 P25Q BY25 ZB25 PM25 MT2[589] MT4[01678] MT5[23] MT6[0-2] "
        r"K4[ABFEUWTJ]\d K9\w\d KM[A-Z0-9]{4} H5T H9 H26M H27 NT5 IS4[236] AS4C W9\d{3} W63 "
        r"AT24[CM] 24[LAF]C\d 24AA CAT24 CAT25 M24[CM] M95 BR24 93[LCA] FM2[45] MB85 CY14 CY15 "
        r"CY62 CY7C10 23LC 23K MTFC KLM THGB EMMC SDIN IS62 IS66 APS\d{4} LY68 ESP-?PSRAM "
        r"DS24\d\d 11LC ATAES SM2\d{3} AT93C AT25\d\d\d 25LC 25AA M34E M93C ST25DV CAT93 S34ML "
        r"TC58 MX30LF",
    ),
    (
        "real-time clock",
        r"DS13\d\d DS323\d DS1302 PCF85(?:23|63|83|263) PCF212\d PCA2131 RV-?\d{4} MCP794\d\d "
        r"M41T\d RX-?8\d{3} R\d?[VX]8\d{3} AB-?[01][18]\d5 PT7C43 ISL12\d{2} BQ32\d{3} HYM8563 "
        r"S-?35390 RS5C R2025 BL8025 INS5699 MCP79\d\d\w? PCF850\d\d RX8025 RX8[0-9]\d\d "
        r"DS1[36]\d\d",
    ),
    (
        "controller",
        r"STM32 STM8 GD32 AT32F CH32 CH55\d HC32 APM32 N32G MM32 AIR32 AT91 ATMEGA ATTINY "
        r"ATXMEGA AVR\d+D ATSAM SAM[DECLRVS]\d RP2040 RP2350 NRF5[1234] NRF91 ESP32 ESP8266 "
        r"ESP8285 PIC1\d PIC2\d PIC3\d DSPIC LPC\d{3,4} MK\d+[DFNX] MKL\d MKE\d KINETIS MSP430 "
        r"MSPM0 EFM32 EFR32 EFM8 C8051 CY8C CYBL R7F RA\dM RX\d{3} RL78 UPD78 CC13\d\d CC25\d\d "
        r"CC26\d\d CC32\d\d TM4C AM335 AM437 AM62 OMAP DM37 SITARA I\.?MX\d MCIMX MIMX "
        r"ALLWINNER SUNXI ^A[12346]\d(?:$|-) ^[HRVFT][1-9]\d{0,2}(?:$|-S) RK3\d{3} BCM2[78]\d\d "
        r"S3C\d{4} EXYNOS MT[678]\d{3} SC9\d MSM\d{4} APQ QCS JZ47 X1\d00 FE310 GAP8 K210 CV18 "
        r"TEGRA Z80 6502 68000 8051 AT89 STC1\d STC8 NORA-[BW]1 NINA-B BMD-3 MDBT RAYTAC "
        r"HOLYIOT E73- WROOM WROVER ITE8 IT8\d{3} MEC1\d NPCE KB9\d ATECC?_MCU ARTIK JN51 "
        r"^V3S\b ^F1C\d00 MAX32\d{3} MAX78000 ^D1S?\b BK72 BL60 BL70 XR87 W60[01] HPM\d{4} "
        r"TC2[67]\d CYT\d PSOC CY9 SPC5 STR7 SAMA5 JH71 C906 AG32 PY32 PUYA",
    ),
    (
        "interface chip",
        r"FT2\d{2} FT4\d{3} FT601 CH34\d CH9\d\d CP21\d\d PL23\d\d GL85\d GL35 USB25\d\d "
        r"USB[2345]\d{3} FE1\.?1 FE2\.?1 TUSB\d SL2\.1 UPD7202 VL8\d\d MAX232 MAX3232 MAX34\d "
        r"MAX48\d MAX13\d\d SP3232 SP34\d ST3232 ADM3\d ADM2\d SN65 SN75 ISL3\d LTC28\d\d TJA1 "
        r"MCP25\d\d TCAN LAN8\d LAN9\d KSZ\d RTL8\d AR80\d DP83 W5[15]00 ENC28 ENC424 BCM5 "
        r"88E\d VSC8 JL11 IP101 AX88 ADV7\d TFP4 SIL?9\d ANX\d PTN\d PS8\d{3} IT66 LT\d9\d1 "
        r"LT8\d{3}UX TC358 SN65DSI ICN\d SSD20 FUSB30 STUSB TPS6598 CYPD PCA95(?!4)\d\d PCAL\d "
        r"TCA95(?!4)\d\d TCA64\d\d PCF8574 MCP23[0S] MAX731 SX150\d ADS1\d ADS8\d MCP3\d{3} "
        r"MCP4\d{3} AD5\d AD7\d AD9\d DAC\d LTC2[456]\d\d MAX11\d MAX2\d{3} MAX58\d\d WM8\d "
        r"SGTL TLV320 ES83\d\d PCM\d CS4\d{3} CS5\d{3} AK4\d ALC\d NAU8 RT56\d\d SX12\d\d "
        r"CC11\d\d NRF24 CC2500 AT86 RFM\d SIM\d{3} BG9\d EC2\d UBLOX NEO- MAX-M SARA- ESP-?12 "
        r"RN4\d BCM4[34]\d AP6\d{3} RTL87 QCA ST25R PN5\d\d PN71 MFRC CR95 TRF7 LTM4 ATECC "
        r"ATSHA SE05 TPM OPTIGA LP50\d\d IS31 PCA963 PCA968 TLC59 HT16K MAX72\d\d TM16\d SSD13 "
        r"CAP1\d AT42 MPR12 TTP2 FT5\d GT9\d TSC20 STMPE AR10\d\d DRV8\d A49\d\d TMC\d L298 "
        r"L293 ULN2 TB66 USB3\d\d\d USB83 TUSB121 ISP1 TPS6598\d XR21 AS393 HX711 ADE7\d UDA13 "
        r"SI44\d\d SI443 CAN\d ISO10 MAX342",
    ),
    (
        "logic",
        r"74(?:HC|HCT|LV|LVC|LVX|AHC|AHCT|ACT?|ALVC|AUP|AUC|VHC|CBT?LV|F|LS|ALS|S)T?\d SN74 "
        r"SN54 MC74 MC14\d CD4\d{3} HEF4\d NC7[SWNZ] NL[17] TC7S TC4S SN75LVC XC2C XC95 EPM\d "
        r"LCMXO LC4\d{3} ICE40 ICE5 LFE LIFCL XC[3-7][SAKVZ] XC2S 10M\d 10CL EP[1-5][CSA]\d 5CE "
        r"GW1N AGL\d A3P GAL\d ATF\d{2} PAL\d SLG4\d TPS38\d MAX80\d MAX70\d APX80 MCP1[013]\d "
        r"STM1\d{3} BD4\d{3} TPS37\d LM393 LM339 LM2903 TLV3\d{3} LMV33 NE555 LMC555 TLC555 "
        r"ICM7555 EP[1-5]C\w?\d EP[1-5]SG? STM66 (?:CD|HD|M|IDT|QS|PI|SL)?74\w{2,4}\d\d HEF40 "
        r"MC1\d{4} MAX81\d ADM8\d\d TCM8 CAT80 LTC29",
    ),
    (
        "oscillator",
        r"SI5[0-9]\d{2} CDCE CDCLV IDT5 5P49 LMK\d PI6C ICS\d{3} DSC1\d SIT\d{4} TG-?\d{4} ASTX "
        r"ASE\d ECS-\d{4} AD9[58]5 LTC69 CY22\d SL286 9FG PLL\d ADF4\d MAX287 SI5[0-9]{2}(?!\d) "
        r"SI5[0-9]{3} ASE-? ASFL ASDM KC\d{4} FOX9 SG-?\d{4}",
    ),
    (
        "amplifier",
        r"OPA\d LM(?:V?32[148]|V?358|741|833|386|48\d\d|49\d\d) LMV\d LMH6 TLV[29]\d{2,3} "
        r"TLC?27\d TLC0?[78]\d TL0[678]\d TS[59]\d\d TSV\d TSX\d NE553\d MCP6[0-9]\d AD82\d "
        r"AD80\d AD86\d ADA4\d AD62\d INA1[0-9]\d INA8\d\d MAX98\d MAX97\d MAX44\d\d MAX426 "
        r"PAM8\d TPA[236]\d TAS[25]\d TDA\d TS48\d TS4[89] NS4\d NS8\d LM46 SSM2\d IS31AP AW87 "
        r"AW88 AW36 HT69 HXJ MD89 CKE8 MGA-?\d SPF-?5 SBB ERA- PSA4 PGA- BGA[267] BGU SKY6[5-9] "
        r"RFX24 SE2\d AT240 GALI TQP MAX26 MAX409 DRV26\d DRV110 DA728 LRA_DRV MAX1749 LT1\d{3} "
        r"LT6\d{3} THS4\d{3} THS3\d{3} LTC6[0-4]\d\d LTC20\d\d AD8[0-9]{3} MAX96\d\d",
    ),
    (
        "sensor",
        r"BM[AEIMPGX]\d{3} BNO\d BHI\d LIS\w?\d LSM\d L3G LPS\d HTS\d STTS MPU-?\d{4} "
        r"ICM-?\d{5} IIM MMC\d{4} MXC MC34\d\d QMC QMI HMC5 HMC6 AK0?9\d AK89 ST480 SHT\d SHTC "
        r"STS\d SGP\d SCD\d HDC\d HTU SI70\d SI114 SI115 SI72 AHT\d DHT AM23 TMP\d LM75 "
        r"LM7[0-7]\w LM35 LM6[0-2]\b MCP9[678] DS18 DS75 DS16 MAX3010 MAX3020 MAX66\d\d MAX318 "
        r"ADT7 PCT20 APDS VEML VCNL TSL2 TMD\d TCS\d LTR-?\d OPT[34] BH17 ISL29 VL53 VL61 TMF8 "
        r"GP2 ADXL KX\d{3} KXT KXCJ MMA\d FXOS FXLS DPS\d SPL0 MS5\d MPL\d MPX LPS2 CCS8 ENS1 "
        r"ZMOD PMS DRV5 A1[1234]\d\d AH1[78] AH33 HAL\d TLE49 TLV49 AS5[06]\d MLX9 SI720 S-?57 "
        r"US18 INA2[0-9]\d INA3221 INA4 ACS7 PAC19 SPK0 SPH0 SPU0 MP34D MP23 IMP34 ICS-?4\d "
        r"INMP IM69 T[35]8\d{2} CMM- PDM AS73 AS33 MAX8614 AFE4 PAT91 PMW ADNS PAW3 BQ76 "
        r"MAX3010\d MAX3020\d MAX3187 A3144 A32\d\d OH3144 SI70\d\d",
    ),
    (
        "level shifter",
        r"TX[SBU]0?1?\d{3} NTS0\d NTB0\d NVT20 LSF010 FXMA?\d FXL PCA9306 PCA930\d TCA930 "
        r"TCA9[58]0\d PCA9[56]1\d TCA9517 GTL2 ADG32 NLSX NLSV MAX300\d MAX301[3-9] "
        r"MAX33[789]\d SN74(?:AVCH?|LVC|AXCH?|GTL)\d?\d?T\d 74(?:AVCH?|LVC|AXCH?|AUP)\d?\d?T\d "
        r"SN74AVC 74AVC 74AUP1T SN74LV1T 74LV1T ST2[13]\d\d RS010 SGM45 ISO154 ADUM12 SI86 "
        r"SN74LXC\w*T\d 74LXC\w*T\d",
    ),
    (
        "switch",
        r"TS5A TS3A TS3USB TS3DV TMUX SN74CBT SN74LVC1G3157 NC7SB FSA\d FSUSB ADG[1-9]\d{2} "
        r"DG4\d DG9 MAX4[56]\d\d MAX14\d PI3 PI5 PI5A NX3L NX5L NLAS STG\d HD3SS CBTL SKY13 "
        r"SKY14 PE4\d{3} HMC[2348]\d\d AS1[79]\d BGS1 BGSX RF1[0-9]\d{2} RTC66 CXM UPG2 MASW "
        r"CD405 74HC405 74LVC1G66 74HC4066 CD4066 USB46 TC7USB BCT4 SGM3\d{3} SGM72 PCA954 "
        r"TCA954 (?:SN)?74LVC\dG3157 (?:SN)?74LVC\dG66 (?:CD|SN|MC)?74HC405\d "
        r"(?:CD|SN|MC)?74HC406\d (?:CD|SN|MC)?74HC4316",
    ),
    (
        "ESD protection",
        r"TPD\d USBLC RCLAMP PRTR IP4[0-9]{3} SP05 SRV05 CM1\d{3} NUP\d PESD ESD\d EMI\d{4} "
        r"LXES ECMF CDSOT DT1\d",
    ),
)

_WORDS: Final[tuple[tuple[str, str], ...]] = (
    (
        "fuel gauge",
        r"fuel.?gauge gas.?gauge coulomb battery.?monitor charge.?counter",
    ),
    (
        "charger",
        r"charg(?:er|e.?management|ing)",
    ),
    (
        "regulator",
        r"regulator \bLDO\b DC.?/?DC step.?(?:down|up) \bbuck \bboost \bPMIC\b "
        r"power.?management voltage.?reference charge.?pump LED.?driver backlight.?driver "
        r"switching.?converter SMPS low.?drop",
    ),
    (
        "load switch",
        r"load.?switch power.?switch power.?distribution e-?fuse "
        r"current.?limit(?:ed|ing)?.?switch hot.?swap ideal.?diode",
    ),
    (
        "memory",
        r"\bflash\b eeprom \b[sd]?ram\b sdram psram \bddr\d? \bfram\b emmc nand\b nor.?flash "
        r"memory",
    ),
    (
        "real-time clock",
        r"real.?time.?clock \bRTC\b",
    ),
    (
        "controller",
        r"micro-?controller micro-?processor \bMCU\b \bSoC\b \bprocessor\b "
        r"application.?processor embedded.?controller \bCPU\b",
    ),
    (
        "interface chip",
        r"\bhub\b bridge transceiver expander codec \bADC\b \bDAC\b \bUART\b ethernet \bPHY\b "
        r"serial.?converter USB.?(?:to|controller) driver receiver modem radio wi-?fi bluetooth "
        r"wireless \bGNSS\b \bGPS\b \bLoRa \bNFC\b combo touch.?controller display.?controller "
        r"secure.?element crypto",
    ),
    (
        "logic",
        r"\bgate\b flip.?flop inverter \bbuffer\b schmitt shift.?register \blatch\b \bcounter\b "
        r"decoder \bCPLD\b \bFPGA\b comparator supervisor reset.?(?:ic|generator|circuit) "
        r"\btimer\b",
    ),
    (
        "oscillator",
        r"oscillator clock.?(?:generator|buffer|synth) \bTCXO\b \bVCXO\b \bOCXO\b "
        r"synthesi[sz]er",
    ),
    (
        "amplifier",
        r"amplifier op-?amp opamp operational \bLNA\b audio.?power headphone.?driver class.?d "
        r"haptic",
    ),
    (
        "sensor",
        r"sensor accelerometer gyroscope magnetometer \bIMU\b barometer pressure humidity "
        r"thermometer microphone \bhall\b ambient.?light proximity encoder current.?monitor "
        r"infrared.?receiver photo",
    ),
    (
        "level shifter",
        r"level.?(?:shift|transl|conv) voltage.?(?:level.?)?transl bus.?isolator",
    ),
    (
        "switch",
        r"analog.?switch RF.?switch \bSPDT\b \bDPDT\b \bSP3T\b multiplexer \bmux\b bus.?switch "
        r"crosspoint",
    ),
    (
        "ESD protection",
        r"\bESD\b \bTVS\b transient protection.?array",
    ),
)


def _compiled(
    table: tuple[tuple[str, str], ...], form: str
) -> tuple[tuple[str, re.Pattern[str]], ...]:
    return tuple(
        (role, re.compile(form % "|".join(words.split()), re.IGNORECASE)) for role, words in table
    )


#: A part number begins a word; a prefix of the maker or the library may stand before it.
_FAMILY_PATTERNS: Final = _compiled(_FAMILIES, r"(?:^|[^A-Z0-9])(?:%s)")
_WORD_PATTERNS: Final = _compiled(_WORDS, r"%s")


#: What may stand before a part number.
_BEFORE: Final = " -_/(,;:.[+"


def _longest(pattern: re.Pattern[str], value: str) -> re.Match[str] | None:
    return max(pattern.finditer(value), key=lambda match: len(match[0]), default=None)


@lru_cache(maxsize=8192)
def _roles(value: str, words: str) -> tuple[tuple[str, float, str], ...]:
    found: dict[str, tuple[float, str]] = {}
    matches = [
        (len(match[0].lstrip(_BEFORE)), role)
        for role, pattern in _FAMILY_PATTERNS
        if (match := _longest(pattern, value)) is not None
    ]
    longest = max((length for length, _ in matches), default=0)
    for length, role in matches:
        # the longer a number's known beginning, the more it says
        found[role] = FAMILY - 0.04 * min(longest - length, 5), f"part number {value}"
    for role, pattern in _WORD_PATTERNS:
        match = pattern.search(words)
        if match and role not in found:
            # the earlier in the text, the more it is about the part itself
            score = NAMED - min(0.2, 0.004 * match.start()) - (0.25 if found else 0.0)
            found[role] = round(score, 3), f"described as {match[0].lower()}"
    return tuple((role, score, why) for role, (score, why) in found.items())


def text_of(part: Part) -> tuple[str, str]:
    """Return the part number, and the words that describe the part."""
    properties = part.properties
    number = part.value or ""
    for name, text in properties.items():
        if name.upper() in _NUMBER_FIELDS:
            number = f"{number} {text}"
    words = " ".join(
        filter(None, (part.value, part.description, *(properties[n] for n in properties
                                                      if n.lower() in _WORD_FIELDS)))
    )  # fmt: skip
    return number, words


_NUMBER_FIELDS: Final = frozenset(
    {
        "MPN",
        "MANUFACTURER PART NUMBER",
        "MANUFACTURER_PART_NUMBER",
        "PART NUMBER",
        "MFR_PN",
        "PARTNUMBER",
        "MANF#",
        "MFR PART",
    }
)
_WORD_FIELDS: Final = frozenset({"comment", "keywords", "ki_keywords", "ki_description"})


def roles_in_text(part: Part) -> dict[str, tuple[float, str]]:
    """Return role -> (score, reason) from part number and description; empty where none speaks."""
    number, words = text_of(part)
    found = {role: (score, why) for role, score, why in _roles(number, words)}
    if "regulator" not in found and is_regulator_text(part):
        found["regulator"] = (0.75, f"value {part.value}")
    return found
