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
    assert not matches(["..."], ["b"])
    assert renewed(["..."], ["b"]) == ["b"]
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


def test_the_command_reference_is_what_the_code_says() -> None:
    import runpy

    made = runpy.run_path(str(ROOT / "docs" / "make_reference.py"))
    page = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    assert page == made["reference"](), "python docs/make_reference.py renews it"


def test_every_command_has_help_an_example_and_a_place_in_the_docs() -> None:
    from nettrace.cli.commands import commands, job_commands

    shown = {
        line.partition(" nettrace ")[2]
        for page in pages()
        for block in blocks(page.read_text(encoding="utf-8"))
        if block.language == "console"
        for line in block.lines
        if line.startswith("$ nettrace ")
    }
    names = [entry.name for entry in commands() if entry.name != "job"]
    names += [f"job {entry.name}" for entry in job_commands()]
    assert [
        name for name in names if not any(f"{line} ".startswith(f"{name} ") for line in shown)
    ] == []
    assert all(entry.brief.endswith(".") for entry in (*commands(), *job_commands()))


def test_every_commands_help_teaches_by_example() -> None:
    page = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    parts = re.split(r"^#{3,4} nettrace ", page, flags=re.MULTILINE)[1:]
    assert len(parts) > 25
    silent = [
        part.partition("\n")[0]
        for part in parts
        if not re.search(rf"^ .*\bnettrace {re.escape(part.partition(chr(10))[0])}\b", part, re.M)
    ]
    assert silent == []


def test_every_role_is_explained_once_and_no_other() -> None:
    from nettrace.circuit.roles import vocabulary

    text = (ROOT / "docs" / "roles.md").read_text(encoding="utf-8")
    rows = [line.split("|")[1] for line in text.splitlines() if line.startswith("| `")]
    named = [name for row in rows for name in re.findall(r"`([^`]+)`", row)]
    assert sorted(named) == sorted(vocabulary())


def test_every_public_name_is_on_the_python_page() -> None:
    import nettrace

    text = (ROOT / "docs" / "python.md").read_text(encoding="utf-8")
    missing = [name for name in nettrace.__all__ if not re.search(rf"\b{name}\b", text)]
    assert missing == []


def test_developers_know_every_room_and_every_dependency() -> None:
    import tomllib

    from tests.test_architecture import ROOMS

    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rooms = {name for name in ROOMS if not name.startswith("__")}
    assert {name for name in rooms if f"`{name}/`" not in text and f"`{name}`" not in text} == set()
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    told = re.split(r"[^\w-]+", text)
    for words in (*project["dependencies"], *extras["photo"], *extras["test"]):
        name = re.split(r"[<>=;\s]", words)[0]
        assert name in told, name


@pytest.mark.parametrize("page", pages(), ids=lambda page: page.name)
def test_no_table_squeezes_a_column_to_nothing(page: Path) -> None:
    shown = [
        line
        for block in blocks(page.read_text(encoding="utf-8"))
        if block.language == "console"
        for line in block.lines
        if re.search(r"(^|\s)…(\s|$)", line)
    ]
    assert shown == []
