"""Whether a part is fitted: one decision for every format, from the texts that readers keep."""

from __future__ import annotations

import pytest

from nettrace.model.board import Part
from nettrace.model.fitted import is_fitted
from nettrace.readers.document import Document
from nettrace.readers.registry import read_text

#: (value, property's name and text or None, whether fitted)
SAID = [
    ("10k", None, None),
    ("10k", ("DNP", "yes"), False),
    ("10k", ("DNP", "1"), False),
    ("10k", ("DNP", "no"), True),
    ("10k", ("DNF", "x"), False),
    ("10k", ("Do Not Populate", "true"), False),
    ("10k", ("Populate", "no"), False),
    ("10k", ("Populate", "yes"), True),
    ("10k", ("Fitted", "DNP"), False),
    ("10k", ("Fitted", "Fitted"), True),
    ("10k", ("Fitted", "Not Fitted"), False),
    ("10k", ("DNP", "Fitted"), True),
    ("10k", ("Note", "DNP"), False),
    ("10k", ("Config", "do not fit"), False),
    ("10k", ("Link", "http://example.org/dnp"), None),
    ("DNP", None, False),
    ("10k/DNI", None, False),
    ("not fitted", None, False),
    ("DNP101", None, None),
    ("10k DNP", ("DNP", "no"), True),  # what a file states goes before what a text may mean
    ("NC", None, None),  # a name as often: the part's kind decides
]


def part_of(form: str, value: str, said: tuple[str, str] | None) -> Part:
    name, text = said or ("Other", "x")
    texts = {
        "edif": f'(edif a (edifVersion 2 0 0) (edifLevel 0) (keywordMap (keywordLevel 0)) '
        "(library L (edifLevel 0) (technology (numberDefinition)) "
        "(cell C (cellType GENERIC) (view V (viewType NETLIST) (interface (port A)))) "
        "(cell T (cellType GENERIC) (view V (viewType NETLIST) (interface) (contents "
        f'(instance R1 (viewRef V (cellRef C)) (property Value (string "{value}")) '
        f'(property (rename P "{name}") (string "{text}"))) (net N (joined (portRef A '
        "(instanceRef R1)))))))) (design D (cellRef T (libraryRef L))))",
        "csv": f'Reference,Value,"{name}"\nR1,"{value}","{text}"\nR2,1k,\n',
        "kicad_net": f'(export (version "E") (components (comp (ref "R1") (value "{value}") '
        f'(property (name "{name}") (value "{text}")))) (nets (net (code "1") (name "N") '
        '(node (ref "R1") (pin "1")))))',
    }  # fmt: skip
    return read_text(Document("x", texts[form])).part_by_key["R1"]


@pytest.mark.parametrize(("value", "said", "fitted"), SAID)
def test_what_the_texts_of_a_part_say(
    value: str, said: tuple[str, str] | None, fitted: bool | None
) -> None:
    assert is_fitted(value, None, dict([said] if said else [])) is fitted


@pytest.mark.parametrize("form", ["edif", "csv", "kicad_net"])
@pytest.mark.parametrize(("value", "said", "fitted"), SAID)
def test_every_format_says_the_same(
    form: str, value: str, said: tuple[str, str] | None, fitted: bool | None
) -> None:
    assert part_of(form, value, said).fitted is fitted
