"""The examples of README.md and docs/: found in the Markdown, run, compared, and rewritten.

What is run, in order, in a folder that holds a copy of the samples:

- a `console` block: each `$ nettrace ...` (or `$ python FILE`, or `$ echo $?`) and its output;
- a `pycon` block: as doctest runs it, names kept from block to block of one page;
- any block below a line `<!-- file: NAME -->` is first written to that file.

In expected output a line `...` stands for any lines, and `...` in a line for any characters.
`python tests/doc_examples.py [PAGE ...]` writes the true output into the pages, to be read before
it is committed. It keeps `...`: as many lines before the first and after the last as stood there;
`...` alone is filled in.
"""

from __future__ import annotations

import contextlib
import doctest
import io
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from nettrace.circuit.circuit import Circuit

ROOT = Path(__file__).resolve().parent.parent
ANY = "..."
DATE = re.compile(r"\b20\d\d-\d\d-\d\d\b")
#: On a page that supposes a folder without samples.
NO_SAMPLES = "<!-- no samples -->"
FILE_MARK = re.compile(r"<!-- file: (\S+) -->")
#: Pages are checked as a terminal without colour and 80 columns shows them.
ENVIRONMENT = {"COLUMNS": "80", "NO_COLOR": "1", "LC_ALL": "C.UTF-8"}


@dataclass(slots=True)
class Block:
    """A fenced block: its language, the lines in it, the line number of its first, its file."""

    language: str
    line: int
    lines: list[str] = field(default_factory=list)
    file: str | None = None


def pages() -> list[Path]:
    """Return every page whose examples are ours to run."""
    return [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]


def blocks(text: str) -> Iterator[Block]:
    """Yield the fenced blocks of a page."""
    block: Block | None = None
    file = None
    for number, line in enumerate(text.splitlines(), 1):
        if block is None and line.startswith("```"):
            block = Block(line[3:].strip(), number + 1, file=file)
            file = None
        elif block is not None and line.startswith("```"):
            yield block
            block = None
        elif block is not None:
            block.lines.append(line)
        elif mark := FILE_MARK.fullmatch(line.strip()):
            file = mark[1]


def matches(expected: list[str], found: list[str]) -> bool:
    """Return whether output is as expected, `...` standing for anything; alone, for nothing.

    >>> matches(["a", "...", "d"], ["a", "b", "c", "d"]), matches(["at ..."], ["on 1"])
    (True, False)
    """
    if set(expected) == {ANY}:
        return False  # that would be a test that cannot fail
    pattern = "".join(
        r"(?:.*\n)*?" if line == ANY else ".*".join(map(re.escape, line.split(ANY))) + r"\n"
        for line in expected
    )
    return re.fullmatch(pattern, "".join(f"{line}\n" for line in found)) is not None


def renewed(expected: list[str], found: list[str]) -> list[str]:
    """Return the lines to write into the page: the true output, shortened as it was before."""
    if matches(expected, found):
        return expected
    found = [DATE.sub(ANY, line) for line in found]
    places = [index for index, line in enumerate(expected) if line == ANY]
    if not places or set(expected) == {ANY}:
        return found
    head, tail = places[0], len(expected) - places[-1] - 1
    if head + tail >= len(found):
        return found
    return [*found[:head], ANY, *found[len(found) - tail :]]


def make_bench(folder: Path) -> None:
    """Lay the samples into an empty folder, as the pages suppose them."""
    shutil.copytree(ROOT / "samples", folder / "samples", ignore=shutil.ignore_patterns("source"))


@dataclass(slots=True)
class Runner:
    """Runs the examples of one page in one folder."""

    folder: Path
    names: dict[str, object] = field(default_factory=dict)
    last_code: int = 0

    def run(self, command: str) -> list[str]:
        """Run one command line; return what it printed, stdout and stderr as they came."""
        if command == "echo $?":
            return [str(self.last_code)]
        words = shlex.split(command)
        target = None
        if len(words) > 2 and words[-2] == ">":
            target = self.folder / words[-1]
            words = words[:-2]
        if words[0] == "python":
            text = self._python(words[1:])
        elif words[0] == "nettrace":
            text = self._nettrace(words[1:], target)
        else:
            raise ValueError(f"no example may run {words[0]!r}")
        return text.splitlines()

    def _nettrace(self, words: list[str], target: Path | None) -> str:
        from nettrace.cli.main import main

        raw = io.BytesIO()
        stream = io.TextIOWrapper(raw, encoding="utf-8", write_through=True)
        out = target.open("w", encoding="utf-8") if target else stream
        with (
            surroundings(self.folder),
            loaded_once(),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(stream),
        ):
            self.last_code = main(words)
        if target:
            out.close()
        return raw.getvalue().decode("utf-8")

    def _python(self, words: list[str]) -> str:
        done = subprocess.run(
            [sys.executable, *words],
            cwd=self.folder,
            env={**os.environ, **ENVIRONMENT, "PYTHONPATH": str(ROOT), "PYTHONUTF8": "1"},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            encoding="utf-8",
            check=False,
            timeout=60,
        )
        self.last_code = done.returncode
        return done.stdout

    def console(self, block: Block) -> tuple[list[str], list[str]]:
        """Return the block's lines as they should be, and what differed (as text to show)."""
        lines: list[str] = []
        wrong: list[str] = []
        for at, command, expected in commands(block):
            lines += command
            joined = " ".join(piece.rstrip("\\").strip() for piece in command)
            found = self.run(joined.removeprefix("$ "))
            if not matches(expected, found):
                wrong.append(
                    f"line {at}: {joined}\n"
                    + "\n".join(difference(expected, renewed(expected, found)))
                )
            lines += renewed(expected, found)
        return lines, wrong

    def pycon(self, block: Block) -> tuple[list[str], list[str]]:
        """As `console`, for a Python session."""
        text = "\n".join(block.lines) + "\n"
        wrong: list[str] = []
        test = doctest.DocTestParser().get_doctest(text, self.names, "page", None, block.line)
        lines: list[str] = []
        for example in test.examples:
            source = example.source.splitlines()
            lines += [f"{'...' if i else '>>>'} {s}".rstrip() for i, s in enumerate(source)]
            expected = example.want.splitlines()
            found = self._evaluate(example.source)
            if not matches(expected, found):
                wrong.append(
                    f"line {block.line + example.lineno}: {source[0]}\n"
                    + "\n".join(difference(expected, renewed(expected, found)))
                )
            lines += renewed(expected, found)
        return lines, wrong

    def _evaluate(self, source: str) -> list[str]:
        stream = io.StringIO()
        with surroundings(self.folder), contextlib.redirect_stdout(stream):
            try:
                exec(compile(source, "<page>", "single"), self.names)  # noqa: S102 - our own pages
            except Exception as error:  # noqa: BLE001 - shown in the page as Python shows it
                stream.write(f"Traceback (most recent call last):\n...\n{error}\n")
        return stream.getvalue().splitlines()


def difference(expected: list[str], found: list[str]) -> list[str]:
    """Return both as a unified difference."""
    import difflib

    return list(difflib.unified_diff(expected, found, "page", "true", lineterm="", n=1))


def commands(block: Block) -> Iterator[tuple[int, list[str], list[str]]]:
    """Yield (line number, command lines, expected output) for each `$` of a console block."""
    index = 0
    while index < len(block.lines):
        start = index
        if not block.lines[index].startswith("$ "):
            raise ValueError(f"line {block.line + index}: output without a command")
        while block.lines[index].endswith("\\"):
            index += 1
        command = block.lines[start : index + 1]
        index += 1
        first = index
        while index < len(block.lines) and not block.lines[index].startswith("$ "):
            index += 1
        yield block.line + start, command, block.lines[first:index]


@contextlib.contextmanager
def surroundings(folder: Path) -> Iterator[None]:
    """Work in a folder, with the environment that pages suppose; both are put back."""
    before, here = dict(os.environ), Path.cwd()
    os.environ.update(ENVIRONMENT)
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(here)
        os.environ.clear()
        os.environ.update(before)


_circuits: dict[tuple[object, ...], Circuit] = {}


@contextlib.contextmanager
def loaded_once() -> Iterator[None]:
    """Read the same sources under the same names once: circuits never change, pages ask often."""
    from nettrace import job, loading

    plain = loading.load

    def load(path: Path | str, with_files: Sequence[Path | str] = (), **words: Any) -> Circuit:
        files = [
            (str(file), file.stat().st_size, file.stat().st_mtime_ns)
            for each in (path, *with_files)
            for file in (sorted(Path(each).iterdir()) if Path(each).is_dir() else [Path(each)])
            if file.is_file()
        ]
        key = (str(path), tuple(map(str, with_files)), tuple(files), repr(words))
        if key not in _circuits or not files:
            _circuits[key] = plain(path, with_files, **words)
        return _circuits[key]

    loading.load = job.load_circuit = load  # type: ignore[attr-defined] # as imported there
    try:
        yield
    finally:
        loading.load = job.load_circuit = plain  # type: ignore[attr-defined] # as above


def check(page: Path, folder: Path) -> tuple[str, list[str]]:
    """Run a page's examples; return the page with true output, and what differed."""
    text = page.read_text(encoding="utf-8")
    if NO_SAMPLES in text:
        shutil.rmtree(folder / "samples")
    lines = text.splitlines()
    runner = Runner(folder)
    wrong: list[str] = []
    shift = 0
    for block in blocks(text):
        if block.file is not None:
            path = folder / block.file
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text("\n".join(block.lines) + "\n", encoding="utf-8")
            continue
        if block.language == "console":
            fresh, faults = runner.console(block)
        elif block.language == "pycon":
            fresh, faults = runner.pycon(block)
        else:
            continue
        wrong += faults
        start = block.line - 1 + shift
        lines[start : start + len(block.lines)] = fresh
        shift += len(fresh) - len(block.lines)
    return "\n".join(lines) + "\n", wrong


def rewrite(chosen: list[str]) -> None:
    """Write the true output into the pages (all, or those whose name is given)."""
    for page in pages():
        if chosen and page.name not in chosen:
            continue
        with tempfile.TemporaryDirectory() as folder:
            make_bench(Path(folder))
            text, wrong = check(page, Path(folder))
        if wrong:
            page.write_text(text, encoding="utf-8")
            print(f"{page.relative_to(ROOT)}: {len(wrong)} renewed")


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    rewrite(sys.argv[1:])
