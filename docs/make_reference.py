"""Writes docs/commands.md from the program's own help: `python docs/make_reference.py`."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import click

from nettrace.cli.commands import Command, commands, job_commands
from nettrace.cli.main import HELP_WIDTH, CommandGroup, cli

PAGE = Path(__file__).resolve().parent / "commands.md"

HEAD = """\
# Commands

This page is written from the program's own help (`python docs/make_reference.py`).

BOARD is a file, a folder (every file in it that can be read, merged) or a `board.toml` that lists \
sources and your own notes; see [formats](formats.md). Names are matched exactly first, then \
without regard to case; `*` and `?` are wildcards. `--json` prints one object on stdout; its \
shapes are in [schemas](schemas). The same answers from Python: [python](python.md).

An answer longer than the terminal goes through `less`, or what `PAGER` names; `PAGER=cat` turns \
that off. Colour is used on a terminal only, and not where `NO_COLOR` is set.

| exit code | means |
| --- | --- |
| 0 | done |
| 1 | a check found differences or faults |
| 2 | wrong usage |
| 3 | nothing matches; the nearest names are offered |
| 4 | an input cannot be read, or a file cannot be written |
| 5 | a job file cannot be used: locked, damaged, or of a newer version |

"""


def reference() -> str:
    """Return the page."""
    lines = [HEAD]
    top = click.Context(
        cli, info_name="nettrace", terminal_width=HELP_WIDTH, **cli.context_settings
    )
    section = ""
    for entry in commands():
        if entry.section != section:
            section = entry.section
            lines.append(f"## {section}\n\n")
        lines += described(entry, cli, top, "###")
        if entry.name == "job":
            group = cli.get_command(top, "job")
            if isinstance(group, CommandGroup):
                inner = click.Context(group, parent=top, info_name="job", terminal_width=HELP_WIDTH)
                for each in job_commands():
                    lines += described(each, group, inner, "####")
    return "".join(lines).rstrip() + "\n"


def described(
    entry: Command, group: CommandGroup, parent: click.Context, mark: str
) -> Iterator[str]:
    """Yield the pieces of one command's part of the page."""
    command = group.get_command(parent, entry.name)
    if command is None:
        raise LookupError(f"{entry.name} is listed and not there")
    context = click.Context(command, parent=parent, info_name=entry.name, terminal_width=HELP_WIDTH)
    yield f"{mark} {context.command_path}\n\n{entry.brief}\n\n"
    yield f"```text\n{command.get_help(context)}\n```\n\n"


if __name__ == "__main__":
    PAGE.write_text(reference(), encoding="utf-8")
