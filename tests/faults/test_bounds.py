"""Small or plain files that would cost a careless reader all its time, memory or stack."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from nettrace.errors import BadInput
from nettrace.readers.document import Document
from nettrace.readers.registry import read_text

MOST_SECONDS = 10.0
LONG = 2_000_000
_XML = '<?xml version="1.0"?>\n%s<IPC-2581 revision="C" xmlns="http://webstds.ipc.org/2581">%s'
_ENTITIES = (
    "<!DOCTYPE x [<!ENTITY a0 'aaaaaaaaaa'>"
    + "".join(f"<!ENTITY a{n} '{f'&a{n - 1};' * 10}'>" for n in range(1, 12))
    + "]>"
)

#: What it is, the format, the text.
HOSTILE = (
    ("brackets within brackets", "kicad_pcb", "(kicad_pcb (version 4) " + "(a " * 300_000),
    ("brackets within brackets", "kicad_net", '(export (version "E") ' + "(a " * 300_000),
    ("brackets within brackets", "edif", "(edif x (edifVersion 2 0 0) " + "(a " * 300_000),
    ("brackets within brackets", "json", '{"nettrace": ' + "[" * 300_000),
    ("elements within elements", "ipc-2581", _XML % ("", "<a>" * 300_000)),
    ("entities that grow tenfold", "ipc-2581", _XML % (_ENTITIES, "&a11;</IPC-2581>")),
    ("an entity from outside", "ipc-2581",
     _XML % ("<!DOCTYPE x [<!ENTITY e SYSTEM 'file:///etc/passwd'>]>", "&e;</IPC-2581>")),
    ("one long word", "kicad_pcb", "(kicad_pcb (version 4) (" + "a" * LONG),
    ("one long string", "kicad_net", '(export (version "E") (design (source "' + "\\" * LONG),
    ("one long name", "edif", "(edif x (edifVersion 2 0 0) (rename a " + "b" * LONG),
    ("one long line", "ipc-d-356", "P  UNITS CUST 0\n327" + "N" * LONG + "\n999\n"),
    ("remarks without end", "ipc-d-356", "C\n" * (LONG // 8)),
    ("one long line", "spice", "* t\nR1 a b " + "9" * LONG + "\n.end\n"),
    ("one long expression", "spice", "* t\nR1 a b {" + "1+" * 200_000 + "1}\n.end\n"),
    ("brackets in an expression", "spice", "* t\nR1 a b {" + "(" * 100_000 + "\n.end\n"),
    ("subcircuits that double", "spice",
     "* t\n.subckt s0 a b\nR1 a b 1\n.ends\n" + "".join(
         f".subckt s{n} a b\nX1 a b s{n - 1}\nX2 a b s{n - 1}\n.ends\n" for n in range(1, 40)
     ) + "X1 a b s39\n.end\n"),
    ("a subcircuit of itself", "spice", "* t\n.subckt s a b\nX1 a b s\n.ends\nX1 a b s\n.end\n"),
    ("continued lines without end", "spice", "* t\nR1 a b 1\n" + "+ x\n" * 300_000),
    ("a range of a thousand million", "csv", "Ref,Value\nR1-R999999999,1k\n"),
    ("ranges upon ranges", "csv", "Ref,Value\n" + "R1-R5000 " * 20_000 + ",1k\n"),
    ("an open quote", "csv", 'Ref,Value\nR1,"' + "x,\n" * 300_000),
    ("one long line", "sheet", "sheet\nR1 1k: " + "a " * 20_000),
)  # fmt: skip


@pytest.mark.parametrize(
    ("what", "name", "text"), HOSTILE, ids=[f"{name}-{what}" for what, name, _ in HOSTILE]
)
def test_a_hostile_text_costs_little(what: str, name: str, text: str) -> None:
    hierarchy = "flatten" if name == "spice" else None
    began = time.process_time()
    try:
        board = read_text(Document("hostile", text, hierarchy=hierarchy), name)
    except BadInput as error:
        assert len(str(error)) < 2000
    else:
        assert len(board.parts) <= 1_000_000
        assert "root:" not in repr(board.parts[:5])  # nothing came from outside
    assert time.process_time() - began < MOST_SECONDS, what


def test_decks_that_draw_in_each_other(tmp_path: Path) -> None:
    for number in range(5):
        (tmp_path / f"{number}.inc").write_text(
            "".join(f".include {other}.inc\n" for other in range(5)) + f"R{number} a b 1\n"
        )
    deck = Document("deck.cir", "* t\n.include 0.inc\n.end\n", folder=tmp_path)
    began = time.process_time()
    try:
        board = read_text(deck, "spice")
    except BadInput as error:
        assert "include" in str(error)
    else:
        assert {part.refdes for part in board.parts} == {f"R{number}" for number in range(5)}
    assert time.process_time() - began < MOST_SECONDS
