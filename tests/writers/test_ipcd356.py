"""IPC-D-356A writer: columns by slicing, gerbonara reading it back, round trips."""

from __future__ import annotations

import warnings
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.errors import WrongUsage
from nettrace.model.board import Board, Pad, Side, Via
from nettrace.model.builder import BoardBuilder
from nettrace.readers.document import Document
from nettrace.readers.ipcd356 import read
from nettrace.readers.registry import read_file
from nettrace.writers.ipcd356 import write

REAL = (
    "minnowmax/MinnowMax_RevA1_IPC356A.ipc",
    "ipcd356-small/ipc-d-356.ipc",
    "sensor-watch-b1/OSO-SWAT-B1.d356",
    "reform2-trackball/reform2-trackball-2581C-mm.xml",
)


def small() -> BoardBuilder:
    builder = BoardBuilder("made", "test")
    builder.name = "CARD"
    return builder


def test_columns_stand_where_the_standard_puts_them() -> None:
    # columns: reference values, section 10.1, verified by slicing four independent tools' files
    builder = small()
    builder.layers = ("A", "B", "C", "D")
    part = builder.part("R41")
    part.pad("2", "SDA_3V3", 12.7, -3.81, Side.BOTTOM, shape="rect", width=0.5, height=0.45,
             angle=90.0)  # fmt: skip
    part.pad("A4", "VBUS", 0.0, 2.54, Side.BOTH, shape="circle", width=0.6, drill=0.3)
    builder.vias.append(Via(1.0, 2.0, "VBUS", 0.4, 0.2))
    surface, plated, via = (
        line for line in write(builder.build()).splitlines() if line.startswith("3")
    )
    assert [surface[:3], surface[3:17], surface[17:20]] == ["327", "SDA_3V3       ", "   "]
    assert [surface[20:26], surface[26], surface[27:31], surface[31]] == [
        "R41   ",
        "-",
        "2   ",
        " ",
    ]
    assert [surface[32:38], surface[38:41]] == ["      ", "A04"]
    assert [surface[41:49], surface[49:57]] == ["X+012700", "Y-003810"]
    assert [surface[57:62], surface[62:67], surface[67:71]] == ["X0500", "Y0450", "R090"]
    assert [plated[:3], plated[27:31], plated[32:38], plated[38:41]] == [
        "317", "A4  ", "D0300P", "A00",
    ]  # fmt: skip
    assert [plated[57:62], plated[62:67]] == ["X0600", "Y0000"]
    assert [via[:3], via[20:26], via[31], via[32:38]] == ["317", "VIA   ", "M", "D0200P"]


def test_what_does_not_fit_is_cut_kept_apart_and_said() -> None:
    builder = small()
    for refdes in ("MICRO_SD1", "MICRO_SD2", "MICRO_", "VIA"):
        draft = builder.part(refdes)
        draft.pad("USB_ID", "A_NET_OF_MORE_THAN_14", 1.0, 2.0, Side.TOP)
        draft.pad("USB_N", "NNAME1", 2.0, 2.0, Side.TOP)
    text = write(builder.build())
    board = read(Document("w", text))
    assert {part.refdes for part in board.parts} == {"MICRO2", "MICRO3", "MICRO_", "VIA2"}
    for part in board.parts:
        assert {pin.number: pin.net for pin in part.pins} == {
            "USB_": "A_NET_OF_MORE_THAN_14",
            "USB2": "NNAME1",
        }
    remarks = [line for line in text.splitlines() if line.startswith("C  ")]
    assert "C  reference MICRO_SD2 is written MICRO3" in remarks
    assert "C  pin of MICRO_SD1: USB_N is written USB2" in remarks


def test_unit_is_the_finer_one_that_fits() -> None:
    for x, width, unit in ((999.0, 1.0, "CUST 1"), (1200.0, 1.0, "CUST 0"), (1.0, 20.0, "CUST 0")):
        builder = small()
        builder.part("J1").pad("1", "A", x, 0.0, Side.TOP, shape="rect", width=width, height=1.0)
        text = write(builder.build())
        assert f"P  UNITS {unit}\n" in text
        (pad,) = read(Document("w", text)).pads()
        assert pad.x == pytest.approx(x, abs=0.002)
        assert pad.width == pytest.approx(width, abs=0.002)


def test_board_without_places_or_beyond_the_columns_is_refused() -> None:
    builder = small()
    builder.part("J1").pin("1", "A")
    with pytest.raises(WrongUsage, match="no places"):
        write(builder.build())
    builder.part("J2").pad("1", "A", 3000.0, 0.0, Side.TOP)
    with pytest.raises(WrongUsage, match="3000 mm from the origin"):
        write(builder.build())


def test_sizes_and_pins_that_are_lost_are_said() -> None:
    builder = small()
    part = builder.part("J1")
    part.pad("1", "A", 0.0, 0.0, Side.TOP, shape="rect", width=30.0, height=1.0)
    part.pin("2", "A")
    text = write(builder.build())
    assert "C  1 sizes are larger than this format can say" in text
    assert "C  1 pins have no place and are left out" in text


def carried(board: Board, digits: int) -> tuple[object, dict[str, frozenset[tuple[str, str]]]]:
    """Return all that the format can carry, in no order."""

    def size(value: float | None) -> float:
        return round(value or 0.0, digits)

    pads = Counter(
        (
            board.part_by_key[pad.part].refdes, pad.number, pad.net, size(pad.x), size(pad.y),
            pad.side, size(pad.width), size(pad.height if pad.width else 0.0),
            round(pad.angle) % 360, size(pad.drill), pad.plated,
        )
        for pad in board.pads()
    )  # fmt: skip
    vias = Counter(
        (size(via.x), size(via.y), via.net, size(via.diameter), size(via.drill))
        for via in board.vias
    )
    outline = [[(size(x), size(y)) for x, y in path] for path in board.outline]
    # a net of vias or loose pads alone has no pin: it is declared on reading, not before
    nets = {
        net.name: frozenset((pin.part, pin.number) for pin in net.pins)
        for net in board.nets
        if net.pins
    }
    return (board.name, pads, vias, outline), nets


_COUNTS = st.integers(-99_999, 99_999).map(lambda count: count / 1000)
_SIZES = st.integers(1, 9_999).map(lambda count: count / 1000)
_NETS = st.one_of(
    st.none(),
    st.sampled_from(["GND", "VBUS", "N$3", "/USB_D+", "NNAME7", "a name of more than 14 columns"]),
    st.text("ABC/+-_ ~()é", min_size=1, max_size=40).map(str.strip).filter(
        lambda name: name not in {"", "N/C"}
    ),
)  # fmt: skip


@st.composite
def boards_that_fit(draw: st.DrawFn) -> Board:
    builder = BoardBuilder("made", "test")
    builder.name = draw(st.sampled_from(["", "CARD", "hand-held recorder"]))
    refdes = draw(st.lists(st.sampled_from(["R1", "U$2", "5V", "J10", "C"]), unique=True))
    for name in [*refdes, "Q1"]:
        part = builder.part(name)
        numbers = draw(
            st.lists(st.sampled_from(["1", "A4", "+", "", "69"]), min_size=1, max_size=4)
        )
        for number in numbers:
            width = draw(st.none() | _SIZES)
            side = draw(st.sampled_from(list(Side)))
            drill = draw(st.none() | _SIZES)
            part.pad(
                number,
                draw(_NETS) if number else None,
                draw(_COUNTS),
                draw(_COUNTS),
                side,
                shape="rect" if width else None,
                width=width,
                height=draw(_SIZES) if width else None,
                angle=float(draw(st.integers(0, 359))),
                drill=drill,
            )
    for _ in range(draw(st.integers(0, 3))):
        builder.vias.append(
            Via(draw(_COUNTS), draw(_COUNTS), draw(_NETS), draw(st.none() | _SIZES), None)
        )
    paths = st.lists(st.tuples(_COUNTS, _COUNTS), min_size=2, max_size=12).map(tuple)
    builder.outline = draw(st.lists(paths, max_size=2))
    return builder.build()


@given(boards_that_fit())
def test_write_then_read_gives_all_that_the_format_carries(board: Board) -> None:
    text = write(board)
    assert all(len(line) <= 80 for line in text.splitlines())
    assert carried(read(Document("w", text)), 4) == carried(board, 4)


@pytest.mark.parametrize("name", REAL)
def test_real_board_comes_back_from_its_own_writing(boards: Path, name: str) -> None:
    board = read_file(boards / name)
    once = read(Document("w", write(board)))
    assert once.counts().nets == board.counts().nets
    assert once.counts().pads == board.counts().pads
    assert len(once.vias) == len(board.vias)
    # what was written once is in the grid of the format: writing again changes nothing
    again = read(Document("w", write(once)))
    assert carried(again, 4) == carried(once, 4)


@pytest.mark.parametrize("name", REAL)
def test_gerbonara_reads_what_is_written(boards: Path, name: str) -> None:
    from gerbonara.ipc356 import Netlist

    board = read_file(boards / name)
    text = write(board)
    per_mm, unit = (10_000 / 25.4, 25.4) if "P  UNITS CUST 0" in text else (1000.0, 1.0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        peer = Netlist.from_string(text, "w.ipc")
    theirs = Counter(
        (round(r.x * unit * per_mm), round(r.y * unit * per_mm), r.net_name or "")
        for r in peer.test_records
    )
    spots: list[Pad | Via] = [*board.pads(), *board.vias]
    ours = Counter(
        (round(spot.x * per_mm), round(spot.y * per_mm), spot.net or "") for spot in spots
    )
    assert ours == theirs
