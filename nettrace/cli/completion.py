"""Shell completion: the script for a shell, and the names of the board as candidates."""

from __future__ import annotations

import os
import shlex
from collections.abc import Callable, Iterable
from pathlib import Path

import click
from click.shell_completion import CompletionItem, split_arg_string

__all__ = [
    "complete_buses",
    "complete_files",
    "complete_nets",
    "complete_pads",
    "complete_parts",
    "complete_places",
    "complete_rails",
    "completion",
]

#: Candidates offered at most: more than a screen helps nobody, and big boards have thousands.
MOST_CANDIDATES = 200
#: The variable by which the shell's script asks; click derives it from the program's name.
VARIABLE = "_NETTRACE_COMPLETE"

_Completer = Callable[[click.Context, click.Parameter, str], list[CompletionItem]]

EPILOG = """\
\b
  bash   echo 'eval "$(nettrace completion bash)"' >> ~/.bashrc
  zsh    echo 'eval "$(nettrace completion zsh)"' >> ~/.zshrc
  fish   nettrace completion fish > ~/.config/fish/completions/nettrace.fish
"""


@click.command(epilog=EPILOG)
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
@click.option("--debug", is_flag=True, help="Show where in the program an error arose.")
def completion(shell: str, debug: bool) -> None:  # noqa: ARG001 - main() looks for --debug
    """Print the script that completes commands, options, and the board's net and part names."""
    from click.shell_completion import get_completion_class

    from nettrace.cli.main import cli
    from nettrace.views.text import write_text

    found = get_completion_class(shell)
    if found is None:
        raise click.UsageError(f"no completion for {shell}")
    write_text(found(cli, {}, "nettrace", VARIABLE).source())


def complete_files(
    ctx: click.Context,  # noqa: ARG001 - click's signature
    param: click.Parameter,  # noqa: ARG001 - click's signature
    incomplete: str,
) -> list[CompletionItem]:
    """Leave it to the shell, which knows its files."""
    return [CompletionItem(incomplete, type="file")]


def _names(kind: str) -> _Completer:
    def complete(
        ctx: click.Context,
        param: click.Parameter,  # noqa: ARG001 - click's signature
        incomplete: str,
    ) -> list[CompletionItem]:
        return [CompletionItem(name) for name in _candidates(ctx, kind, incomplete)]

    return complete


complete_nets = _names("net")
complete_parts = _names("part")
complete_pads = _names("pad")
complete_places = _names("place")  # a net, a part's pad
complete_rails = _names("rail")
complete_buses = _names("bus")


def _candidates(ctx: click.Context, kind: str, incomplete: str) -> list[str]:
    """Return the board's names that go on from what is typed; none where it cannot be read."""
    from nettrace.errors import NettraceError

    try:
        names = _all_names(ctx, kind, incomplete)
    except NettraceError:
        return []  # a half-typed line is no place for a complaint
    typed = incomplete.casefold()
    found = [name for name in dict.fromkeys(names) if name.casefold().startswith(typed)]
    if os.environ.get(VARIABLE) == "bash_complete":  # zsh and fish quote what they insert
        found = [shlex.quote(name) for name in found]
    return found[:MOST_CANDIDATES]


def _all_names(ctx: click.Context, kind: str, incomplete: str) -> Iterable[str]:
    if kind in {"rail", "bus"}:
        from nettrace.loading import load

        circuit = load(_board_path(ctx))
        if kind == "rail":
            return circuit.rails
        return [*(bus.name for bus in circuit.buses), *(bus.protocol for bus in circuit.buses)]
    from nettrace.loading import load_board

    board = load_board(_board_path(ctx))
    names: list[str] = []
    if kind in {"net", "place"}:
        names += [net.name for net in board.nets]
    if kind == "part":
        names += [part.refdes for part in board.parts]
    if kind in {"pad", "place"}:
        refdes = incomplete.rpartition(".")[0].casefold()
        # pads of one part once its name is there; before that, the parts alone are enough to read
        pins = [p for p in board.parts if p.refdes.casefold() == refdes]
        names += [f"{part.refdes}.{pin.number}" for part in pins for pin in part.pins]
        if not refdes:
            names += [part.refdes for part in board.parts]
    return names


def _board_path(ctx: click.Context) -> str:
    """Return BOARD as typed, or the board of the job file that was typed."""
    from nettrace.errors import WrongUsage

    board, job = ctx.params.get("board"), ctx.params.get("path")
    if not board and not job:
        # an option that still lacks its value: click has not come to the arguments
        is_job = " job " in f" {ctx.command_path} "
        board, job = (None, _typed_path()) if is_job else (_typed_path(), None)
    if isinstance(board, str) and board:
        return board
    if isinstance(job, str) and job:
        from nettrace.bench.job import load_job

        return str(Path(job).resolve().parent / load_job(Path(job)).board.path)
    raise WrongUsage("no board yet")


def _typed_path() -> str | None:
    """Return the first word of the typed line that is a file or folder."""
    words = split_arg_string(os.environ.get("COMP_WORDS", ""))
    return next((word for word in words[2:] if Path(word).exists()), None)
