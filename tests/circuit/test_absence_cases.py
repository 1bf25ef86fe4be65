"""What stops without a part: a small circuit, the part, how bad, and what is said."""

from __future__ import annotations

import pytest

from tests.circuit_language import circuit

SUPPLY = "C90 VDD GND 100n\nC91 VDD GND 10u\nC92 VIN GND 10u\n"
CHIPS = """U1 VDD=VDD GND=GND GPIO=A OUT=B IN=D : STM32F103
U2 VDD=VDD GND=GND IN1=A2 IN2=B2 : SN74LVC1G14
"""
AMPLIFIER = """U1 IN+=A IN-=F OUT=O V+=VDD V-=GND : LM358
R1 F T 1k
C1 T GND 1u
R2 O F 10k
"""
GAUGE = """U1 SRP=SP SRN=SN VDD=VDD VSS=GND SDA=A SCL=B : BQ27441
J1 VBAT CN : Battery
R1 SN CN 100R
R2 CN GND 10m
R3 SP GND 100R
"""
ARRAY = "@R_Array_Convex_4x0402 : 33R"
FOUR = f"""U1 VDD=VDD GND=GND A=A B=B C=C D=D : STM32F103
U2 VDD=VDD GND=GND E=E F=F G=G H=H : W25Q128
RN1 1=A 2=B 3=C 4=D 5=E 6=F 7=G 8=H {ARRAY}
"""
FLOATS = "the current and the charge that U1 counts are wrong; charging itself is not touched"

SYSTEM = "C1 VSYS GND 10u\nU1 VDD=VSYS GND=GND : LM75\n"

MCU = "U1 PA0=MODE0 GND=GND VDD=+3V3 PA1=X PA2=Y : STM32L0\nC1 +3V3 GND 100n\n"

CASES = [
    # a link from a chip's pin to the rail that supplies the chip feeds nothing
    (MCU + "R1 MODE0 +3V3 0R", "R1", "degrades", "PA0"),
    (MCU + "J1 MODE0 GND : HDR\nR1 MODE0 +3V3 0R", "R1", "blocks", "only way in"),
    # but a pin may feed another chip through one
    (MCU + "R1 MODE0 VDD_SENS 0R\nC2 VDD_SENS GND 1u\n"
     "U2 VDD=VDD_SENS GND=GND SDA=SDA SCL=SCL : SHT30", "R1", "blocks", "only way in"),
    # a line from chip to chip
    (CHIPS + "R1 A A2 33R", "R1", "blocks", "the line from U1 (A) to U2 (A2) is open"),
    (CHIPS + f"RN1 1=A 2=B 3=- 4=- 5=- 6=- 7=B2 8=A2 {ARRAY}", "RN1", "blocks",
     "U1 (B) to U2 (B2) is open"),
    (FOUR, "RN1", "blocks", "U1 (D) to U2 (E) is open"),
    (CHIPS + "R1 A A2 33R\nR2 A A2 0R", "R1", "minor", "stay joined another way"),
    ("""U1 SDA=SDA SCL=SCL VDD=VDD GND=GND : STM32F103
        U2 SDA=SDA_B SCL=SCL VDD=VDD GND=GND : LM75
        R1 SDA VDD 4k7
        R2 SCL VDD 4k7
        R3 SDA SDA_B 100R""", "R3", "blocks", "U1 cannot talk to U2"),
    ("""J1 VBUS=VIN CC1=CC1 CC2=CC2 GND=GND D+=DP D-=DM : USB_C_Receptacle
        U1 CC1=CCA CC2=CCB VDD=VDD GND=GND : FUSB302
        R1 CC1 CCA 10R
        R2 CC2 CCB 10R""", "R1", "degrades", "J1 works with the plug one way round"),
    ("""J1 VBUS=VIN CC1=CC1 CC2=CC2 GND=GND D+=DP D-=DM : USB_C_Receptacle
        U1 CC1=CCA CC2=CCB VDD=VDD GND=GND : FUSB302
        R1 CC1 CCA 10R
        R2 CC2 CCB 10R DNP""", "R1", "blocks", "no voltage"),
    ("""U1 TXP=TXP TXN=TXN VDD=VDD GND=GND : STM32F103
        J1 TXCP TXCN GND : HDR
        C1 TXP TXCP 100n
        C2 TXN TXCN 100n""", "C1", "blocks", "from U1 (TXP) to J1 (TXCP) is open"),
    ("""U1 VDD=VDD GND=GND D+=USB_DP D-=USB_DM : FT232R
        R1 USB_DP USB_DM 100R""", "R1", "degrades", "misses the part between its lines"),
    # one side where nothing drives or reads
    (CHIPS + "R1 A T 100R\nTP1 T : TP", "R1", "minor", "only TP1 is cut off from A"),
    (CHIPS + "R1 A T 100R\nR2 T VDD 10k", "R1", "degrades", "pulled high (VDD) through R2"),
    (CHIPS + "R1 A T 100R\nR2 T GND 10k", "R1", "degrades", "no longer pulled low through R2"),
    (CHIPS + "R1 A T 100R\nSW1 T GND", "R1", "degrades", "pressing SW1 no longer reaches U1"),
    # one end on a rail or on ground
    (CHIPS + "R1 A GND 0R", "R1", "degrades", "A is no longer tied to GND (U1)"),
    ("R1 X GND 0R", "R1", "unknown", "what it leads to cannot be seen"),
    (CHIPS + "R1 A GND 50R", "R1", "degrades", "A is not terminated: reflections"),
    # lamps and gates
    (CHIPS + "R1 A T 330R\nD1 T GND LED", "R1", "minor", "the lamp D1 stays dark"),
    (CHIPS + "R1 A T 330R\nD1 T GND LED\nD2 T GND LED", "R1", "minor", "the lamps D1 and D2"),
    (CHIPS + "R1 A T 100R\nQ1 1=T 2=GND 3=X : 2N7002\nR3 X VDD 10k", "R1", "degrades",
     "Q1 is no longer driven"),
    # what measures
    (AMPLIFIER, "C1", "degrades", "the leg with R1 is open: the gain of U1 is wrong"),
    (GAUGE, "R1", "degrades", FLOATS),
    (GAUGE, "R3", "degrades", FLOATS),
    ("""U1 SRP=SP SRN=SN VDD=VDD VSS=GND : INA219
        R1 SP P1 10R
        R2 SN P2 10R
        R9 P1 P2 10m
        J1 P1 P2 : HDR
        C1 SP SN 100n""", "C1", "minor", "no longer filtered against each other at U1"),
    ("""U1 VDD=VDD GND=GND A=LVDS_CLK_P B=LVDS_CLK_N : SN65LVDS
        J1 LVDS_CLK_P LVDS_CLK_N GND : HDR
        R1 LVDS_CLK_P LVDS_CLK_N 100R""", "R1", "degrades", "LVDS_CLK_N are not terminated"),
    # capacitors
    ("U1 ANT=RF VDD=VDD GND=GND : nRF52832\nL1 RF ANT 2n2\nC1 ANT GND 1p\nANT1 ANT : Antenna",
     "C1", "degrades", "the matching at ANT is off: less range"),
    (CHIPS + "SW1 A GND\nR1 A VDD 10k\nC1 A GND 100n", "C1", "minor", "one press may count twice"),
    ("U1 NRST=NRST VDD=VDD GND=GND : STM32F103\nR1 NRST VDD 10k\nC1 NRST GND 100n", "C1", "minor",
     "NRST rises without delay"),
    ("U1 VIN=VIN SS=SS SW=SW FB=FB GND=GND : TPS54331\nC1 SS GND 10n", "C1", "minor",
     "SS has no delay"),
    (CHIPS + "R1 A A2 1k\nC1 A2 GND 1n", "C1", "minor", "A2 is no longer filtered at U2"),
    ("C1 GND AGND 1n\nC2 VDD AGND 1u", "C1", "minor", "GND and AGND are no longer tied"),
]  # fmt: skip


BUCK = """U1 VIN=VIN EN=EN SW=SW FB=FB BOOT=BST GND=GND : TPS54331
L1 SW VDD 4.7uH
R1 VDD FB 31.6k
R2 FB GND 10k
D1 SW GND SS14
C1 BST SW 100n
"""
LDO = """U1 VIN=VIN VOUT=VDD EN=VIN GND=GND : AP2112K-3.3
U2 VDD=VDD GND=GND PA0=A BOOT0=BT NRST=NRST : STM32F103
"""
ENABLE = LDO.replace("EN=VIN", "EN=EN")
DRIVEN = ENABLE.replace("PA0=A", "PA0=EN")
CHARGER = """U1 VBUS=VIN BAT=VBAT TS=TS ISET=ISET GND=GND STAT=STAT : BQ24075
J1 VBAT TS GND : Battery
"""
CLOCK = """U1 XI=XI XO=XO VDD=VDD GND=GND : STM32F103
Y1 XI XO 8MHz
C1 XI GND 18p
C2 XO GND 18p
"""
SOCKET = "J1 VBUS=VIN D+=DP D-=DM GND=GND SHIELD=SH : USB_B_Micro\n"

SUPPLIES = [
    (BUCK, "L1", "blocks", "U1 has no inductor between SW and VDD"),
    (BUCK, "R1", "blocks", "DANGER: FB falls to 0 V, U1 drives VDD up"),
    (BUCK, "R2", "blocks", "FB follows VDD: U1 takes it for far too high"),
    (BUCK, "D1", "degrades", "the coil's current at SW has no way"),
    (BUCK, "C1", "blocks", "the upper switch of U1 has no drive"),
    (BUCK, "C92", "degrades", "VIN has no capacitor left"),
    (BUCK, "C91", "degrades", "VDD keeps 100 nF of 10.1 µF"),
    (LDO, "U1", "blocks", "VDD (3.3 V) has no supply: nothing else makes it"),
    (LDO, "U2", "blocks", "nothing it runs works"),
    (LDO + "J1 VBUS GND : HDR\nF1 VBUS VIN 2A", "F1", "blocks", "with it VDD is dead"),
    (LDO + "FB1 VDD AVDD 600R@100MHz\nU3 VDD=VDD VDDA=AVDD GND=GND : STM32F103\nC5 AVDD GND 1u",
     "FB1", "blocks", "the bead is its only way in"),
    (LDO + "J1 BATT GND : Battery\nQ1 G=EN S=BATT D=VIN : AO3401\nR1 EN BATT 100k", "Q1", "blocks",
     "the load switch is its only way in"),
    # what holds an enable, a reset, a boot pin, a button, a gate
    (ENABLE + "R1 EN VIN 100k", "R1", "blocks", "EN floats at U1's pin EN"),
    (DRIVEN + "R1 EN VIN 100k", "R1", "degrades", "EN is undefined until U2 drives it"),
    (DRIVEN + "R1 EN GND 100k", "R1", "degrades", "EN is undefined until U2 drives it"),
    (LDO + "R1 NRST VDD 10k", "R1", "blocks", "U2 may stay in reset"),
    (LDO + "R1 BT GND 10k", "R1", "degrades", "U2 may start in the wrong mode"),
    (LDO + "R1 BT VDD 10k", "R1", "degrades", "U2 may start in the wrong mode"),
    (LDO + "SW1 A GND\nR1 A VDD 10k", "R1", "degrades", "it may read as pressed"),
    (LDO + "Q1 G=G1 S=GND D=X : 2N7002\nR1 G1 GND 100k\nR2 A G1 100R", "R1", "degrades",
     "the gate of Q1 (G1) floats"),
    (LDO + "Q1 G=G1 S=VIN D=X : AO3401\nR1 G1 VIN 100k\nR2 A G1 100R", "R1", "degrades",
     "the gate of Q1 (G1) floats"),
    # chargers, thermistors, dividers
    (CHARGER + "R1 TS VIN 10k", "R1", "blocks", "reads as hottest: U1 refuses to charge"),
    (CHARGER + "R1 ISET GND 1k", "R1", "blocks", "no charge current is set"),
    (CHARGER.replace("J1 VBAT TS GND", "J1 VBAT GND") + "TH1 TS GND 10k NTC", "TH1", "blocks",
     "reads as coldest"),
    (LDO + "TH1 A GND 10k NTC\nR1 A VDD 10k", "R1", "degrades", "U2 sees a wrong temperature"),
    (LDO + "R1 VIN A 100k\nR2 A GND 100k", "R1", "degrades", "no longer sees VIN"),
    (LDO + "R1 VIN A 100k\nR2 A GND 100k", "R2", "degrades", "rises to the whole of VIN (5 V)"),
    ("U1 IN+=P1 IN-=GND OUT=O V+=VDD V-=GND : INA180\nR9 P1 GND 10m\nJ1 P1 : HDR", "R9", "blocks",
     "P1 has no way to GND"),
    # clocks, protection, several lines at once
    (CLOCK, "Y1", "blocks", "U1 has no clock from Y1"),
    (CLOCK, "C1", "degrades", "Y1 lacks a load capacitor"),
    (SOCKET + "U1 D+=DP D-=DM VDD=VDD GND=GND : FT232R\nD1 DP GND ESD5V", "D1", "minor",
     "open to static"),
    ("""U1 SDA=SDA SCL=SCL VDD=VDD GND=GND : STM32F103
        U2 SDA=SDA SCL=SCL VDD=VDD GND=GND : LM75
        RN1 1=SDA 2=SCL 3=- 4=- 5=- 6=- 7=VDD 8=VDD @R_Array_Convex_4x0402 : 4k7""", "RN1",
     "blocks", "SDA and SCL lose their pull-up to VDD (I2C bus)"),
    ("""U1 CS=CS SCK=SCK MOSI=MOSI MISO=MISO VDD=VDD GND=GND : STM32F103
        U2 CS#=CS SCK=SCK SI=MOSI SO=MISO VCC=VDD GND=GND : W25Q128
        R1 CS VDD 10k""", "R1", "degrades", "CS (CS of the SPI bus) floats"),
    ("""U1 A=A B=B VDD=VDD GND=GND : STM32F103
        Q1 G=VDD S=A D=AH : BSS138
        R1 A VDD 10k
        R2 AH VIN 10k
        U2 IN=AH VDD=VIN GND=GND : X""", "R2", "degrades", "AH no longer rises to VIN by itself"),
    # ways in of a supply, and ways back
    ("R1 GND PGND 10m\nU1 VDD=VDD GND=GND PGND=PGND : LM75", "R1", "blocks",
     "GND and PGND are apart: the current has no way back"),
    (SYSTEM + "D1 A=VIN K=VSYS : SS14", "D1", "blocks", "the diode is its only way in"),
    (SYSTEM + "D1 A=VIN K=VSYS : SS14\nD2 A=VBAT K=VSYS : SS14\nJ1 VBAT GND : Battery", "D1",
     "degrades", "VSYS keeps D2 alone as its source"),
    ("JP1 VIN VDD\nU1 VDD=VDD GND=GND : LM75", "JP1", "blocks", "if it was closed: "),
    # thermistor lines: to a supply it reads hot, through a contact of the pack it reads cold
    (CHIPS + "TH1 VDD A 10k NTC\nR1 A GND 10k", "R1", "degrades",
     "A is held up by the thermistor alone, which reads as hottest"),
    (CHIPS + "TH1 A VDD 10k NTC\nR1 A GND 10k\nR2 A VDD 100k", "R2", "degrades",
     "A is no longer shunted to VDD: U1 reads it as colder than it is"),
    ("""J1 TS GND : Battery
        R1 NTC_IN TS 1k
        U1 REGN=REGN TS=NTC_IN VDD=VDD GND=GND : BQ24075
        R2 REGN NTC_IN 5k""", "R1", "blocks", "NTC_IN is pulled to REGN by R2"),
    ("U1 IN=VIN OUT=VDD_SW ON=EN GND=GND : TPS22918\nC1 VDD_SW GND 1u\n"
     "U2 VDD=VDD_SW GND=GND : LM75", "U1", "blocks", "VDD_SW has no supply: the load switch"),
    # two rails without a source: the body diode of the MOSFET says which side is the supply
    ("Q1 D=VDD G=EN S=VIN : AO3401\nU2 VDD=VDD GND=GND : LM75", "Q1", "blocks",
     "VDD (3.3 V) has no supply: the load switch is its only way in"),
    ("Q1 S=VDD G=EN D=VIN : AO3400\nU2 VDD=VDD GND=GND : LM75", "Q1", "blocks",
     "VDD (3.3 V) has no supply: the load switch is its only way in"),
    ("Q1 G=EN S=VDD D=VIN : MOSFET\nR1 EN VDD 100k\nU2 VDD=VDD GND=GND GPIO=EN : STM32F103", "Q1",
     "blocks", "VIN (5 V) has no supply: the load switch is its only way in"),
    ("Q1 G=G1 D=VIN S=VDD : AO3401\nR1 G1 GND 10k\nU2 VDD=VDD GND=GND : LM75", "Q1", "blocks",
     "VDD (3.3 V) has no supply: the way in is open"),
    ("MK1 MICP GND : Microphone\nR1 MICP VDD 2k2\nC1 MICP IN 1u\n"
     "U1 IN=IN VDD=VDD GND=GND : TLV320", "R1", "blocks", "MICP has no bias: MK1 picks up"),
]  # fmt: skip


@pytest.mark.parametrize(("netlist", "part", "severity", "says"), [*CASES, *SUPPLIES])
def test_without_the_part(netlist: str, part: str, severity: str, says: str) -> None:
    found = circuit(SUPPLY + netlist, rails={"VDD": 3.3, "VIN": 5.0}).absence(part)
    text = "; ".join(found.effects)
    assert (found.severity.value, says in text) == (severity, True), text
