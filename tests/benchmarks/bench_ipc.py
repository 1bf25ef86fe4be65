"""Speed and memory of the IPC readers. Run: python tests/benchmarks/bench_ipc.py.

Sides: gerbonara and the token floor for IPC-D-356; bare expat with handlers that do nothing, and a
full element tree, for IPC-2581.
"""

from __future__ import annotations

import os
import random
import sys
import tempfile
import warnings
from collections.abc import Iterator
from pathlib import Path
from xml.parsers import expat

try:
    from tests.benchmarks.measure import (
        ROOT,
        ask_for_all,
        medians,
        memory_growth,
        report,
        token_floor,
    )
except ImportError:  # run as a script: its folder is on the path, the project is not
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
    from measure import (  # type: ignore[import-not-found, no-redef]
        ROOT,
        ask_for_all,
        medians,
        memory_growth,
        report,
        token_floor,
    )

from nettrace.readers.document import Document
from nettrace.readers.ipc2581 import read as read_2581
from nettrace.readers.ipcd356 import read as read_356

BARE_BOARD = "minnowmax/MinnowMax_RevA1_IPC356A.ipc"
PLACED = "reform2-trackball/reform2-trackball-2581C-mm.xml"


def synthetic_bare_board(megabytes: float) -> str:
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


def synthetic_placed_board(megabytes: float) -> str:
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


def bare_board_times(text: str, name: str, rounds: int = 5) -> dict[str, float]:
    """Return processor seconds of the token floor, gerbonara, the reader, and the reader with
    every pin and pad asked for."""
    from gerbonara.ipc356 import Netlist

    document = Document(name, text)

    def peer() -> object:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return Netlist.from_string(text, name)

    sides = {
        "floor": lambda: token_floor(text),
        "gerbonara": peer,
        "reader": lambda: read_356(document),
        "all": lambda: ask_for_all(read_356(document)),
    }
    return medians(sides, rounds)


def placed_board_ratio(text: str, name: str, rounds: int = 5) -> float:
    """Return the reader's time as a multiple of bare expat with handlers that do nothing."""
    document = Document(name, text)

    def bare() -> None:
        parser = expat.ParserCreate()
        parser.StartElementHandler = lambda _name, _attributes: None
        parser.EndElementHandler = lambda _name: None
        parser.CharacterDataHandler = lambda _data: None
        parser.Parse(text, True)

    spent = medians({"bare": bare, "reader": lambda: read_2581(document)}, rounds)
    return spent["reader"] / spent["bare"]


def placed_board_memory(path: Path) -> float:
    """Return the reader's growth as a share of a full element tree's, text not counted."""
    setup = (
        "from pathlib import Path\nfrom xml.etree import ElementTree\n"
        "from nettrace.readers.document import Document\n"
        "from nettrace.readers.ipc2581 import read\n"
        "from measure import ask_for_all\n"
        f"text = Path({str(path)!r}).read_text(encoding='utf-8')\ndocument = Document('x', text)\n"
    )
    ours = memory_growth(setup, "ask_for_all(read(document))")
    return ours / memory_growth(setup, "ElementTree.fromstring(text)")


def lines(boards: Path, bare_megabytes: float, placed_megabytes: float) -> Iterator[str]:
    """Yield the report, line by line."""
    bare = (boards / BARE_BOARD).read_text(encoding="utf-8")
    made = synthetic_bare_board(bare_megabytes)
    for name, text, goal in (
        ("minnowmax", bare, 8.0),
        (f"synthetic {bare_megabytes:g} MB", made, 3.5),
    ):
        spent = bare_board_times(text, name)
        faster = spent["gerbonara"] / spent["reader"]
        state = "goal met" if faster >= goal else "GOAL MISSED"
        what = f"IPC-D-356, {name}: times faster than gerbonara"
        yield f"{what:<52} {faster:8.2f}   goal {goal:g}: {state}"
        faster = spent["gerbonara"] / spent["all"]
        yield f"{'  with every pin and pad asked for':<52} {faster:8.2f}"
        yield f"{f'IPC-D-356, {name} / floor':<52} {spent['reader'] / spent['floor']:8.2f}"
    placed = boards / PLACED
    ratio = placed_board_ratio(placed.read_text(encoding="utf-8"), "reform2")
    yield report("IPC-2581, reform2-trackball / bare expat", ratio, 2.5, 2.0)
    yield report(
        "IPC-2581, reform2-trackball memory / tree", placed_board_memory(placed), 0.35, 0.25
    )
    text = synthetic_placed_board(placed_megabytes)
    size = f"{len(text) / 1e6:.0f} MB"
    ratio = placed_board_ratio(text, "synthetic", rounds=3)
    yield report(f"IPC-2581, synthetic {size} / bare expat", ratio, 2.5, 2.0)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "synthetic.xml"
        path.write_text(text, encoding="utf-8")
        yield report(
            f"IPC-2581, synthetic {size} memory / tree", placed_board_memory(path), 0.35, 0.25
        )


def main() -> None:
    """Print the ratios; real boards are needed (NETTRACE_BOARDS, or ../shared/boards)."""
    boards = Path(os.environ.get("NETTRACE_BOARDS", ROOT.parent / "shared" / "boards"))
    for line in lines(boards, 7.4, 25.0):
        print(line, flush=True)


if __name__ == "__main__":
    main()
