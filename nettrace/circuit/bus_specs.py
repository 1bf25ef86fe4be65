"""The protocols: which lines each has, by which words, and which of them make a bus.

Protocol words are those of the trade, in lower case; line words are common practice, no source.
"""

from __future__ import annotations

import re
from typing import Final

from nettrace.circuit.bus_spec import (
    Spec,
    all_of,
    is_i2s,
    is_memory,
    is_rgb,
    is_sdio,
    is_spi,
    pairs,
)
from nettrace.circuit.bus_spec import line_word as _w  # some hundred times below

__all__ = ["SPECS"]

#: Digits of an index and the letter of a polarity; a line's name takes them up as \1 and \2.
_N: Final = r"(\d{1,2})"
_PN: Final = r"_?([PN])"
_SDIO_DATA: Final = _w(r"D\1", r"(?:DAT|DATA|D)_?([0-7])")
_SDIO_DATA_4: Final = _w(r"D\1", r"(?:DAT|DATA|D)_?([0-3])")
_LANE: Final = r"_?[PN]$"

#: In this order; a net claimed by a complete bus is not asked about again.
SPECS: Final[tuple[Spec, ...]] = (
    Spec(
        "ddr",
        (
            _w("CK_P", r"(?:CK|CLK|SCK)\d?_?[PT](?:\d)?$"),
            _w("CK_N", r"(?:CK|CLK|SCK)\d?_?[NC](?:\d)?$"),
            _w(r"\1\2", r"(CKE|CS|ODT)_?(\d?)(?:_?[NB])?"),
            _w("RAS", r"RAS(?:_?[NB])?"), _w("CAS", r"CAS(?:_?[NB])?"), _w("WE", r"WE(?:_?[NB])?"),
            _w("RST", r"(?:RST|RESET)(?:_?[NB])?"), _w("ACT", r"ACT(?:_?[NB])?"),
            _w(r"\1\2", rf"(BA|BG)_?{_N}"), _w(r"A\1", rf"(?:A|MA|ADDR)_?{_N}"),
            _w(r"DQ\1", rf"DQ_?{_N}"), _w(r"DM\1", rf"(?:DM|DQM|LDM|UDM)_?{_N}"),
            _w(r"DQS\1_P", rf"DQS_?{_N}_?[PT]"), _w(r"DQS\1_N", rf"DQS_?{_N}_?[NC]"),
            _w(r"DQS\1_P", rf"DQS_?[PT]_?{_N}"), _w(r"DQS\1_N", rf"DQS_?[NC]_?{_N}"),
        ),
        is_memory,
        glued=True,
    ),
    Spec(
        "hdmi",
        (
            _w(r"D\1_\2", rf"(?:HDMI_?|TMDS_?)?(?:TX|D|DATA|TD|LANE)_?([0-2]){_PN}"),
            _w(r"CLK_\1", rf"(?:HDMI_?|TMDS_?)?(?:TXC|CLK|CK|TC|TXCLK|CLOCK|D3|TX3){_PN}"),
            _w("CEC", r"CEC"), _w("HPD", r"HPD|HOTPLUG|HOT_?PLUG|HP_?DET"),
        ),
        lambda found: {"D0_P", "D1_P", "D2_P", "CLK_P"} <= found,
        unless=re.compile(r"EDP|MIPI|DSI|CSI|LVDS|USB|ETH|PCIE|DDR"),
        glued=True,
        coupled=True,
    ),
    Spec(
        "edp",
        (
            _w(r"LANE\1_\2", rf"(?:LANE|TX|ML|D|L)_?([0-3]){_PN}"),
            _w(r"AUX_\1", rf"AUX_?(?:CH)?{_PN}"),
            _w("HPD", r"HPD(?:_CON\w*)?"),
        ),
        all_of("LANE0_P", "LANE0_N", "AUX_P", "AUX_N"),
        context=re.compile(r"EDP"),
        coupled=True,
    ),
    Spec(
        "displayport",
        (
            _w(r"LANE\1_\2", rf"(?:LANE|TX|ML|D|L)_?([0-3]){_PN}"),
            _w(r"AUX_\1", rf"AUX_?(?:CH)?{_PN}"),
            _w("HPD", r"HPD"),
        ),
        all_of("LANE0_P", "LANE0_N", "AUX_P", "AUX_N"),
        context=re.compile(r"(?:^|_)DP\d?_|DISPLAYPORT|DDI"),
        coupled=True,
    ),
    *(
        Spec(
            protocol,
            (
                _w(r"D\1_\2", rf"(?:D|DATA|LANE|DN|DP|TD|L)_?([0-3]){_PN}"),
                _w(r"CLK_\1", rf"(?:CLK|CK|C|CKL|TC){_PN}"),
            ),
            lambda found: {"D0_P", "D0_N", "CLK_P", "CLK_N"} <= found,
            context=re.compile(context),
        )
        for protocol, context in (
            ("mipi dsi", r"DSI"), ("mipi csi", r"CSI|CAM"), ("mipi", r"MIPI"), ("lvds", r"LVDS"),
        )
    ),
    Spec(
        "rgb",
        (
            _w(r"\1\2", r"([RGB])_?([0-7])"),
            _w("CLK", r"(?:CLK|CL|PCLK|DCLK|CK|DOTCLK)"), _w("DE", r"DE|DEN"),
            _w("HSYNC", r"HSYNC|HS"), _w("VSYNC", r"VSYNC|VS"),
        ),
        is_rgb,
        glued=True,
    ),
    Spec(
        "emmc",
        (
            _w("CLK", r"CLK|CK|SCLK"), _w("CMD", r"CMD"), _w("RST", r"RST(?:_?N)?|RESET(?:_?N)?"),
            _w("DS", r"DS|STROBE"), _SDIO_DATA,
        ),
        lambda found: is_sdio(found) and {"D4", "D7"} <= found,
    ),
    Spec(
        "sdio",
        (
            _w("CLK", r"CLK|CK|SCLK"), _w("CMD", r"CMD"), _SDIO_DATA_4,
            _w("CD", r"CD(?:_?N)?|DET(?:ECT)?|CARD_?DET\w*|CDN|NCD"), _w("WP", r"WP"),
        ),
        is_sdio,
    ),
    Spec(
        "qspi",
        (
            _w("CLK", r"CLK|SCLK|SCK|CK"),
            _w("CS", r"CS\d?(?:_?N)?|SS\d?(?:_?N)?|NCS|CE(?:_?N)?|CSN|NSS|CSB"),
            _w("IO0", r"(?:IO|SIO|SD|D|DQ|DATA)_?0|MOSI|SI"),
            _w("IO1", r"(?:IO|SIO|SD|D|DQ|DATA)_?1|MISO|SO"),
            _w("IO2", r"(?:IO|SIO|SD|D|DQ|DATA)_?2|WP(?:_?N)?"),
            _w("IO3", r"(?:IO|SIO|SD|D|DQ|DATA)_?3|HOLD(?:_?N)?"),
        ),
        lambda found: {"CLK", "CS", "IO0", "IO1", "IO2", "IO3"} <= found,
        pins=True,
    ),
    Spec(
        "usb3",
        (
            _w(r"SS\1\2_\3", rf"(?:SS_?)?([TR]X)D?([12]?){_PN}"),
        ),
        pairs(2),
        context=re.compile(r"SS_?[TR]X|USB3|USBSS|USB_?C?_[TR]X"),
        unless=re.compile(r"HDMI|PCIE|ETH|SATA|DSI|CSI"),
        coupled=True,
        glued=True,
    ),
    *(
        Spec(
            protocol,
            (
                _w(r"TX\1_\2", rf"(?:TX|PET|TXD|T)(\d?){_PN}"),
                _w(r"RX\1_\2", rf"(?:RX|PER|RXD|R)(\d?){_PN}"),
                _w(r"REFCLK_\1", rf"(?:REF)?_?CLK{_PN}"),
            ),
            pairs(2),
            context=re.compile(context),
            coupled=True,
            glued=True,
        )
        for protocol, context in (("pcie", r"PCI"), ("sata", r"SATA"))
    ),
    Spec(
        "ethernet",
        (
            _w(r"\1_\2", rf"(TXD?|RXD?|TD|RD){_PN}"),
            _w(r"MDI\1_\2", rf"(?:MDI|TRD|TR|TRX|BI_?D)_?([0-3A-D]){_PN}"),
        ),
        pairs(2),
        context=re.compile(r"ETH|LAN|PHY|MDI|TRD|RJ45|EPHY|(?:^|_)[TR]D_?[PN]$"),
        unless=re.compile(r"WLAN"),
    ),
    Spec(
        "usb2",
        (
            _w("D+", r"D_?P\d?|D\d_P|DATA_P|U?DP\d?"), _w("D-", r"D_?[NM]\d?|D\d_N|DATA_N|U?DM\d?"),
            _w("D+", r"P$", r"USB\w*_$"), _w("D-", r"[NM]$", r"USB\w*_$"),
            _w("ID", r"(?:USB_?)?ID"),
        ),
        all_of("D+", "D-"),
        unless=re.compile(
            r"EDP|SS_?[TR]X|USB3_?(?:SS|TX|RX)|HDMI|MIPI|DSI|CSI|LVDS|PCI|SATA|ETH|LANE|AUX|CAN|RS485|MIC|SPK"
            r"|HP|OUT|IN\d?_|LINE|DQS|CK_?[PN]$|CLK|RF|BB|DIFF|AMP|REF|SENSE|SNS"
        ),
        pins=True,
    ),
    Spec(
        "usb-c cc",
        (_w("CC1", r"CC_?1|A5_CC"), _w("CC2", r"CC_?2|B5_CC")),
        all_of("CC1", "CC2"),
        pins=True,
        glued=False,
    ),
    Spec(
        "jtag",
        (
            _w("TCK", r"TCK|TCLK"), _w("TMS", r"TMS"), _w("TDI", r"TDI"), _w("TDO", r"TDO"),
            _w("TRST", r"N?TRST(?:_?N|B)?"), _w("RTCK", r"RTCK"),
        ),
        all_of("TCK", "TMS", "TDI", "TDO"),
        pins=True,
    ),
    Spec(
        "swd",
        (
            _w("SWDIO", r"SWDIO|SWD_?IO|SWD_?DIO|SWDAT\w?|SWD$|SWD_?D"),
            _w("SWCLK", r"SWCLK|SWD_?CLK|SWDCLK|SWCK|SWDCK|SWD_?CK|SWC$"), _w("SWO", r"SWO|SWV"),
        ),
        all_of("SWDIO", "SWCLK"),
        pins=True,
    ),
    Spec(
        "i2s",
        (
            _w("BCLK", r"(?:[TR]X_)?(?:BCLK|SCLK|SCK|BCK|CLK|BIT_?CLK)"),
            _w("WS", r"(?:[TR]X_)?(?:WS|LRCK|LRCLK|LRC|FS|SYNC|FSYNC|WCLK|WSEL)"),
            _w("SD", r"(?:[TR]X_)?(?:SD|DATA|SDAT|SDATA)"),
            _w("SD", r"(?:[TR]X_)?SDA", r"I2S|SAI|PCM"),
            _w("DIN", r"(?:[TR]X_)?(?:DIN|SDIN|SDI|DI|SD_?IN|ADCDAT)"),
            _w("DOUT", r"(?:[TR]X_)?(?:DOUT|SDOUT|SDO|DO|SD_?OUT|DACDAT)"),
            _w("MCLK", r"(?:[TR]X_)?(?:MCLK|MCK|SYSCLK)"),
        ),
        is_i2s,
    ),
    Spec(
        "pdm",
        (_w("CLK", r"CLK|CK|CLOCK"), _w("DATA", r"DATA|DAT|DOUT|DO|D")),
        all_of("CLK", "DATA"),
        context=re.compile(r"PDM|DMIC|MIC"),
    ),
    *(
        Spec(
            protocol,
            (
                _w("SDA", r"SDA|SMB_?DATA?|SMBD|DATA?|SMBDAT|SMDAT|SDAT"),
                _w("SCL", r"SCL|SCK|SMB_?CLK|SMBC|CLK|CK|SMBCLK|SMCLK|SCLK"),
                _w("ALERT", r"SMB_?ALERT(?:_?N)?|ALERT(?:_?N)?|SMBALERT\w?"),
            ),
            all_of("SDA", "SCL"),
            context=re.compile(context),
            unless=re.compile(r"I2S|MISO|MOSI"),
            open_drain=True,
            glued=True,
        )
        for protocol, context in (
            ("smbus", r"SMB|SMBUS|SMDAT|SMCLK"), ("pmbus", r"PMB|PMBUS"), ("i3c", r"I3C"),
        )
    ),
    Spec(
        "i2c",
        (
            _w("SDA", r"SDA|I2C\d?_?(?:DATA?|SD)|IIC\d?_?SDA|TWD"),
            _w("SCL", r"SCL|SCK|I2C\d?_?(?:CLK|SC|CK)|IIC\d?_?SCL|TWCK"),
        ),
        all_of("SDA", "SCL"),
        unless=re.compile(r"I2S|SPI"),
        open_drain=True,
        glued=True,
        pins=True,
    ),
    Spec(
        "spi",
        (
            _w("SCK", r"SCK|SCLK|CLK|SPI_?CLK|SPC"),
            _w("MOSI", r"MOSI|COPI|SDI|SI|DIN|DI|SDATA|DATA|SDO_?MOSI|SDA|TXD?$|PICO"),
            _w("MISO", r"MISO|CIPO|SDO|SO|DOUT|DO|POCI"),
            _w("CS", r"N?CS\d?(?:_?[NB])?|SS\d?(?:_?N)?|NSS|SSEL"),
            _w("CS", r"CSX|ENX|SEL|CE(?:_?N)?|LE|STE|SPI_?CS"),
            _w("DC", r"DC|RS|D_C|A0|DCX"), _w("RESET", r"RESETX|RESX"),
        ),
        is_spi,
        pins=True,
        unless=re.compile(r"I2S|I2C|UART|LED|PDM|SWD"),
    ),
    Spec(
        "can",
        (_w("CANH", r"CAN_?\d?_?(?:H|P)|CANH\d?"), _w("CANL", r"CAN_?\d?_?(?:L|N)|CANL\d?")),
        all_of("CANH", "CANL"),
        pins=True,
    ),
    Spec(
        "rs-485",
        (_w("A", r"(?:RS)?485_?(?:A|P)|DMX_?P"), _w("B", r"(?:RS)?485_?(?:B|N)|DMX_?N")),
        all_of("A", "B"),
    ),
    Spec(
        "hsic",
        (_w("DATA", r"(?:HSIC|HS)\d?_?DATA?"), _w("STROBE", r"(?:HSIC|HS)\d?_?STR(?:OBE|B)?")),
        all_of("DATA", "STROBE"),
    ),
    Spec(
        "rgmii",
        (
            _w(r"TXD\1", r"TXD?_?([0-3])"), _w(r"RXD\1", r"RXD?_?([0-3])"),
            _w("TXC", r"TXC|TX_?CLK|GTX_?CLK"), _w("RXC", r"RXC|RX_?CLK"),
            _w("TX_CTL", r"TX_?CTL|TX_?EN"), _w("RX_CTL", r"RX_?CTL|RX_?DV"),
        ),
        all_of("TXD0", "TXD3", "RXD0", "RXD3", "TX_CTL"),
    ),
    Spec(
        "rmii",
        (
            _w(r"TXD\1", r"TXD?_?([01])"), _w(r"RXD\1", r"RXD?_?([01])"),
            _w("TX_EN", r"TX_?EN"), _w("CRS_DV", r"CRS(?:_?DV)?|RX_?DV"),
            _w("REF_CLK", r"REF_?CLK|CLK_?50M?|RCLK"), _w("RX_ER", r"RX_?ER"),
        ),
        all_of("TXD0", "TXD1", "RXD0", "RXD1", "TX_EN"),
    ),
    Spec(
        "mdio",
        (_w("MDIO", r"MDIO"), _w("MDC", r"MDC")),
        all_of("MDIO", "MDC"),
        open_drain=False,
        pins=True,
    ),
    Spec(
        "uart",
        (
            _w("TX", r"TXD?\d?|U?TX|UTXD|TXO|TXOUT"), _w("RX", r"RXD?\d?|U?RX|URXD|RXI|RXIN"),
            _w("CTS", r"CTS(?:_?N)?"), _w("RTS", r"RTS(?:_?N)?"),
        ),
        lambda found: bool(found & {"TX", "RX"}),
        unless=re.compile(
            r"AMP|MIX|_IF$|ENABLE|_EN$|ANT|RF|LED|CAN|ETH|RMII|MII|MDI|USB_?C|SS[TR]X|I2S|SPI|HDMI"
            r"|PCI|SATA|SPDIF|TOSLINK|LNA|PA_|IR_|OPT|LVDS|DSI|CSI|VBUS|PWR"
        ),
        glued=True,
    ),
    Spec(
        "hdq", (_w("HDQ", r"HDQ"),), all_of("HDQ"), open_drain=True, pins=True,
    ),
    Spec(
        "one-wire",
        (_w("DQ", r"(?:ONE|1)_?WIRE|1W|OWB|OW_?DQ|ONEWIRE_?DQ?|W1"),),
        all_of("DQ"),
        open_drain=True,
    ),
)  # fmt: skip
