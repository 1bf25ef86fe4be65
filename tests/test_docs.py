"""README and docs: every example runs and prints what the page says; nothing is left out."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.doc_examples import ROOT, blocks, check, make_bench, matches, pages, renewed

LINK = re.compile(r"(?<!!)\[[^\]]*\]\(([^)\s]+)\)")


@pytest.mark.parametrize("page", pages(), ids=lambda page: page.name)
def test_examples_print_what_the_page_says(page: Path, tmp_path: Path) -> None:
    make_bench(tmp_path)
    text, wrong = check(page, tmp_path)
    assert not wrong, "\n\n".join(wrong) + "\n\n(python tests/doc_examples.py renews the pages)"
    assert text == page.read_text(encoding="utf-8")


def test_an_example_that_lies_is_seen(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text(
        "```console\n$ nettrace value 4R7\nthis is not what it prints\n```\n"
        "```pycon\n>>> 1 + 1\n3\n```\n"
    )
    text, wrong = check(page, tmp_path)
    assert len(wrong) == 2
    assert "4.7 Ω" in text
    assert ">>> 1 + 1\n2\n" in text


def test_three_dots_stand_for_lines_and_for_characters() -> None:
    assert matches(["a", "...", "z"], ["a", "b", "c", "z"])
    assert matches(["a", "...", "z"], ["a", "z"])
    assert matches(["opened ... on Wren"], ["opened 12:00 on Wren"])
    assert not matches(["a", "..."], ["b"])
    assert renewed(["x", "..."], ["a", "b", "c"]) == ["a", "..."]
    assert renewed(["a", "...", "c"], ["a", "b", "c"]) == ["a", "...", "c"]


def anchors(page: Path) -> set[str]:
    """Return the anchors of a page's headings, as the usual Markdown hosts make them."""
    found = set()
    for line in page.read_text(encoding="utf-8").splitlines():
        if line.startswith("#"):
            words = line.lstrip("#").strip().lower()
            found.add(re.sub(r"[^\w\- ]", "", words).replace(" ", "-"))
    return found


@pytest.mark.parametrize("page", pages(), ids=lambda page: page.name)
def test_links_lead_somewhere(page: Path) -> None:
    wrong = []
    for link in LINK.findall(page.read_text(encoding="utf-8")):
        if "://" in link:
            continue
        path, _, anchor = link.partition("#")
        there = (page.parent / path).resolve() if path else page
        if not there.exists() or (anchor and anchor not in anchors(there)):
            wrong.append(link)
    assert wrong == []


def test_every_page_is_reached_from_the_index() -> None:
    index = (ROOT / "docs" / "README.md").read_text(encoding="utf-8")
    linked = {link.partition("#")[0] for link in LINK.findall(index)}
    there = {page.name for page in (ROOT / "docs").glob("*.md")} - {"README.md"}
    assert there - linked == set()


def test_the_readme_opens_with_the_job_and_two_commands() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    shell = [block for block in blocks(text) if block.language == "sh"]
    assert [len(block.lines) for block in shell] == [1, 1]
    main_job, tests = (block.lines[0] for block in shell)
    assert main_job.endswith("nettrace area samples/wren --around J3 --radius 4")
    assert ".venv/bin/pytest" in tests
    console = next(block for block in blocks(text) if block.language == "console")
    assert console.line < 30  # on the first screen
