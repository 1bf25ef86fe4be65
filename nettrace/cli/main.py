"""The command line made from the table of commands, the one error boundary and the exit codes.

Only the command that is asked for is made, so that `--help` and each command load no more than
they need.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING, Any

import click

from nettrace.cli.commands import Command, Word, commands, job_commands, root
from nettrace.version import __version__

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

#: Exit code of wrong usage; the others are in `errors`.
EXIT_USAGE = 2
#: Exit code where the answer cannot be written: as for a file that cannot be.
EXIT_UNWRITTEN = 4
#: Exit code of a bug in the program itself (EX_SOFTWARE of sysexits.h).
EXIT_BUG = 70
#: Exit code after Ctrl-C, as shells count it: 128 + SIGINT.
EXIT_STOPPED = 130
#: Help is written this wide, or as wide as the terminal if that is narrower.
HELP_WIDTH = 80


class CommandGroup(click.Group):
    """A group whose commands stand in the table and are made when they are asked for."""

    def __init__(self, entries: Sequence[Command], **settings: Any) -> None:
        super().__init__(**settings)
        self.entries = {entry.name: entry for entry in entries}

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Return the names in the order of the table."""
        return list(self.entries)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Make and return the command."""
        entry = self.entries.get(cmd_name)
        return None if entry is None else made(entry)

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
        """Return the commands that go on from what is typed; none is made for that."""
        from click.shell_completion import CompletionItem

        found = [
            CompletionItem(entry.name, help=entry.brief)
            for entry in self.entries.values()
            if entry.name.startswith(incomplete)
        ]
        # options are click's own matter; it lists them where a dash is typed
        return found or click.Command.shell_complete(self, ctx, incomplete)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the table's lines."""
        sections: dict[str, list[tuple[str, str]]] = {}
        for entry in self.entries.values():
            sections.setdefault(entry.section, []).append((entry.name, entry.brief))
        for section, lines in sections.items():
            with formatter.section(section):
                formatter.write_dl(lines)


def made(entry: Command) -> click.Command:
    """Return the click command of a row of the table."""
    settings: dict[str, Any] = {
        "name": entry.name,
        "params": [_parameter(word) for word in entry.words],
        "help": entry.row["text"],
        "epilog": entry.epilog,
    }
    if entry.name == "job":
        return CommandGroup(job_commands(), **settings)

    def run(**said: Any) -> int:
        from nettrace.cli.calls import run as ask

        return ask(entry, said)

    return click.Command(callback=run, **settings)


def _parameter(word: Word) -> click.Parameter:
    settings: dict[str, Any] = {
        "required": word.required,
        "shell_complete": _completer(word.names) if word.names else None,
    }
    if isinstance(word.kind, tuple):
        # a paper is a name and may be written A4; formats and sides are keywords
        settings["type"] = click.Choice(word.kind, case_sensitive=word.default is None)
    else:
        settings["type"] = {"float": float, "int": int}.get(word.kind)
    if word.metavar:
        settings["metavar"] = word.metavar
    if not word.flags.startswith("-"):
        return click.Argument([word.flags], nargs=-1 if word.many else 1, **settings)
    if word.default is not None:
        settings |= {"default": word.default, "show_default": bool(word.default)}
    names = [*word.flags.split(), *([word.name] if word.name else [])]
    if word.kind == "flag":
        settings["is_flag"] = True  # False is more to click than its absence
    return click.Option(names, help=word.help, multiple=word.many, **settings)


def _completer(names: str) -> Callable[..., list[CompletionItem]]:
    def complete(ctx: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
        from nettrace.cli.completion import candidates

        return candidates(names, ctx, incomplete)

    return complete


def _hint(debug: bool) -> None:  # noqa: ARG001 - main() looks for --debug itself
    if click.get_current_context().invoked_subcommand is None:
        click.echo(root()["hint"].format(version=__version__))


_ROOT = Command("nettrace", "", "", "", root())
cli = CommandGroup(
    commands(),
    invoke_without_command=True,
    callback=_hint,
    context_settings={"help_option_names": ["-h", "--help"]},
    help=_ROOT.row["text"],
    epilog=_ROOT.epilog,
)
click.version_option(__version__, prog_name="nettrace")(cli)
cli.params += map(_parameter, _ROOT.words)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return the exit code; every error ends here."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    if "_NETTRACE_COMPLETE" in os.environ:
        cli.main(words, prog_name="nettrace")
    debug = "--debug" in words
    try:
        code = _run(words)
        sys.stdout.flush()
    except click.ClickException as error:
        text = _usage_text(error) if isinstance(error, click.UsageError) else error.format_message()
        return _report(f"error: {text}", EXIT_USAGE, debug)
    except BrokenPipeError:
        # the reader of our output has seen enough; Python must not complain at exit either
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except (KeyboardInterrupt, click.Abort):
        return _report("stopped", EXIT_STOPPED, debug=False)
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
