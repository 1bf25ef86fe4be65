"""Wren's files say the same nets, read by programs outside the project or by the plainest means."""

from __future__ import annotations

import csv
import io
import logging
import re
import shutil
import subprocess
import warnings
import xml.etree.ElementTree as Tree
from pathlib import Path
from typing import Any

import pytest

Groups = frozenset[frozenset[tuple[str, str]]]
PLACE_MM = 0.002  # half a unit of IPC-D-356 is 0.0013 mm


def grouped(pins: dict[tuple[str, str], str]) -> Groups:
    by_net: dict[str, set[tuple[str, str]]] = {}
    for pin, net in pins.items():
        by_net.setdefault(net, set()).add(pin)
    return frozenset(map(frozenset, by_net.values()))


def test_netlist_read_by_kinparse(samples: Path, wren: Any, groups: Groups) -> None:
    """kinparse takes a minute for a thousand fields, so it gets the file without them."""
    kinparse = pytest.importorskip("kinparse")
    text = (samples / "wren" / "wren.net").read_text(encoding="utf-8")
    for clutter in (
        r"\n +\(property .*",
        r"\n +\(fields.*?\)\)(?=\n)",
        r"\n  \(libparts.*?(?=\n  \(nets)",
    ):
        text, times = re.subn(clutter, "", text, flags=re.DOTALL if "*?" in clutter else 0)
        assert times
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own, about its parser library
        read = kinparse.parse_netlist(io.StringIO(text))
    named = {
        net.name: {(pin.ref, pin.num) for pin in net.pins}
        for net in read.nets
        if not net.name.startswith("unconnected-")
    }
    assert set(named) == set(wren.nets)
    assert frozenset(map(frozenset, named.values())) == groups
    values = {part.ref: part.value for part in read.parts}
    assert values == {part.refdes: part.value for part in wren.parts if part.refdes in values}
    assert {part.refdes for part in wren.parts if part.pins} <= set(values)


def test_bare_board_file_read_by_gerbonara(samples: Path, wren: Any, groups: Groups) -> None:
    ipc356 = pytest.importorskip("gerbonara.ipc356")
    read = ipc356.Netlist.open(samples / "wren" / "wren.d356")
    pins = {
        (record.ref_des, record.pin): record.net_name
        for record in read.test_records
        if record.net_name not in {None, "N/C"} and record.ref_des not in {None, "VIA"}
    }
    assert set(pins.values()) == set(wren.nets)  # the aliases carry the long names
    assert grouped(pins) == groups
    places = [
        (record.ref_des, record.unit.convert_to("mm", record.x))
        for record in read.test_records
        if record.ref_des == "TP1"
    ]
    expected = wren.page_up(*next((p.x, p.y) for p in wren.parts if p.refdes == "TP1"))
    assert len(places) == 1
    assert places[0][1] == pytest.approx(expected[0], abs=PLACE_MM)


def test_bare_board_columns(samples: Path, wren: Any) -> None:
    """Fixed columns of IPC-D-356A: reference 21-26, pin 28-31, access 40-41, X 43-49, Y 51-57."""
    found: dict[tuple[str, str], list[tuple[float, float, str]]] = {}
    for line in (samples / "wren" / "wren.d356").read_text(encoding="ascii").splitlines():
        assert len(line) <= 80
        if line[:3] in {"317", "327"} and line[20:26].strip() != "VIA":
            key = (line[20:26].strip(), line[27:31].strip())
            x, y = int(line[42:49]) * 0.00254, int(line[50:57]) * 0.00254
            found.setdefault(key, []).append((x, y, line[39:41]))
    for part in wren.parts:
        for pad in part.pads:
            if pad.pin:
                x, y = wren.page_up(pad.x, pad.y)
                access = "00" if pad.hole else "01" if part.side == "top" else "04"
                assert any(
                    abs(x - a) < PLACE_MM and abs(y - b) < PLACE_MM and access == c
                    for a, b, c in found[part.refdes, pad.pin]
                ), (part.refdes, pad.pin)


def quiet_spydrnet() -> Any:
    """Import it with its debug log off: one of its messages has an argument too many."""
    logging.disable(logging.DEBUG)
    try:
        return pytest.importorskip("spydrnet")
    finally:
        logging.disable(logging.NOTSET)


def test_edif_read_by_spydrnet(samples: Path, wren: Any, groups: Groups, tmp_path: Path) -> None:
    """spydrnet knows no ``designator`` in an instance, so those lines are taken out for it."""
    spydrnet = quiet_spydrnet()
    text = (samples / "formats" / "wren.edf").read_text(encoding="ascii")
    designators = re.findall(r'^ +\(designator "(.+)"\)\n', text, flags=re.MULTILINE)
    assert designators == [part.refdes for part in wren.parts if part.pins]
    plain = tmp_path / "wren.edf"
    plain.write_text(
        re.sub(r"^ +\(designator .+\n", "", text, flags=re.MULTILINE), encoding="ascii"
    )
    top = spydrnet.parse(str(plain)).top_instance.reference
    assert {child.name for child in top.children} == set(designators)
    pins = {
        (pin.instance.name, pin.inner_pin.port.name): cable.name
        for cable in top.cables
        for wire in cable.wires
        for pin in wire.pins
    }
    assert set(pins.values()) == set(wren.nets)
    assert grouped(pins) == groups


def deck_pins(path: Path) -> dict[tuple[str, str], str]:
    """Pins by the plainest reading: joined lines, words, the letter in front of the reference."""
    text = path.read_text(encoding="ascii").replace("\n+", "")
    lines = [line for line in text.splitlines()[1:] if not line.startswith("*")]
    formal = {line.split()[1]: line.split()[2:] for line in lines if line.startswith(".subckt")}
    pins: dict[tuple[str, str], str] = {}
    body = False
    for line in lines:
        body = body or line.startswith(".subckt")
        words = line.split()
        if not body and not line.startswith("."):
            if words[0].startswith("X"):
                names, refdes = formal[words[-1]], words[0][1:]
            else:
                refdes = words[0]
                names = {"D": ["2", "1"], "Q": ["3", "1", "2"]}.get(refdes[0], ["1", "2"])
            assert len(words) == len(names) + 2, line
            pins |= {(refdes, pin): net for pin, net in zip(names, words[1:], strict=False)}
        body = body and not line.startswith(".ends")
    return {pin: net for pin, net in pins.items() if not net.startswith("unconnected-")}


def test_deck_has_the_same_nets(samples: Path, wren: Any, groups: Groups) -> None:
    pins = deck_pins(samples / "formats" / "wren.cir")
    assert set(pins.values()) == set(wren.nets)
    assert grouped(pins) == groups


def test_deck_runs_in_ngspice_and_its_taps_are_the_facts(
    samples: Path, facts: dict[str, Any]
) -> None:
    program = shutil.which("ngspice")
    if program is None:
        pytest.skip("ngspice is not installed")
    run = subprocess.run(
        [program, "-b", str(samples / "formats" / "wren.cir")],
        capture_output=True,
        text=True,
        check=True,
        timeout=20,
    )
    volts = {
        name.lower(): float(value)
        for name, value in re.findall(
            r"^\s*(\S+)\s+(-?\d\.\d+e[+-]\d+)\s*$", run.stdout, re.MULTILINE
        )
    }
    for name, expected in facts["taps"].items():
        assert volts[name.lower()] == pytest.approx(expected, abs=0.002), name
    for rail in ("VBUS", "VSYS", "VBAT", "+3V3", "+1V8", "+3V3A", "VREF_1V8", "SD_VDD"):
        assert volts[rail.lower()] == pytest.approx(facts["rails"][rail]["volts"], abs=0.01), rail
    assert not re.search(r"singular|unknown subckt|unable to find", run.stdout + run.stderr)


def test_ipc2581_nets_and_places(samples: Path, wren: Any, groups: Groups) -> None:
    root = Tree.parse(samples / "formats" / "wren-2581.xml").getroot()  # noqa: S314 our own file
    space = {"i": "http://webstds.ipc.org/2581"}
    pins = {
        (ref.get("componentRef", ""), ref.get("pin", "")): net.get("name", "")
        for net in root.iterfind(".//i:LogicalNet", space)
        for ref in net.iterfind("i:PinRef", space)
    }
    assert set(pins.values()) == set(wren.nets)
    assert grouped(pins) == groups
    placed = {item.get("refDes"): item for item in root.iterfind(".//i:Component", space)}
    assert set(placed) == {part.refdes for part in wren.parts}
    unfitted = {
        item.get("name")
        for item in root.iterfind(".//i:RefDes", space)
        if item.get("populate") == "false"
    }
    assert unfitted == {part.refdes for part in wren.parts if not part.fitted or not part.in_bom}


def sexpr_pads(path: Path) -> list[tuple[str, str, float, float, str | None]]:
    """Pads by regular expressions over our own layout of the board file."""
    import math

    pads = []
    for block in path.read_text(encoding="utf-8").split("\n\t(footprint ")[1:]:
        x, y, turn = re.search(r"\n\t\t\(at (\S+) (\S+?)(?: (\S+))?\)\n", block).groups()  # type: ignore[union-attr]
        angle = math.radians(float(turn or 0))
        refdes = re.search(r'"Reference" "(.*?)"', block)[1]  # type: ignore[index]
        for pad in re.findall(r"\n\t\t\(pad (.*?)\n\t\t\)", block, flags=re.DOTALL):
            number = re.match(r'"(.*?)"', pad)[1]  # type: ignore[index]
            px, py = (float(v) for v in re.search(r"\(at (\S+) (\S+?)[ )]", pad).groups())  # type: ignore[union-attr]
            net = re.search(r'\(net \d+ "(.*?)"\)', pad)
            # y points down and the turn is anticlockwise on the screen
            pads.append(
                (
                    refdes,
                    number,
                    float(x) + px * math.cos(angle) + py * math.sin(angle),
                    float(y) - px * math.sin(angle) + py * math.cos(angle),
                    net[1] if net else None,
                )
            )
    return pads


def test_board_file_nets_and_places(samples: Path, wren: Any, groups: Groups) -> None:
    pads = sexpr_pads(samples / "wren" / "wren.kicad_pcb")
    pins = {
        (refdes, number): net
        for refdes, number, _, _, net in pads
        if net and not net.startswith("unconnected-")
    }
    assert grouped(pins) == groups
    expected = [
        (part.refdes, pad.pin, *wren.page(pad.x, pad.y)) for part in wren.parts for pad in part.pads
    ]
    assert len(pads) == len(expected)
    for read, true in zip(pads, expected, strict=True):
        assert read[:2] == true[:2]
        assert read[2:4] == pytest.approx(true[2:], abs=0.0003), read


def test_board_file_is_balanced_and_its_layers_are_those_of_its_version(samples: Path) -> None:
    text = (samples / "wren" / "wren.kicad_pcb").read_text(encoding="utf-8")
    outside = re.sub(r'"(?:[^"\\]|\\.)*"', "", text)
    assert outside.count("(") == outside.count(")")
    assert "(version 20241229)" in text
    for row in (
        '(0 "F.Cu" signal)',
        '(2 "B.Cu" signal)',
        '(4 "In1.Cu" power)',
        '(6 "In2.Cu" power)',
    ):
        assert row in text


def test_tables(samples: Path, wren: Any) -> None:
    with (samples / "wren" / "wren-bom.csv").open(encoding="utf-8", newline="") as handle:
        rows = list(csv.DictReader(handle))
    listed = {ref: row for row in rows for ref in row["Reference"].split(",")}
    assert set(listed) == {part.refdes for part in wren.parts if part.in_bom}
    assert all(int(row["Qty"]) == len(row["Reference"].split(",")) for row in rows)
    for part in wren.parts:
        if part.in_bom:
            assert listed[part.refdes]["Value"] == part.value
            assert (listed[part.refdes]["DNP"] == "DNP") is not part.fitted
    with (samples / "formats" / "wren-places.csv").open(encoding="utf-8", newline="") as handle:
        places = {row["Ref"]: row for row in csv.DictReader(handle)}
    assert set(places) == {part.refdes for part in wren.parts if part.in_bom and part.fitted}
