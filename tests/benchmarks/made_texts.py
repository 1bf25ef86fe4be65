"""Made files of any size in each format, always the same for the same size.

The made board of blocks, for questions about a whole board, is in `synthetic.py`.
"""

from __future__ import annotations

import random


def board_file(megabytes: float) -> str:
    """Return a board file of about so many megabytes, in the proportions of teres-main.

    That is, to each part: 4.7 pads, 13 lines, 34 tracks and 3.5 vias.
    """
    parts: list[str] = []
    size = 0
    number = 0
    while size < megabytes * 1e6:
        number += 1
        pads = (2, 2, 2, 2, 5, 15)[number % 6]
        x, y = number % 300, number // 300
        lines = [
            f"  (module Lib:P{pads} (layer F.Cu) (tedit 5) (tstamp {number:X})",
            f"    (at {x} {y} {number % 4 * 90})",
            f'    (descr "a part of {pads} pads")',
            f"    (path /{number:08X})",
            f"    (fp_text reference X{number} (at 0 -1) (layer F.SilkS)",
            "      (effects (font (size 1 1) (thickness 0.15)))\n    )",
            f"    (fp_text value V{number % 40} (at 0 1) (layer F.Fab)",
            "      (effects (font (size 1 1) (thickness 0.15)))\n    )",
        ]
        lines += [
            f"    (fp_line (start {step}.25 -1.25) (end {step}.25 1.25) (layer F.SilkS) "
            "(width 0.15))"
            for step in range(13)
        ]
        for pad in range(1, pads + 1):
            net = (number * 7 + pad * 3) % (number + 1) + 1
            lines.append(
                f"    (pad {pad} smd rect (at {pad * 0.65:.2f} 0.5) (size 0.4 1.2) "
                f"(layers F.Cu F.Paste F.Mask)\n      (net {net} /block{net % 9}/N{net}))"
            )
        lines.append("  )\n")
        lines += [
            f"  (segment (start {x}.125 {step}.5) (end {x + 1}.25 {step}.775) (width 0.25) "
            f"(layer F.Cu) (net {number}) (tstamp {step + 0x57000000:X}))"
            for step in range(34)
        ]
        lines += [
            f"  (via (at {x}.5 {y}.{step}) (size 0.6) (drill 0.3) (layers F.Cu B.Cu) "
            f"(net {number}))"
            for step in range(3 + number % 2)
        ]
        parts.append("\n".join(lines))
        size += len(parts[-1])
    table = [f"  (net {n} /block{n % 9}/N{n})" for n in range(1, number + 2)]
    head = (
        "(kicad_pcb (version 20171130) (host pcbnew 5)\n"
        "  (layers\n    (0 F.Cu signal)\n    (31 B.Cu signal)\n    (44 Edge.Cuts user)\n  )\n"
        '  (net 0 "")\n'
    )
    return head + "\n".join([*table, *parts]) + "\n)\n"


def netlist_file(megabytes: float) -> str:
    """Return a netlist of version E of about so many megabytes: two pins a part."""
    count = int(megabytes * 1e6 / 560)
    parts = [
        f'    (comp (ref "R{n}")\n      (value "{n % 97}k")\n'
        f'      (footprint "Resistor_SMD:R_0402_1005Metric")\n      (datasheet "~")\n'
        f'      (fields\n        (field (name "Maker") "Maker {n % 7}"))\n'
        f'      (libsource (lib "Device") (part "R") (description "Resistor"))\n'
        f'      (property (name "Sheetname") (value "Block{n % 9}"))\n'
        f'      (sheetpath (names "/Block{n % 9}/") (tstamps "/{n % 9}/"))\n'
        f'      (tstamps "{n:08x}"))'
        for n in range(1, count + 1)
    ]
    nets = [
        f'    (net (code "{n}") (name "/Block{n % 9}/N{n}") (class "Default")\n'
        f'      (node (ref "R{n}") (pin "1") (pintype "passive"))\n'
        f'      (node (ref "R{n % count + 1}") (pin "2") (pintype "passive")))'
        for n in range(1, count + 1)
    ]
    return (
        '(export (version "E")\n  (design\n    (source "x"))\n  (components\n'
        + "\n".join(parts)
        + ")\n  (nets\n"
        + "\n".join(nets)
        + "))\n"
    )


_CELLS = (("RES", 2, 8), ("CAP", 2, 8), ("IND", 2, 1), ("SOT23", 3, 2), ("SO8", 8, 2),
          ("QFN32", 33, 1), ("CONN20", 20, 1), ("BGA100", 100, 0))  # fmt: skip


_VALUES = ("100nF", "10k", "4k7", "1uH", "10uF,16V", "0R")


def edif_netlist(megabytes: float, seed: int = 1) -> str:
    """A flat board netlist of about that size, laid out as netlist writers do; always the same."""
    chance = random.Random(seed)
    parts = int(megabytes * 1840)
    text = [
        '(edif (rename board "Board, made")\n  (edifVersion 2 0 0)\n  (edifLevel 0)\n'
        "  (keywordMap (keywordLevel 0))\n  (status (written (timeStamp 2026 1 2 3 4 5)))\n"
        "  (external PARTS\n    (edifLevel 0)\n    (technology (numberDefinition))\n"
    ]
    for name, pins, _ in _CELLS:
        ports = "".join(f"          (port &{n} (direction INOUT))\n" for n in range(1, pins + 1))
        text.append(
            f"    (cell {name} (cellType GENERIC)\n      (view NET (viewType NETLIST)\n"
            f"        (interface\n{ports}        )\n      )\n    )\n"
        )
    text.append(
        "  )\n  (library WORK\n    (edifLevel 0)\n    (technology (numberDefinition))\n"
        "    (cell TOP (cellType GENERIC)\n      (view NET (viewType NETLIST)\n"
        "        (interface)\n        (contents\n"
    )
    pins_left: list[tuple[str, int]] = []
    drawn = chance.choices(_CELLS, [weight for _, _, weight in _CELLS], k=parts)
    for index, (name, pins, _) in enumerate(drawn):
        if index % 200 == 0:
            name, pins, _ = _CELLS[-1]  # noqa: PLW2901 - a big chip now and then
        refdes = f"{name[0]}{index}"
        text.append(
            f"          (instance {refdes} (viewRef NET (cellRef {name} (libraryRef PARTS)))\n"
            f'            (property Value (string "{chance.choice(_VALUES)}"))\n'
            f'            (property (rename PCB_Footprint "PCB Footprint") (string "{name}_A")))\n'
        )
        pins_left += [(refdes, number) for number in range(1, pins + 1)]
    chance.shuffle(pins_left)
    count = 0
    while pins_left:
        size = 200 if count % 500 == 0 else chance.choice((1, 2, 2, 2, 3, 3, 4, 8))
        name = f'(rename N{count} "SIG[{count}]")' if count % 3 == 0 else f"N{count}"
        refs = "".join(
            f"            (portRef &{number} (instanceRef {refdes}))\n"
            for refdes, number in pins_left[-size:]
        )
        del pins_left[-size:]
        text.append(f"          (net {name} (joined\n{refs}          ))\n")
        count += 1
    text.append(
        "        )\n      )\n    )\n  )\n  (design BOARD (cellRef TOP (libraryRef WORK)))\n)\n"
    )
    return "".join(text)


def bare_board_file(megabytes: float) -> str:
    """Return a test file of about so many megabytes: parts of 2 to 20 pads, and vias."""
    chance = random.Random(356)
    lines = ["P  JOB SYNTHETIC", "P  UNITS CUST 0"]
    part = 0
    while len(lines) * 76 < megabytes * 1e6:
        part += 1
        x, y = chance.randrange(90_000), chance.randrange(90_000)
        for pin in range(1, (2, 2, 2, 3, 6, 20)[part % 6] + 1):
            net = "GND" if chance.random() < 0.2 else f"NET_{chance.randrange(part + 1)}"
            lines.append(
                f"327{net:<14}   R{part:<5}-{pin:<4}       A01"
                f"X{x + 200 * pin:+07d}Y{y:+07d}X0200Y0300R{part % 4 * 90:03d} S2"
            )
            if chance.random() < 0.4:
                lines.append(
                    f"317{net:<14}   VIA        MD0080PA00"
                    f"X{x + 200 * pin:+07d}Y{y + 300:+07d}X0160Y0000R000 S3"
                )
    return "\n".join([*lines, "999", ""])


def placed_board_file(megabytes: float) -> str:
    """Return an IPC-2581 file of about so many megabytes: pads, PinRefs, and tracks between."""
    head = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<IPC-2581 revision="C" xmlns="http://webstds.ipc.org/2581">\n'
        ' <Content roleRef="Owner"><FunctionMode mode="ASSEMBLY"/>\n'
        '  <DictionaryStandard units="MILLIMETER"><EntryStandard id="RECT_1">'
        '<RectCenter width="0.6" height="0.5"/></EntryStandard></DictionaryStandard>\n'
        ' </Content>\n <Ecad name="e"><CadHeader units="MILLIMETER"/><CadData>\n'
        '  <Layer name="F.Cu" layerFunction="CONDUCTOR" side="TOP" polarity="POSITIVE"/>\n'
        '  <Step name="synthetic" type="BOARD">\n'
        '   <Package name="R" type="OTHER">'
        '<Pin number="1" type="SURFACE"><Location x="-0.5" y="0"/></Pin>'
        '<Pin number="2" type="SURFACE"><Location x="0.5" y="0"/></Pin></Package>\n'
    )
    components, sets = [], []
    size, part = 0, 0
    while size < megabytes * 1e6:
        part += 1
        x, y = part % 400, part // 400
        components.append(
            f'   <Component refDes="R{part}" packageRef="R" layerRef="F.Cu" mountType="SMT">\n'
            f'    <Xform rotation="90.0"/>\n    <Location x="{x}.0" y="{y}.0"/>\n   </Component>\n'
        )
        for pin in (1, 2):
            tracks = "".join(
                f'      <Line startX="{x}.{n}" startY="{y}.1" endX="{x}.{n}5" endY="{y}.2">\n'
                '       <LineDesc lineWidth="0.25" lineEnd="ROUND"/>\n      </Line>\n'
                for n in range(6)
            )
            sets.append(
                f'    <Set net="N{part + pin}">\n     <Features><UserSpecial>\n{tracks}'
                "     </UserSpecial></Features>\n"
                '     <Pad padstackDefRef="P">\n      <Xform rotation="90.0"/>\n'
                f'      <Location x="{x}.0" y="{y}.{pin}"/>\n'
                '      <StandardPrimitiveRef id="RECT_1"/>\n'
                f'      <PinRef componentRef="R{part}" pin="{pin}"/>\n     </Pad>\n    </Set>\n'
            )
        size += len(components[-1]) + len(sets[-1]) + len(sets[-2])
    tail = "   </LayerFeature>\n  </Step>\n </CadData></Ecad>\n</IPC-2581>\n"
    return "".join([head, *components, '   <LayerFeature layerRef="F.Cu">\n', *sets, tail])


def deck(lines: int, seed: int = 1) -> str:
    """A flat board deck of so many lines: passives mostly, transistors, diodes; always the same."""
    chance = random.Random(seed)
    nets = [f"N{number}" for number in range(max(2, lines // 4))]
    text = ["* a made deck", ".model QN NPN(BF=100)", ".model DX D(IS=1n)"]
    for number in range(lines - 4):
        a, b, c = chance.choice(nets), chance.choice(nets), chance.choice(nets)
        kind = number % 10
        if kind < 5:
            text.append(f"R{number} {a} {b} {chance.randrange(1, 999)}k")
        elif kind < 8:
            text.append(f"C{number} {a} 0 100n")
        elif kind < 9:
            text.append(f"Q{number} {a} {b} {c} QN")
        else:
            text.append(f"D{number} {a} {b} DX")
    return "\n".join([*text, ".end"]) + "\n"


def nested_deck(levels: int = 4, width: int = 100, elements: int = 250) -> str:
    """`width` towers of subcircuits, `levels` high: each body calls the next one below."""
    text = ["* nested subcircuits"]
    for tower in range(width):
        for level in range(levels):
            text.append(f".subckt S{tower}_{level} a b")
            text += [f"R{number} a n{number} 1k" for number in range(elements - 4)]
            below = f"X1 n0 b S{tower}_{level + 1}"
            text.append(below if level + 1 < levels else "C1 a b 1n")
            text.append(f".ends S{tower}_{level}")
    text += [f"X{tower} in out S{tower}_0" for tower in range(width)]
    return "\n".join([*text, ".end"]) + "\n"
