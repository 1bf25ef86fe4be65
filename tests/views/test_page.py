"""One page in its three renderings."""

from __future__ import annotations

from nettrace.views import page
from nettrace.views.document import html, markdown
from nettrace.views.page import Bullets, Cell, Column, Fact, Group, Row, Section, Span, Table, line
from nettrace.views.terminal import terminal_text

PAGE = (
    page.Title("Net SDA*", "Wren"),
    Fact("volts", "1.8 V"),
    line("pulled up by ", Span("R1", "name", part="R1"), indent=1),
    Section(
        "pins",
        "Pins",
        (
            Table(
                (
                    Column("pin", "name", head=True),
                    Column("what", kind="wide", label="What", on=("html",)),
                    Column("net"),
                ),
                (
                    Group((Row(("R1.1", Cell((Span("<b>", "quiet"),)), "SDA"), ("R1",)),), "Step"),
                    ("U1.4", "", "GND|A"),
                ),
                "All pins",
            ),
            Bullets(("one", "two")),
        ),
    ),
)


def test_a_terminal_page_is_plain_lines() -> None:
    text = terminal_text(PAGE, 40, terminal=False)
    assert text.splitlines() == [
        "Net SDA*                            Wren",
        "volts         1.8 V",
        " pulled up by R1",
        "",
        "Pins ───────────────────────────────────",
        " pin   net",
        " R1.1  SDA",
        " U1.4  GND|A",
        " · one",
        " · two",
    ]


def test_a_markdown_page_escapes_what_could_be_markup() -> None:
    assert markdown(PAGE).splitlines() == [
        r"# Net SDA\*",
        "",
        "volts: 1.8 V",
        "",
        "pulled up by R1",
        "",
        "## Pins",
        "",
        "| pin | net |",
        "| --- | --- |",
        "| R1.1 | SDA |",
        r"| U1.4 | GND\|A |",
        "",
        "- one",
        "- two",
    ]


def test_an_html_page_leads_from_words_to_parts() -> None:
    text = html(PAGE)
    assert '<span data-part="R1" class="name">R1</span>' in text
    assert '<section id="pins" aria-labelledby="pins-title">' in text
    assert '<th scope="row" role="rowheader">R1.1</th>' in text
    assert (
        '<td role="cell" class="wide" data-label="What"><span class="quiet">&lt;b&gt;</span></td>'
    ) in text
    assert '<tr role="row" data-part="R1">' in text
    assert "<li>two</li>" in text
