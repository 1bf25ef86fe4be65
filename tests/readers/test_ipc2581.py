"""IPC-2581: cases, exact messages, the truth of the shared boards, lxml, damaged files."""

from __future__ import annotations

import json
import random
import re
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.errors import BadInput, NettraceError
from nettrace.model.board import Board, Side
from nettrace.readers.document import Document
from nettrace.readers.ipc2581 import read
from nettrace.readers.registry import decode_text, detect_format, read_file
from tests.readers.ipc_cases import facts
from tests.readers.truth_check import differences, truth_entries

CASES = Path(__file__).parent / "cases" / "ipc2581"
GOOD = sorted(CASES.glob("*.xml"))
BAD = sorted((CASES / "bad").glob("*.xml"))
REFORM = "reform2-trackball/reform2-trackball-2581C-mm.xml"
TERES_MM = "teres-io/TERES-PCB2-IO_Rev.B-2581C-mm.xml"
TERES_INCH = "teres-io/TERES-PCB2-IO_Rev.B-2581B-inch.xml"
REAL = (REFORM, TERES_MM, TERES_INCH)
DAMAGES = 1000


def document(path: Path) -> Document:
    return Document(path.name, path.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def real(boards: Path) -> dict[str, Board]:
    return {name: read_file(boards / name) for name in REAL}


# cases


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.stem)
def test_case_is_read_as_written_down(path: Path) -> None:
    expected = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    assert json.loads(json.dumps(facts(read(document(path))))) == expected


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_bad_case_has_its_message(path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        read(document(path))
    assert str(caught.value) == path.with_suffix(".err").read_text(encoding="utf-8").rstrip("\n")


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.stem)
def test_content_decides_the_format(path: Path) -> None:
    found = detect_format(path.read_text(encoding="utf-8"))
    assert found is not None
    assert found.name == "ipc-2581"


def changed(name: str, old: str, new: str) -> Board:
    text = (CASES / name).read_text(encoding="utf-8")
    assert old in text
    return read(Document(name, text.replace(old, new)))


def test_nets_that_stand_before_the_step_are_no_less_nets() -> None:
    text = (CASES / "logical_net.xml").read_text(encoding="utf-8")
    nets = re.findall(r"<LogicalNet .*?</LogicalNet>", text, re.DOTALL)
    assert nets
    outside = text
    for net in nets:
        outside = outside.replace(net, "")
    at = re.search(r"<Ecad\b", outside)
    assert at is not None
    outside = outside[: at.start()] + "".join(nets) + outside[at.start() :]
    joined = [
        {(net.name, *map(str, net.pins)) for net in read(Document("n.xml", one)).nets}
        for one in (text, outside)
    ]
    assert joined[0] == joined[1]
    assert joined[0]


def test_entities_that_grow_are_refused_before_they_grow() -> None:
    entities = '<!ENTITY a0 "x">' + "".join(
        f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 12)
    )
    text = (CASES / "logical_net.xml").read_text(encoding="utf-8")
    text = text.replace("<IPC-2581", f"<!DOCTYPE IPC-2581 [{entities}]>\n<IPC-2581", 1)
    started = time.process_time()
    with pytest.raises(BadInput, match="Entities are never expanded"):
        read(Document("bomb.xml", text.replace('"GND"', '"&a11;"')))
    assert time.process_time() - started < 20


# references with a suffix


def test_suffix_goes_where_the_parts_list_has_the_bare_name() -> None:
    board = read(document(CASES / "logical_net.xml"))
    assert "P1" in board.part_by_key
    assert board.part_by_key["P1"].pins[0].net == "GND"


def test_suffix_stays_where_another_component_has_the_bare_name() -> None:
    board = changed("logical_net.xml", '<Component refDes=""', '<Component refDes="P1"')
    assert {"P1", "P1_1"} <= set(board.part_by_key)


def test_suffix_stays_where_the_parts_list_has_it_too() -> None:
    board = changed("logical_net.xml", '<RefDes name="P1"', '<RefDes name="P1_1"')
    assert "P1_1" in board.part_by_key
    assert "P1" not in board.part_by_key


def test_two_suffixed_names_never_become_one() -> None:
    board = changed("logical_net.xml", 'refDes=""', 'refDes="P1_2"')
    assert {"P1_1", "P1_2"} <= set(board.part_by_key)


# places


def test_a_writers_own_way_to_mirror_is_found_from_its_pads() -> None:
    # pin 2 of C2 lies at +y of its centre here, as if y were mirrored; pin 1 then follows suit
    pad = (
        '<LayerFeature layerRef="LAYER 4"><Set net="GND"><Pad><Location x="3000" y="8500"/>'
        '<PinRef componentRef="C2" pin="2"/></Pad></Set></LayerFeature>\n</Step>'
    )
    text = (CASES / "logical_net.xml").read_text(encoding="utf-8")
    board = read(Document("m.xml", text.replace("</Step>", pad)))
    pads = {item.number: (item.x, item.y, item.side) for item in board.part_by_key["C2"].pads}
    assert pads["2"] == (3.0, 8.5, Side.BOTTOM)
    assert pads["1"] == (3.1, 7.5, Side.BOTTOM)


def test_unknown_attribute_of_a_set_is_reported() -> None:
    board = changed("places_name_nets.xml", '<Set net="VBUS">', '<Set nett="VBUS">')
    assert "unknown-attribute" in [warning.code for warning in board.warnings]


def test_second_step_and_second_parts_list_are_reported_not_mixed_in() -> None:
    text = (CASES / "logical_net.xml").read_text(encoding="utf-8")
    once = read(Document("one.xml", text))
    bom = text[text.index("<Bom ") : text.index("</Bom>") + 6]
    step = text[text.index("<Step ") : text.index("</Step>") + 7]
    twice = text.replace(step, step + step).replace(bom, bom + bom.replace("4.7UF", "1UF"))
    board = read(Document("two.xml", twice))
    assert [part.value for part in board.parts] == [part.value for part in once.parts]
    assert board.counts() == once.counts()
    assert {"second-step", "second-parts-list"} <= {warning.code for warning in board.warnings}


# the real boards


@pytest.mark.parametrize("name", REAL)
def test_truth_is_met_exactly(boards: Path, real: dict[str, Board], name: str) -> None:
    (entry,) = [item for item in truth_entries(boards, "ipc-2581") if item["file"] == name]
    board = real[name]
    assert differences(board, entry) == []
    assert f"{board.sources[0].version}" == entry["version"]
    listed = set(entry["more"]["bom_not_populated"])
    assert {part.refdes for part in board.parts if part.fitted is False} == listed
    unlisted = {part.refdes for part in board.parts if part.fitted is None}
    assert unlisted == set(entry["more"]["components_not_in_bom"])
    assert not board.warnings


def test_every_file_of_the_truth_is_tested(boards: Path) -> None:
    assert {entry["file"] for entry in truth_entries(boards, "ipc-2581")} == set(REAL)


@pytest.mark.parametrize("name", REAL)
def test_lxml_finds_the_same_pins_nets_and_places(
    boards: Path, real: dict[str, Board], name: str
) -> None:
    from lxml import etree

    root = etree.parse(boards / name).getroot()
    space = {"std": "http://webstds.ipc.org/2581"}
    header = root.find(".//std:CadHeader", space)
    assert header is not None
    scale = {"MILLIMETER": 1.0, "INCH": 25.4}[str(header.get("units"))]
    copper = {
        layer.get("name")
        for layer in root.iterfind(".//std:Layer", space)
        if layer.get("layerFunction") == "CONDUCTOR"
    }
    theirs = set()
    for feature in root.iterfind(".//std:LayerFeature", space):
        if feature.get("layerRef") not in copper:
            continue
        for group in feature.iterfind("std:Set[@net]", space):
            for pad in group.iterfind("std:Pad[std:PinRef]", space):
                spot = pad.find("std:Location", space)
                assert spot is not None
                place = [round(float(str(spot.get(axis))) * scale, 3) for axis in "xy"]
                for pin in pad.iterfind("std:PinRef", space):
                    theirs.add((pin.get("componentRef"), pin.get("pin"), group.get("net"), *place))
    ours = {
        (part.refdes, pad.number, pad.net, round(pad.x, 3), round(pad.y, 3))
        for part in real[name].parts
        for pad in part.pads
        if pad.net is not None
    }
    assert ours == theirs


def test_two_units_and_revisions_of_one_board_agree(real: dict[str, Board]) -> None:
    one, other = real[TERES_MM], real[TERES_INCH]
    net_of: dict[str, str] = {}
    pads = [[pad for pad in board.pads() if pad.net] for board in (one, other)]
    assert len(pads[0]) == len(pads[1])
    for pad in pads[0]:
        (twin,) = [
            item
            for item in pads[1]
            if abs(item.x - pad.x) < 0.01 and abs(item.y - pad.y) < 0.01 and item.side is pad.side
        ]
        assert twin.number == pad.number
        assert net_of.setdefault(pad.net or "", twin.net or "") == twin.net
    assert len(set(net_of.values())) == len(net_of) == len(one.nets)
    assert {net.name for net in one.nets} != {net.name for net in other.nets}


@pytest.mark.parametrize(
    ("name", "bare_board", "offset"),
    [
        (REFORM, "reform2-trackball/reform2-trackball.d356", (0.0, 0.0)),
        (TERES_MM, "teres-io/TERES-PCB2-IO_Rev.B.d356", (102.5, -173.5)),
    ],
)
def test_pads_agree_with_the_bare_board_file(
    boards: Path, real: dict[str, Board], name: str, bare_board: str, offset: tuple[float, float]
) -> None:
    # offsets of the origins and 0.03 mm: README of the shared boards, cross-checks
    bare = read_file(boards / bare_board)
    theirs = [(p.x + offset[0], p.y + offset[1], p.side) for p in bare.pads() if p.net]
    ours = [(p.x, p.y, p.side) for p in real[name].pads() if p.net]
    assert len(ours) == len(theirs)
    for x, y, side in ours:
        near = [s for tx, ty, s in theirs if abs(tx - x) < 0.03 and abs(ty - y) < 0.03]
        assert side in near
    assert len(real[name].vias) == len(bare.vias)


def test_pins_placed_by_package_alone_stand_where_their_pads_are(
    boards: Path, real: dict[str, Board]
) -> None:
    text = (boards / REFORM).read_text(encoding="utf-8")
    told = real[REFORM]
    # one pad in ten keeps its PinRef: enough to find how this writer mirrors, the rest is computed
    seen = iter(range(10**6))
    bare = re.sub(r"<PinRef [^>]*>", lambda m: m[0] if next(seen) % 10 == 0 else "", text)
    board = read(Document("bare.xml", bare))
    spots = {
        (pad.part, pad.number, round(pad.x, 3), round(pad.y, 3)) for pad in told.pads() if pad.net
    }
    computed = {
        (pad.part, pad.number, round(pad.x, 3), round(pad.y, 3)) for pad in board.pads() if pad.net
    }
    # a package gives a pin one place; pads of one number on several spots keep only that
    assert computed <= spots
    assert {key[:2] for key in computed} == {key[:2] for key in spots}


# damage


def damaged(text: str, chance: random.Random) -> str:
    at = chance.randrange(len(text))
    match chance.randrange(5):
        case 0:
            return text[:at] + text[at + 1 :]
        case 1:
            return text[:at] + text[at] + text[at:]
        case 2:
            return text[:at] + chance.choice("<>&\"'/ 01xX=") + text[at + 1 :]
        case 3:
            return text[:at] + text[at + 1 : at + 2] + text[at] + text[at + 2 :]
        case _:
            return text[:at]


def same_by_lxml(one: str, other: str) -> bool:
    """Return whether both are well-formed and no name of an element or attribute differs."""
    from lxml import etree

    try:
        trees = [etree.fromstring(text.encode()) for text in (one, other)]
    except etree.XMLSyntaxError:
        return False
    shapes = [[(e.tag, sorted(e.attrib)) for e in tree.iter()] for tree in trees]
    return shapes[0] == shapes[1]


def test_damaged_files_are_errors_or_differ_in_a_value_alone() -> None:
    chance = random.Random(2581)
    texts = [path.read_text(encoding="utf-8") for path in GOOD if path.stem != "prefixed"]
    boards = {text: facts(read(Document("d.xml", text))) for text in texts}
    read_well = 0
    for _ in range(DAMAGES):
        text = chance.choice(texts)
        broken = damaged(text, chance)
        try:
            board = facts(read(Document("d.xml", broken)))
        except BadInput as error:
            assert error.place is not None
            continue
        read_well += 1
        # what changed no value must be the same board, or say why it is not
        if not same_by_lxml(text, broken):
            same = {
                key: value for key, value in board.items() if key not in {"warnings", "version"}
            }
            whole = {key: boards[text][key] for key in same}
            told = [w[0] for w in board["warnings"]] != [w[0] for w in boards[text]["warnings"]]
            assert told or _without_lines(same) == _without_lines(whole), broken
    assert 50 < read_well < DAMAGES


def test_damaged_real_file_is_a_board_or_our_error(boards: Path) -> None:
    chance = random.Random(2582)
    text = (boards / TERES_MM).read_text(encoding="utf-8")
    for _ in range(40):
        try:
            read(Document("d.xml", damaged(text, chance)))
        except BadInput as error:
            assert error.place is not None


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('layerFunction="CONDUCTOR"', 'layerFunction="CONDUCTRO"'),
        ('side="BOTTOM"', 'side="BOTTON"'),
        ('platingStatus="VIA"', 'platingStatus="VA"'),
        ("<PhyNetPoint ", "<PhyNetPiont "),
        ("<PinRef ", "PinRef "),
    ],
)
def test_misspelt_word_is_reported(old: str, new: str) -> None:
    board = changed("places_name_nets.xml", old, new)
    assert any(warning.code.startswith("unknown-") for warning in board.warnings)


def _without_lines(board: dict[str, object]) -> str:
    return re.sub(r", \d+\]", "]", json.dumps(board))


@given(st.binary(max_size=300))
def test_arbitrary_bytes_give_a_board_or_our_error(raw: bytes) -> None:
    start = b'<IPC-2581 revision="C"><Ecad><CadHeader units="INCH"/><CadData><Step name="s">'
    for content in (raw, b"<IPC-2581>" + raw, start + raw):
        try:
            read(Document("x", decode_text(content, "x")))
        except NettraceError as error:
            assert str(error).startswith("error: ")


@pytest.mark.parametrize(
    "text",
    [
        "<IPC-2581>" + "<a>" * 300_000,
        "<IPC-2581>" + "<Step name='s'>" * 20_000,
        "<IPC-2581 " + " ".join(f"a{n}='1'" for n in range(20_000)) + "/>",
        "<IPC-2581 a='" + "x" * 3_000_000 + "'/>",
        "<IPC-2581><!--" + "-" * 100 + "x" * 1_000_000,
    ],
    ids=["deep", "deep steps", "many attributes", "long attribute", "long comment"],
)
def test_huge_or_deep_input_ends_soon(text: str) -> None:
    started = time.process_time()
    with pytest.raises(BadInput):
        read(Document("huge.xml", text))
    assert time.process_time() - started < 60
