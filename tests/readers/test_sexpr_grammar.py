"""The grammars of s-expression files and their readers come to the same verdict on small texts.

`grammars/sexpr_board.lark` and `sexpr_netlist.lark` are what people read; the readers use no
grammar. A text that the grammar refuses is one that the reader refuses or warns about.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from lark import Lark
from lark.exceptions import UnexpectedInput

from nettrace.errors import BadInput
from nettrace.readers.document import Document
from nettrace.readers.grammar import load_grammar
from nettrace.readers.registry import read_text
from tests.readers.sexpr_damage import damaged

CASES = Path(__file__).parent / "cases"
GRAMMARS = {"kicad_pcb": "sexpr_board", "kicad_net": "sexpr_netlist"}
#: What a grammar of free order does not say.
OF_MEANING = {
    "repeated-form", "net-in-doubt", "net-number-repeated", "no-reference", "pin-on-two-nets",
    "refdes-repeated", "net-repeated", "part-not-listed",
}  # fmt: skip


def grammar_of(format_name: str) -> Lark:
    return load_grammar(GRAMMARS[format_name])


def fits(grammar: Lark, text: str) -> bool:
    try:
        grammar.parse(text)
    except UnexpectedInput:
        return False
    return True


def reads(format_name: str, text: str) -> tuple[bool | None, str]:
    """Return whether the reader takes every form and word as known, and else what it says.

    None: of a kind that a grammar does not say, such as a form that is missing.
    """
    try:
        board = read_text(Document("x", text), format_name)
    except BadInput as error:
        if re.search(r"\((?:fp|gr)_", str(error)):
            return None, ""  # a shape is looked into on some layers alone
        return None if "' without '(" in str(error) else False, str(error)
    odd = [str(w) for w in board.warnings if w.code not in OF_MEANING]
    return not odd, "; ".join(odd)


def case_files(format_name: str) -> list[Path]:
    found = [path for path in (CASES / format_name).iterdir() if path.suffix != ".md"]
    assert len(found) >= 2
    return sorted(found)


@pytest.mark.parametrize("format_name", GRAMMARS)
def test_our_cases_fit_the_grammar(format_name: str) -> None:
    for path in case_files(format_name):
        assert fits(grammar_of(format_name), path.read_text(encoding="utf-8")), path.name


@pytest.mark.parametrize("format_name", GRAMMARS)
def test_damage_is_seen_by_both_or_by_neither(format_name: str) -> None:
    grammar = grammar_of(format_name)
    outcomes = {True: 0, False: 0}
    for seed, path in enumerate(case_files(format_name)):
        for deed, text in damaged(path.read_text(encoding="utf-8"), 150, seed):
            sound, said = reads(format_name, text)
            if sound is not None:
                assert fits(grammar, text) == sound, f"{path.name}: {deed}: {said}"
                outcomes[sound] += 1
    assert min(outcomes.values()) > 30  # or the test would prove nothing


TEXTS = {
    "kicad_pcb": [
        "",
        "(kicad_pcb)",
        "(kicad_pcb",
        "(kicad_pcb))",
        "(kicad_pcbx)",
        "kicad_pcb",
        "(kicad_pcb (version 4))",
        "(kicad_pcb (version\u00a04))",
        "(kicad_pcb word)",
        '(kicad_pcb (page "A4"x))',
        '(kicad_pcb (page "A4))',
        '(kicad_pcb (page "a \\" b"))',
        "(kicad_pcb (unheard of))",
        "(kicad_pcb (layers (0 F.Cu signal) (31 B.Cu signal)))",
        "(kicad_pcb (layers (F.Cu signal)))",
        "(kicad_pcb (net 0 GND))",
        "(kicad_pcb (net))",
        "(kicad_pcb (via (at 1 2) (size 1)))",
        "(kicad_pcb (via blind (at 1 2) (size 1) (drill 1)))",
        "(kicad_pcb (via (at 1 x) (size 1)))",
        "(kicad_pcb (via (at 1 2) (size 12345678)))",
        "(kicad_pcb (via odd (at 1 2)))",
        "(kicad_pcb (module A (at 1 2) (pad 1 smd rect (at 1 2 90) (size 1 1))))",
        "(kicad_pcb (module A (at 1 2 unlocked) (pad 1 smd rect (at 1 2) (size 1 1))))",
        "(kicad_pcb (module A (at 1 2) (pad 1 smd cube (at 1 2) (size 1 1))))",
        "(kicad_pcb (module A (at 1 2) (pad 1 smd rect (at 1 2) (size 1 1) (drill oval 1 2))))",
        "(kicad_pcb (module A locked (at 1 2) (fp_text reference R1)))",
        "(kicad_pcb (module A (at 1 2) (fp_text refP1)))",
        "(kicad_pcb (zone (net 0) (polygon (pts (xy 1 2) (xy 3 4)))))",
        "(kicad_pcb (zone (net 0) (polygon (pts (xy 1)))))",
    ],
    "kicad_net": [
        "(export)",
        "(export (version D))",
        "(export (version D) (parts))",
        "(export (components (comp (ref R1) (value 10k))))",
        "(export (components (comp (ref R1) (valueP1))))",
        "(export (components (part (ref R1))))",
        "(export (components (comp (ref R1) odd)))",
        "(export (nets (net (code 1) (name A) (node (ref R1) (pin 1)))))",
        "(export (nets (net (code 1) (name A) (nod (ref R1) (pin 1)))))",
        "(export (nets (net (code 1) (name A) (node (ref R1) (pin 1) (pn 2)))))",
        '(export (nets (net (code "1") (name "A B") (class "x"))))',
        "(export (libparts (libpart (lib a) (part b) (pins (pin (num 1))))))",
    ],
}


@pytest.mark.parametrize(
    ("format_name", "text"), [(name, text) for name, texts in TEXTS.items() for text in texts]
)
def test_reader_and_grammar_agree_on_small_texts(format_name: str, text: str) -> None:
    sound, said = reads(format_name, text)
    assert fits(grammar_of(format_name), text) == sound, said
