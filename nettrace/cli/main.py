"""The command group, the one error boundary and the exit codes.

A command is one line in `COMMANDS`; its module is imported when it is called, so that `--help`
and each command load no more than they need.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from contextlib import suppress
from importlib import import_module
from typing import TYPE_CHECKING, NamedTuple

import click

from nettrace.version import __version__

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

__all__ = ["COMMANDS", "Entry", "cli", "main", "stopped"]

#: Exit code of wrong usage (contract); the others are in `errors`.
EXIT_USAGE = 2
#: Exit code where the answer cannot be written: as for a file that cannot be (contract).
EXIT_UNWRITTEN = 4
#: Exit code of a bug in the program itself (EX_SOFTWARE of sysexits.h).
EXIT_BUG = 70
#: Help is written this wide, or as wide as the terminal if that is narrower.
HELP_WIDTH = 80
#: Exit code after Ctrl-C, as shells count it: 128 + SIGINT.
EXIT_STOPPED = 130


class Entry(NamedTuple):
    """A command: its name, the module that has it under that name, a line of help, its group."""

    name: str
    module: str
    help: str
    section: str


LOOK = "Read the board"
REPAIR = "Repair"
FIGURES = "Figures"
FILES = "Files"
START = "To begin with"

COMMANDS: tuple[Entry, ...] = (
    Entry("summary", "nettrace.cli.inspect", "What was read: sources, counts, conflicts.", LOOK),
    Entry("area", "nettrace.cli.inspect", "A damaged area: what every bare pad was.", LOOK),
    Entry("net", "nettrace.cli.inspect", "A net: voltage, pins, pulls, what it reaches.", LOOK),
    Entry("part", "nettrace.cli.inspect", "A part: pins, roles, what stops without it.", LOOK),
    Entry("pad", "nettrace.cli.inspect", "One pad, by name or by place.", LOOK),
    Entry("rail", "nettrace.cli.inspect", "Rails and grounds: voltage, source, loads.", LOOK),
    Entry("bus", "nettrace.cli.inspect", "Serial buses: lines, pull-ups, devices.", LOOK),
    Entry("path", "nettrace.cli.inspect", "How two nets are tied through series parts.", LOOK),
    Entry("job", "nettrace.cli.job", "A repair from damage to proof, in one file.", REPAIR),
    Entry("reading", "nettrace.cli.measure", "What a meter should show at a pad.", FIGURES),
    Entry("value", "nettrace.cli.measure", "A marking or value decoded, every meaning.", FIGURES),
    Entry("formula", "nettrace.cli.measure", "Pull-ups, dividers, thermistors, RC...", FIGURES),
    Entry("draw", "nettrace.cli.draw", "A picture: graph or map of a damaged area.", FILES),
    Entry("compare", "nettrace.cli.exchange", "Two netlists: opens, shorts, missing parts.", FILES),
    Entry("convert", "nettrace.cli.exchange", "Write the board in another open format.", FILES),
    Entry("sample", "nettrace.cli.sample", "Lay the sample board down to try things on.", START),
    Entry("completion", "nettrace.cli.completion", "The script that completes words.", START),
)


class CommandTable(click.Group):
    """A group whose commands stand in a table and are imported when they are called."""

    def __init__(self, entries: Sequence[Entry], **settings: object) -> None:
        super().__init__(**settings)  # type: ignore[arg-type] # click's own settings
        self.entries = {entry.name: entry for entry in entries}

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Return the names in the order of the table."""
        return list(self.entries)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import and return the command."""
        entry = self.entries.get(cmd_name)
        if entry is None:
            return None
        module = import_module(entry.module)
        name = cmd_name.replace("-", "_")
        command = getattr(module, name, None) or getattr(module, f"{name}_")  # open_ for `open`
        return command if isinstance(command, click.Command) else None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command; an unknown one is answered with the nearest."""
        if args and args[0] not in self.entries and not args[0].startswith("-"):
            from nettrace.model.names import nearest_names

            near = nearest_names(args[0], self.entries)
            hint = f"Did you mean {near[0]}?" if near else "`nettrace --help` lists them."
            raise click.UsageError(f"no command {args[0]!r}. {hint}", ctx)
        return super().resolve_command(ctx, args)

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Return the commands that go on from what is typed; none is imported for that."""
        from click.shell_completion import CompletionItem

        found = [
            CompletionItem(entry.name, help=entry.help)
            for entry in self.entries.values()
            if entry.name.startswith(incomplete)
        ]
        # options are click's own matter; it lists them where a dash is typed
        return found or click.Command.shell_complete(self, ctx, incomplete)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the table's lines; no command is imported for that."""
        sections: dict[str, list[tuple[str, str]]] = {}
        for entry in self.entries.values():
            sections.setdefault(entry.section, []).append((entry.name, entry.help))
        for section, lines in sections.items():
            with formatter.section(section):
                formatter.write_dl(lines)


#: What stands on the screen when nothing was asked.
HINT = f"""\
nettrace {__version__}: what every bare pad of a damaged board was, from its netlist.

  nettrace summary BOARD                        what was read
  nettrace area BOARD --around J3 --radius 4    a damaged area, worst loss first
  nettrace net BOARD SDA                        one net: voltage, pull-ups, pins
  nettrace reading BOARD R12.2                  what the meter should show
  nettrace job open my.job BOARD                a repair, from damage to proof

BOARD is a file, or a folder of files of one board. None at hand?
  nettrace sample wren samples
  nettrace area samples/wren --around J3 --radius 4

All commands: nettrace --help. One of them: nettrace area --help."""

EPILOG = """\
BOARD is a file, a folder (every file in it that can be read, merged) or a board.toml.

Examples:

\b
  nettrace summary samples/wren
  nettrace area samples/wren --around J3 --radius 4
  nettrace net samples/wren '*SDA*'
"""


@click.group(
    cls=CommandTable,
    entries=COMMANDS,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog=EPILOG,
)
@click.version_option(__version__, prog_name="nettrace")
@click.option("--debug", is_flag=True, help="Show where in the program an error arose.")
@click.pass_context
def cli(ctx: click.Context, debug: bool) -> None:  # noqa: ARG001 - main() looks for --debug itself
    """Read a damaged board from its netlist: what every bare pad was, and what stops without it."""
    if ctx.invoked_subcommand is None:
        click.echo(HINT)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return the exit code; every error ends here."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    if "_NETTRACE_COMPLETE" in os.environ:
        cli.main(words, prog_name="nettrace")
    debug = "--debug" in words
    try:
        code = _run(words)
        sys.stdout.flush()
    except click.UsageError as error:
        return _report(f"error: {_usage_text(error)}", EXIT_USAGE, debug)
    except click.ClickException as error:
        return _report(f"error: {error.format_message()}", EXIT_USAGE, debug)
    except BrokenPipeError:
        # the reader of our output has seen enough; Python must not complain at exit either
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except (KeyboardInterrupt, click.Abort):
        return stopped()
    except OSError as error:
        return _report_unwritten(error, debug)
    except Exception as error:  # noqa: BLE001 - the boundary: a bug must not end in a traceback
        from nettrace.errors import NettraceError  # here: `--help` has no use for it

        if isinstance(error, NettraceError):
            return _report(str(error), int(error.exit_code), debug)
        return _report_bug(error, debug)
    return code


def _report_bug(error: Exception, debug: bool) -> int:
    what = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
    text = f"error: a fault in nettrace itself ({what}). --debug shows where; please report it."
    return _report(text.replace("\n", " "), EXIT_BUG, debug)


def _report_unwritten(error: OSError, debug: bool) -> int:
    """Say that the answer could not be written: the disk behind stdout is full, or gone."""
    if error.filename is not None:
        return _report_bug(error, debug)  # files are opened where their errors are told
    with suppress(OSError):  # what is left in the buffer must not be tried again at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    reason = (error.strerror or str(error)).lower()
    return _report(f"error: cannot write the answer ({reason}).", EXIT_UNWRITTEN, debug)


def _run(words: list[str]) -> int:
    try:
        with cli.make_context("nettrace", words, terminal_width=_columns()) as context:
            result = cli.invoke(context)
    except click.exceptions.Exit as stop:
        return stop.exit_code
    return int(result) if isinstance(result, int) else 0


def _columns() -> int:
    """Return how wide help is written; asked of the system at once, which spares an import."""
    try:
        return max(40, min(HELP_WIDTH, os.get_terminal_size(sys.stdout.fileno()).columns))
    except (OSError, ValueError):
        return HELP_WIDTH


def stopped() -> int:
    """Say that the user stopped the program; return its exit code."""
    return _report("stopped", EXIT_STOPPED, debug=False)


def _report(text: str, code: int, debug: bool) -> int:
    from nettrace.views.text import write_note

    if debug:
        import traceback

        write_note(traceback.format_exc())
    write_note(text)
    return code


def _usage_text(error: click.UsageError) -> str:
    """Return click's complaint in our words: what, the nearest option, where help is."""
    command = error.ctx.command_path if error.ctx is not None else "nettrace"
    if isinstance(error, click.NoSuchOption):
        text = f"no option {error.option_name!r} in `{command}`."
        if error.possibilities:
            text += f" Did you mean {error.possibilities[0]}?"
        return f"{text} Before a name that starts with '-', put --."
    text = error.format_message()
    if isinstance(error, click.MissingParameter) and error.param is not None:
        text = f"{error.param.make_metavar(error.ctx or click.Context(cli))} is missing."
    if not text.endswith((".", "?")):
        text += "."
    if command != "nettrace" and "`" not in text and "--help" not in text:
        text += f" See `{command} --help`."
    return text
