"""Whatever stands in a file, `read_file` gives a board or our own error with a place, and soon."""

from __future__ import annotations

import random
import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nettrace.errors import BadInput
from nettrace.readers.registry import FORMATS, read_file

ROOT = Path(__file__).resolve().parents[2]
CASES = ROOT / "tests" / "readers" / "cases"
MOST_SECONDS = 60.0  # a hundred times what it takes; a reader that hangs takes for ever

#: The least that makes a text one of the format's, to get past detection.
HEADS = {
    "kicad_pcb": b"(kicad_pcb (version 20241229) ",
    "kicad_net": b'(export (version "E") ',
    "edif": b"(edif x (edifVersion 2 0 0) ",
    "ipc-2581": b'<IPC-2581 revision="C" xmlns="http://webstds.ipc.org/2581">',
    "json": b'{"nettrace": {"schema": 1, "version": "0"}, ',
    "ipc-d-356": b"P  UNITS CUST 0\n",
    "sheet": b"sheet\n",
    "spice": b"title\nR1 a b 10k\n",
    "csv": b"Reference,Value\n",
}
SOUND = [
    CASES / "kicad_pcb" / "two_parts_2024.kicad_pcb",
    CASES / "kicad_net" / "divider_e.net",
    CASES / "edif" / "schematic_pages.edf",
    CASES / "ipc2581" / "logical_net.xml",
    CASES / "ipcd356" / "aliases.ipc",
    CASES / "spice" / "subcircuits.cir",
    CASES / "csv" / "parts_list.csv",
    ROOT / "samples" / "bench" / "battery-corner.sheet",
    ROOT / "samples" / "wren" / "wren-bom.csv",
]


def survive(path: Path, content: bytes, format_name: str | None = None) -> None:
    path.write_bytes(content)
    start = time.perf_counter()
    try:
        board = read_file(path, format_name=format_name)
    except BadInput as error:
        assert error.place is not None
        assert error.place.path
        assert str(error)
    else:
        assert {pin.net for part in board.parts for pin in part.pins} - {None} <= set(
            board.net_by_name
        )
    assert time.perf_counter() - start < MOST_SECONDS


def test_every_format_has_a_head_here() -> None:
    assert set(HEADS) == {entry.name for entry in FORMATS}


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("hostile") / "file"


@given(content=st.binary(max_size=200))
def test_arbitrary_bytes(path: Path, content: bytes) -> None:
    survive(path, content)


@pytest.mark.parametrize("name", HEADS)
@settings(max_examples=30)
@given(
    content=st.one_of(
        st.binary(max_size=120),
        st.text("()\"' \n\t,;:=.*+-{}[]<>/&|abRCLVXnet019", max_size=160).map(str.encode),
    )
)
def test_arbitrary_content_behind_a_formats_head(path: Path, name: str, content: bytes) -> None:
    survive(path, HEADS[name] + content)
    survive(path, content, name)


@pytest.mark.parametrize("sound", SOUND, ids=lambda sound: sound.name)
def test_damaged_files(path: Path, sound: Path) -> None:
    """Cut, doubled, swapped and changed pieces of a sound file, always the same ones."""
    raw = sound.read_bytes()
    chance = random.Random(sound.name)
    for _ in range(25):
        data = bytearray(raw)
        for _ in range(chance.randint(1, 4)):
            a, b = sorted(chance.sample(range(len(raw) + 1), 2))
            b = min(b, a + chance.choice((1, 3, 40, 400)))
            piece = data[a:b]
            match chance.randint(0, 3):
                case 0:
                    del data[a:b]
                case 1:
                    data[a:a] = piece
                case 2:
                    data[a:b] = bytes(chance.randrange(256) for _ in piece)
                case _:
                    data[a:b] = piece[::-1]
        survive(path, bytes(data))


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("kicad_pcb", b"(" * 200_000),
        ("kicad_net", b"(net " * 100_000),
        ("edif", b"(a " * 200_000),
        ("edif", b'"' + b"%" * 300_000),
        ("ipc-2581", b"<Step>" * 50_000),
        ("json", b'"board": ' + b"[" * 200_000),
        ("json", b'"board": ' + b'{"a":' * 100_000),
        ("ipc-d-356", b"C\n" * 200_000),
        ("ipc-d-356", b"3" * 500_000),
        ("sheet", b"R1 " + b"a" * 300_000),
        ("sheet", b"R1 1k: " + b"A " * 50_000),
        ("sheet", b'"' * 100_000),
        ("sheet", b"#" * 300_000),
        ("spice", b"+ " * 200_000),
        ("spice", b"R2 a b '" + b"(" * 100_000),
        ("spice", b"R2 a b {" + b"-" * 100_000 + b"}\n"),
        ("csv", b"," * 500_000),
        ("csv", b'"' + b"R1," * 100_000),
        ("csv", b"R1-R999999999,1k\n"),
    ],
    ids=lambda value: value if isinstance(value, str) else repr(value[:12]),
)
def test_deep_and_long_content_is_bounded(path: Path, name: str, content: bytes) -> None:
    survive(path, HEADS[name] + content)
