"""The one table of commands (`knowledge/commands.toml`): name, words, call, view, help, examples.

`main` makes the command line of it, docs/make_reference.py the reference; `calls` has what a
command asks of the library where that is more than one call of the words as they are.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any, NamedTuple

from nettrace.knowledge import table


class Word(NamedTuple):
    """An argument (its name), or an option (its flags).

    `name` is what the call knows it by, where that is not the option's own; `kind` is text, flag,
    float, int or the choices there are; `names` says what completes it.
    """

    flags: str
    metavar: str = ""
    help: str = ""
    name: str = ""
    kind: str | tuple[str, ...] = "text"
    many: bool = False
    required: bool = True
    default: str | None = None
    names: str = ""


class Command(NamedTuple):
    """A command: a line of help, its section in a list, and the rest of its row.

    `call` is the function of `calls`; where the row names a library call, its answer's key in JSON
    and the view that shows it, none is needed.
    """

    name: str
    section: str
    brief: str
    call: str
    row: Mapping[str, Any]

    @property
    def words(self) -> Iterator[Word]:
        """Its arguments and options, in the order of its help."""
        return _words(self.row["takes"])

    @property
    def epilog(self) -> str:
        """What stands below its help: more to know, and examples."""
        lines = "\n".join(f"  nettrace {example}" for example in self.row.get("examples", ()))
        told = self.row.get("epilog", "")
        return "\n\n".join(text for text in (told, lines and f"\b\n{lines}") if text)


def _words(takes: tuple[Any, ...]) -> Iterator[Word]:
    for each in takes:
        if isinstance(each, str):  # words that several commands share
            yield from _words(table("commands")["shared"][each])
            continue
        more = each[-1] if isinstance(each[-1], dict) else {}
        texts = each[: len(each) - bool(more)]
        yield Word(*texts, **{"required": not each[0].startswith("-"), **more})


@cache
def commands() -> tuple[Command, ...]:
    """Return the commands in the order of the list."""
    return tuple(_rows("command", ""))


@cache
def job_commands() -> tuple[Command, ...]:
    """Return the commands of `nettrace job`."""
    return tuple(_rows("job_command", "job_"))


def root() -> Mapping[str, Any]:
    """Return what stands on the screen where no command is asked for."""
    found: Mapping[str, Any] = table("commands")["root"]
    return found


def _rows(kind: str, before: str) -> Iterator[Command]:
    for row in table("commands")[kind]:
        name = row["name"]
        yield Command(name, row["section"], row["brief"], f"{before}{name}", row)
