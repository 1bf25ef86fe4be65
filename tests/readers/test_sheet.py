"""The typed sheet: quick to type, forgiving in order and spacing, exact in its errors."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.errors import BadInput, NettraceError
from nettrace.model.board import Board, Side
from nettrace.readers.document import Document
from nettrace.readers.registry import detect_format, read_text
from nettrace.readers.sheet import read

SHEET = """\
# typed off the drawing
sheet Wren, battery corner
rail +1V8 1V8
ground GND, AGND
R41 2k2 1% 0201: GAUGE_SDA +1V8   # pulls the line up
U7 "fuel gauge": 3(SDA)=GAUGE_SDA, 4(SCL)=GAUGE_SCL,
   5=GND 6=-
C1 100n 0402 16V X5R at 12.5,30.2 bottom 90: +1V8 GND
not fitted R99, R98
net GAUGE_SDA also SDA1
note R41 looks scorched
"""


def sheet(text: str) -> Board:
    return read(Document("b.sheet", text))


def test_every_kind_of_line_is_read() -> None:
    board = sheet(SHEET)
    assert board.name == "Wren, battery corner"
    resistor, gauge, capacitor = (board.part_by_key[key] for key in ("R41", "U7", "C1"))
    assert (resistor.value, resistor.package) == ("2k2 1%", "0201")
    assert resistor.properties["note"] == "looks scorched"
    assert gauge.description == "fuel gauge"
    assert [(pin.number, pin.name, pin.net) for pin in gauge.pins] == [
        ("3", "SDA", "GAUGE_SDA"),
        ("4", "SCL", "GAUGE_SCL"),
        ("5", None, "GND"),
        ("6", None, None),
    ]
    assert (capacitor.x, capacitor.y, capacitor.angle) == (12.5, 30.2, 90.0)
    assert capacitor.side is Side.BOTTOM
    assert board.part_by_key["R99"].fitted is False
    assert board.net_by_name["+1V8"].volts == 1.8
    assert board.net_by_name["AGND"].volts == 0
    assert board.net_by_name["GAUGE_SDA"].aliases == ("SDA1",)


def test_a_part_may_be_told_in_several_lines_in_any_order() -> None:
    one = sheet("sheet\nR1 2k2: A B\nR1 at 1,2\nR2: A C\n")
    other = sheet("sheet\n  R2:A,C\n\nR1 at 1 , 2\nR1 2k2:A B")
    assert [(p.key, p.value, p.x, p.nets) for p in one.parts] == [
        (p.key, p.value, p.x, p.nets) for p in other.parts
    ]


def test_a_sheet_is_recognised_by_its_first_word() -> None:
    entry = detect_format(SHEET)
    assert entry is not None
    assert entry.name == "sheet"


BAD = {
    "sheet\nR1: 1==A": (
        "error: b.sheet:2:7: '=' where a net name was expected. "
        "Pins are written PIN=NET, for example 3=GND."
    ),
    "sheet\nR1 2k2: A B\nR1: 1=C": (
        "error: b.sheet:3:7: R1.1 on C, and on A in line 2. "
        "A pin is on one net; correct one of the two lines."
    ),
    "sheet\nrail +1V8 abc": "error: b.sheet:2:11: 'abc' for volts. Write 1.8, 1.8V or 1V8.",
    "sheet\nR1 at x,2: A B": (
        "error: b.sheet:2:7: 'x' for a place. Places are millimetres: at 12.5,30.2."
    ),
    'sheet\nU1 "gauge: 1=A': (
        "error: b.sheet:2:4: '\"gauge:' where the end of the quoted name was expected. "
        'Close it with ".'
    ),
    "sheet\nR1 2k2\nR1 4k7": (
        "error: b.sheet:3:1: R1 is 4k7 here and 2k2 above. Keep one of the two values."
    ),
    "sheet\n=": "error: b.sheet:2:1: '=' where a net name was expected. "
    "Pins are written PIN=NET, for example 3=GND.",
}


@pytest.mark.parametrize("text", BAD)
def test_mistakes_are_named_with_line_and_column(text: str) -> None:
    with pytest.raises(BadInput) as caught:
        sheet(text)
    assert str(caught.value).splitlines()[0] == BAD[text]
    assert "^" in str(caught.value)


@given(st.text(alphabet='sheet R1:="#,\\\n\t-AG2k@at()', max_size=60))
def test_any_text_gives_a_board_or_our_error(text: str) -> None:
    try:
        read_text(Document("b.sheet", "sheet\n" + text), "sheet")
    except NettraceError as error:
        assert str(error).startswith("error: b.sheet:")
