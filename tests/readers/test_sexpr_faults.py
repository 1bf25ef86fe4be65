"""Texts at fault: the exact message, or what is read all the same and the warning that says so."""

from __future__ import annotations

from pathlib import Path

import pytest

from nettrace.errors import BadInput
from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.registry import decode_text, read_text
from nettrace.readers.sexpr import Tree

CASES = Path(__file__).parent / "cases"
OLD = (CASES / "kicad_pcb" / "two_parts_v4.kicad_pcb").read_text(encoding="utf-8")
NEW = (CASES / "kicad_pcb" / "two_parts_2024.kicad_pcb").read_text(encoding="utf-8")
NET = (CASES / "kicad_net" / "divider_d.net").read_text(encoding="utf-8")


def changed(text: str, old: str, new: str) -> str:
    assert text.count(old) >= 1, old
    return text.replace(old, new, 1)


def board_of(text: str) -> Board:
    return read_text(Document("x", text))


def fault_of(text: str) -> str:
    with pytest.raises(BadInput) as caught:
        board_of(text)
    assert caught.value.place is not None
    assert caught.value.place.line >= 1
    return str(caught.value)


FAULTS = {
    "cut off in a pad": (
        OLD[: OLD.index("(size 0.5 0.6)")].rstrip(),
        "error: x:38:5: '(pad' that is never closed where ')' was expected. "
        "The file is cut off, or parentheses are missing at its end (this form, 3 open in all).\n"
        "  38 |     (pad 1 smd rect (at -0.5 0 90)\n"
        "     |     ^^^^",
    ),
    "cut off in a string": (
        OLD[: OLD.index("esistor, small")],
        "error: x:23:12: a string that does not end where a closing quotation mark was expected. "
        "The file is cut off here, or a quotation mark is missing.\n"
        '  23 |     (descr "R\n'
        "     |            ^",
    ),
    "a closing parenthesis lost": (
        changed(OLD, "(net 1) (net_name GND) (layer Mid)", "(net 1) (net_name GND) (layer Mid"),
        "error: x:76:3: '(zone' that does not end where its indentation says where ')' was "
        "expected. A closing parenthesis is missing in this form.\n"
        "  76 |   (zone (net 1) (net_name GND) (layer Mid …\n"
        "     |   ^^^^^",
    ),
    "a closing parenthesis lost in a part": (
        changed(OLD, "(net 1 GND))\n    (pad 2 smd", "(net 1 GND)\n    (pad 2 smd"),
        "error: x:38:5: '(pad' that does not end where its indentation says where ')' was "
        "expected. A closing parenthesis is missing in this form.\n"
        "  38 |     (pad 1 smd rect (at -0.5 0 90) (size 0.5…\n"
        "     |     ^^^^",
    ),
    "a closing parenthesis too many": (
        changed(OLD, "(net 1 GND))\n    (pad 2 smd", "(net 1 GND)))\n    (pad 2 smd"),
        "error: x:48:3: ')' that ends '(kicad_pcb' where the end of a form further in was "
        "expected. The indentation says that a parenthesis above is one too many.\n"
        "  48 |   )\n"
        "     |   ^",
    ),
    "a quotation mark lost": (
        changed(OLD, '(descr "Resistor', "(descr Resistor"),
        "error: x:23:27: a quotation mark inside a word where a blank or ')' was expected. "
        "A quotation mark is missing or too many on this line or above.\n"
        '  23 |     (descr Resistor, small")\n'
        "     |                           ^",
    ),
    "a word right behind a string": (
        changed(OLD, '"Resistor, small"', '"Resistor, small"x'),
        "error: x:23:28: a quotation mark inside a word where a blank or ')' was expected. "
        "A quotation mark is missing or too many on this line or above.\n"
        '  23 |     (descr "Resistor, small"x)\n'
        "     |                            ^",
    ),
    "a number that is none": (
        changed(OLD, "(at -0.5 0 90)", "(at -0.5 O 90)"),
        "error: x:38:30: 'O' where a number (Y) was expected.\n"
        "  38 |     (pad 1 smd rect (at -0.5 O 90) (size 0.5 0.6) (layers Top F.Paste…\n"
        "     |                              ^",
    ),
    "a number that is not finite": (
        changed(OLD, "(at 10 20 90)", "(at nan 20 90)"),
        "error: x:22:9: 'nan' where a number (X) was expected.\n"
        "  22 |     (at nan 20 90)\n"
        "     |         ^^^",
    ),
    "a number out of this world": (
        changed(OLD, "(at 10 20 90)", "(at 1e300 20 90)"),
        "error: x:22:9: '1e300' where a number (X) was expected.\n"
        "  22 |     (at 1e300 20 90)\n"
        "     |         ^^^^^",
    ),
    "a place with one number": (
        changed(OLD, "(via (at 5 6)", "(via (at 5)"),
        "error: x:72:8: '(at' without Y where '(at ... Y ...)' was expected.\n"
        "  72 |   (via (at 5) (size 0.6) (drill 0.3) (layers To…\n"
        "     |        ^",
    ),
    "a part with no position": (
        changed(OLD, "    (at 10 20 90)\n", ""),
        "error: x:21:3: '(module' without '(at ...)' where '(at X Y)' in it was expected.\n"
        "  21 |   (module Lib:R0402 (layer Top) (tedit 5) …\n"
        "     |   ^^^^^^^",
    ),
    "a pad of no kind": (
        changed(OLD, "(pad 1 smd rect", "(pad 1 smb rect"),
        "error: x:38:12: 'smb' where a kind (connect, np_thru_hole, smd, thru_hole) was expected.\n"
        "  38 |     (pad 1 smb rect (at -0.5 0 90) (size 0.5 0.6) (…\n"
        "     |            ^^^",
    ),
    "a layer table out of order": (
        changed(OLD, "(0 Top signal)", "(Top signal)"),
        "error: x:9:5: '(Top' in the layer table where a number, a name and a kind was expected.\n"
        "   9 |     (Top signal)\n"
        "     |     ^",
    ),
    "text behind the end": (
        OLD + "(more)\n",
        "error: x:92:1: text after the end of '(kicad_pcb' where the end of the file was expected. "
        "A parenthesis is missing or too many above.\n"
        "  92 | (more)\n"
        "     | ^",
    ),
    "a node without its pin": (
        changed(NET, "(node (ref U1) (pin 4))", "(node (ref U1) (pn 4))"),
        "error: x:62:7: '(node' without '(pin ...)' where '(pin ...)' in it was expected.\n"
        "  62 |       (node (ref U1) (pn 4)))\n"
        "     |       ^^^^^",
    ),
    "a netlist cut off": (
        NET[: NET.index("(node (ref U1)")].rstrip(),
        "error: x:60:5: '(net' that is never closed where ')' was expected. "
        "The file is cut off, or parentheses are missing at its end (this form, 3 open in all).\n"
        "  60 |     (net (code 1) (name GND)\n"
        "     |     ^^^^",
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_named_with_line_and_column(name: str) -> None:
    text, message = FAULTS[name]
    assert fault_of(text) == message


WARNINGS = {
    "an unknown form in a pad": (
        changed(OLD, "(die_length", "(die_lenght"),
        ["warning: unknown-form: '(die_lenght' in '(pad' was passed over (x:41:32)"],
    ),
    "an unknown form in a part": (
        changed(OLD, "(tags ", "(tagz "),
        ["warning: unknown-form: '(tagz' in '(module' was passed over (x:24:5)"],
    ),
    "an unknown form at the top": (
        changed(OLD, "(segment (start 10 20.5)", "(segmint (start 10 20.5)"),
        ["warning: unknown-form: '(segmint' in '(kicad_pcb' was passed over (x:71:3)"],
    ),
    "a second place in a pad": (
        changed(OLD, "(at 1 2) (size 2 3)", "(at 1 2) (at 9 9) (size 2 3)"),
        ["warning: repeated-form: a second '(at' in '(pad'; the first counts (x:58:36)"],
    ),
    "a net's number and name that disagree": (
        changed(OLD, "(net 1 GND))\n    (pad 2 smd", "(net 2 GND))\n    (pad 2 smd"),
        [
            "warning: net-in-doubt: pad 1: net 'GND' has number 2, which is '/A{slash}B (x)'; "
            "kept 'GND' (x:39:7)"
        ],
    ),
    "a net number that is in no table": (
        changed(OLD, "(layers Top Under) (net 1))", "(layers Top Under) (net 7))"),
        [
            "warning: net-in-doubt: a via: net number 7 is not in the table of nets (x:72:59)",
        ],
    ),
    "a part that says no reference": (
        changed(NEW, '(property "Reference" "U1"', '(property "Refrence" "U1"'),
        ["warning: no-reference: footprint 'Lib:IC' says no reference (x:19:2)"],
    ),
    "a word where forms stand": (
        changed(OLD, "    (attr smd)\n", "    (attr smd) smd\n"),
        ["warning: unexpected-word: 'smd' in '(module' was passed over (x:26:16)"],
    ),
}


@pytest.mark.parametrize("name", WARNINGS)
def test_what_is_read_with_care_is_said(name: str) -> None:
    text, warnings = WARNINGS[name]
    board = board_of(text)
    assert [str(warning) for warning in board.warnings] == warnings
    assert board.parts


def test_no_sound_file_is_thought_misindented(boards: Path) -> None:
    """The indentation is asked only where parentheses do not balance; there it must not lie."""
    paths = [p for p in boards.glob("*/*.*") if p.suffix in {".kicad_pcb", ".net"}]
    paths = [p for p in paths if p.parent.name != "spice"]
    assert len(paths) >= 14
    for path in paths:
        document = Document(path.name, path.read_text(encoding="utf-8"))
        assert Tree(document).misindented() is None, path.name


def test_on_one_line_a_form_that_cannot_stand_there_shows_the_lost_parenthesis() -> None:
    line = " ".join(changed(OLD, "(net 1 GND))\n    (pad 2", "(net 1 GND)\n    (pad 2").split("\n"))
    assert "'(module' inside another form" in fault_of(line)
    line = " ".join(
        changed(OLD, "(net 1 GND))\n    (pad 2", "(net 1 GND)))\n    (pad 2").split("\n")
    )
    assert "'(module' outside" in fault_of(line)


def test_a_lost_opening_parenthesis_is_put_back_with_a_warning() -> None:
    """QUIRKS.md: a board shipped with 349 lines `(curved_edges no)filter_ratio 0.9)`."""
    teardrops = (
        "(teardrops (best_length_ratio 0.5) (curved_edges no)filter_ratio 0.9) (enabled yes))"
    )
    text = changed(OLD, "(die_length -2147.483648)", teardrops)
    board = board_of(text)
    assert [str(warning) for warning in board.warnings] == [
        "warning: missing-parenthesis: 'filter_ratio' stands right behind ')': "
        "read as '(filter_ratio' (x:41:84)"
    ]
    sound = board_of(OLD)
    assert (board.parts[1].pins, board.nets) == (sound.parts[1].pins, sound.nets)


def test_many_lost_parentheses_are_counted_not_listed() -> None:
    pad = "(pad 9 smd rect (at 0 0) (size 1 1) (layers Top) (teardrops (a no)filter_ratio 0.9)))\n"
    text = changed(OLD, "    (pad 1 smd rect", pad * 30 + "    (pad 1 smd rect")
    board = board_of(text)
    codes = [warning.code for warning in board.warnings]
    assert codes.count("missing-parenthesis") == 21
    assert board.warnings[-1].message == "30 in all; the first 20 are named above"


def test_a_flood_of_stray_words_takes_no_long_time() -> None:
    board = board_of(changed(OLD, "  (net 0", "  word" * 100_000 + "\n  (net 0"))
    assert len(board.parts) == 2
    assert [w.message for w in board.warnings][-1] == "100000 in all; the first 20 are named above"


def test_a_text_box_of_a_footprint_is_no_outline() -> None:
    box = '(fp_text_box "x" (start 0 0) (end 9 9) (layer "F.CrtYd"))'
    for text in (OLD, changed(OLD, "(attr smd)", "(attr  smd) \n(fp_text user x)")):
        board = board_of(changed(text, "    (fp_line", f"    {box}\n    (fp_line"))
        assert board.part_by_key["R1"].outline == board_of(OLD).part_by_key["R1"].outline


def test_nets_without_numbers_are_read() -> None:
    """Newer writers name nets only, and keep no table of them."""
    text = "\n".join(line for line in OLD.split("\n") if not line.startswith("  (net "))
    text = text.replace("(net 1 GND)", "(net GND)").replace("(net 2 ", "(net ")
    text = text.replace("(net 1) (net_name GND)", "(net GND)").replace("(net 1))", "(net GND))")
    text = text.replace("(net 0))", '(net ""))')
    board = board_of(text)
    assert {net.name: len(net.pins) for net in board.nets} == {"/A/B (x)": 1, "GND": 2}
    assert [via.net for via in board.vias] == ["GND", None]
    assert board.zones == board_of(OLD).zones


def test_a_pin_of_a_board_file_on_two_nets_is_reported() -> None:
    text = changed(OLD, "(pad 2 smd rect (at 0.5 0 90)", "(pad 1 smd rect (at 0.5 0 90)")
    board = board_of(text)
    assert [warning.code for warning in board.warnings] == ["pin-on-two-nets"]
    assert board.conflicts[0].subject == "R1.1"


def test_a_hundred_thousand_parentheses_are_read_or_refused_without_a_crash() -> None:
    deep = "(" * 100_000 + ")" * 100_000
    board = board_of(
        changed(
            OLD, "(tags chip)" if "(tags chip)" in OLD else '(tags "chip")', f"(model x {deep})"
        )
    )
    assert len(board.parts) == 2
    message = fault_of("(kicad_pcb " + "(" * 100_000)
    assert "never closed" in message
    assert "100001 open in all" in message


def test_one_very_long_line_is_read_and_its_faults_named_by_column() -> None:
    one_line = " ".join(OLD.split("\n"))
    assert len(board_of(one_line * 1).parts) == 2
    padded = one_line.replace("(at 10 20 90)", "(at 10 20 90)" + " " * 1_000_000)
    assert len(board_of(padded).parts) == 2
    message = fault_of(padded.replace("(via (at 5 6)", "(via (at 5 x)"))
    first, line, marker = message.splitlines()
    assert first.startswith("error: x:1:100")
    assert len(line) < 120
    assert len(marker) < 120


@pytest.mark.parametrize("name", ["x.kicad_pcb", "x.net"])
def test_an_empty_or_binary_file_is_refused_before_any_reader(name: str) -> None:
    for raw in (b"", b" \n", b"(kicad_pcb \0\0\0"):
        with pytest.raises(BadInput):
            decode_text(raw, name)


def test_a_file_of_another_code_page_is_read() -> None:
    text = OLD.replace("Two parts", "Zwei Würfel")
    board = board_of(decode_text(text.encode("cp1252"), "x"))
    assert board.name == "Zwei Würfel"


def test_windows_line_ends_make_no_difference() -> None:
    board, same = board_of(OLD), board_of(OLD.replace("\n", "\r\n"))
    assert same.parts == board.parts
    assert same.nets == board.nets


def test_blank_and_repeated_references_stay_apart() -> None:
    text = OLD.replace("reference R1 ", 'reference "" ').replace("reference J1 ", 'reference "" ')
    board = board_of(text)
    assert [part.refdes for part in board.parts] == ["", ""]
    assert len({part.key for part in board.parts}) == 2
    assert all(part.pins == () for part in board.parts)
    assert sum(1 for _ in board.pads()) == 5
    text = OLD.replace("reference J1 ", "reference R1 ")
    board = board_of(text)
    assert sorted(part.key for part in board.parts) == ["R1", "R1~2"]
    assert board.sources[0].pins == 2  # R1.1 and R1.2: repeated references merge in the count
